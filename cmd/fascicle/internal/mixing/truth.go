package mixing

import "math"

// truth lists what the study's stages should find. What broken files hide is left out.
func (w *world) truth() Truth {
	return Truth{Draws: w.draws}
}

var _ = math.Pi

package report

import "math"

// A spot is a place on the drawing, in its units, and the half length of the bar through it (up and down; 0: none).
type spot struct {
	x, y     float64
	top, end float64 // of the bar; equal to y without one
	i        int     // row that it came from
}

// thinPoints leaves, in each of `columns` vertical strips of the drawing, the first, the lowest and the highest spot, when
// there are more than limit. Spots stay in their order. Extremes are never lost.
func thinPoints(spots []spot, left, right float64, columns, limit int) []spot {
	if len(spots) <= limit {
		return spots
	}
	type strip struct{ first, low, high int }
	strips := make([]strip, columns)
	for i := range strips {
		strips[i] = strip{-1, -1, -1}
	}
	for k, p := range spots {
		s := &strips[stripOf(p.x, left, right, columns)]
		if s.first < 0 {
			*s = strip{k, k, k}
			continue
		}
		if p.y < spots[s.low].y {
			s.low = k
		}
		if p.y > spots[s.high].y {
			s.high = k
		}
	}
	keep := make([]bool, len(spots))
	for _, s := range strips {
		if s.first >= 0 {
			keep[s.first], keep[s.low], keep[s.high] = true, true, true
		}
	}
	out := make([]spot, 0, 3*columns)
	for k, p := range spots {
		if keep[k] {
			out = append(out, p)
		}
	}
	return out
}

func stripOf(x, left, right float64, columns int) int {
	k := int((x - left) / (right - left) * float64(columns))
	return max(0, min(columns-1, k))
}

// thinLine shortens a run of connected spots: in each strip one unit wide the first, lowest, highest and last stay (what a
// screen could show), then those go that lie within `slack` of the straight line between their neighbours that stay. out is
// written over and returned.
func thinLine(run, out []spot, slack float64) []spot {
	out = out[:0]
	for i := 0; i < len(run); {
		strip := math.Floor(run[i].x)
		low, high, j := i, i, i
		for ; j < len(run) && math.Floor(run[j].x) == strip; j++ {
			if run[j].y < run[low].y {
				low = j
			}
			if run[j].y > run[high].y {
				high = j
			}
		}
		if j-i <= 4 {
			out = append(out, run[i:j]...)
			i = j
			continue
		}
		out = append(out, run[i])
		a, b := min(low, high), max(low, high)
		if a > i {
			out = append(out, run[a])
		}
		if b > a && b > i && b < j-1 {
			out = append(out, run[b])
		}
		if a != j-1 {
			out = append(out, run[j-1])
		}
		i = j
	}
	return straighten(out, slack)
}

// straighten drops spots in place. From the last spot that stayed it keeps the fan of slopes that pass every spot since within
// slack; the first spot outside the fan makes the one before it stay.
func straighten(p []spot, slack float64) []spot {
	if len(p) < 3 {
		return p
	}
	kept, anchor := 1, p[0]
	lo, hi := math.Inf(-1), math.Inf(1)
	for k := 1; k < len(p); k++ {
		dx := p[k].x - anchor.x
		slope := (p[k].y - anchor.y) / dx
		if k > 1 && (dx <= 0 || !(slope >= lo && slope <= hi)) {
			anchor = p[k-1]
			p[kept] = anchor
			kept++
			lo, hi = math.Inf(-1), math.Inf(1)
			dx = p[k].x - anchor.x
		}
		if dx <= 0 { // straight up or down, or back: nothing can be said of a slope
			lo, hi = math.Inf(1), math.Inf(-1)
			continue
		}
		lo = max(lo, (p[k].y-slack-anchor.y)/dx)
		hi = min(hi, (p[k].y+slack-anchor.y)/dx)
	}
	p[kept] = p[len(p)-1]
	return p[:kept+1]
}

package pipeline

import (
	"runtime"

	"fascicle/catalog"
)

func maxProcs() int { return runtime.GOMAXPROCS(0) }

// patternCaptures lists the names that a file pattern captures, in order.
func patternCaptures(pattern string) ([]string, error) {
	p, err := catalog.ParsePattern(pattern)
	if err != nil {
		return nil, err
	}
	var out []string
	for _, c := range p.Captures() {
		out = append(out, c.Name)
	}
	return out, nil
}

package phase

import (
	"cmp"
	"errors"
	"math"
	"slices"
)

// Errors of a series.
var (
	// ErrShort says that a series has fewer than two places with a transmittance.
	ErrShort = errors.New("a series needs transmittances at two places at least")
	// ErrOrder says that choices of an earlier call do not fit the series.
	ErrOrder = errors.New("the series has other points than when its edges were chosen")
)

// series is what is fitted: points in the order of z, and the places at which they lie. z is the axis or its logarithm.
type series struct {
	z, t, u []float64 // points; u is nil where the noise is not known
	w       []float64 // 1/u², or 1
	order   []int     // of the points as given
	at      []int     // place of each point
	zp      []float64 // places, rising
	tp, wp  []float64 // weighted mean transmittance there, sum of weights
}

// newSeries sorts points (finite, u positive or nil) and takes those at one place together. order, when not nil, is the order of an
// earlier call and places the number of points at each place: both are then kept, though the points may have moved a little.
func newSeries(z, t, u []float64, order, places []int) (*series, error) {
	n := len(z)
	s := &series{z: make([]float64, n), t: make([]float64, n), w: make([]float64, n), at: make([]int, n)}
	if u != nil {
		s.u = make([]float64, n)
	}
	if s.order = slices.Clone(order); order == nil {
		s.order = make([]int, n)
		for i := range s.order {
			s.order[i] = i
		}
		slices.SortStableFunc(s.order, func(a, b int) int { return cmp.Compare(z[a], z[b]) })
	} else if len(order) != n {
		return nil, ErrOrder
	}
	for k, i := range s.order {
		s.z[k], s.t[k], s.w[k] = z[i], t[i], 1
		if u != nil {
			s.u[k] = u[i]
			s.w[k] = 1 / (u[i] * u[i])
		}
	}
	if places == nil {
		places = countPlaces(s.z)
	}
	k := 0
	for p, count := range places {
		var sz, st, sw float64
		for range count {
			if k >= n {
				return nil, ErrOrder
			}
			s.at[k] = p
			sz, st, sw = sz+s.z[k], st+s.w[k]*s.t[k], sw+s.w[k]
			k++
		}
		s.zp, s.tp, s.wp = append(s.zp, sz/float64(count)), append(s.tp, st/sw), append(s.wp, sw)
	}
	if k != n {
		return nil, ErrOrder
	}
	if len(s.zp) < 2 {
		return nil, ErrShort
	}
	return s, nil
}

// countPlaces counts the points at each place of a sorted axis. Points nearer than a billionth of the range are at one place.
func countPlaces(z []float64) []int {
	var counts []int
	for k := range z {
		if k > 0 && z[k]-z[k-1] <= 1e-9*(z[len(z)-1]-z[0]) {
			counts[len(counts)-1]++
		} else {
			counts = append(counts, 1)
		}
	}
	return counts
}

// counts gives the number of points at each place.
func (s *series) counts() []int {
	out := make([]int, len(s.zp))
	for _, p := range s.at {
		out[p]++
	}
	return out
}

// noise gives the median standard uncertainty of the places' means, 0 where it is not known.
func (s *series) noise() float64 {
	if s.u == nil {
		return 0
	}
	u := make([]float64, len(s.wp))
	for i, w := range s.wp {
		u[i] = 1 / math.Sqrt(w)
	}
	slices.Sort(u)
	return u[len(u)/2]
}

// turningPoints gives the places between which y rises or falls by at least least: where it turns, the first and the last of them
// being the extremes before the first and behind the last change. It gives none when nothing changes so much.
func turningPoints(y []float64, least float64) []int {
	low, high := 0, 0 // of the stretch since the last turn
	rising, known := false, false
	var out []int
	for i, v := range y {
		if v < y[low] {
			low = i
		}
		if v > y[high] {
			high = i
		}
		switch {
		case (!known || !rising) && v-y[low] >= least && i > low:
			out = append(out, low)
			rising, known, low, high = true, true, i, i
		case (!known || rising) && y[high]-v >= least && i > high:
			out = append(out, high)
			rising, known, low, high = false, true, i, i
		}
	}
	if !known {
		return nil
	}
	if rising {
		return append(out, high)
	}
	return append(out, low)
}

// fewer takes the smallest change off turning points: with it goes the neighbour that it turns into, unless it is the first or the last.
// Nil when there is no change left.
func fewer(y []float64, turns []int) []int {
	if len(turns) <= 2 {
		return nil
	}
	least := 0
	for j := range len(turns) - 1 {
		if math.Abs(y[turns[j+1]]-y[turns[j]]) < math.Abs(y[turns[least+1]]-y[turns[least]]) {
			least = j
		}
	}
	switch {
	case least == 0:
		return slices.Clone(turns[1:])
	case least == len(turns)-2:
		return slices.Clone(turns[:len(turns)-1])
	}
	return slices.Delete(slices.Clone(turns), least, least+2)
}

// cuts places a sharp step between each two turning points so that the weighted squares about the levels between steps are least (by
// dynamic programming). Step j lies behind place cuts[j].
func (s *series) cuts(turns []int) []int {
	steps, n := len(turns)-1, len(s.tp)
	// prefix sums about the mean, which keeps their differences exact enough
	mean := 0.0
	for _, v := range s.tp {
		mean += v / float64(n)
	}
	sw, sy, syy := make([]float64, n+1), make([]float64, n+1), make([]float64, n+1)
	for i, v := range s.tp {
		d := v - mean
		sw[i+1], sy[i+1], syy[i+1] = sw[i]+s.wp[i], sy[i]+s.wp[i]*d, syy[i]+s.wp[i]*d*d
	}
	squares := func(from, to int) float64 { // of places from ≤ i < to
		w, y := sw[to]-sw[from], sy[to]-sy[from]
		return syy[to] - syy[from] - y*y/w
	}
	cost := make([][]float64, steps)
	back := make([][]int, steps)
	for j := range steps {
		cost[j], back[j] = make([]float64, n), make([]int, n)
		for c := turns[j]; c < turns[j+1]; c++ {
			if j == 0 {
				cost[j][c] = squares(0, c+1)
				continue
			}
			best := math.Inf(1)
			for b := turns[j-1]; b < turns[j]; b++ {
				if v := cost[j-1][b] + squares(b+1, c+1); v < best {
					best, back[j][c] = v, b
				}
			}
			cost[j][c] = best
		}
	}
	out := make([]int, steps)
	best := math.Inf(1)
	for c := turns[steps-1]; c < turns[steps]; c++ {
		if v := cost[steps-1][c] + squares(c+1, n); v < best {
			best, out[steps-1] = v, c
		}
	}
	for j := steps - 1; j > 0; j-- {
		out[j-1] = back[j][out[j]]
	}
	return out
}

package lifetime

import (
	"fmt"
	"math"
)

// Axis is an even grid of channels: channel k lies at Start + k·Width.
type Axis struct{ Start, Width float64 }

// At is the place of a channel.
func (a Axis) At(k int) float64 { return a.Start + float64(k)*a.Width }

// EvenAxis finds the grid of an axis whose steps are equal but for the rounding of its numbers, by least squares, since files print few
// digits: no point may lie further from the grid than 0.3 of a channel. Common practice, no source.
func EvenAxis(t []float64) (Axis, error) {
	if len(t) < 3 {
		return Axis{}, fmt.Errorf("a curve of %d channels; expected a decay of at least 3", len(t))
	}
	n := float64(len(t))
	middle, mean := (n-1)/2, 0.0
	for _, x := range t {
		mean += x / n
	}
	slope := 0.0
	for k, x := range t {
		slope += (float64(k) - middle) * (x - mean)
	}
	a := Axis{Width: slope / (n * (n*n - 1) / 12)}
	a.Start = mean - a.Width*middle
	if !(a.Width > 0) {
		return Axis{}, fmt.Errorf("time does not rise from channel to channel: it goes from %.6g to %.6g ns", t[0], t[len(t)-1])
	}
	for k, x := range t {
		if !(math.Abs(x-a.At(k)) <= 0.3*a.Width) {
			return Axis{}, fmt.Errorf("channels are not of equal width: channel %d is at %.6g ns, on an even grid of %.6g ns it would be at %.6g ns; give the decay as the counter recorded it", k+1, x, a.Width, a.At(k))
		}
	}
	return a, nil
}

// Recorded finds the part of a record that the counter was open for: blocks of zeros at either end are left out where, by the counts beside
// them, so many zeros are not chance (20 counts or more are missing). Ends included.
func Recorded(counts []float64) (first, last int) {
	const neighbours, missing = 50, 20
	last = len(counts) - 1
	zeros := func(from, step int) int {
		n := 0
		for k := from; k >= 0 && k < len(counts) && counts[k] == 0; k += step {
			n++
		}
		return n
	}
	mean := func(from, step int) (m float64) {
		n := 0
		for k := from; k >= 0 && k < len(counts) && n < neighbours; k += step {
			m += counts[k]
			n++
		}
		return m / math.Max(float64(n), 1)
	}
	if z := zeros(last, -1); z < len(counts) && mean(last-z, -1)*float64(z) > missing {
		last -= z
	}
	// Before the pulse zeros are usual where there is no background; only what stands apart from a quiet stretch was not recorded.
	if z := zeros(0, 1); z < last {
		peak := 0
		for k, c := range counts {
			if c > counts[peak] {
				peak = k
			}
		}
		if z+2*neighbours < peak && mean(z, 1)*float64(z) > missing && mean(z, 1) < counts[peak]/20 {
			first = z
		}
	}
	return first, last
}

// Tail finds where a decay may be fitted without its response: behind its highest channel (of counts smoothed over five) by as much as it
// took to rise there from a tenth. Amplitudes are given at the highest channel. Common practice, no source.
func Tail(counts []float64, first, last int) (origin, from int) {
	best := math.Inf(-1)
	for k := first; k <= last; k++ {
		sum, n := 0.0, 0.0
		for j := max(k-2, first); j <= min(k+2, last); j++ {
			sum += counts[j]
			n++
		}
		if v := sum / n; v > best {
			best, origin = v, k
		}
	}
	low := origin
	for low > first && counts[low] > best/10 {
		low--
	}
	if low == first && counts[low] > best/10 { // no rise was recorded
		return origin, origin
	}
	return origin, min(origin+(origin-low), last)
}

// Within gives the channels whose places lie from lo to hi, ends included; first > last: none do.
func (a Axis) Within(lo, hi float64, n int) (first, last int) {
	const slack = 1e-6 // channels: a bound that names a channel takes it in
	first, last = 0, n-1
	if x := math.Ceil((lo-a.Start)/a.Width - slack); x > 0 {
		first = int(math.Min(x, float64(n)))
	}
	if x := math.Floor((hi-a.Start)/a.Width + slack); x < float64(n-1) {
		last = int(math.Max(x, -1))
	}
	return first, last
}

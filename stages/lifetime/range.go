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

// Rise is where a decay comes up, seen without its response.
type Rise struct {
	Half float64 // where half of its height is reached, between channels; without a rise, the first channel
	From int     // the channel from which on it may be fitted without its response
	Took int     // channels from a tenth to the highest one
}

// RiseOf finds where a decay rises, by counts smoothed over five channels. Half of the height, above the least counts before, is passed steeply,
// so that its place hardly depends on noise, as that of the highest channel does. Behind the highest channel as much is left out of a fit as
// it took to rise there from a tenth. Common practice, no source.
func RiseOf(counts []float64, first, last int) Rise {
	smooth := func(k int) float64 {
		sum, n := 0.0, 0.0
		for j := max(k-2, first); j <= min(k+2, last); j++ {
			sum += counts[j]
			n++
		}
		return sum / n
	}
	top, best := first, math.Inf(-1)
	for k := first; k <= last; k++ {
		if v := smooth(k); v > best {
			best, top = v, k
		}
	}
	low := top
	for low > first && counts[low] > best/10 {
		low--
	}
	r := Rise{Half: float64(first), From: top}
	if low > first || counts[low] <= best/10 {
		r.Took = top - low
		r.From = min(top+r.Took, last)
	}
	least := best
	for k := first; k < top; k++ {
		least = math.Min(least, smooth(k))
	}
	half := (least + best) / 2
	if least > 0.9*best { // no rise was recorded
		return r
	}
	for k := top; k > first; k-- {
		if before, here := smooth(k-1), smooth(k); before <= half && here > before {
			r.Half = float64(k-1) + (half-before)/(here-before)
			break
		}
	}
	return r
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

package lifetime

import (
	"errors"
	"fmt"
	"math"

	"fascicle/stages/internal/convolution"
)

// Response is an instrument's response, made ready: its background taken off, normed to a sum of 1.
type Response struct {
	Curve      convolution.Response
	Shape      []float64 // its channels
	Counts     float64   // before norming, without background
	Background float64   // counts a channel that were taken off
	Quiet      int       // channels before the rise of which that is the mean; 0: none were taken, and nothing was taken off
	Peak       int       // its highest channel
	Rise       float64   // where it first reaches half its height, in channels
	Width      float64   // at half height, in channels
	Middle     float64   // the place before which half of it lies
}

// ErrResponse says that a response cannot be used.
var ErrResponse = errors.New("the response cannot be used")

// fewestQuiet is how many channels before the rise a background needs.
const fewestQuiet = 8

// PrepareResponse takes the background off a measured response and norms it. The background is the mean of the channels before the rise:
// all that lie more than twice as far before the peak as the last channel below a twentieth of it. With quiet ≥ 0 (an earlier
// Response.Quiet) those channels are taken instead. Common practice, no source.
func PrepareResponse(y []float64, quiet int) (*Response, error) {
	r := &Response{Shape: make([]float64, len(y))}
	for j, v := range y {
		if v != v || math.IsInf(v, 0) {
			return nil, fmt.Errorf("%w: channel %d holds no number", ErrResponse, j+1)
		}
		if v > y[r.Peak] {
			r.Peak = j
		}
	}
	if len(y) < 3 || !(y[r.Peak] > 0) {
		return nil, fmt.Errorf("%w: it has no counts", ErrResponse)
	}
	if quiet < 0 {
		edge := r.Peak
		for edge > 0 && y[edge] > y[r.Peak]/20 {
			edge--
		}
		quiet = max(edge-(r.Peak-edge)-2, 0)
		if quiet < fewestQuiet {
			quiet = 0
		}
	}
	r.Quiet = min(quiet, len(y))
	for _, v := range y[:r.Quiet] {
		r.Background += v / float64(r.Quiet)
	}
	for j, v := range y {
		r.Shape[j] = v - r.Background
		r.Counts += r.Shape[j]
	}
	if !(r.Counts > 0) {
		return nil, fmt.Errorf("%w: nothing is left of it when its background of %.4g counts a channel is taken off", ErrResponse, r.Background)
	}
	for j := range r.Shape {
		r.Shape[j] /= r.Counts
	}
	r.Curve.Set(r.Shape)
	r.measure()
	return r, nil
}

// Variance gives the variance of the channels of the response, normed as they are: from u, their uncertainties, or where that is nil, of
// counts. It is nil when y are no counts, or an uncertainty is missing.
func (r *Response) Variance(y, u []float64) []float64 {
	v := make([]float64, len(y))
	if u == nil && CheckCounts(y) != nil {
		return nil
	}
	for j, n := range y {
		v[j] = n
		if u != nil {
			v[j] = u[j] * u[j]
		}
		if v[j] /= r.Counts * r.Counts; !(v[j] >= 0) || math.IsInf(v[j], 1) {
			return nil
		}
	}
	return v
}

// measure finds place and width.
func (r *Response) measure() {
	s := r.Shape
	half := s[r.Peak] / 2
	left, right := r.Peak, r.Peak
	for left > 0 && s[left-1] > half {
		left--
	}
	r.Rise = float64(left)
	if left > 0 {
		r.Rise -= (s[left] - half) / (s[left] - s[left-1])
	}
	for right+1 < len(s) && s[right+1] > half {
		right++
	}
	fall := float64(right)
	if right+1 < len(s) {
		fall += (s[right] - half) / (s[right] - s[right+1])
	}
	r.Width = math.Max(fall-r.Rise, 1)
	sum := 0.0
	for j, v := range s {
		if sum+v >= 0.5 {
			r.Middle = float64(j) - 0.5 + (0.5-sum)/v
			return
		}
		sum += v
	}
}

// Use makes a response part of the problem.
func (p *Problem) Use(r *Response) {
	p.Response, p.Shape, p.Width, p.Middle = &r.Curve, r.Shape, r.Width, r.Middle
}

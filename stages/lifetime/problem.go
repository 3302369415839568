package lifetime

import (
	"errors"
	"fmt"
	"math"
	"strconv"

	"fascicle/stages/internal/convolution"
)

// MaxTerms is the largest number of exponentials of a fit.
const MaxTerms = 4

// Problem is a decay with all that is known and asked of it. Times are in channels.
//
//	m_k = b + s·R(k + Offset − δ) + Σ_i a_i·h_i(k + Offset − δ), h_i = R ⊗ e^(−t/τ_i)
//
// gives the mean counts of channel k. Without a response (a fit of the tail) h_i = e^(−(k − Origin)/τ_i), and there are no δ and s. With a
// period, what earlier pulses left over is added.
type Problem struct {
	Counts []float64 // of all channels
	// Weights are 1/u² of all channels for weighted least squares; nil: Poisson likelihood.
	Weights     []float64
	First, Last int // the range of the fit, ends included

	Response *convolution.Response // normed to Σ = 1; nil: fit of the tail
	Shape    []float64             // its channels
	Width    float64               // its width at half height
	Middle   float64               // the channel before which half of it lies
	Offset   float64               // where channel 0 of the decay lies on the response's grid
	Origin   float64               // fit of the tail: the channel at which amplitudes are given
	Period   float64               // between pulses; 0: pulses come alone

	Terms          int
	FixedTau       []float64 // nil, or for each term its lifetime when that is fixed, else NaN; the fixed ones come first
	FreeAmplitudes bool      // amplitudes may be negative (a rise)
	Shift          Fixable   // of the decay against the response
	Background     Fixable   // counts a channel
	Scatter        Fixable   // counts in all
	// ScatterShare is the light scattered for each count of the decay, when their ratio is fixed: c·Σ a_i·τ_i is added to s. Scatter must
	// then be fixed at 0.
	ScatterShare float64
}

// Fixable is a parameter that is fitted within bounds, or fixed.
type Fixable struct {
	Fixed  bool
	Value  float64 // when fixed
	Lo, Hi float64 // when not
}

// Errors of what cannot be fitted.
var (
	ErrNotCounts = errors.New("a Poisson fit needs raw counts: whole numbers, 0 or more")
	ErrNoCounts  = errors.New("there are no counts in the range of the fit")
	ErrTooFew    = errors.New("the range of the fit has too few channels")
)

// CheckCounts tells whether these are raw counts, and which one is not.
func CheckCounts(counts []float64) error {
	for i, n := range counts {
		if !(n >= 0) || n != math.Floor(n) || math.IsInf(n, 0) {
			return fmt.Errorf("%w; channel %d holds %s", ErrNotCounts, i+1, strconv.FormatFloat(n, 'g', 8, 64))
		}
	}
	return nil
}

// bounds of the lifetimes: below a tenth of a channel a decay cannot be told from scattered light, above fifty times the range not from a
// constant. Common practice, no source.
func (p *Problem) tauBounds() (lo, hi float64) {
	lo = 0.1
	if p.Response == nil {
		lo = 0.3
	}
	return lo, 50 * float64(p.Last-p.First+1)
}

// Indices of the parameters: ln τ_i, δ, a_i, b, s.
func (p *Problem) shiftAt() int      { return p.Terms }
func (p *Problem) ampAt() int        { return p.Terms + 1 }
func (p *Problem) backgroundAt() int { return 2*p.Terms + 1 }
func (p *Problem) scatterAt() int    { return 2*p.Terms + 2 }
func (p *Problem) size() int         { return 2*p.Terms + 3 }

// Indices of the columns: ∂h_i/∂τ_i, h_i, 1, R, R'.
func (p *Problem) oneAt() int      { return 2 * p.Terms }
func (p *Problem) responseAt() int { return 2*p.Terms + 1 }
func (p *Problem) slopeAt() int    { return 2*p.Terms + 2 }

// columns is how many columns are in use.
func (p *Problem) columns() int {
	switch {
	case p.Response == nil:
		return 2*p.Terms + 1
	case p.noScatter():
		return 2*p.Terms + 2
	}
	return 2*p.Terms + 3
}

func (p *Problem) noScatter() bool {
	return p.Scatter.Fixed && p.Scatter.Value == 0 && p.ScatterShare == 0
}

// frame sets bounds, and says which parameters are free.
func (p *Problem) frame(lo, hi *vector, free *[maxPar]bool) {
	n := p.Terms
	tlo, thi := p.tauBounds()
	for i := range n {
		lo[i], hi[i], free[i] = math.Log(tlo), math.Log(thi), true
		if p.FixedTau != nil && !math.IsNaN(p.FixedTau[i]) {
			l := math.Log(p.FixedTau[i])
			lo[i], hi[i], free[i] = l, l, false
		}
		a := p.ampAt() + i
		lo[a], hi[a], free[a] = 0, math.Inf(1), true
		if p.FreeAmplitudes {
			lo[a] = math.Inf(-1)
		}
	}
	one := func(i int, f Fixable) {
		lo[i], hi[i], free[i] = f.Lo, f.Hi, true
		if f.Fixed {
			lo[i], hi[i], free[i] = f.Value, f.Value, false
		}
	}
	one(p.shiftAt(), p.Shift)
	one(p.backgroundAt(), p.Background)
	one(p.scatterAt(), p.Scatter)
	if p.Response == nil {
		one(p.shiftAt(), Fixable{Fixed: true})
		one(p.scatterAt(), Fixable{Fixed: true})
	}
}

// check panics on a caller's bug and gives an error on what data may bring.
func (p *Problem) check() error {
	switch {
	case p.Terms < 1 || p.Terms > MaxTerms:
		panic("lifetime: the number of exponentials must be 1 to " + strconv.Itoa(MaxTerms))
	case p.First < 0 || p.Last >= len(p.Counts) || p.First > p.Last:
		panic("lifetime: the range of the fit is not within the decay")
	case p.FixedTau != nil && len(p.FixedTau) != p.Terms, p.Weights != nil && len(p.Weights) != len(p.Counts):
		panic("lifetime: slices of different lengths")
	}
	if p.ScatterShare != 0 && !(p.Scatter.Fixed && p.Scatter.Value == 0) {
		panic("lifetime: scattered light is fixed in two ways")
	}
	if n := p.Last - p.First + 1; n < p.size()+2 {
		return fmt.Errorf("%w: %d for up to %d parameters", ErrTooFew, n, p.size())
	}
	sum := 0.0
	for k := p.First; k <= p.Last; k++ {
		if c := p.Counts[k]; c != c || math.IsInf(c, 0) {
			return fmt.Errorf("channel %d of the decay holds no number", k+1)
		}
		sum += p.Counts[k]
	}
	if !(sum > 0) {
		return ErrNoCounts
	}
	return nil
}

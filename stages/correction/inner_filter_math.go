package correction

import (
	"errors"
	"fmt"
	"math"
)

// Geometry says how exciting and emitted light go through a cell.
type Geometry uint8

const (
	Centre    Geometry = iota // at right angles; emission is seen from a narrow zone in the middle of the cell
	WholePath                 // at right angles; emission is seen from along the whole exciting beam, which runs through the middle
	FrontFace                 // exciting light enters, and emission leaves, at right angles through the same face
)

// Highest is the absorbance above which a photometer's reading is stray light and noise rather than the sample: three parts in ten
// thousand of the light are left. Common practice, no source.
const Highest = 3.5

// ErrNoAbsorbance says that there is no absorbance where it is needed.
var ErrNoAbsorbance = errors.New("there is no absorbance")

// ErrTooDark says that an absorbance is above Highest.
var ErrTooDark = errors.New("the absorbance is too high to be measured")

// ErrAbsorbanceAxis says that the wavelengths of an absorbance neither rise nor fall strictly.
var ErrAbsorbanceAxis = errors.New("the wavelengths of the absorbance must rise or fall strictly from point to point, and be two or more")

// InnerFilterFactor is what an observed emission is multiplied by, F/F_obs, for decadic absorbances of the cell at the exciting
// wavelength (ex) and at the emitted one (em), with its derivatives of ln F/F_obs after both:
//
//	centre:     10^((ex + em)/2)
//	whole path: σ/(1 − e^−σ) · 10^(em/2),  σ = ln 10·ex
//	front face: σ/(1 − e^−σ),              σ = ln 10·(ex + em)
//
// The last two integrate Beer-Lambert's law along the beam through the whole cell; a thin sample gives 1. Light that is absorbed, emitted
// again and then absorbed (reabsorption), reflections and scattering are not in it.
//
// Source: centre: Lakowicz, Principles of Fluorescence Spectroscopy, 3rd ed. (2006), eq. 2.6 (formula read; its number from memory);
// whole path and front face: Parker, Photoluminescence of Solutions (1968) (from memory), rederived.
func InnerFilterFactor(g Geometry, ex, em float64) (f, dEx, dEm float64) {
	const half = math.Ln10 / 2
	switch g {
	case WholePath:
		p, d := pathLoss(math.Ln10 * ex)
		return p * math.Pow(10, em/2), math.Ln10 * d, half
	case FrontFace:
		p, d := pathLoss(math.Ln10 * (ex + em))
		return p, math.Ln10 * d, math.Ln10 * d
	}
	return math.Pow(10, (ex+em)/2), half, half
}

// pathLoss is P = σ/(1 − e^−σ) and d ln P/dσ = 1/σ − 1/(e^σ − 1), near σ = 0 by their series in Bernoulli numbers, P = 1 + σ/2 + σ²/12 −
// σ⁴/720 + …, d ln P/dσ = 1/2 − σ/12 + σ³/720 − σ⁵/30240 + … (Abramowitz and Stegun, 23.1.1, from memory).
func pathLoss(s float64) (p, dln float64) {
	if s2 := s * s; s2 < 0.01 {
		return 1 + s/2 + s2/12*(1-s2/60*(1-s2/42)), 0.5 - s/12*(1-s2/60*(1-s2/42))
	}
	return s / -math.Expm1(-s), 1/s - 1/math.Expm1(s)
}

// InnerFilterOptions says which light is corrected for, and how it goes.
type InnerFilterOptions struct {
	Geometry   Geometry
	Excitation bool    // correct for the loss of exciting light
	Emission   bool    // correct for the loss of emitted light
	Wavelength float64 // of the exciting light
	Length     float64 // what absorbances are multiplied by to be those of the cell: 1, or its length
}

// Places says where each wavelength lies among the absorbance's. A call on shifted wavelengths is given those of the call before, so that
// it takes the same points.
type Places struct {
	Excitation  Place
	Emission    []Place // as long as the emission; At −1: no result there
	First, Last int     // the emission's points within the absorbance's range, ends included
}

// InnerFilter is an emission spectrum freed of the light that the sample itself absorbed.
type InnerFilter struct {
	Y, U            []float64 // corrected; U is nil when a part of it is unknown, NaN stands where there is no result
	Factor, UFactor []float64 // what was multiplied by; UFactor is nil when the absorbance's u is unknown
	// Common is u of ln Factor from the absorbance at the exciting wavelength alone: one error, which all points share. It is within UFactor
	// and U; nil when the absorbance's u is unknown, or the exciting light is not corrected for.
	Common  []float64
	Ex      float64   // absorbance of the cell at the exciting wavelength, 0 where it is not corrected for
	Em      []float64 // and at each emitted one, NaN where unknown
	Places  Places
	Dark    int // points left out because the absorbance there is above Highest
	Missing int // points left out because the emission or the absorbance has none there
	Outside int // points with emission that lie beyond the absorbance's range
}

// CorrectInnerFilter multiplies the emission y (u: its uncertainty, nil when unknown) at the wavelengths x by InnerFilterFactor, with
// the decadic absorbance a (ua, nil when unknown) at the wavelengths ax interpolated linearly:
//
//	u²(F) = f²·u²(y) + F²·Σ_k (d ln f/d a_k)²·u²(a_k),
//
// over the up to four points a_k of the absorbance that f stands on. Those at the exciting wavelength are the same for all points of the
// emission (Common), and neighbouring points share others: that covariance along the curve is not kept.
//
// NaN is missing. given: places of an earlier call on the same spectra, or nil; then nothing is refused any more that it took.
//
// Errors: ErrAbsorbanceAxis; ErrNoAbsorbance, when all wavelengths with emission lie beyond the absorbance's, or there is no number at the exciting one;
// ErrTooDark, when the absorbance at the exciting wavelength is above Highest. Emission points at which the absorbance is above Highest
// have no result. It panics when lengths differ.
func CorrectInnerFilter(x, y, u, ax, a, ua []float64, o InnerFilterOptions, given *Places) (InnerFilter, error) {
	n := len(x)
	if len(y) != n || u != nil && len(u) != n || len(a) != len(ax) || ua != nil && len(ua) != len(ax) || given != nil && len(given.Emission) != n {
		panic("correction: slices of different lengths")
	}
	s := absorbanceScan{background{x: ax, y: a, u: ua, rising: len(ax) > 1 && ax[0] < ax[len(ax)-1]}, o.Length}
	if err := s.check(); err != nil {
		return InnerFilter{}, err
	}
	r := InnerFilter{Y: make([]float64, n), Factor: make([]float64, n), Em: make([]float64, n)}
	if ua != nil {
		r.UFactor = make([]float64, n)
		if u != nil {
			r.U = make([]float64, n)
		}
		if o.Excitation {
			r.Common = make([]float64, n)
		}
	}
	if given != nil {
		r.Places = *given
	} else if err := s.places(&r, x, y, o); err != nil {
		return InnerFilter{}, err
	}
	var ex reading
	if o.Excitation {
		ex = s.of(o.Wavelength, r.Places.Excitation)
		r.Ex = ex.value
		if given == nil {
			if math.IsNaN(ex.value) {
				return InnerFilter{}, fmt.Errorf("%w at the exciting wavelength, %.5g", ErrNoAbsorbance, o.Wavelength)
			}
			if ex.value > Highest {
				return InnerFilter{}, fmt.Errorf("%w: %.3g at the exciting wavelength, %.5g; at most %g is expected", ErrTooDark, ex.value, o.Wavelength, Highest)
			}
		}
	}
	for i := range x {
		r.point(i, x[i], y, u, &s, ex, o, given == nil)
	}
	return r, nil
}

// point corrects one point. first is false when the places were given.
func (r *InnerFilter) point(i int, x float64, y, u []float64, s *absorbanceScan, ex reading, o InnerFilterOptions, first bool) {
	var em reading
	out := r.Places.Emission[i].At < 0
	if o.Emission && !out {
		em = s.of(x, r.Places.Emission[i])
	}
	r.Em[i] = em.value
	switch {
	case out:
	case em.value != em.value || y[i] != y[i] || ex.value != ex.value:
		out = true
		r.Missing++
	case first && em.value > Highest:
		out = true
		r.Dark++
	}
	if out {
		if first {
			r.Places.Emission[i].At = -1
		}
		r.Y[i], r.Factor[i], r.Em[i] = math.NaN(), math.NaN(), math.NaN()
		if r.U != nil {
			r.U[i] = math.NaN()
		}
		if r.UFactor != nil {
			r.UFactor[i] = math.NaN()
		}
		if r.Common != nil {
			r.Common[i] = math.NaN()
		}
		return
	}
	f, dEx, dEm := InnerFilterFactor(o.Geometry, ex.value, em.value)
	r.Factor[i], r.Y[i] = f, f*y[i]
	if r.UFactor == nil {
		return
	}
	rel := s.variance(ex, dEx, em, dEm)
	r.UFactor[i] = f * math.Sqrt(rel)
	if r.Common != nil {
		r.Common[i] = math.Sqrt(s.variance(ex, dEx, reading{}, 0))
	}
	if r.U != nil {
		own := known(u[i])
		r.U[i] = math.Sqrt(f*f*own*own + r.Y[i]*r.Y[i]*rel)
	}
}

// absorbanceScan is a background that is read, not subtracted.
type absorbanceScan struct {
	background
	length float64
}

// of is the absorbance of the cell at a place.
func (s *absorbanceScan) of(x float64, p Place) reading {
	r := s.read(x, p)
	r.value, r.w1, r.w2 = s.length*r.value, s.length*r.w1, s.length*r.w2
	return r
}

func (s *absorbanceScan) check() error {
	if len(s.x) < 2 {
		return fmt.Errorf("%w (found %d)", ErrAbsorbanceAxis, len(s.x))
	}
	for j := range s.x {
		if s.x[j]-s.x[j] != 0 || j > 0 && ((s.x[j] > s.x[j-1]) != s.rising || s.x[j] == s.x[j-1]) {
			return fmt.Errorf("%w (point %d, %v)", ErrAbsorbanceAxis, j+1, s.x[j])
		}
	}
	return nil
}

// places finds where each wavelength lies among the absorbance's. Where the emission has no number none is needed.
func (s *absorbanceScan) places(r *InnerFilter, x, y []float64, o InnerFilterOptions) error {
	lo, hi := min(s.x[0], s.x[len(s.x)-1]), max(s.x[0], s.x[len(s.x)-1])
	r.Places = Places{Emission: make([]Place, len(x)), Last: len(x) - 1}
	if o.Excitation {
		j, where := s.find(o.Wavelength, 0)
		if where == outside || o.Wavelength-o.Wavelength != 0 {
			return fmt.Errorf("%w at the exciting wavelength, %.5g; it reaches from %.5g to %.5g", ErrNoAbsorbance, o.Wavelength, lo, hi)
		}
		r.Places.Excitation = Place{j, where == onPoint}
	}
	if !o.Emission {
		return nil
	}
	j, inside, first, last := 0, 0, math.NaN(), math.NaN()
	r.Places.First, r.Places.Last = len(x), -1
	for i, at := range x {
		where := outside
		if at-at == 0 {
			j, where = s.find(at, j)
		}
		if where != outside {
			r.Places.First, r.Places.Last = min(r.Places.First, i), i
		}
		r.Places.Emission[i] = Place{j, where == onPoint}
		switch {
		case at-at != 0 || y[i] != y[i]:
			r.Places.Emission[i].At = -1
			r.Missing++
		case where == outside:
			r.Places.Emission[i].At = -1
			if r.Outside == 0 {
				first = at
			}
			r.Outside, last = r.Outside+1, at
		default:
			inside++
		}
	}
	if r.Outside > 0 && inside == 0 {
		return fmt.Errorf("%w at any point of the emission, between %.5g and %.5g; it reaches from %.5g to %.5g", ErrNoAbsorbance, min(first, last), max(first, last), lo, hi)
	}
	return nil
}

// variance is the sum over the points of the absorbance of (c·u)², where c is how much the logarithm of the factor moves with a point: two
// readings that stand on one point move together.
func (s *absorbanceScan) variance(a reading, da float64, b reading, db float64) float64 {
	sum := 0.0
	for k, c := range [...]float64{a.w1 * da, a.w2 * da} {
		switch a.at + k {
		case b.at:
			c += b.w1 * db
		case b.at + 1:
			c += b.w2 * db
		}
		sum += s.square(a.at+k, c)
	}
	for k, c := range [...]float64{b.w1 * db, b.w2 * db} {
		if at := b.at + k; at != a.at && at != a.at+1 {
			sum += s.square(at, c)
		}
	}
	return sum
}

func (s *absorbanceScan) square(at int, c float64) float64 {
	if c == 0 {
		return 0
	}
	v := c * known(s.u[at])
	return v * v
}

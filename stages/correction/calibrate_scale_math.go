package correction

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/mathext"

	"fascicle/stages/internal/stats"
)

// ErrZeroStandard says that the reading of a standard cannot be told from zero, so that nothing can be divided by it.
var ErrZeroStandard = errors.New("the reading of the standard cannot be told from zero")

// ErrNoReading says that a standard has no usable reading.
var ErrNoReading = errors.New("the standard has no reading")

// ErrKnown says that the value that a standard is known to have is zero or no number.
var ErrKnown = errors.New("the value that the standard is known to have must be a number other than zero")

// StandardError is what is wrong with one of several standards.
type StandardError struct {
	Standard int // from 0
	Found    float64
	Err      error
}

func (e *StandardError) Error() string {
	return fmt.Sprintf("standard %d: %v (found %v)", e.Standard+1, e.Err, e.Found)
}

func (e *StandardError) Unwrap() error { return e.Err }

// Level is the mean of a standard's readings.
type Level struct {
	Value float64
	U     float64 // standard uncertainty of Value from the readings' own; NaN: unknown
	N     int
	Chi2  float64 // Σ((y − Value)/u)²; with u unknown Σ(y − Value)²
	Plain bool    // all readings weighed the same
}

// MeanLevel is the mean of the readings y with standard uncertainties u (nil: unknown). Every u must be positive.
//
//	weighted: L = Σ y/u² / Σ 1/u²,  u²(L) = 1/Σ 1/u²
//	plain:    L = Σ y/n,            u²(L) = Σ u²/n²
//
// With u unknown the mean is plain and its U is NaN: ScaleFactor takes it from the scatter. Without readings Value is NaN.
//
// Source: common practice, Bevington and Robinson, ch. 4 (from memory); u of the plain mean: JCGM 100:2008, 5.1.2.
func MeanLevel(y, u []float64, plain bool) Level {
	if u != nil && len(u) != len(y) {
		panic("correction: slices of different lengths")
	}
	l := Level{N: len(y), U: math.NaN(), Plain: plain || u == nil}
	var sum, weight, variance float64
	for i, v := range y {
		w := 1.0
		if !l.Plain {
			w = 1 / (u[i] * u[i])
		}
		sum, weight = sum+w*v, weight+w
		if u != nil {
			variance += w * w * u[i] * u[i]
		}
	}
	l.Value = sum / weight
	if u != nil {
		l.U = math.Sqrt(variance) / weight
	}
	for i, v := range y {
		d := v - l.Value
		if u != nil {
			d /= u[i]
		}
		l.Chi2 += d * d
	}
	return l
}

// WeightsFollow tells whether the weights 1/u² follow the noise of the readings, as those of counts with u² = counts do: a reading that is
// low by chance then weighs more, and the weighted mean comes out low. It is so when the weighted and the plain mean differ by more than
// four times the standard deviation that their difference has (the plain variance less the weighted one), and by more than a fifth of u.
//
// Source: derived here; for Poisson counts the weighted mean is low by 1 count (Bevington and Robinson, ch. 6, from memory).
func WeightsFollow(y, u []float64) bool {
	if u == nil || len(y) < 2 {
		return false
	}
	w, p := MeanLevel(y, u, false), MeanLevel(y, u, true)
	d := math.Abs(w.Value - p.Value)
	return d > 0.2*w.U && d > 4*math.Sqrt(max(0, p.U*p.U-w.U*w.U))
}

// Scale is a factor from readings of standards: known = Factor · reading.
type Scale struct {
	Factor    float64
	U         float64   // standard uncertainty from the readings alone; NaN: unknown
	Nu        float64   // degrees of freedom of U; +Inf when the readings' own u are known
	N         int       // readings
	Chi2Nu    float64   // of all readings about known/Factor; NaN when their u are unknown, or one reading is all there is
	ReadingsP float64   // probability of a scatter within the standards as large or larger; NaN as above
	BetweenP  float64   // probability of standards apart as far or farther; NaN for one standard
	AllowedP  float64   // BetweenP if known values were uncertain by allowed, each for itself; NaN for one standard, or u unknown
	Between   bool      // u unknown, and the standards disagree: U is from the scatter between them
	Model     []float64 // reading that each standard should give, known/Factor
	Residual  []float64 // (level − model)/u of each standard; NaN where unknown
	Weak      int       // a standard whose level is below three times its u, −1: none
}

// disagree is the probability below which standards are said to disagree.
const disagree = 0.01

// allowed is the relative uncertainty of known values, which are not seen here, that may explain standards that disagree. Common practice,
// no source.
const allowed = 0.03

// apartBy is χ² of the levels about the factor that fits them best when each known value is uncertain by the share rel of itself, too.
func apartBy(levels []Level, known []float64, g, rel float64) float64 {
	weight := func(i int) float64 {
		v := rel * g * known[i]
		return 1 / (levels[i].U*levels[i].U + v*v)
	}
	var kl, kk float64
	for i, l := range levels {
		w := weight(i)
		kl, kk = kl+w*known[i]*l.Value, kk+w*known[i]*known[i]
	}
	sum := 0.0
	for i, l := range levels {
		d := l.Value - kl/kk*known[i]
		sum += weight(i) * d * d
	}
	return sum
}

// ScaleFactor makes one factor of the levels L of standards and the values K that they are known to have. The readings, not the known
// values, have the noise, so the sensitivity g = L/K is what is averaged,
//
//	g = Σ w·K·L / Σ w·K²,  w = 1/u²(L),  u²(g) = 1/Σ w·K²,  Factor = 1/g,  u(Factor) = u(g)/g²,
//
// a straight line through zero; for one standard Factor = K/L. When any u is unknown, w is the number of readings and u is from the
// scatter of all N readings about the line, with N − 1 degrees of freedom; when the standards then are farther apart than their readings
// explain (F test, p < 0.01), it is from the scatter between the m standards, with m − 1. between, when not nil, says which, as an
// earlier call found. The uncertainty of the known values has no part in U.
//
// Errors: ErrKnown, ErrNoReading, ErrZeroStandard, those of one standard within a *StandardError (ErrZeroStandard only for a level or a mean of exactly zero: Weak names a level that noise alone may
// have made). It panics when lengths differ.
//
// Source: weighted least squares, common practice (Bevington and Robinson, ch. 6, from memory); F test: Fisher (from memory).
func ScaleFactor(levels []Level, known []float64, between *bool) (Scale, error) {
	if len(levels) != len(known) {
		panic("correction: slices of different lengths")
	}
	s := Scale{Nu: math.Inf(1), Chi2Nu: math.NaN(), ReadingsP: math.NaN(), BetweenP: math.NaN(), AllowedP: math.NaN(), Weak: -1,
		Model: make([]float64, len(levels)), Residual: make([]float64, len(levels))}
	sure := true
	for i, l := range levels {
		switch {
		case known[i] == 0 || known[i]-known[i] != 0:
			return Scale{}, &StandardError{i, known[i], ErrKnown}
		case l.N == 0 || l.Value-l.Value != 0:
			return Scale{}, &StandardError{i, l.Value, ErrNoReading}
		case l.Value == 0:
			return Scale{}, &StandardError{i, 0, ErrZeroStandard}
		}
		sure = sure && l.U > 0
		s.N += l.N
	}
	if len(levels) == 0 {
		return Scale{}, ErrNoReading
	}
	weight := func(l Level) float64 {
		if sure {
			return 1 / (l.U * l.U)
		}
		return float64(l.N)
	}
	var kl, kk float64
	for i, l := range levels {
		w := weight(l)
		kl, kk = kl+w*known[i]*l.Value, kk+w*known[i]*known[i]
	}
	g := kl / kk
	if g == 0 || g-g != 0 {
		return Scale{}, fmt.Errorf("%w (the mean of reading over known value is %v)", ErrZeroStandard, g)
	}
	var apart, within float64
	for i, l := range levels {
		s.Model[i] = g * known[i]
		d := l.Value - s.Model[i]
		apart, within = apart+weight(l)*d*d, within+l.Chi2
	}
	s.Factor = 1 / g
	dofApart, dofWithin := float64(len(levels)-1), float64(s.N-len(levels))
	noise := 1.0 // of one unit of weight
	if sure {
		s.judge(apart, within, dofApart, dofWithin)
		if dofApart > 0 {
			s.AllowedP = stats.ChiSquareUpper(apartBy(levels, known, g, allowed), dofApart)
		}
	} else {
		// squares below this are the rounding of equal readings
		least := 1e-24 * g * g * kk
		noise = s.scatter(above(apart, least), above(within, least), dofApart, dofWithin, between)
	}
	s.U = noise / math.Sqrt(kk) / (g * g)
	for i, l := range levels {
		u := noise / math.Sqrt(weight(l))
		s.Residual[i] = (l.Value - s.Model[i]) / u
		if s.Weak < 0 && math.Abs(l.Value) <= 3*u {
			s.Weak = i
		}
	}
	return s, nil
}

func above(x, least float64) float64 {
	if x <= least {
		return 0
	}
	return x
}

// judge holds the scatter against the readings' own uncertainties.
func (s *Scale) judge(apart, within, dofApart, dofWithin float64) {
	if dofApart+dofWithin > 0 {
		s.Chi2Nu = (apart + within) / (dofApart + dofWithin)
	}
	if dofApart > 0 {
		s.BetweenP = stats.ChiSquareUpper(apart, dofApart)
	}
	if dofWithin > 0 {
		s.ReadingsP = stats.ChiSquareUpper(within, dofWithin)
	}
}

// scatter takes the noise of one reading from the scatter, NaN when there is none to see.
func (s *Scale) scatter(apart, within, dofApart, dofWithin float64, between *bool) float64 {
	if dofApart > 0 && dofWithin > 0 && within > 0 {
		f := (apart / dofApart) / (within / dofWithin)
		s.BetweenP = mathext.RegIncBeta(dofWithin/2, dofApart/2, dofWithin/(dofWithin+dofApart*f))
		s.Between = s.BetweenP < disagree
	}
	if between != nil {
		s.Between = *between
	}
	square, dof := apart+within, dofApart+dofWithin
	if s.Between {
		square, dof = apart, dofApart
	}
	if dof < 1 || square == 0 {
		s.Nu = math.NaN()
		return math.NaN()
	}
	s.Nu = dof
	return math.Sqrt(square / dof)
}

package spectra

import (
	"math"

	"fascicle/stages/internal/stats"
)

// hc is Planck's constant times the speed of light, eV·nm (exact in the SI of
// 2019: 6.62607015e-34 · 299792458 / 1.602176634e-19 · 1e9).
const hc = 6.62607015e-34 * 299792458 / 1.602176634e-19 * 1e9

// The numbers of a band, in the order of Bands.N and Bands.Cov.
const (
	Maximum     = iota // place of the maximum, nm
	Height             // the value there, less the baseline
	Centroid           // centre of gravity over the energy, eV
	Width              // full width at half maximum, nm
	Area               // integral over the wavelength, in the unit of the value times nm
	Onset              // where a line through the flank meets the baseline, nm
	HeightRatio        // height over that of the second band
	AreaRatio          // area over that of the second band
	numbers
)

// Bound says what is known of a number that is not known itself.
type Bound uint8

const (
	Plain    Bound = iota
	Lower          // the number is at least Value
	Upper          // the number is at most Value
	Interval       // it lies between Lo and Hi
)

// Number is a number of a band with its standard uncertainty.
type Number struct {
	Value, U float64 // NaN: not determined; not known
	Nu       float64 // degrees of freedom of U: +Inf where the points' u are known
	Bound    Bound
	Lo, Hi   float64 // of an Interval
}

// Bands is what MeasureBands finds.
type Bands struct {
	N [numbers]Number
	// Cov is the covariance of each two numbers by the points' noise; NaN where it is unknown.
	Cov [numbers][numbers]float64
	// TopP is the probability of such a scatter about the polynomial through the top by chance, NaN where u is unknown or no
	// point is to spare. A small one says that the polynomial does not describe the top.
	TopP float64
	// Rough: the curvature of the top is below three times its u. The maximum's u is then only a first-order figure, and too small.
	Rough bool
}

// MeasureBands measures a band, and the ratios to a second one where second is
// not nil, in the way that ChooseBand decided. x rises strictly, in nm; y is
// finite; u are the points' standard uncertainties, nil or NaN where unknown.
//
// With ℓ the values less the baseline, and sums of the trapezoidal rule in place
// of integrals over the range:
//
//	maximum   p′(λ) = 0, p the polynomial through the top's points (weighted by 1/u² where all u are known)
//	height    p(maximum)
//	area      ∫ ℓ dλ
//	centroid  ∫ E·I(E) dE / ∫ I(E) dE with E = hc/λ; of emission I(E) = ℓ(λ)·λ²/hc, so that
//	          the centroid is ∫ (hc/λ)·ℓ dλ / ∫ ℓ dλ; of absorption I(E) = ℓ(λ) and dE = hc/λ² dλ
//	width     between the places where polynomials through the flanks have half the height
//	onset     where a straight line through the flank, from 0.35 to 0.85 of the height, meets the baseline: at short
//	          wavelengths for emission, at long ones for absorption; of a Gaussian 2.04 σ from the maximum on a fine axis
//
// On fine axes, of Gaussians and Lorentzians, a polynomial of degree 4 over the
// top fifth is off by at most 3e-4 of the height, and the width by 2e-4.
//
// Each number is a function of the points; its gradient g over them is exact for
// area and height and taken at the solution for the others, and u² = Σ g_i²·u_i²,
// cov = Σ g_i·h_i·u_i². The noise of the points that the baseline is from is in
// it. The refractive index of air is neglected (3e-4 of an energy).
//
// Where u is unknown, the noise of each window's points is taken from their
// scatter about its polynomial, with its degrees of freedom (combined by Welch
// and Satterthwaite); that of the baseline's points from the top. Area and
// centroid then have no u.
//
// A maximum at the end of the range is a bound, and so is its height. Of a clipped band
// the maximum lies on the plateau, height and area are lower bounds, the width
// an upper one.
//
// Source: Jacobian: I(ν) = I(λ)·λ², identity; Mooney and Kambhampati, J. Phys.
// Chem. Lett. 4 (2013) 3316 (from memory); propagation: JCGM 100:2008, 5.1.2,
// 5.2.2, G.4.1; windows and onset: common practice, no source.
func MeasureBands(x, y, u []float64, first BandChoice, second *BandChoice, o BandOptions, w *Workspace) Bands {
	m := measurement{x: x, y: y, u: u, o: o, w: w}
	m.variances(len(x))
	b := Bands{TopP: math.NaN()}
	for i := range b.N {
		b.N[i] = Number{Value: math.NaN(), U: math.NaN(), Nu: math.NaN()}
		w.gradient(i, len(x))
	}
	w.gradient(numbers+2, len(x))
	height, area := w.gradient(numbers, len(x)), w.gradient(numbers+1, len(x))
	var h2, a2 Number
	if second != nil {
		second.takeBaseline(x, y, o, w)
		h2, _, _ = m.height(second, &w.other, height, nil)
		a2 = m.area(second, area)
		second.undoBaseline(height, x, o)
		second.undoBaseline(area, x, o)
	}
	first.takeBaseline(x, y, o, w)
	m.one(&b, &first)
	for i := range HeightRatio {
		first.undoBaseline(w.gradients[i], x, o)
	}
	if second != nil {
		b.N[HeightRatio] = ratio(b.N[Height], h2, w.gradients[HeightRatio], w.gradients[Height], height)
		b.N[AreaRatio] = ratio(b.N[Area], a2, w.gradients[AreaRatio], w.gradients[Area], area)
		if second.WeakArea {
			b.N[AreaRatio] = Number{Value: math.NaN()}
		}
	}
	m.spread(&b)
	v := 0.0
	for i, s := range w.gradients[numbers+2] { // of ln|p″|
		v += s * s * w.variance[i]
	}
	b.Rough = v > 1./9
	return b
}

// measurement is the work on one curve.
type measurement struct {
	x, y, u []float64
	o       BandOptions
	w       *Workspace
	windows []scatter
}

// one measures all of a band but the ratios.
func (m *measurement) one(b *Bands, c *BandChoice) {
	w := m.w
	b.N[Area] = m.area(c, w.gradients[Area])
	b.N[Centroid] = m.centroid(c, b.N[Area], w.gradients[Centroid])
	if c.State == TopFew || c.State == TopUnseen || c.State == TopNone {
		return
	}
	b.N[Height], b.N[Maximum], b.TopP = m.height(c, &w.top, w.gradients[Height], w.gradients[Maximum])
	if c.State == TopFlat {
		b.N[Centroid] = Number{Value: math.NaN()}
		clear(w.gradients[Centroid])
	}
	if c.State == TopAtShort || c.State == TopAtLong || math.IsNaN(b.N[Height].Value) {
		return
	}
	b.N[Width] = m.width(c, b.N[Height].Value, w.gradients[Width], w.gradients[Height])
	if c.State == TopFlat {
		b.N[Width].Bound = Upper
		return
	}
	b.N[Onset] = m.onset(c, w.gradients[Onset])
}

// height measures the top of a band. The gradient of the maximum is left out where gMax is nil.
func (m *measurement) height(c *BandChoice, p *localPolynomial, g, gMax []float64) (height, maximum Number, topP float64) {
	nan := math.NaN()
	height, maximum, topP = Number{Value: nan}, Number{Value: nan}, nan
	switch c.State {
	case TopFew, TopUnseen, TopNone:
		return
	case TopFlat:
		n := float64(c.top.points())
		height = Number{Bound: Lower}
		for i := c.top.first; i <= c.top.last; i++ {
			height.Value += m.w.level[i] / n
			g[i] += 1 / n
		}
		return height, Number{Value: nan, Bound: Interval, Lo: m.x[c.top.first], Hi: m.x[c.top.last]}, topP
	}
	if !p.fit(m.x, m.w.level, m.u, c.top.first, c.top.last, c.top.degree) {
		return
	}
	if k, ok := m.scattered(p); ok && m.o.Baseline != NoBaseline {
		for i := range c.ends {
			m.credit(c.first+i, k)
			m.credit(c.last-i, k)
		}
	}
	if p.weighted && p.dof() > 0 {
		topP = stats.ChiSquareUpper(p.chi2, float64(p.dof()))
	}
	switch c.State {
	case TopAtShort:
		maximum = Number{Value: m.x[c.first], Bound: Upper}
	case TopAtLong:
		maximum = Number{Value: m.x[c.last], Bound: Lower}
	default:
		at, ok := p.top(m.x)
		if !ok {
			return
		}
		maximum.Value = at
	}
	d := p.at(maximum.Value)
	height = Number{Value: p.value(&d, 0)}
	p.addGradient(g, 1, &d, 0)
	if maximum.Bound != Plain {
		height.Bound = Lower
	} else if gMax != nil {
		bend := p.value(&d, 2)
		p.addGradient(gMax, -1/bend, &d, 1)
		p.addGradient(m.w.gradient(numbers+2, len(m.x)), 1/bend, &d, 2)
	}
	return height, maximum, topP
}

// trapezoid is the weight of point i of the range in a sum of the trapezoidal rule.
func (c *BandChoice) trapezoid(x []float64, i int) float64 {
	return (x[min(i+1, c.last)] - x[max(i-1, c.first)]) / 2
}

func (m *measurement) area(c *BandChoice, g []float64) (a Number) {
	for i := c.first; i <= c.last; i++ {
		g[i] = c.trapezoid(m.x, i)
		a.Value += g[i] * m.w.level[i]
	}
	if c.State == TopFlat {
		a.Bound = Lower
	}
	return a
}

func (m *measurement) centroid(c *BandChoice, area Number, g []float64) Number {
	if c.WeakArea {
		return Number{Value: math.NaN()}
	}
	var sum, energy float64
	for i := c.first; i <= c.last; i++ {
		g[i] = c.trapezoid(m.x, i)
		if m.o.Absorption {
			g[i] *= hc / (m.x[i] * m.x[i])
		}
		sum += g[i] * m.w.level[i]
		energy += hc / m.x[i] * g[i] * m.w.level[i]
	}
	centre := energy / sum
	for i := c.first; i <= c.last; i++ {
		g[i] *= (hc/m.x[i] - centre) / sum
	}
	return Number{Value: centre}
}

func (m *measurement) width(c *BandChoice, height float64, g, gHeight []float64) Number {
	nan := Number{Value: math.NaN()}
	if !c.left.some() || !c.right.some() {
		return nan
	}
	var at [2]float64
	for k, side := range [...]window{c.left, c.right} {
		p := [...]*localPolynomial{&m.w.left, &m.w.right}[k]
		sign := [...]float64{-1, 1}[k]
		if !p.fit(m.x, m.w.level, m.u, side.first, side.last, side.degree) {
			return nan
		}
		m.scattered(p)
		var ok bool
		if at[k], ok = p.cross(height/2, side.start); !ok {
			return nan
		}
		d := p.at(at[k])
		slope := p.value(&d, 1)
		if slope*sign > 0 {
			return nan
		}
		p.addGradient(g, -sign/slope, &d, 0)
		for i := c.top.first; i <= c.top.last; i++ {
			g[i] += sign / slope / 2 * gHeight[i]
		}
	}
	return Number{Value: at[1] - at[0]}
}

// minFlank is the least number of points of a flank: those of a line, and one to spare.
const minFlank = 3

func (m *measurement) onset(c *BandChoice, g []float64) Number {
	nan := Number{Value: math.NaN()}
	p := &m.w.edge
	if c.flank.points() < minFlank || !p.fit(m.x, m.w.level, m.u, c.flank.first, c.flank.last, 1) {
		return nan
	}
	m.scattered(p)
	d := p.at(p.mid)
	value, slope := p.value(&d, 0), p.value(&d, 1)
	at := p.mid - value/slope
	if m.o.Absorption == (slope > 0) || !(math.Abs(at-p.mid) < 20*p.half) {
		return nan
	}
	p.addGradient(g, -1/slope, &d, 0)
	p.addGradient(g, value/slope/slope, &d, 1)
	return Number{Value: at}
}

// ratio is a/b with its gradient. Bounds of positive numbers turn over below the line; a clipped band over a clipped one is unknown.
func ratio(a, b Number, g, ga, gb []float64) Number {
	if math.IsNaN(a.Value) || math.IsNaN(b.Value) || b.Value == 0 {
		return Number{Value: math.NaN()}
	}
	r := Number{Value: a.Value / b.Value, Bound: a.Bound}
	if b.Bound != Plain {
		if a.Bound != Plain || !(a.Value > 0) || !(b.Value > 0) {
			return Number{Value: math.NaN()}
		}
		r.Bound = Upper
	}
	for i := range g {
		g[i] = (ga[i] - r.Value*gb[i]) / b.Value
	}
	return r
}

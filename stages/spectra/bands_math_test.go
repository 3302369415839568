package spectra

import (
	"math"
	"math/rand/v2"
	"testing"

	"pgregory.net/rapid"
)

// axis makes wavelengths from lo to hi.
func axis(lo, hi, step float64) (x []float64) {
	for i := range int(math.Round((hi-lo)/step)) + 1 {
		x = append(x, lo+float64(i)*step)
	}
	return x
}

func over(x []float64, f func(float64) float64) []float64 {
	y := make([]float64, len(x))
	for i, v := range x {
		y[i] = f(v)
	}
	return y
}

func gauss(mid, sigma float64) func(float64) float64 {
	return func(x float64) float64 { return math.Exp(-(x - mid) * (x - mid) / (2 * sigma * sigma)) }
}

func all(x []float64, y, u []float64, o BandOptions, second *BandChoice) (Bands, BandChoice) {
	var w Workspace
	c := ChooseBand(x, y, u, 0, len(x)-1, o, &w)
	return MeasureBands(x, y, u, c, second, o, &w), c
}

// Closed forms: a Gaussian has width 2σ√(2 ln 2) and area σ√(2π), a Lorentzian
// width 2γ. The line through the flank from 0.35 to 0.85 of the height meets zero
// 2.038659 σ and 1.950583 γ from the maximum: least squares over a continuum,
// numpy.polyfit on Gauss–Legendre nodes. The tolerances are those that
// MeasureBands states for its polynomials, and half a step for the onset, whose
// flank begins and ends at a point.
func TestBandsAgainstClosedForms(t *testing.T) {
	o := BandOptions{Degree: 4, Top: 0.8}
	x := axis(350, 750, 0.1)
	t.Run("Gaussian", func(t *testing.T) {
		y := over(x, func(x float64) float64 { return 1000 * gauss(551.3, 20)(x) })
		b, c := all(x, y, nil, o, nil)
		if c.State != TopFound {
			t.Fatalf("state %d", c.State)
		}
		near(t, "maximum", b.N[Maximum].Value, 551.3, 1e-6)
		near(t, "height", b.N[Height].Value, 1000, 5e-5)
		near(t, "width", b.N[Width].Value, 40*math.Sqrt(2*math.Ln2), 2e-4)
		near(t, "area", b.N[Area].Value, 20000*math.Sqrt(2*math.Pi), 1e-12)
		near(t, "onset", (551.3-b.N[Onset].Value)/20, 2.038659091886131, 0.05/20)
		o.Absorption = true
		red, _ := all(x, y, nil, o, nil)
		near(t, "onset at long wavelengths", (red.N[Onset].Value-551.3)/20, 2.038659091886131, 0.05/20)
	})
	t.Run("Gaussian, narrow top", func(t *testing.T) {
		// of exp(−z²/2) a polynomial of degree 4 leaves z⁶/48, and of that least squares about 1/2⁵: 1.5e-7 at 0.97 of the height
		b, _ := all(x, over(x, gauss(551.3, 20)), nil, BandOptions{Degree: 4, Top: 0.97}, nil)
		near(t, "height", b.N[Height].Value, 1, 1.5e-7)
	})
	t.Run("Lorentzian", func(t *testing.T) {
		b, _ := all(x, over(x, func(x float64) float64 { return 1 / (1 + (x-551.3)*(x-551.3)/400) }), nil, BandOptions{Degree: 4, Top: 0.95}, nil)
		near(t, "maximum", b.N[Maximum].Value, 551.3, 1e-6)
		near(t, "height", b.N[Height].Value, 1, 1e-5)
		near(t, "width", b.N[Width].Value, 40, 2e-4)
		near(t, "onset", (551.3-b.N[Onset].Value)/20, 1.9505827889839382, 0.05/20)
		lo, hi := (350-551.3)/20, (750-551.3)/20
		near(t, "area", b.N[Area].Value, 20*(math.Atan(hi)-math.Atan(lo)), 1e-7)
	})
}

// A Gaussian over the energy, about 2.25 eV with σ 0.08 eV. As an emission density over the
// wavelength it is I(E)·hc/λ²: its centroid over the energy is 2.25 eV, but its
// maximum over the wavelength lies at E = (E0 + √(E0² + 8σ²))/2, where d ln(I·E²)/dE = 0. As an absorbance it is the same
// number at each wavelength, and taking it for emission moves the centroid.
func TestCentroidAndJacobian(t *testing.T) {
	const e0, sigma = 2.25, 0.08
	x := axis(430, 750, 0.2)
	band := func(x float64) float64 { return gauss(e0, sigma)(hc / x) }
	emission := over(x, func(x float64) float64 { return band(x) * hc / (x * x) })
	b, _ := all(x, emission, nil, BandOptions{Degree: 4, Top: 0.9}, nil)
	near(t, "centroid of emission", b.N[Centroid].Value, e0, 1e-9)
	near(t, "maximum of emission", b.N[Maximum].Value, hc/((e0+math.Sqrt(e0*e0+8*sigma*sigma))/2), 1e-5)
	near(t, "area of emission", b.N[Area].Value, sigma*math.Sqrt(2*math.Pi), 1e-9)
	a, _ := all(x, over(x, band), nil, BandOptions{Degree: 4, Top: 0.9, Absorption: true}, nil)
	near(t, "centroid of absorption", a.N[Centroid].Value, e0, 1e-9)
	near(t, "maximum of absorption", a.N[Maximum].Value, hc/e0, 1e-5)
	wrong, _ := all(x, over(x, band), nil, BandOptions{Degree: 4, Top: 0.9}, nil)
	if math.Abs(wrong.N[Centroid].Value-e0) < 1e-3 {
		t.Error("the Jacobian makes no difference")
	}
	near(t, "hc", hc, 1239.8419843320026, 1e-15) // CODATA 2018, exact: eV·nm
}

// twoBands are two bands on a slope.
func twoBands(x float64) float64 {
	return 800*gauss(540, 15)(x) + 450*gauss(625, 18)(x) + 12 + 0.02*(x-500)
}

// Every gradient against differences: each point is moved by itself, and the
// number measured again in the same way. Covariances follow from the same gradients.
func TestBandsGradients(t *testing.T) {
	x := axis(480, 680, 2)
	y := over(x, twoBands)
	u := over(x, func(x float64) float64 { return 0.5 + 0.1*math.Sqrt(twoBands(x)) })
	for _, c := range []struct {
		name string
		o    BandOptions
		u    []float64
	}{
		{"emission", BandOptions{Degree: 3, Top: 0.8}, u},
		{"absorption, linear baseline", BandOptions{Degree: 4, Top: 0.8, Baseline: LinearBaseline, Absorption: true}, u},
		{"constant baseline", BandOptions{Degree: 4, Top: 0.7, Baseline: ConstantBaseline}, u},
		{"equal weights", BandOptions{Degree: 3, Top: 0.8, Baseline: LinearBaseline}, nil},
	} {
		t.Run(c.name, func(t *testing.T) {
			var w Workspace
			first := ChooseBand(x, y, c.u, 0, 55, c.o, &w)    // 480 to 590 nm
			second := ChooseBand(x, y, c.u, 50, 100, c.o, &w) // 580 to 680 nm
			b := MeasureBands(x, y, c.u, first, &second, c.o, &w)
			var g [numbers][]float64
			for k := range g {
				g[k] = append(g[k], w.gradients[k]...)
			}
			const h = 1e-3
			for i := range x {
				side := func(d float64) Bands {
					moved := append([]float64(nil), y...)
					moved[i] += d
					return MeasureBands(x, moved, c.u, first, &second, c.o, &w)
				}
				up, down := side(h), side(-h)
				for k := range g {
					if math.IsNaN(b.N[k].Value) {
						t.Fatalf("no %s", bandNames[k])
					}
					want := (up.N[k].Value - down.N[k].Value) / (2 * h)
					if math.Abs(g[k][i]-want) > 1e-6*(math.Abs(b.N[k].Value)/1000+math.Abs(want)) {
						t.Errorf("∂%s/∂y[%d] = %g, differences say %g", bandNames[k], i, g[k][i], want)
					}
				}
			}
			if c.u == nil {
				return
			}
			for j := range g {
				for k := range g {
					want := 0.0
					for i := range x {
						want += g[j][i] * g[k][i] * u[i] * u[i]
					}
					if math.Abs(b.Cov[j][k]-want) > 1e-12*math.Sqrt(b.Cov[j][j]*b.Cov[k][k]) {
						t.Errorf("cov(%s, %s) = %g, want %g", bandNames[j], bandNames[k], b.Cov[j][k], want)
					}
				}
				near(t, "u", b.N[j].U, math.Sqrt(b.Cov[j][j]), 1e-12)
			}
		})
	}
}

// Invented noise: the numbers must scatter about the truth as their u say, where
// the windows are found anew in each draw. The limits on the spread are those of
// the chi-square distribution for 300 draws (±12 % at 99.7 %), and a tenth for
// windows that follow the noise; a mean may be off by 0.3 u (the onset by its flank's ends).
func TestBandsScatterAsTheirU(t *testing.T) {
	for _, unknown := range []bool{false, true} {
		name := map[bool]string{false: "u known", true: "u from the scatter"}[unknown]
		t.Run(name, func(t *testing.T) {
			x := axis(450, 650, 1)
			y, u := make([]float64, len(x)), make([]float64, len(x))
			r := rand.New(rand.NewPCG(5, 8))
			truth := map[int]float64{Maximum: 551.3, Height: 1000, Width: 40 * math.Sqrt(2*math.Ln2), Area: 20000 * math.Sqrt(2*math.Pi)}
			sum, square := map[int]float64{}, map[int]float64{}
			const draws = 300
			var w Workspace
			for range draws {
				for i, v := range x {
					mean := 1000 * gauss(551.3, 20)(v)
					u[i] = 5 + 0.2*math.Sqrt(mean)
					y[i] = mean + u[i]*r.NormFloat64()
				}
				known := u
				if unknown {
					known = nil
				}
				o := BandOptions{Degree: 4, Top: 0.8}
				c := ChooseBand(x, y, known, 0, len(x)-1, o, &w)
				b := MeasureBands(x, y, known, c, nil, o, &w)
				for k, want := range truth {
					if unknown && k == Area {
						if !math.IsNaN(b.N[k].U) {
							t.Fatal("the area has a u, though no u is known")
						}
						continue
					}
					if math.IsInf(b.N[k].Nu, 1) == unknown {
						t.Fatalf("nu of %s is %g", bandNames[k], b.N[k].Nu)
					}
					z := (b.N[k].Value - want) / b.N[k].U
					sum[k] += z
					square[k] += z * z
				}
			}
			for k := range sum {
				mean := sum[k] / draws
				spread := math.Sqrt(square[k]/draws - mean*mean)
				if math.Abs(mean) > 0.3 || spread < 0.8 || spread > 1.22 {
					t.Errorf("%s: z scatters by %.3f about %.3f", bandNames[k], spread, mean)
				}
			}
		})
	}
}

// What changes with the data, and how: heights with the scale, places with the axis.
func TestBandsSymmetries(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		x := axis(480, 640, 2)
		mid := rapid.Float64Range(530, 580).Draw(t, "mid")
		sigma := rapid.Float64Range(8, 18).Draw(t, "sigma")
		y, u := over(x, gauss(mid, sigma)), make([]float64, len(x))
		noise := rapid.SliceOfN(rapid.Float64Range(-1, 1), len(x), len(x)).Draw(t, "noise")
		for i := range y {
			y[i] += 0.01 * noise[i]
			u[i] = 0.006
		}
		o := BandOptions{Degree: 4, Top: 0.8, Baseline: Baseline(rapid.IntRange(0, 2).Draw(t, "baseline"))}
		b, _ := all(x, y, u, o, nil)
		scale, offset := rapid.Float64Range(0.01, 1000).Draw(t, "scale"), 0.0
		if o.Baseline != NoBaseline {
			offset = rapid.Float64Range(-3, 3).Draw(t, "offset")
		}
		y2, u2 := make([]float64, len(x)), make([]float64, len(x))
		for i := range y {
			y2[i], u2[i] = scale*(y[i]+offset), scale*u[i]
		}
		s, _ := all(x, y2, u2, o, nil)
		for k, by := range map[int]float64{Maximum: 1, Height: scale, Centroid: 1, Width: 1, Area: scale, Onset: 1} {
			same := func(what string, got, want float64) {
				if math.IsNaN(got) != math.IsNaN(want) || math.Abs(got-want) > 1e-6*math.Abs(want) {
					t.Fatalf("%s of %s: %g, want %g", what, bandNames[k], got, want)
				}
			}
			same("value", s.N[k].Value, by*b.N[k].Value)
			same("u", s.N[k].U, by*b.N[k].U)
		}
	})
}

// Two bands known exactly: their ratios, and the ratio's u with what both share.
func TestBandRatios(t *testing.T) {
	x := axis(400, 800, 0.5)
	y := over(x, func(x float64) float64 { return 3*gauss(500, 12)(x) + 2*gauss(700, 14)(x) })
	u := over(x, func(float64) float64 { return 0.01 })
	o := BandOptions{Degree: 4, Top: 0.9}
	var w Workspace
	first, second := ChooseBand(x, y, u, 0, 400, o, &w), ChooseBand(x, y, u, 401, 800, o, &w)
	b := MeasureBands(x, y, u, first, &second, o, &w)
	near(t, "ratio of heights", b.N[HeightRatio].Value, 1.5, 1e-5) // z⁶/48/2⁵ at 0.9 of the height is 6e-6
	near(t, "ratio of areas", b.N[AreaRatio].Value, 3*12/(2*14.), 1e-10)
	alone := MeasureBands(x, y, u, second, nil, o, &w)
	h := math.Hypot(b.N[Height].U/b.N[Height].Value, alone.N[Height].U/alone.N[Height].Value)
	near(t, "u of the ratio", b.N[HeightRatio].U, b.N[HeightRatio].Value*h, 1e-9)
	// a band over itself is one, exactly
	same := MeasureBands(x, y, u, first, &first, o, &w)
	near(t, "ratio to itself", same.N[HeightRatio].Value, 1, 1e-15)
	if same.N[HeightRatio].U > 1e-12 || same.N[AreaRatio].U > 1e-12 {
		t.Errorf("the ratio of a band to itself has u %g, %g", same.N[HeightRatio].U, same.N[AreaRatio].U)
	}
}

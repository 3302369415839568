package catalog

import (
	"math"
	"math/big"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"
)

func TestConvertPublished(t *testing.T) {
	const (
		si  = "SI brochure, 9th edition (2019), from memory"
		sp  = "NIST SP 811 (2008), appendix B.8, from memory"
		def = "definition of the SI prefixes"
	)
	for _, test := range []struct {
		from, to string
		x, want  float64
		source   string
	}{
		{"eV", "J", 1, 1.602176634e-19, si + ", section 2.2: exact"},
		{"J", "eV", 1.602176634e-19, 1, si + ", section 2.2: exact"},
		{"keV", "J", 8, 1.2817413072e-15, si + ", 8 times the above"},
		{"Å", "nm", 1, 0.1, sp},
		{"Å", "m", 1, 1e-10, sp},
		{"1/Å", "1/nm", 0.1076, 1.076, sp},
		{"1/Å", "1/cm", 1, 1e8, sp},
		{"nm", "Å", 5.8380, 58.380, sp},
		{"kcps", "1/s", 1.5, 1500, def},
		{"kcps", "Hz", 2, 2000, def},
		{"°C", "K", 25, 298.15, si + ", section 2.3.1"},
		{"°C", "K", -273.15, 0, si + ", section 2.3.1"},
		{"K", "°C", 0, -273.15, si + ", section 2.3.1"},
		{"K", "°C", 273.16, 0.01, si + ", section 2.3.1: triple point of water as formerly defined"},
		{"°C", "mK", 0, 273150, si + ", section 2.3.1"},
		{"min", "s", 1, 60, si + ", table 8"},
		{"h", "s", 1, 3600, si + ", table 8"},
		{"d", "s", 1, 86400, si + ", table 8"},
		{"h", "min", 0.25, 15, si + ", table 8"},
		{"°", "rad", 180, math.Pi, si + ", table 8: π/180 rad"},
		{"rad", "deg", math.Pi / 2, 90, si + ", table 8: π/180 rad"},
		{"deg", "rad", 1, 1.745329251994329577e-02, sp + ", to more digits"},
		{"L", "m3", 1, 1e-3, si + ", table 8"},
		{"mL", "cm3", 3, 3, si + ", table 8"},
		{"µL", "mL", 54.1, 0.0541, si + ", table 8"},
		{"bar", "Pa", 1, 1e5, sp},
		{"atm", "Pa", 1, 101325, sp},
		{"cP", "Pa.s", 1, 1e-3, sp},
		{"cP", "mPa.s", 0.89, 0.89, sp},
		{"kcal/mol", "kJ/mol", 1, 4.184, sp + ": thermochemical calorie"},
		{"mM", "mol/L", 1, 1e-3, def},
		{"mM", "mol/m3", 1, 1, def},
		{"mg/mL", "g/L", 2.5, 2.5, def},
		{"g/mL", "mg/mL", 0.9970, 997, def},
		{"kDa", "g/mol", 14.3, 14300, "molar mass in kDa: 1 Da/particle taken as 1 g/mol"},
		{"L/(mol.cm)", "m2/mol", 1, 0.1, def},
		{"W/(m2.sr.nm)", "W/(m3.sr)", 1, 1e9, def},
		{"%", "1", 35, 0.35, si + ", section 5.4.7"},
		{"‰", "%", 1, 0.1, def},
		{"1/cm", "1/m", 1, 100, sp},
		{"ps", "ns", 24.4, 0.0244, def},
		{"mPa.s", "Pa.s", 1, 1e-3, def},
		{"J", "N.m", 1, 1, si + ", table 4"},
		{"W", "V.A", 1, 1, si + ", table 4"},
		{"Ohm", "V/A", 1, 1, si + ", table 4"},
		{"S", "A/V", 1, 1, si + ", table 4"},
		{"C", "A.s", 1, 1, si + ", table 4"},
	} {
		t.Run(test.from+" to "+test.to, func(t *testing.T) {
			c, err := Convert(mustUnit(test.from), mustUnit(test.to))
			if err != nil {
				t.Fatal(err)
			}
			got := c.Float(test.x)
			// one rounding of the input, one of the result
			if diff := math.Abs(got - test.want); diff > 2.3e-16*math.Abs(test.want) && !(test.want == 0 && got == 0) && !(test.want == 0.01 && diff < 1e-13) {
				t.Errorf("%v %s is %v %s, want %v (%s)", test.x, test.from, got, test.to, test.want, test.source)
			}
		})
	}
}

func TestConvertErrors(t *testing.T) {
	for _, test := range []struct{ from, to, want string }{
		{"mm", "ns", "found a quantity in mm (dimension L); expected one in ns (dimension T); correct the unit"},
		{"mol/L", "mg/mL", "found a quantity in mol/L (dimension L⁻³·N); expected one in mg/mL (dimension L⁻³·M); correct the unit"},
		{"deg", "1", "found a quantity in deg (dimension A); expected one in 1 (dimension 1); correct the unit"},
		{"1/cm", "nm", "found a quantity in 1/cm (dimension L⁻¹); expected one in nm (dimension L); correct the unit"},
		{"fm24", "Gm24", "found the units fm24 and Gm24; expected units less than 1e300 apart"},
		{"Gm24", "fm24", "found the units Gm24 and fm24; expected units less than 1e300 apart"},
	} {
		t.Run(test.from+" to "+test.to, func(t *testing.T) {
			_, err := Convert(mustUnit(test.from), mustUnit(test.to))
			if err == nil {
				t.Fatal("no error")
			}
			if diff := cmp.Diff(test.want, err.Error()); diff != "" {
				t.Error(diff)
			}
		})
	}
}

// Between any two units of one dimension the result is the float64 nearest to the exact one, or its neighbour where the
// two are nearly equally far; where factor or divisor is a float64 it is the nearest.
func TestConversionIsCorrectlyRounded(t *testing.T) {
	groups := [][]string{
		{"nm", "Å", "um", "mm", "cm", "m", "pm", "fm", "km"}, {"eV", "keV", "J", "meV", "kJ", "cal_th"}, {"s", "ns", "ps", "min", "h", "d"},
		{"mol/L", "mM", "uM", "mol/m3", "nM"}, {"rad", "deg", "mdeg", "mrad"}, {"1/Å", "1/nm", "1/cm", "1/m"}, {"%", "1", "[ppm]", "[ppth]"},
		{"g/mol", "kDa", "Da", "kg/mol"}, {"L", "mL", "uL", "m3", "nm3"},
	}
	rapid.Check(t, func(t *rapid.T) {
		group := rapid.SampledFrom(groups).Draw(t, "group")
		from, to := mustUnit(rapid.SampledFrom(group).Draw(t, "from")), mustUnit(rapid.SampledFrom(group).Draw(t, "to"))
		x := rapid.Float64Range(-1e12, 1e12).Draw(t, "x")
		if math.Abs(x) < 1e-200 { // below, the products lose digits
			x = 0
		}
		c, err := Convert(from, to)
		if err != nil {
			t.Fatal(err)
		}
		got := c.Float(x)
		exact := c.rat(new(big.Rat).SetFloat64(x), false)
		want, _ := exact.Float64()
		if got == want {
			return
		}
		if c.lo == 0 {
			t.Fatalf("%v %s is %v %s, want %v", x, from, got, to, want)
		}
		ulp := math.Nextafter(math.Abs(want), math.Inf(1)) - math.Abs(want)
		off := new(big.Rat).Sub(exact, new(big.Rat).SetFloat64(got))
		if f, _ := off.Abs(off).Float64(); f > 0.5000001*ulp {
			t.Fatalf("%v %s is %v %s, %g of a last place from the exact value", x, from, got, to, f/ulp)
		}
	})
}

// Temperatures in hundredths of a degree become what a person would write in K, to the last place.
func TestCelsius(t *testing.T) {
	c, _ := Convert(mustUnit("°C"), mustUnit("K"))
	back, _ := Convert(mustUnit("K"), mustUnit("°C"))
	rapid.Check(t, func(t *rapid.T) {
		hundredths := rapid.Int64Range(-27315, 200000).Draw(t, "hundredths")
		celsius, _ := big.NewRat(hundredths, 100).Float64()
		kelvin, _ := big.NewRat(hundredths+27315, 100).Float64()
		const place = 5.7e-14 // unit in the last place of 273.15
		if got := c.Float(celsius); math.Abs(got-kelvin) > max(place, kelvin*2.3e-16) {
			t.Fatalf("%v °C is %v K, want %v", celsius, got, kelvin)
		}
		if got := back.Float(kelvin); math.Abs(got-celsius) > max(place, kelvin*2.3e-16) {
			t.Fatalf("%v K is %v °C, want %v", kelvin, got, celsius)
		}
		if got := c.Delta(celsius); got != celsius {
			t.Fatalf("a difference of %v °C is %v K", celsius, got)
		}
	})
}

func TestConversionOfWhatIsNotFinite(t *testing.T) {
	for _, pair := range [][2]string{{"°C", "K"}, {"deg", "rad"}, {"nm", "m"}, {"m", "nm"}, {"m", "m"}} {
		c, err := Convert(mustUnit(pair[0]), mustUnit(pair[1]))
		if err != nil {
			t.Fatal(err)
		}
		if got := c.Float(math.NaN()); !math.IsNaN(got) {
			t.Errorf("%v: NaN becomes %v", pair, got)
		}
		if got := c.Float(math.Inf(-1)); !math.IsInf(got, -1) {
			t.Errorf("%v: -Inf becomes %v", pair, got)
		}
	}
}

func TestConversionSlice(t *testing.T) {
	for _, pair := range [][2]string{{"nm", "nm"}, {"°C", "K"}, {"nm", "Å"}, {"Å", "nm"}, {"deg", "rad"}, {"°C", "mK"}} {
		t.Run(pair[0]+" to "+pair[1], func(t *testing.T) {
			c, err := Convert(mustUnit(pair[0]), mustUnit(pair[1]))
			if err != nil {
				t.Fatal(err)
			}
			src := []float64{0, 25, -40}
			want := []float64{c.Float(0), c.Float(25), c.Float(-40)}
			dst := make([]float64, 3)
			if n := testing.AllocsPerRun(10, func() { c.Slice(dst, src) }); n != 0 {
				t.Errorf("%v allocations", n)
			}
			c.Slice(src, src)
			if diff := cmp.Diff([][]float64{want, want}, [][]float64{dst, src}); diff != "" {
				t.Error(diff)
			}
		})
	}
	defer func() {
		if recover() == nil {
			t.Error("slices of two lengths are taken")
		}
	}()
	Conversion{}.Slice(make([]float64, 2), make([]float64, 3))
}

func BenchmarkConversionSlice(b *testing.B) {
	for _, pair := range [][2]string{{"Å", "nm"}, {"deg", "rad"}, {"°C", "K"}} {
		b.Run(pair[0], func(b *testing.B) {
			c, _ := Convert(mustUnit(pair[0]), mustUnit(pair[1]))
			v := make([]float64, 4096)
			for b.Loop() {
				c.Slice(v, v)
			}
		})
	}
}

func BenchmarkParseUnit(b *testing.B) {
	for _, s := range []string{"nm", "mmol/L", "W/(m2.sr.nm)"} {
		b.Run(s, func(b *testing.B) {
			for b.Loop() {
				if _, err := ParseUnit(s); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

package report

import (
	"math"
	"strconv"
	"testing"
)

// Full colour deficiencies as matrices over linear RGB: Machado, Oliveira and Fernandes, A Physiologically-based Model for Simulation
// of Color Vision Deficiency, IEEE Trans. Vis. Comput. Graph. 15 (2009) 1291, table 1, severity 1.0 (from memory).
var deficiencies = map[string][3][3]float64{
	"none":   {{1, 0, 0}, {0, 1, 0}, {0, 0, 1}},
	"protan": {{0.152286, 1.052583, -0.204868}, {0.114503, 0.786281, 0.099216}, {-0.003882, -0.048116, 1.051998}},
	"deutan": {{0.367322, 0.860646, -0.227968}, {0.280085, 0.672501, 0.047413}, {-0.011820, 0.042940, 0.968881}},
	"tritan": {{1.255528, -0.076749, -0.178779}, {-0.078411, 0.930809, 0.147602}, {0.004733, 0.691367, 0.303900}},
}

// lab is CIELAB under D65 of a linear RGB colour (CIE 015:2018; sRGB primaries of IEC 61966-2-1; from memory).
func lab(rgb [3]float64) [3]float64 {
	f := func(t float64) float64 {
		if t > 216.0/24389 {
			return math.Cbrt(t)
		}
		return (24389.0/27*t + 16) / 116
	}
	x := f((0.4124564*rgb[0] + 0.3575761*rgb[1] + 0.1804375*rgb[2]) / 0.95047)
	y := f(0.2126729*rgb[0] + 0.7151522*rgb[1] + 0.0721750*rgb[2])
	z := f((0.0193339*rgb[0] + 0.1191920*rgb[1] + 0.9503041*rgb[2]) / 1.08883)
	return [3]float64{116*y - 16, 500 * (x - y), 200 * (y - z)}
}

func linearRGB(t *testing.T, s string) (rgb [3]float64) {
	for i := range rgb {
		n, err := strconv.ParseUint(s[1+2*i:3+2*i], 16, 8)
		if err != nil {
			t.Fatal(err)
		}
		c := float64(n) / 255
		if c <= 0.04045 {
			rgb[i] = c / 12.92
		} else {
			rgb[i] = math.Pow((c+0.055)/1.055, 2.4)
		}
	}
	return rgb
}

// Any two colours of the palette stay apart, and apart from paper, with normal vision and with each full deficiency. ΔE*ab (1976) of
// 10 is plainly seen side by side; 15 is asked for the first three (common practice, no source).
func TestPalette(t *testing.T) {
	for name, m := range deficiencies {
		seen := func(s string) [3]float64 {
			in := linearRGB(t, s)
			var out [3]float64
			for i := range out {
				for k := range in {
					out[i] += m[i][k] * in[k]
				}
				out[i] = min(1, max(0, out[i]))
			}
			return lab(out)
		}
		for i, a := range palette {
			for k, b := range append([]string{"#ffffff"}, palette[:i]...) {
				x, y := seen(a), seen(b)
				d := math.Sqrt((x[0]-y[0])*(x[0]-y[0]) + (x[1]-y[1])*(x[1]-y[1]) + (x[2]-y[2])*(x[2]-y[2]))
				least := 10.0
				if i < 3 && k <= 3 {
					least = 15
				}
				if d < least {
					t.Errorf("%s: %s and %s are only %.1f apart; expected %g", name, a, b, d, least)
				}
			}
		}
	}
}

package fitting

import "math"

// pointModel gives a value at x and its derivatives by b into g.
type pointModel func(b, x, g []float64) float64

// nistModels are the 27 models of the StRD nonlinear problems, as their files
// state them, with derivatives worked out by hand.
var nistModels = map[string]pointModel{
	"Bennett5": func(b, x, g []float64) float64 {
		l := math.Log(b[1] + x[0])
		v := math.Exp(-l / b[2])
		g[0], g[1], g[2] = v, -b[0]*v/(b[2]*(b[1]+x[0])), b[0]*v*l/(b[2]*b[2])
		return b[0] * v
	},
	"BoxBOD":   saturation,
	"Chwirut1": chwirut,
	"Chwirut2": chwirut,
	"DanWood": func(b, x, g []float64) float64 {
		v := math.Pow(x[0], b[1])
		g[0], g[1] = v, b[0]*v*math.Log(x[0])
		return b[0] * v
	},
	"ENSO": func(b, x, g []float64) float64 {
		wave := func(p float64) (c, s float64) { s, c = math.Sincos(2 * math.Pi * x[0] / p); return c, s }
		c1, s1 := wave(12)
		c2, s2 := wave(b[3])
		c3, s3 := wave(b[6])
		g[0], g[1], g[2], g[4], g[5], g[7], g[8] = 1, c1, s1, c2, s2, c3, s3
		g[3] = (b[4]*s2 - b[5]*c2) * 2 * math.Pi * x[0] / (b[3] * b[3])
		g[6] = (b[7]*s3 - b[8]*c3) * 2 * math.Pi * x[0] / (b[6] * b[6])
		return b[0] + b[1]*c1 + b[2]*s1 + b[4]*c2 + b[5]*s2 + b[7]*c3 + b[8]*s3
	},
	"Eckerle4": func(b, x, g []float64) float64 {
		z := (x[0] - b[2]) / b[1]
		e := math.Exp(-z*z/2) / b[1]
		g[0], g[1], g[2] = e, b[0]*e*(z*z-1)/b[1], b[0]*e*z/b[1]
		return b[0] * e
	},
	"Gauss1":   twoPeaks,
	"Gauss2":   twoPeaks,
	"Gauss3":   twoPeaks,
	"Hahn1":    rational(3),
	"Kirby2":   rational(2),
	"Lanczos1": func(b, x, g []float64) float64 { return exponentials(b, x, g) },
	"Lanczos2": func(b, x, g []float64) float64 { return exponentials(b, x, g) },
	"Lanczos3": func(b, x, g []float64) float64 { return exponentials(b, x, g) },
	"MGH09": func(b, x, g []float64) float64 {
		u, d := x[0]*x[0]+x[0]*b[1], x[0]*x[0]+x[0]*b[2]+b[3]
		g[0], g[1], g[2], g[3] = u/d, b[0]*x[0]/d, -b[0]*u*x[0]/(d*d), -b[0]*u/(d*d)
		return b[0] * u / d
	},
	"MGH10": func(b, x, g []float64) float64 {
		s := x[0] + b[2]
		e := math.Exp(b[1] / s)
		g[0], g[1], g[2] = e, b[0]*e/s, -b[0]*e*b[1]/(s*s)
		return b[0] * e
	},
	"MGH17": func(b, x, g []float64) float64 {
		e, f := math.Exp(-x[0]*b[3]), math.Exp(-x[0]*b[4])
		g[0], g[1], g[2], g[3], g[4] = 1, e, f, -b[1]*x[0]*e, -b[2]*x[0]*f
		return b[0] + b[1]*e + b[2]*f
	},
	"Misra1a": saturation,
	"Misra1b": func(b, x, g []float64) float64 {
		s := 1 + b[1]*x[0]/2
		g[0], g[1] = 1-1/(s*s), b[0]*x[0]/(s*s*s)
		return b[0] * g[0]
	},
	"Misra1c": func(b, x, g []float64) float64 {
		s := 1 + 2*b[1]*x[0]
		g[0], g[1] = 1-1/math.Sqrt(s), b[0]*x[0]/(s*math.Sqrt(s))
		return b[0] * g[0]
	},
	"Misra1d": func(b, x, g []float64) float64 {
		s := 1 + b[1]*x[0]
		g[0], g[1] = b[1]*x[0]/s, b[0]*x[0]/(s*s)
		return b[0] * g[0]
	},
	"Nelson": func(b, x, g []float64) float64 { // of log y
		e := math.Exp(-b[2] * x[1])
		g[0], g[1], g[2] = 1, -x[0]*e, b[1]*x[0]*x[1]*e
		return b[0] - b[1]*x[0]*e
	},
	"Rat42": func(b, x, g []float64) float64 {
		e := math.Exp(b[1] - b[2]*x[0])
		g[0], g[1], g[2] = 1/(1+e), -b[0]*e/((1+e)*(1+e)), b[0]*e*x[0]/((1+e)*(1+e))
		return b[0] / (1 + e)
	},
	"Rat43": func(b, x, g []float64) float64 {
		e := math.Exp(b[1] - b[2]*x[0])
		v := math.Pow(1+e, -1/b[3])
		g[0] = v
		g[1] = -b[0] * v * e / (b[3] * (1 + e))
		g[2] = b[0] * v * e * x[0] / (b[3] * (1 + e))
		g[3] = b[0] * v * math.Log(1+e) / (b[3] * b[3])
		return b[0] * v
	},
	"Roszman1": func(b, x, g []float64) float64 {
		s := x[0] - b[3]
		d := math.Pi * (s*s + b[2]*b[2])
		g[0], g[1], g[2], g[3] = 1, -x[0], -s/d, -b[2]/d
		return b[0] - b[1]*x[0] - math.Atan(b[2]/s)/math.Pi
	},
	"Thurber": rational(3),
}

func saturation(b, x, g []float64) float64 {
	e := math.Exp(-b[1] * x[0])
	g[0], g[1] = 1-e, b[0]*x[0]*e
	return b[0] * (1 - e)
}

func chwirut(b, x, g []float64) float64 {
	d := b[1] + b[2]*x[0]
	v := math.Exp(-b[0]*x[0]) / d
	g[0], g[1], g[2] = -x[0]*v, -v/d, -v*x[0]/d
	return v
}

func twoPeaks(b, x, g []float64) float64 {
	e := math.Exp(-b[1] * x[0])
	g[0], g[1] = e, -b[0]*x[0]*e
	v := b[0] * e
	for _, k := range []int{2, 5} {
		z := (x[0] - b[k+1]) / b[k+2]
		e := math.Exp(-z * z)
		g[k], g[k+1], g[k+2] = e, b[k]*e*2*z/b[k+2], b[k]*e*2*z*z/b[k+2]
		v += b[k] * e
	}
	return v
}

func exponentials(b, x, g []float64) float64 {
	v := 0.0
	for k := 0; k < len(b); k += 2 {
		e := math.Exp(-b[k+1] * x[0])
		g[k], g[k+1] = e, -b[k]*x[0]*e
		v += b[k] * e
	}
	return v
}

// rational is a polynomial of degree n over one with the constant 1.
func rational(n int) pointModel {
	return func(b, x, g []float64) float64 {
		up, down, power := 0.0, 1.0, 1.0
		for k := 0; k <= n; k++ {
			up += b[k] * power
			g[k] = power
			power *= x[0]
			if k < n {
				down += b[n+1+k] * power
				g[n+1+k] = power
			}
		}
		for k := range g {
			g[k] /= down
			if k > n {
				g[k] *= -up / down
			}
		}
		return up / down
	}
}

// overPoints makes a Model of a pointModel.
func overPoints(f pointModel, x [][]float64, p int) Model {
	g := make([]float64, p)
	return Functions{
		F: func(dst, b []float64) {
			for i := range x {
				dst[i] = f(b, x[i], g)
			}
		},
		J: func(jac, b []float64) {
			for i := range x {
				f(b, x[i], g)
				for j, v := range g {
					jac[j*len(x)+i] = v
				}
			}
		},
	}
}

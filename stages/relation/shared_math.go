package relation

import (
	"math"
	"strings"

	"fascicle/pipeline"
)

// Weights come from what each point has to itself. A part that is shared is known as the change of each number as it was measured: of a
// factor, s·x_i. Weights that come from such parts take numbers that happen to be low for the better known ones, and pull a mean or a
// slope below the data (D'Agostini, Nucl. Instrum. Methods A 346 (1994) 306, from memory). So shared parts enter uncertainties alone.

// ownSources tells for each point and each source of the joint (width rows of it are a point) whether the point has the source to itself:
// it moves no other point, or it is the point's own item, whose numbers are sources elsewhere.
func ownSources(j *pipeline.Joint, width int, leads []*pipeline.Input) [][]bool {
	own := make([][]bool, len(leads))
	for i := range own {
		own[i] = make([]bool, len(j.Sources))
	}
	for s, src := range j.Sources {
		only, moved := -1, 0
		for i, lead := range leads {
			for k := range width {
				if j.Parts[(i*width+k)*len(j.Sources)+s] != 0 {
					only = i
					moved++
					break
				}
			}
			stage, item, _ := strings.Cut(src, "[")
			own[i][s] = (stage == lead.Stage || strings.HasPrefix(stage, lead.Stage+".")) && strings.HasPrefix(item, lead.Name()+"]")
		}
		if moved == 1 {
			own[only][s] = true
		}
	}
	return own
}

// levelled gives the parts that a shared source has in numbers, as they would be at the model's values instead of the measured ones: a source
// acts as an addition or as a factor, whichever makes its parts the more alike. With parts at the measured values χ² is too small.
func levelled(parts, measured, model []float64) []float64 {
	n, plain, plain2, factor, factor2 := 0.0, 0.0, 0.0, 0.0, 0.0
	for i, p := range parts {
		if p == 0 {
			continue
		}
		f := p / measured[i]
		if math.IsInf(f, 0) {
			return parts
		}
		n++
		plain, plain2 = plain+p, plain2+p*p
		factor, factor2 = factor+f, factor2+f*f
	}
	// 1 − mean²/mean of squares: the smaller, the more alike
	if n < 2 || factor*factor/factor2 <= plain*plain/plain2 {
		return parts
	}
	out := make([]float64, len(parts))
	for i, p := range parts {
		if p != 0 {
			out[i] = p / measured[i] * model[i]
		}
	}
	return out
}

// SharedPart is what one source does to the coordinates of all points when it rises by its standard uncertainty.
type SharedPart struct{ X, Y []float64 }

// sharedResiduals gives what each source does to the residuals about lines of the slopes b, with the parts of y taken at the model's values.
func (p *Points) sharedResiduals(b, model []float64) [][]float64 {
	out := make([][]float64, len(p.Shared))
	for s, part := range p.Shared {
		y := levelled(part.Y, p.Y, model)
		out[s] = make([]float64, len(y))
		for i := range y {
			out[s][i] = y[i] - b[i]*part.X[i]
		}
	}
	return out
}

// modelled gives y of a fit at the given x.
func (p *Points) modelled(f *Fit) []float64 {
	y := make([]float64, len(p.Y))
	for i := range y {
		y[i] = p.Y[i] - f.R[i]
	}
	return y
}

// whole gives the points with what they share in the covariance, as it is about a fit.
func (p *Points) whole(f *Fit) *Points {
	n := len(p.X)
	w := &Points{X: p.X, Y: p.Y, Vxx: make([]float64, n*n), Vxy: make([]float64, n*n), Vyy: make([]float64, n*n)}
	copy(w.Vyy, p.Vyy)
	copy(w.Vxx, p.Vxx)
	copy(w.Vxy, p.Vxy)
	uncertain := p.Vxx != nil
	model := p.modelled(f)
	for _, part := range p.Shared {
		y := levelled(part.Y, p.Y, model)
		for i := range n {
			uncertain = uncertain || part.X[i] != 0
			addTimes(w.Vyy[i*n:i*n+n], y[i], y)
			addTimes(w.Vxy[i*n:i*n+n], part.X[i], y)
			addTimes(w.Vxx[i*n:i*n+n], part.X[i], part.X)
		}
	}
	if !uncertain {
		w.Vxx, w.Vxy = nil, nil
	}
	return w
}

// wholeChi2 is the least χ² of a line by the whole covariance, and of two lines that meet where there is a break: that of the fit when
// nothing is shared. The fit itself is not the one of least χ² otherwise, and its own χ² not distributed as such.
func (p *Points) wholeChi2(f *Fit, broken bool) float64 {
	if p.Vyy == nil || len(p.Shared) == 0 {
		return f.Chi2
	}
	w := p.whole(f)
	line, err := FitStraight(w)
	if err != nil {
		return f.Chi2
	}
	if broken {
		b, err := w.meet(line)
		if err != nil {
			return f.Chi2
		}
		return b.Chi2
	}
	return line.Chi2
}

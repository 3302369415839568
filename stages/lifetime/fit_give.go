package lifetime

import (
	"math"
	"strings"

	"fascicle/pipeline"
	"fascicle/pipeline/table"
	"fascicle/stages/internal/fitting"
	"fascicle/stages/internal/stats"
)

// give hands over numbers and curve, and says what a person should know before using them.
func (r *fitRun) give(p *Problem, c *fitChoices) {
	s := &c.solution
	counts, means := p.Counts[p.First:p.Last+1], r.w.mean
	residuals := make([]float64, len(counts))
	var weights []float64
	if p.Weights != nil {
		weights = p.Weights[p.First : p.Last+1]
	}
	WeightedResiduals(residuals, counts, means, weights)
	q := r.quality(p, s, counts, means, residuals)
	r.judge(p, s, q)
	r.call.Give("fit", r.lead, r.values(p, s, q))
	r.call.Give("curve", r.lead, r.curve(p, s, residuals))
}

// quality is how well a fit describes a decay.
type quality struct {
	expected, sd, z float64
	runs            stats.Runs
	counts          float64
	faint           bool // noise of the response is more than the decay's own: it moves neighbours together, so that runs are long
}

func (r *fitRun) quality(p *Problem, s *Solution, counts, means, residuals []float64) quality {
	var q quality
	if p.Weights == nil {
		mean, variance := fitting.ExpectedDeviance(means)
		q.expected, q.sd = mean-float64(s.Free), math.Sqrt(variance)
	} else {
		q.expected = float64(s.N - s.Free)
		q.sd = math.Sqrt(2 * q.expected)
	}
	q.faint = r.extra > q.sd
	q.expected += r.extra
	q.sd = math.Sqrt(q.sd*q.sd + 4*r.extra + 2*r.extra*r.extra/math.Max(p.Width, 1))
	q.z = (s.Objective - q.expected) / q.sd
	q.runs = stats.RunsTest(residuals)
	for _, n := range counts {
		q.counts += n
	}
	return q
}

// values is the one row of numbers, with u and all covariances.
func (r *fitRun) values(p *Problem, s *Solution, q quality) *table.Table {
	t := &table.Table{}
	one := func(name, unit string, x float64) { pipeline.AddWithNaN(t, name, unit, []float64{x}) }
	list := s.Numbers(p, r.axis.Width)
	for i := range list {
		x := &list[i]
		one(x.Name, x.Unit, x.Value)
		one("u_"+x.Name, x.Unit, x.U)
		b, bound := s.boundOf(p, x)
		if bound != "" {
			t.Col(x.Name).Floats[0], t.Col(x.Name).Valid = b, nil
		}
		// background and scattered light may end at 0 in one of several shifted calls: their column is always there
		if bound != "" || x.Name == "background" && !p.Background.Fixed || x.Name == "scatter" && !p.Scatter.Fixed {
			t.AddText(x.Name+"_bound", []string{bound}).Valid = []bool{bound != ""}
		}
	}
	for i := range list {
		for j := i + 1; j < len(list); j++ {
			x, y := &list[i], &list[j]
			v := s.Covariance(p, x, y)
			if math.IsNaN(x.U) || math.IsNaN(y.U) {
				v = math.NaN()
			}
			one("cov_"+x.Name+"_"+y.Name, pipeline.UnitProduct(x.Unit, y.Unit), v)
		}
	}
	one("deviance", "1", s.Objective)
	one("deviance_expected", "1", q.expected)
	one("deviance_z", "1", q.z)
	one("runs_p", "1", q.runs.P)
	one("counts", "1", q.counts)
	one("first", "ns", r.axis.At(p.First))
	one("last", "ns", r.axis.At(p.Last))
	one("channels", "1", float64(s.N))
	return t
}

// boundOf gives the bound that a number is known to lie beyond; "" when it is not censored.
func (s *Solution) boundOf(p *Problem, x *Number) (value float64, bound string) {
	limit := func(i int) (float64, bool) { return s.limit[i], s.limit[i] > 0 }
	switch x.Name {
	case "background":
		if b, ok := limit(p.backgroundAt()); ok {
			return b, "upper"
		}
	case "scatter":
		if b, ok := limit(p.scatterAt()); ok {
			light := 0.0
			for i, a := range s.Amp[:p.Terms] {
				light += a * s.Tau[i]
			}
			return b / (b + light), "upper"
		}
	default:
		i := x.parameter(p)
		if i != p.shiftAt() && !(i >= 0 && i < p.Terms && strings.HasPrefix(x.Name, "tau_") && s.Amp[i] != 0) {
			return 0, ""
		}
		switch s.side[i] {
		case AtLower:
			return x.Value, "upper"
		case AtUpper:
			return x.Value, "lower"
		}
	}
	return 0, ""
}

// curve is the whole record with the fit where it is.
func (r *fitRun) curve(p *Problem, s *Solution, residuals []float64) *table.Table {
	n := len(r.counts)
	t := &table.Table{}
	empty := func() []float64 {
		v := make([]float64, n)
		for k := range v {
			v[k] = math.NaN()
		}
		return v
	}
	used := make([]float64, n)
	model, residual, lag, auto := empty(), empty(), empty(), empty()
	for k := range used {
		if k >= p.First && k <= p.Last {
			used[k], model[k], residual[k] = 1, r.w.mean[k-p.First], residuals[k-p.First]
		}
	}
	lags := len(residuals) / 4
	Autocorrelation(auto[:lags], residuals)
	for k := range lags {
		lag[k] = float64(k) * r.axis.Width
	}
	t.AddFloat("time", "ns", append([]float64(nil), r.times...))
	t.AddFloat("counts", "1", append([]float64(nil), r.counts...))
	pipeline.AddWithNaN(t, "model", "1", model)
	pipeline.AddWithNaN(t, "residual", "1", residual)
	t.AddFloat("used", "1", used)
	if r.response != nil {
		pipeline.AddWithNaN(t, "response", "1", r.shifted(p, s))
	}
	pipeline.AddWithNaN(t, "lag", "ns", lag)
	pipeline.AddWithNaN(t, "autocorrelation", "1", auto)
	return t
}

// shifted is the response as the fit has it, as high as the decay, from where it rises out of its noise to where it falls back.
func (r *fitRun) shifted(p *Problem, s *Solution) []float64 {
	v := make([]float64, len(r.counts))
	p.Response.Shifted(v, nil, p.Offset-s.Shift)
	peak, highest := 0, 0.0
	for k, x := range v {
		if x > v[peak] {
			peak = k
		}
		highest = math.Max(highest, r.counts[k])
	}
	const shown = 1e-4
	from, to, top := peak, peak, v[peak]
	for from > 0 && v[from-1] > shown*top {
		from--
	}
	for to+1 < len(v) && v[to+1] > shown*top {
		to++
	}
	for k, x := range v {
		v[k] = math.NaN()
		if k >= from && k <= to && top > 0 {
			v[k] = x / top * highest
		}
	}
	return v
}

package lifetime

import (
	"math"

	"fascicle/stages/internal/convolution"
)

// ResponseNoise adds to the covariance of a solution, which must be the workspace's last, what the counting noise of the response brings
// about, and gives by how much it raises the expected deviance. variance is that of the channels of the response, normed as they are
// (counts over the square of their sum); quiet are the channels whose mean was taken off as background.
//
// A change of channel j of the response by r_j changes the means by ∂m_k/∂r_j = Σ_i a_i·e^(−(k − k_j)/τ_i) for k ≥ k_j, the place of that
// channel on the decay (and scattered light there), and with them the parameters by −G⁻¹·Jᵀ·W·∂m/∂r. So, with
//
//	C_pj = Σ_k J_kp·W_k·∂m_k/∂r_j   (less what norm and background take with them),
//	cov += G⁻¹·(Σ_j C_j·C_jᵀ·var r_j)·G⁻¹, E[D] += Σ_kj W_k·(∂m_k/∂r_j)²·var r_j − tr(G⁻¹·Σ_j C_j·C_jᵀ·var r_j)
//
// to first order (JCGM 100:2008, 5.1.2). The sums over k ≥ k_j follow from the last channel to the first by a recursion, as the convolution
// does the other way. Left-overs of earlier pulses are left out: they see the response only as a whole.
func (w *Workspace) ResponseNoise(s *Solution, p *Problem, variance []float64, quiet int) (extra float64) {
	if p.Response == nil || s.Status != Converged {
		return 0
	}
	var use []int
	for i := range p.size() {
		if s.cov[i][i] > 0 {
			use = append(use, i)
		}
	}
	var l [maxPar][maxCol]float64
	w.compose(p, &s.theta, &l)
	off := float64(p.First) + p.Offset - s.Shift
	n := len(w.mean)
	b, sums := make([]float64, n), make([]float64, n+1)
	effect := make([][]float64, len(use)) // C
	for u, i := range use {
		clear(b)
		for c := range p.columns() {
			if f := l[i][c] / s.unit(p, i); f != 0 { // by τ, as the covariance is
				for k, v := range w.col[c] {
					b[k] += f * v * w.weight[k]
				}
			}
		}
		effect[u] = w.backwards(p, s, b, sums, off, len(variance))
		adjust(effect[u], p.Shape, quiet)
	}
	spread := matrix{}
	for u := range use {
		for v := range u + 1 {
			for j, x := range variance {
				spread[u][v] += effect[u][j] * effect[v][j] * x
			}
			spread[v][u] = spread[u][v]
		}
	}
	for u, i := range use { // taken by the parameters
		for v, j := range use {
			extra -= s.cov[i][j] * spread[u][v]
		}
	}
	var added matrix
	for _, i := range use {
		for _, j := range use {
			for u, a := range use {
				for v, c := range use {
					added[i][j] += s.cov[i][a] * spread[u][v] * s.cov[c][j]
				}
			}
		}
	}
	for _, i := range use {
		for _, j := range use {
			s.cov[i][j] += added[i][j]
		}
	}
	return math.Max(0, extra+w.scatterOfMeans(p, s, b, sums, off, variance, quiet))
}

// backwards gives Σ_k b_k·∂m_k/∂r_j for all channels j of the response. sums is work.
func (w *Workspace) backwards(p *Problem, s *Solution, b, sums []float64, off float64, channels int) []float64 {
	out := make([]float64, channels)
	n := len(b)
	for i := range p.Terms {
		q := math.Exp(-1 / s.Tau[i])
		sums[n] = 0
		for k := n - 1; k >= 0; k-- {
			sums[k] = b[k] + q*sums[k+1]
		}
		for j := range out {
			at := float64(j) - off
			k := math.Max(math.Ceil(at), 0)
			if k < float64(n) {
				out[j] += s.Amp[i] * math.Exp(-(k-at)/s.Tau[i]) * sums[int(k)]
			}
		}
	}
	if s.Scatter != 0 {
		first, near, _ := neighbours(p, s, off)
		for j := range out {
			for i, x := range near {
				if k := j + first + i; k >= 0 && k < n {
					out[j] += s.Scatter * x * b[k]
				}
			}
		}
	}
	return out
}

// neighbours gives how scattered light of one channel of the response is spread over channels of the decay by the curve through channels,
// near[i] of it in channel j + first + i, and what the exponentials have there of that channel.
func neighbours(p *Problem, s *Solution, off float64) (first int, near, light [8]float64) {
	const middle, reach = 16, 3
	var one convolution.Response
	shape := make([]float64, 2*middle+1)
	shape[middle] = 1
	one.Set(shape)
	k, f := split(-off)
	one.Shifted(near[:], nil, middle-reach-f)
	var h, d [len(near)]float64
	for i := range p.Terms {
		one.Exponential(h[:], d[:], middle-reach-f, s.Tau[i], 0)
		for k, x := range h {
			light[k] += s.Amp[i] * x
		}
	}
	return k - reach, near, light
}

func split(x float64) (int, float64) {
	f := math.Floor(x)
	return int(f), x - f
}

// adjust takes account of how a response is made ready: a count more in one channel is divided among all by the norm, and in a quiet
// channel raises the background that is taken off all.
func adjust(c, shape []float64, quiet int) {
	weighted, sum := 0.0, 0.0
	for j, x := range c {
		weighted += shape[j] * x
	}
	for j := range c {
		c[j] -= weighted
		sum += c[j]
	}
	for j := range min(quiet, len(c)) {
		c[j] -= sum / float64(quiet)
	}
}

// scatterOfMeans gives Σ_kj W_k·M_kj²·var r_j, with M_kj what a count more in channel j of the response does to mean k when it is made ready,
// as adjust has it: with H_kj = ∂m_k/∂r_j, D_k = Σ_j H_kj·r_j (all but the background) and P_k = Σ_j H_kj − N·D_k (what a constant under all
// N channels does) it is
//
//	M_kj = H_kj − D_k − q_j·P_k, q_j = 1/quiet in a quiet channel, else 0,
//
// so that a constant background of the response, which the background of the decay takes up, does not count as scatter. b and sums are work.
func (w *Workspace) scatterOfMeans(p *Problem, s *Solution, b, sums []float64, off float64, variance []float64, quiet int) (total float64) {
	channels := len(variance)
	d, pedestal := make([]float64, len(b)), make([]float64, len(b))
	w.forwards(p, s, d, p.Shape, off, channels)
	w.forwards(p, s, pedestal, nil, off, channels)
	dd, dp, pp := 0.0, 0.0, 0.0
	for k, x := range d {
		pedestal[k] -= float64(channels) * x
		dd += w.weight[k] * x * x
		dp += w.weight[k] * x * pedestal[k]
		pp += w.weight[k] * pedestal[k] * pedestal[k]
		b[k] = w.weight[k] * x
	}
	ofD := w.backwards(p, s, b, sums, off, channels)
	for k, x := range pedestal {
		b[k] = w.weight[k] * x
	}
	ofP := w.backwards(p, s, b, sums, off, channels)
	for j, x := range w.squares(p, s, sums, off, channels) {
		q := 0.0
		if j < quiet {
			q = 1 / float64(quiet)
		}
		total += variance[j] * (x - 2*ofD[j] - 2*q*ofP[j] + dd + 2*q*dp + q*q*pp)
	}
	return total
}

// squares gives Σ_k W_k·(∂m_k/∂r_j)² for all channels j of the response. sums is work.
func (w *Workspace) squares(p *Problem, s *Solution, sums []float64, off float64, channels int) []float64 {
	out := make([]float64, channels)
	n := len(w.mean)
	for i := range p.Terms {
		for l := range p.Terms {
			rate := 1/s.Tau[i] + 1/s.Tau[l]
			q := math.Exp(-rate)
			sums[n] = 0
			for k := n - 1; k >= 0; k-- {
				sums[k] = w.weight[k] + q*sums[k+1]
			}
			for j := range out {
				at := float64(j) - off
				k := math.Max(math.Ceil(at), 0)
				if k < float64(n) {
					out[j] += s.Amp[i] * s.Amp[l] * math.Exp(-(k-at)*rate) * sums[int(k)]
				}
			}
		}
	}
	if s.Scatter == 0 {
		return out
	}
	first, near, light := neighbours(p, s, off)
	for j := range out {
		for i, x := range near {
			if k := j + first + i; k >= 0 && k < n {
				out[j] += w.weight[k] * s.Scatter * x * (s.Scatter*x + 2*light[i])
			}
		}
	}
	return out
}

// forwards writes Σ_j ∂m_k/∂r_j·shape_j into out, of channels many j; nil: all shape_j are 1.
func (w *Workspace) forwards(p *Problem, s *Solution, out, shape []float64, off float64, channels int) {
	clear(out)
	height := func(j int) float64 {
		switch {
		case j >= channels:
			return 0
		case shape == nil:
			return 1
		}
		return shape[j]
	}
	first := math.Ceil(-off) // the channel of the decay that channel 0 of the response reaches
	for i := range p.Terms {
		q, part, sum := math.Exp(-1/s.Tau[i]), s.Amp[i]*math.Exp(-(first+off)/s.Tau[i]), 0.0
		for k := int(first); k < len(out); k++ {
			sum = q*sum + part*height(k-int(first))
			if k >= 0 {
				out[k] += sum
			}
		}
	}
	if s.Scatter == 0 {
		return
	}
	from, near, _ := neighbours(p, s, off)
	for j := range channels {
		for i, x := range near {
			if k := j + from + i; k >= 0 && k < len(out) {
				out[k] += s.Scatter * x * height(j)
			}
		}
	}
}

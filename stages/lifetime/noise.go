package lifetime

import "math"

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
	return math.Max(0, extra+w.scatterOfMeans(p, s, sums, off, variance))
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
		for j := range out {
			k, f := split(float64(j) - off)
			if k >= 0 && k+1 < n {
				out[j] += s.Scatter * ((1-f)*b[k] + f*b[k+1])
			}
		}
	}
	return out
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

// scatterOfMeans gives Σ_kj W_k·(∂m_k/∂r_j)²·var r_j.
func (w *Workspace) scatterOfMeans(p *Problem, s *Solution, sums []float64, off float64, variance []float64) (total float64) {
	n := len(w.mean)
	for i := range p.Terms {
		for l := range p.Terms {
			rate := 1/s.Tau[i] + 1/s.Tau[l]
			q := math.Exp(-rate)
			sums[n] = 0
			for k := n - 1; k >= 0; k-- {
				sums[k] = w.weight[k] + q*sums[k+1]
			}
			for j, x := range variance {
				at := float64(j) - off
				k := math.Max(math.Ceil(at), 0)
				if k < float64(n) {
					total += x * s.Amp[i] * s.Amp[l] * math.Exp(-(k-at)*rate) * sums[int(k)]
				}
			}
		}
	}
	return total
}

package stats

import "math"

// Runs is the result of a runs test.
type Runs struct {
	Plus, Minus int     // numbers of positive and of negative values
	Zero        int     // values that are zero or not finite; they are left out
	Count       int     // number of runs of equal sign
	PFew        float64 // P(as few runs or fewer), when signs come in random order
	PMany       float64 // P(as many runs or more)
	P           float64 // two-sided: twice the smaller of the two, at most 1
	Exact       bool    // false: normal approximation
}

// exactRuns is the largest number of signs for which the distribution is
// summed exactly. The sum costs one term for each possible number of runs;
// beyond it the normal approximation is good to 1e-3 unless one sign is rare.
const exactRuns = 300

// rareSign is the number of the rarer sign below which the normal
// approximation is not used, however long the sequence is (the sum is then
// short anyhow).
const rareSign = 30

// RunsTest is the test of Wald and Wolfowitz on the signs of r: residuals of a
// sufficient model change sign at random; too few runs mean a trend that the
// model misses, too many mean an alternation. Zeros carry no sign and are left
// out, as are values that are not finite.
//
// With n1 positive and n2 negative values the number of runs R has
//
//	P(R = 2k)   = 2·C(n1−1,k−1)·C(n2−1,k−1) / C(n1+n2,n1)
//	P(R = 2k+1) = [C(n1−1,k)·C(n2−1,k−1) + C(n1−1,k−1)·C(n2−1,k)] / C(n1+n2,n1)
//
// summed exactly up to 300 signs and whenever the rarer sign occurs less than
// 30 times; beyond, R is normal with mean 1+2·n1·n2/n and variance
// 2·n1·n2·(2·n1·n2−n)/(n²(n−1)), with a continuity correction of 1/2.
// When all signs are equal, or there are none, no order can be told apart from
// another and every p is 1.
//
// Source: Wald and Wolfowitz, Ann. Math. Stat. 11 (1940) 147 (from memory).
func RunsTest(r []float64) Runs {
	var s Runs
	last := 0
	for _, v := range r {
		sign := 0
		switch {
		case v > 0 && !math.IsInf(v, 1):
			sign = 1
			s.Plus++
		case v < 0 && !math.IsInf(v, -1):
			sign = -1
			s.Minus++
		default:
			s.Zero++
			continue
		}
		if sign != last {
			s.Count++
			last = sign
		}
	}
	s.PFew, s.PMany, s.Exact = runsTails(s.Plus, s.Minus, s.Count)
	s.P = math.Min(1, 2*math.Min(s.PFew, s.PMany))
	return s
}

// runsTails returns P(R ≤ runs) and P(R ≥ runs).
func runsTails(n1, n2, runs int) (few, many float64, exact bool) {
	if n1 == 0 || n2 == 0 {
		return 1, 1, true
	}
	n := n1 + n2
	if n > exactRuns && min(n1, n2) >= rareSign {
		a, b, t := float64(n1), float64(n2), float64(n)
		mean := 1 + 2*a*b/t
		sd := math.Sqrt(2 * a * b * (2*a*b - t) / (t * t * (t - 1)))
		r := float64(runs)
		return NormalUpper(-(r + 0.5 - mean) / sd), NormalUpper((r - 0.5 - mean) / sd), false
	}
	total := lnChoose(n, n1)
	var below, at, above float64
	for k := 1; k <= min(n1, n2); k++ {
		even := math.Exp(math.Ln2 + lnChoose(n1-1, k-1) + lnChoose(n2-1, k-1) - total)
		odd := math.Exp(lnChoose(n1-1, k)+lnChoose(n2-1, k-1)-total) +
			math.Exp(lnChoose(n1-1, k-1)+lnChoose(n2-1, k)-total)
		for i, p := range [2]float64{even, odd} {
			switch r := 2*k + i; {
			case r < runs:
				below += p
			case r == runs:
				at += p
			default:
				above += p
			}
		}
	}
	return math.Min(1, below+at), math.Min(1, above+at), true
}

// lnChoose is ln C(n,k), and −Inf where C is zero.
func lnChoose(n, k int) float64 {
	if k < 0 || k > n {
		return math.Inf(-1)
	}
	a, _ := math.Lgamma(float64(n + 1))
	b, _ := math.Lgamma(float64(k + 1))
	c, _ := math.Lgamma(float64(n - k + 1))
	return a - b - c
}

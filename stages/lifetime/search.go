package lifetime

import (
	"math"

	"fascicle/stages/internal/convolution"
)

const (
	gridTerms  = 12                       // lifetimes that a search tries
	searchCols = gridTerms + MaxTerms + 2 // and the fixed ones, a constant, scattered light
	fewestBins = 200                      // that the search keeps of a decay
	mostStarts = 4                        // choices that are kept, should the fit from the best one end in doubt
	restart    = 0.25                     // widths of the response by which a shift must differ to be tried by itself
)

// searchMemory is what a search works in.
type searchMemory struct {
	response convolution.Response
	shape    []float64
	counts   []float64
	weight   []float64
	scratch  []float64
	memory   []float64
	col      [searchCols][]float64
	gram     [searchCols][searchCols]float64
	score    [searchCols]float64
	tau      [gridTerms + MaxTerms]float64
	bins     int // channels in a wide one
	fixed    [MaxTerms]float64
	starts   [mostStarts]candidate // the best first
	found    int
}

// candidate is a choice of lifetimes with what the grid says of it.
type candidate struct {
	objective float64
	pick      [maxPar]int
	start     vector
}

// Search finds where a fit should begin. On the decay, summed into fewer and wider channels as far as the response allows, it takes a grid of
// lifetimes a constant factor apart, fits amplitudes to each choice of as many of them as there are terms (linear least squares, weights
// from smoothed counts, one matrix for all choices), and keeps the best. The shift is zero or where the rise of the decay puts it,
// whichever fits better.
func (w *Workspace) search(p *Problem) {
	s := &w.find
	lo, hi := p.tauBounds()
	channels := float64(p.Last - p.First + 1)
	lo = math.Max(lo, 0.5)
	if p.Response != nil {
		lo = math.Max(lo, p.Width/8)
	}
	hi = math.Min(hi, 2*channels)
	bins := 1
	for (p.Response == nil || float64(2*bins) <= p.Width/3) && (p.Last-p.First+1)/(2*bins) >= fewestBins {
		bins *= 2
	}
	if p.Response == nil { // the shortest lifetimes must still show
		lo = math.Max(lo, float64(bins)/2)
	}
	s.load(p, bins)
	shifts := [2]float64{p.Shift.Value}
	n := 1
	if p.Response != nil && !p.Shift.Fixed {
		rise, _ := p.rise(s)
		shifts[0] = math.Max(p.Shift.Lo, math.Min(p.Shift.Hi, rise+p.Offset-p.Middle))
		if zero := math.Max(p.Shift.Lo, math.Min(p.Shift.Hi, 0)); math.Abs(zero-shifts[0]) > restart*p.Width {
			shifts[1] = zero
			n = 2
		}
	}
	s.found = 0
	for _, shift := range shifts[:n] {
		s.fill(p, bins, shift, lo, hi)
		s.choose(p, bins, shift)
	}
}

// rise is where the decay reaches half of its greatest height before it, in channels, of counts smoothed over a third of the response,
// and how many counts were smoothed into that height.
func (p *Problem) rise(s *searchMemory) (at, top float64) {
	half := int(p.Width / 6)
	smooth := s.scratchFor(p.Last - p.First + 1)
	within := func(k int) float64 {
		if k < p.First || k > p.Last {
			return 0
		}
		return p.Counts[k]
	}
	sum, last := 0.0, 0
	for k := p.First - half; k < p.First+half; k++ {
		sum += within(k)
	}
	for k := range smooth {
		sum += within(p.First + k + half)
		smooth[k] = sum
		if sum > top {
			top, last = sum, k
		}
		sum -= within(p.First + k - half)
	}
	base := top
	for _, v := range smooth[:last] {
		base = math.Min(base, v)
	}
	level := (top + base) / 2
	for k := last; k > 0; k-- {
		if smooth[k-1] < level {
			return float64(p.First+k) - (smooth[k]-level)/(smooth[k]-smooth[k-1]), top
		}
	}
	return float64(p.First), top
}

// load sums decay and response into bins channels each.
func (s *searchMemory) load(p *Problem, bins int) {
	s.bins = bins
	n := (p.Last - p.First + 1) / bins
	need := n * (searchCols + 2)
	if cap(s.memory) < need {
		s.memory = make([]float64, need)
	}
	m := s.memory[:need]
	for i := range s.col {
		s.col[i], m = m[:n:n], m[n:]
	}
	s.counts, s.weight = m[:n:n], m[n:]
	for k := range s.counts {
		sum := 0.0
		for _, c := range p.Counts[p.First+k*bins : p.First+(k+1)*bins] {
			sum += c
		}
		s.counts[k] = sum
	}
	for k := range s.weight {
		sum, m := 0.0, 0.0
		for j := max(k-2, 0); j < min(k+3, n); j++ {
			sum += math.Max(s.counts[j], 0)
			m++
		}
		s.weight[k] = 1 / (sum/m + 1)
		if p.Weights != nil {
			v := 0.0
			for _, x := range p.Weights[p.First+k*bins : p.First+(k+1)*bins] {
				v += 1 / x
			}
			s.weight[k] = 1 / v
		}
	}
	if p.Response == nil {
		return
	}
	r := (len(p.Shape) + bins - 1) / bins
	if cap(s.shape) < r {
		s.shape = make([]float64, r)
	}
	s.shape = s.shape[:r]
	for j := range s.shape {
		s.shape[j] = 0
		for _, y := range p.Shape[j*bins : min((j+1)*bins, len(p.Shape))] {
			s.shape[j] += y
		}
	}
	s.response.Set(s.shape)
}

// fill works out the curves of all lifetimes of the grid at a shift, the constant and the scattered light, and their products.
func (s *searchMemory) fill(p *Problem, bins int, shift, lo, hi float64) {
	b := float64(bins)
	fixed := 0
	for ; fixed < p.Terms && p.FixedTau != nil && !math.IsNaN(p.FixedTau[fixed]); fixed++ {
		s.tau[gridTerms+fixed] = p.FixedTau[fixed]
	}
	for i := range gridTerms {
		s.tau[i] = lo * math.Pow(hi/lo, float64(i)/(gridTerms-1))
	}
	n := gridTerms + fixed
	for i, tau := range s.tau[:n] {
		if p.Response != nil {
			s.response.Exponential(s.col[i], nil, (float64(p.First)+p.Offset-shift)/b, tau/b, p.Period/b)
			continue
		}
		v, q := math.Exp(-(float64(p.First)-p.Origin+(b-1)/2)/tau), math.Exp(-b/tau)
		if p.Period > 0 {
			v /= -math.Expm1(-p.Period / tau)
		}
		for k := range s.col[i] {
			s.col[i][k] = v
			v *= q
		}
	}
	one := s.col[n]
	for k := range one {
		one[k] = 1
	}
	n++
	if p.Response != nil && !p.noScatter() {
		scatter := s.col[n]
		s.response.Shifted(scatter, nil, (float64(p.First)+p.Offset-shift)/b)
		if p.ScatterShare != 0 {
			for i, tau := range s.tau[:n-1] {
				for k, r := range scatter {
					s.col[i][k] += p.ScatterShare * tau / b * r
				}
			}
		}
		n++
	}
	for i := range n {
		x := s.scratchFor(len(s.counts))
		for k, v := range s.col[i] {
			x[k] = v * s.weight[k]
		}
		s.score[i] = dot(x, s.counts)
		for j := i; j < n; j++ {
			s.gram[i][j] = dot(x, s.col[j])
			s.gram[j][i] = s.gram[i][j]
		}
	}
}

func (s *searchMemory) scratchFor(n int) []float64 {
	if cap(s.scratch) < n {
		s.scratch = make([]float64, n)
	}
	return s.scratch[:n]
}

// choose tries every choice of lifetimes, and keeps the best ones.
func (s *searchMemory) choose(p *Problem, bins int, shift float64) {
	fixed := 0
	for fixed < p.Terms && p.FixedTau != nil && !math.IsNaN(p.FixedTau[fixed]) {
		fixed++
	}
	one := gridTerms + fixed
	linear := p.Terms + 1
	if p.Response != nil && !p.noScatter() {
		linear++
	}
	var pick [maxPar]int // columns: fixed terms, chosen terms, constant, scattered light
	for i := range fixed {
		pick[i] = gridTerms + i
	}
	for i := fixed; i < p.Terms; i++ {
		pick[i] = i - fixed
	}
	for i := p.Terms; i < linear; i++ {
		pick[i] = one + i - p.Terms
	}
	var m matrix
	var g, lo, hi, x vector
	var free [maxPar]bool
	for i := range linear {
		lo[i], hi[i], free[i] = 0, math.Inf(1), true
		if p.FreeAmplitudes && i < p.Terms {
			lo[i] = math.Inf(-1)
		}
	}
	var known vector // what is held fixed of the linear ones
	if p.Background.Fixed {
		free[p.Terms], known[p.Terms] = false, p.Background.Value*float64(bins)
	}
	if linear > p.Terms+1 && p.Scatter.Fixed {
		free[p.Terms+1], known[p.Terms+1] = false, p.Scatter.Value
	}
	for {
		for i := range linear {
			g[i] = s.score[pick[i]]
			for j := range linear {
				m[i][j] = s.gram[pick[i]][pick[j]]
				g[i] -= m[i][j] * known[j]
			}
		}
		boxStep(&x, &g, &m, 0, &lo, &hi, &free, linear)
		f := quadratic(&x, &m, linear) - 2*dotN(&x, &g, linear) + constant(&known, s, pick[:linear])
		if c := s.place(f, &pick, p.Terms); c != nil {
			*c = candidate{f, pick, s.begin(p, bins, shift, &pick, &x, &known, linear)}
			s.sink(c)
		}
		// the next choice, in lexical order
		i := p.Terms - 1
		for i >= fixed && pick[i] == gridTerms-(p.Terms-i) {
			i--
		}
		if i < fixed {
			break
		}
		pick[i]++
		for j := i + 1; j < p.Terms; j++ {
			pick[j] = pick[j-1] + 1
		}
	}
}

// place gives where a choice is to be kept, nil when better ones take all places: one neighbour of a choice, all of whose lifetimes are the
// same or next on the grid, is enough.
func (s *searchMemory) place(objective float64, pick *[maxPar]int, terms int) *candidate {
	for i := range s.starts[:s.found] {
		c := &s.starts[i]
		near := true
		for j := range terms {
			d := c.pick[j] - pick[j]
			near = near && d >= -1 && d <= 1
		}
		if near && objective < c.objective {
			return c
		} else if near {
			return nil
		}
	}
	if s.found < mostStarts {
		s.found++
		return &s.starts[s.found-1]
	}
	if c := &s.starts[mostStarts-1]; objective < c.objective {
		return c
	}
	return nil
}

// sink puts a choice where it belongs in the order.
func (s *searchMemory) sink(c *candidate) {
	i := 0
	for c != &s.starts[i] {
		i++
	}
	for ; i > 0 && s.starts[i].objective < s.starts[i-1].objective; i-- {
		s.starts[i], s.starts[i-1] = s.starts[i-1], s.starts[i]
	}
}

// begin turns a choice and the amplitudes x that go with it into the parameters of a fit.
func (s *searchMemory) begin(p *Problem, bins int, shift float64, pick *[maxPar]int, x, known *vector, linear int) (start vector) {
	start[p.shiftAt()] = shift
	b := float64(bins)
	sum := 0.0
	for i := range p.Terms {
		sum += math.Abs(x[i]) / b
	}
	for i := range p.Terms {
		start[i] = math.Log(s.tau[pick[i]])
		a := x[i] / b // a channel has a bins-th of the amplitude of a wide one
		if a == 0 {   // a term must have some amplitude to be able to move
			a = 0.02 * sum
		}
		start[p.ampAt()+i] = a
	}
	start[p.backgroundAt()] = (x[p.Terms] + known[p.Terms]) / b
	if linear > p.Terms+1 {
		start[p.scatterAt()] = x[p.Terms+1] + known[p.Terms+1]
	}
	return start
}

// constant is what the parts that are held fixed add to the objective, so that choices at different shifts compare.
func constant(known *vector, s *searchMemory, pick []int) float64 {
	sum := 0.0
	for i, a := range pick {
		if known[i] == 0 {
			continue
		}
		sum -= 2 * known[i] * s.score[a]
		for j, b := range pick {
			sum += known[i] * known[j] * s.gram[a][b]
		}
	}
	return sum
}

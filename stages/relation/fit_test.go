package relation

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"fascicle/catalog"
	"fascicle/pipeline"
	"fascicle/pipeline/formula"
	"fascicle/pipeline/table"
)

// valuesKind reads lines of "NAME UNIT NUMBER" (or "NAME text WORD") into one row, for tests alone.
var valuesKind = pipeline.Kind{
	Name: "t.values", Revision: 1, Doc: "reads numbers", Source: "common practice, no source", Reads: true,
	Outputs: []pipeline.Output{{Name: "items", Doc: "numbers", Per: pipeline.PerAny, Form: pipeline.Values, Columns: []pipeline.Column{
		{Name: "tau", Unit: "ns", U: true, Optional: true, Doc: "a number"}, {Name: "alone", Unit: "ns", U: true, Optional: true, Doc: "its control"},
		{Name: "length", Unit: "nm", U: true, Optional: true, Doc: "an uncertain x"},
	}}},
	Settings: func() any { return &valuesSettings{} },
	Run: func(_ context.Context, call *pipeline.Call) (pipeline.Choices, error) {
		t := &table.Table{}
		for line := range strings.Lines(string(call.File.Data)) {
			f := strings.Fields(line)
			if f[1] == "text" {
				t.AddText(f[0], []string{f[2]})
				continue
			}
			v := math.NaN()
			if f[2] != "null" {
				fmt.Sscan(f[2], &v)
			}
			pipeline.AddWithNaN(t, f[0], f[1], []float64{v})
		}
		return nil, call.Stream("items", nil, t)
	},
}

type valuesSettings struct {
	Files string `set:"files" key:"-" doc:"pattern of the files"`
}

func (s *valuesSettings) FilesPattern() string { return s.Files }

func (s *valuesSettings) Brings() ([]pipeline.Brought, error) {
	p, err := catalog.ParsePattern(s.Files)
	if err != nil {
		return nil, err
	}
	var out []pipeline.Brought
	for _, c := range p.Captures() {
		out = append(out, pipeline.Brought{Name: c.Name, Sort: formula.Text, Where: "files"})
	}
	return out, nil
}

// point is one sample: its place in the sheet, and the text of its file.
type point struct{ place, file string }

// fitted runs relation.fit over points, with the settings given, and gives its outputs.
func fitted(t testing.TB, points []point, set string) (pipeline.ItemOutcome, map[string]*table.Table) {
	t.Helper()
	return related(t, points, "  relation:\n    kind: relation.fit\n    from: {point: points}\n    by: chain\n    set: {"+set+"}\n", "fit")
}

// averaged is the same for relation.mean.
func averaged(t testing.TB, points []point, set string) (pipeline.ItemOutcome, *table.Table) {
	t.Helper()
	it, out := related(t, points, "  relation:\n    kind: relation.mean\n    from: {point: points}\n    set: {"+set+"}\n", "mean")
	return it, out["mean"]
}

// related runs a stage `relation` over points, and gives its outputs, and how its first one, `first`, came out.
func related(t testing.TB, points []point, stage, first string) (pipeline.ItemOutcome, map[string]*table.Table) {
	t.Helper()
	dir := t.TempDir()
	write := func(name, text string) {
		name = filepath.Join(dir, filepath.FromSlash(name))
		if err := os.MkdirAll(filepath.Dir(name), 0o777); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(name, []byte(text), 0o666); err != nil {
			t.Fatal(err)
		}
	}
	sheet := "sample,chain,place [nm]\n"
	for i, p := range points {
		sheet += fmt.Sprintf("S%02d,long,%s\n", i+1, p.place)
		write(fmt.Sprintf("raw/S%02d.txt", i+1), p.file)
	}
	write("samples.csv", sheet)
	write("study.yaml", "study: test\nsamples: samples.csv\nconstants: {scale: 1.00(4), offset: 1.0(2) ns}\ngraph:\n  points: {kind: t.values, set: {files: raw/<sample>.txt}}\n"+stage)
	p, faults := pipeline.Load(dir, []*pipeline.Kind{&valuesKind, &FitKind, &MeanKind, &JoinKind})
	if len(faults) > 0 {
		t.Fatal(faults)
	}
	o, err := pipeline.Run(context.Background(), p, pipeline.Options{})
	if err != nil {
		t.Fatal(err)
	}
	o.Complete()
	out := map[string]*table.Table{}
	var fit pipeline.ItemOutcome
	for _, s := range o.Stages {
		for _, it := range s.Items {
			if s.Name != "relation" {
				continue
			}
			if it.Output == first || it.Output == "" {
				fit = it
			}
			if it.State == pipeline.Made {
				if out[it.Output], err = o.Load(it); err != nil {
					t.Fatal(err)
				}
			}
		}
	}
	return fit, out
}

// at reads a number of a row, NaN where there is none.
func at(t testing.TB, tab *table.Table, column string, row int) float64 {
	t.Helper()
	if tab == nil {
		t.Fatal("no table")
	}
	c := tab.Col(column)
	if c == nil {
		t.Fatalf("no column %s among %v", column, tab.Names())
	}
	if c.IsNull(row) {
		return math.NaN()
	}
	return c.Floats[row]
}

func says(it pipeline.ItemOutcome, words string) bool {
	for _, f := range it.Flags {
		if strings.Contains(f.Text, words) {
			return true
		}
	}
	return false
}

func number(x, u float64) string { return fmt.Sprintf("tau ns %g\nu_tau ns %g\n", x, u) }

// sharedPoints are the six points of sharing() with exact x; what all y share is 4 % of each.
func sharedPoints() []point {
	var out []point
	p := sharing()
	for i, u := range []float64{0.1, 0.2, 0.15, 0.1, 0.25, 0.2} {
		out = append(out, point{fmt.Sprint(p.X[i]), number(p.Y[i], u)})
	}
	return out
}

// With a factor that all share: weights W = diag(1/u²), G = (AᵀWA)⁻¹AᵀW, p = G·y, own covariance (AᵀWA)⁻¹, part of the factor G·(0.04 y), χ²
// rᵀWr, all by NumPy 1.24.2 (linalg.inv). By V = diag(u²) + (0.04 f)(0.04 f)ᵀ with f = A·p, the least χ² is the same, since f is itself a line.
const (
	sharedSlope, sharedSlopeOwn, sharedSlopePart             = 2.0807765783811853, 0.03599352432463524, 0.08323106313524742
	sharedIntercept, sharedInterceptOwn, sharedInterceptPart = 0.8102617033904618, 0.09173845060408058, 0.03241046813561847
	sharedChi2                                               = 11.438165850582374
)

func TestFitLineThatSharesAFactor(t *testing.T) {
	it, out := fitted(t, sharedPoints(), "x: place, y: tau * scale")
	fit := out["fit"]
	if fit == nil {
		t.Fatal(it.Message)
	}
	for _, c := range []struct {
		name                string
		value, own, partOf4 float64
	}{
		{"slope", sharedSlope, sharedSlopeOwn, sharedSlopePart},
		{"intercept", sharedIntercept, sharedInterceptOwn, sharedInterceptPart},
	} {
		close1(t, c.name, at(t, fit, c.name, 0), c.value, 1e-10)
		close1(t, "own u of "+c.name, at(t, fit, "u_"+c.name, 0), c.own, 1e-10)
		close1(t, "part of "+c.name, at(t, fit, c.name+"@constants.scale", 0), c.partOf4, 1e-8) // the joint's part is a difference of two
	}
	close1(t, "χ²/ν", at(t, fit, "chi2_nu", 0), sharedChi2/4, 1e-9)
	if u := fit.Col("slope").Unit; u != "ns/nm" {
		t.Errorf("the slope is in %s", u)
	}
	// scipy.stats.chi2.sf(χ², 4) = 0.022, so that p is by t: 2·scipy.stats.t.sf(slope/√(own²·χ²/4 + part²), 4) (SciPy 1.10.1)
	close1(t, "χ² test", at(t, fit, "chi2_p", 0), 0.02205686804730456, 1e-7)
	if p := at(t, fit, "p", 0); math.Abs(p/3.5596416439402665e-05-1) > 1e-7 {
		t.Errorf("p of the slope is %g", p)
	}
	// the factor leaves the line where it is
	_, without := fitted(t, sharedPoints(), "x: place, y: tau")
	for _, c := range []string{"slope", "intercept", "u_slope", "u_intercept"} {
		close1(t, c, at(t, fit, c, 0), at(t, without["fit"], c, 0), 1e-12)
	}
	// the band holds the line, and is as wide as the whole u says
	band := out["band"]
	last := band.Len() - 1
	x := at(t, band, "x", last)
	close1(t, "model", at(t, band, "model", last), sharedIntercept+sharedSlope*x, 1e-9)
	whole := math.Hypot(at(t, band, "u_model", last), at(t, band, "model@constants.scale", last))
	close1(t, "upper", at(t, band, "upper", last)-at(t, band, "model", last), 1.959963985*whole, 1e-7)
	res := out["residuals"]
	for i := range 6 {
		y := at(t, res, "y", i)
		close1(t, "part of y", at(t, res, "y@constants.scale", i), 0.04*y, 1e-9)
		want := (y - sharedIntercept - sharedSlope*at(t, res, "x", i)) / at(t, res, "u_y", i)
		close1(t, "residual", at(t, res, "residual", i), want, 1e-9)
	}
}

// Pearson's data with York's weights, through a study (as in TestYorkOnPearson).
func TestFitErrorsInBoth(t *testing.T) {
	var points []point
	p := pearson()
	for i := range p.X {
		points = append(points, point{"0", fmt.Sprintf("length nm %g\nu_length nm %.17g\n", p.X[i], math.Sqrt(p.Vxx[i*11])) + fmt.Sprintf("tau ns %g\nu_tau ns %.17g\n", p.Y[i], math.Sqrt(p.Vyy[i*11]))})
	}
	it, out := fitted(t, points, "x: length, y: tau")
	fit := out["fit"]
	if fit == nil {
		t.Fatal(it.Message)
	}
	for name, want := range map[string]float64{"slope": -0.480533407, "u_slope": 0.057985009, "intercept": 5.47991022, "u_intercept": 0.294970735, "chi2_nu": 11.86635319406144 / 8} {
		close1(t, name, at(t, fit, name, 0), want, 1e-8)
	}
	// x from the sheet, whose cells are sources: the whole u is the same
	cells := make([]point, len(points))
	for i := range points {
		_, tau, _ := strings.Cut(points[i].file, "tau")
		cells[i] = point{fmt.Sprintf("%g ± %.17g", p.X[i], math.Sqrt(p.Vxx[i*11])), "tau" + tau}
	}
	_, out = fitted(t, cells, "x: place, y: tau")
	for name, want := range map[string]float64{"slope": 0.057985009, "intercept": 0.294970735} {
		uu := math.Pow(at(t, out["fit"], "u_"+name, 0), 2)
		n := 0
		for _, c := range out["fit"].Columns {
			if strings.HasPrefix(c.Name, name+"@sheet.place[") {
				uu += c.Floats[0] * c.Floats[0]
				n++
			}
		}
		if close1(t, "whole u of "+name, math.Sqrt(uu), want, 1e-8); n != 10 {
			t.Errorf("%d parts of %s, expected 10", n, name)
		}
	}
	// x of which u is not known is taken as exact, and that is said
	for i := range points {
		_, tau, _ := strings.Cut(points[i].file, "tau")
		points[i].file = fmt.Sprintf("length nm %g\ntau", p.X[i]) + tau
	}
	it, out = fitted(t, points, "x: length, y: tau")
	exact, err := FitStraight(&Points{X: p.X, Y: p.Y, Vyy: p.Vyy})
	if err != nil {
		t.Fatal(err)
	}
	close1(t, "slope", at(t, out["fit"], "slope", 0), exact.P[1], 1e-12)
	close1(t, "u of the slope", at(t, out["fit"], "u_slope", 0), math.Sqrt(exact.Cov[3]), 1e-12)
	if !says(it, "x is taken as exact") {
		t.Errorf("said: %v", it.Flags)
	}
}

// What the control shares with y goes out: with the same offset in both, nothing of it is left, and u² is that of a difference.
func TestFitTakesControlOff(t *testing.T) {
	var points []point
	for i := range 5 {
		x := float64(i)
		control := 5 + math.Sin(x)
		points = append(points, point{fmt.Sprint(x), fmt.Sprintf("tau ns %.17g\nu_tau ns 0.12\nalone ns %.17g\nu_alone ns 0.05\n", 2+3*x+control, control)})
	}
	it, out := fitted(t, points, "x: place, y: tau + offset, control: alone + offset")
	fit := out["fit"]
	if fit == nil {
		t.Fatal(it.Message)
	}
	close1(t, "slope", at(t, fit, "slope", 0), 3, 1e-12)
	close1(t, "intercept", at(t, fit, "intercept", 0), 2, 1e-12)
	close1(t, "u of the slope", at(t, fit, "u_slope", 0), 0.13/math.Sqrt(10), 1e-12) // Σ(x − 2)² = 10
	if c := fit.Col("intercept@constants.offset"); c != nil && math.Abs(c.Floats[0]) > 1e-12 {
		t.Errorf("the offset moves the intercept by %g", c.Floats[0])
	}
	if _, out = fitted(t, points, "x: place, y: tau + offset"); math.Abs(at(t, out["fit"], "intercept@constants.offset", 0)-0.2) > 1e-9 {
		t.Errorf("without control the offset moves the intercept by %g", at(t, out["fit"], "intercept@constants.offset", 0))
	}
	if it, _ = fitted(t, points, "x: place, y: tau, control: place"); it.State != pipeline.Failed || !strings.Contains(it.Message, "expected the same unit") {
		t.Errorf("a control in nm: %s, %s", it.State, it.Message)
	}
}

// Limits are no plain values: they are left out, and said.
func TestFitLeavesLimitsOut(t *testing.T) {
	var points []point
	for i := range 6 {
		points = append(points, point{fmt.Sprint(i), number(1+2*float64(i), 0.1)})
	}
	_, without := fitted(t, points, "x: place, y: tau")
	points = append(points, point{"6", number(100, 0.1) + "tau_bound text lower\n"}, point{"7", "tau ns null\nu_tau ns null\n"})
	it, with := fitted(t, points, "x: place, y: tau")
	for _, c := range []string{"slope", "u_slope", "intercept", "u_intercept", "points"} {
		close1(t, c, at(t, with["fit"], c, 0), at(t, without["fit"], c, 0), 1e-14)
	}
	close1(t, "slope", at(t, with["fit"], "slope", 0), 2, 1e-12)
	if !says(it, "1 of 8 points are only limits") || !says(it, "1 of 8 points have no x or no y") {
		t.Errorf("said: %v", it.Flags)
	}
	res := with["residuals"]
	if got := res.Col("remark").Texts[6]; got != "y is only a limit (lower)" || !math.IsNaN(at(t, res, "y", 6)) || at(t, res, "used", 6) != 0 {
		t.Errorf("the limit's row: %q, y %g, used %g", got, at(t, res, "y", 6), at(t, res, "used", 6))
	}
	if it, _ = fitted(t, points, "x: place, y: 2 * tau"); !says(it, "1 of 8 points are only limits") {
		t.Errorf("limits in an expression: %v", it.Flags)
	}
}

// Without uncertainties those of the scatter: Anscombe's first set (as in TestPlainLines), with 9 degrees of freedom; p of the slope
// 0.00217 (t = 4.241; from memory).
func TestFitFromScatter(t *testing.T) {
	for _, u := range []string{"", "u_tau ns 0\n"} {
		var points []point
		y := []float64{8.04, 6.95, 7.58, 8.81, 8.33, 9.96, 7.24, 4.26, 10.84, 4.82, 5.68}
		for i, x := range []float64{10, 8, 13, 9, 11, 14, 6, 4, 12, 7, 5} {
			points = append(points, point{fmt.Sprint(x), fmt.Sprintf("tau ns %g\n", y[i]) + u})
		}
		it, out := fitted(t, points, "x: place, y: tau")
		fit := out["fit"]
		if fit == nil {
			t.Fatal(it.Message)
		}
		close1(t, "slope", at(t, fit, "slope", 0), 0.5001, 5e-5)
		close1(t, "u", at(t, fit, "u_slope", 0), 0.1179, 5e-5)
		close1(t, "ν", at(t, fit, "nu_slope", 0), 9, 0)
		close1(t, "p", at(t, fit, "p", 0), 0.00217, 5e-6)
		if !math.IsNaN(at(t, fit, "chi2_nu", 0)) || !says(it, "scatter about the fit") {
			t.Errorf("χ²/ν %g, said: %v", at(t, fit, "chi2_nu", 0), it.Flags)
		}
	}
}

func TestFitFewPoints(t *testing.T) {
	two := []point{{"1", number(2, 0.1)}, {"3", number(6, 0.2)}}
	it, out := fitted(t, two, "x: place, y: tau")
	close1(t, "slope", at(t, out["fit"], "slope", 0), 2, 1e-12)
	close1(t, "u", at(t, out["fit"], "u_slope", 0), math.Hypot(0.1, 0.2)/2, 1e-12)
	if !says(it, "two points") {
		t.Errorf("said: %v", it.Flags)
	}
	two = []point{{"1", "tau ns 2\n"}, {"3", "tau ns 6\n"}}
	it, out = fitted(t, two, "x: place, y: tau")
	if c := out["fit"].Col("u_slope"); c == nil || !c.IsNull(0) {
		t.Errorf("u of a line through two points of which it is not known: %v", c)
	}
	for _, c := range []struct {
		name   string
		points []point
		says   string
	}{
		{"one point", two[:1], "expected two at least"},
		{"one place", []point{{"1", number(2, 0.1)}, {"1", number(3, 0.1)}}, "expected two different places"},
	} {
		if it, _ := fitted(t, c.points, "x: place, y: tau"); it.State != pipeline.Failed || !strings.Contains(it.Message, c.says) {
			t.Errorf("%s: %s, %s", c.name, it.State, it.Message)
		}
	}
	if it, _ = fitted(t, []point{{"1", number(2, 0.1)}, {"2", number(2, 0.1)}, {"3", number(2, 0.1)}}, "x: place, y: tau, model: breakpoint"); !says(it, "too few to look for a break") {
		t.Errorf("said: %v", it.Flags)
	}
}

// A break is claimed where there is one, and not where there is none; at_lo and at_hi hold it.
func TestFitBreakpoint(t *testing.T) {
	rnd := rand.New(rand.NewPCG(3, 3))
	series := func(after float64) (out []point) {
		for i := range 12 {
			x := 0.1 * float64(i)
			out = append(out, point{fmt.Sprint(x), number(broken(x, 0.55, 2, 0.2, after)+0.03*rnd.NormFloat64(), 0.03)})
		}
		return out
	}
	it, out := fitted(t, series(-1.5), "x: place, y: tau, model: breakpoint")
	fit := out["fit"]
	if fit == nil {
		t.Fatal(it.Message)
	}
	for _, c := range []struct {
		name string
		want float64
	}{{"at", 0.55}, {"before", 0.2}, {"after", -1.5}, {"level", 2}} {
		if d := math.Abs(at(t, fit, c.name, 0) - c.want); d > 3*at(t, fit, "u_"+c.name, 0) {
			t.Errorf("%s is %g off, u %g", c.name, d, at(t, fit, "u_"+c.name, 0))
		}
	}
	if lo, hi := at(t, fit, "at_lo", 0), at(t, fit, "at_hi", 0); !(lo < 0.55 && 0.55 < hi && hi-lo < 0.3) {
		t.Errorf("the break lies between %g and %g", lo, hi)
	}
	if p := at(t, fit, "p", 0); p > 0.001 || !math.IsNaN(at(t, fit, "slope", 0)) {
		t.Errorf("p %g, slope %g", p, at(t, fit, "slope", 0))
	}

	band := out["band"]
	for i := 1; i < band.Len(); i++ { // no jump at the break
		width := func(i int) float64 { return at(t, band, "upper", i) - at(t, band, "lower", i) }
		if r := width(i) / width(i-1); r < 0.8 || r > 1.25 {
			t.Errorf("at x = %g the band is %.2f times as wide as a step before", at(t, band, "x", i), r)
		}
	}

	it, out = fitted(t, series(0.2), "x: place, y: tau, model: breakpoint")
	fit = out["fit"]
	if !math.IsNaN(at(t, fit, "at", 0)) || !(at(t, fit, "p", 0) > 0.05) || !says(it, "no break") {
		t.Errorf("at %g, p %g, said %v", at(t, fit, "at", 0), at(t, fit, "p", 0), it.Flags)
	}
	if d := math.Abs(at(t, fit, "slope", 0) - 0.2); d > 3*at(t, fit, "u_slope", 0) {
		t.Errorf("the slope is %g off", d)
	}
}

// A break that may lie before the second point is a limit.
func TestFitBreakAtTheEdge(t *testing.T) {
	points := []point{{"0", number(5, 0.05)}}
	for i := 1; i < 8; i++ {
		points = append(points, point{fmt.Sprint(i), number(float64(i), 0.05)})
	}
	it, out := fitted(t, points, "x: place, y: tau, model: breakpoint")
	fit := out["fit"]
	if fit == nil {
		t.Fatal(it.Message)
	}
	if at(t, fit, "at", 0) != 1 || fit.Col("at_bound").Texts[0] != "upper" || !math.IsNaN(at(t, fit, "before", 0)) || !says(it, "may lie before it") {
		t.Errorf("at %g, before %g, said %v", at(t, fit, "at", 0), at(t, fit, "before", 0), it.Flags)
	}
	close1(t, "after", at(t, fit, "after", 0), 1, 1e-12)
}

// A sheet's uncertain cells and what samples share reach the break as parts: moved by its u, an offset of all y moves the level alone.
func TestFitPartsOfABreak(t *testing.T) {
	var points []point
	for i := range 10 {
		x := 0.1 * float64(i)
		points = append(points, point{fmt.Sprint(x), number(broken(x, 0.44, 2, 0.3, -1.1), 0.02)})
	}
	it, out := fitted(t, points, "x: place, y: tau + offset, model: breakpoint")
	fit := out["fit"]
	if fit == nil {
		t.Fatal(it.Message)
	}
	close1(t, "part of the level", at(t, fit, "level@constants.offset", 0), 0.2, 1e-9)
	for _, name := range []string{"at", "before", "after"} {
		if c := fit.Col(name + "@constants.offset"); c != nil && math.Abs(c.Floats[0]) > 1e-9 {
			t.Errorf("the offset moves %s by %g", name, c.Floats[0])
		}
		if u := at(t, fit, "u_"+name, 0); !(u > 0) {
			t.Errorf("u of %s is %g", name, u)
		}
	}
	// a factor of y moves slopes and level with it, and the break not at all
	_, out = fitted(t, points, "x: place, y: tau * scale, model: breakpoint")
	fit = out["fit"]
	for name, want := range map[string]float64{"before": 0.3 * 0.04, "after": -1.1 * 0.04, "level": 2 * 0.04} {
		close1(t, "part of "+name, at(t, fit, name+"@constants.scale", 0), want, 1e-6)
	}
	if c := fit.Col("at@constants.scale"); c != nil && math.Abs(c.Floats[0]) > 1e-6 {
		t.Errorf("the factor moves the break by %g", c.Floats[0])
	}
}

func TestFitDeclaration(t *testing.T) {
	if err := pipeline.CheckKinds([]*pipeline.Kind{&FitKind, &MeanKind, &JoinKind}); err != nil {
		t.Fatal(err)
	}
}

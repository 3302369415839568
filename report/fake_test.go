package report

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"sync/atomic"
	"testing"

	"fascicle/catalog"
	"fascicle/pipeline"
	"fascicle/pipeline/store"
	"fascicle/pipeline/table"
)

// hostile is a name that must never be taken for markup.
const hostile = `<b>"O'N&il"</b>`

const fakeStudy = `study: A pair <of> polymers & "salt"
samples: samples.csv
about:
  authors: [{name: "A. Nobody", orcid: "0000-0000-0000-0000"}]
  licence: CC-BY-4.0
constants:
  cell: 10.00(2) mm
  plate: {d1: 1.000(4) mm, d2: 1.005(4) mm}
conditions:
  bright: fraction < 0.5 && salt == "NaCl"
graph:
  curves:
    kind: import
    set: {files: raw/<sample>.csv}
`

// fake is an outcome made by hand, with its tables in memory.
type fake struct {
	*pipeline.Outcome
	tables map[itemID]*table.Table
	loads  atomic.Int64
	rand   *rand.Rand
}

func newFake(dir string) *fake {
	f := &fake{Outcome: &pipeline.Outcome{Dir: dir, Title: `A pair <of> polymers & "salt"`, Study: []byte(fakeStudy), Digest: "one"}, tables: map[itemID]*table.Table{}}
	f.Load = func(it pipeline.ItemOutcome) (*table.Table, error) {
		f.loads.Add(1)
		t := f.tables[itemID{it.Stage, it.Output, it.Name}]
		if t == nil {
			return nil, errors.New("there is no such table")
		}
		return t, nil
	}
	f.rand = rand.New(rand.NewPCG(1, 2))
	return f
}

// add puts an item and its table into a stage, which it makes when it is new.
func (f *fake) add(stage string, kind *pipeline.Kind, it pipeline.ItemOutcome, t *table.Table) *pipeline.ItemOutcome {
	k := slices.IndexFunc(f.Stages, func(s pipeline.StageOutcome) bool { return s.Name == stage })
	if k < 0 {
		k = len(f.Stages)
		f.Stages = append(f.Stages, pipeline.StageOutcome{Name: stage, Kind: kind})
	}
	it.Stage = stage
	if it.State == "" {
		it.State = pipeline.Made
	}
	it.Key = sha256.Sum256([]byte(stage + it.Name))
	f.Stages[k].Items = append(f.Stages[k].Items, it)
	if t != nil {
		f.tables[itemID{stage, it.Output, it.Name}] = t
	}
	switch it.State {
	case pipeline.Made:
		f.Counts.Made++
	case pipeline.Kept:
		f.Counts.Kept++
	case pipeline.Failed:
		f.Counts.Failed++
	default:
		f.Counts.Blocked++
	}
	return &f.Stages[k].Items[len(f.Stages[k].Items)-1]
}

func (f *fake) stage(name string) *pipeline.StageOutcome {
	for i := range f.Stages {
		if f.Stages[i].Name == name {
			return &f.Stages[i]
		}
	}
	panic("no stage " + name)
}

var (
	fakeImport = &pipeline.Kind{
		Name: "fake.import", Doc: "read curves from files", Formula: "none", Source: "common practice, no source", Reads: true,
		Methods: "Curves were read from {files}.", Outputs: []pipeline.Output{{Name: "curves", Form: pipeline.Curve, Per: pipeline.PerAny}},
	}
	fakeGuinier = &pipeline.Kind{
		Name: "fake.size", Doc: "radius and forward scattering from the start of a curve", Formula: "ln I(q) = ln I₀ − q²·Rg²/3 for q·Rg < limit",
		Source:  "A. Guinier, Annales de Physique 12 (1939) 161 <eq. 3>, from memory",
		Methods: "Lines were fitted up to q·Rg = {limit} with {shape} shape in a cell of {path}; {nothing} was left.",
		Ports:   []pipeline.Port{{Name: "curve", Lead: true}},
		Outputs: []pipeline.Output{
			{Name: "plateaus", Form: pipeline.Values, Columns: []pipeline.Column{{Name: "number", Unit: "1"}, {Name: "Rg_i", Unit: "nm", U: true}, {Name: "I0_i", Unit: "1/cm", U: true}, {Name: "state", Text: true}}},
			{Name: "fit", Form: pipeline.Curve},
		},
		Figures: []pipeline.Figure{{
			Name: "fit", Title: "Start of the curve with fitted line",
			X: pipeline.Axis{Label: "scattering vector q", Scale: pipeline.Square}, Y: pipeline.Axis{Label: "intensity", Scale: pipeline.Log},
			Series: []pipeline.Series{
				{Output: "fit", X: "q", Y: "I", Role: pipeline.Points, Label: "measured", Used: "used"},
				{Output: "fit", X: "q", Y: "model", Role: pipeline.Line, Label: "fit"},
			},
			Residual: &pipeline.Series{Output: "fit", X: "q", Y: "residual", Label: "residual / u", Used: "used"},
			Marks:    []pipeline.Mark{{Output: "plateaus", At: "q_limit", Label: "q·Rg = 1.3"}},
		}},
	}
	fakeDecay = &pipeline.Kind{
		Name: "fake.decay", Doc: "lifetimes from counts", Formula: "N(t) = Σ aᵢ·exp(−t/τᵢ)", Source: "common practice, no source",
		Methods: "Sums of {exponentials} exponentials were fitted.",
		Ports:   []pipeline.Port{{Name: "decay", Lead: true}},
		Outputs: []pipeline.Output{
			{Name: "fit", Form: pipeline.Values, Columns: []pipeline.Column{{Name: "tau_i", Unit: "ns", U: true}, {Name: "deviance", Unit: "1"}}},
			{Name: "curve", Form: pipeline.Curve},
		},
		Figures: []pipeline.Figure{{
			Name: "fit", Title: "Decay with fit and weighted residuals",
			X: pipeline.Axis{Label: "time t"}, Y: pipeline.Axis{Label: "counts", Scale: pipeline.Log},
			Series: []pipeline.Series{
				{Port: "decay", X: pipeline.AxisColumn, Y: pipeline.ValueColumn, Role: pipeline.Points, Label: "counts"},
				{Output: "curve", X: "t", Y: "model", Role: pipeline.Line, Label: "fit"},
			},
			Residual: &pipeline.Series{Output: "curve", X: "t", Y: "residual", Label: "residual / u"},
		}},
	}
	fakeLine = &pipeline.Kind{
		Name: "fake.line", Doc: "a line through all samples of a salt", Formula: "y = a + b·x", Source: "common practice, no source",
		Ports: []pipeline.Port{{Name: "point", Lead: true, Many: true}}, By: "list", Parts: pipeline.NoParts,
		Outputs: []pipeline.Output{
			{Name: "line", Form: pipeline.Values, Per: pipeline.PerGroup, Columns: []pipeline.Column{{Name: "slope", Unit: "nm"}, {Name: "p", Unit: "1"}}},
			{Name: "points", Form: pipeline.TableForm, Per: pipeline.PerGroup, Doc: "points and their distance from the line"},
			{Name: "window", Form: pipeline.Values, Per: pipeline.PerGroup, Columns: []pipeline.Column{{Name: "opens", Unit: "1"}, {Name: "closes", Unit: "1"}}},
		},
		Figures: []pipeline.Figure{{
			Name: "line", Title: "Radius over mixing fraction", X: pipeline.Axis{Label: "fraction"}, Y: pipeline.Axis{Label: "radius"},
			Series: []pipeline.Series{{Output: "points", X: "fraction", Y: "radius", Role: pipeline.Points}},
			Marks:  []pipeline.Mark{{Output: "window", At: "opens", To: "closes", Label: "turbid window"}},
		}},
	}
	fakeCheck = &pipeline.Kind{
		Name: "fake.check", Doc: "an instrument against a standard", Formula: "d = x − x₀", Source: "common practice, no source", Checks: true, By: "day",
		Outputs: []pipeline.Output{{Name: "check", Form: pipeline.Values, Per: pipeline.PerGroup, Columns: []pipeline.Column{{Name: "offset", Unit: "nm", U: true}}}},
	}
)

const fakeSheet = `sample,also,salt,fraction,ionic [mol/L],date,remark
S1,one,NaCl,0.05,0.1,2031-03-04,
S2,,NaCl,0.15,0.1,2031-03-04,
S3,,NaCl,0.25,0.1,2031-03-04,
S4,,NaCl,0.35,0.1,2031-03-04,
S5,,NaCl,0.45,0.1,2031-03-11,
S6,,NaCl,0.55,0.1,2031-03-11,
S7,,CaCl2,0.05,0.1,2031-03-11,
S8,,CaCl2,0.15,0.1,2031-03-11,
S9,,CaCl2,0.25,0.1,2031-03-11,
S10,,CaCl2,0.35,0.1,2031-03-11,
S11,,CaCl2,0.45,0.1,2031-03-11,
"<b>""O'N&il""</b>",,CaCl2,0.55,0.1,2031-03-11,"=1+1, <script>"
`

// fullFake is a whole study: curves, fits with flags, decays of 4,096 channels, failures, series, a check, a table.
func fullFake(t testing.TB, dir string) *fake {
	f := newFake(dir)
	sheet, faults := catalog.ReadSheet("samples.csv", []byte(fakeSheet))
	if len(faults) > 0 {
		t.Fatal(faults)
	}
	f.Sheet = sheet
	ratio := pipeline.DerivedColumn{Name: "excess", Text: "fraction / (1 - fraction)", Values: map[string]pipeline.FieldValue{}}
	fractions := []float64{}
	for i, r := range sheet.Rows {
		fraction := r.Cells[3].Value
		fractions = append(fractions, fraction)
		x := fraction / (1 - fraction)
		ratio.Values[r.Sample] = pipeline.FieldValue{Number: x, Text: shortest(x)}
		salt := r.Cells[2].Text
		fields := []pipeline.NamedField{{Name: "sample", Text: r.Sample}, {Name: "salt", Text: salt}, {Name: "fraction", Text: r.Cells[3].Text}}
		item := pipeline.ItemOutcome{Name: "sample=" + r.Sample, Sample: r.Sample, Fields: fields}
		f.addSizes(item, i, fraction, salt)
		f.addDecays(item, i)
		f.Raw = append(f.Raw, pipeline.RawFile{Path: fmt.Sprintf("raw/curve_%02d.csv", i+1), SHA256: hexOf(r.Sample), Size: 12345, Stage: "curves", Sample: r.Sample})
	}
	f.Derived = []pipeline.DerivedColumn{ratio}
	f.addSeries(fractions)
	f.stage("sizes").Settings = []pipeline.SettingLine{{Path: "limit", Value: "1.3", Default: true}, {Path: "shape", Value: "compact", Default: false}, {Path: "path", Value: "10 ± 0.02 mm (constants.cell)"}}
	f.stage("lifetimes").Settings = []pipeline.SettingLine{{Path: "exponentials", Value: "2"}}
	f.stage("curves").Settings = []pipeline.SettingLine{{Path: "files", Value: "raw/<sample>.csv"}}
	f.stage("sizes").From = []pipeline.Feed{{Port: "curve", Stages: []string{"curves"}}}
	f.stage("lifetimes").From = []pipeline.Feed{{Port: "decay", Stages: []string{"decays"}}}
	f.stage("lines").MissingParts = []string{"constants.cell", "constants.plate.d1"}
	f.stage("lines").By = []string{"salt"}
	f.Remarks = []string{"raw/notes.txt: no import takes this file", "condition bright: row S3 could not be judged <empty cell>"}
	return f
}

func hexOf(s string) string { h := sha256.Sum256([]byte(s)); return hex.EncodeToString(h[:]) }

func (f *fake) addSizes(item pipeline.ItemOutcome, i int, fraction float64, salt string) {
	raw := item
	raw.Output, raw.Form, raw.Files, raw.Lead = "curves", pipeline.Curve, []string{fmt.Sprintf("raw/curve_%02d.csv", i+1)}, -1
	rg, i0, n := 3+4*fraction, 12.0*(1+fraction), 180
	q, y, u, model, res, used := make([]float64, n), make([]float64, n), make([]float64, n), make([]float64, n), make([]float64, n), make([]float64, n)
	for k := range n {
		q[k] = 0.03 + 0.006*float64(k)
		m := i0*math.Exp(-q[k]*q[k]*rg*rg/3) + 0.02
		u[k] = 0.03 * math.Sqrt(m*i0) * 0.4
		y[k] = m + u[k]*f.rand.NormFloat64()
		model[k] = i0 * math.Exp(-q[k]*q[k]*rg*rg/3)
		res[k] = (y[k] - model[k]) / u[k]
		if q[k]*rg < 1.3 {
			used[k] = 1
		}
	}
	curve := &table.Table{}
	curve.AddFloat("q", "1/nm", q)
	curve.AddFloat("I", "1/cm", y)
	curve.AddFloat("u_I", "1/cm", u)
	f.add("curves", fakeImport, raw, curve)

	if i == 4 { // fails, and blocks what follows
		bad := item
		bad.Output, bad.Form, bad.State, bad.Message = "plateaus", pipeline.Values, pipeline.Failed, "no range with q·Rg < 1.3 holds 8 points; measure further in"
		f.add("sizes", fakeGuinier, bad, nil)
		bad.Output, bad.Form = "fit", pipeline.Curve
		f.add("sizes", fakeGuinier, bad, nil)
		return
	}
	values, fit := item, item
	values.Output, values.Form = "plateaus", pipeline.Values
	fit.Output, fit.Form = "fit", pipeline.Curve
	values.Sources = []pipeline.Source{{Port: "curve", Stage: "curves", Output: "curves", Item: item.Name}}
	fit.Sources = values.Sources
	if i == 2 {
		values.Flags = []store.Flag{{Level: "flag", Text: "the fitted range <hangs> on its end"}, {Level: "note", Text: "two points were outliers"}}
	}
	if i == 3 {
		values.State = pipeline.Kept
	}
	v := &table.Table{}
	one := func(name, unit string, x float64) { v.AddFloat(name, unit, []float64{x}) }
	v.AddInt("number", "1", []int64{1})
	one("I0_1", "1/cm", i0)
	one("u_I0_1", "1/cm", 0.05)
	one("I0_1@constants.cell", "1/cm", -0.024)
	one("I0_1@sheet.fraction["+item.Sample+"]", "1/cm", 0.0004)
	one("Rg_1", "nm", rg+0.05*f.rand.NormFloat64())
	one("u_Rg_1", "nm", 0.043)
	one("q_limit", "1/nm", 1.3/rg)
	v.AddText("state", []string{map[bool]string{true: "turbid", false: "clear"}[fraction > 0.3]})
	if i == 7 {
		v.AddText("Rg_1_bound", []string{"lower"})
	}
	f.add("sizes", fakeGuinier, values, v)
	t := &table.Table{}
	t.AddFloat("q", "1/nm", q)
	t.AddFloat("I", "1/cm", y)
	t.AddFloat("u_I", "1/cm", u)
	t.AddFloat("model", "1/cm", model)
	t.AddFloat("residual", "1", res)
	t.AddFloat("used", "1", used)
	f.add("sizes", fakeGuinier, fit, t)
}

func (f *fake) addDecays(item pipeline.ItemOutcome, i int) {
	if i > 5 {
		return
	}
	const n = 4096
	for _, band := range []string{"acceptor", "donor"} {
		it := item
		it.Name += ",band=" + band
		it.Fields = append(slices.Clip(item.Fields), pipeline.NamedField{Name: "band", Text: band})
		tau := 1.1 + 0.3*float64(i)
		if band == "donor" {
			tau = 0.6 + 0.05*float64(i)
		}
		time, counts, u, model, res := make([]float64, n), make([]float64, n), make([]float64, n), make([]float64, n), make([]float64, n)
		for k := range n {
			time[k] = 0.0122 * float64(k)
			m := 0.4
			if time[k] > 3 {
				m += 9000 * math.Exp(-(time[k]-3)/tau)
			}
			counts[k] = math.Max(0, math.Round(m+math.Sqrt(m)*f.rand.NormFloat64()))
			u[k] = math.Sqrt(math.Max(counts[k], 1))
			model[k] = m
			res[k] = (counts[k] - m) / math.Sqrt(math.Max(m, 1))
		}
		raw := it
		raw.Output, raw.Form, raw.Lead = "curves", pipeline.Curve, -1
		t := &table.Table{}
		t.AddFloat("t", "ns", time)
		t.AddFloat("counts", "1", counts)
		t.AddFloat("u_counts", "1", u)
		f.add("decays", fakeImport, raw, t)
		values, curve := it, it
		values.Output, values.Form = "fit", pipeline.Values
		curve.Output, curve.Form = "curve", pipeline.Curve
		if i == 5 && band == "donor" {
			values.State, values.Message = pipeline.Blocked, "needs response day=d2, which is out of tolerance; look at raw/irf_d2.csv"
			curve.State, curve.Message = values.State, values.Message
			f.add("lifetimes", fakeDecay, values, nil)
			f.add("lifetimes", fakeDecay, curve, nil)
			continue
		}
		src := []pipeline.Source{{Port: "decay", Stage: "decays", Output: "curves", Item: it.Name}}
		values.Sources, curve.Sources = src, src
		v := &table.Table{}
		v.AddFloat("tau_2", "ns", []float64{tau * 0.3})
		v.AddFloat("u_tau_2", "ns", []float64{0.0431})
		v.AddFloat("tau_1", "ns", []float64{tau})
		v.AddFloat("u_tau_1", "ns", []float64{0.0123})
		v.AddFloat("nu_tau_1", "1", []float64{12})
		v.AddFloat("tau_1@checks[day=d1].1", "ns", []float64{0.02})
		v.AddFloat("tau_1@checks[day=d1].2", "ns", []float64{-0.0041})
		v.Header = map[string]string{"nu@checks[day=d1].1": "4", "nu@checks[day=d1].2": "4"}
		v.AddFloat("deviance", "1", []float64{1.03})
		f.add("lifetimes", fakeDecay, values, v)
		c := &table.Table{}
		c.AddFloat("t", "ns", time)
		c.AddFloat("model", "1", model)
		c.AddFloat("residual", "1", res)
		f.add("lifetimes", fakeDecay, curve, c)
	}
}

func (f *fake) addSeries(fractions []float64) {
	for _, salt := range []string{"CaCl2", "NaCl"} {
		it := pipeline.ItemOutcome{Name: "salt=" + salt, Series: "salt=" + salt, Lead: -1}
		line, points, window := it, it, it
		line.Output, line.Form, points.Output, points.Form, window.Output, window.Form = "line", pipeline.Values, "points", pipeline.TableForm, "window", pipeline.Values
		v, w, p := &table.Table{}, &table.Table{}, &table.Table{}
		v.AddFloat("slope", "nm", []float64{4.02})
		v.AddFloat("u_slope", "nm", []float64{0.21})
		for _, source := range []string{"constants.cell", "constants.plate.d1"} { // the kind lets no parts through
			v.AddFloatValid("slope@"+source, "nm", []float64{0}, []bool{false})
		}
		v.AddFloatValid("p", "1", []float64{0}, []bool{false})
		w.AddFloat("opens", "1", []float64{0.31})
		w.AddFloat("closes", "1", []float64{0.52})
		x, y, u := fractions[:6], make([]float64, 6), make([]float64, 6)
		names := make([]string, 6)
		for k := range x {
			y[k], u[k], names[k] = 3+4*x[k]+0.1*f.rand.NormFloat64(), 0.1, "sample=S"+fmt.Sprint(k+1)
		}
		p.AddText("of", names)
		p.AddFloat("fraction", "1", x)
		p.AddFloat("radius", "nm", y)
		p.AddFloat("u_radius", "nm", u)
		p.AddFloat("radius@constants.cell", "nm", []float64{0.24, 0.24, 0.24, 0, 0, 0})
		p.AddFloatValid("radius@checks[day=d1].1", "nm", make([]float64, 6), []bool{true, true, true, true, true, salt == "NaCl"})
		f.add("lines", fakeLine, line, v)
		f.add("lines", fakeLine, points, p)
		f.add("lines", fakeLine, window, w)
	}
	for k, day := range []string{"d1", "d2"} {
		it := pipeline.ItemOutcome{Name: "day=" + day, Series: "day=" + day, Lead: -1, Output: "check", Form: pipeline.Values}
		if k == 1 {
			it.Flags = []store.Flag{{Level: "tolerance", Text: "1.4 nm off; at most 1 nm is tolerated"}}
		}
		v := &table.Table{}
		v.AddFloat("offset", "nm", []float64{0.12 + 1.3*float64(k)})
		v.AddFloat("u_offset", "nm", []float64{0.04})
		f.add("checks", fakeCheck, it, v)
	}
}

// shout tells where two long texts differ.
func shout(a, b string) string {
	la, lb := strings.Split(a, "\n"), strings.Split(b, "\n")
	for i := range min(len(la), len(lb)) {
		if la[i] != lb[i] {
			return fmt.Sprintf("line %d:\n- %.300s\n+ %.300s", i+1, la[i], lb[i])
		}
	}
	return fmt.Sprintf("%d and %d lines", len(la), len(lb))
}

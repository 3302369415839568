package lifetime

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"fascicle/pipeline"
	"fascicle/pipeline/table"
	"fascicle/stages/importing"
	"fascicle/stages/internal/fitting"
)

// columns writes curves as a file of columns.
func columns(width float64, heads string, curves ...[]float64) string {
	var b strings.Builder
	fmt.Fprintln(&b, heads)
	for k := range curves[0] {
		fmt.Fprintf(&b, "%.6f", float64(k)*width)
		for _, c := range curves {
			fmt.Fprintf(&b, ",%g", c[k])
		}
		fmt.Fprintln(&b)
	}
	return b.String()
}

// item is what a run made.
type item struct {
	pipeline.ItemOutcome
	table *table.Table
}

// runStudy runs stage `lifetimes` over raw/decay_<sample>.csv and raw/irf.csv, with the settings given, and gives its items by output and name.
func runStudy(t *testing.T, set, head string, raw map[string]string) map[string]item {
	t.Helper()
	return runWith(t, "sample\none\ntwo\n", "", set, head, raw)
}

// runWith is runStudy with a sheet, and more in `from`.
func runWith(t *testing.T, sheet, more, set, head string, raw map[string]string) map[string]item {
	t.Helper()
	dir := t.TempDir()
	put := func(name, text string) {
		if err := os.MkdirAll(filepath.Dir(filepath.Join(dir, name)), 0o777); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o666); err != nil {
			t.Fatal(err)
		}
	}
	put("samples.csv", sheet)
	from := "{decay: decays" + more + "}"
	text := "study: a test\nsamples: samples.csv\n" + head + "graph:\n" +
		"  decays:\n    kind: import\n    set:\n      files: raw/decay_<sample>.csv\n      columns: {time: \"1 [ns]\", counts: \"2 [1]\"}\n"
	if _, ok := raw["raw/irf.csv"]; ok {
		from = "{decay: decays, response: {stage: responses, only: true}" + more + "}"
		text += "  responses:\n    kind: import\n    set:\n      files: raw/irf.csv\n      columns: {time: \"1 [ns]\", counts: \"2 [1]\"}\n"
	}
	text += "  lifetimes:\n    kind: lifetime.fit\n    from: " + from + "\n    set: " + set + "\n"
	if more != "" {
		text += "  terms:\n    kind: test.number\n    from: {sample: samples}\n    set: {number: number}\n"
	}
	put("study.yaml", text)
	for name, text := range raw {
		put(name, text)
	}
	p, faults := pipeline.Load(dir, []*pipeline.Kind{&importing.ImportKind, &numberKind, &FitKind})
	if len(faults) > 0 {
		t.Fatal(faults)
	}
	o, err := pipeline.Run(context.Background(), p, pipeline.Options{})
	if err != nil {
		t.Fatal(err)
	}
	o.Complete()
	out := map[string]item{}
	for _, s := range o.Stages {
		for _, it := range s.Items {
			r := item{ItemOutcome: it}
			if it.State.Good() {
				if r.table, err = o.Load(it); err != nil {
					t.Fatal(err)
				}
			} else if s.Name != "lifetimes" {
				t.Fatal(s.Name, it.Message)
			}
			if s.Name == "lifetimes" {
				out[it.Output+" "+it.Name] = r
			}
		}
	}
	return out
}

func (r item) number(t *testing.T, name string) float64 {
	t.Helper()
	if r.table == nil {
		t.Fatal(r.Message)
	}
	c := r.table.Col(name)
	if c == nil {
		t.Fatalf("no column %s among %v", name, r.table.Names())
	}
	if c.IsNull(0) {
		return math.NaN()
	}
	return c.Floats[0]
}

const channel = 0.0122 // ns

var ordinary = truth{n: 1024, mu: 120, sigma: 5, tau: []float64{60, 240}, amp: []float64{3000, 2000}, shift: 2.3, background: 4}

// files are the raw files of a study: decays of samples one and two, and the response.
func files(one, two []float64, response []float64) map[string]string {
	raw := map[string]string{"raw/decay_one.csv": columns(channel, "time,counts", one)}
	if two != nil {
		raw["raw/decay_two.csv"] = columns(channel, "time,counts", two)
	}
	if response != nil {
		raw["raw/irf.csv"] = columns(channel, "time,counts", response)
	}
	return raw
}

func TestFitKind(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 3))
	other := ordinary
	other.tau, other.amp = []float64{40, 150}, []float64{1000, 2500}
	items := runStudy(t, "{exponentials: 2}", "", files(ordinary.draw(r, ordinary.means()), other.draw(r, other.means()), ordinary.response()))
	for name, d := range map[string]truth{"one": ordinary, "two": other} {
		it := items["fit sample="+name]
		within := func(column string, want float64) {
			t.Helper()
			x, u := it.number(t, column), it.number(t, "u_"+column)
			if !(u > 0) || math.Abs(x-want) > 4*u {
				t.Errorf("%s: %s = %g ± %g, true %g", name, column, x, u, want)
			}
		}
		within("tau_1", d.tau[0]*channel)
		within("tau_2", d.tau[1]*channel)
		within("a_1", d.amp[0])
		within("a_2", d.amp[1])
		within("share_1", d.amp[0]/(d.amp[0]+d.amp[1]))
		within("tau_amplitude", AmplitudeAverage(d.amp, d.tau, nil, nil)*channel)
		within("tau_intensity", IntensityAverage(d.amp, d.tau, nil, nil)*channel)
		within("shift", d.shift*channel)
		within("background", d.background)
		if z := it.number(t, "deviance_z"); math.Abs(z) > 3.5 {
			t.Errorf("%s: deviance_z = %g", name, z)
		}
		model := items["curve sample="+name].table.Floats("model")
		expected, _ := fitting.ExpectedDeviance(model)
		if got := it.number(t, "deviance_expected"); math.Abs(got-(expected-6)) > 0.1 { // 6 parameters; a response with hardly any noise
			t.Errorf("%s: deviance_expected = %g, want %g", name, got, expected-6)
		}
		near(t, "deviance", it.number(t, "deviance"), fitting.PoissonDeviance(items["curve sample="+name].table.Floats("counts"), model), 1e-9)
		if it.number(t, "tau_1") > it.number(t, "tau_2") {
			t.Errorf("%s: the shorter lifetime does not come first", name)
		}
		// u of the average from u and cov of what it is made of (JCGM 100, 5.2.2), with the derivatives written out
		a1, a2, t1, t2 := it.number(t, "a_1"), it.number(t, "a_2"), it.number(t, "tau_1"), it.number(t, "tau_2")
		names := []string{"tau_1", "tau_2", "a_1", "a_2"}
		sum := a1 + a2
		g := []float64{a1 / sum, a2 / sum, a2 * (t1 - t2) / (sum * sum), a1 * (t2 - t1) / (sum * sum)}
		v := 0.0
		for i := range names {
			v += math.Pow(g[i]*it.number(t, "u_"+names[i]), 2)
			for j := range i {
				v += 2 * g[i] * g[j] * it.number(t, "cov_"+names[j]+"_"+names[i])
			}
		}
		near(t, "u_tau_amplitude", it.number(t, "u_tau_amplitude"), math.Sqrt(v), 1e-9)
		curve := items["curve sample="+name].table
		residual, auto := curve.Col("residual"), curve.Col("autocorrelation")
		square := 0.0
		for k := range residual.Floats {
			square += residual.Floats[k] * residual.Floats[k]
		}
		if n := float64(ordinary.n); math.Abs(square/n-1) > 4*math.Sqrt(2/n) {
			t.Errorf("%s: mean square of the weighted residuals %g", name, square/n)
		}
		if auto.Floats[0] != 1 || math.Abs(auto.Floats[1]) > 4/math.Sqrt(float64(ordinary.n)) {
			t.Errorf("%s: autocorrelation begins %g, %g", name, auto.Floats[0], auto.Floats[1])
		}
		if len(it.Flags) > 0 {
			t.Errorf("%s: remarks %v", name, it.Flags)
		}
	}
}

// A response of another length that begins at another time is put where its times say.
func TestFitKindOffset(t *testing.T) {
	r := rand.New(rand.NewPCG(36, 1))
	counts := ordinary.draw(r, ordinary.means())
	raw := files(counts, nil, ordinary.response())
	whole := runStudy(t, "{exponentials: 2}", "", raw)["fit sample=one"]
	lines := strings.SplitAfter(raw["raw/irf.csv"], "\n")
	raw["raw/irf.csv"] = lines[0] + strings.Join(lines[1+60:1+400], "")
	part := runStudy(t, "{exponentials: 2}", "", raw)["fit sample=one"]
	for _, name := range []string{"tau_1", "tau_2", "a_1", "shift", "background", "u_tau_1"} {
		near(t, name, part.number(t, name), whole.number(t, name), 1e-4)
	}
}

// What a person should know is said.
func TestFitKindRemarks(t *testing.T) {
	one := truth{n: 1024, mu: 120, sigma: 5, tau: []float64{120}, amp: []float64{3000}, shift: 2.3, background: 4}
	quiet := one
	quiet.background = 0
	faint := one
	faint.amp, faint.background = []float64{8}, 0.05
	full := func(c []float64) []float64 {
		for k, n := range c {
			c[k] = math.Min(n, 1200)
		}
		return c
	}
	for _, c := range []struct {
		name, set string
		d         truth
		change    func([]float64) []float64
		tail      bool
		want      []string
	}{
		{"tail", "{exponentials: 1}", one, nil, true, []string{"no response is fed"}},
		{"too many terms", "{exponentials: 3}", one, nil, false, []string{"exponential"}},
		{"too few terms", "{exponentials: 1}", ordinary, nil, false, []string{"does not describe", "not random"}},
		{"no background", "{exponentials: 1}", quiet, nil, false, []string{"no background was found"}},
		{"pile-up", "{exponentials: 1, cycles: 4e6}", one, nil, false, []string{"pile-up"}},
		{"few pulses", "{exponentials: 1, cycles: 1e5}", one, nil, false, []string{"more than one a pulse"}},
		{"counter full", "{exponentials: 1}", one, full, false, []string{"looks full", "does not describe"}},
		{"least squares of few counts", "{exponentials: 1, estimator: least squares}", faint, nil, false, []string{"√n was taken", "biases"}},
		{"smoothed", "{exponentials: 1}", one, func(c []float64) []float64 {
			out := append([]float64(nil), c...)
			for k := 4; k+4 < len(c); k++ {
				out[k] = 0
				for j := -4; j <= 4; j++ {
					out[k] += c[k+j] / 9
				}
				out[k] = math.Round(out[k])
			}
			return out
		}, false, []string{"not raw counts", "not random"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := rand.New(rand.NewPCG(31, 1))
			counts := c.d.draw(r, c.d.means())
			if c.change != nil {
				counts = c.change(counts)
			}
			response := c.d.response()
			if c.tail {
				response = nil
			}
			it := runStudy(t, c.set, "", files(counts, nil, response))["fit sample=one"]
			if it.table == nil {
				t.Fatal(it.Message)
			}
			for _, want := range c.want {
				if !strings.Contains(fmt.Sprint(it.Flags), want) {
					t.Errorf("no remark with %q among %v", want, it.Flags)
				}
			}
		})
	}
}

// What cannot be fitted is refused, with what was found and what to do.
func TestFitKindRefuses(t *testing.T) {
	r := rand.New(rand.NewPCG(32, 1))
	d := truth{n: 512, mu: 120, sigma: 5, tau: []float64{60}, amp: []float64{300}, shift: 2.3, background: 4}
	counts, response := d.draw(r, d.means()), d.response()
	with := func(k int, v float64) []float64 {
		c := append([]float64(nil), counts...)
		c[k] = v
		return c
	}
	late := d
	late.mu = 400
	early := d
	early.mu, early.n = 20, 512
	raw := func(counts []float64) map[string]string { return files(counts, nil, response) }
	wider := raw(counts)
	wider["raw/irf.csv"] = columns(0.0244, "time,counts", response)
	uneven := raw(counts)
	uneven["raw/decay_one.csv"] = strings.Replace(uneven["raw/decay_one.csv"], "1.220000,", "1.227000,", 1)
	for _, c := range []struct {
		name, set string
		raw       map[string]string
		want      []string
	}{
		{"not whole", "{exponentials: 1}", raw(with(7, 2.5)), []string{"whole numbers", "channel 8 holds 2.5"}},
		{"negative", "{exponentials: 1}", raw(with(7, -2)), []string{"channel 8 holds -2"}},
		{"negative by least squares", "{estimator: least squares}", raw(with(7, -2)), []string{"channel 8 holds -2", "uncertainty"}},
		{"other channel width", "{exponentials: 1}", wider, []string{"0.0244", "0.0122", "channel width"}},
		{"uneven channels", "{exponentials: 1}", uneven, []string{"not of equal width", "channel 101"}},
		{"response after its decay", "{exponentials: 1}", files(counts, nil, late.response()), []string{"does not overlap", "shift"}},
		{"response long before", "{range: [0 ns, 3 ns]}", files(counts, nil, early.response()), []string{"does not overlap"}},
		{"response without counts", "{exponentials: 1}", files(counts, nil, make([]float64, 512)), []string{"the response cannot be used"}},
		{"record longer than the period", "{period: 3 ns}", raw(counts), []string{"every 3 ns", "6.2464 ns long"}},
		{"range beside the decay", "{range: [9 ns, 12 ns]}", raw(counts), []string{"no channel", "6.234"}},
		{"range too short", "{range: [1.4 ns, 1.46 ns]}", raw(counts), []string{"too few channels"}},
		{"no counts", "{exponentials: 1}", raw(make([]float64, 512)), []string{"no counts"}},
		{"too many fixed", "{fixed: {tau_1: 1 ns, tau_2: 2 ns}}", raw(counts), []string{"2 lifetimes are fixed"}},
		{"scatter without response", "{scatter: free}", files(counts, nil, nil), []string{"scattered light", "response"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			it := runStudy(t, c.set, "", c.raw)["fit sample=one"]
			if it.State != pipeline.Failed {
				t.Fatalf("%v %v, want it to be refused", it.State, it.Flags)
			}
			for _, want := range c.want {
				if !strings.Contains(it.Message, want) {
					t.Errorf("the message lacks %q: %s", want, it.Message)
				}
			}
		})
	}
}

// Settings that cannot be are found before any file is read.
func TestFitSettings(t *testing.T) {
	for _, c := range []struct {
		key  string
		tau  float64
		want string
	}{{"tau_1", 2, ""}, {"tau", 2, "no parameter tau"}, {"shift", 2, "settings of their own"}, {"tau_7", 2, "at most 4"}, {"tau_2", 0, "above 0"}} {
		s := fitSettings{Fixed: pipeline.Map[pipeline.Quantity]{{Key: c.key, Value: pipeline.Quantity{Value: c.tau}}}}
		err := s.Validate()
		if c.want == "" && err != nil || c.want != "" && (err == nil || !strings.Contains(err.Error(), c.want)) {
			t.Errorf("%s = %g: %v, want %q", c.key, c.tau, err, c.want)
		}
	}
}

// A period that is not known exactly moves the lifetimes: the part is half the difference of fits at either end.
func TestFitKindParts(t *testing.T) {
	d := truth{n: 1000, mu: 100, sigma: 4, tau: []float64{600}, amp: []float64{1000}, shift: 1.5, background: 3, period: 1100}
	r := rand.New(rand.NewPCG(33, 1))
	counts := d.draw(r, d.means())
	head := fmt.Sprintf("constants:\n  gap: %.4f(500) ns\n", 1100*channel)
	it := runStudy(t, "{exponentials: 1, period: gap}", head, files(counts, nil, d.response()))["fit sample=one"]
	if it.table == nil {
		t.Fatal(it.Message)
	}
	p := d.problem(counts)
	var w Workspace
	var s Solution
	at := func(change float64) float64 {
		p.Period = 1100 + change/channel
		if err := w.Fit(&s, p, nil); err != nil {
			t.Fatal(err)
		}
		return s.Numbers(p, channel)[0].Value
	}
	near(t, "tau_1", it.number(t, "tau_1"), at(0), 1e-6)
	near(t, "part", it.number(t, "tau_1@constants.gap"), (at(0.05)-at(-0.05))/2, 1e-3)
}

// numberKind gives each sample the number that the sheet has for it.
var numberKind = pipeline.Kind{
	Name: "test.number", Revision: 1, Doc: "gives a number of the sheet", Formula: "none", Source: "common practice, no source", Methods: "none",
	Ports: []pipeline.Port{{Name: "sample", Lead: true, Sheet: true, Forms: []pipeline.Form{pipeline.Values}, Doc: "the sheet"}},
	Outputs: []pipeline.Output{{Name: "choice", Doc: "the number", Form: pipeline.Values, Columns: []pipeline.Column{
		{Name: "number", Unit: "1", Optional: true, Doc: "the number"}}}},
	Settings: func() any { return &numberSettings{} },
	Run: func(_ context.Context, call *pipeline.Call) (pipeline.Choices, error) {
		for i := range call.Leads {
			n := call.Number(call.Settings.(*numberSettings).Number, i)
			t := &table.Table{}
			t.AddFloatValid("number", "1", []float64{n.Value}, []bool{n.Known})
			call.Give("choice", i, t)
		}
		return nil, nil
	},
}

type numberSettings struct {
	Number pipeline.Field `set:"number" unit:"1" null:"ok" doc:"the number"`
}

// The number of exponentials may come from another stage, sample by sample.
func TestFitKindChoice(t *testing.T) {
	r := rand.New(rand.NewPCG(34, 1))
	single := truth{n: 1024, mu: 120, sigma: 5, tau: []float64{120}, amp: []float64{3000}, shift: 2.3, background: 4}
	raw := files(single.draw(r, single.means()), ordinary.draw(r, ordinary.means()), ordinary.response())
	items := runWith(t, "sample,number [1]\none,1\ntwo,2\n", ", choice: terms", "{cycles: 1e9}", "", raw)
	one, two := items["fit sample=one"], items["fit sample=two"]
	if one.table == nil || two.table == nil {
		t.Fatal(one.Message, two.Message)
	}
	if one.table.Col("tau_2") != nil || two.table.Col("tau_2") == nil || two.table.Col("tau_3") != nil {
		t.Errorf("lifetimes %v and %v, want 1 and 2 of them", one.table.Names(), two.table.Names())
	}
	items = runWith(t, "sample,number [1]\none,9\ntwo,\n", ", choice: terms", "{cycles: 1e9}", "", raw)
	for name, want := range map[string]string{"one": "is 9; expected 1 to 4", "two": "has no value"} {
		if it := items["fit sample="+name]; it.State != pipeline.Failed || !strings.Contains(it.Message, want) {
			t.Errorf("%s: %v, %q, want a refusal with %q", name, it.State, it.Message, want)
		}
	}
}

// The noise of a response of few counts is part of u; where it is not known that is said.
func TestFitKindResponseNoise(t *testing.T) {
	r := rand.New(rand.NewPCG(35, 1))
	counts := ordinary.draw(r, ordinary.means())
	sure, faint := ordinary.response(), make([]float64, ordinary.n)
	scaled := make([]float64, ordinary.n)
	for k, y := range sure {
		faint[k] = poisson(r, y/1e6+0.5)
		scaled[k] = y * 0.3
	}
	fit := func(response []float64) item {
		return runStudy(t, "{exponentials: 2}", "", files(counts, nil, response))["fit sample=one"]
	}
	a, b, c := fit(sure), fit(faint), fit(scaled)
	for _, name := range []string{"shift", "background", "tau_2"} {
		if x, y := a.number(t, "u_"+name), b.number(t, "u_"+name); !(y > 1.02*x) {
			t.Errorf("u_%s = %g with a response of few counts, %g with one of many", name, y, x)
		}
	}
	if x, y := a.number(t, "u_tau_1"), c.number(t, "u_tau_1"); math.Abs(x/y-1) > 1e-3 {
		t.Errorf("u_tau_1 = %g and, with a scaled response, %g", x, y)
	}
	if !strings.Contains(fmt.Sprint(c.Flags), "its noise is not in u") || strings.Contains(fmt.Sprint(a.Flags, b.Flags), "noise") {
		t.Errorf("remarks %v, %v and %v", a.Flags, b.Flags, c.Flags)
	}
}

package pipeline_test

import (
	"context"
	"fmt"
	"maps"
	"slices"
	"strings"
	"testing"

	"fascicle/catalog"
	"fascicle/pipeline"
	"fascicle/pipeline/formula"
	"fascicle/pipeline/table"

	"github.com/google/go-cmp/cmp"
)

// The kinds of this file say what reached them: which partners, numbers and groups.

var aCurve = []pipeline.Form{pipeline.Curve}

func y0(in *pipeline.Input) float64 { return in.Table.Floats("y")[0] }

func numbers(pairs ...any) *table.Table {
	t := &table.Table{}
	for i := 0; i < len(pairs); i += 2 {
		t.AddFloat(pairs[i].(string), "1", []float64{pairs[i+1].(float64)})
	}
	return t
}

func declare(names ...string) (out []pipeline.Column) {
	for _, n := range names {
		out = append(out, pipeline.Column{Name: n, Unit: "1"})
	}
	return out
}

type meetSettings struct {
	Factor pipeline.Field `set:"factor" unit:"1" default:"1" above:"0" max:"100" also:"with" doc:"factor, also of with"`
}

// meet says whom each lead item met at the port `with`, by adding up their first values: values are powers of ten, so that sums tell.
func meet(change func(k *pipeline.Kind)) *pipeline.Kind {
	k := &pipeline.Kind{
		Name: "t.meet", Revision: 1, Doc: "meets partners", Source: "common practice, no source",
		Ports: []pipeline.Port{
			{Name: "curve", Lead: true, Doc: "curve", Forms: aCurve},
			{Name: "with", Doc: "partner", Forms: aCurve, Optional: true},
		},
		Outputs:  []pipeline.Output{{Name: "met", Doc: "whom it met", Form: pipeline.Values, Columns: declare("own", "with", "factor", "theirs")}},
		Settings: func() any { return &meetSettings{} },
		Run: func(_ context.Context, call *pipeline.Call) (pipeline.Choices, error) {
			f := call.Settings.(*meetSettings).Factor
			for i, l := range call.Leads {
				sum, theirs := 0.0, 0.0
				for k, p := range call.Partners("with", i) {
					sum += y0(p)
					theirs += call.PartnerNumber(f, "with", i, k).Value
				}
				call.Give("met", i, numbers("own", y0(l), "with", sum, "factor", call.Number(f, i).Value, "theirs", theirs))
			}
			return nil, nil
		},
	}
	if change != nil {
		change(k)
	}
	return k
}

// dated is an import whose header may hold a date `taken`, a number `dose` in mmol/L and a text `day`.
type datedSettings struct {
	Files string         `set:"files" key:"-" doc:"pattern of the files"`
	Taken bool           `set:"taken" default:"false" doc:"files say when they were taken"`
	Dose  bool           `set:"dose" default:"false" doc:"files say their dose"`
	Day   bool           `set:"day" default:"false" doc:"files say their day"`
	Gain  pipeline.Field `set:"gain" unit:"1" default:"1" above:"0" doc:"factor of y"`
}

func (s *datedSettings) FilesPattern() string { return s.Files }

func (s *datedSettings) Brings() ([]pipeline.Brought, error) {
	out, err := (&readSettings{Files: s.Files}).Brings()
	if s.Taken {
		out = append(out, pipeline.Brought{Name: "taken", Sort: formula.Date, Where: "header"})
	}
	if s.Dose {
		unit, _ := catalog.ParseUnit("mmol/L")
		out = append(out, pipeline.Brought{Name: "dose", Sort: formula.Number, Unit: unit, HasUnit: true, Where: "header"})
	}
	if s.Day {
		out = append(out, pipeline.Brought{Name: "day", Sort: formula.Text, Where: "header"})
	}
	return out, err
}

// dated reads files of a first line with y, then lines `name: value`.
func dated() *pipeline.Kind {
	k := reader(func(_ context.Context, call *pipeline.Call) (pipeline.Choices, error) {
		s := call.Settings.(*datedSettings)
		var y float64
		head := map[string]string{}
		for i, l := range strings.Split(strings.TrimSpace(string(call.File.Data)), "\n") {
			if k, v, ok := strings.Cut(l, ":"); ok {
				head[k] = strings.TrimSpace(v)
			} else if _, err := fmt.Sscan(l, &y); i > 0 || err != nil {
				return nil, fmt.Errorf("line %d: %q is no number", i+1, l)
			}
		}
		var fields []pipeline.Captured
		for _, b := range []struct {
			name string
			is   bool
		}{{"taken", s.Taken}, {"dose", s.Dose}, {"day", s.Day}} {
			if b.is {
				fields = append(fields, pipeline.Captured{Name: b.name, Text: head[b.name]})
			}
		}
		return nil, call.Stream("items", fields, xy(1, y*call.Number(s.Gain, 0).Value))
	})
	k.Name = "t.dated"
	k.Settings = func() any { return &datedSettings{} }
	return k
}

// meeting runs a study given by its sheet, its raw files (their first line is y) and its graph.
func meeting(t *testing.T, kinds []*pipeline.Kind, sheet string, files map[string]string, graph string) *ran {
	t.Helper()
	return run(t, meetingDir(t, sheet, files, graph), kinds, pipeline.Options{Jobs: 2})
}

func meetingDir(t *testing.T, sheet string, files map[string]string, graph string) string {
	t.Helper()
	dir := quickDir(t)
	write(t, dir, "samples.csv", sheet)
	for _, name := range slices.Sorted(maps.Keys(files)) {
		write(t, dir, "raw/"+name, files[name])
	}
	write(t, dir, "study.yaml", "study: who meets whom\nsamples: samples.csv\ngraph:\n"+graph)
	return dir
}

// found gives a number of each item of a stage, or, in place of the number, its state and message.
func found(t *testing.T, r *ran, stage, name string) map[string]string {
	t.Helper()
	out := map[string]string{}
	for id, m := range r.messages {
		if item, ok := strings.CutPrefix(id, stage+" "); ok && m != "" {
			out[item] = m
		}
	}
	values, err := r.ReadValues(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	for _, v := range values {
		if v.Stage == stage && v.Name == name {
			if v.Value == nil {
				out[v.Item] = v.Text
				continue
			}
			out[v.Item] = fmt.Sprint(*v.Value)
		}
	}
	return out
}

// says holds results against what they should be: a number, or `…` and parts of a message.
func says(t *testing.T, got, want map[string]string) {
	t.Helper()
	for item, w := range want {
		g, ok := got[item]
		parts, message := strings.CutPrefix(w, "…")
		switch {
		case !ok:
			t.Errorf("there is no %s: %v", item, got)
		case !message && g != w:
			t.Errorf("%s: %q, want %q", item, g, w)
		case message:
			for _, part := range strings.Split(parts, "…") {
				if !strings.Contains(g, part) {
					t.Errorf("%s says %q, which lacks %q", item, g, part)
				}
			}
		}
	}
	if len(got) != len(want) {
		t.Errorf("items %v, want %v", slices.Sorted(maps.Keys(got)), slices.Sorted(maps.Keys(want)))
	}
}

func TestNearestByDate(t *testing.T) {
	sheet := `sample,role,taken,band
L1,mixture,2031-03-05,a
L2,mixture,2031-03-03,b
L3,mixture,,a
C1,cal,2031-03-01,a
C2,cal,2031-03-04,a
C3,cal,2031-03-07,a
C4,cal,2031-03-03,b
`
	files := map[string]string{"L1.csv": "1", "L2.csv": "1", "L3.csv": "1", "C1.csv": "1", "C2.csv": "10", "C3.csv": "100", "C4.csv": "1000"}
	const head = `  curves: {kind: t.dated, set: {files: raw/<sample>.csv}}
  mets: {kind: t.meet, from: {curve: {stage: curves, where: role == "mixture"}, with: {stage: curves, where: role == "cal", `
	for _, c := range []struct {
		name, ref string
		sheet     func(s string) string
		want      map[string]string
	}{
		{name: "before", ref: "nearest: {taken: before}", want: map[string]string{"sample=L1": "10", "sample=L2": "1000"}},
		{name: "after", ref: "nearest: {taken: after}", want: map[string]string{"sample=L1": "100", "sample=L2": "1000"}},
		{name: "either", ref: "nearest: {taken: either}", want: map[string]string{"sample=L1": "10", "sample=L2": "1000"}},
		{name: "after a match", ref: "match: [band], nearest: {taken: either}", want: map[string]string{"sample=L1": "10", "sample=L2": "1000"}},
		{name: "nothing that early", ref: "nearest: {taken: before}", sheet: func(s string) string { return strings.Replace(s, "L1,mixture,2031-03-05", "L1,mixture,2031-02-28", 1) },
			want: map[string]string{"sample=L1": "…no partner at port `with`…taken before…raw/<sample>.csv", "sample=L2": "1000"}},
		{name: "nothing that late", ref: "match: [band], nearest: {taken: after}", sheet: func(s string) string { return strings.Replace(s, "L1,mixture,2031-03-05", "L1,mixture,2031-03-08", 1) },
			want: map[string]string{"sample=L1": "…no partner at port `with`…band = a…taken after", "sample=L2": "1000"}},
		{name: "as far before as after", ref: "match: [band], nearest: {taken: either}", sheet: func(s string) string { return strings.Replace(s, "C2,cal,2031-03-04", "C2,cal,2031-03-03", 1) },
			want: map[string]string{"sample=L1": "…2 partners at port `with`…taken either…C2.csv…C3.csv", "sample=L2": "1000"}},
		{name: "two of one day", ref: "nearest: {taken: before}", sheet: func(s string) string { return strings.Replace(s, "C1,cal,2031-03-01", "C1,cal,2031-03-04", 1) },
			want: map[string]string{"sample=L1": "…2 partners at port `with`…C1.csv…C2.csv", "sample=L2": "1000"}},
		{name: "by time of day", ref: "match: [band], nearest: {taken: either}", sheet: func(s string) string {
			return strings.NewReplacer("L1,mixture,2031-03-05", "L1,mixture,2031-03-05T12:00", "C2,cal,2031-03-04", "C2,cal,2031-03-05T11:59", "C3,cal,2031-03-07", "C3,cal,2031-03-05T12:00:30").Replace(s)
		}, want: map[string]string{"sample=L1": "100", "sample=L2": "1000"}},
		{name: "a calibration without a date is none", ref: "match: [band], nearest: {taken: either}", sheet: func(s string) string { return strings.Replace(s, "C2,cal,2031-03-04", "C2,cal,", 1) },
			want: map[string]string{"sample=L1": "100", "sample=L2": "1000"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := sheet
			if c.sheet != nil {
				if s = c.sheet(sheet); s == sheet {
					t.Fatal("the sheet was not changed")
				}
			}
			r := meeting(t, []*pipeline.Kind{dated(), meet(nil)}, s, files, head+c.ref+"}}}\n")
			c.want["sample=L3"] = "…L3…no value in field `taken`…look at column taken at samples.csv:4:12"
			says(t, found(t, r, "mets", "with"), c.want)
		})
	}
}

func TestDatesThatFilesSay(t *testing.T) {
	files := map[string]string{"L1.csv": "1\ntaken: 2031-03-05", "C1.csv": "10\ntaken: 2031-03-04", "C2.csv": "100\ntaken: 5 March 2031", "C3.csv": "1000\ntaken: "}
	graph := `  curves: {kind: t.dated, set: {files: raw/<sample>.csv, taken: true}}
  mets: {kind: t.meet, from: {curve: {stage: curves, where: role == "mixture"}, with: {stage: curves, where: role == "cal", nearest: {taken: either}}}}
`
	sheet := "sample,role\nL1,mixture\nC1,cal\nC2,cal\nC3,cal\n"
	r := meeting(t, []*pipeline.Kind{dated(), meet(nil)}, sheet, files, graph)
	says(t, found(t, r, "curves", ""), map[string]string{"sample=C2": "…raw/C2.csv…`taken`…5 March 2031…2031-03-04"})
	says(t, found(t, r, "mets", "with"), map[string]string{"sample=L1": "10"})
}

func TestPairing(t *testing.T) {
	const curves = "  curves: {kind: t.dated, set: {files: raw/<day>/<sample>.csv}}\n"
	sheet := `sample,role,salt [mol/L],level [mmol/L],kind
L1,mixture,0.5,7,x
L2,mixture,0.25,8,y
S1,std,0.007,500,x
S2,std,0.008,0.25,y
S3,cert,,,
`
	files := map[string]string{"d1/L1.csv": "1", "d2/L2.csv": "2", "d1/S1.csv": "10", "d2/S2.csv": "100", "d9/S3.csv": "1000"}
	lead := `curve: {stage: curves, where: role == "mixture"}`
	many := func(k *pipeline.Kind) { k.Ports[1].Many = true }
	both := map[string]string{"day=d1,sample=L1": "10", "day=d2,sample=L2": "100"}
	for _, c := range []struct {
		name, graph string
		kind        func(*pipeline.Kind)
		files       func(map[string]string)
		want        map[string]string
	}{
		{name: "match", graph: `mets: {kind: t.meet, from: {` + lead + `, with: {stage: curves, where: role == "std", match: [day]}}}`, want: both},
		{name: "match of two fields", graph: `mets: {kind: t.meet, from: {` + lead + `, with: {stage: curves, where: role == "std", match: [day, kind]}}}`, want: both},
		{name: "match in other units", graph: `mets: {kind: t.meet, from: {` + lead + `, with: {stage: curves, where: role == "std", match: {salt: level}}}}`, want: both},
		{name: "match of equal digits in other units", graph: `mets: {kind: t.meet, from: {` + lead + `, with: {stage: curves, where: role == "std", match: {level: salt}}}}`,
			want: map[string]string{"day=d1,sample=L1": "10", "day=d2,sample=L2": "…no partner…level = 0.25 mol/L"}},
		{name: "serves", graph: `standards: {kind: t.pass, from: {item: {stage: curves, where: role == "std"}}, serves: [day]}
  mets: {kind: t.meet, from: {` + lead + `, with: standards}}`, want: both},
		{name: "match goes before serves", graph: `standards: {kind: t.pass, from: {item: {stage: curves, where: role == "std"}}, serves: [sample]}
  mets: {kind: t.meet, from: {` + lead + `, with: {stage: standards, match: [day]}}}`, want: both},
		{name: "only", graph: `mets: {kind: t.meet, from: {` + lead + `, with: {stage: curves, where: role == "cert", only: true}}}`,
			want: map[string]string{"day=d1,sample=L1": "1000", "day=d2,sample=L2": "1000"}},
		{name: "only, where there are two", graph: `mets: {kind: t.meet, from: {` + lead + `, with: {stage: curves, where: role == "std", only: true}}}`,
			want: map[string]string{"day=d1,sample=L1": "…2 partners…S1.csv…S2.csv", "day=d2,sample=L2": "…2 partners"}},
		{name: "only, where there is none", graph: `mets: {kind: t.meet, from: {` + lead + `, with: {stage: curves, where: role == "none", only: true}}}`,
			want: map[string]string{"day=d1,sample=L1": "…no partner…raw/<day>/<sample>.csv", "day=d2,sample=L2": "…no partner"}},
		{name: "an optional port that is not fed", graph: `mets: {kind: t.meet, from: {` + lead + `}}`, want: map[string]string{"day=d1,sample=L1": "0", "day=d2,sample=L2": "0"}},
		{name: "a list of references, each with its pairing", graph: `mets: {kind: t.meet, from: {` + lead + `, with: [{stage: curves, where: sample == "S1", match: [day]}, {stage: curves, where: sample == "S2", match: [kind]}]}}`, want: both},
		{name: "a list of references that both find one", graph: `mets: {kind: t.meet, from: {` + lead + `, with: [{stage: curves, where: role == "std", match: [day]}, {stage: curves, where: role == "cert", only: true}]}}`,
			want: map[string]string{"day=d1,sample=L1": "…2 partners…S1.csv…S3.csv", "day=d2,sample=L2": "…2 partners"}},
		{name: "many partners of a list of references", kind: many, graph: `mets: {kind: t.meet, from: {` + lead + `, with: [{stage: curves, where: role == "std", match: [day]}, {stage: curves, where: role == "cert", only: true}]}}`,
			want: map[string]string{"day=d1,sample=L1": "1010", "day=d2,sample=L2": "1100"}},
		{name: "all", kind: many, graph: `mets: {kind: t.meet, from: {` + lead + `, with: {stage: curves, where: role == "std", all: true}}}`,
			want: map[string]string{"day=d1,sample=L1": "110", "day=d2,sample=L2": "110"}},
		{name: "many, but none", kind: many, graph: `mets: {kind: t.meet, from: {` + lead + `, with: {stage: curves, where: role == "cert", match: [day]}}}`,
			want: map[string]string{"day=d1,sample=L1": "…no partner…day = d1", "day=d2,sample=L2": "…no partner"}},
		{name: "a partner that failed", files: func(f map[string]string) { f["d1/S1.csv"] = "torn" }, graph: `mets: {kind: t.meet, from: {` + lead + `, with: {stage: curves, where: role == "std", match: [day]}}}`,
			want: map[string]string{"day=d1,sample=L1": "…torn", "day=d2,sample=L2": "100"}},
		{name: "a group that agrees", graph: `mets: {kind: t.meet, by: all, from: {` + lead + `, with: {stage: curves, where: role == "cert", only: true}}}`,
			want: map[string]string{"day=d1,sample=L1": "1000", "day=d2,sample=L2": "1000"}},
		{name: "a group that does not agree", graph: `mets: {kind: t.meet, by: all, from: {` + lead + `, with: {stage: curves, where: role == "std", match: [day]}}}`,
			want: map[string]string{"day=d1,sample=L1": "…taken together…different partners…S1.csv…S2.csv", "day=d2,sample=L2": "…taken together"}},
		{name: "a group at a port for many", kind: many, graph: `mets: {kind: t.meet, by: all, from: {` + lead + `, with: {stage: curves, where: role == "std", match: [day]}}}`, want: both},
	} {
		t.Run(c.name, func(t *testing.T) {
			f := maps.Clone(files)
			if c.files != nil {
				c.files(f)
			}
			r := meeting(t, []*pipeline.Kind{dated(), meet(c.kind), pass()}, sheet, f, curves+"  "+c.graph+"\n")
			says(t, found(t, r, "mets", "with"), c.want)
		})
	}
}

// pass gives its items as they are.
func pass() *pipeline.Kind {
	return &pipeline.Kind{
		Name: "t.pass", Revision: 1, Doc: "passes on", Source: "common practice, no source",
		Ports:   []pipeline.Port{{Name: "item", Lead: true, Doc: "item", Forms: aCurve}},
		Outputs: []pipeline.Output{{Name: "same", Doc: "same", Form: pipeline.Curve, Like: "item"}},
		Run: func(_ context.Context, call *pipeline.Call) (pipeline.Choices, error) {
			for i, l := range call.Leads {
				call.Give("same", i, l.Table)
			}
			return nil, nil
		},
	}
}

// checker finds an instrument beyond its notice from 2 and beyond its tolerance from 3.
func checker() *pipeline.Kind {
	return &pipeline.Kind{
		Name: "t.check", Revision: 1, Doc: "checks", Source: "common practice, no source", Checks: true,
		Ports:   []pipeline.Port{{Name: "curve", Lead: true, Doc: "curve", Forms: aCurve}},
		Outputs: []pipeline.Output{{Name: "check", Doc: "check", Form: pipeline.Values, Columns: declare("off")}},
		Run: func(_ context.Context, call *pipeline.Call) (pipeline.Choices, error) {
			for i, l := range call.Leads {
				y := y0(l)
				if y >= 3 {
					call.Flag(pipeline.Tolerance, "check", i, "off by %g", y)
				} else if y >= 2 {
					call.Flag(pipeline.Notice, "check", i, "off by %g", y)
				}
				call.Give("check", i, numbers("off", y))
			}
			return nil, nil
		},
	}
}

func TestTrusts(t *testing.T) {
	sheet := "sample\nA\nB\nC\nD\nE\n"
	files := map[string]string{
		"d1/A.csv": "1", "d2/B.csv": "2", "d3/C.csv": "3", "d4/D.csv": "4", "d5/E.csv": "5",
		"lamp_d1.dat": "1", "lamp_d2.dat": "2", "lamp_d3.dat": "3", "lamp_d4.dat": "torn", // none of d5
	}
	lamps := `  lamps: {kind: t.dated, set: {files: raw/lamp_<day>.dat}}
  scale: {kind: t.check, from: {curve: lamps}, serves: [day]}
`
	want := map[string]string{
		"day=d1,sample=A": "1", "day=d2,sample=B": "2",
		"day=d3,sample=C": "…scale day=d3…out of tolerance…off by 3",
		"day=d4,sample=D": "…lamps day=d4 failed…torn",
		"day=d5,sample=E": "…no check in stage scale…day = d5",
	}
	for _, c := range []struct{ name, graph, stage, trusting string }{
		{"a stage of a kind", `  curves: {kind: t.dated, set: {files: raw/<day>/<sample>.csv}}
  mets: {kind: t.meet, from: {curve: curves}, trusts: [scale]}
`, "mets", "mets"},
		{"an import", `  curves: {kind: t.dated, set: {files: raw/<day>/<sample>.csv}, trusts: [scale]}
  mets: {kind: t.meet, from: {curve: curves}}
`, "mets", "curves"},
		{"stages taken together", `  curves: {kind: t.dated, set: {files: raw/<day>/<sample>.csv}}
  more: {kind: t.dated, set: {files: raw/none/<day>/<sample>.csv}}
  both: {items: [curves, more], trusts: [scale]}
  mets: {kind: t.meet, from: {curve: both}}
`, "mets", "both"},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := meeting(t, []*pipeline.Kind{dated(), checker(), meet(nil)}, sheet, files, lamps+c.graph)
			says(t, found(t, r, c.stage, "own"), want)
			// beyond its notice, what trusts the check is flagged, and nothing else
			r.Complete()
			flagged := map[string]string{}
			for _, s := range r.Stages {
				for _, it := range s.Items {
					for _, f := range it.Flags {
						if s.Name == c.trusting {
							flagged[it.Name] += f.Level + ": " + f.Text
						}
					}
				}
			}
			says(t, flagged, map[string]string{"day=d2,sample=B": "…flag: …scale day=d2…beyond its notice…off by 2"})
		})
	}
}

func TestStagesTakenTogether(t *testing.T) {
	sheet := "sample\nA\nB\n"
	files := map[string]string{"old/d1/A.csv": "1", "new/d1/B.csv": "10", "blank/d1/S.dat": "100"}
	graph := `  old: {kind: t.dated, set: {files: raw/old/<day>/<sample>.csv}}
  new: {kind: t.dated, set: {files: raw/new/<day>/<sample>.csv}}
  both: {items: [old, new]}
  blanks: {kind: t.dated, set: {files: raw/blank/<day>/S.dat}, serves: [day]}
  mets: {kind: t.meet, from: {curve: both, with: blanks}}
`
	r := meeting(t, []*pipeline.Kind{dated(), meet(nil)}, sheet, files, graph)
	says(t, found(t, r, "mets", "own"), map[string]string{"day=d1,sample=A": "1", "day=d1,sample=B": "10"})
	says(t, found(t, r, "mets", "with"), map[string]string{"day=d1,sample=A": "100", "day=d1,sample=B": "100"})

	// the same name from both is refused where it would be mistaken
	files["new/d1/A.csv"] = "1000"
	r = meeting(t, []*pipeline.Kind{dated(), meet(nil)}, sheet, files, graph)
	says(t, found(t, r, "mets", "own"), map[string]string{"day=d1,sample=A": "…both called day=d1,sample=A…raw/old/d1/A.csv…raw/new/d1/A.csv", "day=d1,sample=B": "10"})

	// together they serve as partners
	files = map[string]string{"old/d1/A.csv": "1", "new/d2/B.csv": "10", "blank/d1/A.dat": "100", "blank/d2/B.dat": "1000"}
	graph = `  old: {kind: t.dated, set: {files: raw/old/<day>/<sample>.csv}}
  new: {kind: t.dated, set: {files: raw/new/<day>/<sample>.csv}}
  both: {items: [old, new], serves: [day]}
  blanks: {kind: t.dated, set: {files: raw/blank/<day>/<sample>.dat}}
  mets: {kind: t.meet, from: {curve: blanks, with: both}}
`
	r = meeting(t, []*pipeline.Kind{dated(), meet(nil)}, sheet, files, graph)
	says(t, found(t, r, "mets", "with"), map[string]string{"day=d1,sample=A": "1", "day=d2,sample=B": "10"})
}

// lister takes curves together and gives an output for each and one for all.
func lister() *pipeline.Kind {
	return &pipeline.Kind{
		Name: "t.list", Revision: 1, Doc: "takes together", Source: "common practice, no source", By: "list",
		Ports: []pipeline.Port{{Name: "curve", Lead: true, Doc: "curve", Forms: aCurve}},
		Outputs: []pipeline.Output{
			{Name: "off", Doc: "distance from the mean", Form: pipeline.Values, Columns: declare("off")},
			{Name: "mean", Doc: "mean", Per: pipeline.PerGroup, Form: pipeline.Values, Columns: declare("mean", "n")},
		},
		Run: func(_ context.Context, call *pipeline.Call) (pipeline.Choices, error) {
			mean := 0.0
			for _, l := range call.Leads {
				mean += y0(l) / float64(len(call.Leads))
			}
			for i, l := range call.Leads {
				call.Give("off", i, numbers("off", y0(l)-mean))
			}
			call.Give("mean", -1, numbers("mean", mean, "n", float64(len(call.Leads))))
			return nil, nil
		},
	}
}

func TestGroupsByList(t *testing.T) {
	sheet := `sample,chain,salt [mmol/L],taken
A,long,10,2031-03-04
B,long,10,2031-03-02
C,long,20,2031-03-03
D,short,10,2031-03-01
E,,10,2031-03-01
F,short,20,2031-03-01
`
	files := map[string]string{"A.csv": "1", "B.csv": "3", "C.csv": "5", "D.csv": "7", "E.csv": "9", "F.csv": "torn"}
	r := meeting(t, []*pipeline.Kind{dated(), lister()}, sheet, files, `  curves: {kind: t.dated, set: {files: raw/<sample>.csv}}
  lists: {kind: t.list, from: {curve: curves}, by: [chain, salt]}
`)
	says(t, found(t, r, "lists", "mean"), map[string]string{"chain=long,salt=10": "2", "chain=long,salt=20": "5", "chain=short,salt=10": "7",
		"chain=short,salt=20": "…curves sample=F failed…torn", "sample=E": "…E…no value in field `chain`…look at column chain at samples.csv:6:3", "sample=F": "…torn"})
	says(t, found(t, r, "lists", "off"), map[string]string{"sample=A": "-1", "sample=B": "1", "sample=C": "0", "sample=D": "0",
		"sample=F": "…torn", "sample=E": "…no value in field `chain`", "chain=short,salt=20": "…torn"})
	// what a group agrees on stays with it, and the first of dates
	r.Complete()
	for _, s := range r.Stages {
		for _, it := range s.Items {
			if it.Stage == "lists" && it.Output == "mean" && it.Name == "chain=long,salt=10" {
				want := []pipeline.NamedField{{Name: "chain", Text: "long"}, {Name: "salt", Text: "10 mmol/L"}, {Name: "taken", Text: "2031-03-02"}}
				if d := cmp.Diff(want, it.Fields); d != "" {
					t.Error(d)
				}
				if it.Sample != "" || it.Series != "chain=long,salt=10" {
					t.Errorf("sample %q, series %q", it.Sample, it.Series)
				}
			}
		}
	}
}

// agreer gathers values by sample: how many there are, their sum, and what is missing.
func agreer(per pipeline.Per) *pipeline.Kind {
	return &pipeline.Kind{
		Name: "t.agree", Revision: 1, Doc: "gathers", Source: "common practice, no source", By: "sample",
		Ports:   []pipeline.Port{{Name: "methods", Lead: true, Gather: true, Doc: "values", Forms: []pipeline.Form{pipeline.Values}}},
		Outputs: []pipeline.Output{{Name: "agreement", Doc: "agreement", Per: per, Form: pipeline.Values, Columns: append(declare("n", "sum"), pipeline.Column{Name: "lost", Text: true})}},
		Run: func(_ context.Context, call *pipeline.Call) (pipeline.Choices, error) {
			sum := 0.0
			for _, l := range call.Leads {
				sum += l.Table.Floats("own")[0]
			}
			var lost []string
			for _, m := range call.Missing {
				lost = append(lost, fmt.Sprintf("%s %s %s: %s", m.Stage, m.Sample, m.State, m.Reason))
			}
			give := func(lead int) {
				t := numbers("n", float64(len(call.Leads)), "sum", sum)
				t.AddText("lost", []string{strings.Join(lost, "; ")})
				call.Give("agreement", lead, t)
			}
			if per == pipeline.PerGroup {
				give(-1)
				return nil, nil
			}
			for i := range call.Leads {
				give(i)
			}
			return nil, nil
		},
	}
}

func TestLeadingGather(t *testing.T) {
	sheet := "sample\nA\nB\nC\n"
	files := map[string]string{"one/A.csv": "1", "two/A.csv": "10", "one/B.csv": "100", "two/B.csv": "torn", "one/C.csv": "torn", "two/C.csv": "worn"}
	graph := `  one: {kind: t.dated, set: {files: raw/one/<sample>.csv}}
  two: {kind: t.dated, set: {files: raw/two/<sample>.csv}}
  first: {kind: t.meet, from: {curve: one}}
  second: {kind: t.meet, from: {curve: two}}
  agreement: {kind: t.agree, from: {methods: [first, second]}}
`
	r := meeting(t, []*pipeline.Kind{dated(), meet(nil), agreer(pipeline.PerGroup)}, sheet, files, graph)
	says(t, found(t, r, "agreement", "sum"), map[string]string{"sample=A": "11", "sample=B": "100", "sample=C": "…nothing is left…torn"})
	says(t, found(t, r, "agreement", "lost"), map[string]string{"sample=A": "", "sample=B": "…second B blocked…torn", "sample=C": "…nothing is left"})

	// per lead item: a place for each, also where nothing is left. Items of two stages may not share a name then.
	graph = `  one: {kind: t.dated, set: {files: raw/<which>/<sample>.csv}}
  first: {kind: t.meet, from: {curve: one}}
  agreement: {kind: t.agree, from: {methods: first}}
`
	r = meeting(t, []*pipeline.Kind{dated(), meet(nil), agreer(pipeline.PerLead)}, sheet, files, graph)
	says(t, found(t, r, "agreement", "n"), map[string]string{"which=one,sample=A": "2", "which=two,sample=A": "2", "which=one,sample=B": "1",
		"which=one,sample=C": "…nothing is left", "which=two,sample=C": "…nothing is left"})
}

func TestFieldSettings(t *testing.T) {
	sheet := `sample,role,gain,kind
A,mixture,2,x
B,mixture,,x
C,mixture,0,x
D,mixture,-1,x
E,mixture,101,x
F,mixture,100,x
W,std,5,x
`
	files := map[string]string{"A.csv": "1", "B.csv": "1", "C.csv": "1", "D.csv": "1", "E.csv": "1", "F.csv": "1", "W.csv": "10"}
	graph := func(read, meet string) string {
		return "  curves: {kind: t.dated, set: {files: raw/<sample>.csv" + read + `}}
  mets: {kind: t.meet, from: {curve: {stage: curves, where: role == "mixture"}, with: {stage: curves, where: role == "std", match: [kind]}}` + meet + "}\n"
	}
	kinds := []*pipeline.Kind{dated(), meet(nil)}
	t.Run("of the lead item", func(t *testing.T) {
		r := meeting(t, kinds, sheet, files, graph("", ", set: {factor: gain}"))
		says(t, found(t, r, "mets", "factor"), map[string]string{"sample=A": "2", "sample=F": "100",
			"sample=B": "…sample=B…`factor` (gain)…empty…samples.csv:3:",
			"sample=C": "…sample=C…`factor` comes out as 0…more than 0…samples.csv:4:",
			"sample=D": "…sample=D…-1…more than 0…samples.csv:5:",
			"sample=E": "…sample=E…101…at most 100…samples.csv:6:"})
	})
	t.Run("of the partner", func(t *testing.T) {
		r := meeting(t, kinds, sheet, files, graph("", ", set: {factor: gain}"))
		says(t, found(t, r, "mets", "theirs"), map[string]string{"sample=A": "5", "sample=F": "5", "sample=B": "…", "sample=C": "…", "sample=D": "…", "sample=E": "…"})
		r = meeting(t, kinds, strings.Replace(sheet, "W,std,5", "W,std,", 1), files, graph("", ", set: {factor: gain}"))
		says(t, found(t, r, "mets", "theirs"), map[string]string{"sample=A": "…sample=W…`factor`…empty…samples.csv:8:", "sample=F": "…sample=W",
			"sample=B": "…", "sample=C": "…", "sample=D": "…", "sample=E": "…"})
	})
	t.Run("of a file", func(t *testing.T) {
		r := meeting(t, kinds, sheet, files, graph(", gain: gain", ""))
		want := map[string]string{"sample=B": "…sample=B…`gain` (gain)…empty…look at column gain at samples.csv:3:11", "sample=C": "…sample=C…`gain` comes out as 0…look at column gain at samples.csv:4:11", "sample=D": "…sample=D…-1"}
		says(t, found(t, r, "curves", ""), want)
		if d := cmp.Diff([]string{"curves sample=B", "curves sample=C", "curves sample=D", "mets sample=B", "mets sample=C", "mets sample=D"}, r.blocked); d != "" {
			t.Error(d)
		}
		says(t, found(t, r, "mets", "own"), map[string]string{"sample=A": "2", "sample=E": "101", "sample=F": "100", "sample=B": "…", "sample=C": "…", "sample=D": "…"})
	})
	t.Run("of a file that is read again", func(t *testing.T) {
		dir := meetingDir(t, sheet, files, graph(", gain: gain", ""))
		a := run(t, dir, kinds, pipeline.Options{})
		b := run(t, dir, kinds, pipeline.Options{})
		if a.Digest != b.Digest || len(b.made) > 0 || !slices.Equal(a.blocked, b.blocked) {
			t.Errorf("the second run: made %v, blocked %v", b.made, b.blocked)
		}
	})
	t.Run("an expression that comes to nothing", func(t *testing.T) {
		r := meeting(t, kinds, sheet, files, graph("", ", set: {factor: 4 / gain}"))
		says(t, found(t, r, "mets", "factor"), map[string]string{"sample=A": "2", "sample=F": "0.04", "sample=B": "…empty", "sample=C": "…cannot be worked out", "sample=D": "…more than 0",
			"sample=E": fmt.Sprint(4.0 / 101)})
	})
}

func TestConditionsThatCannotBeJudged(t *testing.T) {
	sheet := "sample,role,salt [mol/L]\nA,mixture,0.1\nB,mixture,\nC,mixture,0.9\nD,,0.9\n"
	files := map[string]string{"A.csv": "1", "B.csv": "10", "C.csv": "100", "D.csv": "1000"}
	r := meeting(t, []*pipeline.Kind{dated(), meet(nil)}, sheet, files, `  curves: {kind: t.dated, set: {files: raw/<sample>.csv}}
  mets: {kind: t.meet, from: {curve: {stage: curves, where: role == "mixture" && salt > 0.5}}}
`)
	says(t, found(t, r, "mets", "own"), map[string]string{"sample=C": "100"})
	var told []string
	for _, m := range r.Remarks {
		if strings.Contains(m, "could not be judged") {
			told = append(told, m)
		}
	}
	if len(told) != 1 || !strings.Contains(told[0], "sample=B; sample=D") || !strings.Contains(told[0], "mets") || strings.Contains(told[0], "sample=A") {
		t.Errorf("the remarks: %q", r.Remarks)
	}
}

func TestFieldsThatTheSheetRepeats(t *testing.T) {
	sheet := "sample,day,dose [mol/L],taken\nA,d1,0.5,2031-03-04\nB,,,\nC,d1,0.5,2031-03-04\n"
	kinds := []*pipeline.Kind{dated(), meet(nil), lister()}
	for _, c := range []struct {
		name, read string
		files      map[string]string
		by         string
		want       map[string]string
	}{
		{name: "captured from the name", read: "files: raw/<day>/<sample>.csv", by: "day", files: map[string]string{"d1/A.csv": "1", "d3/B.csv": "3", "d2/C.csv": "5"},
			want: map[string]string{"day=d1": "1", "day=d3": "3", "day=d2": "…sample C…`day` = d1 in samples.csv…d2…raw/d2/C.csv"}},
		{name: "captured with a unit", read: `files: "raw/<dose [mmol/L]>/<sample>.csv"`, by: "dose", files: map[string]string{"500/A.csv": "1", "30/B.csv": "3", "0.5/C.csv": "5"},
			want: map[string]string{"dose=0.5": "1", "dose=0.03": "3", "dose=0.0005": "…sample C…`dose` = 0.5 mol/L in samples.csv…0.0005 mol/L"}},
		{name: "said by the file", read: "files: raw/<sample>.csv, day: true", by: "day", files: map[string]string{"A.csv": "1\nday: d1", "B.csv": "3\nday: d3", "C.csv": "5\nday: d2"},
			want: map[string]string{"day=d1": "1", "day=d3": "3", "day=d2": "…sample C…`day` = d1 in samples.csv…d2…raw/C.csv"}},
		{name: "said by the file with a unit", read: "files: raw/<sample>.csv, dose: true", by: "dose", files: map[string]string{"A.csv": "1\ndose: 500", "B.csv": "3\ndose: 30", "C.csv": "5\ndose: 0.5"},
			want: map[string]string{"dose=0.5": "1", "dose=0.03": "3", "dose=0.0005": "…sample C…`dose` = 0.5 mol/L"}},
		{name: "left empty by the file", read: "files: raw/<sample>.csv, day: true", by: "day", files: map[string]string{"A.csv": "1", "B.csv": "3\nday: d3", "C.csv": "5"},
			want: map[string]string{"day=d1": "3", "day=d3": "3"}},
		{name: "a date of the file", read: "files: raw/<sample>.csv, taken: true", by: "taken", files: map[string]string{"A.csv": "1\ntaken: 2031-03-04", "B.csv": "3\ntaken: 2031-03-01", "C.csv": "5\ntaken: 2031-03-05"},
			want: map[string]string{"taken=2031-03-04": "1", "taken=2031-03-01": "3", "taken=2031-03-05": "…sample C…`taken` = 2031-03-04…2031-03-05"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := meeting(t, kinds, sheet, c.files, "  curves: {kind: t.dated, set: {"+c.read+"}}\n  lists: {kind: t.list, from: {curve: curves}, by: "+c.by+"}\n")
			got := found(t, r, "lists", "mean")
			maps.DeleteFunc(got, func(item, _ string) bool { return strings.Contains(item, "sample=") }) // of the output `off`
			says(t, got, c.want)
		})
	}
}

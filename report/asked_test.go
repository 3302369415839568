package report

import (
	"context"
	"encoding/csv"
	"encoding/xml"
	"errors"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"fascicle/pipeline"
	"fascicle/pipeline/table"
)

const askedSheet = `sample,salt,chain,fraction,ionic [mol/L]
S1,NaCl,long,0.1,0.1
S2,NaCl,long,0.3,0.1
S3,NaCl,long,0.5,0.1
S4,CaCl2,short,0.1,0.1
S5,CaCl2,short,0.3,0.1
S6,CaCl2,short,0.5,
`

const askedStudy = `study: What is asked
samples: samples.csv
conditions:
  small: fraction < 0.4
graph:
  sizes:
    kind: asked.size
    from: {sample: samples}
    set: {fraction: fraction}
questions:
  How do sizes go with the fraction <so>?: [size, every]
  Which edges?: [sizes/steps]
figures:
  size:
    caption: Radius over the fraction & more.
    width: 85 mm
    panels:
      - {stage: sizes, x: fraction, y: radius, series: [chain, salt]}
  spare:
    caption: Answers no question.
    width: 170 mm
    panels:
      - {stage: sizes, x: fraction, y: radius, series: salt, scale: log, where: small}
      - {figure: sizes/steps, each: salt}
tables:
  every:
    caption: Every sample, 100 % of them.
    stage: sizes
    columns: [sample, salt, ionic, radius, state]
    formats: [csv, tex]
  few:
    stage: sizes
    where: ionic > 0
    columns: [salt, fraction, radius]
style:
  colours: {NaCl: 2b5c8a}
  marks: {long: open}
  names: {fraction: fraction of charge, radius: radius of gyration}
  units: {radius: Å, ionic: mmol/L}
`

// askedKind gives a radius of 2 nm·(1 + fraction) with u = 0.05 nm; S2 is a lower limit, S3 lies in an interval, S5 fails.
func askedKind() *pipeline.Kind {
	type settings struct {
		Fraction pipeline.Field `set:"fraction" unit:"1" doc:"fraction"`
	}
	return &pipeline.Kind{
		Name: "asked.size", Revision: 1, Doc: "invents radii", Formula: "r = 2 nm·(1 + f)", Source: "common practice, no source", Names: true,
		Ports: []pipeline.Port{{Name: "sample", Lead: true, Doc: "sheet", Forms: []pipeline.Form{pipeline.Values}, Sheet: true}},
		Outputs: []pipeline.Output{
			{Name: "size", Doc: "radius", Form: pipeline.Values, Columns: []pipeline.Column{{Name: "radius", Unit: "nm", U: true, Optional: true}, {Name: "state", Text: true}}},
			{Name: "curve", Doc: "steps", Form: pipeline.Curve, Columns: []pipeline.Column{{Name: "x", Unit: "1"}, {Name: "y", Unit: "1"}}},
		},
		Figures: []pipeline.Figure{{Name: "steps", Title: "Steps", Series: []pipeline.Series{{Output: "curve", X: "x", Y: "y", Role: pipeline.Points, Label: "steps"}},
			Marks: []pipeline.Mark{{Output: "size", At: "radius", Label: "radius"}}}},
		Settings: func() any { return &settings{} },
		Run: func(ctx context.Context, call *pipeline.Call) (pipeline.Choices, error) {
			s := call.Settings.(*settings)
			for i, l := range call.Leads {
				f := call.Number(s.Fraction, i).Value
				name := l.Name()
				if strings.HasSuffix(name, "S5") {
					return nil, errors.New("no light came through; clean the cell")
				}
				t := &table.Table{}
				t.AddFloat("radius", "nm", []float64{2 * (1 + f)})
				t.AddFloat("u_radius", "nm", []float64{0.05})
				bound := map[string]string{"S2": "lower", "S3": "interval"}[name[len(name)-2:]]
				if bound != "" {
					t.AddText("radius_bound", []string{bound})
				}
				if bound == "interval" {
					t.AddFloat("radius_lo", "nm", []float64{2.5})
					t.AddFloat("radius_hi", "nm", []float64{3.1})
				}
				t.AddText("state", []string{"clear_" + strconv.Itoa(i)})
				call.Give("size", i, t)
				c := &table.Table{}
				c.AddFloat("x", "1", []float64{0, 1, 2})
				c.AddFloat("y", "1", []float64{f, 1, 2})
				call.Give("curve", i, c)
			}
			return nil, nil
		},
	}
}

// askedFiles runs the study and gives the files of out/.
func askedFiles(t *testing.T, study string) map[string]string {
	t.Helper()
	dir := t.TempDir()
	for name, text := range map[string]string{"samples.csv": askedSheet, "study.yaml": study} {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o666); err != nil {
			t.Fatal(err)
		}
	}
	p, faults := pipeline.Load(dir, []*pipeline.Kind{askedKind()})
	if len(faults) > 0 {
		t.Fatal(faults)
	}
	_, err := pipeline.Run(context.Background(), p, pipeline.Options{Report: func(ctx context.Context, o *pipeline.Outcome) error {
		_, err := Write(ctx, o)
		return err
	}})
	if err != nil {
		t.Fatal(err)
	}
	return outFiles(t, dir)
}

func TestAsked(t *testing.T) {
	files := askedFiles(t, askedStudy)
	page := files["report.html"]
	t.Run("answers stand first", func(t *testing.T) {
		golden(t, "asked-outline", outline(t, page[:strings.Index(page, `<h2 id="study">`)]+"</section></main></div></body></html>"))
	})
	t.Run("every figure and table is on the page once", func(t *testing.T) {
		for _, id := range []string{"figure-size", "figure-spare", "table-every", "table-few"} {
			if n := strings.Count(page, `id="`+id+`"`); n != 1 {
				t.Errorf("%s is there %d times", id, n)
			}
		}
	})
	t.Run("tex", func(t *testing.T) { golden(t, "asked-every.tex", files["tables/every.tex"]) })
	t.Run("csv", func(t *testing.T) {
		golden(t, "asked-every.csv", files["tables/every.csv"])
		rows, err := csv.NewReader(strings.NewReader(files["tables/few.csv"])).ReadAll()
		if err != nil || len(rows) != 6 { // S6 has an empty cell, which the condition cannot judge
			t.Fatalf("%d rows, %v: %q", len(rows), err, rows)
		}
		// sorted by salt, then fraction; S5 has no number
		if rows[1][0] != "CaCl2" || rows[1][1] != "0.1" || rows[2][2] != "" || rows[3][0] != "NaCl" {
			t.Errorf("%q", rows)
		}
	})
	t.Run("figure", func(t *testing.T) {
		svg := files["figures/size.svg"]
		walk(t, svg, func([]string, xml.Token) {})
		if !strings.Contains(svg, `width="85mm"`) {
			t.Error("the figure is not 85 mm wide")
		}
		if !strings.Contains(svg, "radius of gyration [Å]") || !strings.Contains(svg, "fraction of charge") {
			t.Error("names or units of the style are not used")
		}
		if strings.Count(svg, `stroke="#2b5c8a"`) < 2 {
			t.Error("the colour of the style is not used")
		}
		if !strings.Contains(svg, "long, NaCl") || !strings.Contains(svg, "Arrows: the value lies beyond.") {
			t.Error("legend or arrow is missing")
		}
	})
	t.Run("letters are as large as asked", func(t *testing.T) {
		m := regexp.MustCompile(`viewBox="0 0 ([0-9.]+) `).FindStringSubmatch(files["figures/spare.svg"])
		if m == nil {
			t.Fatal("no viewBox")
		}
		wide, _ := strconv.ParseFloat(m[1], 64)
		// 8 pt are 8·25.4/72 mm; 11 units of the drawing over its width, times 170 mm
		if got, want := 11/wide*170, 8*25.4/72; got < want*0.999 || got > want*1.001 {
			t.Errorf("letters are %g mm high; expected %g", got, want)
		}
	})
	t.Run("the same again", func(t *testing.T) {
		again := askedFiles(t, askedStudy)
		for name, text := range files {
			if again[name] != text {
				t.Errorf("%s differs: %s", name, shout(text, again[name]))
			}
		}
	})
	t.Run("without them the report has no such sections", func(t *testing.T) {
		plain := askedFiles(t, askedStudy[:strings.Index(askedStudy, "questions:")])
		for _, id := range []string{"questions", "asked"} {
			if strings.Contains(plain["report.html"], `<h2 id="`+id+`"`) {
				t.Errorf("section %s is there", id)
			}
		}
		if _, ok := plain["figures/size.svg"]; ok {
			t.Error("figure size is there")
		}
	})
}

// TestIntervalBars: the bar of an interval runs from one end to the other, also where u is known (0, as for steps steeper than the samples
// are close).
func TestIntervalBars(t *testing.T) {
	nan := math.NaN()
	s := plotSeries{y: []float64{4, 4, 4}, u: []float64{0, 1, 0}, lo: []float64{3, 2.5, nan}, hi: []float64{6, 5, nan}}
	for i, want := range []struct {
		from, to float64
		ok       bool
	}{{3, 6, true}, {2.5, 5, true}, {0, 0, false}} {
		if from, to, ok := s.bar(i); from != want.from || to != want.to || ok != want.ok {
			t.Errorf("point %d: bar from %g to %g, %v; expected %+v", i, from, to, ok, want)
		}
	}
}

func TestTexText(t *testing.T) {
	for in, want := range map[string]string{
		`50 % of a_b & {c} \d $e #f ~g ^h`: `50 \% of a\_b \& \{c\} \textbackslash{}d \$e \#f \textasciitilde{}g \textasciicircum{}h`,
		"cm⁻¹ · Å":                         `cm$^{-1}$ $\cdot$ \AA{}`,
		"< 3 to 5":                         `$<$ 3 to 5`,
		"CaCl₂, µL, 10⁻³":                  `CaCl$_{2}$, $\mu$L, 10$^{-3}$`,
		"a\nb":                             "a b",
	} {
		if got := texText(in); got != want {
			t.Errorf("texText(%q) = %q; expected %q", in, got, want)
		}
	}
}

func TestShortItem(t *testing.T) {
	fields := []pipeline.NamedField{{Name: "temperature", Text: "25 °C"}}
	for _, c := range []struct{ name, sample, want string }{
		{"chain=long,salt=NaCl", "", "long, NaCl"},
		{"chain=long,temperature=25", "", "long, temperature 25 °C"},
		{"step=2", "", "step 2"},
		{"day=d1,sample=S1", "S1", "S1, d1"},
		{"sample=S1", "S1", "S1"},
		{"all", "", "all"},
	} {
		if got := shortItem(&pipeline.ItemOutcome{Name: c.name, Sample: c.sample, Fields: fields}); got != c.want {
			t.Errorf("%s is called %q; expected %q", c.name, got, c.want)
		}
	}
}

package report

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"fascicle/catalog"
	"fascicle/pipeline"
	"fascicle/pipeline/table"
)

// JCGM 100:2008, Table G.2, column 95 %, from memory.
func TestCoverageFactor(t *testing.T) {
	for nu, want := range map[float64]float64{1: 12.71, 2: 4.30, 3: 3.18, 4: 2.78, 5: 2.57, 8: 2.31, 10: 2.23, 16: 2.12, 20: 2.09, 25: 2.06} {
		if got := coverageFactor(nu); math.Abs(got-want) > 0.005 {
			t.Errorf("%g degrees of freedom: found %.4f; expected %.2f", nu, got, want)
		}
	}
	for nu := 0.5; nu < fewFreedom; nu += 0.25 { // between whole numbers it falls steadily
		if a, b := coverageFactor(nu), coverageFactor(nu+0.25); !(a > b && b > 1.959) {
			t.Errorf("%g degrees of freedom: found %g, and %g for more", nu, a, b)
		}
	}
}

// The end gauge of JCGM 100:2008, H.1: parts of 25, 9.7, 2.9 and 16.7 nm with 18, 25.6, 50 and 2 degrees of freedom; u = 32 nm and ν = 16
// are printed there. By a calculator the fractions follow from these parts, and ν = 16.62 before it is cut off.
func TestBudgetOfTheEndGauge(t *testing.T) {
	f := newFake(t.TempDir())
	tb := &table.Table{Header: map[string]string{"nu@constants.standard": "18", "nu@constants.expansion": "50", "nu@constants.temperature": "2"}}
	tb.AddFloat("length", "nm", []float64{838})
	tb.AddFloat("u_length", "nm", []float64{9.7})
	tb.AddFloat("nu_length", "1", []float64{25.6})
	tb.AddFloat("length@constants.standard", "nm", []float64{25})
	tb.AddFloat("length@constants.expansion", "nm", []float64{-2.9})
	tb.AddFloat("length@constants.temperature", "nm", []float64{-16.7})
	f.add("gauge", fakeGuinier, pipeline.ItemOutcome{Name: "sample=A", Sample: "A", Output: "plateaus", Form: pipeline.Values}, tb)
	write(t, f)
	page := outFiles(t, f.Dir)["report.html"]
	at := strings.Index(page, `<table class="budget">`)
	if at < 0 {
		t.Fatal("there is no budget")
	}
	end := strings.Index(page[at:], "</table>") + len("</table>")
	got := strings.Split(strings.TrimSpace(words(t, page[at:at+end])), "\n")
	want := []string{
		"length 838(32) nm",
		"constants.standard|62.1 %|+25 nm",
		"constants.temperature|27.7 %|-17 nm",
		"own part|9.3 %|9.7 nm",
		"constants.expansion|0.8 %|-2.9 nm",
		"16.6 degrees of freedom: 95 % interval ±\u00a067 nm, k\u00a0=\u00a02.11.",
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Error(diff)
	}
}

// words gives the rows of a table, cells apart.
func words(t *testing.T, markup string) string {
	s := strings.NewReplacer("</caption>", "\n", "</tr>", "\n", "</th>", "|", "</td><td", "|</td><td").Replace(strings.ReplaceAll(markup, "\n", ""))
	var b strings.Builder
	inside := false
	for _, r := range s {
		switch {
		case r == '<':
			inside = true
		case r == '>' && inside:
			inside = false
		case !inside:
			b.WriteRune(r)
		}
	}
	return strings.ReplaceAll(b.String(), "&lt;", "<")
}

// Own part and shared parts make up all of u².
func TestSharesAddUp(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		part := rapid.Map(rapid.Float64Range(-1e3, 1e3), func(x float64) float64 {
			if math.Abs(x) < 1e-100 {
				return 0 // the square has few digits, or none
			}
			return x
		})
		v := &pipeline.Value{Parts: map[string]float64{}}
		own := math.Abs(part.Draw(t, "own"))
		uu := own * own
		for k := range rapid.IntRange(0, 40).Draw(t, "sources") {
			x := part.Draw(t, "part")
			v.Parts[fmt.Sprint("s", k)] = x
			uu += x * x
		}
		u := math.Sqrt(uu)
		v.Own, v.U = &own, &u
		if u == 0 {
			return
		}
		sum, last := fraction(own, v.U), math.Inf(1)
		for _, s := range parts(v) {
			if s.part == 0 || s.fraction > last {
				t.Fatalf("%+v stands at a wrong place", s)
			}
			sum, last = sum+s.fraction, s.fraction
		}
		if math.Abs(sum-1) > 1e-12 {
			t.Fatalf("the shares add up to %g", sum)
		}
	})
}

func TestPercent(t *testing.T) {
	for f, want := range map[float64]string{0: "&lt; 0.1 %", 0.0009: "&lt; 0.1 %", 0.001: "0.1 %", 0.0666: "6.7 %", 0.99949: "99.9 %", 0.99951: "&gt; 99.9 %", 1: "100 %"} {
		if got := percent(f); got != want {
			t.Errorf("%g: found %q; expected %q", f, got, want)
		}
	}
	if got := percent(math.NaN()); got != "" {
		t.Errorf("not a number: found %q", got)
	}
}

func TestPartsAsText(t *testing.T) {
	nm, err := catalog.ParseUnit("nm")
	if err != nil {
		t.Fatal(err)
	}
	for x, want := range map[float64]string{0.012345: "+0.012 nm", -0.0999: "-0.1 nm", 123456: "+1.2e5 nm", 250.4: "+250 nm"} {
		if got := signed(x, nm); got != want {
			t.Errorf("%g: found %q; expected %q", x, got, want)
		}
	}
	for x, want := range map[float64]string{2.1788: "2.18", 12.706: "12.7", 29.96: "30", 1234.6: "1235", 0.5: "0.5"} {
		if got := digits(x, 3); got != want {
			t.Errorf("%g: found %q; expected %q", x, got, want)
		}
	}
}

// Small parts are summed up, and nothing is said of a number that has its own part alone.
func TestManySmallParts(t *testing.T) {
	f := newFake(t.TempDir())
	tb := &table.Table{}
	tb.AddFloat("Rg_1", "nm", []float64{3})
	tb.AddFloat("u_Rg_1", "nm", []float64{0.1})
	tb.AddFloat("I0_1", "1/cm", []float64{3})
	tb.AddFloat("u_I0_1", "1/cm", []float64{0.1})
	for k := range 20 {
		tb.AddFloat(fmt.Sprintf("Rg_1@sheet.ratio[S%d]", k), "nm", []float64{0.002})
	}
	f.add("sizes", fakeGuinier, pipeline.ItemOutcome{Name: "sample=A", Sample: "A", Output: "plateaus", Form: pipeline.Values}, tb)
	f.Study = nil // whose constants would be listed too
	write(t, f)
	page := outFiles(t, f.Dir)["report.html"]
	if n := strings.Count(page, `<table class="budget">`); n != 1 {
		t.Fatalf("%d budgets; expected that of Rg_1", n)
	}
	// each is 0.04 % of u², together 0.8 %
	for _, want := range []string{">99.2 %<", "<tr><th>20 more</th>", ">0.8 %<", "Own part alone: I0_1."} {
		if !strings.Contains(page, want) {
			t.Errorf("the page lacks %s", want)
		}
	}
	if n := strings.Count(page, `<tr id="source-`); n != 20 {
		t.Errorf("%d sources are listed; expected 20", n)
	}
}

// Every source is listed with the numbers that it reaches and its largest share; a constant that reaches none as well.
func TestSourcesAreListed(t *testing.T) {
	dir := t.TempDir()
	write(t, fullFake(t, dir))
	page := outline(t, outFiles(t, dir)["report.html"])
	for _, want := range []string{
		"th constants.cell\ntd constant: 10.00(2) mm\ntd 13\ntd 2\ntd 18.7 % of I0_1 of " + hostile + " sizes\n",
		"th constants.plate.d1\ntd constant: 1.000(4) mm\ntd 2\ntd 2\ntd \n",
		"th constants.plate.d2\ntd constant: 1.005(4) mm\ntd none\ntd \ntd \n",
		"th checks[day=d1].1\ntd numbers of an item of checks\ntd 11\n",
		"th sheet.fraction[S3]\ntd cell of the sheet: 0.25\ntd 1\n",
	} {
		if !strings.Contains(page, want) {
			t.Errorf("the page lacks %q", want)
		}
	}
}

func TestLargeStudiesLeaveOutBudgets(t *testing.T) {
	f := newFake(t.TempDir())
	for i := range mostBudgets + 1 {
		tb := &table.Table{}
		tb.AddFloat("Rg_1", "nm", []float64{3})
		tb.AddFloat("u_Rg_1", "nm", []float64{0.1})
		tb.AddFloat("Rg_1@constants.cell", "nm", []float64{0.1})
		f.add("sizes", fakeDecay, pipeline.ItemOutcome{Name: fmt.Sprint("sample=A,n=", i), Sample: "A", Output: "fit", Form: pipeline.Values}, tb)
	}
	write(t, f)
	page := outFiles(t, f.Dir)["report.html"]
	if strings.Contains(page, `<table class="budget">`) || !strings.Contains(page, "There are too many numbers to say here") {
		t.Error("the page should point to the tables instead of showing budgets")
	}
}

// Tables bear the whole u as well, from the parts of each row.
func TestTablesBearWholeU(t *testing.T) {
	f := newFake(t.TempDir())
	add := func(name string, tb *table.Table) {
		f.add("lines", fakeLine, pipeline.ItemOutcome{Name: name, Series: name, Output: "points", Form: pipeline.TableForm}, tb)
	}
	a := &table.Table{}
	a.AddFloat("x", "nm", []float64{1, 2, 3})
	a.AddFloatValid("u_x", "nm", []float64{0.3, 0.3, 0}, []bool{true, true, false})
	a.AddFloat("y", "1", []float64{1, 2, 3})
	a.AddFloatValid("x@constants.cell", "nm", []float64{-0.4, 0, 0.1}, []bool{true, false, true})
	a.AddFloat("y@checks[day=d1]", "1", []float64{0.5, 0.5, 0.5})
	add("a", a)
	b := &table.Table{}
	b.AddFloat("x", "nm", []float64{4})
	b.AddFloat("u_x", "nm", []float64{0.2})
	add("b", b)
	write(t, f)
	want := `item,sample,x [nm],u_x [nm],own_x [nm],x@constants.cell [nm],y,y@checks[day=d1] [1],remark
a,,1,0.5,0.3,-0.4,1,0.5,
a,,2,,0.3,,2,0.5,
a,,3,,,0.1,3,0.5,
b,,4,0.2,0.2,0,,,
`
	if diff := cmp.Diff(want, outFiles(t, f.Dir)["tables/lines.points.csv"]); diff != "" {
		t.Error(diff)
	}
}

// Points of a table are drawn with the whole u, and open where it is not known.
func TestTablePointsBearWholeU(t *testing.T) {
	dir := t.TempDir()
	write(t, fullFake(t, dir))
	files := outFiles(t, dir)
	for salt, open := range map[string]bool{"CaCl2": true, "NaCl": false} {
		svg := files["figures/lines.line.salt="+salt+".svg"]
		if svg == "" || strings.Contains(svg, "open: u unknown") != open {
			t.Errorf("%s: expected open marks: %v\n%s", salt, open, svg)
		}
	}
}

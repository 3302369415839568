package report

import (
	"encoding/xml"
	"errors"
	"io"
	"math"
	"strings"
	"testing"

	"fascicle/catalog"
	"fascicle/pipeline"
	"fascicle/pipeline/store"
	"fascicle/pipeline/table"
)

// walk reads markup strictly as XML: every element closed, every entity known.
func walk(t *testing.T, markup string, see func(path []string, token xml.Token)) {
	t.Helper()
	dec := xml.NewDecoder(strings.NewReader(strings.TrimPrefix(markup, "<!DOCTYPE html>\n")))
	var path []string
	for {
		token, err := dec.Token()
		if errors.Is(err, io.EOF) {
			return
		}
		if err != nil {
			t.Fatalf("not well-formed: %v", err)
		}
		switch x := token.(type) {
		case xml.StartElement:
			path = append(path, x.Name.Local)
			see(path, token)
		case xml.EndElement:
			see(path, token)
			path = path[:len(path)-1]
		default:
			see(path, token)
		}
	}
}

func attr(e xml.StartElement, name string) string {
	for _, a := range e.Attr {
		if a.Name.Local == name {
			return a.Value
		}
	}
	return ""
}

// outline lists sections, headings, tables and figures of the page with their words.
func outline(t *testing.T, markup string) string {
	t.Helper()
	var b strings.Builder
	keep := map[string]bool{"h1": true, "h2": true, "h3": true, "h4": true, "th": true, "summary": true, "dt": true, "dd": true, "td": true, "li": true, "p": true}
	depth, text := 0, ""
	walk(t, markup, func(path []string, token xml.Token) {
		for _, p := range path {
			if p == "svg" || p == "style" {
				if e, ok := token.(xml.StartElement); ok && e.Name.Local == "svg" {
					b.WriteString("svg\n")
				}
				return
			}
		}
		switch x := token.(type) {
		case xml.StartElement:
			if keep[x.Name.Local] {
				if depth++; depth == 1 {
					text = ""
				}
				if id := attr(x, "id"); id != "" {
					text += "#" + id + " "
				}
			} else if class := attr(x, "class"); class != "" && depth == 0 {
				b.WriteString("[" + class + "]\n")
			}
		case xml.EndElement:
			if keep[x.Name.Local] {
				if depth--; depth == 0 {
					b.WriteString(x.Name.Local + " " + strings.Join(strings.Fields(text), " ") + "\n")
				}
			}
		case xml.CharData:
			if depth > 0 {
				text += string(x)
			}
		}
	})
	return b.String()
}

func TestPageIsSelfContained(t *testing.T) {
	dir := t.TempDir()
	write(t, fullFake(t, dir))
	files := outFiles(t, dir)
	ids, links := map[string]bool{}, []string{}
	walk(t, files["report.html"], func(path []string, token xml.Token) {
		e, ok := token.(xml.StartElement)
		if !ok {
			return
		}
		switch e.Name.Local {
		case "script", "iframe", "object", "embed", "img":
			t.Errorf("found element %s", e.Name.Local)
		}
		for _, a := range e.Attr {
			switch a.Name.Local {
			case "id":
				if ids[a.Value] {
					t.Errorf("id %s is there twice", a.Value)
				}
				ids[a.Value] = true
			case "src":
				t.Errorf("%s fetches %s", e.Name.Local, a.Value)
			case "href":
				links = append(links, a.Value)
			}
			if strings.HasPrefix(a.Name.Local, "on") {
				t.Errorf("%s has a handler", e.Name.Local)
			}
		}
	})
	for _, l := range links {
		switch {
		case l == "data:,":
		case strings.HasPrefix(l, "#"):
			if !ids[l[1:]] {
				t.Errorf("link %s leads nowhere", l)
			}
		default:
			if _, ok := files[l]; !ok {
				t.Errorf("link %s leads to no file", l)
			}
		}
	}
	for _, fetch := range []string{"@import", "url(", "http://", "https://"} {
		if i := strings.Index(strings.ReplaceAll(files["report.html"], "http://www.w3.org/2000/svg", ""), fetch); i >= 0 {
			t.Errorf("the page holds %q", fetch)
		}
	}
}

func TestNamesAreEscaped(t *testing.T) {
	dir := t.TempDir()
	f := fullFake(t, dir)
	nasty := "</td><script>alert(1)</script>&amp;\x00\x1b\u202e\xff"
	f.Remarks = append(f.Remarks, nasty)
	f.Stages[0].Settings = append(f.Stages[0].Settings, pipeline.SettingLine{Path: nasty, Value: nasty})
	f.Raw[0].Path = nasty
	bad := f.stage("sizes").Items[len(f.stage("sizes").Items)-1]
	bad.Name, bad.Output, bad.Form, bad.State, bad.Message = "sample="+nasty, "plateaus", pipeline.Values, pipeline.Failed, nasty
	bad.Sample = nasty
	f.add("sizes", fakeGuinier, bad, nil)
	write(t, f)
	for name, text := range outFiles(t, dir) {
		switch {
		case strings.HasSuffix(name, ".html"):
			found := ""
			walk(t, text, func(path []string, token xml.Token) {
				if e, ok := token.(xml.StartElement); ok && e.Name.Local == "script" {
					t.Errorf("%s: a name became an element", name)
				}
				if c, ok := token.(xml.CharData); ok {
					found += string(c)
				}
			})
			for _, want := range []string{hostile, "</td><script>alert(1)</script>&amp;\uFFFD\uFFFD\u202e\uFFFD", f.Title, "<eq. 3>", "the fitted range <hangs> on its end"} {
				if !strings.Contains(found, want) {
					t.Errorf("%s: does not show %q as it is", name, want)
				}
			}
		case strings.HasSuffix(name, ".svg"):
			walk(t, text, func([]string, xml.Token) {})
		}
		if strings.ContainsAny(name, "<>\"&'\x00") {
			t.Errorf("file name %q", name)
		}
	}
}

func FuzzText(f *testing.F) {
	for _, s := range []string{"", "a<b>&\"'", "\x00\x1f\x7f\u0085\ufffe", "ä\xff\xc3", "\r\n\t", "]]>"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		var p pen
		p.raw(`<a b="`)
		p.text(s)
		p.raw(`">`)
		p.text(s)
		p.raw(`</a>`)
		got := ""
		walk(t, string(p.b), func(_ []string, token xml.Token) {
			if c, ok := token.(xml.CharData); ok {
				got += string(c)
			}
		})
		want := strings.Map(func(r rune) rune {
			if r == '\r' {
				return '\n'
			}
			if r != '\t' && r != '\n' && (r < 0x20 || r >= 0x7f && r < 0xa0) || r == 0xfffe || r == 0xffff {
				return '\uFFFD'
			}
			return r
		}, s)
		if got != want {
			t.Errorf("%q became %q; expected %q", s, got, want)
		}
	})
}

// Everywhere a number bears its whole u; what u lacks is said where the number stands.
func TestUncertaintyIsSaid(t *testing.T) {
	f := newFake(t.TempDir())
	// parts are values in order of source a, b, …; NaN: not known
	v := func(name, unit string, x, u float64, parts ...float64) *table.Table {
		tb := &table.Table{}
		tb.AddFloat(name, unit, []float64{x})
		if u > 0 {
			tb.AddFloat("u_"+name, unit, []float64{u})
		}
		for k, p := range parts {
			source := name + "@constants." + string(rune('a'+k))
			if math.IsNaN(p) {
				tb.AddFloatValid(source, unit, []float64{0}, []bool{false})
			} else {
				tb.AddFloat(source, unit, []float64{p})
			}
		}
		return tb
	}
	item := func(stage, sample string, tb *table.Table, flags ...store.Flag) {
		f.add(stage, fakeGuinier, pipeline.ItemOutcome{Name: "sample=" + sample, Sample: sample, Output: "plateaus", Form: pipeline.Values, Flags: flags}, tb)
	}
	item("alone", "A", v("Rg_1", "nm", 14.36, 0.04))
	item("whole", "A", v("Rg_1", "nm", 14.36, 0.03, -0.04)) // 3, 4, 5
	item("bare", "A", v("Rg_1", "nm", 2.5, 0))
	item("part", "A", v("Rg_1", "nm", 7.25, 0.03, math.NaN()), store.Flag{Level: "notice", Text: "near the end"}, store.Flag{Level: "choice", Text: "two terms"})
	item("rest", "A", v("Rg_1", "nm", 7.25, 0.03, math.NaN(), 0.04), store.Flag{Level: "bound", Text: "it ended where it may not go further"})
	item("neither", "A", v("Rg_1", "nm", 7.5, 0, math.NaN()))
	f.stage("part").MissingParts = []string{"constants.a"}
	write(t, f)
	files := outFiles(t, f.Dir)
	page := outline(t, files["report.html"])
	for _, want := range []string{
		"dd 14.36(4) nm\n",
		"dd 14.36(5) nm\n",
		"dd 2.5 nm u unknown\n",
		"dd 7.250(30) nm†1‡\n",
		"dd 7.25(5) nm†2‡\n",
		"dd 7.5 nm u unknown‡\n",
		"p ‡ u incomplete: the part of constants.a is not in it.\n",
		"†1 part: beyond notice: near the end\n",
		"part: two terms\n",
		"†2 rest: it ended where it may not go further\n",
		"p ‡ u incomplete: the part of constants.a is not in it. What is shown in brackets is what is known of u without it.\n",
	} {
		if !strings.Contains(page, want) {
			t.Errorf("the page lacks %q:\n%s", want, page)
		}
	}
	if n := strings.Count(page, "What is shown in brackets"); n != 1 {
		t.Errorf("%d stages are said to let no parts through; expected that one", n)
	}
	for _, want := range []string{`"u":0.05,"own":0.03,"parts":{"constants.a":-0.04},`, `"u":null,"own":0.03,"parts":{},`, `"u":null,"own":0.03,"parts":{"constants.b":0.04},`, `"unknown":["constants.a"]`} {
		if !strings.Contains(files["values.json"], want) {
			t.Errorf("values.json lacks %s:\n%s", want, files["values.json"])
		}
	}
	for name, want := range map[string]string{
		"alone": "item,sample,Rg_1 [nm],u_Rg_1 [nm],remark\nsample=A,A,14.36,0.04,\n",
		"whole": "item,sample,Rg_1 [nm],u_Rg_1 [nm],own_Rg_1 [nm],Rg_1@constants.a [nm],remark\nsample=A,A,14.36,0.05,0.03,-0.04,\n",
		"part":  "item,sample,Rg_1 [nm],u_Rg_1 [nm],own_Rg_1 [nm],Rg_1@constants.a [nm],remark\nsample=A,A,7.25,,0.03,,notice: near the end; choice: two terms\n",
		"rest":  "item,sample,Rg_1 [nm],u_Rg_1 [nm],own_Rg_1 [nm],Rg_1@constants.a [nm],Rg_1@constants.b [nm],remark\nsample=A,A,7.25,,0.03,,0.04,bound: it ended where it may not go further\n",
	} {
		if got := files["tables/"+name+".csv"]; got != want {
			t.Errorf("%s: found\n%s\nexpected\n%s", name, got, want)
		}
	}
	if strings.Contains(files["tables/samples.csv"], "@") {
		t.Errorf("samples.csv should have no parts:\n%s", files["tables/samples.csv"])
	}
}

// Censored numbers are shown as limits.
func TestBounds(t *testing.T) {
	f := newFake(t.TempDir())
	for _, b := range []string{"lower", "upper", "interval"} {
		tb := &table.Table{}
		tb.AddFloat("x", "ns", []float64{1.5})
		tb.AddText("x_bound", []string{b})
		tb.AddFloat("x_lo", "ns", []float64{1.25})
		tb.AddFloat("x_hi", "ns", []float64{1.75})
		f.add("s", fakeGuinier, pipeline.ItemOutcome{Name: "sample=" + b, Sample: b, Output: "plateaus", Form: pipeline.Values}, tb)
	}
	write(t, f)
	page := outline(t, outFiles(t, f.Dir)["report.html"])
	for _, want := range []string{"dd > 1.5 ns u unknown\n", "dd < 1.5 ns u unknown\n", "dd 1.25 to 1.75 ns\n"} {
		if !strings.Contains(page, want) {
			t.Errorf("the page lacks %q:\n%s", want, page)
		}
	}
}

func TestFilled(t *testing.T) {
	settings := []pipeline.SettingLine{{Path: "limit", Value: "1.3"}, {Path: "empty"}, {Path: "terms.a", Value: "1"}, {Path: "terms.b", Value: "2"}}
	for in, want := range map[string]string{
		"up to {limit}.": "up to 1.3.", "{empty}{limit}": "none1.3", "{terms}": "a 1, b 2", "{unknown} stays": "{unknown} stays",
		"open { brace": "open { brace", "": "", "{limit": "{limit", "{{limit}}": "{{limit}}",
	} {
		if got := filled(in, settings); got != want {
			t.Errorf("%q: found %q; expected %q", in, got, want)
		}
	}
}

func TestRest(t *testing.T) {
	for _, c := range []struct{ item, sample, want string }{
		{"sample=A", "A", ""}, {"sample=A,rep=1", "A", "rep=1"}, {"rep=1,sample=A", "A", "rep=1"}, {"a=1,sample=A,b=2", "A", "a=1,b=2"},
		{"sample=A#2", "A", "#2"}, {"sample=AB", "A", "sample=AB"}, {"day=d1", "", "day=d1"}, {"rep=1,sample=A#3", "A", "rep=1#3"}, {"", "A", ""},
	} {
		if got := rest(c.item, c.sample); got != c.want {
			t.Errorf("rest(%q, %q) = %q; expected %q", c.item, c.sample, got, c.want)
		}
	}
}

func TestFileNames(t *testing.T) {
	n := &fileNames{map[string]bool{}}
	seen := map[string]bool{}
	for _, item := range []string{"sample=A", "sample=a", "sample=A", "sample=A,rep=1", "sample=A.rep=1", "../../etc/passwd", "", "ä", "ö", strings.Repeat("x", 300), strings.Repeat("x", 301)} {
		name := n.give("figures/", "stage.fit", item, ".svg")
		folded := strings.ToLower(name)
		if seen[folded] {
			t.Errorf("%q: name %s is taken", item, name)
		}
		seen[folded] = true
		if strings.Contains(name, "..") && item != "../../etc/passwd" || strings.Count(name, "/") != 1 || len(name) > 140 {
			t.Errorf("%q: name %s", item, name)
		}
	}
	if !seen["figures/stage.fit.sample=a.svg"] {
		t.Error("a plain item should keep its name")
	}
}

// Columns stand in the order in which their kind declares them, families by number.
func TestColumnOrder(t *testing.T) {
	f := newFake(t.TempDir())
	tb := &table.Table{}
	for _, n := range []string{"zzz", "I0_2", "Rg_10", "Rg_2", "I0_1", "number"} {
		tb.AddFloat(n, "1", []float64{1})
	}
	f.add("s", fakeGuinier, pipeline.ItemOutcome{Name: "sample=A", Sample: "A", Output: "plateaus", Form: pipeline.Values}, tb)
	write(t, f)
	got, _, _ := strings.Cut(outFiles(t, f.Dir)["tables/s.csv"], "\n")
	if want := "item,sample,number,u_number,Rg_2,u_Rg_2,Rg_10,u_Rg_10,I0_1,u_I0_1,I0_2,u_I0_2,zzz,u_zzz,remark"; got != want {
		t.Errorf("found %s; expected %s", got, want)
	}
}

// The sheet's CSV can be read as a sheet again.
func TestSamplesTableReadsBack(t *testing.T) {
	dir := t.TempDir()
	write(t, fullFake(t, dir))
	rows := strings.Split(outFiles(t, dir)["tables/samples.csv"], "\n")
	head := strings.Split(rows[0], ",")
	for i, h := range head { // joined names bear a dot, which a sheet's columns may not
		name, unit, ok := strings.Cut(h, " [")
		name = strings.NewReplacer(".", "_", " (", "_", ")", "", "=", "_", "-", "_").Replace(name)
		if ok {
			name += " [" + unit
		}
		head[i] = name
	}
	rows[0] = strings.Join(head, ",")
	sheet, faults := catalog.ReadSheet("samples.csv", []byte(strings.Join(rows, "\n")))
	if len(faults) > 0 {
		t.Fatal(faults)
	}
	k, ok := sheet.Column("sizes_Rg_1")
	if !ok || sheet.Columns[k].Type != catalog.Numeric || sheet.Columns[k].Unit.Code() != "nm" {
		t.Errorf("column sizes_Rg_1: %v %+v", ok, sheet.Columns)
	}
	if _, ok := sheet.Row(hostile); !ok || len(sheet.Rows) != 12 {
		t.Error("a sample is missing")
	}
}

// A remark in a card bears the number that the list of flags gives it, in whatever order an item has its flags.
func TestMarksOfRemarks(t *testing.T) {
	f := newFake(t.TempDir())
	one := func() *table.Table {
		tb := &table.Table{}
		tb.AddFloat("Rg_1", "nm", []float64{1})
		tb.AddFloat("u_Rg_1", "nm", []float64{0.1})
		return tb
	}
	flag := func(text string) store.Flag { return store.Flag{Level: "flag", Text: text} }
	add := func(sample string, flags ...store.Flag) {
		f.add("sizes", fakeGuinier, pipeline.ItemOutcome{Name: "sample=" + sample, Sample: sample, Output: "plateaus", Form: pipeline.Values, Flags: flags}, one())
	}
	add("A", flag("beta"))
	add("B", flag("alpha"), flag("beta"))
	write(t, f)
	page := outline(t, outFiles(t, f.Dir)["report.html"])
	list, cards, _ := strings.Cut(page, "h2 #samples")
	for _, text := range []string{"alpha", "beta"} {
		number := ""
		for _, n := range []string{"1", "2"} {
			if strings.Contains(cards, "†"+n+" sizes: "+text) {
				number += n
			}
		}
		at := strings.Index(list, text)
		if len(number) != 1 || at < 0 || !strings.Contains(list[:at], "†"+number) || strings.LastIndex(list[:at], "†"+number) < strings.LastIndex(list[:at], "†") {
			t.Errorf("%s is †%s in the cards:\n%s", text, number, page)
		}
	}
}

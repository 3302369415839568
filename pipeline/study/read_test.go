package study

import (
	"bytes"
	"crypto/sha256"
	"flag"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
)

var update = flag.Bool("update", false, "write testdata/wrong.golden anew")

// wrongCase is a case of testdata/wrong.txt or of its golden file.
type wrongCase struct{ name, body string }

func readCases(t testing.TB, file string) []wrongCase {
	t.Helper()
	b, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	var out []wrongCase
	for _, line := range strings.SplitAfter(string(b), "\n") {
		name, ok := strings.CutPrefix(strings.TrimRight(line, "\n"), "-- ")
		if name, isHead := strings.CutSuffix(name, " --"); ok && isHead {
			out = append(out, wrongCase{name: name})
		} else if len(out) > 0 {
			out[len(out)-1].body += line
		}
	}
	return out
}

// completed puts behind a case the entries that every study needs, so that the case shows its own fault alone.
func completed(c wrongCase) string {
	if strings.HasPrefix(c.name, "whole ") {
		return c.body
	}
	s := c.body
	for _, line := range []string{"study: x\n", "samples: s.csv\n", "graph: {last: {kind: k}}\n"} {
		key, _, _ := strings.Cut(line, ":")
		if !strings.HasPrefix(c.body, key+":") && !strings.Contains(c.body, "\n"+key+":") {
			s += line
		}
	}
	return s
}

func TestWrongStudies(t *testing.T) {
	golden := filepath.Join("testdata", "wrong.golden")
	var got strings.Builder
	cases := readCases(t, filepath.Join("testdata", "wrong.txt"))
	results := make(map[string]string)
	for _, c := range cases {
		st, faults := Read("study.yaml", []byte(completed(c)))
		if st != nil || len(faults) == 0 {
			t.Errorf("%s: read without a fault", c.name)
			continue
		}
		if _, twice := results[c.name]; twice {
			t.Errorf("%s: two cases of one name", c.name)
		}
		results[c.name] = faults.Error() + "\n"
		got.WriteString("-- " + c.name + " --\n" + results[c.name])
	}
	if *update {
		if err := os.WriteFile(golden, []byte(got.String()), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want := readCases(t, golden)
	if len(want) != len(cases) {
		t.Errorf("%d cases, but %d in the golden file", len(cases), len(want))
	}
	for _, w := range want {
		t.Run(w.name, func(t *testing.T) {
			if d := cmp.Diff(w.body, results[w.name]); d != "" {
				t.Errorf("messages (-want +got):\n%s", d)
			}
		})
	}
}

// TestWrongBytes holds what cannot stand in a text file of cases.
func TestWrongBytes(t *testing.T) {
	const rest = "study: x\nsamples: s.csv\ngraph: {a: {kind: k}}\n"
	deepBlock := func(n int) string {
		var b strings.Builder
		b.WriteString(rest + "style:\n")
		for i := 1; i <= n; i++ {
			b.WriteString(strings.Repeat(" ", i) + "a:\n")
		}
		return b.String()
	}
	tests := []struct{ name, input, want string }{
		{"no bytes", "", "study.yaml: found an empty study file; expected at least study, samples and graph"},
		{"byte order mark alone", "\uFEFF", "study.yaml: found an empty study file"},
		{"tab", "conditions:\n\ta: b\n" + rest, "study.yaml:2:1: found a tab in the indentation; expected indentation by spaces; put two spaces for each level"},
		{"tab behind spaces, in three lines", "conditions:\n  \ta: b\n\tc: d\n\t# no\n  \te: f\n" + rest, "study.yaml:2:3: found a tab in the indentation (and in 2 lines more)"},
		{"no-break space", "conditions:\n\u00a0 a: b\n" + rest, "study.yaml:2:1: found the space character U+00A0 in the indentation"},
		{"Latin-1", "study: µ 5 \xb5m\n", "study.yaml:1:12: found the byte 0xB5, which is not UTF-8; expected text in UTF-8; save the file as UTF-8"},
		{"UTF-16", "\xff\xfes\x00t\x00", "study.yaml:1:1: found text in UTF-16; expected text in UTF-8; save the file as UTF-8"},
		{"zero byte", "study: a\x00b\n", "study.yaml:1:9: found the invisible character U+0000"},
		{"next line", "study: µ\u0085b\n", "study.yaml:1:9: found the invisible character U+0085"},
		{"line separator", "study: µ\u2028b\n", "study.yaml:1:9: found the invisible character U+2028"},
		{"mark within", "study: x\n\uFEFFsamples: y\n", "study.yaml:2:1: found the invisible character U+FEFF"},
		{"more than 1 MB", rest + strings.Repeat("# padding\n", 110_000), "study.yaml: found a study file of 1100046 bytes; expected at most 1048576 bytes"},
		{"10 MB of brackets", strings.Repeat("[", 10<<20), "study.yaml: found a study file of 10485760 bytes; expected at most"},
		{"1 MB of brackets", rest + "style: " + strings.Repeat("[", 1<<20-100), "study.yaml:4:8: found nesting more than 32 deep"},
		{"1 MB of braces", rest + "style: " + strings.Repeat("{a: ", 1<<18-100), "found nesting more than 32 deep"},
		{"1 MB of dashes", rest + "style: " + strings.Repeat("- ", 1<<19-100), `study.yaml:4:8: found "- " behind a key`},
		{"1 MB of dashes in a list", strings.Repeat("- ", 1<<19), "found nesting more than 32 deep"},
		{"1 MB of question marks", strings.Repeat("? ", 1<<19), "found nesting more than 32 deep"},
		{"33 levels of brackets", rest + "style: " + strings.Repeat("[", 32) + strings.Repeat("]", 32), "study.yaml:4:39: found nesting more than 32 deep; expected a study file, which is seldom 8 deep"},
		{"1,000 levels of indentation", deepBlock(1000), "study.yaml:36:33: found nesting more than 32 deep"},
		{"CRLF", "conditions:\r\n  a: b\r\n  a: c\r\n" + rest, `study.yaml:3:3: found the key "a" on line 2 and again on line 3`},
		{"CR alone", "conditions:\r  a: b\r  a: c\r" + rest, `study.yaml:3:3: found the key "a" on line 2 and again on line 3`},
		{"mark in front", "\uFEFFstudi: x\nsamples: s\ngraph: {a: {kind: k}}\n", `study.yaml:1:1: found unknown key "studi" at the top of the study`},
		{"columns count characters", "graph: {ä: {kind: k}, a: {kind: k, µ: 1}}\n", `study.yaml:1:36: found unknown key "µ" in stage "a"`},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			st, faults := Read("study.yaml", []byte(tt.input))
			if st != nil || len(faults) == 0 {
				t.Fatal("read without a fault")
			}
			if !strings.Contains(faults.Error(), tt.want) {
				t.Errorf("got %.500s\nwant %s", faults.Error(), tt.want)
			}
		})
	}
}

// One line of 1 MB: places are still right at its end, and finding them does not take a time that grows with its square.
func TestLongLine(t *testing.T) {
	head := "study: x\nsamples: y\ngraph: {a: {kind: k, set: {x: ["
	s := head + strings.Repeat("µ, ", 250_000) + "last]}}}\n"
	st, faults := Read("study.yaml", []byte(s))
	if len(faults) > 0 {
		t.Fatal(faults)
	}
	items := st.Graph[0].Set.Get("x").Items
	last := items[len(items)-1]
	if got := st.src.from(last.Pos); !strings.HasPrefix(got, "last]") {
		t.Errorf("the last item is said to be at %v, where %.20q stands", last.Pos, got)
	}
}

func TestFaultsAreCapped(t *testing.T) {
	var b strings.Builder
	b.WriteString("study: x\nsamples: s.csv\ngraph:\n  a: {kind: k}\n")
	for range 5 * maxFaults {
		b.WriteString("  3")
		b.WriteString(strings.Repeat("x", b.Len()%97))
		b.WriteString("q" + strings.Repeat("y", b.Len()%89) + ": {kind: k, form: x}\n")
	}
	_, faults := Read("study.yaml", []byte(b.String()))
	if len(faults) != maxFaults+1 {
		t.Fatalf("%d faults, want %d", len(faults), maxFaults+1)
	}
	if last := faults[maxFaults].Error(); !strings.Contains(last, "faults more") {
		t.Errorf("the last fault does not say that there are more: %s", last)
	}
}

func readSmall(t testing.TB) (*Study, []byte) {
	t.Helper()
	b, err := os.ReadFile(filepath.Join("testdata", "small.yaml"))
	if err != nil {
		t.Fatal(err)
	}
	st, faults := Read("small.yaml", b)
	if len(faults) > 0 {
		t.Fatal(faults)
	}
	return st, b
}

func TestSmallStudy(t *testing.T) {
	st, data := readSmall(t)
	text := func(v string) Text { return Text{Value: v} }
	texts := func(vs ...string) []Text {
		var out []Text
		for _, v := range vs {
			out = append(out, text(v))
		}
		return out
	}
	noPlaces := cmp.Options{cmpopts.IgnoreTypes(Pos{}), cmpopts.IgnoreFields(Text{}, "Quoted"), cmpopts.EquateEmpty()}
	check := func(what string, got, want any) {
		t.Helper()
		if d := cmp.Diff(want, got, noPlaces); d != "" {
			t.Errorf("%s (-want +got):\n%s", what, d)
		}
	}
	check("title", st.Title, text("Two polymers in salt water"))
	check("samples", st.Samples, text("samples.csv"))
	check("against", st.Against, text("submitted"))
	check("derive", st.Derive, []Derived{
		{text("donor"), text("mmol/L"), text("cell * 2")},
		{text("filled"), Text{}, text("donor + 1")},
		{text("mass"), text("g/mol"), text("(long ? 60 : 12) * donor")},
	})
	check("conditions", st.Conditions, []Condition{
		{text("mixture"), text(`role == "mixture"`)},
		{text("long"), text(`chain == "long" && role in ["a", "b"]`)},
	})
	if st.File != "small.yaml" || st.SHA256 != sha256.Sum256(data) {
		t.Errorf("file %q, SHA-256 %x", st.File, st.SHA256)
	}

	var names []string
	for _, s := range st.Graph {
		names = append(names, s.Name.Value)
	}
	check("stages", names, []string{"text_files", "more_files", "both", "axis", "net"})
	check("both", st.Graph[2], Stage{Name: text("both"), Items: texts("text_files", "more_files"), Serves: texts("day", "sample"), Trusts: texts("axis")})
	check("axis", st.Graph[3], Stage{Name: text("axis"), Kind: text("calibrate.wavelength"), By: texts("day"),
		From: []Port{{text("scan"), []Ref{{Stages: texts("text_files")}}}}})
	check("net", st.Graph[4].From, []Port{
		{text("curve"), []Ref{{Stages: texts("both")}, {Stages: texts("text_files", "more_files"), Where: text("not mixture"), Output: text("items")}}},
		{text("background"), []Ref{{Stages: texts("both"), Where: text("mixture && long"), HasMatch: true,
			Match: []Pairing{{text("day"), text("day")}, {text("sample"), text("sample")}}}}},
		{text("factor"), []Ref{{Stages: texts("axis"), HasMatch: true, Match: []Pairing{{Partner: text("band"), Lead: text("day")}},
			Nearest: []Nearest{{text("taken"), text("before")}, {text("made"), text("either")}}}}},
		{text("scale"), []Ref{{Stages: texts("axis"), Only: true}}},
		{text("pool"), []Ref{{Stages: texts("axis"), All: true}}},
	})

	// quantities: 10.00(2) mm is 10.00 mm with a standard uncertainty of 0.02 mm
	cell := st.Constants[0].Value
	if cell == nil || cell.Value != 10 || cell.U != 0.02 || !cell.HasU || cell.Unit.Code() != "mm" {
		t.Errorf("cell is %+v", cell)
	}
	carbon := st.Constants[2]
	if carbon.Value != nil || len(carbon.Keys) != 2 || carbon.Keys[1].Key.Value != "day 2" || carbon.Keys[1].Value.Value != 1.005 {
		t.Errorf("carbon is %+v", carbon)
	}
}

// Texts that readers of YAML like to take for something else stay as they are written.
func TestScalarsStayText(t *testing.T) {
	st, _ := readSmall(t)
	set := st.Graph[0].Set
	if got := set.Get("columns").Get("absorbance").Text; got.Value != "012" || got.Quoted {
		t.Errorf("absorbance is %+v", got)
	}
	if got := set.Get("columns").Get("wavelength").Text; got.Value != "1 [nm]" || !got.Quoted {
		t.Errorf("wavelength is %+v", got)
	}
	var got []string
	for _, it := range set.Get("odd").Items {
		if it.Text.IsNull() {
			t.Errorf("%+v is null", it.Text)
		}
		got = append(got, it.Text.Value)
	}
	want := []string{"no", "1_000", "1e3", "2026-03-01", "", "~", "null", "-", "0x10", ".5"}
	if d := cmp.Diff(want, got); d != "" {
		t.Errorf("scalars (-want +got):\n%s", d)
	}
	if got := st.Figures.Get("window").Get("caption").Text.Value; got != "One sentence in two lines." {
		t.Errorf("the folded caption is %q", got)
	}
}

// A section whose entries are all commented out is as good as none.
func TestEmptySections(t *testing.T) {
	const s = "study: x\nsamples: y\nabout:\nconstants:\n  # a: 1\nderive:\nconditions:\nquestions:\nfigures:\ntables:\nstyle:\ngraph:\n  a: {kind: k}\n"
	st, faults := Read("study.yaml", []byte(s))
	if len(faults) > 0 {
		t.Fatal(faults)
	}
	if st.About != nil || st.Constants != nil || st.Derive != nil || st.Conditions != nil || st.Questions != nil || st.Figures != nil || st.Tables != nil || st.Style != nil {
		t.Errorf("not empty: %+v", st)
	}
}

func TestLineEndsAndMark(t *testing.T) {
	want, data := readSmall(t)
	for name, b := range map[string][]byte{
		"CRLF":            bytes.ReplaceAll(data, []byte("\n"), []byte("\r\n")),
		"CR":              bytes.ReplaceAll(data, []byte("\n"), []byte("\r")),
		"byte order mark": append([]byte("\uFEFF"), data...),
	} {
		t.Run(name, func(t *testing.T) {
			got, faults := Read("small.yaml", b)
			if len(faults) > 0 {
				t.Fatal(faults)
			}
			if d := cmp.Diff(want.Graph, got.Graph); d != "" {
				t.Errorf("graph (-LF +%s):\n%s", name, d)
			}
			if d := cmp.Diff(want.Figures, got.Figures); d != "" {
				t.Errorf("figures (-LF +%s):\n%s", name, d)
			}
		})
	}
}

// TestWholeStudy reads the large study that comes with the open data.
func TestWholeStudy(t *testing.T) {
	dir := os.Getenv("FASCICLE_OPEN_DATA")
	if dir == "" {
		t.Skip("FASCICLE_OPEN_DATA is not set")
	}
	b, err := os.ReadFile(filepath.Join(dir, "..", "example-study", "study.yaml"))
	if err != nil {
		t.Skip(err)
	}
	st, faults := Read("study.yaml", b)
	if len(faults) > 0 {
		t.Fatal(faults)
	}
	checkPlaces(t, st)
	if len(st.Graph) < 50 || len(st.Derive) < 5 || st.Questions == nil || st.Figures == nil || st.Tables == nil || st.Style == nil {
		t.Errorf("%d stages, %d derived columns", len(st.Graph), len(st.Derive))
	}
}

package main

import (
	"fmt"
	"html"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"unicode/utf8"

	"fascicle/pipeline/store"

	"github.com/google/go-cmp/cmp"
)

const badInputGolden = "testdata/bad-input.golden"

// A badCase is a small study with one thing wrong, and what the program should make of it.
type badCase struct {
	name    string
	command string // "check" or "run"
	change  func(t *testing.T, s smallStudy)
	status  int
	act     func(s smallStudy) call // instead of the command, for disks that fail
	told    []string                // what the report says
}

// TestBadInput holds what the program says of input that is wrong against one file, which was read line by line. Every message gives
// the place, what was found, what was expected and what to do.
func TestBadInput(t *testing.T) {
	groups := []struct {
		name  string
		cases []badCase
	}{
		{"study", badStudies()}, {"sheet", badSheets()}, {"raw files", badRawFiles()}, {"names of files", oddNames()}, {"graph", badGraphs()}, {"store", badStores()},
	}
	said := make([][]string, len(groups))
	t.Run("cases", func(t *testing.T) {
		for i, g := range groups {
			said[i] = make([]string, len(g.cases))
			for k, c := range g.cases {
				t.Run(g.name+"/"+c.name, func(t *testing.T) {
					t.Parallel()
					said[i][k] = fmt.Sprintf("━━ %s: %s\n", g.name, c.name) + c.run(t)
				})
			}
		}
	})
	got := strings.Join(slices.Concat(said...), "\n")
	if *update {
		if err := os.WriteFile(badInputGolden, []byte(got), 0o666); err != nil {
			t.Fatal(err)
		}
		return
	}
	want, err := os.ReadFile(badInputGolden)
	if err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff(strings.Split(string(want), "\n"), strings.Split(got, "\n")); d != "" && !t.Failed() {
		t.Errorf("-want +got:\n%s", d)
	}
}

// hash, temporary and damage stand in messages for what depends on the processor, the process, and which of two readers of a damaged
// object came first: the other finds it dropped.
var (
	hash      = regexp.MustCompile(`\b[0-9a-f]{64}\b`)
	damage    = regexp.MustCompile(`is damaged \([^)]*\);`)
	temporary = regexp.MustCompile(`\.tmp-[0-9]+-[0-9]+`)
)

// run gives what the program says of the case, with its exit status.
func (c badCase) run(t *testing.T) string {
	s := newSmallStudy(t)
	c.change(t, s)
	var ran call
	if c.act != nil {
		ran = c.act(s)
	} else {
		ran = fascicle(t, c.command, s.dir)
	}
	if ran.status != c.status {
		t.Errorf("exit status %d, want %d", ran.status, c.status)
	}
	if ran.status != 0 && ran.err == "" && !strings.Contains(ran.out, "failed ") && !strings.Contains(ran.out, "blocked ") {
		t.Error("nothing is said")
	}
	text := strings.ReplaceAll(ran.err+ran.out, s.dir, "DIR")
	text = temporary.ReplaceAllString(hash.ReplaceAllString(text, "HASH"), ".tmp")
	text = strings.ReplaceAll(text, "the object is not there: HASH", "object HASH is damaged; it is dropped, so that it is made again")
	text = damage.ReplaceAllString(text, "is damaged;")
	if strings.ContainsFunc(text, func(r rune) bool { return r < ' ' && r != '\n' || r == 0x7f || r == utf8.RuneError }) {
		t.Errorf("characters that a terminal obeys, or that are no text: %q", text)
	}
	for _, told := range c.told {
		page, err := os.ReadFile(s.path("out/report.html"))
		if err != nil || !strings.Contains(html.UnescapeString(string(page)), told) {
			t.Errorf("the report does not say %q (%v)", told, err)
		}
	}
	return fmt.Sprintf("$ fascicle %s\n%sexit status %d\n", c.command, text, ran.status)
}

// edited changes a file of the study, once; what is to be replaced must be there.
func edited(name, from, to string) func(*testing.T, smallStudy) {
	return func(t *testing.T, s smallStudy) { edit(t, s.path(name), from, to) }
}

func written(name, text string) func(*testing.T, smallStudy) {
	return func(t *testing.T, s smallStudy) { s.write(t, name, text) }
}

func all(changes ...func(*testing.T, smallStudy)) func(*testing.T, smallStudy) {
	return func(t *testing.T, s smallStudy) {
		for _, c := range changes {
			c(t, s)
		}
	}
}

func badStudies() []badCase {
	study := func(name, from, to string) badCase {
		return badCase{name, "check", edited("study.yaml", from, to), 2, nil, nil}
	}
	good := func(name, from, to string) badCase {
		return badCase{name, "check", edited("study.yaml", from, to), 0, nil, nil}
	}
	return []badCase{
		study("unknown key at the top", "constants:", "constant:"),
		study("unknown key of a stage", "    from: {curve: particles}", "    form: {curve: particles}"),
		study("unknown key of a reference", "where: mixture}\n      background", "were: mixture}\n      background"),
		study("unknown kind", "kind: scattering.guinier", "kind: scattering.guinir"),
		study("unknown kind, nothing near", "kind: scattering.guinier", "kind: bake"),
		study("unknown port", "from: {curve: particles}", "from: {curves: particles}"),
		study("unknown setting", "set: {scale: ratio}", "set: {scales: ratio}"),
		study("setting of a kind that has another", "from: {curve: particles}", "from: {curve: particles}\n    set: {range: 0.1 to 1 1/nm}"),
		study("unknown word of a setting", "from: {curve: particles}", "from: {curve: particles}\n    set: {shape: chains}"),
		study("unknown unit in a column", "q: \"1 [1/Å]\"", "q: \"1 [1/Angst]\""),
		study("unknown unit in a setting", "from: {curve: particles}", "from: {curve: particles}\n    set: {range: [0.1 1/nmm, 1 1/nm]}"),
		study("unit of another dimension", "from: {curve: particles}", "from: {curve: particles}\n    set: {range: [0.1 nm, 1 nm]}"),
		study("no unit where one is due", "from: {curve: particles}", "from: {curve: particles}\n    set: {range: [0.1, 1]}"),
		study("unknown constant", "scale: ratio", "scale: ration"),
		study("constant of another dimension", "scale: ratio", "scale: cell"),
		study("constant that is no number", "ratio: 1.002", "ratio: about one"),
		study("unknown column of the sheet in a condition", "role == \"mixture\"", "rôle == \"mixture\""),
		study("misspelt column of the sheet in a condition", "role == \"mixture\"", "roll == \"mixture\""),
		study("text compared with a number", "role == \"mixture\"", "amount == \"mixture\""),
		study("condition that is no condition", "role == \"mixture\"", "amount"),
		study("broken expression", "role == \"mixture\"", "role == \"mixture"),
		study("unknown condition in a reference", "where: mixture}\n      background", "where: mixtures}\n      background"),
		study("unknown stage", "{curve: particles}", "{curve: particle}"),
		study("unknown output", "{curve: particles}", "{curve: {stage: particles, output: correctd}}"),
		study("unknown field to match", "match: [salt]", "match: [salts]"),
		study("no stage at all", smallStudyFile[strings.Index(smallStudyFile, "graph:"):], "graph: {}\n"),
		study("tab in the indentation", "    kind: import", "\tkind: import"),
		study("duplicate key", "  ratio: 1.002", "  ratio: 1.002\n  ratio: 1.003"),
		study("duplicate stage", "  particles:\n", "  curves:\n"),
		study("anchor", "samples: samples.csv", "samples: &sheet samples.csv"),
		study("alias", "samples: samples.csv", "samples: *sheet"),
		study("merge key", "  ratio: 1.002", "  <<: {ratio: 1.002}"),
		study("tag", "samples: samples.csv", "samples: !!str samples.csv"),
		study("second document", "study: Three samples", "study: Three samples\n---\nstudy: Another"),
		study("no brackets where a list is due", "match: [salt]", "match: salt: salt"),
		study("open bracket", "match: [salt]", "match: [salt"),
		study("unit that YAML takes for a list", "q: \"1 [1/Å]\"", "q: [1/Å]"),
		study("key without a value", "ratio: 1.002", "ratio:"),
		study("constant written as a list", "ratio: 1.002", "ratio: [1, 2]"),
		study("constant with digits parted by _", "ratio: 1.002", "ratio: 1_000"),
		study("reserved name", "  ratio: 1.002", "  sample: 1.002"),
		study("name that is an operator", "  ratio: 1.002", "  in: 1.002"),
		study("name with a hyphen", "  particles:\n", "  my-particles:\n"),
		study("name used twice", "  mixture: role", "  ratio: role"),
		study("column named as a constant", "  cell: 1.003(4) mm", "  salt: 1.003(4) mm"),
		study("files outside the study", "raw/<sample>.dat", "../raw/<sample>.dat"),
		study("files without a folder bracket", "raw/<sample>.dat", "raw/<sample.dat"),
		study("captures side by side", "raw/<sample>.dat", "raw/<sample><rep>.dat"),
		study("number where text in a list is due", "stage: samples, where: mixture", "stage: [samples, 12], where: mixture"),
		{"empty file", "check", written("study.yaml", ""), 2, nil, nil},
		{"comments only", "check", written("study.yaml", "# nothing yet\n"), 2, nil, nil},
		{"not UTF-8", "check", edited("study.yaml", "Three samples", "Three s\xe4mples"), 2, nil, nil},
		{"binary", "check", written("study.yaml", "\x00\x01\x02"), 2, nil, nil},
		{"a list at the top", "check", written("study.yaml", "- study\n"), 2, nil, nil},
		{"10 MB of nesting", "check", written("study.yaml", "study: "+strings.Repeat("[", 10<<20)), 2, nil, nil},
		{"nesting that is small enough to read", "check", edited("study.yaml", "ratio: 1.002", "ratio: "+strings.Repeat("[", 100)+strings.Repeat("]", 100)), 2, nil, nil},
		{"no file", "check", func(t *testing.T, s smallStudy) { s.remove(t, "study.yaml") }, 2, nil, nil},
		{"a folder where the file is due", "check", func(t *testing.T, s smallStudy) {
			s.remove(t, "study.yaml")
			s.write(t, "study.yaml/x", "")
		}, 2, nil, nil},
		{"several faults at once", "check", all(edited("study.yaml", "kind: scattering.guinier", "kind: scattering.guinir"),
			edited("study.yaml", "scale: ratio", "scale: ration"), edited("study.yaml", "match: [salt]", "match: [sault]")), 2, nil, nil},
		{"constant with u but without the unit that is needed", "check", all(edited("study.yaml", "cell: 1.003(4) mm", "cell: 0.100(4)"),
			edited("study.yaml", "  joined:\n", "  solutions:\n    kind: phase.solution\n    from: {sample: samples}\n    set: {salt: NaCl, ionic: cell, temperature: 25 °C}\n\n  joined:\n")), 2, nil, nil},
		study("negative uncertainty", "cell: 1.003(4) mm", "cell: 1.003 ± -0.004 mm"),
		study("degrees of freedom without an uncertainty", "cell: 1.003(4) mm", "cell: 1.003 mm; nu 3"),
		study("no degrees of freedom", "cell: 1.003(4) mm", "cell: 1.003(4) mm; nu 0"),
		study("stage called as sources are", "  particles:\n", "  sheet:\n"),
		good("uncertainty larger than the value", "cell: 1.003(4) mm", "cell: 1.003 ± 2 mm"),
		good("no as a text", "columns:", "fields: {dried: no}\n      columns:"),
		good("title that YAML takes for a date", "Three samples", "2031-03-04"),
		good("title that YAML takes for a number", "Three samples", "1_000"),
	}
}

func badSheets() []badCase {
	sheet := func(name, from, to string) badCase {
		return badCase{name, "check", edited("samples.csv", from, to), 2, nil, nil}
	}
	return []badCase{
		{"missing file", "check", func(t *testing.T, s smallStudy) { s.remove(t, "samples.csv") }, 2, nil, nil},
		{"a folder where the file is due", "check", func(t *testing.T, s smallStudy) {
			s.remove(t, "samples.csv")
			s.write(t, "samples.csv/x", "")
		}, 2, nil, nil},
		{"empty file", "check", written("samples.csv", ""), 2, nil, nil},
		{"head alone", "check", written("samples.csv", "sample,role,salt\n"), 2, nil, nil},
		sheet("duplicate sample", "B,mixture", "A,mixture"),
		sheet("empty sample", "B,mixture", ",mixture"),
		sheet("duplicate column", "role,salt", "role,role"),
		sheet("column without a name", "role,salt", ",salt"),
		sheet("column name with a blank", "role,", "role of it,"),
		sheet("reserved column name", "role,", "item,"),
		sheet("unknown unit", "[mol/L]", "[mool/L]"),
		sheet("open bracket", "[mol/L]", "[mol/L"),
		sheet("unreadable number", "0.2", "0.2 or so"),
		{"number with a unit in the cell, works", "check", edited("samples.csv", "0.2", "200 mmol/L"), 0, nil, nil},
		sheet("decimal comma", "0.2", "\"0,2\""),
		sheet("cell too few", "B,mixture,NaCl,0.2", "B,mixture,NaCl"),
		sheet("cell too many", "B,mixture,NaCl,0.2", "B,mixture,NaCl,0.2,7"),
		sheet("open quote", "B,mixture", "B,\"mixture"),
		{"setting from a column in another unit", "check", edited("study.yaml", "scale: ratio", "scale: amount"), 2, nil, nil},
		{"setting that takes no column", "check", edited("study.yaml", "from: {curve: particles}", "from: {curve: particles}\n    set: {range: [amount, 1 1/nm]}"), 2, nil, nil},
		{"unit missing, in a condition", "check", all(edited("samples.csv", "amount [mol/L]", "amount"),
			edited("study.yaml", "role == \"mixture\"", "amount > \"0.05 mol/L\"")), 2, nil, nil},
		{"number column that holds a word", "check", all(edited("samples.csv", "amount [mol/L]", "amount"), edited("samples.csv", "0.2", "two tenths"),
			edited("study.yaml", "role == \"mixture\"", "amount > 0.05")), 2, nil, nil},
		{"setting beyond its bound, from a column", "run", all(edited("samples.csv", "amount [mol/L]", "share [1]"), edited("samples.csv", "0.2", "-0.2"),
			edited("study.yaml", "scale: ratio", "scale: share")), 1, nil, nil},
		{"setting from an empty cell", "run", all(edited("samples.csv", "amount [mol/L]", "share [1]"), edited("samples.csv", "0.2", ""),
			edited("study.yaml", "scale: ratio", "scale: share")), 1, nil, nil},
	}
}

func badRawFiles() []badCase {
	raw := func(name, text string) badCase { return badCase{name, "run", written("raw/A.dat", text), 1, nil, nil} }
	// works: the curve can be used, and the report says what is odd about it
	works := func(name, text string, told ...string) badCase {
		return badCase{name: name, command: "run", change: written("raw/A.dat", text), told: told}
	}
	good := smallCurve(1, 3, 0.02)
	lines := strings.SplitAfter(good, "\n")
	with := func(at int, line string) string {
		return strings.Join(lines[:at], "") + line + strings.Join(lines[at+1:], "")
	}
	columns := func(n int) string {
		var b strings.Builder
		for _, l := range lines[1 : len(lines)-1] {
			f := strings.Fields(l)
			b.WriteString(strings.Join(append(f, f...)[:n], " ") + "\n")
		}
		return b.String()
	}
	times := func(factor float64) string {
		return smallCurveOf(func(q float64) float64 { return factor * (1 + q*q) })
	}
	column := func(at int, value string) string {
		var b strings.Builder
		for _, l := range lines[1 : len(lines)-1] {
			f := strings.Fields(l)
			f[at] = value
			b.WriteString(strings.Join(f, " ") + "\n")
		}
		return b.String()
	}
	return []badCase{
		raw("empty", ""),
		raw("blank lines only", "\n\n  \n"),
		raw("truncated in a line", good[:len(good)-13]),
		raw("truncated in the first line", good[:9]),
		raw("binary", "PK\x03\x04\x00\x00\x08\x00"),
		raw("words", "Dear colleague,\nhere is the file you asked for.\n"),
		raw("one column", columns(1)),
		raw("two columns", columns(2)),
		raw("five columns", columns(5)),
		raw("a single line", lines[1]),
		raw("not monotonic", with(20, lines[30])),
		raw("duplicate axis value", with(20, lines[19])),
		raw("negative q", with(1, "-0.008000 1.0e+00 1.0e-02\n")),
		raw("negative uncertainty", with(20, strings.Replace(lines[20], " ", " ", 1)[:len(lines[20])-10]+"-1.000e-02\n")),
		raw("all uncertainties zero", column(2, "0")),
		works("word amid numbers", with(20, "0.0228 overflow 0.01\n"), "(lines 21)"),
		works("decimal commas", strings.ReplaceAll(good, ".", ",")),
		raw("another unit in its head", "q [1/nm]  I [1/cm]  u [1/cm]\n"+strings.Join(lines[1:], "")),
		works("numbers beyond floating point", with(20, "0.0228 1e999 1e999\n"), "(lines 21)"),
		raw("second table", good+"\nand again\n"+good),
		{"rises with q where a plateau is due", "run", written("raw/A.dat", times(5)), 1, nil, nil},
		{"all intensities negative", "run", written("raw/A.dat", times(-1)), 1, nil, nil},
		raw("all intensities zero", column(1, "0")),
		{"background that does not overlap", "run", written("raw/S.dat", "0.5 0.02 0.001\n0.6 0.02 0.001\n0.7 0.02 0.001\n"), 1, nil, nil},
		{"background in another unit", "run", all(edited("study.yaml", `      columns: {q: "1 [1/Å]", I: "2 [1/cm]", u_I: "3 [1/cm]"}`, `      columns: {q: q, I: I, u_I: u}`),
			headed("A", 1, "q [1/nm]  I [1/cm]  u [1/cm]"), headed("B", 2, "q [1/nm]  I [1/cm]  u [1/cm]"), headed("S", 3, "q [1/nm]  I [mol/L]  u [mol/L]")), 1, nil, nil},
		{"files without units", "run", all(edited("study.yaml", `      columns: {q: "1 [1/Å]", I: "2 [1/cm]", u_I: "3 [1/cm]"}`, `      columns: {q: 1, I: 2, u_I: 3}`)), 1, nil, nil},
		{"a column that the file has not", "run", edited("study.yaml", `u_I: "3 [1/cm]"`, `u_I: "4 [1/cm]"`), 1, nil, nil},
		{"a head that the file has not", "run", edited("study.yaml", `u_I: "3 [1/cm]"`, `u_I: "sigma [1/cm]"`), 1, nil, nil},
		{"a key that the header has not", "run", edited("study.yaml", "columns:", "header: {energy: \"Energy [keV]\"}\n      columns:"), 1, nil, nil},
		{"no file at all", "run", func(t *testing.T, s smallStudy) {
			for _, n := range []string{"A", "B", "S"} {
				s.remove(t, "raw/"+n+".dat")
			}
		}, 0, nil, nil},
		{"no folder of files", "check", edited("study.yaml", "raw/<sample>.dat", "row/<sample>.dat"), 0, nil, nil},
		{"changed while it is read", "run", func(*testing.T, smallStudy) {}, 1, func(s smallStudy) call {
			return runOn(s, &growingFile{path: s.path("raw/A.dat")})
		}, nil},
	}
}

// headed puts a head of columns before a curve.
func headed(name string, i0 float64, head string) func(*testing.T, smallStudy) {
	return func(t *testing.T, s smallStudy) { s.write(t, "raw/"+name+".dat", head+"\n"+smallCurve(i0, 3, 0.02)) }
}

func oddNames() []badCase {
	link := func(to, name string) func(*testing.T, smallStudy) {
		return func(t *testing.T, s smallStudy) {
			_ = os.Remove(s.path(name))
			if err := os.Symlink(to, s.path(name)); err != nil {
				t.Skip("no links here: ", err)
			}
		}
	}
	// sample renames sample A, in the sheet and on the disk.
	sample := func(name string) func(*testing.T, smallStudy) {
		cell := name
		if strings.ContainsAny(cell, "\",\n") {
			cell = `"` + strings.ReplaceAll(cell, `"`, `""`) + `"`
		}
		return all(edited("samples.csv", "A,mixture", cell+",mixture"), func(t *testing.T, s smallStudy) {
			if err := os.Rename(s.path("raw/A.dat"), s.path("raw/"+name+".dat")); err != nil {
				t.Fatal(err)
			}
		})
	}
	empty := func(name string) func(*testing.T, smallStudy) { return written("raw/"+name+".dat", "") }
	both := func(what, name string) []badCase {
		return []badCase{
			{what + ", works", "run", sample(name), 0, nil, nil},
			{what + ", not in the sheet", "check", written("raw/"+name+".dat", ""), 1, nil, nil},
			{what + ", in a message", "run", all(sample(name), empty(name)), 1, nil, nil},
		}
	}
	var out []badCase
	for _, n := range [][2]string{{"blank", "A b"}, {"blanks about it", " A "}, {"quotes", `A"b'c`}, {"percent", "A%d%s%!"}, {"line end", "A\nb"}, {"not ASCII", "Ä-β-紫"},
		{"colour code", "A\x1b[31m"}, {"comma", "A,b=c"}, {"backslash", `A\b`}, {"dots", ".."}} {
		out = append(out, both(n[0], n[1])...)
	}
	return append(out,
		badCase{"name that is not UTF-8", "run", written("raw/A\xff.dat", smallCurve(1, 3, 0.02)), 1, nil, nil},
		badCase{"sample not in the sheet", "run", written("raw/AA.dat", smallCurve(1, 3, 0.02)), 1, nil, nil},
		badCase{"a file that no stage reads", "check", written("raw/notes.txt", "hello"), 0, nil, nil},
		badCase{"a ring of links", "run", all(link("B.dat", "raw/A.dat"), link("A.dat", "raw/B.dat")), 1, nil, nil},
		badCase{"a link to itself", "run", link("A.dat", "raw/A.dat"), 1, nil, nil},
		badCase{"a link to nothing", "run", link("nothing.dat", "raw/A.dat"), 1, nil, nil},
		badCase{"a link to a folder", "run", link(".", "raw/A.dat"), 1, nil, nil},
		badCase{"a ring of folders", "run", link("..", "raw/deeper"), 0, nil, nil},
		badCase{"a link to another file", "run", all(func(t *testing.T, s smallStudy) {
			if err := os.Rename(s.path("raw/A.dat"), s.path("elsewhere.dat")); err != nil {
				t.Fatal(err)
			}
		}, link("../elsewhere.dat", "raw/A.dat")), 0, nil, nil},
		badCase{"a folder where a file is due", "run", func(t *testing.T, s smallStudy) {
			s.remove(t, "raw/A.dat")
			s.write(t, "raw/A.dat/B.dat", "")
		}, 0, nil, nil},
	)
}

func badGraphs() []badCase {
	study := func(name, from, to string) badCase {
		return badCase{name, "check", edited("study.yaml", from, to), 2, nil, nil}
	}
	run := func(name, from, to string) badCase {
		return badCase{name, "run", edited("study.yaml", from, to), 1, nil, nil}
	}
	return []badCase{
		study("a stage that feeds itself", "curve: {stage: curves, where: mixture}", "curve: particles"),
		study("a ring of stages", "curve: {stage: curves, where: mixture}", "curve: {stage: more, where: mixture}").and(
			edited("study.yaml", "  sizes:\n", "  more:\n    kind: correct.subtract\n    from:\n      curve: {stage: particles, where: mixture}\n      background: {stage: curves, match: [salt]}\n  sizes:\n")),
		study("a port that is not fed", "      background: {stage: curves, where: not mixture, match: [salt]}\n", ""),
		study("values where a curve is due", "from: {curve: particles}", "from: {curve: samples}"),
		study("a curve where values are due", "values: sizes", "values: particles"),
		study("an axis in another unit", "kind: scattering.guinier\n    from: {curve: particles}", "kind: scattering.guinier\n    from: {curve: times}").and(
			edited("study.yaml", "  particles:\n", "  times:\n    kind: import\n    set: {files: raw/<sample>.txt, columns: {t: \"1 [s]\", I: \"2 [1/cm]\"}}\n  particles:\n")),
		study("a background in another unit", "background: {stage: curves,", "background: {stage: lengths,").and(
			edited("study.yaml", "  particles:\n", "  lengths:\n    kind: import\n    set: {files: raw/<sample>.dat, columns: {q: \"1 [1/Å]\", I: \"2 [nm]\"}}\n  particles:\n")),
		study("a background without a way to find it", ", match: [salt]", ""),
		study("one of several references is to nothing", "curve: particles", "curve: [particles, curves, nothing]"),
		run("no partner", "where: not mixture", "where: salt == \"KCl\""),
		run("two partners", "where: not mixture, match", "match"),
		{"no item passes", "run", edited("study.yaml", "role == \"mixture\"", "role == \"mix\""), 0, nil, nil},
		{"two files of one name", "run", all(edited("study.yaml", "raw/<sample>.dat", "raw/<sample>.*"), written("raw/A.txt", smallCurve(1, 3, 0.02))), 1, nil, nil},
		{"a name that can be split in two ways", "run", all(edited("study.yaml", "raw/<sample>.dat", "raw/<sample>_<rep>.dat"), edited("samples.csv", "A,mixture", "A_1,mixture"),
			edited("samples.csv", "B,mixture", "A,mixture"), written("raw/A_1_2.dat", smallCurve(1, 3, 0.02))), 1, nil, nil},
		{"the file and the sheet do not agree", "run", all(edited("study.yaml", "raw/<sample>.dat", "raw/<salt>/<sample>.dat"), written("raw/KCl/A.dat", smallCurve(1, 3, 0.02))), 1, nil, nil},
		{"a field that is a number here and a text there", "check", edited("study.yaml", "raw/<sample>.dat", "raw/<salt [nm]>/<sample>.dat"), 2, nil, nil},
	}
}

func (c badCase) and(more func(*testing.T, smallStudy)) badCase {
	first := c.change
	c.change = all(first, more)
	return c
}

func badStores() []badCase {
	ran := func(t *testing.T, s smallStudy) { fascicle(t, "run", s.dir).want(t, 0, nil, nil) }
	nothing := func(*testing.T, smallStudy) {}
	return []badCase{
		{"written by a newer program", "run", all(ran, written(".fascicle/store/VERSION", "999\n")), 2, nil, nil},
		{"version that is no number", "run", all(ran, written(".fascicle/store/VERSION", "??\n")), 2, nil, nil},
		{"damaged index", "run", all(ran, func(t *testing.T, s smallStudy) {
			name := s.path(".fascicle/store/index")
			data, err := os.ReadFile(name)
			if err != nil {
				t.Fatal(err)
			}
			data[len(data)/2] ^= 0x20
			s.write(t, ".fascicle/store/index", string(data))
		}), 0, nil, nil},
		{"damaged object", "run", all(ran, func(t *testing.T, s smallStudy) {
			objects, err := filepath.Glob(s.path(".fascicle/store/objects/*/*"))
			if err != nil || len(objects) == 0 {
				t.Fatal(err, objects)
			}
			for _, o := range objects {
				if err := os.WriteFile(o, []byte("rubbish"), 0o666); err != nil {
					t.Fatal(err)
				}
			}
			if err := os.RemoveAll(s.path("out")); err != nil {
				t.Fatal(err)
			}
		}), 0, func(s smallStudy) call { return runOn(s, store.OS{}) }, nil},
		{"a file where the folder is due", "run", written(".fascicle", "mine"), 2, nil, nil},
		{"a file where out/ is due", "run", written("out", "mine"), 2, nil, nil},
		{"somebody else's files in out/", "run", written("out/thesis.txt", "mine"), 2, nil, nil},
		{"record of a newer program", "compare", all(ran, written(".fascicle/runs/000002.json", `{"format":99,"run":2}`)), 2, nil, nil},
		{"damaged record", "compare", all(ran, written(".fascicle/runs/000002.json", `{"format":`)), 2, nil, nil},
		{"read-only folder", "run", nothing, 2, func(s smallStudy) call { return runOn(s, &readOnlyDisk{}) }, nil},
		{"full disk", "run", nothing, 2, func(s smallStudy) call { return runOn(s, &fullDisk{}) }, nil},
		{"raw file that must not be read", "run", nothing, 1, func(s smallStudy) call { return runOn(s, &lockedFile{path: s.path("raw/A.dat")}) }, nil},
	}
}

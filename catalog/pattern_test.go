package catalog

import (
	"fmt"
	"regexp"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"
)

func mustPattern(t testing.TB, text string) *Pattern {
	t.Helper()
	p, err := ParsePattern(text)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

func TestParsePattern(t *testing.T) {
	for _, test := range []struct {
		text     string
		captures []Capture
		dir      string
		literal  bool
	}{
		{"raw/decay/<sample>_<rep>.csv", []Capture{{Name: "sample"}, {Name: "rep"}}, "raw/decay", false},
		{"raw/checks/dichromate_<day>_<level [mg/L]>.dx", []Capture{{Name: "day"}, {Name: "level", Type: Numeric, Unit: mustUnit("mg/L"), HasUnit: true}}, "raw/checks", false},
		{"raw/<day>/x.csv", []Capture{{Name: "day"}}, "raw", false},
		{"<taken [date]>_< n [1] >.csv", []Capture{{Name: "taken", Type: Date}, {Name: "n", Type: Numeric, HasUnit: true}}, "", false},
		{"raw/excitation/scans_*.csv", nil, "raw/excitation", false},
		{"raw/standards/lamp.csv", nil, "raw/standards", true},
		{"lamp.csv", nil, "", true},
		{"raw/decay/<day>.zip!/<sample>_<width [ps]>.dat", []Capture{{Name: "day"}, {Name: "sample"}, {Name: "width", Type: Numeric, Unit: mustUnit("ps"), HasUnit: true}}, "raw/decay", false},
		{"raw/decay/d2.zip!/inner/<sample>.dat", []Capture{{Name: "sample"}}, "raw/decay", false},
		{"raw/decay/d2.zip!/inner/a.dat", nil, "raw/decay", true},
	} {
		t.Run(test.text, func(t *testing.T) {
			p := mustPattern(t, test.text)
			if diff := cmp.Diff(test.captures, p.Captures()); diff != "" {
				t.Error(diff)
			}
			if p.Dir() != test.dir || p.Literal() != test.literal || p.String() != test.text {
				t.Errorf("folder %q, literal %v, text %q", p.Dir(), p.Literal(), p)
			}
		})
	}
}

func TestPatternArchive(t *testing.T) {
	archive, members, ok := mustPattern(t, "raw/<day>.zip!/in/<sample>.dat").Archive()
	if archive != "raw/<day>.zip" || members != "in/<sample>.dat" || !ok {
		t.Errorf("got %q, %q, %v", archive, members, ok)
	}
	if _, _, ok := mustPattern(t, "raw/<day>.zip").Archive(); ok {
		t.Error("an archive where there is none")
	}
}

func TestParsePatternFaults(t *testing.T) {
	for _, test := range []struct{ text, want string }{
		{"", `found pattern ""; expected a name such as raw/<sample>_<rep>.csv`},
		{"raw/<sample", `found pattern "raw/<sample" with < without >; expected captures such as <sample> or <ex [nm]>`},
		{"raw/sample>", `found pattern "raw/sample>" with > without <; expected captures such as <sample> or <ex [nm]>`},
		{"<a><b>", `found pattern "<a><b>" with nothing between two gaps; expected text between them; part captures and stars by a character that names hold there`},
		{"raw/**/x", `found pattern "raw/**/x" with nothing between two gaps; expected text between them; part captures and stars by a character that names hold there`},
		{"<a>/<a>", `found pattern "<a>/<a>" that captures a twice; expected each field once; write * for the second`},
		{"<2a>", `found pattern "<2a>", capture <2a>; expected a field such as <rep>, <ex [nm]> or <taken [date]>; name it in letters a-z, digits and _, not beginning with a digit`},
		{"<in>", `found pattern "<in>", capture <in>; expected a name that is not reserved; rename the field`},
		{"<sample [1]>", `found pattern "<sample [1]>", capture <sample [1]>; expected <sample>; samples are named by text`},
		{"<x []>", `found pattern "<x []>", capture <x []>; expected a unit in the brackets; write [1] for a bare number`},
		{"<x [mmoll]>", `found pattern "<x [mmoll]>", capture <x [mmoll]>; found unknown unit "mmoll"; did you mean "mmol/L"?`},
		{"/raw/x", `found pattern "/raw/x"; expected a path relative to the study; put the files into a folder of the study`},
		{"C:/raw/x", `found pattern "C:/raw/x"; expected a path relative to the study; put the files into a folder of the study`},
		{"../x", `found pattern "../x"; expected a path without . and .. as folders; put the files into a folder of the study`},
		{"raw/./x", `found pattern "raw/./x"; expected a path without . and .. as folders; put the files into a folder of the study`},
		{"raw//x", `found pattern "raw//x"; expected a name between any two /, and behind the last`},
		{"raw/", `found pattern "raw/"; expected a name between any two /, and behind the last`},
		{"raw/!/x", `found pattern "raw/!/x"; expected a name between any two /, and behind the last`},
		{`raw\x`, `found pattern "raw\\x"; expected folders parted by /`},
		{"a.zip!/b.zip!/c", `found pattern "a.zip!/b.zip!/c"; expected one archive; unpack the outer one`},
		{strings.Repeat("a*", 17), `found pattern "` + strings.Repeat("a*", 17) + `"; expected at most 16 captures and stars`},
	} {
		t.Run(test.text, func(t *testing.T) {
			_, err := ParsePattern(test.text)
			if err == nil {
				t.Fatal("no error")
			}
			if diff := cmp.Diff(test.want, err.Error()); diff != "" {
				t.Error(diff)
			}
		})
	}
}

func TestMatch(t *testing.T) {
	for _, test := range []struct {
		name, pattern, path string
		want                [][]string
	}{
		{"simple", "raw/decay/<day>/<sample>_<band>.csv", "raw/decay/d1/LN35_donor.csv", [][]string{{"d1", "LN35", "donor"}}},
		{"number", "raw/<sample>_<ex [nm]>_<scan>.txt", "raw/water-1_350_1.txt", [][]string{{"water-1", "350", "1"}}},
		{"number refused", "raw/<sample>_<ex [nm]>.txt", "raw/water_long.txt", nil},
		{"number with point", "<day>.zip!/<s>_<band>_<width [ps]>.dat", "d2.zip!/LC55_acceptor_24.4.dat", [][]string{{"d2", "LC55", "acceptor", "24.4"}}},
		{"number decides", "<sample>_<ex [nm]>_<scan>.txt", "LN_x_350_a.txt", [][]string{{"LN_x", "350", "a"}}},
		{"two ways", "<sample>_<rep>.csv", "LN_35_1.csv", [][]string{{"LN", "35_1"}, {"LN_35", "1"}}},
		{"no text", "<sample>_<rep>.csv", "_1.csv", nil},
		{"not across folders", "raw/<sample>.csv", "raw/d1/a.csv", nil},
		{"not across folders in the middle", "raw/<day>/<sample>_1.csv", "raw/a/b/c_1.csv", nil},
		{"star may be empty", "scans_*.csv", "scans_.csv", [][]string{{}}},
		{"star not across folders", "scans_*.csv", "scans_/a.csv", nil},
		{"star beside capture", "<sample>_*.csv", "a_b_c.csv", [][]string{{"a"}, {"a_b"}}},
		{"literal", "raw/lamp.csv", "raw/lamp.csv", [][]string{{}}},
		{"literal differs", "raw/lamp.csv", "raw/lamp.CSV", nil},
		{"overlap of head and tail", "aba<x>aba", "abaaba", nil},
		{"overlap in the middle", "<x>aa<y>", "baaab", [][]string{{"b", "ab"}, {"ba", "b"}}},
		{"date", "<taken [date]>.csv", "2031-03-04.csv", [][]string{{"2031-03-04"}}},
		{"compact date", "x_<taken [date]>.csv", "x_20310304.csv", [][]string{{"2031-03-04"}}},
		{"date and time", "x_<taken [date]>.csv", "x_2031-03-04_09-15-00.csv", [][]string{{"2031-03-04T09:15:00"}}},
		{"compact date and time", "x_<taken [date]>.csv", "x_20310304T091500.csv", [][]string{{"2031-03-04T09:15:00"}}},
		{"date and compact time", "x_<taken [date]>.csv", "x_2031-03-04_091500.csv", [][]string{{"2031-03-04T09:15:00"}}},
		{"date and time run together", "x_<taken [date]>.csv", "x_20310304091500.csv", nil},
		{"other separator", "x_<taken [date]>.csv", "x_20310304x091500.csv", nil},
		{"no such date", "x_<taken [date]>.csv", "x_20310230.csv", nil},
		{"other characters", "röntgen <a> (µ).csv", "röntgen Å1 (µ).csv", [][]string{{"Å1"}}},
		{"empty name", "<a>", "", nil},
	} {
		t.Run(test.name, func(t *testing.T) {
			if diff := cmp.Diff(test.want, mustPattern(t, test.pattern).Match(test.path)); diff != "" {
				t.Error(diff)
			}
		})
	}
}

func TestNamePattern(t *testing.T) {
	p, err := ParseNamePattern("# <sample>, excited at <ex [nm]>, scan <scan>")
	if err != nil {
		t.Fatal(err)
	}
	want := [][]string{{"LC55 1/2", "350", "2"}}
	if diff := cmp.Diff(want, p.Match("# LC55 1/2, excited at 350, scan 2")); diff != "" {
		t.Error(diff)
	}
	if _, err := ParseNamePattern("<a"); err == nil {
		t.Error("a faulty pattern is taken")
	}
}

// Names with many ways end at 64 of them, and names without any end soon.
func TestMatchIsBounded(t *testing.T) {
	p := mustPattern(t, "<a>_<b>_<c>_<d>_<e>_<f>_<g>_<h>")
	if got := len(p.Match(strings.Repeat("_", 1000))); got != mostWays {
		t.Errorf("%d ways, want %d", got, mostWays)
	}
	p = mustPattern(t, "<a>_<b>_<c>_<d>_<e>_<f>_<g>_<h [nm]>")
	if got := p.Match(strings.Repeat("_", 1000)); got != nil {
		t.Errorf("%d ways, want none", len(got))
	}
}

// asRegexp is the pattern as a regular expression, for text captures.
func asRegexp(pattern string) *regexp.Regexp {
	quoted := regexp.QuoteMeta(pattern)
	quoted = regexp.MustCompile(`<[a-z]>`).ReplaceAllString(quoted, `([^/]+)`)
	return regexp.MustCompile(`^(?s:` + strings.ReplaceAll(quoted, `\*`, `[^/]*`) + `)$`)
}

func TestMatchAgreesWithRegexp(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var text strings.Builder
		name := byte('a')
		for i := range rapid.IntRange(1, 4).Draw(t, "pieces") {
			if i > 0 || rapid.Bool().Draw(t, "head") {
				text.WriteString(rapid.StringMatching(`[ab_]{1,2}(/[ab])?`).Draw(t, "literal"))
			}
			if rapid.IntRange(0, 3).Draw(t, "star") == 0 {
				text.WriteByte('*')
			} else {
				fmt.Fprintf(&text, "<%c>", name)
				name++
			}
		}
		p, err := ParsePattern(text.String())
		if err != nil {
			t.Fatal(err)
		}
		path := rapid.StringMatching(`[ab_]{0,8}(/[ab_]{1,6})?`).Draw(t, "path")
		ways := p.Match(path)
		if want := asRegexp(text.String()).MatchString(path); want != (ways != nil) {
			t.Fatalf("%s on %s gives %q, a regular expression says %v", text.String(), path, ways, want)
		}
		seen := map[string]bool{}
		for _, way := range ways {
			filled := text.String()
			for i, c := range p.Captures() {
				filled = strings.Replace(filled, "<"+c.Name+">", way[i], 1)
			}
			if !asRegexp(filled).MatchString(path) {
				t.Fatalf("%s on %s gives %q, which does not fill it", text.String(), path, way)
			}
			key := strings.Join(way, "\x00")
			if seen[key] && !strings.Contains(text.String(), "*") {
				t.Fatalf("%s on %s gives %q twice", text.String(), path, way)
			}
			seen[key] = true
		}
	})
}

func FuzzPattern(f *testing.F) {
	f.Add("raw/decay/<sample>_<rep>.csv", "raw/decay/a_b_1.csv")
	f.Add("<day>.zip!/<x [ps]>*.dat", "d1.zip!/24.4.dat")
	f.Add("<t [date]>", "20310304T101010")
	f.Fuzz(func(t *testing.T, pattern, name string) {
		p, err := ParsePattern(pattern)
		if err != nil {
			return
		}
		if again, err := ParsePattern(p.String()); err != nil || again.Literal() != p.Literal() {
			t.Fatalf("%q does not read back", pattern)
		}
		ways := p.Match(name)
		if len(ways) > mostWays {
			t.Fatalf("%d ways", len(ways))
		}
		for _, way := range ways {
			if len(way) != len(p.captures) {
				t.Fatalf("%d texts for %d captures", len(way), len(p.captures))
			}
			for i, text := range way {
				if text == "" || strings.Contains(text, "/") || p.captures[i].Type != Date && !strings.Contains(name, text) {
					t.Fatalf("%q is captured from %q", text, name)
				}
			}
		}
		if ways != nil && !strings.HasPrefix(name, p.Dir()) {
			t.Fatalf("%q lies outside %q", name, p.Dir())
		}
	})
}

func BenchmarkMatch(b *testing.B) {
	names := make([]string, 3000)
	for i := range names {
		names[i] = fmt.Sprintf("raw/emission/d%d/LN%d-b_%d_%d.txt", i%7, i, 300+i%100, i%3)
	}
	p := mustPattern(b, "raw/emission/<day>/<sample>_<ex [nm]>_<scan>.txt")
	b.Run("3000 paths", func(b *testing.B) {
		for b.Loop() {
			for _, name := range names {
				if p.Match(name) == nil {
					b.Fatal(name)
				}
			}
		}
	})
}

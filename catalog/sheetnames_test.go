package catalog

import (
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/google/go-cmp/cmp"
	"golang.org/x/text/unicode/norm"
	"pgregory.net/rapid"
)

func TestFind(t *testing.T) {
	sheet, faults := ReadSheet("s.csv", []byte("sample,also\nLN-35,first | mix 1\nLN50-9,\nS1.5,\nÅ/2,µ5\nLN5-09,\n3-4-1,\n,\n"))
	if err := faults.Err(); err != nil {
		t.Fatal(err)
	}
	for _, test := range []struct {
		name, sample string
		ambiguous    []string
	}{
		{"LN-35", "LN-35", nil}, {"ln35", "LN-35", nil}, {"LN_35", "LN-35", nil}, {" ln 35 ", "LN-35", nil}, {"L.N.35", "LN-35", nil}, {"LN–35", "LN-35", nil}, {"LN35-", "LN-35", nil},
		{"first", "LN-35", nil}, {"FIRST", "LN-35", nil}, {"Mix_1", "LN-35", nil}, {"mix 1", "LN-35", nil}, {"first | mix 1", "", nil},
		{"ln50_9", "LN50-9", nil}, {"ln50 - 9", "LN50-9", nil}, {"LN509", "", []string{"LN50-9", "LN5-09"}}, {"LN-509", "", []string{"LN50-9", "LN5-09"}},
		{"S15", "", []string{"S1.5"}}, {"s1_5", "S1.5", nil}, {"LN3-5", "", []string{"LN-35"}}, {"LN36", "", nil}, {"", "", nil}, {"-", "", nil},
		{"A\u030A/2", "Å/2", nil}, {"å/2", "Å/2", nil}, {"\u03BC5", "Å/2", nil}, {"3.4.1", "3-4-1", nil}, {"34-1", "", []string{"3-4-1"}},
	} {
		t.Run(test.name, func(t *testing.T) {
			sample, ok, ambiguous := sheet.Find(test.name)
			if sample != test.sample || ok != (test.sample != "") {
				t.Errorf("got %q, %v", sample, ok)
			}
			if diff := cmp.Diff(test.ambiguous, ambiguous); diff != "" {
				t.Error(diff)
			}
		})
	}
}

// A sheet with names that collide says so, and does not guess between them either.
func TestFindInFaultySheet(t *testing.T) {
	sheet, faults := ReadSheet("s.csv", []byte("sample,x\nk1,1\nK1,2\n"))
	if len(faults) != 1 {
		t.Fatal(faults)
	}
	for name, want := range map[string]string{"k1": "k1", "K1": "K1", "k-1": ""} {
		sample, ok, ambiguous := sheet.Find(name)
		if sample != want || ok != (want != "") || !ok && !cmp.Equal(ambiguous, []string{"k1", "K1"}) {
			t.Errorf("%s is %q, %v, %v", name, sample, ok, ambiguous)
		}
	}
}

func drawName(t *rapid.T) string {
	return rapid.StringOfN(rapid.RuneFrom([]rune("aAbÅµß019-_. –/")), 1, 8, -1).Draw(t, "name")
}

// Names are found in any spelling that differs in capitals and separators, and those alone.
func TestFoldName(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		name := drawName(t)
		folded, loose := foldName(name)
		if again, _ := foldName(folded); again != folded {
			t.Fatalf("%q folds to %q, and that to %q", name, folded, again)
		}
		if l, _ := foldName(loose); l != loose || strings.ReplaceAll(folded, "-", "") != loose {
			t.Fatalf("%q: %q, %q", name, folded, loose)
		}
		for _, same := range []string{strings.ToLower(name), strings.ReplaceAll(name, "_", "-"), "- " + name + ".", norm.NFD.String(name), strings.ReplaceAll(name, "a", "A")} {
			if got, _ := foldName(same); got != folded {
				t.Fatalf("%q folds to %q, %q to %q", name, folded, same, got)
			}
		}
		if longer, _ := foldName(name + "7"); longer == folded {
			t.Fatalf("%q and %q7 are the same", name, name)
		}
	})
}

func FuzzFind(f *testing.F) {
	f.Add("LN-35", "ln35")
	f.Add("S1.5", "S15")
	f.Fuzz(func(t *testing.T, a, b string) {
		if !utf8.ValidString(a) || !utf8.ValidString(b) || strings.ContainsAny(a+b, "\x00\"") || strings.TrimSpace(a) == "" {
			return
		}
		sheet, faults := ReadSheet("s.csv", []byte("sample,x\n\""+a+"\",1\nother sample,2\n"))
		if len(faults) > 0 {
			return
		}
		name := sheet.Rows[0].Sample
		if got, ok, _ := sheet.Find(a); !ok || got != name {
			t.Fatalf("%q is found as %q", a, got)
		}
		got, ok, ambiguous := sheet.Find(b)
		if ok && len(ambiguous) > 0 || !ok && got != "" {
			t.Fatalf("%q: %q, %v, %v", b, got, ok, ambiguous)
		}
		foldedA, _ := foldName(name)
		foldedB, _ := foldName(b)
		if ok && got == name && strings.TrimSpace(b) != name && foldedA != foldedB {
			t.Fatalf("%q is taken for %q", b, name)
		}
	})
}

func FuzzParseDate(f *testing.F) {
	for _, seed := range []string{"2031-03-04", "03/04/2024", "25.12.31", "4 Mar 2031", "2031-03-04 10:00", "31/02/2031"} {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, s string) {
		date, err := ParseDate(s)
		if err == nil {
			if again, err := ParseDate(date); err != nil || again != date {
				t.Fatalf("%q is %q, which is %q: %v", s, date, again, err)
			}
			return
		}
		for _, day := range daysOf(s) {
			if again, err := ParseDate(day); err != nil || again != day {
				t.Fatalf("%q may be %q: %v", s, day, err)
			}
		}
	})
}

package fault

import (
	"errors"
	"io"
	"slices"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"
)

func TestError(t *testing.T) {
	for _, test := range []struct {
		name  string
		fault Fault
		want  string
	}{
		{"whole", Fault{File: "samples.csv", Line: 12, Col: 5, Found: `"abc"`, Expected: "a number in mol/L",
			Remedy: "correct the cell or leave it empty"},
			`samples.csv:12:5: found "abc"; expected a number in mol/L; correct the cell or leave it empty`},
		{"sample", Fault{File: "samples.csv", Line: 12, Sample: "LN35", Found: "3 cells"}, `samples.csv:12: sample LN35: found 3 cells`},
		{"file alone", Fault{File: "study.yaml", Err: io.ErrUnexpectedEOF}, `study.yaml: unexpected EOF`},
		{"line alone", Fault{Line: 3, Col: 1, Found: "x"}, `line 3:1: found x`},
		{"cell of a workbook", Fault{File: "samples.xlsx!Runs", Line: 4, Col: 2, Cell: "B4", Found: "x"}, `samples.xlsx!Runs:B4: found x`},
		{"cell alone", Fault{Line: 4, Col: 2, Cell: "B4", Found: "x"}, `cell B4: found x`},
		{"column without line", Fault{Col: 4, Found: "x"}, `found x`},
		{"cause", Fault{Found: "x", Remedy: "mend it", Err: io.EOF}, `found x; EOF; mend it`},
		{"empty", Fault{}, `fault without a description`},
	} {
		t.Run(test.name, func(t *testing.T) {
			if diff := cmp.Diff(test.want, test.fault.Error()); diff != "" {
				t.Error(diff)
			}
		})
	}
}

func TestList(t *testing.T) {
	var list List
	if err := list.Err(); err != nil {
		t.Fatalf("an empty list is the error %v", err)
	}
	list.Add(&Fault{File: "b", Line: 1, Found: "4"}, nil, &Fault{File: "a", Line: 2, Col: 2, Found: "3"})
	list.Add(&Fault{File: "a", Line: 2, Col: 1, Found: "1", Err: io.EOF}, &Fault{File: "a", Line: 2, Col: 1, Found: "2"})
	list.Sort()
	want := "a:2:1: found 1; EOF\na:2:1: found 2\na:2:2: found 3\nb:1: found 4"
	if diff := cmp.Diff(want, list.Err().Error()); diff != "" {
		t.Error(diff)
	}
	if !errors.Is(list.Err(), io.EOF) {
		t.Error("the cause of a fault is not found through the list")
	}
	var f *Fault
	if !errors.As(list.Err(), &f) || f.Found != "1" {
		t.Errorf("errors.As gives %v, want the first fault", f)
	}
}

func TestNearest(t *testing.T) {
	words := []string{"nm", "mmol/L", "mol/L", "sample", "salt", "import", "lifetime.fit", "Pa", "pA", "m"}
	for _, test := range []struct{ name, word, want string }{
		{"missing character", "mmoll", "mmol/L"},
		{"exchanged neighbours", "improt", "import"},
		{"exchange before omission", "mn", "nm"},
		{"capitals", "NM", "nm"},
		{"capitals decide ties", "PA", "Pa"},
		{"one wrong", "lifetime.git", "lifetime.fit"},
		{"too far", "wavelength", ""},
		{"single characters have no neighbours", "n", ""},
		{"empty", "", ""},
		{"spaces around", " salt ", "salt"},
		{"too many slips for the length", "slit!!", ""},
	} {
		t.Run(test.name, func(t *testing.T) {
			if got := Nearest(test.word, words); got != test.want {
				t.Errorf("Nearest(%q) = %q, want %q", test.word, got, test.want)
			}
		})
	}
}

func TestUnknown(t *testing.T) {
	for _, test := range []struct {
		name, word string
		words      []string
		found      string
		remedy     string
	}{
		{"near", "mmoll", []string{"mmol/L", "nm"}, `unknown unit "mmoll"`, `did you mean "mmol/L"?`},
		{"few", "xyzzy", []string{"nm", "cm"}, `unknown unit "xyzzy"`, `use one of nm, cm`},
		{"many", "xyzzy", make([]string, 40), `unknown unit "xyzzy"`, ``},
		{"none", "xyzzy", nil, `unknown unit "xyzzy"`, ``},
	} {
		t.Run(test.name, func(t *testing.T) {
			found, remedy := Unknown("unit", test.word, test.words)
			if found != test.found || remedy != test.remedy {
				t.Errorf("got %q, %q; want %q, %q", found, remedy, test.found, test.remedy)
			}
		})
	}
}

func TestDistance(t *testing.T) {
	// kitten, sitting: 3 and ca, abc: 3 (optimal string alignment; 2 if edited pieces could be edited again): textbook
	// examples, from memory
	for _, test := range []struct {
		a, b string
		want int
	}{{"kitten", "sitting", 3}, {"ca", "abc", 3}, {"ab", "ba", 1}, {"", "abc", 3}, {"abc", "abc", 0}} {
		t.Run(test.a+" "+test.b, func(t *testing.T) {
			if got := distance([]rune(test.a), []rune(test.b)); got != test.want {
				t.Errorf("got %d, want %d", got, test.want)
			}
		})
	}
}

func TestNearestProperties(t *testing.T) {
	word := rapid.StringOfN(rapid.RuneFrom([]rune("abAB_/.é")), 0, 8, -1)
	rapid.Check(t, func(t *rapid.T) {
		words := rapid.SliceOfN(word, 0, 8).Draw(t, "words")
		w := word.Draw(t, "word")
		got := Nearest(w, words)
		if got != "" && !slices.Contains(words, got) {
			t.Fatalf("%q is none of the words", got)
		}
		shuffled := rapid.Permutation(words).Draw(t, "shuffled")
		if again := Nearest(w, shuffled); again != got {
			t.Fatalf("order matters: %q, then %q", got, again)
		}
		if w != "" && slices.Contains(words, w) && got != w {
			t.Fatalf("Nearest(%q) = %q, though the word itself is there", w, got)
		}
		a, b := []rune(w), []rune(word.Draw(t, "other"))
		if d, e := distance(a, b), distance(b, a); d != e || d > max(len(a), len(b)) || (d == 0) != (string(a) == string(b)) {
			t.Fatalf("distance %d, back %d", d, e)
		}
	})
}

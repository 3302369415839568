package table

import (
	"math"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

// fixed is a table with one of everything.
func fixed() *Table {
	t := &Table{Header: map[string]string{"instrument": "bench", "comment": "violane in ambrelle, 25 °C", "empty": ""}}
	t.AddFloat("q", "1/nm", []float64{0.1, 0.2, 0.4, 0.8})
	t.AddFloatValid("I", "1/cm", []float64{12.5, math.NaN(), -3e-4, math.Copysign(0, -1)}, []bool{true, false, true, true})
	t.AddFloatValid("u_I", "1/cm", []float64{0.5, 7, 1e-5, 0}, []bool{true, false, true, true})
	t.AddInt("counts", "1", []int64{0, -1, math.MaxInt64, math.MinInt64})
	t.AddText("I_bound", []string{"lower", "", "upper", "lower"}).Valid = []bool{true, true, false, true}
	return t
}

func TestColumns(t *testing.T) {
	tab := fixed()
	if got, want := tab.Len(), 4; got != want {
		t.Errorf("Len: got %d, want %d", got, want)
	}
	if diff := cmp.Diff([]string{"q", "I", "u_I", "counts", "I_bound"}, tab.Names()); diff != "" {
		t.Errorf("Names (-want +got):\n%s", diff)
	}
	want := []ColumnInfo{{"q", "1/nm", Float}, {"I", "1/cm", Float}, {"u_I", "1/cm", Float}, {"counts", "1", Int}, {"I_bound", "", Text}}
	if diff := cmp.Diff(want, tab.Schema()); diff != "" {
		t.Errorf("Schema (-want +got):\n%s", diff)
	}
	if got := tab.Floats("q"); !slices.Equal(got, []float64{0.1, 0.2, 0.4, 0.8}) {
		t.Errorf("Floats(q): got %v", got)
	}
	for _, name := range []string{"counts", "I_bound", "absent"} {
		if got := tab.Floats(name); got != nil {
			t.Errorf("Floats(%s): got %v, want nil", name, got)
		}
	}
	if tab.Col("absent") != nil {
		t.Error("Col(absent): found a column")
	}
	if c := tab.Col("I"); c.IsNull(0) || !c.IsNull(1) || c.Len() != 4 {
		t.Errorf("Col(I): nulls or length are wrong: %+v", c)
	}
	if c := tab.Col("q"); c.IsNull(3) {
		t.Error("Col(q): an entry is null though nothing is missing")
	}
	if (&Table{}).Len() != 0 {
		t.Error("an empty table has rows")
	}
	if got := Type(7).String(); got != "Type(7)" || Float.String() != "float" || Int.String() != "int" || Text.String() != "text" {
		t.Errorf("words for types are wrong: %s", got)
	}
}

func TestCheck(t *testing.T) {
	many := &Table{}
	for i := range 20 {
		many.AddInt(strings.Repeat("x", i%19+1), "1", nil)
	}
	numbers := func(v ...float64) *Table {
		tab := &Table{}
		tab.AddFloat("q", "1/nm", v)
		return tab
	}
	tests := []struct {
		name  string
		table *Table
		want  []string // all of these; none: no error
	}{
		{"good", &Table{Columns: []Column{{Name: "q", Floats: []float64{1}}}}, nil},
		{"empty", &Table{}, nil},
		{"NaN under null", &Table{Columns: []Column{{Name: "q", Floats: []float64{math.NaN()}, Valid: []bool{false}}}}, nil},
		{"largest", numbers(math.MaxFloat64, -math.MaxFloat64, math.SmallestNonzeroFloat64), nil},
		{"NaN", numbers(1, math.NaN()), []string{`"q"`, "row 2", "NaN"}},
		{"+Inf", numbers(math.Inf(1)), []string{`"q"`, "row 1", "+Inf"}},
		{"-Inf", numbers(1, 2, math.Inf(-1)), []string{`"q"`, "row 3", "-Inf"}},
		{"NaN under valid", &Table{Columns: []Column{{Name: "q", Floats: []float64{math.NaN()}, Valid: []bool{true}}}}, []string{`"q"`, "row 1"}},
		{"lengths", &Table{Columns: []Column{{Name: "q", Floats: []float64{1}}, {Name: "I", Floats: []float64{1, 2}}}}, []string{`"I"`, "2 rows", "expected 1"}},
		{"validity", &Table{Columns: []Column{{Name: "q", Floats: []float64{1, 2}, Valid: []bool{true}}}}, []string{`"q"`, "2 rows"}},
		{"duplicate", &Table{Columns: []Column{{Name: "q"}, {Name: "I"}, {Name: "q"}}}, []string{"1 and 3", `"q"`}},
		{"duplicate of many", many, []string{"1 and 20", `"x"`}},
		{"no name", &Table{Columns: []Column{{Name: "q"}, {}}}, []string{"column 2"}},
		{"unknown type", &Table{Columns: []Column{{Name: "q", Type: 3}}}, []string{`"q"`, "type 3"}},
		{"two kinds of entries", &Table{Columns: []Column{{Name: "q", Type: Int, Floats: []float64{1}}}}, []string{`"q"`, "int"}},
		{"name not UTF-8", &Table{Columns: []Column{{Name: "\xff"}}}, []string{"column 1"}},
		{"unit not UTF-8", &Table{Columns: []Column{{Name: "q", Unit: "\xff"}}}, []string{"column 1"}},
		{"text not UTF-8", &Table{Columns: []Column{{Name: "s", Type: Text, Texts: []string{"a", "\xff"}}}}, []string{`"s"`, "row 2"}},
		{"header not UTF-8", &Table{Header: map[string]string{"a": "x", "b": "\xff", "c\xff": "x"}}, []string{`"b"`}},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			err := test.table.Check()
			_, encodeErr := Encode(test.table)
			if test.want == nil {
				if err != nil || encodeErr != nil {
					t.Fatalf("got %v and %v, want no error", err, encodeErr)
				}
				return
			}
			if err == nil || encodeErr == nil {
				t.Fatalf("got %v from Check and %v from Encode, want errors", err, encodeErr)
			}
			for _, part := range test.want {
				if !strings.Contains(err.Error(), part) {
					t.Errorf("error %q does not say %q", err, part)
				}
			}
		})
	}
}

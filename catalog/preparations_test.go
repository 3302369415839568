package catalog

import (
	"fmt"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"
)

func TestPreparations(t *testing.T) {
	sheet, faults := ReadSheet("s.csv", []byte("sample,chain,salt [mol/L],preparation,date\n"+
		"A,long,0.1,a,2031-03-11\nB,long,100 mM,a,2031-03-04T10:00:00\nC,long,0.1,b,\nD,short,0.1,b,2031-03-04\nE,long,0.1,a,2031-03-04\nF,long,,a,\nG,long,0.1,,2031-03-04\nH,long,0.3,c,\nI,long,0.30000000000000004,d,\n"))
	if err := faults.Err(); err != nil {
		t.Fatal(err)
	}
	conditions, left, err := sheet.Preparations("chain", "salt")
	if err != nil {
		t.Fatal(err)
	}
	type condition struct {
		Chain        string
		Salt         float64
		Preparations []Preparation
		Unknown      []string
	}
	var got []condition
	for _, c := range conditions {
		got = append(got, condition{c.Cells[0].Text, c.Cells[1].Value, c.Preparations, c.Unknown})
	}
	want := []condition{
		{"long", 0.1, []Preparation{{"a", []string{"A", "B", "E"}, []string{"2031-03-04", "2031-03-11"}}, {"b", []string{"C"}, nil}}, []string{"G"}},
		{"short", 0.1, []Preparation{{"b", []string{"D"}, []string{"2031-03-04"}}}, nil},
		{"long", 0.3, []Preparation{{"c", []string{"H"}, nil}, {"d", []string{"I"}, nil}}, nil},
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Error(diff)
	}
	if diff := cmp.Diff([]string{"F"}, left); diff != "" {
		t.Error(diff)
	}
	all, left, err := sheet.Preparations()
	if err != nil || len(all) != 1 || len(all[0].Preparations) != 4 || left != nil {
		t.Errorf("%+v, %v, %v", all, left, err)
	}
}

func TestPreparationsFaults(t *testing.T) {
	for _, test := range []struct{ text, column, want string }{
		{"sample,x\nA,1\n", "x", "s.csv: found no column preparation; expected one that labels what was made together; add it, with one label for all samples of a preparation"},
		{"sample,salt,preparation\nA,1,a\n", "slat", `s.csv: found unknown column "slat"; expected columns that make a condition; did you mean "salt"?`},
	} {
		t.Run(test.column, func(t *testing.T) {
			sheet, faults := ReadSheet("s.csv", []byte(test.text))
			if len(faults) > 0 {
				t.Fatal(faults)
			}
			_, _, err := sheet.Preparations(test.column)
			if err == nil {
				t.Fatal("no error")
			}
			if diff := cmp.Diff(test.want, err.Error()); diff != "" {
				t.Error(diff)
			}
		})
	}
}

// Every sample is somewhere once, in the order of the sheet, and with its like.
func TestPreparationsHoldEverySample(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		text := "sample,x,y,preparation\n"
		n := rapid.IntRange(1, 12).Draw(t, "rows")
		for i := range n {
			pick := func(label string, of ...string) string { return rapid.SampledFrom(of).Draw(t, label) }
			text += fmt.Sprintf("S%d,%s,%s,%s\n", i, pick("x", "a", "b", ""), pick("y", "1", "1.0", "2"), pick("preparation", "p", "q", ""))
		}
		sheet, faults := ReadSheet("s.csv", []byte(text))
		if len(faults) > 0 {
			t.Fatal(faults)
		}
		conditions, left, err := sheet.Preparations("x", "y")
		if err != nil {
			t.Fatal(err)
		}
		seen := strings.Join(left, " ")
		for _, c := range conditions {
			for _, p := range c.Preparations {
				for _, sample := range p.Samples {
					row, _ := sheet.Row(sample)
					if row.Cells[1].Text != c.Cells[0].Text || row.Cells[2].Value != c.Cells[1].Value || row.Cells[3].Text != p.Label {
						t.Fatalf("%+v is in %+v", row, c)
					}
				}
				seen += " " + strings.Join(p.Samples, " ")
			}
			seen += " " + strings.Join(c.Unknown, " ")
		}
		for i := range n {
			if strings.Count(seen+" ", fmt.Sprintf("S%d ", i)) != 1 {
				t.Fatalf("S%d is not once in %q", i, seen)
			}
		}
	})
}

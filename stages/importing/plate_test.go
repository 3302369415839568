package importing

import (
	"strings"
	"testing"

	"fascicle/pipeline"
)

const plateText = "Plate: 7\nTurbidity\n,1,2,3\nA,0.1,0.2,0.3\nB,0.4,,OVER\n"

func TestPlates(t *testing.T) {
	columns := []string{"T = 1"}
	contents := "\nContents\n,1,2,3\nA,LN1,LN2,LN3\nB,LN4,LN5,LN6\n"
	expectItems(t, setting{layout: "plate", curves: "<well>", columns: columns, header: []string{"plate = Plate"}}, plateText,
		"well=A1 | plate=7 | T: 0.1", "well=A2 | plate=7 | T: 0.2", "well=A3 | plate=7 | T: 0.3", "well=B1 | plate=7 | T: 0.4", "well=B3 | plate=7 | T: - ! over-range mark in plate 1 (lines 5)")
	expectItems(t, setting{layout: "plate", curves: "<sample>", columns: columns}, plateText+contents,
		"sample=LN1 | T: 0.1", "sample=LN2 | T: 0.2", "sample=LN3 | T: 0.3", "sample=LN4 | T: 0.4", "sample=LN6 | T: - ! over-range mark in plate 1 (lines 5)")
	expectItems(t, setting{layout: "plate", curves: "<well> <sample>", columns: columns, wells: []string{"A1-A2 = LN1", "B1 = LN2"}}, plateText,
		"well=A1 | sample=LN1 | T: 0.1", "well=A2 | sample=LN1 | T: 0.2", "well=B1 | sample=LN2 | T: 0.4 ! wells that nothing names are left out: A3, B3")
	two := "Turbidity\n,1,2,3\nA,0.1,0.2,0.3\nB,0.4,0.5,0.6\n\nAbsorbance\n,1,2,3\nA,1,2,3\nB,4,5,6\n"
	expectItems(t, setting{layout: "plate", curves: "<well>", columns: []string{"A = Absorbance", "T = Turbidity"}}, two,
		"well=A1 | A: 1 | T: 0.1", "well=A2 | A: 2 | T: 0.2", "well=A3 | A: 3 | T: 0.3", "well=B1 | A: 4 | T: 0.4", "well=B2 | A: 5 | T: 0.5", "well=B3 | A: 6 | T: 0.6")
	expectItems(t, setting{layout: "plate", curves: "<well>", columns: columns}, "1 2 3\nA 1 2 3\nB 4 5 6\n", "well=A1 | T: 1", "well=A2 | T: 2", "well=A3 | T: 3", "well=B1 | T: 4", "well=B2 | T: 5", "well=B3 | T: 6")
}

func TestPlateErrors(t *testing.T) {
	columns := []string{"T = 1"}
	expectError(t, setting{columns: xy}, plateText, "set `layout: plate`")
	expectError(t, setting{layout: "plate", curves: "<well>", columns: columns}, "1 2\n2 3\n3 4\n", "no plate of numbers")
	expectError(t, setting{layout: "plate", curves: "<sample>", columns: columns, wells: []string{"A1 = LN7"}}, plateText+"\n,1,2,3\nA,LN1,LN2,LN3\nB,LN4,LN5,LN6\n", `found "LN1" in well A1; expected "LN7" as `+"`wells` says")
	for key, want := range map[string]string{"1A": "a well such as B7", "B7-A1": "a well such as B7", "A0": "a well such as B7", "A99": "a well such as B7"} {
		s := importSettings{Files: "raw/*", Layout: "plate", Wells: setting{wells: []string{key + " = x"}, layout: "found"}.wellsOnly()}
		if err := s.Validate(); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%s: error %v, want %q", key, err, want)
		}
	}
}

func (s setting) wellsOnly() (m pipeline.Map[string]) {
	for _, w := range s.wells {
		k, v, _ := strings.Cut(w, " = ")
		m = append(m, pipeline.Named[string]{Key: k, Value: v})
	}
	return m
}

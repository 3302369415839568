package catalog

import "testing"

func TestIsIdentifier(t *testing.T) {
	for s, want := range map[string]bool{
		"a": true, "Rg_2": true, "_x": true, "item": true, "": false, "2nd": false, "a-b": false, "a b": false, "größe": false, "a.b": false,
	} {
		t.Run(s, func(t *testing.T) {
			if got := IsIdentifier(s); got != want {
				t.Errorf("got %v", got)
			}
		})
	}
}

func TestReserved(t *testing.T) {
	for s, want := range map[string]bool{
		"item": true, "sample": true, "all": true, "samples": true, "in": true, "not": true, "and": true, "or": true, "let": true,
		"matches": true, "contains": true, "true": true, "nil": true, "index": false, "date": false, "Sample": false, "": false,
	} {
		t.Run(s, func(t *testing.T) {
			if got := Reserved(s); got != want {
				t.Errorf("got %v", got)
			}
		})
	}
}

func TestParseDate(t *testing.T) {
	for s, want := range map[string]string{
		"2031-03-04": "2031-03-04", "2031-03-04T05:06:07": "2031-03-04T05:06:07", "2031-03-04 05:06": "2031-03-04T05:06:00", "2028-02-29": "2028-02-29",
		"2031-02-29": "", "2031-3-4": "", "20310304": "", "2031-03-04T25:00": "", "2031-03-04T05:06:07Z": "", "2031-03-04T05:06:07+01:00": "", "": "",
		"04.03.2031": "", "2031-03-04x": "", "2031-03-04T05:06:7.5": "", "2031-03-04T5:06:07.": "",
	} {
		t.Run(s, func(t *testing.T) {
			got, err := ParseDate(s)
			if got != want || (err == nil) != (want != "") {
				t.Errorf("got %q, %v, want %q", got, err, want)
			}
		})
	}
}

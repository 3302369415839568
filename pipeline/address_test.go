package pipeline

import (
	"strings"
	"testing"
)

func TestFindValue(t *testing.T) {
	values := []Value{
		{Sample: "1/2", Stage: "fit", Name: "Rg", Item: "sample=1/2"},
		{Sample: "1", Stage: "fit", Name: "Rg", Item: "sample=1"},
		{Sample: "1", Stage: "fit", Name: "I0", Item: "sample=1"},
		{Series: "salt=NaCl,chain=long", Stage: "line", Name: "slope", Item: "salt=NaCl,chain=long"},
		{Stage: "scale", Name: "factor", Item: "all"},
	}
	for _, c := range []struct {
		address string
		want    int    // which value
		says    string // or why none
	}{
		{"1/2/fit/Rg", 0, ""}, {"1/2", 0, ""}, {"1/2/Rg", 0, ""}, {"1/2/fit/Rg/sample=1/2", 0, ""}, {"fit/Rg/sample=1/2", 0, ""},
		{"1/fit/Rg", 1, ""}, {"1/I0", 2, ""}, {"1/fit", 0, "2 values are called"},
		{"salt=NaCl,chain=long/line/slope", 3, ""}, {"slope", 3, ""}, {"scale/factor/all", 4, ""}, {"factor", 4, ""}, {"/scale/factor/all", 4, ""},
		{"", 0, "no value"}, {"/", 0, "no value"}, {"1/", 0, "no value"}, {"1//Rg", 0, "no value"}, {"Rg/fit", 0, "no value"}, {"1/2/3", 0, "no value"},
		{"scale/facto", 0, "did you mean"},
	} {
		v, err := findValue(values, c.address)
		switch {
		case c.says == "" && (err != nil || v != &values[c.want]):
			t.Errorf("%q: got %v, %v; want value %d", c.address, v, err, c.want)
		case c.says != "" && (err == nil || !strings.Contains(err.Error(), c.says)):
			t.Errorf("%q: got %v, %v; want %q", c.address, v, err, c.says)
		}
	}
}

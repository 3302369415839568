package fault

import (
	"strings"
	"testing"
	"unicode/utf8"

	"pgregory.net/rapid"
)

func TestVisible(t *testing.T) {
	for _, c := range [][2]string{
		{"", ""}, {"raw/A b.dat", "raw/A b.dat"}, {`A"b'c\d%s`, `A"b'c\d%s`}, {"Ä-β-紫", "Ä-β-紫"},
		{"A\nb\r\t", `A\nb\r\t`}, {"A\x1b[31m", `A\x1b[31m`}, {"A\xff\xc3", `A\xff\xc3`}, {"\u202eA\u009b", `\u202eA\u009b`}, {"\u2028", `\u2028`},
		{"a true \ufffd", "a true \ufffd"}, {"\x00\x7f", `\x00\x7f`},
	} {
		if got := Visible(c[0]); got != c[1] {
			t.Errorf("Visible(%q) = %q, want %q", c[0], got, c[1])
		}
	}
}

// Whatever goes in, what comes out is UTF-8 on one line without control characters, and stays as it is from then on.
func TestVisibleAlways(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		got := Visible(string(rapid.SliceOf(rapid.Byte()).Draw(t, "bytes")))
		if !utf8.ValidString(got) || strings.ContainsFunc(got, func(r rune) bool { return r < ' ' || r >= 0x7f && r < 0xa0 }) {
			t.Fatalf("%q", got)
		}
		if Visible(got) != got {
			t.Fatalf("%q is not stable", got)
		}
	})
}

package importing

import (
	"math"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// The grammar, written a second time as an expression.
var numberGrammar = regexp.MustCompile(`^[-+]?(\d+(\.\d*)?|\.\d+)([eEdD][-+]?\d+)?`)

// checkNumber holds scanNumber against the expression and strconv.
func checkNumber(t interface {
	Helper()
	Fatalf(string, ...any)
}, s string) {
	t.Helper()
	v, next, ok := scanNumber([]byte(s), 0, '.')
	want := numberGrammar.FindString(s)
	if ok != (want != "") || ok && next != len(want) {
		t.Fatalf("scanNumber(%q) = %v, next %d, %v; the grammar takes %q", s, v, next, ok, want)
	}
	if !ok {
		return
	}
	ref, _ := strconv.ParseFloat(strings.NewReplacer("d", "e", "D", "e").Replace(want), 64)
	if math.Float64bits(v) != math.Float64bits(ref) {
		t.Fatalf("scanNumber(%q) = %x, strconv %x", s, math.Float64bits(v), math.Float64bits(ref))
	}
	comma := []byte(strings.Replace(want, ".", ",", 1))
	if c, n, ok := scanNumber(comma, 0, ','); !ok || n != len(comma) || math.Float64bits(c) != math.Float64bits(v) {
		t.Fatalf("with a decimal comma: %q gives %v, next %d, %v; want %v", comma, c, n, ok, v)
	}
}

func TestScanNumber(t *testing.T) {
	for _, s := range []string{"0", "-0", "+0.0", "1", "-1.5", ".5", "5.", "-.5e1", "1e22", "1e23", "9007199254740993", "9007199254740991e22",
		"1.06922151E-02", "-0.003339566989", "1.4621809049267258", "0.00000000000000000000001", "123456789012345678901234567890",
		"18446744073709551616", "1e400", "-1e400", "1e-400", "4.9e-324", "2.2250738585072011e-308", "1D-3", "1e", "1e+", "1e99999999999999999999",
		"", "-", ".", "-.", "+.e1", "e5", "x", "12345678.12345678", "1.1234567 ", "1.123456789012345678", "0x10", "1_0", "..5", "1.2.3",
		"1.7976931348623159e308", "0e999", "1.00000000000000000000000000000000000000000000000000000000000000000000000000000000001"} {
		checkNumber(t, s)
	}
}

func TestScanNumberProperty(t *testing.T) {
	t.Run("written text", rapid.MakeCheck(func(t *rapid.T) {
		checkNumber(t, rapid.StringMatching(`[-+]?[0-9]{0,22}\.?[0-9]{0,22}([eEdD][-+]?[0-9]{0,4})?`).Draw(t, "s"))
	}))
	t.Run("floats", rapid.MakeCheck(func(t *rapid.T) {
		v := math.Float64frombits(rapid.Uint64().Draw(t, "bits"))
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return
		}
		for _, verb := range []byte{'e', 'f', 'g'} {
			checkNumber(t, strconv.FormatFloat(v, verb, rapid.IntRange(-1, 19).Draw(t, "digits"), 64))
		}
	}))
	t.Run("short decimals", rapid.MakeCheck(func(t *rapid.T) {
		m := rapid.Int64Range(-1<<54, 1<<54).Draw(t, "mantissa")
		checkNumber(t, strconv.FormatInt(m, 10)+"e"+strconv.Itoa(rapid.IntRange(-30, 30).Draw(t, "exponent")))
	}))
}

func TestEightDigits(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		b := rapid.SliceOfN(rapid.Byte(), 8, 8).Draw(t, "b")
		var w uint64
		all := true
		for k, c := range b {
			w |= uint64(c) << (8 * k)
			all = all && c >= '0' && c <= '9'
		}
		if eightDigits(w) != all {
			t.Fatalf("eightDigits(%q) = %v", b, !all)
		}
		n := rapid.Uint64Range(0, 99999999).Draw(t, "n")
		w = 0
		for k, m := 7, n; k >= 0; k, m = k-1, m/10 {
			w |= ('0' + m%10) << (8 * k)
		}
		if !eightDigits(w) || eightValue(w) != n {
			t.Fatalf("eightValue of %08d = %d", n, eightValue(w))
		}
	})
}

func FuzzScanNumber(f *testing.F) {
	for _, s := range []string{"1.5", "-3e-7", "9007199254740993.5", "1.2345678901234567890e22", ".", "1d5"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) { checkNumber(t, s) })
}

func BenchmarkScanNumber(b *testing.B) {
	for _, s := range []string{"800", "-0.003339566989", "1.06922151E-02", "1.4621809049267258"} {
		b.Run(s, func(b *testing.B) {
			data := []byte(s)
			b.ReportAllocs()
			for b.Loop() {
				scanNumber(data, 0, '.')
			}
		})
	}
}

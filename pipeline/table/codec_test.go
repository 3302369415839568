package table

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"math"
	"testing"

	"github.com/apache/arrow/go/v17/arrow/array"
	"github.com/apache/arrow/go/v17/arrow/ipc"
	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"
)

func mustEncode(t testing.TB, tab *Table) []byte {
	t.Helper()
	b, err := Encode(tab)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func mustDecode(t testing.TB, b []byte) *Table {
	t.Helper()
	tab, err := Decode(b)
	if err != nil {
		t.Fatal(err)
	}
	return tab
}

// TestFormat holds the digest of one table's bytes. It changes when the format
// does, and then so do the content hashes of every stored object: raise the
// store's version or the key format with it.
func TestFormat(t *testing.T) {
	const want = "247842c6851d735ed8dd7cf59b09e296d7de506f4f66a8a67ae33d12ca578053"
	sum := sha256.Sum256(mustEncode(t, fixed()))
	if got := hex.EncodeToString(sum[:]); got != want {
		t.Errorf("the canonical bytes have changed: SHA-256 is %s, was %s", got, want)
	}
}

func TestRoundTrip(t *testing.T) {
	want := fixed()
	want.Columns[1].Floats = []float64{12.5, 0, -3e-4, 0}
	want.Columns[2].Floats = []float64{0.5, 0, 1e-5, 0}
	want.Columns[4].Texts = []string{"lower", "", "", "lower"}
	b := mustEncode(t, fixed())
	got := mustDecode(t, b)
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("(-want +got):\n%s", diff)
	}
	for _, c := range []string{"I", "u_I"} {
		if math.Signbit(got.Floats(c)[3]) {
			t.Errorf("column %s: -0 was not written as 0", c)
		}
	}
	if again := mustEncode(t, got); !bytes.Equal(b, again) {
		t.Error("encoding what was decoded gives other bytes")
	}
}

func TestEncodeLeavesTableAlone(t *testing.T) {
	tab := fixed()
	mustEncode(t, tab)
	if x := tab.Columns[1].Floats; !math.IsNaN(x[1]) || !math.Signbit(x[3]) {
		t.Errorf("Encode changed its table: %v", x)
	}
}

// TestCanonical compares tables that hold the same things differently.
func TestCanonical(t *testing.T) {
	base := func() *Table {
		tab := &Table{Header: map[string]string{"a": "1", "b": "2", "c": "3"}}
		tab.AddFloatValid("x", "nm", []float64{0, 5, 2}, []bool{true, false, true})
		tab.AddInt("n", "1", []int64{7, 8, 9}).Valid = []bool{false, true, true}
		tab.AddText("s", []string{"u", "v", "u"}).Valid = []bool{true, false, true}
		tab.AddFloat("y", "1", []float64{1, 2, 3})
		return tab
	}
	want := mustEncode(t, base())
	same := map[string]func(*Table){
		"other number under null": func(tab *Table) { tab.Columns[0].Floats[1] = math.Inf(1) },
		"minus zero":              func(tab *Table) { tab.Columns[0].Floats[0] = math.Copysign(0, -1) },
		"other whole number":      func(tab *Table) { tab.Columns[1].Ints[0] = 1 << 40 },
		"other text":              func(tab *Table) { tab.Columns[2].Texts[1] = "something that is not used" },
		"all marked as valid":     func(tab *Table) { tab.Columns[3].Valid = []bool{true, true, true} },
		"header filled backwards": func(tab *Table) {
			tab.Header = map[string]string{}
			for _, k := range []string{"c", "b", "a"} {
				tab.Header[k] = string(rune('1' + k[0] - 'a'))
			}
		},
	}
	for name, change := range same {
		t.Run(name, func(t *testing.T) {
			tab := base()
			change(tab)
			if !bytes.Equal(want, mustEncode(t, tab)) {
				t.Error("the bytes differ")
			}
		})
	}
	different := map[string]func(*Table){
		"number":   func(tab *Table) { tab.Columns[0].Floats[2] = math.Nextafter(2, 3) },
		"validity": func(tab *Table) { tab.Columns[0].Valid[2] = false },
		"unit":     func(tab *Table) { tab.Columns[0].Unit = "1/nm" },
		"name":     func(tab *Table) { tab.Columns[0].Name = "z" },
		"text":     func(tab *Table) { tab.Columns[2].Texts[2] = "w" },
		"header":   func(tab *Table) { tab.Header["a"] = "2" },
		"order":    func(tab *Table) { tab.Columns[0], tab.Columns[1] = tab.Columns[1], tab.Columns[0] },
	}
	for name, change := range different {
		t.Run("other "+name, func(t *testing.T) {
			tab := base()
			change(tab)
			if bytes.Equal(want, mustEncode(t, tab)) {
				t.Error("the bytes do not differ")
			}
		})
	}
}

// TestArrowReads holds the bytes against Arrow's own reader.
func TestArrowReads(t *testing.T) {
	r, err := ipc.NewReader(bytes.NewReader(mustEncode(t, fixed())))
	if err != nil {
		t.Fatal(err)
	}
	defer r.Release()
	md := r.Schema().Metadata()
	if diff := cmp.Diff([]string{"comment", "empty", "instrument"}, md.Keys()); diff != "" {
		t.Errorf("metadata keys (-want +got):\n%s", diff)
	}
	for i, unit := range []string{"1/nm", "1/cm", "1/cm", "1"} {
		if got, _ := r.Schema().Field(i).Metadata.GetValue("unit"); got != unit {
			t.Errorf("field %d: unit %q, want %q", i, got, unit)
		}
	}
	if !r.Next() {
		t.Fatal(r.Err())
	}
	rec := r.Record()
	if got := rec.Column(0).(*array.Float64).Float64Values(); !cmp.Equal(got, []float64{0.1, 0.2, 0.4, 0.8}) {
		t.Errorf("q: %v", got)
	}
	if c := rec.Column(1).(*array.Float64); !c.IsNull(1) || c.NullN() != 1 || c.Value(2) != -3e-4 || c.Float64Values()[1] != 0 {
		t.Errorf("I: %v", c)
	}
	if c := rec.Column(3).(*array.Int64); c.Value(3) != math.MinInt64 || c.NullN() != 0 {
		t.Errorf("counts: %v", c)
	}
	words := rec.Column(4).(*array.Dictionary)
	if got := words.Dictionary().(*array.String); got.Len() != 2 || got.Value(0) != "lower" || got.Value(1) != "" {
		t.Errorf("dictionary: %v", got)
	}
	if !words.IsNull(2) || words.GetValueIndex(1) != 1 || words.GetValueIndex(3) != 0 {
		t.Errorf("I_bound: %v", words)
	}
	if r.Next() {
		t.Error("a second batch")
	}
}

// drawTable draws tables of all shapes, with rubbish under nulls.
func drawTable(t *rapid.T) *Table {
	tab := &Table{}
	if pairs := rapid.MapOfN(rapid.String(), rapid.String(), 0, 4).Draw(t, "header"); len(pairs) > 0 {
		tab.Header = pairs
	}
	n := rapid.IntRange(0, 70).Draw(t, "rows")
	for i := range rapid.IntRange(0, 20).Draw(t, "columns") {
		name := fmt.Sprint(rapid.String().Draw(t, "name"), i)
		var valid []bool
		if rapid.Bool().Draw(t, "nulls") {
			valid = rapid.SliceOfN(rapid.Bool(), n, n).Draw(t, "valid")
		}
		unit := rapid.SampledFrom([]string{"", "1", "nm", "1/cm"}).Draw(t, "unit")
		var c *Column
		switch rapid.IntRange(0, 2).Draw(t, "type") {
		case 0:
			c = tab.AddFloat(name, unit, rapid.SliceOfN(rapid.Float64(), n, n).Draw(t, "floats"))
			for j := range c.Floats {
				if valid != nil && !valid[j] {
					c.Floats[j] = math.NaN()
				} else if math.IsInf(c.Floats[j], 0) {
					c.Floats[j] = 0
				}
			}
		case 1:
			c = tab.AddInt(name, unit, rapid.SliceOfN(rapid.Int64(), n, n).Draw(t, "ints"))
		default:
			c = tab.AddText(name, rapid.SliceOfN(rapid.StringN(0, 3, -1), n, n).Draw(t, "texts"))
		}
		c.Valid = valid
	}
	return tab
}

// equal compares what is seen of two tables: not what lies under nulls.
func equal(a, b *Table) bool {
	if !cmp.Equal(a.Header, b.Header) || !cmp.Equal(a.Schema(), b.Schema()) || a.Len() != b.Len() {
		return false
	}
	for i := range a.Columns {
		x, y := &a.Columns[i], &b.Columns[i]
		for j := range a.Len() {
			switch {
			case x.IsNull(j) != y.IsNull(j):
				return false
			case x.IsNull(j):
			case x.Type == Float && x.Floats[j] != y.Floats[j], x.Type == Int && x.Ints[j] != y.Ints[j], x.Type == Text && x.Texts[j] != y.Texts[j]:
				return false
			}
		}
	}
	return true
}

func TestEncodeDecodeEncode(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		tab := drawTable(t)
		first, err := Encode(tab)
		if err != nil {
			t.Fatal(err)
		}
		got, err := Decode(first)
		if err != nil {
			t.Fatal(err)
		}
		if !equal(tab, got) {
			t.Fatalf("decoded table differs: %s", cmp.Diff(tab, got))
		}
		second, err := Encode(got)
		if err != nil {
			t.Fatal(err)
		}
		if !bytes.Equal(first, second) {
			t.Fatal("encoding what was decoded gives other bytes")
		}
	})
}

// TestDecodeUnaligned reads from an odd address, where columns must be copied.
func TestDecodeUnaligned(t *testing.T) {
	b := mustEncode(t, fixed())
	shifted := append([]byte{0}, b...)[1:]
	if diff := cmp.Diff(mustDecode(t, b), mustDecode(t, shifted)); diff != "" {
		t.Errorf("(-aligned +shifted):\n%s", diff)
	}
}

func TestDecodeTruncated(t *testing.T) {
	b := mustEncode(t, fixed())
	for n := range b {
		if _, err := Decode(b[:n:n]); !errors.Is(err, errDamaged) {
			t.Fatalf("the first %d of %d bytes: got %v, want an error", n, len(b), err)
		}
	}
	if _, err := Decode(append(b[:len(b):len(b)], 0)); err == nil {
		t.Error("a byte too many: no error")
	}
}

// TestDecodeFlipped flips every bit of a table. What is still a table must be one
// that can be written; nothing may panic.
func TestDecodeFlipped(t *testing.T) {
	b := mustEncode(t, fixed())
	for i := range b {
		for bit := range 8 {
			b[i] ^= 1 << bit
			if tab, err := Decode(b); err == nil {
				if _, err := Encode(tab); err != nil {
					t.Errorf("byte %d, bit %d: decoded to a table that cannot be written: %v", i, bit, err)
				}
			}
			b[i] ^= 1 << bit
		}
	}
}

// TestDecodeForeign reads streams that Arrow writes and this package does not.
func TestDecodeForeign(t *testing.T) {
	for name, b := range map[string][]byte{
		"nothing":       nil,
		"text":          []byte("time [ns],counts\n1,2\n"),
		"end mark only": []byte("\xff\xff\xff\xff\x00\x00\x00\x00"),
		"huge message":  []byte("\xff\xff\xff\xff\xf8\xff\xff\x7f"),
	} {
		t.Run(name, func(t *testing.T) {
			if _, err := Decode(b); !errors.Is(err, errDamaged) {
				t.Errorf("got %v, want an error", err)
			}
		})
	}
}

func FuzzDecode(f *testing.F) {
	f.Add(mustEncode(f, fixed()))
	f.Add(mustEncode(f, &Table{}))
	small := &Table{}
	small.AddText("s", []string{"a", "b", "a"})
	f.Add(mustEncode(f, small))
	f.Fuzz(func(t *testing.T, b []byte) {
		tab, err := Decode(b)
		if err != nil {
			return
		}
		first, err := Encode(tab)
		if err != nil {
			t.Fatalf("decoded to a table that cannot be written: %v", err)
		}
		again := mustDecode(t, first)
		if !equal(tab, again) {
			t.Fatal("written and read again, the table differs")
		}
		if !bytes.Equal(first, mustEncode(t, again)) {
			t.Fatal("the bytes are not canonical")
		}
	})
}

// curve has 4,096 rows of q, I and u_I, as large as the usual one.
func curve() *Table {
	const n = 4096
	q, i, u := make([]float64, n), make([]float64, n), make([]float64, n)
	for k := range q {
		q[k] = 1e-3 * float64(k+1)
		i[k] = 1 / (1 + q[k]*q[k])
		u[k] = 0.01 * i[k]
	}
	t := &Table{Header: map[string]string{"instrument": "bench", "date": "2020-05-04"}}
	t.AddFloat("q", "1/nm", q)
	t.AddFloat("I", "1/cm", i)
	t.AddFloat("u_I", "1/cm", u)
	return t
}

// values has one row of 12 numbers with their uncertainties and one text.
func values() *Table {
	t := &Table{Header: map[string]string{"date": "2020-05-04"}}
	for i := range 12 {
		t.AddFloat(fmt.Sprint("x", i), "nm", []float64{float64(i)})
		t.AddFloat(fmt.Sprint("u_x", i), "nm", []float64{0.1})
	}
	t.AddText("state", []string{"single"})
	return t
}

func BenchmarkEncodeValues(b *testing.B) {
	tab := values()
	b.ReportAllocs()
	for b.Loop() {
		if _, err := Encode(tab); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkDecodeValues(b *testing.B) {
	data := mustEncode(b, values())
	b.ReportAllocs()
	for b.Loop() {
		if _, err := Decode(data); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkEncode(b *testing.B) {
	tab := curve()
	b.ReportAllocs()
	for b.Loop() {
		if _, err := Encode(tab); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkDecode(b *testing.B) {
	data := mustEncode(b, curve())
	b.ReportAllocs()
	for b.Loop() {
		if _, err := Decode(data); err != nil {
			b.Fatal(err)
		}
	}
}

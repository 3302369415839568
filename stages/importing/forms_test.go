package importing

import (
	"archive/zip"
	"bytes"
	"compress/gzip"
	"encoding/binary"
	"errors"
	"math"
	"strconv"
	"strings"
	"testing"
	"unicode/utf16"

	"github.com/google/go-cmp/cmp"
	"golang.org/x/text/encoding/charmap"
	"pgregory.net/rapid"
)

// Numbers in the spellings that instruments and spreadsheets have.
func TestNumberForms(t *testing.T) {
	for _, c := range []struct {
		name string
		in   string
		want string
	}{
		{"no digit before the point", "1 .26E+01\n2 .5\n3 -.25E-02\n", "x: 1 2 3 | y: 2.6 0.5 -0.0025"},
		{"Fortran exponents", "1 1.0D-03\n2 1.0d+2\n3 -2D0\n", "x: 1 2 3 | y: 0.001 100 -2"},
		{"decimal commas", "1;1,5\n2;2,25\n3;-0,5\n", "x: 1 2 3 | y: 1.5 2.25 -0.5"},
		{"typographic minus", "1;−1.5\n2;−2.25\n3;1.5E−3\n", "x: 1 2 3 | y: -1.5 -2.25 0.0015"},
		{"dash for minus", "1;–1,5\n2;–,25\n3;1,5\n", "x: 1 2 3 | y: -1.5 -0.25 1.5"},
		{"points between thousands", "1;1.234,5\n2;999,5\n3;12.345.678,25\n", "x: 1 2 3 | y: 1234.5 999.5 1.23457e+07 ! '.' stands between thousands in this file"},
		{"blanks between thousands", "1;1 234,5\n2;999,5\n3;-12 345 678\n", "x: 1 2 3 | y: 1234.5 999.5 -1.23457e+07 ! ' ' stands between thousands in this file"},
		{"blanks between thousands, tabs between cells", "1\t1 234.5\n2\t2 999.5\n3\t12 345.5\n", "x: 1 2 3 | y: 1234.5 2999.5 12345.5 ! ' ' stands between thousands in this file"},
		{"narrow blanks between thousands", "1;1\u202F234,5\n2;999,5\n3;12\u00A0345,5\n", `x: 1 2 3 | y: 1234.5 999.5 12345.5 ! '\'' stands between thousands in this file`},
		{"commas between thousands, in quotes", "1,\"1,234.5\"\n2,999.5\n3,\"12,345.5\"\n", "x: 1 2 3 | y: 1234.5 999.5 12345.5 ! ',' stands between thousands in this file"},
		{"apostrophes", "1;1'234.5\n2;999.5\n3;12'345.5\n", `x: 1 2 3 | y: 1234.5 999.5 12345.5 ! '\'' stands between thousands in this file`},
		{"marks", "1,XXX.XXX\n2,**.**\n3,OVER\n4,#####\n5,Inf\n6,-Inf\n7,5\n", "x: 1 2 3 4 5 6 7 | y: - - - - - - 5 ! over-range mark in column 2 (lines 1, 2, 3, 4, 5, 6)"},
		{"nothing", "1,NaN\n2,NULL\n3,\n4,n/a\n5,--\n6,5\n", "x: 1 2 3 4 5 6 | y: - - - - - 5 ! NaN or NULL in column 2 (lines 1, 2, 4, 5) ! empty cell in column 2 (lines 3)"},
		{"too large", "1 1e999\n2 5\n3 5\n", "x: 1 2 3 | y: - 5 5 ! number beyond the range of a 64-bit float in column 2 (lines 1)"},
		{"three decimals throughout", "1;1,234\n2;2,345\n3;0,999\n", "x: 1 2 3 | y: 1.234 2.345 0.999"},
	} {
		t.Run(c.name, func(t *testing.T) { expectItems(t, setting{columns: xy}, c.in, c.want) })
	}
}

// What could be thousands or decimals, and files that write both ways, are refused with the line.
func TestThousandsInDoubt(t *testing.T) {
	for _, c := range []struct{ name, in, want string }{
		{"either", "1;998\n2;1,002\n3;1,105\n", "line 2: found a column of numbers that have either no mark or three digits behind one"},
		{"either, with points", "1;998\n2;1.002\n3;1.105\n", "line 2: found a column of numbers"},
		{"both ways", "1;1.234,5\n2;1234,5\n3;12.345,5\n", "line 2: found a number of four or more digits without the sign between thousands that line 1 has"},
		{"groups of two", "1;1.234,5\n2;12.34,5\n3;12.345,5\n4;1.345,5\n", "line 2"},
	} {
		t.Run(c.name, func(t *testing.T) { expectError(t, setting{columns: xy}, c.in, c.want) })
	}
	expectItems(t, setting{columns: xy}, "1;998\n2;1,02\n3;1,105\n", "x: 1 2 3 | y: 998 1.02 1.105")
}

func expectError(t *testing.T, s setting, data string, want string) {
	t.Helper()
	got, err := items(t, s, data)
	if err == nil || !strings.Contains(err.Error(), want) {
		t.Errorf("error %v, items %q; want an error with %q", err, got, want)
	}
}

// One text in every encoding and with every line end gives the same items.
func TestEncodings(t *testing.T) {
	const text = "Größe: 5 µm\nWellenlänge (nm);LN1;LN2;LN3;LN4\n400;0,1;1;10;-5\n401;0,2;2;20;-5\n402;0,3;3;30;-5\n"
	set := setting{curves: "<sample>", columns: xy, header: []string{"size = Größe"}}
	want, err := items(t, set, text)
	if err != nil || len(want) != 4 || !strings.HasPrefix(want[0], "sample=LN1 | size=5 µm | x nm: 400 401 402 | y: 0.1 0.2 0.3") {
		t.Fatalf("%q, %v", want, err)
	}
	wide := func(order binary.ByteOrder, bom string) string {
		var b bytes.Buffer
		for _, u := range utf16.Encode([]rune(bom + text)) {
			if err := binary.Write(&b, order, u); err != nil {
				t.Fatal(err)
			}
		}
		return b.String()
	}
	latin, err := charmap.Windows1252.NewEncoder().String(text)
	if err != nil {
		t.Fatal(err)
	}
	for name, in := range map[string]string{
		"UTF-8 with mark": "\uFEFF" + text, "CR LF": strings.ReplaceAll(text, "\n", "\r\n"), "CR": strings.ReplaceAll(text, "\n", "\r"),
		"mixture": strings.Replace(strings.Replace(text, "\n", "\r\n", 2), "\n4", "\r4", 1), "no line end": strings.TrimSuffix(text, "\n"),
		"UTF-16 LE": wide(binary.LittleEndian, "\uFEFF"), "UTF-16 BE": wide(binary.BigEndian, "\uFEFF"), "UTF-16 LE without mark": wide(binary.LittleEndian, ""),
		"UTF-16 BE without mark": wide(binary.BigEndian, ""), "Windows-1252": latin, "minus signs": strings.ReplaceAll(text, "-5", "−5"),
		"no-break blanks": strings.ReplaceAll(text, "; ", ";\u00A0"),
	} {
		t.Run(name, func(t *testing.T) {
			got, err := items(t, set, in)
			if err != nil {
				t.Fatal(err)
			}
			for i := range got {
				got[i], _, _ = strings.Cut(got[i], " ! ")
			}
			if d := cmp.Diff(want, got); d != "" {
				t.Errorf("items (-want +got):\n%s", d)
			}
		})
	}
}

func zipped(t testing.TB, files ...string) []byte {
	t.Helper()
	var b bytes.Buffer
	z := zip.NewWriter(&b)
	for i := 0; i < len(files); i += 2 {
		w, err := z.Create(files[i])
		if err != nil {
			t.Fatal(err)
		}
		if _, err := w.Write([]byte(files[i+1])); err != nil {
			t.Fatal(err)
		}
	}
	if err := z.Close(); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func gzipped(t testing.TB, data []byte) []byte {
	t.Helper()
	var b bytes.Buffer
	z := gzip.NewWriter(&b)
	if _, err := z.Write(data); err != nil {
		t.Fatal(err)
	}
	if err := z.Close(); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func TestUnpack(t *testing.T) {
	const text = "1 2\n2 3\n3 4\n"
	expectItems(t, setting{columns: xy}, string(gzipped(t, []byte(text))), "x: 1 2 3 | y: 2 3 4")
	archive := zipped(t, "a/b.csv", text, "c.gz", string(gzipped(t, []byte(text))))
	for _, c := range []struct{ name, path, want, err string }{
		{"member", "raw.zip!/a/b.csv", text, ""},
		{"compressed member", "raw.zip!/c.gz", text, ""},
		{"no such member", "raw.zip!/d", "", `no file "d" in the archive`},
		{"above the archive", "raw.zip!/../a", "", "a name within the archive"},
		{"no member named", "raw.zip", "", "a/b.csv, c.gz"},
	} {
		t.Run(c.name, func(t *testing.T) {
			got, err := unpack(archive, c.path)
			if c.err != "" {
				if err == nil || !strings.Contains(err.Error(), c.err) {
					t.Fatalf("error %v, want %q", err, c.err)
				}
				return
			}
			if err != nil || string(got) != c.want {
				t.Fatalf("%q, %v", got, err)
			}
		})
	}
	bomb := make([]byte, 8<<20)
	for name, c := range map[string]struct {
		data []byte
		path string
		want string
	}{
		"gzip of zeros":   {gzipped(t, bomb), "x.gz", "unpacks to more than"},
		"zip of zeros":    {zipped(t, "zeros", string(bomb)), "x.zip!/zeros", "unpacks to more than"},
		"cut gzip":        {gzipped(t, []byte(text))[:20], "x.gz", "breaks off"},
		"cut zip":         {archive[:60], "x.zip!/a/b.csv", "broken"},
		"member outside":  {zipped(t, "../x", text), "x.zip", "names within the archive"},
		"HDF5":            {[]byte("\x89HDF\r\n\x1a\nrest"), "x.h5", "an HDF5 file"},
		"gzip only begun": {[]byte{0x1F, 0x8B, 8}, "x.gz", "gzip file that is broken"},
	} {
		t.Run(name, func(t *testing.T) {
			_, err := unpack(c.data, c.path)
			var le *LineError
			if !errors.As(err, &le) || !strings.Contains(err.Error(), c.want) {
				t.Fatalf("error %v, want %q", err, c.want)
			}
		})
	}
	if names, err := ZipMembers(archive); err != nil || !cmp.Equal(names, []string{"a/b.csv", "c.gz"}) {
		t.Errorf("members %q, %v", names, err)
	}
}

// Where uncertainties come from.
func TestUncertainties(t *testing.T) {
	two := []string{"x = 1 [nm]", "y = 2 [mm]"}
	for _, c := range []struct {
		name string
		set  setting
		in   string
		want []string
	}{
		{"column", setting{columns: []string{"x = 1 [nm]", "y = 2 [mm]", "u_y = 3"}}, "1 5 .1\n2 6 .2\n3 7 .3\n", []string{"x nm: 1 2 3 | y nm: 5e+06 6e+06 7e+06 | u_y nm: 100000 200000 300000"}},
		{"column with zeros among", setting{columns: []string{"x = 1", "y = 2", "u_y = 3"}}, "1 5 .1\n2 6 0\n3 7 .3\n", []string{"x: 1 2 3 | y: 5 6 7 | u_y: 0.1 - 0.3 ! 1 of 3 uncertainties in column u_y are zero: they are taken as unknown"}},
		{"relative", setting{columns: two, u: []string{"y = relative 0.5 %"}}, "1 5\n2 -6\n3 7\n", []string{"x nm: 1 2 3 | y nm: 5e+06 -6e+06 7e+06 | u_y nm: 25000 30000 35000"}},
		{"absolute, in the column's unit", setting{columns: two, u: []string{"y = 0.0010"}}, "1 5\n2 6\n3 7\n", []string{"x nm: 1 2 3 | y nm: 5e+06 6e+06 7e+06 | u_y nm: 1000 1000 1000"}},
		{"absolute, with a unit", setting{columns: two, u: []string{"y = 1 µm"}}, "1 5\n2 6\n3 7\n", []string{"x nm: 1 2 3 | y nm: 5e+06 6e+06 7e+06 | u_y nm: 1000 1000 1000"}},
		{"absolute, in percent", setting{columns: []string{"x = 1", "y = 2 [%]"}, u: []string{"y = 0.5"}}, "1 50\n2 60\n3 70\n", []string{"x: 1 2 3 | y: 0.5 0.6 0.7 | u_y: 0.005 0.005 0.005"}},
		{"poisson", setting{columns: xy, u: []string{"y = poisson"}}, "1 4\n2 9\n3 0\n", []string{"x: 1 2 3 | y: 4 9 0 | u_y: 2 3 1"}},
		{"unknown", setting{columns: xy, u: []string{"y = unknown"}}, "1 4\n2 9\n3 0\n", []string{"x: 1 2 3 | y: 4 9 0"}},
		// mean 4 of 2, 4, 6: s² = 4, u = 2/√3; mean 5 of 4, 6: s² = 2, u = 1
		{"repeats", setting{curves: "<sample>", columns: xy, u: []string{"y = repeats"}}, "x,A,A,A,B,B\n1,2,4,6,1,1\n2,4,,6,1,3\n",
			[]string{"sample=A | x: 1 2 | y: 4 5 | u_y: 1.1547 1 | nu_y: 2 1 ! 2 rows are means of 5: those with the same place on the axis were joined", "sample=B | x: 1 2 | y: 1 2 | u_y: 0 1 | nu_y: 1 1 ! 2 rows are means of 4: those with the same place on the axis were joined"}},
		{"repeats in one curve", setting{columns: xy, u: []string{"y = repeats"}}, "1 2\n1 4\n2 6\n3 8\n3 8.5\n", []string{"x: 1 2 3 | y: 3 6 8.25 | u_y: 1 - 0.25 | nu_y: 1 - 1 ! 3 rows are means of 5: those with the same place on the axis were joined ! 1 row of column y without repeats: its uncertainty is not known there"}},
	} {
		t.Run(c.name, func(t *testing.T) { expectItems(t, c.set, c.in, c.want...) })
	}
	for _, c := range []struct {
		name string
		set  setting
		in   string
		want string
	}{
		{"zeros", setting{columns: []string{"x = 1", "y = 2", "u_y = 3"}}, "head\n1 5 0\n2 6 0\n3 7 0\n", "line 2: found a column of zeros, u_y"},
		{"negative", setting{columns: []string{"x = 1", "y = 2", "u_y = 3"}}, "1 5 1\n2 6 -1\n3 7 1\n", "line 2: found a negative uncertainty, -1 in column u_y"},
		{"poisson of parts", setting{columns: xy, u: []string{"y = poisson"}}, "3 4\n2 4.5\n1 4\n", "line 2: u: poisson for column y, which holds 4.5"},
		{"poisson of less than nothing", setting{columns: xy, u: []string{"y = poisson"}}, "1 4\n2 -4\n3 4\n", "line 2: u: poisson"},
		{"no repeats", setting{columns: xy, u: []string{"y = repeats"}}, "1 4\n2 -4\n3 4\n", "found no place on the axis twice"},
	} {
		t.Run(c.name, func(t *testing.T) { expectError(t, c.set, c.in, c.want) })
	}
}

func TestAxes(t *testing.T) {
	expectItems(t, setting{columns: xy}, "3 1\n2 2\n1 3\n", "x: 1 2 3 | y: 3 2 1")
	expectError(t, setting{columns: xy}, "1 1\n2 2\n2 3\n3 3\n", "line 3: found 2 on the axis, as on line 2")
	expectItems(t, setting{columns: xy, duplicates: "mean"}, "1 1\n2 2\n2 3\n3 3\n", "x: 1 2 3 | y: 1 2.5 3 ! 3 rows are means of 4: those with the same place on the axis were joined")
	// the mean of two with u = 3 and 4 has √(9 + 16)/2
	expectItems(t, setting{columns: []string{"x = 1", "y = 2", "u_y = 3"}, duplicates: "mean"}, "3 1 1\n2 2 3\n2 3 4\n1 3 1\n",
		"x: 1 2 3 | y: 3 2.5 1 | u_y: 1 2.5 1 ! 3 rows are means of 4: those with the same place on the axis were joined")
	expectError(t, setting{columns: xy, duplicates: "mean"}, "1 1\n2 2\n3 3\n2 3\n4 4\n", "line 4: found 2 on the axis after 3 on line 3")
	// 2π/0.5 = 13, 2π/0.1 = 63
	expectError(t, setting{columns: []string{"q = 1", "I = 2"}}, "0.1 1\n0.2 2\n0.5 3\n", "line 1: found the axis q without a unit; expected 1/nm (then its sizes 2π/q are 13 to 63 nm) or 1/Å (1.3 to 6.3 nm)")
	expectError(t, setting{columns: []string{"axis = Q", "I = 2"}}, "Q I\n0.1 1\n0.2 2\n0.5 3\n", "found the axis axis without a unit")
	expectItems(t, setting{columns: []string{"q = 1 [1/Å]", "I = 2"}}, "0.1 1\n0.2 2\n0.5 3\n", "q 1/nm: 1 2 5 | I: 1 2 3")
	expectItems(t, setting{columns: []string{"q = 1", "I = 2"}}, "q [1/Å] I\n0.1 1\n0.2 2\n0.5 3\n", "q 1/nm: 1 2 5 | I: 1 2 3")
}

// What cannot be understood is refused with the line.
func TestLayoutErrors(t *testing.T) {
	for _, c := range []struct {
		name string
		set  setting
		in   string
		want string
	}{
		{"words amid a wide table", setting{curves: "<sample>", columns: xy}, "x,A,B\n1,2,3\n2,3,4\n3,4,5\n4,5x,6\n5,6,7\n6,7,8\n", `line 5: found "4,5x,6" amid the data`},
		{"cut off", setting{curves: "<sample>", columns: xy}, "x,A,B\n1,2,3\n2,3,4\n3,4,5\n4,5", "line 5: found a last line that breaks off"},
		{"no names", setting{curves: "<sample>", columns: xy}, "1,2,3\n2,3,4\n3,4,5\n", "no curve bears a name"},
		{"names do not fit", setting{curves: "S<no [1]>", columns: xy}, "x,A,B\n1,2,3\n2,3,4\n3,4,5\n", `no curve bears a name that fits "S<no [1]>"; their names are "A", "B"`},
		{"split in two ways", setting{curves: "<a>_<b>", columns: xy}, "x,A_B_C,B_C\n1,2,3\n2,3,4\n3,4,5\n", "line 1: found the name \"A_B_C\", which can be split in more than one way"},
		{"columns do not come out even", setting{curves: "<sample>", columns: []string{"x = 1", "y = 2", "u_y = 3"}}, "x,A,B,C\n1,2,3,4\n2,3,4,4\n3,4,5,5\n", "4 columns; expected the axis and a multiple of 2"},
		{"no axis above rows", setting{columns: xy, layout: "rows"}, "LN1,5,2,9\nLN2,2,7,1\n", "above which no line of numbers in order stands"},
		{"a row of other cells", setting{curves: "<sample>", columns: xy}, "LN1,1,5\nLN1,2,6\nLN1,3,7\nLN1,4,7\nLN1,bad,8\nLN1,4,8\n", "words and numbers in other cells"},
		{"garbled between blocks", setting{columns: xy, layout: "blocks"}, "1 2\n2 3\n3 4\n1x 2\n4 5\n5 6\n6 7\n", "amid the data"},
		{"one column", setting{columns: xy, layout: "wide"}, "1\n2\n3\n", "no table of numbers"},
		{"nothing", setting{columns: xy, layout: "wide"}, "words\nonly\n", "no table of numbers in 2 lines"},
		{"binary", setting{columns: xy}, "1 2\n\x00\x01\x02", "binary"},
		{"empty", setting{columns: xy, layout: "wide"}, "\n\n", "an empty file"},
		{"short lines between blanks", setting{curves: "<sample>", columns: xy}, "x A x B\n1 2 1 3\n2 3 2 4\n3 4 3 5\n4 55 4 66\n100 2\n101 2\n", "line 6"},
	} {
		t.Run(c.name, func(t *testing.T) { expectError(t, c.set, c.in, c.want) })
	}
}

// Whatever curves a wide table holds, each comes back whole.
func TestWideRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n, rows := rapid.IntRange(2, 90).Draw(t, "curves"), rapid.IntRange(3, 20).Draw(t, "rows")
		l := rapid.SampledFrom([]layout{{',', '.'}, {';', ','}, {'\t', '.'}, {';', '.'}}).Draw(t, "layout")
		value := func() float64 { return math.Round(rapid.Float64Range(-1e3, 1e3).Draw(t, "v")*1e6) / 1e6 }
		var b strings.Builder
		number := func(v float64) string {
			s := rapidNumber(v)
			return strings.Replace(s, ".", string(l.dec), 1)
		}
		b.WriteString("x")
		for k := range n {
			b.WriteString(string(l.sep) + "S" + itoa(k))
		}
		b.WriteString("\n")
		want := make([][]float64, n)
		for i := range rows {
			b.WriteString(number(float64(i) + 0.5))
			for k := range n {
				v := value()
				want[k] = append(want[k], v)
				b.WriteString(string(l.sep) + number(v))
			}
			b.WriteString("\n")
		}
		k := 0
		err := EachCurve([]byte(b.String()), Options{Layout: Wide, Keys: []string{"sample"}}, func(x *Text) error {
			if d := cmp.Diff(want[k], x.Columns[1]); d != "" || x.Names[0].Text != "S"+itoa(k) {
				t.Errorf("curve %d, %v (-want +got):\n%s", k, x.Names, d)
			}
			k++
			return nil
		})
		if err != nil || k != n {
			t.Fatalf("%d curves, %v\n%s", k, err, b.String())
		}
	})
}

func rapidNumber(v float64) string {
	s := strings.TrimRight(strings.TrimRight(strconv.FormatFloat(v, 'f', 6, 64), "0"), ".")
	if !strings.Contains(s, ".") {
		s += ".0"
	}
	return s
}

func FuzzEachCurve(f *testing.F) {
	for _, s := range []string{"x,A,B\n1,2,3\n2,3,4\n3,4,5\n", "A,,B,\n1,2,1,3\n2,3,,\n3,4,,\n", "s,1,2,3,4,5\nA,1,2,3,4,5\nB,1,2,3,4,5\n", "A,1,2\nA,2,3\nB,1,2\n",
		"1 2\n2 3\n3 4\n\n1 2\n2 3\n3 4\n", "1;1.234,5;2\n2;2.345,5;3\n", "  1 2   1 2\n  2 3   2 3\n  3 4\n", "\"a,b\",1\n\"c\"\"d\",2\n", "a\t1\nb\t2\n3\t4\nc\t5\n", "x,0,0\n0,1,2\n0,2,3\n1,2,3\n2,3,4\n3,4,5\n"} {
		for l := range uint8(8) {
			f.Add([]byte(s), l)
		}
	}
	f.Fuzz(func(t *testing.T, data []byte, l uint8) {
		all := []Layout{Found, Single, Wide, Pairs, Rows, Long, Blocks, Lines}
		o := Options{Layout: all[int(l)%len(all)], Own: int(l) / len(all) % 4, Keys: []string{"sample"}}
		o.Count = o.Own
		n := 0
		err := EachCurve(data, o, func(x *Text) error {
			n++
			rows := x.Rows()
			if rows < 1 || len(x.Valid) != len(x.Columns) || x.Heads != nil && len(x.Heads) != len(x.Columns) {
				t.Fatalf("%d rows, %d columns, %d heads", rows, len(x.Columns), len(x.Heads))
			}
			for k, c := range x.Columns {
				if len(c) != rows || x.Valid[k] != nil && len(x.Valid[k]) != rows {
					t.Fatalf("column %d: lengths", k)
				}
				for i, v := range c {
					if v-v != 0 || x.Valid[k] != nil && !x.Valid[k][i] && v != 0 {
						t.Fatalf("column %d, row %d: %v", k, i, v)
					}
				}
			}
			if last := x.Line(rows - 1); x.Line(0) < 1 || last > x.Lines {
				t.Fatalf("lines %d to %d of %d", x.Line(0), last, x.Lines)
			}
			return nil
		})
		var le *LineError
		if err != nil && (!errors.As(err, &le) || le.Line < 0 || le.Found == "") {
			t.Fatalf("error %v", err)
		}
		if err == nil && n == 0 {
			t.Fatal("neither curves nor an error")
		}
	})
}

// A head that is a unit is one only where it can hardly be anything else, and where the study names the column by it.
func TestHeadsThatAreUnits(t *testing.T) {
	expectItems(t, setting{columns: []string{"x = nm", "y = A"}}, "nm,A\n1,2\n2,3\n", "x nm: 1 2 | y: 2 3")
	expectItems(t, setting{columns: []string{"x = cm-1", "y = PL"}}, "cm-1,PL\n10,2\n20,3\n", "x 1/cm: 10 20 | y: 2 3")
	expectItems(t, setting{columns: []string{"x = min", "y = kcps"}}, "min,kcps\n1,2\n2,3\n", "x: 1 2 | y 1/s: 2000 3000")
	expectItems(t, setting{columns: []string{"x = nm [um]", "y = 2"}}, "nm,A\n1,2\n2,3\n", "x nm: 1000 2000 | y: 2 3")
	expectItems(t, setting{columns: xy}, "nm,A\n1,2\n2,3\n", "x: 1 2 | y: 2 3")
}

package importing

import (
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"
)

func parse(t *testing.T, s string) *Text {
	t.Helper()
	got, err := ParseText([]byte(s))
	if err != nil {
		t.Fatalf("ParseText(%q): %v", s, err)
	}
	return got
}

func TestParseTextColumns(t *testing.T) {
	two := [][]float64{{1, 2, 3}, {0.5, -0.25, 1e-3}}
	three := [][]float64{{1, 2, 3}, {0.5, -0.25, 1e-3}, {7, 8, 9}}
	for _, c := range []struct {
		name, in, sep string
		want          [][]float64
	}{
		{"blanks", "1 0.5\n2 -0.25\n3 1e-3\n", "blanks", two},
		{"blanks, padded", "   1   0.5  \n   2  -0.25\n   3\t 1e-3\n", "blanks", two},
		{"tab", "1\t0.5\n2\t-0.25\n3\t1e-3\n", "blanks", two},
		{"tab, ends with one", "1\t0.5\t\n2\t-0.25\t\n3\t1e-3\t\n", "blanks", two},
		{"comma", "1,0.5\n2,-0.25\n3,1e-3\n", "comma", two},
		{"comma and blank", "1, 0.5, 7\n2, -0.25, 8\n3, 1e-3, 9\n", "comma", three},
		{"comma at the end", "1,0.5,\n2,-0.25,\n3,1e-3,\n", "comma", two},
		{"semicolon", "1;0.5\n2;-0.25\n3;1e-3\n", "semicolon", two},
		{"semicolon, decimal comma", "1;0,5\n2;-0,25\n3;1e-3\n", "semicolon, decimal comma", two},
		{"tab, decimal comma", "1,0\t0,5\n2,0\t-0,25\n3,0\t0,001\n", "blanks, decimal comma", two},
		{"decimal comma, footer with points", "1,0\t0,5\n2,0\t-0,25\n3,0\t0,001\nGain: 1.5\n", "blanks, decimal comma", two},
		{"quotes", "\"1\" \"0.5\"\n\"2\" \"-0.25\"\n\"3\" \"1e-3\"\n", "blanks", two},
		{"CRLF", "1 0.5\r\n2 -0.25\r\n3 1e-3\r\n", "blanks", two},
		{"CR", "1 0.5\r2 -0.25\r3 1e-3\r", "blanks", two},
		{"mixed ends", "1 0.5\r\n2 -0.25\r3 1e-3\n", "blanks", two},
		{"ends written twice", "1 0.5\r\r\n2 -0.25\r\r\n3 1e-3\r\r\n", "blanks", two},
		{"no end", "1 0.5\n2 -0.25\n3 1e-3", "blanks", two},
		{"BOM", "\uFEFF1 0.5\n2 -0.25\n3 1e-3\n", "blanks", two},
		{"UTF-16", "\xFF\xFE1\x00 \x000\x00.\x005\x00\n\x002\x00 \x00-\x00.\x002\x005\x00\n\x003\x00 \x001\x00e\x00-\x003\x00", "blanks", two},
		{"three", "1 0.5 7\n2 -0.25 8\n3 1e-3 9\n", "blanks", three},
		{"bare count", "title\n3\n1 0.5 7\n2 -0.25 8\n3 1e-3 9\n", "blanks", three},
		{"count behind a mark", "# 3\n1 0.5 7\n2 -0.25 8\n3 1e-3 9\n", "blanks", three},
		{"ruled off", "## 17\n** 3 **\n-- 5\n1 0.5\n2 -0.25\n3 1e-3\n-- 6\n", "blanks", two},
		{"long footer", "1 0.5\n2 -0.25\n3 1e-3\n\n" + strings.Repeat("footer text\n", 1900), "blanks", two},
		{"Fortran exponent", "1 0.5D0\n2 -2.5D-1\n3 1.0D-3\n", "blanks", two},
		{"middle column empty in places", "1\t\t7\n2\t-0.25\t8\n3\t1e-3\t9\n", "tab", [][]float64{{1, 2, 3}, {0, -0.25, 1e-3}, {7, 8, 9}}},
	} {
		t.Run(c.name, func(t *testing.T) {
			got := parse(t, c.in)
			if d := cmp.Diff(c.want, got.Columns); d != "" {
				t.Errorf("columns (-want +got):\n%s", d)
			}
			if got.Separator != c.sep {
				t.Errorf("separator %q, want %q", got.Separator, c.sep)
			}
		})
	}
}

func TestParseTextHeads(t *testing.T) {
	data := map[string]string{"blank": "1 2\n3 4\n5 6\n", "comma": "1,2\n3,4\n5,6\n", "tab": "1\t2\n3\t4\n5\t6\n", "three": "1 2 3\n3 4 5\n5 6 7\n"}
	for _, c := range []struct {
		name, head, data string
		want             []Head
	}{
		{"none", "", "blank", nil},
		{"words", "q I", "blank", []Head{{"q", "", "q"}, {"I", "", "I"}}},
		{"square brackets", "q [1/nm]  I [1/cm]", "blank", []Head{{"q", "1/nm", "q [1/nm]"}, {"I", "1/cm", "I [1/cm]"}}},
		{"one blank before the unit", "q [1/nm] I [1/cm]", "blank", []Head{{"q", "1/nm", "q [1/nm]"}, {"I", "1/cm", "I [1/cm]"}}},
		{"round brackets", "Wavelength (nm),Abs,", "comma", []Head{{"Wavelength", "nm", "Wavelength (nm)"}, {"Abs", "", "Abs"}}},
		{"behind a mark", "#   Q    I(Q)   Error", "three", []Head{{"Q", "", "Q"}, {"I(Q)", "", "I(Q)"}, {"Error", "", "Error"}}},
		{"function of s, not seconds", "s I(s)", "blank", []Head{{"s", "", "s"}, {"I(s)", "", "I(s)"}}},
		{"seconds", "time(s) I", "blank", []Head{{"time", "s", "time(s)"}, {"I", "", "I"}}},
		{"inverse length joined", "Q(A-1) I", "blank", []Head{{"Q", "A-1", "Q(A-1)"}, {"I", "", "I"}}},
		{"underscore", "Conc_(mM),Phase", "comma", []Head{{"Conc", "mM", "Conc_(mM)"}, {"Phase", "", "Phase"}}},
		{"quoted", `"Time [ns]","Counts"`, "comma", []Head{{"Time", "ns", "Time [ns]"}, {"Counts", "", "Counts"}}},
		{"blanks between tabs", "Time in ns\tcount rate", "tab", []Head{{"Time in ns", "", "Time in ns"}, {"count rate", "", "count rate"}}},
		{"units on their own line", "q I\n[1/nm] [1/cm]", "blank", []Head{{"q", "1/nm", "q"}, {"I", "1/cm", "I"}}},
		{"the last one counts", "first second\nq I", "blank", []Head{{"q", "", "q"}, {"I", "", "I"}}},
		{"pairs are no heads", "q I\nGain: 5\nexposure = 7", "blank", []Head{{"q", "", "q"}, {"I", "", "I"}}},
		{"count is no head", "q I\n# 3", "blank", []Head{{"q", "", "q"}, {"I", "", "I"}}},
		{"title does not fit", "Rhodamine 6G in methanol1,,", "comma", nil},
		{"prose above commas", "methanol baseline", "comma", nil},
	} {
		t.Run(c.name, func(t *testing.T) {
			got := parse(t, c.head+"\n"+data[c.data])
			if d := cmp.Diff(c.want, got.Heads); d != "" {
				t.Errorf("heads (-want +got):\n%s", d)
			}
		})
	}
}

func TestParseTextPairs(t *testing.T) {
	in := strings.Join([]string{
		"### DATA:", "# Sample: LN 35, batch 2", "Exposure = 120 s", "Start,800", `Path: C:\data\x.dat`, `C:\data\y.dat`, "http://example.org/a",
		"12:30 start", "Taken: 2024-02-01 12:30:05", "", "q I u", "1 2 3", "2 3 4", "3 4 5", "", "### HEADER:",
		`#      "exposure_time": 120.0, `, `  "name": "a, b",`, `"broken"`, "µ: 5", "Wavelength=0.154"}, "\n")
	got := parse(t, in)
	want := []Pair{{"Sample", "LN 35, batch 2", 2}, {"Exposure", "120 s", 3}, {"Path", `C:\data\x.dat`, 5}, {"Taken", "2024-02-01 12:30:05", 9},
		{"exposure_time", "120.0", 17}, {"name", "a, b", 18}, {"µ", "5", 20}, {"Wavelength", "0.154", 21}}
	if d := cmp.Diff(want, got.Pairs); d != "" {
		t.Errorf("pairs (-want +got):\n%s", d)
	}
	if got.FirstLine != 12 || got.LastLine != 14 || got.Lines != 21 || got.Rows() != 3 || got.Line(1) != 13 {
		t.Errorf("first %d, last %d, lines %d, rows %d", got.FirstLine, got.LastLine, got.Lines, got.Rows())
	}
}

// Exports that write their header as a table: a key and a value in two cells, the rest of the line empty.
func TestParseTextPairsInCells(t *testing.T) {
	for _, c := range []struct {
		name, in string
		pairs    []Pair
		heads    []Head
	}{
		{"semicolons", "Sample;LN 35;\nExposure;300 s;\nq;I;\n1;2;\n3;4;\n5;6;\n",
			[]Pair{{"Sample", "LN 35", 1}, {"Exposure", "300 s", 2}}, []Head{{"q", "", "q"}, {"I", "", "I"}}},
		{"no heads", "Sample;LN 35;\nExposure;300 s;\n1;2;\n3;4;\n5;6;\n", []Pair{{"Exposure", "300 s", 2}}, []Head{{"Sample", "", "Sample"}, {"LN 35", "", "LN 35"}}},
		{"decimal commas", "Exposure;0,3 s;;\nq;I;u\n1,5;2,5;1,5\n3,5;4,5;1,5\n", []Pair{{"Exposure", "0,3 s", 1}}, []Head{{"q", "", "q"}, {"I", "", "I"}, {"u", "", "u"}}},
		{"commas and quotes", "\"Exposure\",\"300 s\"\nGain,5\nq,I\n1,2\n3,4\n", []Pair{{"Exposure", "300 s", 1}, {"Gain", "5", 2}}, []Head{{"q", "", "q"}, {"I", "", "I"}}},
		{"footer", "q;I\n1;2\n3;4\nExposure;300 s\n", []Pair{{"Exposure", "300 s", 4}}, []Head{{"q", "", "q"}, {"I", "", "I"}}},
		{"number as head", "wavelength;350\n1;2\n3;4\n", nil, []Head{{"wavelength", "", "wavelength"}, {"350", "", "350"}}},
	} {
		t.Run(c.name, func(t *testing.T) {
			got := parse(t, c.in)
			if d := cmp.Diff(c.pairs, got.Pairs); d != "" {
				t.Errorf("pairs (-want +got):\n%s", d)
			}
			if d := cmp.Diff(c.heads, got.Heads); d != "" {
				t.Errorf("heads (-want +got):\n%s", d)
			}
		})
	}
}

func TestParseTextMissing(t *testing.T) {
	in := "x,a,b,c\n1,XXX.XXX,OVER,1\n2,#####,2,\n3,**.**,NaN,NULL\n4,4,1e999,4\n5,-inf,--,5\n"
	got := parse(t, in)
	no, ok := false, true
	wantValid := [][]bool{nil, {no, no, no, ok, no}, {no, ok, no, no, no}, {ok, no, no, ok, ok}}
	if d := cmp.Diff(wantValid, got.Valid); d != "" {
		t.Errorf("valid (-want +got):\n%s", d)
	}
	wantCols := [][]float64{{1, 2, 3, 4, 5}, {0, 0, 0, 4, 0}, {0, 2, 0, 0, 0}, {1, 0, 0, 4, 5}}
	if d := cmp.Diff(wantCols, got.Columns); d != "" {
		t.Errorf("columns (-want +got):\n%s", d)
	}
	wantNotes := []Note{
		{"over-range mark in column 2", []int{2, 3, 4, 6}, false}, {"over-range mark in column 3", []int{2}, false}, {"empty cell in column 4", []int{3}, true},
		{"NaN or NULL in column 3", []int{4, 6}, true}, {"NaN or NULL in column 4", []int{4}, true}, {"number beyond the range of a 64-bit float in column 3", []int{5}, false}}
	if d := cmp.Diff(wantNotes, got.Notes); d != "" {
		t.Errorf("notes (-want +got):\n%s", d)
	}
}

func TestParseTextNotes(t *testing.T) {
	rows := "1 2 3\n2 3 4\n3 4 5\n4 5 6\n5 6 7\n"
	for _, c := range []struct {
		name, in string
		want     []Note
	}{
		{"nothing", rows, nil},
		{"numbers above", "7 8 9\ntext\n" + rows, []Note{{"numbers in 3 columns outside the data are left out", []int{1}, false}}},
		{"parameters above", "7 8\n" + rows, []Note{{"numbers in 2 columns outside the data are left out", []int{1}, false}}},
		{"empty column named", "q,I,u\n1,2,\n2,3,\n3,4,\n", []Note{{"column 3 (u) is empty and left out", nil, true}}},
		{"Latin-1", "q [1/\xC5] I\n1 2\n2 3\n", []Note{{"the text is not UTF-8; it was read as Windows-1252", []int{1}, true}}},
		{"short last number", "1.00 2.00\n2.00 3.00\n3.00 4.00\n4.00 5.00\n5.00 6.0", []Note{{"the file ends without a line end and its last number is shorter than those before: it may be cut off", []int{5}, false}}},
		{"no line end, but whole", "1.00 2.00\n2.00 3.00\n3.00 4.00\n4.00 5.00\n5.00 6.00", nil},
	} {
		t.Run(c.name, func(t *testing.T) {
			if d := cmp.Diff(c.want, parse(t, c.in).Notes); d != "" {
				t.Errorf("notes (-want +got):\n%s", d)
			}
		})
	}
	if u := parse(t, "q [1/\xC5] I\n1 2\n2 3\n").Heads[0].Unit; u != "1/Å" {
		t.Errorf("unit in Windows-1252: %q", u)
	}
}

func TestParseTextErrors(t *testing.T) {
	block := func(n int, line string) string { return strings.Repeat(line+"\n", n) }
	for _, c := range []struct {
		name, in string
		line     int
		want     string
	}{
		{"empty", "", 0, "an empty file"},
		{"blank", " \r\n\t\n\uFEFF"[:5], 0, "an empty file"},
		{"only BOM", "\uFEFF\n", 0, "an empty file"},
		{"binary", "text\n1 2\n\x00\x01", 3, "binary"},
		{"prose", "no numbers\nin this file\n", 0, "no table of numbers in 2 lines"},
		{"one column", "title\n1\n2\n3\n", 2, "one column of numbers (3 lines)"},
		{"one column, decimal points", "1.5\n2.5\n3.5\n", 1, "one column"},
		{"one column, the other empty", "1,\n2,\n3,\n", 1, "the others are empty"},
		{"one line", "a b\n1 2\n", 2, "a single line of numbers"},
		{"five columns", "a\n1 2 3 4 5\n2 3 4 5 6\n", 2, "5 columns of numbers"},
		{"many columns", "1" + strings.Repeat(",2", 40) + "\n" + "1" + strings.Repeat(",2", 40) + "\n", 1, "41 columns"},
		{"cut off, fewer columns", "1 2 3\n2 3 4\n3 4", 3, "breaks off"},
		{"cut off, one column", "1 2 3\n2 3 4\n3.5\n\n", 3, "breaks off"},
		{"cut off amid an exponent", "1 2e3\n2 3e3\n3 4e-", 3, "breaks off"},
		{"cut off at a sign", "1,2\n2,3\n3,-", 3, "breaks off"},
		{"cut off at a separator", "1,2,3\n2,3,4\n3,", 3, "breaks off"},
		{"ragged within", block(5, "1 2 3") + "1 2\n" + block(3, "1 2 3"), 6, "found 2 columns; expected 3 as on the lines before"},
		{"one number within", block(5, "1 2 3") + "4\n" + block(3, "1 2 3"), 6, `"4" amid the data`},
		{"garbled line", block(5, "1 2 3") + "1 2x 3\n" + block(2, "1 2 3"), 6, `"1 2x 3" amid the data`},
		{"second block", block(20, "1 2") + "\nresponse\n" + block(10, "1 2"), 23, "a second block of numbers (lines 23 to 32, 2 columns)"},
		{"columns of unequal length", block(20, "1 2 3") + block(10, "1 2"), 21, "found 2 columns"},
	} {
		t.Run(c.name, func(t *testing.T) {
			got, err := ParseText([]byte(c.in))
			var le *LineError
			if !errors.As(err, &le) {
				t.Fatalf("error %v (result %+v), want a LineError", err, got)
			}
			if le.Line != c.line || !strings.Contains(err.Error(), c.want) {
				t.Errorf("line %d, %q; want line %d, %q", le.Line, err, c.line, c.want)
			}
		})
	}
}

func TestFooterIsNotACutLine(t *testing.T) {
	for _, footer := range []string{"2024-01-02", "12:30", "5 counts", "end"} {
		if got := parse(t, "1 2\n2 3\n3 4\n"+footer+"\n"); got.Rows() != 3 {
			t.Errorf("footer %q: %d rows", footer, got.Rows())
		}
	}
}

func TestCheckAxis(t *testing.T) {
	line := func(row int) int { return row + 10 }
	for _, c := range []struct {
		name   string
		x      []float64
		valid  []bool
		rising bool
		row    int // -1: no error
		dup    bool
		want   string
	}{
		{"rising", []float64{1, 2, 3}, nil, true, -1, false, ""},
		{"falling", []float64{3, 2, -1}, nil, false, -1, false, ""},
		{"short", []float64{3}, nil, false, 0, false, "an axis of 1 row"},
		{"duplicate", []float64{1, 2, 2, 3}, nil, true, 2, true, "line 12: found 2 on the axis, as on line 11"},
		{"turns", []float64{1, 2, 3, 2.5, 4}, nil, true, 3, false, "line 13: found 2.5 on the axis after 3 on line 12; expected a value above it"},
		{"wrong first row", []float64{900, 200, 201, 202}, nil, true, 1, false, "line 11: found 200 on the axis after 900"},
		{"null", []float64{1, 0, 3}, []bool{true, false, true}, false, 1, false, "line 11: found no number on the axis"},
		{"NaN", []float64{1, math.NaN(), 3}, nil, false, 1, false, "line 11"},
	} {
		t.Run(c.name, func(t *testing.T) {
			rising, err := CheckAxis(c.x, c.valid, line)
			if c.row < 0 {
				if err != nil || rising != c.rising {
					t.Fatalf("rising %v, error %v", rising, err)
				}
				return
			}
			var ae *AxisError
			if !errors.As(err, &ae) || ae.Row != c.row || ae.Duplicate != c.dup || !strings.Contains(err.Error(), c.want) {
				t.Fatalf("error %v (%+v), want row %d, %q", err, ae, c.row, c.want)
			}
		})
	}
}

// Whatever numbers are written in whatever form, they come back bit by bit.
func TestParseTextRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(MinColumns, MaxColumns).Draw(t, "columns")
		rows := rapid.IntRange(3, 40).Draw(t, "rows")
		l := rapid.SampledFrom(layouts[:]).Draw(t, "layout")
		end := rapid.SampledFrom([]string{"\n", "\r\n", "\r"}).Draw(t, "line end")
		head := rapid.SampledFrom([]string{"", "a title", "Key: value", "# 17", "2024"}).Draw(t, "head")
		foot := rapid.SampledFrom([]string{"", "end", `"k": 1.5,`, "\n\nx = 5"}).Draw(t, "foot")
		var b strings.Builder
		if head != "" {
			b.WriteString(head + end)
		}
		first := strings.Count(b.String(), end) + 1
		want := make([][]float64, n)
		for i := 0; i < rows; i++ {
			for k := 0; k < n; k++ {
				v := rapid.Float64().Draw(t, "v")
				if math.IsInf(v, 0) || math.IsNaN(v) {
					v = 0
				}
				want[k] = append(want[k], v)
				s := strconv.FormatFloat(v, 'e', -1, 64)
				if !strings.Contains(s, ".") {
					s = strings.Replace(s, "e", ".0e", 1)
				}
				if k > 0 {
					sep := string(l.sep)
					if l.sep == 0 {
						sep = " "
					}
					b.WriteString(sep)
				}
				b.WriteString(strings.Replace(s, ".", string(l.dec), 1))
			}
			b.WriteString(end)
		}
		b.WriteString(foot)
		got, err := ParseText([]byte(b.String()))
		if err != nil {
			t.Fatalf("%v\n%s", err, b.String())
		}
		if got.FirstLine != first || got.Rows() != rows {
			t.Fatalf("first line %d rows %d, want %d, %d", got.FirstLine, got.Rows(), first, rows)
		}
		for k := range want {
			for i := range want[k] {
				if math.Float64bits(got.Columns[k][i]) != math.Float64bits(want[k][i]) {
					t.Fatalf("column %d row %d: %v, want %v", k, i, got.Columns[k][i], want[k][i])
				}
			}
		}
	})
}

func FuzzParseText(f *testing.F) {
	for _, s := range []string{"q I\n1 2\n2 3\n", "1;2,5\n2;3,5\n", "a,b,\r\n1,2,\r\n2,NaN,\r\n", "\xFF\xFE1\x00 \x002\x00", "# 3\n1 2 3\n2 3 4\n\"k\": 1,\n",
		"1\t\t3\r2\t1\t3\r", "1 2\n2 3\n3 1e-", "1,5 2\n2,5 3\n\n\n1 2", "#####,1\n2,OVER\n", "[a] (b)\n1 2\n2 3"} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		got, err := ParseText(data)
		if err != nil {
			var le *LineError
			if !errors.As(err, &le) || le.Line < 0 || le.Found == "" {
				t.Fatalf("error %v", err)
			}
			return
		}
		rows := got.Rows()
		if n := len(got.Columns); n < MinColumns || n > MaxColumns || rows < 2 || len(got.Valid) != n || got.Heads != nil && len(got.Heads) != n {
			t.Fatalf("%d columns, %d rows, %d heads", n, rows, len(got.Heads))
		}
		for k, c := range got.Columns {
			if len(c) != rows || got.Valid[k] != nil && len(got.Valid[k]) != rows {
				t.Fatalf("column %d: lengths", k)
			}
			for i, v := range c {
				if math.IsNaN(v) || math.IsInf(v, 0) || got.Valid[k] != nil && !got.Valid[k][i] && v != 0 {
					t.Fatalf("column %d row %d: %v", k, i, v)
				}
			}
		}
		if got.Line(0) != got.FirstLine || got.Line(rows-1) != got.LastLine || got.LastLine > got.Lines {
			t.Fatalf("lines %d to %d of %d, %d rows", got.FirstLine, got.LastLine, got.Lines, rows)
		}
	})
}

// Real files of two to four columns. Rows, first lines, first and last numbers
// were read off the files by eye; see the data's own MANIFEST for their origin.
func TestParseTextOpenData(t *testing.T) {
	dir := os.Getenv("FASCICLE_OPEN_DATA")
	if dir == "" {
		t.Skip("FASCICLE_OPEN_DATA is not set")
	}
	for _, c := range []struct {
		file        string
		cols, rows  int
		first       int
		head        string
		unit        string
		start, last []float64
		pairs       int
	}{
		{"scattering/lys4_frame000.dat", 3, 430, 5, "Q", "", []float64{1.06922151e-2, 2.63961472e-2, 2.21758305e-3}, nil, 4},
		{"scattering/lys8_averaged.dat", 3, 430, 5, "Q", "", []float64{1.06922151e-2, 3.22178994e-2, 7.43402472e-4}, nil, 2},
		{"scattering/lys8_subtracted.dat", 3, 430, 5, "Q", "", []float64{1.06922151e-2, 1.04549242e-2, 1.09741670e-3}, nil, 2},
		{"scattering/lys_buffer_averaged.dat", 3, 430, 5, "Q", "", nil, nil, 2},
		{"scattering/lys8_frame000.dat", 3, 430, 5, "Q", "", nil, nil, 4},
		{"scattering/lys8_frame001.dat", 3, 430, 5, "Q", "", nil, nil, 4},
		{"scattering/lys_buffer_frame000.dat", 3, 430, 5, "Q", "", nil, nil, 4},
		{"scattering/lys_buffer_frame001.dat", 3, 430, 5, "Q", "", nil, nil, 4},
		{"scattering/rU30PR30_150mMNaCl_contrastMatched.dat", 3, 362, 5, "Q", "", []float64{7.35146959e-3, 1.05339050e-1, 2.30389405e-3}, nil, -1},
		{"scattering/rU30_600mMNaCl_normalBuffer.dat", 3, 63, 5, "Q", "", []float64{1.09669464e-2, 4.08694655e-2, 4.11974965e-4}, nil, -1},
		{"scattering/gc_C14_ESRF_ID01.txt", 3, 1101, 2, "q*Aangstroem", "", []float64{0.0032397, 61.436, 0.89411}, []float64{0.063128, 36.160, 0.52397}, 0},
		{"spectra/r6g_methanol_A1.csv", 2, 601, 3, "Wavelength", "nm", []float64{800, -0.003339566989}, []float64{200, -0.05238946527}, 0},
		{"spectra/r6g_methanol_blank.csv", 2, 601, 3, "Wavelength", "nm", []float64{800, -0.001113996375}, []float64{200, 0.0004544069525}, 0},
		{"turbidity/AspLys_NaCl_start.csv", 4, 47, 2, "Conc_SIGMA_Asp_250", "mM", []float64{5.6, 2.4, 100, 1}, []float64{0.0625, 0.0625, 1000, 0}, 0},
	} {
		t.Run(c.file, func(t *testing.T) {
			data, err := os.ReadFile(filepath.Join(dir, filepath.FromSlash(c.file)))
			if err != nil {
				t.Fatal(err)
			}
			got, err := ParseText(data)
			if err != nil {
				t.Fatal(err)
			}
			if len(got.Columns) != c.cols || got.Rows() != c.rows || got.FirstLine != c.first {
				t.Errorf("%d columns, %d rows from line %d; want %d, %d, %d", len(got.Columns), got.Rows(), got.FirstLine, c.cols, c.rows, c.first)
			}
			if got.Heads == nil || got.Heads[0].Name != c.head || got.Heads[0].Unit != c.unit {
				t.Errorf("heads %+v", got.Heads)
			}
			for k, v := range c.start {
				if got.Columns[k][0] != v {
					t.Errorf("column %d starts with %v, want %v", k+1, got.Columns[k][0], v)
				}
			}
			for k, v := range c.last {
				if got.Columns[k][c.rows-1] != v {
					t.Errorf("column %d ends with %v, want %v", k+1, got.Columns[k][c.rows-1], v)
				}
			}
			if c.pairs >= 0 && len(got.Pairs) != c.pairs {
				t.Errorf("pairs %+v, want %d", got.Pairs, c.pairs)
			}
			if !strings.HasPrefix(c.file, "turbidity") {
				if _, err := CheckAxis(got.Columns[0], got.Valid[0], got.Line); err != nil {
					t.Error(err)
				}
			}
		})
	}
	for file, want := range map[string]string{"decay/trpl_sample1.csv": "line 2: found 6 columns", "spectra/nist_mcresol_purple_NISTData.csv": "",
		"spectra/r6g_concentrations.csv": "line 3"} {
		data, err := os.ReadFile(filepath.Join(dir, filepath.FromSlash(file)))
		if err != nil {
			t.Fatal(err)
		}
		if got, err := ParseText(data); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%s: error %v (%d columns), want %q", file, err, len(got.Columns), want)
		}
	}
}

func curveText(n int) []byte {
	var b strings.Builder
	b.WriteString("Sample: test\nWavelength (nm),Abs,\n")
	for i := 0; i < n; i++ {
		fmt.Fprintf(&b, "%d,%.10g\n", i+200, math.Sin(float64(i)*0.01)*0.1)
	}
	return []byte(b.String())
}

func BenchmarkParseText(b *testing.B) {
	data := curveText(4096)
	b.SetBytes(int64(len(data)))
	b.ReportAllocs()
	for b.Loop() {
		if _, err := ParseText(data); err != nil {
			b.Fatal(err)
		}
	}
}

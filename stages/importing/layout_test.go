package importing

import (
	"context"
	"fmt"
	"math"
	"strings"
	"testing"
	"unicode/utf16"
	"unicode/utf8"

	"fascicle/pipeline"
	"fascicle/pipeline/table"

	"github.com/google/go-cmp/cmp"
)

// setting is a shorter way to write settings.
type setting struct {
	curves, layout, duplicates         string
	files, sheet, channel, axis, scale string
	columns, header, u                 []string // "name = value"
	fields, wells                      []string
}

func (s setting) settings(t testing.TB) *importSettings {
	t.Helper()
	pairs := func(in []string) (m pipeline.Map[string]) {
		for _, p := range in {
			k, v, _ := strings.Cut(p, " = ")
			m = append(m, pipeline.Named[string]{Key: k, Value: v})
		}
		return m
	}
	out := &importSettings{Files: "raw/*", Curves: s.curves, Layout: s.layout, Columns: pairs(s.columns), Header: pairs(s.header), U: pairs(s.u), Duplicates: s.duplicates,
		Sheet: s.sheet, Channel: s.channel, AxisUnit: s.axis, Scale: s.scale, Fields: pairs(s.fields), Wells: pairs(s.wells)}
	if s.files != "" {
		out.Files = s.files
	}
	if out.Layout == "" {
		out.Layout = string(Found)
	}
	if out.Duplicates == "" {
		out.Duplicates = "refuse"
	}
	if err := out.Validate(); err != nil {
		t.Fatal(err)
	}
	return out
}

// items reads a file and writes its items in short: `field=value | name unit: numbers | … ! flag`.
func items(t testing.TB, s setting, data string) ([]string, error) {
	t.Helper()
	var out []string
	err := readFile(context.Background(), s.settings(t), []byte(data), "raw/file", func(fields []pipeline.Captured, tab *table.Table, flags []pipeline.Remark) error {
		out = append(out, short(fields, tab, flags))
		return tab.Check()
	})
	return out, err
}

func short(fields []pipeline.Captured, tab *table.Table, flags []pipeline.Remark) string {
	var parts []string
	for _, f := range fields {
		parts = append(parts, f.Name+"="+f.Text)
	}
	for i := range tab.Columns {
		c := &tab.Columns[i]
		var b strings.Builder
		b.WriteString(c.Name)
		if c.Unit != "1" {
			b.WriteString(" " + c.Unit)
		}
		b.WriteString(":")
		for k, v := range c.Floats {
			if c.IsNull(k) {
				b.WriteString(" -")
			} else {
				fmt.Fprintf(&b, " %.6g", v)
			}
		}
		parts = append(parts, b.String())
	}
	text := strings.Join(parts, " | ")
	for _, f := range flags {
		text += " ! " + f.Text
	}
	return text
}

// Decimals of three digits are no thousands, whatever the layout.
func TestThreeDecimals(t *testing.T) {
	set := setting{curves: "<sample>", columns: []string{"x = 1", "y = 2"}}
	expectItems(t, set, "LN1\t\tLN2\t\nx\ty\tx\ty\n1\t0.953\t1\t1.953\n2\t1.245\t2\t2.245\n3\t0.998\t3\t12.999\n", "sample=LN1 | x: 1 2 3 | y: 0.953 1.245 0.998", "sample=LN2 | x: 1 2 3 | y: 1.953 2.245 12.999")
	expectItems(t, set, "x;LN1;LN2\n1;0,953;1,953\n2;1,245;2,245\n3;0,998;12,999\n", "sample=LN1 | x: 1 2 3 | y: 0.953 1.245 0.998", "sample=LN2 | x: 1 2 3 | y: 1.953 2.245 12.999")
}

// expectItems reads a file as it is, with other line ends, in another encoding and compressed: all must give the same items.
func expectItems(t *testing.T, s setting, data string, want ...string) {
	t.Helper()
	got, err := items(t, s, data)
	if err != nil {
		t.Fatalf("%v\n%s", err, data)
	}
	if d := cmp.Diff(want, got); d != "" {
		t.Errorf("items (-want +got):\n%s", d)
		return
	}
	if !utf8.ValidString(data) {
		return // encoded or compressed already
	}
	forms := map[string]string{"compressed": string(gzipped(t, []byte(data)))}
	if !strings.Contains(data, "\r") {
		forms["CR LF"] = strings.ReplaceAll(data, "\n", "\r\n")
		forms["CR"] = strings.ReplaceAll(data, "\n", "\r")
	}
	if data[0] != 0xEF {
		forms["byte order mark"] = "\uFEFF" + data
		var wide strings.Builder
		for _, u := range utf16.Encode([]rune("\uFEFF" + data)) {
			wide.Write([]byte{byte(u >> 8), byte(u)})
		}
		forms["UTF-16"] = wide.String()
	}
	for name, form := range forms {
		got, err := items(t, s, form)
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		for i := range got {
			got[i] = strings.Replace(got[i], " ! the text is UTF-16; it was converted", "", 1)
		}
		if d := cmp.Diff(want, got); d != "" {
			t.Errorf("%s: items (-want +got):\n%s", name, d)
		}
	}
}

var xy = []string{"x = 1", "y = 2"}

// Several curves beside one another, in the forms that exports have.
func TestLayoutWide(t *testing.T) {
	abc := []string{"sample=LN1 | x nm: 400 401 402 | y: 0.1 0.2 0.3", "sample=LN2 | x nm: 400 401 402 | y: 1 2 3", "sample=LN3 | x nm: 400 401 402 | y: 10 20 30"}
	nm := []string{"x = 1 [nm]", "y = 2"}
	for _, c := range []struct {
		name string
		set  setting
		in   string
		want []string
	}{
		{"heads", setting{curves: "<sample>", columns: nm}, "x,LN1,LN2,LN3\n400,0.1,1,10\n401,0.2,2,20\n402,0.3,3,30\n", abc},
		{"unit in the head of the axis", setting{curves: "<sample>", columns: xy}, "Wavelength (nm),LN1,LN2,LN3\n400,0.1,1,10\n401,0.2,2,20\n402,0.3,3,30\n", abc},
		{"falling, ends with commas", setting{curves: "<sample>", columns: nm}, "x,LN1,LN2,LN3,\r\n402,0.3,3,30,\r\n401,0.2,2,20,\r\n400,0.1,1,10,\r\n\r\n", abc},
		{"tabs and decimal commas", setting{curves: "<sample>", columns: nm}, "nm\tLN1\tLN2\tLN3\n400,0\t0,1\t1,0\t10,0\n401,0\t0,2\t2,0\t20,0\n402,0\t0,3\t3,0\t30,0\nGain: 1.5\n", abc},
		{"blanks", setting{curves: "<sample>", columns: nm}, "Report of the day\n\n  nm     LN1   LN2   LN3\n 400     0.1   1     10\n 401     0.2   2     20\n 402     0.3   3     30\n", abc},
		{"heads without one for the axis", setting{curves: "<sample>", columns: nm}, "\tLN1\tLN2\tLN3\n400\t0.1\t1\t10\n401\t0.2\t2\t20\n402\t0.3\t3\t30\n", abc},
		{"names above quantities", setting{curves: "<sample>", columns: xy}, ";LN1;LN2;LN3\nWavelength [nm];Abs;Abs;Abs\n400;0.1;1;10\n401;0.2;2;20\n402;0.3;3;30\n", abc},
		{"units on a line", setting{curves: "<sample>", columns: xy}, "Wavelength;LN1;LN2;LN3\n[nm];[];[];[]\n400;0.1;1;10\n401;0.2;2;20\n402;0.3;3;30\n", abc},
		{"counted", setting{columns: nm}, "x,a,b,c,d\n400,1,2,3,4\n401,5,6,7,8\n", []string{"x nm: 400 401 | y: 1 5", "x nm: 400 401 | y: 2 6", "x nm: 400 401 | y: 3 7", "x nm: 400 401 | y: 4 8"}},
		{"numbers as names", setting{curves: "<ex [nm]>", columns: nm}, "emission,350,360,370\n400,0.1,1,10\n401,0.2,2,20\n402,0.3,3,30\n",
			[]string{"ex=350 | x nm: 400 401 402 | y: 0.1 0.2 0.3", "ex=360 | x nm: 400 401 402 | y: 1 2 3", "ex=370 | x nm: 400 401 402 | y: 10 20 30"}},
		{"numbers as names, nothing above the axis", setting{curves: "<ex [nm]>", columns: nm}, ",350,360,370\n400,0.1,1,10\n401,0.2,2,20\n402,0.3,3,30\n",
			[]string{"ex=350 | x nm: 400 401 402 | y: 0.1 0.2 0.3", "ex=360 | x nm: 400 401 402 | y: 1 2 3", "ex=370 | x nm: 400 401 402 | y: 10 20 30"}},
		{"with uncertainties", setting{curves: "<sample>", columns: []string{"x = 1", "y = 2", "u_y = 3"}}, "x,LN1,s,LN2,s\n1,10,1,20,2\n2,11,1,21,2\n",
			[]string{"sample=LN1 | x: 1 2 | y: 10 11 | u_y: 1 1", "sample=LN2 | x: 1 2 | y: 20 21 | u_y: 2 2"}},
		{"unequal length", setting{curves: "<sample>", columns: xy}, "x,LN1,LN2\n1,5,6\n2,5,6\n3,,6\n4,,7\n", []string{"sample=LN1 | x: 1 2 | y: 5 5", "sample=LN2 | x: 1 2 3 4 | y: 6 6 6 7"}},
		{"over-range", setting{curves: "<sample>", columns: xy}, "x,LN1,LN2\n1,5,XXX.XXX\n2,OVER,#####\n3,7,**.**\n",
			[]string{"sample=LN1 | x: 1 2 3 | y: 5 - 7 ! over-range mark in column 2 (lines 3)", "sample=LN2 | x: 1 2 3 | y: - - - ! over-range mark in column 3 (lines 2, 3, 4)"}},
		{"quoted names with commas", setting{curves: "<sample>, <batch>", columns: xy}, "\"x\",\"LN1, b2\",\"LN2, b3\"\n1,5,6\n2,5,6\n3,8,9\n",
			[]string{"sample=LN1 | batch=b2 | x: 1 2 3 | y: 5 5 8", "sample=LN2 | batch=b3 | x: 1 2 3 | y: 6 6 9"}},
		{"parameters above the data", setting{columns: []string{"t = 1 [ns]", "counts = 2"}}, "x1,x2,x3,x4,x5\n0,1e-8,2e-8,3e-8,4e-8\n0,1,2,3,4\n0.0,5,6,7,8\n0.5,4,5,6,7\n1.0,3,4,5,6\n1.5,3,4,4,4\n",
			[]string{"t ns: 0 0.5 1 1.5 | counts: 5 4 3 3 ! 2 rows above the data, with the same number in the first cell, left out (lines 2, 3)", "t ns: 0 0.5 1 1.5 | counts: 6 5 4 4", "t ns: 0 0.5 1 1.5 | counts: 7 6 5 4", "t ns: 0 0.5 1 1.5 | counts: 8 7 6 4"}},
		{"one that does not fit", setting{curves: "LN<no>", columns: xy}, "x,baseline,LN7\n1,5,6\n2,5,6\n3,8,9\n",
			[]string{`no=7 | x: 1 2 3 | y: 6 6 9 ! curves of this file whose names do not fit "LN<no>" are left out: "baseline"`}},
	} {
		t.Run(c.name, func(t *testing.T) { expectItems(t, c.set, c.in, c.want...) })
	}
}

// Column pairs, not equally long, padded with blanks, NULL or nothing.
func TestLayoutPairs(t *testing.T) {
	nm := []string{"x = 1 [nm]", "y = 2"}
	want := []string{"sample=LN1 | x nm: 400 401 402 403 | y: 1 2 3 4", "sample=LN2 | x nm: 400 401 | y: 5 6", "sample=LN3 | x nm: 399 401 403 | y: 7 8 9"}
	for _, c := range []struct {
		name string
		set  setting
		in   string
		want []string
	}{
		{"empty cells", setting{curves: "<sample>", columns: nm}, "LN1,,LN2,,LN3,\nnm,A,nm,A,nm,A\n400,1,400,5,399,7\n401,2,401,6,401,8\n402,3,,,403,9\n403,4,,,,\n", want},
		{"NULL", setting{curves: "<sample>", columns: nm}, "LN1,,LN2,,LN3,\nnm,A,nm,A,nm,A\n400,1,400,5,399,7\n401,2,401,6,401,8\n402,3,NULL,NULL,403,9\n403,4,NULL,NULL,NULL,NULL\n", want},
		{"blanks between semicolons", setting{curves: "<sample>", columns: nm}, "LN1;;LN2;;LN3;\nnm;A;nm;A;nm;A\n400;1;400;5;399;7\n401;2;401;6;401;8\n402;3; ; ;403;9\n403;4; ; ; ;\n", want},
		{"nothing", setting{curves: "<sample>", columns: nm}, "LN1\t\tLN3\t\tLN2\nnm\tA\tnm\tA\tnm\tA\n400\t1\t399\t7\t400\t5\n401\t2\t401\t8\t401\t6\n402\t3\t403\t9\n403\t4\n",
			[]string{want[0], want[2], want[1]}},
		{"fixed width", setting{curves: "<sample>", columns: nm}, "  LN1    A1   LN2    A2   LN3    A3\n  400   1.0   400   5.0   399   7.0\n  401   2.0   401   6.0   401   8.0\n  402   3.0               403   9.0\n  403   4.0\n", want},
		{"names above the values", setting{curves: "<sample>", columns: nm}, "nm,LN1,nm,LN2,nm,LN3\n400,1,400,5,399,7\n401,2,401,6,401,8\n402,3,,,403,9\n403,4,,,,\n", want},
		{"falling", setting{curves: "<sample>", columns: nm}, "LN1,,LN2,,LN3,\nnm,A,nm,A,nm,A\n403,4,401,6,403,9\n402,3,400,5,401,8\n401,2,,,399,7\n400,1,,,,\n", want},
		{"counted, no heads", setting{columns: nm}, "400,1,400,5\n401,2,401,6\n402,3,,\n", []string{"x nm: 400 401 402 | y: 1 2 3", "x nm: 400 401 | y: 5 6"}},
		{"triples", setting{columns: []string{"x = 1", "y = 2", "u_y = 3"}}, "1,5,.1,1,6,.2\n2,5,.1,2,7,.2\n3,5,.1,3,8,.2\n", []string{"x: 1 2 3 | y: 5 5 5 | u_y: 0.1 0.1 0.1", "x: 1 2 3 | y: 6 7 8 | u_y: 0.2 0.2 0.2"}},
		{"baselines first", setting{curves: "LN<no>", columns: nm}, "Baseline,,LN1,,LN2,\nnm,%T,nm,A,nm,A\n400,99,400,1,400,3\n401,98,401,2,401,4\n402,97,402,5,402,6\n",
			[]string{"no=1 | x nm: 400 401 402 | y: 1 2 5", `no=2 | x nm: 400 401 402 | y: 3 4 6 ! curves of this file whose names do not fit "LN<no>" are left out: "Baseline"`}},
		{"heads say units", setting{curves: "<sample>", columns: []string{"wavelength = Wavelength", "absorbance = Abs"}}, "LN1,,LN2,\nWavelength (nm),Abs,Wavelength (nm),Abs\n500,1,500,3\n499,2,499,4\n498,2,498,6\n",
			[]string{"sample=LN1 | wavelength nm: 498 499 500 | absorbance: 2 2 1", "sample=LN2 | wavelength nm: 498 499 500 | absorbance: 6 4 3"}},
	} {
		t.Run(c.name, func(t *testing.T) { expectItems(t, c.set, c.in, c.want...) })
	}
}

// A table of calibration curves that all rise is not taken for pairs: their steps are not those of the axis.
func TestLayoutWideOfRisingColumns(t *testing.T) {
	expectItems(t, setting{columns: xy}, "x,a,b,c\n1,10,100,7\n2,20,150,8\n3,30,170,9\n4,45,190,11\n", "x: 1 2 3 4 | y: 10 20 30 45")
	expectItems(t, setting{columns: xy, curves: "<sample>"}, "x,a,b,c\n1,10,100,7\n2,20,150,8\n3,30,170,9\n4,45,190,11\n",
		"sample=a | x: 1 2 3 4 | y: 10 20 30 45", "sample=b | x: 1 2 3 4 | y: 100 150 170 190", "sample=c | x: 1 2 3 4 | y: 7 8 9 11")
}

// One curve a row, the axis across.
func TestLayoutRows(t *testing.T) {
	nm := []string{"x = 1 [nm]", "y = 2"}
	want := []string{"sample=LN1 | x nm: 400 401 402 403 404 | y: 1 2 3 4 5", "sample=LN2 | x nm: 400 401 402 403 404 | y: 6 7 8 9 10"}
	for _, c := range []struct {
		name string
		set  setting
		in   string
		want []string
	}{
		{"names", setting{curves: "<sample>", columns: nm}, "sample,400,401,402,403,404\nLN1,1,2,3,4,5\nLN2,6,7,8,9,10\n", want},
		{"nothing above the names", setting{curves: "<sample>", columns: nm}, ",400,401,402,403,404\nLN1,1,2,3,4,5\nLN2,6,7,8,9,10\n", want},
		{"falling", setting{curves: "<sample>", columns: nm}, ";404;403;402;401;400\nLN1;5;4;3;2;1\nLN2;10;9;8;7;6\n", want},
		{"units in the heads", setting{curves: "<sample>", columns: xy}, "sample,400 nm,401 nm,402 nm,403 nm,404 nm\nLN1,1,2,3,4,5\nLN2,6,7,8,9,10\n", want},
		{"date and name", setting{curves: "*,<sample>", columns: nm}, "date,sample,400,401,402,403,404\n3/10/2031 12:27,LN1,1,2,3,4,5\n3/10/2031 12:40,LN2,6,7,8,9,10\n", want},
		{"some names are numbers", setting{curves: "<sample>", columns: nm}, "sample,400,401,402,403,404\nLN1,1,2,3,4,5\n754,6,7,8,9,10\nLN3,0,0,0,0,1\n",
			[]string{want[0], "sample=754 | x nm: 400 401 402 403 404 | y: 6 7 8 9 10", "sample=LN3 | x nm: 400 401 402 403 404 | y: 0 0 0 0 1"}},
		{"all names are numbers", setting{curves: "<sample>", columns: nm, layout: "rows"}, "sample,400,401,402,403,404\n12,1,2,3,4,5\n7,6,7,8,9,10\n",
			[]string{"sample=12 | x nm: 400 401 402 403 404 | y: 1 2 3 4 5", "sample=7 | x nm: 400 401 402 403 404 | y: 6 7 8 9 10"}},
		{"no axis, the study gives it", setting{curves: "*,<sample>", columns: []string{"x = 400 to 404 [nm]", "y = 2"}, layout: "rows"}, "3/10/2031 12:27,LN1,1,2,3,4,5\n3/10/2031 12:40,LN2,6,7,8,9,10\n", want},
		{"blanks", setting{curves: "<sample>", columns: nm}, "sample  400  401  402  403  404\nLN1     1    2    3    4    5\nLN2     6    7    8    9    10\n", want},
		{"gaps", setting{columns: nm, layout: "rows"}, "sample,400,401,402\nLN1,1,,3\nLN2,6,OVER,8\n",
			[]string{"x nm: 400 401 402 | y: 1 - 3 ! 1 cell without a number: empty cell (lines 2)", "x nm: 400 401 402 | y: 6 - 8 ! 1 cell without a number: over-range mark (lines 3)"}},
	} {
		t.Run(c.name, func(t *testing.T) { expectItems(t, c.set, c.in, c.want...) })
	}
}

// A point a row, columns name the curve.
func TestLayoutLong(t *testing.T) {
	for _, c := range []struct {
		name string
		set  setting
		in   string
		want []string
	}{
		{"words", setting{curves: "<sample>", columns: []string{"x = 1 [nm]", "y = 2"}}, "sample,x,y\nLN1,400,1\nLN1,401,2\nLN2,400,3\nLN2,401,4\n",
			[]string{"sample=LN1 | x nm: 400 401 | y: 1 2", "sample=LN2 | x nm: 400 401 | y: 3 4"}},
		{"name behind the numbers, mixed order", setting{curves: "<sample>", columns: []string{"x = nm [nm]", "y = A"}}, "nm;A;name\n400;1,5;LN1\n400;3,5;LN2\n401;2,5;LN1\n401;4,5;LN2\n",
			[]string{"sample=LN1 | x nm: 400 401 | y: 1.5 2.5", "sample=LN2 | x nm: 400 401 | y: 3.5 4.5"}},
		{"numbers name the curve, by their head", setting{curves: "<scan>", columns: xy, layout: "long"}, "scan,nm,A\n1,400,1\n1,401,2\n2,400,3\n2,401,4\n",
			[]string{"scan=1 | x: 400 401 | y: 1 2", "scan=2 | x: 400 401 | y: 3 4"}},
		{"two columns name it", setting{curves: "<sample> <ex [nm]>", columns: xy}, "sample,ex [nm],em [nm],counts,remark\nLN1,350,400,1,ok\nLN1,350,401,2,ok\nLN1,360,400,3,ok\nLN1,360,401,4,bad\n",
			[]string{"sample=LN1 | ex=350 | x nm: 400 401 | y: 1 2 ! column 5 (remark) holds words and is left out", "sample=LN1 | ex=360 | x nm: 400 401 | y: 3 4"}},
		{"words together", setting{curves: "<sample>,<state>", columns: xy}, "LN1,wet,1,5\nLN1,wet,2,6\nLN1,dry,1,7\nLN1,dry,2,8\n",
			[]string{"sample=LN1 | state=wet | x: 1 2 | y: 5 6", "sample=LN1 | state=dry | x: 1 2 | y: 7 8"}},
		{"blanks", setting{curves: "<sample>", columns: xy}, "sample x y\nLN1  400  1\nLN1  401  2\nLN2  400  3\nLN2  401  4\n", []string{"sample=LN1 | x: 400 401 | y: 1 2", "sample=LN2 | x: 400 401 | y: 3 4"}},
		{"counted", setting{columns: xy}, "A,1,5\nA,2,6\nB,1,7\nB,2,8\n", []string{"x: 1 2 | y: 5 6", "x: 1 2 | y: 7 8"}},
		{"gap", setting{curves: "<sample>", columns: xy}, "A,1,5\nA,2,\nA,3,7\nB,1,7\nB,2,8\n", []string{"sample=A | x: 1 2 3 | y: 5 - 7 ! empty cell in column 3 (lines 2)", "sample=B | x: 1 2 | y: 7 8"}},
	} {
		t.Run(c.name, func(t *testing.T) { expectItems(t, c.set, c.in, c.want...) })
	}
}

// Curves one below the other.
func TestLayoutBlocks(t *testing.T) {
	for _, c := range []struct {
		name string
		set  setting
		in   string
		want []string
	}{
		{"headed", setting{curves: "# <sample>, excited at <ex [nm]>, scan <scan>", columns: []string{"wavelength = nm [nm]", "intensity = kcps [1/s]"}, header: []string{"slit = band pass [nm]", "dwell = dwell [ms]"}},
			"instrument: ours\nband pass: 2\n# LN1, excited at 350, scan 1\n# dwell: 100\nnm kcps\n400 1\n401 2\n402 3\n\n# LN2, excited at 360, scan 2\n# dwell: 200\nnm kcps\n400 4\n401 5\n402 6\n",
			[]string{"sample=LN1 | ex=350 | scan=1 | slit=2 | dwell=100 | wavelength nm: 400 401 402 | intensity 1/s: 1 2 3", "sample=LN2 | ex=360 | scan=2 | slit=2 | dwell=200 | wavelength nm: 400 401 402 | intensity 1/s: 4 5 6"}},
		{"blank lines alone", setting{columns: xy}, "1 5\n2 6\n3 7\n\n1 8\n2 9\n3 10\n\n\n1 11\n2 12\n3 13\n", []string{"x: 1 2 3 | y: 5 6 7", "x: 1 2 3 | y: 8 9 10", "x: 1 2 3 | y: 11 12 13"}},
		{"a long footer", setting{columns: xy}, "1 5\n2 6\n3 7\n\n1 8\n2 9\n3 10\n" + strings.Repeat("footer: of words\n", 3000), []string{"x: 1 2 3 | y: 5 6 7", "x: 1 2 3 | y: 8 9 10"}},
		{"response and decay", setting{curves: "<what>:", columns: []string{"t = 1 [ns]", "counts = 2"}}, "Response:\n0.1,5\n0.2,90\n0.3,4\nDecay:\n0.1,2\n0.2,80\n0.3,60\n0.4,50\n",
			[]string{"what=Response | t ns: 0.1 0.2 0.3 | counts: 5 90 4", "what=Decay | t ns: 0.1 0.2 0.3 0.4 | counts: 2 80 60 50"}},
		{"one block of a kind", setting{curves: "scan <scan>", columns: xy}, "scan 1\n1 5\n2 6\n3 7\n", []string{"scan=1 | x: 1 2 3 | y: 5 6 7"}},
		{"its own statements do not pass to the next", setting{curves: "<sample> #", columns: xy}, "A #\nslit: 2\n1 5\n2 6\n3 7\nB #\n1 5\n2 6\n3 7\n", []string{"sample=A | x: 1 2 3 | y: 5 6 7", "sample=B | x: 1 2 3 | y: 5 6 7"}},
	} {
		t.Run(c.name, func(t *testing.T) { expectItems(t, c.set, c.in, c.want...) })
	}
	_, err := items(t, setting{curves: "<sample> #", columns: xy, header: []string{"slit = slit [nm]"}}, "A #\nslit: 2\n1 5\n2 6\n3 7\nB #\n1 5\n2 6\n3 7\n")
	if err == nil || !strings.Contains(err.Error(), `no key "slit"`) {
		t.Errorf("error %v: the second block must not take the first one's slit", err)
	}
}

// A table of values: a row for each item.
func TestLayoutLines(t *testing.T) {
	expectItems(t, setting{layout: "lines", curves: "<sample>", columns: []string{"v_dilute = upper [mL]", "v_dense = lower [uL]", "times = diluted"}, u: []string{"v_dilute = 0.01 mL", "v_dense = 1", "times = relative 1 %"}},
		"sample,upper,lower,diluted,remark\nLN1,1.5,20,10,\nLN2,1.25,,5,cloudy\n",
		"sample=LN1 | v_dilute mL: 1.5 | v_dense mL: 0.02 | times: 10 | u_v_dilute mL: 0.01 | u_v_dense mL: 0.001 | u_times: 0.1 ! column 5 (remark) holds words and is left out",
		"sample=LN2 | v_dilute mL: 1.25 | v_dense mL: - | times: 5 | u_v_dilute mL: 0.01 | u_v_dense mL: - | u_times: 0.05 ! empty cell in column 3 (lines 3)")
	expectItems(t, setting{layout: "lines", columns: []string{"a = 1", "b = 2"}}, "a;b\n1;2\n3;4\n", "a: 1 | b: 2", "a: 3 | b: 4")
}

// wideText is a table of so many curves and lines.
func wideText(curves, lines int) []byte {
	var b strings.Builder
	b.WriteString("Wavelength (nm)")
	for k := range curves {
		fmt.Fprintf(&b, ",S%d", k)
	}
	b.WriteString("\n")
	for i := range lines {
		fmt.Fprintf(&b, "%d", i+200)
		for k := range curves {
			fmt.Fprintf(&b, ",%.10g", math.Sin(float64(i*(k+1))*0.01)*0.1)
		}
		b.WriteString("\n")
	}
	return []byte(b.String())
}

func BenchmarkWide(b *testing.B) {
	data := wideText(20, 2000)
	b.SetBytes(int64(len(data)))
	b.ReportAllocs()
	o := Options{Layout: Found, Keys: []string{"sample"}}
	for b.Loop() {
		n := 0
		if err := EachCurve(data, o, func(*Text) error { n++; return nil }); err != nil || n != 20 {
			b.Fatal(n, err)
		}
	}
}

func BenchmarkBlocks(b *testing.B) {
	var text strings.Builder
	for k := range 200 {
		fmt.Fprintf(&text, "# S%d\n%s\n", k, curveText(500)[len("Sample: test\n"):])
	}
	data := []byte(text.String())
	b.SetBytes(int64(len(data)))
	b.ReportAllocs()
	o := Options{Layout: Found, Keys: []string{"sample"}}
	for b.Loop() {
		n := 0
		if err := EachCurve(data, o, func(*Text) error { n++; return nil }); err != nil || n != 200 {
			b.Fatal(n, err)
		}
	}
}

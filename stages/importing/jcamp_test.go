package importing

import (
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"
)

func jcampCurves(data string) ([]*Text, error) {
	var out []*Text
	err := EachJCAMP([]byte(data), func(t *Text) error {
		out = append(out, t)
		return nil
	})
	return out, err
}

func jcampFile(labels, table string) string {
	return "##TITLE= test\n##JCAMP-DX= 4.24\n##XUNITS= 1/CM\n##YUNITS= ABSORBANCE\n" + labels + "\n##XYDATA= (X++(Y..Y))\n" + table + "\n##END=\n"
}

// The same ordinates in each form: JCAMP-DX 4.24, Table VIIb (McDonald and Wilks, Appl. Spectrosc. 42 (1988) 151).
func TestJCAMPForms(t *testing.T) {
	want := []float64{1, 2, 3, 3, 2, 1, 0, -1, -2, -3}
	for name, line := range map[string]string{"AFFN": "0 1 2 3 3 2 1 0 -1 -2 -3", "PAC": "0+1+2+3+3+2+1+0-1-2-3", "SQZ": "0ABCCBA@abc", "DIF": "0AJJ%jjjjjj", "DIFDUP": "0AJT%jX",
		"first in free form": "0 1JT%jX", "squeezed and plain": "0ABCC 2 1 0-1bc", "commas": "0,1,2,3,3,2,1,0,-1,-2,-3", "comment": "0AJT%jX $$ in DIFDUP"} {
		t.Run(name, func(t *testing.T) {
			got, err := jcampCurves(jcampFile("##FIRSTX= 0\n##LASTX= 9\n##NPOINTS= 10\n##XFACTOR= 1\n##YFACTOR= 1", line))
			if err != nil {
				t.Fatal(err)
			}
			if d := cmp.Diff(want, got[0].Columns[1]); d != "" {
				t.Errorf("ordinates (-want +got):\n%s", d)
			}
		})
	}
}

// A long line in the form DIFDUP with its check line: JCAMP-DX 4.24, Table VI.3. The 53 ordinates were decoded by a program in another language.
func TestJCAMPLongLine(t *testing.T) {
	got, err := jcampCurves(jcampFile("##FIRSTX= 599.860\n##DELTAX= 1.92880769\n##XFACTOR= 1\n##YFACTOR= 1", "599.860@VKT%TLkj%J%KLJ%njKjL%kL%jJULJ%kLK1%lLMNPNPRLJ0QTOJ1P\n700.158A28"))
	if err != nil {
		t.Fatal(err)
	}
	want := []float64{0, 0, 0, 0, 2, 4, 4, 4, 7, 5, 4, 4, 5, 5, 7, 10, 11, 11, 6, 5, 7, 6, 9, 9, 7, 10, 10, 9, 10, 11, 12, 15, 16, 16, 14, 17, 38, 38, 35, 38, 42, 47, 54, 59, 66, 75, 78, 88, 96, 104, 110, 121, 128}
	if d := cmp.Diff(want, got[0].Columns[1]); d != "" {
		t.Errorf("ordinates (-want +got):\n%s", d)
	}
	if x := got[0].Columns[0][52]; math.Abs(x-700.158) > 1e-3 {
		t.Errorf("last abscissa %v", x)
	}
	if _, err := jcampCurves(jcampFile("##FIRSTX= 599.860\n##DELTAX= 1.92880769", "599.860@VKT%TLkj%J%KLJ%njKjL%kL%jJULJ%kLK1%lLMNPNPRLJ0QTOJ1P\n700.158A27")); err == nil ||
		!strings.Contains(err.Error(), "line 9: found the ordinate 127 at its beginning; expected 128, the last one of the line before") {
		t.Errorf("a wrong check: %v", err)
	}
}

func TestJCAMPImport(t *testing.T) {
	spectrum := "##TITLE= LN35\n##JCAMP_DX= 5.01 $$ ours\n$$ a comment\n##DATA-TYPE= UV/VIS SPECTRUM\n##x units= NANOMETERS\n##Y UNITS= ABSORBANCE\n##FIRST X= 400\n##LAST_X= 403\n##NPOINTS= 4\n" +
		"##XFACTOR= 1\n##Y/FACTOR= 0.001\n##FIRSTY= 0.1\n##SLIT= 2\n##XYDATA= (X++(Y..Y))\n400+100+200\n402+300?\n##END= \x1A"
	expectItems(t, setting{header: []string{"slit = slit"}}, spectrum, "slit=2 | wavelength nm: 400 401 402 403 | absorbance: 0.1 0.2 0.3 - ! 1 point without an ordinate (?)")
	expectItems(t, setting{columns: []string{"x = 1", "y = 2"}, curves: "<sample>"}, spectrum, "sample=LN35 | x nm: 400 401 402 403 | y: 0.1 0.2 0.3 - ! 1 point without an ordinate (?)")
	expectItems(t, setting{columns: []string{"x = 1 [nm]", "y = 2"}}, "##TITLE= p\n##XUNITS= NANOMETERS\n##YUNITS= COUNTS\n##XYPOINTS= (XY..XY)\n400.5,1; 401,2\n403,.3E+01\n##END=\n", "x nm: 400.5 401 403 | y: 1 2 3")
	expectItems(t, setting{}, "##TITLE= p\n##XUNITS= NANOMETERS\n##YUNITS= ABSORBANCE\n##PEAK TABLE= (XY..XY)\n241.1,0.5\n287.2,0.25\n##END=\n", "wavelength nm: 241.1 287.2 | absorbance: 0.5 0.25")
	link := "##TITLE= all\n##DATA TYPE= LINK\n##BLOCKS= 2\n##OPERATOR= me\n##TITLE= A\n##XUNITS= NM\n##YUNITS= ABSORBANCE\n##FIRSTX=1\n##DELTAX=1\n##XYDATA=(X++(Y..Y))\n1 5 6 7\n##END=\n" +
		"##TITLE= B\n##OPERATOR= you\n##XUNITS= NM\n##YUNITS= ABSORBANCE\n##FIRSTX=3\n##DELTAX=-1\n##XYDATA=(X++(Y..Y))\n3 5 6 7\n##END=\n##END=\n"
	expectItems(t, setting{curves: "<sample>", header: []string{"who = operator"}}, link, "sample=A | who=me | wavelength nm: 1 2 3 | absorbance: 5 6 7", "sample=B | who=you | wavelength nm: 1 2 3 | absorbance: 7 6 5")
	pages := "##TITLE= n\n##NTUPLES= TRANSIENT\n##VAR_NAME= TIME, SIGNAL, DELAY\n##SYMBOL= X, Y, T\n##UNITS= NANOSECONDS, COUNTS, SECONDS\n##FIRST= 0, 5, 1\n##LAST= 2, 7, 2\n##FACTOR= 1, 10, 1\n##VAR_DIM= 3, 3, 2\n" +
		"##PAGE= T=1\n##DATA TABLE= (X++(Y..Y)), XYDATA\n0 5 6 7\n##PAGE= T=2\n##DATA TABLE= (X++(Y..Y)), XYDATA\n0 8JJ\n2A0\n##END NTUPLES= TRANSIENT\n##END=\n"
	expectItems(t, setting{curves: "T=<delay [s]>"}, pages, "delay=1 | time ns: 0 1 2 | counts: 50 60 70", "delay=2 | time ns: 0 1 2 | counts: 80 90 100")
}

// A check that fails says line and value; labels that only disagree are noted.
func TestJCAMPChecks(t *testing.T) {
	labels := "##FIRSTX= 10\n##LASTX= 15\n##NPOINTS= 6\n##XFACTOR= 1\n##YFACTOR= 1"
	for _, c := range []struct{ name, in, want string }{
		{"ordinate", jcampFile(labels, "10AJJ\n12DJJJ"), "line 12: found the ordinate 4 at its beginning; expected 3"},
		{"abscissa", jcampFile(labels, "10ABC\n16DEF"), "line 12: found the abscissa 16; expected 13, where point 4 lies"},
		{"a line is missing", jcampFile(labels, "10ABC"), "line 11: found 3 ordinates; expected the 6 that ##NPOINTS= says"},
		{"too many", jcampFile(labels, "10ABCDEFG"), "line 11: found more than 6 ordinates"},
		{"repeated without end", jcampFile("##FIRSTX= 1\n##DELTAX= 1", "1AZ99999999999999"), "more than 5000000 ordinates"},
		{"repetition of nothing", jcampFile(labels, "10T"), "line 11: found a repetition of nothing"},
		{"difference to nothing", jcampFile(labels, "10J"), "line 11: found a difference to nothing"},
		{"rubbish", jcampFile(labels, "10A!B"), `line 11: found "!B"; expected an ordinate`},
		{"no abscissa", jcampFile(labels, "ABC"), "line 11: found \"ABC\"; expected a line that begins with its abscissa"},
		{"label", jcampFile("##FIRSTX= ten", "10ABC"), `line 5: found "##FIRSTX= \"ten\""`},
		{"no step", jcampFile("##FIRSTX= 10", "10ABC"), "neither LASTX nor DELTAX"},
		{"nothing", "##TITLE= x\n##END=\n", "without XYDATA"},
		{"odd pairs", "##TITLE= p\n##XYPOINTS= (XY..XY)\n1,2 3\n##END=\n", "line 3: found 3 numbers; expected pairs"},
		{"form", "##TITLE= p\n##XYPOINTS= (XYW..XYW)\n1,2 3\n##END=\n", "line 2: found a table of the form"},
		{"zero", jcampFile("##YFACTOR= 0", "10ABC"), "a factor of zero"},
	} {
		t.Run(c.name, func(t *testing.T) {
			got, err := jcampCurves(c.in)
			if err == nil || !strings.Contains(strings.ReplaceAll(err.Error(), `##FIRSTX= "ten"`, `"##FIRSTX= \"ten\""`), c.want) {
				t.Errorf("error %v, %d curves; want %q", err, len(got), c.want)
			}
		})
	}
	got, err := jcampCurves(jcampFile(labels+"\n##FIRSTY= 2\n##MAXY= 6\n##MINY= 1", "10ABCDEF"))
	if err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff([]Note(nil), got[0].Notes); d != "" {
		t.Errorf("a difference of one step is none (-want +got):\n%s", d)
	}
	got, err = jcampCurves(jcampFile(labels+"\n##FIRSTY= 3\n##MAXY= 8", "10ABCDEF"))
	if err != nil || len(got[0].Notes) != 2 || got[0].Notes[0].Text != "the first ordinate is 1, where FIRSTY says 3" {
		t.Errorf("%+v, %v", got[0].Notes, err)
	}
}

// Measured files. The numbers of ordinates and their sums are those of programs of another language: for the plain forms, all numbers on a line but its first
// (re.findall(r"[+-]?\d+", line)[1:] of Python 3.11); for the others a decoder of twenty lines.
func TestOpenJCAMP(t *testing.T) {
	for _, c := range []struct {
		file         string
		n            int
		first, last  float64
		factor       float64
		sum          float64
		lo, hi       float64
		firstY, endY float64
		notes        int
	}{
		{"fixinc1.jdx", 3736, 399.263973, 4001.31938, 4.768371582e-07, 462241633275, -416725, 236748675, 236748675, 146072575, 0},
		{"fixdec1.jdx", 3951, 4400.007, 450, 9.5367e-7, 260967891200, -201600, 85968000, 68068800, 70168000, 0},
		{"pacdec1.jdx", 3301, 4000, 700, 0.01, 33008899, 8631, 10189, 10160, 10124, 0},
		{"xyinc1.jdx", 3601, 400, 4000, 0.0001, 22914786, -23, 7945, 4480, 7456, 0},
		{"jtpolys.jdx", 1844, 447.484259, 4002.28378, 2.384185791e-09, 752524516701, 143802917, 429000151, 411726930, 413814057, 0},
		{"jtpolysd.jdx", 1844, 447.484259, 4002.284, 2.3884185791e-09, 752524516701, 143802917, 429000151, 411726930, 413814057, 3},
		{"dupdec1.jdx", 3951, 4400, 450, 0.01, 25844161, 2, 8710, 8225, 7858, 0},
		{"dupinc1.jdx", 440, 250, 469.5, 0.0001, 1647604, 769, 33747, 11663, 1626, 1},
	} {
		t.Run(c.file, func(t *testing.T) {
			all, err := jcampCurves(string(openFile(t, "jcamp/"+c.file)))
			if err != nil || len(all) != 1 {
				t.Fatalf("%d curves, %v", len(all), err)
			}
			got := all[0]
			x, y := got.Columns[0], got.Columns[1]
			sum, lo, hi := 0.0, math.Inf(1), math.Inf(-1)
			for _, v := range y {
				v = math.Round(v / c.factor)
				sum, lo, hi = sum+v, min(lo, v), max(hi, v)
			}
			if len(y) != c.n || sum != c.sum || lo != c.lo || hi != c.hi {
				t.Errorf("%d ordinates, sum %.0f, %.0f to %.0f; want %d, %.0f, %.0f, %.0f", len(y), sum, lo, hi, c.n, c.sum, c.lo, c.hi)
			}
			if x[0] != c.first || x[len(x)-1] != c.last || math.Round(y[0]/c.factor) != c.firstY || math.Round(y[len(y)-1]/c.factor) != c.endY {
				t.Errorf("from %v, %v to %v, %v", x[0], y[0], x[len(x)-1], y[len(y)-1])
			}
			if len(got.Notes) != c.notes {
				t.Errorf("%d notes, want %d: %+v", len(got.Notes), c.notes, got.Notes)
			}
		})
	}
}

// Four codings of one small spectrum, cut to 30, 8, 30 and 38 ordinates: each is the beginning of the longest.
func TestOpenJCAMPCodings(t *testing.T) {
	read := func(name string, n int) []float64 {
		got, err := jcampCurves(string(openFile(t, "jcamp/conv_compression-small_jcamp-"+name+".dx")))
		if err != nil || len(got) != 1 || got[0].Rows() != n {
			t.Fatalf("%s: %v", name, err)
		}
		return got[0].Columns[1]
	}
	longest := read("squeezed", 38)
	for name, n := range map[string]int{"difdup": 30, "fix": 8, "packed": 30} {
		if d := cmp.Diff(longest[:n], read(name, n)); d != "" {
			t.Errorf("%s (-want +got):\n%s", name, d)
		}
	}
}

// Whatever whole numbers are written in the form DIFDUP, they come back.
func TestJCAMPRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		y := rapid.SliceOfN(rapid.OneOf(rapid.Int64Range(-3, 3), rapid.Int64Range(-1e12, 1e12)), 2, 60).Draw(t, "y")
		width := rapid.IntRange(2, 12).Draw(t, "ordinates a line")
		var b strings.Builder
		for i := 0; i < len(y)-1; {
			fmt.Fprintf(&b, "%d%s", i, letters(y[i], "@ABCDEFGHI", "abcdefghi"))
			n, same, last := 1, 0, int64(0)
			for ; n < width && i+n < len(y); n++ {
				d := y[i+n] - y[i+n-1]
				if n > 1 && d == last {
					same++
					continue
				}
				if same > 0 {
					b.WriteString(letters(int64(same+1), " STUVWXYZs", ""))
				}
				same, last = 0, d
				b.WriteString(letters(d, "%JKLMNOPQR", "jklmnopqr"))
			}
			if same > 0 {
				b.WriteString(letters(int64(same+1), " STUVWXYZs", ""))
			}
			b.WriteString("\n")
			i += n - 1
		}
		fmt.Fprintf(&b, "%d%s", len(y)-1, letters(y[len(y)-1], "@ABCDEFGHI", "abcdefghi"))
		got, err := jcampCurves(jcampFile(fmt.Sprintf("##FIRSTX= 0\n##LASTX= %d\n##NPOINTS= %d", len(y)-1, len(y)), b.String()))
		if err != nil {
			t.Fatalf("%v\n%s", err, b.String())
		}
		for i, v := range y {
			if got[0].Columns[1][i] != float64(v) {
				t.Fatalf("ordinate %d: %v, want %d\n%s", i, got[0].Columns[1][i], v, b.String())
			}
		}
	})
}

// letters writes a number whose first digit is a letter.
func letters(v int64, plus, minus string) string {
	s := strconv.FormatInt(v, 10)
	if v < 0 {
		return string(minus[s[1]-'1']) + s[2:]
	}
	return string(plus[s[0]-'0']) + s[1:]
}

func FuzzEachJCAMP(f *testing.F) {
	f.Add(jcampFile("##FIRSTX= 0\n##LASTX= 9\n##NPOINTS= 10", "0AJT%jX"))
	f.Add(jcampFile("##FIRSTX= 0\n##DELTAX= 1", "0+1-2?A5b6%S\n4Z"))
	f.Add("##TITLE= p\n##XYPOINTS= (XY..XY)\n1,2;3,4\n##END=\n")
	f.Add("##TITLE=\n##NTUPLES=\n##SYMBOL=X,Y\n##FIRST=0,\n##LAST=1,\n##PAGE=\n##DATA TABLE= (X++(Y..Y))\n0 1 2\n##END=\n")
	f.Fuzz(func(t *testing.T, data string) {
		all, err := jcampCurves(data)
		var le *LineError
		if err != nil && (!errors.As(err, &le) || le.Found == "") {
			t.Fatal(err)
		}
		for _, x := range all {
			n := x.Rows()
			if n < 1 || len(x.Columns[1]) != n || x.Valid[1] != nil && len(x.Valid[1]) != n || x.Line(0) < 1 || x.Line(n-1) > x.Lines {
				t.Fatalf("%d rows, lines %d to %d of %d", n, x.Line(0), x.Line(n-1), x.Lines)
			}
		}
	})
}

func BenchmarkJCAMP(b *testing.B) {
	data := []byte(jcampFile("##FIRSTX= 0\n##DELTAX= 1", "0A0"+strings.Repeat("K3l5", 200000)))
	b.SetBytes(int64(len(data)))
	b.ReportAllocs()
	for b.Loop() {
		if err := EachJCAMP(data, func(*Text) error { return nil }); err != nil {
			b.Fatal(err)
		}
	}
}

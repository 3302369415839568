package catalog

import (
	"bytes"
	"crypto/sha256"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
)

func readTestSheet(t *testing.T) (*Sheet, []byte) {
	t.Helper()
	data, err := os.ReadFile("testdata/samples.csv")
	if err != nil {
		t.Fatal(err)
	}
	sheet, faults := ReadSheet("samples.csv", data)
	if err := faults.Err(); err != nil {
		t.Fatal(err)
	}
	return sheet, data
}

func TestReadSheet(t *testing.T) {
	sheet, data := readTestSheet(t)
	if sheet.SHA256 != sha256.Sum256(data) {
		t.Error("SHA256 is not that of the file")
	}
	wantColumns := []SheetColumn{
		{Name: "code", Col: 1}, {Name: "also", Col: 6}, {Name: "role", Col: 11}, {Name: "salt", Col: 16},
		{Name: "ionic", Unit: mustUnit("mol/L"), HasUnit: true, Type: Numeric, Col: 21},
		{Name: "fraction", Type: Numeric, Col: 35},
		{Name: "v_donor", Unit: mustUnit("uL"), HasUnit: true, Type: Numeric, Col: 44},
		{Name: "share", Unit: mustUnit("%"), HasUnit: true, Type: Numeric, Col: 57},
		{Name: "temperature", Unit: mustUnit("Cel"), HasUnit: true, Type: Numeric, Col: 67},
		{Name: "date", Type: Date, Col: 84}, {Name: "taken", Type: Date, Col: 89}, {Name: "day", Col: 95}, {Name: "note", Col: 99},
	}
	if diff := cmp.Diff(wantColumns, sheet.Columns); diff != "" {
		t.Error(diff)
	}
	if diff := cmp.Diff([]string{"K1", "K2", "B-1", "water-1"}, sheet.Samples()); diff != "" {
		t.Error(diff)
	}
	row, ok := sheet.Row("K2")
	if !ok {
		t.Fatal("no K2")
	}
	want := []Cell{
		{Text: "K2", Col: 1}, {Text: "mix 2", Col: 4}, {Text: "mixture", Col: 10}, {Text: "CaCl2", Col: 18},
		{Text: "100 mM", Value: 0.1, Col: 24}, {Text: "0.55", Value: 0.55, Col: 31},
		{Text: "0.0998 ± 0.0003 mL", Value: 99.8, U: 0.3, HasU: true, Col: 36}, {Text: "55(1)", Value: 55, U: 1, HasU: true, Col: 55},
		{Text: "25", Value: 25, Col: 61}, {Text: "2031-03-11", Col: 64}, {Text: "2031-03-11T14:05:00", Col: 75}, {Text: "d2", Col: 92},
		{Text: `cloudy, "very"`, Col: 95},
	}
	for i := range want {
		want[i].Line = 3
	}
	if diff := cmp.Diff(Row{Sample: "K2", Line: 3, Cells: want}, *row); diff != "" {
		t.Error(diff)
	}
}

func TestSheetLookup(t *testing.T) {
	sheet, _ := readTestSheet(t)
	for spelling, want := range map[string]string{"K1": "K1", "mix 1": "K1", "first mix": "K1", "mix 2": "K2", "B-1": "B-1", "k1": "", "mix 1; first mix": "", "": ""} {
		t.Run(spelling, func(t *testing.T) {
			row, ok := sheet.Row(spelling)
			if ok != (want != "") || ok && row.Sample != want {
				t.Errorf("got %v, want %q", row, want)
			}
		})
	}
	for name, want := range map[string]int{"sample": 0, "code": 0, "ionic": 4, "note": 12} {
		if got, ok := sheet.Column(name); !ok || got != want {
			t.Errorf("column %s is %d, %v, want %d", name, got, ok, want)
		}
	}
	if _, ok := sheet.Column("Ionic"); ok {
		t.Error("a column is found in other capitals")
	}
	temperature, _ := sheet.Column("temperature")
	if row, _ := sheet.Row("B-1"); row.Cells[temperature].Value != 25 { // 298.15 K: SI brochure, 2.3.1, from memory
		t.Errorf("298.15 K is %v °C", row.Cells[temperature].Value)
	}
	v, _ := sheet.Column("v_donor")
	if row, _ := sheet.Row("B-1"); !row.Cells[v].Null {
		t.Error("an empty cell is not null")
	}
	if row, _ := sheet.Row("water-1"); row.Cells[v].Null || row.Line != 6 || row.Cells[12].Text != "two\nlines" {
		t.Errorf("water-1 is %+v", row)
	}
}

// The same table in every dialect is the same sheet, but for the places of its cells.
func TestSheetDialects(t *testing.T) {
	sheet, data := readTestSheet(t)
	plain := strings.ReplaceAll(string(data), "mix 1; first mix", `"mix 1; first mix"`)
	quoted := strings.ReplaceAll(plain, `"cloudy, ""very"""`, "\x01")
	separated := func(delimiter string) string {
		return strings.ReplaceAll(strings.ReplaceAll(quoted, ",", delimiter), "\x01", `"cloudy, ""very"""`)
	}
	for name, text := range map[string]string{
		"comma": plain, "semicolon": separated(";"), "tab": separated("\t"), "spaces": separated(" ; "),
		"byte order mark": "\uFEFF" + plain, "CR LF": strings.ReplaceAll(plain, "\n", "\r\n"), "CR": strings.ReplaceAll(plain, "\n", "\r"),
		"no last line end": strings.TrimRight(plain, "\n"), "blank lines": "\n,,,\n" + plain + "\n;\n,,,,,,,,,,,,\n",
		"empty columns": strings.ReplaceAll(plain, "\n", ",,\n"),
	} {
		t.Run(name, func(t *testing.T) {
			if name == "empty columns" {
				text = strings.Replace(text, "two,,\nlines", "two\nlines", 1)
			}
			if name == "blank lines" {
				text = strings.Replace(text, "\n;\n", "\n", 1)
			}
			got, faults := ReadSheet("samples.csv", []byte(text))
			if err := faults.Err(); err != nil {
				t.Fatal(err)
			}
			places := cmp.Options{
				cmpopts.IgnoreFields(Sheet{}, "SHA256"), cmpopts.IgnoreFields(SheetColumn{}, "Col"), cmpopts.IgnoreFields(Cell{}, "Line", "Col"),
				cmpopts.IgnoreFields(Row{}, "Line"), cmpopts.IgnoreUnexported(Sheet{}),
			}
			if diff := cmp.Diff(sheet, got, places); diff != "" {
				t.Error(diff)
			}
		})
	}
}

func TestColumnTypes(t *testing.T) {
	for _, test := range []struct {
		name  string
		head  string
		cells []string
		want  ColumnType
		value float64 // of the first cell
	}{
		{"numbers", "x", []string{"1", "2.5(3)", "", "-1e3"}, Numeric, 1},
		{"percent without head unit", "x", []string{"35 %", "0.4"}, Numeric, 0.35},
		{"with a word", "x", []string{"1", "two"}, Text, 0},
		{"with a unit of a dimension", "x", []string{"1 mm", "2 mm"}, Text, 0},
		{"dates", "x", []string{"2031-03-04", "", "2031-03-04 10:00"}, Date, 0},
		{"no such date", "x", []string{"2031-02-29"}, Text, 0},
		{"date with zone", "x", []string{"2031-02-28T10:00:00Z"}, Text, 0},
		{"empty", "x", []string{"", ""}, Text, 0},
		{"other spellings", "also", []string{"1", "2"}, Text, 0},
		{"compositions", "x", []string{"10-20-70", "05-05-90"}, Text, 0},
		{"dates by head", "x [date]", []string{"2031-03-04"}, Date, 0},
		{"dimensionless by head", "x [1]", []string{"5 %"}, Numeric, 0.05},
		{"dimensionless by a dash", "x [-]", []string{"5 %"}, Numeric, 0.05},
		{"not a number", "x", []string{"NaN"}, Text, 0},
		{"hexadecimal", "x", []string{"0x1p3"}, Text, 0},
	} {
		t.Run(test.name, func(t *testing.T) {
			text := "sample,y," + test.head + "\n"
			for i, cell := range test.cells {
				text += fmt.Sprintf("S%d,,%s\n", i, cell)
			}
			sheet, faults := ReadSheet("s.csv", []byte(text))
			if err := faults.Err(); err != nil {
				t.Fatal(err)
			}
			if got := sheet.Columns[2].Type; got != test.want || sheet.Rows[0].Cells[2].Value != test.value {
				t.Errorf("type %v, value %v", got, sheet.Rows[0].Cells[2].Value)
			}
			for _, row := range sheet.Rows {
				cell := row.Cells[2]
				if cell.Null != (cell.Text == "") || test.want != Numeric && (cell.Value != 0 || cell.HasU) {
					t.Errorf("cell %+v", cell)
				}
			}
		})
	}
}

func TestSheetFaults(t *testing.T) {
	long, longFaults := "sample,x [nm]\n", []string{`s.csv:1:8: found 5 more faulty cells in column x; look at the column as a whole`}
	for i := range 25 {
		sample := fmt.Sprintf("S%02d", i)
		long += sample + ",bad\n"
		if i < 20 {
			longFaults = append(longFaults, fmt.Sprintf(
				`s.csv:%d:5: sample %s: found "bad" in column x; expected a number in nm; correct the cell or leave it empty`, i+2, sample))
		}
	}
	for _, test := range []struct {
		name, text string
		want       []string
	}{
		{"empty", "", []string{"s.csv: found an empty sheet; expected a line of heads and a row for each sample; save the sheet again, or name another under `samples` in the study"}},
		{"blank", "\n,,\n \n", []string{"s.csv: found an empty sheet; expected a line of heads and a row for each sample; save the sheet again, or name another under `samples` in the study"}},
		{"no rows", "sample,x\n", []string{"s.csv:1: found heads without rows; expected a row for each sample; add the rows, or name another sheet under `samples` in the study"}},
		{"number", "sample,x [mol/L]\nA,1\nB,abc\n", []string{
			`s.csv:3:3: sample B: found "abc" in column x; expected a number in mol/L; correct the cell or leave it empty`}},
		{"number of another dimension", "sample,x [mol/L]\nA,1 nm\n", []string{
			`s.csv:2:3: sample A: found "1 nm" in column x; expected a number in mol/L; correct the cell or leave it empty`}},
		{"unknown unit", "sample,x [mmoll],y [nm]\nA,1,2\n", []string{
			`s.csv:1:8: found unknown unit "mmoll" in the head "x [mmoll]"; expected a unit such as mol/L, nm or 1; did you mean "mmol/L"?`}},
		{"bad name", "sample,x (mm),2nd,päckchen\nA,1,2,3\n", []string{
			`s.csv:1:8: found column name "x (mm)"; expected a name in letters a-z, digits and _ that does not begin with a digit; rename the column; a unit stands in square brackets: "salt [mol/L]"`,
			`s.csv:1:15: found column name "2nd"; expected a name in letters a-z, digits and _ that does not begin with a digit; rename the column`,
			`s.csv:1:19: found column name "päckchen"; expected a name in letters a-z, digits and _ that does not begin with a digit; rename the column`}},
		{"reserved name", "code,sample,in\nA,1,2\n", []string{
			`s.csv:1:6: found column name "sample"; expected a name that is not reserved; rename the column`,
			`s.csv:1:13: found column name "in"; expected a name that is not reserved; rename the column`}},
		{"column twice", "code,x,x [nm],code\nA,1,2,3\n", []string{
			`s.csv:1:8: found a second column "x"; expected one (the first is column 2); rename or remove one of them`,
			`s.csv:1:15: found a second column "code"; expected one (the first is column 1); rename or remove one of them`}},
		{"no head", "sample,,x\nA,1,2\n", []string{`s.csv:1:8: found a column without a head; expected a name in letters, digits and _; name the column or remove it`}},
		{"unit at also", "sample,also [nm]\nA,b\n", []string{`s.csv:1:8: found a unit at the column also; expected other spellings of the samples; remove the unit`}},
		{"unit at preparation", "sample,preparation [1]\nA,1\n", []string{`s.csv:1:8: found a unit at the column preparation; expected labels of what was made together; remove the unit`}},
		{"column of the name date", "sample,date\nA,2031-03-04\nB,d2\n", []string{
			`s.csv:3:3: sample B: found "d2" in column date; expected a date such as 2031-03-04 or 2031-03-04T15:04:05; correct the cell or leave it empty`}},
		{"sample twice", "sample,x\nA,1\nB,1\n A ,2\n", []string{
			`s.csv:4:1: found sample "A" a second time; expected one row a sample (the first is line 2); rename or remove one of them`}},
		{"no sample", "sample,x\n,1\n", []string{
			`s.csv:2:1: found a row without a sample; expected the sample's name in the first column; name the sample or remove the row`}},
		{"other spelling taken", "sample,also\nA,B\nB,d\nC,\"d;C\"\n", []string{
			`s.csv:2:3: sample A: found the other spelling "B"; expected one that is not also sample B's (line 3); remove one of them`,
			`s.csv:4:3: sample C: found the other spelling "d"; expected one that is not also sample B's (line 3); remove one of them`}},
		{"ragged", "sample,x,y\nA,1\nB,1,2,3\nC,1,2,\nD\n", []string{
			`s.csv:2: sample A: found 2 cells; expected 3, one for each head; add or remove delimiters, and put a cell that holds one in quotes`,
			`s.csv:3: sample B: found 4 cells; expected 3, one for each head; add or remove delimiters, and put a cell that holds one in quotes`,
			`s.csv:5: sample D: found 1 cell; expected 3, one for each head; add or remove delimiters, and put a cell that holds one in quotes`}},
		{"date", "sample,x [date]\nA,4.3.2031\n", []string{
			`s.csv:2:3: sample A: found "4.3.2031", which may be 2031-03-04 or 2031-04-03 in column x; expected a date such as 2031-03-04 or 2031-03-04T15:04:05; write the year first, as in 2031-03-04`}},
		{"date with one reading", "sample,x [date]\nA,25/3/31\nB,2031-3-4\nC,4 Mar 2031\nD,04.04.2031\nE,soon\n", []string{
			`s.csv:2:3: sample A: found "25/3/31", which may be 2031-03-25 or 2025-03-31 in column x; expected a date such as 2031-03-04 or 2031-03-04T15:04:05; write the year first, as in 2031-03-25`,
			`s.csv:3:3: sample B: found "2031-3-4" in column x; expected a date such as 2031-03-04 or 2031-03-04T15:04:05; write 2031-03-04`,
			`s.csv:4:3: sample C: found "4 Mar 2031" in column x; expected a date such as 2031-03-04 or 2031-03-04T15:04:05; write 2031-03-04`,
			`s.csv:5:3: sample D: found "04.04.2031" in column x; expected a date such as 2031-03-04 or 2031-03-04T15:04:05; write 2031-04-04`,
			`s.csv:6:3: sample E: found "soon" in column x; expected a date such as 2031-03-04 or 2031-03-04T15:04:05; correct the cell or leave it empty`}},
		{"column of dates of two readings", "sample,x\nA,03/04/2024\nB,2024-05-06\nC,13/04/2024 10:00\n", []string{
			`s.csv:2:3: sample A: found "03/04/2024", which may be 2024-04-03 or 2024-03-04 in column x; expected a date such as 2031-03-04 or 2031-03-04T15:04:05; write the year first, as in 2024-04-03`,
			`s.csv:4:3: sample C: found "13/04/2024 10:00" in column x; expected a date such as 2031-03-04 or 2031-03-04T15:04:05; write 2024-04-13`}},
		{"names that differ in separators", "sample,also\nLN-35,\nln 35,a\nB,LN_35|b\nC,B.\n", []string{
			`s.csv:3:1: sample ln 35: found sample "ln 35", which differs from a spelling of sample LN-35 (line 2) in capitals and separators alone; expected names that differ in letters or digits; rename one of them, or remove the row that is there twice`,
			`s.csv:4:3: sample B: found the other spelling "LN_35", which differs from a spelling of sample LN-35 (line 2) in capitals and separators alone; expected names that differ in letters or digits; rename one of them, or remove the row that is there twice`,
			`s.csv:5:3: sample C: found the other spelling "B.", which differs from a spelling of sample B (line 4) in capitals and separators alone; expected names that differ in letters or digits; rename one of them, or remove the row that is there twice`}},
		{"open quote", "sample,x\nA,\"1\nB,2\n", []string{
			`s.csv:2:3: found a cell whose quote is never closed; expected a closing "; write a quote inside a cell twice: ""`}},
		{"text behind a quote", "sample,x\nA,\"1\" 2\nB,2\n", []string{
			`s.csv:2:3: found text behind the closing quote of a cell; expected the next cell; write a quote inside a cell twice: ""`}},
		{"UTF-16 cut off", "\xff\xfes\x00a", []string{`s.csv: found damaged text in UTF-16; expected CSV text in UTF-8, UTF-16 or Windows-1252; save the sheet as CSV in UTF-8`}},
		{"half a character", "\xff\xfes\x00\x00\xd8,\x00", []string{`s.csv: found damaged text in UTF-16; expected CSV text in UTF-8, UTF-16 or Windows-1252; save the sheet as CSV in UTF-8`}},
		{"binary", "sample\r\nA\x00", []string{`s.csv:2:2: found a byte 0; expected CSV text in UTF-8, UTF-16 or Windows-1252; save the sheet as CSV in UTF-8`}},
		{"neither", "sample\r\nAB\xb5\x81", []string{`s.csv:2:4: found a byte 0x81 that is neither UTF-8 nor Windows-1252; expected CSV text in UTF-8, UTF-16 or Windows-1252; save the sheet as CSV in UTF-8`}},
		{"many", long, longFaults},
	} {
		t.Run(test.name, func(t *testing.T) {
			_, faults := ReadSheet("s.csv", []byte(test.text))
			if diff := cmp.Diff(strings.Join(test.want, "\n"), faults.Error()); diff != "" {
				t.Error(diff)
			}
		})
	}
}

func TestCutUnit(t *testing.T) {
	for _, test := range []struct {
		head, name, unit string
		ok               bool
	}{
		{"salt [mol/L]", "salt", "mol/L", true}, {"salt[mol/L] ", "salt", "mol/L", true}, {"salt", "salt", "", false}, {"x []", "x", "", true},
		{"water [[ppm]]", "water", "[ppm]", true}, {"counts [a] [1/s]", "counts [a]", "1/s", true}, {"a]", "a]", "", false}, {"[nm]", "", "nm", true},
		{"x [nm] y", "x [nm] y", "", false}, {"1 [nm]", "1", "nm", true},
	} {
		t.Run(test.head, func(t *testing.T) {
			if name, unit, ok := CutUnit(test.head); name != test.name || unit != test.unit || ok != test.ok {
				t.Errorf("got %q, %q, %v", name, unit, ok)
			}
		})
	}
}

// The sheet of the example study, which lies beside the open data, reads without a fault.
func TestExampleSheet(t *testing.T) {
	root := os.Getenv("FASCICLE_OPEN_DATA")
	if root == "" {
		t.Skip("FASCICLE_OPEN_DATA is not set")
	}
	data, err := os.ReadFile(filepath.Join(root, "..", "example-study", "samples.csv"))
	if err != nil {
		t.Skip(err)
	}
	sheet, faults := ReadSheet("samples.csv", data)
	if err := faults.Err(); err != nil {
		t.Fatal(err)
	}
	if rows := bytes.Count(bytes.TrimSpace(data), []byte("\n")); len(sheet.Rows) != rows {
		t.Errorf("%d rows, want %d", len(sheet.Rows), rows)
	}
	for name, want := range map[string]ColumnType{"ionic": Numeric, "fraction": Numeric, "v_total": Numeric, "date": Date, "chain": Text, "index": Numeric} {
		if i, ok := sheet.Column(name); !ok || sheet.Columns[i].Type != want {
			t.Errorf("column %s is %v, %v", name, sheet.Columns[i].Type, ok)
		}
	}
	if row, ok := sheet.Row("ladder 0.9 M"); !ok || row.Sample != "LN50-9" {
		t.Errorf("ladder 0.9 M is %v", row)
	}
}

func FuzzReadSheet(f *testing.F) {
	f.Add([]byte("sample,also,x [mol/L]\nA,b;c,0.1(2)\nB,,\"5 mM\"\n"))
	f.Add([]byte("s;d\r\nA;2031-03-04\r\nB;\"x\"\"y\"\r\n"))
	f.Add([]byte("\xef\xbb\xbfs\tx\rA\t35 %"))
	f.Add([]byte("s;x [nm];also\nA;0,5;a|b\nB;1,234 ± 0,1;A-\n"))
	f.Add([]byte("sep=;\ns;date;preparation\nA;03/04/2024;1\n"))
	f.Add(writeBook(f, nil, map[string]any{"A1": "sample", "B1": "x [nm]", "A2": "A", "B2": 1.5}))
	f.Fuzz(func(t *testing.T, data []byte) {
		sheet, faults := ReadSheet("s.csv", data)
		if sheet == nil {
			if len(faults) == 0 {
				t.Fatal("neither sheet nor fault")
			}
			return
		}
		for _, f := range faults {
			if !strings.HasPrefix(f.File, "s.csv") || f.Found == "" {
				t.Fatalf("fault %+v", f)
			}
		}
		for _, row := range sheet.Rows {
			if len(row.Cells) != len(sheet.Columns) {
				t.Fatalf("%d cells for %d columns", len(row.Cells), len(sheet.Columns))
			}
			if found, ok := sheet.Row(row.Sample); len(faults) == 0 && (!ok || found.Line != row.Line) {
				t.Fatalf("sample %q is found as %+v", row.Sample, found)
			}
		}
	})
}

func BenchmarkReadSheet(b *testing.B) {
	const rows, columns = 5000, 40
	var text strings.Builder
	text.WriteString("sample")
	for j := 1; j < columns; j++ {
		switch j % 4 {
		case 0:
			fmt.Fprintf(&text, ",text%d", j)
		case 1:
			fmt.Fprintf(&text, ",plain%d", j)
		default:
			fmt.Fprintf(&text, ",unit%d [mmol/L]", j)
		}
	}
	for i := range rows {
		fmt.Fprintf(&text, "\nS%d", i)
		for j := 1; j < columns; j++ {
			switch j % 4 {
			case 0:
				text.WriteString(",NaCl")
			case 3:
				fmt.Fprintf(&text, ",%d.%d(3)", i, j)
			default:
				fmt.Fprintf(&text, ",%d.%d", i, j)
			}
		}
	}
	point := text.String()
	comma := strings.ReplaceAll(strings.ReplaceAll(point, ",", ";"), ".", ",")
	for name, text := range map[string]string{"point": point, "comma": comma} {
		b.Run(name, func(b *testing.B) {
			data := []byte(text)
			b.SetBytes(int64(len(data)))
			for b.Loop() {
				if _, faults := ReadSheet("s.csv", data); len(faults) > 0 {
					b.Fatal(faults)
				}
			}
		})
	}
}

func BenchmarkFind(b *testing.B) {
	var text strings.Builder
	text.WriteString("sample,x\n")
	for i := range 5000 {
		fmt.Fprintf(&text, "LN-%d,1\n", i)
	}
	sheet, faults := ReadSheet("s.csv", []byte(text.String()))
	if len(faults) > 0 {
		b.Fatal(faults)
	}
	for b.Loop() {
		if _, ok, _ := sheet.Find("ln_4321"); !ok {
			b.Fatal("not found")
		}
	}
}

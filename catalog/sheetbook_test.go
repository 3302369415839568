package catalog

import (
	"archive/zip"
	"bytes"
	"crypto/sha256"
	"fmt"
	"io"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"github.com/xuri/excelize/v2"
)

func TestSheetFile(t *testing.T) {
	for samples, want := range map[string][2]string{
		"samples.xlsx": {"samples.xlsx", ""}, "samples.xlsx!Runs of May": {"samples.xlsx", "Runs of May"}, "a/B.XLSM!x!y": {"a/B.XLSM", "x!y"}, "samples.csv": {"samples.csv", ""},
		"hurrah!.csv": {"hurrah!.csv", ""}, "samples.csv!x": {"samples.csv!x", ""}, "samples.xlsx!": {"samples.xlsx", ""}, "": {"", ""},
	} {
		t.Run(samples, func(t *testing.T) {
			if file, sheet := SheetFile(samples); file != want[0] || sheet != want[1] {
				t.Errorf("got %q, %q", file, sheet)
			}
		})
	}
}

// writeBook makes a workbook with the cells of each sheet; set changes it before it is packed.
func writeBook(t testing.TB, set func(f *excelize.File) error, sheets ...map[string]any) []byte {
	t.Helper()
	f := excelize.NewFile()
	defer f.Close()
	check := func(err error) {
		if err != nil {
			t.Helper()
			t.Fatal(err)
		}
	}
	for i, cells := range sheets {
		name := fmt.Sprintf("Sheet%d", i+1)
		_, err := f.NewSheet(name)
		check(err)
		for cell, value := range cells {
			check(f.SetCellValue(name, cell, value))
		}
	}
	if set != nil {
		check(set(f))
	}
	var data bytes.Buffer
	check(f.Write(&data))
	return data.Bytes()
}

func style(f *excelize.File, cell, format string) error {
	id, err := f.NewStyle(&excelize.Style{CustomNumFmt: &format})
	if err != nil {
		return err
	}
	return f.SetCellStyle("Sheet1", cell, cell, id)
}

// A workbook is the same sheet as the CSV that a careful person would have typed.
func TestReadWorkbook(t *testing.T) {
	data := writeBook(t, func(f *excelize.File) error {
		for cell, format := range map[string]string{"D3": `yyyy\-mm\-dd`, "E3": "dd.mm.yyyy hh:mm", "F3": "0.0%", "G3": `0.0" mM"`, "G4": "0.000", "H3": "[h]:mm"} {
			if err := style(f, cell, format); err != nil {
				return err
			}
		}
		return nil
	}, map[string]any{
		"A2": "code", "B2": "also", "C2": "salt [mol/L]", "D2": "date", "E2": "taken", "F2": "share [%]", "G2": "ionic [mol/L]", "H2": "aged [min]", "I2": "note",
		"A3": "K1", "B3": "mix 1; first", "C3": "0.1(2)", "D3": 48276, "E3": 48276.58680555, "F3": 0.355, "G3": 5, "H3": 0.0625, "I3": "cloudy",
		"A4": 1002, "C4": 0.1 + 0.2, "D4": "2031-03-04", "E4": "2031-03-04 09:00", "F4": 35.5, "G4": 0.005, "H4": "90 min", "I4": true,
		"A9": "", "Q12": " ",
	})
	book, faults := ReadSheet("samples.xlsx", data)
	if err := faults.Err(); err != nil {
		t.Fatal(err)
	}
	csv := "code,also,salt [mol/L],date,taken,share [%],ionic [mol/L],aged [min],note\n" +
		"K1,mix 1; first,0.1(2),2032-03-03,2032-03-03T14:05:00,35.5 %,5 mM,5400 s,cloudy\n" +
		"1002,,0.300000000000000,2031-03-04,2031-03-04T09:00:00,35.5,0.005,90 min,TRUE\n"
	text, faults := ReadSheet("samples.csv", []byte(csv))
	if err := faults.Err(); err != nil {
		t.Fatal(err)
	}
	places := cmp.Options{cmpopts.IgnoreFields(Sheet{}, "SHA256", "File"), cmpopts.IgnoreFields(SheetColumn{}, "Col"), cmpopts.IgnoreFields(Cell{}, "Line", "Col"),
		cmpopts.IgnoreFields(Row{}, "Line"), cmpopts.IgnoreUnexported(Sheet{}), cmpopts.EquateApprox(1e-15, 0),
		cmp.FilterPath(func(p cmp.Path) bool { return p.Last().String() == ".Text" }, cmp.Comparer(func(a, b string) bool { return strings.TrimRight(a, "0") == strings.TrimRight(b, "0") }))}
	if diff := cmp.Diff(text, book, places); diff != "" {
		t.Error(diff)
	}
	if book.File != "samples.xlsx!Sheet1" || book.SHA256 != sha256.Sum256(data) || book.Rows[1].Line != 4 || book.Rows[1].Cells[2].Col != 3 {
		t.Errorf("file %s, row %+v", book.File, book.Rows[1])
	}
	if row, ok := book.Row("first"); !ok || row.Sample != "K1" {
		t.Errorf("first is %v", row)
	}
}

func TestWorkbookTab(t *testing.T) {
	data := writeBook(t, func(f *excelize.File) error {
		if err := f.SetSheetVisible("Sheet3", false); err != nil {
			return err
		}
		return f.SetSheetName("Sheet2", "Runs of May")
	}, map[string]any{"A1": "sample", "A2": "A"}, map[string]any{"A1": "sample", "A2": "B"}, map[string]any{"A1": "sample", "A2": "C"})
	for _, test := range []struct{ name, sample, file, notes, faults string }{
		{"s.xlsx", "A", "s.xlsx!Sheet1", "s.xlsx!Sheet1: found the first of 3 sheets (Sheet1, Runs of May, Sheet3) is read; name another in the study as in `samples: s.xlsx!Runs of May`", ""},
		{"s.xlsx!Runs of May", "B", "s.xlsx!Runs of May", "", ""},
		{"s.xlsx!Sheet3", "C", "s.xlsx!Sheet3", "s.xlsx!Sheet3: found the sheet is hidden; show it, or name another in the study", ""},
		{"s.xlsx!Runs of Mai", "", "", "", `s.xlsx: found unknown sheet "Runs of Mai"; expected one of the workbook's 3; did you mean "Runs of May"?`},
		{"s.xlsx!x", "", "", "", `s.xlsx: found unknown sheet "x"; expected one of the workbook's 3; use one of Sheet1, Runs of May, Sheet3`},
	} {
		t.Run(test.name, func(t *testing.T) {
			sheet, faults := ReadSheet(test.name, data)
			if diff := cmp.Diff(test.faults, faults.Error()); diff != "" {
				t.Error(diff)
			}
			if test.faults != "" {
				return
			}
			if sheet.Rows[0].Sample != test.sample || sheet.File != test.file {
				t.Errorf("sample %s of %s", sheet.Rows[0].Sample, sheet.File)
			}
			if diff := cmp.Diff(test.notes, sheet.Notes.Error()); diff != "" {
				t.Error(diff)
			}
		})
	}
	_, faults := ReadSheet("s.xlsx!Runs", []byte("sample,x\nA,1\n"))
	want := "s.xlsx: found no workbook; expected one that holds the sheet \"Runs\"; name the file alone under `samples` in the study, or save it as XLSX"
	if diff := cmp.Diff(want, faults.Error()); diff != "" {
		t.Error(diff)
	}
}

func TestWorkbookFaults(t *testing.T) {
	const compute = "; expected a value; open the workbook in a spreadsheet program, let it compute, and save it; or write the number itself"
	cells := func(more ...any) map[string]any {
		m := map[string]any{"A1": "sample", "B1": "x [nm]", "C1": "note", "A2": "A", "B2": 1, "A3": "B", "B3": 2, "C3": "n"}
		for i := 0; i < len(more); i += 2 {
			m[more[i].(string)] = more[i+1]
		}
		return m
	}
	for _, test := range []struct {
		name        string
		cells       map[string]any
		set         func(f *excelize.File) error
		want, notes string
	}{
		{"cell", cells("B3", "abc"), nil, `s.xlsx!Sheet1:B3: sample B: found "abc" in column x; expected a number in nm; correct the cell or leave it empty`, ""},
		{"head", cells("B1", "x (nm)"), nil, `s.xlsx!Sheet1:B1: found column name "x (nm)"; expected a name in letters a-z, digits and _ that does not begin with a digit; rename the column; a unit stands in square brackets: "salt [mol/L]"`, ""},
		{"sample twice", cells("A3", "A"), nil, `s.xlsx!Sheet1:A3: found sample "A" a second time; expected one row a sample (the first is row 2); rename or remove one of them`, ""},
		{"beside the heads", cells("E3", "?"), nil, `s.xlsx!Sheet1:E3: sample B: found "?" in a column without a head; expected cells below the heads alone; name the column, or remove the cell`, ""},
		{"empty", map[string]any{}, nil, "s.xlsx!Sheet1: found an empty sheet; expected a line of heads and a row for each sample; save the sheet again, or name another under `samples` in the study", ""},
		{"formula", cells("B3", nil), func(f *excelize.File) error { return f.SetCellFormula("Sheet1", "B3", "B2*2") }, "s.xlsx!Sheet1:B3: found a formula without a stored result" + compute, ""},
		{"merged body", cells(), func(f *excelize.File) error { return f.MergeCell("Sheet1", "C2", "C3") },
			"s.xlsx!Sheet1:C2: found the merged cells C2:C3; expected a value in each cell; unmerge them, and write into each cell what holds for it", ""},
		{"merged heads", cells(), func(f *excelize.File) error { return f.MergeCell("Sheet1", "B1", "C1") },
			"s.xlsx!Sheet1:B1: found the merged cells B1:C1; expected a value in each cell; unmerge them, and write into each cell what holds for it\n" +
				`s.xlsx!Sheet1:C3: sample B: found "n" in a column without a head; expected cells below the heads alone; name the column, or remove the cell`, ""},
		{"merged beside", cells(), func(f *excelize.File) error { return f.MergeCell("Sheet1", "E1", "F9") }, "", ""},
		{"hidden", cells(), func(f *excelize.File) error {
			if err := f.SetRowVisible("Sheet1", 3, false); err != nil {
				return err
			}
			return f.SetColVisible("Sheet1", "B:C", false)
		}, "", "s.xlsx!Sheet1:A3: found hidden rows: 3; they are read like the others; remove those that are not meant\n" +
			"s.xlsx!Sheet1: found hidden columns: B, C; they are read like the others; remove those that are not meant"},
		{"hidden beside", cells(), func(f *excelize.File) error {
			if err := f.SetRowVisible("Sheet1", 5, false); err != nil {
				return err
			}
			return f.SetColVisible("Sheet1", "D:XFD", false)
		}, "", ""},
		{"time of day", cells("B3", 0.5), func(f *excelize.File) error { return style(f, "B3", "hh:mm") },
			`s.xlsx!Sheet1:B3: sample B: found "12:00:00" in column x; expected a number in nm; correct the cell or leave it empty`, ""},
		{"percent where a length is due", cells(), func(f *excelize.File) error { return style(f, "B3", "0%") },
			`s.xlsx!Sheet1:B3: sample B: found "200 %" in column x; expected a number in nm; correct the cell or leave it empty`, ""},
	} {
		t.Run(test.name, func(t *testing.T) {
			sheet, faults := ReadSheet("s.xlsx", writeBook(t, test.set, test.cells))
			if diff := cmp.Diff(test.want, faults.Error()); diff != "" {
				t.Error(diff)
			}
			if sheet != nil {
				if diff := cmp.Diff(test.notes, sheet.Notes.Error()); diff != "" {
					t.Error(diff)
				}
			}
		})
	}
	t.Run("no workbook inside", func(t *testing.T) {
		_, faults := ReadSheet("s.xlsx", []byte("PK\x03\x04abc"))
		if len(faults) != 1 || !strings.HasPrefix(faults[0].Error(), "s.xlsx: found no archive; expected a workbook in the XLSX format") {
			t.Error(faults)
		}
	})
}

// A stray head far to the right of thousands of rows must not fill the memory.
func TestWorkbookTooLarge(t *testing.T) {
	var b strings.Builder
	b.WriteString(`<worksheet><sheetData><row r="1"><c r="A1" t="inlineStr"><is><t>sample</t></is></c><c r="XFD1" t="inlineStr"><is><t>x</t></is></c></row>`)
	for i := 2; i < 300; i++ {
		fmt.Fprintf(&b, `<row r="%d"><c r="A%d"><v>%d</v></c></row>`, i, i, i)
	}
	b.WriteString(`</sheetData></worksheet>`)
	data := replacePart(t, writeBook(t, nil, map[string]any{}), "xl/worksheets/sheet1.xml", b.String())
	_, faults := ReadSheet("s.xlsx", data)
	found := false
	if len(faults) > 50 {
		t.Errorf("%d faults", len(faults))
	}
	for _, f := range faults {
		found = found || strings.HasPrefix(f.Error(), "s.xlsx!Sheet1:A66: found more than 1048576 cells; expected a row for each sample")
	}
	if !found {
		t.Errorf("%.500s", faults.Error())
	}
}

// replacePart packs a workbook anew with another text for one of its parts.
func replacePart(t testing.TB, data []byte, name, text string) []byte {
	t.Helper()
	in, err := zip.NewReader(bytes.NewReader(data), int64(len(data)))
	if err != nil {
		t.Fatal(err)
	}
	var b bytes.Buffer
	out := zip.NewWriter(&b)
	for _, part := range in.File {
		w, err := out.Create(part.Name)
		if err != nil {
			t.Fatal(err)
		}
		r, err := part.Open()
		if err != nil {
			t.Fatal(err)
		}
		if part.Name == name {
			_, err = io.WriteString(w, text)
		} else {
			_, err = io.Copy(w, r)
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	if err := out.Close(); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func BenchmarkReadWorkbook(b *testing.B) {
	f := excelize.NewFile()
	w, err := f.NewStreamWriter("Sheet1")
	if err != nil {
		b.Fatal(err)
	}
	const rows, columns = 5000, 40
	for i := range rows + 1 {
		row := make([]any, columns)
		for j := range row {
			switch {
			case i == 0:
				row[j] = fmt.Sprintf("unit%d [mmol/L]", j)
				if j%4 == 0 {
					row[j] = fmt.Sprintf("text%d", j)
				}
			case j == 0:
				row[j] = fmt.Sprintf("S%d", i)
			case j%4 == 0:
				row[j] = "NaCl"
			case j%4 == 3:
				row[j] = fmt.Sprintf("%d.%d(3)", i, j)
			default:
				row[j] = float64(i) + float64(j)/100
			}
		}
		cell, _ := excelize.CoordinatesToCellName(1, i+1)
		if err := w.SetRow(cell, row); err != nil {
			b.Fatal(err)
		}
	}
	if err := w.Flush(); err != nil {
		b.Fatal(err)
	}
	var data bytes.Buffer
	if err := f.Write(&data); err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		if _, faults := ReadSheet("s.xlsx", data.Bytes()); len(faults) > 0 {
			b.Fatal(faults)
		}
	}
}

package workbook

import (
	"archive/zip"
	"bytes"
	"fmt"
	"strconv"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/xuri/excelize/v2"
	"pgregory.net/rapid"
)

// pack makes an archive from names and texts.
func pack(t testing.TB, parts ...string) []byte {
	t.Helper()
	var b bytes.Buffer
	w := zip.NewWriter(&b)
	for i := 0; i < len(parts); i += 2 {
		p, err := w.Create(parts[i])
		if err == nil {
			_, err = p.Write([]byte(parts[i+1]))
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

const (
	relationsHead = `<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships">`
	relationType  = `http://schemas.openxmlformats.org/officeDocument/2006/relationships/`
	mainHead      = `<workbook xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main" xmlns:r="http://schemas.openxmlformats.org/officeDocument/2006/relationships">`
)

// book packs a workbook with one sheet `Runs` from the content of <worksheet>; more is put into <workbook>.
func book(t testing.TB, sheet, more string) []byte {
	return pack(t,
		"_rels/.rels", relationsHead+`<Relationship Id="rId1" Type="`+relationType+`officeDocument" Target="xl/workbook.xml"/></Relationships>`,
		"xl/workbook.xml", mainHead+more+`<sheets><sheet name="Runs" sheetId="1" r:id="rId1"/></sheets></workbook>`,
		"xl/_rels/workbook.xml.rels", relationsHead+`<Relationship Id="rId1" Type="`+relationType+`worksheet" Target="worksheets/sheet1.xml"/>`+
			`<Relationship Id="rId2" Type="`+relationType+`styles" Target="/xl/styles.xml"/><Relationship Id="rId3" Type="`+relationType+`sharedStrings" Target="sharedStrings.xml"/></Relationships>`,
		"xl/styles.xml", `<styleSheet><numFmts count="3"><numFmt numFmtId="164" formatCode="yyyy\-mm\-dd\ hh:mm"/><numFmt numFmtId="165" formatCode="0.00&quot; mM&quot;"/><numFmt numFmtId="166" formatCode="[h]:mm:ss"/></numFmts>`+
			`<cellStyleXfs><xf numFmtId="14"/></cellStyleXfs><cellXfs><xf numFmtId="0"/><xf numFmtId="14"/><xf numFmtId="164"/><xf numFmtId="10"/><xf numFmtId="165"/><xf numFmtId="166"/><xf numFmtId="20"/></cellXfs></styleSheet>`,
		"xl/sharedStrings.xml", `<sst><si><t>plain</t></si><si><r><t xml:space="preserve">two </t></r><r><rPr><b/></rPr><t>runs</t></r><rPh sb="0" eb="1"><t>spoken</t></rPh></si><si><t>a_x000D_b_x005F_x_xZZZZ_</t></si></sst>`,
		"xl/worksheets/sheet1.xml", `<worksheet>`+sheet+`</worksheet>`)
}

func read(t testing.TB, data []byte, name string) *Sheet {
	t.Helper()
	b, f := Open(data)
	if f != nil {
		t.Fatal(f)
	}
	s, f := b.Sheet(name)
	if f != nil {
		t.Fatal(f)
	}
	return s
}

// The parts are written by hand after ECMA-376, part 1, chapter 18.
func TestCells(t *testing.T) {
	for _, test := range []struct{ cell, want string }{
		{`<c r="A1"><v>0.1</v></c>`, "0.1"}, {`<c r="A1"><v>1.1000000000000001</v></c>`, "1.1"}, {`<c><v>1E-7</v></c>`, "1e-7"}, {`<c><v>-0</v></c>`, "0"},
		{`<c t="n"><v>100000</v></c>`, "100000"}, {`<c><v> 5 </v></c>`, "5"}, {`<c><v/></c>`, ""}, {`<c s="3"/>`, ""},
		{`<c t="s"><v>0</v></c>`, "plain"}, {`<c t="s"><v>1</v></c>`, "two runs"}, {`<c t="s"><v>2</v></c>`, "a\rb_x_xZZZZ_"},
		{`<c t="inlineStr"><is><t> in </t></is></c>`, "in"}, {`<c t="inlineStr"><is><r><t>a</t></r><r><t>b</t></r></is></c>`, "ab"},
		{`<c t="str"><f>A2&amp;"x"</f><v>joined</v></c>`, "joined"}, {`<c t="str"><f>IF(A2="","",1)</f><v></v></c>`, ""},
		{`<c><f>1/3</f><v>0.33333333333333331</v></c>`, "0.3333333333333333"}, {`<c><f t="shared" si="0"/><v>4</v></c>`, "4"},
		{`<c t="b"><v>1</v></c>`, "TRUE"}, {`<c t="b"><v>0</v></c>`, "FALSE"},
		{`<c t="d"><v>2031-03-04T00:00:00</v></c>`, "2031-03-04T00:00:00"}, {`<c t="d" s="1"><v>2031-03-04T00:00:00.000</v></c>`, "2031-03-04"},
		{`<c s="1"><v>45000</v></c>`, "2023-03-15"}, {`<c s="1"><v>45000.75</v></c>`, "2023-03-15"}, {`<c s="2"><v>45000.75</v></c>`, "2023-03-15T18:00:00"},
		{`<c s="2"><v>45000</v></c>`, "2023-03-15T00:00:00"}, {`<c s="2"><v>45000.999999</v></c>`, "2023-03-16T00:00:00"},
		{`<c s="6"><v>0.60416666666666663</v></c>`, "14:30:00"}, {`<c s="6"><v>45000.5</v></c>`, "2023-03-15T12:00:00"},
		{`<c s="3"><v>0.35</v></c>`, "35 %"}, {`<c s="3"><v>7.0000000000000007E-2</v></c>`, "7 %"},
		{`<c s="5"><v>6.25E-2</v></c>`, "5400 s"}, {`<c s="5"><v>1.3888888888888888E-2</v></c>`, "1200 s"},
		{`<c s="4"><v>5</v></c>`, "5|mM"}, {`<c s="99"><v>5</v></c>`, "5"}, {`<c r="$A$1"><v>5</v></c>`, "5"},
	} {
		t.Run(test.cell, func(t *testing.T) {
			s := read(t, book(t, `<sheetData><row>`+test.cell+`</row></sheetData>`, ""), "")
			if len(s.Faults) > 0 {
				t.Fatal(s.Faults)
			}
			got := ""
			if len(s.Rows) > 0 {
				cell := s.Rows[0].Cells[0]
				got = cell.Text
				if cell.Suffix != "" {
					got += "|" + cell.Suffix
				}
			}
			if got != test.want {
				t.Errorf("got %q, want %q", got, test.want)
			}
		})
	}
}

func TestCellFaults(t *testing.T) {
	const compute = "; expected a value; open the workbook in a spreadsheet program, let it compute, and save it; or write the number itself"
	const stale = `<calcPr fullCalcOnLoad="1"/>`
	for _, test := range []struct{ cell, more, want string }{
		{`<c r="B3"><f>A1</f></c>`, "", "cell B3: found a formula without a stored result" + compute},
		{`<c r="B3"><f>A1</f><v></v></c>`, "", "cell B3: found a formula without a stored result" + compute},
		{`<c r="B3" t="str"><f>A1</f></c>`, "", "cell B3: found a formula without a stored result" + compute},
		{`<c r="AB3"><f>A1</f><v>0</v></c>`, stale, "cell AB3: found a formula whose stored result may be out of date (the workbook asks to be computed anew)" + compute},
		{`<c r="B3" t="e"><v>#DIV/0!</v></c>`, "", "cell B3: found the error #DIV/0!; expected a value; correct the cell or leave it empty"},
		{`<c r="B3" t="s"><v>7</v></c>`, "", `cell B3: found a text that the workbook does not hold ("7"); expected a value; save the workbook again`},
		{`<c r="B3"><v>abc</v></c>`, "", `cell B3: found the number "abc"; expected a number in digits; correct the cell or leave it empty`},
		{`<c r="B3"><v>1e999</v></c>`, "", `cell B3: found the number "1e999"; expected a number in digits; correct the cell or leave it empty`},
		{`<c r="B3"><v>NaN</v></c>`, "", `cell B3: found the number "NaN"; expected a number in digits; correct the cell or leave it empty`},
		{`<c r="B3" s="1"><v>-1</v></c>`, "", "cell B3: found the number -1 shown as a date; expected a date from 1900-03-01 to 9999-12-31; correct the cell, or show it as a number"},
		{`<c r="B3" s="1"><v>60</v></c>`, "", "cell B3: found the number 60 shown as a date; expected a date from 1900-03-01 to 9999-12-31; correct the cell, or show it as a number"},
		{`<c r="B3" t="z"><v>1</v></c>`, "", `cell B3: found a cell of the unknown type "z"; expected a number, text or date; save the workbook again`},
	} {
		t.Run(test.cell, func(t *testing.T) {
			s := read(t, book(t, `<sheetData><row r="3">`+test.cell+`</row></sheetData>`, test.more), "Runs")
			if diff := cmp.Diff(test.want, s.Faults.Error()); diff != "" {
				t.Error(diff)
			}
		})
	}
}

func TestSheetParts(t *testing.T) {
	s := read(t, book(t, `<cols><col min="2" max="3" hidden="1"/><col min="5" max="16384" hidden="true"/></cols>
		<sheetData><row r="2"><c r="A2"><v>1</v></c><c r="D2"><v>2</v></c></row><row hidden="1"><c><v>3</v></c><c r="C3"><v>4</v></c></row><row r="9" hidden="1"/></sheetData>
		<mergeCells><mergeCell ref="A2:B3"/><mergeCell ref="$D$4:C5"/></mergeCells>`, `<workbookPr date1904="1"/>`), "")
	want := &Sheet{Name: "Runs",
		Rows:          []Row{{Number: 2, Cells: []Cell{{Col: 1, Text: "1", Number: true}, {Col: 4, Text: "2", Number: true}}}, {Number: 3, Hidden: true, Cells: []Cell{{Col: 1, Text: "3", Number: true}, {Col: 3, Text: "4", Number: true}}}},
		Merged:        []Range{{2, 1, 3, 2}, {4, 3, 5, 4}},
		HiddenColumns: []Range{{0, 2, 0, 3}, {0, 5, 0, 16384}},
	}
	if diff := cmp.Diff(want, s); diff != "" {
		t.Error(diff)
	}
	if diff := cmp.Diff([]string{"B", "C", "E", "F"}, s.HiddenIn(6)); diff != "" {
		t.Error(diff)
	}
	if s.Merged[0].String() != "A2:B3" || !s.Merged[0].Meets(Range{3, 2, 9, 9}) || s.Merged[0].Meets(s.Merged[1]) {
		t.Errorf("%v, %v", s.Merged[0], s.Merged[1])
	}
}

func TestFaults(t *testing.T) {
	const save = "; expected a workbook in the XLSX format; save it as XLSX in a spreadsheet program, without a password"
	const again = "; expected a workbook in the XLSX format; "
	good := book(t, `<sheetData/>`, "")
	for _, test := range []struct {
		name, sheet string
		data        []byte
		want        string
	}{
		{"no archive", "", []byte("sample,x\n"), "found no archive" + again + "zip: not a valid zip file; save it as XLSX in a spreadsheet program, without a password"},
		{"cut off", "", good[:len(good)-40], "found no archive" + again + "zip: not a valid zip file; save it as XLSX in a spreadsheet program, without a password"},
		{"old", "", []byte("\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1abc"), "found a workbook in an old format, or one with a password" + save},
		{"other archive", "", pack(t, "a.csv", "x"), "found an archive without a workbook" + save},
		{"open document", "", pack(t, "mimetype", "application/vnd.oasis.opendocument.spreadsheet"), "found an OpenDocument file, perhaps" + save},
		{"binary", "", pack(t, "_rels/.rels", relationsHead+`<Relationship Id="r" Type="`+relationType+`officeDocument" Target="/xl/workbook.bin"/></Relationships>`, "xl/workbook.bin", "x"),
			"found a binary workbook (XLSB)" + save},
		{"unknown sheet", "Rusn", good, `found unknown sheet "Rusn"; expected one of the workbook's 1; did you mean "Runs"?`},
		{"no sheets", "", pack(t, "xl/workbook.xml", mainHead+`</workbook>`), "found a workbook without a sheet of cells; expected at least one; save it again"},
		{"bad XML", "", pack(t, "xl/workbook.xml", `<workbook><sheets>`), "found a damaged workbook" + again + "xl/workbook.xml: XML syntax error on line 1: unexpected EOF; save it again"},
		{"missing part", "", pack(t, "xl/workbook.xml", mainHead+`<sheets><sheet name="Runs" r:id="a"/></sheets></workbook>`,
			"xl/_rels/workbook.xml.rels", relationsHead+`<Relationship Id="a" Type="`+relationType+`worksheet" Target="s.xml"/></Relationships>`),
			"found a damaged workbook" + again + "xl/s.xml: is missing; save it again"},
		{"rows out of order", "", book(t, `<sheetData><row r="3"/><row r="2"/></sheetData>`, ""), "found a damaged workbook" + again + `xl/worksheets/sheet1.xml: row "2" behind row 3; save it again`},
		{"cells out of order", "", book(t, `<sheetData><row r="3"><c r="B3"/><c r="A3"/></row></sheetData>`, ""), "found a damaged workbook" + again + "xl/worksheets/sheet1.xml: cell A3 behind cell B3; save it again"},
		{"cell of another row", "", book(t, `<sheetData><row r="3"><c r="B4"/></row></sheetData>`, ""), "found a damaged workbook" + again + `xl/worksheets/sheet1.xml: cell "B4" in row 3; save it again`},
		{"merged without range", "", book(t, `<mergeCells><mergeCell ref="B"/></mergeCells>`, ""), "found a damaged workbook" + again + "xl/worksheets/sheet1.xml: merged cells without a range; save it again"},
		{"open row", "", book(t, `<sheetData><row><c><v>1</v>`, ""), "found a damaged workbook" + again + "xl/worksheets/sheet1.xml: XML syntax error on line 1: element <c> closed by </worksheet>; save it again"},
	} {
		t.Run(test.name, func(t *testing.T) {
			b, f := Open(test.data)
			if f == nil {
				_, f = b.Sheet(test.sheet)
			}
			if f == nil {
				t.Fatal("no fault")
			}
			if diff := cmp.Diff(test.want, f.Error()); diff != "" {
				t.Error(diff)
			}
		})
	}
}

// Formats: ECMA-376 part 1, 18.8.31, and what spreadsheet programs write, from memory.
func TestParseFormat(t *testing.T) {
	for code, want := range map[string]Format{
		"General": {}, "0.00": {}, "#,##0.00": {}, "0.00E+00": {}, "@": {}, "# ?/?": {}, `#,##0;[Red]-#,##0`: {},
		"0%": {Percent: true}, "0.00%;-0.00%": {Percent: true},
		"dd/mm/yyyy": {Day: true}, "mmm yy": {Day: true}, "mmmm": {Day: true}, "[$-409]d-mmm-yy;@": {Day: true}, `yyyy"-"mm"-"dd`: {Day: true}, "DD.MM.YYYY": {Day: true},
		"hh:mm": {Clock: true}, "h:mm AM/PM": {Clock: true}, "mm:ss.0": {Clock: true}, "m/d/yy h:mm": {Day: true, Clock: true}, `[$-F800]dddd\,\ mmmm\ dd\,\ yyyy`: {Day: true},
		"[h]:mm": {Elapsed: true}, "[mm]:ss": {Elapsed: true}, "[Red]0.0": {}, "[<1]0.00": {},
		`0.0" mM"`: {Suffix: "mM"}, `0\ \n\m`: {Suffix: "nm"}, `"c = "0.0" g/L";0`: {Suffix: "g/L"}, `General" K"`: {Suffix: "K"}, `"days: "0`: {}, `0.00_ `: {}, `* 0.00`: {},
		`#,##0.00 €`: {Suffix: "€"}, `"`: {}, `\`: {}, "[": {}, "_": {}, "": {},
	} {
		t.Run(code, func(t *testing.T) {
			if diff := cmp.Diff(want, parseFormat(code)); diff != "" {
				t.Error(diff)
			}
		})
	}
}

// Days counted from 1900 and 1904: what a spreadsheet program shows for them, from memory; 25569 is the epoch of Unix.
func TestDate(t *testing.T) {
	for _, test := range []struct {
		base   serialBase
		serial float64
		want   string
	}{
		{base1900, 61, "1900-03-01"}, {base1900, 25569, "1970-01-01"}, {base1900, 36526, "2000-01-01"}, {base1900, 2958465, "9999-12-31"}, {base1900, 2958466, ""},
		{base1900, 60.5, ""}, {base1904, 0, "1904-01-01"}, {base1904, 24107, "1970-01-01"}, {base1904, 2958465, ""}, {base1904, -1, ""},
	} {
		t.Run(test.want, func(t *testing.T) {
			if got, ok := test.base.date(test.serial, Format{Day: true}); got != test.want || ok != (test.want != "") {
				t.Errorf("got %q, %v", got, ok)
			}
		})
	}
}

func TestNames(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		row, col := rapid.IntRange(1, mostRows).Draw(t, "row"), rapid.IntRange(1, mostColumns).Draw(t, "column")
		want, err := excelize.CoordinatesToCellName(col, row) // another program's names
		if err != nil {
			t.Fatal(err)
		}
		if got := Name(row, col); got != want {
			t.Fatalf("%d, %d is %s, want %s", row, col, got, want)
		}
		if r, c, ok := parseName(strings.ToLower(want)); r != row || c != col || !ok {
			t.Fatalf("%s is %d, %d, %v", want, r, c, ok)
		}
	})
	for _, bad := range []string{"", "A", "1", "A0", "A01", "XFE1", "A1048577", "A1B", "Ä1", "A-1"} {
		if row, col, ok := parseName(bad); ok {
			t.Errorf("%q is %d, %d", bad, row, col)
		}
	}
}

// What another program writes is read: its raw values where those are numbers and texts.
func TestOtherWriter(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		file := excelize.NewFile()
		defer file.Close()
		want := map[string]string{}
		for range rapid.IntRange(1, 12).Draw(t, "cells") {
			name := Name(rapid.IntRange(1, 40).Draw(t, "row"), rapid.IntRange(1, 60).Draw(t, "column"))
			var value any
			if rapid.Bool().Draw(t, "number") {
				// 15 digits: the other program writes no more
				x, err := strconv.ParseFloat(fmt.Sprintf("%de%d", rapid.Int64Range(-1e14, 1e14).Draw(t, "digits"), rapid.IntRange(-30, 10).Draw(t, "power")), 64)
				if err != nil {
					t.Fatal(err)
				}
				value, want[name] = x, plain(x)
			} else {
				s := rapid.StringMatching(`[a-zA-Zäµ°<&"' _x0-9.]{1,12}`).Draw(t, "text")
				value, want[name] = s, strings.TrimSpace(s)
			}
			if err := file.SetCellValue("Sheet1", name, value); err != nil {
				t.Fatal(err)
			}
		}
		data, err := file.WriteToBuffer()
		if err != nil {
			t.Fatal(err)
		}
		b, f := Open(data.Bytes())
		if f != nil {
			t.Fatal(f)
		}
		sheet, f := b.Sheet("Sheet1")
		if f != nil {
			t.Fatal(f)
		}
		got := map[string]string{}
		for _, row := range sheet.Rows {
			for _, c := range row.Cells {
				got[Name(row.Number, c.Col)] = c.Text
			}
		}
		for name, text := range want {
			if text == "" {
				delete(want, name)
			}
		}
		if diff := cmp.Diff(want, got); diff != "" {
			t.Fatal(diff)
		}
	})
}

func FuzzOpen(f *testing.F) {
	f.Add(book(f, `<sheetData><row r="1"><c r="A1" t="s"><v>0</v></c><c r="B1" s="1"><v>45000.5</v></c></row></sheetData><mergeCells><mergeCell ref="A1:B2"/></mergeCells>`, ""))
	f.Add(pack(f, "xl/workbook.xml", mainHead+`</workbook>`))
	f.Fuzz(func(t *testing.T, data []byte) {
		b, fault := Open(data)
		if fault != nil {
			return
		}
		for _, name := range b.Sheets() {
			s, fault := b.Sheet(name)
			if (s == nil) == (fault == nil) {
				t.Fatalf("sheet %v, fault %v", s, fault)
			}
		}
	})
}

// FuzzSheet fuzzes what lies behind the checksums of the archive.
func FuzzSheet(f *testing.F) {
	f.Add(`<sheetData><row r="1"><c r="A1" t="s"><v>0</v></c><c s="2"><v>45000.5</v></c></row></sheetData>`, `yyyy-mm-dd`)
	f.Add(`<sheetData><row><c t="inlineStr"><is><r><t>a</t></r></is></c><c t="str"><f>A1</f><v>x</v></c></row></sheetData><cols><col min="1" max="2" hidden="1"/></cols>`, `0.0" mM";@`)
	f.Fuzz(func(t *testing.T, xml, code string) {
		parseFormat(code)
		b, fault := Open(book(t, xml, ""))
		if fault != nil {
			t.Fatal(fault)
		}
		s, fault := b.Sheet("")
		if fault != nil {
			return
		}
		lastRow := 0
		for _, row := range s.Rows {
			lastCol := 0
			for _, c := range row.Cells {
				if row.Number <= lastRow || c.Col <= lastCol || c.Text == "" {
					t.Fatalf("row %d after %d, %+v after column %d", row.Number, lastRow, c, lastCol)
				}
				lastCol = c.Col
			}
			lastRow = row.Number
		}
		for _, f := range s.Faults {
			if f.Cell == "" || f.Found == "" {
				t.Fatalf("%+v", f)
			}
		}
	})
}

func BenchmarkSheet(b *testing.B) {
	var text strings.Builder
	text.WriteString("<sheetData>")
	for i := 1; i <= 5000; i++ {
		fmt.Fprintf(&text, `<row r="%d" spans="1:40">`, i)
		for j := 1; j <= 40; j++ {
			fmt.Fprintf(&text, `<c r="%s" s="0"><v>%d.%d</v></c>`, Name(i, j), i, j)
		}
		text.WriteString("</row>")
	}
	text.WriteString("</sheetData>")
	data := book(b, text.String(), "")
	b.SetBytes(int64(text.Len()))
	for b.Loop() {
		read(b, data, "")
	}
}

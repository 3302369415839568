package importing

import (
	"bytes"
	"compress/gzip"
	"strings"
	"testing"

	"github.com/xuri/excelize/v2"
)

// bookOf makes a workbook: sheets of rows, each of which begins at a cell.
func bookOf(t testing.TB, edit func(f *excelize.File), sheets ...map[string][]any) string {
	t.Helper()
	f := excelize.NewFile()
	for i, rows := range sheets {
		name := []string{"Sheet1", "Scans", "Notes"}[i]
		if _, err := f.NewSheet(name); err != nil {
			t.Fatal(err)
		}
		for cell, row := range rows {
			if err := f.SetSheetRow(name, cell, &row); err != nil {
				t.Fatal(err)
			}
		}
	}
	if edit != nil {
		edit(f)
	}
	var b bytes.Buffer
	if err := f.Write(&b); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

func TestWorkbooks(t *testing.T) {
	scan := map[string][]any{"B2": {"Taken", "2031-03-04"}, "B4": {"nm", "A"}, "B5": {400, 0.1}, "B6": {401.5, 0.25}, "B7": {403, -1e-7}}
	wide := map[string][]any{"A1": {"", "LN1", nil, "LN2"}, "A2": {"nm", "A", "u", "A", "u"}, "A3": {400, 1, 0.1, 3, 0.1}, "A4": {401, 2, 0.1, 4, 0.1}, "A5": {402, 3, nil, 5, 0.1}}
	book := bookOf(t, func(f *excelize.File) {
		for _, m := range [][2]string{{"B1", "C1"}, {"D1", "E1"}} {
			if err := f.MergeCell("Scans", m[0], m[1]); err != nil {
				t.Fatal(err)
			}
		}
	}, scan, wide)
	one := setting{columns: []string{"x = nm", "y = A"}, header: []string{"taken = Taken [date]"}, sheet: "Sheet1"}
	two := setting{curves: "<sample>", columns: []string{"x = 1 [nm]", "y = 2", "u_y = 3"}}
	for _, c := range []struct {
		name, sheet string
		set         setting
		want        []string
	}{
		{"first", "", one, []string{"taken=2031-03-04 | x nm: 400 401.5 403 | y: 0.1 0.25 -1e-07 ! the first of 2 sheets is read (Sheet1, Scans); `sheet` names another"}},
		{"by name", "Sheet1", one, []string{"taken=2031-03-04 | x nm: 400 401.5 403 | y: 0.1 0.25 -1e-07"}},
		{"range", "Sheet1!B4:C6", setting{columns: []string{"x = nm", "y = A"}}, []string{"x nm: 400 401.5 | y: 0.1 0.25"}},
		{"range alone", "B4:C6", setting{columns: []string{"x = nm", "y = A"}}, []string{"x nm: 400 401.5 | y: 0.1 0.25 ! the first of 2 sheets is read (Sheet1, Scans); `sheet` names another"}},
		{"by number, merged heads", "2", two, []string{"sample=LN1 | x nm: 400 401 402 | y: 1 2 3 | u_y: 0.1 0.1 - ! empty cell in column 3 (lines 5)",
			"sample=LN2 | x nm: 400 401 402 | y: 3 4 5 | u_y: 0.1 0.1 0.1"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			c.set.sheet = c.sheet
			expectBook(t, c.set, book, c.want...)
		})
	}
	var z bytes.Buffer
	w := gzip.NewWriter(&z)
	if _, err := w.Write([]byte(book)); err != nil || w.Close() != nil {
		t.Fatal(err)
	}
	expectBook(t, one, z.String(), "taken=2031-03-04 | x nm: 400 401.5 403 | y: 0.1 0.25 -1e-07")
	percent := bookOf(t, func(f *excelize.File) {
		id, err := f.NewStyle(&excelize.Style{NumFmt: 9})
		if err == nil {
			err = f.SetCellStyle("Sheet1", "B1", "B3", id)
		}
		if err != nil {
			t.Fatal(err)
		}
	}, map[string][]any{"A1": {400, 0.35}, "A2": {401, 0.5}, "A3": {402, 0.99}})
	expectBook(t, setting{columns: []string{"x = 1 [nm]", "T = 2 [%]"}}, percent,
		"x nm: 400 401 402 | T: 0.35 0.5 0.99 ! numbers stored in per cent are read as they are shown, 35 for 35 %, in column B: give them the unit [%]")
}

func expectBook(t *testing.T, s setting, book string, want ...string) {
	t.Helper()
	got, err := items(t, s, book)
	if err != nil {
		t.Fatal(err)
	}
	if g, w := strings.Join(got, "\n"), strings.Join(want, "\n"); g != w {
		t.Errorf("items\n%s\nwant\n%s", g, w)
	}
}

// Workbooks that cannot be read, and cells that hold no value.
func TestWorkbookErrors(t *testing.T) {
	book := bookOf(t, nil, map[string][]any{"A1": {1, 2}, "A2": {2, 3}, "A3": {3, 5}}, map[string][]any{})
	for _, c := range []struct{ name, sheet, data, want string }{
		{"no such sheet", "Scans of May", book, "Scans of May"},
		{"no such number", "7", book, "found 2 sheets; expected a sheet 7"},
		{"empty sheet", "2", book, "a sheet without a cell"},
		{"other document", "", string(zipped(t, "[Content_Types].xml", "<a/>")), "an archive without a workbook"},
		{"old workbook", "", "\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + strings.Repeat("\x00", 100), "a workbook in an old format"},
		{"sheet of a text", "Scans", "1 2\n2 3\n3 4\n", "a file that is no workbook"},
	} {
		t.Run(c.name, func(t *testing.T) { expectBookError(t, setting{columns: xy, sheet: c.sheet}, c.data, c.want) })
	}
	for n := 0; n < len(book); n += 97 {
		if _, err := items(t, setting{columns: xy}, book[:n]); err == nil {
			t.Fatalf("%d of %d bytes of a workbook were read", n, len(book))
		}
	}
}

func expectBookError(t *testing.T, s setting, data, want string) {
	t.Helper()
	if got, err := items(t, s, data); err == nil || !strings.Contains(err.Error(), want) {
		t.Errorf("error %v, items %q; want an error with %q", err, got, want)
	}
}

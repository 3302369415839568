package report

import (
	"bytes"
	"testing"
	"time"

	"github.com/xuri/excelize/v2"
)

// A workbook holds the table's words as words and its numbers as numbers, and is the same to the byte whenever it is written.
func TestWorkbook(t *testing.T) {
	table := []byte("sample,Rg [nm],u_Rg [nm],remark\nA1,2.91,0.07,\nA2,,,\"failed: no file, look\"\n")
	first, err := workbook(table)
	if err != nil {
		t.Fatal(err)
	}
	time.Sleep(1100 * time.Millisecond) // longer than the clock of a ZIP's entries counts
	second, err := workbook(table)
	if err != nil || !bytes.Equal(first, second) {
		t.Errorf("another workbook a second later (%v)", err)
	}
	f, err := excelize.OpenReader(bytes.NewReader(first))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := f.GetRows("Sheet1")
	if err != nil || len(rows) != 3 || rows[0][1] != "Rg [nm]" || rows[1][1] != "2.91" || rows[2][3] != "failed: no file, look" {
		t.Errorf("rows %q (%v)", rows, err)
	}
	if ty, err := f.GetCellType("Sheet1", "B2"); err != nil || ty != excelize.CellTypeUnset && ty != excelize.CellTypeNumber {
		t.Errorf("a number is stored as %v (%v)", ty, err)
	}
}

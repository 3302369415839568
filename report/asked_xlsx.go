package report

import (
	"bytes"
	"encoding/csv"
	"math"
	"strconv"

	"github.com/xuri/excelize/v2"
)

// workbook turns a table in CSV into a workbook of one sheet: heads in bold, numbers as numbers, the first row and column held in place.
func workbook(table []byte) ([]byte, error) {
	rows, err := csv.NewReader(bytes.NewReader(table)).ReadAll()
	if err != nil {
		return nil, err
	}
	f := excelize.NewFile()
	defer f.Close()
	const sheet = "Sheet1"
	for i, row := range rows {
		for k, cell := range row {
			at, err := excelize.CoordinatesToCellName(k+1, i+1)
			if err != nil {
				return nil, err
			}
			var value any = cell
			if x, err := strconv.ParseFloat(cell, 64); i > 0 && err == nil && !math.IsNaN(x) && !math.IsInf(x, 0) {
				value = x
			}
			if cell == "" {
				continue // no value is an empty cell
			}
			if err := f.SetCellValue(sheet, at, value); err != nil {
				return nil, err
			}
		}
	}
	bold, err := f.NewStyle(&excelize.Style{Font: &excelize.Font{Bold: true}})
	if err != nil {
		return nil, err
	}
	if err := f.SetRowStyle(sheet, 1, 1, bold); err != nil {
		return nil, err
	}
	if err := f.SetPanes(sheet, &excelize.Panes{Freeze: true, XSplit: 1, YSplit: 1, TopLeftCell: "B2", ActivePane: "bottomRight"}); err != nil {
		return nil, err
	}
	var b bytes.Buffer
	if err := f.Write(&b); err != nil {
		return nil, err
	}
	return b.Bytes(), nil
}

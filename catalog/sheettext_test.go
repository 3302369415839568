package catalog

import (
	"strings"
	"testing"
	"unicode/utf16"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"pgregory.net/rapid"
)

// sixteen writes text in UTF-16 by the standard library's encoder.
func sixteen(text string, big bool, mark bool) string {
	if mark {
		text = "\uFEFF" + text
	}
	var b strings.Builder
	for _, u := range utf16.Encode([]rune(text)) {
		if big {
			b.WriteByte(byte(u >> 8))
			b.WriteByte(byte(u))
		} else {
			b.WriteByte(byte(u))
			b.WriteByte(byte(u >> 8))
		}
	}
	return b.String()
}

func TestSheetEncodings(t *testing.T) {
	const text = "sample,x [µL],note\nA,5 ± 1,20 °C\nB,6,Ångström\n"
	latin := strings.NewReplacer("µ", "\xb5", "±", "\xb1", "°", "\xb0", "Å", "\xc5", "ö", "\xf6").Replace(text) // ISO 8859-1, code table, from memory
	for _, test := range []struct{ name, text, note string }{
		{"UTF-8", text, ""}, {"UTF-8 with mark", "\uFEFF" + text, ""},
		{"UTF-16 little", sixteen(text, false, true), ""}, {"UTF-16 big", sixteen(text, true, true), ""},
		{"UTF-16 little without mark", sixteen(text, false, false), ""}, {"UTF-16 big without mark", sixteen(text, true, false), ""},
		{"Latin-1", latin, "s.csv:1:11: found a byte 0xb5 that is not UTF-8, so the file is read as Windows-1252; look at µ, °, ± and letters with marks, or save the sheet in UTF-8"},
	} {
		t.Run(test.name, func(t *testing.T) {
			sheet, faults := ReadSheet("s.csv", []byte(test.text))
			if err := faults.Err(); err != nil {
				t.Fatal(err)
			}
			if diff := cmp.Diff(test.note, sheet.Notes.Error()); diff != "" {
				t.Error(diff)
			}
			a, b := sheet.Rows[0], sheet.Rows[1]
			if a.Cells[1].Value != 5 || a.Cells[1].U != 1 || a.Cells[2].Text != "20 °C" || b.Cells[2].Text != "Ångström" || !sheet.Columns[1].Unit.Equal(mustUnit("uL")) {
				t.Errorf("%+v", sheet.Rows)
			}
		})
	}
	sheet, faults := ReadSheet("s.csv", []byte("sample,note\nA,\x80 5 \x93x\x94\n")) // Windows-1252, code table, from memory
	if len(faults) > 0 || sheet.Rows[0].Cells[1].Text != "€ 5 “x”" {
		t.Error(faults, sheet.Rows[0].Cells[1].Text)
	}
}

func TestUTF16ReadsBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		text := rapid.StringOf(rapid.RuneFrom([]rune("aZ0,;\n\r\t\"µ°Å±€😀"))).Draw(t, "text")
		got, note, f := sheetText([]byte(sixteen(text, rapid.Bool().Draw(t, "big"), true)))
		if f != nil || note != nil || got != text {
			t.Fatalf("%q is read as %q: %v, %v", text, got, note, f)
		}
	})
}

func TestDecimalSign(t *testing.T) {
	for _, test := range []struct {
		name, text    string
		want          []float64 // value and u of the column x
		notes, faults string
	}{
		{"comma in semicolons", "sample;x [nm];y\nA;0,35;1,5\nB;0,67(5);2\nC;1,234 ± 0,5 µm;3,25\nD;12,3(1,5);4\n", []float64{0.35, 0, 0.67, 0.05, 1234, 500, 12.3, 1.5}, "s.csv:2:3: found decimal commas, as in \"0,35\"", ""},
		{"comma in tabs", "sample\tx [nm]\nA\t-0,5\nB\t1,5e3\n", []float64{-0.5, 0, 1500, 0}, "s.csv:2:3: found decimal commas, as in \"-0,5\"", ""},
		{"comma in quotes", "sample,x [nm]\nA,\"0,35\"\nB,\"2\"\n", []float64{0.35, 0, 2, 0}, "s.csv:2:3: found decimal commas, as in \"0,35\"", ""},
		{"comma in a column without unit", "sample;x\nA;0,35\nB;2\n", []float64{0.35, 0, 2, 0}, "s.csv:2:3: found decimal commas, as in \"0,35\"", ""},
		{"nu", "sample;x [nm]\nA;\"215(9,7); nu 25,6\"\n", []float64{215, 9.7}, "s.csv:2:3: found decimal commas, as in \"215(9,7); nu 25,6\"", ""},
		{"one sure comma decides for all", "sample;x [nm];y\nA;1,234;0,5\n", []float64{1.234, 0}, "s.csv:2:9: found decimal commas, as in \"0,5\"", ""},
		{"commas in words do not count", "sample;x [nm];y\nA;1.5;red, green\nB;2;1,5 or so\n", []float64{1.5, 0, 2, 0}, "", ""},
		{"lists do not count", "sample;x [nm];wells\nA;1.5;1,2,3\nB;2;2,4\n", []float64{1.5, 0, 2, 0}, "", ""},
		{"both", "sample;x [nm];y [nm]\nA;0,35;1.5\n", nil, "", `s.csv:2:3: sample A: found a decimal comma in "0,35" and a point in "1.5" (line 2); expected one decimal sign in the whole sheet, and nothing between thousands; write decimal points throughout`},
		{"either", "sample;x [nm]\nA;1,234\nB;2\n", nil, "", `s.csv:2:3: sample A: found "1,234", whose comma may be a decimal sign or stand between thousands; expected one decimal sign in the whole sheet, and nothing between thousands; write decimal points throughout`},
		{"either with digits of u", "sample;x [nm]\nA;1,234(5)\n", nil, "", `s.csv:2:3: sample A: found "1,234(5)", whose comma may be a decimal sign or stand between thousands; expected one decimal sign in the whole sheet, and nothing between thousands; write decimal points throughout`},
		{"thousands beside points", "sample;x [nm];y\nA;1,234;0.5\n", nil, "", `s.csv:2:3: sample A: found "1,234", whose comma may be a decimal sign or stand between thousands; expected one decimal sign in the whole sheet, and nothing between thousands; write decimal points throughout`},
		{"thousands", "sample;x\nA;1,234,567\nB;2\n", nil, "", `s.csv:2:3: sample A: found the number "1,234,567"; expected one decimal sign in the whole sheet, and nothing between thousands; write decimal points throughout`},
		{"thousands with point", "sample;x [nm]\nA;1,234.5\nB;2\n", nil, "", `s.csv:2:3: sample A: found the number "1,234.5"; expected one decimal sign in the whole sheet, and nothing between thousands; write decimal points throughout`},
		{"thousands with comma", "sample;x [nm]\nA;1.234,5\nB;0,2\n", nil, "", `s.csv:2:3: sample A: found the number "1.234,5"; expected one decimal sign in the whole sheet, and nothing between thousands; write decimal points throughout`},
		{"points of units are none", "sample;x [L/(mol.cm)]\nA;0,5 L/(mol.cm)\nB;0,25\n", []float64{0.5, 0, 0.25, 0}, "s.csv:2:3: found decimal commas, as in \"0,5 L/(mol.cm)\"", ""},
		{"comma at the end", "sample;x [nm]\nA;5,\n", nil, "", `s.csv:2:3: sample A: found "5," in column x; expected a number in nm; correct the cell or leave it empty`},
	} {
		t.Run(test.name, func(t *testing.T) {
			sheet, faults := ReadSheet("s.csv", []byte(test.text))
			if diff := cmp.Diff(test.faults, faults.Error()); diff != "" {
				t.Error(diff)
			}
			if test.faults != "" {
				return
			}
			if diff := cmp.Diff(test.notes, sheet.Notes.Error()); diff != "" {
				t.Error(diff)
			}
			var got []float64
			for _, row := range sheet.Rows {
				got = append(got, row.Cells[1].Value, row.Cells[1].U)
			}
			if diff := cmp.Diff(test.want, got); diff != "" {
				t.Error(diff)
			}
		})
	}
}

// In a workbook only text can show a decimal comma: what is stored as a number has no sign.
func TestDecimalSignOfWorkbook(t *testing.T) {
	data := writeBook(t, nil, map[string]any{"A1": "sample", "B1": "x [nm]", "A2": "A", "B2": 1.234, "A3": "B", "B3": "0,67(5)"})
	sheet, faults := ReadSheet("s.xlsx", data)
	if err := faults.Err(); err != nil {
		t.Fatal(err)
	}
	if a, b := sheet.Rows[0].Cells[1], sheet.Rows[1].Cells[1]; a.Value != 1.234 || b.Value != 0.67 || b.U != 0.05 {
		t.Errorf("%+v, %+v", a, b)
	}
	if diff := cmp.Diff(`s.xlsx!Sheet1:B3: found decimal commas, as in "0,67(5)"`, sheet.Notes.Error()); diff != "" {
		t.Error(diff)
	}
}

// A table of numbers is the same whatever the delimiter, the decimal sign, the line ends and the blanks around it.
func TestSheetSpellings(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		rows, columns := rapid.IntRange(1, 5).Draw(t, "rows"), rapid.IntRange(1, 4).Draw(t, "columns")
		cell := rapid.StringMatching(`-?[0-9]{1,4}\.[0-9]{1,5}(\([1-9][0-9]?\)| ± [0-9]\.[0-9])?`)
		table := make([][]string, rows)
		for i := range table {
			for range columns {
				table[i] = append(table[i], cell.Draw(t, "cell"))
			}
		}
		table[0][0] = "0.5" // shows the sign beyond doubt
		write := func(delimiter, decimal, end string, blankRows, blankColumns int) string {
			var b strings.Builder
			line := func(cells []string) {
				b.WriteString(strings.Join(cells, delimiter) + strings.Repeat(delimiter, blankColumns) + end)
			}
			head := []string{"sample"}
			for j := range columns {
				head = append(head, string(rune('a'+j))+" [nm]")
			}
			line(head)
			for i, row := range table {
				cells := []string{"S" + string(rune('0'+i))}
				for _, c := range row {
					cells = append(cells, strings.ReplaceAll(c, ".", decimal))
				}
				line(cells)
			}
			for range blankRows {
				line(make([]string, columns+1))
			}
			return b.String()
		}
		want, faults := ReadSheet("s.csv", []byte(write(",", ".", "\n", 0, 0)))
		if err := faults.Err(); err != nil {
			t.Fatal(err)
		}
		text := write(rapid.SampledFrom([]string{";", "\t"}).Draw(t, "delimiter"), rapid.SampledFrom([]string{".", ","}).Draw(t, "decimal"),
			rapid.SampledFrom([]string{"\n", "\r\n", "\r"}).Draw(t, "end"), rapid.IntRange(0, 30).Draw(t, "blank rows"), rapid.IntRange(0, 30).Draw(t, "blank columns"))
		got, faults := ReadSheet("s.csv", []byte(text))
		if err := faults.Err(); err != nil {
			t.Fatal(err)
		}
		ignore := cmp.Options{cmpopts.IgnoreFields(Sheet{}, "SHA256", "Notes"), cmpopts.IgnoreFields(Cell{}, "Text", "Col"), cmpopts.IgnoreFields(SheetColumn{}, "Col"), cmpopts.IgnoreUnexported(Sheet{})}
		if diff := cmp.Diff(want, got, ignore); diff != "" {
			t.Fatal(diff)
		}
	})
}

func TestSheetBlanks(t *testing.T) {
	wide := strings.Repeat(",", 16000)
	text := "sample,x" + wide + "\nA,1" + wide + "\nB,2" + wide + "\n" + strings.Repeat(",,"+wide+"\n", 200) + strings.Repeat("\r\n", 60000)
	sheet, faults := ReadSheet("s.csv", []byte(text))
	if err := faults.Err(); err != nil {
		t.Fatal(err)
	}
	if len(sheet.Columns) != 2 || len(sheet.Rows) != 2 || len(sheet.Rows[1].Cells) != 2 || cap(sheet.Rows[1].Cells) != 2 {
		t.Errorf("%d columns, %d rows", len(sheet.Columns), len(sheet.Rows))
	}
	_, faults = ReadSheet("s.csv", []byte("sample,x,,\nA,1,,\nB,2,,3\n"))
	want := `s.csv:3:6: sample B: found "3" in a column without a head; expected cells below the heads alone; name the column, or remove the cell`
	if diff := cmp.Diff(want, faults.Error()); diff != "" {
		t.Error(diff)
	}
}

func TestSeparatorLine(t *testing.T) {
	for text, want := range map[string]int{"sep=;\r\nsample;x,y\r\nA;\"1,2 or 3\"\r\n": 1, "SEP=,\nsample,x;y\nA,1\n": 1, "sep=\t\nsample\tx\nA\t1\n": 2, "sep=|\nA\n": 1, "sep=;x\nA;1\n": 2} {
		t.Run(text, func(t *testing.T) {
			sheet, _ := ReadSheet("s.csv", []byte(text))
			named := 0
			for _, c := range sheet.Columns {
				if IsIdentifier(c.Name) {
					named++
				}
			}
			if named != want || strings.HasPrefix(text, "sep=;\r") && sheet.Rows[0].Line != 3 {
				t.Errorf("%+v", sheet.Columns)
			}
		})
	}
}

func FuzzSheetText(f *testing.F) {
	f.Add([]byte("\xff\xfes\x00"))
	f.Add([]byte("s\x00a\x00m\x00p\x00,\x00"))
	f.Add([]byte("5 \xb5L\r"))
	f.Fuzz(func(t *testing.T, data []byte) {
		text, note, fault := sheetText(data)
		if fault != nil && text != "" || strings.ContainsRune(text, 0) || note != nil && note.Line < 1 {
			t.Fatalf("%q, %v, %v", text, note, fault)
		}
		if strings.ToValidUTF8(text, "") != text {
			t.Fatalf("%q is not UTF-8", text)
		}
	})
}

func FuzzSignOf(f *testing.F) {
	for _, seed := range []string{"0,35", "1,234(5) nm", "1.234,5", "215(9,7) nm; nu 25,6", "1,2,3"} {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, s string) {
		if s == "" {
			return
		}
		if sign := signOf(s); sign == signComma || sign == signEither {
			if pointed, ok := pointsForCommas(s); !ok || !isNumber(pointed) {
				t.Fatalf("%q is %d", s, sign)
			}
		}
	})
}

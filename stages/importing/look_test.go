package importing

import (
	"bytes"
	"compress/gzip"
	"encoding/json"
	"strings"
	"testing"
	"unicode/utf16"

	"github.com/google/go-cmp/cmp"
)

// samples are small files of every reader and layout.
func samples(t testing.TB) map[string]string {
	return map[string]string{
		"single": "# Q I(Q) Error\n0.010 12.5 0.1\n0.015 11.25 0.1\n0.020 OVER 0.1\n0.025 7.5 NaN\n0.030 5.5 0.1\n",
		"wide":   "nm,LN1,LN2,LN3,LN4\n400,1,2,3,4\n401,2,3,4,5\n402,3,4,5,6\n", "pairs": "A,,B,\n1,2,1,3\n2,3,2,4\n3,4,,\n", "rows": "s,1,2,3,4,5\nA,1,2,3,4,5\nB,2,3,4,5,7\n",
		"long": "s,t,y\nA,1,2\nA,2,3\nB,1,2\nB,2,5\n", "blocks": "LN1\n1 2\n2 3\n3 4\n\nLN2\n1 2\n2 3\n3 4\n", "plate": plateText, "header": "Taken;3/4/2031;\nSlit;1,5;\n1;2,5;\n2;3,5;\n3;4,5;\n",
		"jcamp": jcampFile("##FIRSTX= 0\n##DELTAX= 1", "0AJT%jX"), "cansas": sasFile(sasEntry), "book": bookOf(t, nil, map[string][]any{"A1": {"nm", "A"}, "A2": {400, 1}, "A3": {401, 2}, "A4": {402, 4}}),
		"tiff": string(writeTIFF([]tiffShape{grey(3, 2), grey(3, 2)}, func(page, _, x, y int) uint64 { return uint64(page + x*y) })),
		"zip":  string(zipped(t, "a.csv", "1,2\n2,3\n3,5\n")),
	}
}

// A file that ends at any byte is refused, or read as far as it goes; nothing panics, and every error is one line.
func TestTruncated(t *testing.T) {
	for name, data := range samples(t) {
		t.Run(name, func(t *testing.T) {
			whole := Look("raw/file", []byte(data))
			if whole.Error != "" || whole.Items == 0 {
				t.Fatalf("%+v", whole)
			}
			step := 1 + len(data)/400
			for n := 0; n < len(data); n += step {
				v := Look("raw/file", []byte(data[:n]))
				if strings.ContainsAny(v.Error, "\n\r") || v.Error == "" && v.Items == 0 {
					t.Fatalf("%d bytes: error %q, %d items", n, v.Error, v.Items)
				}
				if name == "book" && v.Error == "" {
					t.Fatalf("%d of %d bytes of a workbook were read", n, len(data))
				}
			}
		})
	}
}

// The same text with other line ends, in another encoding and packed holds the same curves.
func TestSameHoweverWritten(t *testing.T) {
	for name, data := range samples(t) {
		switch name {
		case "book", "zip", "tiff":
			continue // no texts
		}
		t.Run(name, func(t *testing.T) {
			curves := func(data string) string {
				v := Look("raw/file", []byte(data))
				b, err := json.Marshal([]any{v.Reader, v.Layout, v.Items, v.Curves, v.Set, v.Ask, v.Error})
				if err != nil {
					t.Fatal(err)
				}
				return string(b)
			}
			want := curves(data)
			var packed bytes.Buffer
			z := gzip.NewWriter(&packed)
			if _, err := z.Write([]byte(data)); err != nil || z.Close() != nil {
				t.Fatal(err)
			}
			var wide []byte
			for _, u := range utf16.Encode([]rune("\uFEFF" + data)) {
				wide = append(wide, byte(u>>8), byte(u))
			}
			for how, text := range map[string]string{"CR LF": strings.ReplaceAll(data, "\n", "\r\n"), "CR": strings.ReplaceAll(data, "\n", "\r"), "mark": "\uFEFF" + data, "gzip": packed.String(), "UTF-16": string(wide)} {
				if d := cmp.Diff(want, curves(text)); d != "" {
					t.Errorf("%s (-want +got):\n%s", how, d)
				}
			}
		})
	}
}

// Whatever bytes a file holds, look says what it holds or why it cannot be imported.
func FuzzLook(f *testing.F) {
	for name, data := range samples(f) {
		if name != "book" { // too large to be changed with profit
			f.Add([]byte(data))
		}
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		v := Look("raw/file", data)
		if v.Error == "" && (v.Items == 0 || len(v.Set) == 0) || strings.ContainsAny(v.Error+v.Ask+strings.Join(v.Set, "")+strings.Join(v.Notes, ""), "\n\r") {
			t.Fatalf("%+v", v)
		}
	})
}

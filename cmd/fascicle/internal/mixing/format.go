package mixing

import (
	"archive/zip"
	"bytes"
	"compress/gzip"
	"strconv"
	"strings"
	"time"
	"unicode/utf16"
)

// form writes a number with so many decimals.
func form(x float64, decimals int) string { return strconv.FormatFloat(x, 'f', decimals, 64) }

// comma writes a number with a decimal comma.
func comma(x float64, decimals int) string {
	return strings.Replace(form(x, decimals), ".", ",", 1)
}

// latin1 encodes text of the first 256 characters with one byte each.
func latin1(s string) []byte {
	var b []byte
	for _, r := range s {
		b = append(b, byte(r))
	}
	return b
}

// utf16le encodes text as Windows programs do: little-endian, with a byte order mark.
func utf16le(s string) []byte {
	b := []byte{0xff, 0xfe}
	for _, u := range utf16.Encode([]rune(s)) {
		b = append(b, byte(u), byte(u>>8))
	}
	return b
}

// compressed packs data with gzip, always to the same bytes.
func compressed(data []byte) ([]byte, error) {
	var packed bytes.Buffer
	z := gzip.NewWriter(&packed)
	if _, err := z.Write(data); err != nil {
		return nil, err
	}
	if err := z.Close(); err != nil {
		return nil, err
	}
	return packed.Bytes(), nil
}

// archive packs files into one, always to the same bytes.
func archive(files []File) ([]byte, error) {
	var packed bytes.Buffer
	z := zip.NewWriter(&packed)
	for _, f := range files {
		w, err := z.CreateHeader(&zip.FileHeader{Name: f.Name, Method: zip.Deflate, Modified: time.Date(2031, 3, 11, 18, 0, 0, 0, time.UTC)})
		if err != nil {
			return nil, err
		}
		if _, err := w.Write(f.Data); err != nil {
			return nil, err
		}
	}
	if err := z.Close(); err != nil {
		return nil, err
	}
	return packed.Bytes(), nil
}

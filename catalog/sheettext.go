package catalog

import (
	"bytes"
	"strconv"
	"strings"
	"unicode/utf8"

	"golang.org/x/text/encoding/charmap"
	"golang.org/x/text/encoding/unicode"

	"fascicle/catalog/fault"
)

const (
	textExpected = "CSV text in UTF-8, UTF-16 or Windows-1252"
	textRemedy   = "save the sheet as CSV in UTF-8"
)

// sheetText is data as text without byte order mark: UTF-8; UTF-16, known by its mark or by its bytes of 0; else Windows-1252, which holds
// Latin-1, and then note says so. What no text holds is refused.
func sheetText(data []byte) (text string, note, f *fault.Fault) {
	if order, ok := utf16Order(data); ok {
		// the decoder skips a mark and turns half characters into U+FFFD
		decoded, err := unicode.UTF16(order, unicode.UseBOM).NewDecoder().Bytes(data)
		text = string(decoded)
		if err != nil || len(data)%2 != 0 || strings.ContainsAny(text, "\uFFFD\x00") {
			return "", nil, &fault.Fault{Found: "damaged text in UTF-16", Expected: textExpected, Remedy: textRemedy}
		}
		return text, nil, nil
	}
	data = bytes.TrimPrefix(data, []byte("\xef\xbb\xbf"))
	if i := bytes.IndexByte(data, 0); i >= 0 {
		return "", nil, textFault(data, i, "a byte 0", textRemedy)
	}
	bad := invalidUTF8(data)
	if bad < 0 {
		return string(data), nil, nil
	}
	for i, c := range data {
		switch c {
		case 0x81, 0x8d, 0x8f, 0x90, 0x9d: // no characters of Windows-1252
			return "", nil, textFault(data, i, byteFound(c)+" that is neither UTF-8 nor Windows-1252", textRemedy)
		}
	}
	decoded, err := charmap.Windows1252.NewDecoder().Bytes(data)
	if err != nil {
		return "", nil, textFault(data, bad, byteFound(data[bad])+" that is not UTF-8", textRemedy)
	}
	note = textFault(data, bad, byteFound(data[bad])+" that is not UTF-8, so the file is read as Windows-1252", "look at µ, °, ± and letters with marks, or save the sheet in UTF-8")
	note.Expected = ""
	return string(decoded), note, nil
}

func byteFound(c byte) string { return "a byte 0x" + strconv.FormatUint(uint64(c), 16) }

// invalidUTF8 is the place of the first byte that is not UTF-8, or -1.
func invalidUTF8(data []byte) int {
	for i := 0; i < len(data); {
		if data[i] < utf8.RuneSelf {
			i++
			continue
		}
		r, size := utf8.DecodeRune(data[i:])
		if r == utf8.RuneError && size == 1 {
			return i
		}
		i += size
	}
	return -1
}

// utf16Order tells whether data is UTF-16, and in which order: by its mark, or by bytes of 0 in every other place, as Latin letters and
// digits have them.
func utf16Order(data []byte) (unicode.Endianness, bool) {
	switch {
	case bytes.HasPrefix(data, []byte("\xff\xfe")):
		return unicode.LittleEndian, true
	case bytes.HasPrefix(data, []byte("\xfe\xff")):
		return unicode.BigEndian, true
	}
	const sample = 512
	head := data[:min(len(data), sample)&^1]
	var zeros [2]int
	for i, c := range head {
		if c == 0 {
			zeros[i%2]++
		}
	}
	most := len(head) / 2 * 3 / 4
	switch {
	case len(head) >= 8 && zeros[0] == 0 && zeros[1] >= most:
		return unicode.LittleEndian, true
	case len(head) >= 8 && zeros[1] == 0 && zeros[0] >= most:
		return unicode.BigEndian, true
	}
	return unicode.LittleEndian, false
}

// textFault is a fault or note at byte i; each byte that is not UTF-8 counts as a character.
func textFault(data []byte, i int, found, remedy string) *fault.Fault {
	line, start := 1, 0
	for k := 0; k < i; k++ {
		if data[k] == '\n' || data[k] == '\r' && data[k+1] != '\n' {
			line, start = line+1, k+1
		}
	}
	return &fault.Fault{Line: line, Col: utf8.RuneCount(data[start:i]) + 1, Found: found, Expected: textExpected, Remedy: remedy}
}

// cutSeparatorLine reads the first line `sep=;` that spreadsheet programs write and heed, and puts an empty line in its place.
func cutSeparatorLine(text string) (rest string, delimiter byte, ok bool) {
	if len(text) >= len("sep=;") && strings.EqualFold(text[:4], "sep=") && strings.IndexByte(",;\t", text[4]) >= 0 {
		if after := text[5:]; after == "" || after[0] == '\r' || after[0] == '\n' {
			return after, text[4], true
		}
	}
	return text, 0, false
}

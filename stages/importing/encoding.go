package importing

import (
	"bytes"
	"encoding/binary"
	"unicode/utf16"
	"unicode/utf8"
)

// plainText turns a file's bytes into text that the readers know: UTF-8 without a byte order mark (or, line by line, Windows-1252, of which Latin-1 is a
// part), with a plain minus before numbers and plain blanks. What is no text is refused.
func plainText(data []byte) ([]byte, []Note, error) {
	var notes []Note
	if little, skip, ok := isUTF16(data); ok {
		data = fromUTF16(data[skip:], little)
		notes = append(notes, Note{Text: "the text is UTF-16; it was converted", Minor: true})
	}
	data = bytes.TrimPrefix(data, []byte("\uFEFF"))
	if len(bytes.TrimSpace(data)) == 0 {
		return nil, nil, &LineError{0, "an empty file", "a table of numbers", "copy it again from the instrument"}
	}
	if i := bytes.IndexByte(data, 0); i >= 0 {
		line := 1
		for k := lineEnd(data, 0); k <= i; k = lineEnd(data, k) {
			line++
		}
		return nil, nil, &LineError{line, "a NUL byte: the file is binary", "text", "export it from the instrument's program as text"}
	}
	if !ascii(data) && hasOddSigns(data) {
		data = plainSigns(data)
	}
	return data, notes, nil
}

// ascii says whether all bytes are below 128.
func ascii(b []byte) bool {
	for len(b) >= 8 {
		if binary.LittleEndian.Uint64(b)&0x8080808080808080 != 0 {
			return false
		}
		b = b[8:]
	}
	for _, c := range b {
		if c >= 0x80 {
			return false
		}
	}
	return true
}

// isUTF16 finds a byte order mark, or text whose every other byte is zero in most places.
func isUTF16(data []byte) (little bool, skip int, ok bool) {
	switch {
	case bytes.HasPrefix(data, []byte{0xFF, 0xFE}):
		return true, 2, true
	case bytes.HasPrefix(data, []byte{0xFE, 0xFF}):
		return false, 2, true
	}
	head := data[:min(len(data), 1024)&^1]
	var zeros [2]int
	for i, c := range head {
		if c == 0 {
			zeros[i&1]++
		}
	}
	n := len(head) / 2
	switch {
	case n < 4 || zeros[0]+zeros[1] == 0:
		return false, 0, false
	case zeros[0] == 0 && zeros[1]*10 >= n*9:
		return true, 0, true
	case zeros[1] == 0 && zeros[0]*10 >= n*9:
		return false, 0, true
	}
	return false, 0, false
}

// fromUTF16 converts UTF-16 to UTF-8; what is no character becomes U+FFFD.
func fromUTF16(b []byte, little bool) []byte {
	u := make([]uint16, len(b)/2)
	for i := range u {
		lo, hi := b[2*i], b[2*i+1]
		if !little {
			lo, hi = hi, lo
		}
		u[i] = uint16(lo) | uint16(hi)<<8
	}
	out := make([]byte, 0, len(u))
	for _, r := range utf16.Decode(u) {
		out = utf8.AppendRune(out, r)
	}
	return out
}

// hasOddSigns says whether plainSigns may find something: a large file with one µ in its header need not be copied.
func hasOddSigns(data []byte) bool {
	for _, sign := range [...]string{"−", "–", "\u00A0", "\u202F", "\u2009", "\u2007"} {
		if bytes.Contains(data, []byte(sign)) {
			return true
		}
	}
	return !utf8.Valid(data) && bytes.IndexByte(data, 0xA0)+bytes.IndexByte(data, 0x96) > -2
}

// plainSigns writes a typographic minus (−, –) before a digit as -, a narrow or unbroken blank between digits, which parts thousands, as ', and any
// other one as a blank. In text that is not UTF-8 it takes the bytes that Windows-1252 has for them.
func plainSigns(data []byte) []byte {
	valid := utf8.Valid(data)
	out := make([]byte, 0, len(data))
	for i := 0; i < len(data); {
		c := data[i]
		if c < 0x80 {
			out = append(out, c)
			i++
			continue
		}
		r, size := utf8.DecodeRune(data[i:])
		if r == utf8.RuneError && size == 1 && !valid {
			switch c {
			case 0xA0:
				r = '\u00A0'
			case 0x96:
				r = '–'
			}
		}
		next := byte(0)
		if i+size < len(data) {
			next = data[i+size]
		}
		switch r {
		case '−', '–':
			if digit(next) || next == '.' || next == ',' {
				out = append(out, '-')
				i += size
				continue
			}
		case '\u00A0', '\u202F', '\u2009', '\u2007':
			if digit(next) && len(out) > 0 && digit(out[len(out)-1]) {
				out = append(out, '\'')
			} else {
				out = append(out, ' ')
			}
			i += size
			continue
		}
		out = append(out, data[i:i+size]...)
		i += size
	}
	return out
}

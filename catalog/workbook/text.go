package workbook

import (
	"encoding/xml"
	"io"
	"strconv"
	"strings"
	"unicode/utf8"

	"fascicle/catalog/fault"
)

// readTexts reads the texts that cells share (ECMA-376 part 1, 18.4).
func (b *Book) readTexts(name string) *fault.Fault {
	r, f := b.open(name)
	if f != nil {
		return f
	}
	defer r.Close()
	d := xml.NewDecoder(r)
	for {
		token, err := d.Token()
		if err == io.EOF {
			return nil
		}
		if err != nil {
			return broken(name, err)
		}
		if start, ok := token.(xml.StartElement); ok && start.Name.Local == "si" {
			text, err := readText(d)
			if err != nil {
				return broken(name, err)
			}
			b.texts = append(b.texts, text)
		}
	}
}

// readText reads the text of an element whose start was read: its t and those of its runs (r), without how they are to be
// spoken (rPh).
func readText(d *xml.Decoder) (string, error) {
	var text strings.Builder
	depth, spoken, inText := 1, 0, false
	for depth > 0 {
		token, err := d.Token()
		if err != nil {
			return "", noEnd(err)
		}
		switch token := token.(type) {
		case xml.StartElement:
			depth++
			if token.Name.Local == "rPh" && spoken == 0 {
				spoken = depth
			}
			inText = token.Name.Local == "t" && spoken == 0
		case xml.EndElement:
			if depth == spoken {
				spoken = 0
			}
			depth--
			inText = false
		case xml.CharData:
			if inText {
				text.Write(token)
			}
		}
	}
	return unescape(text.String()), nil
}

// noEnd is err, or that a part ends too early.
func noEnd(err error) error {
	if err == io.EOF {
		return io.ErrUnexpectedEOF
	}
	return err
}

// unescape reads the characters that XML cannot hold: `_x000D_` is a carriage return (ECMA-376 part 1, 22.9.2.19).
func unescape(s string) string {
	i := strings.Index(s, "_x")
	if i < 0 {
		return s
	}
	var text strings.Builder
	for ; i >= 0; i = strings.Index(s, "_x") {
		text.WriteString(s[:i])
		s = s[i:]
		const form = len("_x000D_")
		code, err := uint64(0), error(strconv.ErrSyntax)
		if len(s) >= form && s[form-1] == '_' {
			code, err = strconv.ParseUint(s[2:form-1], 16, 16)
		}
		if err != nil || !utf8.ValidRune(rune(code)) {
			text.WriteString(s[:2])
			s = s[2:]
			continue
		}
		text.WriteRune(rune(code))
		s = s[form:]
	}
	text.WriteString(s)
	return text.String()
}

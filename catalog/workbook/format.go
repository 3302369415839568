package workbook

import (
	"strings"
	"unicode/utf8"

	"fascicle/catalog/fault"
)

// A Format is what the number format of a style tells about the meaning of a number.
type Format struct {
	Day, Clock bool   // shows a date, a time of day
	Elapsed    bool   // shows a time that has passed: `[h]:mm`
	Percent    bool   // shows hundredths
	Suffix     string // text behind the digits: `0.0" mM"` has the suffix mM
}

// readStyles reads the number format of each style (ECMA-376 part 1, 18.8).
func (b *Book) readStyles(name string) *fault.Fault {
	var doc struct {
		Formats []struct {
			ID   int    `xml:"numFmtId,attr"`
			Code string `xml:"formatCode,attr"`
		} `xml:"numFmts>numFmt"`
		Styles []struct {
			ID int `xml:"numFmtId,attr"`
		} `xml:"cellXfs>xf"`
	}
	if f := b.decode(name, &doc); f != nil {
		return f
	}
	own := make(map[int]Format, len(doc.Formats))
	for _, f := range doc.Formats {
		own[f.ID] = parseFormat(f.Code)
	}
	b.styles = make([]Format, len(doc.Styles))
	for i, s := range doc.Styles {
		if format, ok := own[s.ID]; ok {
			b.styles[i] = format
		} else {
			b.styles[i] = builtIn(s.ID)
		}
	}
	return nil
}

// builtIn gives the formats that are known by their number alone (ECMA-376 part 1, 18.8.30, with those of East Asia).
func builtIn(id int) Format {
	switch {
	case id == 9 || id == 10:
		return Format{Percent: true}
	case id >= 14 && id <= 17, id >= 27 && id <= 31, id == 36, id >= 50 && id <= 54, id >= 57 && id <= 58:
		return Format{Day: true}
	case id >= 18 && id <= 21, id >= 32 && id <= 35, id == 55 || id == 56, id == 45 || id == 47:
		return Format{Clock: true}
	case id == 22:
		return Format{Day: true, Clock: true}
	case id == 46:
		return Format{Elapsed: true}
	}
	return Format{}
}

// parseFormat reads the first section of a number format, that of positive numbers.
func parseFormat(code string) Format {
	var f Format
	var suffix strings.Builder
	minutes, general := false, strings.HasPrefix(strings.ToLower(code), "general")
	if general {
		code = code[len("general"):]
	}
	literal := func(s string) { suffix.WriteString(s) }
	for code != "" {
		c := code[0]
		switch c {
		case ';':
			code = ""
			continue
		case '"':
			text, rest, _ := strings.Cut(code[1:], `"`)
			literal(text)
			code = rest
			continue
		case '\\', '_', '*': // the next character as it is; as a gap; repeated
			_, size := utf8.DecodeRuneInString(code[1:])
			if c == '\\' {
				literal(code[1 : 1+size])
			} else if c == '_' {
				literal(" ")
			}
			code = code[1+size:]
			continue
		case '[':
			inside, rest, _ := strings.Cut(code[1:], "]")
			switch strings.ToLower(inside) {
			case "h", "hh", "m", "mm", "s", "ss":
				f.Elapsed = true
			}
			code = rest
			continue
		case '0', '#', '?':
			suffix.Reset()
		case '%':
			f.Percent = true
		case 'E', 'e':
			if len(code) > 1 && (code[1] == '+' || code[1] == '-') {
				code = code[2:]
				continue
			}
			f.Day = true // the year of an era
		case 'y', 'Y', 'd', 'D':
			f.Day = true
		case 'h', 'H', 's', 'S':
			f.Clock = true
		case 'm', 'M':
			minutes = true
		case 'a', 'A': // AM/PM
			if len(code) >= 5 && strings.EqualFold(code[:5], "AM/PM") {
				f.Clock = true
				code = code[5:]
				continue
			}
		case '.', ',', '/', ':', '@', '-', '+':
		default:
			_, size := utf8.DecodeRuneInString(code)
			literal(code[:size])
			code = code[size:]
			continue
		}
		code = code[1:]
	}
	if minutes && !f.Day && !f.Clock && !f.Elapsed {
		f.Day = true // months
	}
	if f.Elapsed {
		f.Day, f.Clock = false, false
	}
	if !f.Day && !f.Clock && !f.Elapsed && !f.Percent {
		f.Suffix = strings.TrimSpace(suffix.String())
	}
	return f
}

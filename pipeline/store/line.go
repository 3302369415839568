package store

import (
	"errors"
	"fmt"
	"hash/crc64"
	"math"
	"strconv"
	"strings"
	"unicode/utf8"
)

// A line of the index is one JSON object in one spelling: keys in this order, no
// spaces, empty lists and units left out (but "objects" always there), the
// CRC-64 (ECMA) of all bytes before it at the end. It is read by the parser below
// and not by encoding/json: it takes that one spelling only, and a thousand
// lines in about a millisecond.
//
//	{"key":"…","kind":"lifetime.fit","objects":[{"output":"fit","n":0,"lead":0,
//	"fields":[{"name":"rep","type":"text","value":"1"}],"hash":"…","size":1234,
//	"flags":[{"level":"note","text":"…"}]}],"flags":[…],"sum":"0123456789abcdef"}
const (
	lineStart = `{"key":"`
	keyEnd    = len(lineStart) + 64
	sumStart  = `,"sum":"`
	sumLength = len(sumStart) + 16 + len(`"}`)
)

// crcTable is shared and never written to after it is made.
var crcTable = crc64.MakeTable(crc64.ECMA)

// lineKey reads the key of a line without looking at the rest.
func lineKey(s string) (k RecipeKey, ok bool) {
	if len(s) < keyEnd+sumLength || s[:len(lineStart)] != lineStart {
		return k, false
	}
	return k, readHex(k[:], s[len(lineStart):keyEnd])
}

// check refuses what could not be read back.
func (e *Entry) check() error {
	if !utf8.ValidString(e.Kind) {
		return fmt.Errorf("store: kind %q is not UTF-8", e.Kind)
	}
	if err := checkFlags(e.Flags); err != nil {
		return err
	}
	for _, o := range e.Objects {
		if !utf8.ValidString(o.Output) {
			return fmt.Errorf("store: output %q is not UTF-8", o.Output)
		}
		if o.N < 0 || o.Lead < -1 || o.Size < 0 || o.N > math.MaxInt32 || o.Lead > math.MaxInt32 {
			return fmt.Errorf("store: output %s: found number %d, lead item %d and size %d; expected them from 0 (lead item from -1)", o.Output, o.N, o.Lead, o.Size)
		}
		for _, f := range o.Fields {
			if !utf8.ValidString(f.Name) || !utf8.ValidString(f.Type) || !utf8.ValidString(f.Value) || !utf8.ValidString(f.Unit) {
				return fmt.Errorf("store: output %s: field %q with value %q is not UTF-8", o.Output, f.Name, f.Value)
			}
		}
		if err := checkFlags(o.Flags); err != nil {
			return err
		}
	}
	return nil
}

func checkFlags(flags []Flag) error {
	for _, f := range flags {
		if !utf8.ValidString(f.Level) || !utf8.ValidString(f.Text) {
			return fmt.Errorf("store: message %q is not UTF-8", f.Text)
		}
	}
	return nil
}

// appendLine writes an entry that check has passed, without the line's end.
func appendLine(b []byte, e *Entry) []byte {
	start := len(b)
	b = append(b, lineStart...)
	b = appendHex(b, e.Key[:])
	b = append(b, `","kind":`...)
	b = appendString(b, e.Kind)
	b = append(b, `,"objects":[`...)
	for i := range e.Objects {
		if i > 0 {
			b = append(b, ',')
		}
		b = appendObject(b, &e.Objects[i])
	}
	b = append(b, ']')
	b = appendFlags(b, e.Flags)
	sum := crc64.Checksum(b[start:], crcTable)
	b = append(b, sumStart...)
	b = appendSum(b, sum)
	return append(b, `"}`...)
}

func appendObject(b []byte, o *Object) []byte {
	b = append(b, `{"output":`...)
	b = appendString(b, o.Output)
	b = append(b, `,"n":`...)
	b = strconv.AppendInt(b, int64(o.N), 10)
	b = append(b, `,"lead":`...)
	b = strconv.AppendInt(b, int64(o.Lead), 10)
	if len(o.Fields) > 0 {
		b = append(b, `,"fields":[`...)
		for i, f := range o.Fields {
			if i > 0 {
				b = append(b, ',')
			}
			b = append(b, `{"name":`...)
			b = appendString(b, f.Name)
			b = append(b, `,"type":`...)
			b = appendString(b, f.Type)
			b = append(b, `,"value":`...)
			b = appendString(b, f.Value)
			if f.Unit != "" {
				b = append(b, `,"unit":`...)
				b = appendString(b, f.Unit)
			}
			b = append(b, '}')
		}
		b = append(b, ']')
	}
	b = append(b, `,"hash":"`...)
	b = appendHex(b, o.Hash[:])
	b = append(b, `","size":`...)
	b = strconv.AppendInt(b, o.Size, 10)
	b = appendFlags(b, o.Flags)
	return append(b, '}')
}

func appendFlags(b []byte, flags []Flag) []byte {
	if len(flags) == 0 {
		return b
	}
	b = append(b, `,"flags":[`...)
	for i, f := range flags {
		if i > 0 {
			b = append(b, ',')
		}
		b = append(b, `{"level":`...)
		b = appendString(b, f.Level)
		b = append(b, `,"text":`...)
		b = appendString(b, f.Text)
		b = append(b, '}')
	}
	return append(b, ']')
}

const hexDigits = "0123456789abcdef"

func appendHex(b, src []byte) []byte {
	for _, c := range src {
		b = append(b, hexDigits[c>>4], hexDigits[c&15])
	}
	return b
}

// appendSum writes a CRC-64 as 16 digits.
func appendSum(b []byte, sum uint64) []byte {
	for shift := 60; shift >= 0; shift -= 4 {
		b = append(b, hexDigits[sum>>shift&15])
	}
	return b
}

// appendString escapes what JSON demands, each in one way only: \" and \\ and
// \u00xx for the controls below space.
func appendString(b []byte, s string) []byte {
	b = append(b, '"')
	for i := range len(s) {
		switch c := s[i]; {
		case c == '"' || c == '\\':
			b = append(b, '\\', c)
		case c < ' ':
			b = append(b, `\u00`...)
			b = append(b, hexDigits[c>>4], hexDigits[c&15])
		default:
			b = append(b, c)
		}
	}
	return append(b, '"')
}

var errLine = errors.New("store: a damaged line of the index")

// parseLine reads what appendLine wrote, after its checksum. Strings share
// memory with the line.
func parseLine(line string) (*Entry, error) {
	if len(line) < keyEnd+sumLength {
		return nil, errLine
	}
	body, end := line[:len(line)-sumLength], line[len(line)-sumLength:]
	var sum [8]byte
	if end[:len(sumStart)] != sumStart || end[sumLength-2:] != `"}` || !readHex(sum[:], end[len(sumStart):sumLength-2]) {
		return nil, errLine
	}
	if crcOf(body) != be64(sum) {
		return nil, errLine
	}
	p := parser{s: body}
	e := &Entry{}
	p.want(lineStart)
	p.hex(e.Key[:])
	p.want(`","kind":`)
	e.Kind = p.text()
	p.want(`,"objects":[`)
	if !p.take("]") {
		e.Objects = make([]Object, 0, strings.Count(body, `{"output":`)) // a guess: texts may hold it too
		for p.ok() {
			e.Objects = append(e.Objects, p.object())
			if !p.take(",") {
				break
			}
		}
		p.want("]")
	}
	e.Flags = p.flags()
	if !p.ok() || p.at != len(p.s) {
		return nil, errLine
	}
	return e, nil
}

func be64(b [8]byte) (v uint64) {
	for _, c := range b {
		v = v<<8 | uint64(c)
	}
	return v
}

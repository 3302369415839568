package store

import (
	"hash/crc64"
	"math"
	"strings"
	"unicode/utf8"
	"unsafe"
)

// parser reads a line from the left. After the first thing that is not as it
// should be, bad is set and everything else gives zero values.
type parser struct {
	s   string
	at  int
	bad bool
}

func (p *parser) ok() bool { return !p.bad }

// take moves past s if it comes next.
func (p *parser) take(s string) bool {
	if p.bad || !strings.HasPrefix(p.s[p.at:], s) {
		return false
	}
	p.at += len(s)
	return true
}

func (p *parser) want(s string) {
	if !p.take(s) {
		p.bad = true
	}
}

func (p *parser) hex(dst []byte) {
	if p.bad || len(p.s)-p.at < 2*len(dst) || !readHex(dst, p.s[p.at:p.at+2*len(dst)]) {
		p.bad = true
		return
	}
	p.at += 2 * len(dst)
}

// number reads a whole number from least to most, without leading zeros.
func (p *parser) number(least, most int64) int64 {
	if p.bad {
		return 0
	}
	if least == -1 && p.take("-1") {
		return -1
	}
	start, v := p.at, int64(0)
	for p.at < len(p.s) && p.s[p.at] >= '0' && p.s[p.at] <= '9' {
		d := int64(p.s[p.at] - '0')
		if v > (most-d)/10 {
			p.bad = true
			return 0
		}
		v = 10*v + d
		p.at++
	}
	if p.at == start || p.s[start] == '0' && p.at > start+1 {
		p.bad = true
		return 0
	}
	return v
}

// text reads a string as appendString wrote it.
func (p *parser) text() string {
	p.want(`"`)
	if p.bad {
		return ""
	}
	start, ascii := p.at, true
	for i := start; i < len(p.s); i++ {
		switch c := p.s[i]; {
		case c == '"':
			s := p.s[start:i]
			p.at = i + 1
			if !ascii && !utf8.ValidString(s) {
				p.bad = true
				return ""
			}
			return s
		case c == '\\':
			return p.escaped(start, i)
		case c < ' ':
			p.bad = true
			return ""
		case c >= utf8.RuneSelf:
			ascii = false
		}
	}
	p.bad = true
	return ""
}

// escaped reads a string whose first escape is at i.
func (p *parser) escaped(start, i int) string {
	var b strings.Builder
	b.WriteString(p.s[start:i])
	for i < len(p.s) {
		c := p.s[i]
		i++
		switch {
		case c == '"':
			p.at = i
			if s := b.String(); utf8.ValidString(s) {
				return s
			}
			p.bad = true
			return ""
		case c == '\\':
			var control [2]byte // 00xx
			switch {
			case strings.HasPrefix(p.s[i:], `"`) || strings.HasPrefix(p.s[i:], `\`):
				b.WriteByte(p.s[i])
				i++
			case strings.HasPrefix(p.s[i:], "u") && len(p.s) >= i+5 && readHex(control[:], p.s[i+1:i+5]) && control[0] == 0 && control[1] < ' ':
				b.WriteByte(control[1])
				i += 5
			default:
				p.bad = true
				return ""
			}
		case c < ' ':
			p.bad = true
			return ""
		default:
			b.WriteByte(c)
		}
	}
	p.bad = true
	return ""
}

func (p *parser) object() (o Object) {
	p.want(`{"output":`)
	o.Output = p.text()
	p.want(`,"n":`)
	o.N = int(p.number(0, math.MaxInt32))
	p.want(`,"lead":`)
	o.Lead = int(p.number(-1, math.MaxInt32))
	if p.take(`,"fields":[`) {
		for p.ok() {
			o.Fields = append(o.Fields, p.field())
			if !p.take(",") {
				break
			}
		}
		p.want("]")
	}
	p.want(`,"hash":"`)
	p.hex(o.Hash[:])
	p.want(`","size":`)
	o.Size = p.number(0, math.MaxInt64)
	o.Flags = p.flags()
	p.want("}")
	return o
}

func (p *parser) field() (f Field) {
	p.want(`{"name":`)
	f.Name = p.text()
	p.want(`,"type":`)
	f.Type = p.text()
	p.want(`,"value":`)
	f.Value = p.text()
	if p.take(`,"unit":`) {
		if f.Unit = p.text(); f.Unit == "" {
			p.bad = true // an empty one is left out
		}
	}
	p.want("}")
	return f
}

func (p *parser) flags() (flags []Flag) {
	if !p.take(`,"flags":[`) {
		return nil
	}
	for p.ok() {
		p.want(`{"level":`)
		level := p.text()
		p.want(`,"text":`)
		flags = append(flags, Flag{Level: level, Text: p.text()})
		p.want("}")
		if !p.take(",") {
			break
		}
	}
	p.want("]")
	return flags
}

// crcOf is the checksum of a string, without copying it.
func crcOf(s string) uint64 {
	return crc64.Checksum(unsafe.Slice(unsafe.StringData(s), len(s)), crcTable)
}

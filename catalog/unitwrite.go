package catalog

import (
	"strconv"
	"strings"
)

// Code is the case-sensitive UCUM code of the unit in one spelling: "nm", "1/nm", "mmol/L", "1/Ao", "Cel", "%", "1",
// "L/(mol.cm)". ParseUnit reads every code back. Counts have no code of their own and are "1", kcps is "10*3/s", Da is
// g/mol. One over ampere is written "1/(A)", since "1/A" stands for 1/Å in the files of the field.
func (u Unit) Code() string {
	d := u.data()
	if !d.dim.valid() {
		return "out of range"
	}
	up, down := split(d.code)
	if len(up)+len(down) == 0 {
		return "1"
	}
	write := func(terms []term) string {
		var b strings.Builder
		for i, t := range terms {
			if i > 0 {
				b.WriteByte('.')
			}
			b.WriteString(t.name)
			if t.exp != 1 || t.name == "10*" {
				b.WriteString(strconv.Itoa(t.exp))
			}
		}
		return b.String()
	}
	return ratio(write(up), write(down), len(down), d.loneAmpere())
}

// Symbol is the unit as people write it: "Å⁻¹", "°C", "mmol/L", "W/(m²·sr·nm)"; "" for 1. ParseUnit reads every symbol
// back.
func (u Unit) Symbol() string {
	d := u.data()
	if !d.dim.valid() {
		return "out of range"
	}
	up, down := split(d.symbol)
	if len(up) == 0 && !d.loneAmpere() {
		return writePowers(d.symbol, "·")
	}
	return ratio(writePowers(up, "·"), writePowers(down, "·"), len(down), d.loneAmpere())
}

// String is the Code.
func (u Unit) String() string { return u.Code() }

// ratio writes up/down, with brackets where down has several terms or would be misread.
func ratio(up, down string, terms int, brackets bool) string {
	if terms == 0 {
		return up
	}
	if up == "" {
		up = "1"
	}
	if terms > 1 || brackets {
		return up + "/(" + down + ")"
	}
	return up + "/" + down
}

// loneAmpere tells whether the unit is a negative power of ampere alone, which without brackets reads as one of Å.
func (d unitData) loneAmpere() bool {
	return len(d.code) == 1 && d.code[0].name == "A" && d.code[0].exp < 0
}

// split parts the terms into those above and those below the line, the latter with positive powers. A power of ten stays
// above, where its sign is part of its code.
func split(terms []term) (up, down []term) {
	for _, t := range terms {
		if t.exp < 0 && t.name != "10*" && t.name != "10" {
			down = append(down, term{t.name, -t.exp})
		} else {
			up = append(up, t)
		}
	}
	return up, down
}

var superscripts = [...]string{"⁰", "¹", "²", "³", "⁴", "⁵", "⁶", "⁷", "⁸", "⁹"}

// writePowers writes the terms with superscript powers: `mol⁻¹·cm⁻¹`.
func writePowers(terms []term, dot string) string {
	var b strings.Builder
	for i, t := range terms {
		if i > 0 {
			b.WriteString(dot)
		}
		b.WriteString(t.name)
		if t.exp == 1 && t.name != "10" {
			continue
		}
		for _, c := range strconv.Itoa(t.exp) {
			if c == '-' {
				b.WriteString("⁻")
			} else {
				b.WriteString(superscripts[c-'0'])
			}
		}
	}
	return b.String()
}

package catalog

import (
	"math/big"
	"regexp"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	"fascicle/catalog/fault"
)

// longest spelling of a unit that is read, in bytes
const longestUnit = 200

// ParseUnit reads a unit as laboratories spell it: `nm`, `Å`, `1/nm`, `Å⁻¹`, `A^-1`, `mM`, `mmol/L`, `°C`, `L/(mol.cm)`,
// `mol⁻¹ cm⁻¹ L`, `M⁻¹cm⁻¹`, `kcps`, `wt%`, `O.D.`, `mg per mL`, and UCUM codes; `1` and the empty text are the dimensionless 1.
//
// Products are written with `.`, `·`, `*` or a space, quotients with `/`, powers as `2`, `^2`, `²`, `^-1`, `-1` or `⁻¹`.
// A product behind a quotient needs brackets: `L/mol.cm` is refused, because UCUM reads it as (L/mol)·cm and most people do
// not. `A` is ampere, but where it stands alone below the line (`1/A`, `A^-1`, `A⁻²`) it is Å, as in the files of the
// field; `1/(A)` is one over ampere.
//
// The error is a *fault.Fault without a place.
func ParseUnit(s string) (Unit, error) {
	text := tidyUnit(s)
	if text == "" || text == "1" {
		return Unit{}, nil
	}
	if len(text) > longestUnit {
		return Unit{}, unitFault(s[:min(len(s), 20)]+"…", "a unit of at most "+strconv.Itoa(longestUnit)+" characters", "")
	}
	if code, ok := phrases[text]; ok {
		return ParseUnit(code)
	}
	p := unitParser{whole: s, s: text}
	u, f := p.product(0)
	if f == nil && p.s != "" {
		f = p.stop()
	}
	if f != nil {
		return Unit{}, f
	}
	// the field writes 1/A for 1/Å: see above
	if !p.bracket && u.data().loneAmpere() {
		return atoms["Ao"].unit().Pow(u.d.code[0].exp), nil
	}
	if !u.Dim().valid() {
		return Unit{}, unitFault(s, "powers of at most "+strconv.Itoa(maxPower), "")
	}
	return u, nil
}

func unitFault(text, expected, remedy string) *fault.Fault {
	return &fault.Fault{Found: "unit " + strconv.Quote(text), Expected: expected, Remedy: remedy}
}

var unitTidier = strings.NewReplacer(
	"\u212B", "Å", "A\u030A", "Å", "\u212A", "K", "\u2126", "Ω", "\u00B5", "u", "\u03BC", "u", "\u00BA", "°", "\u2103", "°C",
	"\u2212", "-", "\u2011", "-", "\u2013", "-", "\u00B7", ".", "\u22C5", ".", "\u2022", ".", "\u2219", ".",
	"\u02DA", "°", "\u00A0", " ", "\u2009", " ", "\u202F", " ", "\u2007", " ", "**", "^",
)

// spelledDegrees are degrees of temperature in words, which would read as a product of an angle.
var spelledDegrees = regexp.MustCompile(`(?:\bdeg(?:rees?)?\.? +|° +)(?:(C|[Cc]el(?:sius)?)|(K|[Kk]elvin))\b`)

// tidyUnit gives the characters that have several code points one, and trims.
func tidyUnit(s string) string {
	for i := 0; i < len(s); i++ {
		if s[i] >= utf8.RuneSelf || s[i] == '*' {
			s = unitTidier.Replace(s)
			break
		}
	}
	if strings.Contains(s, "deg") || strings.Contains(s, "° ") {
		s = spelledDegrees.ReplaceAllStringFunc(s, func(m string) string {
			if last := m[strings.LastIndexByte(m, ' ')+1]; last == 'K' || last == 'k' {
				return "K"
			}
			return "Cel"
		})
	}
	if strings.Contains(s, " per ") {
		s = strings.ReplaceAll(s, " per ", "/")
	}
	return strings.TrimSpace(s)
}

type unitParser struct {
	whole   string // as written, for messages
	s       string // what is left
	bracket bool   // brackets were met
	powered bool   // the last factor had a power
}

const deepestBrackets = 8

// product reads factors up to the end or a closing bracket.
func (p *unitParser) product(depth int) (Unit, *fault.Fault) {
	var u Unit
	divide, divided, first := false, false, true
	p.spaces()
	if strings.HasPrefix(p.s, "/") {
		p.s, divide, divided = p.s[1:], true, true
	}
	for {
		p.spaces()
		f, bad := p.factor(depth)
		if bad != nil {
			return Unit{}, bad
		}
		switch {
		case divide:
			u = u.Div(f)
		case first:
			u = f // keeps °C as it is
		default:
			u = u.Mul(f)
		}
		first = false

		spaced := p.spaces()
		switch {
		case p.s == "" || p.s[0] == ')':
			return u, nil
		case p.s[0] == '/':
			p.s, divide, divided = p.s[1:], true, true
		case p.s[0] == '.' || p.s[0] == '*' || spaced:
			if p.s[0] == '.' || p.s[0] == '*' {
				p.s = p.s[1:]
			}
			if divided {
				return Unit{}, unitFault(p.whole, "one reading", "write what stands below the line in brackets, as in L/(mol.cm)")
			}
			divide = false
		case p.powered && !divided && p.letterNext(): // M⁻¹cm⁻¹
			divide = false
		default:
			return Unit{}, p.stop()
		}
	}
}

// letterNext tells whether a letter follows.
func (p *unitParser) letterNext() bool {
	r, _ := utf8.DecodeRuneInString(p.s)
	return unicode.IsLetter(r)
}

// factor reads one unit with its power, or a product in brackets.
func (p *unitParser) factor(depth int) (Unit, *fault.Fault) {
	p.powered = false
	if p.s == "" {
		return Unit{}, unitFault(p.whole, "a unit at its end", "")
	}
	if p.s[0] == '(' {
		if depth == deepestBrackets {
			return Unit{}, unitFault(p.whole, "at most "+strconv.Itoa(deepestBrackets)+" brackets within each other", "")
		}
		p.s, p.bracket = p.s[1:], true
		u, bad := p.product(depth + 1)
		if bad != nil {
			return Unit{}, bad
		}
		if p.s == "" {
			return Unit{}, unitFault(p.whole, "a closing bracket", "")
		}
		p.s = p.s[1:]
		return p.power(u)
	}
	if p.s[0] >= '0' && p.s[0] <= '9' {
		return p.digits()
	}
	if p.s[0] == '{' { // an annotation of UCUM says what is counted
		end := strings.IndexByte(p.s, '}')
		if end < 0 {
			return Unit{}, unitFault(p.whole, "a closing }", "")
		}
		p.s = p.s[end+1:]
		return Unit{}, nil
	}
	name := p.name()
	if name == "" {
		return Unit{}, p.stop()
	}
	u, ok := lookupUnit(name)
	if !ok {
		return Unit{}, unknownUnit(p.whole)
	}
	return p.power(u)
}

const (
	unitForms       = "a unit such as nm, 1/nm, mmol/L or L/(mol.cm)"
	unknownUnitWord = "unknown unit "
)

// unknownUnit is the fault about text that is no unit, with the nearest common one.
func unknownUnit(text string) *fault.Fault {
	found, remedy := fault.Unknown("unit", strings.TrimSpace(text), common)
	return &fault.Fault{Found: found, Remedy: remedy}
}

// digits reads the 1 of `1/s`, or a power of ten: `10*3`, `10^3`, `10³`.
func (p *unitParser) digits() (Unit, *fault.Fault) {
	if strings.HasPrefix(p.s, "10*") || strings.HasPrefix(p.s, "10^") {
		p.s = p.s[3:]
		n, ok := p.integer()
		if !ok {
			return Unit{}, p.stop()
		}
		return p.powerOfTen(n)
	}
	if strings.HasPrefix(p.s, "10") {
		p.s = p.s[2:]
		if n, ok := p.superscript(); ok {
			return p.powerOfTen(n)
		}
		return Unit{}, p.noNumbers()
	}
	if p.s[0] == '1' && (len(p.s) == 1 || p.s[1] < '0' || p.s[1] > '9') {
		p.s = p.s[1:]
		return Unit{}, nil
	}
	return Unit{}, p.noNumbers()
}

func (p *unitParser) noNumbers() *fault.Fault {
	return unitFault(p.whole, "no number but 1 or a power of ten (10^3) in a unit", "")
}

func (p *unitParser) powerOfTen(n int) (Unit, *fault.Fault) {
	if n < -30 || n > 30 {
		return Unit{}, unitFault(p.whole, "a power of ten between -30 and 30", "")
	}
	if n == 0 {
		return Unit{}, nil
	}
	factor := ratPow10(n)
	return Unit{d: &unitData{factor: factor, code: []term{{"10*", n}}, symbol: []term{{"10", n}}}}, nil
}

// power reads the power behind a unit, if there is one.
func (p *unitParser) power(u Unit) (Unit, *fault.Fault) {
	n, ok := p.superscript()
	if !ok && p.s != "" {
		switch c := p.s[0]; {
		case c == '^':
			p.s = p.s[1:]
			if n, ok = p.integer(); !ok {
				return Unit{}, unitFault(p.whole, "a whole number as power", "write it as in cm^-1 or cm-1")
			}
		case c == '-' || c == '+' || '0' <= c && c <= '9':
			if n, ok = p.integer(); !ok {
				return Unit{}, p.stop()
			}
		}
	}
	p.powered = ok
	if !ok {
		return u, nil
	}
	if n < -24 || n > 24 {
		return Unit{}, unitFault(p.whole, "powers between -24 and 24", "")
	}
	return u.Pow(n), nil
}

// integer reads a signed whole number of at most 3 digits, perhaps in brackets: nm^(-1), nm^{-1}.
func (p *unitParser) integer() (int, bool) {
	s, bracket := p.s, ""
	if strings.HasPrefix(s, "(") {
		s, bracket = s[1:], ")"
	} else if strings.HasPrefix(s, "{") {
		s, bracket = s[1:], "}"
	}
	end := 0
	if end < len(s) && (s[end] == '-' || s[end] == '+') {
		end++
	}
	for end < len(s) && s[end] >= '0' && s[end] <= '9' {
		end++
	}
	n, err := strconv.Atoi(s[:end])
	if err != nil || end > 4 {
		return 0, false
	}
	s = s[end:]
	after, ok := strings.CutPrefix(s, bracket)
	if !ok {
		return 0, false
	}
	s = after
	p.s = s
	return n, true
}

// superscript reads a power in superscript digits.
func (p *unitParser) superscript() (int, bool) {
	s, sign, n, digits := p.s, 1, 0, 0
	if rest, ok := strings.CutPrefix(s, "⁻"); ok {
		s, sign = rest, -1
	}
next:
	for digits < 3 {
		for d, text := range superscripts {
			if rest, ok := strings.CutPrefix(s, text); ok {
				s, n, digits = rest, 10*n+d, digits+1
				continue next
			}
		}
		break
	}
	if digits == 0 {
		return 0, false
	}
	p.s = s
	return sign * n, true
}

// name reads letters and signs that make the name of a unit, or a UCUM name in square brackets.
func (p *unitParser) name() string {
	if p.s[0] == '[' {
		end := strings.IndexByte(p.s, ']')
		name := p.s[:end+1]
		p.s = p.s[end+1:]
		return name
	}
	end := strings.IndexFunc(p.s, func(r rune) bool {
		return !unicode.IsLetter(r) && r != '°' && r != '%' && r != '‰' && r != '_'
	})
	if end < 0 {
		end = len(p.s)
	}
	name := p.s[:end]
	p.s = p.s[end:]
	return name
}

// spaces skips spaces and tells whether there were any.
func (p *unitParser) spaces() bool {
	n := len(p.s)
	p.s = strings.TrimLeft(p.s, " \t")
	return len(p.s) < n
}

// stop is the fault about what cannot be read where the parser stands.
func (p *unitParser) stop() *fault.Fault {
	if p.s == "" {
		return unitFault(p.whole, "a unit at its end", "")
	}
	r, _ := utf8.DecodeRuneInString(p.s)
	return unitFault(p.whole, unitForms, "remove "+strconv.Quote(string(r))+" or what is wrong before it")
}

// lookupUnit finds a unit by its name, first as it is, then as prefix and name.
func lookupUnit(name string) (Unit, bool) {
	if a, ok := lookupAtom(name); ok {
		return a.unit(), true
	}
	if full, ok := words[strings.ToLower(name)]; ok {
		name = full
	}
	for _, pre := range prefixes {
		rest, ok := strings.CutPrefix(name, pre.letter)
		if !ok {
			continue
		}
		if a, ok := lookupAtom(rest); ok && strings.Contains(a.prefixes, pre.letter) {
			return a.prefixed(pre), true
		}
	}
	return Unit{}, false
}

func lookupAtom(name string) (atom, bool) {
	if a, ok := atoms[name]; ok {
		return a, true
	}
	a, ok := atoms[spellings[name]]
	return a, ok
}

func (a atom) unit() Unit {
	d := &unitData{dim: a.dim, factor: mustRat(a.factor), code: a.code, symbol: a.symbol}
	if a.offset != "" {
		d.offset = mustRat(a.offset)
	}
	return Unit{d: d}
}

// prefixed is the atom with a prefix. The prefix joins the first name of the code where that stands above the line, as in
// mmol/L; else it is a power of ten, as in 10*3/s.
func (a atom) prefixed(pre prefix) Unit {
	u := a.unit()
	u.d.factor.Mul(u.d.factor, ratPow10(pre.exp))
	u.d.symbol = append([]term(nil), a.symbol...)
	u.d.symbol[0].name = pre.symbol + u.d.symbol[0].name
	if len(a.code) > 0 && a.code[0].exp == 1 {
		u.d.code = append([]term(nil), a.code...)
		u.d.code[0].name = pre.letter + u.d.code[0].name
	} else {
		u.d.code = append([]term{{"10*", pre.exp}}, a.code...)
	}
	return u
}

func mustRat(s string) *big.Rat {
	r, ok := new(big.Rat).SetString(s)
	if !ok {
		panic("catalog: bad factor in the table of units: " + s)
	}
	return r
}

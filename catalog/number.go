package catalog

import (
	"cmp"
	"errors"
	"math"
	"math/big"
	"strconv"
	"strings"
	"unicode/utf8"

	"fascicle/catalog/fault"
)

// A Number is a value with its standard uncertainty and its unit, as a person wrote it (JCGM 100:2008, 7.2.2).
type Number struct {
	Value   float64 // in Unit
	U       float64 // standard uncertainty in Unit; 0 when HasU is false
	Nu      float64 // degrees of freedom of U (JCGM 100:2008, G.3); 0: infinite, or HasU is false
	HasU    bool
	Unit    Unit
	HasUnit bool   // false: a bare number
	Text    string // as written, without spaces around it

	value, u exact // what Value and U were rounded from
}

// exact is a number before rounding: as it was written, or as exact arithmetic left it.
type exact struct {
	decimal decimal
	rat     *big.Rat
}

// of gives the exact number that rounds to f: the one kept, unless somebody has set another f since, whose shortest decimal
// is then meant.
func (e exact) of(f float64) (*big.Rat, bool) {
	if e.rat != nil {
		if g, _ := e.rat.Float64(); g == f {
			return e.rat, true
		}
	} else if e.decimal.digits != "" {
		if g, err := e.decimal.float(); err == nil && g == f {
			return e.decimal.rat(), true
		}
	}
	if math.IsNaN(f) || math.IsInf(f, 0) {
		return nil, false
	}
	return new(big.Rat).SetString(strconv.FormatFloat(f, 'e', -1, 64))
}

const numberForms = "a number such as 12.5 mm, 1.003(4) cm or 1.003 ± 0.004 cm"

// longestNumber is the longest text, in bytes, that is read as a number.
const longestNumber = 400

// ParseNumber reads a number with or without standard uncertainty and unit:
//
//	-3.5    10.00(2) mm    1.2(3)e-4 mol/L    12.3(1.5) ns    1.003 ± 0.004 cm    (1.003 +- 0.004)e2 cm    5 %    0.1 1/nm
//	215(9.7) nm; nu 25.6
//
// Whole digits in brackets count in the last place of the value; with a point they are the uncertainty itself. An uncertainty
// may be larger than the value (see UExceedsValue), and none is negative. Behind a semicolon stand the degrees of freedom of the
// uncertainty, a number above 0 (`nu 25.6`, `nu = 25.6`, `ν 25.6`); without them they are infinite. The decimal sign is the
// point. The error is a *fault.Fault without a place; where the number is sound and its unit is not known, Found begins with
// the words `unknown unit`, and Remedy names the nearest one.
func ParseNumber(s string) (Number, error) {
	n := Number{Text: strings.TrimSpace(s)}
	text := tidyNumber(n.Text)
	if len(text) > longestNumber {
		return Number{}, numberFault(text[:20]+"…", numberForms, "")
	}
	text, nu, hasNu := strings.Cut(text, ";")
	rest, f := n.scan(strings.TrimSpace(text))
	if f == nil && hasNu {
		f = n.scanNu(nu)
	}
	if f != nil {
		return Number{}, f
	}
	if rest == "" {
		return n, nil
	}
	if rest[0] == ',' && len(rest) > 1 && '0' <= rest[1] && rest[1] <= '9' {
		return Number{}, numberFault(n.Text, "a decimal point", "write a point, and nothing between thousands")
	}
	if c := rest[0]; c == '_' || '0' <= c && c <= '9' && !unitBegins(rest) || strings.Contains(rest, "+-") || strings.Contains(rest, "+/-") {
		return Number{}, numberFault(n.Text, numberForms, "")
	}
	u, err := ParseUnit(rest)
	if f := (*fault.Fault)(nil); errors.As(err, &f) && strings.HasPrefix(f.Found, unknownUnitWord) {
		return Number{}, &fault.Fault{Found: f.Found + " in " + strconv.Quote(n.Text), Expected: unitForms, Remedy: cmp.Or(f.Remedy, "correct the unit")}
	}
	if err != nil {
		return Number{}, &fault.Fault{Found: strconv.Quote(n.Text), Expected: numberForms, Err: err}
	}
	n.Unit, n.HasUnit = u, true
	return n, nil
}

// unitBegins tells whether digits begin a unit, as in 0.1 1/nm, and are no second number, as in 1 000.
func unitBegins(rest string) bool {
	after, ok := strings.CutPrefix(rest, "10")
	if ok {
		return after != "" && (after[0] == '*' || after[0] == '^' || after[0] >= utf8.RuneSelf)
	}
	return strings.HasPrefix(rest, "1/") || strings.HasPrefix(rest, "1 /")
}

func numberFault(text, expected, remedy string) *fault.Fault {
	return &fault.Fault{Found: strconv.Quote(text), Expected: expected, Remedy: remedy}
}

var numberTidier = strings.NewReplacer("\u2212", "-", "\u00B1", "+-", "\u00A0", " ", "\u2009", " ", "\u202F", " ", "\u2007", " ")

func tidyNumber(s string) string {
	for i := 0; i < len(s); i++ {
		if s[i] >= utf8.RuneSelf {
			return strings.TrimSpace(numberTidier.Replace(s))
		}
	}
	return s
}

// scan reads value and uncertainty at the start of s and gives what is left for the unit.
func (n *Number) scan(s string) (rest string, f *fault.Fault) {
	bad := func() (string, *fault.Fault) {
		if n.Text == "" {
			return "", &fault.Fault{Found: "nothing", Expected: numberForms}
		}
		return "", numberFault(n.Text, numberForms, "")
	}
	inner, grouped := s, false
	if negativeU(s) {
		return "", numberFault(n.Text, "an uncertainty of 0 or more", "remove the sign of the uncertainty")
	}
	if strings.HasPrefix(s, "(") {
		end := strings.IndexByte(s, ')')
		if end < 0 || !strings.Contains(s[:end], "+") {
			return bad()
		}
		inner, rest, grouped = strings.TrimSpace(s[1:end]), s[end+1:], true
	}

	value, u, after, ok := scanValue(inner)
	if !ok {
		return bad()
	}
	hasU := u.digits != ""
	if second, found := cutPlusMinus(after); found {
		if hasU {
			return bad()
		}
		if u, after, ok = scanUnsigned(second); !ok {
			return bad()
		}
		hasU = true
	} else if grouped {
		return bad()
	}
	if grouped {
		if strings.TrimSpace(after) != "" {
			return bad()
		}
		exp, after, _ := scanExponent(rest)
		value.exp += exp
		u.exp += exp
		rest = after
	} else {
		rest = after
	}

	var err error
	if n.Value, err = value.float(); err == nil && hasU {
		n.U, err = u.float()
	}
	if err != nil {
		return "", numberFault(n.Text, err.Error(), "")
	}
	n.HasU, n.value.decimal, n.u.decimal = hasU, value, u
	return strings.TrimSpace(rest), nil
}

// negativeU tells whether what stands where the uncertainty does begins with a minus, as in 10(-2) and 1.2 ± -0.1.
func negativeU(s string) bool {
	_, rest := scanDecimal(strings.TrimLeft(s, "(+- "))
	if strings.HasPrefix(rest, "(-") {
		return true
	}
	_, rest, _ = scanExponent(rest)
	u, found := cutPlusMinus(rest)
	return found && strings.HasPrefix(u, "-")
}

const nuForms = "degrees of freedom above 0, as in 215(9.7) nm; nu 25.6"

// scanNu reads what stands behind the semicolon: `nu 25.6`.
func (n *Number) scanNu(s string) *fault.Fault {
	s = strings.TrimSpace(s)
	word := strings.TrimPrefix(s, "nu")
	if word == s {
		word = strings.TrimPrefix(s, "\u03BD")
	}
	sign := strings.TrimLeft(word, " \t")
	digits := strings.TrimLeft(strings.TrimPrefix(sign, "="), " \t")
	d, rest, ok := scanUnsigned(digits)
	if word == s || digits == word || !ok || rest != "" { // digits == word: neither a space nor a sign in between
		remedy := ""
		if strings.HasPrefix(strings.ToLower(strings.TrimLeft(digits, "+")), "inf") {
			remedy = "leave nu out where it is infinite"
		}
		return numberFault(n.Text, nuForms, remedy)
	}
	if !n.HasU {
		return numberFault(n.Text, "an uncertainty in front of its degrees of freedom, as in 215(9.7) nm; nu 25.6", "write the uncertainty, or remove nu")
	}
	nu, err := d.float()
	if err != nil {
		return numberFault(n.Text, err.Error(), "")
	}
	if nu == 0 {
		return numberFault(n.Text, nuForms, "leave nu out where it is infinite")
	}
	n.Nu = nu
	return nil
}

// scanValue reads `-1.2(3)e-4`; u is without digits when there is no bracket.
func scanValue(s string) (value, u decimal, rest string, ok bool) {
	if s != "" && (s[0] == '-' || s[0] == '+') {
		value.neg = s[0] == '-'
		s = s[1:]
	}
	if value.digits, s = scanDecimal(s); value.digits == "" {
		return value, u, s, false
	}
	if strings.HasPrefix(s, "(") {
		var after string
		if u.digits, after = scanDecimal(s[1:]); u.digits == "" || !strings.HasPrefix(after, ")") {
			return value, u, s, false
		}
		s = after[1:]
		if !strings.Contains(u.digits, ".") {
			u.exp = -value.places()
		}
	}
	exp, s, _ := scanExponent(s)
	value.exp += exp
	u.exp += exp
	return value, u, s, true
}

// scanUnsigned reads `0.004` or `4e-3`.
func scanUnsigned(s string) (d decimal, rest string, ok bool) {
	if d.digits, s = scanDecimal(s); d.digits == "" {
		return d, s, false
	}
	d.exp, s, _ = scanExponent(s)
	return d, s, true
}

// cutPlusMinus removes ± and the spaces around it.
func cutPlusMinus(s string) (string, bool) {
	s = strings.TrimLeft(s, " \t")
	for _, sign := range [...]string{"+-", "+/-"} {
		if rest, ok := strings.CutPrefix(s, sign); ok {
			return strings.TrimLeft(rest, " \t"), true
		}
	}
	return s, false
}

// In gives the number in another unit: exact arithmetic on what was written, rounded once. So 10 mm and 1 cm are the same
// float64 in nm. Degrees of freedom stay. A bare number converts to dimensionless units only. The error is a *fault.Fault without a place.
func (n Number) In(u Unit) (Number, error) {
	c, err := Convert(n.Unit, u)
	if err != nil {
		if !n.HasUnit && n.Unit.IsOne() {
			return Number{}, &fault.Fault{
				Found:    "the bare number " + strconv.Quote(n.written()),
				Expected: "a quantity in " + u.Code(),
				Remedy:   "write its unit, as in " + strconv.Quote(n.written()+" "+u.Code()),
			}
		}
		return Number{}, err
	}
	m := Number{Nu: n.Nu, HasU: n.HasU, Unit: u, HasUnit: true, Text: n.Text}
	if m.Value, m.value.rat, err = convertExact(c, n.value, n.Value, false); err == nil && n.HasU {
		m.U, m.u.rat, err = convertExact(c, n.u, n.U, true)
	}
	if err != nil {
		return Number{}, numberFault(n.written(), err.Error()+" in "+u.Code(), "")
	}
	return m, nil
}

func convertExact(c Conversion, e exact, f float64, delta bool) (float64, *big.Rat, error) {
	r, ok := e.of(f)
	if !ok {
		return 0, nil, errTooLarge
	}
	r = c.rat(r, delta)
	g, _ := r.Float64()
	if math.IsInf(g, 0) || g == 0 && r.Sign() != 0 {
		return 0, nil, errTooLarge
	}
	return g, r, nil
}

func (n Number) written() string {
	if n.Text != "" {
		return n.Text
	}
	return FormatPlain(n.Value)
}

// UExceedsValue tells whether the standard uncertainty is larger than the value's magnitude: allowed, as of a blank's
// signal, but for most settings a slip that a caller may want to ask about. It tells nothing about °C, whose zero is anywhere.
func (n Number) UExceedsValue() bool { return n.HasU && n.U > math.Abs(n.Value) }

// Equal tells whether two numbers have the same value, uncertainty, degrees of freedom, unit and text.
func (n Number) Equal(m Number) bool {
	return n.Value == m.Value && n.U == m.U && n.Nu == m.Nu && n.HasU == m.HasU && n.HasUnit == m.HasUnit && n.Text == m.Text && n.Unit.Equal(m.Unit)
}

// String is the number as FormatNu prints it.
func (n Number) String() string {
	if n.HasU {
		return FormatNu(n.Value, n.U, n.Nu, n.Unit)
	}
	return Format(n.Value, math.NaN(), n.Unit)
}

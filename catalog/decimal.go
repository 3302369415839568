package catalog

import (
	"errors"
	"math"
	"math/big"
	"strconv"
	"strings"
)

// A decimal is a decimal number as it was written: digits with at most one point, a sign, a power of ten.
type decimal struct {
	digits string
	exp    int
	neg    bool
}

// Limits of what is read as a number: nothing that is measured is longer, and exact arithmetic on longer ones is slow.
const (
	longestDigits   = 60
	largestExponent = 330
	smallestNumber  = 1e-307 // below lie the float64 that have lost digits
)

var (
	errTooLong  = errors.New("a number of at most " + strconv.Itoa(longestDigits) + " digits")
	errTooLarge = errors.New("a number between 1e-307 and 1.7e308, or 0")
)

// scanDecimal reads digits with at most one point at the start of s, without a sign, and gives what follows; "" when there
// are none.
func scanDecimal(s string) (digits, rest string) {
	end, any, point := 0, false, false
	for end < len(s) {
		c := s[end]
		if '0' <= c && c <= '9' {
			any = true
		} else if c != '.' || point {
			break
		} else {
			point = true
		}
		end++
	}
	if !any {
		return "", s
	}
	return s[:end], s[end:]
}

// scanExponent reads `e-4` at the start of s. An `e` without digits is left alone: it may begin a unit, as in 3 eV.
func scanExponent(s string) (exp int, rest string, ok bool) {
	if s == "" || s[0] != 'e' && s[0] != 'E' {
		return 0, s, false
	}
	end := 1
	if end < len(s) && (s[end] == '-' || s[end] == '+') {
		end++
	}
	start := end
	for end < len(s) && '0' <= s[end] && s[end] <= '9' {
		end++
	}
	if end == start {
		return 0, s, false
	}
	exp, err := strconv.Atoi(s[1:end])
	if err != nil || exp > 2*largestExponent || exp < -2*largestExponent {
		exp = 2 * largestExponent // refused by check
	}
	return exp, s[end:], true
}

// check refuses what is too long or too large for exact arithmetic.
func (d decimal) check() error {
	if len(d.digits) > longestDigits {
		return errTooLong
	}
	if d.exp > largestExponent || d.exp < -largestExponent-longestDigits {
		return errTooLarge
	}
	return nil
}

// places is the number of digits behind the point.
func (d decimal) places() int {
	if i := strings.IndexByte(d.digits, '.'); i >= 0 {
		return len(d.digits) - i - 1
	}
	return 0
}

// zero tells whether all digits are 0.
func (d decimal) zero() bool { return strings.Trim(d.digits, "0.") == "" }

// float is the nearest float64.
func (d decimal) float() (float64, error) {
	if err := d.check(); err != nil {
		return 0, err
	}
	text := d.digits
	if d.exp != 0 {
		var buffer [longestDigits + 8]byte
		text = string(strconv.AppendInt(append(append(buffer[:0], d.digits...), 'e'), int64(d.exp), 10))
	}
	f, err := strconv.ParseFloat(text, 64)
	if err != nil || math.IsInf(f, 0) || f < smallestNumber && !d.zero() {
		return 0, errTooLarge
	}
	if d.neg && f != 0 {
		f = -f
	}
	return f, nil
}

// rat is the exact value.
func (d decimal) rat() *big.Rat {
	whole := new(big.Int)
	whole.SetString(strings.Replace(d.digits, ".", "", 1), 10)
	if d.neg {
		whole.Neg(whole)
	}
	r := new(big.Rat).SetInt(whole)
	if exp := d.exp - d.places(); exp != 0 {
		r.Mul(r, ratPow10(exp))
	}
	return r
}

func ratPow10(n int) *big.Rat {
	power := new(big.Int).Exp(big.NewInt(10), big.NewInt(int64(max(n, -n))), nil)
	r := new(big.Rat).SetInt(power)
	if n < 0 {
		r.Inv(r)
	}
	return r
}

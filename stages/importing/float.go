package importing

import (
	"encoding/binary"
	"math"
	"strconv"
)

// pow10 holds the powers of ten that a float64 holds exactly.
var pow10 = [...]float64{1, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11,
	1e12, 1e13, 1e14, 1e15, 1e16, 1e17, 1e18, 1e19, 1e20, 1e21, 1e22}

// scanNumber reads the longest decimal number that starts at b[i] and returns
// it with the place behind it; ok is false when none starts there. dec is the
// decimal mark. Accepted are an optional sign, digits with an optional decimal
// mark (digits on one side of it suffice), and an optional exponent after e, E,
// d or D (as Fortran writes). Hexadecimal, underscores, Inf and NaN are not
// numbers here.
//
// The result has the bits that strconv.ParseFloat gives. A mantissa below 2^53
// and a power of ten up to 10^22 are both exact as float64, so that one
// division or multiplication rounds correctly (Clinger, PLDI 1990, fast path;
// from memory); everything else goes to strconv. A number beyond the range of
// float64 comes back as ±Inf.
func scanNumber(b []byte, i int, dec byte) (v float64, next int, ok bool) {
	start := i
	neg := false
	if i < len(b) && (b[i] == '-' || b[i] == '+') {
		neg = b[i] == '-'
		i++
	}
	var mant uint64
	first := i
	for i < len(b) {
		d := b[i] - '0'
		if d > 9 {
			break
		}
		mant = mant*10 + uint64(d)
		i++
	}
	digits, frac := i-first, 0
	if i < len(b) && b[i] == dec {
		j := i + 1
		for j+8 <= len(b) {
			w := binary.LittleEndian.Uint64(b[j:])
			if !eightDigits(w) {
				break
			}
			mant = mant*100000000 + eightValue(w)
			j += 8
		}
		for j < len(b) {
			d := b[j] - '0'
			if d > 9 {
				break
			}
			mant = mant*10 + uint64(d)
			j++
		}
		frac = j - i - 1
		digits += frac
		if digits > 0 {
			i = j
		}
	}
	if digits == 0 {
		return 0, start, false
	}
	exp := 0
	if i < len(b) && (b[i]|0x20 == 'e' || b[i]|0x20 == 'd') {
		j := i + 1
		down := false
		if j < len(b) && (b[j] == '-' || b[j] == '+') {
			down = b[j] == '-'
			j++
		}
		k := j
		for k < len(b) && b[k]-'0' <= 9 {
			if exp < 100000 {
				exp = exp*10 + int(b[k]-'0')
			}
			k++
		}
		if k > j {
			i = k
		}
		if down {
			exp = -exp
		}
	}
	// Up to 19 digits the mantissa cannot have wrapped around.
	if e := exp - frac; digits <= 19 && mant < 1<<53 {
		f := float64(mant)
		if neg {
			f = -f
		}
		switch {
		case mant == 0 || e == 0:
			return f, i, true
		case e < 0 && e >= -22:
			return f / pow10[-e], i, true
		case e > 0 && e <= 22:
			return f * pow10[e], i, true
		}
	}
	return slowNumber(b[start:i], dec), i, true
}

// slowNumber gives the text of a number to strconv, with the spellings that
// strconv does not know replaced.
func slowNumber(tok []byte, dec byte) float64 {
	var local [64]byte
	s := append(local[:0], tok...)
	for k, c := range s {
		switch {
		case c == dec:
			s[k] = '.'
		case c|0x20 == 'd':
			s[k] = 'e'
		}
	}
	v, err := strconv.ParseFloat(string(s), 64)
	if err != nil && !math.IsInf(v, 0) {
		panic("importing: a scanned number was refused: " + string(s))
	}
	return v
}

// eightDigits says whether the eight bytes of w are all decimal digits: then
// the high halves are 3, and adding 6 carries none of the low halves into them.
func eightDigits(w uint64) bool {
	return w&0xF0F0F0F0F0F0F0F0 == 0x3030303030303030 &&
		(w+0x0606060606060606)&0xF0F0F0F0F0F0F0F0 == 0x3030303030303030
}

// eightValue is the number written by eight digits, the first in the lowest
// byte: pairs, then fours, then all are joined by one multiplication each.
func eightValue(w uint64) uint64 {
	w -= 0x3030303030303030
	w = w*10 + w>>8
	return ((w&0x000000FF000000FF)*(100+1000000<<32) + (w>>16&0x000000FF000000FF)*(1+10000<<32)) >> 32
}

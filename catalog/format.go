package catalog

import (
	"math"
	"math/big"
	"strconv"
	"strings"
)

// Format prints a value with its standard uncertainty in brackets and its unit: `14.36(4) Å`. The uncertainty is rounded
// by the rule of the Particle Data Group (Review of Particle Physics, Introduction, section 5.3, from memory): if its three
// leading digits lie between 100 and 354 two digits are kept, between 355 and 949 one, and from 950 to 999 it is rounded up
// to 1000 and two digits are kept; the value is rounded to the same place. From 1e6 up and below 1e-3 (the larger of value
// and uncertainty) a power of ten is split off: `1.234(5)e-6`. Halves go to the even digit (ISO 80000-1, annex B, rule A,
// from memory) of the shortest decimal. Where u is not a positive number there is no bracket and the value has 5 digits at
// most. A value that is not finite is printed as `–`.
func Format(value, u float64, unit Unit) string {
	var text string
	switch {
	case math.IsNaN(value) || math.IsInf(value, 0):
		return "–"
	case !(u > 0) || math.IsInf(u, 0):
		text = tidyExponent(strconv.FormatFloat(value, 'g', 5, 64))
		if text == "-0" {
			text = "0"
		}
	default:
		text = formatUncertain(value, u)
	}
	symbol := unit.Symbol()
	switch symbol {
	case "":
		return text
	case "°": // no space before the sign of the angle: SI brochure, 9th edition, 5.4.3, from memory
		return text + symbol
	}
	return text + " " + symbol
}

// FormatNu is Format, with the degrees of freedom of u behind a semicolon to 4 digits at most, as ParseNumber reads them:
// `215(10) nm; nu 25.6`. They are left out where they are infinite or unknown (nu is not a positive finite number), or u is no positive
// number.
func FormatNu(value, u, nu float64, unit Unit) string {
	text := Format(value, u, unit)
	if !(nu > 0) || math.IsInf(nu, 0) || !(u > 0) || math.IsInf(u, 0) || math.IsNaN(value) || math.IsInf(value, 0) {
		return text
	}
	return text + "; nu " + tidyExponent(strconv.FormatFloat(nu, 'g', 4, 64))
}

func formatUncertain(value, u float64) string {
	// 10^place is the last digit that is kept; 950 to 999 need no case of their own: one digit less of 9.5 is two of 10
	lead, place := leading(u)
	if lead < 355 {
		place--
	}
	digits, bracket := roundAt(math.Abs(value), place), roundAt(u, place)
	shift := 0 // the power of ten that is split off: that of what is printed, which rounding may have raised
	if larger := math.Max(scaled(digits, place), scaled(bracket, place)); larger >= 1e6 || larger < 1e-3 {
		_, shift = leading(larger)
	}
	text := putPoint(digits, shift-place)
	if value < 0 && strings.Trim(digits, "0") != "" {
		text = "-" + text
	}
	if place > shift {
		bracket += strings.Repeat("0", place-shift)
	}
	text += "(" + bracket + ")"
	if shift != 0 {
		text += "e" + strconv.Itoa(shift)
	}
	return text
}

// scaled is a whole number in units of 10^place.
func scaled(digits string, place int) float64 {
	x, _ := strconv.ParseFloat(digits+"e"+strconv.Itoa(place), 64) // out of range: infinite, or 0
	return x
}

// leading gives the three leading digits of x > 0, rounded, and the power of ten of the first.
func leading(x float64) (digits, exp int) {
	text := strconv.FormatFloat(x, 'e', 2, 64) // d.dde±xx
	mantissa, power, _ := strings.Cut(text, "e")
	digits, _ = strconv.Atoi(mantissa[:1] + mantissa[2:])
	exp, _ = strconv.Atoi(power)
	return digits, exp
}

// roundAt gives x >= 0 in units of 10^place, rounded to a whole number, half to even.
func roundAt(x float64, place int) string {
	r, _ := new(big.Rat).SetString(strconv.FormatFloat(x, 'e', -1, 64))
	r.Mul(r, ratPow10(-place))
	whole, rest := new(big.Int).QuoRem(r.Num(), r.Denom(), new(big.Int))
	switch half := rest.Lsh(rest, 1).Cmp(r.Denom()); {
	case half > 0, half == 0 && whole.Bit(0) == 1:
		whole.Add(whole, big.NewInt(1))
	}
	return whole.String()
}

// putPoint sets the decimal point so that places digits stand behind it; a negative number adds zeros.
func putPoint(digits string, places int) string {
	if places <= 0 {
		if digits == "0" {
			return digits
		}
		return digits + strings.Repeat("0", -places)
	}
	if len(digits) <= places {
		digits = strings.Repeat("0", places-len(digits)+1) + digits
	}
	return digits[:len(digits)-places] + "." + digits[len(digits)-places:]
}

// FormatPlain prints the shortest decimal that reads back as the same float64, as keys need it: `0.1`, `1e21`, `2.5e-7`;
// 0 for -0. Values that are not finite have no such form and give NaN, Inf or -Inf.
func FormatPlain(value float64) string {
	if value == 0 {
		return "0"
	}
	if math.IsInf(value, 1) {
		return "Inf"
	}
	return tidyExponent(strconv.FormatFloat(value, 'g', -1, 64))
}

// tidyExponent takes sign and zeros from e+06 and e-07.
func tidyExponent(text string) string {
	mantissa, exp, ok := strings.Cut(text, "e")
	if !ok {
		return text
	}
	n, _ := strconv.Atoi(exp)
	return mantissa + "e" + strconv.Itoa(n)
}

package report

import (
	"math"
	"strconv"
	"strings"

	"fascicle/pipeline"
)

// scaled takes a number to the place where an axis of this scale puts it: itself, its decimal logarithm or its square. False: the
// axis has no place for it (not finite; not positive on a logarithmic axis; negative on a square one).
func scaled(s pipeline.Scale, x float64) (float64, bool) {
	switch s {
	case pipeline.Log:
		if !(x > 0) || math.IsInf(x, 0) {
			return 0, false
		}
		return math.Log10(x), true
	case pipeline.Square:
		x2 := x * x
		return x2, x >= 0 && !math.IsInf(x2, 0)
	}
	return x, !math.IsNaN(x) && !math.IsInf(x, 0)
}

// A span is an interval of scaled numbers; the zero value is not usable, emptySpan is.
type span struct{ lo, hi float64 }

func emptySpan() span { return span{math.Inf(1), math.Inf(-1)} }

func (s span) empty() bool { return s.lo > s.hi }

func (s span) with(x float64) span { return span{min(s.lo, x), max(s.hi, x)} }

// grownTo extends s towards t, at most by `most` of s's own width on each side; a span of no width grows without limit.
func (s span) grownTo(t span, most float64) span {
	if t.empty() {
		return s
	}
	if s.empty() {
		return t
	}
	w := (s.hi - s.lo) * most
	if w == 0 {
		w = math.Inf(1)
	}
	return span{max(min(s.lo, t.lo), s.lo-w), min(max(s.hi, t.hi), s.hi+w)}
}

// padded leaves air on both sides. A span without width, or too narrow for ticks to be told apart, is given one. Ends beyond a
// quarter of what a float holds are cut, so that the width stays finite.
func (s span) padded(scale pipeline.Scale, air float64) span {
	const (
		narrow = 1e-9 // of the magnitude: below this tick labels need more than ten digits
		most   = math.MaxFloat64 / 4
	)
	s = span{max(-most, min(most, s.lo)), max(-most, min(most, s.hi))}
	size := max(math.Abs(s.lo), math.Abs(s.hi))
	margin := air * (s.hi - s.lo)
	if w := s.hi - s.lo; w <= narrow*size || w < 1e-300 {
		switch {
		case scale == pipeline.Log:
			margin = 0.5
		case size < 1e-290:
			margin = 1
		default:
			margin = 0.1 * size
		}
	}
	p := span{s.lo - margin, s.hi + margin}
	if scale == pipeline.Square && p.lo < 0 {
		p.lo = 0
	}
	return p
}

// A tick of an axis, at a scaled number. Without a label it is a small one.
type tick struct {
	at    float64
	label string
}

// ticks chooses about n labelled ticks for a span of scaled numbers. power is a power of ten that was taken out of all labels.
func ticks(s span, scale pipeline.Scale, n int) (list []tick, power int) {
	if scale == pipeline.Log {
		return logTicks(s, n), 0
	}
	return linearTicks(s, n)
}

// linearTicks are multiples of 1, 2 or 5 times a power of ten, at most half as many again as asked for. Their labels are exact decimals: an integer and a shift.
func linearTicks(s span, n int) (list []tick, power int) {
	raw := (s.hi - s.lo) / float64(n)
	if !(raw > 0) || math.IsInf(raw, 0) {
		panic("report: no ticks for a span without width or end")
	}
	exp := int(math.Floor(math.Log10(raw)))
	step, mantissa := 0.0, int64(10)
	for _, m := range []int64{1, 2, 5, 10} {
		if step = timesPower(float64(m), exp); step >= raw*0.7 {
			mantissa = m
			break
		}
	}
	largest := max(math.Abs(s.lo), math.Abs(s.hi))
	if lead := int(math.Floor(math.Log10(largest))); lead >= 5 || lead < -2 {
		power = 3 * int(math.Floor(float64(lead)/3))
	}
	first, last := int64(math.Ceil(s.lo/step-1e-9)), int64(math.Floor(s.hi/step+1e-9))
	for i := first; i <= last; i++ {
		list = append(list, tick{float64(i) * step, decimal(i*mantissa, exp-power)})
	}
	return list, power
}

// timesPower is m·10^exp, correctly rounded for exponents that a float holds exactly.
func timesPower(m float64, exp int) float64 {
	if exp < 0 && exp > -23 {
		return m / math.Pow10(-exp)
	}
	return m * math.Pow10(exp)
}

// decimal writes n·10^exp without an exponent.
func decimal(n int64, exp int) string {
	sign := ""
	if n < 0 {
		sign, n = "−", -n
	}
	digits := strconv.FormatInt(n, 10)
	if n == 0 {
		return "0"
	}
	if exp >= 0 {
		return sign + digits + strings.Repeat("0", exp)
	}
	for len(digits) <= -exp {
		digits = "0" + digits
	}
	whole, part := digits[:len(digits)+exp], strings.TrimRight(digits[len(digits)+exp:], "0")
	if part == "" {
		return sign + whole
	}
	return sign + whole + "." + part
}

// logTicks labels decades; where fewer than two of them lie in the span, 2 and 5 or every digit between as well.
func logTicks(s span, n int) (list []tick) {
	first, last := int(math.Floor(s.lo)), int(math.Ceil(s.hi))
	inside := int(math.Floor(s.hi)) - int(math.Ceil(s.lo)) + 1
	if width := s.hi - s.lo; width < 0.4 { // hardly more than a linear axis
		lo, hi := math.Pow(10, s.lo), math.Pow(10, s.hi)
		for _, t := range plainTicks(span{lo, hi}, n) {
			if t.at > 0 {
				list = append(list, tick{math.Log10(t.at), t.label})
			}
		}
		return list
	}
	labelled := []int{1}
	switch {
	case inside < 2 && s.hi-s.lo < 0.7:
		labelled = []int{1, 2, 3, 4, 5, 6, 8}
	case inside < 3:
		labelled = []int{1, 2, 5}
	}
	every := 1
	for inside > n*every {
		every++
	}
	plain := first >= -3 && last <= 4
	for e := first; e <= last; e++ {
		for d := 1; d <= 9; d++ {
			at := float64(e) + math.Log10(float64(d))
			if at < s.lo-1e-9 || at > s.hi+1e-9 || (d > 1 && every > 1) {
				continue
			}
			t := tick{at: at}
			for _, l := range labelled {
				if d == l && mod(e, every) == 0 {
					t.label = powerLabel(int64(d), e, plain)
				}
			}
			list = append(list, t)
		}
	}
	return list
}

// plainTicks are linear ticks that keep their power of ten in the label.
func plainTicks(s span, n int) []tick {
	list, power := linearTicks(s, n)
	if power != 0 {
		for i := range list {
			list[i].label += "·" + tenTo(power)
		}
	}
	return list
}

func mod(a, b int) int { return ((a % b) + b) % b }

func powerLabel(d int64, e int, plain bool) string {
	switch {
	case plain:
		return decimal(d, e)
	case d == 1:
		return tenTo(e)
	}
	return strconv.FormatInt(d, 10) + "·" + tenTo(e)
}

// tenTo writes a power of ten with raised digits.
func tenTo(e int) string { return "10" + raised(e) }

func raised(e int) string {
	var b strings.Builder
	for _, c := range strconv.Itoa(e) {
		if c == '-' {
			b.WriteRune('⁻')
			continue
		}
		b.WriteRune([]rune("⁰¹²³⁴⁵⁶⁷⁸⁹")[c-'0'])
	}
	return b.String()
}

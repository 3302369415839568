package importing

import (
	"math"
	"strconv"
	"strings"
)

// asdf decodes the ordinates of a table (X++(Y..Y)): AFFN (free numbers), PAC (signs part them), SQZ (the first digit is a letter that bears the sign), DIF
// (differences, whose first digit is another letter) and DUP (how often the one before stands), in any mixture (McDonald and Wilks 1988, Tables IV to VII).
type asdf struct {
	data  []byte
	most  int // points that the file may hold
	x     []float64
	xLine []int     // index of the first point of each line, and
	lines []int     // where the line is
	ulp   []float64 // the last place that its abscissa is written to
	y     []float64
	valid []bool // nil: all are numbers
	at    []int  // line of each point
	diff  bool   // the last ordinate was a difference
	step  float64
}

func (a *asdf) add(v float64, known bool, line int) error {
	if len(a.y) >= a.most {
		return a.tooMany(line)
	}
	if !known && a.valid == nil {
		a.valid = allTrue(len(a.y))
	}
	if a.valid != nil {
		a.valid = append(a.valid, known)
	}
	a.y, a.at = append(a.y, v), append(a.at, line)
	return nil
}

func (a *asdf) tooMany(line int) error {
	return &LineError{line, "more than " + itoa(a.most) + " ordinates", "as many as NPOINTS says", "look at the file, or correct ##NPOINTS="}
}

// decode reads the lines of a table, the first of which has the number line.
func (a *asdf) decode(from, to, line int) error {
	room := min(a.most, (to-from)/2+1)
	a.y, a.at = make([]float64, 0, room), make([]int, 0, room)
	for i := from; i < to; line++ {
		next := min(lineEnd(a.data, i), to)
		text := jcampComment(plainWords(a.data[i:next]))
		i = next
		text = strings.Trim(text, "\x1A \t")
		if text == "" {
			continue
		}
		if err := a.line(text, line); err != nil {
			return err
		}
	}
	return nil
}

// line reads an abscissa and the ordinates behind it.
func (a *asdf) line(s string, line int) error {
	x, next, ok := jcampNumber(s, 0)
	if !ok {
		return &LineError{line, strconv.Quote(clip([]byte(s[:min(len(s), 50)]))), "a line that begins with its abscissa", "mend the line, or copy the file again"}
	}
	ulp := 1.0
	if point := strings.IndexByte(s[:next], '.'); point >= 0 {
		digits := strings.IndexAny(s[:next], "eE")
		if digits < 0 {
			digits = next
		}
		ulp = math.Pow(10, -float64(digits-point-1))
	}
	if e := strings.IndexAny(s[:next], "eE"); e >= 0 {
		if exp, err := strconv.Atoi(s[e+1 : next]); err == nil {
			ulp *= math.Pow(10, float64(exp))
		}
	}
	check := a.diff && len(a.y) > 0
	first := len(a.y)
	if check {
		first--
	}
	a.x, a.xLine, a.lines, a.ulp = append(a.x, x), append(a.xLine, first), append(a.lines, line), append(a.ulp, ulp)
	a.diff = false
	fresh := true // nothing was read behind the abscissa
	last, lastKnown := 0.0, false
	for i := next; i < len(s); {
		c := s[i]
		switch {
		case c == ' ' || c == '\t' || c == ',' || c == ';':
			i++
			continue
		case c == '?':
			if check && fresh {
				return &LineError{line, "no ordinate", "the last one of the line before again", "copy the file again"}
			}
			if err := a.add(0, false, line); err != nil {
				return err
			}
			last, lastKnown, a.diff, fresh = 0, false, false, false
			i++
			continue
		}
		letter := &jcampLetters[c]
		v, end := 0.0, 0
		if letter.form != 0 {
			v, end = letterNumber(s, i, letter)
		}
		switch letter.form {
		case repetition:
			n := int(min(v, 1e9))
			if fresh || !lastKnown && !a.diff && (a.valid == nil || a.valid[len(a.valid)-1]) {
				return &LineError{line, "a repetition of nothing: " + strconv.Quote(s[i:end]), "an ordinate before it", "copy the file again"}
			}
			if n-1 > a.most-len(a.y) {
				return a.tooMany(line)
			}
			for range n - 1 {
				if a.diff {
					last += a.step
				}
				if err := a.add(last, lastKnown, line); err != nil {
					return err
				}
			}
			i = end
			continue
		case difference:
			if !lastKnown {
				return &LineError{line, "a difference to nothing: " + strconv.Quote(s[i:end]), "an ordinate before it", "copy the file again"}
			}
			a.diff, a.step = true, v
			last += v
			if err := a.add(last, true, line); err != nil {
				return err
			}
			fresh = false
			i = end
			continue
		case 0:
			var ok bool
			if v, end, ok = jcampNumber(s, i); !ok {
				return &LineError{line, strconv.Quote(clip([]byte(s[i:min(len(s), i+50)]))), "an ordinate", "mend the line, or copy the file again"}
			}
		}
		if check && fresh {
			if want := a.y[len(a.y)-1]; math.Abs(v-want) > 1e-9*math.Abs(want) {
				return &LineError{line, "the ordinate " + formatShort(v) + " at its beginning", formatShort(want) + ", the last one of the line before (the check of differences)", "a line is damaged or missing: copy the file again"}
			}
		} else if err := a.add(v, true, line); err != nil {
			return err
		}
		last, lastKnown, a.diff, fresh = v, true, false, false
		i = end
	}
	return nil
}

func formatShort(v float64) string { return strconv.FormatFloat(v, 'g', -1, 64) }

// jcampNumber reads a free number. Its exponent has a sign: E alone is a digit of the squeezed form.
func jcampNumber(s string, i int) (v float64, next int, ok bool) {
	j := i
	if j < len(s) && (s[j] == '+' || s[j] == '-') {
		j++
	}
	digits := 0
	for point := false; j < len(s) && (digit(s[j]) || s[j] == '.' && !point); j++ {
		if s[j] == '.' {
			point = true
		} else {
			digits++
		}
	}
	if digits == 0 {
		return 0, i, false
	}
	if j+2 < len(s) && (s[j] == 'E' || s[j] == 'e') && (s[j+1] == '+' || s[j+1] == '-') && digit(s[j+2]) {
		k := j + 2
		for k < len(s) && digit(s[k]) {
			k++
		}
		if k-j-2 <= 4 {
			j = k
		}
	}
	v, err := strconv.ParseFloat(s[i:j], 64)
	if err != nil || v-v != 0 {
		return 0, i, false
	}
	return v, j, true
}

// jcampForm says what a letter at the beginning of an ordinate means.
type jcampForm uint8

const (
	squeezed   jcampForm = iota + 1 // @ and A to I are 0 to 9 with a plus, a to i 1 to 9 with a minus
	difference                      // % and J to R are 0 to 9, j to r −1 to −9
	repetition                      // S to Z are 1 to 8, s is 9
)

type jcampLetter struct {
	form     jcampForm
	first    float64 // digit that the letter stands for
	negative bool
}

var jcampLetters = func() (all [256]jcampLetter) {
	for i, c := range "@ABCDEFGHI" {
		all[c] = jcampLetter{squeezed, float64(i), false}
	}
	for i, c := range "%JKLMNOPQR" {
		all[c] = jcampLetter{difference, float64(i), false}
	}
	for i := range 9 {
		all['a'+i] = jcampLetter{squeezed, float64(i + 1), true}
		all['j'+i] = jcampLetter{difference, float64(i + 1), true}
		all["STUVWXYZs"[i]] = jcampLetter{repetition, float64(i + 1), false}
	}
	return all
}()

// letterNumber reads a number whose first digit is a letter.
func letterNumber(s string, i int, letter *jcampLetter) (v float64, next int) {
	v = letter.first
	j := i + 1
	for j < len(s) && digit(s[j]) {
		v = v*10 + float64(s[j]-'0')
		j++
	}
	if j < len(s) && s[j] == '.' {
		j++
		for scale := 0.1; j < len(s) && digit(s[j]); j++ {
			v += float64(s[j]-'0') * scale
			scale /= 10
		}
	}
	if letter.negative {
		v = -v
	}
	return v, j
}

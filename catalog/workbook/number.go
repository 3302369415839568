package workbook

import (
	"math"
	"strconv"
	"strings"
	"time"

	"fascicle/catalog/fault"
)

// A serialBase is the day from which a workbook counts days.
type serialBase int

const (
	base1900 serialBase = iota // day 1 is 1900-01-01, and there is a day 60 that never was, 1900-02-29
	base1904                   // day 0 is 1904-01-01
)

const (
	lastSerial    = 2958465 // 9999-12-31 in the system of 1900
	secondsPerDay = 86400
)

// number reads a number by its style.
func (b *Book) number(cell Cell, style int, value string) (Cell, *fault.Fault) {
	x, err := strconv.ParseFloat(value, 64)
	if err != nil || math.IsNaN(x) || math.IsInf(x, 0) || strings.ContainsAny(value, "_xXpP") {
		return cell, &fault.Fault{Found: "the number " + strconv.Quote(value), Expected: "a number in digits", Remedy: "correct the cell or leave it empty"}
	}
	cell.Number = true
	format := b.format(style)
	switch {
	case format.Elapsed:
		cell.Text = plain(seconds(x)) + " s"
	case format.Percent:
		cell.Text = plain(hundredfold(x)) + " %"
	case format.Day || format.Clock:
		text, ok := b.base.date(x, format)
		if !ok {
			return cell, &fault.Fault{Found: "the number " + plain(x) + " shown as a date", Expected: "a date from 1900-03-01 to 9999-12-31", Remedy: "correct the cell, or show it as a number"}
		}
		cell.Text = text
	default:
		cell.Text, cell.Suffix = plain(x), format.Suffix
	}
	return cell, nil
}

// plain is the shortest decimal that reads back as x.
func plain(x float64) string {
	if x == 0 {
		return "0"
	}
	mantissa, exp, ok := strings.Cut(strconv.FormatFloat(x, 'g', -1, 64), "e")
	if !ok {
		return mantissa
	}
	n, _ := strconv.Atoi(exp)
	return mantissa + "e" + strconv.Itoa(n)
}

// hundredfold is the decimal x with its point moved by two places: 0.07 becomes 7, where multiplication leaves 7.000000000000001.
func hundredfold(x float64) float64 {
	mantissa, exp, _ := strings.Cut(strconv.FormatFloat(x, 'e', -1, 64), "e")
	n, _ := strconv.Atoi(exp)
	y, err := strconv.ParseFloat(mantissa+"e"+strconv.Itoa(n+2), 64)
	if err != nil {
		return 100 * x
	}
	return y
}

// seconds are those of x days; a thousandth of a second is the least that spreadsheet programs show, and what is nearer to one than a
// float64 can tell is one.
func seconds(x float64) float64 {
	s := x * secondsPerDay
	if whole := math.Round(s*1000) / 1000; math.Abs(s-whole) <= 1e-12*math.Abs(s) {
		return whole
	}
	return s
}

// date writes x days as its format shows it: the day alone, or day and time to the nearest second. Where a time of day alone is shown the
// day is written too if there is one.
func (base serialBase) date(x float64, format Format) (string, bool) {
	if x < 0 || x >= lastSerial+1 {
		return "", false
	}
	day, second := int(x), 0
	if format.Clock {
		second = int(math.Round((x - float64(day)) * secondsPerDay))
		if second == secondsPerDay {
			day, second = day+1, 0
		}
		if !format.Day && day == 0 {
			return time.Unix(int64(second), 0).UTC().Format("15:04:05"), true
		}
	}
	var t time.Time
	switch {
	case base == base1904:
		t = time.Date(1904, 1, 1+day, 0, 0, second, 0, time.UTC)
	case day <= 60: // programs disagree about the days before 1 March 1900
		return "", false
	default:
		t = time.Date(1899, 12, 30+day, 0, 0, second, 0, time.UTC)
	}
	if t.Year() > 9999 {
		return "", false
	}
	if format.Clock {
		return t.Format("2006-01-02T15:04:05"), true
	}
	return t.Format("2006-01-02"), true
}

// isoDate tidies a date that is stored as text: without fractions of zero, and without a midnight that the style does not show.
func (b *Book) isoDate(value string, style int) string {
	if whole, fraction, ok := strings.Cut(value, "."); ok && strings.Trim(fraction, "0") == "" {
		value = whole
	}
	if format := b.format(style); format.Day && !format.Clock {
		value = strings.TrimSuffix(value, "T00:00:00")
	}
	return value
}

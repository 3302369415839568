package importing

import (
	"fmt"
	"regexp"
	"strconv"
	"strings"
	"time"

	"fascicle/catalog"
)

var (
	clockTime  = regexp.MustCompile(`\b(\d{1,2}):(\d{2})(?::(\d{2})(?:[.,]\d+)?)?(?:\s*([AaPp][Mm])\b)?`)
	dateNumber = regexp.MustCompile(`\d+`)
	dateWord   = regexp.MustCompile(`\p{L}+`)
)

// headerDate turns a date as instruments write them into the form in which the program keeps dates (catalog.ParseDate): `2031-03-04`, `2031/3/4`, `04-Mar-2031`,
// `Mar 4, 2031`, `4 March 2031`, `13/3/2031`, each perhaps with a day of the week and a time of day. Which of two numbers before the year is the day, a number above
// 12 tells, or order: "day first" or "month first"; else the date is refused, as are years of two digits and time zones.
func headerDate(s, order string) (string, error) {
	if d, err := catalog.ParseDate(strings.TrimSpace(s)); err == nil {
		return d, nil
	}
	rest := strings.TrimSpace(s)
	clock := ""
	if at := clockTime.FindStringSubmatchIndex(rest); at != nil {
		part := clockTime.FindStringSubmatch(rest)
		hour, _ := strconv.Atoi(part[1])
		if half := strings.ToLower(part[4]); half != "" {
			if hour < 1 || hour > 12 {
				return "", unreadableDate(s)
			}
			if hour %= 12; half == "pm" {
				hour += 12
			}
		}
		second := part[3]
		if second == "" {
			second = "00"
		}
		clock = fmt.Sprintf("T%02d:%s:%s", hour, part[2], second)
		rest = rest[:at[0]] + " " + rest[at[1]:]
	}
	month := 0
	for _, w := range dateWord.FindAllString(rest, -1) {
		m := monthNamed(w)
		switch {
		case m > 0 && month == 0:
			month = m
		case m > 0 || !(weekday(w) || w == "T"):
			return "", unreadableDate(s)
		}
	}
	numbers := dateNumber.FindAllString(rest, -1)
	n := make([]int, len(numbers))
	for i, t := range numbers {
		n[i], _ = strconv.Atoi(t)
	}
	var year, day int
	switch {
	case month > 0 && len(n) == 2 && len(numbers[1]) == 4:
		day, year = n[0], n[1]
	case month > 0 && len(n) == 2 && len(numbers[0]) == 4:
		year, day = n[0], n[1]
	case month == 0 && len(n) == 3 && len(numbers[0]) == 4:
		year, month, day = n[0], n[1], n[2]
	case month == 0 && len(n) == 3 && len(numbers[2]) == 4:
		year = n[2]
		switch {
		case n[0] > 12 || n[0] == n[1] || order == "day first":
			day, month = n[0], n[1]
		case n[1] > 12 || order == "month first":
			month, day = n[0], n[1]
		default:
			return "", fmt.Errorf("the date %q, which may be %04d-%02d-%02d or %04d-%02d-%02d; set `dates: day first` or `dates: month first`", s, year, n[1], n[0], year, n[0], n[1])
		}
	default:
		return "", unreadableDate(s)
	}
	if month > 12 || time.Date(year, time.Month(month), day, 0, 0, 0, 0, time.UTC).Day() != day {
		return "", unreadableDate(s)
	}
	d, err := catalog.ParseDate(fmt.Sprintf("%04d-%02d-%02d%s", year, month, day, clock))
	if err != nil {
		return "", unreadableDate(s)
	}
	return d, nil
}

func unreadableDate(s string) error {
	return fmt.Errorf("%q, where a date is due, such as 2031-03-04 15:04:05 or 04-Mar-2031, with a year of four digits and without a time zone", s)
}

// monthNamed is the month that a word names, in full or by three letters or more; 0: none.
func monthNamed(w string) int {
	if len(w) < 3 {
		return 0
	}
	for m := time.January; m <= time.December; m++ {
		if name := strings.ToLower(m.String()); strings.HasPrefix(name, strings.ToLower(w)) {
			return int(m)
		}
	}
	return 0
}

func weekday(w string) bool {
	if len(w) < 2 {
		return false
	}
	for d := time.Sunday; d <= time.Saturday; d++ {
		if strings.HasPrefix(strings.ToLower(d.String()), strings.ToLower(w)) {
			return true
		}
	}
	return false
}

package catalog

import (
	"slices"
	"strconv"
	"strings"
	"time"

	"fascicle/catalog/fault"
)

// ParseDate reads an ISO 8601 date, `2031-03-04`, perhaps with a time of day, `2031-03-04T15:04:05` or `2031-03-04 15:04`, and
// writes it in the one form in which dates are compared as text: `2031-03-04` or `2031-03-04T15:04:05`. Zones are refused:
// instruments write the time on their wall. The error is a *fault.Fault without a place.
func ParseDate(s string) (string, error) {
	if date, ok := normalDate(s); ok {
		return date, nil
	}
	found, remedy, _ := otherDate(s)
	return "", &fault.Fault{Found: found, Expected: dateForms, Remedy: remedy}
}

const dateForms = "a date such as 2031-03-04 or 2031-03-04T15:04:05"

// otherDate describes a date in another form than ISO 8601: found, with the days that it may be, and a remedy that writes the day where there
// is one alone. For what is no date ok is false, and found is the text itself.
func otherDate(s string) (found, remedy string, ok bool) {
	found = strconv.Quote(s)
	days := daysOf(s)
	switch len(days) {
	case 0:
		return found, "", false
	case 1:
		return found, "write " + days[0], true
	}
	return found + ", which may be " + strings.Join(days[:len(days)-1], ", ") + " or " + days[len(days)-1], "write the year first, as in " + days[0], true
}

// hasYear tells whether four digits stand together, as in no day or month.
func hasYear(s string) bool {
	digits := 0
	for i := 0; i < len(s) && digits < 4; i++ {
		if digits++; s[i] < '0' || s[i] > '9' {
			digits = 0
		}
	}
	return digits == 4
}

// wordedDates are forms with the name of a month, which leave no doubt.
var wordedDates = [...]string{"2 Jan 2006", "2-Jan-2006", "2 January 2006", "2. January 2006", "Jan 2, 2006", "January 2, 2006", "2006-Jan-2", "2006 Jan 2"}

// daysOf lists the days, in ISO 8601, that three numbers or a date with a named month may be: day, month and year in the orders that are in
// use. A time behind the date is left out.
func daysOf(s string) []string {
	s = strings.TrimSpace(s)
	for _, form := range wordedDates {
		if t, err := time.Parse(form, s); err == nil {
			return []string{t.Format(dayForm)}
		}
	}
	if date, clock, ok := strings.Cut(s, " "); ok && strings.Contains(clock, ":") {
		s = date
	}
	i := strings.IndexAny(s, "./-")
	if i < 0 {
		return nil
	}
	parts := strings.Split(s, s[i:i+1])
	if len(parts) != 3 {
		return nil
	}
	for _, p := range parts {
		if n, err := strconv.Atoi(p); err != nil || n < 0 || len(p) > 4 || len(p) == 3 || p[0] == '+' {
			return nil
		}
	}
	var days []string
	add := func(year, month, day string) {
		if len(month) > 2 || len(day) > 2 || len(year) != 4 && len(year) != 2 {
			return
		}
		if len(year) == 2 {
			year = "20" + year
		}
		t, err := time.Parse("2006-1-2", year+"-"+strings.TrimPrefix(month, "0")+"-"+strings.TrimPrefix(day, "0"))
		if err != nil {
			return
		}
		if text := t.Format(dayForm); !slices.Contains(days, text) {
			days = append(days, text)
		}
	}
	add(parts[2], parts[1], parts[0])
	add(parts[2], parts[0], parts[1])
	add(parts[0], parts[1], parts[2])
	return days
}

const (
	dayForm    = "2006-01-02"
	secondForm = "2006-01-02T15:04:05"
)

func normalDate(s string) (string, bool) {
	if len(s) < len(dayForm) || s[4] != '-' || s[7] != '-' {
		return "", false
	}
	if len(s) == len(dayForm) {
		return readDate(dayForm, dayForm, s)
	}
	if s[len(dayForm)] == ' ' {
		s = s[:len(dayForm)] + "T" + s[len(dayForm)+1:]
	}
	switch len(s) {
	case len("2006-01-02T15:04"):
		return readDate("2006-01-02T15:04", secondForm, s)
	case len(secondForm):
		return readDate(secondForm, secondForm, s)
	}
	return "", false
}

// dateInName also reads what stands for a date in names of files, which hold no colons: compact forms, and `-`, `_` or a
// space for the colons and the T.
func dateInName(s string) (string, bool) {
	if date, ok := normalDate(s); ok {
		return date, true
	}
	switch len(s) {
	case 8:
		return readDate("20060102", dayForm, s)
	case 15:
		s = s[:8] + "T" + cutSeparator(s[8:])
		return readDate("20060102T150405", secondForm, s)
	case 17:
		return readDate("2006-01-02T150405", secondForm, s[:10]+"T"+cutSeparator(s[10:]))
	case 19:
		return readDate("2006-01-02T15-04-05", secondForm, s[:10]+"T"+cutSeparator(s[10:]))
	}
	return "", false
}

// cutSeparator removes the T, `_`, `-` or space between day and time; other text is left to be refused.
func cutSeparator(s string) string {
	switch s[0] {
	case 'T', '_', '-', ' ':
		return s[1:]
	}
	return s
}

// readDate reads one form, in no time zone, and writes another. Each part has all its digits.
func readDate(form, as, s string) (string, bool) {
	if len(s) != len(form) {
		return "", false
	}
	t, err := time.Parse(form, s)
	if err != nil {
		return "", false
	}
	return t.Format(as), true
}

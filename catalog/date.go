package catalog

import (
	"strconv"
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
	return "", &fault.Fault{Found: strconv.Quote(s), Expected: "a date such as 2031-03-04 or 2031-03-04T15:04:05"}
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

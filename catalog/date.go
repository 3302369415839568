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

func normalDate(s string) (string, bool) {
	const day, minute, second = "2006-01-02", "2006-01-02T15:04", "2006-01-02T15:04:05"
	if len(s) < len(day) || s[4] != '-' || s[7] != '-' {
		return "", false
	}
	if len(s) > len(day) && s[len(day)] == ' ' {
		s = s[:len(day)] + "T" + s[len(day)+1:]
	}
	switch len(s) {
	case len(day):
		_, err := time.Parse(day, s)
		return s, err == nil
	case len(minute):
		_, err := time.Parse(minute, s)
		return s + ":00", err == nil
	case len(second):
		_, err := time.Parse(second, s)
		return s, err == nil
	}
	return "", false
}

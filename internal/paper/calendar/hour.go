package calendar

import (
	"errors"
	"fmt"
	"strings"
)

// ErrHour marks text that is no hour of the clock.
var ErrHour = errors.New("not an hour of the clock")

// TimeOfDay is an hour and a minute of a clock that counts to 24.
type TimeOfDay struct{ Hour, Minute int }

// String returns hh:mm.
func (t TimeOfDay) String() string { return fmt.Sprintf("%02d:%02d", t.Hour, t.Minute) }

func (t TimeOfDay) good() bool {
	return t.Hour >= 0 && t.Hour < 24 && t.Minute >= 0 && t.Minute < 60
}

// ParseHour returns the time of day written as h:mm or hh:mm, 0:00 to 23:59,
// spaces about it allowed. Its error wraps ErrHour and says how to write it.
func ParseHour(s string) (TimeOfDay, error) {
	bad := func(why string) (TimeOfDay, error) {
		return TimeOfDay{}, fmt.Errorf("%w: %.20q %s; write hh:mm, such as 08:30 or 17:05", ErrHour, s, why)
	}
	hour, minute, colon := strings.Cut(strings.TrimSpace(s), ":")
	switch {
	case strings.TrimSpace(s) == "":
		return bad("is empty")
	case !colon:
		return bad("has no colon between hour and minute")
	}
	var t TimeOfDay
	var ok bool
	if t.Hour, ok = figures(hour); !ok {
		return bad("has an hour that is no number of one or two figures")
	}
	if t.Minute, ok = figures(minute); !ok || len(minute) != 2 {
		return bad("has minutes that are not two figures")
	}
	switch {
	case t.Hour > 23:
		return bad("has an hour outside 0 to 23")
	case t.Minute > 59:
		return bad("has minutes outside 00 to 59")
	}
	return t, nil
}

func figures(s string) (int, bool) {
	if len(s) < 1 || len(s) > 2 {
		return 0, false
	}
	n := 0
	for _, c := range []byte(s) {
		if c < '0' || c > '9' {
			return 0, false
		}
		n = 10*n + int(c-'0')
	}
	return n, true
}

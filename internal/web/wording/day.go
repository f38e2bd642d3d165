package wording

import (
	"time"
)

// LongDay returns "Thursday 4 March 2027".
func LongDay(t time.Time) string { return t.UTC().Format("Monday 2 January 2006") }

// FullDay returns "4 March 2027".
func FullDay(t time.Time) string { return t.UTC().Format("2 January 2006") }

// Day returns the day as short as it can be said at now: "4 March", with the
// year if it is another.
func Day(t, now time.Time) string {
	if t.UTC().Year() == now.UTC().Year() {
		return t.UTC().Format("2 January")
	}
	return FullDay(t)
}

// Instant returns "4 Mar 09:12", with the year if it is not that of now.
func Instant(t, now time.Time) string {
	if t.UTC().Year() == now.UTC().Year() {
		return t.UTC().Format("2 Jan 15:04")
	}
	return t.UTC().Format("2 Jan 2006 15:04")
}

// ShortDay returns "4 Mar", with the year if it is not that of now.
func ShortDay(t, now time.Time) string {
	if t.UTC().Year() == now.UTC().Year() {
		return t.UTC().Format("2 Jan")
	}
	return t.UTC().Format("2 Jan 2006")
}

// FullInstant returns "4 March 2027 09:12:30 UTC".
func FullInstant(t time.Time) string { return t.UTC().Format("2 January 2006 15:04:05 UTC") }

// SameDay reports whether two instants lie on one day of UTC.
func SameDay(a, b time.Time) bool {
	return a.UTC().Format(time.DateOnly) == b.UTC().Format(time.DateOnly)
}

// Between returns "between 3 and 9 March", "on 3 March" or, once the first day
// is past, "by 9 March".
func Between(from, to, now time.Time) string {
	switch {
	case SameDay(from, to):
		return "on " + Day(from, now)
	case !from.After(now):
		return "by " + Day(to, now)
	case from.UTC().Month() == to.UTC().Month() && from.UTC().Year() == to.UTC().Year():
		return "between " + from.UTC().Format("2") + " and " + Day(to, now)
	}
	return "between " + Day(from, now) + " and " + Day(to, now)
}

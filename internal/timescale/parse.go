package timescale

import (
	"errors"
	"fmt"
	"strings"
	"time"
)

// ErrInstant marks text that is no instant of UTC.
var ErrInstant = errors.New("not an instant")

// earliest and latest bound what a logbook may hold, so that a slip in the
// year is caught and every duration can be represented.
const (
	earliestYear = 1700
	latestYear   = 2199
)

// Parse returns the instant written in RFC 3339 with its zone, in UTC and cut
// to the microsecond; a space may stand for the T. The error says what is
// missing and how to write it.
func Parse(s string) (time.Time, error) {
	text := strings.TrimSpace(s)
	const like = "write it in RFC 3339, such as 2027-03-04T09:12:00Z"
	bad := func(why string) (time.Time, error) {
		return time.Time{}, fmt.Errorf("%w: %.40q %s; %s", ErrInstant, s, why, like)
	}
	if len(text) > 10 && text[10] == ' ' {
		text = text[:10] + "T" + text[11:]
	}
	t, err := time.Parse(time.RFC3339Nano, strings.ToUpper(text))
	if err != nil {
		return bad(reason(text))
	}
	t = t.UTC().Truncate(time.Microsecond)
	if t.Year() < earliestYear || t.Year() > latestYear {
		return bad(fmt.Sprintf("is not between the years %d and %d", earliestYear, latestYear))
	}
	return t, nil
}

// reason returns why text is no RFC 3339 instant.
func reason(text string) string {
	if text == "" {
		return "is empty"
	}
	for _, layout := range []string{"2006-01-02T15:04:05", "2006-01-02T15:04", "2006-01-02"} {
		if _, err := time.Parse(layout, text); err == nil {
			if layout == "2006-01-02" {
				return "has no time of day and no zone"
			}
			return "has no zone: end it with Z for UTC or with an offset such as +01:00"
		}
	}
	if strings.Contains(text, ":60") {
		return "lies within a leap second: write 23:59:59.9 or the second after it"
	}
	if len(text) >= 10 {
		if _, err := time.Parse("2006-01-02", text[:10]); err != nil {
			if looksLikeDate(text[:10]) {
				return "names a day that does not exist"
			}
			return "does not begin with a date of the form 2027-03-04"
		}
		return "has a time of day that cannot be read"
	}
	return "is not a date and time"
}

func looksLikeDate(s string) bool {
	for i, c := range s {
		if (i == 4 || i == 7) != (c == '-') || (c != '-' && (c < '0' || c > '9')) {
			return false
		}
	}
	return true
}

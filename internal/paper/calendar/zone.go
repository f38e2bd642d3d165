package calendar

import (
	"fmt"
	"time"

	ics "github.com/arran4/golang-ical"
)

// beforeAll is when a zone that never had another offset is said to begin.
const beforeAll = "19700101T000000"

// zoneOf returns the rules of a zone for the time from one instant to another
// (RFC 5545, 3.6.5): the offset at the beginning and each change since, every
// one with its own onset, as the time zone database has them.
func zoneOf(loc *time.Location, from, until time.Time) *ics.VTimezone {
	z := ics.NewTimezone(loc.String())
	for at := from.In(loc); ; {
		onset, end := at.ZoneBounds()
		var c *ics.ComponentBase
		if at.IsDST() {
			d := &ics.Daylight{}
			z.Components, c = append(z.Components, d), &d.ComponentBase
		} else {
			s := ics.NewStandard()
			z.Components, c = append(z.Components, s), &s.ComponentBase
		}
		name, offset := at.Zone()
		before, begins := offset, beforeAll
		if !onset.IsZero() {
			_, before = onset.Add(-time.Second).Zone()
			// The onset is written as the clock showed it before the change.
			begins = onset.UTC().Add(time.Duration(before) * time.Second).Format(localForm)
		}
		c.SetProperty(ics.ComponentPropertyDtStart, begins)
		c.SetProperty(ics.ComponentProperty(ics.PropertyTzoffsetfrom), offsetText(before))
		c.SetProperty(ics.ComponentProperty(ics.PropertyTzoffsetto), offsetText(offset))
		c.SetProperty(ics.ComponentProperty(ics.PropertyTzname), name)
		if end.IsZero() || end.After(until) {
			return z
		}
		at = end
	}
}

// offsetText returns an offset of s seconds east as in RFC 5545, 3.3.14.
func offsetText(s int) string {
	sign := '+'
	if s < 0 {
		sign, s = '-', -s
	}
	text := fmt.Sprintf("%c%02d%02d", sign, s/3600, s/60%60)
	if s%60 != 0 {
		text += fmt.Sprintf("%02d", s%60)
	}
	return text
}

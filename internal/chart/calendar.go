package chart

import (
	"time"
)

// calendarUnit is what a calendar step counts.
type calendarUnit int

const (
	minutes calendarUnit = iota
	days
	months
	years
)

// calendarStep is a step between dates that people name.
type calendarStep struct {
	n    int
	unit calendarUnit
}

var calendarSteps = [...]calendarStep{
	{1, minutes}, {5, minutes}, {15, minutes}, {30, minutes}, {60, minutes}, {180, minutes}, {360, minutes}, {720, minutes},
	{1, days}, {2, days}, {3, days}, {7, days}, {14, days},
	{1, months}, {2, months}, {3, months}, {6, months},
	{1, years}, {2, years}, {5, years}, {10, years}, {20, years}, {50, years}, {100, years}, {200, years}, {500, years},
	{1000, years}, {2000, years}, {5000, years},
}

// length returns about how many seconds a step is.
func (s calendarStep) length() float64 {
	return float64(s.n) * [...]float64{60, 86400, 30.44 * 86400, 365.25 * 86400}[s.unit]
}

// first returns the first instant of the step at or after t: minutes count
// from midnight, days from a Monday (so weeks begin as in ISO 8601), months
// from January, years from year 0.
func (s calendarStep) first(t time.Time) time.Time {
	monday := time.Date(1970, 1, 5, 0, 0, 0, 0, time.UTC)
	at := t
	switch s.unit {
	case minutes:
		midnight := time.Date(t.Year(), t.Month(), t.Day(), 0, 0, 0, 0, time.UTC)
		at = midnight.Add(t.Sub(midnight).Truncate(time.Duration(s.n) * time.Minute))
	case days:
		n := int((t.Unix() - monday.Unix()) / 86400)
		at = monday.AddDate(0, 0, n-((n%s.n)+s.n)%s.n)
		for at.After(t) {
			at = at.AddDate(0, 0, -s.n)
		}
	case months:
		at = time.Date(t.Year(), t.Month()-time.Month(int(t.Month()-1)%s.n), 1, 0, 0, 0, 0, time.UTC)
	case years:
		at = time.Date(t.Year()-t.Year()%s.n, 1, 1, 0, 0, 0, 0, time.UTC)
	}
	for at.Before(t) {
		at = s.next(at)
	}
	return at
}

func (s calendarStep) next(t time.Time) time.Time {
	switch s.unit {
	case minutes:
		return t.Add(time.Duration(s.n) * time.Minute)
	case days:
		return t.AddDate(0, 0, s.n)
	case months:
		return t.AddDate(0, s.n, 0)
	default:
		return t.AddDate(s.n, 0, 0)
	}
}

// dateTick is a named date on a time axis.
type dateTick struct {
	at    time.Time
	label string
}

// calendarTicks returns the dates of the finest calendar step of which at most
// most fall in from..to, named in UTC. The year is named where it begins and
// at the first tick if it is not the same throughout.
func calendarTicks(from, to time.Time, most int) []dateTick {
	from, to = from.UTC(), to.UTC()
	span := seconds(to) - seconds(from)
	for _, s := range calendarSteps {
		if span/s.length() > float64(most)+1 {
			continue
		}
		var at []time.Time
		for t := s.first(from); !t.After(to) && len(at) <= most; t = s.next(t) {
			at = append(at, t)
		}
		if len(at) <= most {
			return named(at, s.unit, from.Year() != to.Year())
		}
	}
	return nil
}

func named(at []time.Time, unit calendarUnit, manyYears bool) []dateTick {
	var out []dateTick
	for i, t := range at {
		first := i == 0
		newYear := first || at[i-1].Year() != t.Year()
		midnight := t.Hour() == 0 && t.Minute() == 0
		layout := "2 Jan"
		switch {
		case unit == years:
			layout = "2006"
		case unit == months && newYear:
			layout = "Jan 2006"
		case unit == months:
			layout = "Jan"
		case unit == minutes && first && !midnight:
			layout = "2 Jan 15:04"
		case unit == minutes && !midnight:
			layout = "15:04"
		case newYear && manyYears:
			layout = "2 Jan 2006"
		}
		out = append(out, dateTick{t, t.Format(layout)})
	}
	return out
}

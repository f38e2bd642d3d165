package course

import (
	"cmp"
	"math"
	"slices"
	"strings"
	"time"

	"timeball/internal/timescale"
	"timeball/internal/trial/programme"
)

// usualWithin is how far from the hour a reading may fall where the programme
// does not say; common practice, no source.
const usualWithin = time.Hour

// following is a trial while its course is worked out.
type following struct {
	Course
	p           programme.Programme
	begun       time.Time
	ended       *time.Time // nil if it is not ended at now
	now, till   time.Time
	within      time.Duration
	log         Log
	temperature []Temperature // those read with a comparison too
	periods     []int         // of day d, at d−1
	first       int           // index of the first reading in log.Compared, -1: none yet
	taken       []*Reading    // by hour; nil: none
	places      []place       // of day d, at d−1
}

// within returns how far from its hour a reading may fall: never as far as half
// a day, so that no comparison can serve two hours.
func within(p programme.Programme) time.Duration {
	h := p.WithinH
	if !(h > 0) {
		return usualWithin
	}
	return hours(min(h, 11.99))
}

// hours returns a number of hours as a Duration, at most ten years.
func hours(h float64) time.Duration {
	if !(h > 0) {
		return 0
	}
	return time.Duration(min(h, 87660) * float64(time.Hour))
}

func instant(t time.Time) time.Time { return t.UTC().Truncate(time.Microsecond) }

func finite(x float64) bool { return !math.IsNaN(x) && !math.IsInf(x, 0) }

// gather puts the facts in the order of time and leaves out those after the
// end of the trial and after now.
func gather(p programme.Programme, begun time.Time, ended *time.Time, log Log, now time.Time) *following {
	f := &following{p: p, begun: instant(begun), now: instant(now), within: within(p)}
	f.till = f.now
	if ended != nil && !instant(*ended).After(f.now) {
		end := instant(*ended)
		f.ended, f.till = &end, end
	}
	for i, period := range p.Periods {
		for range period.Days {
			f.periods = append(f.periods, i)
		}
	}
	f.taken = make([]*Reading, len(f.periods)+1)

	for _, c := range log.Compared {
		if c.At = instant(c.At); c.At.After(f.till) {
			continue
		}
		if c.TempC != nil {
			f.temperature = append(f.temperature, Temperature{At: c.At, C: *c.TempC})
		}
		if !c.At.Before(f.begun) {
			f.log.Compared = append(f.log.Compared, c)
		}
	}
	slices.SortStableFunc(f.log.Compared, func(a, b Comparison) int {
		return cmp.Or(a.At.Compare(b.At), cmp.Compare(a.SDS, b.SDS), cmp.Compare(a.Ref, b.Ref), cmp.Compare(a.ErrorS, b.ErrorS))
	})
	f.temperature = append(f.temperature, log.Temperatures...)
	f.temperature = keep(f.temperature, func(t *Temperature) bool {
		t.At = instant(t.At)
		return finite(t.C) && !t.At.Before(f.begun) && !t.At.After(f.till)
	})
	slices.SortStableFunc(f.temperature, func(a, b Temperature) int { return cmp.Or(a.At.Compare(b.At), cmp.Compare(a.C, b.C)) })
	f.log.Placings = keep(log.Placings, func(l *Placing) bool {
		l.At, l.Position = instant(l.At), spaced(l.Position)
		return !l.At.After(f.till)
	})
	slices.SortStableFunc(f.log.Placings, func(a, b Placing) int { return a.At.Compare(b.At) })
	f.log.Windings = keep(log.Windings, func(t *time.Time) bool {
		*t = instant(*t)
		return !t.After(f.till)
	})
	slices.SortFunc(f.log.Windings, time.Time.Compare)
	f.log.Interventions = keep(log.Interventions, func(v *Intervention) bool {
		v.At = instant(v.At)
		// Hands moved by no known amount are hands set anew.
		v.Breaks = v.Breaks || !finite(v.MovedS)
		return v.At.After(f.begun) && !v.At.After(f.till) && (v.Breaks || v.MovedS != 0)
	})
	slices.SortStableFunc(f.log.Interventions, func(a, b Intervention) int { return a.At.Compare(b.At) })
	return f
}

// keep returns copies of the elements that pass, as ok leaves them.
func keep[T any](from []T, ok func(*T) bool) []T {
	var kept []T
	for _, x := range from {
		if ok(&x) {
			kept = append(kept, x)
		}
	}
	return kept
}

func spaced(s string) string { return strings.Join(strings.Fields(s), " ") }

// finish puts the remarks in the order of time and returns the course.
func (f *following) finish() Course {
	slices.SortStableFunc(f.Remarks, func(a, b Remark) int { return cmp.Or(a.At.Compare(b.At), cmp.Compare(a.Day, b.Day)) })
	slices.SortStableFunc(f.Unused, func(a, b Unused) int { return a.At.Compare(b.At) })
	return f.Course
}

func (f *following) remark(at time.Time, day int, words, effect string) {
	f.Remarks = append(f.Remarks, Remark{At: at, Day: day, Words: words, Effect: effect})
}

// last returns the number of days of the programme.
func (f *following) last() int { return len(f.periods) }

// period returns the period of a day of the programme.
func (f *following) period(day int) programme.Period { return f.p.Periods[f.periods[day-1]] }

// closed reports whether no reading of an hour can come any more.
func (f *following) closed(hour int) bool {
	return f.Hours[hour].Add(f.within).Before(f.till)
}

// at returns when the reading of an hour was taken, or the hour.
func (f *following) at(hour int) time.Time {
	if r := f.taken[hour]; r != nil {
		return r.At
	}
	return f.Hours[hour]
}

// over reports whether a day is past.
func (f *following) over(day int) bool {
	return f.Start != nil && (f.taken[day] != nil || f.closed(day))
}

// dayOf returns the day of the programme in which an instant lies, its end
// counted to it and not its beginning; 0 before the first reading and after
// the last.
func (f *following) dayOf(at time.Time) int {
	if f.Start == nil || !at.After(f.Start.At) {
		return 0
	}
	for d := 1; d <= f.last(); d++ {
		if !at.After(f.at(d)) {
			return d
		}
	}
	return 0
}

// planHours fills Hours from the first one on.
func (f *following) planHours(first time.Time) {
	f.Hours = make([]time.Time, f.last()+1)
	for h := range f.Hours {
		f.Hours[h] = timescale.AddDays(first, float64(h))
	}
}

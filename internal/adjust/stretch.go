package adjust

import (
	"math"
	"slices"
	"time"

	"timeball/internal/chronometer"
	"timeball/internal/clock"
	"timeball/internal/rating"
	"timeball/internal/timescale"
	"timeball/internal/workshop"
)

// nearDays is how far from a turning comparisons tell the rate at it: the
// memory of a good chronometer, its white noise over its wander, is about ten
// days.
const nearDays = 14

// stretch is the rate over some days in which nothing was altered.
type stretch struct {
	from, to    time.Time
	comparisons int
	rate, sd    float64 // s/d, at ReferenceC and in the position most used
}

// altering reports whether a fact begins a new rate, or a new error that no
// rate is known across.
func altering(f chronometer.Fact) bool {
	switch f := f.(type) {
	case chronometer.Regulated:
		return true
	case chronometer.WorkDone:
		return f.Service
	}
	return false
}

// beside returns the rates measured before and after an instant, as far as
// nearDays and no further than the next alteration; nil where there were not
// two comparisons.
func beside(seen workshop.Seen, h rating.History, at time.Time) (before, after *stretch) {
	from, to := at.AddDate(0, 0, -nearDays), at.AddDate(0, 0, nearDays)
	for _, e := range seen.Logbook.Standing() {
		if !altering(e.Fact) || e.At.Equal(at) {
			continue
		}
		if e.At.Before(at) && e.At.After(from) {
			from = e.At
		}
		if e.At.After(at) && e.At.Before(to) {
			to = e.At
		}
	}
	return measured(h, from, at), measured(h, at, to)
}

// measured returns the rate by the comparisons between two instants, nil if
// they do not tell one.
func measured(h rating.History, from, to time.Time) *stretch {
	within := func(t time.Time) bool { return !t.Before(from) && !t.After(to) }
	own := h
	own.Readings, own.Events = nil, nil
	for _, r := range h.Readings {
		if within(r.At) {
			own.Readings = append(own.Readings, r)
		}
	}
	for _, e := range h.Events {
		if within(e.At) && e.Kind != rating.Regulated && e.Kind != rating.Serviced {
			own.Events = append(own.Events, e)
		}
	}
	if r, err := rating.Rate(own, rating.Options{HorizonDays: 1}); err == nil && r.Rate.SD < mostStretchSD {
		return &stretch{from: r.Runs[0].From, to: r.Epoch, comparisons: r.Used, rate: r.Rate.Mean, sd: r.Rate.SD}
	}
	return twoPoint(own)
}

// mostStretchSD is the doubt from which a stretch tells nothing of a turn, s/d.
const mostStretchSD = 3.0

// usualScatter is the scatter of one day's rate where two comparisons alone
// cannot tell it, s/√d: the middle of what is taken for any chronometer.
const usualScatter = 0.2

// twoPoint returns the rate between the first and the last of few comparisons
// with nothing between them but known movements of the hands.
func twoPoint(h rating.History) *stretch {
	if len(h.Readings) < 2 {
		return nil
	}
	slices.SortStableFunc(h.Readings, func(a, b rating.Reading) int { return a.At.Compare(b.At) })
	a, b := h.Readings[0], h.Readings[len(h.Readings)-1]
	change := b.ErrorS - a.ErrorS - float64(timescale.LeapSeconds(a.At, b.At))
	for _, e := range h.Events {
		if e.At.Before(a.At) || e.At.After(b.At) {
			continue
		}
		if e.Kind != rating.HandsMoved {
			return nil
		}
		change -= e.MovedS
	}
	if b.ModulusS > 0 {
		change -= b.ModulusS * math.Round(change/b.ModulusS)
	}
	days := timescale.Days(a.At, b.At)
	rate, ok := clock.MeanRate(0, clock.DialError(change), time.Duration(days*float64(clock.Day)))
	if !ok || math.Abs(float64(rate)) > 600 {
		return nil
	}
	return &stretch{
		from: a.At, to: b.At, comparisons: len(h.Readings), rate: float64(rate),
		sd: math.Hypot(math.Hypot(a.SDS, b.SDS)/days, usualScatter/math.Sqrt(days)),
	}
}

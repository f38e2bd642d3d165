package adjust

import (
	"math"
	"slices"
	"time"

	"timeball/internal/chronometer"
	"timeball/internal/clock"
	"timeball/internal/rating"
	"timeball/internal/regulating"
	"timeball/internal/timescale"
	"timeball/internal/workshop"
)

// nearDays is how far from a turning comparisons tell the rate at it: the
// memory of a good chronometer, its white noise over its wander, is about ten
// days.
const nearDays = 14

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
func beside(seen workshop.Seen, h rating.History, at time.Time) (before, after *regulating.Stretch) {
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
	var law *rating.TemperatureLaw
	if seen.Rating != nil {
		law = seen.Rating.Temperature
	}
	return measured(h, law, from, at), measured(h, law, at, to)
}

// measured returns the mean rate by the comparisons between two instants, at
// ReferenceC if the law of temperature is known, or nil if they tell none.
func measured(h rating.History, law *rating.TemperatureLaw, from, to time.Time) *regulating.Stretch {
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
	if r, err := rating.Rate(own, rating.Options{HorizonDays: 1}); err == nil {
		for _, run := range slices.Backward(r.Runs) {
			if run.Known {
				return &regulating.Stretch{From: run.From, To: run.To, RateSPerDay: run.Rate.Mean - warmth(h, law, run.From, run.To), SDS: run.Rate.SD}
			}
		}
	}
	if s := twoPoint(own); s != nil {
		s.RateSPerDay -= warmth(h, law, s.From, s.To)
		return s
	}
	return nil
}

// warmth returns what the mean temperature read between two instants did to the
// rate, against ReferenceC; nothing if the law is not known.
func warmth(h rating.History, law *rating.TemperatureLaw, from, to time.Time) float64 {
	if law == nil || !law.LinearKnown {
		return 0
	}
	sum, n := 0.0, 0
	for _, t := range h.Temperatures {
		if t.At.Before(from) || t.At.After(to) {
			continue
		}
		u := t.C - rating.ReferenceC
		sum += law.Linear.Mean*u + law.Quadratic.Mean*u*u
		n++
	}
	if n == 0 {
		return 0
	}
	return sum / float64(n)
}

// twoPoint returns the rate between the first and the last of few comparisons
// with nothing between them but known movements of the hands.
func twoPoint(h rating.History) *regulating.Stretch {
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
	return &regulating.Stretch{From: a.At, To: b.At, RateSPerDay: float64(rate), SDS: math.Hypot(a.SDS, b.SDS) / days}
}

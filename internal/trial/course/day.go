package course

import (
	"fmt"
	"math"
	"time"

	"timeball/internal/timescale"
	"timeball/internal/trial"
)

const (
	toCome     = "still to come"
	endedFirst = "the trial was ended before"
)

// makeDays computes the days of the programme.
func (f *following) makeDays() {
	for d := 1; d <= f.last(); d++ {
		day := trial.Day{Number: d, Period: f.periods[d-1], Why: f.why(d)}
		day.ToCome = day.Why == toCome
		from, to := f.taken[d-1], f.taken[d]
		if from != nil {
			day.From, day.FirstSDS = from.At, from.SDS
		}
		if to != nil {
			day.To, day.LastSDS = to.At, to.SDS
		}
		if f.places != nil && f.over(d) {
			day.TempC, day.Position = f.places[d-1].meanC, f.places[d-1].position
		}
		if day.Why == "" {
			change, days := f.change(*from, *to)
			day.Known = true
			day.RateSPerDay = change / days
			day.SDS = math.Hypot(from.SDS, to.SDS) / days
		}
		f.Days = append(f.Days, day)
	}
}

// change returns by how much the error changed from one reading to a later one
// through going alone, s, and the SI days between them.
func (f *following) change(from, to Reading) (changeS, days float64) {
	changeS = to.ErrorS - from.ErrorS - float64(timescale.LeapSeconds(from.At, to.At))
	for _, v := range f.log.Interventions {
		if !v.Breaks && v.At.After(from.At) && !v.At.After(to.At) {
			changeS -= v.MovedS
		}
	}
	return changeS, timescale.Days(from.At, to.At)
}

// why returns why a day is not known, empty if it is.
func (f *following) why(d int) string {
	if f.Start == nil {
		return f.notYet()
	}
	if b := f.Broken; b != nil && d > b.Day {
		return fmt.Sprintf("the trial is broken by “%s” on %s; begin again", b.What, date(b.At))
	} else if b != nil && d == b.Day {
		return fmt.Sprintf("%s on %s", b.What, stamp(b.At))
	}
	for _, hour := range []int{d - 1, d} {
		if f.taken[hour] != nil {
			continue
		}
		if f.closed(hour) {
			return f.missed(hour)
		}
		return f.notYet()
	}
	if p := f.places[d-1]; p.fault != "" {
		return p.fault
	}
	return ""
}

func (f *following) notYet() string {
	if f.ended != nil {
		return endedFirst
	}
	return toCome
}

func (f *following) missed(hour int) string {
	from, to := f.Hours[hour].Add(-f.within), f.Hours[hour].Add(f.within)
	if from.YearDay() != to.YearDay() {
		return "not compared " + between(from, to)
	}
	return fmt.Sprintf("not compared on %s %s", date(from), between(from, to))
}

// makeSpans finds the stretches over missed readings, as far as every day in
// them lay as the programme asks.
func (f *following) makeSpans() {
	for i := 1; i < len(f.Readings); i++ {
		from, to := f.Readings[i-1], f.Readings[i]
		if to.Hour-from.Hour < 2 || f.brokenBefore(to.At) {
			continue
		}
		lay := true
		for d := from.Hour + 1; d <= to.Hour; d++ {
			lay = lay && f.places[d-1].fault == ""
		}
		if !lay {
			continue
		}
		change, days := f.change(from, to)
		whole := float64(to.Hour-from.Hour) / days
		f.Spans = append(f.Spans, trial.Span{First: from.Hour + 1, Last: to.Hour, ChangeS: change * whole, FirstSDS: from.SDS, LastSDS: to.SDS})
	}
}

// remarkMissed remarks on the readings that were missed before the trial was
// broken.
func (f *following) remarkMissed() {
	if f.Start == nil {
		return
	}
	for h := 1; h <= f.last(); h++ {
		if f.taken[h] != nil || !f.closed(h) || f.brokenBefore(f.Hours[h].Add(f.within)) {
			continue
		}
		days := []int{h}
		if h < f.last() && (f.Broken == nil || h+1 < f.Broken.Day) {
			days = append(days, h+1)
		}
		f.remark(f.Hours[h], h, f.missed(h), f.lost(days, "not known"))
	}
}

// remarkMoves remarks on the known steps of the hands.
func (f *following) remarkMoves() {
	if f.Start == nil {
		return
	}
	for _, v := range f.log.Interventions {
		if v.Breaks || !v.At.After(f.Start.At) || v.At.After(f.end()) || f.brokenBefore(v.At) {
			continue
		}
		f.remark(v.At, f.dayOf(v.At), fmt.Sprintf("the hands were moved on by %s s on %s", number(v.MovedS), stamp(v.At)), "the step is taken off, and the verdict stands")
	}
}

// end returns the last reading, or the end of its window.
func (f *following) end() time.Time {
	if r := f.taken[f.last()]; r != nil {
		return r.At
	}
	return f.Hours[f.last()].Add(f.within)
}

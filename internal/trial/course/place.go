package course

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"timeball/internal/trial/programme"
)

// place is how the instrument lay on a day that is past.
type place struct {
	position string   // in most of it; empty if not written
	meanC    *float64 // nil if not read
	fault    string   // why the day does not count, empty if it does
	nearly   string   // a reading of the thermometer outside the limits in a day whose mean keeps them
	nearlyAt time.Time
	faultAt  time.Time
}

// placeDays finds how the instrument lay on each day that is past, and where
// that is not as the programme asks.
func (f *following) placeDays() {
	f.places = make([]place, f.last())
	if f.Start == nil {
		return
	}
	spells := f.spells()
	for d := 1; d <= f.last(); d++ {
		if !f.over(d) {
			continue
		}
		p := &f.places[d-1]
		f.findPosition(d, p)
		f.findTemperature(d, p, spells[d-1])
	}
}

// findPosition says how it lay on a day. A change within the time allowed
// about the hour of a reading is one made at that reading.
func (f *following) findPosition(d int, p *place) {
	from, to := later(f.at(d-1), f.Hours[d-1]).Add(f.within), earlier(f.at(d), f.Hours[d]).Add(-f.within)
	if to.Before(from) {
		middle := f.Hours[d-1].Add(12 * time.Hour)
		from, to = middle, middle
	}
	want := spaced(f.period(d).Position)
	right := func(position string) bool { return want == "" || position == "" || strings.EqualFold(position, want) }
	p.position = f.positionAt(from)
	wrongFirst := !right(p.position)
	if wrongFirst {
		p.fault, p.faultAt = fmt.Sprintf("it lay %s, not %s", p.position, want), f.at(d-1)
	}
	for _, l := range f.log.Placings {
		switch {
		case l.Position == "" || !l.At.After(from) || l.At.After(to):
		case wrongFirst && right(l.Position):
			p.fault, p.faultAt = fmt.Sprintf("it lay %s until %s, not %s", p.position, stamp(l.At), want), l.At
			return
		case p.fault == "" && !right(l.Position):
			p.fault, p.faultAt = fmt.Sprintf("it was laid %s on %s, not %s", l.Position, stamp(l.At), want), l.At
		case p.position == "":
			p.position = l.Position
		}
	}
}

// positionAt returns the position written last by an instant, empty if none.
func (f *following) positionAt(at time.Time) string {
	for _, l := range slices.Backward(f.log.Placings) {
		if l.Position != "" && !l.At.After(at) {
			return l.Position
		}
	}
	return ""
}

// spells returns, for each day, the readings of the thermometer of the days
// about it that the programme asks at one temperature. They begin where it was
// moved at the reading between two temperatures, or else with that reading, so
// that the warmth of one is not carried over into the other.
func (f *following) spells() [][]Temperature {
	of := make([][]Temperature, f.last())
	from := f.begun.Add(-1)
	for d := 1; d <= f.last(); {
		e := d
		for e < f.last() && sameC(f.period(d).TempC, f.period(e+1).TempC) {
			e++
		}
		to := f.till
		if e < f.last() {
			to = f.moved(e)
		}
		var spell []Temperature
		for _, t := range f.temperature {
			if t.At.After(from) && !t.At.After(to) {
				spell = append(spell, t)
			}
		}
		for ; d <= e; d++ {
			of[d-1] = spell
		}
		from = to
	}
	return of
}

// moved returns when it was moved at an hour, or when that hour was read.
func (f *following) moved(hour int) time.Time {
	from, to := earlier(f.at(hour), f.Hours[hour]).Add(-f.within), later(f.at(hour), f.Hours[hour]).Add(f.within)
	for _, l := range f.log.Placings {
		if !l.At.Before(from) && !l.At.After(to) {
			return l.At
		}
	}
	return f.at(hour)
}

// findTemperature computes the mean over a day: straight lines between the
// readings of the spell, level before the first and after the last. It needs
// one reading in the day or about the hours at its ends.
func (f *following) findTemperature(d int, p *place, spell []Temperature) {
	from, to := f.at(d-1), f.at(d)
	near := slices.ContainsFunc(spell, func(t Temperature) bool {
		return !t.At.Before(from.Add(-f.within)) && !t.At.After(to.Add(f.within))
	})
	if !near || !to.After(from) {
		return
	}
	mean := meanC(spell, from, to)
	p.meanC = &mean
	period := f.period(d)
	if period.TempC == nil || !(f.p.WithinC > 0) || period.Apart && !named(f.p, f.periods[d-1]) {
		return
	}
	most, at, outside := 0.0, from, false
	for _, t := range spell {
		if t.At.Before(from) || t.At.After(to) {
			continue
		}
		if off := math.Abs(t.C - *period.TempC); off > most {
			most, at, outside = off, t.At, beyond(off, f.p.WithinC)
		}
	}
	off := math.Abs(mean - *period.TempC)
	if beyond(off, f.p.WithinC) {
		if p.fault == "" {
			p.fault, p.faultAt = fmt.Sprintf("%s on the mean, %s %s than the programme allows", celsius(mean), celsius(off-f.p.WithinC), warmer(mean-*period.TempC)), at
		}
		return
	}
	if outside && !f.opens(d) {
		p.nearly, p.nearlyAt = fmt.Sprintf("the thermometer read %s from what the programme asks on %s", celsius(most), stamp(at)), at
	}
}

// opens reports whether a day begins with a change of temperature, so that it
// is still on its way there.
func (f *following) opens(d int) bool {
	return d > 1 && !sameC(f.period(d-1).TempC, f.period(d).TempC)
}

// beyond reports whether a departure, °C, is greater than the limit by more
// than the arithmetic of decimals can make it.
func beyond(off, limit float64) bool { return off > limit+1e-9 }

func warmer(by float64) string {
	if by < 0 {
		return "colder"
	}
	return "warmer"
}

// named reports whether a criterion names a period, counted from 0.
func named(p programme.Programme, period int) bool {
	return slices.ContainsFunc(p.Criteria, func(c programme.Criterion) bool {
		return slices.Contains(c.Periods, period+1) || slices.Contains(c.Less, period+1)
	})
}

// meanC returns the time mean of the straight lines between readings, in order
// of time and at least one, over an interval that is not empty.
func meanC(readings []Temperature, from, to time.Time) float64 {
	at := func(t time.Time) float64 {
		i := slices.IndexFunc(readings, func(r Temperature) bool { return r.At.After(t) })
		switch {
		case i < 0:
			return readings[len(readings)-1].C
		case i == 0:
			return readings[0].C
		}
		a, b := readings[i-1], readings[i]
		return a.C + (b.C-a.C)*t.Sub(a.At).Seconds()/b.At.Sub(a.At).Seconds()
	}
	sum, last, c := 0.0, from, at(from)
	for _, r := range readings {
		if r.At.After(from) && r.At.Before(to) {
			sum += (c + r.C) / 2 * r.At.Sub(last).Seconds()
			last, c = r.At, r.C
		}
	}
	sum += (c + at(to)) / 2 * to.Sub(last).Seconds()
	return sum / to.Sub(from).Seconds()
}

func sameC(a, b *float64) bool { return a == b || a != nil && b != nil && *a == *b }

func later(a, b time.Time) time.Time {
	if a.After(b) {
		return a
	}
	return b
}

func earlier(a, b time.Time) time.Time {
	if a.Before(b) {
		return a
	}
	return b
}

// remarkPlaces remarks on the days that did not lie as the programme asks, and
// on what is not written of how they lay.
func (f *following) remarkPlaces() {
	var unread, unplaced []int
	read := false
	for d := 1; d <= f.last() && f.over(d); d++ {
		if f.Broken != nil && d >= f.Broken.Day {
			break
		}
		p := f.places[d-1]
		if p.fault != "" && f.Days[d-1].Why == p.fault {
			f.remark(p.faultAt, d, fmt.Sprintf("day %d: %s", d, p.fault), f.lost([]int{d}, "not counted"))
		}
		if p.nearly != "" {
			f.remark(p.nearlyAt, d, p.nearly, "the mean of the day keeps the limit, and the verdict stands")
		}
		if p.meanC == nil {
			unread = append(unread, d)
		} else {
			read = true
		}
		if p.position == "" && f.period(d).Position != "" {
			unplaced = append(unplaced, d)
		}
	}
	const stands = "the verdict stands, if it lay as the programme asks"
	if len(unplaced) > 0 {
		f.remark(f.at(unplaced[0]-1), unplaced[0], "in what position it lay is not written for "+dayNumbers(unplaced), stands)
	}
	switch {
	case len(unread) == 0:
	case !read:
		f.remark(f.Start.At, 1, "temperature never recorded", stands)
	default:
		f.remark(f.at(unread[0]-1), unread[0], "no temperature was read on "+dayNumbers(unread), stands)
	}
}

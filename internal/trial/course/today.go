package course

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"timeball/internal/trial/programme"
)

// next returns the hour whose reading is awaited, last+1 if none is. The first
// reading is hour 0.
func (f *following) next() int {
	if f.Start == nil {
		return 0
	}
	for h := 1; h <= f.last(); h++ {
		if f.taken[h] == nil && !f.closed(h) {
			return h
		}
	}
	return f.last() + 1
}

// findToday says where the trial is.
func (f *following) findToday() {
	next := f.next()
	t := Today{Day: min(next, f.last())}
	if next > 0 && t.Day > 0 {
		t.Period = f.periods[t.Day-1]
		t.From, t.To = f.Hours[t.Day-1], f.Hours[t.Day]
	}
	of := fmt.Sprintf("day %d of %d", t.Day, f.last())
	switch {
	case f.ended != nil && next <= f.last():
		t.State = Stopped
		t.Words = "ended on " + stamp(*f.ended)
		if t.Day > 0 {
			t.Words += ", on " + of
		} else {
			t.Words += ", before the first reading"
		}
	case f.Broken != nil:
		t.State = Broken
		t.Words = fmt.Sprintf("the trial is broken by “%s” on %s, on day %d of %d; begin again", f.Broken.What, stamp(f.Broken.At), f.Broken.Day, f.last())
	case next > f.last():
		t.State = Finished
		t.Words = "finished: no reading is to come"
	case f.Start == nil && f.now.Before(f.begun):
		t.State = Waiting
		t.Words = "to begin on " + stamp(f.begun)
	case f.Start == nil && f.now.Before(f.Due):
		t.State = Settling
		t.Words = "settling until " + notBefore(f.Due)
	case f.Start == nil:
		t.State = First
		t.Words = "settled since " + notBefore(f.Due) + "; the first reading is due"
	default:
		period := f.period(t.Day)
		t.State, t.Words = Going, of
		if how := asked(period); how != "" {
			t.Words += ", " + how
		}
		if period.Apart {
			t.State = Coming
			t.Words += ", to come to temperature"
		}
	}
	f.Today = t
}

func (f *following) task(t Task) {
	t.Late = !t.Done && !t.By.IsZero() && f.now.After(t.By)
	f.Tasks = append(f.Tasks, t)
}

// findTasks lists what is to be done now, in the order of a round.
func (f *following) findTasks() {
	switch f.Today.State {
	case Stopped, Finished:
		from := f.end()
		if f.Today.State == Stopped {
			from = *f.ended
		}
		f.task(Task{Kind: Judge, Do: f.judging(), From: from, Done: f.ended != nil})
	case Broken:
		f.task(Task{Kind: Begin, Do: "end this trial and begin again", From: f.Broken.At})
	case Waiting, Settling, First:
		f.settlingTasks()
	default:
		f.dayTasks(f.Today.Day)
	}
}

// judging says by what days a trial that is over is judged.
func (f *following) judging() string {
	for _, d := range f.Days {
		if !d.Known {
			return "judge it by the days that are known, and end it"
		}
	}
	return "judge it, and end it"
}

// settlingTasks lists what is to be done before the first reading.
func (f *following) settlingTasks() {
	if f.last() > 0 {
		if do := move(nil, f.period(1)); do != "" {
			f.task(Task{Kind: Place, Do: do, From: f.begun, By: f.begun.Add(f.within), Done: f.lies(f.period(1), f.period(1).TempC != nil, f.begun.Add(-f.within))})
		}
	}
	if last, ok := f.woundBy(f.now); ok && !last.Before(f.begun.Add(-windLate)) {
		due := last.Add(f.windEvery(last))
		switch {
		case f.now.Before(due.Add(-12 * time.Hour)):
			f.task(Task{Kind: Wind, Do: wind(f.windEvery(last)), From: f.begun, By: f.begun.Add(f.within), Done: true})
		default:
			f.task(Task{Kind: Wind, Do: wind(f.windEvery(last)), From: due.Add(-f.within), By: due.Add(f.within)})
		}
	} else {
		f.task(Task{Kind: Wind, Do: wind(f.windEvery(f.begun)), From: f.begun, By: f.begun.Add(f.within)})
	}
	if f.Due.After(f.begun) {
		f.task(Task{Kind: Settle, Do: "let it settle until " + notBefore(f.Due), From: f.begun, By: f.Due, Done: !f.now.Before(f.Due)})
	}
	f.task(Task{Kind: Read, Do: "read the thermometer with the first reading", From: f.Due, Done: f.readSince(f.Due)})
	f.task(Task{Kind: Compare, Do: "take the first reading, from " + notBefore(f.Due) + " on: its hour is the hour of all the others", From: f.Due})
}

// dayTasks lists what is to be done on a day of the programme.
func (f *following) dayTasks(d int) {
	opening, hour := f.Hours[d-1], f.Hours[d]
	from, by := hour.Add(-f.within), hour.Add(f.within)
	if r := f.taken[d-1]; r != nil && d > 1 && !f.now.After(opening.Add(f.within)) {
		f.task(Task{Kind: Compare, Do: "compare " + between(opening.Add(-f.within), opening.Add(f.within)), From: opening.Add(-f.within), By: opening.Add(f.within), Done: true})
	}

	period := f.period(d)
	var before *programme.Period
	if d > 1 {
		p := f.period(d - 1)
		before = &p
	}
	do := ""
	since := earlier(f.at(d-1), opening).Add(-f.within)
	changesC := d > 1 && !sameC(before.TempC, period.TempC)
	if d > 1 {
		do = move(before, period)
	}
	lies := f.lies(period, changesC, since)
	if do == "" && !lies {
		do = lay(period.Position)
	}
	if do != "" {
		f.task(Task{Kind: Place, Do: do, From: f.at(d - 1), By: later(f.at(d-1), opening).Add(f.within), Done: lies})
	}

	// A winding in the half day before the hour is that of its round.
	round := hour.Add(-12 * time.Hour)
	last, ok := f.woundBy(f.now)
	switch every := f.windEvery(f.now); {
	case !ok:
		f.task(Task{Kind: Wind, Do: wind(every) + "; no winding is written yet", From: f.begun, By: f.begun.Add(every)})
	case !last.Before(round):
		f.task(Task{Kind: Wind, Do: wind(every), From: round, By: by, Done: true})
	default:
		if due := last.Add(every); !due.After(by) {
			f.task(Task{Kind: Wind, Do: wind(every), From: due.Add(-f.within), By: due.Add(f.within)})
		}
	}

	f.task(Task{Kind: Read, Do: "read the thermometer", From: from, By: by, Done: f.readSince(from)})
	f.task(Task{Kind: Compare, Do: "compare " + between(from, by), From: from, By: by})
	if d < f.last() {
		if do := move(&period, f.period(d+1)); do != "" {
			f.task(Task{Kind: Place, Do: "after the comparison, " + do, From: hour, By: by})
		}
	}
}

// readSince reports whether the thermometer was read since an instant.
func (f *following) readSince(at time.Time) bool {
	n := len(f.temperature)
	return n > 0 && !f.temperature[n-1].At.Before(at)
}

// lies reports whether it lies now as a period asks: in its position, if that
// is written, and, where the temperature is a new one, moved or found at it
// since an instant.
func (f *following) lies(period programme.Period, newC bool, since time.Time) bool {
	position := f.positionAt(f.now)
	if want := spaced(period.Position); want != "" && !strings.EqualFold(position, want) && (position != "" || newC) {
		return false
	}
	if !newC {
		return true
	}
	if slices.ContainsFunc(f.log.Placings, func(l Placing) bool { return !l.At.Before(since) }) {
		return true
	}
	if n := len(f.temperature); n > 0 && period.TempC != nil && f.temperature[n-1].At.After(since) {
		off := f.temperature[n-1].C - *period.TempC
		return !beyond(max(off, -off), f.p.WithinC)
	}
	return false
}

// move returns how it comes from one period to the next, in words; empty if
// nothing changes. Without a period before, it is laid in place.
func move(from *programme.Period, to programme.Period) string {
	turned := to.Position != "" && (from == nil || !strings.EqualFold(spaced(from.Position), spaced(to.Position)))
	if from != nil && sameC(from.TempC, to.TempC) || from == nil && to.TempC == nil {
		if turned {
			return lay(to.Position)
		}
		return ""
	}
	do := "move to the room"
	if to.TempC != nil {
		do = "move to the oven at " + celsius(*to.TempC)
	}
	if to.Position != "" {
		do += ", " + to.Position
	}
	return do
}

func lay(position string) string { return "lay it " + position }

// wind returns the winding in words. A box chronometer that is wound every day
// takes 7 to 8 half-turns (Stechert, Das Marine-Chronometer (1894), §33).
func wind(every time.Duration) string {
	if every == 24*time.Hour {
		return "wind; a two-day box chronometer takes 7 to 8 half-turns"
	}
	return "wind"
}

package course

import (
	"fmt"
	"slices"
	"time"
)

// windLate is how long after its hour a winding is late; common practice, no
// source.
const windLate = 6 * time.Hour

// windEvery returns the time between two windings at an instant of the trial.
func (f *following) windEvery(at time.Time) time.Duration {
	if f.last() == 0 {
		return 24 * time.Hour
	}
	d := 1
	for d < f.last() && f.Start != nil && at.After(f.at(d)) {
		d++
	}
	if h := f.period(d).WindEveryH; h > 0 {
		return hours(h)
	}
	return 24 * time.Hour
}

// woundBy returns the last winding up to an instant; false if none is written.
func (f *following) woundBy(at time.Time) (time.Time, bool) {
	for _, w := range slices.Backward(f.log.Windings) {
		if !w.After(at) {
			return w, true
		}
	}
	return time.Time{}, false
}

// remarkWindings remarks on windings that were late or missed. A spring that is
// wound late works with another part of it, which changes the rate a little
// (Stechert, Das Marine-Chronometer (1894), §33).
func (f *following) remarkWindings() {
	until := f.till
	if f.Start != nil {
		until = earlier(until, f.end())
	}
	if f.Broken != nil {
		until = earlier(until, f.Broken.At)
	}
	if len(f.log.Windings) == 0 {
		if until.Sub(f.begun) > f.windEvery(f.begun)+windLate {
			f.remark(f.begun, 0, "no winding is written", "the verdict stands, if it was wound at its hours")
		}
		return
	}
	last := f.begun
	if w, ok := f.woundBy(f.begun); ok && f.begun.Sub(w) <= f.windEvery(f.begun)+windLate {
		last = w
	}
	const effect = "another part of the spring was at work, which may have changed the rate a little; the verdict stands"
	for _, w := range f.log.Windings {
		if !w.After(last) || w.After(until) {
			continue
		}
		if gap := w.Sub(last); gap > f.windEvery(last)+windLate {
			f.remark(w, f.dayOf(w), fmt.Sprintf("wound on %s, %s after the last winding", stamp(w), lasting(gap)), effect)
		}
		last = w
	}
	if due := last.Add(f.windEvery(last)); until.Sub(due) > windLate {
		f.remark(due, f.dayOf(due), fmt.Sprintf("not wound since %s", stamp(last)), effect)
	}
}

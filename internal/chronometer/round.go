package chronometer

import (
	"fmt"
	"time"
)

// roundSpan is how long what was done in a round counts as done: a round is
// made once a day at about the same hour.
const roundSpan = 12 * time.Hour

// Step is one thing that a morning round does with an instrument.
type Step struct {
	Done bool
	Due  bool
	At   time.Time // when it was done last; zero: never
}

// Stop is what the morning round does with an instrument that goes here.
type Stop struct {
	Wind, Temperature, Compare Step
	RunsDown                   time.Time // when it will have run down; zero: not known
	Missed                     string    // a day's winding was missed, in words; empty if none was
	Look                       bool      // see whether it still goes before it is wound
}

// Left reports whether something is still to be done.
func (s Stop) Left() bool { return s.Wind.Due || s.Temperature.Due || s.Compare.Due }

// Stop returns what the morning round does with an instrument, or false if it
// does not go here: it is wound at its own interval, its thermometer is read
// and it is compared every day.
func (i Instrument) Stop(s State, now time.Time) (Stop, bool) {
	if s.Motion != Going || s.Station == Home || s.Station == Carriage {
		return Stop{}, false
	}
	daily := func(last time.Time) Step {
		done := !last.IsZero() && now.Sub(last) < roundSpan
		return Step{Done: done, Due: !done, At: last}
	}
	every := hours(i.WindEveryH())
	stop := Stop{Wind: daily(s.Wound), Temperature: daily(s.TempAt), Compare: daily(s.Compared)}
	if s.Wound.IsZero() {
		if since := now.Sub(s.MotionSince); s.MotionKnown && since >= every+roundSpan {
			stop.Missed = fmt.Sprintf("no winding is written since it was set going on %s; see whether it still goes before you wind it", s.MotionSince.UTC().Format("Monday 2 January"))
			stop.Look = true
		}
		return stop, true
	}
	since := now.Sub(s.Wound)
	if since < every-roundSpan { // an eight-day between its days
		stop.Wind.Due = false
	}
	stop.RunsDown = s.Wound.Add(hours(i.GoingH))
	if since >= every+roundSpan {
		left := stop.RunsDown.Sub(now)
		missed := "one winding was missed"
		if n := int((since - roundSpan) / every); n > 1 {
			missed = fmt.Sprintf("%d windings were missed", n)
		}
		stop.Missed = fmt.Sprintf("%s: not wound since %s", missed, s.Wound.UTC().Format("Monday 2 January, 15:04"))
		if left <= 0 {
			stop.Look = true
			stop.Missed += "; it may have run down, so see whether it still goes before you wind it"
		} else {
			stop.Missed += fmt.Sprintf("; about %.0f h are left of its %s h", left.Hours(), number(i.GoingH))
		}
	}
	return stop, true
}

// Package bench is what a person at the bench has before them on a page: the
// taps of a comparison, the plan of a start, the stops of the morning round,
// the standard and the personal equations.
package bench

import (
	"fmt"
	"math"
	"strconv"
	"time"

	"timeball/internal/chronometer"
	"timeball/internal/clock"
	"timeball/internal/observe"
	"timeball/internal/rating"
	"timeball/internal/web/wording"
	"timeball/internal/workshop"
)

// Tapping is the part of a page on which a comparison is tapped.
type Tapping struct {
	ID       chronometer.ID // under which it is written
	Number   string
	At       string // address of the instrument
	Hours    int    // of the dial
	Marks    []Mark
	Expected string // what the dial is expected to be, in words; empty if nothing is known
	NearS    string // the same, s
	HalfS    string // half width of its 95% interval, s
	Doubtful bool   // the dial could be a minute out, so its hours and minutes must be read
	By       string
	Barred   string // why it cannot be compared now; empty if it can
	Measured string // the personal equation that will be taken off, in words
}

// Mark is a choice of marks on the seconds dial.
type Mark struct {
	EveryS string
	Words  string
}

// minuteDoubtful is the half width from which a forecast could be a minute
// out: its hours and minutes are then read off the dial.
const minuteDoubtful = 30.0

// NewTapping returns the part for an instrument; id is an ID of NewID.
func NewTapping(seen workshop.Seen, id chronometer.ID, at, by string) Tapping {
	i := seen.Instrument
	t := Tapping{ID: id, Number: i.Number, At: at, Hours: int(i.ClockDial()), By: by, Doubtful: true}
	t.Marks = []Mark{{"5", "every 5 seconds"}, {"10", "every 10 seconds"}, {"15", "every quarter minute"}}
	if b := i.Beat.Seconds(); b == 0.5 {
		t.Marks = append(t.Marks, Mark{"0.5", "on the beat, by ear"})
	}
	switch seen.State.Motion {
	case chronometer.StoodStill, chronometer.BalanceHeld:
		t.Barred = "It stands " + string(seen.State.Motion) + " since " + wording.Day(seen.State.MotionSince, seen.Now) + ": set it going first."
	}
	if seen.State.Station == chronometer.Carriage {
		t.Barred = "It is on its way: receive it first."
	}
	if seen.Current {
		t.near(seen.ErrorNow)
	}
	return t
}

func (t *Tapping) near(e rating.Interval) {
	t.Expected = wording.Error(e).String()
	t.NearS, t.HalfS = decimal(e.Mean), decimal(e.Half())
	t.Doubtful = e.Half() >= minuteDoubtful
}

// decimal writes seconds to the millisecond, for a script.
func decimal(s float64) string { return strconv.FormatFloat(math.Round(s*1000)/1000, 'f', -1, 64) }

// ErrorWords returns a dial error with the interval of its standard deviation:
// "slow 21.93 s ±0.08".
func ErrorWords(errorS, sdS float64) string {
	e, half := clock.DialError(errorS), 1.96*sdS
	return e.Words(half) + " " + e.HalfWidth(half)
}

// EquationWords says what is taken off the taps for the observer.
func EquationWords(q observe.Equation, measured bool) string {
	way := "late"
	if q.LagS < 0 {
		way = "early"
	}
	words := fmt.Sprintf("%.0f ms %s ±%.0f", 1000*math.Abs(q.LagS), way, 1960*q.SDS)
	if measured {
		return "your own personal equation, " + words
	}
	return "the usual personal equation, " + words + "; measure your own to halve it"
}

// Equation is one personal equation in words.
type Equation struct{ Observer, Device, Sense, Lag, Scatter, When string }

// NewEquation returns a measured personal equation in words.
func NewEquation(x workshop.Exercise, now time.Time) Equation {
	q := x.Equation
	return Equation{q.Observer, q.Device, string(q.Sense), q.Lag(), fmt.Sprintf("%.0f ms", 1000*q.ScatterS), wording.Day(x.At, now)}
}

// UsualWords says what is taken off the taps of an observer who was never
// measured.
func UsualWords() string {
	q := observe.Usual()
	return fmt.Sprintf("%.0f ms early ±%.0f", -1000*q.LagS, 1960*q.SDS)
}

// Package course follows a trial in the logbook: from the plain facts to the
// days of the trial, what is to be done now and what went wrong.
//
// Day d of a trial runs from the reading nearest to the hour of the first one
// d−1 days of 86,400 SI seconds after it to the reading nearest to that hour d
// days after it. Error is dial minus UTC in seconds, + fast; rate is its change
// per day, + gaining. A leap second between two readings, which steps the error
// by +1 s and is no going of the instrument, and hands moved by a known amount
// are taken off. Nothing is interpolated: a reading that was missed leaves the
// two days unknown of which it is the end and the beginning.
package course

import (
	"time"

	"timeball/internal/trial"
	"timeball/internal/trial/programme"
)

// Log is what the logbook says of one instrument. Its slices need no order and
// may reach beyond the trial on both sides.
type Log struct {
	Compared      []Comparison
	Temperatures  []Temperature
	Placings      []Placing
	Windings      []time.Time
	Interventions []Intervention
}

// Comparison is one reading of the dial against the standard.
type Comparison struct {
	Ref    string    // the caller's name for it
	At     time.Time // UTC
	ErrorS float64   // dial minus UTC, s, whole: no multiple of 12 h is open
	SDS    float64   // standard deviation, s
	TempC  *float64  // the thermometer read with it, °C
	Aside  string    // why the rating set it aside; empty if it did not
}

// Temperature is one reading of the thermometer.
type Temperature struct {
	At time.Time
	C  float64
}

// Placing says how and where the instrument lay from At on.
type Placing struct {
	At       time.Time
	Position string // in the words of the logbook; empty: as before
	Where    string // oven, shelf; may be empty
}

// Intervention is something done to the instrument. At the instant of a
// reading it counts as done before it.
type Intervention struct {
	At     time.Time
	What   string  // in words: "regulated"
	Breaks bool    // error or rate are not what they were: started, stopped, set, regulated, serviced, carried
	MovedS float64 // if it does not break: the hands were moved by this known amount, s, + on
}

// Course is a trial as it stands.
type Course struct {
	Due      time.Time   // from when on the first reading may be taken
	Start    *Reading    // the first reading; nil until it is taken
	Hours    []time.Time // of the readings, the first one included; counted from Due until it is taken
	Readings []Reading   // those that are used, in order of their hours
	Days     []trial.Day // all of the programme
	// Spans are the going over days that a missed reading leaves unknown, in
	// order. ChangeS is the mean rate between its two readings times the days,
	// which is what the rates of those days add up to.
	Spans   []trial.Span
	Broken  *Break // nil: nothing broke the trial
	Today   Today
	Tasks   []Task
	Remarks []Remark // in order of time
	Unused  []Unused // comparisons made during the trial that no day rests on, in order of time
}

// Reading is the comparison that an hour rests on.
type Reading struct {
	Hour   int // days after the first reading: 0 is the first
	Ref    string
	At     time.Time
	ErrorS float64
	SDS    float64
}

// Break is what broke a trial.
type Break struct {
	At   time.Time
	Day  int
	What string
}

// State is how far a trial has come.
type State string

// The states.
const (
	Waiting  State = "not begun"
	Settling State = "settling"
	First    State = "first reading due"
	Going    State = "going on"
	Coming   State = "to come to temperature"
	Finished State = "finished"
	Stopped  State = "stopped" // ended before its last reading
	Broken   State = "broken"
)

// Today is where a trial is.
type Today struct {
	State    State
	Day      int       // from 1; 0 before the first reading
	Period   int       // index into Programme.Periods
	From, To time.Time // the hours of the readings at its ends; zero before the first reading
	Words    string    // a sentence without its stop
}

// TaskKind is what a task asks for.
type TaskKind string

// The kinds of task.
const (
	Place   TaskKind = "place"
	Wind    TaskKind = "wind"
	Settle  TaskKind = "settle"
	Read    TaskKind = "read the thermometer"
	Compare TaskKind = "compare"
	Judge   TaskKind = "judge"
	Begin   TaskKind = "begin again"
)

// Task is one thing to do, in the words of the trade.
type Task struct {
	Kind     TaskKind
	Do       string
	From, By time.Time // zero: no hour is set
	Done     bool
	Late     bool // By is past and it is not done
}

// Remark is what a reader of the trial must see: what happened, and what it
// does to the trial.
type Remark struct {
	At     time.Time
	Day    int // 0: none, or before the first reading
	Words  string
	Effect string
}

// Unused is a comparison that no day rests on.
type Unused struct {
	Ref string
	At  time.Time
	Why string
}

// Window returns between which instants the reading of an hour may be taken.
// The first reading has no window, and neither have hours the programme has
// not: for them it returns false.
func (c Course) Window(p programme.Programme, hour int) (from, to time.Time, ok bool) {
	if hour < 1 || hour >= len(c.Hours) {
		return time.Time{}, time.Time{}, false
	}
	w := within(p)
	return c.Hours[hour].Add(-w), c.Hours[hour].Add(w), true
}

// Follow returns the course of a trial by a programme that was begun, that is,
// laid in place and wound, at an instant, as it stands now. ended is when it
// was ended, nil if it was not. What the log says of before begun, of after
// ended and of after now is not of the trial, except how the instrument lay and
// when it was last wound.
func Follow(p programme.Programme, begun time.Time, ended *time.Time, log Log, now time.Time) Course {
	f := gather(p, begun, ended, log, now)
	f.begin()
	f.assign()
	f.findBreak()
	f.placeDays()
	f.makeDays()
	f.makeSpans()
	f.remarkMoves()
	f.remarkMissed()
	f.remarkPlaces()
	f.remarkWindings()
	f.findToday()
	f.findTasks()
	return f.finish()
}

package setting

import (
	"math"
	"time"

	"timeball/internal/clock"
	"timeball/internal/timescale"
)

// UsualLimitS is the limit of the error, in s either way, that whole minutes
// of the minute hand can just keep, and the one meant unless the owner says
// another.
const UsualLimitS = 30

// Window is when to move the minute hand forward one minute.
type Window struct {
	From  time.Time     // the error can have come far enough from here on
	At    time.Time     // the move that is expected to divide the minute evenly
	To    time.Time     // the latest
	Every time.Duration // then every so often at this rate; 0 if longer than a century

	Minutes int  // how many minutes forward the move is: 1, or more if Advice is TooFar
	Sure    bool // there is an instant at which the move keeps the limit whatever the error within its 95% interval
}

// Ahead tells the error some days of 86,400 SI seconds ahead: the lower 95%
// limit, the mean and the upper limit, s; ok is false beyond what is known.
type Ahead func(days float64) (lo, mean, hi float64, ok bool)

// Advice says what to do about the minute hand.
type Advice int

// The advice.
const (
	NotWithin    Advice = iota // the move lies beyond what is known
	Move                       // within the window
	Due                        // now
	TooFar                     // now, and by more than one minute
	TooUncertain               // no date can be given
	Gaining                    // never, as long as it gains
	TooNarrow                  // the limit is below 30 s
)

var adviceNames = [...]string{NotWithin: "not within what is known", Move: "move", Due: "due", TooFar: "more than a minute due",
	TooUncertain: "too uncertain", Gaining: "gaining", TooNarrow: "limit too narrow"}

var adviceWords = [...]string{
	NotWithin:    "The minute hand need not be moved as far ahead as its error is known.",
	Move:         "Compare it, then move the minute hand forward one minute.",
	Due:          "It is time: compare it now, then move the minute hand forward one minute.",
	TooFar:       "It is past its limit by more than one minute of the hand puts right: compare it now, then move the minute hand forward by the minutes given.",
	TooUncertain: "Its error and rate are not known well enough for a date: compare it for some days first.",
	Gaining:      "It gains, and hands are never turned back nor a chronometer stopped to lose a minute: apply the known error, and have it regulated to lose when it is next opened.",
	TooNarrow:    "A limit below 30 s either way cannot be kept with whole minutes of the minute hand: apply the known error.",
}

// String returns the advice in a few words.
func (a Advice) String() string {
	if a < 0 || int(a) >= len(adviceNames) {
		return "no advice"
	}
	return adviceNames[a]
}

// Words returns the advice as a sentence.
func (a Advice) Words() string {
	if a < 0 || int(a) >= len(adviceWords) {
		return "No advice can be given."
	}
	return adviceWords[a]
}

// HandMove returns when the minute hand of a chronometer of the given rate and
// standard deviation of rate (s/d) is to be moved forward one minute, so that
// its error stays within limitS seconds either way.
//
// The move is right from limitS-60 on, since it must not leave the dial faster
// than limitS, and before -limitS. At 30 s the two are one: the window then
// runs from the day the lower 95% limit of the error reaches -30 to the day
// the upper one does. A wider limit leaves room: the window runs from the day
// the lower limit reaches limitS-60 to the day it reaches -limitS, after which
// the limit may have been passed. With NotWithin the window holds what is
// known of it and zero instants for the rest.
func HandMove(now time.Time, rate clock.Rate, rateSD, limitS float64, ahead Ahead) (Window, Advice) {
	now = now.Round(0).UTC()
	r := float64(rate)
	if !(limitS >= UsualLimitS) {
		return Window{}, TooNarrow
	}
	if math.IsNaN(r) || math.IsInf(r, 0) || !(rateSD >= 0) {
		return Window{}, TooUncertain
	}
	lo, mean, _, ok := ahead(0)
	if !ok {
		return Window{}, NotWithin
	}
	w := Window{Minutes: 1, Every: every(r)}
	early, late := limitS-60, -limitS
	if r >= 0 {
		return gaining(w, now, r, rateSD, mean, late)
	}
	switch {
	case mean <= late || mean <= early && lo <= late:
		w.From, w.At, w.To = now, now, now
		if w.Minutes = max(1, int(math.Ceil((late-mean)/60))); w.Minutes > 1 {
			return w, TooFar
		}
		return w, Due
	case rateSD > -r/4, lo <= late && early > late:
		return Window{}, TooUncertain
	}
	s := search{ahead, now}
	w.From, _ = s.reaches(lower, early)
	at, known := s.reaches(middle, -UsualLimitS)
	w.At = at
	if limitS == UsualLimitS {
		w.To, _ = s.reaches(upper, late)
	} else {
		w.To, _ = s.reaches(lower, late)
		if !w.To.IsZero() && (!known || w.At.After(w.To)) {
			w.At = w.To
		}
		sure, yes := s.reaches(upper, early)
		w.Sure = yes && !w.To.IsZero() && !sure.After(w.To)
	}
	if w.From.IsZero() || w.At.IsZero() || w.To.IsZero() {
		return w, NotWithin
	}
	return w, Move
}

// gaining returns the advice for a dial that does not lose: a move helps only
// if it leaves the dial slow, as what it then gains brings it right.
func gaining(w Window, now time.Time, r, rateSD, mean, late float64) (Window, Advice) {
	w.Every = 0
	n := int(math.Floor(-mean / 60))
	switch {
	case mean <= late && n > 1:
		w.From, w.At, w.To, w.Minutes = now, now, now, n
		return w, TooFar
	case mean <= late && n == 1:
		w.From, w.At, w.To = now, now, now
		return w, Due
	case rateSD > r/4:
		return Window{}, TooUncertain
	}
	return Window{}, Gaining
}

// every returns how long a losing rate takes to lose a minute; 0 if more than
// a century.
func every(r float64) time.Duration {
	days := -60 / r
	if !(days > 0 && days < 36525) {
		return 0
	}
	return time.Duration(math.Round(days * float64(clock.Day)))
}

// farthestDays ends the search where a forecast has no end of its own.
const farthestDays = 3653

type search struct {
	ahead Ahead
	now   time.Time
}

func lower(lo, _, _ float64) float64    { return lo }
func middle(_, mean, _ float64) float64 { return mean }
func upper(_, _, hi float64) float64    { return hi }

// reaches returns the first instant at which the limit named has come down to
// level; it is zero and false beyond what is known.
func (s search) reaches(of func(lo, mean, hi float64) float64, level float64) (time.Time, bool) {
	at := func(days float64) (below, known bool) {
		lo, mean, hi, ok := s.ahead(days)
		return ok && of(lo, mean, hi) <= level, ok
	}
	if below, _ := at(0); below {
		return s.now, true
	}
	a, b := 0.0, 1.0
	below, known := at(b)
	for ; known && !below && b < farthestDays; below, known = at(b) {
		a, b = b, b+1
	}
	if !known {
		b = s.lastKnown(a, b)
		below, known = at(b)
	}
	if !known || !below {
		return time.Time{}, false
	}
	for b-a > 1e-8 {
		half := (a + b) / 2
		if below, known := at(half); known && below {
			b = half
		} else {
			a = half
		}
	}
	return timescale.AddDays(s.now, b), true
}

// lastKnown returns the last of the days from a, which is known, to b, which
// is not, to a tenth of a second.
func (s search) lastKnown(a, b float64) float64 {
	for b-a > 1e-6 {
		half := (a + b) / 2
		if _, _, _, ok := s.ahead(half); ok {
			a = half
		} else {
			b = half
		}
	}
	return a
}

package journey

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"time"

	"timeball/internal/rating"
	"timeball/internal/timescale"
)

// ErrCarriage marks a journey that cannot have been, such as one that ended
// before it began.
var ErrCarriage = errors.New("not a journey")

// Carriage is one journey.
type Carriage struct {
	Left    time.Time
	Arrived time.Time // when it was there, or going again if it was stopped; zero: it has not arrived
	Stopped bool      // stopped and held for it, so that the error begins anew

	// FoundStopped says that nobody stopped it: it went when it left and stood
	// when it was opened.
	FoundStopped bool

	Wish float64 // change of rate to be seen, s/d; 0: Usual
}

// Verdict is what the comparisons say of a journey.
type Verdict string

// The verdicts.
const (
	NoChange    Verdict = "no change shows"
	RateChanged Verdict = "rate changed"
	Tripped     Verdict = "tripped" // the escapement let more than one tooth pass at a swing
	GrowingLoss Verdict = "growing loss"
	TooFew      Verdict = "too few comparisons yet"
	CannotTell  Verdict = "cannot be told"
)

// Finding is what is known of a journey.
type Finding struct {
	Verdict Verdict
	Also    []Verdict // shown besides, graver first
	Words   string    // the verdict with its reason, in sentences
	LookAt  []string  // what to look at, each a sentence
	Notes   []string  // what a reader must know besides, each a sentence

	// Chance is of how many unharmed journeys, as a share, something as large
	// is found, however often it is asked; 1 if no planned day is reached.
	Chance float64

	Before, After int              // comparisons on each side
	Aside         int              // of these set aside as misreadings
	RateBefore    *rating.Interval // s/d when it left, nil if not known; at rating.ReferenceC if Tempered
	RateAfter     *rating.Interval // s/d when it arrived, nil until it is known
	RateNow       *rating.Interval // s/d at the last comparison
	Tempered      bool             // temperatures are recorded, so that rates are at rating.ReferenceC
	Change        *rating.Interval // s/d over the journey, from all comparisons; nil if not known
	P             float64          // two-sided, of Change as if it were asked for once only
	Jump          *rating.Interval // s by which the error stepped on the way; nil unless it went all the way
	Growth        *rating.Interval // s/d by which the rate changes every day since it arrived, nil before a fortnight
	Day           int              // the planned day the verdict rests on, 0: none reached
	Through       time.Time        // the last comparison the verdict rests on
	Main          int              // the planned day on which a change will be judged
	Next          time.Time        // when the next verdict is due; zero: none
	Smallest      float64          // change of rate that would be seen from the comparisons there are, 80% power, s/d; +Inf: none
	Limit         float64          // change of rate below which its wandering hides any, s/d
	Need          Need             // of daily comparisons for the wished change
	Wish          float64          // s/d
}

// Need is how many more daily comparisons let the wished change be seen with
// 80% power by a test at the level of the main day, with the noise as it is
// thought to be now.
type Need struct {
	Days  int    // 0: there are enough
	Never bool   // no number will do
	Why   string // a sentence if Never
}

// fewest is the number of comparisons on each side from which anything is said:
// with fewer, one misreading is a change.
const fewest = 3

// mostBefore is how many comparisons before the journey are looked at; what is
// older tells nothing of the rate at the start and little more of the noise.
const mostBefore = 120

// Examine returns what the comparisons of a history say of a journey. A history
// that says nothing gives a Finding that says why; an error wraps ErrCarriage if
// the journey cannot have been.
func Examine(h rating.History, c Carriage) (Finding, error) {
	switch {
	case c.Left.IsZero():
		return Finding{}, fmt.Errorf("%w: it is not said when it left; give the day", ErrCarriage)
	case !c.Arrived.IsZero() && !c.Arrived.After(c.Left):
		return Finding{}, fmt.Errorf("%w: it arrived %s and left %s; put the dates right", ErrCarriage, c.Arrived.Format(time.RFC3339), c.Left.Format(time.RFC3339))
	case c.Wish < 0 || math.IsNaN(c.Wish) || math.IsInf(c.Wish, 0):
		return Finding{}, fmt.Errorf("%w: a change of rate of %v s a day is asked for; give a positive one", ErrCarriage, c.Wish)
	}
	if c.Wish == 0 {
		c.Wish = Usual
	}
	f := Finding{Verdict: CannotTell, Chance: 1, Smallest: math.Inf(1), Wish: c.Wish}
	if c.Arrived.IsZero() {
		f.Words = "It has not arrived: nothing can be said of its going until it is there and has been compared."
		f.LookAt = []string{lostParcel}
		return f, nil
	}
	x := cut(h, c)
	f.Before, f.After = len(x.before), len(x.after)
	if done := f.wanting(&x); done {
		return f, nil
	}
	if err := f.measure(&x); err != nil {
		if errors.Is(err, rating.ErrThin) || errors.Is(err, rating.ErrNotDetermined) {
			f.Words = sentence("nothing can be said: " + err.Error())
			return f, nil
		}
		return Finding{}, err
	}
	return f, nil
}

// wanting says why nothing can be said, if so.
func (f *Finding) wanting(x *journey) bool {
	f.Notes = append(f.Notes, x.notes...)
	switch {
	case x.altered != "":
		f.Words = fmt.Sprintf("It was %s between the last comparison before the journey and the first after it. What that did and what the journey did cannot be told apart.", x.altered)
		f.LookAt = []string{"Rate it anew, as after any regulating or service: daily comparisons for a fortnight."}
	case len(x.before) == 0:
		f.Words = "There is no comparison from before the journey, so nothing tells how it went then."
		f.LookAt = []string{"Rate it anew where it is: daily comparisons for a fortnight. An older certificate may tell how it went, if nothing was done to it since."}
	case len(x.before) < fewest:
		f.Words = fmt.Sprintf("There %s from before the journey, too few to tell its rate then.", count(len(x.before)))
		f.LookAt = []string{"Rate it anew where it is: daily comparisons for a fortnight."}
	default:
		return false
	}
	return true
}

// journey is a history about one journey.
type journey struct {
	Carriage
	history rating.History // with the comparisons used and the events among them
	before  []time.Time    // instants of the comparisons
	after   []time.Time
	middle  time.Time
	altered rating.EventKind // regulated or serviced between the last before and the first after
	anew    bool             // the error begins anew between them
	warmth  bool             // a temperature was read on the way
	notes   []string
}

// cut takes from a history what tells of a journey: the comparisons made while
// it went, up to when it left and from when it arrived until something else was
// done to its rate.
func cut(h rating.History, c Carriage) journey {
	x := journey{Carriage: c, middle: c.Left.Add(c.Arrived.Sub(c.Left) / 2), anew: c.Stopped || c.FoundStopped}
	readings, events := slices.Clone(h.Readings), slices.Clone(h.Events)
	slices.SortStableFunc(readings, func(a, b rating.Reading) int { return a.At.Compare(b.At) })
	slices.SortStableFunc(events, func(a, b rating.Event) int { return a.At.Compare(b.At) })
	var before, after []rating.Reading
	next, stopped, still, under := 0, false, 0, 0
	ended := rating.Event{}
	for _, r := range readings {
		for ; next < len(events) && !events[next].At.After(r.At); next++ {
			e := events[next]
			switch e.Kind {
			case rating.Stopped:
				stopped = true
			case rating.Started:
				stopped = false
			case rating.Regulated, rating.Serviced, rating.Carried:
				if len(after) > 0 && ended.At.IsZero() {
					ended = e
				}
			}
		}
		switch {
		case !ended.At.IsZero():
		case stopped:
			if !r.At.Before(c.Arrived) {
				still++
			}
		case !r.At.After(c.Left):
			before = append(before, r)
		case r.At.Before(c.Arrived):
			under++
		default:
			after = append(after, r)
		}
	}
	before = before[max(0, len(before)-mostBefore):]
	x.history = h
	x.history.Readings = append(slices.Clone(before), after...)
	x.history.Events = nil
	for _, e := range events {
		if len(before) == 0 || e.At.Before(before[0].At) || !ended.At.IsZero() && !e.At.Before(ended.At) {
			continue
		}
		x.history.Events = append(x.history.Events, e)
		if !e.At.After(before[len(before)-1].At) || len(after) > 0 && e.At.After(after[0].At) {
			continue
		}
		switch e.Kind { // on the way, or beside it
		case rating.Regulated, rating.Serviced:
			x.altered = e.Kind
		case rating.Started, rating.HandsSet:
			x.anew = true
		}
	}
	for _, r := range before {
		x.before = append(x.before, r.At)
	}
	for _, r := range after {
		x.after = append(x.after, r.At)
	}
	x.say(ended, still, under, stopped)
	return x
}

// say notes what was left out and what a reader must know of the history.
func (x *journey) say(ended rating.Event, still, under int, stopped bool) {
	note := func(format string, args ...any) { x.notes = append(x.notes, fmt.Sprintf(format, args...)) }
	switch {
	case ended.Kind == rating.Carried:
		note("It was carried again on %s; only the comparisons until then tell of this journey.", ended.At.Format("2 January 2006"))
	case !ended.At.IsZero():
		note("It was %s on %s; only the comparisons until then tell of this journey.", ended.Kind, ended.At.Format("2 January 2006"))
	}
	if under > 0 {
		note("%d of its comparisons lie on the way and are left out.", under)
	}
	if still > 0 {
		note("%d of its comparisons since then were read while it stood and are left out.", still)
	} else if stopped && ended.At.IsZero() {
		note("It stands, as the logbook has it.")
	}
	if x.FoundStopped {
		note("It stood when it arrived and nobody had stopped it. After a stop without a known cause a chronometer is unsettled for 8 to 14 days at best; if it stops again, do not start it, and send it to be repaired (Stechert (1894), §35; HWA p. 654).")
	} else if x.anew {
		note("It begins anew after its stop: its rate may take days to settle, and a verdict before a fortnight is for the time being (common practice).")
	}
	for _, e := range x.history.Events {
		if e.Kind == rating.Stopped && len(x.after) > 0 && e.At.After(x.after[0]) {
			note("It stopped or was stopped on %s, after it had arrived; its rate may be unsettled since.", e.At.Format("2 January 2006"))
			break
		}
	}
	var there, here bool
	for _, t := range x.history.Temperatures {
		x.warmth = x.warmth || t.At.After(x.Left) && t.At.Before(x.Arrived)
		there, here = there || !t.At.After(x.Left), here || !t.At.Before(x.Arrived)
	}
	if !there || !here {
		when := "since it arrived"
		if here {
			when = "from before it left"
		}
		note("No temperature is noted %s: a room warmer or colder than before changes the rate too, by up to about 0.1 s a day for each degree. Note it with each comparison.", when)
	}
}

// upTo returns the history with the first n comparisons after the arrival.
func (x *journey) upTo(n int) rating.History {
	h := x.history
	h.Readings = h.Readings[:len(x.before)+n]
	return h
}

// gap returns the days from the last comparison before to the first after, or
// to half a day after the arrival if there is none.
func (x *journey) gap() float64 {
	last := x.before[len(x.before)-1]
	if len(x.after) > 0 {
		return timescale.Days(last, x.after[0])
	}
	return timescale.Days(last, x.Arrived) + 0.5
}

// since returns instants in days from the first comparison.
func (x *journey) since(at []time.Time) []float64 {
	t := make([]float64, len(at))
	for i, a := range at {
		t[i] = timescale.Days(x.before[0], a)
	}
	return t
}

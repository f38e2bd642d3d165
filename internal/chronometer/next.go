package chronometer

import (
	"cmp"
	"slices"
	"time"
)

// Known is what a rating says of an instrument at the instant asked about.
type Known struct {
	ErrorS      float64 // dial minus UTC, s
	ErrorHalfS  float64 // half width of its 95% interval, s
	RateSPerDay float64 // s/d
	Suspect     string  // why the rate must be looked at, in words; empty if nothing

	// Between which instants the minute hand is to be moved forward one minute;
	// zero: not within what is known.
	MoveFrom, MoveTo time.Time
	MoveMinutes      int // how many minutes forward the move is; 0: 1
}

// Action is one thing to do next.
type Action struct {
	Verb  string    // what the button says: Wind, Compare, Start …
	Kind  Kind      // the entry that doing it writes; empty: look at the instrument
	Say   string    // the action as a phrase without its time
	Due   time.Time // when; zero: now
	Until time.Time // by when, if there is time for it from Due on; zero: none
	Late  bool      // it should have been done
	Stop  bool      // it is a warning: something is wrong
}

// horizonDays is how far ahead an action is announced.
const horizonDays = 60

// Next returns what to do next with an instrument, the most urgent first. The
// known figures may be nil when the comparisons do not carry a rating yet.
// Intervals are common practice, no source, unless said.
func Next(i Instrument, s State, known *Known, now time.Time) []Action {
	var todo []Action
	switch {
	case s.Station == Carriage:
		todo = append(todo, Action{Verb: "Receive", Kind: KindReceived, Say: "on its way since " + s.StationSince.Format("2 January") + ": receive it", Due: s.StationSince.AddDate(0, 0, 14)})
	case s.Motion == BalanceHeld && s.Packed:
		todo = append(todo, Action{Verb: "Send", Kind: KindSent, Say: "packed: send it"})
	case s.Motion == BalanceHeld:
		todo = append(todo, Action{Verb: "Release", Kind: KindReleased, Say: "balance held: release it, then start"})
	case s.Motion == StoodStill, s.Motion == NotKnown:
		todo = append(todo, still(s))
	default:
		todo = going(i, s, known, now)
	}
	if a, ok := jobAction(s, now); ok {
		todo = append(todo, a)
	}
	for n, a := range todo {
		due := a.Due
		if !a.Until.IsZero() {
			due = a.Until
		}
		if !due.IsZero() && !a.Stop {
			todo[n].Late = now.After(due)
		}
	}
	slices.SortStableFunc(todo, func(a, b Action) int {
		return cmp.Or(-boolCompare(a.Stop, b.Stop), a.Due.Compare(b.Due))
	})
	return todo
}

func boolCompare(a, b bool) int {
	switch {
	case a == b:
		return 0
	case a:
		return 1
	}
	return -1
}

// still says what to do with one that does not go. After an unexplained stop
// it is unsettled for a week or two, after a second it is not restarted but
// repaired (Stechert, Das Marine-Chronometer (1894), §35).
func still(s State) Action {
	switch {
	case s.Motion == NotKnown && !s.JobOpen:
		return Action{Verb: "Compare", Kind: KindCompared, Say: "new in the book: compare it daily, or start it"}
	case s.Station == Home:
		return Action{Verb: "Ask", Kind: KindNote, Say: "stopped with its owner: find out why before it is started", Stop: true}
	case s.JobOpen && !s.Worked:
		return Action{Verb: "Examine", Kind: KindFound, Say: "examine it and write what is found"}
	}
	return Action{Verb: "Start", Kind: KindStarted, Say: "ready to be started on the signal"}
}

// firstCompared is how soon after a start a dial is compared.
const firstCompared = 2 * time.Hour

// heard returns when an entry last told that it went.
func (s State) heard() time.Time {
	last := s.MotionSince
	for _, t := range []time.Time{s.Compared, s.Wound} {
		if t.After(last) {
			last = t
		}
	}
	return last
}

func going(i Instrument, s State, known *Known, now time.Time) []Action {
	var todo []Action
	if known != nil && known.Suspect != "" {
		todo = append(todo, Action{Verb: "Look", Say: known.Suspect, Stop: true})
	}
	if !s.Wound.IsZero() {
		every := hours(i.WindEveryH())
		runsDown := s.Wound.Add(hours(i.GoingH))
		switch {
		case s.Station == Home && now.Sub(s.Wound) > 2*every:
			// An owner winds without writing it down here.
		case now.After(runsDown):
			todo = append(todo, Action{Verb: "Look", Kind: KindStopped, Say: "not wound since " + s.Wound.Format("2 January") + ": it may have run down", Due: runsDown, Stop: true})
		default:
			todo = append(todo, Action{Verb: "Wind", Kind: KindWound, Say: "wind", Due: s.Wound.Add(every)})
		}
	}
	if s.Wound.IsZero() && s.MotionKnown && s.Station != Home {
		todo = append(todo, Action{Verb: "Wind", Kind: KindWound, Say: "wind: no winding is written yet", Due: s.MotionSince.Add(hours(i.WindEveryH()))})
	}
	if s.Compares == 0 {
		todo = append(todo, Action{Verb: "Compare", Kind: KindCompared, Say: "compare: its error is not known since " + s.RunSince.Format("2 January"), Due: s.RunSince.Add(firstCompared)})
	} else {
		every := 24 * time.Hour
		if s.Station == Home {
			every = 30 * 24 * time.Hour
		}
		todo = append(todo, Action{Verb: "Compare", Kind: KindCompared, Say: "compare", Due: s.Compared.Add(every)})
	}
	if silent := s.heard(); s.Wound.IsZero() && s.Station != Home && now.Sub(silent) > hours(i.GoingH+24) {
		todo = append(todo, Action{Verb: "Look", Kind: KindStopped, Say: "nothing is written of it since " + silent.Format("2 January 2006") + ": see whether it goes", Due: silent.Add(hours(i.GoingH)), Stop: true})
		return todo
	}
	if known != nil {
		if a, ok := moveHand(*known, now); ok {
			todo = append(todo, a)
		}
	}
	return todo
}

// moveHand returns when the minute hand is to be moved forward one minute, if
// that is not far ahead.
func moveHand(k Known, now time.Time) (Action, bool) {
	if k.MoveFrom.IsZero() || k.MoveFrom.Sub(now) > horizonDays*24*time.Hour {
		return Action{}, false
	}
	return Action{Verb: "Move hand", Kind: KindMoved, Say: "compare, then move the minute hand forward " + number(float64(max(k.MoveMinutes, 1))) + " min", Due: k.MoveFrom, Until: k.MoveTo}, true
}

func hours(h float64) time.Duration { return time.Duration(h * float64(time.Hour)) }

package setting

import (
	"math"
	"time"

	"timeball/internal/clock"
	"timeball/internal/timescale"
)

// mostMoves ends a list that nobody would follow.
const mostMoves = 400

// Moves are the moves of the minute hand expected over a time ahead.
type Moves struct {
	Windows []Window // in order of time, each counting on those before it being made
	Then    Then
	After   time.Time // from here on no dates are given; zero if none ever are
}

// Then says why a list of moves ends where it does.
type Then int

// The ends of a list of moves.
const (
	OnWithTheYears Then = iota // the next move lies beyond the time asked for
	CompareFirst               // the window would be wider than half the time between moves
	KnownNoFurther             // the error is not known as far ahead as the next move
	NeverWhile                 // the chronometer gains
	NeverSo                    // the limit is below 30 s
	NotYet                     // no date at all can be given
)

var thenWords = [...]string{
	OnWithTheYears: "The moves go on in the same way: ask for a new list before then.",
	CompareFirst:   "From then on the date is too uncertain: compare it first, and ask for a new list.",
	KnownNoFurther: "The error is not known any further ahead: compare it before then, and ask for a new list.",
	NeverWhile:     adviceWords[Gaining],
	NeverSo:        adviceWords[TooNarrow],
	NotYet:         adviceWords[TooUncertain],
}

// Words returns the end of the list as a sentence for its reader.
func (t Then) Words() string {
	if t < 0 || int(t) >= len(thenWords) {
		return adviceWords[TooUncertain]
	}
	return thenWords[t]
}

// HandMoves returns the windows of all moves of the minute hand that can begin
// from now until an instant, as HandMove gives the first. Each move adds 60 s
// to the error and leaves its doubt, so that the windows widen as the doubt
// grows. The list ends before a window whose doubt, the time between the lower
// and the upper 95% limit reaching 30 s slow, is longer than half the time
// between moves: a comparison is needed first. At a limit above 60 s, where
// windows would overlap, each is cut half way to the next.
func HandMoves(now time.Time, rate clock.Rate, rateSD, limitS float64, ahead Ahead, until time.Time) Moves {
	now, until = now.Round(0).UTC(), until.Round(0).UTC()
	known := remembered(ahead)
	var m Moves
	added := 0.0
	for len(m.Windows) < mostMoves {
		shifted := func(days float64) (lo, mean, hi float64, ok bool) {
			lo, mean, hi, ok = known(days)
			return lo + added, mean + added, hi + added, ok
		}
		w, advice := HandMove(now, rate, rateSD, limitS, shifted)
		switch advice {
		case Move, NotWithin:
			if end, over := ends(w, now, until, shifted); over {
				m.Then, m.After = end, w.From
				if w.From.IsZero() || w.From.After(until) {
					m.After = until
				}
				return m.apart(limitS, until)
			}
		case Gaining:
			m.Then = NeverWhile
			return m
		case TooNarrow:
			m.Then = NeverSo
			return m
		case TooUncertain:
			m.Then = NotYet
			return m
		}
		m.Windows = append(m.Windows, w)
		added += 60 * float64(w.Minutes)
	}
	m.After = m.Windows[len(m.Windows)-1].To
	return m.apart(limitS, until)
}

// ends tells whether the list ends before a window not yet due, and why.
func ends(w Window, now, until time.Time, ahead Ahead) (Then, bool) {
	s := search{ahead, now}
	switch {
	case w.From.After(until):
		return OnWithTheYears, true
	case w.From.IsZero():
		if _, _, _, ok := ahead(timescale.Days(now, until)); ok {
			return OnWithTheYears, true
		}
		return KnownNoFurther, true
	}
	first, _ := s.reaches(lower, -UsualLimitS)
	last, known := s.reaches(upper, -UsualLimitS)
	switch {
	case w.Every > 0 && known && last.Sub(first) > w.Every/2:
		return CompareFirst, true
	case w.At.IsZero() || w.To.IsZero() || !known:
		// A window whose end is not in sight is wide already if the doubt seen
		// so far is.
		if end := s.sight(); w.Every > 0 && !first.IsZero() && end.Sub(first) > w.Every/2 {
			return CompareFirst, true
		}
		return KnownNoFurther, true
	}
	return 0, false
}

// sight returns the last instant that is known, at most as far as a search goes.
func (s search) sight() time.Time {
	known := func(days float64) bool { _, _, _, ok := s.ahead(days); return ok }
	if known(farthestDays) {
		return timescale.AddDays(s.now, farthestDays)
	}
	return timescale.AddDays(s.now, s.lastKnown(0, farthestDays))
}

// apart cuts windows that overlap half way between the moves, and leaves out
// those that then begin only after until.
func (m Moves) apart(limitS float64, until time.Time) Moves {
	for i := 1; limitS > 60 && i < len(m.Windows); i++ {
		a, b := &m.Windows[i-1], &m.Windows[i]
		if half := a.At.Add(b.At.Sub(a.At) / 2); b.From.Before(a.To) {
			a.To, b.From = earlier(a.To, half), later(b.From, half)
			if b.From.After(until) {
				return Moves{m.Windows[:i], OnWithTheYears, until}
			}
		}
	}
	return m
}

func earlier(a, b time.Time) time.Time {
	if b.Before(a) {
		return b
	}
	return a
}

func later(a, b time.Time) time.Time {
	if b.After(a) {
		return b
	}
	return a
}

// remembered returns ahead with its whole days kept, which the search for each
// move goes through anew.
func remembered(ahead Ahead) Ahead {
	type limits struct {
		lo, mean, hi float64
		ok           bool
	}
	days := map[float64]limits{}
	return func(d float64) (lo, mean, hi float64, ok bool) {
		if d != math.Trunc(d) {
			return ahead(d)
		}
		l, seen := days[d]
		if !seen {
			l.lo, l.mean, l.hi, l.ok = ahead(d)
			days[d] = l
		}
		return l.lo, l.mean, l.hi, l.ok
	}
}

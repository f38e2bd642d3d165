// Package abreast is what the page of several chronometers together shows: how
// they differ now and over time, which of them altered, how steady each one is
// by itself, and what time they make it between them, in words.
package abreast

import (
	"fmt"
	"math"
	"net/url"
	"slices"
	"time"

	"timeball/internal/adjust"
	"timeball/internal/clock"
	"timeball/internal/together"
	"timeball/internal/web/drawing"
	"timeball/internal/web/wording"
	"timeball/internal/workshop"
)

// The names of what is asked.
const (
	WithField    = "with"
	AgainstField = "against"
)

// z95 is the 97.5% point of the normal law.
const z95 = 1.959963984540054

// Choice is one instrument of the room, to be compared with others.
type Choice struct {
	Value, Words string // its number or ID; "No. 417, Corvane & Dray"
	When         string // it was last compared
	Why          string // why it cannot be compared with others; empty if it can
	Chosen       bool
}

// oneRound is how far apart the last comparisons may lie of instruments that
// are suggested together.
const oneRound = 45 * time.Minute

// Choices returns every instrument of a room in the order of their numbers,
// those first that can be compared with others. The ones asked for are chosen
// or, if none is, the largest group that was last compared in one round, if
// there is one.
func Choices(room workshop.Room, asked []string) []Choice {
	if len(asked) == 0 {
		asked = oneGroup(room)
	}
	var fit, unfit []Choice
	for _, seen := range room.Instruments {
		c := Choice{Value: value(seen), Words: "No. " + seen.Instrument.Number + wording.After(", ", seen.Instrument.Maker)}
		c.Chosen = slices.Contains(asked, c.Value) || slices.Contains(asked, string(seen.ID))
		if !seen.State.Compared.IsZero() {
			c.When = "compared " + wording.Instant(seen.State.Compared, room.Now)
		}
		switch {
		case seen.Instrument.Number == "":
			continue // so new that nothing is read of it yet
		case adjust.Fit(seen) != "":
			c.Why, c.Chosen = adjust.Fit(seen), false
			unfit = append(unfit, c)
		default:
			fit = append(fit, c)
		}
	}
	byNumber := func(a, b Choice) int {
		if len(a.Value) != len(b.Value) {
			return len(a.Value) - len(b.Value)
		}
		if a.Value < b.Value {
			return -1
		}
		return 1
	}
	slices.SortStableFunc(fit, byNumber)
	slices.SortStableFunc(unfit, byNumber)
	return append(fit, unfit...)
}

// value names an instrument in the address of the page.
func value(seen workshop.Seen) string {
	if seen.Instrument.Number == "" {
		return string(seen.ID)
	}
	return seen.Instrument.Number
}

// oneGroup returns the largest group of instruments that were last compared in
// one round, the newest of equal ones; nothing if no two were.
func oneGroup(room workshop.Room) []string {
	var best []string
	var newest time.Time
	for _, first := range room.Instruments {
		var group []string
		for _, seen := range room.Instruments {
			after := seen.State.Compared.Sub(first.State.Compared)
			if adjust.Fit(seen) == "" && after >= 0 && after <= oneRound && len(group) < together.MaxInstruments {
				group = append(group, value(seen))
			}
		}
		if len(group) > len(best) || len(group) == len(best) && first.State.Compared.After(newest) {
			best, newest = group, first.State.Compared
		}
	}
	if len(best) < 2 {
		return nil
	}
	return best
}

// Several is what several instruments say of each other.
type Several struct {
	Rounds     string   // how many there are, and since when
	Differ     []string // how they stand to each other now
	Against    []Against
	Pairs      []Pair
	Changes    []Change // the newest first
	Earlier    []Change // the others
	Quiet      []string // what is said where nothing shows, or none can be accused
	Steadiness []Steady
	Unsteady   string // why there is no steadiness of each
	UTC        UTC
	Warnings   []string
}

// Against is an instrument that the others can be shown against.
type Against struct {
	Number, Href string
	Chosen       bool
}

// Steady is the steadiness of one instrument by itself.
type Steady struct {
	Number   string
	Words    string // "0.06 s a day, 0.04 to 0.10"
	Resolved bool
}

// mostSentences is up to how many instruments every pair is told; of more, each
// is told against one.
const mostSentences = 4

// latestChanges is how many changes a page shows before the others are folded
// away.
const latestChanges = 3

// New returns what instruments, as they were asked for in an address with
// answers, say of each other.
func New(seens []workshop.Seen, t adjust.Together, answers url.Values) Several {
	now := seens[0].Now
	s := Several{Warnings: sentences(t.Result.Warnings)}
	s.Rounds = wording.Upper(wording.Counted(t.Result.Rows, "round", "rounds")) + " in which two or more of them were compared, from " + wording.Day(t.Result.From, now) + " to " + wording.Day(t.Result.To, now) + "."
	against := seens[0]
	for _, seen := range seens {
		if seen.Instrument.Number == answers.Get(AgainstField) {
			against = seen
		}
	}
	for i, a := range seens {
		for _, b := range seens[i+1:] {
			if len(seens) <= mostSentences || a.ID == against.ID || b.ID == against.ID {
				s.Differ = append(s.Differ, between(t.Book, a, b))
			}
		}
		q := url.Values{WithField: answers[WithField], AgainstField: {a.Instrument.Number}}
		s.Against = append(s.Against, Against{a.Instrument.Number, "/together?" + q.Encode(), a.ID == against.ID})
	}
	for _, seen := range seens {
		if seen.ID == against.ID {
			continue
		}
		s.Pairs = append(s.Pairs, newPair(len(s.Pairs)+1, t, seen, against))
	}
	for _, c := range slices.Backward(t.Result.Changes) {
		s.Changes = append(s.Changes, newChange(c, now))
	}
	if len(s.Changes) > latestChanges {
		s.Changes, s.Earlier = s.Changes[:latestChanges], s.Changes[latestChanges:]
	}
	s.quiet(t.Result)
	s.steadiness(t.Result)
	s.UTC = newUTC(seens, t, answers)
	return s
}

// quiet takes the sentences that are about no single change and no steadiness.
func (s *Several) quiet(r together.Result) {
	said := map[string]bool{}
	for _, c := range r.Changes {
		said[c.Words] = true
	}
	if r.Steadiness != nil {
		for _, words := range r.Steadiness.Words {
			said[words] = true
		}
	}
	for _, words := range r.Words {
		if !said[words] {
			s.Quiet = append(s.Quiet, words)
		}
	}
}

func (s *Several) steadiness(r together.Result) {
	switch {
	case len(r.Instruments) < 3:
		s.Unsteady = "From two instruments alone nobody can tell how steady each one is: their differences hold the unsteadiness of both. With a third they can be told apart."
		return
	case r.Steadiness == nil:
		s.Unsteady = "There are too few days on which all of them were compared to tell how steady each one is."
		return
	}
	for _, c := range r.Steadiness.Instruments {
		row := Steady{Number: c.Name, Resolved: c.Resolved, Words: fmt.Sprintf("not resolved: too steady to be told apart from the others, at most %.2f s a day", c.Hi95)}
		if c.Resolved {
			row.Words = fmt.Sprintf("%.2f s a day, %.2f to %.2f", c.Deviation, c.Lo95, c.Hi95)
		}
		s.Steadiness = append(s.Steadiness, row)
	}
}

func sentences(texts []string) []string {
	var all []string
	for _, text := range texts {
		all = append(all, wording.Sentence(text))
	}
	return all
}

// between says how two dials differ now by their ratings or, if one of them
// tells no time now, how they differed when they were last compared together.
func between(book together.Book, a, b workshop.Seen) string {
	an, bn := a.Instrument.Number, b.Instrument.Number
	if a.Current && b.Current {
		half := math.Hypot(a.ErrorNow.Half(), b.ErrorNow.Half())
		words := differ(an, bn, a.ErrorNow.Mean-b.ErrorNow.Mean, half)
		rate := clock.Rate(a.Rating.RateNow.Mean - b.Rating.RateNow.Mean)
		rateHalf := math.Hypot(a.Rating.RateNow.Half(), b.Rating.RateNow.Half())
		return words + " now, " + wording.Figure{Words: rate.Words(rateHalf), PlusMinus: rate.HalfWidth(rateHalf)}.String() + " a day on it."
	}
	p, err := together.Between(book, an, bn)
	if err != nil || len(p.Points) == 0 {
		return "No. " + an + " and No. " + bn + " were never compared in one round."
	}
	last := p.Points[len(p.Points)-1]
	return differ(an, bn, last.DifferenceS, z95*last.DifferenceSD) + " when both were last compared, on " + wording.Instant(last.At, a.Now) + "; what their hands were moved by since the first round is taken off."
}

// differ says that a is fast or slow on b.
func differ(a, b string, byS, half float64) string {
	f := errorFigure(byS, half)
	switch way := f.Direction(); way {
	case "fast", "slow":
		return "No. " + a + " is " + f.Size() + " " + f.PlusMinus + " " + way + " on No. " + b
	}
	return "No. " + a + " agrees with No. " + b + " to " + f.Size() + " " + f.PlusMinus
}

func errorFigure(s, half float64) wording.Figure {
	e := clock.DialError(s)
	return wording.Figure{Words: e.Words(half), PlusMinus: e.HalfWidth(half)}
}

func rateFigure(perDay, half float64) wording.Figure {
	r := clock.Rate(perDay)
	return wording.Figure{Words: r.Words(half), PlusMinus: r.HalfWidth(half)}
}

// Pair is one instrument against another over time.
type Pair struct {
	ID, A, B string
	First    bool   // of those shown
	Words    string // why there is nothing to show, or how many rounds there are
	Curves   []drawing.Curve
	Lines    []Line
}

// Line is one line of a comparison book.
type Line struct{ When, Difference, First, Second string }

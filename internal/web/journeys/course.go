// Package journeys is what the page of a journey shows: the step to be done
// next, with its drawing, the steps done and to come, and what the dial says on
// arrival.
//
// It is worked out anew from the logbook each time, so that a journey goes on
// by itself wherever it was left.
package journeys

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"timeball/internal/adjust"
	"timeball/internal/carriage"
	"timeball/internal/chronometer"
	"timeball/internal/web/wording"
	"timeball/internal/workshop"
)

// Course is one journey as far as its logbook tells.
type Course struct {
	Begun chronometer.Entry
	Fact  chronometer.JourneyBegun
	Plan  []carriage.Step
	Ticks []Tick // every one, struck out or not
	carriage.Progress

	seen workshop.Seen
}

// Tick is an entry that says that a step was done.
type Tick struct {
	Entry chronometer.Entry
	Fact  chronometer.StepDone
	carriage.Tick
}

// Last returns the journey of an instrument that was begun last; false if there
// is none. It fails if the particulars do not make a plan.
func Last(seen workshop.Seen) (Course, bool, error) {
	all := seen.Logbook.Journeys()
	if len(all) == 0 {
		return Course{}, false, nil
	}
	c := Course{Begun: all[len(all)-1].Begun, seen: seen}
	c.Fact, _ = c.Begun.Fact.(chronometer.JourneyBegun)
	var err error
	if c.Plan, err = carriage.Whole(adjust.Fittings(seen.Instrument, c.Fact)); err != nil {
		return c, true, fmt.Errorf("%w: %w", chronometer.ErrRefused, err)
	}
	for _, e := range seen.Logbook.Entries() {
		f, ok := e.Fact.(chronometer.StepDone)
		if !ok || f.Journey != c.Begun.ID {
			continue
		}
		t := Tick{Entry: e, Fact: f, Tick: carriage.Tick{Step: carriage.ID(f.Step), At: e.At, By: e.By}}
		if s, ok := seen.Logbook.StruckOut(e.ID); ok {
			t.Struck = &carriage.Strike{At: s.At, By: s.By, Why: s.Fact.(chronometer.StruckOut).Why}
		}
		c.Ticks = append(c.Ticks, t)
	}
	c.Progress = carriage.Follow(c.Plan, c.ticks())
	return c, true, nil
}

func (c Course) ticks() []carriage.Tick {
	all := make([]carriage.Tick, len(c.Ticks))
	for n, t := range c.Ticks {
		all[n] = t.Tick
	}
	return all
}

// Open reports whether something is left to do.
func (c Course) Open() bool { return !c.Finished() }

// Step returns a step of the plan.
func (c Course) Step(id carriage.ID) (carriage.Step, bool) {
	n := slices.IndexFunc(c.Plan, func(s carriage.Step) bool { return s.ID == id })
	if n < 0 {
		return carriage.Step{}, false
	}
	return c.Plan[n], true
}

// done reports whether a step is done.
func (c Course) done(id carriage.ID) bool { return slices.Contains(c.Done, id) }

// may reports whether a step may be done now.
func (c Course) may(id carriage.ID) bool { return slices.Contains(c.Next, id) }

// Admits returns nil if a tick of a step, at an instant and by a person, would
// count, and otherwise an error that says what comes first.
func (c Course) Admits(id carriage.ID, at time.Time, by string) error {
	s, ok := c.Step(id)
	if !ok {
		return fmt.Errorf("%w: there is no such step for this instrument; open the journey again", chronometer.ErrRefused)
	}
	for _, t := range c.standing(id) {
		if t.By == by {
			return fmt.Errorf("%w: %s has ticked “%s” already, at %s; if that was wrong, strike it out first", chronometer.ErrRefused, by, s.Title, wording.Instant(t.At, c.seen.Now))
		}
	}
	after := carriage.Follow(c.Plan, append(c.ticks(), carriage.Tick{Step: id, At: at, By: by}))
	for _, r := range after.Refused {
		if r.Tick.Step != id || r.Tick.By != by || !r.Tick.At.Equal(at) {
			continue
		}
		var first []string
		for _, m := range r.Missing {
			if !c.done(m) {
				first = append(first, "“"+c.title(m)+"”")
			}
		}
		if len(first) == 0 { // all are done, but later than this is said to have been
			return fmt.Errorf("%w: “%s” comes before it and was ticked later than %s; write when this was done, or now", chronometer.ErrRefused, c.title(r.Missing[0]), wording.Instant(at, c.seen.Now))
		}
		return fmt.Errorf("%w: “%s” cannot be ticked yet; first comes %s", chronometer.ErrRefused, s.Title, wording.Joined(first))
	}
	return nil
}

// TakesBack returns the titles of the steps that striking out an entry at an
// instant takes back, that of the entry itself first.
func (c Course) TakesBack(entry chronometer.ID, at time.Time) []string {
	ticks := c.ticks()
	for n, t := range c.Ticks {
		if t.Entry.ID == entry && t.Struck == nil {
			ticks[n].Struck = &carriage.Strike{At: at}
		}
	}
	left := carriage.Follow(c.Plan, ticks)
	var back []string
	for _, id := range c.Done {
		if !slices.Contains(left.Done, id) {
			back = append(back, c.title(id))
		}
	}
	return back
}

// Ticked returns the tick of an entry.
func (c Course) Ticked(entry chronometer.ID) (Tick, bool) {
	n := slices.IndexFunc(c.Ticks, func(t Tick) bool { return t.Entry.ID == entry })
	if n < 0 {
		return Tick{}, false
	}
	return c.Ticks[n], true
}

// standing returns the ticks of a step that count.
func (c Course) standing(id carriage.ID) []Tick {
	if !c.done(id) {
		return nil
	}
	var all []Tick
	for _, t := range c.Ticks {
		refused := slices.ContainsFunc(c.Refused, func(r carriage.Refused) bool {
			return r.Tick.Step == t.Step && r.Tick.By == t.By && r.Tick.At.Equal(t.At)
		})
		gone := slices.ContainsFunc(c.Progress.PutBack, func(b carriage.PutBack) bool {
			return slices.Contains(b.Steps, id) && b.Struck.Struck != nil && !t.At.After(b.Struck.Struck.At)
		})
		if t.Step == id && t.Struck == nil && !refused && !gone {
			all = append(all, t)
		}
	}
	return all
}

func (c Course) title(id carriage.ID) string {
	s, _ := c.Step(id)
	return cmp.Or(s.Title, string(id))
}

// way says where it travels and how.
func (c Course) way() string {
	how := "with a carrier"
	switch {
	case c.Fact.ByHand && c.Fact.Goes == chronometer.DepartsGoing:
		how = "by hand, going"
	case c.Fact.ByHand:
		how = "by hand, its balance held"
	}
	return strings.Join([]string{how, string(c.Fact.Goes) + " when it was begun", "begun " + wording.Instant(c.Begun.At, c.seen.Now) + " by " + c.Begun.By}, " · ")
}

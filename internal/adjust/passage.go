package adjust

import (
	"time"

	"timeball/internal/chronometer"
	"timeball/internal/journey"
	"timeball/internal/workshop"
)

// Passage is one carriage of an instrument, and what the comparisons say of it.
type Passage struct {
	Left     time.Time
	Arrived  time.Time         // zero while it is on its way
	Entry    chronometer.Entry // that tells of it: received, carried, or sent
	Finding  journey.Finding
	Fault    string // why nothing can be said, in words; empty if Finding holds
	Finished bool   // it has arrived
}

// LastPassage returns the last carriage of an instrument that left after an
// instant, or false if there is none.
func LastPassage(seen workshop.Seen, after time.Time) (Passage, bool) {
	p, carriage, ok := lastCarriage(seen.Logbook)
	if !ok || p.Left.Before(after) {
		return Passage{}, false
	}
	if p.Finished = !p.Arrived.IsZero(); !p.Finished {
		return p, true
	}
	var err error
	if p.Finding, err = journey.Examine(workshop.History(seen.Instrument.ClockDial(), seen.Logbook), carriage); err != nil {
		p.Fault = err.Error()
	}
	return p, true
}

// lastCarriage returns the last carriage that a logbook tells of: sent and
// received, or carried by hand.
func lastCarriage(book chronometer.Logbook) (Passage, journey.Carriage, bool) {
	var p Passage
	var c journey.Carriage
	found, going, held := false, false, false
	for _, e := range book.Standing() {
		switch e.Fact.(type) {
		case chronometer.Sent:
			p, found = Passage{Left: e.At, Entry: e}, true
			c = journey.Carriage{Left: e.At, Stopped: held || !going}
		case chronometer.Carried:
			p, found = Passage{Left: e.At, Arrived: e.At, Entry: e}, true
			c = journey.Carriage{Left: e.At, Arrived: e.At, Stopped: !going}
		case chronometer.Received:
			if !found || !p.Arrived.IsZero() {
				// Nobody wrote that it left: it came with this.
				p, found = Passage{Left: e.At, Entry: e}, true
				c = journey.Carriage{Left: e.At, Stopped: !going}
			}
			p.Arrived, p.Entry, c.Arrived = e.At, e, e.At
		case chronometer.Started:
			// One that was stopped for it arrives, as to its rate, when it goes again.
			if found && c.Stopped && !p.Arrived.IsZero() && c.Arrived.Equal(p.Arrived) {
				c.Arrived = e.At
			}
			going, held = true, false
		case chronometer.Compared:
			if !held {
				going = true
			}
		case chronometer.Stopped:
			going = false
		case chronometer.Held:
			going, held = false, true
		case chronometer.Released:
			held = false
		}
	}
	return p, c, found
}

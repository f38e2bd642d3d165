package chronometer_test

import (
	"errors"
	"testing"

	"timeball/internal/chronometer"
)

// TestJourneys ticks steps of two journeys, strikes one tick out, and refuses a
// tick of none.
func TestJourneys(t *testing.T) {
	b := newBook(t)
	now := start.AddDate(1, 0, 0)
	first := b.write(1, chronometer.JourneyBegun{To: "the workshop", Goes: chronometer.DepartsGoing})
	b.write(1.1, chronometer.StepDone{Journey: first.ID, Step: "P01"})
	wrong := b.write(1.2, chronometer.StepDone{Journey: first.ID, Step: "P02", Title: "Photographs"})
	b.write(1.3, chronometer.StruckOut{Entry: wrong.ID, Why: "not yet"})
	second := b.write(30, chronometer.JourneyBegun{To: "home", Goes: chronometer.DepartsStopped, ByHand: true})
	tick := b.write(31, chronometer.StepDone{Journey: second.ID, Step: "P01"})
	all := b.log().Journeys()
	if len(all) != 2 || len(all[0].Steps) != 1 || all[0].Begun.ID != first.ID || len(all[1].Steps) != 1 || all[1].Steps[0].ID != tick.ID {
		t.Errorf("%+v", all)
	}
	if got := wrong.Fact.Words(); got != "Photographs" {
		t.Errorf("%q", got)
	}
	if err := b.log().Admits(b.entry(32, chronometer.StepDone{Journey: tick.ID, Step: "P03"}), now); !errors.Is(err, chronometer.ErrRefused) {
		t.Errorf("a tick of no journey: %v", err)
	}
	for _, f := range []chronometer.Fact{chronometer.JourneyBegun{To: "home"}, chronometer.JourneyBegun{Goes: chronometer.DepartsGoing}, chronometer.JourneyBegun{To: "home", Goes: "flying"}, chronometer.StepDone{Journey: first.ID}} {
		if err := b.entry(1, f).Check(); err == nil {
			t.Errorf("%+v is whole", f)
		}
	}
}

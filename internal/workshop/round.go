package workshop

import (
	"cmp"
	"context"
	"slices"
	"time"

	"timeball/internal/chronometer"
)

// Round is the morning's work, in order of need.
type Round struct {
	Now     time.Time
	Stops   []RoundStop
	Pending int // instruments that are still being rated
}

// RoundStop is one instrument of the round.
type RoundStop struct {
	Seen
	chronometer.Stop
}

// Round returns every instrument that goes here, those that may have run down
// first, then those to be wound by when they run down, then those to be
// compared; what was done already comes last. It is computed from the
// logbooks, so a round left half done is found half done.
func (w *Workshop) Round(ctx context.Context) (Round, error) {
	room, err := w.Room(ctx)
	if err != nil {
		return Round{}, err
	}
	r := Round{Now: room.Now, Pending: room.Pending}
	for _, seen := range room.Instruments {
		if stop, ok := seen.Instrument.Stop(seen.State, r.Now); ok && seen.Instrument.Number != "" {
			r.Stops = append(r.Stops, RoundStop{seen, stop})
		}
	}
	slices.SortStableFunc(r.Stops, func(a, b RoundStop) int {
		return cmp.Or(need(a)-need(b), runsDown(a).Compare(runsDown(b)), compareNumbers(a.Instrument.Number, b.Instrument.Number))
	})
	return r, nil
}

// need orders the stops of a round.
func need(s RoundStop) int {
	switch {
	case s.Look:
		return 0
	case s.Wind.Due:
		return 1
	case s.Left():
		return 2
	}
	return 3
}

// runsDown returns by when it is to be wound, if that is still to be done.
func runsDown(s RoundStop) time.Time {
	if !s.Wind.Due {
		return time.Time{}
	}
	return s.RunsDown
}

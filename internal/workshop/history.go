package workshop

import (
	"time"

	"timeball/internal/chronometer"
	"timeball/internal/clock"
	"timeball/internal/observe"
	"timeball/internal/rating"
)

// History returns what the entries of a logbook that stand tell of error and
// rate; each reading is named by the ID of its entry.
func History(dial clock.Dial, book chronometer.Logbook) rating.History {
	var h rating.History
	upheld := book.Upheld()
	var position chronometer.Position
	var lastRead time.Time
	temperature := func(at time.Time, c *float64) {
		if c != nil {
			h.Temperatures = append(h.Temperatures, rating.TemperatureAt{At: at, C: *c})
		}
	}
	place := func(at time.Time, p chronometer.Position) {
		if p != "" && p != position {
			h.Positions = append(h.Positions, rating.PositionAt{At: at, Position: string(p)})
			position = p
		}
	}
	event := func(at time.Time, k rating.EventKind) {
		h.Events = append(h.Events, rating.Event{At: at, Kind: k})
	}
	var implied []time.Time // windings told by the hours since wound alone
	for _, e := range book.Standing() {
		switch f := e.Fact.(type) {
		case chronometer.Wound:
			h.Windings = append(h.Windings, e.At)
		case chronometer.Compared:
			r := rating.Reading{Ref: string(e.ID), At: e.At, SDS: f.SD(), Upheld: upheld[e.ID]}
			if d, ok := f.Reading(); ok {
				r.ErrorS, r.ModulusS = float64(dial.Error(d, e.At, 0)), dial.Modulus()
			} else {
				r.ErrorS = *f.ErrorS
			}
			h.Readings = append(h.Readings, r)
			switch { // the error now rests on the latest readings
			case f.Tapped != nil:
				h.SharedS = observe.SteadyS(f.Tapped.LagSDS)
			case f.Heard != nil: // the delay of one microphone is the same each day
				h.SharedS = f.Heard.LatencySDS
			}
			temperature(e.At, f.TempC)
			if f.WoundH != nil {
				implied = append(implied, e.At.Add(-time.Duration(*f.WoundH*float64(time.Hour))))
			}
			// A position noted with a reading, and told by no entry before, is the
			// one it has kept since the reading before.
			since := e.At
			if position != "" && !lastRead.IsZero() && lastRead.Before(e.At) {
				since = lastRead
			}
			place(since, f.Position)
			lastRead = e.At
		case chronometer.Listened: // its rate is that of some minutes and rates nothing
			temperature(e.At, f.TempC)
			place(e.At, f.Position)
			lastRead = e.At.Add(time.Duration(f.DurationS * float64(time.Second)))
		case chronometer.Started:
			event(e.At, rating.Started)
		case chronometer.Stopped, chronometer.Held:
			event(e.At, rating.Stopped)
		case chronometer.Moved:
			h.Events = append(h.Events, rating.Event{At: e.At, Kind: rating.HandsMoved, MovedS: f.ByS})
		case chronometer.Set:
			event(e.At, rating.HandsSet)
		case chronometer.Regulated:
			event(e.At, rating.Regulated)
		case chronometer.WorkDone:
			if f.Service {
				event(e.At, rating.Serviced)
			}
		case chronometer.Carried, chronometer.Received:
			event(e.At, rating.Carried)
		case chronometer.Placed:
			place(e.At, f.Position)
			temperature(e.At, f.TempC)
		case chronometer.Temperature:
			temperature(e.At, &f.TempC)
		}
	}
	if h.Windings == nil {
		h.Windings = implied
	}
	return h
}

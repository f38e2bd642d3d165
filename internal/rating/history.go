package rating

import (
	"time"
)

// Reading is one comparison.
type Reading struct {
	Ref      string    // the caller's name for it: a line, an entry
	At       time.Time // UTC
	ErrorS   float64   // dial minus UTC, s; any value that differs by a multiple of ModulusS
	ModulusS float64   // 43200 or 86400 for a dial reading, 0 for an error written down whole
	SDS      float64   // stated standard deviation, s
	Upheld   bool      // the keeper says it is right: never set aside
}

// EventKind is what an event does to the error and the rate.
type EventKind string

// The kinds of event.
const (
	HandsMoved EventKind = "hands moved" // the error steps by MovedS, nothing is unknown
	HandsSet   EventKind = "hands set"   // the error steps by an unknown amount
	Started    EventKind = "started"     // the error begins anew
	Stopped    EventKind = "stopped"     // readings until Started are no comparisons
	Regulated  EventKind = "regulated"   // error and rate step
	Serviced   EventKind = "serviced"    // error and rate step
	Carried    EventKind = "carriage"    // error and rate may have stepped
)

// Event is something done to the instrument.
type Event struct {
	At     time.Time
	Kind   EventKind
	MovedS float64 // for HandsMoved, s
}

// TemperatureAt is one reading of the thermometer.
type TemperatureAt struct {
	At time.Time
	C  float64
}

// PositionAt says in which position the instrument lay from At on.
type PositionAt struct {
	At       time.Time
	Position string
}

// History is all that is known of one instrument. Its slices need no order.
type History struct {
	Readings     []Reading
	Events       []Event
	Temperatures []TemperatureAt
	Positions    []PositionAt
	Windings     []time.Time

	// SharedS is the standard deviation, s, of what the stated ones of the
	// readings have in common, such as what is left of an observer's personal
	// equation: however many readings there are, the error is not known better.
	SharedS float64
}

// Options says what to compute beyond the rating at the epoch.
type Options struct {
	At          []time.Time // instants at which the error is asked for
	HorizonDays float64     // the forecast goes this far; 0: 60 days
	TempC       *float64    // the temperature to come, if it is known; nil: as lately
	Curve       int         // points of the error and rate curve, 0: none
	Track       bool        // the error for any instant of the two years to come
}

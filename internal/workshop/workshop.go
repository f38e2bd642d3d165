// Package workshop is what the keeper does: enter an instrument, write an
// entry, strike one out, bring in a rate book, and ask what is known. It is
// the only writer; each deed is one transaction of the store.
//
// What is known is computed from the logbook every time a logbook has changed
// and kept only to spare the work.
package workshop

import (
	"errors"
	"time"

	"timeball/internal/chronometer"
	"timeball/internal/rating"
)

// ErrUnknown marks a number or ID that no instrument or owner has.
var ErrUnknown = errors.New("not in this workshop")

// Seen is an instrument with everything that is known of it at one instant.
type Seen struct {
	ID         chronometer.ID
	Instrument chronometer.Instrument
	Owner      *Owner // nil if none is entered
	Logbook    chronometer.Logbook
	State      chronometer.State
	Runs       []chronometer.Run
	Rating     *rating.Rating // nil if Why says why
	Why        string         // why there is no rating, in words
	Pending    bool           // the rating is being computed; ask again
	Now        time.Time
	ErrorNow   rating.Interval // s, if Rating is not nil
	In30Days   rating.Interval // s, if Rating is not nil
	Next       []chronometer.Action
}

// Owner is an owner with the instruments entered under the name.
type Owner struct {
	ID          chronometer.ID
	Owner       chronometer.Owner
	Instruments []Named
}

// Named is an instrument by its number.
type Named struct {
	ID     chronometer.ID
	Number string
	Maker  string
}

// Room is every instrument, the most urgent first.
type Room struct {
	Now         time.Time
	Instruments []Seen
	Pending     int // how many are still being rated
}

// Preview is what bringing in a rate book would do, before anything is saved.
type Preview struct {
	Rows     int
	New      int                  // entries that the logbook does not hold yet
	Held     int                  // entries that it holds already
	Remarks  []string             // how the file was read
	Rating   *rating.Rating       // of the logbook with the new entries
	Why      string               // why there is none
	SetAside []rating.SetAside    // among the new entries; Ref is the line number
	Entries  []chronometer.Entry  // what would be written
	Lines    map[chronometer.ID]int // the line of each
}

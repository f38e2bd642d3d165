// Package workshop is what the keeper does: enter an instrument, write an
// entry, strike one out, bring in a rate book, and ask what is known. It is
// the only writer; each deed is one transaction of the store.
//
// What is known is computed from the logbook every time a logbook has changed
// and kept only to spare the work.
package workshop

import (
	"errors"
	"runtime"
	"sync"
	"time"

	"timeball/internal/chronometer"
	"timeball/internal/rating"
	"timeball/internal/reference"
	"timeball/internal/setting"
	"timeball/internal/store"
)

// ErrUnknown marks a number or ID that no instrument or owner has.
var ErrUnknown = errors.New("not in this workshop")

// Workshop is the keeper's workshop over one folder. It is safe for use by
// several goroutines.
type Workshop struct {
	db       *store.DB
	standard *reference.Standard
	now      func() time.Time // UTC by the standard

	mu       sync.Mutex
	standing store.Standing              // kept last
	known    map[chronometer.ID]*figures // by instrument, as of figures.Version
	detail   map[chronometer.ID]*figures // the same with their curves, for the pages read last
	recent   []chronometer.ID            // of detail, oldest first
	work     chan struct{}               // as many ratings at once as there are processors
	pictures chan struct{}               // one picture at a time
	doing    sync.WaitGroup
}

// New returns the workshop over an open folder; UTC is that of the standard.
func New(db *store.DB, standard *reference.Standard) *Workshop {
	return &Workshop{
		db: db, standard: standard, now: standard.Now, known: map[chronometer.ID]*figures{}, detail: map[chronometer.ID]*figures{},
		work: make(chan struct{}, runtime.GOMAXPROCS(0)), pictures: make(chan struct{}, 1),
	}
}

// Close waits for ratings under way; the folder stays open.
func (w *Workshop) Close() { w.doing.Wait() }

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
	Current    bool            // it goes, and ErrorNow and In30Days hold
	ErrorNow   rating.Interval // s
	In30Days   rating.Interval // s
	Hand       setting.Window  // when to move the minute hand forward, if Current
	Advice     setting.Advice  // what to do about the minute hand, if Current
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
	New      int                    // entries that the logbook does not hold yet
	Held     int                    // entries that it holds already
	Remarks  []string               // how the file was read
	Rating   *rating.Rating         // of the logbook with the new entries
	Why      string                 // why there is none
	SetAside []rating.SetAside      // among the new entries; Ref is the line number
	Entries  []chronometer.Entry    // what would be written
	Lines    map[chronometer.ID]int // the line of each
}

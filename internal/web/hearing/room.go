// Package hearing keeps the listenings that pages have begun: what came in over
// their sockets or as a file, what is heard in it, and what it would be as an
// entry.
package hearing

import (
	"crypto/rand"
	"sync"
	"time"

	"timeball/internal/chronometer"
	"timeball/internal/store"
	"timeball/internal/web/earpiece"
	"timeball/internal/workshop"
)

// Room is all listenings of a program. It is safe for use by several
// goroutines.
type Room struct {
	workshop *workshop.Workshop
	now      func() time.Time

	mu       sync.Mutex
	sittings map[string]*Sitting
	closed   bool
}

// The bounds of what is kept.
const (
	mostSittings = 24
	idle         = 2 * time.Hour // after which a listening that nobody touches is forgotten
)

// New returns an empty room.
func New(w *workshop.Workshop, now func() time.Time) *Room {
	return &Room{workshop: w, now: now, sittings: map[string]*Sitting{}}
}

// Open begins a listening to an instrument.
func (r *Room) Open(seen workshop.Seen, liftDeg float64) *Sitting {
	s := &Sitting{
		ID: rand.Text(), Subject: seen.ID, Number: seen.Instrument.Number, beatS: seen.Instrument.Beat.Seconds(), liftDeg: liftDeg,
		room: r, seat: &earpiece.Seat{}, touched: r.now(), expected: seen.Expected,
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.closed {
		s.forget()
		return s
	}
	r.sweep(1)
	r.sittings[s.ID] = s
	return s
}

// Sitting returns a listening by its ID.
func (r *Room) Sitting(id string) (*Sitting, bool) {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.sweep(0)
	s, ok := r.sittings[id]
	if ok {
		s.touch(r.now())
	}
	return s, ok
}

// sweep forgets what was idle for long, and the longest idle ones if there would
// be too many with so many more; the room is locked.
func (r *Room) sweep(more int) {
	for {
		var oldest *Sitting
		for _, s := range r.sittings {
			if oldest == nil || s.last().Before(oldest.last()) {
				oldest = s
			}
		}
		if oldest == nil || len(r.sittings)+more <= mostSittings && r.now().Sub(oldest.last()) < idle {
			return
		}
		delete(r.sittings, oldest.ID)
		oldest.forget()
	}
}

// Close forgets all listenings and the sound kept for them; none is begun
// afterwards.
func (r *Room) Close() {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.closed = true
	for id, s := range r.sittings {
		delete(r.sittings, id)
		s.forget()
	}
}

// microphone returns what is known of a sound input, or its bare name.
func microphone(known store.Microphone, ok bool, key, name string, now time.Time) store.Microphone {
	if !ok {
		known = store.Microphone{Key: key}
	}
	if name != "" {
		known.Name = name
	}
	known.Seen = now.UTC().Truncate(time.Microsecond)
	return known
}

// taken is by what the whole beats of a comparison are resolved, in words.
var taken = map[chronometer.Taken]string{
	chronometer.TakenForecast: "by the forecast", chronometer.TakenTap: "by the tap", chronometer.TakenTyped: "by the reading typed",
}

package web_test

import (
	"bytes"
	"math"
	"math/rand/v2"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/oklog/ulid/v2"

	"timeball/internal/chronometer"
	"timeball/internal/clock"
	"timeball/internal/reference"
	"timeball/internal/store"
	"timeball/internal/workshop"
)

var today = time.Date(2027, 3, 4, 9, 14, 32, 0, time.UTC)

// quay is an invented workshop over a folder of its own.
type quay struct {
	*workshop.Workshop
	db          *store.DB
	now         time.Time    // of its clock
	begun       time.Time    // when its clock began to run; zero: it stands
	ahead       atomic.Int64 // by which its clock was put on since, ns
	serial      uint64
	instruments []*kept
	owners      []chronometer.ID
	unfilled    []chronometer.Entry
}

// kept is an instrument whose true error follows a straight line.
type kept struct {
	id      chronometer.ID
	entries []chronometer.Entry
	line    line
}

// line is the true error at the epoch and the true rate, with what happened to
// them since.
type line struct {
	epoch  time.Time
	errorS float64
	rate   float64
	steps  []step
}

// step is a change of error, s, and of rate, s/d, at an instant.
type step struct {
	at     time.Time
	errorS float64
	rate   float64
}

// error returns the true error at an instant, s.
func (l line) error(at time.Time) float64 {
	e := l.errorS + l.rate*at.Sub(l.epoch).Hours()/24
	for _, s := range l.steps {
		if d := at.Sub(s.at).Hours() / 24; d >= 0 {
			e += s.errorS + s.rate*d
		}
	}
	return e
}

// tell returns the time: q.now and what has passed since, by the clock if it
// runs. A page that is open asks for it while a test goes on.
func (q *quay) tell() time.Time {
	now := q.now.Add(time.Duration(q.ahead.Load()))
	if q.begun.IsZero() {
		return now
	}
	return now.Add(time.Since(q.begun))
}

// pass puts the clock on.
func (q *quay) pass(d time.Duration) { q.ahead.Add(int64(d)) }

// emptyQuay returns a workshop in which nothing is entered.
func emptyQuay(t testing.TB) *quay {
	t.Helper()
	q := &quay{now: today}
	tell := q.tell
	db, err := store.Open(t.Context(), t.TempDir(), tell)
	if err != nil {
		t.Fatal(err)
	}
	q.db, q.Workshop = db, workshop.New(db, reference.Taken(tell, 0.004))
	t.Cleanup(func() {
		q.Close()
		_ = db.Close() // a test may have closed it
	})
	return q
}

func (q *quay) newID(at time.Time) chronometer.ID {
	q.serial++
	var entropy [10]byte
	for n := range 8 {
		entropy[9-n] = byte(q.serial >> (8 * n))
	}
	return chronometer.ID(ulid.MustNew(ulid.Timestamp(at), bytes.NewReader(entropy[:])).String())
}

// enter opens the logbook of an instrument, kept by the next fill.
func (q *quay) enter(i chronometer.Instrument, from time.Time, l line) *kept {
	k := &kept{id: q.newID(from), line: l}
	k.entries = []chronometer.Entry{{ID: k.id, Subject: k.id, At: from, Written: from, By: "Signe Vandrell", Fact: i}}
	q.unfilled = append(q.unfilled, k.entries[0])
	q.instruments = append(q.instruments, k)
	return k
}

// add writes an entry, kept by the next fill.
func (q *quay) add(k *kept, at time.Time, by string, fact chronometer.Fact) chronometer.Entry {
	e := chronometer.Entry{ID: q.newID(at), Subject: k.id, At: at, Written: at, By: by, Fact: fact}
	k.entries = append(k.entries, e)
	q.unfilled = append(q.unfilled, e)
	return e
}

// fill keeps what was entered and added, and waits until it is rated.
func (q *quay) fill(t testing.TB) *quay {
	t.Helper()
	if err := q.Fill(t.Context(), q.unfilled); err != nil {
		t.Fatal(err)
	}
	q.unfilled = nil
	for {
		room, err := q.Room(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		if room.Pending == 0 {
			return q
		}
	}
}

// compare adds a comparison that reads out seconds from the truth.
func (q *quay) compare(k *kept, at time.Time, out float64, tempC float64) chronometer.Entry {
	dial := clock.TwelveHour.Reading(at, clock.DialError(k.line.error(at)+out))
	c := chronometer.ReadDial(clock.DialReading(math.Round(float64(dial)*10) / 10))
	c.Method, c.TempC, c.Position, c.SDS = chronometer.ByTap, &tempC, chronometer.DialUp, 0.1
	return q.add(k, at, "Signe Vandrell", c)
}

// keep stores a file and returns its sum.
func (q *quay) keep(t testing.TB, mediaType string, text []byte) string {
	t.Helper()
	a, err := q.db.Attach(t.Context(), bytes.NewReader(text), int64(len(text)), mediaType, "file")
	if err != nil {
		t.Fatal(err)
	}
	return a.SHA256
}

// lanternQuay returns a workshop of six: one rated for 46 days, one rated, one
// carried and moved without a word, one compared once, one with the carrier
// and one that stands.
func lanternQuay(t testing.TB) *quay {
	t.Helper()
	q := emptyQuay(t)
	r := rand.New(rand.NewPCG(417, 4))
	start := time.Date(2027, 1, 18, 8, 0, 0, 0, time.UTC)
	owner := func(o chronometer.Owner) chronometer.ID {
		id := q.newID(start)
		q.unfilled = append(q.unfilled, chronometer.Entry{ID: id, Subject: id, At: start, Written: start, By: "Signe Vandrell", Fact: o})
		q.owners = append(q.owners, id)
		return id
	}
	vandrell := owner(chronometer.Owner{Name: "Signe Vandrell", Place: "Skerrow", Contact: "12 Ropewalk, Skerrow"})
	museum := owner(chronometer.Owner{Name: "Harbour Museum", Place: "Veyre"})
	okafor := owner(chronometer.Owner{Name: "J. Okafor"})

	box := func(number, maker string, owner chronometer.ID) chronometer.Instrument {
		return chronometer.Instrument{Number: number, Maker: maker, Make: chronometer.BoxChronometer, Beat: chronometer.HalfSecond, Dial: chronometer.Twelve,
			GoingH: 56, UpDown: true, Gimbals: true, Box: "three-tier mahogany", WeightKG: 6.4, Owner: owner}
	}
	moved := start.AddDate(0, 0, 27).Add(2 * time.Minute)
	carried := start.AddDate(0, 0, 25).Add(2 * time.Hour)
	a := q.enter(box("417", "Corvane & Dray, Skerrow", vandrell), start, line{start, -8, -0.83, []step{{at: moved, errorS: 60}}})
	q.add(a, start.Add(5*time.Minute), "Signe Vandrell", chronometer.Received{Station: chronometer.Bench, Condition: "clean, oil dry"})
	q.add(a, start.Add(10*time.Minute), "Signe Vandrell", chronometer.Started{How: "one gentle turn"})
	q.add(a, carried, "Mats Vinter", chronometer.Carried{How: "to the window and back, level"})
	q.add(a, moved, "Signe Vandrell", chronometer.Moved{ByS: 60})
	for d := range 46 {
		at := start.AddDate(0, 0, d).Add(72 * time.Minute)
		out := 0.06 * r.NormFloat64()
		if d == 9 {
			out = 60
		}
		q.add(a, at.Add(-4*time.Minute), "Signe Vandrell", chronometer.Wound{HalfTurns: 7.5})
		e := q.compare(a, at, out, 18+float64(d%5))
		if d == 20 {
			q.add(a, at.Add(time.Hour), "Signe Vandrell", chronometer.StruckOut{Entry: e.ID, Why: "read against the wrong minute"})
		}
	}
	q.add(a, start.AddDate(0, 0, 30), "Mats Vinter", chronometer.Note{Text: "Glass has a hair crack at IIII.\nSeen under the lamp."})
	sum := q.keep(t, "image/png", []byte("\x89PNG\r\n\x1a\n"+strings.Repeat("\x00", 40)))
	q.add(a, start.AddDate(0, 0, 31), "Mats Vinter", chronometer.Photograph{SHA256: sum, Name: "glass.png", Type: "image/png", Caption: "the crack at IIII"})

	b := q.enter(box("1102", "A. Quillender, Veyre", museum), start, line{epoch: start, errorS: 36, rate: -0.61})
	for d := range 44 {
		q.compare(b, start.AddDate(0, 0, d).Add(90*time.Minute), 0.06*r.NormFloat64(), 19)
	}
	eight := box("88", "Bramwick Sons", okafor)
	eight.GoingH = 192
	away := start.AddDate(0, 0, 20)
	c := q.enter(eight, start, line{start, -60, 1.92, []step{{at: away, rate: 1.5}, {at: today.AddDate(0, 0, -7), errorS: 60}}})
	q.add(c, away, "Mats Vinter", chronometer.Carried{How: "by hand"})
	for d := range 46 {
		q.compare(c, start.AddDate(0, 0, d).Add(time.Hour), 0.06*r.NormFloat64(), 19)
	}
	watch := chronometer.Instrument{Number: "731", Maker: "M. Tavares", Make: chronometer.DeckWatch, Beat: chronometer.FifthSecond, Dial: chronometer.Twelve, GoingH: 36}
	d := q.enter(watch, today.AddDate(0, 0, -1), line{epoch: start, errorS: 3, rate: -0.42})
	q.compare(d, today.AddDate(0, 0, -1), 0, 19)
	e := q.enter(box("2260", "Ketch Osmerelle", ""), start, line{})
	q.add(e, start.AddDate(0, 0, 2), "Mats Vinter", chronometer.Held{With: chronometer.Brake})
	q.add(e, start.AddDate(0, 0, 3), "Mats Vinter", chronometer.Packed{How: "bowl alone, dial up"})
	q.add(e, start.AddDate(0, 0, 40), "Mats Vinter", chronometer.Sent{To: "Veyre"})
	f := q.enter(box("19", "", vandrell), start, line{})
	q.add(f, start.AddDate(0, 0, 1), "Mats Vinter", chronometer.Stopped{Why: "stopped for work"})
	return q.fill(t)
}

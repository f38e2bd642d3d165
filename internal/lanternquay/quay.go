// Package lanternquay is the invented workshop of the demonstration: Lantern
// Quay, in the port of Skerrow. Its people, owners, makers and ships are
// invented, and its comparisons are read from simulated instruments of known
// truth; nobody and nothing real is meant.
package lanternquay

import (
	"math"
	"math/rand/v2"
	"time"

	"timeball/internal/chronometer"
	"timeball/internal/simulate"
)

// The people of the workshop, and those who write for its owners.
const (
	keeper    = "R. Halvane"
	benchHand = "T. Morrow"
	learner   = "J. Pask"
	curator   = "O. Lindqvar"
	navigator = "N. Adaire"
	okafor    = "J. Okafor"
	tavares   = "M. Tavares"
	vandrell  = "S. Vandrell"
)

// seed makes every demonstration the same.
const seed = 1833

// historyDays is how far back the records go.
const historyDays = 380

// story writes the logbook of one instrument.
type story func(*quay) *book

// stories are the instruments of the workshop. A place in the list is part of
// the seed, so new ones go to the end.
var stories = []story{
	ownStandard, onTrial, driftingAfloat, changedInCarriage, misread, runDown, deckWatchInPositions,
	eightDay, newcomer, withTheCarrier, stoppedAtOwner, tried,
}

// Entries returns the logbooks of Lantern Quay and its owners as they stand at
// the instant now, about 380 days of them, oldest entry first. The same
// instant gives the same entries, byte for byte.
func Entries(now time.Time) []chronometer.Entry {
	q := open(now)
	entries := q.entries
	for _, b := range q.tell() {
		entries = append(entries, b.entries...)
	}
	entries = append(entries, q.observers()...)
	entries = append(entries, q.house()...)
	chronometer.Sort(entries)
	return entries
}

// quay is the workshop while its logbooks are written.
type quay struct {
	now     time.Time
	entries []chronometer.Entry // about owners
	telling uint64              // which story is told

	shop, museum, cabin simulate.Air

	harbourMuseum, sVandrell, jOkafor, mTavares, ketch chronometer.ID
}

func open(now time.Time) *quay {
	q := &quay{now: now.UTC().Truncate(time.Microsecond)}
	rng := rand.New(rand.NewPCG(seed, 0))
	from := q.now.AddDate(0, 0, -historyDays-30)
	// The year warms from late April on and is warmest three months later.
	spring := 2 * math.Pi * float64(from.YearDay()-115) / 365
	air := func(r simulate.Room) simulate.Air {
		r.PhaseRad = spring
		return simulate.Air{From: from, Record: r.Record(rng, historyDays+32)}
	}
	q.shop = air(simulate.Room{MeanC: 19.5, SeasonC: 2.5, WeatherC: 0.9, MemoryDays: 3})
	q.museum = air(simulate.Room{MeanC: 20, SeasonC: 1, WeatherC: 0.5, MemoryDays: 5})
	q.cabin = air(simulate.Room{MeanC: 17, SeasonC: 5, WeatherC: 1.5, MemoryDays: 4})

	at := q.now.AddDate(0, 0, -historyDays)
	owner := func(o chronometer.Owner) chronometer.ID {
		at = at.Add(7 * time.Minute)
		written := at.Add(time.Minute)
		id := newID(written, rng)
		q.entries = append(q.entries, chronometer.Entry{ID: id, Subject: id, At: at, Written: written, By: keeper, Fact: o})
		return id
	}
	q.harbourMuseum = owner(chronometer.Owner{Name: "Harbour Museum", Place: "Veyre", Contact: "museum@veyre.example", Zone: "Europe/Lisbon", WindAt: "09:30", Notes: curator + ", curator, winds and compares daily at opening."})
	q.sVandrell = owner(chronometer.Owner{Name: "Signe Vandrell", Place: "Skerrow", Contact: "vandrell@skerrow.example", Zone: "Europe/Lisbon", WindAt: "08:15", Notes: "Collects two-day instruments. Brings them by hand where she can."})
	q.jOkafor = owner(chronometer.Owner{Name: okafor, Place: "Pellinport", Contact: "okafor@pellinport.example", Zone: "America/Halifax", WindAt: "08:00", Paper: chronometer.PaperLetter})
	q.mTavares = owner(chronometer.Owner{Name: tavares, Place: "Oskerby", Contact: "tavares@oskerby.example", Notes: "Wears the deck watch on the survey boat in summer."})
	q.ketch = owner(chronometer.Owner{Name: "Ketch Osmerelle", Place: "Skerrow", Contact: "osmerelle@skerrow.example", Notes: navigator + ", navigator. At sea from April to October; one reading a month by radio."})
	return q
}

// tell returns the logbooks.
func (q *quay) tell() []*book {
	var books []*book
	for i, s := range stories {
		q.telling = uint64(i) + 1
		books = append(books, s(q))
	}
	return books
}

package trial

import (
	"math"
	"time"
)

// Day is one day of a trial: the rate from its first reading to its last, and
// how it lay. A day that is not Known has no rate, and Why says why.
type Day struct {
	Number   int       // from 1
	Period   int       // index into Programme.Periods
	From, To time.Time // the two readings; zero where a rate book gives rates alone

	Known       bool
	ToCome      bool    // not known only because it has not ended yet
	Why         string  // why it is not known, in words; empty if it is
	RateSPerDay float64 // + gaining
	SDS         float64 // standard deviation of the rate from the readings alone, s/d

	// FirstSDS and LastSDS are the standard deviations, s, of the readings at
	// its ends. A reading is the last of one day and the first of the next, so
	// the errors of two days that follow each other are opposite; where both are
	// zero the rate was written down whole and SDS is its own.
	FirstSDS, LastSDS float64

	TempC    *float64 // mean over the day, °C; nil if none was read
	Position string   // in the words of the logbook; empty if not known
}

// Span is a change of error over whole days of which none is known by itself,
// because a reading between them was missed.
type Span struct {
	First, Last       int     // days
	ChangeS           float64 // s, + gaining
	FirstSDS, LastSDS float64 // standard deviations, s, of the readings at its ends
}

// length returns how long the day was in days of 24 h.
func (d Day) length() float64 {
	if d.From.IsZero() || !d.To.After(d.From) {
		return 1
	}
	return d.To.Sub(d.From).Hours() / 24
}

// doubt returns the standard deviation of the rate from the readings, s/d.
func (d Day) doubt() float64 {
	if d.byReadings() {
		return math.Hypot(d.FirstSDS, d.LastSDS) / d.length()
	}
	return d.SDS
}

// byReadings reports whether the doubt of the rate is that of the two readings
// at its ends, which it shares with its neighbours.
func (d Day) byReadings() bool { return d.FirstSDS > 0 || d.LastSDS > 0 }

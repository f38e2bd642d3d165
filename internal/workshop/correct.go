package workshop

import (
	"errors"
	"fmt"
	"math"
	"time"

	"timeball/internal/clock"
	"timeball/internal/ratebook"
	"timeball/internal/rating"
)

// Errors of Correct.
var (
	ErrBeforeRecord = errors.New("it lies before the first comparison; ask for a later instant")
	ErrFarOff       = errors.New("the dial and the instant do not belong together")
	ErrBrokenOff    = errors.New("the error of the dial is not known")
)

// mostOff is how far the instant told may lie from the one found, s.
const mostOff = 3 * 3600

// Fix is UTC found from a dial.
type Fix struct {
	UTC        time.Time
	SDS        float64 // s
	Lo95, Hi95 time.Time
	Error      rating.Interval // of the dial, s
	From       time.Time       // the last comparison it rests on
}

// Correct turns a dial reading made at about the instant at into UTC; the
// reading has the standard deviation readingSD, s.
func Correct(book ratebook.Book, dial clock.Dial, reading clock.DialReading, at time.Time, readingSD float64) (Fix, error) {
	if len(book.Rows) > 0 && at.Before(book.Rows[0].At) {
		return Fix{}, ErrBeforeRecord
	}
	// The error now tells the instant, and the instant the error: twice is enough,
	// since a rate of a minute a day shifts it by milliseconds only.
	var fix Fix
	for range 2 {
		r, err := RateFile(book, dial, rating.Options{At: []time.Time{at}})
		if err != nil {
			return Fix{}, err
		}
		if !r.Asked[0].Known() {
			return Fix{}, fmt.Errorf("%w: on %s it was stopped, started, set or altered, and it has not been compared since; compare it first", ErrBrokenOff, r.KnownUntil.Format("2 January 2006"))
		}
		e := r.Asked[0].Error
		read := float64(dial.Error(reading, at, clock.DialError(e.Mean)))
		// A dial repeats, and a slip of hours must not pass for a reading.
		if off := read - e.Mean; math.Abs(off) > mostOff {
			return Fix{}, fmt.Errorf("%w: the dial reads %.1f h from %s; give the instant at which it was read, to within three hours, or the reading of the dial", ErrFarOff, math.Abs(off)/3600, at.Format(time.RFC3339))
		}
		shift := func(s float64) time.Time {
			return at.Add(time.Duration(math.Round((read - s) * 1e9))).Truncate(time.Microsecond)
		}
		widen := func(half float64) float64 { return math.Hypot(half, 1.96*readingSD) }
		fix = Fix{
			UTC: shift(e.Mean), SDS: math.Hypot(e.SD, readingSD), Error: e, From: r.Epoch,
			Lo95: shift(e.Mean + widen(e.Hi95-e.Mean)), Hi95: shift(e.Mean - widen(e.Mean-e.Lo95)),
		}
		at = fix.UTC
	}
	return fix, nil
}

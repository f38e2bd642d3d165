// Package wording is how the pages say things: errors and rates in words
// (fast, slow, gaining, losing) with their 95% interval, instants in UTC,
// counts and sentences.
package wording

import (
	"strings"

	"timeball/internal/chronometer"
	"timeball/internal/clock"
	"timeball/internal/rating"
	"timeball/internal/workshop"
)

// Figure is an estimate in words with its 95% half width.
type Figure struct{ Words, PlusMinus string }

// Error returns a dial error in words.
func Error(i rating.Interval) *Figure {
	e := clock.DialError(i.Mean)
	return &Figure{e.Words(i.Half()), e.HalfWidth(i.Half())}
}

// Rate returns a rate in words, per day.
func Rate(i rating.Interval) *Figure {
	r := clock.Rate(i.Mean)
	return &Figure{r.Words(i.Half()), r.HalfWidth(i.Half())}
}

// Direction returns the first word of an error, "fast", "slow" or "right to".
func (f Figure) Direction() string {
	before, _ := f.cut()
	return before
}

// Size returns what follows Direction.
func (f Figure) Size() string {
	_, after := f.cut()
	return after
}

func (f Figure) cut() (string, string) {
	i := strings.IndexAny(f.Words, "0123456789")
	if i < 0 {
		return "", f.Words
	}
	return strings.TrimSpace(f.Words[:i]), f.Words[i:]
}

// String returns the words and the half width.
func (f Figure) String() string { return f.Words + " " + f.PlusMinus }

// Known is what is known of an instrument now, or why nothing is.
type Known struct {
	Error, Rate *Figure
	Why         string
}

// Now returns the figures that hold now: those of an instrument that
// stands still are past.
func Now(seen workshop.Seen) Known {
	switch {
	case seen.Pending && seen.Rating == nil:
		return Known{Why: "being rated …"}
	case seen.State.Motion != chronometer.Going:
		if seen.State.Motion == chronometer.NotKnown {
			return Known{Why: "nothing is written of its going yet"}
		}
		return Known{Why: string(seen.State.Motion) + " since " + Day(seen.State.MotionSince, seen.Now)}
	case seen.Rating == nil || !seen.Current:
		return Known{Why: seen.Why}
	}
	return Known{Error: Error(seen.ErrorNow), Rate: Rate(seen.Rating.RateNow)}
}

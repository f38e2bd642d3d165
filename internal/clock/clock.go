// Package clock holds the quantities of a dial and their signs.
//
// Error is dial minus UTC in seconds: positive is fast, negative is slow
// (NAVEDTRA 14220, Quartermaster, ch. 5, "Error and Rate"). Rate is the change
// of error per day of 86,400 SI seconds: positive is gaining, negative is
// losing. A correction is minus the error and exists only as a printed word.
package clock

import (
	"math"
	"time"
)

// Day is 86,400 SI seconds.
const Day = 24 * time.Hour

// DaySeconds is the number of SI seconds in a Day.
const DaySeconds = 86400.0

// DialError is dial minus UTC in seconds, positive fast.
type DialError float64

// Rate is the change of DialError in seconds per Day, positive gaining.
type Rate float64

// Advance is a number of whole minutes by which the minute hand is moved on.
// It is unsigned because the hands of a chronometer are never moved back.
type Advance uint8

// Advanced returns the dial error once the minute hand has been moved on by a.
func (e DialError) Advanced(a Advance) DialError { return e + 60*DialError(a) }

// After returns the error once the dial has run for elapsed at rate r.
func (e DialError) After(elapsed time.Duration, r Rate) DialError {
	return e + DialError(float64(r)*elapsed.Seconds()/DaySeconds)
}

// MeanRate returns the mean rate over elapsed from the dial errors at its two
// ends. It returns 0, false if elapsed is not positive.
func MeanRate(first, last DialError, elapsed time.Duration) (Rate, bool) {
	if elapsed <= 0 {
		return 0, false
	}
	return Rate(float64(last-first) / elapsed.Seconds() * DaySeconds), true
}

// Dial is the number of hours a dial shows before it repeats: 12 or 24.
type Dial uint8

// The dials that are made.
const (
	TwelveHour     Dial = 12
	TwentyFourHour Dial = 24
)

// Modulus returns the seconds after which the dial reads the same again.
func (d Dial) Modulus() float64 {
	if d == TwentyFourHour {
		return 86400
	}
	return 43200
}

// Error returns the dial error of reading r at the instant at, taken nearest
// to near: a 12-hour dial leaves multiples of 12 h open, a 24-hour dial of 24 h.
func (d Dial) Error(r DialReading, at time.Time, near DialError) DialError {
	return Nearest(DialError(float64(r)-secondOfDay(at)), near, d.Modulus())
}

// Reading returns what the dial shows at the instant at when its error is e,
// in [0, Modulus).
func (d Dial) Reading(at time.Time, e DialError) DialReading {
	m := d.Modulus()
	s := math.Mod(secondOfDay(at)+float64(e), m)
	if s < 0 {
		s += m
	}
	if s >= m { // a tiny negative remainder rounds up to the modulus itself
		s = 0
	}
	return DialReading(s)
}

// Nearest returns e plus the multiple of modulus seconds that brings it
// nearest to near; modulus 0 returns e.
func Nearest(e, near DialError, modulus float64) DialError {
	if modulus == 0 {
		return e
	}
	return e - DialError(modulus*math.Round(float64(e-near)/modulus))
}

func secondOfDay(at time.Time) float64 {
	u := at.UTC()
	h, m, s := u.Clock()
	return float64(h*3600+m*60+s) + float64(u.Nanosecond())/1e9
}

package simulate

import (
	"errors"
	"fmt"
	"math/rand/v2"
	"time"

	"timeball/internal/clock"
	"timeball/internal/timescale"
)

// ErrSchedule marks a step that cannot follow the ones before it.
var ErrSchedule = errors.New("the schedule does not follow")

// Character is how an instrument goes, as it would be found if it could be
// watched for ever.
type Character struct {
	Noise         Noise
	Rate          clock.Rate // at the beginning, at ReferenceC, in a position not named below
	Linear        float64    // s/d/°C about ReferenceC
	Quadratic     float64    // s/d/°C²
	DriftPerDay   float64    // steady change of rate with age, s/d²
	PositionRates map[string]clock.Rate
}

// Air is the temperature about an instrument: day 0 of the record is at From.
type Air struct {
	From   time.Time
	Record Thermogram
}

// At returns the temperature in °C.
func (a Air) At(at time.Time) float64 { return a.Record.At(timescale.Days(a.From, at)) }

// Instrument is taken through a schedule one step after another. Its steps
// must come in order of time: the first that does not is kept for Err, and it
// and all later ones change nothing.
type Instrument struct {
	rng       *rand.Rand
	character Character
	air       Air
	at        time.Time
	errorS    float64 // s
	rate      float64 // at ReferenceC, without position, s/d
	position  string
	still     bool
	err       error
}

// NewInstrument returns an instrument standing still with its dial right at
// the instant at.
func NewInstrument(rng *rand.Rand, c Character, air Air, at time.Time) *Instrument {
	return &Instrument{rng: rng, character: c, air: air, at: at, rate: float64(c.Rate), still: true}
}

// Err returns the first step that did not follow, wrapping ErrSchedule, or nil.
func (i *Instrument) Err() error { return i.err }

// Going reports whether it goes.
func (i *Instrument) Going() bool { return !i.still }

// Temperature returns the temperature about it in °C.
func (i *Instrument) Temperature(at time.Time) float64 { return i.air.At(at) }

// Rate returns the rate now, in its position and at the temperature about it.
func (i *Instrument) Rate(at time.Time) clock.Rate {
	i.to(at)
	u := i.air.At(i.at) - ReferenceC
	c := i.character
	return clock.Rate(i.rate+c.Linear*u+c.Quadratic*u*u) + c.PositionRates[i.position]
}

// Error returns the true error of the dial. That of a still dial falls by a
// second a second.
func (i *Instrument) Error(at time.Time) clock.DialError {
	i.to(at)
	return clock.DialError(i.errorS)
}

// Read returns the error as read with a standard deviation of sd s.
func (i *Instrument) Read(at time.Time, sd float64) clock.DialError {
	return i.Error(at) + clock.DialError(sd*i.rng.NormFloat64())
}

// Start sets it going with an error. It must stand still.
func (i *Instrument) Start(at time.Time, e clock.DialError) {
	if i.to(at); i.err == nil && !i.still {
		i.refuse("started at %s although it goes", at)
	}
	i.do(func() { i.still, i.errorS = false, float64(e) })
}

// Stop stops it. It must go.
func (i *Instrument) Stop(at time.Time) {
	if i.to(at); i.err == nil && i.still {
		i.refuse("stopped at %s although it stands still", at)
	}
	i.do(func() { i.still = true })
}

// MoveHands moves the minute hand on.
func (i *Instrument) MoveHands(at time.Time, by clock.Advance) {
	i.to(at)
	i.do(func() { i.errorS = float64(clock.DialError(i.errorS).Advanced(by)) })
}

// SetHands sets the hands to an error.
func (i *Instrument) SetHands(at time.Time, e clock.DialError) {
	i.to(at)
	i.do(func() { i.errorS = float64(e) })
}

// Regulate changes its rate by an amount.
func (i *Instrument) Regulate(at time.Time, by clock.Rate) {
	i.to(at)
	i.do(func() { i.rate += float64(by) })
}

// Carry steps its error and its rate as a carriage may.
func (i *Instrument) Carry(at time.Time, step clock.DialError, change clock.Rate) {
	i.to(at)
	i.do(func() { i.errorS, i.rate = i.errorS+float64(step), i.rate+float64(change) })
}

// Lay lays it in a position.
func (i *Instrument) Lay(at time.Time, position string) {
	i.to(at)
	i.do(func() { i.position = position })
}

// Put brings it into other air, such as a trial oven.
func (i *Instrument) Put(at time.Time, air Air) {
	i.to(at)
	i.do(func() { i.air = air })
}

// to carries it on to an instant. The rate wanders while it stands still too.
func (i *Instrument) to(at time.Time) {
	if at.Before(i.at) {
		i.refuse("asked for %s after a later step", at)
	}
	i.do(func() {
		days := timescale.Days(i.at, at)
		u, u2 := i.air.Record.Excess(timescale.Days(i.air.From, i.at), timescale.Days(i.air.From, at))
		c := i.character
		e, r := c.Noise.Step(i.rng, i.errorS, i.rate, days)
		e += c.Linear*u + c.Quadratic*u2 + c.DriftPerDay*days*days/2 + float64(c.PositionRates[i.position])*days
		// The dial knows no leap second and gains one on UTC.
		e += float64(timescale.LeapSeconds(i.at, at))
		if i.still {
			e = i.errorS - at.Sub(i.at).Seconds()
		}
		i.errorS, i.rate, i.at = e, r+c.DriftPerDay*days, at
	})
}

func (i *Instrument) do(step func()) {
	if i.err == nil {
		step()
	}
}

func (i *Instrument) refuse(format string, at time.Time) {
	if i.err == nil {
		i.err = fmt.Errorf("%w: "+format, ErrSchedule, at.UTC().Format(time.RFC3339))
	}
}

// Package timebase holds what is known of the clock that samples a recording.
//
// A recorder that says f samples a second takes F = f(1 + e) in a true second;
// e, in parts per million, is positive if its clock is fast. A beat timed by
// such a clock has the apparent rate r', and the true rate
//
//	r = 86400 ((1 + r'/86400)(1 + e) - 1)  ~  r' + 0.0864 e[ppm]
//
// so that a fast clock makes an instrument look slow. Rates are s/d, positive
// gaining; every doubt is one standard deviation.
package timebase

import (
	"math"
	"time"
)

// Source says where the error of a sampling clock is known from.
type Source string

// The ways to know a sampling clock.
const (
	FromNothing     Source = "assumed"    // a recorder like others
	FromCalibration Source = "calibrated" // measured before, and typed in
	FromPulses      Source = "pulses"     // one pulse a second in the recording
	FromArrivals    Source = "arrivals"   // frames counted against UTC
	FromQuartz      Source = "quartz"     // a quartz watch of known rate, recorded
)

// Words says the source as a screen does, "one pulse a second in the same
// recording".
func (s Source) Words() string {
	switch s {
	case FromNothing:
		return "not measured, assumed to be like other recorders"
	case FromCalibration:
		return "measured before"
	case FromPulses:
		return "one pulse a second in the same recording"
	case FromArrivals:
		return "samples counted against UTC"
	case FromQuartz:
		return "a quartz watch of known rate, recorded by it"
	}
	return string(s)
}

// Clock is what is known of a sampling clock.
type Clock struct {
	Source Source    `json:"source"`
	PPM    float64   `json:"ppm"`    // e, positive fast
	SdPPM  float64   `json:"ppm_sd"` // its doubt
	At     time.Time `json:"at,omitzero"`
	Device string    `json:"device,omitempty"`
	Note   string    `json:"note,omitempty"` // what was odd about the measurement
}

// assumedSdPPM is the doubt of a clock that nobody measured. Clocks of sound
// inputs are typically within ±100 ppm from -10 to +70 °C (J. Hannon, public
// seismology network mailing list, 11 July 2006), which is taken for the 95%
// interval of a normal distribution; evenly spread over it they would have 58
// ppm. Single ones were found 160 ppm slow (A. MacDonald, "Soundcard clock
// accuracy", 2007) and 20 ppm fast (P. Nicholson, time-nuts mailing list, 1 July
// 2010).
const assumedSdPPM = 50

// Assumed returns a clock that nobody measured: 0 ppm, with the doubt of
// ordinary recorders, 50 ppm or 4.3 s/d.
func Assumed() Clock { return Clock{Source: FromNothing, SdPPM: assumedSdPPM} }

// Rate returns the true rate in s/d of what beats at the apparent rate, s/d by
// the sampling clock.
func (c Clock) Rate(apparent float64) float64 {
	e := c.PPM / 1e6
	return apparent + e*(86400+apparent)
}

// Apparent returns the apparent rate in s/d, by the sampling clock, of what
// beats at the true rate in s/d; it undoes Rate.
func (c Clock) Apparent(rate float64) float64 {
	e := c.PPM / 1e6
	return (rate - 86400*e) / (1 + e)
}

// SdRate returns the doubt in s/d that the clock leaves in any rate.
func (c Clock) SdRate() float64 { return 0.0864 * c.SdPPM }

// The doubt that a measured clock gathers, as variances: a wander of 1 ppm in
// three weeks, which makes 4 ppm in a year, where crystals age by 1 to 5 ppm in
// their first; and the warmth of another day, 0.5 ppm for a room within 3 K and
// crystals of 0.1 to 0.5 ppm/K. These are figures from memory.
const (
	wanderPPM2PerDay = 1.0 / 21
	warmthPPM2       = 0.25
)

// Aged returns the clock as it is known at another instant than it was measured,
// later or earlier: the same error, and a doubt that has grown, though never
// beyond that of a clock nobody measured. A clock without an instant, and one
// that nobody measured, are returned as they are.
func (c Clock) Aged(at time.Time) Clock {
	if c.At.IsZero() || c.Source == FromNothing {
		return c
	}
	days := math.Abs(at.Sub(c.At).Hours()) / 24
	grown := math.Sqrt(c.SdPPM*c.SdPPM + wanderPPM2PerDay*days + warmthPPM2*min(days, 1))
	if grown > assumedSdPPM {
		grown = max(c.SdPPM, assumedSdPPM)
	}
	c.SdPPM = grown
	return c
}

// Quartz returns the clock of a recorder from a quartz watch whose true rate is
// known and whose apparent rate was measured from the recording, all in s/d:
// e = (1 + q/86400)/(1 + q'/86400) - 1. A watch that keeps time by leaving out
// pulses is right only over whole periods of doing so.
func Quartz(known, knownSd, apparent, apparentSd float64) Clock {
	return Clock{
		Source: FromQuartz,
		PPM:    1e6 * (known - apparent) / (86400 + apparent),
		SdPPM:  math.Hypot(knownSd, apparentSd) / 0.0864,
	}
}

// EndsPPM returns the doubt in ppm of an error that was measured over a time of
// spanS seconds between two ends, each known to endS seconds: √2 endS/spanS.
func EndsPPM(endS, spanS float64) float64 { return 1e6 * math.Sqrt2 * endS / spanS }

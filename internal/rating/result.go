package rating

import (
	"errors"
	"sort"
	"time"

	"timeball/internal/posterior"
	"timeball/internal/timescale"
)

// ErrThin marks a history with too few comparisons for a rating.
var ErrThin = errors.New("too few comparisons for a rating")

// Interval is an estimate with its doubt.
type Interval = posterior.Interval

// Rating is what the comparisons say.
type Rating struct {
	Comparisons int
	Used        int
	SetAside    []SetAside
	Unrecorded  []UnrecordedMove
	Epoch       time.Time // the last used comparison
	KnownUntil  time.Time // when it was stopped, started, set or altered after the epoch; zero: it goes on
	BrokenBy    EventKind // what was done then
	Error       Interval  // s at the epoch
	Rate        Interval  // s/d at the epoch, at ReferenceC and in the position most used
	RateNow     Interval  // s/d at the epoch, at the temperature and in the position of late
	Steadiness  Interval  // s/d, rms change of the weekly mean rate from one week to the next
	Noise       Noise
	Position    string // the position most used, empty if none is known
	Tempered    bool   // temperatures are recorded, so that Rate is at ReferenceC
	Runs        []RunRate
	Temperature *TemperatureLaw // nil unless the comparisons determine a coefficient
	Positions   []PositionRate
	Changes     []Change
	Forecast    []Forecast
	Asked       []Forecast // at Options.At, in its order
	Residuals   []Residual // of every used comparison, in order of time
	Curve       []CurvePoint
	Track       Track
	Warnings    []string // sentences that a reader must see
}

// Track is the error from the epoch on, for any instant.
type Track struct {
	Epoch time.Time
	Until time.Time // when it ceases to be known, as Rating.KnownUntil
	Ahead []TrackPoint
	Moves []Event // known movements of the hands after the epoch
}

// TrackPoint is the error some days after the epoch, s, less what the hands
// were moved in between.
type TrackPoint struct {
	Days  float64
	Error Interval
}

// At returns the error at an instant from the epoch on, between the points of
// the track in proportion; it returns false before the epoch, from
// Until on, without a track, and beyond its end.
func (t Track) At(at time.Time) (Interval, bool) {
	h := timescale.Days(t.Epoch, at)
	n := len(t.Ahead)
	if n < 2 || h < 0 || h > t.Ahead[n-1].Days || !t.Until.IsZero() && !at.Before(t.Until) {
		return Interval{}, false
	}
	i := sort.Search(n, func(i int) bool { return t.Ahead[i].Days >= h })
	i = max(i, 1)
	a, b := t.Ahead[i-1], t.Ahead[i]
	w := (h - a.Days) / (b.Days - a.Days)
	mix := func(x, y float64) float64 { return x + w*(y-x) }
	moved := float64(timescale.LeapSeconds(t.Epoch, at))
	for _, m := range t.Moves {
		if !m.At.After(at) {
			moved += m.MovedS
		}
	}
	return Interval{
		Mean: mix(a.Error.Mean, b.Error.Mean) + moved, SD: mix(a.Error.SD, b.Error.SD),
		Lo95: mix(a.Error.Lo95, b.Error.Lo95) + moved, Hi95: mix(a.Error.Hi95, b.Error.Hi95) + moved,
	}, true
}

// Noise is the posterior mean of the noise parameters.
type Noise struct {
	SigmaW float64 // white frequency noise, s/√d
	SigmaR float64 // random walk of the rate, (s/d)/√d
	Kappa  float64 // factor on the stated standard deviations
	SDS    float64 // typical stated standard deviation of a used comparison, s
}

// SetAside is a comparison kept in the record but not used.
type SetAside struct {
	Ref       string
	At        time.Time
	ErrorS    float64 // as read, s, nearest to what was expected
	ReadSDS   float64 // stated standard deviation of the reading, s
	ResidualS float64 // as read minus what the others say, s
	SDS       float64 // standard deviation of ResidualS
	SlipS     float64 // the slip it is taken for, 0 if none
	Reason    string  // in words
}

// UnrecordedMove is a movement of the minute hand that the readings show and
// no entry tells.
type UnrecordedMove struct {
	After, Before time.Time
	MovedS        float64
}

// RunRate is the mean rate over one run, temperature included.
type RunRate struct {
	From, To    time.Time // first and last used comparison
	Comparisons int
	Rate        Interval // s/d; zero SD if the run has a single comparison
	Known       bool     // two or more comparisons
}

// ReferenceC is the temperature at which a rate is stated, °C.
const ReferenceC = 20.0

// TemperatureLaw is the rate's dependence on temperature about ReferenceC.
type TemperatureLaw struct {
	Linear         Interval // s/d per °C
	Quadratic      Interval // s/d per °C²
	LinearKnown    bool     // its sd is under half that of its prior
	QuadraticKnown bool
	Extreme        *Interval // °C at which it gains or loses most; nil unless the quadratic is known to have a sign
	ForecastC      float64   // the temperature that the forecast takes
	ForecastSD     float64
}

// PositionRate is the rate in a position less that in the position most used.
type PositionRate struct {
	Position string
	Rate     Interval // s/d
}

// Change is a tested change of rate.
type Change struct {
	At   time.Time
	Kind EventKind
	Rate Interval // change of rate, s/d, with a wide prior
	P    float64  // two-sided
}

// Forecast is the error at one instant; it is not Known after KnownUntil.
type Forecast struct {
	At    time.Time
	Error Interval // s
}

// Known reports whether the error is known at that instant.
func (f Forecast) Known() bool { return f.Error.SD > 0 }

// Residual is a used comparison against what the others say.
type Residual struct {
	Ref       string
	At        time.Time
	ErrorS    float64 // as read, s, nearest to what was expected
	ReadSDS   float64 // stated standard deviation of the reading, s
	ResidualS float64 // reading less what the others say of it, s
	SDS       float64 // standard deviation of ResidualS, s
}

// CurvePoint is the estimate at one instant of the past.
type CurvePoint struct {
	At    time.Time
	Run   int      // index of the run it belongs to
	Error Interval // s
	Rate  Interval // s/d, temperature and position as they were
}

// Package listening makes of a sound what a keeper wants to know: the rate with
// every doubt in it, the beat against UTC, and a verdict in words.
//
// Rates are in s/d, positive gaining; doubts are one standard deviation, and
// words give 95% intervals. Seconds of the file are counted from its beginning
// by its own sampling clock.
package listening

import (
	"fmt"
	"math"
	"strings"

	"timeball/internal/beat"
	"timeball/internal/chronometer"
	"timeball/internal/clock"
	"timeball/internal/timebase"
)

// Hearing is what a sound says of an instrument, the sampling clock taken into
// account.
type Hearing struct {
	beat.Finding
	Timebase timebase.Clock
	FromS    float64 // place in the file where the listening began, s
	Strokes  []beat.Stroke
	Remarks  []string // what a reader of the result must know

	TrueRate clock.Rate // by true time
	Sd       float64    // of it, s/d, with everything in it
}

// Normal is how many standard deviations a 95% interval reaches to each side.
const Normal = 1.96

// Judge puts a finding and a sampling clock together.
func Judge(f beat.Finding, c timebase.Clock) Hearing {
	h := Hearing{Finding: f, Timebase: c}
	if f.Rated {
		h.TrueRate = clock.Rate(c.Rate(float64(f.Rate)))
		h.Sd = math.Hypot(f.RateSd, c.SdRate())
	}
	return h
}

// Part is one part of the doubt of a rate.
type Part struct {
	Words string
	Sd    float64 // s/d
}

// Parts returns what the doubt consists of.
func (h Hearing) Parts() []Part {
	beats := math.Sqrt(math.Max(0, h.RateSd*h.RateSd-h.TeethSd*h.TeethSd-h.WanderSd*h.WanderSd))
	parts := []Part{{"the beats themselves", beats}}
	if h.TeethSd > 0 {
		parts = append(parts, Part{"the escape wheel", h.TeethSd})
	}
	if h.WanderSd > 0 {
		parts = append(parts, Part{"a slow wander", h.WanderSd})
	}
	return append(parts, Part{"the sampling clock", h.Timebase.SdRate()})
}

// The rules by which a listening is good enough.
const (
	enoughSd = 0.05 // s/d, one standard deviation from the recording
	shareOf  = 0.25 // or this share of what the sampling clock leaves anyway
)

// Enough reports whether listening longer would change little.
func (h Hearing) Enough() bool {
	return h.Rated && !h.Early && !h.Overlapped && h.RateSd <= math.Max(enoughSd, shareOf*h.Timebase.SdRate())
}

// roughClock is what a sampling clock leaves in a rate, one standard deviation in
// s/d, from which on the rate is not to be relied on by itself.
const roughClock = 0.5

// rough reports whether the sampling clock is hardly known.
func (h Hearing) rough() bool { return h.Timebase.SdRate() > roughClock }

// EnoughWords says that no more sound is needed; how good the rate is then, the
// sampling clock decides.
func (h Hearing) EnoughWords() string {
	if h.rough() {
		return "long enough"
	}
	return "good enough"
}

// Verdict says in one sentence, without capital and full stop, what the
// listening is worth.
func (h Hearing) Verdict() string {
	switch {
	case !h.Heard:
		if h.PeriodS > 0 {
			return fmt.Sprintf("%s; it may beat every %.4f s ±%.4f", h.Why, h.PeriodS/float64(max(1, h.LoudBeats)), Normal*h.PeriodSdS/float64(max(1, h.LoudBeats)))
		}
		return h.Why
	case h.Overlapped:
		return "two instruments beat nearly together, and the rate of neither can be told; part them, or wait until they have drifted apart"
	case !h.Usual:
		return fmt.Sprintf("a regular beat every %.5f s ±%.5f, which is no usual beat, so there is no rate; if its number an hour is known, tell it", h.PeriodS/float64(h.LoudBeats), Normal*h.PeriodSdS/float64(h.LoudBeats))
	case !h.Rated:
		return "the beat is regular but its rate not yet known to anything useful; listen longer"
	}
	var say []string
	switch {
	case h.Early:
		say = append(say, "provisional, since the escape wheel has not turned three times; listen longer")
	case h.Enough():
		say = append(say, h.EnoughWords())
	default:
		say = append(say, "longer listening will tell it better")
	}
	if h.rough() {
		known := "is hardly known"
		if h.Timebase.Source == timebase.FromNothing {
			known = "was never measured"
		}
		say = append(say, fmt.Sprintf("the sampling clock %s and leaves ±%.1f s a day, so never certify by it", known, Normal*h.Timebase.SdRate()))
	}
	if h.Second != nil {
		say = append(say, "another instrument is heard")
	}
	if n := len(h.Gaps); n > 0 {
		say = append(say, fmt.Sprintf("sound is missing or doubled in %s", times(n, "place")))
	}
	return strings.Join(say, "; ")
}

// times writes a count with its noun.
func times(n int, noun string) string {
	if n == 1 {
		return "one " + noun
	}
	return fmt.Sprintf("%d %ss", n, noun)
}

// Rating returns the rate in words with its 95% interval, "losing 0.84 s a day
// ±0.12", or nothing if there is none.
func (h Hearing) Rating() string {
	if !h.Rated || h.Overlapped {
		return ""
	}
	half := Normal * h.Sd
	return h.TrueRate.Words(half) + " a day " + h.TrueRate.HalfWidth(half)
}

// Fact returns the entry of the listening. It is false if there is no rate to
// enter.
func (h Hearing) Fact() (chronometer.Listened, bool) {
	if !h.Rated || h.Overlapped {
		return chronometer.Listened{}, false
	}
	round := func(v, to float64) float64 { return math.Round(v/to) * to }
	l := chronometer.Listened{
		RateSPerDay: round(float64(h.TrueRate), 1e-5), RateSDSPerDay: math.Max(1e-5, math.Ceil(h.Sd*1e5)/1e5), RecordingSDSPerDay: math.Max(1e-5, round(h.RateSd, 1e-5)),
		DurationS: round(h.DurationS, 1e-3), Beats: h.Beats, Missed: h.Missed, BeatsPerHour: int(math.Round(h.PerHour)), BeatJitterS: round(h.JitterS, 1e-9),
		Timebase: &chronometer.Timebase{Source: string(h.Timebase.Source), PPM: h.Timebase.PPM, PPMSD: h.Timebase.SdPPM},
		Verdict:  h.Verdict(),
	}
	if h.Amplitude > 0 {
		a := round(h.Amplitude, 0.1)
		l.AmplitudeDeg, l.AmplitudeSDDeg = &a, round(h.AmplitudeSd, 0.1)
	}
	if h.OutOfBeatKnown {
		ms := round(1e3*h.OutOfBeatS, 1e-3)
		l.OutOfBeatMS, l.OutOfBeatSDMS = &ms, 0.05
		if h.Amplitude > 0 {
			deg := round(h.OutOfBeatDeg, 0.01)
			l.OutOfBeatDeg = &deg
		}
	}
	l.Reading = h.long()
	return l, true
}

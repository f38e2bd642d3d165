package chronometer

import (
	"errors"
	"fmt"
	"math"

	"timeball/internal/clock"
)

// Bounds of what is heard.
const (
	longestSound = 14 * 86400  // s
	mostBeats    = 100_000_000 // of one recording
	mostPoints   = 400         // of one curve
	mostRate     = 3600        // s/d
	mostRateSD   = 600         // s/d
)

// UnknownClockSD is the standard deviation, s/d, of a rate heard by a recorder
// whose sampling clock was never measured: 50 parts in a million (sound cards
// lie within ±100: J. Hannon, public seismology network list, 11 July 2006),
// 0.0864 s/d each.
const UnknownClockSD = 50 * ratePerPPM

// ratePerPPM is the rate, s/d, of one part in a million.
const ratePerPPM = 0.0864

// Listened is the rate heard in the beat. It is the rate of those minutes: the
// temperature and the state of wind of the day are not in it, and the sampling
// clock of the recorder limits it (an ordinary one by some s/d). So it is
// shown beside the rating and never enters it, and neither begins nor ends a
// run.
type Listened struct {
	RateSPerDay        float64      `json:"rate_s_per_day" label:"Rate heard" unit:"s/d" hint:"losing with a minus" need:"yes"`
	RateSDSPerDay      float64      `json:"rate_sd_s_per_day" label:"Doubt of the rate" unit:"s/d" hint:"one standard deviation; 4.3 if the recorder's clock was never measured" need:"yes"`
	RecordingSDSPerDay float64      `json:"rate_sd_recording_s_per_day,omitempty" asked:"no"` // of the recording alone, without the sampling clock
	DurationS          float64      `json:"duration_s,omitempty" label:"Length of the sound" unit:"s"`
	Beats              int          `json:"beats,omitempty" asked:"no"`
	Missed             int          `json:"missed,omitempty" asked:"no"`         // beats that were due and not heard
	BeatsPerHour       int          `json:"beats_per_hour,omitempty" asked:"no"` // vibrations an hour, 14400 for a half-second beat
	BeatJitterS        float64      `json:"beat_jitter_s,omitempty" asked:"no"`  // scatter of one beat, s
	Timebase           *Timebase    `json:"timebase,omitempty" asked:"no"`
	AmplitudeDeg       *float64     `json:"amplitude_deg,omitempty" label:"Amplitude" unit:"°" hint:"from rest to the end of the swing"`
	AmplitudeSDDeg     float64      `json:"amplitude_sd_deg,omitempty" asked:"no"` // 0: the usual one
	LiftAngleDeg       float64      `json:"lift_angle_deg,omitempty" asked:"no"`   // taken for the amplitude
	OutOfBeatMS        *float64     `json:"out_of_beat_ms,omitempty" asked:"no"`
	OutOfBeatSDMS      float64      `json:"out_of_beat_sd_ms,omitempty" asked:"no"`
	OutOfBeatDeg       *float64     `json:"out_of_beat_deg,omitempty" asked:"no"` // the same at the balance
	Verdict            string       `json:"verdict,omitempty" asked:"no"`         // how well it was heard, in words
	Microphone         string       `json:"microphone,omitempty" asked:"no"`      // name of the sound input
	TempC              *float64     `json:"temp_c,omitempty" label:"Temperature" unit:"°C"`
	Position           Position     `json:"position,omitempty" label:"Position"`
	WoundH             *float64     `json:"wound_h,omitempty" label:"Hours since wound" unit:"h"`
	Note               string       `json:"note,omitempty" label:"Note"`
	Recording          *Recording   `json:"recording,omitempty" asked:"no"`
	Reading            *LongReading `json:"reading,omitempty" asked:"no"`
}

// Timebase is what was known of the sampling clock of a recording.
type Timebase struct {
	Source string  `json:"source"` // assumed, calibrated, pulses, arrivals, quartz, or other words
	PPM    float64 `json:"ppm"`    // true sampling frequency over the nominal, less one, in parts in a million
	PPMSD  float64 `json:"ppm_sd"` // standard deviation of that
}

// Words says in a few words where the sampling clock was known from.
func (t Timebase) Words() string {
	switch t.Source {
	case "assumed":
		return "sampling clock not measured"
	case "calibrated":
		return "sampling clock calibrated"
	case "pulses":
		return "sampling clock by pulses"
	case "arrivals":
		return "sampling clock against UTC"
	case "quartz":
		return "sampling clock by a quartz watch"
	}
	return "sampling clock: " + t.Source
}

// LongReading is what a recording of hours shows a workshop that services the
// instrument; each curve has at most 400 points.
type LongReading struct {
	TeethUS   []float64     `json:"teeth_us,omitempty"`    // each tooth of the escape wheel early (-) or late (+) against their mean, µs
	TeethSDUS float64       `json:"teeth_sd_us,omitempty"` // standard deviation of each
	Amplitude []AmplitudeAt `json:"amplitude,omitempty"`   // in the order of time
	Rate      []RateAt      `json:"rate,omitempty"`        // in the order of time
}

// AmplitudeAt is the amplitude some hours into a recording.
type AmplitudeAt struct {
	H     float64 `json:"h"`
	Deg   float64 `json:"deg"`
	SDDeg float64 `json:"sd_deg"`
}

// RateAt is the rate some hours into a recording, s/d, + gaining.
type RateAt struct {
	H         float64 `json:"h"`
	SPerDay   float64 `json:"s_per_day"`
	SDSPerDay float64 `json:"sd_s_per_day"`
}

// Kind returns KindListened.
func (Listened) Kind() Kind { return KindListened }

// Words returns the rate with its doubt, and how it was heard.
func (l Listened) Words() string {
	rate, half := clock.Rate(l.RateSPerDay), 1.96*l.RateSDSPerDay
	var sound, timebase, amplitude, beat string
	if l.DurationS > 0 {
		sound = lasting(l.DurationS) + " of sound"
	}
	if l.Timebase != nil {
		timebase = l.Timebase.Words()
	}
	if l.AmplitudeDeg != nil {
		amplitude = fmt.Sprintf("amplitude %.0f° ±%.0f°", *l.AmplitudeDeg, math.Ceil(1.96*l.AmplitudeSD()))
	}
	if l.OutOfBeatMS != nil && l.OutOfBeatSDMS > 0 {
		beat = fmt.Sprintf("out of beat %.1f ms ±%.1f", math.Abs(*l.OutOfBeatMS), math.Ceil(19.6*l.OutOfBeatSDMS)/10)
	}
	return phrase(rate.Words(half)+"/d "+rate.HalfWidth(half), sound, timebase, amplitude, beat, l.Verdict, celsius(l.TempC), string(l.Position), l.Note)
}

// AmplitudeSD returns the standard deviation of the amplitude in degrees: what
// was stated, or one part in forty of it, which is one degree in a lift angle
// of 40.
func (l Listened) AmplitudeSD() float64 {
	if l.AmplitudeSDDeg > 0 || l.AmplitudeDeg == nil {
		return l.AmplitudeSDDeg
	}
	return *l.AmplitudeDeg / 40
}

// lasting writes a length of s seconds in the unit that suits it.
func lasting(s float64) string {
	short := func(v float64) string { return number(math.Round(v*10) / 10) }
	switch {
	case s < 119.95:
		return short(s) + " s"
	case s < 2*3600:
		return short(s/60) + " min"
	}
	return short(s/3600) + " h"
}

// UnmarshalJSON reads the fact; a rate that is not there is not taken for 0.
func (l *Listened) UnmarshalJSON(text []byte) error {
	type plain Listened
	read := struct {
		RateSPerDay *float64 `json:"rate_s_per_day"`
		*plain
	}{plain: new(plain)}
	if err := decodeStrict(text, &read); err != nil {
		return err
	}
	if read.RateSPerDay == nil {
		return errors.New("rate_s_per_day is missing; write the rate heard, in seconds a day")
	}
	*l = Listened(*read.plain)
	l.RateSPerDay = *read.RateSPerDay
	return nil
}

func (l Listened) check() error {
	if l.RateSDSPerDay == 0 {
		return errors.New("rate_sd_s_per_day is missing, and no rate is without doubt; write one standard deviation with the sampling clock in it, 4.3 if that was never measured")
	}
	if l.AmplitudeDeg == nil && l.AmplitudeSDDeg != 0 {
		return errors.New("amplitude_sd_deg stands without amplitude_deg; write both or neither")
	}
	if l.OutOfBeatMS == nil && l.OutOfBeatSDMS != 0 {
		return errors.New("out_of_beat_sd_ms stands without out_of_beat_ms; write both or neither")
	}
	err := first(
		within("rate_s_per_day", l.RateSPerDay, -mostRate, mostRate, "s/d"), within("rate_sd_s_per_day", l.RateSDSPerDay, 0, mostRateSD, "s/d"),
		within("rate_sd_recording_s_per_day", l.RecordingSDSPerDay, 0, mostRateSD, "s/d"), within("duration_s", l.DurationS, 0, longestSound, "s"),
		within("beats", float64(l.Beats), 0, mostBeats, ""), within("missed", float64(l.Missed), 0, mostBeats, ""),
		within("beat_jitter_s", l.BeatJitterS, 0, 1, "s"), l.Timebase.check(),
		withinIf("amplitude_deg", l.AmplitudeDeg, 10, 360, "°"), within("amplitude_sd_deg", l.AmplitudeSDDeg, 0, 180, "°"),
		within("lift_angle_deg", l.LiftAngleDeg, 0, 180, "°"), withinIf("out_of_beat_ms", l.OutOfBeatMS, -250, 250, "ms"),
		within("out_of_beat_sd_ms", l.OutOfBeatSDMS, 0, 250, "ms"), withinIf("out_of_beat_deg", l.OutOfBeatDeg, -180, 180, "°"),
		line("verdict", l.Verdict), line("microphone", l.Microphone), temperature(l.TempC), oneOf("position", l.Position, Position("").Choices()),
		withinIf("wound_h", l.WoundH, 0, 1000, "h"), short("note", l.Note), l.Recording.check("recording"), l.Reading.check(),
	)
	if err != nil {
		return err
	}
	if l.BeatsPerHour != 0 && (l.BeatsPerHour < 1800 || l.BeatsPerHour > 72000) {
		return fmt.Errorf("beats_per_hour %d is outside 1800 to 72000; write the vibrations an hour, 14400 for a half-second beat", l.BeatsPerHour)
	}
	return l.honest()
}

// honest holds the doubt of the rate against its parts, none of which it may
// hide.
func (l Listened) honest() error {
	if l.RateSDSPerDay < rounded*l.RecordingSDSPerDay {
		return fmt.Errorf("rate_sd_s_per_day %s is smaller than rate_sd_recording_s_per_day %s; write the doubt with everything in it", number(l.RateSDSPerDay), number(l.RecordingSDSPerDay))
	}
	if l.Timebase == nil {
		return nil
	}
	sampling := ratePerPPM * l.Timebase.PPMSD
	if l.RateSDSPerDay < rounded*math.Hypot(l.RecordingSDSPerDay, sampling) {
		return fmt.Errorf("rate_sd_s_per_day %s hides the doubt of the sampling clock, %.3g s/d (timebase.ppm_sd %s); write the doubt with everything in it", number(l.RateSDSPerDay), sampling, number(l.Timebase.PPMSD))
	}
	return nil
}

func (t *Timebase) check() error {
	if t == nil {
		return nil
	}
	if t.PPMSD == 0 {
		return errors.New("timebase.ppm_sd is missing, and no clock is without doubt; write one standard deviation, 50 if it was never measured")
	}
	return first(need("timebase.source", t.Source, "say where it comes from"), line("timebase.source", t.Source),
		within("timebase.ppm", t.PPM, -100_000, 100_000, "ppm"), within("timebase.ppm_sd", t.PPMSD, 0, 100_000, "ppm"))
}

func (r *LongReading) check() error {
	if r == nil {
		return nil
	}
	for _, curve := range []struct {
		field  string
		points int
	}{{"reading.teeth_us", len(r.TeethUS)}, {"reading.amplitude", len(r.Amplitude)}, {"reading.rate", len(r.Rate)}} {
		if curve.points > mostPoints {
			return fmt.Errorf("%s has %d points; write at most %d", curve.field, curve.points, mostPoints)
		}
	}
	if len(r.TeethUS) > 0 && r.TeethSDUS == 0 {
		return errors.New("reading.teeth_sd_us is missing; write one standard deviation of each tooth, in microseconds")
	}
	err := within("reading.teeth_sd_us", r.TeethSDUS, 0, 100_000, "µs")
	for _, us := range r.TeethUS {
		err = first(err, within("reading.teeth_us", us, -100_000, 100_000, "µs"))
	}
	before := math.Inf(-1)
	for _, a := range r.Amplitude {
		err = first(err, pointAt("reading.amplitude", before, a.H, a.SDDeg), within("reading.amplitude.deg", a.Deg, 0, 360, "°"), within("reading.amplitude.sd_deg", a.SDDeg, 0, 180, "°"))
		before = a.H
	}
	before = math.Inf(-1)
	for _, x := range r.Rate {
		err = first(err, pointAt("reading.rate", before, x.H, x.SDSPerDay), within("reading.rate.s_per_day", x.SPerDay, -mostRate, mostRate, "s/d"), within("reading.rate.sd_s_per_day", x.SDSPerDay, 0, mostRateSD, "s/d"))
		before = x.H
	}
	return err
}

// pointAt returns an error unless a point of a curve comes after the one
// before and has its doubt.
func pointAt(field string, before, h, sd float64) error {
	if sd == 0 {
		return fmt.Errorf("%s at %s h has no doubt; write one standard deviation", field, number(h))
	}
	if h <= before {
		return fmt.Errorf("%s at %s h comes after %s h; write the points in the order of time", field, number(h), number(before))
	}
	return within(field+".h", h, 0, longestSound/3600, "h")
}

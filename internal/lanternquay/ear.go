package lanternquay

import (
	"math"
	"math/rand/v2"
	"time"

	"timeball/internal/chronometer"
	"timeball/internal/clock"
)

// Microphone is a sound input of the quay with what was measured of it.
type Microphone struct {
	Key, Name string
	Seen      time.Time

	LatencyS, LatencySDS float64 // of the sound, s; with the zero LatencyAt it was never measured
	LatencyHow           string
	LatencyAt            time.Time

	PPM, PPMSD float64 // of the sampling clock, parts in a million; with the zero PPMAt it was never measured
	PPMSource  string
	PPMAt      time.Time
}

// The sound inputs.
const (
	benchMicrophone = "bench microphone"
	benchKey        = "lantern-quay-bench"
)

// Microphones returns the sound inputs as they are known at the instant now:
// the one of the bench is measured, that of the telephone is not.
func Microphones(now time.Time) []Microphone {
	now = now.UTC().Truncate(time.Microsecond)
	ago := func(days float64) time.Time {
		return now.Add(-time.Duration(days * float64(clock.Day))).Truncate(time.Second)
	}
	return []Microphone{
		{Key: benchKey, Name: benchMicrophone, Seen: ago(0.1), LatencyS: delayS, LatencySDS: delaySDS, LatencyHow: "check tone", LatencyAt: ago(90),
			PPM: benchPPM, PPMSD: benchPPMSD, PPMSource: "calibrated", PPMAt: ago(90)},
		{Key: "lantern-quay-telephone", Name: benchTelephone, Seen: ago(79)},
	}
}

// What is known of the sound inputs, and what is true of them: sampling clocks
// in parts in a million, the delay of the bench microphone in seconds.
const (
	benchPPM, benchPPMSD = 12.4, 1.1
	trueBenchPPM         = 13.0
	unknownPPMSD         = 50.0 // of a clock that was never measured
	trueTelephonePPM     = 31.0
	delayS, delaySDS     = 0.031, 0.006
	trueDelayS           = 0.034
	ownSoundSDS          = 0.003  // of a comparison by sound, without the delay
	ratePerPPM           = 0.0864 // s/d
)

// ear is a sound input as it hears an instrument.
type ear struct {
	name     string
	timebase chronometer.Timebase
	truePPM  float64
}

// telephone is the ear whose sampling clock is not known, bench the one whose
// is.
var (
	telephone = ear{benchTelephone, chronometer.Timebase{Source: "assumed", PPMSD: unknownPPMSD}, trueTelephonePPM}
	bench     = ear{benchMicrophone, chronometer.Timebase{Source: "calibrated", PPM: benchPPM, PPMSD: benchPPMSD}, trueBenchPPM}
)

// shift returns by how much every rate is heard wrong, s/d: a clock that
// samples faster than it is taken to makes the beats seem longer.
func (e ear) shift() float64 { return -ratePerPPM * (e.truePPM - e.timebase.PPM) }

// jitterS is the scatter of one beat, s: common for a spring detent, from memory.
const jitterS = 25e-6

// heard returns a rate of so many seconds of sound; doubts are written up, so
// that none is less than its parts. The scatter of the beats alone would give
// less than the recording's 0.03 s/d, which is the escape wheel's for minutes.
func (b *book) heard(at time.Time, e ear, seconds float64) chronometer.Listened {
	const recordingSD = 0.03
	beat := b.made.Beat.Seconds()
	up := func(v float64) float64 { return math.Ceil(1000*v) / 1000 }
	temp, wound := b.thermometer(at), math.Round(10*at.Sub(b.wound).Hours())/10
	timebase := e.timebase
	rate := float64(b.inst.Rate(at)) + e.shift() + recordingSD*b.rng.NormFloat64()
	return chronometer.Listened{
		RateSPerDay: math.Round(100*rate) / 100, RateSDSPerDay: up(math.Hypot(recordingSD, ratePerPPM*timebase.PPMSD)), RecordingSDSPerDay: recordingSD,
		DurationS: seconds, Beats: int(seconds / beat), BeatsPerHour: int(math.Round(2 * 3600 / beat)), BeatJitterS: jitterS,
		Timebase: &timebase, Verdict: "regular beat", Microphone: e.name, TempC: &temp, Position: b.position, WoundH: &wound,
	}
}

// listen hears the rate of some minutes and writes it down.
func (b *book) listen(at time.Time, e ear, minutes float64, note string) {
	l := b.heard(at, e, 60*minutes)
	l.Note = note
	b.writeUp(at, at.Add(time.Duration(minutes*float64(time.Minute))), l)
}

// Of a long recording: the lift of the balance, degrees, the teeth of the
// escape wheel, and the doubt of a tooth, µs.
const (
	liftDeg   = 40
	wheelOf   = 15
	toothSDUS = 2
)

// serviceReading leaves the bench microphone on it for hours: how the amplitude
// falls, woundDeg just wound and fellDeg less a day later, how the rate goes
// with it, and how the teeth of the escape wheel differ. The comparisons
// between windings know nothing of the course within a day.
func (b *book) serviceReading(at time.Time, hours int, woundDeg, fellDeg float64) {
	const (
		rateSD      = 0.06 // s/d of an hour, most of it its own wandering
		amplitudeSD = 1.0  // degrees of an hour; an error of the lift is in it
		course      = 0.3  // s/d from the beginning to the end
		toothUS     = 22.0 // standard deviation of the teeth
	)
	l := b.heard(at, bench, 3600*float64(hours))
	l.Beats -= 3
	l.Missed = 3
	l.LiftAngleDeg = liftDeg
	l.Note = "left on the bench, nobody near it"
	r := &chronometer.LongReading{TeethUS: teeth(b.rng, toothUS), TeethSDUS: toothSDUS}
	var rates, degrees float64
	for n := range hours {
		h := float64(n) + 0.5
		since := *l.WoundH + h
		x := chronometer.RateAt{H: h, SDSPerDay: rateSD}
		x.SPerDay = float64(b.inst.Rate(at.Add(time.Duration(h*float64(time.Hour))))) + bench.shift() + course*(0.5-h/float64(hours)) + rateSD*b.rng.NormFloat64()
		x.SPerDay = math.Round(1000*x.SPerDay) / 1000
		a := chronometer.AmplitudeAt{H: h, Deg: math.Round(10*(woundDeg-fellDeg*since/24+0.4*b.rng.NormFloat64())) / 10, SDDeg: amplitudeSD}
		r.Rate, r.Amplitude = append(r.Rate, x), append(r.Amplitude, a)
		rates, degrees = rates+x.SPerDay/float64(hours), degrees+a.Deg/float64(hours)
	}
	amplitude := math.Round(degrees)
	l.RateSPerDay, l.AmplitudeDeg, l.Reading = math.Round(100*rates)/100, &amplitude, r
	b.writeUp(at, at.Add(time.Duration(hours)*time.Hour), l)
}

// teeth returns how late each tooth is against the mean of all, µs.
func teeth(rng *rand.Rand, sdUS float64) []float64 {
	us, mean := make([]float64, wheelOf), 0.0
	for n := range us {
		us[n] = sdUS * rng.NormFloat64()
		mean += us[n] / wheelOf
	}
	for n := range us {
		us[n] = math.Round(10*(us[n]-mean)) / 10
	}
	return us
}

// heardBeat returns the sound behind a comparison made at an instant at which
// the dial showed a whole second.
func (b *book) heardBeat(at time.Time) *chronometer.HeardBeat {
	const seconds = 60
	beat := b.made.Beat.Seconds()
	every := time.Duration(beat * 1e9)
	phase := time.Duration(at.Nanosecond()) % every
	return &chronometer.HeardBeat{
		Beats: int(seconds / beat), DurationS: seconds, PhaseS: phase.Seconds(), BeatS: beat, Taken: chronometer.TakenForecast,
		LatencyS: delayS, LatencySDS: delaySDS, Microphone: benchMicrophone, MicrophoneKey: benchKey,
	}
}

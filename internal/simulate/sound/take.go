package sound

import (
	"math"
	"math/rand/v2"
)

// Take describes a recording to be made. The zero value of a field leaves that
// fault out; where it says "dB over the beat", the level is that of the mean
// power of the fault between 1 and 12 kHz over the mean power of the first
// chronometer's beat as SNRdB counts it, and 0 is none.
type Take struct {
	RateHz         int     // nominal sampling frequency; 0: 48000
	ClockPPM       float64 // the true sampling frequency is RateHz (1 + ClockPPM 1e-6)
	ClockPPMPerDay float64 // by which ClockPPM grows
	Seconds        float64 // length in file time

	// SNRdB is the mean power of the first chronometer's loud beat over the 10
	// ms after its first onset over that of the white noise, both between 1
	// and 12 kHz, or up to 0.45 of the sampling frequency if that is lower;
	// +Inf is no noise. The drop of a detent, its loudest sound, comes later.
	SNRdB float64
	// SNRWhole counts the energy of the whole beat as if within the 10 ms, so
	// that 2E/N0 is 23.4 dB over SNRdB; for a detent that is some 10 dB more
	// noise at the same SNRdB.
	SNRWhole bool

	Chronometers []Chronometer // without one, levels are those of a Chronometer{} that is not heard

	PinkDB     float64 // noise of equal power in every octave, dB over the beat
	HumHz      float64 // the mains and two harmonics
	HumDB      float64 // the whole power of the hum over the beat, dB; 0 is 0 if HumHz is given
	Knocks     int     // on the bench, at random times
	SpeechLike float64 // random syllables while they sound, dB over the beat
	Echo       bool    // three reflections of every beat within 5 ms
	ClipShare  float64 // clipped at this share of the first chronometer's peak
	GainPump   float64 // depth of a gain that yields to loud sounds in 5 ms and recovers in 0.5 s, 0 to 1
	SilentFrom float64 // exact zeros from this file time, s
	SilentTo   float64 // to this one, s
	QuantBits  int     // word length to which samples are rounded

	Drops           []Drop // frames that were lost, in order of time
	DropCount       int    // more, at random places at least 3 s apart where there is room
	DropFrames      int    // in each; 0: 480
	RepeatedBuffers int    // buffers of DropFrames that were heard twice, placed likewise

	SecondPulse  bool    // a second channel with a pulse at each second of true time
	PulsePhaseS  float64 // of the first, s
	PulseJitterS float64 // rms, s
	PulseS       float64 // length of a pulse, s; 0: 0.1
}

// Drop is a join in a recording.
type Drop struct {
	AtS    float64 // file time of the first frame after it, s
	Frames int     // lost before it; negative: frames before it that follow once more
}

// Recorded is a recording and the truth behind it.
type Recorded struct {
	Samples []float64   // in [-1, 1)
	Pulse   []float64   // as many, or nil
	Beats   [][]float64 // of each chronometer, file time of each loud unlocking that is in the recording, s
	Numbers [][]int     // their count, through those that are not
	Pattern [][]float64 // of each chronometer, what the teeth add, s
	Drops   []Drop      // as placed
	PulseS  []float64   // file time of each pulse, s
	Levels
}

// Levels are the amplitudes and powers of a recording, full scale being 1.
type Levels struct {
	LevelPeak float64 // of the first chronometer's loud beat
	BeatPower float64 // its mean power as SNRdB counts it
	NoiseRMS  float64 // white noise, rms of a sample
	// TwoEOverN0 is twice the energy of the loud beat over the one-sided
	// density of the white noise.
	TwoEOverN0 float64
	// BandwidthHz is the rms bandwidth of the loud beat about zero frequency.
	BandwidthHz float64
}

// Render returns the whole recording.
func (t Take) Render(rng *rand.Rand) Recorded {
	s := t.Stream(rng)
	n := s.left
	samples := make([]float64, n)
	var pulse []float64
	if t.SecondPulse {
		pulse = make([]float64, n)
	}
	for read := 0; read < n; {
		if pulse != nil {
			read += s.ReadBoth(samples[read:], pulse[read:])
		} else {
			read += s.Read(samples[read:])
		}
	}
	r := s.Recorded()
	r.Samples, r.Pulse = samples, pulse
	return r
}

// rateHz returns the nominal sampling frequency.
func (t Take) rateHz() float64 {
	if t.RateHz <= 0 {
		return 48000
	}
	return float64(t.RateHz)
}

// sampledHz returns the true sampling frequency at the start.
func (t Take) sampledHz() float64 { return t.rateHz() * (1 + 1e-6*t.ClockPPM) }

// frames returns the frames sampled up to a true time in s.
func (t Take) frames(trueS float64) float64 {
	return t.rateHz() * (trueS + 1e-6*trueS*(t.ClockPPM+t.ClockPPMPerDay*trueS/86400/2))
}

// trueS returns the true time in s at which a frame was sampled.
func (t Take) trueS(frames float64) float64 {
	nominal := frames / t.rateHz()
	s := nominal
	for range 4 {
		s = nominal / (1 + 1e-6*(t.ClockPPM+t.ClockPPMPerDay*s/86400/2))
	}
	return s
}

// place returns the joins of the recording in order of file time.
func (t Take) place(rng *rand.Rand) []Drop {
	const apartS, endS = 3.0, 2.0
	drops := append([]Drop(nil), t.Drops...)
	frames := t.DropFrames
	if frames <= 0 {
		frames = 480
	}
	for i := range t.DropCount + t.RepeatedBuffers {
		d := Drop{Frames: frames}
		if i >= t.DropCount {
			d.Frames = -frames
		}
		for range 100 {
			d.AtS = math.Round((endS+(t.Seconds-2*endS)*rng.Float64())*t.rateHz()) / t.rateHz()
			near := false
			for _, other := range drops {
				near = near || math.Abs(other.AtS-d.AtS) < apartS
			}
			if !near {
				break
			}
		}
		drops = append(drops, d)
	}
	sortDrops(drops)
	return drops
}

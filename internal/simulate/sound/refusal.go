package sound

import (
	"math"
	"math/rand/v2"
)

// scene is a recording without a chronometer while it is made.
type scene struct {
	rng    *rand.Rand
	rateHz float64
	out    []float64
}

// seconds returns the length of the scene.
func (s *scene) seconds() float64 { return float64(len(s.out)) / s.rateHz }

// put adds a sound that begins at a time in s.
func (s *scene) put(atS float64, one []float64, level float64) {
	from := int(atS * s.rateHz)
	for i, v := range one {
		if j := from + i; j >= 0 && j < len(s.out) {
			s.out[j] += level * v
		}
	}
}

// between returns a number evenly from lo to hi.
func (s *scene) between(lo, hi float64) float64 { return lo + (hi-lo)*s.rng.Float64() }

// white adds white noise.
func (s *scene) white(rms float64) {
	for i := range s.out {
		s.out[i] += rms * s.rng.NormFloat64()
	}
}

// pink adds pink noise, of about the rms in the band of SNRdB.
func (s *scene) pink(rms float64) { newPink(s.rng, s.rateHz, rms*rms).add(s.out) }

// click returns a short sound of a few partials, the first the loudest.
func (s *scene) click(loHz, hiHz, decayS float64) []float64 {
	out := make([]float64, int((12*decayS+0.001)*s.rateHz))
	for i := range 3 {
		hz := min(loHz*math.Pow(hiHz/loHz, s.rng.Float64()), 0.45*s.rateHz)
		ring(out, s.rateHz, hz, decayS*s.between(0.5, 1), 1/float64(1+i))
	}
	return toPeak(out, 1)
}

// burst returns noise between about half and twice a frequency, dying away.
func (s *scene) burst(hz, attackS, decayS float64) []float64 {
	out := make([]float64, int((attackS+6*decayS)*s.rateHz))
	colour := newResonance(s.rateHz, min(hz, 0.4*s.rateHz), hz)
	for i := range out {
		t := float64(i) / s.rateHz
		out[i] = colour.pass(s.rng.NormFloat64()) * min(1, t/attackS) * math.Exp(-t/decayS)
	}
	return toPeak(out, 1)
}

// atRandom has a sound begin at random times, so many a second.
func (s *scene) atRandom(perS float64, one func() (sound []float64, level float64)) {
	for at := s.rng.ExpFloat64() / perS; at < s.seconds(); at += s.rng.ExpFloat64() / perS {
		sound, level := one()
		s.put(at, sound, level)
	}
}

// beats are the intervals of s between beats of instruments, oscillations
// among them, which a tempo must keep away from.
var beats = [...]float64{1. / 6, 0.2, 0.25, 1. / 3, 0.4, 0.5, 1}

// tempo returns an interval of s whose multiples up to the eighth are all more
// than 1.5 % from those of an instrument.
func (s *scene) tempo(loS, hiS float64) float64 {
	for {
		interval := s.between(loS, hiS)
		near := false
		for m := 1.0; m <= 8; m++ {
			for _, b := range beats {
				near = near || math.Abs(m*interval/b-1) < 0.015
			}
		}
		if !near {
			return interval
		}
	}
}

// wandering returns a function that gives, from call to call, 1 with an
// Ornstein-Uhlenbeck wander of the given share and memory in steps.
func (s *scene) wandering(share, memory float64) func() float64 {
	keep := math.Exp(-1 / memory)
	step := share * math.Sqrt(1-keep*keep)
	x := share * s.rng.NormFloat64()
	return func() float64 {
		x = keep*x + step*s.rng.NormFloat64()
		return 1 + x
	}
}

// refusals are the kinds of sound in which there is no chronometer.
var refusals = [...]struct {
	name string
	make func(s *scene)
}{
	{"white noise", func(s *scene) { s.white(0.1) }},
	{"pink noise", func(s *scene) { s.pink(0.1) }},
	{"hum", func(s *scene) {
		hz := [...]float64{50, 60}[s.rng.IntN(2)] * (1 + 2e-4*s.rng.NormFloat64())
		newHum(s.rng, s.rateHz, hz, 0.1).add(s.out)
		s.white(s.between(0.0005, 0.02))
	}},
	{"silence", func(s *scene) {
		if s.rng.IntN(2) == 0 {
			s.white(1)
		}
	}},
	{"knocks", func(s *scene) {
		s.atRandom(s.between(0.3, 2), func() ([]float64, float64) { return thud(s.rng, s.rateHz, 1), s.between(0.2, 1) })
		s.white(s.between(0.001, 0.02))
	}},
	{"rain", func(s *scene) {
		s.atRandom(s.between(20, 150), func() ([]float64, float64) {
			return s.click(2000, 9000, s.between(0.0005, 0.002)), 0.2 * math.Exp(0.8*s.rng.NormFloat64())
		})
		s.white(s.between(0.005, 0.03))
	}},
	{"dripping tap, irregular", func(s *scene) {
		s.atRandom(s.between(1, 3), func() ([]float64, float64) { return s.drip(), s.between(0.4, 1) })
		s.white(s.between(0.001, 0.01))
	}},
	{"dripping tap, nearly regular", func(s *scene) {
		every, wander := s.tempo(0.25, 1.4), s.wandering(0.02, 8)
		for at := every * s.rng.Float64(); at < s.seconds(); at += every * (wander() + 0.01*s.rng.NormFloat64()) {
			s.put(at, s.drip(), s.between(0.7, 1))
		}
		s.white(s.between(0.001, 0.01))
	}},
	{"melody", (*scene).melody},
	{"drums", func(s *scene) { s.drums(s.tempo(0.1, 0.19), s.between(0.010, 0.020)) }},
	{"fan", func(s *scene) {
		s.pink(0.05)
		blades, wander := s.between(30, 90), s.wandering(0.01, 3)
		speed, turn := 1.0, 0.0
		depth := s.between(0.1, 0.6)
		for i := range s.out {
			if i%int(s.rateHz/4) == 0 {
				speed = wander()
			}
			turn += 2 * math.Pi * blades * speed / s.rateHz
			if turn > 2*math.Pi {
				turn -= 2 * math.Pi
			}
			s.out[i] = s.out[i]*(1+depth*math.Sin(turn)) + 0.02*math.Sin(turn)
		}
	}},
	{"motor", func(s *scene) {
		every, wander := 1/s.between(4, 25), s.wandering(0.02, 30)
		brush := s.click(1500, 7000, 0.003)
		for at := 0.0; at < s.seconds(); at += every * (wander() + 0.004*s.rng.NormFloat64()) {
			s.put(at, brush, s.between(0.4, 1))
		}
		s.pink(s.between(0.01, 0.05))
	}},
	{"printer", func(s *scene) {
		for at := s.between(0, 1); at < s.seconds(); {
			lasts := s.between(0.5, 1.1)
			step, place := 1/s.between(150, 400), 0.0
			pin := s.click(1500, 6000, 0.001)
			for place < lasts {
				s.put(at+place, pin, s.between(0.1, 0.4))
				place += step * (1 + 0.05*s.rng.NormFloat64())
			}
			at += lasts
			s.put(at, s.burst(900, 0.01, 0.05), 0.7)
			at += s.between(0.15, 0.35)
			if s.rng.Float64() < 0.1 {
				at += s.between(0.5, 4)
			}
		}
		s.white(0.005)
	}},
	{"compressor", func(s *scene) {
		on := s.rng.IntN(2) == 0
		left := s.between(3, 15)
		wander := s.wandering(0.01, 40)
		stroke := s.burst(400, 0.004, 0.012)
		for at := 0.0; at < s.seconds(); {
			step := wander() / 24
			if on {
				s.put(at, stroke, s.between(0.7, 1))
			}
			at += step
			if left -= step; left < 0 {
				on, left = !on, s.between(3, 15)
				s.put(at, thud(s.rng, s.rateHz, 1), 1)
			}
		}
		s.pink(0.02)
	}},
	{"footsteps", func(s *scene) {
		every, wander := s.tempo(0.42, 0.75), s.wandering(0.03, 6)
		for at := s.between(0, 1); at < s.seconds(); {
			level := s.between(0.4, 1)
			s.put(at, s.burst(s.between(150, 400), 0.004, 0.025), level)
			s.put(at+s.between(0.03, 0.09), s.burst(s.between(1500, 3500), 0.003, 0.012), 0.5*level)
			at += every * (wander() + 0.03*s.rng.NormFloat64())
			if s.rng.Float64() < 0.04 {
				at += s.between(0.5, 4)
			}
		}
		s.pink(s.between(0.001, 0.01))
	}},
	{"applause", func(s *scene) {
		for range 5 + s.rng.IntN(40) {
			every, level := s.between(0.2, 0.4), s.between(0.1, 1)
			clap := s.burst(s.between(900, 2500), 0.001, s.between(0.004, 0.01))
			wander := s.wandering(0.05, 5)
			for at := s.between(0, 2); at < s.seconds(); at += every * (wander() + 0.05*s.rng.NormFloat64()) {
				s.put(at, clap, level*s.between(0.6, 1))
			}
		}
	}},
	{"syllables", func(s *scene) {
		newSpeech(s.rng, s.rateHz, 0.01).add(s.out)
		s.white(s.between(0.0005, 0.01))
	}},
	{"birds", (*scene).birds},
	{"typing", func(s *scene) {
		for at := s.between(0, 1); at < s.seconds(); {
			key := s.click(1200, 6000, s.between(0.002, 0.005))
			level := s.between(0.4, 1)
			s.put(at, key, level)
			s.put(at+s.between(0.05, 0.11), key, level*s.between(0.3, 0.6))
			at += 0.16 * math.Exp(0.4*s.rng.NormFloat64())
			if s.rng.Float64() < 0.06 {
				at += s.between(0.3, 3)
			}
		}
		s.pink(s.between(0.001, 0.01))
	}},
	{"wind and shutters", func(s *scene) {
		s.pink(0.05)
		wander := s.wandering(0.6, 200)
		gust := 0.0
		for i := range s.out {
			if i%int(s.rateHz/100) == 0 {
				gust += 0.1 * (math.Abs(wander()) - gust)
			}
			s.out[i] *= gust
		}
		s.atRandom(0.5, func() ([]float64, float64) { return thud(s.rng, s.rateHz, 1), s.between(0.05, 0.6) })
	}},
}

// Refusals is the number of recordings that Refusal makes.
const Refusals = 100

// Refusal returns the i-th of Refusals recordings in which no chronometer is
// heard, 20 to 60 s of mono samples in [-1, 1), and the name of what is. Some
// are nearly regular, as a walk is; but for the hum none keeps a beat to better
// than 10 ms, and no tempo is within 1.5 % of the beat of an instrument. The
// kinds return after 20 with other sizes, speeds, levels and lengths.
func Refusal(i int, rng *rand.Rand, rateHz int) (name string, samples []float64) {
	kind := refusals[i%len(refusals)]
	s := &scene{rng: rand.New(rand.NewPCG(rng.Uint64(), uint64(i))), rateHz: float64(rateHz)}
	s.out = make([]float64, int(s.between(20, 60)*s.rateHz))
	kind.make(s)
	peak := math.Pow(10, -s.between(2, 26)/20)
	if kind.name == "silence" {
		// No more than the last bits of a 16-bit word.
		peak = 3.0 / 32768
	}
	toPeak(s.out, peak)
	if s.rng.IntN(2) == 0 || kind.name == "silence" {
		for i, v := range s.out {
			s.out[i] = math.RoundToEven(v*32768) / 32768
		}
	}
	return kind.name, s.out
}

// DrumMachine returns drums on a grid that is exact, with as many steps of
// stepS as fit into the seconds: a regular beat, though none of a chronometer.
func DrumMachine(rng *rand.Rand, rateHz int, stepS, seconds float64) []float64 {
	s := &scene{rng: rng, rateHz: float64(rateHz), out: make([]float64, int(seconds*float64(rateHz)))}
	s.drums(stepS, 0)
	return toPeak(s.out, 0.5)
}

// drip is a drop that falls into water: a click and a bubble of rising pitch.
func (s *scene) drip() []float64 {
	out := make([]float64, int(0.08*s.rateHz))
	hz, decayS := s.between(600, 2500), s.between(0.005, 0.015)
	turn := 0.0
	for i := range out {
		t := float64(i) / s.rateHz
		turn += 2 * math.Pi * hz * (1 + 8*t) / s.rateHz
		out[i] = math.Sin(turn) * math.Exp(-t/decayS) * min(1, t/0.001)
	}
	for i, v := range s.click(3000, 8000, 0.0008) {
		if i < len(out) {
			out[i] += 0.5 * v
		}
	}
	return out
}

// melody is notes of a few voices played by hand.
func (s *scene) melody() {
	unit, scatter := s.tempo(0.13, 0.3), s.between(0.010, 0.020)
	drift := s.wandering(0.01, 20)
	root := s.between(160, 260)
	scale := [...]float64{0, 2, 4, 5, 7, 9, 11, 12, 14, 16}
	for at := 0.2; at < s.seconds(); {
		lasts := [...]float64{1, 1, 1, 2, 2, 3, 4}[s.rng.IntN(7)]
		if s.rng.Float64() < 0.85 {
			hz := root * math.Pow(2, scale[s.rng.IntN(len(scale))]/12)
			decayS := s.between(0.15, 0.5)
			note := make([]float64, int(min(1.5, 4*decayS)*s.rateHz))
			for h := 1.0; h <= 8 && h*hz < 0.45*s.rateHz; h++ {
				ring(note, s.rateHz, hz*h, decayS/math.Sqrt(h), 1/h)
			}
			for i := range min(len(note), int(0.004*s.rateHz)) {
				note[i] *= float64(i) / (0.004 * s.rateHz)
			}
			s.put(at+scatter*s.rng.NormFloat64(), note, s.between(0.3, 1))
		}
		at += unit * lasts * drift()
	}
	s.white(s.between(0.0005, 0.005))
}

// drums are a bar of sixteen steps, repeated with small changes.
func (s *scene) drums(stepS, scatterS float64) {
	low, snare, hat := make([]float64, int(0.3*s.rateHz)), s.burst(1800, 0.001, 0.05), s.burst(8000, 0.0005, 0.015)
	ring(low, s.rateHz, 60, 0.08, 1)
	ring(low, s.rateHz, 1500, 0.002, 0.3)
	drift := 0.0
	for step := 0; float64(step)*stepS < s.seconds()-0.3; step++ {
		drift += 0.2 * scatterS * s.rng.NormFloat64()
		hit := func(one []float64, level float64) {
			s.put(0.1+float64(step)*stepS+drift+scatterS*s.rng.NormFloat64(), one, level*s.between(0.7, 1))
		}
		if step%8 == 0 || step%16 == 10 && s.rng.Float64() < 0.7 {
			hit(low, 1)
		}
		if step%8 == 4 {
			hit(snare, 0.8)
		}
		if step%2 == 0 || s.rng.Float64() < 0.2 {
			hit(hat, 0.3)
		}
	}
}

// birds are phrases of chirps of a few birds.
func (s *scene) birds() {
	for range 2 + s.rng.IntN(3) {
		hz, level := s.between(2200, 6000), s.between(0.2, 1)
		every, lasts := s.between(0.09, 0.3), s.between(0.03, 0.08)
		for at := s.between(0, 3); at < s.seconds(); at += s.between(1, 6) {
			for range 2 + s.rng.IntN(8) {
				chirp := make([]float64, int(lasts*s.rateHz))
				turn, glide := 0.0, 0.3*s.rng.NormFloat64()
				for i := range chirp {
					share := float64(i) / float64(len(chirp))
					turn += 2 * math.Pi * min(hz*(1+glide*(share-0.5)), 0.45*s.rateHz) / s.rateHz
					chirp[i] = math.Sin(turn) * math.Sin(math.Pi*share)
				}
				s.put(at, chirp, level*s.between(0.6, 1))
				at += every * (1 + 0.12*s.rng.NormFloat64())
			}
		}
	}
	s.pink(s.between(0.001, 0.02))
}

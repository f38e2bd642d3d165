package sound

import (
	"math"
	"math/rand/v2"
	"slices"
)

func sortInts(n []int) { slices.Sort(n) }

// speech is syllables at random: a buzz through three resonances, or a hiss,
// with random pitch, length and pauses.
type speech struct {
	later
	rng    *rand.Rand
	rateHz float64
	power  float64 // between 1 and 12 kHz while one sounds
	next   int
	level  float64
}

func newSpeech(rng *rand.Rand, rateHz, power float64) *speech {
	return &speech{rng: rng, rateHz: rateHz, power: power, level: 1}
}

// rms is the whole of a syllable, taken as four times what is above 1 kHz.
func (s *speech) rms() float64 { return 2 * math.Sqrt(s.power) }

func (s *speech) add(samples []float64) {
	for s.next < s.at+len(samples) {
		one := s.syllable()
		s.put(s.next, one)
		pause := 0.02 + 0.12*s.rng.ExpFloat64()
		if s.rng.Float64() < 0.12 {
			pause += 0.3 + 0.8*s.rng.ExpFloat64()
		}
		s.next += len(one) + int(pause*s.rateHz)
	}
	s.pass(samples)
}

func (s *speech) syllable() []float64 {
	rng := s.rng
	out := make([]float64, int((0.07+0.22*rng.Float64())*s.rateHz))
	hiss := rng.Float64() < 0.25
	pitch := 90 + 130*rng.Float64()
	glide := 0.3 * rng.NormFloat64()
	poles := [3]resonance{}
	for i, hz := range [...]float64{300 + 600*rng.Float64(), 900 + 1500*rng.Float64(), 2400 + 1000*rng.Float64()} {
		poles[i] = newResonance(s.rateHz, min(hz, 0.4*s.rateHz), 60+60*float64(i))
	}
	hissing := newResonance(s.rateHz, min(4000+3000*rng.Float64(), 0.4*s.rateHz), 2500)
	turn := 0.0
	power := 0.0
	var low, low2 float64
	a := math.Exp(-2 * math.Pi * 1000 / s.rateHz)
	for i := range out {
		share := float64(i) / float64(len(out))
		v := 0.0
		if hiss {
			v = hissing.pass(rng.NormFloat64())
		} else {
			turn += pitch * (1 + glide*share + 0.01*rng.NormFloat64()) / s.rateHz
			x := 0.02 * rng.NormFloat64()
			if turn >= 1 {
				turn--
				x += 1 + 0.1*rng.NormFloat64()
			}
			v = poles[0].pass(x) + 0.6*poles[1].pass(x) + 0.35*poles[2].pass(x)
		}
		v *= math.Sin(math.Pi * min(1, 3*share, 3*(1-share)) / 2)
		out[i] = v
		// Two one-pole high-passes of 1 kHz.
		low = a*low + (1-a)*v
		high := v - low
		low2 = a*low2 + (1-a)*high
		high -= low2
		power += high * high / float64(len(out))
	}
	scale := math.Sqrt(s.power/power) * math.Exp(0.3*rng.NormFloat64())
	for i := range out {
		out[i] *= scale
	}
	return out
}

// resonance is a pair of poles.
type resonance struct{ a1, a2, gain, y1, y2 float64 }

func newResonance(rateHz, hz, widthHz float64) resonance {
	r := math.Exp(-math.Pi * widthHz / rateHz)
	return resonance{a1: 2 * r * math.Cos(2*math.Pi*hz/rateHz), a2: -r * r, gain: 1 - r}
}

func (r *resonance) pass(x float64) float64 {
	y := r.gain*x + r.a1*r.y1 + r.a2*r.y2
	r.y2, r.y1 = r.y1, y
	return y
}

package sound

import (
	"math"
	"math/rand/v2"
)

// fault is something else that is heard.
type fault interface {
	// add adds the next samples of it.
	add(samples []float64)
}

// pink is noise whose density falls as 1/f between 20 Hz and 16 kHz, a sum of
// one-pole filters whose corners are a factor of 3 apart.
type pink struct {
	rng        *rand.Rand
	pole, gain [7]float64
	state      [7]float64
	total      float64
}

func newPink(rng *rand.Rand, rateHz, power float64) *pink {
	p := &pink{rng: rng}
	corner := 20.0
	for i := range p.pole {
		p.pole[i] = math.Exp(-2 * math.Pi * min(corner/rateHz, 0.4))
		// A gain that makes the density at zero frequency fall as the corner rises.
		p.gain[i] = (1 - p.pole[i]) / math.Sqrt(corner)
		corner *= 3
	}
	const steps = 2000
	lo, hi, _ := band(rateHz)
	inBand, all := 0.0, 0.0
	for i := range steps {
		f := (float64(i) + 0.5) / steps / 2
		d := p.density(f) / steps
		all += d
		if f*rateHz >= lo && f*rateHz <= hi {
			inBand += d
		}
	}
	scale := math.Sqrt(power / inBand)
	for i := range p.gain {
		p.gain[i] *= scale
	}
	p.total = math.Sqrt(all) * scale
	return p
}

// density returns the power gain at f cycles per sample.
func (p *pink) density(f float64) float64 {
	re, im := 0.0, 0.0
	sin, cos := math.Sincos(2 * math.Pi * f)
	for i, a := range p.pole {
		// gain/(1 - a e^{-iw})
		x, y := 1-a*cos, a*sin
		d := x*x + y*y
		re, im = re+p.gain[i]*x/d, im-p.gain[i]*y/d
	}
	return re*re + im*im
}

func (p *pink) rms() float64 { return p.total }

func (p *pink) add(samples []float64) {
	s := p.state
	for i := range samples {
		x := p.rng.NormFloat64()
		s[0] = p.pole[0]*s[0] + p.gain[0]*x
		s[1] = p.pole[1]*s[1] + p.gain[1]*x
		s[2] = p.pole[2]*s[2] + p.gain[2]*x
		s[3] = p.pole[3]*s[3] + p.gain[3]*x
		s[4] = p.pole[4]*s[4] + p.gain[4]*x
		s[5] = p.pole[5]*s[5] + p.gain[5]*x
		s[6] = p.pole[6]*s[6] + p.gain[6]*x
		samples[i] += s[0] + s[1] + s[2] + s[3] + s[4] + s[5] + s[6]
	}
	p.state = s
}

// hum is the mains, its third and its fifth harmonic.
type hum struct {
	turn, turned [3]complex128
	power        float64
}

func newHum(rng *rand.Rand, rateHz, hz, power float64) *hum {
	h := &hum{power: power}
	const squares = 1 + 0.3*0.3 + 0.15*0.15
	for i, level := range [...]float64{1, 0.3, 0.15} {
		sin, cos := math.Sincos(2 * math.Pi * hz * float64(2*i+1) / rateHz)
		h.turn[i] = complex(cos, sin)
		sin, cos = math.Sincos(2 * math.Pi * rng.Float64())
		level *= math.Sqrt(2 * power / squares)
		h.turned[i] = complex(level*cos, level*sin)
	}
	return h
}

func (h *hum) rms() float64 { return math.Sqrt(h.power) }

func (h *hum) add(samples []float64) {
	a, b, c := h.turned[0], h.turned[1], h.turned[2]
	for i := range samples {
		samples[i] += real(a) + real(b) + real(c)
		a, b, c = a*h.turn[0], b*h.turn[1], c*h.turn[2]
	}
	h.turned = [3]complex128{a, b, c}
}

// later adds sounds that were made earlier and last on.
type later struct {
	at   int // frames passed
	rest []float64
}

// put adds samples that begin at a frame not yet passed.
func (l *later) put(frame int, samples []float64) {
	from := frame - l.at
	if n := from + len(samples) - len(l.rest); n > 0 {
		l.rest = append(l.rest, make([]float64, n)...)
	}
	for i, v := range samples {
		l.rest[from+i] += v
	}
}

// pass adds what falls on the next samples and forgets it.
func (l *later) pass(samples []float64) {
	n := min(len(samples), len(l.rest))
	for i, v := range l.rest[:n] {
		samples[i] += v
	}
	l.rest = append(l.rest[:0], l.rest[n:]...)
	l.at += len(samples)
}

// bench is knocks on the bench at random times.
type bench struct {
	later
	rng    *rand.Rand
	rateHz float64
	next   []int
	peak   float64
}

func newBench(rng *rand.Rand, rateHz float64, count int, seconds, peak float64) *bench {
	b := &bench{rng: rng, rateHz: rateHz, peak: peak, next: make([]int, count)}
	for i := range b.next {
		b.next[i] = int(rng.Float64() * seconds * rateHz)
	}
	sortInts(b.next)
	return b
}

func (b *bench) add(samples []float64) {
	for len(b.next) > 0 && b.next[0] < b.at+len(samples) {
		b.put(b.next[0], thud(b.rng, b.rateHz, b.peak*(0.2+0.8*b.rng.Float64())))
		b.next = b.next[1:]
	}
	b.pass(samples)
}

// thud returns a knock on wood: a click and three resonances below 3 kHz.
func thud(rng *rand.Rand, rateHz, peak float64) []float64 {
	out := make([]float64, int(0.2*rateHz))
	ring(out, rateHz, 2000+3000*rng.Float64(), 0.5e-3+0.001*rng.Float64(), 0.6)
	for range 3 {
		ring(out, rateHz, 100*math.Pow(25, rng.Float64()), 0.004+0.03*rng.Float64(), 0.3+0.7*rng.Float64())
	}
	return toPeak(out, peak)
}

// ring adds a damped sinusoid from the first sample on.
func ring(out []float64, rateHz, hz, decayS, level float64) {
	damping := math.Exp(-1 / (decayS * rateHz))
	sin, cos := math.Sincos(2 * math.Pi * hz / rateHz)
	turn := complex(damping*cos, damping*sin)
	z := complex(level, 0)
	for i := range out {
		z *= turn
		out[i] += imag(z)
		if real(z)*real(z)+imag(z)*imag(z) < 1e-12 {
			break
		}
	}
}

// toPeak brings samples to a peak.
func toPeak(out []float64, peak float64) []float64 {
	most := 1e-300
	for _, v := range out {
		most = max(most, math.Abs(v))
	}
	for i := range out {
		out[i] *= peak / most
	}
	return out
}

// pulses is the channel of a disciplined pulse per second, as an input that
// passes no constant level records it.
type pulses struct {
	rng              *rand.Rand
	edge             *knock
	nextS, jitter, S float64
}

func newPulses(rng *rand.Rand, t Take) *pulses {
	p := &pulses{rng: rng, nextS: t.PulsePhaseS, jitter: t.PulseJitterS, S: t.PulseS}
	if p.S <= 0 {
		p.S = 0.1
	}
	// A step through a high-pass of 4 ms and a low-pass of 30 µs.
	p.edge = newKnock(t.sampledHz(), 14*4e-3, false, func(w float64) complex128 {
		return 1/complex(1/4e-3, w) - 1/complex(1/4e-3+1/30e-6, w)
	})
	p.edge.scale(0.5 / p.edge.peak())
	return p
}

func (p *pulses) before(untilS float64, sum []float64, place func(float64) float64) (at []float64) {
	for p.nextS < untilS {
		s := p.nextS + p.jitter*p.rng.NormFloat64()
		p.edge.add(sum, place(s), 1)
		p.edge.add(sum, place(s+p.S), -1)
		at = append(at, s)
		p.nextS++
	}
	return at
}

// dust adds noise 74 dB below the pulse.
func (p *pulses) dust(samples []float64) {
	for i := range samples {
		samples[i] += 1e-4 * p.rng.NormFloat64()
	}
}

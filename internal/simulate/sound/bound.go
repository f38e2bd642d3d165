package sound

import (
	"math"

	"gonum.org/v1/gonum/dsp/fourier"
)

// RateSD returns the standard deviation in s/d of the rate of a straight line
// through n ≥ 2 beats spacingS apart, each with white scatter sdS, all in s:
// 86400 s √(12/(n(n²-1)))/P, the least-squares slope.
func RateSD(sdS float64, n int, spacingS float64) float64 {
	m := float64(n)
	return 86400 * sdS * math.Sqrt(12/(m*(m*m-1))) / spacingS
}

// ArrivalSD returns the Cramér-Rao bound in s of the arrival of a known
// waveform of rms bandwidth bandwidthHz in white noise, twice its energy over
// the one-sided density of the noise being twoEOverN0: 1/(2πB√(2E/N0)). It is
// derived in S. M. Kay, Fundamentals of Statistical Signal Processing:
// Estimation Theory (1993), for the range of a target.
func ArrivalSD(bandwidthHz, twoEOverN0 float64) float64 {
	return 1 / (2 * math.Pi * bandwidthHz * math.Sqrt(twoEOverN0))
}

// BoundSD returns the bound in s/d on the standard deviation of the rate that
// can be had from a take of one chronometer, white noise and no other fault:
// RateSD of every beat with the scatter √(JitterS² + ArrivalSD²). The scatter
// of the events within a beat, the pattern and the wander are not counted, and
// beats that do not sound count as if the others were spread evenly. It is NaN
// if there are fewer than two beats or not one chronometer.
func BoundSD(t Take) float64 {
	if len(t.Chronometers) != 1 {
		return math.NaN()
	}
	c := t.Chronometers[0].full()
	spacing := c.TruePeriodS() / float64(c.BeatsPerOscillation())
	n := int(math.Floor((min(t.trueS(t.Seconds*t.rateHz()), c.StopsS)-c.PhaseS)/spacing)) + 1
	n = int(math.Round(float64(n) * (1 - c.MissingShare)))
	if n < 2 {
		return math.NaN()
	}
	b := measure(t.rateHz(), t.Echo, c, t.SNRWhole)
	arrival := ArrivalSD(b.bandwidthHz, b.twoEOverN0(b.noiseRMS(t.SNRdB)))
	spacing *= 1 / (1 - c.MissingShare)
	return RateSD(math.Hypot(c.JitterS, arrival), n, spacing)
}

// shape is what is known of a loud beat at unit level.
type shape struct {
	rateHz      float64
	peak        float64
	power       float64 // as SNRdB counts it
	energy      float64 // ∫s²dt, s
	bandwidthHz float64
}

// band returns the edges of the band of SNRdB and its share of the power of
// white noise.
func band(rateHz float64) (loHz, hiHz, share float64) {
	hi := min(12000, 0.45*rateHz)
	return 1000, hi, (hi - 1000) / (rateHz / 2)
}

// noiseRMS returns the rms of the white noise for a ratio in dB.
func (s shape) noiseRMS(snrDB float64) float64 {
	_, _, share := band(s.rateHz)
	return math.Sqrt(s.power / math.Pow(10, snrDB/10) / share)
}

// twoEOverN0 is 2E/N0, N0 = 2σ²/fs being the one-sided density.
func (s shape) twoEOverN0(noiseRMS float64) float64 {
	return 2 * s.energy / (2 * noiseRMS * noiseRMS / s.rateHz)
}

// measure returns the shape of the loud beat of a chronometer at the start.
func measure(rateHz float64, echo bool, c Chronometer, whole bool) shape {
	c = c.full()
	events := detentBeat
	if c.Lever {
		events = leverTick
	}
	impulse, drop, lock, _, ok := c.at(0)
	if !ok {
		impulse, drop, lock = 4.2e-3, 14.5e-3, 16.3e-3
	}
	n := 256
	for float64(n) < 0.1*rateHz {
		n *= 2
	}
	sum := make([]float64, n)
	for i, k := range knocks(rateHz, echo, events) {
		k.add(sum, before+[...]float64{0, impulse, drop, lock}[i]*rateHz, 1)
	}
	return shapeOf(sum, rateHz, whole)
}

// shapeOf returns the shape of a beat whose first onset is at the sample
// before.
func shapeOf(sum []float64, rateHz float64, whole bool) shape {
	n := len(sum)
	s := shape{rateHz: rateHz}
	for _, v := range sum {
		s.peak = max(s.peak, math.Abs(v))
		s.energy += v * v / rateHz
	}
	fft := fourier.NewFFT(n)
	coeff := fft.Coefficients(nil, sum)
	lo, hi, _ := band(rateHz)
	num, den := 0.0, 0.0
	for j, v := range coeff {
		f := float64(j) * rateHz / float64(n)
		p := real(v)*real(v) + imag(v)*imag(v)
		num, den = num+f*f*p, den+p
		if f < lo || f > hi {
			coeff[j] = 0
		}
	}
	s.bandwidthHz = math.Sqrt(num / den)
	in := fft.Sequence(nil, coeff)
	window := int(math.Round(0.01 * rateHz))
	part := in[before : before+window]
	if whole {
		part = in
	}
	for _, v := range part {
		s.power += v * v / float64(n) / float64(n) / float64(window)
	}
	return s
}

package sound_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/stat"

	"timeball/internal/simulate/sound"
)

func source(seed uint64) *rand.Rand { return rand.New(rand.NewPCG(seed, 7)) }

func near(t *testing.T, what string, got, want, within float64) {
	t.Helper()
	if !(math.Abs(got-want) <= within) {
		t.Errorf("%s: %.9g, want %.9g ± %.2g", what, got, want, within)
	}
}

// plain is a chronometer whose beats are all alike and at fixed delays.
func plain() sound.Chronometer {
	return sound.Chronometer{PhaseS: 0.2, SubJitterS: -1, LevelShare: -1, FaintDB: math.Inf(1)}
}

// wave returns the loud beat of plain in continuous time, by the damped
// sinusoids of the package's recipe rather than by its tables, so without its
// band limit.
func wave() func(t float64) float64 {
	type one struct {
		delayS   float64
		partials [][3]float64
	}
	at := func(e one, t float64) float64 {
		if t -= e.delayS; t <= 0 {
			return 0
		}
		v := 0.0
		for _, p := range e.partials {
			v += p[2] * math.Exp(-t/p[1]) * (1 - math.Exp(-t/60e-6)) * math.Sin(2*math.Pi*p[0]*t)
		}
		return v
	}
	events := []one{
		{0, [][3]float64{{6100, 0.4e-3, 1}, {3300, 0.6e-3, 0.6}}},
		{4.2e-3, [][3]float64{{4700, 0.5e-3, 1}, {8200, 0.3e-3, 0.6}}},
		{14.5e-3, [][3]float64{{5200, 1.0e-3, 1}, {7600, 0.6e-3, 0.8}, {2400, 1.5e-3, 0.35}}},
		{16.3e-3, [][3]float64{{3900, 0.8e-3, 1}}},
	}
	for i, level := range []float64{0.22, 0.35, 1, 0.30} {
		peak := 0.0
		for t := 0.0; t < 0.002; t += 1e-6 {
			peak = max(peak, math.Abs(at(events[i], events[i].delayS+t)))
		}
		for j := range events[i].partials {
			events[i].partials[j][2] *= level / peak
		}
	}
	return tabulated(func(t float64) float64 {
		sum := 0.0
		for _, e := range events {
			sum += at(e, t)
		}
		return sum
	}, -0.001, 0.03)
}

// matched returns how late in s a waveform of known form is in the samples
// against where it should begin, by least squares of its level and place.
func matched(samples []float64, rateHz, atS, lengthS float64, form func(float64) float64) float64 {
	late := 0.0
	const h = 1e-8
	from, to := int((atS-0.001)*rateHz), int((atS+lengthS)*rateHz)
	level := 0.0
	for range 6 {
		var ss, sd, dd, xs, xd float64
		for n := from; n < to; n++ {
			t := float64(n)/rateHz - atS - late
			s, d := form(t), (form(t-h)-form(t+h))/(2*h)
			x := samples[n]
			ss, sd, dd, xs, xd = ss+s*s, sd+s*d, dd+d*d, xs+x*s, xd+x*d
		}
		det := ss*dd - sd*sd
		level = (xs*dd - xd*sd) / det
		late += (xd*ss - xs*sd) / det / level
	}
	return late
}

// tabulated returns the form between two times, interpolated in steps of 0.1
// µs, and 0 elsewhere.
func tabulated(form func(float64) float64, fromS, toS float64) func(float64) float64 {
	const step = 1e-7
	n := int((toS - fromS) / step)
	table := make([]float64, n+3)
	for i := range table {
		table[i] = form(fromS + float64(i-1)*step)
	}
	return func(t float64) float64 {
		x := (t - fromS) / step
		if x < 0 || x >= float64(n) {
			return 0
		}
		i := int(x)
		r := x - float64(i)
		p := table[i : i+4 : i+4]
		return p[1] + r*(p[2]-p[1]) + r*(r-1)/4*(p[3]-p[2]-p[1]+p[0])
	}
}

// beatsOf are the beats of the first chronometer that lie wholly inside.
func beatsOf(r sound.Recorded, rateHz float64) []float64 {
	var all []float64
	for _, b := range r.Beats[0] {
		if b > 0.005 && b < float64(len(r.Samples))/rateHz-0.05 {
			all = append(all, b)
		}
	}
	return all
}

// lateness returns the mean and the scatter in s of beats matched to wave.
func lateness(r sound.Recorded, rateHz, ppm float64) (mean, sd float64, n int) {
	form := wave()
	stretched := func(t float64) float64 { return form(t / (1 + ppm*1e-6)) }
	var late []float64
	for _, b := range beatsOf(r, rateHz) {
		late = append(late, matched(r.Samples, rateHz, b, 0.024, stretched))
	}
	mean, sd = stat.MeanStdDev(late, nil)
	return mean, sd, len(late)
}

// Without noise a beat is found where the truth says it is, whatever its place
// between two samples: the remaining error is that of the band limit, which
// the continuous waveform lacks.
func TestBeatsArePlacedFarBelowASample(t *testing.T) {
	for _, c := range []struct {
		rateHz  int
		ppm     float64
		withinS float64
	}{{96000, -20, 3e-9}, {48000, 58.3, 20e-9}, {44100, -273, 20e-9}} {
		one := plain()
		one.RatePerDay = 3.7
		one.PatternS, one.JitterS, one.WanderS = 30e-6, 20e-6, 10e-6
		take := sound.Take{RateHz: c.rateHz, Seconds: 60, SNRdB: math.Inf(1), ClockPPM: c.ppm, Chronometers: []sound.Chronometer{one}}
		r := take.Render(source(1))
		mean, sd, n := lateness(r, float64(c.rateHz), c.ppm)
		t.Logf("%d Hz: %d beats late by %.1f ns, scatter %.1f ns", c.rateHz, n, mean*1e9, sd*1e9)
		if n < 118 {
			t.Errorf("%d Hz: %d beats", c.rateHz, n)
		}
		near(t, "mean lateness", mean, 0, c.withinS)
		near(t, "its scatter", sd, 0, c.withinS)
	}
}

// In white noise the scatter of the matched beats is the Cramér-Rao bound,
// which checks the noise, SNRdB, the energy and the bandwidth at once.
func TestNoiseSetsTheScatterOfArrivals(t *testing.T) {
	for _, c := range []struct {
		snr   float64
		whole bool
	}{{20, true}, {10, true}, {10, false}} {
		take := sound.Take{Seconds: 300, SNRdB: c.snr, SNRWhole: c.whole, Chronometers: []sound.Chronometer{plain()}}
		r := take.Render(source(2))
		_, sd, n := lateness(r, 48000, 0)
		want := sound.ArrivalSD(r.BandwidthHz, r.TwoEOverN0)
		t.Logf("SNR %g dB (whole %v): 2E/N0 %.1f dB, scatter %.3f us, bound %.3f us", c.snr, c.whole, 10*math.Log10(r.TwoEOverN0), sd*1e6, want*1e6)
		// The place is found with the level free, which costs nothing to first order; three
		// standard deviations of a scatter from n.
		near(t, "scatter over bound", sd/want, 1, 3/math.Sqrt(2*float64(n)))
	}
}

package sound

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/stat"
)

func near(t *testing.T, what string, got, want, within float64) {
	t.Helper()
	if !(math.Abs(got-want) <= within) {
		t.Errorf("%s: %.9g, want %.9g ± %.2g", what, got, want, within)
	}
}

// The standard deviations of a fitted slope for beats of 0.5 s: 20, 50, 100
// and 300 µs over 10, 30, 60, 120, 300 and 3600 s, to their printed figures.
func TestRateSD(t *testing.T) {
	near(t, "20 µs, 120 beats", RateSD(20e-6, 120, 0.5), 0.0091077, 0.5e-7)
	for _, c := range []struct{ us, seconds, want, unit float64 }{
		{20, 10, 0.134, 1e-3}, {20, 30, 0.0258, 1e-4}, {20, 60, 0.0091, 1e-4}, {20, 120, 0.0032, 1e-4}, {20, 300, 0.0008, 1e-4},
		{50, 10, 0.335, 1e-3}, {50, 30, 0.064, 1e-3}, {50, 60, 0.0228, 1e-4}, {50, 120, 0.00805, 1e-5}, {50, 300, 0.0020, 1e-4},
		{100, 10, 0.669, 1e-3}, {100, 30, 0.129, 1e-3}, {100, 60, 0.0455, 1e-4}, {100, 120, 0.0161, 1e-4}, {100, 300, 0.0041, 1e-4},
		{300, 10, 2.01, 1e-2}, {300, 30, 0.386, 1e-3}, {300, 60, 0.137, 1e-3}, {300, 120, 0.048, 1e-3}, {300, 300, 0.0122, 1e-4},
	} {
		// Of 0.0081 for 50 µs and 120 s, which was rounded twice, a figure more is taken.
		// The table is of the large-number form, so the exact one may differ by 1/(2N²).
		n := 2 * c.seconds
		near(t, "table", RateSD(c.us*1e-6, int(n), 0.5), c.want, 0.5*c.unit+c.want/(2*n*n)+1e-9)
	}
}

// exp(-t/τ) sin 2πf₀t with f₀ = 5 kHz and τ = 1 ms, and noise of 0.1 at 48
// kHz: B = √(f₀² + 1/(2πτ)²) = 5002.5 Hz, E = 2.4975e-4, 2E/N0 = 1198.8.
func TestArrivalSD(t *testing.T) {
	near(t, "µs", 1e6*ArrivalSD(5002.5, 1198.8), 0.919, 0.0005)
	const rateHz = 1e6
	k := newKnock(rateHz, 14e-3, false, func(w float64) complex128 {
		s := complex(1000, w)
		w0 := complex(2*math.Pi*5000, 0)
		return w0 / (s*s + w0*w0)
	})
	sum := make([]float64, 1<<15)
	k.add(sum, before+0.37, 1)
	s := shapeOf(sum, rateHz, false)
	// Above 475 kHz, where the table is cut, lies 1e-6 of the energy; of ∫f²|S|² it is 2e-3.
	near(t, "E", s.energy, 2.4975e-4, 0.5e-8+1e-6*2.5e-4)
	near(t, "B", s.bandwidthHz, 5002.5, 0.05+1.5e-3*5002.5)
	s.rateHz = 48000
	near(t, "2E/N0", s.twoEOverN0(0.1), 1198.8, 0.05)
}

// The beat was given a bandwidth of 5.4 kHz, and 2E/N0 then is 23.4 dB over
// the ratio if the whole beat is counted, which makes 0.2 µs at 20 dB.
func TestBeatHasTheStatedBandwidth(t *testing.T) {
	s := measure(48000, false, Chronometer{}, true)
	near(t, "B", s.bandwidthHz, 5400, 100)
	near(t, "2E/N0 over the ratio, dB", 10*math.Log10(s.twoEOverN0(s.noiseRMS(20)))-20, 23.4, 0.1)
	near(t, "µs", 1e6*ArrivalSD(s.bandwidthHz, s.twoEOverN0(s.noiseRMS(20))), 0.2, 0.01)
}

// The slope of the true beats scatters as the bound says, and the two parts of
// the bound are those of the take.
func TestBoundSD(t *testing.T) {
	take := Take{RateHz: 8000, Seconds: 20, SNRdB: 40, Chronometers: []Chronometer{{JitterS: 100e-6, PhaseS: 0.1}}}
	want := BoundSD(take)
	near(t, "bound", want, RateSD(100e-6, 40, 0.5), 1e-3*want)
	rng := rand.New(rand.NewPCG(1, 2))
	var rates []float64
	const runs = 200
	for range runs {
		r := take.Render(rng)
		if len(r.Beats[0]) != 40 {
			t.Fatalf("%d beats", len(r.Beats[0]))
		}
		k := make([]float64, 40)
		for i := range k {
			k[i] = float64(r.Numbers[0][i])
		}
		_, slope := stat.LinearRegression(k, r.Beats[0], nil, false)
		rates = append(rates, 86400*(0.5/slope-1))
	}
	mean, sd := stat.MeanStdDev(rates, nil)
	near(t, "mean rate", mean, 0, 3.5*want/math.Sqrt(runs))
	near(t, "scatter over bound", sd/want, 1, 3.5/math.Sqrt(2*runs))
	take.Chronometers[0].JitterS = 0
	s := measure(8000, false, take.Chronometers[0], false)
	near(t, "noise alone", BoundSD(take), RateSD(ArrivalSD(s.bandwidthHz, s.twoEOverN0(s.noiseRMS(40))), 40, 0.5), 1e-12)
	if !math.IsNaN(BoundSD(Take{Seconds: 60})) || !math.IsNaN(BoundSD(Take{Seconds: 0.3, Chronometers: []Chronometer{{}}})) {
		t.Error("a bound without beats")
	}
}

package simulate_test

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"gonum.org/v1/gonum/stat"
	"pgregory.net/rapid"

	"timeball/internal/simulate"
)

func source(seed uint64) *rand.Rand { return rand.New(rand.NewPCG(seed, 1851)) }

// draws is how many steps a moment is taken over; beyond is how many standard
// errors of that moment may lie between it and theory (a chance of 6 in a
// hundred thousand for each figure).
const (
	draws  = 100_000
	beyond = 4.0
)

// The increments of error and rate over a step have zero mean (the rate taken
// off) and the covariance Q of Zucca and Tavella, "The clock model and its
// relationship with the Allan and related variances", IEEE Trans. UFFC 52(2)
// (2005); the standard errors are those of Gaussian sample moments.
func TestStepHasTheMomentsOfTheClockModel(t *testing.T) {
	for _, c := range []struct {
		name       string
		noise      simulate.Noise
		days, rate float64
		parts      int
	}{
		{"one day", simulate.Noise{SigmaW: 0.2, SigmaR: 0.02}, 1, -0.8, 1},
		{"a month", simulate.Noise{SigmaW: 0.2, SigmaR: 0.02}, 30, -0.8, 1},
		{"walk alone", simulate.Noise{SigmaR: 0.05}, 4, 1.5, 1},
		{"white alone", simulate.Noise{SigmaW: 0.3}, 2.5, 0, 1},
		{"a month in two halves", simulate.Noise{SigmaW: 0.2, SigmaR: 0.02}, 30, -0.8, 2},
		{"a month in seven parts", simulate.Noise{SigmaW: 0.1, SigmaR: 0.05}, 30, 0.4, 7},
	} {
		t.Run(c.name, func(t *testing.T) {
			x, r := increments(source(7), c.noise, c.rate, c.days, c.parts)
			w, d := c.noise, c.days
			qx := w.SigmaW*w.SigmaW*d + w.SigmaR*w.SigmaR*d*d*d/3
			qxr := w.SigmaR * w.SigmaR * d * d / 2
			qr := w.SigmaR * w.SigmaR * d
			n := float64(draws)
			within(t, "mean of error", stat.Mean(x, nil), 0, math.Sqrt(qx/n))
			within(t, "mean of rate", stat.Mean(r, nil), 0, math.Sqrt(qr/n))
			within(t, "variance of error", stat.Variance(x, nil), qx, qx*math.Sqrt(2/n))
			within(t, "variance of rate", stat.Variance(r, nil), qr, qr*math.Sqrt(2/n))
			within(t, "covariance", stat.Covariance(x, r, nil), qxr, math.Sqrt((qx*qr+qxr*qxr)/n))
		})
	}
}

// Two half steps have the distribution of one: the two-sample Kolmogorov and
// Smirnov distance stays below its 0.1% point, 1.95√(2/n) (common tables).
func TestTwoHalfStepsAreOneStep(t *testing.T) {
	n := simulate.Noise{SigmaW: 0.2, SigmaR: 0.05}
	x1, r1 := increments(source(1), n, 0.3, 14, 1)
	x2, r2 := increments(source(2), n, 0.3, 14, 2)
	for _, s := range [][]float64{x1, x2, r1, r2} {
		slices.Sort(s)
	}
	limit := 1.95 * math.Sqrt(2.0/draws)
	if d := stat.KolmogorovSmirnov(x1, nil, x2, nil); d > limit {
		t.Errorf("error: distance %.5f, limit %.5f", d, limit)
	}
	if d := stat.KolmogorovSmirnov(r1, nil, r2, nil); d > limit {
		t.Errorf("rate: distance %.5f, limit %.5f", d, limit)
	}
}

// From the same seed, twice the noise is twice the departure.
func TestDoubledNoiseDoublesTheDeparture(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := simulate.Noise{SigmaW: rapid.Float64Range(0, 2).Draw(t, "w"), SigmaR: rapid.Float64Range(0, 1).Draw(t, "r")}
		days := rapid.Float64Range(0.001, 400).Draw(t, "days")
		seed := rapid.Uint64().Draw(t, "seed")
		x1, r1 := n.Step(source(seed), 0, 0, days)
		x2, r2 := simulate.Noise{SigmaW: 2 * n.SigmaW, SigmaR: 2 * n.SigmaR}.Step(source(seed), 0, 0, days)
		if math.Abs(x2-2*x1) > 1e-9*(1+math.Abs(x2)) || math.Abs(r2-2*r1) > 1e-9*(1+math.Abs(r2)) {
			t.Fatalf("once %g, %g; twice %g, %g", x1, r1, x2, r2)
		}
	})
}

func TestNoStepWithoutTime(t *testing.T) {
	rng := source(3)
	for _, days := range []float64{0, -1} {
		if x, r := (simulate.Noise{SigmaW: 1, SigmaR: 1}).Step(rng, 5, 2, days); x != 5 || r != 2 {
			t.Errorf("%g days: error %g, rate %g", days, x, r)
		}
	}
	if got, want := rng.Uint64(), source(3).Uint64(); got != want {
		t.Error("a step of no time drew a random number")
	}
}

func increments(rng *rand.Rand, n simulate.Noise, rate, days float64, parts int) (x, r []float64) {
	x, r = make([]float64, draws), make([]float64, draws)
	for i := range x {
		e, v := 10.0, rate
		for range parts {
			e, v = n.Step(rng, e, v, days/float64(parts))
		}
		x[i], r[i] = e-10-rate*days, v-rate
	}
	return x, r
}

// within fails unless got is as near to want as se allows.
func within(t testing.TB, what string, got, want, se float64) {
	t.Helper()
	if math.IsNaN(got) || math.Abs(got-want) > beyond*se+1e-12 {
		t.Errorf("%s: %.6g, theory %.6g ± %.2g", what, got, want, se)
	}
}

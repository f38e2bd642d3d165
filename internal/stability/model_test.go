package stability_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"timeball/internal/stability"
)

// The arithmetic in full: √(2·0.04/7 + 14·0.0004/3) = √0.01329524.
func TestSteadiness(t *testing.T) {
	if got, ok := stability.Steadiness(0.2, 0.02); !ok || math.Abs(got-0.115305) > 6e-7 {
		t.Errorf("%.7f, %t, want 0.115305", got, ok)
	}
	if got, ok := stability.Steadiness(0, 0); !ok || got != 0 {
		t.Errorf("a perfect clock changes by %g, %t", got, ok)
	}
}

// Each noise alone has its slope on the Allan plot, -1, -1/2, +1/2: NIST SP
// 1065 (2008), and its level at one day: √3 s, σw, σr/√3 (Zucca and
// Tavella 2005).
func TestModelDeviation(t *testing.T) {
	for _, tt := range []struct {
		model        stability.Model
		level, slope float64
	}{
		{stability.Model{SigmaX: 0.1}, 0.1 * math.Sqrt(3), -1},
		{stability.Model{SigmaW: 0.2}, 0.2, -0.5},
		{stability.Model{SigmaR: 0.03}, 0.03 / math.Sqrt(3), 0.5},
	} {
		for _, tau := range []float64{0.5, 1, 7, 64} {
			got, ok := tt.model.Deviation(tau)
			if want := tt.level * math.Pow(tau, tt.slope); !ok || !near(got, want, 1e-12) {
				t.Errorf("%+v at %g d: %g, want %g", tt.model, tau, got, want)
			}
		}
	}
}

// simulated returns n daily comparisons of a clock of the given noise by the
// exact step of its stochastic equations (Zucca and Tavella 2005).
func simulated(rng *rand.Rand, n int, model stability.Model) []float64 {
	x := make([]float64, n)
	var dial, rate float64
	for i := range x {
		x[i] = dial + model.SigmaX*rng.NormFloat64()
		wander := model.SigmaR * rng.NormFloat64()
		dial += rate + wander/2 + model.SigmaR/math.Sqrt(12)*rng.NormFloat64() + model.SigmaW*rng.NormFloat64()
		rate += wander
	}
	return x
}

// On simulated clocks of known noise the mean variance is the model's and the
// 95% interval holds the model's deviation in 93 to 97% of the cases, gaps or
// not.
func TestCurveCoverage(t *testing.T) {
	const runs, days = 5000, 61
	model := stability.Model{SigmaW: 0.2, SigmaR: 0.02, SigmaX: 0.1}
	for name, gaps := range map[string][]int{"whole": nil, "with gaps": {3, 4, 17, 30, 31, 32, 33, 47}} {
		rng := rand.New(rand.NewPCG(1, 20))
		inside, ratio, square := map[int]int{}, map[int]float64{}, map[int]float64{}
		for range runs {
			x := simulated(rng, days, model)
			for _, i := range gaps {
				x[i] = math.NaN()
			}
			curve := stability.Curve(x, 1, model, nil)
			if len(curve) != 4 { // at m = 16 there are fewer than MinEDF
				t.Fatalf("%s: %d points, want m = 1, 2, 4, 8", name, len(curve))
			}
			for _, p := range curve {
				if p.Lo95 <= p.Model && p.Model <= p.Hi95 {
					inside[p.M]++
				}
				r := p.Deviation * p.Deviation / (p.Model * p.Model)
				ratio[p.M] += r
				square[p.M] += r * r
			}
		}
		for m, in := range inside {
			mean := ratio[m] / runs
			se := math.Sqrt((square[m]/runs - mean*mean) / runs)
			cover := 100 * float64(in) / runs
			t.Logf("%s, m = %d: variance over the model's %.3f ± %.3f, inside %.1f%%", name, m, mean, se, cover)
			if math.Abs(mean-1) > 4*se {
				t.Errorf("%s, m = %d: mean variance is %.3f of the model's, se %.3f", name, m, mean, se)
			}
			if cover < 93 || cover > 97 {
				t.Errorf("%s, m = %d: the interval holds %.1f%%", name, m, cover)
			}
		}
	}
}

func TestCurveLeavesOut(t *testing.T) {
	model := stability.Model{SigmaW: 0.2}
	gap := math.NaN()
	for name, x := range map[string][]float64{
		"no points":  nil,
		"two points": {0, 1},
		"only gaps":  {gap, gap, gap, gap},
		"no whole":   {0, gap, 1, gap},
	} {
		if curve := stability.Curve(x, 1, model, nil); len(curve) != 0 {
			t.Errorf("%s: %+v", name, curve)
		}
	}
	if curve := stability.Curve([]float64{0, 1, 0, 1}, 1, stability.Model{}, nil); len(curve) != 0 {
		t.Errorf("deviations without an interval: %+v", curve)
	}
}

func ExampleSteadiness() {
	rate, _ := stability.Steadiness(0.2, 0.02)
	fmt.Printf("%.3f s/d from one week to the next\n", rate)
	// Output:
	// 0.115 s/d from one week to the next
}

// A month of daily comparisons of a simulated clock, two days missed.
func ExampleCurve() {
	model := stability.Model{SigmaW: 0.2, SigmaR: 0.02, SigmaX: 0.1}
	x := simulated(rand.New(rand.NewPCG(7, 7)), 31, model)
	x[9], x[20] = math.NaN(), math.NaN()
	for _, p := range stability.Curve(x, 1, model, nil) {
		fmt.Printf("%2.0f d: %.3f s/d (%.3f to %.3f), model %.3f\n", p.Tau, p.Deviation, p.Lo95, p.Hi95, p.Model)
	}
	// Output:
	//  1 d: 0.188 s/d (0.139 to 0.294), model 0.265
	//  2 d: 0.124 s/d (0.090 to 0.198), model 0.167
	//  4 d: 0.101 s/d (0.069 to 0.186), model 0.111
}

package fold_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"timeball/internal/fold"
)

// curve returns noise in which something stands out each period.
func curve(rng *rand.Rand, seconds, period, height float64) fold.Curve {
	c := fold.Curve{Y: make([]float64, int(seconds/fold.StepS)), StepS: fold.StepS}
	for i := range c.Y {
		c.Y[i] = rng.NormFloat64()
		if at := math.Mod(float64(i)*fold.StepS+1e-9, period); at < 0.004 {
			c.Y[i] += height
		}
	}
	return c
}

// TestBest: the period is found to the drift that trials leave, 3 ms over the
// whole, also where nothing is seen in a single one.
func TestBest(t *testing.T) {
	for seed := range uint64(20) {
		rng := rand.New(rand.NewPCG(seed, 4))
		seconds := 20 + 200*rng.Float64()
		period := 0.5 * (1 + 0.005*(2*rng.Float64()-1))
		g := curve(rng, seconds, period, 2).Best(0.5, 0.006)
		if math.Abs(g.PeriodS-period)*seconds/period > 0.004 || g.Score < 9 {
			t.Errorf("seed %d: period %.6f of score %.1f, want %.6f over %.0f s", seed, g.PeriodS, g.Score, period, seconds)
		}
	}
}

// TestNoise: noise stands out by less than what is taken for a beat.
func TestNoise(t *testing.T) {
	for seed := range uint64(20) {
		rng := rand.New(rand.NewPCG(seed, 5))
		if g := curve(rng, 60, 1e9, 0).Best(0.5, 0.006); g.Score > 7 {
			t.Errorf("seed %d: noise has the score %.1f", seed, g.Score)
		}
	}
}

// TestRepeats: any period at which a curve repeats itself is among the first.
func TestRepeats(t *testing.T) {
	for _, period := range []float64{0.2, 0.3333, 0.455, 0.6, 1.0407, 2.1} {
		rng := rand.New(rand.NewPCG(6, 6))
		found := false
		for _, p := range curve(rng, 40, period, 6).Repeats(10) {
			found = found || math.Abs(p/period-1) < 0.003
		}
		if !found {
			t.Errorf("%.4f s is not among the periods at which it repeats", period)
		}
	}
}

package robust_test

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"gonum.org/v1/gonum/stat"
	"pgregory.net/rapid"

	"timeball/internal/robust"
)

// TestQuantile holds the quantile to that of gonum, linear between the samples.
func TestQuantile(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		x := rapid.SliceOfN(rapid.Float64Range(-1e6, 1e6), 2, 60).Draw(t, "x")
		kept := slices.Clone(x)
		got := robust.Median(x)
		if !slices.Equal(x, kept) {
			t.Fatal("the samples are moved")
		}
		slices.Sort(x)
		want := (x[(len(x)-1)/2] + x[len(x)/2]) / 2
		if math.Abs(got-want) > 1e-9*(1+math.Abs(want)) {
			t.Fatalf("median %g, want %g", got, want)
		}
		if robust.Quantile(x, 0) != x[0] || robust.Quantile(x, 1) != x[len(x)-1] {
			t.Fatal("the ends are not the ends")
		}
	})
	if robust.Median(nil) != 0 {
		t.Error("of nothing it is not 0")
	}
}

// TestSpread: of a normal law it is the standard deviation, and a tenth of wild
// values moves it by a fifth at the most.
func TestSpread(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 1))
	x := make([]float64, 20000)
	for i := range x {
		x[i] = 3 + 2*rng.NormFloat64()
	}
	if s := robust.Spread(x, 3); math.Abs(s/stat.StdDev(x, nil)-1) > 0.02 {
		t.Errorf("spread %.4f of %.4f", s, stat.StdDev(x, nil))
	}
	for i := range 2000 {
		x[i] = 1e6
	}
	if s := robust.Spread(x, 3); s > 2.4 {
		t.Errorf("with wild values %.3f", s)
	}
}

// TestLine: a quarter of wild values leaves the line where it was.
func TestLine(t *testing.T) {
	for seed := range uint64(20) {
		rng := rand.New(rand.NewPCG(seed, 2))
		var ks []int
		var y []float64
		for k := range 200 {
			v := 5 - 0.02*float64(k) + 0.1*rng.NormFloat64()
			if rng.IntN(4) == 0 {
				v += 50 * rng.NormFloat64()
			}
			ks, y = append(ks, k), append(y, v)
		}
		if a, b := robust.Line(ks, y); math.Abs(a-5) > 0.08 || math.Abs(b+0.02) > 0.0008 {
			t.Errorf("seed %d: %.4f %+.5f k", seed, a, b)
		}
	}
}

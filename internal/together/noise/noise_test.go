package noise

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/mat"

	"timeball/internal/statespace"
	"timeball/internal/together/rounds"
	"timeball/internal/together/voyage"
)

// simulated returns the table of three instruments of known white FM and
// wandering.
func simulated(t *testing.T, days int, seed uint64) *rounds.Table {
	t.Helper()
	b, _ := voyage.Plan{Instruments: 3, Days: days, SD: 0.05, Miss: 0.05, Draw: func(n int, _ *rand.Rand) *voyage.Clock {
		return &voyage.Clock{White: truth[n].SigmaW, Wander: truth[n].SigmaR}
	}}.Book(voyage.Seeded(seed))
	tb, err := rounds.Lay(b, false)
	if err != nil {
		t.Fatal(err)
	}
	return tb
}

var truth = []statespace.Noise{{SigmaW: 0.1, SigmaR: 0.01}, {SigmaW: 0.2, SigmaR: 0.03}, {SigmaW: 0.35, SigmaR: 0.02}}

// The slope is that of the value, by differences.
func TestSlope(t *testing.T) {
	ts := In(simulated(t, 20, 1))
	f := ts.Fit(Nothing, nil, nil)
	theta := []float64{-3, -4, -2.5, -3, -2, -5}
	grad, info := make([]float64, len(theta)), mat.NewSymDense(len(theta), nil)
	leave := Leave{After: 9, Before: 10}
	f.posterior(ts.all, leave, theta, grad, info)
	const h = 1e-5
	for i := range theta {
		up, down := append([]float64(nil), theta...), append([]float64(nil), theta...)
		up[i] += h
		down[i] -= h
		want := (f.posterior(ts.all, leave, up, nil, nil) - f.posterior(ts.all, leave, down, nil, nil)) / (2 * h)
		if math.Abs(grad[i]-want) > 1e-5*(1+math.Abs(want)) {
			t.Errorf("slope along %d is %g, by differences %g", i, grad[i], want)
		}
	}
}

// Over ten years of days the noise is read out as it was put in: white FM to a
// tenth, which is more than three of its own standard deviations.
func TestTruth(t *testing.T) {
	f := In(simulated(t, rounds.MaxRows, 2)).Fit(Nothing, nil, nil)
	for i, q := range f.Noise {
		t.Logf("%+v, true %+v", q, truth[i])
		if math.Abs(q.SigmaW/truth[i].SigmaW-1) > 0.1 {
			t.Errorf("instrument %d: white FM %.4f, true %.4f", i, q.SigmaW, truth[i].SigmaW)
		}
	}
}

// A noise that is given is taken, the standard has none, and what is given is
// known for certain.
func TestGiven(t *testing.T) {
	tb := simulated(t, 20, 3)
	f := In(tb).Fit(Nothing, truth, nil)
	for i, q := range f.Noise {
		if q != truth[i] {
			t.Errorf("%+v, given %+v", q, truth[i])
		}
	}
	one := func(int) float64 { return 1 }
	white := []float64{1, 1, 1}
	if df := f.Degrees([]int{0, 1, 2}, white, white, one); df != MostDF {
		t.Errorf("%g degrees of freedom of a known noise", df)
	}
	f = In(tb).Fit(Nothing, []statespace.Noise{truth[0], {}, truth[2]}, nil)
	if f.Noise[0] != truth[0] || f.Noise[2] != truth[2] || !(f.Noise[1].SigmaW > 0) {
		t.Errorf("%+v", f.Noise)
	}
	if df := f.Degrees([]int{0, 1, 2}, white, white, one); !(df > 0 && df < MostDF) {
		t.Errorf("%g degrees of freedom", df)
	}
	few, many := In(tb).Fit(Nothing, nil, nil), In(simulated(t, 200, 3)).Fit(Nothing, nil, nil)
	if a, b := few.Degrees([]int{1}, white, white, one), many.Degrees([]int{1}, white, white, one); !(a < b) {
		t.Errorf("20 days give %g degrees of freedom, 200 days %g", a, b)
	}
}

package scoring_test

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/mat"

	"timeball/internal/together/scoring"
)

var limits = scoring.Limits{Steps: 50, LeastScale: 1e-6, LeastGain: 1e-14}

// The likeliest rate of counts that follow Poisson's law is their mean, and the
// expected second derivative by its logarithm their sum.
func TestPoissonRate(t *testing.T) {
	counts := []float64{2, 3, 7, 0, 8}
	loss := func(x, grad []float64, info *mat.SymDense) float64 {
		sum := 0.0
		if grad != nil {
			grad[0] = 0
			info.SetSym(0, 0, float64(len(counts))*math.Exp(x[0]))
		}
		for _, k := range counts {
			sum += math.Exp(x[0]) - k*x[0]
			if grad != nil {
				grad[0] += math.Exp(x[0]) - k
			}
		}
		return sum
	}
	for _, from := range []float64{-3, 0, 5} {
		x, info := []float64{from}, mat.NewSymDense(1, nil)
		least := scoring.Target{Value: loss}.Descend(x, info, limits)
		if math.Abs(math.Exp(x[0])-4) > 1e-6 || math.Abs(info.At(0, 0)-20) > 1e-5 {
			t.Errorf("from %g: rate %.9g, want 4; information %g, want 20", from, math.Exp(x[0]), info.At(0, 0))
		}
		if want := 20 - 20*math.Log(4); math.Abs(least-want) > 1e-9 {
			t.Errorf("from %g: least %g, want %g", from, least, want)
		}
		// The same along the logarithm of what is moved.
		y := []float64{math.Exp(from)}
		scoring.Target{
			Value: func(y, grad []float64, info *mat.SymDense) float64 {
				return loss([]float64{math.Log(y[0])}, grad, info)
			},
			Move: func(dst, y []float64, step *mat.VecDense, scale float64) {
				dst[0] = y[0] * math.Exp(-scale*step.AtVec(0))
			},
		}.Descend(y, info, limits)
		if math.Abs(y[0]-4) > 1e-6 {
			t.Errorf("from %g: rate %.9g, want 4", from, y[0])
		}
	}
}

// Where the second derivatives cannot be solved it stays.
func TestFlat(t *testing.T) {
	x := []float64{3}
	flat := func(_, grad []float64, _ *mat.SymDense) float64 {
		if grad != nil {
			grad[0] = 1
		}
		return 1
	}
	if v := (scoring.Target{Value: flat}).Descend(x, mat.NewSymDense(1, nil), limits); v != 1 || x[0] != 3 {
		t.Errorf("%g at %g", v, x[0])
	}
}

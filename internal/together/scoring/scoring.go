// Package scoring finds the most likely noise of several clocks by Fisher's
// method of scoring: Newton's steps with the expected second derivatives in
// the place of the observed ones, each shortened until it leads down.
package scoring

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// Target is minus a log-likelihood or log posterior, to be brought to its
// least.
type Target struct {
	// Value returns it at x and, if grad is not nil, sets its slope and its
	// expected second derivatives along the coordinates of the steps.
	Value func(x, grad []float64, info *mat.SymDense) float64
	// Move sets dst to x less scale steps; nil where the steps are of x itself.
	Move func(dst, x []float64, step *mat.VecDense, scale float64)
}

// Limits says when a search is at its end.
type Limits struct {
	Steps      int
	LeastScale float64 // below which a step is not shortened further
	LeastGain  float64 // of Value, in one step
}

// longest is the longest step along any coordinate.
const longest = 2

// Descend walks x down to the nearest least value of t and returns that value;
// info is left with the expected second derivatives there.
func (t Target) Descend(x []float64, info *mat.SymDense, l Limits) float64 {
	n := len(x)
	grad, next := make([]float64, n), make([]float64, n)
	step := mat.NewVecDense(n, nil)
	var chol mat.Cholesky
	value := t.Value(x, grad, info)
	for range l.Steps {
		if !chol.Factorize(info) || chol.SolveVecTo(step, mat.NewVecDense(n, grad)) != nil {
			break
		}
		scale := longest / math.Max(mat.Norm(step, math.Inf(1)), longest)
		for ; scale > l.LeastScale; scale /= 2 {
			t.move(next, x, step, scale)
			if t.Value(next, nil, nil) < value {
				break
			}
		}
		if !(scale > l.LeastScale) {
			break
		}
		copy(x, next)
		was := value
		value = t.Value(x, grad, info)
		if was-value < l.LeastGain {
			break
		}
	}
	return value
}

func (t Target) move(dst, x []float64, step *mat.VecDense, scale float64) {
	if t.Move != nil {
		t.Move(dst, x, step, scale)
		return
	}
	for i := range dst {
		dst[i] = x[i] - scale*step.AtVec(i)
	}
}

package cornered

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"

	"timeball/internal/together/rounds"
	"timeball/internal/together/scoring"
)

// shared returns the variances that add up, two by two, to those of the pairs
// with the least squares of what is left over: for three exactly, ½(AB + AC -
// BC) and so on.
func shared(pairs [][]float64) []float64 {
	n := float64(len(pairs))
	total := 0.0
	row := make([]float64, len(pairs))
	for i := range pairs {
		for j, v := range pairs[i] {
			if i != j {
				row[i] += v
				total += v / 2
			}
		}
	}
	for i := range row {
		row[i] = (row[i] - total/(n-1)) / (n - 2)
	}
	return row
}

// fit finds the variances a of which pairs, with what the readings add,
// is the most likely outcome. Written for pairs, log|Σ| + tr(Σ⁻¹S) is
//
//	Σ log v + log W + Σ_{i<j} w_i w_j P_ij / W,   v = a + known, w = 1/v, W = Σ w.
type fit struct {
	pairs [][]float64
	known []float64
}

func (f fit) value(a []float64, grad []float64, info *mat.SymDense) float64 {
	n := len(a)
	var w, dev [rounds.MaxInstruments]float64
	total, sum, quad := 0.0, 0.0, 0.0
	for i := range n {
		v := a[i] + f.known[i]
		w[i] = 1 / v
		total += w[i]
		sum += math.Log(v)
	}
	for i := range n {
		for j := range n {
			dev[i] += w[j] * f.pairs[i][j] / total
		}
		quad += w[i] * dev[i] / 2
	}
	if grad != nil {
		for i := range n {
			fi := a[i] * w[i]
			share := w[i] / total
			grad[i] = fi * (1 - share - w[i]*(dev[i]-quad/total))
			for j := i; j < n; j++ {
				h := share * w[j] / total
				if i == j {
					h = (1-share)*(1-share) + 1e-9
				}
				info.SetSym(i, j, h*fi*a[j]*w[j]+1e-12)
			}
		}
	}
	return sum + math.Log(total) + quad
}

// best returns the variances of greatest likelihood, that of member fixed (if
// not -1) being held at value. One that has fallen to nothing is exactly 0.
// The search goes from near, or if that is nil from many sides.
func (f fit) best(fixed int, value float64, near []float64) []float64 {
	n := len(f.pairs)
	mean := 0.0
	for i := range n {
		for j := range n {
			mean += f.pairs[i][j] / float64(2*n*(n-1))
		}
	}
	if !(mean > 0) {
		return make([]float64, n)
	}
	floor := 1e-12 * mean
	best, least := []float64(nil), math.Inf(1)
	try := func(a []float64) {
		if fixed >= 0 {
			a[fixed] = math.Max(value, floor)
		}
		if v := f.descend(a, fixed, floor); v < least-1e-12 {
			best, least = a, v
		}
	}
	middle := make([]float64, n)
	for i, h := range shared(f.pairs) {
		middle[i] = math.Max(h-f.known[i], 0.05*mean)
	}
	try(middle)
	if near != nil {
		a := slices.Clone(near)
		for i := range a {
			a[i] = math.Max(a[i], 1e-6*mean)
		}
		try(a)
	} else {
		// The likelihood can have a top where one of them is at nothing.
		for start := range n {
			a := make([]float64, n)
			for i := range a {
				a[i] = math.Max(f.pairs[start][i]-f.known[i]-f.known[start], 0.05*mean)
			}
			a[start] = 1e-6 * mean
			if start != fixed {
				try(a)
			}
		}
	}
	for i := range best {
		if best[i] <= 1e-7*mean {
			best[i] = 0
		}
	}
	return best
}

// descend walks a down to the nearest top of the likelihood, by steps in the
// logarithms, and returns its value there.
func (f fit) descend(a []float64, fixed int, floor float64) float64 {
	return scoring.Target{
		Value: func(a, grad []float64, info *mat.SymDense) float64 {
			value := f.value(a, grad, info)
			if grad != nil {
				hold(a, grad, info, fixed, floor)
			}
			return value
		},
		Move: func(dst, a []float64, step *mat.VecDense, scale float64) {
			for i := range a {
				dst[i] = math.Max(a[i]*math.Exp(-scale*step.AtVec(i)), floor)
			}
		},
	}.Descend(a, mat.NewSymDense(len(a), nil), scoring.Limits{Steps: 200, LeastScale: 1e-6, LeastGain: 1e-13})
}

// hold takes the variance that is fixed, and those that press on the floor, out
// of the search, and keeps the rest of it solvable.
func hold(a, grad []float64, info *mat.SymDense, fixed int, floor float64) {
	for i := range a {
		if i == fixed || a[i] <= floor && grad[i] > 0 {
			for j := range a {
				info.SetSym(i, j, 0)
			}
			grad[i] = 0
		}
		info.SetSym(i, i, info.At(i, i)*(1+1e-6)+1e-9)
	}
}

// chi95 is the 95% point of χ² on one degree of freedom.
const chi95 = 1.959963984540054 * 1.959963984540054

// interval returns the ends of the 95% interval of the variance of member i,
// given the most likely ones and the degrees of freedom of the pairs: where the
// likelihood, the others at their best, has fallen by as much as chance allows.
func (f fit) interval(i int, a []float64, edf float64) (lo, hi float64) {
	mean := 0.0
	for j := range a {
		mean += (a[j] + f.known[j]) / float64(len(a))
	}
	if !(mean > 0) {
		return 0, 0
	}
	floor := 1e-9 * mean
	at := func(v float64) float64 {
		b := f.best(i, v, a)
		b[i] = math.Max(v, 1e-12*mean)
		for j := range b {
			b[j] = math.Max(b[j], 1e-12*mean)
		}
		return f.value(b, nil, nil)
	}
	top := at(a[i])
	limit := top + chi95/edf
	search := func(in, out float64) float64 { // the edge between, by halving
		for range 40 {
			mid := math.Sqrt(in * out)
			if at(mid) > limit {
				out = mid
			} else {
				in = mid
			}
			if math.Abs(math.Log(out/in)) < 1e-4 {
				break
			}
		}
		return math.Sqrt(in * out)
	}
	start := math.Max(a[i], floor)
	if a[i] > floor && at(floor) > limit {
		lo = search(start, floor)
	}
	far := math.Max(start, 1e-3*mean)
	for range 60 {
		if far *= 2; at(far) > limit {
			break
		}
	}
	return lo, search(start, far)
}

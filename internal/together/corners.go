package together

import (
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"

	"timeball/internal/stability"
)

// Corners holds the steadiness of each instrument by itself, drawn out of the
// differences alone, at one averaging time.
type Corners struct {
	Tau         float64  `json:"tau_days"`
	Instruments []Corner `json:"instruments"`
	// Pairs holds the Allan deviations of the differences.
	Pairs []PairDeviation `json:"pairs"`
	EDF   float64         `json:"edf"` // degrees of freedom of the variance of a pair
	Words []string        `json:"words"`
}

// PairDeviation is the Allan deviation of one difference.
type PairDeviation struct {
	A               string  `json:"a"`
	B               string  `json:"b"`
	DeviationPerDay float64 `json:"deviation_s_per_day"`
	N               int     `json:"n"` // second differences averaged
}

// Corner is the steadiness of one instrument. All deviations are s/d at the
// averaging time.
type Corner struct {
	Name string `json:"name"`
	// HatVariance, (s/d)², is what is left for it when the variances of the
	// pairs are shared out, readings included; it may be negative, and then it
	// is not resolved: neither nought nor a number to take a root of.
	HatVariance float64  `json:"hat_variance"`
	Hat         *float64 `json:"hat_s_per_day"` // nil if not resolved
	// Deviation is the most likely Allan deviation without the stated scatter
	// of the readings, and never negative; Lo95 is 0 where it cannot be told
	// from perfect.
	Deviation float64 `json:"deviation_s_per_day"`
	Lo95      float64 `json:"lo95"`
	Hi95      float64 `json:"hi95"`
	Resolved  bool    `json:"resolved"` // Lo95 is above nought
	// RatesSD is the most likely standard deviation of its mean rates over the
	// averaging time, readings included, if its rate does not wander.
	RatesSD float64 `json:"rates_sd_s_per_day"`
}

// tolerance is how far from its grid point a reading may lie, as a part of the
// step.
const tolerance = 0.25

// Steadiness returns the steadiness of each instrument of b at an averaging
// time of m steps of step days each (1 if 0), from their differences; the
// standard is not used. It returns an error that wraps ErrAlone for fewer than
// three instruments, or if some pair has fewer than three differences: the
// variances of two cannot be told apart.
//
// The variances of the pairs are shared out as in Gray and Allan (1974), for
// more than three by least squares. The likely values minimise
// log|Σ| + tr(Σ⁻¹S), S being made of the same variances, and the interval
// holds what that likelihood does not refuse at 95%.
func Steadiness(b Book, step float64, m int) (Corners, error) {
	tb, err := lay(b, false)
	if err != nil {
		return Corners{}, err
	}
	return tb.corners(step, m)
}

func (tb *table) corners(step float64, m int) (Corners, error) {
	if tb.n < 3 {
		return Corners{}, fmt.Errorf("%w: steadiness of each needs three instruments, the book has %d; for fewer compare with standard time", ErrAlone, tb.n)
	}
	if step == 0 {
		step = 1
	}
	if !(step > 0) || m < 1 || m > MaxRows {
		return Corners{}, fmt.Errorf("%w: an averaging time of %d steps of %g days; ask for one step or more", ErrBook, m, step)
	}
	n := tb.n
	c := Corners{Tau: step * float64(m)}
	allan, rates := matrix(n), matrix(n)
	reading := make([]float64, n)
	least := math.MaxInt
	var sparse []float64 // the pair with the fewest differences
	for i := range n {
		for j := i + 1; j < n; j++ {
			x, ok := tb.grid(i, j, step)
			if !ok {
				return Corners{}, tb.never(i, j)
			}
			dev, count, ok := stability.Deviation(stability.Allan, x, step, m)
			spread, number, fine := spread(x, step, m)
			if !ok || !fine || count < 3 || number < 3 {
				return Corners{}, tb.never(i, j)
			}
			c.Pairs = append(c.Pairs, PairDeviation{A: tb.names[i], B: tb.names[j], DeviationPerDay: dev, N: count})
			allan[i][j], allan[j][i] = dev*dev, dev*dev
			rates[i][j], rates[j][i] = spread, spread
			if count < least {
				least, sparse = count, x
			}
		}
	}
	for i := range n {
		reading[i] = 3 * tb.meanSquare(i) / (c.Tau * c.Tau)
	}
	hats := hat(allan)
	likely := cornerFit{pairs: allan, known: reading}
	a := likely.best(-1, 0, nil)
	c.EDF = tb.edf(sparse, step, m, a)
	free := cornerFit{pairs: rates, known: make([]float64, n)}.best(-1, 0, nil)
	for i := range n {
		k := Corner{Name: tb.names[i], HatVariance: hats[i]}
		if hats[i] > 0 {
			h := math.Sqrt(hats[i])
			k.Hat = &h
		}
		lo, hi := likely.interval(i, a, c.EDF)
		k.Deviation, k.Lo95, k.Hi95 = math.Sqrt(a[i]), math.Sqrt(lo), math.Sqrt(hi)
		k.RatesSD, k.Resolved = math.Sqrt(free[i]), lo > 0
		c.Instruments = append(c.Instruments, k)
		c.Words = append(c.Words, k.words(c.Tau))
	}
	return c, nil
}

// edf returns the degrees of freedom of the Allan variance of the phase x at m
// steps, for white FM of the mean of the variances a and the scatter of the
// readings.
func (tb *table) edf(x []float64, step float64, m int, a []float64) float64 {
	var model stability.Model
	for i := range a {
		model.SigmaW += a[i] * step * float64(m) / float64(len(a))
		model.SigmaX += tb.meanSquare(i) / float64(len(a))
	}
	model.SigmaW, model.SigmaX = math.Sqrt(model.SigmaW), math.Sqrt(model.SigmaX)
	edf, ok := model.EDF(stability.Allan, x, step, m, nil)
	if !ok {
		return 1
	}
	return math.Max(edf, 1)
}

func (k Corner) words(tau float64) string {
	days := "from day to day"
	if tau != 1 {
		days = fmt.Sprintf("from one %g days to the next", tau)
	}
	if !k.Resolved {
		return fmt.Sprintf("The steadiness of no. %s is not resolved: better than %.2f s/d %s.", k.Name, k.Hi95, days)
	}
	return fmt.Sprintf("No. %s keeps its rate to %.2f s/d %s (%.2f to %.2f).", k.Name, k.Deviation, days, k.Lo95, k.Hi95)
}

func matrix(n int) [][]float64 {
	m := make([][]float64, n)
	for i := range m {
		m[i] = make([]float64, n)
	}
	return m
}

func (tb *table) never(i, j int) error {
	return fmt.Errorf("%w: no. %s and no. %s were read together at too few equal steps; read all dials every day", ErrAlone, tb.names[i], tb.names[j])
}

// grid returns the difference of i and j at equal steps, less its mean rate.
func (tb *table) grid(i, j int, step float64) ([]float64, bool) {
	var t, d []float64
	for k := range tb.t {
		if x := tb.x[i][k] - tb.x[j][k]; !math.IsNaN(x) {
			t, d = append(t, tb.t[k]), append(d, x)
		}
	}
	rest, ok := stability.WithoutRate(t, d)
	if !ok {
		return nil, false
	}
	origin, ok := stability.Origin(t, step, tolerance*step)
	if !ok {
		return nil, false
	}
	g, ok := stability.Resample(t, rest, origin, step, tolerance*step)
	return g.X, ok
}

// spread returns the sample variance of the mean rates over m steps of the
// phase x, and how many there are.
func spread(x []float64, step float64, m int) (float64, int, bool) {
	var y []float64
	for i := 0; i+m < len(x); i += m {
		if r := (x[i+m] - x[i]) / (float64(m) * step); !math.IsNaN(r) {
			y = append(y, r)
		}
	}
	s, ok := stability.Summarise(y)
	return s.SD * s.SD, len(y), ok
}

func (tb *table) meanSquare(i int) float64 {
	sum, n := 0.0, 0
	for k := range tb.t {
		if !math.IsNaN(tb.x[i][k]) {
			sum += tb.sd[i][k] * tb.sd[i][k]
			n++
		}
	}
	return sum / float64(max(n, 1))
}

// hat returns the variances that add up, two by two, to those of the pairs
// with the least squares of what is left over: for three exactly, ½(AB + AC -
// BC) and so on.
func hat(pairs [][]float64) []float64 {
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

// cornerFit finds the variances a of which pairs, with what the readings add,
// is the most likely outcome. Written for pairs, log|Σ| + tr(Σ⁻¹S) is
//
//	Σ log v + log W + Σ_{i<j} w_i w_j P_ij / W,   v = a + known, w = 1/v, W = Σ w.
type cornerFit struct {
	pairs [][]float64
	known []float64
}

func (f cornerFit) value(a []float64, grad []float64, info *mat.SymDense) float64 {
	n := len(a)
	var w, dev [MaxInstruments]float64
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
func (f cornerFit) best(fixed int, value float64, near []float64) []float64 {
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
	for i, h := range hat(f.pairs) {
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

// descend walks a down to the nearest top of the likelihood.
func (f cornerFit) descend(a []float64, fixed int, floor float64) float64 {
	n := len(a)
	grad, info := make([]float64, n), mat.NewSymDense(n, nil)
	step, trial := mat.NewVecDense(n, nil), make([]float64, n)
	var chol mat.Cholesky
	value := f.value(a, grad, info)
	for range 200 {
		for i := range n {
			if i == fixed || a[i] <= floor && grad[i] > 0 {
				for j := range n {
					info.SetSym(i, j, 0)
				}
				grad[i] = 0
			}
			info.SetSym(i, i, info.At(i, i)*(1+1e-6)+1e-9)
		}
		if !chol.Factorize(info) || chol.SolveVecTo(step, mat.NewVecDense(n, grad)) != nil {
			break
		}
		scale := 1.0
		for i := range n {
			scale = math.Min(scale, 2/math.Max(math.Abs(step.AtVec(i)), 2))
		}
		improved := false
		for ; scale > 1e-6; scale /= 2 {
			for i := range n {
				trial[i] = math.Max(a[i]*math.Exp(-scale*step.AtVec(i)), floor)
			}
			if f.value(trial, nil, nil) < value {
				improved = true
				break
			}
		}
		if !improved {
			break
		}
		copy(a, trial)
		was := value
		value = f.value(a, grad, info)
		if was-value < 1e-13 {
			break
		}
	}
	return value
}

// chi95 is the 95% point of χ² on one degree of freedom.
const chi95 = z95 * z95

// interval returns the ends of the 95% interval of the variance of member i,
// given the most likely ones and the degrees of freedom of the pairs: where the
// likelihood, the others at their best, has fallen by as much as chance allows.
func (f cornerFit) interval(i int, a []float64, edf float64) (lo, hi float64) {
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

package together

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"

	"timeball/internal/statespace"
)

// Kind is a way in which an instrument can depart from its course.
type Kind string

// The kinds of change that are looked for.
const (
	RateChange Kind = "rate"    // it gains or loses more from an instant on, s/d
	Jump       Kind = "jump"    // the dial went on or back once, s
	Reading    Kind = "reading" // one reading is out, s
)

// functional is the sum Σ weight·x over rows that estimates a change of one
// kind, the same for all members, so that what is common to them falls out.
type functional struct {
	rows   []int
	weight []float64
	white  float64 // its variance per σw²
	wander float64 // and per σr²
}

// shape returns what a change of one unit at tau adds to a reading at t.
func (k Kind) shape(t, tau float64) float64 {
	switch {
	case k == RateChange:
		return math.Max(t-tau, 0)
	case k == Jump && t >= tau, k == Reading && t == tau:
		return 1
	}
	return 0
}

// estimator returns the functional over rows (of tb, ascending) that estimates
// a change of kind k at tau, days, by generalised least squares under the mean
// noise of members, with error and rate before it free. For a change of rate,
// white FM and no reading error it is the mean rate after less the mean rate
// before. It returns false if the rows cannot tell.
func (tb *table) estimator(k Kind, tau float64, rows, members []int, noise []statespace.Noise) (functional, bool) {
	m := len(rows) - 1
	if m < 2 {
		return functional{}, false
	}
	var mean statespace.Noise
	s2 := make([]float64, m+1)
	for _, p := range members {
		mean.SigmaW += noise[p].SigmaW * noise[p].SigmaW
		mean.SigmaR += noise[p].SigmaR * noise[p].SigmaR
		for i, r := range rows {
			s2[i] += tb.sd[p][r] * tb.sd[p][r]
		}
	}
	t := make([]float64, m+1)
	for i, r := range rows {
		t[i] = tb.t[r] - tb.t[rows[0]]
	}
	tau -= tb.t[rows[0]]
	wander := mat.NewSymDense(m, nil)
	v := mat.NewSymDense(m, nil)
	unit := statespace.Noise{SigmaR: 1}
	c := make([][]float64, m+1)
	for i := range c {
		c[i] = make([]float64, m+1)
		for j := range i + 1 {
			c[i][j] = unit.Covariance(t[i], t[j])
			c[j][i] = c[i][j]
		}
	}
	x := mat.NewDense(m, 2, nil)
	for i := range m {
		for j := i; j < m; j++ {
			b := c[i+1][j+1] - c[i+1][j] - c[i][j+1] + c[i][j]
			wander.SetSym(i, j, b)
			v.SetSym(i, j, mean.SigmaR*b)
		}
		d := t[i+1] - t[i]
		v.SetSym(i, i, v.At(i, i)+mean.SigmaW*d+s2[i]+s2[i+1])
		if i > 0 {
			v.SetSym(i-1, i, v.At(i-1, i)-s2[i])
		}
		x.Set(i, 0, d)
		x.Set(i, 1, k.shape(t[i+1], tau)-k.shape(t[i], tau))
	}
	var chol mat.Cholesky
	if !chol.Factorize(v) {
		return functional{}, false
	}
	var vx, s mat.Dense
	if chol.SolveTo(&vx, x) != nil {
		return functional{}, false
	}
	s.Mul(x.T(), &vx)
	det := s.At(0, 0)*s.At(1, 1) - s.At(0, 1)*s.At(1, 0)
	if !(det > 1e-9*s.At(0, 0)*s.At(1, 1)) {
		return functional{}, false
	}
	w := mat.NewVecDense(m, nil)
	for i := range m {
		w.SetVec(i, (s.At(0, 0)*vx.At(i, 1)-s.At(0, 1)*vx.At(i, 0))/det)
	}
	f := functional{rows: rows, weight: make([]float64, m+1), wander: mat.Inner(w, wander, w)}
	for i := range m {
		f.white += w.AtVec(i) * w.AtVec(i) * (t[i+1] - t[i])
		f.weight[i] -= w.AtVec(i)
		f.weight[i+1] += w.AtVec(i)
	}
	return f, true
}

// value returns the functional of member p.
func (f functional) value(tb *table, p int) float64 {
	sum := 0.0
	for i, r := range f.rows {
		sum += f.weight[i] * tb.x[p][r]
	}
	return sum
}

// variance returns the variance of the functional of member p, and the parts
// of it that are σw's and σr's.
func (f functional) variance(tb *table, p int, q statespace.Noise) (v, white, wander float64) {
	white, wander = q.SigmaW*q.SigmaW*f.white, q.SigmaR*q.SigmaR*f.wander
	v = white + wander
	for i, r := range f.rows {
		s := f.weight[i] * tb.sd[p][r]
		v += s * s
	}
	return math.Max(v, 1e-12), white, wander
}

// window returns the members to ask about a change at row k, and the rows lo
// to hi in which all of them were read. A member that was seldom read is left
// out where it would cost the others half of their rows.
func (tb *table) window(k Kind, pivot, lo, hi int) (members, rows []int) {
	for p := range tb.x {
		members = append(members, p)
	}
	rows = tb.shared(members, lo, hi)
	for len(members) > 2 {
		fewest, count := 0, math.MaxInt
		for i, p := range members {
			if n := len(tb.shared([]int{p}, lo, hi)); n <= count {
				fewest, count = i, n
			}
		}
		fewer := slices.Delete(slices.Clone(members), fewest, fewest+1)
		more := tb.shared(fewer, lo, hi)
		if enough(k, pivot, rows) && len(more) < 2*len(rows) {
			break
		}
		members, rows = fewer, more
	}
	if !enough(k, pivot, rows) {
		return nil, nil
	}
	return members, rows
}

func (tb *table) shared(members []int, lo, hi int) []int {
	var rows []int
	for r := lo; r <= hi; r++ {
		all := true
		for _, p := range members {
			all = all && !math.IsNaN(tb.x[p][r])
		}
		if all {
			rows = append(rows, r)
		}
	}
	return rows
}

// enough says whether rows show a change of kind k at row pivot apart from the
// error and rate before it.
func enough(k Kind, pivot int, rows []int) bool {
	at, found := slices.BinarySearch(rows, pivot)
	before, after := at, len(rows)-at // strictly before; at or after
	switch k {
	case RateChange:
		if found {
			return before >= 1 && after >= 2
		}
		return before >= 2 && after >= 2
	case Jump:
		return before >= 1 && after >= 1 && len(rows) >= 3
	case Reading:
		return found && before >= 1 && after >= 2
	}
	return false
}

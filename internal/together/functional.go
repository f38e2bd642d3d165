package together

import (
	"math"

	"gonum.org/v1/gonum/mat"

	"timeball/internal/statespace"
	"timeball/internal/together/rounds"
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

// estimator returns the functional over rows (ascending) that estimates
// a change of kind k at tau, days, by generalised least squares under the mean
// noise of members, with error and rate before it free. For a change of rate,
// white FM and no reading error it is the mean rate after less the mean rate
// before. It returns false if the rows cannot tell.
func (s *search) estimator(k Kind, tau float64, rows, members []int, noise []statespace.Noise) (functional, bool) {
	m := len(rows) - 1
	if m < 2 {
		return functional{}, false
	}
	var square statespace.Noise // σw² and σr², of all together
	s2 := make([]float64, m+1)
	for _, p := range members {
		square.SigmaW += noise[p].SigmaW * noise[p].SigmaW
		square.SigmaR += noise[p].SigmaR * noise[p].SigmaR
		for i, r := range rows {
			s2[i] += s.SD[p][r] * s.SD[p][r]
		}
	}
	t := make([]float64, m+1)
	for i, r := range rows {
		t[i] = s.Days[r] - s.Days[rows[0]]
	}
	tau -= s.Days[rows[0]]
	v, wander := covariance(t, s2, square)
	x := mat.NewDense(m, 2, nil)
	for i := range m {
		x.Set(i, 0, t[i+1]-t[i])
		x.Set(i, 1, k.shape(t[i+1], tau)-k.shape(t[i], tau))
	}
	var chol mat.Cholesky
	if !chol.Factorize(v) {
		return functional{}, false
	}
	var vx, normal mat.Dense
	if chol.SolveTo(&vx, x) != nil {
		return functional{}, false
	}
	normal.Mul(x.T(), &vx)
	det := normal.At(0, 0)*normal.At(1, 1) - normal.At(0, 1)*normal.At(1, 0)
	if !(det > 1e-9*normal.At(0, 0)*normal.At(1, 1)) {
		return functional{}, false
	}
	w := mat.NewVecDense(m, nil)
	for i := range m {
		w.SetVec(i, (normal.At(0, 0)*vx.At(i, 1)-normal.At(0, 1)*vx.At(i, 0))/det)
	}
	f := functional{rows: rows, weight: make([]float64, m+1), wander: mat.Inner(w, wander, w)}
	for i := range m {
		f.white += w.AtVec(i) * w.AtVec(i) * (t[i+1] - t[i])
		f.weight[i] -= w.AtVec(i)
		f.weight[i+1] += w.AtVec(i)
	}
	return f, true
}

// covariance returns the covariance of what a dial gains from each of the
// instants t, days, to the next, and the part of it per σr²: square holds σw²
// and σr², s2 the variance of the reading at each.
func covariance(t, s2 []float64, square statespace.Noise) (v, wander *mat.SymDense) {
	m := len(t) - 1
	v, wander = mat.NewSymDense(m, nil), mat.NewSymDense(m, nil)
	unit := statespace.Noise{SigmaR: 1}
	c := mat.NewSymDense(m+1, nil)
	for i := range t {
		for j := range i + 1 {
			c.SetSym(i, j, unit.Covariance(t[i], t[j]))
		}
	}
	for i := range m {
		for j := i; j < m; j++ {
			b := c.At(i+1, j+1) - c.At(i+1, j) - c.At(i, j+1) + c.At(i, j)
			wander.SetSym(i, j, b)
			v.SetSym(i, j, square.SigmaR*b)
		}
		v.SetSym(i, i, v.At(i, i)+square.SigmaW*(t[i+1]-t[i])+s2[i]+s2[i+1])
		if i > 0 {
			v.SetSym(i-1, i, v.At(i-1, i)-s2[i])
		}
	}
	return v, wander
}

// value returns the functional of member p.
func (f functional) value(tb *rounds.Table, p int) float64 {
	sum := 0.0
	for i, r := range f.rows {
		sum += f.weight[i] * tb.X[p][r]
	}
	return sum
}

// variance returns the variance of the functional of member p, and the parts
// of it that are σw's and σr's.
func (f functional) variance(tb *rounds.Table, p int, q statespace.Noise) (v, white, wander float64) {
	white, wander = q.SigmaW*q.SigmaW*f.white, q.SigmaR*q.SigmaR*f.wander
	v = white + wander
	for i, r := range f.rows {
		s := f.weight[i] * tb.SD[p][r]
		v += s * s
	}
	return math.Max(v, 1e-12), white, wander
}

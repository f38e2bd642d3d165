// Package noise reads the noise of each instrument of a comparison book out of
// the differences of their mean rates alone.
//
// Noise is stated per day as in package statespace: white FM σw, the scatter of
// one day's rate, and random-walk FM σr, the wandering of the rate. The noises
// of two instruments are taken as independent.
//
// Each term is the mean rate from one row to another m rows later, and from
// there to that 2m rows later, the one less the other, for m = 1, 2, 4 and 8.
// Between instruments only contrasts of terms are known: with v the variance
// each should have, w = 1/v and W = Σw, minus twice the log-likelihood of one is
//
//	Σ log v + log W + Σ w (q - q̄)²,   q̄ = Σ w q / W,
//
// which is log|Σ| + qᵀΣ⁻¹q of the differences against any one of them. Terms
// overlap, so that each counts for less than one.
package noise

import (
	"math"

	"gonum.org/v1/gonum/mat"

	"timeball/internal/statespace"
	"timeball/internal/together/rounds"
	"timeball/internal/together/scoring"
)

// scales are the spans m, each with the part of a degree of freedom that one
// of its overlapping terms is worth under white FM (D. Howe, D. Allan,
// J. Barnes, 35th Frequency Control Symposium (1981)): 3/(2m)·4m²/(4m²+5).
// scaleShare holds them, taken together, to what the readings can tell.
var scales = [...]int{1, 2, 4, 8}

const scaleShare = 0.7

func scaleWeight(m int) float64 {
	f := float64(m)
	return scaleShare * 1.5 / f * 4 * f * f / (4*f*f + 5)
}

// Terms holds the differences of mean rates of a table.
type Terms struct {
	all      []term
	standard []bool // of each member, which has no noise then
}

// term is one difference of mean rates, of those members that were read at all
// three rows.
type term struct {
	from, to int // first and last row
	weight   float64
	white    float64 // what it takes of σw²
	wander   float64 // and of σr²
	member   []int
	q        []float64
	reading  []float64 // variance by the readings
}

// In returns the terms of tb as it is now.
func In(tb *rounds.Table) Terms {
	ts := Terms{standard: make([]bool, len(tb.X))}
	for p := range tb.X {
		ts.standard[p] = tb.Standard(p)
	}
	for _, m := range scales {
		for i := 0; i+2*m < len(tb.Days); i++ {
			if tm := between(tb, i, i+m, i+2*m); len(tm.member) > 1 {
				tm.weight = scaleWeight(m)
				ts.all = append(ts.all, tm)
			}
		}
	}
	return ts
}

// between returns the term of three rows.
func between(tb *rounds.Table, i, j, k int) term {
	d1, d2 := tb.Days[j]-tb.Days[i], tb.Days[k]-tb.Days[j]
	tm := term{from: i, to: k, white: 1/d1 + 1/d2, wander: (d1 + d2) / 3}
	for p, x := range tb.X {
		q := (x[k]-x[j])/d2 - (x[j]-x[i])/d1
		if math.IsNaN(q) {
			continue
		}
		a, b, c := tb.SD[p][i]/d1, tb.SD[p][j]*(1/d1+1/d2), tb.SD[p][k]/d2
		tm.member = append(tm.member, p)
		tm.q = append(tm.q, q)
		tm.reading = append(tm.reading, a*a+b*b+c*c)
	}
	return tm
}

// Leave says which terms feel a change between two rows, both excluded, and are
// left out.
type Leave struct{ After, Before int }

func (l Leave) out(tm *term) bool { return tm.from < l.Before && tm.to > l.After }

// Nothing leaves no term out.
var Nothing = Leave{math.MaxInt, math.MinInt}

// Fit is the noise of each member and how well it is known.
type Fit struct {
	Noise []statespace.Noise
	cov   *mat.SymDense // of (ln σw², ln (σr/σw)²) of each estimated member; nil if given
	at    []int         // place of a member in cov, -1 if its noise is given
}

// Fit returns the noise of all members, terms left out by l not used. Where
// given holds a noise that is not zero it is taken, not estimated. Start is an
// earlier fit or nil.
func (ts Terms) Fit(l Leave, given []statespace.Noise, start *Fit) *Fit {
	f := &Fit{Noise: make([]statespace.Noise, len(ts.standard)), at: make([]int, len(ts.standard))}
	var theta []float64
	for p, standard := range ts.standard {
		f.at[p] = -1
		switch {
		case standard:
		case given != nil && given[p] != statespace.Noise{}:
			f.Noise[p] = given[p]
		default:
			f.at[p] = len(theta)
			at := priorMean
			if start != nil {
				q := start.Noise[p]
				at = [2]float64{2 * math.Log(q.SigmaW), 2 * math.Log(q.SigmaR/q.SigmaW)}
			}
			theta = append(theta, at[:]...)
		}
	}
	n := len(theta)
	if n == 0 {
		return f
	}
	info := mat.NewSymDense(n, nil)
	scoring.Target{Value: func(theta, grad []float64, info *mat.SymDense) float64 {
		return f.posterior(ts.all, l, theta, grad, info)
	}}.Descend(theta, info, scoring.Limits{Steps: 40, LeastScale: 1e-3, LeastGain: 1e-6})
	for p, at := range f.at {
		if at >= 0 {
			w := math.Exp(theta[at] / 2)
			f.Noise[p] = statespace.Noise{SigmaW: w, SigmaR: w * math.Exp(theta[at+1]/2)}
		}
	}
	var chol mat.Cholesky
	if chol.Factorize(info) {
		f.cov = mat.NewSymDense(n, nil)
		if chol.InverseTo(f.cov) != nil {
			f.cov = nil
		}
	}
	return f
}

// MostDF is how many degrees of freedom are as good as a noise that is known.
const MostDF = 1e5

// Degrees returns the degrees of freedom of a variance whose logarithm has the
// slope given by that of each of members, of which white and wander are the
// parts that are σw's and σr's: twice over its own variance.
func (f *Fit) Degrees(members []int, white, wander []float64, slope func(int) float64) float64 {
	if f.cov == nil {
		return MostDF
	}
	g := mat.NewVecDense(f.cov.SymmetricDim(), nil)
	for i, p := range members {
		if at := f.at[p]; at >= 0 {
			g.SetVec(at, slope(i)*(white[i]+wander[i]))
			g.SetVec(at+1, slope(i)*wander[i])
		}
	}
	if v := mat.Inner(g, f.cov, g); v > 2/MostDF {
		return 2 / v
	}
	return MostDF
}

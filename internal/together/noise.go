package together

import (
	"math"

	"gonum.org/v1/gonum/mat"

	"timeball/internal/statespace"
)

// The noise of each instrument is read out of the differences of mean rates
// between a row, the row m later and the row 2m later, for m = 1, 2, 4 and 8.
// Between instruments only contrasts of these are known: with v the variance
// each should have, w = 1/v and W = Σw, minus twice the log-likelihood of one is
//
//	Σ log v + log W + Σ w (q - q̄)²,   q̄ = Σ w q / W,
//
// which is log|Σ| + qᵀΣ⁻¹q of the differences against any one of them. Terms
// overlap, so that each counts for less than one.

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

// The prior of ln σw² and of ln (σr/σw)²: median 0.2 s/√d and 0.13, log
// standard deviations 1 and 0.7. It is that of the rating of one instrument.
var (
	priorMean = [2]float64{2 * math.Log(0.2), 2 * math.Log(0.13)}
	priorSD   = [2]float64{2 * 1, 2 * 0.7}
)

// noiseFit is the noise of each member and how well it is known.
type noiseFit struct {
	noise []statespace.Noise
	cov   *mat.SymDense // of (ln σw², ln (σr/σw)²) of each estimated member; nil if given
	at    []int         // place of a member in cov, -1 if its noise is given
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

// terms returns all terms of tb.
func (tb *table) terms() []term {
	var all []term
	for _, m := range scales {
		for i := 0; i+2*m < len(tb.t); i++ {
			j, k := i+m, i+2*m
			d1, d2 := tb.t[j]-tb.t[i], tb.t[k]-tb.t[j]
			tm := term{from: i, to: k, weight: scaleWeight(m), white: 1/d1 + 1/d2, wander: (d1 + d2) / 3}
			for p := range tb.x {
				q := (tb.x[p][k]-tb.x[p][j])/d2 - (tb.x[p][j]-tb.x[p][i])/d1
				if math.IsNaN(q) {
					continue
				}
				a, b, c := tb.sd[p][i]/d1, tb.sd[p][j]*(1/d1+1/d2), tb.sd[p][k]/d2
				tm.member = append(tm.member, p)
				tm.q = append(tm.q, q)
				tm.reading = append(tm.reading, a*a+b*b+c*c)
			}
			if len(tm.member) > 1 {
				all = append(all, tm)
			}
		}
	}
	return all
}

// leave says whether a term feels a change between two rows, both excluded.
type leave struct{ after, before int }

func (l leave) out(tm *term) bool { return tm.from < l.before && tm.to > l.after }

var keepAll = leave{math.MaxInt, math.MinInt}

// objective returns minus the log posterior of theta up to a constant, and if
// asked for its gradient and expected second derivatives.
func (f *noiseFit) objective(terms []term, l leave, theta []float64, grad []float64, info *mat.SymDense) float64 {
	n := len(theta)
	sum := 0.0
	for i := range theta {
		z := (theta[i] - priorMean[i%2]) / priorSD[i%2]
		sum += z * z / 2
		if grad != nil {
			grad[i] = z / priorSD[i%2]
			for j := i; j < n; j++ {
				info.SetSym(i, j, 0)
			}
			info.SetSym(i, i, 1/(priorSD[i%2]*priorSD[i%2]))
		}
	}
	var v, w, fu, fr, dev [MaxInstruments + 1]float64
	for k := range terms {
		tm := &terms[k]
		if l.out(tm) {
			continue
		}
		total, mean, logs := 0.0, 0.0, 0.0
		for i, p := range tm.member {
			fu[i], fr[i] = 0, 0
			if at := f.at[p]; at >= 0 {
				white := math.Exp(theta[at])
				wander := math.Exp(theta[at+1]) * white * tm.wander
				white *= tm.white
				v[i] = white + wander + tm.reading[i]
				fu[i], fr[i] = (white+wander)/v[i], wander/v[i]
			} else {
				q := f.noise[p]
				v[i] = q.SigmaW*q.SigmaW*tm.white + q.SigmaR*q.SigmaR*tm.wander + tm.reading[i]
			}
			w[i] = 1 / v[i]
			total += w[i]
			mean += w[i] * tm.q[i]
			logs += math.Log(v[i])
		}
		mean /= total
		quad := 0.0
		for i := range tm.member {
			d := tm.q[i] - mean
			dev[i] = w[i] * d * d
			quad += dev[i]
		}
		sum += tm.weight / 2 * (logs + math.Log(total) + quad)
		if grad == nil {
			continue
		}
		for i, p := range tm.member {
			a := f.at[p]
			if a < 0 {
				continue
			}
			share := w[i] / total
			g := tm.weight / 2 * (1 - share - dev[i])
			grad[a] += g * fu[i]
			grad[a+1] += g * fr[i]
			for j, o := range tm.member {
				b := f.at[o]
				if b < a {
					continue
				}
				h := share * w[j] / total
				if i == j {
					h = (1 - share) * (1 - share)
				}
				h *= tm.weight / 2
				info.SetSym(a, b, info.At(a, b)+h*fu[i]*fu[j])
				info.SetSym(a, b+1, info.At(a, b+1)+h*fu[i]*fr[j])
				if i != j {
					info.SetSym(a+1, b, info.At(a+1, b)+h*fr[i]*fu[j])
				}
				info.SetSym(a+1, b+1, info.At(a+1, b+1)+h*fr[i]*fr[j])
			}
		}
	}
	return sum
}

// fit returns the noise of all members from terms, those left out by l not
// used. A member of given is not estimated. Start is an earlier fit or nil.
func (tb *table) fit(terms []term, l leave, given []statespace.Noise, start *noiseFit) *noiseFit {
	f := &noiseFit{noise: make([]statespace.Noise, len(tb.x)), at: make([]int, len(tb.x))}
	n := 0
	for p := range tb.x {
		f.at[p] = -1
		switch {
		case tb.standard(p):
		case given != nil && given[p] != statespace.Noise{}:
			f.noise[p] = given[p]
		default:
			f.at[p] = n
			n += 2
		}
	}
	if n == 0 {
		return f
	}
	theta := make([]float64, n)
	for i := range theta {
		theta[i] = priorMean[i%2]
	}
	for p, at := range f.at {
		if at >= 0 && start != nil {
			q := start.noise[p]
			theta[at], theta[at+1] = 2*math.Log(q.SigmaW), 2*math.Log(q.SigmaR/q.SigmaW)
		}
	}
	grad := make([]float64, n)
	info := mat.NewSymDense(n, nil)
	var chol mat.Cholesky
	trial, step := make([]float64, n), mat.NewVecDense(n, nil)
	value := f.objective(terms, l, theta, grad, info)
	for range 40 {
		if !chol.Factorize(info) || chol.SolveVecTo(step, mat.NewVecDense(n, grad)) != nil {
			break
		}
		scale := 1.0
		for i := range n {
			scale = math.Min(scale, 2/math.Max(math.Abs(step.AtVec(i)), 2))
		}
		improved := false
		for ; scale > 1e-3; scale /= 2 {
			for i := range trial {
				trial[i] = theta[i] - scale*step.AtVec(i)
			}
			if f.objective(terms, l, trial, nil, nil) < value {
				improved = true
				break
			}
		}
		if !improved {
			break
		}
		copy(theta, trial)
		was := value
		value = f.objective(terms, l, theta, grad, info)
		if was-value < 1e-6 {
			break
		}
	}
	for p, at := range f.at {
		if at >= 0 {
			w := math.Exp(theta[at] / 2)
			f.noise[p] = statespace.Noise{SigmaW: w, SigmaR: w * math.Exp(theta[at+1]/2)}
		}
	}
	if chol.Factorize(info) {
		f.cov = mat.NewSymDense(n, nil)
		if chol.InverseTo(f.cov) != nil {
			f.cov = nil
		}
	}
	return f
}

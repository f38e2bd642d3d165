// Package statespace filters and smooths the two-state clock: error x and rate
// r with dx = r dt + σw dW1, dr = σr dW2, started at exactly zero, together
// with regression columns of which some have flat priors.
//
// The filter is run once on all columns [X y] with the same gains (de Jong,
// The diffuse Kalman filter, Ann. Statist. 19 (1991) 1073–1083), so that there
// is no diffuse limit and no large number. Times are days from the origin,
// errors seconds, rates s/d.
package statespace

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// Noise is the strength of the two noises of the clock.
type Noise struct {
	SigmaW float64 // white frequency noise, s/√d
	SigmaR float64 // random walk of the rate, (s/d)/√d
}

// Step returns the covariance that the noise adds over d days to (x, r)
// (Zucca and Tavella, IEEE Trans. UFFC 52 (2005) 289–296).
func (q Noise) Step(d float64) (xx, xr, rr float64) {
	w, r := q.SigmaW*q.SigmaW, q.SigmaR*q.SigmaR
	return w*d + r*d*d*d/3, r * d * d / 2, r * d
}

// Covariance returns the covariance of x(s) and x(t), s, t ≥ 0 days.
func (q Noise) Covariance(s, t float64) float64 {
	m, n := min(s, t), max(s, t)
	return q.SigmaW*q.SigmaW*m + q.SigmaR*q.SigmaR*(m*m*(n-m)/2+m*m*m/3)
}

// Missing as a variance marks a row without a reading.
const Missing = -1.0

// Series is the readings to be filtered: rows in order of time, each with the
// variance of its reading and one value in each of Cols columns.
type Series struct {
	T    []float64 // days, ascending, ≥ 0
	Var  []float64 // s², or Missing
	Rows []float64 // len(T)·Cols values, row by row; the last column is y
	Cols int
}

// Prior holds the Gaussian prior of each regression coefficient.
type Prior struct {
	Mean []float64
	SD   []float64 // +Inf is flat
}

// Fit is the exact posterior for one choice of noise.
type Fit struct {
	LogLik float64   // restricted log-likelihood with (n − flat)·log 2π
	Beta   []float64 // posterior mean of the coefficients
	Cov    []float64 // their covariance, row by row
	End    State     // filtered, after the last row
	N      int       // readings that are not Missing
}

// State is the stochastic part at one instant: for each column its estimate
// of (x, r) and, common to all, the covariance.
type State struct {
	X, R          []float64
	PXX, PXR, PRR float64
}

// Workspace filters series of one shape without allocating anew. What Smooth
// and Combination return belongs to the last call of Filter.
type Workspace struct {
	series Series
	noise  Noise
	fit    Fit
	x, r   []float64 // running state by column
	moment []float64 // sum of vᵀv/F over the innovations v, Cols²
	innov  []float64 // innovations v, row by row
	gainX  []float64
	gainR  []float64
	invF   []float64 // 1/F, 0 for Missing
	sym    *mat.SymDense
	scale  []float64
}

// Filter returns the fit of s with the noise q and the prior. It returns
// false if a flat coefficient is not determined or a value is not finite.
func (ws *Workspace) Filter(s Series, q Noise, prior Prior) (Fit, bool) {
	if len(prior.Mean) != s.Cols-1 || len(prior.SD) != s.Cols-1 || len(s.Rows) != len(s.T)*s.Cols || len(s.Var) != len(s.T) {
		panic("statespace: columns, prior and rows do not match")
	}
	ws.series, ws.noise = s, q
	logV, n, end := ws.forward()
	fit, ok := ws.solve(prior, logV, n)
	fit.End = end
	ws.fit = fit
	return fit, ok
}

// forward runs the filter over all rows and leaves innovations, gains and
// moments in the workspace.
func (ws *Workspace) forward() (logV float64, n int, end State) {
	s, c := ws.series, ws.series.Cols
	ws.x, ws.r, ws.moment = zeroed(ws.x, c), zeroed(ws.r, c), zeroed(ws.moment, c*c)
	ws.innov, ws.gainX, ws.gainR, ws.invF = sized(ws.innov, len(s.Rows)), sized(ws.gainX, len(s.T)), sized(ws.gainR, len(s.T)), sized(ws.invF, len(s.T))
	x, r := ws.x, ws.r
	var pxx, pxr, prr, t float64
	product := 1.0 // of variances not yet in logV: one logarithm serves many
	for k, tk := range s.T {
		if d := tk - t; d > 0 {
			qxx, qxr, qrr := ws.noise.Step(d)
			pxx += 2*d*pxr + d*d*prr + qxx
			pxr += d*prr + qxr
			prr += qrr
			for j := range x {
				x[j] += d * r[j]
			}
		}
		t = tk
		v := ws.innov[k*c : (k+1)*c]
		if s.Var[k] < 0 {
			ws.gainX[k], ws.gainR[k], ws.invF[k] = 0, 0, 0
			clear(v)
			continue
		}
		n++
		f := pxx + s.Var[k]
		if product *= f; product > 1e150 || product < 1e-150 {
			logV += math.Log(product)
			product = 1
		}
		inv := 1 / f
		gx, gr := pxx*inv, pxr*inv
		ws.gainX[k], ws.gainR[k], ws.invF[k] = gx, gr, inv
		row := s.Rows[k*c : (k+1)*c]
		for j, y := range row {
			d := y - x[j]
			x[j] += gx * d
			r[j] += gr * d
			v[j] = d
		}
		for i, vi := range v {
			if vi == 0 {
				continue
			}
			vi *= inv
			m := ws.moment[i*c : (i+1)*c]
			for j := i; j < c; j++ {
				m[j] += vi * v[j]
			}
		}
		left := s.Var[k] * inv
		pxx *= left
		prr -= gr * pxr
		pxr *= left
	}
	return logV + math.Log(product), n, State{X: append([]float64(nil), x...), R: append([]float64(nil), r...), PXX: pxx, PXR: pxr, PRR: prr}
}

// solve returns the coefficients and the likelihood from the moments.
func (ws *Workspace) solve(prior Prior, logV float64, n int) (Fit, bool) {
	c := ws.series.Cols
	p := c - 1
	fit := Fit{N: n, Beta: make([]float64, p), Cov: make([]float64, p*p)}
	quad := ws.moment[c*c-1]
	logPrior, flat := 0.0, 0
	ws.scale = sized(ws.scale, p)
	rhs := mat.NewVecDense(p, nil)
	if ws.sym == nil || ws.sym.SymmetricDim() != p {
		ws.sym = mat.NewSymDense(p, nil)
	}
	precision := make([]float64, p)
	for j := range p {
		if math.IsInf(prior.SD[j], 1) {
			flat++
		} else {
			precision[j] = 1 / (prior.SD[j] * prior.SD[j])
			logPrior += 2 * math.Log(prior.SD[j])
			quad += prior.Mean[j] * prior.Mean[j] * precision[j]
		}
		diagonal := ws.moment[j*c+j] + precision[j]
		if !(diagonal > 0) || math.IsInf(diagonal, 1) {
			return fit, false
		}
		ws.scale[j] = math.Sqrt(diagonal)
	}
	logS := 0.0
	for i := range p {
		logS += 2 * math.Log(ws.scale[i])
		rhs.SetVec(i, (ws.moment[i*c+p]+precision[i]*prior.Mean[i])/ws.scale[i])
		for j := i; j < p; j++ {
			v := ws.moment[i*c+j] / (ws.scale[i] * ws.scale[j])
			if i == j {
				v = 1
			}
			ws.sym.SetSym(i, j, v)
		}
	}
	var chol mat.Cholesky
	// Beyond this condition the scaled columns are the same to double precision.
	if ok := chol.Factorize(ws.sym); !ok || chol.Cond() > 1e13 {
		return fit, false
	}
	logS += chol.LogDet()
	var beta mat.VecDense
	var inverse mat.SymDense
	if chol.SolveVecTo(&beta, rhs) != nil || chol.InverseTo(&inverse) != nil {
		return fit, false
	}
	for i := range p {
		fit.Beta[i] = beta.AtVec(i) / ws.scale[i]
		quad -= beta.AtVec(i) * rhs.AtVec(i)
		for j := range p {
			fit.Cov[i*p+j] = inverse.At(i, j) / (ws.scale[i] * ws.scale[j])
		}
	}
	fit.LogLik = -(logV + logS + logPrior + quad + float64(n-flat)*math.Log(2*math.Pi)) / 2
	return fit, !math.IsNaN(fit.LogLik) && !math.IsInf(fit.LogLik, 0)
}

// Ahead returns mean and variance of the error h ≥ 0 days after the last row,
// where row holds the regression columns at that instant.
func (f Fit) Ahead(h float64, q Noise, row []float64) (mean, variance float64) {
	e := f.End
	qxx, _, _ := q.Step(h)
	return f.combine(row, func(j int) float64 { return e.X[j] + h*e.R[j] }, e.PXX+2*h*e.PXR+h*h*e.PRR+qxx)
}

// Rate returns mean and variance of the rate at the last row, white frequency
// noise excluded, where row holds the derivatives of the regression columns.
func (f Fit) Rate(row []float64) (mean, variance float64) {
	return f.combine(row, func(j int) float64 { return f.End.R[j] }, f.End.PRR)
}

// combine adds the regression part of row to the stochastic part z.
func (f Fit) combine(row []float64, z func(j int) float64, variance float64) (float64, float64) {
	p := len(f.Beta)
	mean := z(p)
	for i := range p {
		di := row[i] - z(i)
		mean += di * f.Beta[i]
		sum := 0.0
		for j := range p {
			sum += f.Cov[i*p+j] * (row[j] - z(j))
		}
		variance += di * sum
	}
	return mean, max(variance, 0)
}

func zeroed(s []float64, n int) []float64 {
	s = sized(s, n)
	clear(s)
	return s
}

func sized(s []float64, n int) []float64 {
	if cap(s) < n {
		return make([]float64, n)
	}
	return s[:n]
}

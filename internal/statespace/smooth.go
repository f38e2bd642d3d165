package statespace

import "math"

// Smoothed is the estimate at one row from all readings, before and after it.
type Smoothed struct {
	X, VarX float64 // error and its variance, regression included
	R, VarR float64 // rate and its variance, regression included
}

// Smooth returns the smoothed error and rate at every row of the last series
// filtered, Missing rows included; rates holds the derivatives of the
// regression columns, row by row. The recursions are those of Durbin and
// Koopman, Time Series Analysis by State Space Methods, 2nd ed. (2012), §4.4,
// run on all columns at once.
func (ws *Workspace) Smooth(rates []float64) []Smoothed {
	s, c := ws.series, ws.series.Cols
	p := c - 1
	if len(rates) != len(s.T)*p {
		panic("statespace: one derivative is needed for each row and column")
	}
	out := make([]Smoothed, len(s.T))
	predicted := ws.predicted()
	zx, zr := make([]float64, c), make([]float64, c)
	ws.backward(func(k int, qx, qr, _ []float64, nxx, nxr, nrr, _ float64) {
		at := predicted[k]
		for j := range c {
			zx[j] = at.X[j] + at.PXX*qx[j] + at.PXR*qr[j]
			zr[j] = at.R[j] + at.PXR*qx[j] + at.PRR*qr[j]
		}
		varX := at.PXX - quadratic(at.PXX, at.PXR, nxx, nxr, nrr)
		varR := at.PRR - quadratic(at.PXR, at.PRR, nxx, nxr, nrr)
		row := s.Rows[k*c : k*c+p]
		out[k].X, out[k].VarX = ws.fit.combine(row, func(j int) float64 { return zx[j] }, max(varX, 0))
		out[k].R, out[k].VarR = ws.fit.combine(rates[k*p:(k+1)*p], func(j int) float64 { return zr[j] }, max(varR, 0))
	})
	return out
}

// quadratic returns (a b) N (a b)ᵀ.
func quadratic(a, b, nxx, nxr, nrr float64) float64 { return a*a*nxx + 2*a*b*nxr + b*b*nrr }

// predicted repeats the forward pass and keeps the predicted state of each row.
func (ws *Workspace) predicted() []State {
	s, c := ws.series, ws.series.Cols
	states := make([]State, len(s.T))
	values := make([]float64, 2*c*len(s.T))
	x, r := make([]float64, c), make([]float64, c)
	var pxx, pxr, prr, t float64
	for k, tk := range s.T {
		d := tk - t
		qxx, qxr, qrr := ws.noise.Step(d)
		pxx += 2*d*pxr + d*d*prr + qxx
		pxr += d*prr + qxr
		prr += qrr
		st := State{X: values[2*c*k : 2*c*k+c], R: values[2*c*k+c : 2*c*(k+1)], PXX: pxx, PXR: pxr, PRR: prr}
		for j := range c {
			x[j] += d * r[j]
			st.X[j], st.R[j] = x[j], r[j]
			v := s.Rows[k*c+j] - x[j]
			x[j] += ws.gainX[k] * v
			r[j] += ws.gainR[k] * v
		}
		states[k], t = st, tk
		prr -= ws.gainR[k] * pxr
		pxr *= 1 - ws.gainX[k]
		pxx *= 1 - ws.gainX[k]
	}
	return states
}

// backward runs the smoothing recursions from the last row to the first and
// calls at with, for row k, q = r_{k−1} by column, u = (V⁻¹[X y])_k by column,
// N_{k−1} and D_k = (V⁻¹)_kk.
func (ws *Workspace) backward(at func(k int, qx, qr, u []float64, nxx, nxr, nrr, d float64)) {
	s, c := ws.series, ws.series.Cols
	qx, qr, u := make([]float64, c), make([]float64, c), make([]float64, c)
	var nxx, nxr, nrr float64
	for k := len(s.T) - 1; k >= 0; k-- {
		if k < len(s.T)-1 {
			d := s.T[k+1] - s.T[k]
			for j := range c {
				qr[j] += d * qx[j]
			}
			nrr += 2*d*nxr + d*d*nxx
			nxr += d * nxx
		}
		gx, gr, inv := ws.gainX[k], ws.gainR[k], ws.invF[k]
		diagonal := 0.0
		if inv > 0 {
			for j, v := range ws.innov[k*c : (k+1)*c] {
				u[j] = v*inv - gx*qx[j] - gr*qr[j]
				qx[j] += u[j]
			}
			diagonal = inv + quadratic(gx, gr, nxx, nxr, nrr)
			a := 1 - gx
			nxx, nxr = a*a*nxx-2*a*gr*nxr+gr*gr*nrr+inv, a*nxr-gr*nrr
		} else {
			clear(u)
		}
		at(k, qx, qr, u, nxx, nxr, nrr, diagonal)
	}
}

// Deletion is a reading against what all the others say of it.
type Deletion struct {
	Residual float64 // reading minus prediction from the others, s
	Var      float64 // its variance, s²; +Inf if the others say nothing
}

// Deletions returns the deletion residual of every row of the last series
// filtered; Missing rows have an infinite variance.
func (ws *Workspace) Deletions(dst []Deletion) []Deletion {
	c := ws.series.Cols
	p := c - 1
	n := len(ws.series.T)
	if cap(dst) < n {
		dst = make([]Deletion, n)
	}
	dst = dst[:n]
	cov, beta := ws.fit.Cov, ws.fit.Beta
	ws.backward(func(k int, _, _, u []float64, _, _, _, d float64) {
		if d == 0 {
			dst[k] = Deletion{Var: math.Inf(1)}
			return
		}
		residual, precision := u[p], d
		for i := range p {
			residual -= u[i] * beta[i]
			sum := 0.0
			for j := range p {
				sum += cov[i*p+j] * u[j]
			}
			precision -= u[i] * sum
		}
		// Alone in its run a reading has no precision but rounding.
		if precision <= 1e-9*d {
			dst[k] = Deletion{Var: math.Inf(1)}
			return
		}
		dst[k] = Deletion{Residual: residual / precision, Var: 1 / precision}
	})
	return dst
}

// Score returns the derivatives of the log-likelihood of the last series
// filtered with respect to ln σw, ln σr and the logarithm of a factor common to
// the standard deviations of all readings: with P the projection of the
// restricted likelihood and e = P y, half of eᵀV̇e − tr(P V̇), summed over the
// transitions as in Durbin and Koopman (2012), §7.3.3.
func (ws *Workspace) Score() (sigmaW, sigmaR, factor float64) {
	s, p := ws.series, ws.series.Cols-1
	cov, beta := ws.fit.Cov, ws.fit.Beta
	w2, r2 := ws.noise.SigmaW*ws.noise.SigmaW, ws.noise.SigmaR*ws.noise.SigmaR
	covX, covR, covU := make([]float64, p), make([]float64, p), make([]float64, p)
	weigh := func(dst, b []float64) {
		for i := range dst {
			sum := 0.0
			for j, c := range cov[i*p : (i+1)*p] {
				sum += c * b[j]
			}
			dst[i] = sum
		}
	}
	product := func(a, b []float64) (sum float64) {
		for i, v := range b {
			sum += a[i] * v
		}
		return sum
	}
	ws.backward(func(k int, qx, qr, u []float64, nxx, nxr, nrr, d float64) {
		ex, er, e := qx[p], qr[p], u[p]
		for j, b := range beta {
			ex -= qx[j] * b
			er -= qr[j] * b
			e -= u[j] * b
		}
		if s.Var[k] >= 0 {
			weigh(covU, u)
			factor += s.Var[k] * (e*e - d + product(u, covU))
		}
		dt := s.T[k]
		if k > 0 {
			dt -= s.T[k-1]
		}
		if dt == 0 {
			return
		}
		weigh(covX, qx)
		weigh(covR, qr)
		xx := ex*ex - nxx + product(qx, covX)
		xr := ex*er - nxr + product(qr, covX)
		rr := er*er - nrr + product(qr, covR)
		sigmaW += w2 * dt * xx
		sigmaR += r2 * (dt*dt*dt/3*xx + dt*dt*xr + dt*rr)
	})
	return sigmaW, sigmaR, factor
}

// Combination returns mean and variance of Σ weight·x(t) over a few instants,
// at any t ≥ 0, from all readings of the last series filtered; row is the same
// combination of the regression columns.
func (ws *Workspace) Combination(t, weight, row []float64) (mean, variance float64) {
	s, c := ws.series, ws.series.Cols
	for i, ti := range t {
		for j, tj := range t {
			variance += weight[i] * weight[j] * ws.noise.Covariance(ti, tj)
		}
	}
	// The covariance with the readings is filtered like any other column.
	dot := make([]float64, c)
	var x, r, last float64
	for k, tk := range s.T {
		x += (tk - last) * r
		last = tk
		if ws.invF[k] == 0 {
			continue
		}
		cov := 0.0
		for i, ti := range t {
			cov += weight[i] * ws.noise.Covariance(tk, ti)
		}
		v := cov - x
		x += ws.gainX[k] * v
		r += ws.gainR[k] * v
		w := v * ws.invF[k]
		variance -= w * v
		for j, z := range ws.innov[k*c : (k+1)*c] {
			dot[j] += w * z
		}
	}
	return ws.fit.combine(row, func(j int) float64 { return dot[j] }, max(variance, 0))
}

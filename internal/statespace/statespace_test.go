package statespace_test

import (
	"encoding/json"
	"math"
	"os"
	"testing"

	"gonum.org/v1/gonum/mat"
	"pgregory.net/rapid"

	"timeball/internal/statespace"
)

// checkSmall is a history of eight readings whose likelihood, smoothed states
// and forecasts were computed with dense matrices; the log-likelihood, the 16
// smoothed states and their standard deviations agree to 1e-8 with the exact
// diffuse Kalman filter and smoother of statsmodels 0.13.5, a general library.
type checkSmall struct {
	T        []float64    `json:"t_days"`
	Y        []float64    `json:"y_s"`
	SD       []float64    `json:"sd_s"`
	LogLik   float64      `json:"loglik_reml"`
	LogLik2  float64      `json:"loglik_diffuse_all_2pi"`
	Beta     []float64    `json:"beta"`
	Cov      [][]float64  `json:"cov_beta"`
	Smoothed [][4]float64 `json:"smoothed_error_sd_rate_sd"`
	Deletion []float64    `json:"deletion_residual"`
	DelSD    []float64    `json:"deletion_sd"`
	Forecast [][3]float64 `json:"forecast_fixed_noise"`
	Grid     [][4]float64 `json:"loglik_grid"`
	B        struct {
		IntU   []float64 `json:"int_u"`
		IntU2  []float64 `json:"int_u2"`
		LogLik float64   `json:"loglik_reml"`
		Beta   []float64 `json:"beta"`
		SD     []float64 `json:"sd_beta"`
	} `json:"check_B"`
}

var inf = math.Inf(1)

func load(t *testing.T) checkSmall {
	t.Helper()
	text, err := os.ReadFile("testdata/check_small.json")
	if err != nil {
		t.Fatal(err)
	}
	var c checkSmall
	if err := json.Unmarshal(text, &c); err != nil {
		t.Fatal(err)
	}
	return c
}

func (c checkSmall) seriesA(kappa float64) (statespace.Series, statespace.Prior) {
	s := statespace.Series{T: c.T, Cols: 3}
	for k, t := range c.T {
		s.Var = append(s.Var, kappa*kappa*c.SD[k]*c.SD[k])
		s.Rows = append(s.Rows, 1, t, c.Y[k])
	}
	return s, statespace.Prior{Mean: []float64{0, 0}, SD: []float64{inf, inf}}
}

// near fails unless got is within tol of want.
func near(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s: %.12f, want %.12f ± %g", what, got, want, tol)
	}
}

func TestCheckA(t *testing.T) {
	c := load(t)
	s, prior := c.seriesA(1)
	q := statespace.Noise{SigmaW: 0.2, SigmaR: 0.03}
	var ws statespace.Workspace
	fit, ok := ws.Filter(s, q, prior)
	if !ok {
		t.Fatal("no fit")
	}
	const tol = 1e-8
	near(t, "log-likelihood", fit.LogLik, c.LogLik, tol)
	near(t, "log-likelihood, n log 2π", fit.LogLik-math.Log(2*math.Pi), c.LogLik2, tol)
	for i := range 2 {
		near(t, "coefficient", fit.Beta[i], c.Beta[i], tol)
		for j := range 2 {
			near(t, "covariance", fit.Cov[2*i+j], c.Cov[i][j], tol)
		}
	}
	rates := make([]float64, 0, 16)
	for range c.T {
		rates = append(rates, 0, 1)
	}
	for k, got := range ws.Smooth(rates) {
		near(t, "smoothed error", got.X, c.Smoothed[k][0], tol)
		near(t, "its sd", math.Sqrt(got.VarX), c.Smoothed[k][1], tol)
		near(t, "smoothed rate", got.R, c.Smoothed[k][2], tol)
		near(t, "its sd", math.Sqrt(got.VarR), c.Smoothed[k][3], tol)
	}
	for k, d := range ws.Deletions(nil) {
		near(t, "deletion residual", d.Residual, c.Deletion[k], tol)
		near(t, "its sd", math.Sqrt(d.Var), c.DelSD[k], tol)
	}
	for _, f := range c.Forecast {
		x, v := fit.Ahead(f[0], q, []float64{1, 12 + f[0]})
		near(t, "forecast", x, f[1], tol)
		near(t, "its sd", math.Sqrt(v), f[2], tol)
		// The same through the general combination.
		x, v = ws.Combination([]float64{12 + f[0]}, []float64{1}, []float64{1, 12 + f[0]})
		near(t, "forecast as a combination", x, f[1], tol)
		near(t, "its sd", math.Sqrt(v), f[2], tol)
	}
	r, v := fit.Rate([]float64{0, 1})
	near(t, "rate now", r, -0.7330689969, 1e-9)
	near(t, "its sd", math.Sqrt(v), 0.0835331027, 1e-9)
}

func TestLikelihoodGrid(t *testing.T) {
	c := load(t)
	var ws statespace.Workspace
	for _, g := range c.Grid {
		s, prior := c.seriesA(g[2])
		fit, ok := ws.Filter(s, statespace.Noise{SigmaW: g[0], SigmaR: g[1]}, prior)
		if !ok {
			t.Fatal("no fit")
		}
		near(t, "log-likelihood", fit.LogLik, g[3], 1e-8)
	}
}

// TestCheckB adds temperature and a carriage with their priors; the values
// were computed with dense matrices.
func TestCheckB(t *testing.T) {
	c := load(t)
	s := statespace.Series{T: c.T, Cols: 7}
	for k, at := range c.T {
		s.Var = append(s.Var, c.SD[k]*c.SD[k])
		step := 0.0
		if at >= 6 {
			step = 1
		}
		s.Rows = append(s.Rows, 1, at, c.B.IntU[k], c.B.IntU2[k], step, math.Max(at-6, 0), c.Y[k])
	}
	prior := statespace.Prior{Mean: []float64{0, 0, 0, -0.006, 0, 0}, SD: []float64{inf, inf, 0.06, 0.008, 2, 0.5}}
	var ws statespace.Workspace
	fit, ok := ws.Filter(s, statespace.Noise{SigmaW: 0.2, SigmaR: 0.03}, prior)
	if !ok {
		t.Fatal("no fit")
	}
	near(t, "log-likelihood", fit.LogLik, c.B.LogLik, 1e-8)
	for i := range c.B.Beta {
		near(t, "coefficient", fit.Beta[i], c.B.Beta[i], 1e-8)
		near(t, "its sd", math.Sqrt(fit.Cov[i*6+i]), c.B.SD[i], 1e-8)
	}
}

// dense holds the same posterior computed with full matrices, the textbook
// way: V = σw²A + σr²B + diag, generalised least squares with a prior.
type dense struct {
	vinv, s mat.Dense
	beta    mat.VecDense
	logLik  float64
	x       *mat.Dense
	y       *mat.VecDense
}

func solveDense(s statespace.Series, q statespace.Noise, prior statespace.Prior) dense {
	var keep []int
	for k := range s.T {
		if s.Var[k] >= 0 {
			keep = append(keep, k)
		}
	}
	n, p := len(keep), s.Cols-1
	d := dense{x: mat.NewDense(n, p, nil), y: mat.NewVecDense(n, nil)}
	v := mat.NewDense(n, n, nil)
	for i, k := range keep {
		for j, l := range keep {
			v.Set(i, j, q.Covariance(s.T[k], s.T[l]))
		}
		v.Set(i, i, v.At(i, i)+s.Var[k])
		for j := range p {
			d.x.Set(i, j, s.Rows[k*s.Cols+j])
		}
		d.y.SetVec(i, s.Rows[k*s.Cols+p])
	}
	_ = d.vinv.Inverse(v)
	logV, _ := mat.LogDet(v)
	pi := mat.NewDense(p, p, nil)
	mu := mat.NewVecDense(p, prior.Mean)
	logPrior, flat := 0.0, 0
	for j := range p {
		if math.IsInf(prior.SD[j], 1) {
			flat++
			continue
		}
		pi.Set(j, j, 1/(prior.SD[j]*prior.SD[j]))
		logPrior += 2 * math.Log(prior.SD[j])
	}
	var xv mat.Dense
	xv.Mul(d.x.T(), &d.vinv)
	d.s.Mul(&xv, d.x)
	d.s.Add(&d.s, pi)
	var rhs, pm mat.VecDense
	rhs.MulVec(&xv, d.y)
	pm.MulVec(pi, mu)
	rhs.AddVec(&rhs, &pm)
	_ = d.beta.SolveVec(&d.s, &rhs)
	logS, _ := mat.LogDet(&d.s)
	var res, diff, vr, pd mat.VecDense
	res.MulVec(d.x, &d.beta)
	res.SubVec(d.y, &res)
	vr.MulVec(&d.vinv, &res)
	diff.SubVec(&d.beta, mu)
	pd.MulVec(pi, &diff)
	d.logLik = -(logV + logS + logPrior + mat.Dot(&res, &vr) + mat.Dot(&diff, &pd) + float64(n-flat)*math.Log(2*math.Pi)) / 2
	return d
}

// TestAgreesWithDense holds the recursion against full matrices on random
// histories with gaps, equal instants, steps and priors.
func TestAgreesWithDense(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		f := func(lo, hi float64) float64 { return rapid.Float64Range(lo, hi).Draw(t, "v") }
		n := rapid.IntRange(4, 25).Draw(t, "n")
		s := statespace.Series{Cols: 5}
		at := f(0, 3)
		half := f(2, 6)
		for range n {
			variance := math.Pow(f(0.05, 0.5), 2)
			if rapid.IntRange(0, 9).Draw(t, "gap") == 0 {
				variance = statespace.Missing
			}
			s.T, s.Var = append(s.T, at), append(s.Var, variance)
			step := 0.0
			if at >= half {
				step = 1
			}
			s.Rows = append(s.Rows, 1, at, step, math.Max(at-half, 0), 5-0.7*at+2*step+f(-1, 1))
			if rapid.IntRange(0, 9).Draw(t, "same") > 0 {
				at += f(0.1, 3)
			}
		}
		prior := statespace.Prior{Mean: []float64{0, 0, 0.1, -0.05}, SD: []float64{inf, inf, 2, 0.5}}
		q := statespace.Noise{SigmaW: f(0.05, 1), SigmaR: f(0.005, 0.2)}
		var ws statespace.Workspace
		fit, ok := ws.Filter(s, q, prior)
		readings := 0
		var first, last float64
		for k, v := range s.Var {
			if v >= 0 {
				if readings == 0 {
					first = s.T[k]
				}
				readings, last = readings+1, s.T[k]
			}
		}
		if readings < 3 || last-first < 0.1 {
			return // nothing to rate
		}
		if !ok {
			t.Fatal("no fit")
		}
		d := solveDense(s, q, prior)
		close := func(what string, got, want float64) {
			if !(math.Abs(got-want) <= 1e-7*(1+math.Abs(want))) {
				t.Fatalf("%s: %.12g, dense %.12g", what, got, want)
			}
		}
		close("log-likelihood", fit.LogLik, d.logLik)
		for j := range fit.Beta {
			close("coefficient", fit.Beta[j], d.beta.AtVec(j))
		}
		// The score is the slope of the likelihood.
		dw, dr, df := ws.Score()
		const small = 1e-4
		slope := func(up, down statespace.Noise, scale float64) float64 {
			var value [2]float64
			for i, n := range []statespace.Noise{up, down} {
				scaled := s
				scaled.Var = append([]float64(nil), s.Var...)
				for k := range scaled.Var {
					if scaled.Var[k] >= 0 {
						scaled.Var[k] *= math.Exp(2 * scale * float64(1-2*i))
					}
				}
				var other statespace.Workspace
				fit, ok := other.Filter(scaled, n, prior)
				if !ok {
					t.Fatal("no fit")
				}
				value[i] = fit.LogLik
			}
			return (value[0] - value[1]) / (2 * small)
		}
		louder := func(w, r float64) statespace.Noise {
			return statespace.Noise{SigmaW: q.SigmaW * math.Exp(w), SigmaR: q.SigmaR * math.Exp(r)}
		}
		for _, g := range []struct{ got, want float64 }{
			{dw, slope(louder(small, 0), louder(-small, 0), 0)}, {dr, slope(louder(0, small), louder(0, -small), 0)}, {df, slope(q, q, small)},
		} {
			if math.Abs(g.got-g.want) > 1e-5*(1+math.Abs(g.want)) {
				t.Fatalf("score %.9g, difference %.9g", g.got, g.want)
			}
		}
		if _, ok := ws.Filter(s, q, prior); !ok {
			t.Fatal("no fit")
		}
		// A difference of two instants, as the mean rate of a run is.
		ta, tb := f(0, 20), f(0, 60)
		times, weights := []float64{ta, tb}, []float64{-1, 1}
		row := []float64{0, tb - ta, 0, 0}
		row[2] = unit(tb >= half) - unit(ta >= half)
		row[3] = math.Max(tb-half, 0) - math.Max(ta-half, 0)
		mean, variance := ws.Combination(times, weights, row)
		wantMean, wantVar := d.combination(s, q, times, weights, row)
		close("combination", mean, wantMean)
		close("its variance", variance, wantVar)
		h := f(0, 40)
		end := s.T[len(s.T)-1]
		row = []float64{1, end + h, unit(end+h >= half), math.Max(end+h-half, 0)}
		mean, variance = fit.Ahead(h, q, row)
		wantMean, wantVar = d.combination(s, q, []float64{end + h}, []float64{1}, row)
		close("forecast", mean, wantMean)
		close("its variance", variance, wantVar)
		// Every smoothed row, and one left out.
		rates := make([]float64, 0, 4*len(s.T))
		for _, at := range s.T {
			rates = append(rates, 0, 1, 0, unit(at >= half))
		}
		smoothed := ws.Smooth(rates)
		for k, at := range s.T {
			wantMean, wantVar = d.combination(s, q, []float64{at}, []float64{1}, s.Rows[k*5:k*5+4])
			close("smoothed", smoothed[k].X, wantMean)
			close("its variance", smoothed[k].VarX, wantVar)
		}
		deletions := ws.Deletions(nil)
		k := rapid.IntRange(0, len(s.T)-1).Draw(t, "left out")
		if math.IsInf(deletions[k].Var, 1) || readings < 5 {
			return
		}
		without := s
		without.Var = append([]float64(nil), s.Var...)
		without.Var[k] = statespace.Missing
		var other statespace.Workspace
		if _, ok := other.Filter(without, q, prior); !ok {
			return
		}
		mean, variance = other.Combination([]float64{s.T[k]}, []float64{1}, s.Rows[k*5:k*5+4])
		close("deletion residual", deletions[k].Residual, s.Rows[k*5+4]-mean)
		close("its variance", deletions[k].Var, variance+s.Var[k])
	})
}

func unit(b bool) float64 {
	if b {
		return 1
	}
	return 0
}

func (d dense) combination(s statespace.Series, q statespace.Noise, times, weights, row []float64) (float64, float64) {
	n, p := d.x.Dims()
	c := mat.NewVecDense(n, nil)
	prior := 0.0
	i := 0
	for k, tk := range s.T {
		if s.Var[k] < 0 {
			continue
		}
		v := 0.0
		for a, ta := range times {
			v += weights[a] * q.Covariance(tk, ta)
		}
		c.SetVec(i, v)
		i++
	}
	for a, ta := range times {
		for b, tb := range times {
			prior += weights[a] * weights[b] * q.Covariance(ta, tb)
		}
	}
	var vc, res, xvc, diff, sd mat.VecDense
	vc.MulVec(&d.vinv, c)
	res.MulVec(d.x, &d.beta)
	res.SubVec(d.y, &res)
	x := mat.NewVecDense(p, row)
	xvc.MulVec(d.x.T(), &vc)
	diff.SubVec(x, &xvc)
	_ = sd.SolveVec(&d.s, &diff)
	return mat.Dot(&vc, &res) + mat.Dot(x, &d.beta), prior - mat.Dot(c, &vc) + mat.Dot(&diff, &sd)
}

// TestUndetermined: a flat step with no reading after it is no fit.
func TestUndetermined(t *testing.T) {
	s := statespace.Series{T: []float64{0, 1, 2}, Var: []float64{0.01, 0.01, 0.01}, Cols: 4, Rows: []float64{1, 0, 0, 3, 1, 1, 0, 2, 1, 2, 0, 1}}
	var ws statespace.Workspace
	if _, ok := ws.Filter(s, statespace.Noise{SigmaW: 0.2, SigmaR: 0.02}, statespace.Prior{Mean: make([]float64, 3), SD: []float64{inf, inf, inf}}); ok {
		t.Error("a column of noughts was determined")
	}
}

func BenchmarkFilter400(b *testing.B) {
	s := statespace.Series{Cols: 3}
	for k := range 400 {
		at := float64(k)
		s.T, s.Var, s.Rows = append(s.T, at), append(s.Var, 0.01), append(s.Rows, 1, at, 3-0.7*at+0.1*math.Sin(at))
	}
	prior := statespace.Prior{Mean: []float64{0, 0}, SD: []float64{inf, inf}}
	var ws statespace.Workspace
	for b.Loop() {
		ws.Filter(s, statespace.Noise{SigmaW: 0.2, SigmaR: 0.02}, prior)
	}
}

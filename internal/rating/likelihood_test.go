package rating

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"testing"
	"time"

	"gonum.org/v1/gonum/optimize"

	"timeball/internal/timescale"
)

// fourHundred is a daily record of 400 readings of 0.1 s from σw 0.2, σr 0.02.
func fourHundred() (days, y []float64) {
	rng := rand.New(rand.NewPCG(400, 1))
	x, r := 10.0, -0.7
	for i := range 400 {
		days, y = append(days, float64(i)), append(y, x+0.1*rng.NormFloat64())
		w := 0.02 * rng.NormFloat64()
		x += r + w/2 + 0.02/math.Sqrt(12)*rng.NormFloat64() + 0.2*rng.NormFloat64()
		r += w
	}
	return days, y
}

func fourHundredRecord() *record {
	days, y := fourHundred()
	var h History
	from := time.Date(2027, 1, 4, 8, 0, 0, 0, time.UTC)
	for i := range days {
		h.Readings = append(h.Readings, Reading{At: timescale.AddDays(from, days[i]), ErrorS: y[i], SDS: 0.1})
	}
	rec := prepare(h, nil)
	return &rec
}

// maximum maximises the likelihood alone, without priors and drift, as a
// general library would.
func maximum(p *problem) (point, float64) {
	result, err := optimize.Minimize(optimize.Problem{Func: func(x []float64) float64 {
		fit, ok := p.fit(point(x))
		if !ok {
			return math.Inf(1)
		}
		return -fit.LogLik
	}}, []float64{math.Log(.2), math.Log(.026), 0}, &optimize.Settings{
		FuncEvaluations: 1000, Converger: &optimize.FunctionConverge{Absolute: 1e-8, Iterations: 25},
	}, &optimize.NelderMead{SimplexSize: 0.3})
	if err != nil {
		return point{}, math.Inf(-1)
	}
	return point(result.X), -result.F
}

// plain lays out error and rate only.
func plain(rec *record) *problem {
	_, p := layOut(rec, rec.obs)
	c := p.series.Cols
	rows := make([]float64, 0, 3*len(rec.obs))
	for k := range rec.obs {
		rows = append(rows, p.series.Rows[k*c], p.series.Rows[k*c+1], p.series.Rows[k*c+c-1])
	}
	p.series.Rows, p.series.Cols = rows, 3
	p.prior.Mean, p.prior.SD = p.prior.Mean[:2], p.prior.SD[:2]
	return p
}

// BenchmarkMaximumLikelihood400 fits σw, σr and κ to 400 readings by maximum
// likelihood and forecasts 60 days, what bench/likelihood.py does in
// statsmodels on the same numbers; TIMEBALL_BENCH_DATA names a file to write
// them to.
func BenchmarkMaximumLikelihood400(b *testing.B) {
	if name := os.Getenv("TIMEBALL_BENCH_DATA"); name != "" {
		f, err := os.Create(name)
		if err != nil {
			b.Fatal(err)
		}
		days, y := fourHundred()
		for i := range days {
			fmt.Fprintf(f, "%g,%.17g,0.1\n", days[i], y[i])
		}
		if err := f.Close(); err != nil {
			b.Fatal(err)
		}
	}
	rec := fourHundredRecord()
	var u point
	var logLik float64
	for b.Loop() {
		p := plain(rec)
		u, logLik = maximum(p)
		fit, ok := p.fit(u)
		if !ok {
			b.Fatal("no fit")
		}
		for h := range 60 {
			fit.Ahead(float64(h+1), u.noise(), []float64{1, 400 + float64(h)})
		}
		p.ws.Smooth(make([]float64, 800))
	}
	// Exact diffuse filters count n and not n − 2 times log 2π.
	b.Logf("log-likelihood %.6f, sigma_w %.5f, sigma_r %.5f, kappa %.4f", logLik-math.Log(2*math.Pi), math.Exp(u[0]), math.Exp(u[1]), math.Exp(u[2]))
}

// BenchmarkWholeRating400 is everything a rating takes on the same numbers:
// screening for blunders, the mode, all nodes and the forecast.
func BenchmarkWholeRating400(b *testing.B) {
	h := fourHundredRecord().history
	for b.Loop() {
		if _, err := Rate(h, Options{}); err != nil {
			b.Fatal(err)
		}
	}
}

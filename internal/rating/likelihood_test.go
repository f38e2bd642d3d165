package rating

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"testing"
	"time"

	"timeball/internal/timescale"
)

// fourHundred is a record of 400 readings from σw 0.2, σr 0.02: one a day at
// about the same hour, some days missed, of unequal standard deviations.
func fourHundred() (days, y, sd []float64) {
	rng := rand.New(rand.NewPCG(400, 1))
	x, r, day := 10.0, -0.7, 0.0
	for i := range 400 {
		s := []float64{.02, .1, .3}[rng.IntN(3)]
		days, y, sd = append(days, day), append(y, x+s*rng.NormFloat64()), append(sd, s)
		d := float64(i+1) + float64(rng.IntN(2)*i/4) // a quarter of the days missed
		d = math.Max(day+0.5, d+0.04*rng.NormFloat64()) - day
		w := 0.02 * math.Sqrt(d) * rng.NormFloat64()
		x += r*d + w*d/2 + 0.02*d*math.Sqrt(d/12)*rng.NormFloat64() + 0.2*math.Sqrt(d)*rng.NormFloat64()
		r += w
		day += d
	}
	return days, y, sd
}

func fourHundredRecord() *record {
	days, y, sd := fourHundred()
	var h History
	from := time.Date(2027, 1, 4, 8, 0, 0, 0, time.UTC)
	for i := range days {
		h.Readings = append(h.Readings, Reading{At: timescale.AddDays(from, days[i]), ErrorS: y[i], SDS: sd[i]})
	}
	rec := prepare(h, nil)
	return &rec
}

// maximum maximises the likelihood alone, without priors and drift, as a
// general library would.
func maximum(p *problem) (point, float64) {
	likelihood := func(u point) float64 {
		fit, ok := p.fit(u)
		if !ok {
			return math.Inf(-1)
		}
		return fit.LogLik
	}
	u := climb(at(.2, .026, 1), likelihood, func(point) point { return p.score() })
	return u, likelihood(u)
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
		days, y, sd := fourHundred()
		for i := range days {
			fmt.Fprintf(f, "%.17g,%.17g,%g\n", days[i], y[i], sd[i])
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

package posterior

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"testing"

	"timeball/internal/statespace"
)

// fourHundred is a record of 400 readings from σw 0.2, σr 0.02: one a day at
// about the same hour, some days missed, of unequal standard deviations, with
// the columns error and rate.
func fourHundred() *Problem {
	rng := rand.New(rand.NewPCG(400, 1))
	p := &Problem{Aside: make([]bool, 400), Prior: statespace.Prior{Mean: []float64{0, 0}, SD: []float64{math.Inf(1), math.Inf(1)}}}
	p.Series.Cols, p.Series.Var = 3, make([]float64, 400)
	x, r, day, first := 10.0, -0.7, 0.0, 0.0
	for i := range 400 {
		s := []float64{.02, .1, .3}[rng.IntN(3)]
		y := x + s*rng.NormFloat64()
		if i == 0 {
			first = y // taken from all, so that no digits are lost
		}
		p.Series.T, p.SD = append(p.Series.T, day), append(p.SD, s)
		p.Series.Rows = append(p.Series.Rows, 1, day, y-first)
		d := float64(i+1) + float64(rng.IntN(2)*i/4) // some days missed
		d = math.Max(day+0.5, d+0.04*rng.NormFloat64()) - day
		w := 0.02 * math.Sqrt(d) * rng.NormFloat64()
		x += r*d + w*d/2 + 0.02*d*math.Sqrt(d/12)*rng.NormFloat64() + 0.2*math.Sqrt(d)*rng.NormFloat64()
		r += w
		day += d
	}
	return p
}

// maximum maximises the likelihood alone, without priors, as a general library
// would.
func maximum(p *Problem) (Point, float64) {
	likelihood := func(u Point) float64 {
		fit, ok := p.Fit(u)
		if !ok {
			return math.Inf(-1)
		}
		return fit.LogLik
	}
	u := climb(At(.2, .026, 1), likelihood, func(Point) Point { return p.score() })
	return u, likelihood(u)
}

// TestMaximumLikelihood: the maximum found for these 400 readings is the one
// that statsmodels 0.13.5 finds with its exact diffuse filter
// (bench/likelihood.py): log-likelihood -103.100678 with n·log 2π counted, σw
// 0.21818, σr 0.01984, κ 1.0199.
func TestMaximumLikelihood(t *testing.T) {
	u, logLik := maximum(fourHundred())
	for _, v := range []struct {
		what           string
		got, want, tol float64
	}{
		{"log-likelihood", logLik - math.Log(2*math.Pi), -103.100678, 2e-6},
		{"sigma_w", math.Exp(u[0]), 0.21818, 1e-5}, {"sigma_r", math.Exp(u[1]), 0.01984, 1e-5}, {"kappa", math.Exp(u[2]), 1.0199, 1e-4},
	} {
		if math.Abs(v.got-v.want) > v.tol {
			t.Errorf("%s: %.6f, want %.6f", v.what, v.got, v.want)
		}
	}
}

// BenchmarkMaximumLikelihood400 fits σw, σr and κ to 400 readings by maximum
// likelihood, smooths them and forecasts 60 days: what bench/likelihood.py
// does in statsmodels on the same numbers. TIMEBALL_BENCH_DATA names a file to
// write them to.
func BenchmarkMaximumLikelihood400(b *testing.B) {
	if name := os.Getenv("TIMEBALL_BENCH_DATA"); name != "" {
		f, err := os.Create(name)
		if err != nil {
			b.Fatal(err)
		}
		p := fourHundred()
		for i, t := range p.Series.T {
			fmt.Fprintf(f, "%.17g,%.17g,%g\n", t, p.Series.Rows[3*i+2], p.SD[i])
		}
		if err := f.Close(); err != nil {
			b.Fatal(err)
		}
	}
	for b.Loop() {
		p := fourHundred()
		u, _ := maximum(p)
		fit, ok := p.Fit(u)
		if !ok {
			b.Fatal("no fit")
		}
		for h := range 60 {
			fit.Ahead(float64(h+1), u.Noise(), []float64{1, 400 + float64(h)})
		}
		p.Workspace.Smooth(make([]float64, 800))
	}
}

// TestMixtureQuantiles holds the quantiles of a mixture against its
// distribution function, and one Gaussian against the table value 1.959964.
func TestMixtureQuantiles(t *testing.T) {
	one := Mixture{{1, 3, 2}}.Interval()
	if math.Abs(one.Hi95-(3+2*1.959964)) > 1e-5 || math.Abs(one.Lo95-(3-2*1.959964)) > 1e-5 || one.Mean != 3 || one.SD != 2 {
		t.Errorf("one Gaussian: %+v", one)
	}
	m := Mixture{{0.6, 0, 1}, {0.3, 2, 5}, {0.1, -40, 0.1}}
	i := m.Interval()
	for p, x := range map[float64]float64{0.025: i.Lo95, 0.975: i.Hi95} {
		if got, _ := m.below(x); math.Abs(got-p) > 1e-8 {
			t.Errorf("below %v: %.9f, want %v", x, got, p)
		}
	}
	if p := (Mixture{{1, 1.959964, 1}}).TwoSided(); math.Abs(p-0.05) > 1e-7 {
		t.Errorf("two-sided %v, want 0.05", p)
	}
}

func TestSpread(t *testing.T) {
	var values []Weighed
	for i := range 1001 {
		values = append(values, Weighed{float64(i), 1})
	}
	if s := Spread(values); math.Abs(s.Mean-500) > 1e-9 || math.Abs(s.Lo95-24.5) > 0.6 || math.Abs(s.Hi95-975.5) > 0.6 {
		t.Errorf("%+v", s)
	}
}

package regulating_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"pgregory.net/rapid"

	"timeball/internal/regulating"
	"timeball/internal/statespace"
)

// record is a chain of turnings of an instrument of the given effect whose rates
// hold no error, with stated doubts all the same.
func record(t *rapid.T, effect float64) (rates, sds, turns []float64) {
	rate := rapid.Float64Range(-10, 10).Draw(t, "rate")
	sd := rapid.Float64Range(.01, .2)
	rates, sds = append(rates, rate), append(sds, sd.Draw(t, "sd"))
	for range rapid.IntRange(1, 6).Draw(t, "turnings") {
		u := rapid.Float64Range(0.03, 0.6).Draw(t, "turns")
		if rapid.Bool().Draw(t, "in") {
			u = -u
		}
		rate += effect * u
		rates, sds, turns = append(rates, rate), append(sds, sd.Draw(t, "sd")), append(turns, u)
	}
	return rates, sds, turns
}

func model() regulating.Model {
	m := regulating.Usual(screws)
	m.Noise = statespace.Noise{SigmaW: 0.15, SigmaR: 0.015}
	return m
}

func scaled(x []float64, by float64) []float64 {
	out := make([]float64, len(x))
	for i, v := range x {
		out[i] = by * v
	}
	return out
}

func near(a, b, tol float64) bool {
	return math.Abs(a-b) <= tol*math.Max(1e-9, math.Max(math.Abs(a), math.Abs(b)))
}

// TestSign: a mirrored record (losing for gaining, in for out) has the same
// effect and the mirrored advice.
func TestSign(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		rates, sds, turns := record(t, rapid.Float64Range(-50, -5).Draw(t, "effect"))
		e := regulating.Learn(screws, chain(6, rates, sds, turns), model())
		m := regulating.Learn(screws, chain(6, scaled(rates, -1), sds, scaled(turns, -1)), model())
		if !near(e.PerTurn.Mean, m.PerTurn.Mean, 1e-9) || !near(e.PerTurn.SD, m.PerTurn.SD, 1e-9) {
			t.Fatalf("%+v, mirrored %+v", e.PerTurn, m.PerTurn)
		}
		now := regulating.Estimate{Mean: rapid.Float64Range(-9, 9).Draw(t, "now"), SD: 0.07}
		wish := regulating.Wish{Aim: 0, From: -0.25, To: 0.25}
		a := regulating.Advise(now, e, wish, regulating.Measuring{})
		now.Mean = -now.Mean
		b := regulating.Advise(now, m, wish, regulating.Measuring{})
		if !near(a.TurnsOut, -b.TurnsOut, 1e-9) || !near(a.Best, -b.Best, 1e-9) || a.Turn != b.Turn || !near(a.Within, b.Within, 1e-6) || a.CompareDays != b.CompareDays {
			t.Fatalf("%+v\nmirrored %+v", a, b)
		}
		if a.Turn && a.TurnsOut*now.Mean >= 0 { // now is mirrored: gaining is cured by turning out
			t.Fatalf("at %+.2f s/d the advice is %q", -now.Mean, a.Words)
		}
	})
}

// TestScale: in a unit half as large every figure doubles, and the turns are the
// same.
func TestScale(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		rates, sds, turns := record(t, rapid.Float64Range(-50, -5).Draw(t, "effect"))
		k := rapid.Float64Range(0.1, 10).Draw(t, "scale")
		small, large := model(), model()
		large.Prior.Median *= k
		large.Noise = statespace.Noise{SigmaW: small.Noise.SigmaW * k, SigmaR: small.Noise.SigmaR * k}
		e := regulating.Learn(screws, chain(6, rates, sds, turns), small)
		f := regulating.Learn(screws, chain(6, scaled(rates, k), scaled(sds, k), turns), large)
		if !near(e.PerTurn.Mean*k, f.PerTurn.Mean, 1e-7) || !near(e.PerTurn.SD*k, f.PerTurn.SD, 1e-5) || !near(e.PlaySDS*k, f.PlaySDS, 1e-7) {
			t.Fatalf("%+v times %.3f is not %+v", e.PerTurn, k, f.PerTurn)
		}
		measuring := func(k float64) regulating.Measuring {
			return regulating.Measuring{Noise: statespace.Noise{SigmaW: 0.15 * k, SigmaR: 0.015 * k}, ReadingSDS: 0.1 * k, HeardSDS: 0.3 * k}
		}
		now := regulating.Estimate{Mean: rapid.Float64Range(-9, 9).Draw(t, "now"), SD: 0.07}
		a := regulating.Advise(now, e, regulating.Wish{Aim: -.75, From: -1, To: -.5}, measuring(1))
		b := regulating.Advise(regulating.Estimate{Mean: now.Mean * k, SD: now.SD * k}, f, regulating.Wish{Aim: -.75 * k, From: -k, To: -.5 * k}, measuring(k))
		if !near(a.Best, b.Best, 1e-6) || a.Turn != b.Turn || !near(a.Within, b.Within, 1e-5) || !near(a.Expect.SD*k, b.Expect.SD, 1e-5) || a.CompareDays != b.CompareDays {
			t.Fatalf("%+v\nscaled %+v", a, b)
		}
	})
}

// TestMoreIsNotLess: with a perfect hand and no prior the doubt of the effect
// never grows with a turning more, whatever its rates.
func TestMoreIsNotLess(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		rates, sds, turns := record(t, rapid.Float64Range(-45, -8).Draw(t, "effect"))
		n := len(turns)
		rates[n] += rapid.Float64Range(-3, 3).Draw(t, "surprise")
		few := math.Inf(1)
		if n > 1 {
			few = regulating.Learn(screws, chain(6, rates[:n], sds[:n], turns[:n-1]), sure(model().Noise)).PerTurn.SD
		}
		e := regulating.Learn(screws, chain(6, rates, sds, turns), sure(model().Noise))
		if len(e.LeftOut) == 0 && e.PerTurn.SD > few*1.0005 { // the grid's own error
			t.Fatalf("%.5f, with one more %.5f", few, e.PerTurn.SD)
		}
	})
}

// TestMoreTeaches: where kind and hand are learnt too a surprise may widen the
// doubt, as it should; over 200 instruments every turning more narrows it.
func TestMoreTeaches(t *testing.T) {
	rng := rand.New(rand.NewPCG(200, 3))
	const n, most = 200, 5
	var width [most + 1]float64
	for range n {
		effect := -20 * math.Exp(0.5*rng.NormFloat64())
		rate := 8 * rng.NormFloat64()
		rates, sds, turns := []float64{rate}, []float64{0.05}, []float64{}
		for range most {
			u := 0.3 * rng.NormFloat64()
			rate += effect * (u + rng.NormFloat64()/60)
			rates, sds, turns = append(rates, rate+0.05*rng.NormFloat64()), append(sds, 0.05), append(turns, u)
		}
		for k := range width {
			e := regulating.Learn(screws, chain(6, rates[:k+1], sds[:k+1], turns[:k]), model())
			width[k] += math.Log(e.PerTurn.Lo95/e.PerTurn.Hi95) / n
		}
	}
	t.Logf("mean logarithm of the ratio of the ends of the 95%% interval after 0 to %d turnings: %.3f", most, width)
	for k := 1; k <= most; k++ {
		if width[k] >= width[k-1] {
			t.Errorf("after %d turnings %.4f, after %d %.4f", k-1, width[k-1], k, width[k])
		}
	}
}

// TestLeaveIt: a rate inside the wish and well known is left alone; so is one
// nearer than the hand can set.
func TestLeaveIt(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		rates, sds, turns := record(t, rapid.Float64Range(-50, -5).Draw(t, "effect"))
		e := regulating.Learn(screws, chain(6, rates, sds, turns), model())
		now := regulating.Estimate{Mean: rapid.Float64Range(-0.9, -0.6).Draw(t, "now"), SD: rapid.Float64Range(0.005, 0.07).Draw(t, "sd")}
		a := regulating.Advise(now, e, regulating.UsualWish(), regulating.Measuring{})
		if a.Turn || a.TurnsOut != 0 || a.CompareDays != 0 || a.Words != "leave the screws alone" || a.Expect != now {
			t.Fatalf("%+v", a)
		}
	})
}

// TestLeastMiss: no other turn has a smaller expected squared miss, found by
// trying them over draws from the effect.
func TestLeastMiss(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		rates, sds, turns := record(t, rapid.Float64Range(-40, -8).Draw(t, "effect"))
		e := regulating.Learn(screws, chain(6, rates, sds, turns[:1]), model())
		now := regulating.Estimate{Mean: rapid.Float64Range(2, 9).Draw(t, "now"), SD: 0.1}
		a := regulating.Advise(now, e, regulating.UsualWish(), regulating.Measuring{})
		// E (m + b u)² with the first two moments of the effect.
		miss := func(u float64) float64 {
			m, b := now.Mean+0.75, e.PerTurn
			return (m+b.Mean*u)*(m+b.Mean*u) + u*u*b.SD*b.SD
		}
		for _, other := range []float64{0, a.Best * 0.97, a.Best * 1.03, -(now.Mean + 0.75) / e.PerTurn.Mean * 1.02} {
			if miss(other) < miss(a.Best)*(1-1e-9) {
				t.Fatalf("%.4f turns miss by %.4f, the advice %.4f by %.4f", other, miss(other), a.Best, miss(a.Best))
			}
		}
		if plain := (now.Mean + 0.75) / -e.PerTurn.Mean; a.Best > plain*(1+1e-9) {
			t.Fatalf("%.4f is more than the plain quotient %.4f", a.Best, plain)
		}
	})
}

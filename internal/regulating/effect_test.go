package regulating_test

import (
	"math"
	"strings"
	"testing"
	"time"

	"gonum.org/v1/gonum/mat"
	"pgregory.net/rapid"

	"timeball/internal/regulating"
	"timeball/internal/statespace"
	"timeball/internal/timescale"
)

const screws = regulating.TimingScrews

// at returns the instant d days after the origin.
func at(d float64) time.Time { return timescale.AddDays(origin, d) }

// sure is a model in which nothing is taken from the kind and the hand is
// perfect, so that the effect is that of generalised least squares.
func sure(q statespace.Noise) regulating.Model {
	return regulating.Model{Prior: regulating.Prior{SD: 1e5}, Hand: regulating.Hand{Step: 0.025, SDS: 1e-9}, Noise: q, HeardSDS: 0.3}
}

// chain is stretches of the given length, in days, with a turning between each
// two; they share the stretch between them.
func chain(length float64, rates, sds, turns []float64) []regulating.Turning {
	var all []regulating.Turning
	stretch := func(i int) *regulating.Stretch {
		from := float64(i) * (length + 0.1)
		return &regulating.Stretch{From: at(from), To: at(from + length), RateSPerDay: rates[i], SDS: sds[i]}
	}
	before := stretch(0)
	for i, t := range turns {
		after := stretch(i + 1)
		all = append(all, regulating.Turning{At: at(float64(i+1)*(length+0.1) - 0.05), Part: screws, TurnsOut: t, TurnsKnown: true, Before: before, After: after})
		before = after
	}
	return all
}

// TestLevels holds the effect, learnt from changes whose errors are shared by
// neighbours, against generalised least squares (Aitken) on the rates
// themselves with an unknown first rate: two ways to the same number.
func TestLevels(t *testing.T) {
	const length = 6.0
	q := statespace.Noise{SigmaW: 0.2, SigmaR: 0.03}
	rates := []float64{4.2, -0.9, 0.6, -1.3, -0.7}
	sds := []float64{.03, .05, .02, .04, .03}
	turns := []float64{0.25, -0.075, 0.1, -0.025}
	n := len(rates)
	v, x := mat.NewSymDense(n, nil), mat.NewDense(n, 2, nil)
	for i := range n {
		x.Set(i, 0, 1)
		if i > 0 {
			x.Set(i, 1, x.At(i-1, 1)+turns[i-1])
		}
		for j := i; j < n; j++ {
			// Means over two stretches that do not overlap share the walk of the
			// rate up to the middle of the earlier one; over the same stretch, up
			// to a third of it.
			a := float64(i) * (length + 0.1)
			shared := q.SigmaR * q.SigmaR * (a + length/2)
			if i == j {
				shared = q.SigmaR*q.SigmaR*(a+length/3) + q.SigmaW*q.SigmaW/length + sds[i]*sds[i]
			}
			v.SetSym(i, j, shared)
		}
	}
	var chol mat.Cholesky
	chol.Factorize(v)
	var vx, xvx, cov mat.Dense
	var vy, xvy, beta mat.VecDense
	y := mat.NewVecDense(n, rates)
	if chol.SolveTo(&vx, x) != nil || chol.SolveVecTo(&vy, y) != nil {
		t.Fatal("singular")
	}
	xvx.Mul(x.T(), &vx)
	xvy.MulVec(x.T(), &vy)
	if cov.Inverse(&xvx) != nil {
		t.Fatal("singular")
	}
	beta.MulVec(&cov, &xvy)
	e := regulating.Learn(screws, chain(length, rates, sds, turns), sure(q))
	if want, sd := beta.AtVec(1), math.Sqrt(cov.At(1, 1)); math.Abs(e.PerTurn.Mean-want) > 1e-3*sd || math.Abs(e.PerTurn.SD-sd) > 2e-3*sd {
		t.Errorf("effect %.5f ± %.5f, want %.5f ± %.5f", e.PerTurn.Mean, e.PerTurn.SD, want, sd)
	}
	if !e.Own || len(e.Used) != 4 || len(e.LeftOut) != 0 {
		t.Errorf("own %v, used %d, left out %v", e.Own, len(e.Used), e.LeftOut)
	}
}

// TestPrior: without a turning the effect is the prior's own: the quantiles of a
// lognormal are the median over and times the factor, its mean median·e^{s²/2}.
func TestPrior(t *testing.T) {
	e := regulating.Learn(screws, nil, regulating.Usual(screws))
	s := math.Log(2.7) / 1.959964
	for _, v := range []struct {
		what      string
		got, want float64
	}{
		{"mean", e.PerTurn.Mean, -20 * math.Exp(s*s/2)},
		{"sd", e.PerTurn.SD, 20 * math.Exp(s*s/2) * math.Sqrt(math.Exp(s*s)-1)},
		{"least", e.PerTurn.Hi95, -20 / 2.7}, {"most", e.PerTurn.Lo95, -20 * 2.7},
	} {
		if math.Abs(v.got/v.want-1) > 0.01 {
			t.Errorf("%s %.3f, want %.3f", v.what, v.got, v.want)
		}
	}
	if e.Own || len(e.Warnings) == 0 || e.PlaySDS <= 0 {
		t.Errorf("%+v", e)
	}
}

// TestOneTurning: with one turning the effect is change over turns, and its
// doubt holds the hand: 1/60 of a turn in a quarter is 6.7%.
func TestOneTurning(t *testing.T) {
	m := regulating.Usual(screws)
	m.Prior = regulating.Prior{SD: 1e4}
	e := regulating.Learn(screws, chain(7, []float64{4, -1}, []float64{1e-3, 1e-3}, []float64{0.25}), m)
	if math.Abs(e.PerTurn.Mean+20) > 0.2 {
		t.Errorf("effect %.3f, want -20", e.PerTurn.Mean)
	}
	if want := 20.0 / 60 / 0.25; math.Abs(e.PerTurn.SD/want-1) > 0.12 {
		t.Errorf("sd %.3f, want about %.3f", e.PerTurn.SD, want)
	}
}

// TestHeard: two listenings by one device give the change without its clock, and
// both ways together are better than either.
func TestHeard(t *testing.T) {
	heard := func(day, rate float64, device string) *regulating.Heard {
		return &regulating.Heard{At: at(day), RateSPerDay: rate, RecordingSDS: 0.4, DurationS: 120, Device: device}
	}
	turning := regulating.Turning{At: at(7), Part: screws, TurnsOut: 0.25, TurnsKnown: true, HeardBefore: heard(6.99, 9, "bench microphone"), HeardAfter: heard(7.01, 4, "bench microphone")}
	m := sure(statespace.Noise{})
	e := regulating.Learn(screws, []regulating.Turning{turning}, m)
	if want := math.Sqrt2 * math.Hypot(0.4, 0.3) / 0.25; math.Abs(e.PerTurn.Mean+20) > 0.01 || math.Abs(e.PerTurn.SD/want-1) > 0.01 {
		t.Errorf("heard: %.3f ± %.3f, want -20 ± %.3f", e.PerTurn.Mean, e.PerTurn.SD, want)
	}
	both := turning
	both.Before = &regulating.Stretch{From: at(0), To: at(6.9), RateSPerDay: 4.3, SDS: 0.1}
	both.After = &regulating.Stretch{From: at(7.1), To: at(14), RateSPerDay: -0.7, SDS: 0.1}
	if b := regulating.Learn(screws, []regulating.Turning{both}, m); b.PerTurn.SD >= e.PerTurn.SD || len(b.Used) != 2 {
		t.Errorf("both ways %.3f, heard alone %.3f, used %d", b.PerTurn.SD, e.PerTurn.SD, len(b.Used))
	}
	for _, device := range []string{"telephone", ""} {
		turning.HeardAfter = heard(7.01, 4, device)
		if e := regulating.Learn(screws, []regulating.Turning{turning}, m); len(e.Used) != 0 || len(e.LeftOut) != 1 || !strings.Contains(e.LeftOut[0].Reason, "same device") {
			t.Errorf("device %q: used %v, left out %v", device, e.Used, e.LeftOut)
		}
	}
}

// TestTogether: turnings with no rate between them count as one; of different
// parts they tell nothing of either.
func TestTogether(t *testing.T) {
	all := chain(7, []float64{5, 1, -1}, []float64{.05, .05, .05}, []float64{0.3, -0.05})
	all[0].After, all[1].Before = nil, nil
	m := sure(statespace.Noise{})
	e := regulating.Learn(screws, all, m)
	if math.Abs(e.PerTurn.Mean+6/0.25) > 0.01 || len(e.Used) != 1 || e.Used[0].Index != 1 || math.Abs(e.Used[0].TurnsOut-0.25) > 1e-12 {
		t.Errorf("%.3f from %+v", e.PerTurn.Mean, e.Used)
	}
	all[1].Part = regulating.RimWeights
	for _, p := range []regulating.Part{screws, regulating.RimWeights} {
		if e := regulating.Learn(p, all, m); len(e.Used) != 0 || len(e.LeftOut) != 1 || !strings.Contains(e.LeftOut[0].Reason, "something else") {
			t.Errorf("%s: used %+v, left out %+v", p, e.Used, e.LeftOut)
		}
	}
	// One of the pair alone counts half, and is told.
	one := chain(7, []float64{5, 0}, []float64{.05, .05}, []float64{0.5})
	one[0].Alone = true
	if e := regulating.Learn(screws, one, m); math.Abs(e.PerTurn.Mean+20) > 0.01 || !strings.Contains(strings.Join(e.Warnings, " "), "poise") {
		t.Errorf("alone: %.3f, %v", e.PerTurn.Mean, e.Warnings)
	}
}

// TestGuard: out written for in, and a tenth written for a hundredth, are told
// and not used; what is left gives the effect.
func TestGuard(t *testing.T) {
	rates, turns := []float64{6, 1, 3, 2, -1, 0}, []float64{.25, -.1, .05, .15, -.05}
	sds := []float64{.05, .05, .05, .05, .05, .05}
	m := regulating.Usual(screws)
	m.Noise = statespace.Noise{SigmaW: 0.15, SigmaR: 0.01}
	clean := regulating.Learn(screws, chain(7, rates, sds, turns), m)
	if len(clean.LeftOut) != 0 || math.Abs(clean.PerTurn.Mean+20) > 1 {
		t.Fatalf("%+v, left out %v", clean.PerTurn, clean.LeftOut)
	}
	wrong := append([]float64(nil), turns...)
	wrong[3] = -wrong[3]
	e := regulating.Learn(screws, chain(7, rates, sds, wrong), m)
	if len(e.LeftOut) != 1 || e.LeftOut[0].Index != 3 || !strings.Contains(e.LeftOut[0].Reason, "out and in") || math.Abs(e.PerTurn.Mean+20) > 1.5 {
		t.Errorf("out for in: %+v, left out %v", e.PerTurn, e.LeftOut)
	}
	wrong[3] = 1.5
	e = regulating.Learn(screws, chain(7, rates, sds, wrong), m)
	if len(e.LeftOut) != 1 || e.LeftOut[0].Index != 3 || !strings.Contains(e.LeftOut[0].Reason, "number of turns") || math.Abs(e.PerTurn.Mean+20) > 1.5 {
		t.Errorf("ten times: %+v, left out %v", e.PerTurn, e.LeftOut)
	}
	// A wrong sign within its doubt is used: leaving it out would flatter.
	little := chain(7, []float64{0, 0.05}, []float64{.2, .2}, []float64{0.025})
	if e := regulating.Learn(screws, little, m); len(e.Used) != 1 {
		t.Errorf("within its doubt, left out: %v", e.LeftOut)
	}
}

// TestLeftOut: what cannot be used is told with its reason, and nothing panics.
func TestLeftOut(t *testing.T) {
	good := chain(7, []float64{5, 0}, []float64{.05, .05}, []float64{0.25})[0]
	change := func(f func(*regulating.Turning)) regulating.Turning {
		x := good
		b, a := *good.Before, *good.After
		x.Before, x.After = &b, &a
		f(&x)
		return x
	}
	for want, x := range map[string]regulating.Turning{
		"not written as a number":              change(func(x *regulating.Turning) { x.TurnsKnown = false }),
		"turned is no number":                  change(func(x *regulating.Turning) { x.TurnsOut = math.NaN() }),
		"nothing was turned":                   change(func(x *regulating.Turning) { x.TurnsOut = 0 }),
		"rate before is no number":             change(func(x *regulating.Turning) { x.Before.RateSPerDay = math.NaN() }),
		"rate after has no doubt":              change(func(x *regulating.Turning) { x.After.SDS = 0 }),
		"no doubt":                             change(func(x *regulating.Turning) { x.After.SDS = math.Inf(1) }),
		"rate after is no number":              change(func(x *regulating.Turning) { x.After.RateSPerDay = math.Inf(-1) }),
		"ends before it begins":                change(func(x *regulating.Turning) { x.After.To = x.After.From }),
		"reaches past":                         change(func(x *regulating.Turning) { x.Before.To = x.At.Add(time.Hour) }),
		"begins before the turning":            change(func(x *regulating.Turning) { x.After.From = x.At.Add(-time.Hour) }),
		"no rate is measured after it yet":     change(func(x *regulating.Turning) { x.After = nil }),
		"no rate was measured before it":       change(func(x *regulating.Turning) { x.Before = nil }),
		"no rate was measured before or after": {At: at(3), Part: screws, TurnsOut: 0.1, TurnsKnown: true},
		"no date":                              change(func(x *regulating.Turning) { x.At = time.Time{} }),
	} {
		e := regulating.Learn(screws, []regulating.Turning{x}, regulating.Usual(screws))
		if len(e.Used) != 0 || len(e.LeftOut) != 1 || !strings.Contains(e.LeftOut[0].Reason, want) {
			t.Errorf("want %q: used %+v, left out %+v", want, e.Used, e.LeftOut)
		}
		if math.Abs(e.PerTurn.Mean+22.7) > 0.5 {
			t.Errorf("%s: the effect is %.2f and not its kind's", want, e.PerTurn.Mean)
		}
	}
	huge := change(func(x *regulating.Turning) { x.Before.SDS, x.After.SDS = 1e6, 1e6 })
	if e := regulating.Learn(screws, []regulating.Turning{huge}, regulating.Usual(screws)); e.Own || math.Abs(e.PerTurn.Mean+22.7) > 0.5 {
		t.Errorf("huge doubts: %+v", e.PerTurn)
	}
	for _, m := range []regulating.Model{{}, {Prior: regulating.Prior{Median: math.NaN(), Factor: 2}, Hand: regulating.Hand{SDS: -1}}, {Noise: statespace.Noise{SigmaW: math.NaN()}}} {
		if e := regulating.Learn(screws, []regulating.Turning{good}, m); math.Abs(e.PerTurn.Mean+20) > 1.5 || !(e.PerTurn.SD > 0) {
			t.Errorf("%+v: %+v", m, e.PerTurn)
		}
	}
}

// TestAnything: whatever is given, the effect is a number with a doubt and every
// turning of the part is either used or left out with a reason.
func TestAnything(t *testing.T) {
	odd := rapid.OneOf(rapid.Float64Range(-30, 30), rapid.SampledFrom([]float64{0, math.NaN(), math.Inf(1), 1e300, -1e300, 1e-300}))
	day := rapid.Float64Range(0, 50)
	rapid.Check(t, func(t *rapid.T) {
		stretch := func(label string) *regulating.Stretch {
			if rapid.IntRange(0, 3).Draw(t, label+" none") == 0 {
				return nil
			}
			return &regulating.Stretch{From: at(day.Draw(t, label+" from")), To: at(day.Draw(t, label+" to")), RateSPerDay: odd.Draw(t, label), SDS: odd.Draw(t, label+" sd")}
		}
		heard := func(label string) *regulating.Heard {
			if rapid.Bool().Draw(t, label+" none") {
				return nil
			}
			return &regulating.Heard{At: at(day.Draw(t, label+" at")), RateSPerDay: odd.Draw(t, label), RecordingSDS: odd.Draw(t, label+" sd"), Device: rapid.SampledFrom([]string{"", "one"}).Draw(t, label+" device")}
		}
		var all []regulating.Turning
		for range rapid.IntRange(0, 5).Draw(t, "turnings") {
			all = append(all, regulating.Turning{
				At: at(day.Draw(t, "at")), Part: rapid.SampledFrom([]regulating.Part{screws, screws, regulating.RimWeights, ""}).Draw(t, "part"),
				TurnsOut: odd.Draw(t, "turns"), TurnsKnown: rapid.IntRange(0, 4).Draw(t, "known") > 0, Alone: rapid.Bool().Draw(t, "alone"),
				Before: stretch("before"), After: stretch("after"), HeardBefore: heard("heard before"), HeardAfter: heard("heard after"),
			})
		}
		for _, part := range []regulating.Part{screws, regulating.RimWeights} {
			e := regulating.Learn(part, all, regulating.Usual(part))
			if !(e.PerTurn.SD >= 0) || math.IsInf(e.PerTurn.SD, 0) || math.IsNaN(e.PerTurn.Mean) || !(e.PerTurn.Lo95 <= e.PerTurn.Hi95) {
				t.Fatalf("%s: %+v", part, e.PerTurn)
			}
			told := map[int]bool{}
			for _, l := range e.LeftOut {
				if l.Reason == "" {
					t.Fatalf("left out without a reason: %+v", l)
				}
				told[l.Index] = true
			}
			for _, u := range e.Used {
				told[u.Index] = true
				for _, i := range u.Also {
					told[i] = true
				}
			}
			for i, x := range all {
				if x.Part == part && !told[i] {
					t.Fatalf("%s: turning %d of %d is neither used nor left out", part, i, len(all))
				}
			}
			a := regulating.Advise(regulating.Estimate{Mean: odd.Draw(t, "now"), SD: odd.Draw(t, "now sd")}, e, regulating.UsualWish(), regulating.Measuring{})
			if a.Words == "" || a.Worth == "" || math.IsNaN(a.TurnsOut) || a.Turn && !(a.Expect.SD > 0) {
				t.Fatalf("%+v", a)
			}
		}
	})
}

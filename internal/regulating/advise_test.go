package regulating_test

import (
	"math"
	"strings"
	"testing"

	"timeball/internal/regulating"
	"timeball/internal/statespace"
)

// known is an effect of −20 s/d per turn by five turnings.
func known() regulating.Effect {
	return regulating.Learn(screws, chain(7, []float64{6, 1, 3, 2, -1, 0}, []float64{.05, .05, .05, .05, .05, .05}, []float64{.25, -.1, .05, .15, -.05}), model())
}

func TestAdvise(t *testing.T) {
	usual := regulating.Learn(screws, nil, model())
	nuts := known()
	nuts.Part = regulating.TimingNuts
	for _, v := range []struct {
		what   string
		now    regulating.Estimate
		effect regulating.Effect
		turn   bool
		words  string
		worth  string
	}{
		{"gaining, effect known", regulating.Estimate{Mean: 1.75, SD: 0.07}, known(), true, "both screws out by 1/8 of a turn, the same on each", "Worth turning"},
		{"losing too much", regulating.Estimate{Mean: -2.25, SD: 0.07}, known(), true, "both screws in by 3/40 of a turn, the same on each", "Worth turning"},
		{"the same with nuts", regulating.Estimate{Mean: -2.25, SD: 0.07}, nuts, true, "both nuts in by 3/40 of a turn, the same on each", "Worth turning"},
		{"far off, effect unknown", regulating.Estimate{Mean: 9, SD: 0.1}, usual, true, "both screws out by", "the next turning, with what this one teaches"},
		{"inside", regulating.Estimate{Mean: -0.75, SD: 0.07}, known(), false, "leave the screws alone", "lies within the wish"},
		{"inside, as far as is known", regulating.Estimate{Mean: -0.75, SD: 0.5}, known(), false, "leave the screws alone", "Wait: "},
		{"hardly known", regulating.Estimate{Mean: 0.6, SD: 1.5}, known(), false, "leave the screws alone", "Wait: "},
		{"just outside, one count", regulating.Estimate{Mean: -0.45, SD: 0.06}, known(), true, "both screws out by 1/40 of a turn", "Worth turning"},
		{"less than half a count", regulating.Estimate{Mean: -0.54, SD: 0.06}, known(), false, "leave the screws alone", "less than half the least turn"},
		{"not a number", regulating.Estimate{Mean: math.NaN(), SD: 0.1}, known(), false, "leave the screws alone", "compare it daily for a week"},
		{"no doubt", regulating.Estimate{Mean: 3}, known(), false, "leave the screws alone", "compare it daily for a week"},
		{"endless doubt", regulating.Estimate{Mean: 3, SD: math.Inf(1)}, known(), false, "leave the screws alone", "compare it daily for a week"},
		{"no effect", regulating.Estimate{Mean: 3, SD: 0.1}, regulating.Effect{Part: screws}, false, "leave the screws alone", "learn it"},
		{"weights", regulating.Estimate{Mean: 3, SD: 0.1}, regulating.Learn(regulating.RimWeights, nil, model()), false, "leave the balance as it is", "compensation"},
		{"balance spring", regulating.Estimate{Mean: 3, SD: 0.1}, regulating.Learn(regulating.BalanceSpring, nil, model()), false, "leave the balance as it is", "timing screws or nuts"},
		{"nothing", regulating.Estimate{}, regulating.Effect{}, false, "leave the balance as it is", "timing screws or nuts"},
	} {
		a := regulating.Advise(v.now, v.effect, regulating.Wish{}, regulating.Measuring{})
		if a.Turn != v.turn || !strings.HasPrefix(a.Words, v.words) || !strings.Contains(a.Worth, v.worth) {
			t.Errorf("%s: %+v", v.what, a)
		}
		if a.Turn != (a.TurnsOut != 0) || !a.Turn && a.Expect != v.now && v.now.Mean == v.now.Mean {
			t.Errorf("%s: turns %v, expect %+v", v.what, a.TurnsOut, a.Expect)
		}
		if a.Turn && (a.Expect.SD <= v.now.SD || !(a.Expect.Lo95 < a.Expect.Mean && a.Expect.Mean < a.Expect.Hi95) || a.CompareDays < 4 || a.CompareDays > 15 || a.ListenS < 60) {
			t.Errorf("%s: %+v", v.what, a)
		}
		if strings.HasPrefix(a.Worth, "Wait") && (a.CompareDays < 1 || a.CompareDays > 14) {
			t.Errorf("%s: wait %d days", v.what, a.CompareDays)
		}
	}
}

// TestExpect: where effect and hand are well known the new rate is that of a
// normal variable, with the variance of the sum: 0.07 of the rate, and the
// scatter of the hand times the effect.
func TestExpect(t *testing.T) {
	e := regulating.Learn(screws, chain(20, []float64{10, -10, 10}, []float64{1e-3, 1e-3, 1e-3}, []float64{1, -1}), sure(statespace.Noise{}))
	now := regulating.Estimate{Mean: 4.25, SD: 0.07}
	a := regulating.Advise(now, e, regulating.UsualWish(), regulating.Measuring{})
	if math.Abs(a.TurnsOut-0.25) > 1e-9 || math.Abs(a.Expect.Mean+0.75) > 1e-3 || math.Abs(a.Expect.SD-0.07) > 1e-4 ||
		math.Abs(a.Expect.Hi95-a.Expect.Mean-1.959964*0.07) > 1e-4 {
		t.Errorf("%+v", a)
	}
	// Table of the normal distribution: within 0.25/0.07 = 3.571 sd, 0.99964.
	if math.Abs(a.Within-0.99964) > 2e-5 {
		t.Errorf("within %.6f", a.Within)
	}
}

// TestWait: the days to wait are those after which the best possible estimate is
// as good as it must be: of .2/.02 and 0.1 s a rate known to .1081 s/d is one of
// five comparisons, and it takes no waiting; one of two needs some.
func TestWait(t *testing.T) {
	m := regulating.Measuring{Noise: statespace.Noise{SigmaW: 0.2, SigmaR: 0.02}, ReadingSDS: 0.1}
	two := regulating.RateDoubt(2, 1, m.Noise, 0.1)
	a := regulating.Advise(regulating.Estimate{Mean: -0.4, SD: two}, known(), regulating.UsualWish(), m)
	if a.Turn || a.CompareDays < 1 {
		t.Errorf("two comparisons: %+v", a)
	}
	if d := regulating.RateDoubt(2+a.CompareDays, 1, m.Noise, 0.1); d > two*0.9 {
		t.Errorf("after %d days more still %.3f", a.CompareDays, d)
	}
	if a := regulating.Advise(regulating.Estimate{Mean: 2, SD: 0.1081}, known(), regulating.UsualWish(), m); !a.Turn {
		t.Errorf("five comparisons, far off: %+v", a)
	}
	// Far off, a poor rate is good enough for a first turning.
	if a := regulating.Advise(regulating.Estimate{Mean: 30, SD: 1}, regulating.Learn(screws, nil, model()), regulating.UsualWish(), m); !a.Turn || !a.HeardWillDo || len(a.Warnings) == 0 {
		t.Errorf("far off: %+v", a)
	}
	// Near the end listening is not enough.
	if a := regulating.Advise(regulating.Estimate{Mean: 0.5, SD: 0.07}, known(), regulating.UsualWish(), m); !a.Turn || a.HeardWillDo {
		t.Errorf("near: %+v", a)
	}
}

// TestFinerHandNeedsMoreDays: where the hand hides nothing the rate itself is
// worth more comparisons.
func TestFinerHandNeedsMoreDays(t *testing.T) {
	coarse := regulating.Advise(regulating.Estimate{Mean: 4, SD: 0.07}, known(), regulating.UsualWish(), regulating.Measuring{})
	m := model()
	m.Hand = regulating.Hand{Step: 1.0 / 400, SDS: 1.0 / 1000}
	rates := []float64{6, 1, 3, 2, -1, 0}
	fine := regulating.Advise(regulating.Estimate{Mean: 4, SD: 0.07},
		regulating.Learn(screws, chain(7, rates, []float64{.05, .05, .05, .05, .05, .05}, []float64{.25, -.1, .05, .15, -.05}), m), regulating.UsualWish(), regulating.Measuring{})
	if !coarse.Turn || !fine.Turn || fine.CompareDays <= coarse.CompareDays || fine.Within <= coarse.Within {
		t.Errorf("coarse %+v\nfine %+v", coarse, fine)
	}
}

// TestCompensation: the weights are the same reckoning in another unit.
func TestCompensation(t *testing.T) {
	k := func(from float64, c, sd float64) *regulating.Coefficient {
		return &regulating.Coefficient{From: at(from), To: at(from + 20), SPerDayPerC: c, SDSPerDayPerC: sd}
	}
	first, second, third := k(0, -0.6, .01), k(30, 0.1, .01), k(60, -0.1, .01)
	moves := []regulating.Movement{
		{At: at(25), MMToEnds: 2, Known: true, Before: first, After: second},
		{At: at(55), MMToEnds: -0.6, Known: true, Before: second, After: third},
	}
	e := regulating.Compensation(moves, regulating.UsualCompensation())
	if math.Abs(e.PerTurn.Mean-0.35) > 0.02 || !e.Own || len(e.Used) != 2 {
		t.Fatalf("%+v", e)
	}
	a := regulating.AdviseWeights(regulating.Estimate{Mean: -0.1, SD: 0.01}, e, regulating.Wish{})
	if !a.Turn || a.Words != "both weights toward the free ends by 0.3 mm, the same on each" || len(a.Warnings) == 0 || a.CompareDays != 0 {
		t.Errorf("%+v", a)
	}
	if a := regulating.AdviseWeights(regulating.Estimate{Mean: 0.005, SD: 0.008}, e, regulating.Wish{}); a.Turn || a.Words != "leave the weights alone" {
		t.Errorf("%+v", a)
	}
	if a := regulating.AdviseWeights(regulating.Estimate{}, e, regulating.Wish{}); a.Turn || !strings.Contains(a.Worth, "measure it first") {
		t.Errorf("%+v", a)
	}
	moves[1].MMToEnds, moves[1].After = 2, k(60, -0.6, .01)
	if e := regulating.Compensation(moves, regulating.UsualCompensation()); len(e.LeftOut) != 1 || !strings.Contains(e.LeftOut[0].Reason, "the two ways are confused") {
		t.Errorf("%+v", e.LeftOut)
	}
	moves[1].Known = false
	moves[0].After = nil
	if e := regulating.Compensation(moves, regulating.Model{}); len(e.LeftOut) != 2 || e.Own || !(e.PerTurn.Mean > 0) {
		t.Errorf("%+v", e)
	}
}

func TestTurns(t *testing.T) {
	for want, v := range map[string][2]float64{
		"3/40 of a turn": {0.075, 0.025}, "1/4 of a turn": {0.25, 0.025}, "1/8 of a turn": {0.125, 0.025}, "1/2 of a turn": {0.5, 0.025},
		"1 turn": {1, 0.025}, "2 turns": {2, 0.025}, "1 and 1/4 turns": {1.25, 0.025}, "2 and 3/40 turns": {2.075, 0.025},
		"0.300 turn": {0.3, 0.3}, "1/3 of a turn": {1.0 / 3, 1.0 / 3}, "3/4 of a turn": {0.75, 0.125}, "0.500 turn": {0.5, 0},
	} {
		if got := regulating.Turns(v[0], v[1]); got != want {
			t.Errorf("%v: %q, want %q", v, got, want)
		}
	}
}

func TestCautions(t *testing.T) {
	all := strings.Join(regulating.Cautions(), "\n")
	for _, must := range []string{"while the balance moves", "hold the balance", "equally", "Count", "Never force", "magnetised", "rim", "balance spring", "licensed", "local rules", "logbook", "mainspring"} {
		if !strings.Contains(all, must) {
			t.Errorf("no caution speaks of %q", must)
		}
	}
	for _, never := range []string{"tight.", "backward"} {
		if strings.Contains(all, never) {
			t.Errorf("%q is advised", never)
		}
	}
}

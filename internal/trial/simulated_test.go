package trial_test

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"timeball/internal/clock"
	"timeball/internal/simulate"
	"timeball/internal/trial"
	"timeball/internal/trial/programme"
)

// tried is a simulated trial: the days as read and the same days as they truly
// were.
type tried struct {
	read, truly []trial.Day
	law         [3]float64 // rate at 15 °C, mean over the days dial up; per °C; per °C²
}

func logUniform(rng *rand.Rand, lo, hi float64) float64 {
	return lo * math.Exp(rng.Float64()*math.Log(hi/lo))
}

var begun = time.Date(2025, 3, 1, 8, 0, 0, 0, time.UTC)

// try takes an instrument of an ordinary kind through a programme: scatter of
// a day 0.05 to 0.4 s/d, wandering 0.003 to 0.05 s/d after a day, daily
// readings of 0.02 to 0.3 s.
func try(rng *rand.Rand, p programme.Programme) tried {
	c := simulate.Character{
		Noise:     simulate.Noise{SigmaW: logUniform(rng, 0.05, 0.4), SigmaR: logUniform(rng, 0.003, 0.05)},
		Rate:      clock.Rate(-0.7 + 0.8*rng.NormFloat64()),
		Linear:    0.03 * rng.NormFloat64(),
		Quadratic: -0.008 + 0.004*rng.NormFloat64(), PositionRates: map[string]clock.Rate{},
	}
	return tryOne(rng, p, c, logUniform(rng, 0.02, 0.3))
}

func tryOne(rng *rand.Rand, p programme.Programme, c simulate.Character, sd float64) tried {
	var stages []simulate.Stage
	for _, q := range p.Periods {
		temp := simulate.ReferenceC
		if q.TempC != nil {
			temp = *q.TempC
		}
		stages = append(stages, simulate.Stage{C: temp, Days: float64(q.Days)})
		if _, ok := c.PositionRates[q.Position]; !ok {
			c.PositionRates[q.Position] = clock.Rate(rng.NormFloat64())
		}
	}
	i := simulate.NewInstrument(rng, c, simulate.Air{From: begun, Record: simulate.Oven(stages)}, begun)
	i.Start(begun, 0)
	var out tried
	number, wandered, up := 0, 0.0, 0.0
	at := begun
	before, beforeRead := i.Error(at), i.Read(at, sd)
	for k, q := range p.Periods {
		i.Lay(at, q.Position)
		for range q.Days {
			number++
			to := at.Add(clock.Day)
			now := i.Error(to)
			nowRead := i.Read(to, sd)
			d := trial.Day{Number: number, Period: k, From: at, To: to, Known: true, TempC: q.TempC, Position: q.Position}
			d.RateSPerDay = float64(now - before)
			out.truly = append(out.truly, d)
			d.RateSPerDay, d.FirstSDS, d.LastSDS, d.SDS = float64(nowRead-beforeRead), sd, sd, sd*math.Sqrt2
			out.read = append(out.read, d)
			if q.Position == "dial up" && !q.Apart {
				u := i.Temperature(to) - simulate.ReferenceC
				wandered += float64(i.Rate(to)-c.Rate-c.PositionRates[q.Position]) - c.Linear*u - c.Quadratic*u*u
				up++
			}
			at, before, beforeRead = to, now, nowRead
		}
	}
	if i.Err() != nil {
		panic(i.Err())
	}
	// About 15 °C, from coefficients about 20 °C.
	u := trial.AboutC - simulate.ReferenceC
	out.law = [3]float64{float64(c.Rate+c.PositionRates["dial up"]) + wandered/up + c.Linear*u + c.Quadratic*u*u, c.Linear + 2*c.Quadratic*u, c.Quadratic}
	return out
}

// TestCoverage: of the 95% intervals, 93 to 97% hold what the true daily rates
// give. The bar stands for all intervals of a programme together; that of one
// criterion is given three standard errors of its trials.
func TestCoverage(t *testing.T) {
	for _, c := range []struct {
		programme string
		trials    int
	}{{"three-temperatures", 300}, {"weekly-sums", 200}, {"ten-day-symmetrical", 100}, {"iso-3159", 300}} {
		t.Run(c.programme, func(t *testing.T) {
			t.Parallel()
			coverage(t, c.programme, c.trials)
		})
	}
}

// held counts intervals that hold the truth.
type held struct{ in, below, above float64 }

func (h *held) add(truth, lo, hi float64) {
	switch {
	case truth < lo:
		h.below++
	case truth > hi:
		h.above++
	default:
		h.in++
	}
}

func (h held) all() float64 { return h.in + h.below + h.above }

func coverage(t *testing.T, name string, trials int) {
	p, ok := programme.Find(name)
	if !ok {
		t.Fatal("no such programme")
	}
	rng := rand.New(rand.NewPCG(77, uint64(len(name))))
	counts := map[string]*held{}
	add := func(name string, truth, lo, hi float64) {
		if counts[name] == nil {
			counts[name] = &held{}
		}
		counts[name].add(truth, lo, hi)
		counts["all"].add(truth, lo, hi)
	}
	counts["all"] = &held{}
	for range trials {
		s := try(rng, p)
		r, truth := trial.Judge(p, s.read, trial.Ask{Ended: true, Draws: 1000}), trial.Judge(p, s.truly, trial.Ask{Ended: true, Draws: 1})
		for k, f := range r.Figures {
			add(f.Criterion.Name, truth.Figures[k].Value, f.Lo95, f.Hi95)
		}
		if r.Law == nil {
			continue
		}
		for j, e := range []trial.Estimate{r.Law.Rate, r.Law.Linear, r.Law.Quadratic} {
			add([]string{"law: rate at 15 °C", "law: per °C", "law: per °C²"}[j], s.law[j], e.Lo95, e.Hi95)
		}
		if e := r.Law.TurningC; e != nil {
			add("law: turning temperature", trial.AboutC-s.law[1]/(2*s.law[2]), e.Lo95, e.Hi95)
		}
	}
	for name, h := range counts {
		share, error := h.in/h.all(), 3*math.Sqrt(0.95*0.05/h.all())
		if name == "all" {
			error = 0.02
		}
		t.Logf("%-26s %.1f%% of %.0f (%.0f below, %.0f above)", name, 100*share, h.all(), h.below, h.above)
		if math.Abs(share-0.95) > error {
			t.Errorf("%s: %.1f%% of the intervals hold, not 95 ± %.1f%%", name, 100*share, 100*error)
		}
	}
}

// TestVerdictsAreAsSureAsTheySay: of 200 trials whose limits lie within three
// standard deviations of what the true rates give, no more verdicts are wrong
// than the probabilities stated allow, and no fewer, each with three standard
// errors.
func TestVerdictsAreAsSureAsTheySay(t *testing.T) {
	base, _ := programme.Find("three-temperatures")
	rng := rand.New(rand.NewPCG(78, 1))
	const trials, bins = 200, 5
	var wrong, stated, variance, brier float64
	var count, right, said [bins]float64
	for range trials {
		s := try(rng, base)
		p := base
		p.Criteria = nil
		for _, c := range base.Criteria {
			c.From, c.To = nil, nil
			p.Criteria = append(p.Criteria, c)
		}
		spread := trial.Judge(p, s.read, trial.Ask{Ended: true, Draws: 300})
		bare := trial.Judge(p, s.truly, trial.Ask{Ended: true, Draws: 1})
		// Two of the criteria have limits.
		for _, k := range rng.Perm(len(p.Criteria))[:2] {
			limit := bare.Figures[k].Value + spread.Figures[k].SD*(6*rng.Float64()-3)
			p.Criteria[k].To = &limit
		}
		r, truth := trial.Judge(p, s.read, trial.Ask{Ended: true, Draws: 2000}), trial.Judge(p, s.truly, trial.Ask{Ended: true, Draws: 1})
		is := 0.0
		if r.Verdict == truth.Verdict {
			is = 1
		}
		wrong, stated, variance, brier = wrong+1-is, stated+1-r.P, variance+r.P*(1-r.P), brier+(is-r.P)*(is-r.P)/trials
		b := min(bins-1, int(r.P*bins))
		count[b], right[b], said[b] = count[b]+1, right[b]+is, said[b]+r.P
	}
	t.Logf("%.0f of %d verdicts wrong; the probabilities stated allow %.1f ± %.1f; Brier score %.4f", wrong, trials, stated, 3*math.Sqrt(variance), brier)
	for b := range bins {
		if count[b] > 0 {
			t.Logf("stated %.2f: right %.2f of %.0f", said[b]/count[b], right[b]/count[b], count[b])
		}
	}
	if math.Abs(wrong-stated) > 3*math.Sqrt(variance) {
		t.Errorf("%.0f of %d verdicts are wrong, and the probabilities stated allow %.1f ± %.1f", wrong, trials, stated, 3*math.Sqrt(variance))
	}
}

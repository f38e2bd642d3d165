package beat_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"timeball/internal/beat"
	"timeball/internal/simulate/sound"
)

// pair returns the usual chronometer and another, laterS after it, that gains
// less more.
func pair(rng *rand.Rand, laterS, less float64) []sound.Chronometer {
	a, b := usual(rng), usual(rng)
	b.PhaseS, b.RatePerDay = a.PhaseS+laterS, a.RatePerDay+less
	return []sound.Chronometer{a, b}
}

// TestTwoInstruments: of two half-second chronometers in one recording of five
// minutes the difference of their rates is told to 0.02 s/d.
func TestTwoInstruments(t *testing.T) {
	t.Parallel()
	all := hearAll("two", count(2, 0.34), func(rng *rand.Rand) (sound.Take, beat.Options) {
		take := minute(rng)
		take.Seconds = 300
		// Anywhere but where it would be the other beat of a lever, or both at once.
		later := 0.05 + 0.15*rng.Float64()
		if rng.IntN(2) == 0 {
			later = 0.5 - later
		}
		take.Chronometers = pair(rng, later, 10*rng.Float64()-5)
		take.Chronometers[1].GainDB = -6 * rng.Float64()
		return take, beat.Options{}
	})
	var errors, scores, rates []float64
	unseen := 0
	for _, h := range all {
		a, b := h.take.Chronometers[0].RatePerDay, h.take.Chronometers[1].RatePerDay
		s := h.finding.Second
		if s == nil {
			unseen++
			continue
		}
		own, less := a, b-a
		if math.Abs(float64(h.finding.Rate)-b) < math.Abs(float64(h.finding.Rate)-a) { // the other one was taken first
			own, less = b, a-b
		}
		errors, scores = append(errors, float64(s.Less)-less), append(scores, (float64(s.Less)-less)/s.LessSd)
		rates = append(rates, (float64(h.finding.Rate)-own)/h.finding.RateSd)
	}
	t.Logf("second found in %d of %d; difference rms %.4f s/d, worst %.4f, in sd rms %.2f, worst %.2f; first rate in sd rms %.2f", len(errors), len(all), rms(errors), worst(errors), rms(scores), worst(scores), rms(rates))
	if unseen > 0 {
		t.Errorf("the second was not seen in %d of %d", unseen, len(all))
	}
	if worst(errors) > 0.02 {
		t.Errorf("a difference is wrong by %.4f s/d", worst(errors))
	}
	if worst(scores) > 5 || worst(rates) > 5 {
		t.Errorf("errors of %.1f and %.1f of their sd", worst(scores), worst(rates))
	}
}

// TestTwoAlikeAtHalf: two equal chronometers a quarter of a second apart look
// like one lever; their rates differ, and that is told.
func TestTwoAlikeAtHalf(t *testing.T) {
	t.Parallel()
	all := hearAll("half", count(3, 0.5), func(rng *rand.Rand) (sound.Take, beat.Options) {
		take := minute(rng)
		take.Seconds = 60 + 120*rng.Float64()
		less := 0.2 * math.Pow(50, rng.Float64())
		take.Chronometers = pair(rng, 0.25+0.02*(rng.Float64()-0.5), less)
		return take, beat.Options{}
	})
	told := 0
	for _, h := range all {
		f := h.finding
		if h.refused() || f.Second != nil {
			told++
			continue
		}
		if e := amiss(h); math.Abs(e) > 5*f.RateSd {
			t.Errorf("rates %.3f and %.3f: one rate of %.3f, sd %.4f, and nothing said", h.rate(), h.take.Chronometers[1].RatePerDay, float64(f.Rate), f.RateSd)
		}
	}
	t.Logf("%d of %d were told apart", told, len(all))
}

// amiss returns the error of the rate against the nearer of two instruments.
func amiss(h heard) float64 {
	a, b := h.wrong(), float64(h.finding.Rate)-h.take.Chronometers[1].RatePerDay
	if math.Abs(b) < math.Abs(a) {
		return b
	}
	return a
}

// TestOverlap: a second beat of equal level 0.5 to 12 ms after the first makes
// no rate wrong by more than 5 of its sd unless something is said.
func TestOverlap(t *testing.T) {
	t.Parallel()
	type given struct{ laterS, less float64 }
	n := count(6, 4)
	all := make([]heard, n)
	gives := make([]given, n)
	each(n, func(i int) {
		rng := source("overlap", i)
		take := minute(rng)
		take.Seconds = 60 * math.Pow(5, rng.Float64())
		g := given{0.0005 + 0.0115*rng.Float64(), 0.2 * math.Pow(100, rng.Float64())}
		if rng.IntN(2) == 0 {
			g.less = -g.less
		}
		gives[i] = g
		take.Chronometers = pair(rng, g.laterS, g.less)
		all[i] = hear(take, rng, beat.Options{})
	})
	said, right := 0, 0
	var silent strings.Builder
	count := 0
	for i, h := range all {
		f := h.finding
		switch e := amiss(h); {
		case h.refused() || f.Second != nil:
			said++
		case math.Abs(e) <= 5*f.RateSd:
			right++
		default:
			count++
			fmt.Fprintf(&silent, "\n  %d: %.0f s, %.2f ms later, %.2f s/d apart: wrong by %.3f, sd %.4f, jitter %.0f µs", i, h.take.Seconds, 1e3*gives[i].laterS, gives[i].less, e, f.RateSd, 1e6*f.JitterS)
		}
	}
	t.Logf("of %d, %d said, %d right, %d wrong and nothing said", n, said, right, count)
	if count > 0 {
		t.Errorf("wrong and nothing said in %d of %d:%s", count, n, silent.String())
	}
}

// TestTwoBeats: a deck watch beside a chronometer is found as another beat, and
// both rates are right.
func TestTwoBeats(t *testing.T) {
	t.Parallel()
	all := hearAll("two beats", count(1, 0.34), func(rng *rand.Rand) (sound.Take, beat.Options) {
		take := minute(rng)
		take.Seconds = 120
		watch := usual(rng)
		watch.PeriodS, watch.Lever, watch.GainDB = 0.4, true, -3*rng.Float64()
		take.Chronometers = append(take.Chronometers, watch)
		return take, beat.Options{}
	})
	seen := 0
	for i, h := range all {
		f := h.finding
		rates := map[float64]float64{14400: h.rate(), 18000: h.take.Chronometers[1].RatePerDay}
		if h.refused() {
			t.Errorf("%d: refused: %s", i, f.Why)
			continue
		}
		if e := float64(f.Rate) - rates[f.PerHour]; math.Abs(e) > 5*f.RateSd {
			t.Errorf("%d: the rate of %g/h is wrong by %.4f s/d, sd %.4f", i, f.PerHour, e, f.RateSd)
		}
		if s := f.Second; s != nil && s.RateKnown {
			seen++
			if e := float64(s.Rate) - rates[s.PerHour]; math.Abs(e) > 5*s.RateSd {
				t.Errorf("%d: the other rate, of %g/h, is wrong by %.4f s/d, sd %.4f", i, s.PerHour, e, s.RateSd)
			}
		}
	}
	t.Logf("the other was seen in %d of %d", seen, len(all))
	if 10*seen < 9*len(all) {
		t.Errorf("the other was seen in %d of %d", seen, len(all))
	}
}

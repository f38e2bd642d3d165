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

// anything draws a recording of one instrument: any usual beat, noise of -12 to
// 40 dB, 15 to 120 s, at rates within 60 s/d, with any mixture of disturbances.
func anything(rng *rand.Rand) sound.Take {
	between := func(lo, hi float64) float64 { return lo + (hi-lo)*rng.Float64() }
	steps := func(lo, hi float64) float64 { return lo * math.Pow(hi/lo, rng.Float64()) }
	maybe := func(share float64) bool { return rng.Float64() < share }
	c := sound.Chronometer{
		RatePerDay: between(-60, 60), JitterS: steps(5e-6, 300e-6), PatternS: between(0, 60e-6), Eccentric: maybe(0.5),
		Teeth: 15 + rng.IntN(2), FaintDB: between(15, 30), OutOfBeatDeg: between(-8, 8), PhaseS: between(0, 0.5),
	}
	if maybe(0.5) {
		c.AmplitudeDeg = between(150, 290)
	}
	switch rng.IntN(6) {
	case 0:
		c.Lever, c.PeriodS = true, 0.4
	case 1:
		c.Lever, c.PeriodS = true, 1./3
	case 2:
		c.PeriodS = 0.4
	}
	t := sound.Take{
		RateHz: []int{8000, 16000, 44100, 48000, 48000, 96000}[rng.IntN(6)], Seconds: steps(15, 120),
		SNRdB: between(-12, 40), SNRWhole: true,
	}
	if maybe(0.1) {
		c.MissingShare = between(0, 0.3)
	}
	if maybe(0.15) {
		t.PinkDB = between(-15, 10)
	}
	if maybe(0.15) {
		t.HumHz, t.HumDB = []float64{50, 60}[rng.IntN(2)], between(-10, 30)
	}
	if maybe(0.15) {
		t.Knocks = 1 + rng.IntN(40)
	}
	if maybe(0.15) {
		t.SpeechLike = between(-10, 10)
	}
	t.Echo = maybe(0.15)
	if maybe(0.1) {
		t.ClipShare = between(0.2, 0.9)
	}
	if maybe(0.1) {
		t.GainPump = between(0.2, 0.9)
	}
	if maybe(0.1) {
		t.SilentFrom = t.Seconds * between(0, 0.7)
		t.SilentTo = t.SilentFrom + t.Seconds*between(0.02, 0.3)
	}
	if maybe(0.1) {
		t.DropCount, t.DropFrames = 1+rng.IntN(3), 64+rng.IntN(4000)
	}
	if maybe(0.05) {
		t.RepeatedBuffers = 1 + rng.IntN(3)
	}
	t.Chronometers = []sound.Chronometer{c}
	return t
}

// TestAnything: of a thousand recordings of any kind no rate is wrong by more
// than five of its standard deviations unless the finding says that it may be.
func TestAnything(t *testing.T) {
	t.Parallel()
	n := count(10, 10)
	all := hearAll("anything", n, func(rng *rand.Rand) (sound.Take, beat.Options) { return anything(rng), beat.Options{} })
	refused, early, inside, rated, missed, clear, second, overlapped := 0, 0, 0, 0, 0, 0, 0, 0
	var wrong strings.Builder
	astray := 0
	for i, h := range all {
		f := h.finding
		plain := h.take.SNRdB >= 10 && h.take.Seconds >= 30
		if plain {
			clear++
		}
		if f.Overlapped {
			overlapped++
		}
		if h.refused() {
			refused++
			if plain {
				missed++
				if full() {
					t.Logf("refused %d: %q overlapped %v of %g/h: %+v", i, f.Why, f.Overlapped, f.PerHour, h.take)
				}
			}
			continue
		}
		if f.Early {
			early++
		}
		if f.Second != nil {
			second++
			if full() {
				t.Logf("second %d: %+v in %+v", i, *f.Second, h.take)
			}
		}
		rated++
		if math.Abs(h.wrong()) <= 1.96*f.RateSd {
			inside++
		}
		if h.astray() {
			astray++
			fmt.Fprintf(&wrong, "\n  %d: wrong by %.3f s/d, sd %.4f (%.1f sd), %g/h, jitter %.0f µs, faint %d, band %v, gaps %d: %+v", i, h.wrong(), f.RateSd, h.wrong()/f.RateSd, f.PerHour, 1e6*f.JitterS, f.Faint, f.Band, len(f.Gaps), h.take)
		}
	}
	t.Logf("of %d, %d refused (of %d at 10 dB and more and 30 s and more: %d; overlapped %d), %d rated, %d of them early and %d with a second instrument that is none; within 1.96 sd %.1f%%, astray %d",
		n, refused, clear, missed, overlapped, rated, early, second, 100*float64(inside)/float64(rated), astray)
	if astray > 0 {
		t.Errorf("wrong and nothing said:%s", wrong.String())
	}
	if missed > 1+clear/10 {
		t.Errorf("%d of %d plain recordings were refused", missed, clear)
	}
	if inside < least90(rated) {
		t.Errorf("%d of %d within 1.96 sd", inside, rated)
	}
}

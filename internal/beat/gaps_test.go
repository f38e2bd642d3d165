package beat_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"timeball/internal/beat"
	"timeball/internal/simulate/sound"
)

// lost is what became of the joins of some recordings.
type lost struct {
	joins, found, invented int
	beats, frames          []float64 // errors of place and size
	beyond                 int       // sizes wrong by more than 5 of their sd and 4 frames
}

func (g *lost) count(h heard) {
	period := h.take.Chronometers[0].TruePeriodS()
	claimed := make([]bool, len(h.finding.Gaps))
	for _, d := range h.recorded.Drops {
		g.joins++
		best := -1
		for i, gap := range h.finding.Gaps {
			if off := math.Abs(gap.AtS - d.AtS); !claimed[i] && off < 4*period && (best < 0 || off < math.Abs(h.finding.Gaps[best].AtS-d.AtS)) {
				best = i
			}
		}
		if best < 0 {
			continue
		}
		claimed[best] = true
		g.found++
		gap := h.finding.Gaps[best]
		g.beats = append(g.beats, (gap.AtS-d.AtS)/period)
		// Whole beats that are lost cannot be seen.
		wrong := math.Remainder(gap.MissingS-float64(d.Frames)/48000, period)
		g.frames = append(g.frames, 48000*wrong)
		if math.Abs(wrong) > 5*gap.SdS && math.Abs(wrong) > 4./48000 {
			g.beyond++
		}
	}
	for _, c := range claimed {
		if !c {
			g.invented++
		}
	}
}

func (g *lost) log(t *testing.T, kind string) {
	t.Helper()
	within := func(x []float64, most float64) float64 {
		n := 0
		for _, v := range x {
			if math.Abs(v) <= most {
				n++
			}
		}
		return 100 * float64(n) / float64(max(1, len(x)))
	}
	t.Logf("%s: %d of %d joins found, %d invented; place within 1 beat %.1f%%, within 2 %.1f%%, worst %.2f; size within 4 frames %.1f%%, rms %.2f, worst %.1f frames, %d beyond 5 sd",
		kind, g.found, g.joins, g.invented, within(g.beats, 1), within(g.beats, 2), worst(g.beats), within(g.frames, 4), rms(g.frames), worst(g.frames), g.beyond)
}

// TestGaps: buffers of 256 to 4096 frames that were lost at 10 dB and more, or
// came twice, at least 3 s apart, ten in ten minutes, are all found, within two
// beats and to four frames.
func TestGaps(t *testing.T) {
	t.Parallel()
	for _, kind := range []struct {
		name  string
		share float64
		draw  func(t *sound.Take, rng *rand.Rand)
	}{
		{"lost, 10 to 40 dB", 0.3, func(t *sound.Take, rng *rand.Rand) {
			t.SNRdB, t.DropCount, t.DropFrames = 10+30*rng.Float64(), 10, 256+rng.IntN(3840)
		}},
		{"lost, the least, 10 dB", 0.15, func(t *sound.Take, rng *rand.Rand) { t.SNRdB, t.DropCount, t.DropFrames = 10, 10, 256 }},
		{"come twice", 0.15, func(t *sound.Take, rng *rand.Rand) { t.RepeatedBuffers, t.DropFrames = 10, 256+rng.IntN(3840) }},
	} {
		n := count(1, kind.share)
		all := hearAll("gaps "+kind.name, n, func(rng *rand.Rand) (sound.Take, beat.Options) {
			take := minute(rng)
			take.Seconds = 600
			kind.draw(&take, rng)
			return take, beat.Options{}
		})
		var g lost
		var scores []float64
		for _, h := range all {
			if h.refused() {
				t.Errorf("%s: refused: %s", kind.name, h.finding.Why)
				continue
			}
			g.count(h)
			scores = append(scores, h.wrong()/h.finding.RateSd)
			if h.astray() {
				t.Errorf("%s: the rate is wrong by %.4f s/d, sd %.4f", kind.name, h.wrong(), h.finding.RateSd)
			}
		}
		g.log(t, kind.name)
		t.Logf("%s: errors of the rate in sd: rms %.2f, worst %.2f", kind.name, rms(scores), worst(scores))
		if g.found < g.joins || g.invented > 0 {
			t.Errorf("%s: %d of %d joins found, %d invented", kind.name, g.found, g.joins, g.invented)
		}
		if worst(g.beats) > 2 {
			t.Errorf("%s: a place is %.1f beats wrong", kind.name, worst(g.beats))
		}
		if g.beyond > 0 || rms(g.frames) > 4 {
			t.Errorf("%s: %d sizes beyond their doubt, rms %.1f frames", kind.name, g.beyond, rms(g.frames))
		}
	}
}

// TestSilenceIsNoGap: where the microphone was off for a while, the count of
// beats goes on and nothing is missing.
func TestSilenceIsNoGap(t *testing.T) {
	t.Parallel()
	rng := source("silence", 0)
	take := minute(rng)
	take.SilentFrom, take.SilentTo = 20, 41
	h := hear(take, rng, beat.Options{})
	if len(h.finding.Gaps) > 0 || h.finding.Missed > 2 {
		t.Errorf("%d gaps, %d beats missed", len(h.finding.Gaps), h.finding.Missed)
	}
	numbers := h.recorded.Numbers[0]
	if want := len(numbers); math.Abs(float64(h.finding.Beats-want)) > 2 {
		t.Errorf("%d beats heard, %d sounded", h.finding.Beats, want)
	}
}

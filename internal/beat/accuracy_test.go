package beat_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"

	"timeball/internal/beat"
	"timeball/internal/simulate/sound"
)

// row is one kind of recording and what is asked of it.
type row struct {
	name string
	// share is of the recordings that -rows asks for.
	share float64
	// change makes the usual minute this kind.
	change func(t *sound.Take, c *sound.Chronometer, rng *rand.Rand)
	// mostRatio is what the rms error may be in terms of the bound; 0 asks for
	// nothing, as where the bound does not know of the fault.
	mostRatio float64
	// mostRefused is the share that may be refused.
	mostRefused float64
	// loud rows are those of 0 dB and more, over which RateSd must be right.
	loud bool
}

type (
	take  = sound.Take
	piece = sound.Chronometer
)

// rows are the kinds. A ratio of 1.5 at 0 dB and more, 2.5 at -5 dB and a
// refusal below are what is acceptable; for the faults that the bound knows
// nothing of, a third more, which they may honestly cost.
var rows = []row{
	snr(-16, func(t *take) { t.Seconds = 600 }, 0.3, 2.5, 1),
	snr(-12, nil, 1, 0, 1),
	snr(-10, nil, 1, 0, 1),
	snr(-7, nil, 1, 2.5, 0.34),
	snr(-5, nil, 1, 2.5, 0.1),
	snr(0, nil, 1, 1.5, 0),
	snr(5, nil, 1, 1.5, 0),
	snr(10, nil, 1, 1.5, 0),
	snr(20, nil, 2, 1.5, 0),
	snr(40, nil, 1, 1.5, 0),
	{"jitter 100 µs", 1, func(_ *take, c *piece, _ *rand.Rand) { c.JitterS = 100e-6 }, 1.5, 0, true},
	{"jitter 300 µs", 1, func(_ *take, c *piece, _ *rand.Rand) { c.JitterS = 300e-6 }, 1.5, 0, true},
	lasts(8, 0), lasts(12, 0), lasts(20, 0), lasts(30, 0), lasts(120, 1.5), lasts(300, 1.5),
	sampled(8000), sampled(16000), sampled(44100), sampled(96000), sampled(192000),
	{"15% of the beats missing", 1, func(_ *take, c *piece, _ *rand.Rand) { c.MissingShare = 0.15 }, 1.5, 0, true},
	{"pink noise 0 dB, hum 30 dB over the beat", 1, func(t *take, _ *piece, _ *rand.Rand) { t.PinkDB, t.HumHz, t.HumDB = -0.001, 50, 30 }, 2, 0, true},
	{"syllables 6 dB over the beat", 1, func(t *take, _ *piece, _ *rand.Rand) { t.SpeechLike = 6 }, 2, 0, true},
	{"40 knocks", 1, func(t *take, _ *piece, _ *rand.Rand) { t.Knocks = 40 }, 2, 0, true},
	{"clipped at a third", 1, func(t *take, _ *piece, _ *rand.Rand) { t.ClipShare = 1. / 3 }, 1.5, 0, true},
	{"gain pumping 0.8", 1, func(t *take, _ *piece, _ *rand.Rand) { t.GainPump = 0.8 }, 2, 0, true},
	{"21 s of silence inside", 1, func(t *take, _ *piece, _ *rand.Rand) { t.SilentFrom, t.SilentTo = 20, 41 }, 2, 0, true},
	{"echo", 1, func(t *take, _ *piece, _ *rand.Rand) { t.Echo = true }, 1.5, 0, true},
	{"rate -212 s/d", 1, func(_ *take, c *piece, _ *rand.Rand) { c.RatePerDay = -212 }, 1.5, 0, true},
	{"lever 18,000/h", 1, func(_ *take, c *piece, rng *rand.Rand) {
		c.Lever, c.PeriodS, c.OutOfBeatDeg = true, 0.4, 10*rng.Float64()-5
	}, 1.5, 0, true},
	{"lever 21,600/h", 1, func(_ *take, c *piece, rng *rand.Rand) {
		c.Lever, c.PeriodS, c.OutOfBeatDeg = true, 1./3, 10*rng.Float64()-5
	}, 1.5, 0, true},
	{"detent 18,000/h", 1, func(_ *take, c *piece, _ *rand.Rand) { c.PeriodS = 0.4 }, 1.5, 0, true},
	{"eccentric wheel of 100 µs", 1, func(_ *take, c *piece, _ *rand.Rand) { c.PatternS, c.Eccentric = 100e-6, true }, 2, 0, true},
	{"wander 5 µs a beat, 300 s", 0.5, func(t *take, c *piece, _ *rand.Rand) { t.Seconds, c.WanderS = 300, 5e-6 }, 0, 0, false},
	{"dropped buffers 480, 120 s, four", 1, func(t *take, _ *piece, _ *rand.Rand) { t.Seconds, t.DropCount = 120, 4 }, 0, 0, true},
}

func snr(db float64, change func(*take), share, mostRatio, mostRefused float64) row {
	name := fmt.Sprintf("%g dB", db)
	if db == -16 {
		name += ", 600 s"
	}
	return row{name, share, func(t *take, _ *piece, _ *rand.Rand) {
		t.SNRdB = db
		if change != nil {
			change(t)
		}
	}, mostRatio, mostRefused, db >= 0}
}

func lasts(seconds, mostRatio float64) row {
	return row{fmt.Sprintf("%g s long", seconds), min(1, 150/seconds), func(t *take, _ *piece, _ *rand.Rand) { t.Seconds = seconds }, mostRatio, 0, true}
}

func sampled(rateHz int) row {
	return row{fmt.Sprintf("%g kHz", float64(rateHz)/1000), 1, func(t *take, _ *piece, _ *rand.Rand) { t.RateHz = rateHz }, 1.5, 0, true}
}

// figures are what the recordings of a row were worth.
type figures struct {
	row
	n, refused, early   int
	errors, sds, scores []float64
	inside, astray      int
	otherBeat           int // heard with another usual beat than it has
	boundS              float64
}

func (r row) hear() figures {
	f := figures{row: r, n: max(2, int(math.Round(r.share*float64(*many))))}
	all := hearAll(r.name, f.n, func(rng *rand.Rand) (sound.Take, beat.Options) {
		t := minute(rng)
		r.change(&t, &t.Chronometers[0], rng)
		return t, beat.Options{}
	})
	for _, h := range all {
		f.boundS += math.Pow(sound.BoundSD(h.take), 2) / float64(f.n)
		period := h.take.Chronometers[0].PeriodS
		if period == 0 {
			period = 0.5
		}
		if h.refused() {
			f.refused++
			continue
		}
		if math.Abs(h.finding.PerHour*period-7200) > 1 {
			f.otherBeat++
		}
		if h.finding.Early {
			f.early++
		}
		e, sd := h.wrong(), h.finding.RateSd
		f.errors, f.sds, f.scores = append(f.errors, e), append(f.sds, sd), append(f.scores, e/sd)
		if math.Abs(e) <= 1.96*sd {
			f.inside++
		}
		if math.Abs(e) > 5*sd {
			f.astray++
		}
	}
	f.boundS = math.Sqrt(f.boundS)
	return f
}

func (f figures) ratio() float64 { return rms(f.errors) / f.boundS }

// String is a line of the table.
func (f figures) String() string {
	if len(f.errors) == 0 {
		return fmt.Sprintf("| %s | %d of %d | – | %.4f | – | – | – |", f.name, f.refused, f.n, f.boundS)
	}
	return fmt.Sprintf("| %s | %d of %d | %.4f | %.4f | %.2f | %.0f%% | %d |", f.name, f.refused, f.n, rms(f.errors), f.boundS, f.ratio(), 100*float64(f.inside)/float64(len(f.errors)), f.astray)
}

// TestRows holds each kind of recording to what is asked of it, and the stated
// doubts to the truth.
func TestRows(t *testing.T) {
	var table strings.Builder
	table.WriteString("| recording | refused | rms error, s/d | bound, s/d | ratio | in 1.96 sd | over 5 sd |\n|---|---|---|---|---|---|---|\n")
	loud, inside := 0, 0
	for _, r := range rows {
		f := r.hear()
		fmt.Fprintln(&table, f)
		if full() {
			t.Log(f)
		}
		if f.refused > int(r.mostRefused*float64(f.n)) {
			t.Errorf("%s: %d of %d refused", r.name, f.refused, f.n)
		}
		if f.astray > 0 {
			t.Errorf("%s: %d of %d rates wrong by more than 5 of their sd; in sd %.3g", r.name, f.astray, f.n, f.scores)
		}
		if f.otherBeat > 0 && r.loud {
			t.Errorf("%s: %d of %d of another beat", r.name, f.otherBeat, f.n)
		}
		if len(f.errors) == 0 {
			continue
		}
		if most := max(r.mostRatio, chance(len(f.errors))); r.mostRatio > 0 && f.ratio() > most {
			t.Errorf("%s: rms error is %.2f of the bound, may be %.2f", r.name, f.ratio(), most)
		}
		if r.loud {
			loud, inside = loud+len(f.errors), inside+f.inside
			if least := least90(len(f.errors)); f.inside < least {
				t.Errorf("%s: %d of %d within 1.96 sd, want %d", r.name, f.inside, len(f.errors), least)
			}
		}
	}
	t.Logf("\n%s", table.String())
	t.Logf("0 dB and more: %d of %d, %.1f%%, within 1.96 sd", inside, loud, 100*float64(inside)/float64(loud))
	if inside < least90(loud) {
		t.Errorf("at 0 dB and more only %d of %d lie within 1.96 sd", inside, loud)
	}
}

// least90 returns how many of n lie inside at least, at 2.6 deviations, of what
// has a coverage of 90%.
func least90(n int) int {
	return int(0.9*float64(n) - 2.6*math.Sqrt(0.09*float64(n)))
}

// chance returns what the rms of n errors may be in terms of its true value, by
// the 99.9% point of chi-square.
func chance(n int) float64 {
	return math.Sqrt(distuv.ChiSquared{K: float64(n)}.Quantile(0.999) / float64(n))
}

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
	// few is how many are heard by default; share is of those that -rows asks
	// for.
	few   int
	share float64
	// change makes the usual minute this kind.
	change func(t *sound.Take, c *sound.Chronometer, rng *rand.Rand)
	// mostRatio is what the rms error may be in terms of the bound, the luck of
	// the draw taken out; 0 asks for nothing, as where the bound does not know of
	// the fault.
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
	snr(-12, 0, 0, 1),
	snr(-10, 1, 0, 1),
	snr(-7, 1, 2.5, 0.34),
	snr(-5, 2, 2.5, 0.1),
	snr(0, 6, 1.5, 0),
	snr(5, 2, 1.5, 0),
	snr(10, 2, 1.5, 0),
	snr(20, 6, 1.5, 0),
	snr(40, 2, 1.5, 0),
	loud("jitter 100 µs", 1.5, func(_ *take, c *piece, _ *rand.Rand) { c.JitterS = 100e-6 }),
	loud("jitter 300 µs", 1.5, func(_ *take, c *piece, _ *rand.Rand) { c.JitterS = 300e-6 }),
	lasts(8, 0), lasts(12, 0), lasts(20, 0), lasts(30, 0), lasts(120, 1.5), lasts(300, 1.5),
	sampled(8000), sampled(16000), sampled(44100), sampled(96000), sampled(192000),
	loud("15% of the beats missing", 1.5, func(_ *take, c *piece, _ *rand.Rand) { c.MissingShare = 0.15 }),
	loud("pink noise 0 dB, hum 30 dB over the beat", 2, func(t *take, _ *piece, _ *rand.Rand) { t.PinkDB, t.HumHz, t.HumDB = -0.001, 50, 30 }),
	loud("syllables 6 dB over the beat", 2, func(t *take, _ *piece, _ *rand.Rand) { t.SpeechLike = 6 }),
	loud("40 knocks", 2, func(t *take, _ *piece, _ *rand.Rand) { t.Knocks = 40 }),
	loud("clipped at a third", 1.5, func(t *take, _ *piece, _ *rand.Rand) { t.ClipShare = 1. / 3 }),
	loud("gain pumping 0.8", 2, func(t *take, _ *piece, _ *rand.Rand) { t.GainPump = 0.8 }),
	loud("21 s of silence inside", 2, func(t *take, _ *piece, _ *rand.Rand) { t.SilentFrom, t.SilentTo = 20, 41 }),
	loud("echo", 1.5, func(t *take, _ *piece, _ *rand.Rand) { t.Echo = true }),
	loud("rate -212 s/d", 1.5, func(_ *take, c *piece, _ *rand.Rand) { c.RatePerDay = -212 }),
	loud("lever 18,000/h", 1.5, func(_ *take, c *piece, rng *rand.Rand) {
		c.Lever, c.PeriodS, c.OutOfBeatDeg = true, 0.4, 10*rng.Float64()-5
	}),
	loud("lever 21,600/h", 1.5, func(_ *take, c *piece, rng *rand.Rand) {
		c.Lever, c.PeriodS, c.OutOfBeatDeg = true, 1./3, 10*rng.Float64()-5
	}),
	loud("detent 18,000/h", 1.5, func(_ *take, c *piece, _ *rand.Rand) { c.PeriodS = 0.4 }),
	loud("eccentric wheel of 100 µs", 2, func(_ *take, c *piece, _ *rand.Rand) { c.PatternS, c.Eccentric = 100e-6, true }),
	loud("four buffers of 480 frames lost in 120 s", 0, func(t *take, _ *piece, _ *rand.Rand) { t.Seconds, t.DropCount = 120, 4 }),
	{"wander 5 µs a beat, 300 s", 1, 0.5, func(t *take, c *piece, _ *rand.Rand) { t.Seconds, c.WanderS = 300, 5e-6 }, 0, 0, false},
	{"-16 dB, 600 s", 0, 0.12, func(t *take, _ *piece, _ *rand.Rand) { t.Seconds, t.SNRdB = 600, -16 }, 2.5, 1, false},
}

func snr(db float64, few int, mostRatio, mostRefused float64) row {
	return row{fmt.Sprintf("%g dB", db), few, 1, func(t *take, _ *piece, _ *rand.Rand) { t.SNRdB = db }, mostRatio, mostRefused, db >= 0}
}

func loud(name string, mostRatio float64, change func(*take, *piece, *rand.Rand)) row {
	return row{name, 1, 1, change, mostRatio, 0, true}
}

func lasts(seconds, mostRatio float64) row {
	return row{fmt.Sprintf("%g s long", seconds), 1, min(1, 150/seconds), func(t *take, _ *piece, _ *rand.Rand) { t.Seconds = seconds }, mostRatio, 0, true}
}

func sampled(rateHz int) row {
	return row{fmt.Sprintf("%g kHz", float64(rateHz)/1000), 1, 1, func(t *take, _ *piece, _ *rand.Rand) { t.RateHz = rateHz }, 1.5, 0, true}
}

// figures are what the recordings of a row were worth.
type figures struct {
	row
	n, refused, early   int
	errors, sds, scores []float64
	more                []float64 // errors beyond that of the beats themselves
	inside, astray      int
	otherBeat           int     // heard with another usual beat than it has
	second              int     // a second instrument seen that is none
	boundS, jitterS     float64 // and the part of it that is not the noise's
}

func (r row) hear() figures {
	f := figures{row: r, n: count(r.few, r.share)}
	all := hearAll(r.name, f.n, func(rng *rand.Rand) (sound.Take, beat.Options) {
		t := minute(rng)
		r.change(&t, &t.Chronometers[0], rng)
		return t, beat.Options{}
	})
	for _, h := range all {
		f.boundS += math.Pow(sound.BoundSD(h.take), 2) / float64(f.n)
		quiet := h.take
		quiet.SNRdB = math.Inf(1)
		f.jitterS += math.Pow(sound.BoundSD(quiet), 2) / float64(f.n)
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
		if h.finding.Second != nil {
			f.second++
		}
		e, sd := h.wrong(), h.finding.RateSd
		f.errors, f.sds, f.scores = append(f.errors, e), append(f.sds, sd), append(f.scores, e/sd)
		f.more = append(f.more, e-h.chance())
		if math.Abs(e) <= 1.96*sd {
			f.inside++
		}
		if math.Abs(e) > 5*sd {
			f.astray++
		}
	}
	f.boundS, f.jitterS = math.Sqrt(f.boundS), math.Sqrt(f.jitterS)
	return f
}

func (f figures) ratio() float64 { return rms(f.errors) / f.boundS }

// fair returns the ratio with the luck of the draw taken out: the scatter of the
// beats as it is on average, and what was heard wrong beyond it. As the straight
// line is the best of unbiased estimates, the two are not correlated (Gauss and
// Markov).
func (f figures) fair() float64 { return math.Hypot(f.jitterS, rms(f.more)) / f.boundS }

// String is a line of the table.
func (f figures) String() string {
	if len(f.errors) == 0 {
		return fmt.Sprintf("| %s | %d of %d | – | %.4f | – | – | – | – |", f.name, f.refused, f.n, f.boundS)
	}
	fair := "–"
	if f.mostRatio > 0 {
		fair = fmt.Sprintf("%.2f", f.fair())
	}
	return fmt.Sprintf("| %s | %d of %d | %.4f | %.4f | %.2f | %s | %.0f%% | %d |", f.name, f.refused, f.n, rms(f.errors), f.boundS, f.ratio(), fair, 100*float64(f.inside)/float64(len(f.errors)), f.astray)
}

// TestRows holds each kind of recording to what is asked of it, and the stated
// doubts to the truth.
func TestRows(t *testing.T) {
	t.Parallel()
	var table strings.Builder
	table.WriteString("| recording | refused | rms error, s/d | bound, s/d | ratio | without luck | in 1.96 sd | over 5 sd |\n|---|---|---|---|---|---|---|---|\n")
	loud, inside := 0, 0
	var pooled []float64 // errors in terms of the bound, where it knows of all there is
	for _, r := range rows {
		if count(r.few, r.share) == 0 {
			continue
		}
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
		if r.mostRatio > 0 && (f.fair() > r.mostRatio || f.ratio() > r.mostRatio*luck(len(f.errors))) {
			t.Errorf("%s: rms error is %.2f of the bound, %.2f without luck, may be %.2f", r.name, f.ratio(), f.fair(), r.mostRatio)
		}
		if f.second > 0 {
			t.Errorf("%s: %d of %d with a second instrument", r.name, f.second, f.n)
		}
		if r.mostRatio == 1.5 {
			for _, e := range f.more {
				pooled = append(pooled, math.Hypot(f.jitterS, e)/f.boundS)
			}
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
	t.Logf("the rows held to 1.5: rms error over the bound, without luck, %.3f in %d", rms(pooled), len(pooled))
	if rms(pooled) > 1.25 {
		t.Errorf("all in all the error is %.3f of the bound", rms(pooled))
	}
	if inside < least90(loud) {
		t.Errorf("at 0 dB and more only %d of %d lie within 1.96 sd", inside, loud)
	}
}

// least90 returns how many of n lie inside at least, at 2.6 deviations, of what
// has a coverage of 90%.
func least90(n int) int {
	return int(0.9*float64(n) - 2.6*math.Sqrt(0.09*float64(n)))
}

// luck returns what the rms of n errors may be in terms of its true value, by
// the 99.9% point of chi-square.
func luck(n int) float64 {
	return math.Sqrt(distuv.ChiSquared{K: float64(n)}.Quantile(0.999) / float64(n))
}

package beat_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"timeball/internal/beat"
	"timeball/internal/simulate/sound"
)

// TestAmplitudeHeard: the lift known, the amplitude is read to 3° in a minute
// at 10 dB and more, and its stated doubt holds.
func TestAmplitudeHeard(t *testing.T) {
	t.Parallel()
	for _, kind := range []struct {
		name  string
		lever bool
		snrDB float64
	}{{"detent, 10 dB", false, 10}, {"detent, 20 dB", false, 20}, {"detent, 40 dB", false, 40}, {"lever, 10 dB", true, 10}, {"lever, 20 dB", true, 20}} {
		all := hearAll("amplitude "+kind.name, count(2, 1), func(rng *rand.Rand) (sound.Take, beat.Options) {
			take := minute(rng)
			c := &take.Chronometers[0]
			take.SNRdB = kind.snrDB
			c.AmplitudeDeg, c.OutOfBeatDeg = 150+140*rng.Float64(), 10*rng.Float64()-5
			lift := 40.
			if kind.lever {
				c.Lever, c.PeriodS, lift = true, 0.4, 50
			}
			return take, beat.Options{LiftDeg: lift}
		})
		var errors []float64
		unknown, beyond := 0, 0
		for _, h := range all {
			if h.finding.Amplitude == 0 {
				unknown++
				continue
			}
			e := h.finding.Amplitude - h.take.Chronometers[0].AmplitudeDeg
			errors = append(errors, e)
			if math.Abs(e) > 1.96*h.finding.AmplitudeSd {
				beyond++
			}
		}
		t.Logf("%s: %d of %d without; amplitude rms %.2f°, worst %.2f°, %d beyond 1.96 sd", kind.name, unknown, len(all), rms(errors), worst(errors), beyond)
		if unknown*10 > len(all) {
			t.Errorf("%s: %d of %d without an amplitude", kind.name, unknown, len(all))
		}
		if w := worst(errors); w > 3 {
			t.Errorf("%s: an amplitude is wrong by %.2f°", kind.name, w)
		}
		if len(errors)-beyond < least90(len(errors)) {
			t.Errorf("%s: %d of %d beyond 1.96 sd", kind.name, beyond, len(errors))
		}
	}
}

// TestOutOfBeatHeard: with a passing tick of -18 dB, at 30 dB, the time by which
// it comes early is read to 0.2 ms; of a lever the difference of its intervals.
func TestOutOfBeatHeard(t *testing.T) {
	t.Parallel()
	for _, lever := range []bool{false, true} {
		name := map[bool]string{false: "detent", true: "lever"}[lever]
		all := hearAll("out of beat "+name, count(4, 1), func(rng *rand.Rand) (sound.Take, beat.Options) {
			take := minute(rng)
			c := &take.Chronometers[0]
			take.SNRdB = 30
			c.AmplitudeDeg, c.OutOfBeatDeg, c.FaintDB = 180+90*rng.Float64(), 16*rng.Float64()-8, 18
			lift := 40.
			if lever {
				c.Lever, c.PeriodS, lift = true, 0.4, 50
			}
			return take, beat.Options{LiftDeg: lift}
		})
		var errors, degrees []float64
		unknown := 0
		for _, h := range all {
			if !h.finding.OutOfBeatKnown {
				unknown++
				continue
			}
			_, want, _ := h.take.Chronometers[0].Delays(0)
			got, deg := h.finding.OutOfBeatS, h.finding.OutOfBeatDeg
			if lever && math.Signbit(got) != math.Signbit(want) { // which of its beats comes first cannot be heard
				got, deg = -got, -deg
			}
			errors = append(errors, 1e3*(got-want))
			degrees = append(degrees, deg-h.take.Chronometers[0].OutOfBeatDeg)
		}
		t.Logf("%s: %d of %d without; out of beat rms %.4f ms, worst %.4f ms; angle rms %.3f°, worst %.3f°", name, unknown, len(all), rms(errors), worst(errors), rms(degrees), worst(degrees))
		if unknown*10 > len(all) {
			t.Errorf("%s: of %d recordings %d without", name, len(all), unknown)
		}
		if w := worst(errors); w > 0.2 {
			t.Errorf("%s: wrong by %.3f ms", name, w)
		}
		if w := worst(degrees); w > 1 {
			t.Errorf("%s: wrong by %.2f°", name, w)
		}
	}
}

// TestSwings: along ten minutes in which the amplitude falls, slowly or by 30°,
// it is read as it was; the drop comes the later for it, and the rate that is
// heard from it knows of that.
func TestSwings(t *testing.T) {
	t.Parallel()
	for _, fall := range []float64{10, 30} {
		rng := source("swings", 0)
		take := minute(rng)
		take.Seconds = 600
		amplitude := func(s float64) float64 { return 260 - fall*s/600 }
		take.Chronometers[0].AmplitudeAt = amplitude
		h := hear(take, rng, beat.Options{LiftDeg: 40})
		f := h.finding
		if len(f.Swings) < 8 {
			t.Errorf("%d readings in ten minutes", len(f.Swings))
		}
		var errors []float64
		last := 0.0
		for _, s := range f.Swings {
			if s.AtS <= last || s.AtS > 600 {
				t.Errorf("a reading at %g s after one at %g", s.AtS, last)
			}
			last = s.AtS
			errors = append(errors, s.Degrees-amplitude(s.AtS))
		}
		t.Logf("a fall of %g°: %d readings wrong by %.2f° rms, worst %.2f°; amplitude %.2f° ± %.2f°; rate wrong by %.4f s/d, sd %.4f", fall, len(errors), rms(errors), worst(errors), f.Amplitude, f.AmplitudeSd, h.wrong(), f.RateSd)
		if worst(errors) > 3 {
			t.Errorf("a fall of %g°: a reading is wrong by %.1f°", fall, worst(errors))
		}
		near(t, "amplitude", f.Amplitude, amplitude(300), 2*f.AmplitudeSd+fall/2)
		near(t, "rate", float64(f.Rate), h.rate(), 2.5*f.RateSd)
	}
}

// TestTeeth: with a pattern as large as the jitter the teeth of the escape
// wheel, 15 or 16, are found in two minutes.
func TestTeeth(t *testing.T) {
	t.Parallel()
	for _, teeth := range []int{15, 16} {
		all := hearAll("teeth", count(2, 1), func(rng *rand.Rand) (sound.Take, beat.Options) {
			take := minute(rng)
			take.Seconds = 120
			c := &take.Chronometers[0]
			c.Teeth, c.PatternS = teeth, c.JitterS
			return take, beat.Options{}
		})
		found, other := 0, 0
		var errors []float64
		for _, h := range all {
			switch len(h.finding.Teeth) {
			case teeth:
				found++
				errors = append(errors, turned(h.finding.Teeth, h.recorded.Pattern[0])/h.take.Chronometers[0].PatternS)
			case 0:
			default:
				other++
			}
		}
		t.Logf("%d teeth: found in %d of %d, another number in %d; what is left of the pattern %.2f of it", teeth, found, len(all), other, rms(errors))
		if found < int(0.9*float64(len(all))-2.6*math.Sqrt(0.09*float64(len(all)))) {
			t.Errorf("%d teeth: found in %d of %d", teeth, found, len(all))
		}
		if other > len(all)/20 {
			t.Errorf("%d teeth: another number in %d of %d", teeth, other, len(all))
		}
		// Eight turns of scatter as large as the pattern leave 1/√8 of it.
		if len(errors) > 0 && rms(errors) > 0.5 {
			t.Errorf("%d teeth: %.2f of the pattern is left", teeth, rms(errors))
		}
	}
}

// turned returns the rms of got less want, turned to where they agree best.
func turned(got, want []float64) float64 {
	n := len(want)
	best := math.Inf(1)
	for s := range n {
		d := make([]float64, n)
		mean := 0.0
		for i := range d {
			d[i] = got[(i+s)%n] - want[i]
			mean += d[i] / float64(n)
		}
		for i := range d {
			d[i] -= mean
		}
		best = math.Min(best, rms(d))
	}
	return best
}

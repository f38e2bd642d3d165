package listening_test

import (
	"bytes"
	"context"
	"errors"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"timeball/internal/audio"
	"timeball/internal/beat"
	"timeball/internal/listening"
	"timeball/internal/simulate/sound"
	"timeball/internal/timebase"
	"timeball/internal/timesignal"
)

// steady is a half-second chronometer as it comes from the bench.
var steady = sound.Chronometer{JitterS: 20e-6, PatternS: 30e-6, PhaseS: 0.2, RatePerDay: -0.7, AmplitudeDeg: 225}

// recorded returns a take as an open recording, the pulses on its second
// channel if it has any.
func recorded(t *testing.T, take sound.Take, seed uint64) (*audio.Recording, sound.Recorded) {
	t.Helper()
	rec := take.Render(rand.New(rand.NewPCG(seed, 8)))
	samples, channels := rec.Samples, 1
	if rec.Pulse != nil {
		channels, samples = 2, nil
		for i, v := range rec.Samples {
			samples = append(samples, v, rec.Pulse[i])
		}
	}
	rate := take.RateHz
	if rate == 0 {
		rate = 48000
	}
	var b bytes.Buffer
	w := audio.NewWAV(&b, rate, channels, 16)
	if err := errors.Join(w.Write(samples), w.Close()); err != nil {
		t.Fatal(err)
	}
	r, err := audio.Open(&b)
	if err != nil {
		t.Fatal(err)
	}
	return r, rec
}

// TestPulses: five minutes beside one pulse a second, the sampling clock 73
// parts in a million fast: the rate lies within its doubt, which is small.
func TestPulses(t *testing.T) {
	outside := 0
	for seed := range uint64(6) {
		r, _ := recorded(t, sound.Take{RateHz: 16000, Seconds: 300, SNRdB: 20, ClockPPM: 73, SecondPulse: true, PulseJitterS: 2e-6, Chronometers: []sound.Chronometer{steady}}, seed)
		h, err := listening.File(context.Background(), r, listening.Options{PulseChannel: 2})
		if err != nil {
			t.Fatal(err)
		}
		wrong := float64(h.TrueRate) - steady.RatePerDay
		if h.Timebase.Source != timebase.FromPulses || math.Abs(h.Timebase.PPM-73) > 0.01 || h.Sd > 0.01 {
			t.Errorf("seed %d: clock %+v, rate wrong by %.5f, sd %.5f", seed, h.Timebase, wrong, h.Sd)
		}
		if math.Abs(wrong) > 1.96*h.Sd {
			outside++
		}
		if math.Abs(wrong) > 4*h.Sd {
			t.Errorf("seed %d: wrong by %.5f, sd %.5f", seed, wrong, h.Sd)
		}
	}
	if outside > 2 {
		t.Errorf("%d of 6 outside their 95%%", outside)
	}
}

// TestDoubtHoldsTheClock: the doubt of a rate is that of the beats and that of
// the sampling clock in squares, and the clock is taken off: apparent -2.24634
// s/d by a clock 25.71875 ppm fast are -0.02430 (the worked figures of a recorder
// at 48,001.2345 Hz, derived).
func TestDoubtHoldsTheClock(t *testing.T) {
	f := beat.Finding{Heard: true, Rated: true, Usual: true, LoudBeats: 1, PeriodS: 0.5, PerHour: 14400, Rate: -2.24634, RateSd: 0.03}
	h := listening.Judge(f, timebase.Clock{Source: timebase.FromCalibration, PPM: 25.71875, SdPPM: 0.5})
	if math.Abs(float64(h.TrueRate)+0.02430) > 1e-4 || math.Abs(h.Sd-math.Hypot(0.03, 0.0432)) > 1e-9 {
		t.Errorf("rate %.5f sd %.5f", float64(h.TrueRate), h.Sd)
	}
	sum := 0.0
	for _, p := range h.Parts() {
		sum += p.Sd * p.Sd
	}
	if math.Abs(math.Sqrt(sum)-h.Sd) > 1e-12 {
		t.Errorf("the parts make %.6f of %.6f", math.Sqrt(sum), h.Sd)
	}
	l, ok := h.Fact()
	if !ok || l.RateSDSPerDay < h.Sd || l.Timebase.PPMSD != 0.5 {
		t.Errorf("entry %+v", l)
	}
	bare := listening.Judge(f, timebase.Assumed())
	if !strings.Contains(bare.Verdict(), "never certify") || bare.Sd < 4.3 {
		t.Errorf("an unmeasured clock: %q, sd %.2f", bare.Verdict(), bare.Sd)
	}
}

// arriving feeds a take to a listening in stretches of 43 ms that arrive up to
// a few hundredths of a second after they were whole.
func arriving(l *listening.Live, rec sound.Recorded, rate int, ppm float64, begun time.Time, rng *rand.Rand) {
	const frames = 2048
	for i := 0; i < len(rec.Samples); i += frames {
		end := min(len(rec.Samples), i+frames)
		l.Write(rec.Samples[i:end])
		whole := float64(end) / (float64(rate) * (1 + ppm*1e-6))
		late := 0.002 + 0.006*rng.ExpFloat64()
		l.Arrived(begun.Add(time.Duration((whole+late)*float64(time.Second))), 0.001)
	}
}

// TestTwoListeningsADayApart: two listenings of half a minute, by a sampling
// clock 40 parts in a million wrong that nobody measured, give the daily rate to
// some milliseconds, and the doubt of each instant is honest.
func TestTwoListeningsADayApart(t *testing.T) {
	const rate, ppm = 16000, 40
	noon := time.Date(2027, 3, 4, 12, 0, 0, 0, time.UTC)
	within, n := 0, 0
	var worst float64
	for seed := range uint64(12) {
		rng := rand.New(rand.NewPCG(seed, 21))
		var errs []float64
		for day := range 2 {
			c := steady
			c.PhaseS = 0.5 * rng.Float64()
			take := sound.Take{RateHz: rate, Seconds: 30, SNRdB: 20, ClockPPM: ppm, Chronometers: []sound.Chronometer{c}}
			rec := take.Render(rng)
			l, err := listening.NewLive(rate, 1, listening.Options{})
			if err != nil {
				t.Fatal(err)
			}
			begun := noon.AddDate(0, 0, day)
			arriving(l, rec, rate, ppm, begun, rng)
			l.Close()
			p, ok := l.Phase()
			if !ok {
				t.Fatalf("seed %d day %d: no phase", seed, day)
			}
			// The drop of the beat nearest to the instant told: the truth has the
			// unlocking, the drop follows by the delay of the amplitude.
			drop := sound.DropDelay(0.5, 225, 40, 0)
			best := math.Inf(1)
			for _, b := range rec.Beats[0] {
				at := b/(1+ppm*1e-6) + drop
				if d := p.At.Sub(begun).Seconds() - at; math.Abs(d) < math.Abs(best) {
					best = d
				}
			}
			errs = append(errs, best)
			// The least of the delays, 2 ms, stays in it as in any microphone.
			n++
			if math.Abs(best-0.002) <= 1.96*p.SdS+0.0005 {
				within++
			}
		}
		worst = math.Max(worst, math.Abs(errs[1]-errs[0]))
	}
	t.Logf("%d of %d instants within their doubt; worst daily rate wrong by %.4f s", within, n, worst)
	if within < n*8/10 || worst > 0.01 {
		t.Errorf("%d of %d within, worst %.4f s", within, n, worst)
	}
}

// TestCounted: an hour whose frames are counted against UTC tells the sampling
// clock, and the rate then has its doubt and not the 4.3 s a day of a guess.
func TestCounted(t *testing.T) {
	const rate, ppm = 8000, -31
	rng := rand.New(rand.NewPCG(3, 3))
	c := steady
	take := sound.Take{RateHz: rate, Seconds: 3600, SNRdB: 20, ClockPPM: ppm, Chronometers: []sound.Chronometer{c}}
	l, err := listening.NewLive(rate, 1, listening.Options{})
	if err != nil {
		t.Fatal(err)
	}
	arriving(l, take.Render(rng), rate, ppm, time.Date(2027, 3, 4, 12, 0, 0, 0, time.UTC), rng)
	h := l.Close()
	t.Logf("clock %+v, rate %.4f ± %.4f", h.Timebase, float64(h.TrueRate), 1.96*h.Sd)
	if h.Timebase.Source != timebase.FromArrivals || math.Abs(h.Timebase.PPM-ppm) > 4*h.Timebase.SdPPM || h.Timebase.SdPPM > 2 {
		t.Errorf("clock %+v, want %d ppm", h.Timebase, ppm)
	}
	if wrong := float64(h.TrueRate) - c.RatePerDay; math.Abs(wrong) > 4*h.Sd || h.Sd > 0.2 {
		t.Errorf("rate wrong by %.4f, sd %.4f", wrong, h.Sd)
	}
}

// TestLost: frames that were lost and told are silence, not a jump.
func TestLost(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 3))
	rec := sound.Take{RateHz: 16000, Seconds: 60, SNRdB: 20, Chronometers: []sound.Chronometer{steady}}.Render(rng)
	l, err := listening.NewLive(16000, 1, listening.Options{})
	if err != nil {
		t.Fatal(err)
	}
	l.Write(rec.Samples[:16000*25])
	l.Lose(16000 * 5)
	l.Write(rec.Samples[16000*30:])
	h := l.Close()
	if len(h.Gaps) != 0 || !h.Rated || h.Missed > 2 || math.Abs(float64(h.TrueRate)-steady.RatePerDay) > 5*h.RateSd {
		t.Errorf("gaps %v, rate %.4f sd %.4f, missed %d", h.Gaps, float64(h.TrueRate), h.RateSd, h.Missed)
	}
}

// TestLongRecording: an hour and more shows amplitude and rate along it.
func TestLongRecording(t *testing.T) {
	c := steady
	falls := func(s float64) float64 { return 260 - 20*s/4000 }
	c.AmplitudeAt = falls
	r, _ := recorded(t, sound.Take{RateHz: 16000, Seconds: 4000, SNRdB: 20, Chronometers: []sound.Chronometer{c}}, 4)
	h, err := listening.File(context.Background(), r, listening.Options{Options: beat.Options{LiftDeg: 40}})
	if err != nil {
		t.Fatal(err)
	}
	l, ok := h.Fact()
	if !ok || l.Reading == nil {
		t.Fatalf("no reading: %q", h.Verdict())
	}
	if n := len(l.Reading.Amplitude); n < 10 || n > 400 {
		t.Errorf("%d amplitudes", n)
	}
	for _, a := range l.Reading.Amplitude {
		if want := falls(3600 * a.H); math.Abs(a.Deg-want) > 4 {
			t.Errorf("amplitude %.1f at %.2f h, want %.1f", a.Deg, a.H, want)
		}
	}
	if n := len(l.Reading.Rate); n < 10 || n > 400 {
		t.Errorf("%d rates", n)
	}
	// The drop moves against the unlocking as the amplitude falls: some hundredths
	// of a second a day.
	for _, p := range l.Reading.Rate {
		if math.Abs(p.SPerDay-c.RatePerDay) > 0.1 {
			t.Errorf("rate %.3f at %.2f h", p.SPerDay, p.H)
		}
	}
	if len(l.Reading.TeethUS) != 15 {
		t.Errorf("%d teeth", len(l.Reading.TeethUS))
	}
}

// TestAsked: what does not fit the recording is refused in a sentence.
func TestAsked(t *testing.T) {
	take := sound.Take{RateHz: 8000, Seconds: 12, SNRdB: 20, Chronometers: []sound.Chronometer{steady}}
	for _, c := range []struct {
		o    listening.Options
		want string
	}{
		{listening.Options{Channel: 2}, "there is no channel 2, it has one channel"},
		{listening.Options{PulseChannel: 1}, "it has one channel"},
		{listening.Options{FromS: 5, ToS: 4}, "is not after the beginning"},
		{listening.Options{Channel: -1}, "there is no channel"},
	} {
		r, _ := recorded(t, take, 1)
		_, err := listening.File(context.Background(), r, c.o)
		if !errors.Is(err, listening.ErrAsked) || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%+v: %v", c.o, err)
		}
	}
	take.SecondPulse, take.Seconds = true, 40
	r, _ := recorded(t, take, 1)
	if _, err := listening.File(context.Background(), r, listening.Options{PulseChannel: 1}); !errors.Is(err, timesignal.ErrNoSeconds) {
		t.Errorf("the beat taken for pulses: %v", err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	r, _ = recorded(t, take, 1)
	if _, err := listening.File(ctx, r, listening.Options{}); !errors.Is(err, context.Canceled) {
		t.Errorf("cancelled: %v", err)
	}
}

// TestPart: from and to take a part, and places are those of the file.
func TestPart(t *testing.T) {
	r, rec := recorded(t, sound.Take{RateHz: 16000, Seconds: 60, SNRdB: 20, Chronometers: []sound.Chronometer{steady}}, 2)
	h, err := listening.File(context.Background(), r, listening.Options{FromS: 20, ToS: 50})
	if err != nil {
		t.Fatal(err)
	}
	if math.Abs(h.DurationS-30) > 0.01 || h.Beats < 57 || h.Beats > 61 {
		t.Errorf("%.2f s, %d beats", h.DurationS, h.Beats)
	}
	drop := sound.DropDelay(0.5, 225, 40, 0)
	at := h.Strokes[0].AtS + h.FromS
	best := math.Inf(1)
	for _, b := range rec.Beats[0] {
		best = math.Min(best, math.Abs(at-b-drop))
	}
	if best > 0.0005 {
		t.Errorf("the first beat at %.4f s of the file is no beat: off by %.4f", at, best)
	}
}

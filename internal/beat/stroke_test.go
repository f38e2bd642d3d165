package beat_test

import (
	"fmt"
	"math"
	"testing"

	"timeball/internal/beat"
	"timeball/internal/timebase"
)

// TestStrokes: each beat that is told was one, at its place to some
// microseconds, and the numbers count those that were not heard.
func TestStrokes(t *testing.T) {
	t.Parallel()
	rng := source("strokes", 0)
	take := minute(rng)
	take.Chronometers[0].MissingShare = 0.1
	rec := take.Render(rng)
	l := listen(rec.Samples, 48000, beat.Options{})
	beats, numbers := rec.Beats[0], rec.Numbers[0]
	var late, rest []float64
	i, first, last := 0, int64(-1), -1.0
	l.Strokes(nil, func(s beat.Stroke) {
		if s.AtS <= last {
			t.Fatalf("a beat at %.6f s after one at %.6f", s.AtS, last)
		}
		last = s.AtS
		for i < len(beats)-1 && beats[i]+0.1 < s.AtS {
			i++
		}
		if math.Abs(beats[i]-s.AtS) > 0.03 {
			t.Fatalf("no beat sounded at %.6f s", s.AtS)
		}
		if first < 0 {
			first = int64(numbers[i])
		}
		if s.Number != int64(numbers[i])-first {
			t.Fatalf("beat %d at %.3f s is called %d", int64(numbers[i])-first, s.AtS, s.Number)
		}
		late, rest = append(late, s.AtS-beats[i]), append(rest, s.LateS)
		if s.Fit < 0 || s.Fit > 1 || s.Level <= 0 || s.Beats != 1 || s.Segment != 0 {
			t.Fatalf("%+v", s)
		}
	})
	if missing := len(beats) - len(late); missing > 2 || missing < 0 {
		t.Errorf("%d of %d beats are told", len(late), len(beats))
	}
	f := l.Finding(nil)
	if f.Beats != len(late) || f.Missed < 5 {
		t.Errorf("%d beats and %d missed, told %d of %d", f.Beats, f.Missed, len(late), numbers[len(numbers)-1]+1)
	}
	mean := 0.0
	for _, v := range late {
		mean += v / float64(len(late))
	}
	for i := range late {
		late[i] -= mean
	}
	// The parts of a beat scatter by 5 µs among themselves.
	t.Logf("place within %.1f µs rms, from the unlocking to what is timed %.3f ms; about the line %.1f µs rms", 1e6*rms(late), 1e3*mean, 1e6*rms(rest))
	if rms(late) > 7e-6 {
		t.Errorf("places are wrong by %.1f µs rms", 1e6*rms(late))
	}
	if mean < 0 || mean > 0.016 {
		t.Errorf("what is timed comes %.2f ms after the unlocking", 1e3*mean)
	}
}

// TestTrueSeconds: seconds of the file turned into true ones move the rate as
// r = 86400 ((1 + r'/86400)(1 + e) - 1), and nothing else.
func TestTrueSeconds(t *testing.T) {
	t.Parallel()
	rng := source("true seconds", 0)
	take := minute(rng)
	take.ClockPPM = 58.3
	rec := take.Render(rng)
	l := listen(rec.Samples, 48000, beat.Options{})
	apparent, put := l.Finding(nil), l.Finding(func(s float64) float64 { return s / (1 + 58.3e-6) })
	clock := timebase.Clock{PPM: 58.3}
	near(t, "rate by true seconds", float64(put.Rate), clock.Rate(float64(apparent.Rate)), 1e-6)
	near(t, "its doubt over that by the file", put.RateSd/apparent.RateSd, 1, 1e-3)
	near(t, "rate", float64(put.Rate), take.Chronometers[0].RatePerDay, 4*put.RateSd)
}

// TestWholeInterval: with the sampling clock drawn from what is known of it,
// the interval of rate and clock together holds the truth 95 times in a hundred.
func TestWholeInterval(t *testing.T) {
	t.Parallel()
	for _, clock := range []timebase.Clock{timebase.Assumed(), {Source: timebase.FromPulses, PPM: -31, SdPPM: 0.1}} {
		n := count(6, 4)
		scores := make([]float64, n)
		each(n, func(i int) {
			rng := source("clock "+string(clock.Source), i)
			take := minute(rng)
			take.RateHz, take.SNRdB = 16000, 10
			take.ClockPPM = clock.PPM + clock.SdPPM*rng.NormFloat64()
			f := hear(take, rng, beat.Options{}).finding
			sd := math.Hypot(f.RateSd, clock.SdRate())
			scores[i] = (clock.Rate(float64(f.Rate)) - take.Chronometers[0].RatePerDay) / sd
			if !f.Heard || !f.Rated {
				t.Errorf("%d is refused", i)
			}
		})
		inside := 0
		for _, z := range scores {
			if math.Abs(z) <= 1.96 {
				inside++
			}
		}
		t.Logf("clock %s: %d of %d within, errors in sd rms %.2f, worst %.2f", clock.Source, inside, n, rms(scores), worst(scores))
		if inside < least90(n) {
			t.Errorf("clock %s: %d of %d within", clock.Source, inside, n)
		}
	}
}

// differ compares two findings of the same sound.
func differ(t *testing.T, what string, a, b beat.Finding, ofSd float64) {
	t.Helper()
	if !a.Heard || a.Heard != b.Heard || a.Rated != b.Rated || a.PerHour != b.PerHour || a.LoudBeats != b.LoudBeats {
		t.Errorf("%s: heard %v %v, rated %v %v, %g and %g/h, loud %d and %d", what, a.Heard, b.Heard, a.Rated, b.Rated, a.PerHour, b.PerHour, a.LoudBeats, b.LoudBeats)
		return
	}
	if d := math.Abs(float64(a.Rate - b.Rate)); d > ofSd*a.RateSd {
		t.Errorf("%s: rates differ by %.4g s/d, %.2f sd", what, d, d/a.RateSd)
	}
	if d := a.Beats - b.Beats; d < -1 || d > 1 {
		t.Errorf("%s: %d and %d beats", what, a.Beats, b.Beats)
	}
}

// TestChunks: in whatever pieces the sound comes, the finding is the same. A
// beat is sought at given lengths of sound, 5 s at first: pieces that do not end
// there have it sought in a longer stretch, and the beats are timed by a shape
// that is made from there, a tenth of the doubt apart.
func TestChunks(t *testing.T) {
	t.Parallel()
	for _, db := range []float64{20, 0} {
		rng := source("chunks", int(db))
		take := minute(rng)
		take.SNRdB, take.Seconds, take.RateHz = db, 30, 16000
		samples := take.Render(rng).Samples
		by := func(chunk int) beat.Finding { return listenBy(samples, 16000, 1, chunk, beat.Options{}).Finding(nil) }
		base := by(1600)
		differ(t, "chunks of one", base, by(1), 1e-6)
		differ(t, "chunks of 10 ms", base, by(160), 1e-6)
		for _, chunk := range []int{480, 4800, 17011, len(samples)} {
			differ(t, fmt.Sprintf("chunks of %d", chunk), base, by(chunk), 0.3)
		}
	}
}

// TestScale: the same sound louder or fainter is the same beat.
func TestScale(t *testing.T) {
	t.Parallel()
	rng := source("scale", 0)
	take := minute(rng)
	take.Seconds = 30
	samples := take.Render(rng).Samples
	base := listen(samples, 48000, beat.Options{LiftDeg: 40}).Finding(nil)
	for _, scale := range []float64{1e-3, 0.1, 1.7, -1} {
		scaled := make([]float64, len(samples))
		for i, v := range samples {
			scaled[i] = scale * v
		}
		f := listen(scaled, 48000, beat.Options{LiftDeg: 40}).Finding(nil)
		differ(t, "scaled", base, f, 1e-3)
		near(t, "level over the noise", f.LevelDB, base.LevelDB, 0.05)
	}
}

// TestChannels: the channel in which the beat is better is taken, and two in
// opposite phase are never added.
func TestChannels(t *testing.T) {
	t.Parallel()
	rng := source("channels", 0)
	take := minute(rng)
	take.Seconds = 30
	samples := take.Render(rng).Samples
	noise := func(sd float64) float64 { return sd * rng.NormFloat64() }
	join := func(left, right func(i int) float64) beat.Finding {
		both := make([]float64, 2*len(samples))
		for i := range samples {
			both[2*i], both[2*i+1] = left(i), right(i)
		}
		return listenBy(both, 48000, 2, 4800, beat.Options{}).Finding(nil)
	}
	plain := func(i int) float64 { return samples[i] }
	one := listen(samples, 48000, beat.Options{}).Finding(nil)
	for name, c := range map[string]struct {
		f    beat.Finding
		want int
	}{
		"the beat in the left":        {join(plain, func(int) float64 { return noise(0.05) }), 0},
		"the beat in the right":       {join(func(int) float64 { return noise(0.05) }, plain), 1},
		"the other silent":            {join(func(int) float64 { return 0 }, plain), 1},
		"opposite phase":              {join(plain, func(i int) float64 { return -samples[i] }), -1},
		"the right with more noise":   {join(plain, func(i int) float64 { return samples[i] + noise(0.02) }), 0},
		"the left with more noise":    {join(func(i int) float64 { return samples[i] + noise(0.02) }, plain), 1},
		"the left with noise, louder": {join(func(i int) float64 { return 1.9 * (samples[i] + noise(0.02)) }, plain), 1},
	} {
		if c.want >= 0 && c.f.Channel != c.want {
			t.Errorf("%s: channel %d is taken, want %d", name, c.f.Channel, c.want)
		}
		differ(t, name, one, c.f, 1e-3)
	}
}

// TestAskedAtAnyTime: a finding may be asked for while the sound comes, which
// changes nothing, and its doubt falls.
func TestAskedAtAnyTime(t *testing.T) {
	t.Parallel()
	rng := source("asked", 0)
	take := minute(rng)
	samples := take.Render(rng).Samples
	l := beat.NewListener(48000, 1, beat.Options{})
	var sds []float64
	for i := 0; i < len(samples); i += 48000 {
		l.Write(samples[i : i+48000])
		near(t, "seconds", l.Seconds(), float64(i/48000+1), 1e-9)
		if f := l.Finding(nil); f.Heard && f.Rated {
			sds = append(sds, f.RateSd)
		} else if i > 10*48000 {
			t.Errorf("after %d s: %s", i/48000, f.Why)
		}
	}
	l.Close()
	if len(sds) < 45 || sds[0] < 10*sds[len(sds)-1] {
		t.Errorf("doubts %.3g", sds)
	}
	differ(t, "asked on the way", listenBy(samples, 48000, 1, 48000, beat.Options{}).Finding(nil), l.Finding(nil), 1e-9)
}

// TestTold: told the number of vibrations, the listener finds it.
func TestTold(t *testing.T) {
	t.Parallel()
	rng := source("told", 0)
	take := minute(rng)
	take.Seconds, take.SNRdB = 30, 5
	samples := take.Render(rng).Samples
	near(t, "vibrations an hour", listen(samples, 48000, beat.Options{PerHour: 14400}).Finding(nil).PerHour, 14400, 0)
	// Told another, whose beats fall on some of these, it misses many of them.
	f := listen(samples, 48000, beat.Options{PerHour: 18000}).Finding(nil)
	if f.Rated && f.PerHour == 18000 && 10*f.Missed < f.Beats {
		t.Errorf("14,400 is rated as 18,000 at %.2f s/d, %d beats and %d missed", float64(f.Rate), f.Beats, f.Missed)
	}
}

// TestNothing: too little, or nothing, is refused with a word.
func TestNothing(t *testing.T) {
	t.Parallel()
	rng := source("nothing", 0)
	take := minute(rng)
	take.Seconds = 3
	for name, samples := range map[string][]float64{
		"no sound": nil, "one sample": {0.1}, "silence": make([]float64, 480000), "three seconds": take.Render(rng).Samples,
		"a constant": constant(480000, 0.5), "full scale": constant(480000, 1),
	} {
		l := listen(samples, 48000, beat.Options{PerHour: 14400, LiftDeg: 40})
		f := l.Finding(nil)
		if f.Heard || f.Rated || f.Why == "" {
			t.Errorf("%s: heard %v, rated %v, %q", name, f.Heard, f.Rated, f.Why)
		}
		if name != "three seconds" {
			l.Strokes(nil, func(s beat.Stroke) { t.Errorf("%s: %+v", name, s) })
		}
	}
}

// TestShortest: sound of any small length is refused with a word.
func TestShortest(t *testing.T) {
	t.Parallel()
	rng := source("shortest", 0)
	take := minute(rng)
	take.Seconds = 4
	for _, rateHz := range []int{8000, 44100, 192000} {
		take.RateHz = rateHz
		samples := take.Render(rng).Samples
		for n := 1; n < 4*rateHz; n += 1 + n/7 {
			if f := listen(samples[:n], rateHz, beat.Options{}).Finding(nil); f.Heard || f.Why == "" {
				t.Errorf("%d samples at %d Hz: heard %v, %q", n, rateHz, f.Heard, f.Why)
			}
		}
	}
}

func constant(n int, v float64) []float64 {
	x := make([]float64, n)
	for i := range x {
		x[i] = v
	}
	return x
}

// TestLead: sound before the first beat moves no rate.
func TestLead(t *testing.T) {
	t.Parallel()
	each(count(6, 1), func(i int) {
		rng := source("lead", i)
		take := minute(rng)
		take.RateHz, take.Seconds = 8000, 20
		samples := take.Render(rng).Samples
		before := make([]float64, rng.IntN(16000), 16000+len(samples))
		for i := range before { // as loud as the noise of the rest
			before[i] = 0.01 * rng.NormFloat64()
		}
		a := listen(samples, 8000, beat.Options{}).Finding(nil)
		b := listen(append(before, samples...), 8000, beat.Options{}).Finding(nil)
		if !a.Heard || !b.Heard || math.Abs(float64(a.Rate-b.Rate)) > 0.5*a.RateSd {
			t.Errorf("%d frames before: heard %v and %v, %.4f and %.4f s/d, sd %.4f", len(before), a.Heard, b.Heard, float64(a.Rate), float64(b.Rate), a.RateSd)
		}
	})
}

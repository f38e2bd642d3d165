package timesignal_test

import (
	"errors"
	"math"
	"math/rand/v2"
	"runtime"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"timeball/internal/timesignal"
)

func near(t *testing.T, what string, got, want, within float64) {
	t.Helper()
	if !(math.Abs(got-want) <= within) {
		t.Errorf("%s is %.9g, want %.9g ± %.3g", what, got, want, within)
	}
}

// A wave is what a pulse does at s seconds after its onset; r is the number of
// the second.
type wave func(s float64, second int) float64

// edge is a step that a sound input can show: its frequencies end below the
// highest one.
func edge(s, rateHz float64) float64 { return (1 + math.Erf(s*rateHz/1.4)) / 2 }

func rectangle(lengthS, rateHz float64) wave {
	return func(s float64, _ int) float64 { return 0.5 * (edge(s, rateHz) - edge(s-lengthS, rateHz)) }
}

// spike is the rectangle behind a high-pass of cornerHz.
func spike(lengthS, cornerHz, rateHz float64) wave {
	fall := func(s float64) float64 {
		return edge(s, rateHz) * math.Exp(-2*math.Pi*cornerHz*max(0, s))
	}
	return func(s float64, _ int) float64 { return 0.5 * (fall(s) - fall(s-lengthS)) }
}

func pip(hz, lengthS float64, phase func(second int) float64) wave {
	return func(s float64, second int) float64 {
		if second%60 == 0 {
			lengthS := lengthS * 5 // the marker of the minute
			return gate(s, lengthS) * 0.3 * math.Sin(2*math.Pi*hz*s+phase(second))
		}
		return gate(s, lengthS) * 0.3 * math.Sin(2*math.Pi*hz*s+phase(second))
	}
}

func gate(s, lengthS float64) float64 {
	if s < 0 || s > lengthS {
		return 0
	}
	return 1
}

// record finds the pulses of a channel of rateHz whose seconds are those of a
// clock that is ppm fast, the first at firstS, with noise; left out are those of
// which without says so.
func record(w wave, rateHz, ppm, firstS, lengthS, noise float64, without func(second int) bool, random *rand.Rand) *timesignal.Finder {
	f := timesignal.New(rateHz)
	n := int(lengthS * rateHz)
	block := make([]float64, 0, 777)
	for i := range n {
		at := float64(i)/rateHz - firstS
		second := math.Floor((at + 0.1) / (1 + ppm/1e6))
		v := 0.002 + noise*random.NormFloat64()
		if second >= 0 && !without(int(second)) {
			v += w(at-second*(1+ppm/1e6), int(second))
		}
		if block = append(block, v); len(block) == cap(block) {
			f.Write(block)
			block = block[:0]
		}
	}
	f.Write(block)
	return f
}

func none(int) bool { return false }

// TestFinds measures pulses of every kind that a recording may have: all are
// found, at a fixed small distance from where they were put.
func TestFinds(t *testing.T) {
	same := func(int) float64 { return 0 }
	anew := func(second int) float64 { return 2.4 * float64(second*second) }
	gaps := func(second int) bool { return second%60 == 29 || second%60 >= 55 }
	for _, c := range []struct {
		name     string
		w        wave
		rateHz   float64
		noise    float64
		without  func(int) bool
		offS     float64 // of the onset, at most
		scatterS float64 // about it, at most
		ppm      float64 // of the clock found, at most off
	}{
		{"rectangle of 1 ms", rectangle(0.001, 48000), 48000, 1e-4, none, 5e-6, 1e-7, 0.001},
		{"rectangle of 20 ms", rectangle(0.020, 48000), 48000, 1e-4, none, 5e-6, 1e-7, 0.001},
		{"rectangle of 200 ms", rectangle(0.200, 44100), 44100, 1e-4, none, 5e-6, 1e-7, 0.001},
		{"spike of 100 ms", spike(0.100, 30, 48000), 48000, 1e-4, none, 5e-6, 1e-7, 0.001},
		{"faint spike in noise", spike(0.100, 30, 48000), 48000, 0.02, none, 2e-5, 5e-6, 0.1},
		{"negative spike", func(s float64, k int) float64 { return -spike(0.050, 200, 48000)(s, k) }, 48000, 1e-4, none, 2e-5, 1e-7, 0.001},
		{"pips of 5 ms of 1 kHz", pip(1000, 0.005, same), 48000, 1e-3, gaps, 1e-4, 2e-6, 0.1},
		{"pips of 100 ms of 500 Hz", pip(500, 0.1, same), 48000, 1e-3, gaps, 3e-4, 5e-6, 0.1},
		{"pips of 2 kHz at 8 kHz", pip(2000, 0.050, same), 8000, 1e-3, gaps, 1e-4, 5e-6, 0.2},
		{"pips in noise", pip(1000, 0.1, same), 48000, 0.05, gaps, 1e-4, 2e-5, 1},
		{"pips of any phase", pip(1000, 0.1, anew), 48000, 1e-3, gaps, 1e-4, 1e-4, 0.5},
	} {
		t.Run(c.name, func(t *testing.T) {
			random := rand.New(rand.NewPCG(1, 1))
			const ppm, firstS, seconds = -58.3, 0.7312, 120
			f := record(c.w, c.rateHz, ppm, firstS, seconds+0.5, c.noise, c.without, random)
			got := f.Pulses()
			var want []float64
			for k := range seconds {
				if !c.without(k) {
					want = append(want, firstS+float64(k)*(1+ppm/1e6))
				}
			}
			var off []float64
			for _, w := range want {
				for _, p := range got {
					if math.Abs(p.AtS-w) < 0.002 {
						off = append(off, p.AtS-w)
					}
				}
			}
			if len(off) != len(want) || len(got) != len(want) {
				t.Fatalf("%d pulses, %d of them right, want %d: %v", len(got), len(off), len(want), got[:min(3, len(got))])
			}
			mean, scatter := 0.0, 0.0
			for _, v := range off {
				mean += v / float64(len(off))
			}
			for _, v := range off {
				scatter += (v - mean) * (v - mean) / float64(len(off))
			}
			scatter = math.Sqrt(scatter)
			clock, err := timesignal.Fit(got)
			if err != nil {
				t.Fatal(err)
			}
			t.Logf("off %.3g s, scatter %.3g s, e %.5f ± %.5f", mean, scatter, clock.PPM, clock.SdPPM)
			near(t, "onset", mean, 0, c.offS)
			near(t, "scatter", scatter, 0, c.scatterS)
			near(t, "e", clock.PPM, ppm, c.ppm)
			near(t, "e in its doubts", (clock.PPM-ppm)/clock.SdPPM, 0, 4)
			if len(clock.Jumps) != 0 || clock.Extra != 0 || clock.Wanders {
				t.Errorf("%+v", clock)
			}
		})
	}
}

// TestThreeHundredPulses is a derived example: 300 pulses by a clock of -58.300
// ppm give it back within 0.001 ppm, with a doubt near s√12/(T√N).
func TestThreeHundredPulses(t *testing.T) {
	random := rand.New(rand.NewPCG(2, 3))
	f := record(rectangle(0.020, 48000), 48000, -58.3, 0.4, 300, 2e-4, none, random)
	c, err := timesignal.Fit(f.Pulses())
	if err != nil || c.Pulses != 300 {
		t.Fatalf("%v, %+v", err, c)
	}
	near(t, "e", c.PPM, -58.3, 0.001)
	want := 1e6 * c.ScatterS * math.Sqrt(12) / (300 * math.Sqrt(300))
	near(t, "its doubt", c.SdPPM, want, 0.05*want)
	near(t, "its doubt", c.SdPPM, 0, 0.0005)
	t.Logf("%.6f ± %.6f ppm, scatter %.2g s", c.PPM, c.SdPPM, c.ScatterS)
}

// jitter returns pulses at whole seconds of a clock, each off by sd.
func jitter(random *rand.Rand, n int, ppm, sdS float64) (all []timesignal.Pulse) {
	for k := range n {
		all = append(all, timesignal.Pulse{AtS: 0.25 + float64(k)*(1+ppm/1e6) + sdS*random.NormFloat64(), Strength: 1})
	}
	return all
}

// TestDoubt: with 2 µs a pulse the rate is known to 0.0013 s/d in 60 s and 0.0001
// in 300 s, and 95% intervals hold what they claim.
func TestDoubt(t *testing.T) {
	random := rand.New(rand.NewPCG(4, 5))
	for _, row := range []struct {
		seconds int
		perDay  float64
		within  float64
	}{{60, 0.0013, 0.0001}, {300, 0.0001, 0.00003}} {
		held, mean := 0, 0.0
		const runs = 500
		for range runs {
			c, err := timesignal.Fit(jitter(random, row.seconds, 31.4, 2e-6))
			if err != nil {
				t.Fatal(err)
			}
			mean += c.Timebase().SdRate() / runs
			if math.Abs(c.PPM-31.4) <= 1.96*c.SdPPM {
				held++
			}
		}
		near(t, "doubt in s/d", mean, row.perDay, row.within)
		if held < 0.93*runs || held > 0.98*runs {
			t.Errorf("%d of %d held", held, runs)
		}
	}
}

// TestMissingAndExtra: what is no second is left out, what is missing is counted,
// and a jump ends a run without bending the rate.
func TestMissingAndExtra(t *testing.T) {
	random := rand.New(rand.NewPCG(6, 7))
	all := jitter(random, 600, 12, 20e-6)
	var kept []timesignal.Pulse
	for k, p := range all {
		switch {
		case k >= 200:
			p.AtS -= 0.0107 // 512 frames of 48,000 lost
		case k%7 == 3:
			continue
		}
		kept = append(kept, p)
		if k%40 == 11 {
			kept = append(kept, timesignal.Pulse{AtS: p.AtS + 0.3*random.Float64() + 0.1, Strength: 3})
		}
	}
	for i := range kept {
		if kept[i].AtS > 400 {
			kept[i].AtS -= 0.31
		}
	}
	slices.Reverse(kept)
	c, err := timesignal.Fit(kept)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "e", c.PPM, 12, 4*c.SdPPM)
	near(t, "its doubt", c.SdPPM, 0, 0.03)
	if c.Extra != 14 || c.Missing != 29 || len(c.Jumps) != 2 {
		t.Fatalf("%d extra, %d missing, jumps %+v", c.Extra, c.Missing, c.Jumps)
	}
	near(t, "first loss", c.Jumps[0].LostS, 0.0107, 50e-6)
	near(t, "second loss", c.Jumps[1].LostS, 0.31, 50e-6)
	if !(c.Jumps[0].AfterS < 200.2 && c.Jumps[0].BeforeS > 200.2) {
		t.Errorf("first jump %+v", c.Jumps[0])
	}
	for k := 1; k < 600; k++ {
		if k == 199 {
			continue // in the gap where the jump is
		}
		at := 0.25 + float64(k)*(1+12e-6)
		if k >= 200 {
			at -= 0.0107
		}
		if at > 400 {
			at -= 0.31
		}
		near(t, "true second", c.TrueS(at), float64(k), 20e-6)
	}
}

// TestWander: a crystal that follows the warmth of a room is followed, and true
// time comes out of file time as it went in.
func TestWander(t *testing.T) {
	random := rand.New(rand.NewPCG(8, 9))
	file := func(k float64) float64 { return 5 + k*(1+20e-6) + 200e-6*math.Sin(2*math.Pi*k/1500) } // ±0.84 ppm
	var all []timesignal.Pulse
	for k := range 3600 {
		all = append(all, timesignal.Pulse{AtS: file(float64(k)) + 3e-6*random.NormFloat64(), Strength: 1})
	}
	c, err := timesignal.Fit(all)
	if err != nil || !c.Wanders {
		t.Fatalf("%v, %t", err, c.Wanders)
	}
	worst := 0.0
	for k := 0.5; k < 3599; k++ {
		worst = max(worst, math.Abs(c.TrueS(file(k))-k))
	}
	near(t, "worst true second", worst, 0, 8e-6)
	near(t, "after the end", c.TrueS(file(3650)), 3650, 3e-4)
	near(t, "before the beginning", c.TrueS(file(-4)), -4, 3e-5)
	near(t, "e", c.PPM, 20, 4*c.SdPPM)
	still, err := timesignal.Fit(jitter(random, 3600, 20, 3e-6))
	if err != nil || still.Wanders {
		t.Errorf("%v, a steady clock wanders", err)
	}
}

// TestRefuses says in words what is wrong.
func TestRefuses(t *testing.T) {
	random := rand.New(rand.NewPCG(10, 11))
	var halves, knocks []timesignal.Pulse
	for k := range 200 {
		halves = append(halves, timesignal.Pulse{AtS: 0.5 * float64(k) * 1.00001, Strength: 1})
	}
	if c, err := timesignal.Fit(jitter(random, 9, 0, 0)); !errors.Is(err, timesignal.ErrNoSeconds) || !strings.Contains(err.Error(), "only 9") {
		t.Errorf("%+v, %v", c, err)
	}
	if c, err := timesignal.Fit(halves); !errors.Is(err, timesignal.ErrNoSeconds) || !strings.Contains(err.Error(), "two pulses") {
		t.Errorf("%+v, %v", c, err)
	}
	for range 100 {
		knocks = knocks[:0]
		for range 100 {
			knocks = append(knocks, timesignal.Pulse{AtS: 100 * random.Float64(), Strength: 1})
		}
		if c, err := timesignal.Fit(knocks); !errors.Is(err, timesignal.ErrNoSeconds) {
			t.Errorf("%+v, %v", c, err)
		}
	}
	for name, w := range map[string]wave{
		"silence": func(float64, int) float64 { return 0 },
		"hum":     func(s float64, k int) float64 { return 0.1 * math.Sin(2*math.Pi*50*(s+float64(k))) },
	} {
		f := record(w, 48000, 0, 0.5, 60, 1e-3, none, random)
		if got := f.Pulses(); len(got) != 0 {
			t.Errorf("%s: %d pulses", name, len(got))
		}
	}
}

// TestKnocks: pulses are found among louder and fainter knocks that are none.
func TestKnocks(t *testing.T) {
	random := rand.New(rand.NewPCG(12, 13))
	pulse := spike(0.1, 30, 48000)
	var knocks []float64
	for range 90 {
		knocks = append(knocks, 180*random.Float64())
	}
	slices.Sort(knocks)
	next := 0
	w := func(s float64, second int) float64 {
		at := s + float64(second)
		for next < len(knocks)-1 && at > knocks[next]+0.03 {
			next++
		}
		d := at - knocks[next]
		v := pulse(s, second)
		if d > 0 {
			v += 0.7 * math.Exp(-d/0.002) * math.Sin(2*math.Pi*1800*d)
		}
		return v
	}
	f := record(w, 48000, 40, 0.3, 180, 1e-3, none, random)
	c, err := timesignal.Fit(f.Pulses())
	if err != nil {
		t.Fatal(err)
	}
	near(t, "e", c.PPM, 40, max(0.002, 4*c.SdPPM))
	if c.Pulses < 160 || c.Extra > 20 || len(c.Jumps) > 0 {
		t.Errorf("%+v", c)
	}
}

// TestInputChanged: when the signal comes to look otherwise it is learnt anew.
func TestInputChanged(t *testing.T) {
	f := timesignal.New(8000)
	was, is := rectangle(0.1, 8000), pip(1000, 0.05, func(int) float64 { return math.Pi })
	for k := range 300 {
		second := make([]float64, 8000)
		for i := range second {
			s := float64(i)/8000 - 0.3
			if k < 60 {
				second[i] = was(s, 1)
			} else {
				second[i] = 0.5 * is(s, 1)
			}
		}
		f.Write(second)
	}
	got := f.Pulses()
	if n := len(got); n < 150 || got[0].AtS > 0.31 || got[n-1].AtS < 299 {
		t.Fatalf("%d pulses, %v", n, got[:min(n, 3)])
	}
	if c, err := timesignal.Fit(got); err != nil || math.Abs(c.PPM) > 0.1 {
		t.Errorf("%v, %+v", err, c)
	}
}

// TestPieces: the result does not depend on the pieces that samples come in, and
// asking on the way changes nothing.
func TestPieces(t *testing.T) {
	random := rand.New(rand.NewPCG(14, 15))
	w := pip(1000, 0.05, func(int) float64 { return 0 })
	samples := make([]float64, 90*8000)
	for i := range samples {
		s := float64(i)/8000 - 0.3
		samples[i] = w(s-math.Floor(s+0.1), int(math.Floor(s+0.1))) + 1e-3*random.NormFloat64()
	}
	whole, parts := timesignal.New(8000), timesignal.New(8000)
	whole.Write(samples)
	for len(samples) > 0 {
		n := min(len(samples), 1+random.IntN(5000))
		parts.Write(samples[:n])
		samples = samples[n:]
		_ = parts.Pulses()
	}
	a, b := whole.Pulses(), parts.Pulses()
	if len(a) != 90 || len(b) != len(a) {
		t.Fatalf("%d and %d pulses", len(a), len(b))
	}
	for i := range a {
		near(t, "onset", b[i].AtS, a[i].AtS, 2e-6)
	}
}

// TestLong: three hours of pulses cost no more than the pulses themselves.
func TestLong(t *testing.T) {
	f := timesignal.New(4000)
	second := make([]float64, 4000)
	w := rectangle(0.02, 4000)
	for i := range second {
		second[i] = w(float64(i)/4000-0.5, 1)
	}
	var before, after runtime.MemStats
	for k := range 86400 / 8 {
		if k == 1000 {
			runtime.GC()
			runtime.ReadMemStats(&before)
		}
		f.Write(second)
	}
	runtime.GC()
	runtime.ReadMemStats(&after)
	if n := len(f.Pulses()); n < 86400/8-1 {
		t.Errorf("%d pulses", n)
	}
	if grown := int64(after.HeapAlloc) - int64(before.HeapAlloc); grown > 2<<20 {
		t.Errorf("%d bytes more", grown)
	}
}

// TestAnyPulses: whatever the pulses, there is an error or a finite clock.
func TestAnyPulses(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var all []timesignal.Pulse
		at := rapid.SampledFrom([]float64{0, -50, 1e9}).Draw(t, "begin")
		steps := rapid.SliceOfN(rapid.SampledFrom([]float64{0, 1, 1, 1, 1, 1, 2, 0.5, 0.25, 1.0107, 0.9995, 1e-6, 3000, math.NaN(), math.Inf(1)}), 0, 60).Draw(t, "steps")
		shape := 0
		for _, step := range steps {
			if rapid.IntRange(0, 30).Draw(t, "changed") == 0 {
				shape++
			}
			if math.IsNaN(step) || math.IsInf(step, 0) {
				all = append(all, timesignal.Pulse{AtS: step})
				continue
			}
			at += step
			all = append(all, timesignal.Pulse{AtS: at, Shape: shape})
		}
		c, err := timesignal.Fit(all)
		if err != nil {
			if !errors.Is(err, timesignal.ErrNoSeconds) {
				t.Fatal(err)
			}
			return
		}
		for _, p := range append(all, timesignal.Pulse{AtS: at + 100}) {
			if v := c.TrueS(p.AtS); !math.IsNaN(p.AtS) && !math.IsInf(p.AtS, 0) && (math.IsNaN(v) || math.IsInf(v, 0)) {
				t.Fatalf("true second %v of %v", v, p.AtS)
			}
		}
		if !(c.SdPPM > 0) || math.IsNaN(c.PPM) || c.Pulses+c.Extra > len(all) || c.Missing < 0 {
			t.Fatalf("%+v", c)
		}
	})
}

func BenchmarkFinder(b *testing.B) {
	second := make([]float64, 48000)
	w := rectangle(0.02, 48000)
	for i := range second {
		second[i] = w(float64(i)/48000-0.5, 0)
	}
	f := timesignal.New(48000)
	for b.Loop() {
		f.Write(second)
	}
	b.ReportMetric(float64(b.N)*48000/b.Elapsed().Seconds()/1e6, "Msamples/s")
}

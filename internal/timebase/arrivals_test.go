package timebase_test

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"timeball/internal/timebase"
)

// delay returns a gamma-like delay of shape n: a sum of n exponential ones.
func delay(random *rand.Rand, n int, meanS float64) (s float64) {
	for range n {
		s += random.ExpFloat64() * meanS / float64(n)
	}
	return s
}

// TestCountedFrames is a derived example: 691,217,760 frames in 14,400.000 s at
// 48,000 Hz make 48,001.23333 Hz, +25.6944 ppm; with ends known to 2 ms its doubt
// is 0.196 ppm.
func TestCountedFrames(t *testing.T) {
	for _, wander := range []float64{0, 0.002} {
		a := timebase.NewArrivals(48000, timebase.Assumed(), wander)
		const frames, spanS = 691_217_760, 14_400.0
		for i := range 14_401 {
			at := spanS * float64(i) / 14_400
			a.Add(int64(math.Round(frames*at/spanS)), 1.8e9+at)
		}
		c, ok := a.Clock()
		if !ok || c.Source != timebase.FromArrivals || c.Note != "" {
			t.Fatalf("%+v, %t", c, ok)
		}
		if wander == 0 {
			near(t, "e", c.PPM, 25.6944, 1e-4)
			near(t, "F", 48000*(1+c.PPM/1e6), 48001.23333, 1e-5)
		} else { // drawn to 0 by (0.196/50)^2 of itself
			near(t, "e", c.PPM, 25.6944, 5e-4)
			near(t, "doubt", c.SdPPM, 0.196, 1e-3)
		}
		at, sd, ok := a.At(frames / 2)
		near(t, "the middle", at-1.8e9, spanS/2, 1e-4)
		if !ok || sd > 0.001 {
			t.Errorf("%v, %t", sd, ok)
		}
	}
}

// TestCoverage: of the 95% intervals from 500 simulated runs, 93 to 98% hold the
// true error, over 30 s or hours, drawn from what is assumed of recorders.
func TestCoverage(t *testing.T) {
	for _, c := range []struct {
		name     string
		spanS    float64
		everyS   float64
		shape    int
		meanS    float64
		mostRMS  float64 // ppm
		leastRMS float64
	}{
		{"30 s, 10 ms", 30, 2048.0 / 48000, 2, 0.010, 50, 5},
		{"30 s, 2 ms, exponential", 30, 2048.0 / 48000, 1, 0.002, 10, 0},
		{"10 s", 10, 2048.0 / 48000, 3, 0.020, 55, 20},
		{"10 min", 600, 0.25, 2, 0.010, 4, 0},
		{"4 h", 14400, 5, 3, 0.020, 0.5, 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			random := rand.New(rand.NewPCG(5, 35))
			const runs = 500
			held, square := 0, 0.0
			stamps, stamped := 0, 0
			for range runs {
				e := 50 * random.NormFloat64()
				a := timebase.NewArrivals(48000, timebase.Assumed(), 0)
				for at := 0.0; at < c.spanS; at += c.everyS {
					frames := math.Floor(at * 48000)
					a.Add(int64(frames), frames/48000/(1+e/1e6)+0.030+delay(random, c.shape, c.meanS))
				}
				got, ok := a.Clock()
				if !ok || got.Note != "" {
					t.Fatalf("%+v, %t", got, ok)
				}
				square += (got.PPM - e) * (got.PPM - e) / runs
				if math.Abs(got.PPM-e) <= 1.96*got.SdPPM {
					held++
				}
				n := random.Float64() * c.spanS * 48000
				at, sd, _ := a.At(n)
				stamps++
				// What it cannot know is how much of the delay is always there.
				if off := at - n/48000/(1+e/1e6) - 0.030; off > -2*sd && off < c.meanS {
					stamped++
				}
			}
			rms := math.Sqrt(square)
			t.Logf("held %.1f%%, rms %.3g ppm, stamps %.1f%%", 100*float64(held)/runs, rms, 100*float64(stamped)/float64(stamps))
			if held < 0.93*runs || held > 0.98*runs {
				t.Errorf("%d of %d held", held, runs)
			}
			if rms > c.mostRMS || rms < c.leastRMS {
				t.Errorf("rms %.3g ppm", rms)
			}
			if stamped < 95*stamps/100 {
				t.Errorf("%d of %d stamps between no delay and the mean one", stamped, stamps)
			}
		})
	}
}

// TestJumps: lost frames and a clock that is set do not bend the line, and the
// stamps after them are right.
func TestJumps(t *testing.T) {
	for name, jumpS := range map[string]float64{"lost frames": 0.250, "set back": -0.080, "few frames": 0.0107} {
		random := rand.New(rand.NewPCG(7, 8))
		held := 0
		const runs = 60
		for range runs {
			e := 50 * random.NormFloat64()
			a := timebase.NewArrivals(48000, timebase.Assumed(), 0)
			from := (0.2 + 0.6*random.Float64()) * 300
			for at := 0.0; at < 300; at += 2048.0 / 48000 {
				frames := math.Floor(at * 48000)
				jump := 0.0
				if at > from {
					jump = jumpS
				}
				a.Add(int64(frames), frames/48000/(1+e/1e6)+jump+delay(random, 2, 0.002))
			}
			c, ok := a.Clock()
			if !ok || !strings.Contains(c.Note, "jump") {
				t.Fatalf("%s: %+v", name, c)
			}
			if math.Abs(c.PPM-e) < 1.96*c.SdPPM {
				held++
			}
			if c.SdPPM > 3 {
				t.Errorf("%s: doubt %v ppm", name, c.SdPPM)
			}
			for _, s := range []float64{from - 10, from + 10} {
				at, _, _ := a.At(s * 48000)
				want := s / (1 + e/1e6)
				if s > from {
					want += jumpS
				}
				if math.Abs(at-want) > 0.0025 {
					t.Errorf("%s: stamp of %.0f s is off by %.4f s", name, s, at-want)
				}
			}
		}
		if held < 52 {
			t.Errorf("%s: %d of %d intervals held", name, held, runs)
		}
	}
}

// TestBounded: the memory of a day of arrivals is that of an hour, and what makes
// no sense is passed over.
func TestBounded(t *testing.T) {
	a := timebase.NewArrivals(48000, timebase.Assumed(), 0)
	if _, ok := a.Clock(); ok {
		t.Error("a clock from nothing")
	}
	if _, _, ok := a.At(0); ok {
		t.Error("a stamp from nothing")
	}
	random := rand.New(rand.NewPCG(9, 10))
	frame := int64(0)
	add := func() {
		frame += 48000
		a.Add(frame, float64(frame)/48000/(1+20e-6)+delay(random, 2, 0.01))
	}
	for range 3600 {
		add()
	}
	a.Add(frame+1, math.NaN())
	a.Add(10, 5)
	if got := testing.AllocsPerRun(1, func() {
		for range 40_000 {
			add()
		}
	}); got > 200_000 {
		t.Errorf("%v allocations", got)
	}
	c, ok := a.Clock()
	if !ok || math.Abs(c.PPM-20) > 3*c.SdPPM || c.SdPPM > 0.1 {
		t.Errorf("%+v, %t", c, ok)
	}
}

package trend_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"timeball/internal/trend"
)

// beats returns n beats of a period with a jitter, and what each tooth of a
// wheel adds.
func beats(rng *rand.Rand, n int, period, jitter float64, teeth []float64) []trend.Stroke {
	var out []trend.Stroke
	for k := range n {
		at := 0.3 + float64(k)*period + jitter*rng.NormFloat64()
		if len(teeth) > 0 {
			at += teeth[k%len(teeth)]
		}
		out = append(out, trend.Stroke{K: int64(k), At: at, N: 1, Level: 1, Fit: 1})
	}
	return out
}

func wheel(rng *rand.Rand, teeth int, rms float64) []float64 {
	out := make([]float64, teeth)
	for i := range out {
		out[i] = rms * rng.NormFloat64()
	}
	return out
}

// TestStatedDoubt: 120 beats half a second apart with 20 µs of jitter have the
// rate to 0.0091077 s/d (least squares, 86400 s √(12/(N(N²-1)))/P: the published
// check value of that formula), and what is stated is that, and holds in 95% of
// cases.
func TestStatedDoubt(t *testing.T) {
	const want = 0.0091077
	var squares, stated float64
	inside := 0
	const runs = 600
	for seed := range uint64(runs) {
		l, ok := trend.Fit(beats(rand.New(rand.NewPCG(seed, 1)), 120, 0.5, 20e-6, nil), 0.5)
		if !ok {
			t.Fatal("no line")
		}
		e, sd := 86400*(l.PeriodS/0.5-1), 86400*l.SdS/0.5
		squares += e * e
		stated += sd * sd
		if math.Abs(e) <= 1.96*sd {
			inside++
		}
	}
	real, said := math.Sqrt(squares/runs), math.Sqrt(stated/runs)
	t.Logf("errs by %.5f, says %.5f s/d, %.1f%% inside", real, said, 100*float64(inside)/runs)
	// The scatter of 600 squares is 3%; the biweight costs 2.6% (95% efficiency).
	if math.Abs(real/want-1.026) > 0.09 || math.Abs(said/real-1) > 0.1 || inside < 0.93*runs || inside > 0.98*runs {
		t.Errorf("errs by %.5f, says %.5f, the formula %.5f; %d of %d inside", real, said, want, inside, runs)
	}
}

// TestWheel: a pattern as large as the jitter is found with its number of teeth,
// taken off, and the rate is as good as without it.
func TestWheel(t *testing.T) {
	for _, teeth := range []int{15, 16} {
		found, inside := 0, 0
		const runs = 100
		for seed := range uint64(runs) {
			rng := rand.New(rand.NewPCG(seed, uint64(teeth)))
			pattern := wheel(rng, teeth, 30e-6)
			l, _ := trend.Fit(beats(rng, 240, 0.5, 20e-6, pattern), 0.5)
			if len(l.Teeth) == teeth {
				found++
			}
			if math.Abs(l.PeriodS-0.5) <= 1.96*l.SdS {
				inside++
			}
			if l.ScatterS > 30e-6 {
				t.Errorf("%d teeth, seed %d: %.0f µs are left", teeth, seed, 1e6*l.ScatterS)
			}
		}
		if found < 97 || inside < 88 {
			t.Errorf("%d teeth: found in %d of %d, %d inside", teeth, found, runs, inside)
		}
	}
}

// TestShortOfATurn: before the wheel has turned three times an eccentric one
// cannot be told from a rate, and its doubt is stated.
func TestShortOfATurn(t *testing.T) {
	inside := 0
	const runs = 200
	for seed := range uint64(runs) {
		rng := rand.New(rand.NewPCG(seed, 3))
		pattern := make([]float64, 15)
		phase := 2 * math.Pi * rng.Float64()
		for i := range pattern {
			pattern[i] = 42e-6 * math.Sin(2*math.Pi*float64(i)/15+phase)
		}
		l, _ := trend.Fit(beats(rng, 16, 0.5, 20e-6, pattern), 0.5)
		if l.ToothSdS == 0 {
			t.Fatalf("seed %d: nothing is said of the wheel", seed)
		}
		if math.Abs(l.PeriodS-0.5) <= 1.96*l.SdS {
			inside++
		}
	}
	if inside < runs*93/100 {
		t.Errorf("%d of %d inside", inside, runs)
	}
}

// TestOutliersAndStretches: beats that are wild do not move the line, and
// stretches that jump have a place each.
func TestOutliersAndStretches(t *testing.T) {
	for seed := range uint64(30) {
		rng := rand.New(rand.NewPCG(seed, 4))
		s := beats(rng, 240, 0.5001, 20e-6, nil)
		for i := range s {
			if i >= 100 {
				s[i].Segment = 1
				s[i].At -= 0.010
			}
			if rng.IntN(10) == 0 {
				s[i].At += 0.002 * rng.NormFloat64()
			}
		}
		l, ok := trend.Fit(s, 0.5)
		if !ok || math.Abs(l.PeriodS-0.5001) > 5*l.SdS || l.SdS > 5e-7 || l.ScatterS > 40e-6 {
			t.Errorf("seed %d: period %.7f ± %.1g, scatter %.0f µs", seed, l.PeriodS, l.SdS, 1e6*l.ScatterS)
		}
		if jump := l.Places[1] - l.Places[0]; math.Abs(jump+0.010) > 5e-5 {
			t.Errorf("seed %d: the jump is %.5f s", seed, jump)
		}
	}
	if _, ok := trend.Fit(beats(rand.New(rand.NewPCG(1, 1)), 3, 0.5, 0, nil), 0.5); ok {
		t.Error("three beats are taken for a line")
	}
}

// TestWander: beats that wander have a wider doubt than their scatter says.
func TestWander(t *testing.T) {
	wide := 0
	for seed := range uint64(20) {
		rng := rand.New(rand.NewPCG(seed, 5))
		s := beats(rng, 600, 0.5, 20e-6, nil)
		walk := 0.0
		for i := range s {
			walk += 10e-6 * rng.NormFloat64()
			s[i].At += walk
		}
		l, _ := trend.Fit(s, 0.5)
		// A random walk of q a beat throws the slope by sqrt(6/5 q²/N) a beat.
		want := 10e-6 * math.Sqrt(1.2/600)
		if l.WanderSdS > want/2 && l.WanderSdS < 2*want {
			wide++
		}
	}
	if wide < 18 {
		t.Errorf("the wander is told in %d of 20", wide)
	}
}

package observe_test

import (
	"errors"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"timeball/internal/clock"
	"timeball/internal/observe"
)

// TestMeanOfTaps checks the table for a scatter of 30 ms and a correlation of
// 0.4 of successive taps, in ms: sd over the root of n(1-a)/(1+a), the count of
// independent taps of a first-order autoregression (Bayley & Hammersley,
// Supplement to the Journal of the Royal Statistical Society 8 (1946) 184, from
// memory), and no less than one.
func TestMeanOfTaps(t *testing.T) {
	for _, c := range []struct {
		taps int
		ms   float64
	}{{1, 30}, {5, 20}, {10, 14}, {20, 10}} {
		if got := 1000 * observe.MeanSDS(0.030, c.taps, 0.4); math.Abs(got-c.ms) > 0.5 {
			t.Errorf("%d taps: %.2f ms, printed %v", c.taps, got, c.ms)
		}
	}
	if !math.IsInf(observe.MeanSDS(0.030, 0, 0.4), 1) {
		t.Error("the mean of no taps is known")
	}
}

// TestRateWander: 15 ms at either end is 0.021 s/d over a day and 0.002 over ten.
func TestRateWander(t *testing.T) {
	for _, c := range []struct {
		days int
		want float64
	}{{1, 0.021}, {10, 0.002}} {
		got, ok := observe.RateWander(time.Duration(c.days) * clock.Day)
		if !ok || math.Abs(float64(got)-c.want) > 0.0005 {
			t.Errorf("%d d: %v", c.days, float64(got))
		}
	}
	if _, ok := observe.RateWander(0); ok {
		t.Error("a rate over no time")
	}
}

// TestUsual holds the literature's figures: taps 30 to 50 ms early (Aschersleben
// & Prinz 1995), one tap scattered by 20 to 40 ms (Repp 2005).
func TestUsual(t *testing.T) {
	eq := observe.Usual()
	if eq.LagS > -0.030 || eq.LagS < -0.050 || eq.ScatterS < 0.020 || eq.ScatterS > 0.040 || eq.Measured {
		t.Errorf("%+v", eq)
	}
}

// TestMeasure draws exercises without wandering or drift, which are the
// Equation's to add.
func TestMeasure(t *testing.T) {
	r := rand.New(rand.NewPCG(1820, 1))
	const exercises = 2000
	var within, correlation, scatter, dropped, caught float64
	for range exercises {
		lag := -0.2 + 0.3*r.Float64()
		p := person{lagS: lag, scatterS: 0.03}
		lags := p.series(r, 24)
		lags[5] += 0.24 // half way to the next beat
		for i := range lags {
			lags[i] = math.Remainder(lags[i], 0.5)
		}
		m, err := observe.Measure(0.5, lags)
		if err != nil {
			t.Fatal(err)
		}
		if m.Used+len(m.Dropped) != len(lags) {
			t.Fatalf("dropped %v, used %d", m.Dropped, m.Used)
		}
		dropped += float64(len(m.Dropped))
		if slices.Contains(m.Dropped, 5) {
			dropped--
			caught++
		}
		if math.Abs(m.LagS-lag) <= 1.96*m.SDS {
			within++
		}
		correlation += m.Correlation / exercises
		scatter += m.ScatterS / exercises
		eq := m.Equation()
		// Never surer than an exercise on the same device can be, 15 ms.
		if !eq.Measured || eq.LagS != m.LagS || eq.SDS < 0.015 || eq.SDS <= m.SDS {
			t.Fatalf("%+v of %+v", eq, m)
		}
	}
	coverage := 100 * within / exercises
	t.Logf("95%% covers %.1f%%, correlation %.2f, scatter %.1f ms, %.2f%% of honest taps dropped", coverage, correlation, 1000*scatter, 100*dropped/(23*exercises))
	if coverage < 93 || coverage > 97 {
		t.Errorf("the stated 95%% covers %.1f%%", coverage)
	}
	if share := dropped / (23 * exercises); share > 0.01 {
		t.Errorf("%.2f%% of honest taps dropped", 100*share)
	}
	if caught < 0.98*exercises {
		t.Errorf("%.0f of %d taps half way to the next beat dropped", caught, exercises)
	}
	if math.Abs(correlation-correlated) > 0.1 || math.Abs(scatter-0.03) > 0.005 {
		t.Errorf("correlation %.2f, scatter %.1f ms; drawn with 0.4, 30 ms", correlation, 1000*scatter)
	}
}

func TestMeasureRefuses(t *testing.T) {
	even := make([]float64, 24)
	for i := range even {
		even[i] = -0.24 + 0.02*float64(i)
	}
	for _, c := range []struct {
		name  string
		beatS float64
		lags  []float64
		want  error
	}{
		{"no beat", math.NaN(), make([]float64, 24), observe.ErrTaps},
		{"a beat of ten seconds", 10, make([]float64, 24), observe.ErrTaps},
		{"eleven taps", 0.5, make([]float64, 11), observe.ErrTooFew},
		{"not a number", 0.5, append(make([]float64, 23), math.NaN()), observe.ErrTaps},
		{"against another beat", 0.5, append(make([]float64, 23), 1.2), observe.ErrTaps},
		{"all over the beat", 0.5, even, observe.ErrIrregular},
	} {
		if m, err := observe.Measure(c.beatS, c.lags); !errors.Is(err, c.want) {
			t.Errorf("%s: %+v, %v; want %v", c.name, m, err, c.want)
		}
	}
}

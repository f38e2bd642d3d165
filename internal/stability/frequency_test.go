package stability_test

import (
	"math"
	"testing"

	"timeball/internal/stability"
)

// NIST SP 1065 (2008), pp. 107-108: table 30 for the nine frequencies, table
// 31 for the thousand, seven figures printed.
func TestSummarisePublished(t *testing.T) {
	nine, ok := stability.Summarise(nbs)
	if !ok {
		t.Fatal("no summary of the nine")
	}
	many, ok := stability.Summarise(thousand())
	if !ok {
		t.Fatal("no summary of the thousand")
	}
	for _, tt := range []struct {
		what      string
		got, want float64
	}{
		{"nine: mean", nine.Mean, 788.8889},
		{"nine: median", nine.Median, 809},
		{"nine: sd", nine.SD, 100.9770},
		{"nine: slope", nine.Slope, -10.20000},
		{"nine: intercept", nine.Intercept, 839.8889},
		{"nine: greatest", nine.Max, 903},
		{"nine: least", nine.Min, 644},
		{"thousand: greatest", many.Max, 0.9957453},
		{"thousand: least", many.Min, 0.001371760},
		{"thousand: mean", many.Mean, 0.4897745},
		{"thousand: median", many.Median, 0.4798849},
		{"thousand: sd", many.SD, 0.2884664},
		{"thousand: slope", many.Slope, 6.490910e-6},
		{"thousand: intercept", many.Intercept, 0.4865258},
	} {
		if !near(tt.got, tt.want, 1e-6) {
			t.Errorf("%s: %.7g, want %.7g", tt.what, tt.got, tt.want)
		}
	}
	if nine.N != 9 || many.N != 1000 {
		t.Errorf("counts %d, %d", nine.N, many.N)
	}
}

// Standard deviations of the thousand averaged by 10 and 100: NIST SP 1065
// (2008), p. 108, table 31.
func TestAveragePublished(t *testing.T) {
	for m, want := range map[int]float64{10: 0.09296352, 100: 0.03206656} {
		y, ok := stability.Average(thousand(), m)
		if !ok || len(y) != 1000/m {
			t.Fatalf("by %d: %d groups, %t", m, len(y), ok)
		}
		if s, ok := stability.Summarise(y); !ok || !near(s.SD, want, 1e-6) {
			t.Errorf("by %d: sd %.7g, want %.7g", m, s.SD, want)
		}
	}
}

func TestFrequencyGaps(t *testing.T) {
	gap := math.NaN()
	same := func(what string, got, want []float64) {
		t.Helper()
		if len(got) != len(want) {
			t.Fatalf("%s: %v, want %v", what, got, want)
		}
		for i := range want {
			if got[i] != want[i] && !(math.IsNaN(got[i]) && math.IsNaN(want[i])) {
				t.Errorf("%s: %v, want %v", what, got, want)
				return
			}
		}
	}
	x, ok := stability.PhaseFromFrequency([]float64{1, 2, gap, 4}, 2)
	same("phase", x, []float64{0, 2, 6, gap, gap})
	if !ok {
		t.Error("phase refused")
	}
	y, ok := stability.FrequencyFromPhase([]float64{0, 2, 6, gap, 1, 2, math.Inf(1)}, 2)
	same("frequency", y, []float64{1, 2, gap, gap, 0.5, gap})
	if !ok {
		t.Error("frequency refused")
	}
	means, ok := stability.Average([]float64{1, 3, gap, 5, 6, 8, 9}, 2)
	same("means", means, []float64{2, gap, 7})
	if !ok {
		t.Error("means refused")
	}
	s, ok := stability.Summarise([]float64{1, gap, 3, 4})
	// 1, 3 and 4 at the places 1, 3 and 4: the slope is one a step.
	if !ok || s.N != 3 || s.Median != 3 || !near(s.Slope, 1, 1e-12) || math.Abs(s.Intercept) > 1e-12 {
		t.Errorf("summary %+v, %t", s, ok)
	}
}

func TestFrequencyRefuses(t *testing.T) {
	for _, tau0 := range []float64{0, -1, math.NaN(), math.Inf(1)} {
		if x, ok := stability.PhaseFromFrequency(nbs, tau0); ok || x != nil {
			t.Errorf("phase at spacing %g", tau0)
		}
		if y, ok := stability.FrequencyFromPhase(nbs, tau0); ok || y != nil {
			t.Errorf("frequency at spacing %g", tau0)
		}
	}
	if _, ok := stability.FrequencyFromPhase([]float64{1}, 1); ok {
		t.Error("frequency of one phase")
	}
	for _, m := range []int{0, -1, 10} {
		if _, ok := stability.Average(nbs, m); ok {
			t.Errorf("nine averaged by %d", m)
		}
	}
	for _, y := range [][]float64{nil, {1}, {1, math.NaN()}, {math.MaxFloat64, -math.MaxFloat64}} {
		if s, ok := stability.Summarise(y); ok || s != (stability.Summary{}) {
			t.Errorf("summary of %v: %+v", y, s)
		}
	}
}

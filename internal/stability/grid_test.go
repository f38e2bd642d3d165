package stability_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"pgregory.net/rapid"

	"timeball/internal/stability"
)

func TestResample(t *testing.T) {
	times := []float64{5.02, 0.01, 1.04, 0.99, 1.5, 3.1, 4.00, 4.00, -0.5}
	x := []float64{50, 0, 14, 10, 15, 31, 40, 41, -5}
	g, ok := stability.Resample(times, x, 0, 1, 0.05)
	if !ok {
		t.Fatal("refused")
	}
	// Day 1 takes the nearer of two, day 4 the first of two as near, days 2 and
	// 3 have nothing within reach, and noon of day 1 and the day before belong nowhere.
	want := []int{1, 3, -1, -1, 6, 0}
	if len(g.X) != len(want) {
		t.Fatalf("%d points: %+v", len(g.X), g)
	}
	for k, i := range want {
		if g.Index[k] != i {
			t.Errorf("day %d: reading %d, want %d", k, g.Index[k], i)
		}
		if i < 0 && (!math.IsNaN(g.X[k]) || g.Offset[k] != 0) {
			t.Errorf("day %d: %g at %g, want a gap", k, g.X[k], g.Offset[k])
		}
		if i >= 0 && (g.X[k] != x[i] || math.Abs(g.Offset[k]-(times[i]-float64(k))) > 1e-12) {
			t.Errorf("day %d: %g at %+g", k, g.X[k], g.Offset[k])
		}
	}
}

func TestResampleRefuses(t *testing.T) {
	nan, inf := math.NaN(), math.Inf(1)
	one := []float64{1}
	for name, tt := range map[string]struct {
		t, x                    []float64
		origin, step, tolerance float64
	}{
		"nothing":          {nil, nil, 0, 1, 0.1},
		"lengths":          {one, nil, 0, 1, 0.1},
		"out of reach":     {[]float64{1.5}, one, 0, 1, 0.1},
		"before":           {[]float64{-3}, one, 0, 1, 0.1},
		"reading NaN":      {one, []float64{nan}, 0, 1, 0.1},
		"time infinite":    {[]float64{inf}, one, 0, 1, 0.1},
		"time NaN":         {[]float64{nan}, one, 0, 1, 0.1},
		"too long":         {[]float64{1e9}, one, 0, 1, 0.1},
		"origin NaN":       {one, one, nan, 1, 0.1},
		"step nought":      {one, one, 0, 0, 0},
		"step infinite":    {one, one, 0, inf, 0.1},
		"tolerance half":   {one, one, 0, 1, 0.5},
		"tolerance below":  {one, one, 0, 1, -0.1},
		"tolerance is NaN": {one, one, 0, 1, nan},
	} {
		if g, ok := stability.Resample(tt.t, tt.x, tt.origin, tt.step, tt.tolerance); ok || g.X != nil {
			t.Errorf("%s: %+v", name, g)
		}
	}
}

// Whatever the record, a grid point holds a reading as it was made, within the
// tolerance, and none nearer was passed over.
func TestResampleProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 40).Draw(t, "n")
		times := rapid.SliceOfN(rapid.Float64Range(-2, 30), n, n).Draw(t, "t")
		x := rapid.SliceOfN(rapid.Float64Range(-100, 100), n, n).Draw(t, "x")
		step := rapid.Float64Range(0.5, 3).Draw(t, "step")
		tolerance := step * rapid.Float64Range(0, 0.49).Draw(t, "tolerance")
		origin, ok := stability.Origin(times, step, tolerance)
		if !ok {
			t.Fatal("no origin")
		}
		g, ok := stability.Resample(times, x, origin, step, tolerance)
		if !ok {
			t.Fatal("the grid of the best origin is refused")
		}
		if g.Index[0] < 0 {
			t.Fatal("the grid begins with a gap")
		}
		for k, i := range g.Index {
			at := origin + float64(k)*step
			nearest := math.Inf(1)
			for j := range times {
				nearest = min(nearest, math.Abs(times[j]-at))
			}
			const rounding = 1e-8
			switch {
			case i < 0 && (!math.IsNaN(g.X[k]) || nearest < tolerance-rounding):
				t.Fatalf("point %d is %g with a reading %g away", k, g.X[k], nearest)
			case i >= 0 && (g.X[k] != x[i] || nearest > tolerance+rounding || math.Abs(times[i]-at) > nearest+rounding):
				t.Fatalf("point %d holds %g, reading %d at %g", k, g.X[k], i, times[i]-at)
			}
		}
	})
}

// The usual hour wins over strays, also across the edge of the step.
func TestOrigin(t *testing.T) {
	for _, tt := range []struct {
		t    []float64
		want float64
	}{
		{[]float64{0.7, 1.36, 2.38, 3.37, 5.9, 6.37}, 1.37},
		{[]float64{0.5, 1.98, 3.02, 4.01, 5.99}, 2},
		{[]float64{4.25}, 4.25},
	} {
		got, ok := stability.Origin(tt.t, 1, 0.1)
		if !ok || math.Abs(got-tt.want) > 1e-9 {
			t.Errorf("%v: %g, %t, want %g", tt.t, got, ok, tt.want)
		}
	}
	for name, f := range map[string]func() (float64, bool){
		"nothing":   func() (float64, bool) { return stability.Origin(nil, 1, 0.1) },
		"NaN":       func() (float64, bool) { return stability.Origin([]float64{math.NaN()}, 1, 0.1) },
		"step":      func() (float64, bool) { return stability.Origin([]float64{1}, 0, 0) },
		"tolerance": func() (float64, bool) { return stability.Origin([]float64{1}, 1, 0.5) },
	} {
		if got, ok := f(); ok || got != 0 {
			t.Errorf("%s: %g, %t", name, got, ok)
		}
	}
}

// A record read within an hour of the usual time, some days missed, gives back
// the Allan deviation of its clock once its mean rate is taken away; with a
// rate of -40 s/d left in it, the hours missed show as if the clock wandered.
func TestResampleRate(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 9))
	model := stability.Model{SigmaW: 0.2, SigmaX: 0.05}
	even := simulated(rng, 400, model)
	var times, x []float64
	for i, v := range even {
		if rng.Float64() < 0.2 {
			continue
		}
		off := 0.08 * (rng.Float64() - 0.5)
		times = append(times, float64(i)+off)
		x = append(x, v-40*(float64(i)+off))
	}
	rest, ok := stability.WithoutRate(times, x)
	if !ok {
		t.Fatal("no line")
	}
	want, _ := model.Deviation(1)
	for name, tt := range map[string]struct {
		x    []float64
		good bool
	}{"without the rate": {rest, true}, "with the rate": {x, false}} {
		g, ok := stability.Resample(times, tt.x, 0, 1, 0.05)
		if !ok {
			t.Fatal("refused")
		}
		curve := stability.Curve(g.X, 1, model, nil)
		if len(curve) == 0 {
			t.Fatal("no curve")
		}
		if p := curve[0]; (p.Lo95 < want && want < p.Hi95) != tt.good {
			t.Errorf("%s: %.3f … %.3f, clock %.3f", name, p.Lo95, p.Hi95, want)
		}
	}
}

func TestWithoutRate(t *testing.T) {
	nan := math.NaN()
	rest, ok := stability.WithoutRate([]float64{0, 1, 2, nan, 5}, []float64{3, 5, 7, 9, nan})
	if !ok || math.Abs(rest[0])+math.Abs(rest[1])+math.Abs(rest[2]) > 1e-12 || !math.IsNaN(rest[3]) || !math.IsNaN(rest[4]) {
		t.Errorf("%v, %t", rest, ok)
	}
	for _, tt := range [][2][]float64{{nil, nil}, {{1}, {1}}, {{1, 1}, {1, 2}}, {{1, 2}, {1}}, {{1, nan}, {1, 2}}} {
		if rest, ok := stability.WithoutRate(tt[0], tt[1]); ok || rest != nil {
			t.Errorf("%v: %v", tt, rest)
		}
	}
}

func ExampleResample() {
	// Comparisons at about 9 h; none on the third day, and an extra one at noon.
	days := []float64{0.375, 1.378, 1.500, 3.371, 4.376}
	errors := []float64{12.1, 11.5, 11.4, 10.0, 9.4}
	origin, _ := stability.Origin(days, 1, 0.02)
	g, _ := stability.Resample(days, errors, origin, 1, 0.02)
	fmt.Println(g.X)
	// Output:
	// [12.1 11.5 NaN 10 9.4]
}

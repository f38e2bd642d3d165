package simulate_test

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/stat"
	"pgregory.net/rapid"

	"timeball/internal/simulate"
)

func TestThermogramExcess(t *testing.T) {
	oven := simulate.Oven([]simulate.Stage{{C: 18, Days: 9}, {C: 8, Days: 9}, {C: 28, Days: 9}, {C: 18, Days: 9}})
	h := 1.0 / 24
	for _, c := range []struct {
		name     string
		t        simulate.Thermogram
		from, to float64
		u, u2    float64
	}{
		{"nothing recorded", simulate.Thermogram{}, 0, 5, 0, 0},
		{"level", simulate.Steady(23), 1, 5, 12, 36},
		{"first stage", oven, 0, 9, -18, 36},
		// The ramp from 18 to 8 °C: the integral of (-2-10s)² over 0 to 1 is 4+20+100/3.
		{"first ramp", oven, 9, 9 + h, -7 * h, (4 + 20 + 100.0/3) * h},
		{"second stage", oven, 9 + h, 18, -12 * (9 - h), 144 * (9 - h)},
		{"after the last", oven, 40, 42, -4, 8},
		{"backward", oven, 9, 8, 0, 0},
	} {
		u, u2 := c.t.Excess(c.from, c.to)
		if math.Abs(u-c.u) > 1e-9 || math.Abs(u2-c.u2) > 1e-9 {
			t.Errorf("%s: ∫u %.6f, ∫u² %.6f; want %.6f, %.6f", c.name, u, u2, c.u, c.u2)
		}
	}
}

// The integral over an interval is the sum over its parts.
func TestExcessAdds(t *testing.T) {
	room := simulate.Room{MeanC: 19, SeasonC: 4, WeatherC: 1.2, MemoryDays: 3}.Record(source(5), 60)
	rapid.Check(t, func(t *rapid.T) {
		a := rapid.Float64Range(-5, 30).Draw(t, "a")
		b := a + rapid.Float64Range(0, 20).Draw(t, "b")
		c := b + rapid.Float64Range(0, 20).Draw(t, "c")
		u1, q1 := room.Excess(a, b)
		u2, q2 := room.Excess(b, c)
		u, q := room.Excess(a, c)
		if math.Abs(u-u1-u2) > 1e-9 || math.Abs(q-q1-q2) > 1e-9 {
			t.Fatalf("%g + %g is not %g, or %g + %g is not %g", u1, u2, u, q1, q2, q)
		}
	})
}

// The weather is an autoregression: its standard deviation is as stated and
// the correlation over its memory is 1/e. Over 20 000 days the standard error
// of either is near √(memory/days), 1.2%.
func TestRoomWeather(t *testing.T) {
	const days = 20_000
	room := simulate.Room{MeanC: 20, WeatherC: 1.2, MemoryDays: 3}.Record(source(8), days)
	var now, later []float64
	for day := range days - 3 {
		now = append(now, room.At(float64(day)))
		later = append(later, room.At(float64(day)+3))
	}
	within(t, "mean", stat.Mean(now, nil), 20, 1.2*math.Sqrt(6.0/days))
	within(t, "standard deviation", stat.StdDev(now, nil), 1.2, 1.2*0.012)
	within(t, "correlation over the memory", stat.Correlation(now, later, nil), math.Exp(-1), 0.012)
}

func TestRoomSeason(t *testing.T) {
	room := simulate.Room{MeanC: 20, SeasonC: 4}.Record(source(8), 365)
	for _, c := range []struct{ day, c float64 }{{0, 20}, {91.25, 24}, {182.5, 20}, {273.75, 16}} {
		if got := room.At(c.day); math.Abs(got-c.c) > 0.001 {
			t.Errorf("day %g: %.4f °C, want %g", c.day, got, c.c)
		}
	}
}

package beat_test

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"timeball/internal/beat"
)

// The tables were worked from x(t) = A sin(2πt/P) apart from this program, for
// P = 0.5 s: the delay in ms from an angle u to u + L on the same swing. Half a
// unit of their last figure, 0.05 µs, is -22.8 °/ms × 0.05 µs = 0.0012° and
// less of amplitude.
func TestAmplitudeOfTheTable(t *testing.T) {
	t.Parallel()
	lifts := [...][2]float64{{35, -17.5}, {40, -20}, {40, 0}, {40, 5}, {40, -5}, {45, -22.5}, {38.2, -19.1}}
	for a, row := range map[float64][7]float64{
		135: {20.6894, 23.6656, 23.9379, 24.0954, 23.8176, 26.6502, 22.5933},
		180: {15.4979, 17.7205, 17.8328, 17.8969, 17.7834, 19.9465, 16.9200},
		225: {12.3912, 14.1658, 14.2227, 14.2550, 14.1977, 15.9421, 13.5268},
		270: {10.3228, 11.8001, 11.8328, 11.8514, 11.8185, 13.2783, 11.2682},
	} {
		for i, ms := range row {
			near(t, "amplitude", beat.Amplitude(0.5, ms/1e3, lifts[i][0], lifts[i][1]), a, 0.0014)
		}
	}
	// An angle of unlocking taken for another matters little: 0 for -20°.
	near(t, "u = 0 taken as -20°", beat.Amplitude(0.5, 0.0142227, 40, -20), 224.10, 0.006)
	// The slope in °/ms at A = 180, 225, 270 with a lift of 40° even about rest.
	for ms, want := range map[float64]float64{17.7205: -10.1, 14.1658: -15.8, 11.8001: -22.8} {
		d := ms / 1e3
		near(t, "°/ms", (beat.Amplitude(0.5, d+1e-6, 40, -20)-beat.Amplitude(0.5, d-1e-6, 40, -20))/2e-3, want, 0.0501)
	}
	// The lift that the detent escapement of M. V. Headrick, Clock and Watch
	// Escapement Mechanics (1997), section 20, gives: 2 atan(0.572/1.651) = 38.2°.
	near(t, "lift", 2*math.Atan2(0.572, 1.651)*180/math.Pi, 38.2, 0.05)
}

// From the same working: by how many ms the passing tick comes before half a
// period, both angles u.
func TestOutOfBeatOfTheTable(t *testing.T) {
	t.Parallel()
	angles := [...]float64{1, 2, 5, 10}
	for a, row := range map[float64][4]float64{
		180: {0.8842, 1.7684, 4.4215, 8.8465},
		225: {0.7074, 1.4147, 3.5371, 7.0759},
		270: {0.5895, 1.1789, 2.9475, 5.8960},
	} {
		for i, ms := range row {
			// 0.05 µs is 270° × π × 1e-7 = 0.00009°.
			near(t, "angle", beat.OutOfBeat(0.5, ms/1e3, a), angles[i], 0.0001)
			near(t, "angle the other way", beat.OutOfBeat(0.5, -ms/1e3, a), -angles[i], 0.0001)
		}
	}
}

// A balance that swings turns back into its amplitude; a delay of no balance
// has none.
func TestAmplitudeTurnsBack(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		p := rapid.Float64Range(0.15, 2).Draw(t, "period")
		lift := rapid.Float64Range(20, 55).Draw(t, "lift")
		u := rapid.Float64Range(-30, 10).Draw(t, "unlocking")
		a := rapid.Float64Range(90, 320).Draw(t, "amplitude")
		d := (math.Asin((u+lift)/a) - math.Asin(u/a)) * p / (2 * math.Pi)
		if got := beat.Amplitude(p, d, lift, u); math.Abs(got-a) > 1e-8*a {
			t.Fatalf("amplitude %.12g, want %.12g", got, a)
		}
	})
	for _, d := range []float64{0, -0.01, 0.25, 0.3} {
		if a := beat.Amplitude(0.5, d, 40, -20); a != 0 {
			t.Errorf("a delay of %g s gives %g°", d, a)
		}
	}
}

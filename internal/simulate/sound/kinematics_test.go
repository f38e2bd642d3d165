package sound_test

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"timeball/internal/simulate/sound"
)

// The tables were worked from the same formulas apart from this program; they
// check the formulas as coded. Half a unit of the last figure is allowed.
func TestDropDelay(t *testing.T) {
	lifts := [...][2]float64{{35, -17.5}, {40, -20}, {40, 0}, {40, 5}, {40, -5}, {45, -22.5}, {38.2, -19.1}}
	for a, row := range map[float64][7]float64{
		135: {20.6894, 23.6656, 23.9379, 24.0954, 23.8176, 26.6502, 22.5933},
		180: {15.4979, 17.7205, 17.8328, 17.8969, 17.7834, 19.9465, 16.9200},
		225: {12.3912, 14.1658, 14.2227, 14.2550, 14.1977, 15.9421, 13.5268},
		270: {10.3228, 11.8001, 11.8328, 11.8514, 11.8185, 13.2783, 11.2682},
	} {
		for i, want := range row {
			near(t, "delay in ms", 1e3*sound.DropDelay(0.5, a, lifts[i][0], lifts[i][1]), want, 0.5001e-4)
		}
	}
	if !math.IsNaN(sound.DropDelay(0.5, 30, 40, 0)) {
		t.Error("a balance of 30° reaches 40°")
	}
}

func TestOutOfBeat(t *testing.T) {
	angles := [...][2]float64{{1, 1}, {2, 2}, {5, 5}, {10, 10}, {5, 1}, {5, 8}}
	for a, row := range map[float64][6]float64{
		180: {0.8842, 1.7684, 4.4215, 8.8465, 2.6529, 5.7487},
		225: {0.7074, 1.4147, 3.5371, 7.0759, 2.1222, 4.5986},
		270: {0.5895, 1.1789, 2.9475, 5.8960, 1.7685, 3.8319},
	} {
		for i, want := range row {
			near(t, "out of beat in ms", 1e3*sound.OutOfBeat(0.5, a, angles[i][0], angles[i][1]), want, 0.5001e-4)
		}
	}
	u, v := sound.OutOfBeatAngles(0.5, sound.OutOfBeat(0.5, 225, 5, 8), 225, 3)
	near(t, "unlocking", u, 5, 0.5e-3)
	near(t, "passing", v, 8, 0.5e-3)
}

// -10.1, -15.8 and -22.8 °/ms are the sensitivities of a half-second
// chronometer with a lift of 40°, even about rest.
func TestAmplitudeFallsWithTheDelay(t *testing.T) {
	for a, want := range map[float64]float64{180: -10.1, 225: -15.8, 270: -22.8} {
		d := sound.DropDelay(0.5, a, 40, -20)
		near(t, "°/ms", (sound.Amplitude(0.5, d+1e-6, 40, -20)-sound.Amplitude(0.5, d-1e-6, 40, -20))/2e-3, want, 0.0501)
	}
	near(t, "u = 0 taken as -20°", sound.Amplitude(0.5, sound.DropDelay(0.5, 225, 40, 0), 40, -20), 224.10, 0.00501)
}

func TestKinematicsTurnBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := rapid.Float64Range(0.3, 0.5).Draw(t, "period")
		lift := rapid.Float64Range(20, 55).Draw(t, "lift")
		u := rapid.Float64Range(-30, 10).Draw(t, "unlocking")
		a := rapid.Float64Range(90, 320).Draw(t, "amplitude")
		if got := sound.Amplitude(p, sound.DropDelay(p, a, lift, u), lift, u); math.Abs(got-a) > 1e-8*a {
			t.Fatalf("amplitude %.12g, want %.12g", got, a)
		}
		v := rapid.Float64Range(-30, 30).Draw(t, "passing")
		gotU, gotV := sound.OutOfBeatAngles(p, sound.OutOfBeat(p, a, u, v), a, v-u)
		if math.Abs(gotU-u) > 1e-9*a || math.Abs(gotV-v) > 1e-9*a {
			t.Fatalf("angles %.12g, %.12g, want %.12g, %.12g", gotU, gotV, u, v)
		}
	})
}

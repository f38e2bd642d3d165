package sound_test

import (
	"math"
	"slices"
	"testing"

	"timeball/internal/simulate/sound"
)

func TestRefusals(t *testing.T) {
	const rateHz = 8000
	names := map[string]int{}
	for i := range sound.Refusals {
		name, samples := sound.Refusal(i, source(uint64(i)), rateHz)
		names[name]++
		if s := float64(len(samples)) / rateHz; s < 19.9 || s > 60 {
			t.Errorf("%d, %s: %g s", i, name, s)
		}
		most, sounding := 0.0, 0
		for _, v := range samples {
			if !(v >= -1 && v < 1) {
				t.Fatalf("%d, %s: %g", i, name, v)
			}
			most = max(most, math.Abs(v))
			if v != 0 {
				sounding++
			}
		}
		if quiet := most < 0.04; quiet != (name == "silence") {
			t.Errorf("%d, %s: the peak is %g", i, name, most)
		}
		if name != "silence" && sounding < len(samples)/100 {
			t.Errorf("%d, %s: %d of %d samples sound", i, name, sounding, len(samples))
		}
		if _, again := sound.Refusal(i, source(uint64(i)), rateHz); !slices.Equal(samples, again) {
			t.Errorf("%d, %s: the same seed gives other samples", i, name)
		}
		if _, other := sound.Refusal(i, source(uint64(i)+1000), rateHz); name != "silence" && slices.Equal(samples, other) {
			t.Errorf("%d, %s: another seed gives the same samples", i, name)
		}
	}
	if len(names) != 20 {
		t.Errorf("%d kinds: %v", len(names), names)
	}
}

// A machine's drums are on the grid exactly: half a bar later they are most
// alike to the sample.
func TestDrumMachineIsExact(t *testing.T) {
	const rateHz, step = 8000, 0.13
	x := sound.DrumMachine(source(1), rateHz, step, 20)
	halfBar := int(8 * step * rateHz)
	best, most := 0, 0.0
	for lag := halfBar - 400; lag <= halfBar+400; lag++ {
		sum := 0.0
		for i := lag; i < len(x); i++ {
			sum += x[i] * x[i-lag]
		}
		if sum > most {
			best, most = lag, sum
		}
	}
	if best != halfBar {
		t.Errorf("most alike %d samples later, want %d", best, halfBar)
	}
}

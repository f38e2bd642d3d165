package sound_test

import (
	"testing"

	"timeball/internal/simulate/sound"
)

func BenchmarkMinute(b *testing.B) {
	take := sound.Take{Seconds: 60, SNRdB: 20, Chronometers: []sound.Chronometer{{JitterS: 20e-6, PatternS: 30e-6, PhaseS: 0.1}}}
	for b.Loop() {
		take.Render(source(1))
	}
}

func BenchmarkMinuteOfEverything(b *testing.B) {
	take := everything()
	take.RateHz, take.Seconds = 48000, 60
	for b.Loop() {
		take.Render(source(1))
	}
}

func BenchmarkHour(b *testing.B) {
	take := sound.Take{Seconds: 3600, SNRdB: 20, Chronometers: []sound.Chronometer{{JitterS: 20e-6, PatternS: 30e-6, PhaseS: 0.1}}}
	buffer := make([]float64, 8192)
	for b.Loop() {
		for s := take.Stream(source(1)); s.Read(buffer) > 0; {
		}
	}
}

func BenchmarkRefusals(b *testing.B) {
	for b.Loop() {
		for i := range sound.Refusals {
			sound.Refusal(i, source(uint64(i)), 48000)
		}
	}
}

package beat_test

import (
	"testing"

	"timeball/internal/beat"
	"timeball/internal/simulate/sound"
)

// BenchmarkListener listens to a minute at 48 kHz, 20 dB: everything from the
// samples to the finding.
func BenchmarkListener(b *testing.B) {
	rng := source("benchmark", 0)
	benchmark(b, minute(rng).Render(rng).Samples)
}

// BenchmarkListenerFaint listens to a minute at -10 dB, whose beats are timed
// in groups.
func BenchmarkListenerFaint(b *testing.B) {
	rng := source("benchmark", 1)
	take := minute(rng)
	take.SNRdB = -10
	benchmark(b, take.Render(rng).Samples)
}

// BenchmarkListenerNoise listens to a minute in which there is nothing.
func BenchmarkListenerNoise(b *testing.B) {
	benchmark(b, sound.Take{Seconds: 60, SNRdB: -40}.Render(source("benchmark", 2)).Samples)
}

// BenchmarkListenerTenMinutes listens to ten minutes at 48 kHz, 20 dB: what an
// hour costs is six of them.
func BenchmarkListenerTenMinutes(b *testing.B) {
	rng := source("benchmark", 3)
	take := minute(rng)
	take.Seconds = 600
	benchmark(b, take.Render(rng).Samples)
}

func benchmark(b *testing.B, samples []float64) {
	b.ReportAllocs()
	for b.Loop() {
		listen(samples, 48000, beat.Options{LiftDeg: 40}).Finding(nil)
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/float64(len(samples)), "ns/sample")
}

// BenchmarkFinding asks what has been found in ten minutes, as a page does each
// second.
func BenchmarkFinding(b *testing.B) {
	rng := source("benchmark", 3)
	take := minute(rng)
	take.Seconds = 600
	l := listen(take.Render(rng).Samples, 48000, beat.Options{LiftDeg: 40})
	b.ReportAllocs()
	for b.Loop() {
		l.Finding(nil)
	}
}

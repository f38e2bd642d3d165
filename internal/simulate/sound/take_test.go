package sound_test

import (
	"math"
	"runtime"
	"slices"
	"testing"

	"github.com/google/go-cmp/cmp"
	"gonum.org/v1/gonum/dsp/fourier"
	"gonum.org/v1/gonum/stat"

	"timeball/internal/simulate/sound"
)

// everything is a take with every fault at once.
func everything() sound.Take {
	return sound.Take{
		RateHz: 16000, ClockPPM: 40, ClockPPMPerDay: 3, Seconds: 30, SNRdB: 15,
		Chronometers: []sound.Chronometer{
			{PhaseS: 0.1, JitterS: 20e-6, PatternS: 40e-6, WanderS: 1e-6, AmplitudeDeg: 225, OutOfBeatDeg: 3, MissingShare: 0.1},
			{PeriodS: 0.4, Lever: true, PhaseS: 0.33, GainDB: -10},
		},
		PinkDB: -10, HumHz: 50, HumDB: -5, Knocks: 4, SpeechLike: 3, Echo: true, ClipShare: 0.8, GainPump: 0.5,
		SilentFrom: 20, SilentTo: 22, QuantBits: 16,
		Drops: []sound.Drop{{AtS: 7, Frames: 400}}, DropCount: 2, RepeatedBuffers: 2, SecondPulse: true, PulseJitterS: 1e-6,
	}
}

func TestTheSameSeedGivesTheSameRecording(t *testing.T) {
	take := everything()
	a := take.Render(source(3))
	same := func(what string, b sound.Recorded) {
		t.Helper()
		if !slices.Equal(a.Samples, b.Samples) || !slices.Equal(a.Pulse, b.Pulse) {
			t.Errorf("%s: other samples", what)
		}
		truth := a
		truth.Samples, truth.Pulse, b.Samples, b.Pulse = nil, nil, nil, nil
		if diff := cmp.Diff(truth, b); diff != "" {
			t.Errorf("%s: %s", what, diff)
		}
	}
	same("again", take.Render(source(3)))
	if slices.Equal(a.Samples, take.Render(source(4)).Samples) {
		t.Error("another seed gives the same samples")
	}
	if n := len(a.Samples); n != 30*16000 || len(a.Pulse) != n {
		t.Errorf("%d and %d samples", n, len(a.Pulse))
	}
	// Read in other pieces it is the same.
	s := take.Stream(source(3))
	var samples, pulse []float64
	rng := source(5)
	for {
		x := make([]float64, 1+rng.IntN(3000))
		y := make([]float64, len(x))
		n := s.ReadBoth(x, y)
		if n == 0 {
			break
		}
		samples, pulse = append(samples, x[:n]...), append(pulse, y[:n]...)
	}
	b := s.Recorded()
	b.Samples, b.Pulse = samples, pulse
	same("read in pieces", b)
}

// What is lost is lost from what was, and what is heard twice was heard before.
func TestDropsAndRepeats(t *testing.T) {
	take := sound.Take{
		RateHz: 48000, Seconds: 40, SNRdB: 20, ClockPPM: 58.3, Chronometers: []sound.Chronometer{{PhaseS: 0.1}},
		SecondPulse: true,
	}
	long := take
	long.Seconds++
	whole := long.Render(source(6))
	take.Drops = []sound.Drop{{AtS: 5.00001, Frames: 480}, {AtS: 9, Frames: -960}, {AtS: 11, Frames: 30000}, {AtS: 11.001, Frames: 1}}
	take.DropCount, take.DropFrames, take.RepeatedBuffers = 3, 512, 2
	r := take.Render(source(6))
	if len(r.Drops) != 9 {
		t.Fatalf("%d drops", len(r.Drops))
	}
	lost, joins := 0, []int{0}
	var want, pulse []float64
	for _, d := range append(slices.Clone(r.Drops), sound.Drop{AtS: 40}) {
		at := int(math.Round(d.AtS * 48000))
		want = append(want, whole.Samples[len(want)+lost:at+lost]...)
		pulse = append(pulse, whole.Pulse[len(pulse)+lost:at+lost]...)
		lost += d.Frames
		joins = append(joins, at)
	}
	if !slices.Equal(want, r.Samples) {
		t.Error("the samples are not those of the whole recording less what was lost")
	}
	if !slices.Equal(pulse, r.Pulse) {
		t.Error("nor are the pulses")
	}
	for i := range r.Drops[1:] {
		if gap := r.Drops[i+1].AtS - r.Drops[i].AtS; gap < 3 && r.Drops[i+1].AtS > 11.5 {
			t.Errorf("drops %d and %d are %g s apart", i, i+1, gap)
		}
	}
	// Every beat of the whole recording that is in this one is where it should
	// be, and none that is not.
	var beats []float64
	for _, b := range whole.Beats[0] {
		lost := 0.0
		for _, d := range r.Drops {
			switch at := b*48000 - lost - d.AtS*48000; {
			case at < 0: // before it
			case d.Frames > 0 && at < float64(d.Frames):
				lost = math.NaN()
			default:
				lost += float64(d.Frames)
			}
		}
		if at := b - lost/48000; at < 40 {
			beats = append(beats, at)
		}
	}
	if len(beats) > 80 || len(beats) < 76 {
		t.Errorf("%d beats remain", len(beats))
	}
	if diff := cmp.Diff(beats, r.Beats[0], cmp.Comparer(func(a, b float64) bool { return math.Abs(a-b) < 1e-10 })); diff != "" {
		t.Error(diff)
	}
	if !slices.IsSorted(r.Numbers[0]) || len(r.Numbers[0]) != len(r.Beats[0]) {
		t.Error("the numbers do not belong to the beats")
	}
}

// Sampled at 48,001.2345 Hz for 48,000, a period of 0.500013 s by the file is
// 0.50000014062 s, a rate of -0.02430 s/d that seems -2.24634: r = 86400
// ((1 + r'/86400)(1 + e) - 1).
func TestSamplingClockMovesTheRate(t *testing.T) {
	const ppm = 25.71875
	one := sound.Chronometer{PhaseS: 0.1, RatePerDay: -0.02430}
	near(t, "true period", one.TruePeriodS(), 0.50000014062, 0.5e-10)
	take := sound.Take{RateHz: 8000, Seconds: 100, SNRdB: 20, ClockPPM: ppm, Chronometers: []sound.Chronometer{one}}
	beats := take.Render(source(1)).Beats[0]
	period := (beats[len(beats)-1] - beats[0]) / float64(len(beats)-1)
	near(t, "period by the file", period, 0.500013, 0.5e-9)
	near(t, "apparent rate", 86400*(0.5/period-1), -2.24634, 1e-5)
	// A clock that grows faster by 24 ppm a day.
	take = sound.Take{RateHz: 4000, Seconds: 3600, ClockPPMPerDay: 24, SNRdB: 20, Chronometers: []sound.Chronometer{{PhaseS: 0.1}}}
	s := take.Stream(source(1))
	for buffer := make([]float64, 4096); s.Read(buffer) > 0; {
	}
	beats = s.Recorded().Beats[0]
	n := len(beats)
	// The middles of the first and the last minute of beats are 3539.5 s apart.
	near(t, "last against first minute, ppm", 1e6*((beats[n-1]-beats[n-121])/(beats[120]-beats[0])-1), 24*(3539.5/86400), 1e-5)
}

// inBand returns the mean power of samples between 1 and 12 kHz.
func inBand(samples []float64, rateHz float64) float64 {
	n := len(samples)
	sum := 0.0
	for j, c := range fourier.NewFFT(n).Coefficients(nil, samples) {
		if f := float64(j) * rateHz / float64(n); f >= 1000 && f <= min(12000, 0.45*rateHz) {
			sum += 2 * (real(c)*real(c) + imag(c)*imag(c))
		}
	}
	return sum / float64(n) / float64(n)
}

// banded returns the samples with all but 1 to 12 kHz removed.
func banded(samples []float64, rateHz float64) []float64 {
	n := len(samples)
	fft := fourier.NewFFT(n)
	c := fft.Coefficients(nil, samples)
	for j := range c {
		if f := float64(j) * rateHz / float64(n); f < 1000 || f > 12000 {
			c[j] = 0
		}
	}
	out := fft.Sequence(nil, c)
	for i := range out {
		out[i] /= float64(n)
	}
	return out
}

// The ratio is measured from the samples as it is defined: power over the 10
// ms after the unlockings, between them the noise.
func TestSNRIsAsDefined(t *testing.T) {
	for _, snr := range []float64{20, 0} {
		take := sound.Take{Seconds: 120, SNRdB: snr, Chronometers: []sound.Chronometer{{PhaseS: 0.2, FaintDB: math.Inf(1), AmplitudeDeg: 225}}}
		r := take.Render(source(8))
		in := banded(r.Samples, 48000)
		power := func(fromS, lastsS float64) float64 {
			sum, n := 0.0, 0.0
			for _, b := range beatsOf(r, 48000) {
				for i := int((b + fromS) * 48000); i < int((b+fromS+lastsS)*48000); i++ {
					sum, n = sum+in[i]*in[i], n+1
				}
			}
			return sum / n
		}
		noise := power(0.1, 0.1)
		// 240 beats of a level that scatters by 0.1, so 1 % more power and 1.3 % of doubt.
		near(t, "SNR in dB", 10*math.Log10(power(0, 0.01)/noise-1), snr, 0.2)
		near(t, "power of the noise in dB", 10*math.Log10(noise/(r.NoiseRMS*r.NoiseRMS*11/24)), 0, 0.05)
	}
}

func TestLevelsOfDisturbances(t *testing.T) {
	base := sound.Take{Seconds: 40, SNRdB: math.Inf(1)}
	for name, c := range map[string]struct {
		change func(*sound.Take)
		whole  bool
		want   float64
		within float64 // dB
	}{
		"pink":   {func(t *sound.Take) { t.PinkDB = -12 }, false, -12, 0.2},
		"hum":    {func(t *sound.Take) { t.HumHz, t.HumDB = 50, 6 }, true, 6, 0.05},
		"speech": {func(t *sound.Take) { t.SpeechLike = 10 }, false, 10, 4},
	} {
		take := base
		c.change(&take)
		r := take.Render(source(9))
		power := inBand(r.Samples, 48000)
		if c.whole {
			power = stat.Variance(r.Samples, nil)
		}
		// Speech sounds half of the time, and its edge at 1 kHz is soft.
		near(t, name+" over the beat, dB", 10*math.Log10(power/r.BeatPower), c.want, c.within)
		if name == "pink" {
			var density [4]float64
			for i := range density {
				lo := 100 * math.Pow(4, float64(i))
				density[i] = octave(r.Samples, 48000, lo)
			}
			for i := range density[1:] {
				near(t, "pink noise, octave to octave in dB", 10*math.Log10(density[i+1]/density[i]), 0, 1.5)
			}
		}
	}
}

func octave(samples []float64, rateHz, loHz float64) float64 {
	n := len(samples)
	sum := 0.0
	for j, c := range fourier.NewFFT(n).Coefficients(nil, samples) {
		if f := float64(j) * rateHz / float64(n); f >= loHz && f < 2*loHz {
			sum += real(c)*real(c) + imag(c)*imag(c)
		}
	}
	return sum
}

func TestFaultsOfTheRecorder(t *testing.T) {
	base := sound.Take{Seconds: 20, SNRdB: 30, Chronometers: []sound.Chronometer{{PhaseS: 0.1}}}
	plain := base.Render(source(10))
	peak := func(x []float64) float64 { return max(slices.Max(x), -slices.Min(x)) }
	if p := peak(plain.Samples); p < 0.35 || p > 0.75 {
		t.Errorf("the peak is %g", p)
	}
	take := base
	take.ClipShare = 1.0 / 3
	clipped := take.Render(source(10))
	near(t, "clipped at a third", peak(clipped.Samples), clipped.LevelPeak/3, 1e-12)
	if diff := cmp.Diff(plain.Beats, clipped.Beats); diff != "" {
		t.Error("clipping moves the beats: ", diff)
	}
	take = base
	take.QuantBits = 8
	for i, v := range take.Render(source(10)).Samples {
		if v*128 != math.Round(v*128) || math.Abs(v-plain.Samples[i]) > 0.5/128+1e-12 {
			t.Fatalf("sample %d is %g for %g", i, v, plain.Samples[i])
		}
	}
	take = base
	take.SilentFrom, take.SilentTo = 5, 9
	silent := take.Render(source(10))
	for i, v := range silent.Samples {
		if in := i >= 5*48000 && i < 9*48000; in && v != 0 || !in && v != plain.Samples[i] {
			t.Fatalf("sample %d is %g", i, v)
		}
	}
	if got, want := len(silent.Beats[0]), len(plain.Beats[0])-8; got != want {
		t.Errorf("%d beats beside the silence, want %d", got, want)
	}
	take = base
	take.GainPump, take.Knocks = 0.9, 0
	pumped := take.Render(source(10))
	if a, b := stat.StdDev(pumped.Samples[48000:], nil), stat.StdDev(plain.Samples[48000:], nil); a > 0.9*b || a < 0.1*b {
		t.Errorf("a gain that yields leaves %g of %g", a, b)
	}
	take = base
	take.Knocks = 25
	knocked := take.Render(source(10))
	bangs, last := 0, -48000
	gain := knocked.LevelPeak / plain.LevelPeak
	for i, v := range knocked.Samples {
		if math.Abs(v-gain*plain.Samples[i]) > 1e-9 {
			if i-last > 10 {
				bangs++
			}
			last = i
		}
	}
	if bangs < 15 || bangs > 25 {
		t.Errorf("%d knocks stand apart", bangs)
	}
}

func TestMissingBeatsAndStanding(t *testing.T) {
	one := sound.Chronometer{PhaseS: 0.1, MissingShare: 0.15, StopsS: 500}
	r := sound.Take{RateHz: 4000, Seconds: 600, SNRdB: 20, Chronometers: []sound.Chronometer{one}}.Render(source(11))
	n := float64(len(r.Beats[0]))
	near(t, "beats", n, 850, 3*math.Sqrt(1000*0.15*0.85))
	if last := r.Beats[0][len(r.Beats[0])-1]; last > 500 {
		t.Errorf("it beats at %g s", last)
	}
	for i, b := range r.Beats[0] {
		near(t, "beat by its number", b, 0.1+0.5*float64(r.Numbers[0][i]), 1e-9)
	}
	// It stands when the amplitude no longer reaches through the lift.
	one = sound.Chronometer{AmplitudeAt: func(s float64) float64 { return 240 - 2*s }, LiftDeg: 40}
	r = sound.Take{RateHz: 4000, Seconds: 200, SNRdB: 20, Chronometers: []sound.Chronometer{one}}.Render(source(11))
	near(t, "last beat", r.Beats[0][len(r.Beats[0])-1], 100, 0.5)
}

// loudest returns the place in s of the greatest magnitude of a stretch.
func loudest(r sound.Recorded, rateHz, fromS, toS float64) float64 {
	at, most := 0, 0.0
	for i := int(fromS * rateHz); i < int(toS*rateHz); i++ {
		if v := math.Abs(r.Samples[i]); v > most {
			at, most = i, v
		}
	}
	return float64(at) / rateHz
}

// The drop and the passing tick are heard where the balance says: 14.2227 and
// 11.8328 ms after unlocking at 225° and 270° with a lift of 40°, and 3.5371
// ms before the half period when 5° out of beat at 225°.
func TestKinematicsAreHeard(t *testing.T) {
	render := func(c sound.Chronometer) sound.Recorded {
		c.PhaseS, c.SubJitterS, c.LevelShare = 0.2, -1, -1
		return sound.Take{RateHz: 96000, Seconds: 3, SNRdB: math.Inf(1), Chronometers: []sound.Chronometer{c}}.Render(source(1))
	}
	drop := func(a float64) float64 {
		r := render(sound.Chronometer{AmplitudeDeg: a, LiftDeg: 40, FaintDB: math.Inf(1)})
		return loudest(r, 96000, 1.2, 1.3)
	}
	// The return of the detent overlaps the drop alike; one sample is 0.0104 ms.
	near(t, "drop at 225° less drop at 270°, ms", 1e3*(drop(225)-drop(270)), 14.2227-11.8328, 0.011)
	near(t, "drop at 180° less drop at 225°, ms", 1e3*(drop(180)-drop(225)), 17.8328-14.2227, 0.011)
	tick := func(deg float64) float64 {
		r := render(sound.Chronometer{AmplitudeDeg: 225, OutOfBeatDeg: deg, FaintDB: 10})
		return loudest(r, 96000, 1.4, 1.5)
	}
	near(t, "passing tick, ms", 1e3*(tick(0)-tick(5)), 3.5371, 0.011)
	near(t, "the other way", 1e3*(tick(0)-tick(-5)), -3.5371, 0.011)

	lever := sound.Chronometer{PeriodS: 0.4, Lever: true, AmplitudeDeg: 270, OutOfBeatDeg: 4}
	beats := render(lever).Beats[0]
	_, want, ok := lever.Delays(0)
	if !ok || len(beats) != 14 {
		t.Fatalf("%d beats", len(beats))
	}
	near(t, "difference of the intervals halved", ((beats[2]-beats[1])-(beats[1]-beats[0]))/2, want, 1e-9)
	near(t, "their sum", beats[2]-beats[0], 0.4, 1e-9)
	// At 384 kHz a sample falls within 0.1 % of every crest.
	one := sound.Chronometer{FaintDB: 20, PhaseS: 0.2, SubJitterS: -1, LevelShare: -1}
	r := sound.Take{RateHz: 384000, Seconds: 1, SNRdB: math.Inf(1), Chronometers: []sound.Chronometer{one}}.Render(source(1))
	level := func(fromS, toS float64) float64 {
		return math.Abs(r.Samples[int(math.Round(loudest(r, 384000, fromS, toS)*384000))])
	}
	near(t, "passing tick below the beat, dB", 20*math.Log10(level(0.4, 0.5)/level(0.2, 0.3)), -20, 0.02)
}

func TestPattern(t *testing.T) {
	for _, eccentric := range []bool{false, true} {
		one := sound.Chronometer{Teeth: 16, PatternS: 40e-6, Eccentric: eccentric, PhaseS: 0.1}
		r := sound.Take{RateHz: 4000, Seconds: 40, SNRdB: 20, Chronometers: []sound.Chronometer{one}}.Render(source(12))
		p := r.Pattern[0]
		if len(p) != 16 {
			t.Fatalf("%d teeth", len(p))
		}
		square := 0.0
		for i, b := range r.Beats[0] {
			near(t, "beat", b, 0.1+0.5*float64(i)+p[i%16], 1e-10)
		}
		for _, v := range p {
			square += v * v / 16
		}
		near(t, "rms", math.Sqrt(square), 40e-6, 1e-12)
		near(t, "mean", stat.Mean(p, nil), 0, 1e-12)
		if eccentric {
			for i := range p {
				near(t, "opposite teeth", p[i]+p[(i+8)%16], 0, 1e-12)
			}
		}
	}
}

// The pulses are where they are said to be, and their slope is the clock's.
func TestSecondPulse(t *testing.T) {
	take := sound.Take{Seconds: 60, SNRdB: 20, ClockPPM: -58.3, SecondPulse: true, PulsePhaseS: 0.25}
	r := take.Render(source(13))
	if len(r.PulseS) != 60 {
		t.Fatalf("%d pulses", len(r.PulseS))
	}
	period := (r.PulseS[59] - r.PulseS[0]) / 59
	near(t, "ppm", 1e6*(period-1), -58.3, 1e-6)
	// The continuous edge is steeper than a band of 24 kHz allows, so its place is checked at a higher frequency.
	take.RateHz, take.PulseJitterS = 192000, 20e-6
	r = take.Render(source(13))
	edge := tabulated(func(t float64) float64 {
		if t <= 0 {
			return 0
		}
		return math.Exp(-t/4e-3) - math.Exp(-t*(1/4e-3+1/30e-6))
	}, -0.002, 0.05)
	var late, jitter []float64
	for i, p := range r.PulseS[:59] {
		late = append(late, matched(r.Pulse, 192000, p, 0.04, edge))
		jitter = append(jitter, p-(0.25+float64(i))*(1-58.3e-6))
	}
	mean, sd := stat.MeanStdDev(late, nil)
	t.Logf("pulses late by %.0f ns, scatter %.0f ns", mean*1e9, sd*1e9)
	near(t, "pulse, late by s", mean, 0, 0.05e-6)
	near(t, "scatter", sd, 0, 0.1e-6)
	near(t, "jitter over 20 µs", stat.StdDev(jitter, nil)/20e-6, 1, 3/math.Sqrt(2*59))
}

// A stream of hours holds no more than one of minutes.
func TestLongStreamIsSmall(t *testing.T) {
	take := sound.Take{RateHz: 8000, Seconds: 2 * 3600, SNRdB: 10, Chronometers: []sound.Chronometer{{}}, PinkDB: -10, DropCount: 20}
	s := take.Stream(source(1))
	buffer := make([]float64, 8192)
	var before, after runtime.MemStats
	s.Read(buffer)
	runtime.GC()
	runtime.ReadMemStats(&before)
	n := len(buffer)
	for {
		k := s.Read(buffer)
		if k == 0 {
			break
		}
		n += k
	}
	runtime.GC()
	runtime.ReadMemStats(&after)
	if n != 2*3600*8000 {
		t.Errorf("%d samples", n)
	}
	// 14,400 beats of 16 bytes in lists that may be twice as long.
	if grown := int64(after.HeapAlloc) - int64(before.HeapAlloc); grown > 1<<20 {
		t.Errorf("it grew by %d bytes", grown)
	}
	runtime.KeepAlive(s)
}

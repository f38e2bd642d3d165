package beat_test

import (
	"flag"
	"hash/fnv"
	"math"
	"math/rand/v2"
	"runtime"
	"sync"
	"testing"

	"timeball/internal/beat"
	"timeball/internal/simulate/sound"
)

// many is how many recordings of each kind are made; the figures of
// docs/accuracy.md are those of 100.
var many = flag.Int("rows", 0, "recordings of each kind that are listened to; 0: a few")

// draw chooses other recordings of the same kinds: rules that were set while
// looking at some are judged by others.
var draw = flag.Uint64("draw", 0, "which draw of recordings")

// full reports whether the suite was asked for its figures, not only to pass.
func full() bool { return *many > 0 }

// count returns how many recordings of a kind to make: a few, or the share of
// those that were asked for.
func count(few int, share float64) int {
	if !full() {
		return few
	}
	return max(1, int(math.Round(share*float64(*many))))
}

// source returns the random numbers of the i-th recording of a kind.
func source(kind string, i int) *rand.Rand {
	h := fnv.New64a()
	_, _ = h.Write([]byte(kind))
	return rand.New(rand.NewPCG(uint64(i)+*draw<<32, h.Sum64()))
}

// usual is a half-second chronometer: a jitter of 20 µs, a pattern of the wheel
// of 30 µs, at a rate within 10 s/d.
func usual(rng *rand.Rand) sound.Chronometer {
	return sound.Chronometer{RatePerDay: 20*rng.Float64() - 10, JitterS: 20e-6, PatternS: 30e-6, PhaseS: 0.1 + 0.4*rng.Float64()}
}

// minute is a minute of it at 20 dB.
func minute(rng *rand.Rand) sound.Take {
	return sound.Take{Seconds: 60, SNRdB: 20, SNRWhole: true, Chronometers: []sound.Chronometer{usual(rng)}}
}

// rateOf returns the nominal sampling frequency of a take.
func rateOf(t sound.Take) int {
	if t.RateHz == 0 {
		return 48000
	}
	return t.RateHz
}

// listen hears samples in tenths of a second, as a recorder brings them.
func listen(samples []float64, rateHz int, o beat.Options) *beat.Listener {
	return listenBy(samples, rateHz, 1, rateHz/10, o)
}

// listenBy hears frames of so many channels in chunks of so many frames.
func listenBy(samples []float64, rateHz, channels, chunk int, o beat.Options) *beat.Listener {
	l := beat.NewListener(rateHz, channels, o)
	chunk *= channels
	for i := 0; i < len(samples); i += chunk {
		l.Write(samples[i:min(len(samples), i+chunk)])
	}
	l.Close()
	return l
}

// heard is a recording and what was found in it.
type heard struct {
	take     sound.Take
	recorded sound.Recorded // without its samples
	options  beat.Options
	finding  beat.Finding
}

func (h heard) rate() float64 { return h.take.Chronometers[0].RatePerDay }

// wrong returns the error of the rate, s/d.
func (h heard) wrong() float64 { return float64(h.finding.Rate) - h.rate() }

// refused reports whether no rate was given that would be believed.
func (h heard) refused() bool {
	return !h.finding.Heard || !h.finding.Rated || h.finding.Overlapped
}

// astray reports whether the rate is wrong by more than five of its own
// standard deviations and nothing in the finding says that it may be.
func (h heard) astray() bool {
	f := h.finding
	return !h.refused() && !f.Early && f.Second == nil && math.Abs(h.wrong()) > 5*f.RateSd
}

// chance returns the error, s/d, of the straight line through the beats as they
// truly fell, what the teeth add being known: what no listener could do better.
// Two beats to an oscillation have a place each.
func (h heard) chance() float64 {
	c := h.take.Chronometers[0]
	loud := c.BeatsPerOscillation()
	spacing := c.TruePeriodS() / float64(loud)
	teeth := h.recorded.Pattern[0]
	type sums struct{ n, k, y, kk, ky float64 }
	of := make([]sums, loud)
	for i, at := range h.recorded.Beats[0] {
		number := h.recorded.Numbers[0][i]
		half := number % loud
		// A lever's pallets span two and a half teeth.
		tooth := teeth[(number/loud+2*half)%len(teeth)]
		k, y, s := float64(number), at-float64(number)*spacing-tooth, &of[half]
		s.n, s.k, s.y, s.kk, s.ky = s.n+1, s.k+k, s.y+y, s.kk+k*k, s.ky+k*y
	}
	up, down := 0.0, 0.0
	for _, s := range of {
		up, down = up+s.ky-s.k*s.y/s.n, down+s.kk-s.k*s.k/s.n
	}
	return -86400 * up / down / spacing
}

// hear makes the recording of a take and listens to it.
func hear(take sound.Take, rng *rand.Rand, o beat.Options) heard {
	h := heard{take: take, options: o, recorded: take.Render(rng)}
	h.finding = listen(h.recorded.Samples, rateOf(take), o).Finding(nil)
	h.recorded.Samples = nil
	return h
}

// each does something n times, on all processors.
func each(n int, do func(i int)) {
	next := make(chan int)
	var group sync.WaitGroup
	for range runtime.GOMAXPROCS(0) {
		group.Go(func() {
			for i := range next {
				do(i)
			}
		})
	}
	for i := range n {
		next <- i
	}
	close(next)
	group.Wait()
}

// hearAll listens to n recordings of a kind, as drawn.
func hearAll(kind string, n int, draw func(rng *rand.Rand) (sound.Take, beat.Options)) []heard {
	all := make([]heard, n)
	each(n, func(i int) {
		rng := source(kind, i)
		take, o := draw(rng)
		all[i] = hear(take, rng, o)
	})
	return all
}

// rms returns the root mean square.
func rms(x []float64) float64 {
	sum := 0.0
	for _, v := range x {
		sum += v * v
	}
	return math.Sqrt(sum / float64(len(x)))
}

// worst returns the largest magnitude.
func worst(x []float64) float64 {
	most := 0.0
	for _, v := range x {
		most = math.Max(most, math.Abs(v))
	}
	return most
}

func near(t *testing.T, what string, got, want, within float64) {
	t.Helper()
	if !(math.Abs(got-want) <= within) {
		t.Errorf("%s is %.9g, want %.9g within %.3g", what, got, want, within)
	}
}

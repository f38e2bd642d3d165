package dsp_test

import (
	"math"
	"math/cmplx"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/dsp/fourier"
	"pgregory.net/rapid"

	"timeball/internal/dsp"
)

// TestHighPassIsButterworth holds the response to |H|² = 1/(1 + (Ωc/Ω)⁸) with
// Ω = tan(πf/fs), the analogue prototype of fourth order under the bilinear
// transform (Oppenheim and Schafer, Discrete-Time Signal Processing, ch. 7), and
// its phase to that of the impulse response.
func TestHighPassIsButterworth(t *testing.T) {
	const rate, corner = 24000.0, 1000.0
	const n = 1 << 14
	x := make([]float64, n)
	x[0] = 1
	dsp.NewHighPass(corner, rate).Filter(x)
	h := fourier.NewFFT(n).Coefficients(nil, x)
	f := dsp.NewHighPass(corner, rate)
	for _, hz := range []float64{100, 500, 1000, 2000, 5000, 11000} {
		i := int(math.Round(hz / rate * n))
		at := float64(i) / n * rate
		ratio := math.Tan(math.Pi*corner/rate) / math.Tan(math.Pi*at/rate)
		want := 1 / math.Sqrt(1+math.Pow(ratio, 8))
		if got := cmplx.Abs(h[i]); math.Abs(got-want) > 1e-6 {
			t.Errorf("response at %.0f Hz is %.7f, want %.7f", at, got, want)
		}
		if d := cmplx.Abs(h[i]/complex(cmplx.Abs(h[i]), 0) - f.Phase(at, rate)); d > 1e-6 {
			t.Errorf("phase at %.0f Hz is off by %.2g", at, d)
		}
	}
	defer func() {
		if recover() == nil {
			t.Error("a corner beyond the band is taken")
		}
	}()
	dsp.NewHighPass(13000, rate)
}

// TestHalverKeepsTheBand: what lies below 0.2 of the rate comes through, what
// lies above 0.3 and would fold into it does not, whatever pieces it comes in.
func TestHalverKeepsTheBand(t *testing.T) {
	level := func(share float64) float64 {
		h := dsp.NewHalver()
		var out []float64
		rng := rand.New(rand.NewPCG(1, 1))
		x := make([]float64, 8000)
		for i := range x {
			x[i] = math.Sin(2 * math.Pi * share * float64(i))
		}
		for len(x) > 0 {
			n := min(len(x), 1+rng.IntN(100))
			out = h.Halve(out, x[:n])
			x = x[n:]
		}
		sum := 0.0
		for _, v := range out[100:] {
			sum += v * v
		}
		return math.Sqrt(2 * sum / float64(len(out)-100))
	}
	for _, share := range []float64{0.01, 0.1, 0.2} {
		if l := level(share); math.Abs(l-1) > 0.04 {
			t.Errorf("at %.2f of the rate %.4f comes through", share, l)
		}
	}
	for _, share := range []float64{0.31, 0.4, 0.49} {
		if l := level(share); l > 0.01 {
			t.Errorf("at %.2f of the rate %.4f comes through", share, l)
		}
	}
}

// TestHalverDelay: sample j of the output stands for sample 2j less DelayIn.
func TestHalverDelay(t *testing.T) {
	h := dsp.NewHalver()
	x := make([]float64, 400)
	for i := range x {
		d := float64(i-200) / 12
		x[i] = math.Exp(-d * d)
	}
	out := h.Halve(nil, x)
	top := 0
	for i := range out {
		if out[i] > out[top] {
			top = i
		}
	}
	at, _ := dsp.Peak(out, top)
	if got := 2*at - float64(h.DelayIn()); math.Abs(got-200) > 0.01 {
		t.Errorf("the peak at sample 200 comes out at %.3f", got)
	}
}

// TestBetweenSamples: the curve of a band-limited sound is known between its
// samples (sampling theorem).
func TestBetweenSamples(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		share := rapid.Float64Range(0.01, 0.35).Draw(t, "frequency")
		phase := rapid.Float64Range(0, 2*math.Pi).Draw(t, "phase")
		place := rapid.Float64Range(30, 70).Draw(t, "place")
		x := make([]float64, 100)
		for i := range x {
			x[i] = math.Sin(2*math.Pi*share*float64(i) + phase)
		}
		want := math.Sin(2*math.Pi*share*place + phase)
		if got := dsp.At(x, place); math.Abs(got-want) > 0.01 {
			t.Fatalf("at %.3f the curve is %.5f, want %.5f", place, got, want)
		}
		out := make([]float64, 5)
		dsp.Shift(out, x, place)
		for i, v := range out {
			if d := math.Abs(v - dsp.At(x, place+float64(i))); d > 1e-9 {
				t.Fatalf("shifted by %.3f, sample %d is off by %.2g", place, i, d)
			}
		}
	})
}

// TestPeak: the place of the highest point is found to a hundredth of a sample.
func TestPeak(t *testing.T) {
	for off := -0.5; off < 0.5; off += 0.05 {
		x := make([]float64, 60)
		for i := range x {
			d := (float64(i) - 30 - off) / 4
			x[i] = math.Exp(-d*d) * math.Cos(d*3)
		}
		at, height := dsp.Peak(x, 30)
		if math.Abs(at-30-off) > 0.01 || math.Abs(height-1) > 0.01 {
			t.Errorf("peak at %.3f of %.4f, want %.3f of 1", at, height, 30+off)
		}
	}
}

// TestLoudest holds the four sums at a time against one.
func TestLoudest(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		x := rapid.SliceOf(rapid.Float64Range(-10, 10)).Draw(t, "samples")
		want := 0.0
		for _, v := range x {
			want = math.Max(want, math.Abs(v))
		}
		if got := dsp.Loudest(x); got != want {
			t.Fatalf("loudest %g, want %g", got, want)
		}
	})
}

func BenchmarkHighPass(b *testing.B) {
	x := make([]float64, 4800)
	for i := range x {
		x[i] = math.Sin(float64(i))
	}
	f := dsp.NewHighPass(1000, 24000)
	b.SetBytes(int64(len(x)))
	for b.Loop() {
		f.Filter(x)
	}
}

func BenchmarkHalver(b *testing.B) {
	x := make([]float64, 4800)
	h := dsp.NewHalver()
	var out []float64
	b.SetBytes(int64(len(x)))
	for b.Loop() {
		out = h.Halve(out[:0], x)
	}
}

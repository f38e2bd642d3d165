package dsp

import "math"

// halves are the taps of the half-band filter at odd distances 1, 3, 5 … from
// its middle; the middle is 1/2 and the even ones are zero.
const halfTaps = 7

var halves = halfBand()

// halfBand returns the windowed ideal low-pass of a quarter of the rate: taps
// sin(pi n/2)/(pi n) under a Kaiser window, beta 4 (about 45 dB).
func halfBand() (taps [halfTaps]float64) {
	const beta = 4.0
	reach := float64(2 * halfTaps)
	sum := 0.5
	for i := range taps {
		n := float64(2*i + 1)
		window := bessel0(beta*math.Sqrt(1-(n/reach)*(n/reach))) / bessel0(beta)
		taps[i] = math.Sin(math.Pi*n/2) / (math.Pi * n) * window
		sum += 2 * taps[i]
	}
	for i := range taps {
		taps[i] *= 0.5 / (sum - 0.5)
	}
	return taps
}

// bessel0 returns the modified Bessel function of order zero by its series.
func bessel0(x float64) float64 {
	sum, term := 1.0, 1.0
	for k := 1.0; term > 1e-12*sum; k++ {
		term *= (x / (2 * k)) * (x / (2 * k))
		sum += term
	}
	return sum
}

// reach is how many samples before the newest the half-band filter needs.
const reach = 4*halfTaps - 2

// Halver keeps every second sample of a stream after a low-pass that lets
// through what lies below about 0.2 of the old rate and stops what lies above
// 0.3.
type Halver struct {
	kept []float64 // samples not used up yet, from the oldest the next output needs
}

// NewHalver returns a halver whose stream was silent before.
func NewHalver() *Halver { return &Halver{kept: make([]float64, reach)} }

// DelayIn returns by how many samples of the old rate the output lags.
func (*Halver) DelayIn() int { return reach / 2 }

// Halve appends the halved stream of x to out and returns it; sample j of the
// output stands for sample 2j less DelayIn of the input.
func (h *Halver) Halve(out, x []float64) []float64 {
	h.kept = append(h.kept, x...)
	in := h.kept
	t0, t1, t2, t3, t4, t5, t6 := halves[0], halves[1], halves[2], halves[3], halves[4], halves[5], halves[6]
	at := 0
	for ; at+reach < len(in); at += 2 {
		w := in[at : at+reach+1 : at+reach+1]
		const m = reach / 2
		out = append(out, w[m]/2+
			((w[m-1]+w[m+1])*t0+(w[m-3]+w[m+3])*t1)+
			((w[m-5]+w[m+5])*t2+(w[m-7]+w[m+7])*t3)+
			((w[m-9]+w[m+9])*t4+(w[m-11]+w[m+11])*t5)+
			(w[m-13]+w[m+13])*t6)
	}
	h.kept = append(h.kept[:0], in[at:]...)
	return out
}

// Package dsp holds the filters that sound passes through on its way to a time:
// recursive sections, a decimator and the interpolation of sampled curves. All
// work on streams in place and allocate nothing once made.
//
// Frequencies are in Hz, rates in samples a second.
package dsp

import (
	"math"
	"math/cmplx"
)

// section is one recursive section of second order in transposed direct form.
type section struct {
	b0, b1, b2, a1, a2 float64
	s1, s2             float64
}

// HighPass is a Butterworth high-pass of fourth order.
type HighPass struct{ p, q section }

// The damping of the two sections of a Butterworth filter of fourth order,
// 1/(2 sin(pi/8)) and 1/(2 cos(pi/8)).
var (
	sharpQ = 1 / (2 * math.Sin(math.Pi/8))
	flatQ  = 1 / (2 * math.Cos(math.Pi/8))
)

// NewHighPass returns a high-pass whose response is half power at cornerHz. It
// panics unless 0 < cornerHz < rateHz/2.
//
// Source: bilinear transform of the analogue prototype with the corner
// prewarped (A. V. Oppenheim, R. W. Schafer, Discrete-Time Signal Processing,
// ch. 7).
func NewHighPass(cornerHz, rateHz float64) *HighPass {
	if !(cornerHz > 0 && cornerHz < rateHz/2) {
		panic("dsp: corner of the high-pass outside the band")
	}
	return &HighPass{highSection(cornerHz, rateHz, flatQ), highSection(cornerHz, rateHz, sharpQ)}
}

func highSection(cornerHz, rateHz, q float64) section {
	k := math.Tan(math.Pi * cornerHz / rateHz)
	n := 1 / (1 + k/q + k*k)
	return section{b0: n, b1: -2 * n, b2: n, a1: 2 * (k*k - 1) * n, a2: (1 - k/q + k*k) * n}
}

// Phase returns the complex response of the filter at hz, without its length:
// what a sine of that frequency is turned by.
func (f *HighPass) Phase(hz, rateHz float64) complex128 {
	z := cmplx.Exp(complex(0, -2*math.Pi*hz/rateHz))
	h := complex(1, 0)
	for _, s := range []section{f.p, f.q} {
		h *= (complex(s.b0, 0) + complex(s.b1, 0)*z + complex(s.b2, 0)*z*z) / (1 + complex(s.a1, 0)*z + complex(s.a2, 0)*z*z)
	}
	if l := cmplx.Abs(h); l > 0 {
		return h / complex(l, 0)
	}
	return 1
}

// Filter filters x in place. The state is kept from call to call.
func (f *HighPass) Filter(x []float64) {
	p, q := f.p, f.q // locals: the compiler keeps them in registers
	// What enters the states is taken from the input, not from the output, so
	// that the next sample waits for one product and one sum only.
	pb1, pb2 := p.b1-p.a1*p.b0, p.b2-p.a2*p.b0
	qb1, qb2 := q.b1-q.a1*q.b0, q.b2-q.a2*q.b0
	for i, v := range x {
		u := p.b0*v + p.s1
		p.s1, p.s2 = (pb1*v+p.s2)-p.a1*p.s1, pb2*v-p.a2*p.s1
		w := q.b0*u + q.s1
		q.s1, q.s2 = (qb1*u+q.s2)-q.a1*q.s1, qb2*u-q.a2*q.s1
		x[i] = w
	}
	const quiet = 1e-30 // states below it would sink into numbers that are slow to compute with
	for _, s := range []*float64{&p.s1, &p.s2, &q.s1, &q.s2} {
		if math.Abs(*s) < quiet {
			*s = 0
		}
	}
	f.p, f.q = p, q
}

// Loudest returns the largest size of a sample of x, 0 of none.
func Loudest(x []float64) float64 {
	var a, b, c, d float64 // four at a time: the processor need not wait for one
	i := 0
	for ; i+3 < len(x); i += 4 {
		y := x[i : i+4 : i+4]
		a = max(a, math.Abs(y[0]))
		b = max(b, math.Abs(y[1]))
		c = max(c, math.Abs(y[2]))
		d = max(d, math.Abs(y[3]))
	}
	for ; i < len(x); i++ {
		a = max(a, math.Abs(x[i]))
	}
	return max(a, b, c, d)
}

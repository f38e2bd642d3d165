package sound

import (
	"math"

	"gonum.org/v1/gonum/dsp/fourier"
)

// phases is the number of places between two samples at which a waveform is
// tabulated; cubic interpolation between them errs by less than 1e-5 of it.
const phases = 32

// attackS is the time constant of the rise of every partial.
const attackS = 60e-6

// partial is the damped sinusoid exp(-t/decay) (1 - exp(-t/attack)) sin(2πft).
type partial struct{ hz, decayS, level float64 }

// transform returns the Fourier transform of the partial at the angular
// frequency w.
func (p partial) transform(w float64) complex128 {
	w0 := 2 * math.Pi * p.hz
	one := func(damping float64) complex128 {
		s := complex(damping, w)
		return complex(w0, 0) / (s*s + complex(w0*w0, 0))
	}
	return complex(p.level, 0) * (one(1/p.decayS) - one(1/p.decayS+1/attackS))
}

// knock is a sound that can be placed anywhere between two samples.
type knock struct {
	before int                   // samples of the table before its beginning
	rows   [phases + 3][]float64 // rows[i][j] is the sound (j - before) - (i-1)/phases samples after its beginning
}

// echoes are delays in s and levels of what the bench and the lid send back.
var echoes = [...]struct{ delayS, level float64 }{{0.9e-3, 0.5}, {2.3e-3, -0.35}, {5.1e-3, 0.2}}

// before is the room for what the band limit puts before a beginning.
const before = 64

// bandLimit is the taper from 0.45 to 0.5 of the sampling frequency.
func bandLimit(ofRate float64) float64 {
	switch {
	case ofRate <= 0.45:
		return 1
	case ofRate >= 0.5:
		return 0
	}
	return 0.5 + 0.5*math.Cos(math.Pi*(ofRate-0.45)/0.05)
}

// newKnock tabulates a sound of the given transform, of which nothing is left
// lastsS after its beginning.
func newKnock(rateHz, lastsS float64, echo bool, transform func(w float64) complex128) *knock {
	if echo {
		lastsS += echoes[len(echoes)-1].delayS
	}
	length := before + int(lastsS*rateHz) + 1
	n := 256
	for n < length+before {
		n *= 2
	}
	coeff := make([]complex128, n*phases/2+1)
	step := rateHz / float64(n)
	for j := range n / 2 {
		f := float64(j) * step
		w := 2 * math.Pi * f
		s := transform(w)
		if echo {
			sum := complex(1, 0)
			for _, e := range echoes {
				sin, cos := math.Sincos(w * e.delayS)
				sum += complex(e.level*cos, -e.level*sin)
			}
			s *= sum
		}
		sin, cos := math.Sincos(w * before / rateHz)
		coeff[j] = s * complex(step*bandLimit(f/rateHz), 0) * complex(cos, -sin)
	}
	fine := fourier.NewFFT(n*phases).Sequence(nil, coeff)
	k := &knock{before: before}
	cells := make([]float64, len(k.rows)*length)
	for i := range k.rows {
		k.rows[i] = cells[i*length : (i+1)*length]
		for j := range k.rows[i] {
			k.rows[i][j] = fine[(j*phases-(i-1)+n*phases)%(n*phases)]
		}
	}
	return k
}

// scale multiplies the whole table.
func (k *knock) scale(by float64) {
	for _, row := range k.rows {
		for j := range row {
			row[j] *= by
		}
	}
}

// peak returns the greatest magnitude of the table.
func (k *knock) peak() float64 {
	most := 0.0
	for _, row := range k.rows {
		for _, v := range row {
			most = max(most, math.Abs(v))
		}
	}
	return most
}

// add puts the sound at the given level into sum, beginning at the place at
// counted in samples of sum; what falls outside is left out.
func (k *knock) add(sum []float64, at, level float64) {
	whole := math.Floor(at)
	x := (at - whole) * phases
	row := min(int(x), phases-1)
	r := x - float64(row)
	// Lagrange's cubic through the rows at -1, 0, 1 and 2.
	w0 := -level * r * (r - 1) * (r - 2) / 6
	w1 := level * (r + 1) * (r - 1) * (r - 2) / 2
	w2 := -level * (r + 1) * r * (r - 2) / 2
	w3 := level * (r + 1) * r * (r - 1) / 6
	first := int(whole) - k.before
	from, to := max(0, -first), min(len(k.rows[0]), len(sum)-first)
	if from >= to {
		return
	}
	out := sum[first+from : first+to]
	a, b := k.rows[row][from:to], k.rows[row+1][from:to]
	c, d := k.rows[row+2][from:to], k.rows[row+3][from:to]
	a, b, c, d = a[:len(out)], b[:len(out)], c[:len(out)], d[:len(out)]
	for j := range out {
		out[j] += w0*a[j] + w1*b[j] + w2*c[j] + w3*d[j]
	}
}

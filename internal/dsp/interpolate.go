package dsp

import "math"

// lobes is how many samples to each side the interpolation uses.
const lobes = 12

// At returns the value of the band-limited curve of samples x at place p, in
// samples; outside x it is taken as zero. Source: sampling theorem, with the
// sinc under a Hann window of 12 samples to each side.
func At(x []float64, p float64) float64 {
	base := int(math.Floor(p))
	f := p - float64(base)
	if f == 0 {
		if base < 0 || base >= len(x) {
			return 0
		}
		return x[base]
	}
	sum := 0.0
	sin := math.Sin(math.Pi*f) / math.Pi
	for i := max(base-lobes+1, 0); i <= min(base+lobes, len(x)-1); i++ {
		d := p - float64(i)
		s := sin / d
		if (base-i)&1 != 0 {
			s = -s
		}
		sum += x[i] * s * (0.5 + 0.5*math.Cos(math.Pi*d/(lobes+1)))
	}
	return sum
}

// Peak returns where the band-limited curve of samples x is highest near sample
// i, in samples, and how high. It looks half a sample to each side of i in
// eighths and then along a parabola.
func Peak(x []float64, i int) (at, height float64) {
	const parts = 8
	best, top := 0, math.Inf(-1)
	var v [parts + 5]float64
	for j := range v {
		v[j] = At(x, float64(i)+float64(j-parts/2-2)/parts)
		if v[j] > top {
			best, top = j, v[j]
		}
	}
	at = float64(i) + float64(best-parts/2-2)/parts
	if best == 0 || best == len(v)-1 {
		return at, top
	}
	a, b, c := v[best-1], v[best], v[best+1]
	bend := a - 2*b + c
	if bend >= 0 {
		return at, top
	}
	d := (a - c) / (2 * bend)
	return at + d/parts, b - (a-c)*d/4
}

package dsp

import "math"

// Shift writes to dst the band-limited curve of src at places offset, offset+1
// and so on, in samples of src; outside src it is taken as zero. It is At for a
// whole stretch.
func Shift(dst, src []float64, offset float64) {
	base := int(math.Floor(offset))
	f := offset - float64(base)
	if f < 1e-9 {
		for i := range dst {
			if j := base + i; j >= 0 && j < len(src) {
				dst[i] = src[j]
			} else {
				dst[i] = 0
			}
		}
		return
	}
	var w [2 * lobes]float64
	sin := math.Sin(math.Pi*f) / math.Pi
	for j := range w { // weight of the sample at base + j - lobes + 1
		d := f - float64(j-lobes+1)
		w[j] = sin / d * (0.5 + 0.5*math.Cos(math.Pi*d/(lobes+1)))
		if (j-lobes+1)&1 != 0 {
			w[j] = -w[j]
		}
	}
	for i := range dst {
		first := base + i - lobes + 1
		sum := 0.0
		if first >= 0 && first+len(w) <= len(src) {
			s := src[first : first+len(w) : first+len(w)]
			for j, v := range s {
				sum += v * w[j]
			}
		} else {
			for j, v := range w {
				if k := first + j; k >= 0 && k < len(src) {
					sum += src[k] * v
				}
			}
		}
		dst[i] = sum
	}
}

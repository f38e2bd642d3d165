// Package robust holds estimates that a few wild values do not move: medians,
// the deviation by them, and a line under Tukey's biweight.
package robust

import (
	"math"
	"slices"
)

// Quantile returns the q-quantile of x, or 0 of none; x stays as it is.
func Quantile(x []float64, q float64) float64 {
	if len(x) == 0 {
		return 0
	}
	s := slices.Clone(x)
	slices.Sort(s)
	p := q * float64(len(s)-1)
	i := int(p)
	if i+1 >= len(s) {
		return s[len(s)-1]
	}
	return s[i] + (p-float64(i))*(s[i+1]-s[i])
}

// Median returns the median of x, or 0 of none.
func Median(x []float64) float64 { return Quantile(x, 0.5) }

// Spread returns a robust standard deviation of x about c: 1.4826 times the
// median of the distances.
func Spread(x []float64, c float64) float64 {
	d := make([]float64, len(x))
	for i, v := range x {
		d[i] = math.Abs(v - c)
	}
	return 1.4826 * Median(d)
}

// Line returns the line through y over k, by medians of slopes between
// halves and a few rounds of Tukey's biweight.
func Line(ks []int, y []float64) (a, b float64) {
	n := len(y)
	if n < 2 {
		return Median(y), 0
	}
	half := n / 2
	var slopes []float64
	for i := 0; i < n-half; i++ {
		if d := ks[i+half] - ks[i]; d != 0 {
			slopes = append(slopes, (y[i+half]-y[i])/float64(d))
		}
	}
	b = Median(slopes)
	rest := make([]float64, n)
	for i := range rest {
		rest[i] = y[i] - b*float64(ks[i])
	}
	a = Median(rest)
	for range 4 {
		for i := range rest {
			rest[i] = y[i] - a - b*float64(ks[i])
		}
		s := 4.685 * max(Spread(rest, 0), 1e-9)
		var sw, sk, sy, skk, sky float64
		for i, r := range rest {
			u := r / s
			if u <= -1 || u >= 1 {
				continue
			}
			w := (1 - u*u) * (1 - u*u)
			k := float64(ks[i])
			sw += w
			sk += w * k
			sy += w * y[i]
			skk += w * k * k
			sky += w * k * y[i]
		}
		d := sw*skk - sk*sk
		if d <= 0 {
			break
		}
		b = (sw*sky - sk*sy) / d
		a = (sy - b*sk) / sw
	}
	return a, b
}

package beat

import (
	"math"
	"slices"
)

// quantile returns the q-quantile of x, or 0 of none; x stays as it is.
func quantile(x []float64, q float64) float64 {
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

func median(x []float64) float64 { return quantile(x, 0.5) }

// spread returns a robust standard deviation of x about c: 1.4826 times the
// median of the distances.
func spread(x []float64, c float64) float64 {
	d := make([]float64, len(x))
	for i, v := range x {
		d[i] = math.Abs(v - c)
	}
	return 1.4826 * median(d)
}

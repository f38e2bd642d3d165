package stability

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/stat"
)

// PhaseFromFrequency returns the len(y)+1 phases (s) that the mean frequencies
// y over steps of tau0 add up to, beginning at 0: x(i) = x(i-1) + y(i) tau0.
// After a gap in y all phases are NaN, for what the clock gained during the
// gap is not known. It returns ok = false if tau0 is not positive and finite.
func PhaseFromFrequency(y []float64, tau0 float64) (x []float64, ok bool) {
	if !(tau0 > 0) || math.IsInf(tau0, 1) {
		return nil, false
	}
	x = make([]float64, len(y)+1)
	for i, v := range y {
		x[i+1] = gapUnlessFinite(x[i] + v*tau0)
	}
	return x, true
}

// FrequencyFromPhase returns the len(x)-1 mean frequencies over each step of
// tau0, (x(i+1) - x(i))/tau0, NaN where either end is a gap. It returns
// ok = false for fewer than two phases or a tau0 that is not positive and
// finite.
func FrequencyFromPhase(x []float64, tau0 float64) (y []float64, ok bool) {
	if !(tau0 > 0) || math.IsInf(tau0, 1) || len(x) < 2 {
		return nil, false
	}
	y = make([]float64, len(x)-1)
	for i := range y {
		y[i] = gapUnlessFinite((x[i+1] - x[i]) / tau0)
	}
	return y, true
}

// Average returns the means of successive groups of m frequencies, a last
// incomplete group left out, NaN for a group with a gap in it. It returns
// ok = false if m < 1 or there is no complete group.
func Average(y []float64, m int) (means []float64, ok bool) {
	if m < 1 || len(y) < m {
		return nil, false
	}
	for i := 0; i <= len(y)-m; i += m {
		means = append(means, gapUnlessFinite(stat.Mean(y[i:i+m], nil)))
	}
	return means, true
}

// Summary describes a series of frequencies as a whole, in the unit of the
// series. SD is the sample standard deviation (divisor N-1); Slope (per step)
// and Intercept are of the least-squares line over the index, counted from 1.
// None of them measures steadiness: they do not settle as the series grows.
type Summary struct {
	N                                  int // frequencies that are not gaps
	Mean, Median, SD, Slope, Intercept float64
	Min, Max                           float64
}

// Summarise returns the summary of y with its gaps left out. It returns
// ok = false for fewer than two frequencies or a result that is not finite.
func Summarise(y []float64) (s Summary, ok bool) {
	var index, value []float64
	for i, v := range y {
		if finite(v) {
			index, value = append(index, float64(i+1)), append(value, v)
		}
	}
	if len(value) < 2 {
		return Summary{}, false
	}
	s.N = len(value)
	s.Mean, s.SD = stat.MeanStdDev(value, nil)
	s.Intercept, s.Slope = stat.LinearRegression(index, value, nil, false)
	slices.Sort(value)
	s.Min, s.Max = value[0], value[s.N-1]
	s.Median = value[(s.N-1)/2]/2 + value[s.N/2]/2
	for _, v := range []float64{s.Mean, s.SD, s.Intercept, s.Slope, s.Median} {
		if !finite(v) {
			return Summary{}, false
		}
	}
	return s, true
}

func gapUnlessFinite(v float64) float64 {
	if finite(v) {
		return v
	}
	return math.NaN()
}

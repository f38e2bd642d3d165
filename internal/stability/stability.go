// Package stability measures how steadily a clock goes: the Allan family of
// deviations over its comparisons, their confidence, and the curve its noise
// model predicts.
//
// Phase x is the error of the dial, dial minus UTC, in seconds, positive when
// fast, at equal steps of tau0. Frequency y is the mean rate over one step,
// seconds per unit of tau0, positive when gaining. With tau0 in days, as in
// every rating, y and all frequency deviations are in s/d; with tau0 in
// seconds they are fractional (1 s/d = 1.157407e-5). A gap is NaN (an infinite
// value counts as one); gaps are left out and never filled.
//
// No function returns NaN or an infinity as a result: ok is false instead.
// NaN stands only for a gap in a series.
//
// Main source: W. Riley, Handbook of Frequency Stability Analysis, NIST
// Special Publication 1065 (2008), section 5.
package stability

import "math"

// Statistic names one of the deviations of the Allan family.
type Statistic uint8

// The statistics, each over phase points x, with averaging factor m and
// tau = m tau0. The second difference is d(i) = x(i+2m) - 2x(i+m) + x(i), the
// third e(i) = x(i+3m) - 3x(i+2m) + 3x(i+m) - x(i). Formulas: NIST SP
// 1065 (2008), section 5.2.
const (
	Unknown       Statistic = iota // no statistic: every function says ok = false
	Allan                          // overlapping: mean d² / (2 tau²)
	PlainAllan                     // the same, i stepping by m
	ModifiedAllan                  // mean (sum of m successive d)² / (2 m² tau²)
	Time                           // tau/√3 times the modified Allan deviation, s
	Hadamard                       // overlapping: mean e² / (6 tau²)
	PlainHadamard                  // the same, i stepping by m
)

// String returns the name of the statistic in lower case.
func (k Statistic) String() string {
	switch k {
	case Allan:
		return "overlapping Allan deviation"
	case PlainAllan:
		return "Allan deviation"
	case ModifiedAllan:
		return "modified Allan deviation"
	case Time:
		return "time deviation"
	case Hadamard:
		return "overlapping Hadamard deviation"
	case PlainHadamard:
		return "Hadamard deviation"
	}
	return "unknown statistic"
}

// shape is a statistic at one averaging factor: a weighted sum of blocks of
// consecutive phase points, squared, averaged and divided by norm·tau².
type shape struct {
	weights []float64 // of the blocks, which begin 0, m, 2m, … after the start
	m       int       // distance between the blocks, and the averaging factor
	length  int       // points in a block: 1, or m for the modified statistics
	step    int       // from one start to the next: 1, or m for the plain ones
	norm    float64
}

func shapeOf(k Statistic, m int) (shape, bool) {
	s := shape{m: m, length: 1, step: 1}
	switch k {
	case Allan, PlainAllan:
		s.weights, s.norm = []float64{1, -2, 1}, 2
	case ModifiedAllan, Time:
		s.weights, s.norm = []float64{1, -2, 1}, 2*float64(m)*float64(m)
		s.length = m
	case Hadamard, PlainHadamard:
		s.weights, s.norm = []float64{-1, 3, -3, 1}, 6
	default:
		return shape{}, false
	}
	if k == PlainAllan || k == PlainHadamard {
		s.step = m
	}
	return s, m >= 1
}

// span returns the number of points from the first to the last one weighted.
func (s shape) span() int { return (len(s.weights)-1)*s.m + s.length }

// at returns the weighted sum that begins at point i, or false if one of its
// points is a gap.
func (s shape) at(x []float64, i int) (float64, bool) {
	var sum float64
	for b := range s.length {
		var d float64
		for p, w := range s.weights {
			d += w * x[i+b+p*s.m]
		}
		sum += d
	}
	return sum, finite(sum)
}

// starts returns the starts i whose points all exist.
func (s shape) starts(x []float64) []int {
	var starts []int
	for i := 0; i < len(x) && i <= len(x)-s.span(); i += s.step {
		if _, ok := s.at(x, i); ok {
			starts = append(starts, i)
		}
	}
	return starts
}

// Deviation returns the deviation k of the phase x (s, equal steps of tau0) at
// averaging factor m, and the number of differences n it averages. The unit is
// s per unit of tau0 (s for Time). Differences that touch a gap are left out.
// It returns ok = false if no difference is whole, if tau0 is not positive, or
// if the result is not finite. The modified statistics take a time of the
// order of len(x)·m.
func Deviation(k Statistic, x []float64, tau0 float64, m int) (sigma float64, n int, ok bool) {
	s, ok := shapeOf(k, m)
	if !ok || !(tau0 > 0) || m > len(x) {
		return 0, 0, false
	}
	var sum float64
	for i := 0; i <= len(x)-s.span(); i += s.step {
		if d, whole := s.at(x, i); whole {
			sum += d * d
			n++
		}
	}
	if n == 0 {
		return 0, 0, false
	}
	tau := float64(m) * tau0
	sigma = math.Sqrt(sum/(s.norm*float64(n))) / tau
	if k == Time {
		sigma *= tau / math.Sqrt(3) // NIST SP 1065, section 5.2
	}
	if !finite(sigma) {
		return 0, 0, false
	}
	return sigma, n, true
}

func finite(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }

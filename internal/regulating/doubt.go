package regulating

import (
	"math"

	"timeball/internal/clock"
	"timeball/internal/statespace"
)

// RateDoubt returns the least standard deviation, s/d, of the rate at the last
// of n comparisons spaced everyDays, each of readingSDS seconds, of an
// instrument of known noise and of unknown error and rate: no estimator does
// better. It is +Inf for fewer than two.
func RateDoubt(n int, everyDays float64, q statespace.Noise, readingSDS float64) float64 {
	if n < 2 || !(everyDays > 0) || !(readingSDS > 0) || !finite(everyDays, readingSDS) {
		return math.Inf(1)
	}
	s := statespace.Series{Cols: 3}
	for k := range n {
		t := float64(k) * everyDays
		s.T, s.Var = append(s.T, t), append(s.Var, readingSDS*readingSDS)
		s.Rows = append(s.Rows, 1, t, 0)
	}
	var ws statespace.Workspace
	fit, ok := ws.Filter(s, q, statespace.Prior{Mean: []float64{0, 0}, SD: []float64{math.Inf(1), math.Inf(1)}})
	if !ok {
		return math.Inf(1)
	}
	_, v := fit.Rate([]float64{0, 1})
	return math.Sqrt(v)
}

// SlopeDoubt returns the standard deviation of the slope of the least-squares
// line through n equal readings of standard deviation sd, spaced apart by
// spacing: sd √12 / (spacing √(n(n²−1))), in the unit of sd over that of
// spacing. It is +Inf for fewer than two.
func SlopeDoubt(n int, spacing, sd float64) float64 {
	if n < 2 || !(spacing > 0) {
		return math.Inf(1)
	}
	m := float64(n)
	return sd * math.Sqrt(12/(m*(m*m-1))) / spacing
}

// ListenFor returns for how many seconds to listen to beats beatS apart, each
// heard to jitterS, until the rate of the recording is known to sd s/d, its
// sampling clock left out; +Inf if a figure makes no sense.
func ListenFor(sd, beatS, jitterS float64) float64 {
	if !(sd > 0) || !(beatS > 0) || !(jitterS > 0) || !finite(sd, beatS, jitterS) {
		return math.Inf(1)
	}
	doubt := func(n int) float64 { return SlopeDoubt(n, beatS, jitterS) * clock.DaySeconds }
	n := 2
	for doubt(n) > sd {
		if n *= 2; n > 1<<40 {
			return math.Inf(1)
		}
	}
	for lo := n / 2; n-lo > 1; {
		if mid := (lo + n) / 2; doubt(mid) > sd {
			lo = mid
		} else {
			n = mid
		}
	}
	return float64(n-1) * beatS
}

package journey

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"

	"timeball/internal/statespace"
)

// Usual is the change of rate that a journey is examined for unless told, s/d.
const Usual = 0.3

// power is the chance with which a change is to be seen.
const power = 0.8

// Daily is one comparison a day of an instrument before and after a journey
// over which its error begins anew, its noise known.
type Daily struct {
	Noise         statespace.Noise
	SDS           float64 // of a comparison, s
	GapDays       float64 // from the last comparison before to the first one after
	Before, After int     // comparisons
}

// SD returns the standard deviation of the change of rate, s/d; +Inf if the
// comparisons do not determine it.
func (d Daily) SD() float64 {
	return changeSD(days(0, d.Before), days(float64(max(d.Before-1, 0))+d.GapDays, d.After), d.SDS, d.Noise)
}

// Limit returns the standard deviation of the change of rate, s/d, that no
// number of comparisons betters: √(2σwσr + σr²G), since the rate at either end
// is never known better than √(σwσr) and wanders by σr√G in between.
func (d Daily) Limit() float64 {
	q := d.Noise
	return math.Sqrt(2*q.SigmaW*q.SigmaR + q.SigmaR*q.SigmaR*d.GapDays)
}

// Power returns the chance that a change of rate, s/d, is seen at the two-sided
// level alpha.
func (d Daily) Power(change, alpha float64) float64 {
	return chanceSeen(change/d.SD(), alpha)
}

// mostDays is how many days of comparisons are thought of; by then the standard
// deviation has come within a hundredth of its limit for any usual instrument.
const mostDays = 120

// EachSide returns how many daily comparisons on each side let a change of
// rate, s/d, be seen with 80% power at the two-sided level alpha; it returns
// false if no number does.
func (d Daily) EachSide(change, alpha float64) (int, bool) {
	wanted := math.Abs(change) / seen(alpha)
	if d.Limit() > wanted {
		return 0, false
	}
	for n := 2; n <= mostDays; n++ {
		if d.Before, d.After = n, n; d.SD() <= wanted {
			return n, true
		}
	}
	return 0, false
}

// seen returns by how many of its standard deviations a change must lie from
// nought to be seen with 80% power at the two-sided level alpha: 2.8016 at 5%.
func seen(alpha float64) float64 {
	return distuv.UnitNormal.Quantile(1-alpha/2) + distuv.UnitNormal.Quantile(power)
}

// chanceSeen returns the chance that an estimate whose mean lies z standard
// deviations from nought is called a change at the two-sided level alpha.
func chanceSeen(z, alpha float64) float64 {
	c := distuv.UnitNormal.Quantile(1 - alpha/2)
	return distuv.UnitNormal.CDF(z-c) + distuv.UnitNormal.CDF(-z-c)
}

// days returns n days from the first on.
func days(first float64, n int) []float64 {
	t := make([]float64, 0, max(n, 0))
	for i := range n {
		t = append(t, first+float64(i))
	}
	return t
}

// changeSD returns the standard deviation of the change of rate, s/d, from
// comparisons of sd s at the days before and after, ascending from 0 on, with a
// free step of the error in between.
func changeSD(before, after []float64, sd float64, q statespace.Noise) float64 {
	if len(before) < 2 || len(after) < 2 {
		return math.Inf(1)
	}
	const cols = 5 // error, rate, step, change of rate, reading
	n := len(before) + len(after)
	s := statespace.Series{T: make([]float64, 0, n), Var: make([]float64, n), Rows: make([]float64, cols*n), Cols: cols}
	s.T = append(append(s.T, before...), after...)
	change := (before[len(before)-1] + after[0]) / 2
	for k, t := range s.T {
		s.Var[k] = sd * sd
		row := s.Rows[k*cols:]
		row[0], row[1] = 1, t
		if k >= len(before) {
			row[2], row[3] = 1, t-change
		}
	}
	flat := math.Inf(1)
	var ws statespace.Workspace
	fit, ok := ws.Filter(s, q, statespace.Prior{Mean: make([]float64, cols-1), SD: []float64{flat, flat, flat, flat}})
	if !ok {
		return math.Inf(1)
	}
	return math.Sqrt(fit.Cov[3*(cols-1)+3])
}

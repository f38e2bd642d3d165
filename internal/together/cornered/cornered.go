// Package cornered draws the steadiness of each of three or more chronometers
// out of their differences alone, by the N-cornered hat.
//
// Deviations are Allan deviations, s/d; the noises of two instruments are taken
// as independent: a common cause, such as the temperature of their room, is
// outside what a comparison of dials can show.
//
// Main source: J. E. Gray, D. W. Allan, A method for estimating the frequency
// stability of an individual oscillator, 28th Frequency Control Symposium
// (1974).
package cornered

import (
	"fmt"
	"math"

	"timeball/internal/stability"
	"timeball/internal/together/rounds"
)

// Hat holds the steadiness of each instrument by itself, drawn out of the
// differences alone, at one averaging time.
type Hat struct {
	Tau         float64  `json:"tau_days"`
	Instruments []Corner `json:"instruments"`
	// Pairs holds the Allan deviations of the differences.
	Pairs []Pair   `json:"pairs"`
	EDF   float64  `json:"edf"` // degrees of freedom of the variance of a pair
	Words []string `json:"words"`
}

// Pair is the Allan deviation of one difference.
type Pair struct {
	A               string  `json:"a"`
	B               string  `json:"b"`
	DeviationPerDay float64 `json:"deviation_s_per_day"`
	N               int     `json:"n"` // second differences averaged
}

// Corner is the steadiness of one instrument. All deviations are s/d at the
// averaging time.
type Corner struct {
	Name string `json:"name"`
	// HatVariance, (s/d)², is what is left for it when the variances of the
	// pairs are shared out, readings included; it may be negative, and then it
	// is not resolved: neither nought nor a number to take a root of.
	HatVariance float64  `json:"hat_variance"`
	Hat         *float64 `json:"hat_s_per_day"` // nil if not resolved
	// Deviation is the most likely Allan deviation without the stated scatter
	// of the readings, and never negative; Lo95 is 0 where it cannot be told
	// from perfect.
	Deviation float64 `json:"deviation_s_per_day"`
	Lo95      float64 `json:"lo95"`
	Hi95      float64 `json:"hi95"`
	Resolved  bool    `json:"resolved"` // Lo95 is above nought
	// RatesSD is the most likely standard deviation of its mean rates over the
	// averaging time, readings included, if its rate does not wander.
	RatesSD float64 `json:"rates_sd_s_per_day"`
}

// tolerance is how far from its grid point a reading may lie, as a part of the
// step.
const tolerance = 0.25

// Steadiness returns the steadiness of each instrument of tb at an averaging
// time of m steps of step days each (1 if 0), from their differences; the
// standard is not used. It returns an error that wraps rounds.ErrAlone for fewer
// than three instruments, or if some pair has fewer than three differences: the
// variances of two cannot be told apart.
//
// The variances of the pairs are shared out as in Gray and Allan (1974), for
// more than three by least squares. The likely values minimise
// log|Σ| + tr(Σ⁻¹S), S being made of the same variances, and the interval
// holds what that likelihood does not refuse at 95%.
func Steadiness(tb *rounds.Table, step float64, m int) (Hat, error) {
	n := tb.Instruments
	if n < 3 {
		return Hat{}, fmt.Errorf("%w: steadiness of each needs three instruments, the book has %d; for fewer compare with standard time", rounds.ErrAlone, n)
	}
	if step == 0 {
		step = 1
	}
	if !(step > 0) || m < 1 || m > rounds.MaxRows {
		return Hat{}, fmt.Errorf("%w: an averaging time of %d steps of %g days; ask for one step or more", rounds.ErrBook, m, step)
	}
	h := Hat{Tau: step * float64(m)}
	allan, rates := matrix(n), matrix(n)
	least := math.MaxInt
	var sparse []float64 // the pair with the fewest differences
	for i := range n {
		for j := i + 1; j < n; j++ {
			x, ok := grid(tb, i, j, step)
			dev, count, fine := stability.Deviation(stability.Allan, x, step, m)
			spread, enough := spread(x, step, m)
			if !ok || !fine || !enough || count < fewest {
				return Hat{}, fmt.Errorf("%w: no. %s and no. %s were read together at too few equal steps; read all dials every day", rounds.ErrAlone, tb.Names[i], tb.Names[j])
			}
			h.Pairs = append(h.Pairs, Pair{A: tb.Names[i], B: tb.Names[j], DeviationPerDay: dev, N: count})
			allan[i][j], allan[j][i] = dev*dev, dev*dev
			rates[i][j], rates[j][i] = spread, spread
			if count < least {
				least, sparse = count, x
			}
		}
	}
	readings := make([]float64, n) // variance of each
	known := make([]float64, n)    // what that adds to its Allan variance
	for i := range n {
		readings[i] = meanSquare(tb, i)
		known[i] = 3 * readings[i] / (h.Tau * h.Tau)
	}
	shares := shared(allan)
	likely := fit{pairs: allan, known: known}
	a := likely.best(-1, 0, nil)
	free := fit{pairs: rates, known: make([]float64, n)}.best(-1, 0, nil)
	h.EDF = edf(sparse, step, m, a, readings)
	for i := range n {
		k := Corner{Name: tb.Names[i], HatVariance: shares[i], Deviation: math.Sqrt(a[i]), RatesSD: math.Sqrt(free[i])}
		if shares[i] > 0 {
			root := math.Sqrt(shares[i])
			k.Hat = &root
		}
		lo, hi := likely.interval(i, a, h.EDF)
		k.Lo95, k.Hi95, k.Resolved = math.Sqrt(lo), math.Sqrt(hi), lo > 0
		h.Instruments = append(h.Instruments, k)
		h.Words = append(h.Words, k.words(h.Tau))
	}
	return h, nil
}

// fewest is how many differences, and mean rates, a pair must have.
const fewest = 3

// edf returns the degrees of freedom of the Allan variance of the phase x at m
// steps, for white FM of the mean of the variances a and the scatter of the
// readings.
func edf(x []float64, step float64, m int, a, readings []float64) float64 {
	var model stability.Model
	for i := range a {
		model.SigmaW += a[i] * step * float64(m) / float64(len(a))
		model.SigmaX += readings[i] / float64(len(a))
	}
	model.SigmaW, model.SigmaX = math.Sqrt(model.SigmaW), math.Sqrt(model.SigmaX)
	edf, ok := model.EDF(stability.Allan, x, step, m, nil)
	if !ok {
		return 1
	}
	return math.Max(edf, 1)
}

func (k Corner) words(tau float64) string {
	days := "from day to day"
	if tau != 1 {
		days = fmt.Sprintf("from one %g days to the next", tau)
	}
	if !k.Resolved {
		return fmt.Sprintf("The steadiness of no. %s is not resolved: better than %.2f s/d %s.", k.Name, k.Hi95, days)
	}
	return fmt.Sprintf("No. %s keeps its rate to %.2f s/d %s (%.2f to %.2f).", k.Name, k.Deviation, days, k.Lo95, k.Hi95)
}

func matrix(n int) [][]float64 {
	m := make([][]float64, n)
	for i := range m {
		m[i] = make([]float64, n)
	}
	return m
}

// grid returns the difference of i and j at equal steps, less its mean rate.
func grid(tb *rounds.Table, i, j int, step float64) ([]float64, bool) {
	var t, d []float64
	for k, day := range tb.Days {
		if x := tb.X[i][k] - tb.X[j][k]; !math.IsNaN(x) {
			t, d = append(t, day), append(d, x)
		}
	}
	rest, ok := stability.WithoutRate(t, d)
	if !ok {
		return nil, false
	}
	origin, ok := stability.Origin(t, step, tolerance*step)
	if !ok {
		return nil, false
	}
	g, ok := stability.Resample(t, rest, origin, step, tolerance*step)
	return g.X, ok
}

// spread returns the sample variance of the mean rates over m steps of the
// phase x; false if there are too few.
func spread(x []float64, step float64, m int) (float64, bool) {
	var ends []float64
	for i := 0; i < len(x); i += m {
		ends = append(ends, x[i])
	}
	y, ok := stability.FrequencyFromPhase(ends, float64(m)*step)
	if !ok {
		return 0, false
	}
	s, ok := stability.Summarise(y)
	return s.SD * s.SD, ok && s.N >= fewest
}

// meanSquare returns the mean variance of the readings of instrument i, s².
func meanSquare(tb *rounds.Table, i int) float64 {
	sum, n := 0.0, 0
	for k, x := range tb.X[i] {
		if !math.IsNaN(x) {
			sum += tb.SD[i][k] * tb.SD[i][k]
			n++
		}
	}
	return sum / float64(max(n, 1))
}

package stability

import (
	"math"
	"slices"
)

// MaxGrid is the greatest number of points Resample lays out: a thousand years
// of days.
const MaxGrid = 366_000

// slack is the part of a step by which a reading may miss the tolerance, so
// that rounding in the last digit of a day count decides nothing.
const slack = 1e-9

// Grid is a record of comparisons laid on equal steps.
type Grid struct {
	Origin float64   // time of X[0], d
	Step   float64   // d
	X      []float64 // error in s, as read; NaN where no reading is near enough
	Index  []int     // which reading stands in X[i]; -1 for a gap
	Offset []float64 // its time minus the time of the grid point, d; 0 for a gap
}

// Resample lays the readings x (s) taken at times t (d, in any order) on a
// grid of the given origin and step (d): each grid point takes the nearest
// reading not more than tolerance (d) away, the earlier in the list if two are
// as near, and is a gap if there is none. Readings before the origin less the
// tolerance are left out, and so are values that are not finite.
//
// Nothing is interpolated, so a reading taken away from its grid point brings
// in rate × Offset. A straight line does not change any deviation: when that
// product is not small against the scatter, pass readings without their mean
// rate, as WithoutRate returns them.
//
// It returns ok = false unless step > 0, 0 ≤ tolerance < step/2, the lengths
// agree, at least one reading falls on the grid, and the grid has at most
// MaxGrid points.
func Resample(t, x []float64, origin, step, tolerance float64) (g Grid, ok bool) {
	if len(t) != len(x) || !finite(origin) || !(step > 0) || !(tolerance >= 0 && tolerance < step/2) {
		return Grid{}, false
	}
	place := func(i int) (k, offset float64, ok bool) {
		k = math.Round((t[i] - origin) / step)
		offset = t[i] - origin - k*step
		return k, offset, finite(x[i]) && k >= 0 && math.Abs(offset) <= tolerance+slack*step
	}
	last := -1.0
	for i := range t {
		if k, _, ok := place(i); ok {
			last = max(last, k)
		}
	}
	if last < 0 || last >= MaxGrid {
		return Grid{}, false
	}
	size := int(last) + 1
	g = Grid{Origin: origin, Step: step, X: make([]float64, size), Index: make([]int, size), Offset: make([]float64, size)}
	for k := range g.X {
		g.X[k], g.Index[k] = math.NaN(), -1
	}
	for i := range t {
		at, offset, ok := place(i)
		if !ok {
			continue
		}
		k := int(at)
		if g.Index[k] < 0 || math.Abs(offset) < math.Abs(g.Offset[k]) {
			g.X[k], g.Index[k], g.Offset[k] = x[i], i, offset
		}
	}
	return g, true
}

// Origin returns the time (d) of the first point of the grid of the given step
// that finds most readings within tolerance (d): for daily steps, the usual
// hour of the comparison on the day of the first reading within tolerance of
// that hour. It returns ok = false for no finite times or for a step or
// tolerance that Resample refuses.
func Origin(t []float64, step, tolerance float64) (origin float64, ok bool) {
	if !(step > 0) || math.IsInf(step, 1) || !(tolerance >= 0 && tolerance < step/2) {
		return 0, false
	}
	var phase []float64 // of each reading within its step, [0, step)
	for _, v := range t {
		if finite(v) {
			phase = append(phase, v-step*math.Floor(v/step))
		}
	}
	if len(phase) == 0 {
		return 0, false
	}
	slices.Sort(phase)
	n := len(phase)
	at := func(i int) float64 { return phase[i%n] + step*float64(i/n) }
	most, narrowest, centre := 0, 0.0, 0.0
	for i, j := 0, 0; i < n; i++ {
		j = max(j, i)
		for j+1 < i+n && at(j+1)-at(i) <= 2*tolerance+slack*step {
			j++
		}
		count, width := j-i+1, at(j)-at(i)
		if count > most || count == most && width < narrowest {
			most, narrowest, centre = count, width, (at(i)+at(j))/2
		}
	}
	first := math.Inf(1)
	for _, v := range t {
		k := math.Round((v - centre) / step)
		if finite(v) && math.Abs(v-centre-k*step) <= tolerance+slack*step {
			first = min(first, centre+k*step)
		}
	}
	return first, finite(first)
}

// WithoutRate returns the readings x (s) at times t (d) less their
// least-squares straight line: what is left of the error when its mean rate
// and its start are taken away, NaN where either is not finite. It returns
// ok = false for fewer than two instants, or lengths that differ.
func WithoutRate(t, x []float64) (rest []float64, ok bool) {
	if len(t) != len(x) {
		return nil, false
	}
	var n, meanT, meanX float64
	for i := range t {
		if finite(t[i]) && finite(x[i]) {
			n++
			meanT += (t[i] - meanT) / n
			meanX += (x[i] - meanX) / n
		}
	}
	var tt, tx float64
	for i := range t {
		if finite(t[i]) && finite(x[i]) {
			tt += square(t[i] - meanT)
			tx += (t[i] - meanT) * (x[i] - meanX)
		}
	}
	rate := tx / tt
	if !finite(rate) {
		return nil, false
	}
	rest = make([]float64, len(x))
	for i := range x {
		rest[i] = gapUnlessFinite(x[i] - meanX - rate*(t[i]-meanT))
	}
	return rest, true
}

package beat

import (
	"math"
	"slices"

	"timeball/internal/fold"
)

// The rules of the search, from trials with recordings of known truth.
const (
	plain       = 9.0   // a fold that stands out by less is no beat
	nearNominal = 0.006 // how far from a usual number a beat may be, 518 s a day
)

// nominals are the usual numbers of vibrations an hour, with how many loud
// beats an oscillation of two vibrations makes: one with a detent, two with a
// lever or an anchor. Common practice, no source.
var nominals = []struct {
	perHour float64
	loud    int
}{
	{14400, 1}, {18000, 2}, {18000, 1}, {21600, 2}, {28800, 2}, {36000, 2}, {19800, 2}, {16200, 2}, {14400, 2}, {7200, 2}, {3600, 2}, {7200, 1},
}

// search returns the regular beat of a curve, told by how many vibrations an
// hour if perHour is not zero.
func search(f fold.Curve, perHour float64) fold.Found {
	var all []fold.Found
	seen := func(p float64) bool {
		return slices.ContainsFunc(all, func(o fold.Found) bool { return math.Abs(o.PeriodS/p-1) < 0.002 })
	}
	if perHour > 0 {
		for _, p := range []float64{7200 / perHour, 3600 / perHour} {
			if p >= fold.LeastPeriodS/2 && p <= fold.MostPeriodS {
				all = append(all, f.Best(p, 2*nearNominal))
			}
		}
	} else {
		for _, p := range f.Repeats(10) {
			if g := f.Best(p, max(0.003, 0.02/f.Seconds())); g.Score > 0 && !seen(g.PeriodS) {
				all = append(all, g)
			}
		}
		var tried []float64
		for _, n := range nominals {
			p := 7200 / n.perHour / float64(n.loud)
			if p < fold.LeastPeriodS || slices.Contains(tried, p) {
				continue
			}
			tried = append(tried, p)
			if g := f.Best(p, nearNominal); g.Score > 0 {
				all = append(all, g)
			}
		}
	}
	var top fold.Found
	for _, g := range all {
		if g.Score > top.Score {
			top = g
		}
	}
	return top
}

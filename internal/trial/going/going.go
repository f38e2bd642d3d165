// Package going tells how the true daily rates of a timekeeper may have gone,
// readings being what they are: it draws them from their posterior.
//
// The rate of a day is a level and white noise; the level wanders from day to
// day within a stretch of days; a reading has an error of its own, which enters
// the day it ends and the day it begins with opposite signs:
//
//	rate as read = level + white + (error of last reading − error of first)/length
//
// This is the clock model of Zucca and Tavella, IEEE Trans. UFFC 52(2) (2005),
// taken day by day. The level at the beginning of a stretch, and the
// coefficients of a law, are wholly unknown beforehand. Rates are in s/d,
// + gaining.
package going

import "math"

// Change is a change of error as read over one day, or over several of which
// none is known by itself.
type Change struct {
	First, Last       int     // days, from 0
	ChangeS           float64 // s, + gaining
	Days              float64 // over so many days of 24 h
	FirstSDS, LastSDS float64 // standard deviations of the readings at its ends, s
	RateSD            float64 // standard deviation of a rate that was written down whole, s/d; 0 where readings have theirs
	Joins             bool    // it begins with the reading that ended the day before
}

// Rates is what the true daily rates may have been.
type Rates struct {
	changes []Change
	seen    []seen
	terms   []link // all but those of the seen
	n       int    // unknowns
	m       profile
	nodes   []node
}

// seen is what a change of error is made of.
type seen struct {
	Change
	unknown []int     // of the levels and coefficients, and of the errors of the readings last
	factor  []float64 // of the change
	errors  int       // how many of them are of readings
}

// link is a quadratic term (Σ factor·unknown)²/variance, whose variance is
// given or, for a step of the level, that of so many days of wandering.
type link struct {
	unknown  []int
	factor   []float64
	variance float64
	days     float64
}

// exact is a doubt, s, under which a reading is taken as without error.
const exact = 1e-6

// Of returns what the true rates may have been behind changes of error in the
// order of their days. Stretch gives the stretch of each day: days of unequal
// stretch have levels that know nothing of each other. Each column is what an
// unknown coefficient does to the rate of each day; there may be none.
func Of(changes []Change, stretch []int, columns [][]float64) *Rates {
	g := &Rates{changes: changes}
	levels := make([]int, len(stretch))
	lastLevel, lastReading := -1, -1
	lastEnd, lastRead := -1, -1 // the last day seen, and the day before which the last reading was taken
	for _, c := range changes {
		s := seen{Change: c}
		var errs []int
		var signs []float64
		errorOf := func(sd, sign float64) int {
			if sd < exact {
				return -1
			}
			g.terms = append(g.terms, link{unknown: []int{g.n}, factor: []float64{1}, variance: sd * sd})
			errs, signs = append(errs, g.n), append(signs, sign)
			g.n++
			return g.n - 1
		}
		if c.FirstSDS >= exact && c.Joins && lastRead == c.First && lastReading >= 0 {
			errs, signs = append(errs, lastReading), append(signs, -1)
		} else {
			errorOf(c.FirstSDS, -1)
		}
		for d := c.First; d <= c.Last; d++ {
			levels[d] = g.n
			g.n++
			if lastLevel >= 0 && stretch[lastEnd] == stretch[d] {
				g.terms = append(g.terms, link{unknown: []int{levels[lastEnd], levels[d]}, factor: []float64{-1, 1}, days: float64(d - lastEnd)})
			}
			lastLevel, lastEnd = levels[d], d
			s.unknown, s.factor = append(s.unknown, levels[d]), append(s.factor, c.Days/float64(c.Last-c.First+1))
		}
		lastReading, lastRead = errorOf(c.LastSDS, 1), c.Last+1
		errorOf(c.RateSD*c.Days, 1)
		s.unknown, s.factor, s.errors = append(s.unknown, errs...), append(s.factor, signs...), len(errs)
		g.seen = append(g.seen, s)
	}
	for _, column := range columns {
		for k := range g.seen {
			s := &g.seen[k]
			mean := 0.0
			for d := s.First; d <= s.Last; d++ {
				mean += column[d] / float64(s.Last-s.First+1)
			}
			// Coefficients go before the errors of readings.
			at := len(s.unknown) - s.errors
			s.unknown = append(s.unknown[:at:at], append([]int{g.n}, s.unknown[at:]...)...)
			s.factor = append(s.factor[:at:at], append([]float64{mean * s.Days}, s.factor[at:]...)...)
		}
		g.n++
	}
	g.shape()
	g.nodes = g.posterior()
	return g
}

// shape sets up the places of the matrix.
func (g *Rates) shape() {
	g.m.first = make([]int, g.n)
	for i := range g.m.first {
		g.m.first[i] = i
	}
	reach := func(unknown []int) {
		low := unknown[0]
		for _, u := range unknown {
			low = min(low, u)
		}
		for _, u := range unknown {
			g.m.first[u] = min(g.m.first[u], low)
		}
	}
	for _, t := range g.terms {
		reach(t.unknown)
	}
	for _, s := range g.seen {
		reach(s.unknown)
	}
	g.m.row = make([][]float64, g.n)
	for i, f := range g.m.first {
		g.m.row[i] = make([]float64, i-f+1)
	}
}

// solve factors the precision of the unknowns for white noise of sd white and
// wandering of sd walk a day, and returns their mean and the logarithm of the
// evidence but for a constant.
func (g *Rates) solve(white, walk float64) (mean []float64, logEvidence float64, ok bool) {
	g.m.clear()
	mean = make([]float64, g.n)
	put := func(unknown []int, factor []float64, variance, value float64) {
		for a, u := range unknown {
			for b := 0; b <= a; b++ {
				g.m.add(u, unknown[b], factor[a]*factor[b]/variance)
			}
			mean[u] += factor[a] * value / variance
		}
		logEvidence -= (math.Log(variance) + value*value/variance) / 2
	}
	for _, t := range g.terms {
		v := t.variance
		if t.days > 0 {
			v = t.days * walk * walk
		}
		put(t.unknown, t.factor, v, 0)
	}
	for _, s := range g.seen {
		put(s.unknown, s.factor, s.Days*white*white, s.ChangeS)
	}
	logDet, ok := g.m.factor()
	if !ok {
		return nil, 0, false
	}
	g.m.forward(mean)
	for _, v := range mean {
		logEvidence += v * v / 2
	}
	logEvidence -= logDet / 2
	g.m.back(mean)
	return mean, logEvidence, !math.IsNaN(logEvidence)
}

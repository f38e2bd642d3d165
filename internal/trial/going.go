package trial

import (
	"math"
	"math/rand/v2"
)

// going is how the true daily rates may have gone, readings being what they
// are. The rate of a day is a level and white noise; the level wanders from
// day to day within a stretch of days; a reading has an error of its own,
// which enters the day it ends and the day it begins with opposite signs:
//
//	rate as read = level + white + (error of last reading − error of first)/length
//
// This is the clock model of Zucca and Tavella, IEEE Trans. UFFC 52(2) (2005),
// taken day by day. The level at the beginning of a stretch, and the
// coefficients of a law, are wholly unknown beforehand.
type going struct {
	seen  []seen
	terms []link // all but those of the seen
	n     int    // unknowns
	m     profile
}

// seen is a change of error over days, as read.
type seen struct {
	from, to      int // days, from 0
	changeS, days float64
	unknown       []int     // of the levels and coefficients, and of the errors of the readings last
	factor        []float64 // of the change
	errors        int       // how many of them are of readings
}

// link is a quadratic term (Σ factor·unknown)²/variance, whose variance is
// given or, for a step of the level, that of so many days of wandering.
type link struct {
	unknown  []int
	factor   []float64
	variance float64
	days     float64
}

// column is what a coefficient does to the rate of each day.
type column []float64

// exact is a doubt, s, under which a reading is taken as without error.
const exact = 1e-6

// newGoing returns the going of the known days and the spans that take holds
// good for. Days of unequal stretch have levels that know nothing of each other.
func (rec *record) newGoing(take func(day int) bool, stretch func(day int) int, columns []column) *going {
	g := &going{}
	levels := make([]int, len(rec.days))
	lastLevel, lastReading := -1, -1
	lastEnd, lastRead := -1, -1 // the last day seen, and the day before which the last reading was taken, from 0
	see := func(from, to int, changeS, days, firstSD, lastSDS, own float64, joins bool) {
		s := seen{from: from, to: to, changeS: changeS, days: days}
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
		if firstSD >= exact && joins && lastRead == from && lastReading >= 0 {
			errs, signs = append(errs, lastReading), append(signs, -1)
		} else {
			errorOf(firstSD, -1)
		}
		for d := from; d <= to; d++ {
			levels[d] = g.n
			g.n++
			if lastLevel >= 0 && stretch(lastEnd) == stretch(d) {
				g.terms = append(g.terms, link{unknown: []int{levels[lastEnd], levels[d]}, factor: []float64{-1, 1}, days: float64(d - lastEnd)})
			}
			lastLevel, lastEnd = levels[d], d
			s.unknown, s.factor = append(s.unknown, levels[d]), append(s.factor, days/float64(to-from+1))
		}
		lastReading, lastRead = errorOf(lastSDS, 1), to+1
		errorOf(own, 1)
		s.unknown, s.factor, s.errors = append(s.unknown, errs...), append(s.factor, signs...), len(errs)
		g.seen = append(g.seen, s)
	}
	spans := rec.spans
	for i := 0; i < len(rec.days); i++ {
		if len(spans) > 0 && spans[0].First-1 == i {
			s := spans[0]
			spans = spans[1:]
			all := true
			for k := i; k < s.Last; k++ {
				all = all && take(k)
			}
			if all {
				see(i, s.Last-1, s.ChangeS, float64(s.Last-i), s.FirstSDS, s.LastSDS, 0, true)
			}
			i = s.Last - 1
			continue
		}
		d := rec.days[i]
		if !d.Known || !take(i) {
			continue
		}
		length := d.length()
		if d.byReadings() {
			see(i, i, d.RateSPerDay*length, length, d.FirstSDS, d.LastSDS, 0, rec.joins(i))
		} else {
			see(i, i, d.RateSPerDay*length, length, 0, 0, d.SDS*length, false)
		}
	}
	for _, c := range columns {
		for k := range g.seen {
			s := &g.seen[k]
			mean := 0.0
			for d := s.from; d <= s.to; d++ {
				mean += c[d] / float64(s.to-s.from+1)
			}
			// Coefficients go before the errors of readings.
			at := len(s.unknown) - s.errors
			s.unknown = append(s.unknown[:at:at], append([]int{g.n}, s.unknown[at:]...)...)
			s.factor = append(s.factor[:at:at], append([]float64{mean * s.days}, s.factor[at:]...)...)
		}
		g.n++
	}
	g.shape()
	return g
}

// shape sets up the places of the matrix.
func (g *going) shape() {
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
func (g *going) solve(white, walk float64) (mean []float64, logEvidence float64, ok bool) {
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
		put(s.unknown, s.factor, s.days*white*white, s.changeS)
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

// node is one pair of noises and its share of the posterior.
type node struct{ white, walk, weight float64 }

// The priors are those of the rating of a run (docs/method.md): normal in the
// logarithm of the white noise, and in that of the ratio of wandering to white
// noise, because a bad instrument is bad in both and the wandering is hardly
// seen in a month.
const (
	usualWhite, spreadWhite = 0.2, 1.0 // s/d
	usualRatio, spreadRatio = 0.13, 0.7
)

func logPrior(white, ratio float64) float64 {
	return -(sq(math.Log(white/usualWhite)/spreadWhite) + sq(math.Log(ratio/usualRatio)/spreadRatio)) / 2
}

// grid is some values of one noise, equally spaced in the logarithm.
type grid struct {
	from, to float64
	steps    int
}

func (g grid) at(i int) float64 {
	return g.from * math.Pow(g.to/g.from, float64(i)/float64(g.steps-1))
}

// nodes returns pairs of noises with their weights, which sum to 1: a coarse
// grid over all that a timekeeper does, and a finer one where that has weight.
func (g *going) nodes() []node {
	white, ratio := grid{0.004, 8, 14}, grid{0.016, 1.05, 6}
	coarse := g.weigh(white, ratio)
	if len(coarse) == 0 {
		return nil
	}
	fine := grid{math.Inf(1), 0, 13}
	for _, n := range coarse {
		if n.weight > 1e-3 {
			fine.from, fine.to = min(fine.from, n.white), max(fine.to, n.white)
		}
	}
	pad := math.Pow(white.to/white.from, 0.6/float64(white.steps-1))
	fine.from, fine.to = fine.from/pad, fine.to*pad
	return g.weigh(fine, grid{ratio.from, ratio.to, 9})
}

// weigh returns the pairs of two grids that have weight.
func (g *going) weigh(whites, ratios grid) []node {
	var all []node
	most := math.Inf(-1)
	for i := range whites.steps {
		for k := range ratios.steps {
			white, ratio := whites.at(i), ratios.at(k)
			if _, log, ok := g.solve(white, ratio*white); ok {
				log += logPrior(white, ratio)
				all = append(all, node{white, ratio * white, log})
				most = max(most, log)
			}
		}
	}
	sum := 0.0
	for i := range all {
		all[i].weight = math.Exp(all[i].weight - most)
		sum += all[i].weight
	}
	kept := all[:0]
	for _, n := range all {
		if n.weight /= sum; n.weight > 1e-5 {
			kept = append(kept, n)
		}
	}
	return kept
}

// share returns how many of all draws fall to each node: within one of its
// weight, in all as many as asked.
func share(nodes []node, all int) []int {
	counts, sum, done := make([]int, len(nodes)), 0.0, 0
	total := 0.0
	for _, n := range nodes {
		total += n.weight
	}
	for i, n := range nodes {
		sum += n.weight / total
		upTo := int(math.Round(sum * float64(all)))
		counts[i], done = upTo-done, upTo
	}
	return counts
}

// draw calls use with the true rates of every day, drawn so many times; days
// that are not known keep the rate of base. The slice is used again.
func (g *going) draw(rng *rand.Rand, nodes []node, draws int, base []float64, use func(rates []float64)) {
	rates := append([]float64(nil), base...)
	x := make([]float64, g.n)
	for i, count := range share(nodes, draws) {
		if count == 0 {
			continue
		}
		mean, _, _ := g.solve(nodes[i].white, nodes[i].walk)
		for range count {
			for k := range x {
				x[k] = rng.NormFloat64()
			}
			g.m.back(x)
			for _, s := range g.seen {
				change := s.changeS
				for k := len(s.unknown) - s.errors; k < len(s.unknown); k++ {
					u := s.unknown[k]
					change -= s.factor[k] * (mean[u] + x[u])
				}
				for d := s.from; d <= s.to; d++ {
					rates[d] = change / s.days
				}
			}
			use(rates)
		}
	}
}

func sq(v float64) float64 { return v * v }

package going

import (
	"math"
	"math/rand/v2"

	"gonum.org/v1/gonum/mat"
)

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

// Draw calls use with the true rates of every day, drawn so many times; days
// that are not known keep the rate of base. The slice is used again.
func (g *Rates) Draw(rng *rand.Rand, draws int, base []float64, use func(rates []float64)) {
	rates := append([]float64(nil), base...)
	x := make([]float64, g.n)
	for i, count := range share(g.nodes, draws) {
		if count == 0 {
			continue
		}
		mean, _, _ := g.solve(g.nodes[i].white, g.nodes[i].walk)
		for range count {
			for k := range x {
				x[k] = rng.NormFloat64()
			}
			g.m.back(x)
			for _, s := range g.seen {
				change := s.ChangeS
				for k := len(s.unknown) - s.errors; k < len(s.unknown); k++ {
					u := s.unknown[k]
					change -= s.factor[k] * (mean[u] + x[u])
				}
				for d := s.First; d <= s.Last; d++ {
					rates[d] = change / s.Days
				}
			}
			use(rates)
		}
	}
}

// Sum is a weighted sum of daily rates.
type Sum struct {
	Value   float64   // of the rates as read
	OfDays  []float64 // the weight of each day
	OfLevel []float64 // the weight of the level of each day in the error of the sum
}

// DrawSums calls use with sums, at most so many times, about their values: with
// the errors of the readings, the scatter of the days and the wandering of the
// level, which the sums share. The slice is used again.
func (g *Rates) DrawSums(rng *rand.Rand, draws int, sums []Sum, use func(values []float64)) {
	p := len(sums)
	reading, white, walk := mat.NewSymDense(p, nil), mat.NewSymDense(p, nil), mat.NewSymDense(p, nil)
	for a := range p {
		for b := range a + 1 {
			r, s, w := g.covariance(sums[a], sums[b])
			reading.SetSym(a, b, r)
			white.SetSym(a, b, s)
			walk.SetSym(a, b, w)
		}
	}
	values := make([]float64, p)
	for i, count := range share(g.nodes, draws) {
		if count == 0 {
			continue
		}
		n := g.nodes[i]
		cov := mat.NewSymDense(p, nil)
		for a := range p {
			for b := range a + 1 {
				cov.SetSym(a, b, reading.At(a, b)+sq(n.white)*white.At(a, b)+sq(n.walk)*walk.At(a, b))
			}
		}
		var factor mat.Cholesky
		if !factor.Factorize(cov) {
			continue
		}
		var root mat.TriDense
		factor.LTo(&root)
		for range count {
			for a, s := range sums {
				values[a] = s.Value
			}
			for a := range p {
				z := rng.NormFloat64()
				for b := range p {
					values[b] += root.At(b, a) * z
				}
			}
			use(values)
		}
	}
}

// covariance returns what the errors of two sums have in common: of the
// readings, of white noise of 1 s/d, and of a level that wanders 1 s/d a day.
func (g *Rates) covariance(a, b Sum) (reading, white, walk float64) {
	both := make([]float64, len(a.OfDays))
	// Twice the covariance of two sums is the variance of their sum less their variances.
	for d := range both {
		both[d] = a.OfDays[d] + b.OfDays[d]
	}
	reading = (ReadingVariance(g.changes, both) - ReadingVariance(g.changes, a.OfDays) - ReadingVariance(g.changes, b.OfDays)) / 2
	restA, restB := 0.0, 0.0
	for d := len(both) - 1; d > 0; d-- {
		restA, restB = restA+a.OfLevel[d], restB+b.OfLevel[d]
		walk += restA * restB
	}
	for _, c := range g.changes {
		white += c.weight(a.OfDays) * c.weight(b.OfDays) / c.Days
	}
	return reading, white, walk
}

// ReadingVariance returns the variance of Σ weight·rate from the readings
// alone. Each reading enters the day before it and the day after it.
func ReadingVariance(changes []Change, weights []float64) float64 {
	v, open, openSD, openAt := 0.0, 0.0, 0.0, -1
	end := func() { v, open = v+sq(open*openSD), 0 }
	for _, c := range changes {
		if c.RateSD > 0 {
			v += sq(c.weight(weights) * c.RateSD)
			continue
		}
		per := c.weight(weights) / c.Days
		if !c.Joins || openAt != c.First || openSD == 0 || c.FirstSDS == 0 {
			end()
			v += sq(per * c.FirstSDS)
		} else {
			open -= per
			end()
		}
		open, openSD, openAt = per, c.LastSDS, c.Last+1
	}
	end()
	return v
}

// weight returns the sum of the weights of its days.
func (c Change) weight(weights []float64) float64 {
	sum := 0.0
	for _, w := range weights[c.First : c.Last+1] {
		sum += w
	}
	return sum
}

func sq(v float64) float64 { return v * v }

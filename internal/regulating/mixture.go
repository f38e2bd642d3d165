package regulating

import (
	"math"
	"sort"
)

// estimate returns the mean, the standard deviation and the central 95%
// interval of a quantity over the nodes.
func estimate(nodes []node, f func(node) float64) Estimate {
	type point struct{ x, weight float64 }
	points := make([]point, len(nodes))
	var e Estimate
	for i, n := range nodes {
		points[i] = point{f(n), n.weight}
		e.Mean += n.weight * points[i].x
	}
	for _, p := range points {
		e.SD += p.weight * sq(p.x-e.Mean)
	}
	e.SD = math.Sqrt(e.SD)
	sort.Slice(points, func(i, j int) bool { return points[i].x < points[j].x })
	below := func(q float64) float64 {
		sum, lastX, lastAt := 0.0, 0.0, -1.0
		for _, p := range points {
			at := sum + p.weight/2
			if at >= q {
				if lastAt < 0 {
					return p.x
				}
				return lastX + (p.x-lastX)*(q-lastAt)/(at-lastAt)
			}
			lastX, lastAt = p.x, at
			sum += p.weight
		}
		return lastX
	}
	e.Lo95, e.Hi95 = below(0.025), below(0.975)
	return e
}

// normals is a mixture of normal distributions.
type normals []struct{ mean, sd, weight float64 }

// below returns the probability of a value under x.
func (m normals) below(x float64) (sum float64) {
	for _, c := range m {
		sum += c.weight * math.Erfc((c.mean-x)/(c.sd*math.Sqrt2)) / 2
	}
	return sum
}

func (m normals) estimate() Estimate {
	var e Estimate
	for _, c := range m {
		e.Mean += c.weight * c.mean
	}
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, c := range m {
		e.SD += c.weight * (sq(c.sd) + sq(c.mean-e.Mean))
		lo, hi = math.Min(lo, c.mean-8*c.sd), math.Max(hi, c.mean+8*c.sd)
	}
	e.SD = math.Sqrt(e.SD)
	quantile := func(q float64) float64 {
		a, b := lo, hi
		for range 45 {
			if x := (a + b) / 2; m.below(x) < q {
				a = x
			} else {
				b = x
			}
		}
		return (a + b) / 2
	}
	e.Lo95, e.Hi95 = quantile(0.025), quantile(0.975)
	return e
}

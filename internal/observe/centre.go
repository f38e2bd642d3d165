package observe

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/stat"
)

// group is the taps that agree on the marks.
type group struct {
	centre float64 // s, on the circle of the spacing
	window float64 // s either side of the centre that belongs to the group
}

const (
	// A tap further off than widestS is nearer to the next beat than to its own.
	widestS = 0.25
	// No tap within narrowestS is dropped: three sd of the largest usual scatter, 40 ms.
	narrowestS = 0.12
	// windowSD sd on either side lose one honest tap in two thousand (normal law).
	windowSD = 3.5
	// medianToSD times the median distance from the centre is the sd of a normal law.
	medianToSD = 1.4826
)

// wrap returns x less the multiple of period nearest to it, in [-period/2, period/2].
func wrap(x, period float64) float64 { return math.Remainder(x, period) }

// gather returns the group that most phases, taken modulo period, agree on. It
// starts at the phase with the least truncated squares about it, so that slips
// weigh nothing however many taps lie between, and is as wide as the median
// distance of the taps of this beat asks for.
func gather(phases []float64, period float64, eq Equation) group {
	g := group{window: narrowestS}
	least := math.Inf(1)
	for _, c := range phases {
		var cost float64
		for _, p := range phases {
			d := wrap(p-c, period) / narrowestS
			cost += min(d*d, 1)
		}
		if cost < least {
			least, g.centre = cost, c
		}
	}
	for range 20 {
		var sum float64
		var inside int
		var sizes []float64
		for _, p := range phases {
			d := wrap(p-g.centre, period)
			if math.Abs(d) <= g.window {
				inside++
				sum += d
			}
			if math.Abs(d) <= widestS {
				sizes = append(sizes, math.Abs(d))
			}
		}
		if inside == 0 { // the centre is a mean of phases inside the window, but for rounding
			break
		}
		mean := sum / float64(inside)
		slices.Sort(sizes)
		sd := medianToSD * stat.Quantile(0.5, stat.Empirical, sizes, nil)
		s, _ := scatter(float64(len(sizes))*sd*sd, len(sizes), 0, eq)
		window := min(max(windowSD*s, narrowestS), widestS)
		if mean == 0 && window == g.window {
			break
		}
		g.centre, g.window = wrap(g.centre+mean, period), window
	}
	return g
}

// chanceOf returns a bound on the probability that some used of made points
// thrown at random on a circle lie on one arc of the given part of it: for all
// of them, used times arc to the power used-1 (Stevens, Annals of Eugenics 9
// (1939) 315), and as often again as there are ways to choose them.
func chanceOf(used, made int, arc float64) float64 {
	if arc <= 0 {
		return 0
	}
	ways, _ := math.Lgamma(float64(made + 1))
	a, _ := math.Lgamma(float64(used + 1))
	b, _ := math.Lgamma(float64(made - used + 1))
	return min(1, math.Exp(ways-a-b+math.Log(float64(used))+float64(used-1)*math.Log(min(arc, 1))))
}

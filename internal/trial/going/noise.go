package going

import "math"

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

// posterior returns pairs of noises with their weights, which sum to 1: a coarse
// grid over all that a timekeeper does, and a finer one where that has weight.
func (g *Rates) posterior() []node {
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
func (g *Rates) weigh(whites, ratios grid) []node {
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

// Noise returns the middle of what the scatter of the days and the wandering of
// the level in a day may be, s/d: means of their logarithms over the posterior.
func (g *Rates) Noise() (white, walk float64) {
	for _, n := range g.nodes {
		white += n.weight * math.Log(n.white)
		walk += n.weight * math.Log(n.walk)
	}
	return math.Exp(white), math.Exp(walk)
}

package rating

import (
	"math"

	"timeball/internal/posterior"
	"timeball/internal/statespace"
)

// blunderChance is the prior chance that a reading is a blunder.
const blunderChance = 0.02

// mostAside is the greatest share of readings that may be set aside, and
// leastKept the fewest that are kept.
const (
	mostAside = 0.34
	leastKept = 4
)

// slip is a blunder of a known size with its prior share, each way.
type slip struct{ size, share float64 }

var slips = []slip{{60, .10}, {0.5, .05}, {1, .03}, {10, .02}, {30, .02}, {3600, .02}, {120, .01}, {43200, .01}}

// swappedShare is the share of fast written for slow, where an error of more
// than swappedFromS was written down and not a dial.
const (
	swappedShare = .05
	swappedFromS = 1.0
)

// logSize returns the log density of a blunder of size e seconds, known with
// the variance v; swapped is what fast for slow would make of it, 0 if it
// cannot be.
func logSize(e, v, swapped float64) float64 {
	// Half the blunders have any size from 0.2 s to twelve hours, evenly in the
	// logarithm: 12.28 = ln(43200/0.2).
	sum := 0.5 / (2 * 12.28 * math.Max(math.Abs(e), 0.2))
	for _, s := range slips {
		sum += s.share * (density(e-s.size, v) + density(e+s.size, v))
	}
	if swapped != 0 {
		sum += swappedShare * density(e-swapped, v)
	}
	return math.Log(sum)
}

func density(e, v float64) float64 { return math.Exp(-e*e/(2*v)) / math.Sqrt(2*math.Pi*v) }

// swapped returns the size of the slip if the error was written with the wrong
// sign, or 0.
func (o observation) swapped() float64 {
	if o.ModulusS != 0 || math.Abs(o.read) <= swappedFromS {
		return 0
	}
	return 2 * o.read
}

// Noise at which blunders are looked for. It is fixed, so that a blunder of a
// minute cannot pass for a bad instrument and hide itself or others.
var (
	screenW = []float64{.08, .2, .5, 1.2}
	screenR = []float64{.015, .05, .15}
)

// oneByOne is the number of readings up to which blunders are taken out one at
// a time; in longer records all that are the worst within reach go at once,
// since the influence of a reading ends within weeks.
const (
	oneByOne = 400
	reach    = 30
)

// screen marks in p.Aside the readings that are blunders; obs are the
// observations of the rows.
func screen(p *posterior.Problem, obs []observation) {
	n := len(obs)
	limit := min(int(mostAside*float64(n)), n-leastKept)
	if limit <= 0 {
		return
	}
	best, bestScore := make([]bool, n), math.Inf(-1)
	var deletions []statespace.Deletion
	gain, cost := make([]float64, n), make([]float64, n)
	for _, w := range screenW {
		for _, r := range screenR {
			u := posterior.At(w, r, 1)
			clear(p.Aside)
			score, removed := u.LogPrior(), 0
			for {
				fit, ok := p.Fit(u)
				if !ok {
					score = math.Inf(-1)
					break
				}
				deletions = p.Workspace.Deletions(deletions)
				for k, d := range deletions {
					gain[k] = math.Inf(-1)
					if p.Aside[k] || obs[k].Upheld || math.IsInf(d.Var, 1) {
						continue
					}
					cost[k] = math.Log(blunderChance/(1-blunderChance)) + logSize(d.Residual, d.Var, obs[k].swapped())
					gain[k] = d.Residual*d.Residual/(2*d.Var) + math.Log(2*math.Pi*d.Var)/2 + cost[k]
				}
				out := worst(gain, limit-removed)
				if len(out) == 0 {
					score += fit.LogLik
					break
				}
				for _, k := range out {
					p.Aside[k] = true
					score += cost[k]
					removed++
				}
			}
			if score > bestScore {
				bestScore = score
				copy(best, p.Aside)
			}
		}
	}
	copy(p.Aside, best)
}

// worst returns the row of the greatest positive gain, or in a long record all
// that are the greatest within reach, at most limit.
func worst(gain []float64, limit int) []int {
	if limit <= 0 {
		return nil
	}
	window := reach
	if len(gain) <= oneByOne {
		window = len(gain)
	}
	var out []int
	for k, g := range gain {
		if g <= 0 {
			continue
		}
		greatest := true
		for j := max(0, k-window); j <= min(len(gain)-1, k+window); j++ {
			if gain[j] > g || gain[j] == g && j < k {
				greatest = false
				break
			}
		}
		if greatest {
			out = append(out, k)
			if len(out) == limit {
				break
			}
		}
	}
	return out
}

// nameSlip returns the size of the slip that a residual is taken for, 0 if it
// is none of them, and the reason in words.
func nameSlip(o observation, e, v float64) (size float64, reason string) {
	near := func(d float64) bool { return math.Abs(e-d) < 3.5*math.Sqrt(v+0.01) }
	way := func(fast, slow string) string {
		if e > 0 {
			return fast
		}
		return slow
	}
	// The nearest slip gives its name.
	best, distance := 0.0, math.Inf(1)
	for _, s := range slips {
		d := math.Copysign(s.size, e)
		if near(d) && math.Abs(e-d) < distance {
			best, distance = d, math.Abs(e-d)
		}
	}
	if d := o.swapped(); d != 0 && near(d) && math.Abs(e-d) < distance {
		return d, way("fast written for slow", "slow written for fast")
	}
	switch math.Abs(best) {
	case 60:
		return best, "reads one minute out, " + way("fast", "slow")
	case 120:
		return best, "reads two minutes out, " + way("fast", "slow")
	case 3600:
		return best, "reads one hour out, " + way("fast", "slow")
	case 43200:
		return best, "wrong twelve hours"
	case 30:
		return best, "reads thirty seconds out, " + way("fast", "slow")
	case 10:
		return best, "reads ten seconds out, " + way("fast", "slow")
	case 1:
		return best, "reads one second out, " + way("fast", "slow")
	case 0.5:
		return best, "reads half a second out, a beat miscounted, " + way("fast", "slow")
	}
	return 0, "stray: it does not fit the readings around it"
}

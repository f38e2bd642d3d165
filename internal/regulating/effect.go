package regulating

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/blas"
	"gonum.org/v1/gonum/blas/blas64"
	"gonum.org/v1/gonum/lapack/lapack64"
)

// Effect is what a turn does to one instrument.
type Effect struct {
	Part    Part
	PerTurn Estimate // s/d per turn out of both; s/d per °C per mm for Compensation
	Hand    Hand     // as it was taken; SDS as learnt from the turnings

	// PlaySDS is the standard deviation, s/d, of what the hand leaves when it
	// sets a screw to what was meant: no reckoning comes nearer.
	PlaySDS float64

	Used     []Used
	LeftOut  []LeftOut
	Own      bool // known by this instrument's own turnings rather than by its kind
	Warnings []string

	model Model
	nodes []node
}

// node is one pair of effect and scatter of the hand with its posterior weight.
// It stands for effects on both sides, over which it is smeared with the
// standard deviation cell.
type node struct{ b, cell, play, weight float64 }

// Learn returns the effect of a part on the rate from the turnings of one
// instrument, of which those of other parts serve to keep apart what was turned
// together. Figures of m that make no sense are replaced by those of Usual.
// Without a turning that can be used the effect is that of its kind.
func Learn(part Part, turnings []Turning, m Model) Effect {
	m = m.valid(Usual(part))
	turns := make([]turn, len(turnings))
	for i, t := range turnings {
		turns[i] = t.turn(i, m)
	}
	return learn(part, turns, m, rates(part))
}

// Compensation returns the effect of the weights of the rim on the temperature
// coefficient, s/d per °C per millimetre toward the free ends of both.
func Compensation(movements []Movement, m Model) Effect {
	m = m.valid(UsualCompensation())
	m.Noise.SigmaW, m.Noise.SigmaR = 0, 0 // a coefficient's doubt is whole
	turns := make([]turn, len(movements))
	for i, t := range movements {
		turns[i] = t.turn(i)
	}
	return learn(RimWeights, turns, m, coefficients)
}

func learn(part Part, turns []turn, m Model, u unit) Effect {
	c, left := gather(part, turns)
	e := Effect{Part: part, Hand: m.Hand, LeftOut: left, model: m}
	e.guard(c, u)
	p := newProblem(c, m)
	if e.nodes = p.posterior(); len(e.nodes) == 0 { // figures beyond all reckoning
		for _, r := range c.rows {
			e.leave(c, r, "its figures contradict each other beyond reckoning")
		}
		c.rows = nil
		e.nodes = newProblem(c, m).posterior()
	}
	e.PerTurn = estimate(e.nodes, func(n node) float64 { return n.b })
	e.Hand.SDS = estimate(e.nodes, func(n node) float64 { return n.play }).Mean
	e.PlaySDS = math.Sqrt(e.mean(func(n node) float64 { return n.b * n.b * n.play * n.play }))
	e.Own = len(c.rows) > 0 && e.narrowed()
	e.tell(c, u)
	return e
}

// narrowed reports whether the doubt is less than half that of the kind.
func (e Effect) narrowed() bool {
	p := e.model.Prior
	if p.Median == 0 {
		return e.PerTurn.SD < p.SD/2
	}
	return math.Abs(math.Log(e.PerTurn.Hi95/e.PerTurn.Lo95)) < math.Log(p.Factor)
}

func (e Effect) mean(f func(node) float64) (sum float64) {
	for _, n := range e.nodes {
		sum += n.weight * f(n)
	}
	return sum
}

// tell fills in the changes used and the warnings.
func (e *Effect) tell(c *changes, u unit) {
	alone := false
	for _, r := range c.rows {
		t := c.turns[r.hi]
		turns, spread := c.turned(r)
		own := c.covariance(r, r, e.model.Noise)
		x := Used{
			Index: t.index, Also: c.also(r), At: t.at, Heard: c.levels[r.before].device != "", TurnsOut: turns,
			Change: c.value(r), SDS: math.Sqrt(own), Expected: e.PerTurn.Mean * turns,
			ExpectSD: math.Sqrt(own + e.PlaySDS*e.PlaySDS*spread + turns*turns*e.PerTurn.SD*e.PerTurn.SD),
		}
		e.Used = append(e.Used, x)
		if d := x.Change - x.Expected; math.Abs(d) > 3*x.ExpectSD {
			e.Warnings = append(e.Warnings, fmt.Sprintf("The turning of %s changed %s by %s where %s was to be expected: is the number of turns right?",
				day(x.At), u.what, u.change(x.Change), u.change(x.Expected)))
		}
	}
	for _, t := range c.turns {
		alone = alone || t.part == e.Part && t.alone
	}
	if alone {
		e.Warnings = append(e.Warnings, "One of a pair was turned alone: that does half as much and puts the balance out of poise, so that the rate depends on how it lies.")
	}
	switch {
	case len(e.Used) == 0:
		e.Warnings = append(e.Warnings, "Not measured on this instrument yet: the effect is the usual one of its kind, by experience and without a source.")
	case !e.Own:
		e.Warnings = append(e.Warnings, "Hardly measured on this instrument yet: the usual effect of its kind still has a great part in it.")
	}
}

// problem is the likelihood of one effect and one scatter of the hand.
type problem struct {
	m     Model
	y, t  []float64
	noise []float64 // covariance of y, the hand left out; upper half
	hand  []float64 // times (b·play)² the covariance by the hand; upper half
	sum   []float64
	rest  []float64
}

func newProblem(c *changes, m Model) *problem {
	n := len(c.rows)
	p := &problem{m: m}
	p.noise, p.hand, p.sum, p.rest = make([]float64, n*n), make([]float64, n*n), make([]float64, n*n), make([]float64, n)
	for i, r := range c.rows {
		turns, _ := c.turned(r)
		p.y, p.t = append(p.y, c.value(r)), append(p.t, turns)
		for j := i; j < n; j++ {
			p.noise[i*n+j], p.hand[i*n+j] = c.covariance(r, c.rows[j], m.Noise), c.shared(r, c.rows[j])
		}
	}
	return p
}

// logLik returns the logarithm of the likelihood, less its constant; −Inf if
// the covariance is not positive definite.
func (p *problem) logLik(b, play float64) float64 {
	if len(p.y) == 0 {
		return 0
	}
	hand := b * b * play * play
	for i, v := range p.noise {
		p.sum[i] = v + hand*p.hand[i]
	}
	for i, y := range p.y {
		p.rest[i] = y - b*p.t[i]
	}
	n := len(p.y)
	// The Cholesky factor without the condition number that mat.Cholesky adds.
	factor, ok := lapack64.Potrf(blas64.Symmetric{Uplo: blas.Upper, N: n, Stride: n, Data: p.sum})
	if !ok {
		return math.Inf(-1)
	}
	blas64.Trsv(blas.Trans, factor, blas64.Vector{N: n, Inc: 1, Data: p.rest})
	logDet, square := 0.0, 0.0
	for i, v := range p.rest {
		logDet += math.Log(p.sum[i*n+i])
		square += v * v
	}
	return -0.5*square - logDet
}

// handLogSD is the standard deviation of the logarithm of the scatter of a hand
// from one to another, whose mean square is that of Hand.SDS: common practice,
// no source.
const handLogSD = 0.4

// Points of the grid: over the effect, first to search and then to reckon; over
// the scatter of the hand, one handLogSD apart; and the logarithm of the posterior
// under which a point is nothing.
const (
	searchPoints = 401
	effectPoints = 81
	handPoints   = 7
	nothing      = -12.0
)

// axis is how the effect is laid out on the grid: over its logarithm where its
// sign is known, and over asinh otherwise, so that a narrow likelihood far
// within a wide prior is not stepped over.
func (p Prior) axis() (lo, hi float64, effect, logPrior func(z float64) float64) {
	if p.Median != 0 {
		centre, sd := math.Log(math.Abs(p.Median)), p.logSD()
		return centre - 8*sd, centre + 8*sd,
			func(z float64) float64 { return math.Copysign(math.Exp(z), p.Median) },
			func(z float64) float64 { return -sq(z-centre) / (2 * sd * sd) }
	}
	unit := 1e-4 * p.SD
	end := math.Asinh(8 * p.SD / unit)
	return -end, end,
		func(z float64) float64 { return unit * math.Sinh(z) },
		func(z float64) float64 { return math.Log(math.Cosh(z)) - sq(unit*math.Sinh(z)/p.SD)/2 }
}

// posterior returns the effect and the scatter of the hand with their weights.
// The grid closes in on where the posterior is. It returns none if nothing
// fits.
func (p *problem) posterior() []node {
	lo, hi, effect, logPrior := p.m.Prior.axis()
	points := searchPoints
	for round := 0; ; round++ {
		step := (hi - lo) / float64(points-1)
		nodes := make([]node, 0, points*handPoints)
		heights := make([]float64, points)
		best := math.Inf(-1)
		for i := range heights {
			z := lo + float64(i)*step
			heights[i] = math.Inf(-1)
			for k := range handPoints {
				w := float64(k) - (handPoints-1)/2
				n := node{b: effect(z), cell: math.Abs(effect(z+step/2)-effect(z-step/2)) / 2, play: p.m.Hand.SDS * math.Exp(handLogSD*w-handLogSD*handLogSD)}
				n.weight = logPrior(z) - w*w/2 + p.logLik(n.b, n.play)
				nodes = append(nodes, n)
				heights[i] = math.Max(heights[i], n.weight)
			}
			best = math.Max(best, heights[i])
		}
		if math.IsInf(best, -1) || math.IsNaN(best) {
			return nil
		}
		first, last := points, -1
		for i, h := range heights {
			if h-best > nothing {
				first, last = min(first, i), max(last, i)
			}
		}
		if round == 8 || round > 0 && last-first > points*4/5 {
			return weighed(nodes, best)
		}
		lo, hi = lo+float64(max(first-1, 0))*step, lo+float64(min(last+1, points-1))*step
		points = effectPoints
	}
}

// weighed turns logarithms of weights into weights that add to one, without
// those that are nothing.
func weighed(nodes []node, best float64) []node {
	var kept []node
	sum := 0.0
	for _, n := range nodes {
		if n.weight-best > nothing {
			n.weight = math.Exp(n.weight - best)
			sum += n.weight
			kept = append(kept, n)
		}
	}
	for i := range kept {
		kept[i].weight /= sum
	}
	return kept
}

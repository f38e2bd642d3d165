package regulating

import (
	"fmt"
	"math"
	"slices"
)

// Bounds of the guard in standard deviations: beyond wrongWay a change of the
// wrong sign is not used, beyond outlying one that the others contradict. The
// hand is taken as twice as unsteady as usual, so that a clumsy one is not
// taken for a slip of the pen.
const (
	wrongWay = 2.5
	outlying = 4.0
	clumsy   = 2.0
)

// guard takes out what is not the effect of the turns written down and says so.
func (e *Effect) guard(c *changes, u unit) {
	e.guardSign(c, u)
	e.guardSize(c, u)
	slices.SortStableFunc(e.LeftOut, func(a, b LeftOut) int { return a.Index - b.Index })
}

// guardSign takes out changes of the wrong sign, where physics knows the right
// one.
func (e *Effect) guardSign(c *changes, u unit) {
	prior := e.model.Prior.Median
	if prior == 0 {
		return
	}
	c.rows = slices.DeleteFunc(c.rows, func(r row) bool {
		turns, spread := c.turned(r)
		y := c.value(r)
		scale := math.Max(math.Abs(prior), math.Abs(y/turns))
		sd := math.Sqrt(c.covariance(r, r, e.model.Noise) + spread*sq(scale*clumsy*e.model.Hand.SDS))
		if y*prior*turns >= 0 || math.Abs(y) < wrongWay*sd {
			return false
		}
		e.leave(c, r, fmt.Sprintf("%s changed by %s, the wrong way for a turn %s: possibly %s confused, or something else was altered; look it up and correct the entry",
			u.what, u.change(y), u.way(turns), u.confused))
		return true
	})
}

// guardSize takes out, worst first and never more than a third, changes that
// the others contradict.
func (e *Effect) guardSize(c *changes, u unit) {
	for most := len(c.rows) / 3; most > 0; most-- {
		worst, far, expected := -1, outlying, 0.0
		b0 := c.middle()
		precision, moment := 0.0, 0.0
		weights := make([]float64, len(c.rows))
		for i, r := range c.rows {
			t, spread := c.turned(r)
			weights[i] = 1 / (c.covariance(r, r, e.model.Noise) + spread*sq(b0*clumsy*e.model.Hand.SDS))
			precision += weights[i] * t * t
			moment += weights[i] * t * c.value(r)
		}
		for i, r := range c.rows {
			t, _ := c.turned(r)
			y := c.value(r)
			others := precision - weights[i]*t*t
			b := (moment - weights[i]*t*y) / others
			if z := math.Abs(y-b*t) / math.Sqrt(1/weights[i]+t*t/others); z > far {
				worst, far, expected = i, z, b*t
			}
		}
		if worst < 0 {
			return
		}
		e.leave(c, c.rows[worst], fmt.Sprintf("%s changed by %s where the other turnings make it %s: is the number of turns right?",
			u.what, u.change(c.value(c.rows[worst])), u.change(expected)))
		c.rows = slices.Delete(c.rows, worst, worst+1)
	}
}

// leave reports a change that is not used, for every turning in it.
func (e *Effect) leave(c *changes, r row, reason string) {
	for _, t := range c.turns[r.lo : r.hi+1] {
		e.LeftOut = append(e.LeftOut, LeftOut{Index: t.index, At: t.at, Reason: reason})
	}
}

// middle returns the weighted median of change per turn, each by its turns: a
// first guess that a wild one does not move.
func (c *changes) middle() float64 {
	type ratio struct{ b, weight float64 }
	var all []ratio
	sum := 0.0
	for _, r := range c.rows {
		t, _ := c.turned(r)
		all = append(all, ratio{c.value(r) / t, math.Abs(t)})
		sum += math.Abs(t)
	}
	slices.SortFunc(all, func(a, b ratio) int {
		switch {
		case a.b < b.b:
			return -1
		case a.b > b.b:
			return 1
		}
		return 0
	})
	below := 0.0
	for _, r := range all {
		if below += r.weight; below >= sum/2 {
			return r.b
		}
	}
	return 0
}

func sq(x float64) float64 { return x * x }

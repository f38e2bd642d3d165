package regulating

import (
	"fmt"
	"slices"
	"strings"
	"time"
)

// turnOf returns a turning as it will be used.
func turnOf(index int, at time.Time, part Part, turns float64, known, alone bool) turn {
	t := turn{index: index, at: at, part: part, turns: turns, spread: 1, alone: alone}
	if alone { // half the effect, and half the variance of the mean of two
		t.turns, t.spread = turns/2, 0.5
	}
	switch {
	case !known:
		t.reason = "how much was turned is not written as a number"
	case !finite(turns):
		t.reason = "how much was turned is no number"
	case turns == 0:
		t.reason = "nothing was turned"
	case at.IsZero():
		t.reason = "it has no date"
	}
	return t
}

// take adds what was measured beside a turning; what names it.
func (t *turn) take(to **level, l level, fault, what string) {
	if fault != "" {
		t.faults = append(t.faults, what+" "+fault)
		return
	}
	*to = &l
}

func (t Turning) turn(index int, m Model) turn {
	out := turnOf(index, t.At, t.Part, t.TurnsOut, t.TurnsKnown, t.Alone)
	if t.Before != nil {
		l, fault := t.Before.level()
		if fault == "" && l.to.After(t.At) {
			fault = "reaches past the turning"
		}
		out.take(&out.before, l, fault, "the rate before")
	}
	if t.After != nil {
		l, fault := t.After.level()
		if fault == "" && l.from.Before(t.At) {
			fault = "begins before the turning"
		}
		out.take(&out.after, l, fault, "the rate after")
	}
	if t.HeardBefore != nil && t.HeardAfter != nil {
		b, fault := t.HeardBefore.level(m)
		out.take(&out.heardBefore, b, fault, "the rate heard before")
		a, fault := t.HeardAfter.level(m)
		if fault == "" && (strings.TrimSpace(a.device) == "" || a.device != b.device) {
			fault = "is not known to be by the same device, and two clocks differ by more than a turn does"
		}
		out.take(&out.heardAfter, a, fault, "the rate heard after")
	}
	return out
}

func (m Movement) turn(index int) turn {
	out := turnOf(index, m.At, RimWeights, m.MMToEnds, m.Known, m.Alone)
	if m.Before != nil {
		l, fault := m.Before.level()
		out.take(&out.before, l, fault, "the coefficient before")
	}
	if m.After != nil {
		l, fault := m.After.level()
		out.take(&out.after, l, fault, "the coefficient after")
	}
	return out
}

// gather lays out what was measured of a part, and says of each of its turnings
// that was not why.
func gather(part Part, turns []turn) (*changes, []LeftOut) {
	c := &changes{turns: slices.Clone(turns)}
	slices.SortStableFunc(c.turns, func(a, b turn) int { return a.at.Compare(b.at) })
	why := make([]string, len(c.turns))
	used := make([]bool, len(c.turns))
	for lo := 0; lo < len(c.turns); {
		hi := lo
		for hi+1 < len(c.turns) && together(c.turns[hi], c.turns[hi+1]) {
			hi++
		}
		c.join(part, lo, hi, used, why)
		for k := lo; k <= hi; k++ {
			t := c.turns[k]
			if t.part == part && t.reason == "" && t.heardBefore != nil && t.heardAfter != nil {
				c.rows = append(c.rows, row{k, k, c.level(*t.heardBefore), c.level(*t.heardAfter)})
				used[k] = true
			}
		}
		lo = hi + 1
	}
	var left []LeftOut
	for k, t := range c.turns {
		if t.part != part || used[k] {
			continue
		}
		switch {
		case t.reason != "":
			why[k] = t.reason
		case len(t.faults) > 0:
			why[k] = strings.Join(t.faults, "; ")
		}
		left = append(left, LeftOut{Index: t.index, At: t.at, Reason: why[k]})
	}
	slices.SortFunc(left, func(a, b LeftOut) int { return a.Index - b.Index })
	return c, left
}

// together reports whether nothing was measured between two turnings that
// follow each other.
func together(a, b turn) bool {
	if a.after == nil && b.before == nil {
		return len(a.faults) == 0 && len(b.faults) == 0
	}
	return a.after != nil && b.after != nil && a.before != nil && b.before != nil && *a.after == *b.after && *a.before == *b.before
}

// join adds the change measured over the turnings from lo to hi, or says why
// there is none.
func (c *changes) join(part Part, lo, hi int, used []bool, why []string) {
	all := c.turns[lo : hi+1]
	reason := ""
	before, after := all[0].before, all[len(all)-1].after
	switch {
	case before == nil && after == nil:
		reason = "no rate was measured before or after it"
	case before == nil:
		reason = "no rate was measured before it"
	case after == nil:
		reason = "no rate is measured after it yet"
	}
	for _, t := range all {
		if reason != "" {
			break
		}
		switch {
		case t.part != part:
			reason = fmt.Sprintf("something else was altered (%s) with no rate measured between", t.part)
		case t.reason != "":
			reason = "with no rate measured between, another turning stands beside it of which " + t.reason
		}
	}
	r := row{lo: lo, hi: hi}
	if reason == "" {
		if sum, _ := c.turned(r); sum > -1e-9 && sum < 1e-9 {
			reason = "it was turned back before a rate was measured"
		}
	}
	if reason == "" {
		r.before, r.after = c.level(*before), c.level(*after)
		c.rows = append(c.rows, r)
	}
	for k := lo; k <= hi; k++ {
		used[k], why[k] = reason == "", reason
	}
}

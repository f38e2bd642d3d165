package carriage

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"
)

// Tick says that a step was done: when, and by whom.
type Tick struct {
	Step   ID        `json:"step"`
	At     time.Time `json:"at"`
	By     string    `json:"by"`
	Struck *Strike   `json:"struck,omitempty"`
}

// Strike says that a tick was wrong: since when that is known, and who says so.
type Strike struct {
	At  time.Time `json:"at"`
	By  string    `json:"by"`
	Why string    `json:"why,omitempty"`
}

// Refused is a tick out of order, which does not count.
type Refused struct {
	Tick    Tick   `json:"tick"`
	Missing []ID   `json:"missing"` // what comes first and was not done; empty if the plan has no such step
	Say     string `json:"say"`
}

// Conflict is a step that more than one person has ticked. Both ticks are kept.
type Conflict struct {
	Step  ID     `json:"step"`
	Ticks []Tick `json:"ticks"`
	Say   string `json:"say"`
}

// PutBack is what a struck-out tick has undone.
type PutBack struct {
	Struck Tick   `json:"struck"`
	Steps  []ID   `json:"steps"` // not done any more, in the order of the plan
	Say    string `json:"say"`
}

// Progress is how far a plan is done.
type Progress struct {
	Done      []ID       `json:"done"`
	Next      []ID       `json:"next"` // all that may be done now
	Refused   []Refused  `json:"refused,omitempty"`
	Conflicts []Conflict `json:"conflicts,omitempty"`
	PutBack   []PutBack  `json:"put_back,omitempty"`
}

// Finished reports whether nothing is left to do.
func (p Progress) Finished() bool { return len(p.Next) == 0 }

// event is a tick, or the striking out of one.
type event struct {
	at     time.Time
	tick   Tick
	strike bool
}

// course replays ticks over a plan.
type course struct {
	plan  []Step
	place map[ID]int
	live  map[ID][]Tick // of the steps done, the earliest first
	out   Progress
}

// Follow returns the progress of a plan after the ticks, taken in the order of
// their instants, however they are given. A tick out of order does not count
// until it is given again after what it needs. Striking out a tick takes back
// the step, and every step ticked on the strength of it.
func Follow(plan []Step, ticks []Tick) Progress {
	c := course{plan: plan, place: make(map[ID]int, len(plan)), live: make(map[ID][]Tick)}
	for i, s := range plan {
		c.place[s.ID] = i
	}
	for _, e := range c.events(ticks) {
		if e.strike {
			c.strike(e.tick)
		} else {
			c.tick(e.tick)
		}
	}
	done := make(map[ID]bool, len(c.live))
	for id := range c.live {
		done[id] = true
	}
	c.out.Done, c.out.Next = []ID{}, []ID{}
	for _, s := range plan {
		switch {
		case done[s.ID]:
			c.out.Done = append(c.out.Done, s.ID)
			c.conflict(s)
		case len(missing(s, done)) == 0:
			c.out.Next = append(c.out.Next, s.ID)
		}
	}
	return c.out
}

// events returns ticks and strikes by instant; at one instant in the order of
// the plan, so that ticks of one moment do not refuse each other.
func (c *course) events(ticks []Tick) []event {
	var all []event
	for _, t := range merged(ticks) {
		if t.Struck != nil && t.Struck.At.Before(t.At) {
			continue
		}
		all = append(all, event{at: t.At, tick: t})
		if t.Struck != nil {
			all = append(all, event{at: t.Struck.At, tick: t, strike: true})
		}
	}
	slices.SortStableFunc(all, func(a, b event) int {
		if n := a.at.Compare(b.at); n != 0 {
			return n
		}
		if a.strike != b.strike {
			return cmp.Compare(pick(a.strike, "1", "0"), pick(b.strike, "1", "0"))
		}
		return cmp.Or(cmp.Compare(c.order(a.tick.Step), c.order(b.tick.Step)), cmp.Compare(a.tick.Step, b.tick.Step),
			a.tick.At.Compare(b.tick.At), cmp.Compare(a.tick.By, b.tick.By))
	})
	return all
}

// merged returns each tick once, though two copies of one record give it
// twice; struck out in one copy, it is struck out, by the earliest strike.
func merged(ticks []Tick) []Tick {
	var all []Tick
	for _, t := range ticks {
		i := slices.IndexFunc(all, func(o Tick) bool { return same(o, t) })
		switch {
		case i < 0:
			all = append(all, t)
		case t.Struck != nil && (all[i].Struck == nil || earlier(*t.Struck, *all[i].Struck)):
			all[i].Struck = t.Struck
		}
	}
	return all
}

func earlier(a, b Strike) bool {
	return cmp.Or(a.At.Compare(b.At), cmp.Compare(a.By, b.By), cmp.Compare(a.Why, b.Why)) < 0
}

func (c *course) order(id ID) int {
	if i, ok := c.place[id]; ok {
		return i
	}
	return len(c.plan)
}

func same(a, b Tick) bool { return a.Step == b.Step && a.By == b.By && a.At.Equal(b.At) }

func (c *course) tick(t Tick) {
	i, ok := c.place[t.Step]
	if !ok {
		c.out.Refused = append(c.out.Refused, Refused{Tick: t, Say: fmt.Sprintf("there is no step %.20s for this instrument; look at the plan again", t.Step)})
		return
	}
	done := make(map[ID]bool, len(c.live))
	for id := range c.live {
		done[id] = true
	}
	if first := missing(c.plan[i], done); len(first) > 0 {
		c.out.Refused = append(c.out.Refused, Refused{Tick: t, Missing: first, Say: fmt.Sprintf("%s cannot be done yet; first: %s", c.name(t.Step), c.names(first))})
		return
	}
	c.live[t.Step] = append(c.live[t.Step], t)
}

// strike takes a tick back. If another tick of the step stands, the step stays
// done, but what was ticked before that other tick is put back.
func (c *course) strike(t Tick) {
	ticks := c.live[t.Step]
	i := slices.IndexFunc(ticks, func(o Tick) bool { return same(o, t) })
	if i < 0 {
		return
	}
	first := i == 0
	ticks = slices.Delete(slices.Clone(ticks), i, i+1)
	back := map[ID]bool{}
	if len(ticks) == 0 {
		delete(c.live, t.Step)
		back[t.Step] = true
	} else {
		c.live[t.Step] = ticks
	}
	if first {
		c.putBack(t.Step, back)
	}
	if len(back) == 0 {
		return
	}
	var ids []ID
	for _, s := range c.plan {
		if back[s.ID] {
			ids = append(ids, s.ID)
		}
	}
	c.out.PutBack = append(c.out.PutBack, PutBack{Struck: t, Steps: ids, Say: "to be done again: " + c.names(ids)})
}

// putBack undoes the steps that rest on one whose first standing tick is now
// later than theirs, or gone.
func (c *course) putBack(on ID, back map[ID]bool) {
	for _, s := range c.plan {
		if !slices.Contains(s.After, on) || len(c.live[s.ID]) == 0 {
			continue
		}
		kept := slices.DeleteFunc(slices.Clone(c.live[s.ID]), func(t Tick) bool {
			return len(c.live[on]) == 0 || t.At.Before(c.live[on][0].At)
		})
		if len(kept) == len(c.live[s.ID]) {
			continue
		}
		if len(kept) == 0 {
			delete(c.live, s.ID)
			back[s.ID] = true
		} else {
			c.live[s.ID] = kept
		}
		c.putBack(s.ID, back)
	}
}

func (c *course) conflict(s Step) {
	ticks := c.live[s.ID]
	if !slices.ContainsFunc(ticks, func(t Tick) bool { return t.By != ticks[0].By }) {
		return
	}
	says := make([]string, len(ticks))
	for i, t := range ticks {
		says[i] = t.By + " at " + t.At.UTC().Format(time.RFC3339)
	}
	c.out.Conflicts = append(c.out.Conflicts, Conflict{Step: s.ID, Ticks: slices.Clone(ticks), Say: fmt.Sprintf(
		"%s was ticked by %s; both are kept: ask who did it, and strike out the other", c.name(s.ID), strings.Join(says, " and by "))})
}

// name returns the step as a person would name it.
func (c *course) name(id ID) string {
	if i, ok := c.place[id]; ok {
		return string(id) + " (" + c.plan[i].Title + ")"
	}
	return string(id)
}

func (c *course) names(ids []ID) string {
	all := make([]string, len(ids))
	for i, id := range ids {
		all[i] = c.name(id)
	}
	return strings.Join(all, ", ")
}

package carriage

import (
	"errors"
	"fmt"
	"slices"
)

// ErrSteps marks steps that cannot be put in an order. The steps that come with
// the program can; their test would fail otherwise.
var ErrSteps = errors.New("the steps cannot be put in order")

// Plan returns the steps of one phase for the instrument, ordered so that each
// stands after those it needs, and otherwise as the trade does them. After then
// names steps of the phase alone: the phases before are taken as done. It fails
// if the fittings do not do or the phase is unknown.
func Plan(f Fittings, phase Phase) ([]Step, error) {
	if !one(phase, Phases()) {
		return nil, fmt.Errorf("phase %.40q is unknown; write prepare, pack, receive or case", phase)
	}
	all, err := Whole(f)
	if err != nil {
		return nil, err
	}
	return ofPhase(all, phase), nil
}

// ofPhase returns the steps of one phase out of all.
func ofPhase(all []Step, phase Phase) []Step {
	var plan []Step
	for _, s := range all {
		if s.Phase == phase {
			plan = append(plan, s)
		}
	}
	for i := range plan {
		plan[i].After = slices.DeleteFunc(slices.Clone(plan[i].After), func(id ID) bool { return find(plan, id) < 0 })
	}
	return plan
}

// Whole returns the steps of the four phases as one plan, in which After also
// names steps of the phases before.
func Whole(f Fittings) ([]Step, error) {
	if err := f.Check(); err != nil {
		return nil, err
	}
	from, err := read()
	if err != nil {
		return nil, fmt.Errorf("%w: %w", ErrSteps, err)
	}
	return planned(from, f)
}

// planned chooses the steps for the fittings and orders them. An After that
// names a step left out stands for that step's own After.
func planned(from []written, f Fittings) ([]Step, error) {
	facets := f.facets()
	r := resolver{byID: make(map[ID]written, len(from)), kept: make(map[ID]bool, len(from)), known: make(map[ID][]ID, len(from))}
	for _, w := range from {
		if _, twice := r.byID[w.ID]; twice {
			return nil, fmt.Errorf("%w: %s stands twice", ErrSteps, w.ID)
		}
		r.byID[w.ID], r.kept[w.ID] = w, w.When.holds(facets)
	}
	var plan []Step
	for _, w := range from {
		after, err := r.after(w.ID, nil)
		if err != nil {
			return nil, err
		}
		if r.kept[w.ID] {
			s := w.of(f, facets)
			s.After = after
			plan = append(plan, s)
		}
	}
	plan, err := ordered(plan)
	if err != nil {
		return nil, err
	}
	reduce(plan)
	return plan, nil
}

// resolver finds the kept steps that a step comes after.
type resolver struct {
	byID  map[ID]written
	kept  map[ID]bool
	known map[ID][]ID
}

// after returns the kept steps that id comes after, sorted; via are the steps
// on the way to it, to see a circle.
func (r resolver) after(id ID, via []ID) ([]ID, error) {
	if ids, ok := r.known[id]; ok {
		return ids, nil
	}
	if slices.Contains(via, id) {
		return nil, fmt.Errorf("%w: %s comes, by way of others, after itself", ErrSteps, id)
	}
	via = append(slices.Clone(via), id)
	ids := []ID{}
	for _, before := range r.byID[id].After {
		if _, ok := r.byID[before]; !ok {
			return nil, fmt.Errorf("%w: %s comes after %s, which there is not", ErrSteps, id, before)
		}
		more, err := r.after(before, via)
		if err != nil {
			return nil, err
		}
		if r.kept[before] {
			more = []ID{before}
		}
		ids = append(ids, more...)
	}
	slices.Sort(ids)
	r.known[id] = slices.Compact(ids)
	return r.known[id], nil
}

// reduce keeps in After only the steps that no other of them implies, so that
// what comes first is said once.
func reduce(plan []Step) {
	before := make(map[ID]map[ID]bool, len(plan)) // all steps that come before one
	for _, s := range plan {
		all := make(map[ID]bool)
		for _, id := range s.After {
			all[id] = true
			for far := range before[id] {
				all[far] = true
			}
		}
		before[s.ID] = all
	}
	for i, s := range plan {
		plan[i].After = slices.DeleteFunc(slices.Clone(s.After), func(id ID) bool {
			return slices.ContainsFunc(s.After, func(other ID) bool { return before[other][id] })
		})
	}
}

// ordered returns the steps so that each stands after those it needs, the
// earliest written first wherever there is a choice.
func ordered(steps []Step) ([]Step, error) {
	place := make(map[ID]int, len(steps))
	for i, s := range steps {
		if _, twice := place[s.ID]; twice {
			return nil, fmt.Errorf("%w: %s stands twice", ErrSteps, s.ID)
		}
		place[s.ID] = i
	}
	for _, s := range steps {
		for _, id := range s.After {
			if _, ok := place[id]; !ok {
				return nil, fmt.Errorf("%w: %s comes after %s, which there is not", ErrSteps, s.ID, id)
			}
		}
	}
	plan := make([]Step, 0, len(steps))
	done := make(map[ID]bool, len(steps))
	for len(plan) < len(steps) {
		next := slices.IndexFunc(steps, func(s Step) bool { return !done[s.ID] && len(missing(s, done)) == 0 })
		if next < 0 {
			stuck := slices.IndexFunc(steps, func(s Step) bool { return !done[s.ID] })
			return nil, fmt.Errorf("%w: %s comes, by way of others, after itself", ErrSteps, steps[stuck].ID)
		}
		done[steps[next].ID] = true
		plan = append(plan, steps[next])
	}
	return plan, nil
}

// missing returns the steps that s comes after and that are not done.
func missing(s Step, done map[ID]bool) []ID {
	var ids []ID
	for _, id := range s.After {
		if !done[id] {
			ids = append(ids, id)
		}
	}
	return ids
}

// find returns the index of a step in a plan, -1 if it is not there.
func find(plan []Step, id ID) int {
	return slices.IndexFunc(plan, func(s Step) bool { return s.ID == id })
}

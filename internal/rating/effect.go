package rating

import (
	"time"

	"timeball/internal/posterior"
)

// On is what an Effect acts on.
type On uint8

// What an effect may act on: the error steps by s, the rate steps by s/d, or
// the rate changes steadily by s/d every day, s/d².
const (
	OnError On = iota
	OnRate
	OnDrift
)

// Effect is something that may have set in at an instant. SD is the standard
// deviation of its prior about nought in the unit of its size, +Inf for a step
// of the error that is quite unknown; a drift needs a finite one.
type Effect struct {
	At time.Time
	On On
	SD float64
}

// Found is what the comparisons say of one Effect; it is not Known if no used
// comparison lies before it or none after it.
type Found struct {
	Effect
	Known bool
	Size  Interval // s, s/d or s/d², as it acts
	P     float64  // two-sided: of a size as far from nought if there were none

	// Before and After are the rates at the last used comparison before it and
	// the first one after it, s/d, as Tested.Rate is stated.
	Before, After Interval
}

// Tested is what the comparisons say of the effects asked about.
type Tested struct {
	Used     int
	Aside    int       // comparisons set aside as blunders
	Epoch    time.Time // the last used comparison
	Rate     Interval  // s/d at the epoch, at ReferenceC and in the position most used, the effects included
	Noise    Noise
	Found    []Found // in the order of the effects
	Tempered bool    // temperatures are recorded, so that Rate is at ReferenceC
}

// Test returns what the comparisons of a history say of effects that may have
// set in, all in one model with the noise averaged over, so that the random
// walk of the rate meanwhile is part of what no effect means. An effect between
// the same two comparisons as an event or as another effect on the same shares
// its column, and the wider prior stays. Its errors are those of Rate.
func Test(h History, effects []Effect) (Tested, error) {
	rec := prepare(h, nil)
	rec.effects = effects
	going := rec.going()
	if len(going) < fewest {
		return Tested{}, thin(len(going))
	}
	rec.unrecorded()
	e, err := newEstimate(&rec, going)
	if err != nil {
		return Tested{}, err
	}
	d := e.design
	t := Tested{Used: len(e.used), Aside: len(e.aside), Epoch: e.used[len(e.used)-1].At, Noise: e.noise(), Tempered: d.temp != nil}
	var now posterior.Mixture
	row := d.rates(e.row, d.end, ReferenceC, d.main)
	for _, node := range e.nodes {
		now = append(now, node.Says(node.Fit.Rate(row)))
	}
	t.Rate = now.Interval()
	if len(effects) == 0 {
		return t, nil
	}
	rates := e.smoothed()
	for i, at := range d.effects {
		f := Found{Effect: effects[i]}
		if at.col >= 0 {
			m := coefficient(e.nodes, at.col)
			f.Known, f.Size, f.P = true, m.Interval(), m.TwoSided()
			f.Before, f.After = rates[at.index-1].Interval(), rates[at.index].Interval()
		}
		t.Found = append(t.Found, f)
	}
	return t, nil
}

// smoothedNodes is how many choices of noise the rates of the past average
// over.
const smoothedNodes = 25

// smoothed returns the rate at every used comparison from all of them.
func (e *estimate) smoothed() []posterior.Mixture {
	n := len(e.design.names)
	columns := make([]float64, 0, n*len(e.used))
	for _, o := range e.used {
		columns = append(columns, e.design.rates(e.row, o.t, ReferenceC, e.design.main)...)
	}
	rates := make([]posterior.Mixture, len(e.used))
	for _, node := range heaviest(e.nodes, smoothedNodes) {
		if _, ok := e.problem.Fit(node.At); !ok {
			continue
		}
		for k, s := range e.problem.Workspace.Smooth(columns) {
			rates[k] = append(rates[k], node.Says(s.R, s.VarR))
		}
	}
	return rates
}

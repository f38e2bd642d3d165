package rating

import (
	"math"
	"slices"
	"time"

	"timeball/internal/statespace"
	"timeball/internal/timescale"
)

// Priors of the regression coefficients: mean and standard deviation. Values
// of the quadratic coefficient near -0.010 and of the linear one within ±0.09
// are common (Stechert, Das Marine-Chronometer, Aus dem Archiv der Deutschen
// Seewarte 17 (1894) no. 4).
const (
	linearSD      = 0.06  // s/d per °C
	quadraticMean = -.006 // s/d per °C²
	quadraticSD   = 0.008
	positionSD    = 3.0   // s/d
	windSD        = 0.5   // s/d over a day of running down
	driftSD       = 0.002 // s/d²
	regulatedSD   = 10.0  // s/d
	carriedStepSD = 2.0   // s
	carriedRateSD = 0.5   // s/d
	testedRateSD  = 10.0  // s/d, when the change of rate itself is asked for
	driftFromD    = 90.0  // days of record from which a drift is allowed for
	windVaryH     = 6.0   // hours by which windings must vary to tell anything
)

// design is the set of regression columns of one record: each column is the
// integral of what acts on the rate, from the origin on.
type design struct {
	prior  statespace.Prior
	names  []string
	linear int // index of the linear temperature column, the quadratic follows; -1: none

	temp      *integral
	positions []positionColumn
	main      string // position most used
	last      string // position at the end
	wind      *windings
	windCol   int
	drift     int // index of the drift column, -1: none
	steps     []step
	bends     []step
	effects   []laid  // of each effect asked about
	end       float64 // the last used observation, days
}

// step is a free step of the error, or a change of the rate, from t on; among
// the bends it is a rate that changes steadily from t on.
type step struct {
	col  int
	t    float64
	rate bool
	kind EventKind
	at   time.Time
}

// laid is where an effect asked about stands: its column, -1 if the readings do
// not lie on both sides of it, and the index of the first one after it.
type laid struct{ col, index int }

type positionColumn struct {
	col      int
	position string
	spells   []spell
}

// spell is a stretch of time in days.
type spell struct{ from, to float64 }

func (s spell) until(t float64) float64 { return math.Max(0, math.Min(t, s.to)-s.from) }

// newDesign lays out the columns for the observations at the times used, in
// days, of which there is at least one.
func newDesign(rec *record, used []float64) *design {
	d := &design{linear: -1, drift: -1, windCol: -1, end: used[len(used)-1]}
	first := used[0]
	d.add("error", 0, math.Inf(1))
	d.add("rate", 0, math.Inf(1))
	if rec.history.Temperatures != nil {
		d.temp = newIntegral(rec.origin, rec.history.Temperatures)
		d.linear = d.add("linear", 0, linearSD)
		d.add("quadratic", quadraticMean, quadraticSD)
	}
	d.layPositions(rec, first)
	if w := newWindings(rec.origin, rec.history.Windings, d.end); w != nil {
		d.wind = w
		d.windCol = d.add("wind", 0, windSD)
	}
	if d.end-first > driftFromD {
		d.drift = d.add("drift", 0, driftSD)
	}
	d.laySteps(rec, used)
	return d
}

func (d *design) add(name string, mean, sd float64) int {
	d.names = append(d.names, name)
	d.prior.Mean = append(d.prior.Mean, mean)
	d.prior.SD = append(d.prior.SD, sd)
	return len(d.names) - 1
}

// laySteps adds the steps of the events. Steps with no used comparison between
// them merge and the wider prior stays; a step with none before or after it
// cannot be told from the beginning or the end and is dropped, but for a
// carriage after the last comparison: its prior makes the forecast less sure.
func (d *design) laySteps(rec *record, used []float64) {
	type gap struct {
		index int
		rate  bool
	}
	seen := map[gap]int{}
	lay := func(e Event, index int, sd float64, rate bool) int {
		t := timescale.Days(rec.origin, e.At)
		at := gap{index, rate}
		if i, ok := seen[at]; ok {
			s := &d.steps[i]
			if sd > d.prior.SD[s.col] {
				d.prior.SD[s.col] = sd
				s.t, s.kind, s.at = t, e.Kind, e.At
			}
			return s.col
		}
		name := "step"
		if rate {
			name = "change of rate"
		}
		seen[at] = len(d.steps)
		d.steps = append(d.steps, step{col: d.add(name, 0, sd), t: t, rate: rate, kind: e.Kind, at: e.At})
		return len(d.names) - 1
	}
	for _, e := range rec.events {
		var stepSD, rateSD float64
		switch e.Kind {
		case Started, HandsSet:
			stepSD = math.Inf(1)
		case Regulated, Serviced:
			stepSD, rateSD = math.Inf(1), regulatedSD
		case Carried:
			stepSD, rateSD = carriedStepSD, carriedRateSD
		default:
			continue
		}
		index := before(used, timescale.Days(rec.origin, e.At))
		if index == 0 || index == len(used) && e.Kind != Carried {
			continue
		}
		if stepSD > 0 {
			lay(e, index, stepSD, false)
		}
		if rateSD > 0 {
			lay(e, index, rateSD, true)
		}
	}
	for _, f := range rec.effects {
		t := timescale.Days(rec.origin, f.At)
		at := laid{col: -1, index: before(used, t)}
		if at.index > 0 && at.index < len(used) {
			switch f.On {
			case OnError, OnRate:
				at.col = lay(Event{At: f.At, Kind: Carried}, at.index, f.SD, f.On == OnRate)
			case OnDrift:
				at.col = d.add("bend", 0, f.SD)
				d.bends = append(d.bends, step{col: at.col, t: t, at: f.At})
			}
		}
		d.effects = append(d.effects, at)
	}
}

// layPositions adds a column for every position but the one most used.
func (d *design) layPositions(rec *record, first float64) {
	at := byTime(rec.history.Positions, func(p PositionAt) time.Time { return p.At })
	at = slices.DeleteFunc(at, func(p PositionAt) bool { return p.Position == "" })
	if len(at) == 0 {
		return
	}
	spells := map[string][]spell{}
	spent := map[string]float64{}
	var order []string
	for i, p := range at {
		s := spell{from: timescale.Days(rec.origin, p.At), to: math.Inf(1)}
		if i == 0 {
			s.from = math.Inf(-1)
		}
		if i+1 < len(at) {
			s.to = timescale.Days(rec.origin, at[i+1].At)
		}
		if s.from >= d.end {
			break
		}
		d.last = p.Position
		if _, ok := spells[p.Position]; !ok {
			order = append(order, p.Position)
		}
		spells[p.Position] = append(spells[p.Position], s)
		spent[p.Position] += math.Max(0, math.Min(s.to, d.end)-math.Max(s.from, first))
	}
	for _, p := range order {
		if d.main == "" || spent[p] > spent[d.main] {
			d.main = p
		}
	}
	for _, p := range order {
		if p == d.main || spent[p] <= 0 {
			continue
		}
		own := spells[p]
		for i := range own {
			own[i].from = math.Max(own[i].from, 0)
		}
		d.positions = append(d.positions, positionColumn{col: d.add("position "+p, 0, positionSD), position: p, spells: own})
	}
}

// row writes the columns at t days into dst: recorded conditions up to the
// end, and beyond it those of a future at tempC.
func (d *design) row(dst []float64, t, tempC float64) []float64 {
	dst = dst[:len(d.names)]
	clear(dst)
	dst[0], dst[1] = 1, t
	now, beyond := t, 0.0
	if t > d.end {
		now, beyond = d.end, t-d.end
	}
	if d.temp != nil {
		u1, u2 := d.temp.at(now)
		u := tempC - ReferenceC
		dst[d.linear], dst[d.linear+1] = u1+beyond*u, u2+beyond*u*u
	}
	for _, p := range d.positions {
		for _, s := range p.spells {
			dst[p.col] += s.until(now)
		}
		if p.position == d.last {
			dst[p.col] += beyond
		}
	}
	if d.wind != nil {
		dst[d.windCol] = d.wind.at(now) + beyond*d.wind.mean
	}
	if d.drift >= 0 {
		dst[d.drift] = t * t / 2
	}
	for _, s := range d.steps {
		switch {
		case t < s.t:
		case s.rate:
			dst[s.col] = t - s.t
		default:
			dst[s.col] = 1
		}
	}
	for _, s := range d.bends {
		if t > s.t {
			dst[s.col] = (t - s.t) * (t - s.t) / 2
		}
	}
	return dst
}

// rates writes the derivatives of the columns at t days into dst, for the
// temperature tempC and the position given.
func (d *design) rates(dst []float64, t, tempC float64, position string) []float64 {
	dst = dst[:len(d.names)]
	clear(dst)
	dst[1] = 1
	if d.temp != nil {
		u := tempC - ReferenceC
		dst[d.linear], dst[d.linear+1] = u, u*u
	}
	for _, p := range d.positions {
		if p.position == position {
			dst[p.col] = 1
		}
	}
	if d.drift >= 0 {
		dst[d.drift] = t
	}
	for _, s := range d.steps {
		if s.rate && t >= s.t {
			dst[s.col] = 1
		}
	}
	for _, s := range d.bends {
		dst[s.col] = math.Max(t-s.t, 0)
	}
	return dst
}

// positionAt returns the position at t days.
func (d *design) positionAt(t float64) string {
	for _, p := range d.positions {
		for _, s := range p.spells {
			if t >= s.from && t < s.to {
				return p.position
			}
		}
	}
	return d.main
}

// integral holds the temperature, linear between entries and constant before
// the first and after the last, and its integrals about ReferenceC.
type integral struct {
	t, u, u1, u2 []float64 // days, °C from the reference, and the sums up to t
}

func newIntegral(origin time.Time, temps []TemperatureAt) *integral {
	g := &integral{}
	for _, p := range byTime(temps, func(p TemperatureAt) time.Time { return p.At }) {
		t, u := timescale.Days(origin, p.At), p.C-ReferenceC
		u1, u2 := 0.0, 0.0
		if n := len(g.t); n > 0 {
			du1, du2 := trapezium(t-g.t[n-1], g.u[n-1], u)
			u1, u2 = g.u1[n-1]+du1, g.u2[n-1]+du2
		}
		g.t, g.u, g.u1, g.u2 = append(g.t, t), append(g.u, u), append(g.u1, u1), append(g.u2, u2)
	}
	return g
}

// trapezium returns ∫u and ∫u² over d days of u linear from a to b.
func trapezium(d, a, b float64) (u1, u2 float64) {
	return d * (a + b) / 2, d * (a*a + a*b + b*b) / 3
}

// value returns u at t days.
func (g *integral) value(t float64) float64 {
	i := before(g.t, t)
	switch {
	case i == 0:
		return g.u[0]
	case i == len(g.t):
		return g.u[i-1]
	}
	return g.u[i-1] + (g.u[i]-g.u[i-1])*(t-g.t[i-1])/(g.t[i]-g.t[i-1])
}

// at returns ∫u and ∫u² from the first entry to t days.
func (g *integral) at(t float64) (u1, u2 float64) {
	i := before(g.t, t)
	if i == 0 {
		return trapezium(t-g.t[0], g.u[0], g.u[0])
	}
	d1, d2 := trapezium(t-g.t[i-1], g.u[i-1], g.value(t))
	return g.u1[i-1] + d1, g.u2[i-1] + d2
}

// Temperature to come: the time mean of the last recentD days, and the scatter
// of the readings of the last seasonD days held within bounds, since an oven
// trial is not a room.
const (
	recentD  = 10.0
	seasonD  = 90.0
	leastDev = 0.5 // °C
	mostDev  = 2.0 // °C
)

// lately returns the mean temperature of the last days and the standard
// deviation of the temperatures recorded of late, °C.
func (g *integral) lately(end float64) (mean, sd float64) {
	u1, _ := g.at(end)
	v1, _ := g.at(end - recentD)
	var recent []float64
	for i, t := range g.t {
		if t >= end-seasonD && t <= end {
			recent = append(recent, g.u[i])
		}
	}
	return ReferenceC + (u1-v1)/recentD, math.Min(math.Max(deviation(recent), leastDev), mostDev)
}

// deviation returns the sample standard deviation, 0 for fewer than two.
func deviation(v []float64) float64 {
	if len(v) < 2 {
		return 0
	}
	mean, sum := 0.0, 0.0
	for _, x := range v {
		mean += x / float64(len(v))
	}
	for _, x := range v {
		sum += (x - mean) * (x - mean)
	}
	return math.Sqrt(sum / float64(len(v)-1))
}

// windings holds ∫(w/24 − ½)dt, w hours since wound.
type windings struct {
	t, sum []float64
	mean   float64 // per day, over the record
}

// newWindings returns nil unless the windings vary enough to tell anything and
// none seems to have gone unrecorded.
func newWindings(origin time.Time, at []time.Time, end float64) *windings {
	at = byTime(at, func(t time.Time) time.Time { return t })
	w := &windings{}
	shortest, longest := math.Inf(1), 0.0
	for _, a := range at {
		t := timescale.Days(origin, a)
		if t > end {
			break
		}
		sum := 0.0
		if n := len(w.t); n > 0 {
			d := t - w.t[n-1]
			if d < 0.04 { // wound again within the hour
				continue
			}
			shortest, longest = math.Min(shortest, d), math.Max(longest, d)
			sum = w.sum[n-1] + running(d)
		}
		w.t, w.sum = append(w.t, t), append(w.sum, sum)
	}
	if len(w.t) < 4 || (longest-shortest)*24 <= windVaryH || longest > 9 || longest > 2.3*shortest {
		return nil
	}
	w.mean = w.at(end) / math.Max(end-w.t[0], 1)
	return w
}

// running returns ∫(w/24 − ½)dt over the first d days after winding.
func running(d float64) float64 { return d*d/2 - d/2 }

func (w *windings) at(t float64) float64 {
	i := before(w.t, t)
	if i == 0 {
		return 0
	}
	return w.sum[i-1] + running(t-w.t[i-1])
}

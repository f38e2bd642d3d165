package rating

import (
	"errors"
	"fmt"
	"math"
	"time"

	"timeball/internal/posterior"
	"timeball/internal/stability"
	"timeball/internal/statespace"
	"timeball/internal/timescale"
)

// defaultHorizonD is how far a forecast goes unless told, days.
const defaultHorizonD = 60.0

// ErrNotDetermined marks a history whose comparisons do not determine a rate,
// such as one comparison in each run.
var ErrNotDetermined = errors.New("the comparisons do not determine a rate")

// fewForOwn is the number of comparisons below which the doubt rests mostly on
// what is usual for such instruments.
const fewForOwn = 8

// Rate returns the rating of a history. Its error wraps ErrThin or
// ErrNotDetermined and says what is wanting.
func Rate(h History, opt Options) (Rating, error) {
	if opt.HorizonDays <= 0 {
		opt.HorizonDays = defaultHorizonD
	}
	rec := prepare(h, opt.At)
	going := rec.going()
	if len(going) < fewest {
		return Rating{}, thin(len(going))
	}
	out := Rating{Comparisons: len(rec.obs), Unrecorded: rec.unrecorded()}
	e, err := newEstimate(&rec, going)
	if err != nil {
		return Rating{}, err
	}
	out.Used = len(e.used)
	out.Epoch = e.used[len(e.used)-1].At
	out.Position, out.Tempered = e.design.main, e.design.temp != nil
	out.KnownUntil, out.BrokenBy = e.rec.brokenAfter(out.Epoch)
	e.now(&out)
	e.forecasts(&out, opt)
	e.byNode(&out, opt)
	e.coefficients(&out)
	out.Changes = e.changes()
	e.readings(&out)
	if opt.Curve > 1 {
		out.Curve = e.curve(opt.Curve)
	}
	if opt.Track {
		out.Track = e.track(out.Epoch, opt.TempC)
		out.Track.Until = out.KnownUntil
	}
	out.share(h.SharedS)
	e.warn(&out)
	return out, nil
}

// estimate is the posterior of one record.
type estimate struct {
	rec     *record
	used    []observation
	aside   []observation
	design  *design
	problem *posterior.Problem
	nodes   []posterior.Node
	offset  float64 // taken from y so that no digits are lost, s
	tempC   float64 // temperature to come
	tempSD  float64
	row     []float64
}

// newEstimate screens the observations of the record that were read while it
// went and averages over the noise.
func newEstimate(rec *record, going []int) (*estimate, error) {
	all := make([]observation, 0, len(going))
	for _, k := range going {
		all = append(all, rec.obs[k])
	}
	_, p := layOut(rec, all)
	screen(p, all)
	e := &estimate{rec: rec}
	for k, o := range all {
		if p.Aside[k] {
			e.aside = append(e.aside, o)
		} else {
			e.used = append(e.used, o)
		}
	}
	e.design, e.problem = layOut(rec, e.used)
	e.offset = e.used[0].y
	e.row = make([]float64, len(e.design.names))
	if e.design.temp != nil {
		e.tempC, e.tempSD = e.design.temp.lately(e.design.end)
	}
	mode, ok := e.problem.Mode()
	if !ok {
		return nil, fmt.Errorf("%w: no two of the %d lie in one run; compare again", ErrNotDetermined, len(e.used))
	}
	if e.nodes, ok = e.problem.Nodes(mode); !ok {
		return nil, fmt.Errorf("%w: they leave its noise open; compare again", ErrNotDetermined)
	}
	return e, nil
}

// layOut returns the columns for the observations and the problem they pose.
func layOut(rec *record, obs []observation) (*design, *posterior.Problem) {
	t := make([]float64, len(obs))
	for k, o := range obs {
		t[k] = o.t
	}
	d := newDesign(rec, t)
	c := len(d.names) + 1
	p := &posterior.Problem{Prior: d.prior, Aside: make([]bool, len(obs)), SD: make([]float64, len(obs))}
	p.Series = statespace.Series{T: t, Var: make([]float64, len(obs)), Rows: make([]float64, c*len(obs)), Cols: c}
	for k, o := range obs {
		d.row(p.Series.Rows[k*c:], o.t, ReferenceC)
		p.Series.Rows[k*c+c-1] = o.y - obs[0].y
		p.SD[k] = o.sd
	}
	return d, p
}

// now gives error and rate at the epoch.
func (e *estimate) now(out *Rating) {
	d := e.design
	n := len(d.names)
	level := d.row(make([]float64, n), d.end, ReferenceC)
	standard := d.rates(make([]float64, n), d.end, ReferenceC, d.main)
	lately := d.rates(make([]float64, n), d.end, e.tempC, d.last)
	moved := e.rec.moved(out.Epoch)
	var errors, rates, ratesNow posterior.Mixture
	var steadiness []posterior.Weighed
	for _, node := range e.nodes {
		x, v := node.Fit.Ahead(0, node.At.Noise(), level)
		errors = append(errors, node.Says(x+e.offset+moved, v))
		r, v := node.Fit.Rate(standard)
		rates = append(rates, node.Says(r, v))
		r, v = node.Fit.Rate(lately)
		ratesNow = append(ratesNow, node.Says(r, v))
		q := node.At.Noise()
		if s, ok := stability.Steadiness(q.SigmaW, q.SigmaR); ok {
			steadiness = append(steadiness, posterior.Weighed{Value: s, Weight: node.Weight})
		}
	}
	out.Error, out.Rate, out.RateNow, out.Steadiness = errors.Interval(), rates.Interval(), ratesNow.Interval(), posterior.Spread(steadiness)
	// No standard deviation is known better than its readings allow.
	if least := out.Steadiness.Mean / math.Sqrt(2*float64(len(e.used))); out.Steadiness.SD < least {
		out.Steadiness = Interval{Mean: out.Steadiness.Mean, SD: least, Lo95: max(0, out.Steadiness.Mean-1.96*least), Hi95: out.Steadiness.Mean + 1.96*least}
	}
	out.Noise = e.noise()
}

// noise returns the posterior mean of the noise.
func (e *estimate) noise() Noise {
	sd := 0.0
	for _, o := range e.used {
		sd += o.sd / float64(len(e.used))
	}
	centre := e.centre()
	return Noise{SigmaW: math.Exp(centre[0]), SigmaR: math.Exp(centre[1]), Kappa: math.Exp(centre[2]), SDS: sd}
}

// forecasts gives the error at the usual horizons and at the instants asked
// for that lie after the epoch.
func (e *estimate) forecasts(out *Rating, opt Options) {
	days := []float64{}
	for _, d := range []float64{1, 7, 30, 60} {
		if d <= opt.HorizonDays {
			days = append(days, d)
		}
	}
	if n := len(days); n == 0 || days[n-1] != opt.HorizonDays {
		days = append(days, opt.HorizonDays)
	}
	for _, d := range days {
		at := timescale.AddDays(out.Epoch, d)
		if out.broken(at) {
			break
		}
		out.Forecast = append(out.Forecast, Forecast{At: at, Error: e.ahead(at, d, opt.TempC)})
	}
	out.Asked = make([]Forecast, len(opt.At))
	for i, at := range opt.At {
		out.Asked[i].At = at
		if h := timescale.Days(out.Epoch, at); h >= 0 && !out.broken(at) {
			out.Asked[i] = Forecast{At: at, Error: e.ahead(at, h, opt.TempC)}
		}
	}
}

// broken reports whether the error is no longer known at an instant.
func (r *Rating) broken(at time.Time) bool { return !r.KnownUntil.IsZero() && !at.Before(r.KnownUntil) }

// ahead returns the error at an instant h days after the epoch.
func (e *estimate) ahead(at time.Time, h float64, told *float64) Interval {
	return e.net(h, e.temperatures(h, told)).Interval().Plus(e.offset + e.rec.moved(at))
}

// temperatures returns the mean temperature of the h days to come. Unless it
// is told, its doubt enters by the three-point rule: the mean and the mean ± √3
// standard deviations, weighted 2/3, 1/6, 1/6.
func (e *estimate) temperatures(h float64, told *float64) []posterior.Gaussian {
	if e.design.temp != nil {
		if told != nil {
			return []posterior.Gaussian{{Weight: 1, Mean: *told}}
		}
		if sd := math.Sqrt(3) * e.tempSD * (1 - math.Exp(-h/recentD)); sd > 0 {
			return []posterior.Gaussian{{Weight: 2. / 3, Mean: e.tempC}, {Weight: 1. / 6, Mean: e.tempC - sd}, {Weight: 1. / 6, Mean: e.tempC + sd}}
		}
	}
	return []posterior.Gaussian{{Weight: 1, Mean: e.tempC}}
}

// net returns the error h days after the epoch less offset and known moves.
func (e *estimate) net(h float64, temps []posterior.Gaussian) posterior.Mixture {
	m := make(posterior.Mixture, 0, len(temps)*len(e.nodes))
	for _, temp := range temps {
		row := e.design.row(e.row, e.design.end+h, temp.Mean)
		for _, node := range e.nodes {
			x, v := node.Fit.Ahead(h, node.At.Noise(), row)
			m = append(m, posterior.Gaussian{Weight: temp.Weight * node.Weight, Mean: x, SD: math.Sqrt(v)})
		}
	}
	return m
}

// trackDays are the points of a track: close where the doubt bends, so that
// proportion between them is true to about a hundredth.
var trackDays = []float64{0, .1, .25, .5, 1, 1.5, 2, 3, 4, 5.5, 7, 10, 14, 20, 30, 45, 60, 90, 130, 180, 270, 365, 550, 730}

// track returns the error from the epoch on.
func (e *estimate) track(epoch time.Time, told *float64) Track {
	t := Track{Epoch: epoch}
	atEpoch := e.rec.moved(epoch)
	for _, h := range trackDays {
		t.Ahead = append(t.Ahead, TrackPoint{Days: h, Error: e.net(h, e.temperatures(h, told)).Interval().Plus(e.offset + atEpoch)})
	}
	for _, ev := range e.rec.events {
		if ev.Kind == HandsMoved && ev.At.After(epoch) {
			t.Moves = append(t.Moves, ev)
		}
	}
	return t
}

// byNode gives what needs the readings at every node: the mean rate of each
// run and the error at instants asked for before the epoch.
func (e *estimate) byNode(out *Rating, opt Options) {
	d := e.design
	n := len(d.names)
	type combination struct {
		t, weight, row []float64
		parts          posterior.Mixture
		done           func(posterior.Mixture)
	}
	var all []*combination
	for i, at := range opt.At {
		if at.Before(out.Epoch) {
			t := timescale.Days(e.rec.origin, at)
			moved := e.offset + e.rec.moved(at)
			all = append(all, &combination{
				t: []float64{t}, weight: []float64{1}, row: d.row(make([]float64, n), t, ReferenceC),
				done: func(m posterior.Mixture) {
					for k := range m {
						m[k].Mean += moved
					}
					out.Asked[i] = Forecast{At: at, Error: m.Interval()}
				},
			})
		}
	}
	out.Runs = e.runs()
	first := 0
	for i := range out.Runs {
		run := &out.Runs[i]
		a, b := e.used[first].t, e.used[first+run.Comparisons-1].t
		first += run.Comparisons
		if run.Known = b > a; !run.Known {
			continue
		}
		row := d.row(make([]float64, n), b, ReferenceC)
		for j, v := range d.row(e.row, a, ReferenceC) {
			row[j] = (row[j] - v) / (b - a)
		}
		all = append(all, &combination{
			t: []float64{a, b}, weight: []float64{-1 / (b - a), 1 / (b - a)}, row: row,
			done: func(m posterior.Mixture) { run.Rate = m.Interval() },
		})
	}
	for _, node := range e.nodes {
		if len(all) == 0 {
			break
		}
		if _, ok := e.problem.Fit(node.At); !ok {
			continue
		}
		for _, c := range all {
			x, v := e.problem.Workspace.Combination(c.t, c.weight, c.row)
			c.parts = append(c.parts, node.Says(x, v))
		}
	}
	for _, c := range all {
		c.done(c.parts)
	}
}

// runs cuts the used observations where a free step of the error or a new rate
// begins; a known movement of the hands and a carriage keep the run.
func (e *estimate) runs() []RunRate {
	var runs []RunRate
	next := 0
	for k, o := range e.used {
		cut := k == 0
		for ; next < len(e.rec.events) && !e.rec.events[next].At.After(o.At); next++ {
			switch e.rec.events[next].Kind {
			case Started, HandsSet, Regulated, Serviced:
				cut = true
			}
		}
		if cut {
			runs = append(runs, RunRate{From: o.At})
		}
		r := &runs[len(runs)-1]
		r.To = o.At
		r.Comparisons++
	}
	return runs
}

// coefficient returns the posterior of one regression coefficient.
func coefficient(nodes []posterior.Node, col int) posterior.Mixture {
	m := make(posterior.Mixture, 0, len(nodes))
	for _, node := range nodes {
		p := len(node.Fit.Beta)
		m = append(m, node.Says(node.Fit.Beta[col], node.Fit.Cov[col*p+col]))
	}
	return m
}

// coefficients gives the temperature law, only if the comparisons say more of
// it than is usual for any instrument, and the positions.
func (e *estimate) coefficients(out *Rating) {
	d := e.design
	if d.linear >= 0 {
		law := TemperatureLaw{
			Linear: coefficient(e.nodes, d.linear).Interval(), Quadratic: coefficient(e.nodes, d.linear+1).Interval(),
			ForecastC: e.tempC, ForecastSD: e.tempSD,
		}
		law.LinearKnown, law.QuadraticKnown = law.Linear.SD < linearSD/2, law.Quadratic.SD < quadraticSD/2
		if law.QuadraticKnown && law.Quadratic.Lo95*law.Quadratic.Hi95 > 0 {
			extreme := e.extreme().Interval()
			law.Extreme = &extreme
		}
		if law.LinearKnown || law.QuadraticKnown {
			out.Temperature = &law
		}
	}
	for _, p := range d.positions {
		out.Positions = append(out.Positions, PositionRate{Position: p.position, Rate: coefficient(e.nodes, p.col).Interval()})
	}
}

// extreme returns the temperature at which the rate is greatest or least, °C,
// its variance to first order in those of the coefficients.
func (e *estimate) extreme() posterior.Mixture {
	i := e.design.linear
	j := i + 1
	m := make(posterior.Mixture, 0, len(e.nodes))
	for _, node := range e.nodes {
		p := len(node.Fit.Beta)
		a, b, cov := node.Fit.Beta[i], node.Fit.Beta[j], node.Fit.Cov
		c, _, ok := Law{ReferenceC: ReferenceC, Linear: a, Quadratic: b}.Extreme()
		if !ok {
			continue
		}
		r := a / b
		variance := (cov[i*p+i] - 2*r*cov[i*p+j] + r*r*cov[j*p+j]) / (4 * b * b)
		m = append(m, node.Says(c, variance))
	}
	return m
}

// changes tests each carriage: its change of rate gets a wide prior, so that
// the answer is not shrunk, and the noise is averaged over anew. The random
// walk of the rate over the gap is part of what no change means.
func (e *estimate) changes() []Change {
	var changes []Change
	for _, s := range e.design.steps {
		if !s.rate || s.kind != Carried || s.t > e.design.end {
			continue
		}
		usual := e.problem.Prior.SD[s.col]
		e.problem.Prior.SD[s.col] = testedRateSD
		if mode, ok := e.problem.Mode(); ok {
			if nodes, ok := e.problem.Nodes(mode); ok {
				m := coefficient(nodes, s.col)
				changes = append(changes, Change{At: s.at, Kind: s.kind, Rate: m.Interval(), P: m.TwoSided()})
			}
		}
		e.problem.Prior.SD[s.col] = usual
	}
	return changes
}

// centre returns the posterior mean of the noise, in logarithms.
func (e *estimate) centre() posterior.Point {
	var mean posterior.Point
	for _, node := range e.nodes {
		for i := range mean {
			mean[i] += node.Weight * node.At[i]
		}
	}
	return mean
}

// readings gives every used comparison against the others, and what was set
// aside with its reason, at the centre of the noise.
func (e *estimate) readings(out *Rating) {
	u := e.centre()
	if _, ok := e.problem.Fit(u); !ok {
		return
	}
	for k, del := range e.problem.Workspace.Deletions(nil) {
		o := e.used[k]
		if math.IsInf(del.Var, 1) { // alone in its run, nothing speaks against it
			del = statespace.Deletion{Var: math.Pow(e.used[k].sd, 2)}
		}
		out.Residuals = append(out.Residuals, Residual{Ref: o.Ref, At: o.At, ErrorS: o.read, ReadSDS: o.sd, ResidualS: del.Residual, SDS: math.Sqrt(del.Var)})
	}
	for _, o := range e.rec.obs {
		if o.inGone {
			out.SetAside = append(out.SetAside, SetAside{Ref: o.Ref, At: o.At, ErrorS: o.read, ReadSDS: o.sd, Reason: "read while it stood stopped"})
		}
	}
	n := len(e.design.names)
	kappa := math.Exp(u[2])
	for _, o := range e.aside {
		x, v := e.problem.Workspace.Combination([]float64{o.t}, []float64{1}, e.design.row(make([]float64, n), o.t, ReferenceC))
		s := SetAside{Ref: o.Ref, At: o.At, ErrorS: o.read, ReadSDS: o.sd, ResidualS: o.y - e.offset - x}
		v += kappa * kappa * o.sd * o.sd
		s.SDS = math.Sqrt(v)
		s.SlipS, s.Reason = nameSlip(o, s.ResidualS, v)
		out.SetAside = append(out.SetAside, s)
	}
	out.SetAside = byTime(out.SetAside, func(s SetAside) time.Time { return s.At })
}

// warn adds the sentences that a reader must see.
func (e *estimate) warn(out *Rating) {
	say := func(format string, args ...any) { out.Warnings = append(out.Warnings, fmt.Sprintf(format, args...)) }
	if out.Used < fewForOwn {
		say("Only %d comparisons: the doubt rests mostly on what is usual for such instruments. Compare daily for a fortnight.", out.Used)
	}
	for _, o := range e.rec.obs {
		if o.ModulusS != 0 && math.Abs(o.read) > 3600 {
			say("An error of more than an hour was read; a dial repeats every %.0f hours and the nearest reading was taken.", o.ModulusS/3600)
			break
		}
	}
	if !out.KnownUntil.IsZero() {
		say("On %s: %s. It has not been compared since, and its error is not known from then on.", out.KnownUntil.Format("2 Jan 2006"), out.BrokenBy)
	}
	for k, o := range e.used {
		if k < len(out.Residuals) && o.Upheld && math.Abs(out.Residuals[k].ResidualS) > 5*out.Residuals[k].SDS {
			say("The comparison of %s is used because somebody said that it is right, but the others put it %.1f s away; strike that word out to set it aside again.",
				o.At.Format("2 Jan 2006 15:04"), math.Abs(out.Residuals[k].ResidualS))
		}
	}
	for _, o := range e.used {
		if d := 24 * time.Hour; timescale.LeapSeconds(o.At.Add(-d), o.At.Add(d)) != 0 {
			say("A comparison lies within a day of a leap second; standards may have differed then.")
			break
		}
	}
	if share := float64(len(e.aside)) / float64(len(e.aside)+len(e.used)); share > 0.15 && len(e.aside) > 2 {
		say("%.0f in a hundred comparisons were set aside: look at how they are made.", 100*share)
	}
}

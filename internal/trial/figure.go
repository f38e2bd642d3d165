package trial

import (
	"math"
	"math/rand/v2"
	"slices"
)

// The seed of the draws, so that the same days give the same result.
const seedHigh, seedLow = 1833, 13

// drawn is what the criteria come to for draws of the true rates.
type drawn struct {
	read    []float64   // of the rates as read, by criterion
	value   [][]float64 // by criterion and draw; nil if it is not known
	lack    [][]int     // days wanting, by criterion
	mean    []float64   // mean rate of the counted days, by draw
	white   float64     // scatter of the days, s/d
	walk    float64     // wandering of the level in a day, s/d
	anySeen bool
}

// sample draws the true rates and computes every criterion that is known.
func (rec *record) sample(plans []plan, draws int) *drawn {
	if draws <= 0 {
		draws = usualDraws
	}
	out := &drawn{read: make([]float64, len(plans)), value: make([][]float64, len(plans)), lack: make([][]int, len(plans))}
	for i, pl := range plans {
		out.lack[i] = rec.lacking(pl)
		for _, t := range pl.terms {
			out.lack[i] = append(out.lack[i], out.lack[t]...)
		}
		slices.Sort(out.lack[i])
		if out.lack[i] = slices.Compact(out.lack[i]); len(out.lack[i]) == 0 {
			out.value[i] = make([]float64, 0, draws)
		}
	}
	var counted []int
	for i, d := range rec.days {
		if d.Known && !rec.programme.Periods[d.Period].Apart {
			counted = append(counted, i)
		}
	}
	values := make([]float64, len(plans))
	compute := func(rates []float64) {
		for i, pl := range plans {
			if out.value[i] != nil {
				values[i] = pl.value(rates, values)
			}
		}
	}
	base := rec.rates()
	compute(base)
	copy(out.read, values)
	g := rec.newGoing(func(int) bool { return true }, func(day int) int { return rec.days[day].Period }, nil)
	nodes := g.nodes()
	for _, n := range nodes {
		out.white += n.weight * math.Log(n.white)
		out.walk += n.weight * math.Log(n.walk)
	}
	out.white, out.walk = math.Exp(out.white), math.Exp(out.walk)
	out.anySeen = len(g.seen) > 0
	if !out.anySeen {
		return out
	}
	g.draw(rand.New(rand.NewPCG(seedHigh, seedLow)), nodes, draws, base, func(rates []float64) {
		compute(rates)
		for i := range plans {
			if out.value[i] != nil {
				out.value[i] = append(out.value[i], values[i])
			}
		}
		if len(counted) > 0 {
			out.mean = append(out.mean, meanOf(rates, counted))
		}
	})
	return out
}

// estimateOf returns the middle, spread and 95% interval of draws.
func estimateOf(draws []float64) Estimate {
	if len(draws) == 0 {
		return Estimate{}
	}
	v := slices.Clone(draws)
	slices.Sort(v)
	mean, sum := 0.0, 0.0
	for _, x := range v {
		mean += x / float64(len(v))
	}
	for _, x := range v {
		sum += sq(x - mean)
	}
	return Estimate{Mean: mean, SD: math.Sqrt(sum / float64(len(v))), Lo95: quantile(v, 0.025), Hi95: quantile(v, 0.975)}
}

// quantile returns the quantile of sorted values, straight between them.
func quantile(sorted []float64, p float64) float64 {
	at := p * float64(len(sorted)-1)
	i := int(at)
	if i+1 >= len(sorted) {
		return sorted[len(sorted)-1]
	}
	return sorted[i] + (at-float64(i))*(sorted[i+1]-sorted[i])
}

// limited reports whether the criterion has limits.
func (c Criterion) limited() bool { return c.From != nil || c.To != nil || len(c.Classes) > 0 }

// keeps reports whether a value keeps the limits: no rounding, the limits
// themselves allowed.
func (c Criterion) keeps(v float64) bool {
	if len(c.Classes) > 0 {
		return c.class(v) < len(c.Classes)
	}
	return (c.From == nil || v >= *c.From) && (c.To == nil || v <= *c.To)
}

// class returns the index of the best class a value reaches, or how many there
// are if it reaches none.
func (c Criterion) class(v float64) int {
	for i, class := range c.Classes {
		if math.Abs(v) <= class.Most {
			return i
		}
	}
	return len(c.Classes)
}

// figures returns what every criterion came to.
func (rec *record) figures(plans []plan, d *drawn) []Figure {
	figures := make([]Figure, len(plans))
	for i, c := range rec.programme.Criteria {
		f := Figure{Criterion: c, Limited: c.limited()}
		if len(d.lack[i]) > 0 {
			f.Why, _ = rec.why(d.lack[i])
			figures[i] = f
			continue
		}
		f.Known, f.Value = true, d.read[i]
		e := estimateOf(d.value[i])
		f.Best, f.SD, f.Lo95, f.Hi95 = e.Mean, e.SD, e.Lo95, e.Hi95
		if f.Limited {
			f.Kept = c.keeps(f.Value)
			f.PKept = part(d.value[i], c.keeps)
			f.Close = between(f.PKept)
		}
		if own := c.class(f.Value); len(c.Classes) > 0 {
			f.PClass = part(d.value[i], func(v float64) bool { return c.class(v) == own })
			f.Close = f.Close || between(f.PClass)
			if own < len(c.Classes) {
				f.Class = c.Classes[own].Name
			}
		}
		figures[i] = f
	}
	return figures
}

func between(p float64) bool { return p > 0.025 && p < 0.975 }

// part returns the part of the values for which holds is true.
func part(values []float64, holds func(float64) bool) float64 {
	n := 0
	for _, v := range values {
		if holds(v) {
			n++
		}
	}
	return float64(n) / float64(max(1, len(values)))
}

// sums returns the sums of the first criterion of sums, or of weeks of the
// days that are not apart.
func (rec *record) sums() []Sum {
	length, periods := 7, []int(nil)
	for _, c := range rec.programme.Criteria {
		if c.Of == RangeOfSums || c.Of == GreatestStep {
			length, periods = c.SumDays, c.Periods
			break
		}
	}
	var sums []Sum
	for _, b := range blocks(rec.programme.daysIn(rec.programme.taken(periods)), length) {
		s := Sum{First: b[0] + 1, Last: b[1] + 1, Known: rec.whole(b[0], b[1])}
		temp, temps := 0.0, 0
		for _, d := range rec.days[b[0] : b[1]+1] {
			if d.TempC != nil && isFinite(*d.TempC) {
				temp, temps = temp+*d.TempC, temps+1
			}
		}
		if temps > 0 {
			temp /= float64(temps)
			s.TempC = &temp
		}
		if s.Known {
			for _, r := range rec.rates()[b[0] : b[1]+1] {
				s.SumS += r
			}
			factor := make([]float64, len(rec.days))
			for i := b[0]; i <= b[1]; i++ {
				factor[i] = 1
			}
			s.SDS = math.Sqrt(rec.readingVariance(factor))
		}
		sums = append(sums, s)
	}
	return sums
}

// readingVariance returns the variance of Σ factor·rate from the readings
// alone. Each reading enters the day before it and the day after it.
func (rec *record) readingVariance(factor []float64) float64 {
	v, open, openSD, openAt := 0.0, 0.0, 0.0, -1
	end := func() { v, open = v+sq(open*openSD), 0 }
	see := func(from, to int, first, last float64, per float64, joins bool) {
		if !joins || openAt != from || openSD == 0 || first == 0 {
			end()
			v += sq(per * first)
		} else {
			open -= per
			end()
		}
		open, openSD, openAt = per, last, to+1
	}
	spans := rec.spans
	for i := 0; i < len(rec.days); i++ {
		if len(spans) > 0 && spans[0].First-1 == i {
			s := spans[0]
			spans = spans[1:]
			see(i, s.Last-1, s.FirstSDS, s.LastSDS, factor[i], true)
			i = s.Last - 1
			continue
		}
		d := rec.days[i]
		switch {
		case !d.Known:
		case d.byReadings():
			see(i, i, d.FirstSDS, d.LastSDS, factor[i]/d.length(), i > 0 && rec.joins(i))
		default:
			v += sq(factor[i] * d.SDS)
		}
	}
	end()
	return v
}

// joins reports whether a day begins with the reading that ends the one before.
func (rec *record) joins(i int) bool {
	return i == 0 || rec.days[i].From.IsZero() || rec.days[i-1].To.IsZero() || rec.days[i].From.Equal(rec.days[i-1].To)
}

// spells returns the mean of every period.
func (rec *record) spells(d *drawn) []Spell {
	spells := make([]Spell, len(rec.programme.Periods))
	for i := range spells {
		s := Spell{Period: i}
		var known []int
		temp, temps := 0.0, 0
		for _, k := range rec.programme.daysOf(i) {
			day := rec.days[k]
			if day.TempC != nil && isFinite(*day.TempC) {
				temp, temps = temp+*day.TempC, temps+1
			}
			if day.Known {
				known = append(known, k)
			}
		}
		if temps > 0 {
			temp /= float64(temps)
			s.TempC = &temp
		}
		if s.Days = len(known); s.Days > 0 {
			rates := rec.rates()
			s.Mean = meanOf(rates, known)
			factor := make([]float64, len(rec.days))
			for _, k := range known {
				factor[k] = 1 / float64(len(known))
				s.Scatter += sq(rates[k] - s.Mean)
			}
			n := float64(s.Days)
			if s.Scatter = math.Sqrt(s.Scatter / max(n-1, 1)); s.Days == 1 {
				s.Scatter = 0
			}
			// A level that wanders by walk a day has a mean over n days that lies from
			// where it stands at either end by walk·√(n/3).
			s.SDS = math.Sqrt(rec.readingVariance(factor) + sq(d.white)/n + sq(d.walk)*n/3)
		}
		spells[i] = s
	}
	return spells
}

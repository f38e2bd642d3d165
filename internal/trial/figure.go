package trial

import (
	"math"
	"math/rand/v2"
	"slices"

	"timeball/internal/trial/going"
	"timeball/internal/trial/programme"
)

// The seed of the draws, so that the same days give the same result.
const seedHigh, seedLow = 1833, 13

// drawn is what the criteria come to for draws of the true rates.
type drawn struct {
	read  []float64   // of the rates as read, by criterion
	value [][]float64 // by criterion and draw; nil if it is not known
	lack  [][]int     // days wanting, by criterion
	mean  []float64   // mean rate of the counted days, by draw
	white float64     // scatter of the days, s/d
	walk  float64     // wandering of the level in a day, s/d
}

// sample draws the true rates and computes every criterion that is known.
func (rec *record) sample(plans []programme.Plan, draws int) *drawn {
	if draws <= 0 {
		draws = usualDraws
	}
	out := &drawn{read: make([]float64, len(plans)), value: make([][]float64, len(plans)), lack: make([][]int, len(plans))}
	for i, pl := range plans {
		out.lack[i] = rec.lacking(pl)
		for _, t := range pl.Terms {
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
				values[i] = pl.Value(rates, values)
			}
		}
	}
	base := rec.rates()
	compute(base)
	copy(out.read, values)
	changes := rec.changes()
	g := going.Of(changes, rec.programme.PeriodOfDays(), nil)
	out.white, out.walk = g.Noise()
	if len(changes) == 0 {
		return out
	}
	g.Draw(rand.New(rand.NewPCG(seedHigh, seedLow)), draws, base, func(rates []float64) {
		compute(rates)
		for i := range plans {
			if out.value[i] != nil {
				out.value[i] = append(out.value[i], values[i])
			}
		}
		if len(counted) > 0 {
			out.mean = append(out.mean, programme.MeanOf(rates, counted))
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

// figures returns what every criterion came to.
func (rec *record) figures(plans []programme.Plan, d *drawn) []Figure {
	figures := make([]Figure, len(plans))
	for i, c := range rec.programme.Criteria {
		f := Figure{Criterion: c, Limited: c.Limited()}
		if len(d.lack[i]) > 0 {
			f.Why, _ = rec.why(d.lack[i])
			figures[i] = f
			continue
		}
		f.Known, f.Value = true, d.read[i]
		e := estimateOf(d.value[i])
		f.Best, f.SD, f.Lo95, f.Hi95 = e.Mean, e.SD, e.Lo95, e.Hi95
		if f.Limited {
			f.Kept = c.Keeps(f.Value)
			f.PKept = part(d.value[i], c.Keeps)
			f.Close = between(f.PKept)
		}
		if own := c.Class(f.Value); len(c.Classes) > 0 {
			f.PClass = part(d.value[i], func(v float64) bool { return c.Class(v) == own })
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
		if c.Of == programme.RangeOfSums || c.Of == programme.GreatestStep {
			length, periods = c.SumDays, c.Periods
			break
		}
	}
	var sums []Sum
	for _, b := range rec.programme.Sums(periods, length) {
		s := Sum{First: b[0] + 1, Last: b[1] + 1, Known: rec.whole(b[0], b[1]), TempC: meanTemp(rec.days[b[0] : b[1]+1])}
		if s.Known {
			for _, r := range rec.rates()[b[0] : b[1]+1] {
				s.SumS += r
			}
			factor := make([]float64, len(rec.days))
			for i := b[0]; i <= b[1]; i++ {
				factor[i] = 1
			}
			s.SDS = math.Sqrt(going.ReadingVariance(rec.changes(), factor))
		}
		sums = append(sums, s)
	}
	return sums
}

// meanTemp returns the mean of the temperatures of days, nil if none was read.
func meanTemp(days []Day) *float64 {
	sum, n := 0.0, 0
	for _, d := range days {
		if d.TempC != nil && isFinite(*d.TempC) {
			sum, n = sum+*d.TempC, n+1
		}
	}
	if n == 0 {
		return nil
	}
	sum /= float64(n)
	return &sum
}

// spells returns the mean of every period.
func (rec *record) spells(d *drawn) []Spell {
	spells := make([]Spell, len(rec.programme.Periods))
	for i := range spells {
		of := rec.programme.DaysOf(i)
		s := Spell{Period: i, TempC: meanTemp(rec.days[of[0] : of[0]+len(of)])}
		var known []int
		for _, k := range of {
			if rec.days[k].Known {
				known = append(known, k)
			}
		}
		if s.Days = len(known); s.Days > 0 {
			rates := rec.rates()
			s.Mean = programme.MeanOf(rates, known)
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
			s.SDS = math.Sqrt(going.ReadingVariance(rec.changes(), factor) + sq(d.white)/n + sq(d.walk)*n/3)
		}
		spells[i] = s
	}
	return spells
}

func sq(v float64) float64 { return v * v }

func isFinite(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }

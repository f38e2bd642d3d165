// Package trial judges the daily rates of a chronometer by a programme: what it
// did, by how much it kept each limit, and how sure that is.
//
// Rates are in s/d, + gaining; temperatures in °C.
package trial

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"timeball/internal/trial/going"
	"timeball/internal/trial/programme"
)

// Ask is what is asked of the judgement besides the days.
type Ask struct {
	Ended bool   // no day can come any more
	Spans []Span // changes of error over days that are not known one by one
	Draws int    // of the true rates; 0 is 4000
}

const usualDraws = 4000

// Judge returns what the days say of the programme. Days are told apart by
// their Number, in any order, and the Period of each follows from it. A day
// that is not given is still to come if it is after the last one given and the
// trial has not Ended, and else it is missing. Figures are computed from the
// daily rates as read; their doubts, which come from the doubts of the
// readings, from draws of the true rates with a fixed seed, so the same days
// give the same result.
func Judge(p programme.Programme, days []Day, ask Ask) Result {
	if err := p.Check(); err != nil {
		return Result{Programme: p, Verdict: Undecided, Words: "Undecided: the programme itself does not hold.", Missing: []string{err.Error()}}
	}
	rec := gather(p, days, ask)
	res := Result{Programme: p, Days: rec.days, Remarks: rec.remarks}
	plans := p.Plans(rec.temperatures())
	drawn := rec.sample(plans, ask.Draws)
	res.Figures = rec.figures(plans, drawn)
	res.Sums = rec.sums()
	res.Spells = rec.spells(drawn)
	res.Mean = estimateOf(drawn.mean)
	res.Law = rec.law(&res.Remarks)
	rec.decide(&res, drawn)
	return res
}

// record is every day of a programme, known or not.
type record struct {
	programme programme.Programme
	days      []Day
	spans     []Span
	remarks   []string
}

// gather puts the days in their places.
func gather(p programme.Programme, given []Day, ask Ask) *record {
	rec := &record{programme: p}
	last := 0
	seen := map[int]Day{}
	for _, d := range given {
		switch _, twice := seen[d.Number]; {
		case d.Number < 1 || d.Number > p.Days():
			rec.remark("Day %d is none of the %d days of the programme and is left out.", d.Number, p.Days())
			continue
		case twice:
			rec.remark("Day %d is given twice; the first is taken.", d.Number)
			continue
		}
		seen[d.Number] = d
		last = max(last, d.Number)
	}
	exact := 0
	for i, period := range p.PeriodOfDays() {
		d, ok := seen[i+1]
		if !ok {
			d = Day{Number: i + 1, Why: "no rate was given"}
			if i+1 > last {
				d.ToCome = true
			}
		}
		d.Period = period
		switch {
		case d.Known && !(math.Abs(d.RateSPerDay) <= most && d.doubt() <= most && d.SDS >= 0 && d.FirstSDS >= 0 && d.LastSDS >= 0):
			d.Known, d.ToCome, d.Why = false, false, "its rate or its doubt is no number that a timekeeper has"
		case d.Known:
			d.ToCome, d.Why = false, ""
			if d.doubt() == 0 {
				exact++
			}
		case d.ToCome && ask.Ended:
			d.ToCome, d.Why = false, "the trial ended before it"
		case d.ToCome:
			d.Why = stillToCome
		case d.Why == "":
			d.Why = "no rate was given"
		}
		rec.days = append(rec.days, d)
	}
	if exact > 0 {
		rec.remark("%s without a doubt of the reading and taken as exact, so the doubts shown are too small.", count(exact, "day is", "days are"))
	}
	rec.takeSpans(ask.Spans)
	return rec
}

// most is the greatest rate or doubt that is taken for one, s/d: a whole day.
const most = 86400

const stillToCome = "still to come"

// takeSpans keeps the spans that stand where no day is known.
func (rec *record) takeSpans(spans []Span) {
	spans = slices.Clone(spans)
	slices.SortStableFunc(spans, func(a, b Span) int { return a.First - b.First })
	after := 0
	for _, s := range spans {
		switch {
		case s.First < 1 || s.Last < s.First || s.Last > len(rec.days):
			rec.remark("The change of error over days %d to %d is outside the programme and is left out.", s.First, s.Last)
			continue
		case !(math.Abs(s.ChangeS) <= most*float64(s.Last-s.First+1) && s.FirstSDS >= 0 && s.FirstSDS <= most && s.LastSDS >= 0 && s.LastSDS <= most):
			rec.remark("The change of error over days %d to %d is no number that a timekeeper has and is left out.", s.First, s.Last)
			continue
		case s.First <= after, slices.ContainsFunc(rec.days[s.First-1:s.Last], func(d Day) bool { return d.Known }):
			rec.remark("The change of error over days %d to %d covers days that are known otherwise and is left out.", s.First, s.Last)
			continue
		}
		after = s.Last
		rec.spans = append(rec.spans, s)
	}
}

// temperatures returns the temperature read of every day, °C, NaN where none
// was.
func (rec *record) temperatures() []float64 {
	all := make([]float64, len(rec.days))
	for i, d := range rec.days {
		all[i] = math.NaN()
		if d.TempC != nil {
			all[i] = *d.TempC
		}
	}
	return all
}

func (rec *record) remark(format string, args ...any) {
	rec.remarks = append(rec.remarks, fmt.Sprintf(format, args...))
}

// rates returns the daily rates as read. A day of a span has the mean of the
// span, so that sums hold; other unknown days have 0.
func (rec *record) rates() []float64 {
	rates := make([]float64, len(rec.days))
	for i, d := range rec.days {
		if d.Known {
			rates[i] = d.RateSPerDay
		}
	}
	for _, s := range rec.spans {
		for i := s.First - 1; i < s.Last; i++ {
			rates[i] = s.ChangeS / float64(s.Last-s.First+1)
		}
	}
	return rates
}

// changes returns the changes of error that were read, in the order of the days.
func (rec *record) changes() []going.Change {
	var all []going.Change
	spans := rec.spans
	for i := 0; i < len(rec.days); i++ {
		if len(spans) > 0 && spans[0].First-1 == i {
			s := spans[0]
			spans = spans[1:]
			all = append(all, going.Change{First: i, Last: s.Last - 1, ChangeS: s.ChangeS, Days: float64(s.Last - i), FirstSDS: s.FirstSDS, LastSDS: s.LastSDS, Joins: true})
			i = s.Last - 1
			continue
		}
		d := rec.days[i]
		if !d.Known {
			continue
		}
		c := going.Change{First: i, Last: i, ChangeS: d.RateSPerDay * d.length(), Days: d.length()}
		if d.byReadings() {
			c.FirstSDS, c.LastSDS, c.Joins = d.FirstSDS, d.LastSDS, rec.joins(i)
		} else {
			c.RateSD = d.SDS
		}
		all = append(all, c)
	}
	return all
}

// joins reports whether a day begins with the reading that ends the one before.
func (rec *record) joins(i int) bool {
	return i == 0 || rec.days[i].From.IsZero() || rec.days[i-1].To.IsZero() || rec.days[i].From.Equal(rec.days[i-1].To)
}

// whole reports whether the sum of the rates of days from..to, from 0, is
// known: by each of them or by spans that begin and end within.
func (rec *record) whole(from, to int) bool {
	covered := make([]bool, to-from+1)
	for i := from; i <= to; i++ {
		covered[i-from] = rec.days[i].Known
	}
	for _, s := range rec.spans {
		if s.First-1 >= from && s.Last-1 <= to {
			for i := s.First - 1; i < s.Last; i++ {
				covered[i-from] = true
			}
		}
	}
	return !slices.Contains(covered, false)
}

// lacking returns the days of the plan that are wanting, from 0.
func (rec *record) lacking(pl programme.Plan) []int {
	var lack []int
	for _, i := range pl.Needs {
		if !rec.days[i].Known {
			lack = append(lack, i)
		}
	}
	for _, b := range pl.Sums {
		if !rec.whole(b[0], b[1]) {
			for i := b[0]; i <= b[1]; i++ {
				if !rec.days[i].Known {
					lack = append(lack, i)
				}
			}
		}
	}
	slices.Sort(lack)
	return slices.Compact(lack)
}

// why returns in words what the days wanting, from 0, are wanting for, and
// whether one of them cannot come any more.
func (rec *record) why(lack []int) (words string, lost bool) {
	var parts []string
	for i := 0; i < len(lack); {
		k := i
		for k+1 < len(lack) && lack[k+1] == lack[k]+1 && rec.days[lack[k+1]].Why == rec.days[lack[i]].Why {
			k++
		}
		d := rec.days[lack[i]]
		lost = lost || !d.ToCome
		switch first, last := lack[i]+1, lack[k]+1; {
		case d.ToCome && first == last:
			parts = append(parts, fmt.Sprintf("day %d is still to come", first))
		case d.ToCome:
			parts = append(parts, fmt.Sprintf("days %d to %d are still to come", first, last))
		case first == last:
			parts = append(parts, fmt.Sprintf("day %d is not known (%s)", first, d.Why))
		default:
			parts = append(parts, fmt.Sprintf("days %d to %d are not known (%s)", first, last, d.Why))
		}
		i = k + 1
	}
	return strings.Join(parts, ", "), lost
}

package course

import (
	"fmt"
	"math"
	"slices"
	"time"

	"timeball/internal/timescale"
)

// usable returns why a comparison cannot be used whenever it was made, empty
// if it can.
func usable(c Comparison) string {
	switch {
	case c.Aside != "":
		return "set aside: " + c.Aside
	case !finite(c.ErrorS) || !finite(c.SDS) || c.SDS < 0:
		return "its error or its doubt is no number"
	}
	return ""
}

// begin finds the first reading. What breaks error or rate before it breaks no
// trial, but the instrument has to settle anew.
func (f *following) begin() {
	settling := hours(f.p.SettlingH)
	f.Due = f.begun.Add(settling)
	var breaks []Intervention
	for _, v := range f.log.Interventions {
		if v.Breaks {
			breaks = append(breaks, v)
		}
	}
	for {
		f.first = slices.IndexFunc(f.log.Compared, func(c Comparison) bool { return !c.At.Before(f.Due) && usable(c) == "" })
		if len(breaks) == 0 || f.first >= 0 && f.log.Compared[f.first].At.Before(breaks[0].At) {
			break
		}
		f.Due = breaks[0].At.Add(settling)
		f.remark(breaks[0].At, 0, fmt.Sprintf("%s on %s, before the first reading", what(breaks[0]), stamp(breaks[0].At)),
			fmt.Sprintf("it settles anew until %s; the verdict stands", notBefore(f.Due)))
		breaks = breaks[1:]
	}
	f.planHours(f.Due)
	if f.first >= 0 {
		c := f.log.Compared[f.first]
		f.Start = &Reading{Ref: c.Ref, At: c.At, ErrorS: c.ErrorS, SDS: c.SDS}
		f.taken[0] = f.Start
		f.planHours(c.At)
	}
}

// assign gives each hour the comparison nearest to it, and of two equally near
// the one with the smaller standard deviation.
func (f *following) assign() {
	var early []Comparison
	outside := map[int][]Comparison{}
	var outsideDays []int
	distance := make([]time.Duration, len(f.taken)) // of the reading taken for each hour
	beside := func(ref string, at time.Time) {
		f.Unused = append(f.Unused, Unused{Ref: ref, At: at, Why: "another comparison is nearer to the hour"})
	}
	for i := range f.log.Compared {
		c := f.log.Compared[i]
		if i == f.first {
			continue
		}
		hour, off, ok := f.hourOf(c.At)
		switch why := usable(c); {
		case i < f.first || f.first < 0:
			if why == "" {
				early = append(early, c)
			} else {
				f.setAside(c, why)
			}
		case !ok: // after the last hour
		case why != "":
			f.setAside(c, why)
		case off > f.within:
			d := min(f.dayBetween(c.At), f.last())
			if len(outside[d]) == 0 {
				outsideDays = append(outsideDays, d)
			}
			outside[d] = append(outside[d], c)
			f.Unused = append(f.Unused, Unused{Ref: c.Ref, At: c.At, Why: lasting(off) + " from the hour"})
		case hour == 0:
			beside(c.Ref, c.At)
		case f.taken[hour] == nil || off < distance[hour] || off == distance[hour] && c.SDS < f.taken[hour].SDS:
			if old := f.taken[hour]; old != nil {
				beside(old.Ref, old.At)
			}
			f.taken[hour] = &Reading{Hour: hour, Ref: c.Ref, At: c.At, ErrorS: c.ErrorS, SDS: c.SDS}
			distance[hour] = off
		default:
			beside(c.Ref, c.At)
		}
	}
	for _, r := range f.taken {
		if r != nil {
			f.Readings = append(f.Readings, *r)
		}
	}
	if len(early) > 0 {
		for _, c := range early {
			f.Unused = append(f.Unused, Unused{Ref: c.Ref, At: c.At, Why: "it had not settled"})
		}
		f.remark(early[0].At, 0, fmt.Sprintf("compared on %s%s, before it had settled", stamp(early[0].At), again(len(early))),
			fmt.Sprintf("%s not used; the first reading may be taken from %s on", isAre(len(early)), notBefore(f.Due)))
	}
	for _, d := range outsideDays {
		cs := outside[d]
		_, off, _ := f.hourOf(cs[0].At)
		f.remark(cs[0].At, d, fmt.Sprintf("compared on %s%s, %s from the hour of the trial; the programme allows %s", stamp(cs[0].At), again(len(cs)), lasting(off), lasting(f.within)),
			isAre(len(cs))+" not used")
	}
}

// setAside remarks on a comparison that cannot be used; what the hour then
// lacks is said where the missed reading is.
func (f *following) setAside(c Comparison, why string) {
	f.Unused = append(f.Unused, Unused{Ref: c.Ref, At: c.At, Why: why})
	f.remark(c.At, f.dayBetween(c.At), fmt.Sprintf("the comparison of %s is not used: %s", stamp(c.At), why), "it is not used")
}

// hourOf returns the hour nearest to an instant and how far it is from it;
// false after the window of the last hour and before the first reading.
func (f *following) hourOf(at time.Time) (hour int, off time.Duration, ok bool) {
	if f.Start == nil || at.Before(f.Start.At) || at.After(f.Hours[f.last()].Add(f.within)) {
		return 0, 0, false
	}
	hour = min(int(math.Round(timescale.Days(f.Start.At, at))), f.last())
	return hour, timescale.Elapsed(f.Hours[hour], at).Abs(), true
}

// dayBetween returns the day in which an instant lies by the hours alone, 0
// before the first reading.
func (f *following) dayBetween(at time.Time) int {
	if f.Start == nil || at.Before(f.Start.At) {
		return 0
	}
	return min(1+int(timescale.Days(f.Start.At, at)), f.last())
}

// findBreak finds the first thing done between the first and the last reading
// that breaks error or rate.
func (f *following) findBreak() {
	if f.Start == nil {
		return
	}
	for _, v := range f.log.Interventions {
		if !v.Breaks || !v.At.After(f.Start.At) {
			continue
		}
		for d := 1; d <= f.last(); d++ {
			end := f.Hours[d].Add(f.within)
			if r := f.taken[d]; r != nil {
				end = r.At
			}
			if v.At.After(end) {
				continue
			}
			f.Broken = &Break{At: v.At, Day: d, What: what(v)}
			f.remark(v.At, d, fmt.Sprintf("%s on %s, in the course of the trial", what(v), stamp(v.At)),
				theDays(through(d, f.last()))+" not known; begin again")
			return
		}
		return
	}
}

// brokenBefore reports whether the trial was broken by an instant.
func (f *following) brokenBefore(at time.Time) bool {
	return f.Broken != nil && !f.Broken.At.After(at)
}

package jobs

import (
	"time"

	"timeball/internal/chronometer"
	"timeball/internal/web/wording"
)

// costOf returns what was estimated and agreed against what was spent. An
// amount is held against others of its currency alone.
func costOf(j chronometer.Job, now time.Time) Cost {
	spent := j.Cost()
	c := Cost{SpentHours: hours(j.Hours()), Spent: sums(spent)}
	if j.Estimated == nil {
		if len(spent) > 0 {
			c.Words = "Nothing was estimated, so nothing is agreed."
		}
		return c
	}
	e := j.Estimated.Fact.(chronometer.Estimated)
	c.Estimated, c.Hours, c.Work, c.Until = e.Cost.String(), hours(e.Hours), wording.Sentence(wording.Upper(e.Work)), "holds until it is taken back"
	if e.Days > 0 {
		until := j.Estimated.At.AddDate(0, 0, e.Days)
		c.Until = "holds until " + wording.Day(until, now)
		if j.Approved == nil && j.Open() && now.After(until) {
			c.Until = "held until " + wording.Day(until, now) + "; make it anew"
		}
	}
	most := e.Cost
	if j.Approved != nil {
		a := j.Approved.Fact.(chronometer.Approved)
		if !a.UpTo.IsZero() {
			most = a.UpTo
		}
		c.Agreed, c.Who = most.String(), "by "+a.Who+" on "+wording.Day(j.Approved.At, now)
	}
	c.Words, c.Alarm = against(spent, most, j.Approved != nil)
	return c
}

// against says how what was spent stands to the most that it may be, with a
// sentence of its own if it is more.
func against(spent []chronometer.Money, most chronometer.Money, agreed bool) (words, alarm string) {
	to := chronometer.Money{Currency: most.Currency}
	var apart []chronometer.Money
	for _, s := range spent {
		if s.Currency == most.Currency {
			to = s
			continue
		}
		apart = append(apart, s)
	}
	name := "estimated"
	if agreed {
		name = "agreed"
	}
	left := chronometer.Money{Minor: most.Minor - to.Minor, Currency: most.Currency}
	switch {
	case left.Minor < 0:
		left.Minor = -left.Minor
		alarm = "The cost is " + left.String() + " over the " + most.String() + " " + name + "."
		words = alarm + " Ask the owner before anything more is done."
	case len(spent) == 0:
		words = "Nothing is spent of the " + most.String() + " " + name + "."
	case left.Minor == 0:
		words = "All of the " + most.String() + " " + name + " is spent."
	default:
		words = left.String() + " are left of the " + most.String() + " " + name + "."
	}
	if !agreed {
		words += " The owner has not agreed to it yet."
	}
	if len(apart) > 0 {
		words += " " + sums(apart) + " is not held against it, in another currency."
	}
	return words, alarm
}

// sums returns amounts joined, none as an empty text.
func sums(all []chronometer.Money) string {
	var parts []string
	for _, m := range all {
		parts = append(parts, m.String())
	}
	return wording.Joined(parts)
}

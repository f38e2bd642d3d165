package course

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"

	"timeball/internal/trial/programme"
)

func date(t time.Time) string { return t.UTC().Format("2 January") }

// stamp returns an instant to the nearest minute.
func stamp(t time.Time) string { return t.UTC().Round(time.Minute).Format("2 January at 15:04 UTC") }

// notBefore returns an instant to the minute that is not before it.
func notBefore(t time.Time) string { return stamp(minuteUp(t)) }

func minuteUp(t time.Time) time.Time { return t.Add(time.Minute - 1).Truncate(time.Minute) }

// between returns a window in words, to minutes that lie inside it.
func between(from, to time.Time) string {
	from, to = minuteUp(from).UTC(), to.UTC()
	if from.YearDay() == to.YearDay() {
		return fmt.Sprintf("between %s and %s UTC", from.Format("15:04"), to.Format("15:04"))
	}
	return fmt.Sprintf("between %s and %s UTC", from.Format("15:04 on 2 January"), to.Format("15:04 on 2 January"))
}

// lasting returns a time in hours and minutes, or in seconds if it is short.
func lasting(d time.Duration) string {
	if d < 2*time.Minute {
		return fmt.Sprintf("%.0f s", d.Seconds())
	}
	minutes := int64(d.Round(time.Minute) / time.Minute)
	h, m := minutes/60, minutes%60
	switch {
	case h == 0:
		return fmt.Sprintf("%d min", m)
	case m == 0:
		return fmt.Sprintf("%d h", h)
	}
	return fmt.Sprintf("%d h %d min", h, m)
}

// celsius returns a temperature to a tenth of a degree, or shorter.
func celsius(c float64) string { return number(math.Round(c*10)/10) + " °C" }

func number(x float64) string {
	return strings.Replace(strconv.FormatFloat(x+0, 'f', -1, 64), "-", "−", 1)
}

func what(v Intervention) string {
	if v.What == "" {
		return "something was done to it"
	}
	return v.What
}

// again tells how many more than one there were.
func again(n int) string {
	switch n {
	case 1:
		return ""
	case 2:
		return " and once more"
	}
	return fmt.Sprintf(" and %d times more", n-1)
}

func isAre(n int) string {
	if n == 1 {
		return "it is"
	}
	return "they are"
}

func through(first, last int) []int {
	var days []int
	for d := first; d <= last; d++ {
		days = append(days, d)
	}
	return days
}

// dayNumbers returns "day 4", "days 4 and 5", "days 2, 4 and 6 to 9".
func dayNumbers(days []int) string {
	var parts []string
	for i := 0; i < len(days); {
		j := i
		for j+1 < len(days) && days[j+1] == days[j]+1 {
			j++
		}
		if j-i >= 2 {
			parts = append(parts, fmt.Sprintf("%d to %d", days[i], days[j]))
		} else {
			for _, d := range days[i : j+1] {
				parts = append(parts, strconv.Itoa(d))
			}
		}
		i = j + 1
	}
	if len(days) == 1 {
		return "day " + parts[0]
	}
	return "days " + list(parts)
}

// theDays returns "day 4 is" or "days 4 and 5 are".
func theDays(days []int) string {
	if len(days) == 1 {
		return dayNumbers(days) + " is"
	}
	return dayNumbers(days) + " are"
}

// list returns "a, b and c".
func list(parts []string) string {
	if n := len(parts); n > 1 {
		return strings.Join(parts[:n-1], ", ") + " and " + parts[n-1]
	}
	return strings.Join(parts, "")
}

// wanted returns the names of the criteria that take a day of any of the
// periods, which are counted from 0.
func wanted(p programme.Programme, periods ...int) []string {
	taken := map[string]bool{}
	var names []string
	for _, c := range p.Criteria {
		takes := false
		for _, i := range periods {
			if c.Of != programme.Combined && len(c.Periods) == 0 {
				takes = takes || !p.Periods[i].Apart
			}
			for _, j := range c.Periods {
				takes = takes || j == i+1
			}
			for _, j := range c.Less {
				takes = takes || j == i+1
			}
		}
		for _, t := range c.Terms {
			takes = takes || taken[t.Name]
		}
		if takes && !taken[c.Name] {
			taken[c.Name] = true
			names = append(names, c.Name)
		}
	}
	return names
}

// lost returns what it does to the trial that days are "not known" or "not
// counted".
func (f *following) lost(days []int, how string) string {
	periods := make([]int, len(days))
	for i, d := range days {
		periods[i] = f.periods[d-1]
	}
	effect := theDays(days) + " " + how
	names := wanted(f.p, periods...)
	switch {
	case len(names) == 0 && len(f.p.Criteria) == 0:
		return effect
	case len(names) == 0:
		return effect + "; no criterion asks for that, and the verdict stands"
	}
	return effect + "; wanted for " + list(names)
}

// asked describes what a period asks for: "dial up at 8 °C".
func asked(p programme.Period) string {
	var parts []string
	if p.Position != "" {
		parts = append(parts, p.Position)
	}
	if p.TempC != nil {
		parts = append(parts, "at "+celsius(*p.TempC))
	}
	return strings.Join(parts, " ")
}

package trials

import (
	"fmt"
	"math"
	"strings"
	"time"

	"timeball/internal/adjust"
	"timeball/internal/trial"
	"timeball/internal/trial/course"
	"timeball/internal/trial/programme"
	"timeball/internal/web/wording"
)

// Criterion is what one criterion came to.
type Criterion struct {
	Name, About string
	Value       *Told  // nil if it is not known
	Likely      string // the 95% interval, where ± about the value would not say it
	Limits      string
	Standing    string // kept, not kept, still to come, …
	Tone        string
	Sure        string // how sure that is
	Why         string // what is missing
}

func newCriterion(f trial.Figure, r trial.Result) Criterion {
	c := Criterion{Name: f.Criterion.Name, About: f.Criterion.About, Limits: Limits(f.Criterion)}
	if !f.Known {
		c.Standing, c.Tone, c.Why = "still to come", toneOpen, wording.Upper(strings.TrimSuffix(strings.TrimSuffix(f.Why, " is still to come"), " are still to come"))
		for _, words := range r.Missing {
			if strings.HasPrefix(words, c.Name+" cannot be known") {
				c.Standing, c.Tone, c.Why = "not known", toneWarn, wording.Upper(f.Why)
			}
		}
		return c
	}
	half := (f.Hi95 - f.Lo95) / 2
	told := tell(f.Criterion, f.Value, half)
	if c.Likely = likely(f); c.Likely != "" {
		told.PlusMinus = ""
	}
	c.Value = &told
	switch {
	case !f.Limited:
		c.Standing, c.Tone = "no limit", toneOpen
	case f.Class != "":
		c.Standing = "class “" + f.Class + "”"
		c.Sure = inHundred(f.PClass) + " that the true one is of that class"
	case f.Kept:
		c.Standing, c.Sure = "kept", inHundred(f.PKept)+" that the true one keeps it"
	default:
		c.Standing, c.Tone, c.Sure = "not kept", toneAlarm, inHundred(1-f.PKept)+" that the true one does not keep it"
	}
	if f.Close {
		c.Standing += ", within its doubt of the limit"
		if f.Kept {
			c.Tone = toneWarn
		}
	}
	return c
}

// figures returns the great figures at the head of a trial.
func figures(t adjust.Trial) []Figure {
	today := t.Course.Today
	day := Figure{Label: "Day", Words: fmt.Sprintf("%d of %d", today.Day, t.Programme.Days())}
	if today.Day == 0 {
		day.Words = string(today.State)
	} else if p, ok := periodOf(t, today.Period); ok && today.State != course.Finished {
		day.Below = p
	}
	all := []Figure{day}
	known, counted, met := 0, 0, 0
	for _, d := range t.Result.Days {
		if d.Known {
			known++
			if !t.Programme.Periods[d.Period].Apart {
				counted++
			}
		}
	}
	if counted > 0 {
		m := t.Result.Mean
		told := rate(m.Mean, (m.Hi95-m.Lo95)/2)
		all = append(all, Figure{Label: "Mean daily rate", Words: told.Words, After: told.PlusMinus, Below: "of " + wording.Counted(counted, "day", "days") + "; ± of their readings alone"})
	} else {
		all = append(all, Figure{Label: "Mean daily rate", Words: "to come", Below: "no day is known yet"})
	}
	for _, f := range t.Result.Figures {
		if f.Known {
			met++
		}
	}
	criteria := Figure{Label: "Criteria known", Words: fmt.Sprintf("%d of %d", met, len(t.Result.Figures)), Below: fmt.Sprintf("%d of %d days are known", known, len(t.Result.Days))}
	all = append(all, criteria)
	if law := t.Result.Law; law != nil && law.TurningC != nil {
		all = append(all, Figure{Label: turns(*law) + " at", Words: fmt.Sprintf("%.1f °C", law.TurningC.Mean), After: fmt.Sprintf("±%.1f", half(*law.TurningC))})
	} else {
		f := Figure{Label: "Temperature", Words: temperatures(t.Result.Days)}
		if f.Words != notRead {
			f.Below = "means of the days read"
		}
		all = append(all, f)
	}
	return all
}

const notRead = "not read"

func half(e trial.Estimate) float64 { return (e.Hi95 - e.Lo95) / 2 }

// temperatures returns between which temperatures the days lay.
func temperatures(days []trial.Day) string {
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, d := range days {
		if d.TempC != nil {
			lo, hi = min(lo, *d.TempC), max(hi, *d.TempC)
		}
	}
	switch {
	case lo > hi:
		return notRead
	case hi-lo < 1:
		return degrees((lo + hi) / 2)
	}
	return fmt.Sprintf("%.0f to %.0f °C", lo, hi)
}

// turns says what the rate does where the law turns.
func turns(law trial.Law) string {
	if law.Quadratic.Mean > 0 {
		return "It loses most"
	}
	return "It gains most"
}

// periodOf returns a period in words: "cold, dial up at 8 °C".
func periodOf(t adjust.Trial, n int) (string, bool) {
	if n < 0 || n >= len(t.Programme.Periods) {
		return "", false
	}
	p := t.Programme.Periods[n]
	return strings.TrimPrefix(p.Name+wording.After(", ", asks(p)), ", "), true
}

// asks returns how a period has it lie: "dial up at 8 °C".
func asks(p programme.Period) string {
	words := p.Position
	if p.TempC != nil {
		words += " at " + asked(*p.TempC)
	} else {
		words += ", as the room is"
	}
	return strings.TrimPrefix(strings.TrimSpace(words), ", ")
}

// Period is the days at one temperature in one position.
type Period struct {
	Number  int
	Name    string
	Asks    string
	Known   string // "4 of 5"
	Temp    string
	Mean    *Told
	Scatter string
	Now     bool
	Apart   bool
	Days    []Day
}

// Day is one day, or several that are not known for one reason.
type Day struct {
	Number   string // "3", or "13 to 18"
	From     string
	Rate     *Told // nil if it is not known
	Temp     string
	Position string
	Why      string
}

// periods returns the periods of a trial with their days; days next to each
// other that are not known for one reason are one row.
func periods(t adjust.Trial, now time.Time) []Period {
	all := make([]Period, len(t.Programme.Periods))
	known := make([]int, len(all))
	for i, q := range t.Programme.Periods {
		all[i] = Period{Number: i + 1, Name: q.Name, Asks: asks(q), Apart: q.Apart}
		if all[i].Name == "" {
			all[i].Name = fmt.Sprintf("period %d", i+1)
		}
	}
	today := t.Course.Today
	if running := today.State == course.Going || today.State == course.Coming; running && today.Period < len(all) {
		all[today.Period].Now = true
	}
	why := make([]string, len(all)) // of the last row of each period
	first := make([]int, len(all))
	for _, d := range t.Result.Days {
		p := &all[d.Period]
		if d.Known {
			known[d.Period]++
			told := rate(d.RateSPerDay, 1.96*d.SDS)
			row := Day{Number: fmt.Sprint(d.Number), Rate: &told, Position: d.Position}
			if !d.From.IsZero() {
				row.From = wording.Instant(d.From, now)
			}
			if d.TempC != nil {
				row.Temp = degrees(*d.TempC)
			}
			p.Days = append(p.Days, row)
			why[d.Period] = ""
			continue
		}
		if n := len(p.Days); n > 0 && why[d.Period] == d.Why {
			p.Days[n-1].Number = fmt.Sprintf("%d to %d", first[d.Period], d.Number)
			continue
		}
		row := Day{Number: fmt.Sprint(d.Number), Why: wording.Upper(d.Why)}
		if d.Number <= len(t.Course.Hours) && t.Course.Start != nil {
			row.From = wording.ShortDay(t.Course.Hours[d.Number-1], now)
		}
		p.Days = append(p.Days, row)
		why[d.Period], first[d.Period] = d.Why, d.Number
	}
	for _, s := range t.Result.Spells {
		if s.Period >= len(all) {
			continue
		}
		p := &all[s.Period]
		if s.TempC != nil {
			p.Temp = degrees(*s.TempC)
		}
		if s.Days > 0 {
			told := rate(s.Mean, 1.96*s.SDS)
			p.Mean = &told
		}
		if s.Scatter > 0 {
			p.Scatter = fmt.Sprintf("%.2f s", s.Scatter)
		}
	}
	for i, q := range t.Programme.Periods {
		all[i].Known = fmt.Sprintf("%d of %d", known[i], q.Days)
	}
	return all
}

// Sum is the change of error over some days in a row.
type Sum struct {
	Days string // "1 to 7"
	Sum  *Told  // nil if it is not known
	Step string // the change from the sum before
	Temp string
}

// sums fills in the sums if a criterion of the programme asks for them.
func (s *Sheet) sums(t adjust.Trial) {
	for _, c := range t.Programme.Criteria {
		if c.Of == programme.RangeOfSums || c.Of == programme.GreatestStep {
			s.SumName = fmt.Sprintf("Sums of %d days", c.SumDays)
			if c.SumDays == 7 {
				s.SumName = "Weekly sums"
			}
			break
		}
	}
	if s.SumName == "" {
		return
	}
	for n, sum := range t.Result.Sums {
		row := Sum{Days: fmt.Sprintf("%d to %d", sum.First, sum.Last)}
		if sum.TempC != nil {
			row.Temp = degrees(*sum.TempC)
		}
		if sum.Known {
			d := decimals(1.96*sum.SDS, "s")
			size := fmt.Sprintf("%.*f s", d, math.Abs(sum.SumS))
			words := "gained " + size
			switch {
			case strings.Trim(size, "0. s") == "":
				words = "kept time to " + size
			case sum.SumS < 0:
				words = "lost " + size
			}
			row.Sum = &Told{Words: words, PlusMinus: plusMinus(1.96*sum.SDS, d)}
			if n > 0 && t.Result.Sums[n-1].Known {
				row.Step = fmt.Sprintf("%.*f s", d, math.Abs(sum.SumS-t.Result.Sums[n-1].SumS))
			}
		}
		s.Sums = append(s.Sums, row)
	}
}

// lawWords returns how the rate goes with temperature, in sentences.
func lawWords(law *trial.Law) []string {
	if law == nil {
		return nil
	}
	slope := tell(programme.Criterion{Of: programme.PerDegree, Unit: programme.PerDegree.Unit()}, law.Linear.Mean, half(law.Linear))
	at := rate(law.Rate.Mean, half(law.Rate))
	all := []string{fmt.Sprintf("Over %.0f to %.0f °C. At %.0f °C: %s; there, for each degree warmer: %s %s a day more.", law.FromC, law.ToC, law.AboutC, at, slope.Words, slope.PlusMinus)}
	if law.Curved {
		q := law.Quadratic
		ten := rate(100*q.Mean, 100*half(q))
		all = append(all, fmt.Sprintf("Ten degrees to either side the curve adds: %s more.", ten))
	} else {
		all = append(all, "Two temperatures alone cannot tell whether it curves.")
	}
	switch {
	case law.TurningC != nil && law.TurningRate != nil:
		turning := rate(law.TurningRate.Mean, half(*law.TurningRate))
		all = append(all, fmt.Sprintf("%s at %.1f °C ±%.1f: %s.", turns(*law), law.TurningC.Mean, half(*law.TurningC), turning))
	case law.Curved:
		all = append(all, "Where the curve turns the readings do not tell: its bend is within its doubt.")
	}
	return all
}

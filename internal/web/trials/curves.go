package trials

import (
	"fmt"
	"html/template"
	"math"
	"slices"
	"time"

	"timeball/internal/adjust"
	"timeball/internal/chart"
	"timeball/internal/trial"
	"timeball/internal/trial/programme"
	"timeball/internal/web/drawing"
	"timeball/internal/web/wording"
)

// leastForCurve is how many days it takes before a drawing says more than its
// table.
const leastForCurve = 2

// curves returns the drawings of a trial: the daily rates over time, and over
// temperature if there is a law.
func curves(t adjust.Trial, now time.Time) []drawing.Curve {
	known := 0
	for _, d := range t.Result.Days {
		if d.Known {
			known++
		}
	}
	if known < leastForCurve {
		return nil
	}
	all := []drawing.Curve{overTime(t, now)}
	if t.Result.Law != nil {
		all = append(all, overTemperature(t))
	}
	return all
}

type figure interface {
	Figure(chart.Size) chart.Figure
}

// drawn returns a drawing in its two sizes; the chart has escaped its words.
func drawn(c chart.Caption, about string, f figure) drawing.Curve {
	wide, narrow := f.Figure(chart.Wide()), f.Figure(chart.Narrow())
	return drawing.Curve{ID: c.ID, Title: c.Title, About: about, Wide: template.HTML(wide.SVG()), Narrow: template.HTML(narrow.SVG()), Table: wide.Table()}
}

func overTime(t adjust.Trial, now time.Time) drawing.Curve {
	c := chart.RateCurve{Whole: true, Caption: chart.Caption{ID: "daily", Title: "Daily rate over the trial", Result: "Daily rates of the trial; the mean is " + meanWords(t.Result) + "."}}
	if !t.Over() {
		c.Today = now
	}
	for _, d := range t.Result.Days {
		if !d.Known || d.From.IsZero() {
			continue
		}
		half := 1.96 * d.SDS
		c.Measured = append(c.Measured, chart.Comparison{
			At: d.From.Add(d.To.Sub(d.From) / 2), Value: d.RateSPerDay, PlusMinus: half,
			Words: fmt.Sprintf("day %d · %s · %s", d.Number, wording.ShortDay(d.From, now), rate(d.RateSPerDay, half)),
		})
	}
	c.Runs = means(t)
	day, last := 0, t.Course.Today.Day
	for n, p := range t.Programme.Periods {
		if day >= last || day >= len(t.Course.Hours) {
			break
		}
		if n == 0 || changes(t.Programme.Periods[n-1], p) {
			c.Interventions = append(c.Interventions, chart.Intervention{At: t.Course.Hours[day], Words: asks(shownOf(t.Programme, p))})
		}
		day += p.Days
	}
	out := drawn(c.Caption, "The dots are the days, each from its two readings; the lines are the means of the periods with their 95% intervals, the dotted rules the changes that the programme asks.", c)
	for _, row := range out.Table.Rows {
		for n, cell := range row.Cells {
			switch cell {
			case "Estimate at the end of the run":
				row.Cells[n] = "Mean of the period that ends here"
			case "Mean since the comparison before":
				row.Cells[n] = "Day"
			}
		}
	}
	return out
}

// means returns the mean of every period as a level line over its days.
func means(t adjust.Trial) [][]chart.Estimate {
	var all [][]chart.Estimate
	for _, s := range t.Result.Spells {
		if s.Days < 2 {
			continue
		}
		var from, to time.Time
		for _, d := range t.Result.Days {
			if d.Period != s.Period || !d.Known || d.From.IsZero() {
				continue
			}
			if from.IsZero() {
				from = d.From
			}
			to = d.To
		}
		if from.IsZero() {
			continue
		}
		e := chart.Estimate{At: from, Value: s.Mean, Lo: s.Mean - 1.96*s.SDS, Hi: s.Mean + 1.96*s.SDS}
		end := e
		end.At = to
		all = append(all, []chart.Estimate{e, end})
	}
	return all
}

// shownOf returns a period without what all of the programme have in common.
func shownOf(whole programme.Programme, p programme.Period) programme.Period {
	for _, other := range whole.Periods {
		if other.Position != p.Position {
			return p
		}
	}
	p.Position = ""
	return p
}

// changes reports whether it is moved from one period to the next.
func changes(a, b programme.Period) bool {
	warmer := (a.TempC == nil) != (b.TempC == nil) || a.TempC != nil && *a.TempC != *b.TempC
	return warmer || a.Position != b.Position
}

func meanWords(r trial.Result) string { return rate(r.Mean.Mean, half(r.Mean)).String() }

// lawSteps is how finely the law is drawn.
const lawSteps = 48

func overTemperature(t adjust.Trial) drawing.Curve {
	law := t.Result.Law
	words := lawWords(law)
	c := chart.TemperatureCurve{Caption: chart.Caption{ID: "warmth", Title: "Rate against temperature", Result: words[len(words)-1]}}
	for _, s := range t.Result.Spells {
		if s.Days == 0 || s.TempC == nil || t.Programme.Periods[s.Period].TempC == nil || t.Programme.Periods[s.Period].Apart {
			continue
		}
		c.Measured = append(c.Measured, tempered(*s.TempC, s.Mean, 1.96*s.SDS, t.Programme.Periods[s.Period].Name))
	}
	about := "The mean of each period with its 95% interval"
	if len(c.Measured) == 0 {
		about = "Each day with the doubt of its readings"
		for _, d := range t.Result.Days {
			if d.Known && d.TempC != nil {
				c.Measured = append(c.Measured, tempered(*d.TempC, d.RateSPerDay, 1.96*d.SDS, fmt.Sprintf("day %d", d.Number)))
			}
		}
	}
	slices.SortStableFunc(c.Measured, func(a, b chart.Tempered) int {
		switch {
		case a.C < b.C:
			return -1
		case a.C > b.C:
			return 1
		}
		return 0
	})
	for n := range lawSteps + 1 {
		at := law.FromC + (law.ToC-law.FromC)*float64(n)/lawSteps
		v := law.At(at)
		if math.IsNaN(v) {
			continue
		}
		c.Law = append(c.Law, chart.Tempered{C: at, Value: v, Lo: v, Hi: v})
	}
	if law.TurningC != nil && law.TurningRate != nil {
		turning := tempered(law.TurningC.Mean, law.TurningRate.Mean, half(*law.TurningRate), "")
		turning.Words = fmt.Sprintf("turns at %.1f °C ±%.1f", law.TurningC.Mean, half(*law.TurningC))
		c.Turning = &turning
	}
	return drawn(c.Caption, about+", and the curve of least squares through them; how sure it is stands below.", c)
}

func tempered(c, v, half float64, name string) chart.Tempered {
	return chart.Tempered{C: c, Value: v, Lo: v - half, Hi: v + half, Words: fmt.Sprintf("%s · %s · %s", name, degrees(c), rate(v, half))}
}

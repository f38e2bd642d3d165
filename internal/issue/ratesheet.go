package issue

import (
	"fmt"
	"time"

	"timeball/internal/adjust"
	"timeball/internal/chart"
	"timeball/internal/paper"
	"timeball/internal/paper/leaf"
)

// sheetDays is how far back a rate sheet goes where there is no trial.
const sheetDays = 92

// rateSheet returns every daily rate of the last trial, or else of the last run.
func (s subject) rateSheet(ask Ask) (*leaf.Document, error) {
	g, err := groundOf(s.seen.Logbook, s.seen.Now, s.seen.Now)
	if err != nil {
		return nil, err
	}
	what := "rate sheet of no. " + s.seen.Instrument.Number
	if g.seen.Rating == nil {
		return nil, wanting(what, []string{g.seen.Why})
	}
	size := sizeOf(s.size(ask.Paper))
	sheet := paper.RateSheet{
		Size: size, Made: s.seen.Now.UTC(), Letterhead: s.letterhead(), Instrument: s.instrument(), Standard: g.standard(), Digest: g.digest,
	}
	var measured []chart.Comparison
	if g.trial != nil && g.trial.Course.Start != nil {
		sheet.About = g.trial.Programme.Name
		sheet.Days = trialDays(*g.trial)
		sheet.Sums = weeklySums(*g.trial)
	} else {
		sheet.Days = g.runDays()
	}
	for _, d := range sheet.Days {
		if d.Rate != nil {
			measured = append(measured, chart.Comparison{At: d.From.Add(d.To.Sub(d.From) / 2), Value: d.Rate.Mean, PlusMinus: d.Rate.Half})
		}
	}
	if len(measured) == 0 {
		return nil, wanting(what, []string{"there are no two comparisons about a day apart yet; compare it daily"})
	}
	curve := chart.RateCurve{Whole: true, Caption: chart.Caption{ID: "rate", Title: "Daily rate", Result: quantity(g.seen.Rating.Rate).RateWords()}, Measured: measured}
	sheet.Figure = curve.Figure(paper.RateFigureSize(size))
	return sheet.Document()
}

// trialDays returns the days of a trial for paper, as far as it has come.
func trialDays(t adjust.Trial) []paper.DailyRate {
	errors := map[time.Time]paper.Quantity{}
	for _, r := range t.Course.Readings {
		errors[r.At] = paper.Quantity{Mean: r.ErrorS, Half: 1.96 * r.SDS}
	}
	var days []paper.DailyRate
	for i, d := range t.Result.Days {
		if d.ToCome {
			break
		}
		row := paper.DailyRate{From: d.From, To: d.To, TempC: d.TempC, Position: d.Position, Remark: d.Why}
		if row.From.IsZero() && len(t.Course.Hours) > i+1 {
			row.From, row.To = t.Course.Hours[i], t.Course.Hours[i+1]
		}
		if e, ok := errors[d.To]; ok && !d.To.IsZero() {
			row.Error = &e
		}
		if d.Known {
			row.Rate = &paper.Quantity{Mean: d.RateSPerDay, Half: 1.96 * d.SDS}
		}
		if t.Programme.Periods[d.Period].Apart && row.Remark == "" {
			row.Remark = "to come to temperature; not counted"
		}
		days = append(days, row)
	}
	return days
}

func weeklySums(t adjust.Trial) []paper.WeeklySum {
	var sums []paper.WeeklySum
	for i, s := range t.Result.Sums {
		row := paper.WeeklySum{Last: s.Last - 1, Words: fmt.Sprintf("Sum %d, %d days", i+1, s.Last-s.First+1), TempC: s.TempC}
		if s.Last-s.First+1 == 7 {
			row.Words = fmt.Sprintf("Week %d", i+1)
		}
		if s.Known {
			row.Sum = &paper.Quantity{Mean: s.SumS, Half: 1.96 * s.SDS}
		}
		sums = append(sums, row)
	}
	return sums
}

// aboutADay is how far apart, in hours, two readings may be that give the rate
// of a day.
const (
	shortestDayH = 12
	longestDayH  = 36
)

// runDays returns the daily rates of the last run; movements of the hands by a
// known amount are taken off.
func (g ground) runDays() []paper.DailyRate {
	r := g.seen.Rating
	from := r.Runs[len(r.Runs)-1].From
	if cut := r.Epoch.AddDate(0, 0, -sheetDays); cut.After(from) {
		from = cut
	}
	var days []paper.DailyRate
	for i := 1; i < len(r.Residuals); i++ {
		a, b := r.Residuals[i-1], r.Residuals[i]
		if a.At.Before(from) {
			continue
		}
		hours := b.At.Sub(a.At).Hours()
		row := paper.DailyRate{From: a.At, To: b.At, Position: g.positionAt(b.At), TempC: g.temperatureAt(b.At), Error: &paper.Quantity{Mean: b.ErrorS, Half: 1.96 * b.ReadSDS}}
		switch rate, half, ok := g.between(a, b); {
		case !ok:
			continue
		case hours < shortestDayH:
			row.Remark = fmt.Sprintf("%.0f h only", hours)
		case hours > longestDayH:
			row.Rate, row.Remark = &paper.Quantity{Mean: rate, Half: half}, fmt.Sprintf("mean over %.0f days", hours/24)
		default:
			row.Rate = &paper.Quantity{Mean: rate, Half: half}
		}
		days = append(days, row)
	}
	return days
}

package cli

import (
	"fmt"
	"io"
	"math"
	"slices"
	"strings"
	"text/tabwriter"
	"time"

	"timeball/internal/chart"
	"timeball/internal/clock"
	"timeball/internal/rating"
	"timeball/internal/timescale"
	"timeball/internal/workshop"
)

const (
	reportWidth = 78
	minute      = "2 Jan 2006 15:04"
	date        = "2 Jan 2006"
)

// ruled prints a report of headed parts with rules between them.
type ruled struct{ strings.Builder }

func (r *ruled) rule(mark string) { r.WriteString(strings.Repeat(mark, reportWidth) + "\n") }

func (r *ruled) head(text string) {
	r.WriteString("\n" + text + "\n")
	r.rule("─")
}

// rows prints aligned columns.
func (r *ruled) rows(rows [][]string) {
	t := tabwriter.NewWriter(&r.Builder, 0, 4, 3, ' ', 0)
	for _, row := range rows {
		fmt.Fprintln(t, strings.Join(row, "\t"))
	}
	_ = t.Flush() // a Builder takes everything
}

func errorWords(i rating.Interval) string {
	e := clock.DialError(i.Mean)
	return e.Words(i.Half()) + " " + e.HalfWidth(i.Half())
}

func rateWords(i rating.Interval) string {
	r := clock.Rate(i.Mean)
	return r.Words(i.Half()) + " " + r.HalfWidth(i.Half())
}

// report prints a rating for a person.
func report(w io.Writer, name string, r rating.Rating, now time.Time) error {
	var p ruled
	p.rule("═")
	fmt.Fprintf(&p, "%s: %s, %d used\n", name, counted(r.Comparisons, "comparison"), r.Used)
	p.rule("═")
	var place []string
	if r.Tempered {
		place = append(place, fmt.Sprintf("at %.0f °C", rating.ReferenceC))
	}
	if r.Position != "" {
		place = append(place, r.Position)
	}
	lines := [][]string{
		{"Error", errorWords(r.Error), "on " + r.Epoch.Format(minute) + " UTC"},
		{"Daily rate", rateWords(r.Rate) + " a day", strings.Join(place, ", ")},
	}
	if math.Abs(r.RateNow.Mean-r.Rate.Mean) > 0.005 {
		lines = append(lines, []string{"", rateWords(r.RateNow) + " a day", "as it has been kept of late"})
	}
	lines = append(lines, []string{"Steadiness", fmt.Sprintf("%.2f s a day", r.Steadiness.Mean), fmt.Sprintf("its change from week to week, usually; %.2f to %.2f (95%%)", r.Steadiness.Lo95, r.Steadiness.Hi95)})
	p.rows(lines)
	for _, s := range r.Warnings {
		fmt.Fprintf(&p, "\n%s\n", wrap(s))
	}
	for _, m := range r.Unrecorded {
		way := "forward"
		if m.MovedS < 0 {
			way = "back" // it lost a minute: stopped, or two slips
		}
		fmt.Fprintf(&p, "\n%s\n", wrap(fmt.Sprintf("Not written down: between %s and %s the dial jumps %s by %.0f min. Write a row \"hands moved\" if it was so.",
			m.After.Format(minute), m.Before.Format(minute), way, math.Abs(m.MovedS)/60)))
	}
	p.runs(r)
	p.conditions(r)
	p.aside(r)
	if len(forecasts(r)) == 0 {
		p.WriteString("\nNo forecast: compare it first.\n")
	} else {
		p.forecast(r)
	}
	p.plot(r, now)
	p.WriteString("\n± is a 95% interval. fast: the dial is ahead of UTC. gaining: it goes too fast.\n")
	_, err := io.WriteString(w, p.String())
	return err
}

func (p *ruled) forecast(r rating.Rating) {
	p.head("Forecast of the error, in UTC")
	var ahead [][]string
	for _, f := range forecasts(r) {
		ahead = append(ahead, []string{f.At.Format(minute), fmt.Sprintf("%.4g d", timescale.Days(r.Epoch, f.At)), errorWords(f.Error)})
	}
	p.rows(ahead)
}

// forecasts returns the usual horizons and what was asked for.
func forecasts(r rating.Rating) []rating.Forecast {
	all := append(append([]rating.Forecast(nil), r.Forecast...), r.Asked...)
	return slices.DeleteFunc(all, func(f rating.Forecast) bool { return !f.Known() })
}

func (p *ruled) runs(r rating.Rating) {
	p.head("Runs: mean rate from the first to the last comparison used")
	var rows [][]string
	for _, run := range r.Runs {
		rate := "one comparison, no rate"
		if run.Known {
			rate = rateWords(run.Rate) + " a day"
		}
		rows = append(rows, []string{run.From.Format(date) + " to " + run.To.Format(date), counted(run.Comparisons, "comparison"), rate})
	}
	p.rows(rows)
}

// conditions prints what temperature, position and carriage do to the rate.
func (p *ruled) conditions(r rating.Rating) {
	if r.Temperature == nil && len(r.Positions) == 0 && len(r.Changes) == 0 {
		return
	}
	p.head("What changes its rate")
	var rows [][]string
	if t := r.Temperature; t != nil {
		if t.LinearKnown {
			rows = append(rows, []string{"each °C above 20", signedRate(t.Linear, 4)})
		}
		if t.QuadraticKnown {
			rows = append(rows, []string{"each °C² away from 20", signedRate(t.Quadratic, 5)})
		}
		if x := t.Extreme; x != nil {
			way := "gains most"
			if t.Quadratic.Mean > 0 {
				way = "loses most"
			}
			rows = append(rows, []string{way + " at", fmt.Sprintf("%.1f °C ±%.1f", x.Mean, x.Half())})
		}
		rows = append(rows, []string{"forecast at", fmt.Sprintf("%.1f °C ±%.1f, as of late", t.ForecastC, 1.96*t.ForecastSD)})
	}
	for _, pos := range r.Positions {
		rows = append(rows, []string{pos.Position + " against " + r.Position, rateWords(pos.Rate) + " a day more"})
	}
	for _, c := range r.Changes {
		verdict := "no change proved"
		if c.P < 0.05 {
			verdict = "changed"
		}
		rows = append(rows, []string{"carried " + c.At.Format(date), fmt.Sprintf("%s: by %s a day, p %.2g", verdict, rateWords(c.Rate), c.P)})
	}
	p.rows(rows)
}

// counted returns "1 comparison", "2 comparisons".
func counted(n int, what string) string {
	if n != 1 {
		what += "s"
	}
	return fmt.Sprintf("%d %s", n, what)
}

// signedRate prints a small coefficient in words to the digits given.
func signedRate(i rating.Interval, digits int) string {
	way := "gaining"
	if i.Mean < 0 {
		way = "losing"
	}
	return fmt.Sprintf("%s %.*f ±%.*f s a day", way, digits, math.Abs(i.Mean), digits, i.Half())
}

func (p *ruled) aside(r rating.Rating) {
	if len(r.SetAside) == 0 {
		return
	}
	p.head("Set aside: kept in the record, not used")
	var rows [][]string
	for _, s := range r.SetAside {
		rows = append(rows, []string{"line " + s.Ref, s.At.Format(minute), clock.DialError(s.ErrorS).Words(0.2), s.Reason})
	}
	p.rows(rows)
}

// plot draws the error; the rule of today stands only where today is.
func (p *ruled) plot(r rating.Rating, now time.Time) {
	p.head("Error against UTC, and its forecast")
	c := errorCurve(r)
	if now.After(r.Epoch) && now.Before(r.Epoch.AddDate(0, 0, 60)) {
		c.Today = now
	}
	p.WriteString(chart.TextCurve(c, chart.Terminal{Columns: reportWidth, Rows: 14}))
}

// errorCurve returns the drawing of a rating.
func errorCurve(r rating.Rating) chart.ErrorCurve {
	var c chart.ErrorCurve
	run := -1
	for _, pt := range r.Curve {
		if pt.Run != run {
			c.Runs, run = append(c.Runs, nil), pt.Run
		}
		last := &c.Runs[len(c.Runs)-1]
		*last = append(*last, chart.Estimate{At: pt.At, Value: pt.Error.Mean, Lo: pt.Error.Lo95, Hi: pt.Error.Hi95})
	}
	c.Forecast = append(c.Forecast, chart.Estimate{At: r.Epoch, Value: r.Error.Mean, Lo: r.Error.Lo95, Hi: r.Error.Hi95})
	for _, f := range r.Forecast {
		c.Forecast = append(c.Forecast, chart.Estimate{At: f.At, Value: f.Error.Mean, Lo: f.Error.Lo95, Hi: f.Error.Hi95})
	}
	for _, res := range r.Residuals {
		c.Comparisons = append(c.Comparisons, chart.Comparison{At: res.At, Value: res.ErrorS})
	}
	return c
}

func reportFix(w io.Writer, reading clock.DialReading, f workshop.Fix) error {
	half := max(f.Hi95.Sub(f.UTC), f.UTC.Sub(f.Lo95)).Seconds()
	doubt := clock.DialError(0).HalfWidth(half)
	if !strings.HasSuffix(doubt, "s") {
		doubt += " s"
	}
	_, err := fmt.Fprintf(w, "The dial reads %s and is %s.\nUTC is %s %s (95%%), on the comparisons up to %s.\n",
		reading, errorWords(f.Error), f.UTC.Format("2006-01-02 15:04:05.00"), doubt, f.From.Format(date))
	return err
}

// wrap breaks a sentence at the width of the report.
func wrap(s string) string {
	var b strings.Builder
	n := 0
	for i, word := range strings.Fields(s) {
		if i > 0 {
			if n+1+len([]rune(word)) > reportWidth {
				b.WriteByte('\n')
				n = 0
			} else {
				b.WriteByte(' ')
				n++
			}
		}
		b.WriteString(word)
		n += len([]rune(word))
	}
	return b.String()
}

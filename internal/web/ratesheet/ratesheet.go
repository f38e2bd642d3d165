// Package ratesheet is what the rating of an instrument says, in words: its
// figures, the forecast, what is set aside, the runs, and how its rate depends
// on warmth, position and carriage; and the same of a rate book before it is
// brought in.
package ratesheet

import (
	"fmt"
	"slices"
	"strconv"
	"time"

	"timeball/internal/chronometer"
	"timeball/internal/clock"
	"timeball/internal/rating"
	"timeball/internal/setting"
	"timeball/internal/timescale"
	"timeball/internal/web/logbook"
	"timeball/internal/web/wording"
	"timeball/internal/workshop"
)

// Labelled is a figure or a particular under its label.
type Labelled struct{ Label, Words, After, Below string }

// Forecast is the error on one day to come.
type Forecast struct {
	When  string
	Day   string
	Year  int
	Error *wording.Figure
}

// Aside is a comparison that is kept in the record but not used.
type Aside struct {
	Entry  string
	Href   string
	When   string
	Read   *wording.Figure
	Reason string
	Uphold chronometer.ID // under which upholding it is written, once
}

// Run is the mean rate over one run.
type Run struct {
	From, To    string
	Comparisons int
	Rate        *wording.Figure // nil if a single comparison gives none
}

// Sheet is what is known of the going of one instrument.
type Sheet struct {
	Why               string // why there are no figures
	Figures           []Labelled
	Forecast          []Forecast
	SetAside          []Aside
	Runs, EarlierRuns []Run
	Laws              []string
	Changes           []string
}

// New returns the sheet of an instrument whose page, at an address, shows the
// logbook book.
func New(seen workshop.Seen, book logbook.Book, address string) Sheet {
	var p Sheet
	p.Figures, p.Why = figures(seen)
	if seen.Rating != nil {
		p.rate(seen, book, address)
	}
	return p
}

// figures returns the big figures of an instrument that goes, or why there
// are none.
func figures(seen workshop.Seen) ([]Labelled, string) {
	shown := wording.Now(seen)
	if seen.Rating == nil || shown.Error == nil {
		return nil, wording.Upper(shown.Why)
	}
	r := seen.Rating
	daily := Labelled{Label: "Daily rate, of late", Words: shown.Rate.Words, After: shown.Rate.PlusMinus}
	if r.Temperature != nil || len(r.Positions) > 0 {
		daily.Below = "at 20 °C" + wording.After(", ", r.Position) + ": " + wording.Rate(r.Rate).String()
	}
	all := []Labelled{
		{Label: "Error now", Words: shown.Error.Words, After: shown.Error.PlusMinus},
		daily,
		{Label: "Steadiness, week to week", Words: fmt.Sprintf("%.2f s", r.Steadiness.Mean), After: fmt.Sprintf("a day, %.2f to %.2f", r.Steadiness.Lo95, r.Steadiness.Hi95)},
	}
	if move, ok := handMove(seen); ok {
		return append(all, Labelled{Label: "Next move of the minute hand", Words: move, After: "forward 1 min"}), ""
	}
	then := wording.Error(seen.In30Days)
	return append(all, Labelled{Label: "In 30 days, on " + wording.Day(timescale.AddDays(seen.Now, 30), seen.Now), Words: then.Words, After: then.PlusMinus}), ""
}

// handMove returns when the minute hand is moved on, in words; ok is false if
// that does not come within half a year.
func handMove(seen workshop.Seen) (words string, ok bool) {
	h := seen.Hand
	switch {
	case seen.Advice == setting.Due, seen.Advice == setting.TooFar, seen.Advice == setting.Move && !h.To.After(seen.Now):
		return "due now", true
	case h.From.IsZero() || h.From.Sub(seen.Now) > 181*clock.Day || seen.Advice != setting.Move && seen.Advice != setting.NotWithin:
		return "", false
	case h.To.IsZero():
		return wording.Day(h.From, seen.Now) + " or later", true
	case wording.SameDay(h.From, h.To):
		return wording.Day(h.From, seen.Now), true
	case h.From.Month() == h.To.Month():
		return strconv.Itoa(h.From.Day()) + " to " + wording.Day(h.To, seen.Now), true
	}
	return h.From.Format("2 Jan") + " to " + h.To.Format("2 Jan"), true
}

// forecastDays are the days ahead that the table names.
var forecastDays = []int{1, 7, 14, 30, 60, 90}

// latestRuns is how many runs a page shows before the others are folded away.
const latestRuns = 6

// rate fills in what the rating says beyond the figures.
func (p *Sheet) rate(seen workshop.Seen, book logbook.Book, address string) {
	r := seen.Rating
	for _, d := range forecastDays {
		at := timescale.AddDays(seen.Now, float64(d))
		if e, ok := r.Track.At(at); ok && seen.Current {
			p.Forecast = append(p.Forecast, Forecast{When: daysAhead(d), Day: at.UTC().Format("Mon 2 Jan"), Year: at.UTC().Year(), Error: wording.Error(e)})
		}
	}
	for _, a := range slices.Backward(r.SetAside) {
		p.SetAside = append(p.SetAside, Aside{
			Entry: a.Ref, Href: book.Href(a.Ref, address), When: wording.Instant(a.At, seen.Now),
			Read: wording.Error(rating.Interval{Mean: a.ErrorS, SD: a.ReadSDS, Lo95: a.ErrorS - 1.96*a.ReadSDS, Hi95: a.ErrorS + 1.96*a.ReadSDS}), Reason: a.Reason,
		})
	}
	for _, run := range slices.Backward(r.Runs) {
		row := Run{From: wording.ShortDay(run.From, seen.Now), To: wording.ShortDay(run.To, seen.Now), Comparisons: run.Comparisons}
		if run.Known {
			row.Rate = wording.Rate(run.Rate)
		}
		p.Runs = append(p.Runs, row)
	}
	if len(p.Runs) > latestRuns {
		p.Runs, p.EarlierRuns = p.Runs[:latestRuns], p.Runs[latestRuns:]
	}
	p.Laws = laws(r)
	for _, c := range r.Changes {
		p.Changes = append(p.Changes, changeWords(c, seen.Now))
	}
}

func daysAhead(d int) string {
	if d == 1 {
		return "1 day"
	}
	return strconv.Itoa(d) + " days"
}

// laws returns how the rate depends on temperature and position, in words.
func laws(r *rating.Rating) []string {
	var all []string
	if t := r.Temperature; t == nil || !t.LinearKnown && !t.QuadraticKnown {
		all = append(all, "The comparisons do not tell yet how its rate depends on temperature; compare it warm and cold, with the thermometer read.")
	} else {
		if t.LinearKnown {
			all = append(all, "For each degree warmer: "+wording.Rate(t.Linear).String()+" a day.")
		}
		if t.QuadraticKnown {
			// The coefficient itself is too small for the decimals of a rate.
			ten := rating.Interval{Mean: 100 * t.Quadratic.Mean, SD: 100 * t.Quadratic.SD, Lo95: 100 * t.Quadratic.Lo95, Hi95: 100 * t.Quadratic.Hi95}
			all = append(all, "Ten degrees from 20 °C, on either side alike: "+wording.Rate(ten).String()+" a day more.")
		}
		if x := t.Extreme; x != nil {
			way := "gains"
			if t.Quadratic.Mean > 0 {
				way = "loses"
			}
			all = append(all, fmt.Sprintf("It %s most at %.1f °C ±%.1f.", way, x.Mean, x.Half()))
		}
		all = append(all, fmt.Sprintf("The forecast takes %s ±%.1f, as of late.", wording.Degrees(t.ForecastC), 1.96*t.ForecastSD))
	}
	for _, position := range r.Positions {
		all = append(all, wording.Upper(position.Position)+" against "+r.Position+": "+wording.Rate(position.Rate).String()+" a day.")
	}
	return all
}

// changeWords returns what the test of a change of rate says.
func changeWords(c rating.Change, now time.Time) string {
	found := "no change of rate is shown"
	switch {
	case c.P < 0.01:
		found = "the rate changed"
	case c.P < 0.05:
		found = "the rate probably changed"
	}
	return fmt.Sprintf("%s on %s: %s (%s a day; %s).", wording.Upper(string(c.Kind)), wording.Day(c.At, now), found, wording.Rate(c.Rate), wording.ByChance(c.P))
}

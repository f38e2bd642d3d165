package drawing

import (
	"fmt"
	"slices"
	"time"

	"timeball/internal/chart"
	"timeball/internal/chronometer"
	"timeball/internal/stability"
	"timeball/internal/timescale"
	"timeball/internal/web/wording"
)

// hourTolerance is how far from the usual hour of the comparison, in days, a
// reading may be and still stand for its day.
const hourTolerance = 0.25

// steadiness returns the steadiness of the rate against averaging time, from
// the daily comparisons of the longest run; ok is false if they are too few.
func (d record) steadiness() (Curve, bool) {
	r := d.seen.Rating
	days, errors := d.longestRun()
	rest, ok := stability.WithoutRate(days, errors)
	if !ok {
		return Curve{}, false
	}
	origin, ok := stability.Origin(days, 1, hourTolerance)
	if !ok {
		return Curve{}, false
	}
	grid, ok := stability.Resample(days, rest, origin, 1, hourTolerance)
	if !ok {
		return Curve{}, false
	}
	model := stability.Model{SigmaW: r.Noise.SigmaW, SigmaR: r.Noise.SigmaR, SigmaX: r.Noise.Kappa * r.Noise.SDS}
	c := chart.StabilityCurve{Caption: chart.Caption{ID: "steadiness", Title: "Steadiness of the rate"}}
	for _, p := range stability.Curve(grid.X, 1, model, nil) {
		words := fmt.Sprintf("over %.0f days: %.3f s a day, 95%% interval %.3f to %.3f", p.Tau, p.Deviation, p.Lo95, p.Hi95)
		c.Measured = append(c.Measured, chart.Deviation{Days: p.Tau, Value: p.Deviation, Lo: p.Lo95, Hi: p.Hi95, Words: words})
		c.Model = append(c.Model, chart.Deviation{Days: p.Tau, Value: p.Model})
		c.Result = wording.Sentence("Allan deviation of the rate, " + words)
	}
	if len(c.Measured) < 2 {
		return Curve{}, false
	}
	about := "How much the mean rate differs from one stretch to the next, by the length of the stretch: the Allan deviation over the longest run, with its 95% interval. The line is what the fitted noise alone predicts."
	if r.Temperature != nil {
		about += " Warmth and cold, which the line leaves out, lift the points."
	}
	return newCurve(c.Caption, about, c), true
}

// longestRun returns the used comparisons, days from the first and error in
// seconds, of the longest stretch in which nothing changed the error by an
// unknown amount or the rate; known moves of the hands are taken out.
func (d record) longestRun() (days, errors []float64) {
	var breaks []time.Time
	var moves []chronometer.Entry
	for _, e := range d.seen.Logbook.Standing() {
		switch f := e.Fact.(type) {
		case chronometer.Moved:
			moves = append(moves, e)
		case chronometer.WorkDone:
			if f.Service {
				breaks = append(breaks, e.At)
			}
		case chronometer.Set, chronometer.Started, chronometer.Stopped, chronometer.Held, chronometer.Regulated, chronometer.Received, chronometer.Carried:
			breaks = append(breaks, e.At)
		}
	}
	var best, begun int
	x := d.seen.Rating.Residuals
	from, to := 0, 0
	for i := range x {
		if i > 0 && slices.ContainsFunc(breaks, func(b time.Time) bool { return b.After(x[i-1].At) && !b.After(x[i].At) }) {
			begun = i
		}
		if i+1-begun > best {
			best, from, to = i+1-begun, begun, i+1
		}
	}
	for _, r := range x[from:to] {
		moved := 0.0
		for _, m := range moves {
			if !m.At.After(r.At) {
				moved += m.Fact.(chronometer.Moved).ByS
			}
		}
		days, errors = append(days, timescale.Days(x[from].At, r.At)), append(errors, r.ErrorS-moved)
	}
	return days, errors
}

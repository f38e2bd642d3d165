// Package drawing is what is known of an instrument as drawings: error, daily
// rate, steadiness and residuals, and the error staff of the room.
package drawing

import (
	"html/template"
	"slices"
	"time"

	"timeball/internal/chart"
	"timeball/internal/chronometer"
	"timeball/internal/clock"
	"timeball/internal/rating"
	"timeball/internal/timescale"
	"timeball/internal/web/logbook"
	"timeball/internal/web/wording"
	"timeball/internal/workshop"
)

// Curve is a drawing in its two sizes, of which the style sheet shows one, and
// its facts as a table.
type Curve struct {
	ID, Title, About string
	Wide, Narrow     template.HTML
	Table            chart.Table
	Earlier          int // facts that the table leaves out
}

// mostFacts is how many of the newest facts a table below a drawing holds; the
// logbook has the others.
const mostFacts = 150

type drawable interface {
	Figure(chart.Size) chart.Figure
}

func newCurve(c chart.Caption, about string, d drawable) Curve {
	wide := d.Figure(chart.Wide())
	table, earlier := wide.Table(), 0
	if n := len(table.Rows); n > mostFacts {
		earlier = n - mostFacts
		table.Rows = table.Rows[earlier:]
	}
	return Curve{ID: c.ID, Title: c.Title, About: about, Wide: svg(wide), Narrow: svg(d.Figure(chart.Narrow())), Table: table, Earlier: earlier}
}

// leastForCurves is how many comparisons it takes before a curve of the rate
// shows more than its own doubt.
const leastForCurves = 6

// Curves returns the error curve, the daily rate and the residuals; nothing
// if there is no rating.
func Curves(seen workshop.Seen, book logbook.Book, at string) []Curve {
	r := seen.Rating
	if r == nil {
		return nil
	}
	d := record{seen: seen, book: book, at: at}
	d.events = d.interventions()
	all := []Curve{d.errorCurve()}
	if len(r.Curve) > 1 && r.Used >= leastForCurves {
		all = append(all, d.rateCurve())
	}
	if c, ok := d.steadiness(); ok {
		all = append(all, c)
	}
	if len(r.Residuals) >= leastForCurves {
		all = append(all, d.residuals())
	}
	return all
}

// record is one instrument being drawn.
type record struct {
	seen   workshop.Seen
	book   logbook.Book
	at     string
	events []chart.Intervention
}

func (d record) today() time.Time { return d.seen.Now }

func (d record) errorCurve() Curve {
	r := d.seen.Rating
	c := chart.ErrorCurve{
		Caption: chart.Caption{ID: "error", Title: "Dial against UTC", Result: d.result()},
		Runs:    d.runs(func(p rating.CurvePoint) rating.Interval { return p.Error }), Interventions: d.events, Today: d.today(),
	}
	for _, x := range r.Residuals {
		c.Comparisons = append(c.Comparisons, d.compared(x))
	}
	for _, a := range r.SetAside {
		c.Comparisons = append(c.Comparisons, chart.Comparison{
			At: a.At, Value: a.ErrorS, PlusMinus: 1.96 * a.ReadSDS, Entry: a.Ref, Href: d.book.Href(a.Ref, d.at), SetAside: "set aside: " + a.Reason,
			Words: wording.Instant(a.At, d.seen.Now) + " · " + clock.DialError(a.ErrorS).String() + " · set aside: " + a.Reason,
		})
	}
	if d.seen.Current {
		for days := range d.horizon() + 1 {
			at := timescale.AddDays(d.today(), float64(days))
			if e, ok := r.Track.At(at); ok {
				c.Forecast = append(c.Forecast, estimate(at, e))
			}
		}
	}
	about := wording.Upper(wording.Counted(r.Comparisons, "comparison", "comparisons"))
	if first := d.first(); !first.IsZero() {
		about += " since " + wording.Day(first, d.seen.Now)
	}
	about += "; " + wording.Count(len(r.SetAside)) + " set aside. The line is the estimate, the shading its 95% interval."
	return newCurve(c.Caption, about, c)
}

// horizon returns how far ahead the drawing looks: not as far as it looks
// back, so that the record keeps its room, and from 14 to 90 days.
func (d record) horizon() int {
	const least, most = 14, 90
	return int(min(max(least, 0.7*timescale.Days(d.first(), d.today())), most))
}

func (d record) first() time.Time {
	var first time.Time
	for _, x := range d.seen.Rating.Residuals {
		if first.IsZero() || x.At.Before(first) {
			first = x.At
		}
	}
	return first
}

// result is the sentence that stands for the error curve.
func (d record) result() string {
	shown := wording.Now(d.seen)
	number := "No. " + d.seen.Instrument.Number
	if shown.Error == nil {
		return wording.Sentence(number + ": " + shown.Why)
	}
	return wording.Sentence(number + " is " + shown.Error.String() + ", " + shown.Rate.String() + " a day; in 30 days " + wording.Error(d.seen.In30Days).String())
}

func (d record) compared(x rating.Residual) chart.Comparison {
	half := 1.96 * x.ReadSDS
	return chart.Comparison{
		At: x.At, Value: x.ErrorS, PlusMinus: half, Entry: x.Ref, Href: d.book.Href(x.Ref, d.at),
		Words: wording.Instant(x.At, d.seen.Now) + " · " + clock.DialError(x.ErrorS).Words(half) + " " + clock.DialError(0).HalfWidth(half) +
			" · against the others " + clock.DialError(x.ResidualS).Words(half),
	}
}

func (d record) rateCurve() Curve {
	result := "There is no rate now."
	if rate := wording.Now(d.seen).Rate; rate != nil {
		result = wording.Sentence("No. " + d.seen.Instrument.Number + " is " + rate.String() + " a day")
	}
	c := chart.RateCurve{
		Caption: chart.Caption{ID: "rate", Title: "Daily rate", Result: result},
		Runs:    d.runs(func(p rating.CurvePoint) rating.Interval { return p.Rate }), Measured: d.measured(), Interventions: d.events, Today: d.today(),
	}
	return newCurve(c.Caption, "The line is the estimate, temperature and position as they were, the shading its 95% interval; the dots are the mean rates from one comparison to the next.", c)
}

// measured returns the mean rates between neighbouring comparisons between
// which nothing was done; less than six hours apart says nothing of a rate.
func (d record) measured() []chart.Comparison {
	const least = 6 * time.Hour
	var all []chart.Comparison
	x := d.seen.Rating.Residuals
	for i := 1; i < len(x); i++ {
		a, b := x[i-1], x[i]
		elapsed := timescale.Elapsed(a.At, b.At)
		broken := slices.ContainsFunc(d.events, func(e chart.Intervention) bool { return e.At.After(a.At) && !e.At.After(b.At) })
		rate, ok := clock.MeanRate(clock.DialError(a.ErrorS), clock.DialError(b.ErrorS), elapsed)
		if !ok || elapsed < least || broken {
			continue
		}
		all = append(all, chart.Comparison{
			At: a.At.Add(b.At.Sub(a.At) / 2), Value: float64(rate), Entry: b.Ref, Href: d.book.Href(b.Ref, d.at),
			Words: wording.Instant(a.At, d.seen.Now) + " to " + wording.Instant(b.At, d.seen.Now) + " · " + rate.String(),
		})
	}
	return all
}

func (d record) residuals() Curve {
	r := d.seen.Rating
	c := chart.Residuals{
		Caption:       chart.Caption{ID: "residuals", Title: "What the estimate leaves over", Result: "Each comparison against what the others say of that instant."},
		Interventions: d.events, Today: d.today(),
	}
	var sds []float64
	for _, x := range r.Residuals {
		mark := d.compared(x)
		mark.Value = x.ResidualS
		c.Comparisons = append(c.Comparisons, mark)
		sds = append(sds, x.SDS)
	}
	slices.Sort(sds)
	c.TwoSD = 2 * sds[len(sds)/2]
	return newCurve(c.Caption, "Each comparison against what the others say of that instant; nineteen in twenty should lie between the two outer rules.", c)
}

// runs returns the estimate run by run.
func (d record) runs(of func(rating.CurvePoint) rating.Interval) [][]chart.Estimate {
	var all [][]chart.Estimate
	last := -1
	for _, p := range d.seen.Rating.Curve {
		if len(all) == 0 || p.Run != last {
			all, last = append(all, nil), p.Run
		}
		all[len(all)-1] = append(all[len(all)-1], estimate(p.At, of(p)))
	}
	return all
}

func estimate(at time.Time, i rating.Interval) chart.Estimate {
	return chart.Estimate{At: at, Value: i.Mean, Lo: i.Lo95, Hi: i.Hi95}
}

// interventions returns what was done that may show in error or rate.
func (d record) interventions() []chart.Intervention {
	var all []chart.Intervention
	for _, e := range d.seen.Logbook.Standing() {
		words, steps := string(e.Kind()), false
		switch f := e.Fact.(type) {
		case chronometer.Moved:
			words, steps = "hands moved "+f.Words(), true
		case chronometer.Set, chronometer.Started, chronometer.Stopped:
			steps = true
		case chronometer.WorkDone:
			if !f.Service {
				continue
			}
			words = "serviced"
		case chronometer.Regulated, chronometer.Sent, chronometer.Received, chronometer.Carried:
		default:
			continue
		}
		all = append(all, chart.Intervention{At: e.At, Words: words, Entry: string(e.ID), Href: d.book.Href(string(e.ID), d.at), Steps: steps})
	}
	return all
}

// svg returns a finished drawing for a page; the chart has escaped its words.
func svg(f interface{ SVG() string }) template.HTML { return template.HTML(f.SVG()) }

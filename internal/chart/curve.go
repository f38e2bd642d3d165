package chart

import (
	"cmp"
	"slices"
	"time"

	"timeball/internal/chart/pen"
)

// ErrorCurve is the error of an instrument over time: one line a run with its
// band, a circle for each comparison, crosses for those set aside, rules for
// interventions, and the forecast dashed beyond today.
type ErrorCurve struct {
	Caption
	Runs          [][]Estimate // s; never joined to each other
	Comparisons   []Comparison // s
	Interventions []Intervention
	Forecast      []Estimate // s
	Today         time.Time
	From, To      time.Time // what to cut to; zero for all there is
	Against       string    // what the dial is held against, written at nought; empty: UTC
}

// Figure returns the drawing at a size. A comparison set aside so far out that
// it would flatten the curve is pinned to the edge with an arrow.
func (c ErrorCurve) Figure(s Size) Figure {
	p := c.plot(s)
	var r record
	r.compared(c.Comparisons, "Compared", sayError, 2)
	r.interventions(c.Interventions)
	r.forecast(c.Forecast, sayError, 1)
	p.figure.table = r.table("Error")
	return p.figure
}

func (c ErrorCurve) plot(s Size) *plot {
	say := sayError
	say.zero = cmp.Or(c.Against, say.zero)
	return overTime{c.Caption, c.Runs, c.Comparisons, c.Interventions, c.Forecast, c.Today, window{c.From, c.To}}.
		draw(s, axis{least: 1, say: say, emptyMessage: "no comparisons yet"}, pen.Mark{Fill: pen.Paper, Edge: pen.Sea}, false)
}

// RateCurve is the daily rate over time with its band, and faint dots for the
// mean rates measured between one comparison and the next.
type RateCurve struct {
	Caption
	Runs          [][]Estimate // s/d
	Measured      []Comparison // s/d, At the middle between the two comparisons
	Interventions []Intervention
	Forecast      []Estimate // s/d
	Today         time.Time
	From, To      time.Time
	Whole         bool // every measured rate stands within the frame
}

// Figure returns the drawing at a size. A measured rate so far out that it
// would flatten the curve is an arrow at the edge, unless Whole.
func (c RateCurve) Figure(s Size) Figure {
	var whole []float64
	if c.Whole {
		for _, m := range c.Measured {
			if usable(m.Value) {
				whole = append(whole, m.Value)
			}
		}
	}
	p := overTime{c.Caption, c.Runs, c.Measured, c.Interventions, c.Forecast, c.Today, window{c.From, c.To}}.
		draw(s, axis{least: 0.02, say: sayRate, core: whole, emptyMessage: "no rate yet: two comparisons are needed"}, pen.Mark{Fill: pen.RuleStrong}, true)
	var r record
	for _, run := range c.Runs {
		if n := len(run); n > 0 {
			e := run[n-1]
			r.add(e.At, "", "Estimate at the end of the run", sayRate.value(e.Value, 2), plusMinus((e.Hi-e.Lo)/2, 2), "")
		}
	}
	r.compared(c.Measured, "Mean since the comparison before", sayRate, 2)
	r.interventions(c.Interventions)
	r.forecast(c.Forecast, sayRate, 2)
	p.figure.table = r.table("Rate, s per day")
	return p.figure
}

// Residuals is how far each comparison lies from the estimate, observed minus
// estimated, in seconds or in its own standard deviations.
type Residuals struct {
	Caption
	Comparisons   []Comparison
	InSD          bool    // the values are in standard deviations, not in s
	TwoSD         float64 // s, where two standard deviations lie; not needed with InSD
	Interventions []Intervention
	Today         time.Time
	From, To      time.Time
}

// Figure returns the drawing at a size, with rules at zero and at two standard
// deviations on either side.
func (c Residuals) Figure(s Size) Figure {
	say, bound, least := tongue{"slow", "as estimated", "fast", "s", true}, c.TwoSD, 0.01
	if c.InSD {
		say.unit, say.time, bound, least = "sd", false, 2, 5
	}
	a := axis{least: least, say: say, emptyMessage: "no comparisons yet"}
	if usable(bound) && bound > 0 {
		a.core = []float64{-bound, bound}
	}
	p := overTime{c.Caption, nil, c.Comparisons, c.Interventions, nil, c.Today, window{c.From, c.To}}.draw(s, a, pen.Mark{Fill: pen.Paper, Edge: pen.Sea}, false)
	if len(a.core) > 0 && len(c.Comparisons) > 0 {
		for _, v := range a.core {
			p.figure.ground.Line([]pen.Point{pen.XY(p.x.a, p.y.at(v)), pen.XY(p.x.b, p.y.at(v))}, pen.Stroke{Ink: pen.RuleStrong, Width: 1.6})
			if c.InSD {
				continue // the axis says it
			}
			p.words(pen.XY(p.x.b-p.figure.Size.px(2), p.y.at(v)-p.figure.Size.px(7)), "2 sd", pen.Lettering{Ink: pen.Ink3, Anchor: pen.End, Halo: true})
		}
	}
	var r record
	r.compared(c.Comparisons, "Compared", say, 2)
	r.interventions(c.Interventions)
	p.figure.table = r.table("Residual")
	return p.figure
}

// overTime is what the figures over time have in common.
type overTime struct {
	caption       Caption
	runs          [][]Estimate
	comparisons   []Comparison
	interventions []Intervention
	forecast      []Estimate
	today         time.Time
	within        window
}

// draw returns the plot of o on a. With stray, the runs alone rule the height and comparisons may lie beyond the frame.
func (o overTime) draw(s Size, a axis, dot pen.Mark, stray bool) *plot {
	forecast := estimates(o.forecast, o.within)
	var paths [][]Estimate
	for _, run := range o.runs {
		paths = append(paths, stepped(estimates(run, o.within), o.interventions)...)
	}
	used, aside := comparisons(o.comparisons, o.within)
	a.events, a.today, a.within = o.interventions, o.today, o.within
	for _, path := range append(slices.Clone(paths), forecast) {
		for _, e := range path {
			a.core, a.bands, a.times = append(a.core, e.Value), append(a.bands, e.Lo, e.Hi), append(a.times, e.At)
		}
	}
	for _, c := range used {
		if stray {
			a.stray = append(a.stray, c.Value)
		} else {
			a.core = append(a.core, c.Value)
		}
		a.times = append(a.times, c.At)
	}
	for _, c := range aside {
		a.stray, a.times = append(a.stray, c.Value), append(a.times, c.At)
	}
	p := newPlot(o.caption, s, a)
	s = p.figure.Size
	p.bands(append(slices.Clone(paths), forecast))
	p.lines(paths, pen.Stroke{Ink: pen.Sea, Width: 2})
	if len(forecast) > 0 {
		p.lines([][]Estimate{forecast}, pen.Stroke{Ink: pen.Sea, Width: 2, Dash: pen.Dashed})
	}
	dot.Radius = s.px(cmp.Or(dot.Radius, 2.6))
	if !s.cells || len(used) <= int(p.x.b-p.x.a)/3 {
		p.circles(used, dot)
	}
	p.asides(aside)
	return p
}

// stepped returns a run cut at the interventions where the error steps.
func stepped(run []Estimate, interventions []Intervention) [][]Estimate {
	var steps []time.Time
	for _, i := range interventions {
		if i.Steps {
			steps = append(steps, i.At)
		}
	}
	slices.SortFunc(steps, time.Time.Compare)
	var out [][]Estimate
	for _, at := range steps {
		n, _ := slices.BinarySearchFunc(run, at, func(e Estimate, t time.Time) int { return e.At.Compare(t) })
		if n > 0 {
			out = append(out, run[:n])
		}
		run = run[n:]
	}
	if len(run) > 0 {
		out = append(out, run)
	}
	return out
}

// Terminal is the room for a drawing in letters; ASCII asks for no others.
type Terminal struct {
	Columns, Rows int
	ASCII         bool
}

// TextCurve returns the error curve and its forecast in letters: at most
// Columns letters a line and Rows lines, each ended by a newline. Columns are
// held to 40..200 and rows to 6..60. Comparisons are left out if they would
// hide the line.
func TextCurve(c ErrorCurve, t Terminal) string {
	t.Columns, t.Rows = max(40, min(200, t.Columns)), max(6, min(60, t.Rows))
	plot := c.plot(Size{Width: float64(t.Columns), Height: float64(t.Rows), Type: 1, cells: true})
	letters := pen.NewLetters(t.Columns, t.Rows, t.ASCII)
	plot.figure.Draw(letters)
	return letters.String()
}

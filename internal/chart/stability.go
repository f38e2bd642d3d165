package chart

import (
	"cmp"
	"math"
	"slices"
	"strconv"

	"timeball/internal/chart/pen"
)

// Deviation is an Allan deviation of the rate in s/d over an averaging time in
// days, with the 95% interval from Lo to Hi.
type Deviation struct {
	Days          float64
	Value, Lo, Hi float64
	Words         string
}

// StabilityCurve is the steadiness of the rate against averaging time, both on
// logarithmic axes: measured points with their bars, and the model as a line.
type StabilityCurve struct {
	Caption
	Measured []Deviation
	Model    []Deviation
}

// Figure returns the drawing at a size. Only positive values can be drawn.
func (c StabilityCurve) Figure(s Size) Figure {
	measured, model := positive(c.Measured), positive(c.Model)
	p := &plot{figure: Figure{Caption: c.Caption, Size: s.sized(Wide())}}
	s = p.figure.Size
	var xs, ys, bars []float64
	for _, d := range append(slices.Clone(measured), model...) {
		xs, ys = append(xs, math.Log10(d.Days)), append(ys, math.Log10(d.Value))
		for _, v := range []float64{d.Lo, d.Hi} {
			if v > 0 {
				bars = append(bars, math.Log10(v))
			}
		}
	}
	p.x.lo, p.x.hi = fit(xs, nil, 0, 0.3)
	p.x.lo, p.x.hi = padded(p.x.lo, p.x.hi, 0.05)
	p.y.lo, p.y.hi = fit(ys, bars, 1, 0.6)
	p.y.lo, p.y.hi = padded(p.y.lo, p.y.hi, 0.06)

	xTicks := logTicks(math.Pow(10, p.x.lo), math.Pow(10, p.x.hi), max(2, min(7, int(s.Width/s.px(62)))))
	yTicks := logTicks(math.Pow(10, p.y.lo), math.Pow(10, p.y.hi), max(3, int(s.Height/s.px(40))))
	left := 0.0
	for _, v := range yTicks {
		left = max(left, s.advance(plain(v)+" s/d"))
	}
	p.x.a, p.x.b = min(left, s.Width/2)+s.px(12), s.Width-s.px(20)
	p.y.a, p.y.b = s.Height-s.px(48), s.px(24)
	p.words(pen.XY(s.px(2), s.px(8)), "Allan deviation of the rate", pen.Lettering{Ink: pen.Ink2})
	if len(xs) == 0 {
		p.words(pen.XY((p.x.a+p.x.b)/2, (p.y.a+p.y.b)/2), s.elide("too few comparisons yet", p.x.b-p.x.a), pen.Lettering{Ink: pen.Ink2, Anchor: pen.Middle})
	} else {
		p.logGrid(xTicks, yTicks)
	}
	p.words(pen.XY(p.x.b, s.Height-s.px(9)), "averaged over", pen.Lettering{Ink: pen.Ink2, Anchor: pen.End})

	var through []pen.Point
	for _, d := range model {
		through = append(through, p.logPoint(d.Days, d.Value))
	}
	p.figure.ground.Line(picked(through, thinned(through, 2)), pen.Stroke{Ink: pen.Sea, Width: 2})
	var at []pen.Point
	for _, d := range measured {
		at = append(at, p.logPoint(d.Days, d.Value))
	}
	for _, i := range thinnedTo(at, 120, p.x.b-p.x.a) {
		d, r := measured[i], s.px(3)
		var bar pen.List
		if d.Hi > d.Lo {
			lo, hi := p.y.a, max(p.y.b, p.logPoint(1, d.Hi).Y)
			if d.Lo > 0 {
				lo = min(p.y.a, p.logPoint(1, d.Lo).Y)
			}
			bar.Line([]pen.Point{pen.XY(at[i].X, lo), pen.XY(at[i].X, hi)}, pen.Stroke{Ink: pen.Sea, Width: 1.2})
			for _, y := range []float64{lo, hi} {
				if y > p.y.b && y < p.y.a {
					bar.Line([]pen.Point{pen.XY(at[i].X-r, y), pen.XY(at[i].X+r, y)}, pen.Stroke{Ink: pen.Sea, Width: 1.2})
				}
			}
		}
		bar.Mark(at[i], pen.Mark{Radius: r, Fill: pen.Paper, Edge: pen.Sea})
		p.entry(pen.Label{Kind: "entry", Words: d.Words}, at[i], s.px(9), &bar)
	}
	p.figure.table.Columns = []string{"Averaged over, days", "Allan deviation, s/d", "95% interval, s/d", "Note"}
	for _, d := range measured {
		p.figure.table.Rows = append(p.figure.table.Rows, Row{"", []string{three(d.Days), three(d.Value), three(d.Lo) + " to " + three(d.Hi), d.Words}})
	}
	return p.figure
}

func (p *plot) logPoint(days, dev float64) pen.Point {
	return pen.XY(p.x.at(math.Log10(days)), p.y.at(math.Log10(dev)))
}

func (p *plot) logGrid(xTicks, yTicks []float64) {
	s := p.figure.Size
	for _, v := range yTicks {
		y := p.logPoint(1, v).Y
		p.figure.ground.Line([]pen.Point{pen.XY(p.x.a, y), pen.XY(p.x.b, y)}, pen.Stroke{Ink: pen.Rule, Width: 1})
		p.words(pen.XY(p.x.a-s.gap(), y), plain(v)+" s/d", pen.Lettering{Ink: pen.Ink2, Anchor: pen.End})
	}
	end := math.Inf(-1)
	for _, v := range xTicks {
		x, words := p.logPoint(v, 1).X, plain(v)+" days"
		if v == 1 {
			words = "1 day"
		}
		p.figure.ground.Line([]pen.Point{pen.XY(x, p.y.a), pen.XY(x, p.y.a+s.px(4))}, pen.Stroke{Ink: pen.RuleStrong, Width: 1})
		half := s.advance(words) / 2
		if x-half < end+s.px(6) || x+half > s.Width {
			continue
		}
		end = x + half
		p.words(pen.XY(x, p.y.a+s.px(18)), words, pen.Lettering{Ink: pen.Ink2, Anchor: pen.Middle})
	}
}

// positive returns what of ds can stand on logarithmic axes, in order of averaging time.
func positive(ds []Deviation) []Deviation {
	var out []Deviation
	for _, d := range ds {
		if !usable(d.Days) || !usable(d.Value) || d.Days < 1e-12 || d.Value < 1e-12 {
			continue
		}
		if !usable(d.Lo) || !usable(d.Hi) || d.Lo > d.Hi {
			d.Lo, d.Hi = d.Value, d.Value
		}
		out = append(out, d)
	}
	slices.SortStableFunc(out, func(a, b Deviation) int { return cmp.Compare(a.Days, b.Days) })
	return out
}

// plain returns a round value in as few figures as it has.
func plain(v float64) string {
	if v < 1e-5 || v >= 1e7 {
		return strconv.FormatFloat(v, 'g', 3, 64)
	}
	return strconv.FormatFloat(v, 'f', decimals(math.Pow(10, math.Floor(math.Log10(v)+1e-9))), 64)
}

func three(v float64) string { return strconv.FormatFloat(v, 'g', 3, 64) }

package chart

import (
	"math"
	"slices"

	"timeball/internal/chart/pen"
)

// Tempered is a rate at a temperature, s/d and °C, with its 95% interval from
// Lo to Hi.
type Tempered struct {
	C             float64
	Value, Lo, Hi float64
	Words         string
}

// TemperatureCurve is the rate against temperature: what was measured with its
// bars, and the law with its band.
type TemperatureCurve struct {
	Caption
	Measured []Tempered
	Law      []Tempered // in order of temperature
	Turning  *Tempered  // where the law turns; nil if it is not known to
}

// Figure returns the drawing at a size.
func (c TemperatureCurve) Figure(s Size) Figure {
	measured, law := tempered(c.Measured), tempered(c.Law)
	p := &plot{figure: Figure{Caption: c.Caption, Size: s.sized(Wide())}, say: sayRate}
	s = p.figure.Size
	var xs, ys, bars []float64
	for _, t := range append(slices.Clone(measured), law...) {
		xs, ys, bars = append(xs, t.C), append(ys, t.Value), append(bars, t.Lo, t.Hi)
	}
	p.x.lo, p.x.hi = fit(xs, nil, 0, 10)
	p.x.lo, p.x.hi = padded(p.x.lo, p.x.hi, 0.05)
	p.y.lo, p.y.hi = fit(ys, bars, 1, 0.1)
	p.y.lo, p.y.hi = padded(p.y.lo, p.y.hi, 0.06)
	p.step, p.ticks = ticks(p.y.lo, p.y.hi, max(3, int(s.Height/s.px(44))), false)
	left := 0.0
	for _, v := range p.ticks {
		left = max(left, s.advance(p.tick(v)))
	}
	p.x.a, p.x.b = min(left, s.Width/2)+s.px(12), s.Width-s.px(20)
	p.y.a, p.y.b = s.Height-s.px(32), s.px(9)
	p.temperatureGrid()
	if len(xs) == 0 {
		p.words(pen.XY((p.x.a+p.x.b)/2, (p.y.a+p.y.b)/2), s.elide("no rate at a known temperature yet", p.x.b-p.x.a), pen.Lettering{Ink: pen.Ink2, Anchor: pen.Middle})
	}

	var low, high, through []pen.Point
	for _, t := range law {
		x := p.x.at(t.C)
		low, high, through = append(low, pen.XY(x, p.y.at(t.Lo))), append(high, pen.XY(x, p.y.at(t.Hi))), append(through, pen.XY(x, p.y.at(t.Value)))
	}
	slices.Reverse(low)
	if outline := clipped(append(high, low...), p.y.b, p.y.a); len(outline) > 2 {
		p.figure.ground.Area(outline, pen.SeaSoft)
	}
	p.figure.ground.Line(through, pen.Stroke{Ink: pen.Sea, Width: 2})
	if t := c.Turning; t != nil && p.x.holds(t.C) {
		x := p.x.at(t.C)
		p.figure.ground.Line([]pen.Point{pen.XY(x, p.y.b), pen.XY(x, p.y.a)}, pen.Stroke{Ink: pen.Brass, Width: 1.5, Dash: pen.Dotted})
		l := pen.Lettering{Ink: pen.Ink2, Halo: true}
		at := pen.XY(x+s.gap(), p.y.a-s.line())
		if at.X+s.advance(t.Words) > p.x.b {
			l.Anchor, at.X = pen.End, x-s.gap()
		}
		p.words(at, t.Words, l)
	}
	for _, t := range measured {
		at, r := pen.XY(p.x.at(t.C), p.y.at(t.Value)), s.px(3)
		var drawn pen.List
		if t.Hi > t.Lo {
			lo, hi := min(p.y.a, p.y.at(t.Lo)), max(p.y.b, p.y.at(t.Hi))
			drawn.Line([]pen.Point{pen.XY(at.X, lo), pen.XY(at.X, hi)}, pen.Stroke{Ink: pen.Sea, Width: 1.2})
		}
		mark := pen.Mark{Radius: r, Fill: pen.Paper, Edge: pen.Sea}
		if arrow, y, beyond := p.pinned(t.Value); beyond {
			mark.Shape, at.Y = arrow, y
		}
		drawn.Mark(at, mark)
		p.entry(pen.Label{Kind: "entry", Words: t.Words}, at, s.px(9), &drawn)
	}
	p.figure.table.Columns = []string{"Temperature, °C", "Rate, s per day", "95% interval", "Note"}
	for _, t := range measured {
		p.figure.table.Rows = append(p.figure.table.Rows, Row{"", []string{figure(t.C, 1), sayRate.value(t.Value, 2), plusMinus((t.Hi-t.Lo)/2, 2), t.Words}})
	}
	return p.figure
}

func (p *plot) temperatureGrid() {
	s := p.figure.Size
	for _, v := range p.ticks {
		y, width := p.y.at(v), 1.0
		if v == 0 {
			width = 1.6
		}
		p.figure.ground.Line([]pen.Point{pen.XY(p.x.a, y), pen.XY(p.x.b, y)}, pen.Stroke{Ink: pen.Rule, Width: width})
		p.words(pen.XY(p.x.a-s.gap(), y), p.tick(v), pen.Lettering{Ink: pen.Ink2, Anchor: pen.End})
	}
	step, across := ticks(p.x.lo, p.x.hi, max(2, int((p.x.b-p.x.a)/s.px(70))), false)
	for _, v := range across {
		x := p.x.at(v)
		p.figure.ground.Line([]pen.Point{pen.XY(x, p.y.a), pen.XY(x, p.y.a+s.px(4))}, pen.Stroke{Ink: pen.RuleStrong, Width: 1})
		p.words(pen.XY(x, p.y.a+s.px(18)), figure(v, decimals(step))+" °C", pen.Lettering{Ink: pen.Ink2, Anchor: pen.Middle})
	}
}

// tempered returns what of ts can be drawn; a bar that is not usable shrinks to
// its value.
func tempered(ts []Tempered) []Tempered {
	var out []Tempered
	for _, t := range ts {
		if !usable(t.C) || math.Abs(t.C) > 1000 || !usable(t.Value) {
			continue
		}
		if !usable(t.Lo) || !usable(t.Hi) || t.Lo > t.Hi {
			t.Lo, t.Hi = t.Value, t.Value
		}
		out = append(out, t)
	}
	return out
}

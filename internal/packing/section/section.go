// Package section draws a packing to scale: the bowl in its inner box, the
// foam, and the outer box, from above and cut through from the side.
//
// A figure is a display list in units of the page, x to the right and y
// downward, put on a surface by a pen; see package pen.
package section

import (
	"math"
	"strings"

	"timeball/internal/chart"
	"timeball/internal/chart/pen"
	"timeball/internal/packing"
	"timeball/internal/packing/measure"
)

// Drawing is the packing of one thickness of foam.
type Drawing struct {
	chart.Caption              // an empty Result is made from the sizes
	Plan          packing.Plan // as packing.For returns it
	Thickness     int          // index of the cushioning shown; Plan.Chosen if out of range
	Words         Wording      // what the drawing says; empty words stay unwritten
}

// Wording are the words on a drawing.
type Wording struct{ Above, Side, Foam, Inner, Bowl string }

// English returns the usual words.
func English() Wording {
	return Wording{"From above", "Cut through, from the side", "foam", "inner box", "bowl, held"}
}

// Wide returns the size of a drawing on a desk, both views side by side.
func Wide() chart.Size { return chart.Size{Name: "wide", Width: 720, Height: 360, Type: 12} }

// Narrow returns the size of a drawing on a telephone, one view below the other.
func Narrow() chart.Size { return chart.Size{Name: "narrow", Width: 340, Height: 660, Type: 12} }

// Figure is a finished drawing.
type Figure struct {
	chart.Caption
	Size   chart.Size
	ground pen.List
	table  chart.Table
}

// Draw puts the figure on a pen's surface.
func (f Figure) Draw(p pen.Pen) { f.ground.Draw(p) }

// SVG returns the figure as an svg element of role img; see pen.Sheet.
func (f Figure) SVG() string {
	s := pen.Sheet{ID: f.ID, Title: f.Title, Result: f.Result, Name: f.Size.Name, Width: f.Size.Width, Height: f.Size.Height,
		Type: f.Size.Type, Ground: f.ground}
	return s.SVG()
}

// Table returns the sizes drawn, from the outside inward.
func (f Figure) Table() chart.Table { return f.table }

// view is one of the two, with the sides of each box across and down.
type view struct {
	title                        string
	outside, inside, inner, bowl [2]measure.Length
	round                        bool // the bowl is seen as a circle
	left, top, scale, pads       float64
	u                            measure.System
	padSide                      measure.Length // 0 where the foam fills the box
}

// sheet is a figure while it is being drawn.
type sheet struct {
	f Figure
	d Drawing
	c packing.Cushioning
}

// Figure returns the drawing at a size, Wide if in doubt. Both views have one
// scale, with a rule of it below. A plan without cushionings gives an empty
// figure that says so.
func (d Drawing) Figure(size chart.Size) Figure {
	if !(size.Width >= 200 && size.Width <= 4000) || !(size.Height >= 160 && size.Height <= 4000) {
		size = Wide()
	}
	if !(size.Type >= 4 && size.Type <= size.Width/20) {
		size.Type = 12
	}
	s := sheet{f: Figure{Caption: d.Caption, Size: size}, d: d}
	if len(d.Plan.Cushionings) == 0 {
		s.f.Result = "Nothing is packed."
		return s.f
	}
	if d.Thickness < 0 || d.Thickness >= len(d.Plan.Cushionings) {
		d.Thickness = d.Plan.Chosen
	}
	s.c = d.Plan.Cushionings[d.Thickness]
	views := s.views()
	for _, v := range views {
		s.view(v)
	}
	s.rule(views[0].scale)
	s.words()
	return s.f
}

// views places the two views.
func (s *sheet) views() [2]view {
	p, c, size := s.d.Plan, s.c, s.f.Size
	across := func(b measure.Size, down measure.Length) [2]measure.Length { return [2]measure.Length{b.Length, down} }
	above := view{title: s.d.Words.Above, outside: across(c.Outside, c.Outside.Width), inside: across(c.Inside, c.Inside.Width), inner: across(p.Inner.Size, p.Inner.Size.Width),
		bowl: across(p.Bowl.Size, p.Bowl.Size.Width), round: true}
	side := view{title: s.d.Words.Side, outside: across(c.Outside, c.Outside.Height), inside: across(c.Inside, c.Inside.Height), inner: across(p.Inner.Size, p.Inner.Size.Height),
		bowl: across(p.Bowl.Size, p.Bowl.Size.Height)}
	line := 1.4 * size.Type
	// Beside each view stands its height, below it its length and the rule of scale.
	heading, below := 1.6*line, 2.2*line
	aside := s.advance(p.Units.CutLength(c.Outside.Length)) + 1.5*size.Type
	wide := size.Width > size.Height
	room := [2]float64{size.Width - aside - 2, (size.Height-1.6*line)/2 - heading - below}
	down := float64(above.outside[1] + side.outside[1])
	scale := math.Min(room[0]/float64(above.outside[0]), 2*room[1]/down)
	if wide {
		room = [2]float64{size.Width/2 - aside - size.Type, size.Height - heading - below - 1.6*line}
		scale = math.Min(room[0]/float64(above.outside[0]), room[1]/math.Max(float64(above.outside[1]), float64(side.outside[1])))
	}
	above.left, above.top = 2, heading
	side.left, side.top = 2, heading+scale*float64(above.outside[1])+below+heading
	if wide {
		side.left, side.top = size.Width/2, heading
	}
	out := [2]view{above, side}
	for i := range out {
		out[i].scale, out[i].u = scale, p.Units
		if p.PadM2 > 0 {
			out[i].padSide = measure.Length(math.Sqrt(p.PadM2))
			out[i].pads = math.Ceil(math.Sqrt(float64(max(p.Pads, 1))))
		}
	}
	return out
}

// rectangle is a box about the middle of a view.
type rectangle struct{ left, top, right, bottom float64 }

func (r rectangle) outline() []pen.Point {
	return []pen.Point{pen.XY(r.left, r.top), pen.XY(r.right, r.top), pen.XY(r.right, r.bottom), pen.XY(r.left, r.bottom)}
}

func (r rectangle) middle() pen.Point { return pen.XY((r.left+r.right)/2, (r.top+r.bottom)/2) }

// about returns a box of those sides about the middle of the view.
func (v view) about(sides [2]measure.Length) rectangle {
	x, y := v.left+v.scale*float64(v.outside[0])/2, v.top+v.scale*float64(v.outside[1])/2
	w, h := v.scale*float64(sides[0])/2, v.scale*float64(sides[1])/2
	return rectangle{x - w, y - h, x + w, y + h}
}

func (s *sheet) framed(r rectangle, k pen.Stroke) {
	o := r.outline()
	s.f.ground.Line(append(o, o[0]), k)
}

// view draws one view.
func (s *sheet) view(v view) {
	size := s.f.Size
	outside, inside, inner := v.about(v.outside), v.about(v.inside), v.about(v.inner)
	s.text(pen.XY(v.left, v.top-1.0*size.Type), v.title, pen.Ink1, pen.Start)
	s.f.ground.Area(outside.outline(), pen.RuleStrong)
	s.f.ground.Area(inside.outline(), pen.Paper)
	if v.padSide == 0 {
		s.f.ground.Area(inside.outline(), pen.SeaSoft)
	} else {
		s.pads(v, inside, inner)
	}
	s.f.ground.Area(inner.outline(), pen.Paper)
	s.framed(outside, pen.Stroke{Ink: pen.Ink1, Width: 1})
	s.framed(inside, pen.Stroke{Ink: pen.Ink3, Width: 0.8})
	s.framed(inner, pen.Stroke{Ink: pen.Ink1, Width: 2})
	s.bowl(v, inner)
	room, m := inner.right-inner.left, inner.middle()
	switch high := (inner.bottom - inner.top) / size.Type; {
	case high > 5:
		s.within(pen.XY(m.X, inner.top+size.Type), s.d.Words.Inner, room, pen.Ink1)
		s.within(m, s.d.Words.Bowl, room, pen.Ink2)
		s.within(pen.XY(m.X, inner.bottom-size.Type), v.sides(v.inner), room, pen.Ink2)
	case high > 1.5:
		s.within(m, v.sides(v.inner), room, pen.Ink2)
	}
	// The cut of the foam stands in it where it has room, above and at the side.
	cut := v.u.CutLength(s.c.Cut)
	if inner.top-inside.top > 2.4*size.Type {
		s.within(pen.XY(inner.middle().X, (inside.top+inner.top)/2), s.d.Words.Foam+" "+cut, inside.right-inside.left, pen.Sea)
	}
	s.within(pen.XY((inside.left+inner.left)/2, inner.middle().Y), cut, inner.left-inside.left, pen.Sea)
	s.across(outside, outside.bottom+0.7*size.Type, v.u.CutLength(v.outside[0]))
	s.down(outside, outside.right+0.7*size.Type, v.u.CutLength(v.outside[1]))
}

// sides returns the two sides of a box with the unit.
func (v view) sides(of [2]measure.Length) string {
	a, unit, _ := strings.Cut(v.u.CutLength(of[0]), " ")
	b, _, _ := strings.Cut(v.u.CutLength(of[1]), " ")
	return a + " × " + b + " " + unit
}

// pads draws the pads of each face seen edge on, spread evenly over it.
func (s *sheet) pads(v view, inside, inner rectangle) {
	half := v.scale * float64(v.padSide) / 2
	for k := range int(v.pads) {
		share := (float64(k) + 0.5) / v.pads
		x := inner.left + share*(inner.right-inner.left)
		y := inner.top + share*(inner.bottom-inner.top)
		left, right := math.Max(inner.left, x-half), math.Min(inner.right, x+half)
		top, bottom := math.Max(inner.top, y-half), math.Min(inner.bottom, y+half)
		for _, r := range []rectangle{
			{left, inside.top, right, inner.top}, {left, inner.bottom, right, inside.bottom},
			{inside.left, top, inner.left, bottom}, {inner.right, top, inside.right, bottom},
		} {
			s.f.ground.Area(r.outline(), pen.SeaSoft)
			s.framed(r, pen.Stroke{Ink: pen.Ink3, Width: 0.8})
		}
	}
}

// bowl draws the bowl if its size is known: a circle from above, a bowl with a
// flat glass from the side.
func (s *sheet) bowl(v view, inner rectangle) {
	m := inner.middle()
	if !s.d.Plan.Bowl.Size.Known() {
		return
	}
	w, h := v.scale*float64(v.bowl[0])/2, v.scale*float64(v.bowl[1])/2
	var outline []pen.Point
	const steps = 72
	for i := range steps + 1 {
		sin, cos := math.Sincos(2 * math.Pi * float64(i) / steps)
		if !v.round {
			// Upper part upright, lower part round; a superellipse of high order draws both.
			power := func(x, e float64) float64 { return math.Copysign(math.Pow(math.Abs(x), e), x) }
			sin, cos = power(sin, 0.5), power(cos, 0.5)
		}
		outline = append(outline, pen.XY(m.X+w*cos, m.Y+h*sin))
	}
	s.f.ground.Line(outline, pen.Stroke{Ink: pen.Brass, Width: 1.5})
}

// across draws a measure below a box.
func (s *sheet) across(r rectangle, y float64, words string) {
	k := pen.Stroke{Ink: pen.Ink2, Width: 1}
	s.f.ground.Line([]pen.Point{pen.XY(r.left, y), pen.XY(r.right, y)}, k)
	for _, x := range []float64{r.left, r.right} {
		s.f.ground.Line([]pen.Point{pen.XY(x, y-4), pen.XY(x, y+4)}, k)
	}
	s.text(pen.XY((r.left+r.right)/2, y+1.0*s.f.Size.Type), words, pen.Ink2, pen.Middle)
}

// down draws a measure beside a box.
func (s *sheet) down(r rectangle, x float64, words string) {
	k := pen.Stroke{Ink: pen.Ink2, Width: 1}
	s.f.ground.Line([]pen.Point{pen.XY(x, r.top), pen.XY(x, r.bottom)}, k)
	for _, y := range []float64{r.top, r.bottom} {
		s.f.ground.Line([]pen.Point{pen.XY(x-4, y), pen.XY(x+4, y)}, k)
	}
	s.text(pen.XY(x+0.6*s.f.Size.Type, (r.top+r.bottom)/2), words, pen.Ink2, pen.Start)
}

// rule draws the scale of both views at the foot.
func (s *sheet) rule(scale float64) {
	length, words := 100*measure.Millimetre, "100 mm"
	if s.d.Plan.Units == measure.US {
		length, words = 4*measure.Inch, "4 in"
	}
	y := s.f.Size.Height - 0.9*s.f.Size.Type
	end := 2 + scale*float64(length)
	k := pen.Stroke{Ink: pen.Ink1, Width: 2}
	s.f.ground.Line([]pen.Point{pen.XY(2, y), pen.XY(end, y)}, k)
	s.text(pen.XY(end+0.6*s.f.Size.Type, y), words, pen.Ink1, pen.Start)
}

// words states the sizes for those who cannot see them.
func (s *sheet) words() {
	p, c, u := s.d.Plan, s.c, s.d.Plan.Units
	s.f.table.Columns = []string{"Part", "Size"}
	for _, cells := range [][]string{
		{"Outer box, outside", u.Size(c.Outside)}, {"Outer box, inside", u.Size(c.Inside)},
		{"Foam, cut", u.CutLength(c.Cut)}, {"Inner box, outside", u.Size(p.Inner.Size)},
	} {
		s.f.table.Rows = append(s.f.table.Rows, chart.Row{Cells: cells})
	}
	if p.Bowl.Size.Known() {
		s.f.table.Rows = append(s.f.table.Rows, chart.Row{Cells: []string{"Bowl", u.Size(p.Bowl.Size)}})
	}
	if s.f.Result == "" {
		s.f.Result = "An inner box of " + u.Size(p.Inner.Size) + " in foam cut " + u.CutLength(c.Cut) + " thick on all six faces, in an outer box of " + u.Size(c.Inside) + " inside."
		if p.PadM2 > 0 {
			s.f.Result = strings.Replace(s.f.Result, "in foam cut", "between pads cut", 1)
		}
	}
}

func (s *sheet) text(at pen.Point, words string, ink pen.Ink, a pen.Anchor) {
	if words != "" {
		s.f.ground.Text(at, words, pen.Lettering{Ink: ink, Anchor: a, Size: s.f.Size.Type})
	}
}

// within writes words about a place if they have room there.
func (s *sheet) within(at pen.Point, words string, room float64, ink pen.Ink) {
	if s.advance(words) <= room-4 {
		s.f.ground.Text(at, words, pen.Lettering{Ink: ink, Anchor: pen.Middle, Size: s.f.Size.Type, Halo: s.d.Plan.PadM2 > 0})
	}
}

// advance returns the width of words as a wide sans sets them, at most.
func (s *sheet) advance(words string) float64 {
	w := 0.0
	for _, r := range words {
		switch {
		case strings.ContainsRune("ijlI.,:;'|! ", r):
			w += 0.33
		case strings.ContainsRune("mwMW×", r):
			w += 0.98
		default:
			w += 0.65
		}
	}
	return w * s.f.Size.Type
}

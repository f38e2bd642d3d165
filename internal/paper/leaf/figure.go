package leaf

import (
	"fmt"

	"github.com/piglig/go-qr"

	"timeball/internal/chart"
	"timeball/internal/chart/pen"
)

// unit is a unit of a figure made by PrintSize, mm: type of 11 units is then
// 7.8 points.
const unit = 0.25

// PrintSize returns the size to make a figure at that is to be w by h mm on
// paper, so that its words are near 8 points.
func PrintSize(w, h float64) chart.Size {
	return chart.Size{Name: "print", Width: w / unit, Height: h / unit, Type: 11}
}

// Figure draws a figure with its upper left corner at x and y, w mm wide, and
// returns how high it is, mm.
func (l *Leaf) Figure(x, y, w float64, f chart.Figure) float64 {
	if !(f.Size.Width > 0) || !(f.Size.Height > 0) || !finite(x, y, w) || !(w > 0) {
		return 0
	}
	scale := w / f.Size.Width
	l.figure(f.Title, f.Result, rectangle{x, y, w, f.Size.Height * scale}, func() {
		f.Draw(&nib{l, x, y, scale, f.Size.Type})
	})
	return f.Size.Height * scale
}

// Drawing draws a sheet with its upper left corner at x and y, w mm wide, and
// returns how high it is, mm.
func (l *Leaf) Drawing(x, y, w float64, s *pen.Sheet) float64 {
	if s == nil || !(s.Width > 0) || !(s.Height > 0) || !finite(x, y, w) || !(w > 0) {
		return 0
	}
	scale := w / s.Width
	l.figure(s.Title, s.Result, rectangle{x, y, w, s.Height * scale}, func() {
		n := &nib{l, x, y, scale, s.Type}
		s.Ground.Draw(n)
		s.Marks.Draw(n)
	})
	return s.Height * scale
}

// figure puts a picture with its title, and the words that say what it shows,
// into the structure.
func (l *Leaf) figure(title, result string, box rectangle, set func()) {
	said := title
	switch {
	case title == "":
		said = result
	case result != "":
		said += ": " + result
	}
	l.into(l.begin(&element{tag: tagFigure, said: said, box: box}), func() {
		l.put(func(on surface) { on.begin(title, result) })
		set()
		l.put(surface.end)
	})
}

// nib is the pen that draws a figure on a leaf.
type nib struct {
	leaf  *Leaf
	x, y  float64
	scale float64 // mm for one unit of the figure
	size  float64 // of letters that name none
}

func (n *nib) at(p pen.Point) pen.Point { return pen.XY(n.x+n.scale*p.X, n.y+n.scale*p.Y) }

func (n *nib) all(ps []pen.Point) []pen.Point {
	out := make([]pen.Point, 0, len(ps))
	for _, p := range ps {
		if finite(p.X, p.Y) {
			out = append(out, n.at(p))
		}
	}
	return out
}

// Line draws a line; on paper strokes are a little finer than on a screen.
func (n *nib) Line(through []pen.Point, s pen.Stroke) {
	if s.Ink == pen.NoInk {
		return
	}
	n.leaf.stroke(n.all(through), s, 0.7*n.scale*s.Width, n.scale)
}

// Area fills an outline.
func (n *nib) Area(outline []pen.Point, fill pen.Ink) {
	if points := n.all(outline); len(points) > 2 && fill != pen.NoInk {
		n.leaf.put(func(on surface) { on.path(points, true, fill, line{}) })
	}
}

// Mark draws a sign.
func (n *nib) Mark(at pen.Point, m pen.Mark) {
	if !finite(at.X, at.Y, m.Radius) {
		return
	}
	c, r := n.at(at), n.scale*m.Radius
	edge := line{ink: m.Edge, width: 0.8 * n.scale}
	switch m.Shape {
	case pen.Disc:
		n.leaf.put(func(on surface) { on.circle(c, r, m.Fill, edge) })
	case pen.Cross:
		for _, d := range []float64{1, -1} {
			n.leaf.Rule(c.X-r, c.Y-d*r, c.X+r, c.Y+d*r, 1.4*n.scale, m.Edge)
		}
	default:
		d := [...]pen.Point{pen.ArrowUp: {X: 0, Y: -1}, pen.ArrowDown: {X: 0, Y: 1}, pen.ArrowLeft: {X: -1}, pen.ArrowRight: {X: 1}}[m.Shape]
		tip := []pen.Point{{X: c.X + d.X*r, Y: c.Y + d.Y*r}, {X: c.X - d.X*r + d.Y*r, Y: c.Y - d.Y*r + d.X*r}, {X: c.X - d.X*r - d.Y*r, Y: c.Y - d.Y*r - d.X*r}}
		n.leaf.put(func(on surface) { on.path(tip, true, m.Fill, edge) })
	}
}

// Text sets words whose middle has the height of at.
func (n *nib) Text(at pen.Point, words string, t pen.Lettering) {
	if t.Size <= 0 {
		t.Size = n.size
	}
	at.Y += 0.35 * t.Size
	p := n.at(at)
	n.leaf.text(p.X, p.Y, words, Style{Face: Sans, Size: n.scale * t.Size / millimetres, Ink: t.Ink, Anchor: t.Anchor}, t.Halo)
}

// Begin does nothing: nothing can be pointed at on paper.
func (n *nib) Begin(pen.Label, pen.Point, float64) {}

// End does nothing.
func (n *nib) End() {}

// quiet is the light margin about a square code, modules: ISO/IEC 18004:2015, 5.3.8.
const quiet = 4

// Code draws words as a square code w mm wide and high, its quiet zone
// included: ISO/IEC 18004 (QR code), error correction level M. It fails if the
// words are too long for one.
func (l *Leaf) Code(x, y, w float64, words string) error {
	code, err := go_qr.EncodeText(words, go_qr.Medium)
	if err != nil {
		return fmt.Errorf("square code of %d letters: %w; shorten them", len(words), err)
	}
	module := w / float64(code.Size()+2*quiet)
	var boxes []rectangle
	for row := range code.Size() {
		for from := 0; from < code.Size(); from++ {
			to := from
			for to < code.Size() && code.Module(to, row) {
				to++
			}
			if to > from {
				boxes = append(boxes, rectangle{x + module*float64(quiet+from), y + module*float64(quiet+row), module * float64(to-from), module})
				from = to
			}
		}
	}
	l.figure("Square code", words, rectangle{x, y, w, w}, func() {
		l.put(func(on surface) { on.squares(boxes, pen.Ink1) })
	})
	return nil
}

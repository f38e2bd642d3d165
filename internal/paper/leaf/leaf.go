// Package leaf is a printed page and what is put on it: words in an embedded
// face, ruled lines, tables, figures of the rate book and square codes. The
// same leaf is written as PDF, for the printer and the archive, and as SVG,
// for the page that previews it.
//
// Places are in millimetres from the upper left corner, sizes of type in
// points of 1/72 inch.
package leaf

import (
	"cmp"
	"math"
	"strings"
	"time"

	"timeball/internal/chart/pen"
)

// Size is a size of paper, mm.
type Size struct {
	Name          string
	Width, Height float64
}

// The sizes of paper: ISO 216 A4 and ANSI A, which is called Letter.
var (
	A4     = Size{"A4", 210, 297}
	Letter = Size{"Letter", 215.9, 279.4}
)

// Face is a face of type.
type Face int

// The faces: serif for names and running words, sans for tables and drawings.
const (
	Serif Face = iota
	SerifBold
	SerifItalic
	Sans
	SansBold
)

// Style is how words are set.
type Style struct {
	Face   Face
	Size   float64 // points; 10 if nought
	Ink    pen.Ink // NoInk is black
	Anchor pen.Anchor
}

// In returns the style in another ink.
func (s Style) In(ink pen.Ink) Style { s.Ink = ink; return s }

// At returns the style with another anchor.
func (s Style) At(a pen.Anchor) Style { s.Anchor = a; return s }

// Document is some leaves with their title.
type Document struct {
	Title    string
	Subject  string
	Author   string
	Language string    // BCP 47, such as "en-GB"
	Created  time.Time // written into the file; the same document at the same instant gives the same bytes
	Size     Size      // A4 if nought
	Leaves   []*Leaf
	Attached []Attachment
	place    *place // in the structure, as the leaves share it
}

// Attachment is a file carried inside a PDF.
type Attachment struct {
	Name, About string
	Content     []byte
}

func (d *Document) size() Size {
	if !(d.Size.Width > 0) || !(d.Size.Height > 0) {
		return A4
	}
	return d.Size
}

// NewLeaf adds an empty leaf to the document and returns it.
func (d *Document) NewLeaf() *Leaf {
	if d.place == nil {
		d.place = &place{}
	}
	l := &Leaf{Size: d.size(), place: d.place}
	d.Leaves = append(d.Leaves, l)
	return l
}

// Leaf is one page: a display list that keeps what is put on it.
type Leaf struct {
	Size    Size
	items   []item
	missing []rune
	place   *place
}

// item is something on a leaf and the part of the structure it belongs to; one
// that draws nothing begins its part.
type item struct {
	part *element
	draw func(surface)
}

// surface is what a leaf is drawn on, in millimetres.
type surface interface {
	// part tells to what part of the structure belongs what follows.
	part(e *element)
	text(w words)
	// path strokes and fills a line through points; ink may be NoInk.
	path(points []pen.Point, closed bool, fill pen.Ink, s line)
	circle(at pen.Point, radius float64, fill pen.Ink, s line)
	// squares fills rectangles as one form, without seams.
	squares(boxes []rectangle, fill pen.Ink)
	// begin opens a picture with its words; end closes it.
	begin(title, result string)
	end()
}

// words are a piece of text on one line.
type words struct {
	x, y, width float64 // of its baseline, mm
	drawn       string  // as it stands on the line
	read        string  // as it is read, if the line is turned
	broken      bool    // its last word goes on in the next piece
	halo        bool
	style       Style
}

type line struct {
	ink   pen.Ink
	width float64 // mm
	dash  [2]float64
	round bool
}

type rectangle struct{ x, y, w, h float64 }

// put keeps a line, an area or a figure.
func (l *Leaf) put(draw func(surface)) {
	part := l.at().in
	if part == nil || !part.isDrawing() {
		part = ornament
	}
	l.items = append(l.items, item{part, draw})
}

func (l *Leaf) draw(on surface) {
	for _, i := range l.items {
		on.part(i.part)
		if i.draw != nil {
			i.draw(on)
		}
	}
}

func finite(vs ...float64) bool {
	for _, v := range vs {
		if !(math.Abs(v) < 1e5) {
			return false
		}
	}
	return true
}

// Text sets words on one line with the baseline at y; the anchor of the style
// is put at x. Letters the face lacks are printed as Replacement and kept for
// Document.Missing.
func (l *Leaf) Text(x, y float64, words string, s Style) { l.text(x, y, words, s, false) }

func (l *Leaf) text(x, y float64, said string, s Style, halo bool) {
	drawn, read := set(said, s.Face)
	if strings.TrimSpace(drawn) == "" || !finite(x, y, s.Size) {
		return
	}
	l.missing = append(l.missing, missing(said, s.Face)...)
	w := width(drawn, s)
	switch s.Anchor {
	case pen.Middle:
		x -= w / 2
	case pen.End:
		x -= w
	}
	s.Anchor, s.Size, s.Ink = pen.Start, s.size(), cmp.Or(s.Ink, pen.Ink1)
	piece := words{x: x, y: y, width: w, drawn: drawn, read: read, broken: strings.HasSuffix(said, joiner), halo: halo, style: s}
	l.paragraph(func() {
		l.items = append(l.items, item{l.at().in, func(on surface) { on.text(piece) }})
	})
}

// Block sets words in lines no wider than width, the first with its top at y,
// and returns the y below the last.
func (l *Leaf) Block(x, y, width float64, words string, s Style) float64 {
	l.paragraph(func() {
		for _, line := range folded(words, s, width) {
			l.line(x, y, width, line, s)
			y += s.Line()
		}
	})
	return y
}

// line sets one line whose top is at y in a column of the given width.
func (l *Leaf) line(x, y, width float64, words string, s Style) {
	switch s.Anchor {
	case pen.Middle:
		x += width / 2
	case pen.End:
		x += width
	}
	l.Text(x, y+s.baseline(), words, s)
}

// baseline returns how far below the top of a line its letters stand, mm.
func (s Style) baseline() float64 { return 0.98 * s.size() * millimetres }

// Rule draws a straight line of a width in mm.
func (l *Leaf) Rule(x1, y1, x2, y2, widthMM float64, ink pen.Ink) {
	l.Line([]pen.Point{pen.XY(x1, y1), pen.XY(x2, y2)}, pen.Stroke{Ink: ink, Width: widthMM})
}

// Line draws a line through points; places and the width of the stroke are mm.
func (l *Leaf) Line(through []pen.Point, s pen.Stroke) {
	l.stroke(through, s, s.Width, s.Width)
}

func (l *Leaf) stroke(through []pen.Point, s pen.Stroke, width, unit float64) {
	var points []pen.Point
	for _, p := range through {
		if finite(p.X, p.Y) {
			points = append(points, p)
		}
	}
	if len(points) == 0 || !(width > 0) || !finite(width) {
		return
	}
	if len(points) == 1 {
		points = append(points, points[0])
	}
	drawn := line{ink: cmp.Or(s.Ink, pen.Ink1), width: width, round: s.Dash == pen.Solid && len(points) > 2}
	switch s.Dash {
	case pen.Dotted:
		drawn.dash = [2]float64{unit, 3 * unit}
	case pen.Dashed:
		drawn.dash = [2]float64{3 * unit, 4 * unit}
	}
	l.put(func(on surface) { on.path(points, false, pen.NoInk, drawn) })
}

// Box fills a rectangle.
func (l *Leaf) Box(x, y, w, h float64, fill pen.Ink) {
	if finite(x, y, w, h) && w > 0 && h > 0 && fill != pen.NoInk {
		l.put(func(on surface) { on.squares([]rectangle{{x, y, w, h}}, fill) })
	}
}

// Frame draws the outline of a rectangle.
func (l *Leaf) Frame(x, y, w, h, widthMM float64, ink pen.Ink) {
	if !finite(x, y, w, h, widthMM) || !(widthMM > 0) {
		return
	}
	points := []pen.Point{pen.XY(x, y), pen.XY(x+w, y), pen.XY(x+w, y+h), pen.XY(x, y+h)}
	l.put(func(on surface) { on.path(points, true, pen.NoInk, line{ink: cmp.Or(ink, pen.Ink1), width: widthMM}) })
}

// Disc draws a filled circle.
func (l *Leaf) Disc(x, y, radius float64, fill pen.Ink) {
	if finite(x, y, radius) && radius > 0 && fill != pen.NoInk {
		l.put(func(on surface) { on.circle(pen.XY(x, y), radius, fill, line{}) })
	}
}

// Package pen is what a drawing is put on a surface with: the strokes a
// drawing may ask for, a display list that keeps them, and the pens that write
// SVG for pages and letters for a terminal.
//
// Places are in units of the drawing, x to the right and y downward.
package pen

// Ink is a colour by its meaning; each pen has its own pot for it.
type Ink int

// The inks. Sea is for what is measured, Brass for what was done or is due,
// Alarm for what is wrong.
const (
	NoInk Ink = iota
	Paper     // the sheet itself
	Rule
	RuleStrong
	Ink1 // words in the first place
	Ink2 // words of axes
	Ink3 // rules and words that stand back
	Sea
	SeaSoft
	Brass
	Alarm
)

// Point is a place in a figure, y downward.
type Point struct{ X, Y float64 }

// XY returns the point at x and y.
func XY(x, y float64) Point { return Point{x, y} }

// Stroke is how a line is drawn; an empty Dash is a solid line.
type Stroke struct {
	Ink   Ink
	Width float64
	Dash  Dash
}

// Dash is the pattern of a line.
type Dash int

// The patterns: Dotted for interventions, Dashed for what is forecast.
const (
	Solid Dash = iota
	Dotted
	Dashed
)

// Shape is the form of a mark.
type Shape int

// The marks. An arrow shows that a value lies beyond the edge it points over.
const (
	Disc Shape = iota
	Cross
	ArrowUp
	ArrowDown
	ArrowLeft
	ArrowRight
)

// Mark is a small sign of the given radius.
type Mark struct {
	Shape      Shape
	Radius     float64
	Fill, Edge Ink
}

// Anchor is the point of the words that is put at their place.
type Anchor int

// The anchors.
const (
	Start Anchor = iota
	Middle
	End
)

// Lettering is how words are written.
type Lettering struct {
	Ink    Ink
	Anchor Anchor
	Size   float64
	Halo   bool // the sheet shows round the letters, for words over lines
}

// Label says what a group of strokes stands for and where it leads.
type Label struct {
	Kind  string // "entry", "aside" or "event"
	Words string
	Entry string
	Href  string
}

// Pen draws on one kind of surface. A pen leaves out what has no finite place.
type Pen interface {
	Line(through []Point, s Stroke)
	Area(outline []Point, fill Ink)
	Mark(at Point, m Mark)
	// Text writes words on a line whose middle has the height of at.
	Text(at Point, words string, l Lettering)
	// Begin opens a group that can be pointed at within reach of at; End closes it.
	Begin(l Label, at Point, reach float64)
	End()
}

// List is a display list: it keeps what it is asked to draw and draws it
// again with any pen.
type List struct{ items []func(Pen) }

// Draw repeats the list with p.
func (l *List) Draw(p Pen) {
	for _, it := range l.items {
		it(p)
	}
}

func (l *List) add(it func(Pen)) { l.items = append(l.items, it) }

// Line keeps a line.
func (l *List) Line(through []Point, s Stroke) { l.add(func(p Pen) { p.Line(through, s) }) }

// Area keeps an area.
func (l *List) Area(outline []Point, fill Ink) { l.add(func(p Pen) { p.Area(outline, fill) }) }

// Mark keeps a mark.
func (l *List) Mark(at Point, m Mark) { l.add(func(p Pen) { p.Mark(at, m) }) }

// Text keeps words.
func (l *List) Text(at Point, words string, t Lettering) {
	l.add(func(p Pen) { p.Text(at, words, t) })
}

// Begin keeps the beginning of a group.
func (l *List) Begin(b Label, at Point, reach float64) {
	l.add(func(p Pen) { p.Begin(b, at, reach) })
}

// End keeps the end of a group.
func (l *List) End() { l.add(Pen.End) }

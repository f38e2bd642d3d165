// Package heard draws what was heard of a chronometer: the folded beat, the
// beats against their line, the shrinking doubt of the rate, the teeth of the
// escape wheel, amplitude and rate since winding, and where in the beat of UTC
// the beat of the dial falls.
//
// A figure is a display list in units of the page, x to the right and y
// downward, put on a surface by a pen; see package pen. Times are in seconds
// unless the name says hours, angles in degrees of the balance, rates in
// seconds a day, positive gaining; a beat is early where it falls before its
// line. Every PlusMinus is half a 95% interval. A value that is not finite, or
// beyond ±1e12, is left out of the drawing. Words that come from the caller are
// escaped here. A Result left empty in a caption is made from the figures.
package heard

import (
	"math"
	"slices"
	"strings"

	"timeball/internal/chart"
	"timeball/internal/chart/pen"
)

// Figure is a finished drawing of what was heard.
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

// Table returns the facts of the figure for a table below it.
func (f Figure) Table() chart.Table { return f.table }

// usable tells whether a value can be drawn; sums and squares of such values stay finite.
func usable(v float64) bool { return math.Abs(v) <= 1e12 }

// half returns half an interval that can be drawn: 0 if it is not known.
func half(v float64) float64 {
	if !usable(v) {
		return 0
	}
	return math.Abs(v)
}

// sheet is a figure while it is being drawn, from the top down.
type sheet struct {
	f      Figure
	size   chart.Size
	narrow bool
	y      float64 // how far down it is drawn
	taken  []box   // where words are
}

// box is the room that words take.
type box struct{ left, top, right, bottom float64 }

func (b box) meets(c box) bool {
	return b.left < c.right && c.left < b.right && b.top < c.bottom && c.top < b.bottom
}

// newSheet returns an empty sheet of the width and type of size; what is
// missing or unusable there is that of the size for a desk. The height becomes
// what the figure needs.
func newSheet(c chart.Caption, size chart.Size) *sheet {
	like := chart.Wide()
	if !usable(size.Width) || size.Width < 200 || size.Width > 4000 {
		size.Width = like.Width
	}
	if !usable(size.Type) || size.Type < 4 || size.Type > size.Width/20 {
		size.Type = min(like.Type, size.Width/20)
	}
	size.Height = 0
	return &sheet{f: Figure{Caption: c}, size: size, narrow: size.Width < 600}
}

// done returns the figure, as high as it was drawn; a Result left empty is said.
func (s *sheet) done(said string, columns []string, rows [][]string) Figure {
	s.size.Height = math.Ceil(s.y)
	s.f.Size = s.size
	if s.f.Result == "" {
		s.f.Result = said
	}
	s.f.table.Columns = columns
	for _, cells := range rows {
		s.f.table.Rows = append(s.f.table.Rows, chart.Row{Cells: cells})
	}
	return s.f
}

// px returns n units of an 11-unit hand, scaled to the type of the sheet.
func (s *sheet) px(n float64) float64 { return n * s.size.Type / 11 }

// line returns the height of a line of words.
func (s *sheet) line() float64 { return s.px(14) }

// advance returns the width of words as a wide sans sets them (DejaVu Sans,
// measured), so that no common face needs more room.
func (s *sheet) advance(words string) float64 {
	w := 0.0
	for _, r := range words {
		switch {
		case strings.ContainsRune("ijlI.,:;'|! ", r):
			w += 0.33
		case strings.ContainsRune("frt()-·°", r):
			w += 0.44
		case strings.ContainsRune("mwMW—%@", r):
			w += 0.98
		case strings.ContainsRune("±=+−<>", r):
			w += 0.84
		case r >= 'A' && r <= 'Z':
			w += 0.76
		case r > 0x2e80:
			w++
		default:
			w += 0.63
		}
	}
	return w * s.size.Type
}

// elide returns words cut to fit width, with an ellipsis where they were cut.
func (s *sheet) elide(words string, width float64) string {
	words = strings.Join(strings.Fields(words), " ")
	if s.advance(words) <= width {
		return words
	}
	letters := []rune(words)
	letters = letters[:min(len(letters), 300)]
	for n := len(letters) - 1; n > 2; n-- {
		if short := strings.TrimRight(string(letters[:n]), " ,;:·") + "…"; s.advance(short) <= width {
			return short
		}
	}
	return ""
}

// wrapped returns words in at most most lines of width, the last one elided.
func (s *sheet) wrapped(words string, width float64, most int) []string {
	var lines []string
	rest := strings.Fields(words)
	for len(rest) > 0 && len(lines) < most {
		n := 1
		for n < len(rest) && s.advance(strings.Join(rest[:n+1], " ")) <= width {
			n++
		}
		if len(lines) == most-1 {
			n = len(rest)
		}
		if line := s.elide(strings.Join(rest[:n], " "), width); line != "" {
			lines = append(lines, line)
		}
		rest = rest[n:]
	}
	return lines
}

// room returns the box that words would take at a place.
func (s *sheet) room(at pen.Point, words string, a pen.Anchor) box {
	w, h := s.advance(words), 0.5*s.line()
	left := at.X - w*[...]float64{pen.Start: 0, pen.Middle: 0.5, pen.End: 1}[a]
	return box{left, at.Y - h, left + w, at.Y + h}
}

func (s *sheet) free(b box) bool {
	return b.left >= 0 && b.right <= s.size.Width && !slices.ContainsFunc(s.taken, b.meets)
}

// say writes words and keeps their room.
func (s *sheet) say(at pen.Point, words string, ink pen.Ink, a pen.Anchor) {
	s.taken = append(s.taken, s.room(at, words, a))
	s.f.ground.Text(at, words, pen.Lettering{Ink: ink, Anchor: a, Size: s.size.Type})
}

// sayOver is say with the sheet showing round the letters, for words over lines.
func (s *sheet) sayOver(at pen.Point, words string, ink pen.Ink, a pen.Anchor) {
	s.taken = append(s.taken, s.room(at, words, a))
	s.f.ground.Text(at, words, pen.Lettering{Ink: ink, Anchor: a, Size: s.size.Type, Halo: true})
}

// sayWithin writes words about x, moved so that they stay within left..right.
func (s *sheet) sayWithin(x, y, left, right float64, words string, ink pen.Ink) {
	h := s.advance(words) / 2
	if 2*h > right-left {
		words = s.elide(words, right-left)
		h = s.advance(words) / 2
	}
	s.say(pen.XY(max(left+h, min(x, right-h)), y), words, ink, pen.Middle)
}

// heading writes the name of a part of the figure.
func (s *sheet) heading(words string, left, right float64) {
	s.y += s.px(2)
	s.say(pen.XY(left, s.y+0.5*s.line()), s.elide(words, right-left), pen.Ink1, pen.Start)
	s.y += s.line() + s.px(3)
}

// note writes words that explain the figure below what is drawn.
func (s *sheet) note(words string, left, right float64) {
	for _, line := range s.wrapped(words, right-left, 6) {
		s.say(pen.XY(left, s.y+0.5*s.line()), line, pen.Ink2, pen.Start)
		s.y += s.line()
	}
}

func (s *sheet) stroke(a, b pen.Point, k pen.Stroke) {
	s.f.ground.Line([]pen.Point{a, b}, k)
}

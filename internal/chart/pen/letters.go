package pen

import (
	"math"
	"strings"
	"unicode"
)

// cell is one letter's room: what is written there, or the dots of the curve
// (two by four, the bits of a Braille letter), or the rule or band behind.
type cell struct {
	letter, rule rune
	dots         uint8
	band, dashed bool
}

// Letters is a pen that draws in a grid whose unit is one letter.
type Letters struct {
	columns, rows int
	ascii         bool
	cells         []cell
}

// NewLetters returns an empty grid; with ascii it holds no other letters.
func NewLetters(columns, rows int, ascii bool) *Letters {
	return &Letters{columns, rows, ascii, make([]cell, columns*rows)}
}

func (p *Letters) cell(x, y float64) *cell {
	col, row := int(math.Floor(x)), int(math.Floor(y))
	if math.IsNaN(x) || math.IsNaN(y) || col < 0 || row < 0 || col >= p.columns || row >= p.rows {
		return &cell{}
	}
	return &p.cells[row*p.columns+col]
}

func (p *Letters) either(unicode, ascii rune) rune {
	if p.ascii {
		return ascii
	}
	return unicode
}

// Line draws a curve in Braille dots or stars, and a rule in the sign of its ink.
func (p *Letters) Line(through []Point, s Stroke) {
	if s.Ink != Sea {
		p.rule(through, s)
		return
	}
	at := func(q Point) {
		c := p.cell(q.X, q.Y)
		if s.Dash == Dashed && (int(math.Floor(q.X*2))&1 == 1) {
			if c.dashed = true; !p.ascii {
				return
			}
		}
		c.dashed = s.Dash == Dashed
		c.dots |= braille[int(math.Floor(q.Y*4))&3][int(math.Floor(q.X*2))&1]
	}
	for i, q := range through {
		if !finite(q) {
			continue
		}
		q.Y = min(q.Y, math.Nextafter(float64(p.rows-1), 0))
		if i == 0 || !finite(through[i-1]) {
			at(q)
			continue
		}
		from := through[i-1]
		n := int(math.Ceil(math.Max(math.Abs(q.X-from.X)*4, math.Abs(q.Y-from.Y)*8)))
		for k := 0; k <= n; k++ {
			part := float64(k) / float64(max(n, 1))
			y := min(from.Y+(q.Y-from.Y)*part, math.Nextafter(float64(p.rows-1), 0))
			at(Point{from.X + (q.X-from.X)*part, y})
		}
	}
}

// braille are the dots of a Braille letter by row and column (Unicode 16, Braille Patterns U+2800).
var braille = [4][2]uint8{{0x01, 0x08}, {0x02, 0x10}, {0x04, 0x20}, {0x40, 0x80}}

func (p *Letters) rule(through []Point, s Stroke) {
	if len(through) != 2 || !finite(through[0]) || !finite(through[1]) {
		return
	}
	a, b := through[0], through[1]
	switch {
	case a.X == b.X:
		sign := p.either('│', '|')
		if s.Ink == Brass {
			sign = p.either('┊', '!')
		}
		for y := min(a.Y, b.Y); y < max(a.Y, b.Y); y++ {
			p.cell(a.X, y).rule = sign
		}
	case s.Width > 1:
		for x := a.X; x < b.X; x++ {
			p.cell(x, a.Y).rule = p.either('┄', '-')
		}
	}
}

// Area shades the letters whose middle is inside the outline.
func (p *Letters) Area(outline []Point, _ Ink) {
	for row := range p.rows - 1 {
		for col := range p.columns {
			if inside(Point{float64(col) + 0.5, float64(row) + 0.5}, outline) {
				p.cell(float64(col), float64(row)).band = true
			}
		}
	}
}

// inside tells whether a ray from q to the right crosses the outline an odd number of times.
func inside(q Point, outline []Point) bool {
	in := false
	for i, a := range outline {
		b := outline[(i+len(outline)-1)%len(outline)]
		if (a.Y > q.Y) != (b.Y > q.Y) && q.X < a.X+(b.X-a.X)*(q.Y-a.Y)/(b.Y-a.Y) {
			in = !in
		}
	}
	return in
}

// Mark writes one sign.
func (p *Letters) Mark(at Point, m Mark) {
	sign := [...][2]rune{Disc: {'○', 'o'}, Cross: {'×', 'x'}, ArrowUp: {'↑', '^'}, ArrowDown: {'↓', 'v'}, ArrowLeft: {'←', '<'}, ArrowRight: {'→', '>'}}[m.Shape]
	at.Y = min(at.Y, float64(p.rows)-1.5)
	p.cell(at.X, at.Y).letter = p.either(sign[0], sign[1])
}

// Text writes words; what cannot be printed becomes a question mark.
func (p *Letters) Text(at Point, words string, l Lettering) {
	letters := []rune(words)
	x := math.Floor(at.X)
	switch l.Anchor {
	case Middle:
		x = math.Floor(at.X - float64(len(letters))/2 + 0.5)
	case End:
		x = math.Floor(at.X) - float64(len(letters))
	}
	x = max(0, min(x, float64(p.columns-len(letters))))
	for i, r := range letters {
		if !unicode.IsPrint(r) || p.ascii && r > unicode.MaxASCII {
			r = map[rune]rune{'…': '~', '±': '~', '−': '-', '·': '.'}[r]
		}
		if r == 0 {
			r = '?'
		}
		p.cell(x+float64(i), at.Y).letter = r
	}
}

// Begin does nothing: nothing can be pointed at.
func (p *Letters) Begin(Label, Point, float64) {}

// End does nothing.
func (p *Letters) End() {}

// String returns the lines drawn, without blanks at their ends.
func (p *Letters) String() string {
	var b strings.Builder
	for row := range p.rows {
		line := make([]rune, p.columns)
		for col := range line {
			c := p.cells[row*p.columns+col]
			switch {
			case c.letter != 0:
				line[col] = c.letter
			case c.dots != 0 && p.ascii && c.dashed:
				line[col] = '.'
			case c.dots != 0 && p.ascii:
				line[col] = '*'
			case c.dots != 0:
				line[col] = 0x2800 + rune(c.dots)
			case c.rule != 0:
				line[col] = c.rule
			case c.band:
				line[col] = p.either('░', ':')
			default:
				line[col] = ' '
			}
		}
		b.WriteString(strings.TrimRight(string(line), " ") + "\n")
	}
	return b.String()
}

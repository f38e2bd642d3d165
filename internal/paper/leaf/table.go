package leaf

import (
	"math"
	"slices"
	"strings"
	"unicode/utf8"

	"timeball/internal/chart/pen"
)

// Align is where the words of a column stand.
type Align int

// The alignments. Decimal puts the decimal points of a column under each other.
const (
	Start Align = iota
	End
	Decimal
)

// Column is a column of a table.
type Column struct {
	Title string
	Width float64 // mm; 0 for as wide as its words, or its share of what is left
	Share float64 // of the width that other columns leave; words are wrapped in it
	Align Align
	Heads bool // its words name the row they stand in
}

// Table is a ruled table. Its heading is repeated on every leaf and no row is
// split, unless it is higher than a leaf; the last three rows stay together,
// and a sum with the row above it.
type Table struct {
	Columns []Column
	Rows    [][]string
	Strong  []int   // rows in bold under a rule, such as sums
	Size    float64 // points; 9 if nought
	Gutter  float64 // blank between columns, mm; 3.5 if nought
	Open    bool    // without rules between the rows
	List    bool    // without titles: a list in columns, each read downwards, and no table
}

// cell is the words of a cell as they are set.
type cell struct {
	lines []string
	split int // bytes before the decimal point, for Decimal
}

type columnPlace struct {
	Column
	x, width      float64
	before, after float64 // mm on either side of the decimal point
}

// Table sets a table as wide as the lines.
func (f *Flow) Table(t Table) {
	if len(t.Columns) == 0 {
		return
	}
	if t.Size <= 0 {
		t.Size = 9
	}
	if t.Gutter <= 0 {
		t.Gutter = 3.5
	}
	s, head := Style{Face: Sans, Size: t.Size}, Style{Face: SansBold, Size: t.Size - 0.7, Ink: pen.Ink2}
	places := t.places(f.Left(), f.Width(), s, head)
	titles, high := make([][]string, len(places)), 0
	for i, p := range places {
		titles[i] = folded(p.Title, head, p.width)
		high = max(high, len(titles[i]))
	}
	titled := slices.ContainsFunc(t.Columns, func(c Column) bool { return c.Title != "" })
	t.List = t.List && !titled
	pad := 0.12 * t.Size // above and below the words of a row, mm
	heading := func(tag Tag) {
		if titled {
			f.In(tag, func() {
				for i, p := range places {
					f.In(p.heading(), func() {
						for k, line := range titles[i] {
							y := f.y + float64(high-len(titles[i])+k)*head.Line()
							f.setTitle(p, y, line, head)
						}
					})
				}
			})
			f.y += float64(high)*head.Line() + 1
		}
		f.Rule(0.3, pen.Ink1)
		f.y += 0.4
	}
	rows := make([][]cell, len(t.Rows))
	heights := make([]int, len(t.Rows))
	for r, row := range t.Rows {
		style := t.style(r, s)
		rows[r], heights[r] = make([]cell, len(places)), 1
		for i, p := range places {
			if i < len(row) {
				rows[r][i] = p.cell(row[i], style)
				heights[r] = max(heights[r], len(rows[r][i].lines))
			}
		}
	}
	f.Space(1)
	f.Need(float64(high)*head.Line() + 3*(s.Line()+2*pad))
	table := f.leaf.element(t.tag())
	var parts [][]*element
	f.leaf.into(table, func() {
		heading(TagRow)
		parts = f.parts(t, rows)
	})
	for r, cells := range rows {
		style := t.style(r, s)
		together := 1
		switch left := len(rows) - r; {
		case left <= 3: // the last rows do not part
			together = left
		case slices.Contains(t.Strong, r+1): // nor a sum from what it sums
			together = 2
		}
		need := 0.0
		for _, high := range heights[r : r+together] {
			need += float64(high)*s.Line() + 2*pad
		}
		if own := float64(heights[r])*s.Line() + 2*pad; f.Room() < own || f.Room() < need && r > 0 && need < f.leaf.Size.Height/3 {
			f.NewLeaf()
			heading(tagRepeated)
		}
		if style.Face == SansBold {
			f.Rule(0.2, pen.Ink1)
		}
		f.y += pad
		for k := range heights[r] {
			if f.Room() < s.Line() { // only in a row higher than a leaf
				f.NewLeaf()
				heading(tagRepeated)
			}
			for i, p := range places {
				if k < len(cells[i].lines) {
					f.leaf.into(parts[r][i], func() { p.set(f.leaf, f.y, cells[i], k, style) })
				}
			}
			f.y += s.Line()
		}
		f.y += pad
		switch {
		case r == len(rows)-1:
			f.Rule(0.3, pen.Ink1)
		case style.Face == SansBold:
			f.Rule(0.2, pen.Ink1)
		case !t.Open && !slices.Contains(t.Strong, r+1):
			f.Rule(0.12, pen.Rule)
		}
	}
	if len(rows) == 0 {
		f.Rule(0.3, pen.Ink1)
	}
	f.y += 2.5
}

func (t Table) tag() Tag {
	if t.List {
		return TagList
	}
	return TagTable
}

// heading returns what the title of a column is in the structure.
func (c Column) heading() Tag {
	if c.Title == "" {
		return TagCell
	}
	return TagColumnHead
}

// parts begins the rows of a table and their cells, or the items of a list,
// one column after the other, and returns them.
func (f *Flow) parts(t Table, rows [][]cell) [][]*element {
	parts := make([][]*element, len(rows))
	if t.List {
		for range t.Columns {
			for r := range rows {
				f.In(TagItem, func() { parts[r] = append(parts[r], f.leaf.element(TagBody)) })
			}
		}
		return parts
	}
	for r := range rows {
		f.In(TagRow, func() {
			for i, c := range t.Columns {
				tag := TagCell
				if c.Heads && strings.Trim(strings.Join(rows[r][i].lines, ""), " ") != "" {
					tag = TagRowHead
				}
				parts[r] = append(parts[r], f.leaf.element(tag))
			}
		})
	}
	return parts
}

func (t Table) style(row int, s Style) Style {
	if slices.Contains(t.Strong, row) {
		s.Face = SansBold
	}
	return s
}

// places returns where the columns stand. Columns without a width or a share
// are as wide as their widest words, or narrowed if there is no room.
func (t Table) places(left, total float64, s, head Style) []columnPlace {
	places := make([]columnPlace, len(t.Columns))
	shares, used, soft := 0.0, t.Gutter*float64(len(places)-1), 0.0
	for i, c := range t.Columns {
		p := columnPlace{Column: c, width: c.Width}
		natural := 0.0
		for word := range strings.FieldsSeq(c.Title) {
			natural = max(natural, Width(word, head))
		}
		for r, row := range t.Rows {
			if i >= len(row) {
				continue
			}
			style := t.style(r, s)
			if c.Align == Decimal && numeric(row[i]) {
				n := decimal(row[i])
				p.before, p.after = max(p.before, Width(row[i][:n], style)), max(p.after, Width(row[i][n:], style))
			} else {
				natural = max(natural, Width(row[i], style))
			}
		}
		natural = max(natural, p.before+p.after)
		switch {
		case c.Share > 0:
			shares += c.Share
			p.width = 0
		case c.Width > 0:
			used += c.Width
		default:
			p.width = natural
			used += natural
			soft += natural
		}
		places[i] = p
	}
	const least = 12 // mm for each share
	if room := total - (used - soft) - least*shares; soft > room {
		most := widest(places, room)
		for i, p := range places {
			if p.Column.Width <= 0 && p.Share <= 0 {
				places[i].width = min(p.width, most)
			}
		}
		used = total - least*shares
	}
	between := t.Gutter
	if shares == 0 && len(places) > 1 && used < total {
		between += (total - used) / float64(len(places)-1)
	}
	x := left
	for i := range places {
		if p := &places[i]; p.Share > 0 {
			p.width = max(total-used, least*shares) * p.Share / shares
		}
		places[i].x = x
		x += places[i].width + between
	}
	return places
}

// widest returns the width to which the columns as wide as their words must be
// held so that they fit in room: the widest give way first.
func widest(places []columnPlace, room float64) float64 {
	var widths []float64
	for _, p := range places {
		if p.Column.Width <= 0 && p.Share <= 0 {
			widths = append(widths, p.width)
		}
	}
	slices.Sort(widths)
	for i, w := range widths {
		if each := room / float64(len(widths)-i); w > each {
			return max(each, 1)
		}
		room -= w
	}
	return math.Inf(1)
}

func numeric(words string) bool { return strings.ContainsAny(words, "0123456789") }

// decimal returns where in words the part after the decimal alignment begins:
// at the point of the last number, or behind its last figure if it has none.
// Words without a number stand at the end of their column.
func decimal(words string) int {
	last := strings.LastIndexAny(words, "0123456789")
	if last < 0 {
		return len(words)
	}
	point, i := -1, last
	for ; i >= 0; i-- {
		switch c := words[i]; {
		case c >= '0' && c <= '9':
		case c == '.' && point < 0 && i > 0 && words[i-1] >= '0' && words[i-1] <= '9':
			point = i
		default:
			i = 0
		}
	}
	if point >= 0 {
		return point
	}
	return last + 1
}

func (p columnPlace) cell(words string, s Style) cell {
	if p.Align == Decimal && numeric(words) && Width(words, s) <= p.width+1e-6 {
		return cell{[]string{words}, decimal(words)}
	}
	return cell{folded(words, s, p.width), -1}
}

func (p columnPlace) set(l *Leaf, y float64, c cell, k int, s Style) {
	words := c.lines[k]
	switch {
	case p.Align == Start:
		l.line(p.x, y, p.width, words, s)
	case p.Align == Decimal && c.split >= 0 && utf8.ValidString(words):
		// Set as one piece, so that it is read and copied as one.
		at := p.x + p.width - p.after - Width(words[:c.split], s)
		l.Text(max(at, p.x), y+s.baseline(), words, s)
	default:
		l.line(p.x, y, p.width, words, s.At(pen.End))
	}
}

func (f *Flow) setTitle(p columnPlace, y float64, words string, s Style) {
	if p.Align != Start {
		s = s.At(pen.End)
	}
	f.leaf.line(p.x, y, p.width, words, s)
}

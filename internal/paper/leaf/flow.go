package leaf

import (
	"fmt"
	"strings"

	"timeball/internal/chart"
	"timeball/internal/chart/pen"
)

// Margins are the blank edges of a leaf, mm.
type Margins struct{ Left, Top, Right, Bottom float64 }

// Generous are the margins of a letter of the workshop.
func Generous() Margins { return Margins{Left: 22, Top: 24, Right: 22, Bottom: 24} }

// The styles of running words.
var (
	TitleStyle     = Style{Face: SerifBold, Size: 21}
	HeadingStyle   = Style{Face: SerifBold, Size: 12.5}
	ParagraphStyle = Style{Face: Serif, Size: 10.5}
	SmallStyle     = Style{Face: Serif, Size: 9}
	LabelStyle     = Style{Face: Sans, Size: 8.5, Ink: pen.Ink2}
)

// Flow fills leaves from the top, one thing under the other, and goes on to a
// new leaf where there is no room.
type Flow struct {
	document *Document
	margins  Margins
	head     func(l *Leaf, page int)
	leaf     *Leaf
	first    int // index of the first leaf of the flow
	y        float64
	held     bool // within a column, which does not go on to a new leaf
}

// Flow returns a flow that begins on a new leaf. Head, which may be nil, draws
// into the upper margin of every leaf; page counts from 1.
func (d *Document) Flow(m Margins, head func(l *Leaf, page int)) *Flow {
	f := &Flow{document: d, margins: m, head: head, first: len(d.Leaves)}
	f.NewLeaf()
	return f
}

// NewLeaf goes on to a new leaf.
func (f *Flow) NewLeaf() {
	if f.held {
		return
	}
	f.leaf, f.y = f.document.NewLeaf(), f.margins.Top
	if f.head != nil {
		f.In(TagHeader, func() { f.head(f.leaf, f.Page()) })
	}
}

// Leaf returns the leaf that is being filled.
func (f *Flow) Leaf() *Leaf { return f.leaf }

// Page returns the number of the leaf within the flow, from 1.
func (f *Flow) Page() int { return len(f.document.Leaves) - f.first }

// Y returns where the next thing begins, mm.
func (f *Flow) Y() float64 { return f.y }

// Left returns where the lines begin, mm.
func (f *Flow) Left() float64 { return f.margins.Left }

// Width returns how long the lines are, mm.
func (f *Flow) Width() float64 {
	return max(f.leaf.Size.Width-f.margins.Left-f.margins.Right, 20)
}

// Room returns the height left on the leaf, mm.
func (f *Flow) Room() float64 { return f.leaf.Size.Height - f.margins.Bottom - f.y }

// GoTo makes the next thing begin at y, mm.
func (f *Flow) GoTo(y float64) { f.y = y }

// Space leaves mm blank, but not at the top of a leaf.
func (f *Flow) Space(mm float64) {
	if f.y > f.margins.Top || mm < 0 {
		f.y += mm
	}
}

// Need goes on to a new leaf if less than mm of height is left, unless the
// leaf is still empty.
func (f *Flow) Need(mm float64) {
	if f.Room() < mm && f.y > f.margins.Top {
		f.NewLeaf()
	}
}

// Title sets the title of a paper.
func (f *Flow) Title(words string) {
	f.In(TagTitle, func() { f.Words(words, TitleStyle) })
	f.Space(2)
}

// Heading sets a heading and keeps it with the first lines of what follows.
func (f *Flow) Heading(words string) { f.HeadingOf(words, 12) }

// HeadingOf sets a heading and keeps it with the mm of height that follow,
// such as those of a figure.
func (f *Flow) HeadingOf(words string, mm float64) {
	f.Need(float64(len(Wrap(words, HeadingStyle, f.Width())))*HeadingStyle.Line() + 6 + mm)
	f.Space(4)
	f.In(TagHeading, func() { f.Words(words, HeadingStyle) })
	f.Space(1.2)
}

// Paragraph sets running words.
func (f *Flow) Paragraph(words string) {
	f.Words(words, ParagraphStyle)
	f.Space(1.8)
}

// Words sets words in a style, line by line; no first line is left alone at
// the foot of a leaf.
func (f *Flow) Words(words string, s Style) { f.indented(0, words, s) }

func (f *Flow) indented(by float64, words string, s Style) {
	if strings.TrimSpace(words) == "" {
		return
	}
	lines := folded(words, s, f.Width()-by)
	f.Need(float64(min(len(lines), 2)) * s.Line())
	f.leaf.paragraph(func() {
		for _, line := range lines {
			f.Need(s.Line())
			f.leaf.line(f.Left()+by, f.y, f.Width()-by, line, s)
			f.y += s.Line()
		}
	})
}

// Items sets a list with a dash before each item.
func (f *Flow) Items(list []string) { f.list(TagList, list, func(int) string { return "–" }, 5) }

// Numbered sets a list with a number before each item.
func (f *Flow) Numbered(list []string) {
	f.list(TagNumbered, list, func(i int) string { return fmt.Sprintf("%d.", i+1) }, 7)
}

func (f *Flow) list(tag Tag, list []string, sign func(int) string, by float64) {
	s := ParagraphStyle
	f.In(tag, func() {
		for i, item := range list {
			if strings.TrimSpace(item) == "" {
				continue
			}
			f.Need(float64(min(len(Wrap(item, s, f.Width()-by)), 2)) * s.Line())
			f.In(TagItem, func() {
				f.In(TagLabel, func() { f.leaf.line(f.Left(), f.y, by, sign(i), s) })
				f.In(TagBody, func() { f.indented(by, item, s) })
			})
			f.Space(0.8)
		}
	})
	f.Space(1)
}

// Facts sets pairs of a name and its words, the words in a column of their
// own; a pair without words is left out.
func (f *Flow) Facts(pairs [][2]string) {
	column := 0.0
	for _, p := range pairs {
		if p[1] != "" {
			column = max(column, Width(p[0], LabelStyle))
		}
	}
	column = min(column, 0.4*f.Width()) + 5
	f.In(TagList, func() {
		for _, p := range pairs {
			if strings.TrimSpace(p[1]) != "" {
				f.In(TagItem, func() { f.fact(p, column) })
				f.Space(0.5)
			}
		}
	})
	f.Space(1.5)
}

// fact sets a name and its words, which stand column mm from the left.
func (f *Flow) fact(p [2]string, column float64) {
	names, words := folded(p[0], LabelStyle, column-4), folded(p[1], ParagraphStyle, f.Width()-column)
	f.Need(float64(min(max(len(names), len(words)), 8)) * ParagraphStyle.Line())
	label, body := f.leaf.element(TagLabel), f.leaf.element(TagBody)
	for i := range max(len(names), len(words)) {
		f.Need(ParagraphStyle.Line())
		base := f.y + ParagraphStyle.baseline()
		if i < len(names) {
			f.leaf.into(label, func() { f.leaf.Text(f.Left(), base, names[i], LabelStyle) })
		}
		if i < len(words) {
			f.leaf.into(body, func() { f.leaf.Text(f.Left()+column, base, words[i], ParagraphStyle) })
		}
		f.y += ParagraphStyle.Line()
	}
}

// Figure draws a figure as wide as the lines, or smaller if it would be higher
// than a leaf.
func (f *Flow) Figure(figure chart.Figure) {
	if !(figure.Size.Width > 0) || !(figure.Size.Height > 0) {
		return
	}
	high := f.FigureHeight(figure)
	f.Need(high)
	f.y += f.leaf.Figure(f.Left(), f.y, high*figure.Size.Width/figure.Size.Height, figure)
	f.Space(1.5)
}

// FigureHeight returns how high Figure will draw a figure, mm.
func (f *Flow) FigureHeight(figure chart.Figure) float64 {
	if !(figure.Size.Width > 0) || !(figure.Size.Height > 0) {
		return 0
	}
	return min(f.Width()*figure.Size.Height/figure.Size.Width, f.leaf.Size.Height-f.margins.Top-f.margins.Bottom)
}

// Beside sets columns side by side on one leaf, each a flow of its own that
// cannot go on to a new leaf, and goes on below the longest. Height is what
// they need, mm, and shares are their parts of the width.
func (f *Flow) Beside(height float64, shares []float64, columns ...func(*Flow)) {
	f.Need(height)
	const between = 8
	all := 0.0
	for _, s := range shares {
		all += s
	}
	room := f.Width() - between*float64(len(columns)-1)
	x, lowest := f.Left(), f.y
	for i, column := range columns {
		w := room / float64(len(columns))
		if i < len(shares) && all > 0 {
			w = room * shares[i] / all
		}
		c := *f
		c.held, c.margins.Left, c.margins.Right = true, x, f.leaf.Size.Width-x-w
		column(&c)
		lowest = max(lowest, c.y)
		x += w + between
	}
	f.y = lowest
}

// Fact is a figure with its name above and a remark below.
type Fact struct{ Label, Words, After string }

// Panel sets a few figures in large type side by side between two rules.
func (f *Flow) Panel(facts ...Fact) {
	if len(facts) == 0 {
		return
	}
	const pad = 2.2
	w := f.Width() / float64(len(facts))
	large, after := Style{Face: SerifBold, Size: 15}, Style{Face: Sans, Size: 8.5}
	inside := func(i int) float64 { // the first and the last stand at the ends of the rules
		if i == 0 || i == len(facts)-1 {
			return w - pad
		}
		return w - 2*pad
	}
	for i, fact := range facts { // all in the size of the longest
		for large.Size > 9 && Width(fact.Words, large) > inside(i) {
			large.Size -= 0.25
		}
	}
	labels, words, afters := make([][]string, len(facts)), make([][]string, len(facts)), make([][]string, len(facts))
	var high [3]int
	for i, fact := range facts {
		labels[i], words[i], afters[i] = folded(fact.Label, LabelStyle, inside(i)), folded(fact.Words, large, inside(i)), folded(fact.After, after, inside(i))
		high = [3]int{max(high[0], len(labels[i])), max(high[1], len(words[i])), max(high[2], len(afters[i]))}
	}
	height := float64(high[0])*LabelStyle.Line() + float64(high[1])*large.Line() + float64(high[2])*after.Line() + 2*pad
	f.Need(height)
	f.Rule(0.3, pen.Ink1)
	set := func(i int) {
		x, y := f.Left()+float64(i)*w, f.y+pad
		if i > 0 {
			f.leaf.Rule(x, f.y+pad, x, f.y+height-pad, 0.1, pen.RuleStrong)
			x += pad
		}
		part := func(k int, lines []string, style Style) {
			for n, line := range lines {
				f.leaf.line(x, y+float64(n)*style.Line(), w, line, style)
			}
			y += float64(high[k]) * style.Line()
		}
		f.In(TagLabel, func() { part(0, labels[i], LabelStyle) })
		f.In(TagBody, func() {
			f.In(TagParagraph, func() { part(1, words[i], large) })
			f.In(TagParagraph, func() { part(2, afters[i], after) })
		})
	}
	f.In(TagList, func() {
		for i := range facts {
			f.In(TagItem, func() { set(i) })
		}
	})
	f.y += height
	f.Rule(0.3, pen.Ink1)
	f.y += 2.5
}

// Rule draws a line across.
func (f *Flow) Rule(widthMM float64, ink pen.Ink) {
	f.leaf.Rule(f.Left(), f.y, f.Left()+f.Width(), f.y, widthMM, ink)
}

// Close sets the foot of every leaf of the flow: the title of the document,
// the digest of what the paper rests on and "page 1 of 2". Nothing must be
// added to the flow after it.
func (f *Flow) Close(digest string) {
	leaves := f.document.Leaves[f.first:]
	for i, l := range leaves {
		l.In(TagFooter, func() { f.foot(l, digest, fmt.Sprintf("page %d of %d", i+1, len(leaves))) })
	}
}

func (f *Flow) foot(l *Leaf, digest, page string) {
	s := Style{Face: Sans, Size: 7.5, Ink: pen.Ink2}
	right := l.Size.Width - f.margins.Right
	y := l.Size.Height - f.margins.Bottom + 7
	l.Rule(f.margins.Left, y, right, y, 0.15, pen.RuleStrong)
	y += 4
	l.Text(right, y, page, s.At(pen.End))
	room := right - f.margins.Left - Width(page, s) - 4
	title := Fitted(f.document.Title, s, room)
	l.Text(f.margins.Left, y, title, s)
	room -= Width(title, s) + 4
	switch {
	case digest == "":
	case Width(digest, s) > room:
		l.Text(f.margins.Left, y+3.4, Fitted(digest, s, right-f.margins.Left), s)
	default:
		l.Text(f.margins.Left+Width(title, s)+4+room/2, y, digest, s.At(pen.Middle))
	}
}

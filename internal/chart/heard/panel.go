package heard

import (
	"math"
	"slices"

	"timeball/internal/chart/pen"
)

// panel is a ruled part of a sheet: one rule for each tick of y, the words of
// the ticks in the margin, those of x below, and above it the words of flags.
type panel struct {
	s           *sheet
	left, right float64 // the room, its margin included
	height      float64 // of the frame
	x, y        scale
	xs, ys      []tick
	zero        float64 // where the heavier rule is; NaN for none
	bare        bool    // no words in the margin: those of a panel beside it hold
	flags       []flag
	rows        int // rows of flags
	bracketed   bool
	across      string // what x is, in words
}

// flag is a vertical rule with its words above the frame.
type flag struct {
	at     float64
	words  string
	ink    pen.Ink
	stroke pen.Stroke
	row    int
	end    bool // the words end at the rule
	said   string
}

// margin returns the room that the words of y need.
func (s *sheet) margin(ys []tick) float64 {
	w := 0.0
	for _, t := range ys {
		w = max(w, s.advance(t.words))
	}
	return math.Ceil(min(w, 0.45*s.size.Width)) + s.px(12)
}

// plan finds the places of x and, above the frame, of the flags.
func (p *panel) plan() {
	s := p.s
	left := p.left + s.px(2)
	if !p.bare {
		left = p.left + s.margin(p.ys)
	}
	p.x.a, p.x.b = left, max(left+40, p.right-s.px(20))
	p.place()
}

// place gives each flag a row for its words, from the right to the left, so
// that no words are over others or over the rule of a flag further up.
func (p *panel) place() {
	s := p.s
	flags := p.flags[:0:0]
	for _, f := range p.flags {
		if usable(f.at) && p.x.holds(f.at) {
			flags = append(flags, f)
		}
	}
	slices.SortStableFunc(flags, func(a, b flag) int {
		if a.at < b.at {
			return -1
		} else if a.at > b.at {
			return 1
		}
		return 0
	})
	if len(flags) > 60 { // they could not be told apart
		kept := flags[:0]
		for _, f := range flags {
			if n := len(kept); n > 0 && p.x.at(f.at)-p.x.at(kept[n-1].at) < s.px(4) {
				continue
			}
			kept = append(kept, f)
		}
		flags = kept
	}
	for i := range flags {
		flags[i].row = -1
	}
	boxes := make([]box, len(flags))
	for _, strict := range []bool{true, false} {
		for i := len(flags) - 1; i >= 0; i-- {
			if flags[i].row < 0 {
				boxes[i] = p.placed(flags, boxes, i, strict)
			}
		}
	}
	p.flags = flags
}

// placed finds a row for the words of flag i and returns their room. With
// strict the words are not put where they would leave a flag to the left none.
func (p *panel) placed(flags []flag, boxes []box, i int, strict bool) box {
	const most = 5
	s, gap, f := p.s, p.s.px(5), &flags[i]
	own := p.x.at(f.at)
	fits := func(b box, row int) bool {
		if b.left < p.left || b.right > p.right {
			return false
		}
		for j, other := range flags {
			x := p.x.at(other.at)
			switch within := x > b.left-2 && x < b.right+2; {
			case j == i:
			case strict && j < i && x > b.left-2:
				return false
			case other.row < 0:
			case other.row == row && b.left-gap < boxes[j].right && boxes[j].left-gap < b.right,
				within && other.row >= row,
				own > boxes[j].left-2 && own < boxes[j].right+2 && row >= other.row:
				return false
			}
		}
		return true
	}
	full := s.elide(f.words, 0.9*(p.right-p.left))
	short := s.elide(f.words, max(p.right-own, own-p.left)-2*gap)
	for _, words := range []string{full, short} {
		w := s.advance(words)
		for row := range most {
			for _, end := range []bool{false, true} {
				b := box{left: own + gap, right: own + gap + w}
				if end {
					b = box{left: own - gap - w, right: own - gap}
				}
				if words != "" && fits(b, row) {
					f.row, f.end, f.said = row, end, words
					p.rows = max(p.rows, row+1)
					return b
				}
			}
		}
	}
	return box{}
}

// rule draws the panel with its top at the height the sheet is drawn to and
// moves that down past the words of x.
func (p *panel) rule() {
	s := p.s
	top := s.y + float64(p.rows)*s.line() + s.px(4)
	p.y.a, p.y.b = top+p.height, top
	for _, t := range p.ys {
		if !p.y.holds(t.at) {
			continue
		}
		y, k := p.y.at(t.at), pen.Stroke{Ink: pen.Rule, Width: 1}
		if t.at == p.zero {
			k = pen.Stroke{Ink: pen.RuleStrong, Width: 1.6}
		}
		s.stroke(pen.XY(p.x.a, y), pen.XY(p.x.b, y), k)
		if !p.bare {
			s.say(pen.XY(p.x.a-s.px(7), y), s.elide(t.words, p.x.a-p.left-s.px(8)), pen.Ink2, pen.End)
		}
	}
	s.stroke(pen.XY(p.x.a, p.y.a), pen.XY(p.x.b, p.y.a), pen.Stroke{Ink: pen.RuleStrong, Width: 1})
	below := s.px(14)
	if p.bracketed {
		below = s.px(24)
	}
	end, first := math.Inf(-1), p.left
	if p.bare {
		first -= s.px(18)
	}
	for _, t := range p.xs {
		if !p.x.holds(t.at) {
			continue
		}
		x := p.x.at(t.at)
		s.stroke(pen.XY(x, p.y.a), pen.XY(x, p.y.a+s.px(4)), pen.Stroke{Ink: pen.RuleStrong, Width: 1})
		w := s.advance(t.words) / 2
		x = max(first+w, min(x, p.right-w))
		if t.words == "" || x-w < end+s.px(6) {
			continue
		}
		end = x + w
		s.say(pen.XY(x, p.y.a+below), t.words, pen.Ink2, pen.Middle)
	}
	s.y = p.y.a + below + 0.5*s.line()
	if p.across != "" {
		words := s.elide(p.across, p.right-p.x.a)
		at := pen.XY(p.x.b, s.y+0.5*s.line())
		s.say(at, words, pen.Ink2, pen.End)
		s.y += s.line()
	}
	for _, f := range p.flags {
		x, from := p.x.at(f.at), p.y.b
		if f.row >= 0 {
			from = top - s.px(4) - float64(f.row+1)*s.line() + s.px(2)
		}
		s.stroke(pen.XY(x, from), pen.XY(x, p.y.a), f.stroke)
	}
	for _, f := range p.flags {
		if f.row < 0 {
			continue
		}
		at, a := pen.XY(p.x.at(f.at)+s.px(5), top-s.px(4)-(float64(f.row)+0.5)*s.line()), pen.Start
		if f.end {
			at.X, a = p.x.at(f.at)-s.px(5), pen.End
		}
		s.sayOver(at, f.said, f.ink, a)
	}
}

// bracket draws a span of x below the frame.
func (p *panel) bracket(from, to float64, ink pen.Ink) {
	s := p.s
	a, b := p.x.kept(min(from, to)), p.x.kept(max(from, to))
	y, up := p.y.a+s.px(10), s.px(5)
	s.f.ground.Line([]pen.Point{pen.XY(a, y-up), pen.XY(a, y), pen.XY(b, y), pen.XY(b, y-up)}, pen.Stroke{Ink: ink, Width: 1.5})
}

// point is a value over x with half its 95% interval.
type point struct{ x, y, pm float64 }

// within returns the points that can be drawn, in order of x, their half
// intervals not negative.
func within(ps []point) []point {
	out := make([]point, 0, len(ps))
	for _, q := range ps {
		if usable(q.x) && usable(q.y) {
			out = append(out, point{q.x, q.y, half(q.pm)})
		}
	}
	slices.SortStableFunc(out, func(a, b point) int {
		switch {
		case a.x < b.x:
			return -1
		case a.x > b.x:
			return 1
		}
		return 0
	})
	return out
}

// thin returns at most most points, evenly chosen, with the first and the last.
func thin(ps []point, most int) []point {
	if len(ps) <= most {
		return ps
	}
	out := make([]point, 0, most)
	for k := range most {
		out = append(out, ps[k*(len(ps)-1)/(most-1)])
	}
	return out
}

// band shades the intervals of ps, cut at the frame.
func (p *panel) band(ps []point) {
	ps = cut(ps, p.x)
	var outline []pen.Point
	for _, q := range ps {
		outline = append(outline, pen.XY(p.x.at(q.x), p.y.kept(q.y+q.pm)))
	}
	for _, q := range slices.Backward(ps) {
		outline = append(outline, pen.XY(p.x.at(q.x), p.y.kept(q.y-q.pm)))
	}
	if len(ps) > 1 {
		p.s.f.ground.Area(outline, pen.SeaSoft)
	}
}

// curve draws a line through ps where it is within the frame.
func (p *panel) curve(ps []point, k pen.Stroke) {
	var through []pen.Point
	for i, q := range ps {
		if p.y.holds(q.y) {
			if i > 0 && len(through) == 0 && !p.y.holds(ps[i-1].y) {
				through = append(through, p.edge(ps[i-1], q))
			}
			through = append(through, pen.XY(p.x.at(q.x), p.y.at(q.y)))
			continue
		}
		if len(through) > 0 {
			through = append(through, p.edge(q, ps[i-1]))
			p.s.f.ground.Line(through, k)
			through = nil
		}
	}
	if len(through) > 1 {
		p.s.f.ground.Line(through, k)
	}
}

// edge returns where the line from a point outside the frame to one inside meets it.
func (p *panel) edge(outside, inside point) pen.Point {
	y := p.y.hi
	if outside.y < p.y.lo {
		y = p.y.lo
	}
	x := inside.x + (outside.x-inside.x)*(y-inside.y)/(outside.y-inside.y)
	return pen.XY(p.x.kept(x), p.y.at(y))
}

// whisker draws the interval of q, with feet where it ends within the frame.
func (p *panel) whisker(q point, k pen.Stroke) {
	s := p.s
	if !(q.pm > 0) || q.y-q.pm > p.y.hi || q.y+q.pm < p.y.lo {
		return
	}
	x, r := p.x.at(q.x), s.px(3)
	s.stroke(pen.XY(x, p.y.kept(q.y-q.pm)), pen.XY(x, p.y.kept(q.y+q.pm)), k)
	for _, v := range []float64{q.y - q.pm, q.y + q.pm} {
		if p.y.holds(v) {
			s.stroke(pen.XY(x-r, p.y.at(v)), pen.XY(x+r, p.y.at(v)), k)
		}
	}
}

// dot marks q, or by an arrow the edge it lies beyond.
func (p *panel) dot(q point, m pen.Mark) {
	at := pen.XY(p.x.at(q.x), p.y.kept(q.y))
	switch {
	case q.y > p.y.hi:
		m = pen.Mark{Shape: pen.ArrowUp, Radius: p.s.px(3), Fill: pen.Sea}
		at.Y += p.s.px(3)
	case q.y < p.y.lo:
		m = pen.Mark{Shape: pen.ArrowDown, Radius: p.s.px(3), Fill: pen.Sea}
		at.Y -= p.s.px(3)
	}
	p.s.f.ground.Mark(at, m)
}

// empty says that there is nothing to draw, in the middle of the frame.
func (p *panel) empty(words string) {
	s := p.s
	s.sayOver(pen.XY((p.x.a+p.x.b)/2, (p.y.a+p.y.b)/2-s.line()), s.elide(words, p.x.b-p.x.a), pen.Ink2, pen.Middle)
}

// cut returns what of ps lies on the scale, with the points between two of
// them at its ends.
func cut(ps []point, x scale) []point {
	var out []point
	for i, q := range ps {
		if i > 0 {
			for _, end := range []float64{x.lo, x.hi} {
				if r := ps[i-1]; r.x < end && end < q.x {
					part := (end - r.x) / (q.x - r.x)
					out = append(out, point{end, r.y + part*(q.y-r.y), r.pm + part*(q.pm-r.pm)})
				}
			}
		}
		if x.holds(q.x) {
			out = append(out, q)
		}
	}
	return out
}

package chart

import (
	"cmp"
	"slices"
	"strings"

	"timeball/internal/chart/pen"
)

// bands draws the 95% bands of paths, each a stretch without a step.
func (p *plot) bands(paths [][]Estimate) {
	for _, path := range paths {
		if len(path) < 2 {
			continue
		}
		var low, high []pen.Point
		for _, e := range path {
			x := p.x.at(seconds(e.At))
			low, high = append(low, pen.XY(x, p.y.at(e.Lo))), append(high, pen.XY(x, p.y.at(e.Hi)))
		}
		if high[len(high)-1].X-low[0].X < p.figure.Size.px(1) {
			continue // too narrow to see
		}
		low, high = picked(low, thinned(low, 2)), picked(high, thinned(high, 2))
		slices.Reverse(low)
		if outline := clipped(append(high, low...), p.y.b, p.y.a); len(outline) > 2 {
			p.figure.ground.Area(outline, pen.SeaSoft)
		}
	}
}

func (p *plot) lines(paths [][]Estimate, s pen.Stroke) {
	for _, path := range paths {
		at := make([]pen.Point, len(path))
		for i, e := range path {
			at[i] = pen.XY(p.x.at(seconds(e.At)), p.y.at(e.Value))
		}
		at = picked(at, thinned(at, 2))
		p.figure.ground.Line(at, s)
		p.busy = append(p.busy, at...)
	}
}

// circles draws a small circle for each comparison; one beyond the frame
// becomes an arrow at its edge. The labels are those of cs.
func (p *plot) circles(cs []Comparison, m pen.Mark) {
	s := p.figure.Size
	at := make([]pen.Point, len(cs))
	for i, c := range cs {
		at[i] = pen.XY(p.x.at(seconds(c.At)), p.y.at(c.Value))
	}
	keep := thinnedTo(at, int(max(100, s.Width/2.8)), p.x.b-p.x.a)
	reach := min(s.px(9), max(s.px(3), (p.x.b-p.x.a)/float64(2*max(1, len(keep)))))
	for _, i := range keep {
		shape := m
		if arrow, y, beyond := p.pinned(cs[i].Value); beyond {
			shape.Shape, at[i].Y = arrow, y
		}
		p.busy = append(p.busy, at[i])
		var drawn pen.List
		drawn.Mark(at[i], shape)
		p.entry(pen.Label{Kind: "entry", Words: cs[i].Words, Entry: cs[i].Entry, Href: cs[i].Href}, at[i], reach, &drawn)
	}
}

// pinned returns the arrow and its height for a value beyond the frame.
func (p *plot) pinned(v float64) (arrow pen.Shape, y float64, beyond bool) {
	inset := min(p.figure.Size.px(5), 0.5)
	if !p.figure.Size.cells {
		inset = p.figure.Size.px(5)
	}
	switch {
	case v > p.y.hi:
		return pen.ArrowUp, p.y.b + inset, true
	case v < p.y.lo:
		return pen.ArrowDown, p.y.a - inset, true
	}
	return 0, p.y.at(v), false
}

// asides draws the comparisons set aside: a cross, an arrow over it if it lies
// beyond the frame, and the reason where there is room for it.
func (p *plot) asides(cs []Comparison) {
	s := p.figure.Size
	r, gap, near := s.px(3.5), max(s.px(8), 1), s.px(1)
	at := make([]pen.Point, len(cs))
	for i, c := range cs {
		at[i] = pen.XY(p.x.at(seconds(c.At)), p.y.at(c.Value))
	}
	keep := thinnedTo(at, int(max(40, s.Width/8)), p.x.b-p.x.a)
	drawn := make([]pen.List, len(keep))
	for k, i := range keep {
		arrow, y, beyond := p.pinned(cs[i].Value)
		if at[i].Y = y; beyond {
			drawn[k].Mark(at[i], pen.Mark{Shape: arrow, Radius: r, Fill: pen.Alarm})
			at[i].Y += float64(map[bool]int{true: 1, false: -1}[arrow == pen.ArrowUp]) * max(s.px(9), 1)
		}
		drawn[k].Mark(at[i], pen.Mark{Shape: pen.Cross, Radius: r, Edge: pen.Alarm})
		p.taken = append(p.taken, box{at[i].X - r - near, at[i].Y - r - near, at[i].X + r + near, at[i].Y + r + near})
	}
	for n := range keep { // the newest first, they matter most
		k := len(keep) - 1 - n
		c, at := cs[keep[k]], at[keep[k]]
		words := s.elide(c.SetAside, 0.6*(p.x.b-p.x.a))
		short, _, _ := strings.Cut(words, ":")
		for _, try := range []struct {
			words string
			lines []float64
			rules []float64
		}{
			{words, []float64{0}, p.rules}, {words, []float64{0}, nil}, {short, []float64{0}, p.rules},
			{words, []float64{-1, 1}, p.rules}, {short, []float64{-1, 1}, nil},
		} {
			if try.lines[0] != 0 && len(keep) > 3 {
				continue // words beside one cross would be read with another
			}
			if place, l, ok := p.free(at, try.words, gap, try.lines, try.rules); ok {
				l.Ink, l.Size, l.Halo = pen.Alarm, s.Type, true
				drawn[k].Text(place, try.words, l)
				break
			}
		}
	}
	for k, i := range keep {
		said := cs[i].SetAside
		if cs[i].Words != "" {
			said = cs[i].Words + "; " + said
		}
		p.entry(pen.Label{Kind: "aside", Words: cmp.Or(said, "set aside"), Entry: cs[i].Entry, Href: cs[i].Href}, at[i], s.px(9), &drawn[k])
	}
}

// free finds a place for words to the right or left of at, some lines below
// it, that meets nothing drawn before and none of the rules.
func (p *plot) free(at pen.Point, words string, gap float64, lines, rules []float64) (pen.Point, pen.Lettering, bool) {
	s := p.figure.Size
	wide, half, near := s.advance(words), s.line()/2, s.px(2.5)
	for k := range 2 * len(lines) {
		left := k%2 == 1
		q := pen.XY(at.X+gap, at.Y+lines[k/2]*s.line())
		if left {
			q.X = at.X - gap
		}
		b := box{q.X, q.Y - half, q.X + wide, q.Y + half}
		if left {
			b.left, b.right = q.X-wide, q.X
		}
		if words == "" || b.left < p.x.a || b.right > s.Width-s.px(8) || b.top < p.y.b-half || b.bottom > p.y.a+near ||
			slices.ContainsFunc(p.taken, b.meets) ||
			slices.ContainsFunc(rules, func(x float64) bool { return x > b.left-near && x < b.right+near }) ||
			slices.ContainsFunc(p.busy, func(d pen.Point) bool {
				return d.X > b.left-near && d.X < b.right+near && d.Y > b.top-near/2 && d.Y < b.bottom+near/2
			}) {
			continue
		}
		p.taken = append(p.taken, b)
		return q, pen.Lettering{Anchor: anchor(left)}, true
	}
	return pen.Point{}, pen.Lettering{}, false
}

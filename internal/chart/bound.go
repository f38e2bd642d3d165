package chart

import (
	"cmp"
	"math"
	"slices"
	"strconv"
	"time"

	"timeball/internal/chart/pen"
)

// Bound is how far the standard can have been from UTC from an instant on.
type Bound struct {
	At     time.Time
	BoundS float64 // s, either way
	Known  bool    // false: from here on nothing was known
	Words  string  // what is said when it is pointed at; empty if nothing
}

// BoundCurve is the bound of the standard over time on a logarithmic axis from
// 0.1 ms to 1 s, each bound holding until the next, with the limit above which
// no comparison is taken. A bound beyond the axis is drawn at its edge; where
// bounds crowd, the line shows the highest and a circle its own.
type BoundCurve struct {
	Caption
	Bounds []Bound
	LimitS float64   // s; 0 for no rule
	Today  time.Time // until when the last bound holds; zero: its own instant
}

// The ends of the axis of a BoundCurve, s.
const (
	leastBoundS = 1e-4
	mostBoundS  = 1
)

// Figure returns the drawing at a size, Wide if in doubt.
func (c BoundCurve) Figure(s Size) Figure {
	p := &plot{figure: Figure{Caption: c.Caption, Size: s.sized(Wide())}}
	s = p.figure.Size
	bounds := c.usable()
	p.x.lo, p.x.hi = p.span(axis{times: boundTimes(bounds), today: c.Today})
	p.y.lo, p.y.hi = math.Log10(leastBoundS), math.Log10(mostBoundS)
	left := 0.0
	for v := leastBoundS; v < 2*mostBoundS; v *= 10 {
		left = max(left, s.advance(sayBound(v)))
	}
	p.x.a, p.x.b = max(min(left, s.Width/2)+s.px(14), s.px(44)), s.Width-s.px(20)
	p.y.a, p.y.b = s.Height-2*s.line()-s.px(4), s.px(14)

	stretches := p.stretches(bounds, c.Today)
	for _, st := range stretches {
		outline := append([]pen.Point{pen.XY(st[0].X, p.y.a)}, st...)
		p.figure.ground.Area(append(outline, pen.XY(st[len(st)-1].X, p.y.a)), pen.SeaSoft)
	}
	for v := leastBoundS; v < 2*mostBoundS; v *= 10 {
		y := p.bound(v)
		p.figure.ground.Line([]pen.Point{pen.XY(p.x.a, y), pen.XY(p.x.b, y)}, pen.Stroke{Ink: pen.Rule, Width: 1})
		p.words(pen.XY(p.x.a-s.gap(), y), sayBound(v), pen.Lettering{Ink: pen.Ink2, Anchor: pen.End})
	}
	p.gridAndDates()
	for _, st := range stretches {
		p.figure.ground.Line(st, pen.Stroke{Ink: pen.Sea, Width: 2})
	}
	if usable(c.LimitS) && c.LimitS > leastBoundS && c.LimitS <= mostBoundS {
		y := p.bound(c.LimitS)
		p.figure.ground.Line([]pen.Point{pen.XY(p.x.a, y), pen.XY(p.x.b, y)}, pen.Stroke{Ink: pen.Brass, Width: 1.5})
		p.figure.ground.Text(pen.XY(p.x.a+s.gap(), y-s.px(9)), s.elide("no comparison above "+sayBound(c.LimitS), p.x.b-p.x.a-2*s.gap()),
			pen.Lettering{Ink: pen.Brass, Size: s.Type, Halo: true})
	}
	p.gaps(bounds, c.Today)
	p.pointed(bounds)
	p.boundTable(bounds)
	return p.figure
}

// usable returns what can be drawn, in order of time.
func (c BoundCurve) usable() []Bound {
	var out []Bound
	for _, b := range c.Bounds {
		if !usableTime(b.At) {
			continue
		}
		b.Known = b.Known && usable(b.BoundS) && b.BoundS >= 0
		out = append(out, b)
	}
	slices.SortStableFunc(out, func(a, b Bound) int { return a.At.Compare(b.At) })
	return out
}

func boundTimes(bounds []Bound) []time.Time {
	var at []time.Time
	for _, b := range bounds {
		at = append(at, b.At)
	}
	return at
}

// bound returns the height of a bound, at the edge if it lies beyond.
func (p *plot) bound(s float64) float64 {
	return p.y.at(p.y.held(math.Log10(max(s, leastBoundS/10))))
}

// ends returns the instant until which bound i holds, s.
func ends(bounds []Bound, i int, today time.Time) float64 {
	switch at := seconds(bounds[i].At); {
	case i+1 < len(bounds):
		return seconds(bounds[i+1].At)
	case usableTime(today):
		return max(at, seconds(today))
	default:
		return at
	}
}

// stretches returns the steps of the bounds, one line for each stretch of time
// without a gap. Of bounds too close to tell apart the highest is drawn.
func (p *plot) stretches(bounds []Bound, today time.Time) [][]pen.Point {
	var out [][]pen.Point
	var run []pen.Point
	across := p.figure.Size.px(4)
	for i := 0; i < len(bounds); i++ {
		if !bounds[i].Known {
			run = nil
			continue
		}
		from, highest := p.x.at(seconds(bounds[i].At)), bounds[i].BoundS
		for i+1 < len(bounds) && bounds[i+1].Known && p.x.at(seconds(bounds[i+1].At)) < from+across {
			i++
			highest = max(highest, bounds[i].BoundS)
		}
		y, begins := p.bound(highest), run == nil
		run = append(run, pen.XY(from, y), pen.XY(p.x.at(ends(bounds, i, today)), y))
		if begins {
			out = append(out, nil)
		}
		out[len(out)-1] = run
	}
	return out
}

// gaps writes where nothing was known, if there is room for the words.
func (p *plot) gaps(bounds []Bound, today time.Time) {
	s, say := p.figure.Size, "not known"
	if len(bounds) == 0 {
		p.words(pen.XY((p.x.a+p.x.b)/2, p.bound(0.003)), s.elide("nothing is known of the standard yet", p.x.b-p.x.a), pen.Lettering{Ink: pen.Ink2, Anchor: pen.Middle})
	}
	for i := 0; i < len(bounds); i++ {
		if bounds[i].Known {
			continue
		}
		from := p.x.at(seconds(bounds[i].At))
		for i+1 < len(bounds) && !bounds[i+1].Known {
			i++
		}
		if to := p.x.at(ends(bounds, i, today)); to-from > s.advance(say)+s.px(6) {
			p.words(pen.XY((from+to)/2, p.y.a-s.px(10)), say, pen.Lettering{Ink: pen.Ink2, Anchor: pen.Middle})
		}
	}
}

// pointed marks the bounds of which something is said, about forty at most.
func (p *plot) pointed(bounds []Bound) {
	s := p.figure.Size
	var at []pen.Point
	var of []Bound
	for _, b := range bounds {
		if b.Known && b.Words != "" {
			at, of = append(at, pen.XY(p.x.at(seconds(b.At)), p.bound(b.BoundS))), append(of, b)
		}
	}
	for _, i := range thinnedTo(at, 40, p.x.b-p.x.a) {
		var drawn pen.List
		drawn.Mark(at[i], pen.Mark{Radius: s.px(3), Fill: pen.Paper, Edge: pen.Sea})
		p.entry(pen.Label{Kind: "entry", Words: of[i].Words}, at[i], s.px(9), &drawn)
	}
}

// boundTable has a row for what is said and one for the beginning of each gap.
func (p *plot) boundTable(bounds []Bound) {
	p.figure.table.Columns = []string{"When (UTC)", "Bound", "Note"}
	for i, b := range bounds {
		begins := !b.Known && (i == 0 || bounds[i-1].Known)
		if b.Words == "" && !begins {
			continue
		}
		cells := []string{b.At.UTC().Format("2 Jan 2006 15:04"), "not known", b.Words}
		if b.Known {
			cells[1] = "±" + sayBound(b.BoundS)
		}
		p.figure.table.Rows = append(p.figure.table.Rows, Row{"", cells})
	}
}

// sayBound returns a bound in words, to two figures: "0.1 ms", "4 ms", "0.12 s".
func sayBound(s float64) string {
	unit, v := " s", s
	if s < 0.0995 {
		unit, v = " ms", 1000*s
	}
	if v == 0 || v >= 1e6 {
		return strconv.FormatFloat(v, 'g', 2, 64) + unit
	}
	digits := max(0, min(6, 1-int(math.Floor(math.Log10(v)))))
	ten := math.Pow(10, float64(digits))
	return cmp.Or(strconv.FormatFloat(math.Round(v*ten)/ten, 'f', -1, 64), "0") + unit
}

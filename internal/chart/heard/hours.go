package heard

import (
	"math"

	"timeball/internal/chart"
	"timeball/internal/chart/pen"
)

// Wind is the amplitude of the balance over the hours since winding.
type Wind struct {
	chart.Caption
	Amplitude []Swing
	Events    []Hourly // what was done or found, as dotted rules
}

// Swing is the amplitude, degrees from rest, so many hours after winding.
type Swing struct{ WoundH, AmplitudeDeg, PlusMinusDeg float64 }

// Hourly is something at an hour since winding, in words.
type Hourly struct {
	WoundH float64
	Words  string
}

// Hours is the rate over the hours since winding: measured rates with their
// whiskers and a smooth line through them.
type Hours struct {
	chart.Caption
	Measured []Pace
	Smooth   []Pace
	Events   []Hourly
}

// Pace is the rate, s a day, so many hours after winding.
type Pace struct{ WoundH, RatePerDay, PlusMinusPerDay float64 }

// Figure returns the drawing at the width and type of size.
func (w Wind) Figure(size chart.Size) Figure {
	var ps []point
	for _, a := range w.Amplitude {
		ps = append(ps, point{a.WoundH, a.AmplitudeDeg, a.PlusMinusDeg})
	}
	ps = within(ps)
	s := newSheet(w.Caption, size)
	p := wound(s, ps, nil, w.Events)
	lo, hi := heights(ps)
	p.y = scaled(lo, hi, 4).padded(0.08)
	step, at := steps(p.y.lo, p.y.hi, 6)
	for _, v := range at {
		p.ys = append(p.ys, tick{v, figure(v, decimals(step)) + "°"})
	}
	p.zero = math.NaN()
	p.plan()
	p.rule()
	if len(ps) == 0 {
		p.empty("no amplitude yet")
		return s.done("No amplitude yet.", nil, nil)
	}
	shown := thin(ps, 400)
	p.band(shown)
	p.curve(shown, pen.Stroke{Ink: pen.Sea, Width: 2})
	if (p.x.b-p.x.a)/float64(len(ps)) > s.px(9) {
		for _, q := range ps {
			p.dot(q, pen.Mark{Radius: s.px(2.4), Fill: pen.Paper, Edge: pen.Sea})
		}
	}
	s.below(p, "Shaded: the 95% interval.")
	said := func(q point) string {
		a := Angle{q.y, q.pm}
		return a.words() + " at " + figure(q.x, 1) + " h"
	}
	words := "Amplitude " + said(ps[0])
	if n := len(ps); n > 1 {
		words += ", " + said(ps[n-1]) + " since winding"
	} else {
		words += " since winding"
	}
	var rows [][]string
	for _, q := range thin(ps, 48) {
		rows = append(rows, []string{figure(q.x, 2), figure(q.y, 1), "±" + figure(q.pm, 1)})
	}
	return s.done(words+".", []string{"Hours since winding", "Amplitude, °", "95%, °"}, rows)
}

// Figure returns the drawing at the width and type of size. Of more than 120
// measured rates the means of short stretches are drawn.
func (h Hours) Figure(size chart.Size) Figure {
	var ps, smooth []point
	for _, m := range h.Measured {
		ps = append(ps, point{m.WoundH, m.RatePerDay, m.PlusMinusPerDay})
	}
	for _, m := range h.Smooth {
		smooth = append(smooth, point{m.WoundH, m.RatePerDay, m.PlusMinusPerDay})
	}
	ps, smooth = within(ps), within(smooth)
	s := newSheet(h.Caption, size)
	p := wound(s, ps, smooth, h.Events)
	measured := len(ps)
	most := int((p.right - s.px(60)) / s.px(9))
	shown := gathered(ps, p.x, min(120, most))
	core := append(append([]point{}, smooth...), shown...)
	lo, hi := typicalHeights(core)
	p.y = scaled(lo, hi, 0.02).padded(0.08)
	p.ys = rateTicks(p.y, 6)
	p.zero = 0
	p.plan()
	p.rule()
	if len(core) == 0 {
		p.empty("no rate yet")
		return s.done("No rate yet.", nil, nil)
	}
	line := thin(smooth, 400)
	p.band(line)
	if p.y.holds(0) {
		p.stroke0()
	}
	p.curve(line, pen.Stroke{Ink: pen.Sea, Width: 2})
	for _, q := range shown {
		p.whisker(q, pen.Stroke{Ink: pen.Sea, Width: 1})
	}
	for _, q := range shown {
		p.dot(q, pen.Mark{Radius: s.px(2.6), Fill: pen.Paper, Edge: pen.Sea})
	}
	note := "Circles are measured rates with their 95% whiskers"
	if len(shown) < measured {
		note = "Circles are weighted means of about " + figure(float64(measured)/float64(len(shown)), 0) + " measured rates with their 95% whiskers"
	}
	if len(line) > 1 {
		note += ", the line their smooth course, shaded its 95% interval"
	}
	s.below(p, note+".")
	from := smooth
	if len(from) < 2 {
		from = shown
	}
	first, last := from[0], from[len(from)-1]
	words := rateWords(first.y, first.pm) + " at " + figure(first.x, 1) + " h since winding"
	if len(from) > 1 {
		words += ", " + rateWords(last.y, last.pm) + " at " + figure(last.x, 1) + " h"
	}
	var rows [][]string
	for _, q := range gathered(ps, p.x, 48) {
		rows = append(rows, []string{figure(q.x, 2), rateWords(q.y, 0), "±" + figure(q.pm, digitsOf(q.pm))})
	}
	return s.done(sentence(words), []string{"Hours since winding", "Rate", "95%, s a day"}, rows)
}

// wound returns a panel over the hours since winding with the rules of events.
func wound(s *sheet, ps, more []point, events []Hourly) *panel {
	p := &panel{s: s, right: s.size.Width, height: s.px(180), x: scale{lo: 0, hi: 24}, across: "since winding"}
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, of := range [][]point{ps, more} {
		if len(of) > 0 {
			lo, hi = min(lo, of[0].x), max(hi, of[len(of)-1].x)
		}
	}
	if lo <= hi {
		if lo > 0 && lo < 0.3*hi {
			lo = 0
		}
		p.x = scaled(lo, hi, 0.5)
		p.x.hi += 0.015 * (p.x.hi - p.x.lo)
	}
	most := s.across(52)
	among := []float64{1, 2, 3, 4, 6, 12, 24, 48}
	if (p.x.hi-p.x.lo)/float64(most) < 0.5 {
		among = nil
	}
	step, at := steps(p.x.lo, p.x.hi, most, among...)
	for _, v := range at {
		p.xs = append(p.xs, tick{v, figure(v, decimals(step)) + " h"})
	}
	for _, e := range events {
		p.flags = append(p.flags, flag{at: e.WoundH, words: e.Words, ink: pen.Brass, stroke: pen.Stroke{Ink: pen.Brass, Width: 1.5, Dash: pen.Dotted}})
	}
	return p
}

// heights returns the lowest and highest of the intervals of ps.
func heights(ps []point) (lo, hi float64) {
	if len(ps) == 0 {
		return 0, 0
	}
	lo, hi = math.Inf(1), math.Inf(-1)
	for _, q := range ps {
		lo, hi = min(lo, q.y-q.pm), max(hi, q.y+q.pm)
	}
	return lo, hi
}

// typicalHeights is heights without the longest whiskers: one doubtful point
// must not flatten the rest.
func typicalHeights(ps []point) (lo, hi float64) {
	if len(ps) == 0 {
		return 0, 0
	}
	var pms []float64
	for _, q := range ps {
		pms = append(pms, q.pm)
	}
	longest := 2 * quantile(sorted(pms), 0.5)
	lo, hi = math.Inf(1), math.Inf(-1)
	for _, q := range ps {
		w := min(q.pm, longest)
		lo, hi = min(lo, q.y-w), max(hi, q.y+w)
	}
	return lo, hi
}

// gathered returns ps, or if they are more than most the means of as many
// stretches of x, each weighted by the inverse square of its doubt.
func gathered(ps []point, x scale, most int) []point {
	most = max(most, 2)
	if len(ps) <= most {
		return ps
	}
	var out []point
	slot := func(q point) float64 { return math.Floor((q.x - x.lo) / (x.hi - x.lo) * float64(most)) }
	for i := 0; i < len(ps); {
		j, sw, sx, sy := i, 0.0, 0.0, 0.0
		known := true
		for ; j < len(ps) && slot(ps[j]) == slot(ps[i]); j++ {
			known = known && ps[j].pm > 1e-9 && ps[j].pm < 1e9
		}
		for _, q := range ps[i:j] {
			w := 1.0
			if known {
				w = 1 / (q.pm * q.pm)
			}
			sw, sx, sy = sw+w, sx+w*q.x, sy+w*q.y
		}
		q := point{sx / sw, sy / sw, 0}
		if known {
			q.pm = 1 / math.Sqrt(sw)
		}
		out = append(out, q)
		i = j
	}
	return out
}

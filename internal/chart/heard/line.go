package heard

import (
	"cmp"
	"math"
	"strings"

	"timeball/internal/chart"
	"timeball/internal/chart/pen"
)

// Line is how early or late the beats fall against the line fitted to them.
type Line struct {
	chart.Caption
	Beats  []Residual
	Breaks []Break
	Band   []Breadth // of the fitted line, at some times of the listening
}

// Residual is one beat: how much before its place on the line it falls.
type Residual struct {
	AtS, EarlyS float64 // s into the listening; s, positive early
	SetAside    bool    // not used in the fit
}

// Break is where the count of time was broken, with its words, such as "20 ms
// of sound missing".
type Break struct {
	AtS   float64
	Words string
}

// Breadth is half the 95% interval of the line at a time of the listening.
type Breadth struct{ AtS, PlusMinusS float64 }

// manyBeats is how many beats are drawn one by one.
const manyBeats = 600

// bin is the beats of a short stretch: their median and their middle 95%.
type bin struct {
	atS, median, lo, hi float64
	beats               int
}

// Figure returns the drawing at the width and type of size. More than 600
// beats are drawn as the medians of short stretches with the middle 95% of
// their beats; a stretch never reaches over a break.
func (l Line) Figure(size chart.Size) Figure {
	s := newSheet(l.Caption, size)
	used, aside := l.usable()
	sizes := l.sizes(used)
	p := &panel{s: s, right: s.size.Width, height: s.px(210), zero: 0}
	p.x, p.y = l.span(used, aside), l.height(used, sizes)
	p.ys = beatTicks(p.y, 7, "on the line")
	p.xs = timeTicks(p.x, s.across(64))
	p.across = "into the listening"
	for _, b := range l.Breaks {
		p.flags = append(p.flags, flag{at: b.AtS, words: b.Words, ink: pen.Brass, stroke: pen.Stroke{Ink: pen.Brass, Width: 1.5, Dash: pen.Dotted}})
	}
	p.plan()
	if len(used)+len(aside) == 0 {
		p.y, p.ys, p.xs, p.across = scale{lo: -1, hi: 1}, []tick{{0, "on the line"}}, nil, ""
		p.rule()
		p.empty("no beats yet")
		return s.done("No beats yet.", nil, nil)
	}
	p.rule()
	var band []point
	for _, b := range l.Band {
		band = append(band, point{b.AtS, 0, b.PlusMinusS})
	}
	band = thin(cut(within(band), p.x), 300)
	p.band(band)
	p.stroke0()

	note := "Each dot is a beat."
	if len(used) > manyBeats {
		width := 9.0
		if s.narrow {
			width = 8
		}
		n := max(2, int((p.x.b-p.x.a)/s.px(width)))
		bins := l.bins(used, p.x, n)
		per := make([]float64, len(bins))
		for i, b := range bins {
			per[i] = float64(b.beats)
			s.stroke(pen.XY(p.x.at(b.atS), p.y.kept(b.lo)), pen.XY(p.x.at(b.atS), p.y.kept(b.hi)), pen.Stroke{Ink: pen.Sea, Width: 1})
		}
		for _, b := range bins {
			p.dot(point{b.atS, b.median, 0}, pen.Mark{Radius: s.px(2.4), Fill: pen.Paper, Edge: pen.Sea})
		}
		note = "Each circle is the median of about " + figure(quantile(sorted(per), 0.5), 0) + " beats, its stroke the middle 95% of them."
	} else {
		r := 2.2
		if len(used) > 150 {
			r = 1.6
		}
		for _, q := range used {
			p.dot(q, pen.Mark{Radius: s.px(r), Fill: pen.Sea})
		}
	}
	for _, q := range thin(aside, 60) {
		q.y = max(p.y.lo, min(q.y, p.y.hi))
		p.dot(q, pen.Mark{Shape: pen.Cross, Radius: s.px(2.6), Edge: pen.Alarm})
	}
	if len(band) > 1 {
		note += " Shaded: the 95% band of the line."
	}
	if len(aside) > 0 {
		note += " Crossed: set aside."
	}
	s.below(p, note)
	return s.done(l.result(used, aside, sizes), []string{"When, s into the listening", "Beats", "Early, µs", "Middle 95%, µs"}, l.rows(used, p.x))
}

// stroke0 draws the heavier rule again, over a band.
func (p *panel) stroke0() {
	y := p.y.at(p.zero)
	p.s.stroke(pen.XY(p.x.a, y), pen.XY(p.x.b, y), pen.Stroke{Ink: pen.RuleStrong, Width: 1.6})
}

// below writes a note below the panel: beside the words that say what x is
// where there is room.
func (s *sheet) below(p *panel, note string) {
	if room := p.x.b - s.advance(p.across) - s.px(20) - p.x.a; p.across != "" && s.advance(note) <= room {
		s.say(pen.XY(p.x.a, s.y-0.5*s.line()), note, pen.Ink2, pen.Start)
	} else {
		left := p.x.a
		if s.narrow {
			left = s.px(2)
		}
		s.y += s.px(2)
		s.note(note, left, p.x.b)
	}
	s.y += s.px(4)
}

// usable returns the beats that can be drawn, in order of time: the used ones
// and those set aside.
func (l Line) usable() (used, aside []point) {
	for _, b := range l.Beats {
		if b.SetAside {
			aside = append(aside, point{b.AtS, b.EarlyS, 0})
		} else {
			used = append(used, point{b.AtS, b.EarlyS, 0})
		}
	}
	return within(used), within(aside)
}

// sizes returns how far the used beats are from the line, sorted.
func (l Line) sizes(used []point) []float64 {
	v := make([]float64, len(used))
	for i, q := range used {
		v[i] = math.Abs(q.y)
	}
	return sorted(v)
}

func (l Line) span(used, aside []point) scale {
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, ps := range [][]point{used, aside} {
		if len(ps) > 0 {
			lo, hi = min(lo, ps[0].x), max(hi, ps[len(ps)-1].x)
		}
	}
	if lo > hi {
		lo, hi = 0, 60
	}
	if lo > 0 && lo < 0.1*hi {
		lo = 0
	}
	return scaled(lo, hi, 1)
}

// height returns the scale of early and late: as many to either side, the
// farthest 2 in 100 beats at most left beyond it.
func (l Line) height(used []point, sizes []float64) scale {
	most := 0.0
	if n := len(sizes); n > 0 {
		most = sizes[n-1]
		if typical := quantile(sizes, 0.98); most > 2.5*typical && typical > 0 {
			most = 1.5 * typical
		}
	}
	widths := []float64{}
	for _, b := range l.Band {
		if usable(b.PlusMinusS) {
			widths = append(widths, math.Abs(b.PlusMinusS))
		}
	}
	if len(widths) > 0 {
		w := quantile(sorted(widths), 0.5)
		if most == 0 {
			most = w
		}
		most = max(most, min(w, 2*most))
	}
	most = max(most*1.1, 2e-6)
	return scale{lo: -most, hi: most}
}

// bins returns the beats gathered into n stretches of x, none over a break.
func (l Line) bins(used []point, x scale, n int) []bin {
	var breaks []float64
	for _, b := range l.Breaks {
		if usable(b.AtS) {
			breaks = append(breaks, b.AtS)
		}
	}
	breaks = sorted(breaks)
	var out []bin
	slotOf := func(v float64) float64 {
		return min(float64(n-1), math.Floor((v-x.lo)/(x.hi-x.lo)*float64(n)))
	}
	next := 0
	for i := 0; i < len(used); {
		for next < len(breaks) && breaks[next] <= used[i].x {
			next++
		}
		slot := slotOf(used[i].x)
		var early []float64
		at, j := 0.0, i
		for ; j < len(used) && slotOf(used[j].x) == slot && (next >= len(breaks) || used[j].x < breaks[next]); j++ {
			early, at = append(early, used[j].y), at+used[j].x
		}
		early = sorted(early)
		out = append(out, bin{at / float64(j-i), quantile(early, 0.5), quantile(early, 0.025), quantile(early, 0.975), j - i})
		i = j
	}
	return out
}

func (l Line) result(used, aside []point, sizes []float64) string {
	said := []string{count(len(used), "beat")}
	if n := len(used); n > 0 {
		said[0] += " over " + listened(used[n-1].x-used[0].x)
		said = append(said, "95 of 100 within "+spanWords(quantile(sizes, 0.95))+" of their line")
	}
	if len(aside) > 0 {
		said = append(said, count(len(aside), "beat")+" set aside")
	}
	switch n := len(l.Breaks); {
	case n == 1:
		said = append(said, cmp.Or(l.Breaks[0].Words, "one break")+" at "+listened(l.Breaks[0].AtS))
	case n > 1:
		said = append(said, count(n, "break")+", the first at "+listened(l.Breaks[0].AtS))
	}
	return strings.Join(said, "; ") + "."
}

// rows returns the beats in at most 24 stretches.
func (l Line) rows(used []point, x scale) [][]string {
	var rows [][]string
	us := func(s float64) string { return figure(s*1e6, 1) }
	for _, b := range l.bins(used, x, 24) {
		rows = append(rows, []string{figure(b.atS, 1), figure(float64(b.beats), 0), us(b.median), us(b.lo) + " to " + us(b.hi)})
	}
	return rows
}

func count(n int, what string) string {
	words := figure(float64(n), 0) + " " + what
	if n != 1 {
		words += "s"
	}
	return words
}

package chart

import (
	"math"
	"slices"
	"time"

	"timeball/internal/chart/pen"
)

// plot is a figure over time while it is being drawn.
type plot struct {
	figure Figure
	x, y   scale
	step   float64 // between the ticks of y
	ticks  []float64
	say    tongue
	taken  []box       // where words and crosses already are
	busy   []pen.Point // where the curve and its circles are
	rules  []float64
	rows   int // rows of words above the frame
}

// box is the room that words take.
type box struct{ left, top, right, bottom float64 }

func (b box) meets(c box) bool {
	return b.left < c.right && c.left < b.right && b.top < c.bottom && c.top < b.bottom
}

// axis is what a plot is ruled from.
type axis struct {
	core, bands  []float64 // values that must be within the frame, and the ends of their bands
	stray        []float64 // values that may lie beyond it
	least        float64   // least height of the frame
	times        []time.Time
	events       []Intervention
	today        time.Time
	within       window
	say          tongue
	emptyMessage string
}

func (a axis) empty() bool { return len(a.core)+len(a.stray) == 0 }

// reach is how many heights of the line its band may add on either side: a
// line that is nearly level must not make its band fill the frame.
func (a axis) reach() float64 {
	if len(a.core) == 0 || len(a.bands) == 0 {
		return 0
	}
	widths := make([]float64, 0, len(a.bands)/2)
	for i := 0; i+1 < len(a.bands); i += 2 {
		widths = append(widths, a.bands[i+1]-a.bands[i])
	}
	slices.Sort(widths)
	line := slices.Max(a.core) - slices.Min(a.core)
	if typical := widths[len(widths)/2]; typical > line && line > 0 {
		return math.Max(1.5, typical/line)
	}
	return 1.5
}

// height returns the range of the values shown: bands and strays only as far
// as they leave the curve legible.
func (a axis) height() (lo, hi float64) {
	lo, hi = fit(a.core, a.bands, a.reach(), a.least)
	if len(a.core) == 0 {
		return fit(a.stray, nil, 0, a.least)
	}
	return fit([]float64{lo, hi}, a.stray, 0.5, a.least)
}

// newPlot returns a plot with its frame, rules, ticks and the rules of the
// interventions drawn.
func newPlot(c Caption, s Size, a axis) *plot {
	p := &plot{figure: Figure{Caption: c, Size: s.sized(Wide())}, say: a.say}
	s = p.figure.Size
	lo, hi := a.height()
	if max(lo, -hi) <= 0.6*(hi-lo) {
		lo, hi = min(lo, 0), max(hi, 0)
	}
	p.y.lo, p.y.hi = padded(lo, hi, 0.06)
	from, to := p.span(a)
	events := p.visible(a.events, from, to)
	from, to = min(from, eventTime(events, from)), max(to, eventTime(events, from))

	line, gap := s.line(), s.gap()
	most := max(3, int((s.Height-3*line)/(3*line)))
	if s.cells {
		most = max(2, int(s.Height/2.5))
	}
	if p.step, p.ticks = ticks(p.y.lo, p.y.hi, most, a.say.time); a.empty() {
		p.ticks = []float64{0}
	}
	left := 0.0
	for _, v := range p.ticks {
		left = max(left, s.advance(p.tick(v)))
	}
	left = math.Ceil(min(left, s.Width/2)) + gap
	right := s.Width - s.px(20)
	if s.cells {
		left, right = left+1, s.Width
	} else {
		left = max(left+s.px(7), s.px(44))
	}
	p.x = scale{from, to, left, right}
	labels := p.strip(events, a.today)
	top := float64(p.rows)*line + s.px(9)
	bottom := s.Height - 2*line - s.px(4)
	if s.cells {
		top, bottom = float64(p.rows), s.Height-1
	}
	p.y.a, p.y.b = bottom, top

	p.gridAndDates()
	p.interventions(events, labels, a.today)
	if a.empty() {
		p.words(pen.XY(left+s.gap(), p.y.at(0)-s.line()), s.elide(a.emptyMessage, right-left), pen.Lettering{Ink: pen.Ink2})
	}
	return p
}

// line returns the height of a line of words, gap the room beside words.
func (s Size) line() float64 {
	if s.cells {
		return 1
	}
	return s.px(14)
}

func (s Size) gap() float64 {
	if s.cells {
		return 0
	}
	return s.px(7)
}

// span returns the stretch of time shown, in seconds; without any it is a day about today.
func (p *plot) span(a axis) (from, to float64) {
	times := a.times
	for _, t := range []time.Time{a.within.from, a.within.to, a.today} {
		if usableTime(t) && (t.Equal(a.within.from) || t.Equal(a.within.to) || a.within.holds(t)) {
			times = append(times, t)
		}
	}
	if len(times) == 0 {
		for _, e := range a.events {
			if a.within.holds(e.At) {
				times = append(times, e.At)
			}
		}
	}
	if len(times) == 0 {
		return 0, 86400 // no date is drawn for it
	}
	from, to = math.Inf(1), math.Inf(-1)
	for _, t := range times {
		from, to = min(from, seconds(t)), max(to, seconds(t))
	}
	if to-from < 600 {
		from, to = from-86400, to+86400
	}
	return from, to
}

func (p *plot) tick(v float64) string {
	largest := 0.0
	for _, t := range p.ticks {
		largest = max(largest, math.Abs(t))
	}
	return p.say.tick(v, p.step, largest)
}

func (p *plot) gridAndDates() {
	s := p.figure.Size
	for _, v := range p.ticks {
		y, width := p.y.at(v), 1.0
		if v == 0 {
			width = 1.6
		}
		p.figure.ground.Line([]pen.Point{pen.XY(p.x.a, y), pen.XY(p.x.b, y)}, pen.Stroke{Ink: pen.Rule, Width: width})
		p.words(pen.XY(p.x.a-s.gap()-p.beside(), y), p.tick(v), pen.Lettering{Ink: pen.Ink2, Anchor: pen.End})
	}
	if p.x.lo == 0 && p.x.hi == 86400 {
		return
	}
	room, edge := 7*0.63*s.Type*2, s.px(2)
	if s.Width < 600 {
		room = 7 * 0.63 * s.Type * 1.5
	}
	if s.cells {
		room, edge = 10, 0
	}
	end := math.Inf(-1)
	for _, t := range calendarTicks(instant(p.x.lo), instant(p.x.hi), max(2, int((p.x.b-p.x.a)/room))) {
		x := p.x.at(seconds(t.at))
		if !s.cells {
			p.figure.ground.Line([]pen.Point{pen.XY(x, p.y.a), pen.XY(x, p.y.a+s.px(4))}, pen.Stroke{Ink: pen.RuleStrong, Width: 1})
		}
		half := s.advance(t.label) / 2
		x = max(min(x, s.Width-half-edge), half+edge)
		if x-half < end+s.px(6) {
			continue
		}
		end = x + half
		y := p.y.a + s.px(18)
		if s.cells {
			y, end = s.Height-0.5, end+1
		}
		p.words(pen.XY(x, y), t.label, pen.Lettering{Ink: pen.Ink2, Anchor: pen.Middle})
	}
}

// beside is the extra room between the words of y and the frame.
func (p *plot) beside() float64 {
	if p.figure.Size.cells {
		return 1
	}
	return 0
}

func (p *plot) words(at pen.Point, words string, l pen.Lettering) {
	l.Size = p.figure.Size.Type
	p.figure.ground.Text(at, words, l)
}

// entry adds what is drawn to the marks, as one thing that can be pointed at.
func (p *plot) entry(l pen.Label, at pen.Point, reach float64, drawn *pen.List) {
	p.figure.marks.Begin(l, at, reach)
	drawn.Draw(&p.figure.marks)
	p.figure.marks.End()
}

func instant(s float64) time.Time {
	whole := math.Floor(s)
	return time.Unix(int64(whole), int64((s-whole)*1e9)).UTC()
}

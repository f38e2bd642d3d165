package heard

import (
	"math"
	"strings"

	"timeball/internal/chart"
	"timeball/internal/chart/pen"
)

// Beat is the mean beat: the sound of many oscillations laid over each other.
type Beat struct {
	chart.Caption
	PeriodS float64   // one oscillation, s
	Level   []float64 // mean level at equal steps over one oscillation, the first at 0 s
	InDB    bool      // the levels are in dB; otherwise they are amplitudes of any scale
	Lever   bool      // the return swing beats as loud: tick and tock, not beat and faint tick

	// Where in the oscillation things sound, s; nil where not heard.
	UnlockingS, DropS, ReturnS *float64
	Sounds                     []Sound // others, such as impulse and detent

	Amplitude *Angle // of the balance; nil if not known
	OutOfBeat *Angle // its size; nil if not known
}

// Sound is something heard at a place of the oscillation.
type Sound struct {
	AtS   float64
	Words string
}

// Angle is an angle in degrees with half its 95% interval, 0 if that is not known.
type Angle struct{ Deg, PlusMinusDeg float64 }

// closeS is the stretch of a panel in which the parts of a beat can be told apart.
const closeS = 0.040

// Figure returns the drawing at the width and type of size: the oscillation
// and, closer, the loud beat and the return. Time counts from the unlocking.
func (b Beat) Figure(size chart.Size) Figure {
	s := newSheet(b.Caption, size)
	b = b.clean()
	if b.PeriodS == 0 || len(b.Level) == 0 {
		p := &panel{s: s, right: s.size.Width, height: s.px(90), x: scale{lo: 0, hi: 1}, y: scale{lo: 0, hi: 1}, zero: math.NaN()}
		p.plan()
		p.rule()
		p.empty("no beat was heard")
		return s.done("No beat was heard.", nil, nil)
	}
	y, ys := b.heights()
	returnFrom := b.PeriodS / 2
	late, timed := b.late()

	whole := &panel{s: s, right: s.size.Width, height: s.px(112), x: scale{lo: -0.08 * b.PeriodS, hi: 0.92 * b.PeriodS}, y: y, ys: ys, zero: math.NaN()}
	if b.UnlockingS == nil {
		whole.x = scale{lo: 0, hi: b.PeriodS}
	}
	whole.xs = timeTicks(whole.x, s.across(70))
	loud, back := "loud beat", "faint tick"
	if b.Lever {
		loud, back = "tick", "tock"
	}
	heard := pen.Stroke{Ink: pen.Ink3, Width: 1}
	if b.UnlockingS != nil {
		whole.flags = append(whole.flags, flag{at: 0, words: loud, ink: pen.Ink1, stroke: heard})
		whole.across = "after the unlocking"
	}
	if timed {
		whole.flags = append(whole.flags, flag{at: returnFrom + late, words: back, ink: pen.Ink1, stroke: heard})
	}
	s.heading("One oscillation, "+spanWords(b.PeriodS), 0, s.size.Width)
	whole.plan()
	whole.rule()
	b.area(whole)
	s.y += s.px(8)

	var closer []*panel
	if p := b.closeLoud(s, y, ys, heard); p != nil {
		closer = append(closer, p)
	}
	if timed {
		closer = append(closer, b.closeReturn(s, y, ys, heard, late, back))
	}
	b.lay(s, closer, []string{"The " + loud + ", closer", "The " + back + ", closer"}, late)
	return s.done(b.result(late, timed, back), []string{"What", "When, ms after the unlocking"}, b.rows(late, timed, back))
}

// clean returns b without the times and angles that cannot be drawn, and with
// a period of 0 if that cannot be used.
func (b Beat) clean() Beat {
	if !usable(b.PeriodS) || b.PeriodS < 1e-6 || b.PeriodS > 1e6 {
		b.PeriodS = 0
		return b
	}
	known := func(at *float64) *float64 {
		if at == nil || !usable(*at) {
			return nil
		}
		return at
	}
	b.UnlockingS, b.DropS, b.ReturnS = known(b.UnlockingS), known(b.DropS), known(b.ReturnS)
	for _, a := range []**Angle{&b.Amplitude, &b.OutOfBeat} {
		if *a != nil && (!usable((*a).Deg) || (*a).Deg > 1e6) {
			*a = nil
		}
	}
	return b
}

// since returns how long after the unlocking at is, in [from, from+PeriodS).
func (b Beat) since(at, from float64) float64 {
	zero := 0.0
	if b.UnlockingS != nil {
		zero = *b.UnlockingS
	}
	v := math.Mod(at-zero-from, b.PeriodS)
	if v < 0 {
		v += b.PeriodS
	}
	return v + from
}

// late returns how much later than half the oscillation after the unlocking
// the return is heard, s, negative if earlier.
func (b Beat) late() (float64, bool) {
	if b.UnlockingS == nil || b.ReturnS == nil {
		return 0, false
	}
	return b.since(*b.ReturnS, 0) - b.PeriodS/2, true
}

// heights returns the scale of the levels: down to the floor of the noise, at
// most 60 dB.
func (b *Beat) heights() (scale, []tick) {
	var known []float64
	for _, v := range b.Level {
		if usable(v) {
			known = append(known, v)
		}
	}
	if len(known) == 0 {
		return scale{lo: 0, hi: 1}, nil
	}
	known = sorted(known)
	top := known[len(known)-1]
	if !b.InDB {
		y := scale{lo: 0, hi: top}
		if !(top > 1e-12) {
			y.hi = 1
		}
		y.hi *= 1.06
		return y, []tick{{0, "silence"}, {top / 2, "half"}, {top, "loudest"}}
	}
	y := scaled(max(quantile(known, 0.05)-2, top-60), top, 10)
	y.hi = top + 0.06*(y.hi-y.lo)
	var ys []tick
	step, _ := steps(0, top-y.lo, 4, 5, 10, 20)
	for k := 0.0; k*step <= top-y.lo; k++ {
		words := "loudest"
		if k > 0 {
			words = figure(k*step, decimals(step)) + " dB down"
		}
		ys = append(ys, tick{top - k*step, words})
	}
	return y, ys
}

// across returns the level at n equal steps of x, the middle of each: the
// loudest of the step, or where the levels lie farther apart than the steps the
// line from one to the next; floor where it is not known.
func (b *Beat) across(x scale, n int, floor float64) []float64 {
	m := len(b.Level)
	step := b.PeriodS / float64(m)
	zero := 0.0
	if b.UnlockingS != nil {
		zero = math.Mod(*b.UnlockingS, b.PeriodS)
	}
	level := func(i int) float64 {
		if v := b.Level[((i%m)+m)%m]; usable(v) {
			return v
		}
		return floor
	}
	wide := (x.hi - x.lo) / float64(n) / step
	out := make([]float64, n)
	for k := range out {
		at := (x.lo + (x.hi-x.lo)*(float64(k)+0.5)/float64(n) + zero) / step
		i := int(math.Floor(at))
		v := level(i) + (at-float64(i))*(level(i+1)-level(i))
		first, last := int(math.Ceil(at-0.5*wide)), int(math.Floor(at+0.5*wide))
		if last > first {
			v = level(first)
			for i := first + 1; i <= min(last, first+m); i++ {
				v = max(v, level(i))
			}
		}
		out[k] = v
	}
	return out
}

// area draws the level over the panel.
func (b *Beat) area(p *panel) {
	n := max(2, int(p.x.b-p.x.a))
	var top []pen.Point
	for k, v := range b.across(p.x, n, p.y.lo) {
		top = append(top, pen.XY(p.x.a+(p.x.b-p.x.a)*(float64(k)+0.5)/float64(n), p.y.kept(v)))
	}
	outline := append([]pen.Point{pen.XY(top[0].X, p.y.a)}, top...)
	outline = append(outline, pen.XY(top[n-1].X, p.y.a))
	p.s.f.ground.Area(outline, pen.SeaSoft)
	p.s.f.ground.Line(top, pen.Stroke{Ink: pen.Sea, Width: 1.3})
}

// closeLoud returns the panel of the loud beat with what sounds in it; nil
// without an unlocking.
func (b *Beat) closeLoud(s *sheet, y scale, ys []tick, heard pen.Stroke) *panel {
	if b.UnlockingS == nil {
		return nil
	}
	until := closeS * 0.8
	if b.DropS != nil {
		until = max(until, 1.5*b.since(*b.DropS, 0))
	}
	p := &panel{s: s, height: s.px(128), x: scale{lo: -0.2 * closeS, hi: min(until, 0.8*b.PeriodS)}, y: y, ys: ys, zero: math.NaN(), bracketed: true}
	p.x.lo = max(p.x.lo, -0.2*b.PeriodS)
	p.flags = []flag{{at: 0, words: "unlocking", ink: pen.Ink1, stroke: heard}}
	if b.DropS != nil {
		p.flags = append(p.flags, flag{at: b.since(*b.DropS, 0), words: "drop", ink: pen.Ink1, stroke: heard})
	}
	for _, o := range b.Sounds[:min(len(b.Sounds), 12)] {
		if usable(o.AtS) {
			p.flags = append(p.flags, flag{at: b.since(o.AtS, p.x.lo), words: o.Words, ink: pen.Ink2, stroke: heard})
		}
	}
	return p
}

// closeReturn returns the panel about the middle of the oscillation, where the
// return is due.
func (b *Beat) closeReturn(s *sheet, y scale, ys []tick, heard pen.Stroke, late float64, back string) *panel {
	mid, reach := b.PeriodS/2, min(max(closeS/2, 1.4*math.Abs(late)), 0.5*b.PeriodS)
	p := &panel{s: s, height: s.px(128), x: scale{lo: mid - reach, hi: mid + reach}, y: y, ys: ys, zero: math.NaN(), bracketed: true}
	p.flags = []flag{
		{at: mid, words: "due here", ink: pen.Brass, stroke: pen.Stroke{Ink: pen.Brass, Width: 1.5, Dash: pen.Dotted}},
		{at: mid + late, words: back, ink: pen.Ink1, stroke: heard}}
	return p
}

// lay draws the closer panels beside each other on a desk and below each other
// on a telephone, each with its bracket and what that says.
func (b *Beat) lay(s *sheet, ps []*panel, headings []string, late float64) {
	beside := len(ps) == 2 && !s.narrow
	rows, top, lowest := 0, s.y, s.y
	for i, p := range ps {
		p.left, p.right = 0, s.size.Width
		if beside {
			middle := math.Round(0.5 * (s.size.Width + s.margin(p.ys)))
			if i == 0 {
				p.right = middle - s.px(14)
			} else {
				p.left, p.bare = middle+s.px(14), true
			}
		}
		p.xs = timeTicks(p.x, 8)
		p.plan()
		rows = max(rows, p.rows)
	}
	for i, p := range ps {
		if beside {
			s.y, p.rows = top, rows
		}
		s.heading(headings[i], p.left, p.right)
		p.rule()
		b.area(p)
		from, to, words := 0.0, 0.0, ""
		if i == 0 {
			if b.DropS != nil {
				to = b.since(*b.DropS, 0)
				words = "unlocking to drop " + spanWords(to)
				if b.Amplitude != nil {
					words += " = amplitude " + b.Amplitude.words()
				}
			}
		} else {
			from, to, words = b.PeriodS/2, b.PeriodS/2+late, b.outOfBeat(late)
		}
		if words != "" {
			ink := pen.Sea
			p.bracket(from, to, ink)
			x := (p.x.kept(from) + p.x.kept(to)) / 2
			s.y += s.px(3)
			for _, line := range s.wrapped(words, p.right-p.left, 3) {
				s.sayWithin(x, s.y+0.5*s.line(), p.left, p.right, line, pen.Ink1)
				s.y += s.line()
			}
		}
		s.y += s.px(8)
		lowest = max(lowest, s.y)
	}
	s.y = lowest
}

func (a *Angle) words() string {
	if pm := half(a.PlusMinusDeg); pm > 0 {
		digits := digitsOf(pm)
		if pm >= 0.95 {
			digits = 0
		}
		return figure(math.Abs(a.Deg), digits) + "° ±" + figure(pm, digits) + "°"
	}
	return figure(math.Abs(a.Deg), 0) + "°"
}

// outOfBeat says how early or late the return is.
func (b *Beat) outOfBeat(late float64) string {
	name := "faint tick"
	if b.Lever {
		name = "tock"
	}
	words := name + " " + spanWords(late)
	switch {
	case math.Abs(late) < 5e-6:
		words = name + " where it is due"
	case late > 0:
		words += " late"
	default:
		words += " early"
	}
	if b.OutOfBeat != nil {
		words += " = " + b.OutOfBeat.words() + " out of beat"
	}
	return words
}

func (b *Beat) result(late float64, timed bool, back string) string {
	said := []string{"One oscillation of " + spanWords(b.PeriodS)}
	if b.UnlockingS != nil && b.DropS != nil {
		words := "unlocking to drop " + spanWords(b.since(*b.DropS, 0))
		if b.Amplitude != nil {
			words += ", amplitude " + b.Amplitude.words()
		}
		said = append(said, words)
	}
	if timed {
		said = append(said, strings.Replace(b.outOfBeat(late), " = ", ", ", 1))
	} else {
		said = append(said, "no "+back+" was timed")
	}
	return strings.Join(said, "; ") + "."
}

func (b *Beat) rows(late float64, timed bool, back string) [][]string {
	ms := func(s float64) string { return figure(s*1e3, 2) }
	var rows [][]string
	if b.UnlockingS != nil {
		rows = append(rows, []string{"unlocking", ms(0)})
	}
	for _, o := range b.Sounds {
		if usable(o.AtS) {
			rows = append(rows, []string{o.Words, ms(b.since(o.AtS, 0))})
		}
	}
	if b.DropS != nil {
		rows = append(rows, []string{"drop", ms(b.since(*b.DropS, 0))})
	}
	if timed {
		rows = append(rows, []string{back, ms(b.PeriodS/2 + late)})
	}
	return rows
}

// across returns how many ticks with words of so many units fit an axis.
func (s *sheet) across(units float64) int {
	return max(2, int((s.size.Width-s.px(90))/s.px(units)))
}

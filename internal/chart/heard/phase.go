package heard

import (
	"cmp"
	"math"
	"slices"
	"strings"

	"timeball/internal/chart"
	"timeball/internal/chart/pen"
)

// Phase is where the beat of the dial falls between two beats of UTC, and
// which whole beats make the error of the dial.
type Phase struct {
	chart.Caption
	BeatS      float64 // between two beats of the dial, s, such as 0.5
	AfterS     float64 // how long after a whole beat of UTC the beat of the dial falls, s
	PlusMinusS float64
	Forecast   *Error      // the error expected, nil if none is
	Candidates []Candidate // the errors this phase allows
	Why        string      // why the one taken was taken
	Of         string      // what a beat of UTC is called; "half-second" if empty
}

// Error is a dial error, s, positive fast, with half its 95% interval.
type Error struct{ FastS, PlusMinusS float64 }

// Candidate is an error of the dial that the phase allows, s, positive fast.
type Candidate struct {
	FastS float64
	Taken bool
}

// Figure returns the drawing at the width and type of size.
func (h Phase) Figure(size chart.Size) Figure {
	s := newSheet(h.Caption, size)
	h.Of = cmp.Or(h.Of, "half-second")
	if !usable(h.BeatS) || h.BeatS < 1e-3 || h.BeatS > 1e4 {
		h.BeatS = 0.5
	}
	left, right := s.px(12), s.size.Width-s.px(12)
	if !usable(h.AfterS) {
		s.y += s.px(6)
		s.note("no beat was placed against UTC", left, right)
		s.y += s.px(6)
		return s.done("No beat was placed against UTC.", nil, nil)
	}
	after := math.Mod(h.AfterS, h.BeatS)
	if after < 0 {
		after += h.BeatS
	}
	pm := half(h.PlusMinusS)
	falls := "the beat falls " + afterWords(after, pm) + " after the UTC " + h.Of
	h.staff(s, after, pm, falls, left, right)
	said := falls
	var rows [][]string
	rows = append(rows, []string{"beat after the UTC " + h.Of, doubted(after*1e3, pm*1e3, " ms")})
	if taken := h.candidates(s, left, right); taken != "" {
		said += "; taken: " + taken
	} else if len(h.Candidates) > 0 {
		said += "; none taken"
	}
	if h.Why != "" {
		said += ": " + strings.TrimSuffix(h.Why, ".")
	}
	if h.Forecast != nil && usable(h.Forecast.FastS) {
		rows = append(rows, []string{"forecast", errorWords(h.Forecast.FastS, half(h.Forecast.PlusMinusS))})
	}
	for _, c := range h.Candidates {
		if usable(c.FastS) {
			what := "possible"
			if c.Taken {
				what = "taken"
			}
			rows = append(rows, []string{what, errorWords(c.FastS, pm)})
		}
	}
	return s.done(sentence(said), []string{"What", "Value"}, rows)
}

// afterWords returns a delay in words, in ms with its doubt.
func afterWords(after, pm float64) string { return doubted(after*1e3, pm*1e3, " ms") }

// errorWords returns a dial error in words, such as "fast 12.868 s ±0.001".
func errorWords(fast, pm float64) string {
	size := doubted(math.Abs(fast), pm, " s")
	switch {
	case fast > 0:
		return "fast " + size
	case fast < 0:
		return "slow " + size
	}
	return size
}

// staff draws one beat of UTC with the beat of the dial in it.
func (h Phase) staff(s *sheet, after, pm float64, falls string, left, right float64) {
	s.y += s.px(2)
	x := scale{0, h.BeatS, left, right}
	s.sayWithin(x.at(after), s.y+0.5*s.line(), left-s.px(10), right+s.px(10), falls, pen.Ink1)
	y := s.y + s.line() + s.px(17)
	s.stroke(pen.XY(x.a, y), pen.XY(x.b, y), pen.Stroke{Ink: pen.RuleStrong, Width: 1.6})
	_, at := steps(0, h.BeatS, 10)
	for _, v := range at {
		s.stroke(pen.XY(x.at(v), y), pen.XY(x.at(v), y+s.px(5)), pen.Stroke{Ink: pen.RuleStrong, Width: 1})
	}
	for _, v := range []float64{0, h.BeatS} {
		s.stroke(pen.XY(x.at(v), y-s.px(10)), pen.XY(x.at(v), y+s.px(10)), pen.Stroke{Ink: pen.Ink1, Width: 2})
	}
	below := y + s.px(19)
	end := "UTC " + h.Of
	if 2*s.advance(end) > 0.45*(right-left) {
		end = "UTC"
	}
	s.say(pen.XY(left-s.px(10), below), end, pen.Ink1, pen.Start)
	s.say(pen.XY(right+s.px(10), below), end, pen.Ink1, pen.End)
	most := max(2, int((right-left)/s.px(64)))
	step, labels := steps(0, h.BeatS, most)
	for _, v := range labels {
		words := figure(v*1e3, decimals(step*1e3)) + " ms"
		p := pen.XY(x.at(v), below)
		b := s.room(p, words, pen.Middle)
		b.left, b.right = b.left-s.px(8), b.right+s.px(8)
		if s.free(b) {
			s.say(p, words, pen.Ink2, pen.Middle)
		}
	}
	k := pen.Stroke{Ink: pen.Sea, Width: 1.6}
	if a, b := x.kept(after-pm), x.kept(after+pm); b-a > 2 {
		s.stroke(pen.XY(a, y), pen.XY(b, y), k)
		for _, e := range []float64{a, b} {
			s.stroke(pen.XY(e, y-s.px(4)), pen.XY(e, y+s.px(4)), k)
		}
	}
	s.stroke(pen.XY(x.at(after), y-s.px(15)), pen.XY(x.at(after), y), k)
	s.f.ground.Mark(pen.XY(x.at(after), y), pen.Mark{Radius: s.px(4), Fill: pen.Sea, Edge: pen.Sea})
	s.y = below + 0.5*s.line()
}

// candidates draws the errors the phase allows over the interval of the
// forecast and returns the one taken in words.
func (h Phase) candidates(s *sheet, left, right float64) string {
	var cs []Candidate
	for _, c := range h.Candidates {
		if usable(c.FastS) {
			cs = append(cs, c)
		}
	}
	slices.SortStableFunc(cs, func(a, b Candidate) int { return cmp.Compare(a.FastS, b.FastS) })
	if len(cs) == 0 {
		return ""
	}
	middle, reach, known := cs[0].FastS, 0.0, h.Forecast != nil && usable(h.Forecast.FastS)
	for _, c := range cs {
		if c.Taken {
			middle = c.FastS
		}
	}
	if known {
		reach = half(h.Forecast.PlusMinusS)
		if math.Abs(h.Forecast.FastS-middle) < 40*h.BeatS {
			middle = h.Forecast.FastS
		}
	}
	wide := max(2.2*h.BeatS, min(1.3*reach, 20*h.BeatS))
	for _, c := range cs {
		if c.Taken {
			wide = max(wide, 1.15*math.Abs(c.FastS-middle))
		}
	}
	x := scaled(middle-wide, middle+wide, 1e-3)
	x.a, x.b = left, right
	s.y += s.px(14)
	s.heading("Which whole "+h.Of+"s, fast to the right", 0, right)
	y := s.y + s.px(10)
	taken := ""
	if known {
		lo, hi := x.kept(h.Forecast.FastS-reach), x.kept(h.Forecast.FastS+reach)
		words := "forecast " + errorWords(h.Forecast.FastS, reach)
		s.sayWithin((lo+hi)/2, y, left, right, words, pen.Brass)
		y += s.line()
		k := pen.Stroke{Ink: pen.Brass, Width: 1.6}
		s.f.ground.Line([]pen.Point{pen.XY(lo, y+s.px(4)), pen.XY(lo, y), pen.XY(hi, y), pen.XY(hi, y+s.px(4))}, k)
		y += s.px(20)
	} else {
		y += s.px(6)
	}
	s.stroke(pen.XY(left, y), pen.XY(right, y), pen.Stroke{Ink: pen.RuleStrong, Width: 1.6})
	below := y + s.px(19)
	order := slices.Clone(cs)
	slices.SortStableFunc(order, func(a, b Candidate) int {
		switch {
		case a.Taken == b.Taken:
			return cmp.Compare(math.Abs(a.FastS-middle), math.Abs(b.FastS-middle))
		case a.Taken:
			return -1
		}
		return 1
	})
	shown, lowest := 0, below
	for _, c := range order {
		if !x.holds(c.FastS) || shown > 60 {
			continue
		}
		shown++
		at := pen.XY(x.at(c.FastS), y)
		m := pen.Mark{Radius: s.px(4), Fill: pen.Paper, Edge: pen.Sea}
		words, ink := strings.Split(errorWords(c.FastS, max(half(h.PlusMinusS), 0.002)), " ±")[0], pen.Ink2
		if c.Taken {
			m.Fill, ink, words = pen.Sea, pen.Ink1, "taken: "+errorWords(c.FastS, half(h.PlusMinusS))
			if taken == "" {
				taken = errorWords(c.FastS, half(h.PlusMinusS))
			}
			s.stroke(pen.XY(at.X, y), pen.XY(at.X, below-0.5*s.line()), pen.Stroke{Ink: pen.Sea, Width: 1.6})
		}
		s.f.ground.Mark(at, m)
		w := s.advance(words) / 2
		for _, y := range []float64{below, below + s.line()} {
			p := pen.XY(max(left-s.px(10)+w, min(at.X, right+s.px(10)-w)), y)
			b := s.room(p, words, pen.Middle)
			b.left, b.right = max(0, b.left-s.px(5)), min(s.size.Width, b.right+s.px(5))
			b.top, b.bottom = b.top+1, b.bottom-1
			if !s.free(b) || y > below && math.Abs(p.X-at.X) > w {
				continue
			}
			s.say(p, words, ink, pen.Middle)
			lowest = max(lowest, y)
			break
		}
	}
	s.y = lowest + 0.5*s.line() + s.px(4)
	if h.Why != "" {
		s.note(sentence(strings.TrimSuffix(h.Why, ".")), left-s.px(10), right+s.px(10))
	}
	s.y += s.px(4)
	return taken
}

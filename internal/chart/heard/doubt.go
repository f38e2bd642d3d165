package heard

import (
	"math"
	"strings"

	"timeball/internal/chart"
	"timeball/internal/chart/pen"
)

// Doubt is how the doubt of the rate shrank while listening, and what it is
// made of now.
type Doubt struct {
	chart.Caption
	Course []Moment
	Parts  []Part
}

// Moment is the rate, s a day, as it was known so far into the listening.
type Moment struct{ AtS, RatePerDay, PlusMinusPerDay float64 }

// Part is one part of the doubt, half its 95% interval in s a day.
type Part struct {
	Words           string // such as "the beats themselves"
	PlusMinusPerDay float64
}

// Together returns half the 95% interval of independent parts together, s a
// day: the root of the sum of their squares (JCGM 100:2008, 5.1.2). Parts that
// are not finite count as none.
func Together(parts []Part) float64 {
	sum := 0.0
	for _, p := range parts {
		sum = math.Hypot(sum, half(p.PlusMinusPerDay))
	}
	return sum
}

// Figure returns the drawing at the width and type of size.
func (d Doubt) Figure(size chart.Size) Figure {
	s := newSheet(d.Caption, size)
	var course []point
	for _, m := range d.Course {
		course = append(course, point{m.AtS, m.RatePerDay, m.PlusMinusPerDay})
	}
	course = within(course)
	p := &panel{s: s, right: s.size.Width, height: s.px(170), zero: 0}
	n := len(course)
	if n == 0 {
		p.x, p.y, p.ys = scale{lo: 0, hi: 60}, scale{lo: -1, hi: 1}, []tick{{0, "0"}}
		p.plan()
		p.rule()
		p.empty("no rate yet")
	} else {
		lo := course[0].x
		if lo > 0 && lo < 0.5*course[n-1].x {
			lo = 0
		}
		p.x = scaled(lo, course[n-1].x, 1)
		p.y = settled(course)
		p.ys, p.xs = rateTicks(p.y, 6), timeTicks(p.x, s.across(64))
		p.across = "into the listening"
		p.plan()
		last := course[n-1]
		s.sayWithin(p.x.at(last.x), s.y+0.5*s.line()+s.px(2), 0, p.x.b, rateWords(last.y, last.pm), pen.Ink1)
		s.y += s.line() + s.px(4)
		p.rule()
		shown := thin(course, 400)
		p.band(shown)
		if p.y.holds(0) {
			p.stroke0()
		}
		p.curve(shown, pen.Stroke{Ink: pen.Sea, Width: 2})
		if p.y.holds(last.y) {
			p.dot(last, pen.Mark{Radius: s.px(2.8), Fill: pen.Sea})
		}
		note := "The line is the rate as it was known then, shaded its 95% interval."
		if beyond(course, p.y) {
			note += " At first it reaches beyond the page."
		}
		s.below(p, note)
	}
	rows := d.parts(s)
	return s.done(d.result(course), []string{"Part of the doubt", "±, s a day"}, rows)
}

// settled returns the scale of the rate: what was known in the last four
// fifths of the listening, or what is known now where that is far less.
func settled(course []point) scale {
	last := course[len(course)-1]
	from := course[0].x + 0.2*(last.x-course[0].x)
	lo, hi := last.y-last.pm, last.y+last.pm
	reach := max(12*last.pm, 0)
	for _, q := range course {
		if q.x < from {
			continue
		}
		for _, v := range []float64{q.y - q.pm, q.y, q.y + q.pm} {
			if reach == 0 || math.Abs(v-last.y) <= reach {
				lo, hi = min(lo, v), max(hi, v)
			}
		}
	}
	return scaled(lo, hi, 1e-4).padded(0.08)
}

func beyond(course []point, y scale) bool {
	for _, q := range course {
		if q.y+q.pm > y.hi || q.y-q.pm < y.lo {
			return true
		}
	}
	return false
}

// parts draws the ruled account of the doubt and returns its rows in words.
func (d Doubt) parts(s *sheet) [][]string {
	var known []Part
	for _, p := range d.Parts {
		if usable(p.PlusMinusPerDay) {
			known = append(known, p)
		}
	}
	if len(known) == 0 {
		return nil
	}
	if len(known) > 12 {
		known = append(known[:11:11], Part{"others", Together(known[11:])})
	}
	total := Together(known)
	digits := digitsOf(total) + 1
	said := func(v float64) string { return "±" + figure(half(v), min(digits, 6)) + " s" }
	right := s.size.Width - s.px(2)
	names, figures := s.advance("together"), s.advance(said(total))
	for _, p := range known {
		names, figures = max(names, s.advance(p.Words)), max(figures, s.advance(said(p.PlusMinusPerDay)))
	}
	// On a telephone the bar stands below the words.
	stacked := names+figures+s.px(110) > right
	bar := scale{0, max(total, 1e-12), names + s.px(12), right - figures - s.px(12)}
	row := s.line() + s.px(9)
	if stacked {
		bar.a, bar.b, row = s.px(1), right, s.line()+s.px(21)
	}
	s.y += s.px(8)
	s.heading("What the doubt is made of, s a day", 0, right)
	var rows [][]string
	write := func(words string, v float64, ink, rule pen.Ink, width float64) {
		s.stroke(pen.XY(0, s.y), pen.XY(right, s.y), pen.Stroke{Ink: rule, Width: width})
		y := s.y + 0.5*s.line() + s.px(4.5)
		s.say(pen.XY(s.px(1), y), s.elide(words, right-figures-s.px(14)), ink, pen.Start)
		s.say(pen.XY(right, y), said(v), ink, pen.End)
		if stacked {
			y += s.px(13)
		}
		x, top, bottom := max(bar.kept(half(v)), bar.a+1), y-s.px(3.5), y+s.px(3.5)
		s.f.ground.Area([]pen.Point{pen.XY(bar.a, top), pen.XY(x, top), pen.XY(x, bottom), pen.XY(bar.a, bottom)}, pen.Sea)
		s.y += row
		rows = append(rows, []string{words, figure(half(v), min(digits, 6))})
	}
	for i, p := range known {
		ink, width := pen.Rule, 1.0
		if i == 0 {
			ink = pen.RuleStrong
		}
		write(p.Words, p.PlusMinusPerDay, pen.Ink2, ink, width)
	}
	write("together", total, pen.Ink1, pen.RuleStrong, 1.6)
	s.stroke(pen.XY(0, s.y), pen.XY(right, s.y), pen.Stroke{Ink: pen.RuleStrong, Width: 1})
	s.y += s.px(5)
	s.note("Parts that do not depend on each other add as their squares do.", s.px(1), right)
	s.y += s.px(4)
	return rows
}

func (d Doubt) result(course []point) string {
	var said []string
	if n := len(course); n > 0 {
		last := course[n-1]
		said = append(said, rateWords(last.y, last.pm)+" after "+listened(last.x))
	} else {
		said = append(said, "no rate yet")
	}
	largest := Part{}
	for _, p := range d.Parts {
		if half(p.PlusMinusPerDay) > largest.PlusMinusPerDay {
			largest = Part{p.Words, half(p.PlusMinusPerDay)}
		}
	}
	if largest.PlusMinusPerDay > 0 {
		said = append(said, "the largest part of the doubt is "+largest.Words+", ±"+figure(largest.PlusMinusPerDay, digitsOf(largest.PlusMinusPerDay))+" s a day")
	}
	return sentence(strings.Join(said, "; "))
}

// sentence returns words with a great letter before and a stop after them.
func sentence(words string) string {
	if words == "" {
		return ""
	}
	return strings.ToUpper(words[:1]) + words[1:] + "."
}

package heard

import (
	"math"

	"timeball/internal/chart"
	"timeball/internal/chart/pen"
)

// Teeth is the pattern of the escape wheel: how early or late the beat of each
// tooth falls, the mean of all teeth taken out.
type Teeth struct {
	chart.Caption
	Teeth []Tooth // in the order in which they are heard; the first heard is tooth 1
}

// Tooth is one tooth of the escape wheel: how early its beat falls, s, positive
// early, with half the 95% interval.
type Tooth struct{ EarlyS, PlusMinusS float64 }

// Figure returns the drawing at the width and type of size.
func (t Teeth) Figure(size chart.Size) Figure {
	s := newSheet(t.Caption, size)
	var ps []point
	lo, hi := 0.0, 0.0
	for i, e := range t.Teeth {
		if !usable(e.EarlyS) {
			continue
		}
		q := point{float64(i + 1), e.EarlyS, half(e.PlusMinusS)}
		ps = append(ps, q)
		lo, hi = min(lo, q.y-q.pm), max(hi, q.y+q.pm)
	}
	n := float64(len(t.Teeth))
	p := &panel{s: s, right: s.size.Width, height: s.px(170), x: scale{lo: 0.4, hi: max(n, 1) + 0.6}, zero: 0, across: "tooth, from the first heard"}
	p.y = scaled(lo, hi, 2e-6).padded(0.1)
	p.ys = beatTicks(p.y, 6, "even")
	if len(ps) == 0 {
		p.ys, p.across = []tick{{0, "even"}}, ""
		p.plan()
		p.rule()
		p.empty("the teeth are not known yet")
		return s.done("The teeth are not known yet.", nil, nil)
	}
	most := s.across(17)
	for k := 1.0; k <= n && len(p.xs) < 200; k += math.Ceil(n / float64(most)) {
		p.xs = append(p.xs, tick{k, figure(k, 0)})
	}
	largest := ps[0]
	for _, q := range ps {
		if math.Abs(q.y) > math.Abs(largest.y) {
			largest = q
		}
	}
	said := "largest: " + toothWords(largest)
	p.plan()
	s.say(pen.XY(p.x.a, s.y+0.5*s.line()+s.px(2)), s.elide(said, p.x.b-p.x.a), pen.Ink1, pen.Start)
	s.y += s.line() + s.px(6)
	p.rule()
	p.stroke0()
	stem := min(7, max(1, (p.x.b-p.x.a)/n*0.22))
	for _, q := range ps {
		x := p.x.at(q.x)
		s.stroke(pen.XY(x, p.y.at(0)), pen.XY(x, p.y.kept(q.y)), pen.Stroke{Ink: pen.SeaSoft, Width: stem})
	}
	for _, q := range ps {
		if n <= 120 {
			p.whisker(q, pen.Stroke{Ink: pen.Sea, Width: 1.2})
		}
		m := pen.Mark{Radius: s.px(min(3.2, max(1, 90/n))), Fill: pen.Sea}
		if q == largest {
			m.Radius, m.Edge = 1.4*m.Radius, pen.Ink1
		}
		p.dot(q, m)
	}
	s.below(p, "Whiskers are 95% intervals; the largest has a rim.")
	var rows [][]string
	for _, q := range ps {
		rows = append(rows, []string{figure(q.x, 0), figure(q.y*1e6, 1), "±" + figure(q.pm*1e6, 1)})
	}
	return s.done(teethCount(len(t.Teeth))+"; "+said+".", []string{"Tooth", "Early, µs", "95%, µs"}, rows)
}

// toothWords returns a tooth in words, such as "tooth 7, 48 µs late ±6".
func toothWords(q point) string {
	u := unitFor(math.Abs(q.y))
	words := "tooth " + figure(q.x, 0) + ", "
	if q.pm > 0 {
		words += figure(math.Abs(q.y)/u.s, digitsOf(q.pm/u.s)) + " " + u.name
	} else {
		words += spanWords(q.y)
	}
	switch {
	case q.y > 0:
		words += " early"
	case q.y < 0:
		words += " late"
	}
	if q.pm > 0 {
		words += " ±" + figure(q.pm/u.s, digitsOf(q.pm/u.s))
	}
	return words
}

func teethCount(n int) string {
	if n == 1 {
		return "1 tooth"
	}
	return figure(float64(n), 0) + " teeth"
}

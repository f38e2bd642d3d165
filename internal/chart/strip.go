package chart

import (
	"slices"
	"time"

	"timeball/internal/chart/pen"
)

// visible returns the interventions within the frame, or before it by no more
// than a tenth of its length, oldest first, and one of those too close to tell apart.
func (p *plot) visible(events []Intervention, from, to float64) []numbered {
	sorted := slices.Clone(events)
	slices.SortStableFunc(sorted, func(a, b Intervention) int { return a.At.Compare(b.At) })
	var out []numbered
	closest := (to - from) / (p.figure.Size.Width / p.figure.Size.px(4))
	for i, e := range sorted {
		if t := seconds(e.At); !usableTime(e.At) || t < from-(to-from)/10 || t > to {
			continue
		} else if n := len(out); n > 0 && t-seconds(out[n-1].At) < closest {
			out[n-1] = numbered{e, i + 1}
			continue
		}
		out = append(out, numbered{e, i + 1})
	}
	return out
}

// numbered is an intervention with its number in the record.
type numbered struct {
	Intervention
	n int
}

func eventTime(events []numbered, otherwise float64) float64 {
	if len(events) == 0 {
		return otherwise
	}
	return min(otherwise, seconds(events[0].At))
}

// placed is where words of the strip stand.
type placed struct {
	words string
	row   int
	at    float64
	end   bool // they end there, left of their rule
}

// strip finds places above the frame for the words of the interventions, the
// newest first: in words where there is room, else by number, else not at all.
// The last place is that of "today".
func (p *plot) strip(events []numbered, today time.Time) []placed {
	s := p.figure.Size
	rows := 3
	if s.cells {
		rows = 2
	}
	xs := make([]float64, len(events))
	for i, e := range events {
		xs[i] = p.x.at(seconds(e.At))
	}
	out := make([]placed, len(events)+1)
	var taken []box
	place := func(x float64, words string, crossing bool, others []float64) (placed, bool) {
		wide, gap := s.advance(words), max(s.px(6), 1)
		for row := range rows {
			for _, end := range []bool{false, true} {
				b := box{x + gap, float64(row), x + gap + wide, float64(row + 1)}
				if end {
					b.left, b.right = x-gap-wide, x-gap
				}
				if b.left < p.x.a-s.px(40) || b.left < 0 || b.right > s.Width-s.px(2) {
					continue
				}
				free := !slices.ContainsFunc(taken, box{b.left - gap, b.top, b.right + gap, b.bottom}.meets)
				clear := !slices.ContainsFunc(others, func(o float64) bool { return o != x && o > b.left-2 && o < b.right+2 })
				if !free || !clear && !crossing {
					continue
				}
				taken = append(taken, b)
				p.rows = max(p.rows, row+1)
				if end {
					return placed{words, row, b.right, true}, true
				}
				return placed{words, row, b.left, false}, true
			}
		}
		return placed{}, false
	}
	rules := xs
	if usableTime(today) && p.x.holds(seconds(today)) {
		x := p.x.at(seconds(today))
		rules = append(slices.Clone(xs), x)
		out[len(events)], _ = place(x, "today", true, nil)
	}
	share := 0.5
	if s.Width < 600 {
		share = 0.75
	}
	for i := len(events) - 1; i >= 0; i-- {
		words := s.elide(events[i].Words, share*(p.x.b-p.x.a))
		short := s.elide(words, max(xs[i]-p.x.a, s.Width-xs[i])-2*max(s.px(6), 1))
		for _, try := range []struct {
			words    string
			crossing bool
		}{{words, false}, {short, false}, {words, true}, {short, true}, {whole(events[i].n), true}} {
			if try.words == "" || try.crossing && len(events) > 40 {
				continue
			}
			var ok bool
			if out[i], ok = place(xs[i], try.words, try.crossing, rules); ok {
				break
			}
		}
	}
	p.rows = max(p.rows, 1)
	return out
}

func (p *plot) interventions(events []numbered, labels []placed, today time.Time) {
	s := p.figure.Size
	rowMiddle := func(row int) float64 { return (float64(row) + 0.5) * s.line() }
	for i, e := range events {
		x, top, l := p.x.at(seconds(e.At)), p.y.b, labels[i]
		p.rules = append(p.rules, x)
		var drawn pen.List
		if l.words != "" {
			top = rowMiddle(l.row) - s.line()/2
		}
		drawn.Line([]pen.Point{pen.XY(x, top), pen.XY(x, p.y.a)}, pen.Stroke{Ink: pen.Brass, Width: 1.5, Dash: pen.Dotted})
		at := pen.XY(x, p.y.b)
		if l.words != "" {
			at.Y = rowMiddle(l.row)
			drawn.Text(pen.XY(l.at, at.Y), l.words, pen.Lettering{Ink: pen.Brass, Anchor: anchor(l.end), Size: s.Type, Halo: true})
		}
		p.entry(pen.Label{Kind: "event", Words: e.At.UTC().Format("2 Jan 2006") + ": " + e.Words, Entry: e.Entry, Href: e.Href}, at, s.px(6), &drawn)
	}
	if usableTime(today) && p.x.holds(seconds(today)) {
		x, l := p.x.at(seconds(today)), labels[len(events)]
		p.rules = append(p.rules, x)
		p.figure.ground.Line([]pen.Point{pen.XY(x, rowMiddle(l.row)-s.line()/2), pen.XY(x, p.y.a)}, pen.Stroke{Ink: pen.Ink3, Width: 1})
		p.words(pen.XY(l.at, rowMiddle(l.row)), l.words, pen.Lettering{Ink: pen.Ink2, Anchor: anchor(l.end)})
	}
}

func anchor(end bool) pen.Anchor {
	if end {
		return pen.End
	}
	return pen.Start
}

package chart

import (
	"math"
	"strconv"

	"timeball/internal/chart/pen"
)

// Interval is a value in seconds with the 95% interval from Lo to Hi.
type Interval struct{ Value, Lo, Hi float64 }

// Staff is the error staff: UTC in the middle, slow to the left, fast to the
// right, a filled mark where the dial stands now and an open one where it will
// stand.
type Staff struct {
	Caption
	Now, Then *Interval // s; nil if not known
	ThenWords string    // "in 30 days" if empty
	Scale     float64   // s from UTC to either end; a mark beyond it is an arrow
}

// Figure returns the drawing at a size, StaffSize if in doubt. A scale that is
// not positive is taken as 40 s.
func (c Staff) Figure(s Size) Figure {
	s = s.sized(StaffSize())
	f := Figure{Caption: c.Caption, Size: s}
	if !usable(c.Scale) || c.Scale <= 0 {
		c.Scale = 40
	}
	if c.ThenWords == "" {
		c.ThenWords = "in 30 days"
	}
	unit := s.Type / 9.5
	x := scale{-c.Scale, c.Scale, 8 * unit, s.Width - 8*unit}
	y := s.Height * 13 / 34
	f.ground.Line([]pen.Point{pen.XY(x.a, y), pen.XY(x.b, y)}, pen.Stroke{Ink: pen.RuleStrong, Width: 1})
	letter := func(at float64, words string, a pen.Anchor) {
		f.ground.Text(pen.XY(at, y+14.7*unit), words, pen.Lettering{Ink: pen.Ink2, Anchor: a, Size: s.Type})
	}
	for k := -4; k <= 4; k++ {
		at, high := x.at(c.Scale*float64(k)/4), 5.0
		if k%2 != 0 {
			high = 3
		}
		f.ground.Line([]pen.Point{pen.XY(at, y-high*unit), pen.XY(at, y+high*unit)}, pen.Stroke{Ink: pen.RuleStrong, Width: 1})
	}
	middle := x.at(0)
	end, half := staffNumbers(c.Scale)
	letter(0, "slow "+end, pen.Start)
	letter(s.Width, end+" fast", pen.End)
	if at := x.at(c.Scale / 2); at+s.advance(half)/2 < s.Width-s.advance(end+" fast")-4 {
		letter(x.at(-c.Scale/2), half, pen.Middle)
		letter(at, half, pen.Middle)
	}
	letter(middle, "UTC", pen.Middle)
	f.ground.Line([]pen.Point{pen.XY(middle, y-10*unit), pen.XY(middle, y+8*unit)}, pen.Stroke{Ink: pen.Ink1, Width: 1.5})

	now, then := drawable(c.Now), drawable(c.Then)
	if now != nil && then != nil {
		f.ground.Line([]pen.Point{pen.XY(x.at(x.held(now.Value)), y), pen.XY(x.at(x.held(then.Value)), y)}, pen.Stroke{Ink: pen.Sea, Width: 2, Dash: pen.Dashed})
	}
	if then != nil {
		f.staffMark(x, y, *then, pen.Mark{Radius: 3.4 * unit, Fill: pen.Paper, Edge: pen.Sea})
	}
	if now != nil {
		f.staffMark(x, y, *now, pen.Mark{Radius: 5.2 * unit, Fill: pen.Sea})
	} else {
		f.ground.Text(pen.XY(middle+8*unit, y-8*unit), "not known", pen.Lettering{Ink: pen.Ink2, Size: s.Type})
	}
	f.table.Columns = []string{"When", "Error", "±"}
	for _, row := range []struct {
		when string
		at   *Interval
	}{{"now", now}, {c.ThenWords, then}} {
		cells := []string{row.when, "not known", ""}
		if row.at != nil {
			cells[1], cells[2] = sayError.value(row.at.Value, 1), plusMinus((row.at.Hi-row.at.Lo)/2, 1)
		}
		f.table.Rows = append(f.table.Rows, Row{"", cells})
	}
	return f
}

// staffMark draws a mark, with a whisker if the interval is wider than the
// mark, or an arrow at the end of the staff.
func (f *Figure) staffMark(x scale, y float64, v Interval, m pen.Mark) {
	at := pen.XY(x.at(x.held(v.Value)), y)
	lo, hi := x.at(x.held(v.Lo)), x.at(x.held(v.Hi))
	if at.X-lo > m.Radius+1.5 || hi-at.X > m.Radius+1.5 {
		foot := m.Radius * 0.8
		f.ground.Line([]pen.Point{pen.XY(lo, y), pen.XY(hi, y)}, pen.Stroke{Ink: pen.Sea, Width: 1.2})
		if x.holds(v.Lo) {
			f.ground.Line([]pen.Point{pen.XY(lo, y-foot), pen.XY(lo, y+foot)}, pen.Stroke{Ink: pen.Sea, Width: 1.2})
		}
		if x.holds(v.Hi) {
			f.ground.Line([]pen.Point{pen.XY(hi, y-foot), pen.XY(hi, y+foot)}, pen.Stroke{Ink: pen.Sea, Width: 1.2})
		}
	}
	switch {
	case v.Value < x.lo:
		m.Shape = pen.ArrowLeft
	case v.Value > x.hi:
		m.Shape = pen.ArrowRight
	}
	f.ground.Mark(at, m)
}

// held returns v, or the end of the scale that it lies beyond.
func (s scale) held(v float64) float64 { return max(s.lo, min(s.hi, v)) }

func drawable(v *Interval) *Interval {
	if v == nil || !usable(v.Value) {
		return nil
	}
	d := *v
	if !usable(d.Lo) || !usable(d.Hi) {
		d.Lo, d.Hi = d.Value, d.Value
	}
	d.Lo, d.Hi = min(d.Lo, d.Hi), max(d.Lo, d.Hi)
	return &d
}

// staffNumbers returns the figures at the end of the staff and half way:
// seconds without their unit below 2 min, since the head of the column names them.
func staffNumbers(scale float64) (end, half string) {
	per, unit := 1.0, ""
	for _, u := range []struct {
		s    float64
		name string
	}{{60, " min"}, {3600, " h"}, {86400, " d"}} {
		if scale >= 2*u.s && math.Mod(scale, u.s) == 0 {
			per, unit = u.s, u.name
		}
	}
	short := func(v float64) string { return strconv.FormatFloat(v, 'g', 4, 64) + unit }
	return short(scale / per), short(scale / 2 / per)
}

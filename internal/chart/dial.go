package chart

import (
	"cmp"
	"math"
	"strconv"

	"timeball/internal/chart/pen"
)

// Dial is the dial of a chronometer with its hands as they must stand before
// it is started, and beside it the stretch of the minute track on which the
// minute hand stands, enlarged.
type Dial struct {
	Caption             // an empty Result is made from the places of the hands
	Hours      int      // on the dial, 12 or 24; 12 if neither
	SetS       float64  // what the hands must show, s since XII
	SecondS    float64  // where the seconds hand rests, s
	RestS      *float64 // where the minute hand rests now, s since XII; nil if it is not to be shown
	MinuteHand string   // in words, where the minute hand must stand
	Forward    string   // in words, how far it is turned forward; empty if it is not
}

// DialWide returns the size of a dial on a desk, its enlarged minutes beside
// it: 640 by 330.
func DialWide() Size { return Size{Name: "wide", Width: 640, Height: 330, Type: 13} }

// DialNarrow returns the size of a dial on a telephone, its enlarged minutes
// below it: 340 by 545.
func DialNarrow() Size { return Size{Name: "narrow", Width: 340, Height: 545, Type: 13} }

// The parts of a dial, in units of a dial of radius rim.
const (
	rim          = 138.0
	minuteFigure = 151.0 // the figures outside the track
	arcRadius    = 119.0
	hourFigure   = 103.0
	minuteLength = 130.0
	hourLength   = 74.0
	secondsDown  = 60.0 // from the middle to that of the seconds dial
	secondsRim   = 31.0
)

// Figure returns the drawing at a size, DialWide if in doubt. Hands whose place
// is not finite are left out.
func (c Dial) Figure(s Size) Figure {
	s = s.sized(DialWide())
	if c.Hours != 24 {
		c.Hours = 12
	}
	d := dialHand{c: c, f: Figure{Caption: c.Caption, Size: s}}
	d.known = usable(c.SetS) && usable(c.SecondS)
	d.c.SetS, d.c.SecondS = around(c.SetS, float64(c.Hours)*3600), around(c.SecondS, 60)
	var panel box
	if s.Width < s.Height {
		d.u = min(s.Width/340, s.Height/545)
		d.middle = pen.XY(s.Width/2, 166*d.u)
		panel = box{s.Width/2 - 150*d.u, 346 * d.u, s.Width/2 + 150*d.u, s.Height}
	} else {
		d.u = min(s.Width/640, s.Height/330)
		d.middle = pen.XY(s.Width/2-155*d.u, s.Height/2)
		panel = box{s.Width/2 + 20*d.u, s.Height/2 - 92*d.u, s.Width/2 + 315*d.u, s.Height}
	}
	d.face()
	d.secondsDial()
	if d.known {
		d.forward()
		d.hands()
		d.enlarged(panel)
	}
	d.words()
	return d.f
}

// around returns v on a circle of m, in [0, m).
func around(v, m float64) float64 {
	if v = math.Mod(v, m); v < 0 {
		v += m
	}
	if v >= m {
		return 0
	}
	return v
}

// dialHand is a dial while it is being drawn, u units of the figure to one of
// the dial.
type dialHand struct {
	c      Dial
	f      Figure
	u      float64
	middle pen.Point
	known  bool
}

// polar returns the place at a radius and a share of the turn from XII.
func (d *dialHand) polar(of pen.Point, radius, turn float64) pen.Point {
	sin, cos := math.Sincos(2 * math.Pi * turn)
	return pen.XY(of.X+radius*d.u*sin, of.Y-radius*d.u*cos)
}

func (d *dialHand) spoke(of pen.Point, from, to, turn float64, s pen.Stroke) {
	s.Width *= d.u
	d.f.ground.Line([]pen.Point{d.polar(of, from, turn), d.polar(of, to, turn)}, s)
}

func (d *dialHand) figure(at pen.Point, words string, ink pen.Ink) {
	d.f.ground.Text(at, words, pen.Lettering{Ink: ink, Anchor: pen.Middle, Size: d.f.Size.Type})
}

func (d *dialHand) ring(of pen.Point, radius, from, to float64, s pen.Stroke) {
	n := max(2, int(math.Ceil(180*math.Abs(to-from))))
	through := make([]pen.Point, n+1)
	for i := range through {
		through[i] = d.polar(of, radius, from+(to-from)*float64(i)/float64(n))
	}
	s.Width *= d.u
	d.f.ground.Line(through, s)
}

// face draws the rim, the minute track and the figures.
func (d *dialHand) face() {
	d.f.ground.Mark(d.middle, pen.Mark{Radius: rim * d.u, Fill: pen.Paper, Edge: pen.RuleStrong})
	// Marks of one stroke together, so that each kind becomes one path.
	for _, five := range []bool{false, true} {
		inner, s := rim-8, pen.Stroke{Ink: pen.Ink2, Width: 1}
		if five {
			inner, s = rim-12, pen.Stroke{Ink: pen.Ink1, Width: 2}
		}
		for m := range 60 {
			if (m%5 == 0) == five {
				d.spoke(d.middle, inner, rim, float64(m)/60, s)
			}
		}
	}
	for m := 5; m <= 60; m += 5 {
		d.figure(d.polar(d.middle, minuteFigure, float64(m)/60), whole(m), pen.Ink2)
	}
	for h := 1; h <= d.c.Hours; h++ {
		d.figure(d.polar(d.middle, hourFigure, float64(h)/float64(d.c.Hours)), whole(h), pen.Ink1)
	}
}

func (d *dialHand) secondsDial() {
	of := d.polar(d.middle, secondsDown, 0.5)
	d.f.ground.Mark(of, pen.Mark{Radius: secondsRim * d.u, Fill: pen.Paper, Edge: pen.RuleStrong})
	for _, every := range []int{1, 5, 15} {
		length := map[int]float64{1: 2.5, 5: 5, 15: 8}[every]
		for s := 0; s < 60; s += every {
			if every == 15 || s%15 != 0 && (s%5 == 0) == (every == 5) {
				d.spoke(of, secondsRim-length, secondsRim, float64(s)/60, pen.Stroke{Ink: pen.Ink2, Width: 1})
			}
		}
	}
	if d.known {
		d.spoke(of, -9, secondsRim-4, d.c.SecondS/60, pen.Stroke{Ink: pen.Brass, Width: 2})
		d.f.ground.Mark(of, pen.Mark{Radius: 2.5 * d.u, Fill: pen.Brass})
	}
}

// forward draws where the minute hand rests and the arc it is turned over: its
// last turn, with a whole ring inside it where there are more.
func (d *dialHand) forward() {
	if d.c.RestS == nil || !usable(*d.c.RestS) {
		return
	}
	turns := around(d.c.SetS-*d.c.RestS, float64(d.c.Hours)*3600) / 3600
	if turns < 1e-6 {
		return
	}
	to := d.c.SetS / 3600
	d.spoke(d.middle, 8, minuteLength, to-turns, pen.Stroke{Ink: pen.Ink3, Width: 2, Dash: pen.Dashed})
	s := pen.Stroke{Ink: pen.Brass, Width: 2.5}
	if turns >= 1 {
		d.ring(d.middle, arcRadius-5, 0, 1, pen.Stroke{Ink: pen.Brass, Width: 1})
	}
	last := turns - math.Floor(turns)
	if turns >= 1 && last < 1e-6 {
		last = 1
	}
	from := to - last
	if last < 0.004 { // a stroke short of its own arrow head
		return
	}
	d.ring(d.middle, arcRadius, from, to, s)
	// The head: a tenth of the radius back along the arc, at most half of it.
	back := min(0.014, last/2)
	d.f.ground.Area([]pen.Point{d.polar(d.middle, arcRadius, to), d.polar(d.middle, arcRadius+5, to-back), d.polar(d.middle, arcRadius-5, to-back)}, pen.Brass)
}

// hands draws the hour hand and the minute hand over it.
func (d *dialHand) hands() {
	d.hand(d.c.SetS/3600/float64(d.c.Hours), hourLength, 5, pen.Ink1)
	d.hand(d.c.SetS/3600, minuteLength, 3.5, pen.Sea)
	d.f.ground.Mark(d.middle, pen.Mark{Radius: 6 * d.u, Fill: pen.Ink1})
}

// hand draws a tapered hand with its tail.
func (d *dialHand) hand(turn, length, half float64, ink pen.Ink) {
	side := func(along, across float64) pen.Point {
		p := d.polar(d.middle, along, turn)
		q := d.polar(p, across, turn+0.25)
		return q
	}
	d.f.ground.Area([]pen.Point{side(-16, -half*0.7), side(0, -half), side(length-12, -half*0.55), side(length, 0), side(length-12, half*0.55), side(0, half), side(-16, half*0.7)}, ink)
}

// enlarged draws the minute hand between its two marks, the tenths ticked.
func (d *dialHand) enlarged(in box) {
	u, s := d.u, d.f.Size
	minutes := d.c.SetS / 60
	mark := math.Floor(minutes)
	part := minutes - mark
	if 1-part < 1e-9 {
		mark, part = mark+1, 0
	}
	x := scale{-0.6, 1.6, in.left, in.right}
	rule := in.top + 58*u
	d.f.ground.Text(pen.XY(in.left, in.top), "The minute hand, enlarged", pen.Lettering{Ink: pen.Ink1, Size: s.Type})
	d.f.ground.Line([]pen.Point{pen.XY(in.left, rule), pen.XY(in.right, rule)}, pen.Stroke{Ink: pen.RuleStrong, Width: 1})
	for _, kind := range []struct {
		every  int // tenths
		length float64
		stroke pen.Stroke
	}{{1, 7, pen.Stroke{Ink: pen.Ink2, Width: 1}}, {5, 12, pen.Stroke{Ink: pen.Ink2, Width: 1.4}}, {10, 20, pen.Stroke{Ink: pen.Ink1, Width: 2.4}}} {
		for tenth := -6; tenth <= 16; tenth++ {
			size := 1
			switch {
			case tenth%10 == 0:
				size = 10
			case tenth%5 == 0:
				size = 5
			}
			if size == kind.every {
				at := x.at(float64(tenth) / 10)
				d.f.ground.Line([]pen.Point{pen.XY(at, rule), pen.XY(at, rule-kind.length*u)}, kind.stroke)
			}
		}
	}
	for k := range 2 {
		m := int(mark)%60 + k
		d.figure(pen.XY(x.at(float64(k)), rule-31*u), whole(m), pen.Ink1)
	}
	at := x.at(part)
	d.f.ground.Area([]pen.Point{pen.XY(at, rule-1), pen.XY(at+3.5*u, rule+16*u), pen.XY(at+7*u, rule+62*u), pen.XY(at-7*u, rule+62*u), pen.XY(at-3.5*u, rule+16*u)}, pen.Sea)
	y := rule + 62*u + 1.6*s.Type
	for _, line := range []struct {
		words string
		ink   pen.Ink
	}{{d.stands(), pen.Ink1}, {turned(d.c.Forward), pen.Brass}, {"seconds hand at " + places(d.c.SecondS) + ": leave it", pen.Ink2}} {
		if line.words != "" {
			d.f.ground.Text(pen.XY(in.left, y), s.elide(line.words, min(in.right, s.Width)-in.left+6*u), pen.Lettering{Ink: line.ink, Size: s.Type})
			y += 1.6 * s.Type
		}
	}
}

// stands says where the minute hand must stand.
func (d *dialHand) stands() string {
	return cmp.Or(d.c.MinuteHand, "at minute "+places(around(d.c.SetS/60, 60)))
}

func turned(forward string) string {
	if forward == "" {
		return ""
	}
	return "turned forward " + forward
}

// words states the places of the hands for those who cannot see them.
func (d *dialHand) words() {
	d.f.table.Columns = []string{"Hand", "Stands"}
	if !d.known {
		d.f.Result = cmp.Or(d.f.Result, "The hands are not known.")
		return
	}
	hour := int(d.c.SetS / 3600)
	if hour == 0 {
		hour = d.c.Hours
	}
	rows := [][]string{{"Hour hand", "past " + whole(hour)}, {"Minute hand", d.stands()}, {"Seconds hand", "at " + places(d.c.SecondS)}}
	if d.c.Forward != "" {
		rows[1][1] += ", " + turned(d.c.Forward)
	}
	for _, cells := range rows {
		d.f.table.Rows = append(d.f.table.Rows, Row{"", cells})
	}
	if d.f.Result == "" {
		d.f.Result = "Hour hand " + rows[0][1] + ", minute hand " + rows[1][1] + ", seconds hand " + rows[2][1] + "."
	}
}

// places returns v to at most two decimals.
func places(v float64) string {
	return strconv.FormatFloat(math.Round(v*100)/100, 'f', -1, 64)
}

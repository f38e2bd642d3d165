// Package fittings draws what a chronometer is taken apart and packed by: its
// bowl in the gimbals, the pivot screws, the strips under the balance, the
// keyway, the bezel and the inner box.
//
// The drawings show how the parts stand to each other, and not the measures of
// one instrument. Brass is what is touched in the step.
package fittings

import (
	"math"
	"slices"

	"timeball/internal/chart/pen"
)

// The size of every drawing, in its own units.
const (
	width  = 360
	height = 240
	letter = 12
)

// drawing is one drawing with its words.
type drawing struct {
	name, title, result string
	draw                func(*hand)
}

var drawings = []drawing{
	{"bowl", "Bowl, gimbal ring and latch, from above",
		"The bowl hangs on two pivots in the gimbal ring, the ring on two others in the box; the latch in the corner locks the ring.", bowl},
	{"gimbal-screws", "The two pivot screws of the bowl, in section",
		"On one side the lock nut is freed and the screw withdrawn until the bowl is just free, a hand under the bowl; screw and nut of the other side stay as they are.", gimbalScrews},
	{"wedge-strips", "Two folded strips under the rim of the balance",
		"One folded strip lies under the rim at each end of a diameter, clear of arm, weights and screws; each is a weak spring between rim and plate, and nothing is pushed tight.", wedgeStrips},
	{"keyway", "The keyway, seen from below",
		"The key of the bowl sits in the notch of the movement, and the winding square lies under the winding hole.", keyway},
	{"bezel-thread", "The bezel and its thread",
		"First backwards until the thread is felt to drop, then forward, by hand only.", bezelThread},
	{"inner-box", "Bowl, inner box, cushion and outer box, in section",
		"The bowl lies dial up and alone in a rigid inner box, with cushion on all six faces between it and the outer box.", innerBox},
}

// Names returns the names of the drawings.
func Names() []string {
	var all []string
	for _, d := range drawings {
		all = append(all, d.name)
	}
	return all
}

// Sheet returns a drawing by its name, 360 by 240 units, with an id that is
// unique on its page; false if there is none of that name.
func Sheet(name, id string) (*pen.Sheet, bool) {
	n := slices.IndexFunc(drawings, func(d drawing) bool { return d.name == name })
	if n < 0 {
		return nil, false
	}
	d := drawings[n]
	s := &pen.Sheet{ID: id, Title: d.title, Result: d.result, Name: "fitting", Width: width, Height: height, Type: letter}
	d.draw(&hand{&s.Ground})
	return s, true
}

// hand draws parts.
type hand struct{ on *pen.List }

var (
	solid = pen.Stroke{Ink: pen.Ink1, Width: 1.5}
	thin  = pen.Stroke{Ink: pen.Ink3, Width: 1}
	axis  = pen.Stroke{Ink: pen.Ink3, Width: 1, Dash: pen.Dashed}
	act   = pen.Stroke{Ink: pen.Brass, Width: 2.5}
)

func (h *hand) line(s pen.Stroke, xy ...float64) {
	through := make([]pen.Point, len(xy)/2)
	for n := range through {
		through[n] = pen.XY(xy[2*n], xy[2*n+1])
	}
	h.on.Line(through, s)
}

func (h *hand) area(fill pen.Ink, xy ...float64) {
	outline := make([]pen.Point, len(xy)/2)
	for n := range outline {
		outline[n] = pen.XY(xy[2*n], xy[2*n+1])
	}
	h.on.Area(outline, fill)
}

// box is a rectangle, filled and with an edge.
func (h *hand) box(x, y, w, t float64, fill pen.Ink, edge pen.Stroke) {
	if fill != pen.NoInk {
		h.area(fill, x, y, x+w, y, x+w, y+t, x, y+t)
	}
	if edge.Width > 0 {
		h.line(edge, x, y, x+w, y, x+w, y+t, x, y+t, x, y, x+w/2, y)
	}
}

// arc is a part of a circle, from and to in degrees clockwise from the top.
func (h *hand) arc(x, y, r, from, to float64, s pen.Stroke) {
	h.on.Line(around(x, y, r, from, to), s)
}

func around(x, y, r, from, to float64) []pen.Point {
	n := max(2, int(math.Ceil(math.Abs(to-from)/3)))
	through := make([]pen.Point, n+1)
	for i := range through {
		through[i] = at(x, y, r, from+(to-from)*float64(i)/float64(n))
	}
	return through
}

// at is the place at a radius and an angle, degrees clockwise from the top.
func at(x, y, r, deg float64) pen.Point {
	sin, cos := math.Sincos(deg * math.Pi / 180)
	return pen.XY(x+r*sin, y-r*cos)
}

// disc is a filled circle with an edge.
func (h *hand) disc(x, y, r float64, fill pen.Ink, edge pen.Stroke) {
	if fill != pen.NoInk {
		h.on.Area(around(x, y, r, 0, 360), fill)
	}
	h.arc(x, y, r, 0, 360, edge)
}

// head is the head of an arrow at x, y that points along deg.
func (h *hand) head(x, y, deg float64, ink pen.Ink) {
	a, b := at(x, y, 11, deg+180-26), at(x, y, 11, deg+180+26)
	h.area(ink, x, y, a.X, a.Y, b.X, b.Y)
}

func (h *hand) arrow(x1, y1, x2, y2 float64, s pen.Stroke) {
	deg := math.Atan2(x2-x1, y1-y2) * 180 / math.Pi
	foot := at(x2, y2, 9, deg+180)
	h.line(s, x1, y1, foot.X, foot.Y)
	h.head(x2, y2, deg, s.Ink)
}

// turn is an arrow along a circle.
func (h *hand) turn(x, y, r, from, to float64, s pen.Stroke) {
	way := 1.0
	if to < from {
		way = -1
	}
	back := way * 9 / r * 180 / math.Pi
	h.arc(x, y, r, from, to-back, s)
	end := at(x, y, r, to)
	h.head(end.X, end.Y, to+way*90-back/2, s.Ink)
}

func (h *hand) words(x, y float64, text string, anchor pen.Anchor, ink pen.Ink) {
	h.on.Text(pen.XY(x, y), text, pen.Lettering{Ink: ink, Anchor: anchor, Size: letter, Halo: true})
}

// name writes what a part is, with a line to it.
func (h *hand) name(x, y float64, text string, toX, toY float64) {
	h.line(thin, x-4, y, toX, toY)
	h.on.Mark(pen.XY(toX, toY), pen.Mark{Radius: 2, Fill: pen.Ink3})
	h.words(x, y, text, pen.Start, pen.Ink1)
}

package fittings

import "timeball/internal/chart/pen"

var (
	cut     = pen.Stroke{Ink: pen.Ink1, Width: 1.2}
	touched = pen.Stroke{Ink: pen.Brass, Width: 1.5}
)

func bowl(h *hand) {
	const x, y = 118, 120
	h.box(8, 10, 220, 220, pen.NoInk, solid)
	h.box(18, 20, 200, 200, pen.NoInk, thin)
	h.disc(x, y, 86, pen.Paper, solid)
	h.disc(x, y, 76, pen.Paper, solid)
	h.disc(x, y, 64, pen.SeaSoft, solid)
	for _, deg := range []float64{0, 90, 180, 270} { // pivots: the ring's above and below, the bowl's left and right
		from, to := 86.0, 100.0
		if deg == 90 || deg == 270 {
			from, to = 64, 79
		}
		a, b := at(x, y, from, deg), at(x, y, to, deg)
		h.line(pen.Stroke{Ink: pen.Ink1, Width: 5}, a.X, a.Y, b.X, b.Y)
	}
	for hour := range 12 {
		a, b := at(x, y, 54, float64(hour)*30), at(x, y, 60, float64(hour)*30)
		h.line(thin, a.X, a.Y, b.X, b.Y)
	}
	h.words(x, y, "dial up", pen.Middle, pen.Ink1)
	// The latch: an arm that turns about a corner and grips the ring.
	h.line(pen.Stroke{Ink: pen.Brass, Width: 7}, 204, 206, 178, 180)
	h.disc(204, 206, 7, pen.Paper, touched)
	h.name(246, 30, "box", 223, 40)
	h.name(246, 66, "gimbal ring", 188, 78)
	h.name(246, 96, "bowl", 176, 102)
	h.name(246, 126, "pivots of bowl", 193, 120)
	h.name(246, 156, "pivots of ring", 119, 212)
	h.line(thin, 199, 193, 242, 190)
	h.words(246, 190, "latch", pen.Start, pen.Brass)
}

func gimbalScrews(h *hand) {
	// The bowl in section, open above, with a wall.
	h.line(solid, 112, 70, 112, 128, 122, 160, 150, 172, 210, 172, 238, 160, 248, 128, 248, 70, 112, 70)
	h.line(thin, 118, 76, 118, 127, 127, 156, 152, 166, 208, 166, 233, 156, 242, 127, 242, 76)
	h.line(axis, 20, 110, 340, 110)
	h.words(180, 90, "bowl, dial up", pen.Middle, pen.Ink1)
	// The ring, cut on both sides.
	for _, x := range []float64{82, 260} {
		h.box(x, 88, 18, 44, pen.SeaSoft, cut)
	}
	// The side that stays: screw home in the bowl, nut tight on the ring.
	h.box(50, 106, 66, 8, pen.Paper, cut)
	h.box(70, 98, 12, 24, pen.Paper, cut)
	h.box(42, 101, 8, 18, pen.Paper, cut)
	// The side that is freed: nut off the ring, screw out of the bowl.
	h.box(254, 106, 74, 8, pen.Paper, touched)
	h.box(292, 98, 12, 24, pen.Paper, touched)
	h.box(328, 101, 8, 18, pen.Paper, touched)
	h.arrow(296, 142, 340, 142, act)
	h.turn(298, 82, 15, -70, 80, act)
	h.words(352, 30, "1  free this one nut", pen.End, pen.Brass)
	h.words(352, 48, "on one side only", pen.End, pen.Ink1)
	h.words(352, 164, "2  withdraw", pen.End, pen.Brass)
	h.words(352, 180, "that screw,", pen.End, pen.Ink1)
	h.words(352, 196, "count half-turns", pen.End, pen.Ink1)
	h.words(12, 30, "leave screw and nut", pen.Start, pen.Ink1)
	h.words(12, 48, "of this side alone", pen.Start, pen.Ink1)
	h.line(thin, 60, 56, 74, 96)
	h.words(8, 148, "ring, latched", pen.Start, pen.Ink1)
	h.line(thin, 66, 140, 86, 126)
	h.arrow(180, 214, 180, 178, act)
	h.words(180, 226, "a hand under the bowl", pen.Middle, pen.Brass)
}

func wedgeStrips(h *hand) {
	const x, y = 92, 112
	h.disc(x, y, 72, pen.SeaSoft, solid)
	h.disc(x, y, 60, pen.Paper, solid)
	h.box(x-4, y-60, 8, 120, pen.Paper, cut) // the arm
	h.disc(x, y, 7, pen.Paper, cut)
	h.disc(x, y, 2, pen.Ink1, cut)
	for _, deg := range []float64{42, 222} { // weights
		h.on.Line(around(x, y, 66, deg-9, deg+9), pen.Stroke{Ink: pen.Ink1, Width: 17})
	}
	for _, deg := range []float64{0, 180} { // timing screws
		a, b := at(x, y, 72, deg), at(x, y, 84, deg)
		h.line(pen.Stroke{Ink: pen.Ink1, Width: 6}, a.X, a.Y, b.X, b.Y)
	}
	for _, left := range []bool{true, false} { // the strips, under the rim
		from, to := x+52.0, x+92.0
		if left {
			from, to = x-92, x-52
		}
		h.box(from, y-7, to-from, 14, pen.NoInk, act)
	}
	// What lies over the strips: the rim, drawn once more there.
	for _, deg := range []float64{90, 270} {
		for _, r := range []float64{60, 72} {
			h.arc(x, y, r, deg-8, deg+8, solid)
		}
	}
	h.words(x, 214, "from above", pen.Middle, pen.Ink2)
	// From the side: plate, folded strip, rim.
	h.box(216, 140, 132, 10, pen.NoInk, cut)
	h.box(262, 86, 40, 22, pen.SeaSoft, cut)
	h.line(act, 344, 112, 258, 110, 254, 124, 258, 137, 344, 137)
	h.line(thin, 282, 70, 282, 96)
	h.on.Mark(pen.XY(282, 96), pen.Mark{Radius: 2, Fill: pen.Ink3})
	h.words(282, 62, "rim, not lifted", pen.Middle, pen.Ink1)
	h.words(216, 168, "plate", pen.Start, pen.Ink1)
	h.words(352, 190, "folded once:", pen.End, pen.Brass)
	h.words(352, 206, "a weak spring", pen.End, pen.Brass)
	h.line(thin, 330, 182, 326, 138)
	h.words(282, 228, "from the side", pen.Middle, pen.Ink2)
	h.name(150, 18, "clear of screw, arm, weight", 96, 30)
}

func keyway(h *hand) {
	const x, y = 112, 122
	h.disc(x, y, 100, pen.Paper, solid)
	h.disc(x, y, 84, pen.SeaSoft, solid)
	// The notch in the edge of the movement, and the key of the bowl in it.
	h.box(x-9, y-86, 18, 18, pen.Paper, pen.Stroke{})
	h.line(cut, x-9, y-84, x-9, y-68, x+9, y-68, x+9, y-84)
	h.box(x-6, y-98, 12, 27, pen.Paper, touched)
	// The winding hole of the bowl, and the square of the movement in it.
	h.disc(x+34, y+26, 20, pen.Paper, solid)
	h.box(x+28, y+20, 12, 12, pen.Paper, touched)
	h.on.Mark(pen.XY(x, y), pen.Mark{Radius: 2, Fill: pen.Ink3})
	h.line(axis, x, y-112, x, y+112)
	h.words(x-18, y+60, "movement", pen.Middle, pen.Ink1)
	h.line(thin, x+10, 34, 226, 34)
	h.words(230, 34, "key of the bowl in", pen.Start, pen.Brass)
	h.words(230, 50, "the notch", pen.Start, pen.Brass)
	h.name(230, 96, "bowl", 206, 100)
	h.line(thin, x+42, y+26, 226, 148)
	h.words(230, 148, "winding square", pen.Start, pen.Brass)
	h.name(230, 176, "winding hole", x+46, y+42)
	h.words(230, 214, "seen from below", pen.Start, pen.Ink2)
}

func bezelThread(h *hand) {
	const x, y = 98, 118
	h.disc(x, y, 74, pen.Paper, solid)
	h.disc(x, y, 58, pen.SeaSoft, solid)
	for n := range 60 { // the milled edge that the hand holds
		a, b := at(x, y, 70, float64(n)*6), at(x, y, 74, float64(n)*6)
		h.line(thin, a.X, a.Y, b.X, b.Y)
	}
	h.words(x, y-8, "glass", pen.Middle, pen.Ink1)
	h.words(x, y+10, "bezel, from above", pen.Middle, pen.Ink2)
	h.turn(x, y, 86, 60, -60, act)
	h.turn(x, y, 86, 120, 240, pen.Stroke{Ink: pen.Sea, Width: 2.5})
	h.words(x, 14, "1  backwards", pen.Middle, pen.Brass)
	h.words(x, 224, "2  forward, by hand only", pen.Middle, pen.Sea)
	// The thread in section: bezel outside, bowl inside, one turn about to drop.
	const left, right = 246.0, 282.0
	var out, in []float64
	for n := range 7 {
		v := 64 + 18*float64(n)
		out = append(out, left+14, v, left, v+9)
		in = append(in, right-8, v+6, right-22, v+15)
	}
	h.area(pen.SeaSoft, append(append([]float64{222, 64}, out...), 222, 181)...)
	h.line(cut, out...)
	h.line(cut, 222, 64, left+14, 64)
	h.line(cut, 222, 64, 222, 181)
	h.line(cut, in...)
	h.line(cut, 310, 70, right-8, 70)
	h.line(cut, 310, 70, 310, 187)
	h.words(222, 46, "bezel", pen.Start, pen.Ink1)
	h.words(312, 46, "bowl", pen.End, pen.Ink1)
	h.arrow(336, 92, 336, 128, act)
	h.words(352, 204, "felt to drop: the two", pen.End, pen.Brass)
	h.words(352, 220, "threads meet", pen.End, pen.Brass)
}

func innerBox(h *hand) {
	h.box(8, 26, 230, 188, pen.NoInk, solid)
	for n := range 21 { // cushion
		a := 14 + float64(n)*22
		from, to := pen.XY(a, 32), pen.XY(a-176, 208)
		if from.X > 232 {
			from = pen.XY(232, 32+(from.X-232))
		}
		if to.X < 14 {
			to = pen.XY(14, 208-(14-to.X))
		}
		if from.Y < to.Y {
			h.on.Line([]pen.Point{from, to}, pen.Stroke{Ink: pen.RuleStrong, Width: 1})
		}
	}
	h.box(60, 70, 126, 100, pen.Paper, act)
	// The bowl on its soft ring.
	h.line(solid, 80, 92, 80, 120, 88, 144, 104, 152, 142, 152, 158, 144, 166, 120, 166, 92, 80, 92)
	h.line(pen.Stroke{Ink: pen.Ink3, Width: 6}, 74, 158, 172, 158)
	h.words(123, 112, "dial up,", pen.Middle, pen.Ink1)
	h.words(123, 128, "held", pen.Middle, pen.Ink1)
	h.name(252, 36, "outer box", 236, 48)
	h.name(252, 78, "cushion on all", 212, 92)
	h.words(252, 94, "six faces", pen.Start, pen.Ink1)
	h.line(thin, 248, 130, 188, 130)
	h.words(252, 130, "rigid inner box", pen.Start, pen.Brass)
	h.name(252, 162, "bowl alone", 160, 140)
	h.name(252, 192, "soft ring", 168, 159)
	h.words(123, 14, "this way up", pen.Middle, pen.Ink2)
	h.arrow(84, 22, 84, 4, thin)
	h.arrow(162, 22, 162, 4, thin)
}

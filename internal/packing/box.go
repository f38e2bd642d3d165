package packing

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"sync"

	"timeball/internal/packing/measure"
)

// Wall is the kind of corrugated board.
type Wall int

// The walls.
const (
	SingleWall Wall = iota
	DoubleWall
)

func (w Wall) String() string {
	if w == DoubleWall {
		return "double"
	}
	return "single"
}

// ParseWall returns the wall of a name.
func ParseWall(name string) (Wall, error) {
	for _, w := range []Wall{SingleWall, DoubleWall} {
		if w.String() == name {
			return w, nil
		}
	}
	return 0, fmt.Errorf("%w: wall %.40q is not known; write single or double", ErrAsk, name)
}

// Caliper returns the usual thickness of the board: 0.16 in single, 0.27 in
// double wall, from memory.
func (w Wall) Caliper() measure.Length {
	if w == DoubleWall {
		return 0.27 * measure.Inch
	}
	return 0.16 * measure.Inch
}

// around returns the outside of a box with flaps, which lie double above and
// below.
func (w Wall) around(inside measure.Size) measure.Size {
	s := inside.Grown(w.Caliper())
	s.Height += 2 * w.Caliper()
	return s
}

// weight returns that of a box whose flaps meet in the middle: panels and
// flaps, 2(L+W)·(H+W), of board of 0.55 or 0.95 kg/m², from memory.
func (w Wall) weight(inside measure.Size) measure.Mass {
	heavy := 0.55
	if w == DoubleWall {
		heavy = 0.95
	}
	return measure.Mass(heavy * 2 * float64(inside.Length+inside.Width) * float64(inside.Height+inside.Width))
}

// Board is a row of the table of least board.
type Board struct {
	Wall       Wall
	Gross      measure.Mass   // of the packed box, at most
	United     measure.Length // length + width + depth, at most
	BurstPSI   float64
	ECTLbPerIn float64 // edge crush, lb/in
	Memory     bool    // the edge crush is from memory
}

var boards = sync.OnceValue(func() []Board {
	var all []Board
	for _, r := range rows(boardCSV) {
		b := Board{Gross: measure.Mass(figure(r[1])) * measure.Pound, United: measure.Length(figure(r[2])) * measure.Inch,
			BurstPSI: figure(r[3]), ECTLbPerIn: figure(r[4]), Memory: r[5] == "memory"}
		if r[0] == DoubleWall.String() {
			b.Wall = DoubleWall
		}
		all = append(all, b)
	}
	return all
})

// Boards returns the table of NMFC Item 222 and UFC Rule 41, each wall's
// lightest first.
func Boards() []Board { return slices.Clone(boards()) }

// BoardFor returns the lightest board of a wall whose row holds both the gross
// weight and length + width + depth, and whether there is one.
func BoardFor(w Wall, gross measure.Mass, united measure.Length) (Board, bool) {
	for _, b := range boards() {
		if b.Wall == w && gross <= b.Gross*(1+1e-12) && united <= b.United*(1+1e-12) {
			return b, true
		}
	}
	return Board{}, false
}

// Words returns the board as it is asked for.
func (b Board) Words() string {
	if b == (Board{}) {
		return "no board of the table"
	}
	return fmt.Sprintf("%s wall, ECT %g", b.Wall, b.ECTLbPerIn)
}

// atLeast returns b, or the board that an instrument deserves whatever the
// table allows: single wall of 32, or double wall of 48. A zero b stays zero.
func (b Board) atLeast(w Wall) Board {
	if b == (Board{}) {
		return b
	}
	floor := 32.0
	if w == DoubleWall {
		floor = 48
	}
	for _, c := range boards() {
		if c.Wall == w && c.ECTLbPerIn >= max(floor, b.ECTLbPerIn) {
			return c
		}
	}
	return b
}

// Stacking returns the load that crushes a new, dry box from above:
// 5.87·ECT·√(perimeter × caliper), the short form of McKee's formula, from
// memory. ect is in lb/in.
func Stacking(ect float64, perimeter, caliper measure.Length) measure.Mass {
	return measure.Mass(5.87*ect*math.Sqrt(perimeter.In()*caliper.In())) * measure.Pound
}

// Divisor turns the size of a box into a weight that is charged for.
type Divisor struct {
	Per   float64        // in³ for a pound, or cm³ for a kilogram
	Units measure.System // US: in³/lb, Metric: cm³/kg
	Words string         // who uses it
}

// Divisors returns those in common use (MOL Logistics weight calculator; Expat
// Movers, useful tips). Carriers change them: ask yours.
func Divisors() []Divisor {
	return []Divisor{
		{139, measure.US, "couriers"}, {166, measure.US, "air freight"},
		{5000, measure.Metric, "couriers"}, {6000, measure.Metric, "air freight"},
	}
}

// String returns the divisor with its unit.
func (d Divisor) String() string {
	if d.Units == measure.US {
		return fmt.Sprintf("%g in³/lb", d.Per)
	}
	return fmt.Sprintf("%g cm³/kg", d.Per)
}

// ParseDivisor reads a divisor with its unit: 139in3/lb or 5000cm3/kg.
func ParseDivisor(words string) (Divisor, error) {
	var v float64
	var unit string
	if n, err := fmt.Sscanf(strings.ReplaceAll(strings.TrimSpace(words), "³", "3"), "%g%s", &v, &unit); err == nil && n == 2 && v >= 1 && v <= 1e6 {
		switch unit {
		case "in3/lb":
			return Divisor{v, measure.US, ""}, nil
		case "cm3/kg":
			return Divisor{v, measure.Metric, ""}, nil
		}
	}
	return Divisor{}, fmt.Errorf("%w: divisor %.40q is not one; write it with its unit, such as 139in3/lb or 5000cm3/kg", ErrAsk, words)
}

// Same returns the divisor in the other unit: 139 in³/lb is 5022 cm³/kg.
func (d Divisor) Same(u measure.System) Divisor {
	const cm3PerKg = float64(measure.Inch) * float64(measure.Inch) * float64(measure.Inch) * 1e6 / float64(measure.Pound)
	if d.Units == u {
		return d
	}
	if u == measure.Metric {
		return Divisor{d.Per * cm3PerKg, u, d.Words}
	}
	return Divisor{d.Per / cm3PerKg, u, d.Words}
}

// Charge is the weight that a carrier charges for.
type Charge struct {
	Divisor
	Dimensional measure.Mass // before rounding
	Charged     measure.Mass // the greater of it and the gross weight, rounded up
}

// Dimensional returns the weight of a size: each side rounded to the nearest
// inch or centimetre, multiplied and divided.
func (d Divisor) Dimensional(s measure.Size) measure.Mass {
	unit, weight := measure.Centimetre, measure.Kilogram
	if d.Units == measure.US {
		unit, weight = measure.Inch, measure.Pound
	}
	side := func(l measure.Length) float64 { return math.Floor(float64(l/unit) + 0.5 + 1e-9) }
	return measure.Mass(side(s.Length)*side(s.Width)*side(s.Height)/d.Per) * weight
}

// Charge returns what is charged for: the greater of dimensional and gross
// weight, up to the next pound, or the next half kilogram (common practice, no
// source).
func (d Divisor) Charge(s measure.Size, gross measure.Mass) Charge {
	step := 0.5 * measure.Kilogram
	if d.Units == measure.US {
		step = measure.Pound
	}
	c := Charge{Divisor: d, Dimensional: d.Dimensional(s)}
	c.Charged = measure.Mass(math.Ceil(float64(max(c.Dimensional, gross)/step)-1e-9)) * step
	return c
}

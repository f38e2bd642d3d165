// Package packing reckons how an instrument is packed for carriage: the fall
// to provide for, the foam, the boxes, and whether the shock stays under what
// the instrument stands.
//
// A bowl lies in a rigid inner box; foam lies between that and an outer box of
// corrugated board. Shock is in G, the greatest force of the cushion over the
// weight, as an accelerometer shows it that reads nothing in free fall. Static
// stress is weight over the area that carries it; the energy of a fall is
// static stress × height / thickness, per volume of foam, in the same unit.
// For one foam the dynamic stress depends on that energy alone (the
// stress-energy method, Clemson thesis, tigerprints 135), so one curve serves
// every height and thickness: G = stress(energy) / static stress.
//
// A cushion limits G and nothing else. That an instrument stands it rests on
// the balance being held without play, on empty gimbals and on nothing hard or
// loose beside the bowl.
package packing

import (
	"errors"
	"fmt"
	"math"

	"timeball/internal/packing/climate"
	"timeball/internal/packing/measure"
)

// ErrAsk marks a packing that cannot be reckoned.
var ErrAsk = errors.New("no packing can be reckoned")

// Item is a thing to be packed; a Size of noughts is not known.
type Item struct {
	Weight measure.Mass
	Size   measure.Size
}

// Ask is what is to be packed and what it must stand.
type Ask struct {
	Units       measure.System // of the words in the answer
	Bowl        Item           // the bowl with its movement, held; the size may be left out
	Inner       Item           // the rigid inner box with its wrap, empty; its size is that of the outside
	Fragility   Fragility
	WantedG     float64        // greatest peak wanted, G; 0 takes DesignShare of the fragility
	Handling    Handling       // chooses the drop table
	Drop        measure.Length // height of fall; 0 takes that of the table
	Cushion     Cushion
	PadM2       float64          // area of one pad, m²; 0 covers the whole of each face
	Pads        int              // pads on each face; 0 is one
	Thicknesses []measure.Length // that the cushion is to work at, thinnest first or not
	Creep       float64          // share of its thickness that the foam loses under load, 0 to below 0.5
	Wall        Wall             // of the outer box
	Divisors    []Divisor        // of dimensional weight
}

// DesignShare is the part of the fragility that is designed to ("Cushioning
// performance of flexible polyurethane foams", opening).
const DesignShare = 0.8

// Bounds of an ask.
const (
	leastBowl, mostBowl       = 50 * measure.Gram, 25 * measure.Kilogram
	mostInner                 = 25 * measure.Kilogram
	leastSide, mostSide       = 40 * measure.Millimetre, 800 * measure.Millimetre
	leastFoam, mostFoam       = 10 * measure.Millimetre, 12 * measure.Inch
	leastDrop, mostDrop       = 50 * measure.Millimetre, 3 * measure.Metre
	leastG, mostG             = 5.0, 500.0
	mostCreep                 = 0.5
	mostThicknesses, mostPads = 40, 100
)

// Boxed returns the ask of a boxed two-day chronometer: a bowl of 8 lb
// (3.6 kg), an inner box with wrap of 2 lb and 9 × 9 × 8 in, the balance held,
// ordinary carriage, and the softest representative foam over the whole of
// each face. The sizes are assumptions: measure yours.
func Boxed(u measure.System) Ask {
	a := Ask{
		Units:     u,
		Bowl:      Item{Weight: 3.6 * measure.Kilogram},
		Inner:     Item{Weight: 0.9 * measure.Kilogram, Size: measure.Size{Length: 230 * measure.Millimetre, Width: 230 * measure.Millimetre, Height: 200 * measure.Millimetre}},
		Fragility: BalanceHeld(),
		Creep:     0.1,
		Wall:      DoubleWall,
		Divisors:  Divisors(),
	}
	a.Cushion, _ = Model("polyurethane-ether")
	for mm := 75; mm <= 200; mm += 25 {
		a.Thicknesses = append(a.Thicknesses, measure.Length(mm)*measure.Millimetre)
	}
	if u == measure.US {
		a.Bowl.Weight, a.Inner.Weight = 8*measure.Pound, 2*measure.Pound
		a.Inner.Size = measure.Size{Length: 9 * measure.Inch, Width: 9 * measure.Inch, Height: 8 * measure.Inch}
		a.Thicknesses = nil
		for in := 3; in <= 8; in++ {
			a.Thicknesses = append(a.Thicknesses, measure.Length(in)*measure.Inch)
		}
	}
	return a
}

// refuse returns why an ask has no answer, in one sentence, or nil.
func (a Ask) refuse() error {
	bad := func(format string, v ...any) error {
		return fmt.Errorf("%w: %s", ErrAsk, fmt.Sprintf(format, v...))
	}
	within := func(v, least, most float64) bool { return v >= least && v <= most } // false for NaN
	switch w := a.Bowl.Weight; {
	case !(w > 0) || math.IsInf(float64(w), 0):
		return bad("a bowl of %g kg has no weight; weigh it with its movement", w)
	case w > mostBowl:
		return bad("a bowl of %.6g kg is heavier than any chronometer; were %.6g g meant?", w.Kg(), w.Kg())
	case w < leastBowl:
		return bad("a bowl of %.3g g is lighter than any chronometer; were %.3g kg meant?", w.Kg()*1000, w.Kg()*1000)
	case !within(float64(a.Inner.Weight), 0, float64(mostInner)):
		return bad("an inner box of %g kg is not between 0 and %g kg; weigh it empty, with its wrap", a.Inner.Weight, mostInner)
	}
	for _, side := range []struct {
		name string
		of   measure.Length
	}{{"length", a.Inner.Size.Length}, {"width", a.Inner.Size.Width}, {"height", a.Inner.Size.Height}} {
		if !within(float64(side.of), float64(leastSide), float64(mostSide)) {
			return bad("an inner box of %s %.6g mm is not between %g and %g mm; measure its outside, and look at the unit", side.name, side.of.MM(), leastSide.MM(), mostSide.MM())
		}
	}
	if b := a.Bowl.Size; b != (measure.Size{}) {
		if !(b.Length > 0 && b.Width > 0 && b.Height > 0) || !(b.Length < a.Inner.Size.Length && b.Width < a.Inner.Size.Width && b.Height < a.Inner.Size.Height) {
			return bad("a bowl of %s does not go into an inner box of %s; measure both again", a.Units.Size(b), a.Units.Size(a.Inner.Size))
		}
	}
	f := a.Fragility.G
	switch {
	case !within(f, leastG, mostG):
		return bad("a fragility of %g G is not between %g and %g G; a chronometer with its balance held is taken at 40, one with worn pivots at 25", f, leastG, mostG)
	case a.WantedG != 0 && !within(a.WantedG, leastG, f):
		return bad("a wanted peak of %g G is not between %g G and the fragility of %g G; design to %g", a.WantedG, leastG, f, DesignShare*f)
	case a.Handling < Ordinary || a.Handling > Thrown:
		return bad("handling %d is not known; choose ordinary, carriers or thrown", a.Handling)
	case a.Drop != 0 && !within(float64(a.Drop), float64(leastDrop), float64(mostDrop)):
		return bad("a fall of %.6g mm is not between %g and %g mm; look at the unit", a.Drop.MM(), leastDrop.MM(), mostDrop.MM())
	case a.Cushion.curve == nil:
		return bad("no cushion was chosen; name a representative one or give the supplier's points")
	case a.Pads < 0 || a.Pads > mostPads:
		return bad("%d pads on a face are not between 1 and %d", a.Pads, mostPads)
	case a.PadM2 != 0 && !within(a.PadM2, 1e-4, 1):
		return bad("a pad of %.4g cm² is not between 1 and 10000 cm²; look at the unit", a.PadM2*1e4)
	case a.PadM2 == 0 && a.Pads > 1:
		return bad("%d pads on a face need the size of one of them", a.Pads)
	case !within(a.Creep, 0, math.Nextafter(mostCreep, 0)):
		return bad("a creep of %g is not a share from 0 to below %g; 0.1 is usual", a.Creep, mostCreep)
	case a.Wall != SingleWall && a.Wall != DoubleWall:
		return bad("a board of wall %d is not known; choose single or double", a.Wall)
	case len(a.Thicknesses) == 0 || len(a.Thicknesses) > mostThicknesses:
		return bad("%d thicknesses of foam are not between 1 and %d; name those that can be bought", len(a.Thicknesses), mostThicknesses)
	}
	for _, t := range a.Thicknesses {
		if !within(float64(t), float64(leastFoam), float64(mostFoam)) {
			return bad("foam %s thick is not between %s and %s; look at the unit, and if it is right take another foam or carry the instrument by hand", a.Units.Length(t), a.Units.Length(leastFoam), a.Units.Length(mostFoam))
		}
	}
	for _, d := range a.Divisors {
		if !within(d.Per, 1, 1e6) {
			return bad("a divisor of %g is not between 1 and 1000000; carriers write 139 in³/lb or 5000 cm³/kg", d.Per)
		}
	}
	return nil
}

// Plan is the packing of an ask, one Cushioning for each thickness.
type Plan struct {
	Ask
	Unit        measure.Mass // weight of bowl and inner box, which the cushion carries
	DesignG     float64      // the peak that is designed to
	Cushionings []Cushioning // in the order of Ask.Thicknesses
	Chosen      int          // index of the thinnest that is Good, else of that with the least peak
	Optimum     Least        // the least foam that would do if its area were free to choose
	Verdict     string       // in words, one or two sentences
	Change      []string     // what to change, one sentence each; empty if nothing need be
	Remarks     []string     // what the figures rest on, one sentence each
}

// Best returns the cushioning that the verdict speaks of.
func (p Plan) Best() Cushioning { return p.Cushionings[p.Chosen] }

// Cushioning is the packing with one thickness of foam.
type Cushioning struct {
	Thickness   measure.Length // the cushion works at, after creep
	Cut         measure.Length // it is cut at: Thickness / (1 - creep)
	Fall        Fall
	ImpactMPerS float64
	Faces       [3]Knock // on the bottom, the long side, the end
	Edge        Knock    // on the worst edge
	Corner      Knock
	PeakG       float64 // the greatest of all
	PeakSDG     float64 // standard deviation of PeakG from the doubt of the cushion
	Load        LoadClass
	RingsHz     float64 // natural frequency of the linear cushion of the same peak
	Pad         float64 // area of the smallest pad, m²
	BucklingM2  float64 // least area of one pad against buckling, (1.33 t)²
	Inside      measure.Size
	Outside     measure.Size
	Gross       measure.Mass // estimated, to a tenth or so
	Board       Board        // least that the table allows; zero if none does
	Advised     Board        // and not below 32 lb/in single or 48 double wall
	Stacking    measure.Mass
	Charged     []Charge
	WarmUp      WarmUp
	Verdict     Verdict
	Why         string // in words
}

// WarmUp is how a parcel from -10 °C comes to a room of 20 °C and 50%.
type WarmUp struct {
	TimeConstantH float64
	PastDewPointH float64 // until nothing in it gets wet
	WithinDegreeH float64 // until within 1 °C of the room
	ClosedH       float64 // how long it stays closed: 24 h, or WithinDegreeH if that is longer
}

// The warm-up that is reckoned for every parcel.
const (
	coldC, roomC, roomRH = -10.0, 20.0, 50.0
)

// For returns the packing of an ask. It fails with ErrAsk, in one sentence, if
// the ask is nonsense or no drop table reaches so heavy a parcel.
func For(a Ask) (Plan, error) {
	if err := a.refuse(); err != nil {
		return Plan{}, err
	}
	p := Plan{Ask: a, Unit: a.Bowl.Weight + a.Inner.Weight, DesignG: a.WantedG}
	if p.DesignG == 0 {
		p.DesignG = DesignShare * a.Fragility.G
	}
	for _, t := range a.Thicknesses {
		c, err := p.cushioning(a.Cushion, t)
		if err != nil {
			return Plan{}, err
		}
		p.Cushionings = append(p.Cushionings, c)
	}
	p.choose()
	fall := p.Best().Fall.Height
	p.Optimum = a.Cushion.Least(p.Unit, fall, p.DesignG)
	p.judge()
	return p, nil
}

// choose finds the thinnest cushioning that is good, else that of least peak.
func (p *Plan) choose() {
	better := func(c, than Cushioning) bool {
		if (c.Verdict == Good) != (than.Verdict == Good) {
			return c.Verdict == Good
		}
		if c.Verdict == Good {
			return c.Thickness < than.Thickness
		}
		if (c.Verdict == NotMeasured) != (than.Verdict == NotMeasured) {
			return than.Verdict == NotMeasured
		}
		return c.PeakG < than.PeakG
	}
	for i, c := range p.Cushionings {
		if better(c, p.Best()) {
			p.Chosen = i
		}
	}
}

// cushioning reckons one thickness of a cushion.
func (p *Plan) cushioning(foam Cushion, t measure.Length) (Cushioning, error) {
	a := p.Ask
	c := Cushioning{Thickness: t, Cut: CutFor(t, a.Creep), BucklingM2: Buckling(t)}
	faces := a.Inner.Size.Faces()
	areas := faces
	for i, face := range faces {
		if a.PadM2 > 0 {
			areas[i] = a.PadM2 * float64(max(a.Pads, 1))
			if areas[i] > face*(1+1e-9) {
				return c, fmt.Errorf("%w: %d pads of %s are larger than a face of %s; take fewer or smaller pads", ErrAsk, max(a.Pads, 1), a.Units.Area(a.PadM2), a.Units.Area(face))
			}
		}
	}
	c.Pad = min(areas[0], areas[1], areas[2])
	if a.PadM2 > 0 {
		c.Pad = a.PadM2
	}
	c.box(p, foam, areas, faces)
	fall, ok := FallOf(a.Handling, surelyThis*c.Gross)
	switch {
	case a.Drop > 0:
		fall = Fall{Height: a.Drop, Table: "as asked", Source: "as asked"}
	case !ok:
		return c, fmt.Errorf("%w: the drop table for %s handling does not reach a parcel of %s; say the height of fall", ErrAsk, a.Handling, a.Units.Mass(c.Gross))
	}
	c.Fall, c.ImpactMPerS = fall, ImpactSpeed(fall.Height)
	drop := func(on ...float64) Knock { return foam.Drop(p.Unit, on, fall.Height, t) }
	for i, area := range areas {
		c.Faces[i] = drop(area)
	}
	for _, k := range []Knock{drop(areas[0], areas[1]), drop(areas[0], areas[2]), drop(areas[1], areas[2])} {
		if k.G > c.Edge.G {
			c.Edge = k
		}
	}
	c.Corner = drop(areas[0], areas[1], areas[2])
	c.PeakG = max(c.Faces[0].G, c.Faces[1].G, c.Faces[2].G, c.Edge.G, c.Corner.G)
	c.PeakSDG = c.PeakG * foam.Doubt / 1.96
	c.Load = LoadClassOf(c.Faces[0].Static)
	c.RingsHz = RingsHz(max(c.Faces[0].G, c.Faces[1].G, c.Faces[2].G), fall.Height)
	if err := c.warm(p); err != nil {
		return c, err
	}
	c.judge(p, foam)
	return c, nil
}

// surelyThis is the part of an estimated gross weight that looks up the drop
// table: the weight of board and foam is known to a tenth or so, and the lighter
// parcel falls the further.
const surelyThis = 0.9

// knocks returns the knocks on faces, edge and corner.
func (c Cushioning) knocks() []Knock {
	return []Knock{c.Faces[0], c.Faces[1], c.Faces[2], c.Edge, c.Corner}
}

// StrainMost returns the greatest strain of all drops.
func (c Cushioning) StrainMost() float64 {
	most := 0.0
	for _, k := range c.knocks() {
		most = max(most, k.Strain)
	}
	return most
}

// FaceG returns the greatest peak of the drops on a face.
func (c Cushioning) FaceG() float64 { return max(c.Faces[0].G, c.Faces[1].G, c.Faces[2].G) }

// Lo95G and Hi95G return the 95% interval of the greatest peak, G.
func (c Cushioning) Lo95G() float64 { return max(0, c.PeakG-1.96*c.PeakSDG) }

// Hi95G returns its upper end.
func (c Cushioning) Hi95G() float64 { return c.PeakG + 1.96*c.PeakSDG }

// assumedFoam is the density of a foam whose density is not known: the
// heaviest of the representative ones.
const assumedFoam = 2.2 * measure.PoundPerCubicFoot

// box reckons boxes, weights, board and what is charged.
func (c *Cushioning) box(p *Plan, foam Cushion, areas, faces [3]float64) {
	c.Inside = p.Inner.Size.Grown(c.Cut)
	c.Outside = p.Wall.around(c.Inside)
	volume := c.Inside.VolumeM3() - p.Inner.Size.VolumeM3()
	if areas != faces {
		volume = 2 * (areas[0] + areas[1] + areas[2]) * float64(c.Cut)
	}
	density := foam.Density
	if density == 0 {
		density = assumedFoam
	}
	c.Gross = p.Unit + measure.Mass(float64(density)*volume) + p.Wall.weight(c.Inside)
	c.Board, _ = BoardFor(p.Wall, c.Gross, c.Outside.United())
	c.Advised = c.Board.atLeast(p.Wall)
	c.Stacking = Stacking(c.Advised.ECTLbPerIn, 2*(c.Outside.Length+c.Outside.Width), p.Wall.Caliper())
	for _, d := range p.Divisors {
		c.Charged = append(c.Charged, d.Charge(c.Outside, c.Gross))
	}
}

// warm reckons the warm-up: the bowl as brass, the inner box as wood.
func (c *Cushioning) warm(p *Plan) error {
	in := climate.Parcel{
		HeatJPerK: climate.BrassJPerKgK*p.Bowl.Weight.Kg() + climate.WoodJPerKgK*p.Inner.Weight.Kg(),
		Inner:     p.Inner.Size, Outer: c.Inside, FoamWPerMK: climate.FoamWPerMK, FilmWPerM2K: climate.FilmWPerM2K,
	}
	tau, err := in.TimeConstantH()
	if err != nil {
		return fmt.Errorf("%w: %w", ErrAsk, err)
	}
	dew, err := climate.DewPoint(roomC, roomRH)
	if err != nil {
		return err
	}
	c.WarmUp.TimeConstantH = tau
	if c.WarmUp.PastDewPointH, err = climate.Hours(tau, coldC, dew, roomC); err != nil {
		return err
	}
	if c.WarmUp.WithinDegreeH, err = climate.Hours(tau, coldC, roomC-1, roomC); err != nil {
		return err
	}
	c.WarmUp.ClosedH = max(climate.ClosedH, c.WarmUp.WithinDegreeH)
	return nil
}

package packing

import (
	"fmt"
	"math"
	"strings"

	"timeball/internal/packing/measure"
)

// MaxStrain is the strain above which no peak is given: the foam bottoms.
const MaxStrain = 0.75

// RepresentativeDoubt is half the 95% interval of a peak by a representative
// model, as a share of it: "expect 25 percent or worse".
const RepresentativeDoubt = 0.25

// PredictionDoubt is how far a peak predicted from measured points by the
// stress-energy method may lie from a test, as a share of it (M. Srinangyam,
// MS thesis, Michigan State University 1999, abstract).
const PredictionDoubt = 0.20

// curve is the dynamic stress of a foam against the energy in its volume.
type curve interface {
	// at returns stress, Pa, and strain at an energy of e Pa.
	at(e float64) (stress, strain float64)
}

// Cushion is a foam with its curve.
type Cushion struct {
	Name           string
	Words          string
	Representative bool             // a model to show the shape, not measured
	Density        measure.Density  // 0 if not known
	CreepLimit     measure.Pressure // greatest lasting load published, 0 if none is known
	Lowest         measure.Pressure // least energy tested, 0 for a model
	Highest        measure.Pressure // greatest energy tested, +Inf for a model
	Doubt          float64          // half the 95% interval of a peak, as a share of it
	Remarks        []string         // how the points were fitted
	curve          curve
}

// gas is a closed-cell foam: wall stress and trapped gas, after L. J. Gibson
// and M. F. Ashby, Cellular Solids, chapter 5 (form from memory), in Pa.
type gas struct{ wall, pressure, solid float64 }

func (f gas) at(e float64) (float64, float64) {
	top := 1 - f.solid
	energy := func(x float64) float64 {
		return f.wall*x + f.pressure*(-x-top*math.Log(1-x/top))
	}
	lo, hi := 0.0, top
	for range 60 {
		if x := (lo + hi) / 2; energy(x) < e {
			lo = x
		} else {
			hi = x
		}
	}
	return f.wall + f.pressure*lo/(top-lo), lo
}

// tangent is an open-cell foam: the tangent spring of R. D. Mindlin (1945),
// stress = (2Eβ/π)·tan(πx/2β), in Pa.
type tangent struct{ modulus, beta float64 }

func (f tangent) at(e float64) (float64, float64) {
	// exp(-u) is the cosine of the angle of the tangent.
	u := math.Pi * math.Pi * e / (4 * f.modulus * f.beta * f.beta)
	tan := math.Sqrt(math.Expm1(min(2*u, 700)))
	return 2 * f.modulus * f.beta / math.Pi * tan, 2 * f.beta / math.Pi * math.Atan(tan)
}

// models are the representative foams. No published curve could be read point
// by point: the forms are Gibson and Ashby's and Mindlin's, the parameters from
// memory, chosen so that shape and optimum agree with curves remembered.
var models = []Cushion{
	{Name: "polyurethane-ether", Words: "polyurethane, polyether, open cell, 1.5 lb/ft³ (24 kg/m³)", Density: 1.5 * measure.PoundPerCubicFoot,
		curve: tangent{5.7 * float64(measure.PSI), 0.85}},
	{Name: "polyurethane-ester", Words: "polyurethane, polyester, open cell, 2 lb/ft³ (32 kg/m³)", Density: 2 * measure.PoundPerCubicFoot,
		curve: tangent{9 * float64(measure.PSI), 0.9}},
	{Name: "polyethylene-light", Words: "polyethylene, closed cell, 1.2 lb/ft³ (19 kg/m³), first drop", Density: 1.2 * measure.PoundPerCubicFoot,
		curve: gas{17e3, 100e3, 0.021}},
	{Name: "polyethylene", Words: "polyethylene, closed cell, 2.2 lb/ft³ (35 kg/m³), first drop", Density: 2.2 * measure.PoundPerCubicFoot,
		CreepLimit: 2.5 * measure.PSI, curve: gas{40e3, 100e3, 0.038}},
	{Name: "polyethylene-later-drops", Words: "polyethylene, closed cell, 2.2 lb/ft³ (35 kg/m³), drops 2 to 5", Density: 2.2 * measure.PoundPerCubicFoot,
		CreepLimit: 2.5 * measure.PSI, curve: gas{25e3, 100e3, 0.038}},
}

// Models returns the representative foams, the softest first. They show the
// shape of the curves and are not for packing: ask for the supplier's points by
// ASTM D1596.
func Models() []Cushion {
	all := make([]Cushion, len(models))
	for i, c := range models {
		c.Representative, c.Doubt, c.Highest = true, RepresentativeDoubt, measure.Pressure(math.Inf(1))
		all[i] = c
	}
	return all
}

// Model returns the representative foam of a name. It fails, naming those
// there are, if there is none.
func Model(name string) (Cushion, error) {
	var names []string
	for _, c := range Models() {
		if c.Name == name {
			return c, nil
		}
		names = append(names, c.Name)
	}
	return Cushion{}, fmt.Errorf("%w: cushion %.40q is not a representative foam; those are %s", ErrAsk, name, strings.Join(names, ", "))
}

// Stress returns the dynamic stress at an energy. Below the least energy
// tested it returns the stress there, which is at least as great.
func (c Cushion) Stress(e measure.Pressure) measure.Pressure {
	s, _ := c.curve.at(float64(e))
	return measure.Pressure(s)
}

// Strain returns the strain at an energy; for a measured foam the least it can
// be, as its points tell stress and energy only.
func (c Cushion) Strain(e measure.Pressure) float64 {
	_, x := c.curve.at(float64(e))
	return x
}

// Reach says whether an energy is one the foam was tested at.
type Reach int

// Where an energy lies. Below the tested ones a peak is an upper bound; above
// them nothing is known.
const (
	Within Reach = iota
	Below
	Above
)

// Reach returns where an energy lies among those tested.
func (c Cushion) Reach(e measure.Pressure) Reach {
	switch {
	case e < c.Lowest*(1-1e-9):
		return Below
	case e > c.Highest*(1+1e-9):
		return Above
	}
	return Within
}

// Knock is the shock of one drop.
type Knock struct {
	G      float64
	Static measure.Pressure // of the faces that take it, together
	Energy measure.Pressure
	Strain float64
	Reach  Reach
}

// Bottoms reports whether the strain is above MaxStrain, so that G means
// nothing.
func (k Knock) Bottoms() bool { return k.Strain > MaxStrain }

// Drop returns the shock of a mass that falls from h onto one face, an edge or
// a corner, cushioned t thick: areas are those of the one, two or three faces
// that take it, m². The faces share the work at one strain, each pressing at
// the angle of an even drop, so that G = Σarea·stress(W·h/(t·Σarea)) / (√n·W);
// friction, shear and the walls of the box are left out. It panics for no
// areas or more than three.
func (c Cushion) Drop(m measure.Mass, areas []float64, h, t measure.Length) Knock {
	if len(areas) == 0 || len(areas) > 3 {
		panic("packing: a drop is on one, two or three faces")
	}
	all := 0.0
	for _, a := range areas {
		all += a
	}
	static := m.Newtons() / all
	e := static * float64(h) / float64(t)
	stress, strain := c.curve.at(e)
	return Knock{
		G: stress / static / math.Sqrt(float64(len(areas))), Static: measure.Pressure(static), Energy: measure.Pressure(e),
		Strain: strain, Reach: c.Reach(measure.Pressure(e)),
	}
}

// Optimum is where a foam gives the least peak for its thickness.
type Optimum struct {
	Energy measure.Pressure
	Stress measure.Pressure
	Factor float64 // cushion factor C, stress over energy: t = C·h/G
	Strain float64
	AtEnd  bool // at the end of what was tested: the true one lies beyond
}

// Optimum returns where stress over energy is least, among the energies tested.
func (c Cushion) Optimum() Optimum {
	lo, hi := math.Log(10), math.Log(1e6) // 0.0015 to 145 psi, wider than any foam
	if c.Lowest > 0 {
		lo, hi = math.Log(float64(c.Lowest)), math.Log(float64(c.Highest))
	}
	from, to := lo, hi
	factor := func(ln float64) float64 {
		s, _ := c.curve.at(math.Exp(ln))
		return s / math.Exp(ln)
	}
	golden := (math.Sqrt(5) - 1) / 2
	for range 80 {
		a, b := hi-golden*(hi-lo), lo+golden*(hi-lo)
		if factor(a) < factor(b) {
			hi = b
		} else {
			lo = a
		}
	}
	ln := (lo + hi) / 2
	s, x := c.curve.at(math.Exp(ln))
	return Optimum{Energy: measure.Pressure(math.Exp(ln)), Stress: measure.Pressure(s), Factor: factor(ln), Strain: x,
		AtEnd: c.Lowest > 0 && (ln-from < 1e-6 || to-ln < 1e-6)}
}

// Least is the least foam for a wanted peak, at the optimum of its curve.
type Least struct {
	Factor     float64
	Thickness  measure.Length
	Static     measure.Pressure
	AreaM2     float64
	BucklingM2 float64
	Buckles    bool // as one pad, by Kerstner's rule
	AtEnd      bool
}

// Least returns the thickness, static stress and area that give a peak of g
// (G) from a fall of h with the least foam: t = C·h/G, s = e·t/h, A = W/s.
func (c Cushion) Least(m measure.Mass, h measure.Length, g float64) Least {
	o := c.Optimum()
	t := measure.Length(o.Factor * float64(h) / g)
	static := float64(o.Energy) * float64(t) / float64(h)
	l := Least{Factor: o.Factor, Thickness: t, Static: measure.Pressure(static), AreaM2: m.Newtons() / static, BucklingM2: Buckling(t), AtEnd: o.AtEnd}
	l.Buckles = l.AreaM2 < l.BucklingM2
	return l
}

// Buckling returns the least area, m², of a pad t thick that stands upright:
// (1.33 t)², Kerstner's rule in MIL-HDBK-304, from memory.
func Buckling(t measure.Length) float64 { return 1.33 * 1.33 * float64(t) * float64(t) }

// CutFor returns the thickness to cut so that t is left after a creep of that
// share: t/(1-c).
func CutFor(t measure.Length, creep float64) measure.Length { return t / measure.Length(1-creep) }

// CutForSimple returns the thickness to cut by the simple form t·(1+c) of
// MIL-HDBK-304, from memory, which is a little thin.
func CutForSimple(t measure.Length, creep float64) measure.Length {
	return t * measure.Length(1+creep)
}

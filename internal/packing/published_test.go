package packing_test

import (
	"encoding/csv"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"

	"timeball/internal/packing"
	"timeball/internal/packing/measure"
)

const (
	in = measure.Inch
	lb = measure.Pound
	// poundPerInch is one lb/in of stiffness, N/m.
	poundPerInch = float64(measure.Pound) * measure.Gravity / float64(measure.Inch)
)

// printed fails unless got rounds to want, which is printed to that many
// decimals.
func printed(t *testing.T, what string, got, want float64, decimals int) {
	t.Helper()
	if !(math.Abs(got-want) <= 0.5*math.Pow(10, -float64(decimals))*(1+1e-6)) {
		t.Errorf("%s: %.6g, printed %.*f", what, got, decimals, want)
	}
}

func model(t testing.TB, name string) packing.Cushion {
	t.Helper()
	c, err := packing.Model(name)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

// Free fall, v = √(2gh), g = 386.089 in/s²; velocity change with rebound and
// the pulses: R. E. Newton, Fragility Assessment (1968).
func TestFallsAndPulses(t *testing.T) {
	printed(t, "30 in, in/s", packing.ImpactSpeed(30*in)/float64(in), 152.2, 1)
	printed(t, "30 in, m/s", packing.ImpactSpeed(30*in), 3.866, 3)
	printed(t, "30 in, rebound 0.5", packing.VelocityChange(30*in, 0.5), 5.799, 3)
	printed(t, "equivalent fall, in", packing.EquivalentFall(packing.ImpactSpeed(30*in)).In(), 30, 6)
	printed(t, "half-sine 40 G 20 ms", packing.HalfSineChange(40, 0.020), 4.9945, 4)
	printed(t, "rectangular 40 G 20 ms", packing.RectangularChange(40, 0.020), 7.8453, 4)
	b := packing.DamageBoundary(200, 80)
	printed(t, "critical change", b.ChangeMPerS, 0.6243, 4)
	printed(t, "critical G, rectangular", b.RectangularG, 40, 2)
	printed(t, "critical G, half-sine", b.HalfSineG, 45.25, 2)
	// The textbook's greatest response to a half-sine pulse, 1.77.
	most, at := 0.0, 0.0
	for c := 0.01; c < 10; c += 0.001 {
		if r := packing.HalfSineResponse(c); r > most {
			most, at = r, c
		}
	}
	printed(t, "response to a half-sine", most, 1.77, 2)
	printed(t, "at frequency × length", at, 0.81, 2)
	printed(t, "response at half a cycle, the limit π/2", packing.HalfSineResponse(0.5), 1.5708, 4)
	printed(t, "response of a stiff part follows the pulse", packing.HalfSineResponse(500.25), 1.0, 2)
}

// The response closed-form holds against step-by-step integration of
// x” + ω²x = ω²·sin(πt/τ).
func TestHalfSineResponseByIntegration(t *testing.T) {
	for _, cycles := range []float64{0.1, 0.3, 0.5, 0.81, 1.4, 2.6} {
		w := 2 * math.Pi * cycles // τ = 1
		x, v, most := 0.0, 0.0, 0.0
		const dt = 1e-5
		for i := range 400000 {
			f := 0.0
			if s := float64(i) * dt; s < 1 {
				f = math.Sin(math.Pi * s)
			}
			v += dt * w * w * (f - x)
			x += dt * v
			most = max(most, math.Abs(x))
		}
		if got := packing.HalfSineResponse(cycles); math.Abs(got-most) > 2e-3 {
			t.Errorf("%g cycles: %.5f, integrated %.5f", cycles, got, most)
		}
	}
}

// Worked examples of a linear cushion after R. D. Mindlin, "Dynamics of
// Package Cushioning", Bell System Tech. J. 24 (1945) 353: W 8 lb, k 100 lb/in,
// and W 10 lb for 32 G, both from 30 in.
func TestLinearCushion(t *testing.T) {
	g, d := packing.SpringPeak(8*lb, 30*in, 100*poundPerInch)
	printed(t, "G", g, 28.404, 3)
	printed(t, "travel, in", d.In(), 2.2724, 4)
	printed(t, "G, short", packing.SpringPeakShort(8*lb, 30*in, 100*poundPerInch), 27.386, 3)
	f := packing.NaturalHz(100*poundPerInch, 8*lb)
	printed(t, "Hz", f, 11.057, 2)
	// The form of MIL-HDBK-304, 3.13·√(K/W), from memory, is 3.1273 rounded.
	printed(t, "3.13·√(K/W) for 3.1273", f/math.Sqrt(100.0/8), 3.13, 2)
	k, d := packing.SpringFor(10*lb, 30*in, 32)
	printed(t, "k, lb/in", k/poundPerInch, 160.0, 1)
	printed(t, "its travel, in", d.In(), 2.000, 3)
	k, d = packing.SpringForShort(10*lb, 30*in, 32)
	printed(t, "k short, lb/in", k/poundPerInch, 170.667, 3)
	printed(t, "its travel, in", d.In(), 1.875, 3)
	series := packing.InSeries(300, 120)
	printed(t, "300 and 120 in series, lb/in", series, 85.7, 1)
	printed(t, "32 G from 30 in rings at, Hz", packing.RingsHz(32, 30*in), 12.9, 1)
	printed(t, "f = 2.21·G/√h", packing.RingsHz(1, 1*in), 2.21, 2)
	if k, _ := packing.SpringFor(10*lb, 30*in, 2); k != 0 {
		t.Errorf("a spring of %g N/m is to stop a fall at 2 G", k)
	}
}

// Full-face cushions of the representative foams: 10 lb on 81 in², 5 in thick,
// from 30 in; worked apart from this program from the laws of the models.
func TestFullFaceCushion(t *testing.T) {
	face := 81 * measure.SquareInch
	for _, c := range []struct {
		model                      string
		strain, flat, edge, corner float64
	}{
		{"polyurethane-ether", 0.473, 29.87, 26.41, 25.39},
		{"polyurethane-ester", 0.389, 33.70, 31.53, 30.86},
		{"polyethylene", 0.110, 62.24, 77.33, 90.31},
	} {
		foam := model(t, c.model)
		k := foam.Drop(10*lb, []float64{face}, 30*in, 5*in)
		printed(t, c.model+" static, psi", k.Static.Psi(), 0.12346, 5)
		printed(t, c.model+" energy, psi", k.Energy.Psi(), 0.74074, 5)
		printed(t, c.model+" strain", k.Strain, c.strain, 3)
		printed(t, c.model+" flat", k.G, c.flat, 2)
		printed(t, c.model+" edge", foam.Drop(10*lb, []float64{face, face}, 30*in, 5*in).G, c.edge, 2)
		printed(t, c.model+" corner", foam.Drop(10*lb, []float64{face, face, face}, 30*in, 5*in).G, c.corner, 2)
	}
	ether, stiff := model(t, "polyurethane-ether"), model(t, "polyethylene")
	flat := func(c packing.Cushion, weight measure.Mass, h, thick measure.Length) float64 {
		return c.Drop(weight, []float64{face}, h, thick).G
	}
	printed(t, "ether, 38 in, 6 in thick", flat(ether, 10*lb, 38*in, 6*in), 31.1, 1)
	printed(t, "ether, 38 in, 5 in thick", flat(ether, 10*lb, 38*in, 5*in), 36.0, 1)
	printed(t, "polyethylene, 20 lb", flat(stiff, 20*lb, 30*in, 5*in), 38.6, 1)
	printed(t, "polyethylene, 25 lb", flat(stiff, 25*lb, 30*in, 5*in), 33.9, 1)
	printed(t, "polyethylene, 30 lb", flat(stiff, 30*lb, 30*in, 5*in), 30.8, 1)
}

// The least foam for 32 G from 30 in and 10 lb, with the buckling area, and
// for 20 G.
func TestLeastFoam(t *testing.T) {
	for _, c := range []struct {
		model                       string
		factor, thick, static, area float64
		buckling                    float64
		buckles                     bool
		energy, strain              float64
	}{
		{"polyethylene", 3.546, 3.32, 0.922, 10.8, 19.5, true, 8.32, 0.597},
		{"polyethylene-later-drops", 3.890, 3.65, 0.886, 11.3, 23.5, true, 7.288, 0.606},
		{"polyurethane-ester", 4.338, 4.07, 0.319, 31.3, 29.3, false, 2.354, 0.632},
		{"polyurethane-ether", 4.593, 4.31, 0.191, 52.4, 32.8, false, 1.330, 0.597},
		{"polyethylene-light", 4.057, 3.80, 0, 0, 0, true, 7.007, 0.628},
	} {
		foam := model(t, c.model)
		l := foam.Least(10*lb, 30*in, 32)
		printed(t, c.model+" factor", l.Factor, c.factor, 3)
		printed(t, c.model+" thickness", l.Thickness.In(), c.thick, 2)
		if c.static > 0 {
			printed(t, c.model+" static", l.Static.Psi(), c.static, 3)
			printed(t, c.model+" area", l.AreaM2/measure.SquareInch, c.area, 1)
			printed(t, c.model+" buckling area", l.BucklingM2/measure.SquareInch, c.buckling, 1)
		}
		if l.Buckles != c.buckles {
			t.Errorf("%s: buckles %v", c.model, l.Buckles)
		}
		// The optimum is flat, so its energy and strain are known less well than the factor.
		o := foam.Optimum()
		if math.Abs(o.Energy.Psi()-c.energy) > 0.005*c.energy || math.Abs(o.Strain-c.strain) > 0.002 {
			t.Errorf("%s: optimum at %.4g psi, strain %.4g; printed %g, %g", c.model, o.Energy.Psi(), o.Strain, c.energy, c.strain)
		}
	}
	ether := model(t, "polyurethane-ether")
	printed(t, "20 G from 30 in", ether.Least(10*lb, 30*in, 20).Thickness.In(), 6.9, 1)
	printed(t, "20 G from 38 in", ether.Least(10*lb, 38*in, 20).Thickness.In(), 8.7, 1)
}

// The table of peaks at the optimum for 24 and 30 in.
func TestPeaksAtOptimum(t *testing.T) {
	for _, c := range []struct {
		model  string
		drop   measure.Length
		thick  []measure.Length
		peak   []float64
		static []float64
	}{
		{"polyethylene", 24 * in, []measure.Length{2, 3, 4, 6}, []float64{43, 28, 21, 14}, []float64{0.69, 1.04, 1.39, 2.08}},
		{"polyethylene", 30 * in, []measure.Length{3, 4, 5, 6}, []float64{35, 27, 21, 18}, []float64{0.83, 1.11, 1.39, 1.66}},
		{"polyethylene-later-drops", 24 * in, []measure.Length{2, 3, 4, 6}, []float64{47, 31, 23, 16}, []float64{0.61, 0.91, 1.21, 1.82}},
		{"polyethylene-later-drops", 30 * in, []measure.Length{3, 4, 5, 6}, []float64{39, 29, 23, 19}, []float64{0.73, 0.97, 1.21, 1.46}},
		{"polyurethane-ester", 24 * in, []measure.Length{2, 3, 4, 6}, []float64{52, 35, 26, 17}, []float64{0.20, 0.29, 0.39, 0.59}},
		{"polyurethane-ester", 30 * in, []measure.Length{3, 4, 5, 6}, []float64{43, 33, 26, 22}, []float64{0.24, 0.31, 0.39, 0.47}},
		{"polyurethane-ether", 24 * in, []measure.Length{2, 3, 4, 6}, []float64{55, 37, 28, 18}, []float64{0.11, 0.17, 0.22, 0.33}},
		{"polyurethane-ether", 30 * in, []measure.Length{3, 4, 5, 6}, []float64{46, 34, 28, 23}, []float64{0.13, 0.18, 0.22, 0.27}},
	} {
		o := model(t, c.model).Optimum()
		for i, thick := range c.thick {
			static := float64(o.Energy) * float64(thick*in) / float64(c.drop)
			name := c.model + " " + strconv.Itoa(int(thick)) + " in"
			printed(t, name+" G", float64(o.Stress)/static, c.peak[i], 0)
			printed(t, name+" static", measure.Pressure(static).Psi(), c.static[i], 2)
		}
	}
}

// The models reproduce their tabulated points, which were computed apart from
// this program, at the printed rounding of every column.
func TestModelPoints(t *testing.T) {
	f, err := os.Open("testdata/model_points.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	r := csv.NewReader(f)
	r.Comment = '#'
	rows, err := r.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	names := map[string]string{"pe22_first": "polyethylene", "pe22_repeat": "polyethylene-later-drops", "pe12_first": "polyethylene-light", "pu_ester_2.0": "polyurethane-ester", "pu_ether_1.5": "polyurethane-ether"}
	checked := map[string]int{}
	for _, row := range rows[1:] {
		v := make([]float64, len(row))
		for i := 1; i < 7; i++ {
			if row[i] != "" {
				if v[i], err = strconv.ParseFloat(row[i], 64); err != nil {
					t.Fatal(err)
				}
			}
		}
		foam := model(t, names[row[0]])
		static := v[3]
		if row[7] == "optimum" { // its stress is printed too short to reckon from; the energy is longer
			static = foam.Optimum().Energy.Psi() * v[2] / v[1]
		}
		area := 10 / static * measure.SquareInch
		k := foam.Drop(10*lb, []float64{area}, measure.Length(v[1])*in, measure.Length(v[2])*in)
		what := strings.Join(row[:4], " ")
		decimals := func(cell string) int { _, after, _ := strings.Cut(cell, "."); return len(after) }
		checked[row[7]]++
		if row[7] == "bottoms" {
			if !k.Bottoms() {
				t.Errorf("%s: strain %.3f does not bottom", what, k.Strain)
			}
			continue
		}
		if k.Bottoms() {
			t.Errorf("%s: strain %.3f bottoms", what, k.Strain)
		}
		printed(t, what+" strain", k.Strain, v[5], 3)
		printed(t, what+" G", k.G, v[6], decimals(row[6]))
	}
	if checked["model"] < 300 || checked["optimum"] != 48 || checked["bottoms"] < 150 {
		t.Errorf("checked %v", checked)
	}
}

// Two points of one curve at 24 in and 2 in, used for 30 in and 3 in: the
// exponential law of the stress-energy method (Clemson thesis, tigerprints
// 135).
func TestExponentialThroughTwoPoints(t *testing.T) {
	c, err := packing.Measured("two points", []packing.Point{
		{24 * in, 2 * in, 0.35 * measure.PSI, 46.0}, {24 * in, 2 * in, 0.70 * measure.PSI, 42.5},
	})
	if err != nil {
		t.Fatal(err)
	}
	printed(t, "stress at 4.2 psi", c.Stress(4.2*measure.PSI).Psi(), 0.35*46, 6)
	// σ = a·exp(be) with a = 8.7129 psi, b = 0.14619 /psi.
	b := math.Log(float64(c.Stress(8.4*measure.PSI)/c.Stress(4.2*measure.PSI))) / 4.2
	printed(t, "b", b, 0.14619, 5)
	printed(t, "a", c.Stress(4.2*measure.PSI).Psi()/math.Exp(b*4.2), 8.7129, 4)
	o := c.Optimum()
	printed(t, "C", o.Factor, 3.4625, 4)
	k := c.Drop(10*lb, []float64{10 / 0.8 * measure.SquareInch}, 30*in, 3*in)
	printed(t, "G at 0.8 psi", k.G, 35.075, 3)
	printed(t, "optimum static", o.Energy.Psi()*3/30, 0.68403, 4)
	printed(t, "optimum G", o.Factor*30/3, 34.625, 3)
	// Corner and edge at the optimum of the exponential: √2·exp(-1/2), √3·exp(-2/3).
	// The curve is held below what was tested, so the law is asked of wider points.
	wide, err := packing.Measured("wide", []packing.Point{
		{24 * in, 2 * in, 0.05 * measure.PSI, 8.7129 * math.Exp(0.14619*0.6) / 0.05}, {24 * in, 2 * in, 1 * measure.PSI, 8.7129 * math.Exp(0.14619*12)},
	})
	if err != nil {
		t.Fatal(err)
	}
	static := wide.Optimum().Energy.Psi() * 3 / 30
	a := 10 / static * measure.SquareInch
	flat := wide.Drop(10*lb, []float64{a}, 30*in, 3*in).G
	printed(t, "edge", wide.Drop(10*lb, []float64{a, a}, 30*in, 3*in).G/flat, 0.85776, 4)
	printed(t, "corner", wide.Drop(10*lb, []float64{a, a, a}, 30*in, 3*in).G/flat, 0.88926, 4)
}

// Creep: t·(1+c) of MIL-HDBK-304, from memory, and the exact t/(1-c).
func TestCreep(t *testing.T) {
	printed(t, "simple", packing.CutForSimple(4*in, 0.1).In(), 4.4, 4)
	printed(t, "exact", packing.CutFor(4*in, 0.1).In(), 4.4444, 4)
}

// A single mass on a spring, and Miles's equation from memory of the textbook.
func TestVibration(t *testing.T) {
	for r, want := range map[float64]float64{1: 5.099, math.Sqrt2: 1.0, 2: 0.3559, 4: 0.0853} {
		if got := packing.Transmissibility(r, 0.1); math.Abs(got-want) > 0.001*want {
			t.Errorf("transmissibility at %g: %.5f, printed %g", r, got, want)
		}
	}
	printed(t, "Miles, rms", packing.Miles(12, 4, 0.01), 0.86832, 5)
	printed(t, "Miles, three sigma", 3*packing.Miles(12, 4, 0.01), 2.60496, 5)
}

// Pivots by the formulas of the beam; mass, size and yield are assumptions.
func TestPivot(t *testing.T) {
	p := packing.ChronometerPivot()
	printed(t, "MPa a G", p.StressPerG()/1e6, 35.96, 2)
	printed(t, "bends at 1800 MPa", p.BendsAtG(1800e6), 50.1, 1)
	printed(t, "rings at", p.RingsHz(), 3887, 0)
	printed(t, "knock over 10 µm", p.KnockG(10e-6, 32, 12.93), 56.2, 1)
	thin, thick := p, p
	thin.DiameterM, thick.DiameterM = 0.08e-3, 0.12e-3
	printed(t, "0.08 mm bends at", thin.BendsAtG(1800e6), 26, 0)
	printed(t, "0.12 mm bends at", thick.BendsAtG(1800e6), 86, 0)
}

// Published examples of dimensional weight: MOL Logistics weight calculator;
// Expat Movers, useful tips.
func TestDimensionalWeight(t *testing.T) {
	size := func(l, w, h float64, unit measure.Length) measure.Size {
		return measure.Size{Length: measure.Length(l) * unit, Width: measure.Length(w) * unit, Height: measure.Length(h) * unit}
	}
	for _, c := range []struct {
		size         measure.Size
		per          packing.Divisor
		raw, charged float64
	}{
		{size(30.4, 19.6, 19.5, in), packing.Divisor{Per: 139, Units: measure.US}, 86.33, 87},
		{size(30, 24, 22, in), packing.Divisor{Per: 166, Units: measure.US}, 95.42, 96},
		{size(140, 100, 90, measure.Centimetre), packing.Divisor{Per: 6000}, 210, 210},
		{size(19, 19, 18, in), packing.Divisor{Per: 139, Units: measure.US}, 46.75, 47}, // the example box, not published
	} {
		got := c.per.Charge(c.size, 16*lb)
		raw, charged := got.Dimensional.Lb(), got.Charged.Lb()
		if c.per.Units == measure.Metric {
			raw, charged = got.Dimensional.Kg(), got.Charged.Kg()
		}
		printed(t, c.per.String(), raw, c.raw, 2)
		printed(t, c.per.String()+" charged", charged, c.charged, 6)
	}
	printed(t, "139 in³/lb", packing.Divisor{Per: 139, Units: measure.US}.Same(measure.Metric).Per, 5021.7, 1)
	printed(t, "166 in³/lb", packing.Divisor{Per: 166, Units: measure.US}.Same(measure.Metric).Per, 5997.1, 1)
	if c := (packing.Divisor{Per: 139, Units: measure.US}).Charge(size(10, 10, 10, in), 16.2*lb); math.Abs(c.Charged.Lb()-17) > 1e-9 {
		t.Errorf("a heavy small box is charged %g lb, not its own weight rounded up", c.Charged.Lb())
	}
}

// NMFC Item 222 and UFC Rule 41: a box of 16 lb and 56 united inches is in the
// 20 lb row by weight and in the 50 lb row by size.
func TestBoard(t *testing.T) {
	for _, c := range []struct {
		wall          packing.Wall
		gross, united float64
		ect           float64
	}{
		{packing.SingleWall, 20, 40, 23}, {packing.SingleWall, 20.01, 40, 26}, {packing.SingleWall, 20, 40.01, 26},
		{packing.SingleWall, 16, 56, 29}, {packing.SingleWall, 65, 75, 32}, {packing.SingleWall, 120, 105, 55},
		{packing.DoubleWall, 16, 56, 42}, {packing.DoubleWall, 100, 95, 48}, {packing.DoubleWall, 180, 120, 82},
	} {
		b, ok := packing.BoardFor(c.wall, measure.Mass(c.gross)*lb, measure.Length(c.united)*in)
		if !ok || b.ECTLbPerIn != c.ect {
			t.Errorf("%s wall, %g lb, %g in: ECT %g, want %g", c.wall, c.gross, c.united, b.ECTLbPerIn, c.ect)
		}
	}
	if b, ok := packing.BoardFor(packing.SingleWall, 121*lb, 20*in); ok {
		t.Errorf("121 lb go into %s", b.Words())
	}
	printed(t, "stacking, lb", packing.Stacking(32, 76*in, 0.16*in).Lb(), 655.0, 0)
}

// ISTA 1A and 2A by secondary accounts; MIL-HDBK-304 is from memory and only
// its order is checked.
func TestDropTables(t *testing.T) {
	for _, c := range []struct {
		handling packing.Handling
		weight   float64
		drop     float64
	}{
		{packing.Ordinary, 8, 30}, {packing.Ordinary, 20.99, 30}, {packing.Ordinary, 21, 24}, {packing.Ordinary, 41, 18}, {packing.Ordinary, 61, 12}, {packing.Ordinary, 100, 8},
		{packing.Carriers, 8, 38}, {packing.Carriers, 21, 32}, {packing.Carriers, 41, 26}, {packing.Carriers, 61, 20}, {packing.Carriers, 149, 12},
	} {
		f, ok := packing.FallOf(c.handling, measure.Mass(c.weight)*lb)
		if !ok || math.Abs(f.Height.In()-c.drop) > 1e-9 || f.Memory {
			t.Errorf("%s, %g lb: %+v", c.handling, c.weight, f)
		}
	}
	if f, ok := packing.FallOf(packing.Ordinary, 150*lb); ok {
		t.Errorf("150 lb fall %g in", f.Height.In())
	}
	thrown, _ := packing.FallOf(packing.Thrown, 16*lb)
	if carriers, _ := packing.FallOf(packing.Carriers, 16*lb); !(thrown.Height > carriers.Height) || !thrown.Memory {
		t.Errorf("thrown: %+v", thrown)
	}
	if falls := packing.Falls(16 * lb); len(falls) < 5 {
		t.Errorf("%d tables for 16 lb", len(falls))
	}
}

// MIL-C-26861B, 1.2: 10 lb on 81 in² is "light", class 2, and a peak under 40 G
// grade B.
func TestLoadClasses(t *testing.T) {
	for _, c := range []struct {
		psi   float64
		class int
		name  string
	}{{0.05, 1, "very light"}, {0.08, 2, "light"}, {10.0 / 81, 2, "light"}, {0.2, 3, "medium"}, {0.75, 4, "heavy"}, {1.2, 5, "very heavy"}, {2, 6, "extremely heavy"}, {4, 0, "beyond all classes"}} {
		if got := packing.LoadClassOf(measure.Pressure(c.psi) * measure.PSI); got.Class != c.class || got.Name != c.name {
			t.Errorf("%g psi: %+v", c.psi, got)
		}
	}
	for g, want := range map[float64]string{19.9: "A", 20: "B", 32: "B", 40: "C", 99: "D", 100: ""} {
		if got := packing.Grade(g); got != want {
			t.Errorf("%g G: grade %q, want %q", g, got, want)
		}
	}
}

// Gemstar, technical brief "Foam Cushioning": extremely fragile 15 to 25 G,
// very delicate 25 to 40.
func TestFragility(t *testing.T) {
	all := packing.FragilityClasses()
	if len(all) != 6 || all[0].From != 15 || all[0].To != 25 || all[1].Name != "very delicate" || all[1].From != 25 || all[1].To != 40 {
		t.Errorf("%+v", all)
	}
	if g := packing.BalanceHeld().G; g != 40 {
		t.Errorf("balance held: %g G", g)
	}
	if g := packing.Worn().G; g != 25 {
		t.Errorf("worn: %g G", g)
	}
	f, err := packing.ParseFragility("very delicate")
	if err != nil || f.G != 25 {
		t.Errorf("%+v, %v", f, err)
	}
}

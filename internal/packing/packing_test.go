package packing_test

import (
	"errors"
	"fmt"
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"timeball/internal/packing"
	"timeball/internal/packing/measure"
)

func planned(t testing.TB, a packing.Ask) packing.Plan {
	t.Helper()
	p, err := packing.For(a)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// The example of the boxed chronometer in the soft foam: good at 5 in, and the
// same knocks as on a cube where all faces are alike.
func TestBoxedChronometer(t *testing.T) {
	a := packing.Boxed(measure.US)
	a.Creep, a.Wall = 0, packing.SingleWall
	a.Thicknesses = []measure.Length{4 * in, 5 * in}
	p := planned(t, a)
	if p.DesignG != 32 || math.Abs(p.Unit.Lb()-10) > 1e-9 {
		t.Errorf("design %g G, unit %g lb", p.DesignG, p.Unit.Lb())
	}
	c := p.Best()
	if c.Thickness != 5*in || c.Verdict != packing.Good || p.Cushionings[0].Verdict != packing.Over {
		t.Errorf("chosen %g in, %s; 4 in %s", c.Thickness.In(), c.Verdict, p.Cushionings[0].Verdict)
	}
	printed(t, "bottom", c.Faces[0].G, 29.87, 2)
	if !(c.Faces[1].G < c.Faces[0].G) || c.Faces[1] != c.Faces[2] {
		t.Errorf("on the smaller faces %.2f and %.2f G", c.Faces[1].G, c.Faces[2].G)
	}
	printed(t, "fall, in", c.Fall.Height.In(), 30, 9)
	printed(t, "inside, in", c.Inside.United().In(), 56, 9)
	if c.Load.Name != "light" || p.Order() != "class 2 (light), grade B" {
		t.Errorf("%+v, %q", c.Load, p.Order())
	}
	if c.Board.ECTLbPerIn != 29 || c.Advised.ECTLbPerIn != 32 {
		t.Errorf("board %s, advised %s", c.Board.Words(), c.Advised.Words())
	}
	// 10 lb, the foam of 1.5 lb/ft³ in 19·19·18 - 9·9·8 in³, and the board.
	if foam := 1.5 * (19*19*18 - 9*9*8) / 1728.0; !(c.Gross.Lb() > 10+foam+1 && c.Gross.Lb() < 10+foam+3) {
		t.Errorf("gross %.2f lb, of which foam %.2f", c.Gross.Lb(), foam)
	}
	printed(t, "95%% of the peak", c.Hi95G(), 1.25*c.PeakG, 9)
	if len(p.Change) != 0 || !strings.HasPrefix(p.Verdict, "Good: 5.0 in") || !strings.Contains(strings.Join(p.Remarks, " "), "Representative, ±25%") {
		t.Errorf("%q\n%q\n%q", p.Verdict, p.Change, p.Remarks)
	}

	cube := a
	cube.Inner.Size.Height = 9 * in
	k := planned(t, cube).Best()
	printed(t, "edge of a cube", k.Edge.G, 26.41, 2)
	printed(t, "corner of a cube", k.Corner.G, 25.39, 2)
}

// Stiff foam under a light load fails, and more of it is not the advice.
func TestSofterFoamNotMore(t *testing.T) {
	a := packing.Boxed(measure.Metric)
	a.Cushion = model(t, "polyethylene")
	p := planned(t, a)
	said := strings.Join(p.Change, " ")
	if p.Best().Verdict != packing.TooHard || !strings.Contains(said, "softer foam, not more of it") || !strings.Contains(said, "polyether") {
		t.Errorf("%q\n%q", p.Verdict, said)
	}
	if c := p.Best(); !(c.Corner.G > c.Edge.G && c.Edge.G > c.FaceG()) {
		t.Errorf("faces %.1f, edge %.1f, corner %.1f", c.FaceG(), c.Edge.G, c.Corner.G)
	}
	if !p.Optimum.Buckles {
		t.Error("the least foam does not buckle")
	}
	for _, remark := range p.Change {
		if strings.Contains(remark, "bear on less") {
			t.Errorf("advises a pad that buckles: %q", remark)
		}
	}
}

// A small pad is gentle and falls over: MIL-HDBK-304 gives Kerstner's rule, from
// memory, so that it warns and is not a bar of this test; (1.33·4 in)² is
// 28.3 in².
func TestSlenderPads(t *testing.T) {
	a := packing.Boxed(measure.US)
	a.Cushion, a.Thicknesses, a.PadM2 = model(t, "polyethylene"), []measure.Length{4 * in}, 6*measure.SquareInch
	p := planned(t, a)
	if c := p.Best(); c.Verdict == packing.Good || !strings.Contains(c.Why, "may buckle") || !strings.Contains(p.Change[0], "28 in² or more") {
		t.Errorf("%s: %s\n%q", c.Verdict, c.Why, p.Change)
	}
}

// Too little of the right foam: more of the same is the advice.
func TestMoreOfTheSame(t *testing.T) {
	a := packing.Boxed(measure.US)
	a.Thicknesses = []measure.Length{3 * in}
	p := planned(t, a)
	if len(p.Change) != 1 || !strings.Contains(p.Change[0], "of the same foam would do") {
		t.Fatalf("%q", p.Change)
	}
	var eighths float64
	if _, err := fmt.Sscanf(p.Change[0], "%g in", &eighths); err != nil {
		t.Fatal(err)
	}
	a.Thicknesses = []measure.Length{measure.Length(eighths) * in, measure.Length(eighths-0.125) * in}
	p = planned(t, a)
	if p.Cushionings[0].Verdict != packing.Good || p.Cushionings[1].Verdict == packing.Good {
		t.Errorf("%g in is %s, an eighth less %s", eighths, p.Cushionings[0].Verdict, p.Cushionings[1].Verdict)
	}
}

// An instrument with worn pivots by air: no foam up to 8 in does it.
func TestCarryByHand(t *testing.T) {
	a := packing.Boxed(measure.Metric)
	a.Fragility, a.Handling = packing.Worn(), packing.Carriers
	p := planned(t, a)
	if !strings.Contains(strings.Join(p.Change, " "), "carry it by hand") {
		t.Errorf("%q %q", p.Verdict, p.Change)
	}
	if c := p.Best(); c.Verdict == packing.Good || strings.Contains(strings.Join(p.Change, " "), "softer foam") {
		t.Errorf("%s: %s; %q", c.Verdict, c.Why, p.Change)
	}
}

// The sum rule of edges and corners: a linear foam is as hard on all of them.
func TestLinearFoamIsEvenOnCorners(t *testing.T) {
	var points []packing.Point
	for e := 0.05; e < 3; e *= 1.2 { // σ = √(2·E·e)
		points = append(points, packing.Point{Drop: 20 * in, Thickness: 2 * in, Static: measure.Pressure(e/10) * measure.PSI, PeakG: math.Sqrt(2*4*e) / (e / 10)})
	}
	c, err := packing.Measured("linear", points)
	if err != nil {
		t.Fatal(err)
	}
	area := 10 / 0.08 * measure.SquareInch // e = 0.8 psi at 20 in on 2 in
	flat := c.Drop(10*lb, []float64{area}, 20*in, 2*in).G
	for n, drop := range map[string]float64{
		"edge":   c.Drop(10*lb, []float64{area, area}, 20*in, 2*in).G,
		"corner": c.Drop(10*lb, []float64{area, area, area}, 20*in, 2*in).G,
	} {
		if math.Abs(drop/flat-1) > 0.005 { // the curve is straight between its points in the logarithm
			t.Errorf("%s %.3f of flat", n, drop/flat)
		}
	}
}

// Points that follow a model give back its peaks, within what is claimed.
func TestMeasuredFollowsItsPoints(t *testing.T) {
	for _, truth := range packing.Models() {
		var points []packing.Point
		for _, thick := range []measure.Length{2, 3, 4} {
			for _, psi := range []float64{0.05, 0.1, 0.15, 0.2, 0.3, 0.5} {
				k := truth.Drop(10*lb, []float64{10 / psi * measure.SquareInch}, 24*in, thick*in)
				if !k.Bottoms() {
					points = append(points, packing.Point{Drop: 24 * in, Thickness: thick * in, Static: measure.Pressure(psi) * measure.PSI, PeakG: k.G})
				}
			}
		}
		c, err := packing.Measured("supplier", points)
		if err != nil {
			t.Fatal(err)
		}
		inside := 0
		for thick := 2.5; thick <= 6; thick += 0.5 {
			for psi := 0.08; psi < 0.6; psi += 0.04 {
				on := []float64{10 / psi * measure.SquareInch}
				got, want := c.Drop(10*lb, on, 30*in, measure.Length(thick)*in), truth.Drop(10*lb, on, 30*in, measure.Length(thick)*in)
				if got.Reach != packing.Within || want.Bottoms() {
					continue
				}
				inside++
				if math.Abs(got.G/want.G-1) > c.Doubt {
					t.Errorf("%s: %.1f G at %.2f psi, %.1f in; truly %.1f, doubt %.0f%%", truth.Name, got.G, psi, thick, want.G, 100*c.Doubt)
				}
			}
		}
		if inside < 30 {
			t.Errorf("%s: only %d inside", truth.Name, inside)
		}
	}
}

func TestMeasuredLeavesItsRange(t *testing.T) {
	points := []packing.Point{{24 * in, 2 * in, 0.1 * measure.PSI, 60}, {24 * in, 2 * in, 0.2 * measure.PSI, 40}}
	c, err := packing.Measured("two", points)
	if err != nil {
		t.Fatal(err)
	}
	a := packing.Boxed(measure.US)
	a.Cushion, a.Thicknesses = c, []measure.Length{6 * in}
	p := planned(t, a)
	if p.Best().Corner.Reach != packing.Below || !strings.Contains(strings.Join(p.Remarks, " "), "upper bounds") {
		t.Errorf("%+v\n%q", p.Best().Corner, p.Remarks)
	}
	a.Thicknesses = []measure.Length{1 * in}
	p = planned(t, a)
	if p.Best().Verdict != packing.NotMeasured && p.Best().Verdict != packing.BottomsOut {
		t.Errorf("%s: %s", p.Best().Verdict, p.Best().Why)
	}
}

func anyAsk(t *rapid.T) packing.Ask {
	a := packing.Boxed(measure.Metric)
	side := rapid.Float64Range(0.12, 0.5)
	a.Bowl.Weight = measure.Mass(rapid.Float64Range(0.3, 8).Draw(t, "bowl"))
	a.Inner.Weight = measure.Mass(rapid.Float64Range(0.1, 3).Draw(t, "inner"))
	a.Inner.Size = measure.Size{Length: measure.Length(side.Draw(t, "l")), Width: measure.Length(side.Draw(t, "w")), Height: measure.Length(side.Draw(t, "h"))}
	models := packing.Models()
	a.Cushion = models[rapid.IntRange(0, len(models)-1).Draw(t, "foam")]
	a.Handling = packing.Handling(rapid.IntRange(0, 2).Draw(t, "handling"))
	a.Fragility.G = rapid.Float64Range(10, 120).Draw(t, "fragility")
	a.Creep = rapid.Float64Range(0, 0.3).Draw(t, "creep")
	a.Thicknesses = nil
	for range rapid.IntRange(1, 4).Draw(t, "n") {
		a.Thicknesses = append(a.Thicknesses, measure.Length(rapid.Float64Range(0.02, 0.25).Draw(t, "t")))
	}
	return a
}

// The same parcel said in inches and pounds gives the same answer.
func TestUnitsDoNotMatter(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a := anyAsk(t)
		metric, err := packing.For(a)
		if err != nil {
			t.Skip(err)
		}
		b := a
		b.Units = measure.US
		length := func(l *measure.Length) {
			v, err := measure.ParseLength(fmt.Sprintf("%.17gin", l.In()))
			ok(t, err)
			*l = v
		}
		b.Bowl.Weight, err = measure.ParseMass(fmt.Sprintf("%.17g lb", a.Bowl.Weight.Lb()))
		ok(t, err)
		b.Inner.Weight, err = measure.ParseMass(fmt.Sprintf("%.17goz", 16*a.Inner.Weight.Lb()))
		ok(t, err)
		s := a.Inner.Size
		b.Inner.Size, err = measure.ParseSize(fmt.Sprintf("%.17g x %.17g x %.17g in", s.Length.In(), s.Width.In(), s.Height.In()))
		ok(t, err)
		b.Thicknesses = append([]measure.Length(nil), a.Thicknesses...)
		for i := range b.Thicknesses {
			length(&b.Thicknesses[i])
		}
		us, err := packing.For(b)
		ok(t, err)
		if metric.Chosen != us.Chosen {
			t.Fatalf("chosen %d and %d", metric.Chosen, us.Chosen)
		}
		for i, c := range metric.Cushionings {
			d := us.Cushionings[i]
			near(t, "peak", c.PeakG, d.PeakG)
			near(t, "gross", c.Gross.Kg(), d.Gross.Kg())
			near(t, "cut", c.Cut.MM(), d.Cut.MM())
			near(t, "united", c.Outside.United().MM(), d.Outside.United().MM())
			if c.Verdict != d.Verdict || c.Load != d.Load || c.Board != d.Board {
				t.Fatalf("%v and %v", c, d)
			}
		}
	})
}

func ok(t *rapid.T, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

func near(t *rapid.T, what string, a, b float64) {
	t.Helper()
	if !(math.Abs(a-b) <= 1e-9*math.Abs(a)) {
		t.Fatalf("%s: %.12g and %.12g", what, a, b)
	}
}

// A higher fall never lowers a peak, and twice the foam takes twice the fall.
func TestHigherFallNeverSofter(t *testing.T) {
	points := []packing.Point{{24 * in, 2 * in, 0.1 * measure.PSI, 60}, {24 * in, 2 * in, 0.2 * measure.PSI, 40}, {24 * in, 2 * in, 0.6 * measure.PSI, 38}, {24 * in, 4 * in, 1 * measure.PSI, 30}, {30 * in, 1 * in, 0.3 * measure.PSI, 120}}
	measured, err := packing.Measured("points", points)
	if err != nil {
		t.Fatal(err)
	}
	foams := append(packing.Models(), measured)
	rapid.Check(t, func(t *rapid.T) {
		foam := foams[rapid.IntRange(0, len(foams)-1).Draw(t, "foam")]
		m := measure.Mass(rapid.Float64Range(0.1, 30).Draw(t, "m"))
		var areas []float64
		for range rapid.IntRange(1, 3).Draw(t, "faces") {
			areas = append(areas, rapid.Float64Range(0.001, 0.5).Draw(t, "area"))
		}
		thick := measure.Length(rapid.Float64Range(0.01, 0.3).Draw(t, "t"))
		h := measure.Length(rapid.Float64Range(0.05, 1.5).Draw(t, "h"))
		more := h * measure.Length(rapid.Float64Range(1, 3).Draw(t, "more"))
		low, high := foam.Drop(m, areas, h, thick), foam.Drop(m, areas, more, thick)
		if high.G < low.G*(1-1e-9) || high.Strain < low.Strain-1e-9 {
			t.Fatalf("%.6g G from %.4g m, %.6g from %.4g", low.G, h, high.G, more)
		}
		if k := foam.Drop(m, areas, 2*h, 2*thick); math.Abs(k.G-low.G) > 1e-9*low.G {
			t.Fatalf("scaling: %.9g and %.9g", k.G, low.G)
		}
	})
}

// Whatever is asked within bounds is answered with finite figures in words.
func TestPlansAreWhole(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p, err := packing.For(anyAsk(t))
		if err != nil {
			if !errors.Is(err, packing.ErrAsk) {
				t.Fatal(err)
			}
			return
		}
		for _, c := range p.Cushionings {
			for _, v := range []float64{c.PeakG, c.PeakSDG, c.RingsHz, float64(c.Gross), float64(c.Cut), c.WarmUp.ClosedH} {
				if !(v > 0) || math.IsInf(v, 0) {
					t.Fatalf("%+v", c)
				}
			}
			if c.Verdict == packing.Good && (c.PeakG > p.DesignG*1.000001 || c.StrainMost() > packing.MaxStrain) {
				t.Fatalf("good: %+v", c)
			}
			if c.Cut < c.Thickness || c.WarmUp.ClosedH < 24 {
				t.Fatalf("%+v", c)
			}
		}
		if p.Verdict == "" || len(p.Remarks) == 0 || (p.Best().Verdict != packing.Good) != (len(p.Change) > 0) {
			t.Fatalf("%s %q", p.Verdict, p.Change)
		}
	})
}

func TestRefused(t *testing.T) {
	nan := math.NaN()
	for name, c := range map[string]struct {
		spoil func(*packing.Ask)
		said  string
	}{
		"weight in grams":     {func(a *packing.Ask) { a.Bowl.Weight = 3600 }, "were 3600 g meant?"},
		"weight in kilograms": {func(a *packing.Ask) { a.Bowl.Weight = 3.6 * measure.Gram }, "were 3.6 kg meant?"},
		"no weight":           {func(a *packing.Ask) { a.Bowl.Weight = 0 }, "has no weight"},
		"weight NaN":          {func(a *packing.Ask) { a.Bowl.Weight = measure.Mass(nan) }, "has no weight"},
		"weight infinite":     {func(a *packing.Ask) { a.Bowl.Weight = measure.Mass(math.Inf(1)) }, "has no weight"},
		"inner box NaN":       {func(a *packing.Ask) { a.Inner.Weight = measure.Mass(nan) }, "is not between 0 and"},
		"negative side":       {func(a *packing.Ask) { a.Inner.Size.Width = -0.2 }, "width -200 mm is not between"},
		"side NaN":            {func(a *packing.Ask) { a.Inner.Size.Height = measure.Length(nan) }, "height NaN mm"},
		"metres":              {func(a *packing.Ask) { a.Inner.Size.Length = 230 }, "look at the unit"},
		"large bowl":          {func(a *packing.Ask) { a.Bowl.Size = a.Inner.Size }, "does not go into"},
		"fragility 0":         {func(a *packing.Ask) { a.Fragility.G = 0 }, "a fragility of 0 G is not between"},
		"fragility NaN":       {func(a *packing.Ask) { a.Fragility.G = nan }, "a fragility of NaN G"},
		"wanted too much":     {func(a *packing.Ask) { a.WantedG = 41 }, "a wanted peak of 41 G"},
		"handling":            {func(a *packing.Ask) { a.Handling = 7 }, "handling 7 is not known"},
		"fall":                {func(a *packing.Ask) { a.Drop = 30 }, "look at the unit"},
		"fall NaN":            {func(a *packing.Ask) { a.Drop = measure.Length(nan) }, "a fall of NaN mm"},
		"no cushion":          {func(a *packing.Ask) { a.Cushion = packing.Cushion{} }, "no cushion was chosen"},
		"creep":               {func(a *packing.Ask) { a.Creep = 0.5 }, "a creep of 0.5"},
		"creep in percent":    {func(a *packing.Ask) { a.Creep = 10 }, "a creep of 10 is not a share"},
		"wall":                {func(a *packing.Ask) { a.Wall = 3 }, "a board of wall 3"},
		"no thickness":        {func(a *packing.Ask) { a.Thicknesses = nil }, "0 thicknesses"},
		"40 in of foam":       {func(a *packing.Ask) { a.Thicknesses = []measure.Length{40 * in} }, "foam 1016 mm thick is not between"},
		"foam NaN":            {func(a *packing.Ask) { a.Thicknesses = []measure.Length{measure.Length(nan)} }, "foam NaN mm thick"},
		"pads without size":   {func(a *packing.Ask) { a.Pads = 4 }, "need the size of one"},
		"large pads":          {func(a *packing.Ask) { a.Pads, a.PadM2 = 4, 0.02 }, "larger than a face"},
		"pad in mm²":          {func(a *packing.Ask) { a.PadM2 = 1e4 }, "look at the unit"},
		"divisor":             {func(a *packing.Ask) { a.Divisors = []packing.Divisor{{}} }, "a divisor of 0"},
	} {
		t.Run(name, func(t *testing.T) {
			a := packing.Boxed(measure.Metric)
			c.spoil(&a)
			_, err := packing.For(a)
			if !errors.Is(err, packing.ErrAsk) || !strings.Contains(err.Error(), c.said) || strings.Contains(err.Error(), "\n") {
				t.Errorf("%v", err)
			}
		})
	}
}

// Nothing that stands beside a packing advises what must never be done.
func TestCautions(t *testing.T) {
	all := packing.Cautions()
	if last := all[len(all)-1]; !strings.HasSuffix(last, "follow your local rules and a licensed person.") {
		t.Errorf("ends with %q", last)
	}
	said := strings.Join(all, " ")
	for _, want := range []string{"never wedged tight", "Never send it in its gimbals", "seal nothing", "closed for a day"} {
		if !strings.Contains(said, want) {
			t.Errorf("%q is missing", want)
		}
	}
}

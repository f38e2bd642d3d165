package packing

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"timeball/internal/packing/measure"
)

// Point is one measured drop on a cushion, as ASTM D1596 reports it.
type Point struct {
	Drop      measure.Length
	Thickness measure.Length
	Static    measure.Pressure
	PeakG     float64
}

// Energy returns the energy in the volume of the foam: static stress ×
// height / thickness.
func (p Point) Energy() measure.Pressure {
	return p.Static * measure.Pressure(p.Drop/p.Thickness)
}

// Stress returns the dynamic stress: peak × static stress.
func (p Point) Stress() measure.Pressure { return measure.Pressure(p.PeakG) * p.Static }

// tooScattered is the scatter of measured stresses about one exponential, as
// a share, above which the foam is taken to follow another curve.
const tooScattered = 0.10

// exponential is stress = a·exp(b·e), between the energies tested; below them
// it is held at its value there, since the law is known to lie.
type exponential struct{ a, b, lowest float64 }

func (f exponential) at(e float64) (float64, float64) {
	edge := f.a * math.Exp(f.b*f.lowest)
	if e <= f.lowest {
		return edge, e / edge
	}
	// Work is stress × strain, so that the strain is the integral of de/stress.
	return f.a * math.Exp(min(f.b*e, 700)), f.lowest/edge + (1/edge-1/(f.a*math.Exp(min(f.b*e, 700))))/f.b
}

// knots is a curve through points, straight between them in the logarithm of
// the stress, and going on beyond the last as between the last two.
type knots struct{ e, ln []float64 }

func (f knots) at(e float64) (float64, float64) {
	strain, from := 0.0, 0.0
	stress := math.Exp(f.ln[0])
	step := func(to, slope float64) {
		begin := stress
		stress = begin * math.Exp(min(slope*(to-from), 600))
		if math.Abs(slope*(to-from)) < 1e-9 {
			strain += (to - from) / begin
		} else {
			strain += (1/begin - 1/stress) / slope
		}
		from = to
	}
	step(min(e, f.e[0]), 0)
	slope := 0.0
	for i := 1; i < len(f.e) && e > f.e[i-1]; i++ {
		slope = (f.ln[i] - f.ln[i-1]) / (f.e[i] - f.e[i-1])
		step(min(e, f.e[i]), slope)
	}
	if e > from {
		step(e, slope)
	}
	return stress, strain
}

// Measured returns the cushion of a supplier's points. One exponential is
// fitted to the logarithms of the stresses, as the stress-energy method does;
// if they scatter more than a tenth about it and lie at four energies or more,
// the curve goes through their means instead, never falling. The doubt is that
// of prediction against test, or twice the scatter if that is more. It fails
// with ErrPoints if there are fewer than two energies, or the stress falls as
// the energy rises.
func Measured(name string, points []Point) (Cushion, error) {
	if len(points) == 0 {
		return Cushion{}, fmt.Errorf("%w: there are no points; give at least two of different energy (static stress × height / thickness)", ErrPoints)
	}
	points = slices.Clone(points)
	slices.SortStableFunc(points, func(a, b Point) int { return cmp.Compare(a.Energy(), b.Energy()) })
	c := Cushion{Name: name, Words: name + ", measured", Lowest: points[0].Energy(), Highest: points[len(points)-1].Energy()}
	if !(c.Highest > c.Lowest*1.02) {
		return Cushion{}, fmt.Errorf("%w: all points are at one energy (static stress × height / thickness), which makes no curve; ask the supplier for more", ErrPoints)
	}
	e, ln := make([]float64, len(points)), make([]float64, len(points))
	for i, p := range points {
		e[i], ln[i] = float64(p.Energy()), math.Log(float64(p.Stress()))
	}
	a, b := line(e, ln)
	if !(b > 0) {
		return Cushion{}, fmt.Errorf("%w: the stress (peak × static stress) falls as the energy rises, which no foam does; look whether the columns are in the right order and unit", ErrPoints)
	}
	var fit curve = exponential{math.Exp(a), b, e[0]}
	k := means(e, ln)
	scatter := spread(fit, e, ln, 2)
	if len(k.e) >= 4 && scatter > tooScattered {
		fit = k
		scatter = spread(fit, e, ln, len(k.e))
		c.Remarks = append(c.Remarks, fmt.Sprintf("The points do not lie on one exponential, so the curve goes through their means at %d energies.", len(k.e)))
	}
	c.curve, c.Doubt = fit, max(PredictionDoubt, 2*scatter)
	if scatter > tooScattered {
		c.Remarks = append(c.Remarks, fmt.Sprintf("The points scatter by %.0f%% about the curve.", 100*scatter))
	}
	if len(k.e) < 3 || len(points) < 15 {
		c.Remarks = append(c.Remarks, fmt.Sprintf("%d points at %d energies; the method asks for 15 at 3 or more.", len(points), len(k.e)))
	}
	return c, nil
}

// line returns intercept and slope of the straight line of least squares.
func line(x, y []float64) (float64, float64) {
	n := float64(len(x))
	var mx, my, sxx, sxy float64
	for i := range x {
		mx, my = mx+x[i]/n, my+y[i]/n
	}
	for i := range x {
		sxx, sxy = sxx+(x[i]-mx)*(x[i]-mx), sxy+(x[i]-mx)*(y[i]-my)
	}
	return my - sxy/sxx*mx, sxy / sxx
}

// spread returns the standard deviation of ln stress about a curve of that
// many parameters, 0 if there are no more points than those.
func spread(f curve, e, ln []float64, parameters int) float64 {
	if len(e) <= parameters {
		return 0
	}
	sum := 0.0
	for i := range e {
		s, _ := f.at(e[i])
		sum += (ln[i] - math.Log(s)) * (ln[i] - math.Log(s))
	}
	return math.Sqrt(sum / float64(len(e)-parameters))
}

// means returns the mean ln stress at each energy, those within a fiftieth of
// each other as one and neighbours pooled where the stress would fall.
func means(e, ln []float64) knots {
	type pool struct{ e, ln, n float64 }
	var all []pool
	first := 0.0
	for i := range e {
		if len(all) > 0 && e[i] <= first*1.02 {
			last := &all[len(all)-1]
			*last = pool{last.e + e[i], last.ln + ln[i], last.n + 1}
			continue
		}
		first = e[i]
		all = append(all, pool{e[i], ln[i], 1})
	}
	var rising []pool
	for _, p := range all {
		for len(rising) > 0 && rising[len(rising)-1].ln/rising[len(rising)-1].n >= p.ln/p.n {
			last := rising[len(rising)-1]
			rising = rising[:len(rising)-1]
			p = pool{last.e + p.e, last.ln + p.ln, last.n + p.n}
		}
		rising = append(rising, p)
	}
	var k knots
	for _, p := range rising {
		k.e, k.ln = append(k.e, p.e/p.n), append(k.ln, p.ln/p.n)
	}
	return k
}

package packing

import (
	"fmt"
	"math"

	"timeball/internal/packing/measure"
)

// Stands returns, as pairs of a name and its words, the shock that the
// instrument stands and the fall that is provided for.
func (p Plan) Stands() [][]string {
	u, c := p.Units, p.Best()
	return [][]string{
		{"Fragility", fmt.Sprintf("%g G, designed to %.4g G", p.Fragility.G, p.DesignG)},
		{"Fall", fmt.Sprintf("%s, meeting the floor at %.1f m/s", u.Length(c.Fall.Height), c.ImpactMPerS)},
		{"Handling", p.Handling.Words() + ", " + c.Fall.Table},
	}
}

// Table returns the peaks of each thickness, in G, a row each below their
// headings.
func (p Plan) Table() [][]string {
	u := p.Units
	table := [][]string{{"works at", "cut at", "fall", "faces", "edges", "corners", "pressed", "verdict"}}
	for _, k := range p.Cushionings {
		table = append(table, []string{u.Length(k.Thickness), u.CutLength(k.Cut), u.Length(k.Fall.Height), fmt.Sprintf("%.0f", k.FaceG()), fmt.Sprintf("%.0f", k.Edge.G), fmt.Sprintf("%.0f", k.Corner.G),
			fmt.Sprintf("%.0f%%", 100*k.StrainMost()), k.Verdict.String()})
	}
	return table
}

// Loads returns, as pairs, how the foam is loaded and the least of it that
// would do.
func (p Plan) Loads() [][]string {
	u, c := p.Units, p.Best()
	stress := u.Pressure(c.Faces[0].Static) + ", " + c.Load.Name
	if order := p.Order(); order != "" {
		stress += "; ask for " + order + " (MIL-C-26861B)"
	}
	least := fmt.Sprintf("%s at %s, %s a face", u.Length(p.Optimum.Thickness), u.Pressure(p.Optimum.Static), u.Area(p.Optimum.AreaM2))
	if p.Optimum.Buckles {
		least += ": such a pad would buckle"
	}
	return [][]string{{"Static stress", stress}, {"Least of this foam", least}, {"Rings near", fmt.Sprintf("%.0f Hz", c.RingsHz)}}
}

// Boxes returns, as pairs, the boxes and what they cost to send, and how long
// the parcel stays closed on arrival.
func (p Plan) Boxes() [][]string {
	u, c := p.Units, p.Best()
	boxes := [][]string{
		{"Foam cut", u.CutLength(c.Cut) + " thick"},
		{"Outer box", u.Size(c.Inside) + " inside, " + u.Size(c.Outside) + " outside"},
		{"Length + width + height", u.Length(c.Outside.United())},
		{"Gross weight", "about " + u.Mass(c.Gross)},
		{"Board at least", c.Board.Words()},
	}
	if c.Advised != c.Board {
		boxes = append(boxes, []string{"For an instrument", c.Advised.Words() + ", new, taped along every seam"})
	}
	if c.Advised != (Board{}) {
		boxes = append(boxes, []string{"Stacking, from memory", "a new dry box is crushed near " + tens(u, c.Stacking)})
	}
	for _, d := range c.Charged {
		charged := fmt.Sprintf("%g kg", math.Round(2*d.Charged.Kg())/2)
		if d.Units == measure.US {
			charged = fmt.Sprintf("%.0f lb", d.Charged.Lb())
		}
		boxes = append(boxes, []string{"Charged by " + d.String(), charged})
	}
	return append(boxes, []string{"On arrival, from the cold", fmt.Sprintf("closed for %.0f h; past the dew point after about %.0f h", math.Ceil(c.WarmUp.ClosedH), math.Ceil(c.WarmUp.PastDewPointH))})
}

// tens writes a rough weight to its tens.
func tens(u measure.System, m measure.Mass) string {
	if u == measure.US {
		return fmt.Sprintf("%.0f lb", 10*math.Round(m.Lb()/10))
	}
	return fmt.Sprintf("%.0f kg", 10*math.Round(m.Kg()/10))
}

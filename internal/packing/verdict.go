package packing

import (
	"fmt"
	"strings"

	"timeball/internal/packing/measure"
)

// Verdict is what a cushioning is worth.
type Verdict int

// The verdicts.
const (
	Good        Verdict = iota // peak within the design value, its doubt within the fragility
	Over                       // over the design value, or its doubt over the fragility, or separate pads too slender
	TooHard                    // peak over the fragility
	BottomsOut                 // strain over MaxStrain somewhere
	NotMeasured                // an energy above those the foam was tested at
)

// String returns the verdict in two or three words.
func (v Verdict) String() string {
	return [...]string{"good", "near the limit", "too hard", "bottoms out", "not measured"}[v]
}

// slack lets what is equal but for the last bits of a conversion pass.
const slack = 1 + 1e-9

// judge gives the verdict on one thickness.
func (c *Cushioning) judge(p *Plan, foam Cushion) {
	above, bottoms := false, false
	for _, k := range c.knocks() {
		above, bottoms = above || k.Reach == Above, bottoms || k.Bottoms()
	}
	stands := p.Fragility.G
	switch {
	case bottoms:
		c.Verdict, c.Why = BottomsOut, fmt.Sprintf("the foam is pressed to %.0f%%, over %.0f%%, where no peak is known", 100*c.StrainMost(), 100*MaxStrain)
	case above:
		c.Verdict, c.Why = NotMeasured, "the energy is above those the foam was tested at, and what it does there is not known"
	case c.PeakG > stands*slack:
		c.Verdict, c.Why = TooHard, fmt.Sprintf("%.0f G on %s, over the %g G it stands", c.PeakG, c.worst(), stands)
	case c.PeakG > p.DesignG*slack:
		c.Verdict, c.Why = Over, fmt.Sprintf("%.1f G on %s, over the %g G designed to, under the %g G it stands", c.PeakG, c.worst(), p.DesignG, stands)
	case c.Hi95G() > stands*slack:
		c.Verdict, c.Why = Over, fmt.Sprintf("%.1f G on %s, but its doubt reaches %.0f G, over the %g G it stands", c.PeakG, c.worst(), c.Hi95G(), stands)
	case c.mayBuckle(p):
		c.Verdict, c.Why = Over, fmt.Sprintf("%.1f G on %s, but a separate pad of %s may buckle sideways (Kerstner's rule, from memory)", c.PeakG, c.worst(), p.Units.Area(c.Pad))
	default:
		c.Verdict, c.Why = Good, fmt.Sprintf("%.1f G on %s, within the %g G designed to", c.PeakG, c.worst(), p.DesignG)
	}
}

// mayBuckle reports whether separate pads are too slender by Kerstner's rule;
// foam over the whole of a face is held by its neighbours.
func (c *Cushioning) mayBuckle(p *Plan) bool { return p.PadM2 > 0 && c.Pad < c.BucklingM2/slack }

// worst names the drop of the greatest peak.
func (c *Cushioning) worst() string {
	for i, name := range [...]string{"the bottom or top", "the long side", "the end", "an edge", "a corner"} {
		if c.knocks()[i].G >= c.PeakG {
			return name
		}
	}
	return "a face"
}

// mostSought is the thickest cushion that is sought when none asked for does.
const mostSought = 8 * measure.Inch

// least returns the least thickness of a foam that is good, in whole
// millimetres or eighths of an inch, and whether there is one.
func (p *Plan) least(foam Cushion) (measure.Length, bool) {
	step := measure.Millimetre
	if p.Units == measure.US {
		step = measure.Inch / 8
	}
	for n := int(leastFoam/step) + 1; n <= int(mostSought*slack/step); n++ {
		t := measure.Length(n) * step
		if c, err := p.cushioning(foam, t); err == nil && c.Verdict == Good {
			return t, true
		}
	}
	return 0, false
}

// TooStiff reports whether a foam is too stiff for the load of a knock: its
// energy is under half that at which the foam works best, so that corners and
// edges are harder than faces and more foam hardly helps.
func (c Cushion) TooStiff(k Knock) bool { return k.Energy < c.Optimum().Energy/2 }

// judge gives the verdict on the whole, what to change, and what it rests on.
func (p *Plan) judge() {
	c, u := p.Best(), p.Units
	over := "the whole of each face"
	if p.PadM2 > 0 {
		over = fmt.Sprintf("%d pads of %s on each face", max(p.Pads, 1), u.Area(p.PadM2))
		if p.Pads < 2 {
			over = "a pad of " + u.Area(p.PadM2) + " on each face"
		}
	}
	begin := [...]string{Good: "Good", Over: "Near the limit", TooHard: "Not so", BottomsOut: "Not so", NotMeasured: "Not known"}[c.Verdict]
	p.Verdict = fmt.Sprintf("%s: %s of %s over %s. ", begin, u.Length(c.Thickness), p.Cushion.Words, over)
	if fall := u.Length(c.Fall.Height); c.Verdict == BottomsOut || c.Verdict == NotMeasured {
		p.Verdict += "In a fall of " + fall + " " + c.Why + "."
	} else {
		p.Verdict += fmt.Sprintf("A fall of %s gives %s. The doubt is %.0f to %.0f G (95%%).", fall, c.Why, c.Lo95G(), c.Hi95G())
	}
	if c.Verdict != Good {
		p.change()
	}
	p.remark()
}

// change says what would do instead.
func (p *Plan) change() {
	c, u := p.Best(), p.Units
	say := func(format string, v ...any) { p.Change = append(p.Change, fmt.Sprintf(format, v...)) }
	if c.Verdict == NotMeasured {
		most := measure.Pressure(0)
		for _, k := range c.knocks() {
			most = max(most, k.Energy)
		}
		say("Ask the supplier for points at energies (static stress × height / thickness) up to %s, or take more foam.", u.Pressure(most))
	}
	if c.mayBuckle(p) {
		say("Take fewer and larger pads: %s thick, each must be %s or more (Kerstner's rule, from memory).", u.Length(c.Thickness), u.Area(c.BucklingM2))
	}
	if t, ok := p.least(p.Cushion); ok {
		say("%s of the same foam would do.", u.CutLength(t))
		return
	}
	var best Cushion
	thinnest, found := measure.Length(0), false
	for _, foam := range Models() {
		if t, ok := p.least(foam); ok && (!found || t < thinnest) {
			best, thinnest, found = foam, t, true
		}
	}
	stiff := p.Cushion.TooStiff(c.Faces[0])
	if stiff && found {
		say("Take softer foam, not more of it: this one is too stiff for so light a load on so large a face, which works it at %s where it works best at %s.",
			u.Pressure(c.Faces[0].Energy), u.Pressure(p.Cushion.Optimum().Energy))
	}
	if found {
		say("%s of %s would do (representative, ±%.0f%%); ask its supplier for points.", u.CutLength(thinnest), best.Words, 100*RepresentativeDoubt)
	}
	less := stiff && !p.Optimum.Buckles && p.PadM2 == 0 && p.Optimum.AreaM2 < c.Pad && p.Optimum.Thickness <= mostSought
	switch {
	case less:
		say("Let this foam bear on less: %s thick, one pad of about %s on each face, at a static stress of %s.", u.CutLength(p.Optimum.Thickness), u.Area(p.Optimum.AreaM2), u.Pressure(p.Optimum.Static))
	case !found:
		say("No representative foam up to %s does it at %g G: carry it by hand, or ask for handling with lower falls.", u.Length(mostSought), p.DesignG)
	}
}

// remark says what the figures rest on.
func (p *Plan) remark() {
	c, u, foam := p.Best(), p.Units, p.Cushion
	say := func(format string, v ...any) { p.Remarks = append(p.Remarks, fmt.Sprintf(format, v...)) }
	if foam.Representative {
		say("Representative, ±%.0f%%: the foam is a model, not the foam in hand. Ask its supplier for points by ASTM D1596, peak against static stress.", 100*RepresentativeDoubt)
		if strings.Contains(foam.Words, "first drop") {
			say("The first drop only: it changes a closed-cell foam, so reckon the later drops too.")
		}
	}
	p.Remarks = append(p.Remarks, foam.Remarks...)
	below := false
	for _, k := range c.knocks() {
		below = below || k.Reach == Below
	}
	if below {
		say("Some drops work the foam below the energies it was tested at (%s): their peaks are upper bounds.", u.Pressure(foam.Lowest))
	}
	say("Edges and corners are reckoned with the work shared by their faces; shear, friction and the walls of the box are left out.")
	say("Fragility: %s; %s.", p.Fragility.Words, p.Fragility.Source)
	if c.Fall.Table != "as asked" {
		from := c.Fall.Source
		if c.Fall.Memory {
			from += ", not to be relied on"
		}
		say("Height of fall: %s, %s, for a gross weight of about %s (a tenth less was looked up, to be safe); %s. Labels do not change how a parcel is handled.", p.Handling.Words(), c.Fall.Table, u.Mass(c.Gross), from)
	}
	if foam.CreepLimit > 0 && c.Faces[2].Static > foam.CreepLimit {
		say("The lasting load of %s is over the %s published for this foam: it will creep.", u.Pressure(c.Faces[2].Static), u.Pressure(foam.CreepLimit))
	}
	if p.PadM2 == 0 && c.Pad < c.BucklingM2 {
		say("A pad of %s may buckle sideways at %s if it stands free: Kerstner's rule (MIL-HDBK-304, from memory) wants %s for each separate pad.", u.Area(c.Pad), u.Length(c.Thickness), u.Area(c.BucklingM2))
	}
	say("Such a cushion rings near %.0f Hz and a vehicle excites it between 3 and 20 (from memory); up to %.0f times at resonance if lightly damped. It is harmless as a load, but a free balance or a bowl in its gimbals would be driven by it.",
		c.RingsHz, Transmissibility(1, 0.1))
	if foam.Density == 0 {
		say("The density of the foam is not known; %.0f kg/m³ was taken for the gross weight.", float64(assumedFoam))
	}
	if c.Board == (Board{}) {
		say("No %s wall board of Item 222 holds a box of %s and %s: ask for a crate.", p.Wall, u.Length(c.Outside.United()), u.Mass(c.Gross))
	} else {
		say("Board by NMFC Item 222 and Rule 41; edge crush but for single wall 32, thickness and weight of the board, and the stacking load are from memory, the load for a new and dry box.")
	}
}

// Order returns how the cushion is asked for at a supplier: class of static
// load and grade of peak by MIL-C-26861B.
func (p Plan) Order() string {
	l := p.Best().Load
	if l.Class == 0 || Grade(p.DesignG) == "" {
		return ""
	}
	return fmt.Sprintf("class %d (%s), grade %s", l.Class, l.Name, Grade(p.DesignG))
}

// DoubtWords returns the doubt of the peaks of a cushion: "representative,
// ±25%" or "±20%, prediction against test".
func (c Cushion) DoubtWords() string {
	if c.Representative {
		return fmt.Sprintf("representative, ±%.0f%%", 100*c.Doubt)
	}
	return fmt.Sprintf("±%.0f%%, prediction against test", 100*c.Doubt)
}

// Cautions returns what stands beside every packing. Where no source is named
// it is common practice.
func Cautions() []string {
	return []string{
		"The figures hold only with the balance held by soft strips that take up all play, never wedged tight: a free balance that first crosses its side shake is knocked far harder.",
		"Never send it in its gimbals. The bowl goes alone in a rigid inner box; its own box, gimbals and key go beside it or separately, nothing hard or loose with the bowl.",
		"Foam on every face, also the top: a parcel falls any way up.",
		"Vent the bag and seal nothing: in an unpressurised hold the air would push on a sealed glass with some 420 N.",
		"No compass, loudspeaker or magnet near it.",
		"On arrival leave it closed for a day at least, so that nothing gets wet.",
		"Luminous dials, mainsprings, solvents, insurance, customs, permits for wood and ivory: follow your local rules and a licensed person.",
	}
}

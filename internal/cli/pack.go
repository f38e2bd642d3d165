package cli

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"timeball/internal/packing"
	"timeball/internal/packing/measure"
)

// packFlags are the flags of pack, in the words they were given.
type packFlags struct {
	weight, innerWeight, size, bowlSize string
	fragility, handling, drop           string
	worn                                bool
	peak, creep                         float64
	cushion, density, thickness, pad    string
	pads                                int
	wall                                string
	divisors                            []string
	us, json                            bool
}

func (c console) pack() *cobra.Command {
	var f packFlags
	var foams []string
	for _, m := range packing.Models() {
		foams = append(foams, fmt.Sprintf("  %-26s %s", m.Name, m.Words))
	}
	cmd := &cobra.Command{
		Use:   "pack",
		Short: "the packing calculation",
		Long: `Reckons how a chronometer is packed for carriage: the fall to provide for, the
shock with each thickness of foam on faces, edges and corners, whether that is
less than it stands, the boxes, their board and what a carrier charges for.

Without flags it packs a boxed two-day chronometer: a bowl of 3.6 kg in a rigid
inner box of 0.9 kg and 230 x 230 x 200 mm, its balance held, in soft foam over
the whole of each face. These are assumptions: weigh and measure yours. Weights
and sizes carry their unit: kg, g, lb, oz; mm, cm, in.

--cushion is a CSV file of the supplier's points (drop_mm or drop_in,
thickness_mm or thickness_in, static_kpa or static_psi, peak_g; ASTM D1596), or a
representative foam, good to 25% or worse and no ground for packing:

` + strings.Join(foams, "\n") + `

--handling is ordinary (ISTA 1A), carriers (by air or several carriers, ISTA 2A)
or thrown (MIL-HDBK-304, from memory).`,
		Example: "  timeball pack --weight 3.6kg --size 230x230x200mm\n" +
			"  timeball pack --weight 8lb --size 9x9x8in --handling carriers --thickness 5,6,7in --us\n" +
			"  timeball pack --cushion supplier.csv --density 24kg/m3 --worn --json",
		Args: noArgs,
		RunE: does(func(cmd *cobra.Command, _ []string) error {
			a, err := f.ask(cmd, c.cushion)
			if err != nil {
				return err
			}
			p, err := packing.For(a)
			if err != nil {
				return usage("%s", err)
			}
			if f.json {
				return writeJSON(c.out, newPacked(p))
			}
			return reportPack(c.out, p)
		}),
	}
	cmd.Flags().StringVar(&f.weight, "weight", "", "of the bowl with its movement (3.6kg)")
	cmd.Flags().StringVar(&f.size, "size", "", "outside of the rigid inner box, length x width x height (230x230x200mm)")
	cmd.Flags().StringVar(&f.innerWeight, "inner-weight", "", "of the inner box with its wrap, empty (0.9kg)")
	cmd.Flags().StringVar(&f.bowlSize, "bowl-size", "", "of the bowl, to see that it goes into the inner box")
	cmd.Flags().StringVar(&f.fragility, "fragility", "", "the shock it stands, G, or the name of a class (40, its balance held)")
	cmd.Flags().BoolVar(&f.worn, "worn", false, "its pivots are worn or nothing is known of it: 25 G")
	cmd.Flags().Float64Var(&f.peak, "peak", 0, "greatest peak wanted, G (0.8 of the fragility)")
	cmd.Flags().StringVar(&f.handling, "handling", "ordinary", "ordinary, carriers or thrown")
	cmd.Flags().StringVar(&f.drop, "drop", "", "height of fall, in place of the table's")
	cmd.Flags().StringVar(&f.cushion, "cushion", "polyurethane-ether", "a representative foam, or a file of points, - for standard input")
	cmd.Flags().StringVar(&f.density, "density", "", "of the foam of the points, kg/m3 or pcf")
	cmd.Flags().StringVar(&f.thickness, "thickness", "", "at which the cushion works, several parted by commas (75 to 200mm)")
	cmd.Flags().StringVar(&f.pad, "pad", "", "size of a pad, 100x100mm (the whole of each face)")
	cmd.Flags().IntVar(&f.pads, "pads", 0, "pads on each face (1)")
	cmd.Flags().Float64Var(&f.creep, "creep", 0.1, "share of its thickness that the foam loses under load")
	cmd.Flags().StringVar(&f.wall, "wall", "double", "of the outer box, single or double")
	cmd.Flags().StringSliceVar(&f.divisors, "divisor", nil, "of dimensional weight, with its unit (139in3/lb, 166in3/lb, 5000cm3/kg, 6000cm3/kg)")
	cmd.Flags().BoolVar(&f.us, "us", false, "answer in inches and pounds")
	cmd.Flags().BoolVar(&f.json, "json", false, "print one JSON object")
	return cmd
}

// ask returns what the flags ask for.
func (f packFlags) ask(cmd *cobra.Command, cushion func(name, density string) (packing.Cushion, error)) (packing.Ask, error) {
	given := cmd.Flags().Changed
	units := measure.Metric
	if f.us {
		units = measure.US
	}
	a := packing.Boxed(units)
	var wrong error
	// take keeps what was read of a flag, and the first flag that could not be.
	take := func(flag string, read func() error) {
		if wrong == nil && given(flag) {
			if err := read(); err != nil {
				wrong = usage("--%s: %s", flag, err)
			}
		}
	}
	take("weight", func() (err error) { a.Bowl.Weight, err = measure.ParseMass(f.weight); return })
	take("inner-weight", func() (err error) { a.Inner.Weight, err = measure.ParseMass(f.innerWeight); return })
	take("size", func() (err error) { a.Inner.Size, err = measure.ParseSize(f.size); return })
	take("bowl-size", func() (err error) { a.Bowl.Size, err = measure.ParseSize(f.bowlSize); return })
	take("fragility", func() (err error) { a.Fragility, err = packing.ParseFragility(f.fragility); return })
	take("handling", func() (err error) { a.Handling, err = packing.ParseHandling(f.handling); return })
	take("drop", func() (err error) { a.Drop, err = measure.ParseLength(f.drop); return })
	take("thickness", func() (err error) { a.Thicknesses, err = measure.ParseLengths(f.thickness); return })
	take("wall", func() (err error) { a.Wall, err = packing.ParseWall(f.wall); return })
	take("pad", func() (err error) { a.PadM2, err = measure.ParseArea(f.pad); return })
	take("divisor", func() error {
		a.Divisors = nil
		for _, words := range f.divisors {
			d, err := packing.ParseDivisor(words)
			if err != nil {
				return err
			}
			a.Divisors = append(a.Divisors, d)
		}
		return nil
	})
	if wrong != nil {
		return a, wrong
	}
	if f.worn {
		if given("fragility") {
			return a, usage("--worn takes 25 G and --fragility something else; give one of them")
		}
		a.Fragility = packing.Worn()
	}
	if given("peak") && f.peak == 0 {
		return a, usage("--peak 0 cannot be had; give a peak in G, or leave it out for 0.8 of the fragility")
	}
	a.WantedG, a.Creep, a.Pads = f.peak, f.creep, f.pads
	var err error
	a.Cushion, err = cushion(f.cushion, f.density)
	return a, err
}

// cushion returns the cushion of a file of points, or of a representative foam.
func (c console) cushion(name, density string) (packing.Cushion, error) {
	model, notModel := packing.Model(name)
	if notModel == nil {
		if density != "" {
			return model, usage("--density is of a foam measured, and %s has its own; leave it out", name)
		}
		return model, nil
	}
	if name != "-" {
		if _, err := os.Stat(name); errors.Is(err, fs.ErrNotExist) {
			return packing.Cushion{}, usage("--cushion %s is neither a file nor a representative foam; timeball pack --help names those", name)
		}
	}
	in, err := c.open(name)
	if err != nil {
		return packing.Cushion{}, err
	}
	defer in.Close()
	points, err := packing.ReadPoints(in)
	if err != nil {
		return packing.Cushion{}, fmt.Errorf("%s: %w", name, err)
	}
	title := "foam of " + filepath.Base(name)
	if name == "-" {
		title = "foam of standard input"
	}
	foam, err := packing.Measured(title, points)
	if err != nil {
		return foam, fmt.Errorf("%s: %w", name, err)
	}
	if density != "" {
		if foam.Density, err = measure.ParseDensity(density); err != nil {
			return foam, usage("--density: %s", err)
		}
	}
	return foam, nil
}

// reportPack prints a packing for a person at the bench.
func reportPack(w io.Writer, p packing.Plan) error {
	u, c := p.Units, p.Best()
	var r ruled
	r.rule("═")
	fmt.Fprintf(&r, "Packing: %s inside an inner box of %s, %s together\n", u.Mass(p.Bowl.Weight), u.Size(p.Inner.Size), u.Mass(p.Unit))
	r.rule("═")
	r.WriteString(wrap(p.Verdict) + "\n")
	for _, s := range p.Change {
		fmt.Fprintf(&r, "\n%s\n", wrap(s))
	}
	r.head("What it must stand")
	r.rows(p.Stands())
	r.head("Foam: " + p.Cushion.Words)
	fmt.Fprintf(&r, "Peaks in G, %s.\n", p.Cushion.DoubtWords())
	r.rows(p.Table())
	r.WriteString("\n")
	r.rows(p.Loads())
	r.head("Boxes, with " + u.Length(c.Thickness))
	r.rows(p.Boxes())
	r.head("What the figures rest on")
	for _, s := range p.Remarks {
		r.WriteString(wrap(s) + "\n")
	}
	r.head("Never without these")
	for _, s := range packing.Cautions() {
		r.WriteString(wrap(s) + "\n")
	}
	_, err := io.WriteString(w, r.String())
	return err
}

// packed is what pack prints with --json.
type packed struct {
	UnitKg         float64     `json:"unit_kg"`
	InnerMM        [3]float64  `json:"inner_mm"`
	FragilityG     float64     `json:"fragility_g"`
	DesignG        float64     `json:"design_g"`
	Handling       string      `json:"handling"`
	Cushion        string      `json:"cushion"`
	Representative bool        `json:"representative"`
	DoubtShare95   float64     `json:"doubt_share_95"`
	Verdict        string      `json:"verdict"`
	Change         []string    `json:"change"`
	Remarks        []string    `json:"remarks"`
	Cautions       []string    `json:"cautions"`
	Chosen         int         `json:"chosen"`
	Optimum        packedLeast `json:"optimum"`
	Cushionings    []packedAt  `json:"thicknesses"`
}

type packedLeast struct {
	ThicknessMM float64 `json:"thickness_mm"`
	StaticKPa   float64 `json:"static_kpa"`
	AreaCM2     float64 `json:"area_cm2"`
	BucklingCM2 float64 `json:"buckling_area_cm2"`
	Buckles     bool    `json:"buckles"`
}

type packedAt struct {
	ThicknessMM  float64        `json:"thickness_mm"`
	CutMM        float64        `json:"cut_mm"`
	DropMM       float64        `json:"drop_mm"`
	DropTable    string         `json:"drop_table"`
	ImpactMPerS  float64        `json:"impact_m_per_s"`
	FacesG       [3]float64     `json:"peak_faces_g"`
	EdgeG        float64        `json:"peak_edge_g"`
	CornerG      float64        `json:"peak_corner_g"`
	PeakG        float64        `json:"peak_g"`
	PeakSDG      float64        `json:"peak_sd_g"`
	Lo95G        float64        `json:"peak_lo95_g"`
	Hi95G        float64        `json:"peak_hi95_g"`
	StaticKPa    [3]float64     `json:"static_faces_kpa"`
	Load         string         `json:"load_class"`
	Strain       float64        `json:"strain"`
	RingsHz      float64        `json:"natural_hz"`
	InsideMM     [3]float64     `json:"outer_inside_mm"`
	OutsideMM    [3]float64     `json:"outer_outside_mm"`
	UnitedMM     float64        `json:"united_mm"`
	GrossKg      float64        `json:"gross_kg"`
	Board        string         `json:"board"`
	AdvisedBoard string         `json:"board_advised"`
	StackingKg   float64        `json:"stacking_kg"`
	ClosedH      float64        `json:"closed_h"`
	Charged      []packedCharge `json:"charged"`
	Verdict      string         `json:"verdict"`
	Why          string         `json:"why"`
}

type packedCharge struct {
	Divisor       string  `json:"divisor"`
	DimensionalKg float64 `json:"dimensional_kg"`
	ChargedKg     float64 `json:"charged_kg"`
}

func newPacked(p packing.Plan) packed {
	round := func(v float64) float64 { return math.Round(v*1e4) / 1e4 }
	size := func(s measure.Size) [3]float64 {
		return [3]float64{round(s.Length.MM()), round(s.Width.MM()), round(s.Height.MM())}
	}
	o := p.Optimum
	out := packed{
		UnitKg: round(p.Unit.Kg()), InnerMM: size(p.Inner.Size), FragilityG: p.Fragility.G, DesignG: round(p.DesignG), Handling: p.Handling.String(),
		Cushion: p.Cushion.Name, Representative: p.Cushion.Representative, DoubtShare95: round(p.Cushion.Doubt),
		Verdict: p.Verdict, Change: append([]string{}, p.Change...), Remarks: append([]string{}, p.Remarks...), Cautions: packing.Cautions(), Chosen: p.Chosen,
		Optimum: packedLeast{round(o.Thickness.MM()), round(o.Static.KPa()), round(o.AreaM2 * 1e4), round(o.BucklingM2 * 1e4), o.Buckles},
	}
	for _, c := range p.Cushionings {
		at := packedAt{
			ThicknessMM: round(c.Thickness.MM()), CutMM: round(c.Cut.MM()), DropMM: round(c.Fall.Height.MM()), DropTable: c.Fall.Table, ImpactMPerS: round(c.ImpactMPerS),
			EdgeG: round(c.Edge.G), CornerG: round(c.Corner.G), PeakG: round(c.PeakG), PeakSDG: round(c.PeakSDG), Lo95G: round(c.Lo95G()), Hi95G: round(c.Hi95G()),
			Load: c.Load.Name, Strain: round(c.StrainMost()), RingsHz: round(c.RingsHz),
			InsideMM: size(c.Inside), OutsideMM: size(c.Outside), UnitedMM: round(c.Outside.United().MM()), GrossKg: round(c.Gross.Kg()),
			Board: c.Board.Words(), AdvisedBoard: c.Advised.Words(), StackingKg: round(c.Stacking.Kg()), ClosedH: round(c.WarmUp.ClosedH),
			Charged: []packedCharge{}, Verdict: c.Verdict.String(), Why: c.Why,
		}
		for i, k := range c.Faces {
			at.FacesG[i], at.StaticKPa[i] = round(k.G), round(k.Static.KPa())
		}
		for _, d := range c.Charged {
			at.Charged = append(at.Charged, packedCharge{d.String(), round(d.Dimensional.Kg()), round(d.Charged.Kg())})
		}
		out.Cushionings = append(out.Cushionings, at)
	}
	return out
}

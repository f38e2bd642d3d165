package packing

import (
	_ "embed"
	"encoding/csv"
	"fmt"
	"math"
	"strconv"
	"strings"
	"sync"

	"timeball/internal/packing/measure"
)

// Handling is how roughly a parcel is taken to be handled.
type Handling int

// The ways of handling, each with the table its fall is taken from.
const (
	Ordinary Handling = iota // one carrier by road: ISTA 1A
	Carriers                 // by air or through several carriers: ISTA 2A
	Thrown                   // thrown by one person: MIL-HDBK-304, from memory
)

var handlings = [...]struct{ name, words, table string }{
	Ordinary: {"ordinary", "ordinary carriage", "ISTA 1A"},
	Carriers: {"carriers", "by air or several carriers", "ISTA 2A"},
	Thrown:   {"thrown", "thrown", "MIL-HDBK-304 typical"},
}

// String returns the name by which a handling is chosen.
func (h Handling) String() string {
	if h < Ordinary || h > Thrown {
		return "unknown"
	}
	return handlings[h].name
}

// Words returns the handling in words.
func (h Handling) Words() string {
	if h < Ordinary || h > Thrown {
		return "unknown handling"
	}
	return handlings[h].words
}

// ParseHandling returns the handling of a name.
func ParseHandling(name string) (Handling, error) {
	for h, k := range handlings {
		if k.name == name {
			return Handling(h), nil
		}
	}
	return 0, fmt.Errorf("%w: handling %.40q is not known; write ordinary, carriers (by air or several carriers) or thrown", ErrAsk, name)
}

// Fall is a height from which a parcel must be taken to fall.
type Fall struct {
	Height      measure.Length
	Table       string // its row is of
	Over, Under measure.Mass
	Note        string
	Source      string
	Memory      bool // the figure is from memory, not read in its source
}

//go:embed table/drops.csv
var dropsCSV string

//go:embed table/fragility.csv
var fragilityCSV string

//go:embed table/load_classes.csv
var loadClassesCSV string

//go:embed table/board.csv
var boardCSV string

// rows returns the rows of an embedded table after its comment and header.
func rows(text string) [][]string {
	r := csv.NewReader(strings.NewReader(text))
	r.Comment = '#'
	all, err := r.ReadAll()
	if err != nil {
		panic("packing: embedded table: " + err.Error())
	}
	return all[1:]
}

// figure returns a number of an embedded table, +Inf for an empty cell.
func figure(cell string) float64 {
	if cell == "" {
		return math.Inf(1)
	}
	v, err := strconv.ParseFloat(cell, 64)
	if err != nil {
		panic("packing: embedded table: " + err.Error())
	}
	return v
}

var falls = sync.OnceValue(func() []Fall {
	var all []Fall
	for _, r := range rows(dropsCSV) {
		all = append(all, Fall{
			Table: r[0], Over: measure.Mass(figure(r[1])) * measure.Pound, Under: measure.Mass(figure(r[2])) * measure.Pound,
			Height: measure.Length(figure(r[3])) * measure.Inch, Note: r[4], Source: r[5], Memory: r[6] == "memory",
		})
	}
	return all
})

// FallOf returns the fall that a handling provides for a parcel of that gross
// weight, and whether its table reaches so far.
func FallOf(h Handling, gross measure.Mass) (Fall, bool) {
	if h < Ordinary || h > Thrown {
		return Fall{}, false
	}
	for _, f := range Falls(gross) {
		if f.Table == handlings[h].table {
			return f, true
		}
	}
	return Fall{}, false
}

// Falls returns the row of every table that a parcel of that gross weight
// falls into.
func Falls(gross measure.Mass) []Fall {
	var all []Fall
	for _, f := range falls() {
		// A weight that was converted may lie a few last bits below its row.
		if g := gross * (1 + 1e-12); g >= f.Over && g < f.Under && gross > 0 {
			all = append(all, f)
		}
	}
	return all
}

// Fragility is the shock that damages an instrument.
type Fragility struct {
	G      float64
	Words  string // what it is of
	Source string
}

// BalanceHeld returns the fragility of a chronometer with its balance held by
// soft strips that take up all play: 40 G, the upper end of "very delicate".
// It is reasoned, not tested: a hard pivot of 0.10 mm under half a balance of
// 6 g bends near 50 G, see Pivot.
func BalanceHeld() Fragility {
	return Fragility{40, "a chronometer, its balance held without play", "very delicate, 25 to 40 G (Gemstar, Foam Cushioning); its place in the class is reasoned from the strength of the pivots, not tested"}
}

// Worn returns the fragility of a chronometer whose pivots are worn, whose
// balance is free, or of which nothing is known: 25 G.
func Worn() Fragility {
	return Fragility{25, "a chronometer with worn pivots, or of which nothing is known", "the lower end of very delicate, 25 to 40 G (Gemstar, Foam Cushioning); its place in the class is reasoned, not tested"}
}

// FragilityClass is a class of things by the shock they stand.
type FragilityClass struct {
	Name     string
	From, To float64 // G; To is +Inf for the last
	SuchAs   string
	Memory   bool // the limits are from memory
}

// FragilityClasses returns the classes, the most fragile first.
func FragilityClasses() []FragilityClass {
	var all []FragilityClass
	for _, r := range rows(fragilityCSV) {
		all = append(all, FragilityClass{r[0], figure(r[1]), figure(r[2]), r[3], r[4] == "memory"})
	}
	return all
}

// ParseFragility returns the fragility of a number of G, or the lower limit of
// the class of that name, as nothing more is known of the thing.
func ParseFragility(words string) (Fragility, error) {
	words = strings.TrimSpace(words)
	if v, err := strconv.ParseFloat(strings.TrimSpace(strings.TrimRight(words, "gG")), 64); err == nil {
		return Fragility{v, "as given", "as given"}, nil
	}
	var names []string
	for _, c := range FragilityClasses() {
		if strings.EqualFold(words, c.Name) {
			source := "Gemstar, Foam Cushioning"
			if c.Memory {
				source = "MIL-HDBK-304, from memory"
			}
			return Fragility{c.From, c.Name + ", the lower limit of the class", source}, nil
		}
		names = append(names, c.Name)
	}
	return Fragility{}, fmt.Errorf("%w: fragility %.40q is neither a number of G nor a class; the classes are %s", ErrAsk, words, strings.Join(names, ", "))
}

// LoadClass is a class of static load of MIL-C-26861B, 1.2.
type LoadClass struct {
	Class    int // 1 to 6; 0 if beyond all
	Name     string
	From, To measure.Pressure
}

var loadClasses = sync.OnceValue(func() []LoadClass {
	var all []LoadClass
	for _, r := range rows(loadClassesCSV) {
		all = append(all, LoadClass{int(figure(r[0])), r[3], measure.Pressure(figure(r[1])) * measure.PSI, measure.Pressure(figure(r[2])) * measure.PSI})
	}
	return all
})

// LoadClassOf returns the class of a static stress; class 0, "beyond all
// classes", above the last.
func LoadClassOf(s measure.Pressure) LoadClass {
	for _, c := range loadClasses() {
		if s < c.To*(1-1e-12) {
			return c
		}
	}
	return LoadClass{Name: "beyond all classes"}
}

// Grade returns the letter of MIL-C-26861B, 1.2, for a cushion of that peak: A
// under 20 G, B under 40, C under 60, D under 100, and nothing from there on.
func Grade(peakG float64) string {
	for _, g := range []struct {
		under float64
		name  string
	}{{20, "A"}, {40, "B"}, {60, "C"}, {100, "D"}} {
		if peakG < g.under {
			return g.name
		}
	}
	return ""
}

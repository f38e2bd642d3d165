package programme

import "math"

// Criterion is one figure computed from the daily rates, with the limits it
// must keep. Which days it takes, and how, its Of says.
type Criterion struct {
	Name     string   // letter or short words: "M", "a", "a + 2b"
	About    string   // what it tells, in words
	Of       Measure  // how it is computed
	Periods  []int    // the periods it takes, from 1; empty: all that are not apart
	Less     []int    // the periods whose mean is taken off, for DifferenceOfMeans
	SumDays  int      // days of a sum or mean, for the measures of sums; 7 is a week
	Terms    []Term   // for Combined
	From, To *float64 // limits; nil: none on that side
	Classes  []Class  // named limits on the absolute value, best first, instead of From and To; may be empty
	Unit     string   // "s/d", "s", "s/d per °C"
}

// Term is one part of a combined criterion: a factor times the absolute value
// of a criterion named before.
type Term struct {
	Factor float64
	Name   string
}

// Class is a named limit: the class is reached where the value is at most Most.
type Class struct {
	Name string
	Most float64
}

// Limited reports whether the criterion has limits.
func (c Criterion) Limited() bool { return c.From != nil || c.To != nil || len(c.Classes) > 0 }

// Keeps reports whether a value keeps the limits: no rounding, the limits
// themselves allowed.
func (c Criterion) Keeps(v float64) bool {
	if len(c.Classes) > 0 {
		return c.Class(v) < len(c.Classes)
	}
	return (c.From == nil || v >= *c.From) && (c.To == nil || v <= *c.To)
}

// Class returns the index of the best class a value reaches, or how many there
// are if it reaches none.
func (c Criterion) Class(v float64) int {
	for i, class := range c.Classes {
		if math.Abs(v) <= class.Most {
			return i
		}
	}
	return len(c.Classes)
}

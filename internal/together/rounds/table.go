package rounds

import (
	"fmt"
	"math"
	"slices"
	"time"

	"timeball/internal/timescale"
)

// Table is a book laid out for reckoning: rows in order of time, known moves of
// hands and leap seconds taken away, the standard as one more member where it
// is wanted.
type Table struct {
	Names       []string // of the members
	Instruments int      // the first so many members; a further one is the standard
	At          []time.Time
	Days        []float64   // since the first row, of 86,400 SI seconds
	X           [][]float64 // [member][row], s, NaN where not read
	SD          [][]float64 // of each reading, s
	Notes       []string    // rows left out, in words
}

// standardSD is the doubt of the standard itself, s, where a row says that its
// instant is UTC; the reading of each dial carries the doubt of the comparison.
const standardSD = 0.001

// fewestKnown is how many rows must be known to be UTC for it to be a member.
const fewestKnown = 3

// Lay returns the table of b, or the error of its Check. The standard is a
// member if withUTC and at least three rows are known to be UTC.
func Lay(b Book, withUTC bool) (*Table, error) {
	if err := b.Check(); err != nil {
		return nil, err
	}
	rows := slices.Clone(b.Rows)
	slices.SortStableFunc(rows, func(p, q Row) int { return p.At.Compare(q.At) })
	tb := &Table{Names: slices.Clone(b.Names), Instruments: len(b.Names)}
	known := 0
	for _, row := range rows {
		if row.UTCKnown {
			known++
		}
	}
	if withUTC && known >= fewestKnown {
		tb.Names = append(tb.Names, standard)
	}
	tb.X, tb.SD = make([][]float64, len(tb.Names)), make([][]float64, len(tb.Names))
	steps := make([][]Step, len(b.Names))
	for _, s := range b.Steps {
		i := slices.Index(b.Names, s.Name)
		steps[i] = append(steps[i], s)
	}
	clean := func(row Row, i int) float64 {
		return row.ErrorS[i] - moved(steps[i], row.At) - float64(timescale.LeapSeconds(tb.At[0], row.At))
	}
	var before Row
	for _, row := range rows {
		if last := len(tb.At) - 1; last >= 0 && !row.At.After(tb.At[last]) {
			tb.again(row, before, clean)
			continue
		}
		before = row
		tb.At = append(tb.At, row.At.UTC())
		tb.Days = append(tb.Days, timescale.Days(tb.At[0], row.At))
		for i := range tb.X {
			x, sd := math.NaN(), standardSD
			switch {
			case !tb.Standard(i):
				x, sd = clean(row, i), row.sd(i)
			case row.UTCKnown:
				x = 0
			}
			tb.X[i], tb.SD[i] = append(tb.X[i], x), append(tb.SD[i], sd)
		}
	}
	return tb, nil
}

// again takes in a second row at one instant: what it adds to a row that is
// UTC as well, else nothing, for its unknown part may be another.
func (tb *Table) again(row, before Row, clean func(Row, int) float64) {
	last := len(tb.At) - 1
	added := false
	if row.UTCKnown && before.UTCKnown {
		for i := range tb.Instruments {
			if !math.IsNaN(row.ErrorS[i]) && math.IsNaN(tb.X[i][last]) {
				tb.X[i][last], tb.SD[i][last] = clean(row, i), row.sd(i)
				added = true
			}
		}
	}
	if !added {
		tb.Notes = append(tb.Notes, fmt.Sprintf("a second row at %s is left out", row.At.UTC().Format(time.RFC3339)))
	}
}

// Standard says whether member i is UTC itself.
func (tb *Table) Standard(i int) bool { return i >= tb.Instruments }

// Clone returns a table whose readings can be changed.
func (tb *Table) Clone() *Table {
	c := *tb
	c.X = make([][]float64, len(tb.X))
	for i := range tb.X {
		c.X[i] = slices.Clone(tb.X[i])
	}
	return &c
}

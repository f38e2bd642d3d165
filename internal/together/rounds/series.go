package rounds

import (
	"fmt"
	"math"
	"slices"
	"time"

	"timeball/internal/timescale"
)

// Series is the readings of one instrument against standard time.
type Series struct {
	Name     string
	Readings []Comparison
	Steps    []Step // known moves of its hands; their Name is not used
}

// Comparison is one reading of a dial against standard time.
type Comparison struct {
	At     time.Time
	ErrorS float64 // dial minus UTC, s
	SDS    float64 // s; 0 if not stated
}

// FromErrors returns the book that several series make: readings of different
// instruments within tolerance of the first of a round are one row, at the
// instant of that first. Each keeps the error read at its own instant, and its
// doubt grows by what its own mean rate is worth over the time between. Known
// moves are taken away at once, so that the book has no steps; its rows are
// known to be UTC.
func FromErrors(series []Series, within time.Duration) (Book, error) {
	var b Book
	if within < 0 {
		return Book{}, fmt.Errorf("%w: readings within %s of each other; give a time that is not negative", ErrBook, within)
	}
	type entry struct {
		instrument int
		Comparison
	}
	var all []entry
	rate := make([]float64, len(series))
	for i, s := range series {
		b.Names = append(b.Names, s.Name)
		rate[i] = meanRate(s)
		for _, c := range s.Readings {
			if !math.IsNaN(c.ErrorS) {
				all = append(all, entry{i, c})
			}
		}
	}
	slices.SortStableFunc(all, func(p, q entry) int { return p.At.Compare(q.At) })
	taken := make([]bool, len(all))
	for k, first := range all {
		if taken[k] {
			continue
		}
		row := Row{At: first.At.UTC(), ErrorS: make([]float64, len(series)), EachSDS: make([]float64, len(series)), UTCKnown: true}
		for i := range row.ErrorS {
			row.ErrorS[i] = math.NaN()
		}
		for j := k; j < len(all) && all[j].At.Sub(first.At) <= within; j++ {
			e := all[j]
			if taken[j] || !math.IsNaN(row.ErrorS[e.instrument]) {
				continue
			}
			if e.SDS < 0 || math.IsNaN(e.SDS) {
				return Book{}, fmt.Errorf("%w: no. %s at %s has a standard deviation of %g s; write one that is positive and finite",
					ErrBook, series[e.instrument].Name, e.At.UTC().Format(time.RFC3339), e.SDS)
			}
			taken[j] = true
			row.ErrorS[e.instrument] = e.ErrorS - moved(series[e.instrument].Steps, e.At)
			s := e.SDS
			if s == 0 {
				s = defaultSD
			}
			row.EachSDS[e.instrument] = math.Hypot(s, rate[e.instrument]*timescale.Days(first.At, e.At))
		}
		b.Rows = append(b.Rows, row)
	}
	if err := b.Check(); err != nil {
		return Book{}, err
	}
	return b, nil
}

// meanRate returns the size of the mean rate of a series over its whole
// length, s/d, its moves taken away; a move left unsaid makes it larger.
func meanRate(s Series) float64 {
	if len(s.Readings) < 2 {
		return 0
	}
	first, last := s.Readings[0], s.Readings[0]
	for _, c := range s.Readings {
		if math.IsNaN(c.ErrorS) {
			continue
		}
		if c.At.Before(first.At) {
			first = c
		}
		if c.At.After(last.At) {
			last = c
		}
	}
	change := last.ErrorS - moved(s.Steps, last.At) - (first.ErrorS - moved(s.Steps, first.At))
	if days := timescale.Days(first.At, last.At); days > 0 && !math.IsNaN(change) {
		return math.Abs(change / days)
	}
	return 0
}

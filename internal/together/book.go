// Package together reads several chronometers against each other: how their
// differences move, which of them altered, how steady each one is by itself,
// and what time they make it between them.
//
// Error is dial minus UTC in seconds, positive fast; rate is its change in
// seconds per day of 86,400 SI seconds, positive gaining. A comparison book
// holds dials that were read at one instant; only their differences count,
// except in rows that say that the instant is UTC. Nothing is interpolated.
//
// Noise is stated per day as in package statespace: white FM σw, the scatter of
// one day's rate, and random-walk FM σr, the wandering of the rate. The noises
// of two instruments are taken as independent: a common cause, such as the
// temperature of their room, is outside what a comparison of dials can show.
//
// Main source: J. E. Gray, D. W. Allan, A method for estimating the frequency
// stability of an individual oscillator, 28th Frequency Control Symposium
// (1974).
package together

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"time"

	"timeball/internal/clock"
	"timeball/internal/timescale"
)

// MaxInstruments is the greatest number of instruments in one book.
const MaxInstruments = 12

// MaxRows is the greatest number of rows in one book: ten years of days.
const MaxRows = 3660

// UTC is the name under which the standard stands beside the instruments, in
// rows that are known to be UTC.
const UTC = "UTC"

// The errors of a book.
var (
	ErrBook  = errors.New("not a comparison book")
	ErrAlone = errors.New("nothing to compare with")
)

// defaultSD is the standard deviation of a reading, s, where none is stated: a
// dial read by eye and ear.
const defaultSD = 0.1

// leastSD is the least standard deviation of a reading, s, that is believed.
const leastSD = 0.001

// Book holds readings of several dials at common instants.
type Book struct {
	Names []string
	Rows  []Row
	Steps []Step
}

// Row is one round of comparison.
type Row struct {
	At time.Time
	// ErrorS is, for each of the book's names, the dial less At, s; NaN where
	// it was not read. Where UTCKnown is false an unknown part, the same for
	// all, may be in it.
	ErrorS   []float64
	SDS      float64   // of a reading, s; 0 if not stated
	EachSDS  []float64 // of each reading, s; nil, or 0 or NaN for SDS
	UTCKnown bool      // At is UTC, so that ErrorS is dial minus UTC
}

// Step is a move of the hands of one instrument by a known amount.
type Step struct {
	Name   string
	At     time.Time // from this instant on
	MovedS float64   // s, positive forward
}

// Check returns nil for a book that can be read, or else an error that wraps
// ErrBook and says what is wrong and where.
func (b Book) Check() error {
	wrong := func(format string, args ...any) error {
		return fmt.Errorf("%w: %s", ErrBook, fmt.Sprintf(format, args...))
	}
	switch {
	case len(b.Names) == 0:
		return wrong("it names no instrument; give each column the number of one")
	case len(b.Names) > MaxInstruments:
		return wrong("it has %d instruments; %d is the most, split it", len(b.Names), MaxInstruments)
	case len(b.Rows) > MaxRows:
		return wrong("it has %d rows; %d is the most, split it", len(b.Rows), MaxRows)
	}
	for i, name := range b.Names {
		if name == "" || name == UTC {
			return wrong("instrument %d is named %q; write its number", i+1, name)
		}
		if slices.Index(b.Names, name) != i {
			return wrong("no. %s stands twice; write each instrument once", name)
		}
	}
	for _, row := range b.Rows {
		at := row.At.UTC().Format(time.RFC3339)
		if row.At.IsZero() || row.At.Year() < 1 || row.At.Year() > 9999 {
			return wrong("a row has no instant; write when the dials were read")
		}
		if len(row.ErrorS) != len(b.Names) || row.EachSDS != nil && len(row.EachSDS) != len(b.Names) {
			return wrong("the row at %s has %d readings for %d instruments; leave a place for each", at, len(row.ErrorS), len(b.Names))
		}
		if row.SDS < 0 || math.IsNaN(row.SDS) || row.SDS > mostS {
			return wrong("the row at %s has a standard deviation of %g s; write one that is positive and finite", at, row.SDS)
		}
		for i, e := range row.ErrorS {
			if !math.IsNaN(e) && math.Abs(e) > mostS {
				return wrong("no. %s at %s reads %g s; write an error of less than a year", b.Names[i], at, e)
			}
		}
		for i, s := range row.EachSDS {
			if s < 0 || s > mostS {
				return wrong("no. %s at %s has a standard deviation of %g s; write one that is positive and finite", b.Names[i], at, s)
			}
		}
	}
	for _, s := range b.Steps {
		if !slices.Contains(b.Names, s.Name) {
			return wrong("hands moved of no. %s at %s: the book has no such instrument", s.Name, s.At.UTC().Format(time.RFC3339))
		}
		if math.IsNaN(s.MovedS) || math.Abs(s.MovedS) > mostS {
			return wrong("hands moved of no. %s at %s by %g s; write a finite number of seconds", s.Name, s.At.UTC().Format(time.RFC3339), s.MovedS)
		}
	}
	return nil
}

// mostS bounds readings, s: beyond a year nothing is a dial.
const mostS = 366 * clock.DaySeconds

// table is a book laid out for reckoning: rows in order of time, known moves
// taken away, the standard as one more member where it is wanted.
type table struct {
	names []string
	n     int // instruments; a further member is the standard
	at    []time.Time
	t     []float64   // days since the first row
	x     [][]float64 // [member][row], s, NaN where not read
	sd    [][]float64
	notes []string
}

// standardSD is the doubt of the standard itself, s, where a row says that its
// instant is UTC; the reading of each dial carries the doubt of the comparison.
const standardSD = 0.001

// lay returns the table of b. The standard is a member if withUTC and at least
// three rows are known to be UTC.
func lay(b Book, withUTC bool) (*table, error) {
	if err := b.Check(); err != nil {
		return nil, err
	}
	rows := slices.Clone(b.Rows)
	slices.SortStableFunc(rows, func(p, q Row) int { return p.At.Compare(q.At) })
	tb := &table{names: slices.Clone(b.Names), n: len(b.Names)}
	known := 0
	for _, row := range rows {
		if row.UTCKnown {
			known++
		}
	}
	members := tb.n
	if withUTC && known >= 3 {
		tb.names = append(tb.names, UTC)
		members++
	}
	tb.x, tb.sd = make([][]float64, members), make([][]float64, members)
	var before Row
	for _, row := range rows {
		if last := len(tb.t) - 1; last >= 0 && !row.At.After(tb.at[last]) {
			tb.again(b, row, before)
			continue
		}
		before = row
		tb.at = append(tb.at, row.At.UTC())
		tb.t = append(tb.t, timescale.Days(tb.at[0], row.At))
		leaps := float64(timescale.LeapSeconds(tb.at[0], row.At))
		for i := range tb.n {
			tb.x[i] = append(tb.x[i], clean(b, i, row)-leaps)
			tb.sd[i] = append(tb.sd[i], row.sd(i))
		}
		if members > tb.n {
			x := math.NaN()
			if row.UTCKnown {
				x = 0
			}
			tb.x[tb.n], tb.sd[tb.n] = append(tb.x[tb.n], x), append(tb.sd[tb.n], standardSD)
		}
	}
	return tb, nil
}

// again takes in a second row at one instant: what it adds to a row that is
// UTC as well, else nothing, for its unknown part may be another.
func (tb *table) again(b Book, row, before Row) {
	last := len(tb.t) - 1
	added := false
	if row.UTCKnown && before.UTCKnown {
		for i := range tb.n {
			if !math.IsNaN(row.ErrorS[i]) && math.IsNaN(tb.x[i][last]) {
				tb.x[i][last] = clean(b, i, row) - float64(timescale.LeapSeconds(tb.at[0], row.At))
				tb.sd[i][last] = row.sd(i)
				added = true
			}
		}
	}
	if !added {
		tb.notes = append(tb.notes, fmt.Sprintf("a second row at %s is left out", row.At.UTC().Format(time.RFC3339)))
	}
}

func clean(b Book, i int, row Row) float64 {
	x := row.ErrorS[i]
	for _, s := range b.Steps {
		if s.Name == b.Names[i] && !row.At.Before(s.At) {
			x -= s.MovedS
		}
	}
	return x
}

func (r Row) sd(i int) float64 {
	s := r.SDS
	if r.EachSDS != nil && r.EachSDS[i] > 0 {
		s = r.EachSDS[i]
	}
	if s == 0 {
		s = defaultSD
	}
	return math.Max(s, leastSD)
}

// standard says whether member i is UTC itself.
func (tb *table) standard(i int) bool { return i >= tb.n }

// copy returns a table whose readings can be changed.
func (tb *table) copy() *table {
	c := *tb
	c.x = make([][]float64, len(tb.x))
	for i := range tb.x {
		c.x[i] = slices.Clone(tb.x[i])
	}
	return &c
}

// Package rounds is the comparison book: dials of several chronometers read at
// common instants, round by round, from a file or from what each was compared
// with, laid out for reckoning.
//
// Error is dial minus UTC in seconds, positive fast. In a book only differences
// of dials count, except in rows that say that the instant is UTC. Nothing is
// interpolated.
package rounds

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"time"

	"timeball/internal/clock"
)

// MaxInstruments is the greatest number of instruments in one book.
const MaxInstruments = 12

// MaxRows is the greatest number of rows in one book: ten years of days.
const MaxRows = 3660

// MostS bounds readings, s: beyond a year nothing is a dial.
const MostS = 366 * clock.DaySeconds

// standard is the name under which UTC stands beside the instruments, in rows
// that are known to be UTC.
const standard = "UTC"

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

// sd returns the standard deviation, s, of the reading of instrument i.
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

// moved returns by how much steps had moved the hands at an instant, s.
func moved(steps []Step, at time.Time) float64 {
	sum := 0.0
	for _, s := range steps {
		if !at.Before(s.At) {
			sum += s.MovedS
		}
	}
	return sum
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
		if name == "" || name == standard {
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
		if row.SDS < 0 || math.IsNaN(row.SDS) || row.SDS > MostS {
			return wrong("the row at %s has a standard deviation of %g s; write one that is positive and finite", at, row.SDS)
		}
		for i, e := range row.ErrorS {
			if !math.IsNaN(e) && math.Abs(e) > MostS {
				return wrong("no. %s at %s reads %g s; write an error of less than a year", b.Names[i], at, e)
			}
		}
		for i, s := range row.EachSDS {
			if s < 0 || s > MostS {
				return wrong("no. %s at %s has a standard deviation of %g s; write one that is positive and finite", b.Names[i], at, s)
			}
		}
	}
	for _, s := range b.Steps {
		if !slices.Contains(b.Names, s.Name) {
			return wrong("hands moved of no. %s at %s: the book has no such instrument", s.Name, s.At.UTC().Format(time.RFC3339))
		}
		if math.IsNaN(s.MovedS) || math.Abs(s.MovedS) > MostS {
			return wrong("hands moved of no. %s at %s by %g s; write a finite number of seconds", s.Name, s.At.UTC().Format(time.RFC3339), s.MovedS)
		}
	}
	return nil
}

// Package ratebook reads and writes the comparison file: CSV with a header,
// one reading of the dial or one event in each row.
//
// The column utc holds an instant in RFC 3339; a reading stands in dial
// (h:mm:ss.s) or in error_s (dial minus UTC in seconds, + fast). A file is
// read whole or not at all: every error is an *Error that names line and
// column and says what to write instead.
package ratebook

import (
	"fmt"
	"strings"
	"time"

	"timeball/internal/chronometer"
	"timeball/internal/clock"
)

// Limits of a comparison file.
const (
	MaxRows  = 1_000_000 // rows with a reading or an event
	maxRow   = 64 << 10  // bytes of one row
	maxFile  = 256 << 20 // bytes of a file
	mostMore = 100       // bad rows counted after the first
	mostKept = 100       // comments kept
)

// Book is what a comparison file says.
type Book struct {
	Rows      []Row      // in the order of time; rows of one instant as they stand in the file
	Remarks   []string   // how the file was read, where that was not plain, one sentence each
	Comments  []string   // the first hundred comment lines, without #
	HasDial   bool       // at least one reading is of the dial, not its error
	DialHours clock.Dial // what the readings tell of the dial, 0 if it may be of 12 or 24 hours
}

// Row is one row of the file.
type Row struct {
	Line  int                // where it stands in the file, the header included
	At    time.Time          // UTC to the microsecond
	By    string             // the column observer, for the facts that have no observer of their own
	Facts []chronometer.Fact // in the order in which they hold; never empty after Read
}

// Error says why a comparison file is refused: nothing of it was read.
type Error struct {
	Line   int    // counted from 1, 0 if it is the file as a whole
	Column string // empty if it is the row as a whole
	Err    error
	More   int // further rows that are bad, counted up to 100
}

// Error returns one sentence with line, column, reason and remedy.
func (e *Error) Error() string {
	var b strings.Builder
	switch {
	case e.Line > 0 && e.Column != "":
		fmt.Fprintf(&b, "line %d, column %s: ", e.Line, e.Column)
	case e.Line > 0:
		fmt.Fprintf(&b, "line %d: ", e.Line)
	}
	b.WriteString(e.Err.Error())
	switch {
	case e.More >= mostMore:
		fmt.Fprintf(&b, " (and at least %d more rows are bad)", mostMore)
	case e.More == 1:
		b.WriteString(" (and 1 more row is bad)")
	case e.More > 1:
		fmt.Fprintf(&b, " (and %d more rows are bad)", e.More)
	}
	return b.String()
}

// Unwrap returns the reason.
func (e *Error) Unwrap() error { return e.Err }

// column is a column of the file.
type column int

const (
	colUTC column = iota
	colDial
	colError
	colSD
	colMethod
	colObserver
	colStandard
	colStandardSD
	colTemp
	colPosition
	colWound
	colEvent
	colNote
	columns
)

// names gives the columns in the order in which they are written.
var names = [columns]string{
	"utc", "dial", "error_s", "sd_s", "method", "observer", "standard", "standard_sd_s", "temp_c", "position", "wound_h", "event", "note",
}

func (c column) String() string { return names[c] }

// columnNamed returns the column of a header cell, which may be in capitals.
func columnNamed(text string) (column, bool) {
	text = strings.ToLower(strings.TrimSpace(text))
	for c, name := range names {
		if name == text {
			return column(c), true
		}
	}
	return 0, false
}

// free says that a column holds free text, which is guarded when written.
func (c column) free() bool { return c == colObserver || c == colStandard || c == colNote }

// guarded returns whether text would start a formula in a spreadsheet once the
// apostrophes before it are taken away.
func guarded(text string) bool {
	bare := strings.TrimLeft(text, "'")
	return bare != "" && strings.ContainsRune("=+-@\t\r\n", rune(bare[0]))
}

// guard puts an apostrophe before text that a spreadsheet would take for a
// formula; unguard takes it away.
func guard(text string) string {
	if guarded(text) {
		return "'" + text
	}
	return text
}

func unguard(text string) string {
	if strings.HasPrefix(text, "'") && guarded(text) {
		return text[1:]
	}
	return text
}

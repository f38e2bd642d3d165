package rounds

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
	"time"

	"timeball/internal/clock"
	"timeball/internal/timescale"
)

// Mistake is what is wrong in a file, and where.
type Mistake struct {
	Line   int    // counted from 1; 0 if it is the file as a whole
	Column string // as the header writes it; "" if it is the row as a whole
	Err    error
}

// Error returns the mistake as one sentence.
func (m *Mistake) Error() string {
	switch {
	case m.Line == 0:
		return m.Err.Error()
	case m.Column == "":
		return fmt.Sprintf("line %d: %v", m.Line, m.Err)
	}
	return fmt.Sprintf("line %d, column %s: %v", m.Line, m.Column, m.Err)
}

// Unwrap returns what is wrong; it wraps ErrBook.
func (m *Mistake) Unwrap() error { return m.Err }

// mostBytes is the greatest size of a book as a file.
const mostBytes = 8 << 20

// The columns of a book that are not instruments.
const (
	columnUTC   = "utc"
	columnSD    = "sd_s"
	columnKnown = "utc_known"
	columnEvent = "event"
	columnNote  = "note"
)

const movedHands = " hands moved "

// Read reads a comparison book: CSV with a header, utc and one column for
// each instrument, named by its number, which holds its dial (h:mm:ss.s) or
// its error (seconds); an empty cell is a dial that was not read. Optional are
// sd_s, utc_known (yes or no: whether utc is more than the time by which the
// round was noted), event ("NUMBER hands moved +60") and note. Lines beginning
// with # are comments. Dials are taken as those of 12 hours: each difference is
// the one nearest to the difference before. The error is a *Mistake, and then
// nothing of the file is returned.
func Read(r io.Reader) (Book, error) {
	text, err := io.ReadAll(io.LimitReader(r, mostBytes+1))
	if err != nil {
		return Book{}, &Mistake{Err: fmt.Errorf("%w: it cannot be read: %w; try again from a whole copy", ErrBook, err)}
	}
	if len(text) > mostBytes {
		return Book{}, &Mistake{Err: fmt.Errorf("%w: it is larger than %d MB; split it by year", ErrBook, mostBytes>>20)}
	}
	text = bytes.TrimPrefix(text, []byte("\ufeff"))
	in := &reader{csv: csv.NewReader(bytes.NewReader(text)), near: map[[2]int]float64{}, moved: map[int]float64{}}
	in.csv.Comment, in.csv.FieldsPerRecord, in.csv.TrimLeadingSpace = '#', -1, true
	if err := in.header(); err != nil {
		return Book{}, err
	}
	for {
		more, bad := in.row()
		if bad != nil {
			return Book{}, bad
		}
		if !more {
			break
		}
	}
	if len(in.book.Rows) == 0 {
		return Book{}, &Mistake{Err: fmt.Errorf("%w: it has a header and no rows; write one round of comparison a line", ErrBook)}
	}
	if err := in.book.Check(); err != nil {
		return Book{}, &Mistake{Err: err}
	}
	return in.book, nil
}

type reader struct {
	csv    *csv.Reader
	titles []string
	column map[string]int // of the columns that are not instruments
	place  []int          // column of each instrument
	book   Book
	line   int
	near   map[[2]int]float64 // the last difference of two instruments, moves taken away
	moved  map[int]float64
	last   time.Time
}

func (in *reader) bad(column int, format string, args ...any) *Mistake {
	m := &Mistake{Line: in.line, Err: fmt.Errorf("%w: %w", ErrBook, fmt.Errorf(format, args...))}
	if column >= 0 && column < len(in.titles) {
		m.Column = in.titles[column]
	}
	return m
}

// next returns the next row that is not empty; nil at the end.
func (in *reader) next() ([]string, *Mistake) {
	cells, err := in.csv.Read()
	if err == io.EOF {
		return nil, nil
	}
	var parse *csv.ParseError
	if errors.As(err, &parse) {
		in.line = parse.Line
		return nil, in.bad(-1, "the row is not CSV: %w; put cells with a comma or a quote between quotes", parse.Err)
	}
	if err != nil {
		return nil, in.bad(-1, "it cannot be read: %w", err)
	}
	in.line, _ = in.csv.FieldPos(0)
	for i := range cells {
		cells[i] = strings.TrimSpace(cells[i])
	}
	return cells, nil
}

func (in *reader) header() error {
	cells, bad := in.next()
	if bad != nil {
		return bad
	}
	if cells == nil {
		return &Mistake{Err: fmt.Errorf("%w: it is empty; write a header with utc and the number of each instrument", ErrBook)}
	}
	in.column = map[string]int{}
	seen := map[string]bool{}
	for i, title := range cells {
		in.titles = append(in.titles, strconv.Itoa(i+1))
		if title == "" {
			return in.bad(i, "the column has no name; write the number of the instrument")
		}
		if len(title) > 60 {
			return in.bad(i, "the name of the column is longer than 60 letters; write the number alone")
		}
		in.titles[i] = title
		name := strings.ToLower(title)
		switch name {
		case columnUTC, columnSD, columnKnown, columnEvent, columnNote:
			title = name
			in.column[name] = i
		default:
			in.book.Names = append(in.book.Names, title)
			in.place = append(in.place, i)
		}
		if seen[title] {
			return in.bad(i, "the column stands twice in the header; write it once")
		}
		seen[title] = true
	}
	if _, ok := in.column[columnUTC]; !ok {
		return in.bad(-1, "the header has no column utc; write utc and the number of each instrument")
	}
	if len(in.book.Names) > MaxInstruments {
		return in.bad(-1, "it has %d instruments; %d is the most, split the file", len(in.book.Names), MaxInstruments)
	}
	if err := (Book{Names: in.book.Names}).Check(); err != nil {
		return &Mistake{Line: in.line, Err: err}
	}
	return nil
}

// cell returns what stands in a column of the row that is not an instrument.
func (in *reader) cell(cells []string, name string) (string, int) {
	i, ok := in.column[name]
	if !ok || i >= len(cells) {
		return "", -1
	}
	return cells[i], i
}

// row reads one row; false at the end.
func (in *reader) row() (bool, *Mistake) {
	cells, bad := in.next()
	if cells == nil || bad != nil {
		return false, bad
	}
	if strings.Join(cells, "") == "" {
		return true, nil
	}
	for i := len(in.titles); i < len(cells); i++ {
		if cells[i] != "" {
			return false, in.bad(-1, "the row has %d cells and the header %d; a cell with a comma stands between quotes", len(cells), len(in.titles))
		}
	}
	if len(in.book.Rows) >= MaxRows {
		return false, in.bad(-1, "it has more than %d rows; split it by year", MaxRows)
	}
	text, at := in.cell(cells, columnUTC)
	if text == "" {
		return false, in.bad(in.column[columnUTC], "the row has no instant; write when the dials were read, as 2026-02-10T09:00:00Z")
	}
	when, err := timescale.Parse(text)
	if err != nil {
		return false, in.bad(at, "%w", err)
	}
	if when.Before(in.last) {
		return false, in.bad(at, "%s is before the row above; put the rows in order of time", text)
	}
	in.last = when
	row := Row{At: when, ErrorS: make([]float64, len(in.book.Names))}
	if text, i := in.cell(cells, columnSD); text != "" {
		s, err := strconv.ParseFloat(text, 64)
		if err != nil || !(s > 0) || s > MostS {
			return false, in.bad(i, "%.40q is not a standard deviation; write seconds above nought, as 0.1", text)
		}
		row.SDS = s
	}
	text, i := in.cell(cells, columnKnown)
	switch strings.ToLower(text) {
	case "yes":
		row.UTCKnown = true
	case "", "no":
	default:
		return false, in.bad(i, "%.40q is neither yes nor no", text)
	}
	if bad := in.event(cells, when); bad != nil {
		return false, bad
	}
	if bad := in.readings(cells, &row); bad != nil {
		return false, bad
	}
	in.book.Rows = append(in.book.Rows, row)
	return true, nil
}

// event reads a move of hands.
func (in *reader) event(cells []string, when time.Time) *Mistake {
	text, i := in.cell(cells, columnEvent)
	if text == "" {
		return nil
	}
	at := strings.LastIndex(text, movedHands)
	if at < 0 {
		return in.bad(i, "%.60q is no event of a book; write NUMBER hands moved +60", text)
	}
	name := strings.TrimPrefix(text[:at], "no. ")
	moved, err := strconv.ParseFloat(strings.TrimSpace(text[at+len(movedHands):]), 64)
	if err != nil || math.IsNaN(moved) || math.Abs(moved) > MostS {
		return in.bad(i, "%.60q does not say by how many seconds; write NUMBER hands moved +60", text)
	}
	for p, known := range in.book.Names {
		if known == name {
			in.moved[p] += moved
			in.book.Steps = append(in.book.Steps, Step{Name: name, At: when, MovedS: moved})
			return nil
		}
	}
	return in.bad(i, "%.40q is not in the header; write the number as it stands there", name)
}

// readings reads the dials or errors of a row.
func (in *reader) readings(cells []string, row *Row) *Mistake {
	dials, errs := 0, 0
	isDial := make([]bool, len(in.place))
	for p, i := range in.place {
		row.ErrorS[p] = math.NaN()
		if i >= len(cells) || cells[i] == "" {
			continue
		}
		if strings.Contains(cells[i], ":") {
			reading, err := clock.ParseDial(cells[i])
			if err != nil {
				return in.bad(i, "%w", err)
			}
			dials++
			isDial[p] = true
			row.ErrorS[p] = float64(clock.TwelveHour.Error(reading, row.At, 0))
		} else {
			e, err := strconv.ParseFloat(cells[i], 64)
			if err != nil || math.IsNaN(e) || math.Abs(e) > MostS {
				return in.bad(i, "%.40q is neither a dial nor an error; write h:mm:ss.s, or seconds", cells[i])
			}
			errs++
			row.ErrorS[p] = e
		}
		if dials > 0 && errs > 0 && !row.UTCKnown {
			return in.bad(i, "the row has dials and errors, which compare only if utc is known; write one of the two")
		}
	}
	in.unwrap(row, isDial)
	return nil
}

// standardKey stands for the standard in reader.near.
const standardKey = -1

// unwrap takes each dial at the turn of 12 hours that brings it nearest to its
// error before, where utc is known, or to its difference from another
// instrument before.
func (in *reader) unwrap(row *Row, isDial []bool) {
	e := row.ErrorS
	for p := range e {
		if math.IsNaN(e[p]) {
			continue
		}
		if before, ok := in.near[[2]int{standardKey, p}]; ok && row.UTCKnown && isDial[p] {
			e[p] = float64(clock.Nearest(clock.DialError(e[p]), clock.DialError(before+in.moved[p]), clock.TwelveHour.Modulus()))
			continue
		}
		for o := range p {
			before, ok := in.near[[2]int{o, p}]
			if !ok && !math.IsNaN(e[o]) {
				before, ok = 0, true
			}
			if !math.IsNaN(e[o]) && ok && isDial[p] {
				want := e[o] - in.moved[o] + before + in.moved[p]
				e[p] = float64(clock.Nearest(clock.DialError(e[p]), clock.DialError(want), clock.TwelveHour.Modulus()))
				break
			}
		}
	}
	for p := range e {
		if row.UTCKnown && !math.IsNaN(e[p]) {
			in.near[[2]int{standardKey, p}] = e[p] - in.moved[p]
		}
		for o := range p {
			if d := e[p] - in.moved[p] - (e[o] - in.moved[o]); !math.IsNaN(d) {
				in.near[[2]int{o, p}] = d
			}
		}
	}
}

package ratebook

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"strings"

	"timeball/internal/chronometer"
	"timeball/internal/timescale"
)

const wanted = "write CSV with a header that has utc and dial or error_s"

// Read returns the book that a comparison file holds, or an *Error and
// nothing. Semicolons or tabs may stand for the commas, and decimal commas
// for points where commas do not part the cells; Remarks says so.
func Read(r io.Reader) (Book, error) { return read(r, MaxRows, maxFile) }

func read(r io.Reader, mostRows int, mostBytes int64) (Book, error) {
	in := &reader{s: newScanner(r, mostBytes), most: mostRows, interned: map[string]string{}}
	if err := in.header(); err != nil {
		return Book{}, err
	}
	if err := in.rows(); err != nil {
		return Book{}, err
	}
	if err := in.order(); err != nil {
		return Book{}, err
	}
	in.remarkOnForm()
	in.dialHours()
	in.book.Comments = in.s.comments
	return in.book, nil
}

// reader reads one file.
type reader struct {
	s        *scanner
	most     int          // rows that a file may have
	at       [columns]int // index of the cell of a column, -1 if there is none
	titles   []string     // the header
	book     Book
	interned map[string]string // observers and standards, which repeat
	cells    []cell
	line     int
	comma    int // the first line with a decimal comma
	point    int // the first line with a decimal point
	cut      int // the last line if it is short and has no line end
}

func whole(format string, args ...any) *Error { return &Error{Err: fmt.Errorf(format, args...)} }

// header reads as far as the names of the columns.
func (in *reader) header() *Error {
	head, err := in.s.r.Peek(512)
	if len(head) == 0 {
		if err != nil && err != io.EOF {
			return whole("the file cannot be read: %w; try again from a whole copy", err)
		}
		return whole("the file is empty; %s", wanted)
	}
	if bytes.HasPrefix(head, byteOrderMark) {
		in.s.take(len(byteOrderMark))
		head = head[len(byteOrderMark):]
	}
	switch kind := otherKind(head); kind {
	case "":
	case utf16Text:
		return whole("the file is %s; write it again as CSV in UTF-8", kind)
	default:
		return whole("this looks like %s, not like a comparison file; %s", kind, wanted)
	}
	row, line, err := in.s.next()
	if err == io.EOF {
		return whole("the file has no header and no rows; %s", wanted)
	}
	if err != nil {
		return &Error{Line: line, Err: err}
	}
	in.line = line
	return in.titlesOf(row)
}

// titlesOf chooses what parts the cells, by which most columns are known.
func (in *reader) titlesOf(row string) *Error {
	most := 0
	var titles []cell
	for _, d := range []byte{',', ';', '\t'} {
		cells, why := split(row, d, nil)
		if why != "" {
			continue
		}
		known := 0
		for _, c := range cells {
			if _, ok := columnNamed(c.text); ok {
				known++
			}
		}
		if known > most {
			most, titles, in.s.delimiter = known, cells, d
		}
	}
	if most == 0 {
		return in.noHeader(row)
	}
	for c := range in.at {
		in.at[c] = -1
	}
	for i, cell := range titles {
		in.titles = append(in.titles, cell.text)
		if cell.text == "" {
			continue
		}
		c, ok := columnNamed(cell.text)
		if !ok {
			return in.bad("", "column %.40q is not known; write one of: %s", cell.text, strings.Join(names[:], ", "))
		}
		if in.at[c] >= 0 {
			return in.bad("", "column %s stands twice in the header; write it once", c)
		}
		in.at[c] = i
	}
	if in.at[colUTC] < 0 {
		return in.bad("", "the header has no column utc; write utc and dial or error_s")
	}
	if in.at[colDial] < 0 && in.at[colError] < 0 {
		return in.bad("", "the header has neither dial nor error_s; write the column that holds the readings")
	}
	return nil
}

// noHeader says why the first row is no header.
func (in *reader) noHeader(row string) *Error {
	first, _, _ := strings.Cut(strings.NewReplacer(";", ",", "\t", ",", `"`, "").Replace(row), ",")
	if len(first) >= 10 && first[4] == '-' && first[7] == '-' {
		return in.bad("", "the file begins with a reading and has no header; write utc,dial or utc,error_s in a line before it")
	}
	return in.bad("", "%.40q is no header of a comparison file; %s", row, wanted)
}

func (in *reader) bad(col string, format string, args ...any) *Error {
	return &Error{Line: in.line, Column: col, Err: fmt.Errorf(format, args...)}
}

// rows reads all rows; of bad ones it keeps the first and counts the others.
func (in *reader) rows() *Error {
	var first *Error
	for {
		text, line, err := in.s.next()
		if err == io.EOF {
			break
		}
		if err != nil {
			if first == nil {
				first = &Error{Line: line, Err: err}
			}
			return first // what follows is no longer rows
		}
		in.line = line
		row, bad := in.row(text)
		switch {
		case bad != nil && first == nil:
			first, in.book.Rows = bad, nil
		case bad != nil:
			first.More++
		case first == nil && len(row.Facts) > 0:
			in.book.Rows = append(in.book.Rows, row)
		}
		if len(in.book.Rows) > in.most {
			return in.bad("", "the file has more than %d rows; split it by year", in.most)
		}
		if first != nil && (in.s.broken || first.More == mostMore) {
			return first
		}
	}
	if first != nil {
		return first
	}
	if len(in.book.Rows) == 0 {
		return whole("the file has a header and no rows; write one reading or event a line")
	}
	return nil
}

// row returns one row, without facts if all its cells are empty.
func (in *reader) row(text string) (Row, *Error) {
	cells, why := split(text, in.s.delimiter, in.cells)
	in.cells = cells
	if why != "" {
		col := ""
		if i := len(cells) - 1; i < len(in.titles) {
			col = strings.ToLower(in.titles[i])
		}
		return Row{}, in.bad(col, "the cell %s", why)
	}
	filled := 0
	for i, c := range cells {
		if c.text == "" {
			continue
		}
		filled++
		if i >= len(in.titles) {
			return Row{}, in.bad("", "the row has %d cells and the header %d; write decimals with a point, and put a text that holds the separator in quotation marks", len(cells), len(in.titles))
		}
		if in.titles[i] == "" {
			return Row{}, in.bad("", "cell %d holds %.40q under no column name; name the column in the header", i+1, c.text)
		}
	}
	if filled == 0 {
		return Row{}, nil
	}
	if in.s.end == "" && len(cells) < len(in.titles) {
		in.cut = in.line
	}
	at, err := timescale.Parse(in.text(colUTC))
	if err != nil {
		return Row{}, in.bad("utc", "%w", err)
	}
	row := Row{Line: in.line, At: at, By: in.intern(unguard(in.text(colObserver)))}
	if bad := in.facts(&row); bad != nil {
		return Row{}, bad
	}
	for _, f := range row.Facts {
		if err := check(f); err != nil {
			return Row{}, in.bad("", "%w", err)
		}
	}
	return row, nil
}

// text returns the cell of a column, empty if it has none; only free text
// keeps the spaces that stand within its quotation marks.
func (in *reader) text(c column) string {
	i := in.at[c]
	if i < 0 || i >= len(in.cells) {
		return ""
	}
	if c.free() {
		return in.cells[i].text
	}
	return strings.TrimSpace(in.cells[i].text)
}

// intern returns a text that is kept once however often it stands in the file.
func (in *reader) intern(text string) string {
	if text == "" {
		return ""
	}
	if kept, ok := in.interned[text]; ok {
		return kept
	}
	kept := strings.Clone(text)
	if len(in.interned) < 10_000 {
		in.interned[kept] = kept
	}
	return kept
}

// check returns the rule of the logbook that a fact breaks.
func check(f chronometer.Fact) error {
	const id = "00000000000000000000000000"
	e := chronometer.Entry{ID: id, Subject: id, At: timescale.Expires, Written: timescale.Expires, By: "-", Fact: f}
	return e.Check()
}

// remarkOnForm says what of the file's form was not plain.
func (in *reader) remarkOnForm() {
	remark := func(format string, args ...any) {
		in.book.Remarks = append(in.book.Remarks, fmt.Sprintf(format, args...))
	}
	switch in.s.delimiter {
	case ';':
		remark("the cells are parted by semicolons")
	case '\t':
		remark("the cells are parted by tabs")
	}
	if in.comma > 0 {
		remark("decimal commas are read as points, first in line %d", in.comma)
	}
	if in.cut > 0 {
		remark("line %d, the last, has no line end and fewer cells than the header; see whether the file was cut off", in.cut)
	}
}

var errNothing = errors.New("the row says nothing but its time; write a reading or an event, or take the row out")

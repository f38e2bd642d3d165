package ratebook

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"io"
	"strings"
	"unicode/utf8"
)

// cell is one cell of a row.
type cell struct {
	text   string // without its quotation marks; trimmed if it has none
	quoted bool
}

// scanner cuts a file into rows; it holds one row at a time.
type scanner struct {
	r         *bufio.Reader
	line      int    // lines read
	bytes     int64  // bytes read
	end       string // how the last line ended: "\n", "\r\n", "\r" or "" at the end of the file
	broken    bool   // a quotation mark is never closed: what follows is no longer rows
	buf       []byte
	comments  []string
	delimiter byte
	most      int64 // bytes that a file may have
}

func newScanner(r io.Reader, most int64) *scanner {
	return &scanner{r: bufio.NewReaderSize(r, 32<<10), delimiter: ',', most: most}
}

// errTooLong says that a row has no end within maxRow.
var errTooLong = fmt.Errorf("the line is longer than %d kB, so this is no comparison file; write one reading a line", maxRow>>10)

// readLine appends the next line to the buffer.
func (s *scanner) readLine() error {
	s.end = ""
	for read := false; ; read = true {
		if _, err := s.r.Peek(1); err != nil {
			if err != io.EOF {
				return fmt.Errorf("the file cannot be read further: %w; try again from a whole copy", err)
			}
			if !read {
				return io.EOF
			}
			s.line++
			return nil
		}
		chunk, _ := s.r.Peek(s.r.Buffered())
		n := lineEnd(chunk)
		found := n >= 0
		if !found {
			n = len(chunk)
		}
		if len(s.buf)+n > maxRow {
			s.line++
			return errTooLong
		}
		s.buf = append(s.buf, chunk[:n]...)
		s.take(n)
		if !found {
			continue
		}
		s.line++
		first, _ := s.r.ReadByte()
		s.bytes++
		s.end = string(first)
		if next, err := s.r.Peek(1); first == '\r' && err == nil && next[0] == '\n' {
			s.take(1)
			s.end = "\r\n"
		}
		if s.bytes > s.most {
			return fmt.Errorf("the file is larger than %d MB; split it by year", s.most>>20)
		}
		return nil
	}
}

func (s *scanner) take(n int) {
	_, _ = s.r.Discard(n)
	s.bytes += int64(n)
}

// lineEnd returns the index of the first CR or LF, -1 if there is none.
func lineEnd(b []byte) int {
	lf := bytes.IndexByte(b, '\n')
	if lf >= 0 {
		b = b[:lf]
	}
	if cr := bytes.IndexByte(b, '\r'); cr >= 0 {
		return cr
	}
	return lf
}

// next returns the text of the next row and the line on which it begins;
// comments and blank lines are passed over. A row goes on over the line end
// while a quotation mark is open. It returns io.EOF after the last row.
func (s *scanner) next() (row string, line int, err error) {
	for {
		s.buf = s.buf[:0]
		if err := s.readLine(); err != nil {
			return "", s.line, err
		}
		line = s.line
		text := bytes.TrimSpace(s.buf)
		if err := s.sound(0); err != nil && (len(text) == 0 || text[0] != '#' || bytes.IndexByte(text, 0) >= 0) {
			return "", line, err
		}
		if len(text) == 0 {
			continue
		}
		if text[0] == '#' {
			if len(s.comments) < mostKept {
				s.comments = append(s.comments, strings.ToValidUTF8(string(bytes.TrimSpace(text[1:])), "\uFFFD"))
			}
			continue
		}
		for odd := bytes.Count(s.buf, quote)%2 == 1; odd; {
			s.buf = append(s.buf, s.end...)
			from := len(s.buf)
			switch err := s.readLine(); {
			case err == io.EOF, errors.Is(err, errTooLong):
				// split finds the cell whose quotation mark is open.
				s.broken = true
				return string(s.buf), line, nil
			case err != nil:
				return "", s.line, err
			}
			if err := s.sound(from); err != nil {
				return "", s.line, err
			}
			odd = bytes.Count(s.buf[from:], quote)%2 == 0
		}
		return string(s.buf), line, nil
	}
}

var quote = []byte{'"'}

// sound returns an error if the buffer from an index on is no text.
func (s *scanner) sound(from int) error {
	if bytes.IndexByte(s.buf[from:], 0) >= 0 {
		return errors.New("the line holds a NUL byte, so the file is damaged or no text; write it again as CSV in UTF-8")
	}
	if !utf8.Valid(s.buf[from:]) {
		return errors.New("the line holds letters that are not UTF-8; write the file again as CSV in UTF-8")
	}
	return nil
}

// split returns the cells of a row. If why is not empty, the last cell is
// wrongly quoted.
func split(row string, delimiter byte, cells []cell) (_ []cell, why string) {
	cells = cells[:0]
	for i := 0; ; {
		start := i
		for start < len(row) && row[start] == ' ' {
			start++
		}
		if start == len(row) || row[start] != '"' {
			stop := strings.IndexByte(row[i:], delimiter)
			last := stop < 0
			if last {
				stop = len(row) - i
			}
			text := row[i : i+stop]
			cells = append(cells, cell{text: strings.TrimSpace(text)})
			if strings.IndexByte(text, '"') >= 0 {
				return cells, "has a quotation mark within it; put the whole cell in quotation marks and double those within"
			}
			if last {
				return cells, ""
			}
			i += stop + 1
			continue
		}
		stop, doubled := closing(row, start+1)
		if stop < 0 {
			return append(cells, cell{}), "begins with a quotation mark that is never closed; close it, or double it if it belongs to the text"
		}
		text := row[start+1 : stop]
		if doubled {
			text = strings.ReplaceAll(text, `""`, `"`)
		}
		cells = append(cells, cell{text: text, quoted: true})
		for i = stop + 1; i < len(row) && row[i] == ' '; i++ {
		}
		if i == len(row) {
			return cells, ""
		}
		if row[i] != delimiter {
			return cells, "goes on after its closing quotation mark; double the quotation marks within the text"
		}
		i++
	}
}

// closing returns the index of the quotation mark that closes a cell, -1 if
// there is none, and whether doubled ones stand before it.
func closing(row string, from int) (at int, doubled bool) {
	for i := from; i < len(row); i++ {
		if row[i] != '"' {
			continue
		}
		if i+1 < len(row) && row[i+1] == '"' {
			doubled = true
			i++
			continue
		}
		return i, doubled
	}
	return -1, doubled
}

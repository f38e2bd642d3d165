package ratebook

import (
	"errors"
	"strconv"
	"strings"

	"timeball/internal/chronometer"
	"timeball/internal/clock"
)

// interval is what a column of numbers may hold; the logbook's own rules are
// checked as well.
type interval struct {
	lo, hi float64
	unit   string
	like   string // what to write
}

var intervals = map[column]interval{
	colError:      {-1e6, 1e6, "s", "write dial minus UTC in seconds, such as +12.9"},
	colSD:         {0, 600, "s", "write one standard deviation in seconds, such as 0.1"},
	colStandardSD: {0, 600, "s", "write one standard deviation in seconds, such as 0.02"},
	colTemp:       {-60, 80, "°C", "write degrees Celsius, such as 18.5"},
	colWound:      {0, 1000, "h", "write hours since it was wound, such as 3.5"},
}

// facts fills in what the row tells, in the order in which it holds.
func (in *reader) facts(row *Row) *Error {
	temp, bad := in.number(colTemp)
	if bad != nil {
		return bad
	}
	position, err := chronometer.ParsePosition(in.text(colPosition))
	if err != nil {
		return in.bad("position", "%w", err)
	}
	reading, bad := in.reading(temp, position)
	if bad != nil {
		return bad
	}
	about := surroundings{note: strings.Clone(unguard(in.text(colNote))), position: position, tempC: temp, decimalComma: in.s.delimiter != ','}
	text := in.text(colEvent)
	event, err := readEvent(text, about)
	switch {
	case err != nil:
		return in.bad("event", "%w", err)
	case event.kind == chronometer.KindCompared && reading == nil:
		return in.bad("event", "%.40q stands in a row without a reading; write dial or error_s", text)
	case event.kind == chronometer.KindCompared:
		text = ""
	}
	if text == "" {
		return in.plain(row, reading, about)
	}
	if reading != nil && event.readingFirst() {
		row.Facts = append(row.Facts, *reading, event.fact)
		return nil
	}
	row.Facts = append(row.Facts, event.fact)
	switch {
	case reading != nil:
		row.Facts = append(row.Facts, *reading)
	case !event.tookPosition && position != "" && !event.tookTemp:
		row.Facts = append(row.Facts, chronometer.Placed{Position: position, TempC: temp})
	case !event.tookPosition && position != "":
		row.Facts = append(row.Facts, chronometer.Placed{Position: position})
	case !event.tookTemp && temp != nil:
		row.Facts = append(row.Facts, chronometer.Temperature{TempC: *temp})
	}
	return nil
}

// plain fills in a row without an event.
func (in *reader) plain(row *Row, reading *chronometer.Compared, about surroundings) *Error {
	switch {
	case reading != nil:
		reading.Note = about.note
		row.Facts = []chronometer.Fact{*reading}
	case about.position != "":
		row.Facts = []chronometer.Fact{chronometer.Placed{Position: about.position, TempC: about.tempC, Note: about.note}}
	case about.tempC != nil:
		row.Facts = []chronometer.Fact{chronometer.Temperature{TempC: *about.tempC, Note: about.note}}
	case strings.TrimSpace(about.note) != "":
		row.Facts = []chronometer.Fact{chronometer.Note{Text: about.note}}
	default:
		return in.bad("", "%w", errNothing)
	}
	return nil
}

// reading returns the comparison of the row, nil if it has none.
func (in *reader) reading(temp *float64, position chronometer.Position) (*chronometer.Compared, *Error) {
	dial, err := in.text(colDial), in.text(colError)
	if dial == "" && err == "" {
		for _, c := range []column{colSD, colMethod, colStandard, colStandardSD, colWound} {
			if in.text(c) != "" {
				return nil, in.bad(c.String(), "%.40q belongs to a reading, and the row has none; write dial or error_s, or leave the cell empty", in.text(c))
			}
		}
		return nil, nil
	}
	if dial != "" && err != "" {
		return nil, in.bad("error_s", "the row has a dial reading too; write one of the two")
	}
	var c chronometer.Compared
	if dial != "" {
		r, bad := in.dial(dial)
		if bad != nil {
			return nil, bad
		}
		c = chronometer.ReadDial(r)
	} else {
		v, bad := in.number(colError)
		if bad != nil {
			return nil, bad
		}
		c.ErrorS = v
	}
	var bad *Error
	if c.SDS, bad = in.doubt(colSD); bad != nil {
		return nil, bad
	}
	if c.StandardSD, bad = in.doubt(colStandardSD); bad != nil {
		return nil, bad
	}
	if c.WoundH, bad = in.number(colWound); bad != nil {
		return nil, bad
	}
	if c.Method, bad = in.method(); bad != nil {
		return nil, bad
	}
	c.Observer = in.intern(unguard(in.text(colObserver)))
	c.Standard = in.intern(unguard(in.text(colStandard)))
	c.TempC, c.Position = temp, position
	return &c, nil
}

// dial returns a dial reading, whose seconds may have a decimal comma where
// commas do not part the cells.
func (in *reader) dial(text string) (clock.DialReading, *Error) {
	text, bad := in.decimal(colDial, text)
	if bad != nil {
		return 0, bad
	}
	r, err := clock.ParseDial(text)
	if err != nil {
		return 0, in.bad("dial", "%w", err)
	}
	return r, nil
}

// doubt returns a standard deviation, 0 if the cell is empty.
func (in *reader) doubt(c column) (float64, *Error) {
	v, bad := in.number(c)
	if bad != nil || v == nil {
		return 0, bad
	}
	if *v == 0 && c == colSD {
		return 0, in.bad(c.String(), "%s is nought, and no reading is without doubt; write one standard deviation in seconds, or nothing for the usual one of the method", in.text(c))
	}
	return *v, nil
}

func (in *reader) method() (chronometer.Method, *Error) {
	text := strings.Join(strings.Fields(in.text(colMethod)), " ")
	if text == "" {
		return "", nil
	}
	for _, m := range chronometer.Method("").Choices() {
		if strings.EqualFold(m, text) {
			return chronometer.Method(m), nil
		}
	}
	return "", in.bad("method", "%.40q is not known; write one of: %s", text, strings.Join(chronometer.Method("").Choices(), ", "))
}

// number returns the number of a cell, nil if it is empty.
func (in *reader) number(c column) (*float64, *Error) {
	text := in.text(c)
	if text == "" {
		return nil, nil
	}
	within := intervals[c]
	point, bad := in.decimal(c, text)
	if bad != nil {
		return nil, bad
	}
	v, ok := parseNumber(point)
	if !ok {
		return nil, in.bad(c.String(), "%.40q is no number; %s", text, within.like)
	}
	if v < within.lo || v > within.hi {
		return nil, in.bad(c.String(), "%.40q is outside %s to %s %s; %s", text, shortest(within.lo), shortest(within.hi), within.unit, within.like)
	}
	return &v, nil
}

// decimal returns text with a decimal point. A file that uses both comma and
// point is refused, because one of them may part the thousands.
func (in *reader) decimal(c column, text string) (string, *Error) {
	comma, point := strings.Contains(text, ","), strings.Contains(text, ".")
	if !comma && !point {
		return text, nil
	}
	switch {
	case comma && in.s.delimiter == ',':
		return "", in.bad(c.String(), "%.40q has a decimal comma in a file whose cells are parted by commas; write a point", text)
	case comma && point, comma && in.point > 0, point && in.comma > 0:
		other := in.point + in.comma
		if comma && point {
			other = in.line
		}
		return "", in.bad(c.String(), "%.40q: commas and points both stand in numbers (see line %d), so one of them may part the thousands; write points only", text, other)
	case comma:
		if in.comma == 0 {
			in.comma = in.line
		}
		return strings.Replace(text, ",", ".", 1), nil
	case in.point == 0:
		in.point = in.line
	}
	return text, nil
}

// parseNumber reads digits with a sign, a point and an exponent; NaN, Inf,
// hexadecimal digits and underscores are no numbers. A true minus sign stands
// for the hyphen.
func parseNumber(text string) (float64, bool) {
	text = strings.Replace(strings.TrimSpace(text), "\u2212", "-", 1)
	if text == "" || len(text) > 400 || strings.Trim(text, "+-.eE0123456789") != "" {
		return 0, false
	}
	v, err := strconv.ParseFloat(text, 64)
	return v, err == nil || errors.Is(err, strconv.ErrRange)
}

// shortest returns v in the fewest digits that read back as v.
func shortest(v float64) string {
	if v == 0 {
		return "0"
	}
	if v < 1e-6 && v > -1e-6 {
		return strconv.FormatFloat(v, 'e', -1, 64)
	}
	return strconv.FormatFloat(v, 'f', -1, 64)
}

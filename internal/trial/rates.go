package trial

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
	"unicode/utf8"

	"timeball/internal/trial/programme"
)

// ErrRates marks a file of daily rates that is refused: nothing of it was read.
var ErrRates = errors.New("the rates are refused")

// Limits of a file of rates.
const (
	maxRates   = 1 << 20 // bytes
	mostNumber = 10000   // of a day
	mostRate   = 3600.0  // s/d
)

// columns of a file of rates.
var columnNames = []string{"day", "date", "rate_s_per_day", "sd_s_per_day", "temp_c", "position"}

const wantedRates = "write CSV with a header that has day or date, and rate_s_per_day"

// ReadRates returns the days that a file of daily rates holds, in order, and
// remarks on how it was read. The file is CSV with a header: day (a whole
// number from 1) or date (the first date is day 1), rate_s_per_day (+ gaining),
// and if known sd_s_per_day, temp_c (°C) and position (in words or as a symbol
// of ISO 3158). Lines that begin with # are comments; semicolons or tabs may
// stand for commas, and then decimal commas for points. A day whose rate is
// empty, or that is left out, is not known. Without a doubt a rate has that of
// its last digit. An error wraps ErrRates and names line and column.
func ReadRates(r io.Reader) ([]Day, []string, error) {
	text, err := io.ReadAll(io.LimitReader(r, maxRates+1))
	if err != nil {
		return nil, nil, fmt.Errorf("%w: the file cannot be read: %w; try again from a whole copy", ErrRates, err)
	}
	text = bytes.TrimPrefix(text, []byte("\xef\xbb\xbf"))
	switch {
	case len(text) > maxRates:
		return nil, nil, fmt.Errorf("%w: the file is larger than %d kB; a trial has at most %d days", ErrRates, maxRates>>10, programme.MaxDays)
	case !utf8.Valid(text) || bytes.IndexByte(text, 0) >= 0:
		return nil, nil, fmt.Errorf("%w: the file is no text in UTF-8; write it again as CSV in UTF-8", ErrRates)
	}
	in := rateFile{at: map[string]int{}}
	if err := in.read(text); err != nil {
		return nil, nil, fmt.Errorf("%w: %w", ErrRates, err)
	}
	return in.filled(), in.remarks(), nil
}

// rateFile is a file of rates being read.
type rateFile struct {
	at      map[string]int // index of each column
	comma   bool           // decimal commas may stand
	days    []Day
	lines   map[int]int // the line of each day
	first   time.Time   // date of day 1
	commas  int         // numbers with a decimal comma
	rounded int         // days with the doubt of their last digit
}

// spot says what is wrong where.
func spot(line int, column, format string, args ...any) error {
	where := fmt.Sprintf("line %d", line)
	if column != "" {
		where += ", column " + column
	}
	return fmt.Errorf("%s: %w", where, fmt.Errorf(format, args...))
}

func (in *rateFile) read(text []byte) error {
	// Every comment is emptied, so that lines keep their numbers and a quotation
	// mark in a comment opens nothing.
	lines := strings.Split(strings.NewReplacer("\r\n", "\n", "\r", "\n").Replace(string(text)), "\n")
	header := -1
	for i, line := range lines {
		switch trimmed := strings.TrimSpace(line); {
		case strings.HasPrefix(trimmed, "#"):
			lines[i] = ""
		case trimmed != "" && header < 0:
			header = i
		}
	}
	if header < 0 {
		return fmt.Errorf("the file has no header and no rows; %s", wantedRates)
	}
	delimiter := ','
	for _, d := range ",;\t" {
		if strings.Count(lines[header], string(d)) > strings.Count(lines[header], string(delimiter)) {
			delimiter = d
		}
	}
	in.comma = delimiter != ','
	c := csv.NewReader(strings.NewReader(strings.Join(lines, "\n")))
	c.Comma, c.FieldsPerRecord, c.TrimLeadingSpace = delimiter, -1, delimiter != '\t'
	width, seen := 0, false
	in.lines = map[int]int{}
	for {
		row, err := c.Read()
		if err == io.EOF {
			break
		}
		var parse *csv.ParseError
		if errors.As(err, &parse) {
			return spot(parse.Line, "", "a quotation mark stands where none can; put the whole cell in quotation marks or leave them out")
		}
		if err != nil {
			return err
		}
		line, _ := c.FieldPos(0)
		for i := range row {
			row[i] = strings.TrimSpace(row[i])
		}
		switch {
		case !seen:
			if err := in.header(line, row); err != nil {
				return err
			}
			width, seen = len(row), true
			continue
		case len(row) > width:
			return spot(line, "", "the row has %d cells and the header %d; write one cell for each column (decimal commas need semicolons between cells)", len(row), width)
		case strings.Join(row, "") == "":
			continue
		}
		if err := in.row(line, row); err != nil {
			return err
		}
	}
	if len(in.days) == 0 {
		return fmt.Errorf("the file has a header and no rows; write one row for each day")
	}
	return nil
}

func (in *rateFile) header(line int, row []string) error {
	for i, name := range row {
		name = strings.ToLower(name)
		known := false
		for _, c := range columnNames {
			known = known || c == name
		}
		switch _, twice := in.at[name]; {
		case name == "":
			return spot(line, "", "column %d has no name; write one of: %s", i+1, strings.Join(columnNames, ", "))
		case !known:
			return spot(line, "", "column %.40q is not known%s; write one of: %s", name, programme.Perhaps(name, columnNames), strings.Join(columnNames, ", "))
		case twice:
			return spot(line, "", "column %s stands twice in the header; write it once", name)
		}
		in.at[name] = i
	}
	_, day := in.at["day"]
	_, date := in.at["date"]
	_, rate := in.at["rate_s_per_day"]
	switch {
	case !rate:
		return spot(line, "", "the header has no column rate_s_per_day; %s", wantedRates)
	case day == date:
		return spot(line, "", "the header needs one of day and date and not both; %s", wantedRates)
	}
	return nil
}

// cell returns the text of a column, empty if the row has none.
func (in *rateFile) cell(row []string, column string) string {
	if i, ok := in.at[column]; ok && i < len(row) {
		return row[i]
	}
	return ""
}

func (in *rateFile) row(line int, row []string) error {
	number, err := in.number(line, row)
	if err != nil {
		return err
	}
	d := Day{Number: number}
	if n := len(in.days); n > 0 && in.days[n-1].Number >= number {
		column := "day"
		if _, ok := in.at["day"]; !ok {
			column = "date"
		}
		if in.days[n-1].Number == number {
			return spot(line, column, "it is that of line %d too; write each day once", in.lines[number])
		}
		return spot(line, column, "it comes after a later one; write the days in order")
	}
	in.lines[number] = line
	rate, decimals, err := in.decimal(line, row, "rate_s_per_day", -mostRate, mostRate, "s/d, + gaining, such as -0.8")
	if err != nil {
		return err
	}
	sd, _, err := in.decimal(line, row, "sd_s_per_day", 0, mostRate, "s/d, one standard deviation, such as 0.1")
	if err != nil {
		return err
	}
	if d.TempC, _, err = in.decimal(line, row, "temp_c", -60, 80, "degrees Celsius, such as 18.5"); err != nil {
		return err
	}
	if d.Position, err = programme.Position(in.cell(row, "position")); err != nil {
		return spot(line, "position", "%w", err)
	}
	switch {
	case rate == nil && sd != nil:
		return spot(line, "sd_s_per_day", "there is no rate for this doubt; write the rate or leave the cell empty")
	case rate == nil:
		d.Why = "its rate is left empty"
	case sd == nil:
		d.Known, d.RateSPerDay = true, *rate
		// A figure rounded to a digit may be anywhere within half of it.
		d.SDS = math.Pow(10, -float64(decimals)) / math.Sqrt(12)
		in.rounded++
	case *sd == 0:
		return spot(line, "sd_s_per_day", "nought is written, and no rate is without doubt; write one standard deviation, or nothing")
	default:
		d.Known, d.RateSPerDay, d.SDS = true, *rate, *sd
	}
	in.days = append(in.days, d)
	return nil
}

// number returns the number of the day of a row.
func (in *rateFile) number(line int, row []string) (int, error) {
	if _, ok := in.at["day"]; ok {
		text := in.cell(row, "day")
		n, err := strconv.Atoi(text)
		if err != nil || n < 1 || n > mostNumber {
			return 0, spot(line, "day", "%.40q is no whole number from 1 to %d; write the number of the day", text, mostNumber)
		}
		return n, nil
	}
	text := in.cell(row, "date")
	at, err := time.Parse(time.DateOnly, text)
	if err != nil {
		return 0, spot(line, "date", "%.40q is no date; write year, month and day such as 2025-03-01", text)
	}
	if in.first.IsZero() {
		in.first = at
	}
	n := int(math.Round(at.Sub(in.first).Hours()/24)) + 1
	if n < 1 {
		return 0, spot(line, "date", "it is before that of the first row; write the days in order")
	}
	if n > mostNumber {
		return 0, spot(line, "date", "it is %d days after the first; a trial has at most %d", n-1, programme.MaxDays)
	}
	return n, nil
}

// decimal returns the number of a cell, nil if it is empty, and how many
// decimals it was written with.
func (in *rateFile) decimal(line int, row []string, column string, lo, hi float64, write string) (*float64, int, error) {
	text := in.cell(row, column)
	if text == "" {
		return nil, 0, nil
	}
	number := strings.Replace(text, "\u2212", "-", 1)
	if in.comma && !strings.Contains(number, ".") && strings.Count(number, ",") == 1 {
		number = strings.Replace(number, ",", ".", 1)
		in.commas++
	}
	v, err := strconv.ParseFloat(number, 64)
	if err != nil || !isFinite(v) || strings.Trim(number, "+-.0123456789") != "" {
		return nil, 0, spot(line, column, "%.40q is no number; write %s", text, write)
	}
	if v < lo || v > hi {
		return nil, 0, spot(line, column, "%.40s is not from %g to %g; write %s", text, lo, hi, write)
	}
	_, after, _ := strings.Cut(number, ".")
	return &v, len(after), nil
}

// filled returns the days with those left out put in.
func (in *rateFile) filled() []Day {
	var all []Day
	for _, d := range in.days {
		for n := len(all) + 1; n < d.Number; n++ {
			all = append(all, Day{Number: n, Why: "it is not in the file"})
		}
		all = append(all, d)
	}
	return all
}

func (in *rateFile) remarks() []string {
	var remarks []string
	if in.commas > 0 {
		remarks = append(remarks, "Commas within numbers were read as decimal points.")
	}
	if in.rounded > 0 {
		remarks = append(remarks, fmt.Sprintf("%s no doubt beside the rate, and the last digit alone is taken for doubt, which is the least it can be: what is said of doubt is too little.",
			count(in.rounded, "day has", "days have")))
	}
	return remarks
}

package paper

import (
	"encoding/csv"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
	"time"

	"timeball/internal/chart/pen"
	"timeball/internal/clock"
	"timeball/internal/paper/leaf"
)

// CorrectionTable is what to add to the dial, day by day, for a voyage or a
// year.
type CorrectionTable struct {
	Size       leaf.Size // A4 if nought
	Made       time.Time // UTC
	Letterhead Letterhead
	Instrument Instrument
	For        string // the voyage, say; may be empty

	Epoch time.Time // UTC, of Error and Rate
	Error Quantity  // s
	Rate  Quantity  // s/d
	Days  []ErrorAt // in order of time, best at Noons

	// What the rate does in the warm and the cold; left out if there are no rows.
	TemperatureC float64         // the table is for this temperature, °C
	Law          []AtTemperature // Rate is how much the rate there differs from the table's, s/d, positive gaining
}

// mostDays bounds a table: ten years, day by day.
const mostDays = 3660

// Noons returns 12:00 UTC of every step-th day from the day of from to that of
// to, both included. It fails with ErrWanting if there is no such day or more
// than ten years of them.
func Noons(from, to time.Time, step int) ([]time.Time, error) {
	y, m, d := from.UTC().Date()
	last := to.UTC()
	switch {
	case from.IsZero() || to.IsZero() || last.Before(time.Date(y, m, d, 0, 0, 0, 0, time.UTC)):
		return nil, fmt.Errorf("%w: the correction table would end, %s, before it begins, %s; give a later end", ErrWanting, to.UTC().Format(time.DateOnly), from.UTC().Format(time.DateOnly))
	case step < 1 || step > 366:
		return nil, fmt.Errorf("%w: a correction every %d days is no table; say 1 for every day, at most 366", ErrWanting, step)
	}
	end := time.Date(last.Year(), last.Month(), last.Day(), 12, 0, 0, 0, time.UTC)
	var noons []time.Time
	for at := time.Date(y, m, d, 12, 0, 0, 0, time.UTC); !at.After(end); at = at.AddDate(0, 0, step) {
		if noons = append(noons, at); len(noons) > mostDays {
			return nil, fmt.Errorf("%w: the correction table would have more than %d days; give an earlier end or a longer step", ErrWanting, mostDays)
		}
	}
	return noons, nil
}

// Check returns an error that wraps ErrWanting and names what is missing.
func (c CorrectionTable) Check() error {
	if err := wanting("correction table", [2]string{"the name of the workshop", c.Letterhead.Workshop}, [2]string{"the number of the instrument", c.Instrument.Number},
		[2]string{"the day it is made", dated(c.Made)}, [2]string{"the instant of the error and rate", dated(c.Epoch)}, [2]string{"at least one day", counted(len(c.Days))}); err != nil {
		return err
	}
	for i, d := range c.Days {
		if q := d.Error; math.IsNaN(q.Mean) || math.IsInf(q.Mean, 0) || !(q.Half >= 0) || math.IsInf(q.Half, 0) {
			return fmt.Errorf("%w: the error on %s in the correction table is no number with a doubt; end the table before that day", ErrWanting, fullDay(d.At))
		}
		if i > 0 && !d.At.After(c.Days[i-1].At) {
			return fmt.Errorf("%w: %s in the correction table does not come after %s; put the days in order", ErrWanting, fullDay(d.At), fullDay(c.Days[i-1].At))
		}
	}
	return nil
}

// correctionWords returns what to do with the dial: "add 12.9 s" if it is slow
// by as much, "take off 12.9 s" if it is fast.
func correctionWords(q Quantity) string {
	words := clock.DialError(q.Mean).Words(q.Half)
	for from, to := range map[string]string{"fast ": "take off ", "slow ": "add ", "right to ": "add "} {
		if rest, ok := strings.CutPrefix(words, from); ok {
			return to + rest
		}
	}
	return words
}

// Document sets the table, the days of a month in a block of its own.
func (c CorrectionTable) Document() (*leaf.Document, error) {
	if err := c.Check(); err != nil {
		return nil, err
	}
	margins := leaf.Margins{Left: 18, Top: 20, Right: 18, Bottom: 19}
	d, f := c.Letterhead.opened("Correction table, no. "+c.Instrument.Number, c.Instrument, c.Made, c.Size, margins)
	f.Space(-3)
	f.In(leaf.TagTitle, func() { f.Words("Correction of no. "+c.Instrument.Number, leaf.Style{Face: leaf.SerifBold, Size: 17}) })
	f.Words(joined(", ", c.Instrument.Maker, c.Instrument.Description), leaf.Style{Face: leaf.SerifItalic, Size: 10})
	if of := c.Instrument.Of(); of != "" {
		f.Words("Kept by "+of, leaf.Style{Face: leaf.SerifItalic, Size: 10})
	}
	f.Space(1.5)
	f.Words(c.use(), leaf.Style{Face: leaf.Serif, Size: 9.5})
	f.Space(2)
	c.blocks(f)
	c.temperatures(f)
	f.Close("from the error and rate of " + c.Epoch.UTC().Format("2 January 2006 15:04 UTC"))
	return d, nil
}

// use says how the table is read.
func (c CorrectionTable) use() string {
	words := ""
	if c.For != "" {
		words = c.For + ". "
	}
	words += "Read the dial, and add or take off what stands beside the day: that is UTC. Each correction is for 12:00 UTC; between two take a part of their difference. " +
		"It rests on the error and rate of " + fullDay(c.Epoch) + ", " + c.Error.ErrorWords() + " and " + c.Rate.RateWords() + ", as long as the hands stand as they did: " +
		"after each minute that the minute hand has been moved forward, take off 60 s more, or add 60 s less. " +
		"Each ± is half of a 95% interval and grows with time: a comparison makes it small again."
	return words
}

// month is the days of one month.
type month struct {
	title string
	days  []ErrorAt
}

func (c CorrectionTable) months() []month {
	var out []month
	for _, d := range c.Days {
		title := d.At.UTC().Format("January 2006")
		if len(out) == 0 || out[len(out)-1].title != title {
			out = append(out, month{title: title})
		}
		m := &out[len(out)-1]
		m.days = append(m.days, d)
	}
	return out
}

// The styles of the blocks.
var (
	blockStyle = leaf.Style{Face: leaf.Sans, Size: 8}
	blockTitle = leaf.Style{Face: leaf.SerifBold, Size: 10}
)

// blockRow is the height of a day, mm.
const blockRow = 4.15

// blocks sets the months side by side, as many as there is width for, row by
// row.
func (c CorrectionTable) blocks(f *leaf.Flow) {
	months := c.months()
	words, doubt := 0.0, 0.0
	for _, d := range c.Days {
		words = max(words, leaf.Width(correctionWords(d.Error), blockStyle))
		doubt = max(doubt, leaf.Width(clock.DialError(d.Error.Mean).HalfWidth(d.Error.Half), blockStyle))
	}
	day := leaf.Width("31", blockStyle)
	const gap, between = 2.2, 7.0
	natural := day + gap + words + gap + doubt
	across := max(1, min(4, int((f.Width()+between)/(natural+between))))
	width := (f.Width() - between*float64(across-1)) / float64(across)
	for len(months) > 0 {
		n := min(across, len(months))
		high := 0
		for _, m := range months[:n] {
			high = max(high, len(m.days))
		}
		const title = 6.0
		f.Need(title + blockRow*float64(high) + 1)
		l, top := f.Leaf(), f.Y()
		f.In(leaf.TagHeading, func() { f.Words(months[0].title, blockTitle) })
		for i, m := range months[:n] {
			x := f.Left() + float64(i)*(width+between)
			right := x + min(width, natural+8)
			if i > 0 {
				l.In(leaf.TagHeading, func() { l.Block(x, top, width, m.title, blockTitle) })
			}
			l.Rule(x, top+5, right, top+5, 0.3, pen.Ink1)
			l.In(leaf.TagTable, func() {
				for k, d := range m.days {
					y := top + title + blockRow*float64(k) + 2.9
					cell := func(t leaf.Tag, right float64, words string) {
						l.In(t, func() { l.Text(right, y, words, blockStyle.At(pen.End)) })
					}
					l.In(leaf.TagRow, func() {
						cell(leaf.TagRowHead, x+day, strconv.Itoa(d.At.UTC().Day()))
						cell(leaf.TagCell, right-doubt-gap, correctionWords(d.Error))
						cell(leaf.TagCell, right, clock.DialError(d.Error.Mean).HalfWidth(d.Error.Half))
					})
					// Every fifth row is ruled off for the eye.
					if k%5 == 4 && k < len(m.days)-1 {
						l.Rule(x, y+1.15, right, y+1.15, 0.1, pen.RuleStrong)
					}
				}
			})
			bottom := top + title + blockRow*float64(len(m.days)) + 0.6
			l.Rule(x, bottom, right, bottom, 0.3, pen.Ink1)
		}
		f.Space(top + title + blockRow*float64(high) + 5 - f.Y())
		months = months[n:]
	}
}

// temperatures sets what to add for each day in the warm or the cold.
func (c CorrectionTable) temperatures(f *leaf.Flow) {
	if len(c.Law) == 0 {
		return
	}
	f.Need(22 + 6*float64(len(c.Law)))
	f.In(leaf.TagHeading, func() { f.Words("In the warm and the cold", leaf.Style{Face: leaf.SerifBold, Size: 11.5}) })
	f.Words("The table is for "+degrees(c.TemperatureC)+" °C. For each day that it was warmer or colder on the mean, change the correction of that day and of every later one by as much:", leaf.Style{Face: leaf.Serif, Size: 9.5})
	f.Space(1)
	t := leaf.Table{Size: 8, Columns: []leaf.Column{{Title: "°C", Align: leaf.Decimal, Width: 18, Heads: true}, {Title: "The rate there", Width: 52}, {Title: "For each day", Width: 40}, {Title: "±", Align: leaf.Decimal, Width: 16}}}
	for _, at := range c.Law {
		r := clock.Rate(at.Rate.Mean)
		size := r.Size(at.Rate.Half)
		there, change := "gains "+size+" more a day", "take off "+size
		switch {
		case strings.Trim(size, "0. s") == "":
			there, change = "as in the table", "nothing"
		case r < 0:
			there, change = "loses "+size+" more a day", "add "+size
		}
		t.Rows = append(t.Rows, []string{degrees(at.C), there, change, r.HalfWidth(at.Rate.Half)})
	}
	f.Table(t)
}

// CorrectionLine is one day of the table for files.
type CorrectionLine struct {
	UTC          time.Time `json:"utc"`
	ErrorS       float64   `json:"error_s"`      // positive fast
	CorrectionS  float64   `json:"correction_s"` // to add to the dial
	CorrectionSD float64   `json:"correction_sd_s"`
	Words        string    `json:"words"`
}

// Lines returns the table as figures, in order of time.
func (c CorrectionTable) Lines() []CorrectionLine {
	lines := make([]CorrectionLine, len(c.Days))
	for i, d := range c.Days {
		lines[i] = CorrectionLine{UTC: d.At.UTC(), ErrorS: milli(d.Error.Mean), CorrectionS: milli(-d.Error.Mean), CorrectionSD: milli(d.Error.Half / normal95), Words: correctionWords(d.Error)}
	}
	return lines
}

// normal95 is half the 95% interval of a normal distribution in standard
// deviations.
const normal95 = 1.959963984540054

// milli rounds to the millisecond; +0 turns -0 into 0.
func milli(s float64) float64 { return math.Round(s*1000)/1000 + 0 }

// WriteCSV writes the table as CSV with a header, a day a row. Every cell but
// the words is a plain number or an instant, and the words are our own, so
// that no spreadsheet takes one for a formula.
func (c CorrectionTable) WriteCSV(w io.Writer) error {
	if err := c.Check(); err != nil {
		return err
	}
	out := csv.NewWriter(w)
	rows := [][]string{{"utc", "error_s", "correction_s", "correction_sd_s", "words"}}
	number := func(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }
	for _, l := range c.Lines() {
		rows = append(rows, []string{l.UTC.Format(time.RFC3339), number(l.ErrorS), number(l.CorrectionS), number(l.CorrectionSD), l.Words})
	}
	if err := out.WriteAll(rows); err != nil {
		return fmt.Errorf("correction table of no. %s: %w", c.Instrument.Number, err)
	}
	return nil
}

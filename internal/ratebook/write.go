package ratebook

import (
	"bufio"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"reflect"
	"slices"
	"strings"
	"time"

	"timeball/internal/chronometer"
	"timeball/internal/clock"
)

// ErrKind marks a fact that a comparison file cannot hold.
var ErrKind = errors.New("not for a comparison file")

// FromEntries returns the entries that a comparison file can hold as rows, in
// the order of time; particulars, pictures and entries about entries are left
// out. Give it the entries that stand.
func FromEntries(entries []chronometer.Entry) []Row {
	sorted := slices.Clone(entries)
	chronometer.Sort(sorted)
	var rows []Row
	for _, e := range sorted {
		if _, no := refused[e.Kind()]; !no {
			rows = append(rows, Row{At: e.At, By: e.By, Facts: []chronometer.Fact{e.Fact}})
		}
	}
	return rows
}

// Write writes rows as a comparison file, one fact a row, in the order of
// time and with the columns that are needed. Read gives the same facts back,
// unless two readings of one instant contradict each other or a row is longer
// than 64 kB. Free text that a spreadsheet would take for a formula gets an
// apostrophe before it, which Read takes away; NUL and bytes that are not
// UTF-8 become U+FFFD. What was heard goes out without the curves of a long
// reading, which fill more than a row, and a comparison without the taps or the
// sound behind it. A fact that a comparison file cannot hold is an error
// that wraps ErrKind, before anything is written.
func Write(w io.Writer, rows []Row) error {
	sorted := slices.Clone(rows)
	slices.SortStableFunc(sorted, func(a, b Row) int { return a.At.Compare(b.At) })
	var used [columns]bool
	used[colUTC] = true
	for _, row := range sorted {
		for _, f := range row.Facts {
			if f == nil {
				return fmt.Errorf("%w: a row at %s has no fact; give it one", ErrKind, row.At.UTC().Format(time.RFC3339))
			}
			if why, no := refused[f.Kind()]; no {
				return fmt.Errorf("%w: %s at %s: %s", ErrKind, f.Kind(), row.At.UTC().Format(time.RFC3339), why)
			}
			for c, text := range written(row, f) {
				used[c] = used[c] || text != ""
			}
		}
	}
	used[colDial] = used[colDial] || !used[colError]

	out := bufio.NewWriter(w)
	cells := make([]string, 0, columns)
	line := func(all [columns]string) {
		cells = cells[:0]
		for c, text := range all {
			if used[c] {
				cells = append(cells, quoted(text))
			}
		}
		_, _ = out.WriteString(strings.Join(cells, ",") + "\n") // Flush returns the error
	}
	line(names)
	for _, row := range sorted {
		for _, f := range row.Facts {
			line(written(row, f))
		}
	}
	return out.Flush()
}

// written returns the cells of one fact.
func written(row Row, f chronometer.Fact) [columns]string {
	var cells [columns]string
	if c, ok := f.(chronometer.Compared); ok {
		cells = comparison(c)
	} else {
		cells = eventCells(f)
		cells[colObserver] = row.By
	}
	cells[colUTC] = row.At.UTC().Format(time.RFC3339Nano)
	for c := range cells {
		cells[c] = strings.ReplaceAll(strings.ToValidUTF8(cells[c], "\uFFFD"), "\x00", "\uFFFD")
		if column(c).free() {
			cells[c] = guard(cells[c])
		}
	}
	return cells
}

func comparison(c chronometer.Compared) [columns]string {
	var cells [columns]string
	if r, ok := c.Reading(); ok {
		cells[colDial] = dialText(r)
	}
	if c.ErrorS != nil {
		cells[colError] = signed(*c.ErrorS)
	}
	if c.SDS != 0 {
		cells[colSD] = shortest(c.SDS)
	}
	if c.StandardSD != 0 {
		cells[colStandardSD] = shortest(c.StandardSD)
	}
	cells[colTemp], cells[colWound] = optional(c.TempC), optional(c.WoundH)
	cells[colMethod], cells[colPosition] = string(c.Method), string(c.Position)
	cells[colObserver], cells[colStandard], cells[colNote] = c.Observer, c.Standard, c.Note
	return cells
}

// eventCells returns the cells of an event in plain words, or as an object if
// the plain words would not say all.
func eventCells(f chronometer.Fact) [columns]string {
	if l, ok := f.(chronometer.Listened); ok {
		l.Reading = nil
		f = l
	}
	for _, cells := range plainForms(f) {
		about := surroundings{note: cells[colNote], position: chronometer.Position(cells[colPosition])}
		if v, ok := parseNumber(cells[colTemp]); ok {
			about.tempC = &v
		}
		if e, err := readEvent(cells[colEvent], about); err == nil && reflect.DeepEqual(e.fact, f) {
			return cells
		}
	}
	var cells [columns]string
	text, _ := json.Marshal(f) // a fact is a struct of texts, numbers and yes or no
	cells[colEvent] = string(f.Kind()) + " " + string(text)
	return cells
}

// plainForms returns the ways to write an event in words, best first; the
// caller sees which of them reads back.
func plainForms(f chronometer.Fact) [][columns]string {
	kind := string(f.Kind())
	form := func(value, note string) [columns]string {
		var cells [columns]string
		cells[colEvent] = strings.TrimSpace(kind + " " + value)
		cells[colNote] = note
		return cells
	}
	forms := func(all ...[columns]string) [][columns]string { return all }
	switch f := f.(type) {
	case chronometer.Moved:
		return forms(form(signed(f.ByS), f.Note))
	case chronometer.Wound:
		var value string
		if f.HalfTurns != 0 {
			value = shortest(f.HalfTurns)
		}
		if f.UpDownH != nil {
			value += " " + upDown + " " + shortest(*f.UpDownH)
		}
		return forms(form(value, f.Note))
	case chronometer.Placed:
		value := f.Where
		if f.Station != "" && f.Where != "" {
			value = string(f.Station) + ", " + f.Where
		} else if f.Station != "" {
			value = string(f.Station)
		}
		cells := form(value, f.Note)
		cells[colPosition], cells[colTemp] = string(f.Position), optional(f.TempC)
		return forms(cells)
	case chronometer.Temperature:
		cells := form("", f.Note)
		cells[colTemp] = shortest(f.TempC)
		return forms(cells)
	case chronometer.Listened:
		cells := form(signed(f.RateSPerDay)+" "+ofRate+" "+shortest(f.RateSDSPerDay), f.Note)
		cells[colPosition], cells[colTemp] = string(f.Position), optional(f.TempC)
		return forms(cells)
	case chronometer.Held:
		return forms(form(string(f.With), f.Note))
	case chronometer.Received:
		return forms(form(string(f.Station), f.Note))
	case chronometer.Started:
		return forms(form(f.How, f.Note))
	case chronometer.Sent:
		return forms(form(f.To, f.Note))
	case chronometer.Stopped:
		return forms(form("", f.Why), form(f.Why, f.Note))
	case chronometer.Regulated:
		return forms(form(f.What, f.Note), form("", f.What))
	case chronometer.Carried:
		return forms(form(f.How, ""), form("", f.How))
	case chronometer.Found:
		return forms(form("", f.Condition))
	case chronometer.WorkDone:
		if f.Service {
			kind = serviced
			more := strings.TrimPrefix(strings.TrimPrefix(f.Work, serviced), ": ")
			return forms(form("", more))
		}
		return forms(form("", f.Work))
	case chronometer.Packed:
		return forms(form("", f.How))
	case chronometer.Note:
		return forms(form("", f.Text))
	case chronometer.Set:
		return forms(form("", f.Note))
	case chronometer.Released:
		return forms(form("", f.Note))
	case chronometer.FromGimbals:
		return forms(form("", f.Note))
	case chronometer.IntoGimbals:
		return forms(form("", f.Note))
	case chronometer.Cased:
		return forms(form("", f.Note))
	}
	return nil
}

// dialText writes a reading to the nanosecond, as few decimals as there are
// and at least one.
func dialText(r clock.DialReading) string {
	ns := int64(math.Round(float64(r) * 1e9))
	s := ns / 1e9
	frac := strings.TrimRight(fmt.Sprintf("%09d", ns%1e9), "0")
	if frac == "" {
		frac = "0"
	}
	return fmt.Sprintf("%d:%02d:%02d.%s", s/3600, s/60%60, s%60, frac)
}

// signed writes + before a positive number.
func signed(v float64) string {
	if v > 0 {
		return "+" + shortest(v)
	}
	return shortest(v)
}

func optional(v *float64) string {
	if v == nil {
		return ""
	}
	return shortest(*v)
}

// quoted puts a cell in quotation marks where it needs them.
func quoted(text string) string {
	if text == "" || !strings.ContainsAny(text, ",;\t\"\r\n") && strings.TrimSpace(text) == text {
		return text
	}
	return `"` + strings.ReplaceAll(text, `"`, `""`) + `"`
}

// Package chart draws the figures of the rate book: the error staff, the error
// curve, the daily rate, the residuals and the stability curve.
//
// A figure is a display list in its own units, x to the right and y downward.
// A pen puts the list on a surface: package pen has SVG for pages and letters
// for a terminal. The drawing code knows neither.
//
// Error is dial minus UTC in seconds, positive fast; rate is the change of
// error in seconds per day, positive gaining; every Lo and Hi bound a 95%
// interval. Instants are shown in UTC. A value that is not finite, or beyond
// ±1e12, and an instant outside the years 1 to 9999 are left out of the
// drawing. Words come from the caller and are escaped here.
package chart

import (
	"cmp"
	"math"
	"slices"
	"strings"
	"time"

	"timeball/internal/chart/pen"
)

// Caption names a figure and states its result for those who cannot see it.
type Caption struct {
	ID     string // unique on the page; the size is added, so that two sizes can share it
	Title  string // such as "Dial against UTC"
	Result string // one sentence: "No. 417 is fast 12.9 s ±0.2, losing 0.83 s a day."
}

// Estimate is a value at an instant with the 95% interval from Lo to Hi, in
// the unit of the figure: s, or s/d in a RateCurve.
type Estimate struct {
	At            time.Time
	Value, Lo, Hi float64
}

// Comparison is one small circle: the dial error (s), the mean rate since the
// comparison before (s/d) or the residual, as the figure says.
type Comparison struct {
	At        time.Time
	Value     float64
	PlusMinus float64 // half the 95% interval, in the unit of Value; 0 if not known
	Words     string  // what is said when it is pointed at
	Entry     string  // id of the logbook entry
	Href      string  // where it leads: a fragment "#…" or a path "/…"; anything else is dropped
	SetAside  string  // in words, why it was not used; empty if it was used
}

// Intervention is a dotted rule with its words.
type Intervention struct {
	At    time.Time
	Words string
	Entry string
	Href  string
	Steps bool // the error steps here, so no line is drawn across
}

// Size is the drawing area in units of the page, with the size of the type.
type Size struct {
	Name          string // becomes the class "chart-NAME"
	Width, Height float64
	Type          float64
	cells         bool // units are the columns and rows of a terminal
}

// Wide returns the size of a figure on a desk: 1180 by 360 with 11-unit type.
func Wide() Size { return Size{Name: "wide", Width: 1180, Height: 360, Type: 11} }

// Narrow returns the size of a figure on a telephone: 360 by 280 with 12-unit type.
func Narrow() Size { return Size{Name: "narrow", Width: 360, Height: 280, Type: 12} }

// StaffSize returns the size of an error staff in a table: 260 by 34.
func StaffSize() Size { return Size{Name: "staff", Width: 260, Height: 34, Type: 9.5} }

// sized returns s with what is missing or unusable replaced by the size of like.
func (s Size) sized(like Size) Size {
	if !usable(s.Width) || !usable(s.Height) || s.Width < 40 || s.Height < 8 {
		return like
	}
	if !usable(s.Type) || s.Type <= 0 {
		s.Type = like.Type
	}
	return s
}

// advance returns the width of words. The widths are those of a wide sans
// (DejaVu Sans, measured), so that no common face needs more room.
func (s Size) advance(words string) float64 {
	w := 0.0
	for _, r := range words {
		switch {
		case s.cells:
			w++
		case strings.ContainsRune("ijlI.,:;'|! ", r):
			w += 0.33 * s.Type
		case strings.ContainsRune("frt()-·", r):
			w += 0.42 * s.Type
		case strings.ContainsRune("mwMW—", r):
			w += 0.95 * s.Type
		case r >= 'A' && r <= 'Z':
			w += 0.70 * s.Type
		case r > 0x2e80:
			w += s.Type
		default:
			w += 0.63 * s.Type
		}
	}
	return w
}

// elide returns words cut to fit width, with an ellipsis where they were cut.
func (s Size) elide(words string, width float64) string {
	words = strings.Join(strings.Fields(words), " ")
	if s.advance(words) <= width {
		return words
	}
	letters := []rune(words)
	if len(letters) > 400 {
		letters = letters[:400]
	}
	for n := len(letters) - 1; n > 2; n-- {
		short := string(letters[:n])
		if s.advance(short+"…") > width {
			continue
		}
		if word := strings.LastIndexByte(short, ' '); word > n*3/5 && letters[n] != ' ' {
			short = short[:word]
		}
		return strings.TrimRight(short, " ,;:·") + "…"
	}
	return ""
}

// px returns n units of an 11-unit hand, scaled to the type of s.
func (s Size) px(n float64) float64 { return n * s.Type / 11 }

// Figure is a finished drawing.
type Figure struct {
	Caption
	Size   Size
	ground pen.List // what is only looked at
	marks  pen.List // what can be pointed at, each in a group of its own
	table  Table
}

// Draw puts the figure on a pen's surface, the ground first and then the
// marks that can be pointed at.
func (f Figure) Draw(p pen.Pen) {
	f.ground.Draw(p)
	f.marks.Draw(p)
}

// SVG returns the figure as an svg element; see pen.Sheet.
func (f Figure) SVG() string {
	s := pen.Sheet{ID: f.ID, Title: f.Title, Result: f.Result, Name: f.Size.Name, Width: f.Size.Width, Height: f.Size.Height,
		Type: f.Size.Type, Ground: f.ground, Marks: f.marks}
	return s.SVG()
}

// Table returns the facts of the figure for a table below it, oldest first.
func (f Figure) Table() Table { return f.table }

// Table is the facts of a figure in words; every row has one cell for each column.
type Table struct {
	Columns []string
	Rows    []Row
}

// Row is one fact; Entry is the id of its logbook entry, or empty.
type Row struct {
	Entry string
	Cells []string
}

// usable tells whether a value can be drawn: no clock error, rate or
// residual comes near 1e12, and sums of such values stay finite.
func usable(v float64) bool { return math.Abs(v) <= 1e12 }

func usableTime(t time.Time) bool {
	return !t.IsZero() && t.UTC().Year() >= 1 && t.UTC().Year() <= 9999
}

func seconds(t time.Time) float64 { return float64(t.Unix()) + float64(t.Nanosecond())/1e9 }

// estimates returns what can be drawn of es, in order of time; a band that is
// not usable shrinks to its value.
func estimates(es []Estimate, within window) []Estimate {
	var out []Estimate
	for _, e := range es {
		if !within.holds(e.At) || !usable(e.Value) {
			continue
		}
		if !usable(e.Lo) || !usable(e.Hi) {
			e.Lo, e.Hi = e.Value, e.Value
		}
		e.Lo, e.Hi = min(e.Lo, e.Hi), max(e.Lo, e.Hi)
		out = append(out, e)
	}
	slices.SortStableFunc(out, func(a, b Estimate) int { return a.At.Compare(b.At) })
	return out
}

// comparisons returns what can be drawn of cs in order of time, first the
// used ones and then those set aside.
func comparisons(cs []Comparison, within window) (used, aside []Comparison) {
	for _, c := range cs {
		switch {
		case !within.holds(c.At) || !usable(c.Value):
		case c.SetAside != "":
			aside = append(aside, c)
		default:
			used = append(used, c)
		}
	}
	byTime := func(a, b Comparison) int { return a.At.Compare(b.At) }
	slices.SortStableFunc(used, byTime)
	slices.SortStableFunc(aside, byTime)
	return used, aside
}

// window is the stretch of time a figure is cut to; a zero end is open.
type window struct{ from, to time.Time }

func (w window) holds(t time.Time) bool {
	return usableTime(t) && (w.from.IsZero() || !t.Before(w.from)) && (w.to.IsZero() || !t.After(w.to))
}

// record collects the rows of a table over time.
type record struct{ rows []datedRow }

type datedRow struct {
	at time.Time
	Row
}

func (r *record) add(at time.Time, entry string, cells ...string) {
	when := "time not known"
	if usableTime(at) {
		when = at.UTC().Format("2 Jan 2006 15:04")
	}
	r.rows = append(r.rows, datedRow{at, Row{entry, append([]string{when}, cells...)}})
}

// compared adds a row for each comparison, with its reason if it was set aside.
func (r *record) compared(cs []Comparison, what string, say tongue, digits int) {
	for _, c := range cs {
		kind := what
		if c.SetAside != "" {
			kind = "Set aside"
		}
		r.add(c.At, c.Entry, kind, say.value(c.Value, digits), plusMinus(c.PlusMinus, digits), cmp.Or(c.SetAside, c.Words))
	}
}

func (r *record) interventions(is []Intervention) {
	for _, i := range is {
		r.add(i.At, i.Entry, "Intervention", "", "", i.Words)
	}
}

// forecast adds at most twelve rows spread over the forecast, the last included.
func (r *record) forecast(es []Estimate, say tongue, digits int) {
	n := len(es)
	for k := range min(n, 12) {
		e := es[n-1-k*n/min(n, 12)]
		r.add(e.At, "", "Forecast", say.value(e.Value, digits), plusMinus((e.Hi-e.Lo)/2, digits), "")
	}
}

// table returns the rows in order of time; the interventions, numbered in that
// order, carry the number by which a crowded figure shows them.
func (r *record) table(value string) Table {
	slices.SortStableFunc(r.rows, func(a, b datedRow) int { return a.at.Compare(b.at) })
	t := Table{Columns: []string{"When (UTC)", "What", value, "±", "Note"}}
	n := 0
	for _, row := range r.rows {
		if row.Cells[1] == "Intervention" {
			n++
			row.Cells[1] = "Intervention " + whole(n)
		}
		t.Rows = append(t.Rows, row.Row)
	}
	return t
}

package paper

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"timeball/internal/chart"
	"timeball/internal/clock"
	"timeball/internal/paper/leaf"
)

// RateSheet is every daily rate of an instrument over some weeks.
type RateSheet struct {
	Size       leaf.Size // A4 if nought
	Made       time.Time // UTC
	Letterhead Letterhead
	Instrument Instrument
	About      string // what the days are, such as "Trial at five temperatures"; may be empty
	Days       []DailyRate
	Sums       []WeeklySum
	Standard   string       // where UTC came from and its bound, a sentence
	Figure     chart.Figure // the rate over time, made at RateFigureSize; left out if it has no size
	Digest     string       // SHA-256 of the entries, hexadecimal; may be empty
}

// DailyRate is the rate between two readings about a day apart.
type DailyRate struct {
	From, To time.Time // UTC, the two readings
	Error    *Quantity // s at To; nil if not known
	Rate     *Quantity // s/d; nil if not known, and Remark says why
	TempC    *float64  // mean, °C; nil if none was read
	Position string
	Remark   string
}

// WeeklySum is the change of error over some days in a row. Its doubt is that
// of its first and last reading, far less than the doubts of the days together,
// for each reading ends one day and begins the next.
type WeeklySum struct {
	Last  int       // index of its last day in Days, from 0; the sum is printed below it
	Words string    // such as "Week 1, 7 days"
	Sum   *Quantity // s; nil if not known
	TempC *float64
}

// Check returns an error that wraps ErrWanting and names what is missing.
func (r RateSheet) Check() error {
	return wanting("rate sheet", [2]string{"the name of the workshop", r.Letterhead.Workshop}, [2]string{"the number of the instrument", r.Instrument.Number},
		[2]string{"the day it is made", dated(r.Made)}, [2]string{"at least one day", counted(len(r.Days))})
}

// Document sets the rate sheet.
func (r RateSheet) Document() (*leaf.Document, error) {
	if err := r.Check(); err != nil {
		return nil, err
	}
	margins := leaf.Generous()
	margins.Left, margins.Right = 20, 20
	d, f := r.Letterhead.opened("Rate sheet, no. "+r.Instrument.Number, r.Instrument, r.Made, r.Size, margins)
	f.Title("Rate sheet, no. " + r.Instrument.Number)
	f.Facts([][2]string{
		{"Instrument", joined(", ", r.Instrument.Maker, r.Instrument.Description)},
		{"Owner", r.Instrument.Of()},
		{"Days", joined(": ", r.About, fmt.Sprintf("%s to %s", fullDay(r.Days[0].From), fullDay(r.Days[len(r.Days)-1].To)))},
		{"Position", r.position()},
		{"Standard", r.Standard},
		{"Made", fullInstant(r.Made)},
	})
	f.Figure(r.Figure)
	said := meanings
	if len(r.Sums) > 0 {
		said += " A sum is the change of error over its days; its doubt is that of its first and its last reading alone."
	}
	f.Words(said, leaf.SmallStyle)
	f.Space(1)
	f.Table(r.table())
	foot := ""
	if len(r.Digest) >= 16 {
		foot = "sha256 " + grouped(r.Digest[:16]) + " …"
	}
	f.Close(foot)
	return d, nil
}

// position returns the position of every day, or nothing if they differ.
func (r RateSheet) position() string {
	for _, d := range r.Days {
		if d.Position != r.Days[0].Position {
			return ""
		}
	}
	return r.Days[0].Position
}

func (r RateSheet) table() leaf.Table {
	t := leaf.Table{Size: 8.5, Gutter: 3, Columns: []leaf.Column{
		{Title: "Day", Align: leaf.End, Heads: true}, {Title: "From and to, UTC"}, {Title: "Error at the end", Align: leaf.Decimal}, {Title: "±", Align: leaf.Decimal},
		{Title: "Rate a day", Align: leaf.Decimal}, {Title: "±", Align: leaf.Decimal}, {Title: "°C", Align: leaf.Decimal}, {Title: "Position"}, {Title: "Remark", Share: 1},
	}}
	format := "2 Jan 15:04"
	if r.Days[len(r.Days)-1].To.Sub(r.Days[0].From) > 300*24*time.Hour {
		format = "2 Jan 2006 15:04"
	}
	same := r.position() != ""
	for i, d := range r.Days {
		row := []string{fmt.Sprint(i + 1), spell(d.From, d.To, format), "", "", "not known", "", "", d.Position, d.Remark}
		if same {
			row[7] = ""
		}
		if q := d.Error; q != nil {
			e := clock.DialError(q.Mean)
			row[2], row[3] = e.Words(q.Half), e.HalfWidth(q.Half)
		}
		if q := d.Rate; q != nil {
			rate := clock.Rate(q.Mean)
			row[4], row[5] = rate.Words(q.Half), rate.HalfWidth(q.Half)
		}
		if d.TempC != nil {
			row[6] = degrees(*d.TempC)
		}
		t.Rows = append(t.Rows, row)
		for _, s := range r.Sums {
			if s.Last != i {
				continue
			}
			row := []string{"", s.Words, "", "", "not known", "", "", "", ""}
			if q := s.Sum; q != nil {
				sum := clock.Rate(q.Mean)
				row[4], row[5] = inAll(sum.Words(q.Half)), sum.HalfWidth(q.Half)
			}
			if s.TempC != nil {
				row[6] = degrees(*s.TempC)
			}
			t.Strong = append(t.Strong, len(t.Rows))
			t.Rows = append(t.Rows, row)
		}
	}
	empty := func(column int) bool {
		return !slices.ContainsFunc(t.Rows, func(row []string) bool { return row[column] != "" })
	}
	for _, column := range []int{8, 7, 6} {
		if empty(column) {
			t.Columns = slices.Delete(t.Columns, column, column+1)
			for i, row := range t.Rows {
				t.Rows[i] = slices.Delete(row, column, column+1)
			}
		}
	}
	return t
}

// inAll says a sum as what was gained or lost in all.
func inAll(words string) string {
	return strings.NewReplacer("losing", "lost", "gaining", "gained").Replace(words)
}

// spell returns "2 Nov 08:02 to 3 Nov 08:05".
func spell(from, to time.Time, format string) string {
	if from.IsZero() || to.IsZero() {
		return ""
	}
	return from.UTC().Format(format) + " to " + to.UTC().Format(format)
}

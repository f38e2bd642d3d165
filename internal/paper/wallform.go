package paper

import (
	"fmt"
	"strings"
	"time"

	"timeball/internal/chart/pen"
	"timeball/internal/paper/leaf"
)

// WallForm is blank ruled leaves for the wall beside an instrument, a month
// each, to write the daily comparisons on.
type WallForm struct {
	Size       leaf.Size // A4 if nought
	Made       time.Time // UTC
	Letterhead Letterhead
	Instrument Instrument
	Reach      string    // where the figures go at the end of a month, one line
	First      time.Time // in the first month, by the clock that it carries
	Months     int
	WindEvery  int    // days; a box to tick on the days of winding only, counted from First, which is one; 0 and 1 for every day
	WindAt     string // hh:mm of the owner's clock; may be empty
}

// mostMonths is as many months as are printed at once.
const mostMonths = 24

// Check returns an error that wraps ErrWanting and names what is missing.
func (w WallForm) Check() error {
	if err := wanting("wall form", [2]string{"the name of the workshop", w.Letterhead.Workshop}, [2]string{"the number of the instrument", w.Instrument.Number},
		[2]string{"the day it is made", dated(w.Made)}, [2]string{"the first month", dated(w.First)}); err != nil {
		return err
	}
	if w.Months < 1 || w.Months > mostMonths {
		return fmt.Errorf("%w: the wall form cannot be printed for %d months; say 1 to %d", ErrWanting, w.Months, mostMonths)
	}
	return nil
}

// Document sets the form, a leaf for each month.
func (w WallForm) Document() (*leaf.Document, error) {
	if err := w.Check(); err != nil {
		return nil, err
	}
	d := &leaf.Document{Title: "Comparisons, no. " + w.Instrument.Number, Subject: w.Instrument.Named(), Author: w.Letterhead.Workshop,
		Language: "en-GB", Created: w.Made, Size: w.Size}
	first := time.Date(w.First.Year(), w.First.Month(), 1, 0, 0, 0, 0, time.UTC)
	f := d.Flow(leaf.Margins{Left: 15, Top: 12, Right: 12, Bottom: 17}, nil)
	for i := range w.Months {
		if i > 0 {
			f.NewLeaf()
		}
		w.month(f, first.AddDate(0, i, 0))
	}
	f.Close(w.Letterhead.Workshop)
	return d, nil
}

// formColumns are the columns and their parts of the width.
var formColumns = []struct {
	title string
	share float64
}{
	{"Day", 13}, {"Hour, UTC", 20}, {"Dial", 24}, {"Fast or slow, s", 24}, {"Wound", 14}, {"°C", 12}, {"By", 16}, {"Remark", 60},
}

func (w WallForm) month(f *leaf.Flow, first time.Time) {
	title := leaf.Style{Face: leaf.SerifBold, Size: 16}
	small := leaf.Style{Face: leaf.SerifItalic, Size: 9.5}
	l, left, right := f.Leaf(), f.Left(), f.Left()+f.Width()
	name := first.Format("January 2006")
	top := f.Y()
	l.In(leaf.TagTitle, func() {
		l.Text(left, top+6, leaf.Fitted("No. "+w.Instrument.Number, title, f.Width()-leaf.Width(name, title)-6), title)
		l.Text(right, top+6, name, title.At(pen.End))
	})
	l.Text(left, top+11.2, leaf.Fitted(joined("; kept by ", w.Instrument.Maker, w.Instrument.Of()), small, f.Width()), small)
	y := top + 13.2
	l.Rule(left, y, right, y, 0.7, pen.Ink1)
	l.Rule(left, y+0.9, right, y+0.9, 0.15, pen.Ink1)
	y += 2.4
	for _, line := range w.instructions() {
		y = l.Block(left, y, f.Width(), line, leaf.Style{Face: leaf.Serif, Size: 9}) + 0.3
	}
	y += 1.5
	l.In(leaf.TagTable, func() { w.grid(l, left, y, right, l.Size.Height-15.5, first) })
}

// instructions are three lines, the last cut if it is long.
func (w WallForm) instructions() []string {
	hour := ""
	if w.WindAt != "" {
		hour = " at " + w.WindAt
	}
	if w.WindEvery > 1 {
		hour += " where there is a box"
	}
	last := "At the end of the month send the leaf, or a photograph of it, to the workshop."
	if w.Reach != "" {
		s := leaf.Style{Face: leaf.Serif, Size: 9}
		before := "At the end of the month send the leaf, or a photograph of it, to "
		last = before + leaf.Fitted(w.Reach, s, measure(w.Size)-leaf.Width(before, s)) + "."
	}
	return []string{
		"Every day read dial and UTC at one instant, the same person in the same way. Fast: the dial is ahead of UTC; slow: it is behind.",
		"Then wind it" + hour + " and tick the box. Turn no hand back, leave the seconds hand alone. Write down stops, knocks and moves of the hand.",
		last,
	}
}

// grid rules a month of days between top and bottom.
func (w WallForm) grid(l *leaf.Leaf, left, top, right, bottom float64, first time.Time) {
	head, day := leaf.Style{Face: leaf.SansBold, Size: 8}, leaf.Style{Face: leaf.Sans, Size: 9}
	all := 0.0
	for _, c := range formColumns {
		all += c.share
	}
	const heading = 6.0
	days := first.AddDate(0, 1, -1).Day()
	row := (bottom - top - heading) / 31
	foot := top + heading + row*float64(days)
	edges := []float64{left}
	l.In(leaf.TagRow, func() {
		for _, c := range formColumns {
			x := edges[len(edges)-1]
			l.In(leaf.TagColumnHead, func() { l.Text(x+1.2, top+4.1, c.title, head) })
			edges = append(edges, x+(right-left)*c.share/all)
		}
	})
	l.Rule(left, top, right, top, 0.3, pen.Ink1)
	l.Rule(left, top+heading, right, top+heading, 0.3, pen.Ink1)
	for i := range days {
		at := first.AddDate(0, 0, i)
		y := top + heading + row*float64(i+1)
		l.In(leaf.TagRow, func() {
			l.In(leaf.TagRowHead, func() {
				l.Text(left+5.2, y-row/2+1.15, at.Format("2"), day.At(pen.End))
				l.Text(left+6.4, y-row/2+1.15, strings.ToLower(at.Format("Mon"))[:2], leaf.Style{Face: leaf.Sans, Size: 7.5, Ink: pen.Ink2})
			})
			for range formColumns[1:] { // to be written in
				l.In(leaf.TagCell, func() {})
			}
		})
		width, ink := 0.1, pen.RuleStrong
		switch {
		case i == days-1:
			width, ink = 0.3, pen.Ink1
		case at.Weekday() == time.Sunday:
			width, ink = 0.2, pen.Ink1
		}
		l.Rule(left, y, right, y, width, ink)
		if w.WindEvery <= 1 || w.windingDay(at) {
			x := (edges[4] + edges[5]) / 2
			l.Frame(x-1.5, y-row/2-1.5, 3, 3, 0.15, pen.Ink3)
		}
	}
	for _, x := range edges[1 : len(edges)-1] {
		l.Rule(x, top, x, foot, 0.1, pen.RuleStrong)
	}
}

// windingDay tells whether it is wound on a day, counted from First.
func (w WallForm) windingDay(at time.Time) bool {
	first := time.Date(w.First.Year(), w.First.Month(), w.First.Day(), 0, 0, 0, 0, time.UTC)
	n := int(at.Sub(first).Hours() / 24)
	return n%w.WindEvery == 0
}

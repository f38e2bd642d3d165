package paper

import (
	"errors"
	"fmt"
	"strings"
	"time"

	"timeball/internal/clock"
	"timeball/internal/paper/leaf"
	"timeball/internal/setting"
)

// ErrTooLong is wrapped by what a paper says when it does not fit its leaf.
var ErrTooLong = errors.New("the paper does not fit")

// OwnerSheet is the one page that an owner without training goes by for years.
type OwnerSheet struct {
	Size       leaf.Size // A4 if nought
	Made       time.Time // UTC
	Letterhead Letterhead
	Instrument Instrument
	Reach      string // how to reach the keeper, one line

	Dial      clock.Dial
	WindEvery int     // days: 1, or 7 for one that goes eight days
	GoesFor   float64 // h when fully wound
	HalfTurns float64 // that wind it fully at its hour; 0 if not known
	Fusee     Fusee
	Gimbals   bool
	UpAndDown bool // it shows the hours since it was wound
	Brake     bool // its balance is held by a brake in carriage, not by wedges

	Zone   *time.Location // of the owner; nil for UTC
	WindAt string         // hh:mm of the owner's clock

	Epoch   time.Time // UTC, of Error and Rate
	Error   Quantity  // s
	Rate    Quantity  // s/d
	Example ErrorAt   // the error at some later instant, for the worked example; the epoch if it has none
	LimitS  float64   // s, within which whole minutes of the minute hand keep the error
	Moves   setting.Moves

	Fresh bool // it stands still: its error begins with the owner's start, and Error is not used

	ServiceDue time.Time // zero if not known
}

// ErrorAt is the error at an instant.
type ErrorAt struct {
	At    time.Time `json:"at"`
	Error Quantity  `json:"error"` // s
}

// Fusee says whether the mainspring pulls through a fusee, which decides the
// direction of winding.
type Fusee int

// What is known of the fusee.
const (
	FuseeUnknown Fusee = iota
	WithFusee
	WithoutFusee
)

// mostWindows is how many moves of the minute hand the sheet has room for.
const mostWindows = 12

// Check returns an error that wraps ErrWanting and names what is missing.
func (o OwnerSheet) Check() error {
	needed := [][2]string{
		{"the name of the workshop", o.Letterhead.Workshop}, {"the number of the instrument", o.Instrument.Number},
		{"the day it is made", dated(o.Made)}, {"the instant of the error and rate", dated(o.Epoch)},
		{"how to reach the keeper", o.Reach}, {"the hour of winding", o.WindAt},
		{"every how many days it is wound", counted(o.WindEvery)},
	}
	if o.Dial != clock.TwelveHour && o.Dial != clock.TwentyFourHour {
		needed = append(needed, [2]string{"the hours of its dial, 12 or 24", ""})
	}
	return wanting("owner's sheet", needed...)
}

// Document sets the owner's sheet on one leaf, in the largest type that fits.
// It fails with ErrTooLong if no type that can be read does.
func (o OwnerSheet) Document() (*leaf.Document, error) {
	if err := o.Check(); err != nil {
		return nil, err
	}
	for size := 10.5; size >= 7; size -= 0.25 {
		if d, fits := o.set(size); fits {
			return d, nil
		}
	}
	return nil, fmt.Errorf("%w: the owner's sheet of no. %s fills more than one leaf even in small type; shorten the letterhead, the names or how to reach the keeper", ErrTooLong, o.Instrument.Number)
}

// set sets the sheet in a size of type and tells whether it fits.
func (o OwnerSheet) set(size float64) (*leaf.Document, bool) {
	d := &leaf.Document{Title: "Owner's sheet, no. " + o.Instrument.Number, Subject: o.Instrument.Named(), Author: o.Letterhead.Workshop,
		Language: "en-GB", Created: o.Made, Size: o.Size}
	f := d.Flow(leaf.Margins{Left: 17, Top: 20, Right: 17, Bottom: 19}, nil)
	o.Letterhead.set(f)
	f.Space(-3)
	f.In(leaf.TagTitle, func() {
		f.Words("Your chronometer, no. "+o.Instrument.Number, leaf.Style{Face: leaf.SerifBold, Size: 17})
	})
	f.Words(joined(", ", o.Instrument.Maker, o.Instrument.Description), leaf.Style{Face: leaf.SerifItalic, Size: max(size, 9)})
	if of := o.Instrument.Of(); of != "" {
		f.Words("Kept by "+of, leaf.Style{Face: leaf.SerifItalic, Size: max(size, 9)})
	}
	f.Space(2)
	f.Panel(o.panel()...)
	f.Space(-0.5)
	bottom := f.Y() + f.Room()

	parts := o.passages()
	// The columns are parted where the longer is shortest.
	heights := make([]float64, len(parts))
	all := 0.0
	probe := (&leaf.Document{Size: o.Size}).Flow(leaf.Margins{Left: 17, Right: 17}, nil)
	probe.Beside(0, []float64{1, 1}, func(c *leaf.Flow) {
		for i, p := range parts {
			from := c.Y()
			p.set(c, size)
			heights[i] = c.Y() - from
			all += heights[i]
		}
	}, func(*leaf.Flow) {})
	split, best, left := 0, all, 0.0
	for i, h := range heights {
		left += h
		if longer := max(left, all-left); longer < best {
			split, best = i+1, longer
		}
	}
	column := func(parts []passage) func(*leaf.Flow) {
		return func(c *leaf.Flow) {
			for _, p := range parts {
				p.set(c, size)
			}
		}
	}
	f.Beside(0, []float64{1, 1}, column(parts[:split]), column(parts[split:]))
	fits := f.Y() <= bottom && len(d.Leaves) == 1
	if fits {
		f.Close("made " + o.Made.UTC().Format("2 January 2006"))
	}
	return d, fits
}

func (o OwnerSheet) panel() []leaf.Fact {
	facts := []leaf.Fact{
		{Label: "On " + o.Epoch.UTC().Format("2 Jan 2006, 15:04") + " UTC", Words: o.Error.ErrorWords(), After: "what the dial shows less UTC"},
		{Label: "Each day", Words: clock.Rate(o.Rate.Mean).Words(o.Rate.Half) + " " + clock.Rate(o.Rate.Mean).HalfWidth(o.Rate.Half), After: "±: half of a 95% interval"},
		{Label: "Wind it", Words: o.winds(), After: o.zoneWords()},
	}
	if o.Fresh {
		facts[0] = leaf.Fact{Label: "Its error", Words: "as you start it", After: "compare it, then write it down"}
	}
	if !o.ServiceDue.IsZero() {
		facts = append(facts, leaf.Fact{Label: "Service due", Words: o.ServiceDue.In(o.zone()).Format("January 2006"), After: "write to us two months before"})
	}
	return facts
}

func (o OwnerSheet) winds() string {
	switch {
	case o.WindEvery == 1:
		return "daily, " + o.WindAt
	case o.WindEvery == 7:
		return "weekly, " + o.WindAt
	}
	return fmt.Sprintf("every %d days, %s", o.WindEvery, o.WindAt)
}

func (o OwnerSheet) zone() *time.Location {
	if o.Zone == nil {
		return time.UTC
	}
	return o.Zone
}

func (o OwnerSheet) zoneWords() string {
	if name := o.zone().String(); name != "UTC" {
		return "by the clock of " + strings.ReplaceAll(name[strings.LastIndex(name, "/")+1:], "_", " ")
	}
	return "UTC"
}

// passage is one heading of the sheet with what stands under it.
type passage struct {
	heading  string
	before   string
	items    []string
	numbered bool
	rows     [][]string // a list in columns, each read downwards
	after    string
	framed   bool // between heavy rules, for what must never be done
}

func (p passage) set(f *leaf.Flow, size float64) {
	s := leaf.Style{Face: leaf.Serif, Size: size}
	gap := 0.09 * size
	f.Space(0.28 * size)
	top := f.Y()
	if p.framed {
		f.Space(0.5 * gap)
	}
	f.In(leaf.TagHeading, func() { f.Words(p.heading, leaf.Style{Face: leaf.SerifBold, Size: size + 1.75}) })
	f.Space(0.5 * gap)
	if p.before != "" {
		f.Words(p.before, s)
		f.Space(gap)
	}
	list := leaf.TagList
	if p.numbered {
		list = leaf.TagNumbered
	}
	f.In(list, func() {
		for i, item := range p.items {
			sign, by := "–", 0.33*size
			if p.numbered {
				sign, by = fmt.Sprintf("%d.", i+1), 0.45*size
			}
			f.In(leaf.TagItem, func() {
				f.In(leaf.TagLabel, func() { f.Leaf().Block(f.Left(), f.Y(), by, sign, s) })
				f.In(leaf.TagBody, func() {
					f.Space(f.Leaf().Block(f.Left()+by, f.Y(), f.Width()-by, item, s) - f.Y() + 0.6*gap)
				})
			})
		}
	})
	if len(p.rows) > 0 {
		columns := make([]leaf.Column, len(p.rows[0]))
		for i := range columns {
			columns[i].Share = 1
		}
		f.Table(leaf.Table{Columns: columns, Rows: p.rows, Size: size - 1.25, List: true})
		f.Space(-1)
	}
	if p.after != "" {
		f.Space(0.4 * gap)
		f.Words(p.after, s)
	}
	if p.framed {
		x := f.Left() - 2.6
		f.Leaf().Rule(x, top, x, f.Y(), 0.9, 0)
	}
}

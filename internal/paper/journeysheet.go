package paper

import (
	"fmt"
	"strings"
	"time"

	"timeball/internal/chart/pen"
	"timeball/internal/paper/leaf"
)

// JourneySheet is the steps by which an owner prepares an instrument and packs
// it, in their order, each with a box to tick.
type JourneySheet struct {
	Size       leaf.Size // A4 if nought
	Made       time.Time // UTC
	Letterhead Letterhead
	Instrument Instrument
	Reach      string // where the workshop is asked, one line
	Supposes   string // how it goes now and how it travels, a sentence
	Matters    []Matter
	Steps      []JourneyStep
}

// Matter is something to settle before anything is touched.
type Matter struct{ Name, Say string }

// JourneyStep is one step.
type JourneyStep struct {
	Part     string // "Prepare" or "Pack"; a heading stands where it changes
	Title    string
	Do       []string // sentences
	Needs    []string
	Without  string // what goes wrong without it
	Check    string
	Write    string // what is written down; empty: nothing
	Cautions []string
	Drawing  *pen.Sheet // nil: none
}

// Check returns an error that wraps ErrWanting and names what is missing.
func (s JourneySheet) Check() error {
	return wanting("preparing sheet", [2]string{"the name of the workshop", s.Letterhead.Workshop}, [2]string{"the number of the instrument", s.Instrument.Number},
		[2]string{"the day it is made", dated(s.Made)}, [2]string{"its steps", counted(len(s.Steps))}, [2]string{"what is to be settled first", counted(len(s.Matters))})
}

// Document sets the sheet.
func (s JourneySheet) Document() (*leaf.Document, error) {
	if err := s.Check(); err != nil {
		return nil, err
	}
	d, f := s.Letterhead.opened("Preparing no. "+s.Instrument.Number+" for a journey", s.Instrument, s.Made, s.Size, leaf.Generous())
	f.Space(-2)
	f.Title("Preparing it for a journey")
	s.Instrument.introduce(f)
	f.Paragraph(s.Supposes)
	f.Paragraph("Do one step after the other, in this order, and tick its box before the next. Where a step cannot be done as it stands here, stop and ask" + before(" ", s.Reach) + ".")
	f.Heading("Settle these first")
	var pairs [][2]string
	for _, m := range s.Matters {
		pairs = append(pairs, [2]string{upperFirst(m.Name), m.Say})
	}
	f.Facts(pairs)
	part := ""
	for n, step := range s.Steps {
		high := step.height(f.Width())
		if step.Part != part {
			part = step.Part
			f.HeadingOf(part, high)
		}
		step.set(f, n+1, high)
	}
	f.Close("made " + fullDay(s.Made))
	return d, nil
}

// before returns text behind a mark, or nothing.
func before(mark, text string) string {
	if text == "" {
		return ""
	}
	return mark + text
}

// How a step is set, mm.
const (
	boxSize      = 4.5
	boxRoom      = 9.0
	drawingWidth = 74.0
	beside       = 6.0
)

var (
	stepTitle  = leaf.Style{Face: leaf.SerifBold, Size: 12}
	stepRemark = leaf.Style{Face: leaf.Serif, Size: 9.5}
)

// remarks returns what stands below the sentences of a step.
func (s JourneyStep) remarks() []string {
	var all []string
	for _, p := range [][2]string{{"It needs: ", strings.Join(s.Needs, "; ")}, {"Check: ", s.Check}, {"Without it: ", s.Without}} {
		if p[1] != "" {
			all = append(all, p[0]+strings.TrimSuffix(p[1], ".")+".")
		}
	}
	return all
}

// writing returns the words before the line on which the owner writes.
func (s JourneyStep) writing() string { return before("Write down: ", s.Write) }

// words returns how wide the words of a step are on a leaf of lines so long.
func (s JourneyStep) words(width float64) float64 {
	if s.Drawing == nil {
		return width - boxRoom
	}
	return width - boxRoom - drawingWidth - beside
}

// height returns how high a step is, mm, on lines so long.
func (s JourneyStep) height(width float64) float64 {
	w := s.words(width)
	of := func(words string, st leaf.Style) float64 { return float64(len(leaf.Wrap(words, st, w))) * st.Line() }
	high := of("00  "+s.Title, stepTitle) + 1
	for _, d := range append(append([]string{}, s.Do...), s.Cautions...) {
		high += of(d, leaf.ParagraphStyle) + 0.8
	}
	for _, r := range append(s.remarks(), s.writing()) {
		if r != "" {
			high += of(r, stepRemark) + 0.4
		}
	}
	if s.Write != "" {
		high += 7
	}
	if s.Drawing != nil {
		high = max(high, drawingWidth*s.Drawing.Height/s.Drawing.Width)
	}
	return high + 3
}

// set puts a step on one leaf.
func (s JourneyStep) set(f *leaf.Flow, number int, high float64) {
	f.Need(high)
	l, left, top, w := f.Leaf(), f.Left(), f.Y(), s.words(f.Width())
	for _, side := range [][4]float64{{0, 0, 1, 0}, {1, 0, 1, 1}, {1, 1, 0, 1}, {0, 1, 0, 0}} {
		l.Rule(left+side[0]*boxSize, top+0.6+side[1]*boxSize, left+side[2]*boxSize, top+0.6+side[3]*boxSize, 0.35, pen.Ink1)
	}
	x, y := left+boxRoom, top
	l.In(leaf.TagHeading, func() { y = l.Block(x, y, w, fmt.Sprintf("%d  %s", number, s.Title), stepTitle) + 1 })
	for _, d := range s.Do {
		y = l.Block(x, y, w, d, leaf.ParagraphStyle) + 0.8
	}
	for _, c := range s.Cautions {
		y = l.Block(x, y, w, c, leaf.Style{Face: leaf.SerifBold, Size: leaf.ParagraphStyle.Size}) + 0.8
	}
	for _, r := range append(s.remarks(), s.writing()) {
		if r != "" {
			y = l.Block(x, y, w, r, stepRemark) + 0.4
		}
	}
	if s.Write != "" {
		y += 6.5
		l.Rule(x, y, x+w, y, 0.2, pen.RuleStrong)
		y += 0.5
	}
	if s.Drawing != nil {
		at := left + f.Width() - drawingWidth
		y = max(y, top+l.Drawing(at, top, drawingWidth, s.Drawing))
	}
	f.GoTo(y + 3)
}

package ratesheet

import (
	"fmt"
	"strings"
	"time"

	"timeball/internal/clock"
	"timeball/internal/web/wording"
	"timeball/internal/workshop"
)

// Preview is what bringing in a rate book would do, and what its comparisons
// come to.
type Preview struct {
	Rows     string
	New      string
	Held     string // empty if the logbook holds none of it
	None     bool   // nothing is new
	Remarks  []string
	Figures  []Labelled
	Why      string // why there are none
	SetAside []AsideLine
	Lines    []EntryLine
	Left     int // lines that are not shown
}

// AsideLine is a comparison of the file that would not be used.
type AsideLine struct {
	Line, When string
	Read       *wording.Figure
	Reason     string
}

// EntryLine is one entry that would be written.
type EntryLine struct {
	Line              int
	When, Kind, Words string
}

// mostLines is how many of the entries a preview shows.
const mostLines = 40

// NewPreview returns what a rate book read at the instant now would bring in.
func NewPreview(read workshop.Preview, now time.Time) Preview {
	p := Preview{
		Rows: wording.Counted(read.Rows, "row", "rows"), New: wording.Counted(read.New, "new entry", "new entries"), Held: wording.Counted(read.Held, "entry", "entries"),
		None: read.New == 0, Why: wording.Upper(read.Why),
	}
	if read.Held == 0 {
		p.Held = ""
	}
	for _, remark := range read.Remarks {
		p.Remarks = append(p.Remarks, wording.Sentence(wording.Upper(remark)))
	}
	if r := read.Rating; r != nil {
		e, rate := wording.Error(r.Error), wording.Rate(r.RateNow)
		p.Figures = []Labelled{
			{Label: "Error on " + wording.Instant(r.Epoch, now), Words: e.Words, After: e.PlusMinus},
			{Label: "Daily rate, of late", Words: rate.Words, After: rate.PlusMinus},
			{Label: "Comparisons used", Words: fmt.Sprintf("%d of %d", r.Used, r.Comparisons)},
			{Label: "Steadiness, week to week", Words: fmt.Sprintf("%.2f s", r.Steadiness.Mean), After: fmt.Sprintf("a day, %.2f to %.2f", r.Steadiness.Lo95, r.Steadiness.Hi95)},
		}
	}
	for _, a := range read.SetAside {
		p.SetAside = append(p.SetAside, AsideLine{Line: a.Ref, When: wording.Instant(a.At, now), Read: &wording.Figure{Words: clock.DialError(a.ErrorS).Words(1.96 * a.ReadSDS), PlusMinus: clock.DialError(0).HalfWidth(1.96 * a.ReadSDS)}, Reason: a.Reason})
	}
	for _, e := range read.Entries {
		if len(p.Lines) == mostLines {
			p.Left = len(read.Entries) - mostLines
			break
		}
		p.Lines = append(p.Lines, EntryLine{Line: read.Lines[e.ID], When: wording.Instant(e.At, now), Kind: e.Kind().Title(), Words: strings.TrimSpace(e.Fact.Words())})
	}
	return p
}

package paper

import (
	"errors"
	"fmt"
	"math"
	"strings"
	"time"

	"timeball/internal/chart/pen"
	"timeball/internal/paper/leaf"
)

// ErrWanting is wrapped by what a paper says when something it needs is missing.
var ErrWanting = errors.New("the paper is not complete")

// wanting returns nil, or one sentence that names what is missing.
func wanting(kind string, needed ...[2]string) error {
	var missing []string
	for _, n := range needed {
		if strings.TrimSpace(n[1]) == "" {
			missing = append(missing, n[0])
		}
	}
	if len(missing) == 0 {
		return nil
	}
	return fmt.Errorf("%w: the %s needs %s; fill it in before printing", ErrWanting, kind, strings.Join(missing, ", "))
}

// letterhead sets the mark, the name of the workshop and its address between
// rules at the head of a paper.
func (h Letterhead) set(f *leaf.Flow) {
	l, left, right, top := f.Leaf(), f.Left(), f.Left()+f.Width(), f.Y()-8
	mast(l, left+3.5, top)
	name := leaf.Style{Face: leaf.SerifBold, Size: 18}
	small := leaf.Style{Face: leaf.Serif, Size: 9}
	const beside = 11 // mm kept for the mark
	lines := append([]string{}, h.Lines...)
	widest := 0.0
	for _, line := range lines {
		widest = max(widest, leaf.Width(line, small))
	}
	widest = min(widest, 0.42*f.Width())
	y := l.Block(left+beside, top, f.Width()-beside-widest-6, h.Workshop, name)
	if h.Place != "" {
		y = l.Block(left+beside, y-0.5, f.Width()-beside-widest-6, h.Place, leaf.Style{Face: leaf.SerifItalic, Size: 11})
	}
	below := top + 1.2
	for _, line := range lines {
		below = l.Block(right-widest, below, widest, line, small.At(pen.End))
	}
	y = max(y, below, top+14) + 2
	l.Rule(left, y, right, y, 0.7, pen.Ink1)
	l.Rule(left, y+0.9, right, y+0.9, 0.15, pen.Ink1)
	f.GoTo(y + 7)
}

// mast draws the ball on the mast, 14 mm high, with the mast at x.
func mast(l *leaf.Leaf, x, top float64) {
	l.Rule(x, top, x, top+14, 0.6, pen.Ink1)
	l.Rule(x-3, top+14, x+3, top+14, 0.6, pen.Ink1)
	l.Disc(x, top+5.2, 2.9, pen.Ink1)
}

// opened returns a document about an instrument, with its letterhead set on the
// first leaf and its running head on those after it.
func (h Letterhead) opened(about string, i Instrument, made time.Time, size leaf.Size, margins leaf.Margins) (*leaf.Document, *leaf.Flow) {
	d := &leaf.Document{Title: about, Subject: i.Named(), Author: h.Workshop, Language: "en-GB", Created: made, Size: size}
	f := d.Flow(margins, runningHead(h, margins, about))
	h.set(f)
	return d, f
}

// runningHead returns what stands above the words of the leaves after the
// first: whose paper it is and what it is about.
func runningHead(h Letterhead, margins leaf.Margins, about string) func(*leaf.Leaf, int) {
	return func(l *leaf.Leaf, page int) {
		if page == 1 {
			return
		}
		s := leaf.Style{Face: leaf.SerifItalic, Size: 9.5}
		y, right := margins.Top-9, l.Size.Width-margins.Right
		room := right - margins.Left - 6
		name := leaf.Fitted(h.Workshop, s, room/2)
		l.Text(margins.Left, y, name, s)
		l.Text(right, y, leaf.Fitted(about, s, room-leaf.Width(name, s)), s.At(pen.End))
		l.Rule(margins.Left, y+2, right, y+2, 0.15, pen.RuleStrong)
	}
}

// fullDay returns "25 November 2026".
func fullDay(t time.Time) string { return t.UTC().Format("2 January 2006") }

// fullInstant returns "25 November 2026 09:12:30 UTC".
func fullInstant(t time.Time) string { return t.UTC().Format("2 January 2006 15:04:05 UTC") }

// degrees returns a temperature to a tenth, "−4.5", without the unit.
func degrees(c float64) string {
	c = math.Round(c*10) / 10
	return strings.Replace(fmt.Sprintf("%.1f", c+0), "-", "−", 1)
}

// briefly returns a temperature without a decimal that is nought: "20".
func briefly(c float64) string { return strings.TrimSuffix(degrees(c), ".0") }

// grouped returns a digest in groups of eight letters.
func grouped(digest string) string {
	var b strings.Builder
	for i, r := range digest {
		if i > 0 && i%8 == 0 {
			b.WriteByte(' ')
		}
		b.WriteRune(r)
	}
	return b.String()
}

// meanings says once what the words and the ± of a paper mean.
const meanings = "Error is what the dial shows less UTC: fast if the dial is ahead, slow if it is behind. Rate is the change of error in a day of 86 400 seconds: " +
	"gaining or losing. Each ± is half of a 95% interval: of all the intervals so given, 95 in 100 hold the true value."

const steadinessMeaning = " Steadiness is the usual (root mean square) change of the weekly mean rate from one week to the next."

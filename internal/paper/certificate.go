package paper

import (
	"fmt"
	"strconv"
	"strings"
	"time"

	"timeball/internal/chart"
	"timeball/internal/chart/pen"
	"timeball/internal/clock"
	"timeball/internal/paper/leaf"
)

// Certificate is what a workshop signs about the rate of an instrument.
type Certificate struct {
	Size       leaf.Size // A4 if nought
	Draft      bool      // not issued: it says so across its head and carries no square code
	Number     string    // of the certificate, such as "417-2026-11-25"; a draft may have none
	Issued     time.Time // UTC
	Letterhead Letterhead
	Instrument Instrument
	WorkDone   []string // dated lines

	Epoch        time.Time // UTC, of Error and Rate
	Error        Quantity  // s
	Rate         Quantity  // s/d at Epoch, at TemperatureC and in Position
	TemperatureC float64   // °C
	Position     string    // such as "dial up"
	Steadiness   Range     // s/d
	Law          Law

	Trial *Trial // nil if it was rated without a programme

	Standard string // where UTC came from and its bound, a sentence
	Digest   string // SHA-256 of the entries it rests on, hexadecimal
	Entries  int    // how many they are

	// Drawings, made at RateFigureSize and LawFigureSize; one without a size is
	// left out.
	RateFigure, LawFigure chart.Figure
}

// Law is the rate against temperature; one without words is not known.
type Law struct {
	Words   string // a sentence or two
	Rows    []AtTemperature
	Turning *Quantity // °C, where the rate is greatest or least
}

// AtTemperature is the rate at a temperature.
type AtTemperature struct {
	C    float64  // °C
	Rate Quantity // s/d
}

// Trial is a programme that was gone through, in figures and in words.
type Trial struct {
	Programme string    // name
	Source    string    // of the programme
	From, To  time.Time // first and last reading
	MeanRate  Quantity  // s/d over the counted days
	Criteria  []Criterion
	Verdict   string // a sentence
}

// Criterion is one row of the trial.
type Criterion struct {
	Name, About string
	Value       float64 // from the daily rates as read
	True        Range   // what the true rates would give: 95% interval, which need not lie about Value
	Unit        string  // "s/d", "s"
	Rate        bool    // the value is a rate and is printed as gaining or losing
	Words       string  // why there is no value, such as "day 12 is missing"; empty if there is one
	Limits      string  // "at most 0.50", empty if there are none
	Kept        string  // "kept", "not kept"
	Doubt       string  // "97 in 100"
}

// text returns the value as it is printed.
// half is half the interval of the true value.
func (c Criterion) half() float64 { return (c.True.Hi - c.True.Lo) / 2 }

func (c Criterion) text() string {
	if c.Words != "" {
		return "none"
	}
	if c.Rate {
		return strings.TrimSuffix(clock.Rate(c.Value).Words(c.half()), " s")
	}
	return minus(c.Value, decimalsFor(c.half()))
}

// interval returns where the true value lies, "0.02 to 0.18".
func (c Criterion) interval() string {
	if c.Words != "" || !(c.half() > 0) {
		return ""
	}
	if c.Rate {
		lo, hi := clock.Rate(c.True.Lo).Words(c.half()), clock.Rate(c.True.Hi).Words(c.half())
		return strings.TrimSuffix(lo, " s") + " to " + strings.TrimSuffix(hi, " s")
	}
	decimals := decimalsFor(c.half())
	return minus(c.True.Lo, decimals) + " to " + minus(c.True.Hi, decimals)
}

// minus writes a number with a true minus.
func minus(v float64, decimals int) string {
	return strings.Replace(strconv.FormatFloat(v, 'f', decimals, 64), "-", "−", 1)
}

// decimalsFor returns the decimals that a half width deserves: two figures of
// it, at least two decimals and at most four.
func decimalsFor(half float64) int {
	switch {
	case half > 0 && half < 0.00095:
		return 4
	case half > 0 && half < 0.0095:
		return 3
	}
	return 2
}

// RateFigureSize returns the size to make the rate over time at.
func RateFigureSize(s leaf.Size) chart.Size { return leaf.PrintSize(measure(s), share(s, 50)) }

// LawFigureSize returns the size to make the rate against temperature at.
func LawFigureSize(s leaf.Size) chart.Size {
	return leaf.PrintSize((measure(s)-8)*lawShare, share(s, 48))
}

// share returns a height on A4, mm, as it is on s, so that both have the same
// things on a leaf.
func share(s leaf.Size, mm float64) float64 {
	if !(s.Height > 0) {
		return mm
	}
	return min(mm, mm*(1-2*(1-s.Height/leaf.A4.Height)))
}

// lawShare is the part of the width for the figure of the law; its table has the rest.
const lawShare = 0.62

// measure returns how long the lines of a paper are, mm.
func measure(s leaf.Size) float64 {
	if s.Width <= 0 {
		s = leaf.A4
	}
	m := leaf.Generous()
	return s.Width - m.Left - m.Right
}

// CodeText returns what the square code of the certificate says.
func (c Certificate) CodeText() string {
	return "No. " + c.Instrument.Number + "; certificate " + c.Number + "; sha256:" + c.Digest
}

// Check returns an error that wraps ErrWanting and names what is missing.
func (c Certificate) Check() error {
	needed := [][2]string{
		{"the name of the workshop", c.Letterhead.Workshop}, {"the keeper's name", c.Letterhead.Keeper},
		{"the number of the instrument", c.Instrument.Number}, {"the maker", c.Instrument.Maker},
		{"the position of the rate", c.Position}, {"the standard", c.Standard},
		{"the instant of the error and rate", dated(c.Epoch)},
	}
	if !c.Draft {
		needed = append(needed, [2]string{"a number of its own", c.Number}, [2]string{"the day of issue", dated(c.Issued)},
			[2]string{"the digest of the entries", c.Digest}, [2]string{"the number of entries", counted(c.Entries)})
	}
	return wanting("certificate", needed...)
}

func dated(t time.Time) string {
	if t.IsZero() {
		return ""
	}
	return "known"
}

func counted(n int) string {
	if n <= 0 {
		return ""
	}
	return strconv.Itoa(n)
}

// Document sets the certificate: what is certified, with the signature, and
// behind it what it rests on. Its figures are attached as JSON.
func (c Certificate) Document() (*leaf.Document, error) {
	if err := c.Check(); err != nil {
		return nil, err
	}
	file, err := c.figures()
	if err != nil {
		return nil, err
	}
	d := &leaf.Document{
		Title: "Certificate of rate, no. " + c.Instrument.Number, Subject: c.Instrument.Named(), Author: c.Letterhead.Workshop,
		Language: "en-GB", Created: c.Issued, Size: c.Size,
		Attached: []leaf.Attachment{{Name: "certificate-" + fileName(c.Number) + ".json", About: "the figures of this certificate", Content: file}},
	}
	if d.Created.IsZero() {
		d.Created = c.Epoch
	}
	if c.Number != "" {
		d.Title = "Certificate of rate " + c.Number
	}
	if c.Draft {
		d.Title = "Draft, not a certificate: no. " + c.Instrument.Number
	}
	margins := leaf.Generous()
	running := runningHead(c.Letterhead, margins, d.Title)
	f := d.Flow(margins, func(l *leaf.Leaf, page int) {
		if c.Draft {
			c.draft(l, margins)
		}
		running(l, page)
	})
	c.front(f)
	if err := c.signature(f); err != nil {
		return nil, err
	}
	switch {
	case c.Trial == nil && len(c.WorkDone) == 0 && len(c.Law.Rows) == 0 && c.RateFigure.Size.Width <= 0 && c.LawFigure.Size.Width <= 0:
	case f.Page() == 1:
		f.NewLeaf()
	default: // the signature went over
		f.Space(4)
	}
	c.behind(f)
	f.Close(c.foot())
	return d, nil
}

// foot is the beginning of the digest, so that loose leaves can be told apart.
func (c Certificate) foot() string {
	if len(c.Digest) < 16 || c.Draft {
		return ""
	}
	return "sha256 " + grouped(c.Digest[:16]) + " …"
}

func fileName(words string) string {
	name := strings.Map(func(r rune) rune {
		if r == '-' || r >= '0' && r <= '9' || r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' {
			return r
		}
		return '-'
	}, words)
	if name == "" {
		return "draft"
	}
	return name
}

func (c Certificate) draft(l *leaf.Leaf, m leaf.Margins) {
	s := leaf.Style{Face: leaf.SansBold, Size: 9.5, Anchor: pen.Middle}
	l.Frame(m.Left, 5.2, l.Size.Width-m.Left-m.Right, 5.8, 0.4, pen.Ink1)
	l.Text(l.Size.Width/2, 9.3, "DRAFT, NOT A CERTIFICATE", s)
}

// front sets the leaf that is signed.
func (c Certificate) front(f *leaf.Flow) {
	c.Letterhead.set(f)
	centred := func(words string, s leaf.Style) { f.Words(words, s.At(pen.Middle)) }
	f.In(leaf.TagTitle, func() { centred("Certificate of rate", leaf.Style{Face: leaf.SerifBold, Size: 23}) })
	switch {
	case c.Draft:
		centred("draft, not issued and not signed", leaf.Style{Face: leaf.SerifItalic, Size: 11})
	default:
		centred("Number "+c.Number, leaf.Style{Face: leaf.SerifItalic, Size: 11})
	}
	f.Space(6)
	centred("No. "+c.Instrument.Number, leaf.Style{Face: leaf.SerifBold, Size: 15})
	centred(c.Instrument.Maker, leaf.Style{Face: leaf.Serif, Size: 13})
	f.Space(0.8)
	centred(c.Instrument.Description, leaf.Style{Face: leaf.SerifItalic, Size: 10.5})
	if of := c.Instrument.Of(); of != "" {
		centred("the property of "+of, leaf.Style{Face: leaf.Serif, Size: 10.5})
	}
	f.Space(6)
	f.Words("On "+fullDay(c.Epoch)+" at "+c.Epoch.UTC().Format("15:04:05")+" UTC, "+c.Position+", the rate taken at "+briefly(c.TemperatureC)+" °C:", leaf.ParagraphStyle)
	f.Space(1.5)
	f.Panel(c.panel()...)
	f.Space(2)
	said := meanings
	if c.Steadiness.Hi > 0 {
		said += steadinessMeaning
	}
	f.Words(said, leaf.SmallStyle)
	f.Space(2)
	if c.Trial != nil {
		f.Heading("Trial")
		f.Paragraph(joined(" ", joined(", ", upperFirst(c.Trial.Programme), c.Trial.span())+".", c.Trial.Verdict))
	}
	if c.Law.Words != "" {
		f.Heading("Temperature")
		f.Paragraph(c.Law.Words)
	}
	f.Heading("Standard and records")
	f.Paragraph(c.Standard)
	if c.Digest != "" {
		f.Paragraph(c.rests())
		f.Words(grouped(c.Digest), leaf.Style{Face: leaf.Sans, Size: 8.5})
	}
}

func (c Certificate) panel() []leaf.Fact {
	e, r := c.Error.ErrorFact(), c.Rate.RateFact()
	facts := []leaf.Fact{
		{Label: "Error of the dial", Words: e.Words, After: e.After},
		{Label: "Rate", Words: r.Words, After: r.After},
	}
	if c.Trial != nil {
		m := c.Trial.MeanRate.RateFact()
		facts = append(facts, leaf.Fact{Label: "Mean rate in the trial", Words: m.Words, After: m.After})
	}
	if c.Steadiness.Hi > 0 {
		facts = append(facts, leaf.Fact{Label: "Steadiness, week to week", Words: fmt.Sprintf("%.2f s", c.Steadiness.Mean),
			After: fmt.Sprintf("a day, %.2f to %.2f", c.Steadiness.Lo, c.Steadiness.Hi)})
	}
	return facts
}

// rests says what the certificate is computed from.
func (c Certificate) rests() string {
	entries := fmt.Sprintf("%d entries", c.Entries)
	if c.Entries == 1 {
		entries = "one entry"
	}
	return "Everything here is computed from " + entries + " of the logbook of the instrument, whose SHA-256 digest stands below. " +
		"The same digest, taken from the logbook again, shows that nothing in it has been altered since."
}

// span returns "25 August to 24 November 2026".
func (t Trial) span() string {
	switch {
	case t.From.IsZero() || t.To.IsZero():
		return ""
	case t.From.UTC().Year() == t.To.UTC().Year():
		return t.From.UTC().Format("2 January") + " to " + fullDay(t.To)
	}
	return fullDay(t.From) + " to " + fullDay(t.To)
}

// signature sets the line for the keeper at the foot of the leaf, with the
// square code beside it.
func (c Certificate) signature(f *leaf.Flow) error {
	const code, high = 33.0, 36.0
	f.Need(high)
	if f.Page() == 1 {
		f.Space(f.Room() - high)
	}
	l, y := f.Leaf(), f.Y()
	right := f.Left() + f.Width()
	if c.Draft {
		f.Words("A draft is not signed. It says how the certificate would read today.", leaf.SmallStyle)
		return nil
	}
	if err := l.Code(right-code+2.5, y, code, c.CodeText()); err != nil {
		return fmt.Errorf("certificate %s: %w", c.Number, err)
	}
	small := leaf.Style{Face: leaf.Serif, Size: 9}
	line := f.Width() - code - 12
	l.Block(f.Left(), y+2, line, joined(", ", c.Letterhead.Place, fullDay(c.Issued)), leaf.ParagraphStyle)
	l.Rule(f.Left(), y+22, f.Left()+line, y+22, 0.25, pen.Ink1)
	l.Block(f.Left(), y+22.8, line, c.Letterhead.Keeper+", for "+c.Letterhead.Workshop, small)
	f.GoTo(y + high)
	return nil
}

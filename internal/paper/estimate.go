package paper

import (
	"strconv"
	"time"

	"timeball/internal/chart/pen"
	"timeball/internal/paper/leaf"
)

// Amount is a sum of money as it is printed.
type Amount struct {
	Sum      string // "1250.00", with the decimals that the currency has
	Currency string // ISO 4217, such as "EUR"
}

// String returns "1250.00 EUR", empty if there is no sum.
func (a Amount) String() string { return joined(" ", a.Sum, a.Currency) }

// Noted is something seen or done, with its day.
type Noted struct {
	On    time.Time // UTC
	Words string
}

// line returns "3 March 2027: one pivot worn".
func (n Noted) line() string {
	if n.On.IsZero() {
		return n.Words
	}
	return fullDay(n.On) + ": " + n.Words
}

// Estimate is what a workshop expects work to cost, for the owner to agree to.
type Estimate struct {
	Size       leaf.Size // A4 if nought
	Made       time.Time // UTC, the day on which it is estimated
	Letterhead Letterhead
	Instrument Instrument
	Reach      string    // how the owner answers, one line; may be empty
	Asked      []Noted   // what the owner asked for
	Found      []Noted   // on examination; none before it is examined
	Work       string    // that is meant
	Hours      float64   // h; 0 if they are not estimated
	Cost       Amount    // of the work and its parts
	Until      time.Time // last day on which it holds; zero until it is taken back
	Note       string
	Agreed     Agreement
}

// Agreement is an owner's word on an estimate; one without a name is not given.
type Agreement struct {
	By   string
	On   time.Time // UTC
	UpTo Amount    // at most; empty for the cost estimated
	Note string
}

// Check returns an error that wraps ErrWanting and names what is missing.
func (e Estimate) Check() error {
	return wanting("estimate", [2]string{"the name of the workshop", e.Letterhead.Workshop}, [2]string{"the number of the instrument", e.Instrument.Number},
		[2]string{"the day it is made", dated(e.Made)}, [2]string{"the work that is meant", e.Work},
		[2]string{"the cost", e.Cost.Sum}, [2]string{"the currency", e.Cost.Currency})
}

// Document sets the estimate on a leaf, or on two if much was found.
func (e Estimate) Document() (*leaf.Document, error) {
	if err := e.Check(); err != nil {
		return nil, err
	}
	d, f := e.Letterhead.opened("Estimate, no. "+e.Instrument.Number, e.Instrument, e.Made, e.Size, leaf.Generous())
	f.Space(-2)
	f.Title("Estimate")
	e.Instrument.introduce(f)
	f.Panel(e.panel()...)
	if len(e.Asked) > 0 {
		f.Heading("What was asked for")
		passages(f, e.Asked)
	}
	f.Heading("What was found")
	if len(e.Found) > 0 {
		passages(f, e.Found)
	} else {
		f.Paragraph("It has not been examined yet. If the examination shows more to do, there is another estimate first.")
	}
	f.Heading("The work that is meant")
	f.Paragraph(e.Work)
	if e.Note != "" {
		f.Paragraph(e.Note)
	}
	f.Heading("What is not included")
	f.Items([]string{
		"Unless it is named above: carriage and packing both ways, insurance, duties and taxes, a trial and a certificate.",
		"What shows only when it is taken apart. Nothing beyond the amount agreed is done before the owner agrees to that too.",
	})
	e.answer(f)
	f.HeadingOf("Before it travels", 24)
	f.Items([]string{
		"Agree its value and its insurance in writing, and who bears which way, before it is handed to a carrier; a value declared on a label is not insurance.",
		"Customs, and permits for a box or fittings of protected materials; a luminous dial or hands, which are to be taken for radium and not opened: " +
			"say so before it is sent, and follow your local rules and a licensed person.",
	})
	f.Close("of " + fullDay(e.Made))
	return d, nil
}

func (e Estimate) panel() []leaf.Fact {
	facts := []leaf.Fact{{Label: "Work and parts", Words: e.Cost.String(), After: "estimated on " + fullDay(e.Made)}}
	if e.Hours > 0 {
		facts = append(facts, leaf.Fact{Label: "Hours", Words: hours(e.Hours) + " h"})
	}
	holds := leaf.Fact{Label: "It holds", Words: "until taken back"}
	if !e.Until.IsZero() {
		holds.Words = "until " + e.Until.UTC().Format("2 Jan 2006")
	}
	return append(facts, holds)
}

// answer sets how the owner agrees, or that he has.
func (e Estimate) answer(f *leaf.Flow) {
	most := e.Cost.String()
	if a := e.Agreed; a.By != "" {
		if a.UpTo.Sum != "" {
			most = a.UpTo.String()
		}
		f.Heading("Agreed")
		f.Paragraph("On " + fullDay(a.On) + " by " + joined(", ", a.By, a.Note) + ": at most " + most + ".")
		return
	}
	f.HeadingOf("To agree", 42)
	to := "Sign this leaf and send it back, or write"
	if e.Reach != "" {
		to += " to " + e.Reach
	}
	f.Paragraph(to + ": the number of the instrument, the date of this estimate, and the most that the work may cost.")
	f.Space(9)
	l, y, s := f.Leaf(), f.Y(), leaf.LabelStyle
	const gap = 6.0
	wide := (f.Width() - 2*gap) / 3
	for i, label := range []string{"At most, instead of " + most, "Place and date", "Name and signature"} {
		x := f.Left() + float64(i)*(wide+gap)
		l.Rule(x, y, x+wide, y, 0.25, pen.Ink1)
		l.Text(x, y+4, leaf.Fitted(label, s, wide), s)
	}
	f.GoTo(y + 7)
}

// introduce sets the lines below the title that say what a paper is about.
func (i Instrument) introduce(f *leaf.Flow) {
	f.Words(i.Named(), leaf.Style{Face: leaf.SerifBold, Size: 12.5})
	if i.Description != "" {
		f.Words(upperFirst(i.Description), leaf.Style{Face: leaf.SerifItalic, Size: 10.5})
	}
	if of := i.Of(); of != "" {
		f.Words("The property of "+of, leaf.Style{Face: leaf.Serif, Size: 10.5})
	}
	f.Space(3)
}

// passages sets what was noted: one without a list, more with their days.
func passages(f *leaf.Flow, all []Noted) {
	var lines []string
	for _, n := range all {
		lines = append(lines, n.line())
	}
	if len(lines) == 1 {
		f.Paragraph(lines[0])
		return
	}
	f.Items(lines)
}

// hours returns hours to a hundredth, without noughts behind.
func hours(h float64) string {
	text := strconv.FormatFloat(h, 'f', 2, 64)
	for text[len(text)-1] == '0' {
		text = text[:len(text)-1]
	}
	if text[len(text)-1] == '.' {
		return text[:len(text)-1]
	}
	return text
}

package paper

import (
	"slices"
	"time"

	"timeball/internal/clock"
	"timeball/internal/paper/leaf"
)

// ServiceReport is what was found and done in one job, for the owner.
type ServiceReport struct {
	Size       leaf.Size // A4 if nought
	Made       time.Time // UTC
	Letterhead Letterhead
	Instrument Instrument
	From, To   time.Time // of the job; To is zero while it goes on
	Asked      []Noted
	Received   Noted // when it came to the bench, in what condition; none if it was there
	Found      []Noted
	Work       []Worked
	Hours      float64  // h, of all work
	Costs      []Amount // the sums, one for each currency
	Agreed     string   // to what the owner agreed, a sentence; may be empty
	Before     Rated    // the rate before the work, if it is known
	After      Rated
	Watch      []string  // sentences
	ServiceDue time.Time // the next; zero if it is not known
}

// Worked is one piece of work.
type Worked struct {
	On                        time.Time // UTC
	Work, Parts, Measurements string
	Hours                     float64 // h
	Cost                      Amount
}

// Rated is a daily rate with the day on which it was so; one without a day is
// not known.
type Rated struct {
	On   time.Time // UTC
	Rate Quantity  // s/d
}

// Check returns an error that wraps ErrWanting and names what is missing.
func (r ServiceReport) Check() error {
	return wanting("service report", [2]string{"the name of the workshop", r.Letterhead.Workshop}, [2]string{"the number of the instrument", r.Instrument.Number},
		[2]string{"the day it is made", dated(r.Made)}, [2]string{"the day on which the job began", dated(r.From)},
		[2]string{"work that was done, or what was found", counted(len(r.Work) + len(r.Found))})
}

// Document sets the report.
func (r ServiceReport) Document() (*leaf.Document, error) {
	if err := r.Check(); err != nil {
		return nil, err
	}
	d, f := r.Letterhead.opened("Service report, no. "+r.Instrument.Number, r.Instrument, r.Made, r.Size, leaf.Generous())
	f.Space(-2)
	f.Title("Service report")
	r.Instrument.introduce(f)
	f.Panel(r.panel()...)
	if len(r.Asked) > 0 {
		f.Heading("What was asked for")
		passages(f, r.Asked)
	}
	f.Heading("As it came")
	switch {
	case r.Received.On.IsZero():
		f.Paragraph("It was in the workshop when the job began, on " + fullDay(r.From) + ".")
	case r.Received.Words == "":
		f.Paragraph("Received on " + fullDay(r.Received.On) + "; no remark on its condition was written.")
	default:
		f.Paragraph("Received on " + fullDay(r.Received.On) + ": " + r.Received.Words)
	}
	if len(r.Found) > 0 {
		f.Heading("What was found")
		passages(f, r.Found)
	}
	r.work(f)
	r.rates(f)
	r.ahead(f)
	f.Close("made " + fullDay(r.Made))
	return d, nil
}

func (r ServiceReport) panel() []leaf.Fact {
	job := leaf.Fact{Label: "The job", Words: "goes on", After: "begun on " + fullDay(r.From)}
	if !r.To.IsZero() {
		job.Words = "closed"
		job.After = r.From.UTC().Format("2 Jan 2006") + " to " + r.To.UTC().Format("2 Jan 2006")
	}
	facts := []leaf.Fact{job}
	if r.Hours > 0 {
		facts = append(facts, leaf.Fact{Label: "Hours", Words: hours(r.Hours) + " h"})
	}
	if len(r.Costs) > 0 {
		cost := leaf.Fact{Label: "Work and parts", Words: r.Costs[0].String()}
		for _, c := range r.Costs[1:] {
			cost.After = joined(", ", cost.After, "and "+c.String())
		}
		facts = append(facts, cost)
	}
	due := leaf.Fact{Label: "Next service", Words: "not known yet"}
	if !r.ServiceDue.IsZero() {
		due.Words = r.ServiceDue.UTC().Format("January 2006")
	}
	return append(facts, due)
}

// work sets what was done as a table with its sums, one for each currency.
func (r ServiceReport) work(f *leaf.Flow) {
	if len(r.Work) == 0 {
		f.Heading("Work done")
		f.Paragraph("No work was done.")
		return
	}
	f.HeadingOf("Work done", 22)
	t := leaf.Table{Columns: []leaf.Column{
		{Title: "Day", Heads: true}, {Title: "Work, parts and measurements", Share: 1}, {Title: "Hours", Align: leaf.Decimal}, {Title: "Cost", Align: leaf.Decimal}, {Title: "Currency"},
	}}
	for _, w := range r.Work {
		words := w.Work
		if w.Parts != "" {
			words += "\nParts: " + w.Parts
		}
		if w.Measurements != "" {
			words += "\nMeasured: " + w.Measurements
		}
		h := ""
		if w.Hours > 0 {
			h = hours(w.Hours)
		}
		t.Rows = append(t.Rows, []string{w.On.UTC().Format("2 Jan 2006"), words, h, w.Cost.Sum, w.Cost.Currency})
	}
	sums := r.Costs
	if len(sums) == 0 && r.Hours > 0 {
		sums = []Amount{{}}
	}
	for i, c := range sums {
		words, h := "Together", ""
		switch {
		case i > 0:
			words = "and in " + c.Currency
		case r.Hours > 0:
			h = hours(r.Hours)
		}
		t.Strong = append(t.Strong, len(t.Rows))
		t.Rows = append(t.Rows, []string{"", words, h, c.Sum, c.Currency})
	}
	for _, column := range []int{4, 3, 2} { // what no line has is no column
		if !slices.ContainsFunc(t.Rows, func(row []string) bool { return row[column] != "" }) {
			t.Columns = slices.Delete(t.Columns, column, column+1)
			for i, row := range t.Rows {
				t.Rows[i] = slices.Delete(row, column, column+1)
			}
		}
	}
	f.Table(t)
	if r.Agreed != "" {
		f.Paragraph(r.Agreed)
	}
}

// rates sets the rate before and after the work, so far as it is known.
func (r ServiceReport) rates(f *leaf.Flow) {
	f.HeadingOf("Its rate, before and after", 24)
	if r.Before.On.IsZero() && r.After.On.IsZero() {
		f.Paragraph("It is not known: too few comparisons were made before the work, and after it.")
		return
	}
	t := leaf.Table{Columns: []leaf.Column{{Title: "When", Heads: true, Width: 36}, {Title: "Known on", Width: 42}, {Title: "Rate a day", Align: leaf.Decimal, Share: 1}, {Title: "±", Align: leaf.Decimal}}}
	row := func(name string, of Rated) {
		if of.On.IsZero() {
			t.Rows = append(t.Rows, []string{name, "", "not known: too few comparisons", ""})
			return
		}
		rate := clock.Rate(of.Rate.Mean)
		t.Rows = append(t.Rows, []string{name, fullDay(of.On), rate.Words(of.Rate.Half), rate.HalfWidth(of.Rate.Half)})
	}
	row("Before the work", r.Before)
	row("After the work", r.After)
	f.Table(t)
	f.Words("Rate is the change of dial less UTC in a day of 86 400 seconds, as warm and as it lay then. Each ± is half of a 95% interval: of all the intervals so given, 95 in 100 hold the true value.", leaf.SmallStyle)
	f.Space(2)
}

// ahead sets what the owner watches and when it is to be serviced again.
func (r ServiceReport) ahead(f *leaf.Flow) {
	f.HeadingOf("What to watch", 22)
	items := append([]string{}, r.Watch...)
	items = append(items,
		"If it stops without a cause that is known, do not start it again; write to us. Turn no hand back, and leave the seconds hand alone.",
		"Power remains in the mainspring when it has stopped, and a luminous dial is to be taken for radium: it is not opened outside a workshop. Follow your local rules and a licensed person.")
	if !r.ServiceDue.IsZero() {
		items = append(items, "It is due to be serviced again in "+r.ServiceDue.UTC().Format("January 2006")+"; oil ages whether it goes or not. Write to us two months before.")
	}
	f.Items(items)
}

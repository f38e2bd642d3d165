package issue

import (
	"bytes"
	"context"
	"encoding/csv"
	"fmt"
	"strconv"
	"strings"
	"time"

	"timeball/internal/chronometer"
	"timeball/internal/paper"
	"timeball/internal/paper/leaf"
)

// job returns the last job of the instrument; that there is none is an error
// that wraps ErrWanting.
func (s subject) job(what string) (chronometer.Job, error) {
	jobs := s.seen.Logbook.Jobs()
	if len(jobs) == 0 {
		return chronometer.Job{}, wanting(what+" of no. "+s.seen.Instrument.Number, []string{"it has had no job; write what is asked for, or what was found"})
	}
	return jobs[len(jobs)-1], nil
}

func (s subject) estimate(ask Ask) (*leaf.Document, error) {
	j, err := s.job("estimate")
	if err != nil {
		return nil, err
	}
	if j.Estimated == nil {
		return nil, wanting("estimate of no. "+s.seen.Instrument.Number, []string{"none is written in the job that began on " + day(j.From) + "; write the work and its cost"})
	}
	at, e := j.Estimated.At, j.Estimated.Fact.(chronometer.Estimated)
	p := paper.Estimate{
		Size: sizeOf(s.size(ask.Paper)), Made: at, Letterhead: s.letterhead(), Instrument: s.instrument(), Reach: s.reach(), Asked: asked(j),
		Work: e.Work, Hours: e.Hours, Cost: amount(e.Cost), Note: e.Note, Agreed: agreement(j),
	}
	if e.Days > 0 {
		p.Until = at.AddDate(0, 0, e.Days)
	}
	for _, f := range j.Found {
		if !f.At.After(at) { // what was found later did not enter it
			p.Found = append(p.Found, noted(f))
		}
	}
	return p.Document()
}

func (s subject) serviceReport(ask Ask) (*leaf.Document, error) {
	j, err := s.job("service report")
	if err != nil {
		return nil, err
	}
	if len(j.Found)+len(s.altering(j)) == 0 {
		return nil, wanting("service report of no. "+s.seen.Instrument.Number, []string{"nothing is found or done in the job that began on " + day(j.From) + " yet"})
	}
	p := paper.ServiceReport{
		Size: sizeOf(s.size(ask.Paper)), Made: s.seen.Now.UTC(), Letterhead: s.letterhead(), Instrument: s.instrument(), From: j.From, To: j.To,
		Asked: asked(j), Hours: j.Hours(), ServiceDue: s.serviceDue(),
	}
	if j.Received != nil {
		r := j.Received.Fact.(chronometer.Received)
		p.Received = paper.Noted{On: j.Received.At, Words: joined("; ", r.Condition, r.Note)}
	}
	for _, f := range j.Found {
		p.Found = append(p.Found, noted(f))
	}
	for _, e := range s.altering(j) {
		switch w := e.Fact.(type) {
		case chronometer.WorkDone:
			p.Work = append(p.Work, paper.Worked{On: e.At, Work: w.Work, Parts: w.Parts, Measurements: w.Measurements, Hours: w.Hours, Cost: amount(w.Cost)})
		case chronometer.Regulated:
			p.Work = append(p.Work, paper.Worked{On: e.At, Work: "Regulated: " + w.Words()})
		}
	}
	for _, c := range j.Cost() {
		p.Costs = append(p.Costs, amount(c))
	}
	if a := agreement(j); a.By != "" {
		most := a.UpTo
		if most.Sum == "" {
			most = amount(j.Estimated.Fact.(chronometer.Estimated).Cost)
		}
		p.Agreed = "Agreed on " + day(a.On) + " by " + joined(", ", a.By, a.Note) + ": at most " + most.String() + "."
	}
	p.Before, p.After = s.ratesAbout(j)
	p.Watch = s.watch(j)
	return p.Document()
}

// fewest is how many comparisons a rate beside a job wants; common practice, no
// source.
const fewest = 3

// ratesAbout returns the rate at the last comparison before the work of a job,
// and that after it, not beyond its end; each unknown on too few comparisons.
func (s subject) ratesAbout(j chronometer.Job) (before, after paper.Rated) {
	r, work := s.seen.Rating, s.altering(j)
	if r == nil || len(work) == 0 {
		return before, after
	}
	first, last := work[0].At, work[len(work)-1].At
	until := j.To
	if j.Open() {
		until = s.seen.Now
	}
	counted := func(from, to time.Time) (n int) {
		for _, x := range r.Residuals {
			if x.At.After(from) && x.At.Before(to) {
				n++
			}
		}
		return n
	}
	enough := func(at, from, to time.Time) bool {
		for _, run := range r.Runs { // of the same run, which a stop ends
			if !at.Before(run.From) && !at.After(run.To) {
				return counted(later(from, run.From.Add(-time.Nanosecond)), to) >= fewest
			}
		}
		return false
	}
	for _, p := range r.Curve {
		known := paper.Rated{On: p.At, Rate: quantity(p.Rate)}
		switch {
		case p.At.Before(first):
			if before = (paper.Rated{}); enough(p.At, time.Time{}, first) {
				before = known
			}
		case p.At.After(last) && !p.At.After(until) && enough(p.At, last, until):
			after = known
		}
	}
	return before, after
}

// altering returns the work and the regulations of a job, in order of time.
func (s subject) altering(j chronometer.Job) []chronometer.Entry {
	var all []chronometer.Entry
	for _, e := range s.seen.Logbook.Standing() {
		if e.At.Before(j.From) || !j.Open() && e.At.After(j.To) {
			continue
		}
		switch e.Fact.(type) {
		case chronometer.WorkDone, chronometer.Regulated:
			all = append(all, e)
		}
	}
	return all
}

func later(a, b time.Time) time.Time {
	if a.After(b) {
		return a
	}
	return b
}

// watch returns what the owner should know of the instrument after the job.
func (s subject) watch(j chronometer.Job) []string {
	var all []string
	if j.Ready != nil {
		if note := j.Ready.Fact.(chronometer.Ready).Note; note != "" {
			all = append(all, sentence(note))
		}
	}
	if len(j.Work) > 0 && j.Work[len(j.Work)-1].At.After(s.seen.Now.AddDate(0, -2, 0)) {
		all = append(all, "The rate may settle for some weeks after the work; compare it every day for the first month, and write every comparison down.")
	}
	return all
}

// sentence returns words with a stop.
func sentence(words string) string {
	if strings.HasSuffix(words, ".") {
		return words
	}
	return words + "."
}

func asked(j chronometer.Job) []paper.Noted {
	if j.Enquired == nil {
		return nil
	}
	q := j.Enquired.Fact.(chronometer.Enquired)
	words := q.What
	if q.From != "" {
		words += "; asked for by " + q.From
	}
	return []paper.Noted{{On: j.Enquired.At, Words: joined("; ", words, q.Note)}}
}

func agreement(j chronometer.Job) paper.Agreement {
	if j.Approved == nil || j.Estimated == nil {
		return paper.Agreement{}
	}
	a := j.Approved.Fact.(chronometer.Approved)
	return paper.Agreement{By: a.Who, On: j.Approved.At, UpTo: amount(a.UpTo), Note: a.Note}
}

func noted(e chronometer.Entry) paper.Noted { return paper.Noted{On: e.At, Words: e.Fact.Words()} }

// amount returns an amount of money as it is printed.
func amount(m chronometer.Money) paper.Amount {
	sum, currency, _ := strings.Cut(m.String(), " ")
	return paper.Amount{Sum: sum, Currency: currency}
}

func joined(sep string, parts ...string) string {
	var some []string
	for _, p := range parts {
		if p != "" {
			some = append(some, p)
		}
	}
	return strings.Join(some, sep)
}

// Invoice returns the work of every job of an instrument as CSV, a piece of
// work a line, for whoever writes the invoice: no sums, no taxes, no numbers of
// accounts. Amounts have the decimals of their currency, and text that a
// spreadsheet would take for a formula has an apostrophe before it.
func (p *Papers) Invoice(ctx context.Context, number string) (Made, error) {
	s, err := p.subject(ctx, number)
	if err != nil {
		return Made{}, err
	}
	m := Made{Name: FileName(string(InvoiceLines), s.seen.Instrument.Number) + ".csv", Type: "text/csv; charset=utf-8"}
	m.Content, err = s.invoice()
	return m, err
}

func (s subject) invoice() ([]byte, error) {
	rows := [][]string{{"job", "date", "what", "parts", "hours", "amount", "currency"}}
	for _, j := range s.seen.Logbook.Jobs() {
		name := "No. " + s.seen.Instrument.Number + " from " + j.From.UTC().Format(time.DateOnly)
		for _, e := range j.Work {
			w := e.Fact.(chronometer.WorkDone)
			hours := ""
			if w.Hours > 0 {
				hours = strconv.FormatFloat(w.Hours, 'f', -1, 64)
			}
			cost := amount(w.Cost)
			rows = append(rows, []string{name, e.At.UTC().Format(time.DateOnly), harmless(w.Work), harmless(w.Parts), hours, cost.Sum, cost.Currency})
		}
	}
	if len(rows) == 1 {
		return nil, wanting("invoice lines of no. "+s.seen.Instrument.Number, []string{"no work is written down; write what was done, its hours and its cost"})
	}
	var b bytes.Buffer
	if err := csv.NewWriter(&b).WriteAll(rows); err != nil {
		return nil, fmt.Errorf("invoice lines of no. %s: %w", s.seen.Instrument.Number, err)
	}
	return b.Bytes(), nil
}

// harmless returns text with an apostrophe before what a spreadsheet would take
// for a formula.
func harmless(text string) string {
	if bare := strings.TrimLeft(text, "' "); bare != "" && strings.ContainsRune("=+-@\t\r\n|", rune(bare[0])) {
		return "'" + text
	}
	return text
}

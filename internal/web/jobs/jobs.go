// Package jobs is what the page of a job shows: how far it has come and whom it
// waits for, what was asked, found and done, what that cost against what was
// agreed, and the jobs before it.
package jobs

import (
	"slices"
	"strconv"
	"strings"
	"time"

	"timeball/internal/chronometer"
	"timeball/internal/web/logbook"
	"timeball/internal/web/wording"
	"timeball/internal/workshop"
)

// Book is the jobs of one instrument.
type Book struct {
	At      string // address of the instrument
	Open    *Job   // the one that goes on
	Earlier []Job  // the newest first
	Actions []Action
	Others  []Action // further entries that can be written
	Papers  []Action // of the last job
}

// Action leads to a form or a paper.
type Action struct{ Verb, Href string }

// Job is one job in words.
type Job struct {
	Span   string // "3 March to 5 April 2027"
	Closed bool
	Title  string // what was asked, or else the first that was found or done
	Stage  string
	Waits  string // "waits for the owner since 3 March"
	Steps  []Step
	Asked  *Line
	Came   *Line // its condition on arrival
	Found  []Line
	Work   []Work
	Totals []Total
	Cost   Cost
	Before []Line // estimates that another took the place of
	Shots  []Picture
}

// Line is one entry.
type Line struct{ When, Words, By string }

// Work is one piece of work.
type Work struct {
	When, Work, Parts, Measurements, Hours, Cost, By string
}

// Total is a sum below the work: one for each currency.
type Total struct{ Label, Hours, Cost string }

// Picture is a photograph taken in the course of the job.
type Picture struct{ Src, Caption, When string }

// Cost is what was estimated and agreed against what was spent.
type Cost struct {
	Estimated, Hours string // empty if nothing was estimated
	Work             string // that was meant
	Until            string // "holds until 3 April"
	Agreed, Who      string // at most; and by whom, when
	Spent            string // "610.50 EUR and 9500 ISK"
	SpentHours       string
	Words            string // how the one stands to the other, a sentence
	Alarm            string // that more is spent than was agreed, a sentence; empty if it is not
}

// New returns the jobs of an instrument whose page stands at an address. Papers
// are offered if the workshop has the name that they carry.
func New(seen workshop.Seen, at string, named bool) Book {
	b := Book{At: at}
	all := seen.Logbook.Jobs()
	for n, j := range slices.Backward(all) {
		if n == len(all)-1 && j.Open() {
			open := newJob(seen, j)
			b.Open = &open
			continue
		}
		b.Earlier = append(b.Earlier, newJob(seen, j))
	}
	stage := ""
	if b.Open != nil {
		stage = b.Open.Stage
	}
	b.act(stage)
	if len(all) > 0 && named {
		b.papers(all[len(all)-1], all)
	}
	return b
}

// Forms that a job is written with, and where they stand.
var (
	enquire  = form{"Enquiry", chronometer.KindEnquired, ""}
	estimate = form{"Estimate", chronometer.KindEstimated, ""}
	approve  = form{"Approved", chronometer.KindApproved, ""}
	receive  = form{"Receive", chronometer.KindReceived, "?station=on+the+bench"}
	found    = form{"Found", chronometer.KindFound, ""}
	work     = form{"Work done", chronometer.KindWorkDone, ""}
	ready    = form{"Ready", chronometer.KindReady, ""}
	pack     = form{"Pack", chronometer.KindPacked, ""}
	home     = form{"Arrived home", chronometer.KindReceived, "?station=with+the+owner"}
	picture  = form{"Photograph", chronometer.KindPhotograph, ""}
)

type form struct {
	verb  string
	kind  chronometer.Kind
	query string
}

func (f form) at(address string) Action {
	return Action{f.verb, address + "/write/" + wording.Slug(f.kind) + f.query}
}

// stage is what a stage of a job asks for: the step that is next and the forms,
// of which the first is the primary one.
type stage struct {
	step  int
	forms []form
}

// The steps of a job, in the order in which they are usually taken.
const (
	stepAsked = iota
	stepEstimated
	stepApproved
	stepReceived
	stepFound
	stepWorked
	stepReady
	stepSent
	stepHome
)

var stepWords = []string{"Asked for", "Estimated", "Agreed to", "Received", "Examined", "Worked on", "Ready", "Sent home", "Back home"}

// stages are the stages that a job can have, and none; a test goes through them.
var stages = map[string]stage{
	"":                           {stepAsked, []form{enquire, receive, found}},
	"asked for":                  {stepEstimated, []form{estimate, receive, found}},
	"estimate with the owner":    {stepApproved, []form{approve, estimate}},
	"agreed, still to come":      {stepReceived, []form{receive, found}},
	"on its way here":            {stepReceived, []form{receive}},
	"to be examined":             {stepFound, []form{found, work, picture}},
	"found, estimate to be made": {stepEstimated, []form{estimate, found, picture}},
	"work to be done":            {stepWorked, []form{work, found, picture}},
	"work going on":              {stepReady, []form{work, ready, found}},
	"ready to go home":           {stepSent, []form{pack, work}},
	"on its way home":            {stepHome, []form{home}},
}

// act sets the actions of a stage and the further entries.
func (b *Book) act(name string) {
	s := stages[name]
	for _, f := range s.forms {
		b.Actions = append(b.Actions, f.at(b.At))
	}
	if b.Open == nil {
		return
	}
	for _, f := range []form{enquire, estimate, approve, found, work, ready, picture} {
		if !slices.ContainsFunc(s.forms, func(g form) bool { return g.kind == f.kind }) {
			b.Others = append(b.Others, f.at(b.At))
		}
	}
}

// papers offers the papers of the last job that can be made, and the lines of
// all.
func (b *Book) papers(last chronometer.Job, all []chronometer.Job) {
	if last.Estimated != nil {
		b.Papers = append(b.Papers, Action{"Estimate", b.At + "/papers?show=estimate"})
	}
	shown := b.Open
	if shown == nil {
		shown = &b.Earlier[0]
	}
	if len(shown.Found)+len(shown.Work) > 0 {
		b.Papers = append(b.Papers, Action{"Service report", b.At + "/papers?show=service-report"})
	}
	if slices.ContainsFunc(all, func(j chronometer.Job) bool { return len(j.Work) > 0 }) {
		b.Papers = append(b.Papers, Action{"Invoice lines, CSV", b.At + "/papers/invoice-lines.csv"})
	}
}

func newJob(seen workshop.Seen, j chronometer.Job) Job {
	now := seen.Now
	line := func(e *chronometer.Entry, words string) *Line {
		if e == nil {
			return nil
		}
		return &Line{wording.Day(e.At, now), wording.Sentence(wording.Upper(words)), e.By}
	}
	v := Job{Stage: j.Stage, Closed: !j.Open(), Span: "since " + wording.FullDay(j.From), Steps: stepsOf(j, now), Cost: costOf(j, now)}
	if !j.Open() {
		v.Span = wording.FullDay(j.From) + " to " + wording.FullDay(j.To)
	}
	if j.Waits != chronometer.Nobody {
		v.Waits = "waits for " + string(j.Waits) + " since " + wording.Day(j.Since, now)
	}
	if j.Enquired != nil {
		v.Asked = line(j.Enquired, j.Enquired.Fact.Words())
		v.Title = j.Enquired.Fact.(chronometer.Enquired).What
	}
	if j.Received != nil {
		r := j.Received.Fact.(chronometer.Received)
		words := strings.TrimSuffix(r.Condition, ".") + wording.After(" · ", r.Note)
		if strings.TrimSpace(words) == "" {
			words = "no remark on its condition"
		}
		v.Came = line(j.Received, words)
	}
	for _, e := range j.Found {
		v.Found = append(v.Found, *line(&e, e.Fact.Words()))
	}
	for _, e := range seen.Logbook.Standing() {
		if e.At.Before(j.From) || !j.Open() && e.At.After(j.To) {
			continue
		}
		switch w := e.Fact.(type) {
		case chronometer.WorkDone:
			v.Work = append(v.Work, Work{wording.Day(e.At, now), w.Work, w.Parts, w.Measurements, hours(w.Hours), w.Cost.String(), e.By})
		case chronometer.Regulated:
			v.Work = append(v.Work, Work{When: wording.Day(e.At, now), Work: "Regulated: " + w.Words(), By: e.By})
		}
	}
	for n, c := range j.Cost() {
		t := Total{Label: "and in " + c.Currency, Cost: c.String()}
		if n == 0 {
			t.Label, t.Hours = "Together", hours(j.Hours())
		}
		v.Totals = append(v.Totals, t)
	}
	if len(v.Totals) == 0 && j.Hours() > 0 {
		v.Totals = []Total{{"Together", hours(j.Hours()), ""}}
	}
	v.alongside(seen, j, line)
	if v.Title == "" {
		v.Title = firstOf(j)
	}
	v.Title = wording.Upper(v.Title)
	return v
}

// alongside collects what the logbook has between the beginning and the end of
// a job that is no part of its record: estimates that were made anew, and
// photographs.
func (v *Job) alongside(seen workshop.Seen, j chronometer.Job, line func(*chronometer.Entry, string) *Line) {
	for _, e := range seen.Logbook.Standing() {
		if e.At.Before(j.From) || !j.Open() && e.At.After(j.To) {
			continue
		}
		switch f := e.Fact.(type) {
		case chronometer.Estimated:
			if j.Estimated != nil && e.ID != j.Estimated.ID {
				v.Before = append(v.Before, *line(&e, f.Words()))
			}
		case chronometer.Photograph:
			if _, ok := logbook.Pictures[f.Type]; ok {
				v.Shots = append(v.Shots, Picture{"/attachments/" + f.SHA256, f.Words(), wording.Day(e.At, seen.Now)})
			}
		}
	}
}

func firstOf(j chronometer.Job) string {
	switch {
	case len(j.Work) > 0:
		return j.Work[0].Fact.(chronometer.WorkDone).Work
	case len(j.Found) > 0:
		return j.Found[0].Fact.Words()
	case j.Estimated != nil:
		return j.Estimated.Fact.(chronometer.Estimated).Work
	}
	return "brought in"
}

func hours(h float64) string {
	if h <= 0 {
		return ""
	}
	return strconv.FormatFloat(h, 'f', -1, 64) + " h"
}

// Step is one step of a job.
type Step struct {
	Words string
	State string // "3 March", "now", "to come", "not written"
	Class string // "done", "now", "ahead", "left"
}

// stepsOf returns the steps of a job; one that was passed over is said to be
// not written.
func stepsOf(j chronometer.Job, now time.Time) []Step {
	at := make([]*chronometer.Entry, len(stepWords))
	at[stepAsked], at[stepEstimated], at[stepApproved], at[stepReceived] = j.Enquired, j.Estimated, j.Approved, j.Received
	if len(j.Found) > 0 {
		at[stepFound] = &j.Found[0]
	}
	if len(j.Work) > 0 {
		at[stepWorked] = &j.Work[len(j.Work)-1]
	}
	at[stepReady], at[stepSent] = j.Ready, j.Sent
	next, last := len(stepWords), -1
	if j.Open() {
		next = stages[j.Stage].step
	} else {
		at[stepHome] = &chronometer.Entry{At: j.To}
	}
	for n, e := range at {
		if e != nil {
			last = n
		}
	}
	steps := make([]Step, len(stepWords))
	for n, words := range stepWords {
		switch e := at[n]; {
		case n == next:
			steps[n] = Step{words, "next", "now"}
		case e != nil:
			steps[n] = Step{words, wording.Day(e.At, now), "done"}
		case (n == stepEstimated || n == stepApproved) && last < stepWorked && j.Open(): // often made once it is examined
			steps[n] = Step{words, "to come", "ahead"}
		case n < min(next, max(last, 0)) || n < next && !j.Open():
			steps[n] = Step{words, "not written", "left"}
		default:
			steps[n] = Step{words, "to come", "ahead"}
		}
	}
	return steps
}

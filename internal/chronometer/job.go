package chronometer

import (
	"fmt"
	"time"
)

// Enquired says that an owner asks for work.
type Enquired struct {
	What string `json:"what" label:"What is asked for" need:"yes"`
	From string `json:"from,omitempty" label:"Who asks"`
	Note string `json:"note,omitempty" label:"Note"`
}

// Kind returns KindEnquired.
func (Enquired) Kind() Kind { return KindEnquired }

// Words returns what is asked for, and by whom.
func (q Enquired) Words() string { return phrase(q.What, q.From, q.Note) }
func (q Enquired) check() error {
	return first(need("what", q.What, "write what the owner asks for"), short("from", q.From), short("note", q.Note))
}

// Estimated is what work is expected to cost.
type Estimated struct {
	Work  string  `json:"work" label:"Work" need:"yes"`
	Hours float64 `json:"hours,omitempty" label:"Hours" unit:"h"`
	Cost  Money   `json:"cost" label:"Cost" hint:"amount and currency, such as 480.00 EUR" need:"yes"`
	Days  int     `json:"days,omitempty" label:"Holds for" unit:"days" hint:"empty: until it is taken back"`
	Note  string  `json:"note,omitempty" label:"Note"`
}

// Kind returns KindEstimated.
func (Estimated) Kind() Kind { return KindEstimated }

// Words returns the work and its cost.
func (e Estimated) Words() string {
	var hours string
	if e.Hours > 0 {
		hours = number(e.Hours) + " h"
	}
	return phrase(e.Work, hours, e.Cost.String(), e.Note)
}

func (e Estimated) check() error {
	if e.Cost.IsZero() {
		return fmt.Errorf("cost is missing; write an amount and three letters, such as 480.00 EUR")
	}
	return first(need("work", e.Work, "write the work that is meant"), within("hours", e.Hours, 0, 10000, "h"), within("days", float64(e.Days), 0, 3650, "days"), short("note", e.Note))
}

// Approved says that the owner agrees to the estimate.
type Approved struct {
	Who  string `json:"who" label:"Who agrees" need:"yes"`
	UpTo Money  `json:"up_to,omitzero" label:"At most" hint:"empty: what was estimated"`
	Note string `json:"note,omitempty" label:"Note" hint:"in writing, by telephone"`
}

// Kind returns KindApproved.
func (Approved) Kind() Kind { return KindApproved }

// Words returns who agrees, and to how much.
func (a Approved) Words() string {
	var most string
	if !a.UpTo.IsZero() {
		most = "at most " + a.UpTo.String()
	}
	return phrase(a.Who, most, a.Note)
}
func (a Approved) check() error {
	return first(need("who", a.Who, "write who agrees"), short("note", a.Note))
}

// Ready says that the work is done and the instrument can go home.
type Ready struct {
	Note string `json:"note,omitempty" label:"Note"`
}

// Kind returns KindReady.
func (Ready) Kind() Kind { return KindReady }

// Words returns the note.
func (r Ready) Words() string { return r.Note }
func (r Ready) check() error  { return short("note", r.Note) }

// Waits is whom a job waits for.
type Waits string

// Whom a job can wait for; nobody once it is closed.
const (
	Nobody     Waits = ""
	TheKeeper  Waits = "the keeper"
	TheOwner   Waits = "the owner"
	TheCarrier Waits = "the carrier"
	TheBench   Waits = "the bench"
)

// The stages at which something is to be done.
const (
	stageAsked     = "asked for"
	stageFound     = "found, estimate to be made"
	stageEstimated = "estimate with the owner"
	stageReady     = "ready to go home"
)

// askAgain is how long an estimate lies with an owner before he is asked again;
// common practice, no source.
const askAgain = 21 * 24 * time.Hour

// jobAction returns what the open job asks of the keeper, if anything: what
// nobody has set an hour for is due now, and never late.
func jobAction(s State, now time.Time) (Action, bool) {
	since := s.StageSince.Format("2 January")
	switch s.Stage {
	case stageAsked:
		return Action{Verb: "Estimate", Kind: KindEstimated, Say: "work is asked for since " + since + ": make the estimate", Due: now}, true
	case stageFound:
		return Action{Verb: "Estimate", Kind: KindEstimated, Say: "examined on " + since + ": make the estimate", Due: now}, true
	case stageEstimated:
		return Action{Verb: "Approved", Kind: KindApproved, Say: "the estimate of " + since + " lies with the owner: ask again", Due: s.StageSince.Add(askAgain)}, true
	case stageReady:
		if s.Station != Carriage && s.Station != Home {
			return Action{Verb: "Pack", Kind: KindPacked, Say: "ready to go home since " + since + ": hold the balance and pack it", Due: now}, true
		}
	}
	return Action{}, false
}

// Job is one round of an instrument through the workshop: from an enquiry, or
// its arrival, until it is back.
type Job struct {
	From, To  time.Time // To is zero while it is open
	Enquired  *Entry
	Estimated *Entry // the last
	Approved  *Entry // of the last estimate; nil once another was made
	Received  *Entry // at the bench
	Found     []Entry
	Work      []Entry
	Ready     *Entry
	Sent      *Entry // home
	Stage     string // in words: "estimate to be made"
	Waits     Waits
	Since     time.Time // it waits so since then
}

// Open reports whether the job goes on.
func (j Job) Open() bool { return j.To.IsZero() }

// Hours returns the hours written down for the work.
func (j Job) Hours() float64 {
	sum := 0.0
	for _, e := range j.Work {
		sum += e.Fact.(WorkDone).Hours
	}
	return sum
}

// Cost returns what the work and its parts cost, by currency.
func (j Job) Cost() []Money {
	var all []Money
	for _, e := range j.Work {
		all = append(all, e.Fact.(WorkDone).Cost)
	}
	return Sum(all)
}

// Jobs returns the jobs of the instrument, oldest first. An enquiry opens one,
// and so does its arrival at the bench, or what is found or done there; it ends
// when the instrument is received home again, or cased there.
func (b Logbook) Jobs() []Job {
	var jobs []Job
	current := func(e Entry) *Job {
		if n := len(jobs); n > 0 && jobs[n-1].Open() {
			return &jobs[n-1]
		}
		jobs = append(jobs, Job{From: e.At, Since: e.At})
		return &jobs[len(jobs)-1]
	}
	open := func() *Job {
		if n := len(jobs); n > 0 && jobs[n-1].Open() {
			return &jobs[n-1]
		}
		return nil
	}
	for _, e := range b.Standing() {
		switch f := e.Fact.(type) {
		case Enquired:
			current(e).Enquired = &e
		case Estimated:
			j := current(e)
			j.Estimated, j.Approved = &e, nil
		case Approved:
			if j := open(); j != nil && j.Estimated != nil {
				j.Approved = &e
			}
		case Received:
			switch j := open(); {
			case f.Station == Bench:
				current(e).Received = &e
			case f.Station == Home && j != nil && (j.Received != nil || len(j.Work) > 0):
				j.To = e.At
			}
		case Found:
			j := current(e)
			j.Found = append(j.Found, e)
		case WorkDone:
			j := current(e)
			j.Work, j.Ready = append(j.Work, e), nil
		case Ready:
			if j := open(); j != nil {
				j.Ready = &e
			}
		case Sent:
			if j := open(); j != nil && (j.Received != nil || len(j.Work) > 0) {
				j.Sent = &e
			}
		}
	}
	for i := range jobs {
		jobs[i].stand(b)
	}
	return jobs
}

// stand says how far an open job has come, and whom it waits for.
func (j *Job) stand(b Logbook) {
	if !j.Open() {
		j.Stage = "closed"
		return
	}
	at := func(stage string, waits Waits, since time.Time) { j.Stage, j.Waits, j.Since = stage, waits, since }
	now := b.StateAt(b.entries[len(b.entries)-1].At)
	onItsWay := now.Station == Carriage
	switch {
	case j.Sent != nil && onItsWay:
		at("on its way home", TheCarrier, j.Sent.At)
	case j.Ready != nil:
		at(stageReady, TheKeeper, j.Ready.At)
	case j.Estimated != nil && j.Approved == nil:
		at(stageEstimated, TheOwner, j.Estimated.At)
	case j.Received == nil && len(j.Found)+len(j.Work) == 0 && onItsWay:
		at("on its way here", TheCarrier, now.StationSince)
	case j.Received == nil && len(j.Found)+len(j.Work) == 0 && j.Estimated == nil && j.Enquired != nil:
		at(stageAsked, TheKeeper, j.Enquired.At)
	case j.Received == nil && len(j.Found)+len(j.Work) == 0:
		at("agreed, still to come", TheOwner, j.Approved.At)
	case len(j.Found) == 0 && len(j.Work) == 0:
		at("to be examined", TheBench, j.Received.At)
	case j.Estimated == nil && j.Enquired != nil:
		at(stageFound, TheKeeper, j.Found[len(j.Found)-1].At)
	case len(j.Work) == 0:
		at("work to be done", TheBench, j.latest())
	default:
		at("work going on", TheBench, j.Work[len(j.Work)-1].At)
	}
}

// latest returns when anything of the job was written last.
func (j Job) latest() time.Time {
	last := j.From
	for _, e := range []*Entry{j.Enquired, j.Estimated, j.Approved, j.Received} {
		if e != nil && e.At.After(last) {
			last = e.At
		}
	}
	for _, e := range j.Found {
		if e.At.After(last) {
			last = e.At
		}
	}
	return last
}

package journeys

import (
	"fmt"
	"html/template"
	"net/url"
	"slices"
	"strings"

	"timeball/internal/adjust"
	"timeball/internal/carriage"
	"timeball/internal/chart/fittings"
	"timeball/internal/chronometer"
	"timeball/internal/web/form"
	"timeball/internal/web/wording"
)

// Page is a journey as its page shows it.
type Page struct {
	To, Way        string
	Done, Of       int
	Whole          bool
	Phases         []Phase
	Notices        []Notice
	Hazards        []carriage.Hazard
	HazardsInShort string
	HazardsOpen    bool // nothing is done yet
	Step           *Step
	Strike         string // where the journey as such is struck out
}

// Phase is the steps of one phase.
type Phase struct {
	Name     string
	Done, Of int
	Now      bool // the step shown is of it
	Rows     []Row
}

// Row is one step in the list.
type Row struct {
	Title, Href string
	Standing    string // "done", "may be done now", "to come", "to be done again"
	Shown       bool
	Ticks       []Ticked
	EndsIn      string
}

// Ticked is one tick of a step.
type Ticked struct{ When, By, Note, Undo string }

// Ref leads to a step.
type Ref struct{ Words, Href string }

// Notice is what must be seen before the step.
type Notice struct {
	Words   string
	Trouble bool
	Links   []Ref
}

// Step is one step on a screen of its own.
type Step struct {
	ID, Title           string
	Phase               string
	Number, Of          int
	Do, Needs, Cautions []string
	Harm, Check, Write  string
	Basis               string
	Drawing             template.HTML
	Standing            string
	May                 bool
	First               []Ref // what comes first
	Ticks               []Ticked
	Back, On            *Ref // the allowed steps beside it
	Entry               *Ref // the form of the entry it ends in
	Photograph          string
	Pictured            bool // a picture is wanted
	Arrival             *Arrival
	Tick                []form.Field
}

// standings of a row.
const (
	isDone    = "done"
	mayBe     = "may be done now"
	toCome    = "to come"
	toDoAgain = "to be done again"
)

// href leads to the screen of a step.
func href(at string, id carriage.ID) string {
	return at + "/journey?step=" + url.QueryEscape(string(id)) + "#step"
}

// NewPage returns the page of a journey that shows a step, the first that may
// be done if none is named; false if there is no such step.
func NewPage(c Course, at string, id carriage.ID, answers url.Values) (Page, bool) {
	p := Page{To: c.Fact.To, Way: c.way(), Done: len(c.Done), Of: len(c.Plan), Whole: c.Finished(), Strike: at + "/strike/" + string(c.Begun.ID)}
	p.Hazards = carriage.Hazards(adjust.Fittings(c.seen.Instrument, c.Fact))
	p.HazardsOpen = len(c.Done) == 0
	var matters []string
	for _, h := range p.Hazards {
		matters = append(matters, h.Matter)
	}
	p.HazardsInShort = wording.Joined(matters)
	if id == "" && len(c.Next) > 0 {
		id = c.Next[0]
	}
	if id != "" {
		s, ok := c.Step(id)
		if !ok {
			return p, false
		}
		p.Step = c.screen(s, at, answers)
	}
	p.Phases = c.phases(at, id)
	p.Notices = c.notices(at)
	return p, true
}

// phases returns the steps by phase.
func (c Course) phases(at string, shown carriage.ID) []Phase {
	var all []Phase
	again := map[carriage.ID]bool{}
	for _, b := range c.Progress.PutBack {
		for _, id := range b.Steps {
			again[id] = true
		}
	}
	for _, name := range carriage.Phases() {
		p := Phase{Name: wording.Upper(string(name))}
		for _, s := range c.Plan {
			if s.Phase != name {
				continue
			}
			r := Row{Title: s.Title, Href: href(at, s.ID), Standing: c.stands(s.ID), Shown: s.ID == shown, Ticks: c.ticked(s.ID, at)}
			if again[s.ID] && r.Standing != isDone {
				r.Standing = toDoAgain
			}
			if s.Record != carriage.Note && s.Record != "" {
				r.EndsIn = string(s.Record)
			}
			if p.Of++; r.Standing == isDone {
				p.Done++
			}
			p.Now = p.Now || r.Shown
			p.Rows = append(p.Rows, r)
		}
		if p.Of > 0 {
			all = append(all, p)
		}
	}
	return all
}

func (c Course) stands(id carriage.ID) string {
	switch {
	case c.done(id):
		return isDone
	case c.may(id):
		return mayBe
	}
	return toCome
}

func (c Course) ticked(id carriage.ID, at string) []Ticked {
	var all []Ticked
	for _, t := range c.standing(id) {
		all = append(all, Ticked{When: wording.Instant(t.At, c.seen.Now), By: t.By, Note: t.Fact.Note, Undo: at + "/journey/undo?entry=" + string(t.Entry.ID)})
	}
	return all
}

// screen returns a step on a screen of its own.
func (c Course) screen(s carriage.Step, at string, answers url.Values) *Step {
	out := &Step{
		ID: string(s.ID), Title: s.Title, Phase: wording.Upper(string(s.Phase)), Of: len(c.Plan), Do: s.Do, Needs: s.Needs, Cautions: s.Cautions,
		Harm: wording.Sentence(s.Harm), Check: s.Check, Write: s.Write, Basis: s.Basis, Standing: c.stands(s.ID), May: c.may(s.ID),
		Ticks: c.ticked(s.ID, at), Entry: EntryOf(s, at, c.Fact.To), Pictured: s.Photograph,
	}
	out.Number = 1 + slices.IndexFunc(c.Plan, func(o carriage.Step) bool { return o.ID == s.ID })
	out.Photograph = at + "/write/photograph?caption=" + url.QueryEscape(s.Title)
	if sheet, ok := fittings.Sheet(string(s.Drawing), "fitting"); ok {
		out.Drawing = template.HTML(sheet.SVG()) // made here, its words escaped
	}
	if !out.May && !c.done(s.ID) {
		for _, id := range s.After {
			if !c.done(id) {
				out.First = append(out.First, Ref{c.title(id), href(at, id)})
			}
		}
	}
	out.beside(c, s.ID, at)
	if !out.May {
		return out
	}
	if s.ID == readDial {
		out.Arrival = c.arrival(answers)
	}
	out.Tick = TickFields(s, c.seen.Instrument)
	if out.Arrival != nil {
		out.Tick[len(out.Tick)-1].Value = out.Arrival.Note
	}
	return out
}

// TickFields returns the fields of the form that ticks a step, the note last.
func TickFields(s carriage.Step, i chronometer.Instrument) []form.Field {
	var all []form.Field
	if readsDial(s) {
		all = append(all, form.Field{Name: DialField, Label: "Dial as it stands", Hint: "h:mm:ss or h:mm:ss.s; on arrival it tells whether the balance was held all the way", Shape: form.Line})
		if i.UpDown {
			all = append(all, form.Field{Name: UpDownField, Label: "Up-and-down dial", Unit: "h", Hint: "hours since wound, as it reads", Shape: form.Number})
		}
	}
	note := form.Field{Name: "note", Label: "Note", Hint: "whatever is worth keeping", Shape: form.Area}
	if s.Write != "" {
		note.Label, note.Hint = "Write down", s.Write
	}
	return append(all, note)
}

// beside sets the allowed steps before and after a step.
func (s *Step) beside(c Course, id carriage.ID, at string) {
	here := s.Number - 1
	for n, o := range c.Plan {
		if !c.may(o.ID) || o.ID == id {
			continue
		}
		r := &Ref{o.Title, href(at, o.ID)}
		if n < here {
			s.Back = r
		} else if s.On == nil {
			s.On = r
		}
	}
}

// EntryOf returns the form of the entry that a step ends in, nil if its tick
// says it all.
func EntryOf(s carriage.Step, at, to string) *Ref {
	kind := chronometer.Kind(s.Record)
	switch s.Record {
	case "", carriage.Note:
		return nil
	case carriage.Compared:
		return &Ref{string(kind), at + "/compare"}
	case carriage.Started:
		return &Ref{string(kind), at + "/start"}
	}
	q := url.Values{}
	switch s.Record {
	case carriage.Photograph:
		q.Set("caption", s.Title)
	case carriage.Sent:
		q.Set("to", to)
	case carriage.Held:
		q.Set("with", string(holdOf(s)))
	}
	r := &Ref{string(kind), at + "/write/" + wording.Slug(kind)}
	if len(q) > 0 {
		r.Href += "?" + q.Encode()
	}
	return r
}

// holdOf returns what holds the balance after a step.
func holdOf(s carriage.Step) chronometer.Hold {
	if strings.Contains(s.Title, "brake") {
		return chronometer.Brake
	}
	return chronometer.Wedge
}

// notices returns what must be seen first.
func (c Course) notices(at string) []Notice {
	var all []Notice
	if words := c.cameFree(); words != "" {
		all = append(all, Notice{Words: words, Trouble: true})
	}
	for _, x := range c.Conflicts {
		var who []string
		for _, t := range x.Ticks {
			who = append(who, t.By+" at "+wording.Instant(t.At, c.seen.Now))
		}
		all = append(all, Notice{Words: "“" + c.title(x.Step) + "” was ticked by " + wording.Joined(who) + ". Both are kept: ask who did it, and strike out the other.", Links: []Ref{{"Look at it", href(at, x.Step)}}})
	}
	for _, r := range c.Refused {
		if c.done(r.Tick.Step) || r.Tick.Struck != nil {
			continue
		}
		words := "“" + c.title(r.Tick.Step) + "” was ticked out of order by " + r.Tick.By + " at " + wording.Instant(r.Tick.At, c.seen.Now) + " and does not count"
		if len(r.Missing) == 0 {
			words = "A tick by " + r.Tick.By + " at " + wording.Instant(r.Tick.At, c.seen.Now) + " is of a step that this instrument does not have, and does not count"
		}
		all = append(all, Notice{Words: words + "."})
	}
	if lack := c.unwritten(at); len(lack) > 0 {
		all = append(all, Notice{Words: "Done, and not yet written in the logbook:", Links: lack})
	}
	return all
}

// unwritten returns the entries in which done steps end and that are not in the
// logbook since the journey was begun.
func (c Course) unwritten(at string) []Ref {
	written := map[chronometer.Kind]int{}
	for _, e := range c.seen.Logbook.Standing() {
		if !e.At.Before(c.Begun.At) {
			written[e.Kind()]++
		}
	}
	var lack []Ref
	for _, id := range c.Done {
		s, _ := c.Step(id)
		r := EntryOf(s, at, c.Fact.To)
		if r == nil {
			continue
		}
		kind := chronometer.Kind(s.Record)
		if written[kind] > 0 {
			if kind != chronometer.KindPhotograph { // one picture may be all there is to show
				written[kind]--
			}
			continue
		}
		r.Words = fmt.Sprintf("%s (%s)", r.Words, s.Title)
		lack = append(lack, *r)
	}
	return lack
}

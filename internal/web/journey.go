package web

import (
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"time"

	"timeball/internal/adjust"
	"timeball/internal/carriage"
	"timeball/internal/chronometer"
	"timeball/internal/web/form"
	"timeball/internal/web/journeys"
	"timeball/internal/web/wording"
	"timeball/internal/workshop"
)

// journeyPage is the way of an instrument from one place to another, or the
// form that begins it.
type journeyPage struct {
	frame
	*journeys.Page // nil: none was begun
	Number, At     string
	Back           []link
	Begin          *form.Form // nil: one goes on
	Tick           *form.Form // nil: the step cannot be ticked now
	Undo           *undoing
	Told           *told // what was done a moment ago
	Doing          *journeys.Ref
	Anew           string // the form of the particulars
	JourneyID      chronometer.ID
	UndoEntry      chronometer.ID
}

// undoing asks why a tick is struck out.
type undoing struct {
	Form  form.Form
	Title string
	Who   string
	Also  []string // later steps that go back with it
}

// travels says on the page of an instrument that a journey goes on, and what
// comes next.
func (p *instrumentPage) travels(seen workshop.Seen) {
	c, ok, err := journeys.Last(seen)
	if !ok || err != nil || !c.Open() { // its own page says what is wrong
		return
	}
	next, _ := c.Step(c.Next[0])
	p.Notices = append(p.Notices, notice{
		Words: fmt.Sprintf("Its journey to %s: %d of %d steps are done; next comes “%s”.", c.Fact.To, len(c.Done), len(c.Plan), next.Title),
		Link:  &link{"Go on", p.At + "/journey#step"},
	})
}

// newJourneyPage returns the page without its step, and the journey begun last.
func (s *site) newJourneyPage(r *http.Request) (journeyPage, workshop.Seen, journeys.Course, error) {
	seen, err := s.workshop.See(r.Context(), r.PathValue("number"))
	if err != nil {
		return journeyPage{}, seen, journeys.Course{}, err
	}
	number, at := seen.Instrument.Number, pathOf(r)
	p := journeyPage{frame: s.frame("Journey of No. "+number, "room"), Number: number, At: at, Anew: address("", seen.ID) + "/write/" + wording.Slug(chronometer.KindEntered)}
	p.Back = []link{{"The room", "/"}, {"No. " + number, at}}
	p.Now = seen.Now.UTC()
	c, _, err := journeys.Last(seen)
	p.JourneyID = c.Begun.ID
	return p, seen, c, err
}

func (s *site) journey(w http.ResponseWriter, r *http.Request) error {
	p, seen, c, err := s.newJourneyPage(r)
	if err != nil {
		return err
	}
	q := r.URL.Query()
	if err := s.showJourney(r, &p, seen, c, carriage.ID(q.Get("step")), q); err != nil {
		return err
	}
	p.tell(seen, c, chronometer.ID(q.Get("wrote")))
	status := http.StatusOK
	if p.Page != nil && p.Step != nil && p.Step.Arrival != nil && p.Step.Arrival.Problem != "" {
		status = http.StatusUnprocessableEntity
	}
	s.show(w, status, "journey", p)
	return nil
}

// showJourney puts the journey on the page with the step asked for and its
// form, and the form that begins one where none goes on.
func (s *site) showJourney(r *http.Request, p *journeyPage, seen workshop.Seen, c journeys.Course, step carriage.ID, answers url.Values) error {
	if c.Begun.ID != "" {
		page, ok := journeys.NewPage(c, p.At, step, answers)
		if !ok {
			return errStep
		}
		p.Page = &page
	}
	if c.Begun.ID == "" || !c.Open() {
		return s.offerJourney(r, p, seen)
	}
	if p.Step == nil || !p.Step.May {
		return nil
	}
	blank := form.New(chronometer.KindNote)
	f := form.Form{Action: p.At + "/journey/done", Button: "Done", When: blank.When, By: blank.By, Fields: p.Step.Tick}
	f.When.Label, f.By.Label, f.By.Value = "When it was done", "Who did it", author(r)
	f.When.Further = true
	var err error
	if f.ID, err = s.workshop.NewID(r.Context(), seen.ID, chronometer.KindStepDone); err != nil {
		return err
	}
	p.Tick = &f
	return nil
}

// offerJourney puts the form that begins a journey on the page.
func (s *site) offerJourney(r *http.Request, p *journeyPage, seen workshop.Seen) error {
	f := form.New(chronometer.KindJourney)
	f.Action, f.Button, f.By.Label, f.By.Value = p.At+"/journey", "Begin the journey", "Who begins it", author(r)
	switch seen.State.Motion {
	case chronometer.Going:
		f.Field("goes").Value = string(chronometer.DepartsGoing)
	case chronometer.StoodStill, chronometer.BalanceHeld:
		f.Field("goes").Value = string(chronometer.DepartsStopped)
	}
	f.Field("goes").Choose()
	var err error
	if f.ID, err = s.workshop.NewID(r.Context(), seen.ID, chronometer.KindJourney); err != nil {
		return err
	}
	p.Begin = &f
	return nil
}

// tell says what was written a moment ago: a journey begun, a step done, or one
// struck out.
func (p *journeyPage) tell(seen workshop.Seen, c journeys.Course, wrote chronometer.ID) {
	e, ok := seen.Logbook.Entry(wrote)
	if !ok {
		return
	}
	who := wording.Instant(e.At, seen.Now) + ", by " + e.By
	switch f := e.Fact.(type) {
	case chronometer.JourneyBegun:
		p.Told = &told{Words: "The journey is begun · " + who + "."}
	case chronometer.StepDone:
		p.Told = &told{Words: "Done: " + e.Fact.Words() + " · " + who + ".", Href: p.At + "/journey/undo?entry=" + url.QueryEscape(string(e.ID))}
		if step, ok := c.Step(carriage.ID(f.Step)); ok {
			p.Doing = journeys.EntryOf(step, p.At, c.Fact.To)
		}
	case chronometer.StruckOut:
		p.Told = &told{Words: "Struck out · " + who + "."}
		for _, b := range c.Progress.PutBack {
			if t, ok := c.Ticked(f.Entry); ok && b.Struck.Step == t.Step && b.Struck.At.Equal(t.At) && b.Struck.By == t.By {
				var titles []string
				for _, id := range b.Steps {
					step, _ := c.Step(id)
					titles = append(titles, "“"+step.Title+"”")
				}
				p.Told.Words = "Struck out · " + who + ". To be done again: " + wording.Joined(titles) + "."
			}
		}
	}
}

// begin begins a journey.
func (s *site) beginJourney(w http.ResponseWriter, r *http.Request) error {
	if err := parse(w, r); err != nil {
		return err
	}
	p, seen, c, err := s.newJourneyPage(r)
	if err != nil {
		return err
	}
	if err := s.offerJourney(r, &p, seen); err != nil {
		return err
	}
	p.Begin.Sent(r.PostForm)
	by, at := p.Begin.Sign(), p.Begin.At(s.now())
	fact := p.Begin.Fact(chronometer.KindJourney)
	if _, again := seen.Logbook.Entry(p.Begin.ID); !again && c.Begun.ID != "" && c.Open() {
		p.Begin.Problem = "The journey to " + c.Fact.To + ", begun " + wording.Instant(c.Begun.At, seen.Now) + ", is not done: go on with it, or strike it out first."
	}
	if fact != nil && p.Begin.OK() {
		if begun, ok := fact.(chronometer.JourneyBegun); ok {
			if _, err := carriage.Whole(adjust.Fittings(seen.Instrument, begun)); err != nil {
				p.Begin.Problem = wording.Sentence(wording.Upper(err.Error()))
			}
		}
	}
	if fact != nil && p.Begin.OK() {
		e, err := s.workshop.WriteOnce(r.Context(), p.Begin.ID, by, seen.ID, at, fact)
		if err == nil {
			remember(w, r, by)
			return wrote(w, r, p.At+"/journey?wrote="+url.QueryEscape(string(e.ID)), "Journey begun: "+e.Fact.Words())
		}
		if err := s.blame(r, p.Begin, chronometer.KindJourney, seen.ID, err); err != nil {
			return err
		}
	}
	if byScript(r) {
		return tell(w, http.StatusUnprocessableEntity, told{Problems: p.Begin.Problems()})
	}
	s.show(w, http.StatusUnprocessableEntity, "journey", p)
	return nil
}

// doneStep ticks a step. What is sent once more under its ID is answered as it
// was the first time.
func (s *site) doneStep(w http.ResponseWriter, r *http.Request) error {
	if err := parse(w, r); err != nil {
		return err
	}
	p, seen, c, err := s.newJourneyPage(r)
	if err != nil {
		return err
	}
	id := carriage.ID(r.PostForm.Get("step"))
	sent, err := chronometer.ParseID(r.PostForm.Get(form.IDName))
	if err != nil {
		return err
	}
	_, again := seen.Logbook.Entry(sent)
	if c.Begun.ID == "" || !again && string(c.Begun.ID) != r.PostForm.Get("journey") {
		return errJourney
	}
	step, known := c.Step(id)
	if !known {
		return errStep
	}
	if err := s.showJourney(r, &p, seen, c, id, url.Values{}); err != nil {
		return err
	}
	f := p.Tick
	if f == nil { // done, or not to be done yet: Admits says which
		blank := form.New(chronometer.KindNote)
		f = &form.Form{When: blank.When, By: blank.By, Fields: journeys.TickFields(step, seen.Instrument)}
	}
	f.Sent(r.PostForm)
	by, at := f.Sign(), f.At(s.now())
	note := f.Field("note").Value
	if dial := f.Field(journeys.DialField); dial != nil {
		up := &form.Field{}
		if x := f.Field(journeys.UpDownField); x != nil {
			up = x
		}
		var read string
		read, dial.Error, up.Error = journeys.Reading(dial.Value, up.Value)
		note = strings.Join(slices.DeleteFunc([]string{read, strings.TrimSpace(note)}, func(t string) bool { return t == "" }), "; ")
	}
	if f.OK() && !again {
		when := at
		if when.IsZero() {
			when = s.now().UTC().Truncate(time.Microsecond)
		}
		if err := c.Admits(id, when, by); err != nil {
			f.Problem = wording.Sentence(wording.Upper(wording.Plain(err, "")))
		}
	}
	if f.OK() {
		fact := chronometer.StepDone{Journey: chronometer.ID(r.PostForm.Get("journey")), Step: string(id), Title: step.Title, Note: strings.TrimSpace(note)}
		e, err := s.workshop.WriteOnce(r.Context(), sent, by, seen.ID, at, fact)
		if err == nil {
			remember(w, r, by)
			return wrote(w, r, p.At+"/journey?wrote="+url.QueryEscape(string(e.ID))+"#step", "Done: "+e.Fact.Words())
		}
		if err := s.blame(r, f, chronometer.KindStepDone, seen.ID, err); err != nil {
			return err
		}
	}
	switch {
	case byScript(r):
		return tell(w, http.StatusUnprocessableEntity, told{Problems: f.Problems()})
	case p.Tick == nil:
		return errors.Join(chronometer.ErrRefused, errors.New(strings.Join(f.Problems(), " ")))
	}
	s.show(w, http.StatusUnprocessableEntity, "journey", p)
	return nil
}

// undoPage returns the page that asks why a tick was wrong.
func (s *site) undoPage(r *http.Request, entry chronometer.ID) (journeyPage, workshop.Seen, error) {
	p, seen, c, err := s.newJourneyPage(r)
	if err != nil {
		return p, seen, err
	}
	t, ok := c.Ticked(entry)
	if !ok {
		return p, seen, errEntry
	}
	page, _ := journeys.NewPage(c, p.At, t.Step, url.Values{})
	page.Step = nil
	p.Page = &page
	u := undoing{Form: form.New(chronometer.KindStruckOut), Title: t.Fact.Title, Who: wording.Instant(t.At, seen.Now) + ", by " + t.By}
	u.Form.When, u.Form.Action, u.Form.By.Value = nil, p.At+"/journey/undo", author(r)
	u.Form.Fields = slices.DeleteFunc(u.Form.Fields, func(x form.Field) bool { return x.Name == "entry" })
	if by, struck := seen.Logbook.StruckOut(entry); struck {
		u.Form.Problem = "It is struck out already, by " + by.By + " on " + wording.Instant(by.Written, seen.Now) + "."
	}
	for _, title := range c.TakesBack(entry, seen.Now) {
		if title != t.Fact.Title {
			u.Also = append(u.Also, title)
		}
	}
	u.Form.ID, err = s.workshop.NewID(r.Context(), seen.ID, chronometer.KindStruckOut)
	p.Undo, p.UndoEntry = &u, entry
	return p, seen, err
}

func (s *site) askUndo(w http.ResponseWriter, r *http.Request) error {
	entry := r.URL.Query().Get("entry")
	if entry == "" {
		return s.journey(w, r)
	}
	p, _, err := s.undoPage(r, chronometer.ID(entry))
	if err != nil {
		return err
	}
	s.show(w, http.StatusOK, "journey", p)
	return nil
}

// undoStep strikes a tick out.
func (s *site) undoStep(w http.ResponseWriter, r *http.Request) error {
	if err := parse(w, r); err != nil {
		return err
	}
	entry := chronometer.ID(r.PostForm.Get("entry"))
	p, seen, err := s.undoPage(r, entry)
	if err != nil {
		return err
	}
	f := &p.Undo.Form
	f.Problem = "" // the logbook tells whether it was this that was sent before
	f.Sent(r.PostForm)
	by, why := f.Sign(), f.Field("why")
	if strings.TrimSpace(why.Value) == "" {
		why.Error = "Say what was wrong with it."
	}
	if f.OK() {
		e, err := s.workshop.WriteOnce(r.Context(), f.ID, by, seen.ID, time.Time{}, chronometer.StruckOut{Entry: entry, Why: strings.TrimSpace(why.Value)})
		if err == nil {
			remember(w, r, by)
			return see(w, r, p.At+"/journey?wrote="+url.QueryEscape(string(e.ID))+"#step")
		}
		if err := s.blame(r, f, chronometer.KindStruckOut, seen.ID, err); err != nil {
			return err
		}
	}
	s.show(w, http.StatusUnprocessableEntity, "journey", p)
	return nil
}

package web

import (
	"errors"
	"net/http"
	"net/url"
	"strings"

	"timeball/internal/adjust"
	"timeball/internal/chronometer"
	"timeball/internal/web/form"
	"timeball/internal/web/trials"
	"timeball/internal/web/wording"
	"timeball/internal/workshop"
)

// trialPage is a trial of one instrument, or the choice of a programme for one.
type trialPage struct {
	frame
	Back       []link
	Head       string
	Number, At string
	Written    string // what was written just now
	Pending    bool
	Problem    string // why the trials cannot be followed
	Trial      *trials.Sheet
	Latest     bool // it is the last one
	Do         *trials.Task
	DoNow      bool
	End        *form.Form
	Beside     *trials.Beside
	Begin      *form.Form
	Choices    []trials.Programme
	Caution    []string
	Barred     string // why none can be begun now
	First      *link  // what to do first
}

// The fields of the forms that begin and end a trial.
const (
	programmeField = "programme"
	howField       = "how"
	whyField       = "why"
	finished       = "finished"
	givenUp        = "given up"
)

// ovenCautions stand beside the beginning of a trial; common practice, no
// source.
var ovenCautions = []string{
	"Warm and cold: it is moved level, without a twist, its gimbals latched. Bring it from cold to warm in its closed box, so that no damp settles on the steel.",
	"Never warmer than its oil and its shellac bear: keep to what the programme asks, and set the oven so that it cannot run away.",
}

// newTrialPage returns the page of an instrument with its trials, the oldest
// first.
func (s *site) newTrialPage(r *http.Request) (trialPage, workshop.Seen, []adjust.Trial, error) {
	seen, err := s.workshop.See(r.Context(), r.PathValue("number"))
	if err != nil {
		return trialPage{}, seen, nil, err
	}
	at, number := pathOf(r), seen.Instrument.Number
	p := trialPage{frame: s.frame("Trial of No. "+number, "room"), Head: "Trial of No. " + number, Number: number, At: at, Pending: seen.Pending}
	p.Now = seen.Now.UTC()
	p.Back = []link{{"The room", "/"}, {"No. " + number, at}}
	if seen.Pending {
		p.Refresh = 4
	}
	all, err := adjust.Follow(seen)
	if err != nil {
		p.Problem = wording.Sentence(wording.Upper(err.Error()))
	}
	return p, seen, all, nil
}

func (s *site) trial(w http.ResponseWriter, r *http.Request) error {
	p, seen, all, err := s.newTrialPage(r)
	if err != nil {
		return err
	}
	if e, ok := seen.Logbook.Entry(chronometer.ID(r.URL.Query().Get("wrote"))); ok {
		p.Written = e.Kind().Title() + wording.After(": ", e.Fact.Words())
	}
	shown := len(all) - 1
	if of := r.URL.Query().Get("of"); of != "" {
		if shown = trialOf(all, of); shown < 0 {
			return errEntry
		}
	}
	_, _, begun := seen.Logbook.Trial()
	if shown < 0 && !begun || r.URL.Query().Get("begin") != "" {
		if err := s.offer(r, &p, seen); err != nil {
			return err
		}
		p.Begin.Fill(url.Values{programmeField: {r.URL.Query().Get(programmeField)}})
		p.choose()
		s.show(w, http.StatusOK, "trial", p)
		return nil
	}
	if err := s.showTrial(r, &p, seen, all, shown); err != nil {
		return err
	}
	s.show(w, http.StatusOK, "trial", p)
	return nil
}

// trialOf returns which trial an entry began, -1 if none.
func trialOf(all []adjust.Trial, entry string) int {
	for n, t := range all {
		if string(t.Begun.ID) == entry {
			return n
		}
	}
	return -1
}

// showTrial puts a trial on the page; with shown below 0 only the form that
// ends the one that goes on, if one does.
func (s *site) showTrial(r *http.Request, p *trialPage, seen workshop.Seen, all []adjust.Trial, shown int) error {
	p.Doubt = true
	if shown >= 0 {
		sheet := trials.NewSheet(all[shown], p.At, seen.Now)
		p.Trial, p.Latest = &sheet, shown == len(all)-1
		p.Beside = trials.NewBeside(all, sheet.Entry, p.At, seen.Now)
		if !sheet.Over {
			if p.Do = sheet.Urgent(); p.Do != nil {
				p.DoNow = true
			} else {
				p.Do = sheet.Coming()
			}
		}
	}
	begun, ended, ok := seen.Logbook.Trial()
	if !ok || ended.ID != "" || p.Trial != nil && p.Trial.Entry != string(begun.ID) {
		return nil
	}
	f := form.New(chronometer.KindTrialEnded)
	f.Action, f.Button = p.At+"/trial/end", "End the trial"
	f.By.Value = author(r)
	how := form.Field{Name: howField, Label: "How it ended", Shape: form.Radio, Needed: true, Options: []form.Option{{Value: finished, Label: "finished"}, {Value: givenUp, Label: "given up"}}}
	why := form.Field{Name: whyField, Label: "Why it was given up", Hint: "nothing if it is finished", Shape: form.Line}
	switch {
	case p.Trial == nil, p.Trial.Broken != "":
		how.Value = givenUp
		if p.Trial != nil && all[shown].Course.Broken != nil {
			why.Value = all[shown].Course.Broken.What + " on " + wording.Day(all[shown].Course.Broken.At, seen.Now)
		}
	case p.Trial.Finished:
		how.Value = finished
	}
	how.Choose()
	f.Fields = []form.Field{how, why}
	var err error
	if f.ID, err = s.workshop.NewID(r.Context(), seen.ID, chronometer.KindTrialEnded); err != nil {
		return err
	}
	p.End = &f
	return nil
}

// offer puts the programmes and the form that begins a trial on the page.
func (s *site) offer(r *http.Request, p *trialPage, seen workshop.Seen) error {
	p.Title, p.Head = "Begin a trial of No. "+p.Number, "Begin a trial of No. "+p.Number
	all, err := adjust.Choices(r.Context(), s.workshop)
	if err != nil {
		return err
	}
	f := form.Form{Action: p.At + "/trial/begin", Button: "Begin the trial"}
	blank := form.New(chronometer.KindTrialEnded)
	f.When, f.By = blank.When, blank.By
	f.By.Label, f.By.Value = "Who begins it", author(r)
	f.When.Label = "When it was laid in place and wound"
	programme := form.Field{Name: programmeField, Label: "Programme", Shape: form.Radio, Needed: true}
	for _, c := range all {
		programme.Options = append(programme.Options, form.Option{Value: c.Key, Label: c.Programme.Name})
		p.Choices = append(p.Choices, trials.NewProgramme(c))
	}
	f.Fields = []form.Field{programme, {Name: "note", Label: "Note", Shape: form.Line}}
	if f.ID, err = s.workshop.NewID(r.Context(), seen.ID, chronometer.KindTrialBegun); err != nil {
		return err
	}
	p.Begin, p.Caution = &f, ovenCautions
	begun, ended, on := seen.Logbook.Trial()
	switch m := seen.State.Motion; {
	case on && ended.ID == "":
		p.Barred = "The trial begun on " + wording.Day(begun.At, seen.Now) + " goes on (" + begun.Fact.Words() + "): end it first."
		p.First = &link{"That trial", p.At + "/trial"}
	case seen.State.Station == chronometer.Carriage:
		p.Barred = "It is on its way: receive it first."
	case m == chronometer.StoodStill, m == chronometer.BalanceHeld:
		p.Barred, p.First = "It does not go ("+string(m)+"), and a trial is of one that goes.", &link{"Set it going first", p.At + "/start"}
	}
	return nil
}

// choose marks the programme that the form names.
func (p *trialPage) choose() {
	chosen := p.Begin.Field(programmeField)
	for n := range p.Choices {
		p.Choices[n].Chosen = chosen.Value != "" && (p.Choices[n].Key == chosen.Value || p.Choices[n].Name == chosen.Value)
	}
}

func (s *site) beginTrial(w http.ResponseWriter, r *http.Request) error {
	if err := parse(w, r); err != nil {
		return err
	}
	p, seen, _, err := s.newTrialPage(r)
	if err != nil {
		return err
	}
	p.Refresh = 0 // it would lose what was typed
	if err := s.offer(r, &p, seen); err != nil {
		return err
	}
	p.Begin.Sent(r.PostForm)
	by, at := p.Begin.Sign(), p.Begin.At(s.now())
	key := p.Begin.Field(programmeField)
	if key.Value == "" {
		key.Error = "Choose the programme that it is tried by."
	}
	if p.Begin.OK() {
		e, err := adjust.Begin(r.Context(), s.workshop, p.Begin.ID, by, seen.ID, at, key.Value, strings.TrimSpace(p.Begin.Field("note").Value))
		if err == nil {
			remember(w, r, by)
			return see(w, r, p.At+"/trial?wrote="+url.QueryEscape(string(e.ID)))
		}
		if errors.Is(err, workshop.ErrUnknown) {
			key.Error = wording.Sentence(wording.Upper(wording.Plain(err, "")))
		} else if err := s.blame(r, p.Begin, chronometer.KindTrialBegun, seen.ID, err); err != nil {
			return err
		}
	}
	p.choose()
	s.show(w, http.StatusUnprocessableEntity, "trial", p)
	return nil
}

// endTrial writes that the trial is over.
func (s *site) endTrial(w http.ResponseWriter, r *http.Request) error {
	if err := parse(w, r); err != nil {
		return err
	}
	p, seen, all, err := s.newTrialPage(r)
	if err != nil {
		return err
	}
	p.Refresh = 0
	if err := s.showTrial(r, &p, seen, all, len(all)-1); err != nil {
		return err
	}
	if p.End == nil {
		return s.endedBefore(w, r, seen)
	}
	p.End.Sent(r.PostForm)
	by, at := p.End.Sign(), p.End.At(s.now())
	how, why := p.End.Field(howField), p.End.Field(whyField)
	said := strings.TrimSpace(why.Value)
	switch {
	case how.Value == finished && said != "":
		why.Error = "A trial that is finished needs no reason: take it away, or choose given up."
	case how.Value == finished && p.Trial != nil && p.Trial.ToCome > 0:
		how.Error = wording.Sentence(wording.Upper(wording.Counted(p.Trial.ToCome, "day is", "days are") + " still to come: choose given up and say why, or let it go on"))
	case how.Value == givenUp && said == "":
		why.Error = "Say why it was given up: whoever reads the trial later will ask."
	case how.Value != finished && how.Value != givenUp:
		how.Error = "Choose whether it is finished or was given up."
	}
	if how.Value == finished {
		said = finished
	}
	if p.End.OK() {
		e, err := s.workshop.WriteOnce(r.Context(), p.End.ID, by, seen.ID, at, chronometer.TrialEnded{Why: said})
		if err == nil {
			remember(w, r, by)
			return see(w, r, p.At+"/trial?wrote="+url.QueryEscape(string(e.ID)))
		}
		if err := s.blame(r, p.End, chronometer.KindTrialEnded, seen.ID, err); err != nil {
			return err
		}
	}
	s.show(w, http.StatusUnprocessableEntity, "trial", p)
	return nil
}

// endedBefore answers the end of a trial where none goes on: sent twice, it was
// carried out.
func (s *site) endedBefore(w http.ResponseWriter, r *http.Request, seen workshop.Seen) error {
	if id, err := chronometer.ParseID(r.PostForm.Get(form.IDName)); err == nil {
		if e, ok := seen.Logbook.Entry(id); ok && e.Kind() == chronometer.KindTrialEnded {
			return see(w, r, pathOf(r)+"/trial?wrote="+url.QueryEscape(string(id)))
		}
	}
	return errNoTrial
}

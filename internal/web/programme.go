package web

import (
	"net/http"
	"net/url"
	"strconv"
	"strings"

	"timeball/internal/adjust"
	"timeball/internal/chronometer"
	"timeball/internal/trial/programme"
	"timeball/internal/web/form"
	"timeball/internal/web/trials"
	"timeball/internal/web/wording"
)

// programmesPage is the programmes that a trial can be begun with.
type programmesPage struct {
	frame
	Own, Shipped []trials.Programme
}

// programmePage is one programme, in words and as it is written.
type programmePage struct {
	frame
	Back    []link
	Head    string
	Kept    bool              // it was written just now
	Read    *trials.Programme // nil for one that is only being written
	Only    bool              // it was read and not kept
	Copy    string            // where it is copied; empty if it is being written
	Form    *form.Form        // nil for one that comes with the program
	Start   []trials.Programme
	Wrong   int // line of the text that is wrong; 0: none
	Line    string
	Writing bool // the form comes first
}

// Measures returns how a criterion can be computed.
func (programmePage) Measures() []programme.Measure { return programme.Measures() }

// newKey stands in the address for a programme that is not yet written.
const newKey = "new"

// textField is the field of the text of a programme.
const textField = "text"

func (s *site) programmes(w http.ResponseWriter, r *http.Request) error {
	all, err := adjust.Choices(r.Context(), s.workshop)
	if err != nil {
		return err
	}
	p := programmesPage{frame: s.frame("Programmes of trials", "workshop")}
	for _, c := range all {
		if c.Own != "" {
			p.Own = append(p.Own, trials.NewProgramme(c))
		} else {
			p.Shipped = append(p.Shipped, trials.NewProgramme(c))
		}
	}
	s.show(w, http.StatusOK, "programmes", p)
	return nil
}

// programmePage returns the page of the programme in the address, or of a new
// one that begins as a copy of the one in the query.
func (s *site) programmePage(r *http.Request) (programmePage, chronometer.ID, error) {
	all, err := adjust.Choices(r.Context(), s.workshop)
	if err != nil {
		return programmePage{}, "", err
	}
	find := func(key string) (adjust.Choice, bool) {
		for _, c := range all {
			if c.Key == key || c.Own == "" && c.Programme.Slug() == key {
				return c, true
			}
		}
		return adjust.Choice{}, false
	}
	p := programmePage{Back: []link{{"Programmes of trials", "/programmes"}}}
	key := r.PathValue("key")
	if key == newKey {
		p.Head, p.Writing = "Write a programme", true
		p.Form = s.programmeForm(r, key, "")
		for _, c := range all {
			p.Start = append(p.Start, trials.NewProgramme(c))
		}
		if from, ok := find(r.URL.Query().Get("from")); ok {
			p.Form.Field(textField).Value = trials.Copy(from.Programme)
		}
		p.frame = s.frame(p.Head, "workshop")
		p.Form.ID, err = s.workshop.NewID(r.Context(), "", chronometer.KindProgramme)
		return p, p.Form.ID, err
	}
	c, ok := find(key)
	if !ok {
		return p, "", errProgramme
	}
	read := trials.NewProgramme(c)
	p.Read, p.Head = &read, wording.Upper(read.Name)
	p.frame = s.frame("Programme: "+read.Name, "workshop")
	p.Copy = "/programmes/new?from=" + url.QueryEscape(c.Key)
	if c.Own != "" {
		p.Form = s.programmeForm(r, key, c.Programme.Text)
		p.Form.ID, err = s.workshop.NewID(r.Context(), c.Own, chronometer.KindProgramme)
	}
	return p, c.Own, err
}

func (s *site) programmeForm(r *http.Request, key, text string) *form.Form {
	return &form.Form{
		Action: "/programmes/" + url.PathEscape(key), Button: "Keep the programme",
		Fields: []form.Field{{Name: textField, Label: "The programme", Hint: "name, periods and criteria, as YAML; what follows a # is a remark of yours", Shape: form.Area, Needed: true, Value: text}},
		By:     form.Field{Name: "by", Label: "Who writes this", Shape: form.Line, Needed: true, Value: author(r)},
	}
}

func (s *site) programme(w http.ResponseWriter, r *http.Request) error {
	p, _, err := s.programmePage(r)
	if err != nil {
		return err
	}
	p.Kept = r.URL.Query().Get("kept") != ""
	s.show(w, http.StatusOK, "programme", p)
	return nil
}

// keepProgramme reads the text of a programme and, unless it is only to be read,
// keeps it as the workshop's own.
func (s *site) keepProgramme(w http.ResponseWriter, r *http.Request) error {
	if err := parse(w, r); err != nil {
		return err
	}
	p, subject, err := s.programmePage(r)
	if err != nil {
		return err
	}
	if p.Form == nil {
		return errShipped
	}
	p.Writing = true
	p.Form.Sent(r.PostForm)
	if r.PathValue("key") == newKey {
		subject = p.Form.ID
	}
	text := p.Form.Field(textField)
	text.Value = strings.ReplaceAll(text.Value, "\r\n", "\n")
	if r.PostForm.Get("do") == "read" {
		q, err := programme.Read([]byte(text.Value))
		if err == nil {
			read := trials.Read(q)
			p.Read, p.Only = &read, true
			s.show(w, http.StatusOK, "programme", p)
			return nil
		}
		p.blame(err)
		s.show(w, http.StatusUnprocessableEntity, "programme", p)
		return nil
	}
	if by := p.Form.Sign(); p.Form.OK() {
		e, err := adjust.KeepProgramme(r.Context(), s.workshop, p.Form.ID, by, subject, text.Value)
		if err == nil {
			remember(w, r, by)
			return see(w, r, "/programmes/"+string(e.Subject)+"?kept=yes")
		}
		if !theirs(err) {
			return err
		}
		p.blame(err)
		if p.Form.ID, err = s.workshop.NewID(r.Context(), p.subject(subject), chronometer.KindProgramme); err != nil {
			return err
		}
	}
	s.show(w, http.StatusUnprocessableEntity, "programme", p)
	return nil
}

// subject returns the logbook of a programme, none for one that has no logbook
// yet.
func (p programmePage) subject(id chronometer.ID) chronometer.ID {
	if id == p.Form.ID {
		return ""
	}
	return id
}

// blame shows at the text what is wrong with it, with its line.
func (p *programmePage) blame(err error) {
	text := p.Form.Field(textField)
	words := trials.Faulty(wording.Plain(err, ""))
	text.Error = wording.Sentence(wording.Upper(words))
	if n, line, ok := trials.LineOf(words, text.Value); ok {
		p.Wrong, p.Line = n, strconv.Itoa(n)+"  "+line
	}
}

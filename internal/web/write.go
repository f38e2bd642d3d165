package web

import (
	"errors"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"time"

	"timeball/internal/chronometer"
	"timeball/internal/ratebook"
	"timeball/internal/workshop"
)

// writePage asks for one entry.
type writePage struct {
	frame
	Back  []link
	Head  string
	Lead  string
	Entry *line // the entry that it is about
	Form  form
}

// kindsPage offers every kind of entry.
type kindsPage struct {
	frame
	Number, At string
	Groups     []kindGroup
}

// kindGroup is kinds that belong together.
type kindGroup struct {
	Title string
	Kinds []kindLink
}

// kindLink is one kind, with what it tells.
type kindLink struct{ Title, About, Href string }

func (s *site) kinds(w http.ResponseWriter, r *http.Request) error {
	seen, err := s.workshop.See(r.Context(), r.PathValue("number"))
	if err != nil {
		return err
	}
	p := kindsPage{frame: s.frame("Write an entry for No. "+seen.Instrument.Number, "room"), Number: seen.Instrument.Number, At: pathOf(r)}
	for _, g := range kindGroups {
		group := kindGroup{Title: g.title}
		for _, k := range g.kinds {
			group.Kinds = append(group.Kinds, kindLink{k.Title(), upper(k.About()), p.At + "/write/" + slug(k)})
		}
		p.Groups = append(p.Groups, group)
	}
	s.show(w, http.StatusOK, "kinds", p)
	return nil
}

// paper returns the page that asks for a kind of entry of the instrument in
// the address.
func (s *site) paper(r *http.Request, kind chronometer.Kind) (writePage, workshop.Seen, error) {
	seen, err := s.workshop.See(r.Context(), r.PathValue("number"))
	if err != nil {
		return writePage{}, seen, err
	}
	number, at := seen.Instrument.Number, pathOf(r)
	p := writePage{frame: s.frame(heading(kind, number), "room"), Head: heading(kind, number), Lead: sentence(upper(kind.About())), Form: newForm(kind)}
	p.Back = []link{{"The room", "/"}, {"No. " + number, at}}
	p.Form.Action = at + "/write/" + slug(kind)
	p.Form.By.Value = author(r)
	switch kind {
	case chronometer.KindCompared:
		p.Form.Instant = true
		p.Form.When.Value = formInstant(p.Now.Truncate(time.Second))
		p.Form.When.Hint = "the instant at which the dial was read, such as 09:12:30 today or 2027-03-04 09:12:30"
	case chronometer.KindEntered:
		err = errors.Join(p.Form.prefill(seen.Instrument), s.offerOwners(r, &p.Form))
	case chronometer.KindUpheld:
		p.Form.offerEntries(comparisons(seen))
	case chronometer.KindStruckOut:
		p.Form.offerEntries(strikable(seen))
	}
	return p, seen, err
}

// kindIn returns the kind in the address, if instruments have such entries.
func kindIn(r *http.Request) (chronometer.Kind, error) {
	kind, ok := kindOf(r.PathValue("kind"))
	if !ok || kind == chronometer.KindOwner {
		return "", errNowhere
	}
	return kind, nil
}

func (s *site) blank(w http.ResponseWriter, r *http.Request) error {
	kind, err := kindIn(r)
	if err != nil {
		return err
	}
	p, _, err := s.paper(r, kind)
	if err != nil {
		return err
	}
	if q := r.URL.Query(); len(q) > 0 {
		q.Del("by")
		p.Form.fill(q)
	}
	s.show(w, http.StatusOK, "write", p)
	return nil
}

func (s *site) write(w http.ResponseWriter, r *http.Request) error {
	kind, err := kindIn(r)
	if err != nil {
		return err
	}
	if kind == chronometer.KindPhotograph {
		return s.attach(w, r)
	}
	if err := parse(w, r); err != nil {
		return err
	}
	p, seen, err := s.paper(r, kind)
	if err != nil {
		return err
	}
	p.Form.sent(r.PostForm)
	return s.writeDown(w, r, p, seen, kind)
}

// parse reads a form without a file.
func parse(w http.ResponseWriter, r *http.Request) error {
	r.Body = http.MaxBytesReader(w, r.Body, mostForm)
	return bad(r.ParseForm())
}

// bad marks a form that cannot be read as the sender's fault.
func bad(err error) error {
	if tooBig := new(http.MaxBytesError); err == nil || errors.As(err, &tooBig) {
		return err
	}
	return errors.Join(chronometer.ErrEntry, errors.New("the form cannot be read; open the page again and send it once more"))
}

// writeDown writes the entry that a filled form asks for, or shows the form
// again with what is wrong.
func (s *site) writeDown(w http.ResponseWriter, r *http.Request, p writePage, seen workshop.Seen, kind chronometer.Kind) error {
	by, at := p.Form.sign(), p.Form.instant(s.now())
	fact := p.Form.fact(kind)
	if fact != nil && p.Form.OK() {
		e, err := s.workshop.Write(r.Context(), by, seen.ID, at, fact)
		if err == nil {
			remember(w, r, by)
			return see(w, r, written(r, seen, e, fact))
		}
		if !theirs(err) {
			return err
		}
		p.Form.blame(kind, err)
	}
	s.show(w, http.StatusUnprocessableEntity, "write", p)
	return nil
}

// written returns where the instrument stands after an entry; new particulars
// may have given it another number.
func written(r *http.Request, seen workshop.Seen, e chronometer.Entry, fact chronometer.Fact) string {
	at := pathOf(r)
	if i, ok := fact.(chronometer.Instrument); ok && i.Number != seen.Instrument.Number && r.PathValue("number") != string(seen.ID) {
		at = address("", seen.ID)
	}
	return at + "?wrote=" + url.QueryEscape(string(e.ID))
}

// theirs reports whether an error is about what was sent.
func theirs(err error) bool {
	inBook := new(ratebook.Error)
	return errors.Is(err, chronometer.ErrEntry) || errors.Is(err, chronometer.ErrRefused) || errors.As(err, &inBook)
}

// offerEntries makes the field entry a choice.
func (f *form) offerEntries(choices []option) {
	if x := f.field("entry"); x != nil {
		x.Shape, x.Options = selectShape, choices
	}
	f.When = nil
}

// mostChoices is how many entries a choice holds.
const mostChoices = 300

// comparisons returns the comparisons that can be upheld: those set aside
// first, then the newest.
func comparisons(seen workshop.Seen) []option {
	notes, upheld := notesOf(seen.Rating), seen.Logbook.Upheld()
	var aside, others []option
	for _, e := range slices.Backward(seen.Logbook.Standing()) {
		if e.Kind() != chronometer.KindCompared || upheld[e.ID] {
			continue
		}
		o := option{Value: string(e.ID), Label: instant(e.At, seen.Now) + " · " + e.Fact.Words()}
		if a, ok := notes.aside[string(e.ID)]; ok {
			o.Label += " · set aside: " + a.Reason
			aside = append(aside, o)
		} else {
			others = append(others, o)
		}
	}
	all := append(aside, others...)
	return all[:min(len(all), mostChoices)]
}

// strikable returns the newest entries that are not struck out.
func strikable(seen workshop.Seen) []option {
	var all []option
	for _, e := range slices.Backward(seen.Logbook.Entries()) {
		if _, out := seen.Logbook.StruckOut(e.ID); !out && len(all) < mostChoices {
			all = append(all, option{Value: string(e.ID), Label: strings.TrimSuffix(instant(e.At, seen.Now)+" · "+e.Kind().Title()+" · "+e.Fact.Words(), " · ")})
		}
	}
	return all
}

// strikePage returns the page that asks why the entry in the address is wrong.
func (s *site) strikePage(r *http.Request) (writePage, workshop.Seen, error) {
	p, seen, err := s.paper(r, chronometer.KindStruckOut)
	if err != nil {
		return p, seen, err
	}
	e, ok := seen.Logbook.Entry(chronometer.ID(r.PathValue("entry")))
	if !ok {
		return p, seen, errEntry
	}
	entry := newLine(seen, e, pathOf(r), notesOf(seen.Rating))
	entry.Strike = "" // it is being struck out here
	p.Entry = &entry
	p.Lead = "It stays in the logbook, legible, with your name, the time and the reason; nothing is erased."
	p.Form.Action = pathOf(r) + "/strike/" + url.PathEscape(string(e.ID))
	p.Form.Fields = slices.DeleteFunc(p.Form.Fields, func(x field) bool { return x.Name == "entry" })
	return p, seen, nil
}

func (s *site) strike(w http.ResponseWriter, r *http.Request) error {
	p, _, err := s.strikePage(r)
	if err != nil {
		return err
	}
	if p.Entry.Struck != nil {
		p.Form.Problem = "The entry is struck out already, by " + p.Entry.Struck.By + " on " + p.Entry.Struck.When + "."
	}
	s.show(w, http.StatusOK, "write", p)
	return nil
}

func (s *site) strikeOut(w http.ResponseWriter, r *http.Request) error {
	if err := parse(w, r); err != nil {
		return err
	}
	p, seen, err := s.strikePage(r)
	if err != nil {
		return err
	}
	p.Form.sent(r.PostForm)
	by, why := p.Form.sign(), p.Form.field("why")
	if strings.TrimSpace(why.Value) == "" {
		why.Error = "Say what was wrong with the entry."
	}
	if p.Form.OK() {
		e, err := s.workshop.Write(r.Context(), by, seen.ID, s.now().UTC().Truncate(time.Microsecond), chronometer.StruckOut{Entry: chronometer.ID(p.Entry.ID), Why: strings.TrimSpace(why.Value)})
		if err == nil {
			remember(w, r, by)
			return see(w, r, pathOf(r)+"?wrote="+url.QueryEscape(string(e.ID)))
		}
		if !theirs(err) {
			return err
		}
		p.Form.blame(chronometer.KindStruckOut, err)
	}
	s.show(w, http.StatusUnprocessableEntity, "write", p)
	return nil
}

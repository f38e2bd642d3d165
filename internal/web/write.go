package web

import (
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"time"

	"timeball/internal/chronometer"
	"timeball/internal/ratebook"
	"timeball/internal/web/bench"
	"timeball/internal/web/form"
	"timeball/internal/web/logbook"
	"timeball/internal/web/wording"
	"timeball/internal/workshop"
)

// writePage asks for one entry.
type writePage struct {
	frame
	Back  []link
	Head  string
	Lead  string
	Entry *logbook.Line // the entry that it is about
	Form  form.Form
}

// paper returns the page that asks for a kind of entry of the instrument in
// the address.
func (s *site) paper(r *http.Request, kind chronometer.Kind) (writePage, workshop.Seen, error) {
	seen, err := s.workshop.See(r.Context(), r.PathValue("number"))
	if err != nil {
		return writePage{}, seen, err
	}
	number, at := seen.Instrument.Number, pathOf(r)
	p := writePage{frame: s.frame(heading(kind, number), "room"), Head: heading(kind, number), Lead: wording.Sentence(wording.Upper(kind.About())), Form: form.New(kind)}
	p.Back = []link{{"The room", "/"}, {"No. " + number, at}}
	p.Form.Action = at + "/write/" + wording.Slug(kind)
	p.Form.By.Value = author(r)
	if p.Form.ID, err = s.workshop.NewID(r.Context(), seen.ID, kind); err != nil {
		return p, seen, err
	}
	switch kind {
	case chronometer.KindCompared:
		p.Form.Instant = true
		p.Form.When.Value = form.Instant(p.Now.Truncate(time.Second))
		p.Form.When.Hint = "the instant at which the dial was read, such as 09:12:30 today or 2027-03-04 09:12:30"
	case chronometer.KindMoved:
		p.Lead = bench.HandMoveWords(seen)
	case chronometer.KindEntered:
		// By the ID, since what is written may give it another number.
		p.Form.Action = address("", seen.ID) + "/write/" + wording.Slug(kind)
		err = errors.Join(p.Form.Prefill(seen.Instrument), s.offerOwners(r, &p.Form))
	case chronometer.KindUpheld:
		p.Form.OfferEntries(logbook.Comparisons(seen))
	case chronometer.KindStruckOut:
		p.Form.OfferEntries(logbook.Strikable(seen))
	}
	return p, seen, err
}

// kindIn returns the kind in the address, if instruments have such entries and
// a form asks for them.
func kindIn(r *http.Request) (chronometer.Kind, error) {
	kind, ok := wording.KindOf(r.PathValue("kind"))
	if !ok || !kind.OfInstrument() || kind.Computed() {
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
		p.Form.Fill(q)
	}
	s.show(w, http.StatusOK, "write", p)
	return nil
}

func (s *site) write(w http.ResponseWriter, r *http.Request) error {
	kind, err := kindIn(r)
	if err != nil {
		return err
	}
	switch kind {
	case chronometer.KindPhotograph:
		return s.attach(w, r)
	case chronometer.KindListened:
		return s.writeHeard(w, r)
	}
	if err := parse(w, r); err != nil {
		return err
	}
	p, seen, err := s.paper(r, kind)
	if err != nil {
		return err
	}
	p.Form.Sent(r.PostForm)
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
	by, at := p.Form.Sign(), p.Form.At(s.now())
	fact := p.Form.Fact(kind)
	askOnceMore(r, &p.Form, fact)
	if fact != nil && p.Form.OK() {
		e, err := s.workshop.WriteOnce(r.Context(), p.Form.ID, by, seen.ID, at, fact)
		if err == nil {
			remember(w, r, by)
			return wrote(w, r, pathOf(r)+"?wrote="+url.QueryEscape(string(e.ID)), kind.Title()+wording.After(": ", e.Fact.Words()))
		}
		if err := s.blame(r, &p.Form, kind, seen.ID, err); err != nil {
			return err
		}
	}
	if byScript(r) {
		return tell(w, http.StatusUnprocessableEntity, told{Problems: p.Form.Problems()})
	}
	s.show(w, http.StatusUnprocessableEntity, "write", p)
	return nil
}

// farMoveS is how far the hands may be moved without being asked, s: more is as
// a rule minutes taken for seconds, or hands set anew.
const farMoveS = 600

// askOnceMore marks a movement of the hands so far that it may be a slip; sent
// once more it is taken.
func askOnceMore(r *http.Request, f *form.Form, fact chronometer.Fact) {
	moved, ok := fact.(chronometer.Moved)
	x := f.Field("by_s")
	if !ok || x == nil || moved.ByS <= farMoveS || r.PostForm.Get("sure") == x.Value {
		return
	}
	f.Sure = x.Value
	x.Error = fmt.Sprintf("That is %.0f minutes forward. If it is meant, send it once more; if the amount is not known, write hands set instead.", moved.ByS/60)
}

// blame shows in the form why the workshop refused it and gives it a new ID, so
// that it can be sent once more as another entry; what is not the sender's to
// mend is returned.
func (s *site) blame(r *http.Request, f *form.Form, kind chronometer.Kind, subject chronometer.ID, refused error) error {
	if !theirs(refused) {
		return refused
	}
	f.Blame(kind, refused)
	var err error
	f.ID, err = s.workshop.NewID(r.Context(), subject, kind)
	return err
}

// theirs reports whether an error is about what was sent.
func theirs(err error) bool {
	inBook := new(ratebook.Error)
	return errors.Is(err, chronometer.ErrEntry) || errors.Is(err, chronometer.ErrRefused) || errors.As(err, &inBook)
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
	entry := logbook.NewLine(seen, e, pathOf(r), logbook.NotesOf(seen.Rating))
	entry.Strike = "" // it is being struck out here
	p.Entry = &entry
	p.Lead = "It stays in the logbook, legible, with your name, the time and the reason; nothing is erased."
	p.Form.Action = pathOf(r) + "/strike/" + url.PathEscape(string(e.ID))
	p.Form.Fields = slices.DeleteFunc(p.Form.Fields, func(x form.Field) bool { return x.Name == "entry" })
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
	p.Form.Sent(r.PostForm)
	by, why := p.Form.Sign(), p.Form.Field("why")
	if strings.TrimSpace(why.Value) == "" {
		why.Error = "Say what was wrong with the entry."
	}
	if p.Form.OK() {
		e, err := s.workshop.WriteOnce(r.Context(), p.Form.ID, by, seen.ID, time.Time{}, chronometer.StruckOut{Entry: chronometer.ID(p.Entry.ID), Why: strings.TrimSpace(why.Value)})
		if err == nil {
			remember(w, r, by)
			return see(w, r, pathOf(r)+"?wrote="+url.QueryEscape(string(e.ID)))
		}
		if err := s.blame(r, &p.Form, chronometer.KindStruckOut, seen.ID, err); err != nil {
			return err
		}
	}
	s.show(w, http.StatusUnprocessableEntity, "write", p)
	return nil
}

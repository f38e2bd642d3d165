package web

import (
	"fmt"
	"net/http"
	"net/url"
	"strings"
	"time"

	"timeball/internal/chronometer"
	"timeball/internal/web/form"
	"timeball/internal/web/wording"
	"timeball/internal/workshop"
)

// ownersPage is every owner.
type ownersPage struct {
	frame
	Counted string
	Owners  []ownerRow
}

// ownerRow is one owner with the instruments entered under the name.
type ownerRow struct {
	Name, Place, Contact, Notes, Href string
	Instruments                       []link
}

// ownerPage is one owner.
type ownerPage struct {
	frame
	ID    string
	Owner ownerRow
	Form  form.Form
	Saved bool
}

func newOwnerRow(o workshop.Owner) ownerRow {
	row := ownerRow{Name: o.Owner.Name, Place: o.Owner.Place, Contact: o.Owner.Contact, Notes: o.Owner.Notes, Href: "/owners/" + url.PathEscape(string(o.ID))}
	for _, i := range o.Instruments {
		row.Instruments = append(row.Instruments, link{"No. " + i.Number + wording.After(", ", i.Maker), address(i.Number, i.ID)})
	}
	return row
}

func (s *site) owners(w http.ResponseWriter, r *http.Request) error {
	all, err := s.workshop.Owners(r.Context())
	if err != nil {
		return err
	}
	p := ownersPage{frame: s.frame("Owners", "owners"), Counted: wording.Counted(len(all), "owner", "owners")}
	for _, o := range all {
		p.Owners = append(p.Owners, newOwnerRow(o))
	}
	s.show(w, http.StatusOK, "owners", p)
	return nil
}

// ownerIn returns the owner in the address and the page about it.
func (s *site) ownerIn(r *http.Request) (ownerPage, workshop.Owner, error) {
	all, err := s.workshop.Owners(r.Context())
	if err != nil {
		return ownerPage{}, workshop.Owner{}, err
	}
	for _, o := range all {
		if string(o.ID) != r.PathValue("id") {
			continue
		}
		p := ownerPage{ID: string(o.ID), frame: s.frame(o.Owner.Name, "owners"), Owner: newOwnerRow(o), Form: form.New(chronometer.KindOwner), Saved: r.URL.Query().Has("wrote")}
		p.Form.Action, p.Form.When, p.Form.By.Value = p.Owner.Href, nil, author(r)
		if p.Form.ID, err = s.workshop.NewID(r.Context(), o.ID, chronometer.KindOwner); err != nil {
			return p, o, err
		}
		return p, o, p.Form.Prefill(o.Owner)
	}
	return ownerPage{}, workshop.Owner{}, fmt.Errorf("%w: no owner has the name %.40q in this program", workshop.ErrUnknown, r.PathValue("id"))
}

func (s *site) owner(w http.ResponseWriter, r *http.Request) error {
	p, _, err := s.ownerIn(r)
	if err != nil {
		return err
	}
	s.show(w, http.StatusOK, "owner", p)
	return nil
}

func (s *site) correctOwner(w http.ResponseWriter, r *http.Request) error {
	if err := parse(w, r); err != nil {
		return err
	}
	p, o, err := s.ownerIn(r)
	if err != nil {
		return err
	}
	p.Form.Sent(r.PostForm)
	by := p.Form.Sign()
	if fact := p.Form.Fact(chronometer.KindOwner); fact != nil && p.Form.OK() {
		_, err := s.workshop.WriteOnce(r.Context(), p.Form.ID, by, o.ID, time.Time{}, fact)
		if err == nil {
			remember(w, r, by)
			return see(w, r, p.Owner.Href+"?wrote=yes")
		}
		if err := s.blame(r, &p.Form, chronometer.KindOwner, o.ID, err); err != nil {
			return err
		}
	}
	s.show(w, http.StatusUnprocessableEntity, "owner", p)
	return nil
}

// entering returns the page that enters an owner or an instrument.
func (s *site) entering(r *http.Request, kind chronometer.Kind) (writePage, error) {
	p := writePage{Form: form.New(kind)}
	var err error
	if p.Form.ID, err = s.workshop.NewID(r.Context(), "", kind); err != nil {
		return p, err
	}
	p.Form.When, p.Form.By.Value, p.Form.Action = nil, author(r), r.URL.Path
	if kind == chronometer.KindOwner {
		p.frame, p.Head, p.Lead = s.frame("Enter an owner", "owners"), "Enter an owner", "A person or a house that owns instruments."
		p.Back = []link{{"Owners", "/owners"}}
		p.Form.Button = "Enter the owner"
		return p, nil
	}
	p.frame, p.Head, p.Lead = s.frame("Enter an instrument", "room"), "Enter an instrument", "What is engraved on it and known of its make. Its comparisons come next: write them one by one, or bring in a rate book."
	p.Back = []link{{"The room", "/"}}
	p.Form.Button = "Enter the instrument"
	return p, s.offerOwners(r, &p.Form)
}

// offerOwners makes the field owner a choice of those entered.
func (s *site) offerOwners(r *http.Request, f *form.Form) error {
	x := f.Field("owner")
	all, err := s.workshop.Owners(r.Context())
	if err != nil || x == nil {
		return err
	}
	x.Shape, x.Options = form.Select, nil
	if len(all) == 0 {
		x.Hint = "nobody is entered yet; it can be said later"
	}
	for _, o := range all {
		x.Options = append(x.Options, form.Option{Value: string(o.ID), Label: o.Owner.Words()})
	}
	x.Choose()
	return nil
}

func (s *site) newOwner(w http.ResponseWriter, r *http.Request) error {
	return s.showEntering(w, r, chronometer.KindOwner)
}

func (s *site) newInstrument(w http.ResponseWriter, r *http.Request) error {
	return s.showEntering(w, r, chronometer.KindEntered)
}

func (s *site) showEntering(w http.ResponseWriter, r *http.Request, kind chronometer.Kind) error {
	p, err := s.entering(r, kind)
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

func (s *site) enterOwner(w http.ResponseWriter, r *http.Request) error {
	return s.enter(w, r, chronometer.KindOwner)
}

func (s *site) enterInstrument(w http.ResponseWriter, r *http.Request) error {
	return s.enter(w, r, chronometer.KindEntered)
}

// enter enters what a filled form says and goes to its page.
func (s *site) enter(w http.ResponseWriter, r *http.Request, kind chronometer.Kind) error {
	if err := parse(w, r); err != nil {
		return err
	}
	p, err := s.entering(r, kind)
	if err != nil {
		return err
	}
	p.Form.Sent(r.PostForm)
	by := p.Form.Sign()
	if fact := p.Form.Fact(kind); fact != nil && p.Form.OK() {
		if i, ok := fact.(chronometer.Instrument); ok {
			i.Number = strings.TrimSpace(i.Number)
			fact = i
		}
		e, err := s.workshop.WriteOnce(r.Context(), p.Form.ID, by, p.Form.ID, time.Time{}, fact)
		if err == nil {
			remember(w, r, by)
			return see(w, r, s.entered(r, e))
		}
		if err := s.blame(r, &p.Form, kind, "", err); err != nil {
			return err
		}
	}
	s.show(w, http.StatusUnprocessableEntity, "write", p)
	return nil
}

// entered returns the address of what an entry has begun.
func (s *site) entered(r *http.Request, e chronometer.Entry) string {
	i, ok := e.Fact.(chronometer.Instrument)
	if !ok {
		return "/owners/" + url.PathEscape(string(e.ID))
	}
	// Another maker may have used the number before.
	if seen, err := s.workshop.See(r.Context(), i.Number); err != nil || seen.ID != e.ID {
		return address("", e.ID)
	}
	return address(i.Number, e.ID)
}

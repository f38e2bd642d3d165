package api

import (
	"encoding/json"
	"net/http"

	"timeball/internal/chronometer"
	"timeball/internal/workshop"
)

// Owners is every owner, by name.
type Owners struct {
	Owners []Owner `json:"owners"`
}

// Owner is an owner with the instruments entered under the name.
type Owner struct {
	ID          string            `json:"id"`
	Name        string            `json:"name"`
	Place       string            `json:"place"`
	Contact     string            `json:"contact"`
	Notes       string            `json:"notes"`
	Instruments []NamedInstrument `json:"instruments"`
}

// NamedInstrument is an instrument by its number.
type NamedInstrument struct {
	ID     string `json:"id"`
	Number string `json:"number"`
	Maker  string `json:"maker"`
}

func fromOwner(o workshop.Owner) Owner {
	out := Owner{ID: string(o.ID), Name: o.Owner.Name, Place: o.Owner.Place, Contact: o.Owner.Contact, Notes: o.Owner.Notes, Instruments: []NamedInstrument{}}
	for _, i := range o.Instruments {
		out.Instruments = append(out.Instruments, NamedInstrument{ID: string(i.ID), Number: i.Number, Maker: i.Maker})
	}
	return out
}

func (s *surface) owners(w http.ResponseWriter, r *http.Request) error {
	if _, err := questions(r, ""); err != nil {
		return err
	}
	owners, err := s.workshop.Owners(r.Context())
	if err != nil {
		return err
	}
	out := Owners{Owners: []Owner{}}
	for _, o := range owners {
		out.Owners = append(out.Owners, fromOwner(o))
	}
	return send(w, http.StatusOK, out)
}

// newOwner is the body that enters an owner.
type newOwner struct {
	By    string          `json:"by"`
	Owner json.RawMessage `json:"owner"`
}

func (s *surface) enterOwner(w http.ResponseWriter, r *http.Request) error {
	if _, err := questions(r, ""); err != nil {
		return err
	}
	var body newOwner
	if err := decode(w, r, &body); err != nil {
		return err
	}
	if err := signed(body.By); err != nil {
		return err
	}
	fact, err := s.fact(r, chronometer.KindOwner, body.Owner)
	if err != nil {
		return err
	}
	owner := fact.(chronometer.Owner)
	id, err := s.workshop.EnterOwner(r.Context(), body.By, owner)
	if err != nil {
		return err
	}
	return send(w, http.StatusCreated, fromOwner(workshop.Owner{ID: id, Owner: owner}))
}

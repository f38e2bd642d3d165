package web

import (
	"net/http"

	"timeball/internal/web/jobs"
	"timeball/internal/web/wording"
)

// jobPage is the jobs of an instrument, the open one first.
type jobPage struct {
	frame
	Number, Maker string
	Owner         *link
	Where         string
	Unnamed       bool // the workshop has no name, which every paper carries
	jobs.Book
}

func (s *site) job(w http.ResponseWriter, r *http.Request) error {
	seen, err := s.workshop.See(r.Context(), r.PathValue("number"))
	if err != nil {
		return err
	}
	house, err := s.workshop.House(r.Context())
	if err != nil {
		return err
	}
	p := jobPage{
		frame: s.frame("Job of No. "+seen.Instrument.Number, "room"), Number: seen.Instrument.Number, Maker: seen.Instrument.Maker,
		Where: wording.Upper(whereWords(seen.State)), Unnamed: house.House.Name == "",
	}
	p.Book = jobs.New(seen, pathOf(r), !p.Unnamed)
	if seen.Owner != nil {
		p.Owner = &link{seen.Owner.Owner.Words(), "/owners/" + string(seen.Owner.ID)}
	}
	s.show(w, http.StatusOK, "job", p)
	return nil
}

package api

import (
	"bytes"
	"fmt"
	"mime"
	"net/http"

	"timeball/internal/ratebook"
	"timeball/internal/workshop"
)

// Imported says what a comparison file brought in.
type Imported struct {
	New int `json:"new"` // entries written
}

// Preview says what a comparison file would bring in.
type Preview struct {
	Rows     int        `json:"rows"`
	New      int        `json:"new"`       // entries that would be written
	Held     int        `json:"held"`      // entries that the logbook holds already
	Remarks  []string   `json:"remarks"`   // how the file was read
	SetAside []SetAside `json:"set_aside"` // among the new, by line
	Rating   *Rating    `json:"rating"`    // of the logbook with the new entries
	Why      string     `json:"why"`       // why there is none
}

func fromPreview(p workshop.Preview) Preview {
	out := Preview{Rows: p.Rows, New: p.New, Held: p.Held, Remarks: append([]string{}, p.Remarks...), SetAside: setAside(p.SetAside), Why: p.Why}
	if p.Rating != nil {
		r := FromRating(*p.Rating)
		out.Rating = &r
	}
	return out
}

// bringIn brings a comparison file into a logbook, whole or not at all, or
// tells what doing so would change.
func (s *surface) bringIn(w http.ResponseWriter, r *http.Request) error {
	q, err := questions(r, "", "by", "preview")
	if err != nil {
		return err
	}
	preview := q.Get("preview")
	if q.Has("preview") && preview != "1" && preview != "0" {
		return fmt.Errorf("%w: preview %.20q is neither 0 nor 1", errQuestion, preview)
	}
	by := q.Get("by")
	if err := signed(by); err != nil {
		return fmt.Errorf("%w: %w", errQuestion, err)
	}
	if err := bounded(w, r, csvType, mostBook); err != nil {
		return err
	}
	seen, err := s.workshop.See(r.Context(), r.PathValue("number"))
	if err != nil {
		return err
	}
	if preview == "1" {
		p, err := s.workshop.Preview(r.Context(), seen.ID, by, r.Body)
		if err != nil {
			return err
		}
		return send(w, http.StatusOK, fromPreview(p))
	}
	n, err := s.workshop.Import(r.Context(), seen.ID, by, r.Body)
	if err != nil {
		return err
	}
	return send(w, http.StatusOK, Imported{New: n})
}

// comparisons answers with the entries that stand as a comparison file.
func (s *surface) comparisons(w http.ResponseWriter, r *http.Request) error {
	if _, err := questions(r, ""); err != nil {
		return err
	}
	seen, err := s.workshop.See(r.Context(), r.PathValue("number"))
	if err != nil {
		return err
	}
	var file bytes.Buffer
	if err := ratebook.Write(&file, ratebook.FromEntries(seen.Logbook.Standing())); err != nil {
		return err
	}
	w.Header().Set("Content-Type", csvType+"; charset=utf-8; header=present")
	w.Header().Set("Content-Disposition", mime.FormatMediaType("attachment", map[string]string{"filename": "comparisons " + seen.Instrument.Number + ".csv"}))
	_, _ = w.Write(file.Bytes()) // whoever asked has gone
	return nil
}

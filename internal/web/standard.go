package web

import (
	"net/http"
	"time"

	"timeball/internal/web/bench"
	"timeball/internal/web/drawing"
)

// standardPage is where UTC comes from and how sure it is.
type standardPage struct {
	frame
	bench.Standard
	Curves []drawing.Curve // the bound over the last days; none if nothing is kept yet
}

// boundShown is how far back the bound is drawn.
const boundShown = 7 * 24 * time.Hour

func (s *site) standard(w http.ResponseWriter, r *http.Request) error {
	state := s.workshop.Standard().State()
	kept, err := s.workshop.Standings(r.Context(), state.UTC.Add(-boundShown))
	if err != nil {
		return err
	}
	p := standardPage{frame: s.frame("The standard", "standard"), Standard: bench.NewStandard(state)}
	if c, ok := drawing.Bounds(kept, state.Reading); ok {
		p.Curves = append(p.Curves, c)
	}
	s.show(w, http.StatusOK, "standard", p)
	return nil
}

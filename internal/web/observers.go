package web

import (
	"encoding/json"
	"fmt"
	"net/http"
	"strings"

	"timeball/internal/chronometer"
	"timeball/internal/web/bench"
	"timeball/internal/web/form"
	"timeball/internal/web/wording"
)

// observersPage is the personal equations and the exercise that measures one.
type observersPage struct {
	frame
	ID       chronometer.ID
	By       string
	Rows     []bench.Equation
	Measured string // what was measured a moment ago
	Usual    string
}

func (s *site) observers(w http.ResponseWriter, r *http.Request) error {
	all, err := s.workshop.Exercises(r.Context())
	if err != nil {
		return err
	}
	p := observersPage{frame: s.frame("Personal equation", "round"), By: author(r), Usual: bench.UsualWords()}
	if p.ID, err = s.workshop.NewID(r.Context(), "", chronometer.KindEquation); err != nil {
		return err
	}
	asked := chronometer.ID(r.URL.Query().Get("wrote"))
	for _, x := range all {
		row := bench.NewEquation(x, p.Now)
		if x.ID == asked {
			p.Measured = wording.Sentence(x.Equation.Observer + " on " + x.Equation.Device + " taps " + row.Lag + " (" + string(x.Equation.Sense) + ")")
		}
		p.Rows = append(p.Rows, row)
	}
	p.Doubt = true
	s.show(w, http.StatusOK, "observers", p)
	return nil
}

// exercised writes the personal equation that an exercise has measured.
func (s *site) exercised(w http.ResponseWriter, r *http.Request) error {
	if err := parse(w, r); err != nil {
		return err
	}
	id, err := chronometer.ParseID(r.PostForm.Get(form.IDName))
	if err != nil {
		return err
	}
	q := chronometer.Equation{
		Observer: strings.TrimSpace(r.PostForm.Get("by")), Device: strings.TrimSpace(r.PostForm.Get("device")),
		Sense: chronometer.Sense(r.PostForm.Get("sense")), BeatS: 0.5,
	}
	if err := json.Unmarshal([]byte(r.PostForm.Get("lags")), &q.TapsS); err != nil || len(q.TapsS) == 0 {
		return fmt.Errorf("%w: the taps of the exercise are missing; begin it again and tap along to the end", chronometer.ErrEntry)
	}
	e, err := s.workshop.Exercised(r.Context(), id, q.Observer, q)
	if err != nil {
		return err
	}
	remember(w, r, q.Observer)
	return wrote(w, r, "/observers?wrote="+string(e.ID), "Personal equation: "+e.Fact.Words())
}

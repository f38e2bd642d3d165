package web

import (
	"fmt"
	"net/http"
	"strings"
	"time"

	"timeball/internal/chronometer"
	"timeball/internal/timescale"
	"timeball/internal/web/bench"
	"timeball/internal/web/drawing"
	"timeball/internal/web/form"
)

// startPage is the starting desk.
type startPage struct {
	frame
	bench.Start
	Back      []link
	Dial      drawing.Dial
	Heads     string
	ReleaseID chronometer.ID // under which its release is written, if its balance is held
}

func (s *site) plan(w http.ResponseWriter, r *http.Request) error {
	if answers := r.URL.Query(); bench.Asked(answers) {
		return see(w, r, pathOf(r)+"/start?"+bench.WithInstant(answers, s.now()).Encode())
	}
	seen, err := s.workshop.See(r.Context(), r.PathValue("number"))
	if err != nil {
		return err
	}
	at, number := pathOf(r), seen.Instrument.Number
	head := heading(chronometer.KindStarted, number)
	p := startPage{frame: s.frame(head, "room"), Heads: head, Start: bench.NewStart(seen, at, author(r), r.URL.Query())}
	p.Back = []link{{"The room", "/"}, {"No. " + number, at}}
	if p.ID, err = s.workshop.NewID(r.Context(), seen.ID, chronometer.KindStarted); err != nil {
		return err
	}
	if p.ReleaseID, err = s.workshop.NewID(r.Context(), seen.ID, chronometer.KindReleased); err != nil {
		return err
	}
	if p.Plan != nil {
		p.Dial = drawing.SetDial("start", p.Plan.Plan)
	}
	s.show(w, http.StatusOK, "start", p)
	return nil
}

// started writes that an instrument was set going at the instant planned and
// goes to its first comparison.
func (s *site) started(w http.ResponseWriter, r *http.Request) error {
	if err := parse(w, r); err != nil {
		return err
	}
	id, err := chronometer.ParseID(r.PostForm.Get(form.IDName))
	if err != nil {
		return err
	}
	at, err := timescale.Parse(r.PostForm.Get("at"))
	if err != nil {
		return fmt.Errorf("%w: the start has no instant; plan it again", chronometer.ErrEntry)
	}
	by := strings.TrimSpace(r.PostForm.Get("by"))
	if by == "" {
		return fmt.Errorf("%w: nobody is named; say who started it", chronometer.ErrEntry)
	}
	if now := s.now(); at.After(now) {
		return fmt.Errorf("%w: the signal comes at %s UTC, in %.0f s; say that it is going once it goes", chronometer.ErrRefused, at.Format("15:04:05"), at.Sub(now).Seconds())
	}
	seen, err := s.workshop.See(r.Context(), r.PathValue("number"))
	if err != nil {
		return err
	}
	if text := r.PostForm.Get("released"); text != "" {
		release, err := chronometer.ParseID(text)
		if err != nil {
			return err
		}
		// Just before the turn, which is all that is known of when.
		if _, err := s.workshop.WriteOnce(r.Context(), release, by, seen.ID, at.Add(-time.Second), chronometer.Released{Note: "for the start"}); err != nil {
			return err
		}
	}
	fact := chronometer.Started{How: "one gentle turn on the signal", Note: strings.TrimSpace(r.PostForm.Get("note"))}
	e, err := s.workshop.WriteOnce(r.Context(), id, by, seen.ID, at, fact)
	if err != nil {
		return err
	}
	remember(w, r, by)
	return wrote(w, r, pathOf(r)+"/compare?started="+string(e.ID), "Started: "+e.Fact.Words())
}

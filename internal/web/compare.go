package web

import (
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"strings"

	"timeball/internal/chronometer"
	"timeball/internal/clock"
	"timeball/internal/observe"
	"timeball/internal/web/bench"
	"timeball/internal/web/form"
	"timeball/internal/web/wording"
	"timeball/internal/workshop"
)

// comparePage is where a dial is compared by tapping.
type comparePage struct {
	frame
	bench.Tapping
	Back    []link
	Started bool   // it was set going a moment ago
	Typed   string // the page for one typed reading
}

func (s *site) compare(w http.ResponseWriter, r *http.Request) error {
	seen, err := s.workshop.See(r.Context(), r.PathValue("number"))
	if err != nil {
		return err
	}
	id, err := s.workshop.NewID(r.Context(), seen.ID, chronometer.KindCompared)
	if err != nil {
		return err
	}
	at := pathOf(r)
	head := heading(chronometer.KindCompared, seen.Instrument.Number)
	p := comparePage{frame: s.frame(head, "room"), Tapping: bench.NewTapping(seen, id, at, author(r)), Typed: at + "/write/" + wording.Slug(chronometer.KindCompared)}
	p.Back = []link{{"The room", "/"}, {"No. " + seen.Instrument.Number, at}}
	p.Started = r.URL.Query().Has("started")
	p.Doubt = true
	s.show(w, http.StatusOK, "compare", p)
	return nil
}

// reckon tells a page what its taps say so far; nothing is written.
func (s *site) reckon(w http.ResponseWriter, r *http.Request) error {
	r.Header.Set("Accept", "application/json")
	r.Body = http.MaxBytesReader(w, r.Body, mostForm)
	var sent bench.SoFar
	if err := bad(json.NewDecoder(r.Body).Decode(&sent)); err != nil {
		return err
	}
	sitting, err := sent.Sitting(s.workshop.Standard().Read())
	if err != nil {
		return err
	}
	found, err := s.workshop.Reckon(r.Context(), r.PathValue("number"), sitting)
	if errors.Is(err, observe.ErrTooFew) || errors.Is(err, observe.ErrIrregular) {
		return tell(w, http.StatusOK, bench.NoTold(err))
	}
	if err != nil {
		return err
	}
	return tell(w, http.StatusOK, bench.NewTold(found))
}

// compared writes a tapped comparison.
func (s *site) compared(w http.ResponseWriter, r *http.Request) error {
	if err := parse(w, r); err != nil {
		return err
	}
	id, err := chronometer.ParseID(r.PostForm.Get(form.IDName))
	if err != nil {
		return err
	}
	seen, err := s.workshop.See(r.Context(), r.PathValue("number"))
	if err != nil {
		return err
	}
	var sent bench.Sent
	if err := json.Unmarshal([]byte(r.PostForm.Get("taps")), &sent); err != nil {
		return fmt.Errorf("%w: no taps came with it; open the page again, with script, and tap", chronometer.ErrEntry)
	}
	by := strings.TrimSpace(r.PostForm.Get("by"))
	if by == "" {
		return fmt.Errorf("%w: nobody is named; say who compares", chronometer.ErrEntry)
	}
	if sent.Source == "" {
		sent.Source = s.workshop.Standard().Read().Source
	}
	sitting, err := sent.Sitting()
	if err != nil {
		return err
	}
	sitting.Observer = by
	if text := r.PostForm.Get("near_s"); text != "" {
		confirmed, err := form.ParseNumber(text)
		if err != nil {
			return fmt.Errorf("%w: near_s: %w", chronometer.ErrEntry, err)
		}
		sitting.Near = workshop.Confirmed(confirmed, sitting.Taps.EveryS)
	} else if seen.Current {
		sitting.Near = seen.Expected(sitting.Taps.Origin)
	}
	sitting.Note = strings.TrimSpace(r.PostForm.Get("note"))
	e, err := s.workshop.CompareByTap(r.Context(), id, by, seen.ID, sitting)
	if err != nil {
		return err
	}
	return s.wroteComparison(w, r, by, seen.ID, e)
}

// wroteComparison answers a comparison that was written with what it has found.
func (s *site) wroteComparison(w http.ResponseWriter, r *http.Request, by string, subject chronometer.ID, e chronometer.Entry) error {
	remember(w, r, by)
	words, err := s.said(r, subject, e)
	if err != nil {
		return err
	}
	return wrote(w, r, pathOf(r)+"?wrote="+url.QueryEscape(string(e.ID)), words)
}

// said tells what a comparison has found, and whether the calculation sets it
// aside.
func (s *site) said(r *http.Request, subject chronometer.ID, e chronometer.Entry) (string, error) {
	seen, err := s.workshop.See(r.Context(), string(subject))
	if err != nil {
		return "", err
	}
	c, ok := e.Fact.(chronometer.Compared)
	if !ok {
		return e.Kind().Title() + wording.After(": ", e.Fact.Words()), nil
	}
	near := 0.0
	if seen.Current {
		near = seen.ErrorNow.Mean
	}
	words := "Compared"
	if reading, ok := c.Reading(); ok {
		words += ": " + bench.ErrorWords(float64(seen.Instrument.ClockDial().Error(reading, e.At, clock.DialError(near))), c.SD())
	}
	if seen.Rating != nil {
		for _, a := range seen.Rating.SetAside {
			if a.Ref == string(e.ID) {
				words += ", but set aside: " + a.Reason + ". Look at the dial, and compare again"
			}
		}
	}
	return words, nil
}

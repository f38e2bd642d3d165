package web

import (
	"errors"
	"fmt"
	"net/http"
	"strings"

	"timeball/internal/chronometer"
	"timeball/internal/web/bench"
	"timeball/internal/web/form"
	"timeball/internal/web/wording"
	"timeball/internal/workshop"
)

// roundPage is the morning round.
type roundPage struct {
	frame
	bench.Round
	Day     string
	Written string // what was written a moment ago
}

func (s *site) round(w http.ResponseWriter, r *http.Request) error {
	round, err := s.workshop.Round(r.Context())
	if err != nil {
		return err
	}
	p := roundPage{frame: s.frame("The morning round", "round"), Day: wording.LongDay(round.Now)}
	by := author(r)
	if r.URL.Query().Has("anew") {
		by = ""
	}
	p.Round, err = bench.NewRound(round, by,
		func(subject chronometer.ID, kind chronometer.Kind) (chronometer.ID, error) {
			return s.workshop.NewID(r.Context(), subject, kind)
		},
		func(seen workshop.Seen) string { return address("", seen.ID) })
	if err != nil {
		return err
	}
	if n := r.URL.Query().Get("read"); n != "" {
		p.Written = "The thermometer is written for " + n + "."
	}
	p.Doubt = len(p.Stops) > 0
	s.show(w, http.StatusOK, "round", p)
	return nil
}

// hand remembers who makes the round on this device.
func (s *site) hand(w http.ResponseWriter, r *http.Request) error {
	if err := parse(w, r); err != nil {
		return err
	}
	f := form.New(chronometer.KindWound)
	f.Sent(r.PostForm)
	by := f.Sign()
	if !f.OK() {
		return fmt.Errorf("%w: %s", chronometer.ErrEntry, strings.Join(f.Problems(), " "))
	}
	remember(w, r, by)
	return see(w, r, "/round")
}

// readThermometers writes one reading of a thermometer for every instrument
// beside it.
func (s *site) readThermometers(w http.ResponseWriter, r *http.Request) error {
	if err := parse(w, r); err != nil {
		return err
	}
	f := form.New(chronometer.KindTemperature)
	f.Sent(r.PostForm)
	by, at, fact := f.Sign(), f.At(s.now()), f.Fact(chronometer.KindTemperature)
	if !f.OK() || fact == nil {
		return fmt.Errorf("%w: %s", chronometer.ErrEntry, strings.Join(f.Problems(), " "))
	}
	written := 0
	for _, text := range r.PostForm["entry"] {
		a, b, _ := strings.Cut(text, " ")
		subject, err := chronometer.ParseID(a)
		id, err2 := chronometer.ParseID(b)
		if err := errors.Join(err, err2); err != nil {
			return err
		}
		if _, err := s.workshop.WriteOnce(r.Context(), id, by, subject, at, fact); err != nil {
			return err
		}
		written++
	}
	if written == 0 {
		return fmt.Errorf("%w: no instrument is named; open the round again", chronometer.ErrEntry)
	}
	remember(w, r, by)
	counted := wording.Counted(written, "instrument", "instruments")
	return wrote(w, r, "/round?read="+strings.ReplaceAll(counted, " ", "+"), "Thermometer: "+fact.Words()+", for "+counted)
}

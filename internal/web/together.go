package web

import (
	"errors"
	"net/http"

	"timeball/internal/adjust"
	"timeball/internal/together"
	"timeball/internal/web/abreast"
	"timeball/internal/web/wording"
	"timeball/internal/workshop"
)

// togetherPage is several chronometers against each other.
type togetherPage struct {
	frame
	Choices []abreast.Choice
	Can     int    // how many of them can be compared with others
	Problem string // why nothing is shown
	Numbers string // those shown
	With    []string
	*abreast.Several
}

func (s *site) together(w http.ResponseWriter, r *http.Request) error {
	room, err := s.workshop.Room(r.Context())
	if err != nil {
		return err
	}
	answers := r.URL.Query()
	p := togetherPage{frame: s.frame("Several together", "workshop"), Choices: abreast.Choices(room, answers[abreast.WithField]), With: answers[abreast.WithField]}
	for _, c := range p.Choices {
		if c.Why == "" {
			p.Can++
		}
	}
	if !answers.Has(abreast.WithField) {
		s.show(w, http.StatusOK, "together", p)
		return nil
	}
	seens, err := s.abreast(r, p.With)
	if err != nil {
		return err
	}
	status := http.StatusUnprocessableEntity
	if len(seens) < 2 {
		p.Problem = "One instrument has nothing to be compared with: choose two or more."
	} else if seen, why := unfit(seens); why != "" {
		p.Problem = "No. " + seen.Instrument.Number + " cannot be compared with others: " + wording.Sentence(why)
	} else if t, err := adjust.Book(seens, s.now().UTC()); err == nil {
		several := abreast.New(seens, t, answers)
		p.Several, p.Doubt, status = &several, true, http.StatusOK
		var names []string
		for _, seen := range seens {
			names = append(names, "No. "+seen.Instrument.Number)
		}
		p.Numbers = wording.Joined(names)
		if !several.UTC.Form.OK() {
			status = http.StatusUnprocessableEntity
		}
	} else if p.Problem = apart(err); p.Problem == "" {
		return err
	}
	s.show(w, status, "together", p)
	return nil
}

// abreast returns the instruments of the numbers, each once.
func (s *site) abreast(r *http.Request, numbers []string) ([]workshop.Seen, error) {
	var seens []workshop.Seen
	asked := map[string]bool{}
	for _, number := range numbers {
		if len(seens) > together.MaxInstruments {
			break // more than that is refused, whatever they are
		}
		seen, err := s.workshop.See(r.Context(), number)
		if err != nil {
			return nil, err
		}
		if !asked[string(seen.ID)] {
			asked[string(seen.ID)] = true
			seens = append(seens, seen)
		}
	}
	return seens, nil
}

// unfit returns the first that cannot be compared with others, and why.
func unfit(seens []workshop.Seen) (workshop.Seen, string) {
	for _, seen := range seens {
		if why := adjust.Fit(seen); why != "" {
			return seen, why
		}
	}
	return workshop.Seen{}, ""
}

// apart says why instruments cannot be laid side by side, or nothing if that is
// not of their making.
func apart(err error) string {
	for _, known := range []error{together.ErrAlone, together.ErrBook} {
		if errors.Is(err, known) {
			return wording.Sentence(without(err, known))
		}
	}
	return ""
}

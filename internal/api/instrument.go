package api

import (
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"time"

	"timeball/internal/chronometer"
	"timeball/internal/rating"
	"timeball/internal/timescale"
	"timeball/internal/workshop"
)

// Room is every instrument, the most urgent first.
type Room struct {
	Now         time.Time    `json:"now"`
	Pending     int          `json:"pending"` // how many are still being rated
	Instruments []Instrument `json:"instruments"`
}

// Instrument is what is known of an instrument now. While it is pending,
// figures are null and what is not yet read is empty.
type Instrument struct {
	ID            string      `json:"id"`
	Number        string      `json:"number"`
	Maker         string      `json:"maker"`
	Make          string      `json:"make"`
	Beat          string      `json:"beat"`
	Dial          string      `json:"dial"`
	GoingH        float64     `json:"going_h"`
	Owner         *NamedOwner `json:"owner"`
	Motion        string      `json:"motion"`
	MotionSince   *time.Time  `json:"motion_since"`
	Station       string      `json:"station"`
	StationSince  *time.Time  `json:"station_since"`
	Position      string      `json:"position"`
	LastCompared  *time.Time  `json:"last_compared"`
	LastWound     *time.Time  `json:"last_wound"`
	ErrorNow      *ErrorAt    `json:"error_now"`
	ErrorIn30Days *ErrorAt    `json:"error_in_30_days"`
	Rate          *DailyRate  `json:"rate"`
	Steadiness    Figure      `json:"steadiness_s_per_day"`
	SteadySD      Figure      `json:"steadiness_sd_s_per_day"`
	Next          []Action    `json:"next"`
	Pending       bool        `json:"pending"`
	Why           string      `json:"why"` // why there are no figures, empty if there are

	// Given when one instrument is asked for.
	Particulars *chronometer.Instrument `json:"particulars,omitempty"`
	Entries     int                     `json:"entries,omitempty"`
}

// NamedOwner is an owner by name.
type NamedOwner struct {
	ID   string `json:"id"`
	Name string `json:"name"`
}

// Action is one thing to do next.
type Action struct {
	Verb string     `json:"verb"`
	Kind string     `json:"kind"` // of the entry that doing it writes; empty: look
	Say  string     `json:"say"`
	Due  *time.Time `json:"due"` // null: now
	Late bool       `json:"late"`
	Stop bool       `json:"stop"` // a warning
}

// fromSeen returns an instrument as it is written in JSON.
func fromSeen(seen workshop.Seen) Instrument {
	i, s := seen.Instrument, seen.State
	out := Instrument{
		ID: string(seen.ID), Number: i.Number, Maker: i.Maker, Make: string(i.Make), Beat: string(i.Beat), Dial: string(i.Dial), GoingH: i.GoingH,
		Motion: string(s.Motion), MotionSince: instantIf(s.MotionSince), Station: string(s.Station), StationSince: instantIf(s.StationSince),
		Position: string(s.Position), LastCompared: instantIf(s.Compared), LastWound: instantIf(s.Wound),
		Steadiness: unknown, SteadySD: unknown, Next: []Action{}, Pending: seen.Pending,
	}
	if seen.Owner != nil {
		out.Owner = &NamedOwner{ID: string(seen.Owner.ID), Name: seen.Owner.Owner.Name}
	}
	if seen.Rating != nil {
		out.Steadiness, out.SteadySD = figure(seen.Rating.Steadiness.Mean), figure(seen.Rating.Steadiness.SD)
	}
	if seen.Current && seen.Rating != nil {
		out.ErrorNow, out.ErrorIn30Days = errorAt(seen.Now, seen.ErrorNow), errorAt(timescale.AddDays(seen.Now, 30), seen.In30Days)
		out.Rate = dailyRate(seen.Rating.RateNow)
	} else {
		out.Why = whyNone(seen)
	}
	for _, a := range seen.Next {
		out.Next = append(out.Next, Action{Verb: a.Verb, Kind: string(a.Kind), Say: a.Say, Due: instantIf(a.Due), Late: a.Late, Stop: a.Stop})
	}
	return out
}

// whyNone says why an instrument has no figures now.
func whyNone(seen workshop.Seen) string {
	switch {
	case seen.Pending:
		return "being rated; ask again"
	case seen.Why != "":
		return seen.Why
	case seen.State.Motion != chronometer.Going && !seen.State.MotionSince.IsZero():
		return string(seen.State.Motion) + " since " + seen.State.MotionSince.UTC().Format("2 January 2006")
	}
	return "nothing is known of it now; compare it"
}

// fromOne returns an instrument with its particulars.
func fromOne(seen workshop.Seen) Instrument {
	out := fromSeen(seen)
	out.Particulars, out.Entries = &seen.Instrument, seen.Logbook.Len()
	return out
}

func (s *surface) instruments(w http.ResponseWriter, r *http.Request) error {
	if _, err := questions(r, ""); err != nil {
		return err
	}
	room, err := s.workshop.Room(r.Context())
	if err != nil {
		return err
	}
	out := Room{Now: instant(room.Now), Pending: room.Pending, Instruments: []Instrument{}}
	for _, seen := range room.Instruments {
		out.Instruments = append(out.Instruments, fromSeen(seen))
	}
	return send(w, http.StatusOK, out)
}

func (s *surface) instrument(w http.ResponseWriter, r *http.Request) error {
	if _, err := questions(r, ""); err != nil {
		return err
	}
	seen, err := s.workshop.See(r.Context(), r.PathValue("number"))
	if err != nil {
		return err
	}
	return send(w, http.StatusOK, fromOne(seen))
}

// newInstrument is the body that enters an instrument.
type newInstrument struct {
	By         string          `json:"by"`
	Instrument json.RawMessage `json:"instrument"`
}

func (s *surface) enterInstrument(w http.ResponseWriter, r *http.Request) error {
	if _, err := questions(r, ""); err != nil {
		return err
	}
	var body newInstrument
	if err := decode(w, r, &body); err != nil {
		return err
	}
	if err := signed(body.By); err != nil {
		return err
	}
	fact, err := s.fact(r, chronometer.KindEntered, body.Instrument)
	if err != nil {
		return err
	}
	made := fact.(chronometer.Instrument)
	// A script that runs twice must not make a second instrument, which would
	// leave the number without a meaning.
	held, err := s.workshop.See(r.Context(), made.Number)
	switch {
	case err == nil && held.Instrument.Number == made.Number && held.Instrument.Maker == made.Maker:
		return fmt.Errorf("%w: No. %s of this maker has the id %s; write to that, or enter another number", errHeld, made.Number, held.ID)
	case err != nil && !errors.Is(err, workshop.ErrUnknown):
		return err
	}
	id, err := s.workshop.Enter(r.Context(), body.By, made)
	if err != nil {
		return err
	}
	seen, err := s.workshop.See(r.Context(), string(id))
	if err != nil {
		return err
	}
	w.Header().Set("Location", Root+"/instruments/"+url.PathEscape(string(id)))
	return send(w, http.StatusCreated, fromOne(seen))
}

// mostAsked bounds the instants of one question.
const mostAsked = 200

func (s *surface) rating(w http.ResponseWriter, r *http.Request) error {
	q, err := questions(r, "at")
	if err != nil {
		return err
	}
	if len(q["at"]) > mostAsked {
		return fmt.Errorf("%w: parameter at is given %d times; give it at most %d times", errQuestion, len(q["at"]), mostAsked)
	}
	var asked []time.Time
	for _, text := range q["at"] {
		at, err := timescale.Parse(text)
		if err != nil {
			return fmt.Errorf("%w: at: %w", errQuestion, err)
		}
		asked = append(asked, at)
	}
	seen, err := s.workshop.See(r.Context(), r.PathValue("number"))
	if err != nil {
		return err
	}
	if seen.Rating != nil && len(asked) == 0 {
		return send(w, http.StatusOK, FromRating(*seen.Rating))
	}
	rated, err := rating.Rate(workshop.History(seen.Instrument.ClockDial(), seen.Logbook), rating.Options{At: asked})
	if err != nil {
		return fmt.Errorf("no. %s: %w", seen.Instrument.Number, err)
	}
	return send(w, http.StatusOK, FromRating(rated))
}

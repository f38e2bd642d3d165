// Package together reads several chronometers against each other: how their
// differences move, which of them altered, and how steady each one is by
// itself.
//
// Error is dial minus UTC in seconds, positive fast; rate is its change in
// seconds per day of 86,400 SI seconds, positive gaining. A comparison book
// holds dials that were read at one instant; only their differences count,
// except in rows that say that the instant is UTC. Nothing is interpolated.
//
// Noise is stated per day as in package statespace: white FM σw, the scatter of
// one day's rate, and random-walk FM σr, the wandering of the rate. The noises
// of two instruments are taken as independent: a common cause, such as the
// temperature of their room, is outside what a comparison of dials can show.
//
// The book itself is in package rounds, the steadiness of each in cornered, the
// time that they make in bestutc.
package together

import (
	"errors"
	"fmt"
	"math"
	"time"

	"timeball/internal/together/cornered"
	"timeball/internal/together/rounds"
)

// MaxInstruments is the greatest number of instruments in one book.
const MaxInstruments = rounds.MaxInstruments

// The errors of a book.
var (
	ErrBook  = rounds.ErrBook
	ErrAlone = rounds.ErrAlone
)

// Book holds readings of several dials at common instants.
type Book = rounds.Book

// Result is all that a comparison book tells.
type Result struct {
	Instruments []string  `json:"instruments"`
	Rows        int       `json:"rows"` // with two or more that can be compared
	From        time.Time `json:"from"`
	To          time.Time `json:"to"`
	Pairs       []Pair    `json:"pairs"`
	Changes     []Change  `json:"changes"`
	// Steadiness is from day to day, with the changes taken away; nil for fewer
	// than three instruments, or too few equal steps.
	Steadiness *cornered.Hat `json:"steadiness"`
	Words      []string      `json:"words"`
	Warnings   []string      `json:"warnings"`
}

// Examine returns all that b tells. It returns an error that wraps ErrBook for
// a book that cannot be read, or ErrAlone for one instrument with nothing to
// compare it with.
func Examine(b Book, o Options) (Result, error) {
	s, err := o.search(b)
	if err != nil {
		return Result{}, err
	}
	r := Result{Instruments: b.Names, Changes: []Change{}, Warnings: []string{}}
	for k, at := range s.At {
		read := 0
		for p := range s.X {
			if !math.IsNaN(s.X[p][k]) {
				read++
			}
		}
		if read > 1 {
			if r.Rows == 0 {
				r.From = at
			}
			r.To = at
			r.Rows++
		}
	}
	if r.Rows == 0 {
		return Result{}, fmt.Errorf("%w: no two instruments were ever read at one time; read all dials in one round", ErrAlone)
	}
	r.Pairs = pairs(s.Table)
	changes, rest, notes := s.scan()
	r.Changes = append(r.Changes, changes...)
	r.Warnings = append(r.Warnings, notes...)
	for _, c := range changes {
		r.Words = append(r.Words, c.Words)
	}
	switch {
	case r.Rows < 4:
		r.Words = append(r.Words, fmt.Sprintf("%d rounds are too few to show a change.", r.Rows))
	case len(changes) == 0:
		r.Words = append(r.Words, fmt.Sprintf("Nothing shows in %d rounds that the instruments do not do every day; a change no larger than their daily scatter, or of the last few days, would not show.", r.Rows))
	}
	if len(s.X) == 2 && s.Instruments == 2 {
		r.Words = append(r.Words, "Two instruments show that something changed, never which: a third, or standard time, must say.")
	}
	h, err := cornered.Steadiness(rest, 0, 1)
	switch {
	case err == nil:
		r.Steadiness = &h
		r.Words = append(r.Words, h.Words...)
	case errors.Is(err, ErrAlone) && s.Instruments > 2:
		r.Warnings = append(r.Warnings, err.Error())
	}
	return r, nil
}

package together

import (
	"errors"
	"fmt"
	"time"
)

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
	Steadiness *Corners `json:"steadiness"`
	Words      []string `json:"words"`
	Warnings   []string `json:"warnings"`
}

// Examine returns all that b tells. It returns an error that wraps ErrBook for
// a book that cannot be read, or ErrAlone for one instrument with nothing to
// compare it with.
func Examine(b Book, o Options) (Result, error) {
	tb, err := o.lay(b)
	if err != nil {
		return Result{}, err
	}
	r := Result{Instruments: b.Names, Pairs: []Pair{}, Changes: []Change{}, Warnings: []string{}}
	for k := range tb.t {
		together := 0
		for p := range tb.x {
			if tb.x[p][k] == tb.x[p][k] {
				together++
			}
		}
		if together > 1 {
			if r.Rows == 0 {
				r.From = tb.at[k]
			}
			r.To = tb.at[k]
			r.Rows++
		}
	}
	if r.Rows == 0 {
		return Result{}, fmt.Errorf("%w: no two instruments were ever read at one time; read all dials in one round", ErrAlone)
	}
	if tb.n > 1 {
		if r.Pairs, err = Pairs(b); err != nil {
			return Result{}, err
		}
	}
	changes, rest, notes := tb.scan(o)
	r.Changes = append(r.Changes, changes...)
	r.Warnings = append(r.Warnings, notes...)
	for _, c := range changes {
		r.Words = append(r.Words, c.Words)
	}
	switch {
	case r.Rows < 4:
		r.Words = append(r.Words, fmt.Sprintf("%d rounds are too few to show a change.", r.Rows))
	case len(changes) == 0:
		r.Words = append(r.Words, fmt.Sprintf("Nothing shows in %d rounds that the instruments do not do every day.", r.Rows))
	}
	if len(tb.x) == 2 && tb.n == 2 {
		r.Words = append(r.Words, "Two instruments show that something changed, never which: a third, or standard time, must say.")
	}
	c, err := rest.corners(0, 1)
	switch {
	case err == nil:
		r.Steadiness = &c
		r.Words = append(r.Words, c.Words...)
	case errors.Is(err, ErrAlone) && tb.n > 2:
		r.Warnings = append(r.Warnings, err.Error())
	}
	return r, nil
}

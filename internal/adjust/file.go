package adjust

import (
	"fmt"
	"time"

	"timeball/internal/chronometer"
	"timeball/internal/clock"
	"timeball/internal/ratebook"
	"timeball/internal/rating"
	"timeball/internal/trial"
	"timeball/internal/trial/course"
	"timeball/internal/workshop"
)

// FollowFile judges the comparisons of a file by a programme. The trial begins
// with the first comparison and ends with the last; it is taken to have settled
// before.
func FollowFile(book ratebook.Book, dial clock.Dial, p trial.Programme) (Trial, error) {
	logbook, _ := workshop.FileLogbook(book)
	seen := workshop.Seen{Logbook: logbook, Instrument: chronometer.Instrument{Dial: chronometer.Twelve}}
	if dial == clock.TwentyFourHour {
		seen.Instrument.Dial = chronometer.TwentyFour
	}
	var first, last time.Time
	for _, e := range logbook.Standing() {
		if e.Kind() == chronometer.KindCompared {
			if first.IsZero() {
				first = e.At
			}
			last = e.At
		}
	}
	if first.IsZero() {
		return Trial{}, fmt.Errorf("%w: the file holds no comparison; a trial wants one a day", rating.ErrThin)
	}
	if r, err := rating.Rate(workshop.History(dial, logbook), rating.Options{HorizonDays: 1}); err == nil {
		seen.Rating = &r
	}
	t := Trial{Programme: p}
	settled := time.Duration(p.SettlingH * float64(time.Hour))
	t.Course = course.Follow(p, first.Add(-settled), &last, logOf(seen), last)
	t.Ended = chronometer.Entry{At: last}
	t.Result = judged(t)
	return t, nil
}

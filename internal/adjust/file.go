package adjust

import (
	"fmt"
	"math"
	"time"

	"timeball/internal/chronometer"
	"timeball/internal/clock"
	"timeball/internal/ratebook"
	"timeball/internal/rating"
	"timeball/internal/trial/course"
	"timeball/internal/trial/programme"
	"timeball/internal/workshop"
)

// FollowFile judges the comparisons of a file by a programme. The trial begins
// with the first comparison and ends with the last; it is taken to have settled
// before.
func FollowFile(book ratebook.Book, dial clock.Dial, p programme.Programme) (Trial, error) {
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
	log := logOf(seen)
	remarks := keepSmallSlips(&log, seen.Rating)
	t := Trial{Programme: p}
	settled := time.Duration(p.SettlingH * float64(time.Hour))
	t.Course = course.Follow(p, first.Add(-settled), &last, log, last)
	t.Ended = chronometer.Entry{At: last}
	t.Result = judged(t)
	t.Result.Remarks = append(t.Result.Remarks, remarks...)
	return t, nil
}

// certainSlipS is the size from which a slip is one beyond doubt, s: in
// simulation every reading set aside that was 5 s or more out was out.
const certainSlipS = 5

// keepSmallSlips uses the comparisons of a file that the rating set aside for a
// small slip, since nobody can say in a file that they are right, and returns a
// remark on each.
func keepSmallSlips(log *course.Log, r *rating.Rating) []string {
	if r == nil {
		return nil
	}
	small := map[time.Time]rating.SetAside{}
	for _, s := range r.SetAside {
		if math.Abs(s.ResidualS) < certainSlipS {
			small[s.At] = s
		}
	}
	var remarks []string
	for i, c := range log.Compared {
		if s, ok := small[c.At]; ok && c.Aside != "" {
			log.Compared[i].Aside = ""
			remarks = append(remarks, fmt.Sprintf("the comparison of %s is used as it was read, though the rating takes it for a slip (%s); leave the row out if it is one", c.At.Format("2 January 2006 15:04 UTC"), s.Reason))
		}
	}
	return remarks
}

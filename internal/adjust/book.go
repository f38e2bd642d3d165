package adjust

import (
	"fmt"
	"time"

	"timeball/internal/chronometer"
	"timeball/internal/clock"
	"timeball/internal/rating"
	"timeball/internal/statespace"
	"timeball/internal/together"
	"timeball/internal/together/bestutc"
	"timeball/internal/together/rounds"
	"timeball/internal/workshop"
)

// oneRound is how far apart comparisons of several instruments may be that are
// of one round. Each is against UTC, so the hours between cost only what its
// rate is worth over them, which their doubt is widened by.
const oneRound = 4 * time.Hour

// bookDays is how far back a comparison book of the workshop goes, from the
// newest comparison that its instruments have.
const bookDays = 120

// Together is several instruments of the workshop compared at one time.
type Together struct {
	Book   together.Book
	Result together.Result
	Best   bestutc.Estimate // of those whose error is known now
	BestOf int              // how many those are; Best says nothing if it is 0
}

// Book returns what the logbooks of several instruments say of each other:
// their comparisons of the same rounds since they were last altered, set going
// or set. The error of each is that of its own rating.
func Book(seens []workshop.Seen, now time.Time) (Together, error) {
	var t Together
	var series []rounds.Series
	var noise []statespace.Noise
	newest := time.Time{}
	for _, seen := range seens {
		if seen.State.Compared.After(newest) {
			newest = seen.State.Compared
		}
	}
	for _, seen := range seens {
		series = append(series, seriesOf(seen, newest.AddDate(0, 0, -bookDays)))
		var n statespace.Noise
		if seen.Rating != nil {
			n = statespace.Noise{SigmaW: seen.Rating.Noise.SigmaW, SigmaR: seen.Rating.Noise.SigmaR}
		}
		noise = append(noise, n)
	}
	var err error
	if t.Book, err = rounds.FromErrors(series, oneRound); err != nil {
		return t, err
	}
	// Standard time is left out of the search for the one that moved, as on a
	// ship; each one's own page has it.
	if t.Result, err = together.Examine(t.Book, together.Options{Noise: noise, WithoutUTC: true}); err != nil {
		return t, err
	}
	var clues []bestutc.Clue
	for _, seen := range seens {
		if !seen.Current {
			continue
		}
		e := seen.ErrorNow
		clues = append(clues, bestutc.Clue{Doubted: doubted(seen), Name: seen.Instrument.Number, DialS: e.Mean, ErrorS: e.Mean, ErrorSD: e.SD})
	}
	if t.BestOf = len(clues); t.BestOf > 0 {
		t.Best, err = bestutc.Combine(now, clues)
	}
	return t, err
}

// seriesOf returns the comparisons of an instrument that were not set aside,
// since it was last altered or its error was last begun anew.
func seriesOf(seen workshop.Seen, from time.Time) rounds.Series {
	s := rounds.Series{Name: seen.Instrument.Number}
	if seen.State.RunSince.After(from) {
		from = seen.State.RunSince
	}
	whole := unwrapped(seen)
	for _, e := range seen.Logbook.Standing() {
		if e.At.Before(from) {
			continue
		}
		switch f := e.Fact.(type) {
		case chronometer.Compared:
			if w := whole[e.ID]; w.aside == "" {
				s.Readings = append(s.Readings, rounds.Comparison{At: e.At, ErrorS: w.errorS, SDS: f.SD()})
			}
		case chronometer.Moved:
			s.Steps = append(s.Steps, rounds.Step{Name: s.Name, At: e.At, MovedS: f.ByS})
		}
	}
	return s
}

// doubted returns why an instrument is not to be believed, or nothing: the
// logbook warns that it may have run down.
func doubted(seen workshop.Seen) string {
	for _, a := range seen.Next {
		if a.Stop && a.Kind == chronometer.KindStopped {
			return a.Say
		}
	}
	return ""
}

// Fit returns why an instrument cannot be compared with others, or nothing.
func Fit(seen workshop.Seen) string {
	switch {
	case seen.State.Motion != chronometer.Going:
		return fmt.Sprintf("it does not go (%s)", seen.State.Motion)
	case seen.State.Compares == 0:
		return "it was not compared since its error was last begun anew"
	}
	return ""
}

// Dials returns UTC from dials that were read at one instant, the nearest that
// is known being at; a reading of which the hours are open is taken nearest to
// what is expected. Readings are by the number of their instrument.
func Dials(seens []workshop.Seen, at time.Time, readings map[string]clock.DialReading, readingSDS float64) (bestutc.Estimate, error) {
	var clues []bestutc.Clue
	for _, seen := range seens {
		r, ok := readings[seen.Instrument.Number]
		if !ok {
			continue
		}
		clue := bestutc.Clue{Name: seen.Instrument.Number, DialSD: readingSDS}
		e, known := rating.Interval{}, false
		if seen.Current {
			e, known = seen.Rating.Track.At(at)
		}
		if !known {
			clue.Doubted, clue.ErrorSD = "its error is not known at that instant", 1
		} else {
			clue.ErrorS, clue.ErrorSD, clue.Doubted = e.Mean, e.SD, doubted(seen)
		}
		clue.DialS = float64(seen.Instrument.ClockDial().Error(r, at, clock.DialError(clue.ErrorS)))
		clues = append(clues, clue)
	}
	return bestutc.Combine(at, clues)
}

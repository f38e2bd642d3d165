package bench

import (
	"fmt"

	"timeball/internal/chronometer"
	"timeball/internal/clock"
	"timeball/internal/rating"
	"timeball/internal/setting"
	"timeball/internal/web/wording"
	"timeball/internal/workshop"
)

// wideWindow is how long a window names no day by itself.
const wideWindow = 14 * clock.Day

// HandMoveWords says when the minute hand of an instrument is to be moved, and
// what that does to its error now.
func HandMoveWords(seen workshop.Seen) string {
	if seen.State.Motion != chronometer.Going {
		return "It does not go: its hands are set when it is started, and how is written with the start."
	}
	if !seen.Current {
		return "Its error is not known now: compare it first, then move the minute hand forward by whole minutes."
	}
	words := HandAdvice(seen)
	e := seen.ErrorNow
	minutes := max(seen.Hand.Minutes, 1)
	moved := clock.DialError(e.Mean).Advanced(clock.Advance(min(minutes, 255)))
	return words + fmt.Sprintf(" Now it is %s; %s forward makes it %s.", wording.Error(e), wording.Counted(minutes, "minute", "minutes"),
		wording.Error(rating.Interval{Mean: float64(moved), SD: e.SD, Lo95: e.Lo95 + 60*float64(minutes), Hi95: e.Hi95 + 60*float64(minutes)}))
}

// HandAdvice says what to do about the minute hand of an instrument whose
// error is known now.
func HandAdvice(seen workshop.Seen) string {
	h := seen.Hand
	switch seen.Advice {
	case setting.Move:
		words := "Move the minute hand forward one minute " + wording.Between(h.From, h.To, seen.Now)
		if h.To.Sub(h.From) > wideWindow {
			words += ", most likely about " + wording.Day(h.At, seen.Now) + ": the next comparisons narrow it down. Compare it before you move it"
		} else {
			words += ", after a comparison"
		}
		if seen.Instrument.ErrorLimitS() > setting.UsualLimitS && !h.Sure {
			words += "; within the owner's limit for certain it cannot be kept, so compare it often about then"
		}
		if h.Every > 0 {
			words += fmt.Sprintf("; at this rate again every %.0f days", h.Every.Hours()/24)
		}
		return wording.Sentence(words)
	case setting.NotWithin:
		if !h.From.IsZero() {
			return wording.Sentence("The minute hand may have to be moved forward one minute from " + wording.Day(h.From, seen.Now) + " on; further ahead its error is not known")
		}
	case setting.TooFar:
		return fmt.Sprintf("%s It takes %d minutes.", seen.Advice.Words(), h.Minutes)
	}
	return seen.Advice.Words()
}

// MovedWords says what moving the hands has done to the error: "slow 30.2 s to
// fast 29.8 s"; nothing if the error then is not known or e is another entry.
func MovedWords(seen workshop.Seen, e chronometer.Entry) string {
	moved, ok := e.Fact.(chronometer.Moved)
	if !ok || seen.Rating == nil {
		return ""
	}
	after, ok := seen.Rating.Track.At(e.At)
	if !ok {
		return ""
	}
	before := clock.DialError(after.Mean - moved.ByS)
	return before.Words(after.Half()) + " " + before.HalfWidth(after.Half()) + " before, " + wording.Error(after).String() + " after"
}

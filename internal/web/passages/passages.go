// Package passages is what the pages say of the last journey of an instrument:
// whether it hurt it.
package passages

import (
	"fmt"
	"time"

	"timeball/internal/adjust"
	"timeball/internal/journey"
	"timeball/internal/web/wording"
	"timeball/internal/workshop"
)

// shownDays is for how long after it a journey is shown.
const shownDays = 180

// Passage is the last journey in words.
type Passage struct {
	When    string // "24 January to 28 January"
	Entry   string // of the logbook that tells of it
	Href    string // where that stands
	Verdict string
	Tone    string // how the tag of the verdict looks: empty, warn or alarm
	Words   string
	LookAt  []string
	Notes   []string
	Due     string // when the next verdict comes; empty if none
}

// Of returns the last journey of an instrument, nil if there was none lately.
func Of(seen workshop.Seen) *Passage {
	p, ok := adjust.LastPassage(seen, seen.Now.AddDate(0, 0, -shownDays))
	if !ok || !p.Finished {
		return nil
	}
	out := &Passage{When: wording.Day(p.Left, seen.Now), Entry: string(p.Entry.ID)}
	if to := wording.Day(p.Arrived, seen.Now); to != out.When {
		out.When += " to " + to
	}
	if p.Fault != "" {
		out.Verdict, out.Words = string(journey.CannotTell), wording.Sentence(wording.Upper(p.Fault))
		return out
	}
	f := p.Finding
	out.Verdict, out.Words, out.LookAt, out.Notes = string(f.Verdict), f.Words, f.LookAt, f.Notes
	switch f.Verdict {
	case journey.Tripped, journey.GrowingLoss:
		out.Tone = "alarm"
	case journey.RateChanged:
		out.Tone = "warn"
	}
	if n := f.Need; n.Days > 0 && !n.Never {
		out.Notes = append(out.Notes, fmt.Sprintf("%s more of daily comparisons would let a change of %.1f s a day be seen in 4 of 5 cases.", wording.Upper(wording.Counted(n.Days, "day", "days")), f.Wish))
	} else if n.Never {
		out.Notes = append(out.Notes, n.Why)
	}
	if f.Next.After(seen.Now) {
		out.Due = "The next verdict is due on " + wording.Day(f.Next.Add(12*time.Hour), seen.Now) + "."
	}
	return out
}

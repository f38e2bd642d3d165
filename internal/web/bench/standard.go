package bench

import (
	"fmt"
	"time"

	"timeball/internal/chronometer"
	"timeball/internal/reference"
	"timeball/internal/web/wording"
)

// Standard is what the standard says, for its page.
type Standard struct {
	Lead    string
	About   string
	Remarks []string
	Figures []Labelled
	Sources []Source
	Leap    []string
	Signals []Signal
}

// Labelled is a figure under its label.
type Labelled struct{ Label, Words, After string }

// Source is one server in words.
type Source struct {
	Name, Says, Bound, Delay, Heard, Verdict string
	False                                    bool
}

// Signal is a time signal in words.
type Signal struct{ Name, OnTime, Doubt string }

// NewStandard returns the standard in words.
func NewStandard(s reference.State) Standard {
	out := Standard{Lead: wording.Sentence(wording.Upper(s.Standing())), Leap: leapWords(s)}
	for _, words := range s.Remarks {
		out.Remarks = append(out.Remarks, wording.Sentence(words))
	}
	bound, clock := "not known", "taken as it stands"
	if s.Known {
		bound, clock = reference.BoundWords(s.BoundS), reference.ClockWords(s.OffsetS, s.BoundS)
	}
	out.Figures = []Labelled{{Label: "UTC is known within", Words: bound}, {Label: "This computer’s clock is", Words: clock, After: "and is not set"}}
	if s.Polled.IsZero() {
		out.Figures = append(out.Figures, Labelled{Label: "Servers asked", Words: "never"})
	} else {
		out.Figures = append(out.Figures, Labelled{Label: "Servers last asked", Words: ago(s.UTC.Sub(s.Polled))})
	}
	out.About = "Each server is asked in turn; those whose intervals overlap agree, and the middle of what they share is taken for UTC. One that contradicts the others is named."
	if len(s.Sources) == 0 {
		out.About = "No server is asked: UTC is the clock of this computer as it stands."
	}
	for _, x := range s.Sources {
		out.Sources = append(out.Sources, newSource(x, s.UTC))
	}
	for _, x := range chronometer.Signals() {
		out.Signals = append(out.Signals, Signal{x.Name, x.OnTime, fmt.Sprintf("±%.2g s", 1.96*x.SDS)})
	}
	return out
}

func newSource(x reference.Source, now time.Time) Source {
	s := Source{Name: x.Name, Says: "not known", Bound: "–", Delay: "–", Heard: "never", Verdict: x.Verdict(), False: x.False}
	if !x.Heard.IsZero() {
		s.Says, s.Bound, s.Delay = reference.ClockWords(x.OffsetS, x.BoundS), reference.BoundWords(x.BoundS), fmt.Sprintf("%.1f ms", 1000*x.DelayS)
		s.Heard = ago(now.Sub(x.Heard))
	}
	return s
}

// ago writes how long ago something was.
func ago(d time.Duration) string {
	switch {
	case d < 90*time.Second:
		return fmt.Sprintf("%.0f s ago", max(0, d.Seconds()))
	case d < 2*time.Hour:
		return fmt.Sprintf("%.0f min ago", d.Minutes())
	}
	return fmt.Sprintf("%.0f h ago", d.Hours())
}

// leapWords says what is known of leap seconds. That none are planned from 20
// May 2027: tz database 2026f, NEWS.
func leapWords(s reference.State) []string {
	words := []string{"UTC has had no leap second since 2016; from 20 May 2027 none are planned, and the Earth’s time UT1 may then drift from it by more than 0.9 s. A navigator takes UT1 less UTC from the almanac: 1 s is a quarter of a minute of longitude."}
	if !s.NextLeap.IsZero() {
		words = append(words, "A leap second is announced at the end of "+wording.FullDay(s.NextLeap.Add(-time.Second))+". Comparisons within a day of it are doubtful: some servers spread it over hours.")
	}
	if s.ListFrom != "" {
		text := "The table in use is " + s.ListFrom + ", complete until " + wording.FullDay(s.ListExpires)
		if s.ListExpired {
			text = "The table in use is " + s.ListFrom + ", which expired on " + wording.FullDay(s.ListExpires) + "; later leap seconds, if any, are not known"
		}
		words = append(words, wording.Sentence(text))
	}
	return words
}

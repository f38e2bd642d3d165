package bench

import (
	"fmt"
	"slices"
	"time"

	"timeball/internal/chronometer"
	"timeball/internal/web/form"
	"timeball/internal/web/wording"
	"timeball/internal/workshop"
)

// Round is the morning round in words.
type Round struct {
	Counted string
	By      string
	Places  []Place
	Stops   []Stop
	Done    bool // nothing is left to do
}

// Place is where one thermometer tells for several instruments.
type Place struct {
	ID       chronometer.ID // tells the form from others
	Name     string
	Numbers  string
	Subjects []Writing
	Read     string // when it was read last, in words; empty if it is due
}

// Writing is an entry to be written about a subject under an ID.
type Writing struct{ Subject, ID chronometer.ID }

// Stop is one instrument of the round.
type Stop struct {
	Number, Maker, Make, Where string
	Href                       string
	Key                        chronometer.ID
	Missed                     string
	Look                       bool
	Wind                       Step
	WindID                     chronometer.ID
	UpDown                     bool
	Usual                      string // half-turns of the last winding
	Compare                    Step
	Tapping                    Tapping
	Cautions                   []string
	Left                       bool
	Open                       bool // the next to be done
	By                         string
}

// Step is one thing to do in words.
type Step struct {
	Due   bool
	Words string // "wound at 08:12", "by 14:30"
}

// NewID returns an ID under which one entry about a subject can be written.
type NewID func(subject chronometer.ID, kind chronometer.Kind) (chronometer.ID, error)

// NewRound returns the round in words; address tells where an instrument is.
func NewRound(r workshop.Round, by string, newID NewID, address func(workshop.Seen) string) (Round, error) {
	out := Round{By: by}
	places := map[string]int{}
	winds, compares := 0, 0
	for _, s := range r.Stops {
		stop, err := newStop(s, by, newID, address(s.Seen))
		if err != nil {
			return Round{}, err
		}
		stop.Open = stop.Left && !slices.ContainsFunc(out.Stops, func(s Stop) bool { return s.Open })
		out.Stops = append(out.Stops, stop)
		if s.Wind.Due {
			winds++
		}
		if s.Compare.Due {
			compares++
		}
		name := s.State.Where
		if name == "" {
			name = string(s.State.Station)
		}
		n, ok := places[name]
		if !ok {
			n = len(out.Places)
			places[name] = n
			out.Places = append(out.Places, Place{Name: wording.Upper(name), Read: "read"})
		}
		id, err := newID(s.ID, chronometer.KindTemperature)
		if err != nil {
			return Round{}, err
		}
		out.Places[n].add(s, id, r.Now)
	}
	slices.SortStableFunc(out.Places, func(a, b Place) int { return len(b.Subjects) - len(a.Subjects) })
	switch {
	case len(r.Stops) == 0:
		out.Counted = "nothing goes here"
	case winds == 0 && compares == 0:
		out.Counted, out.Done = "all wound and compared", true
	default:
		out.Counted = wording.Count(winds) + " to wind, " + wording.Count(compares) + " to compare"
	}
	return out, nil
}

func (p *Place) add(s workshop.RoundStop, id chronometer.ID, now time.Time) {
	if p.Numbers != "" {
		p.Numbers += ", "
	}
	p.Numbers += s.Instrument.Number
	p.ID = id
	p.Subjects = append(p.Subjects, Writing{s.ID, id})
	switch {
	case s.Temperature.Due:
		p.Read = ""
	case p.Read != "":
		p.Read = wording.Degrees(*s.State.TempC) + " at " + clockTime(s.Temperature.At, now)
	}
}

func newStop(s workshop.RoundStop, by string, newID NewID, at string) (Stop, error) {
	i := s.Instrument
	out := Stop{
		Number: i.Number, Maker: i.Maker, Make: i.GoingWords(), Where: s.State.Where, Href: at, Key: s.ID, Missed: wording.Sentence(s.Missed), Look: s.Look,
		UpDown: i.UpDown, Left: s.Left(), By: by, Cautions: form.Cautions(chronometer.KindWound),
	}
	if s.State.HalfTurns > 0 {
		out.Usual = fmt.Sprintf("%g last time", s.State.HalfTurns)
	}
	now := s.Now
	out.Wind = Step{Due: s.Wind.Due, Words: "never wound here"}
	if !s.Wind.At.IsZero() {
		out.Wind.Words = "wound " + clockTime(s.Wind.At, now)
	}
	if s.Wind.Due && !s.RunsDown.IsZero() && !s.Look {
		out.Wind.Words += ", runs until " + clockTime(s.RunsDown, now)
	}
	out.Compare = Step{Due: s.Compare.Due, Words: "never compared here"}
	if !s.Compare.At.IsZero() {
		out.Compare.Words = "compared " + clockTime(s.Compare.At, now)
	}
	var err error
	if out.WindID, err = newID(s.ID, chronometer.KindWound); err != nil {
		return out, err
	}
	id, err := newID(s.ID, chronometer.KindCompared)
	out.Tapping = NewTapping(s.Seen, id, at, by)
	return out, err
}

// clockTime returns "08:12", with the day if it is another.
func clockTime(t, now time.Time) string {
	if wording.SameDay(t, now) {
		return t.UTC().Format("15:04")
	}
	return wording.Instant(t, now)
}

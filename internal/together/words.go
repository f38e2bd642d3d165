package together

import (
	"fmt"
	"math"
	"strings"
	"time"

	"timeball/internal/clock"
)

// of returns the suspect of that name.
func (c Change) of(name string) (Suspect, bool) {
	for _, s := range c.Suspects {
		if s.Name == name {
			return s, true
		}
	}
	return Suspect{}, false
}

func day(at time.Time) string { return at.UTC().Format("2 Jan 2006") }

// words returns the change as one sentence.
func (c Change) words() string {
	when := "about " + day(c.At)
	switch {
	case c.Kind == Reading:
		when = "on " + day(c.At)
	case c.Kind == Jump && c.Verdict != Quiet && day(c.From) != day(c.To):
		when = "between " + day(c.From) + " and " + day(c.To)
	}
	names := list(c.Suspects)
	switch c.Verdict {
	case Quiet:
		return fmt.Sprintf("Nothing shows %s that %s do not do every day.", when, names)
	case Accused:
		s, _ := c.of(c.Name)
		text := fmt.Sprintf("No. %s %s %s.", s.Name, s.did(c.Kind), when)
		if c.rowsAt == 1 && c.Kind == Jump {
			text = text[:len(text)-1] + ", by its last reading alone: compare once more before it is believed."
		}
		return text
	case MoreThanOne:
		return fmt.Sprintf("More than one of %s changed %s: no single one explains the differences.", names, when)
	}
	if len(c.Suspects) == 2 && c.Suspects[0].RestDF == 0 {
		s := c.Suspects[0]
		return fmt.Sprintf("No. %s %s against no. %s %s; of two instruments none can be accused: a third, or standard time, must say which.",
			s.Name, s.did(c.Kind), c.Suspects[1].Name, when)
	}
	var may []Suspect
	for _, s := range c.Suspects {
		if s.Quiet {
			may = append(may, s)
		}
	}
	return fmt.Sprintf("One of %s changed %s; the book cannot tell which.", list(may), when)
}

// did says what the suspect would have done.
func (s Suspect) did(k Kind) string {
	half := (s.Hi95 - s.Lo95) / 2
	if k == RateChange {
		verb := "gained"
		if s.Change < 0 {
			verb = "lost"
		}
		r := clock.Rate(s.Change)
		return fmt.Sprintf("%s %s %s a day more", verb, r.Size(half), r.HalfWidth(half))
	}
	e := clock.DialError(math.Abs(s.Change))
	size := strings.TrimPrefix(strings.TrimPrefix(e.Words(half), "fast "), "right to ")
	way := "forward"
	if s.Change < 0 {
		way = "back"
	}
	if k == Reading {
		way = "fast"
		if s.Change < 0 {
			way = "slow"
		}
		return fmt.Sprintf("was read %s %s too %s", size, e.HalfWidth(half), way)
	}
	return fmt.Sprintf("jumped %s %s %s", way, size, e.HalfWidth(half))
}

func list(suspects []Suspect) string {
	text := ""
	for i, s := range suspects {
		switch {
		case i == 0:
		case i == len(suspects)-1:
			text += " and "
		default:
			text += ", "
		}
		text += "no. " + s.Name
	}
	return text
}

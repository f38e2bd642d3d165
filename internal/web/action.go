package web

import (
	"net/url"
	"strings"
	"time"

	"timeball/internal/chronometer"
	"timeball/internal/web/wording"
)

// address returns the address of an instrument: by its number, or by its ID if
// the number would be read as something else.
func address(number string, id chronometer.ID) string {
	switch number {
	case "", ".", "..", "new":
		number = string(id)
	}
	return "/instruments/" + url.PathEscape(number)
}

// do is an action as a page offers it.
type do struct {
	Verb    string
	Say     string // the action with its time
	Href    string
	Now     bool // it is due
	Trouble bool // something is wrong
}

// doing returns action a on the instrument at an address.
func doing(a chronometer.Action, at string, now time.Time) do {
	d := do{Verb: a.Verb, Say: a.Say, Trouble: a.Stop}
	d.Now = !a.Stop && (a.Due.IsZero() || a.Late || wording.SameDay(a.Due, now))
	if !a.Stop && !a.Due.IsZero() {
		d.Say += dueWords(a, now)
	}
	switch a.Kind {
	case "":
		d.Href = at
	case chronometer.KindCompared:
		d.Href = at + "/compare"
	case chronometer.KindStarted:
		d.Href = at + "/start"
	case chronometer.KindMoved:
		d.Href = at + "/write/" + wording.Slug(a.Kind) + "?by_s=60"
	default:
		d.Href = at + "/write/" + wording.Slug(a.Kind)
	}
	return d
}

// dueWords says when an action is due, after its phrase.
func dueWords(a chronometer.Action, now time.Time) string {
	said := strings.Contains(a.Say, ":") // a sentence that gives its reason
	switch {
	case !a.Until.IsZero():
		return ", " + wording.Between(a.Due, a.Until, now)
	case a.Late && said:
		return ", late since " + wording.Day(a.Due, now)
	case said:
		return ""
	case a.Late && wording.SameDay(a.Due, now):
		return ", due since " + a.Due.UTC().Format("15:04")
	case a.Late:
		return ", due since " + wording.Day(a.Due, now)
	case wording.SameDay(a.Due, now):
		return " by " + a.Due.UTC().Format("15:04")
	case a.Due.Sub(now) < 48*time.Hour:
		return " by " + a.Due.UTC().Format("15:04") + " on " + wording.Day(a.Due, now)
	}
	return " by " + wording.Day(a.Due, now)
}

package web

import (
	"fmt"
	"math"
	"net/url"
	"strings"
	"time"
	"unicode/utf8"

	"timeball/internal/chronometer"
	"timeball/internal/clock"
	"timeball/internal/rating"
)

// figure is an estimate in words with its 95% half width.
type figure struct{ Words, PlusMinus string }

// errorFigure returns a dial error in words.
func errorFigure(i rating.Interval) *figure {
	e := clock.DialError(i.Mean)
	return &figure{e.Words(i.Half()), e.HalfWidth(i.Half())}
}

// rateFigure returns a rate in words, per day.
func rateFigure(i rating.Interval) *figure {
	r := clock.Rate(i.Mean)
	return &figure{r.Words(i.Half()), r.HalfWidth(i.Half())}
}

// Direction returns the first word of an error, "fast", "slow" or "right to".
func (f figure) Direction() string {
	before, _ := f.cut()
	return before
}

// Size returns what follows Direction.
func (f figure) Size() string {
	_, after := f.cut()
	return after
}

func (f figure) cut() (string, string) {
	i := strings.IndexAny(f.Words, "0123456789")
	if i < 0 {
		return "", f.Words
	}
	return strings.TrimSpace(f.Words[:i]), f.Words[i:]
}

// String returns the words and the half width.
func (f figure) String() string { return f.Words + " " + f.PlusMinus }

// longDay returns "Thursday 4 March 2027".
func longDay(t time.Time) string { return t.UTC().Format("Monday 2 January 2006") }

// fullDay returns "4 March 2027".
func fullDay(t time.Time) string { return t.UTC().Format("2 January 2006") }

// day returns the day as short as it can be said at now: "4 March", with the
// year if it is another.
func day(t, now time.Time) string {
	if t.UTC().Year() == now.UTC().Year() {
		return t.UTC().Format("2 January")
	}
	return fullDay(t)
}

// instant returns "4 Mar 09:12", with the year if it is not that of now.
func instant(t, now time.Time) string {
	if t.UTC().Year() == now.UTC().Year() {
		return t.UTC().Format("2 Jan 15:04")
	}
	return t.UTC().Format("2 Jan 2006 15:04")
}

// shortDay returns "4 Mar", with the year if it is not that of now.
func shortDay(t, now time.Time) string {
	if t.UTC().Year() == now.UTC().Year() {
		return t.UTC().Format("2 Jan")
	}
	return t.UTC().Format("2 Jan 2006")
}

// fullInstant returns "4 March 2027 09:12:30 UTC".
func fullInstant(t time.Time) string { return t.UTC().Format("2 January 2006 15:04:05 UTC") }

func sameDay(a, b time.Time) bool {
	return a.UTC().Format(time.DateOnly) == b.UTC().Format(time.DateOnly)
}

// numerals are the numbers that a sentence writes out.
var numerals = []string{"none", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve"}

// count returns n as a word up to twelve.
func count(n int) string {
	if n >= 0 && n < len(numerals) {
		return numerals[n]
	}
	return fmt.Sprint(n)
}

// counted returns "one comparison" or "five comparisons".
func counted(n int, one, many string) string {
	if n == 1 {
		return "one " + one
	}
	if n == 0 {
		return "no " + many
	}
	return count(n) + " " + many
}

// upper returns text with a capital letter.
func upper(text string) string {
	_, n := utf8.DecodeRuneInString(text)
	return strings.ToUpper(text[:n]) + text[n:]
}

// degrees returns a temperature in whole or half degrees.
func degrees(c float64) string {
	return strings.Replace(fmt.Sprintf("%g °C", math.Round(c*2)/2), "-", "−", 1)
}

// byChance says how often chance alone shows a change as large: p is
// two-sided.
func byChance(p float64) string {
	switch {
	case p < 0.001:
		return "chance alone would show as much less than once in a thousand times"
	case p < 0.05:
		return fmt.Sprintf("chance alone would show as much about once in %.0f times", 1/p)
	}
	return fmt.Sprintf("chance alone would show as much about %.0f times in a hundred", 100*p)
}

// slug returns a kind as it stands in an address.
func slug(k chronometer.Kind) string { return strings.ReplaceAll(string(k), " ", "-") }

// kindOf returns the kind of a slug.
func kindOf(slug string) (chronometer.Kind, bool) {
	k := chronometer.Kind(strings.ReplaceAll(slug, "-", " "))
	return k, k.Known() && !strings.Contains(slug, " ")
}

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
	d.Now = !a.Stop && (a.Due.IsZero() || a.Late || sameDay(a.Due, now))
	if !a.Stop && !a.Due.IsZero() {
		d.Say += dueWords(a, now)
	}
	switch a.Kind {
	case "":
		d.Href = at
	case chronometer.KindMoved:
		d.Href = at + "/write/" + slug(a.Kind) + "?by_s=60"
	default:
		d.Href = at + "/write/" + slug(a.Kind)
	}
	return d
}

// dueWords says when an action is due, after its phrase.
func dueWords(a chronometer.Action, now time.Time) string {
	said := strings.Contains(a.Say, ":") // a sentence that gives its reason
	switch {
	case a.Late && said:
		return ", late since " + day(a.Due, now)
	case said:
		return ""
	case a.Late && sameDay(a.Due, now):
		return ", due since " + a.Due.UTC().Format("15:04")
	case a.Late:
		return ", due since " + day(a.Due, now)
	case sameDay(a.Due, now):
		return " by " + a.Due.UTC().Format("15:04")
	case a.Kind == chronometer.KindMoved:
		return " about " + day(a.Due, now)
	case a.Due.Sub(now) < 48*time.Hour:
		return " by " + a.Due.UTC().Format("15:04") + " on " + day(a.Due, now)
	}
	return " by " + day(a.Due, now)
}

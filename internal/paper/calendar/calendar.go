// Package calendar writes what an owner has to do for a chronometer as an
// iCalendar file (RFC 5545), which any calendar program reads: when to wind
// it, compare it, move its minute hand and have it serviced.
//
// Hours are those of the owner's clock in a zone of the IANA time zone
// database; the file carries the rules of that zone, so that a reader that
// does not know it keeps the hour across summer time. The identifiers of the
// events depend on the instrument and the kind of event alone, so that a later
// file replaces an earlier one.
package calendar

import (
	"errors"
	"fmt"
	"io"
	"strings"
	"time"
	"unicode"

	ics "github.com/arran4/golang-ical"
)

// ErrPlan marks a plan that no calendar can be written for.
var ErrPlan = errors.New("no calendar")

// mostYears is how far ahead summer time can be told at all sensibly.
const mostYears = 10

// Plan is what the calendar of one instrument says.
type Plan struct {
	Instrument string // an identifier that no other instrument has and that never changes
	Named      string // such as "No. 417, Corvane & Dray, Skerrow"
	Contact    string // how to reach the keeper, for the notes of every event

	Zone        string    // IANA name, such as Europe/Lisbon; empty for UTC
	From, Until time.Time // what the calendar covers
	At          TimeOfDay // of the owner's clock: the hour of winding
	WindEvery   int       // days: 1, or 7 for one that goes eight days; 0 for no winding
	Compare     bool      // a comparison every month, at the hour of winding

	Moves       []Move    // of the minute hand
	MovesBefore int       // how many moves the calendar issued before had; those beyond Moves are withdrawn
	Renew       time.Time // by when it is to be compared and new dates asked for; zero for never
	ServiceDue  time.Time // zero for not yet known

	Issued   time.Time
	Sequence int // how many calendars of this instrument were issued before
}

// Move is a window in which the minute hand is to be moved forward.
type Move struct {
	From, To time.Time
	Minutes  int // 1 unless it is further out
}

// WindEvery returns every how many days an instrument that goes so many hours
// is wound: every 7 if it goes eight days, every day if it goes at least 30
// hours, and 0 if once a day would not keep it going.
func WindEvery(goingHours float64) int {
	switch {
	case goingHours >= 8*24:
		return 7
	case goingHours >= 30:
		return 1
	}
	return 0
}

// Write writes the calendar of a plan with the line ends of RFC 5545, 3.1. The
// same plan gives the same bytes. It fails with ErrPlan, in one sentence, if
// the plan is nonsense.
func Write(w io.Writer, p Plan) error {
	loc, err := p.check()
	if err != nil {
		return err
	}
	c := ics.NewCalendarFor("timeball")
	c.SetProductId("-//timeball//calendar//EN")
	c.SetCalscale("GREGORIAN")
	c.SetMethod(ics.MethodPublish)
	c.SetName(plain("Chronometer " + lowerFirst(p.Named)))
	b := &book{Plan: p, calendar: c, loc: loc}
	if loc != time.UTC {
		c.AddVTimezone(zoneOf(loc, p.From, p.Until))
	}
	b.winding()
	b.comparing()
	b.moving()
	b.renewing()
	b.servicing()
	if err := c.SerializeTo(w, ics.WithNewLineWindows); err != nil {
		return fmt.Errorf("calendar of %s: %w", p.Named, err)
	}
	return nil
}

// check returns the zone of the plan, or why no calendar can be written.
func (p Plan) check() (*time.Location, error) {
	bad := func(format string, v ...any) (*time.Location, error) {
		return nil, fmt.Errorf("%w: %s", ErrPlan, fmt.Sprintf(format, v...))
	}
	loc := time.UTC
	if p.Zone != "" && p.Zone != "UTC" {
		var err error
		if loc, err = time.LoadLocation(p.Zone); err != nil || p.Zone == "Local" {
			return bad("%.40q is no time zone; write it as continent/town, such as Europe/Lisbon, or leave it empty for UTC", p.Zone)
		}
	}
	switch {
	case strings.TrimSpace(p.Instrument) == "":
		return bad("the instrument has no identifier; give the one it has in the logbook")
	case strings.ContainsFunc(p.Instrument, func(r rune) bool { return r <= ' ' || r > '~' }):
		return bad("the identifier %.40q has letters other than plain ones; give the one it has in the logbook", p.Instrument)
	case !p.At.good():
		return bad("%d:%d is no hour of the clock; write hh:mm, such as 08:30", p.At.Hour, p.At.Minute)
	case p.WindEvery < 0 || p.WindEvery > 31:
		return bad("winding every %d days is not done; say 1 for daily, 7 for weekly", p.WindEvery)
	case p.From.IsZero() || !p.From.Before(p.Until):
		return bad("it would end, %s, before it begins, %s; give a later end", p.Until.Format(time.DateOnly), p.From.Format(time.DateOnly))
	case p.Until.After(p.From.AddDate(mostYears, 0, 0)):
		return bad("it would run until %s, more than %d years; nobody knows summer time as far ahead", p.Until.Format(time.DateOnly), mostYears)
	case p.Issued.IsZero():
		return bad("it has no instant of issue")
	}
	for i, m := range p.Moves {
		if m.From.IsZero() || m.To.Before(m.From) || m.Minutes < 1 {
			return bad("move %d of the minute hand, of %d min from %s to %s, is no window; work it out again", i+1, m.Minutes, m.From.Format(time.DateOnly), m.To.Format(time.DateOnly))
		}
	}
	return loc, nil
}

// book is a calendar being written.
type book struct {
	Plan
	calendar *ics.Calendar
	loc      *time.Location
}

// event adds an event of a kind with its words.
func (b *book) event(kind, summary, notes string) *ics.VEvent {
	e := b.calendar.AddEvent(kind + "-" + b.Instrument + "@timeball")
	e.SetDtStampTime(b.Issued)
	e.SetProperty(ics.ComponentPropertySequence, fmt.Sprint(max(b.Sequence, 0)))
	e.SetSummary(plain(summary))
	if b.Contact != "" {
		notes += "\nWhen in doubt: " + b.Contact
	}
	e.SetDescription(plain(notes))
	e.SetTimeTransparency(ics.TransparencyTransparent)
	return e
}

// name is how the events call the instrument.
func (b *book) name() string { return "chronometer " + lowerFirst(b.Named) }

// alarm rings at a trigger of RFC 5545, 3.8.6.3.
func alarm(e *ics.VEvent, trigger, words string, params ...ics.PropertyParameter) {
	a := e.AddAlarm()
	a.SetAction(ics.ActionDisplay)
	a.SetTrigger(trigger, params...)
	a.SetProperty(ics.ComponentPropertyDescription, plain(words))
}

// The forms of RFC 5545, 3.3.4 and 3.3.5.
const (
	dateForm  = "20060102"
	localForm = "20060102T150405"
	utcForm   = "20060102T150405Z"
)

// hour starts an event of a few minutes at the hour of winding of a day.
func (b *book) hour(e *ics.VEvent, day time.Time) {
	text := day.Format(dateForm) + fmt.Sprintf("T%02d%02d00", b.At.Hour, b.At.Minute)
	if b.loc == time.UTC {
		e.SetProperty(ics.ComponentPropertyDtStart, text+"Z")
	} else {
		e.SetProperty(ics.ComponentPropertyDtStart, text, ics.WithTZID(b.loc.String()))
	}
	e.SetProperty(ics.ComponentProperty(ics.PropertyDuration), "PT5M")
}

// days makes an event of whole days of the owner's clock, both included.
func (b *book) days(e *ics.VEvent, from, to time.Time) {
	e.SetProperty(ics.ComponentPropertyDtStart, from.In(b.loc).Format(dateForm), ics.WithValue("DATE"))
	y, m, d := to.In(b.loc).Date()
	e.SetProperty(ics.ComponentPropertyDtEnd, time.Date(y, m, d+1, 0, 0, 0, 0, time.UTC).Format(dateForm), ics.WithValue("DATE"))
}

// first returns the first day whose hour of winding is not before From.
func (b *book) first() time.Time {
	y, m, d := b.From.In(b.loc).Date()
	if time.Date(y, m, d, b.At.Hour, b.At.Minute, 0, 0, b.loc).Before(b.From) {
		d++
	}
	return time.Date(y, m, d, 0, 0, 0, 0, time.UTC)
}

func (b *book) until() string { return ";UNTIL=" + b.Until.UTC().Format(utcForm) }

func (b *book) winding() {
	if b.WindEvery == 0 {
		return
	}
	rule, how := "FREQ=DAILY", "every day"
	switch {
	case b.WindEvery == 7:
		rule, how = "FREQ=WEEKLY", "every week on this day"
	case b.WindEvery > 1:
		rule, how = fmt.Sprintf("FREQ=DAILY;INTERVAL=%d", b.WindEvery), fmt.Sprintf("every %d days", b.WindEvery)
	}
	e := b.event("winding", "Wind "+b.name(), "Wind it at this hour "+how+
		". Turn slowly and count the half-turns, the same number each time; go slower at the end and stop when the key stops, without force. "+
		"If it has stopped, do not restart it before you have read the owner's sheet.")
	b.hour(e, b.first())
	e.AddRrule(rule + b.until())
	alarm(e, "PT0S", "Wind "+b.name())
}

func (b *book) comparing() {
	if !b.Compare {
		return
	}
	// Every month has a 28th.
	day := b.first()
	if day.Day() > 28 {
		day = time.Date(day.Year(), day.Month()+1, 28, 0, 0, 0, 0, time.UTC)
	}
	e := b.event("comparison", "Compare "+b.name(), "Compare the dial with UTC before winding, write down date, hour, dial and temperature, and send the figures to the workshop.")
	b.hour(e, day)
	e.AddRrule(fmt.Sprintf("FREQ=MONTHLY;BYMONTHDAY=%d", day.Day()) + b.until())
	alarm(e, "PT0S", "Compare "+b.name())
}

func (b *book) moving() {
	for i, m := range b.Moves {
		by := "one minute"
		if m.Minutes > 1 {
			by = fmt.Sprintf("%d minutes", m.Minutes)
		}
		summary := fmt.Sprintf("Move the minute hand of %s forward %s", b.name(), by)
		e := b.event(fmt.Sprintf("move-%d", i+1), summary, "In these days it comes to half a minute slow: compare it, and once it is 30 s slow move the minute hand forward "+by+
			", never back, with the key and with nothing else. Do not touch the seconds hand. Write down date and hour. The owner's sheet says how.")
		b.days(e, m.From, m.To)
		alarm(e, "PT9H", summary)
		if m.To.Sub(m.From) > 48*time.Hour {
			alarm(e, "-PT15H", "Last day: "+lowerFirst(summary), ics.PropertyParameter(related("END")))
		}
	}
	for i := len(b.Moves); i < b.MovesBefore; i++ {
		e := b.event(fmt.Sprintf("move-%d", i+1), "Withdrawn: a move of the minute hand of "+b.name(), "This date no longer holds; keep to the newest owner's sheet.")
		b.days(e, b.Issued, b.Issued)
		e.SetStatus(ics.ObjectStatusCancelled)
	}
}

// related is the parameter RELATED of RFC 5545, 3.2.14.
type related string

func (r related) KeyValue(...any) (string, []string) { return "RELATED", []string{string(r)} }

func (b *book) renewing() {
	if b.Renew.IsZero() {
		return
	}
	e := b.event("renewal", "Compare "+b.name()+" and ask for new dates", "The dates for the minute hand go no further than this. Compare it on a few days, send the figures to the workshop and ask for a new calendar.")
	b.days(e, b.Renew, b.Renew)
	alarm(e, "-P14D", "Compare "+b.name()+" and ask for new dates")
}

func (b *book) servicing() {
	if b.ServiceDue.IsZero() {
		return
	}
	e := b.event("service", "Service due: "+b.name(), "Ask the workshop when it can come, and how it is packed, before it is stopped.")
	b.days(e, b.ServiceDue, b.ServiceDue)
	alarm(e, "-P60D", "Service due in two months: "+b.name())
}

// plain returns words without what RFC 5545, 3.3.11 does not allow in text.
func plain(words string) string {
	words = strings.ReplaceAll(strings.ToValidUTF8(words, "\ufffd"), "\r\n", "\n")
	return strings.TrimSpace(strings.Map(func(r rune) rune {
		switch {
		case r == '\n':
			return r
		case r == '\r' || r == '\t':
			return ' '
		case unicode.IsControl(r):
			return -1
		}
		return r
	}, words))
}

// lowerFirst returns "no. 417" for "No. 417"; other words are names.
func lowerFirst(words string) string {
	for _, start := range []string{"No. ", "Move "} {
		if strings.HasPrefix(words, start) {
			return strings.ToLower(words[:1]) + words[1:]
		}
	}
	return words
}

package calendar_test

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"github.com/emersion/go-ical"
	"pgregory.net/rapid"

	"timeball/internal/paper/calendar"
)

func at(s string) time.Time {
	t, err := time.Parse(time.RFC3339, s)
	if err != nil {
		panic(err)
	}
	return t
}

// plan is a calendar of two years with everything in it.
func plan() calendar.Plan {
	return calendar.Plan{
		Instrument: "01JC8Z5M2T3QX7R9V4N6K1B0AE", Named: "No. 417, Corvane & Dray, Skerrow", Contact: "Lantern Quay, keeper@lanternquay.example",
		Zone: "Europe/Lisbon", From: at("2027-01-05T10:00:00Z"), Until: at("2029-01-05T10:00:00Z"), At: calendar.TimeOfDay{Hour: 8, Minute: 30},
		WindEvery: 1, Compare: true,
		Moves: []calendar.Move{
			{From: at("2027-04-30T02:00:00Z"), To: at("2027-05-02T21:00:00Z"), Minutes: 1},
			{From: at("2027-08-27T02:00:00Z"), To: at("2027-08-28T23:30:00Z"), Minutes: 1},
		},
		Renew: at("2027-12-20T00:00:00Z"), ServiceDue: at("2029-01-04T12:00:00Z"), Issued: at("2027-01-05T10:00:00Z"), Sequence: 3,
	}
}

func written(t testing.TB, p calendar.Plan) string {
	t.Helper()
	var b bytes.Buffer
	if err := calendar.Write(&b, p); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

func read(t testing.TB, text string) *ical.Calendar {
	t.Helper()
	c, err := ical.NewDecoder(strings.NewReader(text)).Decode()
	if err != nil {
		t.Fatalf("another reader refuses it: %v", err)
	}
	return c
}

func event(t testing.TB, c *ical.Calendar, kind string) ical.Event {
	t.Helper()
	for _, e := range c.Events() {
		if uid, _ := e.Props.Text(ical.PropUID); strings.HasPrefix(uid, kind+"-") {
			return e
		}
	}
	t.Fatalf("there is no event %s", kind)
	return ical.Event{}
}

// rules are the onsets and offsets that a file itself gives for its zone.
type rules []struct {
	onset  time.Time // UTC
	offset time.Duration
}

func rulesOf(t testing.TB, c *ical.Calendar) (r rules, id string) {
	t.Helper()
	offset := func(o *ical.Component, name string) time.Duration {
		v := o.Props.Get(name).Value
		var h, m int
		if _, err := fmt.Sscanf(v[1:], "%2d%2d", &h, &m); err != nil {
			t.Fatalf("offset %q: %v", v, err)
		}
		d := time.Duration(h)*time.Hour + time.Duration(m)*time.Minute
		if v[0] == '-' {
			return -d
		}
		return d
	}
	for _, z := range c.Children {
		if z.Name != ical.CompTimezone {
			continue
		}
		id = z.Props.Get(ical.PropTimezoneID).Value
		for _, o := range z.Children {
			start, err := time.Parse("20060102T150405", o.Props.Get(ical.PropDateTimeStart).Value)
			if err != nil {
				t.Fatal(err)
			}
			r = append(r, struct {
				onset  time.Time
				offset time.Duration
			}{start.Add(-offset(o, ical.PropTimezoneOffsetFrom)), offset(o, ical.PropTimezoneOffsetTo)})
		}
	}
	return r, id
}

// utc returns the instant of a local time by the rules of the file alone: the
// latest onset that is not after it (RFC 5545, 3.6.5).
func (r rules) utc(local time.Time) time.Time {
	best := local
	for _, o := range r {
		if u := local.Add(-o.offset); !u.Before(o.onset) {
			best = u
		}
	}
	return best
}

// TestWindingHour reads a year of windings back with another library and asks
// for the hour of the owner's clock on every day, and for the hour of UTC on
// the days about the changes of the clock. The changes are law: in the
// European Union 1:00 UTC of the last Sundays of March and October (Directive
// 2000/84/EC); in Nova Scotia 2:00 of the second Sunday of March and the first
// of November; on Lord Howe Island half an hour on the first Sundays of April
// and October (the tz database names the acts).
func TestWindingHour(t *testing.T) {
	for _, c := range []struct {
		zone string
		utc  map[string]string // by day of the owner's clock
	}{
		{"Europe/Lisbon", map[string]string{"2027-03-27": "2027-03-27T08:30", "2027-03-28": "2027-03-28T07:30", "2027-10-30": "2027-10-30T07:30", "2027-10-31": "2027-10-31T08:30"}},
		{"America/Halifax", map[string]string{"2027-03-13": "2027-03-13T12:30", "2027-03-14": "2027-03-14T11:30", "2027-11-06": "2027-11-06T11:30", "2027-11-07": "2027-11-07T12:30"}},
		{"Australia/Lord_Howe", map[string]string{"2027-04-03": "2027-04-02T21:30", "2027-04-04": "2027-04-03T22:00", "2027-10-02": "2027-10-01T22:00", "2027-10-03": "2027-10-02T21:30"}},
		{"UTC", map[string]string{"2027-03-28": "2027-03-28T08:30", "2027-10-31": "2027-10-31T08:30"}},
		{"", map[string]string{"2027-03-28": "2027-03-28T08:30"}},
		{"Asia/Kolkata", map[string]string{"2027-03-28": "2027-03-28T03:00"}},
	} {
		t.Run(c.zone, func(t *testing.T) {
			loc, err := time.LoadLocation(c.zone)
			if err != nil {
				t.Fatal(err)
			}
			p := plan()
			p.Zone, p.From, p.Until = c.zone, at("2027-01-01T00:00:00Z"), at("2028-01-01T00:00:00Z")
			file := read(t, written(t, p))
			e := event(t, file, "winding")
			set, err := e.RecurrenceSet(nil)
			if err != nil {
				t.Fatal(err)
			}
			days, seen := set.All(), map[string]bool{}
			// The year of UTC begins and ends on the same day of the clock or within it.
			if len(days) != 365 && len(days) != 366 {
				t.Fatalf("wound %d times in a year", len(days))
			}
			own, id := rulesOf(t, file)
			if start := e.Props.Get(ical.PropDateTimeStart); loc == time.UTC && (len(own) > 0 || !strings.HasSuffix(start.Value, "Z")) {
				t.Errorf("in UTC it begins at %s with %d rules", start.Value, len(own))
			} else if loc != time.UTC && (start.Params.Get("TZID") != id || id != c.zone) {
				t.Errorf("the hour is in %q, the rules are of %q", start.Params.Get("TZID"), id)
			}
			for i, u := range days {
				local := u.In(loc)
				if local.Format("15:04") != "08:30" {
					t.Errorf("wound at %s", local)
				}
				if i > 0 && local.AddDate(0, 0, -1).Format(time.DateOnly) != days[i-1].In(loc).Format(time.DateOnly) {
					t.Errorf("from %s to %s", days[i-1], local)
				}
				day := local.Format(time.DateOnly)
				if want := c.utc[day]; want != "" && u.UTC().Format("2006-01-02T15:04") != want {
					t.Errorf("on %s at %s, want %s", day, u.UTC(), want)
				}
				seen[day] = true
				wall, _ := time.Parse("2006-01-02T15:04:05", local.Format("2006-01-02T15:04:05"))
				if loc != time.UTC && !own.utc(wall).Equal(u) {
					t.Errorf("by the rules of the file %s is %s, want %s", wall, own.utc(wall), u.UTC())
				}
			}
			for day := range c.utc {
				if !seen[day] {
					t.Errorf("not wound on %s", day)
				}
			}
		})
	}
}

// TestRulesOfZones: by the rules in the file every hour of ten years falls
// where the time zone database has it.
func TestRulesOfZones(t *testing.T) {
	for _, zone := range []string{"Europe/Lisbon", "America/Halifax", "Australia/Lord_Howe", "Europe/Dublin", "Africa/Casablanca", "Asia/Tokyo", "America/St_Johns", "Etc/GMT+3"} {
		loc, err := time.LoadLocation(zone)
		if err != nil {
			t.Fatal(err)
		}
		p := plan()
		p.Zone, p.Until = zone, p.From.AddDate(10, 0, 0)
		own, _ := rulesOf(t, read(t, written(t, p)))
		for u := p.From; u.Before(p.Until); u = u.Add(time.Hour) {
			wall, _ := time.Parse("2006-01-02T15:04:05", u.In(loc).Format("2006-01-02T15:04:05"))
			// An hour that the clock shows twice is taken as either.
			got := own.utc(wall)
			if got.In(loc).Format("15:04") != wall.Format("15:04") || got.Sub(u).Abs() > time.Hour {
				t.Fatalf("%s: %s is %s, want %s", zone, wall, got, u)
			}
		}
	}
}

func TestKinds(t *testing.T) {
	c := read(t, written(t, plan()))
	count := 0
	for _, e := range c.Events() {
		count++
		if got, err := e.Props.DateTime(ical.PropDateTimeStamp, nil); err != nil || !got.Equal(plan().Issued) {
			t.Errorf("stamped %v, %v", got, err)
		}
		if s := e.Props.Get(ical.PropSequence); s == nil || s.Value != "3" {
			t.Errorf("sequence %v", s)
		}
	}
	if count != 6 {
		t.Errorf("%d events, want winding, comparison, two moves, renewal and service", count)
	}
	if set, err := func() (n int, err error) {
		e := event(t, c, "comparison")
		s, err := e.RecurrenceSet(nil)
		if err != nil {
			return 0, err
		}
		for _, d := range s.All() {
			if lisbon := d.In(mustLoad(t, "Europe/Lisbon")); lisbon.Day() != 6 || lisbon.Hour() != 8 {
				t.Errorf("compared %s", lisbon)
			}
		}
		return len(s.All()), nil
	}(); err != nil || set != 24 {
		t.Errorf("%d comparisons in two years, %v", set, err)
	}
	for _, m := range []struct {
		kind, from, to string // to is not included
		alarms         int
	}{
		{"move-1", "20270430", "20270503", 2},
		{"move-2", "20270827", "20270830", 1}, // to 23:30 UTC, half past midnight in Lisbon
		{"renewal", "20271220", "20271221", 1},
		{"service", "20290104", "20290105", 1},
	} {
		e := event(t, c, m.kind)
		from, to := e.Props.Get(ical.PropDateTimeStart), e.Props.Get(ical.PropDateTimeEnd)
		if from.Value != m.from || to.Value != m.to || from.ValueType() != ical.ValueDate || to.ValueType() != ical.ValueDate {
			t.Errorf("%s from %s to %s, want %s to %s", m.kind, from.Value, to.Value, m.from, m.to)
		}
		if len(e.Children) != m.alarms {
			t.Errorf("%s has %d alarms, want %d", m.kind, len(e.Children), m.alarms)
		}
	}
	notes, _ := event(t, c, "move-1").Props.Text(ical.PropDescription)
	for _, want := range []string{"never back", "Do not touch the seconds hand", "Lantern Quay, keeper@lanternquay.example"} {
		if !strings.Contains(notes, want) {
			t.Errorf("a move says %q, without %q", notes, want)
		}
	}
}

func mustLoad(t testing.TB, zone string) *time.Location {
	loc, err := time.LoadLocation(zone)
	if err != nil {
		t.Fatal(err)
	}
	return loc
}

// TestReimport: a later file has the same identifiers, and takes back the
// moves that it no longer has.
func TestReimport(t *testing.T) {
	uids := func(p calendar.Plan) map[string]string {
		out := map[string]string{}
		for _, e := range read(t, written(t, p)).Events() {
			uid, _ := e.Props.Text(ical.PropUID)
			status, _ := e.Props.Text(ical.PropStatus)
			if _, twice := out[uid]; twice {
				t.Errorf("%s twice", uid)
			}
			out[uid] = status
		}
		return out
	}
	first, p := uids(plan()), plan()
	p.Issued, p.From, p.Sequence, p.Moves, p.MovesBefore, p.Named = at("2027-06-01T00:00:00Z"), at("2027-06-01T00:00:00Z"), 4, p.Moves[1:], 2, "another name"
	second := uids(p)
	for uid := range first {
		if _, ok := second[uid]; !ok {
			t.Errorf("%s is not replaced", uid)
		}
	}
	if s := second["move-2-"+p.Instrument+"@timeball"]; s != "CANCELLED" {
		t.Errorf("the second move is %q", s)
	}
	if s := second["move-1-"+p.Instrument+"@timeball"]; s != "" {
		t.Errorf("the first move is %q", s)
	}
}

func TestEveryWeek(t *testing.T) {
	p := plan()
	p.WindEvery, p.From = 7, at("2027-01-05T08:30:00Z") // a Tuesday, and the hour itself
	set, err := event(t, read(t, written(t, p)), "winding").RecurrenceSet(nil)
	if err != nil {
		t.Fatal(err)
	}
	all := set.All()
	if len(all) != 105 || !all[0].Equal(p.From) {
		t.Errorf("%d times from %s", len(all), all[0])
	}
	for _, d := range all {
		if d.Weekday() != time.Tuesday {
			t.Errorf("on %s", d)
		}
	}
	for hours, want := range map[float64]int{192: 7, 200: 7, 56: 1, 36: 1, 30: 1, 29: 0, 0: 0} {
		if got := calendar.WindEvery(hours); got != want {
			t.Errorf("one that goes %g h is wound every %d days, want %d", hours, got, want)
		}
	}
}

// TestForm checks lines of at most 75 octets ended by CR LF (RFC 5545, 3.1),
// whole letters on every line, and that the words come back.
func TestForm(t *testing.T) {
	for _, name := range []string{
		"No. 417, Corvane & Dray, Skerrow", "No. 0042, Þórðarson & Æsir, Ísafjörður; second of two", "No. 9, Χρονόμετρον Ναυτικόν, Πειραιεύς",
		`No. 7\n, "C:\clocks"`, strings.Repeat("Ψ", 60), strings.Repeat("word ", 60), "漢字の航海用時計",
	} {
		p := plan()
		p.Named = name
		text := written(t, p)
		form(t, text)
		got, err := event(t, read(t, text), "winding").Props.Text(ical.PropSummary)
		if want := strings.TrimSpace("Wind chronometer " + strings.Replace(name, "No. ", "no. ", 1)); err != nil || got != want {
			t.Errorf("%q came back as %q, %v", want, got, err)
		}
	}
	p := plan()
	p.Named = "a\tb\x00\xff\r\nc"
	if got, _ := event(t, read(t, written(t, p)), "winding").Props.Text(ical.PropSummary); got != "Wind chronometer a b\ufffd\nc" {
		t.Errorf("%q", got)
	}
}

func form(t interface{ Fatalf(string, ...any) }, text string) {
	if !strings.HasPrefix(text, "BEGIN:VCALENDAR\r\n") || !strings.HasSuffix(text, "END:VCALENDAR\r\n") {
		t.Fatalf("%q", text)
	}
	for _, line := range strings.Split(strings.TrimSuffix(text, "\r\n"), "\r\n") {
		if len(line) > 75 || strings.ContainsAny(line, "\r\n") || !utf8.ValidString(line) || line == "" {
			t.Fatalf("line of %d octets: %q", len(line), line)
		}
	}
}

func TestAnyWords(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := plan()
		p.Named = "x" + rapid.StringN(0, 200, 800).Draw(t, "name") + "x"
		var b bytes.Buffer
		if err := calendar.Write(&b, p); err != nil {
			t.Fatal(err)
		}
		form(t, b.String())
		if _, err := ical.NewDecoder(&b).Decode(); err != nil {
			t.Fatal(err)
		}
	})
}

func TestGolden(t *testing.T) {
	path := filepath.Join("testdata", "two_years.ics")
	got := written(t, plan())
	if got != written(t, plan()) {
		t.Fatal("the same plan is written in two ways")
	}
	if *update {
		if err := os.WriteFile(path, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if string(want) != got {
		t.Errorf("%s differs; look at it and run with -update:\n%s", path, got)
	}
}

func TestRefuses(t *testing.T) {
	for _, c := range []struct {
		change func(*calendar.Plan)
		says   string
	}{
		{func(p *calendar.Plan) { p.Zone = "Lisbon" }, `"Lisbon" is no time zone; write it as continent/town`},
		{func(p *calendar.Plan) { p.Zone = "Local" }, `"Local" is no time zone`},
		{func(p *calendar.Plan) { p.Zone = "../../etc/passwd" }, "is no time zone"},
		{func(p *calendar.Plan) { p.Instrument = " " }, "has no identifier"},
		{func(p *calendar.Plan) { p.Instrument = "a\r\nATTENDEE:x" }, "letters other than plain ones"},
		{func(p *calendar.Plan) { p.At.Hour = 24 }, "24:30 is no hour"},
		{func(p *calendar.Plan) { p.WindEvery = 40 }, "every 40 days"},
		{func(p *calendar.Plan) { p.Until = p.From }, "give a later end"},
		{func(p *calendar.Plan) { p.Until = p.From.AddDate(11, 0, 0) }, "more than 10 years"},
		{func(p *calendar.Plan) { p.Moves[1].To = p.Moves[1].From.Add(-1) }, "move 2"},
		{func(p *calendar.Plan) { p.Moves[0].Minutes = 0 }, "move 1"},
		{func(p *calendar.Plan) { p.Issued = time.Time{} }, "no instant of issue"},
	} {
		p := plan()
		c.change(&p)
		var b bytes.Buffer
		err := calendar.Write(&b, p)
		if !errors.Is(err, calendar.ErrPlan) || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%v, want %q", err, c.says)
		}
		if b.Len() > 0 {
			t.Errorf("%q, and yet something is written", err)
		}
	}
}

package journeys

import (
	"cmp"
	"fmt"
	"net/url"
	"regexp"
	"strings"
	"time"

	"timeball/internal/carriage"
	"timeball/internal/clock"
	"timeball/internal/web/form"
	"timeball/internal/web/wording"
)

// readDial is the step at which the dial is read on arrival.
const readDial carriage.ID = "R04"

// The fields of the readings.
const (
	DialField     = "dial"
	UpDownField   = "up_down_h"
	sentDial      = "sent_dial"
	sentUpDown    = "sent_up_down_h"
	arrivedDial   = "received_dial"
	arrivedUpDown = "received_up_down_h"
)

// Arrival is the form that tells whether it was held all the way, and what it
// told.
type Arrival struct {
	Fields  []form.Field
	From    string // where the readings at departure were taken from
	Problem string
	Verdict string // empty: nothing was asked yet
	Say     string
	Held    bool
	Note    string // what is written of it
}

var (
	writtenDial   = regexp.MustCompile(`\bdial (\d{1,2}:\d\d:\d\d(?:\.\d+)?)`)
	writtenUpDown = regexp.MustCompile(`\bup-and-down (\d+(?:\.\d+)?) h`)
)

// Reading returns how a reading of a dial at rest stands in a note, or the
// errors of its two fields.
func Reading(dial, upDown string) (note, dialWrong, upDownWrong string) {
	var parts []string
	if dial = strings.TrimSpace(dial); dial != "" {
		if _, err := clock.ParseDial(dial); err != nil {
			dialWrong = wording.Sentence(strings.TrimPrefix(err.Error(), clock.ErrDialReading.Error()+": "))
		}
		parts = append(parts, "dial "+dial)
	}
	if upDown = strings.TrimSpace(upDown); upDown != "" {
		v, err := form.ParseNumber(upDown)
		switch {
		case err != nil:
			upDownWrong = wording.Sentence(err.Error())
		case v < 0:
			upDownWrong = "Write the hours since it was wound, as the dial counts them."
		}
		parts = append(parts, fmt.Sprintf("up-and-down %g h", v))
	}
	return strings.Join(parts, ", "), dialWrong, upDownWrong
}

// readsDial reports whether a step asks for the dial as it stands.
func readsDial(s carriage.Step) bool {
	return s.ID != readDial && strings.Contains(s.Write, "ial reading")
}

// departed returns the last reading written before the journey, and when.
func (c Course) departed() (dial, upDown string, at time.Time, title string) {
	for _, s := range c.Plan {
		if s.Phase == carriage.Receive || s.Phase == carriage.Case {
			break
		}
		for _, t := range c.standing(s.ID) {
			if m := writtenDial.FindStringSubmatch(t.Fact.Note); m != nil {
				dial, at, title = m[1], t.At, s.Title
			}
			if m := writtenUpDown.FindStringSubmatch(t.Fact.Note); m != nil {
				upDown = m[1]
			}
		}
	}
	return dial, upDown, at, title
}

// arrival returns the form of the readings, filled and judged as far as the
// answers go.
func (c Course) arrival(answers url.Values) *Arrival {
	dial, up, at, title := c.departed()
	line := func(name, label, hint, value string, needed bool) form.Field {
		return form.Field{Name: name, Label: label, Hint: hint, Value: value, Needed: needed, Shape: form.Line}
	}
	a := &Arrival{Fields: []form.Field{
		line(sentDial, "Dial as sent", "h:mm:ss, from the sender's record", dial, true),
		line(arrivedDial, "Dial now", "h:mm:ss, before anything is moved", "", true),
	}}
	if title != "" {
		a.From = "As sent: from the step “" + title + "”."
	}
	if c.seen.Instrument.UpDown {
		hours := func(name, label, value string) form.Field {
			return form.Field{Name: name, Label: label, Unit: "h", Hint: "hours since wound, as it reads", Value: value, Shape: form.Number}
		}
		a.Fields = []form.Field{a.Fields[0], hours(sentUpDown, "Up-and-down as sent", up), a.Fields[1], hours(arrivedUpDown, "Up-and-down now", "")}
	}
	if !answers.Has(arrivedDial) {
		return a
	}
	for n := range a.Fields {
		if v, ok := answers[a.Fields[n].Name]; ok {
			a.Fields[n].Value = strings.TrimSpace(v[0])
		}
	}
	if a.field(sentDial).Value != dial {
		at = time.Time{} // another reading, and nobody has said when
	}
	a.judge(c, at)
	return a
}

func (a *Arrival) field(name string) *form.Field {
	for n := range a.Fields {
		if a.Fields[n].Name == name {
			return &a.Fields[n]
		}
	}
	return &form.Field{}
}

// read returns a reading, or marks what is wrong with its fields.
func (a *Arrival) read(dial, upDown string) (carriage.Reading, bool) {
	var r carriage.Reading
	d, u := a.field(dial), a.field(upDown)
	_, d.Error, u.Error = Reading(d.Value, u.Value)
	if d.Value == "" {
		d.Error = "Write what the dial shows, such as 7:41:03.5."
	}
	if d.Error != "" || u.Error != "" {
		return r, false
	}
	r.Dial, _ = clock.ParseDial(d.Value)
	if u.Value != "" {
		v, _ := form.ParseNumber(u.Value)
		r.UpDownH = &v
	}
	return r, true
}

func (a *Arrival) judge(c Course, sentAt time.Time) {
	sent, ok := a.read(sentDial, sentUpDown)
	received, ok2 := a.read(arrivedDial, arrivedUpDown)
	if !ok || !ok2 {
		a.Problem = "Correct what is marked, then reckon again."
		return
	}
	sent.UTC, received.UTC = sentAt, c.seen.Now
	i := c.seen.Instrument
	told, err := carriage.OnArrival(i.ClockDial(), i.GoingH, sent, received)
	if err != nil {
		a.Problem = wording.Sentence(wording.Upper(strings.TrimPrefix(err.Error(), carriage.ErrReading.Error()+": ")))
		return
	}
	a.Held, a.Say = told.Start, wording.Sentence(told.Say)
	switch told.Verdict {
	case carriage.HeldAllTheWay:
		a.Verdict = "Held all the way"
	case carriage.CameFree:
		a.Verdict = "Came free, ran " + ran(told.RanS) + ": do not start it"
	default:
		a.Verdict = "Dial and record do not agree: do not start it"
	}
	readings := func(dial, upDown string) string {
		note, _, _ := Reading(a.field(dial).Value, a.field(upDown).Value)
		return note
	}
	a.Note = "sent with " + readings(sentDial, sentUpDown) + "; arrived with " + readings(arrivedDial, arrivedUpDown) + ": " + string(told.Verdict)
	if told.Verdict == carriage.CameFree {
		a.Note += ", ran " + ran(told.RanS)
	}
}

// ran returns "3 h 12 min 4.5 s", without what is nought at its end.
func ran(s float64) string {
	tenths := int64(s*10 + 0.5)
	var parts []string
	if h := tenths / 36000; h > 0 {
		parts = append(parts, fmt.Sprintf("%d h", h))
	}
	if m := tenths / 600 % 60; m > 0 {
		parts = append(parts, fmt.Sprintf("%d min", m))
	}
	if rest := tenths % 600; rest > 0 {
		parts = append(parts, fmt.Sprintf("%g s", float64(rest)/10))
	}
	return cmp.Or(strings.Join(parts, " "), "0 s")
}

// cameFree returns what was written of an arrival that speaks against starting
// it, or nothing.
func (c Course) cameFree() string {
	for _, t := range c.standing(readDial) {
		for _, v := range []carriage.Verdict{carriage.CameFree, carriage.Disagrees} {
			if at := strings.Index(t.Fact.Note, string(v)); at >= 0 {
				return "On arrival: " + t.Fact.Note[at:] + ". Do not start it; tell the keeper."
			}
		}
	}
	return ""
}

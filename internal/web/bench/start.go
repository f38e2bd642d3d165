package bench

import (
	"errors"
	"fmt"
	"math"
	"net/url"
	"strconv"
	"strings"
	"time"

	"timeball/internal/chronometer"
	"timeball/internal/clock"
	"timeball/internal/setting"
	"timeball/internal/timescale"
	"timeball/internal/web/form"
	"timeball/internal/web/wording"
	"timeball/internal/workshop"
)

// Start is the starting desk: what is asked, and the plan once it is answered.
type Start struct {
	Number   string
	At       string // address of the instrument
	Fields   []form.Field
	Problem  string
	Cautions []string
	Barred   string   // why it cannot be started now
	Held     bool     // its balance is held, and to be released for the start
	Turn     string   // the motion that sets it going
	First    []string // what to see to first, in sentences
	Plan     *Plan
	ID       chronometer.ID // under which the start is written
	By       string
}

// Plan is a plan to be followed.
type Plan struct {
	setting.Plan
	Instant  string // RFC 3339
	Day      string
	Clock    string // "07:12:40"
	Reads    string
	Hand     string // where the minute hand must stand
	Forward  string
	Second   string // where the seconds hand rests
	Aim      string
	Why      string
	Wait     string
	Again    string // the address of the plan a minute later
	Other    string // the address of the other plan; empty if there is none
	OtherSay string
	Remarks  []string
	Note     string // for the logbook
	Stay     bool   // the hands stand where they must
	Passed   bool   // its instant lies too far back to say that it was started then
}

// The names of what is asked.
const (
	handsField   = "hands"
	secondsField = "seconds"
	readyField   = "ready"
	turnField    = "turn"
	errorField   = "error"
	wayField     = "way"
	wayFast      = "fast"
	waySlow      = "slow"
	middleField  = "middle"
	fromField    = "from"  // when the plan was made
	waitField    = "wait"  // the plan without turning
	againField   = "again" // minutes later
)

// mostAgain bounds how often a start is put off by a minute, leastWarning is how
// long before it one must know, and passed how long after it the start can
// still be told.
const (
	mostAgain    = 1440
	leastWarning = 15 * time.Second
	passed       = 5 * time.Minute
)

// usualTurn is how long turning the minute hand once round takes, s.
const usualTurn = 60

// NewStart returns the desk for an instrument from what was answered so far.
func NewStart(seen workshop.Seen, at, by string, answers url.Values) Start {
	s := Start{Number: seen.Instrument.Number, At: at, By: by, Cautions: form.Cautions(chronometer.KindStarted)}
	switch m := seen.State.Motion; {
	case m == chronometer.BalanceHeld:
		s.Held = true
	case m == chronometer.Going && seen.State.MotionKnown:
		s.Barred = "It goes since " + wording.Day(seen.State.MotionSince, seen.Now) + ". To start it anew, write first that it was stopped."
	}
	if seen.State.Station == chronometer.Carriage {
		s.Barred = "It is on its way: receive it first."
	}
	s.Turn = "A gentle quarter turn of the bowl and back"
	if seen.Instrument.Make != chronometer.BoxChronometer {
		s.Turn = "A gentle quarter turn of the watch, dial up, and back"
	}
	for _, a := range seen.Next {
		if a.Stop {
			s.First = append(s.First, wording.Sentence(wording.Upper(a.Say)))
		}
	}
	if s.Barred == "" && !seen.State.Wound.After(seen.State.MotionSince) {
		s.First = append(s.First, "No winding is written since it stands: wind it first.")
	}
	s.Fields = []form.Field{
		{Name: handsField, Label: "Hour and minute hand rest at", Hint: "h:mm, the mark that the minute hand has passed; h:mm.m if it does not agree with the seconds hand", Shape: form.Line, Needed: true},
		{Name: secondsField, Label: "The seconds hand rests at", Unit: "s", Hint: "it is never touched", Shape: form.Number, Needed: true},
		{Name: readyField, Label: "Time to get ready", Unit: "min", Shape: form.Number, Value: "2"},
		{Name: errorField, Label: "Wanted at the start", Unit: "s", Hint: "0 is right", Shape: form.Number, Value: "0"},
		{Name: wayField, Label: "fast or slow", Shape: form.Radio, Needed: true, Value: wayFast, Options: []form.Option{{Value: wayFast, Label: wayFast}, {Value: waySlow, Label: waySlow}}},
	}
	if r := seen.Rating; r != nil && r.RateNow.Mean < 0 && r.RateNow.SD < -r.RateNow.Mean {
		s.Fields = append(s.Fields, form.Field{
			Name: middleField, Label: "or right in the middle of the next", Unit: "days", Shape: form.Number,
			Hint: "it was " + wording.Rate(r.RateNow).String() + " a day: started so much fast that losing brings it right half way",
		})
	}
	for n := range s.Fields {
		if v, ok := answers[s.Fields[n].Name]; ok && len(v) > 0 {
			s.Fields[n].Value = v[0]
		}
		s.Fields[n].Choose()
	}
	if answers.Has(handsField) && s.Barred == "" {
		s.plan(seen, answers)
	}
	return s
}

// Asked reports whether the answers ask for a plan and have no instant yet.
func Asked(answers url.Values) bool { return answers.Has(handsField) && !answers.Has(fromField) }

// WithInstant returns the answers with the instant at which they were given, so
// that the plan stays the same when the page is opened again.
func WithInstant(answers url.Values, now time.Time) url.Values {
	out := url.Values{}
	for name, v := range answers {
		out[name] = v
	}
	out.Set(fromField, now.UTC().Truncate(time.Millisecond).Format(time.RFC3339Nano))
	out.Del(againField)
	return out
}

func (s *Start) plan(seen workshop.Seen, answers url.Values) {
	ask, err := s.ask(seen, answers)
	var plans setting.Plans
	if err == nil {
		plans, err = setting.Starting(ask)
	}
	if err != nil {
		if text := err.Error(); text != "" {
			s.Problem = wording.Sentence(strings.TrimPrefix(text, setting.ErrAsk.Error()+": "))
		}
		return
	}
	waiting := plans.Wait
	if answers.Has(waitField) {
		waiting = answers.Get(waitField) == "yes"
	}
	p := plans.Earliest
	if waiting {
		p = plans.NoTurn
	}
	first := p
	again, _ := strconv.Atoi(answers.Get(againField))
	total := first
	for range min(max(again, 0), mostAgain) {
		p = p.InAMinute()
		total.ForwardS += p.ForwardS
	}
	// Missed long ago, it is the next minute that can still be reached.
	more := 1
	for later := p.InAMinute(); later.Start.Before(seen.Now.Add(leastWarning)) && again+more < mostAgain; later = later.InAMinute() {
		more++
	}
	next := WithInstant(answers, ask.Now)
	next.Set(waitField, map[bool]string{true: "yes", false: "no"}[waiting])
	next.Set(againField, strconv.Itoa(again+more))
	out := Plan{
		Plan: p, Instant: p.Start.Format(time.RFC3339Nano), Day: wording.LongDay(p.Start), Clock: secondOf(p.Start), Reads: dialWords(p), Hand: p.MinuteHand(),
		Forward: p.Forward(), Second: strconv.FormatFloat(ask.SecondS, 'f', -1, 64), Aim: aimWords(p.WantedS), Why: plans.Why,
		Wait: setting.Waiting(p.Start.Sub(seen.Now)), Again: s.At + "/start?" + next.Encode(),
	}
	out.Forward = total.Forward()
	out.Passed = seen.Now.Sub(p.Start) > passed
	if again > 0 {
		out.Forward += " in all"
	}
	for _, words := range p.Remarks {
		out.Remarks = append(out.Remarks, wording.Sentence(words))
	}
	if !plans.NoTurn.Start.Equal(plans.Earliest.Start) {
		other := WithInstant(answers, ask.Now)
		other.Set(waitField, map[bool]string{true: "no", false: "yes"}[waiting])
		out.Other = s.At + "/start?" + other.Encode()
		if out.OtherSay = "Turn " + plans.Earliest.Forward() + " and start at " + secondOf(plans.Earliest.Start); !waiting {
			out.OtherSay = "Wait for UTC to come to the hands: start at " + secondOf(plans.NoTurn.Start) + " on " + wording.Day(plans.NoTurn.Start, seen.Now)
		}
	}
	turned := "the minute hand not turned"
	if total.ForwardS > 0 {
		turned = "the minute hand turned forward " + total.Forward()
	}
	out.Note = fmt.Sprintf("hands set to %s, %s; aimed to be %s", dialWords(p), turned, aimWords(p.WantedS))
	out.Stay = total.ForwardS == 0
	s.Plan = &out
}

// ask reads the answers; the error says which is wrong, or is empty if it
// stands at its field.
func (s *Start) ask(seen workshop.Seen, answers url.Values) (setting.Ask, error) {
	wrong := false
	number := func(name string, otherwise float64) float64 {
		for n := range s.Fields {
			f := &s.Fields[n]
			if f.Name != name || strings.TrimSpace(f.Value) == "" {
				continue
			}
			v, err := form.ParseNumber(f.Value)
			if err != nil {
				f.Error, wrong = wording.Sentence(err.Error()), true
			}
			return v
		}
		return otherwise
	}
	from, err := timescale.Parse(answers.Get(fromField))
	if err != nil {
		from = seen.Now
	}
	dial := seen.Instrument.ClockDial()
	seconds, ready, wanted, middle := number(secondsField, 0), number(readyField, 2), number(errorField, 0), number(middleField, 0)
	if wrong {
		return setting.Ask{}, errors.New("")
	}
	rest, err := setting.ParseRest(dial, answers.Get(handsField), seconds)
	if err != nil {
		return setting.Ask{}, err
	}
	if answers.Get(wayField) == waySlow {
		wanted = -wanted
	}
	if middle > 0 && seen.Rating != nil {
		beat := seen.Instrument.Beat.Seconds()
		wanted = float64(setting.WantedError(clock.Rate(seen.Rating.RateNow.Mean), time.Duration(min(middle, 3650)*float64(clock.Day)), beat))
	}
	return setting.Ask{Rest: rest, Now: from, Ready: time.Duration(min(ready, 1e5) * float64(time.Minute)), Turn: usualTurn * time.Second, WantedS: wanted}, nil
}

// secondOf writes an instant as a clock of UTC shows it, with the fraction of
// its second if it has one.
func secondOf(t time.Time) string { return t.UTC().Format("15:04:05.999") }

// dialWords writes what the dial reads: "7 h 12 m 40 s".
func dialWords(p setting.Plan) string {
	parts := strings.SplitN(p.Reads(), ":", 3)
	if len(parts) != 3 {
		return p.Reads()
	}
	return fmt.Sprintf("%s h %s m %s s", parts[0], parts[1], parts[2])
}

// aimWords says what the dial will be at the start.
func aimWords(wantedS float64) string {
	size := strconv.FormatFloat(math.Abs(wantedS), 'f', -1, 64) + " s"
	switch {
	case wantedS > 0:
		return size + " fast"
	case wantedS < 0:
		return size + " slow"
	}
	return "right at the start"
}

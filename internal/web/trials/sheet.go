// Package trials is what the pages of trials, programmes and regulating show: a
// trial day by day with its verdict, a programme in words, and what to turn.
//
// ± is a 95% interval; rates are per day, in words; instants are UTC.
package trials

import (
	"net/url"
	"strings"
	"time"

	"timeball/internal/adjust"
	"timeball/internal/chronometer"
	"timeball/internal/trial"
	"timeball/internal/trial/course"
	"timeball/internal/web/drawing"
	"timeball/internal/web/wording"
)

// Sheet is one trial as a page shows it.
type Sheet struct {
	Entry     string // the ID of the entry that began it
	Programme string
	About     string
	Source    string
	Now       string // where it stands, a sentence
	Begun, By string
	Note      string
	Ended     string // when and why; empty while it goes on
	Verdict   string // in two or three words
	Tone      string
	Words     string // the verdict as a sentence
	Broken    string // what broke it, a sentence
	Over      bool   // it was ended
	Finished  bool   // no reading is to come any more
	ToCome    int    // days

	Tasks    []Task
	Remarks  []Remark
	Notes    []string
	Figures  []Figure
	Criteria []Criterion
	Periods  []Period
	Days     int // rows of days in the periods
	Sums     []Sum
	SumName  string // "Weekly sums"
	Law      []string
	Curves   []drawing.Curve
	Unused   []Unused
}

// Figure is one of the great figures at the head of a trial; its fields are
// those that the pages show figures by.
type Figure struct{ Label, Words, After, Below string }

// Task is one thing to do today.
type Task struct {
	Do    string
	When  string // "by 10:15", "late since 10:15", "done"
	State string // done, late, now or later
	Href  string // where it is written; empty if it is only done
	Verb  string
}

// Remark is something that a reader of the trial must see.
type Remark struct{ When, Words, Effect string }

// Unused is a comparison that no day rests on.
type Unused struct{ When, Why string }

// NewToday returns where a trial stands at now and what is to be done, without
// its figures, of an instrument whose page is at an address.
func NewToday(t adjust.Trial, at string, now time.Time) Sheet {
	today := t.Course.Today
	s := Sheet{
		Entry: string(t.Begun.ID), Programme: t.Programme.Name, About: t.Programme.About, Source: t.Programme.Source, Now: wording.Sentence(today.Words),
		Begun: wording.FullDay(t.Begun.At) + " at " + t.Begun.At.UTC().Format("15:04"), By: t.Begun.By, Over: t.Over(), Words: t.Result.Words,
		Finished: today.State == course.Finished,
	}
	if begun, ok := t.Begun.Fact.(chronometer.TrialBegun); ok {
		s.Note = begun.Note
	}
	if s.Over {
		s.Ended = endedWords(t.Ended)
	}
	for _, d := range t.Result.Days {
		if d.ToCome {
			s.ToCome++
		}
	}
	s.Verdict, s.Tone = verdict(t.Result, today.State)
	if t.Course.Broken != nil {
		s.Broken = wording.Sentence(wording.Upper(today.Words))
	}
	if !s.Over {
		for _, task := range t.Course.Tasks {
			s.Tasks = append(s.Tasks, newTask(task, t, at, now))
		}
	}
	return s
}

// NewSheet returns a trial as it stands at now, of an instrument whose page is
// at an address.
func NewSheet(t adjust.Trial, at string, now time.Time) Sheet {
	s := NewToday(t, at, now)
	told := map[string]bool{}
	for _, r := range t.Course.Remarks {
		told[r.Words+wording.After(": ", r.Effect)] = true
		s.Remarks = append(s.Remarks, Remark{When: wording.ShortDay(r.At, now), Words: wording.Upper(r.Words), Effect: r.Effect})
	}
	for _, words := range t.Result.Remarks {
		if !told[words] {
			s.Notes = append(s.Notes, wording.Sentence(words))
		}
	}
	for _, u := range t.Course.Unused {
		s.Unused = append(s.Unused, Unused{wording.Instant(u.At, now), u.Why})
	}
	for _, f := range t.Result.Figures {
		s.Criteria = append(s.Criteria, newCriterion(f, t.Result))
	}
	s.Periods = periods(t, now)
	for _, p := range s.Periods {
		s.Days += len(p.Days)
	}
	s.sums(t)
	s.Law = lawWords(t.Result.Law)
	s.Figures = figures(t)
	s.Curves = curves(t, now)
	return s
}

// endedWords says when a trial was ended and why.
func endedWords(e chronometer.Entry) string {
	words := wording.FullDay(e.At)
	switch f := e.Fact.(type) {
	case chronometer.TrialEnded:
		words += ": " + f.Why
	case chronometer.TrialBegun:
		words += ": the next was begun"
	}
	return words
}

// The tones of a word: how it is set off, beside what it says.
const (
	toneDone  = ""
	toneWarn  = "warn"
	toneAlarm = "alarm"
	toneOpen  = "open"
)

// verdict returns the verdict in a few words.
func verdict(r trial.Result, state course.State) (words, tone string) {
	switch r.Verdict {
	case trial.Kept:
		if r.Class != "" {
			return "class “" + r.Class + "”", toneDone
		}
		return "kept", toneDone
	case trial.NotKept:
		return "not kept", toneAlarm
	case trial.Undecided:
		return "undecided", toneWarn
	case trial.NoLimits:
		return "figures alone", toneDone
	}
	if state == course.Waiting || state == course.Settling || state == course.First {
		return string(state), toneOpen
	}
	return "going on", toneOpen
}

// verbs are what the tasks of a kind are called on a button.
var verbs = map[course.TaskKind]string{
	course.Place: "Write where it lies", course.Wind: "Wind", course.Read: "Read the thermometer", course.Compare: "Compare",
	course.Judge: "End the trial", course.Begin: "End the trial",
}

// newTask returns a task with its time and where it is written.
func newTask(c course.Task, t adjust.Trial, at string, now time.Time) Task {
	task := Task{Do: wording.Upper(c.Do), Verb: verbs[c.Kind]}
	task.When, task.State = due(c, now)
	switch c.Kind {
	case course.Place:
		task.Href = at + "/write/placed?" + placing(c, t).Encode()
	case course.Wind:
		task.Href = at + "/write/wound"
	case course.Read:
		task.Href = at + "/write/temperature"
	case course.Compare:
		task.Href = at + "/compare"
	case course.Judge, course.Begin:
		task.Href = at + "/trial#end"
	}
	return task
}

// placing returns what is known beforehand of how it is to lie; never the
// temperature, which is written as it is read.
func placing(c course.Task, t adjust.Trial) url.Values {
	q := url.Values{}
	n := t.Course.Today.Period
	if today := t.Course.Today; !today.To.IsZero() && c.From.Equal(today.To) && today.Day < len(t.Result.Days) {
		n = t.Result.Days[today.Day].Period
	}
	if n < 0 || n >= len(t.Programme.Periods) {
		return q
	}
	p := t.Programme.Periods[n]
	if p.Position != "" {
		q.Set("position", p.Position)
	}
	q.Set("where", "room")
	if p.TempC != nil {
		q.Set("where", "oven")
	}
	return q
}

// due says when a task is due, and whether it is done, late, to be done now or
// later.
func due(c course.Task, now time.Time) (words, state string) {
	by := func(at time.Time) string {
		if wording.SameDay(at, now) {
			return at.UTC().Format("15:04")
		}
		return wording.Instant(at, now)
	}
	switch {
	case c.Done:
		return "done", "done"
	case c.Late:
		return "late since " + by(c.By), "late"
	case c.From.After(now):
		return "from " + by(c.From), "later"
	case c.By.IsZero():
		return "now", "now"
	}
	return "now, by " + by(c.By), "now"
}

// Urgent returns the task to do first: what is late or due now, in the order of
// the round, nil if nothing is.
func (s Sheet) Urgent() *Task {
	for n, t := range s.Tasks {
		if t.Href != "" && (t.State == "late" || t.State == "now") {
			return &s.Tasks[n]
		}
	}
	return nil
}

// Coming returns what can be written next although it is not due yet, nil if
// nothing is.
func (s Sheet) Coming() *Task {
	for n, t := range s.Tasks {
		if t.State == "later" && strings.HasSuffix(t.Href, "/compare") {
			return &s.Tasks[n]
		}
	}
	return nil
}

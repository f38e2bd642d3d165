package chronometer

import "strings"

// TrialBegun says that a trial was begun at Entry.At. The programme is kept
// whole, so that the trial is judged by what was asked of it then.
type TrialBegun struct {
	Programme string `json:"programme" label:"Programme" need:"yes"`
	Text      string `json:"text" label:"The programme as it was" need:"yes"`
	Note      string `json:"note,omitempty" label:"Note"`
}

// Kind returns KindTrialBegun.
func (TrialBegun) Kind() Kind { return KindTrialBegun }

// Words returns the name of the programme.
func (t TrialBegun) Words() string { return phrase(t.Programme, t.Note) }
func (t TrialBegun) check() error {
	return first(need("programme", t.Programme, "name the programme"), need("text", t.Text, "begin the trial on its page, which keeps the programme"), short("note", t.Note))
}

// TrialEnded says that the trial begun last is over.
type TrialEnded struct {
	Why string `json:"why" label:"Why" hint:"finished, or why it was given up" need:"yes"`
}

// Kind returns KindTrialEnded.
func (TrialEnded) Kind() Kind { return KindTrialEnded }

// Words returns why.
func (t TrialEnded) Words() string { return t.Why }
func (t TrialEnded) check() error  { return need("why", t.Why, "finished, or why it was given up") }

// Programme is a programme of trials of the workshop's own; its logbook is that
// of the programme, and the last that stands holds.
type Programme struct {
	Name string `json:"name" label:"Name" need:"yes"`
	Text string `json:"text" label:"The programme" hint:"periods, criteria and limits" need:"yes"`
}

// Kind returns KindProgramme.
func (Programme) Kind() Kind { return KindProgramme }

// Words returns the name.
func (p Programme) Words() string { return p.Name }
func (p Programme) check() error {
	return first(need("name", p.Name, "name the programme"), need("text", p.Text, "write periods and criteria"))
}

// Trial returns the last trial begun that stands, with when it was ended, zero
// if it goes on.
func (b Logbook) Trial() (begun Entry, ended Entry, ok bool) {
	trials := b.Trials()
	if len(trials) == 0 {
		return Entry{}, Entry{}, false
	}
	last := trials[len(trials)-1]
	return last[0], last[1], true
}

// Trials returns the entries that begin and end each trial, oldest first. A
// trial that goes on has an empty second entry; one begun before another was
// ended ends there.
func (b Logbook) Trials() [][2]Entry {
	var trials [][2]Entry
	for _, e := range b.Standing() {
		n := len(trials)
		switch e.Fact.(type) {
		case TrialBegun:
			if n > 0 && trials[n-1][1].ID == "" {
				trials[n-1][1] = e
			}
			trials = append(trials, [2]Entry{e})
		case TrialEnded:
			if n > 0 && trials[n-1][1].ID == "" {
				trials[n-1][1] = e
			}
		}
	}
	return trials
}

// Finished reports whether the trial was ended because it was finished.
func (t TrialEnded) Finished() bool { return strings.EqualFold(strings.TrimSpace(t.Why), "finished") }

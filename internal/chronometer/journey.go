package chronometer

import "fmt"

// Answer is yes or no, or nothing if it is not known.
type Answer string

// The answers.
const (
	Yes Answer = "yes"
	No  Answer = "no"
)

// Choices returns the answers.
func (Answer) Choices() []string { return []string{string(Yes), string(No)} }

// Departs is how an instrument goes when it is to leave.
type Departs string

// The departures.
const (
	DepartsGoing   Departs = "going"
	DepartsStopped Departs = "stopped"
	DepartsRunDown Departs = "run down"
)

// Choices returns the departures.
func (Departs) Choices() []string {
	return []string{string(DepartsGoing), string(DepartsStopped), string(DepartsRunDown)}
}

// JourneyBegun says that an instrument is to travel; the steps of its journey
// follow from its fittings and from this.
type JourneyBegun struct {
	To     string  `json:"to" label:"Where to" hint:"the workshop, home, an exhibition" need:"yes"`
	ByHand bool    `json:"by_hand,omitempty" label:"Carried by hand all the way" hint:"going, level, by somebody who has been shown"`
	Goes   Departs `json:"goes" label:"How it goes now" need:"yes"`
	Note   string  `json:"note,omitempty" label:"Note"`
}

// Kind returns KindJourney.
func (JourneyBegun) Kind() Kind { return KindJourney }

// Words returns where it is to travel, and how.
func (j JourneyBegun) Words() string {
	hand := ""
	if j.ByHand {
		hand = "by hand"
	}
	return phrase("to "+j.To, hand, string(j.Goes), j.Note)
}

func (j JourneyBegun) check() error {
	return first(need("to", j.To, "write where it is to travel"), need("goes", string(j.Goes), "choose one"), oneOf("goes", j.Goes, Departs("").Choices()), short("note", j.Note))
}

// StepDone says that one step of a journey was done. To undo it the entry is
// struck out.
type StepDone struct {
	Journey ID     `json:"journey" label:"Journey" need:"yes"`
	Step    string `json:"step" label:"Step" need:"yes"`
	Title   string `json:"title,omitempty" label:"What was done"`
	Note    string `json:"note,omitempty" label:"Note"`
}

// Kind returns KindStepDone.
func (StepDone) Kind() Kind { return KindStepDone }

// Words returns what was done.
func (s StepDone) Words() string {
	title := s.Title
	if title == "" {
		title = s.Step
	}
	return phrase(title, s.Note)
}

func (s StepDone) check() error {
	if len(s.Step) > 40 {
		return fmt.Errorf("step %.20q… is no step; tick it on the page of the journey", s.Step)
	}
	_, err := ParseID(string(s.Journey))
	return first(err, need("step", s.Step, "tick it on the page of the journey"), short("title", s.Title), short("note", s.Note))
}

// Journey is one journey with the steps that were ticked and stand.
type Journey struct {
	Begun Entry
	Steps []Entry // in order of time
}

// Journeys returns the journeys of the instrument, oldest first.
func (b Logbook) Journeys() []Journey {
	var all []Journey
	at := map[ID]int{}
	for _, e := range b.Standing() {
		switch f := e.Fact.(type) {
		case JourneyBegun:
			at[e.ID] = len(all)
			all = append(all, Journey{Begun: e})
		case StepDone:
			if i, ok := at[f.Journey]; ok {
				all[i].Steps = append(all[i].Steps, e)
			}
		}
	}
	return all
}

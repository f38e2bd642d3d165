package chronometer

import (
	"time"
)

// Motion says whether an instrument goes.
type Motion string

// The states of motion.
const (
	Going       Motion = "going"
	StoodStill  Motion = "stopped"
	NotKnown    Motion = "not known" // no entry tells
	BalanceHeld Motion = "balance held"
)

// State is what the entries up to an instant say of an instrument.
type State struct {
	Motion      Motion
	MotionKnown bool // an entry says so; otherwise it is taken to go since its first comparison
	MotionSince time.Time

	Station      Station
	StationSince time.Time

	Position   Position
	InGimbals  bool
	GimbalsSet bool // an entry says so
	Cased      bool
	Packed     bool

	Where string // the spot last named

	Wound     time.Time // the last winding, or zero
	HalfTurns float64
	Compared  time.Time // the last comparison, or zero
	Compares  int       // comparisons since the error or the rate was last broken off
	RunSince  time.Time // when that was
	Runs      int       // runs begun

	TempC   *float64
	TempAt  time.Time
	JobOpen bool // something was found or received, and it has not been sent since
	JobFrom time.Time
	Worked  bool // work was done in the open job

	// How the open job stands, in words, and whom it waits for, since when; set
	// by State and not by StateAt.
	Stage      string
	Waits      Waits
	StageSince time.Time

	First time.Time
	Last  time.Time // the last entry of any kind
}

// State returns the state after all entries that stand.
func (b Logbook) State() State {
	if len(b.entries) == 0 {
		return State{}
	}
	s := b.StateAt(b.entries[len(b.entries)-1].At)
	if jobs := b.Jobs(); len(jobs) > 0 {
		if last := jobs[len(jobs)-1]; last.Open() {
			s.Stage, s.Waits, s.StageSince = last.Stage, last.Waits, last.Since
		}
	}
	return s
}

// StateAt returns the state after the entries that stand up to and including
// the instant at.
func (b Logbook) StateAt(at time.Time) State {
	s := State{Motion: NotKnown, Station: Bench}
	for _, e := range b.Standing() {
		if e.At.After(at) {
			break
		}
		s.read(e)
	}
	return s
}

// read carries the state over one entry.
func (s *State) read(e Entry) {
	if s.First.IsZero() {
		s.First, s.MotionSince, s.StationSince = e.At, e.At, e.At
	}
	s.Last = e.At
	switch f := e.Fact.(type) {
	case Compared:
		if s.Motion == NotKnown {
			s.Motion, s.MotionSince = Going, e.At
			s.begin(e.At)
		}
		s.Compared = e.At
		s.Compares++
		s.temperature(f.TempC, e.At)
		if f.Position != "" {
			s.Position = f.Position
		}
		if f.WoundH != nil && s.Wound.IsZero() {
			s.Wound = e.At.Add(-time.Duration(*f.WoundH * float64(time.Hour)))
		}
	case Listened:
		s.temperature(f.TempC, e.At)
		if f.Position != "" {
			s.Position = f.Position
		}
		if f.WoundH != nil && s.Wound.IsZero() {
			s.Wound = e.At.Add(-time.Duration(*f.WoundH * float64(time.Hour)))
		}
	case Wound:
		s.Wound, s.HalfTurns = e.At, f.HalfTurns
	case Started:
		s.move(Going, e.At)
		s.begin(e.At)
	case Set, Regulated:
		s.begin(e.At)
	case Stopped:
		s.move(StoodStill, e.At)
	case Held:
		s.move(BalanceHeld, e.At)
	case Released:
		if s.Motion == BalanceHeld {
			s.move(StoodStill, e.At)
		}
	case Placed:
		if f.Position != "" {
			s.Position = f.Position
		}
		if f.Station != "" {
			s.be(f.Station, e.At)
		}
		if f.Where != "" {
			s.Where = f.Where
		}
		s.temperature(f.TempC, e.At)
	case Temperature:
		s.temperature(&f.TempC, e.At)
	case FromGimbals:
		s.InGimbals, s.GimbalsSet = false, true
	case IntoGimbals:
		s.InGimbals, s.GimbalsSet, s.Packed = true, true, false
	case Found:
		s.openJob(e.At)
	case WorkDone:
		s.openJob(e.At)
		s.Worked = true
		if f.Service {
			s.begin(e.At)
		}
	case Packed:
		s.Packed = true
	case Sent:
		s.be(Carriage, e.At)
		s.JobOpen, s.Worked = false, false
	case Received:
		s.be(f.Station, e.At)
		s.Packed = false
		if f.Station == Bench {
			s.openJob(e.At)
		}
	case Cased:
		s.Cased, s.Packed = true, false
	case TrialBegun:
		s.be(Trial, e.At)
	case TrialEnded:
		if s.Station == Trial {
			s.be(Bench, e.At)
		}
	}
}

// begin notes that a run begins, of which nothing is known yet.
func (s *State) begin(at time.Time) { s.Compares, s.RunSince, s.Runs = 0, at, s.Runs+1 }

func (s *State) move(m Motion, at time.Time) {
	s.Motion, s.MotionKnown, s.MotionSince = m, true, at
}

func (s *State) be(st Station, at time.Time) {
	if s.Station != st {
		s.Station, s.StationSince = st, at
	}
}

func (s *State) openJob(at time.Time) {
	if !s.JobOpen {
		s.JobOpen, s.JobFrom, s.Worked = true, at, false
	}
}

func (s *State) temperature(c *float64, at time.Time) {
	if c != nil {
		v := *c
		s.TempC, s.TempAt = &v, at
	}
}

// Run is an unbroken stretch of going between interventions that change the
// error by an unknown amount.
type Run struct {
	From  time.Time // when it began: a start, a setting or the first comparison
	To    time.Time // when it ended, or the last entry if it goes on
	Begun Kind      // what began it
	Ended Kind      // what ended it, empty if it goes on
	Open  bool
}

// Runs returns the runs in order of time. A start, a stop or hands set anew
// begins or ends one; a known movement of the hands does not; regulation and
// service begin a new rate and so a new run.
func (b Logbook) Runs() []Run {
	var runs []Run
	open, stopped := false, false
	begin := func(e Entry) {
		runs = append(runs, Run{From: e.At, To: e.At, Begun: e.Kind(), Open: true})
		open, stopped = true, false
	}
	end := func(e Entry) {
		if open {
			last := &runs[len(runs)-1]
			last.To, last.Ended, last.Open = e.At, e.Kind(), false
			open = false
		}
	}
	for _, e := range b.Standing() {
		switch f := e.Fact.(type) {
		case Stopped, Held:
			end(e)
			stopped = true
			continue
		case Started:
			end(e)
			begin(e)
			continue
		case Set, Regulated:
			end(e)
			if !stopped {
				begin(e)
			}
			continue
		case WorkDone:
			if f.Service {
				end(e)
				if !stopped {
					begin(e)
				}
				continue
			}
		case Compared:
			if !open && !stopped {
				begin(e)
			}
		}
		if open {
			runs[len(runs)-1].To = e.At
		}
	}
	return runs
}

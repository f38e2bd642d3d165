package reference

import (
	"context"
	"math"
	"slices"
	"sync"
	"time"

	"timeball/internal/timescale"
)

// Options are how servers are asked; the zero value serves a workshop.
type Options struct {
	Rounds  int           // exchanges with each server at the start; 8 if zero
	Spacing time.Duration // between those; 4 s if zero, which the public servers ask for
	Every   time.Duration // between all later ones; 64 s if zero
	Timeout time.Duration // how long an answer is waited for; 2 s if zero, and no longer than Spacing
	Heard   func(State)   // called after each round, by the goroutine of Run
	List    string        // which table of leap seconds is in use, as AdoptList returns it
	TakenS  float64       // bound that this computer's clock is taken to have while nothing better is known, s; zero if none is

	clocks clocks // of this computer if read is nil
}

const (
	// steadyTolerance is how fast a disciplined clock may drift, s/s (PHI of
	// RFC 5905, 7.2).
	steadyTolerance = 15e-6
	// plainTolerance is how fast the crystal of an ordinary computer may drift
	// that nothing disciplines, s/s (from memory: 20 to 100 ppm).
	plainTolerance = 100e-6
	// reachedFor is for how many polls a server that fell silent still counts
	// (the reach register of RFC 5905, 13, has eight places).
	reachedFor = 8
	// tellFor is how long a keeper is told that the clock was set or the scale
	// broken off.
	tellFor = time.Hour
)

// Standard is where UTC comes from. It is safe for use by several goroutines.
type Standard struct {
	plain   func() time.Time // of a standard that is a clock as it stands
	options Options
	wake    chan struct{} // asks for a round at once

	mu       sync.Mutex
	scale    *scale
	servers  []*server
	spell    int
	breaks   int // of the scale itself; a spell also ends when the clock in use is set
	polled   time.Duration
	asked    bool
	found    *found        // what the servers agree on; nil before
	disputed bool          // the servers disagree: found stands still and is not believed
	drift    []found       // earlier agreements, to measure the drift by
	setBy    setting       // the last setting of the computer's clock
	lapsed   lapse         // the last time the scale was broken off
	weighed  time.Duration // when the servers were last weighed
	leapAt   time.Time     // when the next leap second ends; zero if none is known
	announce bool          // by the servers and not by the list
	worded   wording       // the words of a reading, which change seldom
	kept     keptReport    // what the system says of its clock
}

// found is what servers agreed on.
type found struct {
	at        time.Duration // by the steady clock
	offsetS   float64       // UTC minus the scale
	halfS     float64       // how far it may be from that
	heard     time.Duration // the newest exchange that it rests on
	agreeing  int
	voting    int
	tolerance float64
}

func (f found) boundS(now time.Duration) float64 {
	return f.halfS + f.tolerance*(now-f.at).Seconds()
}

// setting is one setting of the computer's clock.
type setting struct {
	at time.Duration
	by time.Duration
}

// lapse is one break of the scale.
type lapse struct {
	at  time.Duration
	why string
}

// keptReport is what the system says of its clock.
type keptReport struct {
	at     time.Duration
	asked  bool
	boundS float64
	ok     bool
}

// Plain returns a standard that is a clock as it stands, of no known bound and
// without servers.
func Plain(now func() time.Time) *Standard { return &Standard{plain: now} }

// Taken returns a standard that is a clock taken to be within boundS, s, of
// UTC, without servers.
func Taken(now func() time.Time, boundS float64) *Standard {
	return &Standard{plain: now, options: Options{TakenS: boundS}}
}

// New returns the standard that rests on servers, or without any on the clock
// of this computer. Call Run to have them asked.
func New(servers []string, o Options) *Standard {
	if o.Rounds == 0 {
		o.Rounds = 8
	}
	if o.Spacing == 0 {
		o.Spacing = 4 * time.Second
	}
	if o.Every == 0 {
		o.Every = 64 * time.Second
	}
	if o.Timeout == 0 {
		o.Timeout = min(2*time.Second, o.Spacing)
	}
	if o.List == "" {
		o.List = ListOfProgram
	}
	if o.clocks.read == nil {
		o.clocks = computer()
	}
	s := &Standard{options: o, wake: make(chan struct{}, 1), scale: newScale(o.clocks)}
	for _, name := range servers {
		s.servers = append(s.servers, &server{name: name})
	}
	s.findLeap(s.scale.time(s.scale.at))
	return s
}

// Now returns UTC as well as it is known.
func (s *Standard) Now() time.Time { return s.Read().UTC }

// Read returns UTC with its bound.
func (s *Standard) Read() Reading {
	if s.plain != nil {
		return Reading{UTC: s.plain().UTC().Round(0), BoundS: s.options.TakenS, Known: s.options.TakenS > 0, Source: ownClock}
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.readingAt(s.look())
}

// look returns the steady clock now and deals with what happened to the clock
// of the computer since the last time.
func (s *Standard) look() time.Duration {
	now, what, by := s.scale.look()
	if what == reset {
		s.setBy = setting{now, by}
		s.worded.stale = true
		s.roundAtOnce()
	}
	switch {
	case what == broken && s.scale.knowSlept:
		s.breakOff("this computer slept for " + long(by) + ", and time was not counted meanwhile")
	case what == broken:
		s.breakOff("this computer’s clock jumped by " + long(by) + ": it slept or was set")
	case what == reset && s.found == nil:
		// The clock that was set is the one that is read.
		s.spell++
	}
	if !s.leapAt.IsZero() && !s.utc(now).Before(s.leapAt) {
		// A clock that was far off and set has crossed many, and none was counted.
		if s.utc(now).Sub(s.leapAt) < 24*time.Hour {
			s.breakOff("a leap second has passed")
		}
		s.findLeap(s.utc(now))
	}
	return now
}

// breakOff gives the scale up: what was heard before does not hold after.
func (s *Standard) breakOff(why string) {
	s.spell++
	s.breaks++
	s.lapsed = lapse{s.scale.at, why}
	s.found, s.disputed, s.drift = nil, false, nil
	for _, v := range s.servers {
		v.samples, v.weighed, v.used, v.false = nil, false, false, false
	}
	s.worded.stale = true
	s.roundAtOnce()
}

func (s *Standard) roundAtOnce() {
	select {
	case s.wake <- struct{}{}:
	default:
	}
}

// utc returns UTC as well as it is known.
func (s *Standard) utc(now time.Duration) time.Time {
	if s.found == nil {
		return s.scale.time(now).Add(s.scale.ahead) // the computer's clock
	}
	return s.scale.time(now).Add(duration(s.found.offsetS))
}

func duration(seconds float64) time.Duration { return time.Duration(seconds * float64(time.Second)) }

func (s *Standard) readingAt(now time.Duration) Reading {
	r := Reading{UTC: s.utc(now), Spell: s.spell}
	switch {
	case s.found != nil:
		r.OffsetS = s.found.offsetS - s.scale.ahead.Seconds()
		if !s.disputed {
			r.Known, r.BoundS = true, s.found.boundS(now)
		}
	case s.lapsed.why == "" || len(s.servers) == 0:
		r.BoundS, r.Known = s.keptBySystem(now)
	}
	taken := s.found == nil && !r.Known && s.options.TakenS > 0
	if taken {
		r.BoundS, r.Known = s.options.TakenS, true
	}
	s.word(now, r.UTC, r.Known, taken)
	r.Source, r.Remarks = s.worded.source, s.worded.remarks
	return r
}

// keptBySystem returns the bound of the computer's clock by the system's own
// account, asked for at most once a second.
func (s *Standard) keptBySystem(now time.Duration) (float64, bool) {
	if k := s.kept; k.asked && now-k.at < time.Second {
		return k.boundS, k.ok
	}
	k := keptReport{at: now, asked: true}
	if k.boundS, k.ok = s.scale.kept(); k.ok {
		k.boundS = max(k.boundS, s.scale.stepS)
	} else {
		k.boundS = 0
	}
	s.kept = k
	return k.boundS, k.ok
}

// State returns the standard with each of its sources.
func (s *Standard) State() State {
	if s.plain != nil {
		state := State{Reading: s.Read()}
		state.LeapList = leapList(ListOfProgram, state.UTC)
		return state
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	now := s.look()
	state := State{Reading: s.readingAt(now)}
	state.Remarks = slices.Clone(state.Remarks)
	state.LeapList = leapList(s.options.List, state.UTC)
	if !s.leapAt.IsZero() {
		state.NextLeap = s.leapAt
	}
	if s.asked {
		state.Polled = state.UTC.Add(s.polled - now)
	}
	for _, v := range s.servers {
		state.Sources = append(state.Sources, s.source(v, now, state.UTC))
	}
	return state
}

func leapList(from string, utc time.Time) LeapList {
	l := timescale.Current()
	next, _ := l.Next(utc)
	return LeapList{ListFrom: from, ListExpires: l.Expires, ListExpired: utc.After(l.Expires), NextLeap: next}
}

// source returns what one server says.
func (s *Standard) source(v *server, now time.Duration, utc time.Time) Source {
	out := Source{Name: v.name, Polls: v.polls, Answered: v.answered, Reached: s.reached(v, now)}
	out.Used, out.False = v.used && out.Reached, v.false && out.Reached
	if v.everSaid {
		out.Heard = utc.Add(v.heard - now)
	}
	if v.weighed {
		out.OffsetS = v.best.offsetS - s.scale.ahead.Seconds()
		out.DelayS = v.best.from.delayS
		out.Stratum = v.best.stratum
		out.BoundS = v.bestS + s.tolerance()*(now-s.weighed).Seconds()
	}
	if !out.Used {
		out.Trouble = s.trouble(v, now)
	}
	return out
}

// reached reports whether a server has answered within the last polls.
func (s *Standard) reached(v *server, now time.Duration) bool {
	return len(v.samples) > 0 && now-v.heard <= reachedFor*s.options.Every
}

// tolerance returns how fast the scale may drift, s/s. A clock that the kernel
// says is disciplined, or whose drift was measured and found small, is as
// steady as RFC 5905 assumes; of any other the measured drift and its doubt
// are assumed, or what an ordinary crystal does if that is less or nothing was
// measured yet. A drift that is certainly worse than that is not cut off.
func (s *Standard) tolerance() float64 {
	if _, ok := s.keptBySystem(s.scale.at); ok {
		return steadyTolerance
	}
	drift, doubt, ok := s.measuredDrift()
	if !ok {
		return plainTolerance
	}
	most := max(drift+doubt, steadyTolerance)
	if drift-doubt > plainTolerance {
		return most
	}
	return min(most, plainTolerance)
}

const (
	// driftApart is how far apart two agreements must be to tell the drift.
	driftApart = 10 * time.Minute
	// driftKept is how many of them are kept.
	driftKept = 12
)

// measuredDrift returns the size of the drift of the scale, s/s, and the most
// it can be wrong by, from the last agreement and the one before that leaves
// the least doubt.
func (s *Standard) measuredDrift() (size, doubt float64, ok bool) {
	if len(s.drift) == 0 {
		return 0, 0, false
	}
	last := s.drift[len(s.drift)-1]
	for _, f := range s.drift {
		apart := (last.at - f.at).Seconds()
		if apart < driftApart.Seconds() {
			break
		}
		if d := (f.halfS + last.halfS) / apart; !ok || d < doubt {
			size, doubt, ok = math.Abs(last.offsetS-f.offsetS)/apart, d, true
		}
	}
	return size, doubt, ok
}

// Run asks the servers until ctx ends; it returns at once if there are none.
func (s *Standard) Run(ctx context.Context) {
	if len(s.servers) == 0 {
		return
	}
	s.ask(ctx)
}

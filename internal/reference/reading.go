package reference

import "time"

// MostBoundS is the widest bound of UTC, s, with which a comparison is made.
const MostBoundS = 0.1

// Reading is UTC at one instant, with the bound within which it holds.
type Reading struct {
	UTC     time.Time // to the nanosecond, without a monotonic part
	OffsetS float64   // UTC minus this computer's clock, s: add it to that clock
	BoundS  float64   // UTC is within this of the truth, s; 0 if Known is false
	Known   bool      // a bound is known
	Source  string    // where UTC comes from, in words: "three servers agree"
	Spell   int       // counts the times the scale was broken off; instants of different spells do not belong together
	Remarks []string  // what a keeper must know, in words, such as an announced leap second
}

// Fit reports whether the reading is good enough to compare a dial with.
func (r Reading) Fit() bool { return r.Known && r.BoundS <= MostBoundS }

// Source is what one server says.
type Source struct {
	Name     string // as it was configured: host or host:port
	Heard    time.Time
	Reached  bool    // it has answered lately
	OffsetS  float64 // UTC by this server minus this computer's clock, s
	DelayS   float64 // of the exchange that is used, s
	BoundS   float64 // root distance now, s
	Stratum  int
	Used     bool   // its interval helped to find UTC
	False    bool   // it contradicts the others
	Trouble  string // why it is not used, in words; empty if it is
	Polls    int    // exchanges asked for
	Answered int    // exchanges answered
}

// State is the standard with each of its sources.
type State struct {
	Reading
	Sources []Source
	Polled  time.Time // when servers were last asked; zero: never
	LeapList
}

// LeapList is which table of leap seconds is in use.
type LeapList struct {
	ListFrom    string    // ListOfSystem or ListOfProgram
	ListExpires time.Time // until when it is known to be complete
	ListExpired bool
	NextLeap    time.Time // an announced leap second ends just before this instant; zero: none is
}

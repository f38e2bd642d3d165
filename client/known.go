package client

import "time"

// Room is every instrument, the most urgent first.
type Room struct {
	Now         time.Time    `json:"now"`
	Pending     int          `json:"pending"` // how many are still being rated
	Instruments []Instrument `json:"instruments"`
}

// Instrument is what is known of an instrument now.
type Instrument struct {
	ID            string     `json:"id"`
	Number        string     `json:"number"`
	Maker         string     `json:"maker"`
	Make          string     `json:"make"`
	Beat          string     `json:"beat"`
	Dial          string     `json:"dial"`
	GoingH        float64    `json:"going_h"`
	Owner         *Named     `json:"owner"`
	Motion        string     `json:"motion"` // going, stopped or balance held
	MotionSince   *time.Time `json:"motion_since"`
	Station       string     `json:"station"`
	StationSince  *time.Time `json:"station_since"`
	Position      string     `json:"position"`
	LastCompared  *time.Time `json:"last_compared"`
	LastWound     *time.Time `json:"last_wound"`
	ErrorNow      *ErrorAt   `json:"error_now"` // nil unless it goes and is known
	ErrorIn30Days *ErrorAt   `json:"error_in_30_days"`
	Rate          *DailyRate `json:"rate"` // at the temperature and in the position of late
	Steadiness    *float64   `json:"steadiness_s_per_day"`
	SteadinessSD  *float64   `json:"steadiness_sd_s_per_day"`
	Next          []Action   `json:"next"`
	Pending       bool       `json:"pending"` // still being rated; ask again
	Why           string     `json:"why"`     // why there are no figures

	// Given where one instrument is asked for.
	Particulars *Particulars `json:"particulars,omitempty"`
	Entries     int          `json:"entries,omitempty"`
}

// Particulars is what is engraved on an instrument and known of its make.
type Particulars struct {
	Number       string  `json:"number"`
	Maker        string  `json:"maker,omitempty"`
	Make         string  `json:"make"`
	Beat         string  `json:"beat"`
	Dial         string  `json:"dial"`
	GoingH       float64 `json:"going_h"`
	UpDown       bool    `json:"up_down,omitempty"`
	BalanceBrake bool    `json:"balance_brake,omitempty"`
	Gimbals      bool    `json:"gimbals,omitempty"`
	Box          string  `json:"box,omitempty"`
	WeightKG     float64 `json:"weight_kg,omitempty"`
	Owner        string  `json:"owner,omitempty"` // the id of one
	Notes        string  `json:"notes,omitempty"`
}

// Named is an owner by name.
type Named struct {
	ID   string `json:"id"`
	Name string `json:"name"`
}

// Action is one thing to do next.
type Action struct {
	Verb string     `json:"verb"`
	Kind string     `json:"kind"` // of the entry that doing it writes; empty: look
	Say  string     `json:"say"`
	Due  *time.Time `json:"due"` // nil: now
	Late bool       `json:"late"`
	Stop bool       `json:"stop"` // a warning
}

// Owner is an owner with the instruments entered under the name.
type Owner struct {
	ID          string            `json:"id"`
	Name        string            `json:"name"`
	Place       string            `json:"place"`
	Contact     string            `json:"contact"`
	Notes       string            `json:"notes"`
	Instruments []NamedInstrument `json:"instruments"`
}

// NamedInstrument is an instrument by its number.
type NamedInstrument struct {
	ID     string `json:"id"`
	Number string `json:"number"`
	Maker  string `json:"maker"`
}

type owners struct {
	Owners []Owner `json:"owners"`
}

// Entry is one line of a logbook.
type Entry struct {
	ID      string         `json:"id"`
	At      time.Time      `json:"at"`      // when it happened
	Written time.Time      `json:"written"` // when it was written down
	By      string         `json:"by"`
	Kind    string         `json:"kind"`
	Fact    map[string]any `json:"fact"` // its fields by name; numbers are float64
	Words   string         `json:"words"`
	Struck  *Struck        `json:"struck_out"` // nil if it stands
}

// Struck says who struck an entry out, when and why.
type Struck struct {
	Entry   string    `json:"entry"` // the entry that strikes it out
	Written time.Time `json:"written"`
	By      string    `json:"by"`
	Why     string    `json:"why"`
}

type entries struct {
	Entries []Entry `json:"entries"`
	More    bool    `json:"more"`
}

// NewEntry is an entry to write.
type NewEntry struct {
	At   time.Time      `json:"at"`
	By   string         `json:"by"`
	Kind string         `json:"kind"`
	Fact map[string]any `json:"fact"` // its fields by name, as Kinds gives them
}

// Kind is a kind of entry and the form of its fact.
type Kind struct {
	Kind   string  `json:"kind"`
	Title  string  `json:"title"`
	About  string  `json:"about"`
	Fields []Field `json:"fields"`
}

// Field is one field of a fact.
type Field struct {
	Name    string   `json:"name"`
	Label   string   `json:"label"`
	Type    string   `json:"type"`
	Unit    string   `json:"unit"`
	Hint    string   `json:"hint"`
	Choices []string `json:"choices"`
	Needed  bool     `json:"needed"`
}

type kinds struct {
	Kinds []Kind `json:"kinds"`
}

type imported struct {
	New int `json:"new"`
}

// Preview is what a comparison file would bring in.
type Preview struct {
	Rows     int        `json:"rows"`
	New      int        `json:"new"`       // entries that would be written
	Held     int        `json:"held"`      // entries that the logbook holds already
	Remarks  []string   `json:"remarks"`   // how the file was read
	SetAside []SetAside `json:"set_aside"` // among the new, by line
	Rating   *Rating    `json:"rating"`    // of the logbook with the new entries
	Why      string     `json:"why"`       // why there is none
}

// Standard is where UTC comes from and how well it is known.
type Standard struct {
	UTC         time.Time   `json:"utc"`
	BoundS      *float64    `json:"bound_s"`  // UTC is within this of the field UTC; nil: not known
	OffsetS     float64     `json:"offset_s"` // UTC minus the clock of the computer
	Fit         bool        `json:"fit"`      // good enough to compare a dial with
	Source      string      `json:"source"`
	Remarks     []string    `json:"remarks"`
	Servers     []Server    `json:"servers"`
	Polled      *time.Time  `json:"polled"`
	LeapSeconds LeapSeconds `json:"leap_seconds"`
}

// Server is what one server says of the time.
type Server struct {
	Name     string     `json:"name"`
	Heard    *time.Time `json:"heard"`
	OffsetS  float64    `json:"offset_s"`
	DelayS   float64    `json:"delay_s"`
	BoundS   float64    `json:"bound_s"`
	Stratum  int        `json:"stratum"`
	Used     bool       `json:"used"`
	False    bool       `json:"false"` // it contradicts the others
	Verdict  string     `json:"verdict"`
	Polls    int        `json:"polls"`
	Answered int        `json:"answered"`
}

// LeapSeconds is which table of leap seconds is in use.
type LeapSeconds struct {
	From    string     `json:"from"`
	Expires *time.Time `json:"expires"`
	Expired bool       `json:"expired"`
	Next    *time.Time `json:"next"` // one is announced just before this instant
}

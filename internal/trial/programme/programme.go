// Package programme is what a trial asks of a chronometer: periods of days in a
// position at a temperature, and criteria computed from the daily rates, each
// with the limits it must keep.
//
// A programme is a text that a keeper can read and write. Rates are in s/d,
// + gaining; temperatures in °C.
package programme

// Programme is what a trial asks: its periods one after another, and the
// criteria computed from the daily rates.
type Programme struct {
	Name      string  // as it is called in words
	About     string  // what it is for, a sentence
	Source    string  // where periods and limits come from
	SettlingH float64 // wound and in place before the first reading, h
	WithinH   float64 // how far from the hour of the first reading the others may fall, h
	WithinC   float64 // how far from its temperature a period may be, °C
	Periods   []Period
	Criteria  []Criterion
	Text      string // as it was read
}

// Period is some days in one position at one temperature.
type Period struct {
	Name       string   // empty: numbered
	Days       int      // of 24 h
	TempC      *float64 // nil: as the room is
	Position   string   // in the words of the logbook; empty: as it lies
	WindEveryH float64  // 0: 24
	Apart      bool     // to come to temperature: no criterion counts its days unless it names the period
}

package chronometer

import (
	"fmt"
	"math"
	"strings"

	"timeball/internal/clock"
)

// Make is the kind of instrument.
type Make string

// The kinds of instrument.
const (
	BoxChronometer    Make = "box chronometer"
	DeckWatch         Make = "deck watch"
	PocketChronometer Make = "pocket chronometer"
)

// Choices returns the kinds of instrument.
func (Make) Choices() []string {
	return []string{string(BoxChronometer), string(DeckWatch), string(PocketChronometer)}
}

// Beat is the step of the seconds hand.
type Beat string

// The beats in use: a half-second chronometer gives 7,200 an hour, a lever
// watch of 18,000 vibrations an hour steps by the fifth of a second.
const (
	HalfSecond    Beat = "half-second"
	QuarterSecond Beat = "quarter-second"
	FifthSecond   Beat = "fifth-second"
	OtherBeat     Beat = "other"
)

// Choices returns the beats.
func (Beat) Choices() []string {
	return []string{string(HalfSecond), string(QuarterSecond), string(FifthSecond), string(OtherBeat)}
}

// Seconds returns the step in seconds, 0 if it is not known.
func (b Beat) Seconds() float64 {
	switch b {
	case HalfSecond:
		return 0.5
	case QuarterSecond:
		return 0.25
	case FifthSecond:
		return 0.2
	}
	return 0
}

// Hours is a dial of twelve or twenty-four hours, as text.
type Hours string

// The dials.
const (
	Twelve     Hours = "12 h"
	TwentyFour Hours = "24 h"
)

// Choices returns the dials.
func (Hours) Choices() []string { return []string{string(Twelve), string(TwentyFour)} }

// Instrument is what is engraved on an instrument and known of its make.
type Instrument struct {
	Number       string  `json:"number" label:"Number" hint:"as engraved, with its letters and leading noughts" need:"yes"`
	Maker        string  `json:"maker,omitempty" label:"Maker's name" hint:"as engraved"`
	Make         Make    `json:"make" label:"Instrument" need:"yes"`
	Beat         Beat    `json:"beat" label:"Beat" need:"yes"`
	Dial         Hours   `json:"dial" label:"Dial" need:"yes"`
	GoingH       float64 `json:"going_h" label:"Goes for" unit:"h" hint:"56 for a two-day, 192 for an eight-day" need:"yes"`
	UpDown       bool    `json:"up_down,omitempty" label:"Up-and-down dial"`
	BalanceBrake bool    `json:"balance_brake,omitempty" label:"Balance brake"`
	Gimbals      bool    `json:"gimbals,omitempty" label:"Gimbals"`
	Luminous     Answer  `json:"luminous,omitempty" label:"Luminous paint on dial or hands" hint:"empty: not known, and taken to be radium"`
	Ivory        Answer  `json:"ivory,omitempty" label:"Ivory on it" hint:"a name plate of the box; empty: not known"`
	DarkWood     Answer  `json:"dark_wood,omitempty" label:"Rosewood, or dark wood not known to be another" hint:"empty: not known"`
	Keyway       string  `json:"keyway,omitempty" label:"Keyway" hint:"where movement and bowl key together"`
	Box          string  `json:"box,omitempty" label:"Box" hint:"wood, tiers, size"`
	WeightKG     float64 `json:"weight_kg,omitempty" label:"Weight with box" unit:"kg"`
	Owner        ID      `json:"owner,omitempty" label:"Owner"`
	LimitS       float64 `json:"limit_s,omitempty" label:"Most it may be fast or slow" unit:"s" hint:"the owner's limit; 30 unless said"`
	Notes        string  `json:"notes,omitempty" label:"Notes"`
}

// Kind returns KindEntered.
func (Instrument) Kind() Kind { return KindEntered }

// Words returns the make of the instrument as a phrase.
func (i Instrument) Words() string {
	return phrase("No. "+i.Number, i.Maker, i.Describe())
}

// Describe returns "two-day box chronometer, half-second beat, 24-hour dial".
func (i Instrument) Describe() string {
	beat := string(i.Beat) + " beat"
	if i.Beat == OtherBeat {
		beat = "unusual beat"
	}
	hours := "12-hour dial"
	if i.Dial == TwentyFour {
		hours = "24-hour dial"
	}
	return i.GoingWords() + " " + string(i.Make) + ", " + beat + ", " + hours
}

// GoingWords returns "two-day", "eight-day" or the hours.
func (i Instrument) GoingWords() string {
	switch {
	case i.GoingH >= 24 && i.GoingH < 48:
		return "one-day"
	case i.GoingH >= 48 && i.GoingH < 72:
		return "two-day"
	case i.GoingH >= 168 && i.GoingH <= 216:
		return "eight-day"
	}
	return number(i.GoingH) + "-hour"
}

// ErrorLimitS returns how fast or slow, in seconds, it may be before its minute
// hand is moved on: the owner's limit, or 30 s, half of the minute that the
// move gains.
func (i Instrument) ErrorLimitS() float64 {
	if i.LimitS > 0 {
		return i.LimitS
	}
	return usualLimitS
}

const usualLimitS = 30

// ClockDial returns the dial for calculation.
func (i Instrument) ClockDial() clock.Dial {
	if i.Dial == TwentyFour {
		return clock.TwentyFourHour
	}
	return clock.TwelveHour
}

// WindEveryH returns after how many hours it is wound: a two-day daily, an
// eight-day weekly (common practice, no source; daily at the same hour:
// Stechert, Das Marine-Chronometer (1894), §33).
func (i Instrument) WindEveryH() float64 {
	if i.GoingH >= 168 {
		return 168
	}
	return 24
}

// Fits returns nil if a fact can be told of the instrument: its dial shows
// what was read, and the minute hand, which must agree with the seconds hand,
// was moved by whole minutes.
func (i Instrument) Fits(f Fact) error {
	switch f := f.(type) {
	case Moved:
		if math.Mod(f.ByS, 60) != 0 {
			return fmt.Errorf("%w: %s s is not whole minutes, and the minute hand must agree with the seconds hand, which is never touched; move it by whole minutes, or write hands set if the amount is not known", ErrRefused, number(f.ByS))
		}
	case Compared:
		if r, ok := f.Reading(); ok && i.Dial == Twelve && r >= 13*3600 {
			return fmt.Errorf("%w: a dial of twelve hours does not show %s; write what it shows", ErrRefused, r)
		}
	}
	return nil
}

func (i Instrument) check() error {
	err := first(
		need("number", i.Number, "write it as engraved"), short("maker", i.Maker), short("box", i.Box), short("keyway", i.Keyway), short("notes", i.Notes),
		oneOf("luminous", i.Luminous, Answer("").Choices()), oneOf("ivory", i.Ivory, Answer("").Choices()), oneOf("dark_wood", i.DarkWood, Answer("").Choices()),
		oneOf("make", i.Make, Make("").Choices()), oneOf("beat", i.Beat, Beat("").Choices()), oneOf("dial", i.Dial, Hours("").Choices()),
		need("make", string(i.Make), "choose one"), need("beat", string(i.Beat), "choose one"), need("dial", string(i.Dial), "choose 12 h or 24 h"),
		within("going_h", i.GoingH, 12, 1000, "h"), within("weight_kg", i.WeightKG, 0, 200, "kg"), within("limit_s", i.LimitS, 0, 3600, "s"),
	)
	if err != nil {
		return err
	}
	if len(i.Number) > 40 || strings.ContainsAny(i.Number, "/\\\n\r\t") {
		return fmt.Errorf("number %.40q is longer than 40 letters or has a slash or a tab; write it as engraved, with a space or a dash for them", i.Number)
	}
	if i.Owner != "" {
		if _, err := ParseID(string(i.Owner)); err != nil {
			return fmt.Errorf("owner: %w", err)
		}
	}
	return nil
}

// Owner is a person or a house that owns instruments.
type Owner struct {
	Name    string `json:"name" label:"Name" need:"yes"`
	Place   string `json:"place,omitempty" label:"Place" hint:"port or town"`
	Contact string `json:"contact,omitempty" label:"Address, telephone, e-mail"`
	Zone    string `json:"zone,omitempty" label:"Time zone" hint:"for the calendar, such as Europe/Lisbon; empty: UTC"`
	WindAt  string `json:"wind_at,omitempty" label:"Winds at" hint:"hh:mm of the owner's clock; empty: 09:00"`
	Paper   Paper  `json:"paper,omitempty" label:"Paper" hint:"for printing at home; empty: as the workshop's"`
	Notes   string `json:"notes,omitempty" label:"Notes"`
}

// Kind returns KindOwner.
func (Owner) Kind() Kind { return KindOwner }

// Words returns the name and the place.
func (o Owner) Words() string { return phrase(o.Name, o.Place) }

func (o Owner) check() error {
	return first(need("name", o.Name, "write a person or a house"), short("place", o.Place), short("contact", o.Contact), short("notes", o.Notes),
		zone(o.Zone), hourOfDay("wind_at", o.WindAt), oneOf("paper", o.Paper, Paper("").Choices()))
}

package carriage

import (
	"errors"
	"fmt"
)

// ErrFittings marks fittings that no plan can be made from.
var ErrFittings = errors.New("the fittings do not do")

// Make is the kind of instrument.
type Make string

// The kinds of instrument.
const (
	BoxChronometer    Make = "box chronometer"
	DeckWatch         Make = "deck watch"
	PocketChronometer Make = "pocket chronometer"
)

// Makes returns the kinds of instrument.
func Makes() []Make { return []Make{BoxChronometer, DeckWatch, PocketChronometer} }

// Departure is how an instrument goes when it is to leave.
type Departure string

// The departures.
const (
	Going   Departure = "going"
	Stopped Departure = "stopped"  // at rest, with power left
	RunDown Departure = "run down" // at rest, no power left
)

// Departures returns the departures.
func Departures() []Departure { return []Departure{Going, Stopped, RunDown} }

// Fittings is what of one instrument decides the steps. What is not known of
// Luminous, IvoryPlate or DarkWood is to be given as true.
type Fittings struct {
	Make        Make      `json:"make"`
	Box         bool      `json:"box"`
	Gimbals     bool      `json:"gimbals"`
	Brake       bool      `json:"brake"`        // the balance is held from outside, by brake or stop lever
	UpDown      bool      `json:"up_down"`      // it has an up-and-down dial
	KeywayKnown bool      `json:"keyway_known"` // where movement and bowl key together is on record
	Luminous    bool      `json:"luminous"`     // luminous paint on dial or hands
	IvoryPlate  bool      `json:"ivory_plate"`
	DarkWood    bool      `json:"dark_wood"` // rosewood, or dark wood not known to be another
	OnDeparture Departure `json:"on_departure"`
	ByHand      bool      `json:"by_hand"`   // carried all the way by hand
	WeightKG    float64   `json:"weight_kg"` // with its box, kg; 0: not known
	GoingH      float64   `json:"going_h"`   // from full wind to run down, h
}

// Check returns nil if a plan can be made, or an error that wraps ErrFittings
// and names the field.
func (f Fittings) Check() error {
	switch {
	case !one(f.Make, Makes()):
		return fmt.Errorf("%w: make %.40q is unknown; write box chronometer, deck watch or pocket chronometer", ErrFittings, f.Make)
	case !one(f.OnDeparture, Departures()):
		return fmt.Errorf("%w: on_departure %.40q is unknown; write going, stopped or run down", ErrFittings, f.OnDeparture)
	case !(f.GoingH >= 12 && f.GoingH <= 1000):
		return fmt.Errorf("%w: going_h %g is not from 12 to 1000 hours; write how long it goes on a full wind, 56 for a two-day", ErrFittings, f.GoingH)
	case !(f.WeightKG >= 0 && f.WeightKG <= 200):
		return fmt.Errorf("%w: weight_kg %g is not from 0 to 200 kg; write its weight with the box, or 0 if not known", ErrFittings, f.WeightKG)
	}
	return nil
}

func one[T comparable](v T, of []T) bool {
	for _, o := range of {
		if v == o {
			return true
		}
	}
	return false
}

// GoesGoing reports whether it travels by hand and going, in its own
// gimbals if it has them: only what goes when it leaves. All else has its
// balance held, whoever carries it.
func (f Fittings) GoesGoing() bool { return f.ByHand && f.OnDeparture == Going }

// heavyKG is the weight from which a second person is asked for (common
// practice, no source).
const heavyKG = 5

// The facets of the fittings that choose between steps, and their values.
var facets = map[string][]string{
	"form":   {"bowl", "watch"},
	"start":  {"turn", "release"},              // a detent needs a turn, the lever of a deck watch starts when let go
	"access": {"inside", "brake", "licensed"},  // how the balance is reached
	"mount":  {"gimbals", "box", "none"},       // where it stands
	"box":    {"yes", "no"},                    //
	"depart": {"going", "stopped", "run down"}, //
	"way":    {"carrier", "hand"},              // hand: going, never held
	"updown": {"yes", "no"},
	"keyway": {"known", "unknown"},
	"closed": {"yes", "no"}, // yes: whoever is not licensed does not open it
	"paint":  {"yes", "no"},
	"ivory":  {"yes", "no"},
	"wood":   {"yes", "no"},
	"days":   {"two", "other"},
	"heavy":  {"yes", "no"},
}

func yes(b bool) string { return pick(b, "yes", "no") }

func pick(b bool, is, not string) string {
	if b {
		return is
	}
	return not
}

// facets returns the value of every facet.
func (f Fittings) facets() map[string]string {
	watch := f.Make != BoxChronometer
	closed := watch || f.Luminous
	access := "inside"
	switch {
	case f.Brake:
		access = "brake"
	case closed:
		access = "licensed"
	}
	mount := "none"
	switch {
	case f.Gimbals:
		mount = "gimbals"
	case f.Box:
		mount = "box"
	}
	return map[string]string{
		"form": pick(watch, "watch", "bowl"), "start": pick(f.Make == DeckWatch, "release", "turn"), "access": access, "mount": mount,
		"box": yes(f.Box), "depart": string(f.OnDeparture), "way": pick(f.GoesGoing(), "hand", "carrier"), "updown": yes(f.UpDown),
		"keyway": pick(f.KeywayKnown, "known", "unknown"), "closed": yes(closed), "paint": yes(f.Luminous), "ivory": yes(f.IvoryPlate),
		"wood": yes(f.DarkWood), "days": pick(twoDay(f.GoingH), "two", "other"), "heavy": yes(f.WeightKG >= heavyKG),
	}
}

func twoDay(goingH float64) bool { return goingH >= 48 && goingH < 72 }

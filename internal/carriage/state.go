package carriage

import (
	"slices"
	"strings"
)

// state names what matters of an instrument on its way, each with the values
// it may have, or has.
type state map[string][]string

// aspect is one thing that matters, its values in the order in which an
// instrument usually goes through them, and the words for each.
type aspect struct {
	name   string
	values []string
	words  []string
}

var aspects = []aspect{
	{"papers", []string{"open", "settled"}, []string{"the papers open", "the papers settled"}},
	{"paint", []string{"open", "asked"}, []string{"luminous paint not asked about", "luminous paint asked about"}},
	{"ivory", []string{"open", "asked"}, []string{"ivory not asked about", "ivory asked about"}},
	{"wood", []string{"open", "asked"}, []string{"wood not asked about", "wood asked about"}},
	{"pictured", []string{"no", "yes"}, []string{"not photographed", "photographed as it was"}},
	{"bowl", []string{"gimbals", "box", "bench", "wrapped", "inner_box"},
		[]string{"in the gimbals", "in its box", "on the soft ring", "wrapped", "in the inner box"}},
	{"latch", []string{"free", "locked"}, []string{"gimbals free", "gimbals latched"}},
	{"nut", []string{"tight", "loose"}, []string{"lock nut tight", "one lock nut free"}},
	{"screw", []string{"home", "out", "parked"}, []string{"pivot screw home", "one pivot screw withdrawn", "the screw kept in its place in the ring"}},
	{"bezel", []string{"on", "off"}, []string{"bezel on", "bezel off"}},
	{"movement", []string{"bowl", "stand"}, []string{"movement in the bowl", "movement on the stand"}},
	{"keyway", []string{"unknown", "noted"}, []string{"keyway not known", "keyway noted"}},
	{"balance", []string{"going", "stopped", "held"}, []string{"going", "balance at rest", "balance held"}},
	{"lockseen", []string{"no", "yes"}, []string{"lock not seen", "a tooth seen locked"}},
	{"wind", []string{"any", "down", "middle", "full"}, []string{"wind not known", "run down", "some wind left", "wound to the stop"}},
	{"compared", []string{"no", "yes"}, []string{"not compared", "last comparison taken"}},
	{"table", []string{"no", "ready"}, []string{"no table", "a cleared table without magnets"}},
	{"box", []string{"with", "separate"}, []string{"box and key with it", "box and key apart"}},
	{"parcel", []string{"none", "sealed", "open"}, []string{"no parcel", "parcel closed", "parcel open"}},
	{"hand", []string{"no", "closed", "carried", "open"}, []string{"not made ready", "closed, ready to be carried", "arrived, still closed", "opened"}},
	{"outside", []string{"no", "seen"}, []string{"outside not seen", "outside seen and photographed"}},
	{"temp", []string{"unknown", "room"}, []string{"warmth not known", "as warm as the room"}},
	{"same", []string{"no", "known"}, []string{"dial not compared", "known whether it was held all the way"}},
	{"examined", []string{"no", "yes"}, []string{"not examined", "examined"}},
	{"leave", []string{"no", "yes"}, []string{"leave not asked", "the keeper's leave to start it"}},
	{"hands", []string{"old", "set", "waited", "licensed"},
		[]string{"hands as they came", "hands set", "hands right for the instant chosen", "hands set by a licensed person"}},
	{"cased", []string{"no", "yes"}, []string{"not at its place", "at its place"}},
	{"compared_after", []string{"no", "yes"}, []string{"not compared", "compared at its place"}},
}

// word returns the words for one value.
func (a aspect) word(value string) string {
	if i := slices.Index(a.values, value); i >= 0 {
		return a.words[i]
	}
	return value
}

// needed returns the states as phrases, one for each aspect.
func (s state) needed() []string {
	var all []string
	for _, a := range aspects {
		values, ok := s[a.name]
		if !ok {
			continue
		}
		words := make([]string, len(values))
		for i, v := range values {
			words[i] = a.word(v)
		}
		all = append(all, strings.Join(words, " or "))
	}
	return all
}

// left returns the states as one phrase.
func (s state) left() string { return strings.Join(s.needed(), ", ") }

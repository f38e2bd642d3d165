// Package carriage holds the order of work for sending a chronometer and
// getting it back alive: the steps of one instrument, worked out from its
// fittings, and what its dial says on arrival.
//
// A step names the state of the instrument that it needs and the state that it
// leaves, so that no order of ticks that is allowed can carry a free balance,
// open a luminous dial, or start what is not yet closed and set. Each step says
// what it rests on: a text, a derivation, or the practice of the trade. The
// main texts are A. J. Kenealy, Yachting Wrinkles (1899), and W. J. Morris, The
// Mariner's Chronometer, "Getting started" (2013).
package carriage

// Phase is one of the four parts of a journey; its text stands on pages.
type Phase string

// The phases in their order. Each begins when the one before is done.
const (
	Prepare Phase = "prepare" // where it stands: balance held, out of the gimbals, closed
	Pack    Phase = "pack"    // wrapped, cushioned, handed over
	Receive Phase = "receive" // photographed, warmed closed, opened, examined
	Case    Phase = "case"    // back in its box, set, started, compared
)

// Phases returns the four phases in their order.
func Phases() []Phase { return []Phase{Prepare, Pack, Receive, Case} }

// ID names a step; it never changes its meaning.
type ID string

// Kind is the kind of logbook entry that a step ends in; empty: none.
type Kind string

// The kinds of entry that a step can end in.
const (
	Placed      Kind = "placed"
	Held        Kind = "balance held"
	Released    Kind = "balance released"
	FromGimbals Kind = "out of gimbals"
	IntoGimbals Kind = "into gimbals"
	Packed      Kind = "packed"
	Sent        Kind = "sent"
	Received    Kind = "received"
	Carried     Kind = "carried"
	Found       Kind = "found"
	Photograph  Kind = "photograph"
	Cased       Kind = "cased"
	Started     Kind = "started"
	Compared    Kind = "compared"
	Wound       Kind = "wound"
	Note        Kind = "note"
)

func kinds() []Kind {
	return []Kind{Placed, Held, Released, FromGimbals, IntoGimbals, Packed, Sent, Received, Carried, Found, Photograph, Cased, Started, Compared, Wound, Note}
}

// Drawing names the drawing that goes with a step; empty: none.
type Drawing string

// The drawings.
const (
	Bowl         Drawing = "bowl"          // bowl, ring, box and latch
	GimbalScrews Drawing = "gimbal-screws" // the two pivot screws and their lock nuts
	WedgeStrips  Drawing = "wedge-strips"  // two folded strips under the rim
	Keyway       Drawing = "keyway"        // movement, key and winding hole
	BezelThread  Drawing = "bezel-thread"  // backwards until the thread drops
	InnerBox     Drawing = "inner-box"     // bowl, inner box, cushion, outer box
)

// Drawings returns the names of all drawings.
func Drawings() []Drawing {
	return []Drawing{Bowl, GimbalScrews, WedgeStrips, Keyway, BezelThread, InnerBox}
}

// NoSource is the Basis of a step that rests on the practice of the trade alone.
const NoSource = "common practice, no source"

// Step is one thing to be done to one instrument.
type Step struct {
	ID         ID       `json:"id"`
	Phase      Phase    `json:"phase"`
	Title      string   `json:"title"`
	Do         []string `json:"do"`               // sentences, in order
	Needs      []string `json:"needs,omitempty"`  // tools, and the state it must find
	After      []ID     `json:"after,omitempty"`  // steps of the same plan that come first
	Leaves     string   `json:"leaves,omitempty"` // the state it leaves
	Harm       string   `json:"harm"`             // what goes wrong without it
	Check      string   `json:"check"`            // how to see that it is done
	Record     Kind     `json:"record,omitempty"`
	Write      string   `json:"write,omitempty"` // what the entry says
	Basis      string   `json:"basis"`           // the text or derivation, or NoSource
	Cautions   []string `json:"cautions,omitempty"`
	Drawing    Drawing  `json:"drawing,omitempty"`
	Photograph bool     `json:"photograph,omitempty"` // a picture is wanted

	pre, post state
}

// Texts returns every sentence of the step.
func (s Step) Texts() []string {
	all := []string{s.Title}
	all = append(all, s.Do...)
	all = append(all, s.Needs...)
	all = append(all, s.Leaves, s.Harm, s.Check, s.Write, s.Basis)
	return append(all, s.Cautions...)
}

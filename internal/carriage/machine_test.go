package carriage

import (
	"fmt"
	"math/bits"
	"slices"
	"strings"
	"testing"
)

// physical is where an instrument is, one small number for each aspect.
type physical [32]uint8

// names of the aspects that the rules below speak of.
var at = func() map[string]int {
	m := make(map[string]int)
	for i, a := range aspects {
		m[a.name] = i
	}
	return m
}()

func value(name, word string) uint8 {
	i := slices.Index(aspects[at[name]].values, word)
	if i < 0 {
		panic("no value " + word + " of " + name)
	}
	return uint8(i)
}

// is reports whether an aspect has one of the values.
func (p *physical) is(name string, words ...string) bool {
	i, ok := at[name]
	if !ok {
		panic("no aspect " + name)
	}
	for _, w := range words {
		value(name, w) // a slip of the pen must not keep a rule
	}
	return slices.Contains(words, aspects[i].values[p[i]])
}

func (p *physical) put(name, word string) { p[at[name]] = value(name, word) }

// start is how an instrument stands before anything is done.
func start(f Fittings) physical {
	var p physical // the first value of every aspect
	switch {
	case f.Gimbals:
	case f.Box:
		p.put("bowl", "box")
	default:
		p.put("bowl", "bench")
	}
	if f.KeywayKnown {
		p.put("keyway", "noted")
	}
	switch f.OnDeparture {
	case Going:
		p.put("balance", "going")
	case Stopped:
		p.put("balance", "stopped")
	case RunDown:
		p.put("balance", "stopped")
		p.put("wind", "down")
	}
	return p
}

// rule is a combination or a change of states that must never be. It returns
// whether the rule is kept. The rules are those of the order of work for a boxed
// chronometer (source in testdata/order.json), and for other fittings follow
// from the same harms.
type rule struct {
	say  string
	kept func(f Fittings, was, now *physical) bool
}

func implies(a, b bool) bool { return !a || b }

func closedCase(f Fittings) bool { return f.Luminous || f.Make != BoxChronometer }

var never = []rule{
	{"movement out while the bezel is on", func(_ Fittings, _, n *physical) bool {
		return implies(n.is("movement", "stand"), n.is("bezel", "off"))
	}},
	{"a carrier gets it with the balance free, open, in its gimbals or with its box", func(_ Fittings, _, n *physical) bool {
		return implies(n.is("parcel", "sealed"), n.is("balance", "held") && n.is("bezel", "on") && n.is("movement", "bowl") && n.is("bowl", "inner_box") && n.is("box", "separate"))
	}},
	{"a carrier gets it run down or fully wound", func(_ Fittings, _, n *physical) bool {
		return implies(n.is("parcel", "sealed"), n.is("wind", "middle"))
	}},
	{"a carrier gets it with no lock seen, where it can be seen", func(f Fittings, _, n *physical) bool {
		return implies(n.is("parcel", "sealed") && !f.Brake, n.is("lockseen", "yes"))
	}},
	{"it leaves with papers open", func(f Fittings, _, n *physical) bool {
		return implies(n.is("parcel", "sealed") || n.is("hand", "closed", "carried"), n.is("papers", "settled") &&
			implies(f.Luminous, n.is("paint", "asked")) && implies(f.IvoryPlate, n.is("ivory", "asked")) && implies(f.DarkWood, n.is("wood", "asked")))
	}},
	{"it leaves going and not compared", func(f Fittings, w, n *physical) bool {
		return implies(f.OnDeparture == Going && (n.is("parcel", "sealed") || n.is("hand", "carried")), n.is("compared", "yes"))
	}},
	{"compared at the start when it does not go", func(_ Fittings, w, n *physical) bool {
		return implies(w.is("compared", "no") && n.is("compared", "yes"), w.is("balance", "going"))
	}},
	{"opened cold", func(_ Fittings, _, n *physical) bool {
		return implies(n.is("parcel", "open") || n.is("hand", "open"), n.is("temp", "room"))
	}},
	{"opened before the outside was seen", func(_ Fittings, _, n *physical) bool {
		return implies(n.is("parcel", "open") || n.is("hand", "open"), n.is("outside", "seen"))
	}},
	{"an open bowl in the gimbals or in its box", func(_ Fittings, _, n *physical) bool {
		return implies(n.is("bowl", "gimbals", "box"), n.is("bezel", "on"))
	}},
	{"wrapped with the balance free or the bezel off", func(_ Fittings, _, n *physical) bool {
		return implies(n.is("bowl", "wrapped", "inner_box"), n.is("balance", "held") && n.is("bezel", "on") && n.is("movement", "bowl"))
	}},
	{"carried by hand with gimbals free, open, not going or not wound", func(f Fittings, _, n *physical) bool {
		return implies(n.is("hand", "closed", "carried"), n.is("balance", "going") && n.is("bezel", "on") && n.is("wind", "full") && implies(f.Gimbals, n.is("latch", "locked")))
	}},
	{"opened by somebody who may not", func(f Fittings, _, n *physical) bool {
		return implies(closedCase(f), n.is("bezel", "on") && n.is("movement", "bowl"))
	}},
	{"gimbals free with the pivots undone", func(_ Fittings, _, n *physical) bool {
		return implies(n.is("bowl", "gimbals") && n.is("latch", "free"), n.is("screw", "home") && n.is("nut", "tight"))
	}},
	{"started before it is closed, set, wound, unpacked, read and examined", func(_ Fittings, w, n *physical) bool {
		return implies(!w.is("balance", "going") && n.is("balance", "going"), w.is("bezel", "on") && w.is("movement", "bowl") && !w.is("hands", "old") &&
			w.is("wind", "full") && w.is("parcel", "open") && w.is("bowl", "bench") && w.is("same", "known") && w.is("examined", "yes"))
	}},
	{"started without leave though it did not go when it left", func(f Fittings, w, n *physical) bool {
		return implies(f.OnDeparture != Going && !w.is("balance", "going") && n.is("balance", "going"), w.is("leave", "yes"))
	}},
	{"opened or released on arrival without leave though it did not go when it left", func(f Fittings, w, n *physical) bool {
		return implies(f.OnDeparture != Going && w.is("parcel", "open") && (n.is("bezel", "off") || !n.is("balance", "held")), w.is("leave", "yes"))
	}},
	{"hands moved with the bezel on, or while it goes", func(f Fittings, w, n *physical) bool {
		moved := w.is("hands", "old") && n.is("hands", "set")
		return implies(moved, w.is("bezel", "off") && !w.is("balance", "going") && w.is("movement", "bowl") && !closedCase(f))
	}},
	{"bezel put on after arrival with hands not set", func(_ Fittings, w, n *physical) bool {
		return implies(w.is("parcel", "open") && w.is("bezel", "off") && n.is("bezel", "on"), w.is("hands", "set"))
	}},
	{"lifted from gimbals that swing, or with its screw in", func(f Fittings, w, n *physical) bool {
		return implies(w.is("bowl", "gimbals") && !n.is("bowl", "gimbals"), w.is("latch", "locked") && implies(f.Make == BoxChronometer, w.is("screw", "out")))
	}},
	{"put into gimbals that swing, or not going, or with the bezel off", func(_ Fittings, w, n *physical) bool {
		return implies(!w.is("bowl", "gimbals") && n.is("bowl", "gimbals"), w.is("latch", "locked") && w.is("balance", "going") && w.is("bezel", "on"))
	}},
	{"pivot screw withdrawn with gimbals free or its nut tight", func(_ Fittings, w, n *physical) bool {
		return implies(w.is("screw", "home") && n.is("screw", "out"), w.is("latch", "locked") && w.is("nut", "loose"))
	}},
	{"bowl on the bench with the screw lying about while it is opened or wrapped", func(_ Fittings, w, n *physical) bool {
		return implies(n.is("screw", "out"), n.is("bezel", "on") && n.is("bowl", "gimbals", "bench"))
	}},
	{"strips put to a balance that swings, or with the movement in the bowl", func(f Fittings, w, n *physical) bool {
		strips := !closedCase(f) && !f.Brake && !w.is("balance", "held") && n.is("balance", "held")
		return implies(strips, w.is("balance", "stopped") && w.is("movement", "stand"))
	}},
	{"balance stopped or released with the movement in the bowl, where it is reached inside", func(f Fittings, w, n *physical) bool {
		inside := !closedCase(f) && !f.Brake
		changed := !w.is("balance", "stopped") && n.is("balance", "stopped")
		return implies(inside && changed, w.is("movement", "stand"))
	}},
	{"balance let go before it has arrived, been read and examined", func(_ Fittings, w, n *physical) bool {
		return implies(w.is("balance", "held") && !n.is("balance", "held"), w.is("parcel", "open") && w.is("same", "known") && w.is("examined", "yes"))
	}},
	{"brake released before it is wound", func(f Fittings, w, n *physical) bool {
		return implies(f.Brake && w.is("balance", "held") && !n.is("balance", "held"), w.is("wind", "full"))
	}},
	{"wound with the bezel off, packed, or on arrival before the dial was read", func(_ Fittings, w, n *physical) bool {
		wound := !w.is("wind", "middle", "full") && n.is("wind", "full") || w.is("wind", "middle") && n.is("wind", "full") || w.is("wind", "down") && !n.is("wind", "down")
		return implies(wound, w.is("bezel", "on") && w.is("movement", "bowl") && !w.is("parcel", "sealed") && !w.is("bowl", "wrapped", "inner_box") &&
			implies(w.is("parcel", "open"), w.is("same", "known") && w.is("temp", "room")))
	}},
	{"wound run down with gimbals latched, where it is tipped for the key", func(f Fittings, w, n *physical) bool {
		return implies(w.is("wind", "down") && !n.is("wind", "down") && w.is("bowl", "gimbals"), w.is("latch", "free"))
	}},
	{"opened or taken out where there is no table without magnets", func(_ Fittings, w, n *physical) bool {
		loosed := w.is("bezel", "on") && n.is("bezel", "off") || w.is("nut", "tight") && n.is("nut", "loose") || w.is("movement", "bowl") && n.is("movement", "stand") || !w.is("bowl", "bench") && n.is("bowl", "bench") && w.is("parcel", "none")
		return implies(loosed, w.is("table", "ready"))
	}},
	{"touched before it was photographed as it was", func(_ Fittings, w, n *physical) bool {
		before := w.is("parcel", "none") && w.is("hand", "no")
		touched := *w != *n && (!n.is("bezel", "on") || n.is("latch", "locked") || n.is("balance", "held") || n.is("bowl", "wrapped") || n.is("wind", "middle") || n.is("box", "separate"))
		return implies(before && touched, n.is("pictured", "yes"))
	}},
	{"touched before the questions of its papers were asked", func(f Fittings, w, n *physical) bool {
		touched := !n.is("bezel", "on") || n.is("latch", "locked") || n.is("balance", "held") || n.is("bowl", "wrapped")
		return implies(touched, n.is("papers", "settled") && implies(f.Luminous, n.is("paint", "asked")) && implies(f.IvoryPlate, n.is("ivory", "asked")) && implies(f.DarkWood, n.is("wood", "asked")))
	}},
	{"put at its place before it was compared with the record and examined, or where no place is ready", func(_ Fittings, w, n *physical) bool {
		return implies(w.is("cased", "no") && n.is("cased", "yes"), w.is("same", "known") && w.is("examined", "yes") && n.is("table", "ready"))
	}},
	{"movement taken out with the keyway not noted", func(_ Fittings, w, n *physical) bool {
		return implies(w.is("movement", "bowl") && n.is("movement", "stand"), w.is("keyway", "noted") && w.is("bowl", "bench") && w.is("bezel", "off"))
	}},
	{"movement put back on arrival with the strips in", func(_ Fittings, w, n *physical) bool {
		return implies(w.is("parcel", "open") && w.is("movement", "stand") && n.is("movement", "bowl"), w.is("balance", "stopped"))
	}},
	{"movement put back for carriage with no lock seen", func(_ Fittings, w, n *physical) bool {
		return implies(w.is("parcel", "none") && w.is("movement", "stand") && n.is("movement", "bowl"), w.is("balance", "held") && w.is("lockseen", "yes"))
	}},
	{"gimbals freed before it is fast in them", func(f Fittings, w, n *physical) bool {
		return implies(w.is("latch", "locked") && n.is("latch", "free"), w.is("bowl", "gimbals") && w.is("nut", "tight") && w.is("screw", "home") && n.is("balance", "going"))
	}},
	{"compared at its place before it is there", func(_ Fittings, w, n *physical) bool {
		return implies(n.is("compared_after", "yes"), n.is("cased", "yes") && n.is("balance", "going") && n.is("latch", "free"))
	}},
}

// move is a step made ready for the machine.
type move struct {
	id     ID
	before uint64 // steps that come first
	pre    [][2]uint64
	post   [][2]uint8
}

// machine runs the steps of one plan.
type machine struct {
	f     Fittings
	moves []move
	known map[tried]result
}

type tried struct {
	step int
	was  physical
}

type result struct {
	now  physical
	harm string
}

func newMachine(f Fittings, plan []Step) machine {
	m := machine{f: f, known: make(map[tried]result)}
	for _, s := range plan {
		mv := move{id: s.ID}
		for _, id := range s.After {
			mv.before |= 1 << find(plan, id)
		}
		for name, words := range s.pre {
			var mask uint64
			for _, w := range words {
				mask |= 1 << value(name, w)
			}
			mv.pre = append(mv.pre, [2]uint64{uint64(at[name]), mask})
		}
		for name, words := range s.post {
			mv.post = append(mv.post, [2]uint8{uint8(at[name]), value(name, words[0])})
		}
		m.moves = append(m.moves, mv)
	}
	return m
}

// do returns the state after a step, and what of the rules it breaks.
func (m *machine) do(i int, was physical) (physical, string) {
	r, ok := m.known[tried{i, was}]
	if !ok {
		r.now, r.harm = m.first(i, was)
		m.known[tried{i, was}] = r
	}
	return r.now, r.harm
}

func (m *machine) first(i int, was physical) (physical, string) {
	mv := &m.moves[i]
	for _, p := range mv.pre {
		if p[1]&(1<<was[p[0]]) == 0 {
			a := aspects[p[0]]
			return was, fmt.Sprintf("%s finds %s = %s", mv.id, a.name, a.values[was[p[0]]])
		}
	}
	now := was
	for _, p := range mv.post {
		now[p[0]] = p[1]
	}
	if now.is("parcel", "sealed") && !was.is("parcel", "sealed") || now.is("hand", "carried") && !was.is("hand", "carried") {
		now.put("table", "no") // another room
	}
	for _, r := range never {
		if !r.kept(m.f, &was, &now) {
			return now, fmt.Sprintf("%s: %s", mv.id, r.say)
		}
	}
	return now, ""
}

func (m *machine) ready(done uint64, i int) bool {
	return done&(1<<i) == 0 && m.moves[i].before&^done == 0
}

type standing struct {
	done uint64
	at   physical
}

// combinations are all fittings, with two goings and two weights, which change
// words alone.
func combinations() []Fittings {
	var all []Fittings
	for _, mk := range Makes() {
		for _, d := range Departures() {
			for n := range 1 << 9 {
				bit := func(i int) bool { return n&(1<<i) != 0 }
				all = append(all, Fittings{
					Make: mk, OnDeparture: d, Box: bit(0), Gimbals: bit(1), Brake: bit(2), UpDown: bit(3), KeywayKnown: bit(4),
					Luminous: bit(5), IvoryPlate: bit(6), DarkWood: bit(7), ByHand: bit(8), GoingH: 56, WeightKG: 0,
				})
			}
		}
	}
	return all
}

// signature is the order of a plan, without its words, with all that the rules
// ask of the fittings.
func signature(f Fittings, plan []Step) string {
	var b strings.Builder
	fmt.Fprint(&b, f.Make, f.facets()["mount"], f.Brake, f.Luminous, f.IvoryPlate, f.DarkWood, f.OnDeparture)
	for _, s := range plan {
		fmt.Fprint(&b, s.ID, s.After)
	}
	return b.String()
}

func whole(t testing.TB, f Fittings) []Step {
	t.Helper()
	plan, err := Whole(f)
	if err != nil {
		t.Fatalf("%+v: %v", f, err)
	}
	return plan
}

// every goes through every order that the plan allows from one state, and
// returns the first harm, the number of standings met, and the states at the end.
func (m *machine) every(from physical) (harm string, standings int, ends []physical) {
	first := standing{at: from}
	seen := map[standing]bool{first: true}
	queue := []standing{first}
	for len(queue) > 0 {
		s := queue[len(queue)-1]
		queue = queue[:len(queue)-1]
		if bits.OnesCount64(s.done) == len(m.moves) {
			ends = append(ends, s.at)
		}
		for i := range m.moves {
			if !m.ready(s.done, i) {
				continue
			}
			now, harm := m.do(i, s.at)
			if harm != "" {
				return harm, len(seen), nil
			}
			next := standing{s.done | 1<<i, now}
			if !seen[next] {
				seen[next] = true
				queue = append(queue, next)
			}
		}
	}
	return "", len(seen), ends
}

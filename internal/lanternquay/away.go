package lanternquay

import (
	"time"

	"timeball/internal/chronometer"
	"timeball/internal/clock"
	"timeball/internal/simulate"
)

// sendTo lifts it from its gimbals, still going, holds the balance, packs it
// and gives it to the carrier.
func (b *book) sendTo(day float64, place, mark string) {
	b.write(b.ago(day), chronometer.FromGimbals{Note: "still going, lifted level, without a twist"})
	with, how := chronometer.Wedge, "two folded strips of waxed paper, one tooth seen locked; never a tight cork"
	if b.made.BalanceBrake {
		with, how = chronometer.Brake, ""
	}
	b.hold(b.ago(day).Add(20*time.Minute), with, how)
	b.write(b.ago(day).Add(time.Hour), chronometer.Packed{How: "bowl alone in a rigid inner box, dial up, soft open-cell foam over every face; gimbals, box and key apart; bag vented; papers on top"})
	b.write(b.ago(day).Add(5*time.Hour), chronometer.Sent{To: place, With: mark, Note: "insured at the value agreed in writing; customs and permits by the rules of both places"})
}

// driftingAfloat went home a year ago. Its navigator reads it once a month by
// radio and moves the hand when it is half a minute slow; it loses more from
// month to month.
func driftingAfloat(q *quay) *book {
	sailed := func(first clock.DialError) *book {
		m := twoDay("2260", "Corvane & Dray, Skerrow", q.ketch)
		b := q.open(page{
			made: m, air: q.shop, days: 357, since: 19 * 24 * time.Hour,
			character: simulate.Character{Noise: simulate.Noise{SigmaW: 0.15, SigmaR: 0.01}, Rate: -0.4, Linear: 0.005, Quadratic: -0.004, DriftPerDay: -0.0008},
		})
		b.received(b.ago(356.9), chronometer.Bench, "by hand from the ship, gimbals latched, run down")
		b.by = benchHand
		b.found(b.ago(356.5), "Oil dried, else sound.")
		b.serviced(b.ago(353), cleaned("arc of the balance 450° wound, 415° after a day"), -0.15)
		b.lay(b.ago(352.9), chronometer.DialUp, "", "bench")
		b.wind(b.ago(352.7))
		b.start(b.ago(352.6), 3, "one gentle quarter turn on the signal")
		b.by = keeper
		b.round(352, 333, habit{method: chronometer.ByTap, observers: []string{keeper, benchHand}})
		b.sendTo(332.5, "Ketch Osmerelle, outer basin, Skerrow", "the quay's handcart, "+keeper+" beside it")
		b.by = navigator
		b.inst.Put(b.ago(331.9), q.cabin)
		b.received(b.ago(331.9), chronometer.Home, "nothing loose, dial as when it left, parcel warmed closed")
		b.write(b.ago(331.8), chronometer.Released{Note: "strips out, balance not moved, by " + benchHand})
		b.write(b.ago(331.7), chronometer.Cased{})
		b.write(b.ago(331.6), chronometer.IntoGimbals{Note: "untouched screw first, then the nut"})
		b.wind(b.ago(331.5))
		b.start(b.ago(331.4), first, "one gentle quarter turn on the radio signal")
		b.afloat(331)
		return b
	}
	// The first error that leaves the dial near half a minute slow today.
	trial := sailed(0)
	return sailed(-27.5 - trial.inst.Error(trial.now))
}

// afloat reads it about once a month and moves the hand four times.
func (b *book) afloat(from float64) {
	move := map[int]bool{3: true, 6: true, 8: true, 10: true}
	every := from / 11
	for month := range 12 {
		at := b.ago(from - float64(month)*every).Add(time.Duration(b.rng.IntN(7200)) * time.Second)
		b.compare(at, chronometer.ByRadio, 0)
		if move[month] {
			b.moveHands(at.Add(5*time.Minute), 1, "forward, after the signal")
			b.compare(at.Add(15*time.Minute), chronometer.ByRadio, 0)
		}
		if month == 4 {
			b.note(at.Add(time.Hour), "Three days of heavy rolling; it never left the level.")
		}
	}
}

// changedInCarriage was rated here, carried to the museum and rated there; it
// has lost less since by more than half a second a day.
func changedInCarriage(q *quay) *book {
	b := q.open(page{
		made: twoDay("1102", "A. Quillender, Veyre", q.harbourMuseum), air: q.shop, days: 82, since: 23*time.Hour + 5*time.Minute,
		character: simulate.Character{Noise: simulate.Noise{SigmaW: 0.13, SigmaR: 0.01}, Rate: -0.9, Linear: 0.008, Quadratic: -0.007},
	})
	b.received(b.ago(81.9), chronometer.Bench, "by the museum's own van, held and packed")
	b.by = benchHand
	b.found(b.ago(80.6), "As good as when it last left. A new rating is asked for before the exhibition.")
	b.lay(b.ago(80.4), chronometer.DialUp, "", "bench")
	b.wind(b.ago(76.5))
	b.start(b.ago(76.4), 14, "one gentle quarter turn on the signal")
	b.by = keeper
	b.round(76, 52, habit{method: chronometer.ByTap, miss: 0.05, observers: []string{keeper, benchHand}})
	b.sendTo(51.7, "Harbour Museum, Veyre", "the coast carrier, parcel 40-118")
	b.by = curator
	b.inst.Carry(b.ago(48), 0, 0.62)
	b.inst.Put(b.ago(47), q.museum)
	b.received(b.ago(47), chronometer.Home, "one corner of the outer box crushed; inner box sound; dial as when it was sent")
	b.note(b.ago(46.9), "Photographed shut, left closed for a day. Carrier told of the corner.")
	b.write(b.ago(45.6), chronometer.Released{Note: "strips out, balance not moved"})
	b.write(b.ago(45.5), chronometer.Cased{})
	b.write(b.ago(45.4), chronometer.IntoGimbals{})
	b.lay(b.ago(45.35), chronometer.DialUp, chronometer.Home, "case in the east room")
	b.wind(b.ago(45.3))
	b.start(b.ago(45.2), 6, "one gentle quarter turn on the signal")
	b.round(45, 0, habit{method: chronometer.EyeAndEar, miss: 0.2})
	return b
}

// withTheCarrier was rated and went off four days ago.
func withTheCarrier(q *quay) *book {
	m := twoDay("640", "Ysolt Harnage, Oskerby", q.sVandrell)
	m.BalanceBrake = true
	b := q.open(page{
		made: m, air: q.shop, days: 47, since: 4 * 24 * time.Hour,
		character: simulate.Character{Noise: simulate.Noise{SigmaW: 0.15, SigmaR: 0.015}, Rate: -0.3, Linear: 0.012, Quadratic: -0.009},
	})
	b.received(b.ago(46.9), chronometer.Bench, "by hand, going, gimbals latched")
	b.by = benchHand
	b.found(b.ago(46.5), "Stopped as it was set down. Brake spring weak, else clean.")
	b.write(b.ago(44), chronometer.WorkDone{Work: "brake spring renewed, brake adjusted clear of the rim", Parts: "one brake spring", Measurements: "clearance of the brake 0.4 mm, released"})
	b.lay(b.ago(43.9), chronometer.DialUp, "", "bench")
	b.wind(b.ago(42.5))
	b.start(b.ago(42.4), 11, "one gentle quarter turn on the signal")
	b.by = keeper
	b.round(42, 1, habit{method: chronometer.ByTap, miss: 0.1, observers: []string{keeper, benchHand, learner}, others: map[int]chronometer.Method{14: chronometer.BySound}})
	b.note(b.ago(0.5), "Certificate and owner's sheet signed; copies in the box.")
	b.sendTo(0.3, "Signe Vandrell, winter address", "the coast carrier, parcel 40-163")
	return b
}

// stoppedAtOwner is a deck watch with a luminous dial that its owner found
// stopped.
func stoppedAtOwner(q *quay) *book {
	b := q.open(page{
		made: chronometer.Instrument{
			Number: "219 L", Maker: "Pell & Varrow, Skerrow", Make: chronometer.DeckWatch, Beat: chronometer.FifthSecond, Dial: chronometer.Twelve,
			GoingH: 36, Box: "oak, padded, 130 mm", WeightKG: 0.6, Owner: q.jOkafor,
		},
		air: q.cabin, days: 210, since: 6 * 24 * time.Hour,
		character: simulate.Character{Noise: simulate.Noise{SigmaW: 0.35, SigmaR: 0.03}, Rate: 0.4, Quadratic: -0.006},
	})
	b.found(b.ago(209.9), "Seen at the owner's. Luminous dial and hands, taken to be radium: left closed, bagged, labelled and kept apart. "+
		"Not opened here; anything on the dial is for a person licensed for it, under the local rules.")
	b.by = okafor
	b.lay(b.ago(209.5), chronometer.DialUp, chronometer.Home, "chart table, in its box")
	b.wind(b.ago(209.4))
	b.start(b.ago(209.3), 0.5, "by its crown, on the speaking clock")
	for month := range 7 {
		at := b.ago(209 - 30*float64(month)).Add(time.Duration(b.rng.IntN(5400)) * time.Second)
		b.compare(at, chronometer.ByTelephone, 0)
	}
	b.stop(b.ago(0), "found stopped at breakfast, fully wound")
	b.note(b.ago(0).Add(20*time.Minute), "Not shaken, not opened, not started again. What next?")
	return b
}

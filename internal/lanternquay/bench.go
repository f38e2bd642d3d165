package lanternquay

import (
	"time"

	"timeball/internal/chronometer"
	"timeball/internal/clock"
	"timeball/internal/simulate"
)

// twoDay returns the particulars of a two-day box chronometer.
func twoDay(number, maker string, owner chronometer.ID) chronometer.Instrument {
	return chronometer.Instrument{
		Number: number, Maker: maker, Make: chronometer.BoxChronometer, Beat: chronometer.HalfSecond, Dial: chronometer.Twelve, GoingH: 56,
		UpDown: true, Gimbals: true, Box: "mahogany, three tiers, 190 mm", WeightKG: 5.6, Owner: owner,
	}
}

// cleaned is a full service; what can hurt is done by the hand licensed for it.
func cleaned(measured string) chronometer.WorkDone {
	return chronometer.WorkDone{
		Work: "serviced: let down with the fitting key, taken apart, cleaned, oiled, put together. Mainspring, fusee and solvent by " + benchHand +
			", licensed for them, under the rules of the port; nobody else is to open the barrel",
		Parts: "oil; one dial-foot screw", Measurements: measured,
	}
}

// ownStandard is the quay's own two-day: wound and compared for a year, its
// hands moved once, one comparison written into the wrong book.
func ownStandard(q *quay) *book {
	m := twoDay("12", "Pell & Varrow, Skerrow", "")
	m.Dial = chronometer.TwentyFour
	b := q.open(page{
		made: m, air: q.shop, days: historyDays - 2, since: 50 * time.Minute,
		character: simulate.Character{Noise: simulate.Noise{SigmaW: 0.11, SigmaR: 0.007}, Rate: -0.12, Linear: 0.004, Quadratic: -0.005},
	})
	b.lay(b.ago(377.9), chronometer.DialUp, chronometer.Bench, "the stone shelf by the north window")
	b.write(b.ago(377.8), chronometer.IntoGimbals{Note: "its own, never lent"})
	b.wind(b.ago(377.5))
	b.start(b.ago(377.4), -7, "one gentle quarter turn on the signal")
	move := 150
	b.round(377, 0, habit{
		method: chronometer.ByTap, miss: 0.3, observers: []string{keeper, benchHand, keeper, learner},
		after: map[int]func(time.Time){
			move: func(at time.Time) { b.moveHands(at, 1, "by the key, forward; the seconds hand not touched") },
			89: func(at time.Time) {
				b.by = learner
				wrong := b.compare(at, chronometer.ByTap, 41.5)
				b.by = keeper
				b.write(at.Add(9*time.Minute), chronometer.StruckOut{Entry: wrong, Why: "the reading of the chronometer beside it, written into this book"})
			},
			33: func(at time.Time) { b.note(at, "North window cleaned and shut again; no draught on the shelf.") },
		},
	})
	return b
}

// onTrial has been serviced and twice regulated, and stands in the oven for
// its last stage.
func onTrial(q *quay) *book {
	m := twoDay("417", "Corvane & Dray, Skerrow", q.sVandrell)
	m.Dial = chronometer.TwentyFour
	b := q.open(page{
		made: m, air: q.shop, days: 96, since: 23*time.Hour + 35*time.Minute,
		character: simulate.Character{Noise: simulate.Noise{SigmaW: 0.14, SigmaR: 0.012}, Rate: 2.3, Linear: 0.026, Quadratic: -0.009},
	})
	b.received(b.ago(95.95), chronometer.Bench, "brought by hand by its owner, going, level, gimbals latched")
	b.lay(b.ago(95.9), chronometer.DialUp, "", "bench")
	b.wind(b.ago(95.6))
	b.by = benchHand
	b.start(b.ago(95.5), -4, "stopped on arrival as it was set down; started again on the signal")
	b.found(b.ago(95.2), "Goes, gaining. Oil brown at the fourth wheel, end shakes good, no rust. A slip under the bowl gives the last cleaning as nine years ago.")
	b.round(95, 90, habit{method: chronometer.ByTap})
	b.listen(b.ago(89.9), telephone, 5, "before the work")
	b.stop(b.ago(89.8), "stopped for work")
	b.serviced(b.ago(86), cleaned("arc of the balance 440° wound, 405° after a day; end shake of the balance 0.03 mm"), -0.4)
	b.wind(b.ago(85.7))
	b.start(b.ago(85.6), 34, "one gentle quarter turn on the signal, set fast so as to be right during the trial")
	b.round(85, 80, habit{method: chronometer.ByTap, observers: []string{benchHand, keeper}})
	b.listen(b.ago(79.9), telephone, 5, "before the screws; it cannot tell so small a rate from its own clock")
	b.regulate(b.ago(79.8), chronometer.TimingScrews, 0.25, -3.5, -3.9)
	b.listen(b.ago(79.7), telephone, 5, "after; the same telephone, so the change counts and not the rate")
	b.round(79, 74, habit{method: chronometer.ByTap, observers: []string{benchHand, keeper}})
	b.listen(b.ago(73.9), bench, 10, "before the screws")
	b.regulate(b.ago(73.8), chronometer.TimingScrews, -0.1, 1.6, 1.75)
	b.listen(b.ago(73.7), bench, 10, "after")
	b.by, b.hears = keeper, true
	overNight := map[int]func(time.Time){50: func(at time.Time) { b.serviceReading(at.Add(20*time.Minute), 22, 220, 17.5) }}
	b.round(73, 45, habit{after: overNight, method: chronometer.ByTap, miss: 0.1, others: map[int]chronometer.Method{70: chronometer.BySound, 63: chronometer.BySound, 56: chronometer.BySound}})
	b.note(b.ago(45.5), "Rate settled. To the oven: 18, 8, 28, 18 °C, dial up.")
	b.try(b.ago(45).Add(2*time.Hour), ovenName, ovenProgramme, "")
	b.oven(45, []simulate.Stage{{C: 18, Days: 11}, {C: 8, Days: 11}, {C: 28, Days: 11}, {C: 18, Days: 12}})
	return b
}

// oven takes it through the stages of a trial, from a day before the last round
// to the last round.
func (b *book) oven(from int, stages []simulate.Stage) { b.stages(from, 0, stages) }

// stages takes it through the stages of a trial between two days before the
// last round. The thermometer is read before and after every change.
func (b *book) stages(from, to int, stages []simulate.Stage) {
	rest := 2 * time.Hour // after the round, so that a change falls between two comparisons
	begin := b.ago(float64(from)).Add(rest)
	b.lay(begin.Add(-10*time.Minute), chronometer.DialUp, "", "bench, gimbals latched")
	b.inst.Put(begin, simulate.Air{From: begin, Record: simulate.Oven(stages)})
	b.lay(begin, chronometer.DialUp, chronometer.Trial, "oven")
	day := from
	for i, s := range stages {
		next := max(day-int(s.Days), to)
		b.round(day-1, next, habit{method: chronometer.ByTap, observers: []string{keeper, benchHand}})
		if i == len(stages)-1 {
			return
		}
		change := b.ago(float64(next)).Add(rest)
		b.lay(change, chronometer.DialUp, chronometer.Trial, "oven, before the change")
		b.lay(change.Add(time.Duration(simulate.OvenRampDays*float64(clock.Day))), chronometer.DialUp, chronometer.Trial, "oven, after the change")
		day = next
	}
}

// misread keeps a good rate under a careless record: one minute out, ten
// seconds out, half a beat, and fast typed for slow.
func misread(q *quay) *book {
	b := q.open(page{
		made: twoDay("58", "Ysolt Harnage, Oskerby", q.jOkafor), air: q.shop, days: 63, since: 26 * time.Hour,
		character: simulate.Character{Noise: simulate.Noise{SigmaW: 0.16, SigmaR: 0.015}, Rate: -0.55, Linear: -0.01, Quadratic: -0.008},
	})
	b.received(b.ago(62.9), chronometer.Bench, "by carrier; parcel sound, kept closed for a day before opening; balance held by two folded strips, dial as when it was sent")
	b.by = benchHand
	b.found(b.ago(61.7), "Strips taken out without moving the balance. Gimbal pivot dry. Movement clean.")
	b.write(b.ago(61), chronometer.WorkDone{Work: "gimbal pivots cleaned and greased; nothing done to the movement", Measurements: "arc of the balance 430° wound"})
	b.lay(b.ago(60.9), chronometer.DialUp, "", "second shelf")
	b.wind(b.ago(60.7))
	b.start(b.ago(60.6), 18.5, "one gentle quarter turn on the signal")
	b.by = learner
	b.round(60, 0, habit{
		method: chronometer.ByTap, miss: 0.08, others: map[int]chronometer.Method{44: chronometer.EyeAndEar, 30: chronometer.EyeAndEar, 9: chronometer.BySound},
		slips: map[int]clock.DialError{47: 60, 33: -10, 21: 0.5},
		typed: map[int]func(time.Time){8: func(at time.Time) {
			e := -float64(b.inst.Read(at, 0.05)) // fast written for slow, or slow for fast
			b.write(at, chronometer.Compared{ErrorS: &e, SDS: 0.05, Method: chronometer.ByTap, Observer: learner, Standard: network, StandardSD: 0.004, Position: b.position, Note: "worked out on the slip, then typed"})
		}},
	})
	return b
}

// runDown arrived run down and waits on the bench, the work half done.
func runDown(q *quay) *book {
	b := q.open(page{
		made: twoDay("73", "Thessaly Orne, Veyre", q.sVandrell), air: q.shop, days: 16, since: 5 * time.Hour,
		character: simulate.Character{Noise: simulate.Noise{SigmaW: 0.2, SigmaR: 0.02}, Rate: -1},
	})
	b.received(b.ago(15.9), chronometer.Bench, "by hand; run down, balance free, hands at 7:52:10; up-and-down dial at 56")
	b.by = benchHand
	b.write(b.ago(15.85), chronometer.Stopped{Why: "run down before it arrived"})
	b.lay(b.ago(15.8), chronometer.DialUp, "", "closed cupboard")
	b.found(b.ago(12.1), "Run down, not broken: three days in a locked cabin. Chain sound. Detent spring straight. A trace of rust on the maintaining detent.")
	b.write(b.ago(9), chronometer.Estimated{Work: "clean, polish the maintaining detent, oil, regulate", Hours: 12, Cost: chronometer.Money{Minor: 78000, Currency: "EUR"}, Days: 60})
	b.write(b.ago(7), chronometer.Approved{Who: "Signe Vandrell", UpTo: chronometer.Money{Minor: 85000, Currency: "EUR"}, Note: "by letter"})
	b.write(b.ago(6.2), chronometer.WorkDone{
		Hours: 3.5, Cost: chronometer.Money{Minor: 22750, Currency: "EUR"},
		Work:         "let down what power remained, by " + benchHand + ", licensed for it, under the rules of the port, before any screw was loosened; maintaining detent cleaned and polished",
		Measurements: "pivots of the balance 0.11 mm, bright; end shake 0.04 mm",
	})
	b.note(b.ago(6.1), "Still to do: oil the train pivots (the escapement stays dry), wind by count, compare for a week, then regulate. Owner told.")
	return b
}

// newcomer has been going for four days.
func newcomer(q *quay) *book {
	m := twoDay("1906", "Bramwick Sons, Pellinport", q.jOkafor)
	m.BalanceBrake = true
	b := q.open(page{
		made: m, air: q.shop, days: 4, since: 25 * time.Minute,
		character: simulate.Character{Noise: simulate.Noise{SigmaW: 0.2, SigmaR: 0.02}, Rate: -1.4, Linear: 0.01, Quadratic: -0.008},
	})
	b.received(b.ago(3.95), chronometer.Bench, "by carrier; parcel sound, kept closed for a day before opening")
	b.write(b.ago(3.9), chronometer.Held{With: chronometer.Brake, Note: "as sent"})
	b.by = learner
	b.write(b.ago(3.3), chronometer.Released{Note: "brake off; dial had not moved on the way"})
	b.lay(b.ago(3.25), chronometer.DialUp, "", "second shelf")
	b.wind(b.ago(3.22))
	b.start(b.ago(3.2), 31, "one gentle quarter turn on the signal")
	for day := 3; day >= 0; day-- {
		b.wind(b.ago(float64(day) + 0.01))
		b.compare(b.ago(float64(day)), chronometer.EyeAndEar, 0)
	}
	return b
}

// eightDay is wound on one day of the week and compared by eye and ear.
func eightDay(q *quay) *book {
	m := twoDay("88", "A. Quillender, Veyre", q.harbourMuseum)
	m.GoingH, m.WeightKG, m.Box = 192, 6.9, "rosewood, three tiers, 210 mm"
	b := q.open(page{
		made: m, air: q.shop, days: 128, since: 25 * time.Hour,
		character: simulate.Character{Noise: simulate.Noise{SigmaW: 0.22, SigmaR: 0.02}, Rate: 1.9, Linear: 0.015, Quadratic: -0.006},
	})
	b.received(b.ago(127.9), chronometer.Bench, "by the museum's own van, held and packed; box of rosewood: papers for the wood are with the museum, to be checked against local rules before it crosses a border")
	b.by = benchHand
	b.found(b.ago(126.5), "Beats well, gains. Oil fresh. Nothing to be done but regulate.")
	b.lay(b.ago(126.3), chronometer.DialUp, "", "third shelf")
	b.wind(b.ago(126.2))
	b.start(b.ago(126.1), -12, "one gentle quarter turn on the signal")
	b.round(126, 106, habit{method: chronometer.EyeAndEar, miss: 0.25, windEvery: 7})
	b.listen(b.ago(105.9), bench, 10, "before the weights")
	b.regulate(b.ago(105.8), chronometer.TimingNuts, 0.125, -2.5, -2.1)
	b.listen(b.ago(105.7), bench, 10, "after")
	b.by = keeper
	b.round(105, 0, habit{method: chronometer.EyeAndEar, miss: 0.35, windEvery: 7, observers: []string{keeper, learner}})
	return b
}

// deckWatchInPositions is a fifth-second watch laid dial up, dial down and
// with XII up, a fortnight each, and dial up again.
func deckWatchInPositions(q *quay) *book {
	b := q.open(page{
		made: chronometer.Instrument{
			Number: "731", Maker: "Bramwick Sons, Pellinport", Make: chronometer.DeckWatch, Beat: chronometer.FifthSecond, Dial: chronometer.Twelve,
			GoingH: 36, Box: "oak, padded, 130 mm", WeightKG: 0.7, Owner: q.mTavares,
		},
		air: q.shop, days: 62, since: 23 * time.Hour,
		character: simulate.Character{
			Noise: simulate.Noise{SigmaW: 0.28, SigmaR: 0.03}, Rate: 0.9, Linear: -0.02, Quadratic: -0.007,
			PositionRates: map[string]clock.Rate{string(chronometer.DialDown): -1.3, string(chronometer.XIIUp): -2.6},
		},
	})
	b.received(b.ago(61.9), chronometer.Bench, "by post in its padded box, stopped; no luminous paint on dial or hands")
	b.by = benchHand
	b.found(b.ago(60.8), "Sound. Crown worn. Asked for: rates in three positions before the summer survey.")
	b.wind(b.ago(58.4))
	b.start(b.ago(58.3), 1.5, "set going by a turn of the wrist")
	by := habit{method: chronometer.ByTap, miss: 0.1, readFirst: true, observers: []string{benchHand, learner}}
	from := 58
	for _, p := range []chronometer.Position{chronometer.DialUp, chronometer.DialDown, chronometer.XIIUp, chronometer.DialUp} {
		b.lay(b.ago(float64(from)).Add(-time.Hour), p, chronometer.Trial, "rack on the third shelf")
		to := max(from-14, 0)
		b.round(from, to, by)
		from = to - 1
	}
	return b
}

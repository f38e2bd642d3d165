package lanternquay

import (
	"math"
	"math/rand/v2"
	"time"

	"timeball/internal/chronometer"
	"timeball/internal/simulate"
	"timeball/internal/trial/programme"
)

// ovenName and ovenProgramme are the quay's own trial in the oven; what it asks
// is the quay's to set.
const (
	ovenName      = "Lantern Quay, oven"
	ovenProgramme = `name: Lantern Quay, oven
about: Four stages in the oven, eighteen degrees at both ends, so that rate, temperature and settling are told apart.
source: set by the workshop for its two-day instruments; common practice, no source
settling_h: 12
within_h: 1
within_c: 1.5
periods:
  - {name: first at 18 °C, days: 10, temp_c: 18, position: dial up}
  - {name: to 8 °C, days: 1, temp_c: 8, position: dial up, apart: yes}
  - {name: at 8 °C, days: 10, temp_c: 8, position: dial up}
  - {name: to 28 °C, days: 1, temp_c: 28, position: dial up, apart: yes}
  - {name: at 28 °C, days: 10, temp_c: 28, position: dial up}
  - {name: to 18 °C, days: 1, temp_c: 18, position: dial up, apart: yes}
  - {name: last at 18 °C, days: 14, temp_c: 18, position: dial up}
criteria:
  - {name: rate, about: mean daily rate over all stages, of: mean rate, from: -2.5, to: 1}
  - {name: unsteadiness, about: mean departure of a day from the mean of its stage, of: mean deviation, to: 0.3}
  - {name: temperature, about: change of rate from 8 to 28 °C for each degree, of: change per degree, periods: [5], less: [3], from: -0.06, to: 0.06}
  - {name: middle, about: rate at 18 °C less the mean of those at 8 and 28 °C, of: middle temperature error, periods: [1, 3, 5, 7], from: 0, to: 1.5}
  - {name: return, about: rate at the end less that at the beginning, of: difference of means, periods: [7], less: [1], from: -0.6, to: 0.6}
`
)

// house is the quay's own particulars and its own programme.
func (q *quay) house() []chronometer.Entry {
	rng := rand.New(rand.NewPCG(seed, 1<<33))
	begin := func(daysAgo int, fact chronometer.Fact) chronometer.Entry {
		at := q.now.AddDate(0, 0, -daysAgo)
		written := at.Add(time.Minute)
		id := newID(written, rng)
		return chronometer.Entry{ID: id, Subject: id, At: at, Written: written, By: keeper, Fact: fact}
	}
	return []chronometer.Entry{
		begin(historyDays, chronometer.House{
			Name: "Lantern Quay", Place: "Port of Skerrow", Keeper: keeper, Contact: "Lantern Quay 3, Skerrow; keeper@lanternquay.example", ServiceYears: 4,
		}),
		begin(60, chronometer.Programme{Name: ovenName, Text: ovenProgramme}),
	}
}

// paid is work with its hours and its cost in cents.
func paid(hours float64, cents int64, w chronometer.WorkDone) chronometer.WorkDone {
	w.Hours, w.Cost = hours, chronometer.Money{Minor: cents, Currency: "EUR"}
	return w
}

// tried has been serviced and regulated, and has gone through the trial of
// three temperatures; it waits for its certificate.
func tried(q *quay) *book {
	p, ok := programme.Find("three-temperatures")
	if !ok {
		panic("lanternquay: the trial of three temperatures is not there")
	}
	m := twoDay("306", "Pell & Varrow, Skerrow", q.mTavares)
	var stages []simulate.Stage
	days := 0
	for _, period := range p.Periods {
		days += period.Days
		if n := len(stages); n > 0 && stages[n-1].C == *period.TempC {
			stages[n-1].Days += float64(period.Days)
			continue
		}
		stages = append(stages, simulate.Stage{C: *period.TempC, Days: float64(period.Days)})
	}
	settled := int(math.Ceil(p.SettlingH/24)) + 1 // days until its first reading, at the hour of the round
	stages[0].Days += float64(settled)
	after := 9 // days since the trial
	begun := days + settled + after
	b := q.open(page{
		made: m, air: q.shop, days: float64(begun) + 53, since: 22*time.Hour + 50*time.Minute,
		character: simulate.Character{Noise: simulate.Noise{SigmaW: 0.08, SigmaR: 0.006}, Rate: 3.1, Linear: 0.006, Quadratic: -0.004},
	})
	ago := func(days float64) time.Time { return b.ago(float64(begun) + days) }
	b.write(ago(52), chronometer.Enquired{What: "not gone for six years; to be cleaned, regulated and tried, with a certificate", From: tavares})
	b.received(ago(39.9), chronometer.Bench, "by hand, run down, gimbals latched")
	b.by = benchHand
	b.found(ago(39.5), "Run down. Oil dried at the escape pivots, else sound; no rust.")
	b.by = keeper
	b.write(ago(39), chronometer.Estimated{Work: "clean and oil, regulate, trial of three temperatures, certificate", Hours: 14, Cost: chronometer.Money{Minor: 98000, Currency: "EUR"}, Days: 60})
	b.write(ago(37.5), chronometer.Approved{Who: tavares, Note: "by telephone"})
	b.by = benchHand
	b.serviced(ago(36), paid(9.5, 64500, cleaned("arc of the balance 445° wound, 420° after a day; end shake of the balance 0.03 mm")), 0.3)
	b.lay(ago(35.9), chronometer.DialUp, "", "bench")
	b.wind(ago(35.8))
	b.start(ago(35.7), 22, "one gentle quarter turn on the signal")
	b.round(begun+35, begun+30, habit{method: chronometer.ByTap, observers: []string{benchHand, keeper}})
	b.regulate(ago(29.8), chronometer.TimingScrews, 0.15, -3, -2.55)
	b.round(begun+29, begun+23, habit{method: chronometer.ByTap, observers: []string{benchHand, keeper}})
	b.regulate(ago(22.8), chronometer.TimingScrews, 0.1, -1.6, -1.64)
	b.by = keeper
	b.round(begun+22, begun, habit{method: chronometer.ByTap, miss: 0.1, observers: []string{keeper, benchHand}})
	b.try(b.ago(float64(begun)).Add(2*time.Hour), p.Name, p.Text, "")
	b.stages(begun, after, stages)
	b.write(b.ago(float64(after)).Add(time.Hour), chronometer.TrialEnded{Why: "finished"})
	b.inst.Put(b.ago(float64(after)).Add(2*time.Hour), q.shop)
	b.lay(b.ago(float64(after)).Add(2*time.Hour+time.Minute), chronometer.DialUp, chronometer.Bench, "first shelf")
	b.round(after-1, 0, habit{method: chronometer.ByTap, observers: []string{keeper, benchHand}})
	b.write(b.ago(0).Add(20*time.Minute), chronometer.Ready{Note: "certificate to be issued, then home"})
	return b
}

package course_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"timeball/internal/clock"
	"timeball/internal/simulate"
	"timeball/internal/timescale"
	"timeball/internal/trial"
	"timeball/internal/trial/course"
	"timeball/internal/trial/programme"
)

// iso3159 is the programme of ISO 3159:2009 as the public pages of the COSC
// (measuring methods) and of the Geneva observatory give it: fifteen days of 24
// h, wound and at rest for 12 h before.
func iso3159() programme.Programme {
	period := func(days int, position string, c float64) programme.Period {
		return programme.Period{Days: days, Position: position, TempC: ptr(c)}
	}
	return programme.Programme{Name: "ISO 3159", SettlingH: 12, WithinH: 1, WithinC: 1, Periods: []programme.Period{
		period(2, "VI up", 23), period(2, "III up", 23), period(2, "IX up", 23), period(2, "dial down", 23), period(2, "dial up", 23),
		period(1, "dial up", 8), period(1, "dial up", 23), period(1, "dial up", 38), period(2, "VI up", 23)},
		Criteria: []programme.Criterion{{Name: "M", Of: programme.MeanRate, Periods: []int{1, 2, 3, 4, 5}, Unit: "s/d"}},
	}
}

// watch takes a simulated deck watch through a programme as its keeper would:
// each morning wound, its thermometer read, compared and, where the period
// changes, moved. It returns the log, and the true error at each comparison
// less the leap seconds and moves of the hands before it.
func watch(t *testing.T, rng *rand.Rand, p programme.Programme, begun time.Time, sd float64) (course.Log, map[string]float64) {
	t.Helper()
	character := simulate.Character{Noise: simulate.Noise{SigmaW: 0.3, SigmaR: 0.05}, Rate: 2, Linear: 0.08, Quadratic: -0.004,
		PositionRates: map[string]clock.Rate{"III up": -2, "IX up": 5, "dial down": 3, "dial up": 1}}
	var periods []programme.Period
	for _, period := range p.Periods {
		periods = append(periods, slices.Repeat([]programme.Period{period}, period.Days)...)
	}
	air := func(at time.Time, c float64) simulate.Air {
		return simulate.Air{From: at, Record: simulate.Steady(c)}
	}
	i := simulate.NewInstrument(rng, character, air(begun, *periods[0].TempC), begun)
	i.Start(begun, 3)
	i.Lay(begun, periods[0].Position)
	log := course.Log{Placings: []course.Placing{{At: begun, Position: periods[0].Position, Where: "oven"}}, Windings: []time.Time{begun}}
	truth := map[string]float64{}
	first := begun.Add(hours(p.SettlingH))
	moved := 0.0
	for h := range len(periods) + 1 {
		at := timescale.AddDays(first, float64(h))
		if h > 0 {
			at = at.Add(time.Duration(rng.IntN(7200)-3600) * time.Second / 2)
		}
		ref := fmt.Sprint(h)
		log.Windings = append(log.Windings, at.Add(-5*time.Minute))
		log.Temperatures = append(log.Temperatures, course.Temperature{At: at.Add(-3 * time.Minute), C: i.Temperature(at.Add(-3 * time.Minute))})
		truth[ref] = float64(i.Error(at)) - float64(timescale.LeapSeconds(begun, at)) - moved
		log.Compared = append(log.Compared, course.Comparison{Ref: ref, At: at, ErrorS: float64(i.Read(at, sd)), SDS: sd})
		if h == len(periods) {
			break
		}
		after := at.Add(10 * time.Minute)
		if h > 0 && (periods[h].Position != periods[h-1].Position || *periods[h].TempC != *periods[h-1].TempC) {
			i.Lay(after, periods[h].Position)
			i.Put(after, air(after, *periods[h].TempC))
			log.Placings = append(log.Placings, course.Placing{At: after, Position: periods[h].Position, Where: "oven"})
		}
		if h == 6 {
			i.MoveHands(after, 2)
			moved += 120
			log.Interventions = append(log.Interventions, course.Intervention{At: after, What: "hands moved", MovedS: 120})
		}
		// Read again once the oven is at its temperature.
		log.Temperatures = append(log.Temperatures, course.Temperature{At: after.Add(3 * time.Hour), C: *periods[h].TempC})
	}
	if err := i.Err(); err != nil {
		t.Fatal(err)
	}
	return log, truth
}

// A whole trial over the leap second at the end of 2016 (IERS, Bulletin C 52),
// with the hands moved on in it, gives the true rates but for the readings.
func TestWholeTrialOfISO3159(t *testing.T) {
	p := iso3159()
	begun := utc("2016-12-24T20:00:00Z")
	now := begun.AddDate(0, 0, 17)
	for _, sd := range []float64{0, 0.2} {
		rng := rand.New(rand.NewPCG(3159, 15))
		sum, n := 0.0, 0
		for range 20 {
			log, truth := watch(t, rng, p, begun, sd)
			c := course.Follow(p, begun, nil, log, now)
			for _, d := range c.Days {
				days := timescale.Days(d.From, d.To)
				want := (truth[fmt.Sprint(d.Number)] - truth[fmt.Sprint(d.Number-1)]) / days
				switch off := math.Abs(d.RateSPerDay - want); {
				case !d.Known:
					t.Fatalf("day %d is not known: %s", d.Number, d.Why)
				case sd == 0 && off > 1e-8:
					t.Errorf("day %d: %v s/d, in truth %v", d.Number, d.RateSPerDay, want)
				case sd > 0:
					sum += off * off / (d.SDS * d.SDS)
					n++
				}
				if period := p.Periods[d.Period]; d.Position != period.Position || d.TempC == nil || math.Abs(*d.TempC-*period.TempC) > 1e-9 {
					t.Errorf("day %d: %q at %v °C, want %q at %v", d.Number, d.Position, d.TempC, period.Position, *period.TempC)
				}
			}
			for _, r := range c.Remarks {
				if !strings.HasPrefix(r.Words, "the hands were moved on by 120 s") {
					t.Errorf("remark %+v", r)
				}
			}
			if c.Today.State != course.Finished || len(c.Readings) != 16 {
				t.Errorf("today %+v, %d readings", c.Today, len(c.Readings))
			}
		}
		// The mean square of 300 rates over their doubt is 1. Neighbours share a
		// reading, correlation −1/2, so its standard deviation is
		// √(2(1 + 2/4)/300) = 0.10; four of them.
		if mean := sum / float64(max(n, 1)); n > 0 && math.Abs(mean-1) > 0.4 {
			t.Errorf("the mean square of rate less truth over its doubt is %.2f, want 1 ± 0.4", mean)
		}
	}
}

// At any instant of a trial that is done as asked, nothing is late, and what is
// done on time is seen as done.
func TestNothingIsLateInATrialThatIsDoneOnTime(t *testing.T) {
	p := iso3159()
	begun := utc("2027-03-01T20:00:00Z")
	log, _ := watch(t, rand.New(rand.NewPCG(1, 2)), p, begun, 0.1)
	states := map[course.State]bool{}
	for now := begun; now.Before(begun.AddDate(0, 0, 16)); now = now.Add(17 * time.Minute) {
		c := course.Follow(p, begun, nil, log, now)
		states[c.Today.State] = true
		for _, k := range c.Tasks {
			if k.Late {
				t.Errorf("%s: %+v is late; today %+v", now, k, c.Today)
			}
		}
		for _, d := range c.Days {
			if !d.Known && !d.ToCome {
				t.Errorf("%s: day %d: %s", now, d.Number, d.Why)
			}
		}
	}
	for _, want := range []course.State{course.Settling, course.Going, course.Finished} {
		if !states[want] {
			t.Errorf("it was never %q", want)
		}
	}
}

// What the course gives, the judgement takes.
func TestJudgementTakesTheSpans(t *testing.T) {
	p := iso3159()
	p.Criteria = []programme.Criterion{{Name: "M", Of: programme.MeanRate, Periods: []int{1, 2, 3, 4, 5}, Unit: "s/d"}}
	begun := utc("2027-03-01T20:00:00Z")
	log, _ := watch(t, rand.New(rand.NewPCG(5, 6)), p, begun, 0.1)
	log.Compared = slices.Delete(log.Compared, 3, 4)
	c := course.Follow(p, begun, nil, log, begun.AddDate(0, 0, 17))
	if len(c.Spans) != 1 {
		t.Fatalf("spans %+v", c.Spans)
	}
	r := trial.Judge(p, c.Days, trial.Ask{Ended: true, Spans: c.Spans})
	for _, w := range append(r.Remarks, r.Missing...) {
		if strings.Contains(w, "left out") || strings.Contains(w, "itself does not hold") {
			t.Error(w)
		}
	}
}

package programme

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

// someRates draws a rate for every day of a programme.
func someRates(rt *rapid.T, p Programme) []float64 {
	return rapid.SliceOfN(rapid.Float64Range(-5, 5), p.Days(), p.Days()).Draw(rt, "rates")
}

// values returns the criteria of the rates of all days.
func values(p Programme, rates []float64) map[string]float64 {
	v, byName := []float64{}, map[string]float64{}
	for i, pl := range p.Plans(nil) {
		v = append(v, pl.Value(rates, v))
		byName[p.Criteria[i].Name] = v[i]
	}
	return byName
}

func changed(rates []float64, by func(i int) float64) []float64 {
	out := make([]float64, len(rates))
	for i := range out {
		out[i] = by(i)
	}
	return out
}

// What does not look at the rate itself but at its changes is the same for an
// instrument that gains more by a constant.
func TestAConstantChangesOnlyMeans(t *testing.T) {
	iso, _ := Find("iso-3159")
	ten, _ := Find("ten-day-symmetrical")
	weeks, _ := Find("weekly-sums")
	rapid.Check(t, func(rt *rapid.T) {
		by := rapid.Float64Range(-10, 10).Draw(rt, "constant")
		for _, p := range []Programme{iso, ten, weeks} {
			rates := someRates(rt, p)
			before := values(p, rates)
			for name, v := range values(p, changed(rates, func(i int) float64 { return rates[i] + by })) {
				want := before[name]
				if name == "M" {
					want += by
				}
				if math.Abs(v-want) > 1e-9 {
					rt.Errorf("%s %s: %g, not %g", p.Name, name, v, want)
				}
			}
		}
	})
}

// Time reversed leaves greatest and mean changes alone and turns an acceleration.
func TestReversal(t *testing.T) {
	ten, _ := Find("ten-day-symmetrical")
	weeks, _ := Find("weekly-sums")
	rapid.Check(t, func(rt *rapid.T) {
		for _, p := range []Programme{ten, weeks} {
			rates := someRates(rt, p)
			before := values(p, rates)
			for name, v := range values(p, changed(rates, func(i int) float64 { return rates[len(rates)-1-i] })) {
				want := before[name]
				switch name {
				case "C", "B":
					want = math.Abs(want)
					v = math.Abs(v)
				}
				if math.Abs(v-want) > 1e-9 {
					rt.Errorf("%s: %g, not %g", name, v, want)
				}
			}
		}
	})
}

// A rate that follows temperature in a straight line and age as well has, in
// the trial of ten days, the A of the line, the C of the age, and a B of the
// age alone, because the share of the range is just what temperature does.
func TestALineAndAnAge(t *testing.T) {
	p, _ := Find("ten-day-symmetrical")
	bare := p
	bare.Criteria = append([]Criterion{}, p.Criteria...)
	bare.Criteria[1].Of = StepLessRangeBare
	rapid.Check(t, func(rt *rapid.T) {
		perDegree := rapid.Float64Range(-0.3, 0.3).Draw(rt, "per degree")
		perDay := rapid.Float64Range(-0.02, 0.02).Draw(rt, "per day")
		of := p.PeriodOfDays()
		rates := make([]float64, p.Days())
		for i := range rates {
			rates[i] = perDegree*(*p.Periods[of[i]].TempC-15) + perDay*float64(i)
		}
		v := values(p, rates)
		for name, want := range map[string]float64{"A": 25 * math.Abs(perDegree), "B": 10 * perDay, "C": perDay} {
			if math.Abs(v[name]-want) > 1e-9 {
				rt.Errorf("%s: %g, not %g", name, v[name], want)
			}
		}
		// With signs ignored B is never negative here: the greatest step has both of one sign.
		if b := values(bare, rates)["B"]; math.Abs(b-10*math.Abs(perDay)) > 1e-9 {
			rt.Errorf("B with signs ignored: %g, not %g", b, 10*math.Abs(perDay))
		}
	})
}

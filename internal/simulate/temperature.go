package simulate

import (
	"math"
	"math/rand/v2"
	"sort"
)

// ReferenceC is the temperature, °C, at which a rate is stated.
const ReferenceC = 20.0

// Thermogram is a temperature over time: straight lines between points, level
// before the first and after the last. The zero value is ReferenceC throughout.
type Thermogram struct {
	days []float64 // rising
	c    []float64 // °C
}

// Steady returns a temperature that never changes.
func Steady(c float64) Thermogram { return Thermogram{days: []float64{0}, c: []float64{c}} }

// At returns the temperature in °C.
func (t Thermogram) At(day float64) float64 {
	n := len(t.days)
	if n == 0 {
		return ReferenceC
	}
	i := sort.SearchFloat64s(t.days, day)
	switch i {
	case 0:
		return t.c[0]
	case n:
		return t.c[n-1]
	}
	part := (day - t.days[i-1]) / (t.days[i] - t.days[i-1])
	return t.c[i-1] + part*(t.c[i]-t.c[i-1])
}

// Excess returns the integrals of u, °C·d, and of u², °C²·d, from one day to a
// later one, where u is the temperature less ReferenceC.
func (t Thermogram) Excess(from, to float64) (u, u2 float64) {
	at, now := from, t.At(from)-ReferenceC
	for i := sort.SearchFloat64s(t.days, from); at < to; i++ {
		next := to
		if i < len(t.days) && t.days[i] < to {
			next = t.days[i]
		}
		then, d := t.At(next)-ReferenceC, next-at
		u += d * (now + then) / 2
		u2 += d * (now*now + now*then + then*then) / 3
		at, now = next, then
	}
	return u, u2
}

// Room is a heated room: a mean, a season and the weather.
type Room struct {
	MeanC      float64 // °C
	SeasonC    float64 // half the swing of the year, °C
	PhaseRad   float64 // of the season on day 0; the year begins to warm at 0
	WeatherC   float64 // standard deviation of the weather, °C
	MemoryDays float64 // after which the weather has forgotten itself to 1/e
}

// roomStep is the spacing of a room's record in days: one hour.
const roomStep = 1.0 / 24

// Record returns the temperature of the room over days from day 0 on.
func (r Room) Record(rng *rand.Rand, days float64) Thermogram {
	n := int(math.Ceil(days/roomStep)) + 1
	t := Thermogram{days: make([]float64, n), c: make([]float64, n)}
	keep := 0.0
	if r.MemoryDays > 0 {
		keep = math.Exp(-roomStep / r.MemoryDays)
	}
	weather := rng.NormFloat64()
	for i := range n {
		day := float64(i) * roomStep
		t.days[i] = day
		t.c[i] = r.MeanC + r.SeasonC*math.Sin(2*math.Pi*day/365+r.PhaseRad) + r.WeatherC*weather
		weather = keep*weather + math.Sqrt(1-keep*keep)*rng.NormFloat64()
	}
	return t
}

// Stage is one temperature of an oven trial.
type Stage struct {
	C    float64 // °C
	Days float64 // how long it is held, the ramp to the next one included
}

// OvenRampDays is how long an oven takes from one stage to the next: one hour.
const OvenRampDays = 1.0 / 24

// Oven returns the temperature of a trial whose first stage begins on day 0.
// Each later stage is reached OvenRampDays after the one before it ended.
func Oven(stages []Stage) Thermogram {
	var t Thermogram
	day := 0.0
	for i, s := range stages {
		at := day
		if i > 0 {
			t.days = append(t.days, day)
			t.c = append(t.c, stages[i-1].C)
			at = day + OvenRampDays
		}
		t.days = append(t.days, at)
		t.c = append(t.c, s.C)
		day += s.Days
	}
	return t
}

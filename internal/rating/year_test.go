package rating_test

import (
	"math"
	"math/rand/v2"
	"strconv"
	"testing"
	"time"

	"timeball/internal/rating"
	"timeball/internal/simulate"
	"timeball/internal/timescale"
)

// year is a simulated year of one instrument in a room with seasons: some days
// missed, one reading in fifty a blunder, the minute hand moved forward when
// it is thirty seconds slow and, one time in ten, not written down.
type year struct {
	history    rating.History
	size       []float64 // of each blunder, 0 for a good reading
	unrecorded int       // movements with three readings on either side
	ahead      [4]float64
	rate       float64
	end        float64
}

func newYear(rng *rand.Rand) year {
	var y year
	n := simulate.Noise{SigmaW: .1 * math.Pow(3, rng.Float64()), SigmaR: .01 * math.Pow(5, rng.Float64())}
	a, b, phase := .03*rng.NormFloat64(), -.008+.004*rng.NormFloat64(), 2*math.Pi*rng.Float64()
	temp := func(day float64) float64 { return 20 + 4*math.Sin(2*math.Pi*day/365+phase) }
	x, r, day, moved := 20*rng.NormFloat64(), -.7+.8*rng.NormFloat64(), 0.0, 0.0
	step := func(to float64) {
		for day < to-1e-9 {
			d := math.Min(0.5, to-day)
			u := temp(day+d/2) - 20
			x, r = n.Step(rng, x, r, d)
			x += d * (a*u + b*u*u)
			day += d
		}
	}
	var hidden []int
	for i := range 365 {
		if i > 0 && i < 364 && rng.Float64() < .15 {
			continue
		}
		to := math.Max(0, float64(i)+.04*rng.NormFloat64())
		step(to)
		if x+moved < -30 {
			moved += 60
			if rng.Float64() < .9 {
				y.history.Events = append(y.history.Events, rating.Event{At: timescale.AddDays(origin, to-.02), Kind: rating.HandsMoved, MovedS: 60})
			} else {
				hidden = append(hidden, len(y.size))
			}
		}
		slip := 0.0
		if rng.Float64() < .02 {
			slip = []float64{60, -60, 60, -60, 10, -10, 20 * rng.NormFloat64(), .5}[rng.IntN(8)]
		}
		at := timescale.AddDays(origin, to)
		y.history.Readings = append(y.history.Readings, rating.Reading{Ref: strconv.Itoa(len(y.size)), At: at, ErrorS: x + moved + .1*rng.NormFloat64() + slip, SDS: .1})
		y.history.Temperatures = append(y.history.Temperatures, rating.TemperatureAt{At: at, C: temp(to) + .2*rng.NormFloat64()})
		y.size, y.end = append(y.size, slip), to
	}
	for _, k := range hidden {
		if k >= 3 && len(y.size)-k >= 3 {
			y.unrecorded++
		}
	}
	y.rate = r
	for i, d := range horizons {
		step(y.end + d)
		y.ahead[i] = x + moved
	}
	return y
}

// TestYears rates 150 years: intervals hold, blunders are found, good readings
// stay and unrecorded movements of the minute hand are told. The band of the
// coverage is the 99.9% one for 150 histories of a true 95%.
func TestYears(t *testing.T) {
	rng := rand.New(rand.NewPCG(99, 1))
	const years = 150
	var inside [4]int
	insideRate, good, goodAside, large, found, hidden, told := 0, 0, 0, 0, 0, 0, 0
	for range years {
		y := newYear(rng)
		var ask []time.Time
		for _, d := range horizons {
			ask = append(ask, timescale.AddDays(origin, y.end+d))
		}
		r, err := rating.Rate(y.history, rating.Options{At: ask})
		if err != nil {
			t.Fatal(err)
		}
		for i := range horizons {
			if e := r.Asked[i].Error; e.Lo95 <= y.ahead[i] && y.ahead[i] <= e.Hi95 {
				inside[i]++
			}
		}
		if r.Rate.Lo95 <= y.rate && y.rate <= r.Rate.Hi95 {
			insideRate++
		}
		aside := map[string]bool{}
		for _, s := range r.SetAside {
			aside[s.Ref] = true
		}
		for k, size := range y.size {
			out := aside[strconv.Itoa(k)]
			switch {
			case size == 0:
				good++
				if out {
					goodAside++
				}
			case math.Abs(size) >= 5:
				large++
				if out {
					found++
				}
			}
		}
		hidden += y.unrecorded
		told += min(y.unrecorded, len(r.Unrecorded))
	}
	t.Logf("inside %v, rate %d of %d; good set aside %d of %d; blunders found %d of %d; unrecorded moves told %d of %d",
		inside, insideRate, years, goodAside, good, found, large, told, hidden)
	for i, n := range append(inside[:], insideRate) {
		if n < 133 {
			t.Errorf("horizon %d: %d of %d inside", i, n, years)
		}
	}
	if float64(goodAside) > 0.0015*float64(good) {
		t.Errorf("%d of %d good readings set aside", goodAside, good)
	}
	if float64(found) < 0.995*float64(large) {
		t.Errorf("%d of %d blunders found", found, large)
	}
	if told < hidden-1 {
		t.Errorf("%d of %d unrecorded moves told", told, hidden)
	}
}

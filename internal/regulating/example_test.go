package regulating_test

import (
	"fmt"
	"time"

	"timeball/internal/clock"
	"timeball/internal/regulating"
	"timeball/internal/statespace"
)

// A box chronometer of Lantern Quay was turned twice, with a week of
// comparisons about each turning.
func ExampleLearn() {
	day := func(d int) time.Time { return time.Date(2027, 3, 1+d, 8, 0, 0, 0, time.UTC) }
	first := &regulating.Stretch{From: day(0), To: day(7), RateSPerDay: 2.9, SDS: 0.02}
	second := &regulating.Stretch{From: day(8), To: day(15), RateSPerDay: -1.4, SDS: 0.02}
	third := &regulating.Stretch{From: day(16), To: day(23), RateSPerDay: 0.3, SDS: 0.02}
	model := regulating.Usual(regulating.TimingScrews)
	model.Noise = statespace.Noise{SigmaW: 0.14, SigmaR: 0.012}
	effect := regulating.Learn(regulating.TimingScrews, []regulating.Turning{
		{At: day(7).Add(time.Hour), Part: regulating.TimingScrews, TurnsOut: 0.25, TurnsKnown: true, Before: first, After: second},
		{At: day(15).Add(time.Hour), Part: regulating.TimingScrews, TurnsOut: -0.1, TurnsKnown: true, Before: second, After: third},
	}, model)
	fmt.Printf("a turn out of both: %s (from %.0f to %.0f)\n", clock.Rate(effect.PerTurn.Mean), -effect.PerTurn.Hi95, -effect.PerTurn.Lo95)

	a := regulating.Advise(regulating.Estimate{Mean: 0.3, SD: 0.06}, effect, regulating.UsualWish(), regulating.Measuring{Noise: model.Noise})
	fmt.Println(a.Words)
	fmt.Printf("then %s %s a day; compare for %d days\n", clock.Rate(a.Expect.Mean).Words(a.Expect.Half()), clock.Rate(0).HalfWidth(a.Expect.Half()), a.CompareDays)
	fmt.Println(a.Worth)
	// Output:
	// a turn out of both: losing 17.20 s a day (from 15 to 19)
	// both screws out by 1/20 of a turn, the same on each
	// then losing 0.56 s ±0.54 a day; compare for 4 days
	// Worth turning: chances of lying within the wish rise from less than 2 in 100 to about 56 in 100.
}

func ExampleTurns() {
	fmt.Println(regulating.Turns(0.075, 1.0/40))
	fmt.Println(regulating.Turns(1.25, 1.0/40))
	// Output:
	// 3/40 of a turn
	// 1 and 1/4 turns
}

// How well the rate can be known after a number of daily comparisons of 0.1 s.
func ExampleRateDoubt() {
	ordinary := statespace.Noise{SigmaW: 0.2, SigmaR: 0.02}
	for _, n := range []int{5, 8, 15, 31} {
		fmt.Printf("%2d: %.4f s/d\n", n, regulating.RateDoubt(n, 1, ordinary, 0.1))
	}
	// Output:
	//  5: 0.1081 s/d
	//  8: 0.0837 s/d
	// 15: 0.0681 s/d
	// 31: 0.0640 s/d
}

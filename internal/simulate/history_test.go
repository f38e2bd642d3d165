package simulate_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/google/go-cmp/cmp"
	"gonum.org/v1/gonum/stat"

	"timeball/internal/simulate"
)

type generator struct {
	name string
	make func(*rand.Rand) simulate.History
}

func generators() []generator {
	carriage := func(change float64) func(*rand.Rand) simulate.History {
		return func(rng *rand.Rand) simulate.History {
			return simulate.Carriage(rng, simulate.CarriageCase{
				Noise: simulate.Noise{SigmaW: 0.2, SigmaR: 0.02}, SDS: 0.1, Each: 14, GapDays: 5, RateChange: change,
			})
		}
	}
	return []generator{
		{"workshop mix", simulate.WorkshopMix}, {"usual mix", simulate.UsualMix}, {"clean", simulate.Clean30},
		{"short", simulate.Short10}, {"weekly", simulate.Weekly52}, {"carriage", carriage(0)}, {"carriage, changed", carriage(0.6)},
	}
}

func TestTheSameSeedGivesTheSameHistory(t *testing.T) {
	for _, g := range generators() {
		a, b, other := g.make(source(4)), g.make(source(4)), g.make(source(5))
		if diff := cmp.Diff(a, b); diff != "" {
			t.Errorf("%s: %s", g.name, diff)
		}
		if cmp.Equal(a, other) {
			t.Errorf("%s: another seed gives the same history", g.name)
		}
	}
}

func TestHistoriesAreWhole(t *testing.T) {
	rng := source(11)
	for _, g := range generators() {
		for range 100 {
			h := g.make(rng)
			n := len(h.TDays)
			for what, m := range map[string]int{
				"errors": len(h.ErrorS), "standard deviations": len(h.SDS), "misreadings": len(h.BlunderS), "flags": len(h.Blunder), "true errors": len(h.Truth.ErrorS),
			} {
				if m != n {
					t.Fatalf("%s: %d %s of %d readings", g.name, m, what, n)
				}
			}
			if h.TDays[0] != 0 {
				t.Fatalf("%s: the first reading is at %g", g.name, h.TDays[0])
			}
			for i := range n {
				if i > 0 && h.TDays[i] <= h.TDays[i-1] {
					t.Fatalf("%s: reading %d is no later than the one before", g.name, i)
				}
				if h.Blunder[i] != (h.BlunderS[i] != 0) {
					t.Fatalf("%s: reading %d: misread %v by %g", g.name, i, h.Blunder[i], h.BlunderS[i])
				}
				if z := (h.ErrorS[i] - h.BlunderS[i] - h.Truth.ErrorS[i]) / h.SDS[i]; math.Abs(z) > 6 {
					t.Fatalf("%s: reading %d is %.1f of its standard deviations off", g.name, i, z)
				}
			}
		}
	}
}

// The population of the mixes is the one stated in their comments.
func TestMixesKeepTheirRecipe(t *testing.T) {
	const runs = 3000
	for _, g := range generators()[:2] {
		workshop := g.name == "workshop mix"
		t.Run(g.name, func(t *testing.T) {
			rng := source(21)
			var lnW, lnR, lnRatio, linear, quadratic, spacing, tempStep []float64
			var read, due, misread, endsMisread, ends float64
			sizes := map[float64]float64{}
			sds := map[float64]int{}
			for range runs {
				h := g.make(rng)
				n, last := len(h.TDays), h.TDays[len(h.TDays)-1]
				days := int(math.Round(last)) + 1
				between(t, "days", float64(days), 10, 60)
				between(t, "σw", h.Truth.Noise.SigmaW, 0.1, 0.3)
				between(t, "σr", h.Truth.Noise.SigmaR, 0.01, 0.05)
				lnW = append(lnW, math.Log(h.Truth.Noise.SigmaW/0.1)/math.Log(3))
				lnR = append(lnR, math.Log(h.Truth.Noise.SigmaR/0.01)/math.Log(5))
				lnRatio = append(lnRatio, math.Log(float64(days)/10)/math.Log(6))
				linear, quadratic = append(linear, h.Truth.Linear), append(quadratic, h.Truth.Quadratic)
				read, due = read+float64(n-2), due+float64(days-2)
				sds[h.SDS[0]]++
				for i := range n {
					if h.SDS[i] != h.SDS[0] {
						t.Fatal("two standard deviations in one run")
					}
					if i > 0 && i < n-1 {
						spacing = append(spacing, h.TDays[i]-math.Round(h.TDays[i]))
					}
					if h.Blunder[i] {
						misread++
						sizes[math.Abs(h.BlunderS[i])]++
						if i == 0 || i == n-1 {
							endsMisread++
						}
					}
					if workshop && i > 0 && h.TDays[i]-h.TDays[i-1] < 1.3 {
						tempStep = append(tempStep, h.TempC[i]-h.TempC[i-1])
					}
				}
				ends += 2
				if (h.TempC != nil) != workshop {
					t.Fatalf("temperatures read: %v", h.TempC != nil)
				}
			}
			uniform := func(what string, u []float64) {
				within(t, what+", mean of its share of the range", stat.Mean(u, nil), 0.5, math.Sqrt(1.0/12/runs))
				within(t, what+", variance of its share of the range", stat.Variance(u, nil), 1.0/12, math.Sqrt(1.0/180/runs))
			}
			uniform("ln σw", lnW)
			uniform("ln σr", lnR)
			// The number of days is rounded, which moves the mean of its share by some 0.001.
			within(t, "ln days", stat.Mean(lnRatio, nil), 0.5, math.Sqrt(1.0/12/runs))
			share(t, "read", read, due, 0.8)
			// A reading and the first of its run are each 0.04 d off the hour.
			within(t, "hour of reading", stat.StdDev(spacing, nil), 0.04*math.Sqrt2, 0.04/math.Sqrt(2*runs))
			for _, sd := range []float64{0.02, 0.1, 0.3} {
				share(t, "runs of one standard deviation", float64(sds[sd]), runs, 1.0/3)
			}
			if !workshop {
				if misread != 0 || stat.StdDev(linear, nil) != 0 || stat.StdDev(quadratic, nil) != 0 {
					t.Error("the usual mix has misreadings or temperature")
				}
				return
			}
			share(t, "misread", misread, read+ends, 0.02)
			share(t, "first and last misread", endsMisread, ends, 0.02)
			for size, p := range map[float64]float64{60: 0.5, 0.5: 0.2, 1: 0.1, 10: 0.1} {
				share(t, "misread by a usual slip", sizes[size], misread, p)
			}
			within(t, "linear coefficient", stat.Mean(linear, nil), 0, 0.03/math.Sqrt(runs))
			within(t, "its scatter", stat.StdDev(linear, nil), 0.03, 0.03/math.Sqrt(2*runs))
			within(t, "quadratic coefficient", stat.Mean(quadratic, nil), -0.008, 0.004/math.Sqrt(runs))
			within(t, "its scatter", stat.StdDev(quadratic, nil), 0.004, 0.004/math.Sqrt(2*runs))
			// Weather of 1.2 °C and three days' memory, two readings of 0.2 °C; the straight lines between the
			// hours of the record take away a third of what the weather changes in an hour; the season adds next to nothing.
			want := math.Sqrt(2*1.44*(1-math.Exp(-1.0/3)-(1-math.Exp(-1.0/72))/3) + 2*0.04)
			within(t, "temperature from day to day", stat.StdDev(tempStep, nil), want, want/math.Sqrt(float64(len(tempStep))))
		})
	}
}

// The forecast through the first and the last reading has an error whose
// variance follows from the clock model: with h days ahead of a record of T
// days and readings of sd s, weights a = h/T give
// s²((1+a)²+a²) + σw²(h + a²T) + σr²(h²T + h³/3 - 2(a h T²/2) + a²T³/3).
func TestTwoEndReadingsForecastAsTheClockModelSays(t *testing.T) {
	const runs = 4000
	for _, c := range []struct {
		generator
		T, s float64
	}{{generators()[2], 29, 0.1}, {generators()[3], 9, 0.1}, {generators()[4], 357, 0.3}} {
		rng := source(31)
		var miss [len(simulate.Horizons)][]float64
		for range runs {
			h := c.make(rng)
			n := len(h.TDays)
			rate := (h.ErrorS[n-1] - h.ErrorS[0]) / h.TDays[n-1]
			for i, ahead := range simulate.Horizons {
				miss[i] = append(miss[i], h.ErrorS[n-1]+rate*ahead-h.Truth.AheadS[i])
			}
		}
		for i, h := range simulate.Horizons {
			a, w, r := h/c.T, 0.2, 0.02
			want := math.Sqrt(c.s*c.s*((1+a)*(1+a)+a*a) + w*w*(h+a*a*c.T) + r*r*(h*h*c.T+h*h*h/3-a*h*c.T*c.T+a*a*c.T*c.T*c.T/3))
			within(t, c.name, stat.StdDev(miss[i], nil), want, want/math.Sqrt(2*runs))
		}
	}
}

func TestCarriageStepsTheRate(t *testing.T) {
	c := simulate.CarriageCase{SDS: 1e-9, Each: 8, GapDays: 5, RateChange: 0.6}
	h := simulate.Carriage(source(2), c)
	slope := func(from, to int) float64 { return (h.ErrorS[to] - h.ErrorS[from]) / (h.TDays[to] - h.TDays[from]) }
	if got := slope(8, 15) - slope(0, 7); math.Abs(got-0.6) > 1e-6 {
		t.Errorf("the rate changed by %.7f s/d, want 0.6", got)
	}
	if got := h.TDays[8] - h.TDays[7]; got != 5 {
		t.Errorf("the gap is %g d", got)
	}
	want := []simulate.Event{{TDays: 8.25, Kind: simulate.Stopped}, {TDays: 9.5, Kind: simulate.Carried}, {TDays: 10.75, Kind: simulate.Started}}
	if diff := cmp.Diff(want, h.Events); diff != "" {
		t.Error(diff)
	}
}

func between(t testing.TB, what string, got, lo, hi float64) {
	t.Helper()
	if got < lo || got > hi {
		t.Fatalf("%s: %g is outside %g to %g", what, got, lo, hi)
	}
}

// share fails unless k of n is as near to p as chance allows.
func share(t testing.TB, what string, k, n, p float64) {
	t.Helper()
	within(t, what, k/n, p, math.Sqrt(p*(1-p)/n))
}

package journey_test

import (
	"encoding/csv"
	"math"
	"math/rand/v2"
	"os"
	"strconv"
	"sync"
	"testing"

	"timeball/internal/journey"
	"timeball/internal/rating"
	"timeball/internal/simulate"
	"timeball/internal/statespace"
)

// TestPowerTable: the standard deviation of the change of rate and the chance
// of seeing 0.3 s/d at the two-sided 5% level, n daily comparisons on each side,
// five days between, stopped, the noise known, to the printed digits.
func TestPowerTable(t *testing.T) {
	file, err := os.Open("testdata/power.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	r := csv.NewReader(file)
	r.Comment = '#'
	rows, err := r.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	for _, row := range rows[1:] {
		var v [6]float64
		for i := range v {
			if v[i], err = strconv.ParseFloat(row[i], 64); err != nil {
				t.Fatal(err)
			}
		}
		n := int(v[3])
		d := journey.Daily{Noise: statespace.Noise{SigmaW: v[0], SigmaR: v[1]}, SDS: v[2], GapDays: 5, Before: n, After: n}
		if sd, power := d.SD(), d.Power(0.3, 0.05); math.Abs(sd-v[4]) > 0.5001e-4 || math.Abs(power-v[5]) > 0.5001e-3 {
			t.Errorf("%v: sd %.5f, power %.4f", row, sd, power)
		}
	}
	t.Logf("%d rows", len(rows)-1)
	if len(rows)-1 != 168 {
		t.Errorf("%d rows, want 168", len(rows)-1)
	}
}

// published has, for a comparison of 0.1 s and five days between, the power in
// per cent at n = 5, 7, 10, 14, 21 and 30, the days on each side for 80% (0:
// never) and the standard deviation that no number of days betters, from the
// same computation.
var published = []struct {
	w, r  float64
	power [6]float64
	days  int
	limit float64
}{
	{.1, .01, [6]float64{92, 99, 100, 100, 100, 100}, 5, .050},
	{.1, .02, [6]float64{84, 93, 95, 96, 96, 96}, 5, .077},
	{.15, .015, [6]float64{68, 83, 92, 96, 97, 98}, 7, .075},
	{.2, .01, [6]float64{51, 68, 84, 93, 98, 99}, 10, .067},
	{.2, .02, [6]float64{47, 61, 73, 80, 83, 84}, 15, .100},
	{.2, .03, [6]float64{42, 52, 59, 62, 64, 64}, 0, .128},
	{.3, .02, [6]float64{27, 36, 48, 58, 66, 70}, 0, .118},
	{.3, .05, [6]float64{21, 26, 29, 30, 30, 30}, 0, .206},
}

func TestDaysAndLimit(t *testing.T) {
	for _, p := range published {
		d := journey.Daily{Noise: statespace.Noise{SigmaW: p.w, SigmaR: p.r}, SDS: .1, GapDays: 5}
		days, ok := d.EachSide(0.3, 0.05)
		if ok != (p.days > 0) || days != p.days {
			t.Errorf("%v/%v: %d days each side (%v), want %d", p.w, p.r, days, ok, p.days)
		}
		if math.Abs(d.Limit()-p.limit) > 0.00051 {
			t.Errorf("%v/%v: limit %.4f, want %.3f", p.w, p.r, d.Limit(), p.limit)
		}
		for i, n := range []int{5, 7, 10, 14, 21, 30} {
			if d.Before, d.After = n, n; math.Abs(100*d.Power(0.3, 0.05)-p.power[i]) > 0.51 {
				t.Errorf("%v/%v, %d days: %.1f%%, want %v", p.w, p.r, n, 100*d.Power(0.3, 0.05), p.power[i])
			}
		}
		// Many fine comparisons come near the limit and never below it.
		d.Before, d.After, d.SDS = 100, 100, 0.001
		if ratio := d.SD() / d.Limit(); ratio < 1 || ratio > 1.01 {
			t.Errorf("%v/%v: sd %.4f of a hundred days, limit %.4f", p.w, p.r, d.SD(), d.Limit())
		}
	}
	// White noise alone, read without error: the two mean rates have σw/√T each.
	d := journey.Daily{Noise: statespace.Noise{SigmaW: .2, SigmaR: 1e-9}, SDS: 1e-6, GapDays: 5, Before: 8, After: 15}
	if want := .2 * math.Sqrt(1./7+1./14); math.Abs(d.SD()/want-1) > 1e-3 {
		t.Errorf("white noise alone: %v, want %v", d.SD(), want)
	}
}

// TestSimulatedPower: simulated instruments show as often as the table says
// what a test at 5% shows when their noise is known.
func TestSimulatedPower(t *testing.T) {
	const runs = 1500
	rng := rand.New(rand.NewPCG(21, 22))
	cells, off := 0, 0.0
	for _, p := range published {
		for i, n := range []int{5, 7, 10, 14, 21, 30} {
			q := statespace.Noise{SigmaW: p.w, SigmaR: p.r}
			seen := 0
			for range runs {
				h := simulate.Carriage(rng, simulate.CarriageCase{Noise: simulate.Noise(q), SDS: .1, Each: n, GapDays: 5, RateChange: .3})
				if z := knownNoise(t, h, n, q); math.Abs(z) > 1.959964 {
					seen++
				}
			}
			share, want := float64(seen)/runs, p.power[i]/100
			// The table is cut to a hundredth, and the share scatters.
			se := math.Sqrt(max(want*(1-want), 0.0025) / runs)
			if math.Abs(share-want) > 3.5*se+0.005 {
				t.Errorf("%v/%v, %d days: seen %.1f%%, want %v", p.w, p.r, n, 100*share, p.power[i])
			}
			cells++
			off += math.Abs(share - want)
		}
	}
	t.Logf("%d cells of %d journeys, %.1f points from the table on average", cells, runs, 100*off/float64(cells))
}

// knownNoise returns the change of rate over its standard deviation.
func knownNoise(t *testing.T, h simulate.History, each int, q statespace.Noise) float64 {
	t.Helper()
	s := statespace.Series{T: h.TDays, Cols: 5}
	for k, day := range h.TDays {
		row := []float64{1, day, 0, 0, h.ErrorS[k]}
		if k >= each {
			row[2], row[3] = 1, day-h.TDays[each]
		}
		s.Rows = append(s.Rows, row...)
		s.Var = append(s.Var, h.SDS[k]*h.SDS[k])
	}
	flat := math.Inf(1)
	var ws statespace.Workspace
	fit, ok := ws.Filter(s, q, statespace.Prior{Mean: make([]float64, 4), SD: []float64{flat, flat, flat, 10}})
	if !ok {
		t.Fatal("no fit")
	}
	return fit.Beta[3] / math.Sqrt(fit.Cov[15])
}

// TestEstimatedPower: the same with the noise averaged over, of how many
// journeys a test at 5% says that the rate changed, against 250 runs a cell of
// an independent program.
func TestEstimatedPower(t *testing.T) {
	const runs = 250
	for _, c := range []struct {
		w, r float64
		n    int
		want [2]float64 // per cent at 0 and 0.3 s/d
	}{
		{.2, .02, 7, [2]float64{4, 37}}, {.2, .02, 14, [2]float64{2, 63}},
		{.1, .01, 7, [2]float64{2, 79}},
	} {
		for i, change := range []float64{0, .3} {
			var mu sync.Mutex
			seen := 0
			each(runs, uint64(100*c.n+i), func(_ int, rng *rand.Rand) {
				h, carriage := sail(rng, voyage{noise: simulate.Noise{SigmaW: c.w, SigmaR: c.r}, sd: .1, before: c.n, after: c.n, stopped: true, change: change})
				got, err := rating.Test(h, []rating.Effect{{At: carriage.Left.Add(carriage.Arrived.Sub(carriage.Left) / 2), On: rating.OnRate, SD: 10}})
				if err != nil {
					t.Error(err)
					return
				}
				mu.Lock()
				defer mu.Unlock()
				if got.Found[0].P < 0.05 {
					seen++
				}
			})
			share, want := float64(seen)/runs, c.want[i]/100
			se := math.Sqrt(max(want*(1-want), 0.01)/250 + max(share*(1-share), 0.01)/runs)
			t.Logf("%v/%v, %d days, %.1f s/d: %.0f%%, published %v", c.w, c.r, c.n, change, 100*share, c.want[i])
			if math.Abs(share-want) > 3*se {
				t.Errorf("%v/%v, %d days, %.1f s/d: %.0f%%, published %v", c.w, c.r, c.n, change, 100*share, c.want[i])
			}
		}
	}
}

package cornered_test

import (
	"math"
	"math/rand/v2"
	"strconv"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"timeball/internal/together/cornered"
	"timeball/internal/together/rounds"
	"timeball/internal/together/voyage"
)

// steadiness returns that of a book.
func steadiness(b rounds.Book, m int) (cornered.Hat, error) {
	tb, err := rounds.Lay(b, false)
	if err != nil {
		return cornered.Hat{}, err
	}
	return cornered.Steadiness(tb, 1, m)
}

// printed says whether got rounds to want, which is written to its last digit.
func printed(t *testing.T, what string, got float64, want string) {
	t.Helper()
	decimals := 0
	if i := strings.IndexByte(want, '.'); i >= 0 {
		decimals = len(want) - i - 1
	}
	if text := strconv.FormatFloat(got, 'f', decimals, 64); text != want {
		t.Errorf("%s = %s (%.8g), want %s", what, text, got, want)
	}
}

// Seven days of differences by hand. The formula is that of J. E. Gray,
// D. W. Allan (1974); the sums were done apart from this program.
func TestCornersByHand(t *testing.T) {
	ab := []float64{0, 1.1, 2.0, 3.2, 4.1, 5.3, 6.2}
	ac := []float64{0, -.5, -1.1, -1.4, -2.2, -2.6, -3.2}
	c, err := steadiness(voyage.Daily(ab, ac), 1)
	if err != nil {
		t.Fatal(err)
	}
	for i, want := range []string{"0.040", "0.055", "0.007"} {
		d := c.Pairs[i].DeviationPerDay
		printed(t, c.Pairs[i].A+c.Pairs[i].B, d*d, want)
	}
	for i, want := range []struct{ hat, likely string }{{"0.044", "0.1506"}, {"-0.004", "0.0000"}, {"0.011", "0.0816"}} {
		k := c.Instruments[i]
		printed(t, "hat of "+k.Name, k.HatVariance, want.hat)
		printed(t, "likely "+k.Name, k.RatesSD, want.likely)
	}
	if b := c.Instruments[1]; b.Hat != nil || b.Resolved || b.Lo95 != 0 || !(b.Hi95 > 0) {
		t.Errorf("B is not resolved: %+v", b)
	}
	if b := c.Instruments[1]; b.RatesSD != 0 {
		t.Errorf("B lies on the boundary, got %g", b.RatesSD)
	}
}

// The simulated comparison book whose first line says how it was made; the
// sums were done apart from this program.
func TestCornersOfTheBook(t *testing.T) {
	b, err := voyage.Three()
	if err != nil {
		t.Fatal(err)
	}
	b.Rows = b.Rows[:41]
	c, err := steadiness(b, 1)
	if err != nil {
		t.Fatal(err)
	}
	for i, want := range []string{"0.057497", "0.125492", "0.144574"} {
		d := c.Pairs[i].DeviationPerDay
		printed(t, c.Pairs[i].A+c.Pairs[i].B, d*d, want)
	}
	for i, want := range []struct{ variance, sd, likely string }{
		{"0.019208", "0.1386", "0.1229"}, {"0.038290", "0.1957", "0.1826"}, {"0.106285", "0.3260", "0.3488"},
	} {
		k := c.Instruments[i]
		printed(t, "hat variance of "+k.Name, k.HatVariance, want.variance)
		printed(t, "hat of "+k.Name, *k.Hat, want.sd)
		printed(t, "likely "+k.Name, k.RatesSD, want.likely)
		truth := []float64{.10, .20, .35}[i]
		t.Logf("%s: most likely %.4f, 95%% %.4f to %.4f, true %.2f, %.1f degrees of freedom", k.Name, k.Deviation, k.Lo95, k.Hi95, truth, c.EDF)
		if k.Lo95 > truth || k.Hi95 < truth {
			t.Errorf("%s: %.3f to %.3f does not hold %.2f", k.Name, k.Lo95, k.Hi95, truth)
		}
	}
	// 3(N-1)/2 - 2(N-2)/N times 4/9 for N = 41, white FM (D. Howe, D. Allan,
	// J. Barnes, 1981): 25.8, an approximation good to a few in a hundred.
	if math.Abs(c.EDF/25.8-1) > 0.03 {
		t.Errorf("%.2f degrees of freedom, want about 25.8", c.EDF)
	}
}

// The order in which the instruments stand changes nothing but the order.
func TestOrderOfInstruments(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		size := rapid.Float64Range(-8, 8).Draw(t, "jump")
		jump := func(day float64, errorS []float64) {
			if day > 5 {
				errorS[1] += size
			}
		}
		b, _ := voyage.Plan{Instruments: 3, Days: rapid.IntRange(8, 16).Draw(t, "days"), SD: 0.1, Change: jump}.Book(voyage.Seeded(rapid.Uint64().Draw(t, "seed")))
		order := rapid.Permutation([]int{0, 1, 2}).Draw(t, "order")
		var turned rounds.Book
		for _, i := range order {
			turned.Names = append(turned.Names, b.Names[i])
		}
		for _, row := range b.Rows {
			errors := row.ErrorS
			row.ErrorS = nil
			for _, i := range order {
				row.ErrorS = append(row.ErrorS, errors[i])
			}
			turned.Rows = append(turned.Rows, row)
		}
		p, err := steadiness(b, 1)
		q, err2 := steadiness(turned, 1)
		if err != nil || err2 != nil {
			t.Fatal(err, err2)
		}
		for at, j := range order {
			a, c := p.Instruments[j], q.Instruments[at]
			if a.Name != c.Name || math.Abs(a.HatVariance-c.HatVariance) > 1e-6*(1+math.Abs(a.HatVariance)) || math.Abs(a.Deviation-c.Deviation) > 1e-3 || math.Abs(a.Hi95-c.Hi95) > 1e-3 {
				t.Errorf("%+v and %+v", a, c)
			}
		}
	})
}

// held fails unless count of n is what 95% intervals give.
func held(t *testing.T, what string, count, n int) {
	t.Helper()
	t.Logf("%s: %d of %d (%.1f%%)", what, count, n, 100*float64(count)/float64(n))
	if err := voyage.Held(count, n); err != nil {
		t.Errorf("%s: %v", what, err)
	}
}

// The interval of each one's steadiness holds its true Allan deviation.
func TestCornersAreHonest(t *testing.T) {
	fixed := func(white ...float64) func(int, *rand.Rand) *voyage.Clock {
		return func(i int, _ *rand.Rand) *voyage.Clock { return &voyage.Clock{White: white[i]} }
	}
	all, count, resolved, good := 0, 0, 0, 0
	for _, tt := range []struct {
		name string
		v    voyage.Plan
		m    int
		runs int
	}{
		{"three unlike", voyage.Plan{Instruments: 3, Days: 41, SD: 0.01, Draw: fixed(.10, .20, .35)}, 1, 60},
		{"three alike", voyage.Plan{Instruments: 3, Days: 21, SD: 0.01, Draw: fixed(.2, .2, .2)}, 1, 60},
		{"three ordinary, over five days", voyage.Plan{Instruments: 3, Days: 60, SD: 0.1}, 5, 60},
		{"five ordinary", voyage.Plan{Instruments: 5, Days: 41, SD: 0.05}, 1, 25},
	} {
		rng := voyage.Seeded(5)
		hold, n, negative := 0, 0, 0
		for range tt.runs {
			b, clocks := tt.v.Book(rng)
			c, err := steadiness(b, tt.m)
			if err != nil {
				t.Fatal(err)
			}
			for i, k := range c.Instruments {
				tau := float64(tt.m)
				truth := math.Sqrt(clocks[i].White*clocks[i].White/tau + clocks[i].Wander*clocks[i].Wander*tau/3)
				in := k.Lo95 <= truth && truth <= k.Hi95
				n++
				if in {
					hold++
				}
				if k.Resolved {
					resolved++
					if in {
						good++
					}
				}
				if k.Hat == nil {
					negative++
				}
				if (k.Hat == nil) != (k.HatVariance <= 0) {
					t.Errorf("hat %v of variance %g", k.Hat, k.HatVariance)
				}
			}
		}
		held(t, tt.name, hold, n)
		t.Logf("%s: %d of %d variances shared out are negative", tt.name, negative, n)
		all, count = all+hold, count+n
	}
	held(t, "all", all, count)
	held(t, "where resolved", good, resolved)
}

package setting_test

import (
	"math"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"timeball/internal/clock"
	"timeball/internal/setting"
	"timeball/internal/timescale"
)

// window returns when the lower and the upper 95% limit of the error reach -30
// once it has been moved k minutes on: the two roots of
// (e + 60k + 30 + rt)² = z² (se² + (sr t)² + q² t).
func (g going) window(k int) (from, to float64, ok bool) {
	z2 := 1.959964 * 1.959964
	c := g.e + 60*float64(k) + 30
	a, b, d := g.r*g.r-z2*g.sr*g.sr, 2*c*g.r-z2*g.q*g.q, c*c-z2*g.se*g.se
	root := b*b - 4*a*d
	if a <= 0 || root < 0 {
		return 0, 0, false
	}
	return (-b - math.Sqrt(root)) / (2 * a), (-b + math.Sqrt(root)) / (2 * a), true
}

// TestMovesOfTwoYears works every move of M1 to M6 in two years from the
// formula: the repeat interval given there lies between one and the next, and
// each window is the pair of roots of a quadratic.
func TestMovesOfTwoYears(t *testing.T) {
	for _, row := range rows(t, "minute_hand.csv") {
		t.Run(row["id"], func(t *testing.T) {
			get := func(name string) float64 { return number(t, row[name]) }
			now, err := time.Parse("2006-01-02T15:04", row["epoch_utc"])
			if err != nil {
				t.Fatal(err)
			}
			until := now.AddDate(2, 0, 0)
			g := going{get("e0_s"), get("rate_s_per_day"), get("se_s"), get("sr_s_per_day"), get("q_s_per_sqrt_day")}
			m := setting.HandMoves(now, clock.Rate(g.r), g.sr, 30, g.ahead(math.Inf(1)), until)
			first, every := get("days_to_-30"), get("repeat_interval_days")
			for k, w := range m.Windows {
				from, to, ok := g.window(k)
				if !ok {
					t.Fatalf("move %d has no window by the formula", k+1)
				}
				at := first + float64(k)*every
				for what, c := range map[string]struct {
					got  time.Time
					want float64
				}{"from": {w.From, from}, "at": {w.At, at}, "to": {w.To, to}} {
					// The table gives both the first move and the interval to half a thousandth of a day.
					if days := timescale.Days(now, c.got); math.Abs(days-c.want) > 0.00051*float64(k+1) {
						t.Errorf("move %d %s: %.4f days, want %.4f", k+1, what, days, c.want)
					}
				}
				if to-from > every/2 {
					t.Errorf("move %d is listed with a window of %.1f days every %.1f", k+1, to-from, every)
				}
			}
			from, to, ok := g.window(len(m.Windows))
			switch m.Then {
			case setting.OnWithTheYears:
				if ok && from < timescale.Days(now, until) {
					t.Errorf("a move from day %.1f is missing", from)
				}
			case setting.CompareFirst:
				if ok && to-from <= every/2 {
					t.Errorf("the window from day %.1f to %.1f is refused", from, to)
				}
				if d := timescale.Days(now, m.After); ok && math.Abs(d-from) > 0.001 {
					t.Errorf("compare before day %.3f, want %.3f", d, from)
				}
			default:
				t.Errorf("the list ends %v", m.Then)
			}
			// M1 has no doubt of its rate: 120 days apart, two years hold six.
			if row["id"] == "M1" && (len(m.Windows) != 6 || m.Then != setting.OnWithTheYears) {
				t.Errorf("%d moves, then %v", len(m.Windows), m.Then)
			}
			// M3: the limits are 3.92 sr t / 2 = 15 days apart after 15·2/(3.92·0.05) = 153 days, and the fifth move is due on day 150.
			if row["id"] == "M3" && (len(m.Windows) != 5 || m.Then != setting.CompareFirst) {
				t.Errorf("%d moves, then %v", len(m.Windows), m.Then)
			}
		})
	}
}

func TestEndsOfMoves(t *testing.T) {
	now := time.Date(2027, 3, 4, 9, 0, 0, 0, time.UTC)
	for _, c := range []struct {
		what  string
		g     going
		limit float64
		known float64
		moves int
		then  setting.Then
		after float64 // days; -1: none
	}{
		{"gaining", going{20, 0.5, 0.1, 0.01, 0}, 30, 400, 0, setting.NeverWhile, -1},
		{"gaining, a minute slow", going{-75, 0.5, 0.1, 0.01, 0}, 30, 400, 1, setting.NeverWhile, -1},
		{"a limit of 20", going{0, -0.5, 0.1, 0.01, 0}, 20, 400, 0, setting.NeverSo, -1},
		{"rate in doubt", going{20, -0.5, 0.1, 0.126, 0}, 30, 400, 0, setting.NotYet, -1},
		{"past it, the rate in doubt", going{-40, -0.5, 0.1, 0.5, 0}, 30, 400, 1, setting.NotYet, -1},
		{"minutes past it", going{-400, -1, 0.1, 0, 0}, 30, 1000, 13, setting.OnWithTheYears, 731},
		{"beyond what is known", going{20, -0.5, 0.1, 0.001, 0}, 30, 150, 1, setting.KnownNoFurther, 731},
		{"window ends beyond what is known", going{30, -1, 1, 0, 0}, 30, 61, 0, setting.KnownNoFurther, 60 - 1.959964},
		{"doubt outgrows the interval", going{30, -1, 0.1, 0.07, 0}, 30, 2000, 1, setting.CompareFirst, -2},
		{"a window without an end in sight", going{30, -1, 0.1, 0.249, 0}, 30, 100, 0, setting.CompareFirst, -2},
		{"none in two years", going{30, -0.05, 0.1, 0, 0}, 30, 4000, 0, setting.OnWithTheYears, 731},
		{"hardly losing", going{30, -0.001, 0.1, 0, 0}, 30, math.Inf(1), 0, setting.OnWithTheYears, 731},
	} {
		m := setting.HandMoves(now, clock.Rate(c.g.r), c.g.sr, c.limit, c.g.ahead(c.known), now.AddDate(2, 0, 0))
		if len(m.Windows) != c.moves || m.Then != c.then {
			t.Errorf("%s: %d moves, then %v; want %d, %v", c.what, len(m.Windows), m.Then, c.moves, c.then)
		}
		if c.after == -1 != m.After.IsZero() {
			t.Errorf("%s: after %v", c.what, m.After)
		} else if d := timescale.Days(now, m.After); c.after >= 0 && math.Abs(d-c.after) > 0.01 {
			t.Errorf("%s: after %.3f days, want %.3f", c.what, d, c.after)
		}
	}
}

// TestMovesOnceDue: what is due now is one window, and the next counts on it.
func TestMovesOnceDue(t *testing.T) {
	now := time.Date(2027, 3, 4, 9, 0, 0, 0, time.UTC)
	m := setting.HandMoves(now, -1, 0, 30, going{-100, -1, 0, 0, 0}.ahead(100), now.AddDate(0, 0, 90))
	if len(m.Windows) != 2 || m.Windows[0].Minutes != 2 || !m.Windows[0].At.Equal(now) {
		t.Fatalf("%+v", m)
	}
	// Two minutes on it is 20 s fast, and 30 s slow fifty days later.
	if d := timescale.Days(now, m.Windows[1].At); math.Abs(d-50) > 1e-6 || m.Windows[1].Minutes != 1 {
		t.Errorf("then %+v, day %.4f", m.Windows[1], d)
	}
}

// TestAnyMoves: windows are in order and apart, and following them at their
// best keeps the error within the limit.
func TestAnyMoves(t *testing.T) {
	now := time.Date(2027, 3, 4, 9, 0, 0, 0, time.UTC)
	rapid.Check(t, func(t *rapid.T) {
		g := going{rapid.Float64Range(-120, 120).Draw(t, "e"), rapid.Float64Range(-8, 3).Draw(t, "r"), rapid.Float64Range(0, 2).Draw(t, "se"),
			rapid.Float64Range(0, 0.2).Draw(t, "sr"), rapid.Float64Range(0, 0.3).Draw(t, "q")}
		limit := rapid.SampledFrom([]float64{30, 30.5, 45, 60, 75, 300}).Draw(t, "limit")
		known := rapid.Float64Range(0, 1000).Draw(t, "known")
		days := rapid.IntRange(0, 731).Draw(t, "until")
		until := now.AddDate(0, 0, days)
		ahead := g.ahead(known)
		m := setting.HandMoves(now, clock.Rate(g.r), g.sr, limit, ahead, until)
		if m.Then.Words() == "" || !strings.HasSuffix(m.Then.Words(), ".") {
			t.Fatalf("ends with %q", m.Then.Words())
		}
		added := 0.0
		for i, w := range m.Windows {
			if w.From.Before(now) || w.At.Before(w.From) || w.To.Before(w.At) || w.Minutes < 1 {
				t.Fatalf("move %d: %+v", i+1, w)
			}
			if i > 0 && w.From.Before(m.Windows[i-1].To) {
				t.Fatalf("move %d begins %s before the last ends %s", i+1, w.From, m.Windows[i-1].To)
			}
			if w.From.After(until) {
				t.Fatalf("move %d begins after the time asked for", i+1)
			}
			_, mean, _, ok := ahead(timescale.Days(now, w.At))
			if !ok {
				t.Fatalf("move %d lies beyond what is known", i+1)
			}
			before, after := mean+added, mean+added+60*float64(w.Minutes)
			// Between 30 and 60 s a window that is not sure keeps the lower limit only.
			if i > 0 && before < -limit-1e-3 || (w.Sure || limit == 30) && after > limit+1e-3 {
				t.Fatalf("move %d: from %.3f to %.3f", i+1, before, after)
			}
			added += 60 * float64(w.Minutes)
		}
	})
}

func TestThenWords(t *testing.T) {
	seen := map[string]bool{}
	for e := setting.OnWithTheYears; e <= setting.NotYet; e++ {
		if seen[e.Words()] {
			t.Errorf("%d says what another says: %q", e, e.Words())
		}
		seen[e.Words()] = true
	}
	if setting.Then(-1).Words() == "" || setting.Then(99).Words() == "" {
		t.Error("an end that is none has no words")
	}
}

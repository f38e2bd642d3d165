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

// going is an error that runs on: variance se² + (sr t)² + q² t.
type going struct{ e, r, se, sr, q float64 }

// ahead tells it up to a number of days.
func (g going) ahead(most float64) setting.Ahead {
	return func(t float64) (lo, mean, hi float64, ok bool) {
		if t > most {
			return 0, 0, 0, false
		}
		mean = g.e + g.r*t
		half := 1.959964 * math.Sqrt(g.se*g.se+g.sr*g.sr*t*t+g.q*g.q*t)
		return mean - half, mean, mean + half, true
	}
}

// TestWorkedMoves checks the windows worked from the formula, M1 to M6, to
// the three decimals of a day that are given.
func TestWorkedMoves(t *testing.T) {
	table := rows(t, "minute_hand.csv")
	if len(table) != 6 {
		t.Fatalf("%d rows, want 6", len(table))
	}
	for _, row := range table {
		t.Run(row["id"], func(t *testing.T) {
			get := func(name string) float64 { return number(t, row[name]) }
			now, err := time.Parse("2006-01-02T15:04", row["epoch_utc"])
			if err != nil {
				t.Fatal(err)
			}
			g := going{get("e0_s"), get("rate_s_per_day"), get("se_s"), get("sr_s_per_day"), get("q_s_per_sqrt_day")}
			w, advice := setting.HandMove(now, clock.Rate(g.r), g.sr, 30, g.ahead(math.Inf(1)))
			if advice != setting.Move || w.Minutes != 1 {
				t.Fatalf("%v, %+v", advice, w)
			}
			for what, c := range map[string]struct {
				got  time.Time
				want float64
			}{"from": {w.From, get("window_from_days")}, "at": {w.At, get("days_to_-30")}, "to": {w.To, get("window_to_days")}} {
				if days := timescale.Days(now, c.got); math.Abs(days-c.want) > 0.00051 {
					t.Errorf("%s: %.4f days, want %.3f", what, days, c.want)
				}
			}
			if got := w.At.Round(time.Minute).Format("2006-01-02T15:04"); got != row["advance_at_utc"] {
				t.Errorf("at %s, want %s", got, row["advance_at_utc"])
			}
			if days := w.Every.Hours() / 24; math.Abs(days-get("repeat_interval_days")) > 0.0005 {
				t.Errorf("every %.4f days, want %v", days, get("repeat_interval_days"))
			}
		})
	}
}

func TestAdvice(t *testing.T) {
	now := time.Date(2027, 3, 4, 9, 0, 0, 0, time.UTC)
	for _, c := range []struct {
		what    string
		g       going
		limit   float64
		known   float64
		want    setting.Advice
		minutes int
	}{
		{"far ahead", going{20, -0.5, 0.1, 0.01, 0}, 30, 60, setting.NotWithin, 1},
		{"window ends beyond what is known", going{-21, -0.85, 0.15, 0.04, 0.1}, 30, 11, setting.NotWithin, 1},
		{"just within what is known", going{-21, -0.85, 0.15, 0.04, 0.1}, 30, 11.998, setting.Move, 1},
		{"rate in doubt", going{20, -0.5, 0.1, 0.126, 0}, 30, 400, setting.TooUncertain, 0},
		{"rate just well enough known", going{20, -0.5, 0.1, 0.125, 0}, 30, 1000, setting.Move, 1},
		{"gaining", going{20, 0.5, 0.1, 0.01, 0}, 30, 400, setting.Gaining, 0},
		{"gaining, fast beyond the limit", going{45, 0.5, 0.1, 0.01, 0}, 30, 400, setting.Gaining, 0},
		{"gaining, comes right by itself", going{-45, 0.5, 0.1, 0.01, 0}, 30, 400, setting.Gaining, 0},
		{"gaining, more than a minute slow", going{-75, 0.5, 0.1, 0.01, 0}, 30, 400, setting.Due, 1},
		{"gaining, minutes slow", going{-195, 0.5, 0.1, 0.01, 0}, 30, 400, setting.TooFar, 3},
		{"not known which way", going{-10, 0.01, 0.1, 0.2, 0}, 30, 400, setting.TooUncertain, 0},
		{"at the limit", going{-30, -0.5, 0.1, 0.01, 0}, 30, 400, setting.Due, 1},
		{"past it", going{-85, -0.5, 0.1, 0.01, 0}, 30, 400, setting.Due, 1},
		{"past it by more than a minute", going{-91, -0.5, 0.1, 0.01, 0}, 30, 400, setting.TooFar, 2},
		{"far past it", going{-400, -0.5, 0.1, 0.01, 0}, 30, 400, setting.TooFar, 7},
		{"past it, the rate in doubt", going{-40, -0.5, 0.1, 0.5, 0}, 30, 400, setting.Due, 1},
		{"a limit of 20", going{0, -0.5, 0.1, 0.01, 0}, 20, 400, setting.TooNarrow, 0},
		{"no limit", going{0, -0.5, 0.1, 0.01, 0}, math.NaN(), 400, setting.TooNarrow, 0},
		{"nothing known", going{0, -0.5, 0.1, 0.01, 0}, 30, -1, setting.NotWithin, 0},
		{"rate unknown", going{0, math.NaN(), 0.1, 0.01, 0}, 30, 400, setting.TooUncertain, 0},
		{"doubt unknown", going{0, -0.5, 0.1, math.NaN(), 0}, 30, 400, setting.TooUncertain, 0},
		{"a limit of 45, room", going{-20, -0.5, 0.1, 0.01, 0}, 45, 400, setting.Move, 1},
		{"a limit of 45, passed", going{-46, -0.5, 0.1, 0.01, 0}, 45, 400, setting.Due, 1},
		{"a limit of 45, perhaps passed", going{-44.9, -0.5, 0.1, 0.01, 0}, 45, 400, setting.Due, 1},
		{"a limit of 45, error in doubt", going{-10, -0.5, 20, 0.01, 0}, 45, 400, setting.TooUncertain, 0},
		{"never within ten years", going{30, -0.001, 0.1, 0, 0}, 30, math.Inf(1), setting.NotWithin, 1},
	} {
		w, got := setting.HandMove(now, clock.Rate(c.g.r), c.g.sr, c.limit, c.g.ahead(c.known))
		if got != c.want || w.Minutes != c.minutes {
			t.Errorf("%s: %v with %d min, want %v with %d", c.what, got, w.Minutes, c.want, c.minutes)
		}
		if (got == setting.Due || got == setting.TooFar) && !(w.From.Equal(now) && w.At.Equal(now) && w.To.Equal(now)) {
			t.Errorf("%s: due at %+v, not now", c.what, w)
		}
	}
}

// TestWiderLimit works the window of a limit of 45 s by hand: error 0, losing
// 1 s a day, ±0.98 s: the lower limit is at -15 after 14.02 days and at -45
// after 44.02, and the error itself at -30 after 30.
func TestWiderLimit(t *testing.T) {
	now := time.Date(2027, 3, 4, 9, 0, 0, 0, time.UTC)
	half := 1.959964 * 0.5
	w, advice := setting.HandMove(now, -1, 0, 45, going{0, -1, 0.5, 0, 0}.ahead(100))
	if advice != setting.Move || !w.Sure {
		t.Fatalf("%v, %+v", advice, w)
	}
	for what, c := range map[string]struct {
		got  time.Time
		want float64
	}{"from": {w.From, 15 - half}, "at": {w.At, 30}, "to": {w.To, 45 - half}} {
		if days := timescale.Days(now, c.got); math.Abs(days-c.want) > 1e-6 {
			t.Errorf("%s: %.6f days, want %.6f", what, days, c.want)
		}
	}
	if w, _ := setting.HandMove(now, -1, 0, 30, going{0, -1, 0.5, 0, 0}.ahead(100)); w.Sure {
		t.Error("at 30 s there is no instant that surely keeps the limit")
	}
	// With ±2.9 s a limit of 31 leaves no sure instant, and the move comes before -31 can be passed.
	w, advice = setting.HandMove(now, -1, 0, 31, going{0, -1, 1.5, 0, 0}.ahead(100))
	if want := 31 - 1.959964*1.5; advice != setting.Move || w.Sure || !w.At.Equal(w.To) || math.Abs(timescale.Days(now, w.To)-want) > 1e-6 {
		t.Errorf("%v, %+v", advice, w)
	}
}

// TestMovesAcrossALeapSecond: days ahead are SI days, the instants are UTC.
func TestMovesAcrossALeapSecond(t *testing.T) {
	now := time.Date(2016, 12, 22, 0, 0, 0, 0, time.UTC)
	w, _ := setting.HandMove(now, -1, 0, 30, going{-10, -1, 0, 0, 0}.ahead(100))
	if got := w.At.Sub(time.Date(2017, 1, 10, 23, 59, 59, 0, time.UTC)); got.Abs() > time.Millisecond {
		t.Errorf("moved at %s", w.At)
	}
}

// TestAnyMove: a window is in order, keeps its limit where it says so, and
// nothing in a forecast makes it fail.
func TestAnyMove(t *testing.T) {
	now := time.Date(2027, 3, 4, 9, 0, 0, 0, time.UTC)
	rapid.Check(t, func(t *rapid.T) {
		g := going{rapid.Float64Range(-120, 120).Draw(t, "e"), rapid.Float64Range(-6, 6).Draw(t, "r"), rapid.Float64Range(0, 3).Draw(t, "se"),
			rapid.Float64Range(0, 1).Draw(t, "sr"), rapid.Float64Range(0, 1).Draw(t, "q")}
		limit := rapid.SampledFrom([]float64{30, 30.5, 45, 60, 300}).Draw(t, "limit")
		known := rapid.Float64Range(0, 400).Draw(t, "known")
		ahead := g.ahead(known)
		w, advice := setting.HandMove(now, clock.Rate(g.r), g.sr, limit, ahead)
		if advice.Words() == "" || !strings.HasSuffix(advice.Words(), ".") {
			t.Fatalf("%v says %q", advice, advice.Words())
		}
		if advice != setting.Move {
			return
		}
		if g.r >= 0 || w.From.Before(now) || w.At.Before(w.From) || w.To.Before(w.At) || timescale.Days(now, w.To) > known {
			t.Fatalf("%+v", w)
		}
		if lo, _, _, _ := ahead(timescale.Days(now, w.From)); lo > limit-60+1e-3 {
			t.Fatalf("from when the error can be no lower than %v", lo)
		}
		if limit == 30 {
			return
		}
		if lo, _, _, _ := ahead(timescale.Days(now, w.To) - 1e-6); lo < -limit-1e-3 {
			t.Fatalf("until when the error can be %v", lo)
		}
		if _, _, hi, _ := ahead(timescale.Days(now, w.To)); w.Sure && hi+60 > limit+1e-3 {
			t.Fatalf("sure, and yet it may be left %v fast", hi+60)
		}
	})
}

func TestAdviceWords(t *testing.T) {
	seen := map[string]bool{}
	for a := setting.NotWithin; a <= setting.TooNarrow; a++ {
		if a.String() == "" || seen[a.String()] || seen[a.Words()] {
			t.Errorf("%d: %q, %q", a, a, a.Words())
		}
		seen[a.String()], seen[a.Words()] = true, true
	}
	if setting.Advice(99).String() != "no advice" || setting.Advice(-1).Words() != "No advice can be given." {
		t.Error("advice that is none has words")
	}
	for _, never := range []string{"turn it back", "stop it"} {
		for s := range seen {
			if strings.Contains(s, never) {
				t.Errorf("%q advises %q", s, never)
			}
		}
	}
}

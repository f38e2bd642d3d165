package setting_test

import (
	"encoding/csv"
	"errors"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"timeball/internal/clock"
	"timeball/internal/setting"
	"timeball/internal/timescale"
)

// rows reads a table of testdata, each row by the names of its head.
func rows(t *testing.T, name string) []map[string]string {
	t.Helper()
	f, err := os.Open("testdata/" + name)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	r := csv.NewReader(f)
	r.Comment = '#'
	all, err := r.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var out []map[string]string
	for _, cells := range all[1:] {
		row := map[string]string{}
		for i, c := range cells {
			row[all[0][i]] = c
		}
		out = append(out, row)
	}
	return out
}

func number(t *testing.T, s string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(s, 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// clockTime returns the time of day, "(+1 d)" allowed, on a day without meaning.
func clockTime(t *testing.T, s string) time.Time {
	t.Helper()
	text, later, _ := strings.Cut(s, " ")
	at, err := time.Parse("2006-01-02 15:04:05.999", "2027-03-04 "+text)
	if err != nil {
		t.Fatal(err)
	}
	if later != "" {
		at = at.AddDate(0, 0, 1)
	}
	return at
}

// TestWorkedPlans checks the plans worked by exact arithmetic, S1 to S6.
func TestWorkedPlans(t *testing.T) {
	table := rows(t, "setting_plan.csv")
	if len(table) != 6 {
		t.Fatalf("%d rows, want 6", len(table))
	}
	for _, row := range table {
		t.Run(row["id"], func(t *testing.T) {
			get := func(name string) float64 { return number(t, row[name]) }
			rest, err := setting.ParseRest(clock.Dial(get("dial_h")), row["rest_hands"], get("rest_second"))
			if err != nil {
				t.Fatal(err)
			}
			p, err := setting.Starting(setting.Ask{
				Rest: rest, Now: clockTime(t, row["now_utc"]), Ready: time.Duration(get("prep_s")) * time.Second,
				Turn: time.Duration(get("s_per_turn")) * time.Second, WantedS: get("wanted_error_s"),
			})
			if err != nil {
				t.Fatal(err)
			}
			check := func(what string, plan setting.Plan, set, start string, wait, forwardS float64) {
				t.Helper()
				// The table writes XII of a 12-hour dial as 12.
				want, err := clock.ParseDial(set)
				if err != nil {
					t.Fatal(err)
				}
				if got := math.Mod(float64(want), rest.Dial.Modulus()); float64(plan.Set) != got {
					t.Errorf("%s: set to %s, want %s", what, plan.Set, set)
				}
				if !plan.Start.Equal(clockTime(t, start)) {
					t.Errorf("%s: start %s, want %s", what, plan.Start, start)
				}
				if plan.Wait.Seconds() != wait || plan.ForwardS != forwardS || plan.Turns != forwardS/3600 {
					t.Errorf("%s: wait %v s, forward %v s, %v turns; want %v, %v", what, plan.Wait.Seconds(), plan.ForwardS, plan.Turns, wait, forwardS)
				}
			}
			check("earliest", p.Earliest, row["earliest_set_dial"], row["earliest_start_utc"], get("earliest_wait_s"), 60*get("earliest_forward_min"))
			check("no turn", p.NoTurn, row["noturn_set_dial"], row["noturn_start_utc"], get("noturn_wait_s"), get("noturn_forward_s"))
			if math.Abs(p.Earliest.Turns-get("earliest_turns")) > 0.00005 {
				t.Errorf("%v turns, want %v", p.Earliest.Turns, get("earliest_turns"))
			}
			if p.Wait != (row["choice"] == "no turn") {
				t.Errorf("recommended wait %v, want %s", p.Wait, row["choice"])
			}
			off := row["id"] == "S5"
			if got := len(p.Best().Remarks) > 0; got != off {
				t.Errorf("remarks %q", p.Best().Remarks)
			}
			// It rests 15 s past its mark where the seconds hand says 52.5, 37.5 s short or 22.5 s on.
			if off && !strings.Contains(p.Best().Remarks[0], "0.375 of a minute ahead") {
				t.Errorf("remark %q", p.Best().Remarks[0])
			}
			if p.Why == "" {
				t.Error("no reason is given")
			}
		})
	}
}

// TestWantedError checks nought in the middle of the interval: e0 = -rT/2 to
// the half-second beat, worked by hand.
func TestWantedError(t *testing.T) {
	for _, c := range []struct {
		rate clock.Rate
		days time.Duration
		beat float64
		want clock.DialError
	}{
		{-0.7, 30, 0.5, 10.5}, {-0.5, 42, 0.5, 10.5}, {-1, 24, 0.5, 12}, {-1.2, 25, 0.5, 15},
		{0.33, 30, 0.5, -5}, {0.33, 30, 0, -4.95}, {0.33, 30, 0.2, -5}, {-0.001, 30, 0.5, 0},
	} {
		if got := setting.WantedError(c.rate, c.days*clock.Day, c.beat); math.Abs(float64(got-c.want)) > 1e-12 || math.Signbit(float64(got)) != (c.want < 0) {
			t.Errorf("%v over %d days: %v, want %v", float64(c.rate), c.days, float64(got), float64(c.want))
		}
	}
}

// TestLeapSecond: the second 23:59:60 of 31 December 2016 (IERS Bulletin C 52)
// has no place in a plan; starts within a minute of it are put off.
func TestLeapSecond(t *testing.T) {
	ask := setting.Ask{Rest: setting.Rest{Dial: clock.TwelveHour, HandsS: 11*3600 + 59*60 + 30, SecondS: 30},
		Now: time.Date(2016, 12, 31, 23, 58, 0, 0, time.UTC), Ready: 80 * time.Second, Turn: time.Minute}
	p, err := setting.Starting(ask)
	if err != nil {
		t.Fatal(err)
	}
	want := time.Date(2017, 1, 1, 0, 1, 30, 0, time.UTC)
	for name, plan := range map[string]setting.Plan{"earliest": p.Earliest, "no turn": p.NoTurn} {
		// Two minutes forward, and 211 s by the stopwatch: the leap second counts.
		if !plan.Start.Equal(want) || plan.ForwardS != 120 || plan.Wait != 211*time.Second || plan.Set != 90 {
			t.Errorf("%s: %+v", name, plan)
		}
	}
	if len(p.NoTurn.Remarks) != 1 || !strings.Contains(p.NoTurn.Remarks[0], "leap second") {
		t.Errorf("remarks %q", p.NoTurn.Remarks)
	}
	before, err := setting.Starting(setting.Ask{Rest: ask.Rest, Now: ask.Now.Add(-time.Hour), Turn: time.Minute})
	if err != nil {
		t.Fatal(err)
	}
	missed := before.Earliest
	for missed.Start.Before(time.Date(2016, 12, 31, 23, 58, 30, 0, time.UTC)) {
		missed = missed.InAMinute()
	}
	if next := missed.InAMinute(); !next.Start.Equal(want) || next.ForwardS != 180 || next.Wait-missed.Wait != 181*time.Second {
		t.Errorf("a minute after %s: %+v", missed.Start, next)
	}
	// A year on there is no leap second and nothing moves.
	ask.Now = ask.Now.AddDate(1, 0, 0)
	if p, err = setting.Starting(ask); err != nil || !p.NoTurn.Start.Equal(time.Date(2017, 12, 31, 23, 59, 30, 0, time.UTC)) || p.NoTurn.ForwardS != 0 {
		t.Errorf("%+v, %v", p.NoTurn, err)
	}
}

func TestRefusals(t *testing.T) {
	good := setting.Ask{Rest: setting.Rest{Dial: clock.TwelveHour, HandsS: 8250, SecondS: 30}, Now: time.Date(2027, 3, 4, 14, 3, 12, 0, time.UTC), Ready: time.Minute, Turn: time.Minute}
	if _, err := setting.Starting(good); err != nil {
		t.Fatal(err)
	}
	for say, spoil := range map[string]func(*setting.Ask){
		"dial of 10 hours":      func(a *setting.Ask) { a.Dial = 10 },
		"stand on a dial":       func(a *setting.Ask) { a.HandsS = 43200 },
		"hands at NaN":          func(a *setting.Ask) { a.HandsS = math.NaN() },
		"hands at -1":           func(a *setting.Ask) { a.HandsS = -1 },
		"not rest at 60":        func(a *setting.Ask) { a.SecondS = 60 },
		"not rest at -0.5":      func(a *setting.Ask) { a.SecondS = -0.5 },
		"not rest at NaN":       func(a *setting.Ask) { a.SecondS = math.NaN() },
		"wanted error of NaN":   func(a *setting.Ask) { a.WantedS = math.NaN() },
		"error of -21600":       func(a *setting.Ask) { a.WantedS = -21600 },
		"the time to get ready": func(a *setting.Ask) { a.Ready = -time.Second },
		"-0.01667 min, is not":  func(a *setting.Ask) { a.Turn = -time.Second },
		"minute hand, 60 min":   func(a *setting.Ask) { a.Turn = time.Hour },
		"the year 1":            func(a *setting.Ask) { a.Now = time.Time{} },
	} {
		a := good
		spoil(&a)
		_, err := setting.Starting(a)
		if !errors.Is(err, setting.ErrAsk) || !strings.Contains(err.Error(), say) || strings.Contains(err.Error(), "\n") {
			t.Errorf("%s: %v", say, err)
		}
	}
}

// TestReadyAcrossALeapSecond: 5,458.101 s from 23:10:00 on 31 December 2016 is
// 00:40:57.101, a second less than the clock says (IERS Bulletin C 52), so that
// a start at 00:40:58.1 is in time.
func TestReadyAcrossALeapSecond(t *testing.T) {
	p, err := setting.Starting(setting.Ask{
		Rest: setting.Rest{Dial: clock.TwelveHour}, WantedS: 1.9,
		Now: time.Date(2016, 12, 31, 23, 10, 0, 0, time.UTC), Ready: 5458101 * time.Millisecond,
	})
	if err != nil {
		t.Fatal(err)
	}
	want := time.Date(2017, 1, 1, 0, 40, 58, 100e6, time.UTC)
	if !p.Earliest.Start.Equal(want) || p.Earliest.Wait != 5459100*time.Millisecond {
		t.Errorf("starts at %v after %v, want %v", p.Earliest.Start, p.Earliest.Wait, want)
	}
}

// asks are all that are not refused, near the leap second of 2016 as well.
func asks(t *rapid.T) setting.Ask {
	dial := rapid.SampledFrom([]clock.Dial{clock.TwelveHour, clock.TwentyFourHour}).Draw(t, "dial")
	m := int64(dial.Modulus())
	rest := setting.Rest{Dial: dial, SecondS: float64(rapid.IntRange(0, 299).Draw(t, "fifths")) / 5}
	rest.HandsS = float64(rapid.Int64Range(0, m*10-1).Draw(t, "hands")) / 10
	if rapid.Bool().Draw(t, "agree") {
		rest.HandsS = float64(rapid.Int64Range(0, m/60-1).Draw(t, "minutes"))*60 + rest.SecondS
	}
	now := time.UnixMicro(rapid.OneOf(rapid.Int64Range(-2e15, 5e15), rapid.Int64Range(1483228800e6-3e9, 1483228800e6+3e8)).Draw(t, "now"))
	return setting.Ask{
		Rest: rest, Now: now,
		Ready:   time.Duration(rapid.Int64Range(0, 7200e3).Draw(t, "ready")) * time.Millisecond,
		Turn:    time.Duration(rapid.Int64Range(0, 3599e3).Draw(t, "turn")) * time.Millisecond,
		WantedS: float64(rapid.Int64Range(-600, 600).Draw(t, "wanted")) / 10,
	}
}

// apart returns how far a is from b on a circle of m.
func apart(a, b, m float64) float64 { return math.Abs(math.Remainder(a-b, m)) }

func nearLeap(at time.Time) bool {
	leap := time.Date(2017, 1, 1, 0, 0, 0, 0, time.UTC)
	return at.Sub(leap).Abs() < time.Minute
}

// TestAnyPlan holds every plan to what it promises, by trying all starts.
func TestAnyPlan(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a := asks(t)
		p, err := setting.Starting(a)
		if err != nil {
			t.Fatal(err)
		}
		m := a.Dial.Modulus()
		turning := func(forwardS float64) time.Duration {
			return time.Duration(float64(a.Turn) * forwardS / 3600)
		}
		holds := func(plan setting.Plan) {
			if plan.ForwardS < 0 || plan.ForwardS >= m || plan.Turns != plan.ForwardS/3600 {
				t.Fatalf("forward %v of %v", plan.ForwardS, m)
			}
			if plan.Wait < a.Ready+turning(plan.ForwardS)-time.Microsecond || plan.Wait != timescale.Elapsed(a.Now, plan.Start) {
				t.Fatalf("waits %v, ready in %v, turning takes %v", plan.Wait, a.Ready, turning(plan.ForwardS))
			}
			if apart(float64(plan.Set), a.SecondS, 60) > 1e-6 || plan.Set < 0 || float64(plan.Set) >= m {
				t.Fatalf("set to %v, the seconds hand rests at %v", plan.Set, a.SecondS)
			}
			if apart(float64(a.Dial.Reading(plan.Start, clock.DialError(a.WantedS))), float64(plan.Set), m) > 1e-6 {
				t.Fatalf("at %v the dial reads %v, wanted %v fast", plan.Start, plan.Set, a.WantedS)
			}
			if apart(a.HandsS+plan.ForwardS, float64(plan.Set), m) > 1e-6 {
				t.Fatalf("from %v forward %v is not %v", a.HandsS, plan.ForwardS, plan.Set)
			}
			if math.Abs(plan.BetweenMarks-a.SecondS/60) > 1e-9 || plan.MinuteMark != int(float64(plan.Set)/60+1e-9)%60 {
				t.Fatalf("the minute hand stands %v past %d", plan.BetweenMarks, plan.MinuteMark)
			}
			if nearLeap(plan.Start) {
				t.Fatalf("starts at %v, beside a leap second", plan.Start)
			}
		}
		holds(p.Earliest)
		holds(p.NoTurn)
		best, cost := p.Best(), func(wait time.Duration, forwardS float64) float64 { return wait.Seconds() + 300*forwardS/3600 }
		// Every start of a whole turn of the dial, back from the later plan.
		for at := p.NoTurn.Start; ; at = at.Add(-time.Minute) {
			wait := timescale.Elapsed(a.Now, at)
			if wait < a.Ready {
				break
			}
			forward := math.Mod(float64(a.Dial.Reading(at, clock.DialError(a.WantedS)))-a.HandsS+m, m)
			if forward > m-1e-6 { // a rounding, not a whole turn
				forward = 0
			}
			if nearLeap(at) || wait < a.Ready+turning(forward)+time.Millisecond {
				continue
			}
			if at.Before(p.Earliest.Start) {
				t.Fatalf("%v is in time and before the earliest, %v", at, p.Earliest.Start)
			}
			if at.Before(p.NoTurn.Start) && forward < 59.999 {
				t.Fatalf("%v needs no turn and is before %v", at, p.NoTurn.Start)
			}
			if c := cost(wait, forward); c < cost(best.Wait, best.ForwardS)-0.01 && at.Before(best.Start) {
				t.Fatalf("%v costs %v, less than %v of the plan recommended", at, c, cost(best.Wait, best.ForwardS))
			}
		}
		next := best.InAMinute()
		if apart(float64(next.Set), a.SecondS, 60) > 1e-6 || apart(float64(a.Dial.Reading(next.Start, clock.DialError(a.WantedS))), float64(next.Set), m) > 1e-6 ||
			next.ForwardS < 60 || nearLeap(next.Start) || next.BetweenMarks != best.BetweenMarks {
			t.Fatalf("a minute later: %+v", next)
		}
	})
}

func TestParseRest(t *testing.T) {
	for _, c := range []struct {
		dial   clock.Dial
		hands  string
		second float64
		want   float64
	}{
		{12, "2:17", 30, 2*3600 + 17*60 + 30}, {12, "12:05", 0, 300}, {12, "0:05", 0, 300}, {24, "24:00", 12.5, 12.5}, {24, "23:59", 59.5, 86399.5},
		{12, "6:10.25", 52.5, 6*3600 + 615},                   // 22.5 s off: as read
		{12, "2:17.5", 32, 2*3600 + 17*60 + 32},               // the tenth agrees
		{12, "2:17.0", 58, 2*3600 + 16*60 + 58},               // just before the mark
		{12, "11:59.97", 0, 0}, {12, "0:00.0", 58.5, 43198.5}, // round the top
		{12, "2:17.0", 30, 2*3600 + 17*60}, {12, " 2:17 ", 0, 8220}, // half a minute off: as read
	} {
		r, err := setting.ParseRest(c.dial, c.hands, c.second)
		if err != nil || math.Abs(r.HandsS-c.want) > 1e-9 || r.SecondS != c.second || r.Dial != c.dial {
			t.Errorf("%s with %v: %+v, %v, want %v", c.hands, c.second, r, err, c.want)
		}
	}
	for _, bad := range []string{"", "2", "2:5", "2:60", "13:00", "-1:00", "2:17.", "2:17.x", "2:17:30", "two:10", "1:+5", "2:17.+1"} {
		if r, err := setting.ParseRest(12, bad, 0); !errors.Is(err, setting.ErrHands) {
			t.Errorf("%q: %+v, %v", bad, r, err)
		}
	}
	for _, second := range []float64{60, -1, math.NaN(), math.Inf(1)} {
		if _, err := setting.ParseRest(12, "2:17", second); !errors.Is(err, setting.ErrHands) {
			t.Errorf("second %v: %v", second, err)
		}
	}
	if _, err := setting.ParseRest(13, "2:17", 0); !errors.Is(err, setting.ErrHands) {
		t.Errorf("dial of 13 hours: %v", err)
	}
}

// FuzzParseRest: whatever is written, the hands are refused or can be planned for.
func FuzzParseRest(f *testing.F) {
	for _, s := range []string{"2:17", "6:10.25", "12:59.999", "24:00", "0:00.0", "::", "１:00"} {
		f.Add(uint8(12), s, 30.0)
		f.Add(uint8(24), s, 59.9999999)
	}
	f.Fuzz(func(t *testing.T, dial uint8, hands string, second float64) {
		r, err := setting.ParseRest(clock.Dial(dial), hands, second)
		if err != nil {
			return
		}
		if _, err := setting.Starting(setting.Ask{Rest: r, Now: time.Date(2027, 3, 4, 9, 0, 0, 0, time.UTC), Turn: time.Minute}); err != nil {
			t.Errorf("%q: %v", hands, err)
		}
	})
}

func TestWords(t *testing.T) {
	for between, want := range map[float64]string{0: "on minute 12", 0.5: "half way from minute 12 to 13", 40.0 / 60: "two thirds of the way from minute 12 to 13", 12.5 / 60: "0.21 of the way from minute 12 to 13", 0.75: "three quarters of the way from minute 12 to 13"} {
		if got := (setting.Plan{MinuteMark: 12, BetweenMarks: between}).MinuteHand(); got != want {
			t.Errorf("%v: %q, want %q", between, got, want)
		}
	}
	if got := (setting.Plan{MinuteMark: 59, BetweenMarks: 0.5}).MinuteHand(); got != "half way from minute 59 to 60" {
		t.Errorf("%q", got)
	}
	for s, want := range map[float64]string{0: "not at all", 37.5: "0.625 min", 60: "1 min", 3600: "1 turn", 3660: "1 turn and 1 min", 30540: "8 turns and 29 min", 7200: "2 turns"} {
		if got := (setting.Plan{ForwardS: s}).Forward(); got != want {
			t.Errorf("%v: %q, want %q", s, got, want)
		}
	}
	for _, c := range []struct {
		dial clock.Dial
		set  clock.DialReading
		want string
	}{{12, 540, "12:09:00"}, {24, 540, "0:09:00"}, {12, 36312.5, "10:05:12.5"}, {12, 8250, "2:17:30"}} {
		if got := (setting.Plan{Dial: c.dial, Set: c.set}).Reads(); got != c.want {
			t.Errorf("%v of %d: %q, want %q", c.set, c.dial, got, c.want)
		}
	}
	for s, want := range map[float64]string{0: "0 s", 47: "47 s", 167: "2 min 47 s", 60: "1 min", 3600: "1 h", 43140: "11 h 59 min", 43179: "12 h"} {
		if got := setting.Waiting(time.Duration(s * 1e9)); got != want {
			t.Errorf("%v: %q, want %q", s, got, want)
		}
	}
}

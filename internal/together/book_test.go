package together_test

import (
	"encoding/json"
	"errors"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"timeball/internal/together"
	"timeball/internal/together/rounds"
	"timeball/internal/together/voyage"
)

func days(n float64) time.Time { return voyage.Noon.Add(time.Duration(n * 24 * float64(time.Hour))) }

func nan() float64 { return math.NaN() }

// near says whether two figures are one but for rounding.
func near(a, b float64) bool { return math.Abs(a-b) <= 1e-6*(1+math.Abs(a)) }

// drawn returns a book of any shape, gaps and a change in it.
func drawn(t *rapid.T) rounds.Book {
	v := voyage.Plan{
		Instruments: rapid.IntRange(3, 4).Draw(t, "instruments"),
		Days:        rapid.IntRange(8, 16).Draw(t, "days"),
		SD:          0.1,
	}
	size := rapid.Float64Range(-8, 8).Draw(t, "jump")
	v.Change = func(day float64, x []float64) {
		if day > 5 {
			x[1] += size
		}
	}
	b, _ := v.Book(voyage.Seeded(rapid.Uint64().Draw(t, "seed")))
	return b
}

// The order in which the instruments stand changes nothing but the order.
func TestOrderOfInstruments(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		b := drawn(t)
		order := rapid.Permutation(ordinals(len(b.Names))).Draw(t, "order")
		other := rounds.Book{}
		for _, i := range order {
			other.Names = append(other.Names, b.Names[i])
		}
		for _, row := range b.Rows {
			turned := row
			turned.ErrorS = nil
			for _, i := range order {
				turned.ErrorS = append(turned.ErrorS, row.ErrorS[i])
			}
			other.Rows = append(other.Rows, turned)
		}
		p, _, err := together.Scan(b, together.Options{})
		q, _, err2 := together.Scan(other, together.Options{})
		if err != nil || err2 != nil {
			t.Fatal(err, err2)
		}
		if len(p) != len(q) {
			t.Fatalf("%d and %d changes", len(p), len(q))
		}
		for i := range p {
			if p[i].Verdict != q[i].Verdict || p[i].Name != q[i].Name || p[i].Kind != q[i].Kind {
				t.Errorf("%v and %v", p[i], q[i])
			}
			for at, j := range order {
				if a, c := p[i].Suspects[j], q[i].Suspects[at]; a.Name != c.Name || math.Abs(a.Change-c.Change) > 1e-3*a.SD || math.Abs(a.SD-c.SD) > 1e-3*a.SD {
					t.Errorf("%+v and %+v", a, c)
				}
			}
		}
	})
}

func ordinals(n int) []int {
	var o []int
	for i := range n {
		o = append(o, i)
	}
	return o
}

// What all do alike is no difference; A less B is minus B less A.
func TestOnlyDifferencesCount(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		b := drawn(t)
		rng := voyage.Seeded(rapid.Uint64().Draw(t, "wander"))
		shaken := rounds.Book{Names: b.Names}
		common := 0.0
		for _, row := range b.Rows {
			common += 5 * rng.NormFloat64()
			moved := row
			moved.ErrorS = nil
			for _, e := range row.ErrorS {
				moved.ErrorS = append(moved.ErrorS, e+common)
			}
			shaken.Rows = append(shaken.Rows, moved)
		}
		p, err := together.Between(b, "A", "B")
		q, err2 := together.Between(b, "B", "A")
		r, err3 := together.Between(shaken, "A", "B")
		if err != nil || err2 != nil || err3 != nil {
			t.Fatal(err, err2, err3)
		}
		for i := range p.Points {
			a, c, d := p.Points[i], q.Points[i], r.Points[i]
			if a.DifferenceS != -c.DifferenceS || !near(a.DifferenceS, d.DifferenceS) {
				t.Errorf("%+v, %+v, %+v", a, c, d)
			}
			if a.Second != nil && (a.Second.ChangeSPerDay != -c.Second.ChangeSPerDay || math.Abs(a.Second.ChangeSPerDay-d.Second.ChangeSPerDay) > 1e-6) {
				t.Errorf("%+v, %+v, %+v", a.Second, c.Second, d.Second)
			}
		}
		at := b.Rows[len(b.Rows)/2].At
		u, err := together.Question(b, at, together.Options{})
		w, err2 := together.Question(shaken, at, together.Options{})
		if err != nil || err2 != nil {
			t.Fatal(err, err2)
		}
		for i := range u.Suspects {
			if a, c := u.Suspects[i], w.Suspects[i]; math.Abs(a.Change-c.Change) > 1e-3*a.SD || math.Abs(a.SD-c.SD) > 1e-3*a.SD {
				t.Errorf("%+v and %+v", a, c)
			}
		}
	})
}

// The columns of a comparison book by hand: differences, first and second.
func TestColumnsOfTheBook(t *testing.T) {
	b := rounds.Book{Names: []string{"1", "2"}}
	for i, d := range []float64{3, 4.5, nan(), 7.5, 11} {
		b.Rows = append(b.Rows, rounds.Row{At: voyage.Noon.AddDate(0, 0, i), ErrorS: []float64{100 + d, 100}, SDS: 0.2})
	}
	p, err := together.Between(b, "1", "2")
	if err != nil {
		t.Fatal(err)
	}
	s := 0.2 * math.Sqrt2
	want := []together.Point{
		{At: days(0), DifferenceS: 3, DifferenceSD: s},
		{At: days(1), DifferenceS: 4.5, DifferenceSD: s, First: &together.First{Days: 1, ChangeS: 1.5, ChangeSD: 0.4, RateSPerDay: 1.5, RateSD: 0.4}},
		{At: days(3), DifferenceS: 7.5, DifferenceSD: s, First: &together.First{Days: 2, ChangeS: 3, ChangeSD: 0.4, RateSPerDay: 1.5, RateSD: 0.2},
			Second: &together.Second{ChangeSPerDay: 0, ChangeSD: s * math.Sqrt(1+1.5*1.5+0.25)}},
		{At: days(4), DifferenceS: 11, DifferenceSD: s, First: &together.First{Days: 1, ChangeS: 3.5, ChangeSD: 0.4, RateSPerDay: 3.5, RateSD: 0.4},
			Second: &together.Second{ChangeSPerDay: 2, ChangeSD: s * math.Sqrt(1+1.5*1.5+0.25)}},
	}
	round := cmp.Comparer(func(a, b float64) bool { return math.Abs(a-b) < 1e-9 })
	if diff := cmp.Diff(want, p.Points, round); diff != "" {
		t.Error(diff)
	}
}

// A known move of the hands is no jump, and an unknown one is.
func TestKnownMove(t *testing.T) {
	b, _ := voyage.Plan{Instruments: 3, Days: 25, SD: 0.1, Change: func(day float64, x []float64) {
		if day > 12.5 {
			x[0] += 60
		}
	}}.Book(voyage.Seeded(11))
	changes, _, err := together.Scan(b, together.Options{})
	if err != nil || len(changes) != 1 || changes[0].Name != "A" || changes[0].Kind != together.Jump {
		t.Fatalf("%v %+v", err, changes)
	}
	b.Steps = []rounds.Step{{Name: "A", At: days(12.5), MovedS: 60}}
	changes, _, err = together.Scan(b, together.Options{})
	if err != nil || len(changes) != 0 {
		t.Errorf("%v %+v", err, changes)
	}
}

// With two no answer exists; a standard beside them is a third.
func TestTwo(t *testing.T) {
	change := func(day float64, x []float64) { x[1] += 4 * math.Max(day-14.5, 0) }
	b, _ := voyage.Plan{Instruments: 2, Days: 30, SD: 0.1, Change: change}.Book(voyage.Seeded(12))
	r, err := together.Examine(b, together.Options{})
	if err != nil {
		t.Fatal(err)
	}
	if len(r.Changes) != 1 || r.Changes[0].Verdict != together.CannotTell || r.Changes[0].Name != "" {
		t.Fatalf("%+v", r.Changes)
	}
	if c := r.Changes[0]; !near(c.Suspects[0].Change, -c.Suspects[1].Change) || !strings.Contains(c.Words, "none can be accused") {
		t.Errorf("%+v", c)
	}
	if r.Steadiness != nil {
		t.Error("the variances of two were told apart")
	}
	b, _ = voyage.Plan{Instruments: 2, Days: 30, SD: 0.1, Change: change}.Book(voyage.Seeded(12))
	for i := range b.Rows { // the same book, its instants now UTC
		off := b.Rows[i].ErrorS[0]
		for j := range b.Rows[i].ErrorS {
			b.Rows[i].ErrorS[j] -= off
		}
		b.Rows[i].UTCKnown = true
	}
	c, _, err := together.Scan(b, together.Options{})
	if err != nil || len(c) != 1 || c[0].Name != "B" || c[0].Verdict != together.Accused {
		t.Errorf("%v %+v", err, c)
	}
	if c, _, err := together.Scan(b, together.Options{WithoutUTC: true}); err != nil || len(c) != 1 || c[0].Name != "" {
		t.Errorf("%v %+v", err, c)
	}
}

// Two that change at once cannot be put on one.
func TestTwoAtOnce(t *testing.T) {
	b, _ := voyage.Plan{Instruments: 4, Days: 30, SD: 0.1, Change: func(day float64, x []float64) {
		if day > 14.5 {
			x[0] += 10
			x[1] -= 13
		}
	}}.Book(voyage.Seeded(13))
	c, _, err := together.Scan(b, together.Options{})
	if err != nil || len(c) == 0 || c[0].Verdict != together.MoreThanOne || c[0].Name != "" {
		t.Errorf("%v %+v", err, c)
	}
}

// Nothing panics on a book that is empty, or thin, or says the same twice.
func TestThinBooks(t *testing.T) {
	row := func(day float64, known bool, e ...float64) rounds.Row {
		return rounds.Row{At: days(day), ErrorS: e, UTCKnown: known}
	}
	alone := []error{together.ErrAlone}
	book := []error{together.ErrBook}
	for _, tt := range []struct {
		name string
		b    rounds.Book
		want []error // nil if it can be examined
	}{
		{"nothing", rounds.Book{}, book},
		{"no rows", rounds.Book{Names: []string{"A", "B"}}, alone},
		{"one instrument", rounds.Book{Names: []string{"A"}, Rows: []rounds.Row{row(0, false, 1), row(1, false, 2)}}, alone},
		{"all missing", rounds.Book{Names: []string{"A", "B"}, Rows: []rounds.Row{row(0, false, nan(), nan()), row(1, false, nan(), nan())}}, alone},
		{"no common instants", rounds.Book{Names: []string{"A", "B"}, Rows: []rounds.Row{row(0, false, 1, nan()), row(1, false, nan(), 2)}}, alone},
		{"one row", rounds.Book{Names: []string{"A", "B"}, Rows: []rounds.Row{row(0, false, 1, 2)}}, nil},
		{"two rows", rounds.Book{Names: []string{"A", "B"}, Rows: []rounds.Row{row(0, false, 1, 2), row(1, false, 1, 2)}}, nil},
		{"equal instants", rounds.Book{Names: []string{"A", "B", "C"}, Rows: []rounds.Row{row(0, false, 1, 2, 3), row(0, false, 9, 2, 3), row(0, false, 7, 2, 3)}}, nil},
		{"nothing moves", rounds.Book{Names: []string{"A", "B", "C"}, Rows: []rounds.Row{row(0, false, 1, 2, 3), row(1, false, 1, 2, 3), row(2, false, 1, 2, 3), row(3, false, 1, 2, 3), row(4, false, 1, 2, 3), row(5, false, 1, 2, 3)}}, nil},
		{"one with the standard", rounds.Book{Names: []string{"A"}, Rows: []rounds.Row{row(0, true, 1), row(1, true, 2), row(2, true, 3), row(3, true, 4), row(4, true, 5)}}, nil},
		{"an infinite error", rounds.Book{Names: []string{"A", "B"}, Rows: []rounds.Row{row(0, false, 1, math.Inf(1))}}, book},
		{"too few readings", rounds.Book{Names: []string{"A", "B"}, Rows: []rounds.Row{row(0, false, 1)}}, book},
		{"no instant", rounds.Book{Names: []string{"A", "B"}, Rows: []rounds.Row{{ErrorS: []float64{1, 2}}}}, book},
		{"the same number", rounds.Book{Names: []string{"A", "A"}}, book},
		{"a move of another", rounds.Book{Names: []string{"A", "B"}, Steps: []rounds.Step{{Name: "C"}}}, book},
		{"thirteen", rounds.Book{Names: strings.Split("abcdefghijklm", "")}, book},
	} {
		r, err := together.Examine(tt.b, together.Options{})
		if tt.want == nil {
			if err != nil {
				t.Errorf("%s: %v", tt.name, err)
			} else if _, err := json.Marshal(r); err != nil || len(r.Words) == 0 {
				t.Errorf("%s: %v, %q", tt.name, err, r.Words)
			}
			continue
		}
		if !errors.Is(err, tt.want[0]) {
			t.Errorf("%s: %v, want %v", tt.name, err, tt.want[0])
		}
	}
	if _, err := together.Question(rounds.Book{Names: []string{"A", "B"}}, voyage.Noon, together.Options{}); !errors.Is(err, together.ErrAlone) {
		t.Errorf("a question to an empty book: %v", err)
	}
}

// Any book of numbers has a result that can be written down, or an error.
func TestAnyBook(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 4).Draw(t, "n")
		b := rounds.Book{Names: []string{"A", "B", "C", "D"}[:n]}
		value := rapid.OneOf(rapid.Just(math.NaN()), rapid.Float64Range(-1e5, 1e5), rapid.Just(0.0), rapid.Float64Range(-1, 1))
		at := voyage.Noon
		for range rapid.IntRange(0, 12).Draw(t, "rows") {
			at = at.Add(time.Duration(rapid.SampledFrom([]int{0, 1, 3600, 86400, 86400, 864000}).Draw(t, "step")) * time.Second)
			row := rounds.Row{At: at, UTCKnown: rapid.Bool().Draw(t, "known"), SDS: rapid.SampledFrom([]float64{0, 0.1, 5}).Draw(t, "sd")}
			for range n {
				row.ErrorS = append(row.ErrorS, value.Draw(t, "error"))
			}
			b.Rows = append(b.Rows, row)
		}
		r, err := together.Examine(b, together.Options{})
		if err != nil {
			if !errors.Is(err, together.ErrBook) && !errors.Is(err, together.ErrAlone) {
				t.Error(err)
			}
			return
		}
		if _, err := json.Marshal(r); err != nil {
			t.Error(err)
		}
		for _, c := range r.Changes {
			for _, s := range c.Suspects {
				if !(s.SD > 0) || !(s.Lo95 <= s.Change && s.Change <= s.Hi95) {
					t.Errorf("%+v", s)
				}
			}
		}
	})
}

// The names under which a result is written are a promise to its readers.
func TestShapeOfResult(t *testing.T) {
	b, _ := voyage.Plan{Instruments: 3, Days: 20, SD: 0.1, Change: func(day float64, x []float64) {
		if day > 9.5 {
			x[0] += 60
		}
	}}.Book(voyage.Seeded(14))
	r, err := together.Examine(b, together.Options{})
	if err != nil {
		t.Fatal(err)
	}
	text, err := json.Marshal(r)
	if err != nil {
		t.Fatal(err)
	}
	var back map[string]any
	if err := json.Unmarshal(text, &back); err != nil {
		t.Fatal(err)
	}
	names := func(v any) []string {
		var keys []string
		for k := range v.(map[string]any) {
			keys = append(keys, k)
		}
		slices.Sort(keys)
		return keys
	}
	first := func(v any) any { return v.([]any)[0] }
	for _, tt := range []struct {
		of   any
		want string
	}{
		{back, "changes from instruments pairs rows steadiness to warnings words"},
		{first(back["changes"]), "at chance from kind looks name suspects to verdict words"},
		{first(first(back["changes"]).(map[string]any)["suspects"]), "change change_sd hi95 lo95 name quiet rest_chi2 rest_df"},
		{back["steadiness"], "edf instruments pairs tau_days words"},
		{first(back["steadiness"].(map[string]any)["instruments"]), "deviation_s_per_day hat_s_per_day hat_variance hi95 lo95 name rates_sd_s_per_day resolved"},
		{first(first(back["pairs"]).(map[string]any)["points"]), "at difference_s difference_sd"},
	} {
		if got := strings.Join(names(tt.of), " "); got != tt.want {
			t.Errorf("%s, want %s", got, tt.want)
		}
	}
	for _, w := range r.Words {
		t.Log(w)
	}
}

// A leap second makes every dial fast by one second against UTC, and none of
// them jumped (the end of 2016, IERS Bulletin C 52).
func TestLeapSecond(t *testing.T) {
	b := rounds.Book{Names: []string{"A", "B"}}
	rng := voyage.Seeded(15)
	for i := range 20 {
		at := time.Date(2016, 12, 22, 12, 0, 0, 0, time.UTC).AddDate(0, 0, i)
		leap := 0.0
		if at.Year() == 2017 {
			leap = 1
		}
		b.Rows = append(b.Rows, rounds.Row{At: at, SDS: 0.05, UTCKnown: true, ErrorS: []float64{leap + 0.05*rng.NormFloat64(), leap + 0.05*rng.NormFloat64()}})
	}
	c, _, err := together.Scan(b, together.Options{})
	if err != nil || len(c) != 0 {
		t.Errorf("%v %+v", err, c)
	}
}

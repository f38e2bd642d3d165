package together_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"timeball/internal/statespace"
	"timeball/internal/timescale"
	"timeball/internal/together"
	"timeball/internal/together/voyage"
)

// atMost fails if count of n is more than chance makes of most.
func atMost(t *testing.T, what string, count, n int, most float64) {
	t.Helper()
	t.Logf("%s: %d of %d (%.1f%%)", what, count, n, 100*float64(count)/float64(n))
	if err := voyage.AtMost(count, n, most); err != nil {
		t.Errorf("%s: %v", what, err)
	}
}

// held fails unless count of n is what 95% intervals give.
func held(t *testing.T, what string, count, n int) {
	t.Helper()
	t.Logf("%s: %d of %d (%.1f%%)", what, count, n, 100*float64(count)/float64(n))
	if err := voyage.Held(count, n); err != nil {
		t.Errorf("%s: %v", what, err)
	}
}

// In a quiet book an accusation is false, and at most one book in twenty may
// hold one.
func TestQuietBooks(t *testing.T) {
	pure := func(int, *rand.Rand) *voyage.Clock { return &voyage.Clock{White: 0.2} }
	unlike := func(i int, _ *rand.Rand) *voyage.Clock {
		if i == 0 {
			return &voyage.Clock{White: 0.05, Wander: 0.005}
		}
		return &voyage.Clock{White: 0.3, Wander: 0.05}
	}
	all, count := 0, 0
	for _, tt := range []struct {
		name string
		v    voyage.Plan
		runs int
	}{
		{"three, 60 days", voyage.Plan{Instruments: 3, Days: 60, SD: 0.1}, 40},
		{"three, 15 days", voyage.Plan{Instruments: 3, Days: 15, SD: 0.1}, 150},
		{"three, 8 days", voyage.Plan{Instruments: 3, Days: 8, SD: 0.1}, 150},
		{"three, 40 days, coarse, a fifth missed", voyage.Plan{Instruments: 3, Days: 40, SD: 0.3, Miss: 0.2}, 80},
		{"three, 40 days, white FM alone, finely read", voyage.Plan{Instruments: 3, Days: 40, SD: 0.01, Draw: pure}, 80},
		{"three, 40 days, one far steadier", voyage.Plan{Instruments: 3, Days: 40, SD: 0.1, Draw: unlike}, 80},
		{"six, 30 days", voyage.Plan{Instruments: 6, Days: 30, SD: 0.1}, 40},
		{"two, 40 days", voyage.Plan{Instruments: 2, Days: 40, SD: 0.1}, 60},
	} {
		rng := voyage.Seeded(1)
		found := 0
		for range tt.runs {
			b, _ := tt.v.Book(rng)
			changes, _, err := together.Scan(b, together.Options{})
			if err != nil {
				t.Fatal(err)
			}
			if len(changes) > 0 {
				found++
			}
		}
		atMost(t, tt.name, found, tt.runs, together.FalseAlarm)
		all, count = all+found, count+tt.runs
	}
	atMost(t, "all", all, count, together.FalseAlarm)
}

// One instrument of three changes its rate in the middle of the book: who is
// accused, and whether the interval holds the true change and its day.
func TestChangedRate(t *testing.T) {
	const runs, tau = 100, 19.7
	steps := []float64{1.5, -1.0}
	right, wrong, hold, day := 0, 0, 0, 0
	for _, step := range steps {
		rng := voyage.Seeded(2)
		accused, none, known := 0, 0, 0
		for run := range runs {
			v := voyage.Plan{Instruments: 3, Days: 40, SD: 0.1, Change: func(at float64, x []float64) { x[1] += step * math.Max(at-tau, 0) }}
			b, clocks := v.Book(rng)
			changes, _, err := together.Scan(b, together.Options{})
			if err != nil {
				t.Fatal(err)
			}
			if len(changes) == 0 {
				none++
			}
			if run%4 == 0 { // what is gained if each one's own rating supplies its noise
				var noise []statespace.Noise
				for _, c := range clocks {
					noise = append(noise, statespace.Noise{SigmaW: c.White, SigmaR: c.Wander})
				}
				better, _, err := together.Scan(b, together.Options{Noise: noise})
				if err != nil {
					t.Fatal(err)
				}
				if len(better) > 0 && better[0].Name == "B" {
					known++
				}
			}
			for _, c := range changes {
				switch {
				case c.Verdict != together.Accused:
				case c.Name != "B":
					wrong++
				case c.Kind == together.RateChange:
					accused++
					s := c.Suspects[1]
					if s.Lo95 <= step && step <= s.Hi95 {
						hold++
					}
					if at := timescale.AddDays(voyage.Noon, tau); !at.Before(c.From) && !at.After(c.To) {
						day++
					}
				}
			}
		}
		t.Logf("%+.1f s/d: B accused in %d of %d, nothing found in %d; with the noise given in %d of %d", step, accused, runs, none, known, runs/4)
		right += accused
	}
	atMost(t, "another accused", wrong, runs*len(steps), 0.05)
	held(t, "the change is held", hold, right)
	t.Logf("the day is held: %d of %d", day, right)
	if float64(day) < 0.93*float64(right) {
		t.Errorf("the day is held in %d of %d", day, right)
	}
	if right < runs {
		t.Errorf("B accused in %d of %d only", right, runs*len(steps))
	}
}

// A jump of one and a misread dial are told apart from a change of rate.
func TestJumpsAndMisreadings(t *testing.T) {
	const runs = 60
	for _, tt := range []struct {
		kind   together.Kind
		size   float64
		change func(day float64, x []float64)
	}{
		{together.Jump, 6, func(day float64, x []float64) {
			if day > 15.5 {
				x[2] += 6
			}
		}},
		{together.Reading, -60, func(day float64, x []float64) {
			if day > 15.5 && day < 16.5 {
				x[2] -= 60
			}
		}},
	} {
		rng := voyage.Seeded(3)
		right, hold, wrong := 0, 0, 0
		for range runs {
			b, _ := voyage.Plan{Instruments: 3, Days: 30, SD: 0.1, Change: tt.change}.Book(rng)
			changes, _, err := together.Scan(b, together.Options{})
			if err != nil {
				t.Fatal(err)
			}
			for _, c := range changes {
				switch {
				case c.Verdict == together.Accused && c.Name == "C" && c.Kind == tt.kind:
					right++
					if s := c.Suspects[2]; s.Lo95 <= tt.size && tt.size <= s.Hi95 {
						hold++
					}
				case c.Verdict == together.Accused && c.Name != "C":
					wrong++
				}
			}
		}
		t.Logf("%s: found in %d of %d, another accused in %d", tt.kind, right, runs, wrong)
		if right < runs*85/100 {
			t.Errorf("%s found in %d of %d", tt.kind, right, runs)
		}
		atMost(t, "another accused", wrong, runs, 0.05)
		held(t, "its size", hold, right)
	}
}

// The doubt of a change grows with the doubt of the readings.
func TestCoarseReadingIsMoreDoubt(t *testing.T) {
	before := 0.0
	for _, sd := range []float64{0.01, 0.1, 0.5, 2} {
		b, _ := voyage.Plan{Instruments: 3, Days: 30, SD: sd}.Book(voyage.Seeded(4))
		q, err := together.Question(b, voyage.Noon.AddDate(0, 0, 15), together.Options{})
		if err != nil {
			t.Fatal(err)
		}
		if s := q.Suspects[1].SD; s <= before {
			t.Errorf("readings of %g s: doubt %g, before %g", sd, s, before)
		} else {
			before = s
		}
	}
}

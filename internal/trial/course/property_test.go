package course_test

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"pgregory.net/rapid"

	"timeball/internal/trial"
	"timeball/internal/trial/course"
)

// drawn returns a trial of one period with a reading at every hour, and the
// days of it.
func drawn(t *rapid.T) (int, course.Log) {
	n := rapid.IntRange(3, 20).Draw(t, "days")
	var log course.Log
	for i := range n + 1 {
		off := 0.0
		if i > 0 {
			off = rapid.Float64Range(-0.99, 0.99).Draw(t, "hours off")
		}
		log.Compared = append(log.Compared, course.Comparison{Ref: string(rune('a' + i)), At: hour(float64(i)).Add(hours(off)).Truncate(time.Microsecond),
			ErrorS: rapid.Float64Range(-500, 500).Draw(t, "error"), SDS: rapid.Float64Range(0.01, 1).Draw(t, "doubt"), TempC: ptr(rapid.Float64Range(0, 40).Draw(t, "temperature"))})
	}
	return n, log
}

// From 2018 to 2027 no leap second was inserted (IERS, Bulletin C 54 to 71).
func TestShiftedInstantsGiveTheSameRates(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n, log := drawn(t)
		want := follow(plain(n), log, hour(float64(n+2)))
		by := -time.Duration(rapid.Int64Range(0, 8*365*86400).Draw(t, "seconds")) * time.Second
		moved := course.Log{Compared: slices.Clone(log.Compared)}
		for i := range moved.Compared {
			moved.Compared[i].At = moved.Compared[i].At.Add(by)
		}
		got := course.Follow(plain(n), start.Add(by), nil, moved, hour(float64(n+2)).Add(by))
		if diff := cmp.Diff(want.Days, got.Days, cmpopts.IgnoreFields(trial.Day{}, "From", "To"), cmpopts.EquateApprox(1e-9, 1e-9)); diff != "" {
			t.Fatal(diff)
		}
	})
}

func TestAKnownMoveOfTheHandsChangesNothing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n, log := drawn(t)
		want := follow(plain(n), log, hour(float64(n+2)))
		at := hour(rapid.Float64Range(0.001, float64(n)+0.5).Draw(t, "day"))
		by := float64(60 * rapid.IntRange(1, 200).Draw(t, "minutes"))
		moved := course.Log{Compared: slices.Clone(log.Compared), Interventions: []course.Intervention{{At: at, What: "hands moved", MovedS: by}}}
		for i := range moved.Compared {
			if !moved.Compared[i].At.Before(at) {
				moved.Compared[i].ErrorS += by
			}
		}
		got := follow(plain(n), moved, hour(float64(n+2)))
		if diff := cmp.Diff(want.Days, got.Days, cmpopts.EquateApprox(0, 1e-7)); diff != "" {
			t.Fatal(diff)
		}
	})
}

func TestADroppedComparisonLeavesTwoDaysUnknown(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n, log := drawn(t)
		whole := follow(plain(n), log, hour(float64(n+2)))
		k := rapid.IntRange(1, n-1).Draw(t, "dropped")
		log.Compared = slices.Delete(log.Compared, k, k+1)
		c := follow(plain(n), log, hour(float64(n+2)))
		for _, d := range c.Days {
			lost := d.Number == k || d.Number == k+1
			if d.Known == lost {
				t.Fatalf("without the reading of hour %d day %d is known: %v", k, d.Number, d.Known)
			}
			if d.Known && d.RateSPerDay != whole.Days[d.Number-1].RateSPerDay {
				t.Fatalf("without the reading of hour %d the rate of day %d is %v, was %v", k, d.Number, d.RateSPerDay, whole.Days[d.Number-1].RateSPerDay)
			}
		}
		// What the two days came to together is not lost.
		a, b := whole.Days[k-1], whole.Days[k]
		change := a.RateSPerDay*a.To.Sub(a.From).Hours()/24 + b.RateSPerDay*b.To.Sub(b.From).Hours()/24
		want := []trial.Span{{First: k, Last: k + 1, ChangeS: change * 48 / b.To.Sub(a.From).Hours(), FirstSDS: a.FirstSDS, LastSDS: b.LastSDS}}
		if diff := cmp.Diff(want, c.Spans, cmpopts.EquateApprox(0, 1e-7)); diff != "" {
			t.Fatal(diff)
		}
	})
}

func TestOrderDoesNotMatter(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n, log := drawn(t)
		for i := range n {
			log.Windings = append(log.Windings, hour(float64(i)))
			log.Temperatures = append(log.Temperatures, read(float64(i)+0.3, float64(10+i)))
			log.Placings = append(log.Placings, placed(float64(i)-0.2, "dial up"))
			log.Interventions = append(log.Interventions, course.Intervention{At: hour(float64(i) + 0.4), What: "hands moved", MovedS: float64(i)})
		}
		log.Compared = append(log.Compared, log.Compared...)
		want := follow(plain(n), log, hour(float64(n)/2))
		rng := rand.New(rand.NewPCG(1, rapid.Uint64().Draw(t, "seed")))
		mixed := course.Log{Compared: shuffled(rng, log.Compared), Temperatures: shuffled(rng, log.Temperatures), Placings: shuffled(rng, log.Placings),
			Windings: shuffled(rng, log.Windings), Interventions: shuffled(rng, log.Interventions)}
		before := slices.Clone(mixed.Compared)
		if diff := cmp.Diff(want, follow(plain(n), mixed, hour(float64(n)/2))); diff != "" {
			t.Fatal(diff)
		}
		if diff := cmp.Diff(before, mixed.Compared); diff != "" {
			t.Fatal("the log of the caller was changed: " + diff)
		}
	})
}

func shuffled[T any](rng *rand.Rand, s []T) []T {
	s = slices.Clone(s)
	rng.Shuffle(len(s), func(i, j int) { s[i], s[j] = s[j], s[i] })
	return s
}

// A log of anything at any time never makes it claim a day it cannot know.
func TestAnyLog(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		day := func(name string) time.Time { return hour(rapid.Float64Range(-3, 8).Draw(t, name)) }
		figure := rapid.OneOf(rapid.Float64Range(-1e5, 1e5), rapid.SampledFrom([]float64{0, math.NaN(), math.Inf(1), math.Inf(-1)}))
		many := rapid.IntRange(0, 12)
		var log course.Log
		for range many.Draw(t, "comparisons") {
			c := course.Comparison{At: day("compared"), ErrorS: figure.Draw(t, "error"), SDS: figure.Draw(t, "doubt"), Aside: rapid.SampledFrom([]string{"", "", "", "misread"}).Draw(t, "aside")}
			if rapid.Bool().Draw(t, "read") {
				c.TempC = ptr(figure.Draw(t, "temperature"))
			}
			log.Compared = append(log.Compared, c)
		}
		for range many.Draw(t, "others") {
			log.Windings = append(log.Windings, day("wound"))
			log.Temperatures = append(log.Temperatures, course.Temperature{At: day("read"), C: figure.Draw(t, "temperature")})
			log.Placings = append(log.Placings, course.Placing{At: day("laid"), Position: rapid.SampledFrom([]string{"", "dial up", "XII up", "dial down"}).Draw(t, "position")})
		}
		for range rapid.IntRange(0, 2).Draw(t, "interventions") {
			log.Interventions = append(log.Interventions, course.Intervention{At: day("done"), What: "regulated", Breaks: rapid.Bool().Draw(t, "breaks"), MovedS: figure.Draw(t, "moved")})
		}
		p := oven()
		p.SettlingH = rapid.SampledFrom([]float64{0, 12, math.NaN()}).Draw(t, "settling")
		p.WithinH = rapid.SampledFrom([]float64{0, 1, 12, 1e9}).Draw(t, "within")
		var ended *time.Time
		if rapid.Bool().Draw(t, "ends") {
			ended = ptr(day("ended"))
		}
		c := course.Follow(p, day("begun"), ended, log, day("now"))
		if len(c.Days) != 4 || len(c.Hours) != 5 {
			t.Fatalf("%d days, %d hours", len(c.Days), len(c.Hours))
		}
		used := map[time.Time]int{}
		for _, r := range c.Readings {
			used[r.At]++
		}
		for _, d := range c.Days {
			switch {
			case !d.Known && (d.Why == "" || d.RateSPerDay != 0):
				t.Fatalf("day %d is not known and has rate %v, why %q", d.Number, d.RateSPerDay, d.Why)
			case d.Known && (used[d.From] == 0 || used[d.To] == 0 || !d.To.After(d.From) || math.IsNaN(d.RateSPerDay) || !(d.SDS >= 0)):
				t.Fatalf("day %d is known from %s to %s: %v ± %v", d.Number, d.From, d.To, d.RateSPerDay, d.SDS)
			case d.Known && c.Broken != nil && !d.To.Before(c.Broken.At):
				t.Fatalf("day %d is known although the trial broke on %s", d.Number, c.Broken.At)
			}
		}
	})
}

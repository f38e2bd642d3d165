package trials

import (
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"timeball/internal/trial"
	"timeball/internal/trial/programme"
)

func TestTell(t *testing.T) {
	of := func(m programme.Measure) programme.Criterion { return programme.Criterion{Of: m, Unit: m.Unit()} }
	for _, try := range []struct {
		c       programme.Criterion
		v, half float64
		want    string
	}{
		{of(programme.MeanRate), -0.832, 0.034, "losing 0.83 s ±0.03 a day"},
		{of(programme.MeanRate), 0.001, 0.03, "keeping time to 0.00 s ±0.03 a day"},
		{of(programme.DifferenceOfMeans), 0.34, 0.1, "gaining 0.34 s ±0.10 a day more"},
		{of(programme.DifferenceOfMeans), -0.0001, 0.1, "the same to 0.00 s ±0.10 a day more"},
		{of(programme.PerDegree), 0.01234, 0.004, "gaining 0.012 s ±0.004 a day more for each °C"},
		{of(programme.GreatestVariation), 0.84, 0.12, "0.84 ±0.12 s a day"},
		{of(programme.RangeOfSums), 12.34, 1.2, "12.3 ±1.2 s"},
		{of(programme.RangeOfSums), 12.34, 0, "12.34 ±0.01 s"},
		{of(programme.StepLessRangeBare), -0.123, 0.05, "−0.12 ±0.05 s a day"},
		{programme.Criterion{Of: programme.MeanRate, Unit: "s in ten days"}, -8.3, 0.34, "−8.30 ±0.34 s in ten days"},
	} {
		if got := tell(try.c, try.v, try.half).String(); got != try.want {
			t.Errorf("%s %g ±%g: %q, want %q", try.c.Of, try.v, try.half, got, try.want)
		}
	}
}

func TestLimits(t *testing.T) {
	x := func(v float64) *float64 { return &v }
	for _, try := range []struct {
		of       programme.Measure
		from, to *float64
		want     string
	}{
		{programme.MeanRate, x(-4), x(6), "losing 4 to gaining 6 s a day"},
		{programme.MeanRate, x(-2), x(-0.5), "losing 2 to losing 0.5 s a day"},
		{programme.MeanRate, nil, x(1), "no further than gaining 1 s a day"},
		{programme.MeanRate, nil, x(-1), "at least losing 1 s a day"},
		{programme.MeanRate, x(-1), nil, "no further than losing 1 s a day"},
		{programme.DifferenceOfMeans, x(-5), x(5), "at most 5 s a day more either way"},
		{programme.GreatestVariation, nil, x(5), "at most 5 s a day"},
		{programme.RangeOfSums, x(1), x(2), "1 to 2 s"},
		{programme.MeanRate, nil, nil, ""},
	} {
		c := programme.Criterion{Of: try.of, Unit: try.of.Unit(), From: try.from, To: try.to}
		if got := Limits(c); got != try.want {
			t.Errorf("%q, want %q", got, try.want)
		}
	}
	classes := programme.Criterion{Of: programme.StepLessRange, Unit: "s/d", Classes: []programme.Class{{Name: "good", Most: 0.75}, {Name: "sufficient", Most: 1.5}}}
	if got, want := Limits(classes), "good to 0.75, sufficient to 1.5 s a day more either way"; got != want {
		t.Errorf("%q, want %q", got, want)
	}
}

// TestLikely holds that the interval is told wherever ± about the value would
// claim another one.
func TestLikely(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		value := rapid.Float64Range(-5, 5).Draw(t, "value")
		lo := rapid.Float64Range(-5, 5).Draw(t, "lo")
		half := rapid.Float64Range(0.01, 3).Draw(t, "half")
		f := trial.Figure{Criterion: programme.Criterion{Of: programme.MeanRate, Unit: "s/d"}, Known: true, Value: value, Lo95: lo, Hi95: lo + 2*half}
		off := math.Abs(value - lo - half)
		if words := likely(f); (words == "") != (off <= 0.2*half) {
			t.Fatalf("%g in %g to %g: %q", value, lo, lo+2*half, words)
		} else if words != "" && strings.Count(words, " s ") != 1 {
			t.Fatalf("%q", words)
		}
	})
}

func TestLineOf(t *testing.T) {
	text := "name: x\r\nperiods:\n  - {dayz: 3}\n"
	_, err := programme.Read([]byte(text))
	if err == nil {
		t.Fatal("a slip was read")
	}
	if n, line, ok := LineOf(err.Error(), text); !ok || n != 3 || line != "- {dayz: 3}" {
		t.Errorf("line %d %q %t, want 3", n, line, ok)
	}
	for _, words := range []string{"", "line", "line 0: x", "line 99: x", "line 99999999999999999999: x", "name: there is none"} {
		if _, _, ok := LineOf(words, text); ok {
			t.Errorf("%q names a line", words)
		}
	}
}

// TestCopy holds that a copy of each programme can be read, under another name.
func TestCopy(t *testing.T) {
	for _, p := range append(programme.Shipped(), programme.Programme{Name: `a "b": c`, Text: "name: 'a \"b\": c'\nperiods: [{days: 1}]\n"}) {
		q, err := programme.Read([]byte(Copy(p)))
		if err != nil {
			t.Fatalf("%s: %v", p.Name, err)
		}
		if q.Name != p.Name+", our own" || q.Days() == 0 {
			t.Errorf("the copy of %q is %q", p.Name, q.Name)
		}
	}
}

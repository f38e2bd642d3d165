package adjust_test

import (
	"math"
	"os"
	"testing"

	"timeball/internal/adjust"
	"timeball/internal/clock"
	"timeball/internal/ratebook"
	"timeball/internal/trial/programme"
)

// TestWeeklySumsOfArnold36 judges the comparisons of Arnold's no. 36 at
// Greenwich, 1779 and 1780 (341 daily errors, docs/examples/greenwich-1779.csv
// names the source), by the trial of weekly sums over 48 whole weeks. The sums
// were worked out from the printed errors by themselves: greatest +9.65, least
// -14.83, greatest change 14.77, so a + 2b = 54.02.
func TestWeeklySumsOfArnold36(t *testing.T) {
	f, err := os.Open("../../docs/examples/greenwich-1779.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	book, err := ratebook.Read(f)
	if err != nil {
		t.Fatal(err)
	}
	p, err := programme.Read([]byte(`name: 48 weeks
within_h: 3
periods: [{days: 336}]
criteria:
  - {name: a, of: range of sums, sum_days: 7}
  - {name: b, of: greatest step between sums, sum_days: 7}
  - {name: a + 2b, of: sum of, terms: [{times: 1, name: a}, {times: 2, name: b}]}
`))
	if err != nil {
		t.Fatal(err)
	}
	r, err := adjust.FollowFile(book, clock.TwelveHour, p)
	if err != nil {
		t.Fatal(err)
	}
	want := map[string]float64{"a": 24.48, "b": 14.77, "a + 2b": 54.02}
	for _, fig := range r.Result.Figures {
		if !fig.Known || math.Abs(fig.Value-want[fig.Criterion.Name]) > 1e-4 {
			t.Errorf("%s = %.5f (known %v, %s), want %.2f", fig.Criterion.Name, fig.Value, fig.Known, fig.Why, want[fig.Criterion.Name])
		}
		delete(want, fig.Criterion.Name)
	}
	if len(want) > 0 {
		t.Errorf("not computed: %v", want)
	}
}

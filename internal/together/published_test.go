package together_test

import (
	"strconv"
	"strings"
	"testing"

	"timeball/internal/statespace"
	"timeball/internal/together"
	"timeball/internal/together/cornered"
	"timeball/internal/together/rounds"
	"timeball/internal/together/voyage"
)

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

// The simulated book of three whose first line says how it was made, ten days to either side of day 40, with the likely deviations
// of its first forty days as the noise.
func TestWhichChanged(t *testing.T) {
	b, err := voyage.Three()
	if err != nil {
		t.Fatal(err)
	}
	quiet := b
	quiet.Rows = b.Rows[:41]
	tb, err := rounds.Lay(quiet, false)
	if err != nil {
		t.Fatal(err)
	}
	c, err := cornered.Steadiness(tb, 1, 1)
	if err != nil {
		t.Fatal(err)
	}
	var noise []statespace.Noise
	for _, k := range c.Instruments {
		noise = append(noise, statespace.Noise{SigmaW: k.RatesSD})
	}
	q, err := together.Question(b, voyage.Noon.AddDate(0, 0, 40), together.Options{WindowDays: 10, Noise: noise})
	if err != nil {
		t.Fatal(err)
	}
	for i, want := range []struct{ change, sd, rest string }{
		{"-0.9217", "0.0908", "46.5"}, {"1.1823", "0.0967", "0.016"}, {"-0.3887", "0.1625", "143.8"},
	} {
		s := q.Suspects[i]
		printed(t, "change of "+s.Name, s.Change, want.change)
		printed(t, "sd of "+s.Name, s.SD, want.sd)
		printed(t, "rest without "+s.Name, s.RestChi2, want.rest)
	}
	if q.Verdict != together.Accused || q.Name != "B" {
		t.Errorf("%s %s", q.Verdict, q.Name)
	}
	if want := "No. B gained 1.18 s ±0.19 a day more about 10 Feb 2026."; q.Words != want {
		t.Errorf("%q, want %q", q.Words, want)
	}
}

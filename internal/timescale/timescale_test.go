package timescale_test

import (
	"errors"
	"math"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"timeball/internal/timescale"
)

func at(t *testing.T, s string) time.Time {
	t.Helper()
	v, err := timescale.Parse(s)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// TestElapsed checks SI seconds against UTC with the leap seconds of the IERS
// list (Bulletin C): 2005-12-31, 2008-12-31, 2012-06-30, 2015-06-30, 2016-12-31.
func TestElapsed(t *testing.T) {
	for _, c := range []struct {
		from, to string
		want     float64
	}{
		{"2016-12-31T00:00:00Z", "2017-01-01T00:00:00Z", 86401},
		{"2016-12-24T12:00:00Z", "2017-01-07T12:00:00Z", 1209601},
		{"2012-06-20T06:00:00Z", "2012-07-20T06:00:00Z", 2592001},
		{"2005-12-01T00:00:00Z", "2017-02-01T00:00:00Z", 352512005},
		{"2026-11-25T09:00:00Z", "2026-12-25T09:00:00Z", 2592000},
		{"1779-03-26T00:00:00Z", "1780-02-29T00:00:00Z", 340 * 86400},
	} {
		from, to := at(t, c.from), at(t, c.to)
		if got := timescale.Days(from, to) * 86400; math.Abs(got-c.want) > 1e-6 {
			t.Errorf("%s to %s: %.6f s, want %.0f", c.from, c.to, got, c.want)
		}
		if got := timescale.Elapsed(from, to).Seconds(); got != c.want {
			t.Errorf("%s to %s: %.6f s, want %.0f", c.from, c.to, got, c.want)
		}
	}
}

// TestTAIMinusUTC checks single rows of the IERS list.
func TestTAIMinusUTC(t *testing.T) {
	for s, want := range map[string]int{
		"1972-06-30T23:59:59Z": 10, "1972-07-01T00:00:00Z": 11, "1980-06-01T00:00:00Z": 19,
		"2016-12-31T23:59:59Z": 36, "2017-01-01T00:00:00Z": 37, "2026-11-25T00:00:00Z": 37, "1950-01-01T00:00:00Z": 10,
	} {
		if got := timescale.TAIMinusUTC(at(t, s)); got != want {
			t.Errorf("%s: %d, want %d", s, got, want)
		}
	}
}

func TestAddDaysIsInverse(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		from := time.UnixMicro(rapid.Int64Range(-8e15, 6e15).Draw(t, "from")).UTC()
		days := rapid.Float64Range(0, 2e4).Draw(t, "days")
		to := timescale.AddDays(from, days)
		// Within the inserted second itself UTC cannot be told apart.
		if d := math.Abs(timescale.Days(from, to)-days) * 86400; d > 1.00001 || (d > 1e-4 && timescale.LeapSeconds(to.Add(-2*time.Second), to.Add(2*time.Second)) == 0) {
			t.Fatalf("%v + %v d = %v, %v s off", from, days, to, d)
		}
	})
}

func TestParseRefuses(t *testing.T) {
	for s, says := range map[string]string{
		"":                     "is empty",
		"2027-03-04":           "no time of day",
		"2027-03-04T09:12:00":  "no zone",
		"2027-03-04T09:12":     "no zone",
		"2027-02-30T09:12:00Z": "day that does not exist",
		"2016-12-31T23:59:60Z": "leap second",
		"04.03.2027 09:12":     "does not begin with a date",
		"2027-03-04T25:12:00Z": "time of day",
		"9999-01-01T00:00:00Z": "between the years",
		"tomorrow":             "not a date",
	} {
		_, err := timescale.Parse(s)
		if !errors.Is(err, timescale.ErrInstant) || !strings.Contains(err.Error(), says) {
			t.Errorf("%q: %v, want it to say %q", s, err, says)
		}
	}
}

func TestParseReads(t *testing.T) {
	want := time.Date(2027, 3, 4, 9, 12, 0, 500000000, time.UTC)
	for _, s := range []string{"2027-03-04T09:12:00.5Z", "2027-03-04 10:12:00.5+01:00", " 2027-03-04t09:12:00.5000001z "} {
		if got := at(t, s); !got.Equal(want) {
			t.Errorf("%q: %v", s, got)
		}
	}
}

func FuzzParse(f *testing.F) {
	f.Add("2027-03-04T09:12:00Z")
	f.Add("2016-12-31T23:59:60Z")
	f.Fuzz(func(t *testing.T, s string) {
		v, err := timescale.Parse(s)
		if err != nil {
			return
		}
		again, err := timescale.Parse(v.Format(time.RFC3339Nano))
		if err != nil || !again.Equal(v) {
			t.Fatalf("%q: %v, again %v, %v", s, v, again, err)
		}
	})
}

package chart

import (
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"timeball/internal/chart/pen"
)

// The dates are those of the Gregorian calendar; the leap days and Mondays
// were checked against ISO 8601 (2027-01-18 is 2027-W03-1, 2028-02-29 exists, 2100-02-29 does not).
func TestCalendarTicks(t *testing.T) {
	tests := []struct {
		name, from, to string
		most           int
		want           string
	}{
		{"a quarter in fortnights from a Monday", "2027-01-18T09:12:00Z", "2027-04-04T09:12:00Z", 6, "1 Feb|15 Feb|1 Mar|15 Mar|29 Mar"},
		{"leap day by days", "2028-02-27T00:00:00Z", "2028-03-02T00:00:00Z", 6, "27 Feb|28 Feb|29 Feb|1 Mar|2 Mar"},
		{"no leap day in 2027", "2027-02-27T00:00:00Z", "2027-03-02T00:00:00Z", 6, "27 Feb|28 Feb|1 Mar|2 Mar"},
		{"weeks over a leap day", "2028-02-21T00:00:00Z", "2028-03-13T00:00:00Z", 5, "21 Feb|28 Feb|6 Mar|13 Mar"},
		{"no leap day in 2100", "2100-02-27T00:00:00Z", "2100-03-02T00:00:00Z", 6, "27 Feb|28 Feb|1 Mar|2 Mar"},
		{"a year's turn", "2027-12-20T00:00:00Z", "2028-01-17T00:00:00Z", 6, "20 Dec 2027|27 Dec|3 Jan 2028|10 Jan|17 Jan"},
		{"a year in quarters", "2027-01-01T00:00:00Z", "2028-01-01T00:00:00Z", 5, "Jan 2027|Apr|Jul|Oct|Jan 2028"},
		{"three years", "2025-05-02T00:00:00Z", "2028-03-28T00:00:00Z", 11, "Jul 2025|Oct|Jan 2026|Apr|Jul|Oct|Jan 2027|Apr|Jul|Oct|Jan 2028"},
		{"three years, fewer", "2025-05-02T00:00:00Z", "2028-03-28T00:00:00Z", 4, "2026|2027|2028"},
		{"a century", "1912-06-01T00:00:00Z", "2012-06-01T00:00:00Z", 6, "1920|1940|1960|1980|2000"},
		{"a day in hours", "2027-03-04T05:00:00Z", "2027-03-05T05:00:00Z", 6, "4 Mar 06:00|12:00|18:00|5 Mar"},
		{"minutes", "2027-03-04T09:58:00Z", "2027-03-04T10:12:00Z", 4, "4 Mar 10:00|10:05|10:10"},
		{"before 1970", "1968-02-27T12:00:00Z", "1968-03-02T12:00:00Z", 5, "28 Feb|29 Feb|1 Mar|2 Mar"},
		{"another zone is shown in UTC", "2027-03-03T23:00:00-02:00", "2027-03-06T22:00:00-02:00", 5, "5 Mar|6 Mar|7 Mar"},
		{"all there is", "0001-01-02T00:00:00Z", "9999-12-31T00:00:00Z", 3, "5000"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			from, err1 := time.Parse(time.RFC3339, tt.from)
			to, err2 := time.Parse(time.RFC3339, tt.to)
			if err1 != nil || err2 != nil {
				t.Fatal(err1, err2)
			}
			var got []string
			for _, tick := range calendarTicks(from, to, tt.most) {
				got = append(got, tick.label)
			}
			if s := strings.Join(got, "|"); s != tt.want {
				t.Errorf("got  %s\nwant %s", s, tt.want)
			}
		})
	}
}

func TestCalendarTicksAreWithinAndOrdered(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		from := time.Unix(rapid.Int64Range(-6e10, 2.4e11).Draw(t, "from"), 0).UTC()
		to := from.Add(time.Duration(rapid.Int64Range(600, 9e9).Draw(t, "span")) * time.Second)
		most := rapid.IntRange(2, 12).Draw(t, "most")
		ticks := calendarTicks(from, to, most)
		if len(ticks) > most {
			t.Fatalf("%d ticks, most %d", len(ticks), most)
		}
		for i, tick := range ticks {
			if tick.at.Before(from) || tick.at.After(to) || i > 0 && !tick.at.After(ticks[i-1].at) {
				t.Fatalf("tick %v in %v to %v", tick.at, from, to)
			}
		}
	})
}

func TestValueTicks(t *testing.T) {
	tests := []struct {
		lo, hi float64
		most   int
		say    tongue
		want   string
	}{
		{-46, 46, 6, sayError, "slow 40 s|slow 20 s|UTC|fast 20 s|fast 40 s"},
		{-0.31, 0.12, 5, sayError, "slow 0.3 s|slow 0.2 s|slow 0.1 s|UTC|fast 0.1 s"},
		{100, 190, 5, sayError, "fast 1 min 40 s|fast 2 min|fast 2 min 20 s|fast 2 min 40 s|fast 3 min"},
		{-3700, 3700, 5, sayError, "slow 1 h|slow 30 min|UTC|fast 30 min|fast 1 h"},
		{182, 182.5, 4, sayError, "fast 3 min 2.0 s|fast 3 min 2.2 s|fast 3 min 2.4 s"},
		{-21600, 43200, 4, sayError, "slow 6 h|UTC|fast 6 h|fast 12 h"},
		{0, 4e5, 4, sayError, "UTC|fast 2 d|fast 4 d"},
		{-1.0, 0.5, 5, sayRate, "losing 1.0 s|losing 0.5 s|0|gaining 0.5 s"},
		{-0.85, -0.79, 5, sayRate, "losing 0.84 s|losing 0.82 s|losing 0.80 s"},
		{2, 2, 5, sayError, ""},
		{math.NaN(), 2, 5, sayError, ""},
	}
	for _, tt := range tests {
		step, at := ticks(tt.lo, tt.hi, tt.most, tt.say.time)
		largest := 0.0
		for _, v := range at {
			largest = max(largest, math.Abs(v))
		}
		var got []string
		for _, v := range at {
			got = append(got, tt.say.tick(v, step, largest))
		}
		if s := strings.Join(got, "|"); s != tt.want {
			t.Errorf("%v to %v, most %d:\ngot  %s\nwant %s", tt.lo, tt.hi, tt.most, s, tt.want)
		}
	}
}

func TestLogTicks(t *testing.T) {
	tests := []struct {
		lo, hi float64
		most   int
		want   []float64
	}{
		{0.9, 35, 6, []float64{1, 2, 5, 10, 20}},
		{0.03, 0.4, 4, []float64{0.05, 0.1, 0.2}},
		{0.06, 0.35, 8, []float64{0.06, 0.07, 0.08, 0.09, 0.1, 0.2, 0.3}},
		{1e-4, 1e3, 8, []float64{1e-4, 1e-3, 1e-2, 1e-1, 1, 10, 100, 1000}},
		{1e-12, 1e12, 5, []float64{1e-12, 1e-4, 1e4, 1e12}},
	}
	for _, tt := range tests {
		got := logTicks(tt.lo, tt.hi, tt.most)
		if !slices.EqualFunc(got, tt.want, func(a, b float64) bool { return math.Abs(a/b-1) < 1e-9 }) {
			t.Errorf("%v to %v: got %v, want %v", tt.lo, tt.hi, got, tt.want)
		}
	}
}

func TestValueInWords(t *testing.T) {
	for _, tt := range []struct {
		v    float64
		say  tongue
		want string
	}{
		{12.94, sayError, "fast 12.9 s"}, {-12.4, sayError, "slow 12.4 s"}, {0, sayError, "0.0 s"}, {-0.01, sayError, "0.0 s"},
		{-3605.25, sayError, "slow 1 h 5.3 s"}, {119.97, sayError, "fast 120.0 s"}, {180, sayError, "fast 3 min"},
		{-0.83, sayRate, "losing 0.8 s"}, {500, sayRate, "gaining 500.0 s"}, {math.NaN(), sayRate, ""},
	} {
		if got := tt.say.value(tt.v, 1); got != tt.want {
			t.Errorf("%v: got %q, want %q", tt.v, got, tt.want)
		}
	}
}

func TestThinnedKeepsExtremes(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		ys := rapid.SliceOfN(rapid.Float64Range(-100, 100), 1, 300).Draw(t, "y")
		var at []pen.Point
		for i, y := range ys {
			at = append(at, pen.XY(float64(i)/3, y))
		}
		kept := picked(at, thinned(at, 7))
		if len(kept) > 4*(len(at)/21+1) {
			t.Fatalf("%d of %d kept", len(kept), len(at))
		}
		low := func(a, b pen.Point) int { return int(math.Copysign(1, a.Y-b.Y)) }
		if slices.MinFunc(at, low).Y != slices.MinFunc(kept, low).Y || slices.MaxFunc(at, low).Y != slices.MaxFunc(kept, low).Y ||
			kept[0] != at[0] || kept[len(kept)-1] != at[len(at)-1] {
			t.Fatal("an extreme or an end was thinned away")
		}
		if !slices.IsSortedFunc(kept, func(a, b pen.Point) int { return int(a.X*3 - b.X*3) }) {
			t.Fatal("not in order")
		}
	})
}

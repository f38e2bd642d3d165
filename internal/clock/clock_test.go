package clock_test

import (
	"errors"
	"fmt"
	"math"
	"testing"
	"time"

	"pgregory.net/rapid"

	"timeball/internal/clock"
)

// Draper, Lectures in Navigation (1918), chronometer lecture: 2 min 40 s fast,
// fifteen days later 1 min 30 s fast; he cuts the rate to 4.6.
func ExampleMeanRate() {
	r, _ := clock.MeanRate(160, 90, 15*clock.Day)
	fmt.Printf("%+.1f s/d\n", r)
	// Output:
	// -4.7 s/d
}

// TestMeanRatePublished checks two-point rates and later errors against the
// printed inputs; exact values follow from the inputs, printed ones carry the
// author's rounding.
func TestMeanRatePublished(t *testing.T) {
	for _, c := range []struct {
		source      string
		first, last clock.DialError
		days        float64
		exact       float64
		printed     float64
		rounding    float64
		queryDays   float64
		queryExact  float64
	}{
		{"Draper, Lectures in Navigation (1918), week II", 160, 90, 15, -4.6666667, -4.6, 0.1, 9, 118},
		{"US Navy NAVEDTRA 14221 p. 5-18", 543, 593.5, 30, 1.6833333, 1.68, 0.005, 0, 543},
		{"US Navy NAVEDTRA 14221 p. 5-17", 120, 121, 1, 1, 1, 1e-9, 0, 120},
		{"LaPook, NavList 15 Sep 2009, watch A", 0, 2, 11, 0.1818182, 0.1818, 5e-5, 44, 8},
		{"LaPook, NavList 15 Sep 2009, watch B", 0, 4, 11, 0.3636364, 0.3636, 5e-5, 44, 16},
		{"LaPook, NavList 15 Sep 2009, watch A over 44 days", 0, 9, 44, 0.2045455, 0.2045, 5e-5, 110, 22.5},
		{"Bergman, NavList 30 Jan 2024, no. 1969", 0, -24, 26, -0.9230769, -0.92, 0.005, 0, 0},
		{"Bergman, NavList 30 Jan 2024, no. 5774", 0, -59, 25, -2.36, -2.36, 0.005, 0, 0},
	} {
		r, ok := clock.MeanRate(c.first, c.last, time.Duration(c.days*float64(clock.Day)))
		if !ok {
			t.Errorf("%s: no rate", c.source)
		}
		if math.Abs(float64(r)-c.exact) > 1e-6 {
			t.Errorf("%s: rate %.7f, want %.7f", c.source, r, c.exact)
		}
		if math.Abs(float64(r)-c.printed) > c.rounding {
			t.Errorf("%s: rate %.7f, printed %v", c.source, r, c.printed)
		}
		if e := c.first.After(time.Duration(c.queryDays*float64(clock.Day)), r); math.Abs(float64(e)-c.queryExact) > 1e-6 {
			t.Errorf("%s: error after %v d %.4f, want %.4f", c.source, c.queryDays, e, c.queryExact)
		}
	}
	if _, ok := clock.MeanRate(1, 2, 0); ok {
		t.Error("a rate over no time")
	}
}

// TestDialError checks errors read from a dial.
func TestDialError(t *testing.T) {
	at := func(s string) time.Time {
		v, err := time.Parse(time.RFC3339, s)
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
	for _, c := range []struct {
		source  string
		dial    clock.Dial
		reading string
		at      string
		near    clock.DialError
		want    float64
	}{
		{"NAVEDTRA 14221 p. 5-17, 17 July", 12, "11:32:00", "2026-07-17T11:30:00Z", 0, 120},
		{"NAVEDTRA 14221 p. 5-17, 18 July", 12, "11:32:01", "2026-07-18T11:30:00Z", 0, 121},
		{"Lehrbuch der astronomischen Navigation p. 156: 9h25m17.3s at 39°21.6′ E, chronometer 7h12m15.5s: 24m24.6s fast", 12, "7:12:15.5", "2026-01-01T06:47:50.9Z", 0, 24*60 + 24.6},
		{"US Coast Guard examination question: the 16:00:00 pip starts a stop-watch, at 3 m 19 s the chronometer shows 15h59m46s (inputs; the key is not printed)", 24, "15:59:46", "2026-01-01T16:03:19Z", 0, -213},
		{"across noon on a 12-hour dial", 12, "0:00:05", "2026-01-01T11:59:58Z", 0, 7},
		{"afternoon on a 12-hour dial", 12, "3:00:00", "2026-01-01T14:59:50Z", 0, 10},
		{"the same on a 24-hour dial is half a day out", 24, "3:00:00", "2026-01-01T14:59:50Z", 0, -43190},
		{"taken nearest to the error expected", 12, "3:00:00", "2026-01-01T14:59:50Z", 43000, 43210},
	} {
		r, err := clock.ParseDial(c.reading)
		if err != nil {
			t.Fatal(err)
		}
		if got := c.dial.Error(r, at(c.at), c.near); math.Abs(float64(got)-c.want) > 1e-6 {
			t.Errorf("%s: %.3f, want %.3f", c.source, got, c.want)
		}
	}
}

func TestParseDialRefuses(t *testing.T) {
	for _, s := range []string{"", "13:61:00", "7:41", "25:00:00", "7:41:60", "7:1:00", "-1:00:00", "7:41:03,5", "24:00:01", "a:bc:de", "7:41:03.", "１:00:00"} {
		if r, err := clock.ParseDial(s); !errors.Is(err, clock.ErrDialReading) {
			t.Errorf("%q read as %v, %v", s, r, err)
		}
	}
}

func TestWords(t *testing.T) {
	for _, c := range []struct {
		got, want string
	}{
		{clock.DialError(12.94).Words(0.2), "fast 12.9 s"},
		{clock.DialError(-12.4).Words(0.04), "slow 12.40 s"},
		{clock.DialError(160.46).Words(0.2), "fast 2 min 40.5 s"},
		{clock.DialError(99.96).Words(0.2), "fast 1 min 40.0 s"},
		{clock.DialError(119.97).Words(0.2), "fast 2 min 0.0 s"},
		{clock.DialError(-0.04).Words(0.2), "right to 0.0 s"},
		{clock.DialError(43210).Words(0.2), "fast 12 h 0 min 10.0 s"},
		{clock.DialError(-37.2).Words(12), "slow 37 s"},
		{clock.Rate(-0.834).Words(0.03), "losing 0.83 s"},
		{clock.Rate(1.92).Words(0.22), "gaining 1.92 s"},
		{clock.Rate(0.001).Words(0.22), "keeping time to 0.00 s"},
		{clock.DialError(0).HalfWidth(0.21), "±0.2"},
		{clock.DialError(0).HalfWidth(0.001), "±0.01"},
		{clock.DialError(0).HalfWidth(75.2), "±75"},
		{clock.Rate(0).HalfWidth(0.031), "±0.03"},
	} {
		if c.got != c.want {
			t.Errorf("got %q, want %q", c.got, c.want)
		}
	}
}

// TestReadingRoundTrip: what a dial shows for an error gives the error back.
func TestReadingRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := rapid.SampledFrom([]clock.Dial{12, 24}).Draw(t, "dial")
		e := clock.DialError(rapid.Float64Range(-1e6, 1e6).Draw(t, "error"))
		at := time.UnixMicro(rapid.Int64Range(-1e15, 4e15).Draw(t, "at"))
		r := d.Reading(at, e)
		if r < 0 || float64(r) >= d.Modulus() {
			t.Fatalf("reading %v outside the dial", r)
		}
		if got := d.Error(r, at, e); math.Abs(float64(got-e)) > 1e-6 {
			t.Fatalf("error %v came back as %v", e, got)
		}
	})
}

func FuzzParseDial(f *testing.F) {
	for _, s := range []string{"7:41:03.5", "24:00:00", "13:61:00", "", "0:00:00.123456789", "::", "9:9:9"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		r, err := clock.ParseDial(s)
		if err != nil {
			if !errors.Is(err, clock.ErrDialReading) {
				t.Fatalf("%q: %v", s, err)
			}
			return
		}
		if r < 0 || r >= 86400 || math.IsNaN(float64(r)) {
			t.Fatalf("%q read as %v", s, float64(r))
		}
		again, err := clock.ParseDial(r.String())
		if d := math.Abs(float64(again - r)); err != nil || (d > 0.00051 && d < 86399.999) {
			t.Fatalf("%q is %v, written %q, read again %v, %v", s, float64(r), r.String(), again, err)
		}
	})
}

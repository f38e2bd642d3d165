package form

import (
	"testing"
	"time"
)

var now = time.Date(2027, 3, 4, 9, 14, 32, 250_000_000, time.UTC)

func TestParseWhen(t *testing.T) {
	for text, want := range map[string]string{
		"":                           "2027-03-04T09:14:32.25Z",
		" Now ":                      "2027-03-04T09:14:32.25Z",
		"09:12":                      "2027-03-04T09:12:00Z",
		"9:12:30.5":                  "2027-03-04T09:12:30.5Z",
		"2027-03-03 09:12":           "2027-03-03T09:12:00Z",
		"2027-03-03T09:12":           "2027-03-03T09:12:00Z",
		"2027-03-03 09:12:30 UTC":    "2027-03-03T09:12:30Z",
		"2027-03-03T09:12:30.1234Z":  "2027-03-03T09:12:30.1234Z",
		"2027-03-03T09:12:30+01:00":  "2027-03-03T08:12:30Z",
		"2027-03-03 09:12:30 -05:00": "",
		"2027-02-29 09:12":           "",
		"3 March 2027 09:12":         "",
		"2027-03-03":                 "",
		"25:00":                      "",
	} {
		got, err := parseWhen(text, now)
		switch {
		case want == "" && err == nil:
			t.Errorf("%q is read as %s, want an error", text, got)
		case want != "" && (err != nil || got.Format(time.RFC3339Nano) != want):
			t.Errorf("%q is read as %s, %v, want %s", text, got.Format(time.RFC3339Nano), err, want)
		}
	}
}

func FuzzParseWhen(f *testing.F) {
	for _, seed := range []string{"now", "09:12:30", "2027-03-03 09:12", "2027-03-03T09:12:30+01:00", "Z", "2027-03-03 Z"} {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, text string) {
		at, err := parseWhen(text, now)
		if err != nil {
			return
		}
		if at.Location() != time.UTC || !at.Equal(at.Truncate(time.Microsecond)) {
			t.Fatalf("%q is read as %s, not cut to the microsecond of UTC", text, at)
		}
		again, err := parseWhen(Instant(at.Truncate(time.Millisecond)), now)
		if err != nil || !again.Equal(at.Truncate(time.Millisecond)) {
			t.Fatalf("%s is written %q and read as %s, %v", at, Instant(at), again, err)
		}
	})
}

func TestParseNumber(t *testing.T) {
	for text, want := range map[string]float64{"7.5": 7.5, "7,5": 7.5, "−0.4": -0.4, "+3": 3, " 1 200 ": 1200, "0,125": 0.125, "1e2": 100} {
		if got, err := ParseNumber(text); err != nil || got != want {
			t.Errorf("%q is read as %v, %v, want %v", text, got, err, want)
		}
	}
	for _, text := range []string{"1,200", "-12,500", "NaN", "Inf", "0x10", "1_000", "seven", "1.2.3", "1,2,3", "1e300"} {
		if got, err := ParseNumber(text); err == nil {
			t.Errorf("%q is read as %v, want an error", text, got)
		}
	}
}

func FuzzParseNumber(f *testing.F) {
	for _, seed := range []string{"7.5", "7,5", "1,200", "−3", "nan"} {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, text string) {
		if v, err := ParseNumber(text); err == nil && !(v >= -1e15 && v <= 1e15) {
			t.Fatalf("%q is read as %v", text, v)
		}
	})
}

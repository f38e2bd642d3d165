package form

import (
	"net/url"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"timeball/internal/chronometer"
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

// TestListened: what a keeper knows of a listening is asked for, and nothing
// that only a program measures.
func TestListened(t *testing.T) {
	f := New(chronometer.KindListened)
	var names, further []string
	for _, x := range f.Fields {
		names = append(names, x.Name)
		if x.Further {
			further = append(further, x.Name)
		}
	}
	if d := cmp.Diff([]string{"rate_s_per_day", "rate_sd_s_per_day", "duration_s", "amplitude_deg", "temp_c", "position", "wound_h", "note", "file"}, names); d != "" {
		t.Error(d)
	}
	if d := cmp.Diff([]string{"position", "wound_h", "note"}, further); d != "" {
		t.Error(d)
	}
	f.Sent(url.Values{"rate_s_per_day": {"−0,84"}, "rate_sd_s_per_day": {"0.06"}, "amplitude_deg": {"225"}})
	amplitude := 225.0
	if d := cmp.Diff(chronometer.Fact(chronometer.Listened{RateSPerDay: -0.84, RateSDSPerDay: 0.06, AmplitudeDeg: &amplitude}), f.Fact(chronometer.KindListened)); d != "" {
		t.Error(d, f.Problems())
	}
	f = New(chronometer.KindListened)
	f.Sent(url.Values{"rate_s_per_day": {"-0.84"}, "rate_sd_s_per_day": {"0"}})
	if f.Fact(chronometer.KindListened) != nil || f.Field("rate_sd_s_per_day").Error == "" {
		t.Errorf("a rate without doubt: %q", f.Problems())
	}
	f = New(chronometer.KindListened)
	f.Sent(url.Values{"rate_sd_s_per_day": {"0.1"}})
	if f.Fact(chronometer.KindListened) != nil || f.Field("rate_s_per_day").Error == "" {
		t.Errorf("a doubt without a rate: %q", f.Problems())
	}
	f = New(chronometer.KindListened)
	kept := chronometer.Recording{SHA256: strings.Repeat("a", 64), Name: "beat.wav", Type: chronometer.WAV, Bytes: 44}
	f.Carry(kept)
	f.Sent(url.Values{"rate_s_per_day": {"1"}, "rate_sd_s_per_day": {"0.1"}})
	if d := cmp.Diff(chronometer.Fact(chronometer.Listened{RateSPerDay: 1, RateSDSPerDay: 0.1, Recording: &kept}), f.Fact(chronometer.KindListened)); d != "" {
		t.Error(d, f.Problems())
	}
	if x := f.Field("file"); x.Needed || !strings.Contains(x.Hint, "“beat.wav” is kept") {
		t.Errorf("the file is asked for with %q", x.Hint)
	}
}

package calendar_test

import (
	"errors"
	"flag"
	"strings"
	"testing"

	"timeball/internal/paper/calendar"
)

var update = flag.Bool("update", false, "rewrite the golden files")

func TestParseHour(t *testing.T) {
	for in, want := range map[string]string{"8:30": "08:30", "08:30": "08:30", " 0:00 ": "00:00", "23:59": "23:59"} {
		if got, err := calendar.ParseHour(in); err != nil || got.String() != want {
			t.Errorf("%q is %v, %v", in, got, err)
		}
	}
	for in, says := range map[string]string{
		"": "is empty", "8.30": "no colon", "0830": "no colon", "8h30": "no colon", "8": "no colon", "8:3": "not two figures", "24:00": "outside 0 to 23",
		"8:60": "outside 00 to 59", "8:30 pm": "not two figures", "-1:30": "no number", "８:30": "no number", "8:30:00": "not two figures", "noon": "no colon",
	} {
		_, err := calendar.ParseHour(in)
		if !errors.Is(err, calendar.ErrHour) || !strings.Contains(err.Error(), says) || !strings.Contains(err.Error(), "write hh:mm") {
			t.Errorf("%q: %v, want %q", in, err, says)
		}
	}
}

func FuzzParseHour(f *testing.F) {
	for _, s := range []string{"8:30", "8.30", "", ":", "24:00", "08:5", "１:00"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		h, err := calendar.ParseHour(s)
		if err != nil {
			if !errors.Is(err, calendar.ErrHour) || strings.Contains(err.Error(), "\n") {
				t.Fatalf("%q: %v", s, err)
			}
			return
		}
		if h.Hour < 0 || h.Hour > 23 || h.Minute < 0 || h.Minute > 59 {
			t.Fatalf("%q is %v", s, h)
		}
		if again, err := calendar.ParseHour(h.String()); err != nil || again != h {
			t.Fatalf("%q is %v, read again %v, %v", s, h, again, err)
		}
	})
}

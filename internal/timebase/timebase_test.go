package timebase_test

import (
	"encoding/json"
	"errors"
	"math"
	"testing"
	"time"

	"pgregory.net/rapid"

	"timeball/internal/timebase"
)

func near(t *testing.T, what string, got, want, within float64) {
	t.Helper()
	if !(math.Abs(got-want) <= within) {
		t.Errorf("%s is %.8g, want %.8g", what, got, want)
	}
}

// TestRate follows a derived example through: a recorder of 48,000 Hz that takes
// 48,001.2345 samples a second, and a balance of 0.5 s that it finds at
// 0.500013 s.
func TestRate(t *testing.T) {
	c := timebase.Clock{PPM: (48001.2345/48000 - 1) * 1e6, SdPPM: 0.2}
	apparent := 86400 * (0.5/0.500013 - 1)
	near(t, "e", c.PPM, 25.71875, 1e-6)
	near(t, "r'", apparent, -2.24634, 5e-6)
	near(t, "r", c.Rate(apparent), -0.02430, 5e-6)
	near(t, "true period", 0.5/(1+c.Rate(apparent)/86400), 0.50000014062, 5e-12)
	near(t, "doubt", c.SdRate(), 0.01728, 1e-9)
	near(t, "doubt of an unmeasured clock", timebase.Assumed().SdRate(), 4.32, 1e-9)
	rapid.Check(t, func(t *rapid.T) {
		c := timebase.Clock{PPM: rapid.Float64Range(-20000, 20000).Draw(t, "ppm")}
		r := rapid.Float64Range(-600, 600).Draw(t, "rate")
		if math.Abs(c.Apparent(c.Rate(r))-r) > 1e-9 {
			t.Fatalf("%v becomes %v", r, c.Apparent(c.Rate(r)))
		}
	})
}

// TestQuartz: q = +0.42 and q' = -1.90 s/d give +26.8524 ppm, by the exact ratio.
func TestQuartz(t *testing.T) {
	c := timebase.Quartz(0.42, 0.02, -1.90, 0.05)
	near(t, "e", c.PPM, 26.8524, 5e-5)
	near(t, "its doubt", c.SdRate(), math.Hypot(0.02, 0.05), 1e-12)
	near(t, "the watch itself", c.Rate(-1.90), 0.42, 1e-9)
}

// TestEnds is the table of √2 j/T in s/d, for j in ms over T in hours.
func TestEnds(t *testing.T) {
	for _, row := range []struct {
		ms   float64
		want [4]float64
	}{
		{1, [4]float64{0.034, 0.0085, 0.0028, 0.0014}}, {5, [4]float64{0.170, 0.042, 0.014, 0.007}}, {20, [4]float64{0.68, 0.17, 0.057, 0.028}},
	} {
		for i, hours := range []float64{1, 4, 12, 24} {
			got := timebase.Clock{SdPPM: timebase.EndsPPM(row.ms/1000, 3600*hours)}.SdRate()
			near(t, "doubt", got, row.want[i], 0.02*row.want[i])
		}
	}
	near(t, "2 ms in 4 h", timebase.EndsPPM(0.002, 14400), 0.196, 5e-4)
}

// TestAged: a calibration holds to about 1 ppm for weeks, loses 1 to 5 ppm in a
// year, and is never worse than none.
func TestAged(t *testing.T) {
	at := time.Date(2027, 3, 4, 9, 0, 0, 0, time.UTC)
	c := timebase.Clock{Source: timebase.FromCalibration, PPM: 12, SdPPM: 0.1, At: at}
	for _, row := range []struct{ days, least, most float64 }{{0, 0.1, 0.1}, {1, 0.4, 0.7}, {21, 0.9, 1.3}, {365, 1, 5}, {1e5, 50, 50}} {
		for _, sign := range []float64{1, -1} {
			aged := c.Aged(at.Add(time.Duration(sign * row.days * 24 * float64(time.Hour))))
			if aged.SdPPM < row.least-1e-9 || aged.SdPPM > row.most || aged.PPM != 12 {
				t.Errorf("after %v days %+v", row.days, aged)
			}
		}
	}
	if got := timebase.Assumed().Aged(at); got != timebase.Assumed() {
		t.Errorf("%+v", got)
	}
}

func TestParse(t *testing.T) {
	for text, want := range map[string]timebase.Clock{
		"+12.3 sd 0.5":         {Source: timebase.FromCalibration, PPM: 12.3, SdPPM: 0.5},
		"-58.3ppm sd 0.02 ppm": {Source: timebase.FromCalibration, PPM: -58.3, SdPPM: 0.02},
		" −3 PPM  SD 1e-1":     {Source: timebase.FromCalibration, PPM: -3, SdPPM: 0.1},
		"unknown":              timebase.Assumed(),
	} {
		if got, err := timebase.Parse(text); err != nil || got != want {
			t.Errorf("%q: %+v, %v", text, got, err)
		}
	}
	for _, text := range []string{"", "12.3", "12.3±0.5", "12.3 +-0.5", "12,3 sd 0,5", "12.3,0.5", "sd 1", "1 sd", "1 sd 0", "1 sd -1", "30000 sd 1", "nan sd 1", "1 sd inf", "0x1p2 sd 1", "1 sd 1 1", "ppm sd ppm"} {
		if got, err := timebase.Parse(text); !errors.Is(err, timebase.ErrNotClock) {
			t.Errorf("%q: %+v, %v", text, got, err)
		}
	}
}

func FuzzParse(f *testing.F) {
	for _, s := range []string{"+12.3 sd 0.5", "-58.3 ppm sd 0.02 ppm", "unknown", "12.3±0.5"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		c, err := timebase.Parse(text)
		if err != nil {
			if !errors.Is(err, timebase.ErrNotClock) {
				t.Fatal(err)
			}
			return
		}
		again, err := timebase.Parse(c.String())
		if err != nil || again != c || !(c.SdPPM > 0) {
			t.Fatalf("%q is %+v, and %q is %+v, %v", text, c, c.String(), again, err)
		}
	})
}

// TestJSON: the names that scripts read.
func TestJSON(t *testing.T) {
	got, err := json.Marshal(timebase.Assumed())
	if err != nil || string(got) != `{"source":"assumed","ppm":0,"ppm_sd":50}` {
		t.Errorf("%s, %v", got, err)
	}
}

package lanternquay

import (
	"math"
	"testing"
	"time"

	"timeball/internal/chronometer"
)

// TestWhatIsHeard: every rate heard carries the doubt of its sampling clock,
// 0.0864 s/d for one part in a million, and not much besides.
func TestWhatIsHeard(t *testing.T) {
	assumed, calibrated := 0, 0
	for _, now := range instants() {
		for number, b := range logbooks(t, now) {
			for _, e := range b.Entries() {
				l, ok := e.Fact.(chronometer.Listened)
				if !ok {
					continue
				}
				if least := 0.0864 * l.Timebase.PPMSD; l.RateSDSPerDay < least || l.RateSDSPerDay > 1.2*least {
					t.Errorf("No. %s: a doubt of %g s/d with a clock known to %g", number, l.RateSDSPerDay, least)
				}
				switch l.Timebase.Source {
				case "assumed":
					assumed++
				case "calibrated":
					calibrated++
				}
			}
		}
	}
	if n := len(instants()); assumed != 3*n || calibrated != 5*n {
		t.Errorf("%d heard by the telephone and %d by the bench microphone, want 3 and 5 at each of %d instants", assumed, calibrated, n)
	}
}

// TestRateHeardIsTheRate holds the rates heard after the screws were turned
// against the comparisons of the days after them, to three standard deviations.
func TestRateHeardIsTheRate(t *testing.T) {
	for _, now := range instants() {
		for _, number := range []string{"417", "88"} {
			entries := logbooks(t, now)[number].Standing()
			m, _ := logbooks(t, now)[number].Instrument()
			checked := 0
			for n, e := range entries {
				l, ok := e.Fact.(chronometer.Listened)
				if !ok || l.Note != "after" {
					continue
				}
				var at []time.Time
				var errors []float64
				for _, later := range entries[n:] {
					c, ok := later.Fact.(chronometer.Compared)
					if later.Kind() == chronometer.KindRegulated || len(at) == 12 {
						break
					}
					if ok {
						r, _ := c.Reading()
						at, errors = append(at, later.At), append(errors, float64(m.ClockDial().Error(r, later.At, 0)))
					}
				}
				days := at[len(at)-1].Sub(at[0]).Hours() / 24
				rate := (errors[len(errors)-1] - errors[0]) / days
				// The mean of days has the noise of the days, σw/√d, and the
				// warmth of the room, a tenth or so of a second a day.
				sd := math.Hypot(l.RateSDSPerDay, math.Hypot(0.22/math.Sqrt(days), 0.1))
				if checked++; math.Abs(rate-l.RateSPerDay) > 3*sd {
					t.Errorf("No. %s heard %.2f s/d, compared %.2f ±%.2f", number, l.RateSPerDay, rate, sd)
				}
			}
			if checked != 1 {
				t.Errorf("No. %s: %d rates heard after the screws", number, checked)
			}
		}
	}
}

// TestServiceReading: the arc that the bench wrote down after the service, 440°
// wound and 405° after a day, is twice the amplitude heard.
func TestServiceReading(t *testing.T) {
	readings, sounded := 0, 0
	for _, e := range logbooks(t, morning)["417"].Entries() {
		switch f := e.Fact.(type) {
		case chronometer.Compared:
			if f.Heard == nil {
				continue
			}
			sounded++
			if into := math.Mod(float64(e.At.Nanosecond())/1e9, 0.5); math.Abs(into-f.Heard.PhaseS) > 1e-9 {
				t.Errorf("compared at %s, and the beat fell %g s after the half-second", e.At, f.Heard.PhaseS)
			}
			if r, _ := f.Reading(); math.Mod(float64(r), 1) != 0 || f.SDS < f.Heard.LatencySDS {
				t.Errorf("the dial showed %v, doubt %g s", r, f.SDS)
			}
		case chronometer.Listened:
			if f.Reading == nil {
				continue
			}
			readings++
			if e.Written.Sub(e.At).Hours() < 22 {
				t.Errorf("written %s after 22 hours began", e.Written.Sub(e.At))
			}
			a := f.Reading.Amplitude
			for _, end := range []chronometer.AmplitudeAt{a[0], a[len(a)-1]} {
				want := 220 - 17.5*(*f.WoundH+end.H)/24
				if math.Abs(end.Deg-want) > 3*end.SDDeg {
					t.Errorf("%.1f° after %.1f h, want near %.1f°", end.Deg, *f.WoundH+end.H, want)
				}
			}
			sum := 0.0
			for _, us := range f.Reading.TeethUS {
				sum += us
			}
			if len(f.Reading.TeethUS) != 15 || math.Abs(sum) > 15*0.05 {
				t.Errorf("%d teeth, %g µs in all", len(f.Reading.TeethUS), sum)
			}
		}
	}
	if readings != 1 || sounded != 3 {
		t.Errorf("%d service readings and %d comparisons by sound, want 1 and 3", readings, sounded)
	}
}

func TestMicrophones(t *testing.T) {
	all := Microphones(morning)
	if len(all) != 2 || all[0].LatencyAt.IsZero() || all[0].PPMAt.IsZero() || !all[1].LatencyAt.IsZero() || !all[1].PPMAt.IsZero() {
		t.Errorf("%+v", all)
	}
	for _, m := range all {
		if m.Seen.After(morning) || m.LatencyAt.After(m.Seen) {
			t.Errorf("%+v", m)
		}
	}
}

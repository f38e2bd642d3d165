package workshop_test

import (
	"errors"
	"math"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"timeball/internal/chronometer"
	"timeball/internal/clock"
	"timeball/internal/observe"
	"timeball/internal/workshop"
)

// TestSoundedErrorIsTheNearest: a dial steps at whole beats of its own, and a
// microphone hears each step late. Whatever its error, delay and beat, it comes
// out as it is if it is expected to less than half a beat, and else off by whole
// beats.
func TestSoundedErrorIsTheNearest(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		beat := rapid.SampledFrom([]float64{0.5, 0.2, 1}).Draw(t, "beat")
		errorS := rapid.Float64Range(-20000, 20000).Draw(t, "error")
		latency := rapid.Float64Range(0, 0.3).Draw(t, "latency")
		from := now.Add(time.Duration(rapid.Int64Range(0, 86400e6).Draw(t, "from")) * time.Microsecond)
		// The first instant from then on at which UTC plus the error is whole beats of
		// its day.
		day := from.Truncate(24 * time.Hour)
		dial := from.Sub(day).Seconds() + errorS
		step := day.Add(time.Duration((beat*math.Ceil(dial/beat) - errorS) * 1e9))
		off := rapid.Float64Range(-0.49, 0.49).Draw(t, "off") * beat
		beats := rapid.IntRange(-3, 3).Draw(t, "beats")
		s := workshop.Sounded{BeatAt: step.Add(time.Duration(latency * 1e9)), BeatS: beat, LatencyS: latency, Near: observe.Near{ErrorS: errorS + off + float64(beats)*beat, Known: true}}
		got, at := s.SoundedError()
		want := errorS + float64(beats)*beat
		if math.Abs(got-want) > 1e-5 {
			t.Fatalf("%.6f s, want %.6f", got, want)
		}
		if d := at.Sub(step).Abs(); d > 2*time.Microsecond {
			t.Fatalf("at %v, off by %v", at, d)
		}
	})
}

// sound is a beat of the bench as it was heard.
func (b *bench) sound() workshop.Sounded {
	e := b.error(b.now)
	step := b.now.Add(time.Duration((0.5*math.Ceil(e/0.5) - e) * 1e9)) // b.now is a whole second
	return workshop.Sounded{
		BeatAt: step.Add(30 * time.Millisecond), SDS: 0.001, BeatS: 0.5, Beats: 60, DurationS: 30, Near: observe.Near{ErrorS: e + 0.1, HalfS: 0.15, Known: true}, Taken: chronometer.TakenForecast,
		LatencyS: 0.03, LatencySDS: 0.006, Microphone: "bench microphone", Key: "k", Standard: b.Standard().Read(), DeviceS: 0.003, Observer: "T. Morrow",
	}
}

// soundings counts the comparisons by sound that are written.
func (b *bench) soundings(t *testing.T) (n int) {
	t.Helper()
	seen, err := b.See(t.Context(), "417")
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range seen.Logbook.Entries() {
		if c, ok := e.Fact.(chronometer.Compared); ok && c.Heard != nil {
			n++
		}
	}
	return n
}

func TestCompareBySound(t *testing.T) {
	b := newBench(t, chronometer.Twelve)
	id, err := b.NewID(t.Context(), b.id, chronometer.KindCompared)
	if err != nil {
		t.Fatal(err)
	}
	var e chronometer.Entry
	for range 2 { // sent twice, it is written once
		if e, err = b.CompareBySound(t.Context(), id, "T. Morrow", b.id, b.sound()); err != nil {
			t.Fatal(err)
		}
	}
	if n := b.soundings(t); n != 1 {
		t.Fatalf("%d comparisons are written", n)
	}
	c := e.Fact.(chronometer.Compared)
	reading, _ := c.Reading()
	if got := float64(clock.TwelveHour.Error(reading, e.At, 0)); math.Abs(got-b.error(b.now)) > 1e-5 {
		t.Errorf("%.6f s, want %.6f", got, b.error(b.now))
	}
	if h := c.Heard; h == nil || h.Taken != chronometer.TakenForecast || h.MicrophoneKey != "k" || h.LatencySDS != 0.006 || h.Beats != 60 {
		t.Errorf("heard %+v", h)
	}
	if want := math.Hypot(0.001, 0.006); math.Abs(c.SDS-want) > 1e-6 || c.Method != chronometer.BySound || c.Kept == nil {
		t.Errorf("written %+v, want sd %g", c, want)
	}
}

// TestSoundRefused: what cannot be defended is refused in words and written
// nowhere.
func TestSoundRefused(t *testing.T) {
	for _, c := range []struct {
		name, says string
		spoil      func(*workshop.Sounded)
	}{
		{"UTC not known", "not known", func(s *workshop.Sounded) { s.Standard.Known = false }},
		{"UTC too wide", "too wide", func(s *workshop.Sounded) { s.Standard.BoundS = 0.432 }}, // eight hours at 15 ppm
		{"device too wide", "this device", func(s *workshop.Sounded) { s.DeviceS = 0.2 }},
		{"nothing expected", "tap once", func(s *workshop.Sounded) { s.Near = observe.Near{} }},
		{"expected too widely", "tap once", func(s *workshop.Sounded) { s.Near.HalfS = 0.21 }},
		{"one tap for fifths", "one tap does not tell", func(s *workshop.Sounded) { s.BeatS, s.Near.HalfS, s.Taken = 0.2, 0.19, chronometer.TakenTap }},
	} {
		b := newBench(t, chronometer.Twelve)
		s := b.sound()
		c.spoil(&s)
		id, err := b.NewID(t.Context(), b.id, chronometer.KindCompared)
		if err != nil {
			t.Fatal(err)
		}
		if _, err = b.CompareBySound(t.Context(), id, "T. Morrow", b.id, s); !errors.Is(err, chronometer.ErrRefused) || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%s: %v, want it to say %q", c.name, err, c.says)
		}
		if n := b.soundings(t); n != 0 {
			t.Errorf("%s: %d comparisons are written", c.name, n)
		}
	}
}

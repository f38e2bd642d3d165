package workshop_test

import (
	"errors"
	"math"
	"strings"
	"testing"
	"time"

	"timeball/internal/chronometer"
	"timeball/internal/clock"
	"timeball/internal/observe"
	"timeball/internal/reference"
	"timeball/internal/store"
	"timeball/internal/workshop"
)

// bench is a workshop whose clock is known within 4 ms, with one instrument
// that was compared every day and loses half a second a day.
type bench struct {
	*workshop.Workshop
	now time.Time
	id  chronometer.ID
}

func (b *bench) error(at time.Time) float64 {
	return 12 - 0.5*at.Sub(now.AddDate(0, 0, -20)).Hours()/24
}

func newBench(t *testing.T, dial chronometer.Hours) *bench {
	t.Helper()
	b := &bench{now: now}
	tell := func() time.Time { return b.now }
	db, err := store.Open(t.Context(), t.TempDir(), tell)
	if err != nil {
		t.Fatal(err)
	}
	b.Workshop = workshop.New(db, reference.Taken(tell, 0.004))
	t.Cleanup(func() {
		b.Close()
		if err := db.Close(); err != nil {
			t.Error(err)
		}
	})
	b.id, err = b.Enter(t.Context(), "R. Halvane", chronometer.Instrument{Number: "417", Make: chronometer.BoxChronometer, Beat: chronometer.HalfSecond, Dial: dial, GoingH: 56})
	if err != nil {
		t.Fatal(err)
	}
	for d := 20; d >= 1; d-- {
		at := now.AddDate(0, 0, -d)
		c := chronometer.ReadDial(clock.Dial(12).Reading(at, clock.DialError(b.error(at))))
		c.SDS = 0.05
		if _, err := b.Write(t.Context(), "R. Halvane", b.id, at, c); err != nil {
			t.Fatal(err)
		}
	}
	return b
}

// sitting taps n marks every 5 s from now on, each late by lag.
func (b *bench) sitting(n int, lag float64) workshop.Sitting {
	s := workshop.Sitting{Observer: "T. Morrow", Device: "bench telephone", DeviceS: 0.006, Standard: b.Standard().Read()}
	s.Taps = observe.Taps{Origin: b.now, EveryS: 5}
	e := b.error(b.now)
	for i := range n {
		// The dial passes a mark when UTC plus the error is a multiple of 5 s.
		mark := 5*math.Ceil((float64(b.now.Second())+e)/5) + 5*float64(i)
		wander := 0.02 * math.Sin(float64(7*i))
		s.Taps.AtS = append(s.Taps.AtS, mark-e-float64(b.now.Second())+lag+wander)
	}
	return s
}

func (b *bench) comparisons(t *testing.T) []chronometer.Entry {
	t.Helper()
	seen, err := b.See(t.Context(), "417")
	if err != nil {
		t.Fatal(err)
	}
	var all []chronometer.Entry
	for _, e := range seen.Logbook.Standing() {
		if c, ok := e.Fact.(chronometer.Compared); ok && c.Tapped != nil {
			all = append(all, e)
		}
	}
	return all
}

// TestCompareByTap: the error comes out within its interval, with everything
// kept that it takes to reckon it again, and is written once.
func TestCompareByTap(t *testing.T) {
	b := newBench(t, chronometer.Twelve)
	id, err := b.NewID(t.Context(), b.id, chronometer.KindCompared)
	if err != nil {
		t.Fatal(err)
	}
	s := b.sitting(8, -0.035)
	s.Near = workshop.Confirmed(math.Round(b.error(b.now)), 5)
	var first chronometer.Entry
	for n := range 3 {
		e, err := b.CompareByTap(t.Context(), id, "T. Morrow", b.id, s)
		if err != nil {
			t.Fatal(err)
		}
		if n == 0 {
			first = e
		} else if e.ID != first.ID || !e.At.Equal(first.At) {
			t.Errorf("sent again it is %+v, want %+v", e, first)
		}
	}
	all := b.comparisons(t)
	if len(all) != 1 {
		t.Fatalf("%d comparisons are written, want one", len(all))
	}
	c := all[0].Fact.(chronometer.Compared)
	reading, _ := c.Reading()
	got := float64(clock.TwelveHour.Error(reading, all[0].At, 0))
	if want := b.error(all[0].At); math.Abs(got-want) > 1.96*c.SD() {
		t.Errorf("error %.3f, want %.3f within %.3f", got, want, 1.96*c.SD())
	}
	// JCGM 100:2008, 4.3.7: bounds of 4 and 6 ms are √(4²+6²)/√3 ms.
	if want := math.Hypot(0.004, 0.006) / math.Sqrt(3); math.Abs(c.StandardSD-want) > 1e-12 {
		t.Errorf("the standard adds %.6f s, want %.6f", c.StandardSD, want)
	}
	if c.Kept == nil || c.Kept.BoundS != 0.004 || c.Kept.DeviceS != 0.006 || c.Observer != "T. Morrow" || c.Method != chronometer.ByTap {
		t.Errorf("kept %+v of %q by %q", c.Kept, c.Observer, c.Method)
	}
	// The taps are kept to the microsecond and reckon to the same error.
	again := observe.Taps{Origin: all[0].At, AtS: c.Tapped.AtS, EveryS: c.Tapped.EveryS}
	f, err := observe.Reckon(again, clock.TwelveHour, s.Near, observe.Equation{LagS: c.Tapped.LagS, SDS: c.Tapped.LagSDS})
	if err != nil || math.Abs(f.ErrorS-got) > 0.001 {
		t.Errorf("reckoned again %.4f, %v, want %.4f", f.ErrorS, err, got)
	}
}

// TestTapsFromTwoTelephones: the same taps under two IDs are one comparison;
// those of a second hand are another.
func TestTapsFromTwoTelephones(t *testing.T) {
	b := newBench(t, chronometer.Twelve)
	id := func() chronometer.ID {
		id, err := b.NewID(t.Context(), b.id, chronometer.KindCompared)
		if err != nil {
			t.Fatal(err)
		}
		return id
	}
	s := b.sitting(6, 0)
	s.Near = workshop.Confirmed(2, 5)
	if _, err := b.CompareByTap(t.Context(), id(), "T. Morrow", b.id, s); err != nil {
		t.Fatal(err)
	}
	copied := s
	copied.Device = "the other telephone"
	if _, err := b.CompareByTap(t.Context(), id(), "J. Pask", b.id, copied); !errors.Is(err, chronometer.ErrRefused) || !strings.Contains(err.Error(), "nothing is written twice") {
		t.Errorf("the same taps: %v", err)
	}
	other := b.sitting(6, 0.0411)
	other.Near, other.Device = s.Near, "the other telephone"
	if _, err := b.CompareByTap(t.Context(), id(), "J. Pask", b.id, other); err != nil {
		t.Errorf("another hand: %v", err)
	}
	if n := len(b.comparisons(t)); n != 2 {
		t.Errorf("%d comparisons, want 2", n)
	}
}

// TestTapsRefused: what cannot be defended is refused in words and written
// nowhere.
func TestTapsRefused(t *testing.T) {
	for _, c := range []struct {
		name, says string
		spoil      func(*workshop.Sitting)
	}{
		{"UTC not known", "not known", func(s *workshop.Sitting) {
			s.Standard.Known, s.Standard.Source = false, "this computer’s clock"
		}},
		{"UTC too wide", "too wide", func(s *workshop.Sitting) { s.Standard.BoundS = 0.432 }}, // eight hours at 15 ppm
		{"device too wide", "this device", func(s *workshop.Sitting) { s.DeviceS = 0.2 }},
		{"two taps", "too few taps", func(s *workshop.Sitting) { s.Taps.AtS = s.Taps.AtS[:2] }},
		{"ten taps in a second", "", func(s *workshop.Sitting) {
			first := s.Taps.AtS[0]
			s.Taps.AtS = nil
			for n := range 10 {
				s.Taps.AtS = append(s.Taps.AtS, first+float64(n)/10)
			}
		}},
		{"nothing expected", "say which it showed", func(s *workshop.Sitting) { s.Near = observe.Near{} }},
	} {
		t.Run(c.name, func(t *testing.T) {
			b := newBench(t, chronometer.Twelve)
			s := b.sitting(8, 0)
			s.Near = workshop.Confirmed(2, 5)
			c.spoil(&s)
			id, err := b.NewID(t.Context(), b.id, chronometer.KindCompared)
			if err != nil {
				t.Fatal(err)
			}
			if _, err = b.CompareByTap(t.Context(), id, "T. Morrow", b.id, s); err == nil || !strings.Contains(err.Error(), c.says) {
				t.Errorf("%v, want it to say %q", err, c.says)
			}
			if n := len(b.comparisons(t)); n != 0 {
				t.Errorf("%d comparisons are written", n)
			}
		})
	}
}

// TestPersonalEquationIsTakenOff: measured, it is used for the observer, the
// device and the sense it was measured on, and for no other.
func TestPersonalEquationIsTakenOff(t *testing.T) {
	b := newBench(t, chronometer.Twelve)
	q := chronometer.Equation{Observer: "T. Morrow", Device: "bench telephone", Sense: chronometer.Seen, BeatS: 0.5}
	for i := range 30 {
		q.TapsS = append(q.TapsS, 0.080+0.015*math.Sin(float64(5*i)))
	}
	id, err := b.NewID(t.Context(), "", chronometer.KindEquation)
	if err != nil {
		t.Fatal(err)
	}
	for range 2 { // sent twice
		if _, err := b.Exercised(t.Context(), id, "T. Morrow", q); err != nil {
			t.Fatal(err)
		}
	}
	if all, err := b.Exercises(t.Context()); err != nil || len(all) != 1 || math.Abs(all[0].Equation.LagS-0.080) > 0.005 {
		t.Fatalf("exercises %+v, %v", all, err)
	}
	s := b.sitting(8, 0.080)
	s.Near = workshop.Confirmed(2, 5)
	mine, err := b.Reckon(t.Context(), "417", s)
	if err != nil {
		t.Fatal(err)
	}
	if want := b.error(mine.At); mine.From == "" || math.Abs(mine.ErrorS-want) > 0.02 {
		t.Errorf("with the personal equation %.3f, want %.3f; from %q", mine.ErrorS, want, mine.From)
	}
	s.Observer = "J. Pask"
	other, err := b.Reckon(t.Context(), "417", s)
	if err != nil {
		t.Fatal(err)
	}
	if other.From != "" || other.SDS <= mine.SDS {
		t.Errorf("an observer never measured: from %q, sd %.4f, want more than %.4f", other.From, other.SDS, mine.SDS)
	}
}

// TestTypedComparisonCarriesTheStandard: one made now is written with the
// standard, one of yesterday or against a signal is not, and sent again it is
// the same.
func TestTypedComparisonCarriesTheStandard(t *testing.T) {
	b := newBench(t, chronometer.Twelve)
	id, err := b.NewID(t.Context(), b.id, chronometer.KindCompared)
	if err != nil {
		t.Fatal(err)
	}
	typed := chronometer.ReadDial(clock.TwelveHour.Reading(b.now, 2))
	for range 2 {
		e, err := b.WriteOnce(t.Context(), id, "T. Morrow", b.id, time.Time{}, typed)
		if err != nil {
			t.Fatal(err)
		}
		if c := e.Fact.(chronometer.Compared); c.Kept == nil || c.Kept.BoundS != 0.004 || c.StandardSD == 0 {
			t.Errorf("written with %+v, %v", c.Kept, c.StandardSD)
		}
		b.now = b.now.Add(3 * time.Minute) // the bound then is not the bound now
	}
	for _, c := range []chronometer.Compared{
		func() chronometer.Compared { c := typed; c.Standard = "telephone, by wire"; return c }(),
		func() chronometer.Compared { c := typed; c.Method = chronometer.ByRadio; return c }(),
	} {
		if id, err = b.NewID(t.Context(), b.id, chronometer.KindCompared); err != nil {
			t.Fatal(err)
		}
		e, err := b.WriteOnce(t.Context(), id, "T. Morrow", b.id, time.Time{}, c)
		if err != nil {
			t.Fatal(err)
		}
		if got := e.Fact.(chronometer.Compared); got.Kept != nil {
			t.Errorf("against %q it carries the standard of the workshop", c.Standard)
		}
	}
	late := typed
	late.Standard = "digital radio"
	if err := (chronometer.Entry{ID: id, Subject: b.id, At: b.now, Written: b.now, By: "x", Fact: late}).Check(); err == nil || !strings.Contains(err.Error(), "seconds late") {
		t.Errorf("digital radio: %v", err)
	}
	if sd := (chronometer.Compared{SDS: 0.04, Standard: "telephone, by wire"}).SD(); math.Abs(sd-0.05) > 1e-12 {
		t.Errorf("a reading of 0.04 s by telephone has sd %.4f, want 0.05", sd)
	}
}

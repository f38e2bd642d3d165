package simulate_test

import (
	"errors"
	"math"
	"testing"
	"time"

	"gonum.org/v1/gonum/stat"

	"timeball/internal/clock"
	"timeball/internal/simulate"
)

var noon = time.Date(2026, time.March, 2, 12, 0, 0, 0, time.UTC)

func after(days float64) time.Time { return noon.Add(time.Duration(days * float64(clock.Day))) }

// Without noise every step can be reckoned by hand.
func TestInstrumentFollowsItsSchedule(t *testing.T) {
	room := simulate.Air{From: noon, Record: simulate.Steady(24)}
	c := simulate.Character{
		Rate: -0.8, Linear: 0.02, Quadratic: -0.01, DriftPerDay: 0.002,
		PositionRates: map[string]clock.Rate{"dial down": 1.5},
	}
	i := simulate.NewInstrument(source(1), c, room, noon)
	is := func(what string, day, want float64) {
		t.Helper()
		if got := float64(i.Error(after(day))); math.Abs(got-want) > 1e-6 {
			t.Errorf("%s: error %.6f s, want %.6f", what, got, want)
		}
	}
	is("still, an hour on", 1.0/24, -3600)
	i.Start(after(1), 3)
	// At 24 °C: 4·0.02 - 16·0.01 = -0.08 s/d; the rate at 20 °C is -0.8 + 0.002·day.
	is("going", 11, 3+10*(-0.8-0.08)+0.002*(121-1)/2)
	i.MoveHands(after(11), 1)
	is("hands moved", 11, 3-8.8+0.12+60)
	i.SetHands(after(11), 0)
	i.Regulate(after(11), 0.5)
	is("regulated", 21, 10*(-0.3-0.08)+0.002*(441-121)/2)
	i.Lay(after(21), "dial down")
	is("dial down", 22, -3.48+1.5-0.38+0.002*(484-441)/2)
	i.SetHands(after(22), 0)
	i.Lay(after(22), "dial up")
	i.Put(after(22), simulate.Air{From: after(22), Record: simulate.Steady(10)})
	// At 10 °C: -0.2 - 1.0.
	is("in the cold", 24, 2*(-0.3-1.2)+0.002*(576-484)/2)
	if r := float64(i.Rate(after(24))); math.Abs(r-(-0.3-1.2+0.048)) > 1e-9 {
		t.Errorf("rate %.6f", r)
	}
	i.Carry(after(24), 0.25, 0.6)
	i.Stop(after(24))
	is("stopped half a day", 24.5, -3+0.092+0.25-43200)
	i.Start(after(25), -1)
	is("after the carriage", 26, -1+0.3-1.2+0.002*(676-625)/2)
	if i.Err() != nil || !i.Going() {
		t.Errorf("going %v, %v", i.Going(), i.Err())
	}
}

func TestInstrumentRefusesWhatDoesNotFollow(t *testing.T) {
	for _, c := range []struct {
		name string
		do   func(*simulate.Instrument)
	}{
		{"earlier", func(i *simulate.Instrument) { i.Error(after(-1)) }},
		{"stopped while still", func(i *simulate.Instrument) { i.Stop(after(1)) }},
		{"started twice", func(i *simulate.Instrument) { i.Start(after(1), 0); i.Start(after(2), 7) }},
	} {
		i := simulate.NewInstrument(source(1), simulate.Character{}, simulate.Air{}, noon)
		c.do(i)
		if !errors.Is(i.Err(), simulate.ErrSchedule) {
			t.Errorf("%s: %v", c.name, i.Err())
		}
		before := i.Error(after(3))
		i.MoveHands(after(4), 1)
		if i.Error(after(5)) != before {
			t.Errorf("%s: it went on all the same", c.name)
		}
	}
}

// Readings scatter as they say, and a seed gives the same instrument.
func TestInstrumentReadings(t *testing.T) {
	c := simulate.Character{Noise: simulate.Noise{SigmaW: 0.2, SigmaR: 0.02}, Rate: -0.7}
	read := func(seed uint64) []float64 {
		i := simulate.NewInstrument(source(seed), c, simulate.Air{}, noon)
		i.Start(noon, 0)
		var misses []float64
		for day := range 4000 {
			at := after(float64(day) / 10)
			misses = append(misses, float64(i.Read(at, 0.1)-i.Error(at)))
		}
		return misses
	}
	a, b := read(6), read(6)
	for i := range a {
		if a[i] != b[i] {
			t.Fatalf("reading %d: %g and %g from one seed", i, a[i], b[i])
		}
	}
	within(t, "scatter", stat.StdDev(a, nil), 0.1, 0.1/math.Sqrt(2*4000))
}

// A dial that keeps time gains a second on UTC when a leap second is
// inserted: the last was at the end of 2016 (IERS Bulletin C 52).
func TestInstrumentCrossesALeapSecond(t *testing.T) {
	before := time.Date(2016, time.December, 31, 0, 0, 0, 0, time.UTC)
	i := simulate.NewInstrument(source(1), simulate.Character{}, simulate.Air{}, before)
	i.Start(before, 0)
	if e := i.Error(before.Add(clock.Day)); math.Abs(float64(e)-1) > 1e-9 {
		t.Errorf("error %v, want fast 1 s", e)
	}
}

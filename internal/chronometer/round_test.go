package chronometer_test

import (
	"strings"
	"testing"
	"time"

	"timeball/internal/chronometer"
)

// TestStop: what the round does with a two-day and an eight-day instrument.
// Daily winding of the one and weekly of the other: common practice, no source.
func TestStop(t *testing.T) {
	now := time.Date(2027, 3, 4, 8, 30, 0, 0, time.UTC) // a Thursday
	ago := func(h float64) time.Time { return now.Add(-time.Duration(h * float64(time.Hour))) }
	for _, c := range []struct {
		name          string
		goingH        float64
		state         chronometer.State
		wind, compare bool
		missed        string
		look          bool
	}{
		{"yesterday's round", 56, chronometer.State{Motion: chronometer.Going, Wound: ago(24), Compared: ago(24)}, true, true, "", false},
		{"half done", 56, chronometer.State{Motion: chronometer.Going, Wound: ago(0.2), Compared: ago(24)}, false, true, "", false},
		{"done", 56, chronometer.State{Motion: chronometer.Going, Wound: ago(0.5), Compared: ago(0.4)}, false, false, "", false},
		{"a day missed", 56, chronometer.State{Motion: chronometer.Going, Wound: ago(48), Compared: ago(48)}, true, true, "one winding was missed: not wound since Tuesday 2 March, 08:30; about 8 h are left of its 56 h", false},
		{"two days missed", 56, chronometer.State{Motion: chronometer.Going, Wound: ago(72), Compared: ago(72)}, true, true, "2 windings were missed: not wound since Monday 1 March, 08:30; it may have run down, so see whether it still goes before you wind it", true},
		{"an eight-day between its days", 192, chronometer.State{Motion: chronometer.Going, Wound: ago(48), Compared: ago(24)}, false, true, "", false},
		{"an eight-day on its day", 192, chronometer.State{Motion: chronometer.Going, Wound: ago(168), Compared: ago(24)}, true, true, "", false},
		{"never wound here", 56, chronometer.State{Motion: chronometer.Going, Compared: ago(24)}, true, true, "", false},
	} {
		i := chronometer.Instrument{Number: "1", GoingH: c.goingH}
		stop, ok := i.Stop(c.state, now)
		if !ok || stop.Wind.Due != c.wind || stop.Compare.Due != c.compare || stop.Missed != c.missed || stop.Look != c.look {
			t.Errorf("%s: %+v", c.name, stop)
		}
	}
	for _, s := range []chronometer.State{
		{Motion: chronometer.StoodStill}, {Motion: chronometer.Going, Station: chronometer.Home}, {Motion: chronometer.Going, Station: chronometer.Carriage}, {Motion: chronometer.NotKnown},
	} {
		if _, ok := (chronometer.Instrument{GoingH: 56}).Stop(s, now); ok {
			t.Errorf("%+v comes into the round", s)
		}
	}
}

// TestTwoWindingsAreOne: a second telephone does not wind it again.
func TestTwoWindingsAreOne(t *testing.T) {
	b := newBook(t)
	b.write(1, chronometer.Started{})
	b.write(2, chronometer.Wound{HalfTurns: 7.5})
	e := b.entry(2+5.0/(24*60), chronometer.Wound{HalfTurns: 7})
	if err := b.log().Admits(e, e.Written); err == nil || !strings.Contains(err.Error(), "nothing was written twice") {
		t.Errorf("five minutes later: %v", err)
	}
	e = b.entry(2+11.0/(24*60), chronometer.Wound{HalfTurns: 0.5})
	if err := b.log().Admits(e, e.Written); err != nil {
		t.Errorf("eleven minutes later: %v", err)
	}
}

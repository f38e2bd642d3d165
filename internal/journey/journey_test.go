package journey_test

import (
	"errors"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"timeball/internal/journey"
	"timeball/internal/rating"
	"timeball/internal/simulate"
)

// steady is a good instrument, compared daily for a fortnight on each side.
var steady = voyage{noise: simulate.Noise{SigmaW: .1, SigmaR: .01}, sd: .1, before: 14, after: 15}

func steadily(seed uint64, change func(*voyage)) (rating.History, journey.Carriage) {
	v := steady
	if change != nil {
		change(&v)
	}
	return sail(rand.New(rand.NewPCG(seed, 9)), v)
}

// event adds what was done on a day.
func event(h *rating.History, day float64, kind rating.EventKind) {
	h.Events = append(h.Events, rating.Event{At: at(day), Kind: kind})
}

// arrived is the day on which a steady instrument arrives.
const arrived = 13 + gapDays - 0.5

// TestVerdicts: what befell an instrument, and what is said of it.
func TestVerdicts(t *testing.T) {
	still := func(h *rating.History, from int, by float64) {
		for i := from; i < len(h.Readings); i++ {
			h.Readings[i].ErrorS += by
		}
	}
	for _, c := range []struct {
		name    string
		voyage  func(*voyage)
		befell  func(*rating.History, *journey.Carriage)
		verdict journey.Verdict
		says    string // among the words, what to look at and the notes
		jump    bool   // whether a jump is known
	}{
		{name: "nothing", verdict: journey.NoChange, says: "could not be told from its ordinary wandering", jump: true},
		{name: "stopped", voyage: func(v *voyage) { v.stopped = true }, verdict: journey.NoChange, says: "since it began anew"},
		{name: "rate", voyage: func(v *voyage) { v.change = -0.9 }, verdict: journey.RateChanged, says: "it loses 0.", jump: true},
		{name: "gains", voyage: func(v *voyage) { v.change = 0.9 }, verdict: journey.RateChanged, says: "old oil", jump: true},
		{name: "trip", voyage: func(v *voyage) { v.trip = 27 }, verdict: journey.Tripped, says: "two or three half-seconds at a swing", jump: true},
		{name: "trip of a dial of twelve hours", voyage: func(v *voyage) { v.trip = 27 }, befell: func(h *rating.History, _ *journey.Carriage) {
			for i := range h.Readings {
				r := &h.Readings[i]
				r.ErrorS, r.ModulusS = math.Mod(r.ErrorS+5*43200-20000, 43200), 43200
			}
		}, verdict: journey.Tripped, says: "ahead", jump: true},
		{name: "stood", befell: func(h *rating.History, _ *journey.Carriage) { still(h, 14, -12) }, verdict: journey.CannotTell, says: "stood still for so long", jump: true},
		{name: "minute hand", befell: func(h *rating.History, _ *journey.Carriage) { still(h, 14, 60) }, verdict: journey.CannotTell, says: "minute hand", jump: true},
		{name: "minute hand, written down", befell: func(h *rating.History, _ *journey.Carriage) {
			still(h, 14, 60)
			h.Events = append(h.Events, rating.Event{At: at(16), Kind: rating.HandsMoved, MovedS: 60})
		}, verdict: journey.NoChange, jump: true},
		{name: "far ahead", befell: func(h *rating.History, _ *journey.Carriage) { still(h, 14, 95) }, verdict: journey.CannotTell, says: "more than tripping is known to give", jump: true},
		{name: "hands set", befell: func(h *rating.History, _ *journey.Carriage) {
			still(h, 14, 400)
			event(h, 16, rating.HandsSet)
		}, verdict: journey.NoChange, says: "since it began anew"},
		{name: "misread on arrival", befell: func(h *rating.History, _ *journey.Carriage) { h.Readings[14].ErrorS += 60 }, verdict: journey.NoChange, jump: true},
		{name: "regulated on the way", befell: func(h *rating.History, _ *journey.Carriage) { event(h, 16, rating.Regulated) }, verdict: journey.CannotTell, says: "regulated between the last comparison before"},
		{name: "serviced before it was compared", befell: func(h *rating.History, _ *journey.Carriage) { event(h, arrived+0.1, rating.Serviced) }, verdict: journey.CannotTell, says: "serviced"},
		{name: "regulated later", befell: func(h *rating.History, _ *journey.Carriage) { event(h, arrived+8, rating.Regulated) }, verdict: journey.NoChange, says: "only the comparisons until then", jump: true},
		{name: "carried again", befell: func(h *rating.History, _ *journey.Carriage) { event(h, arrived+8, rating.Carried) }, verdict: journey.NoChange, says: "carried again", jump: true},
		{name: "found stopped", voyage: func(v *voyage) { v.stopped = true }, befell: func(_ *rating.History, c *journey.Carriage) { c.Stopped, c.FoundStopped = false, true }, verdict: journey.NoChange, says: "unsettled for 8 to 14 days"},
		{name: "stopped and never started", befell: func(h *rating.History, _ *journey.Carriage) { event(h, 16, rating.Stopped) }, verdict: journey.TooFew, says: "read while it stood"},
		{name: "stopped later", befell: func(h *rating.History, _ *journey.Carriage) {
			event(h, arrived+6, rating.Stopped)
			event(h, arrived+6.1, rating.Started)
		}, verdict: journey.NoChange, says: "after it had arrived", jump: true},
		{name: "read on the way", befell: func(h *rating.History, _ *journey.Carriage) {
			h.Readings = append(h.Readings, rating.Reading{At: at(15.5), ErrorS: 5000, SDS: .1})
		}, verdict: journey.NoChange, says: "on the way and are left out", jump: true},
		{name: "lost", befell: func(_ *rating.History, c *journey.Carriage) { c.Arrived = time.Time{} }, verdict: journey.CannotTell, says: "has not arrived"},
		{name: "none after", befell: func(h *rating.History, _ *journey.Carriage) { *h = upTo(*h, 14) }, verdict: journey.TooFew, says: "not been compared since it arrived"},
		{name: "one after", befell: func(h *rating.History, _ *journey.Carriage) { *h = upTo(*h, 15) }, verdict: journey.TooFew, says: "one comparison"},
		{name: "five after", befell: func(h *rating.History, _ *journey.Carriage) { *h = upTo(*h, 18) }, verdict: journey.TooFew, says: "that says nothing yet", jump: true},
		{name: "none before", befell: func(h *rating.History, _ *journey.Carriage) { h.Readings = h.Readings[14:] }, verdict: journey.CannotTell, says: "no comparison from before"},
		{name: "two before", befell: func(h *rating.History, _ *journey.Carriage) { h.Readings = h.Readings[12:] }, verdict: journey.CannotTell, says: "too few to tell its rate then"},
		{name: "none at all", befell: func(h *rating.History, _ *journey.Carriage) { *h = rating.History{} }, verdict: journey.CannotTell, says: "no comparison from before"},
		{name: "hands set before each", befell: func(h *rating.History, _ *journey.Carriage) {
			for day := range 14 {
				event(h, float64(day)-0.5, rating.HandsSet)
			}
		}, verdict: journey.CannotTell, says: "do not determine"},
	} {
		h, carriage := steadily(1, c.voyage)
		if c.befell != nil {
			c.befell(&h, &carriage)
		}
		f, err := journey.Examine(h, carriage)
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		all := strings.Join(append(append([]string{f.Words}, f.LookAt...), f.Notes...), " ")
		if f.Verdict != c.verdict || !strings.Contains(all, c.says) || (f.Jump != nil) != c.jump {
			t.Errorf("%s: %s, jump %v: %s; wanted %s and %q", c.name, f.Verdict, f.Jump, all, c.verdict, c.says)
		}
		t.Logf("%s: %s", c.name, f.Words)
	}
}

func TestNoJourney(t *testing.T) {
	h, c := steadily(1, nil)
	for _, wrong := range []journey.Carriage{
		{},
		{Arrived: c.Arrived},
		{Left: c.Arrived, Arrived: c.Left},
		{Left: c.Left, Arrived: c.Left},
		{Left: c.Left, Arrived: c.Arrived, Wish: -1},
		{Left: c.Left, Arrived: c.Arrived, Wish: math.NaN()},
		{Left: c.Left, Arrived: c.Arrived, Wish: math.Inf(1)},
	} {
		if f, err := journey.Examine(h, wrong); !errors.Is(err, journey.ErrCarriage) {
			t.Errorf("%+v: %+v, %v", wrong, f, err)
		}
	}
}

// TestTemperature: it comes into a room six degrees colder. With the thermometer
// read, that is no change; without it, it looks like one, and the reader is told
// to think of it.
func TestTemperature(t *testing.T) {
	const perDegree = 0.09 // s/d, at the upper end of what is common
	rng := rand.New(rand.NewPCG(31, 32))
	h, c := sail(rng, voyage{noise: simulate.Noise{SigmaW: .1, SigmaR: .01}, sd: .1, before: 40, after: 15})
	sum, last, was := 0.0, 0.0, 20.0
	for i := range h.Readings {
		day := h.Readings[i].At.Sub(origin).Hours() / 24
		temp := 20 + 3*math.Sin(day/4)
		if i >= 40 {
			temp = 13
		}
		sum += perDegree * ((temp+was)/2 - 20) * (day - last) // on the way it cooled evenly
		last, was = day, temp
		h.Readings[i].ErrorS += sum
		h.Temperatures = append(h.Temperatures, rating.TemperatureAt{At: h.Readings[i].At, C: temp})
	}
	with, err := journey.Examine(h, c)
	if err != nil {
		t.Fatal(err)
	}
	if with.Verdict != journey.NoChange || !with.Tempered || strings.Contains(strings.Join(with.Notes, " "), "No temperature") {
		t.Errorf("with the thermometer: %s %q", with.Words, with.Notes)
	}
	h.Temperatures = nil
	without, err := journey.Examine(h, c)
	if err != nil {
		t.Fatal(err)
	}
	if without.Verdict != journey.RateChanged || !strings.Contains(strings.Join(without.Notes, " "), "No temperature is noted") {
		t.Errorf("without: %s %q", without.Words, without.Notes)
	}
}

// TestNeed: a good instrument needs few days, a poor one can never show a small
// change, and a few comparisons from before cannot be mended afterwards.
func TestNeed(t *testing.T) {
	good, c := steadily(2, nil)
	f, err := journey.Examine(upTo(good, 14), c)
	if err != nil {
		t.Fatal(err)
	}
	if f.Need.Never || f.Need.Days < 3 || f.Need.Days > 10 || !math.IsInf(f.Smallest, 1) {
		t.Errorf("good, none after: %+v, smallest %v", f.Need, f.Smallest)
	}
	whole, err := journey.Examine(good, c)
	if err != nil {
		t.Fatal(err)
	}
	if whole.Need != (journey.Need{}) {
		t.Errorf("good, a fortnight after: %+v", whole.Need)
	}
	// By 2.9 of its standard deviations: 2.0537 + 0.8416 at 3.96%.
	if ratio := whole.Smallest / whole.Change.SD; math.Abs(ratio-2.899) > 0.001 {
		t.Errorf("smallest change %v of its sd", ratio)
	}
	poor, c := steadily(2, func(v *voyage) { v.noise = simulate.Noise{SigmaW: .5, SigmaR: .1} })
	if f, err = journey.Examine(poor, c); err != nil || !f.Need.Never || !strings.Contains(f.Need.Why, "ordinary wandering") || !(f.Limit > f.Wish) {
		t.Errorf("poor: %+v, limit %v, %v", f.Need, f.Limit, err)
	}
	c.Wish = 2
	if f, err = journey.Examine(poor, c); err != nil || f.Need != (journey.Need{}) || f.Wish != 2 {
		t.Errorf("poor, a change of 2 s a day: %+v, %v", f.Need, err)
	}
	few, c := steadily(2, func(v *voyage) { v.before, v.noise = 3, simulate.Noise{SigmaW: .2, SigmaR: .01} })
	c.Wish = 0.4
	if f, err = journey.Examine(few, c); err != nil || !f.Need.Never || !strings.Contains(f.Need.Why, "from before the journey are too few") {
		t.Errorf("three before: %+v, %v", f.Need, err)
	}
}

// TestUnsettled: after a stop without a known cause it is unsettled for 8 to 14
// days at best (Stechert, Das Marine-Chronometer (1894), §35), so nothing is
// said of its rate before.
func TestUnsettled(t *testing.T) {
	h, c := steadily(4, func(v *voyage) { v.stopped, v.change = true, -1 })
	c.Stopped, c.FoundStopped = false, true
	for n := 3; n <= 14; n++ {
		f, err := journey.Examine(upTo(h, 14+n), c)
		if err != nil {
			t.Fatal(err)
		}
		want := journey.TooFew
		if n == 14 {
			want = journey.RateChanged
		}
		if f.Verdict != want || f.Main != 14 {
			t.Errorf("%d days: %s, main day %d", n, f.Words, f.Main)
		}
	}
}

// TestWeekly: an owner who compares once a week gets a verdict too.
func TestWeekly(t *testing.T) {
	h, c := steadily(3, func(v *voyage) { v.before, v.after, v.change = 60, 60, -0.7 })
	var weekly rating.History
	weekly.Events = h.Events
	for i, r := range h.Readings {
		if i%7 == 0 {
			weekly.Readings = append(weekly.Readings, r)
		}
	}
	f, err := journey.Examine(weekly, c)
	if err != nil {
		t.Fatal(err)
	}
	if f.Verdict != journey.RateChanged || f.Growth == nil {
		t.Errorf("%s, growth %v: %s", f.Verdict, f.Growth, f.Words)
	}
}

// TestAnyHistory: whatever the history, a finding has a verdict with its reason,
// and every number its doubt.
func TestAnyHistory(t *testing.T) {
	kinds := []rating.EventKind{rating.HandsMoved, rating.HandsSet, rating.Started, rating.Stopped, rating.Regulated, rating.Serviced, rating.Carried}
	rapid.Check(t, func(t *rapid.T) {
		var h rating.History
		day := 0.0
		for range rapid.IntRange(0, 45).Draw(t, "n") {
			day += rapid.SampledFrom([]float64{0, 0.001, 0.5, 1, 1, 1, 1, 3, 40}).Draw(t, "d")
			switch rapid.IntRange(0, 12).Draw(t, "what") {
			case 0:
				h.Events = append(h.Events, rating.Event{At: at(day), Kind: rapid.SampledFrom(kinds).Draw(t, "kind"), MovedS: 60})
			case 1:
				h.Temperatures = append(h.Temperatures, rating.TemperatureAt{At: at(day), C: rapid.Float64Range(-40, 60).Draw(t, "c")})
			default:
				h.Readings = append(h.Readings, rating.Reading{At: at(day), SDS: rapid.SampledFrom([]float64{0, 0.01, 0.1, 5}).Draw(t, "sd"),
					ErrorS:   rapid.OneOf(rapid.Float64Range(-5, 5), rapid.Float64Range(-1e6, 1e6)).Draw(t, "e"),
					ModulusS: rapid.SampledFrom([]float64{0, 43200, 86400}).Draw(t, "m")})
			}
		}
		left := rapid.Float64Range(-5, day+5).Draw(t, "left")
		c := journey.Carriage{Left: at(left), Arrived: at(left + rapid.Float64Range(0.01, 40).Draw(t, "way")),
			Stopped: rapid.Bool().Draw(t, "stopped"), FoundStopped: rapid.Bool().Draw(t, "found")}
		f, err := journey.Examine(h, c)
		if err != nil {
			t.Fatal(err)
		}
		if f.Verdict == "" || f.Words == "" || !(f.Chance >= 0 && f.Chance <= 1) || math.IsNaN(f.Smallest) {
			t.Fatalf("%+v", f)
		}
		for _, s := range append(append([]string{f.Words}, f.LookAt...), f.Notes...) {
			if strings.Contains(s, "NaN") || strings.Contains(s, "Inf") || !strings.HasSuffix(s, ".") && !strings.HasSuffix(s, "?") || strings.Contains(s, "%!") {
				t.Fatalf("%q", s)
			}
		}
		for _, i := range []*rating.Interval{f.RateBefore, f.RateAfter, f.RateNow, f.Change, f.Jump, f.Growth} {
			if i != nil && (!(i.SD > 0) || math.IsInf(i.SD, 0) || math.IsNaN(i.Mean) || i.Lo95 > i.Mean || i.Hi95 < i.Mean) {
				t.Fatalf("%+v", *i)
			}
		}
	})
}

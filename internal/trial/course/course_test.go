package course_test

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"timeball/internal/timescale"
	"timeball/internal/trial"
	"timeball/internal/trial/course"
	"timeball/internal/trial/programme"
)

func utc(s string) time.Time {
	t, err := timescale.Parse(s)
	if err != nil {
		panic(err)
	}
	return t
}

func ptr[T any](x T) *T { return &x }

// near compares figures to the ninth decimal.
var near = cmpopts.EquateApprox(0, 1e-9)

// plain is a programme of some days as the instrument lies.
func plain(days int) programme.Programme {
	return programme.Programme{Name: "plain", WithinH: 1, Periods: []programme.Period{{Days: days}},
		Criteria: []programme.Criterion{{Name: "mean rate", Of: programme.MeanRate}}}
}

var start = utc("2027-03-01T10:00:00Z")

// hour returns the instant some days after the first reading.
func hour(days float64) time.Time { return timescale.AddDays(start, days) }

// daily returns one comparison an hour of the trial with these errors; NaN is
// a reading that was missed.
func daily(errorsS ...float64) []course.Comparison {
	var all []course.Comparison
	for i, e := range errorsS {
		if !math.IsNaN(e) {
			all = append(all, course.Comparison{Ref: fmt.Sprint("c", i), At: hour(float64(i)), ErrorS: e, SDS: 0.1})
		}
	}
	return all
}

var missed = math.NaN()

func follow(p programme.Programme, log course.Log, now time.Time) course.Course {
	return course.Follow(p, start.Add(-hours(p.SettlingH)), nil, log, now)
}

func hours(h float64) time.Duration { return time.Duration(h * float64(time.Hour)) }

// rates returns the rates of the days, NaN for one that is not known.
func rates(c course.Course) []float64 {
	var all []float64
	for _, d := range c.Days {
		if d.Known {
			all = append(all, d.RateSPerDay)
		} else {
			all = append(all, math.NaN())
		}
	}
	return all
}

func whys(c course.Course) []string {
	var all []string
	for _, d := range c.Days {
		all = append(all, d.Why)
	}
	return all
}

func sameRates(t *testing.T, c course.Course, want ...float64) {
	t.Helper()
	if diff := cmp.Diff(want, rates(c), near, cmpopts.EquateNaNs()); diff != "" {
		t.Errorf("rates (-want +got):\n%s", diff)
	}
}

func said(c course.Course) string {
	var all []string
	for _, r := range c.Remarks {
		all = append(all, r.Words+": "+r.Effect)
	}
	return strings.Join(all, "\n")
}

func says(t *testing.T, c course.Course, words ...string) {
	t.Helper()
	for _, w := range words {
		if !strings.Contains(said(c), w) {
			t.Errorf("no remark says %q:\n%s", w, said(c))
		}
	}
}

// NAVEDTRA 14220/14221, Quartermaster, ch. 5, pp. 5-17 and 5-18: 2m00s fast
// one day and 2m01s the next at the same true time is gaining 1 s/d.
func TestOneDayOfTheNavy(t *testing.T) {
	begun := utc("2027-07-17T11:30:00Z")
	c := course.Follow(plain(1), begun, nil, course.Log{Compared: []course.Comparison{
		{Ref: "17", At: begun, ErrorS: 120, SDS: 0.3}, {Ref: "18", At: begun.Add(24 * time.Hour), ErrorS: 121, SDS: 0.4}}}, begun.Add(25*time.Hour))
	sameRates(t, c, 1)
	if sd := c.Days[0].SDS; math.Abs(sd-0.5) > 1e-12 {
		t.Errorf("the doubt of two readings of 0.3 s and 0.4 s a day apart is %v s/d, want 0.5", sd)
	}
	if c.Today.State != course.Finished {
		t.Errorf("the trial is %q", c.Today.State)
	}
}

// Draper, Lectures in Navigation (1918), week II: 2m40s fast on 1 June and
// 1m30s fast on 16 June. Nothing is known of any day between, and the change
// over all fifteen, −70 s, is.
func TestSpanOfDraper(t *testing.T) {
	first := utc("2027-06-01T12:00:00Z")
	log := course.Log{Compared: []course.Comparison{{At: first, ErrorS: 160, SDS: 0.25}, {At: first.Add(15 * 24 * time.Hour), ErrorS: 90, SDS: 0.25}}}
	c := course.Follow(plain(15), first, nil, log, first.Add(16*24*time.Hour))
	for _, d := range c.Days {
		if d.Known || d.ToCome || !strings.HasPrefix(d.Why, "not compared on ") {
			t.Errorf("day %d: known %v, to come %v, why %q", d.Number, d.Known, d.ToCome, d.Why)
		}
	}
	want := []trial.Span{{First: 1, Last: 15, ChangeS: -70, FirstSDS: 0.25, LastSDS: 0.25}}
	if diff := cmp.Diff(want, c.Spans, near); diff != "" {
		t.Error(diff)
	}
	if n := strings.Count(said(c), "not compared on"); n != 14 {
		t.Errorf("%d missed readings are remarked on, want 14:\n%s", n, said(c))
	}
}

// A second was inserted at the end of 2016 (IERS, Bulletin C 52). A dial knows
// nothing of it and is a second faster on UTC the next day without gaining.
func TestLeapSecondInsideADay(t *testing.T) {
	first := utc("2016-12-30T10:00:00Z")
	log := course.Log{Compared: []course.Comparison{
		{At: first, ErrorS: 5, SDS: 0.1},
		{At: utc("2016-12-31T10:00:00Z"), ErrorS: 7, SDS: 0.1},
		{At: utc("2017-01-01T09:59:59Z"), ErrorS: 10, SDS: 0.1},
		{At: utc("2017-01-02T09:59:59Z"), ErrorS: 12, SDS: 0.1},
	}}
	c := course.Follow(plain(3), first, nil, log, utc("2017-01-02T12:00:00Z"))
	sameRates(t, c, 2, 2, 2)
	if got, want := c.Hours[2], utc("2017-01-01T09:59:59Z"); !got.Equal(want) {
		t.Errorf("the hour after the second is %s, want %s: a day has 86,400 SI seconds", got, want)
	}
}

// Days by hand: rate is change over the elapsed days, not over one day.
func TestDays(t *testing.T) {
	at := func(days, offH, e float64) course.Comparison {
		return course.Comparison{At: hour(days).Add(hours(offH)), ErrorS: e, SDS: 0.1}
	}
	tests := []struct {
		name  string
		days  int
		log   course.Log
		now   time.Time
		rates []float64
		says  []string
	}{
		{"at the hour", 3, course.Log{Compared: daily(12, 11, 9.5, 9.5)}, hour(4), []float64{-1, -1.5, 0}, nil},
		{"half an hour late, then early", 2, course.Log{Compared: []course.Comparison{at(0, 0, 0), at(1, 0.5, 2), at(2, -0.5, 4)}}, hour(4),
			[]float64{2 / (24.5 / 24), 2 / (23.0 / 24)}, nil},
		{"unordered", 2, course.Log{Compared: []course.Comparison{at(2, 0, 3), at(0, 0, 0), at(1, 0, 1)}}, hour(4), []float64{1, 2}, nil},
		{"the nearest to the hour", 1, course.Log{Compared: []course.Comparison{at(0, 0, 0), at(1, 0.5, 9), at(1, 0.1, 2.4), at(1, -0.4, 7)}}, hour(4),
			[]float64{2.4 / (24.1 / 24)}, nil},
		{"equally near, the smaller doubt", 1, course.Log{Compared: []course.Comparison{at(0, 0, 0), {At: hour(1).Add(-time.Minute), ErrorS: 5, SDS: 0.3}, {At: hour(1).Add(time.Minute), ErrorS: 3, SDS: 0.1}}}, hour(4),
			[]float64{3 / (1 + 1.0/1440)}, nil},
		{"outside the window", 2, course.Log{Compared: []course.Comparison{at(0, 0, 0), at(1, 1.5, 9), at(2, 0, 3)}}, hour(4), []float64{missed, missed},
			[]string{"compared on 2 March at 11:30 UTC, 1 h 30 min from the hour of the trial; the programme allows 1 h: it is not used",
				"not compared on 2 March between 09:00 and 11:00 UTC: days 1 and 2 are not known; wanted for mean rate"}},
		{"on the edge of the window", 1, course.Log{Compared: []course.Comparison{at(0, 0, 0), at(1, 1, 25)}}, hour(4), []float64{24}, nil},
		{"a missed reading", 4, course.Log{Compared: daily(0, 1, missed, 3, 4)}, hour(5), []float64{1, missed, missed, 1},
			[]string{"not compared on 3 March between 09:00 and 11:00 UTC: days 2 and 3 are not known"}},
		{"the last reading missed", 2, course.Log{Compared: daily(0, 1)}, hour(3), []float64{1, missed}, []string{"day 2 is not known"}},
		{"still to come", 3, course.Log{Compared: daily(0, 1)}, hour(1.5), []float64{1, missed, missed}, nil},
		{"set aside", 2, course.Log{Compared: append(daily(0, missed, 2), course.Comparison{Ref: "x", At: hour(1), ErrorS: 61, SDS: 0.1, Aside: "a minute out"})}, hour(3), []float64{missed, missed},
			[]string{"the comparison of 2 March at 10:00 UTC is not used: set aside: a minute out"}},
		{"no number", 1, course.Log{Compared: append(daily(0), course.Comparison{At: hour(1), ErrorS: math.Inf(1)})}, hour(3), []float64{missed},
			[]string{"its error or its doubt is no number"}},
		{"hands moved", 2, course.Log{Compared: daily(-100, -99, 22), Interventions: []course.Intervention{{At: hour(1.3), What: "hands moved", MovedS: 120}}}, hour(3), []float64{1, 1},
			[]string{"the hands were moved on by 120 s on 2 March at 17:12 UTC: the step is taken off, and the verdict stands"}},
		{"hands moved at the instant of a reading count before it", 2, course.Log{Compared: daily(-100, 21, 22), Interventions: []course.Intervention{{At: hour(1), What: "hands moved", MovedS: 120}}}, hour(3), []float64{1, 1}, nil},
		{"regulated", 4, course.Log{Compared: daily(0, 1, 2, 9, 16), Interventions: []course.Intervention{{At: hour(1.5), What: "regulated", Breaks: true}}}, hour(5), []float64{1, missed, missed, missed},
			[]string{"regulated on 2 March at 22:00 UTC, in the course of the trial: days 2 to 4 are not known; begin again"}},
		{"after the last reading nothing breaks", 2, course.Log{Compared: daily(0, 1, 2), Interventions: []course.Intervention{{At: hour(2.01), What: "stopped", Breaks: true}}}, hour(3), []float64{1, 1}, nil},
		{"moved by no known amount", 2, course.Log{Compared: daily(0, 1, 2), Interventions: []course.Intervention{{At: hour(1.5), What: "hands moved", MovedS: math.NaN()}}}, hour(3), []float64{1, missed},
			[]string{"begin again"}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			c := follow(plain(tt.days), tt.log, tt.now)
			sameRates(t, c, tt.rates...)
			says(t, c, tt.says...)
			for _, d := range c.Days {
				if d.Known != (d.Why == "") {
					t.Errorf("day %d: known %v, why %q", d.Number, d.Known, d.Why)
				}
			}
		})
	}
}

func TestWhyADayIsNotKnown(t *testing.T) {
	regulated := course.Intervention{At: hour(2.5), What: "regulated", Breaks: true}
	c := follow(plain(6), course.Log{Compared: daily(0, 1, 2, 3), Interventions: []course.Intervention{regulated}}, hour(3.2))
	const broken = "the trial is broken by “regulated” on 3 March; begin again"
	if diff := cmp.Diff([]string{"", "", "regulated on 3 March at 22:00 UTC", broken, broken, broken}, whys(c)); diff != "" {
		t.Error(diff)
	}
	if diff := cmp.Diff(&course.Break{At: regulated.At, Day: 3, What: "regulated"}, c.Broken); diff != "" {
		t.Error(diff)
	}
	if c.Today.State != course.Broken || len(c.Tasks) != 1 || c.Tasks[0].Kind != course.Begin {
		t.Errorf("today %+v, tasks %+v", c.Today, c.Tasks)
	}

	c = course.Follow(plain(4), start, ptr(hour(2.3)), course.Log{Compared: daily(0, 1, 2, 3, 4)}, hour(5))
	if diff := cmp.Diff([]string{"", "", "the trial was ended before", "the trial was ended before"}, whys(c)); diff != "" {
		t.Error(diff)
	}
	if c.Today.State != course.Stopped || c.Today.Words != "ended on 3 March at 17:12 UTC, on day 3 of 4" {
		t.Errorf("today %+v", c.Today)
	}

	c = follow(plain(3), course.Log{Compared: daily(0, missed)}, hour(1.5))
	not := "not compared on 2 March between 09:00 and 11:00 UTC"
	if diff := cmp.Diff([]string{not, not, "still to come"}, whys(c)); diff != "" {
		t.Error(diff)
	}
	if c.Days[1].ToCome || !c.Days[2].ToCome {
		t.Errorf("day 2 to come %v, day 3 to come %v", c.Days[1].ToCome, c.Days[2].ToCome)
	}
}

// No change of error reaches over what broke the error, and a reading missed
// before it is not held against the day that is lost to it.
func TestMissedAndBroken(t *testing.T) {
	for _, tt := range []struct {
		days   float64
		spans  []trial.Span
		effect string
	}{
		{1.5, nil, ""},
		{2.5, nil, "not compared on 3 March between 09:00 and 11:00 UTC: day 2 is not known"},
		{3.5, []trial.Span{{First: 2, Last: 3, ChangeS: 2, FirstSDS: 0.1, LastSDS: 0.1}}, "not compared on 3 March between 09:00 and 11:00 UTC: days 2 and 3 are not known"},
	} {
		c := follow(plain(5), course.Log{Compared: daily(0, 1, missed, 3, missed, 5), Interventions: []course.Intervention{{At: hour(tt.days), What: "stopped", Breaks: true}}}, hour(6))
		if diff := cmp.Diff(tt.spans, c.Spans, near); diff != "" {
			t.Errorf("stopped on day %v: %s", tt.days, diff)
		}
		says(t, c, tt.effect)
		if tt.effect == "" && strings.Contains(said(c), "not compared") {
			t.Errorf("stopped on day %v: %s", tt.days, said(c))
		}
	}
}

func TestSettling(t *testing.T) {
	p := plain(2)
	p.SettlingH = 12 // COSC, public pages: wound, 12 h at rest
	begun := start.Add(-12 * time.Hour)
	early := course.Comparison{Ref: "early", At: start.Add(-time.Hour), ErrorS: 0, SDS: 0.1}
	log := course.Log{Compared: append(daily(5, 6, 7), early), Windings: []time.Time{begun}}
	c := course.Follow(p, begun, nil, log, hour(3))
	sameRates(t, c, 1, 1)
	says(t, c, "compared on 1 March at 09:00 UTC, before it had settled: it is not used; the first reading may be taken from 1 March at 10:00 UTC on")
	if diff := cmp.Diff([]course.Unused{{Ref: "early", At: early.At, Why: "it had not settled"}}, c.Unused); diff != "" {
		t.Error(diff)
	}

	// What is done before the first reading breaks no trial; it settles anew.
	log.Interventions = []course.Intervention{{At: start.Add(-2 * time.Hour), What: "carried", Breaks: true}}
	c = course.Follow(p, begun, nil, log, hour(3))
	if want := start.Add(10 * time.Hour); !c.Due.Equal(want) || c.Start == nil || !c.Start.At.Equal(hour(1)) || c.Broken != nil {
		t.Errorf("due %s, start %+v, broken %+v", c.Due, c.Start, c.Broken)
	}
	says(t, c, "carried on 1 March at 08:00 UTC, before the first reading: it settles anew until 1 March at 20:00 UTC; the verdict stands")

	c = course.Follow(p, begun, nil, course.Log{}, start.Add(-time.Minute))
	if c.Start != nil || !c.Due.Equal(start) || c.Today.State != course.Settling || len(c.Hours) != 3 || !c.Hours[2].Equal(hour(2)) {
		t.Errorf("start %v, due %s, today %+v, hours %v", c.Start, c.Due, c.Today, c.Hours)
	}
	if c = course.Follow(p, begun, nil, course.Log{}, start); c.Today.State != course.First {
		t.Errorf("today %+v", c.Today)
	}
}

// Arnold, An Account kept during Thirteen Months in the Royal Observatory at
// Greenwich, of the Going of a Pocket Chronometer (1780), no. 36, the first ten
// days from 26 March 1779 as transcribed in the open repository
// sacundim/tau-sigma (BSD licence).
func TestDaysOfArnold36(t *testing.T) {
	c := follow(plain(9), course.Log{Compared: daily(-30.06, -32.12, -34.22, -36.21, -38.33, -39.84, -41.23, -43.82, -45.57, -46.99)}, hour(10))
	sameRates(t, c, -2.06, -2.10, -1.99, -2.12, -1.51, -1.39, -2.59, -1.75, -1.42)
}

// No input makes it panic, and what cannot be is not claimed.
func TestNothingToFollow(t *testing.T) {
	long := course.Log{Compared: append(daily(0, 1, 2), daily(0, 1, 2)...), Windings: []time.Time{start, start, {}},
		Placings: []course.Placing{{}, {At: hour(1)}}, Temperatures: []course.Temperature{{At: hour(1), C: math.NaN()}, {}},
		Interventions: []course.Intervention{{}, {At: hour(1)}, {At: start, Breaks: true}}}
	programmes := []programme.Programme{{}, plain(0), plain(-1), plain(2), {Periods: []programme.Period{{}, {Days: 1, TempC: ptr(8.0), Apart: true}}}}
	for i, p := range programmes {
		for _, log := range []course.Log{{}, long, {Compared: []course.Comparison{{}}}} {
			for _, now := range []time.Time{{}, start, hour(0.5), hour(1), hour(400), hour(400000)} {
				for _, ended := range []*time.Time{nil, {}, ptr(hour(1.5)), ptr(hour(-1))} {
					c := course.Follow(p, start, ended, log, now)
					if c.Today.Words == "" {
						t.Errorf("programme %d at %s: nothing is said of today", i, now)
					}
					if slices.ContainsFunc(c.Days, func(d trial.Day) bool { return d.Known && (d.From.IsZero() || !d.To.After(d.From)) }) {
						t.Errorf("programme %d at %s: a day is known without its readings: %+v", i, now, c.Days)
					}
				}
			}
		}
	}
}

func TestWindow(t *testing.T) {
	p := plain(2)
	c := follow(p, course.Log{Compared: daily(0)}, hour(0.5))
	from, to, ok := c.Window(p, 1)
	if !ok || !from.Equal(hour(1).Add(-time.Hour)) || !to.Equal(hour(1).Add(time.Hour)) {
		t.Errorf("the window of hour 1 is %s to %s, %v", from, to, ok)
	}
	for _, h := range []int{-1, 0, 3} {
		if _, _, ok := c.Window(p, h); ok {
			t.Errorf("hour %d has a window", h)
		}
	}
}

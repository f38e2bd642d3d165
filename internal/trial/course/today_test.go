package course_test

import (
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"timeball/internal/trial/course"
	"timeball/internal/trial/programme"
)

// task is a task as a keeper sees it.
type task struct {
	Do, From, By string
	Done, Late   bool
}

func tasks(c course.Course) []task {
	var all []task
	short := func(t time.Time) string {
		if t.IsZero() {
			return ""
		}
		return t.Round(time.Minute).Format("2 15:04")
	}
	for _, k := range c.Tasks {
		all = append(all, task{k.Do, short(k.From), short(k.By), k.Done, k.Late})
	}
	return all
}

const wind = "wind; a two-day box chronometer takes 7 to 8 half-turns"

func TestTasks(t *testing.T) {
	p := oven()
	p.SettlingH = 24
	begun := start.Add(-24 * time.Hour)
	log := course.Log{Compared: daily(0, 1, 2), Placings: []course.Placing{placed(-1, "dial up")}, Temperatures: []course.Temperature{read(-0.05, 20), read(1, 20), read(2, 20)},
		Windings: []time.Time{begun, hour(-0.01), hour(0.99), hour(1.99)}}
	none := course.Log{}
	turned := log
	turned.Placings = append([]course.Placing{placed(2.02, "XII up")}, log.Placings...)
	tests := []struct {
		name  string
		log   course.Log
		now   time.Time
		state course.State
		want  []task
	}{
		{"before it is begun", none, begun.Add(-time.Hour), course.Waiting, []task{
			{"move to the oven at 20 °C, dial up", "28 10:00", "28 11:00", false, false},
			{wind, "28 10:00", "28 11:00", false, false},
			{"let it settle until 1 March at 10:00 UTC", "28 10:00", "1 10:00", false, false},
			{"read the thermometer with the first reading", "1 10:00", "", false, false},
			{"take the first reading, from 1 March at 10:00 UTC on: its hour is the hour of all the others", "1 10:00", "", false, false},
		}},
		{"left undone while it settles", none, begun.Add(3 * time.Hour), course.Settling, []task{
			{"move to the oven at 20 °C, dial up", "28 10:00", "28 11:00", false, true},
			{wind, "28 10:00", "28 11:00", false, true},
			{"let it settle until 1 March at 10:00 UTC", "28 10:00", "1 10:00", false, false},
			{"read the thermometer with the first reading", "1 10:00", "", false, false},
			{"take the first reading, from 1 March at 10:00 UTC on: its hour is the hour of all the others", "1 10:00", "", false, false},
		}},
		{"settling", log, begun.Add(3 * time.Hour), course.Settling, []task{
			{"move to the oven at 20 °C, dial up", "28 10:00", "28 11:00", true, false},
			{wind, "28 10:00", "28 11:00", true, false},
			{"let it settle until 1 March at 10:00 UTC", "28 10:00", "1 10:00", false, false},
			{"read the thermometer with the first reading", "1 10:00", "", false, false},
			{"take the first reading, from 1 March at 10:00 UTC on: its hour is the hour of all the others", "1 10:00", "", false, false},
		}},
		{"in the middle of a day", log, hour(0.4), course.Going, []task{
			{wind, "2 08:46", "2 10:46", false, false},
			{"read the thermometer", "2 09:00", "2 11:00", false, false},
			{"compare between 09:00 and 11:00 UTC", "2 09:00", "2 11:00", false, false},
		}},
		{"the round of the last day of a period, wound", log, hour(1.995), course.Going, []task{
			{wind, "2 22:00", "3 11:00", true, false},
			{"read the thermometer", "3 09:00", "3 11:00", false, false},
			{"compare between 09:00 and 11:00 UTC", "3 09:00", "3 11:00", false, false},
			{"after the comparison, move to the oven at 30 °C, XII up", "3 10:00", "3 11:00", false, false},
		}},
		{"just compared, to be moved", log, hour(2.01), course.Going, []task{
			{"compare between 09:00 and 11:00 UTC", "3 09:00", "3 11:00", true, false},
			{"move to the oven at 30 °C, XII up", "3 10:00", "3 11:00", false, false},
			{wind, "4 08:46", "4 10:46", false, false},
			{"read the thermometer", "4 09:00", "4 11:00", false, false},
			{"compare between 09:00 and 11:00 UTC", "4 09:00", "4 11:00", false, false},
		}},
		{"moved", turned, hour(2.03), course.Going, []task{
			{"compare between 09:00 and 11:00 UTC", "3 09:00", "3 11:00", true, false},
			{"move to the oven at 30 °C, XII up", "3 10:00", "3 11:00", true, false},
			{wind, "4 08:46", "4 10:46", false, false},
			{"read the thermometer", "4 09:00", "4 11:00", false, false},
			{"compare between 09:00 and 11:00 UTC", "4 09:00", "4 11:00", false, false},
		}},
		{"not moved five hours later", log, hour(2.25), course.Going, []task{
			{"move to the oven at 30 °C, XII up", "3 10:00", "3 11:00", false, true},
			{wind, "4 08:46", "4 10:46", false, false},
			{"read the thermometer", "4 09:00", "4 11:00", false, false},
			{"compare between 09:00 and 11:00 UTC", "4 09:00", "4 11:00", false, false},
		}},
		{"winding late", turned, hour(3).Add(50 * time.Minute), course.Going, []task{
			{"move to the oven at 30 °C, XII up", "3 10:00", "3 11:00", true, false},
			{wind, "4 08:46", "4 10:46", false, true},
			{"read the thermometer", "4 09:00", "4 11:00", false, false},
			{"compare between 09:00 and 11:00 UTC", "4 09:00", "4 11:00", false, false},
		}},
		{"over", turned, hour(7), course.Finished, []task{{"judge it by the days that are known, and end it", "5 11:00", "", false, false}}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			c := course.Follow(p, begun, nil, tt.log, tt.now)
			if c.Today.State != tt.state {
				t.Errorf("it is %q, want %q", c.Today.State, tt.state)
			}
			if diff := cmp.Diff(tt.want, tasks(c)); diff != "" {
				t.Error(diff)
			}
		})
	}
}

// An eight-day chronometer is not asked to be wound on days it need not be.
func TestTasksOfAnEightDay(t *testing.T) {
	p := programme.Programme{WithinH: 1, Periods: []programme.Period{{Days: 10, WindEveryH: 168}}}
	log := course.Log{Compared: daily(0, 1, 2, 3, 4, 5, 6, 7), Windings: []time.Time{start}}
	winds := func(now time.Time) int {
		n := 0
		for _, k := range follow(p, log, now).Tasks {
			if k.Kind == course.Wind && k.Do == "wind" && !k.Done {
				n++
			}
		}
		return n
	}
	for d, want := range []int{0, 0, 0, 0, 0, 0, 1} {
		if got := winds(hour(float64(d) + 0.5)); got != want {
			t.Errorf("on day %d it is to be wound %d times, want %d", d+1, got, want)
		}
	}
}

func TestTodayAroundMidnight(t *testing.T) {
	log := course.Log{Compared: []course.Comparison{{At: start.Add(13*time.Hour + 30*time.Minute + time.Second), SDS: 0.1}}}
	c := course.Follow(plain(3), start, nil, log, hour(1))
	want := "compare between 22:31 on 2 March and 00:30 on 3 March UTC"
	if got := c.Tasks[len(c.Tasks)-1].Do; got != want {
		t.Errorf("%q, want %q", got, want)
	}
	if c.Today.Words != "day 1 of 3" || c.Today.State != course.Going {
		t.Errorf("today %+v", c.Today)
	}
}

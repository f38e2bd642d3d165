package course_test

import (
	"math"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"timeball/internal/trial"
	"timeball/internal/trial/course"
	"timeball/internal/trial/programme"
)

// oven is two days at 20 °C dial up and two at 30 °C XII up.
func oven() programme.Programme {
	return programme.Programme{WithinH: 1, WithinC: 1, Periods: []programme.Period{
		{Days: 2, TempC: ptr(20.0), Position: "dial up"}, {Days: 2, TempC: ptr(30.0), Position: "XII up"}},
		Criteria: []programme.Criterion{{Name: "M", Of: programme.MeanRate}, {Name: "D", Of: programme.DifferenceOfMeans, Periods: []int{2}, Less: []int{1}},
			{Name: "first", Of: programme.MeanRate, Periods: []int{1}}, {Name: "M + D", Of: programme.Combined, Terms: []programme.Term{{Factor: 1, Name: "M"}, {Factor: 1, Name: "D"}}}}}
}

func placed(days float64, position string) course.Placing {
	return course.Placing{At: hour(days), Position: position, Where: "oven"}
}

func read(days, c float64) course.Temperature { return course.Temperature{At: hour(days), C: c} }

func TestPlaces(t *testing.T) {
	laid := []course.Placing{placed(-1, "dial up"), placed(2.01, "XII up")}
	warm := []course.Temperature{read(0, 20), read(1, 20), read(2, 20), read(2.2, 30), read(3, 30), read(4, 30)}
	const no = math.MaxFloat64 // not read
	tests := []struct {
		name  string
		laid  []course.Placing
		warm  []course.Temperature
		known []bool
		meanC []float64
		says  []string
	}{
		{"as asked", laid, warm, []bool{true, true, true, true}, []float64{20, 20, 30, 30}, nil},
		{"the warmth of one period is not carried into the next", laid, []course.Temperature{read(0, 20), read(2, 20), read(4, 30)},
			[]bool{true, true, true, true}, []float64{20, 20, no, 30}, []string{"no temperature was read on day 3"}},
		{"read after the comparison and before the move", laid, []course.Temperature{read(1.003, 20), read(2.005, 20), read(3.003, 30), read(4.003, 30)},
			[]bool{true, true, true, true}, []float64{20, 20, 30, 30}, nil},
		// Straight from 20 to 26 and back over one day: mean 23, 2 beyond the limit.
		{"too warm", laid, append([]course.Temperature{read(0.5, 26)}, warm...), []bool{false, true, true, true}, []float64{23, 20, 30, 30},
			[]string{"day 1: 23 °C on the mean, 2 °C warmer than the programme allows: day 1 is not counted; wanted for M, D, first and M + D"}},
		// Level 30 for a fifth of the day, 30 to 22 in 0.3, back in a half: 6 + 7.8 + 13.
		{"too cold", laid, append([]course.Temperature{read(2.5, 22), read(3.5, 30)}, warm...), []bool{true, true, false, true}, []float64{20, 20, 26.8, 30},
			[]string{"day 3: 26.8 °C on the mean, 2.2 °C colder than the programme allows: day 3 is not counted; wanted for M, D and M + D"}},
		// 20 to 21.6 and back over a tenth of a day: the mean is 20.08.
		{"warm for a moment", laid, append([]course.Temperature{read(0.45, 20), read(0.5, 21.6), read(0.55, 20)}, warm...), []bool{true, true, true, true}, []float64{20.08, 20, 30, 30},
			[]string{"the thermometer read 1.6 °C from what the programme asks on 1 March at 22:00 UTC: the mean of the day keeps the limit, and the verdict stands"}},
		{"never read", laid, nil, []bool{true, true, true, true}, []float64{no, no, no, no}, []string{"temperature never recorded: the verdict stands, if it lay as the programme asks"}},
		{"never turned", laid[:1], warm, []bool{true, true, false, false}, []float64{20, 20, 30, 30},
			[]string{"day 3: it lay dial up, not XII up: day 3 is not counted", "day 4: it lay dial up, not XII up"}},
		{"turned five hours late", []course.Placing{placed(-1, "Dial  up"), placed(2.25, "XII up")}, warm, []bool{true, true, false, true}, []float64{20, 20, 30, 30},
			[]string{"day 3: it lay Dial up until 3 March at 16:00 UTC, not XII up"}},
		// The 20 °C read with the comparison is then of the oven warming: 0.2·25 + 0.8·30.
		{"turned a little before the comparison", []course.Placing{placed(-1, "dial up"), placed(1.99, "XII up")}, warm, []bool{true, true, true, true}, []float64{20, 20, 29, 30}, nil},
		{"turned too soon", []course.Placing{placed(-1, "dial up"), placed(1.5, "XII up")}, warm, []bool{true, false, true, true}, []float64{20, 20, 30, 30},
			[]string{"day 2: it was laid XII up on 2 March at 22:00 UTC, not dial up"}},
		{"never written", nil, warm, []bool{true, true, true, true}, []float64{20, 20, 30, 30}, []string{"in what position it lay is not written for days 1 to 4"}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			c := follow(oven(), course.Log{Compared: daily(0, 1, 2, 3, 4), Placings: tt.laid, Temperatures: tt.warm, Windings: []time.Time{hour(0), hour(1), hour(2), hour(3)}}, hour(4.2))
			var known []bool
			var meanC []float64
			for _, d := range c.Days {
				known = append(known, d.Known)
				if d.TempC == nil {
					meanC = append(meanC, no)
				} else {
					meanC = append(meanC, *d.TempC)
				}
			}
			if diff := cmp.Diff(tt.known, known); diff != "" {
				t.Errorf("%s\n%v", diff, whys(c))
			}
			if diff := cmp.Diff(tt.meanC, meanC, near); diff != "" {
				t.Error(diff)
			}
			says(t, c, tt.says...)
			if tt.says == nil && len(c.Remarks) > 0 {
				t.Errorf("remarks: %s", said(c))
			}
		})
	}
}

// Days to come to temperature are not held to it, unless a criterion names
// them.
func TestApart(t *testing.T) {
	p := oven()
	p.Criteria = p.Criteria[:1]
	p.Periods[1].Apart = true
	log := course.Log{Compared: daily(0, 1, 2, 3, 4), Placings: []course.Placing{placed(-1, "dial up"), placed(2, "XII up")},
		Temperatures: []course.Temperature{read(1, 20), read(2.5, 25), read(3, 26)}, Windings: []time.Time{hour(0), hour(1), hour(2), hour(3)}}
	c := follow(p, log, hour(2.6))
	if c.Today.State != course.Coming || c.Today.Day != 3 || c.Today.Period != 1 || c.Today.Words != "day 3 of 4, XII up at 30 °C, to come to temperature" {
		t.Errorf("today %+v", c.Today)
	}
	sameRates(t, follow(p, log, hour(4.2)), 1, 1, 1, 1)
	p.Criteria = append(p.Criteria, programme.Criterion{Name: "warm", Of: programme.MeanRate, Periods: []int{2}})
	c = follow(p, log, hour(4.2))
	sameRates(t, c, 1, 1, missed, missed)
	says(t, c, "day 4 is not counted; wanted for warm")
}

// A span over a day that lay wrong is no sum.
func TestNoSpanOverADayThatLayWrong(t *testing.T) {
	log := course.Log{Compared: daily(0, missed, 2, missed, 4), Placings: []course.Placing{placed(-1, "dial up")}}
	c := follow(oven(), log, hour(4.2))
	if diff := cmp.Diff([]trial.Span{{First: 1, Last: 2, ChangeS: 2, FirstSDS: 0.1, LastSDS: 0.1}}, c.Spans, near); diff != "" {
		t.Error(diff)
	}
}

func TestWindings(t *testing.T) {
	tests := []struct {
		name string
		at   []float64 // days after the first reading
		says string    // empty: no remark
	}{
		{"daily", []float64{-0.5, 0.5, 1.5, 2.5, 3.5}, ""},
		{"six hours late", []float64{0, 1.25, 2, 3, 4}, ""},
		{"nine hours late", []float64{0, 1.375, 2, 3, 4}, "wound on 2 March at 19:00 UTC, 33 h after the last winding"},
		{"missed", []float64{0, 2, 3, 4}, "wound on 3 March at 10:00 UTC, 48 h after the last winding"},
		{"not since", []float64{0, 1}, "not wound since 2 March at 10:00 UTC"},
		{"not since it was begun", []float64{-20, 2, 3, 4}, "wound on 3 March at 10:00 UTC, 48 h after"},
		{"never", nil, "no winding is written: the verdict stands, if it was wound at its hours"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			log := course.Log{Compared: daily(0, 1, 2, 3, 4), Temperatures: []course.Temperature{read(0, 20), read(1, 20), read(2, 20), read(3, 20), read(4, 20)}}
			for _, d := range tt.at {
				log.Windings = append(log.Windings, hour(d))
			}
			c := follow(plain(4), log, hour(6))
			if tt.says == "" && len(c.Remarks) > 0 {
				t.Errorf("remarks: %s", said(c))
			}
			says(t, c, tt.says)
			sameRates(t, c, 1, 1, 1, 1)
		})
	}
}

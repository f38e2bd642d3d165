package chart_test

import (
	"fmt"
	"time"

	"timeball/internal/chart"
)

func ExampleErrorCurve() {
	start := time.Date(2027, 1, 18, 9, 0, 0, 0, time.UTC)
	curve := chart.ErrorCurve{
		Caption:       chart.Caption{ID: "error", Title: "Dial against UTC", Result: "No. 417 is fast 8.0 s, losing 2 s a day."},
		Interventions: []chart.Intervention{{At: start.AddDate(0, 0, 7), Words: "hands moved", Steps: true}},
	}
	var run []chart.Estimate
	for day := range 15 {
		e := -float64(2 * day)
		if day >= 7 {
			e += 36
		}
		run = append(run, chart.Estimate{At: start.AddDate(0, 0, day), Value: e, Lo: e - 1, Hi: e + 1})
	}
	curve.Runs = [][]chart.Estimate{run}
	wide, narrow := curve.Figure(chart.Wide()).SVG(), curve.Figure(chart.Narrow()).SVG()
	fmt.Println(len(wide) > 0, len(narrow) > 0)
	fmt.Print(chart.TextCurve(curve, chart.Terminal{Columns: 60, Rows: 11, ASCII: true}))
	// Output:
	// true true
	//                                    !hands moved
	//                                    ***
	// fast 20 s                          ! *********
	//                                    !         *********
	//                                    !                 *******
	//                                    !
	//       UTC ***----------------------!------------------------
	//              ********              !
	//                      *********     !
	//                              ***   !
	//                 21 Jan     24 Jan     27 Jan     30 Jan
}

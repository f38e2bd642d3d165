package drawing

import (
	"html/template"
	"math"
	"slices"

	"timeball/internal/chart"
	"timeball/internal/rating"
	"timeball/internal/web/wording"
	"timeball/internal/workshop"
)

// staffScales are the ends that an error staff can have, s.
var staffScales = []float64{10, 20, 40, 80, 120, 240, 600, 1200, 3600}

// Scale returns the least end that holds four in five of the marks, so
// that one dial far out does not press the others together.
func Scale(room workshop.Room) float64 {
	var out []float64
	for _, seen := range room.Instruments {
		if wording.Now(seen).Error != nil {
			out = append(out, math.Abs(seen.ErrorNow.Mean), math.Abs(seen.In30Days.Mean))
		}
	}
	if len(out) == 0 {
		return 40
	}
	slices.Sort(out)
	most := out[(len(out)-1)*4/5]
	for _, scale := range staffScales {
		if most <= scale {
			return scale
		}
	}
	return staffScales[len(staffScales)-1]
}

// Staff returns the error staff of an instrument that has an error now, with
// the error in 30 days beside it, drawn to an end of scale, s.
func Staff(seen workshop.Seen, id string, scale float64) template.HTML {
	now, then := interval(seen.ErrorNow), interval(seen.In30Days)
	return svg(chart.Staff{
		Caption: chart.Caption{ID: id, Title: "Error staff of No. " + seen.Instrument.Number, Result: "Now " + wording.Error(seen.ErrorNow).String() + "; in 30 days " + wording.Error(seen.In30Days).String() + "."},
		Now:     &now, Then: &then, Scale: scale,
	}.Figure(chart.StaffSize()))
}

func interval(i rating.Interval) chart.Interval {
	return chart.Interval{Value: i.Mean, Lo: i.Lo95, Hi: i.Hi95}
}

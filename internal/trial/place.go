package trial

import (
	"fmt"
	"math"
	"strings"

	"timeball/internal/trial/programme"
)

// Place returns the days in the periods of the programme, told by their
// Number, and remarks for a reader. A day that lay otherwise than the
// programme asks, or was further from its temperature than the programme
// allows, is no longer Known and says why: it cannot stand for the day that was
// asked. Days apart are held to no temperature. Days after the last are left
// out with a remark; what was not recorded is taken to be as asked, and said.
func Place(p programme.Programme, days []Day) ([]Day, []string) {
	var placed []Day
	var remarks, noTemp, noPosition, off, beyond []string
	of := p.PeriodOfDays()
	for _, d := range days {
		if d.Number < 1 || d.Number > len(of) {
			beyond = append(beyond, fmt.Sprint(d.Number))
			continue
		}
		d.Period = of[d.Number-1]
		q := p.Periods[d.Period]
		if d.Known {
			why := ""
			switch {
			case q.Position != "" && d.Position != "" && d.Position != q.Position:
				why = fmt.Sprintf("it lay %s and the programme asks %s", d.Position, q.Position)
			case q.TempC != nil && d.TempC != nil && !q.Apart && p.WithinC > 0 && !(math.Abs(*d.TempC-*q.TempC) <= p.WithinC):
				why = fmt.Sprintf("it was at %.1f °C, further than %g °C from the %g °C of the programme", *d.TempC, p.WithinC, *q.TempC)
			}
			if why != "" {
				d.Known, d.Why = false, why
				off = append(off, fmt.Sprintf("day %d: %s", d.Number, why))
			}
			if q.Position != "" && d.Position == "" {
				noPosition = append(noPosition, fmt.Sprint(d.Number))
			}
			if q.TempC != nil && d.TempC == nil {
				noTemp = append(noTemp, fmt.Sprint(d.Number))
			}
		}
		placed = append(placed, d)
	}
	if len(off) > 0 {
		remarks = append(remarks, fmt.Sprintf("The programme was not kept on %s: %s. No criterion that needs %s can be known.",
			count(len(off), "day", "days"), strings.Join(off, "; "), map[bool]string{true: "it", false: "one of them"}[len(off) == 1]))
	}
	if len(noTemp) > 0 {
		remarks = append(remarks, fmt.Sprintf("No temperature was recorded on %s of %d: %s taken to be as the programme asks.", count(len(noTemp), "day", "days"), len(placed), those(len(noTemp))))
	}
	if len(noPosition) > 0 {
		remarks = append(remarks, fmt.Sprintf("No position was recorded on %s of %d: %s taken to be as the programme asks.", count(len(noPosition), "day", "days"), len(placed), those(len(noPosition))))
	}
	if len(beyond) > 0 {
		remarks = append(remarks, fmt.Sprintf("The programme has %d days; %s not among them (%s) and left out.", len(of), count(len(beyond), "day is", "days are"), few(beyond)))
	}
	return placed, remarks
}

func those(n int) string {
	if n == 1 {
		return "it is"
	}
	return "they are"
}

// few returns the first of a list.
func few(all []string) string {
	const most = 8
	if len(all) > most {
		return strings.Join(all[:most], ", ") + ", …"
	}
	return strings.Join(all, ", ")
}

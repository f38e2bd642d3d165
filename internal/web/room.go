package web

import (
	"fmt"
	"html/template"
	"math"
	"net/http"
	"slices"
	"strings"

	"timeball/internal/chart"
	"timeball/internal/chronometer"
	"timeball/internal/rating"
	"timeball/internal/workshop"
)

// roomPage is every instrument on one page.
type roomPage struct {
	frame
	Day     string
	Counted string // "five going, one stopped, two in carriage"
	Pending string
	Rows    []roomRow
}

// roomRow is one instrument in the room.
type roomRow struct {
	Number, Maker, Make, Owner string
	Href                       string
	Where                      string
	Staff                      template.HTML
	Error, Rate                *figure
	Why                        string // why there are no figures
	Pending                    bool
	Next                       do
	Ahead                      bool // nothing is due today
}

func (s *site) room(w http.ResponseWriter, r *http.Request) error {
	room, err := s.workshop.Room(r.Context())
	if err != nil {
		return err
	}
	p := roomPage{frame: s.frame("The room", "room"), Day: longDay(room.Now), Counted: countRoom(room)}
	if room.Pending > 0 {
		p.Refresh = 4
		p.Pending = sentence(counted(room.Pending, "instrument is", "instruments are") + " still being rated; this page asks again by itself")
	}
	p.Doubt = len(room.Instruments) > 0
	scale := staffScale(room)
	twice := map[string]int{}
	for _, seen := range room.Instruments {
		twice[seen.Instrument.Number]++
	}
	for n, seen := range room.Instruments {
		at := address(seen.Instrument.Number, seen.ID)
		if twice[seen.Instrument.Number] > 1 {
			at = address("", seen.ID)
		}
		p.Rows = append(p.Rows, newRoomRow(seen, at, fmt.Sprintf("staff-%d", n), scale))
	}
	s.show(w, http.StatusOK, "room", p)
	return nil
}

func newRoomRow(seen workshop.Seen, at, id string, scale float64) roomRow {
	i := seen.Instrument
	if i.Number == "" { // not even its particulars are read yet
		return roomRow{Href: address("", seen.ID), Why: "being rated …", Next: do{Verb: "Open", Href: address("", seen.ID)}}
	}
	row := roomRow{Number: i.Number, Maker: i.Maker, Make: shortMake(i), Href: at, Where: whereWords(seen.State), Pending: seen.Pending}
	if seen.Owner != nil {
		row.Owner = seen.Owner.Owner.Name
	}
	shown := figuresOf(seen)
	row.Error, row.Rate, row.Why = shown.Error, shown.Rate, shown.Why
	if row.Error != nil {
		now, then := interval(seen.ErrorNow), interval(seen.In30Days)
		row.Staff = svg(chart.Staff{
			Caption: chart.Caption{ID: id, Title: "Error staff of No. " + i.Number, Result: "Now " + row.Error.String() + "; in 30 days " + errorFigure(seen.In30Days).String() + "."},
			Now:     &now, Then: &then, Scale: scale,
		}.Figure(chart.StaffSize()))
	}
	row.Next = do{Verb: "Open", Say: "nothing is due", Href: at}
	if len(seen.Next) > 0 {
		row.Next = doing(seen.Next[0], at, seen.Now)
		if row.Ahead = !row.Next.Now && !row.Next.Trouble; row.Ahead {
			row.Next.Verb, row.Next.Href = "Open", at
		}
	}
	return row
}

// shown is what is known of an instrument now, or why nothing is.
type shown struct {
	Error, Rate *figure
	Why         string
}

// figuresOf returns the figures that hold now: those of an instrument that
// stands still are past.
func figuresOf(seen workshop.Seen) shown {
	switch {
	case seen.Pending && seen.Rating == nil:
		return shown{Why: "being rated …"}
	case seen.State.Motion != chronometer.Going:
		return shown{Why: string(seen.State.Motion) + " since " + day(seen.State.MotionSince, seen.Now)}
	case seen.Rating == nil || !seen.Current:
		return shown{Why: seen.Why}
	}
	return shown{Error: errorFigure(seen.ErrorNow), Rate: rateFigure(seen.Rating.RateNow)}
}

// shortMake returns "two-day, half-second", with the make unless it is a box
// chronometer.
func shortMake(i chronometer.Instrument) string {
	parts := []string{i.GoingWords()}
	if i.Make != chronometer.BoxChronometer {
		parts = append(parts, string(i.Make))
	}
	if i.Beat != chronometer.OtherBeat {
		parts = append(parts, string(i.Beat))
	}
	return strings.Join(parts, ", ")
}

// whereWords returns where an instrument is and whether it goes.
func whereWords(s chronometer.State) string {
	if s.Station == "" {
		return string(s.Motion)
	}
	return string(s.Station) + ", " + string(s.Motion)
}

// countRoom returns how many go, stand and travel, in words.
func countRoom(room workshop.Room) string {
	if len(room.Instruments) == 0 {
		return "no instruments yet"
	}
	n := map[string]int{}
	for _, seen := range room.Instruments {
		if seen.State.Station == chronometer.Carriage {
			n["in carriage"]++
			continue
		}
		n[string(seen.State.Motion)]++
	}
	var parts []string
	for _, words := range []string{"going", "stopped", "balance held", "in carriage"} {
		if n[words] > 0 {
			parts = append(parts, count(n[words])+" "+words)
		}
	}
	return strings.Join(parts, ", ")
}

// staffScales are the ends that an error staff can have, s.
var staffScales = []float64{10, 20, 40, 80, 120, 240, 600, 1200, 3600}

// staffScale returns the least end that holds four in five of the marks, so
// that one dial far out does not press the others together.
func staffScale(room workshop.Room) float64 {
	var out []float64
	for _, seen := range room.Instruments {
		if figuresOf(seen).Error != nil {
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

func interval(i rating.Interval) chart.Interval {
	return chart.Interval{Value: i.Mean, Lo: i.Lo95, Hi: i.Hi95}
}

// svg returns a finished drawing for a page; the chart has escaped its words.
func svg(f chart.Figure) template.HTML { return template.HTML(f.SVG()) }

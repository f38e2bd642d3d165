package web

import (
	"fmt"
	"html/template"
	"net/http"
	"strings"

	"timeball/internal/chronometer"
	"timeball/internal/web/drawing"
	"timeball/internal/web/wording"
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
	Job                        string // how its job stands, and whom it waits for
	Staff                      template.HTML
	Error, Rate                *wording.Figure
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
	s.showRoom(w, room)
	return nil
}

func (s *site) showRoom(w http.ResponseWriter, room workshop.Room) {
	p := roomPage{frame: s.frame("The room", "room"), Day: wording.LongDay(room.Now), Counted: countRoom(room)}
	if room.Pending > 0 {
		p.Refresh = 4
		p.Pending = wording.Sentence(wording.Counted(room.Pending, "instrument is", "instruments are") + " still being rated; this page asks again by itself")
	}
	p.Doubt = len(room.Instruments) > 0
	scale := drawing.Scale(room)
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
}

func newRoomRow(seen workshop.Seen, at, id string, scale float64) roomRow {
	i := seen.Instrument
	if i.Number == "" { // not even its particulars are read yet
		return roomRow{Href: address("", seen.ID), Why: "being rated …", Next: do{Verb: "Open", Href: address("", seen.ID)}}
	}
	row := roomRow{Number: i.Number, Maker: i.Maker, Make: shortMake(i), Href: at, Where: whereWords(seen.State), Pending: seen.Pending}
	row.Job = jobWords(seen.State)
	if seen.Owner != nil {
		row.Owner = seen.Owner.Owner.Name
	}
	shown := wording.Now(seen)
	row.Error, row.Rate, row.Why = shown.Error, shown.Rate, shown.Why
	if row.Error != nil {
		row.Staff = drawing.Staff(seen, id, scale)
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

// jobWords returns how the open job stands, and whom it waits for unless that
// is plain from where it is.
func jobWords(s chronometer.State) string {
	switch {
	case s.Stage == "":
		return ""
	case s.Waits == chronometer.TheKeeper || s.Waits == chronometer.TheOwner && !strings.Contains(s.Stage, "owner"):
		return "job: " + s.Stage + ", waits for " + string(s.Waits)
	}
	return "job: " + s.Stage
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
			parts = append(parts, wording.Count(n[words])+" "+words)
		}
	}
	return strings.Join(parts, ", ")
}

package drawing

import (
	"fmt"
	"slices"
	"time"

	"timeball/internal/chart"
	"timeball/internal/chart/heard"
	"timeball/internal/chronometer"
	"timeball/internal/web/logbook"
	"timeball/internal/web/wording"
	"timeball/internal/workshop"
)

// LongReading is what a recording of hours has shown, as drawings.
type LongReading struct {
	ID     string // of the entry
	Title  string
	Words  string
	Open   bool
	Href   string // where the entry stands
	Curves []Curve
	Note   string // why a curve is wanting, if one is
}

// ratePerPPM is the rate, s/d, that one part in a million of a sampling clock
// makes.
const ratePerPPM = 0.0864

// mostReadings is how many long readings a page draws unless it is asked for
// another.
const mostReadings = 3

// LongReadings returns the newest long readings that stand, and the one that is
// asked for; that one is open, or the newest.
func LongReadings(seen workshop.Seen, book logbook.Book, at string, asked chronometer.ID) []LongReading {
	var all []LongReading
	open, wound := -1, windings(seen.Logbook)
	for _, e := range slices.Backward(seen.Logbook.Standing()) {
		l, ok := e.Fact.(chronometer.Listened)
		if !ok || l.Reading == nil || len(all) >= mostReadings && e.ID != asked {
			continue
		}
		id := string(e.ID)
		if e.ID == asked {
			open = len(all)
		}
		r := LongReading{ID: id, Title: "Heard " + wording.Instant(e.At, seen.Now), Words: l.Words(), Href: book.Href(id, at)}
		r.draw(e.At, l, wound)
		all = append(all, r)
	}
	if len(all) > 0 {
		all[max(open, 0)].Open = true
	}
	return all
}

// windings returns the instants at which it was wound, in order.
func windings(book chronometer.Logbook) []time.Time {
	var all []time.Time
	for _, e := range book.Standing() {
		if e.Kind() == chronometer.KindWound {
			all = append(all, e.At)
		}
	}
	return all
}

// draw draws the reading of the sound that began at an instant.
func (r *LongReading) draw(began time.Time, l chronometer.Listened, wound []time.Time) {
	if n := len(l.Reading.TeethUS); n > 0 {
		t := heard.Teeth{Caption: chart.Caption{ID: "teeth-" + r.ID, Title: "Teeth of the escape wheel"}}
		for _, us := range l.Reading.TeethUS {
			t.Teeth = append(t.Teeth, heard.Tooth{EarlyS: -1e-6 * us, PlusMinusS: 1.96e-6 * l.Reading.TeethSDUS})
		}
		about := "How early or late the beat of each tooth falls against the mean of all, the same in every turn of the wheel."
		r.Curves = append(r.Curves, heardCurve(t.Caption, about, t))
	}
	if len(l.Reading.Amplitude)+len(l.Reading.Rate) == 0 {
		return
	}
	since, ok := sinceWound(began, l, wound)
	if !ok {
		r.Note = "Amplitude and rate are drawn over the hours since winding, and no entry tells when it was wound before this."
		return
	}
	var events []heard.Hourly
	ends := began.Add(time.Duration(l.DurationS * float64(time.Second)))
	for _, at := range wound {
		if at.After(began) && at.Before(ends) {
			events = append(events, heard.Hourly{WoundH: since + at.Sub(began).Hours(), Words: "wound"})
		}
	}
	if len(l.Reading.Amplitude) > 0 {
		w := heard.Wind{Caption: chart.Caption{ID: "wind-" + r.ID, Title: "Amplitude since winding"}, Events: events}
		for _, a := range l.Reading.Amplitude {
			w.Amplitude = append(w.Amplitude, heard.Swing{WoundH: since + a.H, AmplitudeDeg: a.Deg, PlusMinusDeg: 1.96 * a.SDDeg})
		}
		about := "From rest to the end of the swing."
		if l.LiftAngleDeg > 0 {
			about = fmt.Sprintf("From rest to the end of the swing, with a lift of %g°: an error in the lift shifts the whole curve in proportion.", l.LiftAngleDeg)
		}
		r.Curves = append(r.Curves, heardCurve(w.Caption, about, w))
	}
	if len(l.Reading.Rate) > 0 {
		h := heard.Hours{Caption: chart.Caption{ID: "hours-" + r.ID, Title: "Rate since winding"}, Events: events}
		for _, x := range l.Reading.Rate {
			h.Measured = append(h.Measured, heard.Pace{WoundH: since + x.H, RatePerDay: x.SPerDay, PlusMinusPerDay: 1.96 * x.SDSPerDay})
		}
		about := "From hour to hour by the sound alone."
		if l.Timebase != nil {
			about = wording.Sentence("From hour to hour by the sound alone; " + l.Timebase.Words() + fmt.Sprintf(", which may shift the whole curve by ±%.2f s a day", 1.96*ratePerPPM*l.Timebase.PPMSD))
		}
		r.Curves = append(r.Curves, heardCurve(h.Caption, about, h))
	}
}

// sinceWound returns how many hours before a sound began it was wound: as the
// entry says, or by the last winding before it.
func sinceWound(began time.Time, l chronometer.Listened, wound []time.Time) (float64, bool) {
	if l.WoundH != nil {
		return *l.WoundH, true
	}
	var last time.Time
	for _, at := range wound {
		if !at.After(began) {
			last = at
		}
	}
	return began.Sub(last).Hours(), !last.IsZero()
}

// heardCurve returns a drawing of what was heard.
func heardCurve(c chart.Caption, about string, d interface {
	Figure(chart.Size) heard.Figure
}) Curve {
	wide := d.Figure(chart.Wide())
	return Curve{ID: c.ID, Title: c.Title, About: about, Wide: svg(wide), Narrow: svg(d.Figure(chart.Narrow())), Table: wide.Table()}
}

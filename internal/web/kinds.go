package web

import (
	"net/http"

	"timeball/internal/chronometer"
	"timeball/internal/web/wording"
)

// kindsPage offers every kind of entry.
type kindsPage struct {
	frame
	Number, At string
	Groups     []kindGroup
}

// kindGroup is kinds that belong together.
type kindGroup struct {
	Title string
	Kinds []kindLink
}

// kindLink is one kind, with what it tells.
type kindLink struct{ Title, About, Href string }

func (s *site) kinds(w http.ResponseWriter, r *http.Request) error {
	seen, err := s.workshop.See(r.Context(), r.PathValue("number"))
	if err != nil {
		return err
	}
	p := kindsPage{frame: s.frame("Write an entry for No. "+seen.Instrument.Number, "room"), Number: seen.Instrument.Number, At: pathOf(r)}
	for _, g := range kindGroups {
		group := kindGroup{Title: g.title}
		for _, k := range g.kinds {
			group.Kinds = append(group.Kinds, kindLink{k.Title(), wording.Upper(k.About()), p.At + "/write/" + wording.Slug(k)})
		}
		p.Groups = append(p.Groups, group)
	}
	s.show(w, http.StatusOK, "kinds", p)
	return nil
}

// kindGroups are the kinds as the page offers them.
var kindGroups = []struct {
	title string
	kinds []chronometer.Kind
}{
	{"Going", []chronometer.Kind{chronometer.KindCompared, chronometer.KindListened, chronometer.KindWound, chronometer.KindStarted, chronometer.KindStopped, chronometer.KindMoved, chronometer.KindSet, chronometer.KindRegulated}},
	{"Where and how it lies", []chronometer.Kind{chronometer.KindPlaced, chronometer.KindTemperature, chronometer.KindHeld, chronometer.KindReleased, chronometer.KindFromGimbals, chronometer.KindIntoGimbals}},
	{"At the bench", []chronometer.Kind{chronometer.KindFound, chronometer.KindWorkDone}},
	{"Trial", []chronometer.Kind{chronometer.KindTrialEnded}},
	{"The job", []chronometer.Kind{chronometer.KindEnquired, chronometer.KindEstimated, chronometer.KindApproved, chronometer.KindReady}},
	{"Carriage", []chronometer.Kind{chronometer.KindJourney, chronometer.KindPacked, chronometer.KindSent, chronometer.KindReceived, chronometer.KindCased, chronometer.KindCarried}},
	{"The record", []chronometer.Kind{chronometer.KindNote, chronometer.KindPhotograph, chronometer.KindUpheld, chronometer.KindStruckOut, chronometer.KindEntered}},
}

// heading returns the head of the form of a kind for a number.
func heading(kind chronometer.Kind, number string) string {
	switch kind {
	case chronometer.KindCompared:
		return "Compare No. " + number
	case chronometer.KindListened:
		return "The rate heard of No. " + number
	case chronometer.KindWound:
		return "Wind No. " + number
	case chronometer.KindStarted:
		return "Set No. " + number + " going"
	case chronometer.KindReceived:
		return "Receive No. " + number
	case chronometer.KindEntered:
		return "Particulars of No. " + number
	case chronometer.KindUpheld:
		return "Use a comparison of No. " + number
	case chronometer.KindStruckOut:
		return "Strike out an entry of No. " + number
	}
	return "No. " + number + ": " + string(kind)
}

package ratesheet

import (
	"strconv"

	"timeball/internal/chronometer"
	"timeball/internal/web/wording"
)

// Particulars returns what is engraved on the instrument and known of its
// make, without what the head of the page says.
func Particulars(i chronometer.Instrument) []Labelled {
	var fitted []string
	for _, part := range []struct {
		has  bool
		name string
	}{{i.UpDown, "up-and-down dial"}, {i.BalanceBrake, "balance brake"}, {i.Gimbals, "gimbals"}} {
		if part.has {
			fitted = append(fitted, part.name)
		}
	}
	all := []Labelled{{Label: "Goes for", Words: strconv.FormatFloat(i.GoingH, 'f', -1, 64) + " h"}}
	if len(fitted) > 0 {
		all = append(all, Labelled{Label: "Fitted with", Words: wording.Joined(fitted)})
	}
	if i.Box != "" {
		all = append(all, Labelled{Label: "Box", Words: i.Box})
	}
	if i.WeightKG > 0 {
		all = append(all, Labelled{Label: "Weight with box", Words: strconv.FormatFloat(i.WeightKG, 'f', -1, 64) + " kg"})
	}
	if i.Notes != "" {
		all = append(all, Labelled{Label: "Notes", Words: i.Notes})
	}
	return all
}

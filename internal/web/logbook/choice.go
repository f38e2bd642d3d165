package logbook

import (
	"slices"
	"strings"

	"timeball/internal/chronometer"
	"timeball/internal/web/form"
	"timeball/internal/web/wording"
	"timeball/internal/workshop"
)

// mostChoices is how many entries a choice holds.
const mostChoices = 300

// Comparisons returns the comparisons that can be upheld: those set aside
// first, then the newest.
func Comparisons(seen workshop.Seen) []form.Option {
	notes, upheld := NotesOf(seen.Rating), seen.Logbook.Upheld()
	var aside, others []form.Option
	for _, e := range slices.Backward(seen.Logbook.Standing()) {
		if e.Kind() != chronometer.KindCompared || upheld[e.ID] {
			continue
		}
		o := form.Option{Value: string(e.ID), Label: wording.Instant(e.At, seen.Now) + " · " + e.Fact.Words()}
		if a, ok := notes.aside[string(e.ID)]; ok {
			o.Label += " · set aside: " + a.Reason
			aside = append(aside, o)
		} else {
			others = append(others, o)
		}
	}
	all := append(aside, others...)
	return all[:min(len(all), mostChoices)]
}

// Strikable returns the newest entries that are not struck out.
func Strikable(seen workshop.Seen) []form.Option {
	var all []form.Option
	for _, e := range slices.Backward(seen.Logbook.Entries()) {
		if _, out := seen.Logbook.StruckOut(e.ID); !out && len(all) < mostChoices {
			all = append(all, form.Option{Value: string(e.ID), Label: strings.TrimSuffix(wording.Instant(e.At, seen.Now)+" · "+e.Kind().Title()+" · "+e.Fact.Words(), " · ")})
		}
	}
	return all
}

package issue

import (
	"fmt"
	"slices"

	"timeball/internal/adjust"
	"timeball/internal/carriage"
	"timeball/internal/chart/fittings"
	"timeball/internal/chronometer"
	"timeball/internal/paper"
	"timeball/internal/paper/leaf"
)

// preparingSheet makes the steps of preparing and packing for the journey begun
// last, or where none was begun for one with a carrier from how it goes now.
func (s subject) preparingSheet(ask Ask) (*leaf.Document, error) {
	j := chronometer.JourneyBegun{Goes: chronometer.DepartsStopped}
	if s.seen.State.Motion == chronometer.Going {
		j.Goes = chronometer.DepartsGoing
	}
	supposes := fmt.Sprintf("Made for an instrument that goes with a carrier and is %s when it is begun.", j.Goes)
	if all := s.seen.Logbook.Journeys(); len(all) > 0 {
		j, _ = all[len(all)-1].Begun.Fact.(chronometer.JourneyBegun)
		how := "goes with a carrier"
		if j.ByHand {
			how = "is carried by hand all the way"
		}
		supposes = fmt.Sprintf("Made for the journey to %s: it %s, and is %s when it is begun.", j.To, how, j.Goes)
	}
	f := adjust.Fittings(s.seen.Instrument, j)
	plan, err := carriage.Whole(f)
	if err != nil {
		return nil, wanting("preparing sheet of no. "+s.seen.Instrument.Number, []string{err.Error()})
	}
	p := paper.JourneySheet{Size: sizeOf(s.size(ask.Paper)), Made: s.seen.Now.UTC(), Letterhead: s.letterhead(), Instrument: s.instrument(), Reach: s.reach(),
		Supposes: supposes + " If that is not so, ask for another sheet."}
	for _, h := range carriage.Hazards(f) {
		p.Matters = append(p.Matters, paper.Matter{Name: h.Matter, Say: h.Say})
	}
	parts := []carriage.Phase{carriage.Prepare, carriage.Pack}
	for _, step := range plan {
		n := slices.Index(parts, step.Phase)
		if n < 0 {
			continue
		}
		drawing, _ := fittings.Sheet(string(step.Drawing), string(step.ID))
		p.Steps = append(p.Steps, paper.JourneyStep{
			Part: []string{"Prepare", "Pack"}[n], Title: step.Title, Do: step.Do, Needs: step.Needs, Without: step.Harm, Check: step.Check, Write: step.Write,
			Cautions: step.Cautions, Drawing: drawing,
		})
	}
	return p.Document()
}

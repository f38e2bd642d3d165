package paper_test

import (
	"errors"
	"strings"
	"testing"

	"timeball/internal/carriage"
	"timeball/internal/chart/fittings"
	"timeball/internal/paper"
	"timeball/internal/paper/leaf"
)

// journeySheet is the sheet of a two-day instrument in gimbals, with the steps
// of package carriage.
func journeySheet(t testing.TB, size leaf.Size, f carriage.Fittings) paper.JourneySheet {
	t.Helper()
	s := paper.JourneySheet{Size: size, Made: onDay(3, 3), Letterhead: lanternQuay, Instrument: no417, Reach: "R. Halvane, keeper@lanternquay.example",
		Supposes: "Made for an instrument that goes with a carrier and is going when it is begun."}
	for _, h := range carriage.Hazards(f) {
		s.Matters = append(s.Matters, paper.Matter{Name: h.Matter, Say: h.Say})
	}
	for _, phase := range []carriage.Phase{carriage.Prepare, carriage.Pack} {
		plan, err := carriage.Plan(f, phase)
		if err != nil {
			t.Fatal(err)
		}
		for _, step := range plan {
			drawing, _ := fittings.Sheet(string(step.Drawing), string(step.ID))
			s.Steps = append(s.Steps, paper.JourneyStep{Part: strings.ToUpper(string(phase[:1])) + string(phase[1:]), Title: step.Title, Do: step.Do, Needs: step.Needs,
				Without: step.Harm, Check: step.Check, Write: step.Write, Cautions: step.Cautions, Drawing: drawing})
		}
	}
	return s
}

func twoDayInGimbals() carriage.Fittings {
	return carriage.Fittings{Make: carriage.BoxChronometer, Box: true, Gimbals: true, UpDown: true, KeywayKnown: true, OnDeparture: carriage.Going, GoingH: 56, WeightKG: 5}
}

func TestJourneySheet(t *testing.T) {
	for _, size := range leaves {
		f := twoDayInGimbals()
		s := journeySheet(t, size, f)
		d, err := s.Document()
		fewLeaves(t, d, err, 9)
		read := squeezed(text(t, d))
		at := 0
		for _, step := range s.Steps {
			i := strings.Index(read[at:], step.Title)
			if i < 0 {
				t.Fatalf("%s: %q does not stand after the step before it", size.Name, step.Title)
			}
			at += i
		}
		for _, m := range s.Matters {
			if !strings.HasSuffix(m.Say, carriage.Closing) {
				t.Errorf("%q does not end in local rules", m.Say)
			}
		}
		if n := strings.Count(read, "Follow your local rules and a licensed person."); n < len(s.Matters) {
			t.Errorf("%s: %d times local rules, want %d", size.Name, n, len(s.Matters))
		}
		for _, b := range carriage.Forbidden(strings.Join(s.Steps[4].Do, " ")) {
			t.Error(b)
		}
		golden(t, "journeysheet-"+size.Name, d)
	}
}

// TestJourneySheetOfAll: the sheet can be set for every kind of instrument and
// departure, and no step is higher than a leaf.
func TestJourneySheetOfAll(t *testing.T) {
	for _, m := range carriage.Makes() {
		for _, goes := range carriage.Departures() {
			for n := range 8 {
				f := carriage.Fittings{Make: m, Box: true, Gimbals: n&1 > 0, Brake: n&2 > 0, Luminous: n&4 > 0, IvoryPlate: true, DarkWood: true, OnDeparture: goes, GoingH: 56, WeightKG: 9}
				d, err := journeySheet(t, leaf.Letter, f).Document()
				fewLeaves(t, d, err, 11)
			}
		}
	}
}

func TestJourneySheetWants(t *testing.T) {
	s := journeySheet(t, leaf.A4, twoDayInGimbals())
	s.Steps = nil
	if _, err := s.Document(); !errors.Is(err, paper.ErrWanting) || !strings.Contains(err.Error(), "its steps") {
		t.Errorf("without steps: %v", err)
	}
}

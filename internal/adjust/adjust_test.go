package adjust_test

import (
	"errors"
	"math"
	"strings"
	"testing"
	"time"

	"timeball/internal/adjust"
	"timeball/internal/chronometer"
	"timeball/internal/clock"
	"timeball/internal/lanternquay"
	"timeball/internal/reference"
	"timeball/internal/regulating"
	"timeball/internal/store"
	"timeball/internal/trial"
	"timeball/internal/trial/course"
	"timeball/internal/trial/programme"
	"timeball/internal/workshop"
)

var today = time.Date(2027, 3, 5, 9, 30, 0, 0, time.UTC)

func quay(t *testing.T) *workshop.Workshop {
	t.Helper()
	now := func() time.Time { return today }
	db, err := store.Open(t.Context(), t.TempDir(), now)
	if err != nil {
		t.Fatal(err)
	}
	w := workshop.New(db, reference.Plain(now))
	t.Cleanup(func() { w.Close(); db.Close() })
	if err := w.Fill(t.Context(), lanternquay.Entries(today)); err != nil {
		t.Fatal(err)
	}
	return w
}

func see(t *testing.T, w *workshop.Workshop, number string) workshop.Seen {
	t.Helper()
	seen, err := w.See(t.Context(), number)
	if err != nil {
		t.Fatal(err)
	}
	return seen
}

// TestTrialsOfTheQuay follows the two trials of the invented workshop. The
// coefficients of the simulated instruments are those it was told with: no. 306
// +0.006 s/d per °C and -0.004 s/d per °C² about 20 °C, so that the change per
// degree between 8 and 32 °C is 0.006 and the middle stands 12²·0.004 = 0.576
// above the straight line.
func TestTrialsOfTheQuay(t *testing.T) {
	w := quay(t)
	going, err := adjust.Latest(see(t, w, "417"))
	if err != nil {
		t.Fatal(err)
	}
	if going.Over() || going.Course.Today.State != course.Going || going.Course.Today.Day != 45 || going.Result.Verdict != trial.Open {
		t.Errorf("no. 417: %+v, %s", going.Course.Today, going.Result.Verdict)
	}
	for _, r := range going.Course.Remarks {
		t.Errorf("no. 417: %s: %s", r.Words, r.Effect)
	}
	done, err := adjust.Latest(see(t, w, "306"))
	if err != nil {
		t.Fatal(err)
	}
	if !done.Over() || done.Course.Broken != nil || done.Result.Verdict != trial.Kept {
		t.Errorf("no. 306: %+v, %s: %q", done.Course.Today, done.Result.Words, done.Result.Missing)
	}
	for _, f := range done.Result.Figures {
		switch f.Criterion.Name {
		case "change per degree":
			if math.Abs(f.Value-0.006) > 0.01 {
				t.Errorf("change per degree %.4f", f.Value)
			}
		case "middle temperature error":
			if math.Abs(f.Value-0.576) > 0.12 { // the wandering of five days
				t.Errorf("middle temperature error %.3f", f.Value)
			}
		}
	}
	if _, err := adjust.Latest(see(t, w, "58")); !errors.Is(err, adjust.ErrNoTrial) {
		t.Errorf("no. 58 has a trial: %v", err)
	}
}

// TestTheRatesOfATrialAreThoseOfItsComparisons works out each day again from
// the two comparisons it names.
func TestTheRatesOfATrialAreThoseOfItsComparisons(t *testing.T) {
	w := quay(t)
	tr, err := adjust.Latest(see(t, w, "306"))
	if err != nil {
		t.Fatal(err)
	}
	at := map[time.Time]float64{}
	for _, r := range tr.Course.Readings {
		at[r.At] = r.ErrorS
	}
	known := 0
	for _, d := range tr.Result.Days {
		if !d.Known {
			t.Errorf("day %d: %s", d.Number, d.Why)
			continue
		}
		known++
		rate, ok := clock.MeanRate(clock.DialError(at[d.From]), clock.DialError(at[d.To]), d.To.Sub(d.From))
		if !ok || math.Abs(float64(rate)-d.RateSPerDay) > 1e-9 {
			t.Errorf("day %d: %.6f, want %.6f", d.Number, d.RateSPerDay, rate)
		}
	}
	if known != 23 {
		t.Errorf("%d days known", known)
	}
}

// TestRegulateTheQuay reads what the turnings of the invented workshop did: no.
// 306 lost 2.55 for 0.15 of a turn and 1.64 for 0.1, about 16.7 a turn.
func TestRegulateTheQuay(t *testing.T) {
	w := quay(t)
	r := adjust.Regulate(see(t, w, "306"), "", regulating.UsualWish())
	if r.Part != regulating.TimingScrews || len(r.Turnings) != 2 || !r.RateKnown {
		t.Fatalf("%s, %d turnings, %v %s", r.Part, len(r.Turnings), r.RateKnown, r.Why)
	}
	e := r.Effect.PerTurn
	if e.Lo95 > -16.7 || e.Hi95 < -16.7 || e.SD > 4 {
		t.Errorf("effect %.1f ± %.1f a turn", e.Mean, e.Half())
	}
	if r.Advice.Turn {
		t.Errorf("no. 306 loses %.2f s a day and is to be turned: %s", -r.Now.Mean, r.Advice.Words)
	}
	far := adjust.Regulate(see(t, w, "88"), "", regulating.UsualWish())
	if far.Part != regulating.TimingNuts || len(far.Effect.Used) == 0 {
		t.Errorf("no. 88: %s, %d used, left out %+v", far.Part, len(far.Effect.Used), far.Effect.LeftOut)
	}
	none := adjust.Regulate(see(t, w, "73"), "", regulating.UsualWish())
	if none.RateKnown || none.Why == "" || none.Advice.Turn {
		t.Errorf("no. 73, not compared: %+v", none.Advice)
	}
}

// TestTogetherAtTheQuay compares three instruments of the morning round.
func TestTogetherAtTheQuay(t *testing.T) {
	w := quay(t)
	seens := []workshop.Seen{see(t, w, "12"), see(t, w, "306"), see(t, w, "58")}
	all, err := adjust.Book(seens, today)
	if err != nil {
		t.Fatal(err)
	}
	if len(all.Result.Pairs) != 3 || all.Result.Rows < 10 || all.BestOf != 3 {
		t.Errorf("%d pairs, %d rounds, best of %d", len(all.Result.Pairs), all.Result.Rows, all.BestOf)
	}
	readings := map[string]clock.DialReading{}
	for _, s := range seens {
		readings[s.Instrument.Number] = s.Instrument.ClockDial().Reading(today, clock.DialError(s.ErrorNow.Mean))
	}
	best, err := adjust.Dials(seens, today.Add(3*time.Second), readings, 0.1)
	if err != nil {
		t.Fatal(err)
	}
	if got := best.UTC.Sub(today).Seconds(); math.Abs(got) > 0.01 {
		t.Errorf("UTC is %.3f s off", got)
	}
}

// TestProgrammes writes a programme of one's own, with a typo first.
func TestProgrammes(t *testing.T) {
	w := quay(t)
	p, _ := programme.Find("three-temperatures")
	id, err := w.NewID(t.Context(), "", chronometer.KindProgramme)
	if err != nil {
		t.Fatal(err)
	}
	text := strings.Replace(p.Text, "name: three temperatures", "name: our three", 1)
	if _, err := adjust.KeepProgramme(t.Context(), w, id, "R. Halvane", id, strings.Replace(text, "settling_h", "setling_h", 1)); err == nil || !strings.Contains(err.Error(), "line ") || !strings.Contains(err.Error(), "settling_h") {
		t.Errorf("a typo: %v", err)
	}
	if _, err := adjust.KeepProgramme(t.Context(), w, id, "R. Halvane", id, p.Text); !errors.Is(err, chronometer.ErrRefused) {
		t.Errorf("a name taken: %v", err)
	}
	if _, err := adjust.KeepProgramme(t.Context(), w, id, "R. Halvane", id, text); err != nil {
		t.Fatal(err)
	}
	c, err := adjust.Choose(t.Context(), w, "Our three")
	if err != nil || c.Own != id {
		t.Errorf("%+v %v", c, err)
	}
	seen := see(t, w, "58")
	eid, err := w.NewID(t.Context(), seen.ID, chronometer.KindTrialBegun)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := adjust.Begin(t.Context(), w, eid, "R. Halvane", seen.ID, time.Time{}, string(id), ""); err != nil {
		t.Fatal(err)
	}
	begun, err := adjust.Latest(see(t, w, "58"))
	if err != nil || begun.Course.Today.State != course.Settling || len(begun.Course.Tasks) == 0 {
		t.Errorf("%+v %v", begun.Course.Today, err)
	}
	if _, err := adjust.Choose(t.Context(), w, "none such"); !errors.Is(err, workshop.ErrUnknown) {
		t.Errorf("%v", err)
	}
}

package lanternquay

import (
	"encoding/json"
	"math"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"timeball/internal/chronometer"
	"timeball/internal/clock"
	"timeball/internal/simulate"
	"timeball/internal/timescale"
)

// morning is when the workshop is looked at, unless a test says otherwise.
var morning = time.Date(2027, time.March, 4, 9, 14, 32, 123456789, time.UTC)

// instants are other days and hours at which the demonstration may be opened.
func instants() []time.Time {
	return []time.Time{
		morning,
		time.Date(2028, time.February, 29, 0, 0, 0, 0, time.UTC),
		time.Date(2026, time.July, 1, 23, 59, 59, 999999999, time.UTC),
		time.Date(2031, time.December, 31, 12, 0, 0, 0, time.FixedZone("", 5*3600)),
	}
}

// logbooks returns the logbooks of the instruments by their numbers.
func logbooks(t testing.TB, now time.Time) map[string]chronometer.Logbook {
	t.Helper()
	bySubject := map[chronometer.ID][]chronometer.Entry{}
	for _, e := range Entries(now) {
		bySubject[e.Subject] = append(bySubject[e.Subject], e)
	}
	books := map[string]chronometer.Logbook{}
	for _, entries := range bySubject {
		b := chronometer.NewLogbook(entries)
		if m, ok := b.Instrument(); ok {
			books[m.Number] = b
		} else if !entries[0].Kind().Begins() {
			t.Errorf("entries about neither an instrument, an owner nor an observer: %v", entries[0])
		}
	}
	if len(books) != len(stories) {
		t.Fatalf("%d instruments, %d stories", len(books), len(stories))
	}
	return books
}

func TestTheSameInstantGivesTheSameEntries(t *testing.T) {
	a, err := json.Marshal(Entries(morning))
	if err != nil {
		t.Fatal(err)
	}
	b, err := json.Marshal(Entries(morning.In(time.FixedZone("", -7*3600))))
	if err != nil {
		t.Fatal(err)
	}
	if string(a) != string(b) {
		t.Error("two tellings at one instant differ")
	}
	var back []chronometer.Entry
	if err := json.Unmarshal(a, &back); err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(Entries(morning), back); diff != "" {
		t.Errorf("not the same when read back: %s", diff)
	}
}

// Every logbook could have been written one entry after another.
func TestEveryEntryIsAdmitted(t *testing.T) {
	for _, now := range instants() {
		books := map[chronometer.ID][]chronometer.Entry{}
		ids := map[chronometer.ID]bool{}
		owners, observers, measured := map[chronometer.ID]bool{}, map[chronometer.ID]bool{}, 0
		var oldest, newest time.Time
		for _, e := range Entries(now) {
			if err := e.Check(); err != nil {
				t.Fatal(err)
			}
			if err := chronometer.NewLogbook(books[e.Subject]).Admits(e, e.Written); err != nil {
				t.Fatalf("%s at %s: %v", e.Kind(), e.At, err)
			}
			if ids[e.ID] || e.Written.Before(e.At) || e.Written.After(now) {
				t.Fatalf("entry %s of %s, written %s, opened %s", e.ID, e.At, e.Written, now)
			}
			if written, _ := e.ID.Written(); e.Written.Sub(written) >= time.Millisecond {
				t.Fatalf("the ID says written %s, the entry %s", written, e.Written)
			}
			switch f := e.Fact.(type) {
			case chronometer.Owner:
				owners[e.ID] = true
			case chronometer.Equation:
				measured++
				observers[e.Subject] = true
			case chronometer.Instrument:
				if f.Owner != "" && !owners[f.Owner] {
					t.Fatalf("No. %s belongs to nobody entered before it", f.Number)
				}
			}
			ids[e.ID] = true
			books[e.Subject] = append(books[e.Subject], e)
			if oldest.IsZero() {
				oldest = e.At
			}
			newest = e.At
		}
		if age := timescale.Days(oldest, now); age < 375 || age > 381 {
			t.Errorf("the records go back %.1f d", age)
		}
		if age := now.Sub(newest); age > time.Hour {
			t.Errorf("the last entry is %s old", age)
		}
		if n := len(books) - len(owners) - len(observers); len(owners) < 5 || n < 9 {
			t.Errorf("%d owners, %d instruments", len(owners), n)
		}
		if measured != 4 || len(observers) != 3 {
			t.Errorf("%d personal equations of %d observers, want 4 of 3", measured, len(observers))
		}
	}
}

func TestSimulationsFollowTheirSchedules(t *testing.T) {
	for _, b := range open(morning).tell() {
		if err := b.inst.Err(); err != nil {
			t.Errorf("No. %s: %v", b.made.Number, err)
		}
		if s := chronometer.NewLogbook(b.entries).State(); (s.Motion == chronometer.Going) != b.inst.Going() {
			t.Errorf("No. %s: the logbook says %s, the instrument goes: %v", b.made.Number, s.Motion, b.inst.Going())
		}
	}
}

func TestStoriesEndAsTold(t *testing.T) {
	for _, now := range instants() {
		books := logbooks(t, now)
		for _, c := range []struct {
			number  string
			motion  chronometer.Motion
			station chronometer.Station
			verb    string
			late    bool
			least   int // comparisons in the present run
		}{
			{"12", chronometer.Going, chronometer.Bench, "Wind", false, 200},
			{"417", chronometer.Going, chronometer.Trial, "Wind", false, 60},
			{"2260", chronometer.Going, chronometer.Home, "Compare", false, 12},
			{"1102", chronometer.Going, chronometer.Home, "Wind", false, 30},
			{"58", chronometer.Going, chronometer.Bench, "Wind", true, 45},
			{"73", chronometer.StoodStill, chronometer.Bench, "Start", false, 0},
			{"731", chronometer.Going, chronometer.Trial, "Compare", false, 40},
			{"88", chronometer.Going, chronometer.Bench, "Compare", true, 50},
			{"1906", chronometer.Going, chronometer.Bench, "Wind", false, 4},
			{"640", chronometer.BalanceHeld, chronometer.Carriage, "Receive", false, 30},
			{"219 L", chronometer.StoodStill, chronometer.Home, "Ask", false, 7},
		} {
			m, _ := books[c.number].Instrument()
			s := books[c.number].State()
			if s.Motion != c.motion || s.Station != c.station || s.Compares < c.least {
				t.Errorf("No. %s at %s: %s %s, %d comparisons", c.number, now, s.Motion, s.Station, s.Compares)
			}
			next := chronometer.Next(m, s, nil, now)
			if len(next) == 0 || next[0].Verb != c.verb || next[0].Late != c.late {
				t.Errorf("No. %s at %s: next %+v, want %s, late: %v", c.number, now, next, c.verb, c.late)
			}
		}
		if s := books["73"].State(); !s.JobOpen || !s.Worked {
			t.Errorf("No. 73: job open %v, worked %v", s.JobOpen, s.Worked)
		}
		if m, _ := books["88"].Instrument(); m.GoingWords() != "eight-day" {
			t.Errorf("No. 88 is a %s", m.GoingWords())
		}
	}
}

func TestTheRoundHasManyThingsToDo(t *testing.T) {
	verbs := map[string]bool{}
	for _, b := range open(morning).tell() {
		book := chronometer.NewLogbook(b.entries)
		if next := chronometer.Next(b.made, book.State(), nil, morning); len(next) > 0 {
			verbs[next[0].Verb] = true
		}
	}
	if len(verbs) < 5 {
		t.Errorf("only %v", verbs)
	}
}

// The ketch's dial is nearly half a minute slow, and so its hand is due before
// its next comparison is.
func TestTheKetchMustMoveTheHand(t *testing.T) {
	for _, now := range instants() {
		for _, b := range open(now).tell() {
			if b.made.Number != "2260" {
				continue
			}
			known := &chronometer.Known{ErrorS: float64(b.inst.Error(b.now)), RateSPerDay: float64(b.inst.Rate(b.now))}
			days := (known.ErrorS + 30) / -known.RateSPerDay
			known.MoveFrom = now.Add(time.Duration(days * float64(clock.Day)))
			known.MoveTo = known.MoveFrom.Add(2 * clock.Day)
			next := chronometer.Next(b.made, chronometer.NewLogbook(b.entries).State(), known, now)
			if next[0].Verb != "Move hand" || next[0].Due.Sub(now) > 7*clock.Day || known.ErrorS < -30 {
				t.Errorf("%s: error %.1f s, rate %.2f s/d, next %+v", now, known.ErrorS, known.RateSPerDay, next[0])
			}
		}
	}
}

// point is one comparison that stands, with the error continued through the
// known movements of the hands.
type point struct {
	at     time.Time
	errorS float64
	tempC  float64
	c      chronometer.Compared
}

// points returns the standing comparisons of the last run of a logbook but
// back, 0 for the last itself.
func points(b chronometer.Logbook, back int) []point {
	m, _ := b.Instrument()
	runs := b.Runs()
	run := runs[len(runs)-1-back]
	var found []point
	moved, near := 0.0, clock.DialError(0)
	for _, e := range b.Standing() {
		if e.At.Before(run.From) || e.At.After(run.To) {
			continue
		}
		switch f := e.Fact.(type) {
		case chronometer.Moved:
			moved += f.ByS
			near += clock.DialError(f.ByS)
		case chronometer.Compared:
			p := point{at: e.At, c: f}
			if r, ok := f.Reading(); ok {
				near = m.ClockDial().Error(r, e.At, near)
				p.errorS = float64(near) - moved
			} else {
				p.errorS = *f.ErrorS - moved
			}
			if f.TempC != nil {
				p.tempC = *f.TempC
			}
			found = append(found, p)
		}
	}
	return found
}

// Against the mean of its neighbours a good daily reading is out by its noise
// of a few tenths; the three large slips stand in one record alone.
func TestOnlyOneRecordIsMisread(t *testing.T) {
	for number, b := range logbooks(t, morning) {
		if number == "73" {
			continue
		}
		var out []float64
		slips := map[float64]bool{}
		p := points(b, 0)
		for i := 1; i+1 < len(p); i++ {
			span, part := timescale.Days(p[i-1].at, p[i+1].at), timescale.Days(p[i-1].at, p[i].at)
			if span > 8 {
				continue
			}
			miss := p[i].errorS - p[i-1].errorS - (p[i+1].errorS-p[i-1].errorS)*part/span
			if math.Abs(miss) > 4 {
				out = append(out, math.Round(miss))
			}
			swapped := 0.0
			if p[i].c.ErrorS != nil {
				swapped = 2 * *p[i].c.ErrorS
			}
			for _, slip := range []float64{60, -10, swapped} {
				if slip != 0 && math.Abs(miss-slip) < 1.5 {
					slips[slip] = true
				}
			}
		}
		switch {
		case number != "58" && len(out) > 0:
			t.Errorf("No. %s: readings out by %v s", number, out)
		case number == "58" && (len(slips) != 3 || len(out) != 9): // each slip shows at its neighbours too
			t.Errorf("No. 58: readings out by %v s, want one of 60, one of -10 and one of fast for slow", out)
		}
	}
}

// The stages of the oven show the coefficients that the instrument has: the
// mean rates of ten days differ from them by the noise of the rate, near 0.08
// s/d for the difference of two.
func TestTheOvenShowsTheCoefficients(t *testing.T) {
	p := points(logbooks(t, morning)["417"], 0)
	rate := func(c float64) float64 {
		var in []point
		for i := range p {
			// The first reading of a stage follows the change by a day, less two hours.
			if math.Abs(p[i].tempC-c) < 1 && p[i].at.After(morning.AddDate(0, 0, -46)) && (c != 18 || p[i].at.After(morning.AddDate(0, 0, -13))) {
				in = append(in, p[i])
			}
		}
		last := in[len(in)-1]
		return (last.errorS - in[0].errorS) / timescale.Days(in[0].at, last.at)
	}
	law := func(c float64) float64 { u := c - simulate.ReferenceC; return 0.026*u - 0.009*u*u }
	for _, c := range []float64{8, 28} {
		got, want := rate(c)-rate(18), law(c)-law(18)
		if math.Abs(got-want) > 0.32 {
			t.Errorf("%g °C less 18 °C: %.2f s/d, the instrument has %.2f", c, got, want)
		}
	}
	for _, e := range logbooks(t, morning)["417"].Entries() {
		if f, ok := e.Fact.(chronometer.Placed); ok && f.TempC == nil {
			t.Errorf("laid %s at %s without a temperature", f.Where, e.At)
		}
	}
}

// The carriage changed the rate by 0.62 s/d; the means of three and six weeks
// tell it to about √(2σwσr + σr²·7) and their own noise, 0.07 s/d together.
func TestTheCarriageChangedTheRate(t *testing.T) {
	b := logbooks(t, morning)["1102"]
	rate := func(p []point) float64 {
		last := p[len(p)-1]
		return (last.errorS - p[0].errorS) / timescale.Days(p[0].at, last.at)
	}
	if got := rate(points(b, 0)) - rate(points(b, 1)); math.Abs(got-0.62) > 0.28 {
		t.Errorf("the rate changed by %.2f s/d", got)
	}
}

func TestStruckOutWithItsReason(t *testing.T) {
	struck := 0
	for _, b := range logbooks(t, morning) {
		for _, e := range b.Entries() {
			if by, ok := b.StruckOut(e.ID); ok {
				struck++
				if by.Fact.Words() == "" || e.Kind() != chronometer.KindCompared {
					t.Errorf("%s struck out: %q", e.Kind(), by.Fact.Words())
				}
			}
		}
	}
	if struck != 1 {
		t.Errorf("%d entries struck out", struck)
	}
}

// What can hurt is done by a licensed hand under the rules of the place.
func TestDangerousWorkIsDoneByALicensedHand(t *testing.T) {
	danger := regexp.MustCompile(`(?i)mainspring|solvent|let down|luminous|radium`)
	seen := 0
	for _, e := range Entries(morning) {
		switch e.Kind() {
		case chronometer.KindWorkDone, chronometer.KindFound:
		default:
			continue
		}
		if text := e.Fact.Words(); danger.MatchString(text) {
			seen++
			if !strings.Contains(text, "licensed") || !strings.Contains(text, "rules") {
				t.Errorf("no licensed hand or no rules: %s", text)
			}
		}
	}
	if seen < 4 {
		t.Errorf("only %d entries about dangerous work", seen)
	}
}

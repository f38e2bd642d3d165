package workshop_test

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"timeball/internal/archive"
	"timeball/internal/chronometer"
	"timeball/internal/lanternquay"
	"timeball/internal/ratebook"
	"timeball/internal/reference"
	"timeball/internal/store"
	"timeball/internal/workshop"
)

var now = time.Date(2027, 3, 4, 9, 14, 0, 0, time.UTC)

func clockNow() time.Time { return now }

// open returns a workshop over an empty folder.
func open(t testing.TB) *workshop.Workshop {
	t.Helper()
	db, err := store.Open(t.Context(), t.TempDir(), clockNow)
	if err != nil {
		t.Fatal(err)
	}
	w := workshop.New(db, reference.Plain(clockNow))
	t.Cleanup(func() {
		w.Close()
		if err := db.Close(); err != nil {
			t.Error(err)
		}
	})
	return w
}

func enter(t testing.TB, w *workshop.Workshop, number string) chronometer.ID {
	t.Helper()
	id, err := w.Enter(t.Context(), "keeper", chronometer.Instrument{Number: number, Make: chronometer.BoxChronometer, Beat: chronometer.HalfSecond, Dial: chronometer.Twelve, GoingH: 56})
	if err != nil {
		t.Fatal(err)
	}
	return id
}

// month is a rate book of 20 days losing 0.7 s/d, ending an hour before now.
func month(slip int) string {
	var b strings.Builder
	b.WriteString("utc,dial,sd_s\n")
	for i := range 20 {
		at := now.Add(-time.Hour).AddDate(0, 0, i-19)
		dial := at.Add(time.Duration((12 - 0.7*float64(i)) * float64(time.Second)))
		if i == slip {
			dial = dial.Add(time.Minute)
		}
		fmt.Fprintf(&b, "%s,%s,0.1\n", at.Format(time.RFC3339), dial.Format("15:04:05.0"))
	}
	return b.String()
}

func TestBringingInARateBook(t *testing.T) {
	w := open(t)
	id := enter(t, w, "417")
	p, err := w.Preview(t.Context(), id, "keeper", strings.NewReader(month(8)))
	if err != nil {
		t.Fatal(err)
	}
	if p.New != 20 || p.Held != 0 || p.Rating == nil || len(p.SetAside) != 1 || p.SetAside[0].Ref != "10" {
		t.Fatalf("preview: %d new, %d held, set aside %+v, %s", p.New, p.Held, p.SetAside, p.Why)
	}
	if seen, err := w.See(t.Context(), "417"); err != nil || seen.Logbook.Len() != 1 {
		t.Fatalf("a preview saved something: %d entries, %v", seen.Logbook.Len(), err)
	}
	if n, err := w.Import(t.Context(), id, "keeper", strings.NewReader(month(8))); err != nil || n != 20 {
		t.Fatalf("%d, %v", n, err)
	}
	if n, err := w.Import(t.Context(), id, "another", strings.NewReader(month(8))); err != nil || n != 0 {
		t.Errorf("the same file again: %d new, %v", n, err)
	}
	seen, err := w.See(t.Context(), "417")
	if err != nil {
		t.Fatal(err)
	}
	if !seen.Current || seen.Rating.Used != 19 || seen.Rating.Rate.Mean > -0.5 || seen.Rating.Rate.Mean < -0.9 {
		t.Fatalf("seen %+v", seen.Rating)
	}
	if e := seen.ErrorNow; !(e.SD > 0) || e.Mean < -3 || e.Mean > 0 {
		t.Errorf("error now %+v", e)
	}
	// What the calculation set aside, the keeper may use.
	aside := chronometer.ID(seen.Rating.SetAside[0].Ref)
	if _, err := w.Write(t.Context(), "keeper", id, now, chronometer.Upheld{Entry: aside, Why: "two of us read it"}); err != nil {
		t.Fatal(err)
	}
	if seen, err = w.See(t.Context(), "417"); err != nil || seen.Rating.Used+len(seen.Rating.SetAside) != 20 {
		t.Fatal(err)
	}
	for _, s := range seen.Rating.SetAside {
		if s.Ref == string(aside) {
			t.Error("an upheld comparison is set aside")
		}
	}
	// Struck out, it is gone from the rating and legible in the book.
	if _, err := w.Write(t.Context(), "keeper", id, now, chronometer.StruckOut{Entry: aside, Why: "read the wrong dial"}); err != nil {
		t.Fatal(err)
	}
	if seen, err = w.See(t.Context(), "417"); err != nil || seen.Rating.Comparisons != 19 || seen.Logbook.Len() != 23 {
		t.Errorf("%d comparisons, %d entries, %v", seen.Rating.Comparisons, seen.Logbook.Len(), err)
	}
}

func TestBadFileBringsNothing(t *testing.T) {
	w := open(t)
	id := enter(t, w, "417")
	bad := month(-1) + "2027-03-04T09:13:00Z,13:61:00,0.1\n"
	var row *ratebook.Error
	if _, err := w.Import(t.Context(), id, "keeper", strings.NewReader(bad)); !errors.As(err, &row) || row.Line != 22 || row.Column != "dial" {
		t.Errorf("%v", err)
	}
	for file, says := range map[string]string{
		"utc,dial\n2027-03-04T09:00:00Z,13:30:00\n":                  "does not show 13:30:00",
		"utc,error_s,event\n2027-03-04T09:00:00Z,,hands moved +17\n": "not whole minutes",
	} {
		if _, err := w.Import(t.Context(), id, "keeper", strings.NewReader(file)); !errors.As(err, &row) || row.Line != 2 || !strings.Contains(err.Error(), says) {
			t.Errorf("%q: %v", file, err)
		}
	}
	late := "utc,error_s\n2027-03-05T09:00:00Z,3\n"
	if _, err := w.Import(t.Context(), id, "keeper", strings.NewReader(late)); !errors.As(err, &row) || !strings.Contains(err.Error(), "future") {
		t.Errorf("%v", err)
	}
	if seen, err := w.See(t.Context(), "417"); err != nil || seen.Logbook.Len() != 1 {
		t.Errorf("%d entries, %v", seen.Logbook.Len(), err)
	}
}

func TestRefusals(t *testing.T) {
	w := open(t)
	id := enter(t, w, "417")
	if _, err := w.See(t.Context(), "9"); !errors.Is(err, workshop.ErrUnknown) {
		t.Errorf("%v", err)
	}
	if _, err := w.Write(t.Context(), "keeper", id, now.Add(time.Hour), chronometer.Wound{}); !errors.Is(err, chronometer.ErrRefused) {
		t.Errorf("in the future: %v", err)
	}
	if _, err := w.Write(t.Context(), "", id, now, chronometer.Wound{}); !errors.Is(err, chronometer.ErrEntry) {
		t.Errorf("nobody: %v", err)
	}
	// Two makers may have used the same number; one maker did not.
	twin := chronometer.Instrument{Number: "417", Make: chronometer.DeckWatch, Beat: chronometer.FifthSecond, Dial: chronometer.Twelve, GoingH: 36}
	if _, err := w.Enter(t.Context(), "keeper", twin); !errors.Is(err, chronometer.ErrRefused) {
		t.Errorf("the same number twice: %v", err)
	}
	twin.Maker = "Corvane & Dray, Skerrow"
	other, err := w.Enter(t.Context(), "keeper", twin)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := w.See(t.Context(), "417"); !errors.Is(err, workshop.ErrUnknown) || !strings.Contains(err.Error(), "2 instruments") {
		t.Errorf("%v", err)
	}
	if seen, err := w.See(t.Context(), string(other)); err != nil || seen.ID != other {
		t.Errorf("by ID: %v, %v", seen.ID, err)
	}
}

// TestRoomOfLanternQuay: each instrument of the demonstration has what its
// story promises, and the actions differ.
func TestRoomOfLanternQuay(t *testing.T) {
	w := open(t)
	if err := w.Fill(t.Context(), lanternquay.Entries(now)); err != nil {
		t.Fatal(err)
	}
	var room workshop.Room
	var err error
	for range 20 {
		if room, err = w.Room(t.Context()); err != nil {
			t.Fatal(err)
		}
		if room.Pending == 0 {
			break
		}
	}
	if room.Pending > 0 || len(room.Instruments) < 8 {
		t.Fatalf("%d instruments, %d pending", len(room.Instruments), room.Pending)
	}
	verbs := map[string]bool{}
	for i, s := range room.Instruments {
		if len(s.Next) == 0 {
			t.Errorf("No. %s: nothing to do ever", s.Instrument.Number)
			continue
		}
		verbs[s.Next[0].Verb] = true
		if s.Current && !(s.ErrorNow.SD > 0 && s.In30Days.SD > s.ErrorNow.SD) {
			t.Errorf("No. %s: now %+v, in 30 days %+v", s.Instrument.Number, s.ErrorNow, s.In30Days)
		}
		if !s.Current && s.State.Motion == chronometer.Going && s.Why == "" {
			t.Errorf("No. %s goes, its error is not known and nothing says why", s.Instrument.Number)
		}
		if i > 0 && !room.Instruments[i-1].Next[0].Stop && s.Next[0].Stop {
			t.Errorf("No. %s: a warning below what is only due", s.Instrument.Number)
		}
	}
	if len(verbs) < 5 {
		t.Errorf("actions %v", verbs)
	}
	owners, err := w.Owners(t.Context())
	if err != nil || len(owners) < 4 {
		t.Fatalf("%d owners, %v", len(owners), err)
	}
	held := 0
	for _, o := range owners {
		held += len(o.Instruments)
	}
	if held < 8 {
		t.Errorf("owners have %d instruments", held)
	}
}

// TestRoomFollowsEveryWrite: after each of many entries the room is that of
// the logbook as it stands.
func TestRoomFollowsEveryWrite(t *testing.T) {
	w := open(t)
	id := enter(t, w, "417")
	for i := range 40 {
		if _, err := w.Write(t.Context(), "keeper", id, now.Add(-time.Minute), chronometer.Temperature{TempC: float64(i)}); err != nil {
			t.Fatal(err)
		}
		room, err := w.Room(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		if s := room.Instruments[0]; s.Pending || s.State.TempC == nil || *s.State.TempC != float64(i) {
			t.Fatalf("after %d entries: pending %v, state %+v", i+1, s.Pending, s.State.TempC)
		}
	}
}

// TestManyAtOnce writes from many goroutines while others read.
func TestManyAtOnce(t *testing.T) {
	w := open(t)
	id := enter(t, w, "417")
	if _, err := w.Import(t.Context(), id, "keeper", strings.NewReader(month(-1))); err != nil {
		t.Fatal(err)
	}
	var group sync.WaitGroup
	for i := range 8 {
		group.Go(func() {
			for j := range 10 {
				if _, err := w.Write(t.Context(), "keeper", id, now.Add(-time.Duration(10*i+j)*time.Second), chronometer.Note{Text: fmt.Sprint(i, j)}); err != nil {
					t.Error(err)
				}
				if _, err := w.Room(t.Context()); err != nil {
					t.Error(err)
				}
			}
		})
	}
	group.Wait()
	if seen, err := w.See(t.Context(), "417"); err != nil || seen.Logbook.Len() != 101 {
		t.Errorf("%d entries, %v", seen.Logbook.Len(), err)
	}
}

// TestExportComesBack: pictures and all, byte for byte.
func TestExportComesBack(t *testing.T) {
	w := open(t)
	id := enter(t, w, "417")
	picID, err := w.NewID(t.Context(), id, chronometer.KindPhotograph)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := w.Attach(t.Context(), picID, "keeper", id, now, "dial.jpg", "the dial", bytes.NewReader(dialPicture(t))); err != nil {
		t.Fatal(err)
	}
	var first, second bytes.Buffer
	if err := w.Export(t.Context(), &first); err != nil {
		t.Fatal(err)
	}
	a, err := archive.Read(bytes.NewReader(first.Bytes()), int64(first.Len()))
	if err != nil {
		t.Fatal(err)
	}
	other := open(t)
	if n, err := other.BringIn(t.Context(), a); err != nil || n != 2 {
		t.Fatalf("%d, %v", n, err)
	}
	if err := other.Export(t.Context(), &second); err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(first.Bytes(), second.Bytes()) {
		t.Error("the second export differs")
	}
	if r, err := other.Verify(context.Background()); err != nil || !r.Whole() {
		t.Errorf("%+v, %v", r, err)
	}
}

// TestSentTwice: what comes twice under one ID is written once.
func TestSentTwice(t *testing.T) {
	w := open(t)
	id := enter(t, w, "417")
	newID := func(subject chronometer.ID, kind chronometer.Kind) chronometer.ID {
		t.Helper()
		id, err := w.NewID(t.Context(), subject, kind)
		if err != nil {
			t.Fatal(err)
		}
		return id
	}
	entries := func() int {
		t.Helper()
		seen, err := w.See(t.Context(), "417")
		if err != nil {
			t.Fatal(err)
		}
		return seen.Logbook.Len()
	}
	var e3, e4 = 3.0, 4.0
	compared, err := w.WriteOnce(t.Context(), newID(id, chronometer.KindCompared), "keeper", id, now.Add(-time.Hour), chronometer.Compared{ErrorS: &e3})
	if err != nil {
		t.Fatal(err)
	}
	again := e3
	if e, err := w.WriteOnce(t.Context(), compared.ID, "keeper", id, now.Add(-time.Hour), chronometer.Compared{ErrorS: &again}); err != nil || e.ID != compared.ID || !e.At.Equal(compared.At) {
		t.Errorf("the same again: %+v, %v", e, err)
	}
	for name, try := range map[string]struct {
		by   string
		at   time.Time
		fact chronometer.Fact
	}{
		"another error":   {"keeper", now.Add(-time.Hour), chronometer.Compared{ErrorS: &e4}},
		"another instant": {"keeper", now.Add(-time.Minute), chronometer.Compared{ErrorS: &e3}},
		"no instant":      {"keeper", time.Time{}, chronometer.Compared{ErrorS: &e3}},
		"another hand":    {"learner", now.Add(-time.Hour), chronometer.Compared{ErrorS: &e3}},
		"another kind":    {"keeper", now.Add(-time.Hour), chronometer.Note{Text: "x"}},
	} {
		if _, err := w.WriteOnce(t.Context(), compared.ID, try.by, id, try.at, try.fact); !errors.Is(err, chronometer.ErrRefused) || !strings.Contains(err.Error(), "with other content") {
			t.Errorf("%s: %v", name, err)
		}
	}
	other := enter(t, w, "88")
	if _, err := w.WriteOnce(t.Context(), compared.ID, "keeper", other, now, chronometer.Note{Text: "x"}); !errors.Is(err, chronometer.ErrRefused) {
		t.Errorf("of another instrument: %v", err)
	}
	if _, err := w.WriteOnce(t.Context(), compared.ID, "keeper", compared.ID, now, chronometer.Owner{Name: "Ines Varga"}); !errors.Is(err, chronometer.ErrRefused) {
		t.Errorf("as the beginning of a logbook: %v", err)
	}
	if n := entries(); n != 2 {
		t.Fatalf("%d entries, want 2", n)
	}

	// Upheld and struck out, which the logbook would refuse a second time.
	for _, fact := range []chronometer.Fact{chronometer.Upheld{Entry: compared.ID, Why: "seen"}, chronometer.StruckOut{Entry: compared.ID, Why: "the wrong dial"}} {
		write := newID(id, fact.Kind())
		if write < compared.ID {
			t.Errorf("%s: the ID is earlier than what it names", fact.Kind())
		}
		for range 2 {
			if _, err := w.WriteOnce(t.Context(), write, "keeper", id, time.Time{}, fact); err != nil {
				t.Error(err)
			}
		}
		if _, err := w.WriteOnce(t.Context(), newID(id, fact.Kind()), "keeper", id, time.Time{}, fact); !errors.Is(err, chronometer.ErrRefused) {
			t.Errorf("%s a second time: %v", fact.Kind(), err)
		}
	}
	note, err := w.Write(t.Context(), "keeper", id, now, chronometer.Note{Text: "later"})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := w.WriteOnce(t.Context(), "01ARZ3NDEKTSV4RRFFQ69G5FAV", "keeper", id, time.Time{}, chronometer.StruckOut{Entry: note.ID, Why: "x"}); !errors.Is(err, chronometer.ErrRefused) {
		t.Errorf("an ID earlier than what it strikes out: %v", err)
	}

	// Particulars begun before others wrote theirs would be lost behind them.
	made := chronometer.Instrument{Number: "417", Make: chronometer.BoxChronometer, Beat: chronometer.HalfSecond, Dial: chronometer.Twelve, GoingH: 56, Notes: "first"}
	first := newID(id, chronometer.KindEntered)
	second := newID(id, chronometer.KindEntered)
	for range 2 {
		if _, err := w.WriteOnce(t.Context(), second, "keeper", id, time.Time{}, made); err != nil {
			t.Error(err)
		}
	}
	if _, err := w.WriteOnce(t.Context(), first, "keeper", id, time.Time{}, made); !errors.Is(err, chronometer.ErrRefused) || !strings.Contains(err.Error(), "anew") {
		t.Errorf("behind others: %v", err)
	}

	// A picture, and an instrument that is entered.
	picture := newID(id, chronometer.KindPhotograph)
	for range 2 {
		if _, err := w.Attach(t.Context(), picture, "keeper", id, time.Time{}, "dial.jpg", "the dial", bytes.NewReader(dialPicture(t))); err != nil {
			t.Error(err)
		}
	}
	if n := entries(); n != 7 {
		t.Errorf("%d entries, want entered twice, compared, upheld, struck out, note and picture", n)
	}
	opened := newID("", chronometer.KindEntered)
	made.Number = "731"
	for range 2 {
		if e, err := w.WriteOnce(t.Context(), opened, "keeper", opened, time.Time{}, made); err != nil || e.Subject != opened {
			t.Errorf("entered: %+v, %v", e, err)
		}
	}
	if room, err := w.Room(t.Context()); err != nil || len(room.Instruments) != 3 {
		t.Errorf("%d instruments, want 3: %v", len(room.Instruments), err)
	}
	if _, err := w.WriteOnce(t.Context(), "nothing", "keeper", id, time.Time{}, chronometer.Note{Text: "x"}); !errors.Is(err, chronometer.ErrEntry) {
		t.Errorf("no ID: %v", err)
	}
}

// TestSentTwiceAtOnce: the second may come before the first is done.
func TestSentTwiceAtOnce(t *testing.T) {
	var ticks atomic.Int64 // each arrival has an instant of its own
	ticking := func() time.Time { return now.Add(time.Duration(ticks.Add(1)) * time.Microsecond) }
	db, err := store.Open(t.Context(), t.TempDir(), ticking)
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	w := workshop.New(db, reference.Plain(ticking))
	defer w.Close()
	id := enter(t, w, "417")
	write, err := w.NewID(t.Context(), id, chronometer.KindStopped)
	if err != nil {
		t.Fatal(err)
	}
	var group sync.WaitGroup
	for range 8 {
		group.Go(func() {
			if e, err := w.WriteOnce(t.Context(), write, "keeper", id, time.Time{}, chronometer.Stopped{Why: "run down"}); err != nil || e.ID != write {
				t.Error(e, err)
			}
		})
	}
	group.Wait()
	if seen, err := w.See(t.Context(), "417"); err != nil || seen.Logbook.Len() != 2 {
		t.Errorf("%d entries, %v", seen.Logbook.Len(), err)
	}
}

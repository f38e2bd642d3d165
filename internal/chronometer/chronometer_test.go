package chronometer_test

import (
	"encoding/json"
	"errors"
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/oklog/ulid/v2"
	"pgregory.net/rapid"

	"timeball/internal/chronometer"
)

var start = time.Date(2027, 1, 18, 9, 0, 0, 0, time.UTC)

// book writes entries with ascending IDs, one a minute.
type book struct {
	t       testing.TB
	n       int
	subject chronometer.ID
	entries []chronometer.Entry
}

func newBook(t testing.TB) *book {
	b := &book{t: t}
	b.subject = b.write(0, instrument()).ID
	b.entries[0].Subject = b.subject
	return b
}

func (b *book) id() chronometer.ID {
	b.n++
	var u ulid.ULID
	_ = u.SetTime(uint64(start.UnixMilli()) + uint64(b.n))
	u[15] = byte(b.n)
	return chronometer.ID(u.String())
}

func (b *book) write(days float64, fact chronometer.Fact) chronometer.Entry {
	e := b.entry(days, fact)
	b.entries = append(b.entries, e)
	return e
}

// entry returns an entry that is not written yet.
func (b *book) entry(days float64, fact chronometer.Fact) chronometer.Entry {
	at := start.Add(time.Duration(days * 24 * float64(time.Hour)))
	id := b.id()
	e := chronometer.Entry{ID: id, Subject: b.subject, At: at, Written: at, By: "bench", Fact: fact}
	if b.subject == "" {
		e.Subject = id
	}
	return e
}

func (b *book) log() chronometer.Logbook { return chronometer.NewLogbook(b.entries) }

func instrument() chronometer.Instrument {
	return chronometer.Instrument{Number: "417", Maker: "Corvane", Make: chronometer.BoxChronometer, Beat: chronometer.HalfSecond, Dial: chronometer.Twelve, GoingH: 56}
}

func compared(e float64) chronometer.Compared { return chronometer.Compared{ErrorS: &e, SDS: 0.1} }

func TestStateFollowsEntries(t *testing.T) {
	for _, c := range []struct {
		name  string
		write func(b *book)
		want  func(chronometer.State) error
	}{
		{"new", func(b *book) {}, func(s chronometer.State) error {
			return is(s.Motion, chronometer.NotKnown)
		}},
		{"going since the first comparison", func(b *book) { b.write(1, compared(3)) }, func(s chronometer.State) error {
			return errors.Join(is(s.Motion, chronometer.Going), is(s.MotionKnown, false), is(s.Runs, 1), is(s.Station, chronometer.Bench))
		}},
		{"stopped for work", func(b *book) { b.write(1, compared(3)); b.write(2, chronometer.Stopped{Why: "for work"}) }, func(s chronometer.State) error {
			return is(s.Motion, chronometer.StoodStill)
		}},
		{"held, packed, sent", func(b *book) {
			b.write(1, chronometer.Held{With: chronometer.Brake})
			b.write(1.1, chronometer.Packed{How: "dial up in a double box"})
			b.write(1.2, chronometer.Sent{To: "Veyre"})
		}, func(s chronometer.State) error {
			return errors.Join(is(s.Motion, chronometer.BalanceHeld), is(s.Station, chronometer.Carriage), is(s.Packed, true), is(s.JobOpen, false))
		}},
		{"received at the bench opens a job", func(b *book) { b.write(1, chronometer.Received{Station: chronometer.Bench}) }, func(s chronometer.State) error {
			return errors.Join(is(s.JobOpen, true), is(s.Station, chronometer.Bench))
		}},
		{"released stands still until started", func(b *book) {
			b.write(1, chronometer.Held{With: chronometer.Wedge})
			b.write(2, chronometer.Released{})
		}, func(s chronometer.State) error { return is(s.Motion, chronometer.StoodStill) }},
		{"in a trial, dial down", func(b *book) {
			b.write(1, chronometer.Placed{Station: chronometer.Trial, Position: chronometer.DialDown})
		}, func(s chronometer.State) error {
			return errors.Join(is(s.Station, chronometer.Trial), is(s.Position, chronometer.DialDown))
		}},
	} {
		b := newBook(t)
		c.write(b)
		if err := c.want(b.log().State()); err != nil {
			t.Errorf("%s: %v", c.name, err)
		}
	}
}

func is[T comparable](got, want T) error {
	if got != want {
		return fmt.Errorf("got %v, want %v", got, want)
	}
	return nil
}

func TestRuns(t *testing.T) {
	b := newBook(t)
	b.write(1, compared(3))
	b.write(2, compared(2))
	b.write(3, chronometer.Moved{ByS: 60})
	b.write(4, compared(61))
	b.write(5, chronometer.Stopped{Why: "run down"})
	b.write(6, chronometer.Started{})
	b.write(7, compared(0))
	b.write(8, chronometer.Regulated{What: "timing screws"})
	b.write(9, compared(0))
	type short struct{ Begun, Ended chronometer.Kind }
	var got []short
	for _, r := range b.log().Runs() {
		got = append(got, short{r.Begun, r.Ended})
	}
	want := []short{
		{chronometer.KindCompared, chronometer.KindStopped}, {chronometer.KindStarted, chronometer.KindRegulated}, {chronometer.KindRegulated, ""},
	}
	if d := cmp.Diff(want, got); d != "" {
		t.Error(d)
	}
}

func TestStrikingOut(t *testing.T) {
	b := newBook(t)
	wrong := b.write(1, compared(3))
	strike := b.write(1, chronometer.StruckOut{Entry: wrong.ID, Why: "read the wrong dial"})
	if _, out := b.log().StruckOut(wrong.ID); !out {
		t.Error("not struck out")
	}
	if n := len(b.log().Standing()); n != 1 {
		t.Errorf("%d entries stand, want the particulars only", n)
	}
	b.write(1, chronometer.StruckOut{Entry: strike.ID, Why: "it was right"})
	if _, out := b.log().StruckOut(wrong.ID); out {
		t.Error("a strike that is struck out still strikes")
	}
	if b.log().Len() != 4 {
		t.Error("an entry is gone")
	}
}

func TestAdmits(t *testing.T) {
	now := start.Add(30 * 24 * time.Hour)
	for _, c := range []struct {
		name string
		prep func(b *book)
		days float64
		fact func(b *book) chronometer.Fact
		says string
	}{
		{"compared while stopped", func(b *book) { b.write(1, chronometer.Stopped{Why: "run down"}) }, 2,
			func(*book) chronometer.Fact { return compared(1) }, "write when it was started"},
		{"in the future", func(*book) {}, 31, func(*book) chronometer.Fact { return compared(1) }, "future"},
		{"started with the balance held", func(b *book) { b.write(1, chronometer.Held{With: chronometer.Brake}) }, 2,
			func(*book) chronometer.Fact { return chronometer.Started{} }, "released first"},
		{"strikes nothing", func(*book) {}, 2, func(b *book) chronometer.Fact {
			return chronometer.StruckOut{Entry: b.subject[:25] + "Z", Why: "x"}
		}, "no entry"},
		{"strikes the only particulars", func(*book) {}, 2, func(b *book) chronometer.Fact {
			return chronometer.StruckOut{Entry: b.subject, Why: "x"}
		}, "only particulars"},
		{"hands back", func(*book) {}, 2, func(*book) chronometer.Fact { return chronometer.Moved{ByS: -60} }, "only ever moved forward"},
		{"a dial and an error", func(*book) {}, 2, func(*book) chronometer.Fact {
			e := 3.0
			f := chronometer.ReadDial(100)
			f.ErrorS = &e
			return f
		}, "not both"},
		{"hot", func(*book) {}, 2, func(*book) chronometer.Fact { return chronometer.Temperature{TempC: 200} }, "outside"},
		{"sent while going", func(b *book) { b.write(1, compared(1)) }, 2, func(*book) chronometer.Fact { return chronometer.Sent{} }, "stop it"},
		{"sent with the balance free", func(b *book) { b.write(1, chronometer.Stopped{Why: "for carriage"}) }, 2,
			func(*book) chronometer.Fact { return chronometer.Sent{} }, "have it held"},
		{"sent in its gimbals", func(b *book) {
			b.write(1, chronometer.Held{With: chronometer.Brake})
			b.write(1.1, chronometer.IntoGimbals{})
		}, 2, func(*book) chronometer.Fact { return chronometer.Sent{} }, "must not travel"},
		{"wound on the way", func(b *book) {
			b.write(1, chronometer.Held{With: chronometer.Brake})
			b.write(1.1, chronometer.Sent{})
		}, 2, func(*book) chronometer.Fact { return chronometer.Wound{} }, "received first"},
		{"hands moved by part of a minute", func(*book) {}, 2, func(*book) chronometer.Fact { return chronometer.Moved{ByS: 17} }, "whole minutes"},
		{"afternoon on a twelve-hour dial", func(*book) {}, 2, func(*book) chronometer.Fact { return chronometer.ReadDial(13.5 * 3600) }, "does not show 13:30:00"},
		{"the first comparison of all", func(*book) {}, 2, func(*book) chronometer.Fact { return compared(1) }, ""},
		{"right", func(b *book) { b.write(1, chronometer.Stopped{Why: "run down"}) }, 2,
			func(*book) chronometer.Fact { return chronometer.Started{} }, ""},
	} {
		b := newBook(t)
		c.prep(b)
		log := b.log()
		err := log.Admits(b.write(c.days, c.fact(b)), now)
		if c.says == "" {
			if err != nil {
				t.Errorf("%s: %v", c.name, err)
			}
		} else if err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%s: %v, want it to say %q", c.name, err, c.says)
		}
	}
}

// drawFact draws any fact that is whole.
func drawFact(t *rapid.T, ids []chronometer.ID) chronometer.Fact {
	f := func(lo, hi float64) float64 { return rapid.Float64Range(lo, hi).Draw(t, "v") }
	text := func() string {
		return rapid.StringN(1, 20, -1).Filter(func(s string) bool { return strings.TrimSpace(s) != "" }).Draw(t, "text")
	}
	choose := func(c []string) string { return rapid.SampledFrom(c).Draw(t, "choice") }
	id := func() chronometer.ID { return rapid.SampledFrom(ids).Draw(t, "id") }
	switch rapid.IntRange(0, 14).Draw(t, "kind") {
	case 0:
		e, c := f(-100, 100), f(-10, 40)
		return chronometer.Compared{ErrorS: &e, SDS: f(0, 1), TempC: &c, Position: chronometer.Position(choose(chronometer.Position("").Choices()))}
	case 1:
		return chronometer.Wound{HalfTurns: f(0, 9)}
	case 2:
		return chronometer.Started{How: text()}
	case 3:
		return chronometer.Stopped{Why: text()}
	case 4:
		return chronometer.Moved{ByS: f(1, 600)}
	case 5:
		return chronometer.Set{}
	case 6:
		return chronometer.Regulated{What: text()}
	case 7:
		return chronometer.Placed{Position: chronometer.DialUp, Station: chronometer.Station(choose(chronometer.Station("").Choices()))}
	case 8:
		return chronometer.Held{With: chronometer.Brake}
	case 9:
		return chronometer.Released{}
	case 10:
		return chronometer.Received{Station: chronometer.Bench}
	case 11:
		return chronometer.Upheld{Entry: id(), Why: text()}
	case 12:
		return chronometer.StruckOut{Entry: id(), Why: text()}
	case 13:
		c := f(-10, 40)
		return chronometer.Listened{RateSPerDay: f(-100, 100), RateSDSPerDay: f(0.001, 5), DurationS: f(0, 3600), TempC: &c, Position: chronometer.Position(choose(chronometer.Position("").Choices()))}
	}
	return chronometer.WorkDone{Work: text(), Service: rapid.Bool().Draw(t, "service")}
}

// TestMergeIsUnion: two copies of a logbook, cut and mixed in any way and
// merged in any order, give the same entries, state and runs as the whole.
func TestMergeIsUnion(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		b := newBook(t)
		ids := []chronometer.ID{b.subject}
		for range rapid.IntRange(0, 40).Draw(rt, "entries") {
			e := b.write(rapid.Float64Range(0, 20).Draw(rt, "day"), drawFact(rt, ids))
			ids = append(ids, e.ID)
		}
		whole := b.log()
		var left, right []chronometer.Entry
		for _, e := range b.entries {
			side := rapid.IntRange(0, 2).Draw(rt, "side")
			if side != 1 {
				left = append(left, e)
			}
			if side != 0 {
				right = append(right, e)
			}
		}
		r := rand.New(rand.NewPCG(rapid.Uint64().Draw(rt, "seed"), 1))
		r.Shuffle(len(left), func(i, j int) { left[i], left[j] = left[j], left[i] })
		l, m := chronometer.NewLogbook(left), chronometer.NewLogbook(right)
		for _, merged := range []chronometer.Logbook{l.Merge(m), m.Merge(l), l.Merge(m).Merge(l), m.Merge(m).Merge(l)} {
			if d := cmp.Diff(whole.Entries(), merged.Entries()); d != "" {
				rt.Fatal(d)
			}
			if d := cmp.Diff(whole.State(), merged.State()); d != "" {
				rt.Fatal(d)
			}
			if d := cmp.Diff(whole.Runs(), merged.Runs()); d != "" {
				rt.Fatal(d)
			}
			if d := cmp.Diff(whole.Standing(), merged.Standing()); d != "" {
				rt.Fatal(d)
			}
		}
	})
}

// TestEntryJSONRoundTrip: an entry written and read is the same, and so are
// the bytes written again.
func TestEntryJSONRoundTrip(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		b := newBook(t)
		e := b.write(rapid.Float64Range(0, 2000).Draw(rt, "day"), drawFact(rt, []chronometer.ID{b.subject}))
		e.At = e.At.Truncate(time.Microsecond)
		e.Written = e.At
		text, err := json.Marshal(e)
		if err != nil {
			rt.Fatal(err)
		}
		var got chronometer.Entry
		if err := json.Unmarshal(text, &got); err != nil {
			rt.Fatalf("%s: %v", text, err)
		}
		again, err := json.Marshal(got)
		if err != nil || string(again) != string(text) {
			rt.Fatalf("%s became %s, %v", text, again, err)
		}
	})
}

func TestNext(t *testing.T) {
	now := start.Add(10 * 24 * time.Hour)
	for _, c := range []struct {
		name  string
		known *chronometer.Known
		write func(b *book)
		verb  string
		late  bool
	}{
		{"new", nil, func(*book) {}, "Compare", false},
		{"daily winding due", nil, func(b *book) { b.write(9.1, chronometer.Wound{}); b.write(9.6, compared(1)) }, "Wind", false},
		{"winding late", nil, func(b *book) { b.write(8.5, chronometer.Wound{}); b.write(9.6, compared(1)) }, "Wind", true},
		{"may have run down", nil, func(b *book) { b.write(7, chronometer.Wound{}); b.write(7.1, compared(1)) }, "Look", false},
		{"compare due first", nil, func(b *book) { b.write(9.1, compared(1)); b.write(9.6, chronometer.Wound{}) }, "Compare", false},
		{"carried", nil, func(b *book) { b.write(9, chronometer.Sent{}) }, "Receive", false},
		{"stopped at home", nil, func(b *book) {
			b.write(1, chronometer.Received{Station: chronometer.Home})
			b.write(9, chronometer.Stopped{Why: "not known"})
		}, "Ask", false},
		{"serviced, to be started", nil, func(b *book) {
			b.write(1, chronometer.Received{Station: chronometer.Bench})
			b.write(2, chronometer.Stopped{Why: "for work"})
			b.write(3, chronometer.WorkDone{Work: "serviced", Service: true})
		}, "Start", false},
		{"slow, minute hand", &chronometer.Known{ErrorS: -31, RateSPerDay: -1, MoveFrom: start.Add(8 * 24 * time.Hour), MoveTo: start.Add(10 * 24 * time.Hour)}, func(b *book) { b.write(9.9, compared(-31)) }, "Move hand", false},
		{"suspect", &chronometer.Known{Suspect: "the rate stepped"}, func(b *book) { b.write(9.9, compared(-31)) }, "Look", false},
	} {
		b := newBook(t)
		c.write(b)
		todo := chronometer.Next(instrument(), b.log().State(), c.known, now)
		if len(todo) == 0 || todo[0].Verb != c.verb || todo[0].Late != c.late {
			t.Errorf("%s: %+v, want %s first", c.name, todo, c.verb)
		}
	}
	// A gaining dial is never told to have its hands moved.
	fast := chronometer.Known{ErrorS: 500, RateSPerDay: 2}
	b := newBook(t)
	b.write(9.9, compared(500))
	for _, a := range chronometer.Next(instrument(), b.log().State(), &fast, now) {
		if a.Kind == chronometer.KindMoved {
			t.Errorf("a fast dial: %+v", a)
		}
	}
}

func TestParsePosition(t *testing.T) {
	for s, want := range map[string]chronometer.Position{"": "", "Dial  up": chronometer.DialUp, "CH": chronometer.DialUp, "6h": chronometer.VIUp, "xii UP": chronometer.XIIUp} {
		if got, err := chronometer.ParsePosition(s); err != nil || got != want {
			t.Errorf("%q: %q, %v", s, got, err)
		}
	}
	if _, err := chronometer.ParsePosition("sideways"); err == nil {
		t.Error("sideways is a position")
	}
}

func TestEveryKindHasItsForm(t *testing.T) {
	for _, k := range chronometer.Kinds() {
		if !k.Known() || k.About() == "" {
			t.Errorf("%q has no form", k)
		}
		for _, f := range k.Fields() {
			if f.Name == "" || f.Label == "" {
				t.Errorf("%q: field %+v has no name or label", k, f)
			}
		}
	}
}

func FuzzEntry(f *testing.F) {
	b := newBook(f)
	for _, fact := range []chronometer.Fact{compared(3), chronometer.ReadDial(100.5), chronometer.Moved{ByS: 60}, chronometer.Stopped{Why: "x"}, heard(), bySound()} {
		text, _ := json.Marshal(b.write(1, fact))
		f.Add(text)
	}
	f.Fuzz(func(t *testing.T, text []byte) {
		var e chronometer.Entry
		if json.Unmarshal(text, &e) != nil {
			return
		}
		out, err := json.Marshal(e)
		if err != nil {
			t.Fatal(err)
		}
		var again chronometer.Entry
		if err := json.Unmarshal(out, &again); err != nil {
			t.Fatalf("%s: %v", out, err)
		}
		log := chronometer.NewLogbook([]chronometer.Entry{e, again})
		_ = log.State()
		_ = log.Runs()
	})
}

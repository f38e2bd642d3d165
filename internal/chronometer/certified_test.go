package chronometer_test

import (
	"errors"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"timeball/internal/chronometer"
)

// TestGround names what a certificate of day 10 rests on.
func TestGround(t *testing.T) {
	b := newBook(t)
	until := start.AddDate(0, 0, 10)
	c := b.write(1, compared(3))
	b.write(2, chronometer.Note{Text: "a note bears on nothing"})
	wrong := b.write(3, compared(63))
	b.write(3, chronometer.StruckOut{Entry: wrong.ID, Why: "another dial"})
	up := b.write(4, chronometer.Upheld{Entry: c.ID, Why: "seen twice"})
	w := b.write(5, chronometer.Wound{HalfTurns: 7.5})
	late := b.write(11, compared(4))
	b.write(11, chronometer.Upheld{Entry: late.ID, Why: "of a reading that came after"})
	renamed := instrument()
	renamed.Notes = "written after the certificate"
	b.write(12, renamed)

	var ids []chronometer.ID
	ground := b.log().Ground(until, until)
	for _, e := range ground {
		ids = append(ids, e.ID)
	}
	want := []chronometer.ID{c.ID, up.ID, w.ID, b.entries[0].ID}
	slices.Sort(ids)
	slices.Sort(want)
	if !slices.Equal(ids, want) {
		t.Errorf("ground %v, want %v", ids, want)
	}
	one, err := chronometer.Digest(ground)
	if err != nil || len(one) != 64 {
		t.Fatalf("%q, %v", one, err)
	}
	slices.Reverse(ground)
	if two, _ := chronometer.Digest(ground); two != one {
		t.Error("the digest hangs on the order in which entries are given")
	}
}

// TestDigestTellsEveryChange changes one thing of a ground at a time.
func TestDigestTellsEveryChange(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		errors := rapid.SliceOfN(rapid.Float64Range(-100, 100), 2, 12).Draw(t, "errors")
		make := func(errors []float64) string {
			b := &book{}
			b.subject = b.write(0, instrument()).ID
			for i, e := range errors {
				b.write(float64(i), compared(e))
			}
			sum, err := chronometer.Digest(b.log().Ground(start.AddDate(1, 0, 0), start.AddDate(1, 0, 0)))
			if err != nil {
				t.Fatal(err)
			}
			return sum
		}
		before := make(errors)
		if make(errors) != before {
			t.Fatal("the same entries give another digest")
		}
		i := rapid.IntRange(0, len(errors)-1).Draw(t, "changed")
		changed := slices.Clone(errors)
		changed[i] += 0.001
		if make(changed) == before {
			t.Fatal("a reading altered by a millisecond leaves the digest")
		}
		if make(errors[:len(errors)-1]) == before {
			t.Fatal("a reading less leaves the digest")
		}
	})
}

func TestTrials(t *testing.T) {
	b := newBook(t)
	now := start.AddDate(1, 0, 0)
	begun := chronometer.TrialBegun{Programme: "ten days", Text: "as agreed"}
	b.write(0.5, chronometer.Started{})
	if err := b.log().Admits(b.entry(1, chronometer.TrialEnded{Why: "finished"}), now); !errors.Is(err, chronometer.ErrRefused) {
		t.Errorf("ended before it was begun: %v", err)
	}
	first := b.write(1, begun)
	if s := b.log().State(); s.Station != chronometer.Trial {
		t.Errorf("a trial goes on and it is %s", s.Station)
	}
	if err := b.log().Admits(b.entry(2, begun), now); !errors.Is(err, chronometer.ErrRefused) || !strings.Contains(err.Error(), "end it first") {
		t.Errorf("begun twice: %v", err)
	}
	ended := b.write(3, chronometer.TrialEnded{Why: " Finished "})
	if s := b.log().State(); s.Station != chronometer.Bench {
		t.Errorf("the trial is over and it is %s", s.Station)
	}
	if !ended.Fact.(chronometer.TrialEnded).Finished() {
		t.Error("finished is not finished")
	}
	second := b.write(4, begun)
	trials := b.log().Trials()
	if len(trials) != 2 || trials[0] != [2]chronometer.Entry{first, ended} || trials[1][0] != second || trials[1][1].ID != "" {
		t.Errorf("%v", trials)
	}
	b.write(5, chronometer.Stopped{Why: "for work"})
	b.write(6, chronometer.TrialEnded{Why: "given up"})
	if err := b.log().Admits(b.entry(7, begun), now); !errors.Is(err, chronometer.ErrRefused) || !strings.Contains(err.Error(), "start it first") {
		t.Errorf("a trial of one that stands: %v", err)
	}
}

func TestRegulatedIsWhole(t *testing.T) {
	turns := func(v float64) *float64 { return &v }
	b := newBook(t)
	for _, c := range []struct {
		fact chronometer.Regulated
		out  float64
		says string // of the error; empty if it is whole
	}{
		{chronometer.Regulated{Part: chronometer.TimingScrews, Turns: turns(0.25), Way: chronometer.Out}, 0.25, ""},
		{chronometer.Regulated{Part: chronometer.TimingNuts, Turns: turns(2), Way: chronometer.In}, -2, ""},
		{chronometer.Regulated{Part: chronometer.RimWeights, Turns: turns(0.5), Way: chronometer.FromEnd}, -0.5, ""},
		{chronometer.Regulated{What: "the spring, let out a little"}, 0, ""},
		{chronometer.Regulated{}, 0, "what is missing"},
		{chronometer.Regulated{Part: chronometer.OtherPart}, 0, "what is missing"},
		{chronometer.Regulated{Part: chronometer.TimingScrews, Turns: turns(0.25)}, 0, "which way"},
		{chronometer.Regulated{What: "screws", Turns: turns(0.25), Way: chronometer.Out}, 0, "choose the part"},
		{chronometer.Regulated{Part: chronometer.TimingScrews, Turns: turns(-1), Way: chronometer.Out}, 0, "not more than nothing"},
		{chronometer.Regulated{Part: chronometer.TimingScrews, Turns: turns(1), Way: chronometer.ToEnds}, 0, "does not go with"},
		{chronometer.Regulated{Part: chronometer.RimWeights, Turns: turns(1), Way: chronometer.Out}, 0, "does not go with"},
	} {
		err := b.entry(1, c.fact).Check()
		if c.says == "" {
			if out, _ := c.fact.TurnsOut(); err != nil || out != c.out {
				t.Errorf("%+v: %v, turns out %v", c.fact, err, out)
			}
		} else if err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%+v: %v, want %q", c.fact, err, c.says)
		}
	}
	words := chronometer.Regulated{Part: chronometer.TimingScrews, Turns: turns(0.25), Way: chronometer.Out}.Words()
	if words != "timing screws · both out by 0.25 turn" {
		t.Errorf("%q", words)
	}
}

func TestZonesAndHours(t *testing.T) {
	b := newBook(t)
	for _, c := range []struct {
		zone, at string
		whole    bool
	}{
		{"", "", true}, {"Europe/Lisbon", "08:30", true}, {"America/Halifax", "0:00", true},
		{"Lisbon", "", false}, {"Local", "", false}, {"", "8.30", false}, {"", "24:00", false}, {"", "12:5", false},
	} {
		err := b.entry(1, chronometer.Owner{Name: "Signe Vandrell", Zone: c.zone, WindAt: c.at}).Check()
		if (err == nil) != c.whole {
			t.Errorf("%q %q: %v", c.zone, c.at, err)
		}
	}
}

func TestParseRegulated(t *testing.T) {
	for text, want := range map[string]string{
		"timing screws out 0.25":                  "timing screws · both out by 0.25 turn",
		"both timing nuts in by 1/8 turn":         "timing nuts · both in by 0.125 turn",
		"Timing Screws, one out 2 turns":          "",
		"one timing screws out 2 turns":           "timing screws · one alone out by 2 turns",
		"rim weights toward the free ends 0.2 mm": "rim weights · both toward the free ends by 0.2 mm",
		"rim weights out 0.2":                     "",
		"timing screws out a little":              "",
		"timing screws out 1/0":                   "",
		"the balance spring let out":              "",
		"":                                        "",
	} {
		r, ok := chronometer.ParseRegulated(text)
		if ok != (want != "") || ok && r.Words() != want {
			t.Errorf("%q: %v %q, want %q", text, ok, r.Words(), want)
		}
	}
}

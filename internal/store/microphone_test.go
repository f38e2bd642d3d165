package store_test

import (
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"testing/fstest"
	"time"

	gocmp "github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"timeball/internal/store"
)

func keep(t testing.TB, db *store.DB, m store.Microphone) {
	t.Helper()
	if err := db.KeepMicrophone(t.Context(), m); err != nil {
		t.Fatal(err)
	}
}

// known returns what is kept under a key and its calibrations.
func known(t testing.TB, db *store.DB, key string) (store.Microphone, []store.Measure) {
	t.Helper()
	m, ok, err := db.Microphone(t.Context(), key)
	if err != nil || !ok {
		t.Fatalf("microphone %q: %v, %v", key, ok, err)
	}
	measures, err := db.Measures(t.Context(), key)
	if err != nil {
		t.Fatal(err)
	}
	return m, measures
}

func TestMicrophone(t *testing.T) {
	dir := t.TempDir()
	db := openIn(t, dir)
	if m, ok, err := db.Microphone(t.Context(), "f3a9"); ok || err != nil {
		t.Errorf("a microphone nobody kept: %+v, %v, %v", m, ok, err)
	}
	at := func(days int) time.Time { return start.AddDate(0, 0, days) }
	first := store.Microphone{Key: "f3a9", Name: "bench microphone", Seen: at(0)}
	keep(t, db, first)
	if m, measures := known(t, db, "f3a9"); m != first || len(measures) != 0 {
		t.Errorf("kept %+v, %v, want %+v", m, measures, first)
	}
	tone := store.Microphone{Key: "f3a9", Seen: at(1), LatencyS: 0.031, LatencySDS: 0.006, LatencyHow: "check tone", LatencyAt: at(1)}
	sampling := store.Microphone{Key: "f3a9", Name: "bench microphone, left", Seen: at(2), PPM: -12.5, PPMSD: 0.6, PPMSource: "calibrated", PPMAt: at(2)}
	late := store.Microphone{Key: "f3a9", Seen: at(1), PPM: 80, PPMSD: 5, PPMSource: "quartz", PPMAt: at(1)} // measured before, told after
	for _, m := range []store.Microphone{tone, sampling, late, sampling, first} {
		keep(t, db, m)
	}
	db.Close()
	db = openIn(t, dir)
	want := sampling
	want.LatencyS, want.LatencySDS, want.LatencyHow, want.LatencyAt = tone.LatencyS, tone.LatencySDS, tone.LatencyHow, tone.LatencyAt
	want.Name = first.Name // the name told last
	m, measures := known(t, db, "f3a9")
	if m != want {
		t.Errorf("kept %+v, want %+v", m, want)
	}
	if d := gocmp.Diff([]store.Measure{
		{What: store.SamplingClock, At: at(1), Value: 80, SD: 5, How: "quartz"},
		{What: store.Latency, At: at(1), Value: 0.031, SD: 0.006, How: "check tone"},
		{What: store.SamplingClock, At: at(2), Value: -12.5, SD: 0.6, How: "calibrated"},
	}, measures); d != "" {
		t.Errorf("calibrations (-want +got):\n%s", d)
	}
	keep(t, db, store.Microphone{Key: "recorder", Seen: at(3)})
	if list, err := db.Microphones(t.Context()); err != nil || len(list) != 2 || list[0].Key != "recorder" || list[1] != want {
		t.Errorf("list %+v, %v", list, err)
	}
	wantWhole(t, db)
}

// TestMicrophoneConflict: another value under the same instant changes neither
// table.
func TestMicrophoneConflict(t *testing.T) {
	db := openNew(t)
	m := store.Microphone{Key: "f3a9", Name: "bench", Seen: start, LatencyS: 0.031, LatencySDS: 0.006, LatencyHow: "check tone", LatencyAt: start}
	keep(t, db, m)
	other := m
	other.Name, other.LatencyS = "another", 0.042
	other.PPM, other.PPMSD, other.PPMSource, other.PPMAt = 3, 1, "calibrated", start
	wantError(t, db.KeepMicrophone(t.Context(), other), store.ErrConflict, "0.031", "0.042", "f3a9")
	if got, measures := known(t, db, "f3a9"); got != m || len(measures) != 1 {
		t.Errorf("kept %+v, %v, want %+v", got, measures, m)
	}
}

func TestMicrophoneRefuses(t *testing.T) {
	db := openNew(t)
	whole := store.Microphone{Key: "f3a9", Name: "bench", Seen: start, LatencyS: 0.031, LatencySDS: 0.006, LatencyHow: "check tone", LatencyAt: start, PPM: 3, PPMSD: 1, PPMSource: "calibrated", PPMAt: start}
	for _, c := range []struct {
		harm func(*store.Microphone)
		says string
	}{
		{func(m *store.Microphone) { m.Key = " " }, "no key"},
		{func(m *store.Microphone) { m.Key = "\xff" }, "UTF-8"},
		{func(m *store.Microphone) { m.Name = strings.Repeat("x", 1001) }, "shorter"},
		{func(m *store.Microphone) { m.Seen = time.Time{} }, "say when"},
		{func(m *store.Microphone) { m.LatencySDS = 0 }, "above 0"},
		{func(m *store.Microphone) { m.LatencyS = math.NaN() }, "latency of NaN"},
		{func(m *store.Microphone) { m.LatencyHow = "" }, "how it was measured"},
		{func(m *store.Microphone) { m.PPM = math.Inf(-1) }, "clock of -Inf"},
		{func(m *store.Microphone) { m.PPMSD = math.Inf(1) }, "doubt +Inf"},
		{func(m *store.Microphone) { m.PPMSD = math.NaN() }, "doubt NaN"},
	} {
		m := whole
		c.harm(&m)
		if err := db.KeepMicrophone(t.Context(), m); err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%v, want it to say %q", err, c.says)
		}
	}
	if list, err := db.Microphones(t.Context()); err != nil || len(list) != 0 {
		t.Errorf("%+v kept, %v", list, err)
	}
}

// TestMicrophoneInUse: in whatever order calibrations come, the latest is in
// use and none is lost.
func TestMicrophoneInUse(t *testing.T) {
	db := openNew(t)
	n := 0
	rapid.Check(t, func(rt *rapid.T) {
		n++
		key := "microphone " + time.Duration(n).String()
		instants := rapid.Permutation([]int{0, 1, 2, 3, 4, 5, 6, 7}).Draw(rt, "order")
		for _, hours := range instants {
			at := start.Add(time.Duration(hours) * time.Hour)
			keep(t, db, store.Microphone{Key: key, Seen: at, PPM: float64(hours), PPMSD: 1, PPMSource: "calibrated", PPMAt: at})
		}
		if m, measures := known(t, db, key); m.PPM != 7 || !m.PPMAt.Equal(start.Add(7*time.Hour)) || len(measures) != 8 {
			rt.Fatalf("%+v and %d calibrations", m, len(measures))
		}
	})
}

// TestMicrophoneMigration brings a folder of before forward: it is copied
// first, and its entries stay.
func TestMicrophoneMigration(t *testing.T) {
	before := with(t, fstest.MapFS{})
	delete(before.(fstest.MapFS), "migration/0003_microphone.sqlite.sql")
	dir := t.TempDir()
	db, err := store.OpenSteps(t.Context(), dir, now, before)
	if err != nil {
		t.Fatal(err)
	}
	add(t, db, logbook(1, 12)...)
	want := all(t, db)
	db.Close()
	db = openIn(t, dir)
	if d := gocmp.Diff(want, all(t, db)); d != "" {
		t.Errorf("entries (-want +got):\n%s", d)
	}
	keep(t, db, store.Microphone{Key: "f3a9", Seen: start})
	if _, err := os.Stat(filepath.Join(dir, "before-migration-0003.db")); err != nil {
		t.Error(err)
	}
	wantWhole(t, db)
}

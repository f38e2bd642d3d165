package store_test

import (
	"bytes"
	"cmp"
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	gocmp "github.com/google/go-cmp/cmp"
	"github.com/oklog/ulid/v2"
	"pgregory.net/rapid"

	"timeball/internal/chronometer"
	"timeball/internal/clock"
	"timeball/internal/store"
)

var start = time.Date(2027, 1, 18, 9, 0, 0, 0, time.UTC)

func now() time.Time { return start }

func openIn(t testing.TB, dir string) *store.DB {
	t.Helper()
	db, err := store.Open(t.Context(), dir, now)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { db.Close() })
	return db
}

func openNew(t testing.TB) *store.DB { return openIn(t, t.TempDir()) }

// entryID returns an ID for a pair of numbers.
func entryID(book, n int) chronometer.ID {
	var u ulid.ULID
	_ = u.SetTime(uint64(start.UnixMilli()) + uint64(n))
	u[6], u[7], u[8] = byte(book>>16), byte(book>>8), byte(book)
	return chronometer.ID(u.String())
}

// logbook returns an instrument's first entry and n-1 comparisons.
func logbook(book, n int) []chronometer.Entry {
	subject := entryID(book, 0)
	entries := make([]chronometer.Entry, n)
	for i := range entries {
		at := start.Add(time.Duration(i) * time.Hour)
		e := float64(i) * 0.125
		var fact chronometer.Fact = chronometer.Compared{ErrorS: &e, SDS: 0.1, Method: chronometer.EyeAndEar, Position: chronometer.DialUp, Observer: "bench"}
		if i == 0 {
			fact = instrument()
		}
		entries[i] = chronometer.Entry{ID: entryID(book, i), Subject: subject, At: at, Written: at.Add(time.Minute), By: "keeper", Fact: fact}
	}
	return entries
}

func instrument() chronometer.Instrument {
	return chronometer.Instrument{Number: "417", Maker: "Corvane", Make: chronometer.BoxChronometer, Beat: chronometer.HalfSecond, Dial: chronometer.Twelve, GoingH: 56}
}

func all(t testing.TB, db *store.DB) []chronometer.Entry {
	t.Helper()
	var entries []chronometer.Entry
	for e, err := range db.Entries(t.Context()) {
		if err != nil {
			t.Fatal(err)
		}
		entries = append(entries, e)
	}
	return entries
}

func add(t testing.TB, db *store.DB, entries ...chronometer.Entry) {
	t.Helper()
	if err := db.Add(t.Context(), entries); err != nil {
		t.Fatal(err)
	}
}

// wantWhole fails the test if the folder has a fault.
func wantWhole(t testing.TB, db *store.DB) store.Report {
	t.Helper()
	r, err := db.Verify(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	if !r.Whole() {
		t.Fatalf("%d faults, the first: %s", len(r.Faults)+r.More, r.Faults[0])
	}
	return r
}

// wantError fails the test unless err wraps want and says each of the words.
func wantError(t testing.TB, err, want error, words ...string) {
	t.Helper()
	if !errors.Is(err, want) {
		t.Fatalf("error %v, want %v", err, want)
	}
	for _, w := range words {
		if !strings.Contains(err.Error(), w) {
			t.Errorf("error %q does not say %q", err, w)
		}
	}
	if strings.Contains(err.Error(), "\n") {
		t.Errorf("error %q is more than one line", err)
	}
}

func TestAddAndReadBack(t *testing.T) {
	dir := t.TempDir()
	db := openIn(t, dir)
	want := append(logbook(1, 40), logbook(2, 7)...)
	if err := db.Add(t.Context(), want); err != nil {
		t.Fatal(err)
	}
	db.Close()
	db = openIn(t, dir)
	byID := func(a, b chronometer.Entry) int { return cmp.Compare(a.ID, b.ID) }
	slices.SortFunc(want, byID)
	if d := gocmp.Diff(want, all(t, db)); d != "" {
		t.Errorf("entries differ (-want +got):\n%s", d)
	}
	b, err := db.Logbook(t.Context(), entryID(2, 0))
	if err != nil || b.Len() != 7 {
		t.Errorf("logbook of %d entries, %v, want 7", b.Len(), err)
	}
	_, err = db.Logbook(t.Context(), entryID(3, 0))
	wantError(t, err, store.ErrUnknown, string(entryID(3, 0)))
	if r := wantWhole(t, db); r.Entries != 47 || r.Subjects != 2 {
		t.Errorf("report counts %d entries and %d logbooks, want 47 and 2", r.Entries, r.Subjects)
	}
}

// entries draws a logbook whose facts use every sort of value: numbers, texts
// with letters that JSON escapes, dial readings to the millisecond, nothing.
func entries() *rapid.Generator[[]chronometer.Entry] {
	return rapid.Custom(func(t *rapid.T) []chronometer.Entry {
		text := rapid.OneOf(rapid.String(), rapid.SampledFrom([]string{"<b>&amp;</b>", "½ h\u2028", `"\`, "Æther ✓ 𝄞", "\u007f\ufffd"}))
		some := text.Filter(func(s string) bool { return strings.TrimSpace(s) != "" })
		number := rapid.Float64Range(-60, 80)
		book := rapid.IntRange(0, 1<<20).Draw(t, "book")
		n := rapid.IntRange(1, 8).Draw(t, "n")
		made := make([]chronometer.Entry, n)
		for i := range made {
			var fact chronometer.Fact
			switch rapid.IntRange(0, 5).Draw(t, "kind") {
			case 0:
				ms := rapid.IntRange(0, 43_199_999).Draw(t, "ms")
				dial, err := clock.ParseDial(clock.DialReading(float64(ms) / 1000).String()) // as a keeper writes it
				if err != nil {
					t.Fatal(err)
				}
				c := chronometer.ReadDial(dial)
				c.SDS, c.Note = rapid.Float64Range(0, 600).Draw(t, "sd"), text.Draw(t, "note")
				fact = c
			case 1:
				e := number.Draw(t, "error")
				fact = chronometer.Compared{ErrorS: &e, TempC: &e, Observer: text.Draw(t, "observer")}
			case 2:
				fact = chronometer.Note{Text: some.Draw(t, "text")}
			case 3:
				fact = chronometer.Temperature{TempC: number.Draw(t, "temp")}
			case 4:
				fact = chronometer.Released{}
			case 5:
				fact = chronometer.Sent{To: text.Draw(t, "to"), With: text.Draw(t, "with")}
			}
			if i == 0 {
				fact = chronometer.Owner{Name: some.Draw(t, "name"), Notes: text.Draw(t, "notes")}
			}
			us := rapid.Int64Range(time.Date(1700, 1, 1, 0, 0, 0, 0, time.UTC).UnixMicro(), time.Date(2199, 12, 31, 23, 59, 59, 999_999_000, time.UTC).UnixMicro())
			made[i] = chronometer.Entry{
				ID: entryID(book, i), Subject: entryID(book, 0), At: time.UnixMicro(us.Draw(t, "at")).UTC(), Written: time.UnixMicro(us.Draw(t, "written")).UTC(),
				By: some.Filter(func(s string) bool { return !strings.ContainsRune(s, 0) }).Draw(t, "by"), Fact: fact,
			}
		}
		return made
	})
}

func TestStoredEqualsGiven(t *testing.T) {
	db := openNew(t)
	rapid.Check(t, func(rt *rapid.T) {
		// Another example may have taken the ID of the logbook.
		if _, err := store.SQL(db).Exec(`begin; delete from entry; delete from subject; commit`); err != nil {
			rt.Fatal(err)
		}
		given := entries().Draw(rt, "entries")
		shuffled := rapid.Permutation(given).Draw(rt, "order")
		cut := rapid.IntRange(0, len(given)).Draw(rt, "cut")
		if err := db.Add(t.Context(), given[:1]); err != nil {
			rt.Fatal(err)
		}
		for _, part := range [][]chronometer.Entry{shuffled[:cut], shuffled, shuffled[cut:]} {
			if err := db.Add(t.Context(), part); err != nil {
				rt.Fatal(err)
			}
		}
		if d := gocmp.Diff(given, all(t, db)); d != "" {
			rt.Fatalf("entries differ (-given +got):\n%s", d)
		}
		got, err := db.Logbook(t.Context(), given[0].Subject)
		if err != nil {
			rt.Fatal(err)
		}
		if d := gocmp.Diff(chronometer.NewLogbook(given).Entries(), got.Entries()); d != "" {
			rt.Fatalf("logbook differs (-given +got):\n%s", d)
		}
		r, err := db.Verify(t.Context())
		if err != nil || !r.Whole() {
			rt.Fatalf("%v %v", r.Faults, err)
		}
	})
}

func TestInstantsAreCutToTheMicrosecond(t *testing.T) {
	db := openNew(t)
	e := logbook(1, 1)[0]
	e.At = time.Date(1911, 6, 1, 12, 0, 0, 123_456_789, time.FixedZone("", -3600))
	add(t, db, e)
	add(t, db, e)
	want := time.Date(1911, 6, 1, 13, 0, 0, 123_456_000, time.UTC)
	if got := all(t, db)[0].At; !got.Equal(want) || got.Location() != time.UTC {
		t.Errorf("at %v, want %v", got, want)
	}
}

func TestAddIsAllOrNothing(t *testing.T) {
	good, other := logbook(1, 5), logbook(2, 5)
	altered := good[2]
	altered.By = "another hand"
	late := other[1]
	var u ulid.ULID
	u[0] = 0xff
	late.ID = chronometer.ID(u.String())
	lower := other[1]
	lower.ID = chronometer.ID(strings.ToLower(string(lower.ID)))
	old := other[1]
	old.At = time.Date(1699, 12, 31, 0, 0, 0, 0, time.UTC)
	nameless := other[1]
	nameless.By = "a\xff"
	note := other[0]
	note.Fact = chronometer.Note{Text: "begins nothing"}
	for _, c := range []struct {
		name  string
		add   []chronometer.Entry
		want  error
		words []string
	}{
		{"another content", append(slices.Clone(other), altered), store.ErrConflict, []string{string(altered.ID), "another hand", "keeper"}},
		{"twice in one call", []chronometer.Entry{other[0], other[1], func() chronometer.Entry { e := other[1]; e.By = "x"; return e }()}, store.ErrConflict, []string{string(other[1].ID)}},
		{"no beginning", other[1:], store.ErrNoBeginning, []string{string(other[0].ID)}},
		{"an entry that is none", append(slices.Clone(other), chronometer.Entry{ID: entryID(9, 9)}), chronometer.ErrEntry, nil},
		{"an ID of the far future", []chronometer.Entry{other[0], late}, chronometer.ErrEntry, []string{"clock"}},
		{"an ID in small letters", []chronometer.Entry{other[0], lower}, chronometer.ErrEntry, []string{"capital"}},
		{"an instant that cannot be read back", []chronometer.Entry{other[0], old}, chronometer.ErrEntry, []string{"1700"}},
		{"a name that is no text", []chronometer.Entry{other[0], nameless}, chronometer.ErrEntry, []string{"UTF-8"}},
		{"a note as the beginning", []chronometer.Entry{note}, chronometer.ErrEntry, []string{"begins"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			db := openNew(t)
			add(t, db, good...)
			before, err := db.Subjects(t.Context())
			if err != nil {
				t.Fatal(err)
			}
			wantError(t, db.Add(t.Context(), c.add), c.want, c.words...)
			if d := gocmp.Diff(good, all(t, db)); d != "" {
				t.Errorf("the refused call changed the entries (-want +got):\n%s", d)
			}
			after, err := db.Subjects(t.Context())
			if d := gocmp.Diff(before, after); d != "" || err != nil {
				t.Errorf("the refused call changed the list %v (-want +got):\n%s", err, d)
			}
			wantWhole(t, db)
			add(t, db, other...) // it can still be written to
		})
	}
}

func TestAddSeqStopsAtAnError(t *testing.T) {
	db := openNew(t)
	bad := errors.New("line 3 column 2: no dial reading; write one")
	err := db.AddSeq(t.Context(), func(yield func(chronometer.Entry, error) bool) {
		for _, e := range logbook(1, 500) {
			if !yield(e, nil) {
				return
			}
		}
		yield(chronometer.Entry{}, bad)
	})
	wantError(t, err, bad)
	if got := all(t, db); len(got) != 0 {
		t.Errorf("%d entries after an error, want none", len(got))
	}
}

func TestAddEndsWithItsContext(t *testing.T) {
	db := openNew(t)
	ctx, cancel := context.WithCancel(t.Context())
	err := db.AddSeq(ctx, func(yield func(chronometer.Entry, error) bool) {
		for i, e := range logbook(1, 100) {
			if i == 50 {
				cancel()
			}
			if !yield(e, nil) {
				return
			}
		}
	})
	wantError(t, err, context.Canceled)
	if got := all(t, db); len(got) != 0 {
		t.Errorf("%d entries after the context ended, want none", len(got))
	}
	add(t, db, logbook(1, 100)...)
}

// TestManyWriters has goroutines write at once while others read: every
// acknowledged entry is there, whatever the order.
func TestManyWriters(t *testing.T) {
	db := openNew(t)
	var group sync.WaitGroup
	for w := range 8 {
		group.Go(func() {
			for _, e := range logbook(w, 25) {
				if err := db.Add(t.Context(), []chronometer.Entry{e}); err != nil {
					t.Error(err)
				}
			}
		})
		group.Go(func() {
			for range 20 {
				for _, err := range db.Entries(t.Context()) {
					if err != nil {
						t.Error(err)
					}
				}
			}
		})
	}
	group.Wait()
	if r := wantWhole(t, db); r.Entries != 200 || r.Subjects != 8 {
		t.Errorf("%d entries of %d logbooks, want 200 of 8", r.Entries, r.Subjects)
	}
}

// TestEntriesWhileAdding reads a snapshot: what is added while it is read does
// not come into it.
func TestEntriesWhileAdding(t *testing.T) {
	db := openNew(t)
	add(t, db, logbook(1, 10)...)
	n := 0
	for _, err := range db.Entries(t.Context()) {
		if err != nil {
			t.Fatal(err)
		}
		n++
		add(t, db, logbook(1+n, 3)...)
	}
	if n != 10 {
		t.Errorf("%d entries read, want the 10 at the beginning", n)
	}
}

func TestVersions(t *testing.T) {
	one, two := openNew(t), openNew(t)
	version := func(db *store.DB) int64 {
		t.Helper()
		s, err := db.Subject(t.Context(), entryID(1, 0))
		if err != nil {
			t.Fatal(err)
		}
		if s.Kind != chronometer.KindEntered || s.Version < 0 || s.Version >= 1<<53 {
			t.Errorf("subject %+v", s)
		}
		return s.Version
	}
	seen := map[int64]bool{}
	book := logbook(1, 20)
	for _, e := range book {
		add(t, one, e)
		seen[version(one)] = true
		add(t, one, e)
		if !seen[version(one)] {
			t.Errorf("the version changed with an entry that was there")
		}
	}
	if len(seen) != len(book) {
		t.Errorf("%d versions for %d entries", len(seen), len(book))
	}
	slices.Reverse(book)
	add(t, two, book...)
	if version(one) != version(two) {
		t.Errorf("versions %d and %d of the same entries in another order", version(one), version(two))
	}
	owner := logbook(2, 1)
	owner[0].Fact = chronometer.Owner{Name: "Veyre Museum"}
	add(t, one, owner...)
	s, err := one.Subjects(t.Context())
	if err != nil || len(s) != 2 || s[1].Kind != chronometer.KindOwner || s[0].Entries != 20 {
		t.Errorf("subjects %+v, %v", s, err)
	}
}

func TestNewID(t *testing.T) {
	db := openNew(t)
	rapid.Check(t, func(t *rapid.T) {
		at := time.UnixMilli(rapid.Int64Range(-1e12, 7e12).Draw(t, "at"))
		after := chronometer.ID(ulid.MustNew(rapid.Uint64Range(0, 7e12).Draw(t, "ms"), bytes.NewReader(bytes.Repeat([]byte{rapid.Byte().Draw(t, "byte")}, 10))).String())
		first := db.NewID(at, after, "no ULID")
		second := db.NewID(at)
		if canon, err := chronometer.ParseID(string(second)); err != nil || canon != second {
			t.Fatalf("%s: %v", second, err)
		}
		if first <= after || second <= first {
			t.Fatalf("%s, %s, %s do not ascend", after, first, second)
		}
	})
	db = openNew(t)
	if got, _ := db.NewID(start).Written(); !got.Equal(start) {
		t.Errorf("written %v, want %v", got, start)
	}
	last := chronometer.ID(strings.Repeat("Z", 26))
	last = "7" + last[1:]
	if got := db.NewID(start, last); got != last {
		t.Errorf("%s after the last ULID, want it again", got)
	}
}

func TestNewIDFromManyGoroutines(t *testing.T) {
	db := openNew(t)
	var group sync.WaitGroup
	var mu sync.Mutex
	seen := map[chronometer.ID]bool{}
	for range 4 {
		group.Go(func() {
			for range 500 {
				id := db.NewID(start)
				mu.Lock()
				seen[id] = true
				mu.Unlock()
			}
		})
	}
	group.Wait()
	if len(seen) != 2000 {
		t.Errorf("%d IDs, want 2000", len(seen))
	}
}

func TestFigures(t *testing.T) {
	db := openNew(t)
	subject := entryID(1, 0)
	if _, _, ok, err := db.Figures(t.Context(), subject, "rating"); ok || err != nil {
		t.Errorf("figures of nothing: %v %v", ok, err)
	}
	for version, body := range map[int64][]byte{1<<53 - 1: []byte("{}"), 3: {0, 255}, 4: nil} {
		if err := db.KeepFigures(t.Context(), subject, version, "rating", body); err != nil {
			t.Fatal(err)
		}
		v, b, ok, err := db.Figures(t.Context(), subject, "rating")
		if v != version || !bytes.Equal(b, body) || !ok || err != nil {
			t.Errorf("figures %d %q %v %v, want %d %q", v, b, ok, err, version, body)
		}
	}
	if err := db.DropFigures(t.Context()); err != nil {
		t.Fatal(err)
	}
	if _, _, ok, err := db.Figures(t.Context(), subject, "rating"); ok || err != nil {
		t.Errorf("figures after they were dropped: %v %v", ok, err)
	}
}

func TestFolder(t *testing.T) {
	for _, name := range []string{"a b", "50% ?#&=+", "Überfahrt", "deep/er", "[a-z]*"} {
		if runtime.GOOS == "windows" && strings.ContainsAny(name, "?*") {
			continue
		}
		dir := filepath.Join(t.TempDir(), filepath.FromSlash(name))
		db := openIn(t, dir)
		add(t, db, logbook(1, 2)...)
		if err := db.Close(); err != nil {
			t.Fatal(err)
		}
		if _, err := os.Stat(filepath.Join(dir, "timeball.db")); err != nil {
			t.Errorf("%q: %v", name, err)
		}
		if info, err := os.Stat(dir); err != nil || runtime.GOOS != "windows" && info.Mode().Perm() != 0o700 {
			t.Errorf("%q: mode %v, want 0700", name, info.Mode())
		}
		if got := len(all(t, openIn(t, dir))); got != 2 {
			t.Errorf("%q: %d entries, want 2", name, got)
		}
	}
}

func TestOpenRefuses(t *testing.T) {
	dir := t.TempDir()
	file := filepath.Join(dir, "file")
	if err := os.WriteFile(file, []byte("a letter"), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := store.Open(t.Context(), file, now); err == nil || !strings.Contains(err.Error(), "choose another") {
		t.Errorf("a file as the folder: %v", err)
	}
	if err := os.WriteFile(filepath.Join(dir, "timeball.db"), bytes.Repeat([]byte("no database "), 1000), 0o600); err != nil {
		t.Fatal(err)
	}
	for range 2 { // the lock must be free again
		if _, err := store.Open(t.Context(), dir, now); err == nil || errors.Is(err, store.ErrInUse) || !strings.Contains(err.Error(), "backup") {
			t.Errorf("a letter as the database: %v", err)
		}
	}
}

func TestCopyTo(t *testing.T) {
	db := openNew(t)
	add(t, db, logbook(1, 30)...)
	dir := t.TempDir()
	path := filepath.Join(dir, "timeball.db")
	if err := db.CopyTo(t.Context(), path); err != nil {
		t.Fatal(err)
	}
	if err := db.CopyTo(t.Context(), path); err == nil || !strings.Contains(err.Error(), "exists") {
		t.Errorf("a copy over a file: %v", err)
	}
	if d := gocmp.Diff(logbook(1, 30), all(t, openIn(t, dir))); d != "" {
		t.Errorf("the copy differs (-want +got):\n%s", d)
	}
}

func ExampleDB_Add() {
	dir, err := os.MkdirTemp("", "example")
	if err != nil {
		panic(err)
	}
	defer os.RemoveAll(dir)
	ctx := context.Background()
	db, err := store.Open(ctx, dir, time.Now)
	if err != nil {
		panic(err)
	}
	defer db.Close()
	at := time.Date(2027, 3, 4, 9, 12, 0, 0, time.UTC)
	id := db.NewID(at)
	first := chronometer.Entry{ID: id, Subject: id, At: at, Written: at, By: "keeper", Fact: chronometer.Owner{Name: "Museum of Veyre", Place: "Veyre"}}
	if err := db.Add(ctx, []chronometer.Entry{first}); err != nil {
		panic(err)
	}
	book, err := db.Logbook(ctx, id)
	if err != nil {
		panic(err)
	}
	owner, _ := book.Owner()
	fmt.Println(owner.Words())
	// Output:
	// Museum of Veyre · Veyre
}

// TestEveryConnectionIsDurable asks several connections of the pool for what
// SQLite's manual ("PRAGMA synchronous": 2 is FULL) promises durability by.
func TestEveryConnectionIsDurable(t *testing.T) {
	db := openNew(t)
	for range 5 {
		conn, err := store.SQL(db).Conn(t.Context()) // held, so that the next is another
		if err != nil {
			t.Fatal(err)
		}
		defer conn.Close()
		for pragma, want := range map[string]string{"journal_mode": "wal", "synchronous": "2", "fullfsync": "1", "foreign_keys": "1", "busy_timeout": "5000"} {
			var got string
			if err := conn.QueryRowContext(t.Context(), "pragma "+pragma).Scan(&got); err != nil || got != want {
				t.Errorf("%s is %q, %v, want %q", pragma, got, err, want)
			}
		}
	}
}

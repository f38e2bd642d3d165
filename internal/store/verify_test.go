package store_test

import (
	"context"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"timeball/internal/chronometer"
	"timeball/internal/store"
)

// TestVerifyFindsDamage does one harm at a time to a whole folder.
func TestVerifyFindsDamage(t *testing.T) {
	third := string(entryID(1, 3))
	raw := func(text string, args ...any) func(*testing.T, *store.DB) {
		return func(t *testing.T, db *store.DB) {
			t.Helper()
			conn, err := store.SQL(db).Conn(t.Context())
			if err != nil {
				t.Fatal(err)
			}
			defer conn.Close()
			for _, s := range []string{`pragma foreign_keys = 0`, text, `pragma foreign_keys = 1`} {
				var given []any
				if s == text {
					given = args
				}
				if _, err := conn.ExecContext(t.Context(), s, given...); err != nil {
					t.Fatal(err)
				}
			}
		}
	}
	for _, c := range []struct {
		name  string
		harm  func(*testing.T, *store.DB)
		words string
	}{
		{"a reading altered", raw(`update entry set fact = replace(fact, '"error_s":0.375', '"error_s":0.376') where id = $1`, third), third},
		{"an instant altered by 1 µs", raw(`update entry set at_us = at_us + 1 where id = $1`, third), third},
		{"a name altered", raw(`update entry set by_whom = 'nobody' where id = $1`, third), third},
		{"a fact that is no JSON", raw(`update entry set fact = '{' where id = $1`, third), third},
		{"a kind that does not match", raw(`update entry set kind = 'wound' where id = $1`, third), "cannot be read"},
		{"an entry removed", raw(`delete from entry where id = $1`, third), "has 9 entries and should have 10"},
		{"a digest altered", raw(`update entry set digest = digest - 1 where id = $1`, third), third},
		{"an entry exchanged, with its own digest", func(t *testing.T, db *store.DB) {
			raw(`delete from entry where id = $1`, third)(t, db)
			other := logbook(1, 4)[3]
			other.By = "nobody"
			add(t, db, other)
			raw(`update subject set entries = entries - 1 where id = $1`, string(entryID(1, 0)))(t, db)
		}, "altered or exchanged"},
		{"a logbook without its beginning", raw(`delete from entry where id = $1`, string(entryID(1, 0))), "lacks the entry that begins it"},
		{"a logbook unlisted", raw(`delete from subject where id = $1`, string(entryID(1, 0))), "missing from the list"},
		{"a logbook without entries", raw(`delete from entry where subject = $1`, string(entryID(2, 0))), "has no entries"},
		{"a struck-out entry removed", raw(`delete from entry where id = $1`, string(entryID(1, 4))), "which is not there"},
		{"a strike into another logbook", raw(`update entry set subject = $1 where id = $2`, string(entryID(2, 0)), string(entryID(1, 4))), "of another logbook"},
		{"an attachment unlisted", raw(`delete from attachment`), "which is not attached"},
		{"an attachment cut short", func(t *testing.T, db *store.DB) {
			if err := os.Truncate(store.Place(db, abcSHA), 2); err != nil {
				t.Fatal(err)
			}
		}, "has 2 bytes and should have 3"},
		{"an attachment altered", func(t *testing.T, db *store.DB) {
			if err := os.WriteFile(store.Place(db, abcSHA), []byte("abd"), 0o600); err != nil {
				t.Fatal(err)
			}
		}, "was altered"},
		{"an attachment removed", func(t *testing.T, db *store.DB) {
			if err := os.Remove(store.Place(db, abcSHA)); err != nil {
				t.Fatal(err)
			}
		}, "is missing"},
	} {
		t.Run(c.name, func(t *testing.T) {
			db := openNew(t)
			book := logbook(1, 10)
			book[8].Fact = chronometer.StruckOut{Entry: book[4].ID, Why: "misread"}
			book[9].Fact = chronometer.Photograph{SHA256: abcSHA, Name: "dial.jpg"}
			add(t, db, append(book, logbook(2, 1)...)...)
			if _, err := db.Attach(t.Context(), strings.NewReader(abc), 10, "image/jpeg", "dial.jpg"); err != nil {
				t.Fatal(err)
			}
			wantWhole(t, db)
			c.harm(t, db)
			r, err := db.Verify(t.Context())
			if err != nil {
				t.Fatal(err)
			}
			if said := strings.Join(r.Faults, "\n"); !strings.Contains(said, c.words) {
				t.Errorf("faults %q do not say %q", said, c.words)
			}
		})
	}
}

// TestVerifyFindsSpoiltPages overwrites the middle of a closed database file.
func TestVerifyFindsSpoiltPages(t *testing.T) {
	dir := t.TempDir()
	db := openIn(t, dir)
	add(t, db, logbook(1, 2000)...)
	db.Close()
	path := filepath.Join(dir, "timeball.db")
	bytes, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	for i := len(bytes) / 2; i < len(bytes)/2+20000; i++ {
		bytes[i] ^= 0x5a
	}
	if err := os.WriteFile(path, bytes, 0o600); err != nil {
		t.Fatal(err)
	}
	r, err := openIn(t, dir).Verify(t.Context())
	if err != nil || r.Whole() {
		t.Fatalf("spoilt pages not found, %v", err)
	}
	t.Logf("%d faults, the first: %s", len(r.Faults)+r.More, r.Faults[0])
}

func TestVerifyBoundsItsReport(t *testing.T) {
	db := openNew(t)
	add(t, db, logbook(1, 1000)...)
	if _, err := store.SQL(db).Exec(`update entry set by_whom = 'nobody'`); err != nil {
		t.Fatal(err)
	}
	r, err := db.Verify(t.Context())
	// One for each entry and one for their logbook.
	if err != nil || len(r.Faults)+r.More != 1001 || len(r.Faults) != 200 {
		t.Errorf("%d faults and %d more, %v, want 1001 in all", len(r.Faults), r.More, err)
	}
}

func TestVerifyNotes(t *testing.T) {
	db := openNew(t)
	one := instrument()
	one.Owner = entryID(7, 7)
	book := logbook(1, 1)
	book[0].Fact = one
	add(t, db, book...)
	if _, err := db.Attach(t.Context(), strings.NewReader(abc), 10, "", ""); err != nil {
		t.Fatal(err)
	}
	stray := filepath.Join(db.Folder(), "attachments", "ba", "stray")
	if err := os.WriteFile(stray, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	r := wantWhole(t, db)
	if said := strings.Join(r.Notes, "\n"); len(r.Notes) != 2 || !strings.Contains(said, string(one.Owner)) || !strings.Contains(said, stray) {
		t.Errorf("notes %q", said)
	}
}

func TestVerifyEndsWithItsContext(t *testing.T) {
	db := openNew(t)
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	_, err := db.Verify(ctx)
	wantError(t, err, context.Canceled)
}

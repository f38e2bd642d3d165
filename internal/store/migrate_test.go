package store_test

import (
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"testing/fstest"

	gocmp "github.com/google/go-cmp/cmp"

	"timeball/internal/store"
)

// with returns the migrations of the program and further ones.
func with(t *testing.T, more fstest.MapFS) fs.FS {
	t.Helper()
	steps := fstest.MapFS{}
	names, err := fs.Glob(store.Steps, "migration/*")
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range names {
		text, err := fs.ReadFile(store.Steps, name)
		if err != nil {
			t.Fatal(err)
		}
		steps[name] = &fstest.MapFile{Data: text}
	}
	maps.Copy(steps, more)
	return steps
}

func file(text string) *fstest.MapFile { return &fstest.MapFile{Data: []byte(text)} }

// had returns the numbers of the migrations that a database has had.
func had(t *testing.T, db *store.DB) []int {
	t.Helper()
	rows, err := store.SQL(db).Query(`select number from migration order by number`)
	if err != nil {
		t.Fatal(err)
	}
	defer rows.Close()
	var numbers []int
	for rows.Next() {
		var n int
		if err := rows.Scan(&n); err != nil {
			t.Fatal(err)
		}
		numbers = append(numbers, n)
	}
	return numbers
}

func copies(t *testing.T, dir string) []string {
	t.Helper()
	found, err := filepath.Glob(filepath.Join(dir, "before-migration-*"))
	if err != nil {
		t.Fatal(err)
	}
	for i := range found {
		found[i] = filepath.Base(found[i])
	}
	return found
}

func TestMigrationsRunOnce(t *testing.T) {
	dir := t.TempDir()
	for range 3 {
		db := openIn(t, dir)
		if got := had(t, db); gocmp.Diff([]int{1, 2, 3}, got) != "" {
			t.Errorf("migrations %v, want 1, 2 and 3", got)
		}
		db.Close()
	}
	if got := copies(t, dir); len(got) != 0 {
		t.Errorf("copies %v of a database that had nothing pending", got)
	}
}

func TestCopyBeforeMigration(t *testing.T) {
	dir := t.TempDir()
	db := openIn(t, dir)
	add(t, db, logbook(1, 12)...)
	db.Close()

	broken := with(t, fstest.MapFS{
		"migration/0004_weather.sqlite.sql": file(`create table weather (at_us integer primary key) strict; insert into nowhere values (1);`),
	})
	_, err := store.OpenSteps(t.Context(), dir, now, broken)
	if err == nil || !strings.Contains(err.Error(), "0004_weather") {
		t.Fatalf("a migration that cannot run: %v", err)
	}
	db = openIn(t, dir) // as it was
	if got := had(t, db); len(got) != 3 {
		t.Errorf("migrations %v after a failed one, want 1, 2 and 3", got)
	}
	add(t, db, logbook(2, 3)...) // an entry more, which the next copy must have
	db.Close()

	db, err = store.OpenSteps(t.Context(), dir, now, with(t, fstest.MapFS{
		"migration/0004_weather.sqlite.sql": file(`create table weather (at_us integer primary key) strict; drop table figures;`),
		"migration/0005_index.sqlite.sql":   file(`create index entry_by_kind on entry (kind)`),
	}))
	if err != nil {
		t.Fatal(err)
	}
	if d := gocmp.Diff([]int{1, 2, 3, 4, 5}, had(t, db)); d != "" {
		t.Errorf("migrations (-want +got):\n%s", d)
	}
	after := all(t, db)
	db.Close()
	if d := gocmp.Diff([]string{"before-migration-0004.db"}, copies(t, dir)); d != "" {
		t.Errorf("copies (-want +got):\n%s", d)
	}

	// The program of before reads the copy and refuses the database.
	_, err = store.Open(t.Context(), dir, now)
	wantError(t, err, store.ErrNewer, dir, "5")
	old := t.TempDir()
	if err := os.Rename(filepath.Join(dir, "before-migration-0004.db"), filepath.Join(old, "timeball.db")); err != nil {
		t.Fatal(err)
	}
	db = openIn(t, old)
	if d := gocmp.Diff(after, all(t, db)); d != "" || len(after) != 15 {
		t.Errorf("the copy differs (-want +got):\n%s", d)
	}
	wantWhole(t, db)
}

func TestMigrationNumbersLeaveNoGap(t *testing.T) {
	for _, name := range []string{"0005_late", "0001_again", "2_short", "word"} {
		_, err := store.OpenSteps(t.Context(), t.TempDir(), now, with(t, fstest.MapFS{"migration/" + name + ".sqlite.sql": file(`select 1`)}))
		if err == nil || !strings.Contains(err.Error(), "must begin with") {
			t.Errorf("%s: %v", name, err)
		}
	}
}

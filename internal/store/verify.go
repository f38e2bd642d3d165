package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"timeball/internal/chronometer"
)

// Report is what Verify found.
type Report struct {
	Subjects    int // logbooks
	Entries     int
	Attachments int
	Bytes       int64 // of the attachments

	Faults []string // what is wrong, a sentence each; at most mostFaults
	More   int      // faults beyond these
	Notes  []string // what is worth knowing and not wrong
}

// mostFaults bounds a report, since a damaged disk can spoil every row.
const mostFaults = 200

// Whole reports whether nothing is wrong.
func (r Report) Whole() bool { return len(r.Faults) == 0 }

func (r *Report) fault(format string, args ...any) {
	if len(r.Faults) == mostFaults {
		r.More++
		return
	}
	r.Faults = append(r.Faults, fmt.Sprintf(format, args...))
}

// Verify reads everything in the folder and reports what is wrong: damage that
// SQLite finds, an entry that was altered or cannot be read, a logbook without
// its beginning, an entry that refers to one that is not there, an attachment
// that is missing or altered. It fails only if ctx ends first. Others wait to
// write while it reads the database.
func (db *DB) Verify(ctx context.Context) (Report, error) {
	v := verification{db: db, books: map[string]*addition{}, entries: map[string]string{}, owners: map[string]string{}, files: map[string]string{}}
	if err := v.database(ctx); err != nil {
		return Report{}, err
	}
	v.attachments(ctx)
	return v.Report, ctx.Err()
}

// verification is a report in the making.
type verification struct {
	Report
	db      *DB
	books   map[string]*addition // what the entries add up to, by subject
	entries map[string]string    // the entry named by a strike or an upholding, by the entry that names it
	owners  map[string]string    // the owner named by an instrument, by its entry
	files   map[string]string    // the SHA-256 named by a picture or a recording, by its entry
}

func (v *verification) database(ctx context.Context) error {
	free, err := v.db.queue(ctx)
	if err != nil {
		return err
	}
	defer free()
	for _, check := range []struct {
		find func(context.Context) ([]string, error)
		say  string
	}{
		{v.db.integrity, "the database file is damaged (%s); restore a backup"},
		{v.db.orphans, "the database refers to a row that is not there (%s); restore a backup"},
	} {
		found, err := check.find(ctx)
		if err != nil {
			found = append(found, err.Error())
		}
		for _, f := range found {
			v.fault(check.say, f)
		}
	}
	for _, part := range []func(context.Context) error{v.eachEntry, v.subjects, v.references} {
		if err := part(ctx); err != nil {
			v.fault("the database cannot be read to its end (%v); restore a backup", err)
		}
	}
	return ctx.Err()
}

// eachEntry reads every row as it is, and notes what it refers to.
func (v *verification) eachEntry(ctx context.Context) error {
	rows, err := v.db.sql.QueryContext(ctx, `
		select id, subject, at_us, written_us, by_whom, kind, fact, digest
		from entry order by id`)
	if err != nil {
		return err
	}
	defer rows.Close()
	for rows.Next() {
		var r row
		var digest int64
		if err := rows.Scan(&r.id, &r.subject, &r.atUS, &r.writtenUS, &r.by, &r.kind, &r.fact, &digest); err != nil {
			return err
		}
		v.entry(r, digest)
	}
	return rows.Err()
}

func (v *verification) entry(r row, digest int64) {
	v.Entries++
	book, ok := v.books[r.subject]
	if !ok {
		book = &addition{}
		v.books[r.subject] = book
	}
	book.add(r)
	if r.digest() != digest {
		v.fault("entry %s (%s, logbook %s) was altered after it was written; restore it from a backup", r.id, r.kind, r.subject)
	}
	e, err := r.entry()
	if err == nil {
		// What Add refuses must not be there by another way.
		_, err = newRow(e)
	}
	if err != nil {
		v.fault("entry %.40s (logbook %.40s) cannot be read: %v; restore it from a backup", r.id, r.subject, err)
		return
	}
	if sha := chronometer.Attached(e.Fact); sha != "" {
		v.files[r.id] = sha
	}
	switch f := e.Fact.(type) {
	case chronometer.StruckOut:
		v.entries[r.id] = string(f.Entry)
	case chronometer.Upheld:
		v.entries[r.id] = string(f.Entry)
	case chronometer.Instrument:
		if f.Owner != "" {
			v.owners[r.id] = string(f.Owner)
		}
	}
}

// subjects holds the table of subjects against the entries.
func (v *verification) subjects(ctx context.Context) error {
	listed, err := v.db.Subjects(ctx)
	if err != nil {
		return err
	}
	v.Subjects = len(listed)
	list := make(map[string]Subject, len(listed))
	for _, s := range listed {
		list[string(s.ID)] = s
		if _, ok := v.books[string(s.ID)]; !ok {
			v.fault("logbook %s has no entries; restore a backup", s.ID)
		}
	}
	for _, id := range slices.Sorted(maps.Keys(v.books)) {
		book := v.books[id]
		s, ok := list[id]
		switch {
		case book.kind == "":
			v.fault("logbook %s lacks the entry that begins it; restore a backup", id)
		case !ok:
			v.fault("logbook %s is missing from the list of logbooks; restore a backup", id)
		case int64(s.Entries) != book.entries:
			v.fault("logbook %s has %d entries and should have %d; restore a backup", id, book.entries, s.Entries)
		case s.Version != book.digests:
			v.fault("logbook %s holds an entry that was altered or exchanged after it was written; restore a backup", id)
		case string(s.Kind) != book.kind:
			v.fault("logbook %s begins with %q and is listed as %q; restore a backup", id, book.kind, s.Kind)
		}
	}
	return nil
}

// references looks up what entries refer to.
func (v *verification) references(ctx context.Context) error {
	for _, id := range slices.Sorted(maps.Keys(v.entries)) {
		var same bool
		err := v.db.sql.QueryRowContext(ctx, `
			select named.subject = naming.subject
			from entry as named, entry as naming where named.id = $1 and naming.id = $2`, v.entries[id], id).Scan(&same)
		switch {
		case errors.Is(err, sql.ErrNoRows):
			v.fault("entry %s names entry %s, which is not there; import the logbook that holds it, or restore a backup", id, v.entries[id])
		case err != nil:
			return err
		case !same:
			v.fault("entry %s names entry %s of another logbook; strike it out and write it anew", id, v.entries[id])
		}
	}
	for _, id := range slices.Sorted(maps.Keys(v.owners)) {
		if book, ok := v.books[v.owners[id]]; !ok || book.kind != string(chronometer.KindOwner) {
			v.Notes = append(v.Notes, fmt.Sprintf("entry %s names owner %s, who is not in this folder", id, v.owners[id]))
		}
	}
	return nil
}

// attachments reads every attached file.
func (v *verification) attachments(ctx context.Context) {
	listed, err := v.db.Attachments(ctx)
	if err != nil {
		v.fault("the list of attachments cannot be read (%v); restore a backup", err)
		return
	}
	known := map[string]bool{}
	for _, a := range listed {
		if ctx.Err() != nil {
			return
		}
		known[a.SHA256] = true
		v.Attachments++
		v.Bytes += a.Size
		if !isSHA256(a.SHA256) {
			v.fault("attachment %.70q (%s) is listed under a name that is no SHA-256; restore a backup", a.SHA256, a.Name)
			continue
		}
		sha, size, err := hashFile(ctx, v.db.place(a.SHA256))
		switch {
		case errors.Is(err, fs.ErrNotExist):
			v.fault("attachment %s (%s) is missing; attach the file again or restore a backup", a.SHA256, a.Name)
		case err != nil:
			v.fault("attachment %s (%s) cannot be read: %v; restore a backup", a.SHA256, a.Name, err)
		case size != a.Size:
			v.fault("attachment %s (%s) has %d bytes and should have %d; attach the file again or restore a backup", a.SHA256, a.Name, size, a.Size)
		case sha != a.SHA256:
			v.fault("attachment %s (%s) was altered; attach the file again or restore a backup", a.SHA256, a.Name)
		}
	}
	for _, id := range slices.Sorted(maps.Keys(v.files)) {
		if !known[v.files[id]] {
			v.fault("entry %s names the picture or recording %s, which is not attached; attach the file or restore a backup", id, v.files[id])
		}
	}
	v.strays(known)
}

// strays notes files that no record names, as a crash between a file and its
// record leaves them.
func (v *verification) strays(known map[string]bool) {
	root := filepath.Join(v.db.dir, attachmentsName)
	err := filepath.WalkDir(root, func(path string, f fs.DirEntry, err error) error {
		if err != nil || f.IsDir() || known[f.Name()] || strings.HasPrefix(f.Name(), partPrefix) {
			return err
		}
		v.Notes = append(v.Notes, fmt.Sprintf("the file %s is not listed as an attachment; attach it again if it is wanted", path))
		return nil
	})
	if err != nil && !errors.Is(err, os.ErrNotExist) {
		v.Notes = append(v.Notes, fmt.Sprintf("the folder of attachments cannot be listed: %v", err))
	}
}

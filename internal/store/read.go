package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"iter"

	"timeball/internal/chronometer"
)

// Subject is one logbook in short.
type Subject struct {
	ID      chronometer.ID
	Kind    chronometer.Kind // of its first entry: KindEntered, an instrument, or KindOwner
	Entries int

	// Version is a number in [0, 2⁵³) that follows from the set of entries, in
	// whatever order they came: it changes when one is added, and is the same
	// in two folders that hold the same ones.
	Version int64
}

// Subjects returns all logbooks in the order of their IDs.
func (db *DB) Subjects(ctx context.Context) ([]Subject, error) {
	rows, err := db.sql.QueryContext(ctx, `select id, kind, entries, version from subject order by id`)
	if err != nil {
		return nil, fmt.Errorf("logbooks: %w", err)
	}
	defer rows.Close()
	var all []Subject
	for rows.Next() {
		var s Subject
		if err := rows.Scan(&s.ID, &s.Kind, &s.Entries, &s.Version); err != nil {
			return nil, fmt.Errorf("logbooks: %w", err)
		}
		all = append(all, s)
	}
	if err := rows.Err(); err != nil {
		return nil, fmt.Errorf("logbooks: %w", err)
	}
	return all, nil
}

// Subject returns one logbook in short, or ErrUnknown.
func (db *DB) Subject(ctx context.Context, id chronometer.ID) (Subject, error) {
	s := Subject{ID: id}
	err := db.sql.QueryRowContext(ctx, `select kind, entries, version from subject where id = $1`, id).Scan(&s.Kind, &s.Entries, &s.Version)
	switch {
	case errors.Is(err, sql.ErrNoRows):
		return Subject{}, fmt.Errorf("%w: logbook %.40q; look in the list of instruments and owners", ErrUnknown, id)
	case err != nil:
		return Subject{}, fmt.Errorf("logbook %s: %w", id, err)
	}
	return s, nil
}

// Logbook returns the logbook of a subject, or ErrUnknown.
func (db *DB) Logbook(ctx context.Context, subject chronometer.ID) (chronometer.Logbook, error) {
	s, err := db.Subject(ctx, subject)
	if err != nil {
		return chronometer.Logbook{}, err
	}
	entries := make([]chronometer.Entry, 0, s.Entries)
	for e, err := range db.query(ctx, `
		select id, subject, at_us, written_us, by_whom, kind, fact
		from entry where subject = $1 order by at_us, id`, subject) {
		if err != nil {
			return chronometer.Logbook{}, fmt.Errorf("logbook %s: %w", subject, err)
		}
		entries = append(entries, e)
	}
	return chronometer.NewLogbook(entries), nil
}

// Entries returns all entries in the order of their IDs, read one after the
// other as they are asked for, as they stood when the first was asked for. It
// ends at the first error.
func (db *DB) Entries(ctx context.Context) iter.Seq2[chronometer.Entry, error] {
	return db.query(ctx, `
		select id, subject, at_us, written_us, by_whom, kind, fact
		from entry order by id`)
}

// query returns the entries that a query selects.
func (db *DB) query(ctx context.Context, text string, args ...any) iter.Seq2[chronometer.Entry, error] {
	return func(yield func(chronometer.Entry, error) bool) {
		rows, err := db.sql.QueryContext(ctx, text, args...)
		if err != nil {
			yield(chronometer.Entry{}, fmt.Errorf("entries: %w", err))
			return
		}
		defer rows.Close()
		for rows.Next() {
			var r row
			if err := rows.Scan(&r.id, &r.subject, &r.atUS, &r.writtenUS, &r.by, &r.kind, &r.fact); err != nil {
				yield(chronometer.Entry{}, fmt.Errorf("entries: %w", err))
				return
			}
			e, err := r.entry()
			if err != nil {
				yield(chronometer.Entry{}, fmt.Errorf("the database is damaged; verify it and restore a backup: %w", err))
				return
			}
			if !yield(e, nil) {
				return
			}
		}
		if err := rows.Err(); err != nil {
			yield(chronometer.Entry{}, fmt.Errorf("entries: %w", err))
		}
	}
}

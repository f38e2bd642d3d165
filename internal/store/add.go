package store

import (
	"context"
	"database/sql"
	"fmt"
	"iter"

	"timeball/internal/chronometer"
)

// Add keeps all of the entries or none; once it has returned nil they are on
// disk. An entry that is kept already is passed over, so that it is safe to add
// the same ones again; it fails with ErrConflict if one is kept with other
// content, and with ErrNoBeginning if the entry that begins its logbook is
// neither kept nor among them. Instants are cut to the microsecond.
func (db *DB) Add(ctx context.Context, entries []chronometer.Entry) error {
	return db.AddSeq(ctx, func(yield func(chronometer.Entry, error) bool) {
		for _, e := range entries {
			if !yield(e, nil) {
				return
			}
		}
	})
}

// AddSeq is Add for a sequence, which is read once and not held in memory. An
// error in the sequence is returned and nothing is kept. Others wait to write
// while it runs, so the sequence must not write to db itself.
func (db *DB) AddSeq(ctx context.Context, entries iter.Seq2[chronometer.Entry, error]) error {
	return db.write(ctx, func(tx *sql.Tx) (bool, error) {
		insert, err := tx.PrepareContext(ctx, `
			insert into entry (id, subject, at_us, written_us, by_whom, kind, fact, digest)
			values ($1, $2, $3, $4, $5, $6, $7, $8)
			on conflict (id) do nothing`)
		if err != nil {
			return false, fmt.Errorf("entries: %w", err)
		}
		defer insert.Close()
		added := map[string]addition{}
		for e, err := range entries {
			if err != nil {
				return false, err
			}
			if err := ctx.Err(); err != nil {
				return false, err
			}
			r, err := newRow(e)
			if err != nil {
				return false, err
			}
			isNew, err := addRow(ctx, tx, insert, r)
			if err != nil {
				return false, err
			}
			if isNew {
				a := added[r.subject]
				a.add(r)
				added[r.subject] = a
			}
		}
		for subject, a := range added {
			if err := a.book(ctx, tx, subject); err != nil {
				return false, err
			}
		}
		return len(added) > 0, nil
	})
}

// addRow inserts r and returns true, or false if the same row is there.
func addRow(ctx context.Context, tx *sql.Tx, insert *sql.Stmt, r row) (bool, error) {
	done, err := insert.ExecContext(ctx, r.id, r.subject, r.atUS, r.writtenUS, r.by, r.kind, r.fact, r.digest())
	if err != nil {
		return false, fmt.Errorf("entry %s: %w", r.id, err)
	}
	if n, err := done.RowsAffected(); err != nil || n == 1 {
		return true, err
	}
	kept := row{id: r.id}
	err = tx.QueryRowContext(ctx, `select subject, at_us, written_us, by_whom, kind, fact from entry where id = $1`, r.id).
		Scan(&kept.subject, &kept.atUS, &kept.writtenUS, &kept.by, &kept.kind, &kept.fact)
	if err != nil {
		return false, fmt.Errorf("entry %s: %w", r.id, err)
	}
	if kept != r {
		return false, fmt.Errorf("%w: entry %s was written by %s as %q with %s, and is now given by %s as %q with %s; nothing was added: give the new one an id of its own",
			ErrConflict, r.id, kept.by, kept.kind, brief(kept.fact), r.by, r.kind, brief(r.fact))
	}
	return false, nil
}

// brief cuts a fact to what fits a sentence.
func brief(fact string) string {
	if r := []rune(fact); len(r) > 100 {
		return string(r[:100]) + "…"
	}
	return fact
}

// addition is what a transaction adds to one logbook.
type addition struct {
	entries int64
	digests int64 // their sum modulo versions
	kind    string
}

func (a *addition) add(r row) {
	a.entries++
	a.digests = (a.digests + r.digest()) % versions
	if r.id == r.subject {
		a.kind = r.kind
	}
}

// book writes the addition into the table of subjects.
func (a addition) book(ctx context.Context, tx *sql.Tx, subject string) error {
	if a.kind != "" {
		_, err := tx.ExecContext(ctx, `insert into subject (id, kind, entries, version) values ($1, $2, $3, $4)`, subject, a.kind, a.entries, a.digests)
		if err != nil {
			return fmt.Errorf("logbook %s: %w", subject, err)
		}
		return nil
	}
	done, err := tx.ExecContext(ctx, `update subject set entries = entries + $1, version = (version + $2) % $3 where id = $4`, a.entries, a.digests, int64(versions), subject)
	if err != nil {
		return fmt.Errorf("logbook %s: %w", subject, err)
	}
	n, err := done.RowsAffected()
	if err != nil {
		return fmt.Errorf("logbook %s: %w", subject, err)
	}
	if n == 0 {
		return fmt.Errorf("%w: %d entries are about %s and the one that begins its logbook is missing; nothing was added: add that one with them", ErrNoBeginning, a.entries, subject)
	}
	return nil
}

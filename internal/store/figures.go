package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"

	"timeball/internal/chronometer"
)

// KeepFigures keeps what was computed from a version of a logbook under a
// name, in place of what was kept under it before. Figures are never truth:
// they may be dropped at any time and are computed again.
func (db *DB) KeepFigures(ctx context.Context, subject chronometer.ID, version int64, name string, body []byte) error {
	if body == nil {
		body = []byte{}
	}
	return db.write(ctx, func(tx *sql.Tx) (bool, error) {
		_, err := tx.ExecContext(ctx, `
			insert into figures (subject, name, version, body) values ($1, $2, $3, $4)
			on conflict (subject, name) do update set version = excluded.version, body = excluded.body`, subject, name, version, body)
		if err != nil {
			return false, fmt.Errorf("figures %q of logbook %s: %w", name, subject, err)
		}
		return true, nil
	})
}

// Figures returns what KeepFigures kept and the version of the logbook it was
// computed from, or false if there is nothing. The caller compares the version
// with that of the Subject.
func (db *DB) Figures(ctx context.Context, subject chronometer.ID, name string) (version int64, body []byte, ok bool, err error) {
	err = db.sql.QueryRowContext(ctx, `select version, body from figures where subject = $1 and name = $2`, subject, name).Scan(&version, &body)
	switch {
	case errors.Is(err, sql.ErrNoRows):
		return 0, nil, false, nil
	case err != nil:
		return 0, nil, false, fmt.Errorf("figures %q of logbook %s: %w", name, subject, err)
	}
	return version, body, true, nil
}

// DropFigures drops all computed figures.
func (db *DB) DropFigures(ctx context.Context) error {
	return db.write(ctx, func(tx *sql.Tx) (bool, error) {
		_, err := tx.ExecContext(ctx, `delete from figures`)
		return err == nil, err
	})
}

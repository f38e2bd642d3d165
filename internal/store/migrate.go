package store

import (
	"context"
	"database/sql"
	"fmt"
	"io/fs"
	"path"
	"path/filepath"
	"strconv"
	"strings"
)

// step is one migration.
type step struct {
	number int
	name   string
	sql    string
}

// readSteps returns the migrations in order, the first of which is number 0;
// their numbers leave no gap.
func readSteps(fsys fs.FS) ([]step, error) {
	names, err := fs.Glob(fsys, "migration/*.sqlite.sql") // sorted
	if err != nil {
		return nil, err
	}
	var steps []step
	for i, name := range names {
		digits, _, _ := strings.Cut(path.Base(name), "_")
		number, err := strconv.Atoi(digits)
		if err != nil || len(digits) != 4 || number != i {
			return nil, fmt.Errorf("migration %s: its name must begin with %04d_", name, i)
		}
		text, err := fs.ReadFile(fsys, name)
		if err != nil {
			return nil, err
		}
		steps = append(steps, step{number, strings.TrimSuffix(path.Base(name), ".sqlite.sql"), string(text)})
	}
	if len(steps) == 0 {
		return nil, fmt.Errorf("migration: there is none")
	}
	return steps, nil
}

// migrate runs the migrations that the database has not had, each in its own
// transaction with its record, after a copy of a database that is not new.
func (db *DB) migrate(ctx context.Context, fsys fs.FS) error {
	steps, err := readSteps(fsys)
	if err != nil {
		return err
	}
	if _, err := db.sql.ExecContext(ctx, steps[0].sql); err != nil {
		return fmt.Errorf("the database of %s cannot be read; restore a backup if it is damaged: %w", db.dir, err)
	}
	var had int
	err = db.sql.QueryRowContext(ctx, `select coalesce(max(number), 0) from migration`).Scan(&had)
	if err != nil {
		return fmt.Errorf("the migrations of %s: %w", db.dir, err)
	}
	latest := len(steps) - 1
	if had > latest {
		return fmt.Errorf("%w: the database of %s has had migration %d and this program knows %d; use the newer program, or another folder", ErrNewer, db.dir, had, latest)
	}
	pending := steps[had+1:]
	if len(pending) > 0 && had > 0 {
		if err := db.copyOver(ctx, filepath.Join(db.dir, fmt.Sprintf("before-migration-%04d.db", pending[0].number))); err != nil {
			return err
		}
	}
	for _, s := range pending {
		err := db.write(ctx, func(tx *sql.Tx) (bool, error) {
			if _, err := tx.ExecContext(ctx, s.sql); err != nil {
				return false, err
			}
			_, err := tx.ExecContext(ctx, `insert into migration (number, name, applied_us) values ($1, $2, $3)`, s.number, s.name, db.now().UnixMicro())
			return true, err
		})
		if err != nil {
			return fmt.Errorf("migration %s of %s left the database as it was; use the program of before and report this: %w", s.name, db.dir, err)
		}
	}
	return nil
}

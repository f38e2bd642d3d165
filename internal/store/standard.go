package store

import (
	"context"
	"database/sql"
	"fmt"
	"time"
)

// Standing is how well UTC was known at one instant.
type Standing struct {
	At      time.Time
	OffsetS float64 // UTC minus the clock of the computer, s
	BoundS  float64 // UTC was known within this, s, if Known
	Known   bool
	Source  string // in words
}

// KeepStanding keeps s and drops what is older than since.
func (db *DB) KeepStanding(ctx context.Context, s Standing, since time.Time) error {
	bound := sql.NullFloat64{Float64: s.BoundS, Valid: s.Known}
	return db.write(ctx, func(tx *sql.Tx) (bool, error) {
		_, err := tx.ExecContext(ctx, `
			insert into standard (at_us, offset_s, bound_s, source) values ($1, $2, $3, $4)
			on conflict (at_us) do update set offset_s = excluded.offset_s, bound_s = excluded.bound_s, source = excluded.source`,
			s.At.UnixMicro(), s.OffsetS, bound, s.Source)
		if err == nil {
			_, err = tx.ExecContext(ctx, `delete from standard where at_us < $1`, since.UnixMicro())
		}
		if err != nil {
			return false, fmt.Errorf("the standard at %s: %w", s.At.UTC().Format(time.RFC3339), err)
		}
		return true, nil
	})
}

// Standings returns how well UTC was known from an instant on, oldest first.
func (db *DB) Standings(ctx context.Context, since time.Time) ([]Standing, error) {
	rows, err := db.sql.QueryContext(ctx, `select at_us, offset_s, bound_s, source from standard where at_us >= $1 order by at_us`, since.UnixMicro())
	if err != nil {
		return nil, fmt.Errorf("the standard since %s: %w", since.UTC().Format(time.RFC3339), err)
	}
	defer rows.Close()
	var all []Standing
	for rows.Next() {
		var s Standing
		var at int64
		var bound sql.NullFloat64
		if err := rows.Scan(&at, &s.OffsetS, &bound, &s.Source); err != nil {
			return nil, fmt.Errorf("the standard since %s: %w", since.UTC().Format(time.RFC3339), err)
		}
		s.At, s.BoundS, s.Known = time.UnixMicro(at).UTC(), bound.Float64, bound.Valid
		all = append(all, s)
	}
	if err := rows.Err(); err != nil {
		return nil, fmt.Errorf("the standard since %s: %w", since.UTC().Format(time.RFC3339), err)
	}
	return all, nil
}

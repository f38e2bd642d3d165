package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"math"
	"strings"
	"time"
	"unicode/utf8"
)

// Microphone is what is known of a sound input.
type Microphone struct {
	Key  string // an opaque name chosen by the browser, or one given on the command line
	Name string // as people read it
	Seen time.Time

	LatencyS   float64 // constant delay of the sound by microphone and device, s, + late
	LatencySDS float64
	LatencyHow string    // in words, such as check tone
	LatencyAt  time.Time // when it was measured; zero: never

	PPM       float64 // true sampling frequency over the nominal, less one, in parts in a million
	PPMSD     float64
	PPMSource string    // in words, such as calibrated
	PPMAt     time.Time // when it was measured; zero: never
}

// Measured is what a measurement of a microphone is of.
type Measured string

// What is measured of a microphone.
const (
	Latency       Measured = "latency" // s
	SamplingClock Measured = "clock"   // parts in a million
)

// Measure is one calibration of a microphone.
type Measure struct {
	What  Measured
	At    time.Time
	Value float64 // s or parts in a million
	SD    float64 // the same unit
	How   string  // in words
}

// measures returns the calibrations that m tells.
func (m Microphone) measures() []Measure {
	var all []Measure
	if !m.LatencyAt.IsZero() {
		all = append(all, Measure{Latency, m.LatencyAt, m.LatencyS, m.LatencySDS, m.LatencyHow})
	}
	if !m.PPMAt.IsZero() {
		all = append(all, Measure{SamplingClock, m.PPMAt, m.PPM, m.PPMSD, m.PPMSource})
	}
	return all
}

// check returns an error unless m can be kept.
func (m Microphone) check() error {
	for _, text := range []string{m.Key, m.Name, m.LatencyHow, m.PPMSource} {
		if !utf8.ValidString(text) || strings.ContainsRune(text, 0) || len(text) > 1000 {
			return fmt.Errorf("%.80q is too long or not text in UTF-8; write it shorter", text)
		}
	}
	switch {
	case strings.TrimSpace(m.Key) == "":
		return errors.New("it has no key; give the name by which it is known again")
	case m.Seen.IsZero():
		return errors.New("it was never seen; say when it was used")
	}
	for _, x := range m.measures() {
		bound := map[Measured]float64{Latency: 60, SamplingClock: 100_000}[x.What] // s, parts in a million
		if math.IsNaN(x.Value) || math.Abs(x.Value) > bound {
			return fmt.Errorf("its %s of %g is outside ±%g; measure it again", x.What, x.Value, bound)
		}
		if !(x.SD > 0 && x.SD <= bound) {
			return fmt.Errorf("its %s has the doubt %g; write one standard deviation above 0 and at most %g", x.What, x.SD, bound)
		}
		if strings.TrimSpace(x.How) == "" {
			return fmt.Errorf("its %s does not say how it was measured; say it in words", x.What)
		}
	}
	return nil
}

// KeepMicrophone keeps what m tells of a sound input and adds its calibrations
// to the history, both or neither. A calibration whose instant is zero, or
// before the one that is kept, leaves that one in use; an empty name too. The
// same may be kept again, and ErrConflict says that another value is kept
// under the same instant. Instants are cut to the microsecond.
func (db *DB) KeepMicrophone(ctx context.Context, m Microphone) error {
	if err := m.check(); err != nil {
		return fmt.Errorf("microphone %.80q: %w", m.Key, err)
	}
	return db.write(ctx, func(tx *sql.Tx) (bool, error) {
		_, err := tx.ExecContext(ctx, `
			insert into microphone (key, name, seen_at_us) values ($1, $2, $3)
			on conflict (key) do update set
				name = case when excluded.name = '' then name else excluded.name end,
				seen_at_us = max(seen_at_us, excluded.seen_at_us)`, m.Key, m.Name, m.Seen.UnixMicro())
		if err != nil {
			return false, fmt.Errorf("microphone %.80q: %w", m.Key, err)
		}
		for _, x := range m.measures() {
			if err := keepMeasure(ctx, tx, m.Key, x); err != nil {
				return false, fmt.Errorf("microphone %.80q: %w", m.Key, err)
			}
		}
		return true, nil
	})
}

// keepMeasure adds a calibration to the history and brings the latest into use.
func keepMeasure(ctx context.Context, tx *sql.Tx, key string, x Measure) error {
	at := x.At.UnixMicro()
	done, err := tx.ExecContext(ctx, `
		insert into microphone_measure (key, what, at_us, value, sd, how) values ($1, $2, $3, $4, $5, $6)
		on conflict (key, what, at_us) do nothing`, key, string(x.What), at, x.Value, x.SD, x.How)
	if err != nil {
		return err
	}
	if n, err := done.RowsAffected(); err != nil {
		return err
	} else if n == 0 {
		var kept Measure
		err := tx.QueryRowContext(ctx, `select value, sd, how from microphone_measure where key = $1 and what = $2 and at_us = $3`, key, string(x.What), at).
			Scan(&kept.Value, &kept.SD, &kept.How)
		if err != nil {
			return err
		}
		if kept.Value != x.Value || kept.SD != x.SD || kept.How != x.How {
			return fmt.Errorf("%w: its %s of %s was %g and is now given as %g; nothing was changed: give the new one an instant of its own",
				ErrConflict, x.What, x.At.UTC().Format(time.RFC3339Nano), kept.Value, x.Value)
		}
	}
	update := `update microphone set latency_s = $1, latency_sd_s = $2, latency_how = $3, latency_at_us = $4
		where key = $5 and coalesce(latency_at_us <= $4, true)`
	if x.What == SamplingClock {
		update = `update microphone set ppm = $1, ppm_sd = $2, ppm_source = $3, ppm_at_us = $4
			where key = $5 and coalesce(ppm_at_us <= $4, true)`
	}
	_, err = tx.ExecContext(ctx, update, x.Value, x.SD, x.How, at, key)
	return err
}

// microphoneColumns are the columns of a microphone in the order of scan.
const microphoneColumns = `key, name, seen_at_us, latency_s, latency_sd_s, latency_how, latency_at_us, ppm, ppm_sd, ppm_source, ppm_at_us`

// scan reads a row of microphoneColumns.
func (m *Microphone) scan(row interface{ Scan(...any) error }) error {
	var seen int64
	var latency, latencySD, ppm, ppmSD sql.NullFloat64
	var latencyHow, source sql.NullString
	var latencyAt, ppmAt sql.NullInt64
	if err := row.Scan(&m.Key, &m.Name, &seen, &latency, &latencySD, &latencyHow, &latencyAt, &ppm, &ppmSD, &source, &ppmAt); err != nil {
		return err
	}
	m.Seen = time.UnixMicro(seen).UTC()
	m.LatencyS, m.LatencySDS, m.LatencyHow = latency.Float64, latencySD.Float64, latencyHow.String
	m.PPM, m.PPMSD, m.PPMSource = ppm.Float64, ppmSD.Float64, source.String
	if latencyAt.Valid {
		m.LatencyAt = time.UnixMicro(latencyAt.Int64).UTC()
	}
	if ppmAt.Valid {
		m.PPMAt = time.UnixMicro(ppmAt.Int64).UTC()
	}
	return nil
}

// Microphone returns what is known of a sound input, or false if it was never
// kept.
func (db *DB) Microphone(ctx context.Context, key string) (m Microphone, ok bool, err error) {
	err = m.scan(db.sql.QueryRowContext(ctx, `select `+microphoneColumns+` from microphone where key = $1`, key))
	switch {
	case errors.Is(err, sql.ErrNoRows):
		return Microphone{}, false, nil
	case err != nil:
		return Microphone{}, false, fmt.Errorf("microphone %.80q: %w", key, err)
	}
	return m, true, nil
}

// Microphones returns what is known of all sound inputs, the one seen last
// first.
func (db *DB) Microphones(ctx context.Context) ([]Microphone, error) {
	rows, err := db.sql.QueryContext(ctx, `select `+microphoneColumns+` from microphone order by seen_at_us desc, key`)
	if err != nil {
		return nil, fmt.Errorf("microphones: %w", err)
	}
	defer rows.Close()
	var all []Microphone
	for rows.Next() {
		var m Microphone
		if err := m.scan(rows); err != nil {
			return nil, fmt.Errorf("microphones: %w", err)
		}
		all = append(all, m)
	}
	if err := rows.Err(); err != nil {
		return nil, fmt.Errorf("microphones: %w", err)
	}
	return all, nil
}

// Measures returns every calibration of a sound input, oldest first.
func (db *DB) Measures(ctx context.Context, key string) ([]Measure, error) {
	rows, err := db.sql.QueryContext(ctx, `select what, at_us, value, sd, how from microphone_measure where key = $1 order by at_us, what`, key)
	if err != nil {
		return nil, fmt.Errorf("microphone %.80q: %w", key, err)
	}
	defer rows.Close()
	var all []Measure
	for rows.Next() {
		var x Measure
		var at int64
		if err := rows.Scan(&x.What, &at, &x.Value, &x.SD, &x.How); err != nil {
			return nil, fmt.Errorf("microphone %.80q: %w", key, err)
		}
		x.At = time.UnixMicro(at).UTC()
		all = append(all, x)
	}
	if err := rows.Err(); err != nil {
		return nil, fmt.Errorf("microphone %.80q: %w", key, err)
	}
	return all, nil
}

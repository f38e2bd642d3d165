package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"net/url"
	"os"
	"path/filepath"
	"strings"

	_ "modernc.org/sqlite" // the driver "sqlite"
)

// pragmas are set on every connection. fullfsync matters on macOS, where a
// plain fsync leaves data in the drive's cache (SQLite, "PRAGMA fullfsync"). A
// cache of up to 16 MiB keeps a large import from writing its pages twice, and
// the limit cuts the log back after one.
var pragmas = []string{
	"busy_timeout(5000)", "journal_mode(WAL)", "synchronous(FULL)", "fullfsync(1)", "foreign_keys(1)",
	"cache_size(-16384)", "journal_size_limit(16777216)",
}

// openDatabase opens the SQLite file at an absolute path, and makes it,
// readable by its owner alone, if there is none.
func openDatabase(ctx context.Context, path string) (*sql.DB, error) {
	f, err := os.OpenFile(path, os.O_RDWR|os.O_CREATE, 0o600)
	if err != nil {
		return nil, fmt.Errorf("the database cannot be opened; look at the permissions of the folder: %w", err)
	}
	f.Close()
	q := url.Values{"_pragma": pragmas, "_txlock": {"immediate"}}
	db, err := sql.Open("sqlite", fileURI(path)+"?"+q.Encode())
	if err != nil {
		return nil, fmt.Errorf("database %s: %w", path, err)
	}
	db.SetMaxIdleConns(8)
	if err := db.PingContext(ctx); err != nil {
		db.Close()
		return nil, fmt.Errorf("the database %s cannot be opened; restore a backup if it is damaged: %w", path, err)
	}
	return db, nil
}

// fileURI returns an absolute path as a URI in the form that SQLite reads
// ("Uniform Resource Identifiers", section 3).
func fileURI(path string) string {
	p := filepath.ToSlash(path)
	if !strings.HasPrefix(p, "/") {
		p = "/" + p // a drive letter
	}
	return "file:" + (&url.URL{Path: p}).EscapedPath()
}

// CopyTo writes a consistent, compact copy of the database, without the
// attachments, to a new file; the folder may be written to meanwhile. It fails
// if there is such a file already.
func (db *DB) CopyTo(ctx context.Context, path string) error {
	if _, err := os.Lstat(path); err == nil {
		return fmt.Errorf("%s exists already; choose another name", path)
	}
	return db.copyOver(ctx, path)
}

// copyOver is CopyTo that replaces the file at path once the copy is complete.
func (db *DB) copyOver(ctx context.Context, path string) (err error) {
	path, err = filepath.Abs(path)
	if err != nil {
		return fmt.Errorf("copy of the database: %w", err)
	}
	f, err := os.CreateTemp(filepath.Dir(path), partPrefix)
	if err != nil {
		return fmt.Errorf("copy of the database: %w", err)
	}
	part := f.Name()
	defer func() {
		if err != nil {
			os.Remove(part)
		}
	}()
	defer f.Close()
	if _, err := db.sql.ExecContext(ctx, `vacuum into $1`, part); err != nil {
		return fmt.Errorf("copy of the database to %s: %w", path, err)
	}
	if err := errors.Join(f.Sync(), f.Close()); err != nil {
		return fmt.Errorf("copy of the database to %s: %w", path, err)
	}
	if err := os.Rename(part, path); err != nil {
		return fmt.Errorf("copy of the database: %w", err)
	}
	if err := syncFolder(filepath.Dir(path)); err != nil {
		return fmt.Errorf("copy of the database to %s: %w", path, err)
	}
	return nil
}

// integrity returns what SQLite itself finds wrong with the file, a phrase
// each.
func (db *DB) integrity(ctx context.Context) ([]string, error) {
	faults, err := db.phrases(ctx, `pragma integrity_check`, 1)
	if err != nil {
		return nil, err
	}
	if len(faults) == 1 && faults[0] == "ok" {
		faults = nil
	}
	return faults, nil
}

// orphans returns the rows that refer to a row that is not there, a phrase
// each.
func (db *DB) orphans(ctx context.Context) ([]string, error) {
	return db.phrases(ctx, `pragma foreign_key_check`, 4)
}

// phrases joins the columns of each row of a query with spaces.
func (db *DB) phrases(ctx context.Context, query string, columns int) ([]string, error) {
	rows, err := db.sql.QueryContext(ctx, query)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	var phrases []string
	for rows.Next() {
		text, into := make([]sql.NullString, columns), make([]any, columns)
		for i := range text {
			into[i] = &text[i]
		}
		if err := rows.Scan(into...); err != nil {
			return nil, err
		}
		var words []string
		for _, t := range text {
			if t.Valid {
				words = append(words, t.String)
			}
		}
		phrases = append(phrases, strings.Join(words, " "))
	}
	return phrases, rows.Err()
}

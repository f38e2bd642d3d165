// Package store keeps logbooks and attached files in one folder: entries in a
// SQLite database, attachments as files named by their SHA-256.
//
// Entries are added and never altered. An entry is acknowledged once Add has
// returned nil: from then on it outlives a crash of the program, because the
// write-ahead log is flushed at every commit (SQLite, "PRAGMA synchronous",
// FULL), and of the machine as far as its disk keeps what it says it has kept.
// One process at a time holds a folder; it must lie on a local disk, since
// SQLite's write-ahead log does not work over a network ("Write-Ahead
// Logging", section 1).
package store

import (
	"context"
	"database/sql"
	"embed"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"time"

	"github.com/oklog/ulid/v2"
)

// The ways in which the store says no; each is wrapped with what and where.
var (
	ErrInUse       = errors.New("the folder is in use")
	ErrNewer       = errors.New("the folder was written by a newer program")
	ErrConflict    = errors.New("the entry is kept already with other content")
	ErrNoBeginning = errors.New("the logbook has no beginning")
	ErrUnknown     = errors.New("not in this folder")
	ErrTooLarge    = errors.New("the file is too large")
)

const (
	databaseName    = "timeball.db"
	lockName        = "timeball.lock"
	attachmentsName = "attachments"
	partPrefix      = "part-" // of files being written
)

//go:embed migration/*.sqlite.sql
var migrations embed.FS

// DB is an open folder. Its methods may be called from several goroutines.
type DB struct {
	dir  string
	now  func() time.Time
	sql  *sql.DB
	lock *lock

	// writing holds one token. Writers queue for it instead of in SQLite,
	// whose queue gives up after busy_timeout.
	writing chan struct{}

	idMu   sync.Mutex
	lastID ulid.ULID
}

// Open opens the folder dir, makes it if there is none, and brings its
// database up to date; the caller closes it. It fails with ErrInUse if another
// process holds the folder, and with ErrNewer if its database has had a
// migration that this program does not know.
func Open(ctx context.Context, dir string, now func() time.Time) (*DB, error) {
	return open(ctx, dir, now, migrations)
}

func open(ctx context.Context, dir string, now func() time.Time, steps fs.FS) (_ *DB, err error) {
	dir, err = filepath.Abs(dir)
	if err != nil {
		return nil, fmt.Errorf("folder %s: %w", dir, err)
	}
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return nil, fmt.Errorf("the folder %s cannot be made; choose another one: %w", dir, err)
	}
	held, err := lockFolder(dir)
	if err != nil {
		return nil, err
	}
	db := &DB{dir: dir, now: now, lock: held, writing: make(chan struct{}, 1)}
	defer func() {
		if err != nil {
			db.Close()
		}
	}()
	if err := db.sweep(); err != nil {
		return nil, err
	}
	if db.sql, err = openDatabase(ctx, filepath.Join(dir, databaseName)); err != nil {
		return nil, err
	}
	if err := db.migrate(ctx, steps); err != nil {
		return nil, err
	}
	// The names of new files must outlast a power cut too, as must that of a
	// new folder; the folder above may be closed to us, and then is not new.
	if err := syncFolder(dir); err != nil {
		return nil, fmt.Errorf("folder %s: %w", dir, err)
	}
	_ = syncFolder(filepath.Dir(dir))
	return db, nil
}

// sweep removes what an interrupted write of a file left behind; the lock
// makes sure that nobody is writing.
func (db *DB) sweep() error {
	for _, dir := range []string{db.dir, filepath.Join(db.dir, attachmentsName)} {
		files, err := os.ReadDir(dir)
		if err != nil && !errors.Is(err, fs.ErrNotExist) {
			return fmt.Errorf("the folder cannot be read; look at its permissions: %w", err)
		}
		for _, f := range files {
			if !strings.HasPrefix(f.Name(), partPrefix) {
				continue
			}
			if err := os.Remove(filepath.Join(dir, f.Name())); err != nil {
				return fmt.Errorf("an unfinished file cannot be removed; look at the permissions of the folder: %w", err)
			}
		}
	}
	return nil
}

// Folder returns the absolute path of the folder.
func (db *DB) Folder() string { return db.dir }

// Close closes the database and lets go of the folder.
func (db *DB) Close() error {
	var err error
	if db.sql != nil {
		err = db.sql.Close()
	}
	return errors.Join(err, db.lock.release())
}

// write runs change in a transaction that is committed if it returns nil and
// true, and otherwise rolled back. Only one runs at a time.
func (db *DB) write(ctx context.Context, change func(*sql.Tx) (bool, error)) error {
	free, err := db.queue(ctx)
	if err != nil {
		return err
	}
	defer free()
	tx, err := db.sql.BeginTx(ctx, nil)
	if err != nil {
		return fmt.Errorf("the database cannot be written; nothing was changed: %w", err)
	}
	defer tx.Rollback()
	changed, err := change(tx)
	if err != nil {
		return err
	}
	if !changed {
		return nil
	}
	if err := tx.Commit(); err != nil {
		return fmt.Errorf("the database cannot be written; nothing was changed: %w", err)
	}
	return nil
}

// queue waits until no other goroutine writes.
func (db *DB) queue(ctx context.Context) (free func(), err error) {
	select {
	case db.writing <- struct{}{}:
		return func() { <-db.writing }, nil
	case <-ctx.Done():
		return nil, ctx.Err()
	}
}

// Kept reports whether a folder holds a database of ours.
func Kept(dir string) bool {
	info, err := os.Stat(filepath.Join(dir, databaseName))
	return err == nil && info.Mode().IsRegular()
}

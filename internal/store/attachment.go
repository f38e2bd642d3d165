package store

import (
	"context"
	"crypto/sha256"
	"database/sql"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math"
	"mime"
	"os"
	"path/filepath"
	"strings"
	"time"
	"unicode/utf8"
)

// Attachment is a kept file: a picture or a recording.
type Attachment struct {
	SHA256 string // of its bytes, 64 hexadecimal digits, by which it is named
	Size   int64  // bytes
	Type   string // media type, as given when it was first attached
	Name   string // file name, as given when it was first attached
	Added  time.Time
}

// Attach keeps the bytes of r, at most limit of them, and returns their record
// once both are on disk. Bytes that are kept already are kept once, with their
// first type and name. It fails with ErrTooLarge if there are more.
func (db *DB) Attach(ctx context.Context, r io.Reader, limit int64, mediaType, name string) (Attachment, error) {
	if mediaType == "" {
		mediaType = "application/octet-stream"
	}
	if _, _, err := mime.ParseMediaType(mediaType); err != nil {
		return Attachment{}, fmt.Errorf("attachment %.80q: %.80q is no media type; write one such as image/jpeg: %w", name, mediaType, err)
	}
	if !utf8.ValidString(name) || strings.ContainsRune(name, 0) || len(name) > 1000 {
		return Attachment{}, fmt.Errorf("attachment %.80q: its name is too long or not text in UTF-8; give it a shorter one", name)
	}
	if err := os.MkdirAll(filepath.Join(db.dir, attachmentsName), 0o700); err != nil {
		return Attachment{}, fmt.Errorf("attachment %.80q: %w", name, err)
	}
	sha, size, err := db.keepBytes(ctx, r, limit)
	if err != nil {
		return Attachment{}, fmt.Errorf("attachment %.80q was not kept: %w", name, err)
	}
	err = db.write(ctx, func(tx *sql.Tx) (bool, error) {
		_, err := tx.ExecContext(ctx, `
			insert into attachment (sha256, size, type, name, added_us) values ($1, $2, $3, $4, $5)
			on conflict (sha256) do nothing`, sha, size, mediaType, name, db.now().UnixMicro())
		return err == nil, err
	})
	if err != nil {
		return Attachment{}, fmt.Errorf("attachment %.80q was not kept: %w", name, err)
	}
	return db.attachment(ctx, sha)
}

// keepBytes writes r to its place and returns its SHA-256 and size. The file
// gets its name when it is whole and on disk, so that a crash leaves the whole
// file or none.
func (db *DB) keepBytes(ctx context.Context, r io.Reader, limit int64) (sha string, size int64, err error) {
	part, err := os.CreateTemp(filepath.Join(db.dir, attachmentsName), partPrefix)
	if err != nil {
		return "", 0, err
	}
	defer func() {
		part.Close()
		if err != nil {
			os.Remove(part.Name())
		}
	}()
	hash := sha256.New()
	limit = min(limit, math.MaxInt64-1)
	size, err = io.Copy(io.MultiWriter(part, hash), io.LimitReader(untilDone{ctx, r}, limit+1))
	switch {
	case err != nil:
		return "", 0, err
	case size > limit:
		return "", 0, fmt.Errorf("%w: it has more than %d bytes; make it smaller", ErrTooLarge, limit)
	case size == 0:
		return "", 0, errors.New("the file is empty; choose another one")
	}
	if err := errors.Join(part.Sync(), part.Close()); err != nil {
		return "", 0, err
	}
	sha = hex.EncodeToString(hash.Sum(nil))
	place := db.place(sha)
	if was, _, err := hashFile(ctx, place); err == nil && was == sha {
		return sha, size, os.Remove(part.Name())
	}
	// A damaged file of that name is replaced by the whole one.
	if err := os.MkdirAll(filepath.Dir(place), 0o700); err != nil {
		return "", 0, err
	}
	if err := os.Rename(part.Name(), place); err != nil {
		return "", 0, err
	}
	for dir := filepath.Dir(place); len(dir) >= len(db.dir); dir = filepath.Dir(dir) {
		if err := syncFolder(dir); err != nil {
			return "", 0, err
		}
	}
	return sha, size, nil
}

// untilDone is a reader that ends with its context.
type untilDone struct {
	ctx context.Context
	r   io.Reader
}

func (u untilDone) Read(p []byte) (int, error) {
	if err := u.ctx.Err(); err != nil {
		return 0, err
	}
	return u.r.Read(p)
}

// place returns the path of the file of a SHA-256.
func (db *DB) place(sha string) string {
	return filepath.Join(db.dir, attachmentsName, sha[:2], sha)
}

// hashFile returns the SHA-256 of a file and its size.
func hashFile(ctx context.Context, path string) (string, int64, error) {
	f, err := os.Open(path)
	if err != nil {
		return "", 0, err
	}
	defer f.Close()
	hash := sha256.New()
	size, err := io.Copy(hash, untilDone{ctx, f})
	return hex.EncodeToString(hash.Sum(nil)), size, err
}

// isSHA256 reports whether s is written as the names of attachments are.
func isSHA256(s string) bool {
	return len(s) == 2*sha256.Size && strings.Trim(s, "0123456789abcdef") == ""
}

// attachment returns a record, or ErrUnknown.
func (db *DB) attachment(ctx context.Context, sha string) (Attachment, error) {
	if !isSHA256(sha) {
		return Attachment{}, fmt.Errorf("%w: attachment %.70q; it is named by the 64 hexadecimal digits of its SHA-256", ErrUnknown, sha)
	}
	a := Attachment{SHA256: sha}
	var addedUS int64
	err := db.sql.QueryRowContext(ctx, `select size, type, name, added_us from attachment where sha256 = $1`, sha).Scan(&a.Size, &a.Type, &a.Name, &addedUS)
	switch {
	case errors.Is(err, sql.ErrNoRows):
		return Attachment{}, fmt.Errorf("%w: attachment %.70q; attach the file first", ErrUnknown, sha)
	case err != nil:
		return Attachment{}, fmt.Errorf("attachment %s: %w", sha, err)
	}
	a.Added = time.UnixMicro(addedUS).UTC()
	return a, nil
}

// OpenAttachment returns the file of a SHA-256 for reading, which the caller
// closes, and its record; or ErrUnknown.
func (db *DB) OpenAttachment(ctx context.Context, sha string) (io.ReadSeekCloser, Attachment, error) {
	a, err := db.attachment(ctx, sha)
	if err != nil {
		return nil, Attachment{}, err
	}
	f, err := os.Open(db.place(sha)) // sha is in the table, so it is no path of the caller's making
	if errors.Is(err, fs.ErrNotExist) {
		return nil, Attachment{}, fmt.Errorf("%w: the file of attachment %s (%s) is missing; attach it again or restore a backup", ErrUnknown, sha, a.Name)
	}
	if err != nil {
		return nil, Attachment{}, fmt.Errorf("attachment %s: %w", sha, err)
	}
	return f, a, nil
}

// Attachments returns the records of all attachments in the order of their
// SHA-256.
func (db *DB) Attachments(ctx context.Context) ([]Attachment, error) {
	rows, err := db.sql.QueryContext(ctx, `select sha256, size, type, name, added_us from attachment order by sha256`)
	if err != nil {
		return nil, fmt.Errorf("attachments: %w", err)
	}
	defer rows.Close()
	var all []Attachment
	for rows.Next() {
		var a Attachment
		var addedUS int64
		if err := rows.Scan(&a.SHA256, &a.Size, &a.Type, &a.Name, &addedUS); err != nil {
			return nil, fmt.Errorf("attachments: %w", err)
		}
		a.Added = time.UnixMicro(addedUS).UTC()
		all = append(all, a)
	}
	if err := rows.Err(); err != nil {
		return nil, fmt.Errorf("attachments: %w", err)
	}
	return all, nil
}

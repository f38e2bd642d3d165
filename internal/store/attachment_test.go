package store_test

import (
	"bytes"
	"context"
	"errors"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"testing/iotest"

	"timeball/internal/store"
)

// abc is the one-block message sample of FIPS 180-4, SHA-256 (NIST, Examples
// with Intermediate Values, SHA256.pdf): "abc" and its digest.
const (
	abc    = "abc"
	abcSHA = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
)

func TestAttach(t *testing.T) {
	dir := t.TempDir()
	db := openIn(t, dir)
	want := store.Attachment{SHA256: abcSHA, Size: 3, Type: "image/jpeg", Name: "dial.jpg", Added: start}
	for _, name := range []string{"dial.jpg", "the same under another name.jpg"} {
		got, err := db.Attach(t.Context(), iotest.OneByteReader(strings.NewReader(abc)), 3, "image/jpeg", name)
		if err != nil || got != want {
			t.Errorf("attached %+v, %v, want %+v", got, err, want)
		}
	}
	if text, err := os.ReadFile(filepath.Join(dir, "attachments", "ba", abcSHA)); string(text) != abc {
		t.Errorf("file holds %q, %v", text, err)
	}
	f, got, err := db.OpenAttachment(t.Context(), abcSHA)
	if err != nil || got != want {
		t.Fatalf("opened %+v, %v, want %+v", got, err, want)
	}
	defer f.Close()
	if text, err := io.ReadAll(f); string(text) != abc || err != nil {
		t.Errorf("read %q, %v", text, err)
	}
	if list, err := db.Attachments(t.Context()); err != nil || len(list) != 1 || list[0] != want {
		t.Errorf("list %+v, %v", list, err)
	}
	if r := wantWhole(t, db); r.Attachments != 1 || r.Bytes != 3 {
		t.Errorf("report counts %d attachments of %d bytes, want 1 of 3", r.Attachments, r.Bytes)
	}
	for _, sha := range []string{"", "../../etc/passwd", strings.Repeat("0", 64), strings.ToUpper(abcSHA)} {
		_, _, err := db.OpenAttachment(t.Context(), sha)
		wantError(t, err, store.ErrUnknown)
	}
}

func TestAttachRefuses(t *testing.T) {
	dir := t.TempDir()
	db := openIn(t, dir)
	broken := errors.New("the telephone went away")
	ended, cancel := context.WithCancel(t.Context())
	cancel()
	for _, c := range []struct {
		name  string
		ctx   context.Context
		r     io.Reader
		typ   string
		file  string
		wraps error
		words string
	}{
		{"one byte too many", t.Context(), strings.NewReader("abcd"), "", "a", store.ErrTooLarge, "smaller"},
		{"endless", t.Context(), endless{}, "", "a", store.ErrTooLarge, "3 bytes"},
		{"empty", t.Context(), strings.NewReader(""), "", "a", nil, "empty"},
		{"broken off", t.Context(), io.MultiReader(strings.NewReader("ab"), iotest.ErrReader(broken)), "", "a", broken, ""},
		{"ended", ended, strings.NewReader(abc), "", "a", context.Canceled, ""},
		{"no media type", t.Context(), strings.NewReader(abc), "jpeg/", "a", nil, "image/jpeg"},
		{"no name", t.Context(), strings.NewReader(abc), "", "a\xff", nil, "UTF-8"},
	} {
		_, err := db.Attach(c.ctx, c.r, 3, c.typ, c.file)
		if err == nil || c.wraps != nil && !errors.Is(err, c.wraps) || !strings.Contains(err.Error(), c.words) {
			t.Errorf("%s: error %v, want %v saying %q", c.name, err, c.wraps, c.words)
		}
	}
	files, err := os.ReadDir(filepath.Join(dir, "attachments"))
	if err != nil || len(files) != 0 {
		t.Errorf("%v left behind, %v", files, err)
	}
	wantWhole(t, db)
}

type endless struct{}

func (endless) Read(p []byte) (int, error) { return len(p), nil }

// TestAttachMends attaches a file again whose bytes on disk were spoilt, and
// opens a folder in which a write was broken off.
func TestAttachMends(t *testing.T) {
	dir := t.TempDir()
	db := openIn(t, dir)
	if _, err := db.Attach(t.Context(), strings.NewReader(abc), 10, "", ""); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(store.Place(db, abcSHA), []byte("abd"), 0o600); err != nil {
		t.Fatal(err)
	}
	if r, err := db.Verify(t.Context()); err != nil || r.Whole() {
		t.Errorf("spoilt file not found: %v", err)
	}
	if _, err := db.Attach(t.Context(), strings.NewReader(abc), 10, "", ""); err != nil {
		t.Fatal(err)
	}
	wantWhole(t, db)
	db.Close()
	part := filepath.Join(dir, "attachments", "part-123")
	if err := os.WriteFile(part, bytes.Repeat([]byte{1}, 10), 0o600); err != nil {
		t.Fatal(err)
	}
	db = openIn(t, dir)
	if _, err := os.Stat(part); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("unfinished file is still there: %v", err)
	}
	wantWhole(t, db)
}

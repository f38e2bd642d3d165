package workshop_test

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"image"
	"image/color"
	"image/jpeg"
	"io"
	"strings"
	"testing"
	"testing/iotest"
	"time"

	"timeball/internal/chronometer"
	"timeball/internal/picture"
)

// dialPicture returns a JPEG of 3000 by 20 pixels, left dark, right light,
// which says by its EXIF that it was stored upside down.
func dialPicture(t testing.TB) []byte {
	t.Helper()
	m := image.NewGray(image.Rect(0, 0, 3000, 20))
	for y := range 20 {
		for x := 1500; x < 3000; x++ {
			m.SetGray(x, y, color.Gray{Y: 255})
		}
	}
	var b bytes.Buffer
	if err := jpeg.Encode(&b, m, nil); err != nil {
		t.Fatal(err)
	}
	// A segment APP1 with one entry, Orientation = 3 (CIPA DC-008-2023, 4.6).
	const exif = "\xff\xe1\x00\x22Exif\x00\x00MM\x00*\x00\x00\x00\x08\x00\x01\x01\x12\x00\x03\x00\x00\x00\x01\x00\x03\x00\x00\x00\x00\x00\x00"
	return append([]byte("\xff\xd8"+exif), b.Bytes()[2:]...)
}

// TestAttachMakesSmall keeps a picture small, upright and bare, under the
// SHA-256 of what is kept, and not what was sent.
func TestAttachMakesSmall(t *testing.T) {
	w := open(t)
	subject := enter(t, w, "417")
	id, err := w.NewID(t.Context(), subject, chronometer.KindPhotograph)
	if err != nil {
		t.Fatal(err)
	}
	sent := dialPicture(t)
	e, err := w.Attach(t.Context(), id, "keeper", subject, time.Time{}, "dial.jpg", "the dial", bytes.NewReader(sent))
	if err != nil {
		t.Fatal(err)
	}
	fact := e.Fact.(chronometer.Photograph)
	mediaType, file, err := w.Attachment(t.Context(), fact.SHA256)
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	kept, err := io.ReadAll(file)
	if err != nil {
		t.Fatal(err)
	}
	sum := sha256.Sum256(kept)
	if want := (chronometer.Photograph{SHA256: hex.EncodeToString(sum[:]), Name: "dial.jpg", Type: "image/jpeg", Caption: "the dial"}); fact != want || mediaType != "image/jpeg" {
		t.Errorf("kept as %+v and %s, want %+v", fact, mediaType, want)
	}
	m, err := jpeg.Decode(bytes.NewReader(kept))
	if err != nil {
		t.Fatal(err)
	}
	left, _, _, _ := m.At(20, 5).RGBA()
	right, _, _, _ := m.At(1580, 5).RGBA()
	if m.Bounds().Size() != image.Pt(1600, 11) || left < 0xf000 || right > 0x0fff || bytes.Contains(kept, []byte("Exif")) {
		t.Errorf("kept as %v, from %#x to %#x", m.Bounds(), left, right)
	}
	sentSum := sha256.Sum256(sent)
	if _, _, err := w.Attachment(t.Context(), hex.EncodeToString(sentSum[:])); err == nil {
		t.Error("what was sent is kept")
	}
}

// TestAttachRefuses keeps nothing and writes nothing of what is no picture.
func TestAttachRefuses(t *testing.T) {
	w := open(t)
	subject := enter(t, w, "417")
	attach := func(ctx context.Context, r io.Reader) error {
		t.Helper()
		id, err := w.NewID(t.Context(), subject, chronometer.KindPhotograph)
		if err != nil {
			t.Fatal(err)
		}
		_, err = w.Attach(ctx, id, "keeper", subject, time.Time{}, "dial.heic", "the dial", r)
		return err
	}
	heic := strings.NewReader("\x00\x00\x00\x18ftypheic\x00\x00\x00\x00mif1heic")
	if err := attach(t.Context(), heic); !errors.Is(err, chronometer.ErrEntry) || !errors.Is(err, picture.ErrPicture) || !strings.Contains(err.Error(), "send it as JPEG") {
		t.Errorf("HEIC: %v", err)
	}
	broken := errors.New("the line broke")
	if err := attach(t.Context(), iotest.ErrReader(broken)); !errors.Is(err, broken) || errors.Is(err, chronometer.ErrEntry) {
		t.Errorf("a broken line: %v", err)
	}
	done, cancel := context.WithCancel(t.Context())
	cancel()
	if err := attach(done, bytes.NewReader(dialPicture(t))); !errors.Is(err, context.Canceled) {
		t.Errorf("nobody waits: %v", err)
	}
	seen, err := w.See(t.Context(), "417")
	if err != nil || seen.Logbook.Len() != 1 {
		t.Errorf("%d entries, %v", seen.Logbook.Len(), err)
	}
	if report, err := w.Verify(t.Context()); err != nil || report.Attachments != 0 {
		t.Errorf("%d attachments, %v", report.Attachments, err)
	}
}

package hearing

import (
	"os"
	"testing"

	"timeball/internal/audio"
)

// TestKept: the sound may be read whole while more comes, ends where a recording
// may grow no more, and leaves nothing behind.
func TestKept(t *testing.T) {
	folder := t.TempDir()
	t.Setenv("TMPDIR", folder)
	k, err := newKept(8000)
	if err != nil {
		t.Fatal(err)
	}
	second := make([]float64, 8000)
	second[5] = 0.5
	whole := func(seconds int64) {
		t.Helper()
		r, err := k.read()
		if err != nil {
			t.Fatal(err)
		}
		recording, err := audio.Open(r)
		if err != nil {
			t.Fatal(err)
		}
		got := make([]float64, 8000)
		if n, err := recording.Read(got); err != nil || n < 6 || got[5] < 0.499 || got[5] > 0.501 {
			t.Errorf("%d frames, the sixth %g, %v", n, got[5], err)
		}
		if !recording.Known || recording.Frames != seconds*8000 || len(recording.Warnings()) != 0 {
			t.Errorf("%+v, %q; want %d s", recording.Format, recording.Warnings(), seconds)
		}
	}
	for n := int64(1); n <= 3; n++ {
		if err := k.write(second); err != nil {
			t.Fatal(err)
		}
		whole(n)
	}
	k.bytes = mostBytes - 100 // as if it had gone on for long
	if err := k.write(second); err != nil || !k.full {
		t.Errorf("a full recording: %t, %v", k.full, err)
	}
	if err := k.write(second[:10]); err != nil || k.bytes != mostBytes-100 {
		t.Error("what comes after a stretch that was left out is kept as if it followed")
	}
	k.discard()
	if _, err := k.read(); err == nil {
		t.Error("what was given up is read")
	}
	if left, err := os.ReadDir(folder); err != nil || len(left) != 0 {
		t.Errorf("%v stays behind, %v", left, err)
	}
	var none *kept
	none.discard()
}

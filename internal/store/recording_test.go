package store_test

import (
	"io"
	"math/rand/v2"
	"runtime"
	"strings"
	"testing"

	"timeball/internal/chronometer"
	"timeball/internal/store"
)

// sound gives n bytes that do not repeat, and looks at the live memory now and
// then while it is read.
type sound struct {
	left int64
	rng  *rand.ChaCha8
	most uint64
	next int64
}

func newSound(n int64) *sound { return &sound{left: n, rng: rand.NewChaCha8([32]byte{1}), next: n} }

func (s *sound) Read(p []byte) (int, error) {
	if s.left == 0 {
		return 0, io.EOF
	}
	if s.left <= s.next {
		s.next -= 10 << 20
		s.most = max(s.most, live())
	}
	n, err := s.rng.Read(p[:min(int64(len(p)), s.left)])
	s.left -= int64(n)
	return n, err
}

func live() uint64 {
	runtime.GC()
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	return m.HeapAlloc
}

// TestAttachLargeRecording keeps 100 MB, reads it back in the middle and
// verifies it, without holding it in memory.
func TestAttachLargeRecording(t *testing.T) {
	const size, bound = 100 << 20, 4 << 20
	db := openNew(t)
	before := live()
	in := newSound(size)
	a, err := db.Attach(t.Context(), in, chronometer.MostRecording, chronometer.WAV, "night.wav")
	if err != nil || a.Size != size || a.Type != chronometer.WAV {
		t.Fatalf("attached %+v, %v", a, err)
	}
	if in.most > before+bound {
		t.Errorf("keeping it held %d kB", (in.most-before)>>10)
	}
	book := logbook(1, 2)
	book[1].Fact = chronometer.Listened{RateSPerDay: 1, RateSDSPerDay: 0.1, Recording: &chronometer.Recording{SHA256: a.SHA256, Name: a.Name, Type: a.Type, Bytes: a.Size}}
	add(t, db, book...)
	var was, is runtime.MemStats
	runtime.ReadMemStats(&was)
	wantWhole(t, db)
	runtime.ReadMemStats(&is)
	if n := is.TotalAlloc - was.TotalAlloc; n > bound {
		t.Errorf("verifying it took %d kB in all", n>>10)
	}
	f, _, err := db.OpenAttachment(t.Context(), a.SHA256)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	want, got := make([]byte, 1000), make([]byte, 1000)
	again := newSound(size)
	again.next = 0
	if _, err := io.CopyN(io.Discard, again, 50<<20); err != nil {
		t.Fatal(err)
	}
	if _, err := io.ReadFull(again, want); err != nil {
		t.Fatal(err)
	}
	if _, err := f.Seek(50<<20, io.SeekStart); err != nil {
		t.Fatal(err)
	}
	if _, err := io.ReadFull(f, got); err != nil || string(got) != string(want) {
		t.Errorf("other bytes in the middle, %v", err)
	}
}

func TestAttachRefusesALongRecording(t *testing.T) {
	_, err := openNew(t).Attach(t.Context(), newSound(1001), 1000, chronometer.FLAC, "long.flac")
	wantError(t, err, store.ErrTooLarge, "1000 bytes", "long.flac", "smaller")
}

// TestVerifyFindsLostRecordings: a recording named by what was heard or
// compared must be attached.
func TestVerifyFindsLostRecordings(t *testing.T) {
	kept := &chronometer.Recording{SHA256: abcSHA, Name: "a.wav", Type: chronometer.WAV, Bytes: 3}
	e := 0.25
	for _, fact := range []chronometer.Fact{
		chronometer.Listened{RateSPerDay: 1, RateSDSPerDay: 0.1, Recording: kept},
		chronometer.Compared{ErrorS: &e, Method: chronometer.BySound, Heard: &chronometer.HeardBeat{Beats: 60, BeatS: 0.5, Taken: chronometer.TakenTap, Recording: kept}},
	} {
		db := openNew(t)
		book := logbook(1, 2)
		book[1].Fact = fact
		add(t, db, book...)
		if r, err := db.Verify(t.Context()); err != nil || len(r.Faults) != 1 || !strings.Contains(r.Faults[0], "recording "+abcSHA+", which is not attached") {
			t.Errorf("%T: faults %q, %v", fact, r.Faults, err)
		}
		if _, err := db.Attach(t.Context(), strings.NewReader(abc), 10, chronometer.WAV, "a.wav"); err != nil {
			t.Fatal(err)
		}
		wantWhole(t, db)
	}
}

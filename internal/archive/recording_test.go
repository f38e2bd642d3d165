package archive_test

import (
	"archive/zip"
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"timeball/internal/archive"
	"timeball/internal/chronometer"
)

// listened is what was heard in a long recording, with everything in it.
func listened(sha string) chronometer.Listened {
	recording := chronometer.Recording{SHA256: sha, Name: "night.wav", Type: chronometer.WAV, Bytes: 7}
	return chronometer.Listened{
		RateSPerDay: -0.84, RateSDSPerDay: 0.06, RecordingSDSPerDay: 0.011, DurationS: 36000, Beats: 71990, Missed: 10, BeatsPerHour: 14400, BeatJitterS: 21e-6,
		Timebase:     &chronometer.Timebase{Source: "calibrated", PPM: -12.5, PPMSD: 0.6},
		AmplitudeDeg: ptr(225), AmplitudeSDDeg: 2, LiftAngleDeg: 40, OutOfBeatMS: ptr(-1.2), OutOfBeatSDMS: 0.05, OutOfBeatDeg: ptr(1.7),
		Verdict: "regular beat", Microphone: "bench microphone", TempC: ptr(18.5), Position: chronometer.DialUp, WoundH: ptr(3), Note: "=over night",
		Recording: &recording,
		Reading: &chronometer.LongReading{
			TeethUS: []float64{-30, 12.5, 17.5}, TeethSDUS: 2,
			Amplitude: []chronometer.AmplitudeAt{{H: 0.5, Deg: 225, SDDeg: 2}, {H: 1.5, Deg: 224, SDDeg: 2}},
			Rate:      []chronometer.RateAt{{H: 0.5, SPerDay: -0.9, SDSPerDay: 0.1}, {H: 1.5, SPerDay: -0.8, SDSPerDay: 0.1}},
		},
	}
}

// TestListened: what was heard comes back whole from entries.jsonl, and without
// its curves stands in the comparison file.
func TestListened(t *testing.T) {
	sound := attachment("a sound")
	e := 0.25
	bySound := chronometer.Compared{ErrorS: &e, Method: chronometer.BySound, SDS: 0.01}
	bySound.Heard = &chronometer.HeardBeat{Beats: 60, DurationS: 30, PhaseS: 0.25, BeatS: 0.5, Taken: chronometer.TakenForecast, LatencyS: 0.031, LatencySDS: 0.006, Recording: listened(sound.SHA256).Recording}
	entries := []chronometer.Entry{entry(1, 1, instrument("417")), entry(2, 1, listened(sound.SHA256)), entry(3, 1, bySound)}
	b := write(t, entries, []archive.Attachment{sound})
	a, got := read(t, b)
	if diff := cmp.Diff(entries, got, exact); diff != "" || len(a.Attachments()) != 1 {
		t.Error(diff)
	}
	z, err := zip.NewReader(bytes.NewReader(b), int64(len(b)))
	if err != nil {
		t.Fatal(err)
	}
	text, err := fs.ReadFile(z, "comparisons/417.csv")
	if err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(string(text), "listened {") || strings.Contains(string(text), "teeth_us") || !strings.Contains(string(text), "+0.25") {
		t.Errorf("comparison file:\n%s", text)
	}
}

// pattern gives n bytes that do not shrink to nothing, without holding them.
type pattern struct{ at, n int64 }

func (p *pattern) Read(b []byte) (int, error) {
	if p.at == p.n {
		return 0, io.EOF
	}
	b = b[:min(int64(len(b)), p.n-p.at)]
	for i := range b {
		b[i] = byte((p.at + int64(i)) * 2654435761 >> 13)
	}
	p.at += int64(len(b))
	return len(b), nil
}

func (p *pattern) Close() error { return nil }

// TestLargeRecording writes and reads an archive with a recording of 100 MB and
// counts all that was ever allocated meanwhile.
func TestLargeRecording(t *testing.T) {
	const size, bound = 100 << 20, 8 << 20
	hash := sha256.New()
	if _, err := io.Copy(hash, &pattern{n: size}); err != nil {
		t.Fatal(err)
	}
	a := archive.Attachment{
		SHA256: hex.EncodeToString(hash.Sum(nil)), Name: "night.wav", Type: chronometer.WAV, Size: size,
		Open: func() (io.ReadCloser, error) { return &pattern{n: size}, nil },
	}
	entries := []chronometer.Entry{entry(1, 1, instrument("417")), entry(2, 1, listened(a.SHA256))}
	f, err := os.Create(filepath.Join(t.TempDir(), "workshop.zip"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	allocated := func() uint64 {
		var m runtime.MemStats
		runtime.ReadMemStats(&m)
		return m.TotalAlloc
	}
	before := allocated()
	if err := archive.Write(f, sequence(entries), []archive.Attachment{a}, logbooks(entries)); err != nil {
		t.Fatal(err)
	}
	written := allocated()
	info, err := f.Stat()
	if err != nil {
		t.Fatal(err)
	}
	read, err := archive.Read(f, info.Size())
	if err != nil {
		t.Fatal(err)
	}
	out, err := read.Attachments()[0].Open()
	if err != nil {
		t.Fatal(err)
	}
	defer out.Close()
	again := sha256.New()
	if n, err := io.Copy(again, out); err != nil || n != size || !bytes.Equal(again.Sum(nil), hash.Sum(nil)) {
		t.Errorf("%d bytes came back, or others: %v", n, err)
	}
	t.Logf("writing allocated %d kB, reading %d kB", (written-before)>>10, (allocated()-written)>>10)
	if written-before > bound || allocated()-written > bound {
		t.Error("more than a few buffers")
	}
}

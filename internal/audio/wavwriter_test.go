package audio_test

import (
	"bytes"
	"encoding/binary"
	"io"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"testing"

	"timeball/internal/audio"
)

// TestWriteAndRead: what is written is read back to half a step, by this package
// and by SoX, whether or not the head could be completed.
func TestWriteAndRead(t *testing.T) {
	random := rand.New(rand.NewPCG(1, 2))
	for _, bits := range []int{16, 24} {
		for _, channels := range []int{1, 2, 3} {
			want := make([]float64, channels*10_001)
			for i := range want {
				want[i] = 1.9*random.Float64() - 0.95
			}
			name := filepath.Join(t.TempDir(), "it.wav")
			file, err := os.Create(name)
			if err != nil {
				t.Fatal(err)
			}
			var stream bytes.Buffer
			for _, to := range []io.Writer{file, &stream} {
				w := audio.NewWAV(to, 48000, channels, bits)
				for at := 0; at < len(want); at += 999 * channels {
					if err := w.Write(want[at:min(len(want), at+999*channels)]); err != nil {
						t.Fatal(err)
					}
				}
				if err := w.Close(); err != nil || w.Clipped() != 0 || w.Close() != nil {
					t.Fatalf("%v, %d clipped", err, w.Clipped())
				}
			}
			if err := file.Close(); err != nil {
				t.Fatal(err)
			}
			text, err := os.ReadFile(name)
			if err != nil {
				t.Fatal(err)
			}
			half := math.Ldexp(0.5, 1-bits)
			for _, c := range []struct {
				text  []byte
				known bool
			}{{text, true}, {stream.Bytes(), false}} {
				rec, got := all(t, bytes.NewReader(c.text), 500)
				if len(rec.Warnings()) != 0 {
					t.Errorf("warnings %q", rec.Warnings())
				}
				if rec.Known != c.known || rec.Bits != bits || rec.Channels != channels || rec.RateHz != 48000 || len(got) != len(want) {
					t.Fatalf("%+v, %d samples of %d", rec.Format, len(got), len(want))
				}
				for i := range want {
					if math.Abs(got[i]-want[i]) > half {
						t.Fatalf("sample %d is %v, written as %v", i, got[i], want[i])
					}
				}
			}
			raw, err := exec.Command(sox(t), name, "-t", "f64", "-L", "-").Output()
			if err != nil || len(raw) != 8*len(want) {
				t.Fatalf("%v, sox reads %d samples of %d", err, len(raw)/8, len(want))
			}
			for i := range want {
				if v := math.Float64frombits(binary.LittleEndian.Uint64(raw[8*i:])); math.Abs(v-want[i]) > half {
					t.Fatalf("sample %d: sox reads %v, written as %v", i, v, want[i])
				}
			}
		}
	}
}

// TestClipped: what lies outside full scale is clipped and counted.
func TestClipped(t *testing.T) {
	var file bytes.Buffer
	w := audio.NewWAV(&file, 48000, 1, 16)
	if err := w.Write([]float64{-1, -1.5, 1, math.Inf(1), math.NaN(), 32767.0 / 32768, 0.5}); err != nil {
		t.Fatal(err)
	}
	if err := w.Close(); err != nil || w.Clipped() != 4 {
		t.Errorf("%v, %d clipped", err, w.Clipped())
	}
	const top = 32767.0 / 32768
	want := []float64{-1, -1, top, top, 0, top, 0.5}
	_, got := all(t, &file, 10)
	for i, v := range want {
		if len(got) != len(want) || got[i] != v {
			t.Fatalf("%v, want %v", got, want)
		}
	}
}

// sparse is a file that keeps its head and forgets the rest.
type sparse struct {
	head      [128]byte
	at, bytes int64
}

func (s *sparse) Write(p []byte) (int, error) {
	if s.at < int64(len(s.head)) {
		copy(s.head[s.at:], p)
	}
	s.at += int64(len(p))
	s.bytes = max(s.bytes, s.at)
	return len(p), nil
}

func (s *sparse) Seek(offset int64, whence int) (int64, error) {
	switch whence {
	case io.SeekStart:
		s.at = offset
	case io.SeekCurrent:
		s.at += offset
	case io.SeekEnd:
		s.at = s.bytes + offset
	}
	return s.at, nil
}

// TestLong: beyond the limit of RIFF the head becomes that of RF64, field by
// field after EBU Tech 3306, and the reader finds all frames.
func TestLong(t *testing.T) {
	for _, c := range []struct {
		most uint64
		name string
	}{{4_000_000_000, "WAV"}, {100_000, "RF64"}} {
		file := &sparse{}
		w := audio.NewWAV(file, 48000, 2, 24)
		w.Outgrows(c.most)
		for range 100 {
			if err := w.Write(make([]float64, 2*1000)); err != nil {
				t.Fatal(err)
			}
		}
		if err := w.Close(); err != nil {
			t.Fatal(err)
		}
		rec, err := audio.Open(io.MultiReader(bytes.NewReader(file.head[:]), bytes.NewReader(make([]byte, file.bytes-128))))
		if err != nil || rec.Frames != 100_000 || !rec.Known || rec.Name != c.name {
			t.Fatalf("%v, %+v", err, rec)
		}
		if c.name != "RF64" {
			continue
		}
		h, le := file.head, binary.LittleEndian
		if string(h[:4]) != "RF64" || le.Uint32(h[4:]) != math.MaxUint32 || string(h[8:16]) != "WAVEds64" || le.Uint32(h[16:]) != 28 ||
			le.Uint64(h[20:]) != uint64(file.bytes-8) || le.Uint64(h[28:]) != 600_000 || le.Uint64(h[36:]) != 100_000 {
			t.Errorf("% x", h)
		}
	}
}

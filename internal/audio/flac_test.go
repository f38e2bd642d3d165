package audio_test

import (
	"bytes"
	"crypto/md5"
	"encoding/binary"
	"encoding/hex"
	"errors"
	"io"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/mewkiz/flac"

	"timeball/internal/audio"
)

// TestPublishedFLAC decodes the first example of RFC 9639, appendix D.1: one
// frame of two channels. Its head holds the MD5 sum of what it must decode to.
func TestPublishedFLAC(t *testing.T) {
	file, err := hex.DecodeString(strings.ReplaceAll("664c6143 80000022 10001000 00000f00 000f0ac4 42f00000 00013e84 b41807dc 69030758 6a3dad1a 2e0ffff8 69180000 bf0358fd 03128baa 9a", " ", ""))
	if err != nil {
		t.Fatal(err)
	}
	rec, got := all(t, bytes.NewReader(file), 10)
	var samples []byte
	for _, v := range got {
		samples = binary.LittleEndian.AppendUint16(samples, uint16(int16(v*32768)))
	}
	if sum := md5.Sum(samples); hex.EncodeToString(sum[:]) != "3e84b41807dc690307586a3dad1a2e0f" || rec.RateHz != 44100 || len(got) != 2 || len(rec.Warnings()) != 0 {
		t.Errorf("%v, %+v, warnings %q", got, rec.Format, rec.Warnings())
	}
}

// TestAgainstLibrary holds every sample against what a public library decodes
// from the same stream, in every way the encoder of SoX writes.
func TestAgainstLibrary(t *testing.T) {
	program := sox(t)
	for name, args := range map[string][]string{
		"constant":       {"-b", "16", "FILE", "trim", "0", "0.5"},
		"loud noise":     {"-b", "16", "FILE", "synth", "0.5", "whitenoise"},
		"fixed":          {"-b", "16", "-C", "0", "FILE", "synth", "0.5", "pinknoise", "vol", "0.1"},
		"predicted":      {"-b", "16", "-C", "8", "FILE", "synth", "0.5", "sine", "440", "sine", "mix", "1234", "vol", "0.5"},
		"24 bits":        {"-b", "24", "-C", "5", "FILE", "synth", "0.5", "brownnoise", "vol", "0.2"},
		"wasted bits":    {"-b", "24", "FILE", "synth", "0.3", "square", "300", "vol", "0.25"},
		"8 bits":         {"-b", "8", "FILE", "synth", "0.3", "sine", "300"},
		"stereo":         {"-b", "16", "-c", "2", "-C", "8", "FILE", "synth", "0.5", "sine", "440", "pinknoise", "vol", "0.3", "remix", "1,2v0.1", "1v0.9"},
		"24 bits stereo": {"-b", "24", "-c", "2", "-C", "2", "FILE", "synth", "0.5", "pinknoise", "vol", "0.3"},
		"five channels":  {"-b", "16", "-c", "5", "FILE", "synth", "0.2", "pinknoise", "vol", "0.3"},
	} {
		t.Run(name, func(t *testing.T) {
			file := filepath.Join(t.TempDir(), "it.flac")
			full := []string{"-R", "-n", "-r", "48000"}
			for _, a := range args {
				full = append(full, strings.Replace(a, "FILE", file, 1))
			}
			if out, err := exec.Command(program, full...).CombinedOutput(); err != nil {
				t.Fatalf("%v: %s", err, out)
			}
			text, err := os.ReadFile(file)
			if err != nil {
				t.Fatal(err)
			}
			want := byLibrary(t, text)
			rec, got := all(t, bytes.NewReader(text), 1001)
			if len(got) != len(want) || len(want) == 0 || len(rec.Warnings()) != 0 {
				t.Fatalf("%d samples, the library %d; warnings %q", len(got), len(want), rec.Warnings())
			}
			for i := range got {
				if got[i] != want[i] {
					t.Fatalf("sample %d is %v, the library says %v", i, got[i], want[i])
				}
			}
		})
	}
}

func byLibrary(t testing.TB, text []byte) (samples []float64) {
	stream, err := flac.New(bytes.NewReader(text))
	if err != nil {
		t.Fatal(err)
	}
	scale := math.Ldexp(1, 1-int(stream.Info.BitsPerSample))
	for {
		f, err := stream.ParseNext()
		if errors.Is(err, io.EOF) {
			return samples
		}
		if err != nil {
			t.Fatal(err)
		}
		for i := range f.Subframes[0].Samples {
			for _, sub := range f.Subframes {
				samples = append(samples, float64(sub.Samples[i])*scale)
			}
		}
	}
}

// TestDamagedFLAC turns over each bit of a short stream in turn: nothing wrong is
// taken for sound, because the sums of the blocks no longer agree.
func TestDamagedFLAC(t *testing.T) {
	text, err := os.ReadFile("testdata/short.flac")
	if err != nil {
		t.Fatal(err)
	}
	_, want := all(t, bytes.NewReader(text), 100)
	begin := bytes.Index(text, []byte{0xff, 0xf8})
	for bit := 8 * begin; bit < 8*min(len(text), begin+400); bit++ {
		file := bytes.Clone(text)
		file[bit/8] ^= 1 << (bit % 8)
		rec, err := audio.Open(bytes.NewReader(file))
		if err != nil {
			t.Fatal(err)
		}
		room := make([]float64, len(want)+rec.Channels)
		n := 0
		for {
			k, err := rec.Read(room[n*rec.Channels:])
			n += k
			if err != nil {
				break
			}
		}
		if n*rec.Channels >= len(want) || len(rec.Warnings()) == 0 {
			t.Fatalf("bit %d: %d frames, warnings %q", bit, n, rec.Warnings())
		}
		for i, v := range room[:n*rec.Channels] {
			if v != want[i] {
				t.Fatalf("bit %d: sample %d is %v, was %v", bit, i, v, want[i])
			}
		}
	}
}

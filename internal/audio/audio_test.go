package audio_test

import (
	"bytes"
	"encoding/binary"
	"errors"
	"io"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"testing/iotest"

	"timeball/internal/audio"
)

// all reads a recording to its end, in pieces of n frames.
func all(t testing.TB, r io.Reader, n int) (*audio.Recording, []float64) {
	t.Helper()
	rec, err := audio.Open(r)
	if err != nil {
		t.Fatal(err)
	}
	var samples []float64
	room := make([]float64, n*rec.Channels)
	for {
		got, err := rec.Read(room)
		samples = append(samples, room[:got*rec.Channels]...)
		if errors.Is(err, io.EOF) {
			return rec, samples
		}
		if err != nil {
			t.Fatal(err)
		}
	}
}

// sox returns the command, which CI must have.
func sox(t *testing.T) string {
	t.Helper()
	path, err := exec.LookPath("sox")
	if err != nil {
		if os.Getenv("CI") == "true" {
			t.Fatal("sox is not here; sh tools.sh installs it")
		}
		t.Skip("sox is not here; sh tools.sh installs it")
	}
	return path
}

// TestAgainstSox holds every sample of every format against what SoX, a public
// tool, reads from the same file.
func TestAgainstSox(t *testing.T) {
	program := sox(t)
	for _, c := range []struct {
		name string
		args []string // of the file
		bits int
	}{
		{"unsigned 8.wav", []string{"-b", "8", "-e", "unsigned-integer"}, 8},
		{"16.wav", []string{"-b", "16"}, 16},
		{"16 stereo.wav", []string{"-b", "16", "-c", "2"}, 16},
		{"24 extensible.wav", []string{"-b", "24", "-c", "2"}, 24},
		{"32.wav", []string{"-b", "32", "-e", "signed-integer"}, 32},
		{"float 32.wav", []string{"-b", "32", "-e", "floating-point"}, 32},
		{"float 64.wav", []string{"-b", "64", "-e", "floating-point"}, 64},
		{"16.flac", []string{"-b", "16"}, 16},
		{"24 stereo.flac", []string{"-b", "24", "-c", "2"}, 24},
	} {
		t.Run(c.name, func(t *testing.T) {
			file := filepath.Join(t.TempDir(), c.name)
			args := append([]string{"-R", "-n", "-r", "48000"}, c.args...)
			if out, err := exec.Command(program, append(append(args, file), "synth", "0.7", "sine", "997", "pinknoise", "vol", "0.4")...).CombinedOutput(); err != nil {
				t.Fatalf("%v: %s", err, out)
			}
			raw, err := exec.Command(program, file, "-t", "f64", "-L", "-").Output()
			if err != nil {
				t.Fatal(err)
			}
			text, err := os.ReadFile(file)
			if err != nil {
				t.Fatal(err)
			}
			rec, got := all(t, bytes.NewReader(text), 1000)
			if rec.RateHz != 48000 || rec.Bits != c.bits || len(rec.Warnings()) != 0 {
				t.Errorf("%+v, warnings %q", rec.Format, rec.Warnings())
			}
			if len(got) != len(raw)/8 || int64(len(got)/rec.Channels) != rec.Frames {
				t.Fatalf("%d samples, sox reads %d, the head says %d frames", len(got), len(raw)/8, rec.Frames)
			}
			// SoX computes in 32 bits: a floating sample comes back rounded to them.
			for i, v := range got {
				if want := math.Float64frombits(binary.LittleEndian.Uint64(raw[8*i:])); math.Abs(v-want) > 1.0/(1<<31) {
					t.Fatalf("sample %d is %.10f, sox reads %.10f", i, v, want)
				}
			}
		})
	}
}

// le appends numbers in the byte order of RIFF.
func le(values ...any) []byte {
	var b bytes.Buffer
	for _, v := range values {
		if s, ok := v.(string); ok {
			b.WriteString(s)
			continue
		}
		_ = binary.Write(&b, binary.LittleEndian, v)
	}
	return b.Bytes()
}

// pcm returns the chunk "fmt " of 16-bit samples.
func pcm(channels uint16) []byte {
	return le("fmt ", uint32(16), uint16(1), channels, uint32(44100), uint32(88200)*uint32(channels), 2*channels, uint16(16))
}

func join(parts ...[]byte) []byte { return bytes.Join(parts, nil) }

// TestHeads reads what recorders write and leave behind: byte for byte after
// "WAVE" (Microsoft/IBM 1991) and EBU Tech 3306.
func TestHeads(t *testing.T) {
	samples := le(int16(0), int16(16384), int16(-32768), int16(32767))
	want := []float64{0, 0.5, -1, 32767.0 / 32768}
	for _, c := range []struct {
		name  string
		file  []byte
		known bool
		warns string
	}{
		{"plain", join(le("RIFF", uint32(44), "WAVE"), pcm(1), le("data", uint32(8)), samples), true, ""},
		{"odd chunk before", join(le("RIFF", uint32(54), "WAVE", "note", uint32(3), "abc", uint8(0)), pcm(1), le("data", uint32(8)), samples), true, ""},
		{"chunk after", join(le("RIFF", uint32(60), "WAVE"), pcm(1), le("data", uint32(8)), samples, le("LIST", uint32(8), "12345678")), true, ""},
		{"still being written", join(le("RIFF", uint32(0), "WAVE"), pcm(1), le("data", uint32(0)), samples), false, ""},
		{"size not known", join(le("RIFF", uint32(math.MaxUint32), "WAVE"), pcm(1), le("data", uint32(math.MaxUint32)), samples), false, ""},
		{"cut off", join(le("RIFF", uint32(44), "WAVE"), pcm(1), le("data", uint32(88208)), samples), true, "ends 1 s before"},
		{"cut within a sample", join(le("RIFF", uint32(0), "WAVE"), pcm(1), le("data", uint32(0)), samples, []byte{1}), false, "within a sample"},
		{"RF64", join(le("RF64", uint32(math.MaxUint32), "WAVE", "ds64", uint32(28), uint64(80), uint64(8), uint64(4), uint32(0)), pcm(1), le("data", uint32(math.MaxUint32)), samples, le("LIST", uint32(2), "xx")), true, ""},
		{"BW64", join(le("BW64", uint32(math.MaxUint32), "WAVE", "ds64", uint32(28), uint64(80), uint64(8), uint64(4), uint32(0)), pcm(1), le("data", uint32(math.MaxUint32)), samples), true, ""},
		{"extensible", join(le("RIFF", uint32(68), "WAVE", "fmt ", uint32(40), uint16(0xfffe), uint16(1), uint32(44100), uint32(88200), uint16(2), uint16(16), uint16(22), uint16(16), uint32(4),
			uint16(1), "\x00\x00\x00\x00\x10\x00\x80\x00\x00\xaa\x00\x38\x9b\x71"), le("data", uint32(8)), samples), true, ""},
	} {
		for _, piece := range []int{1, 3, 1000} {
			rec, got := all(t, iotest.OneByteReader(bytes.NewReader(c.file)), piece)
			if len(got) != len(want) {
				t.Fatalf("%s: samples %v, want %v", c.name, got, want)
			}
			for i := range want {
				if got[i] != want[i] {
					t.Errorf("%s: samples %v, want %v", c.name, got, want)
					break
				}
			}
			warned := strings.Join(rec.Warnings(), "; ")
			if rec.Known != c.known || (warned != "") != (c.warns != "") || !strings.Contains(warned, c.warns) {
				t.Errorf("%s: known %t, warnings %q", c.name, rec.Known, warned)
			}
		}
	}
}

// TestRefuses names what is no recording and says what to do.
func TestRefuses(t *testing.T) {
	format := func(tag, bits, align uint16) []byte {
		return join(le("RIFF", uint32(44), "WAVE", "fmt ", uint32(16), tag, uint16(1), uint32(8000), uint32(8000), align, bits), le("data", uint32(8), uint64(0)))
	}
	for name, c := range map[string]struct {
		file []byte
		says string
	}{
		"empty":           {nil, "empty"},
		"text":            {[]byte("utc,dial\n2027-03-04,"), "text"},
		"Ogg":             {[]byte("OggS\x00\x02\x00\x00\x00\x00\x00\x00"), "Ogg"},
		"MP3":             {[]byte("ID3\x04\x00\x00\x00\x00\x00\x00\x00\x00"), "MP3"},
		"M4A":             {[]byte("\x00\x00\x00\x20ftypM4A "), "M4A"},
		"AVI":             {[]byte("RIFF\x00\x00\x00\x00AVI "), "without sound"},
		"nothing known":   {[]byte{0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11}, "00 01 02 03"},
		"µ-law":           {format(7, 8, 1), "µ-law"},
		"ADPCM":           {format(2, 4, 1), "ADPCM"},
		"12 bits":         {format(1, 12, 2), "12 bits"},
		"contradiction":   {format(1, 16, 4), "contradicts"},
		"half a head":     {join(le("RIFF", uint32(0), "WAVE"), pcm(1)[:20]), "record it again"},
		"no samples":      {join(le("RIFF", uint32(0), "WAVE"), pcm(1)), "before its samples begin"},
		"samples first":   {le("RIFF", uint32(0), "WAVE", "data", uint32(8), uint64(0)), "before their format"},
		"a head of 1 GB":  {le("RIFF", uint32(0), "WAVE", "fmt ", uint32(1<<30)), "no head"},
		"no channel":      {join(le("RIFF", uint32(0), "WAVE"), pcm(0), le("data", uint32(8), uint64(0))), "contradicts"},
		"damaged FLAC":    {[]byte("fLaC\x00\x00\x00\x22\x00\x00\x00\x00\x00\x00\x00\x00"), "FLAC"},
		"a rate of 10 Hz": {join(le("RIFF", uint32(44), "WAVE", "fmt ", uint32(16), uint16(1), uint16(1), uint32(10), uint32(20), uint16(2), uint16(16)), le("data", uint32(8), uint64(0))), "10 Hz"},
	} {
		_, err := audio.Open(bytes.NewReader(c.file))
		if !errors.Is(err, audio.ErrNotSound) || !strings.Contains(err.Error(), c.says) || strings.Contains(err.Error(), "\n") {
			t.Errorf("%s: %v, want it to say %q", name, err, c.says)
		}
	}
}

// TestNoNumbers: samples that are no numbers count as silence, and are told.
func TestNoNumbers(t *testing.T) {
	file := join(le("RIFF", uint32(0), "WAVE", "fmt ", uint32(16), uint16(3), uint16(1), uint32(44100), uint32(176400), uint16(4), uint16(32)),
		le("data", uint32(16), float32(0.25), float32(math.NaN()), float32(math.Inf(1)), float32(-0.5)))
	rec, got := all(t, bytes.NewReader(file), 10)
	if len(got) != 4 || got[0] != 0.25 || got[1] != 0 || got[2] != 0 || got[3] != -0.5 || !strings.Contains(strings.Join(rec.Warnings(), ""), "2 samples are no numbers") {
		t.Errorf("samples %v, warnings %q", got, rec.Warnings())
	}
}

// TestHugeHeadIsCheap: a head that promises 200 GB costs no memory.
func TestHugeHeadIsCheap(t *testing.T) {
	file := join(le("RF64", uint32(math.MaxUint32), "WAVE", "ds64", uint32(28), uint64(200<<30), uint64(200<<30), uint64(100<<30), uint32(0)), pcm(1), le("data", uint32(math.MaxUint32)))
	allocated := testing.AllocsPerRun(5, func() {
		rec, err := audio.Open(bytes.NewReader(file))
		if err != nil || rec.Frames != 100<<30 {
			t.Fatalf("%v, %v", rec, err)
		}
		room := make([]float64, 4096)
		if n, err := rec.Read(room); n != 0 || !errors.Is(err, io.EOF) {
			t.Fatalf("%d frames, %v", n, err)
		}
	})
	if allocated > 40 {
		t.Errorf("%.0f allocations", allocated)
	}
}

func FuzzOpen(f *testing.F) {
	f.Add(join(le("RIFF", uint32(44), "WAVE"), pcm(2), le("data", uint32(8), uint64(1))))
	f.Add(le("RF64", uint32(math.MaxUint32), "WAVE", "ds64", uint32(28), uint64(80), uint64(8), uint64(4), uint32(0)))
	f.Add([]byte("fLaC\x00\x00\x00\x22\x10\x00\x10\x00\x00\x00\x00\x00\x00\x00\x0b\xb8\x00\xf0\x00\x00\x00\x00"))
	// A sine of 440 Hz, two channels, made by SoX.
	short, err := os.ReadFile("testdata/short.flac")
	if err != nil {
		f.Fatal(err)
	}
	f.Add(short)
	f.Fuzz(func(t *testing.T, file []byte) {
		rec, err := audio.Open(bytes.NewReader(file))
		if err != nil {
			return
		}
		room := make([]float64, 64*rec.Channels)
		for range 10_000 {
			n, err := rec.Read(room)
			for _, v := range room[:n*rec.Channels] {
				if v != v || math.Abs(v) > 1e6 {
					t.Fatalf("sample %v", v)
				}
			}
			if err != nil {
				if !errors.Is(err, io.EOF) {
					t.Fatal(err)
				}
				return
			}
			if n == 0 {
				t.Fatal("nothing read and no end")
			}
		}
	})
}

// TestCutFLAC: what came before the cut is read, and the cut is told.
func TestCutFLAC(t *testing.T) {
	file := filepath.Join(t.TempDir(), "cut.flac")
	if out, err := exec.Command(sox(t), "-R", "-n", "-r", "48000", "-b", "16", file, "synth", "1", "pinknoise", "vol", "0.3").CombinedOutput(); err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	text, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	_, whole := all(t, bytes.NewReader(text), 777)
	rec, got := all(t, bytes.NewReader(text[:len(text)/2]), 777)
	if len(got) < len(whole)/3 || len(got) > 2*len(whole)/3 || !strings.Contains(strings.Join(rec.Warnings(), ""), "cut off") {
		t.Fatalf("%d of %d samples, warnings %q", len(got), len(whole), rec.Warnings())
	}
	for i, v := range got {
		if v != whole[i] {
			t.Fatalf("sample %d is %v, was %v", i, v, whole[i])
		}
	}
}

package audio_test

import (
	"bytes"
	"errors"
	"io"
	"math"
	"math/rand/v2"
	"os"
	"testing"
	"time"

	"timeball/internal/audio"
)

// TestWhileItIsMade: a recording that comes through a pipe is given out as it
// comes, although the reader has room for more.
func TestWhileItIsMade(t *testing.T) {
	short, err := os.ReadFile("testdata/short.flac")
	if err != nil {
		t.Fatal(err)
	}
	_, whole := all(t, bytes.NewReader(short), 1000)
	for _, c := range []struct {
		name   string
		pieces [][]byte
		frames []int // given out after each piece
	}{
		{"WAV", [][]byte{join(le("RIFF", uint32(0), "WAVE"), pcm(1), le("data", uint32(0))), le(int16(1), int16(2), uint8(3)), le(uint8(0), int16(4), int16(5)), le(int16(6))}, []int{0, 2, 3, 1}},
		{"WAV of unknown size", [][]byte{join(le("RIFF", uint32(math.MaxUint32), "WAVE"), pcm(2), le("data", uint32(math.MaxUint32)), make([]byte, 40))}, []int{10}},
		{"FLAC", [][]byte{short}, []int{len(whole) / 2}},
	} {
		t.Run(c.name, func(t *testing.T) {
			in, out := io.Pipe()
			next := make(chan bool)
			go func() {
				for _, p := range c.pieces {
					_, _ = out.Write(p)
					<-next
				}
				_ = out.Close()
			}()
			late := time.AfterFunc(10*time.Second, func() { _ = out.CloseWithError(errors.New("it waits for more")) })
			defer late.Stop()
			rec, err := audio.Open(in)
			if err != nil {
				t.Fatal(err)
			}
			room := make([]float64, 100_000*rec.Channels)
			for _, want := range c.frames {
				for got := 0; got < want; {
					n, err := rec.Read(room)
					if err != nil || n == 0 || got+n > want {
						t.Fatalf("%d frames and %d, %v; want %d", got, n, err, want)
					}
					got += n
				}
				next <- true
			}
			if n, err := rec.Read(room); n != 0 || !errors.Is(err, io.EOF) {
				t.Errorf("%d frames at the end, %v", n, err)
			}
		})
	}
}

// calls counts how often a file is read.
type calls struct {
	io.Reader
	n int
}

func (c *calls) Read(p []byte) (int, error) {
	c.n++
	return c.Reader.Read(p)
}

// TestFewCalls: a file is read in large pieces however small those are that are
// asked for, and one large piece in one call.
func TestFewCalls(t *testing.T) {
	file := join(le("RIFF", uint32(0), "WAVE"), pcm(1), le("data", uint32(0)), make([]byte, 2<<20))
	for _, frames := range []int{100, 1 << 20} {
		from := &calls{Reader: bytes.NewReader(file)}
		_, got := all(t, from, frames)
		if len(got) != 1<<20 || from.n > 40 {
			t.Errorf("%d samples in %d calls", len(got), from.n)
		}
	}
}

// wav returns a recording of random samples.
func wav(seconds, channels int, tag, bits uint16) []byte {
	random := rand.New(rand.NewPCG(3, 4))
	body := make([]byte, seconds*48000*channels*int(bits)/8)
	for i := range body {
		body[i] = byte(random.Uint32())
	}
	if tag == 3 {
		for i := 3; i < len(body); i += 4 {
			body[i] = 0x3e
		}
	}
	bytesPerFrame := uint16(channels) * bits / 8
	return join(le("RIFF", uint32(0), "WAVE", "fmt ", uint32(16), tag, uint16(channels), uint32(48000), 48000*uint32(bytesPerFrame), bytesPerFrame, bits, "data", uint32(0)), body)
}

func BenchmarkRead(b *testing.B) {
	short := wav(10, 1, 1, 16)
	for _, c := range []struct {
		name     string
		file     []byte
		channels int
	}{
		{"16", short, 1}, {"16stereo", wav(10, 2, 1, 16), 2}, {"24", wav(10, 1, 1, 24), 1}, {"float32", wav(10, 1, 3, 32), 1},
	} {
		for _, frames := range []int{4096, 65536} {
			b.Run(c.name+map[int]string{4096: "/small", 65536: "/large"}[frames], func(b *testing.B) {
				room := make([]float64, frames*c.channels)
				for range b.N {
					rec, err := audio.Open(bytes.NewReader(c.file))
					for err == nil {
						_, err = rec.Read(room)
					}
				}
				b.ReportMetric(float64(b.N)*480_000*float64(c.channels)/b.Elapsed().Seconds()/1e6, "Msamples/s")
			})
		}
	}
}

// BenchmarkFLAC decodes the file named by FLAC; TestAgainstLibrary shows how
// SoX makes one.
func BenchmarkFLAC(b *testing.B) {
	text, err := os.ReadFile("testdata/short.flac")
	if name := os.Getenv("FLAC"); name != "" {
		text, err = os.ReadFile(name)
	}
	if err != nil {
		b.Fatal(err)
	}
	room := make([]float64, 1<<14)
	samples := 0
	for range b.N {
		rec, err := audio.Open(bytes.NewReader(text))
		for err == nil {
			var n int
			n, err = rec.Read(room[:len(room)/rec.Channels*rec.Channels])
			samples += n * rec.Channels
		}
	}
	b.ReportMetric(float64(samples)/b.Elapsed().Seconds()/1e6, "Msamples/s")
}

package picture_test

import (
	"bytes"
	"fmt"
	"image"
	"image/color"
	"image/jpeg"
	"io"
	"math/rand/v2"
	"runtime"
	"testing"

	"timeball/internal/picture"
)

// allocated returns how many bytes f allocates in all, freed or not, which no
// peak exceeds.
func allocated(f func()) uint64 {
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	f()
	runtime.ReadMemStats(&after)
	return after.TotalAlloc - before.TotalAlloc
}

// TestMemory bounds all that is allocated for a picture by what is foretold of
// the decoder, from the size of its samples, and 12 MB beside it.
func TestMemory(t *testing.T) {
	const beside = 12e6
	for _, c := range []struct {
		name          string
		sent          []byte
		width, height int
		decoded       float64 // bytes
	}{
		{"40 MP, 4:2:0", flat(0xc0, 7744, 5184, "\x22\x11\x11", 7744/16*5184/16*12/8+1), 7744, 5184, 7744 * 5184 * 1.5},
		{"40 MP, grey", flat(0xc0, 7744, 5184, "\x11", 7744/8*5184/8*2/8+1), 7744, 5184, 7744 * 5184},
		{"12 MP, 4:2:0, progressive", flat(0xc2, 4032, 3024, "\x22\x11\x11", 4032/16*3024/16*6/8+1), 4032, 3024, 4032 * 3024 * 1.5 * 5},
		{"40 MP, PNG of two greys", bitmapHead(8000, 5000, 1, 0, 5000*(1+8000/8)), 8000, 5000, 8000 * 5000},
		{"12 MP, PNG", bitmapHead(4000, 3000, 8, 2, 3000*(1+3*4000)), 4000, 3000, 4 * 4000 * 3000},
		{"65,535 by 8", flat(0xc0, 65535, 8, "\x11", 65536/8*2/8+1), 65535, 8, 65536 * 8},
	} {
		t.Run(c.name, func(t *testing.T) {
			var report picture.Report
			var err error
			got := allocated(func() { report, err = picture.Small(io.Discard, bytes.NewReader(c.sent), picture.Limits{}) })
			if err != nil {
				t.Fatal(err)
			}
			if report.Width != c.width || report.Height != c.height || max(report.SmallWidth, report.SmallHeight) != 1600 {
				t.Errorf("reported %+v", report)
			}
			t.Logf("%.1f MB, of which the decoder %.1f MB", float64(got)/1e6, c.decoded/1e6)
			if float64(got) > c.decoded+beside {
				t.Errorf("%.1f MB were allocated, want at most %.1f MB", float64(got)/1e6, (c.decoded+beside)/1e6)
			}
		})
	}
}

// textured returns a JPEG with detail everywhere, as a photograph has.
func textured(b *testing.B, width, height int) []byte {
	b.Helper()
	rng := rand.New(rand.NewPCG(1, 2))
	m := image.NewYCbCr(image.Rect(0, 0, width, height), image.YCbCrSubsampleRatio420)
	for i := range m.Y {
		m.Y[i] = uint8(i*255/len(m.Y)/2 + rng.IntN(40))
	}
	for i := range m.Cb {
		m.Cb[i], m.Cr[i] = uint8(120+i*16/len(m.Cb)), 128
	}
	var out bytes.Buffer
	if err := jpeg.Encode(&out, m, nil); err != nil {
		b.Fatal(err)
	}
	return out.Bytes()
}

func BenchmarkSmall(b *testing.B) {
	for _, size := range []image.Point{{1600, 1200}, {4032, 3024}, {7744, 5184}} {
		b.Run(fmt.Sprintf("JPEG %d MP", size.X*size.Y/1e6), func(b *testing.B) {
			sent := textured(b, size.X, size.Y)
			b.ReportAllocs()
			b.SetBytes(int64(len(sent)))
			for b.Loop() {
				if _, err := picture.Small(io.Discard, bytes.NewReader(sent), picture.Limits{}); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
	b.Run("PNG 12 MP", func(b *testing.B) {
		m := image.NewNRGBA(image.Rect(0, 0, 4000, 3000))
		for y := range 3000 {
			for x := range 4000 {
				m.SetNRGBA(x, y, color.NRGBA{uint8(x), uint8(y), uint8(x ^ y), 255})
			}
		}
		sent := pngOf(b, m)
		b.ReportAllocs()
		for b.Loop() {
			if _, err := picture.Small(io.Discard, bytes.NewReader(sent), picture.Limits{}); err != nil {
				b.Fatal(err)
			}
		}
	})
}

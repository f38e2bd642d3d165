package earpiece_test

import (
	"bytes"
	"encoding/binary"
	"errors"
	"math"
	"strings"
	"testing"
	"time"

	"timeball/internal/web/earpiece"
)

// wire writes a chunk as the page does.
func wire(start, utcMS, boundMS float64, lost, flags uint32, samples ...float32) []byte {
	var b bytes.Buffer
	for _, v := range []any{uint32(0x31534254), uint32(len(samples)), start, utcMS, boundMS, lost, flags, samples} {
		_ = binary.Write(&b, binary.LittleEndian, v) // a buffer takes everything
	}
	return b.Bytes()
}

var inf, nan = math.Inf(1), math.NaN()

func TestParseChunk(t *testing.T) {
	// 2026-03-01T12:00:00.5Z is 1,772,366,400.5 s after 1970: 20,513.5 days of
	// 86,400 s (POSIX.1-2017, 4.16, seconds since the Epoch).
	c, err := earpiece.ParseChunk(wire(2048, 1772366400500.25, 4.5, 7, 1, 0.5, float32(nan), float32(-inf), -1))
	if err != nil {
		t.Fatal(err)
	}
	if want := time.Date(2026, 3, 1, 12, 0, 0, 500_250_000, time.UTC); !c.Ended.Equal(want) || c.Ended.Location() != time.UTC {
		t.Errorf("it ended at %s, want %s", c.Ended, want)
	}
	if c.Start != 2048 || c.End() != 2052 || c.Lost != 7 || !c.Gap || c.BoundS != 0.0045 {
		t.Errorf("the head is %+v", c)
	}
	for k, want := range []float32{0.5, 0, 0, -1} {
		if c.Samples[k] != want {
			t.Errorf("sample %d is %v, want %v", k, c.Samples[k], want)
		}
	}
	for _, unknown := range [][]byte{wire(0, nan, 4, 0, 0, 1), wire(0, 1772366400500, nan, 0, 0, 1), wire(0, inf, 4, 0, 0, 1), wire(0, 12, 4, 0, 0, 1), wire(0, 1772366400500, -4, 0, 0, 1), wire(0, 1772366400500, inf, 0, 0, 1)} {
		if c, err := earpiece.ParseChunk(unknown); err != nil || !c.Ended.IsZero() || c.BoundS != 0 {
			t.Errorf("UTC is not known, and it ended at %s ±%v s (%v)", c.Ended, c.BoundS, err)
		}
	}
	whole := wire(0, 0, 0, 0, 0, make([]float32, earpiece.MostFrames)...)
	if len(whole) > earpiece.MostMessage {
		t.Errorf("the greatest chunk has %d bytes; a message may have %d", len(whole), earpiece.MostMessage)
	}
	if _, err := earpiece.ParseChunk(whole); err != nil {
		t.Error(err)
	}
}

func TestNoChunk(t *testing.T) {
	good := wire(0, 0, 0, 0, 0, 1, 2)
	huge := wire(0, 0, 0, 0, 0, 1)
	binary.LittleEndian.PutUint32(huge[4:], 1<<31)
	for _, c := range []struct {
		name  string
		bytes []byte
		says  string
	}{
		{"empty", nil, "0 bytes"},
		{"a head cut short", good[:39], "39 bytes"},
		{"another magic", append([]byte("RIFF"), good[4:]...), "begins with"},
		{"no frames", wire(0, 0, 0, 0, 0), "0 frames"},
		{"more frames than there are", huge, "2147483648 frames"},
		{"samples cut short", good[:len(good)-1], "7 bytes follow"},
		{"samples too many", append(append([]byte{}, good...), 0, 0, 0, 0), "12 bytes follow"},
		{"before the beginning", wire(-1, 0, 0, 0, 0, 1), "frame -1"},
		{"half a frame", wire(0.5, 0, 0, 0, 0, 1), "frame 0.5"},
		{"no frame", wire(nan, 0, 0, 0, 0, 1), "frame NaN"},
		{"in a thousand years", wire(1e18, 0, 0, 0, 0, 1), "frame 1e+18"},
	} {
		_, err := earpiece.ParseChunk(c.bytes)
		if !errors.Is(err, earpiece.ErrChunk) || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%s: %v; want %q in it", c.name, err, c.says)
		}
	}
}

func FuzzChunk(f *testing.F) {
	f.Add(wire(2048, 1772366400500, 4.5, 7, 1, 0.5, -1))
	f.Add(wire(nan, inf, -inf, math.MaxUint32, math.MaxUint32, float32(nan)))
	f.Add([]byte("TBS1"))
	f.Fuzz(func(t *testing.T, b []byte) {
		c, err := earpiece.ParseChunk(b)
		if err != nil {
			if !errors.Is(err, earpiece.ErrChunk) {
				t.Errorf("%v does not wrap ErrChunk", err)
			}
			return
		}
		if 40+4*len(c.Samples) != len(b) || len(c.Samples) == 0 || c.Start < 0 || c.End() <= c.Start || c.Lost < 0 {
			t.Errorf("%d bytes give %d frames from %d", len(b), len(c.Samples), c.Start)
		}
		for _, v := range c.Samples {
			if math.IsNaN(float64(v)) || math.IsInf(float64(v), 0) {
				t.Errorf("a sample is %v", v)
			}
		}
		if !c.Ended.IsZero() && (c.Ended.Year() < 2000 || c.Ended.Year() > 2200 || !(c.BoundS >= 0)) {
			t.Errorf("it ended at %s ±%v s", c.Ended, c.BoundS)
		}
	})
}

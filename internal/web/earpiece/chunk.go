package earpiece

import (
	"encoding/binary"
	"errors"
	"fmt"
	"math"
	"time"
)

// ErrChunk is wrapped by what is said of a message that is not a chunk.
var ErrChunk = errors.New("the sound cannot be read")

// magic begins every chunk: "TBS1" as it lies on the wire.
const magic = 0x31534254

// head is the length of what precedes the samples, in bytes.
const head = 40

// mostFrames bounds a chunk; the message then stays under the read limit.
const mostFrames = (mostMessage - head) / 4

// mostStart is the greatest frame a chunk may begin at: 30 days at 384 kHz.
const mostStart = 30 * 86400 * 384000

// From when to when a device may say it is, in ms since 1970: 2000 to 2200.
const (
	firstMS = 946684800e3
	lastMS  = 7258118400e3
)

// Chunk is a stretch of sound without a break.
type Chunk struct {
	Start   int64     // its first frame, counted by the device from when it began to listen
	Samples []float32 // full scale is ±1; the receiver may keep it
	Ended   time.Time // UTC when the last frame was handed in by the device, to the microsecond; zero: not known
	BoundS  float64   // bound of Ended against the clock of this computer, s; the way through the microphone is not in it
	Lost    int64     // frames before it that the device says it never got
	Missing int64     // frames between the chunk taken before and this one: those lost and those given up on the way
	Gap     bool      // exact zeros in every channel for some blocks: no sound was handed in, which is not silence
}

// End returns the frame after the last one.
func (c Chunk) End() int64 { return c.Start + int64(len(c.Samples)) }

// parseChunk returns the chunk of a message. Samples that are no numbers become
// 0; a UTC or a bound that is none, or lies outside 2000 to 2200, leaves Ended
// zero. Anything else that no ear sends is an error that wraps ErrChunk.
func parseChunk(b []byte) (Chunk, error) {
	if len(b) < head {
		return Chunk{}, fmt.Errorf("%w: the message has %d bytes and its head needs %d", ErrChunk, len(b), head)
	}
	le := binary.LittleEndian
	if le.Uint32(b) != magic {
		return Chunk{}, fmt.Errorf("%w: the message begins with %08x, not with %08x", ErrChunk, le.Uint32(b), magic)
	}
	n := int64(le.Uint32(b[4:]))
	number := func(at int) float64 { return math.Float64frombits(le.Uint64(b[at:])) }
	start, utcMS, boundMS := number(8), number(16), number(24)
	switch {
	case n == 0 || n > mostFrames:
		return Chunk{}, fmt.Errorf("%w: a chunk of %d frames; it must have 1 to %d", ErrChunk, n, mostFrames)
	case int64(len(b)) != head+4*n:
		return Chunk{}, fmt.Errorf("%w: %d frames are announced and %d bytes follow the head", ErrChunk, n, len(b)-head)
	case !(start >= 0 && start <= mostStart) || start != math.Trunc(start):
		return Chunk{}, fmt.Errorf("%w: a chunk cannot begin at frame %v; listen anew", ErrChunk, start)
	}
	c := Chunk{Start: int64(start), Lost: int64(le.Uint32(b[32:])), Gap: le.Uint32(b[36:])&1 != 0, Samples: make([]float32, n)}
	if utcMS >= firstMS && utcMS <= lastMS && boundMS >= 0 && boundMS <= lastMS {
		c.Ended, c.BoundS = time.UnixMicro(int64(utcMS*1000)).UTC(), boundMS/1000
	}
	for k := range c.Samples {
		v := math.Float32frombits(le.Uint32(b[head+4*k:]))
		if v-v == 0 { // neither NaN nor infinite
			c.Samples[k] = v
		}
	}
	return c, nil
}

// after returns the part of c from frame have on, with what is missing before
// it; false if all of it was had before.
func (c Chunk) after(have int64) (Chunk, bool) {
	switch {
	case c.End() <= have:
		return Chunk{}, false
	case c.Start < have:
		c.Samples = c.Samples[have-c.Start:]
		c.Start, c.Lost = have, 0
	default:
		c.Missing = c.Start - have
	}
	return c, true
}

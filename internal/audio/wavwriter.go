package audio

import (
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math"
)

// WAVWriter writes a recording as WAV, and as RF64 once it outgrows 4 GB
// (EBU Tech 3306 (2009), section 3.5: a chunk JUNK that becomes ds64). A reader
// of an unfinished one finds sizes of 0xFFFFFFFF, which mean "to the end".
type WAVWriter struct {
	w        io.Writer
	back     io.WriteSeeker // nil if the head cannot be completed
	begin    int64          // where in the file the recording begins
	rateHz   int
	channels int
	bits     int
	bytes    uint64 // of samples
	most     uint64 // beyond which it is RF64
	clipped  int64
	raw      []byte
	err      error
}

// junkBytes is the size of the body of ds64 without a table.
const junkBytes = 28

// errClosed is what a writer says after Close.
var errClosed = errors.New("the recording is closed; open a new one")

// NewWAV returns a writer of PCM with 16 or 24 bits a sample. If w can seek,
// Close completes the head. It panics on any other number of bits, and on a
// rate or a number of channels that Open would refuse.
func NewWAV(w io.Writer, rateHz, channels, bits int) *WAVWriter {
	if bits != 16 && bits != 24 {
		panic("audio: a sample has 16 or 24 bits")
	}
	if rateHz < leastRateHz || rateHz > mostRateHz || channels < 1 || channels > mostChannels {
		panic(fmt.Sprintf("audio: %d channels at %d Hz", channels, rateHz))
	}
	out := &WAVWriter{w: w, rateHz: rateHz, channels: channels, bits: bits, most: math.MaxUint32 - 2*mostHead} // a size near the largest says "to the end"
	if back, ok := w.(io.WriteSeeker); ok {
		if at, err := back.Seek(0, io.SeekCurrent); err == nil { // a pipe fails here
			out.back, out.begin = back, at
		}
	}
	_, out.err = w.Write(out.head(false))
	return out
}

// head returns everything before the samples, with the sizes of now if done.
func (w *WAVWriter) head(done bool) []byte {
	le := binary.LittleEndian
	extensible := w.bits > 16 || w.channels > 2
	format := uint32(16)
	if extensible {
		format = 40
	}
	length := 12 + 8 + junkBytes + 8 + int(format) + 8
	riff, samples := uint64(math.MaxUint32), uint64(math.MaxUint32)
	var long bool
	if done {
		riff, samples = uint64(length-8)+w.bytes+w.bytes&1, w.bytes
		long = riff > w.most
	}
	b := make([]byte, 0, length)
	if long {
		b = append(b, "RF64\xff\xff\xff\xffWAVEds64"...)
	} else {
		b = append(le.AppendUint32(append(b, "RIFF"...), uint32(riff)), "WAVEJUNK"...)
	}
	b = le.AppendUint32(b, junkBytes)
	if long {
		b = le.AppendUint64(le.AppendUint64(b, riff), samples)
		b = le.AppendUint32(le.AppendUint64(b, samples/uint64(w.frameBytes())), 0)
		samples = math.MaxUint32
	} else {
		b = append(b, make([]byte, junkBytes)...)
	}
	tag := uint16(tagPCM)
	if extensible {
		tag = tagExtensible
	}
	b = le.AppendUint32(append(b, "fmt "...), format)
	b = le.AppendUint16(le.AppendUint16(b, tag), uint16(w.channels))
	b = le.AppendUint32(le.AppendUint32(b, uint32(w.rateHz)), uint32(w.rateHz*w.frameBytes()))
	b = le.AppendUint16(le.AppendUint16(b, uint16(w.frameBytes())), uint16(w.bits))
	if extensible {
		// Bytes that follow, bits that count, no place of a loudspeaker, and the
		// GUID of PCM.
		b = le.AppendUint32(le.AppendUint16(le.AppendUint16(b, 22), uint16(w.bits)), 0)
		b = append(le.AppendUint16(b, tagPCM), "\x00\x00\x00\x00\x10\x00\x80\x00\x00\xaa\x00\x38\x9b\x71"...)
	}
	return le.AppendUint32(append(b, "data"...), uint32(samples))
}

func (w *WAVWriter) frameBytes() int { return w.channels * w.bits / 8 }

// Write writes samples in [-1, 1), channels interleaved; len(samples) is a
// multiple of the channels, else it panics. What lies outside is clipped.
func (w *WAVWriter) Write(samples []float64) error {
	if len(samples)%w.channels != 0 {
		panic("audio: a part of a frame")
	}
	const most = 1 << 15 // samples at a time
	for len(samples) > 0 && w.err == nil {
		piece := samples[:min(most, len(samples))]
		samples = samples[len(piece):]
		w.raw = w.encode(w.raw[:0], piece)
		var n int
		n, w.err = w.w.Write(w.raw)
		w.bytes += uint64(n)
	}
	return w.err
}

func (w *WAVWriter) encode(raw []byte, samples []float64) []byte {
	full := math.Ldexp(1, w.bits-1)
	for _, v := range samples {
		v = math.RoundToEven(v * full)
		switch {
		case v >= -full && v < full:
		case v >= full:
			v, w.clipped = full-1, w.clipped+1
		case v < -full:
			v, w.clipped = -full, w.clipped+1
		default: // no number
			v, w.clipped = 0, w.clipped+1
		}
		n := int32(v)
		raw = append(raw, byte(n), byte(n>>8))
		if w.bits == 24 {
			raw = append(raw, byte(n>>16))
		}
	}
	return raw
}

// Clipped returns how many samples lay outside [-1, 1), or were no numbers and
// were written as silence.
func (w *WAVWriter) Clipped() int64 { return w.clipped }

// Close ends the recording, and completes its head if the file can seek. It does
// not close the file.
func (w *WAVWriter) Close() error {
	if w.err != nil {
		if errors.Is(w.err, errClosed) {
			return nil
		}
		return w.err
	}
	w.err = errClosed
	if w.back == nil { // samples to the end, and no byte after them
		return nil
	}
	if w.bytes&1 == 1 { // chunks end at even bytes
		if _, err := w.w.Write([]byte{0}); err != nil {
			return err
		}
	}
	if _, err := w.back.Seek(w.begin, io.SeekStart); err != nil {
		return err
	}
	if _, err := w.back.Write(w.head(true)); err != nil {
		return err
	}
	_, err := w.back.Seek(0, io.SeekEnd)
	return err
}

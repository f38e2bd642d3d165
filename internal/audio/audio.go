// Package audio reads recordings as streams of frames, in bounded memory
// whatever their length, WAV and FLAC by readers of its own, and writes WAV.
// Other kinds of file are named and refused.
//
// A frame is one sample of each channel. Samples are in [-1, 1): an integer
// sample of b bits is divided by 2^(b-1). Sources: Microsoft/IBM, Multimedia
// Programming Interface and Data Specifications 1.0 (1991), "WAVE"; EBU Tech
// 3306, RF64 (2009); ITU-R BS.2088, BW64; RFC 9639, FLAC (2024).
package audio

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"io"
	"unicode/utf8"
)

// ErrNotSound marks a file that is no recording this program reads; the text
// says what it is and what to do.
var ErrNotSound = errors.New("not a recording that can be read")

// Format is how a recording is written.
type Format struct {
	Name     string // "WAV", "RF64", "BW64" or "FLAC"
	RateHz   int    // frames a second by its own clock
	Channels int
	Bits     int  // of one sample
	Float    bool // samples are floating-point numbers
	Frames   int64
	// Known reports whether Frames is what the header says; a recording that is
	// still being written, or was cut off, may not say it.
	Known bool
}

// Recording is an open recording.
type Recording struct {
	Format
	source   source
	warnings []string
	read     int64
}

// source reads whole frames, samples interleaved: at least one, and as many
// more as there are without waiting; it returns io.EOF after the last.
type source interface {
	frames(into []float64) (int, error)
	warnings() []string
}

// The limits of what is taken for a recording.
const (
	leastRateHz  = 1000
	mostRateHz   = 1_000_000
	mostChannels = 64
)

// Open reads the head of a recording; the rest follows by Read. Its error wraps
// ErrNotSound if it is none.
func Open(r io.Reader) (*Recording, error) {
	from := &supply{r: r}
	in := bufio.NewReaderSize(from, 1<<16)
	magic, err := in.Peek(12)
	if err != nil && !errors.Is(err, io.EOF) {
		return nil, err
	}
	var rec *Recording
	switch {
	case len(magic) == 0:
		return nil, fmt.Errorf("%w: it is empty; record it again", ErrNotSound)
	case len(magic) == 12 && string(magic[8:]) == "WAVE" && (string(magic[:4]) == "RIFF" || string(magic[:4]) == "RF64" || string(magic[:4]) == "BW64"):
		rec, err = openWAV(in, from)
	case bytes.HasPrefix(magic, []byte("fLaC")):
		rec, err = openFLAC(in, from)
	default:
		return nil, fmt.Errorf("%w: %s", ErrNotSound, other(magic))
	}
	if err != nil {
		return nil, err
	}
	if rec.RateHz < leastRateHz || rec.RateHz > mostRateHz || rec.Channels < 1 || rec.Channels > mostChannels {
		return nil, fmt.Errorf("%w: its head says %d channels at %d Hz, which no recorder writes; record it again, or convert it to WAV", ErrNotSound, rec.Channels, rec.RateHz)
	}
	return rec, nil
}

// supply is where the bytes come from; it remembers whether the last call
// brought fewer than asked for, as a pipe does that has no more yet.
type supply struct {
	r     io.Reader
	short bool
}

func (s *supply) Read(p []byte) (int, error) {
	n, err := s.r.Read(p)
	s.short = n < len(p)
	return n, err
}

// Read reads whole frames, channels interleaved, and returns how many: at least
// one, as many as into holds if the file has them, and from a recording that is
// still being made those there are. len(into) is a multiple of Channels, else
// it panics. At the end it returns 0 and io.EOF.
func (r *Recording) Read(into []float64) (int, error) {
	if len(into)%r.Channels != 0 {
		panic("audio: room for a part of a frame")
	}
	if len(into) == 0 {
		return 0, nil
	}
	n, err := r.source.frames(into)
	r.read += int64(n)
	if n > 0 && errors.Is(err, io.EOF) {
		err = nil // told by the next call
	}
	return n, err
}

// Warnings returns what a reader of the result must know, such as that the
// recording was cut off, in sentences without capital and full stop. They are
// whole once Read has returned io.EOF.
func (r *Recording) Warnings() []string {
	all := append([]string{}, r.warnings...)
	return append(all, r.source.warnings()...)
}

// others are the kinds of file that are known by how they begin.
var others = []struct {
	at     int
	begins string
	name   string
}{
	{0, "OggS", "an Ogg file (Opus or Vorbis)"}, {0, "ID3", "an MP3 file"}, {0, "\xff\xfb", "an MP3 file"}, {0, "\xff\xf3", "an MP3 file"}, {0, "\xff\xf1", "an AAC file"},
	{4, "ftyp", "an MP4 or M4A file"}, {0, "FORM", "an AIFF file"}, {0, ".snd", "an AU file"}, {0, "caff", "a CAF file"}, {0, "wvpk", "a WavPack file"},
	{0, "\x1aE\xdf\xa3", "a WebM or Matroska file"}, {0, "RIFF", "a RIFF file without sound"}, {0, "riff\x2e\x91\xcf\x11", "a Wave64 file"}, {0, "PK\x03\x04", "a zip file"},
}

// other says what a file is that is no recording.
func other(magic []byte) string {
	const convert = "convert it to WAV or FLAC without loss, such as with ffmpeg -i FILE FILE.flac, and give that"
	for _, o := range others {
		if len(magic) >= o.at && bytes.HasPrefix(magic[o.at:], []byte(o.begins)) {
			return "it is " + o.name + "; " + convert
		}
	}
	if utf8.Valid(magic) && bytes.IndexByte(magic, 0) < 0 {
		return fmt.Sprintf("it is text that begins %.12q; give a recording in WAV or FLAC", magic)
	}
	return fmt.Sprintf("it begins with the bytes % x, which no kind known here does; %s", magic[:min(4, len(magic))], convert)
}

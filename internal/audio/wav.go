package audio

import (
	"bufio"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math"
)

// The formats of samples that are read, by their tag.
const (
	tagPCM        = 1
	tagFloat      = 3
	tagExtensible = 0xfffe
)

// compressed are tags of samples that are not read.
var compressed = map[uint16]string{
	2: "ADPCM", 6: "A-law", 7: "µ-law", 0x11: "IMA ADPCM", 0x16: "G.723 ADPCM", 0x31: "GSM 6.10", 0x40: "G.721 ADPCM", 0x50: "MPEG", 0x55: "MP3", 0x161: "Windows Media", 0x162: "Windows Media",
}

// mostHead is the most bytes of a chunk that is kept in memory.
const mostHead = 4096

// toTheEnd stands for samples that go on to the end of the file.
const toTheEnd = math.MaxInt64

// wavSource reads the samples of a WAV file.
type wavSource struct {
	in       *bufio.Reader
	sample   int // bytes of one
	frame    int // bytes of one
	float    bool
	left     int64 // bytes of samples still to come; toTheEnd if nobody knows
	raw      []byte
	nonsense int64 // samples that are no numbers
	cut      string
	rateHz   int
}

// wavHead is what the chunks before the samples say.
type wavHead struct {
	format     Format
	tag        uint16
	blockAlign int
	ds64       bool
	dataSize   uint64 // of ds64
	seen       bool   // the chunk "fmt "
}

func bad(format string, args ...any) error {
	return fmt.Errorf("%w: %s", ErrNotSound, fmt.Sprintf(format, args...))
}

func openWAV(in *bufio.Reader) (*Recording, error) {
	var head [12]byte
	if _, err := io.ReadFull(in, head[:]); err != nil {
		return nil, err
	}
	h := wavHead{format: Format{Name: "WAV"}}
	if name := string(head[:4]); name != "RIFF" {
		h.format.Name = name
	}
	for {
		var chunk [8]byte
		if _, err := io.ReadFull(in, chunk[:]); err != nil {
			if errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) {
				return nil, bad("it ends before its samples begin; record it again")
			}
			return nil, err
		}
		id, size := string(chunk[:4]), binary.LittleEndian.Uint32(chunk[4:])
		if id == "data" {
			return h.begin(in, size)
		}
		if err := h.chunk(in, id, size); err != nil {
			return nil, err
		}
	}
}

// chunk reads one chunk before the samples, or passes over it.
func (h *wavHead) chunk(in *bufio.Reader, id string, size uint32) error {
	padded := int64(size) + int64(size&1) // chunks begin at even bytes
	if id != "fmt " && id != "ds64" {
		if _, err := io.CopyN(io.Discard, in, padded); err != nil {
			if errors.Is(err, io.EOF) {
				return bad("it ends within its chunk %q, before its samples begin; record it again", id)
			}
			return err
		}
		return nil
	}
	if size > mostHead {
		return bad("its chunk %q has %d bytes, which is no head of a recording", id, size)
	}
	body := make([]byte, padded)
	if _, err := io.ReadFull(in, body); err != nil {
		return bad("it ends within its chunk %q; record it again", id)
	}
	if id == "ds64" {
		if size < 24 {
			return bad("its chunk ds64 has %d bytes, and 24 are the fewest", size)
		}
		h.ds64, h.dataSize = true, binary.LittleEndian.Uint64(body[8:])
		return nil
	}
	return h.samples(body[:size])
}

// samples reads the chunk "fmt ".
func (h *wavHead) samples(b []byte) error {
	if len(b) < 16 {
		return bad("its chunk fmt has %d bytes, and 16 are the fewest", len(b))
	}
	h.seen = true
	h.tag = binary.LittleEndian.Uint16(b)
	f := &h.format
	f.Channels, f.RateHz = int(binary.LittleEndian.Uint16(b[2:])), int(binary.LittleEndian.Uint32(b[4:]))
	h.blockAlign, f.Bits = int(binary.LittleEndian.Uint16(b[12:])), int(binary.LittleEndian.Uint16(b[14:]))
	if h.tag == tagExtensible {
		if len(b) < 40 {
			return bad("its extensible chunk fmt has %d bytes, and 40 are the fewest", len(b))
		}
		h.tag = binary.LittleEndian.Uint16(b[24:]) // the GUID begins with the tag
	}
	switch {
	case h.tag == tagPCM && (f.Bits == 8 || f.Bits == 16 || f.Bits == 24 || f.Bits == 32):
	case h.tag == tagFloat && (f.Bits == 32 || f.Bits == 64):
		f.Float = true
	case h.tag == tagPCM || h.tag == tagFloat:
		return bad("its samples of %d bits are not read; convert it to 16 or 24 bits", f.Bits)
	default:
		name, ok := compressed[h.tag]
		if !ok {
			name = fmt.Sprintf("of format 0x%04x", h.tag)
		}
		return bad("its samples are %s, which loses the sharpness of a beat; record it as PCM", name)
	}
	if f.Channels < 1 || h.blockAlign != f.Channels*f.Bits/8 {
		return bad("its head contradicts itself: %d channels of %d bits in %d bytes", f.Channels, f.Bits, h.blockAlign)
	}
	return nil
}

// begin returns the recording whose samples of size bytes come next. A recorder
// that was cut off, or is still at work, leaves 0 or the largest number.
func (h *wavHead) begin(in *bufio.Reader, size uint32) (*Recording, error) {
	if !h.seen {
		return nil, bad("its samples come before their format is told; record it again")
	}
	f := h.format
	s := &wavSource{in: in, sample: f.Bits / 8, frame: h.blockAlign, float: f.Float, left: int64(size), rateHz: f.RateHz}
	switch {
	case h.ds64 && size == math.MaxUint32 && h.dataSize > 0 && h.dataSize < math.MaxInt64:
		s.left = int64(h.dataSize)
	case size == 0 || size >= math.MaxUint32-mostHead:
		s.left = toTheEnd
	}
	rec := &Recording{Format: f, source: s}
	if s.left != toTheEnd {
		rec.Frames, rec.Known = s.left/int64(s.frame), true
	}
	return rec, nil
}

func (s *wavSource) frames(into []float64) (int, error) {
	channels := s.frame / s.sample
	want := len(into) / channels
	if s.left != toTheEnd {
		want = int(min(int64(want), s.left/int64(s.frame)))
	}
	if want == 0 {
		return 0, io.EOF
	}
	if need := want * s.frame; cap(s.raw) < need {
		s.raw = make([]byte, need)
	}
	raw := s.raw[:want*s.frame]
	got, err := io.ReadFull(s.in, raw)
	if s.left != toTheEnd {
		s.left -= int64(got)
	}
	if errors.Is(err, io.ErrUnexpectedEOF) || errors.Is(err, io.EOF) {
		if s.left != toTheEnd && s.left > 0 && s.cut == "" {
			s.cut = fmt.Sprintf("the recording ends %.3g s before its head says; it was cut off, and what there is was read", float64(s.left)/float64(s.frame)/float64(s.rateHz))
		}
		if got%s.frame != 0 && s.cut == "" {
			s.cut = "the recording ends within a sample, which was left out"
		}
		s.left, err = 0, io.EOF
	}
	n := got / s.frame
	s.decode(into, raw[:n*s.frame])
	if n > 0 && errors.Is(err, io.EOF) {
		return n, nil
	}
	return n, err
}

// decode turns whole frames of bytes into samples.
func (s *wavSource) decode(into []float64, raw []byte) {
	le := binary.LittleEndian
	switch {
	case s.float && s.sample == 4:
		for i := 0; i*4 < len(raw); i++ {
			into[i] = s.number(float64(math.Float32frombits(le.Uint32(raw[4*i:]))))
		}
	case s.float:
		for i := 0; i*8 < len(raw); i++ {
			into[i] = s.number(math.Float64frombits(le.Uint64(raw[8*i:])))
		}
	case s.sample == 1: // the only one without a sign
		for i, b := range raw {
			into[i] = (float64(b) - 128) / 128
		}
	case s.sample == 2:
		for i := 0; i*2 < len(raw); i++ {
			into[i] = float64(int16(le.Uint16(raw[2*i:]))) / (1 << 15)
		}
	case s.sample == 3:
		for i := 0; i*3 < len(raw); i++ {
			into[i] = float64(int32(uint32(raw[3*i])<<8|uint32(raw[3*i+1])<<16|uint32(raw[3*i+2])<<24)) / (1 << 31)
		}
	default:
		for i := 0; i*4 < len(raw); i++ {
			into[i] = float64(int32(le.Uint32(raw[4*i:]))) / (1 << 31)
		}
	}
}

// mostSample is how far beyond full scale a floating sample may be, so that
// squares and sums of it stay finite.
const mostSample = 1e6

// number returns a floating sample, or 0 where it is none.
func (s *wavSource) number(v float64) float64 {
	if v != v || v > mostSample || v < -mostSample {
		s.nonsense++
		return 0
	}
	return v
}

func (s *wavSource) warnings() []string {
	var all []string
	if s.cut != "" {
		all = append(all, s.cut)
	}
	if s.nonsense > 0 {
		all = append(all, fmt.Sprintf("%d samples are no numbers and count as silence", s.nonsense))
	}
	return all
}

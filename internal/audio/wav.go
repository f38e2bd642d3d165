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
	from     *supply
	sample   int // bytes of one
	frame    int // bytes of one
	float    bool
	left     int64 // bytes of samples still to come; toTheEnd if nobody knows
	raw      []byte
	part     int   // bytes at the head of raw that begin a frame
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

func openWAV(in *bufio.Reader, from *supply) (*Recording, error) {
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
			return h.begin(in, from, size)
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
func (h *wavHead) begin(in *bufio.Reader, from *supply, size uint32) (*Recording, error) {
	if !h.seen {
		return nil, bad("its samples come before their format is told; record it again")
	}
	f := h.format
	s := &wavSource{in: in, from: from, sample: f.Bits / 8, frame: h.blockAlign, float: f.Float, left: int64(size), rateHz: f.RateHz}
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
		want = int(min(int64(want), (s.left+int64(s.part))/int64(s.frame)))
	}
	if want == 0 {
		return 0, io.EOF
	}
	if need := want * s.frame; cap(s.raw) < need {
		grown := make([]byte, need)
		copy(grown, s.raw[:s.part])
		s.raw = grown
	}
	raw := s.raw[:want*s.frame]
	got, err := s.fill(raw)
	if s.left != toTheEnd {
		s.left -= int64(got - s.part)
	}
	n := got / s.frame
	s.part = got % s.frame
	if errors.Is(err, io.EOF) {
		if s.left != toTheEnd && s.left > 0 && s.cut == "" {
			s.cut = fmt.Sprintf("the recording ends %.3g s before its head says; it was cut off, and what there is was read", float64(s.left)/float64(s.frame)/float64(s.rateHz))
		}
		if s.part != 0 && s.cut == "" {
			s.cut = "the recording ends within a sample, which was left out"
		}
		s.left, s.part = 0, 0
	}
	s.decode(into[:n*channels], raw[:n*s.frame])
	copy(s.raw, raw[n*s.frame:n*s.frame+s.part])
	if n > 0 && errors.Is(err, io.EOF) {
		return n, nil
	}
	return n, err
}

// fill fills raw behind the part of a frame it begins with, and returns how many
// bytes it holds then. It waits for one frame and takes no more than there are
// beyond it.
func (s *wavSource) fill(raw []byte) (int, error) {
	got, idle := s.part, 0
	for got < len(raw) {
		if got >= s.frame && s.from.short && s.in.Buffered() == 0 {
			return got, nil
		}
		n, err := s.in.Read(raw[got:])
		got += n
		if err != nil {
			return got, err
		}
		if idle++; n > 0 {
			idle = 0
		} else if idle > 100 {
			return got, io.ErrNoProgress
		}
	}
	return got, nil
}

// A float64 whose last place is worth one step of an integer sample holds that
// sample in its lowest bits: 2^37 for 16 bits, 2^29 for 24. With the sign bit
// turned over the sample counts from -1, so 1 more comes off.
const (
	bits16, less16 = 0x4240_0000_0000_0000, 1<<37 + 1
	bits24, less24 = 0x41c0_0000_0000_0000, 1<<29 + 1
)

// decode turns whole frames of bytes into samples; len(into) is that of raw
// over the bytes of one.
func (s *wavSource) decode(into []float64, raw []byte) {
	le := binary.LittleEndian
	switch {
	case s.float && s.sample == 4:
		s.decodeFloat32(into, raw)
	case s.float:
		for ; len(into) > 0 && len(raw) >= 8; into, raw = into[1:], raw[8:] {
			into[0] = s.number(math.Float64frombits(le.Uint64(raw)))
		}
	case s.sample == 1: // the only one without a sign
		for i, b := range raw {
			into[i] = (float64(b) - 128) / 128
		}
	case s.sample == 2:
		decode16(into, raw)
	case s.sample == 3:
		decode24(into, raw)
	default:
		for ; len(into) > 0 && len(raw) >= 4; into, raw = into[1:], raw[4:] {
			into[0] = float64(int32(le.Uint32(raw))) / (1 << 31)
		}
	}
}

func decode16(into []float64, raw []byte) {
	le := binary.LittleEndian
	for ; len(into) >= 8 && len(raw) >= 16; into, raw = into[8:], raw[16:] {
		v, w := le.Uint64(raw)^0x8000_8000_8000_8000, le.Uint64(raw[8:])^0x8000_8000_8000_8000
		into[0] = math.Float64frombits(bits16|v&0xffff) - less16
		into[1] = math.Float64frombits(bits16|v>>16&0xffff) - less16
		into[2] = math.Float64frombits(bits16|v>>32&0xffff) - less16
		into[3] = math.Float64frombits(bits16|v>>48) - less16
		into[4] = math.Float64frombits(bits16|w&0xffff) - less16
		into[5] = math.Float64frombits(bits16|w>>16&0xffff) - less16
		into[6] = math.Float64frombits(bits16|w>>32&0xffff) - less16
		into[7] = math.Float64frombits(bits16|w>>48) - less16
	}
	for ; len(into) > 0 && len(raw) >= 2; into, raw = into[1:], raw[2:] {
		into[0] = float64(int16(le.Uint16(raw))) / (1 << 15)
	}
}

func decode24(into []float64, raw []byte) {
	le := binary.LittleEndian
	for ; len(into) >= 4 && len(raw) >= 12; into, raw = into[4:], raw[12:] {
		v, w := le.Uint64(raw)^0x8000_0080_0000, le.Uint64(raw[4:])
		into[0] = math.Float64frombits(bits24|v&0xffffff) - less24
		into[1] = math.Float64frombits(bits24|v>>24&0xffffff) - less24
		into[2] = math.Float64frombits(bits24|(w>>16&0xffffff^0x800000)) - less24
		into[3] = math.Float64frombits(bits24|(w>>40^0x800000)) - less24
	}
	for ; len(into) > 0 && len(raw) >= 3; into, raw = into[1:], raw[3:] {
		into[0] = float64(int32(uint32(raw[0])<<8|uint32(raw[1])<<16|uint32(raw[2])<<24)) / (1 << 31)
	}
}

// decodeFloat32 passes what lies within mostSample, whose bits without the sign
// are in the order of its size, and lets number see the rest.
func (s *wavSource) decodeFloat32(into []float64, raw []byte) {
	le := binary.LittleEndian
	const size, most = 0x7fff_ffff, 0x4974_2400 // 1e6
	for ; len(into) >= 4 && len(raw) >= 16; into, raw = into[4:], raw[16:] {
		v, w := le.Uint64(raw), le.Uint64(raw[8:])
		if v&size > most || v>>32&size > most || w&size > most || w>>32&size > most {
			break
		}
		into[0], into[1] = float64(math.Float32frombits(uint32(v))), float64(math.Float32frombits(uint32(v>>32)))
		into[2], into[3] = float64(math.Float32frombits(uint32(w))), float64(math.Float32frombits(uint32(w>>32)))
	}
	for n := 0; len(into) > 0 && len(raw) >= 4; into, raw = into[1:], raw[4:] {
		into[0] = s.number(float64(math.Float32frombits(le.Uint32(raw))))
		if n++; n == 16 && len(into) > 16 { // back to four at a time
			s.decodeFloat32(into[1:], raw[4:])
			return
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

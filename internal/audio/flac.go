package audio

import (
	"bufio"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math"
)

// flacSource reads the frames of a FLAC stream, whose own frames are blocks of
// samples.
type flacSource struct {
	in       *bitReader
	from     *supply
	buffer   *bufio.Reader
	channels int
	bits     int
	rateHz   int
	known    int64 // frames the head says, 0 if it does not
	read     int64
	scale    float64
	block    [][]int64 // the last block, by channel
	length   int       // of the block
	at       int       // frames of the block already given
	next     uint64    // number the next block bears
	numbered bool
	told     []string
	broken   error
}

// streamInfoBytes is the length of the block STREAMINFO (RFC 9639, section 8.2).
const streamInfoBytes = 34

func openFLAC(in *bufio.Reader, from *supply) (*Recording, error) {
	damaged := func(err error) error {
		return fmt.Errorf("%w: its FLAC head is damaged (%w); record it again, or take another copy", ErrNotSound, err)
	}
	var head [4 + 4 + streamInfoBytes]byte
	if _, err := io.ReadFull(in, head[:]); err != nil {
		return nil, damaged(err)
	}
	if head[4]&0x7f != 0 || head[5] != 0 || head[6] != 0 || head[7] != streamInfoBytes {
		return nil, damaged(errors.New("it does not begin with STREAMINFO"))
	}
	info := binary.BigEndian.Uint64(head[8+10:])
	rec := &Recording{Format: Format{
		Name: "FLAC", RateHz: int(info >> 44), Channels: int(info>>41&7) + 1, Bits: int(info>>36&31) + 1, Frames: int64(info & (1<<36 - 1)),
	}}
	rec.Known = rec.Frames > 0
	if rec.Bits < 4 {
		return nil, fmt.Errorf("%w: its FLAC head says %d bits a sample; take another copy", ErrNotSound, rec.Bits)
	}
	for last := head[4]&0x80 != 0; !last; {
		var block [4]byte
		if _, err := io.ReadFull(in, block[:]); err != nil {
			return nil, damaged(err)
		}
		last = block[0]&0x80 != 0
		if _, err := io.CopyN(io.Discard, in, int64(block[1])<<16|int64(block[2])<<8|int64(block[3])); err != nil {
			return nil, damaged(err)
		}
	}
	rec.source = &flacSource{
		in: &bitReader{src: in}, from: from, buffer: in, channels: rec.Channels, bits: rec.Bits, rateHz: rec.RateHz, known: rec.Frames,
		scale: math.Ldexp(1, 1-rec.Bits), block: make([][]int64, rec.Channels),
	}
	return rec, nil
}

func (s *flacSource) frames(into []float64) (int, error) {
	n := 0
	for room := len(into) / s.channels; n < room; {
		if s.at == s.length {
			if n > 0 && s.from.short && s.in.empty() && s.buffer.Buffered() == 0 {
				return n, nil
			}
			if err := s.following(); err != nil {
				return n, err
			}
			continue
		}
		k := min(room-n, s.length-s.at)
		for c, samples := range s.block {
			samples = samples[s.at : s.at+k]
			if s.channels == 1 {
				to := into[n : n+k]
				for i, v := range samples {
					to[i] = float64(v) * s.scale
				}
				continue
			}
			to := into[n*s.channels+c:]
			for i, v := range samples {
				to[i*s.channels] = float64(v) * s.scale
			}
		}
		n += k
		s.at += k
	}
	return n, nil
}

// following reads the next block. A damaged one ends the recording, with a
// warning: what came before it is good.
func (s *flacSource) following() error {
	if s.broken != nil {
		return s.broken
	}
	s.at, s.length = 0, 0
	length, err := s.parse()
	if err == nil {
		s.length = length
		s.read += int64(length)
		return nil
	}
	s.broken = io.EOF
	switch {
	case s.known > 0 && s.read >= s.known: // a tag behind the last block is no damage
	case !errors.Is(err, io.EOF):
		s.told = append(s.told, fmt.Sprintf("the recording is damaged or cut off, and what follows is not read (%v)", err))
	case s.known > 0:
		s.told = append(s.told, fmt.Sprintf("the recording ends %.3g s before its head says; it was cut off, and what there is was read", float64(s.known-s.read)/float64(s.rateHz)))
	}
	return s.broken
}

func (s *flacSource) warnings() []string { return s.told }

package audio

import (
	"errors"
	"fmt"
	"io"
	"math"

	"github.com/mewkiz/flac"
)

// flacSource reads the frames of a FLAC stream, whose own frames are blocks of
// samples.
type flacSource struct {
	stream   *flac.Stream
	channels int
	scale    float64
	block    []float64 // what is left of the last block, interleaved
	told     []string
	broken   error
}

func openFLAC(r io.Reader) (*Recording, error) {
	stream, err := flac.New(r)
	if err != nil {
		return nil, fmt.Errorf("%w: its FLAC head is damaged (%w); record it again, or take another copy", ErrNotSound, err)
	}
	info := stream.Info
	rec := &Recording{Format: Format{
		Name: "FLAC", RateHz: int(info.SampleRate), Channels: int(info.NChannels), Bits: int(info.BitsPerSample), Frames: int64(info.NSamples), Known: info.NSamples > 0,
	}}
	if rec.Bits < 4 || rec.Bits > 32 {
		return nil, fmt.Errorf("%w: its FLAC head says %d bits a sample; take another copy", ErrNotSound, rec.Bits)
	}
	rec.source = &flacSource{stream: stream, channels: rec.Channels, scale: math.Ldexp(1, 1-rec.Bits)}
	return rec, nil
}

func (s *flacSource) frames(into []float64) (int, error) {
	n := 0
	for n < len(into) {
		if len(s.block) == 0 {
			if err := s.next(); err != nil {
				return n / s.channels, err
			}
		}
		k := copy(into[n:], s.block)
		s.block = s.block[k:]
		n += k
	}
	return n / s.channels, nil
}

// next reads the next block. A damaged one ends the recording, with a warning:
// what came before it is good.
func (s *flacSource) next() error {
	if s.broken != nil {
		return s.broken
	}
	f, err := s.parse()
	if err != nil {
		s.broken = io.EOF
		if !errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) {
			s.told = append(s.told, fmt.Sprintf("the recording is damaged or cut off, and what follows is not read (%v)", err))
		}
		return s.broken
	}
	if len(f) == 0 {
		return nil
	}
	s.block = f
	return nil
}

// parse returns the samples of the next block, interleaved. The library panics
// on some damaged streams, which is a damaged stream and no more.
func (s *flacSource) parse() (block []float64, err error) {
	defer func() {
		if fault := recover(); fault != nil {
			block, err = nil, fmt.Errorf("its block cannot be decoded: %v", fault)
		}
	}()
	f, err := s.stream.ParseNext()
	if err != nil {
		return nil, err
	}
	if len(f.Subframes) != s.channels {
		return nil, fmt.Errorf("a block has %d channels instead of %d", len(f.Subframes), s.channels)
	}
	length := len(f.Subframes[0].Samples)
	block = make([]float64, length*s.channels)
	for c, sub := range f.Subframes {
		if len(sub.Samples) != length {
			return nil, errors.New("the channels of a block differ in length")
		}
		for i, v := range sub.Samples {
			block[i*s.channels+c] = float64(v) * s.scale
		}
	}
	return block, nil
}

func (s *flacSource) warnings() []string { return s.told }

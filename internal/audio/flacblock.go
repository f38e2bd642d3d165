package audio

import (
	"errors"
	"fmt"
	"io"
	"math/bits"
)

// blockHead is what the head of a block says (RFC 9639, section 9.1).
type blockHead struct {
	length   int
	pair     uint64 // 8 left and side, 9 side and right, 10 middle and side, else none
	number   uint64
	variable bool // number counts samples instead of blocks
}

// parse reads the next block and returns its length. It returns io.EOF where a
// block would begin, and another error if it is damaged.
func (s *flacSource) parse() (int, error) {
	b := s.in
	b.start()
	if !b.load(8) {
		return 0, b.err
	}
	h, err := s.parseHead()
	if err == nil {
		err = s.parseSamples(h)
	}
	switch {
	case errors.Is(b.err, io.EOF): // whatever else is wrong follows from it
		return 0, io.ErrUnexpectedEOF
	case b.err != nil:
		return 0, b.err
	case err != nil:
		return 0, err
	}
	if s.numbered && h.number > s.next {
		s.told = append(s.told, fmt.Sprintf("blocks are missing from the recording after %.3f s", float64(s.read)/float64(s.rateHz)))
	}
	s.numbered, s.next = true, h.number+1
	if h.variable {
		s.next = h.number + uint64(h.length)
	}
	return h.length, nil
}

func (s *flacSource) parseHead() (blockHead, error) {
	b := s.in
	var h blockHead
	if b.take(15) != 0x3ffe<<1 {
		return h, errors.New("no block begins where one should")
	}
	h.variable = b.take(1) == 1
	size, rate := b.take(4), b.take(4)
	h.pair = b.take(4)
	depth, reserved := b.take(3), b.take(1)
	var ok bool
	if h.number, ok = s.parseNumber(); !ok || reserved != 0 {
		return h, errors.New("the head of a block is damaged")
	}
	switch {
	case size == 1:
		h.length = 192
	case size >= 2 && size <= 5:
		h.length = 144 << size
	case size == 6:
		h.length = int(b.take(8)) + 1
	case size == 7:
		h.length = int(b.take(16)) + 1
	case size >= 8:
		h.length = 1 << size
	}
	hz := [...]int{s.rateHz, 88200, 176400, 192000, 8000, 16000, 22050, 24000, 32000, 44100, 48000, 96000, 0, 0, 0, 0}[rate]
	switch rate {
	case 12:
		hz = 1000 * int(b.take(8))
	case 13:
		hz = int(b.take(16))
	case 14:
		hz = 10 * int(b.take(16))
	}
	if b.err != nil {
		return h, b.err
	}
	want := sum8(b.soFar())
	if byte(b.take(8)) != want || h.length == 0 {
		return h, errors.New("the head of a block is damaged")
	}
	channels := int(h.pair) + 1
	if h.pair >= 8 {
		channels = 2
	}
	depthBits := [...]int{s.bits, 8, 12, 0, 16, 20, 24, 32}[depth]
	if channels != s.channels || depthBits != s.bits || hz != s.rateHz || h.pair > 10 {
		return h, fmt.Errorf("a block has %d channels of %d bits at %d Hz instead of %d of %d at %d", channels, depthBits, hz, s.channels, s.bits, s.rateHz)
	}
	return h, nil
}

// parseNumber reads a number written as UTF-8 writes a character, up to 36 bits.
func (s *flacSource) parseNumber() (uint64, bool) {
	first := byte(s.in.take(8))
	ones := bits.LeadingZeros8(^first)
	if ones == 0 {
		return uint64(first), true
	}
	if ones == 1 || ones == 8 {
		return 0, false
	}
	v := uint64(first) & (1<<(7-ones) - 1)
	for range ones - 1 {
		next := s.in.take(8)
		if next>>6 != 2 {
			return 0, false
		}
		v = v<<6 | next&0x3f
	}
	return v, true
}

func (s *flacSource) parseSamples(h blockHead) error {
	b := s.in
	for c := range s.block {
		if cap(s.block[c]) < h.length {
			s.block[c] = make([]int64, h.length)
		}
		s.block[c] = s.block[c][:h.length]
		depth := uint(s.bits)
		if h.pair == 9 && c == 0 || (h.pair == 8 || h.pair == 10) && c == 1 {
			depth++ // a difference
		}
		if err := s.parseChannel(s.block[c], depth); err != nil {
			return err
		}
		if b.err != nil {
			return b.err
		}
	}
	b.align()
	want := sum16(b.soFar())
	if uint16(b.take(16)) != want {
		return errors.New("the sum of a block is wrong")
	}
	if h.pair >= 8 {
		together(s.block[0], s.block[1], h.pair)
	}
	var beyond int64
	for _, samples := range s.block {
		for _, v := range samples {
			beyond |= v ^ v>>63
		}
	}
	if beyond>>(s.bits-1) != 0 {
		return errors.New("a block has samples beyond full scale")
	}
	return nil
}

// together turns two channels written by their difference into left and right.
func together(a, b []int64, pair uint64) {
	b = b[:len(a)]
	switch pair {
	case 8:
		for i, v := range a {
			b[i] = v - b[i]
		}
	case 9:
		for i, v := range b {
			a[i] += v
		}
	case 10:
		for i, side := range b {
			twice := a[i]<<1 | side&1
			a[i], b[i] = (twice+side)>>1, (twice-side)>>1
		}
	}
}

// parseChannel reads one channel of a block (RFC 9639, section 9.2).
func (s *flacSource) parseChannel(into []int64, depth uint) error {
	b := s.in
	kind := b.take(7) // the first bit is 0
	var wasted uint
	if b.take(1) == 1 {
		wasted = uint(min(b.unary(), 64)) + 1
		if wasted >= depth {
			return errors.New("a channel has no bits")
		}
		depth -= wasted
	}
	switch {
	case kind == 0:
		v := b.signed(depth)
		for i := range into {
			into[i] = v
		}
	case kind == 1:
		for i := range into {
			into[i] = b.signed(depth)
		}
	case kind >= 8 && kind <= 12 || kind >= 32 && kind <= 63:
		if err := s.parsePredicted(into, kind, depth); err != nil {
			return err
		}
	default:
		return fmt.Errorf("a channel is written in the unknown way %d", kind)
	}
	if wasted > 0 {
		for i := range into {
			into[i] <<= wasted
		}
	}
	return nil
}

// parsePredicted reads a channel written by a predictor and what it missed.
func (s *flacSource) parsePredicted(into []int64, kind uint64, depth uint) error {
	b := s.in
	order := int(kind) - 8
	if kind >= 32 {
		order = int(kind) - 31
	}
	if order > len(into) {
		return errors.New("a block is shorter than its predictor")
	}
	for i := range order {
		into[i] = b.signed(depth)
	}
	if kind < 32 {
		if err := s.parseResiduals(into, order); err != nil {
			return err
		}
		integrate(into, order)
		return nil
	}
	precision := uint(b.take(4)) + 1
	shift := b.signed(5)
	if precision == 16 || shift < 0 {
		return errors.New("a predictor is damaged")
	}
	var coefficients [32]int64 // the one of the farthest sample first
	for i := range order {
		coefficients[order-1-i] = b.signed(precision)
	}
	if err := s.parseResiduals(into, order); err != nil {
		return err
	}
	predict(into, coefficients[:order], uint(shift))
	return nil
}

// integrate undoes the fixed predictors: differences of the order
// (RFC 9639, section 9.2.5).
func integrate(x []int64, order int) {
	if len(x) <= order {
		return
	}
	switch order {
	case 1:
		p := x[0]
		for i, v := range x[1:] {
			p += v
			x[1+i] = p
		}
	case 2:
		p, d := x[1], x[1]-x[0]
		for i, v := range x[2:] {
			d += v
			p += d
			x[2+i] = p
		}
	case 3:
		p, d := x[2], x[2]-x[1]
		e := d - (x[1] - x[0])
		for i, v := range x[3:] {
			e += v
			d += e
			p += d
			x[3+i] = p
		}
	case 4:
		p, d := x[3], x[3]-x[2]
		e := d - (x[2] - x[1])
		f := e - (x[2] - 2*x[1] + x[0])
		for i, v := range x[4:] {
			f += v
			e += f
			d += e
			p += d
			x[4+i] = p
		}
	}
}

// predict adds to each sample what the ones before it foretell.
func predict(x, coefficients []int64, shift uint) {
	order := len(coefficients)
	for i := order; i < len(x); i++ {
		past := x[i-order : i]
		by := coefficients
		var s0, s1 int64
		for len(by) >= 4 && len(past) >= 4 {
			s0 += by[0]*past[0] + by[1]*past[1]
			s1 += by[2]*past[2] + by[3]*past[3]
			by, past = by[4:], past[4:]
		}
		for j, c := range by {
			if j < len(past) {
				s0 += c * past[j]
			}
		}
		x[i] += (s0 + s1) >> (shift & 63)
	}
}

// parseResiduals reads what a predictor missed into the samples after the first
// order (RFC 9639, section 9.2.7).
func (s *flacSource) parseResiduals(into []int64, order int) error {
	b := s.in
	width := uint(4)
	switch b.take(2) {
	case 0:
	case 1:
		width = 5
	default:
		return errors.New("residuals are written in an unknown way")
	}
	parts := uint(b.take(4))
	length := len(into) >> parts
	if length<<parts != len(into) || length < order {
		return errors.New("the parts of a block do not fit it")
	}
	at := order
	for end := length; end <= len(into); end += length {
		part := into[at:end]
		at = end
		k := uint(b.take(width))
		if k == 1<<width-1 {
			k = uint(b.take(5))
			for i := range part {
				part[i] = b.signed(k)
			}
		} else {
			b.rice(part, k)
		}
		if b.err != nil {
			return b.err
		}
	}
	return nil
}

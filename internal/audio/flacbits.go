package audio

import (
	"encoding/binary"
	"errors"
	"io"
	"math/bits"
)

// bitReader reads numbers of bits, highest first, from blocks that it keeps
// whole until their sum has been checked.
type bitReader struct {
	src   io.Reader
	buf   []byte
	begin int    // of the block in buf
	pos   int    // of the next byte to load
	acc   uint64 // loaded bits, the next one highest
	n     uint   // how many of them
	err   error
}

// mostBlock is the most bytes of a block: 65,535 frames of 8 channels of 33
// bits fill a quarter of it.
const mostBlock = 8 << 20

var errLongBlock = errors.New("a block has no end")

// empty reports whether no byte waits; it holds between blocks, which end at
// whole bytes.
func (b *bitReader) empty() bool { return b.n == 0 && b.pos == len(b.buf) }

// start begins a block at the next byte.
func (b *bitReader) start() {
	b.pos -= int(b.n / 8)
	b.begin, b.acc, b.n = b.pos, 0, 0
}

// align passes over the rest of a byte.
func (b *bitReader) align() { b.take(b.n % 8) }

// soFar returns the bytes of the block up to here, at a whole byte.
func (b *bitReader) soFar() []byte { return b.buf[b.begin : b.pos-int(b.n/8)] }

// more brings further bytes into buf.
func (b *bitReader) more() bool {
	if b.err != nil {
		return false
	}
	if b.begin > 0 {
		kept := copy(b.buf, b.buf[b.begin:])
		b.buf, b.pos, b.begin = b.buf[:kept], b.pos-b.begin, 0
	}
	if len(b.buf) >= mostBlock {
		b.err = errLongBlock
		return false
	}
	if cap(b.buf)-len(b.buf) < 1<<16 {
		grown := make([]byte, len(b.buf), 2*cap(b.buf)+1<<17)
		copy(grown, b.buf)
		b.buf = grown
	}
	for range 100 {
		n, err := b.src.Read(b.buf[len(b.buf):cap(b.buf)])
		b.buf = b.buf[:len(b.buf)+n]
		if n > 0 {
			return true
		}
		if err != nil {
			b.err = err
			return false
		}
	}
	b.err = io.ErrNoProgress
	return false
}

// load brings at least want bits into acc, at most 56; it returns false at the
// end, with b.err.
func (b *bitReader) load(want uint) bool {
	for b.n < want {
		if b.pos+8 <= len(b.buf) {
			b.acc |= binary.BigEndian.Uint64(b.buf[b.pos:]) >> b.n
			whole := (63 - b.n) / 8
			b.pos += int(whole)
			b.n += 8 * whole
			continue
		}
		for b.n <= 56 && b.pos < len(b.buf) {
			b.acc |= uint64(b.buf[b.pos]) << (56 - b.n)
			b.pos++
			b.n += 8
		}
		if b.n < want && !b.more() {
			return false
		}
	}
	return true
}

// take returns the next k ≤ 56 bits, and 0 beyond the end.
func (b *bitReader) take(k uint) uint64 {
	if b.n < k && !b.load(k) {
		return 0
	}
	v := b.acc >> (64 - k)
	b.acc <<= k
	b.n -= k
	return v
}

// signed returns the next k ≤ 56 bits as a number with a sign.
func (b *bitReader) signed(k uint) int64 {
	return int64(b.take(k)<<(64-k)) >> (64 - k)
}

// unary returns the number of zeros before the next one, which it passes over.
func (b *bitReader) unary() uint64 {
	var zeros uint64
	for {
		if b.n == 0 && !b.load(1) {
			return zeros
		}
		lead := uint(bits.LeadingZeros64(b.acc))
		if lead < b.n {
			b.acc <<= lead + 1
			b.n -= lead + 1
			return zeros + uint64(lead)
		}
		zeros += uint64(b.n)
		b.acc, b.n = 0, 0
	}
}

// rice reads residuals of the parameter k ≤ 30 (RFC 9639, section 9.2.7).
func (b *bitReader) rice(into []int64, k uint) {
	buf, pos, acc, n := b.buf, b.pos, b.acc, b.n
	for i := range into {
		if n < 32 {
			if pos+8 <= len(buf) {
				acc |= binary.BigEndian.Uint64(buf[pos:]) >> (n & 63)
				whole := (63 - n) / 8
				pos += int(whole)
				n += 8 * whole
			}
		}
		lead := uint(bits.LeadingZeros64(acc))
		if lead+1+k > n {
			b.pos, b.acc, b.n = pos, acc, n
			v := b.unary()<<k | b.take(k)
			into[i] = int64(v>>1) ^ -int64(v&1)
			if b.err != nil {
				return
			}
			buf, pos, acc, n = b.buf, b.pos, b.acc, b.n
			continue
		}
		acc <<= (lead + 1) & 63
		v := uint64(lead)<<(k&63) | acc>>1>>((63-k)&63)
		acc <<= k & 63
		n -= lead + 1 + k
		into[i] = int64(v>>1) ^ -int64(v&1)
	}
	b.pos, b.acc, b.n = pos, acc, n
}

// The sums of FLAC: 8 bits with x^8+x^2+x+1 over the head of a block, 16 bits
// with x^16+x^15+x^2+1 over all of it (RFC 9639, sections 9.1.8 and 9.3).
var crc8, crc16 = crcTables()

func crcTables() (eight [256]byte, sixteen [8][256]uint16) {
	for i := range 256 {
		c, d := byte(i), uint16(i)<<8
		for range 8 {
			c = c<<1 ^ 0x07*(c>>7)
			d = d<<1 ^ 0x8005*(d>>15)
		}
		eight[i], sixteen[0][i] = c, d
	}
	for k := 1; k < 8; k++ {
		for i := range 256 {
			d := sixteen[k-1][i]
			sixteen[k][i] = d<<8 ^ sixteen[0][d>>8]
		}
	}
	return eight, sixteen
}

func sum8(p []byte) (c byte) {
	for _, v := range p {
		c = crc8[c^v]
	}
	return c
}

func sum16(p []byte) (c uint16) {
	for ; len(p) >= 8; p = p[8:] {
		c = crc16[7][p[0]^byte(c>>8)] ^ crc16[6][p[1]^byte(c)] ^ crc16[5][p[2]] ^ crc16[4][p[3]] ^
			crc16[3][p[4]] ^ crc16[2][p[5]] ^ crc16[1][p[6]] ^ crc16[0][p[7]]
	}
	for _, v := range p {
		c = c<<8 ^ crc16[0][byte(c>>8)^v]
	}
	return c
}

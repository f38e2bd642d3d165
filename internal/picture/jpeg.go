package picture

import (
	"bufio"
	"bytes"
	"encoding/binary"
	"image"
	"image/jpeg"
	"io"
)

// Markers of ITU-T T.81, table B.1.
const (
	markSOF0  = 0xc0
	markSOF1  = 0xc1
	markSOF2  = 0xc2
	markDHT   = 0xc4
	markJPG   = 0xc8
	markDAC   = 0xcc
	markRST0  = 0xd0
	markSOI   = 0xd8
	markEOI   = 0xd9
	markSOS   = 0xda
	markDQT   = 0xdb
	markDRI   = 0xdd
	markAPP0  = 0xe0
	markAPP1  = 0xe1
	markAPP13 = 0xed
	markAPP14 = 0xee
)

const (
	// mostTables is the most bytes of tables before the first scan; a picture
	// has about 1,000.
	mostTables = 1 << 18
	// mostScans is the most scans of a picture; a progressive one has about
	// ten, and each costs a pass over the whole picture however few bytes it
	// has.
	mostScans = 100
)

// readJPEG decodes a JPEG, of which the decoder sees only what makes the
// picture.
func readJPEG(in *bufio.Reader, limits Limits) (Report, image.Image, error) {
	const kind = "JPEG"
	head, err := readHead(in)
	if err != nil {
		return Report{}, nil, damaged(kind, err)
	}
	if err := limits.within(kind, head.width, head.height, head.memory); err != nil {
		return Report{}, nil, err
	}
	m, err := decoded(kind, jpeg.Decode, io.MultiReader(bytes.NewReader(head.tables), &scans{r: in, n: 1}))
	if err != nil {
		return Report{}, nil, err
	}
	return Report{Type: "image/jpeg", Width: head.width, Height: head.height, Orientation: head.stored(), Place: head.place}, m, nil
}

// jpegHead is what stands before the first scan of a JPEG.
type jpegHead struct {
	told
	width, height int
	memory        int64  // bytes the decoder will hold
	tables        []byte // from SOI to the marker of the first scan, without metadata
	adobe, jfif   bool
	transform     byte // of the colours, if adobe
}

// readHead reads a JPEG up to and with the marker of its first scan.
func readHead(in *bufio.Reader) (*jpegHead, error) {
	h := &jpegHead{tables: []byte{0xff, markSOI}}
	if _, err := in.Discard(2); err != nil {
		return nil, err
	}
	var frame []byte // the segment of the frame, from its marker
	segment := make([]byte, 1<<16)
	for {
		mark, err := marker(in)
		if err != nil {
			return nil, err
		}
		switch {
		case mark == markSOS:
			if frame == nil {
				return nil, refuse("the JPEG does not say how large it is; save it anew as JPEG and choose that")
			}
			h.memory = h.held(frame)
			h.tables = append(h.tables, 0xff, markSOS)
			return h, nil
		case mark == markEOI:
			return nil, io.ErrUnexpectedEOF
		case markRST0 <= mark && mark <= markSOI:
			continue // stands alone
		}
		if _, err := io.ReadFull(in, segment[:2]); err != nil {
			return nil, err
		}
		n := int(binary.BigEndian.Uint16(segment))
		if n < 2 {
			return nil, refuse("the JPEG has a segment of %d bytes, which cannot be; save it anew as JPEG and choose that", n)
		}
		if _, err := io.ReadFull(in, segment[2:n]); err != nil {
			return nil, err
		}
		body := segment[2:n]
		switch mark {
		case markSOF0, markSOF1, markSOF2:
			if frame != nil || len(body) < 6 || len(body) != 6+3*int(body[5]) {
				return nil, refuse("the JPEG says twice or not rightly how large it is; save it anew as JPEG and choose that")
			}
			frame = append([]byte{mark}, body...)
			h.height, h.width = int(binary.BigEndian.Uint16(body[1:])), int(binary.BigEndian.Uint16(body[3:]))
			h.keep(mark, body)
		case markDHT, markDQT, markDRI:
			h.keep(mark, body)
		case markAPP0, markAPP1, markAPP13, markAPP14:
			h.app(mark, body)
		default:
			if markSOF0 < mark && mark < markRST0 && mark != markJPG && mark != markDAC {
				return nil, refuse("the JPEG is of a rare kind (lossless, hierarchical or arithmetic); save it anew as JPEG and choose that")
			}
		}
		if len(h.tables) > mostTables {
			return nil, refuse("the JPEG has more than %d bytes of tables; save it anew as JPEG and choose that", mostTables)
		}
	}
}

// marker reads up to the next marker and returns it. Bytes between segments,
// which cameras sometimes leave, are passed over.
func marker(in *bufio.Reader) (byte, error) {
	for {
		b, err := in.ReadByte()
		for err == nil && b != 0xff {
			b, err = in.ReadByte()
		}
		for err == nil && b == 0xff {
			b, err = in.ReadByte() // fill bytes
		}
		if err != nil || b != 0 {
			return b, err
		}
	}
}

// keep appends a segment to the tables.
func (h *jpegHead) keep(mark byte, body []byte) {
	n := len(body) + 2
	h.tables = append(append(h.tables, 0xff, mark, byte(n>>8), byte(n)), body...)
}

// app takes from an application segment what is needed: from those of JFIF and
// Adobe how the colours are coded, from the others only what they tell.
func (h *jpegHead) app(mark byte, body []byte) {
	const jfif, adobe = "JFIF\x00", "Adobe"
	switch {
	case mark == markAPP0 && !h.jfif && bytes.HasPrefix(body, []byte(jfif)):
		h.jfif = true
		h.keep(mark, body[:len(jfif)])
	case mark == markAPP14 && !h.adobe && bytes.HasPrefix(body, []byte(adobe)) && len(body) >= 12:
		h.adobe, h.transform = true, body[11]
		h.keep(mark, body[:12])
	case mark == markAPP1:
		if tiff, ok := bytes.CutPrefix(body, []byte("Exif\x00")); ok && len(tiff) > 0 {
			h.add(exif(tiff[1:])) // after one byte of padding
		} else {
			h.add(xmp(body))
		}
	case mark == markAPP13:
		h.add(iptc(body))
	}
}

// held returns how many bytes the decoder of the standard library will hold
// for a frame: its samples, the coefficients of a progressive one (4 bytes
// each), and the copy that it makes unless the colours are coded as Y, Cb, Cr.
func (h *jpegHead) held(frame []byte) int64 {
	const frameHead = 7
	parts := frame[frameHead:]
	n := len(parts) / 3
	most := func(shift int) int64 {
		var m int64 = 1
		for i := range n {
			m = max(m, int64(parts[3*i+1]>>shift&0xf))
		}
		return m
	}
	wide, high := most(4), most(0)
	if n == 1 {
		wide, high = 1, 1
	}
	up := func(pixels int, step int64) int64 { return (int64(pixels) + step - 1) / step * step }
	area := up(h.width, 8*wide) * up(h.height, 8*high)
	var samples int64
	for i := range n {
		if n == 1 {
			samples = area
			break
		}
		samples += area * int64(parts[3*i+1]>>4) * int64(parts[3*i+1]&0xf) / (wide * high)
	}
	held := samples
	if frame[0] == markSOF2 {
		held += 4 * samples
	}
	named := n == 3 && parts[0] == 'R' && parts[3] == 'G' && parts[6] == 'B'
	if n == 4 || n == 3 && !h.jfif && (h.adobe && h.transform == 0 || named) {
		held += 4 * int64(h.width) * int64(h.height)
	}
	return held
}

// scans passes on the scans of a JPEG and fails if there are too many. A byte
// 0xff in the samples is followed by 0, so that the marker of a scan is nothing
// else there (ITU-T T.81, B.1.1.5).
type scans struct {
	r  io.Reader
	n  int
	ff bool // the last byte was 0xff
}

func (s *scans) Read(p []byte) (int, error) {
	n, err := s.r.Read(p)
	for _, b := range p[:n] {
		if s.ff && b == markSOS {
			s.n++
		}
		s.ff = b == 0xff
	}
	if s.n > mostScans {
		return 0, refuse("the JPEG has more than %d scans; save it anew as JPEG and choose that", mostScans)
	}
	return n, err
}

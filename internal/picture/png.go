package picture

import (
	"bufio"
	"encoding/binary"
	"image"
	"image/gif"
	"image/png"
	"io"
)

const pngSignature = "\x89PNG\r\n\x1a\n"

// readPNG decodes a PNG, of which the decoder sees only the chunks that make
// the picture.
func readPNG(in *bufio.Reader, limits Limits) (Report, image.Image, error) {
	const kind = "PNG"
	const headEnd = len(pngSignature) + 8 + 13 // the signature, and a chunk IHDR without its check sum
	first, err := in.Peek(headEnd)
	if err != nil {
		return Report{}, nil, damaged(kind, err)
	}
	head := first[len(pngSignature):]
	if string(head[:8]) != "\x00\x00\x00\x0dIHDR" {
		return Report{}, nil, refuse("the PNG does not say how large it is; save it anew as JPEG and choose that")
	}
	head = head[8:]
	width, height := binary.BigEndian.Uint32(head), binary.BigEndian.Uint32(head[4:])
	const most = 1<<31 - 1 // of a four-byte integer of PNG
	w, h := int(min(width, most)), int(min(height, most))
	if err := limits.within(kind, w, h, heldPNG(int64(w), int64(h), head[8], head[9], head[12])); err != nil {
		return Report{}, nil, err
	}
	c := &chunks{r: in, next: []byte(pngSignature)}
	if _, err := in.Discard(len(pngSignature)); err != nil {
		return Report{}, nil, damaged(kind, err)
	}
	m, err := decoded(kind, png.Decode, c)
	if err != nil {
		return Report{}, nil, err
	}
	return Report{Type: "image/png", Width: w, Height: h, Orientation: c.stored(), Place: c.place}, m, nil
}

// heldPNG returns how many bytes the decoder of the standard library will hold
// at most, by the fields of IHDR; the passes of an interlaced picture are held
// beside it.
func heldPNG(width, height int64, depth, colour, interlaced byte) int64 {
	const paletted, deep = 3, 16
	held := 4 * width * height
	switch {
	case colour == paletted:
		held /= 4
	case depth == deep:
		held *= 2
	}
	if interlaced != 0 {
		held *= 2
	}
	return held
}

// chunks passes on the chunks of a PNG that make its picture and listens to
// those that tell of it (W3C, PNG third edition, 11).
type chunks struct {
	told
	r    *bufio.Reader
	next []byte // to be passed on first
	left int64  // then as many bytes of r
}

func (c *chunks) Read(p []byte) (int, error) {
	for len(c.next) == 0 && c.left == 0 {
		if err := c.advance(); err != nil {
			return 0, err
		}
	}
	if len(c.next) > 0 {
		n := copy(p, c.next)
		c.next = c.next[n:]
		return n, nil
	}
	n, err := c.r.Read(p[:min(int64(len(p)), c.left)])
	c.left -= int64(n)
	return n, err
}

// advance reads the head of a chunk, and the whole chunk if it is not to be
// passed on.
func (c *chunks) advance() error {
	const head, checkSum = 8, 4
	const mostTold = 1 << 20 // bytes of a chunk that are listened to
	first := make([]byte, head)
	if _, err := io.ReadFull(c.r, first); err != nil {
		return err
	}
	size := int64(binary.BigEndian.Uint32(first)) + checkSum
	kind := string(first[4:])
	switch kind {
	case "IHDR", "PLTE", "tRNS", "IDAT", "IEND":
		c.next, c.left = first, size
		return nil
	case "eXIf", "iTXt", "tEXt":
		said, err := io.ReadAll(io.LimitReader(c.r, min(size, mostTold)))
		if err != nil {
			return err
		}
		size -= int64(len(said))
		if kind == "eXIf" {
			c.add(exif(said))
		} else {
			c.add(xmp(said))
		}
	}
	n, err := io.CopyN(io.Discard, c.r, size)
	if err == io.EOF && n < size {
		err = io.ErrUnexpectedEOF
	}
	return err
}

// readGIF decodes the first frame of a GIF.
func readGIF(in *bufio.Reader, limits Limits) (Report, image.Image, error) {
	const kind = "GIF"
	head, err := in.Peek(10) // the signature and the size of the screen (GIF89a, 18)
	if err != nil {
		return Report{}, nil, damaged(kind, err)
	}
	w, h := int(binary.LittleEndian.Uint16(head[6:])), int(binary.LittleEndian.Uint16(head[8:]))
	if err := limits.within(kind, w, h, 2*int64(w)*int64(h)); err != nil {
		return Report{}, nil, err
	}
	m, err := decoded(kind, gif.Decode, in)
	if err != nil {
		return Report{}, nil, err
	}
	size := m.Bounds().Size() // a frame lies within the screen
	if size.X < 1 || size.Y < 1 {
		return Report{}, nil, refuse("the first frame of the GIF is empty; save it as JPEG and choose that")
	}
	return Report{Type: "image/gif", Width: size.X, Height: size.Y, Orientation: 1}, m, nil
}

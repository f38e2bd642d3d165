// Package picture makes photographs small and bare: it reads JPEG, PNG and GIF,
// turns them upright and writes a JPEG that carries nothing but the picture. A
// telephone writes into every photograph where it was taken, and a photograph
// of an instrument tells where the instrument lies; none of that is kept.
//
// Sizes are in pixels and bytes. A picture is averaged by area in linear light
// (IEC 61966-2-1, sRGB). A colour profile is removed like everything else and
// the colours are taken as sRGB, so that those of a wider space come out a
// little duller. No state is kept; the same bytes give the same bytes.
package picture

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"image"
	"image/jpeg"
	"io"
)

// ErrPicture is wrapped by errors about what was sent: it is no picture that
// can be read, is damaged, or is larger than the limits.
var ErrPicture = errors.New("no usable picture")

// refuse returns an error that wraps ErrPicture.
func refuse(format string, a ...any) error {
	return fmt.Errorf("%w: "+format, append([]any{ErrPicture}, a...)...)
}

// Limits bound a picture and the work done for it. A field that is not positive
// stands for its default.
type Limits struct {
	Side    int   // longest side of what is written, px; 1600
	Quality int   // of the JPEG written, 1 to 100; 85
	Bytes   int64 // most bytes of a file; 64 MiB
	Pixels  int64 // most pixels of a file; 60 million
	Memory  int64 // most bytes the decoder may hold, foretold from the head of the file; 256 MiB
}

// longestSide is the longest side that is read or written, px: a JPEG has 16
// bits for it (ITU-T T.81, B.2.2).
const longestSide = 1<<16 - 1

func (l Limits) filled() Limits {
	fill := func(v *int64, d int64) {
		if *v <= 0 {
			*v = d
		}
	}
	side, quality := int64(l.Side), int64(l.Quality)
	fill(&side, 1600)
	fill(&quality, 85)
	fill(&l.Bytes, 64<<20)
	fill(&l.Pixels, 60e6)
	fill(&l.Memory, 256<<20)
	l.Side, l.Quality = int(min(side, longestSide)), int(quality)
	return l
}

// Report is what a picture was and what became of it.
type Report struct {
	Type          string // media type of what was read: image/jpeg, image/png or image/gif
	Bytes         int64  // of what was read
	Width, Height int    // of what was read, px, as it was stored
	Orientation   int    // in which it was stored, 1 (upright) to 8, after EXIF
	Place         bool   // it told where it was taken, in EXIF, XMP or IPTC that could be read; false is no proof that it did not

	SmallWidth, SmallHeight int // of the JPEG written, px
}

// Pixels returns how many pixels were read.
func (r Report) Pixels() int64 { return int64(r.Width) * int64(r.Height) }

// Small reads a picture from r, a JPEG, a PNG or a GIF (its first frame), and
// writes it to w as a JPEG: upright, on white where it was transparent, its
// longer side at most limits.Side and never longer than it was, and without
// any metadata. It reads r to its end and writes nothing unless the picture is
// whole. It holds the decoded picture, which is at most limits.Memory, and
// beside it about 4 bytes for each pixel written. Its error wraps ErrPicture,
// unless reading or writing failed.
func Small(w io.Writer, r io.Reader, limits Limits) (Report, error) {
	limits = limits.filled()
	src := &source{r: r, limit: limits.Bytes}
	in := bufio.NewReader(src)
	report, m, err := read(in, limits)
	if err == nil {
		_, err = io.Copy(io.Discard, in)
	}
	if src.err != nil {
		err = src.err // whatever was made of it
	}
	if err != nil {
		return Report{}, err
	}
	report.Bytes = src.n
	small := reduce(m, report.Orientation, limits.Side)
	report.SmallWidth, report.SmallHeight = small.Rect.Dx(), small.Rect.Dy()
	if err := jpeg.Encode(w, small, &jpeg.Options{Quality: limits.Quality}); err != nil {
		return Report{}, fmt.Errorf("writing a picture: %w", err)
	}
	return report, nil
}

// read decodes the picture in in, once its head is within the limits.
func read(in *bufio.Reader, limits Limits) (Report, image.Image, error) {
	first, _ := in.Peek(sniffed) // a failed reading is the source's to tell
	switch {
	case bytes.HasPrefix(first, []byte("\xff\xd8\xff")):
		return readJPEG(in, limits)
	case bytes.HasPrefix(first, []byte(pngSignature)):
		return readPNG(in, limits)
	case bytes.HasPrefix(first, []byte("GIF87a")), bytes.HasPrefix(first, []byte("GIF89a")):
		return readGIF(in, limits)
	}
	return Report{}, nil, otherKind(first)
}

// within returns an error unless a picture of a size, for which the decoder
// will hold memory bytes, is within the limits.
func (l Limits) within(kind string, width, height int, memory int64) error {
	const smaller = "make it smaller on the device that took it, or take it again at a lower resolution"
	pixels := int64(width) * int64(height)
	switch {
	case width < 1 || height < 1:
		return refuse("the %s says it is %d by %d pixels; save it anew as JPEG and choose that", kind, width, height)
	case width > longestSide || height > longestSide:
		return refuse("the %s says it is %d by %d pixels, more than %d on a side; %s", kind, width, height, longestSide, smaller)
	case pixels > l.Pixels:
		return refuse("the %s has %d by %d pixels, %.1f million, more than the %.1f million taken here; %s", kind, width, height, float64(pixels)/1e6, float64(l.Pixels)/1e6, smaller)
	case memory > l.Memory:
		return refuse("reading the %s of %d by %d pixels would take %d MB of memory, more than the %d MB given to it; save it as a plain JPEG (not progressive), or %s", kind, width, height, memory>>20, l.Memory>>20, smaller)
	}
	return nil
}

// damaged returns the error of a picture that cannot be decoded.
func damaged(kind string, err error) error {
	if errors.Is(err, ErrPicture) {
		return err
	}
	if errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) {
		return refuse("the %s ends before its picture does; send it again, whole", kind)
	}
	return refuse("the %s is damaged or of a rare kind (%v); open it where it can be seen, save it anew as JPEG and choose that", kind, err)
}

// ending remembers whether a decoder asked for more than there was.
type ending struct {
	r    io.Reader
	past bool
}

func (e *ending) Read(p []byte) (int, error) {
	n, err := e.r.Read(p)
	e.past = e.past || n == 0 && (err == io.EOF || err == io.ErrUnexpectedEOF)
	return n, err
}

// decoded returns the picture that decode makes of r, or what is wrong with it.
func decoded(kind string, decode func(io.Reader) (image.Image, error), r io.Reader) (image.Image, error) {
	e := &ending{r: r}
	m, err := decode(e)
	if err != nil && e.past {
		err = io.ErrUnexpectedEOF // whatever else it looked like
	}
	if err != nil {
		return nil, damaged(kind, err)
	}
	return m, nil
}

// source counts the bytes of r and remembers what stopped it.
type source struct {
	r        io.Reader
	n, limit int64
	err      error // but io.EOF
}

func (s *source) Read(p []byte) (int, error) {
	if s.err != nil {
		return 0, s.err
	}
	n, err := s.r.Read(p)
	s.n += int64(n)
	switch {
	case err != nil && err != io.EOF:
		s.err = fmt.Errorf("reading a picture: %w", err)
		return n, s.err
	case s.n > s.limit:
		s.err = refuse("the file has more than %.1f MB; make the picture smaller on the device that took it", float64(s.limit)/1e6)
		return n, s.err
	}
	return n, err
}

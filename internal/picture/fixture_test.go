package picture_test

import (
	"bytes"
	"encoding/binary"
	"hash/crc32"
	"image"
	"image/color"
	"image/jpeg"
	"image/png"
	"slices"
	"testing"

	"timeball/internal/picture"
)

// tiffOf returns the TIFF structure of EXIF in a byte order, by the layout of
// CIPA DC-008-2023 / JEITA CP-3451F, 4.6.2: IFD0 with an orientation, and, if
// gps, the GPS directory with a latitude and a longitude of three rationals,
// and IFD1 with a thumbnail.
func tiffOf(order binary.AppendByteOrder, orientation uint16, gps bool) []byte {
	const short, long, rational, ascii = 3, 4, 5, 2
	var b []byte
	u16 := func(v ...uint16) {
		for _, v := range v {
			b = order.AppendUint16(b, v)
		}
	}
	u32 := func(v ...uint32) {
		for _, v := range v {
			b = order.AppendUint32(b, v)
		}
	}
	if order.String() == "LittleEndian" {
		b = []byte("II")
	} else {
		b = []byte("MM")
	}
	u16(42)
	u32(8)
	const ifd0 = 8
	const gpsAt = ifd0 + 2 + 2*12 + 4
	const gpsValues = gpsAt + 2 + 4*12 + 4
	const ifd1 = gpsValues + 2*24
	const thumb = ifd1 + 2 + 2*12 + 4
	entries := uint16(1)
	if gps {
		entries = 2
	}
	u16(entries, 0x0112, short)
	u32(1)
	u16(orientation, 0)
	if !gps {
		u32(0)
		return b
	}
	u16(0x8825, long)
	u32(1, gpsAt, ifd1)
	u16(4, 1, ascii)
	u32(2)
	b = append(b, "N\x00\x00\x00"...)
	u16(2, rational)
	u32(3, gpsValues)
	u16(3, ascii)
	u32(2)
	b = append(b, "W\x00\x00\x00"...)
	u16(4, rational)
	u32(3, gpsValues+24, 0)
	u32(54, 1, 12, 1, 3456, 100, 7, 1, 30, 1, 1234, 100)
	u16(2, 0x0201, long)
	u32(1, thumb)
	u16(0x0202, long)
	u32(1, uint32(len(hidden)), 0)
	return append(b, hidden...)
}

// hidden is planted in all metadata, to be looked for in what is written.
const hidden = "HIDDEN-AWAY"

// segment returns a segment of a JPEG.
func segment(mark byte, body ...string) []byte {
	all := []byte{0xff, mark, 0, 0}
	for _, b := range body {
		all = append(all, b...)
	}
	binary.BigEndian.PutUint16(all[2:], uint16(len(all)-2))
	return all
}

// tagged returns a JPEG with segments put in after its first marker.
func tagged(jpg []byte, segments ...[]byte) []byte {
	return slices.Concat(jpg[:2], slices.Concat(segments...), jpg[2:])
}

// chunk returns a chunk of a PNG.
func chunk(kind, body string) []byte {
	b := binary.BigEndian.AppendUint32(nil, uint32(len(body)))
	b = append(b, kind+body...)
	return binary.BigEndian.AppendUint32(b, crc32.ChecksumIEEE(b[4:]))
}

const pngHeadEnd = 8 + 8 + 13 + 4 // of the signature and the chunk IHDR

// corners is 96 by 64 pixels, in quarters of red, green, blue and yellow:
// rows of them from the top, columns from the left.
func corners() *image.RGBA {
	m := image.NewRGBA(image.Rect(0, 0, 96, 64))
	for y := range 64 {
		for x := range 96 {
			m.SetRGBA(x, y, quarters[y/32][x/48])
		}
	}
	return m
}

var quarters = [2][2]color.RGBA{
	{{220, 30, 30, 255}, {30, 200, 30, 255}},
	{{30, 30, 220, 255}, {220, 220, 30, 255}},
}

func jpegOf(t testing.TB, m image.Image) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := jpeg.Encode(&b, m, &jpeg.Options{Quality: 95}); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func pngOf(t testing.TB, m image.Image) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := png.Encode(&b, m); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// small makes a picture small and returns what was written, and decoded.
func small(t testing.TB, sent []byte, limits picture.Limits) (picture.Report, []byte, image.Image) {
	t.Helper()
	var out bytes.Buffer
	report, err := picture.Small(&out, bytes.NewReader(sent), limits)
	if err != nil {
		t.Fatal(err)
	}
	m, err := jpeg.Decode(bytes.NewReader(out.Bytes()))
	if err != nil {
		t.Fatal(err)
	}
	if report.Bytes != int64(len(sent)) {
		t.Errorf("%d bytes reported, want %d", report.Bytes, len(sent))
	}
	if size := m.Bounds().Size(); size.X != report.SmallWidth || size.Y != report.SmallHeight {
		t.Errorf("%v was written, %d by %d reported", size, report.SmallWidth, report.SmallHeight)
	}
	return report, out.Bytes(), m
}

// markers walks a JPEG strictly, from marker to marker by the lengths of its
// segments and through the samples (ITU-T T.81, B.1.1), and returns its
// markers. It fails on any byte that belongs to no segment.
func markers(t testing.TB, jpg []byte) []byte {
	t.Helper()
	if !bytes.HasPrefix(jpg, []byte{0xff, 0xd8}) {
		t.Fatal("no SOI")
	}
	found := []byte{0xd8}
	at := 2
	for {
		if at+2 > len(jpg) || jpg[at] != 0xff {
			t.Fatalf("no marker at byte %d", at)
		}
		mark := jpg[at+1]
		found = append(found, mark)
		at += 2
		if mark == 0xd9 {
			break
		}
		at += int(binary.BigEndian.Uint16(jpg[at:]))
		if mark != 0xda {
			continue
		}
		for jpg[at] != 0xff || jpg[at+1] == 0 {
			at++
		}
	}
	if at != len(jpg) {
		t.Fatalf("%d bytes after the end of the picture", len(jpg)-at)
	}
	return found
}

// bare fails if a JPEG carries anything but a baseline picture: tables, a
// frame, a scan.
func bare(t testing.TB, jpg []byte) {
	t.Helper()
	for _, mark := range markers(t, jpg) {
		if !bytes.Contains([]byte{0xd8, 0xdb, 0xc0, 0xc4, 0xda, 0xd9}, []byte{mark}) {
			t.Errorf("a segment %#x was written", mark)
		}
	}
}

// near reports whether two colours are the same but for the loss of JPEG.
func near(a, b color.Color, tolerance int) bool {
	ar, ag, ab, _ := a.RGBA()
	br, bg, bb, _ := b.RGBA()
	off := func(x, y uint32) bool { d := int(x>>8) - int(y>>8); return d > tolerance || d < -tolerance }
	return !off(ar, br) && !off(ag, bg) && !off(ab, bb)
}

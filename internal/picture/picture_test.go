package picture_test

import (
	"bytes"
	"compress/zlib"
	"encoding/binary"
	"errors"
	"fmt"
	"image"
	"image/color"
	"image/gif"
	"image/jpeg"
	"io"
	"os"
	"strings"
	"testing"
	"testing/iotest"

	"timeball/internal/picture"
)

// TestPlaceIsGone plants a place and other metadata in every way we know and
// finds nothing of it in what is written.
func TestPlaceIsGone(t *testing.T) {
	jpg, png := jpegOf(t, corners()), pngOf(t, corners())
	exifOf := func(order binary.AppendByteOrder, orientation uint16, gps bool) []byte {
		return segment(0xe1, "Exif\x00\x00", string(tiffOf(order, orientation, gps)))
	}
	const xap = "http://ns.adobe.com/xap/1.0/\x00"
	iptc := func(datasets string) []byte {
		return segment(0xed, "Photoshop 3.0\x00", "8BIM\x04\x04\x00\x00", string(binary.BigEndian.AppendUint32(nil, uint32(len(datasets)))), datasets)
	}
	cut := exifOf(binary.BigEndian, 1, true)
	cut = segment(0xe1, string(cut[4:4+6+8+2+2*12+4])) // the directory of the place is beyond the end
	empty := tiffOf(binary.LittleEndian, 1, true)
	empty = append(empty[:8+2+2*12+4], "\x01\x00\x00\x00\x01\x00\x04\x00\x00\x00\x02\x03\x00\x00\x00\x00\x00\x00"...) // only GPSVersionID
	for _, c := range []struct {
		name  string
		sent  []byte
		place bool
	}{
		{"nothing", jpg, false},
		{"EXIF, Intel order", tagged(jpg, exifOf(binary.LittleEndian, 1, true)), true},
		{"EXIF, Motorola order", tagged(jpg, exifOf(binary.BigEndian, 1, true)), true},
		{"EXIF without a place", tagged(jpg, exifOf(binary.BigEndian, 1, false)), false},
		{"EXIF with an empty place", tagged(jpg, segment(0xe1, "Exif\x00\x00", string(empty))), false},
		{"EXIF cut before its place", tagged(jpg, cut), true},
		{"EXIF after other segments", tagged(jpg, segment(0xfe, hidden), exifOf(binary.BigEndian, 1, true)), true},
		{"XMP", tagged(jpg, segment(0xe1, xap, `<x:xmpmeta exif:GPSLatitude="54,12.5N" a="`+hidden+`"/>`)), true},
		{"XMP with a city", tagged(jpg, segment(0xe1, xap, `<photoshop:City>Skerrow</photoshop:City>`)), true},
		{"XMP without a place", tagged(jpg, segment(0xe1, xap, `<x:xmpmeta a="`+hidden+`"/>`)), false},
		{"IPTC with a city", tagged(jpg, iptc("\x1c\x02\x00\x00\x02\x00\x02\x1c\x02\x5a\x00\x07Skerrow")), true},
		{"IPTC with a caption", tagged(jpg, iptc("\x1c\x02\x78\x00\x0b"+hidden)), false},
		{"all else", tagged(jpg,
			segment(0xe0, "JFIF\x00\x01\x02\x00\x00\x01\x00\x01\x00\x00"),
			segment(0xe0, "JFXX\x00\x10", hidden),
			segment(0xe2, "ICC_PROFILE\x00\x01\x01", hidden),
			segment(0xe2, "MPF\x00", hidden),
			segment(0xee, "Adobe\x00\x64\x00\x00\x00\x00\x01", hidden),
			segment(0xef, hidden), segment(0xfe, hidden)), false},
		{"after the picture", append(bytes.Clone(jpg), "PK\x03\x04"+hidden...), false},
		{"PNG", png, false},
		{"PNG, EXIF", bytes.Join([][]byte{png[:pngHeadEnd], chunk("eXIf", string(tiffOf(binary.BigEndian, 1, true))), png[pngHeadEnd:]}, nil), true},
		{"PNG, EXIF at the end", bytes.Join([][]byte{png[:len(png)-12], chunk("eXIf", string(tiffOf(binary.LittleEndian, 1, true))), png[len(png)-12:]}, nil), true},
		{"PNG, texts", bytes.Join([][]byte{png[:pngHeadEnd], chunk("tEXt", "Comment\x00"+hidden), chunk("iTXt", "XML:com.adobe.xmp\x00\x00\x00\x00\x00exif:GPSLatitude "+hidden), png[pngHeadEnd:]}, nil), true},
	} {
		t.Run(c.name, func(t *testing.T) {
			report, out, m := small(t, c.sent, picture.Limits{})
			if report.Place != c.place {
				t.Errorf("place %v, want %v", report.Place, c.place)
			}
			bare(t, out)
			for _, word := range []string{hidden, "Exif", "GPS", "JFIF", "Adobe", "ICC", "Skerrow", "54,12"} {
				if bytes.Contains(out, []byte(word)) {
					t.Errorf("%q was written", word)
				}
			}
			if !near(m.At(20, 16), quarters[0][0], 8) || !near(m.At(80, 50), quarters[1][1], 8) {
				t.Errorf("the colours are %v and %v", m.At(20, 16), m.At(80, 50))
			}
		})
	}
}

// TestOtherWriters reads pictures that other programs wrote: libjpeg-turbo
// 2.1.5 the samples (baseline 4:4:4 and 4:2:2, progressive 4:2:0, grey,
// restart markers), ExifTool 12.57 the metadata (a place in EXIF and XMP or in
// XMP alone, IPTC, a comment, a thumbnail, an orientation). The picture is
// that of corners, in grey 76, 130, 59 and 201 by ITU-R BT.601.
func TestOtherWriters(t *testing.T) {
	for _, c := range []struct {
		file          string
		place         bool
		orientation   int
		upright       image.Point // size
		first, second color.Color // in the upper left and the lower right
	}{
		{"baseline444_exif_place.jpg", true, 6, image.Pt(64, 96), quarters[1][0], quarters[0][1]},
		{"baseline422_plain.jpg", false, 1, image.Pt(96, 64), quarters[0][0], quarters[1][1]},
		{"progressive420_xmp_place.jpg", true, 3, image.Pt(96, 64), quarters[1][1], quarters[0][0]},
		{"grey_restart_exif.jpg", false, 8, image.Pt(64, 96), color.Gray{130}, color.Gray{59}},
	} {
		t.Run(c.file, func(t *testing.T) {
			sent, err := os.ReadFile("testdata/" + c.file)
			if err != nil {
				t.Fatal(err)
			}
			report, out, m := small(t, sent, picture.Limits{})
			bare(t, out)
			if report.Place != c.place || report.Orientation != c.orientation {
				t.Errorf("place %v, orientation %d; want %v, %d", report.Place, report.Orientation, c.place, c.orientation)
			}
			size := m.Bounds().Size()
			if size != c.upright {
				t.Fatalf("size %v, want %v", size, c.upright)
			}
			if a, b := m.At(size.X/4, size.Y/4), m.At(3*size.X/4, 3*size.Y/4); !near(a, c.first, 10) || !near(b, c.second, 10) {
				t.Errorf("colours %v and %v, want %v and %v", a, b, c.first, c.second)
			}
		})
	}
}

// TestOrientation turns a picture upright from all orientations, in which
// CIPA DC-008-2023 (4.6.5, Orientation) says where the 0th row and the 0th
// column of what is stored are seen.
func TestOrientation(t *testing.T) {
	type side string
	const top, bottom, left, right side = "top", "bottom", "left", "right"
	upright := corners()
	for i, c := range []struct{ row, column side }{
		{top, left}, {top, right}, {bottom, right}, {bottom, left},
		{left, top}, {right, top}, {right, bottom}, {left, bottom},
	} {
		orientation := i + 1
		// stored is what a camera held that way stores of upright.
		var stored *image.RGBA
		w, h := 96, 64
		if c.row == left || c.row == right {
			stored = image.NewRGBA(image.Rect(0, 0, h, w))
		} else {
			stored = image.NewRGBA(image.Rect(0, 0, w, h))
		}
		along := func(from side, n int) (x, y int) {
			switch from { // n rows or columns away from that side, as seen
			case top:
				return 0, n
			case bottom:
				return 0, h - 1 - n
			case left:
				return n, 0
			default:
				return w - 1 - n, 0
			}
		}
		for y := range stored.Rect.Dy() {
			for x := range stored.Rect.Dx() {
				x1, y1 := along(c.row, y)
				x2, y2 := along(c.column, x)
				stored.SetRGBA(x, y, upright.RGBAAt(x1+x2, y1+y2))
			}
		}
		jpg, png := jpegOf(t, stored), pngOf(t, stored)
		for _, order := range []binary.AppendByteOrder{binary.LittleEndian, binary.BigEndian} {
			tiff := string(tiffOf(order, uint16(orientation), false))
			for kind, sent := range map[string][]byte{
				"jpeg": tagged(jpg, segment(0xe1, "Exif\x00\x00", tiff)),
				"png":  bytes.Join([][]byte{png[:pngHeadEnd], chunk("eXIf", tiff), png[pngHeadEnd:]}, nil),
			} {
				t.Run(fmt.Sprintf("%d %s %s", orientation, order, kind), func(t *testing.T) {
					report, _, m := small(t, sent, picture.Limits{})
					if report.Orientation != orientation {
						t.Errorf("orientation %d was read", report.Orientation)
					}
					if m.Bounds().Size() != image.Pt(96, 64) {
						t.Fatalf("size %v", m.Bounds().Size())
					}
					for y := 4; y < 64; y += 8 {
						for x := 4; x < 96; x += 8 {
							if !near(m.At(x, y), upright.At(x, y), 12) {
								t.Fatalf("at %d, %d: %v, want %v", x, y, m.At(x, y), upright.At(x, y))
							}
						}
					}
				})
			}
		}
	}
	for _, tiff := range []string{"", "II*\x00", "II*\x00\xff\xff\xff\xff", "MM\x00*\x00\x00\x00\x08\xff\xff", "XX", string(tiffOf(binary.BigEndian, 9, false)), string(tiffOf(binary.BigEndian, 0, false))} {
		report, _, _ := small(t, tagged(jpegOf(t, upright), segment(0xe1, "Exif\x00\x00", tiff)), picture.Limits{})
		if report.Orientation != 1 {
			t.Errorf("EXIF %q says orientation %d", tiff, report.Orientation)
		}
	}
}

func TestFirstFrameAndPaper(t *testing.T) {
	palette := color.Palette{color.RGBA{200, 0, 0, 255}, color.RGBA{0, 0, 200, 255}, color.Transparent}
	first, second := image.NewPaletted(image.Rect(0, 0, 40, 20), palette), image.NewPaletted(image.Rect(0, 0, 40, 20), palette)
	for i := range second.Pix {
		second.Pix[i] = 1
		if i%40 >= 20 {
			first.Pix[i] = 2
		}
	}
	var b bytes.Buffer
	if err := gif.EncodeAll(&b, &gif.GIF{Image: []*image.Paletted{first, second}, Delay: []int{1, 1}}); err != nil {
		t.Fatal(err)
	}
	glass := image.NewNRGBA(image.Rect(0, 0, 40, 20))
	for y := range 20 {
		for x := range 20 {
			glass.SetNRGBA(x, y, color.NRGBA{200, 0, 0, 255})
		}
	}
	for kind, sent := range map[string][]byte{"image/gif": b.Bytes(), "image/png": pngOf(t, glass)} {
		report, out, m := small(t, sent, picture.Limits{})
		bare(t, out)
		if report.Type != kind || report.Width != 40 || report.Height != 20 || report.Pixels() != 800 {
			t.Errorf("%s: reported %+v", kind, report)
		}
		if !near(m.At(5, 10), palette[0], 8) || !near(m.At(35, 10), color.White, 8) {
			t.Errorf("%s: colours %v and %v, want red and white", kind, m.At(5, 10), m.At(35, 10))
		}
	}
}

// TestOtherKinds refuses by name what is no JPEG, PNG or GIF, and says what to
// do. The brands are those of ISO/IEC 23008-12 (HEIF) and of the registration
// authority of ISO/IEC 14496-12; the other beginnings are those of their
// formats' specifications.
func TestOtherKinds(t *testing.T) {
	box := func(brands string) string {
		return string(binary.BigEndian.AppendUint32(nil, uint32(8+len(brands)))) + "ftyp" + brands + "\x00\x00\x00\x08mdat"
	}
	for _, c := range []struct{ sent, is, say string }{
		{box("heic\x00\x00\x00\x00mif1heic"), "HEIC", "let the telephone send it as JPEG"},
		{box("mif1\x00\x00\x00\x00mif1heic"), "HEIC", "let the telephone send it as JPEG"},
		{box("heix\x00\x00\x00\x00"), "HEIC", "let the telephone send it as JPEG"},
		{box("msf1\x00\x00\x00\x00hevc"), "HEIC", "let the telephone send it as JPEG"},
		{box("mif1\x00\x00\x00\x00miaf"), "HEIF", "let the telephone send it as JPEG"},
		{box("avif\x00\x00\x00\x00mif1"), "AVIF", "let the telephone send it as JPEG"},
		{box("mif1\x00\x00\x00\x00avif"), "AVIF", "let the telephone send it as JPEG"},
		{box("isom\x00\x00\x00\x00mp42"), "video", "take a photograph"},
		{box("qt  \x00\x00\x00\x00qt  "), "video", "take a photograph"},
		{"\x00\x00\x00\x00ftyp", "no known kind", "choose a JPEG"},
		{"RIFF\x10\x00\x00\x00WEBPVP8 ", "WebP", "save it as JPEG"},
		{"RIFF\x10\x00\x00\x00WAVEfmt ", "sound", "recording"},
		{"II*\x00\x08\x00\x00\x00", "TIFF", "save it as JPEG"},
		{"MM\x00*\x00\x00\x00\x08", "TIFF", "save it as JPEG"},
		{"%PDF-1.7\n\xff\xd8\xff\xe0", "PDF", "as JPEG"},
		{"<?xml version=\"1.0\"?>\n<svg xmlns=\"http://www.w3.org/2000/svg\" onload=\"alert(1)\"/>", "SVG", "save it as JPEG"},
		{"\xef\xbb\xbf  <SVG>", "SVG", "save it as JPEG"},
		{"<!doctype html><script>", "HTML", "choose the picture itself"},
		{"utc,dial\n2026-01-01T00:00:00Z,1:02:03\n", "text", "choose a JPEG"},
		{strings.Repeat("a", 511) + "é", "text", "choose a JPEG"},
		{"\x1aE\xdf\xa3", "video", "take a photograph"},
		{"PK\x03\x04", "archive", "take the picture out"},
		{"BM\x00\x00", "BMP", "save it as JPEG"},
		{"\xff\xd8", "no known kind", "choose a JPEG"},
		{"\x00\x01\x02", "no known kind", "choose a JPEG"},
		{"", "empty", "choose a JPEG"},
	} {
		var out bytes.Buffer
		_, err := picture.Small(&out, strings.NewReader(c.sent), picture.Limits{})
		if !errors.Is(err, picture.ErrPicture) || !strings.Contains(err.Error(), c.is) || !strings.Contains(err.Error(), c.say) {
			t.Errorf("%.20q: %v; want words on %s and %q", c.sent, err, c.is, c.say)
		}
		sentence(t, err)
		if out.Len() > 0 {
			t.Errorf("%.20q: %d bytes were written", c.sent, out.Len())
		}
	}
}

// sentence fails unless an error is one sentence.
func sentence(t testing.TB, err error) {
	t.Helper()
	if err == nil || strings.ContainsAny(err.Error(), "\n") || strings.Contains(err.Error(), ". ") || strings.HasSuffix(err.Error(), ".") {
		t.Errorf("%v is no sentence", err)
	}
}

// flat returns a JPEG of one colour in as few bytes as can be: its Huffman
// tables have one code each, a 0 for "no difference" and for "end of block",
// so that its samples are noughts (ITU-T T.81, annexes C and F). A frame of
// sof 0xc2 is progressive, with only the mean of each block.
func flat(sof byte, width, height int, sampling string, bytesOfSamples int) []byte {
	const one = "\x01\x00\x00\x00\x00\x00\x00\x00\x00\x00\x00\x00\x00\x00\x00\x00\x00"
	parts := len(sampling)
	frame := []byte{8, byte(height >> 8), byte(height), byte(width >> 8), byte(width), byte(parts)}
	scan := []byte{byte(parts)}
	for i, hv := range []byte(sampling) {
		frame = append(frame, byte(i+1), hv, 0)
		scan = append(scan, byte(i+1), 0)
	}
	last := byte(63)
	if sof == 0xc2 {
		last = 0
	}
	return bytes.Join([][]byte{
		{0xff, 0xd8}, segment(0xdb, "\x00"+strings.Repeat("\x01", 64)), segment(sof, string(frame)),
		segment(0xc4, "\x00"+one), segment(0xc4, "\x10"+one), segment(0xda, string(append(scan, 0, last, 0))),
		make([]byte, bytesOfSamples), {0xff, 0xd9},
	}, nil)
}

// bitmapHead returns a PNG of a size and kind whose samples are all nought.
func bitmapHead(width, height uint32, depth, colour byte, samples int) []byte {
	head := binary.BigEndian.AppendUint32(binary.BigEndian.AppendUint32(nil, width), height)
	var z bytes.Buffer
	w := zlib.NewWriter(&z)
	_, _ = io.CopyN(w, zeros{}, int64(samples))
	_ = w.Close()
	return bytes.Join([][]byte{[]byte("\x89PNG\r\n\x1a\n"), chunk("IHDR", string(append(head, depth, colour, 0, 0, 0))), chunk("IDAT", z.String()), chunk("IEND", "")}, nil)
}

type zeros struct{}

func (zeros) Read(p []byte) (int, error) { clear(p); return len(p), nil }

// TestBombs refuses what would take too much, before it takes it, and what is
// cut short or malformed.
func TestBombs(t *testing.T) {
	jpg, png := jpegOf(t, corners()), pngOf(t, corners())
	scan := bytes.Index(jpg, []byte{0xff, 0xda})
	var gifs bytes.Buffer
	if err := gif.Encode(&gifs, corners(), nil); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		name, say string
		sent      []byte
		limits    picture.Limits
	}{
		{"JPEG of 65,535 by 65,535", "4294.8 million", flat(0xc0, 65535, 65535, "\x22\x11\x11", 10), picture.Limits{}},
		{"JPEG of 61 MP", "61.0 million", flat(0xc0, 10000, 6100, "\x22\x11\x11", 10), picture.Limits{}},
		{"progressive JPEG of 59 MP", "not progressive", flat(0xc2, 10000, 5900, "\x22\x11\x11", 10), picture.Limits{}},
		{"JPEG without height", "10 by 0 pixels", flat(0xc0, 10, 0, "\x11", 10), picture.Limits{}},
		{"JPEG of many scans", "more than 100 scans", bytes.Join([][]byte{flat(0xc2, 64, 64, "\x11", 8), bytes.Repeat(append(segment(0xda, "\x01\x01\x00\x01\x3f\x00"), 0), 200)}, nil), picture.Limits{}},
		{"JPEG of endless tables", "bytes of tables", append([]byte{0xff, 0xd8}, bytes.Repeat(segment(0xdb, "\x00"+strings.Repeat("\x01", 64)), 5000)...), picture.Limits{}},
		{"lossless JPEG", "rare kind", flat(0xc3, 64, 64, "\x11", 8), picture.Limits{}},
		{"JPEG of 12 bits", "rare kind", bytes.Replace(flat(0xc1, 64, 64, "\x11", 8), []byte{0, 11, 8}, []byte{0, 11, 12}, 1), picture.Limits{}},
		{"JPEG of two frames", "says twice", tagged(jpg, segment(0xc0, "\x08\x00\x10\x00\x10\x01\x01\x11\x00")), picture.Limits{}},
		{"JPEG without a frame", "how large", append([]byte{0xff, 0xd8}, segment(0xda, "\x01\x01\x00\x00\x3f\x00")...), picture.Limits{}},
		{"JPEG with a segment of one byte", "segment of 1 bytes", []byte("\xff\xd8\xff\xe1\x00\x01abc"), picture.Limits{}},
		{"JPEG cut in its head", "ends before", jpg[:scan-5], picture.Limits{}},
		{"JPEG cut in its samples", "ends before", jpg[:len(jpg)-40], picture.Limits{}},
		{"JPEG that ends at once", "ends before", []byte("\xff\xd8\xff\xd9"), picture.Limits{}},
		{"PNG of 2^31 by 2^31", "more than 65535 on a side", bitmapHead(1<<31, 1<<31, 8, 6, 10), picture.Limits{}},
		{"PNG of 2^32-1 by 1", "more than 65535 on a side", bitmapHead(1<<32-1, 1, 8, 6, 10), picture.Limits{}},
		{"PNG of 0 by 5", "0 by 5 pixels", bitmapHead(0, 5, 8, 6, 10), picture.Limits{}},
		{"PNG of 16 bits and 40 MP", "of memory", bitmapHead(8000, 5000, 16, 6, 10), picture.Limits{}},
		{"PNG of 40 MP and 10 samples", "damaged", bitmapHead(8000, 5000, 8, 0, 10), picture.Limits{}},
		{"PNG without IHDR", "how large", append(bytes.Clone(png[:8]), png[pngHeadEnd:]...), picture.Limits{}},
		{"PNG cut", "ends before", png[:len(png)/2], picture.Limits{}},
		{"PNG cut in a text", "ends before", append(bytes.Clone(png[:pngHeadEnd]), "\x00\x00\x00\x10tEXtabc"...), picture.Limits{}},
		{"PNG with a wrong check sum", "damaged", bytes.Replace(png, []byte("IDAT"), []byte("IDAT\x00"), 1), picture.Limits{}},
		{"GIF of 65,535 by 65,535", "4294.8 million", []byte("GIF89a\xff\xff\xff\xff\x00\x00\x00"), picture.Limits{}},
		{"GIF cut", "ends before", gifs.Bytes()[:gifs.Len()/2], picture.Limits{}},
		{"GIF without a frame", "damaged", []byte("GIF89a\x10\x00\x10\x00\x00\x00\x00;"), picture.Limits{}},
		{"more bytes than allowed", "more than 0.0 MB", append(bytes.Clone(jpg), make([]byte, 5000)...), picture.Limits{Bytes: int64(len(jpg))}},
		{"more pixels than allowed", "0.0 million taken here", jpg, picture.Limits{Pixels: 96*64 - 1}},
	} {
		t.Run(c.name, func(t *testing.T) {
			var out bytes.Buffer
			got := allocated(func() {
				_, err := picture.Small(&out, bytes.NewReader(c.sent), c.limits)
				if !errors.Is(err, picture.ErrPicture) || !strings.Contains(err.Error(), c.say) {
					t.Errorf("%v; want %q", err, c.say)
				}
				sentence(t, err)
			})
			if out.Len() > 0 {
				t.Errorf("%d bytes were written", out.Len())
			}
			// The one that cannot be told from a good one by its head is 40 MB.
			if got > 45e6 || got > 2e6 && !strings.Contains(c.name, "10 samples") {
				t.Errorf("%.1f MB were allocated", float64(got)/1e6)
			}
		})
	}
	for name, sent := range map[string][]byte{
		"JPEG at its limits": tagged(jpg, segment(0xfe, "x"), []byte("stray\xff\x00bytes\xff\xff")),
		"PNG at its limits":  png,
	} {
		if _, err := picture.Small(io.Discard, bytes.NewReader(sent), picture.Limits{Pixels: 96 * 64, Bytes: int64(len(sent))}); err != nil {
			t.Errorf("%s: %v", name, err)
		}
	}
}

func TestReadingAndWritingFail(t *testing.T) {
	jpg := jpegOf(t, corners())
	broken := errors.New("the line broke")
	for _, n := range []int{0, 1, 100, 700, len(jpg) - 10, len(jpg)} {
		var out bytes.Buffer
		_, err := picture.Small(&out, io.MultiReader(bytes.NewReader(jpg[:n]), iotest.ErrReader(broken)), picture.Limits{})
		if !errors.Is(err, broken) || errors.Is(err, picture.ErrPicture) || out.Len() > 0 {
			t.Errorf("after %d bytes: %v, %d bytes written", n, err, out.Len())
		}
	}
	_, err := picture.Small(failing{broken}, bytes.NewReader(jpg), picture.Limits{})
	if !errors.Is(err, broken) || errors.Is(err, picture.ErrPicture) {
		t.Errorf("writing: %v", err)
	}
}

type failing struct{ err error }

func (f failing) Write([]byte) (int, error) { return 0, f.err }

// TestSameBytes gives the same bytes however they come.
func TestSameBytes(t *testing.T) {
	for _, sent := range [][]byte{jpegOf(t, corners()), pngOf(t, corners())} {
		_, want, _ := small(t, sent, picture.Limits{Side: 50})
		for range 3 {
			var out bytes.Buffer
			if _, err := picture.Small(&out, iotest.OneByteReader(bytes.NewReader(sent)), picture.Limits{Side: 50}); err != nil {
				t.Fatal(err)
			}
			if !bytes.Equal(out.Bytes(), want) {
				t.Fatal("other bytes came out")
			}
		}
		// What does not show does not count either.
		if bytes.HasPrefix(sent, []byte{0xff, 0xd8}) {
			_, got, _ := small(t, tagged(sent, segment(0xfe, hidden)), picture.Limits{Side: 50})
			if !bytes.Equal(got, want) {
				t.Error("a comment changes the picture")
			}
		}
	}
}

// FuzzSmall writes a bare JPEG within its limits, or nothing.
func FuzzSmall(f *testing.F) {
	jpg, png := jpegOf(f, corners()), pngOf(f, corners())
	f.Add(jpg)
	f.Add(tagged(jpg, segment(0xe1, "Exif\x00\x00", string(tiffOf(binary.BigEndian, 6, true)))))
	f.Add(flat(0xc2, 64, 48, "\x22\x11\x11", 200))
	f.Add(flat(0xc0, 64, 48, "\x11\x11\x11\x11", 200))
	f.Add(png)
	f.Add(bytes.Join([][]byte{png[:pngHeadEnd], chunk("eXIf", string(tiffOf(binary.LittleEndian, 5, true))), png[pngHeadEnd:]}, nil))
	var b bytes.Buffer
	if err := gif.Encode(&b, corners(), &gif.Options{NumColors: 8}); err != nil {
		f.Fatal(err)
	}
	f.Add(b.Bytes())
	f.Add([]byte("\x00\x00\x00\x18ftypmif1\x00\x00\x00\x00mif1heic"))
	f.Fuzz(func(t *testing.T, sent []byte) {
		var out bytes.Buffer
		report, err := picture.Small(&out, bytes.NewReader(sent), picture.Limits{Side: 40, Pixels: 1 << 16, Memory: 1 << 20, Bytes: 1 << 20})
		if err != nil {
			if !errors.Is(err, picture.ErrPicture) || out.Len() > 0 {
				t.Fatalf("%v, %d bytes written", err, out.Len())
			}
			return
		}
		bare(t, out.Bytes())
		m, err := jpeg.Decode(&out)
		if err != nil {
			t.Fatal(err)
		}
		if size := m.Bounds().Size(); max(size.X, size.Y) > 40 || size.X != report.SmallWidth || report.Pixels() > 1<<16 || report.Bytes != int64(len(sent)) {
			t.Fatalf("%v was written of %+v", size, report)
		}
	})
}

package picture

import (
	"bytes"
	"encoding/binary"
	"unicode/utf8"
)

// sniffed is how many bytes tell the kind of a file.
const sniffed = 512

// asJPEG is what to do about a picture of a kind that is not read.
const asJPEG = "open it where it can be seen, save it as JPEG and choose that"

// byPhone is what to do about the pictures that telephones keep.
const byPhone = "let the telephone send it as JPEG: share or export it as JPEG, or set the camera to its most compatible format and take it again"

// beginnings are the first bytes of files that people choose by mistake, and
// of pictures that are not read; the offset is that of the bytes.
var beginnings = []struct {
	offset  int
	bytes   string
	is, say string
}{
	{0, "II*\x00", "TIFF or a camera's raw picture", asJPEG},
	{0, "MM\x00*", "TIFF or a camera's raw picture", asJPEG},
	{0, "II+\x00", "TIFF", asJPEG},
	{0, "MM\x00+", "TIFF", asJPEG},
	{8, "WEBP", "WebP", asJPEG},
	{8, "AVI ", "a video", "take a photograph instead"},
	{8, "WAVE", "a sound recording", "choose it as a recording instead"},
	{0, "\x00\x00\x00\x0cJXL ", "JPEG XL", asJPEG},
	{0, "\xff\x0a", "JPEG XL", asJPEG},
	{0, "\x00\x00\x00\x0cjP  ", "JPEG 2000", asJPEG},
	{0, "BM", "a BMP picture", asJPEG},
	{0, "\x00\x00\x01\x00", "an icon", asJPEG},
	{0, "8BPS", "a layered picture", asJPEG},
	{0, "%PDF-", "PDF", "photograph the paper, or save its page as JPEG"},
	{0, "%!PS", "PostScript", "save its page as JPEG"},
	{0, "PK\x03\x04", "an archive or an office document", "take the picture out of it and choose that"},
	{0, "\x1f\x8b", "an archive", "take the picture out of it and choose that"},
	{0, "\x1aE\xdf\xa3", "a video", "take a photograph instead"},
	{0, "\x00\x00\x01\xba", "a video", "take a photograph instead"},
	{0, "\x00\x00\x01\xb3", "a video", "take a photograph instead"},
	{4, "moov", "a video", "take a photograph instead"},
	{4, "mdat", "a video", "take a photograph instead"},
	{4, "wide", "a video", "take a photograph instead"},
	{0, "fLaC", "a sound recording", "choose it as a recording instead"},
	{0, "OggS", "a sound recording or a video", "take a photograph instead"},
	{0, "ID3", "a sound recording", "choose it as a recording instead"},
}

// otherKind returns the error that names what a file is that is neither JPEG,
// PNG nor GIF, by its first bytes.
func otherKind(first []byte) error {
	if len(first) == 0 {
		return refuse("the file is empty; choose a JPEG, PNG or GIF")
	}
	if is, say := boxed(first); is != "" {
		return refuse("the file is %s; %s", is, say)
	}
	for _, b := range beginnings {
		if len(first) >= b.offset && bytes.HasPrefix(first[b.offset:], []byte(b.bytes)) {
			return refuse("the file is %s; %s", b.is, b.say)
		}
	}
	text := bytes.ToLower(bytes.TrimSpace(bytes.TrimPrefix(first, []byte("\xef\xbb\xbf"))))
	switch {
	case bytes.Contains(text, []byte("<svg")):
		return refuse("the file is SVG, a drawing; %s", asJPEG)
	case bytes.HasPrefix(text, []byte("<")) && plain(first):
		return refuse("the file is a page of HTML or XML; choose the picture itself, as JPEG")
	case plain(first):
		return refuse("the file is text; choose a JPEG, PNG or GIF")
	}
	return refuse("the file is of no known kind; choose a JPEG, PNG or GIF")
}

// boxed names a file of the ISO base media format (ISO/IEC 14496-12) by the
// brands of its first box, or returns "".
func boxed(first []byte) (is, say string) {
	if len(first) < 12 || string(first[4:8]) != "ftyp" {
		return "", ""
	}
	end := max(12, min(int64(len(first)), int64(binary.BigEndian.Uint32(first))))
	still := false
	for at := int64(8); at+4 <= end; at += 4 {
		if at == 12 {
			continue // the minor version
		}
		switch string(first[at : at+4]) {
		case "heic", "heix", "heim", "heis", "hevc", "hevx", "hevm", "hevs": // ISO/IEC 23008-12, annex B
			return "HEIC, the form in which some telephones keep photographs", byPhone
		case "avif", "avis":
			return "AVIF", byPhone
		case "crx ":
			return "a camera's raw picture", asJPEG
		case "mif1", "msf1", "mif2":
			still = true // a picture, by whatever coder the next brands tell
		}
	}
	if still {
		return "HEIF, a form in which telephones keep photographs", byPhone
	}
	return "a video or a sound recording", "take a photograph instead"
}

// plain reports whether the first bytes of a file are text.
func plain(first []byte) bool {
	for len(first) > 0 {
		r, n := utf8.DecodeRune(first)
		switch {
		case r == utf8.RuneError && n == 1:
			return !utf8.FullRune(first) // the last letter was cut
		case r < ' ' && r != '\t' && r != '\n' && r != '\r' && r != '\f':
			return false
		}
		first = first[n:]
	}
	return true
}

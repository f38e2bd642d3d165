package ratebook

import (
	"bytes"
	"strings"
)

// signatures begin files of other kinds, from their published formats.
var signatures = []struct{ begin, kind string }{
	{"PK\x03\x04", "a zip file or a spreadsheet workbook"},
	{"PK\x05\x06", "an empty zip file"},
	{"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1", "an old spreadsheet workbook"},
	{"%PDF-", "a PDF document"},
	{"\x89PNG\r\n\x1a\n", "a PNG picture"},
	{"\xff\xd8\xff", "a JPEG picture"},
	{"GIF8", "a GIF picture"},
	{"RIFF", "a sound recording (WAV)"},
	{"fLaC", "a sound recording (FLAC)"},
	{"OggS", "a sound recording (Ogg)"},
	{"ID3", "a sound recording (MP3)"},
	{"SQLite format 3\x00", "a database (SQLite)"},
	{"\x1f\x8b", "a compressed file (gzip)"},
	{"{\\rtf", "a word processor's document (RTF)"},
	{"\xff\xfe", utf16Text},
	{"\xfe\xff", utf16Text},
}

const utf16Text = "text in UTF-16"

// byteOrderMark may begin a file in UTF-8.
var byteOrderMark = []byte("\xef\xbb\xbf")

// otherKind returns what a file looks like from its first bytes, empty if it
// may be CSV.
func otherKind(head []byte) string {
	for _, s := range signatures {
		if bytes.HasPrefix(head, []byte(s.begin)) {
			return s.kind
		}
	}
	if n := bytes.Count(head, []byte{0}); len(head) > 3 && n >= len(head)/3 && (evenlyZero(head, 0) || evenlyZero(head, 1)) {
		return utf16Text
	}
	line := head
	if n := lineEnd(head); n >= 0 {
		line = head[:n]
	}
	control := 0
	for _, c := range line {
		if c < ' ' && c != '\t' {
			control++
		}
	}
	if control*50 > len(line) {
		return "binary data"
	}
	text := strings.ToLower(strings.TrimSpace(string(head)))
	switch {
	case strings.HasPrefix(text, "<!doctype html"), strings.HasPrefix(text, "<html"):
		return "an HTML page"
	case strings.HasPrefix(text, "<"):
		return "an XML or HTML file"
	case strings.HasPrefix(text, "{"), strings.HasPrefix(text, "["):
		return "JSON"
	}
	return ""
}

// evenlyZero returns whether most bytes at even or odd places are NUL, as in
// Latin text in UTF-16.
func evenlyZero(head []byte, from int) bool {
	zero, all := 0, 0
	for i := from; i < len(head); i += 2 {
		all++
		if head[i] == 0 {
			zero++
		}
	}
	return all > 0 && zero*10 >= all*9
}

// Package archive writes and reads the whole workshop as one zip file: every
// entry of every logbook, every attachment, and a comparison file of each
// instrument for people.
//
// The same entries and attachments give the same bytes, as long as the same
// program writes them (the deflated form may change with the compressor, the
// SHA-256 of the members does not). Reading checks everything before it gives
// anything: version, members, sizes, hashes, counts and each line.
package archive

import (
	"errors"
	"fmt"
	"io"
	"regexp"
	"strings"
	"time"
)

// Format and Version stand in timeball.json.
const (
	Format  = "timeball workshop archive"
	Version = 1
)

// The members that every archive has.
const (
	readmeName      = "README.txt"
	attachmentsName = "attachments.jsonl"
	entriesName     = "entries.jsonl"
	manifestName    = "timeball.json"
	attachmentsDir  = "attachments/"
	comparisonsDir  = "comparisons/"
)

// Limits of an archive.
const (
	maxLine     = 1 << 20 // bytes of one line of a .jsonl member
	maxManifest = 400     // bytes of timeball.json for each member and 4 kB
	maxReadme   = 1 << 20
	maxLines    = 16 << 30  // bytes of a .jsonl member or a comparison file
	maxMembers  = 1_000_000 // members of the zip file
	maxText     = 20000     // bytes of the name and the media type of an attachment
	maxRatio    = 200       // size over deflated size of a member larger than freeRatio; logbooks reach 5 to 20
	freeRatio   = 16 << 20
)

// writtenAt is the time that all members bear, the first that zip can hold.
var writtenAt = time.Date(1980, time.January, 1, 0, 0, 0, 0, time.UTC)

// ErrNewer marks an archive of a later version of the format.
var ErrNewer = errors.New("the archive is of a newer version")

// Error says why an archive is refused: nothing of it was given.
type Error struct {
	Member string // empty if it is the file as a whole
	Line   int    // counted from 1, 0 if it is the member as a whole
	Err    error
}

// Error returns one sentence with member, line, reason and remedy.
func (e *Error) Error() string {
	switch {
	case e.Member != "" && e.Line > 0:
		return fmt.Sprintf("%.120s, line %d: %v", e.Member, e.Line, e.Err)
	case e.Member != "":
		return fmt.Sprintf("%.120s: %v", e.Member, e.Err)
	}
	return e.Err.Error()
}

// Unwrap returns the reason.
func (e *Error) Unwrap() error { return e.Err }

func refuse(member string, line int, format string, args ...any) error {
	return &Error{Member: member, Line: line, Err: fmt.Errorf(format, args...)}
}

// Attachment is a stored file that entries name by its SHA-256.
type Attachment struct {
	SHA256 string `json:"sha256"` // 64 hexadecimal digits, small letters
	Name   string `json:"name,omitempty"`
	Type   string `json:"type,omitempty"` // media type
	Size   int64  `json:"size"`           // bytes

	Open func() (io.ReadCloser, error) `json:"-"` // gives the bytes from the beginning
}

// check returns an error unless the attachment can be a member.
func (a Attachment) check() error {
	switch {
	case !isSHA256(a.SHA256):
		return fmt.Errorf("sha256 %.70q is not 64 hexadecimal digits in small letters", a.SHA256)
	case a.Size < 0:
		return fmt.Errorf("attachment %s has the size %d; write its number of bytes", a.SHA256, a.Size)
	case len(a.Name) > maxText, len(a.Type) > maxText:
		return fmt.Errorf("attachment %s has a name of %d bytes; write at most %d", a.SHA256, max(len(a.Name), len(a.Type)), maxText)
	}
	return nil
}

func isSHA256(s string) bool { return len(s) == 64 && strings.Trim(s, "0123456789abcdef") == "" }

// manifest is timeball.json.
type manifest struct {
	Format      string   `json:"format"`
	Version     int      `json:"version"`
	Entries     int      `json:"entries"`
	Attachments int      `json:"attachments"`
	Comparisons int      `json:"comparisons"`
	Members     []member `json:"members"` // all but timeball.json, in the order of their names
}

// member is one file within the archive.
type member struct {
	Name   string `json:"name"`
	Size   int64  `json:"size"`
	SHA256 string `json:"sha256"` // of its bytes before compression
}

// comparisonName is what a comparison file may be called: no folders, no
// leading dot, letters of ASCII.
var comparisonName = regexp.MustCompile(`^comparisons/[A-Za-z0-9_][A-Za-z0-9._-]{0,79}\.csv$`)

// expected reports whether a name can be a member of an archive.
func expected(name string) bool {
	switch name {
	case readmeName, attachmentsName, entriesName, manifestName:
		return true
	}
	if digest, ok := strings.CutPrefix(name, attachmentsDir); ok {
		return isSHA256(digest)
	}
	return comparisonName.MatchString(name)
}

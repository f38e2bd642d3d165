package archive

import (
	"archive/zip"
	"bufio"
	"bytes"
	"encoding/json"
	"errors"
	"io"
	"iter"
	"slices"
	"strings"

	"timeball/internal/chronometer"
)

const another = "take another copy of the archive"

// Archive is an archive that was checked whole. It reads from the file it was
// opened on, which must stay open.
type Archive struct {
	entries     *zip.File
	count       int
	attachments []Attachment
}

// Read returns the archive in the size bytes of r after it has checked every
// member and every line, or an *Error and nothing.
func Read(r io.ReaderAt, size int64) (*Archive, error) {
	z, err := zip.NewReader(r, size)
	if err != nil {
		return nil, refuse("", 0, "this is no zip file or is cut off (%w); %s", err, another)
	}
	files, err := members(z, size)
	if err != nil {
		return nil, err
	}
	m, err := readManifest(files[manifestName])
	if err != nil {
		return nil, err
	}
	if err := m.agrees(files); err != nil {
		return nil, err
	}
	a := &Archive{entries: files[entriesName], count: m.Entries}
	if err := a.check(m, files); err != nil {
		return nil, err
	}
	return a, nil
}

// Len returns the number of entries.
func (a *Archive) Len() int { return a.count }

// Entries yields the entries in the order of their IDs. An error means that
// the file was changed or could not be read since Read checked it.
func (a *Archive) Entries() iter.Seq2[chronometer.Entry, error] {
	return func(yield func(chronometer.Entry, error) bool) {
		f, err := a.entries.Open()
		if err != nil {
			yield(chronometer.Entry{}, refuse(entriesName, 0, "%w; %s", err, another))
			return
		}
		defer f.Close()
		n := 0
		for e, err := range readEntries(f) {
			if err != nil {
				yield(chronometer.Entry{}, err)
				return
			}
			if n++; !yield(e, nil) {
				return
			}
		}
		if n != a.count {
			yield(chronometer.Entry{}, refuse(entriesName, 0, "it has %d entries now and had %d; leave the archive alone while it is read", n, a.count))
		}
	}
}

// Attachments returns the attachments in the order of their hashes. What Open
// gives is checked against the zip file's own sum as it is read.
func (a *Archive) Attachments() []Attachment { return slices.Clone(a.attachments) }

// members returns the files of the zip by name, after checking names, sizes
// and methods from its directory alone.
func members(z *zip.Reader, size int64) (map[string]*zip.File, error) {
	if len(z.File) > maxMembers {
		return nil, refuse("", 0, "the zip file has %d members, and an archive at most %d; %s", len(z.File), maxMembers, another)
	}
	files := make(map[string]*zip.File, len(z.File))
	folded := make(map[string]bool, len(z.File))
	var packed uint64
	for _, f := range z.File {
		if (f.Name == attachmentsDir || f.Name == comparisonsDir) && f.UncompressedSize64 == 0 {
			continue // folders, as other programs write them
		}
		if !expected(f.Name) {
			return nil, refuse("", 0, "%.120q does not belong in an archive; %s", f.Name, another)
		}
		if key := strings.ToLower(f.Name); folded[key] {
			return nil, refuse(f.Name, 0, "it stands twice in the zip file; %s", another)
		} else {
			folded[key] = true
		}
		files[f.Name] = f
		if f.Flags&1 != 0 {
			return nil, refuse(f.Name, 0, "it is encrypted; take the password off the archive first")
		}
		if f.Method != zip.Store && f.Method != zip.Deflate {
			return nil, refuse(f.Name, 0, "it is packed by method %d; pack it with deflate, or %s", f.Method, another)
		}
		if packed += f.CompressedSize64; f.CompressedSize64 > uint64(size) || packed > uint64(size) {
			return nil, refuse(f.Name, 0, "the members claim more bytes than the zip file has; %s", another)
		}
		if limit := mostBytes(f.Name, len(z.File)); f.UncompressedSize64 > limit {
			return nil, refuse(f.Name, 0, "it would unpack to %d bytes, and at most %d are allowed; %s", f.UncompressedSize64, limit, another)
		}
		if f.UncompressedSize64 > freeRatio && f.UncompressedSize64/maxRatio > f.CompressedSize64 {
			return nil, refuse(f.Name, 0, "it would unpack to more than %d times its size; %s", maxRatio, another)
		}
	}
	for _, name := range []string{manifestName, readmeName, entriesName, attachmentsName} {
		if files[name] == nil {
			return nil, refuse("", 0, "%s is missing, so this is no workshop archive or it is not whole; %s", name, another)
		}
	}
	return files, nil
}

// mostBytes returns how large a member may be unpacked, in a zip file of so
// many members.
func mostBytes(name string, members int) uint64 {
	switch {
	case name == manifestName:
		return 4096 + maxManifest*uint64(members)
	case name == readmeName:
		return maxReadme
	case strings.HasPrefix(name, attachmentsDir):
		return 1 << 50 // bounded by the size of the zip file and maxRatio
	}
	return maxLines
}

func readManifest(f *zip.File) (manifest, error) {
	var m manifest
	bad := func(format string, args ...any) (manifest, error) {
		return manifest{}, refuse(manifestName, 0, format, args...)
	}
	r, err := f.Open()
	if err != nil {
		return bad("%w; %s", err, another)
	}
	defer r.Close()
	text, err := io.ReadAll(r) // mostBytes holds: zip gives no more than was declared
	if err != nil {
		return bad("%w; %s", err, another)
	}
	var head struct {
		Format  string `json:"format"`
		Version int    `json:"version"`
	}
	if err := json.Unmarshal(text, &head); err != nil {
		return bad("it is no JSON object (%w); %s", err, another)
	}
	if head.Format != Format {
		return bad("the format is %.60q and not %q; give a file that timeball has exported", head.Format, Format)
	}
	if head.Version > Version {
		return bad("%w (%d; this program reads up to %d); use a newer timeball", ErrNewer, head.Version, Version)
	}
	if head.Version < 1 {
		return bad("there is no version %d; %s", head.Version, another)
	}
	d := json.NewDecoder(bytes.NewReader(text))
	d.DisallowUnknownFields()
	if err := d.Decode(&m); err != nil {
		return bad("%w; %s", err, another)
	}
	return m, nil
}

// agrees checks the members that the manifest names against those that are there.
func (m manifest) agrees(files map[string]*zip.File) error {
	named := make(map[string]bool, len(m.Members))
	for i, f := range m.Members {
		switch file := files[f.Name]; {
		case named[f.Name]:
			return refuse(manifestName, 0, "it names %.120q twice; %s", f.Name, another)
		case i > 0 && f.Name < m.Members[i-1].Name:
			return refuse(manifestName, 0, "it does not name the members in order; %s", another)
		case f.Name == manifestName:
			return refuse(manifestName, 0, "it names itself; %s", another)
		case file == nil:
			return refuse(manifestName, 0, "it names %.120q, which is not in the archive; %s", f.Name, another)
		case f.Size < 0 || uint64(f.Size) != file.UncompressedSize64:
			return refuse(f.Name, 0, "it has %d bytes, and %s says %d; %s", file.UncompressedSize64, manifestName, f.Size, another)
		case !isSHA256(f.SHA256):
			return refuse(manifestName, 0, "the sha256 of %.120q is not 64 hexadecimal digits; %s", f.Name, another)
		}
		named[f.Name] = true
	}
	for name := range files {
		if name != manifestName && !named[name] {
			return refuse(name, 0, "%s does not name it, so it was added later; %s", manifestName, another)
		}
	}
	return nil
}

// check reads every member once: its hash, its lines and the counts.
func (a *Archive) check(m manifest, files map[string]*zip.File) error {
	comparisons, stored := 0, 0
	for _, f := range m.Members {
		lines := func(io.Reader) error { return nil }
		switch {
		case f.Name == entriesName:
			lines = func(r io.Reader) error { return a.checkEntries(r) }
		case f.Name == attachmentsName:
			lines = func(r io.Reader) error { return a.readAttachments(r, files) }
		case strings.HasPrefix(f.Name, attachmentsDir):
			stored++
			if digest := f.Name[len(attachmentsDir):]; digest != f.SHA256 {
				return refuse(f.Name, 0, "its SHA-256 is %s and not its name; %s", f.SHA256, another)
			}
		case strings.HasPrefix(f.Name, comparisonsDir):
			comparisons++
		}
		if err := checkMember(files[f.Name], f, lines); err != nil {
			return err
		}
	}
	if comparisons != m.Comparisons || stored != m.Attachments || len(a.attachments) != m.Attachments {
		return refuse(manifestName, 0, "it counts %d attachments and %d comparison files, and there are %d (%d described) and %d; %s",
			m.Attachments, m.Comparisons, stored, len(a.attachments), comparisons, another)
	}
	return nil
}

// checkMember reads a member through lines and to its end, and compares size
// and hash.
func checkMember(file *zip.File, want member, lines func(io.Reader) error) error {
	r, err := file.Open()
	if err != nil {
		return refuse(want.Name, 0, "%w; %s", err, another)
	}
	defer r.Close()
	sum := newSum(io.Discard)
	through := io.TeeReader(io.LimitReader(r, want.Size+1), sum)
	wrong := lines(through)
	if _, err := io.Copy(io.Discard, through); err != nil {
		return refuse(want.Name, 0, "%w; %s", err, another)
	}
	if sum.size != want.Size || sum.SHA256() != want.SHA256 {
		return refuse(want.Name, 0, "its bytes are not those that were written (another SHA-256 than in %s); %s", manifestName, another)
	}
	return wrong
}

func (a *Archive) checkEntries(r io.Reader) error {
	n := 0
	for _, err := range readEntries(r) {
		if err != nil {
			return err
		}
		n++
	}
	if n != a.count {
		return refuse(entriesName, 0, "it has %d entries, and %s counts %d; %s", n, manifestName, a.count, another)
	}
	return nil
}

// readAttachments reads attachments.jsonl and finds the file of each line.
func (a *Archive) readAttachments(r io.Reader, files map[string]*zip.File) error {
	for line, err := range lines(r, attachmentsName) {
		if err != nil {
			return err
		}
		bad := func(format string, args ...any) error { return refuse(attachmentsName, line.n, format, args...) }
		var at Attachment
		d := json.NewDecoder(bytes.NewReader(line.text))
		d.DisallowUnknownFields()
		if err := d.Decode(&at); err != nil {
			return bad("%w; %s", err, another)
		}
		if _, err := d.Token(); err != io.EOF {
			return bad("there is text after the object; %s", another)
		}
		if err := at.check(); err != nil {
			return bad("%w; %s", err, another)
		}
		if n := len(a.attachments); n > 0 && at.SHA256 <= a.attachments[n-1].SHA256 {
			return bad("attachment %s stands twice or out of order; %s", at.SHA256, another)
		}
		file := files[attachmentsDir+at.SHA256]
		if file == nil {
			return bad("the file %s%s is missing; %s", attachmentsDir, at.SHA256, another)
		}
		if uint64(at.Size) != file.UncompressedSize64 {
			return bad("the size is %d, and the file has %d bytes; %s", at.Size, file.UncompressedSize64, another)
		}
		at.Open = file.Open
		a.attachments = append(a.attachments, at)
	}
	return nil
}

// readEntries yields the entries of entries.jsonl, checked, in order.
func readEntries(r io.Reader) iter.Seq2[chronometer.Entry, error] {
	return func(yield func(chronometer.Entry, error) bool) {
		var last chronometer.ID
		for line, err := range lines(r, entriesName) {
			var e chronometer.Entry
			if err == nil {
				if err = e.UnmarshalJSON(line.text); err == nil {
					err = admits(e, last)
				}
				if err != nil {
					err = refuse(entriesName, line.n, "%w; %s", err, another)
				}
			}
			if err != nil {
				yield(chronometer.Entry{}, err)
				return
			}
			if last = e.ID; !yield(e, nil) {
				return
			}
		}
	}
}

// numbered is a line of a .jsonl member.
type numbered struct {
	n    int
	text []byte // valid until the next line
}

// lines yields the lines of a .jsonl member, each of which ends with LF.
func lines(r io.Reader, member string) iter.Seq2[numbered, error] {
	return func(yield func(numbered, error) bool) {
		in := bufio.NewScanner(r)
		in.Buffer(nil, maxLine)
		in.Split(wholeLines)
		n := 0
		for in.Scan() {
			n++
			text, ended := bytes.CutSuffix(in.Bytes(), []byte{'\n'})
			var err error
			switch {
			case !ended:
				err = refuse(member, n, "the line is cut off; %s", another)
			case len(bytes.TrimSpace(text)) == 0:
				err = refuse(member, n, "the line is empty; %s", another)
			}
			if !yield(numbered{n, text}, err) || err != nil {
				return
			}
		}
		switch err := in.Err(); {
		case errors.Is(err, bufio.ErrTooLong):
			yield(numbered{}, refuse(member, n+1, "the line is longer than %d bytes; %s", maxLine, another))
		case err != nil:
			yield(numbered{}, refuse(member, n+1, "%w; %s", err, another))
		}
	}
}

// wholeLines splits after each LF, so that a last line without one is seen.
func wholeLines(text []byte, atEnd bool) (advance int, token []byte, err error) {
	n := bytes.IndexByte(text, '\n') + 1
	if n == 0 && atEnd {
		n = len(text)
	}
	if n == 0 {
		return 0, nil, nil
	}
	return n, text[:n], nil
}

package archive

import (
	"archive/zip"
	"cmp"
	"compress/flate"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"hash"
	"io"
	"iter"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"

	"timeball/internal/chronometer"
	"timeball/internal/ratebook"
)

// Write writes an archive of the entries, which come in the order of their
// IDs, and of the attachments, in any order. The logbooks, which come in the
// order of their subjects and may be nil, become the comparison files; one
// of them is held in memory at a time, and one entry. An error leaves an
// archive that Read refuses.
func Write(w io.Writer, entries iter.Seq2[chronometer.Entry, error], attachments []Attachment, logbooks iter.Seq2[chronometer.Logbook, error]) error {
	out := newWriter(w)
	if err := out.member(readmeName, zip.Deflate, func(w io.Writer) error {
		_, err := io.WriteString(w, readme)
		return err
	}); err != nil {
		return err
	}
	if err := out.attachments(attachments); err != nil {
		return err
	}
	if logbooks != nil {
		if err := out.comparisons(logbooks); err != nil {
			return err
		}
	}
	if err := out.member(entriesName, zip.Deflate, func(w io.Writer) error { return out.entries(w, entries) }); err != nil {
		return err
	}
	out.manifest.Format, out.manifest.Version = Format, Version
	slices.SortFunc(out.manifest.Members, func(a, b member) int { return cmp.Compare(a.Name, b.Name) })
	text, err := json.MarshalIndent(out.manifest, "", " ")
	if err != nil {
		return err
	}
	if err := out.member(manifestName, zip.Deflate, func(w io.Writer) error {
		_, err := w.Write(append(text, '\n'))
		return err
	}); err != nil {
		return err
	}
	return out.zip.Close()
}

// writer writes members one after the other: README.txt, the attachments in the
// order of their hashes, the comparison files in the order of their subjects,
// the entries and, when all hashes are known, timeball.json.
type writer struct {
	zip      *zip.Writer
	manifest manifest
}

func newWriter(w io.Writer) *writer {
	z := zip.NewWriter(w)
	z.RegisterCompressor(zip.Deflate, func(w io.Writer) (io.WriteCloser, error) {
		return flate.NewWriter(w, flate.DefaultCompression)
	})
	return &writer{zip: z, manifest: manifest{Members: []member{}}}
}

// member writes one file and notes its size and hash.
func (out *writer) member(name string, method uint16, fill func(io.Writer) error) error {
	w, err := out.zip.CreateHeader(&zip.FileHeader{Name: name, Method: method, Modified: writtenAt})
	if err != nil {
		return fmt.Errorf("%s: %w", name, err)
	}
	sum := newSum(w)
	if err := fill(sum); err != nil {
		return fmt.Errorf("%s: %w", name, err)
	}
	if name != manifestName {
		out.manifest.Members = append(out.manifest.Members, member{Name: name, Size: sum.size, SHA256: sum.SHA256()})
	}
	return nil
}

func (out *writer) entries(w io.Writer, entries iter.Seq2[chronometer.Entry, error]) error {
	var last chronometer.ID
	for e, err := range entries {
		if err != nil {
			return err
		}
		if err := admits(e, last); err != nil {
			return err
		}
		last = e.ID
		_, text, err := restorable(e)
		if err != nil {
			return err
		}
		if _, err := w.Write(append(text, '\n')); err != nil {
			return err
		}
		out.manifest.Entries++
	}
	return nil
}

// restorable returns the line of an entry and the entry that Read will give
// for it. An entry that cannot be restored is found here, not when it is needed.
func restorable(e chronometer.Entry) (chronometer.Entry, []byte, error) {
	e.At, e.Written = e.At.UTC().Truncate(time.Microsecond), e.Written.UTC().Truncate(time.Microsecond)
	text, err := json.Marshal(e)
	if err != nil {
		return e, nil, fmt.Errorf("entry %s: %w", e.ID, err)
	}
	if len(text) >= maxLine {
		return e, nil, fmt.Errorf("entry %s has %d bytes, and at most %d fit a line; attach the text as a file", e.ID, len(text), maxLine-1)
	}
	var restored chronometer.Entry
	if err := restored.UnmarshalJSON(text); err != nil {
		return e, nil, fmt.Errorf("entry %s could not be read back: %w", e.ID, err)
	}
	return restored, text, nil
}

// admits returns an error unless e is whole and its ID comes after last.
func admits(e chronometer.Entry, last chronometer.ID) error {
	if err := e.Check(); err != nil {
		return err
	}
	for _, id := range []chronometer.ID{e.ID, e.Subject} {
		if same, err := chronometer.ParseID(string(id)); err != nil || same != id {
			return fmt.Errorf("id %.40q is not in capital letters; write it as %s", string(id), same)
		}
	}
	switch {
	case e.ID == last:
		return fmt.Errorf("the ID %s stands twice; each entry has one of its own", e.ID)
	case e.ID < last:
		return fmt.Errorf("entry %s comes after %s; write entries in the order of their IDs", e.ID, last)
	}
	return nil
}

// attachments writes attachments.jsonl and the files.
func (out *writer) attachments(attachments []Attachment) error {
	sorted := slices.SortedFunc(slices.Values(attachments), func(a, b Attachment) int { return cmp.Compare(a.SHA256, b.SHA256) })
	err := out.member(attachmentsName, zip.Deflate, func(w io.Writer) error {
		for i, a := range sorted {
			if err := a.check(); err != nil {
				return err
			}
			if a.Open == nil {
				return fmt.Errorf("attachment %s has no bytes to open; give it Open", a.SHA256)
			}
			if i > 0 && sorted[i-1].SHA256 == a.SHA256 {
				return fmt.Errorf("attachment %s is given twice; give each file once", a.SHA256)
			}
			text, err := json.Marshal(a)
			if err != nil {
				return err
			}
			if _, err := w.Write(append(text, '\n')); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		return err
	}
	for _, a := range sorted {
		// Stored, not deflated: pictures do not shrink, and sound by a tenth only.
		if err := out.member(attachmentsDir+a.SHA256, zip.Store, func(w io.Writer) error { return copyWhole(w, a) }); err != nil {
			return err
		}
	}
	out.manifest.Attachments = len(sorted)
	return nil
}

// copyWhole copies an attachment and makes sure that it is what it is said to be.
func copyWhole(w io.Writer, a Attachment) error {
	r, err := a.Open()
	if err != nil {
		return err
	}
	defer r.Close()
	sum := newSum(w)
	if _, err := io.Copy(sum, io.LimitReader(r, a.Size+1)); err != nil {
		return err
	}
	if sum.size != a.Size || sum.SHA256() != a.SHA256 {
		return fmt.Errorf("the stored file is not what was attached (%d bytes, expected %d, or another SHA-256); verify the workshop's folder and bring the file back from a backup", sum.size, a.Size)
	}
	return nil
}

// comparisons writes a comparison file for each instrument that has rows.
func (out *writer) comparisons(logbooks iter.Seq2[chronometer.Logbook, error]) error {
	var last chronometer.ID
	taken := map[string]bool{}
	for b, err := range logbooks {
		if err != nil {
			return err
		}
		if b.Len() == 0 {
			continue
		}
		subject := b.Entries()[0].Subject
		if subject <= last {
			return fmt.Errorf("%s: the logbook of %s comes after that of %s; write them in the order of their subjects", comparisonsDir, subject, last)
		}
		last = subject
		instrument, ok := b.Instrument()
		if !ok {
			continue
		}
		// As they will be restored, so that an archive of the restored
		// workshop has the same bytes.
		standing := b.Standing()
		for i, e := range standing {
			if standing[i], _, err = restorable(e); err != nil {
				return err
			}
			standing[i].Fact, standing[i].By = clipped(standing[i].Fact), clip(standing[i].By)
		}
		rows := ratebook.FromEntries(standing)
		if len(rows) == 0 {
			continue
		}
		name := comparisonsDir + fileName(instrument.Number, taken) + ".csv"
		if err := out.member(name, zip.Deflate, func(w io.Writer) error { return ratebook.Write(w, rows) }); err != nil {
			return err
		}
		out.manifest.Comparisons++
	}
	return nil
}

// fileName returns a number as the name of a file on any system, unlike all
// taken before whatever the case of their letters.
func fileName(number string, taken map[string]bool) string {
	name := strings.Map(func(r rune) rune {
		if r < utf8.RuneSelf && (r >= '0' && r <= '9' || r >= 'A' && r <= 'Z' || r >= 'a' && r <= 'z' || strings.ContainsRune("._-", r)) {
			return r
		}
		return '-'
	}, number)
	name = strings.Trim(name[:min(len(name), 60)], ".-")
	if name == "" {
		name = "number"
	}
	if device(name) {
		name = "number-" + name
	}
	free := name
	for i := 2; taken[strings.ToLower(free)]; i++ {
		free = name + "-" + strconv.Itoa(i)
	}
	taken[strings.ToLower(free)] = true
	return free
}

// device reports whether Windows takes a name for a device (Microsoft, Naming
// Files, Paths, and Namespaces).
func device(name string) bool {
	stem, _, _ := strings.Cut(strings.ToUpper(name), ".")
	switch stem {
	case "CON", "PRN", "AUX", "NUL":
		return true
	}
	return len(stem) == 4 && (strings.HasPrefix(stem, "COM") || strings.HasPrefix(stem, "LPT")) && stem[3] >= '0' && stem[3] <= '9'
}

// most is how many bytes of a text stand in a comparison file for people.
const most = 4000

// clip shortens a text to what a cell can hold.
func clip(s string) string {
	if len(s) <= most {
		return s
	}
	cut := most
	for cut > 0 && !utf8.RuneStart(s[cut]) {
		cut--
	}
	return s[:cut] + " … (whole in entries.jsonl)"
}

// clipped returns a fact with its texts clipped.
func clipped(f chronometer.Fact) chronometer.Fact {
	switch f := f.(type) {
	case chronometer.Compared:
		f.Observer, f.Standard, f.Note = clip(f.Observer), clip(f.Standard), clip(f.Note)
		return f
	case chronometer.Listened:
		f.Note = clip(f.Note)
		return f
	case chronometer.Note:
		f.Text = clip(f.Text)
		return f
	case chronometer.Found:
		f.Condition = clip(f.Condition)
		return f
	case chronometer.WorkDone:
		f.Work, f.Parts, f.Measurements = clip(f.Work), clip(f.Parts), clip(f.Measurements)
		return f
	}
	return f
}

// sum counts and hashes what is written through it.
type sum struct {
	w    io.Writer
	size int64
	hash hash.Hash
}

func newSum(w io.Writer) *sum { return &sum{w: w, hash: sha256.New()} }

func (s *sum) Write(p []byte) (int, error) {
	n, err := s.w.Write(p)
	s.size += int64(n)
	_, _ = s.hash.Write(p[:n])
	return n, err
}

// SHA256 returns the hash of what was written so far, 64 hexadecimal digits.
func (s *sum) SHA256() string { return hex.EncodeToString(s.hash.Sum(nil)) }

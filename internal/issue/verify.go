package issue

import (
	"bytes"
	"compress/zlib"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"math"
	"regexp"
	"strings"
	"time"

	"timeball/internal/chronometer"
	"timeball/internal/clock"
	"timeball/internal/workshop"
)

// Finding is what a certificate turns out to be.
type Finding string

// The findings.
const (
	Holds      Finding = "holds"      // the logbook still gives its figures
	Superseded Finding = "superseded" // the logbook was struck out or added to since
	Withdrawn  Finding = "withdrawn"  // the entry that issued it is struck out
	Otherwise  Finding = "otherwise"  // the entries are the same, this program computes other figures
	NotOurs    Finding = "not known"  // no certificate with this digest was issued here
)

// Verified is what the logbook says of a certificate.
type Verified struct {
	Finding     Finding
	Instrument  chronometer.Instrument
	Entry       chronometer.Entry // that issued it; the zero entry if it is not known
	Certificate chronometer.Certified
	Now         *chronometer.Stated // what the logbook gives now for the same instant; nil if nothing
	SameFile    *bool               // whether the file given is the one that was kept; nil if a digest was given
	Later       string              // the number of the last certificate issued after it, or empty
	Words       string              // the finding as a sentence
	Changes     []string            // what was struck out or added, sentences
}

// sum returns the SHA-256 of bytes in hexadecimal digits.
func sum(b []byte) string {
	s := sha256.Sum256(b)
	return hex.EncodeToString(s[:])
}

// ErrNoDigest marks a file in which no certificate can be recognised.
var ErrNoDigest = errors.New("no certificate")

// leastDigest is how many digits of a digest tell one certificate from others.
const leastDigest = 12

// Verify says of a digest, or the beginning of one, whether the logbook still
// gives what the certificate states.
func (p *Papers) Verify(ctx context.Context, digest string) (Verified, error) {
	digest = strings.TrimPrefix(strings.ToLower(strings.Join(strings.Fields(digest), "")), "sha256:")
	if len(digest) < leastDigest || len(digest) > 64 || strings.Trim(digest, "0123456789abcdef") != "" {
		return Verified{}, fmt.Errorf("%w: %.80q is no digest; give the %d to 64 digits 0-9 and a-f printed on it, or the file", ErrNoDigest, digest, leastDigest)
	}
	return p.verify(ctx, func(c chronometer.Certified) bool { return strings.HasPrefix(c.Digest, digest) })
}

// VerifyFile is Verify for the file of a certificate.
func (p *Papers) VerifyFile(ctx context.Context, file []byte) (Verified, error) {
	whole := sum(file)
	v, err := p.verify(ctx, func(c chronometer.Certified) bool { return c.PDF == whole })
	same := true
	if err == nil && v.Finding == NotOurs {
		digest, found := digestIn(file)
		if !found {
			return v, fmt.Errorf("%w: the file holds no digest of a logbook; give a certificate as timeball issued it, or type the digest printed on it", ErrNoDigest)
		}
		same = false
		if v, err = p.verify(ctx, func(c chronometer.Certified) bool { return c.Digest == digest }); err == nil && v.Finding != NotOurs {
			v.Changes = append(v.Changes, "the file is not, byte for byte, the one that was issued: trust what is said here, and not what it shows")
		}
	}
	v.SameFile = &same
	return v, err
}

func (p *Papers) verify(ctx context.Context, is func(chronometer.Certified) bool) (Verified, error) {
	instruments, err := p.workshop.Logbooks(ctx)
	if err != nil {
		return Verified{}, err
	}
	var found chronometer.Entry
	var book chronometer.Logbook
	withdrawn := false
	for _, own := range instruments {
		for _, e := range own.Entries() {
			c, ok := e.Fact.(chronometer.Certified)
			if !ok || !is(c) {
				continue
			}
			// Two that rest on the same entries have one digest: the newest that
			// stands, or else the newest.
			_, out := own.StruckOut(e.ID)
			if found.ID == "" || withdrawn && !out || withdrawn == out && e.ID > found.ID {
				found, book, withdrawn = e, own, out
			}
		}
	}
	if found.ID == "" {
		return Verified{Finding: NotOurs, Words: "No certificate with this digest was issued by this workshop; look at the number and the workshop named on it."}, nil
	}
	return verifyIn(book, found)
}

// VerifyEntry is Verify for the certificate that an entry of a logbook issued.
func VerifyEntry(book chronometer.Logbook, id chronometer.ID) (Verified, error) {
	e, ok := book.Entry(id)
	if _, certified := e.Fact.(chronometer.Certified); !ok || !certified {
		return Verified{}, fmt.Errorf("%w: entry %.26s is no certificate", workshop.ErrUnknown, id)
	}
	return verifyIn(book, e)
}

// verifyIn holds a certificate against its logbook.
func verifyIn(book chronometer.Logbook, entry chronometer.Entry) (Verified, error) {
	c := entry.Fact.(chronometer.Certified)
	v := Verified{Entry: entry, Certificate: c}
	v.Instrument, _ = book.Instrument()
	until, err := c.At()
	if err != nil {
		return v, err
	}
	for _, e := range book.Standing() {
		if later, ok := e.Fact.(chronometer.Certified); ok && e.At.After(entry.At) {
			v.Later = later.Certificate
		}
	}
	g, err := groundOf(book, until, entry.Written)
	if err != nil {
		return v, err
	}
	if g.seen.Rating != nil {
		now := g.stated()
		v.Now = &now
	}
	name := fmt.Sprintf("Certificate %s of no. %s", c.Certificate, v.Instrument.Number)
	strike, out := book.StruckOut(entry.ID)
	switch {
	case out:
		v.Finding = Withdrawn
		v.Words = fmt.Sprintf("%s is withdrawn: struck out by %s on %s: %s.", name, strike.By, day(strike.Written), strike.Fact.(chronometer.StruckOut).Why)
	case g.digest != c.Digest:
		v.Finding = Superseded
		v.Changes = changes(book, g, entry, until)
		v.Words = fmt.Sprintf("%s is superseded: the entries it rests on are not those of the logbook now. %s", name, now(v))
	case v.Now == nil || !agree(c.Figures, *v.Now):
		v.Finding = Otherwise
		v.Words = fmt.Sprintf("%s rests on the entries that the logbook still holds, but this version of timeball computes other figures from them. %s", name, now(v))
	default:
		v.Finding = Holds
		v.Words = fmt.Sprintf("%s holds: the logbook still gives its figures from the same %d entries.", name, c.Entries)
	}
	if v.Later != "" {
		v.Changes = append(v.Changes, fmt.Sprintf("a later certificate was issued, %s", v.Later))
	}
	return v, nil
}

// now says what the logbook gives instead of what was stated.
func now(v Verified) string {
	if v.Now == nil {
		return "It gives no rating any more."
	}
	was, is := v.Certificate.Figures, *v.Now
	return fmt.Sprintf("It stated %s; now it is %s.", rateOf(was), rateOf(is))
}

func rateOf(s chronometer.Stated) string {
	r := clock.Rate(s.Rate)
	return r.Words(1.96*s.RateSD) + " a day " + r.HalfWidth(1.96*s.RateSD)
}

// agreeSD is how far figures may differ, in their own standard deviations, that
// are the same but for the last places of arithmetic.
const agreeSD = 1e-6

func agree(a, b chronometer.Stated) bool {
	close := func(x, y, sd float64) bool { return math.Abs(x-y) <= agreeSD*max(sd, 1e-3) }
	if a.Epoch != b.Epoch || a.Verdict != b.Verdict || len(a.Criteria) != len(b.Criteria) ||
		!close(a.ErrorS, b.ErrorS, a.ErrorSDS) || !close(a.ErrorSDS, b.ErrorSDS, a.ErrorSDS) ||
		!close(a.Rate, b.Rate, a.RateSD) || !close(a.RateSD, b.RateSD, a.RateSD) ||
		!close(a.Steadiness, b.Steadiness, a.SteadinessSD) {
		return false
	}
	for i, f := range a.Criteria {
		if o := b.Criteria[i]; f.Name != o.Name || !close(f.Value, o.Value, f.SD) {
			return false
		}
	}
	return true
}

func day(t time.Time) string { return t.UTC().Format("2 January 2006") }

// mostChanges is how many changes are told one by one.
const mostChanges = 20

// changes tells what was struck out of the ground of a certificate and what was
// added to it since it was issued.
func changes(book chronometer.Logbook, g ground, entry chronometer.Entry, until time.Time) []string {
	stands := map[chronometer.ID]bool{}
	for _, e := range g.entries {
		stands[e.ID] = true
	}
	before := map[chronometer.ID]bool{}
	for _, e := range asOf(book, entry).Ground(until, entry.Written) {
		before[e.ID] = true
	}
	var told []string
	for _, e := range book.Entries() {
		what := fmt.Sprintf("the entry %q of %s", string(e.Kind()), e.At.UTC().Format("2 January 2006 15:04 UTC"))
		switch {
		case before[e.ID] && !stands[e.ID]:
			if s, ok := book.StruckOut(e.ID); ok {
				what += fmt.Sprintf(" was struck out by %s on %s: %s", s.By, day(s.Written), s.Fact.(chronometer.StruckOut).Why)
			} else {
				what += " does not count any more"
			}
		case !before[e.ID] && stands[e.ID] && !e.Written.Before(entry.Written):
			what += fmt.Sprintf(" was written by %s on %s, after the certificate", e.By, day(e.Written))
		case !before[e.ID] && stands[e.ID]:
			what += " counts again"
		default:
			continue
		}
		told = append(told, what)
	}
	if n := len(told); n > mostChanges {
		told = append(told[:mostChanges], fmt.Sprintf("and %d more", n-mostChanges))
	}
	return told
}

// asOf returns a logbook as it stood when an entry was written.
func asOf(book chronometer.Logbook, when chronometer.Entry) chronometer.Logbook {
	var kept []chronometer.Entry
	for _, e := range book.Entries() {
		if e.Written.Before(when.Written) || e.Written.Equal(when.Written) && e.ID <= when.ID {
			kept = append(kept, e)
		}
	}
	return chronometer.NewLogbook(kept)
}

// Again returns the file of a certificate as it was issued, its number and
// whether it stands: the one of that number, or the last if number is empty.
func (p *Papers) Again(ctx context.Context, instrument, number string) ([]byte, chronometer.Certified, error) {
	seen, err := p.workshop.See(ctx, instrument)
	if err != nil {
		return nil, chronometer.Certified{}, err
	}
	var found *chronometer.Certified
	for _, e := range seen.Logbook.Standing() {
		if c, ok := e.Fact.(chronometer.Certified); ok && (number == "" || c.Certificate == number) {
			found = &c
		}
	}
	switch {
	case found == nil && number != "":
		return nil, chronometer.Certified{}, fmt.Errorf("%w: no. %s has no certificate %.60q that stands; look in its logbook", workshop.ErrUnknown, seen.Instrument.Number, number)
	case found == nil:
		return nil, chronometer.Certified{}, fmt.Errorf("%w: no certificate was issued for no. %s; issue one on its page of papers", workshop.ErrUnknown, seen.Instrument.Number)
	}
	_, file, err := p.workshop.Attachment(ctx, found.PDF)
	if err != nil {
		return nil, *found, err
	}
	defer file.Close()
	pdf, err := io.ReadAll(file)
	return pdf, *found, err
}

// In a certificate the digest stands in its figures, which are attached.
var (
	digestPattern = regexp.MustCompile(`"entries_sha256"\s*:\s*"([0-9a-f]{64})"`)
	streamPattern = regexp.MustCompile(`stream\r?\n`)
)

// mostInflated bounds what is read of one stream of a file, bytes.
const mostInflated = 8 << 20

// digestIn returns the digest that the file of a certificate carries.
func digestIn(pdf []byte) (string, bool) {
	if !bytes.HasPrefix(pdf, []byte("%PDF-")) {
		return "", false
	}
	for _, at := range streamPattern.FindAllIndex(pdf, -1) {
		r, err := zlib.NewReader(bytes.NewReader(pdf[at[1]:]))
		if err != nil {
			continue
		}
		// A stream that breaks off may still hold it.
		text, _ := io.ReadAll(io.LimitReader(r, mostInflated))
		if m := digestPattern.FindSubmatch(text); m != nil {
			return string(m[1]), true
		}
	}
	if m := digestPattern.FindSubmatch(pdf); m != nil {
		return string(m[1]), true
	}
	return "", false
}

// VerifiedJSON is what is said of a certificate, for scripts.
type VerifiedJSON struct {
	Finding     Finding             `json:"finding"`
	Certificate string              `json:"certificate,omitempty"`
	Instrument  string              `json:"instrument,omitempty"`
	Issued      string              `json:"issued,omitempty"`
	Digest      string              `json:"digest,omitempty"`
	SameFile    *bool               `json:"same_file"`
	Stated      *chronometer.Stated `json:"stated"`
	Now         *chronometer.Stated `json:"now"`
	Later       string              `json:"later,omitempty"`
	Words       string              `json:"words"`
	Changes     []string            `json:"changes"`
}

// NewVerifiedJSON returns the form for scripts.
func NewVerifiedJSON(v Verified) VerifiedJSON {
	j := VerifiedJSON{Finding: v.Finding, SameFile: v.SameFile, Now: v.Now, Later: v.Later, Words: v.Words, Changes: append([]string{}, v.Changes...)}
	if v.Entry.ID != "" {
		j.Certificate, j.Instrument, j.Issued = v.Certificate.Certificate, v.Instrument.Number, v.Entry.At.Format(time.RFC3339Nano)
		j.Digest, j.Stated = v.Certificate.Digest, &v.Certificate.Figures
	}
	return j
}

// Reissue makes the file of a certificate anew from the entries that it rests
// on; as long as these stand it is the one that was kept, byte for byte, but
// for what the workshop and the owner are called now.
func (p *Papers) Reissue(ctx context.Context, instrument string, id chronometer.ID) ([]byte, error) {
	s, err := p.subject(ctx, instrument)
	if err != nil {
		return nil, err
	}
	e, ok := s.seen.Logbook.Entry(id)
	c, certified := e.Fact.(chronometer.Certified)
	if !ok || !certified {
		return nil, fmt.Errorf("%w: entry %.26s is no certificate of no. %s", workshop.ErrUnknown, id, s.seen.Instrument.Number)
	}
	at, err := c.At()
	if err != nil {
		return nil, err
	}
	g, err := groundOf(s.seen.Logbook, at, e.Written)
	if err != nil {
		return nil, err
	}
	if g.seen.Rating == nil {
		return nil, wanting("certificate "+c.Certificate, []string{g.seen.Why})
	}
	return s.issued(g, c)
}

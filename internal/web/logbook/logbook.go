// Package logbook is the entries of an instrument as a page shows them: line
// by line, the newest first, struck out or set aside but never left out.
package logbook

import (
	"fmt"
	"math"
	"net/url"
	"slices"
	"strings"

	"timeball/internal/chronometer"
	"timeball/internal/clock"
	"timeball/internal/rating"
	"timeball/internal/web/form"
	"timeball/internal/web/wording"
	"timeball/internal/workshop"
)

// Book is the entries as a page shows them, newest first.
type Book struct {
	Total  int
	Kinds  []form.Option
	Text   string
	Filter bool
	Lines  []Line
	More   string // where the earlier ones are, if some are left out
	shown  map[string]bool
}

// Line is one entry.
type Line struct {
	ID, When, Instant, Full string
	Title                   string // the kind
	Lead                    string // what a comparison came to
	Words, By               string
	Aside                   string // why a comparison is not used
	Struck                  *Strike
	Strike                  string     // where it can be struck out
	About                   *Reference // the entry that it is about
	Picture                 string
	Sound                   *Sound
	Curves                  string // where the curves of a long reading are drawn
	about                   string
}

// Sound is a recording that is played or taken home.
type Sound struct {
	Href, Type, Words string // its address, media type, and what it is
	File              string // its name as a file
}

// Reference leads to an entry.
type Reference struct{ Words, Href string }

// Strike says who struck an entry out, when and why.
type Strike struct{ By, When, Why string }

// newest is how many entries a page shows unless it is asked for all.
const newest = 40

// New returns the entries that the query asks for: kind and text
// filter, and entries=all shows all.
func New(seen workshop.Seen, at string, query url.Values) Book {
	book := Book{Total: seen.Logbook.Len(), Text: strings.TrimSpace(query.Get("text")), shown: map[string]bool{}}
	kind, known := wording.KindOf(query.Get("kind"))
	book.Filter = known || book.Text != ""
	present := map[chronometer.Kind]bool{}
	notes := NotesOf(seen.Rating)
	entries := seen.Logbook.Entries()
	for _, e := range slices.Backward(entries) {
		present[e.Kind()] = true
		if known && e.Kind() != kind {
			continue
		}
		if !book.Filter && query.Get("entries") != "all" && len(book.Lines) == newest {
			book.More = at + "?entries=all#logbook"
			continue
		}
		l := NewLine(seen, e, at, notes)
		if book.Text != "" && !l.says(book.Text) {
			continue
		}
		book.Lines = append(book.Lines, l)
		book.shown[l.ID] = true
	}
	for _, l := range book.Lines {
		if l.About != nil && book.shown[l.about] {
			l.About.Href = book.Href(l.about, at)
		}
	}
	for _, k := range chronometer.Kinds() {
		if present[k] {
			book.Kinds = append(book.Kinds, form.Option{Value: wording.Slug(k), Label: k.Title(), Chosen: known && k == kind})
		}
	}
	return book
}

// Drawn says where on this page the curves of an entry are drawn.
func (b Book) Drawn(id, href string) {
	for n := range b.Lines {
		if b.Lines[n].ID == id {
			b.Lines[n].Curves = href
		}
	}
}

// Href returns where an entry stands: on this page, or on the page with all.
func (b Book) Href(id, at string) string {
	if b.shown[id] {
		return "#e-" + id
	}
	return at + "?entries=all#e-" + id
}

// says reports whether text is anywhere in the line, in any case of letters.
func (l Line) says(text string) bool {
	all := strings.Join([]string{l.Title, l.Lead, l.Words, l.By, l.Aside, l.Full, l.When}, "\n")
	return strings.Contains(strings.ToLower(all), strings.ToLower(text))
}

// Notes is what a rating says of single comparisons, by their entry.
type Notes struct {
	used  map[string]rating.Residual
	aside map[string]rating.SetAside
}

// NotesOf returns the notes of a rating, none of nil.
func NotesOf(r *rating.Rating) *Notes {
	n := &Notes{map[string]rating.Residual{}, map[string]rating.SetAside{}}
	if r == nil {
		return n
	}
	for _, x := range r.Residuals {
		n.used[x.Ref] = x
	}
	for _, a := range r.SetAside {
		n.aside[a.Ref] = a
	}
	return n
}

// NewLine returns the line of an entry on the page at an address.
func NewLine(seen workshop.Seen, e chronometer.Entry, at string, notes *Notes) Line {
	id := string(e.ID)
	l := Line{
		ID: id, When: wording.Instant(e.At, seen.Now), Instant: e.At.UTC().Format("2006-01-02T15:04:05Z"), Full: wording.FullInstant(e.At) + ", written " + wording.FullInstant(e.Written),
		Title: e.Kind().Title(), Words: e.Fact.Words(), By: e.By, Strike: at + "/strike/" + id,
	}
	if notes != nil {
		if x, ok := notes.used[id]; ok {
			l.Lead = clock.DialError(x.ErrorS).Words(1.96 * x.SDS)
		}
		if a, ok := notes.aside[id]; ok {
			l.Lead, l.Aside = clock.DialError(a.ErrorS).Words(1.96*a.ReadSDS), a.Reason
		}
	}
	if by, ok := seen.Logbook.StruckOut(e.ID); ok {
		l.Strike = ""
		l.Struck = &Strike{By: by.By, When: wording.FullInstant(by.Written), Why: by.Fact.Words()}
	}
	switch f := e.Fact.(type) {
	case chronometer.StruckOut:
		l.refer(seen, f.Entry, at)
	case chronometer.Upheld:
		l.refer(seen, f.Entry, at)
	case chronometer.Photograph:
		if _, ok := Pictures[f.Type]; ok {
			l.Picture = "/attachments/" + f.SHA256
		}
	case chronometer.Listened:
		l.Sound = newSound(f.Recording)
		if f.Reading != nil && l.Struck == nil {
			l.Curves = at + "?reading=" + id + "#reading-" + id
		}
	case chronometer.Compared:
		if f.Heard != nil {
			l.Sound = newSound(f.Heard.Recording)
		}
	}
	return l
}

// newSound returns a recording as a line offers it, nil of nil.
func newSound(r *chronometer.Recording) *Sound {
	if r == nil {
		return nil
	}
	file := r.Name
	if file == "" {
		file = r.SHA256[:12] + map[string]string{chronometer.WAV: ".wav", chronometer.FLAC: ".flac"}[r.Type]
	}
	return &Sound{Href: "/attachments/" + r.SHA256, Type: r.Type, File: file, Words: file + ", " + megabytes(r.Bytes)}
}

// megabytes writes the size of a file.
func megabytes(n int64) string {
	switch mb := float64(n) / 1e6; {
	case mb < 0.1:
		return fmt.Sprintf("%.0f kB", math.Ceil(float64(n)/1e3))
	case mb < 10:
		return fmt.Sprintf("%.1f MB", mb)
	default:
		return fmt.Sprintf("%.0f MB", mb)
	}
}

// refer names the entry that the line is about.
func (l *Line) refer(seen workshop.Seen, id chronometer.ID, at string) {
	if e, ok := seen.Logbook.Entry(id); ok {
		l.about = string(id)
		l.About = &Reference{e.Kind().Title() + ", " + wording.Instant(e.At, seen.Now), at + "?entries=all#e-" + l.about}
	}
}

// Shown reports whether a page shows or plays files of a media type; anything
// else is handed out as a file to keep.
func Shown(mediaType string) bool {
	_, picture := Pictures[mediaType]
	return picture || mediaType == chronometer.WAV || mediaType == chronometer.FLAC
}

// Pictures are the media types that a page shows as pictures.
var Pictures = map[string]string{"image/jpeg": "JPEG", "image/png": "PNG", "image/webp": "WebP", "image/gif": "GIF"}

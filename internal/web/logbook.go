package web

import (
	"net/url"
	"slices"
	"strings"

	"timeball/internal/chronometer"
	"timeball/internal/clock"
	"timeball/internal/rating"
	"timeball/internal/workshop"
)

// logbook is the entries as a page shows them, newest first.
type logbook struct {
	Total  int
	Kinds  []option
	Text   string
	Filter bool
	Lines  []line
	More   string // where the earlier ones are, if some are left out
	shown  map[string]bool
}

// option is one choice of a field.
type option struct {
	Value, Label string
	Chosen       bool
}

// line is one entry.
type line struct {
	ID, When, Instant, Full string
	Title                   string // the kind
	Lead                    string // what a comparison came to
	Words, By               string
	Aside                   string // why a comparison is not used
	Struck                  *strike
	Strike                  string // where it can be struck out
	About                   *link  // the entry that it is about
	Picture                 string
	about                   string
}

// strike says who struck an entry out, when and why.
type strike struct{ By, When, Why string }

// newest is how many entries a page shows unless it is asked for all.
const newest = 40

// newLogbook returns the entries that the query asks for: kind and text
// filter, and entries=all shows all.
func newLogbook(seen workshop.Seen, at string, query url.Values) logbook {
	book := logbook{Total: seen.Logbook.Len(), Text: strings.TrimSpace(query.Get("text")), shown: map[string]bool{}}
	kind, known := kindOf(query.Get("kind"))
	book.Filter = known || book.Text != ""
	present := map[chronometer.Kind]bool{}
	notes := notesOf(seen.Rating)
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
		l := newLine(seen, e, at, notes)
		if book.Text != "" && !l.says(book.Text) {
			continue
		}
		book.Lines = append(book.Lines, l)
		book.shown[l.ID] = true
	}
	for _, l := range book.Lines {
		if l.About != nil && book.shown[l.about] {
			l.About.Href = book.href(l.about, at)
		}
	}
	for _, k := range chronometer.Kinds() {
		if present[k] {
			book.Kinds = append(book.Kinds, option{slug(k), k.Title(), known && k == kind})
		}
	}
	return book
}

// href returns where an entry stands: on this page, or on the page with all.
func (b logbook) href(id, at string) string {
	if b.shown[id] {
		return "#e-" + id
	}
	return at + "?entries=all#e-" + id
}

// says reports whether text is anywhere in the line, in any case of letters.
func (l line) says(text string) bool {
	all := strings.Join([]string{l.Title, l.Lead, l.Words, l.By, l.Aside, l.Full, l.When}, "\n")
	return strings.Contains(strings.ToLower(all), strings.ToLower(text))
}

// readingNotes is what a rating says of single comparisons, by their entry.
type readingNotes struct {
	used  map[string]rating.Residual
	aside map[string]rating.SetAside
}

func notesOf(r *rating.Rating) *readingNotes {
	n := &readingNotes{map[string]rating.Residual{}, map[string]rating.SetAside{}}
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

func newLine(seen workshop.Seen, e chronometer.Entry, at string, notes *readingNotes) line {
	id := string(e.ID)
	l := line{
		ID: id, When: instant(e.At, seen.Now), Instant: e.At.UTC().Format("2006-01-02T15:04:05Z"), Full: fullInstant(e.At) + ", written " + fullInstant(e.Written),
		Title: e.Kind().Title(), Words: e.Fact.Words(), By: e.By, Strike: at + "/strike/" + id,
	}
	if notes != nil {
		if x, ok := notes.used[id]; ok {
			l.Lead = clock.DialError(x.ErrorS).Words(1.96 * x.SDS)
		}
		if a, ok := notes.aside[id]; ok {
			l.Lead, l.Aside = clock.DialError(a.ErrorS).Words(1.96*a.SDS), a.Reason
		}
	}
	if by, ok := seen.Logbook.StruckOut(e.ID); ok {
		l.Strike = ""
		l.Struck = &strike{By: by.By, When: fullInstant(by.Written), Why: by.Fact.Words()}
	}
	switch f := e.Fact.(type) {
	case chronometer.StruckOut:
		l.refer(seen, f.Entry, at)
	case chronometer.Upheld:
		l.refer(seen, f.Entry, at)
	case chronometer.Photograph:
		if _, ok := pictureTypes[f.Type]; ok {
			l.Picture = "/attachments/" + f.SHA256
		}
	}
	return l
}

// refer names the entry that the line is about.
func (l *line) refer(seen workshop.Seen, id chronometer.ID, at string) {
	if e, ok := seen.Logbook.Entry(id); ok {
		l.about = string(id)
		l.About = &link{e.Kind().Title() + ", " + instant(e.At, seen.Now), at + "?entries=all#e-" + l.about}
	}
}

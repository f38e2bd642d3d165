// Package papers is what the pages of papers show: the papers of an instrument
// with what is missing for each, the certificates issued and whether they hold,
// and what the logbook says of one that is brought to be verified.
package papers

import (
	"context"
	"errors"
	"fmt"
	"net/url"
	"slices"
	"strings"
	"sync"
	"time"

	"timeball/internal/chronometer"
	"timeball/internal/issue"
	"timeball/internal/paper"
	"timeball/internal/web/form"
	"timeball/internal/web/wording"
	"timeball/internal/workshop"
)

// Shelf is the papers of one instrument.
type Shelf struct {
	At      string   // its address
	Issued  []Issued // certificates, the newest first
	Draft   Card     // the certificate as it would be issued now
	Lacking []string // what is missing for it, sentences; none if it can be issued
	Entries int      // how many it would rest on
	Cards   []Card   // the other papers
}

// Card is one paper.
type Card struct {
	Kind           string // as it stands in addresses
	Title, About   string
	Missing        string // what is missing, a sentence; empty if it can be made
	Pages          string // how many it has; empty if it has none to show
	Image          string // address of its first page
	Show           string // address of all its pages
	Files          []File
	Action, Folder string // addresses of its file and of the page, for the form of its options
	Options        []form.Field
}

// File is one file to be had.
type File struct{ Words, Paper, Href string }

// Issued is a certificate that was issued.
type Issued struct {
	Number, When, By, Digest string
	Finding                  string
	Class                    string // of the tag that says so
	Href                     string // of the file as issued; empty if it is withdrawn
	Verify                   string // where the finding stands in full
}

// Place is where a kind of paper stands in addresses, without an ending.
func Place(k issue.Kind) string {
	if k == issue.Certificate {
		return "draft-certificate"
	}
	return string(k)
}

// KindAt returns the kind of Place.
func KindAt(place string) (issue.Kind, bool) {
	for _, k := range issue.Kinds() {
		if Place(k) == place {
			return k, true
		}
	}
	return "", false
}

// New returns the papers of an instrument whose page stands at an address. All
// are made to see whether they can be.
func New(ctx context.Context, desk *issue.Papers, seen workshop.Seen, at string) (Shelf, error) {
	s := Shelf{At: at, Entries: len(seen.Logbook.Ground(seen.Now, seen.Now))}
	number := string(seen.ID)
	kinds := issue.Kinds()
	cards := make([]Card, len(kinds))
	certificates := issuedOf(seen)
	s.Issued = make([]Issued, len(certificates))
	faults := make([]error, len(kinds)+len(certificates)+1)
	var doing sync.WaitGroup
	for n, k := range kinds {
		doing.Go(func() { cards[n], faults[n] = newCard(ctx, desk, k, number, at, seen.Now) })
	}
	for n, e := range certificates {
		doing.Go(func() { s.Issued[n], faults[len(kinds)+n] = newIssued(seen, e, at) })
	}
	doing.Go(func() {
		lacking, err := desk.Lacking(ctx, number)
		for _, l := range lacking {
			s.Lacking = append(s.Lacking, wording.Sentence(l))
		}
		faults[len(faults)-1] = err
	})
	doing.Wait()
	for n, k := range kinds {
		if k == issue.Certificate {
			s.Draft = cards[n]
			continue
		}
		s.Cards = append(s.Cards, cards[n])
	}
	if len(s.Lacking) == 0 && s.Draft.Missing != "" {
		s.Lacking = []string{s.Draft.Missing}
	}
	return s, errors.Join(faults...)
}

// Doubtful reports whether what is missing is said with a ±.
func (s Shelf) Doubtful() bool {
	missing := slices.Clone(s.Lacking)
	for _, c := range s.Cards {
		missing = append(missing, c.Missing)
	}
	return strings.Contains(strings.Join(missing, ""), "±")
}

func newCard(ctx context.Context, desk *issue.Papers, k issue.Kind, number, at string, now time.Time) (Card, error) {
	place := at + "/papers/" + Place(k)
	c := Card{Kind: Place(k), Title: k.Title(), About: wording.Sentence(k.About()), Folder: at + "/papers", Options: options(k, now)}
	made, err := desk.Make(ctx, k, number, issue.Ask{})
	if err != nil {
		var wants bool
		if c.Missing, wants = Missing(err); !wants {
			return c, err
		}
		// The card has said which paper it is.
		if named, rest, ok := strings.Cut(c.Missing, ": "); ok && strings.HasPrefix(named, k.Title()) {
			c.Missing = wording.Upper(rest)
		}
		return c, nil
	}
	if made.Document == nil {
		words := "Calendar file"
		if k == issue.InvoiceLines {
			words = "CSV file"
		}
		c.Files = []File{{Words: words, Href: place + k.Ending()}}
		return c, nil
	}
	c.Action, c.Pages = place+".pdf", wording.Counted(len(made.Document.Leaves), "page", "pages")
	c.Image, c.Show = place+".svg", at+"/papers?show="+Place(k)
	for _, size := range chronometer.Paper("").Choices() {
		c.Files = append(c.Files, File{Words: "PDF, " + size, Paper: size, Href: place + ".pdf?paper=" + size})
	}
	return c, nil
}

// Missing returns what is missing for a paper, a sentence; ok is false if that
// is not why there is none.
func Missing(err error) (words string, ok bool) {
	for _, known := range []error{issue.ErrWanting, paper.ErrWanting} {
		if errors.Is(err, known) {
			text := err.Error()
			if i := strings.LastIndex(text, known.Error()+": "); i >= 0 {
				text = text[i+len(known.Error())+2:]
			}
			return wording.Sentence(text), true
		}
	}
	return "", false
}

// The names of what is asked of a paper.
const (
	sizeField   = "paper"
	fromField   = "from"
	toField     = "to"
	stepField   = "step"
	monthsField = "months"
)

// mostStep and mostMonths bound what is asked of a paper.
const (
	mostStep   = 366
	mostMonths = 24
)

// options returns what can be asked of a kind beyond its size.
func options(k issue.Kind, now time.Time) []form.Field {
	day := func(t time.Time) string { return t.UTC().Format(time.DateOnly) }
	switch k {
	case issue.CorrectionTable:
		return []form.Field{
			{Name: fromField, Label: "From", Shape: "date", Value: day(now)}, {Name: toField, Label: "To", Shape: "date", Value: day(now.AddDate(1, 0, -1))},
			{Name: stepField, Label: "Every", Unit: "days", Shape: form.Whole, Value: "1"},
		}
	case issue.WallForm:
		return []form.Field{
			{Name: fromField, Label: "First month", Shape: "month", Value: now.UTC().Format("2006-01")},
			{Name: monthsField, Label: "Months", Shape: form.Whole, Value: "1"},
		}
	}
	return nil
}

// ErrAsked marks a paper that cannot be made as it was asked for.
var ErrAsked = errors.New("this cannot be made as asked")

// Ask returns what the query of an address asks of a paper, or an error that
// wraps ErrAsked.
func Ask(q url.Values) (issue.Ask, error) {
	var ask issue.Ask
	if size := q.Get(sizeField); size != "" {
		ask.Paper = chronometer.Paper(size)
		if !slices.Contains(ask.Paper.Choices(), size) {
			return ask, fmt.Errorf("%w: %.40q is no size of paper here; choose A4 or Letter", ErrAsked, size)
		}
	}
	var err error
	if ask.From, err = dayOf(q.Get(fromField)); err != nil {
		return ask, err
	}
	if ask.To, err = dayOf(q.Get(toField)); err != nil {
		return ask, err
	}
	if ask.Step, err = whole(q.Get(stepField), "days", mostStep); err != nil {
		return ask, err
	}
	ask.Months, err = whole(q.Get(monthsField), "months", mostMonths)
	return ask, err
}

func dayOf(text string) (time.Time, error) {
	text = strings.TrimSpace(text)
	if text == "" {
		return time.Time{}, nil
	}
	for _, layout := range []string{time.DateOnly, "2006-01"} {
		if day, err := time.Parse(layout, text); err == nil && day.Year() > 1000 {
			return day, nil
		}
	}
	return time.Time{}, fmt.Errorf("%w: %.40q is no day; write it as 2027-03-04", ErrAsked, text)
}

func whole(text, of string, most float64) (int, error) {
	if strings.TrimSpace(text) == "" {
		return 0, nil
	}
	v, err := form.ParseNumber(text)
	if err != nil || v < 1 || v > most || v != float64(int(v)) {
		return 0, fmt.Errorf("%w: %.40q is no number of %s; write a whole one from 1 to %.0f", ErrAsked, text, of, most)
	}
	return int(v), nil
}

// issuedOf returns the entries by which certificates were issued, the newest
// first.
func issuedOf(seen workshop.Seen) []chronometer.Entry {
	var all []chronometer.Entry
	for _, e := range slices.Backward(seen.Logbook.Entries()) {
		if e.Kind() == chronometer.KindCertified {
			all = append(all, e)
		}
	}
	return all
}

func newIssued(seen workshop.Seen, e chronometer.Entry, at string) (Issued, error) {
	c := e.Fact.(chronometer.Certified)
	i := Issued{
		Number: c.Certificate, When: wording.Day(e.At, seen.Now), By: e.By, Digest: Short(c.Digest), Verify: "/verify?digest=" + c.Digest,
		Href: at + "/papers/certificate-" + url.PathEscape(c.Certificate) + ".pdf",
	}
	// Two certificates may rest on the same entries; only this one is struck out.
	if _, out := seen.Logbook.StruckOut(e.ID); out {
		i.Finding, i.Class, i.Href = string(issue.Withdrawn), class(issue.Withdrawn), ""
		return i, nil
	}
	v, err := issue.VerifyEntry(seen.Logbook, e.ID)
	if err != nil {
		return i, err
	}
	i.Finding, i.Class = string(v.Finding), class(v.Finding)
	return i, nil
}

// Short returns the first digits of a digest, in groups of four.
func Short(digest string) string {
	var groups []string
	for n := 0; n+4 <= len(digest) && n < 12; n += 4 {
		groups = append(groups, digest[n:n+4])
	}
	return strings.Join(groups, " ")
}

// class returns how the tag of a finding looks.
func class(f issue.Finding) string {
	switch f {
	case issue.Holds:
		return ""
	case issue.Withdrawn, issue.NotOurs:
		return "alarm"
	}
	return "warn"
}

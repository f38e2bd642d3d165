package issue

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"strings"
	"time"
	"unicode"

	"timeball/internal/paper"
	"timeball/internal/paper/leaf"
)

// Made is a paper as a file.
type Made struct {
	Name     string // of the file
	Type     string // media type
	Content  []byte
	Document *leaf.Document // for a preview; nil for a calendar and for lines of an invoice
}

// FileName returns words joined by dashes: letters of any script, digits,
// dashes and points, which every file system takes.
func FileName(words ...string) string {
	name := strings.Map(func(r rune) rune {
		switch {
		case unicode.IsLetter(r), unicode.IsDigit(r), r == '-', r == '.':
			return r
		}
		return '-'
	}, strings.Join(words, "-"))
	return strings.Trim(name, ".-")
}

// Make makes a paper of an instrument as it stands now. A certificate is made
// as a draft; an issued one is had from Again. What is missing is an error that
// wraps ErrWanting.
func (p *Papers) Make(ctx context.Context, kind Kind, number string, ask Ask) (Made, error) {
	s, err := p.subject(ctx, number)
	if err != nil {
		return Made{}, err
	}
	if err := wanting(strings.ToLower(kind.Title())+" of no. "+s.seen.Instrument.Number, s.housed()); err != nil {
		return Made{}, err
	}
	m := Made{Name: FileName(string(kind), s.seen.Instrument.Number) + ".pdf", Type: "application/pdf"}
	switch kind {
	case Certificate:
		m.Name = FileName("draft", "certificate", s.seen.Instrument.Number) + ".pdf"
		m.Document, err = p.Draft(ctx, number, ask.Paper)
	case RateSheet:
		m.Document, err = s.rateSheet(ask)
	case OwnerSheet:
		m.Document, err = s.ownerSheet(ask)
	case CorrectionTable:
		m.Document, err = s.correctionTable(ask)
	case WallForm:
		m.Document, err = s.wallForm(ask)
	case Estimate:
		m.Document, err = s.estimate(ask)
	case ServiceReport:
		m.Document, err = s.serviceReport(ask)
	case PreparingSheet:
		m.Document, err = s.preparingSheet(ask)
	case InvoiceLines:
		return p.Invoice(ctx, number)
	case Calendar:
		m.Name, m.Type = FileName(string(kind), s.seen.Instrument.Number)+".ics", "text/calendar; charset=utf-8"
		m.Content, err = s.calendar(ask)
		return m, err
	default:
		return Made{}, fmt.Errorf("%w: there is no paper %q", ErrWanting, kind)
	}
	if errors.Is(err, paper.ErrWanting) && !errors.Is(err, ErrWanting) {
		err = fmt.Errorf("%w: %w", ErrWanting, err)
	}
	if err != nil {
		return Made{}, err
	}
	var b bytes.Buffer
	err = m.Document.PDF(&b)
	m.Content = b.Bytes()
	return m, err
}

// from returns the first day that was asked for, else today.
func (s subject) from(ask Ask) time.Time {
	if !ask.From.IsZero() {
		return ask.From
	}
	return s.seen.Now.UTC().Truncate(24 * time.Hour)
}

// Package issue makes the papers of an instrument from its logbook, issues
// certificates and says later whether the logbook still gives what they state.
//
// A paper is computed every time it is asked for; only a certificate that was
// issued is kept, as the file that was signed and as an entry with its figures
// and the digest of the entries they rest on.
package issue

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"time"

	"timeball/internal/chronometer"
	"timeball/internal/paper"
	"timeball/internal/paper/leaf"
	"timeball/internal/workshop"
)

// ErrWanting marks a paper for which something is missing; the text says what.
var ErrWanting = errors.New("the paper cannot be made yet")

// Kind is a kind of paper, as it is named in commands and addresses.
type Kind string

// The kinds of paper.
const (
	Certificate     Kind = "certificate"
	RateSheet       Kind = "rate-sheet"
	OwnerSheet      Kind = "owner-sheet"
	CorrectionTable Kind = "correction-table"
	Calendar        Kind = "calendar"
	WallForm        Kind = "wall-form"
	Estimate        Kind = "estimate"
	ServiceReport   Kind = "service-report"
	InvoiceLines    Kind = "invoice-lines"
	PreparingSheet  Kind = "preparing-sheet"
)

// Kinds returns the kinds of paper in the order in which a page offers them.
func Kinds() []Kind {
	return []Kind{Certificate, RateSheet, OwnerSheet, CorrectionTable, Calendar, WallForm, Estimate, ServiceReport, InvoiceLines, PreparingSheet}
}

var abouts = map[Kind][2]string{
	Certificate:     {"Certificate", "rate, steadiness and trial, signed, with the digest of what they rest on"},
	RateSheet:       {"Rate sheet", "every daily rate of the trial, or of the last weeks"},
	OwnerSheet:      {"Owner's sheet", "one page: start, wind, read, move the minute hand, when to write to us"},
	CorrectionTable: {"Correction table", "what to add to the dial, day by day, with the doubt growing"},
	Calendar:        {"Calendar", "winding, hand moves, comparisons and service, for the owner's calendar"},
	WallForm:        {"Comparison form", "a ruled form for the wall, a month to a page"},
	Estimate:        {"Estimate", "the work of the job and what it costs, for the owner to agree to"},
	ServiceReport:   {"Service report", "what was found and done in the last job, its cost, and the rate before and after"},
	InvoiceLines:    {"Invoice lines", "every piece of work with hours and cost, as a table for whoever writes the invoice"},
	PreparingSheet:  {"Preparing sheet", "the steps of preparing and packing it, in their order, with drawings"},
}

// Title returns the kind in words.
func (k Kind) Title() string { return abouts[k][0] }

// About returns what the paper is for, as a phrase.
func (k Kind) About() string { return abouts[k][1] }

// Ending returns how the file of a kind ends: ".pdf", ".ics" or ".csv".
func (k Kind) Ending() string {
	switch k {
	case Calendar:
		return ".ics"
	case InvoiceLines:
		return ".csv"
	}
	return ".pdf"
}

// ParseKind returns the kind of a word, or an error that names them all.
func ParseKind(word string) (Kind, error) {
	var names []string
	for _, k := range Kinds() {
		if strings.EqualFold(word, string(k)) {
			return k, nil
		}
		names = append(names, string(k))
	}
	return "", fmt.Errorf("there is no paper %.40q; write one of: %s", word, strings.Join(names, ", "))
}

// Ask says how a paper is wanted.
type Ask struct {
	Paper    chronometer.Paper // empty: the owner's, or the workshop's
	From, To time.Time         // of a correction table, and the first month of a form; zero: a year from now
	Step     int               // days between the lines of a correction table; 0: 1
	Months   int               // of comparison forms; 0: 1
}

// Papers makes the papers of a workshop.
type Papers struct{ workshop *workshop.Workshop }

// New returns the papers of a workshop.
func New(w *workshop.Workshop) *Papers { return &Papers{w} }

// subject is what every paper is about.
type subject struct {
	seen  workshop.Seen
	house chronometer.House
}

func (p *Papers) subject(ctx context.Context, number string) (subject, error) {
	seen, err := p.workshop.See(ctx, number)
	if err != nil {
		return subject{}, err
	}
	house, err := p.workshop.House(ctx)
	return subject{seen, house.House}, err
}

// size returns the size of paper asked for, else the owner's, else the workshop's.
func (s subject) size(asked chronometer.Paper) chronometer.Paper {
	switch {
	case asked != "":
		return asked
	case s.seen.Owner != nil && s.seen.Owner.Owner.Paper != "":
		return s.seen.Owner.Owner.Paper
	case s.house.Paper != "":
		return s.house.Paper
	}
	return chronometer.PaperA4
}

func sizeOf(p chronometer.Paper) leaf.Size {
	if p == chronometer.PaperLetter {
		return leaf.Letter
	}
	return leaf.A4
}

func (s subject) letterhead() paper.Letterhead {
	return paper.Letterhead{Workshop: s.house.Name, Place: s.house.Place, Keeper: s.house.Keeper, Lines: s.house.Lines()}
}

func (s subject) instrument() paper.Instrument {
	i := s.seen.Instrument
	p := paper.Instrument{Number: i.Number, Maker: i.Maker, Description: i.Describe()}
	if s.seen.Owner != nil {
		p.Owner, p.OwnerPlace = s.seen.Owner.Owner.Name, s.seen.Owner.Owner.Place
	}
	return p
}

// wanting joins what is missing to one sentence.
func wanting(what string, missing []string) error {
	if len(missing) == 0 {
		return nil
	}
	return fmt.Errorf("%w: %s: %s", ErrWanting, what, strings.Join(missing, "; "))
}

// housed returns what of the workshop's particulars is missing on papers.
func (s subject) housed() []string {
	if s.house.Name == "" {
		return []string{"the workshop has no name; write its particulars on the page of the workshop"}
	}
	return nil
}

// Package paper sets the papers that leave the workshop: the certificate, the
// rate sheet, the owner's sheet, the correction table and the wall form.
//
// A paper is a struct of plain figures; its Document method sets it. Errors
// are dial minus UTC in seconds, positive fast, rates are seconds a day,
// positive gaining; papers say them in words, and every ± is half the 95%
// interval.
package paper

import (
	"unicode"
	"unicode/utf8"

	"timeball/internal/clock"
	"timeball/internal/paper/leaf"
)

// Quantity is an estimate with half its 95% interval, in the same unit.
type Quantity struct {
	Mean float64 `json:"mean"`
	Half float64 `json:"half95"`
}

// Range is an estimate whose 95% interval, Lo to Hi, need not lie evenly about it.
type Range struct {
	Mean float64 `json:"mean"`
	Lo   float64 `json:"lo95"`
	Hi   float64 `json:"hi95"`
}

// Letterhead is who issues a paper.
type Letterhead struct {
	Workshop string   // such as "Lantern Quay"
	Place    string   // such as "Port of Skerrow"
	Keeper   string   // who signs
	Lines    []string // address, telephone and the like, as they are to be printed
}

// Instrument is what a paper is about.
type Instrument struct {
	Number      string // as engraved; text, for it has letters and leading noughts
	Maker       string
	Description string // such as "box chronometer, two days, half-second beat"
	Owner       string
	OwnerPlace  string
}

// Named returns "No. 417, Corvane & Dray, Skerrow".
func (i Instrument) Named() string {
	if i.Maker == "" {
		return "No. " + i.Number
	}
	return "No. " + i.Number + ", " + i.Maker
}

// Of returns "Signe Vandrell, Hollin Harbour", or the one that is known.
func (i Instrument) Of() string { return joined(", ", i.Owner, i.OwnerPlace) }

// ErrorWords returns a dial error with its doubt: "fast 12.9 s ±0.2".
func (q Quantity) ErrorWords() string {
	e := clock.DialError(q.Mean)
	return e.Words(q.Half) + " " + e.HalfWidth(q.Half)
}

// RateWords returns a daily rate with its doubt: "losing 0.83 s ±0.03 a day".
func (q Quantity) RateWords() string {
	r := clock.Rate(q.Mean)
	return r.Words(q.Half) + " " + r.HalfWidth(q.Half) + " a day"
}

// Sizes are the sizes of paper that papers are set for.
var Sizes = []leaf.Size{leaf.A4, leaf.Letter}

// joined returns the parts that are not empty with sep between them.
func joined(sep string, parts ...string) string {
	out := ""
	for _, p := range parts {
		switch {
		case p == "":
		case out == "":
			out = p
		default:
			out += sep + p
		}
	}
	return out
}

// ErrorFact returns a dial error for a panel, its words large and its doubt below.
func (q Quantity) ErrorFact() leaf.Fact {
	e := clock.DialError(q.Mean)
	return leaf.Fact{Words: e.Words(q.Half), After: e.HalfWidth(q.Half)}
}

// RateFact returns a daily rate for a panel, its words large and its doubt below.
func (q Quantity) RateFact() leaf.Fact {
	r := clock.Rate(q.Mean)
	return leaf.Fact{Words: r.Words(q.Half), After: r.HalfWidth(q.Half) + " a day"}
}

// upperFirst returns words with a capital first letter.
func upperFirst(words string) string {
	r, n := utf8.DecodeRuneInString(words)
	if n == 0 {
		return words
	}
	return string(unicode.ToUpper(r)) + words[n:]
}

package papers

import (
	"fmt"
	"regexp"
	"strconv"
	"time"

	"timeball/internal/chronometer"
	"timeball/internal/clock"
	"timeball/internal/issue"
	"timeball/internal/timescale"
	"timeball/internal/web/wording"
)

// Finding is what the logbook says of a certificate that was brought.
type Finding struct {
	Tag, Class   string
	Words        string
	File         string // whether the file is the one that was issued
	Changes      []string
	Number       string // of the certificate; empty if it is not known
	Instrument   string
	Issued, By   string
	Digest       string
	Rows         []Row // what it states against what the logbook gives now
	NothingNow   bool  // the logbook gives no rating any more
	SameFigures  bool
	PapersNumber string // of the instrument, for the address of its papers
}

// Row is one figure as it was stated and as it is now.
type Row struct {
	Label, Stated, Now string
	Changed            bool
}

// NewFinding returns the finding in words.
func NewFinding(v issue.Verified, now time.Time) Finding {
	f := Finding{Tag: string(v.Finding), Class: class(v.Finding), Words: v.Words}
	switch v.Finding {
	case issue.NotOurs:
		return f
	case issue.Otherwise:
		f.Tag = "other figures"
	}
	if v.SameFile != nil && *v.SameFile {
		f.File = "The file is, byte for byte, the one that was issued."
	}
	for _, c := range v.Changes {
		f.Changes = append(f.Changes, wording.Sentence(c))
	}
	c := v.Certificate
	f.Number, f.Instrument, f.PapersNumber = c.Certificate, "No. "+v.Instrument.Number+wording.After(", ", v.Instrument.Maker), v.Instrument.Number
	f.Issued, f.By, f.Digest = wording.FullInstant(v.Entry.At), v.Entry.By, c.Digest
	f.NothingNow = v.Now == nil
	f.Rows = rows(c.Figures, v.Now)
	f.SameFigures = !f.NothingNow
	for _, r := range f.Rows {
		f.SameFigures = f.SameFigures && !r.Changed
	}
	return f
}

// rows sets what was stated beside what the logbook gives now.
func rows(was chronometer.Stated, is *chronometer.Stated) []Row {
	var all []Row
	add := func(label string, say func(chronometer.Stated) string) {
		r := Row{Label: label, Stated: say(was)}
		if is != nil {
			r.Now = say(*is)
			r.Changed = r.Now != r.Stated
		}
		if r.Stated != "" || r.Now != "" {
			all = append(all, r)
		}
	}
	add("Last comparison used", func(s chronometer.Stated) string {
		at, err := timescale.Parse(s.Epoch)
		if err != nil {
			return s.Epoch
		}
		return at.UTC().Format("2 January 2006 15:04 UTC")
	})
	add("Error then", func(s chronometer.Stated) string {
		e := clock.DialError(s.ErrorS)
		return e.Words(1.96*s.ErrorSDS) + " " + e.HalfWidth(1.96*s.ErrorSDS)
	})
	add("Rate, a day", func(s chronometer.Stated) string {
		r := clock.Rate(s.Rate)
		return r.Words(1.96*s.RateSD) + " " + r.HalfWidth(1.96*s.RateSD)
	})
	add("Steadiness, week to week", func(s chronometer.Stated) string {
		r := clock.Rate(s.Steadiness)
		return r.Size(1.96*s.SteadinessSD) + " a day " + r.HalfWidth(1.96*s.SteadinessSD)
	})
	add("Trial", func(s chronometer.Stated) string { return s.Verdict })
	names := map[string]bool{}
	both := append([]chronometer.StatedFigure{}, was.Criteria...)
	if is != nil {
		both = append(both, is.Criteria...)
	}
	for _, c := range both {
		if names[c.Name] {
			continue
		}
		names[c.Name] = true
		add(c.Name, func(s chronometer.Stated) string { return criterion(s, c.Name) })
	}
	return all
}

// criterion returns what one criterion came to, or nothing. Its unit is that of
// the programme.
func criterion(s chronometer.Stated, name string) string {
	for _, c := range s.Criteria {
		if c.Name == name {
			decimals := 2
			if 1.96*c.SD >= 0.995 {
				decimals = 1
			}
			return fmt.Sprintf("%s ±%s", strconv.FormatFloat(c.Value, 'f', decimals, 64), strconv.FormatFloat(max(1.96*c.SD, 0.01), 'f', decimals, 64))
		}
	}
	return ""
}

// codePattern is what the square code of a certificate says.
var codePattern = regexp.MustCompile(`sha256:\s*([0-9a-fA-F]{12,64})`)

// Digest returns the digest in what was typed: the digits themselves, or what
// the square code of a certificate says.
func Digest(typed string) string {
	if m := codePattern.FindStringSubmatch(typed); m != nil {
		return m[1]
	}
	return typed
}

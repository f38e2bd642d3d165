package chronometer

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"time"

	"timeball/internal/timescale"
)

// Certified says that a certificate was issued at Entry.At: its number, the
// figures it states, and the digest of the entries that they rest on.
type Certified struct {
	Certificate string `json:"certificate" label:"Certificate" need:"yes"`
	Trial       ID     `json:"trial,omitempty" label:"Trial" hint:"the entry that began it"`
	Until       string `json:"until" label:"Rests on entries up to" need:"yes"` // RFC 3339
	Digest      string `json:"digest" label:"Digest of the entries" need:"yes"`
	Entries     int    `json:"entries" label:"Entries" need:"yes"`
	Figures     Stated `json:"figures" asked:"no"`
	PDF         string `json:"pdf_sha256" label:"The certificate as issued" need:"yes"`
	Paper       Paper  `json:"paper" label:"Paper" need:"yes"`
}

// Stated is the figures that a certificate states.
type Stated struct {
	Epoch        string         `json:"epoch"` // RFC 3339
	ErrorS       float64        `json:"error_s"`
	ErrorSDS     float64        `json:"error_sd_s"`
	Rate         float64        `json:"rate_s_per_day"`
	RateSD       float64        `json:"rate_sd_s_per_day"`
	Steadiness   float64        `json:"steadiness_s_per_day"`
	SteadinessSD float64        `json:"steadiness_sd_s_per_day"`
	Verdict      string         `json:"verdict,omitempty"`
	Criteria     []StatedFigure `json:"criteria,omitempty"`
}

// StatedFigure is what one criterion of a trial came to.
type StatedFigure struct {
	Name  string  `json:"name"`
	Value float64 `json:"value"`
	SD    float64 `json:"value_sd"`
	Unit  string  `json:"unit,omitempty"`
}

// Kind returns KindCertified.
func (Certified) Kind() Kind { return KindCertified }

// Words returns the number and the beginning of the digest.
func (c Certified) Words() string {
	return phrase("No. "+c.Certificate, "digest "+short12(c.Digest), fmt.Sprintf("%d entries", c.Entries))
}

func short12(s string) string {
	if len(s) > 12 {
		return s[:12] + "…"
	}
	return s
}

// At returns the instant up to which the entries count.
func (c Certified) At() (time.Time, error) { return timescale.Parse(c.Until) }

func (c Certified) check() error {
	if _, err := timescale.Parse(c.Until); err != nil {
		return fmt.Errorf("until: %w", err)
	}
	for field, sum := range map[string]string{"digest": c.Digest, "pdf_sha256": c.PDF} {
		if !isSHA256(sum) {
			return fmt.Errorf("%s %.70q is not 64 hexadecimal digits", field, sum)
		}
	}
	if c.Trial != "" {
		if _, err := ParseID(string(c.Trial)); err != nil {
			return fmt.Errorf("trial: %w", err)
		}
	}
	return first(need("certificate", c.Certificate, "write its number"), line("certificate", c.Certificate), oneOf("paper", c.Paper, Paper("").Choices()),
		within("entries", float64(c.Entries), 1, 1e7, ""))
}

// bears reports whether entries of a kind bear on error, rate and trial.
func (k Kind) bears() bool {
	switch k {
	case KindCompared, KindWound, KindStarted, KindStopped, KindMoved, KindSet, KindRegulated, KindPlaced, KindTemperature, KindHeld,
		KindReleased, KindWorkDone, KindReceived, KindCarried, KindUpheld, KindTrialBegun, KindTrialEnded:
		return true
	}
	return false
}

// Ground returns the entries that figures at the instant until rest on: those
// that bear on error, rate and trial, stand, and happened by then, and the
// particulars of the instrument as they had been written by the instant
// written.
func (b Logbook) Ground(until, written time.Time) []Entry {
	var ground []Entry
	var particulars Entry
	for _, e := range b.Standing() {
		switch {
		case e.Kind() == KindEntered:
			if !e.Written.After(written) && e.ID > particulars.ID {
				particulars = e
			}
		case e.Kind() == KindUpheld:
			if u, ok := b.Entry(e.Fact.(Upheld).Entry); ok && !u.At.After(until) {
				ground = append(ground, e)
			}
		case e.Kind().bears() && !e.At.After(until):
			ground = append(ground, e)
		}
	}
	if particulars.ID != "" {
		ground = append(ground, particulars)
	}
	return ground
}

// Digest returns the SHA-256, in hexadecimal digits, of entries as they stand in
// an export, one JSON object a line, in the order of their IDs.
func Digest(entries []Entry) (string, error) {
	sorted := byID(entries)
	sum := sha256.New()
	for _, e := range sorted {
		text, err := e.MarshalJSON()
		if err != nil {
			return "", err
		}
		sum.Write(append(text, '\n'))
	}
	return hex.EncodeToString(sum.Sum(nil)), nil
}

package paper_test

import (
	"errors"
	"strings"
	"testing"
	"time"

	"timeball/internal/paper"
	"timeball/internal/paper/leaf"
)

func onDay(month time.Month, day int) time.Time {
	return time.Date(2027, month, day, 10, 0, 0, 0, time.UTC)
}

func estimate(size leaf.Size) paper.Estimate {
	return paper.Estimate{
		Size: size, Made: onDay(3, 3), Letterhead: lanternQuay, Instrument: no417, Reach: "R. Halvane, keeper@lanternquay.example",
		Asked: []paper.Noted{{On: onDay(2, 20), Words: "It gains more every month; asked for by Signe Vandrell"}},
		Found: []paper.Noted{
			{On: onDay(3, 1), Words: "Oil dry and green in the train; one pivot of the fourth wheel worn to a ridge."},
			{On: onDay(3, 2), Words: "Detent spring sound under the glass, no rust on the balance spring."},
		},
		Work: "Take apart, clean and oil; polish the pivot of the fourth wheel and fit a new hole; set going and rate for four weeks.", Hours: 12.5,
		Cost: paper.Amount{Sum: "1250.00", Currency: "EUR"}, Until: onDay(4, 30), Note: "If the pivot does not polish out, a new arbor is another estimate.",
	}
}

// pages fails unless a document has at most so many leaves, and no letter that
// no face has.
func fewLeaves(t *testing.T, d *leaf.Document, err error, most int) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
	if len(d.Leaves) > most || len(d.Missing()) > 0 {
		t.Errorf("%s: %d leaves, want at most %d; %v", d.Title, len(d.Leaves), most, d.Missing())
	}
}

func TestEstimate(t *testing.T) {
	for _, size := range leaves {
		d, err := estimate(size).Document()
		fewLeaves(t, d, err, 2)
		golden(t, "estimate-"+size.Name, d)
	}
}

// TestEstimateAgreed: who has agreed is not asked to sign, and the most that
// the work may cost is what was agreed, or else what was estimated.
func TestEstimateAgreed(t *testing.T) {
	e := estimate(leaf.A4)
	e.Agreed = paper.Agreement{By: "Signe Vandrell", On: onDay(3, 5), Note: "in writing"}
	for sum, says := range map[string]string{"": "at most 1250.00 EUR", "1400.00": "at most 1400.00 EUR"} {
		if e.Agreed.UpTo = (paper.Amount{}); sum != "" {
			e.Agreed.UpTo = paper.Amount{Sum: sum, Currency: "EUR"}
		}
		d, err := e.Document()
		fewLeaves(t, d, err, 2)
		words := squeezed(text(t, d))
		if want := "On 5 March 2027 by Signe Vandrell, in writing: " + says + "."; !strings.Contains(words, want) || strings.Contains(words, "Name and signature") {
			t.Errorf("want %q: %s", want, words)
		}
	}
}

// TestEstimateUnexamined: what was not examined is said to be so, and an
// estimate without an end holds until it is taken back.
func TestEstimateUnexamined(t *testing.T) {
	e := estimate(leaf.Letter)
	e.Asked, e.Found, e.Until, e.Hours, e.Note, e.Reach = nil, nil, time.Time{}, 0, "", ""
	d, err := e.Document()
	fewLeaves(t, d, err, 1)
	words := squeezed(text(t, d))
	for _, says := range []string{"It has not been examined yet.", "until taken back", "insurance in writing", "follow your local rules and a licensed person"} {
		if !strings.Contains(words, says) {
			t.Errorf("it does not say %q: %s", says, words)
		}
	}
	if strings.Contains(words, "0 h") || strings.Contains(words, "asked for") {
		t.Errorf("it speaks of what is not known: %s", words)
	}
}

func TestJobPapersNames(t *testing.T) {
	for _, name := range []string{"Þórður Æsir Ísafjarðarson", "Ελένη Παπαδημητρίου, Πειραιεύς", wide, strings.Repeat("Ψ", 60)} {
		for _, size := range leaves {
			e := estimate(size)
			e.Instrument.Number, e.Instrument.Maker, e.Instrument.Owner, e.Reach, e.Work = name, name, name, name, name
			e.Asked[0].Words = name
			d, err := e.Document()
			fewLeaves(t, d, err, 2)
			r := report(size)
			r.Instrument.Number, r.Instrument.Maker, r.Instrument.Owner = name, name, name
			r.Work[0].Parts, r.Work[0].Measurements, r.Received.Words = name, strings.Repeat(name, 4), name
			s, err := r.Document()
			fewLeaves(t, s, err, 2)
			for _, d := range []*leaf.Document{d, s} {
				first, _, _ := strings.Cut(name, " ")
				if words := squeezed(text(t, d)); !strings.Contains(words, first[:len(first)/4*2]) {
					t.Errorf("%q is not on %s: %s", name, d.Title, words)
				}
			}
		}
	}
}

func TestEstimateRefuses(t *testing.T) {
	for _, c := range []struct {
		change func(*paper.Estimate)
		says   string
	}{
		{func(e *paper.Estimate) { e.Work = " " }, "the estimate needs the work that is meant;"},
		{func(e *paper.Estimate) { e.Cost = paper.Amount{} }, "the cost, the currency"},
		{func(e *paper.Estimate) { e.Made = time.Time{} }, "the day it is made"},
		{func(e *paper.Estimate) { e.Letterhead.Workshop, e.Instrument.Number = "", "" }, "the name of the workshop, the number of the instrument"},
	} {
		e := estimate(leaf.A4)
		c.change(&e)
		if _, err := e.Document(); !errors.Is(err, paper.ErrWanting) || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%v, want %q", err, c.says)
		}
	}
}

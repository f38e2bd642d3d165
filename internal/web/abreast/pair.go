package abreast

import (
	"fmt"
	"html/template"
	"slices"
	"strings"
	"time"

	"timeball/internal/adjust"
	"timeball/internal/chart"
	"timeball/internal/clock"
	"timeball/internal/together"
	"timeball/internal/web/drawing"
	"timeball/internal/web/wording"
	"timeball/internal/workshop"
)

// fortnight is how far back the table of a pair goes.
const fortnight = 14 * clock.Day

// newPair returns the nth pair: how a stands to b in the rounds of both.
func newPair(n int, t adjust.Together, a, b workshop.Seen) Pair {
	now := a.Now
	p := Pair{ID: fmt.Sprintf("pair-%d", n), First: n == 1, A: a.Instrument.Number, B: b.Instrument.Number}
	d, err := together.Between(t.Book, p.A, p.B)
	if err != nil || len(d.Points) == 0 {
		p.Words = "They were never compared in one round."
		return p
	}
	var marks []chart.Intervention
	for _, c := range t.Result.Changes {
		if c.Verdict == together.Accused && c.Kind != together.Reading && (c.Name == p.A || c.Name == p.B) {
			marks = append(marks, chart.Intervention{At: c.At, Words: "no. " + c.Name + " changed"})
		}
	}
	last := d.Points[len(d.Points)-1]
	p.Words = wording.Upper(wording.Counted(len(d.Points), "round", "rounds")) + " in common, the last on " + wording.Instant(last.At, now) + ". What hands were moved by is taken off."
	errors := chart.ErrorCurve{Interventions: marks, Today: now, Against: "no. " + p.B}
	errors.Caption = chart.Caption{ID: p.ID, Title: "No. " + p.A + " on No. " + p.B + ", difference of the dials", Result: wording.Sentence(differ(p.A, p.B, last.DifferenceS, z95*last.DifferenceSD) + " on " + wording.Day(last.At, now))}
	rates := chart.RateCurve{Interventions: marks, Today: now}
	rates.Caption = chart.Caption{ID: p.ID + "-rate", Title: "No. " + p.A + " on No. " + p.B + ", difference of the rates"}
	for _, x := range d.Points {
		half := z95 * x.DifferenceSD
		errors.Comparisons = append(errors.Comparisons, chart.Comparison{At: x.At, Value: x.DifferenceS, PlusMinus: half,
			Words: wording.Instant(x.At, now) + " · " + errorFigure(x.DifferenceS, half).String()})
		if x.First != nil {
			rate := rateFigure(x.First.RateSPerDay, z95*x.First.RateSD)
			rates.Measured = append(rates.Measured, chart.Comparison{At: x.At.Add(-time.Duration(x.First.Days * float64(clock.Day) / 2)), Value: x.First.RateSPerDay, PlusMinus: z95 * x.First.RateSD,
				Words: wording.Instant(x.At, now) + " · " + rate.String() + " a day since the round before"})
			rates.Result = wording.Sentence("At the last round it was " + rate.String() + " a day since the one before")
		}
	}
	p.Curves = append(p.Curves, newCurve(errors.Caption, "Difference of the dials", "Each round is a circle: up is fast on it, down slow.", errors))
	if len(rates.Measured) > 1 {
		p.Curves = append(p.Curves, newCurve(rates.Caption, "Difference of the rates", "From each round to the next: up is gaining on it, down losing.", rates))
	}
	for _, x := range slices.Backward(d.Points) {
		if last.At.Sub(x.At) > fortnight {
			break
		}
		p.Lines = append(p.Lines, newLine(x, now))
	}
	return p
}

func newLine(x together.Point, now time.Time) Line {
	l := Line{When: wording.Instant(x.At, now), Difference: errorFigure(x.DifferenceS, z95*x.DifferenceSD).String()}
	if x.First != nil {
		l.First = rateFigure(x.First.RateSPerDay, z95*x.First.RateSD).String()
	}
	if x.Second != nil {
		l.Second = more(x.Second.ChangeSPerDay, z95*x.Second.ChangeSD)
	}
	return l
}

// more says by how much a rate altered: "gained 0.12 s more ±0.30".
func more(perDay, half float64) string {
	verb := "gained"
	if perDay < 0 {
		verb = "lost"
	}
	r := clock.Rate(perDay)
	return verb + " " + r.Size(half) + " more " + r.HalfWidth(half)
}

// half is a drawing that takes half the width of a page.
var half = chart.Size{Name: "wide", Width: 560, Height: 260, Type: 11}

func newCurve(c chart.Caption, title, about string, d interface{ Figure(chart.Size) chart.Figure }) drawing.Curve {
	wide := d.Figure(half)
	return drawing.Curve{ID: c.ID, Title: title, About: about, Table: wide.Table(),
		// The chart has escaped its words.
		Wide: template.HTML(wide.SVG()), Narrow: template.HTML(d.Figure(chart.Narrow()).SVG())}
}

// Change is one change that the differences show.
type Change struct {
	Words, When string
	Verdict     string
	Accused     bool
	Suspects    []Suspect
}

// Suspect is what one instrument would have done, if it was the one.
type Suspect struct{ Number, Would, Others string }

func newChange(c together.Change, now time.Time) Change {
	out := Change{Words: c.Words, Verdict: string(c.Verdict), Accused: c.Verdict == together.Accused}
	out.When = wording.Upper(wording.ByChance(c.Chance)) + ", looking everywhere."
	if !wording.SameDay(c.From, c.To) {
		out.When = "It happened between " + wording.Day(c.From, now) + " and " + wording.Day(c.To, now) + ", 19 times in 20. " + out.When
	}
	for _, s := range c.Suspects {
		row := Suspect{Number: s.Name, Would: would(c.Kind, s), Others: "they still disagree without it"}
		switch {
		case s.RestDF == 0:
			row.Others = "there are no others to ask"
		case s.Quiet:
			row.Others = "they agree without it"
		}
		out.Suspects = append(out.Suspects, row)
	}
	return out
}

// would says what a suspect would have done: "gained 0.52 s more ±0.11 a day",
// "went on by 3.1 s ±0.2".
func would(k together.Kind, s together.Suspect) string {
	half := (s.Hi95 - s.Lo95) / 2
	if k == together.RateChange {
		return more(s.Change, half) + " a day"
	}
	f := errorFigure(s.Change, half)
	size := strings.TrimSpace(f.Size()) + " " + f.PlusMinus
	switch {
	case k == together.Reading && s.Change < 0:
		return "was read slow by " + size
	case k == together.Reading:
		return "was read fast by " + size
	case s.Change < 0:
		return "fell back by " + size
	}
	return "went on by " + size
}

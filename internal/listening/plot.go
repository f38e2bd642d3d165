package listening

import (
	"math"

	"timeball/internal/chart/heard"
)

// Line returns the beats about their line, as a drawing.
func (h Hearing) Line() heard.Line {
	l := heard.Line{}
	for _, s := range h.Strokes {
		l.Beats = append(l.Beats, heard.Residual{AtS: s.AtS - h.FromS, EarlyS: -s.LateS, SetAside: !s.Used})
	}
	for _, g := range h.Gaps {
		l.Breaks = append(l.Breaks, heard.Break{AtS: g.AtS, Words: g.Words()})
	}
	return l
}

// Beat returns the folded beat as a drawing.
func (h Hearing) Beat() heard.Beat {
	b := heard.Beat{PeriodS: h.PeriodS, InDB: true, Lever: h.LoudBeats == 2}
	low := math.Inf(1)
	for _, p := range h.Profile {
		if p > 0 {
			low = math.Min(low, p)
		}
	}
	if math.IsInf(low, 1) {
		return b
	}
	for _, p := range h.Profile {
		b.Level = append(b.Level, 10*math.Log10(math.Max(p, low)))
	}
	place := func(s float64) *float64 {
		if s <= 0 {
			return nil
		}
		return &s
	}
	b.UnlockingS, b.DropS, b.ReturnS = place(h.Places.UnlockS), place(h.Places.DropS), place(h.Places.TickS)
	if h.Amplitude > 0 {
		b.Amplitude = &heard.Angle{Deg: h.Amplitude, PlusMinusDeg: Normal * h.AmplitudeSd}
	}
	if h.OutOfBeatKnown && h.Amplitude > 0 {
		b.OutOfBeat = &heard.Angle{Deg: math.Abs(h.OutOfBeatDeg)}
	}
	return b
}

// TeethPattern returns the pattern of the escape wheel as a drawing.
func (h Hearing) TeethPattern() heard.Teeth {
	var t heard.Teeth
	for i, late := range h.Teeth {
		t.Teeth = append(t.Teeth, heard.Tooth{EarlyS: -late, PlusMinusS: Normal * h.TeethSdS[i]})
	}
	return t
}

// Doubt returns what the doubt of the rate consists of, as a drawing; course is
// how the rate came to be known.
func (h Hearing) Doubt(course []heard.Moment) heard.Doubt {
	d := heard.Doubt{Course: course}
	for _, p := range h.Parts() {
		d.Parts = append(d.Parts, heard.Part{Words: p.Words, PlusMinusPerDay: Normal * p.Sd})
	}
	return d
}

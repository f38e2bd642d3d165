package issue

import (
	"bytes"
	"context"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"timeball/internal/chart"
	"timeball/internal/chronometer"
	"timeball/internal/clock"
	"timeball/internal/paper"
	"timeball/internal/paper/leaf"
	"timeball/internal/rating"
	"timeball/internal/trial"
	"timeball/internal/trial/programme"
)

// Draft returns the certificate as it would be issued now, marked as a draft.
// What is missing is an error that wraps ErrWanting.
func (p *Papers) Draft(ctx context.Context, number string, size chronometer.Paper) (*leaf.Document, error) {
	s, err := p.subject(ctx, number)
	if err != nil {
		return nil, err
	}
	g, err := groundOf(s.seen.Logbook, s.seen.Now, s.seen.Now)
	if err != nil {
		return nil, err
	}
	if err := wanting("certificate of no. "+s.seen.Instrument.Number, append(s.housed(), g.lacking()...)); err != nil {
		return nil, err
	}
	c := s.certificate(g, sizeOf(s.size(size)))
	c.Draft, c.Digest = true, "" // a digest would let it pass for the one that is issued
	return c.Document()
}

// Lacking returns what is missing for a certificate of an instrument, sentences
// without a stop; none if it can be issued.
func (p *Papers) Lacking(ctx context.Context, number string) ([]string, error) {
	s, err := p.subject(ctx, number)
	if err != nil {
		return nil, err
	}
	g, err := groundOf(s.seen.Logbook, s.seen.Now, s.seen.Now)
	if err != nil {
		return nil, err
	}
	missing := append(s.housed(), g.lacking()...)
	if s.house.Keeper == "" && s.house.Name != "" {
		missing = append(missing, "the keeper who signs is not named; write it into the workshop's particulars")
	}
	return missing, nil
}

// Issue issues a certificate, once under an ID of NewID: it keeps the file that
// is signed and writes the entry that names it.
func (p *Papers) Issue(ctx context.Context, id chronometer.ID, by, number string, size chronometer.Paper) (chronometer.Entry, error) {
	s, err := p.subject(ctx, number)
	if err != nil {
		return chronometer.Entry{}, err
	}
	if kept, ok := s.seen.Logbook.Entry(id); ok {
		return kept, nil
	}
	return p.issue(ctx, s, id, by, size, s.seen.Now.UTC().Truncate(time.Microsecond))
}

func (p *Papers) issue(ctx context.Context, s subject, id chronometer.ID, by string, size chronometer.Paper, at time.Time) (chronometer.Entry, error) {
	refuse := func(err error) (chronometer.Entry, error) {
		return chronometer.Entry{}, fmt.Errorf("%w: %w", chronometer.ErrRefused, err)
	}
	g, err := groundOf(s.seen.Logbook, at, at)
	if err != nil {
		return refuse(err)
	}
	if err := wanting("certificate of no. "+s.seen.Instrument.Number, append(s.housed(), g.lacking()...)); err != nil {
		return refuse(err)
	}
	entry := chronometer.Certified{
		Certificate: s.nextNumber(at), Until: at.Format(time.RFC3339Nano), Digest: g.digest, Entries: len(g.entries), Figures: g.stated(), Paper: s.size(size),
	}
	if g.trial != nil {
		entry.Trial = g.trial.Begun.ID
	}
	pdf, err := s.issued(g, entry)
	if err != nil {
		return refuse(err)
	}
	entry.PDF = sum(pdf)
	return p.workshop.KeepCertificate(ctx, id, by, s.seen.ID, entry, pdf)
}

// nextNumber returns the number of the instrument with the day, and a number
// behind it if one was issued that day already.
func (s subject) nextNumber(at time.Time) string {
	base := s.seen.Instrument.Number + "-" + at.Format("2006-01-02")
	taken := map[string]bool{}
	for _, e := range s.seen.Logbook.Entries() {
		if c, ok := e.Fact.(chronometer.Certified); ok {
			taken[c.Certificate] = true
		}
	}
	number := base
	for n := 2; taken[number]; n++ {
		number = base + "-" + strconv.Itoa(n)
	}
	return number
}

// issued returns the file of a certificate that an entry names.
func (s subject) issued(g ground, entry chronometer.Certified) ([]byte, error) {
	at, err := entry.At()
	if err != nil {
		return nil, err
	}
	c := s.certificate(g, sizeOf(entry.Paper))
	c.Number, c.Issued, c.Digest, c.Entries = entry.Certificate, at, entry.Digest, entry.Entries
	doc, err := c.Document()
	if err != nil {
		return nil, err
	}
	var b bytes.Buffer
	err = doc.PDF(&b)
	return b.Bytes(), err
}

// stated returns the figures that a certificate on this ground states.
func (g ground) stated() chronometer.Stated {
	r := g.seen.Rating
	s := chronometer.Stated{
		Epoch: r.Epoch.Format(time.RFC3339Nano), ErrorS: r.Error.Mean, ErrorSDS: r.Error.SD, Rate: r.Rate.Mean, RateSD: r.Rate.SD,
		Steadiness: r.Steadiness.Mean, SteadinessSD: r.Steadiness.SD,
	}
	if g.trial != nil {
		s.Verdict = string(g.trial.Result.Verdict)
		for _, f := range g.trial.Result.Figures {
			if f.Known {
				s.Criteria = append(s.Criteria, chronometer.StatedFigure{Name: f.Criterion.Name, Value: f.Value, SD: f.SD, Unit: f.Criterion.Unit})
			}
		}
	}
	return s
}

func quantity(i rating.Interval) paper.Quantity { return paper.Quantity{Mean: i.Mean, Half: i.Half()} }

// certificate returns the certificate on a ground, not numbered yet.
func (s subject) certificate(g ground, size leaf.Size) paper.Certificate {
	r := g.seen.Rating
	c := paper.Certificate{
		Size: size, Letterhead: s.letterhead(), Instrument: s.instrument(), WorkDone: g.workDone(),
		Epoch: r.Epoch, Error: quantity(r.Error), Rate: quantity(r.Rate), TemperatureC: rating.ReferenceC, Position: g.position(),
		Steadiness: paper.Range{Mean: r.Steadiness.Mean, Lo: r.Steadiness.Lo95, Hi: r.Steadiness.Hi95},
		Standard:   g.standard(), RateFigure: g.rateFigure(size), Digest: g.digest, Entries: len(g.entries),
	}
	if g.trial != nil {
		c.Trial = trialOf(g.trial.Result)
		c.Law, c.LawFigure = lawOf(g.trial.Result, paper.LawFigureSize(size))
	}
	if c.Law.Words == "" {
		c.Law.Words = ratedLaw(r.Temperature)
	}
	return c
}

// workFromDays is how far back work is told where no job is open.
const workFromDays = 400

// workDone returns the work of the job, dated lines.
func (g ground) workDone() []string {
	from := g.seen.Now.AddDate(0, 0, -workFromDays)
	var lines []string
	for _, e := range g.seen.Logbook.Standing() {
		if e.At.Before(from) {
			continue
		}
		var words string
		switch f := e.Fact.(type) {
		case chronometer.WorkDone:
			words = f.Words()
		case chronometer.Regulated:
			words = "Regulated: " + f.Words()
		default:
			continue
		}
		lines = append(lines, e.At.Format("2 January 2006")+": "+words)
	}
	return lines
}

// standard says where UTC came from in the comparisons of the last run.
func (g ground) standard() string {
	from := g.seen.Rating.Runs[len(g.seen.Rating.Runs)-1].From
	used := map[string]int{}
	bound := map[string]float64{}
	var names []string
	for _, e := range g.seen.Logbook.Standing() {
		c, ok := e.Fact.(chronometer.Compared)
		if !ok || e.At.Before(from) {
			continue
		}
		name := c.Standard
		switch {
		case name == "" && c.Kept != nil:
			name = "the standard of this workshop"
		case name == "":
			name = "a standard that is not recorded"
		}
		if used[name] == 0 {
			names = append(names, name)
		}
		used[name]++
		sd := c.StandardSD
		if c.Kept != nil {
			sd = math.Hypot(sd, c.Kept.SD())
		}
		bound[name] = max(bound[name], 1.96*sd)
	}
	slices.SortStableFunc(names, func(a, b string) int { return used[b] - used[a] })
	var parts []string
	for _, n := range names {
		words := n
		if bound[n] > 0 {
			words += fmt.Sprintf(" (±%s s)", strconv.FormatFloat(math.Ceil(bound[n]*1000)/1000, 'g', 3, 64))
		}
		parts = append(parts, words)
	}
	return "Compared with UTC by " + strings.Join(parts, "; ") + "."
}

// trialOf returns a trial for paper.
func trialOf(r trial.Result) *paper.Trial {
	t := paper.Trial{Programme: r.Programme.Name, Source: r.Programme.Source, Verdict: r.Words, MeanRate: paper.Quantity{Mean: r.Mean.Mean, Half: (r.Mean.Hi95 - r.Mean.Lo95) / 2}}
	for _, d := range r.Days {
		if d.From.IsZero() || !d.Known {
			continue
		}
		if t.From.IsZero() {
			t.From = d.From
		}
		t.To = d.To
	}
	for _, f := range r.Figures {
		c := paper.Criterion{Rate: f.Criterion.Of == programme.MeanRate, Name: f.Criterion.Name, About: f.Criterion.About, Unit: f.Criterion.Unit, Limits: f.Criterion.Limits()}
		if !f.Known {
			c.Words = f.Why
			t.Criteria = append(t.Criteria, c)
			continue
		}
		c.Value, c.True = f.Value, paper.Range{Mean: f.Best, Lo: f.Lo95, Hi: f.Hi95}
		if f.Limited {
			c.Kept, c.Doubt = "not kept", inHundred(1-f.PKept)
			if f.Kept {
				c.Kept, c.Doubt = "kept", inHundred(f.PKept)
			}
		}
		if f.Class != "" {
			c.Kept = f.Class
		}
		t.Criteria = append(t.Criteria, c)
	}
	return &t
}

// inHundred writes a probability as "97 in 100", never as certainty.
func inHundred(p float64) string {
	if p > 0.995 {
		return "over 99 in 100"
	}
	return fmt.Sprintf("%.0f in 100", 100*p)
}

// lawOf returns the rate against temperature of a trial in words, as a table
// and as a drawing.
func lawOf(r trial.Result, size chart.Size) (paper.Law, chart.Figure) {
	var law paper.Law
	if r.Law == nil {
		return law, chart.Figure{}
	}
	l := *r.Law
	drawn := chart.TemperatureCurve{Caption: chart.Caption{ID: "law", Title: "Rate against temperature"}}
	for _, s := range r.Spells {
		if s.TempC == nil || s.Days == 0 || r.Programme.Periods[s.Period].Apart {
			continue
		}
		law.Rows = append(law.Rows, paper.AtTemperature{C: *s.TempC, Rate: paper.Quantity{Mean: s.Mean, Half: 1.96 * s.SDS}})
		drawn.Measured = append(drawn.Measured, chart.Tempered{C: *s.TempC, Value: s.Mean, Lo: s.Mean - 1.96*s.SDS, Hi: s.Mean + 1.96*s.SDS, Words: fmt.Sprintf("%d days", s.Days)})
	}
	for i := range 41 {
		c := l.FromC + (l.ToC-l.FromC)*float64(i)/40
		v := l.At(c)
		drawn.Law = append(drawn.Law, chart.Tempered{C: c, Value: v, Lo: v, Hi: v})
	}
	span := fmt.Sprintf("Between %.0f and %.0f °C", l.FromC, l.ToC)
	per := clock.Rate(l.Linear.Mean)
	switch t := l.TurningC; {
	case t != nil && t.Mean > l.FromC && t.Mean < l.ToC:
		law.Turning = &paper.Quantity{Mean: t.Mean, Half: (t.Hi95 - t.Lo95) / 2}
		most := "gains most"
		if l.Quadratic.Mean > 0 {
			most = "loses most"
		}
		law.Words = fmt.Sprintf("%s it %s at %.1f °C ±%.1f; ten degrees to either side the rate differs by %.2f s a day ±%.2f.",
			span, most, t.Mean, law.Turning.Half, 100*math.Abs(l.Quadratic.Mean), 100*(l.Quadratic.Hi95-l.Quadratic.Lo95)/2)
		drawn.Turning = &chart.Tempered{C: t.Mean, Value: l.At(t.Mean), Words: fmt.Sprintf("turns at %.1f °C", t.Mean)}
	case l.Linear.Lo95 > 0 || l.Linear.Hi95 < 0:
		way := "gains"
		if per < 0 {
			way = "loses"
		}
		law.Words = fmt.Sprintf("%s it %s %.3f s a day more ±%.3f for each degree of warmth, about %.0f °C.", span, way, math.Abs(l.Linear.Mean), (l.Linear.Hi95-l.Linear.Lo95)/2, l.AboutC)
	default:
		law.Words = span + " no change of rate with temperature shows beyond its doubt."
	}
	drawn.Caption.Result = law.Words
	return law, drawn.Figure(size)
}

// ratedLaw returns the law of a rating in words, or nothing if it is not known.
func ratedLaw(l *rating.TemperatureLaw) string {
	if l == nil || !l.LinearKnown {
		return ""
	}
	way := "gains"
	if l.Linear.Mean < 0 {
		way = "loses"
	}
	words := fmt.Sprintf("About %.0f °C it %s %.3f s a day more ±%.3f for each degree of warmth.", rating.ReferenceC, way, math.Abs(l.Linear.Mean), l.Linear.Half())
	if l.Extreme != nil {
		words += fmt.Sprintf(" The rate turns at %.1f °C ±%.1f.", l.Extreme.Mean, l.Extreme.Half())
	}
	return words
}

// rateFigure draws the daily rate of the trial, or of the last run.
func (g ground) rateFigure(size leaf.Size) chart.Figure {
	r := g.seen.Rating
	from := r.Runs[len(r.Runs)-1].From
	if g.trial != nil && g.trial.Course.Start != nil {
		from = g.trial.Course.Start.At
	}
	c := chart.RateCurve{Whole: true, Caption: chart.Caption{ID: "rate", Title: "Daily rate", Result: paper.Quantity(quantity(r.Rate)).RateWords()}, From: from.Add(-time.Hour)}
	run := -1
	for _, p := range r.Curve {
		if p.At.Before(from) {
			continue
		}
		if p.Run != run || len(c.Runs) == 0 {
			c.Runs, run = append(c.Runs, nil), p.Run
		}
		last := &c.Runs[len(c.Runs)-1]
		*last = append(*last, chart.Estimate{At: p.At, Value: p.Rate.Mean, Lo: p.Rate.Lo95, Hi: p.Rate.Hi95})
	}
	if g.trial != nil {
		for _, d := range g.trial.Result.Days {
			if d.Known && !d.From.IsZero() {
				c.Measured = append(c.Measured, chart.Comparison{At: d.From.Add(d.To.Sub(d.From) / 2), Value: d.RateSPerDay, PlusMinus: 1.96 * d.SDS})
			}
		}
	} else {
		for i := 1; i < len(r.Residuals); i++ {
			a, b := r.Residuals[i-1], r.Residuals[i]
			if rate, half, ok := g.between(a, b); ok && !a.At.Before(from) {
				c.Measured = append(c.Measured, chart.Comparison{At: a.At.Add(b.At.Sub(a.At) / 2), Value: rate, PlusMinus: half})
			}
		}
	}
	return c.Figure(paper.RateFigureSize(size))
}

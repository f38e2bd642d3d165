package paper

import (
	"encoding/json"
	"fmt"
	"time"

	"timeball/internal/clock"
	"timeball/internal/paper/leaf"
)

// behind sets what the certificate rests on.
func (c Certificate) behind(f *leaf.Flow) {
	if t := c.Trial; t != nil {
		f.Heading("The trial")
		f.Facts([][2]string{
			{"Programme", joined(". ", upperFirst(t.Programme), t.Source)},
			{"Held", t.span()},
			{"Position", c.Position},
			{"Mean daily rate", t.MeanRate.RateWords()},
		})
		if len(t.Criteria) > 0 {
			f.Table(t.table())
		}
	}
	if c.RateFigure.Size.Width > 0 {
		f.HeadingOf("Rate over time", f.FigureHeight(c.RateFigure))
		f.Space(0.8)
		f.Figure(c.RateFigure)
	}
	c.temperature(f)
	if len(c.WorkDone) > 0 {
		f.Heading("Work done")
		f.Items(c.WorkDone)
	}
}

func (t Trial) table() leaf.Table {
	table := leaf.Table{Size: 8.5, Gutter: 3, Columns: []leaf.Column{
		{Title: "Criterion", Share: 1, Heads: true}, {Title: "Value", Align: leaf.Decimal}, {Title: "The true one, 95%"},
		{Title: "Unit"}, {Title: "Limit"}, {Title: "Kept"}, {Title: "Certainty", Align: leaf.End},
	}}
	limits, doubts := false, false
	for _, c := range t.Criteria {
		limits = limits || c.Limits != "" || c.Kept != ""
		doubts = doubts || c.Doubt != ""
		table.Rows = append(table.Rows, []string{joined(": ", c.Name, joined(" ", c.About, c.Words)), c.text(), c.interval(), c.Unit, c.Limits, c.Kept, c.Doubt})
	}
	drop := func(column int) {
		table.Columns = append(table.Columns[:column:column], table.Columns[column+1:]...)
		for i, row := range table.Rows {
			table.Rows[i] = append(row[:column:column], row[column+1:]...)
		}
	}
	if !doubts {
		drop(6)
	}
	if !limits {
		drop(5)
		drop(4)
	}
	return table
}

// temperature sets the law as a table, with its figure beside it.
func (c Certificate) temperature(f *leaf.Flow) {
	drawn := c.LawFigure.Size.Width > 0
	if len(c.Law.Rows) == 0 && !drawn {
		return
	}
	var rows [][]string
	for _, r := range c.Law.Rows {
		rate := clock.Rate(r.Rate.Mean)
		rows = append(rows, []string{degrees(r.C), rate.Words(r.Rate.Half), rate.HalfWidth(r.Rate.Half)})
	}
	table := func(f *leaf.Flow) {
		if len(rows) > 0 {
			f.Table(leaf.Table{Columns: []leaf.Column{{Title: "°C", Align: leaf.Decimal, Heads: true}, {Title: "Rate a day", Align: leaf.Decimal, Share: 1}, {Title: "±", Align: leaf.Decimal}}, Rows: rows})
		}
		if t := c.Law.Turning; t != nil {
			f.Words(fmt.Sprintf("The rate turns at %s °C ±%.1f.", degrees(t.Mean), max(t.Half, 0.1)), leaf.SmallStyle)
		}
	}
	const words = "Rate against temperature"
	high := 20 + 6*float64(len(rows))
	switch {
	case !drawn:
		f.HeadingOf(words, high)
		f.Beside(high, []float64{1, 1}, table)
	case len(rows) == 0:
		f.HeadingOf(words, f.FigureHeight(c.LawFigure))
		f.Figure(c.LawFigure)
	default:
		high = max(high, (f.Width()-8)*lawShare*c.LawFigure.Size.Height/c.LawFigure.Size.Width)
		f.HeadingOf(words, high)
		f.Beside(high, []float64{1 - lawShare, lawShare}, table, func(f *leaf.Flow) { f.Figure(c.LawFigure) })
	}
	f.Space(1)
}

// certified is the file inside the certificate: signed numbers, error in s
// positive fast, rates in s/d positive gaining, instants in RFC 3339 UTC, each
// with the ends of its 95% interval.
type certified struct {
	Kind        string     `json:"kind"`
	Number      string     `json:"number,omitempty"`
	Draft       bool       `json:"draft,omitempty"`
	Issued      string     `json:"issued,omitempty"`
	Workshop    string     `json:"workshop"`
	Place       string     `json:"place,omitempty"`
	Keeper      string     `json:"keeper"`
	Instrument  string     `json:"instrument"`
	Maker       string     `json:"maker"`
	Description string     `json:"description,omitempty"`
	Owner       string     `json:"owner,omitempty"`
	OwnerPlace  string     `json:"owner_place,omitempty"`
	WorkDone    []string   `json:"work_done,omitempty"`
	Epoch       string     `json:"epoch"`
	Error       Range      `json:"error_s"`
	Rate        Range      `json:"rate_s_per_day"`
	Temperature float64    `json:"rate_at_c"`
	Position    string     `json:"position"`
	Steadiness  *Range     `json:"steadiness_s_per_day,omitempty"`
	Law         *lawFile   `json:"temperature,omitempty"`
	Trial       *trialFile `json:"trial,omitempty"`
	Standard    string     `json:"standard"`
	Digest      string     `json:"entries_sha256,omitempty"`
	Entries     int        `json:"entries,omitempty"`
}

type lawFile struct {
	Words   string   `json:"words,omitempty"`
	Rows    []lawRow `json:"rates,omitempty"`
	Turning *Range   `json:"turning_c,omitempty"`
}

type lawRow struct {
	C    float64 `json:"c"`
	Rate Range   `json:"rate_s_per_day"`
}

type trialFile struct {
	Programme string          `json:"programme"`
	Source    string          `json:"source,omitempty"`
	From      string          `json:"from,omitempty"`
	To        string          `json:"to,omitempty"`
	MeanRate  Range           `json:"mean_rate_s_per_day"`
	Criteria  []criterionFile `json:"criteria,omitempty"`
	Verdict   string          `json:"verdict"`
}

type criterionFile struct {
	Name   string `json:"name"`
	About  string `json:"about,omitempty"`
	Value  *Range `json:"value,omitempty"`
	Unit   string `json:"unit,omitempty"`
	Words  string `json:"words,omitempty"`
	Limits string `json:"limits,omitempty"`
	Kept   string `json:"kept,omitempty"`
	Doubt  string `json:"doubt,omitempty"`
}

func (q Quantity) ends() Range { return Range{q.Mean, q.Mean - q.Half, q.Mean + q.Half} }

func stamp(t time.Time) string {
	if t.IsZero() {
		return ""
	}
	return t.UTC().Truncate(time.Microsecond).Format(time.RFC3339Nano)
}

// figures returns the certificate as JSON.
func (c Certificate) figures() ([]byte, error) {
	out := certified{
		Kind: "certificate of rate", Number: c.Number, Draft: c.Draft, Issued: stamp(c.Issued),
		Workshop: c.Letterhead.Workshop, Place: c.Letterhead.Place, Keeper: c.Letterhead.Keeper,
		Instrument: c.Instrument.Number, Maker: c.Instrument.Maker, Description: c.Instrument.Description, Owner: c.Instrument.Owner, OwnerPlace: c.Instrument.OwnerPlace,
		WorkDone: c.WorkDone, Epoch: stamp(c.Epoch), Error: c.Error.ends(), Rate: c.Rate.ends(), Temperature: c.TemperatureC, Position: c.Position,
		Standard: c.Standard, Digest: c.Digest, Entries: c.Entries,
	}
	if c.Steadiness.Hi > 0 {
		out.Steadiness = &c.Steadiness
	}
	if c.Law.Words != "" || len(c.Law.Rows) > 0 {
		out.Law = &lawFile{Words: c.Law.Words}
		for _, r := range c.Law.Rows {
			out.Law.Rows = append(out.Law.Rows, lawRow{r.C, r.Rate.ends()})
		}
		if c.Law.Turning != nil {
			ends := c.Law.Turning.ends()
			out.Law.Turning = &ends
		}
	}
	if t := c.Trial; t != nil {
		out.Trial = &trialFile{Programme: t.Programme, Source: t.Source, From: stamp(t.From), To: stamp(t.To), MeanRate: t.MeanRate.ends(), Verdict: t.Verdict}
		for _, k := range t.Criteria {
			row := criterionFile{Name: k.Name, About: k.About, Unit: k.Unit, Words: k.Words, Limits: k.Limits, Kept: k.Kept, Doubt: k.Doubt}
			if k.Words == "" {
				ends := Range{Mean: k.Value, Lo: k.True.Lo, Hi: k.True.Hi}
				row.Value = &ends
			}
			out.Trial.Criteria = append(out.Trial.Criteria, row)
		}
	}
	file, err := json.MarshalIndent(out, "", "  ")
	if err != nil {
		return nil, fmt.Errorf("figures of certificate %s: %w; a figure is not a number", c.Number, err)
	}
	return append(file, '\n'), nil
}

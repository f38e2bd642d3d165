package trial

import (
	"time"

	"timeball/internal/trial/programme"
)

// Script is a Result as scripts read it: the form that the command and the API
// print. Names are stable; s/d is written s_per_day, _sd is one standard
// deviation, and lo95 and hi95 bound the 95% interval of what the true rates
// would give. What is not known is null.
type Script struct {
	Programme string      `json:"programme"`
	Source    string      `json:"source"`
	Verdict   Verdict     `json:"verdict"`
	P         *float64    `json:"p"` // null unless kept or not kept
	Class     *string     `json:"class"`
	PClass    *float64    `json:"p_class"`
	Words     string      `json:"words"`
	Mean      *inScript   `json:"mean_rate_s_per_day"`
	Figures   []figureOut `json:"figures"`
	Periods   []periodOut `json:"periods"`
	Sums      []sumOut    `json:"sums"`
	Days      []dayOut    `json:"days"`
	Law       *lawOut     `json:"temperature"`
	Missing   []string    `json:"missing"`
	Remarks   []string    `json:"remarks"`
}

type inScript struct {
	Mean float64 `json:"mean"`
	SD   float64 `json:"sd"`
	Lo95 float64 `json:"lo95"`
	Hi95 float64 `json:"hi95"`
}

type figureOut struct {
	Name    string            `json:"name"`
	About   string            `json:"about"`
	Of      programme.Measure `json:"of"`
	Unit    string            `json:"unit"`
	Known   bool              `json:"known"`
	Why     string            `json:"why,omitempty"`
	Value   *float64          `json:"value"` // from the rates as read
	Best    *float64          `json:"best"`
	SD      *float64          `json:"sd"`
	Lo95    *float64          `json:"lo95"`
	Hi95    *float64          `json:"hi95"`
	From    *float64          `json:"from"`
	To      *float64          `json:"to"`
	Classes []classOut        `json:"classes,omitempty"`
	Kept    *bool             `json:"kept"` // null without limits or if not known
	PKept   *float64          `json:"p_kept"`
	Close   bool              `json:"close"`
	Class   *string           `json:"class"`
	PClass  *float64          `json:"p_class"`
}

type classOut struct {
	Name string  `json:"name"`
	Most float64 `json:"most"`
}

type periodOut struct {
	Period   int      `json:"period"`
	Name     string   `json:"name,omitempty"`
	Asked    int      `json:"days"`
	Days     int      `json:"days_known"`
	AskedC   *float64 `json:"asked_c"`
	TempC    *float64 `json:"temp_c"`
	Position string   `json:"position,omitempty"`
	Mean     *float64 `json:"rate_s_per_day"`
	SD       *float64 `json:"rate_sd_s_per_day"`
	Scatter  *float64 `json:"scatter_s_per_day"` // null with fewer than two days
}

type sumOut struct {
	First int      `json:"first_day"`
	Last  int      `json:"last_day"`
	Known bool     `json:"known"`
	SumS  *float64 `json:"sum_s"`
	SDS   *float64 `json:"sum_sd_s"`
	TempC *float64 `json:"temp_c"`
}

type dayOut struct {
	Day      int      `json:"day"`
	Period   int      `json:"period"`
	From     *string  `json:"from,omitempty"`
	To       *string  `json:"to,omitempty"`
	Known    bool     `json:"known"`
	ToCome   bool     `json:"to_come"`
	Why      string   `json:"why,omitempty"`
	Rate     *float64 `json:"rate_s_per_day"`
	SD       *float64 `json:"rate_sd_s_per_day"`
	TempC    *float64 `json:"temp_c"`
	Position string   `json:"position,omitempty"`
}

type lawOut struct {
	AboutC      float64   `json:"about_c"`
	FromC       float64   `json:"from_c"`
	ToC         float64   `json:"to_c"`
	Rate        inScript  `json:"rate_s_per_day"`
	Linear      inScript  `json:"linear_s_per_day_per_c"`
	Quadratic   *inScript `json:"quadratic_s_per_day_per_c2"`
	TurningC    *inScript `json:"turning_c"`
	TurningRate *inScript `json:"turning_rate_s_per_day"`
}

// Script returns the result as scripts read it.
func (r Result) Script() Script {
	s := Script{
		Programme: r.Programme.Name, Source: r.Programme.Source, Verdict: r.Verdict, Words: r.Words,
		Figures: []figureOut{}, Periods: []periodOut{}, Sums: []sumOut{}, Days: []dayOut{},
		Missing: append([]string{}, r.Missing...), Remarks: append([]string{}, r.Remarks...),
	}
	if r.Verdict == Kept || r.Verdict == NotKept {
		s.P = &r.P
	}
	if r.Class != "" {
		s.Class, s.PClass = &r.Class, &r.PClass
	}
	for _, d := range r.Days {
		s.Days = append(s.Days, d.script())
		if d.Known && s.Mean == nil && !r.Programme.Periods[d.Period].Apart {
			s.Mean = r.Mean.script()
		}
	}
	for _, f := range r.Figures {
		s.Figures = append(s.Figures, f.script())
	}
	for _, p := range r.Spells {
		s.Periods = append(s.Periods, p.script(r.Programme.Periods[p.Period]))
	}
	for _, m := range r.Sums {
		out := sumOut{First: m.First, Last: m.Last, Known: m.Known, TempC: m.TempC}
		if m.Known {
			out.SumS, out.SDS = &m.SumS, &m.SDS
		}
		s.Sums = append(s.Sums, out)
	}
	if l := r.Law; l != nil {
		s.Law = &lawOut{AboutC: l.AboutC, FromC: l.FromC, ToC: l.ToC, Rate: *l.Rate.script(), Linear: *l.Linear.script()}
		if l.Curved {
			s.Law.Quadratic = l.Quadratic.script()
		}
		if l.TurningC != nil {
			s.Law.TurningC, s.Law.TurningRate = l.TurningC.script(), l.TurningRate.script()
		}
	}
	return s
}

func (e Estimate) script() *inScript { return &inScript{e.Mean, e.SD, e.Lo95, e.Hi95} }

func (f Figure) script() figureOut {
	c := f.Criterion
	out := figureOut{Name: c.Name, About: c.About, Of: c.Of, Unit: c.Unit, Known: f.Known, Why: f.Why, From: c.From, To: c.To, Close: f.Close}
	for _, class := range c.Classes {
		out.Classes = append(out.Classes, classOut(class))
	}
	if !f.Known {
		return out
	}
	out.Value, out.Best, out.SD, out.Lo95, out.Hi95 = &f.Value, &f.Best, &f.SD, &f.Lo95, &f.Hi95
	if f.Limited {
		out.Kept, out.PKept = &f.Kept, &f.PKept
	}
	if f.Class != "" {
		out.Class, out.PClass = &f.Class, &f.PClass
	}
	return out
}

func (p Spell) script(q programme.Period) periodOut {
	out := periodOut{Period: p.Period + 1, Name: q.Name, Asked: q.Days, Days: p.Days, AskedC: q.TempC, TempC: p.TempC, Position: q.Position}
	if p.Days > 0 {
		out.Mean, out.SD = &p.Mean, &p.SDS
	}
	if p.Days > 1 {
		out.Scatter = &p.Scatter
	}
	return out
}

func (d Day) script() dayOut {
	out := dayOut{Day: d.Number, Period: d.Period + 1, Known: d.Known, ToCome: d.ToCome, Why: d.Why, TempC: d.TempC, Position: d.Position}
	instant := func(t time.Time) *string {
		if t.IsZero() {
			return nil
		}
		text := t.UTC().Format(time.RFC3339Nano)
		return &text
	}
	out.From, out.To = instant(d.From), instant(d.To)
	if d.Known {
		sd := d.doubt()
		out.Rate, out.SD = &d.RateSPerDay, &sd
	}
	return out
}

package web

import (
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"time"

	"timeball/internal/chronometer"
	"timeball/internal/clock"
	"timeball/internal/rating"
	"timeball/internal/timescale"
	"timeball/internal/workshop"
)

// instrumentPage is all that is known of one instrument.
type instrumentPage struct {
	frame
	Number, Maker, Describe string
	At                      string // its address
	Owner                   *link
	Station, Motion         string
	Next                    *do
	Actions                 []do // the first is the primary one
	Wrote                   *line
	Brought                 string
	Notices                 []notice
	Pending                 bool
	Why                     string
	Figures                 []labelled
	Curves                  []curve // the first is the error curve
	Forecast                []forecastRow
	SetAside                []asideRow
	By                      string // who writes on this computer
	Runs, EarlierRuns       []runRow
	Laws                    []string
	Changes                 []string
	Logbook                 logbook
	Particulars             []labelled
}

// link leads to another page.
type link struct{ Words, Href string }

// notice is something that a reader must see before the figures.
type notice struct {
	Words   string
	Trouble bool
	Link    *link
}

// labelled is a figure or a particular under its label.
type labelled struct{ Label, Words, After, Below string }

// forecastRow is the error on one day to come.
type forecastRow struct {
	When  string
	Day   string
	Year  int
	Error *figure
}

// asideRow is a comparison that is kept in the record but not used.
type asideRow struct {
	Entry  string
	Href   string
	When   string
	Read   *figure
	Reason string
}

// runRow is the mean rate over one run.
type runRow struct {
	From, To    string
	Comparisons int
	Rate        *figure // nil if a single comparison gives none
}

func (s *site) instrument(w http.ResponseWriter, r *http.Request) error {
	seen, err := s.workshop.See(r.Context(), r.PathValue("number"))
	if err != nil {
		return err
	}
	p := instrumentPage{
		frame: s.frame("No. "+seen.Instrument.Number, "room"), At: pathOf(r), Number: seen.Instrument.Number, Maker: seen.Instrument.Maker,
		Describe: upper(seen.Instrument.Describe()), Station: string(seen.State.Station), Motion: string(seen.State.Motion),
		Pending: seen.Pending, By: author(r),
	}
	p.Now = seen.Now.UTC()
	if seen.Owner != nil {
		p.Owner = &link{seen.Owner.Owner.Words(), "/owners/" + string(seen.Owner.ID)}
	}
	if seen.Pending {
		p.Refresh = 4
	}
	p.Doubt = true
	p.act(seen)
	p.notice(seen)
	query := r.URL.Query()
	if n, err := strconv.Atoi(query.Get("brought")); err == nil && n >= 0 {
		p.Brought = sentence(counted(n, "entry", "entries") + " brought in")
	}
	p.Logbook = newLogbook(seen, p.At, query)
	if e, ok := seen.Logbook.Entry(chronometer.ID(query.Get("wrote"))); ok {
		written := newLine(seen, e, p.At, nil)
		p.Wrote = &written
	}
	p.Figures, p.Why = figures(seen)
	p.Curves = curves(seen, p.Logbook, p.At)
	if seen.Rating != nil {
		p.rate(seen)
	}
	p.Particulars = particulars(seen.Instrument)
	s.show(w, http.StatusOK, "instrument", p)
	return nil
}

// pathOf returns the address of the instrument as the reader asked for it.
func pathOf(r *http.Request) string { return "/instruments/" + url.PathEscape(r.PathValue("number")) }

// act sets what to do next and the actions, each kind once, the most urgent
// first.
func (p *instrumentPage) act(seen workshop.Seen) {
	if len(seen.Next) > 0 {
		next := doing(seen.Next[0], p.At, seen.Now)
		p.Next = &next
	}
	offered := map[chronometer.Kind]bool{}
	for _, a := range seen.Next {
		if a.Kind == "" || offered[a.Kind] || len(p.Actions) == 2 || a.Due.After(seen.Now.AddDate(0, 0, 2)) {
			continue
		}
		offered[a.Kind] = true
		p.Actions = append(p.Actions, doing(a, p.At, seen.Now))
	}
	for _, a := range []chronometer.Action{{Verb: "Compare", Kind: chronometer.KindCompared}, {Verb: "Wind", Kind: chronometer.KindWound}} {
		if seen.State.Motion == chronometer.Going && !offered[a.Kind] && len(p.Actions) < 2 {
			p.Actions = append(p.Actions, doing(a, p.At, seen.Now))
		}
	}
}

// notice collects what is wrong and what a reader must know.
func (p *instrumentPage) notice(seen workshop.Seen) {
	for _, a := range seen.Next {
		if a.Stop {
			n := notice{Words: sentence(upper(a.Say)), Trouble: true}
			if a.Kind != "" {
				n.Link = &link{"Write: " + string(a.Kind), p.At + "/write/" + slug(a.Kind)}
			}
			p.Notices = append(p.Notices, n)
		}
	}
	if seen.Rating == nil {
		return
	}
	for _, m := range seen.Rating.Unrecorded {
		moved, way := figure{Words: clock.DialError(m.MovedS).Words(5)}, "forward"
		if m.MovedS < 0 {
			way = "back"
		}
		n := notice{
			Words:   fmt.Sprintf("Between %s and %s the readings jump %s by %s, and no entry tells why.", instant(m.After, seen.Now), instant(m.Before, seen.Now), way, moved.Size()),
			Trouble: true,
		}
		if m.MovedS > 0 {
			q := url.Values{"by_s": {strconv.FormatFloat(m.MovedS, 'f', -1, 64)}, "at": {formInstant(m.After.Add(m.Before.Sub(m.After) / 2))}}
			n.Link = &link{"Write that the hands were moved", p.At + "/write/hands-moved?" + q.Encode()}
		}
		p.Notices = append(p.Notices, n)
	}
	for _, words := range seen.Rating.Warnings {
		p.Notices = append(p.Notices, notice{Words: sentence(words)})
	}
}

// figures returns the big figures of an instrument that goes, or why there
// are none.
func figures(seen workshop.Seen) ([]labelled, string) {
	shown := figuresOf(seen)
	if seen.Rating == nil || shown.Error == nil {
		return nil, upper(shown.Why)
	}
	r := seen.Rating
	daily := labelled{Label: "Daily rate, of late", Words: shown.Rate.Words, After: shown.Rate.PlusMinus}
	if r.Temperature != nil || len(r.Positions) > 0 {
		daily.Below = "at 20 °C" + after(", ", r.Position) + ": " + rateFigure(r.Rate).String()
	}
	all := []labelled{
		{Label: "Error now", Words: shown.Error.Words, After: shown.Error.PlusMinus},
		daily,
		{Label: "Steadiness, week to week", Words: steady(r.Steadiness), After: "per day"},
	}
	if move, ok := handMove(r, seen.Now); ok {
		return append(all, labelled{Label: "Next move of the minute hand", Words: move, After: "forward 1 min"}), ""
	}
	then := errorFigure(seen.In30Days)
	return append(all, labelled{Label: "In 30 days, on " + day(timescale.AddDays(seen.Now, 30), seen.Now), Words: then.Words, After: then.PlusMinus}), ""
}

// after returns text behind a mark, or nothing.
func after(mark, text string) string {
	if text == "" {
		return ""
	}
	return mark + text
}

// steady returns the size of a change of rate.
func steady(v float64) string {
	if v < 0.1 {
		return fmt.Sprintf("%.3f s", v)
	}
	return fmt.Sprintf("%.2f s", v)
}

// handMove returns between which days the forecast has a losing dial 30 s
// slow, when its minute hand is moved on; ok is false if it does not come to
// that within half a year.
func handMove(r *rating.Rating, now time.Time) (words string, ok bool) {
	const limitS = -30
	var first, last time.Time
	for days := range 181 {
		at := timescale.AddDays(now, float64(days))
		e, ok := r.Track.At(at)
		if !ok {
			break
		}
		if first.IsZero() && e.Lo95 <= limitS {
			first = at
		}
		if last.IsZero() && e.Hi95 <= limitS {
			last = at
		}
	}
	switch {
	case first.IsZero() || r.RateNow.Mean >= 0:
		return "", false
	case last.IsZero():
		return day(first, now) + " or later", true
	case sameDay(first, last):
		return day(first, now), true
	case first.Month() == last.Month():
		return strconv.Itoa(first.Day()) + " to " + day(last, now), true
	}
	return first.Format("2 Jan") + " to " + last.Format("2 Jan"), true
}

// forecastDays are the days ahead that the table names.
var forecastDays = []int{1, 7, 14, 30, 60, 90}

// latestRuns is how many runs a page shows before the others are folded away.
const latestRuns = 6

// rate fills in what the rating says beyond the figures.
func (p *instrumentPage) rate(seen workshop.Seen) {
	r := seen.Rating
	for _, d := range forecastDays {
		at := timescale.AddDays(seen.Now, float64(d))
		if e, ok := r.Track.At(at); ok && seen.Current {
			p.Forecast = append(p.Forecast, forecastRow{When: daysAhead(d), Day: at.UTC().Format("Mon 2 Jan"), Year: at.UTC().Year(), Error: errorFigure(e)})
		}
	}
	for _, a := range slices.Backward(r.SetAside) {
		p.SetAside = append(p.SetAside, asideRow{
			Entry: a.Ref, Href: p.Logbook.href(a.Ref, p.At), When: instant(a.At, seen.Now),
			Read: errorFigure(rating.Interval{Mean: a.ErrorS, SD: a.SDS, Lo95: a.ErrorS - 1.96*a.SDS, Hi95: a.ErrorS + 1.96*a.SDS}), Reason: a.Reason,
		})
	}
	for _, run := range slices.Backward(r.Runs) {
		row := runRow{From: shortDay(run.From, seen.Now), To: shortDay(run.To, seen.Now), Comparisons: run.Comparisons}
		if run.Known {
			row.Rate = rateFigure(run.Rate)
		}
		p.Runs = append(p.Runs, row)
	}
	if len(p.Runs) > latestRuns {
		p.Runs, p.EarlierRuns = p.Runs[:latestRuns], p.Runs[latestRuns:]
	}
	p.Laws = laws(r)
	for _, c := range r.Changes {
		p.Changes = append(p.Changes, changeWords(c, seen.Now))
	}
}

func daysAhead(d int) string {
	if d == 1 {
		return "1 day"
	}
	return strconv.Itoa(d) + " days"
}

// laws returns how the rate depends on temperature and position, in words.
func laws(r *rating.Rating) []string {
	var all []string
	if t := r.Temperature; t == nil || !t.LinearKnown && !t.QuadraticKnown {
		all = append(all, "The comparisons do not tell yet how its rate depends on temperature; compare it warm and cold, with the thermometer read.")
	} else {
		if t.LinearKnown {
			all = append(all, "For each degree warmer: "+rateFigure(t.Linear).String()+" a day.")
		}
		if t.QuadraticKnown {
			// The coefficient itself is too small for the decimals of a rate.
			ten := rating.Interval{Mean: 100 * t.Quadratic.Mean, SD: 100 * t.Quadratic.SD, Lo95: 100 * t.Quadratic.Lo95, Hi95: 100 * t.Quadratic.Hi95}
			all = append(all, "Ten degrees from 20 °C, on either side alike: "+rateFigure(ten).String()+" a day more.")
		}
		all = append(all, "The forecast takes "+degrees(t.ForecastC)+".")
	}
	for _, position := range r.Positions {
		all = append(all, upper(position.Position)+" against "+r.Position+": "+rateFigure(position.Rate).String()+" a day.")
	}
	return all
}

// changeWords returns what the test of a change of rate says.
func changeWords(c rating.Change, now time.Time) string {
	found := "no change of rate is shown"
	switch {
	case c.P < 0.01:
		found = "the rate changed"
	case c.P < 0.05:
		found = "the rate probably changed"
	}
	return fmt.Sprintf("%s on %s: %s (%s a day; %s).", upper(string(c.Kind)), day(c.At, now), found, rateFigure(c.Rate), byChance(c.P))
}

// particulars returns what is engraved on the instrument and known of its
// make, without what the head of the page says.
func particulars(i chronometer.Instrument) []labelled {
	var fitted []string
	for _, part := range []struct {
		has  bool
		name string
	}{{i.UpDown, "up-and-down dial"}, {i.BalanceBrake, "balance brake"}, {i.Gimbals, "gimbals"}} {
		if part.has {
			fitted = append(fitted, part.name)
		}
	}
	all := []labelled{{Label: "Goes for", Words: strconv.FormatFloat(i.GoingH, 'f', -1, 64) + " h"}}
	if len(fitted) > 0 {
		all = append(all, labelled{Label: "Fitted with", Words: joined(fitted)})
	}
	if i.Box != "" {
		all = append(all, labelled{Label: "Box", Words: i.Box})
	}
	if i.WeightKG > 0 {
		all = append(all, labelled{Label: "Weight with box", Words: strconv.FormatFloat(i.WeightKG, 'f', -1, 64) + " kg"})
	}
	if i.Notes != "" {
		all = append(all, labelled{Label: "Notes", Words: i.Notes})
	}
	return all
}

// joined returns "a, b and c".
func joined(parts []string) string {
	switch n := len(parts); n {
	case 0:
		return ""
	case 1:
		return parts[0]
	default:
		text := parts[0]
		for _, part := range parts[1 : n-1] {
			text += ", " + part
		}
		return text + " and " + parts[n-1]
	}
}

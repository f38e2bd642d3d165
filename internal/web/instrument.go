package web

import (
	"fmt"
	"net/http"
	"net/url"
	"strconv"

	"timeball/internal/adjust"
	"timeball/internal/chronometer"
	"timeball/internal/clock"
	"timeball/internal/web/bench"
	"timeball/internal/web/drawing"
	"timeball/internal/web/form"
	"timeball/internal/web/logbook"
	"timeball/internal/web/passages"
	"timeball/internal/web/ratesheet"
	"timeball/internal/web/trials"
	"timeball/internal/web/wording"
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
	Wrote                   *logbook.Line
	Brought                 string
	Notices                 []notice
	Pending                 bool
	Curves                  []drawing.Curve // the first is the error curve
	By                      string          // who writes on this computer
	Hand                    string          // what to do about the minute hand; empty if its error is not known
	ratesheet.Sheet
	Trial       *trials.Sheet // the one that goes on, as far as today
	Readings    []drawing.LongReading
	Passage     *passages.Passage // the last journey; nil if there was none lately
	Logbook     logbook.Book
	Particulars []ratesheet.Labelled
}

// link leads to another page.
type link struct{ Words, Href string }

// notice is something that a reader must see before the figures.
type notice struct {
	Words   string
	Trouble bool
	Link    *link
}

func (s *site) instrument(w http.ResponseWriter, r *http.Request) error {
	seen, err := s.workshop.See(r.Context(), r.PathValue("number"))
	if err != nil {
		return err
	}
	p := instrumentPage{
		frame: s.frame("No. "+seen.Instrument.Number, "room"), At: pathOf(r), Number: seen.Instrument.Number, Maker: seen.Instrument.Maker,
		Describe: wording.Upper(seen.Instrument.Describe()), Station: string(seen.State.Station), Motion: string(seen.State.Motion),
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
	if seen.Current {
		p.Hand = bench.HandAdvice(seen)
	}
	p.act(seen)
	p.notice(seen)
	p.travels(seen)
	if _, ended, ok := seen.Logbook.Trial(); ok && ended.ID == "" {
		if t, err := adjust.Latest(seen); err == nil { // its own page says why it cannot be followed
			today := trials.NewToday(t, p.At, seen.Now)
			p.Trial = &today
		}
	}
	query := r.URL.Query()
	if n, err := strconv.Atoi(query.Get("brought")); err == nil && n >= 0 {
		p.Brought = wording.Sentence(wording.Counted(n, "entry", "entries") + " brought in")
	}
	p.Logbook = logbook.New(seen, p.At, query)
	if e, ok := seen.Logbook.Entry(chronometer.ID(query.Get("wrote"))); ok {
		written := logbook.NewLine(seen, e, p.At, logbook.NotesOf(seen.Rating))
		written.Words += wording.After(" · ", bench.MovedWords(seen, e))
		p.Wrote = &written
	}
	p.Sheet = ratesheet.New(seen, p.Logbook, p.At)
	for n := range p.SetAside {
		if p.SetAside[n].Uphold, err = s.workshop.NewID(r.Context(), seen.ID, chronometer.KindUpheld); err != nil {
			return err
		}
	}
	p.Curves = drawing.Curves(seen, p.Logbook, p.At)
	p.Readings = drawing.LongReadings(seen, p.Logbook, p.At, chronometer.ID(query.Get("reading")))
	for _, reading := range p.Readings {
		p.Logbook.Drawn(reading.ID, "#reading-"+reading.ID)
	}
	if p.Passage = passages.Of(seen); p.Passage != nil {
		p.Passage.Href = p.Logbook.Href(p.Passage.Entry, p.At)
	}
	p.Particulars = ratesheet.Particulars(seen.Instrument)
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
			n := notice{Words: wording.Sentence(wording.Upper(a.Say)), Trouble: true}
			if a.Kind != "" {
				n.Link = &link{"Write: " + string(a.Kind), p.At + "/write/" + wording.Slug(a.Kind)}
			}
			p.Notices = append(p.Notices, n)
		}
	}
	if seen.Rating == nil {
		return
	}
	for _, m := range seen.Rating.Unrecorded {
		moved, way := wording.Figure{Words: clock.DialError(m.MovedS).Words(5)}, "forward"
		if m.MovedS < 0 {
			way = "back"
		}
		n := notice{
			Words:   fmt.Sprintf("Between %s and %s the readings jump %s by %s, and no entry tells why.", wording.Instant(m.After, seen.Now), wording.Instant(m.Before, seen.Now), way, moved.Size()),
			Trouble: true,
		}
		if m.MovedS > 0 {
			q := url.Values{"by_s": {strconv.FormatFloat(m.MovedS, 'f', -1, 64)}, "at": {form.Instant(m.After.Add(m.Before.Sub(m.After) / 2))}}
			n.Link = &link{"Write that the hands were moved", p.At + "/write/hands-moved?" + q.Encode()}
		}
		p.Notices = append(p.Notices, n)
	}
	for _, words := range seen.Rating.Warnings {
		p.Notices = append(p.Notices, notice{Words: wording.Sentence(words)})
	}
}

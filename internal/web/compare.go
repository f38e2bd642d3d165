package web

import (
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"net/http"
	"net/url"
	"strings"
	"time"

	"timeball/internal/chronometer"
	"timeball/internal/clock"
	"timeball/internal/observe"
	"timeball/internal/reference"
	"timeball/internal/timescale"
	"timeball/internal/web/bench"
	"timeball/internal/web/form"
	"timeball/internal/web/wording"
	"timeball/internal/workshop"
)

// comparePage is where a dial is compared by tapping.
type comparePage struct {
	frame
	bench.Tapping
	Back    []link
	Started bool   // it was set going a moment ago
	Typed   string // the page for one typed reading
}

func (s *site) compare(w http.ResponseWriter, r *http.Request) error {
	p, _, err := s.comparing(r)
	if err != nil {
		return err
	}
	s.show(w, http.StatusOK, "compare", p)
	return nil
}

func (s *site) comparing(r *http.Request) (comparePage, workshop.Seen, error) {
	seen, err := s.workshop.See(r.Context(), r.PathValue("number"))
	if err != nil {
		return comparePage{}, seen, err
	}
	id, err := s.workshop.NewID(r.Context(), seen.ID, chronometer.KindCompared)
	if err != nil {
		return comparePage{}, seen, err
	}
	at := pathOf(r)
	head := heading(chronometer.KindCompared, seen.Instrument.Number)
	p := comparePage{frame: s.frame(head, "room"), Tapping: bench.NewTapping(seen, id, at, author(r)), Typed: at + "/write/" + wording.Slug(chronometer.KindCompared)}
	p.Back = []link{{"The room", "/"}, {"No. " + seen.Instrument.Number, at}}
	p.Started = r.URL.Query().Has("started")
	p.Doubt = true
	return p, seen, nil
}

// tapsSent is the taps of one comparison as a page sends them.
type tapsSent struct {
	Origin  string    `json:"origin"` // RFC 3339
	AtS     []float64 `json:"at_s"`   // after the origin
	EveryS  float64   `json:"every_s"`
	Device  string    `json:"device"`         // what it is called
	DeviceS float64   `json:"device_bound_s"` // against the standard
	BoundS  *float64  `json:"bound_s"`        // of the standard then; null: not known
	OffsetS float64   `json:"offset_s"`
	Source  string    `json:"source"`
	Spell   int       `json:"spell"`
}

// mostTaps bounds the taps of one comparison.
const mostTaps = 200

// sitting reads what a page has sent; the error says what is wrong with it.
func (t tapsSent) sitting() (workshop.Sitting, error) {
	bad := func(format string, args ...any) (workshop.Sitting, error) {
		return workshop.Sitting{}, fmt.Errorf("%w: %s", chronometer.ErrEntry, fmt.Sprintf(format, args...))
	}
	origin, err := timescale.Parse(t.Origin)
	if err != nil {
		return bad("the taps have no instant; open the page again and tap once more")
	}
	if len(t.AtS) > mostTaps {
		return bad("there are %d taps; clear them and tap at most %d", len(t.AtS), mostTaps)
	}
	out := workshop.Sitting{
		Device: strings.TrimSpace(t.Device), DeviceS: t.DeviceS,
		Taps:     observe.Taps{Origin: origin, AtS: t.AtS, EveryS: t.EveryS},
		Standard: reference.Reading{UTC: origin, OffsetS: t.OffsetS, Source: t.Source, Spell: t.Spell},
	}
	if t.BoundS != nil {
		out.Standard.Known, out.Standard.BoundS = true, *t.BoundS
	}
	return out, nil
}

// tapsSoFar is the taps that a page wants reckoned while it goes on.
type tapsSoFar struct {
	EveryS float64   `json:"every_s"`
	Taps   []float64 `json:"taps"` // s of UTC since 1970
	Near   *struct {
		ErrorS float64 `json:"error_s"`
		HalfS  float64 `json:"half_s"`
	} `json:"near"` // what the dial is expected to be; null: nothing is
	Observer string `json:"observer"`
	Device   string `json:"device"`
}

// sitting reads what a page has sent so far, under the standard as it is now.
func (t tapsSoFar) sitting(now reference.Reading) (workshop.Sitting, error) {
	out := workshop.Sitting{Observer: strings.TrimSpace(t.Observer), Device: strings.TrimSpace(t.Device), Standard: now}
	out.Taps.EveryS = t.EveryS
	if len(t.Taps) == 0 || len(t.Taps) > mostTaps || !(math.Abs(t.Taps[0]) < 1e10) {
		return out, fmt.Errorf("%w: send 1 to %d taps, in seconds since 1970", chronometer.ErrEntry, mostTaps)
	}
	whole := math.Floor(t.Taps[0])
	out.Taps.Origin = time.Unix(int64(whole), 0).UTC()
	for _, at := range t.Taps {
		out.Taps.AtS = append(out.Taps.AtS, at-whole)
	}
	if t.Near != nil {
		out.Near = observe.Near{ErrorS: t.Near.ErrorS, HalfS: t.Near.HalfS, Known: true}
	}
	return out, nil
}

// tapTold is what became of one tap, for the page.
type tapTold struct {
	MarkS     float64 `json:"mark_s"`
	ResidualS float64 `json:"residual_s"`
	Dropped   string  `json:"dropped,omitempty"`
}

// candidate is a reading of the dial that the taps allow.
type candidate struct {
	ErrorS float64 `json:"error_s"`
	Words  string  `json:"words"`
}

// reckonedTold is what the taps say so far, for the page.
type reckonedTold struct {
	OK         bool        `json:"ok"`
	ErrorS     float64     `json:"error_s"`
	SDS        float64     `json:"sd_s"` // of the comparison
	Words      string      `json:"words"`
	Scatter    string      `json:"scatter_words"`
	Equation   string      `json:"equation_words"`
	Used       int         `json:"used"`
	Taps       []tapTold   `json:"taps"`
	Candidates []candidate `json:"candidates"`
	Enough     bool        `json:"enough"`
	FarS       float64     `json:"far_s"`
	Remarks    []string    `json:"remarks"`
}

// reckon tells a page what its taps say so far; nothing is written.
func (s *site) reckon(w http.ResponseWriter, r *http.Request) error {
	r.Header.Set("Accept", "application/json")
	r.Body = http.MaxBytesReader(w, r.Body, mostForm)
	var sent tapsSoFar
	if err := bad(json.NewDecoder(r.Body).Decode(&sent)); err != nil {
		return err
	}
	sitting, err := sent.sitting(s.workshop.Standard().Read())
	if err != nil {
		return err
	}
	found, err := s.workshop.Reckon(r.Context(), r.PathValue("number"), sitting)
	if errors.Is(err, observe.ErrTooFew) || errors.Is(err, observe.ErrIrregular) {
		return tell(w, http.StatusOK, reckonedTold{Remarks: []string{wording.Sentence(wording.Plain(err, ""))}, Taps: []tapTold{}, Candidates: []candidate{}})
	}
	if err != nil {
		return err
	}
	return tell(w, http.StatusOK, toldOf(found))
}

func toldOf(f workshop.Reckoned) reckonedTold {
	out := reckonedTold{OK: true, ErrorS: f.ErrorS, SDS: f.SDS, Words: bench.ErrorWords(f.ErrorS, f.SDS), Used: f.Used, Enough: f.Enough, FarS: f.FarS,
		Scatter: fmt.Sprintf("one tap scatters by %.0f ms", 1000*f.ScatterS), Equation: bench.EquationWords(f.Equation, f.From != ""), Taps: []tapTold{}, Candidates: []candidate{}, Remarks: []string{}}
	for _, tap := range f.Taps {
		out.Taps = append(out.Taps, tapTold{tap.MarkS, tap.ResidualS, tap.Dropped})
	}
	for _, e := range f.Candidates {
		out.Candidates = append(out.Candidates, candidate{e, bench.ErrorWords(e, f.SDS)})
	}
	for _, words := range f.Remarks {
		out.Remarks = append(out.Remarks, wording.Sentence(words))
	}
	return out
}

// compared writes a tapped comparison.
func (s *site) compared(w http.ResponseWriter, r *http.Request) error {
	if err := parse(w, r); err != nil {
		return err
	}
	p, seen, err := s.comparing(r)
	if err != nil {
		return err
	}
	id, err := chronometer.ParseID(r.PostForm.Get(form.IDName))
	if err != nil {
		id = p.Tapping.ID
	}
	var sent tapsSent
	if err := json.Unmarshal([]byte(r.PostForm.Get("taps")), &sent); err != nil {
		return fmt.Errorf("%w: no taps came with it; open the page again, with script, and tap", chronometer.ErrEntry)
	}
	by := strings.TrimSpace(r.PostForm.Get("by"))
	if by == "" {
		return fmt.Errorf("%w: nobody is named; say who compares", chronometer.ErrEntry)
	}
	if sent.Source == "" {
		sent.Source = s.workshop.Standard().Read().Source
	}
	sitting, err := sent.sitting()
	if err != nil {
		return err
	}
	sitting.Observer = by
	if text := r.PostForm.Get("near_s"); text != "" {
		confirmed, err := form.ParseNumber(text)
		if err != nil {
			return fmt.Errorf("%w: near_s: %w", chronometer.ErrEntry, err)
		}
		sitting.Near = workshop.Confirmed(confirmed, sitting.Taps.EveryS)
	} else if seen.Current {
		sitting.Near = seen.Expected(sitting.Taps.Origin)
	}
	sitting.Note = strings.TrimSpace(r.PostForm.Get("note"))
	e, err := s.workshop.CompareByTap(r.Context(), id, by, seen.ID, sitting)
	if err != nil {
		return err
	}
	remember(w, r, by)
	words, err := s.said(r, seen.ID, e)
	if err != nil {
		return err
	}
	return wrote(w, r, pathOf(r)+"?wrote="+url.QueryEscape(string(e.ID)), words)
}

// said tells what a comparison has found, and whether the calculation sets it
// aside.
func (s *site) said(r *http.Request, subject chronometer.ID, e chronometer.Entry) (string, error) {
	seen, err := s.workshop.See(r.Context(), string(subject))
	if err != nil {
		return "", err
	}
	c, ok := e.Fact.(chronometer.Compared)
	if !ok {
		return e.Kind().Title() + wording.After(": ", e.Fact.Words()), nil
	}
	near := 0.0
	if seen.Current {
		near = seen.ErrorNow.Mean
	}
	words := "Compared"
	if reading, ok := c.Reading(); ok {
		words += ": " + bench.ErrorWords(float64(seen.Instrument.ClockDial().Error(reading, e.At, clock.DialError(near))), c.SD())
	}
	if seen.Rating != nil {
		for _, a := range seen.Rating.SetAside {
			if a.Ref == string(e.ID) {
				words += ", but set aside: " + a.Reason + ". Look at the dial, and compare again"
			}
		}
	}
	return words, nil
}

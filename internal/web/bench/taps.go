package bench

import (
	"fmt"
	"math"
	"strings"
	"time"

	"timeball/internal/chronometer"
	"timeball/internal/observe"
	"timeball/internal/reference"
	"timeball/internal/timescale"
	"timeball/internal/web/wording"
	"timeball/internal/workshop"
)

// Sent is the taps of one comparison as a page sends them.
type Sent struct {
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

// Sitting returns what a page has sent; the error says what is wrong with it.
func (t Sent) Sitting() (workshop.Sitting, error) {
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

// SoFar is the taps that a page wants reckoned while it goes on.
type SoFar struct {
	EveryS float64   `json:"every_s"`
	Taps   []float64 `json:"taps"` // s of UTC since 1970
	Near   *struct {
		ErrorS float64 `json:"error_s"`
		HalfS  float64 `json:"half_s"`
	} `json:"near"` // what the dial is expected to be; null: nothing is
	Observer string `json:"observer"`
	Device   string `json:"device"`
}

// Sitting returns what a page has sent so far, under the standard as it is now.
func (t SoFar) Sitting(now reference.Reading) (workshop.Sitting, error) {
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

// Told is what the taps say so far, for the page.
type Told struct {
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

// NewTold returns what the taps say, for the page.
func NewTold(f workshop.Reckoned) Told {
	out := Told{OK: true, ErrorS: f.ErrorS, SDS: f.SDS, Words: ErrorWords(f.ErrorS, f.SDS), Used: f.Used, Enough: f.Enough, FarS: f.FarS,
		Scatter: fmt.Sprintf("one tap scatters by %.0f ms", 1000*f.ScatterS), Equation: EquationWords(f.Equation, f.From != ""), Taps: []tapTold{}, Candidates: []candidate{}, Remarks: []string{}}
	for _, tap := range f.Taps {
		out.Taps = append(out.Taps, tapTold{tap.MarkS, tap.ResidualS, tap.Dropped})
	}
	for _, e := range f.Candidates {
		out.Candidates = append(out.Candidates, candidate{e, ErrorWords(e, f.SDS)})
	}
	for _, words := range f.Remarks {
		out.Remarks = append(out.Remarks, wording.Sentence(words))
	}
	return out
}

// NoTold says why the taps say nothing yet.
func NoTold(err error) Told {
	return Told{Remarks: []string{wording.Sentence(wording.Plain(err, ""))}, Taps: []tapTold{}, Candidates: []candidate{}}
}

package web

import (
	"io"
	"net/http"
	"time"
)

// clock answers with UTC in RFC 3339, to the millisecond, for the clock in the
// head of a page.
func (s *site) clock(w http.ResponseWriter, r *http.Request) {
	w.Header().Set("Content-Type", "text/plain; charset=utf-8")
	w.Header().Set("Cache-Control", "no-store")
	_, _ = io.WriteString(w, s.now().UTC().Format("2006-01-02T15:04:05.000Z07:00"))
}

// exchanged is one exchange of a device with the standard: when its question
// came in and when the answer goes out, ms of UTC since 1970.
type exchanged struct {
	ReceivedMS float64  `json:"received_ms"`
	SentMS     float64  `json:"sent_ms"`
	BoundMS    *float64 `json:"bound_ms"` // of UTC here; null: not known
	OffsetS    float64  `json:"offset_s"` // UTC minus the clock of this computer
	Spell      int      `json:"spell"`    // instants of different spells do not belong together
	Source     string   `json:"source"`
	Fit        bool     `json:"fit"` // good enough for taps
}

// exchange answers a device that measures itself against the standard.
func (s *site) exchange(w http.ResponseWriter, r *http.Request) error {
	in := s.workshop.Standard().Now()
	read := s.workshop.Standard().Read()
	x := exchanged{ReceivedMS: milliseconds(in), OffsetS: read.OffsetS, Spell: read.Spell, Source: read.Source, Fit: read.Fit()}
	if read.Known {
		ms := 1000 * read.BoundS
		x.BoundMS = &ms
	}
	x.SentMS = milliseconds(s.workshop.Standard().Now())
	return tell(w, http.StatusOK, x)
}

func milliseconds(t time.Time) float64 { return float64(t.UnixMicro()) / 1000 }

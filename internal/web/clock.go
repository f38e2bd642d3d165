package web

import (
	"net/http"
	"time"
)

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

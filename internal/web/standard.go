package web

import (
	"context"
	"fmt"
	"math"
	"net/http"
	"time"

	"timeball/internal/listening"
	"timeball/internal/timebase"
	"timeball/internal/web/bench"
	"timeball/internal/web/drawing"
	"timeball/internal/web/wording"
)

// standardPage is where UTC comes from and how sure it is.
type standardPage struct {
	frame
	bench.Standard
	Curves      []drawing.Curve // the bound over the last days; none if nothing is kept yet
	Microphones []microphone
}

// boundShown is how far back the bound is drawn.
const boundShown = 7 * 24 * time.Hour

func (s *site) standard(w http.ResponseWriter, r *http.Request) error {
	state := s.workshop.Standard().State()
	kept, err := s.workshop.Standings(r.Context(), state.UTC.Add(-boundShown))
	if err != nil {
		return err
	}
	p := standardPage{frame: s.frame("The standard", "standard"), Standard: bench.NewStandard(state)}
	if c, ok := drawing.Bounds(kept, state.Reading); ok {
		p.Curves = append(p.Curves, c)
	}
	if p.Microphones, err = s.microphones(r.Context()); err != nil {
		return err
	}
	s.show(w, http.StatusOK, "standard", p)
	return nil
}

// microphone is a sound input in words.
type microphone struct{ Name, Delay, DelayHow, Clock, ClockHow, Seen string }

// microphones returns what is known of the sound inputs, the one seen last
// first.
func (s *site) microphones(ctx context.Context) ([]microphone, error) {
	all, err := s.workshop.Microphones(ctx)
	if err != nil {
		return nil, err
	}
	now := s.now()
	var out []microphone
	for _, m := range all {
		w := microphone{Name: m.Name, Delay: "not measured", Clock: "not measured", Seen: wording.Instant(m.Seen, now)}
		if w.Name == "" {
			w.Name = "A microphone without a name"
		}
		if !m.LatencyAt.IsZero() {
			w.Delay = fmt.Sprintf("%.0f ms ±%.0f", 1000*m.LatencyS, math.Ceil(1000*listening.Normal*m.LatencySDS))
			w.DelayHow = m.LatencyHow + ", " + wording.FullDay(m.LatencyAt)
		}
		if !m.PPMAt.IsZero() {
			c := timebase.Clock{Source: timebase.FromCalibration, PPM: m.PPM, SdPPM: m.PPMSD, At: m.PPMAt}.Aged(now)
			way := "fast"
			if c.PPM < 0 {
				way = "slow"
			}
			w.Clock = fmt.Sprintf("%.1f parts in a million %s ±%.1f", math.Abs(c.PPM), way, listening.Normal*c.SdPPM)
			w.ClockHow = m.PPMSource + ", " + wording.FullDay(m.PPMAt)
		}
		out = append(out, w)
	}
	return out, nil
}

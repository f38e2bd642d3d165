package api

import (
	"net/http"
	"time"

	"timeball/internal/reference"
)

// Standard is where UTC comes from and how well it is known.
type Standard struct {
	UTC         time.Time   `json:"utc"`
	BoundS      *float64    `json:"bound_s"`  // UTC is within this of utc; null: not known
	OffsetS     float64     `json:"offset_s"` // UTC minus the clock of the computer
	Fit         bool        `json:"fit"`      // good enough to compare with
	Source      string      `json:"source"`
	Remarks     []string    `json:"remarks"`
	Servers     []Server    `json:"servers"`
	Polled      *time.Time  `json:"polled"` // null: never
	LeapSeconds LeapSeconds `json:"leap_seconds"`
}

// Server is what one server says.
type Server struct {
	Name     string     `json:"name"`
	Heard    *time.Time `json:"heard"` // null: never
	OffsetS  float64    `json:"offset_s"`
	DelayS   float64    `json:"delay_s"`
	BoundS   float64    `json:"bound_s"`
	Stratum  int        `json:"stratum"`
	Used     bool       `json:"used"`
	False    bool       `json:"false"` // it contradicts the others
	Verdict  string     `json:"verdict"`
	Polls    int        `json:"polls"`
	Answered int        `json:"answered"`
}

// LeapSeconds is which table of leap seconds is in use.
type LeapSeconds struct {
	From    string     `json:"from"`
	Expires *time.Time `json:"expires"`
	Expired bool       `json:"expired"`
	Next    *time.Time `json:"next"` // a leap second is announced just before this instant; null: none
}

// FromState returns the standard as it stands in JSON.
func FromState(s reference.State) Standard {
	out := Standard{
		UTC: instant(s.UTC), OffsetS: s.OffsetS, Fit: s.Fit(), Source: s.Source, Remarks: append([]string{}, s.Remarks...), Servers: []Server{}, Polled: instantIf(s.Polled),
		LeapSeconds: LeapSeconds{From: s.ListFrom, Expires: instantIf(s.ListExpires), Expired: s.ListExpired, Next: instantIf(s.NextLeap)},
	}
	if s.Known {
		out.BoundS = &s.BoundS
	}
	for _, x := range s.Sources {
		out.Servers = append(out.Servers, Server{
			Name: x.Name, Heard: instantIf(x.Heard), OffsetS: x.OffsetS, DelayS: x.DelayS, BoundS: x.BoundS, Stratum: x.Stratum,
			Used: x.Used, False: x.False, Verdict: x.Verdict(), Polls: x.Polls, Answered: x.Answered,
		})
	}
	return out
}

func (s *surface) standard(w http.ResponseWriter, r *http.Request) error {
	if _, err := questions(r, ""); err != nil {
		return err
	}
	return send(w, http.StatusOK, FromState(s.workshop.Standard().State()))
}

package api

import (
	"encoding/json"
	"math"
	"strconv"
	"time"

	"timeball/internal/rating"
)

// Figure is a number in JSON: an error, a rate, a doubt. One that is not
// known, NaN or infinite, is null.
type Figure float64

// unknown is the figure that is written null.
var unknown = Figure(math.NaN())

// MarshalJSON writes the figure in the fewest digits that read back as it.
func (f Figure) MarshalJSON() ([]byte, error) {
	v := float64(f)
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return []byte("null"), nil
	}
	return json.Marshal(v)
}

// UnmarshalJSON reads a number, or null as NaN.
func (f *Figure) UnmarshalJSON(text []byte) error {
	if string(text) == "null" {
		*f = unknown
		return nil
	}
	return json.Unmarshal(text, (*float64)(f))
}

// figure returns v to the millionth, far below what any reading tells, so that
// the last bits of a computation are not printed.
func figure(v float64) Figure {
	if math.Abs(v) >= 1e9 {
		return Figure(v)
	}
	return Figure(math.Round(v*1e6)/1e6 + 0) // +0: no negative nought
}

// scale returns a positive quantity, such as a probability, to six digits.
func scale(v float64) Figure {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return unknown
	}
	rounded, err := strconv.ParseFloat(strconv.FormatFloat(v, 'g', 6, 64), 64)
	if err != nil {
		return Figure(v)
	}
	return Figure(rounded)
}

// instant returns an instant as it is written: UTC, to the microsecond.
func instant(t time.Time) time.Time { return t.UTC().Truncate(time.Microsecond) }

// instantIf returns nil for no instant.
func instantIf(t time.Time) *time.Time {
	if t.IsZero() {
		return nil
	}
	t = instant(t)
	return &t
}

// ErrorAt is the error at one instant, s.
type ErrorAt struct {
	At     time.Time `json:"at"`
	ErrorS Figure    `json:"error_s"`
	SDS    Figure    `json:"sd_s"`
	Lo95S  Figure    `json:"lo95_s"`
	Hi95S  Figure    `json:"hi95_s"`
}

func errorAt(at time.Time, i rating.Interval) *ErrorAt {
	return &ErrorAt{At: instant(at), ErrorS: figure(i.Mean), SDS: figure(i.SD), Lo95S: figure(i.Lo95), Hi95S: figure(i.Hi95)}
}

// DailyRate is a rate, s/d.
type DailyRate struct {
	Rate Figure `json:"rate_s_per_day"`
	SD   Figure `json:"sd_s_per_day"`
	Lo95 Figure `json:"lo95_s_per_day"`
	Hi95 Figure `json:"hi95_s_per_day"`
}

func dailyRate(i rating.Interval) *DailyRate {
	return &DailyRate{Rate: figure(i.Mean), SD: figure(i.SD), Lo95: figure(i.Lo95), Hi95: figure(i.Hi95)}
}

package api

import (
	"slices"
	"strconv"
	"time"

	"timeball/internal/rating"
	"timeball/internal/timescale"
)

// Rating is a rating in JSON. Scripts rely on the names and the nesting: fields
// may be added, and none is renamed or taken away. Lists are never null.
type Rating struct {
	Comparisons int            `json:"comparisons"`
	Used        int            `json:"used"`
	SetAside    []SetAside     `json:"set_aside"`
	Epoch       time.Time      `json:"epoch"` // the last used comparison
	ErrorS      Figure         `json:"error_s"`
	ErrorSDS    Figure         `json:"error_sd_s"`
	ErrorLo95S  Figure         `json:"error_lo95_s"`
	ErrorHi95S  Figure         `json:"error_hi95_s"`
	Rate        Figure         `json:"rate_s_per_day"` // at the epoch, at ReferenceC and in Position
	RateSD      Figure         `json:"rate_sd_s_per_day"`
	RateLo95    Figure         `json:"rate_lo95_s_per_day"`
	RateHi95    Figure         `json:"rate_hi95_s_per_day"`
	RateNow     DailyRate      `json:"rate_now"` // at the temperature and in the position of late
	Steadiness  Figure         `json:"steadiness_s_per_day"`
	SteadySD    Figure         `json:"steadiness_sd_s_per_day"`
	KnownUntil  *time.Time     `json:"known_until"` // null: it goes on
	Runs        []Run          `json:"runs"`
	Temperature *Temperature   `json:"temperature"` // null unless the comparisons determine a coefficient
	Position    string         `json:"position"`    // the one most used, empty if none is known
	Positions   []PositionRate `json:"positions"`
	Changes     []Change       `json:"changes"`
	Forecast    []Forecast     `json:"forecast"`
	Unrecorded  []Unrecorded   `json:"unrecorded"`
	Noise       Noise          `json:"noise"`
	Warnings    []string       `json:"warnings"`
}

// SetAside is a comparison kept in the record and not used.
type SetAside struct {
	Line      int       `json:"line,omitempty"`  // of the file it stands in
	Entry     string    `json:"entry,omitempty"` // or the ID of its entry
	UTC       time.Time `json:"utc"`
	ErrorS    Figure    `json:"error_s"` // as read
	ResidualS Figure    `json:"residual_s"`
	SDS       Figure    `json:"sd_s"`   // of the residual; null if it was read while the instrument stood
	SlipS     Figure    `json:"slip_s"` // what it is taken for, 0 if nothing known
	Reason    string    `json:"reason"`
}

// Run is the mean rate over one run; it is null if there is one comparison.
type Run struct {
	From        time.Time `json:"from"`
	To          time.Time `json:"to"`
	Comparisons int       `json:"comparisons"`
	Rate        Figure    `json:"rate_s_per_day"`
	RateSD      Figure    `json:"rate_sd_s_per_day"`
	RateLo95    Figure    `json:"rate_lo95_s_per_day"`
	RateHi95    Figure    `json:"rate_hi95_s_per_day"`
}

// Temperature is how the rate follows the temperature.
type Temperature struct {
	ReferenceC          float64 `json:"reference_c"`
	Linear              Figure  `json:"linear_s_per_day_per_c"`
	LinearSD            Figure  `json:"linear_sd"`
	LinearDetermined    bool    `json:"linear_determined"`
	Quadratic           Figure  `json:"quadratic_s_per_day_per_c2"`
	QuadraticSD         Figure  `json:"quadratic_sd"`
	QuadraticDetermined bool    `json:"quadratic_determined"`
	ForecastC           Figure  `json:"forecast_c"` // what the forecast takes
	ForecastSDC         Figure  `json:"forecast_sd_c"`
}

// PositionRate is the rate in a position less that in the one most used.
type PositionRate struct {
	Position string `json:"position"`
	Less     Figure `json:"rate_less_main_s_per_day"`
	SD       Figure `json:"sd"`
	Lo95     Figure `json:"lo95"`
	Hi95     Figure `json:"hi95"`
}

// Change is a tested change of rate.
type Change struct {
	At   time.Time `json:"at"`
	Kind string    `json:"kind"`
	Rate Figure    `json:"rate_change_s_per_day"`
	SD   Figure    `json:"sd"`
	P    Figure    `json:"p"` // two-sided
	Lo95 Figure    `json:"lo95"`
	Hi95 Figure    `json:"hi95"`
}

// Forecast is the error at one instant, and how many days after the epoch.
type Forecast struct {
	At     time.Time `json:"at"`
	Days   Figure    `json:"days"`
	ErrorS Figure    `json:"error_s"`
	SDS    Figure    `json:"sd_s"`
	Lo95S  Figure    `json:"lo95_s"`
	Hi95S  Figure    `json:"hi95_s"`
}

// Unrecorded is a movement of the minute hand that no entry tells.
type Unrecorded struct {
	Between [2]time.Time `json:"between"`
	MovedS  Figure       `json:"moved_s"`
}

// Noise is what the doubts rest on.
type Noise struct {
	SigmaW Figure `json:"sigma_w_s_per_sqrt_day"`         // white frequency noise
	SigmaR Figure `json:"sigma_r_s_per_day_per_sqrt_day"` // random walk of the rate
	Kappa  Figure `json:"kappa"`                          // factor on the stated standard deviations
	SDS    Figure `json:"sd_s"`                           // typical stated standard deviation
}

// FromRating returns a rating as it is written in JSON. A reading whose Ref is
// a line number is named by its line, another by its entry. The instants asked
// for stand in the forecast with the usual horizons, in the order of time.
func FromRating(r rating.Rating) Rating {
	out := Rating{
		Comparisons: r.Comparisons, Used: r.Used, Epoch: instant(r.Epoch),
		ErrorS: figure(r.Error.Mean), ErrorSDS: figure(r.Error.SD), ErrorLo95S: figure(r.Error.Lo95), ErrorHi95S: figure(r.Error.Hi95),
		Rate: figure(r.Rate.Mean), RateSD: figure(r.Rate.SD), RateLo95: figure(r.Rate.Lo95), RateHi95: figure(r.Rate.Hi95),
		RateNow: *dailyRate(r.RateNow), Steadiness: figure(r.Steadiness.Mean), SteadySD: figure(r.Steadiness.SD), KnownUntil: instantIf(r.KnownUntil), Position: r.Position,
		Noise:    Noise{SigmaW: scale(r.Noise.SigmaW), SigmaR: scale(r.Noise.SigmaR), Kappa: scale(r.Noise.Kappa), SDS: scale(r.Noise.SDS)},
		SetAside: setAside(r.SetAside), Forecast: forecast(r),
		Runs: []Run{}, Positions: []PositionRate{}, Changes: []Change{}, Unrecorded: []Unrecorded{}, Warnings: append([]string{}, r.Warnings...),
	}
	for _, run := range r.Runs {
		j := Run{From: instant(run.From), To: instant(run.To), Comparisons: run.Comparisons, Rate: unknown, RateSD: unknown, RateLo95: unknown, RateHi95: unknown}
		if run.Known {
			j.Rate, j.RateSD, j.RateLo95, j.RateHi95 = figure(run.Rate.Mean), figure(run.Rate.SD), figure(run.Rate.Lo95), figure(run.Rate.Hi95)
		}
		out.Runs = append(out.Runs, j)
	}
	if t := r.Temperature; t != nil {
		out.Temperature = &Temperature{
			ReferenceC: rating.ReferenceC,
			Linear:     figure(t.Linear.Mean), LinearSD: scale(t.Linear.SD), LinearDetermined: t.LinearKnown,
			Quadratic: figure(t.Quadratic.Mean), QuadraticSD: scale(t.Quadratic.SD), QuadraticDetermined: t.QuadraticKnown,
			ForecastC: figure(t.ForecastC), ForecastSDC: figure(t.ForecastSD),
		}
	}
	for _, p := range r.Positions {
		out.Positions = append(out.Positions, PositionRate{Position: p.Position, Less: figure(p.Rate.Mean), SD: figure(p.Rate.SD), Lo95: figure(p.Rate.Lo95), Hi95: figure(p.Rate.Hi95)})
	}
	for _, c := range r.Changes {
		out.Changes = append(out.Changes, Change{At: instant(c.At), Kind: string(c.Kind), Rate: figure(c.Rate.Mean), SD: figure(c.Rate.SD), P: scale(c.P), Lo95: figure(c.Rate.Lo95), Hi95: figure(c.Rate.Hi95)})
	}
	for _, m := range r.Unrecorded {
		out.Unrecorded = append(out.Unrecorded, Unrecorded{Between: [2]time.Time{instant(m.After), instant(m.Before)}, MovedS: figure(m.MovedS)})
	}
	return out
}

// setAside names each comparison by its line or its entry.
func setAside(all []rating.SetAside) []SetAside {
	out := []SetAside{}
	for _, s := range all {
		j := SetAside{UTC: instant(s.At), ErrorS: figure(s.ErrorS), ResidualS: figure(s.ResidualS), SDS: figure(s.SDS), SlipS: figure(s.SlipS), Reason: s.Reason}
		if s.SDS == 0 {
			j.SDS = unknown // read while it stood: there is no residual
		}
		if line, err := strconv.Atoi(s.Ref); err == nil {
			j.Line = line
		} else {
			j.Entry = s.Ref
		}
		out = append(out, j)
	}
	return out
}

// forecast returns the horizons and the instants asked for, each once, in the
// order of time.
func forecast(r rating.Rating) []Forecast {
	out := []Forecast{}
	for _, f := range slices.Concat(r.Forecast, r.Asked) {
		if !f.Known() {
			continue // it was stopped or altered before
		}
		e := errorAt(f.At, f.Error)
		out = append(out, Forecast{At: e.At, Days: figure(timescale.Days(r.Epoch, f.At)), ErrorS: e.ErrorS, SDS: e.SDS, Lo95S: e.Lo95S, Hi95S: e.Hi95S})
	}
	slices.SortStableFunc(out, func(a, b Forecast) int { return a.At.Compare(b.At) })
	return slices.CompactFunc(out, func(a, b Forecast) bool { return a.At.Equal(b.At) })
}

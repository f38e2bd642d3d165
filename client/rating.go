package client

import "time"

// ErrorAt is the error at one instant, s, + fast.
type ErrorAt struct {
	At     time.Time `json:"at"`
	ErrorS float64   `json:"error_s"`
	SDS    float64   `json:"sd_s"`
	Lo95S  float64   `json:"lo95_s"`
	Hi95S  float64   `json:"hi95_s"`
}

// DailyRate is a rate, s/d, + gaining.
type DailyRate struct {
	Rate float64 `json:"rate_s_per_day"`
	SD   float64 `json:"sd_s_per_day"`
	Lo95 float64 `json:"lo95_s_per_day"`
	Hi95 float64 `json:"hi95_s_per_day"`
}

// Rating is what the comparisons of an instrument say.
type Rating struct {
	Comparisons  int            `json:"comparisons"`
	Used         int            `json:"used"`
	SetAside     []SetAside     `json:"set_aside"`
	Epoch        time.Time      `json:"epoch"` // the last used comparison
	ErrorS       float64        `json:"error_s"`
	ErrorSDS     float64        `json:"error_sd_s"`
	ErrorLo95S   float64        `json:"error_lo95_s"`
	ErrorHi95S   float64        `json:"error_hi95_s"`
	Rate         float64        `json:"rate_s_per_day"` // at the epoch, at 20 °C and in Position
	RateSD       float64        `json:"rate_sd_s_per_day"`
	RateLo95     float64        `json:"rate_lo95_s_per_day"`
	RateHi95     float64        `json:"rate_hi95_s_per_day"`
	RateNow      DailyRate      `json:"rate_now"`             // at the temperature and in the position of late
	Steadiness   float64        `json:"steadiness_s_per_day"` // rms change of the weekly mean rate from one week to the next
	SteadinessSD float64        `json:"steadiness_sd_s_per_day"`
	KnownUntil   *time.Time     `json:"known_until"` // nil: it goes on
	Runs         []Run          `json:"runs"`
	Temperature  *Temperature   `json:"temperature"` // nil unless the comparisons determine a coefficient
	Position     string         `json:"position"`    // the one most used, empty if none is known
	Positions    []PositionRate `json:"positions"`
	Changes      []Change       `json:"changes"`
	Forecast     []Forecast     `json:"forecast"`
	Unrecorded   []Unrecorded   `json:"unrecorded"`
	Noise        Noise          `json:"noise"`
	Warnings     []string       `json:"warnings"` // sentences that a reader must see
}

// SetAside is a comparison kept in the record and not used.
type SetAside struct {
	Line      int       `json:"line,omitempty"`  // of the file it stands in
	Entry     string    `json:"entry,omitempty"` // or the id of its entry
	UTC       time.Time `json:"utc"`
	ErrorS    float64   `json:"error_s"`    // as read
	ResidualS float64   `json:"residual_s"` // as read less what the others say
	SDS       *float64  `json:"sd_s"`       // of the residual; nil if it was read while the instrument stood
	SlipS     float64   `json:"slip_s"`     // what it is taken for, 0 if nothing known
	Reason    string    `json:"reason"`
}

// Run is the mean rate over one run, s/d; it is nil if there is one comparison.
type Run struct {
	From        time.Time `json:"from"`
	To          time.Time `json:"to"`
	Comparisons int       `json:"comparisons"`
	Rate        *float64  `json:"rate_s_per_day"`
	RateSD      *float64  `json:"rate_sd_s_per_day"`
	RateLo95    *float64  `json:"rate_lo95_s_per_day"`
	RateHi95    *float64  `json:"rate_hi95_s_per_day"`
}

// Temperature is how the rate follows the temperature about ReferenceC.
type Temperature struct {
	ReferenceC          float64 `json:"reference_c"`
	Linear              float64 `json:"linear_s_per_day_per_c"`
	LinearSD            float64 `json:"linear_sd"`
	LinearDetermined    bool    `json:"linear_determined"`
	Quadratic           float64 `json:"quadratic_s_per_day_per_c2"`
	QuadraticSD         float64 `json:"quadratic_sd"`
	QuadraticDetermined bool    `json:"quadratic_determined"`
	ForecastC           float64 `json:"forecast_c"` // what the forecast takes
	ForecastSDC         float64 `json:"forecast_sd_c"`
}

// PositionRate is the rate in a position less that in the one most used, s/d.
type PositionRate struct {
	Position string  `json:"position"`
	Less     float64 `json:"rate_less_main_s_per_day"`
	SD       float64 `json:"sd"`
	Lo95     float64 `json:"lo95"`
	Hi95     float64 `json:"hi95"`
}

// Change is a tested change of rate, s/d.
type Change struct {
	At   time.Time `json:"at"`
	Kind string    `json:"kind"`
	Rate float64   `json:"rate_change_s_per_day"`
	SD   float64   `json:"sd"`
	P    float64   `json:"p"` // two-sided
	Lo95 float64   `json:"lo95"`
	Hi95 float64   `json:"hi95"`
}

// Forecast is the error at one instant, s, some days after the epoch.
type Forecast struct {
	At     time.Time `json:"at"`
	Days   float64   `json:"days"`
	ErrorS float64   `json:"error_s"`
	SDS    float64   `json:"sd_s"`
	Lo95S  float64   `json:"lo95_s"`
	Hi95S  float64   `json:"hi95_s"`
}

// Unrecorded is a movement of the minute hand that the readings show and no
// entry tells.
type Unrecorded struct {
	Between [2]time.Time `json:"between"`
	MovedS  float64      `json:"moved_s"`
}

// Noise is what the doubts rest on.
type Noise struct {
	SigmaW float64 `json:"sigma_w_s_per_sqrt_day"`         // white frequency noise
	SigmaR float64 `json:"sigma_r_s_per_day_per_sqrt_day"` // random walk of the rate
	Kappa  float64 `json:"kappa"`                          // factor on the stated standard deviations
	SDS    float64 `json:"sd_s"`                           // typical stated standard deviation
}

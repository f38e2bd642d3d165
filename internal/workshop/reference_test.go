package workshop_test

import (
	"encoding/json"
	"math"
	"os"
	"strconv"
	"testing"

	"timeball/internal/clock"
	"timeball/internal/ratebook"
	"timeball/internal/rating"
	"timeball/internal/workshop"
)

// independent is what an independent implementation of the same method, in
// another language, gives for one of the five simulated histories.
type independent struct {
	Comparisons int `json:"comparisons"`
	Used        int `json:"used"`
	SetAside    []struct {
		Line     int     `json:"line"`
		Residual float64 `json:"residual_s"`
		SD       float64 `json:"sd_s"`
		Slip     float64 `json:"slip_s"`
	} `json:"set_aside"`
	ErrorS     float64 `json:"error_s"`
	ErrorSD    float64 `json:"error_sd_s"`
	Rate       float64 `json:"rate_s_per_day"`
	RateSD     float64 `json:"rate_sd_s_per_day"`
	RateLo     float64 `json:"rate_lo95"`
	RateHi     float64 `json:"rate_hi95"`
	Steadiness float64 `json:"steadiness_s_per_day"`
	Runs       []struct {
		Comparisons int     `json:"comparisons"`
		Rate        float64 `json:"rate_s_per_day"`
		SD          float64 `json:"rate_sd_s_per_day"`
	} `json:"runs"`
	Temperature *struct {
		Linear      float64 `json:"linear_s_per_day_per_c"`
		LinearSD    float64 `json:"linear_sd"`
		Quadratic   float64 `json:"quadratic_s_per_day_per_c2"`
		QuadraticSD float64 `json:"quadratic_sd"`
		ForecastC   float64 `json:"forecast_c"`
	} `json:"temperature"`
	Changes []struct {
		Rate float64 `json:"rate_change_s_per_day"`
		SD   float64 `json:"sd"`
		P    float64 `json:"p"`
	} `json:"changes"`
	Coefficients map[string]struct {
		Value float64 `json:"value"`
		SD    float64 `json:"sd"`
	} `json:"coefficients"`
	Forecast []struct {
		Error float64 `json:"error_s"`
		SD    float64 `json:"sd_s"`
		Lo    float64 `json:"lo95_s"`
		Hi    float64 `json:"hi95_s"`
	} `json:"forecast"`
}

// TestReferenceHistories compares the five histories with their reference:
// means within 5% of the standard deviation, standard deviations and half
// widths within 5%, the same lines set aside, p within a factor 1.5.
func TestReferenceHistories(t *testing.T) {
	for _, name := range []string{"blunders", "moves", "carriage", "temperature", "position"} {
		t.Run(name, func(t *testing.T) {
			f, err := os.Open("testdata/estimation_ex_" + name + ".csv")
			if err != nil {
				t.Fatal(err)
			}
			defer f.Close()
			book, err := ratebook.Read(f)
			if err != nil {
				t.Fatal(err)
			}
			got, err := workshop.RateFile(book, clock.TwelveHour, rating.Options{})
			if err != nil {
				t.Fatal(err)
			}
			text, err := os.ReadFile("testdata/estimation_ex_" + name + ".reference.json")
			if err != nil {
				t.Fatal(err)
			}
			var want independent
			if err := json.Unmarshal(text, &want); err != nil {
				t.Fatal(err)
			}
			compare(t, got, want)
		})
	}
}

func compare(t *testing.T, got rating.Rating, want independent) {
	t.Helper()
	if got.Comparisons != want.Comparisons || got.Used != want.Used {
		t.Errorf("used %d of %d, want %d of %d", got.Used, got.Comparisons, want.Used, want.Comparisons)
	}
	estimate := func(what string, i rating.Interval, mean, sd float64) {
		t.Helper()
		if d := math.Abs(i.Mean - mean); !(d <= 0.05*sd) {
			t.Errorf("%s: mean %.5f, want %.5f (sd %.5f)", what, i.Mean, mean, sd)
		}
		if d := math.Abs(i.SD - sd); !(d <= 0.05*sd) {
			t.Errorf("%s: sd %.5f, want %.5f", what, i.SD, sd)
		}
	}
	halves := func(what string, i rating.Interval, mean, lo, hi float64) {
		t.Helper()
		if d := math.Abs((i.Mean - i.Lo95) - (mean - lo)); !(d <= 0.05*(mean-lo)) {
			t.Errorf("%s: lower half %.5f, want %.5f", what, i.Mean-i.Lo95, mean-lo)
		}
		if d := math.Abs((i.Hi95 - i.Mean) - (hi - mean)); !(d <= 0.05*(hi-mean)) {
			t.Errorf("%s: upper half %.5f, want %.5f", what, i.Hi95-i.Mean, hi-mean)
		}
	}
	estimate("error", got.Error, want.ErrorS, want.ErrorSD)
	estimate("rate", got.Rate, want.Rate, want.RateSD)
	halves("rate", got.Rate, want.Rate, want.RateLo, want.RateHi)
	if d := math.Abs(got.Steadiness.Mean - want.Steadiness); d > 0.05*want.Steadiness {
		t.Errorf("steadiness %.5f, want %.5f", got.Steadiness.Mean, want.Steadiness)
	}
	if len(got.SetAside) != len(want.SetAside) {
		t.Fatalf("set aside %+v, want %+v", got.SetAside, want.SetAside)
	}
	for i, w := range want.SetAside {
		g := got.SetAside[i]
		if g.Ref != strconv.Itoa(w.Line) || g.SlipS != w.Slip || math.Abs(g.ResidualS-w.Residual) > 0.05*w.SD || math.Abs(g.SDS-w.SD) > 0.05*w.SD {
			t.Errorf("set aside %+v, want %+v", g, w)
		}
	}
	if len(got.Runs) != len(want.Runs) {
		t.Fatalf("runs %+v, want %+v", got.Runs, want.Runs)
	}
	for i, w := range want.Runs {
		if got.Runs[i].Comparisons != w.Comparisons {
			t.Errorf("run %d: %d comparisons, want %d", i, got.Runs[i].Comparisons, w.Comparisons)
		}
		estimate("run", got.Runs[i].Rate, w.Rate, w.SD)
	}
	if want.Temperature != nil && want.Temperature.LinearSD < 0.03 {
		if got.Temperature == nil {
			t.Error("no temperature law")
		} else {
			estimate("linear", got.Temperature.Linear, want.Temperature.Linear, want.Temperature.LinearSD)
			estimate("quadratic", got.Temperature.Quadratic, want.Temperature.Quadratic, want.Temperature.QuadraticSD)
			if math.Abs(got.Temperature.ForecastC-want.Temperature.ForecastC) > 1e-6 {
				t.Errorf("forecast at %v °C, want %v", got.Temperature.ForecastC, want.Temperature.ForecastC)
			}
		}
	} else if got.Temperature != nil {
		t.Errorf("a temperature law from one temperature: %+v", got.Temperature)
	}
	if len(got.Changes) != len(want.Changes) {
		t.Fatalf("changes %+v, want %+v", got.Changes, want.Changes)
	}
	for i, w := range want.Changes {
		estimate("change", got.Changes[i].Rate, w.Rate, w.SD)
		if r := got.Changes[i].P / w.P; r > 1.5 || r < 1/1.5 {
			t.Errorf("p %.6f, want %.6f", got.Changes[i].P, w.P)
		}
	}
	for _, p := range got.Positions {
		w := want.Coefficients["position "+p.Position]
		estimate(p.Position, p.Rate, w.Value, w.SD)
	}
	for i, w := range want.Forecast {
		estimate("forecast", got.Forecast[i].Error, w.Error, w.SD)
		halves("forecast", got.Forecast[i].Error, w.Error, w.Lo, w.Hi)
	}
}

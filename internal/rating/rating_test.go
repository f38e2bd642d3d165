package rating_test

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"timeball/internal/rating"
	"timeball/internal/simulate"
	"timeball/internal/timescale"
)

// TestPosteriorOfCheckA: eight readings, the noise averaged over with its
// priors. The values come from a fine quadrature (15 × 15 × 11 points, step
// 0.6) in another language; tolerance 1% of the standard deviation on means, 2%
// on standard deviations and half widths.
func TestPosteriorOfCheckA(t *testing.T) {
	days := []float64{0, 1, 2, 3.5, 5, 8, 9, 12}
	y := []float64{12.10, 11.52, 10.71, 9.60, 8.55, 6.31, 5.40, 3.35}
	sd := []float64{.1, .1, .2, .1, .3, .1, .1, .2}
	r, err := rating.Rate(toHistory(days, y, sd, nil), rating.Options{})
	if err != nil {
		t.Fatal(err)
	}
	check := func(what string, got rating.Interval, mean, sd, lo, hi float64) {
		t.Helper()
		if math.Abs(got.Mean-mean) > 0.01*sd || math.Abs(got.SD-sd) > 0.02*sd ||
			math.Abs(got.Mean-got.Lo95-(mean-lo)) > 0.02*(mean-lo) || math.Abs(got.Hi95-got.Mean-(hi-mean)) > 0.02*(hi-mean) {
			t.Errorf("%s: %+v, want %v ± %v, %v … %v", what, got, mean, sd, lo, hi)
		}
	}
	check("rate", r.Rate, -0.737816418019003, 0.04564629766374046, -0.8276972213618972, -0.6403357760487756)
	check("1 d", r.Forecast[0].Error, 2.5568177314584766, 0.1859108984825232, 2.19282215587737, 2.944241861867722)
	check("7 d", r.Forecast[1].Error, -1.8700807766555407, 0.510239075069085, -2.8711060663024073, -0.7898011271543267)
	check("30 d", r.Forecast[2].Error, -18.839858391092612, 2.280538409682053, -23.289269848860393, -14.129003859705094)
	check("60 d", r.Forecast[3].Error, -40.9743509316627, 5.594435119012972, -51.878218027354976, -29.57870700590115)
}

// TestCarriageFalseAlarms: where the carriage changed nothing, the test at 5%
// rejects in 2 to 8 of a hundred; where it changed 0.6 s/d it mostly finds it.
func TestCarriageFalseAlarms(t *testing.T) {
	share := func(seed uint64, change float64) float64 {
		rng := rand.New(rand.NewPCG(seed, 2))
		const runs = 400
		found := 0
		for range runs {
			c := simulate.CarriageCase{Noise: simulate.Noise{SigmaW: .2, SigmaR: .02}, Each: 14, GapDays: 5, SDS: .1, RateChange: change}
			k := fromSimulation(simulate.Carriage(rng, c))
			r, err := rating.Rate(k.history, rating.Options{})
			if err != nil {
				t.Fatal(err)
			}
			if len(r.Changes) != 1 {
				t.Fatalf("changes %+v", r.Changes)
			}
			if r.Changes[0].P < 0.05 {
				found++
			}
		}
		return 100 * float64(found) / runs
	}
	none, some := share(1, 0), share(2, 0.6)
	t.Logf("rejects %.1f%% without a change, %.1f%% with 0.6 s/d", none, some)
	if none < 2 || none > 8 {
		t.Errorf("false alarms %.1f%%, want 2 to 8", none)
	}
	if some < 90 { // published power 99% for n = 14
		t.Errorf("a change of 0.6 s/d found in %.1f%%", some)
	}
}

// TestArnold36 rates the daily errors of Arnold's pocket chronometer no. 36 at
// Greenwich, 26 March 1779 to 29 February 1780 (J. Arnold, An Account kept
// during Thirteen Months …, London 1780). Forecasts every five days from the
// last 30 days hold 95% of the true errors at 1, 7 and 30 days, within what
// some 60 overlapping origins can show.
func TestArnold36(t *testing.T) {
	var days, errs, sds []float64
	for _, row := range table(t, "testdata/arnold36_1779.csv") {
		days, errs, sds = append(days, value(t, row[0])), append(errs, value(t, row[1])), append(sds, 0.1)
	}
	if len(days) != 341 {
		t.Fatalf("%d days", len(days))
	}
	whole, err := rating.Rate(toHistory(days, errs, sds, nil), rating.Options{})
	if err != nil {
		t.Fatal(err)
	}
	// Maximum likelihood of the whole record: σw 0.741, σr 0.190; the priors
	// hardly move them.
	if math.Abs(whole.Noise.SigmaW-0.741) > 0.08 || math.Abs(whole.Noise.SigmaR-0.19) > 0.04 {
		t.Errorf("noise %+v", whole.Noise)
	}
	truth := map[float64]float64{}
	for i, d := range days {
		truth[d] = errs[i]
	}
	inside, asked := [3]int{}, [3]int{}
	for end := 30; end < len(days); end += 5 {
		last := days[end-1]
		var ask []time.Time
		for _, h := range horizons[:3] {
			ask = append(ask, timescale.AddDays(origin, last+h))
		}
		r, err := rating.Rate(toHistory(days[end-30:end], errs[end-30:end], sds[:30], nil), rating.Options{At: ask})
		if err != nil {
			t.Fatal(err)
		}
		for i, h := range horizons[:3] {
			if e, ok := truth[last+h]; ok {
				asked[i]++
				// The truth is itself a reading of 0.1 s.
				if x := r.Asked[i].Error; e > x.Lo95-0.2 && e < x.Hi95+0.2 {
					inside[i]++
				}
			}
		}
	}
	for i := range inside {
		share := 100 * float64(inside[i]) / float64(asked[i])
		t.Logf("%g d: %.0f%% of %d inside", horizons[i], share, asked[i])
		if share < 85 {
			t.Errorf("%g d: %.0f%% of %d inside", horizons[i], share, asked[i])
		}
	}
}

// daily returns a steady record of n days losing rate s/d from start s.
func daily(n int, start, rate float64) (t, y, sd []float64) {
	rng := rand.New(rand.NewPCG(7, uint64(n)))
	for i := range n {
		t, y, sd = append(t, float64(i)), append(y, start+rate*float64(i)+0.05*rng.NormFloat64()), append(sd, 0.1)
	}
	return t, y, sd
}

// TestBlundersAreNamed plants one slip of each kind and wants it set aside
// with its name.
func TestBlundersAreNamed(t *testing.T) {
	for _, c := range []struct {
		slip float64
		says string
	}{
		{60, "one minute out, fast"}, {-60, "one minute out, slow"}, {120, "two minutes"}, {3600, "one hour"}, {-43200, "twelve hours"},
		{10, "ten seconds"}, {30, "thirty seconds"}, {1, "one second"}, {17.3, "stray"}, {math.NaN(), "fast written for slow"},
	} {
		days, y, sd := daily(25, 31, -0.7)
		want := y[12] + c.slip
		if math.IsNaN(c.slip) {
			y[12] = -y[12]
			want, c.says = y[12], "slow written for fast"
		}
		y[12] = want
		r, err := rating.Rate(toHistory(days, y, sd, nil), rating.Options{})
		if err != nil {
			t.Fatal(err)
		}
		if len(r.SetAside) != 1 || r.SetAside[0].Ref != "12" || !strings.Contains(r.SetAside[0].Reason, c.says) {
			t.Errorf("slip %v: %+v, want %q", c.slip, r.SetAside, c.says)
			continue
		}
		// Said to be right, it is used.
		h := toHistory(days, y, sd, nil)
		h.Readings[12].Upheld = true
		if r, err := rating.Rate(h, rating.Options{}); err != nil || len(r.SetAside) != 0 && r.SetAside[0].Ref == "12" {
			t.Errorf("slip %v upheld: %+v, %v", c.slip, r.SetAside, err)
		}
	}
}

// TestDialModulo follows a dial of twelve hours through hand moves and past
// six hours.
func TestDialModulo(t *testing.T) {
	h := rating.History{}
	for i := range 40 {
		at := timescale.AddDays(origin, float64(i))
		e := 21590 + 1.5*float64(i)
		if i >= 20 {
			e += 600
		}
		h.Readings = append(h.Readings, rating.Reading{Ref: fmt.Sprint(i), At: at, ErrorS: math.Mod(e+43200*5, 43200), ModulusS: 43200, SDS: .1})
	}
	h.Events = []rating.Event{{At: timescale.AddDays(origin, 19.5), Kind: rating.HandsMoved, MovedS: 600}}
	r, err := rating.Rate(h, rating.Options{})
	if err != nil {
		t.Fatal(err)
	}
	if want := 21590 + 1.5*39 + 600; math.Abs(r.Error.Mean-want) > 0.5 || math.Abs(r.Rate.Mean-1.5) > 0.1 {
		t.Errorf("error %v, want %v; rate %v", r.Error.Mean, want, r.Rate.Mean)
	}
	if len(r.Warnings) == 0 || !strings.Contains(strings.Join(r.Warnings, " "), "more than an hour") {
		t.Errorf("warnings %q", r.Warnings)
	}
}

// TestUnrecordedMove: the minute hand moved and nobody wrote it down.
func TestUnrecordedMove(t *testing.T) {
	days, y, sd := daily(30, 5, -0.9)
	for i := 18; i < 30; i++ {
		y[i] += 60
	}
	r, err := rating.Rate(toHistory(days, y, sd, nil), rating.Options{})
	if err != nil {
		t.Fatal(err)
	}
	if len(r.Unrecorded) != 1 || r.Unrecorded[0].MovedS != 60 || len(r.SetAside) != 0 {
		t.Fatalf("unrecorded %+v, set aside %+v", r.Unrecorded, r.SetAside)
	}
	if !r.Unrecorded[0].After.Equal(timescale.AddDays(origin, 17)) || !r.Unrecorded[0].Before.Equal(timescale.AddDays(origin, 18)) {
		t.Errorf("between %v and %v", r.Unrecorded[0].After, r.Unrecorded[0].Before)
	}
	if math.Abs(r.Error.Mean-y[29]) > 0.2 || math.Abs(r.Rate.Mean+0.9) > 0.1 {
		t.Errorf("error %v, rate %v", r.Error.Mean, r.Rate.Mean)
	}
	// A misreading in the end does not hide the move.
	y[29] += 60
	r, err = rating.Rate(toHistory(days, y, sd, nil), rating.Options{})
	if err != nil || len(r.Unrecorded) != 1 || len(r.SetAside) != 1 || r.SetAside[0].Ref != "29" {
		t.Errorf("unrecorded %+v, set aside %+v, %v", r.Unrecorded, r.SetAside, err)
	}
	// Nor does one in the beginning, or a stray just after the hand was moved.
	days, y, sd = daily(30, 5, -0.9)
	y[0] += 60
	y[18] += 10
	for i := 18; i < 30; i++ {
		y[i] += 60
	}
	r, err = rating.Rate(toHistory(days, y, sd, nil), rating.Options{})
	if err != nil || len(r.Unrecorded) != 1 || len(r.SetAside) != 2 {
		t.Errorf("unrecorded %+v, set aside %+v, %v", r.Unrecorded, r.SetAside, err)
	}
	// Two misreadings of a minute side by side are no move.
	days, y, sd = daily(30, 5, -0.9)
	y[18] += 60
	y[19] += 60
	r, err = rating.Rate(toHistory(days, y, sd, nil), rating.Options{})
	if err != nil || len(r.Unrecorded) != 0 || len(r.SetAside) != 2 {
		t.Errorf("unrecorded %+v, set aside %+v, %v", r.Unrecorded, r.SetAside, err)
	}
}

// TestLeapSecond: across the second inserted at the end of 2016 a dial gains
// one second on UTC and its rate does not change (24 December +2.0 s, 7
// January -6.8 s: -0.7 s/d).
func TestLeapSecond(t *testing.T) {
	from := time.Date(2016, 12, 24, 12, 0, 0, 0, time.UTC)
	var h rating.History
	for i := range 15 {
		at := from.AddDate(0, 0, i)
		d := timescale.Days(from, at)
		h.Readings = append(h.Readings, rating.Reading{At: at, ErrorS: 2 - 0.7*d + float64(timescale.LeapSeconds(from, at)), SDS: .1})
	}
	r, err := rating.Rate(h, rating.Options{At: []time.Time{from.AddDate(0, 0, 3)}})
	if err != nil {
		t.Fatal(err)
	}
	if math.Abs(r.Rate.Mean+0.7) > 0.001 || math.Abs(r.Error.Mean+6.8) > 0.01 || len(r.SetAside) != 0 {
		t.Errorf("rate %v, error %v, set aside %v", r.Rate.Mean, r.Error.Mean, r.SetAside)
	}
	if e := r.Asked[0].Error; math.Abs(e.Mean+0.1) > 0.05 || !(e.SD > 0) {
		t.Errorf("on the third day %+v", e)
	}
}

// TestBrokenOff: once it was stopped and started anew without a comparison,
// nothing is said of its error; a carriage only makes the forecast less sure.
func TestBrokenOff(t *testing.T) {
	days, y, sd := daily(20, 5, -0.9)
	ask := []time.Time{timescale.AddDays(origin, 10), timescale.AddDays(origin, 19.5), timescale.AddDays(origin, 25)}
	h := toHistory(days, y, sd, nil)
	before, err := rating.Rate(h, rating.Options{At: ask, Track: true})
	if err != nil {
		t.Fatal(err)
	}
	h.Events = []rating.Event{{At: timescale.AddDays(origin, 20), Kind: rating.Carried}}
	carried, err := rating.Rate(h, rating.Options{At: ask, Track: true})
	if err != nil {
		t.Fatal(err)
	}
	if a, b := before.Asked[2].Error, carried.Asked[2].Error; !(b.SD > 2 && b.SD > a.SD) || len(carried.Changes) != 0 {
		t.Errorf("carried: %+v, before %+v, changes %+v", b, a, carried.Changes)
	}
	for _, kind := range []rating.EventKind{rating.Stopped, rating.Started, rating.HandsSet, rating.Regulated, rating.Serviced} {
		h.Events = []rating.Event{{At: timescale.AddDays(origin, 20), Kind: kind}}
		r, err := rating.Rate(h, rating.Options{At: ask, Track: true})
		if err != nil {
			t.Fatal(err)
		}
		if !r.Asked[0].Known() || !r.Asked[1].Known() || r.Asked[2].Known() || len(r.Forecast) > 1 {
			t.Errorf("%s: asked %+v, forecast %+v", kind, r.Asked, r.Forecast)
		}
		if _, ok := r.Track.At(ask[2]); ok {
			t.Errorf("%s: the track goes on", kind)
		}
		if _, ok := r.Track.At(ask[1]); !ok {
			t.Errorf("%s: the track ends too soon", kind)
		}
		if !strings.Contains(strings.Join(r.Warnings, " "), "not been compared since") {
			t.Errorf("%s: warnings %q", kind, r.Warnings)
		}
	}
}

func TestThin(t *testing.T) {
	for n := range 3 {
		days, y, sd := daily(n, 5, -0.9)
		if _, err := rating.Rate(toHistory(days, y, sd, nil), rating.Options{}); !errors.Is(err, rating.ErrThin) {
			t.Errorf("%d readings: %v", n, err)
		}
	}
	// Every reading in a run of its own says nothing of a rate.
	days, y, sd := daily(4, 5, -0.9)
	h := toHistory(days, y, sd, nil)
	for i := range 3 {
		h.Events = append(h.Events, rating.Event{At: timescale.AddDays(origin, float64(i)+0.5), Kind: rating.HandsSet})
	}
	if _, err := rating.Rate(h, rating.Options{}); !errors.Is(err, rating.ErrNotDetermined) {
		t.Errorf("one reading a run: %v", err)
	}
	days, y, sd = daily(5, 5, -0.9)
	r, err := rating.Rate(toHistory(days, y, sd, nil), rating.Options{})
	if err != nil || len(r.Warnings) == 0 {
		t.Errorf("five readings: %v, warnings %q", err, r.Warnings)
	}
}

// TestNoNaN: whatever the history, a rating is an error or has every number
// with its doubt.
func TestNoNaN(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		h := rating.History{}
		day := 0.0
		kinds := []rating.EventKind{rating.HandsMoved, rating.HandsSet, rating.Started, rating.Stopped, rating.Regulated, rating.Serviced, rating.Carried}
		for range rapid.IntRange(0, 40).Draw(t, "n") {
			day += rapid.SampledFrom([]float64{0, 0.001, 0.5, 1, 1, 1, 3, 40, 1000}).Draw(t, "d")
			at := timescale.AddDays(origin, day)
			switch rapid.IntRange(0, 9).Draw(t, "what") {
			case 0:
				h.Events = append(h.Events, rating.Event{At: at, Kind: rapid.SampledFrom(kinds).Draw(t, "kind"), MovedS: 60})
			case 1:
				h.Temperatures = append(h.Temperatures, rating.TemperatureAt{At: at, C: rapid.Float64Range(-40, 60).Draw(t, "c")})
			case 2:
				h.Positions = append(h.Positions, rating.PositionAt{At: at, Position: rapid.SampledFrom([]string{"dial up", "dial down", ""}).Draw(t, "p")})
			default:
				h.Readings = append(h.Readings, rating.Reading{Ref: "x", At: at, SDS: rapid.SampledFrom([]float64{0, 0.01, 0.1, 5}).Draw(t, "sd"),
					ErrorS:   rapid.OneOf(rapid.Float64Range(-5, 5), rapid.Float64Range(-1e6, 1e6)).Draw(t, "e"),
					ModulusS: rapid.SampledFrom([]float64{0, 43200, 86400}).Draw(t, "m"), Upheld: rapid.IntRange(0, 9).Draw(t, "u") == 0})
			}
		}
		ask := []time.Time{timescale.AddDays(origin, rapid.Float64Range(-50, 3000).Draw(t, "ask"))}
		r, err := rating.Rate(h, rating.Options{At: ask, Curve: 20})
		if err != nil {
			if !errors.Is(err, rating.ErrThin) && !errors.Is(err, rating.ErrNotDetermined) {
				t.Fatal(err)
			}
			return
		}
		whole := func(what string, i rating.Interval) {
			for _, v := range []float64{i.Mean, i.SD, i.Lo95, i.Hi95} {
				if math.IsNaN(v) || math.IsInf(v, 0) {
					t.Fatalf("%s: %+v", what, i)
				}
			}
			if !(i.SD > 0) || i.Lo95 > i.Mean || i.Hi95 < i.Mean {
				t.Fatalf("%s: %+v", what, i)
			}
		}
		whole("error", r.Error)
		whole("rate", r.Rate)
		whole("rate now", r.RateNow)
		whole("steadiness", r.Steadiness)
		for _, f := range append(r.Forecast, r.Asked...) {
			if f.Known() || r.KnownUntil.IsZero() || f.At.Before(r.KnownUntil) {
				whole("forecast", f.Error)
			}
		}
		for _, run := range r.Runs {
			if run.Known {
				whole("run", run.Rate)
			}
		}
		for _, c := range r.Changes {
			whole("change", c.Rate)
		}
		if r.Used+len(r.SetAside) != r.Comparisons {
			t.Fatalf("%d used and %d set aside of %d", r.Used, len(r.SetAside), r.Comparisons)
		}
	})
}

func BenchmarkRate(b *testing.B) {
	for _, n := range []int{60, 100, 400, 1000, 3650, 10000} {
		b.Run(fmt.Sprint(n), func(b *testing.B) {
			rng := rand.New(rand.NewPCG(uint64(n), 3))
			var days, y, sd, temp []float64
			x, r := 10.0, -0.7
			for i := range n {
				e := x + 0.1*rng.NormFloat64()
				if rng.Float64() < 0.02 {
					e += 60
				}
				days, y, sd, temp = append(days, float64(i)), append(y, e), append(sd, 0.1), append(temp, 20+4*math.Sin(float64(i)/58)+rng.NormFloat64())
				x, r = simulate.Noise{SigmaW: .2, SigmaR: .02}.Step(rng, x, r, 1)
			}
			h := toHistory(days, y, sd, temp)
			b.ResetTimer()
			for b.Loop() {
				if _, err := rating.Rate(h, rating.Options{}); err != nil {
					b.Fatal(err)
				}
			}
			b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/float64(n), "ns/comparison")
		})
	}
}

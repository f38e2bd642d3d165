package chart_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"time"

	"timeball/internal/chart"
)

func day(y int, m time.Month, d, hour, minute int) time.Time {
	return time.Date(y, m, d, hour, minute, 0, 0, time.UTC)
}

var scenes = []struct {
	name string
	draw func(chart.Size) chart.Figure
}{
	{"error", func(s chart.Size) chart.Figure { return lanternQuay417().Figure(s) }},
	{"error-crowded", func(s chart.Size) chart.Figure { return crowded().Figure(s) }},
	{"error-empty", func(s chart.Size) chart.Figure {
		return chart.ErrorCurve{Caption: chart.Caption{ID: "none", Title: "Dial against UTC", Result: "No comparisons yet."}, Today: day(2027, 3, 4, 9, 12)}.Figure(s)
	}},
	{"error-one", func(s chart.Size) chart.Figure {
		return chart.ErrorCurve{Caption: chart.Caption{ID: "one", Title: "Dial against UTC", Result: "One comparison: slow 12.4 s."},
			Comparisons: []chart.Comparison{{At: day(2027, 3, 4, 9, 12), Value: -12.4, Words: "slow 12.4 s", Entry: "a", Href: "#a"}}}.Figure(s)
	}},
	{"rate", func(s chart.Size) chart.Figure { return rate417().Figure(s) }},
	{"residuals", func(s chart.Size) chart.Figure { return residuals417().Figure(s) }},
	{"temperature", func(s chart.Size) chart.Figure { return temperature().Figure(s) }},
	{"temperature-empty", func(s chart.Size) chart.Figure {
		return chart.TemperatureCurve{Caption: chart.Caption{ID: "law", Title: "Rate against temperature", Result: "No rate yet."}}.Figure(s)
	}},
	{"stability", func(s chart.Size) chart.Figure { return stability417().Figure(s) }},
}

var staves = []struct {
	name  string
	staff chart.Staff
}{
	{"slow", chart.Staff{Now: &chart.Interval{Value: -12.4, Lo: -12.6, Hi: -12.2}, Then: &chart.Interval{Value: -37.3, Lo: -38, Hi: -36.6}, Scale: 40}},
	{"fast", chart.Staff{Now: &chart.Interval{Value: 24, Lo: 23.4, Hi: 24.6}, Then: &chart.Interval{Value: 82, Lo: 75, Hi: 89}, Scale: 40}},
	{"whisker", chart.Staff{Now: &chart.Interval{Value: -3, Lo: -9, Hi: 3}, Then: &chart.Interval{Value: 12, Lo: -4, Hi: 28}, Scale: 40}},
	{"beyond", chart.Staff{Now: &chart.Interval{Value: -200, Lo: -201, Hi: -199}, Then: &chart.Interval{Value: -260, Lo: -270, Hi: -250}, Scale: 120}},
	{"unknown", chart.Staff{Scale: 40}},
}

// lanternQuay417 is an invented instrument: losing about 0.83 s a day, its
// minute hand moved forward on 14 February, one reading a minute out.
func lanternQuay417() chart.ErrorCurve {
	r := rand.New(rand.NewPCG(417, 1))
	c := chart.ErrorCurve{Caption: chart.Caption{ID: "error", Title: "Dial against UTC",
		Result: "No. 417 is fast 12.9 s ±0.2 and losing 0.83 s a day; on 4 April it will be slow 11 s ±4."}}
	start, e := day(2027, 1, 18, 9, 12), -8.0
	var run []chart.Estimate
	for d := range 46 {
		at := start.AddDate(0, 0, d)
		if d == 27 {
			c.Runs = append(c.Runs, run)
			run, e = nil, e+60
			c.Interventions = append(c.Interventions, chart.Intervention{At: day(2027, 2, 14, 8, 0), Words: "minute hand moved forward 1 min", Entry: "e-hand", Href: "#e-hand", Steps: true})
		}
		e -= 0.83 + 0.1*r.NormFloat64()
		run = append(run, chart.Estimate{At: at, Value: e, Lo: e - 0.15, Hi: e + 0.15})
		id := fmt.Sprintf("e-%02d", d)
		if d == 9 {
			c.Comparisons = append(c.Comparisons, chart.Comparison{At: at, Value: e + 60, PlusMinus: 0.06, Words: at.Format("2 Jan 15:04") + ", fast 43 s", Entry: id, Href: "#" + id, SetAside: "set aside: reads one minute out"})
			continue
		}
		v := e + 0.05*r.NormFloat64()
		c.Comparisons = append(c.Comparisons, chart.Comparison{At: at, Value: v, PlusMinus: 0.06, Words: fmt.Sprintf("%s, %.2f s ±0.06", at.Format("2 Jan 15:04"), v), Entry: id, Href: "#" + id})
	}
	c.Runs = append(c.Runs, run)
	c.Today = start.AddDate(0, 0, 45)
	for d := range 32 {
		v, half := e-0.83*float64(d), 0.15+0.004*math.Pow(float64(d), 2)
		c.Forecast = append(c.Forecast, chart.Estimate{At: c.Today.AddDate(0, 0, d), Value: v, Lo: v - half, Hi: v + half})
	}
	return c
}

// crowded is an invented instrument with three years of record, more
// interventions than there is room for, and comparisons far off the scale.
func crowded() chart.ErrorCurve {
	r := rand.New(rand.NewPCG(88, 1))
	c := chart.ErrorCurve{Caption: chart.Caption{ID: "crowd", Title: "Dial against UTC", Result: "No. 88 is gaining <2 s> a day & steps \"out\" of its record."}}
	start, e, rate := day(2025, 5, 2, 8, 0), 190.0, 0.4
	var run []chart.Estimate
	words := []string{"regulated two divisions slower", "carried to Veyre", "hands set", "serviced: balance staff and mainspring replaced, oiled", "stopped", "started", "received"}
	for d := range 1000 {
		at := start.AddDate(0, 0, d)
		if r.Float64() < 0.015 {
			rate = 0.5 * r.NormFloat64()
			e += 30 * r.NormFloat64()
			c.Interventions = append(c.Interventions, chart.Intervention{At: at.Add(-2 * time.Hour), Words: words[r.IntN(len(words))], Entry: fmt.Sprint("i", d), Steps: true})
		}
		e += rate
		run = append(run, chart.Estimate{At: at, Value: e, Lo: e - 2, Hi: e + 2})
		cmp := chart.Comparison{At: at, Value: e + r.NormFloat64(), Words: at.Format(time.DateOnly), Entry: fmt.Sprint("c", d), Href: fmt.Sprint("#c", d)}
		switch {
		case d%170 == 50:
			cmp.Value, cmp.SetAside = cmp.Value+3600, "set aside: reads one hour out"
		case d%250 == 40:
			cmp.Value, cmp.SetAside = cmp.Value-60, "set aside: reads one minute out"
		}
		c.Comparisons = append(c.Comparisons, cmp)
	}
	c.Runs = [][]chart.Estimate{run}
	c.Today = start.AddDate(0, 0, 1000)
	for d := range 60 {
		v, half := e+rate*float64(d), 2+0.5*float64(d)
		c.Forecast = append(c.Forecast, chart.Estimate{At: c.Today.AddDate(0, 0, d), Value: v, Lo: v - half, Hi: v + half})
	}
	return c
}

func rate417() chart.RateCurve {
	r := rand.New(rand.NewPCG(417, 2))
	c := chart.RateCurve{Caption: chart.Caption{ID: "rate", Title: "Daily rate", Result: "No. 417 is losing 0.83 s a day ±0.03."},
		Interventions: []chart.Intervention{{At: day(2027, 2, 9, 22, 0), Words: "regulated", Entry: "e-reg", Href: "#e-reg"}}, Today: day(2027, 3, 4, 9, 12)}
	level := -0.6
	for range 2 {
		var run []chart.Estimate
		for d := range 23 {
			at := day(2027, 1, 18, 9, 12).AddDate(0, 0, d+23*len(c.Runs))
			level += 0.02 * r.NormFloat64()
			half := 0.05 + 0.1*math.Abs(float64(d)-11)/11
			run = append(run, chart.Estimate{At: at, Value: level, Lo: level - half, Hi: level + half})
			m := chart.Comparison{At: at.Add(-12 * time.Hour), Value: level + 0.12*r.NormFloat64(), Words: "mean of one day", Entry: fmt.Sprint("m", d)}
			if d == 6 {
				m.Value = 9
			}
			c.Measured = append(c.Measured, m)
		}
		c.Runs = append(c.Runs, run)
		level -= 0.25
	}
	for d := range 31 {
		half := 0.15 + 0.006*float64(d)
		c.Forecast = append(c.Forecast, chart.Estimate{At: c.Today.AddDate(0, 0, d), Value: level + 0.25, Lo: level + 0.25 - half, Hi: level + 0.25 + half})
	}
	return c
}

func residuals417() chart.Residuals {
	r := rand.New(rand.NewPCG(417, 3))
	c := chart.Residuals{Caption: chart.Caption{ID: "resid", Title: "Residuals", Result: "Of 46 comparisons of no. 417, 44 lie within 2 sd; one is set aside."}, InSD: true, Today: day(2027, 3, 4, 9, 12)}
	for d := range 46 {
		m := chart.Comparison{At: day(2027, 1, 18, 9, 12).AddDate(0, 0, d), Value: r.NormFloat64(), Words: "residual", Entry: fmt.Sprint("e-", d), Href: fmt.Sprint("#e-", d)}
		if d == 9 {
			m.Value, m.SetAside = 900, "set aside: reads one minute out"
		}
		c.Comparisons = append(c.Comparisons, m)
	}
	return c
}

func stability417() chart.StabilityCurve {
	c := chart.StabilityCurve{Caption: chart.Caption{ID: "steady", Title: "Steadiness of the rate", Result: "Over one week the rate of no. 417 varies by 0.11 s a day."}}
	model := func(days float64) float64 {
		return math.Sqrt(math.Pow(0.08/days, 2) + math.Pow(0.1, 2) + 0.0004*days)
	}
	for days := 1.0; days <= 32; days *= 2 {
		v := model(days) * (1 + 0.1*math.Sin(3*days))
		wide := 1 + 0.2*math.Sqrt(days)
		c.Measured = append(c.Measured, chart.Deviation{Days: days, Value: v, Lo: v / wide, Hi: v * wide, Words: fmt.Sprintf("over %.0f days %.2f s/d", days, v)})
	}
	for days := 1.0; days <= 40; days *= 1.1 {
		c.Model = append(c.Model, chart.Deviation{Days: days, Value: model(days)})
	}
	return c
}

// temperature is the law of Eppner 177, losing 1.07 s/d at 15 °C with a = -0.055
// and b = +0.0110 (Stechert, Das Marine-Chronometer (1894), §44; + losing there),
// with invented rates about it.
func temperature() chart.TemperatureCurve {
	c := chart.TemperatureCurve{Caption: chart.Caption{ID: "law", Title: "Rate against temperature", Result: "It gains most at 17.5 °C and loses 1.00 s a day there."},
		Turning: &chart.Tempered{C: 17.5, Value: -1.00125, Words: "turns at 17.5 °C ±1.1"}}
	law := func(t float64) float64 { u := t - 15; return -(1.07 - 0.055*u + 0.0110*u*u) }
	for t := 5.0; t <= 32; t++ {
		c.Law = append(c.Law, chart.Tempered{C: t, Value: law(t), Lo: law(t) - 0.1, Hi: law(t) + 0.1})
	}
	for i, t := range []float64{5, 18, 32} {
		v := law(t) + 0.05*float64(i-1)
		c.Measured = append(c.Measured, chart.Tempered{C: t, Value: v, Lo: v - 0.12, Hi: v + 0.12, Words: fmt.Sprintf("five days at %.0f °C", t)})
	}
	return c
}

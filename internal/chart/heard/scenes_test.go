package heard_test

import (
	"math"
	"math/rand/v2"

	"timeball/internal/chart"
	"timeball/internal/chart/heard"
)

// scene is a figure of the golden files: no. 417 of Lantern Quay, as heard.
type scene struct {
	name string
	draw func(chart.Size) heard.Figure
}

func named(id, title string) chart.Caption { return chart.Caption{ID: id, Title: title} }

func at(v float64) *float64 { return &v }

// detent is the mean beat of a half-second chronometer: the delays of a spring
// detent beat with amplitude 225° and lift 40°, and a faint tick 25 dB down.
func detent() heard.Beat {
	const period, n = 0.5, 4096
	rng := rand.New(rand.NewPCG(4, 17))
	b := heard.Beat{Caption: named("beat", "The beat of no. 417"), PeriodS: period, InDB: true,
		UnlockingS: at(0.1213), DropS: at(0.1213 + 0.0142), ReturnS: at(0.1213 + 0.25 + 0.0035),
		Sounds:    []heard.Sound{{AtS: 0.1213 + 0.0042, Words: "impulse"}, {AtS: 0.1213 + 0.0163, Words: "detent"}},
		Amplitude: &heard.Angle{Deg: 225, PlusMinusDeg: 5}, OutOfBeat: &heard.Angle{Deg: 5, PlusMinusDeg: 1}}
	parts := []struct{ after, level, decay float64 }{{0, 0.22, 0.0006}, {0.0042, 0.35, 0.0009}, {0.0142, 1, 0.0015}, {0.0163, 0.3, 0.001}, {0.2535, 0.056, 0.0012}}
	for i := range n {
		t := float64(i) * period / n
		power := 1e-5 * (1 + 0.25*rng.NormFloat64())
		for _, p := range parts {
			d := t - (0.1213 + p.after)
			if d < 0 {
				continue
			}
			a := p.level * (1 - math.Exp(-d/0.00012)) * math.Exp(-d/p.decay) * 1.4
			power += a * a
		}
		b.Level = append(b.Level, 10*math.Log10(math.Abs(power)+1e-7))
	}
	return b
}

// lever is the mean beat of a lever deck watch, in beat and without amplitude.
func lever() heard.Beat {
	const period, n = 0.4, 512
	b := heard.Beat{Caption: named("beat-lever", "The beat of the deck watch"), PeriodS: period, Lever: true,
		UnlockingS: at(0.390), DropS: at(0.0005), ReturnS: at(0.188)}
	for i := range n {
		t, v := float64(i)*period/n, 0.02
		for _, p := range []struct{ at, level float64 }{{0.390, 0.4}, {0.4005, 1}, {0.188, 0.38}, {0.199, 0.95}} {
			if d := math.Mod(t-p.at+period, period); d < 0.1 {
				v += p.level * math.Exp(-d/0.002)
			}
		}
		b.Level = append(b.Level, v)
	}
	return b
}

func minute() heard.Line {
	rng := rand.New(rand.NewPCG(1, 1))
	l := heard.Line{Caption: named("line", "The beats against their line")}
	for k := range 120 {
		if k >= 61 && k < 63 {
			continue
		}
		r := heard.Residual{AtS: 0.3 + float64(k)*0.5, EarlyS: 20e-6 * rng.NormFloat64()}
		if k == 30 || k == 95 {
			r.EarlyS, r.SetAside = 140e-6, true
		}
		l.Beats = append(l.Beats, r)
	}
	for k := 0.0; k <= 60; k += 2 {
		l.Band = append(l.Band, heard.Breadth{AtS: k, PlusMinusS: 3.7e-6 * math.Sqrt(1+3*(k/30-1)*(k/30-1))})
	}
	l.Breaks = []heard.Break{{AtS: 31, Words: "20 ms of sound missing"}}
	return l
}

func evening() heard.Line {
	rng := rand.New(rand.NewPCG(2, 2))
	l := heard.Line{Caption: named("line-hours", "The beats against their line")}
	walk := 0.0
	for k := range 43200 {
		walk += 3e-6*rng.NormFloat64() - walk/10000
		l.Beats = append(l.Beats, heard.Residual{AtS: float64(k) * 0.5, EarlyS: walk + 100e-6*rng.NormFloat64()})
	}
	l.Breaks = []heard.Break{{3600, "20 ms of sound missing"}, {3900, "10 ms of sound missing"}, {14400, "silent for 21 s"}, {20900, "20 ms of sound missing"}}
	for k := 0.0; k <= 21600; k += 600 {
		l.Band = append(l.Band, heard.Breadth{AtS: k, PlusMinusS: 60e-6 * math.Sqrt(1+3*(k/10800-1)*(k/10800-1))})
	}
	return l
}

func doubt() heard.Doubt {
	d := heard.Doubt{Caption: named("doubt", "How the doubt of the rate shrank"),
		Parts: []heard.Part{{"the beats themselves", 0.018}, {"escape wheel", 0.074}, {"sampling clock, not calibrated", 0.098}}}
	for t := 8.0; t <= 60; t++ {
		w := 0.2 * math.Pow(60/t, 1.5) * 0.6
		d.Course = append(d.Course, heard.Moment{AtS: t, RatePerDay: 3.5 + 0.3*w*math.Sin(t/3), PlusMinusPerDay: w})
	}
	return d
}

func wheel() heard.Teeth {
	rng := rand.New(rand.NewPCG(3, 3))
	t := heard.Teeth{Caption: named("teeth", "The escape wheel, tooth by tooth")}
	for range 15 {
		t.Teeth = append(t.Teeth, heard.Tooth{EarlyS: 22e-6 * rng.NormFloat64(), PlusMinusS: 6e-6 + 3e-6*rng.Float64()})
	}
	t.Teeth[6] = heard.Tooth{EarlyS: -48e-6, PlusMinusS: 7e-6}
	return t
}

func wind() heard.Wind {
	rng := rand.New(rand.NewPCG(5, 5))
	w := heard.Wind{Caption: named("wind", "Amplitude since winding"), Events: []heard.Hourly{{24, "usual hour of winding"}}}
	for h := 0.25; h < 30; h += 0.5 {
		w.Amplitude = append(w.Amplitude, heard.Swing{WoundH: h, AmplitudeDeg: 268 - 0.9*h + 6*math.Exp(-h/2) + 1.2*rng.NormFloat64(), PlusMinusDeg: 3 + rng.Float64()})
	}
	return w
}

func hoursOf() heard.Hours {
	rng := rand.New(rand.NewPCG(6, 6))
	h := heard.Hours{Caption: named("hours", "Rate since winding"), Events: []heard.Hourly{{24, "usual hour of winding"}}}
	course := func(t float64) float64 { return -0.2 + 0.8*math.Sin(t/9) - 0.02*t }
	for t := 0.5; t < 30; t++ {
		pm := 0.25 + 0.15*rng.Float64()
		if t == 11.5 {
			pm = 4
		}
		h.Measured = append(h.Measured, heard.Pace{WoundH: t, RatePerDay: course(t) + pm/2*rng.NormFloat64(), PlusMinusPerDay: pm})
	}
	for t := 0.0; t <= 30; t += 0.25 {
		h.Smooth = append(h.Smooth, heard.Pace{WoundH: t, RatePerDay: course(t), PlusMinusPerDay: 0.12})
	}
	return h
}

func phase() heard.Phase {
	p := heard.Phase{Caption: named("phase", "Where the beat falls"), BeatS: 0.5, AfterS: 0.132, PlusMinusS: 0.003,
		Forecast: &heard.Error{FastS: 12.93, PlusMinusS: 0.21},
		Why:      "it is the only one within the forecast; the next, fast 13.368 s, is 0.44 s away from it"}
	for k := -8; k < 9; k++ {
		p.Candidates = append(p.Candidates, heard.Candidate{FastS: 12.868 + 0.5*float64(k), Taken: k == 0})
	}
	return p
}

func phaseUnsure() heard.Phase {
	p := phase()
	p.ID, p.AfterS, p.PlusMinusS = "phase-unsure", 0.497, 0.0004
	p.Forecast = &heard.Error{FastS: -12.6, PlusMinusS: 1.4}
	p.Why = "six fall within the forecast; count the half-seconds at the dial"
	p.Candidates = nil
	for k := range 12 {
		p.Candidates = append(p.Candidates, heard.Candidate{FastS: -9.997 - 0.5*float64(k)})
	}
	return p
}

var scenes = []scene{
	{"beat", func(s chart.Size) heard.Figure { return detent().Figure(s) }},
	{"beat-lever", func(s chart.Size) heard.Figure { return lever().Figure(s) }},
	{"line", func(s chart.Size) heard.Figure { return minute().Figure(s) }},
	{"line-hours", func(s chart.Size) heard.Figure { return evening().Figure(s) }},
	{"doubt", func(s chart.Size) heard.Figure { return doubt().Figure(s) }},
	{"teeth", func(s chart.Size) heard.Figure { return wheel().Figure(s) }},
	{"wind", func(s chart.Size) heard.Figure { return wind().Figure(s) }},
	{"hours", func(s chart.Size) heard.Figure { return hoursOf().Figure(s) }},
	{"phase", func(s chart.Size) heard.Figure { return phase().Figure(s) }},
	{"phase-unsure", func(s chart.Size) heard.Figure { return phaseUnsure().Figure(s) }},
	{"empty-beat", func(s chart.Size) heard.Figure { return heard.Beat{Caption: named("empty-beat", "The beat")}.Figure(s) }},
	{"empty-line", func(s chart.Size) heard.Figure { return heard.Line{Caption: named("empty-line", "The line")}.Figure(s) }},
	{"empty-doubt", func(s chart.Size) heard.Figure {
		return heard.Doubt{Caption: named("empty-doubt", "The doubt")}.Figure(s)
	}},
}

package paper

import (
	"crypto/sha256"
	"fmt"
	"math"
	"math/rand/v2"
	"time"

	"timeball/internal/chart"
	"timeball/internal/paper/leaf"
)

// The scene is invented: no. 417 of the workshop Lantern Quay, 45 days of a
// trial at three temperatures, simulated with a fixed seed.

func letterhead() Letterhead {
	return Letterhead{Workshop: "Lantern Quay", Place: "Port of Skerrow", Keeper: "R. Halvane",
		Lines: []string{"Repair and rating of marine chronometers", "3 Lantern Quay, Skerrow", "rates@lanternquay.example"}}
}

func instrument() Instrument {
	return Instrument{Number: "417", Maker: "Corvane & Dray, Skerrow", Description: "box chronometer, two days, half-second beat, spring detent escapement",
		Owner: "Signe Vandrell", OwnerPlace: "Skerrow"}
}

func day(n int) time.Time { return time.Date(2026, 10, 10, 8, 2, 11, 0, time.UTC).AddDate(0, 0, n) }

type simulated struct {
	rate, half, errorS, tempC float64
}

const days = 45

// simulatedDays returns the rates of a quadratic law about 21 °C with noise.
func simulatedDays() []simulated {
	rng := rand.New(rand.NewPCG(417, 1))
	temps := []float64{15.2, 20.1, 29.8, 20.2, 15.1}
	out := make([]simulated, days)
	e := 48.2
	for i := range out {
		c := temps[i/9] + 0.3*rng.NormFloat64()
		rate := -0.62 - 0.0021*(c-21.4)*(c-21.4) - 0.0012*float64(i) + 0.03*rng.NormFloat64()
		e += rate
		out[i] = simulated{rate, 0.06, e, c}
	}
	return out
}

func rateFigure(size chart.Size) chart.Figure {
	var run []chart.Estimate
	var measured []chart.Comparison
	for i, d := range simulatedDays() {
		at := day(i).Add(12 * time.Hour)
		run = append(run, chart.Estimate{At: at, Value: d.rate, Lo: d.rate - d.half, Hi: d.rate + d.half})
		measured = append(measured, chart.Comparison{At: at, Value: d.rate, PlusMinus: d.half})
	}
	return chart.RateCurve{
		Caption: chart.Caption{ID: "rate", Title: "Rate of no. 417 over time", Result: "No. 417 was losing 0.83 s ±0.03 a day at the end of the trial."},
		Runs:    [][]chart.Estimate{run}, Measured: measured,
		Interventions: []chart.Intervention{{At: day(9), Words: "20 °C"}, {At: day(18), Words: "30 °C"}, {At: day(27), Words: "20 °C"}, {At: day(36), Words: "15 °C"}},
	}.Figure(size)
}

func digest(words string) string { return fmt.Sprintf("%x", sha256.Sum256([]byte(words))) }

func certificate(size leaf.Size) Certificate {
	turning := Quantity{21.4, 0.8}
	law := Law{Words: "Between 15 and 30 °C the rate follows a curve that turns at 21.4 °C ±0.8: warmer or colder than that, the instrument loses more.", Turning: &turning}
	for _, c := range []float64{15, 18, 20, 25, 30} {
		law.Rows = append(law.Rows, AtTemperature{c, Quantity{-0.674 - 0.0021*(c-21.4)*(c-21.4), 0.02 + 0.0002*(c-20)*(c-20)}})
	}
	return Certificate{
		Size: size, Number: "417-2026-11-25", Issued: time.Date(2026, 11, 25, 10, 0, 0, 0, time.UTC), Letterhead: letterhead(), Instrument: instrument(),
		WorkDone: []string{
			"4 September 2026: taken apart, cleaned and examined; detent spring and jewels found sound.",
			"9 September 2026: oiled, put together, set going at 10:00 UTC.",
			"21 September 2026: both timing nuts turned in by a sixteenth of a turn, to make it gain.",
		},
		Epoch: day(days), Error: Quantity{12.94, 0.21}, Rate: Quantity{-0.683, 0.031}, TemperatureC: 20, Position: "dial up",
		Steadiness: Range{0.052, 0.034, 0.081}, Law: law,
		Trial: &Trial{
			Programme: "Three temperatures, 45 days", Source: "of the workshop, 1 March 2026", From: day(0), To: day(days), MeanRate: Quantity{-0.742, 0.009},
			Criteria: []Criterion{
				{Name: "M", About: "mean daily rate", Value: -0.742, True: Range{-0.742, -0.751, -0.733}, Unit: "s/d", Rate: true, Limits: "at most 4.00", Kept: "kept", Doubt: "certain"},
				{Name: "V", About: "mean variation from one day to the next", Value: 0.041, True: Range{0.041, 0.029, 0.053}, Unit: "s/d", Limits: "at most 0.15", Kept: "kept", Doubt: "certain"},
				{Name: "a", About: "greatest less least weekly sum", Value: 1.084, True: Range{1.084, 0.993, 1.175}, Unit: "s", Limits: "at most 3.00", Kept: "kept", Doubt: "certain"},
				{Name: "b", About: "greatest change from one weekly sum to the next", Value: 0.977, True: Range{0.977, 0.883, 1.071}, Unit: "s", Limits: "at most 1.00", Kept: "kept", Doubt: "69 in 100"},
				{Name: "a + 2b", About: "trial number; smaller is better", Value: 3.038, True: Range{3.038, 2.826, 3.250}, Unit: "s"},
				{Name: "C", About: "change of rate for each degree", Words: "day 12 is missing", Unit: "s/d per °C", Limits: "at most 0.05"},
			},
			Verdict: "Every limit is kept, b by less than its doubt: of 100 such trials of the same instrument, 69 would keep it.",
		},
		Standard: "UTC by SNTP from three servers through the network of the port, bounded by ±0.03 s at every comparison.",
		Digest:   digest("no. 417"), Entries: 128,
		RateFigure: rateFigure(RateFigureSize(size)), LawFigure: rateFigure(LawFigureSize(size)),
	}
}

func rateSheet(size leaf.Size) RateSheet {
	s := RateSheet{Size: size, Made: time.Date(2026, 11, 25, 10, 0, 0, 0, time.UTC), Letterhead: letterhead(), Instrument: instrument(), About: "Three temperatures",
		Standard: "UTC by SNTP from three servers through the network of the port, bounded by ±0.03 s at every comparison.",
		Figure:   rateFigure(RateFigureSize(size)), Digest: digest("no. 417")}
	sum, temps := 0.0, 0.0
	for i, d := range simulatedDays() {
		d := d
		row := DailyRate{From: day(i), To: day(i + 1), Error: &Quantity{d.errorS, 0.04}, Rate: &Quantity{d.rate, d.half}, TempC: &d.tempC, Position: "dial up"}
		switch i {
		case 9, 18, 27, 36:
			row.Remark = "oven moved to the next temperature before the reading"
		case 12:
			row.Error, row.Rate, row.Remark = nil, nil, "no reading: the quay was without current"
		case 13:
			row.Rate, row.Remark = nil, "from a reading that is missing"
		}
		s.Days = append(s.Days, row)
		sum, temps = sum+d.rate, temps+d.tempC
		if i%7 == 6 {
			mean := temps / 7
			week := WeeklySum{Last: i, Words: fmt.Sprintf("Sum of week %d", i/7+1), Sum: &Quantity{sum, 0.06 * math.Sqrt2}, TempC: &mean}
			if i/7 == 1 {
				week.Sum = nil
			}
			s.Sums = append(s.Sums, week)
			sum, temps = 0, 0
		}
	}
	return s
}

func draft(size leaf.Size) Certificate {
	c := certificate(size)
	c.Draft, c.Number, c.Issued, c.Digest, c.Entries = true, "", time.Time{}, "", 0
	return c
}

// long is a certificate with names of 60 letters in several scripts, letters
// that no face has, and more words than one leaf holds.
func long(size leaf.Size) Certificate {
	c := certificate(size)
	c.Letterhead.Lines = append(c.Letterhead.Lines, "Þóra Æsi Ðuríðardóttir, clerk of the time ball and of the tide tables")
	c.Letterhead.Keeper = "Łukasz Żółkiewski-Śniadecki"
	c.Instrument.Number = "0417 Б"
	c.Instrument.Maker = "Ελένη Παπαδημητρίου-Χατζηγεωργίου & Υιοί, Πειραιάς, Ermoúpoli"
	c.Instrument.Owner = "Þóra Æsi Ðuríðardóttir-Łukasz Żółkiewska-Ελένη Παπαδημητρίου"
	c.Instrument.OwnerPlace = "Музей времени, Скерроу 時計 \U0001F570"
	for i := range 9 {
		c.WorkDone = append(c.WorkDone, fmt.Sprintf("%d October 2026: the balance staff was examined under the glass, its pivots found without a mark, and the "+
			"upper cap jewel, which had a fleck at its rim, was turned so that the pivot stands on sound stone; the end shake is 0.04 mm as before.", i+1))
	}
	c.Trial.Verdict += " " + c.Trial.Verdict + " " + c.Trial.Verdict
	c.Standard += " " + c.Standard + " Averyveryverylongwordwithoutanybreakthatnolineofthiscertificatecouldeverholdbecauseitiswiderthanthewholemeasure."
	c.Trial.Criteria[1].About = "mean variation from one day to the next, of days of the same period of temperature, as the programme of the workshop counts it"
	return c
}

// SceneCertificate and SceneRateSheet show the scene to the tests that stand
// outside the package.
var (
	SceneCertificate = certificate
	SceneRateSheet   = rateSheet
)

package together_test

import (
	"encoding/csv"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"
	"time"

	"timeball/internal/statespace"
	"timeball/internal/together"
)

var noon = time.Date(2026, 1, 1, 12, 0, 0, 0, time.UTC)

// fine is a reading so fine that it adds nothing to the noise of the clocks.
const fine = 0.001

// daily returns a book of daily rounds of three from A less B and A less C.
func daily(ab, ac []float64, sd float64) together.Book {
	b := together.Book{Names: []string{"A", "B", "C"}}
	for i := range ab {
		b.Rows = append(b.Rows, together.Row{
			At:     noon.AddDate(0, 0, i),
			ErrorS: []float64{0, -ab[i], -ac[i]}, SDS: sd,
		})
	}
	return b
}

// records returns the rows of a table below its first line, which names its
// source, and its header.
func records(t *testing.T, name string) [][]string {
	t.Helper()
	file, err := os.Open("testdata/" + name)
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	r := csv.NewReader(file)
	r.Comment = '#'
	rows, err := r.ReadAll()
	if err != nil || len(rows) < 2 {
		t.Fatal(err, len(rows))
	}
	return rows[1:]
}

func number(t *testing.T, s string) float64 {
	t.Helper()
	f, err := strconv.ParseFloat(s, 64)
	if err != nil {
		t.Fatal(err)
	}
	return f
}

func three(t *testing.T) (ab, ac []float64) {
	t.Helper()
	for _, row := range records(t, "estimation_three.csv") {
		ab = append(ab, number(t, row[1]))
		ac = append(ac, number(t, row[2]))
	}
	return ab, ac
}

// printed says whether got rounds to want, which is written to its last digit.
func printed(t *testing.T, what string, got float64, want string) {
	t.Helper()
	decimals := 0
	if i := strings.IndexByte(want, '.'); i >= 0 {
		decimals = len(want) - i - 1
	}
	if text := strconv.FormatFloat(got, 'f', decimals, 64); text != want {
		t.Errorf("%s = %s (%.8g), want %s", what, text, got, want)
	}
}

// Seven days of differences by hand. The formula is that of J. E. Gray,
// D. W. Allan (1974); the sums were done apart from this program.
func TestCornersByHand(t *testing.T) {
	ab := []float64{0, 1.1, 2.0, 3.2, 4.1, 5.3, 6.2}
	ac := []float64{0, -.5, -1.1, -1.4, -2.2, -2.6, -3.2}
	c, err := together.Steadiness(daily(ab, ac, fine), 1, 1)
	if err != nil {
		t.Fatal(err)
	}
	for i, want := range []string{"0.040", "0.055", "0.007"} {
		d := c.Pairs[i].DeviationPerDay
		printed(t, c.Pairs[i].A+c.Pairs[i].B, d*d, want)
	}
	for i, want := range []struct{ hat, likely string }{{"0.044", "0.1506"}, {"-0.004", "0.0000"}, {"0.011", "0.0816"}} {
		k := c.Instruments[i]
		printed(t, "hat of "+k.Name, k.HatVariance, want.hat)
		printed(t, "likely "+k.Name, k.RatesSD, want.likely)
	}
	if b := c.Instruments[1]; b.Hat != nil || b.Resolved || b.Lo95 != 0 || !(b.Hi95 > 0) {
		t.Errorf("B is not resolved: %+v", b)
	}
	if b := c.Instruments[1]; b.RatesSD != 0 {
		t.Errorf("B lies on the boundary, got %g", b.RatesSD)
	}
}

// The simulated comparison book whose first line says how it was made; the
// sums were done apart from this program.
func TestCornersOfTheBook(t *testing.T) {
	ab, ac := three(t)
	c, err := together.Steadiness(daily(ab[:41], ac[:41], fine), 1, 1)
	if err != nil {
		t.Fatal(err)
	}
	for i, want := range []string{"0.057497", "0.125492", "0.144574"} {
		d := c.Pairs[i].DeviationPerDay
		printed(t, c.Pairs[i].A+c.Pairs[i].B, d*d, want)
	}
	for i, want := range []struct{ variance, sd, likely string }{
		{"0.019208", "0.1386", "0.1229"}, {"0.038290", "0.1957", "0.1826"}, {"0.106285", "0.3260", "0.3488"},
	} {
		k := c.Instruments[i]
		printed(t, "hat variance of "+k.Name, k.HatVariance, want.variance)
		printed(t, "hat of "+k.Name, *k.Hat, want.sd)
		printed(t, "likely "+k.Name, k.RatesSD, want.likely)
		truth := []float64{.10, .20, .35}[i]
		t.Logf("%s: most likely %.4f, 95%% %.4f to %.4f, true %.2f, %.1f degrees of freedom", k.Name, k.Deviation, k.Lo95, k.Hi95, truth, c.EDF)
		if k.Lo95 > truth || k.Hi95 < truth {
			t.Errorf("%s: %.3f to %.3f does not hold %.2f", k.Name, k.Lo95, k.Hi95, truth)
		}
	}
	// 3(N-1)/2 - 2(N-2)/N times 4/9 for N = 41, white FM (D. Howe, D. Allan,
	// J. Barnes, 1981): 25.8, an approximation good to a few in a hundred.
	if math.Abs(c.EDF/25.8-1) > 0.03 {
		t.Errorf("%.2f degrees of freedom, want about 25.8", c.EDF)
	}
}

// The same book, ten days to either side of day 40, with the likely deviations
// of its first forty days as the noise.
func TestWhichChanged(t *testing.T) {
	ab, ac := three(t)
	c, err := together.Steadiness(daily(ab[:41], ac[:41], fine), 1, 1)
	if err != nil {
		t.Fatal(err)
	}
	var noise []statespace.Noise
	for _, k := range c.Instruments {
		noise = append(noise, statespace.Noise{SigmaW: k.RatesSD})
	}
	q, err := together.Question(daily(ab, ac, fine), noon.AddDate(0, 0, 40), together.Options{WindowDays: 10, Noise: noise})
	if err != nil {
		t.Fatal(err)
	}
	for i, want := range []struct{ change, sd, rest string }{
		{"-0.9217", "0.0908", "46.5"}, {"1.1823", "0.0967", "0.016"}, {"-0.3887", "0.1625", "143.8"},
	} {
		s := q.Suspects[i]
		printed(t, "change of "+s.Name, s.Change, want.change)
		printed(t, "sd of "+s.Name, s.SD, want.sd)
		printed(t, "rest without "+s.Name, s.RestChi2, want.rest)
	}
	if q.Verdict != together.Accused || q.Name != "B" {
		t.Errorf("%s %s", q.Verdict, q.Name)
	}
	if want := "No. B gained 1.18 s ±0.19 a day more about 10 Feb 2026."; q.Words != want {
		t.Errorf("%q, want %q", q.Words, want)
	}
}

// C. Stechert, Das Marine-Chronometer und seine Verwendung in der nautischen
// Praxis, Aus dem Archiv der Deutschen Seewarte 17 (1894) no. 4, pp. 47 and
// 45: the best value of three chronometers by weights; seconds of Stand. The
// second is printed as 21m14.0s; its weights give 21m14.10s.
func TestWeightedBest(t *testing.T) {
	for _, tt := range []struct {
		weights, stand []float64
		exact          string
	}{
		{[]float64{.60, .31, .09}, []float64{47.6, 46.8, 53.6}, "47.892"},
		{[]float64{.68, .25, .07}, []float64{21*60 + 10.7, 21*60 + 36.9, 20*60 + 25.7}, "1274.10"},
	} {
		var clues []together.Clue
		for i, w := range tt.weights {
			// Stand is true time less the dial. The doubts are those under which
			// the three agree.
			clues = append(clues, together.Clue{Name: strconv.Itoa(i), ErrorS: -tt.stand[i], ErrorSD: 30 / math.Sqrt(w)})
		}
		b, err := together.Combine(noon, clues)
		if err != nil {
			t.Fatal(err)
		}
		printed(t, "best", b.OffsetS, tt.exact)
		if b.Agreement != together.Agree {
			t.Errorf("%s: %v", b.Agreement, b)
		}
		for i, v := range b.Voices {
			if math.Abs(v.Weight-tt.weights[i]) > 1e-12 {
				t.Errorf("weight %g, want %g", v.Weight, tt.weights[i])
			}
		}
		printed(t, "doubt", b.OffsetSD, "30")
	}
}

// M. Flinders, A Voyage to Terra Australis (1814), vol. 1, Appendix, table
// VII, p. 268: longitude errors in seconds of arc, by the old rate and by one
// that alters daily. The rate is losing there; the rules take either sign.
func TestFlinders(t *testing.T) {
	for i, row := range records(t, "flinders_1814_public.csv") {
		z, n := number(t, row[3]), number(t, row[4])
		if got := number(t, row[2]) - number(t, row[1]); math.Abs(got-z) > 1e-9 {
			t.Errorf("%s: change of rate %g, printed %g", row[0], got, z)
		}
		corrected := number(t, row[6]) - together.LongitudeArcsec(together.AlteringDaily(z, n))
		if exact := number(t, row[8]); math.Abs(corrected-exact) > 1e-3 {
			t.Errorf("%s: %.4f″, want %.3f″", row[0], corrected, exact)
		}
		if print := number(t, row[7]); math.Abs(corrected-print) > 0.1 {
			t.Errorf("%s: %.2f″, printed %.1f″", row[0], corrected, print)
		}
		daily, ok := together.DailyAlteration(z, n)
		if !ok {
			t.Fatal("no daily alteration")
		}
		printed(t, row[0], daily, row[5])
		// With the mean of the two rates: 8′26.41″ and 15′01.36″.
		shortcut := number(t, row[6]) - together.LongitudeArcsec(together.AlteringEvenly(z, n))
		printed(t, row[0], shortcut, []string{"506.41", "901.36"}[i])
	}
}

// L. I. Duperrey, Voyage autour du monde … La Coquille, Hydrographie (1829),
// chapter 1, pp. 21–23: watch 118, Toulon 8 August to Tenerife 1 September.
func TestDuperrey(t *testing.T) {
	byWatch := 1*3600 + 25*60 + 49.63
	truly := 1*3600 + 28*60 + 35.73
	printed(t, "lost", truly-byWatch, "166.10")
	d, ok := together.PassageRate(0, byWatch-truly, 24)
	if !ok {
		t.Fatal("no rate")
	}
	printed(t, "passage", d, "-6.9208333")
	printed(t, "passage as printed", d, "-6.921")
	printed(t, "arrival", together.ArrivalRate(-5.5900, d), "-8.2516667")
	printed(t, "arrival as printed", together.ArrivalRate(-5.5900, -6.921), "-8.2520")
	if _, ok := together.PassageRate(0, 1, 0); ok {
		t.Error("a passage of no days has a rate")
	}
}

// C. Börgen, Annalen der Hydrographie und maritimen Meteorologie 15 (1887),
// pp. 22 and 27; losing positive.
func TestBoergen(t *testing.T) {
	growth, ok := together.DailyAlteration(9.50-7.55, 30) // 29 August to 28 September
	if !ok {
		t.Fatal("no growth")
	}
	printed(t, "growth", growth, "0.065")
	printed(t, "30 August", together.RateLater(7.55, growth, 1), "7.615")
	if got := together.RateLater(7.55, growth, 11); math.Abs(got-8.27) > 0.0051 {
		t.Errorf("9 September %g, printed 8.27", got)
	}
	// 19 September: observed 0h21m56.0s, computed 57.4 s after 20 days.
	miss, ok := together.PassageRate(57.4, 56.0, 20)
	if !ok {
		t.Fatal("no rate")
	}
	printed(t, "correction", miss, "-0.07")
	printed(t, "corrected", 8.27+miss, "8.20")
	// The rule of p. 27 against a sum by the middle of each small piece.
	sum, pieces := 0.0, 2000
	for i := range pieces {
		sum += together.RateLater(7.615, growth, 20*(float64(i)+0.5)/float64(pieces)) * 20 / float64(pieces)
	}
	if got := together.Accumulated(7.615, growth, 20); math.Abs(got-sum) > 1e-9 {
		t.Errorf("%g, the pieces make %g", got, sum)
	}
}

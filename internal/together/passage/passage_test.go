package passage_test

import (
	"encoding/csv"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"

	"timeball/internal/clock"
	"timeball/internal/together/passage"
)

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

// M. Flinders, A Voyage to Terra Australis (1814), vol. 1, Appendix, table
// VII, p. 268: longitude errors in seconds of arc, by the old rate and by one
// that alters daily. The rate is losing there; the rules take either sign.
func TestFlinders(t *testing.T) {
	for i, row := range records(t, "flinders_1814_public.csv") {
		z, n := number(t, row[3]), number(t, row[4])
		if got := number(t, row[2]) - number(t, row[1]); math.Abs(got-z) > 1e-9 {
			t.Errorf("%s: change of rate %g, printed %g", row[0], got, z)
		}
		corrected := number(t, row[6]) - passage.LongitudeArcsec(passage.AlteringDaily(z, n))
		if exact := number(t, row[8]); math.Abs(corrected-exact) > 1e-3 {
			t.Errorf("%s: %.4f″, want %.3f″", row[0], corrected, exact)
		}
		if print := number(t, row[7]); math.Abs(corrected-print) > 0.1 {
			t.Errorf("%s: %.2f″, printed %.1f″", row[0], corrected, print)
		}
		daily, ok := passage.DailyAlteration(z, n)
		if !ok {
			t.Fatal("no daily alteration")
		}
		printed(t, row[0], daily, row[5])
		// With the mean of the two rates: 8′26.41″ and 15′01.36″.
		shortcut := number(t, row[6]) - passage.LongitudeArcsec(passage.AlteringEvenly(z, n))
		printed(t, row[0], shortcut, []string{"506.41", "901.36"}[i])
	}
}

// L. I. Duperrey, Voyage autour du monde … La Coquille, Hydrographie (1829),
// chapter 1, pp. 21–23: watch 118, Toulon 8 August to Tenerife 1 September.
func TestDuperrey(t *testing.T) {
	byWatch := 1*3600 + 25*60 + 49.63
	truly := 1*3600 + 28*60 + 35.73
	printed(t, "lost", truly-byWatch, "166.10")
	d, ok := clock.MeanRate(0, clock.DialError(byWatch-truly), 24*clock.Day)
	if !ok {
		t.Fatal("no rate")
	}
	printed(t, "passage", float64(d), "-6.9208333")
	printed(t, "passage as printed", float64(d), "-6.921")
	printed(t, "arrival", passage.ArrivalRate(-5.5900, float64(d)), "-8.2516667")
	printed(t, "arrival as printed", passage.ArrivalRate(-5.5900, -6.921), "-8.2520")
	if _, ok := passage.DailyAlteration(1, 0); ok {
		t.Error("a rate alters over no days")
	}
}

// C. Börgen, Annalen der Hydrographie und maritimen Meteorologie 15 (1887),
// pp. 22 and 27; losing positive.
func TestBoergen(t *testing.T) {
	growth, ok := passage.DailyAlteration(9.50-7.55, 30) // 29 August to 28 September
	if !ok {
		t.Fatal("no growth")
	}
	printed(t, "growth", growth, "0.065")
	printed(t, "30 August", passage.RateLater(7.55, growth, 1), "7.615")
	if got := passage.RateLater(7.55, growth, 11); math.Abs(got-8.27) > 0.0051 {
		t.Errorf("9 September %g, printed 8.27", got)
	}
	// 19 September: observed 0h21m56.0s, computed 57.4 s after 20 days.
	miss, ok := clock.MeanRate(57.4, 56.0, 20*clock.Day)
	if !ok {
		t.Fatal("no rate")
	}
	printed(t, "correction", float64(miss), "-0.07")
	printed(t, "corrected", 8.27+float64(miss), "8.20")
	// The rule of p. 27 against a sum by the middle of each small piece.
	sum, pieces := 0.0, 2000
	for i := range pieces {
		sum += passage.RateLater(7.615, growth, 20*(float64(i)+0.5)/float64(pieces)) * 20 / float64(pieces)
	}
	if got := passage.Accumulated(7.615, growth, 20); math.Abs(got-sum) > 1e-9 {
		t.Errorf("%g, the pieces make %g", got, sum)
	}
}

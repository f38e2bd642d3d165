package paper_test

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"errors"
	"math"
	"strconv"
	"strings"
	"testing"
	"time"

	"timeball/internal/paper"
	"timeball/internal/paper/leaf"
	"timeball/internal/timescale"
)

// errorsAt foretells an error that runs on from e at r a day, its doubt growing.
func errorsAt(epoch time.Time, e, r float64, days []time.Time) []paper.ErrorAt {
	out := make([]paper.ErrorAt, len(days))
	for i, at := range days {
		d := timescale.Days(epoch, at)
		out[i] = paper.ErrorAt{At: at, Error: paper.Quantity{Mean: e + r*d, Half: 1.96 * math.Hypot(0.1, 0.008*d)}}
	}
	return out
}

func noons(t testing.TB, from, to string, step int) []time.Time {
	t.Helper()
	parse := func(s string) time.Time {
		at, err := time.Parse(time.DateOnly, s)
		if err != nil {
			t.Fatal(err)
		}
		return at
	}
	out, err := paper.Noons(parse(from), parse(to), step)
	if err != nil {
		t.Fatal(err)
	}
	return out
}

func correctionTable(t testing.TB, size leaf.Size, from, to string, step int) paper.CorrectionTable {
	epoch := time.Date(2026, 11, 25, 8, 0, 0, 0, time.UTC)
	c := paper.CorrectionTable{Size: size, Made: epoch.Add(2 * time.Hour), Letterhead: lanternQuay, Instrument: no417, For: "From Skerrow to Veyre and back",
		Epoch: epoch, Error: paper.Quantity{Mean: 12.94, Half: 0.2}, Rate: paper.Quantity{Mean: -0.683, Half: 0.031},
		Days: errorsAt(epoch, 12.94, -0.683, noons(t, from, to, step)), TemperatureC: 20}
	for _, at := range []float64{-5, 5, 10, 20, 30} {
		c.Law = append(c.Law, paper.AtTemperature{C: at, Rate: paper.Quantity{Mean: 0.0003*at*at*at/30 - 0.08, Half: 0.02 + 0.001*math.Abs(at-20)}})
	}
	return c
}

func TestCorrectionTable(t *testing.T) {
	for _, size := range leaves {
		for name, c := range map[string]struct {
			table  paper.CorrectionTable
			leaves [2]int
		}{
			"year":   {correctionTable(t, size, "2026-12-01", "2027-11-30", 1), [2]int{3, 4}},
			"voyage": {correctionTable(t, size, "2026-12-10", "2027-02-15", 1), [2]int{1, 2}},
			"tenth":  {correctionTable(t, size, "2026-12-01", "2027-11-30", 10), [2]int{1, 1}},
		} {
			t.Run(name+"_"+size.Name, func(t *testing.T) {
				d, err := c.table.Document()
				if err != nil {
					t.Fatal(err)
				}
				if n := len(d.Leaves); n < c.leaves[0] || n > c.leaves[1] {
					t.Errorf("%d leaves, want %d to %d", n, c.leaves[0], c.leaves[1])
				}
				golden(t, "correction-"+name+"-"+size.Name, d)
			})
		}
	}
}

// TestCorrectionWorked puts published errors and rates on the paper: the US
// Navy's clock of NAVEDTRA 14221 p. 5-18, 543 s fast and 30 days later 593.5 s,
// stands between at 543 s and 1.6833 s a day; Draper's chronometer (Lectures
// in Navigation, 1918), 160 s fast and losing 4.6667 s a day, is 118 s fast
// after nine days.
func TestCorrectionWorked(t *testing.T) {
	epoch := time.Date(2027, 6, 1, 12, 0, 0, 0, time.UTC)
	for _, c := range []struct {
		e, r float64
		day  int
		want []string
	}{
		{543, 50.5 / 30, 30, []string{"30|take off 9 min 51.8 s", "1|take off 9 min 53.5 s"}},
		{160, -70.0 / 15, 9, []string{"10|take off 1 min 58.0 s"}},
		{-160, 70.0 / 15, 9, []string{"10|add 1 min 58.0 s"}},
		{0, 0, 3, []string{"4|add 0.0 s"}},
	} {
		var days []paper.ErrorAt
		for i := 0; i <= c.day; i++ {
			days = append(days, paper.ErrorAt{At: epoch.AddDate(0, 0, i), Error: paper.Quantity{Mean: c.e + c.r*float64(i), Half: 0.2}})
		}
		table := correctionTable(t, leaf.A4, "2027-06-01", "2027-06-02", 1)
		table.Days, table.Law = days, nil
		d, err := table.Document()
		if err != nil {
			t.Fatal(err)
		}
		words := squeezed(text(t, d))
		for _, want := range c.want {
			if !strings.Contains(words, strings.Replace(want, "|", " ", 1)) {
				t.Errorf("%v + %v a day: the table does not say %q: %s", c.e, c.r, want, words)
			}
		}
	}
}

// TestCorrectionDays: every day of the table stands on the paper once, with its
// words, in order.
func TestCorrectionDays(t *testing.T) {
	c := correctionTable(t, leaf.A4, "2026-12-01", "2027-11-30", 1)
	d, err := c.Document()
	if err != nil {
		t.Fatal(err)
	}
	words := text(t, d)
	if got := strings.Count(words, "add ") + strings.Count(words, "take off "); got < 365 {
		t.Errorf("%d corrections on paper", got)
	}
	for _, m := range []string{"December 2026", "January 2027", "June 2027", "November 2027"} {
		if strings.Count(words, m) == 0 {
			t.Errorf("%s is missing", m)
		}
	}
	for _, l := range c.Lines() {
		if !strings.Contains(squeezed(words), strconv.Itoa(l.UTC.Day())+" "+l.Words) {
			t.Errorf("%s %s is missing", l.UTC, l.Words)
		}
	}
}

func TestCorrectionFiles(t *testing.T) {
	c := correctionTable(t, leaf.A4, "2026-12-01", "2027-11-30", 1)
	c.Instrument.Maker, c.For = `=HYPERLINK("x")`, "@SUM(1)"
	var b bytes.Buffer
	if err := c.WriteCSV(&b); err != nil {
		t.Fatal(err)
	}
	rows, err := csv.NewReader(&b).ReadAll()
	if err != nil || len(rows) != 366 {
		t.Fatalf("%d rows, %v", len(rows), err)
	}
	for i, row := range rows {
		for k, cell := range row {
			_, err := strconv.ParseFloat(cell, 64)
			if strings.ContainsAny(cell[:1], "=+-@\t\r") && err != nil {
				t.Errorf("row %d, cell %d: %q", i+1, k+1, cell)
			}
		}
		if i == 0 {
			continue
		}
		// What is added to the dial takes the error away, and the words say the same.
		e, _ := strconv.ParseFloat(row[1], 64)
		add, _ := strconv.ParseFloat(row[2], 64)
		sd, _ := strconv.ParseFloat(row[3], 64)
		want := c.Days[i-1]
		if math.Abs(e+add) > 1e-9 || math.Abs(e-want.Error.Mean) > 0.0005 || math.Abs(1.959964*sd-want.Error.Half) > 0.0011 {
			t.Errorf("%v, want %+v", row, want)
		}
		if (e > 0.1) != strings.HasPrefix(row[4], "take off") && math.Abs(e) > 0.1 {
			t.Errorf("%v", row)
		}
	}
	out, err := json.Marshal(c.Lines()[:1])
	if want := `[{"utc":"2026-12-01T12:00:00Z","error_s":8.728,"correction_s":-8.728,"correction_sd_s":0.112,"words":"take off 8.7 s"}]`; err != nil || string(out) != want {
		t.Errorf("%s, want %s", out, want)
	}
}

func TestCorrectionNames(t *testing.T) {
	for _, name := range []string{"Þórðarson & Æsir, Ísafjörður", "Χρονόμετρον Ναυτικόν, Πειραιεύς", wide} {
		c := correctionTable(t, leaf.Letter, "2026-12-01", "2026-12-31", 1)
		c.Instrument.Maker, c.Instrument.Owner, c.Letterhead.Workshop = name, name, name
		d, err := c.Document()
		if err != nil {
			t.Fatal(err)
		}
		if words := squeezed(text(t, d)); strings.Count(words, name) < 2 || len(d.Missing()) > 0 {
			t.Errorf("%q is not twice in %s", name, words)
		}
	}
}

func TestCorrectionRefuses(t *testing.T) {
	at := time.Date(2027, 1, 1, 0, 0, 0, 0, time.UTC)
	for _, c := range []struct {
		from, to time.Time
		step     int
		says     string
	}{
		{at, at.AddDate(0, 0, -1), 1, "before it begins"},
		{time.Time{}, at, 1, "before it begins"},
		{at, at, 0, "every 0 days"},
		{at, at, 400, "every 400 days"},
		{at, at.AddDate(11, 0, 0), 1, "more than 3660 days"},
	} {
		if _, err := paper.Noons(c.from, c.to, c.step); !errors.Is(err, paper.ErrWanting) || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%v, want %q", err, c.says)
		}
	}
	if n, err := paper.Noons(at.Add(23*time.Hour), at.AddDate(0, 0, 9), 3); err != nil || len(n) != 4 || n[0].Hour() != 12 || n[3].Day() != 10 {
		t.Errorf("%v, %v", n, err)
	}
	good := func() paper.CorrectionTable { return correctionTable(t, leaf.A4, "2026-12-01", "2026-12-03", 1) }
	for _, c := range []struct {
		change func(*paper.CorrectionTable)
		says   string
	}{
		{func(c *paper.CorrectionTable) { c.Days = nil }, "at least one day"},
		{func(c *paper.CorrectionTable) { c.Days[1].Error.Mean = math.NaN() }, "2 December 2026"},
		{func(c *paper.CorrectionTable) { c.Days[1].Error.Half = math.Inf(1) }, "2 December 2026"},
		{func(c *paper.CorrectionTable) { c.Days[2].At = c.Days[0].At }, "does not come after"},
		{func(c *paper.CorrectionTable) { c.Instrument.Number = " " }, "the number of the instrument"},
	} {
		table := good()
		c.change(&table)
		if _, err := table.Document(); !errors.Is(err, paper.ErrWanting) || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%v, want %q", err, c.says)
		}
		if err := table.WriteCSV(&bytes.Buffer{}); !errors.Is(err, paper.ErrWanting) {
			t.Errorf("a file: %v", err)
		}
	}
}

// TestCorrectionSigns: in the cold, where it loses more, more is added.
func TestCorrectionSigns(t *testing.T) {
	c := correctionTable(t, leaf.A4, "2026-12-01", "2026-12-03", 1)
	c.Law = []paper.AtTemperature{{C: -5, Rate: paper.Quantity{Mean: -0.42, Half: 0.05}}, {C: 20, Rate: paper.Quantity{Mean: 0, Half: 0.01}}, {C: 30, Rate: paper.Quantity{Mean: 0.31, Half: 0.04}}}
	d, err := c.Document()
	if err != nil {
		t.Fatal(err)
	}
	words := squeezed(text(t, d))
	for _, want := range []string{"−5.0 loses 0.42 s more a day add 0.42 s ±0.05", "20.0 as in the table nothing ±0.01", "30.0 gains 0.31 s more a day take off 0.31 s ±0.04"} {
		if !strings.Contains(words, want) {
			t.Errorf("it does not say %q: %s", want, words)
		}
	}
}

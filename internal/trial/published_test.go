package trial

import (
	"encoding/csv"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"

	"timeball/internal/trial/programme"
)

// table returns the rows of a file of testdata below its header; its first
// line names the source.
func table(t *testing.T, name string) [][]string {
	t.Helper()
	f, err := os.Open("testdata/" + name)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	c := csv.NewReader(f)
	c.Comment = '#'
	rows, err := c.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	return rows[1:]
}

func num(t *testing.T, s string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(s, 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// near holds a figure against a full-precision one, and against the printed
// one to half of its last digit.
func near(t *testing.T, what string, got, exact float64) {
	t.Helper()
	if math.Abs(got-exact) > 1e-4 {
		t.Errorf("%s: %.6f, not %.6f", what, got, exact)
	}
}

func printed(t *testing.T, what string, got float64, print string) {
	t.Helper()
	_, after, _ := strings.Cut(print, ".")
	if want := num(t, print); math.Abs(got-want) > 0.5*math.Pow(10, -float64(len(after)))+1e-9 {
		t.Errorf("%s: %.6f, printed %s", what, got, print)
	}
}

// days returns known days of rates, read to 0.05 s.
func days(rates ...float64) []Day {
	all := make([]Day, len(rates))
	for i, r := range rates {
		all[i] = Day{Number: i + 1, Known: true, RateSPerDay: r, FirstSDS: 0.05, LastSDS: 0.05}
	}
	return all
}

func programmeOf(t *testing.T, text string) programme.Programme {
	t.Helper()
	p, err := programme.Read([]byte(text))
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// figure returns a figure by its name.
func (r Result) figure(t *testing.T, name string) Figure {
	t.Helper()
	for _, f := range r.Figures {
		if f.Criterion.Name == name {
			return f
		}
	}
	t.Fatalf("no figure %s", name)
	return Figure{}
}

func weekly(t *testing.T, days int) programme.Programme {
	return programmeOf(t, `
name: weeks
periods: [{days: `+strconv.Itoa(days)+`}]
criteria:
  - {name: mean, of: mean rate}
  - {name: a, of: range of sums, sum_days: 7}
  - {name: b, of: greatest step between sums, sum_days: 7}
  - {name: a + 2b, of: sum of, terms: [{name: a}, {times: 2, name: b}]}
`)
}

// The first trial at Hamburg, 1877, prints a and b of each chronometer, not the
// weeks behind them; weeks that rise by b as far as a have just these. The sum
// is computed, and the text says that nos. 2 to 7 lie from 22 to 24 s.
func TestHamburg1877(t *testing.T) {
	for _, row := range table(t, "hamburg_1877_trial.csv") {
		a, b := num(t, row[2]), num(t, row[3])
		var rates []float64
		for sum := 0.0; ; sum = math.Min(a, sum+b) {
			for range 7 {
				rates = append(rates, sum/7)
			}
			if sum == a {
				break
			}
		}
		r := Judge(weekly(t, len(rates)), days(rates...), Ask{Ended: true})
		near(t, row[1]+" a", r.figure(t, "a").Value, a)
		near(t, row[1]+" b", r.figure(t, "b").Value, b)
		printed(t, row[1]+" a + 2b", r.figure(t, "a + 2b").Value, row[4])
		if r.Verdict != NoLimits {
			t.Errorf("%s: verdict %q without limits", row[1], r.Verdict)
		}
	}
}

// arnold returns the daily rates of J. Arnold's no. 36 at Greenwich, 1779-80
// (source in the head of the file).
func arnold(t *testing.T) []float64 {
	t.Helper()
	text, err := os.ReadFile("../../docs/examples/greenwich-1779.csv")
	if err != nil {
		t.Fatal(err)
	}
	var errorS []float64
	for line := range strings.Lines(string(text)) {
		if cells := strings.Split(strings.TrimSpace(line), ","); len(cells) == 3 && strings.HasPrefix(line, "17") {
			errorS = append(errorS, num(t, cells[1]))
		}
	}
	var rates []float64
	for i := range errorS[1:] {
		rates = append(rates, errorS[i+1]-errorS[i])
	}
	if len(rates) != 340 {
		t.Fatalf("%d rates", len(rates))
	}
	return rates
}

// Figures of Arnold's no. 36 worked out once from the 341 errors by other
// means; no print has its weekly sums, so they guard against change only.
func TestArnold36(t *testing.T) {
	rates := arnold(t)
	for _, n := range []int{340, 29 * 7} {
		r := Judge(weekly(t, n), days(rates[:n]...), Ask{Ended: true})
		near(t, "a", r.figure(t, "a").Value, 24.48)
		near(t, "b", r.figure(t, "b").Value, 14.77)
		near(t, "a + 2b", r.figure(t, "a + 2b").Value, 54.02)
		if len(r.Sums) != n/7 {
			t.Errorf("%d weeks of %d days", len(r.Sums), n)
		}
		near(t, "week 28", r.Sums[27].SumS, 9.65)
		near(t, "week 4", r.Sums[3].SumS, -14.83)
		near(t, "doubt of a week", r.Sums[3].SDS, 0.05*math.Sqrt2)
		if n == 340 {
			near(t, "mean", r.figure(t, "mean").Value, -0.607882)
			near(t, "scatter", r.Spells[0].Scatter, 1.097012)
		}
	}
}

// The 21st trial of the Seewarte, 1897-98: A of six means, and the order of
// merit from A with the B and C of the print.
func TestSeewarte1898(t *testing.T) {
	p, _ := programme.Find("ten-day-symmetrical")
	for _, row := range table(t, "seewarte_1897_98.csv") {
		var rates []float64
		for i := range 11 {
			for range 10 {
				rates = append(rates, num(t, row[1+min(i, 10-i)]))
			}
		}
		r := Judge(p, days(rates...), Ask{Ended: true})
		printed(t, "row "+row[0]+" A", r.figure(t, "A").Value, row[7])
		near(t, "row "+row[0]+" C of symmetric rates", r.figure(t, "C").Value, 0)
		sum := p.Plans(nil)[3].Value(nil, []float64{r.figure(t, "A").Value, num(t, row[8]), -num(t, row[9])})
		printed(t, "row "+row[0]+" A + 2B + C", sum, row[10])
		if class := p.Criteria[3].Class(sum); class != 0 {
			t.Errorf("row %s: class %d; the best of the print are excellent", row[0], class+1)
		}
	}
}

// A deck watch tried for ten days, with days 14 and 15 (G4SLV wiki). The page
// prints M, V and Vmax; the others follow from its rates.
func TestDeckWatch(t *testing.T) {
	p, _ := programme.Find("iso-3159")
	var ds []Day
	for _, row := range table(t, "iso3159_example_deckwatch.csv") {
		n, _ := strconv.Atoi(row[0])
		pos, err := programme.Position(row[1])
		if err != nil {
			t.Fatal(err)
		}
		ds = append(ds, Day{Number: n, Known: true, RateSPerDay: num(t, row[2]), SDS: 0.03, Position: pos})
	}
	ds, _ = Place(p, ds)
	r := Judge(p, ds, Ask{Ended: true})
	for name, exact := range map[string]float64{"M": 5.48, "V": 0.92, "Vmax": 2.1, "D": -8.9, "P": 7.18, "R": 1.9} {
		near(t, name, r.figure(t, name).Value, exact)
	}
	printed(t, "M", r.figure(t, "M").Value, "5.5")
	printed(t, "V", r.figure(t, "V").Value, "0.9")
	printed(t, "Vmax", r.figure(t, "Vmax").Value, "2.1")
	if c := r.figure(t, "C"); c.Known || !strings.Contains(c.Why, "day 11 is not known") || !strings.Contains(c.Why, "day 13 is not known") {
		t.Errorf("C: %+v", c)
	}
	if r.Verdict != NotKept || !strings.HasPrefix(r.Words, "Not kept: D outside the limit") || r.P < 0.99 {
		t.Errorf("%s (%g): %s", r.Verdict, r.P, r.Words)
	}
}

// Knoblich 1943 at Kiel, 1878-79. The source has + for losing.
func TestKnoblich1943(t *testing.T) {
	var all []Point
	for _, row := range table(t, "knoblich1943_1878.csv") {
		all = append(all, Point{TempC: num(t, row[1]), Rate: -num(t, row[2]), Weight: 10})
	}
	g, a, b, ok := LeastSquares(all, true)
	if !ok {
		t.Fatal("no law")
	}
	near(t, "g0", -g, -0.846927)
	near(t, "a", -a, -0.069356)
	near(t, "b", -b, 0.011209)
	rest := 0.0
	for _, p := range all {
		u := p.TempC - AboutC
		rest += sq(p.Rate - g - a*u - b*u*u)
	}
	printed(t, "residual", math.Sqrt(rest/4), "0.132")
	g, a, b, _ = LeastSquares([]Point{all[0], all[1], all[3]}, true)
	near(t, "g0 of three", -g, -0.874670)
	near(t, "a of three", -a, -0.065755)
	near(t, "b of three", -b, 0.0116712)
	h, ok := Law{AboutC: AboutC, Rate: Estimate{Mean: g}, Linear: Estimate{Mean: a}, Quadratic: Estimate{Mean: b}}.Hartnup()
	printed(t, "T", h.TempC, "17.817")
	near(t, "M", h.LeastSPerDay, -0.967285)
	if !ok {
		t.Error("no turning temperature")
	}
}

// Eppner 177 (C. Stechert, Archiv der Deutschen Seewarte 17 (1894) no. 4,
// §44-46): g0 +1.07, a -0.055, b +0.0110, + losing; the vertex follows.
func TestEppner177(t *testing.T) {
	law := Law{AboutC: AboutC, Rate: Estimate{Mean: -1.07}, Linear: Estimate{Mean: 0.055}, Quadratic: Estimate{Mean: -0.011}}
	h, ok := law.Hartnup()
	if !ok {
		t.Fatal("no turning temperature")
	}
	near(t, "T", h.TempC, 17.5)
	near(t, "M", h.LeastSPerDay, 1.00125)
	near(t, "Z", h.ZPerC2, 0.0110)
	if math.Abs(h.ZPerC2/3.24-0.0033951) > 1e-7 {
		t.Errorf("Z %.7f per °F²", h.ZPerC2/3.24)
	}
	for c := -10.0; c < 45; c++ {
		if math.Abs(h.Rate(c)-law.At(c)) > 1e-12 {
			t.Errorf("the two forms differ at %g °C", c)
		}
	}
}

// Annalen der Hydrographie 7 (1879) p. 337: a -0.061, b +0.011, + losing; from
// these, where a degree changes the rate by half a second.
func TestWhereOneDegreeIsHalfASecond(t *testing.T) {
	law := Law{AboutC: AboutC, Linear: Estimate{Mean: 0.061}, Quadratic: Estimate{Mean: -0.011}}
	warm, _ := law.WhereSlope(-0.5)
	cold, ok := law.WhereSlope(0.5)
	printed(t, "warm", warm, "40.5")
	printed(t, "cold", cold, "-4.95")
	if _, straight := (Law{}).WhereSlope(1); straight || !ok {
		t.Error("a straight law has one slope")
	}
}

// The observatory of Geneva (public page on compensation): the primary error
// is the slope of the chord between the outer temperatures, the secondary the
// sagitta at the middle one. A law that is a parabola about the middle has a
// sagitta of its curvature times the square of the step.
func TestGenevaErrors(t *testing.T) {
	p := programmeOf(t, `
name: three
periods: [{days: 2, temp_c: 4}, {days: 2, temp_c: 18}, {days: 2, temp_c: 32}]
criteria:
  - {name: primary, of: change per degree, periods: [3], less: [1]}
  - {name: secondary, of: middle temperature error}
`)
	rate := func(c float64) float64 { return 2 + 0.03*(c-18) - 0.008*sq(c-18) }
	r := Judge(p, days(rate(4), rate(4), rate(18), rate(18), rate(32), rate(32)), Ask{Ended: true})
	near(t, "primary", r.figure(t, "primary").Value, 0.03)
	near(t, "secondary", r.figure(t, "secondary").Value, 0.008*14*14)
}

// Four weekly means of a chronometer tried at Washington in 1912 (NAWCC
// thread): spread 2.10; the mean follows.
func TestWashington1912(t *testing.T) {
	var rates []float64
	for _, mean := range []float64{1.46, 0.33, -0.64, -0.06} {
		for range 7 {
			rates = append(rates, mean)
		}
	}
	r := Judge(weekly(t, 28), days(rates...), Ask{Ended: true})
	near(t, "spread", r.figure(t, "a").Value/7, 2.10)
	near(t, "mean", r.figure(t, "mean").Value, 0.2725)
}

package programme

import (
	"encoding/csv"
	"os"
	"strconv"
	"testing"
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

// The limits of the classes of 1891-92 (Annalen der Hydrographie 20 (1892) p. 247).
func TestClassesOf1892(t *testing.T) {
	p, _ := Find("ten-day symmetrical")
	for _, c := range []struct {
		criterion int
		most      []float64
	}{{3, []float64{2.5, 5, 6.5, 10}}, {1, []float64{0.75, 1.2, 1.6, 2.5}}, {2, []float64{0.075, 0.1, 0.15, 0.2}}} {
		for i, most := range c.most {
			q := p.Criteria[c.criterion]
			if q.Class(most) != i || q.Class(-most) != i || q.Class(most+1e-9) != i+1 {
				t.Errorf("%s: %g is not the limit of class %d", q.Name, most, i+1)
			}
		}
	}
}

// Limits and days of ISO 3159 from the public pages named in the files.
func TestISO3159(t *testing.T) {
	one, _ := Find("ISO 3159")
	two, _ := Find("iso-3159-small")
	for i, row := range table(t, "iso3159_limits.csv") {
		for k, p := range []Programme{one, two} {
			c := p.Criteria[i]
			lo, hi := num(t, row[1+2*k]), num(t, row[2+2*k])
			// A mean of absolute values has no lower limit but nought.
			if c.Name != row[0] || c.To == nil || *c.To != hi || (c.From == nil) != (lo == 0) || c.From != nil && *c.From != lo {
				t.Errorf("%s of category %d is not %g … %g", row[0], k+1, lo, hi)
			}
			if !c.Keeps(hi) || c.Keeps(hi+1e-9) || lo != 0 && (!c.Keeps(lo) || c.Keeps(lo-1e-9)) {
				t.Errorf("%s of category %d does not keep its own limits, or more", row[0], k+1)
			}
		}
	}
	of := one.PeriodOfDays()
	rows := table(t, "iso3159_programme.csv")
	if len(rows) != len(of) {
		t.Fatalf("%d days", len(of))
	}
	for i, row := range rows {
		q := one.Periods[of[i]]
		if want, err := Position(row[2]); err != nil || q.Position != want || *q.TempC != num(t, row[1]) {
			t.Errorf("day %d is %s at %g °C", i+1, q.Position, *q.TempC)
		}
	}
}

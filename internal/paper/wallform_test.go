package paper_test

import (
	"errors"
	"strconv"
	"strings"
	"testing"
	"time"

	"timeball/internal/paper"
	"timeball/internal/paper/leaf"
)

func wallForm(size leaf.Size) paper.WallForm {
	return paper.WallForm{Size: size, Made: time.Date(2026, 11, 25, 10, 0, 0, 0, time.UTC), Letterhead: lanternQuay, Instrument: no417,
		Reach: "R. Halvane, keeper@lanternquay.example", First: time.Date(2027, 1, 1, 0, 0, 0, 0, time.UTC), Months: 2, WindEvery: 1, WindAt: "08:30"}
}

func TestWallForm(t *testing.T) {
	for _, size := range leaves {
		t.Run(size.Name, func(t *testing.T) {
			d, err := wallForm(size).Document()
			if err != nil {
				t.Fatal(err)
			}
			if len(d.Leaves) != 2 {
				t.Errorf("%d leaves for two months", len(d.Leaves))
			}
			golden(t, "wallform-"+size.Name, d)
		})
	}
}

// TestWallFormMonths: each month has its own days, February of a leap year 29.
func TestWallFormMonths(t *testing.T) {
	w := wallForm(leaf.A4)
	w.First, w.Months = time.Date(2027, 12, 31, 0, 0, 0, 0, time.UTC), 3
	d, err := w.Document()
	if err != nil {
		t.Fatal(err)
	}
	pages := strings.Split(strings.TrimSuffix(text(t, d), "\f"), "\f")
	if len(pages) != 3 {
		t.Fatalf("%d leaves", len(pages))
	}
	for i, m := range []struct {
		name string
		days int
		last string // day of the week
	}{{"December 2027", 31, "fr"}, {"January 2028", 31, "mo"}, {"February 2028", 29, "tu"}} {
		if !strings.Contains(pages[i], m.name) {
			t.Errorf("leaf %d is not %s: %s", i+1, m.name, pages[i])
		}
		words := squeezed(pages[i])
		if !strings.Contains(words, strconv.Itoa(m.days)+" "+m.last) || m.days == 29 && strings.Contains(words, "30 we") {
			t.Errorf("%s does not end on %d %s: %s", m.name, m.days, m.last, words)
		}
	}
}

func TestWallFormNames(t *testing.T) {
	for _, name := range []string{"Þórðarson & Æsir, Ísafjörður", "Χρονόμετρον Ναυτικόν, Πειραιεύς", wide, strings.Repeat("Ψ", 60)} {
		for _, size := range leaves {
			w := wallForm(size)
			w.Instrument.Number, w.Instrument.Maker, w.Instrument.Owner, w.Reach, w.Months = name, name, name, name+" "+name, 1
			d, err := w.Document()
			if err != nil {
				t.Fatal(err)
			}
			if words := squeezed(text(t, d)); len(d.Leaves) != 1 || len(d.Missing()) > 0 || !strings.Contains(words, "31 su") {
				t.Errorf("%q: %d leaves, %v: %s", name, len(d.Leaves), d.Missing(), words)
			}
		}
	}
}

func TestWallFormRefuses(t *testing.T) {
	for _, c := range []struct {
		change func(*paper.WallForm)
		says   string
	}{
		{func(w *paper.WallForm) { w.Months = 0 }, "0 months; say 1 to 24"},
		{func(w *paper.WallForm) { w.Months = 25 }, "25 months"},
		{func(w *paper.WallForm) { w.First = time.Time{} }, "the first month"},
		{func(w *paper.WallForm) { w.Letterhead.Workshop = "" }, "the name of the workshop"},
	} {
		w := wallForm(leaf.A4)
		c.change(&w)
		if _, err := w.Document(); !errors.Is(err, paper.ErrWanting) || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%v, want %q", err, c.says)
		}
	}
}

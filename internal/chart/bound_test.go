package chart_test

import (
	"fmt"
	"math"
	"testing"
	"time"

	"pgregory.net/rapid"

	"timeball/internal/chart"
	"timeball/internal/chart/pen"
)

// standard is five days of an invented standard: servers asked every hour, a
// line that failed for a night, and a day on which nothing ran.
func standard() chart.BoundCurve {
	c := chart.BoundCurve{Caption: chart.Caption{ID: "bound", Title: "Bound of the standard", Result: "±12 ms now; above 0.1 s in the night to 2 March, not known from 22:00 that day until 14:00 on 3 March."},
		LimitS: 0.1, Today: day(2027, 3, 4, 9, 12)}
	start, held := day(2027, 2, 27, 9, 0), 0
	for m := 0; m < 5*24*60; m += 10 {
		at := start.Add(time.Duration(m) * time.Minute)
		b := chart.Bound{At: at, Known: true}
		switch {
		case at.After(day(2027, 3, 1, 20, 0)) && at.Before(day(2027, 3, 2, 8, 0)):
			held++
			b.BoundS = 0.004 + 15e-6*600*float64(held)
		case at.After(day(2027, 3, 2, 22, 0)) && at.Before(day(2027, 3, 3, 14, 0)):
			b.Known = false
		default:
			b.BoundS = 0.003 + 15e-6*float64(m%60)*60 + 0.002*math.Pow(math.Sin(float64(m)/700), 2)
		}
		if m%(6*60) == 0 && b.Known {
			b.Words = fmt.Sprintf("%s: within %.0f ms of UTC", at.Format("2 Jan 15:04"), 1000*b.BoundS)
		}
		c.Bounds = append(c.Bounds, b)
	}
	return c
}

func init() {
	scenes = append(scenes, struct {
		name string
		draw func(chart.Size) chart.Figure
	}{"bound", func(s chart.Size) chart.Figure { return standard().Figure(s) }}, struct {
		name string
		draw func(chart.Size) chart.Figure
	}{"bound-empty", func(s chart.Size) chart.Figure {
		return chart.BoundCurve{Caption: chart.Caption{ID: "bound-empty", Title: "Bound of the standard", Result: "Nothing is known yet."}, LimitS: 0.1, Today: day(2027, 3, 4, 9, 12)}.Figure(s)
	}})
}

// TestBoundSteps: a bound holds level until the next, nothing joins the sides
// of a gap, and ten times the bound is the same height everywhere.
func TestBoundSteps(t *testing.T) {
	from := day(2027, 3, 1, 0, 0)
	hour := func(h int) time.Time { return from.Add(time.Duration(h) * time.Hour) }
	p := &recorder{}
	chart.BoundCurve{Bounds: []chart.Bound{{At: hour(0), BoundS: 0.001, Known: true}, {At: hour(6), BoundS: 0.01, Known: true}, {At: hour(12)}, {At: hour(18), BoundS: 0.1, Known: true}},
		Today: hour(24)}.Figure(chart.Wide()).Draw(p)
	var steps [][]pen.Point
	for _, l := range p.lines {
		if l.stroke.Ink == pen.Sea {
			steps = append(steps, l.points)
		}
	}
	if len(steps) != 2 || len(steps[0]) != 4 || len(steps[1]) != 2 {
		t.Fatalf("steps %v, want one of two levels and one of one", steps)
	}
	a, b := steps[0], steps[1]
	if a[0].Y != a[1].Y || a[2].Y != a[3].Y || a[1].X != a[2].X || b[0].Y != b[1].Y {
		t.Errorf("steps %v are not level and upright", steps)
	}
	if up, more := a[0].Y-a[2].Y, a[2].Y-b[0].Y; !(up > 20) || math.Abs(up-more) > 1e-6 {
		t.Errorf("ten times the bound is %v and %v high", up, more)
	}
	if quarter := a[1].X - a[0].X; math.Abs(a[3].X-a[1].X-quarter) > 1e-6 || math.Abs(b[0].X-a[3].X-quarter) > 1e-6 || math.Abs(b[1].X-b[0].X-quarter) > 1e-6 {
		t.Errorf("steps %v are not six hours each", steps)
	}
}

// TestBoundBeyond: a bound beyond the axis is drawn at its edge.
func TestBoundBeyond(t *testing.T) {
	f := chart.BoundCurve{Bounds: []chart.Bound{{At: day(2027, 3, 1, 0, 0), BoundS: 16, Known: true, Words: "not set"}, {At: day(2027, 3, 2, 0, 0), BoundS: 0, Known: true, Words: "none"}}}.Figure(chart.Wide())
	p := &recorder{}
	f.Draw(p)
	if len(p.marks) != 2 || p.marks[0].Y != 14 || p.marks[1].Y != 360-32 {
		t.Errorf("marks %v, want the upper and the lower edge", p.marks)
	}
	if rows := f.Table().Rows; len(rows) != 2 || rows[0].Cells[1] != "±16 s" || rows[1].Cells[1] != "±0 ms" {
		t.Errorf("table %v", rows)
	}
}

// TestCrowdedBoundsShowTheHighest: where the steps are closer than the eye can
// tell, none is drawn better than the worst of them.
func TestCrowdedBoundsShowTheHighest(t *testing.T) {
	c := chart.BoundCurve{Today: day(2027, 3, 9, 0, 0)}
	for m := range 8 * 1440 {
		b := chart.Bound{At: day(2027, 3, 1, 0, 0).Add(time.Duration(m) * time.Minute), BoundS: 0.001, Known: true}
		if m%97 == 0 || m == 8*1440-1 {
			b.BoundS = 0.1
		}
		c.Bounds = append(c.Bounds, b)
	}
	p := &recorder{}
	f := c.Figure(chart.Narrow())
	f.Draw(p)
	levels := map[float64]int{}
	for _, l := range p.lines {
		if l.stroke.Ink == pen.Sea {
			for _, q := range l.points {
				levels[q.Y]++
			}
		}
	}
	// 97 minutes are 2.6 units: a peak is in every stretch of 4 units.
	if len(levels) != 1 {
		t.Errorf("levels %v, want the highest alone", levels)
	}
	if n := len(f.SVG()); n > 20_000 {
		t.Errorf("%d bytes", n)
	}
}

func TestBoundTable(t *testing.T) {
	gaps, said := 0, 0
	for _, r := range standard().Figure(chart.Wide()).Table().Rows {
		if r.Cells[1] == "not known" {
			gaps++
		} else if r.Cells[2] != "" {
			said++
		}
	}
	if gaps != 1 || said != 18 {
		t.Errorf("%d gaps and %d remarks, want 1 and 18", gaps, said)
	}
}

func TestAnyBounds(t *testing.T) {
	value := rapid.OneOf(rapid.Float64(), rapid.Float64Range(0, 2), rapid.SampledFrom([]float64{0, -1, math.NaN(), math.Inf(1), 1e-300, 1e300, 16}))
	when := rapid.OneOf(rapid.Map(rapid.Int64Range(0, 9*86400), func(s int64) time.Time { return time.Unix(1.8e9+s, 0) }), rapid.SampledFrom([]time.Time{{}, day(9999, 12, 31, 0, 0), time.Unix(1<<60, 0)}))
	bound := rapid.Custom(func(t *rapid.T) chart.Bound {
		return chart.Bound{At: when.Draw(t, "at"), BoundS: value.Draw(t, "bound"), Known: rapid.Bool().Draw(t, "known"), Words: rapid.String().Draw(t, "words")}
	})
	rapid.Check(t, func(t *rapid.T) {
		c := chart.BoundCurve{Bounds: rapid.SliceOfN(bound, 0, 60).Draw(t, "bounds"), LimitS: value.Draw(t, "limit"), Today: when.Draw(t, "today")}
		size := rapid.SampledFrom([]chart.Size{chart.Wide(), chart.Narrow(), {}, {Name: "x", Width: 41, Height: 9, Type: 30}}).Draw(t, "size")
		checked(t, c.Figure(size).SVG())
	})
}

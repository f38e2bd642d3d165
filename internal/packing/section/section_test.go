package section_test

import (
	"encoding/xml"
	"errors"
	"io"
	"math"
	"strings"
	"testing"

	"timeball/internal/chart"
	"timeball/internal/chart/pen"
	"timeball/internal/packing"
	"timeball/internal/packing/measure"
	"timeball/internal/packing/section"
)

// recorder keeps where things were drawn.
type recorder struct {
	areas  [][]pen.Point
	lines  [][]pen.Point
	places []pen.Point
	words  map[string][]pen.Point
	boxes  [][4]float64
}

func (r *recorder) Line(through []pen.Point, _ pen.Stroke) {
	r.lines, r.places = append(r.lines, through), append(r.places, through...)
}
func (r *recorder) Area(outline []pen.Point, _ pen.Ink) {
	r.areas, r.places = append(r.areas, outline), append(r.places, outline...)
}
func (r *recorder) Mark(at pen.Point, _ pen.Mark) { r.places = append(r.places, at) }
func (r *recorder) Text(at pen.Point, words string, l pen.Lettering) {
	if r.words == nil {
		r.words = map[string][]pen.Point{}
	}
	r.words[words] = append(r.words[words], at)
	w := 0.5 * l.Size * float64(len([]rune(words))) // a narrow face: the least that the words take
	left := at.X - w*[...]float64{pen.Start: 0, pen.Middle: 0.5, pen.End: 1}[l.Anchor]
	r.boxes = append(r.boxes, [4]float64{left, at.Y - 0.5*l.Size, left + w, at.Y + 0.5*l.Size})
	r.places = append(r.places, pen.XY(left, at.Y-0.5*l.Size), pen.XY(left+w, at.Y+0.5*l.Size))
}
func (r *recorder) Begin(pen.Label, pen.Point, float64) {}
func (r *recorder) End()                                {}

func asks(t *testing.T) map[string]packing.Plan {
	t.Helper()
	all := map[string]packing.Plan{}
	for name, change := range map[string]func(*packing.Ask){
		"metric": func(a *packing.Ask) {
			a.Bowl.Size = measure.Size{Length: 150 * measure.Millimetre, Width: 150 * measure.Millimetre, Height: 120 * measure.Millimetre}
		},
		"inches": func(a *packing.Ask) { *a = packing.Boxed(measure.US) },
		"pads":   func(a *packing.Ask) { a.PadM2, a.Pads = 0.0064, 4 },
		"long": func(a *packing.Ask) {
			a.Inner.Size = measure.Size{Length: 700 * measure.Millimetre, Width: 90 * measure.Millimetre, Height: 80 * measure.Millimetre}
		},
		"thin": func(a *packing.Ask) { a.Thicknesses = []measure.Length{12 * measure.Millimetre} },
	} {
		a := packing.Boxed(measure.Metric)
		change(&a)
		p, err := packing.For(a)
		if err != nil {
			t.Fatal(err)
		}
		all[name] = p
	}
	return all
}

func drawing(p packing.Plan) section.Drawing {
	return section.Drawing{Caption: chart.Caption{ID: "packing", Title: "How it is packed"}, Plan: p, Thickness: -1, Words: section.English()}
}

// Every place is on the page, no words lie over others, and the SVG is one
// well-formed image with words for those who cannot see it.
func TestFigures(t *testing.T) {
	for name, p := range asks(t) {
		for _, size := range []chart.Size{section.Wide(), section.Narrow(), {Name: "print", Width: 700, Height: 300, Type: 11}, {}} {
			t.Run(name+"-"+size.Name, func(t *testing.T) {
				f := drawing(p).Figure(size)
				var r recorder
				f.Draw(&r)
				for _, q := range r.places {
					if !(q.X >= -1 && q.X <= f.Size.Width+1 && q.Y >= -1 && q.Y <= f.Size.Height+1) {
						t.Errorf("place %v is not on the page of %v by %v", q, f.Size.Width, f.Size.Height)
					}
				}
				for i, a := range r.boxes {
					for _, b := range r.boxes[:i] {
						if a[0] < b[2] && b[0] < a[2] && a[1] < b[3] && b[1] < a[3] {
							t.Errorf("words over words at %v and %v", a, b)
						}
					}
				}
				if f.Result == "" || len(f.Table().Rows) < 4 || len(r.words) < 6 {
					t.Errorf("%q, %d rows, words %v", f.Result, len(f.Table().Rows), r.words)
				}
				d := xml.NewDecoder(strings.NewReader(f.SVG()))
				for {
					if _, err := d.Token(); errors.Is(err, io.EOF) {
						break
					} else if err != nil {
						t.Fatal(err)
					}
				}
				if s := f.SVG(); strings.Contains(s, "NaN") || strings.Contains(s, "Inf") || !strings.Contains(s, `role="img"`) {
					t.Errorf("%.300s", s)
				}
			})
		}
	}
}

// The drawing is to scale: the boxes stand to each other and to the rule as
// their sizes do.
func TestToScale(t *testing.T) {
	p := asks(t)["metric"]
	f := drawing(p).Figure(section.Wide())
	var r recorder
	f.Draw(&r)
	wide := func(o []pen.Point) (float64, float64) { return o[1].X - o[0].X, o[2].Y - o[1].Y }
	c := p.Best()
	// From above: outside, inside, foam, inner box; then the same from the side.
	if len(r.areas) != 8 {
		t.Fatalf("%d areas", len(r.areas))
	}
	ow, oh := wide(r.areas[0])
	scale := ow / c.Outside.Length.MM()
	for i, want := range []struct{ w, h measure.Length }{
		{c.Outside.Length, c.Outside.Width}, {c.Inside.Length, c.Inside.Width}, {c.Inside.Length, c.Inside.Width}, {p.Inner.Size.Length, p.Inner.Size.Width},
		{c.Outside.Length, c.Outside.Height}, {c.Inside.Length, c.Inside.Height}, {c.Inside.Length, c.Inside.Height}, {p.Inner.Size.Length, p.Inner.Size.Height},
	} {
		w, h := wide(r.areas[i])
		if math.Abs(w-scale*want.w.MM()) > 1e-6 || math.Abs(h-scale*want.h.MM()) > 1e-6 {
			t.Errorf("area %d is %.2f by %.2f, to scale %.2f by %.2f", i, w, h, scale*want.w.MM(), scale*want.h.MM())
		}
	}
	rule := r.lines[len(r.lines)-1]
	if math.Abs(rule[1].X-rule[0].X-100*scale) > 1e-6 {
		t.Errorf("the rule is %.2f long, 100 mm is %.2f", rule[1].X-rule[0].X, 100*scale)
	}
	if oh < 100 {
		t.Errorf("the box is %.0f units high: too small to read", oh)
	}
}

func TestNothingPacked(t *testing.T) {
	f := section.Drawing{}.Figure(section.Wide())
	if f.Result == "" || !strings.Contains(f.SVG(), "<svg") {
		t.Errorf("%q", f.Result)
	}
}

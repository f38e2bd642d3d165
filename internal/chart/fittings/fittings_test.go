package fittings

import (
	"encoding/xml"
	"errors"
	"io"
	"slices"
	"strings"
	"testing"

	"timeball/internal/carriage"
	"timeball/internal/chart/pen"
)

// TestNames: every drawing that a step can ask for is there.
func TestNames(t *testing.T) {
	var asked []string
	for _, d := range carriage.Drawings() {
		asked = append(asked, string(d))
	}
	slices.Sort(asked)
	names := Names()
	slices.Sort(names)
	if !slices.Equal(asked, names) {
		t.Errorf("the steps ask for %v, and there are %v", asked, names)
	}
	if _, ok := Sheet("nothing", "a"); ok {
		t.Error("a drawing of nothing")
	}
}

// edges keeps the places that a pen is asked for.
type edges struct {
	t    *testing.T
	name string
}

func (e edges) within(points ...pen.Point) {
	for _, p := range points {
		if p.X < 0 || p.X > width || p.Y < 0 || p.Y > height {
			e.t.Errorf("%s: %v lies outside the sheet", e.name, p)
		}
	}
}

func (e edges) Line(through []pen.Point, _ pen.Stroke) { e.within(through...) }
func (e edges) Area(outline []pen.Point, _ pen.Ink)    { e.within(outline...) }
func (e edges) Mark(at pen.Point, m pen.Mark) {
	e.within(pen.XY(at.X-m.Radius, at.Y), pen.XY(at.X+m.Radius, at.Y))
}
func (e edges) Begin(pen.Label, pen.Point, float64) {}
func (e edges) End()                                {}

// Text is held to 0.56 of its size a letter, the mean of a common sans.
func (e edges) Text(at pen.Point, words string, l pen.Lettering) {
	w := 0.56 * l.Size * float64(len(words))
	left := at.X - w*[...]float64{pen.Start: 0, pen.Middle: 0.5, pen.End: 1}[l.Anchor]
	e.within(pen.XY(left, at.Y), pen.XY(left+w, at.Y+l.Size/2))
}

// TestSheets: each drawing is well-formed, has a title and the result in
// words, carries no style of its own, and stays on its sheet.
func TestSheets(t *testing.T) {
	for _, name := range Names() {
		s, ok := Sheet(name, "step")
		if !ok {
			t.Fatalf("no drawing %s", name)
		}
		s.Ground.Draw(edges{t, name})
		svg := s.SVG()
		d, titles := xml.NewDecoder(strings.NewReader(svg)), 0
		for {
			token, err := d.Token()
			if errors.Is(err, io.EOF) {
				break
			}
			if err != nil {
				t.Fatalf("%s: %v", name, err)
			}
			if e, ok := token.(xml.StartElement); ok {
				if e.Name.Local == "title" {
					titles++
				}
				for _, a := range e.Attr {
					if a.Name.Local == "style" {
						t.Errorf("%s: a style in the drawing", name)
					}
				}
			}
		}
		if titles != 1 || !strings.Contains(svg, "-desc\">"+s.Result) {
			t.Errorf("%s: %d titles, or no words", name, titles)
		}
	}
}

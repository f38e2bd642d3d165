package chart_test

import (
	"math"
	"regexp"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"timeball/internal/chart"
	"timeball/internal/chart/pen"
)

func rest(s float64) *float64 { return &s }

var dials = []struct {
	name string
	dial chart.Dial
}{
	{"turned", chart.Dial{Caption: chart.Caption{ID: "dial", Title: "How the hands must stand"}, Hours: 12, SetS: 7*3600 + 12*60 + 40, SecondS: 40, RestS: rest(6*3600 + 51*60 + 40),
		MinuteHand: "two thirds of the way from minute 12 to 13", Forward: "21 min"}},
	{"still", chart.Dial{Caption: chart.Caption{ID: "still", Title: "How the hands must stand"}, Hours: 24, SetS: 12*3600 + 40*60 + 20, SecondS: 20, RestS: rest(12*3600 + 40*60 + 20),
		MinuteHand: "a third of the way from minute 40 to 41"}},
	{"turns", chart.Dial{Caption: chart.Caption{ID: "turns", Title: "How the hands must stand"}, Hours: 12, SetS: 540, SecondS: 0, RestS: rest(3*3600 + 40*60),
		MinuteHand: "on minute 9", Forward: "8 turns and 29 min"}},
	{"round", chart.Dial{Caption: chart.Caption{ID: "round", Title: "How the hands must stand"}, Hours: 12, SetS: 11*3600 + 59*60 + 57.5, SecondS: 57.5, RestS: rest(11*3600 + 58*60 + 57.5),
		MinuteHand: "0.96 of the way from minute 59 to 60", Forward: "1 min"}},
	{"unknown", chart.Dial{Caption: chart.Caption{ID: "unknown", Title: "The dial"}, SetS: math.NaN()}},
}

func TestGoldenDials(t *testing.T) {
	for _, d := range dials {
		for _, size := range []chart.Size{chart.DialWide(), chart.DialNarrow()} {
			f := d.dial.Figure(size)
			svg := f.SVG()
			checked(t, svg)
			if m := forbidden.FindString(svg); m != "" {
				t.Errorf("%s contains %q", d.name, m)
			}
			golden(t, "dial-"+d.name+"-"+size.Name+".svg", svg)
			p := &recorder{size: size}
			f.Draw(p)
			for i, a := range p.words {
				if a.left < -1 || a.right > size.Width+1 || a.y < 0 || a.y > size.Height {
					t.Errorf("%s-%s: %q is outside the figure: %v", d.name, size.Name, a.words, a)
				}
				for _, b := range p.words[:i] {
					if a.left < b.right && b.left < a.right && math.Abs(a.y-b.y) < 0.8*size.Type {
						t.Errorf("%s-%s: %q is over %q", d.name, size.Name, a.words, b.words)
					}
				}
			}
		}
	}
}

// TestDialSays: who cannot see the dial is told the places of its hands.
func TestDialSays(t *testing.T) {
	svg := dials[0].dial.Figure(chart.DialWide()).SVG()
	want := "Hour hand past 7, minute hand two thirds of the way from minute 12 to 13, turned forward 21 min, seconds hand at 40."
	if !regexp.MustCompile(`<desc id="dial-wide-desc">`+regexp.QuoteMeta(want)+`</desc>`).MatchString(svg) || !strings.Contains(svg, `aria-labelledby="dial-wide-title dial-wide-desc"`) {
		t.Errorf("%.600s", svg)
	}
	if rows := dials[0].dial.Figure(chart.DialWide()).Table().Rows; len(rows) != 3 || rows[0].Cells[1] != "past 7" {
		t.Errorf("table %v", rows)
	}
	c := dials[0].dial
	c.MinuteHand, c.Result = "", "As drawn."
	if svg := c.Figure(chart.DialNarrow()).SVG(); !strings.Contains(svg, ">at minute 12.67<") || !strings.Contains(svg, ">As drawn.<") {
		t.Error("without words the minute is not written, or the result given is lost")
	}
}

// outlines is a pen that keeps areas.
type outlines struct {
	recorder
	areas map[pen.Ink][][]pen.Point
}

func (p *outlines) Area(outline []pen.Point, fill pen.Ink) {
	p.areas[fill] = append(p.areas[fill], outline)
}

// turnOf returns the share of a turn from XII at which the tip of a hand
// stands, the outline's point farthest from its middle.
func turnOf(outline []pen.Point, middle pen.Point) float64 {
	far, turn := 0.0, 0.0
	for _, q := range outline {
		if r := math.Hypot(q.X-middle.X, q.Y-middle.Y); r > far {
			far, turn = r, math.Mod(math.Atan2(q.X-middle.X, middle.Y-q.Y)/(2*math.Pi)+1, 1)
		}
	}
	return turn
}

// TestHandsStandWhereTheyMust: whatever the dial, both hands point exactly at
// what they are to show, and the enlarged hand as far between its marks.
func TestHandsStandWhereTheyMust(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		hours := rapid.SampledFrom([]int{12, 24}).Draw(t, "hours")
		set := rapid.Float64Range(0, float64(hours)*3600-0.001).Draw(t, "set")
		size := rapid.SampledFrom([]chart.Size{chart.DialWide(), chart.DialNarrow(), chart.Wide()}).Draw(t, "size")
		p := &outlines{areas: map[pen.Ink][][]pen.Point{}}
		chart.Dial{Hours: hours, SetS: set, SecondS: math.Mod(set, 60)}.Figure(size).Draw(p)
		middle := p.marks[0]
		off := func(a, b float64) float64 { return math.Abs(math.Remainder(a-b, 1)) }
		if got := turnOf(p.areas[pen.Ink1][0], middle); off(got, set/3600/float64(hours)) > 1e-9 {
			t.Fatalf("hour hand at %v of a turn for %v s", got, set)
		}
		if got := turnOf(p.areas[pen.Sea][0], middle); off(got, set/3600) > 1e-9 {
			t.Fatalf("minute hand at %v of a turn for %v s", got, set)
		}
		// The two long marks of the enlarged track are its last lines of that width.
		var marks []float64
		for _, l := range p.lines {
			if l.stroke.Width == 2.4 {
				marks = append(marks, l.points[0].X)
			}
		}
		if len(marks) != 2 {
			t.Fatalf("%d minute marks, want 2", len(marks))
		}
		part := (p.areas[pen.Sea][1][0].X - marks[0]) / (marks[1] - marks[0])
		if want := math.Mod(set/60, 1); math.Abs(part-want) > 1e-6 && math.Abs(part-want) < 1-1e-6 {
			t.Fatalf("the enlarged hand stands %v between its marks, want %v", part, want)
		}
	})
}

// TestForwardArc: the arc ends at the hand and is as long as the last turn.
func TestForwardArc(t *testing.T) {
	for _, c := range []struct {
		rest, set float64
		arcs      []float64 // lengths in turns
	}{
		{600, 600, nil}, {600, 1500, []float64{0.25}}, {42900, 300, []float64{1.0 / 6}}, {0, 3600, []float64{1, 1}},
		{3*3600 + 2400, 540, []float64{1, 29.0 / 60}}, {1500, 600, []float64{1, 0.75}},
	} {
		p := &outlines{areas: map[pen.Ink][][]pen.Point{}}
		chart.Dial{Hours: 12, SetS: c.set, RestS: &c.rest}.Figure(chart.DialWide()).Draw(p)
		var got []float64
		for _, l := range p.lines {
			if l.stroke.Ink == pen.Brass && len(l.points) > 2 {
				long, middle := 0.0, p.marks[0]
				for i := 1; i < len(l.points); i++ {
					a, b := l.points[i-1], l.points[i]
					turn := math.Atan2(b.X-middle.X, middle.Y-b.Y) - math.Atan2(a.X-middle.X, middle.Y-a.Y)
					long += math.Remainder(turn/(2*math.Pi), 1) // clockwise positive
				}
				got = append(got, long)
			}
		}
		if len(got) != len(c.arcs) {
			t.Errorf("from %v to %v: arcs %v, want %v", c.rest, c.set, got, c.arcs)
			continue
		}
		for i := range got {
			if math.Abs(got[i]-c.arcs[i]) > 1e-9 {
				t.Errorf("from %v to %v: arcs %v, want %v", c.rest, c.set, got, c.arcs)
			}
		}
	}
}

func TestAnyDial(t *testing.T) {
	value := rapid.OneOf(rapid.Float64(), rapid.Float64Range(-90000, 90000), rapid.SampledFrom([]float64{0, math.NaN(), math.Inf(1), -1e-300, 1e300, 43200, 59.999999999}))
	rapid.Check(t, func(t *rapid.T) {
		d := chart.Dial{Caption: chart.Caption{ID: rapid.String().Draw(t, "id"), Title: rapid.String().Draw(t, "title")}, Hours: rapid.IntRange(-1, 25).Draw(t, "hours"),
			SetS: value.Draw(t, "set"), SecondS: value.Draw(t, "second"), MinuteHand: rapid.String().Draw(t, "hand"), Forward: rapid.String().Draw(t, "forward")}
		if rapid.Bool().Draw(t, "rests") {
			d.RestS = rest(value.Draw(t, "rest"))
		}
		size := rapid.SampledFrom([]chart.Size{chart.DialWide(), chart.DialNarrow(), {}, {Width: math.NaN(), Height: 10}, {Name: "x", Width: 41, Height: 9, Type: 30}}).Draw(t, "size")
		checked(t, d.Figure(size).SVG())
	})
}

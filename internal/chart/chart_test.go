package chart_test

import (
	"encoding/xml"
	"errors"
	"flag"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"timeball/internal/chart"
	"timeball/internal/chart/pen"
)

var update = flag.Bool("update", false, "rewrite the golden files")

func golden(t *testing.T, name, got string) {
	t.Helper()
	path := filepath.Join("testdata", name)
	if *update {
		if err := os.WriteFile(path, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(strings.Split(string(want), "><"), strings.Split(got, "><")); diff != "" {
		t.Errorf("%s differs (-golden +drawn); rewrite with -update if it should:\n%s", name, diff)
	}
}

var forbidden = regexp.MustCompile(`NaN|Inf|<style|<script|\sstyle=|\son[a-z]+=|e\+\d\d"|javascript:`)

// checked fails unless svg is well-formed, carries no style or script, keeps
// every place finite and names every id once.
func checked(t interface{ Fatalf(string, ...any) }, svg string) {
	d := xml.NewDecoder(strings.NewReader(svg))
	ids := map[string]bool{}
	images := 0
	for {
		token, err := d.Token()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			t.Fatalf("not well-formed: %v\n%.400s", err, svg)
		}
		el, ok := token.(xml.StartElement)
		if !ok {
			continue
		}
		for _, a := range el.Attr {
			switch a.Name.Local {
			case "style", "onclick", "onload":
				t.Fatalf("attribute %s", a.Name.Local)
			case "id":
				if ids[a.Value] {
					t.Fatalf("id %q twice", a.Value)
				}
				ids[a.Value] = true
			case "role":
				if a.Value == "img" {
					images++
				}
			case "d", "x", "y", "cx", "cy", "r", "viewBox":
				if strings.ContainsAny(a.Value, "NIeE") {
					t.Fatalf("%s=%q is not a place", a.Name.Local, a.Value)
				}
			}
		}
		if el.Name.Local == "style" || el.Name.Local == "script" {
			t.Fatalf("element %s", el.Name.Local)
		}
	}
	if images == 0 {
		t.Fatalf("no role img")
	}
}

func TestGoldenFigures(t *testing.T) {
	for _, scene := range scenes {
		for _, size := range []chart.Size{chart.Wide(), chart.Narrow()} {
			t.Run(scene.name+"-"+size.Name, func(t *testing.T) {
				svg := scene.draw(size).SVG()
				checked(t, svg)
				if m := forbidden.FindString(svg); m != "" {
					t.Errorf("contains %q", m)
				}
				if svg != scene.draw(size).SVG() {
					t.Error("not the same when drawn again")
				}
				golden(t, scene.name+"-"+size.Name+".svg", svg)
			})
		}
	}
	for _, s := range staves {
		t.Run("staff-"+s.name, func(t *testing.T) {
			s.staff.Caption = chart.Caption{ID: "staff-" + s.name, Title: "Error staff", Result: s.name}
			svg := s.staff.Figure(chart.StaffSize()).SVG()
			checked(t, svg)
			golden(t, "staff-"+s.name+".svg", svg)
		})
	}
}

func TestGoldenText(t *testing.T) {
	for _, ascii := range []bool{false, true} {
		name := map[bool]string{false: "text.txt", true: "text-ascii.txt"}[ascii]
		var b strings.Builder
		for _, c := range []chart.ErrorCurve{lanternQuay417(), crowded(), {}} {
			got := chart.TextCurve(c, chart.Terminal{Columns: 72, Rows: 13, ASCII: ascii})
			for i, line := range strings.Split(got, "\n") {
				if n := len([]rune(line)); n > 72 {
					t.Errorf("line %d is %d letters long", i, n)
				}
				if ascii && strings.ContainsFunc(line, func(r rune) bool { return r > 126 || r < 32 }) {
					t.Errorf("line %q is not ASCII", line)
				}
			}
			b.WriteString(got + "\n")
		}
		golden(t, name, b.String())
	}
}

// Labels must be escaped once and links must stay on the program's own pages.
func TestHostileWords(t *testing.T) {
	at := day(2027, 3, 4, 9, 0)
	bad := `"><script>alert(1)</script>` + "\x00\xff&"
	c := chart.ErrorCurve{Caption: chart.Caption{ID: bad, Title: bad, Result: bad},
		Interventions: []chart.Intervention{{At: at, Words: bad, Entry: bad, Href: "javascript:alert(1)"}},
		Comparisons: []chart.Comparison{{At: at, Words: bad, Entry: bad, Href: "//elsewhere.example/"}, {At: at.AddDate(0, 0, 1), Words: "w", Href: "/clocks/417?a=1&b=2"},
			{At: at, Value: 3, Words: bad, SetAside: bad, Href: "#a\"b"}}}
	for _, size := range []chart.Size{chart.Wide(), chart.Narrow()} {
		svg := c.Figure(size).SVG()
		checked(t, svg)
		for _, s := range []string{"<script", "javascript:", "//elsewhere"} {
			if strings.Contains(svg, s) {
				t.Errorf("contains %q", s)
			}
		}
		if !strings.Contains(svg, `href="/clocks/417?a=1&amp;b=2"`) {
			t.Error("a link inside the program is missing")
		}
	}
}

func TestErrorStepsAreNotJoined(t *testing.T) {
	run := []chart.Estimate{{At: day(2027, 1, 1, 0, 0), Value: -30}, {At: day(2027, 1, 2, 0, 0), Value: -31}, {At: day(2027, 1, 3, 0, 0), Value: 29}, {At: day(2027, 1, 4, 0, 0), Value: 28}}
	lines := func(c chart.ErrorCurve) (n int) {
		p := &recorder{}
		c.Figure(chart.Wide()).Draw(p)
		for _, l := range p.lines {
			if l.stroke.Ink == pen.Sea {
				n++
			}
		}
		return n
	}
	if n := lines(chart.ErrorCurve{Runs: [][]chart.Estimate{run}}); n != 1 {
		t.Errorf("%d lines for one run, want 1", n)
	}
	if n := lines(chart.ErrorCurve{Runs: [][]chart.Estimate{run[:2], run[2:]}}); n != 2 {
		t.Errorf("%d lines for two runs, want 2", n)
	}
	moved := chart.Intervention{At: day(2027, 1, 2, 12, 0), Words: "hands moved", Steps: true}
	if n := lines(chart.ErrorCurve{Runs: [][]chart.Estimate{run}, Interventions: []chart.Intervention{moved}}); n != 2 {
		t.Errorf("%d lines for a run with a step, want 2", n)
	}
}

// Up must be fast and right must be later.
func TestDirections(t *testing.T) {
	c := chart.ErrorCurve{Comparisons: []chart.Comparison{
		{At: day(2027, 1, 1, 0, 0), Value: -5, Words: "first"}, {At: day(2027, 2, 1, 0, 0), Value: 5, Words: "second"}}}
	p := &recorder{}
	c.Figure(chart.Wide()).Draw(p)
	if len(p.marks) != 2 || p.marks[0].X >= p.marks[1].X || p.marks[0].Y <= p.marks[1].Y {
		t.Errorf("marks at %v: want the later to the right and the faster above", p.marks)
	}
	s := chart.Staff{Now: &chart.Interval{Value: -20}, Then: &chart.Interval{Value: 20}, Scale: 40}
	p = &recorder{}
	s.Figure(chart.StaffSize()).Draw(p)
	if len(p.marks) != 2 || p.marks[0].X+p.marks[1].X != 260 || p.marks[0].X < p.marks[1].X {
		t.Errorf("staff marks at %v: want then right and now left of the middle by as much", p.marks)
	}
}

// A comparison set aside an hour out is pinned to the upper edge and leaves
// the curve its height.
func TestFarSetAsideDoesNotFlattenTheCurve(t *testing.T) {
	p := &recorder{}
	chart.ErrorCurve{Comparisons: []chart.Comparison{
		{At: day(2027, 1, 1, 0, 0), Value: -20}, {At: day(2027, 1, 20, 0, 0), Value: 3600, SetAside: "set aside: reads one hour out"}, {At: day(2027, 2, 1, 0, 0), Value: 20},
	}}.Figure(chart.Wide()).Draw(p)
	if want := []pen.Shape{pen.Disc, pen.Disc, pen.ArrowUp, pen.Cross}; !slices.Equal(p.kinds, want) {
		t.Fatalf("marks %v, want %v", p.kinds, want)
	}
	if height := p.marks[0].Y - p.marks[1].Y; height < 200 {
		t.Errorf("the curve is %.0f high of 360, want over 200", height)
	}
	if p.marks[2].Y >= p.marks[1].Y {
		t.Error("the arrow is not above the curve")
	}
}

func TestStaffBeyondItsScale(t *testing.T) {
	p := &recorder{}
	chart.Staff{Now: &chart.Interval{Value: -41}, Then: &chart.Interval{Value: 90}, Scale: 40}.Figure(chart.StaffSize()).Draw(p)
	if want := []pen.Shape{pen.ArrowRight, pen.ArrowLeft}; !slices.Equal(p.kinds, want) {
		t.Fatalf("marks %v, want then to the right and now to the left", p.kinds)
	}
	if p.marks[0].X != 252 || p.marks[1].X != 8 {
		t.Errorf("marks at %v, want the ends of the staff", p.marks)
	}
}

// The words of a figure must not be written over each other.
func TestWordsDoNotOverlap(t *testing.T) {
	for _, scene := range scenes {
		for _, size := range []chart.Size{chart.Wide(), chart.Narrow()} {
			p := &recorder{size: size}
			scene.draw(size).Draw(p)
			for i, a := range p.words {
				if a.left < -1 || a.right > size.Width+1 || a.y < 0 || a.y > size.Height {
					t.Errorf("%s-%s: %q is outside the figure: %v", scene.name, size.Name, a.words, a)
				}
				for _, b := range p.words[:i] {
					if a.left < b.right && b.left < a.right && math.Abs(a.y-b.y) < 0.8*size.Type {
						t.Errorf("%s-%s: %q is over %q", scene.name, size.Name, a.words, b.words)
					}
				}
			}
		}
	}
}

func TestManyPoints(t *testing.T) {
	start := day(2020, 1, 1, 0, 0)
	c := chart.ErrorCurve{Caption: chart.Caption{ID: "many", Title: "many", Result: "many"}}
	var run []chart.Estimate
	for i := range 10000 {
		at, v := start.Add(time.Duration(i)*6*time.Hour), 20*math.Sin(float64(i)/700)+math.Mod(float64(i)*0.618, 1)
		if i == 7321 {
			v = 55
		}
		run = append(run, chart.Estimate{At: at, Value: v, Lo: v - 1, Hi: v + 1})
		c.Comparisons = append(c.Comparisons, chart.Comparison{At: at, Value: v, Words: "4 Mar 2027 09:12, fast 12.92 s ±0.06 by six taps, 19.5 °C, dial up", Entry: fmt.Sprint("01JQ0000000000000000000", i), Href: fmt.Sprint("#e-01JQ0000000000000000000", i)})
		if i%5 == 0 {
			c.Interventions = append(c.Interventions, chart.Intervention{At: at, Words: "carried from the workshop to the quay", Entry: fmt.Sprint(i)})
		}
		if i%7 == 0 {
			c.Comparisons[i].SetAside = "set aside: not believed"
		}
	}
	c.Runs = [][]chart.Estimate{run}
	for _, runs := range [][][]chart.Estimate{{run}, slices.Collect(slices.Chunk(run, 10))} {
		c.Runs = runs
		for _, size := range []chart.Size{chart.Wide(), chart.Narrow()} {
			begun := time.Now()
			svg := c.Figure(size).SVG()
			t.Logf("%d runs, %s: %d bytes in %v", len(runs), size.Name, len(svg), time.Since(begun))
			if len(svg) > 300_000 {
				t.Errorf("%s: %d bytes, want at most 300,000", size.Name, len(svg))
			}
			checked(t, svg)
			// Thinning must keep the one extreme.
			if !strings.Contains(svg, `data-entry="01JQ00000000000000000007321"`) {
				t.Errorf("%s: the highest comparison was thinned away", size.Name)
			}
		}
	}
	if n := len(c.Figure(chart.Wide()).Table().Rows); n != 12000 {
		t.Errorf("table has %d rows, want every comparison and intervention: 12000", n)
	}
}

func TestTable(t *testing.T) {
	table := lanternQuay417().Figure(chart.Wide()).Table()
	if want := []string{"When (UTC)", "What", "Error", "±", "Note"}; !slices.Equal(table.Columns, want) {
		t.Errorf("columns %q, want %q", table.Columns, want)
	}
	kinds := map[string]int{}
	for _, r := range table.Rows {
		if len(r.Cells) != len(table.Columns) {
			t.Fatalf("row %q has %d cells", r.Cells, len(r.Cells))
		}
		kinds[r.Cells[1]]++
	}
	want := map[string]int{"Compared": 45, "Set aside": 1, "Intervention 1": 1, "Forecast": 12}
	if diff := cmp.Diff(want, kinds); diff != "" {
		t.Error(diff)
	}
}

// Whatever the numbers, every figure must be well-formed and finite.
func TestAnyNumbers(t *testing.T) {
	value := rapid.OneOf(rapid.Float64(), rapid.Float64Range(-50, 50), rapid.Just(12.0), rapid.SampledFrom([]float64{0, math.NaN(), math.Inf(1), math.Inf(-1), 1e300, -1e12, 1e12, 5e-324, 43200}))
	when := rapid.OneOf(
		rapid.Map(rapid.Int64Range(0, 400*86400), func(s int64) time.Time { return time.Unix(1.8e9+s, 0) }),
		rapid.SampledFrom([]time.Time{{}, day(1, 1, 1, 0, 0), day(9999, 12, 31, 23, 59), day(2028, 2, 29, 0, 0), time.Unix(1<<60, 0), time.Unix(-1<<60, 0)}))
	words := rapid.OneOf(rapid.String(), rapid.SampledFrom([]string{"", "minute hand moved", "a<b&\"c'", "\x00\xfe", strings.Repeat("long ", 100)}))
	estimate := rapid.Custom(func(t *rapid.T) chart.Estimate {
		return chart.Estimate{At: when.Draw(t, "at"), Value: value.Draw(t, "v"), Lo: value.Draw(t, "lo"), Hi: value.Draw(t, "hi")}
	})
	comparison := rapid.Custom(func(t *rapid.T) chart.Comparison {
		return chart.Comparison{At: when.Draw(t, "at"), Value: value.Draw(t, "v"), PlusMinus: value.Draw(t, "pm"), Words: words.Draw(t, "w"), Entry: words.Draw(t, "e"), Href: words.Draw(t, "h"),
			SetAside: rapid.SampledFrom([]string{"", "", "set aside: doubtful"}).Draw(t, "aside")}
	})
	intervention := rapid.Custom(func(t *rapid.T) chart.Intervention {
		return chart.Intervention{At: when.Draw(t, "at"), Words: words.Draw(t, "w"), Steps: rapid.Bool().Draw(t, "steps")}
	})
	deviation := rapid.Custom(func(t *rapid.T) chart.Deviation {
		return chart.Deviation{Days: value.Draw(t, "days"), Value: value.Draw(t, "v"), Lo: value.Draw(t, "lo"), Hi: value.Draw(t, "hi"), Words: words.Draw(t, "w")}
	})
	warm := rapid.Custom(func(t *rapid.T) chart.Tempered {
		return chart.Tempered{C: value.Draw(t, "c"), Value: value.Draw(t, "v"), Lo: value.Draw(t, "lo"), Hi: value.Draw(t, "hi"), Words: words.Draw(t, "w")}
	})
	rapid.Check(t, func(t *rapid.T) {
		caption := chart.Caption{ID: words.Draw(t, "id"), Title: words.Draw(t, "title"), Result: words.Draw(t, "result")}
		size := rapid.SampledFrom([]chart.Size{chart.Wide(), chart.Narrow(), {}, {Width: math.NaN(), Height: 10}, {Name: "x", Width: 41, Height: 9, Type: 30}}).Draw(t, "size")
		runs := rapid.SliceOfN(rapid.SliceOfN(estimate, 0, 6), 0, 3).Draw(t, "runs")
		cs := rapid.SliceOfN(comparison, 0, 12).Draw(t, "comparisons")
		is := rapid.SliceOfN(intervention, 0, 8).Draw(t, "interventions")
		forecast := rapid.SliceOfN(estimate, 0, 5).Draw(t, "forecast")
		today, from, to := when.Draw(t, "today"), when.Draw(t, "from"), when.Draw(t, "to")
		if rapid.Bool().Draw(t, "whole") {
			from, to = time.Time{}, time.Time{}
		}
		curve := chart.ErrorCurve{Caption: caption, Runs: runs, Comparisons: cs, Interventions: is, Forecast: forecast, Today: today, From: from, To: to}
		checked(t, curve.Figure(size).SVG())
		checked(t, chart.RateCurve{Caption: caption, Runs: runs, Measured: cs, Interventions: is, Forecast: forecast, Today: today, From: from, To: to}.Figure(size).SVG())
		checked(t, chart.Residuals{Caption: caption, Comparisons: cs, InSD: rapid.Bool().Draw(t, "sd"), TwoSD: value.Draw(t, "2sd"), Interventions: is, Today: today}.Figure(size).SVG())
		checked(t, chart.StabilityCurve{Caption: caption, Measured: rapid.SliceOfN(deviation, 0, 9).Draw(t, "measured"), Model: rapid.SliceOfN(deviation, 0, 9).Draw(t, "model")}.Figure(size).SVG())
		turning := warm.Draw(t, "turning")
		checked(t, chart.TemperatureCurve{Caption: caption, Measured: rapid.SliceOfN(warm, 0, 9).Draw(t, "rates"), Law: rapid.SliceOfN(warm, 0, 9).Draw(t, "law"), Turning: &turning}.Figure(size).SVG())
		checked(t, chart.Staff{Caption: caption, Now: &chart.Interval{Value: value.Draw(t, "now"), Lo: value.Draw(t, "nlo"), Hi: value.Draw(t, "nhi")}, Then: &chart.Interval{Value: value.Draw(t, "then")}, Scale: value.Draw(t, "scale")}.Figure(size).SVG())
		text := chart.TextCurve(curve, chart.Terminal{Columns: rapid.IntRange(-1, 120).Draw(t, "cols"), Rows: rapid.IntRange(-1, 30).Draw(t, "rows"), ASCII: true})
		if strings.ContainsFunc(text, func(r rune) bool { return r > 126 || r < 32 && r != '\n' }) {
			t.Fatalf("not ASCII: %q", text)
		}
	})
}

// recorder is a pen that keeps what it was asked to draw.
type recorder struct {
	size  chart.Size
	lines []recordedLine
	marks []pen.Point
	kinds []pen.Shape
	words []recordedWords
}

type recordedLine struct {
	points []pen.Point
	stroke pen.Stroke
}

type recordedWords struct {
	left, right, y float64
	words          string
}

func (p *recorder) Line(through []pen.Point, s pen.Stroke) {
	p.lines = append(p.lines, recordedLine{through, s})
}
func (p *recorder) Area([]pen.Point, pen.Ink) {}
func (p *recorder) Mark(at pen.Point, m pen.Mark) {
	p.marks, p.kinds = append(p.marks, at), append(p.kinds, m.Shape)
}
func (p *recorder) Begin(pen.Label, pen.Point, float64) {}
func (p *recorder) End()                                {}

// Text takes a letter as 0.55 of the size wide, about the mean of common sans faces.
func (p *recorder) Text(at pen.Point, words string, l pen.Lettering) {
	wide := 0.55 * l.Size * float64(len([]rune(words)))
	left := at.X - wide*[...]float64{pen.Start: 0, pen.Middle: 0.5, pen.End: 1}[l.Anchor]
	p.words = append(p.words, recordedWords{left, left + wide, at.Y, words})
}

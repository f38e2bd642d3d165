package heard_test

import (
	"encoding/xml"
	"errors"
	"flag"
	"io"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"timeball/internal/chart"
	"timeball/internal/chart/heard"
	"timeball/internal/chart/pen"
)

var update = flag.Bool("update", false, "rewrite the golden files")

func golden(t *testing.T, name, got string) {
	t.Helper()
	path := filepath.Join("testdata", name)
	if *update {
		if err := os.MkdirAll("testdata", 0o755); err != nil {
			t.Fatal(err)
		}
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

var forbidden = regexp.MustCompile(`NaN|Inf|<style|<script|\sstyle=|\son[a-z]+=|javascript:`)

// checked fails unless the figure is one well-formed image with words for
// those who cannot see it, and every place in it finite and on the page.
func checked(t interface{ Fatalf(string, ...any) }, f heard.Figure) {
	svg := f.SVG()
	d := xml.NewDecoder(strings.NewReader(svg))
	images, elements := 0, map[string]int{}
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
		elements[el.Name.Local]++
		for _, a := range el.Attr {
			switch a.Name.Local {
			case "style", "onclick", "onload":
				t.Fatalf("attribute %s", a.Name.Local)
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
	}
	if images != 1 || elements["title"] != 1 || elements["desc"] != 1 || elements["style"]+elements["script"] > 0 {
		t.Fatalf("%d images, elements %v", images, elements)
	}
	if f.Result == "" {
		t.Fatalf("no result in words")
	}
	p := &recorder{}
	f.Draw(p)
	for _, q := range p.places {
		if !(q.X >= -1 && q.X <= f.Size.Width+1 && q.Y >= -1 && q.Y <= f.Size.Height+1) {
			t.Fatalf("place %v is not on the page of %v by %v", q, f.Size.Width, f.Size.Height)
		}
	}
}

func TestGoldenFigures(t *testing.T) {
	for _, scene := range scenes {
		for _, size := range []chart.Size{chart.Wide(), chart.Narrow()} {
			t.Run(scene.name+"-"+size.Name, func(t *testing.T) {
				f := scene.draw(size)
				checked(t, f)
				svg := f.SVG()
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
}

// The words of a figure must be on the page and not over each other.
func TestWordsDoNotOverlap(t *testing.T) {
	for _, scene := range scenes {
		for _, size := range []chart.Size{chart.Wide(), chart.Narrow(), {Name: "small", Width: 300, Type: 12}} {
			f := scene.draw(size)
			p := &recorder{}
			f.Draw(p)
			for i, a := range p.words {
				if a.left < -1 || a.right > size.Width+1 || a.y < 0 || a.y > f.Size.Height {
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

func TestResults(t *testing.T) {
	wide := chart.Wide()
	for name, c := range map[string]struct {
		figure heard.Figure
		want   string
	}{
		"beat":         {detent().Figure(wide), "One oscillation of 500 ms; unlocking to drop 14.2 ms, amplitude 225° ±5°; faint tick 3.50 ms late, 5° ±1° out of beat."},
		"lever":        {lever().Figure(wide), "One oscillation of 400 ms; unlocking to drop 10.5 ms; tock 2.00 ms early."},
		"line":         {minute().Figure(wide), "116 beats over 60 s; 95 of 100 within 41 µs of their line; 2 beats set aside; 20 ms of sound missing at 31 s."},
		"doubt":        {doubt().Figure(wide), "Gaining 3.53 s a day ±0.12 after 60 s; the largest part of the doubt is sampling clock, not calibrated, ±0.10 s a day."},
		"teeth":        {wheel().Figure(wide), "15 teeth; largest: tooth 7, 48 µs late ±7."},
		"wind":         {wind().Figure(wide), "Amplitude 272° ±4° at 0.2 h, 239° ±3° at 29.8 h since winding."},
		"hours":        {hoursOf().Figure(wide), "Losing 0.20 s a day ±0.12 at 0.0 h since winding, losing 0.95 s a day ±0.12 at 30.0 h."},
		"phase":        {phase().Figure(wide), "The beat falls 132 ms ±3 after the UTC half-second; taken: fast 12.868 s ±0.003: it is the only one within the forecast; the next, fast 13.368 s, is 0.44 s away from it."},
		"phase unsure": {phaseUnsure().Figure(wide), "The beat falls 497.0 ms ±0.4 after the UTC half-second; none taken: six fall within the forecast; count the half-seconds at the dial."},
		"no beat":      {heard.Beat{}.Figure(wide), "No beat was heard."},
		"no line":      {heard.Line{}.Figure(wide), "No beats yet."},
		"no doubt":     {heard.Doubt{}.Figure(wide), "No rate yet."},
		"no teeth":     {heard.Teeth{}.Figure(wide), "The teeth are not known yet."},
		"no wind":      {heard.Wind{}.Figure(wide), "No amplitude yet."},
		"no hours":     {heard.Hours{}.Figure(wide), "No rate yet."},
		"said":         {heard.Teeth{Caption: chart.Caption{Result: "as the caller says"}}.Figure(wide), "as the caller says"},
	} {
		if c.figure.Result != c.want {
			t.Errorf("%s: %q, want %q", name, c.figure.Result, c.want)
		}
	}
}

// Up must be early and gaining, right must be later and fast.
func TestDirections(t *testing.T) {
	discs := func(f heard.Figure) []pen.Point {
		p := &recorder{}
		f.Draw(p)
		var at []pen.Point
		for _, m := range p.marks {
			if m.Shape == pen.Disc {
				at = append(at, m.Point)
			}
		}
		return at
	}
	wide := chart.Wide()
	for name, f := range map[string]heard.Figure{
		"line":  heard.Line{Beats: []heard.Residual{{AtS: 0, EarlyS: -1e-5}, {AtS: 10, EarlyS: 1e-5}}}.Figure(wide),
		"teeth": heard.Teeth{Teeth: []heard.Tooth{{-1e-5, 0}, {1e-5, 0}}}.Figure(wide),
		"wind":  heard.Wind{Amplitude: []heard.Swing{{1, 240, 0}, {2, 260, 0}}}.Figure(wide),
		"hours": heard.Hours{Measured: []heard.Pace{{1, -3, 0}, {2, 3, 0}}}.Figure(wide),
	} {
		if at := discs(f); len(at) != 2 || at[0].X >= at[1].X || at[0].Y <= at[1].Y {
			t.Errorf("%s: discs at %v: want the second to the right and above", name, at)
		}
	}
	f := heard.Phase{BeatS: 0.5, AfterS: 0.125, Candidates: []heard.Candidate{{FastS: 1}, {FastS: 1.5, Taken: true}}}.Figure(wide)
	at := discs(f)
	if len(at) != 3 {
		t.Fatalf("%d discs, want the beat and two candidates", len(at))
	}
	// A quarter of a beat late lies a quarter of the staff from its left end, which is 12 units from the edge.
	if want := 12 + 0.25*(wide.Width-24); math.Abs(at[0].X-want) > 0.1 {
		t.Errorf("the beat at %v, want %v", at[0].X, want)
	}
	if at[1].X <= at[2].X {
		t.Errorf("the taken one, fast 1.5 s, at %v is not to the right of fast 1 s at %v", at[1].X, at[2].X)
	}
}

// A beat before the unlocking in the table of levels wraps round the oscillation.
func TestBeatCountsFromTheUnlocking(t *testing.T) {
	for _, turn := range []float64{0, 0.07, 0.31, 0.499} {
		b := heard.Beat{PeriodS: 0.5, Level: make([]float64, 500), UnlockingS: at(turn), DropS: at(math.Mod(turn+0.0142, 0.5)), ReturnS: at(math.Mod(turn+0.2535, 0.5))}
		want := "One oscillation of 500 ms; unlocking to drop 14.2 ms; faint tick 3.50 ms late."
		if got := b.Figure(chart.Wide()).Result; got != want {
			t.Errorf("unlocking at %v s: %q, want %q", turn, got, want)
		}
	}
}

// Of thousands of beats the medians of short stretches are drawn, and no
// stretch reaches over a break.
func TestManyBeats(t *testing.T) {
	l := heard.Line{Caption: named("many", "many"), Breaks: []heard.Break{{AtS: 25000, Words: "20 ms of sound missing"}}}
	for k := range 100_000 {
		early := 1e-3
		if k >= 50_000 {
			early = -1e-3
		}
		l.Beats = append(l.Beats, heard.Residual{AtS: float64(k) * 0.5, EarlyS: early})
	}
	for _, size := range []chart.Size{chart.Wide(), chart.Narrow()} {
		begun := time.Now()
		f := l.Figure(size)
		svg := f.SVG()
		t.Logf("%s: %d bytes in %v", size.Name, len(svg), time.Since(begun))
		if len(svg) > 60_000 {
			t.Errorf("%s: %d bytes, want at most 60,000", size.Name, len(svg))
		}
		checked(t, f)
		p := &recorder{}
		f.Draw(p)
		heights := map[float64]bool{}
		for _, m := range p.marks {
			heights[m.Y] = true
		}
		if len(heights) != 2 {
			t.Errorf("%s: medians at %d heights, want 2: a stretch reaches over the break", size.Name, len(heights))
		}
	}
}

// JCGM 100:2008, 5.1.2: independent parts add as their squares do; 3, 4 and 12
// make 13.
func TestTogether(t *testing.T) {
	if got := heard.Together([]heard.Part{{"a", 3}, {"b", -4}, {"c", 12}, {"d", math.NaN()}}); math.Abs(got-13) > 1e-12 {
		t.Errorf("%v, want 13", got)
	}
	if got := heard.Together(nil); got != 0 {
		t.Errorf("%v of no parts", got)
	}
}

func TestGoldenText(t *testing.T) {
	var b strings.Builder
	for _, size := range [][2]int{{80, 18}, {60, 12}, {0, 0}} {
		for _, text := range []string{heard.Text(minute(), size[0], size[1]), heard.Text(evening(), size[0], size[1]), heard.TextBeat(detent(), size[0], size[1]), heard.TextBeat(lever(), size[0], size[1])} {
			lettered(t, text, max(40, size[0]), max(8, size[1]))
			b.WriteString(text + "\n")
		}
	}
	golden(t, "text.txt", b.String())
	if got := heard.Text(heard.Line{}, 80, 18) + heard.TextBeat(heard.Beat{}, 80, 18); got != "no beats yet\nno beat was heard\n" {
		t.Errorf("of nothing: %q", got)
	}
}

// lettered fails unless text is ASCII and fits the page.
func lettered(t interface{ Fatalf(string, ...any) }, text string, columns, rows int) {
	lines := strings.Split(strings.TrimSuffix(text, "\n"), "\n")
	if len(lines) > rows {
		t.Fatalf("%d lines, want at most %d", len(lines), rows)
	}
	for _, line := range lines {
		if len(line) > columns || strings.ContainsFunc(line, func(r rune) bool { return r > 126 || r < 32 }) {
			t.Fatalf("line %q is not ASCII of at most %d letters", line, columns)
		}
	}
}

// Whatever the numbers, every figure must be well-formed, finite and on its page.
func TestAnyNumbers(t *testing.T) {
	value := rapid.OneOf(rapid.Float64(), rapid.Float64Range(-50, 50), rapid.Float64Range(-1e-4, 1e-4), rapid.Just(12.0),
		rapid.SampledFrom([]float64{0, math.NaN(), math.Inf(1), math.Inf(-1), 1e300, -1e12, 1e12, 5e-324, 0.5}))
	words := rapid.OneOf(rapid.String(), rapid.SampledFrom([]string{"", "20 ms of sound missing", "a<b&\"c'", "\x00\xfe", strings.Repeat("long ", 100)}))
	maybe := func(t *rapid.T, name string) *float64 {
		if rapid.Bool().Draw(t, name+" known") {
			return at(value.Draw(t, name))
		}
		return nil
	}
	rapid.Check(t, func(t *rapid.T) {
		caption := chart.Caption{ID: words.Draw(t, "id"), Title: words.Draw(t, "title")}
		size := rapid.SampledFrom([]chart.Size{chart.Wide(), chart.Narrow(), {}, {Width: math.NaN(), Height: 10}, {Name: "x", Width: 200, Height: 9, Type: 30}, {Width: 205, Type: 10}}).Draw(t, "size")
		n := rapid.IntRange(0, 9).Draw(t, "n")
		b := heard.Beat{Caption: caption, PeriodS: value.Draw(t, "period"), Level: rapid.SliceOfN(value, 0, 9).Draw(t, "level"), InDB: rapid.Bool().Draw(t, "db"), Lever: rapid.Bool().Draw(t, "lever"),
			UnlockingS: maybe(t, "unlocking"), DropS: maybe(t, "drop"), ReturnS: maybe(t, "return")}
		if rapid.Bool().Draw(t, "angles") {
			b.Amplitude, b.OutOfBeat = &heard.Angle{Deg: value.Draw(t, "deg"), PlusMinusDeg: value.Draw(t, "pm")}, &heard.Angle{Deg: value.Draw(t, "deg"), PlusMinusDeg: value.Draw(t, "pm")}
		}
		if rapid.Bool().Draw(t, "half-second") {
			b.PeriodS = 0.5
		}
		l, d := heard.Line{Caption: caption}, heard.Doubt{Caption: caption}
		teeth, wind, hours := heard.Teeth{Caption: caption}, heard.Wind{Caption: caption}, heard.Hours{Caption: caption}
		p := heard.Phase{Caption: caption, BeatS: value.Draw(t, "beat"), AfterS: value.Draw(t, "after"), PlusMinusS: value.Draw(t, "pm"), Why: words.Draw(t, "why"), Of: words.Draw(t, "of")}
		if rapid.Bool().Draw(t, "forecast") {
			p.Forecast = &heard.Error{FastS: value.Draw(t, "fast"), PlusMinusS: value.Draw(t, "pm")}
		}
		for range n {
			at, v, pm, say := value.Draw(t, "at"), value.Draw(t, "v"), value.Draw(t, "pm"), words.Draw(t, "words")
			b.Sounds = append(b.Sounds, heard.Sound{AtS: at, Words: say})
			l.Beats = append(l.Beats, heard.Residual{AtS: at, EarlyS: v, SetAside: rapid.Bool().Draw(t, "aside")})
			l.Breaks = append(l.Breaks, heard.Break{AtS: at, Words: say})
			l.Band = append(l.Band, heard.Breadth{AtS: at, PlusMinusS: pm})
			d.Course = append(d.Course, heard.Moment{AtS: at, RatePerDay: v, PlusMinusPerDay: pm})
			d.Parts = append(d.Parts, heard.Part{Words: say, PlusMinusPerDay: pm})
			teeth.Teeth = append(teeth.Teeth, heard.Tooth{EarlyS: v, PlusMinusS: pm})
			wind.Amplitude = append(wind.Amplitude, heard.Swing{WoundH: at, AmplitudeDeg: v, PlusMinusDeg: pm})
			wind.Events = append(wind.Events, heard.Hourly{WoundH: at, Words: say})
			hours.Measured = append(hours.Measured, heard.Pace{WoundH: at, RatePerDay: v, PlusMinusPerDay: pm})
			hours.Smooth = append(hours.Smooth, heard.Pace{WoundH: at, RatePerDay: v, PlusMinusPerDay: pm})
			p.Candidates = append(p.Candidates, heard.Candidate{FastS: v, Taken: rapid.Bool().Draw(t, "taken")})
		}
		hours.Events = wind.Events
		if rapid.Bool().Draw(t, "many") {
			for k := range manyOf(t) {
				l.Beats = append(l.Beats, heard.Residual{AtS: float64(k), EarlyS: math.Sin(float64(k))})
				hours.Measured = append(hours.Measured, heard.Pace{WoundH: float64(k), RatePerDay: math.Sin(float64(k)), PlusMinusPerDay: 1})
				teeth.Teeth = append(teeth.Teeth, heard.Tooth{EarlyS: 1})
			}
		}
		for _, f := range []interface {
			Figure(chart.Size) heard.Figure
		}{b, l, d, teeth, wind, hours, p} {
			checked(t, f.Figure(size))
		}
		columns, rows := rapid.IntRange(-1, 120).Draw(t, "columns"), rapid.IntRange(-1, 30).Draw(t, "rows")
		lettered(t, heard.Text(l, columns, rows), max(40, columns), max(8, rows))
		lettered(t, heard.TextBeat(b, columns, rows), max(40, columns), max(8, rows))
	})
}

func manyOf(t *rapid.T) int { return rapid.IntRange(500, 900).Draw(t, "many") }

// Words and links of the caller must be escaped.
func TestHostileWords(t *testing.T) {
	bad := `"><script>alert(1)</script>` + "\x00\xff&"
	l := heard.Line{Caption: chart.Caption{ID: bad, Title: bad, Result: bad}, Beats: []heard.Residual{{AtS: 1}, {AtS: 9}}, Breaks: []heard.Break{{AtS: 5, Words: bad}}}
	f := l.Figure(chart.Wide())
	checked(t, f)
	if strings.Contains(f.SVG(), "<script") {
		t.Error("contains <script")
	}
}

func TestTables(t *testing.T) {
	for _, scene := range scenes {
		table := scene.draw(chart.Wide()).Table()
		if !strings.HasPrefix(scene.name, "empty") && len(table.Rows) == 0 {
			t.Errorf("%s: no rows", scene.name)
		}
		for _, r := range table.Rows {
			if len(r.Cells) != len(table.Columns) {
				t.Errorf("%s: row %q for columns %q", scene.name, r.Cells, table.Columns)
			}
		}
	}
}

// recorder is a pen that keeps what it was asked to draw.
type recorder struct {
	places []pen.Point
	marks  []recordedMark
	words  []recordedWords
}

type recordedMark struct {
	pen.Point
	pen.Mark
}

type recordedWords struct {
	left, right, y float64
	words          string
}

func (p *recorder) Line(through []pen.Point, _ pen.Stroke) { p.places = append(p.places, through...) }
func (p *recorder) Area(outline []pen.Point, _ pen.Ink)    { p.places = append(p.places, outline...) }
func (p *recorder) Mark(at pen.Point, m pen.Mark) {
	p.places, p.marks = append(p.places, at), append(p.marks, recordedMark{at, m})
}
func (p *recorder) Begin(pen.Label, pen.Point, float64) {}
func (p *recorder) End()                                {}

// dejaVu is how wide DejaVu Sans 2.37 sets the letters from the blank to the
// tilde, in thousandths of the size (table hmtx of the face).
var dejaVu = [...]float64{318, 401, 460, 838, 636, 950, 780, 275, 390, 390, 500, 838, 318, 361, 318, 337, 636, 636, 636, 636, 636, 636, 636, 636, 636, 636, 337, 337, 838, 838, 838, 531,
	1000, 684, 686, 698, 770, 632, 575, 775, 752, 295, 295, 656, 557, 863, 748, 787, 603, 787, 695, 635, 611, 732, 684, 989, 685, 611, 685, 390, 337, 390, 838, 500,
	500, 613, 635, 550, 635, 615, 352, 635, 634, 278, 278, 579, 278, 974, 634, 612, 635, 635, 411, 521, 392, 634, 592, 818, 592, 592, 525, 636, 337, 636, 838}

// Text takes words as wide as DejaVu Sans sets them, the widest of the common
// sans faces.
func (p *recorder) Text(at pen.Point, words string, l pen.Lettering) {
	wide := 0.0
	for _, r := range words {
		switch {
		case r >= ' ' && r <= '~':
			wide += dejaVu[r-' ']
		case r == '°':
			wide += 500
		case r == '±':
			wide += 838
		case r == 'µ':
			wide += 636
		default:
			wide += 1000
		}
	}
	wide *= l.Size / 1000
	left := at.X - wide*[...]float64{pen.Start: 0, pen.Middle: 0.5, pen.End: 1}[l.Anchor]
	p.places = append(p.places, at)
	p.words = append(p.words, recordedWords{left, left + wide, at.Y, words})
}

package leaf_test

import (
	"encoding/xml"
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"timeball/internal/chart"
	"timeball/internal/chart/pen"
	"timeball/internal/paper/leaf"
)

// piece is what an svg element says of one piece of text, mm.
type piece struct {
	x, y, width, size float64
	words             string
	drawing           bool // inside a figure
}

// pieces reads the text elements of a leaf.
func pieces(t rapid.TB, d *leaf.Document, n int) []piece {
	type text struct {
		X      float64 `xml:"x,attr"`
		Y      float64 `xml:"y,attr"`
		Length float64 `xml:"textLength,attr"`
		Size   float64 `xml:"font-size,attr"`
		Words  string  `xml:",chardata"`
	}
	var page struct {
		Text    []text `xml:"text"`
		Figures []struct {
			Text []text `xml:"text"`
		} `xml:"g"`
	}
	if err := xml.Unmarshal([]byte(d.SVG(n)), &page); err != nil {
		t.Fatalf("leaf %d: %v", n, err)
	}
	var out []piece
	for _, p := range page.Text {
		out = append(out, piece{p.X, p.Y, p.Length, p.Size, p.Words, false})
	}
	for _, f := range page.Figures {
		for _, p := range f.Text {
			out = append(out, piece{p.X, p.Y, p.Length, p.Size, p.Words, true})
		}
	}
	return out
}

// checkPlaces fails if words lie outside the margins, or over each other.
func checkPlaces(t rapid.TB, d *leaf.Document, m leaf.Margins) {
	for n, l := range d.Leaves {
		all := pieces(t, d, n)
		for i, p := range all {
			if p.x < m.Left-0.02 || p.x+p.width > l.Size.Width-m.Right+0.02 || p.y-0.7*p.size < 4 || p.y > l.Size.Height-m.Bottom+16 {
				t.Fatalf("leaf %d: %q stands outside at %.2f to %.2f, %.2f", n+1, p.words, p.x, p.x+p.width, p.y)
			}
			for _, q := range all[:i] {
				apart := p.x >= q.x+q.width-0.02 || q.x >= p.x+p.width-0.02 || math.Abs(p.y-q.y) >= 0.68*max(p.size, q.size)
				if !apart && !(p.drawing && q.drawing) {
					t.Fatalf("leaf %d: %q lies over %q", n+1, p.words, q.words)
				}
			}
		}
	}
}

var anyWords = rapid.OneOf(
	rapid.StringN(0, 60, -1),
	rapid.StringMatching(`([A-Za-z]{1,14} ){0,40}`),
	rapid.SampledFrom([]string{"", "fast 12.94 s ±0.21", "losing 0.83 s", "Þóra Æsi Ðuríðardóttir-Łukasz Żółkiewska-Ελένη Παπαδημητρίου", "−4.5", "not known", strings.Repeat("w", 200)}),
)

// TestAnyWords sets anything in any order and checks that all of it stays
// within the margins, that nothing lies over anything else, and that it can be
// written.
func TestAnyWords(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := document()
		d.Size = rapid.SampledFrom([]leaf.Size{leaf.A4, leaf.Letter, {}}).Draw(t, "size")
		m := leaf.Generous()
		f := d.Flow(m, nil)
		for range rapid.IntRange(1, 12).Draw(t, "parts") {
			words := anyWords.Draw(t, "words")
			switch rapid.IntRange(0, 8).Draw(t, "part") {
			case 0:
				f.Heading(words)
			case 1:
				f.Paragraph(words)
			case 2:
				f.Items(rapid.SliceOfN(anyWords, 0, 5).Draw(t, "items"))
			case 3:
				f.Numbered(rapid.SliceOfN(anyWords, 0, 12).Draw(t, "steps"))
			case 4:
				f.Facts([][2]string{{words, "x"}, {"y", words}, {words, words}})
			case 5:
				f.Panel(leaf.Fact{Label: "Error", Words: "fast 12.9 s", After: "±0.2"}, leaf.Fact{Label: "Rate", Words: "losing 0.83 s"})
			case 6:
				f.Space(rapid.Float64Range(0, 400).Draw(t, "space"))
			default:
				n := rapid.IntRange(1, 5).Draw(t, "columns")
				table := leaf.Table{Size: 8}
				for range n {
					table.Columns = append(table.Columns, leaf.Column{Title: rapid.SampledFrom([]string{"", "Day", "Rate a day"}).Draw(t, "title"),
						Align: leaf.Align(rapid.IntRange(0, 2).Draw(t, "align")), Share: rapid.SampledFrom([]float64{0, 1}).Draw(t, "share")})
				}
				table.Rows = rapid.SliceOfN(rapid.SliceOfN(anyWords, 0, n+1), 0, 30).Draw(t, "rows")
				table.Strong = []int{1}
				f.Table(table)
			}
		}
		f.Close(rapid.SampledFrom([]string{"", "sha256 9f86d081 884c7d65 …", strings.Repeat("f", 200)}).Draw(t, "digest"))
		checkPlaces(t, d, m)
	})
}

func TestWrapKeepsWords(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		words := rapid.StringMatching(`[a-zA-Z0-9Þłė ,.±-]{0,200}`).Draw(t, "words")
		width := rapid.Float64Range(5, 200).Draw(t, "width")
		s := leaf.Style{Face: leaf.Face(rapid.IntRange(0, 4).Draw(t, "face")), Size: rapid.Float64Range(6, 14).Draw(t, "size")}
		lines := leaf.Wrap(words, s, width)
		bare := func(s string) string { return strings.ReplaceAll(s, " ", "") }
		if bare(strings.Join(lines, "")) != bare(words) {
			t.Fatalf("%q became %q", words, lines)
		}
		for _, line := range lines {
			if w := leaf.Width(line, s); w > width+1e-5 {
				t.Fatalf("%q is %.3f mm wide, not %.3f", line, w, width)
			}
		}
	})
}

func TestNumbersKeepTheirUnits(t *testing.T) {
	s := leaf.ParagraphStyle
	words := "The dial was fast 12.9 s ±0.2 at 20 °C, and losing 0.83 s a day."
	for width := 22.0; width < 120; width++ {
		for _, line := range leaf.Wrap(words, s, width) {
			if strings.HasPrefix(line, "±") || strings.HasPrefix(line, "s ") || strings.HasPrefix(line, "°C") {
				t.Errorf("at %.0f mm a line begins %q", width, line)
			}
		}
	}
}

// TestTable checks a long table: its heading stands on every leaf, no row is
// split, and the decimal points of a column are under each other.
func TestTable(t *testing.T) {
	d := document()
	m := leaf.Generous()
	f := d.Flow(m, func(l *leaf.Leaf, page int) { l.Text(30, 15, fmt.Sprintf("head %d", page), leaf.LabelStyle) })
	f.Paragraph("Before the table.")
	table := leaf.Table{Columns: []leaf.Column{{Title: "Day", Align: leaf.End}, {Title: "Error", Align: leaf.Decimal}, {Title: "Temperature", Align: leaf.Decimal}, {Title: "Remark", Share: 1}}}
	numbers := []string{"fast 12.9 s", "slow 2 min 40.5 s", "fast 7 s", "slow 123.456 s", "right to 0.0 s"}
	for i := range 120 {
		remark := ""
		if i%4 == 1 {
			remark = fmt.Sprintf("row %d begins here and is so long that it takes more than one line of this column, and ends with row %d", i, i)
		}
		table.Rows = append(table.Rows, []string{fmt.Sprint(i), numbers[i%5], fmt.Sprintf("%.1f", float64(i)-7), remark})
	}
	f.Table(table)
	f.Close("")
	if len(d.Leaves) < 4 {
		t.Fatalf("%d leaves", len(d.Leaves))
	}
	checkPlaces(t, d, m)
	points := map[string]bool{}
	for n := range d.Leaves {
		all := pieces(t, d, n)
		count := map[string]int{}
		rows := map[string]bool{}
		for _, p := range all {
			count[p.words]++
			for _, s := range []string{"fast ", "slow ", "right to "} {
				if strings.HasPrefix(p.words, s) {
					before, _, found := strings.Cut(p.words, ".")
					if !found {
						before = strings.TrimSuffix(p.words, " s")
					}
					points[fmt.Sprintf("%.1f", p.x+leaf.Width(before, leaf.Style{Face: leaf.Sans, Size: 9}))] = true
				}
			}
			var row int
			if _, err := fmt.Sscanf(p.words, "row %d begins", &row); err == nil {
				rows[fmt.Sprintf("row %d", row)] = true
			}
		}
		if count["Error"] != 1 || count["Remark"] != 1 || count[fmt.Sprintf("head %d", n+1)] != 1 {
			t.Errorf("leaf %d: heading %d times, head %d times", n+1, count["Error"], count[fmt.Sprintf("head %d", n+1)])
		}
		if page := fmt.Sprintf("page %d of %d", n+1, len(d.Leaves)); count[page] != 1 {
			t.Errorf("leaf %d does not say %q", n+1, page)
		}
		for row := range rows {
			if !strings.Contains(d.SVG(n), row+"</text>") {
				t.Errorf("leaf %d: %s goes on to another leaf", n+1, row)
			}
		}
	}
	if len(points) != 1 {
		t.Errorf("decimal points stand at %v mm", points)
	}
}

func TestFigureIsDrawn(t *testing.T) {
	var run []chart.Estimate
	at := time.Date(2026, 10, 1, 8, 0, 0, 0, time.UTC)
	for i := range 30 {
		v := -0.8 + 0.01*float64(i%7)
		run = append(run, chart.Estimate{At: at.AddDate(0, 0, i), Value: v, Lo: v - 0.05, Hi: v + 0.05})
	}
	figure := chart.RateCurve{Caption: chart.Caption{ID: "x", Title: "Rate over time", Result: "Losing 0.8 s a day."}, Runs: [][]chart.Estimate{run}}.Figure(leaf.PrintSize(166, 50))
	d := document()
	f := d.Flow(leaf.Generous(), nil)
	f.Figure(figure)
	f.Figure(chart.Figure{}) // is left out
	if high := f.Y() - 24; math.Abs(high-51.5) > 0.01 {
		t.Errorf("the figure is %.2f mm high with its space, want 51.5", high)
	}
	svg := d.SVG(0)
	if !strings.Contains(svg, "<title id=") || !strings.Contains(svg, ">Rate over time</title>") || !strings.Contains(svg, ">Losing 0.8 s a day.</desc>") {
		t.Error("the figure has lost its words")
	}
	if !strings.Contains(svg, `stroke="#14566b"`) {
		t.Error("the curve is not drawn")
	}
	name, _ := pdf(t, d)
	if words := poppler(t, "pdftotext", "-layout", name, "-"); !strings.Contains(words, "losing 0.8") || !strings.Contains(words, "Oct") {
		t.Errorf("the axes have lost their words:\n%s", words)
	}
}

// TestNoNumbers checks that what has no place is left out.
func TestNoNumbers(t *testing.T) {
	d := document()
	l := d.NewLeaf()
	nan, inf := math.NaN(), math.Inf(1)
	l.Text(nan, 10, "x", leaf.Style{})
	l.Text(10, inf, "x", leaf.Style{Size: 10})
	l.Text(10, 10, "x", leaf.Style{Size: nan, Face: 99})
	l.Rule(nan, 0, inf, 0, 1, pen.Ink1)
	l.Box(0, 0, nan, 1, pen.Ink1)
	l.Frame(0, 0, 1, 1, inf, pen.Ink1)
	l.Disc(0, 0, -1, pen.Ink1)
	l.Figure(nan, 0, 100, chart.Figure{Size: leaf.PrintSize(10, 10)})
	_, file := pdf(t, d)
	if strings.Contains(string(file), "NaN") || strings.Contains(d.SVG(0), "NaN") {
		t.Error("something that is no number was written")
	}
}

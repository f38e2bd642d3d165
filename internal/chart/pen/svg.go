package pen

import (
	"bytes"
	"encoding/xml"
	"math"
	"strconv"
	"strings"
)

// Sheet is a finished drawing with its size and its words for those who cannot see it.
type Sheet struct {
	ID            string // unique on the page
	Title, Result string
	Name          string // of the size; becomes the class "chart-NAME" and a part of the ids
	Width, Height float64
	Type          float64 // size of the letters where none is given
	Ground        List    // what is only looked at
	Marks         List    // what can be pointed at, each in a group
}

// SVG returns the sheet as an svg element to stand in a page. It carries no
// style attribute, style element or script; colours are the variables of the
// page's sheet with a light value behind each, so that it also stands alone.
//
// Classes: chart and chart-NAME on the element, and on the groups the Kind of
// their label, with data-entry where a logbook entry is known. A sheet must not
// set font-size inside chart: the sizes are given here.
func (s *Sheet) SVG() string {
	p := &svgPen{}
	id, class := escaped(s.ID), "chart"
	if s.Name != "" {
		id, class = id+"-"+escaped(s.Name), class+" chart-"+escaped(s.Name)
	}
	s.Ground.Draw(p)
	drawing := p.taken()
	s.Marks.Draw(p)
	marks := p.taken()
	w, h := number(s.Width), number(s.Height)
	begin := `<svg xmlns="http://www.w3.org/2000/svg" class="` + class + `" width="` + w + `" height="` + h + `" viewBox="0 0 ` + w + ` ` + h +
		`" font-family="var(--sans,sans-serif)" font-size="` + number(s.Type) + `" fill="` + pots[Ink2] + `"`
	named := ` role="img" aria-labelledby="` + id + `-title ` + id + `-desc"`
	head := `<title id="` + id + `-title">` + escaped(s.Title) + `</title><desc id="` + id + `-desc">` + escaped(s.Result) + `</desc>`
	if !p.pointed {
		return begin + named + ">" + head + drawing + marks + "</svg>"
	}
	// What is inside an img role is not offered to the keyboard, so the marks stand beside it.
	return begin + ` role="group" aria-labelledby="` + id + `-title">` + head + "<g" + named + ">" + drawing + "</g><g>" + marks + "</g></svg>"
}

// pots are the variables of the page's sheet, with the light tokens behind them.
var pots = [...]string{
	NoInk:      "none",
	Paper:      "var(--sheet,#fffdf9)",
	Rule:       "var(--rule,#ddd6c8)",
	RuleStrong: "var(--rule-strong,#b9ae99)",
	Ink1:       "var(--ink,#1c2426)",
	Ink2:       "var(--ink-2,#566064)",
	Ink3:       "var(--ink-3,#6f787b)",
	Sea:        "var(--sea,#14566b)",
	SeaSoft:    "var(--sea-soft,#d8e7ea)",
	Brass:      "var(--brass,#8a5a12)",
	Alarm:      "var(--alarm,#9c2f1f)",
}

// svgPen writes SVG; lines of one stroke, and areas of one ink, that follow
// each other become one path.
type svgPen struct {
	out     bytes.Buffer
	path    bytes.Buffer // the path begun
	attrs   string       // and its attributes
	close   []string     // end tags of the open groups
	pointed bool         // something takes the keyboard
}

func (p *svgPen) flush() {
	if p.path.Len() > 0 {
		p.out.WriteString(`<path d="` + p.path.String() + `" ` + p.attrs + `/>`)
		p.path.Reset()
	}
}

func (p *svgPen) taken() string {
	p.flush()
	s := p.out.String()
	p.out.Reset()
	return s
}

func (p *svgPen) trace(points []Point, attrs, end string) {
	if p.attrs != attrs {
		p.flush()
		p.attrs = attrs
	}
	n := 0
	var last [2]int64 // in tenths, so that relative steps do not add up their rounding
	for _, q := range points {
		if !finite(q) {
			continue
		}
		to := [2]int64{int64(math.Round(q.X * 10)), int64(math.Round(q.Y * 10))}
		switch {
		case n == 0:
			p.path.WriteString("M" + tenths(to[0]) + " " + tenths(to[1]))
		case to == last:
			continue
		case n == 1:
			p.path.WriteString("l" + tenths(to[0]-last[0]) + " " + tenths(to[1]-last[1]))
		default:
			p.path.WriteString(" " + tenths(to[0]-last[0]) + " " + tenths(to[1]-last[1]))
		}
		last = to
		n++
	}
	if n == 1 {
		p.path.WriteString("h0")
	}
	if n > 0 {
		p.path.WriteString(end)
	}
}

func (p *svgPen) Line(through []Point, s Stroke) {
	attrs := `fill="none" stroke="` + pots[s.Ink] + `" stroke-width="` + number(s.Width) + `"`
	switch s.Dash {
	case Dotted:
		attrs += ` stroke-dasharray="1 3"`
	case Dashed:
		attrs += ` stroke-dasharray="3 4"`
	default:
		if s.Ink == Sea {
			attrs += ` stroke-linejoin="round"`
		}
	}
	p.trace(through, attrs, "")
}

func (p *svgPen) Area(outline []Point, fill Ink) {
	p.trace(outline, `fill="`+pots[fill]+`"`, "Z")
}

func (p *svgPen) Mark(at Point, m Mark) {
	if !finite(at) {
		return
	}
	p.flush()
	r := m.Radius
	ink := ` fill="` + pots[m.Fill] + `"`
	if m.Edge != NoInk {
		ink += ` stroke="` + pots[m.Edge] + `"`
		if r > 3 {
			ink += ` stroke-width="1.5"`
		}
	}
	x, y := at.X, at.Y
	switch m.Shape {
	case Disc:
		p.out.WriteString(`<circle cx="` + number(x) + `" cy="` + number(y) + `" r="` + number(r) + `"` + ink + `/>`)
	case Cross:
		p.out.WriteString(`<path d="M` + number(x-r) + " " + number(y-r) + "L" + number(x+r) + " " + number(y+r) +
			"M" + number(x-r) + " " + number(y+r) + "L" + number(x+r) + " " + number(y-r) +
			`" fill="none" stroke="` + pots[m.Edge] + `" stroke-width="2"/>`)
	default:
		d := [...]Point{ArrowUp: {0, -1}, ArrowDown: {0, 1}, ArrowLeft: {-1, 0}, ArrowRight: {1, 0}}[m.Shape]
		tip, a, b := Point{x + d.X*r, y + d.Y*r}, Point{x - d.X*r + d.Y*r, y - d.Y*r + d.X*r}, Point{x - d.X*r - d.Y*r, y - d.Y*r - d.X*r}
		p.out.WriteString(`<path d="M` + number(tip.X) + " " + number(tip.Y) + "L" + number(a.X) + " " + number(a.Y) + "L" +
			number(b.X) + " " + number(b.Y) + `Z"` + ink + `/>`)
	}
}

func (p *svgPen) Text(at Point, words string, l Lettering) {
	if !finite(at) || words == "" {
		return
	}
	p.flush()
	// 0.35 of the size is about half the height of figures and small letters.
	p.out.WriteString(`<text x="` + number(at.X) + `" y="` + number(at.Y+0.35*l.Size) + `"`)
	if l.Anchor != Start {
		p.out.WriteString([...]string{Middle: ` text-anchor="middle"`, End: ` text-anchor="end"`}[l.Anchor])
	}
	if l.Ink != Ink2 {
		p.out.WriteString(` fill="` + pots[l.Ink] + `"`)
	}
	if l.Halo {
		p.out.WriteString(` stroke="` + pots[Paper] + `" stroke-width="4" stroke-linejoin="round" paint-order="stroke"`)
	}
	p.out.WriteString(">" + escaped(words) + "</text>")
}

func (p *svgPen) Begin(l Label, at Point, reach float64) {
	p.flush()
	attrs := ` class="` + escaped(l.Kind) + `"`
	if l.Entry != "" {
		attrs += ` data-entry="` + escaped(l.Entry) + `"`
	}
	words := []rune(l.Words)
	if len(words) > 240 {
		words = append(words[:240:240], '…')
	}
	title := ""
	if len(words) > 0 {
		title = "<title>" + escaped(string(words)) + "</title>"
	}
	switch {
	case leadsInside(l.Href):
		p.out.WriteString(`<a href="` + escaped(l.Href) + `"` + attrs + ">" + title)
		p.pointed = true
		p.close = append(p.close, "</a>")
	case title != "":
		p.out.WriteString(`<g tabindex="0" role="img"` + attrs + ">" + title)
		p.pointed = true
		p.close = append(p.close, "</g>")
	default:
		p.out.WriteString("<g" + attrs + ">")
		p.close = append(p.close, "</g>")
	}
	if title != "" && reach > 0 && finite(at) {
		p.out.WriteString(`<circle cx="` + number(at.X) + `" cy="` + number(at.Y) + `" r="` + number(reach) + `" fill="none" pointer-events="all"/>`)
	}
}

func (p *svgPen) End() {
	p.flush()
	if n := len(p.close); n > 0 {
		p.out.WriteString(p.close[n-1])
		p.close = p.close[:n-1]
	}
}

// leadsInside tells whether a link stays on the program's own pages.
func leadsInside(href string) bool {
	return len(href) > 1 && (href[0] == '#' || href[0] == '/' && href[1] != '/' && href[1] != '\\')
}

func finite(p Point) bool { return math.Abs(p.X) < 1e9 && math.Abs(p.Y) < 1e9 }

// number returns v with at most one decimal, the same on every run.
func number(v float64) string { return tenths(int64(math.Round(v * 10))) }

func tenths(n int64) string {
	return strings.TrimSuffix(strconv.FormatFloat(float64(n)/10, 'f', 1, 64), ".0")
}

// escaped returns words safe in text and attributes; letters that XML forbids
// become U+FFFD.
func escaped(words string) string {
	var b strings.Builder
	_ = xml.EscapeText(&b, []byte(words)) // a strings.Builder takes everything
	return b.String()
}

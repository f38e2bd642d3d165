package leaf

import (
	"bytes"
	"encoding/xml"
	"fmt"
	"hash/fnv"
	"math"
	"strconv"
	"strings"

	"timeball/internal/chart/pen"
)

// families are the faces of a page of the program: the metrics of the first
// are those of the printed face, and the length of each line is given.
var families = [...]string{
	Serif:       ` font-family="Liberation Serif,Tinos,Times New Roman,serif"`,
	SerifBold:   ` font-family="Liberation Serif,Tinos,Times New Roman,serif" font-weight="700"`,
	SerifItalic: ` font-family="Liberation Serif,Tinos,Times New Roman,serif" font-style="italic"`,
	Sans:        ` font-family="Liberation Sans,Arimo,Arial,sans-serif"`,
	SansBold:    ` font-family="Liberation Sans,Arimo,Arial,sans-serif" font-weight="700"`,
}

// SVG returns a leaf, counted from 0, as an svg element to stand in a page, or
// nothing if there is no such leaf. One unit is a millimetre; the classes are
// leaf and leaf-figure. It carries no style attribute, style element or
// script.
func (d *Document) SVG(leaf int) string {
	if leaf < 0 || leaf >= len(d.Leaves) {
		return ""
	}
	l := d.Leaves[leaf]
	name := fnv.New32a()
	fmt.Fprintf(name, "%s\n%s\n%d", d.Title, d.Subject, d.Created.UnixMicro())
	s := &screen{id: fmt.Sprintf("leaf-%08x-%d", name.Sum32(), leaf+1)}
	w, h := hundredths(l.Size.Width), hundredths(l.Size.Height)
	lang := ""
	if tag := languageTag(d.Language); tag != "" {
		lang = ` lang="` + tag + `"`
	}
	fmt.Fprintf(&s.out, `<svg xmlns="http://www.w3.org/2000/svg" class="leaf" id="%s"%s viewBox="0 0 %s %s" role="group" aria-labelledby="%s-title"><title id="%s-title">%s</title><rect width="%s" height="%s" fill="#fff"/>`,
		s.id, lang, w, h, s.id, s.id, escaped(fmt.Sprintf("%s, page %d of %d", plain(d.Title), leaf+1, len(d.Leaves))), w, h)
	l.draw(s)
	s.out.WriteString("</svg>")
	return s.out.String()
}

// screen is the surface of an svg element.
type screen struct {
	out     bytes.Buffer
	id      string
	figures int
}

func (s *screen) part(*element) {}

func (s *screen) text(w words) {
	t := w.style
	fmt.Fprintf(&s.out, `<text x="%s" y="%s" font-size="%s" textLength="%s" lengthAdjust="spacingAndGlyphs"%s fill="%s"`,
		hundredths(w.x), hundredths(w.y), hundredths(t.Size*millimetres), hundredths(w.width), families[t.Face.known()], hex(t.Ink))
	if w.halo {
		fmt.Fprintf(&s.out, ` stroke="%s" stroke-width="%s" stroke-linejoin="round" paint-order="stroke"`, hex(pen.Paper), hundredths(0.22*t.Size*millimetres))
	}
	s.out.WriteString(">" + escaped(strings.TrimSpace(w.drawn)) + "</text>")
}

func ink(fill pen.Ink, l line) string {
	out := ` fill="none"`
	if fill != pen.NoInk {
		out = ` fill="` + hex(fill) + `"`
	}
	if l.ink == pen.NoInk || l.width <= 0 {
		return out
	}
	out += ` stroke="` + hex(l.ink) + `" stroke-width="` + hundredths(l.width) + `"`
	if l.dash[0] > 0 {
		out += ` stroke-dasharray="` + hundredths(l.dash[0]) + " " + hundredths(l.dash[1]) + `"`
	}
	if l.round {
		out += ` stroke-linejoin="round"`
	}
	return out
}

func (s *screen) path(points []pen.Point, closed bool, fill pen.Ink, l line) {
	if len(points) == 0 {
		return
	}
	s.out.WriteString(`<path d="`)
	for i, p := range points {
		s.out.WriteString(map[bool]string{true: "M", false: "L"}[i == 0] + hundredths(p.X) + " " + hundredths(p.Y))
	}
	if closed {
		s.out.WriteString("Z")
	}
	s.out.WriteString(`"` + ink(fill, l) + "/>")
}

func (s *screen) circle(at pen.Point, radius float64, fill pen.Ink, l line) {
	fmt.Fprintf(&s.out, `<circle cx="%s" cy="%s" r="%s"%s/>`, hundredths(at.X), hundredths(at.Y), hundredths(radius), ink(fill, l))
}

func (s *screen) squares(boxes []rectangle, fill pen.Ink) {
	s.out.WriteString(`<path d="`)
	for _, r := range boxes {
		fmt.Fprintf(&s.out, "M%s %sh%sv%sh-%sz", thousandths(r.x), thousandths(r.y), thousandths(r.w), thousandths(r.h), thousandths(r.w))
	}
	s.out.WriteString(`"` + ink(fill, line{}) + "/>")
}

func (s *screen) begin(title, result string) {
	s.figures++
	id := fmt.Sprintf("%s-figure-%d", s.id, s.figures)
	fmt.Fprintf(&s.out, `<g class="leaf-figure" role="img" aria-labelledby="%s-title %s-desc"><title id="%s-title">%s</title><desc id="%s-desc">%s</desc>`,
		id, id, id, escaped(title), id, escaped(result))
}

func (s *screen) end() { s.out.WriteString("</g>") }

func hex(i pen.Ink) string {
	c := pot(i)
	return fmt.Sprintf("#%02x%02x%02x", c[0], c[1], c[2])
}

// hundredths returns v with at most two decimals, the same on every run.
func hundredths(v float64) string { return fixed(v, 2) }

func thousandths(v float64) string { return fixed(v, 3) }

func fixed(v float64, decimals int) string {
	if v == 0 || math.IsNaN(v) {
		return "0"
	}
	s := strconv.FormatFloat(v, 'f', decimals, 64)
	s = strings.TrimRight(strings.TrimRight(s, "0"), ".")
	if s == "-0" || s == "" {
		return "0"
	}
	return s
}

// escaped returns words safe in text and attributes; letters that XML forbids
// become U+FFFD.
func escaped(words string) string {
	var b strings.Builder
	_ = xml.EscapeText(&b, []byte(words)) // a strings.Builder takes everything
	return b.String()
}

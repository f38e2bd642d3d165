package leaf

import (
	"bytes"
	"fmt"
	"hash/fnv"
	"io"
	"maps"
	"slices"
	"strings"
	"time"

	"codeberg.org/go-pdf/fpdf"

	"timeball/internal/chart/pen"
)

// pots are the inks on paper, red, green and blue: words are black, so that a
// copy in black and white loses nothing.
var pots = [...][3]int{
	pen.NoInk:      {0, 0, 0},
	pen.Paper:      {255, 255, 255},
	pen.Rule:       {0xd4, 0xd4, 0xd4},
	pen.RuleStrong: {0x9a, 0x9a, 0x9a},
	pen.Ink1:       {0, 0, 0},
	pen.Ink2:       {0x33, 0x33, 0x33},
	pen.Ink3:       {0x59, 0x59, 0x59},
	pen.Sea:        {0x14, 0x56, 0x6b},
	pen.SeaSoft:    {0xdc, 0xe7, 0xea},
	pen.Brass:      {0x6e, 0x46, 0x08},
	pen.Alarm:      {0x9c, 0x2f, 0x1f},
}

func pot(i pen.Ink) [3]int {
	if i < 0 || int(i) >= len(pots) {
		i = pen.Ink1
	}
	return pots[i]
}

// PDF writes the document. The faces are embedded, with only the letters that
// are used; drawings are lines and areas, never pictures of dots. The bytes
// depend on the document alone.
//
// Title, language and the wish that the title be shown are set, and the file is
// tagged: its structure tree has the parts named by Tag in reading order, with
// the words of each figure, and what is no part of the document is an artifact
// (ISO 32000-1, 14.7 and 14.8). Every line but one that ends within a word ends
// with a space, so that words are told apart without looking at the page.
func (d *Document) PDF(w io.Writer) error {
	size := d.size()
	p := fpdf.NewCustom(&fpdf.InitType{OrientationStr: "P", UnitStr: "mm", Size: fpdf.SizeType{Wd: size.Width, Ht: size.Height}})
	p.SetCatalogSort(true)
	made := d.Created.UTC()
	if made.IsZero() { // the library would read the clock
		made = time.Unix(0, 0).UTC()
	}
	p.SetCreationDate(made)
	p.SetModificationDate(made)
	p.SetTitle(plain(d.Title), true)
	p.SetSubject(plain(d.Subject), true)
	p.SetAuthor(plain(d.Author), true)
	p.SetCreator("timeball", true)
	p.SetProducer("timeball", true)
	if tag := languageTag(d.Language); tag != "" {
		p.SetLang(tag)
	}
	p.SetMargins(0, 0, 0)
	p.SetCellMargin(0)
	p.SetAutoPageBreak(false, 0)
	used := d.used()
	for f, letters := range used {
		if len(letters) > 0 {
			p.AddUTF8FontFromBytes(family(Face(f)), "", slices.Clone(Face(f).cut().font))
		}
	}
	on := &printer{Fpdf: p, height: size.Height, tree: newTree()}
	for _, l := range d.Leaves {
		p.AddPage()
		on.tree.turn()
		l.draw(on)
		on.unmark()
	}
	var files []fpdf.Attachment
	for _, a := range d.Attached {
		files = append(files, fpdf.Attachment{Content: a.Content, Filename: a.Name, Description: a.About})
	}
	p.SetAttachments(files)
	var file bytes.Buffer
	if err := p.Output(&file); err != nil {
		return fmt.Errorf("PDF of %q: %w", d.Title, err)
	}
	named := file.Bytes() // as long as before, so that the cross-reference table holds
	for f, letters := range used {
		if len(letters) > 0 {
			named = bytes.ReplaceAll(named, []byte(" /utf8"+family(Face(f))+"\n"), []byte(" /"+subset(letters)+"+"+Face(f).cut().name+"\n"))
		}
	}
	tagged, err := on.tree.into(named, size)
	if err != nil {
		return fmt.Errorf("PDF of %q: %w", d.Title, err)
	}
	if _, err := w.Write(tagged); err != nil {
		return fmt.Errorf("PDF of %q: %w", d.Title, err)
	}
	return nil
}

// family returns the name by which the library knows a face. It writes utf8 and
// that name, which is as long as the name of the subset that takes its place.
func family(f Face) string { return "xx+" + strings.ToLower(f.cut().name) }

// subset returns the tag of a face cut down to some letters, six capitals that
// follow from them: ISO 32000-1, 9.6.4.
func subset(letters map[rune]bool) string {
	h := fnv.New64a()
	for _, r := range slices.Sorted(maps.Keys(letters)) {
		fmt.Fprintf(h, "%x ", r)
	}
	tag, n := make([]byte, 6), h.Sum64()
	for i := range tag {
		tag[i] = 'A' + byte(n%26)
		n /= 26
	}
	return string(tag)
}

// used returns the letters that the leaves use of each face.
func (d *Document) used() [len(faces)]map[rune]bool {
	var u usage
	for _, l := range d.Leaves {
		l.draw(&u)
	}
	return u.letters
}

// usage is a surface that only sees which letters are used.
type usage struct{ letters [len(faces)]map[rune]bool }

func (u *usage) text(w words) {
	f := w.style.Face.known()
	if u.letters[f] == nil {
		u.letters[f] = map[rune]bool{}
	}
	for _, r := range w.ended() {
		u.letters[f][r] = true
	}
}
func (*usage) part(*element)                            {}
func (*usage) path([]pen.Point, bool, pen.Ink, line)    {}
func (*usage) circle(pen.Point, float64, pen.Ink, line) {}
func (*usage) squares([]rectangle, pen.Ink)             {}
func (*usage) begin(string, string)                     {}
func (*usage) end()                                     {}

// languageTag returns a tag of BCP 47 that can stand in a file, or nothing.
func languageTag(tag string) string {
	for _, r := range tag {
		if !(r == '-' || r >= '0' && r <= '9' || r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z') {
			return ""
		}
	}
	return tag
}

// printer is the surface of a PDF page.
type printer struct {
	*fpdf.Fpdf
	height float64 // mm
	tree   *tree
	now    *element // of what is drawn next
	marked *element // whose marked content is open
}

func (p *printer) part(e *element) {
	p.now = e
	p.tree.add(e)
}

// mark opens marked content of an element, unless it is open.
func (p *printer) mark(e *element) {
	if e == p.marked {
		return
	}
	p.unmark()
	if e.artifact() {
		p.RawWriteStr("/Artifact <<" + tags[e.tag].attributes + ">> BDC")
	} else {
		p.RawWriteStr(fmt.Sprintf("/%s <</MCID %d>> BDC", e.kind(), p.tree.mark(e)))
	}
	p.marked = e
}

// unmark closes the marked content that is open.
func (p *printer) unmark() {
	if p.marked != nil {
		p.RawWriteStr("EMC")
	}
	p.marked = nil
}

// ended returns the words as they are drawn, with a space where the next piece
// begins another word.
func (w words) ended() string {
	if w.broken {
		return w.drawn
	}
	return w.drawn + " "
}

func (p *printer) text(w words) {
	s, x, y := w.style, w.x, w.y
	ink := pot(s.Ink)
	if w.halo { // which would be read twice
		p.mark(ornament)
		p.SetFont(family(s.Face), "", s.Size)
		p.stroke(line{ink: pen.Paper, width: 0.22 * s.Size * millimetres, round: true})
		p.SetTextRenderingMode(1)
		p.SetTextColor(255, 255, 255)
		p.Text(x, y, w.drawn)
		p.SetTextRenderingMode(0)
	}
	in := p.now
	if w.read != "" && !in.artifact() {
		in = &element{tag: tagTurned, parent: p.now, said: w.read + strings.TrimPrefix(w.ended(), w.drawn)}
	}
	p.mark(in)
	p.SetFont(family(s.Face), "", s.Size)
	p.SetTextColor(ink[0], ink[1], ink[2])
	p.Text(x, y, w.ended())
}

func (p *printer) stroke(s line) {
	ink := pot(s.ink)
	p.SetDrawColor(ink[0], ink[1], ink[2])
	p.SetLineWidth(s.width)
	p.SetLineCapStyle("butt")
	p.SetLineJoinStyle(map[bool]string{true: "round", false: "miter"}[s.round])
	if s.dash[0] > 0 {
		p.SetDashPattern(s.dash[:], 0)
	} else {
		p.SetDashPattern(nil, 0)
	}
}

// paint sets the inks of a form and returns how it is painted, or nothing.
func (p *printer) paint(fill pen.Ink, s line) string {
	style := ""
	if fill != pen.NoInk {
		ink := pot(fill)
		p.SetFillColor(ink[0], ink[1], ink[2])
		style = "F"
	}
	if s.ink != pen.NoInk && s.width > 0 {
		p.stroke(s)
		style = strings.Replace("D"+style, "DF", "FD", 1)
	}
	return style
}

func (p *printer) path(points []pen.Point, closed bool, fill pen.Ink, s line) {
	style := p.paint(fill, s)
	if style == "" || len(points) == 0 {
		return
	}
	p.mark(p.now)
	p.MoveTo(points[0].X, points[0].Y)
	for _, q := range points[1:] {
		p.LineTo(q.X, q.Y)
	}
	if closed {
		p.ClosePath()
	}
	p.DrawPath(style)
}

func (p *printer) circle(at pen.Point, radius float64, fill pen.Ink, s line) {
	if style := p.paint(fill, s); style != "" {
		p.mark(p.now)
		p.Circle(at.X, at.Y, radius, style)
	}
}

func (p *printer) squares(boxes []rectangle, fill pen.Ink) {
	if p.paint(fill, line{}) == "" {
		return
	}
	p.mark(p.now)
	const k = 1 / millimetres
	var b strings.Builder
	for _, r := range boxes {
		fmt.Fprintf(&b, "%.3f %.3f %.3f %.3f re\n", r.x*k, (p.height-r.y-r.h)*k, r.w*k, r.h*k)
	}
	p.RawWriteStr(b.String() + "f")
}

func (p *printer) begin(string, string) {}
func (p *printer) end()                 {}

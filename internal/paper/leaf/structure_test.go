package leaf_test

import (
	"bytes"
	"compress/zlib"
	"encoding/binary"
	"encoding/hex"
	"fmt"
	"io"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"unicode"
	"unicode/utf16"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"timeball/internal/chart"
	"timeball/internal/chart/pen"
	"timeball/internal/paper/leaf"
)

// read is a PDF read back by its cross-reference stream: ISO 32000-1, 7.5.8.
type read struct {
	t       rapid.TB
	file    []byte
	objects map[int]string
	root    int
}

func readPDF(t rapid.TB, file []byte) *read {
	r := &read{t: t, file: file, objects: map[int]string{}}
	at, _ := strconv.Atoi(r.must(`startxref\n(\d+)\n%%EOF\n$`, string(file)))
	table := string(file[at:])
	r.root, _ = strconv.Atoi(r.must(`/Root (\d+) 0 R`, table))
	if r.must(`/W (\[.*?\])`, table) != "[1 4 4]" {
		t.Fatal("the cross-reference stream has other widths")
	}
	entries := r.inflate(table)
	if size := r.must(`/Size (\d+)`, table); size != fmt.Sprint(len(entries)/9) {
		t.Fatalf("%d entries, /Size %s", len(entries)/9, size)
	}
	packed := map[int][]string{}
	for pass := byte(1); pass <= 2; pass++ {
		for n := 0; n < len(entries)/9; n++ {
			kind, a, b := entries[9*n], int(binary.BigEndian.Uint32(entries[9*n+1:])), int(binary.BigEndian.Uint32(entries[9*n+5:]))
			switch {
			case kind != pass:
			case kind == 1:
				body, found := strings.CutPrefix(string(file[a:]), fmt.Sprintf("%d 0 obj\n", n))
				if !found {
					t.Fatalf("object %d is not at %d", n, a)
				}
				r.objects[n] = body
			default:
				if packed[a] == nil {
					packed[a] = r.unpack(r.objects[a])
				}
				number, body, _ := strings.Cut(packed[a][b], " ")
				if number != fmt.Sprint(n) {
					t.Fatalf("object %d stands where %d should", b, n)
				}
				r.objects[n] = body
			}
		}
	}
	return r
}

// must returns what an expression finds in words.
func (r *read) must(expression, words string) string {
	m := regexp.MustCompile(expression).FindStringSubmatch(words)
	if m == nil {
		r.t.Fatalf("no %s in %.200q", expression, words)
	}
	return m[1]
}

func (r *read) find(expression, words string) string {
	if m := regexp.MustCompile(expression).FindStringSubmatch(words); m != nil {
		return m[1]
	}
	return ""
}

func (r *read) inflate(object string) []byte {
	n, _ := strconv.Atoi(r.must(`/Length (\d+)`, object))
	_, content, _ := strings.Cut(object, "stream\n")
	z, err := zlib.NewReader(strings.NewReader(content[:n]))
	if err != nil {
		r.t.Fatal(err)
	}
	out, err := io.ReadAll(z)
	if err != nil {
		r.t.Fatal(err)
	}
	return out
}

// unpack returns the objects of an object stream, each with its number before it.
func (r *read) unpack(object string) []string {
	first, _ := strconv.Atoi(r.must(`/First (\d+)`, object))
	content := string(r.inflate(object))
	heads := strings.Fields(content[:first])
	var out []string
	for i := 0; i < len(heads); i += 2 {
		from, _ := strconv.Atoi(heads[i+1])
		to := len(content) - first
		if i+3 < len(heads) {
			to, _ = strconv.Atoi(heads[i+3])
		}
		out = append(out, heads[i]+" "+strings.TrimSpace(content[first+from:first+to]))
	}
	return out
}

func (r *read) references(list string) []int {
	var out []int
	for _, m := range regexp.MustCompile(`(\d+) 0 R`).FindAllStringSubmatch(list, -1) {
		n, _ := strconv.Atoi(m[1])
		out = append(out, n)
	}
	return out
}

// sequence is marked content: its tag and the words shown in it.
type sequence struct{ tag, properties, words string }

var (
	operand = regexp.MustCompile(`(?s)^(<<.*?>>|\((?:\\.|[^\\()])*\)|\[[^\]]*\]|/[^\s/<(\[]+|[-+.\d]+|[A-Za-z'"*]+[01]?)\s*`)
	escapes = strings.NewReplacer(`\\`, `\`, `\(`, "(", `\)`, ")", `\r`, "\r", `\n`, "\n")
)

// content reads a content stream and checks that marked content is balanced,
// not nested and not across text objects or graphics states, and that all that
// is painted is in some.
func (r *read) content(stream string) []sequence {
	var out []sequence
	var operands []string
	open, text, depth, opened, outline := false, false, 0, 0, false
	for stream = strings.TrimSpace(stream); stream != ""; {
		m := operand.FindStringSubmatch(stream)
		if m == nil {
			r.t.Fatalf("not read: %.60q", stream)
		}
		stream = stream[len(m[0]):]
		op := m[1]
		if strings.ContainsAny(op[:1], "<([/+-.0123456789") {
			operands = append(operands, op)
			continue
		}
		bad := false
		switch op {
		case "BT":
			bad, text = text, true
		case "ET":
			bad, text = !text, false
		case "q":
			depth++
		case "Q":
			depth--
			bad = depth < 0 || open && depth < opened
		case "BDC":
			bad, open, opened = open || text || len(operands) != 2, true, depth
			out = append(out, sequence{tag: operands[0], properties: operands[1]})
		case "EMC":
			bad, open = !open || text || depth != opened, false
		case "Tj":
			bad = !open || !text
			if !outline { // the light edge of words in a drawing, which are shown again
				words := []byte(escapes.Replace(operands[0][1 : len(operands[0])-1]))
				for i := 0; i+1 < len(words); i += 2 {
					out[len(out)-1].words += string(utf16.Decode([]uint16{binary.BigEndian.Uint16(words[i:])}))
				}
			}
		case "Tr":
			outline = operands[0] == "1"
		case "S", "s", "f", "F", "f*", "B", "b", "B*", "b*", "Do", "sh":
			bad = !open
		case "TJ", "'", `"`, "BMC", "BI", "MP", "DP":
			bad = true // are not written
		}
		if bad {
			r.t.Fatalf("%s stands where it must not, before %.60q", op, stream)
		}
		operands = nil
	}
	if open || text || depth != 0 {
		r.t.Fatal("the content of a page is not closed")
	}
	return out
}

// within is what each element may have in it, of those that are written: ISO
// 32000-1, 14.8.4.
var within = map[string]string{
	"Document": "H1 H2 P L Table Figure", "L": "LI", "LI": "Lbl LBody", "LBody": "P L Span Figure", "Lbl": "Span", "Table": "TR", "TR": "TH TD",
	"TH": "P Span", "TD": "P Span Figure", "P": "Span", "H1": "Span", "H2": "Span",
}

// structure checks the structure of a file as ISO 32000-1, 14.7 and 14.8, has
// it, and returns it a line an element, with its words; the words alone; and
// the words of the artifacts, a line each.
func structure(t rapid.TB, file []byte) (tree, shown, artifacts []string) {
	r := readPDF(t, file)
	catalog := r.objects[r.root]
	r.must(`/MarkInfo (<< /Marked true >>)`, catalog)
	rootNumber := r.references(r.must(`/StructTreeRoot (\d+ 0 R)`, catalog))[0]
	root := r.objects[rootNumber]
	parents := map[string][]int{}
	for _, m := range regexp.MustCompile(`(\d+) (\d+) 0 R`).FindAllStringSubmatch(r.must(`/Nums\[(.*?)\]`, root), -1) {
		list, _ := strconv.Atoi(m[2])
		parents[m[1]] = r.references(r.objects[list])
	}
	type key struct{ page, id int }
	marked, owner := map[key]sequence{}, map[key]int{}
	for i, page := range r.references(r.must(`/Kids (\[.*?\])`, r.objects[1])) {
		body, _, _ := strings.Cut(r.objects[page], "endobj")
		id := 0
		place := r.find(`/StructParents (\d+)`, body)
		for _, s := range r.content(string(r.inflate(r.objects[r.references(r.must(`/Contents (\d+ 0 R)`, body))[0]]))) {
			if s.tag == "/Artifact" {
				if strings.TrimSpace(s.words) != "" {
					artifacts = append(artifacts, strings.TrimSpace(s.words))
				}
				continue
			}
			if s.properties != fmt.Sprintf("<</MCID %d>>", id) || place == "" || id >= len(parents[place]) {
				t.Fatalf("page %d: %s %s, want number %d of %d", i+1, s.tag, s.properties, id, len(parents[place]))
			}
			marked[key{page, id}], owner[key{page, id}] = s, parents[place][id]
			id++
		}
		if id != len(parents[place]) {
			t.Fatalf("page %d: %d pieces, %d in the parent tree", i+1, id, len(parents[place]))
		}
	}
	var walk func(number, parent int, in string, depth int)
	walk = func(number, parent int, in string, depth int) {
		e := r.objects[number]
		kind := r.must(`/S/(\w+)`, e)
		if r.must(`/P (\d+) 0 R`, e) != fmt.Sprint(parent) {
			t.Fatalf("%s does not name its parent %d: %s", kind, parent, e)
		}
		if in != "" && !slices.Contains(strings.Fields(within[in]), kind) {
			t.Fatalf("%s stands in %s", kind, in)
		}
		line := strings.Repeat(" ", depth) + kind
		if scope := r.find(`/Scope/(\w+)`, e); scope != "" {
			line += " of " + strings.ToLower(scope)
		}
		for _, name := range []string{"Alt", "ActualText"} {
			if said := r.find(`/`+name+`<([0-9A-F]+)>`, e); said != "" {
				line += fmt.Sprintf(" %s %q", name, utf16Words(t, said))
			}
		}
		if kind == "Figure" && (!strings.Contains(line, "Alt") || r.find(`/BBox(\[)`, e) == "") {
			t.Fatalf("a figure without words or place: %s", e)
		}
		at := len(tree)
		tree = append(tree, line)
		own, _ := strconv.Atoi(r.find(`/Pg (\d+) 0 R/K`, e))
		list := r.find(`/K\[(.*)\]>>$`, e)
		if list == "" && kind != "TD" && kind != "TH" && len(marked) > 0 {
			t.Fatalf("%s is empty", kind)
		}
		words := ""
		for _, m := range regexp.MustCompile(`<</Type/MCR/Pg (\d+) 0 R/MCID (\d+)>>|(\d+) 0 R|(\d+)`).FindAllStringSubmatch(list, -1) {
			if m[3] != "" {
				child, _ := strconv.Atoi(m[3])
				walk(child, number, kind, depth+1)
				continue
			}
			k := key{page: own}
			if m[1] != "" {
				k.page, _ = strconv.Atoi(m[1])
			}
			k.id, _ = strconv.Atoi(m[2] + m[4])
			s, found := marked[k]
			if !found || owner[k] != number || s.tag != "/"+kind {
				t.Fatalf("%s %d has piece %v, which is %q of %d", kind, number, k, s.tag, owner[k])
			}
			delete(marked, k)
			words += s.words
		}
		if words != "" {
			tree[at] += ": " + strings.TrimSpace(words)
			shown = append(shown, words)
		}
	}
	walk(r.references(r.must(`/K (\d+ 0 R)`, root))[0], rootNumber, "", 0)
	if len(marked) > 0 {
		t.Fatalf("in no element: %v", marked)
	}
	return tree, shown, artifacts
}

func utf16Words(t rapid.TB, digits string) string {
	b, err := hex.DecodeString(digits)
	if err != nil || !bytes.HasPrefix(b, []byte{0xfe, 0xff}) {
		t.Fatalf("%s is no text: %v", digits, err)
	}
	var units []uint16
	for i := 2; i+1 < len(b); i += 2 {
		units = append(units, binary.BigEndian.Uint16(b[i:]))
	}
	return string(utf16.Decode(units))
}

// TestStructure checks every tag, on columns, leaves that go over and all.
func TestStructure(t *testing.T) {
	d := document()
	f := d.Flow(leaf.Generous(), func(l *leaf.Leaf, page int) { l.Text(30, 15, fmt.Sprintf("head %d", page), leaf.LabelStyle) })
	f.Title("Title")
	f.Heading("") // is nothing
	f.Items(nil)
	f.Paragraph("Some words that are long enough to be set on two lines of the leaf, for a line is no paragraph of its own.")
	f.Panel(leaf.Fact{Label: "Rate", Words: "losing 0.83 s", After: "±0.03 a day"})
	f.Facts([][2]string{{"Name", "Words"}, {"None", ""}})
	f.Numbered([]string{"first", "", "second"})
	f.Beside(30, []float64{1, 1}, func(c *leaf.Flow) {
		c.Heading("Left")
		c.Table(leaf.Table{List: true, Columns: make([]leaf.Column, 2), Rows: [][]string{{"a", "c"}, {"b", ""}}})
	}, func(c *leaf.Flow) { c.Heading("Right") })
	figure := chart.RateCurve{Caption: chart.Caption{ID: "x", Title: "Rate", Result: "Losing 0.8 s a day."},
		Interventions: []chart.Intervention{{At: created, Words: "oiled"}}, Runs: [][]chart.Estimate{{{At: created.AddDate(0, 0, -5), Value: -0.8, Lo: -0.9, Hi: -0.7}, {At: created.AddDate(0, 0, 5), Value: -0.8, Lo: -0.9, Hi: -0.7}}}}.Figure(leaf.PrintSize(80, 20))
	f.Figure(figure)
	if err := f.Leaf().Code(150, 240, 20, "No. 417; x"); err != nil {
		t.Fatal(err)
	}
	f.Leaf().Disc(20, 20, 3, pen.Brass)
	f.Leaf().Text(30, 235, "שעון ים", leaf.Style{Face: leaf.Serif})
	f.GoTo(250)
	f.Table(leaf.Table{Columns: []leaf.Column{{Title: "Day", Heads: true}, {Title: "Rate", Align: leaf.Decimal}, {}}, Rows: [][]string{{"1", "losing 1 s", "x"}, {"", "gaining 2 s"}}})
	f.In(leaf.TagList, func() {
		f.In(leaf.TagItem, func() { f.In(leaf.TagBody, func() { f.Paragraph(strings.Repeat("w", 120)) }) })
	})
	f.Close("digest")
	if len(d.Leaves) != 2 {
		t.Fatalf("%d leaves", len(d.Leaves))
	}
	_, file := pdf(t, d)
	tree, _, artifacts := structure(t, file)
	for i, line := range tree { // the words of the axes are the chart's
		if strings.Contains(line, "Figure Alt \"Rate") {
			tree[i], _, _ = strings.Cut(line, ": losing")
			if strings.Count(line, "oiled") != 1 {
				t.Errorf("the words of the figure are not there once: %s", line)
			}
		}
	}
	want := strings.Split(strings.TrimSpace(`
Document
 H1: Title
 P: Some words that are long enough to be set on two lines of the leaf, for a line is no paragraph of its own.
 L
  LI
   Lbl: Rate
   LBody
    P: losing 0.83 s
    P: ±0.03 a day
 L
  LI
   Lbl: Name
   LBody: Words
 L
  LI
   Lbl: 1.
   LBody: first
  LI
   Lbl: 3.
   LBody: second
 H2: Left
 L
  LI
   LBody: a
  LI
   LBody: b
  LI
   LBody: c
 H2: Right
 Figure Alt "Rate: Losing 0.8 s a day."
 Figure Alt "Square code: No. 417; x"
 P
  Span ActualText "שעון ים ": םי ןועש
 Table
  TR
   TH of column: Day
   TH of column: Rate
   TD
  TR
   TH of row: 1
   TD: losing 1 s
   TD: x
  TR
   TD
   TD: gaining 2 s
   TD
 L
  LI
   LBody: `+strings.Repeat("w", 120)), "\n")
	if diff := cmp.Diff(want, tree); diff != "" {
		t.Errorf("structure: -want +got\n%s", diff)
	}
	// A foot is one artifact, for what stands in one after the other is read so.
	if diff := cmp.Diff([]string{"head 1", "page 1 of 2 Rates (of no. 417) digest", "head 2", "page 2 of 2 Rates (of no. 417) digest"}, artifacts); diff != "" {
		t.Errorf("artifacts: -want +got\n%s", diff)
	}
}

// TestAnyStructure checks the structure of anything in any order, and that
// every letter stands in it or in an artifact.
func TestAnyStructure(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := document()
		f := d.Flow(leaf.Margins{Left: 60, Top: 100, Right: 60, Bottom: 100}, func(l *leaf.Leaf, page int) { l.Text(60, 80, "head", leaf.LabelStyle) })
		for range rapid.IntRange(0, 8).Draw(t, "parts") {
			words := anyWords.Draw(t, "words")
			switch rapid.IntRange(0, 6).Draw(t, "part") {
			case 0:
				f.Heading(words)
			case 1:
				f.Paragraph(words)
			case 2:
				f.Items(rapid.SliceOfN(anyWords, 0, 5).Draw(t, "items"))
			case 3:
				f.Facts([][2]string{{words, "x"}, {"y", words}, {words, words}})
			case 4:
				f.Panel(leaf.Fact{Label: words, Words: "fast 12.9 s", After: words}, leaf.Fact{Label: "Rate", Words: "losing 0.83 s"})
			case 5:
				f.Leaf().Text(60, 90, words, leaf.Style{})
				f.Leaf().Box(1, 1, 1, 1, pen.Brass)
			default:
				f.Table(leaf.Table{Columns: []leaf.Column{{Title: "Day", Heads: true, Share: 1}, {Title: words, Share: 1}}, Rows: rapid.SliceOfN(rapid.SliceOfN(anyWords, 0, 3), 0, 9).Draw(t, "rows"),
					List: rapid.Bool().Draw(t, "list")})
			}
		}
		f.Close("digest")
		var b bytes.Buffer
		if err := d.PDF(&b); err != nil {
			t.Fatal(err)
		}
		_, shown, artifacts := structure(t, b.Bytes())
		letters := func(lines ...string) map[rune]int {
			count := map[rune]int{}
			for _, r := range strings.Join(lines, "") {
				if !unicode.IsSpace(r) {
					count[r]++
				}
			}
			return count
		}
		var set []string
		for n := range d.Leaves {
			for _, p := range pieces(t, d, n) {
				set = append(set, p.words)
			}
		}
		if diff := cmp.Diff(letters(set...), letters(append(shown, artifacts...)...)); diff != "" {
			t.Fatalf("letters: -set +in the structure\n%s", diff)
		}
	})
}

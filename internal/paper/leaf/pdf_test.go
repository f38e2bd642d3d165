package leaf_test

import (
	"bytes"
	"crypto/sha256"
	"encoding/xml"
	"image"
	_ "image/png"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"codeberg.org/go-fonts/liberation/liberationsansbold"
	"codeberg.org/go-fonts/liberation/liberationserifregular"
	"github.com/google/go-cmp/cmp"
	"github.com/makiuchi-d/gozxing"
	"github.com/makiuchi-d/gozxing/qrcode"

	"timeball/internal/chart/pen"
	"timeball/internal/paper/leaf"
)

var created = time.Date(2026, 11, 25, 10, 0, 0, 0, time.UTC)

// document returns an empty document of the invented workshop.
func document() *leaf.Document {
	return &leaf.Document{Title: "Rates (of no. 417)", Subject: "Lantern Quay", Author: "Þóra Æsi", Language: "en-GB", Created: created, Size: leaf.A4}
}

// pdf writes d to a file and returns its name and its bytes.
func pdf(t testing.TB, d *leaf.Document) (string, []byte) {
	t.Helper()
	var b bytes.Buffer
	if err := d.PDF(&b); err != nil {
		t.Fatal(err)
	}
	name := filepath.Join(t.TempDir(), "paper.pdf")
	if err := os.WriteFile(name, b.Bytes(), 0o600); err != nil {
		t.Fatal(err)
	}
	return name, b.Bytes()
}

// poppler runs one of the tools of poppler-utils, which read PDF independently
// of what wrote it.
func poppler(t testing.TB, name string, args ...string) string {
	t.Helper()
	if _, err := exec.LookPath(name); err != nil {
		if os.Getenv("CI") == "true" {
			t.Fatalf("%v; install poppler-utils", err)
		}
		t.Skipf("%v; install poppler-utils to run this test", err)
	}
	var said bytes.Buffer
	c := exec.Command(name, args...)
	c.Stderr = &said
	out, err := c.Output()
	if err != nil || said.Len() > 0 {
		t.Fatalf("%s: %v %s", name, err, said.String())
	}
	return string(out)
}

// TestLetters checks that letters of the scripts of our neighbours, those with
// an awkward byte in UTF-16 (č is U+010D, ĩ U+0129, Ĩ U+0128, Ŝ U+015C) and the
// marks of PDF itself come back from the file as they were put in.
func TestLetters(t *testing.T) {
	lines := []string{
		"Þóra Æsi Ðuríðardóttir", "Ελένη Παπαδημητρίου ϑ", "Łukasz Żółkiewski-Śniadecki", "Скерроу, Щукина Ѣ", "čĩĨŜ (a\\b) [c] <d> %e /f",
		"losing 0.83 s ±0.03, −4.5 °C, 10 × 2 ½ …",
	}
	for face := leaf.Serif; face <= leaf.SansBold; face++ {
		d := document()
		l := d.NewLeaf()
		for i, line := range lines {
			l.Text(20, 30+8*float64(i), line, leaf.Style{Face: face, Size: 11})
		}
		name, _ := pdf(t, d)
		got := strings.Fields(poppler(t, "pdftotext", "-layout", name, "-"))
		if diff := cmp.Diff(strings.Fields(strings.Join(lines, " ")), got); diff != "" {
			t.Errorf("face %d: -put +read\n%s", face, diff)
		}
		if m := d.Missing(); len(m) > 0 {
			t.Errorf("face %d: %v", face, m)
		}
	}
}

func TestMissingLetters(t *testing.T) {
	d := document()
	l := d.NewLeaf()
	l.Text(20, 30, "時計 ساعة 🕰 ne\u0301e a\u200bb\u00adc\u202ed \xff", leaf.Style{Face: leaf.Serif})
	name, _ := pdf(t, d)
	// The composed é is one letter, what has no form is gone, and each letter
	// that is not there is one mark.
	if got := strings.TrimSpace(poppler(t, "pdftotext", name, "-")); got != "□□ □□□□ □ née abcd □" {
		t.Errorf("read %q", got)
	}
	missing := d.Missing()
	if len(missing) < 7 || missing[0] != "the letter 時 (U+6642) is not in the face and is printed as □" {
		t.Errorf("missing: %q", missing)
	}
}

// TestHebrew checks that Hebrew stands from right to left: a reader of PDF puts
// the letters of a line back into the order in which they are read.
func TestHebrew(t *testing.T) {
	d := document()
	d.NewLeaf().Text(20, 30, "שעון ים", leaf.Style{Face: leaf.Serif, Size: 14})
	name, _ := pdf(t, d)
	got := strings.Map(func(r rune) rune {
		if r == '\u202b' || r == '\u202c' {
			return -1
		}
		return r
	}, strings.TrimSpace(poppler(t, "pdftotext", name, "-")))
	if got != "שעון ים" {
		t.Errorf("read %q", got)
	}
}

// TestWidths checks widths against the boxes that pdftotext finds for words.
func TestWidths(t *testing.T) {
	words := []string{"Certificate", "WAVEFORM", "417-2026-11-25", "Παπαδημητρίου", "−0.742", "fjord", "Æsi"}
	for face := leaf.Serif; face <= leaf.SansBold; face++ {
		d := document()
		l := d.NewLeaf()
		s := leaf.Style{Face: face, Size: 24}
		for i, w := range words {
			l.Text(100, 30+15*float64(i), w, leaf.Style{Face: face, Size: 24, Anchor: pen.Anchor(i % 3)})
		}
		name, _ := pdf(t, d)
		boxes := regexp.MustCompile(`xMin="([0-9.]+)".* xMax="([0-9.]+)".*>(.*)</word>`).FindAllStringSubmatch(poppler(t, "pdftotext", "-bbox", name, "-"), -1)
		if len(boxes) != len(words) {
			t.Fatalf("%d words read", len(boxes))
		}
		for i, b := range boxes {
			from, _ := strconv.ParseFloat(b[1], 64)
			to, _ := strconv.ParseFloat(b[2], 64)
			from, to = from*25.4/72, to*25.4/72
			if b[3] != words[i] {
				t.Errorf("read %q, want %q", b[3], words[i])
			}
			// Widths are kept to a thousandth of the size, 0.008 mm here, for each letter.
			if w := leaf.Width(words[i], s); math.Abs(to-from-w) > 0.02 {
				t.Errorf("face %d: %s is %.3f mm wide, Width says %.3f", face, words[i], to-from, w)
			}
			if place := []float64{from, (from + to) / 2, to}[i%3]; math.Abs(place-100) > 0.02 {
				t.Errorf("face %d: anchor of %s at %.3f mm, want 100", face, words[i], place)
			}
		}
	}
}

func TestCodeIsRead(t *testing.T) {
	for _, words := range []string{
		"No. 417; certificate 417-2026-11-25; sha256:9f86d081884c7d659a2feaa0c55ad015a3bf4f1b2b0b822cd15d6c15b0f00a08",
		"No. 0417 Б; Ελένη",
	} {
		d := document()
		if err := d.NewLeaf().Code(150, 220, 33, words); err != nil {
			t.Fatal(err)
		}
		name, _ := pdf(t, d)
		base := filepath.Join(filepath.Dir(name), "page")
		poppler(t, "pdftoppm", "-r", "200", "-png", "-singlefile", name, base)
		f, err := os.Open(base + ".png")
		if err != nil {
			t.Fatal(err)
		}
		defer f.Close()
		picture, _, err := image.Decode(f)
		if err != nil {
			t.Fatal(err)
		}
		bits, err := gozxing.NewBinaryBitmapFromImage(picture)
		if err != nil {
			t.Fatal(err)
		}
		read, err := qrcode.NewQRCodeReader().Decode(bits, map[gozxing.DecodeHintType]any{gozxing.DecodeHintType_TRY_HARDER: true})
		if err != nil {
			t.Fatalf("%q: %v", words, err)
		}
		if read.GetText() != words {
			t.Errorf("read %q, want %q", read.GetText(), words)
		}
		if level := read.GetResultMetadata()[gozxing.ResultMetadataType_ERROR_CORRECTION_LEVEL]; level != "M" && level != "Q" && level != "H" {
			t.Errorf("error correction level %v, want M or better", level)
		}
	}
	if err := document().NewLeaf().Code(0, 0, 30, strings.Repeat("x", 3000)); err == nil {
		t.Error("3000 letters were put into a code")
	}
}

// TestSameBytes writes two documents in either order and again.
func TestSameBytes(t *testing.T) {
	fonts := sha256.Sum256(append(bytes.Clone(liberationserifregular.TTF), liberationsansbold.TTF...))
	one := func() []byte {
		d := document()
		d.Attached = []leaf.Attachment{{Name: "a.json", About: "figures", Content: []byte("{}\n")}, {Name: "b.json", Content: []byte("[]\n")}}
		f := d.Flow(leaf.Generous(), nil)
		f.Title("Ελένη")
		f.Table(leaf.Table{Columns: []leaf.Column{{Title: "Day"}, {Title: "Rate", Align: leaf.Decimal}}, Rows: [][]string{{"1", "losing 0.83 s"}, {"2", "gaining 12 s"}}})
		f.Close("digest")
		_, b := pdf(t, d)
		return b
	}
	two := func() []byte {
		d := document()
		d.NewLeaf().Text(20, 20, "čĩ Щ", leaf.Style{Face: leaf.SerifItalic})
		_, b := pdf(t, d)
		return b
	}
	a, b := one(), two()
	for range 4 {
		if b2, a2 := two(), one(); !bytes.Equal(a, a2) || !bytes.Equal(b, b2) {
			t.Fatal("the same document gave other bytes")
		}
	}
	if fonts != sha256.Sum256(append(bytes.Clone(liberationserifregular.TTF), liberationsansbold.TTF...)) {
		t.Error("the fonts were changed by writing")
	}
	var zero bytes.Buffer
	if err := (&leaf.Document{Leaves: []*leaf.Leaf{{Size: leaf.A4}}}).PDF(&zero); err != nil || !bytes.Contains(zero.Bytes(), []byte("/CreationDate (D:19700101000000")) {
		t.Errorf("a document without a date read the clock: %v", err)
	}
}

func TestFileSays(t *testing.T) {
	d := document()
	d.Size = leaf.Letter
	d.Attached = []leaf.Attachment{{Name: "figures.json", About: "figures", Content: []byte(`{"rate_s_per_day":-0.83}`)}}
	f := d.Flow(leaf.Generous(), nil)
	f.Heading("Words")
	f.Paragraph("Words of a paragraph.")
	f.Leaf().Text(30, 100, "slanted", leaf.Style{Face: leaf.SerifItalic})
	f.Leaf().Text(30, 110, "bold", leaf.Style{Face: leaf.SansBold})
	f.Close("")
	name, b := pdf(t, d)
	about := poppler(t, "pdfinfo", name)
	for _, want := range []string{"Title:           Rates (of no. 417)", "Author:          Þóra Æsi", "Subject:         Lantern Quay", "612 x 792 pts (letter)", "25 10:00:00 2026"} {
		if !strings.Contains(about, want) {
			t.Errorf("pdfinfo does not say %q:\n%s", want, about)
		}
	}
	fonts := strings.Split(strings.TrimSpace(poppler(t, "pdffonts", name)), "\n")[2:]
	if len(fonts) != 5 {
		t.Errorf("%d faces are embedded, want 5: %q", len(fonts), fonts)
	}
	for _, font := range fonts {
		if !regexp.MustCompile(`^[A-Z]{6}\+Liberation(Serif|Sans)(-Bold|-Italic)? .* yes yes yes `).MatchString(font) {
			t.Errorf("not embedded as a subset with its letters known: %s", font)
		}
	}
	if out := poppler(t, "pdfimages", "-list", name); len(strings.Split(strings.TrimSpace(out), "\n")) > 2 {
		t.Errorf("the file has pictures of dots:\n%s", out)
	}
	out := filepath.Join(filepath.Dir(name), "out.json")
	poppler(t, "pdfdetach", "-save", "1", "-o", out, name)
	if got, err := os.ReadFile(out); err != nil || string(got) != `{"rate_s_per_day":-0.83}` {
		t.Errorf("attached file %q, %v", got, err)
	}
	for _, want := range []string{"/Lang (en-GB)", "/ViewerPreferences << /DisplayDocTitle true >>"} {
		if !bytes.Contains(b, []byte(want)) {
			t.Errorf("no %s", want)
		}
	}
}

// TestSVG checks the element as XML and against the policy of the pages.
func TestSVG(t *testing.T) {
	d := document()
	d.Title = `<script>alert("1")</script> & 'more'`
	f := d.Flow(leaf.Generous(), nil)
	f.Title(d.Title)
	f.Paragraph("a]]>b \x00\x01 <style>x</style> \" onload=\"x")
	f.Panel(leaf.Fact{Label: "Rate", Words: "losing 0.83 s", After: "±0.03 a day"})
	if err := f.Leaf().Code(100, 200, 30, `"><script>`); err != nil {
		t.Fatal(err)
	}
	f.Leaf().Line([]pen.Point{{X: 1, Y: 2}, {X: math.NaN(), Y: 1}, {X: 3, Y: 4}}, pen.Stroke{Ink: pen.Sea, Width: 0.3, Dash: pen.Dashed})
	f.Leaf().Frame(10, 10, 20, 20, 0.3, pen.Alarm)
	f.Leaf().Disc(20, 20, 3, pen.Brass)
	f.Close("digest")
	ids, words := checkSVG(t, d.SVG(0))
	if len(ids) < 3 {
		t.Errorf("ids %v", ids)
	}
	if !strings.Contains(words, "<script>alert") || !strings.Contains(words, "page 1 of 1") {
		t.Errorf("words are lost: %q", words)
	}
	if d.SVG(1) != "" || d.SVG(-1) != "" {
		t.Error("a leaf that is not there was drawn")
	}
}

// checkSVG reads an element and returns its ids and its words.
func checkSVG(t *testing.T, svg string) (ids map[string]bool, words string) {
	t.Helper()
	ids = map[string]bool{}
	var all strings.Builder
	x := xml.NewDecoder(strings.NewReader(svg))
	for {
		token, err := x.Token()
		if token == nil {
			break
		}
		if err != nil {
			t.Fatal(err)
		}
		switch token := token.(type) {
		case xml.CharData:
			all.Write(token)
			all.WriteByte('\n')
		case xml.StartElement:
			if n := token.Name.Local; n == "style" || n == "script" || n == "foreignObject" || n == "image" {
				t.Errorf("the element %s is in it", n)
			}
			for _, a := range token.Attr {
				switch n := a.Name.Local; {
				case n == "style" || strings.HasPrefix(n, "on") || n == "href":
					t.Errorf("the attribute %s is in it", n)
				case strings.Contains(a.Value, "NaN") || strings.Contains(a.Value, "Inf"):
					t.Errorf("%s=%q", n, a.Value)
				case n == "id" && ids[a.Value]:
					t.Errorf("the id %s is there twice", a.Value)
				case n == "id":
					ids[a.Value] = true
				}
			}
		}
	}
	if _, err := x.Token(); err == nil || err.Error() != "EOF" {
		t.Errorf("not well formed: %v", err)
	}
	return ids, all.String()
}

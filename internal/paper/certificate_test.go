package paper

import (
	"bytes"
	"encoding/json"
	"encoding/xml"
	"errors"
	"flag"
	"fmt"
	"image"
	_ "image/png"
	"io"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/makiuchi-d/gozxing"
	"github.com/makiuchi-d/gozxing/qrcode"

	"timeball/internal/chart"
	"timeball/internal/paper/leaf"
)

var update = flag.Bool("update", false, "write the golden files anew")

// set returns the document of a paper as a file.
func set(t testing.TB, d *leaf.Document, err error) string {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
	var b bytes.Buffer
	if err := d.PDF(&b); err != nil {
		t.Fatal(err)
	}
	name := filepath.Join(t.TempDir(), "paper.pdf")
	if err := os.WriteFile(name, b.Bytes(), 0o600); err != nil {
		t.Fatal(err)
	}
	return name
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

var blanks, empty = regexp.MustCompile(`  +`), regexp.MustCompile(`\n\n+`)

// golden compares the words of a file, line by line as they stand, with those
// of testdata; blanks between columns are two, and empty lines are left out.
func golden(t *testing.T, name, file string) {
	t.Helper()
	got := blanks.ReplaceAllString(poppler(t, "pdftotext", "-layout", file, "-"), "  ")
	got = empty.ReplaceAllString(strings.ReplaceAll(got, "\f", "----\n"), "\n")
	path := filepath.Join("testdata", name+".txt")
	if *update {
		if err := os.WriteFile(path, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatalf("%v; run the test with -update", err)
	}
	if diff := cmp.Diff(string(want), got); diff != "" {
		t.Errorf("%s: -want +got\n%s", path, diff)
	}
}

func TestGoldenPapers(t *testing.T) {
	for _, size := range Sizes {
		c, err := certificate(size).Document()
		golden(t, "certificate-"+size.Name, set(t, c, err))
		d, err := draft(size).Document()
		golden(t, "draft-"+size.Name, set(t, d, err))
		l, err := long(size).Document()
		golden(t, "long-"+size.Name, set(t, l, err))
		r, err := rateSheet(size).Document()
		golden(t, "ratesheet-"+size.Name, set(t, r, err))
	}
}

// TestPages checks that a certificate of the usual length is two leaves, on
// either size of paper, and that each is of that size: ISO 216 A4 is 210 by
// 297 mm, Letter 8.5 by 11 inches.
func TestPages(t *testing.T) {
	for i, size := range Sizes {
		c, err := certificate(size).Document()
		about := poppler(t, "pdfinfo", set(t, c, err))
		want := []string{"595.28 x 841.89 pts", "612 x 792 pts"}[i]
		if !regexp.MustCompile(`Pages: +2\n`).MatchString(about) || !strings.Contains(about, want) {
			t.Errorf("%s: want 2 leaves of %s:\n%s", size.Name, want, about)
		}
	}
}

// piece is what an svg element says of one piece of text, mm.
type piece struct {
	X      float64 `xml:"x,attr"`
	Y      float64 `xml:"y,attr"`
	Length float64 `xml:"textLength,attr"`
	Size   float64 `xml:"font-size,attr"`
	Words  string  `xml:",chardata"`
}

// TestNothingOverlaps checks of every paper that its words keep to the margins
// and that none lie over others.
func TestNothingOverlaps(t *testing.T) {
	for _, size := range Sizes {
		papers := map[string]interface {
			Document() (*leaf.Document, error)
		}{
			"certificate": certificate(size), "draft": draft(size), "long certificate": long(size), "rate sheet": rateSheet(size)}
		for name, paper := range papers {
			d, err := paper.Document()
			if err != nil {
				t.Fatal(err)
			}
			for n, l := range d.Leaves {
				var page struct {
					Text []piece `xml:"text"`
				}
				svg := d.SVG(n)
				if err := xml.Unmarshal([]byte(svg), &page); err != nil {
					t.Fatal(err)
				}
				if strings.Contains(svg, " style=") || strings.Contains(svg, "<style") || strings.Contains(svg, "NaN") {
					t.Errorf("%s, leaf %d: the drawing breaks the policy of the pages", name, n+1)
				}
				for i, p := range page.Text {
					if p.X < 19.9 || p.X+p.Length > l.Size.Width-19.9 || p.Y-p.Size < 5 || p.Y > l.Size.Height-10 {
						t.Errorf("%s, leaf %d: %q stands outside at %.1f to %.1f, %.1f", name, n+1, p.Words, p.X, p.X+p.Length, p.Y)
					}
					for _, q := range page.Text[:i] {
						if p.X < q.X+q.Length-0.02 && q.X < p.X+p.Length-0.02 && math.Abs(p.Y-q.Y) < 0.68*max(p.Size, q.Size) {
							t.Errorf("%s, leaf %d: %q lies over %q", name, n+1, p.Words, q.Words)
						}
					}
				}
			}
		}
	}
}

// TestCodeOfCertificate reads the square code off the printed leaf.
func TestCodeOfCertificate(t *testing.T) {
	for _, c := range []Certificate{certificate(leaf.A4), long(leaf.Letter)} {
		d, err := c.Document()
		file := set(t, d, err)
		want := "No. " + c.Instrument.Number + "; certificate 417-2026-11-25; sha256:" + digest("no. 417")
		read := ""
		for page := 1; page <= len(d.Leaves) && read == ""; page++ {
			base := filepath.Join(filepath.Dir(file), "page")
			poppler(t, "pdftoppm", "-r", "200", "-png", "-singlefile", "-f", fmt.Sprint(page), file, base)
			f, err := os.Open(base + ".png")
			if err != nil {
				t.Fatal(err)
			}
			picture, _, err := image.Decode(f)
			f.Close()
			if err != nil {
				t.Fatal(err)
			}
			bits, err := gozxing.NewBinaryBitmapFromImage(picture)
			if err != nil {
				t.Fatal(err)
			}
			if found, err := qrcode.NewQRCodeReader().Decode(bits, map[gozxing.DecodeHintType]any{gozxing.DecodeHintType_TRY_HARDER: true}); err == nil {
				read = found.GetText()
			}
		}
		if read != want {
			t.Errorf("read %q, want %q", read, want)
		}
	}
}

func TestSamePapers(t *testing.T) {
	write := func(d *leaf.Document, err error) []byte {
		if err != nil {
			t.Fatal(err)
		}
		var b bytes.Buffer
		if err := d.PDF(&b); err != nil {
			t.Fatal(err)
		}
		return b.Bytes()
	}
	c1, s1 := write(certificate(leaf.A4).Document()), write(rateSheet(leaf.A4).Document())
	s2, c2 := write(rateSheet(leaf.A4).Document()), write(certificate(leaf.A4).Document())
	if !bytes.Equal(c1, c2) || !bytes.Equal(s1, s2) {
		t.Error("the same paper gave other bytes")
	}
	other := certificate(leaf.A4)
	other.Rate.Mean -= 0.1
	if bytes.Equal(c1, write(other.Document())) {
		t.Error("another rate gave the same bytes")
	}
	if d1, d2 := write(draft(leaf.A4).Document()), write(draft(leaf.A4).Document()); !bytes.Equal(d1, d2) {
		t.Error("the same draft gave other bytes")
	}
}

// TestFiguresInside checks the file inside the certificate: signs are those of
// dial less UTC and of gaining.
func TestFiguresInside(t *testing.T) {
	d, err := certificate(leaf.A4).Document()
	file := set(t, d, err)
	out := filepath.Join(filepath.Dir(file), "out.json")
	if list := poppler(t, "pdfdetach", "-list", file); !strings.Contains(list, "certificate-417-2026-11-25.json") {
		t.Errorf("attached: %s", list)
	}
	poppler(t, "pdfdetach", "-save", "1", "-o", out, file)
	inside, err := os.ReadFile(out)
	if err != nil {
		t.Fatal(err)
	}
	var got map[string]any
	if err := json.Unmarshal(inside, &got); err != nil {
		t.Fatal(err)
	}
	for key, want := range map[string]any{
		"number": "417-2026-11-25", "instrument": "417", "epoch": "2026-11-24T08:02:11Z", "position": "dial up", "rate_at_c": 20.0, "entries": 128.0, "entries_sha256": digest("no. 417"),
	} {
		if got[key] != want {
			t.Errorf("%s is %v, want %v", key, got[key], want)
		}
	}
	near := func(key string, want Range) {
		t.Helper()
		v, _ := got[key].(map[string]any)
		for name, w := range map[string]float64{"mean": want.Mean, "lo95": want.Lo, "hi95": want.Hi} {
			if f, ok := v[name].(float64); !ok || math.Abs(f-w) > 1e-9 {
				t.Errorf("%s.%s is %v, want %v", key, name, v[name], w)
			}
		}
	}
	near("error_s", Range{12.94, 12.73, 13.15})
	near("rate_s_per_day", Range{-0.683, -0.714, -0.652})
	near("steadiness_s_per_day", Range{0.052, 0.034, 0.081})

	bad := certificate(leaf.A4)
	bad.Rate.Mean = math.NaN()
	if _, err := bad.Document(); err == nil || !strings.Contains(err.Error(), "417-2026-11-25") {
		t.Errorf("a rate that is no number: %v", err)
	}
}

func TestWanting(t *testing.T) {
	for _, test := range []struct {
		change func(*Certificate)
		says   string
	}{
		{func(c *Certificate) { c.Number = " " }, "a number of its own"},
		{func(c *Certificate) { c.Digest = "" }, "the digest of the entries"},
		{func(c *Certificate) { c.Entries = 0 }, "the number of entries"},
		{func(c *Certificate) { c.Issued = time.Time{} }, "the day of issue"},
		{func(c *Certificate) { c.Letterhead.Keeper, c.Standard = "", "" }, "the keeper's name, the standard"},
		{func(c *Certificate) { c.Instrument.Number = "" }, "the number of the instrument"},
		{func(c *Certificate) { c.Epoch = time.Time{} }, "the instant of the error and rate"},
	} {
		c := certificate(leaf.A4)
		test.change(&c)
		_, err := c.Document()
		if want := "the paper is not complete: the certificate needs " + test.says + "; fill it in before printing"; !errors.Is(err, ErrWanting) || err.Error() != want {
			t.Errorf("got %v, want %q", err, want)
		}
	}
	if _, err := (RateSheet{}).Document(); !errors.Is(err, ErrWanting) || !strings.Contains(err.Error(), "at least one day") {
		t.Errorf("an empty rate sheet: %v", err)
	}
}

// TestDraft checks that a draft cannot be taken for a certificate.
func TestDraft(t *testing.T) {
	d, err := draft(leaf.A4).Document()
	file := set(t, d, err)
	for page := range len(d.Leaves) {
		if words := poppler(t, "pdftotext", "-f", fmt.Sprint(page+1), "-l", fmt.Sprint(page+1), file, "-"); !strings.Contains(words, "DRAFT, NOT A CERTIFICATE") {
			t.Errorf("leaf %d does not say that it is a draft", page+1)
		}
		if strings.Contains(d.SVG(page), "Square code") {
			t.Errorf("leaf %d of the draft has a square code", page+1)
		}
	}
	if words := poppler(t, "pdftotext", file, "-"); strings.Contains(words, "R. Halvane") {
		t.Error("a draft has a line to sign")
	}
	issued := certificate(leaf.A4)
	issued.Draft = true // with a number and a digest all the same
	d, err = issued.Document()
	if err != nil {
		t.Fatal(err)
	}
	if strings.Contains(d.SVG(0), "Square code") {
		t.Error("a draft with a number has a square code")
	}
}

func TestCertificateWithoutTrial(t *testing.T) {
	c := certificate(leaf.A4)
	c.Trial, c.Law, c.WorkDone, c.RateFigure, c.LawFigure, c.Steadiness = nil, Law{}, nil, chart.Figure{}, chart.Figure{}, Range{}
	d, err := c.Document()
	words := poppler(t, "pdftotext", "-layout", set(t, d, err), "-")
	for _, not := range []string{"Trial", "Temperature", "Steadiness"} {
		if strings.Contains(words, not) {
			t.Errorf("it speaks of %q", not)
		}
	}
	if len(d.Leaves) != 1 {
		t.Errorf("%d leaves, want 1", len(d.Leaves))
	}
}

func BenchmarkCertificate(b *testing.B) {
	for b.Loop() {
		d, err := certificate(leaf.A4).Document()
		if err != nil {
			b.Fatal(err)
		}
		if err := d.PDF(io.Discard); err != nil {
			b.Fatal(err)
		}
	}
}

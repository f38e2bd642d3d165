package paper_test

import (
	"bytes"
	"compress/zlib"
	"encoding/hex"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"unicode/utf16"

	"github.com/google/go-cmp/cmp"

	"timeball/internal/paper"
	"timeball/internal/paper/leaf"
)

// poppler runs one of the tools of poppler-utils on a document.
func poppler(t testing.TB, pdf []byte, tool string, args ...string) string {
	t.Helper()
	path, err := exec.LookPath(tool)
	if err != nil {
		if os.Getenv("CI") == "true" {
			t.Fatalf("%s is missing; install poppler-utils", tool)
		}
		t.Skipf("%s is missing; install poppler-utils to read papers back", tool)
	}
	name := filepath.Join(t.TempDir(), "paper.pdf")
	if err := os.WriteFile(name, pdf, 0o600); err != nil {
		t.Fatal(err)
	}
	var said bytes.Buffer
	run := exec.Command(path, append(args, name)...)
	if tool == "pdftotext" {
		run.Args = append(run.Args, "-")
	}
	run.Stderr = &said
	out, err := run.Output()
	if err != nil || said.Len() > 0 {
		t.Fatalf("%s: %v %s", tool, err, said.String())
	}
	return string(out)
}

// unpacked returns the streams of a file that can be unpacked, one after the
// other.
func unpacked(pdf []byte) string {
	var all strings.Builder
	for _, m := range regexp.MustCompile(`(?s)stream\n(.*?)\nendstream`).FindAllSubmatch(pdf, -1) {
		if z, err := zlib.NewReader(bytes.NewReader(m[1])); err == nil {
			out, _ := io.ReadAll(z)
			all.Write(out)
		}
	}
	return all.String()
}

// alternate returns words as the text in place of a figure stands in the file.
func alternate(words string) string {
	b := []byte{0xfe, 0xff}
	for _, u := range utf16.Encode([]rune(words)) {
		b = append(b, byte(u>>8), byte(u))
	}
	return "/Alt<" + strings.ToUpper(hex.EncodeToString(b)) + ">"
}

// tree returns the structure as pdfinfo prints it, without what it says of the
// layout, and the words in it.
func tree(t testing.TB, pdf []byte) (lines, words string) {
	out := poppler(t, pdf, "pdfinfo", "-struct-text")
	out = regexp.MustCompile(`(?m)^( *\w+)(?: \(\w+\))?:?$`).ReplaceAllString(out, "$1")
	out = regexp.MustCompile(`(?m)^ +/(Placement|BBox) .*\n| +""\n`).ReplaceAllString(out, "")
	for _, m := range regexp.MustCompile(`(?m)^ +"(.*)"$`).FindAllStringSubmatch(out, -1) {
		words += m[1] + " "
	}
	return out, words
}

// count returns how often each word stands in some words, less how often it
// stands in others.
func count(words, less string) map[string]int {
	n := map[string]int{}
	for _, w := range strings.Fields(words) {
		n[w]++
	}
	for _, w := range strings.Fields(less) {
		if n[w]--; n[w] == 0 {
			delete(n, w)
		}
	}
	return n
}

// TestTaggedPapers compares the structure of each paper, in the order in which
// it is read, with that looked at before, and checks that every word that can
// be read off its pages stands in it once, but for what stands at the head and
// the foot of the leaves and the headings of tables that go on.
func TestTaggedPapers(t *testing.T) {
	type document interface {
		Document() (*leaf.Document, error)
	}
	const foot = "sha256 f96fdeed dcba762c … "
	pages := func(n int, each string) (out string) {
		for i := range n {
			out += fmt.Sprintf("page %d of %d %s ", i+1, n, each)
		}
		return out
	}
	certificate := paper.SceneCertificate(leaf.A4)
	sheet := paper.SceneRateSheet(leaf.A4)
	for name, c := range map[string]struct {
		paper     document
		artifacts string
		figures   []string
	}{
		"certificate": {certificate, pages(2, "Certificate of rate 417-2026-11-25 "+foot) + "Lantern Quay Certificate of rate 417-2026-11-25", []string{
			"Square code: " + certificate.CodeText(), certificate.RateFigure.Title + ": " + certificate.RateFigure.Result, certificate.LawFigure.Title + ": " + certificate.LawFigure.Result}},
		"ratesheet": {sheet, pages(2, "Rate sheet, no. 417 "+foot) + "Lantern Quay Rate sheet, no. 417 Day From and to, UTC Error at the end ± Rate a day ± °C Remark",
			[]string{sheet.Figure.Title + ": No. 417 was losing 0.83 s ±0.03 a day at the end of the trial."}},
		"ownersheet": {ownerSheet(t, leaf.A4), pages(1, "Owner's sheet, no. 417 made 25 November 2026"), nil},
		"correction": {correctionTable(t, leaf.A4, "2026-11-25", "2026-12-20", 1), pages(1, "Correction table, no. 417 from the error and rate of 25 November 2026 08:00 UTC"), nil},
		"estimate":   {estimate(leaf.A4), pages(1, "Estimate, no. 417 of 3 March 2027"), nil},
		"report":     {report(leaf.A4), pages(2, "Service report, no. 417 made 4 May 2027") + "Lantern Quay Service report, no. 417", nil},
		"wallform":   {wallForm(leaf.A4), pages(wallForm(leaf.A4).Months, "Comparisons, no. 417 Lantern Quay"), nil},
	} {
		d, err := c.paper.Document()
		if err != nil {
			t.Fatal(err)
		}
		var pdf bytes.Buffer
		if err := d.PDF(&pdf); err != nil {
			t.Fatal(err)
		}
		if about := poppler(t, pdf.Bytes(), "pdfinfo"); !regexp.MustCompile(`Tagged: +yes\n`).MatchString(about) {
			t.Errorf("%s is not tagged:\n%s", name, about)
		}
		got, words := tree(t, pdf.Bytes())
		if diff := cmp.Diff(count(c.artifacts, ""), count(poppler(t, pdf.Bytes(), "pdftotext"), words)); diff != "" {
			t.Errorf("%s: words outside the structure: -want +got\n%s", name, diff)
		}
		all := unpacked(pdf.Bytes())
		for _, words := range c.figures {
			if !strings.Contains(all, alternate(words)) {
				t.Errorf("%s: no figure has the words %q", name, words)
			}
		}
		if n := strings.Count(all, "/Alt<"); n != len(c.figures) {
			t.Errorf("%s: %d figures have words, want %d", name, n, len(c.figures))
		}
		path := filepath.Join("testdata", "structure-"+name+".txt")
		if updating() {
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
}

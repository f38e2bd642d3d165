package paper_test

import (
	"bytes"
	"errors"
	"flag"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"timeball/internal/clock"
	"timeball/internal/paper"
	"timeball/internal/paper/leaf"
	"timeball/internal/setting"
	"timeball/internal/timescale"
)

func init() {
	if flag.Lookup("update") == nil {
		flag.Bool("update", false, "rewrite the golden files")
	}
}

func updating() bool {
	f := flag.Lookup("update")
	return f != nil && f.Value.String() == "true"
}

// lanternQuay is the invented workshop, with an invented instrument.
var lanternQuay = paper.Letterhead{Workshop: "Lantern Quay", Place: "Port of Skerrow", Keeper: "R. Halvane",
	Lines: []string{"Repair and rating of marine chronometers", "3 Lantern Quay, Skerrow", "keeper@lanternquay.example"}}

var no417 = paper.Instrument{Number: "417", Maker: "Corvane & Dray, Skerrow", Description: "box chronometer, two days, half-second beat",
	Owner: "Signe Vandrell", OwnerPlace: "Skerrow"}

var leaves = []leaf.Size{leaf.A4, leaf.Letter}

// wide is a name of sixty letters.
const wide = "The Worshipful Harbour Trustees of Upper and Nether Hollinme"

func lisbon(t testing.TB) *time.Location {
	loc, err := time.LoadLocation("Europe/Lisbon")
	if err != nil {
		t.Fatal(err)
	}
	return loc
}

// losing returns an error that runs on from e at r a day, with doubts.
func losing(e, r, se, sr float64) setting.Ahead {
	return func(d float64) (lo, mean, hi float64, ok bool) {
		mean = e + r*d
		half := 1.959964 * math.Hypot(se, sr*d)
		return mean - half, mean, mean + half, true
	}
}

func ownerSheet(t testing.TB, size leaf.Size) paper.OwnerSheet {
	made := time.Date(2026, 11, 25, 10, 0, 0, 0, time.UTC)
	ahead := losing(12.94, -0.683, 0.1, 0.002)
	example := time.Date(2027, 1, 15, 12, 0, 0, 0, time.UTC)
	lo, mean, hi, _ := ahead(timescale.Days(made, example))
	return paper.OwnerSheet{
		Size: size, Made: made, Letterhead: lanternQuay, Instrument: no417, Reach: "R. Halvane, keeper@lanternquay.example, +00 555 0417",
		Dial: clock.TwelveHour, WindEvery: 1, GoesFor: 56, HalfTurns: 7.5, Fusee: paper.WithFusee, Gimbals: true, UpAndDown: true,
		Zone: lisbon(t), WindAt: "08:30", Epoch: made, Error: paper.Quantity{Mean: 12.94, Half: 0.2}, Rate: paper.Quantity{Mean: -0.683, Half: 0.031},
		Example: paper.ErrorAt{At: example, Error: paper.Quantity{Mean: mean, Half: (hi - lo) / 2}}, LimitS: 30,
		Moves:      setting.HandMoves(made, -0.683, 0.002, 30, ahead, made.AddDate(2, 0, 0)),
		ServiceDue: time.Date(2029, 11, 1, 0, 0, 0, 0, time.UTC),
	}
}

// text returns the words of a document as another program reads them off its
// PDF.
func text(t testing.TB, d *leaf.Document) string {
	t.Helper()
	tool, err := exec.LookPath("pdftotext")
	if err != nil {
		if os.Getenv("CI") == "true" {
			t.Fatal("pdftotext is missing; install poppler-utils")
		}
		t.Skip("pdftotext is missing; install poppler-utils to read papers back")
	}
	var pdf bytes.Buffer
	if err := d.PDF(&pdf); err != nil {
		t.Fatal(err)
	}
	run := exec.Command(tool, "-layout", "-enc", "UTF-8", "-", "-")
	run.Stdin = &pdf
	out, err := run.Output()
	if err != nil {
		t.Fatal(err)
	}
	return string(out)
}

// golden compares the words of a paper with those looked at before.
func golden(t testing.TB, name string, d *leaf.Document) {
	t.Helper()
	got := text(t, d)
	path := filepath.Join("testdata", name+".txt")
	if updating() {
		if err := os.WriteFile(path, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff(string(want), got); d != "" {
		t.Errorf("%s differs; look at it and run with -update:\n%s", path, d)
	}
}

// squeezed joins words that stand in lines.
func squeezed(s string) string { return strings.Join(strings.Fields(s), " ") }

func TestOwnerSheet(t *testing.T) {
	for _, size := range leaves {
		t.Run(size.Name, func(t *testing.T) {
			d, err := ownerSheet(t, size).Document()
			if err != nil {
				t.Fatal(err)
			}
			if len(d.Leaves) != 1 {
				t.Errorf("%d leaves", len(d.Leaves))
			}
			golden(t, "ownersheet-"+size.Name, d)
		})
	}
}

// TestOwnerSheetCare: what must never be advised is forbidden in words on every
// sheet, and the cautions stand on it.
func TestOwnerSheetCare(t *testing.T) {
	o := ownerSheet(t, leaf.A4)
	for _, gimbals := range []bool{true, false} {
		o.Gimbals = gimbals
		d, err := o.Document()
		if err != nil {
			t.Fatal(err)
		}
		words := column(text(t, d))
		for _, want := range []string{"Turn no hand back.", "Do not touch the seconds hand.", "Do not wedge the balance tight", "radium", "mainsprings and solvents", "licensed person", "local rules", "do not start it again: write to us", "anticlockwise", "half-turns, about 7½,"} {
			if !strings.Contains(words, want) {
				t.Errorf("the sheet (gimbals %v) does not say %q", gimbals, want)
			}
		}
		if got := strings.Contains(words, "Do not send it in its gimbals."); got != gimbals {
			t.Errorf("gimbals %v, and it forbids sending it in them: %v", gimbals, got)
		}
	}
}

// column returns the words of the two columns of a sheet, one after the other.
func column(layout string) string {
	var left, right strings.Builder
	for _, line := range strings.Split(layout, "\n") {
		letters := []rune(line)
		cut := len(letters)
		for i := 30; i < len(letters); i++ {
			if letters[i] != ' ' && letters[i-1] == ' ' && letters[i-2] == ' ' && letters[i-3] == ' ' || i > 70 && letters[i-1] == ' ' && letters[i-2] == ' ' {
				cut = i
				break
			}
		}
		if strings.TrimSpace(line) != "" && len(letters)-len(strings.TrimLeft(line, " ")) > 60 {
			cut = 0
		}
		left.WriteString(string(letters[:cut]) + " ")
		right.WriteString(string(letters[cut:]) + " ")
	}
	return squeezed(left.String()) + " " + squeezed(right.String())
}

// TestOwnerSheetReads works the example of the sheet: a dial of 9:00:10 that is
// 21.9 s slow is 9:00:31.9 of UTC, and 12.94 s fast 8:59:57.1.
func TestOwnerSheetReads(t *testing.T) {
	for _, c := range []struct {
		e    paper.Quantity
		want []string
	}{
		{paper.Quantity{Mean: -21.9, Half: 0.4}, []string{"slow 21.9 s ±0.4", "UTC is 9:00:31.9 ±0.4."}},
		{paper.Quantity{Mean: 12.94, Half: 0.2}, []string{"fast 12.9 s ±0.2", "UTC is 8:59:57.1 ±0.2."}},
		{paper.Quantity{Mean: -49.97, Half: 0.04}, []string{"slow 49.97 s ±0.04", "UTC is 9:00:59.97 ±0.04."}},
		{paper.Quantity{Mean: 9*3600 + 70, Half: 12}, []string{"UTC is 23:59:00 ±12."}},
	} {
		o := ownerSheet(t, leaf.A4)
		o.Example.Error = c.e
		d, err := o.Document()
		if err != nil {
			t.Fatal(err)
		}
		words := column(text(t, d))
		for _, want := range c.want {
			if !strings.Contains(words, want) {
				t.Errorf("%v: the sheet does not say %q: %s", c.e, want, words)
			}
		}
	}
}

// TestOwnerSheetOnOneLeaf: the widest of everything still stands on one leaf.
func TestOwnerSheetOnOneLeaf(t *testing.T) {
	for _, size := range leaves {
		for _, name := range []string{"Þórðarson & Æsir, Ísafjörður", "Χρονόμετρον Ναυτικόν, Πειραιεύς", wide, strings.Repeat("Ψ", 60), "漢字の航海用時計"} {
			o := ownerSheet(t, size)
			o.Instrument = paper.Instrument{Number: "00417/A (second of the pair)", Maker: name, Description: "box chronometer, eight days, half-second beat, spring detent escapement, " + wide, Owner: name, OwnerPlace: name}
			o.Letterhead.Lines = append(o.Letterhead.Lines, "+00 555 0417", "by appointment, Monday to Friday")
			o.Letterhead.Workshop, o.Letterhead.Place = wide, name
			o.Reach = name + ", " + wide + ", keeper@lanternquay.example, +00 555 0417"
			o.Fusee, o.HalfTurns, o.WindEvery, o.GoesFor, o.Brake = paper.FuseeUnknown, 0, 7, 192, false
			ahead := losing(28, -2.4, 0.05, 0.0001)
			o.Moves = setting.HandMoves(o.Made, -2.4, 0.0001, 30, ahead, o.Made.AddDate(2, 0, 0))
			for i := range o.Moves.Windows {
				o.Moves.Windows[i].Minutes = 11
				o.Moves.Windows[i].To = o.Moves.Windows[i].From.AddDate(1, 0, 9)
			}
			if len(o.Moves.Windows) < 20 {
				t.Fatalf("%d windows", len(o.Moves.Windows))
			}
			d, err := o.Document()
			if err != nil {
				t.Fatal(err)
			}
			if len(d.Leaves) != 1 {
				t.Errorf("%s, %s: %d leaves", size.Name, name, len(d.Leaves))
			}
			words := text(t, d)
			if strings.Count(words, "\f") != 1 || !strings.Contains(words, "page 1 of 1") {
				t.Errorf("%s, %s: pages are not one", size.Name, name)
			}
			if !strings.Contains(column(words), fmt.Sprintf("%d more follow", len(o.Moves.Windows)-12)) {
				t.Errorf("%s, %s: it does not say how the moves go on: %s", size.Name, name, column(words))
			}
			if m := d.Missing(); (len(m) > 0) != (name == "漢字の航海用時計") {
				t.Errorf("%s: %v", name, m)
			}
		}
	}
}

func TestOwnerSheetMoves(t *testing.T) {
	made := time.Date(2026, 11, 25, 10, 0, 0, 0, time.UTC)
	for _, c := range []struct {
		what  string
		moves setting.Moves
		want  string
	}{
		{"gaining", setting.HandMoves(made, 0.5, 0.01, 30, losing(1, 0.5, 0.1, 0.01), made.AddDate(2, 0, 0)), "hands are never turned back"},
		{"none in two years", setting.HandMoves(made, -0.05, 0.001, 30, losing(30, -0.05, 0.1, 0.001), made.AddDate(2, 0, 0)), "It need not be moved before November 2028."},
		{"rate in doubt", setting.HandMoves(made, -0.5, 0.2, 30, losing(1, -0.5, 0.1, 0.2), made.AddDate(2, 0, 0)), "compare it for some days first"},
		{"doubt outgrows", setting.HandMoves(made, -1, 0.07, 30, losing(29, -1, 0.1, 0.07), made.AddDate(2, 0, 0)), "Then the date is too uncertain: compare it and ask for a new sheet before"},
		{"three", setting.HandMoves(made, -0.25, 0.0005, 30, losing(29, -0.25, 0.1, 0.0005), made.AddDate(2, 0, 0)), "Ask for a new sheet before November 2028."},
	} {
		o := ownerSheet(t, leaf.A4)
		o.Moves = c.moves
		d, err := o.Document()
		if err != nil {
			t.Fatal(err)
		}
		if words := column(text(t, d)); !strings.Contains(words, c.want) {
			t.Errorf("%s: the sheet does not say %q: %s", c.what, c.want, words)
		}
	}
}

func TestOwnerSheetRefuses(t *testing.T) {
	_, err := (paper.OwnerSheet{}).Document()
	if !errors.Is(err, paper.ErrWanting) || !strings.Contains(err.Error(), "the owner's sheet needs the name of the workshop, the number of the instrument") {
		t.Errorf("an empty sheet: %v", err)
	}
	o := ownerSheet(t, leaf.A4)
	o.Letterhead.Lines = strings.Split(strings.Repeat("another line\n", 70), "\n")
	if _, err := o.Document(); !errors.Is(err, paper.ErrTooLong) || !strings.Contains(err.Error(), "shorten the letterhead") {
		t.Errorf("a letterhead of seventy lines: %v", err)
	}
}

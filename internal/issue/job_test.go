package issue_test

import (
	"bytes"
	"context"
	"encoding/csv"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"slices"
	"strings"
	"testing"
	"time"

	"timeball/internal/chronometer"
	"timeball/internal/clock"
	"timeball/internal/issue"
)

func eur(minor int64) chronometer.Money { return chronometer.Money{Minor: minor, Currency: "EUR"} }

func isk(minor int64) chronometer.Money { return chronometer.Money{Minor: minor, Currency: "ISK"} }

// newlyKept returns a workshop with its name and one instrument, no. 52, of
// which nothing is written yet.
func newlyKept(t testing.TB) *quay {
	t.Helper()
	q := open(t, nil)
	id, err := q.NewID(t.Context(), "", chronometer.KindHouse)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := q.WriteOnce(t.Context(), id, "J. Pask", id, time.Time{}, chronometer.House{Name: "Lantern Quay", Place: "Port of Skerrow", Keeper: "R. Halvane", Contact: "3 Lantern Quay, Skerrow"}); err != nil {
		t.Fatal(err)
	}
	if _, err := q.Enter(t.Context(), "J. Pask", chronometer.Instrument{Number: "52", Maker: "Þórðarson & Æsir", Make: chronometer.BoxChronometer, Beat: chronometer.HalfSecond, Dial: chronometer.Twelve, GoingH: 56}); err != nil {
		t.Fatal(err)
	}
	return q
}

// words returns a paper of no. 52 as another program reads it.
func (q *quay) words(kind issue.Kind) string {
	q.t.Helper()
	m, err := q.desk.Make(context.Background(), kind, "52", issue.Ask{})
	if err != nil {
		q.t.Fatal(err)
	}
	if _, err := exec.LookPath("pdftotext"); err != nil {
		if os.Getenv("CI") == "true" {
			q.t.Fatalf("%v; install poppler-utils", err)
		}
		q.t.Skipf("%v; install poppler-utils to read papers back", err)
	}
	run := exec.Command("pdftotext", "-layout", "-", "-")
	run.Stdin = bytes.NewReader(m.Content)
	out, err := run.Output()
	if err != nil {
		q.t.Fatal(err)
	}
	return strings.Join(strings.Fields(string(out)), " ")
}

// TestJobPapersWanting takes a job from its beginning and asks for its papers
// at every step: what is missing is said in words that tell what to write.
func TestJobPapersWanting(t *testing.T) {
	q := newlyKept(t)
	wants := func(kind issue.Kind, says string) {
		t.Helper()
		if _, err := q.desk.Make(t.Context(), kind, "52", issue.Ask{}); !errors.Is(err, issue.ErrWanting) || !strings.Contains(err.Error(), says) {
			t.Errorf("%s: %v, want %q", kind, err, says)
		}
	}
	wants(issue.Estimate, "estimate of no. 52: it has had no job; write what is asked for")
	wants(issue.ServiceReport, "service report of no. 52: it has had no job")
	wants(issue.InvoiceLines, "no work is written down")
	q.clock = today.AddDate(0, 0, 10)
	q.write("52", today, chronometer.Enquired{What: "it gains", From: "Ελένη Παπαδημητρίου"})
	wants(issue.Estimate, "none is written in the job that began on 5 March 2027")
	wants(issue.ServiceReport, "nothing is found or done in the job that began on 5 March 2027 yet")
	q.write("52", today.AddDate(0, 0, 1), chronometer.Estimated{Work: "clean and oil", Hours: 9, Cost: eur(48000), Days: 30})
	words := q.words(issue.Estimate)
	for _, says := range []string{"480.00 EUR", "Hours", "until 5 Apr 2027", "it gains; asked for by Ελένη Παπαδημητρίου", "It has not been examined yet", "At most, instead of 480.00 EUR", "Þórðarson & Æsir"} {
		if !strings.Contains(words, says) {
			t.Errorf("the estimate does not say %q: %s", says, words)
		}
	}
	wants(issue.ServiceReport, "nothing is found or done")
	q.write("52", today.AddDate(0, 0, 2), chronometer.Approved{Who: "Ελένη", UpTo: eur(50000)})
	q.write("52", today.AddDate(0, 0, 3), chronometer.Found{Condition: "pivot worn"})
	words = q.words(issue.Estimate)
	if !strings.Contains(words, "On 7 March 2027 by Ελένη: at most 500.00 EUR.") || strings.Contains(words, "pivot worn") {
		t.Errorf("an estimate that was agreed to, before something else was found: %s", words)
	}
	if words := q.words(issue.ServiceReport); !strings.Contains(words, "No work was done.") || !strings.Contains(words, "8 March 2027: pivot worn") {
		t.Errorf("the report of what was found: %s", words)
	}
	wants(issue.InvoiceLines, "no work is written down")
	unnamed := open(t, nil)
	if _, err := unnamed.Enter(t.Context(), "J. Pask", chronometer.Instrument{Number: "52", Make: chronometer.DeckWatch, Beat: chronometer.FifthSecond, Dial: chronometer.Twelve, GoingH: 36}); err != nil {
		t.Fatal(err)
	}
	q = unnamed
	wants(issue.Estimate, "the workshop has no name")
}

// TestServiceReportRates rates an instrument for three weeks before its work
// and three weeks after: by 4 s a day gaining, then by 1 losing, read to the
// tenth.
func TestServiceReportRates(t *testing.T) {
	q := newlyKept(t)
	q.clock = today.AddDate(0, 0, 60)
	from := today.AddDate(0, 0, 1)
	q.write("52", from.Add(-time.Hour), chronometer.Started{})
	compare := func(days int, errorS float64) {
		at := from.AddDate(0, 0, days)
		c := chronometer.ReadDial(clock.TwelveHour.Reading(at, clock.DialError(errorS)))
		c.SDS = 0.1
		q.write("52", at, c)
	}
	for d := range 22 {
		compare(d, 3+4*float64(d))
	}
	day := func(n int) time.Time { return from.AddDate(0, 0, n).Add(time.Hour) }
	q.write("52", day(21), chronometer.Received{Station: chronometer.Bench, Condition: "box sound"})
	q.write("52", day(22), chronometer.Stopped{Why: "stopped for work"})
	q.write("52", day(23), chronometer.WorkDone{Work: "serviced", Parts: "one jewel", Measurements: "arc 430°", Hours: 8, Cost: eur(61050), Service: true})
	q.write("52", day(24), chronometer.WorkDone{Work: "glass", Cost: isk(9500)})
	q.write("52", day(25), chronometer.Started{})
	compare(26, -2)
	if words := q.words(issue.ServiceReport); !strings.Contains(words, "gaining 4.0") || !strings.Contains(words, "After the work not known: too few comparisons") {
		t.Errorf("after one comparison: %s", words)
	}
	for d := 27; d < 48; d++ {
		compare(d, -2-float64(d-26))
	}
	words := q.words(issue.ServiceReport)
	for _, says := range []string{"gaining 4.0", "losing 1.0", "and 9500 ISK", "Together 8 610.50 EUR", "and in ISK 9500 ISK", "Parts: one jewel", "Measured: arc 430°", "Received on 27 March 2027: box sound", "March 2031"} {
		if !strings.Contains(words, says) {
			t.Errorf("the report does not say %q: %s", says, words)
		}
	}
}

// TestInvoiceLines reads the lines back as RFC 4180 has them; text that a
// spreadsheet would take for a formula begins with an apostrophe.
func TestInvoiceLines(t *testing.T) {
	q := newlyKept(t)
	q.clock = today.AddDate(0, 0, 60)
	q.write("52", today, chronometer.WorkDone{Work: `=HYPERLINK("http://example.test")`, Parts: "+1 jewel, \"ruby\"", Hours: 4.5, Cost: eur(41005)})
	q.write("52", today.AddDate(0, 0, 1), chronometer.WorkDone{Work: "Ψηγματα\nκαι λάδι", Parts: " @SUM(A1)", Cost: isk(9500)})
	q.write("52", today.AddDate(0, 0, 2), chronometer.Sent{To: "home"})
	q.write("52", today.AddDate(0, 0, 3), chronometer.Received{Station: chronometer.Home})
	q.write("52", today.AddDate(0, 0, 9), chronometer.WorkDone{Work: "looked at again"})
	m, err := q.desk.Make(t.Context(), issue.InvoiceLines, "52", issue.Ask{})
	if err != nil || m.Name != "invoice-lines-52.csv" || m.Type != "text/csv; charset=utf-8" || m.Document != nil {
		t.Fatalf("%+v, %v", m, err)
	}
	rows, err := csv.NewReader(bytes.NewReader(m.Content)).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	want := [][]string{
		{"job", "date", "what", "parts", "hours", "amount", "currency"},
		{"No. 52 from 2027-03-05", "2027-03-05", `'=HYPERLINK("http://example.test")`, `'+1 jewel, "ruby"`, "4.5", "410.05", "EUR"},
		{"No. 52 from 2027-03-05", "2027-03-06", "Ψηγματα\nκαι λάδι", "' @SUM(A1)", "", "9500", "ISK"},
		{"No. 52 from 2027-03-14", "2027-03-14", "looked at again", "", "", "", ""},
	}
	if !slices.EqualFunc(rows, want, slices.Equal) {
		t.Errorf("got %q\nwant %q", rows, want)
	}
	for _, r := range rows {
		for _, cell := range r {
			if strings.ContainsAny(cell[:min(1, len(cell))], "=+-@\t\r") {
				t.Errorf("%q begins as a formula", cell)
			}
		}
	}
}

func ExampleKind_Ending() {
	for _, k := range issue.Kinds()[6:] {
		fmt.Println(string(k) + k.Ending())
	}
	// Output:
	// estimate.pdf
	// service-report.pdf
	// invoice-lines.csv
	// preparing-sheet.pdf
}

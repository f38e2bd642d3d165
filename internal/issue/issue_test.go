package issue_test

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"strings"
	"testing"
	"time"

	"timeball/internal/chronometer"
	"timeball/internal/issue"
	"timeball/internal/lanternquay"
	"timeball/internal/reference"
	"timeball/internal/store"
	"timeball/internal/workshop"
)

// today is when the invented workshop is looked at.
var today = time.Date(2027, 3, 5, 9, 30, 0, 0, time.UTC)

// quay is the invented workshop in a folder, with a clock that can be set.
type quay struct {
	*workshop.Workshop
	t     testing.TB
	desk  *issue.Papers
	clock time.Time
}

func open(t testing.TB, entries []chronometer.Entry) *quay {
	t.Helper()
	q := &quay{t: t, clock: today}
	now := func() time.Time { return q.clock }
	db, err := store.Open(t.Context(), t.TempDir(), now)
	if err != nil {
		t.Fatal(err)
	}
	q.Workshop = workshop.New(db, reference.Plain(now))
	t.Cleanup(func() { q.Close(); db.Close() })
	if err := q.Fill(t.Context(), entries); err != nil {
		t.Fatal(err)
	}
	q.desk = issue.New(q.Workshop)
	return q
}

func (q *quay) see(number string) workshop.Seen {
	q.t.Helper()
	seen, err := q.See(context.Background(), number)
	if err != nil {
		q.t.Fatal(err)
	}
	return seen
}

func (q *quay) issue(number string) chronometer.Entry {
	q.t.Helper()
	e, err := q.desk.Issue(context.Background(), q.id(number, chronometer.KindCertified), "R. Halvane", number, "")
	if err != nil {
		q.t.Fatal(err)
	}
	return e
}

func (q *quay) id(number string, kind chronometer.Kind) chronometer.ID {
	q.t.Helper()
	id, err := q.NewID(context.Background(), q.see(number).ID, kind)
	if err != nil {
		q.t.Fatal(err)
	}
	return id
}

func (q *quay) write(number string, at time.Time, fact chronometer.Fact) chronometer.Entry {
	q.t.Helper()
	e, err := q.WriteOnce(context.Background(), q.id(number, fact.Kind()), "J. Pask", q.see(number).ID, at, fact)
	if err != nil {
		q.t.Fatal(err)
	}
	return e
}

func (q *quay) verify(file []byte) issue.Verified {
	q.t.Helper()
	v, err := q.desk.VerifyFile(context.Background(), file)
	if err != nil {
		q.t.Fatal(err)
	}
	return v
}

func (q *quay) again(number string) []byte {
	q.t.Helper()
	pdf, _, err := q.desk.Again(context.Background(), number, "")
	if err != nil {
		q.t.Fatal(err)
	}
	return pdf
}

// TestTheSameLogbookGivesTheSameCertificate issues a certificate twice from two
// folders that hold the same entries.
func TestTheSameLogbookGivesTheSameCertificate(t *testing.T) {
	a, b := open(t, lanternquay.Entries(today)), open(t, lanternquay.Entries(today))
	ca, cb := a.issue("306").Fact.(chronometer.Certified), b.issue("306").Fact.(chronometer.Certified)
	if ca.Digest != cb.Digest || ca.PDF != cb.PDF {
		t.Errorf("digests %s and %s, files %s and %s", ca.Digest, cb.Digest, ca.PDF, cb.PDF)
	}
	if !bytes.Equal(a.again("306"), b.again("306")) {
		t.Error("the files differ")
	}
	if ca.Figures.Verdict != "kept" || len(ca.Figures.Criteria) != 6 {
		t.Errorf("trial of no. 306: %+v", ca.Figures)
	}
}

// TestMadeAgain makes the certificate of the entry anew, a year later, from the
// logbook that has grown since.
func TestMadeAgain(t *testing.T) {
	q := open(t, lanternquay.Entries(today))
	e := q.issue("306")
	kept := q.again("306")
	q.clock = today.AddDate(0, 0, 1)
	q.write("306", q.clock, chronometer.Note{Text: "Packed tomorrow."})
	one := 1.0
	q.write("306", q.clock, chronometer.Compared{ErrorS: &one, SDS: 0.1})
	made, err := q.desk.Reissue(context.Background(), "306", e.ID)
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(made, kept) {
		t.Error("it is not byte for byte the one that was kept")
	}
	if v := q.verify(kept); v.Finding != issue.Holds || v.SameFile == nil || !*v.SameFile {
		t.Errorf("%s: %s", v.Finding, v.Words)
	}
}

// TestSuperseded strikes out a comparison that a certificate rests on, adds one
// written too late, and takes the strike back.
func TestSuperseded(t *testing.T) {
	q := open(t, lanternquay.Entries(today))
	e := q.issue("306")
	c := e.Fact.(chronometer.Certified)
	file := q.again("306")
	digest := func() issue.Verified {
		v, err := q.desk.Verify(context.Background(), " SHA256:"+strings.ToUpper(c.Digest[:8])+" "+c.Digest[8:20])
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
	if v := digest(); v.Finding != issue.Holds || v.SameFile != nil {
		t.Errorf("just issued: %s: %s", v.Finding, v.Words)
	}

	q.clock = today.Add(48 * time.Hour)
	var last chronometer.Entry
	for _, x := range q.see("306").Logbook.Standing() {
		if x.Kind() == chronometer.KindCompared && x.At.Before(today) {
			last = x
		}
	}
	strike := q.write("306", time.Time{}, chronometer.StruckOut{Entry: last.ID, Why: "read on the wrong dial"})
	v := q.verify(file)
	if v.Finding != issue.Superseded || len(v.Changes) != 1 || !strings.Contains(v.Changes[0], "was struck out by J. Pask on 7 March 2027: read on the wrong dial") {
		t.Errorf("struck out: %s: %s: %q", v.Finding, v.Words, v.Changes)
	}
	if v.Now == nil || v.Now.Rate == c.Figures.Rate {
		t.Errorf("the figures now are %+v", v.Now)
	}

	q.clock = q.clock.Add(time.Hour)
	q.write("306", time.Time{}, chronometer.StruckOut{Entry: strike.ID, Why: "it was the right dial after all"})
	if v := q.verify(file); v.Finding != issue.Holds {
		t.Errorf("the strike struck out: %s: %s %q", v.Finding, v.Words, v.Changes)
	}

	q.clock = q.clock.Add(time.Hour)
	five := -5.0
	q.write("306", today.Add(-3*time.Hour), chronometer.Compared{ErrorS: &five, SDS: 0.2})
	if v := q.verify(file); v.Finding != issue.Superseded || !strings.Contains(strings.Join(v.Changes, "\n"), "was written by J. Pask on 7 March 2027, after the certificate") {
		t.Errorf("added: %s: %q", v.Finding, v.Changes)
	}

	q.clock = q.clock.Add(time.Hour)
	q.write("306", time.Time{}, chronometer.StruckOut{Entry: e.ID, Why: "sent to the wrong owner"})
	if v := q.verify(file); v.Finding != issue.Withdrawn || !strings.Contains(v.Words, "sent to the wrong owner") {
		t.Errorf("withdrawn: %s: %s", v.Finding, v.Words)
	}
	if _, _, err := q.desk.Again(context.Background(), "306", ""); !errors.Is(err, workshop.ErrUnknown) {
		t.Errorf("a withdrawn certificate is given again: %v", err)
	}
}

func TestWhatIsNoCertificate(t *testing.T) {
	q := open(t, lanternquay.Entries(today))
	q.issue("306")
	file := q.again("306")
	for name, text := range map[string]string{"short": "12ab", "words": "certificate 306", "long": strings.Repeat("a", 65)} {
		if _, err := q.desk.Verify(context.Background(), text); !errors.Is(err, issue.ErrNoDigest) {
			t.Errorf("%s: %v", name, err)
		}
	}
	if v, err := q.desk.Verify(context.Background(), strings.Repeat("0", 64)); err != nil || v.Finding != issue.NotOurs {
		t.Errorf("a digest of nothing: %v %v", v.Finding, err)
	}
	for name, text := range map[string][]byte{"nothing": nil, "text": []byte("a certificate"), "empty PDF": []byte("%PDF-1.7\nstream\nendstream")} {
		if _, err := q.desk.VerifyFile(context.Background(), text); !errors.Is(err, issue.ErrNoDigest) {
			t.Errorf("%s: %v", name, err)
		}
	}
	altered := bytes.Replace(bytes.Clone(file), []byte("%%EOF"), []byte("%%EOF "), 1)
	if v := q.verify(altered); v.Finding != issue.Holds || *v.SameFile || !strings.Contains(strings.Join(v.Changes, " "), "not, byte for byte") {
		t.Errorf("an altered file: %s %q", v.Finding, v.Changes)
	}
}

// TestNeverOnTooLittle asks for certificates of instruments that lack something.
func TestNeverOnTooLittle(t *testing.T) {
	q := open(t, lanternquay.Entries(today))
	for number, says := range map[string]string{
		"417":  "its trial goes on; end it first",
		"1906": "4 over 3.0 days; a certificate wants 8 over 10 days",
		"73":   "too few comparisons for a rating",
		"2260": "a certificate wants",
	} {
		missing, err := q.desk.Lacking(context.Background(), number)
		if err != nil || !strings.Contains(strings.Join(missing, "; "), says) {
			t.Errorf("no. %s: %q %v, want %q", number, missing, err, says)
		}
		if _, err := q.desk.Issue(context.Background(), q.id(number, chronometer.KindCertified), "R. Halvane", number, ""); !errors.Is(err, issue.ErrWanting) {
			t.Errorf("no. %s is certified: %v", number, err)
		}
		if _, err := q.desk.Make(context.Background(), issue.Certificate, number, issue.Ask{}); !errors.Is(err, issue.ErrWanting) {
			t.Errorf("no. %s has a draft: %v", number, err)
		}
	}
	none := open(t, nil)
	if _, err := none.Enter(t.Context(), "J. Pask", chronometer.Instrument{Number: "9", Make: chronometer.DeckWatch, Beat: chronometer.FifthSecond, Dial: chronometer.Twelve, GoingH: 36}); err != nil {
		t.Fatal(err)
	}
	missing, err := none.desk.Lacking(context.Background(), "9")
	for _, says := range []string{"the workshop has no name", "maker's name is not entered", "too few comparisons"} {
		if err != nil || !strings.Contains(strings.Join(missing, "; "), says) {
			t.Errorf("a new instrument: %q %v, want %q", missing, err, says)
		}
	}
}

// TestNames sets every paper for owners whose names papers rarely see.
func TestNames(t *testing.T) {
	for _, name := range []string{"Ελένη Θαλασσινού", "Þóra Ásgrímsdóttir", "Łucja Żółtowska", "Дарья Полозова", strings.Repeat("Osmerelle", 7)[:60], "名前"} {
		var entries []chronometer.Entry
		for _, e := range lanternquay.Entries(today) {
			if o, ok := e.Fact.(chronometer.Owner); ok {
				o.Name = name
				e.Fact = o
			}
			entries = append(entries, e)
		}
		q := open(t, entries)
		q.write("306", today.Add(-time.Hour), chronometer.Estimated{Work: "clean and oil for " + name, Cost: chronometer.Money{Minor: 48000, Currency: "EUR"}})
		for _, kind := range issue.Kinds() {
			for _, size := range []chronometer.Paper{chronometer.PaperA4, chronometer.PaperLetter} {
				m, err := q.desk.Make(context.Background(), kind, "306", issue.Ask{Paper: size})
				if err != nil || len(m.Content) < 1000 && kind != issue.InvoiceLines {
					t.Errorf("%s of %s on %s: %d bytes, %v", kind, name, size, len(m.Content), err)
				}
			}
		}
	}
}

// TestIssuedOnce sends the same issue twice, as a reader does who presses twice.
func TestIssuedOnce(t *testing.T) {
	q := open(t, lanternquay.Entries(today))
	id := q.id("306", chronometer.KindCertified)
	first, err1 := q.desk.Issue(context.Background(), id, "R. Halvane", "306", "")
	q.clock = today.Add(time.Minute)
	second, err2 := q.desk.Issue(context.Background(), id, "R. Halvane", "306", "")
	if err1 != nil || err2 != nil || first.ID != second.ID || first.Fact.(chronometer.Certified).PDF != second.Fact.(chronometer.Certified).PDF {
		t.Errorf("%v, %v", err1, err2)
	}
	if c := q.issue("306").Fact.(chronometer.Certified); c.Certificate != "306-2027-03-05-2" {
		t.Errorf("the second of the day is %s", c.Certificate)
	}
}

// BenchmarkCertificate issues one certificate of no. 306, its trial judged.
func BenchmarkCertificate(b *testing.B) {
	q := open(b, lanternquay.Entries(today))
	q.see("306")
	for b.Loop() {
		if _, err := q.desk.Draft(context.Background(), "306", ""); err != nil {
			b.Fatal(err)
		}
	}
}

// BenchmarkCorrectionTable makes the table of a year, a line a day, as PDF.
func BenchmarkCorrectionTable(b *testing.B) {
	q := open(b, lanternquay.Entries(today))
	q.see("306")
	for b.Loop() {
		if _, err := q.desk.Make(context.Background(), issue.CorrectionTable, "306", issue.Ask{}); err != nil {
			b.Fatal(err)
		}
	}
}

func ExampleParseKind() {
	_, err := issue.ParseKind("diploma")
	fmt.Println(err)
	// Output:
	// there is no paper "diploma"; write one of: certificate, rate-sheet, owner-sheet, correction-table, calendar, wall-form, estimate, service-report, invoice-lines, preparing-sheet
}

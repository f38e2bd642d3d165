package web_test

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"
	"time"

	"timeball/internal/chronometer"
	"timeball/internal/web/papers"
)

// house writes the particulars of the workshop.
func house(v *visitor) *element {
	v.t.Helper()
	return v.follow(v.postForm("/workshop", withBy(url.Values{"name": {"Lantern Quay"}, "place": {"Port of Skerrow"}, "keeper": {"Signe Vandrell"}, "contact": {"Lantern Quay 3, Skerrow\r\nkeeper@lanternquay.example"}, "service_years": {""}})))
}

// file returns what an address answers with, which must be of a type.
func (v *visitor) file(address, mediaType string) []byte {
	v.t.Helper()
	r := v.send(httptest.NewRequest(http.MethodGet, address, nil))
	got := text(v.t, r)
	if r.StatusCode != http.StatusOK || r.Header.Get("Content-Type") != mediaType {
		v.t.Fatalf("%s: status %d, %s: %.300s", address, r.StatusCode, r.Header.Get("Content-Type"), got)
	}
	if d := r.Header.Get("Content-Disposition"); !strings.HasPrefix(d, "inline; filename=") {
		v.t.Errorf("%s is sent as %q", address, d)
	}
	return []byte(got)
}

func TestWorkshopParticulars(t *testing.T) {
	v := visit(t, emptyQuay(t))
	page := v.get("/workshop", http.StatusOK)
	wellMade(t, "/workshop", page, map[string]bool{})
	for _, to := range []string{"/programmes", "/verify", "/together", "/owners", "/observers"} {
		page.one(t, "main nav a[href="+to+"]")
	}
	wrong := parsed(t, text(t, v.postForm("/workshop", withBy(url.Values{"name": {" "}, "place": {"Skerrow"}}))))
	wrong.one(t, "#x-name")
	if got := wrong.one(t, "#f-place").attrs["value"]; got != "Skerrow" {
		t.Errorf("what was written is lost: %q", got)
	}
	const name = "Ωρολογοποιείο Þórshöfn"
	page = v.follow(v.postForm("/workshop", withBy(url.Values{"name": {name}, "contact": {"Kaia 3\r\n\r\nwrite@example.test; "}, "service_years": {"3,5"}})))
	page.one(t, ".notice.done")
	if got := page.one(t, "h1").words(); got != name {
		t.Errorf("the workshop is %q", got)
	}
	first, err := v.q.House(t.Context())
	if err != nil || first.House.Contact != "Kaia 3; write@example.test" || first.House.ServiceYears != 3.5 {
		t.Errorf("written: %+v, %v", first, err)
	}
	if got := page.one(t, "#f-contact").raw(); got != "Kaia 3\nwrite@example.test" {
		t.Errorf("how to reach it comes back as %q", got)
	}
	house(v)
	second, err := v.q.House(t.Context())
	if err != nil || second.ID != first.ID || second.House.Keeper != "Signe Vandrell" || second.House.ServiceYears != 0 {
		t.Errorf("corrected: %+v, %v, want the logbook %s", second, err, first.ID)
	}
}

func TestPapersOfNamelessWorkshop(t *testing.T) {
	v := visit(t, lanternQuay(t))
	page := v.get("/instruments/417/papers", http.StatusOK)
	page.one(t, ".notice a[href=/workshop]")
	cards := page.all(".card")
	if len(cards) != 9 {
		t.Fatalf("%d papers beside the certificate, want 9", len(cards))
	}
	for _, c := range cards {
		if got := c.one(t, ".why").words(); !strings.Contains(got, "no name") {
			t.Errorf("%s: %q", c.one(t, "h2").words(), got)
		}
	}
	if len(page.all("main img")) != 0 || len(page.all("form.issue")) != 0 {
		t.Error("a paper is offered without the name of the workshop")
	}
	refused := v.get("/instruments/417/papers/owner-sheet.pdf", http.StatusConflict)
	if got := refused.one(t, "main").words(); !strings.Contains(got, "no name") {
		t.Errorf("the file is refused with %q", got)
	}
}

// TestPapers asks for every file that the page offers.
func TestPapers(t *testing.T) {
	q := lanternQuay(t)
	v := visit(t, q)
	house(v)
	page := v.get("/instruments/417/papers", http.StatusOK)
	wellMade(t, "papers", page, map[string]bool{})
	pictures := page.all("main img")
	if len(pictures) != 6 {
		t.Errorf("%d pictures, want those of six papers", len(pictures))
	}
	for _, p := range pictures {
		if svg := v.file(p.attrs["src"], "image/svg+xml"); !bytes.HasPrefix(svg, []byte("<svg")) {
			t.Errorf("%s: %.60s", p.attrs["src"], svg)
		}
	}
	for _, a := range page.all(".leaf-small[href]") {
		shown := v.get(a.attrs["href"], http.StatusOK)
		wellMade(t, a.attrs["href"], shown, map[string]bool{})
		if len(shown.all(".leaf-sheet svg")) == 0 {
			t.Errorf("%s shows no page", a.attrs["href"])
		}
	}
	for _, f := range []string{"rate-sheet.pdf", "owner-sheet.pdf", "draft-certificate.pdf", "correction-table.pdf", "wall-form.pdf", "preparing-sheet.pdf"} {
		// ISO 216: A4 is 210 × 297 mm; ANSI A is 8.5 × 11 in; in points of 1/72 inch.
		for size, box := range map[string]string{"A4": "595.28 841.89", "Letter": "612.00 792.00"} {
			if pdf := v.file("/instruments/417/papers/"+f+"?paper="+size, "application/pdf"); !bytes.HasPrefix(pdf, []byte("%PDF-")) || !bytes.Contains(pdf, []byte("/MediaBox [0 0 "+box+"]")) {
				t.Errorf("%s on %s is no PDF of that size", f, size)
			}
		}
	}
	// RFC 5545, 3.4: an iCalendar stream begins with this line.
	if ics := v.file("/instruments/417/papers/calendar.ics", "text/calendar; charset=utf-8"); !bytes.HasPrefix(ics, []byte("BEGIN:VCALENDAR\r\n")) {
		t.Errorf("the calendar begins %.40q", ics)
	}
	few := v.get("/instruments/417/papers?show=wall-form&from=2027-06&months=3", http.StatusOK)
	if n := len(few.all(".leaf-sheet")); n != 3 {
		t.Errorf("three months of forms are %d pages", n)
	}
	if got := few.one(t, ".actions a.now").attrs["href"]; !strings.Contains(got, "from=2027-06") || !strings.Contains(got, "months=3") {
		t.Errorf("the file of what is shown is %s", got)
	}
	for address, status := range map[string]int{
		"/instruments/417/papers/nothing.pdf": 404, "/instruments/417/papers/owner-sheet.ics": 404, "/instruments/417/papers/calendar.pdf": 404, "/instruments/417/papers/owner-sheet": 404,
		"/instruments/417/papers/.pdf": 404, "/instruments/417/papers/certificate-.pdf": 404, "/instruments/417/papers/certificate-417-2027-01-01.pdf": 404, "/instruments/417/papers/rate-sheet.svg?page=99": 404,
		"/instruments/417/papers?show=calendar": 404, "/instruments/417/papers?show=": 404, "/instruments/9999/papers": 404, "/instruments/9999/papers/owner-sheet.pdf": 404,
		"/instruments/417/papers/owner-sheet.pdf?paper=A5": 422, "/instruments/417/papers/correction-table.pdf?from=soon": 422, "/instruments/417/papers/correction-table.pdf?step=0": 422,
		"/instruments/417/papers/wall-form.pdf?months=25": 422, "/instruments/417/papers/wall-form.pdf?months=1.5": 422, "/instruments/417/papers/correction-table.pdf?to=0000-01-01": 422,
		"/instruments/417/papers/correction-table.pdf?from=2027-06-01&to=2027-05-01": 409, "/instruments/731/papers/owner-sheet.pdf": 409, "/instruments/731/papers?show=draft-certificate": 409,
	} {
		if got := v.get(address, status).one(t, "main").words(); got == "" {
			t.Errorf("%s says nothing", address)
		}
	}
	thin := v.get("/instruments/731/papers", http.StatusOK)
	if got := thin.one(t, ".lacking").words(); !strings.Contains(got, "Too few comparisons") {
		t.Errorf("of one comparison it says %q", got)
	}
}

// TestPapersInManyLetters makes papers of names that are not of these islands.
func TestPapersInManyLetters(t *testing.T) {
	q := lanternQuay(t)
	v := visit(t, q)
	long := "The Honourable Company of Lightkeepers of the Outer Skerries"
	if n := len(long); n < 60 {
		t.Fatalf("the name has %d letters", n)
	}
	if _, err := q.Write(t.Context(), "E", q.owners[0], today, chronometer.Owner{Name: long, Place: "Þorlákshöfn · Ερμούπολη", Zone: "Atlantic/Reykjavik", WindAt: "08:30", Paper: chronometer.PaperLetter}); err != nil {
		t.Fatal(err)
	}
	i := q.instruments[0].entries[0].Fact.(chronometer.Instrument)
	i.Maker = "Ὡρολόγια Ζαΐμη & Ægisson, Ísafjörður"
	if _, err := q.Write(t.Context(), "E", q.instruments[0].id, today, i); err != nil {
		t.Fatal(err)
	}
	for _, f := range []chronometer.Fact{chronometer.Estimated{Work: "oil · λάδι", Cost: chronometer.Money{Minor: 9500, Currency: "ISK"}}, chronometer.WorkDone{Work: "oiled"}} {
		if _, err := q.Write(t.Context(), "E", q.instruments[0].id, today, f); err != nil {
			t.Fatal(err)
		}
	}
	house(v)
	page := v.get("/instruments/417/papers", http.StatusOK)
	for _, c := range page.all(".card .why") {
		t.Errorf("a paper is not made: %s", c.words())
	}
	for _, f := range []string{"rate-sheet", "owner-sheet", "draft-certificate", "correction-table", "wall-form", "estimate", "service-report"} {
		v.file("/instruments/417/papers/"+f+".pdf", "application/pdf")
		if f == "owner-sheet" {
			svg := string(v.file("/instruments/417/papers/"+f+".svg", "image/svg+xml"))
			if !strings.Contains(svg, "Ægisson") || !strings.Contains(svg, "Ὡρολόγια") {
				t.Error("the maker's name does not stand on the owner's sheet as it is written")
			}
		}
	}
	if pdf := v.file("/instruments/417/papers/wall-form.pdf", "application/pdf"); !bytes.Contains(pdf, []byte("/MediaBox [0 0 612.00 792.00]")) {
		t.Error("the owner has Letter, the form is on another paper")
	}
}

// issued issues a certificate of an instrument and returns its page and entry.
func issued(v *visitor, number string) (*element, chronometer.Entry) {
	v.t.Helper()
	form := v.get("/instruments/"+number+"/papers", http.StatusOK).one(v.t, "form.issue")
	values := withBy(url.Values{"id": {form.one(v.t, "[name=id]").attrs["value"]}, "paper": {""}})
	page := v.follow(v.postForm(form.attrs["action"], values))
	again := v.follow(v.postForm(form.attrs["action"], values)) // sent twice, issued once
	if n := len(again.all(".issued tbody tr")); n != len(page.all(".issued tbody tr")) {
		v.t.Errorf("sent twice, %d certificates are issued", n)
	}
	for _, e := range v.entries(number) {
		if string(e.ID) == values.Get("id") {
			return page, e
		}
	}
	v.t.Fatal("no entry tells of the certificate")
	return nil, chronometer.Entry{}
}

func TestCertificate(t *testing.T) {
	q := lanternQuay(t)
	v := visit(t, q)
	house(v)
	papersAt := "/instruments/417/papers"
	form := v.get(papersAt, http.StatusOK).one(t, "form.issue")
	id := form.one(t, "[name=id]").attrs["value"]
	before := len(v.entries("417"))
	r := v.postForm(form.attrs["action"], url.Values{"id": {id}, "by": {" "}})
	if r.StatusCode != http.StatusUnprocessableEntity || !strings.Contains(parsed(t, text(t, r)).one(t, ".issue .wrong").words(), "Say who issues it") {
		t.Errorf("without a name: status %d", r.StatusCode)
	}
	if r := v.postForm("/instruments/731/papers/certificate", withBy(url.Values{"id": {id}})); r.StatusCode != http.StatusUnprocessableEntity {
		t.Errorf("of one comparison: status %d", r.StatusCode)
	}
	if r := v.postForm(form.attrs["action"], withBy(url.Values{"id": {"no id"}})); r.StatusCode != http.StatusUnprocessableEntity {
		t.Errorf("without an ID: status %d", r.StatusCode)
	}
	if len(v.entries("417")) != before {
		t.Fatal("something was written")
	}

	page, e := issued(v, "417")
	c := e.Fact.(chronometer.Certified)
	if !strings.Contains(page.one(t, ".notice.done").words(), c.Certificate) {
		t.Error("the page does not say what was issued")
	}
	row := page.one(t, ".issued tbody tr")
	if got := row.one(t, ".tag").words(); got != "holds" {
		t.Errorf("a new certificate %s", got)
	}
	file := row.one(t, "th a").attrs["href"]
	pdf := v.file(file, "application/pdf")
	// FIPS 180-4: what is handed out is, by its SHA-256, what was kept.
	if sum := sha256.Sum256(pdf); hex.EncodeToString(sum[:]) != c.PDF {
		t.Error("the file is not the one that was kept")
	}

	for typed, says := range map[string]string{
		c.Digest: "holds", c.Digest[:12]: "holds", strings.ToUpper(c.Digest[:4] + " " + c.Digest[4:16]): "holds",
		"No. 417; certificate " + c.Certificate + "; sha256:" + c.Digest: "holds", strings.Repeat("0", 64): "not known",
	} {
		found := parsed(t, text(t, v.postForm("/verify", url.Values{"digest": {typed}})))
		if got := found.one(t, "#finding-head .tag").words(); got != says {
			t.Errorf("%q: %s, want %s", typed, got, says)
		}
	}
	found := parsed(t, text(t, v.postFile("/verify", nil, "certificate.pdf", pdf)))
	wellMade(t, "/verify", found, map[string]bool{})
	if got := found.one(t, ".finding").words(); !strings.Contains(got, "byte for byte, the one that was issued") || found.one(t, "#finding-head .tag").words() != "holds" {
		t.Errorf("of its file it says %q", got)
	}
	for _, tr := range found.all(".stated tbody tr") {
		cells := tr.all("td")
		if cells[0].words() != cells[1].words() || cells[0].words() == "" {
			t.Errorf("it holds, and %s", tr.words())
		}
	}
	if n := len(found.all(".stated tbody tr")); n < 4 {
		t.Errorf("%d figures are stated", n)
	}
	altered := append(bytes.Clone(pdf), '\n')
	if got := parsed(t, text(t, v.postFile("/verify", nil, "certificate.pdf", altered))).one(t, ".finding").words(); !strings.Contains(got, "not, byte for byte, the one") {
		t.Errorf("of an altered file it says %q", got)
	}

	// A comparison of the last run is struck out, a while later.
	q.now = q.now.Add(time.Hour)
	var out chronometer.Entry
	for _, k := range q.instruments[0].entries {
		if k.Kind() == chronometer.KindCompared {
			out = k
		}
	}
	v.follow(v.postForm("/instruments/417/strike/"+string(out.ID), withBy(url.Values{"why": {"read by the wrong clock"}})))
	if got := v.get(papersAt, http.StatusOK).one(t, ".issued .tag").words(); got != "superseded" {
		t.Errorf("after a strike-out the certificate %s", got)
	}
	found = v.get("/verify?digest="+c.Digest, http.StatusOK)
	if got := found.one(t, ".said").words(); !strings.Contains(got, "read by the wrong clock") || !strings.Contains(got, "Mats Vinter") {
		t.Errorf("what changed is told as %q", got)
	}
	if len(found.all(".stated td b")) == 0 {
		t.Error("no figure is shown as changed")
	}
	if again := v.file(file, "application/pdf"); !bytes.Equal(again, pdf) {
		t.Error("the file as issued is not the same after a strike-out")
	}

	v.follow(v.postForm("/instruments/417/strike/"+string(e.ID), withBy(url.Values{"why": {"the wrong owner"}})))
	row = v.get(papersAt, http.StatusOK).one(t, ".issued tbody tr")
	if got := row.one(t, ".tag").words(); got != "withdrawn" || len(row.all("th a")) != 0 {
		t.Errorf("a certificate that is struck out is %s", got)
	}
	v.get(file, http.StatusNotFound)
}

// TestTwoCertificates issues two on one day; they rest on the same entries.
func TestTwoCertificates(t *testing.T) {
	v := visit(t, lanternQuay(t))
	house(v)
	_, first := issued(v, "1102")
	_, second := issued(v, "1102")
	a, b := first.Fact.(chronometer.Certified), second.Fact.(chronometer.Certified)
	if a.Certificate == b.Certificate {
		t.Errorf("both have the number %s", a.Certificate)
	}
	v.follow(v.postForm("/instruments/1102/strike/"+string(second.ID), withBy(url.Values{"why": {"issued twice"}})))
	var says []string
	for _, tag := range v.get("/instruments/1102/papers", http.StatusOK).all(".issued .tag") {
		says = append(says, tag.words())
	}
	if len(says) != 2 || says[0] != "withdrawn" {
		t.Errorf("the two are %q", says)
	}
}

func TestVerifyRefuses(t *testing.T) {
	v := visit(t, lanternQuay(t))
	page := v.get("/verify", http.StatusOK)
	wellMade(t, "/verify", page, map[string]bool{})
	if len(page.all(".finding")) != 0 {
		t.Error("something is found before it is asked")
	}
	for typed, field := range map[string]string{"": "digest", "hello": "digest", "0123456789ab xyz": "digest", "abc": "digest", strings.Repeat("a", 65): "digest", hostile: "digest"} {
		r := v.postForm("/verify", url.Values{"digest": {typed}})
		if r.StatusCode != http.StatusUnprocessableEntity {
			t.Errorf("%q: status %d", typed, r.StatusCode)
			continue
		}
		page := parsed(t, text(t, r))
		wellMade(t, "/verify", page, map[string]bool{})
		page.one(t, "#x-"+field)
	}
	v.get("/verify?digest=hello", http.StatusUnprocessableEntity)
	for name, file := range map[string][]byte{"words": []byte("a letter"), "pdf without": []byte("%PDF-1.7\nnothing in it\n%%EOF")} {
		r := v.postFile("/verify", nil, name, file)
		if r.StatusCode != http.StatusUnprocessableEntity {
			t.Errorf("%s: status %d", name, r.StatusCode)
			continue
		}
		parsed(t, text(t, r)).one(t, "#x-file")
	}
	for n, status := range map[int]int{8<<20 + 1: http.StatusUnprocessableEntity, 10 << 20: http.StatusRequestEntityTooLarge} {
		if r := v.postFile("/verify", nil, "large.pdf", make([]byte, n)); r.StatusCode != status {
			t.Errorf("%d bytes: status %d, want %d", n, r.StatusCode, status)
		}
	}
}

func TestAsk(t *testing.T) {
	ask, err := papers.Ask(url.Values{"paper": {"Letter"}, "from": {"2027-04"}, "to": {" 2027-05-06 "}, "step": {"5"}, "months": {"2"}})
	if err != nil || ask.Paper != chronometer.PaperLetter || ask.From.Format("2006-01-02") != "2027-04-01" || ask.To.Format("2006-01-02") != "2027-05-06" || ask.Step != 5 || ask.Months != 2 {
		t.Errorf("asked: %+v, %v", ask, err)
	}
}

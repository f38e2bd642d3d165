package web

import (
	"bytes"
	"errors"
	"fmt"
	"html/template"
	"io"
	"mime"
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"time"

	"timeball/internal/chronometer"
	"timeball/internal/issue"
	"timeball/internal/web/form"
	"timeball/internal/web/papers"
	"timeball/internal/web/wording"
	"timeball/internal/workshop"
)

// papersPage is the papers of an instrument, or one of them at large.
type papersPage struct {
	frame
	Number, Maker string
	Unnamed       bool // the workshop has no name, which every paper carries
	papers.Shelf
	Wrote   *papers.Issued // issued a moment ago
	Problem string         // why it was not issued
	ID      chronometer.ID // under which a certificate is issued, once
	By      string
	Shown   *shownPaper
}

// shownPaper is one paper with all its pages.
type shownPaper struct {
	Title, About string
	Leaves       []template.HTML
	Files        []papers.File
}

func (s *site) papers(w http.ResponseWriter, r *http.Request) error {
	seen, err := s.workshop.See(r.Context(), r.PathValue("number"))
	if err != nil {
		return err
	}
	if r.URL.Query().Has("show") {
		return s.showPaper(w, r, seen)
	}
	return s.shelf(w, r, http.StatusOK, seen, "")
}

// shelf answers with the papers of an instrument.
func (s *site) shelf(w http.ResponseWriter, r *http.Request, status int, seen workshop.Seen, problem string) error {
	at := pathOf(r)
	p := papersPage{frame: s.frame("Papers of No. "+seen.Instrument.Number, "room"), Number: seen.Instrument.Number, Maker: seen.Instrument.Maker, By: author(r), Problem: problem}
	house, err := s.workshop.House(r.Context())
	if err != nil {
		return err
	}
	p.Unnamed = house.House.Name == ""
	if p.Shelf, err = papers.New(r.Context(), issue.New(s.workshop), seen, at); err != nil {
		return err
	}
	p.frame.Doubt = p.Doubtful()
	if e, ok := seen.Logbook.Entry(chronometer.ID(r.URL.Query().Get("issued"))); ok {
		c, _ := e.Fact.(chronometer.Certified)
		for n := range p.Issued {
			if p.Issued[n].Number == c.Certificate {
				p.Wrote = &p.Issued[n]
			}
		}
	}
	if p.ID, err = s.workshop.NewID(r.Context(), seen.ID, chronometer.KindCertified); err != nil {
		return err
	}
	s.show(w, status, "papers", p)
	return nil
}

// showPaper answers with all pages of the paper that the query names.
func (s *site) showPaper(w http.ResponseWriter, r *http.Request, seen workshop.Seen) error {
	q := r.URL.Query()
	kind, ok := papers.KindAt(q.Get("show"))
	if !ok || kind.Ending() != ".pdf" {
		return errNowhere
	}
	made, err := s.make(r, kind)
	if err != nil {
		return err
	}
	p := papersPage{frame: s.frame(kind.Title()+" of No. "+seen.Instrument.Number, "room"), Number: seen.Instrument.Number, Maker: seen.Instrument.Maker, Shelf: papers.Shelf{At: pathOf(r)}}
	p.Shown = &shownPaper{Title: kind.Title(), About: wording.Upper(wording.Counted(len(made.Document.Leaves), "page", "pages")) + "."}
	if kind == issue.Certificate {
		p.Shown.Title, p.Shown.About = "Draft of a certificate", p.Shown.About+" It is not issued: nothing is kept of it."
	}
	for n := range made.Document.Leaves {
		p.Shown.Leaves = append(p.Shown.Leaves, template.HTML(made.Document.SVG(n))) // the leaf has escaped its words
	}
	q.Del("show")
	for _, size := range chronometer.Paper("").Choices() {
		q.Set("paper", size)
		p.Shown.Files = append(p.Shown.Files, papers.File{Words: "PDF, " + size, Paper: size, Href: p.At + "/papers/" + papers.Place(kind) + ".pdf?" + q.Encode()})
	}
	s.show(w, http.StatusOK, "papers", p)
	return nil
}

// make makes a paper of the instrument in the address as the query asks.
func (s *site) make(r *http.Request, kind issue.Kind) (issue.Made, error) {
	ask, err := papers.Ask(r.URL.Query())
	if err != nil {
		return issue.Made{}, err
	}
	return issue.New(s.workshop).Make(r.Context(), kind, r.PathValue("number"), ask)
}

// paperFile answers with a paper as a file: made now, or a certificate as it
// was issued.
func (s *site) paperFile(w http.ResponseWriter, r *http.Request) error {
	file := r.PathValue("file")
	if file == "certificate" { // where the form that issues one was sent
		return s.papers(w, r)
	}
	dot := max(strings.LastIndexByte(file, '.'), 0)
	place, ending := file[:dot], file[dot:]
	if number, ok := strings.CutPrefix(place, "certificate-"); ok && ending == ".pdf" && number != "" {
		pdf, c, err := issue.New(s.workshop).Again(r.Context(), r.PathValue("number"), number)
		if err != nil {
			return err
		}
		return deliver(w, r, issue.FileName("certificate", c.Certificate)+".pdf", "application/pdf", pdf)
	}
	kind, ok := papers.KindAt(place)
	if !ok || ending != kind.Ending() && (ending != ".svg" || kind.Ending() != ".pdf") {
		return errNowhere
	}
	made, err := s.make(r, kind)
	if err != nil {
		return err
	}
	if ending == ".svg" {
		leaf, err := strconv.Atoi(r.URL.Query().Get("page"))
		if err != nil {
			leaf = 1
		}
		drawn := made.Document.SVG(leaf - 1)
		if drawn == "" {
			return errNowhere
		}
		return deliver(w, r, strings.TrimSuffix(made.Name, ".pdf")+".svg", "image/svg+xml", []byte(drawn))
	}
	return deliver(w, r, made.Name, made.Type, made.Content)
}

// deliver answers with a file of which nothing can act on the pages.
func deliver(w http.ResponseWriter, r *http.Request, name, mediaType string, content []byte) error {
	h := w.Header()
	h.Set("Content-Type", mediaType)
	h.Set("Content-Disposition", mime.FormatMediaType("inline", map[string]string{"filename": name}))
	policy := "default-src 'none'; sandbox; frame-ancestors 'none'"
	if mediaType == "application/pdf" {
		policy = "frame-ancestors 'none'" // the viewers of browsers are shut out by more
	}
	h.Set("Content-Security-Policy", policy)
	http.ServeContent(w, r, "", time.Time{}, bytes.NewReader(content))
	return nil
}

// certify issues a certificate and goes back to the papers.
func (s *site) certify(w http.ResponseWriter, r *http.Request) error {
	if err := parse(w, r); err != nil {
		return err
	}
	seen, err := s.workshop.See(r.Context(), r.PathValue("number"))
	if err != nil {
		return err
	}
	id, err := chronometer.ParseID(r.PostForm.Get(form.IDName))
	if err != nil {
		return err
	}
	ask, err := papers.Ask(url.Values{"paper": r.PostForm["paper"]})
	if err != nil {
		return err
	}
	by := strings.TrimSpace(r.PostForm.Get("by"))
	if by == "" || len(by) > mostName {
		return s.shelf(w, r, http.StatusUnprocessableEntity, seen, "Say who issues it, in at most 100 letters: every certificate carries a name.")
	}
	e, err := issue.New(s.workshop).Issue(r.Context(), id, by, string(seen.ID), ask.Paper)
	if words, wants := papers.Missing(err); wants {
		return s.shelf(w, r, http.StatusUnprocessableEntity, seen, words)
	}
	if err != nil {
		return err
	}
	remember(w, r, by)
	return wrote(w, r, pathOf(r)+"/papers?issued="+url.QueryEscape(string(e.ID)), "Issued: "+e.Fact.Words())
}

// mostName is the most letters of a name.
const mostName = 100

// housePage is the workshop: its particulars and what else it keeps.
type housePage struct {
	frame
	Name  string
	Form  form.Form
	Saved bool
	Known bool // particulars were written before
	Links []placed
}

// placed is a page that is led to, with what it is for.
type placed struct{ Title, About, Href string }

// places are the pages of the workshop that are no instrument's.
var places = []placed{
	{"Programmes", "What trials ask for: days, temperatures, positions, limits", "/programmes"},
	{"Verify a certificate", "Whether the logbook still gives what a certificate states", "/verify"},
	{"Several together", "Chronometers read against each other: which one moved, and what time they make it", "/together"},
	{"Owners", "Who owns the instruments", "/owners"},
	{"Observers", "How early or late each one taps", "/observers"},
}

// housing returns the page of the workshop and the ID of the logbook of its
// particulars, empty if there is none yet.
func (s *site) housing(r *http.Request) (housePage, chronometer.ID, error) {
	house, err := s.workshop.House(r.Context())
	if err != nil {
		return housePage{}, "", err
	}
	p := housePage{frame: s.frame("The workshop", "workshop"), Name: house.House.Name, Form: form.New(chronometer.KindHouse), Saved: r.URL.Query().Has("wrote"), Known: house.ID != "", Links: places}
	p.Form.Action, p.Form.When, p.Form.By.Value, p.Form.Button = "/workshop", nil, author(r), "Write the particulars"
	if p.Form.ID, err = s.workshop.NewID(r.Context(), house.ID, chronometer.KindHouse); err != nil {
		return p, "", err
	}
	if err := p.Form.Prefill(house.House); err != nil {
		return p, "", err
	}
	if x := p.Form.Field("contact"); x != nil { // a line each is how it is printed
		x.Hint, x.Value = "address, telephone, e-mail; one to a line, as they are printed", strings.Join(house.House.Lines(), "\n")
	}
	if x := p.Form.Field("service_years"); x != nil && x.Value == "0" {
		x.Value = ""
	}
	return p, house.ID, nil
}

func (s *site) house(w http.ResponseWriter, r *http.Request) error {
	p, _, err := s.housing(r)
	if err != nil {
		return err
	}
	s.show(w, http.StatusOK, "workshop", p)
	return nil
}

func (s *site) writeHouse(w http.ResponseWriter, r *http.Request) error {
	if err := parse(w, r); err != nil {
		return err
	}
	p, id, err := s.housing(r)
	if err != nil {
		return err
	}
	p.Form.Sent(r.PostForm)
	by := p.Form.Sign()
	fact := p.Form.Fact(chronometer.KindHouse)
	if house, ok := fact.(chronometer.House); ok && p.Form.OK() {
		house.Name, house.Contact = strings.TrimSpace(house.Name), semicolons(house.Contact)
		if id == "" {
			id = p.Form.ID
		}
		_, err := s.workshop.WriteOnce(r.Context(), p.Form.ID, by, id, time.Time{}, house)
		if err == nil {
			remember(w, r, by)
			return wrote(w, r, "/workshop?wrote=yes", "Written: "+house.Words())
		}
		if err := s.blame(r, &p.Form, chronometer.KindHouse, id, err); err != nil {
			return err
		}
	}
	s.show(w, http.StatusUnprocessableEntity, "workshop", p)
	return nil
}

// semicolons returns lines as they are kept, parted by semicolons.
func semicolons(text string) string {
	var lines []string
	for line := range strings.FieldsFuncSeq(text, func(c rune) bool { return c == '\n' || c == '\r' || c == ';' }) {
		if line = strings.TrimSpace(line); line != "" {
			lines = append(lines, line)
		}
	}
	return strings.Join(lines, "; ")
}

// verifyPage asks for a certificate and says whether it holds.
type verifyPage struct {
	frame
	Digest  form.Field
	File    form.Field
	Finding *papers.Finding
	Href    string // of the papers of its instrument
}

func (s *site) verifyPage() verifyPage {
	return verifyPage{frame: s.frame("Verify a certificate", "workshop"),
		Digest: form.Field{Name: "digest", Label: "Digest", Hint: "the digits 0-9 and a-f printed on it, the first twelve at least, or what its square code says", Shape: form.Line},
		File:   form.Field{Name: "file", Label: "or its file", Hint: "the PDF as it was issued; at most 8 MB", Shape: form.File}}
}

func (s *site) askVerify(w http.ResponseWriter, r *http.Request) error {
	p := s.verifyPage()
	if p.Digest.Value = strings.TrimSpace(r.URL.Query().Get("digest")); p.Digest.Value == "" {
		s.show(w, http.StatusOK, "verify", p)
		return nil
	}
	return s.found(w, r, p, nil)
}

// mostCertificate bounds the file of a certificate.
const mostCertificate = 8 << 20

func (s *site) verify(w http.ResponseWriter, r *http.Request) error {
	r.Body = http.MaxBytesReader(w, r.Body, mostCertificate+mostForm)
	const inMemory = mostCertificate + mostForm
	if err := r.ParseMultipartForm(inMemory); err != nil && !errors.Is(err, http.ErrNotMultipart) {
		return bad(err)
	}
	if r.MultipartForm != nil {
		defer func() { _ = r.MultipartForm.RemoveAll() }()
	}
	p := s.verifyPage()
	p.Digest.Value = strings.TrimSpace(r.PostForm.Get("digest"))
	var file []byte
	if f, _, err := r.FormFile("file"); err == nil {
		defer func() { _ = f.Close() }()
		if file, err = io.ReadAll(io.LimitReader(f, mostCertificate+1)); err != nil {
			return bad(err)
		}
	}
	switch {
	case len(file) > mostCertificate:
		p.File.Error = "The file is larger than 8 MB, which no certificate is; choose the PDF as it was issued."
	case len(file) == 0 && p.Digest.Value == "":
		p.Digest.Error = "Type the digest printed on the certificate, or choose its file."
	default:
		return s.found(w, r, p, file)
	}
	s.show(w, http.StatusUnprocessableEntity, "verify", p)
	return nil
}

// found answers with what the logbook says of a file or, without one, of the
// digest typed.
func (s *site) found(w http.ResponseWriter, r *http.Request, p verifyPage, file []byte) error {
	desk := issue.New(s.workshop)
	at := &p.Digest
	var v issue.Verified
	var err error
	if len(file) > 0 {
		at = &p.File
		v, err = desk.VerifyFile(r.Context(), file)
	} else {
		v, err = desk.Verify(r.Context(), papers.Digest(p.Digest.Value))
	}
	if errors.Is(err, issue.ErrNoDigest) {
		at.Error = wording.Sentence(without(err, issue.ErrNoDigest))
		s.show(w, http.StatusUnprocessableEntity, "verify", p)
		return nil
	}
	if err != nil {
		return fmt.Errorf("verify: %w", err)
	}
	f := papers.NewFinding(v, p.Now)
	p.Finding, p.Doubt = &f, len(f.Rows) > 0
	if f.Number != "" {
		p.Href = address(v.Instrument.Number, v.Entry.Subject) + "/papers"
	}
	s.show(w, http.StatusOK, "verify", p)
	return nil
}

// without returns the words of err behind those of an error that it wraps.
func without(err, known error) string {
	text := err.Error()
	if i := strings.LastIndex(text, known.Error()+": "); i >= 0 {
		text = text[i+len(known.Error())+2:]
	}
	return text
}

package web

import (
	"bytes"
	"encoding/base64"
	"fmt"
	"io"
	"net/http"
	"strings"

	"timeball/internal/clock"
	"timeball/internal/workshop"
)

// importPage brings in a rate book: a file is chosen, what would be read is
// shown, and only then is anything written.
type importPage struct {
	frame
	Number, At string
	Form       form
	Preview    *preview
}

// preview is what bringing in the file would do.
type preview struct {
	Name     string
	Rows     string
	New      string
	Held     string
	None     bool // nothing is new
	Remarks  []string
	Figures  []labelled
	Why      string
	SetAside []bookAside
	Lines    []bookLine
	Left     int // lines that are not shown
	Carried  string
	By       string
}

// bookAside is a comparison of the file that would not be used.
type bookAside struct {
	Line, When string
	Read       *figure
	Reason     string
}

// bookLine is one entry that would be written.
type bookLine struct {
	Line              int
	When, Kind, Words string
}

// mostBook and mostCarried bound a rate book, and one that is carried through
// the page of the preview so that it need not be chosen twice.
const (
	mostBook    = 4 << 20
	mostCarried = 1 << 20
	mostLines   = 40
)

func (s *site) importPage(r *http.Request) (importPage, workshop.Seen, error) {
	seen, err := s.workshop.See(r.Context(), r.PathValue("number"))
	if err != nil {
		return importPage{}, seen, err
	}
	p := importPage{frame: s.frame("Bring in a rate book for No. "+seen.Instrument.Number, "room"), Number: seen.Instrument.Number, At: pathOf(r)}
	p.Form = form{
		Action: p.At + "/import", Button: "Read it", File: true, Accept: ".csv,.txt,text/csv,text/plain",
		Fields: []field{{Name: "file", Label: "Rate book", Hint: "CSV with a header: utc and dial or error_s; at most 4 MB", Shape: fileShape, Needed: true}},
		By:     field{Name: "by", Label: "Who writes this", Shape: lineShape, Needed: true, Value: author(r)},
	}
	return p, seen, nil
}

func (s *site) chooseBook(w http.ResponseWriter, r *http.Request) error {
	p, _, err := s.importPage(r)
	if err != nil {
		return err
	}
	s.show(w, http.StatusOK, "import", p)
	return nil
}

// importBook shows what a file holds and, once that was seen, brings it in.
func (s *site) importBook(w http.ResponseWriter, r *http.Request) error {
	r.Body = http.MaxBytesReader(w, r.Body, 2*mostBook)
	const inMemory = 8 << 20
	if err := r.ParseMultipartForm(inMemory); err != nil {
		return bad(err)
	}
	defer func() { _ = r.MultipartForm.RemoveAll() }()
	p, seen, err := s.importPage(r)
	if err != nil {
		return err
	}
	p.Form.sent(r.PostForm)
	by := p.Form.sign()
	text, name, wrong := book(r)
	file := p.Form.field("file")
	file.Error = wrong
	if p.Form.OK() {
		if r.PostForm.Get("do") == "bring in" {
			n, err := s.workshop.Import(r.Context(), seen.ID, by, bytes.NewReader(text))
			if err == nil {
				remember(w, r, by)
				return see(w, r, fmt.Sprintf("%s?brought=%d", p.At, n))
			}
			if err := fault(file, err); err != nil {
				return err
			}
		} else {
			read, err := s.workshop.Preview(r.Context(), seen.ID, by, bytes.NewReader(text))
			if err == nil {
				p.Preview = newPreview(read, seen, text, name, by)
				p.Doubt = read.Rating != nil
				s.show(w, http.StatusOK, "import", p)
				return nil
			}
			if err := fault(file, err); err != nil {
				return err
			}
		}
	}
	s.show(w, http.StatusUnprocessableEntity, "import", p)
	return nil
}

// fault puts what is wrong with the file at its field, or returns what is not
// the sender's to mend.
func fault(file *field, err error) error {
	if !theirs(err) {
		return err
	}
	file.Error = sentence(plain(err, "")) + " Nothing was brought in."
	return nil
}

// book returns the text of the file sent or carried along, and its name.
func book(r *http.Request) (text []byte, name, wrong string) {
	if carried := r.PostForm.Get("carried"); carried != "" {
		text, err := base64.StdEncoding.DecodeString(carried)
		if err != nil {
			return nil, "", "The file did not come through whole; choose it again."
		}
		return text, r.PostForm.Get("name"), ""
	}
	f, head, err := r.FormFile("file")
	if err != nil {
		return nil, "", "Choose the file of the rate book."
	}
	defer func() { _ = f.Close() }()
	text, err = io.ReadAll(io.LimitReader(f, mostBook+1))
	switch {
	case err != nil:
		return nil, "", "The file cannot be read; choose it again."
	case len(text) > mostBook:
		return nil, "", "The file is larger than 4 MB; part it by years."
	case len(bytes.TrimSpace(text)) == 0:
		return nil, "", "The file is empty; choose another."
	}
	return text, head.Filename, ""
}

func newPreview(read workshop.Preview, seen workshop.Seen, text []byte, name, by string) *preview {
	p := &preview{
		Name: name, By: by, Rows: counted(read.Rows, "row", "rows"), New: counted(read.New, "new entry", "new entries"), Held: counted(read.Held, "entry", "entries"),
		None: read.New == 0, Why: upper(read.Why),
	}
	if read.Held == 0 {
		p.Held = ""
	}
	for _, remark := range read.Remarks {
		p.Remarks = append(p.Remarks, sentence(upper(remark)))
	}
	if len(text) <= mostCarried {
		p.Carried = base64.StdEncoding.EncodeToString(text)
	}
	if r := read.Rating; r != nil {
		e, rate := errorFigure(r.Error), rateFigure(r.RateNow)
		p.Figures = []labelled{
			{Label: "Error on " + instant(r.Epoch, seen.Now), Words: e.Words, After: e.PlusMinus},
			{Label: "Daily rate, of late", Words: rate.Words, After: rate.PlusMinus},
			{Label: "Comparisons used", Words: fmt.Sprintf("%d of %d", r.Used, r.Comparisons)},
			{Label: "Steadiness, week to week", Words: steady(r.Steadiness), After: "per day"},
		}
	}
	for _, a := range read.SetAside {
		p.SetAside = append(p.SetAside, bookAside{Line: a.Ref, When: instant(a.At, seen.Now), Read: &figure{clock.DialError(a.ErrorS).Words(1.96 * a.SDS), clock.DialError(0).HalfWidth(1.96 * a.SDS)}, Reason: a.Reason})
	}
	for _, e := range read.Entries {
		if len(p.Lines) == mostLines {
			p.Left = len(read.Entries) - mostLines
			break
		}
		p.Lines = append(p.Lines, bookLine{read.Lines[e.ID], instant(e.At, seen.Now), e.Kind().Title(), strings.TrimSpace(e.Fact.Words())})
	}
	return p
}

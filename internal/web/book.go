package web

import (
	"bytes"
	"encoding/base64"
	"fmt"
	"io"
	"net/http"

	"timeball/internal/web/form"
	"timeball/internal/web/ratesheet"
	"timeball/internal/web/wording"
	"timeball/internal/workshop"
)

// importPage brings in a rate book: a file is chosen, what would be read is
// shown, and only then is anything written.
type importPage struct {
	frame
	Number, At string
	Form       form.Form
	Preview    *preview
}

// preview is what bringing in the file would do.
type preview struct {
	ratesheet.Preview
	Name, By string
	Carried  string // the file itself, if it is small enough
}

// mostBook and mostCarried bound a rate book, and one that is carried through
// the page of the preview so that it need not be chosen twice.
const (
	mostBook    = 4 << 20
	mostCarried = 1 << 20
)

func (s *site) importPage(r *http.Request) (importPage, workshop.Seen, error) {
	seen, err := s.workshop.See(r.Context(), r.PathValue("number"))
	if err != nil {
		return importPage{}, seen, err
	}
	p := importPage{frame: s.frame("Bring in a rate book for No. "+seen.Instrument.Number, "room"), Number: seen.Instrument.Number, At: pathOf(r)}
	p.Form = form.Form{
		Action: p.At + "/import", Button: "Read it", File: true, Accept: ".csv,.txt,text/csv,text/plain",
		Fields: []form.Field{{Name: "file", Label: "Rate book", Hint: "CSV with a header: utc and dial or error_s; at most 4 MB", Shape: form.File, Needed: true}},
		By:     form.Field{Name: "by", Label: "Who writes this", Shape: form.Line, Needed: true, Value: author(r)},
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
	p.Form.Sent(r.PostForm)
	by := p.Form.Sign()
	text, name, wrong := book(r)
	file := p.Form.Field("file")
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
				p.Preview = &preview{Preview: ratesheet.NewPreview(read, seen.Now), Name: name, By: by}
				if len(text) <= mostCarried {
					p.Preview.Carried = base64.StdEncoding.EncodeToString(text)
				}
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
func fault(file *form.Field, err error) error {
	if !theirs(err) {
		return err
	}
	file.Error = wording.Sentence(wording.Plain(err, "")) + " Nothing was brought in."
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

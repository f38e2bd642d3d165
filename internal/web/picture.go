package web

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"net/http"
	"net/url"
	"strings"
	"time"

	"timeball/internal/chronometer"
	"timeball/internal/picture"
	"timeball/internal/web/logbook"
	"timeball/internal/web/wording"
	"timeball/internal/workshop"
)

// attach takes a picture into the logbook.
func (s *site) attach(w http.ResponseWriter, r *http.Request) error {
	const inMemory = 4 << 20
	if err := r.ParseMultipartForm(inMemory); err != nil {
		return bad(err)
	}
	defer func() { _ = r.MultipartForm.RemoveAll() }()
	p, seen, err := s.paper(r, chronometer.KindPhotograph)
	if err != nil {
		return err
	}
	p.Form.Sent(r.PostForm)
	by, at := p.Form.Sign(), p.Form.At(s.now())
	file, name, wrong := sentPicture(r)
	if wrong != "" {
		p.Form.Field("file").Error = wrong
	}
	if p.Form.OK() {
		defer func() { _ = file.Close() }()
		e, err := s.workshop.Attach(r.Context(), p.Form.ID, by, seen.ID, at, name, strings.TrimSpace(p.Form.Field("caption").Value), file)
		if err == nil {
			remember(w, r, by)
			return see(w, r, pathOf(r)+"?wrote="+url.QueryEscape(string(e.ID)))
		}
		if errors.Is(err, picture.ErrPicture) { // nothing was written under the ID of the form
			_, words, _ := strings.Cut(err.Error(), picture.ErrPicture.Error()+": ")
			p.Form.Field("file").Error = wording.Sentence(words)
			s.show(w, http.StatusUnprocessableEntity, "write", p)
			return nil
		}
		if err := s.blame(r, &p.Form, chronometer.KindPhotograph, seen.ID, err); err != nil {
			return err
		}
	}
	s.show(w, http.StatusUnprocessableEntity, "write", p)
	return nil
}

// sentPicture returns the file sent and its name, or what is wrong with it.
func sentPicture(r *http.Request) (file io.ReadCloser, name, wrong string) {
	f, head, err := r.FormFile("file")
	if err != nil {
		return nil, "", "Choose a picture; if one was chosen before, choose it again."
	}
	return f, head.Filename[strings.LastIndexAny(head.Filename, `/\\`)+1:], ""
}

// attachment hands out a stored file, whole or in parts, so that nothing in it
// can act on the pages: known pictures are shown and recordings played,
// everything else is only to be kept.
func (s *site) attachment(w http.ResponseWriter, r *http.Request) error {
	sum := r.PathValue("sum")
	if len(sum) != 64 || strings.Trim(sum, "0123456789abcdef") != "" {
		return errPicture
	}
	mediaType, file, err := s.workshop.Attachment(r.Context(), sum)
	if errors.Is(err, workshop.ErrUnknown) || errors.Is(err, fs.ErrNotExist) {
		return errPicture
	}
	if err != nil {
		return err
	}
	defer func() { _ = file.Close() }()
	h := w.Header()
	h.Set("Content-Security-Policy", "default-src 'none'; sandbox")
	h.Set("Cache-Control", "private, max-age=31536000, immutable")
	h.Set("ETag", `"`+sum+`"`)
	if logbook.Shown(mediaType) {
		h.Set("Content-Type", mediaType)
	} else {
		h.Set("Content-Type", "application/octet-stream")
		h.Set("Content-Disposition", fmt.Sprintf("attachment; filename=%q", sum[:12]))
	}
	http.ServeContent(w, r, "", time.Time{}, file)
	return nil
}

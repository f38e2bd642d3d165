package web

import (
	"errors"
	"fmt"
	"io"
	"mime/multipart"
	"net/http"
	"net/url"
	"strings"
	"time"

	"timeball/internal/chronometer"
	"timeball/internal/web/form"
	"timeball/internal/web/wording"
	"timeball/internal/workshop"
)

// writeHeard takes down a rate that was heard, with its recording if one is sent
// along. A recording is kept as it comes in, so that a mistake in the form
// does not ask for it again.
func (s *site) writeHeard(w http.ResponseWriter, r *http.Request) error {
	sent, err := s.readHeard(w, r)
	if err != nil {
		return err
	}
	p, seen, err := s.paper(r, chronometer.KindListened)
	if err != nil {
		return err
	}
	p.Form.Sent(sent.values)
	if sent.recording != nil {
		p.Form.Carry(*sent.recording)
	}
	p.Form.Field("file").Error = sent.wrong
	return s.writeDown(w, r, p, seen, chronometer.KindListened)
}

// sentSound is a form as it was sent, with a recording.
type sentSound struct {
	values    url.Values
	recording *chronometer.Recording
	wrong     string // with the file
}

// readHeard reads a form with or without a recording.
func (s *site) readHeard(w http.ResponseWriter, r *http.Request) (sentSound, error) {
	parts, err := r.MultipartReader()
	if errors.Is(err, http.ErrNotMultipart) {
		err = parse(w, r)
		return s.carriedOver(r, sentSound{values: r.PostForm}, err)
	}
	if err != nil {
		return sentSound{}, bad(err)
	}
	// A long recording takes its time; a connection that was cut ends it.
	patient := http.NewResponseController(w)
	_, _ = patient.SetReadDeadline(time.Time{}), patient.SetWriteDeadline(time.Time{})
	sent := sentSound{values: url.Values{}}
	left := int64(mostForm)
	for {
		part, err := parts.NextPart()
		if errors.Is(err, io.EOF) {
			return s.carriedOver(r, sent, nil)
		}
		if err != nil {
			return sentSound{}, bad(err)
		}
		switch {
		case part.FileName() != "":
			err = s.keepPart(r, part, &sent)
		case part.FormName() != "file": // a file field left empty says nothing
			var text []byte
			text, err = io.ReadAll(io.LimitReader(part, left+1))
			if left -= int64(len(text)); left < 0 {
				return sentSound{}, errTooBig
			}
			sent.values.Add(part.FormName(), string(text))
			err = bad(err)
		}
		if err != nil {
			return sentSound{}, err
		}
	}
}

// keepPart keeps the recording of a part, or says what is wrong with it.
func (s *site) keepPart(r *http.Request, part *multipart.Part, sent *sentSound) error {
	kept, err := s.workshop.KeepRecording(r.Context(), part, part.FileName())
	switch {
	case errors.Is(err, chronometer.ErrEntry):
		sent.wrong = wording.Sentence(wording.Upper(wording.Plain(err, "")))
	case errors.Is(err, io.ErrUnexpectedEOF):
		return bad(err)
	case err != nil:
		return err
	default:
		sent.recording = &kept
	}
	return nil
}

// carriedOver adds the recording that the form names as kept before, unless
// another came with it.
func (s *site) carriedOver(r *http.Request, sent sentSound, err error) (sentSound, error) {
	sum := sent.values.Get(form.RecordingName)
	if err != nil || sent.recording != nil || sent.wrong != "" || strings.TrimSpace(sum) == "" {
		return sent, err
	}
	kept, err := s.workshop.Recording(r.Context(), sum, sent.values.Get(form.RecordingFile))
	if errors.Is(err, workshop.ErrUnknown) {
		sent.wrong = "The recording is not kept any more; choose it again."
		return sent, nil
	}
	if err != nil {
		return sentSound{}, fmt.Errorf("recording: %w", err)
	}
	sent.recording = &kept
	return sent, nil
}

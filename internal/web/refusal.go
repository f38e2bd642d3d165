package web

import (
	"context"
	"errors"
	"log/slog"
	"net/http"

	"timeball/internal/chronometer"
	"timeball/internal/issue"
	"timeball/internal/paper"
	"timeball/internal/web/papers"
	"timeball/internal/web/wording"
	"timeball/internal/workshop"
)

// The refusals that are the pages' own.
var (
	errNowhere = errors.New("there is no page at this address")
	errMethod  = errors.New("this page cannot be used that way")
	errForeign = errors.New("this came from another site and was refused; nothing was written")
	errOurs    = errors.New("something went wrong in the program")
	errTooBig  = errors.New("this is more than can be taken at once")
	errEntry   = errors.New("there is no such entry in the logbook")
	errPicture = errors.New("there is no such picture or recording")
	errNoTrial = errors.New("no trial goes on")
	errJourney = errors.New("no such journey goes on")
	errStep    = errors.New("there is no such step")

	errProgramme = errors.New("there is no such programme")
	errShipped   = errors.New("this programme comes with the program")
)

// refusalPage says what is wrong and what to do, in one sentence each.
type refusalPage struct {
	frame
	What, Do string
}

// refusals is the one table from errors to status and sentence.
var refusals = []struct {
	err      error
	status   int
	title    string
	what, do string
}{
	{errNowhere, http.StatusNotFound, "Not found", "There is no page at this address.", "Go back to the room and choose the instrument there."},
	{errEntry, http.StatusNotFound, "Not found", "There is no such entry in this logbook.", "Go back to the room, open the instrument and find the entry in its logbook."},
	{errPicture, http.StatusNotFound, "Not found", "There is no such picture or recording.", "Go back to the room and open it from the logbook of its instrument."},
	{errNoTrial, http.StatusUnprocessableEntity, "Not written", "No trial of it goes on, so there is nothing to end.", "Go back to its page and look at its trials."},
	{errJourney, http.StatusUnprocessableEntity, "Not written", "That journey does not go on any more, so nothing was written.", "Open the journey of the instrument again and see which one goes on."},
	{errStep, http.StatusNotFound, "Not found", "There is no such step on the journey of this instrument.", "Open the journey of the instrument again and choose the step there."},
	{errProgramme, http.StatusNotFound, "Not found", "There is no such programme.", "Go to the programmes and choose it there, or write it first."},
	{errShipped, http.StatusUnprocessableEntity, "Not written", "This programme comes with the program and stays as it is.", "Copy it, and write the copy as your own."},
	{workshop.ErrUnknown, http.StatusNotFound, "Not found", "", "Go back to the room and choose it there, or enter it first."},
	{errMethod, http.StatusMethodNotAllowed, "Not this way", "This page cannot be used that way.", "Go back to the room and use the forms of the pages."},
	{errForeign, http.StatusForbidden, "Refused", "This was sent from another site, so nothing was written.", "Open the page here and send the form again."},
	{errTooBig, http.StatusRequestEntityTooLarge, "Too large", "This is more than can be taken at once; nothing was written.", "Send a picture of at most 20 MB, a recording of at most 512 MB, a certificate of at most 8 MB, a rate book of at most 4 MB, or a shorter text."},
	{papers.ErrAsked, http.StatusUnprocessableEntity, "Not understood", "", "Go back, correct it and ask again."},
	{issue.ErrNoDigest, http.StatusUnprocessableEntity, "Not recognised", "", "Type the digest printed on the certificate, or send its file as it was issued."},
	{chronometer.ErrEntry, http.StatusUnprocessableEntity, "Not written", "", "Go back, correct it and send it again."},
	{chronometer.ErrRefused, http.StatusUnprocessableEntity, "Not written", "", "Go back, correct it and send it again."},
	{issue.ErrWanting, http.StatusConflict, "Not yet", "", "Go back to the papers of the instrument: what each one needs stands there."},
	{paper.ErrWanting, http.StatusConflict, "Not yet", "", "Go back to the papers of the instrument: what each one needs stands there."},
}

// refuse answers with the page for err; only what is not in the table is the
// program's own fault, and logged.
func (s *site) refuse(w http.ResponseWriter, r *http.Request, err error) {
	if errors.Is(err, context.Canceled) && r.Context().Err() != nil {
		return // nobody is there to read the answer
	}
	p := refusalPage{frame: s.frame("Something went wrong", ""), What: "Something went wrong in the program; what was written before is safe.",
		Do: "Go back and try again; if it happens again, look in the log of the program."}
	status := http.StatusInternalServerError
	if tooBig := new(http.MaxBytesError); errors.As(err, &tooBig) {
		err = errTooBig
	}
	for _, known := range refusals {
		if errors.Is(err, known.err) {
			status, p.Title, p.What, p.Do = known.status, known.title, known.what, known.do
			if p.What == "" {
				p.What = wording.Sentence(wording.Plain(err, ""))
			}
			break
		}
	}
	if status == http.StatusInternalServerError {
		s.log.Error("page failed", slog.String("method", r.Method), slog.String("path", r.URL.Path), slog.Any("err", err))
	}
	if byScript(r) {
		if err := tell(w, status, told{Problems: []string{p.What}}); err == nil {
			return
		}
	}
	s.show(w, status, "refusal", p)
}

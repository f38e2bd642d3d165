package api

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"strconv"
	"strings"

	"timeball/internal/adjust"
	"timeball/internal/chronometer"
	"timeball/internal/issue"
	"timeball/internal/ratebook"
	"timeball/internal/rating"
	"timeball/internal/store"
	"timeball/internal/timescale"
	"timeball/internal/trial/programme"
	"timeball/internal/workshop"
)

// The refusals that are the routes' own.
var (
	errNowhere  = errors.New("there is nothing at this address; " + Root + "/openapi.json lists what there is")
	errMethod   = errors.New("this address cannot be used that way; the header Allow says how it can")
	errOurs     = errors.New("something went wrong in the program; what was written before is safe")
	errNotJSON  = errors.New("the body cannot be read")
	errQuestion = errors.New("the question cannot be read")
	errType     = errors.New("the body is of another type")
	errNoEntry  = errors.New("there is no such entry in this logbook")
	errHeld     = errors.New("it is entered already")
)

// Refusal is the answer to what cannot be done.
type Refusal struct {
	Error string `json:"error"` // one sentence: what, where, and what to do
}

// refusals is the one table from errors to status; the first that matches
// counts, and what is not in it is the program's own fault.
var refusals = []struct {
	err    error
	status int
}{
	{errOurs, http.StatusInternalServerError},
	{errNowhere, http.StatusNotFound},
	{errNoEntry, http.StatusNotFound},
	{workshop.ErrUnknown, http.StatusNotFound},
	{store.ErrUnknown, http.StatusNotFound},
	{adjust.ErrNoTrial, http.StatusNotFound},
	{issue.ErrNoDigest, http.StatusUnprocessableEntity},
	{programme.ErrProgramme, http.StatusConflict},
	{errMethod, http.StatusMethodNotAllowed},
	{errType, http.StatusUnsupportedMediaType},
	{errNotJSON, http.StatusBadRequest},
	{errQuestion, http.StatusBadRequest},
	{timescale.ErrInstant, http.StatusUnprocessableEntity},
	{chronometer.ErrRefused, http.StatusConflict},
	{store.ErrConflict, http.StatusConflict},
	{errHeld, http.StatusConflict},
	{rating.ErrThin, http.StatusConflict},
	{rating.ErrNotDetermined, http.StatusConflict},
	{chronometer.ErrEntry, http.StatusUnprocessableEntity},
}

// statusOf returns the status of an error.
func statusOf(err error) int {
	if tooBig := new(http.MaxBytesError); errors.As(err, &tooBig) {
		return http.StatusRequestEntityTooLarge
	}
	for _, known := range refusals {
		if errors.Is(err, known.err) {
			return known.status
		}
	}
	if bad := new(ratebook.Error); errors.As(err, &bad) {
		return http.StatusUnprocessableEntity
	}
	return http.StatusInternalServerError
}

// refuse answers with the status of err and its sentence.
func refuse(w http.ResponseWriter, r *http.Request, err error) {
	if errors.Is(err, context.Canceled) && r.Context().Err() != nil {
		return // nobody is there to read the answer
	}
	status := statusOf(err)
	say := err.Error()
	if tooBig := new(http.MaxBytesError); errors.As(err, &tooBig) {
		say = fmt.Sprintf("the body is larger than %d kB, and nothing was written; send less at once", tooBig.Limit>>10)
	}
	text, _ := json.Marshal(Refusal{Error: sentence(say)}) // a text can always be written
	w.Header().Del("Content-Disposition")
	text = append(text, '\n')
	w.Header().Set("Content-Type", jsonType)
	w.Header().Set("Content-Length", strconv.Itoa(len(text))) // whole even if the connection ends with it
	w.WriteHeader(status)
	_, _ = w.Write(text) // whoever asked has gone
}

// sentence returns text on one line.
func sentence(text string) string { return strings.Join(strings.Fields(text), " ") }

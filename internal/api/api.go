// Package api is the workshop for programs: HTTP and JSON under /api/v1, and
// the JSON shapes that the command line prints as well.
//
// Errors (dial minus UTC, + fast) are in seconds and rates (+ gaining) in
// seconds a day, each beside its standard deviation and its central 95%
// interval; instants are UTC in RFC 3339. openapi.json describes every route.
package api

import (
	_ "embed"
	"encoding/json"
	"errors"
	"net/http"
	"time"

	"timeball/internal/workshop"
)

// Root is the path under which every route lies.
const Root = "/api/v1"

// document describes the routes in OpenAPI 3.1; it is written by hand.
//
//go:embed openapi.json
var document []byte

// surface is the routes of one workshop.
type surface struct {
	workshop *workshop.Workshop
	now      func() time.Time
}

// New returns the routes of the workshop w, whose clock is now. The caller
// guards them against foreign sites and asks who is there.
func New(w *workshop.Workshop, now func() time.Time) http.Handler {
	s := &surface{workshop: w, now: now}
	mux := http.NewServeMux()
	for pattern, route := range s.routes() {
		mux.Handle(pattern, route)
	}
	return guarded(mux)
}

// route answers a request, or returns why it could not; nothing is written
// then.
type route func(http.ResponseWriter, *http.Request) error

// ServeHTTP answers, or refuses in one sentence.
func (answer route) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	if err := answer(w, r); err != nil {
		refuse(w, r, err)
	}
}

func (s *surface) routes() map[string]route {
	return map[string]route{
		"GET " + Root + "/instruments":                                   s.instruments,
		"POST " + Root + "/instruments":                                  s.enterInstrument,
		"GET " + Root + "/instruments/{number}":                          s.instrument,
		"GET " + Root + "/instruments/{number}/rating":                   s.rating,
		"GET " + Root + "/instruments/{number}/entries":                  s.entries,
		"POST " + Root + "/instruments/{number}/entries":                 s.write,
		"POST " + Root + "/instruments/{number}/entries/{id}/strike-out": s.strikeOut,
		"GET " + Root + "/instruments/{number}/comparisons.csv":          s.comparisons,
		"POST " + Root + "/instruments/{number}/comparisons":             s.bringIn,
		"GET " + Root + "/instruments/{number}/trial":                    s.trial,
		"GET " + Root + "/certificates/{digest}":                         s.certificate,
		"GET " + Root + "/owners":                                        s.owners,
		"POST " + Root + "/owners":                                       s.enterOwner,
		"GET " + Root + "/standard":                                      s.standard,
		"GET " + Root + "/kinds":                                         s.kinds,
		"GET " + Root + "/openapi.json":                                  s.description,
	}
}

// guarded sets the headers that every answer carries, answers what no pattern
// matches in JSON, and turns a panic into an answer.
func guarded(mux *http.ServeMux) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		w.Header().Set("X-Content-Type-Options", "nosniff")
		w.Header().Set("Cache-Control", "private, no-cache")
		defer func() {
			if fault := recover(); fault != nil {
				if fault != http.ErrAbortHandler {
					refuse(w, r, errOurs)
					_ = http.NewResponseController(w).Flush() // the connection ends with the panic
				}
				panic(fault) // the server logs it with its stack
			}
		}()
		h, pattern := mux.Handler(r)
		if pattern != "" {
			mux.ServeHTTP(w, r)
			return
		}
		var seen head
		h.ServeHTTP(&seen, r)
		if seen.status == http.StatusMethodNotAllowed {
			w.Header().Set("Allow", seen.Header().Get("Allow"))
			refuse(w, r, errMethod)
			return
		}
		refuse(w, r, errNowhere)
	})
}

// head is a response of which only the head is kept.
type head struct {
	header http.Header
	status int
}

// Header returns the header.
func (h *head) Header() http.Header {
	if h.header == nil {
		h.header = http.Header{}
	}
	return h.header
}

// Write drops the body.
func (h *head) Write(b []byte) (int, error) { return len(b), nil }

// WriteHeader keeps the status.
func (h *head) WriteHeader(status int) { h.status = status }

// send answers with one JSON object.
func send(w http.ResponseWriter, status int, body any) error {
	text, err := json.Marshal(body)
	if err != nil {
		return errors.Join(errOurs, err)
	}
	w.Header().Set("Content-Type", jsonType)
	w.WriteHeader(status)
	_, _ = w.Write(append(text, '\n')) // whoever asked has gone
	return nil
}

func (s *surface) description(w http.ResponseWriter, r *http.Request) error {
	if _, err := questions(r, ""); err != nil {
		return err
	}
	w.Header().Set("Content-Type", jsonType)
	_, _ = w.Write(document) // whoever asked has gone
	return nil
}

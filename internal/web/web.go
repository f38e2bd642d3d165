// Package web is the pages: what a person at the bench, in the room or far
// away sees of the workshop and writes into it.
//
// Pages are made here, whole, and work without script; the modules in static
// only make them handier. Errors and rates are shown in words (fast, slow,
// gaining, losing) and ± is a 95% interval; instants are UTC.
package web

import (
	"log/slog"
	"net/http"
	"runtime/debug"
	"time"

	"timeball/internal/chronometer"
	"timeball/internal/web/hearing"
	"timeball/internal/web/static"
	"timeball/internal/web/wording"
	"timeball/internal/workshop"
)

// Options says how the pages are served.
type Options struct {
	Demo bool         // the workshop is invented; every page says so
	Log  *slog.Logger // where what went wrong is written; nil: nowhere
}

// site is the pages of one workshop.
type site struct {
	workshop *workshop.Workshop
	now      func() time.Time
	demo     bool
	log      *slog.Logger
	pages    pages
	assets   static.Files

	listenings *hearing.Room
}

func newSite(w *workshop.Workshop, now func() time.Time, o Options) *site {
	if o.Log == nil {
		o.Log = slog.New(slog.DiscardHandler)
	}
	return &site{workshop: w, now: now, demo: o.Demo, log: o.Log, pages: parsePages(), assets: static.Read(), listenings: hearing.New(w, now)}
}

// Pages answers requests for the pages of a workshop. Close it when no more
// come: the sound of listenings that were not kept is kept until then.
type Pages struct {
	answers http.Handler
	site    *site
}

// ServeHTTP answers a request.
func (p *Pages) ServeHTTP(w http.ResponseWriter, r *http.Request) { p.answers.ServeHTTP(w, r) }

// Close ends all listenings and removes the sound that was not kept. It returns
// nil.
func (p *Pages) Close() error {
	p.site.listenings.Close()
	return nil
}

// New returns the pages of the workshop w, whose clock is now.
func New(w *workshop.Workshop, now func() time.Time, o Options) *Pages {
	s := newSite(w, now, o)
	mux := http.NewServeMux()
	for pattern, answer := range s.routes() {
		mux.HandleFunc(pattern, func(w http.ResponseWriter, r *http.Request) {
			r.Body = http.MaxBytesReader(w, r.Body, mostOf(r))
			if err := answer(w, r); err != nil {
				s.refuse(w, r, err)
			}
		})
	}
	guard := http.NewCrossOriginProtection()
	guard.SetDenyHandler(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) { s.refuse(w, r, errForeign) }))
	return &Pages{answers: s.shielded(guard.Handler(s.known(mux))), site: s}
}

// answer writes a page or returns why it could not; nothing is written then.
type answer func(http.ResponseWriter, *http.Request) error

func (s *site) routes() map[string]answer {
	return map[string]answer{
		"GET /{$}":                                         s.room,
		"GET /clock/exchange":                              s.exchange,
		"GET /standard":                                    s.standard,
		"GET /round":                                       s.round,
		"POST /round/hand":                                 s.hand,
		"GET /round/hand":                                  s.round,
		"POST /round":                                      s.readThermometers,
		"GET /observers":                                   s.observers,
		"POST /observers":                                  s.exercised,
		"GET /instruments/{number}/compare":                s.compare,
		"POST /instruments/{number}/compare":               s.compared,
		"POST /instruments/{number}/reckon":                s.reckon,
		"GET /instruments/{number}/listen":                 s.listen,
		"POST /instruments/{number}/listen":                s.listenToFile,
		"POST /instruments/{number}/listen/{sitting}/rate": s.keepRate,
		"POST /instruments/{number}/listen/{sitting}/comparison": s.keepComparison,
		"GET /listen/{sitting}/sound":                            s.sound,
		"GET /instruments/{number}/start":                        s.plan,
		"POST /instruments/{number}/start":                       s.started,
		"GET /instruments/{number}/trial":                        s.trial,
		"GET /instruments/{number}/trial/begin":                  s.trial,
		"POST /instruments/{number}/trial/begin":                 s.beginTrial,
		"GET /instruments/{number}/trial/end":                    s.trial,
		"POST /instruments/{number}/trial/end":                   s.endTrial,
		"GET /instruments/{number}/journey":                      s.journey,
		"POST /instruments/{number}/journey":                     s.beginJourney,
		"GET /instruments/{number}/journey/done":                 s.journey,
		"POST /instruments/{number}/journey/done":                s.doneStep,
		"GET /instruments/{number}/journey/undo":                 s.askUndo,
		"POST /instruments/{number}/journey/undo":                s.undoStep,
		"GET /instruments/{number}/regulate":                     s.regulate,
		"GET /programmes":                                        s.programmes,
		"GET /programmes/{key}":                                  s.programme,
		"POST /programmes/{key}":                                 s.keepProgramme,
		"GET /instruments/{number}/job":                          s.job,
		"GET /instruments/{number}/papers":                       s.papers,
		"GET /instruments/{number}/papers/{file}":                s.paperFile,
		"POST /instruments/{number}/papers/certificate":          s.certify,
		"GET /workshop":                                          s.house,
		"POST /workshop":                                         s.writeHouse,
		"GET /verify":                                            s.askVerify,
		"POST /verify":                                           s.verify,
		"GET /together":                                          s.together,
		"GET /instruments/new":                                   s.newInstrument,
		"POST /instruments/new":                                  s.enterInstrument,
		"GET /instruments/{number}":                              s.instrument,
		"GET /instruments/{number}/write":                        s.kinds,
		"GET /instruments/{number}/write/{kind}":                 s.blank,
		"POST /instruments/{number}/write/{kind}":                s.write,
		"GET /instruments/{number}/strike/{entry}":               s.strike,
		"POST /instruments/{number}/strike/{entry}":              s.strikeOut,
		"GET /instruments/{number}/import":                       s.chooseBook,
		"POST /instruments/{number}/import":                      s.importBook,
		"GET /owners":                                            s.owners,
		"GET /owners/new":                                        s.newOwner,
		"POST /owners/new":                                       s.enterOwner,
		"GET /owners/{id}":                                       s.owner,
		"POST /owners/{id}":                                      s.correctOwner,
		"GET /attachments/{sum}":                                 s.attachment,
		"GET /static/{sum}/{name}":                               s.asset,
	}
}

// policy allows what the program itself serves, and no inline style or script.
const policy = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; media-src 'self'; connect-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"

// mostForm, mostUpload and mostSound bound a request, in bytes, without a file,
// with one, and with a recording.
const (
	mostForm   = 1 << 20
	mostUpload = 24 << 20
	mostSound  = chronometer.MostRecording + mostForm
)

// mostOf returns the most bytes of a request that was found its place.
func mostOf(r *http.Request) int64 {
	if r.PathValue("kind") == wording.Slug(chronometer.KindListened) || r.Pattern == "POST /instruments/{number}/listen" {
		return mostSound
	}
	return mostUpload
}

// shielded sets the headers that every answer carries, and turns a panic into
// a page.
func (s *site) shielded(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h := w.Header()
		h.Set("Content-Security-Policy", policy)
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("X-Frame-Options", "DENY")
		h.Set("Referrer-Policy", "same-origin")
		h.Set("Cross-Origin-Opener-Policy", "same-origin")
		h.Set("Cross-Origin-Resource-Policy", "same-origin")
		h.Set("Permissions-Policy", "camera=(), geolocation=(), microphone=(self)")
		h.Set("Cache-Control", "private, no-cache")
		defer func() {
			fault := recover()
			if fault == nil {
				return
			}
			if fault == http.ErrAbortHandler {
				panic(fault)
			}
			s.log.Error("page panicked", slog.Any("fault", fault), slog.String("path", r.URL.Path), slog.String("stack", string(debug.Stack())))
			s.refuse(w, r, errOurs)
		}()
		next.ServeHTTP(w, r)
	})
}

// known answers what no pattern matches in the look of the pages; the mux
// tells whether the page or only the method is unknown.
func (s *site) known(mux *http.ServeMux) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h, pattern := mux.Handler(r)
		if pattern != "" {
			mux.ServeHTTP(w, r)
			return
		}
		var seen unwritten
		h.ServeHTTP(&seen, r)
		if seen.status == http.StatusMethodNotAllowed {
			w.Header().Set("Allow", seen.Header().Get("Allow"))
			s.refuse(w, r, errMethod)
			return
		}
		s.refuse(w, r, errNowhere)
	})
}

// unwritten is a response of which only the head is kept.
type unwritten struct {
	header http.Header
	status int
}

// Header returns the head.
func (u *unwritten) Header() http.Header {
	if u.header == nil {
		u.header = http.Header{}
	}
	return u.header
}

// Write drops the body.
func (u *unwritten) Write(b []byte) (int, error) { return len(b), nil }

// WriteHeader keeps the status.
func (u *unwritten) WriteHeader(status int) { u.status = status }

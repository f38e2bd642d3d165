// Package island_test tries the modules of the pages in a browser, each on a
// small page of its own.
package island_test

import (
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"

	"timeball/internal/tab"
)

// browser returns a tab whose scripts must not fail.
func browser(t *testing.T, flags ...chromedp.ExecAllocatorOption) context.Context {
	t.Helper()
	ctx := tab.Open(t, time.Minute+*long, flags...)
	onEachPage(t, ctx, `window.faults = []; for (const kind of ["error", "unhandledrejection", "securitypolicyviolation"]) addEventListener(kind, (e) => faults.push(kind + ": " + (e.message ?? e.reason ?? e.violatedDirective)));`)
	t.Cleanup(func() { faultless(t, ctx) })
	return ctx
}

// faultless fails if a script of the page has.
func faultless(t *testing.T, ctx context.Context) {
	t.Helper()
	if got := value[[]string](t, ctx, `window.faults ?? []`); len(got) != 0 {
		t.Errorf("the page says %q", got)
	}
}

func do(t *testing.T, ctx context.Context, steps ...chromedp.Action[chromedp.Void]) {
	t.Helper()
	if err := chromedp.Do(ctx, steps...); err != nil {
		t.Fatal(err)
	}
}

// value returns what a script evaluates to, once its promise is kept.
func value[T any](t *testing.T, ctx context.Context, script string) T {
	t.Helper()
	got, err := chromedp.Run(ctx, chromedp.Evaluate[T](script, chromedp.EvalAwaitPromise))
	if err != nil {
		t.Fatalf("%v in %s", err, script)
	}
	return got
}

// until waits for a script to be true.
func until(t *testing.T, ctx context.Context, script string) {
	t.Helper()
	for end := time.Now().Add(25 * time.Second); time.Now().Before(end); time.Sleep(30 * time.Millisecond) {
		if value[bool](t, ctx, "!!("+script+")") {
			return
		}
	}
	t.Fatalf("never true: %s; the page says %q", script, value[string](t, ctx, "document.body.innerText"))
}

// onEachPage runs a script before those of each page that is opened later.
func onEachPage(t *testing.T, ctx context.Context, script string) {
	t.Helper()
	if _, err := chromedp.Call(ctx, page.AddScriptToEvaluateOnNewDocument, page.AddScriptToEvaluateOnNewDocumentParams{Source: script}); err != nil {
		t.Fatal(err)
	}
}

// open opens a page of the server and waits for its modules.
func open(t *testing.T, ctx context.Context, address string) {
	t.Helper()
	faultless(t, ctx)
	do(t, ctx, chromedp.Navigate(address))
	until(t, ctx, `document.body.dataset.ready`)
}

// quay is a server of small pages, with a clock to exchange with.
type quay struct {
	*httptest.Server
	mu        sync.Mutex
	bodies    map[string]string
	out, back time.Duration // delays of the way there and back
	spell     int
	down      bool          // every request but those for files fails
	deaf      bool          // what is sent is lost on the way
	cut       bool          // what is sent is written, and the answer is lost
	stall     time.Duration // before what is sent is written
	status    int           // answered without writing, if not 0
	refuse    string
	tries     map[string]int        // times each id was sent
	written   map[string]url.Values // by id
	doubled   int                   // ids written a second time
	reckoned  []taps
	answer    map[string]any // of the reckoning
}

// taps are what a page sends to be reckoned.
type taps struct {
	Number string    `json:"number"`
	EveryS float64   `json:"every_s"`
	Dial   int       `json:"dial"`
	Taps   []float64 `json:"taps"`
	Near   *struct {
		ErrorS float64 `json:"error_s"`
		HalfS  float64 `json:"half_s"`
	} `json:"near"`
	Observer string `json:"observer"`
	Device   string `json:"device"`
}

// policy is that of the pages proper.
const policy = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"

func newQuay(t *testing.T, bodies map[string]string) *quay {
	t.Helper()
	q := &quay{bodies: bodies, tries: map[string]int{}, written: map[string]url.Values{}}
	mux := http.NewServeMux()
	mux.HandleFunc("GET /{page}", q.page)
	mux.Handle("GET /static/", http.StripPrefix("/static/", http.FileServer(http.Dir("../static"))))
	mux.HandleFunc("GET /wire.js", func(w http.ResponseWriter, r *http.Request) { http.ServeFile(w, r, "testdata/wire.js") })
	mux.HandleFunc("GET /favicon.ico", func(w http.ResponseWriter, r *http.Request) { w.WriteHeader(http.StatusNoContent) })
	mux.HandleFunc("GET /clock/exchange", q.exchange)
	mux.HandleFunc("POST /reckon", q.reckon)
	mux.HandleFunc("POST /write", q.write)
	q.Server = httptest.NewServer(mux)
	t.Cleanup(q.Close)
	return q
}

func (q *quay) page(w http.ResponseWriter, r *http.Request) {
	body, ok := q.bodies[r.PathValue("page")]
	if !ok {
		http.NotFound(w, r)
		return
	}
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.Header().Set("Content-Security-Policy", policy)
	w.Header().Set("Cross-Origin-Opener-Policy", "same-origin")
	fmt.Fprintf(w, `<!doctype html><html lang="en"><meta charset="utf-8"><title>quay</title><link rel="stylesheet" href="/static/timeball.css"><script type="module" src="/wire.js"></script>%s`, body)
}

// set changes what the server does.
func (q *quay) set(change func(*quay)) {
	q.mu.Lock()
	defer q.mu.Unlock()
	change(q)
}

// wrote returns what was written under an id, nil if nothing was.
func (q *quay) wrote(id string) url.Values {
	q.mu.Lock()
	defer q.mu.Unlock()
	return q.written[id]
}

// fails breaks the connection off if the server is down.
func (q *quay) fails() bool {
	q.mu.Lock()
	defer q.mu.Unlock()
	return q.down
}

func micros(at time.Time) string {
	return strconv.FormatFloat(float64(at.UnixMicro())/1000, 'f', 3, 64)
}

func (q *quay) exchange(w http.ResponseWriter, r *http.Request) {
	q.mu.Lock()
	out, back, spell := q.out, q.back, q.spell
	q.mu.Unlock()
	if q.fails() {
		panic(http.ErrAbortHandler)
	}
	time.Sleep(out)
	received := time.Now()
	text, _ := json.Marshal(map[string]any{"received_ms": micros(received), "sent_ms": micros(time.Now()), "bound_ms": 4.2, "spell": spell, "source": "three servers agree", "fit": true})
	time.Sleep(back)
	w.Header().Set("Content-Type", "application/json")
	_, _ = w.Write(text)
}

func (q *quay) reckon(w http.ResponseWriter, r *http.Request) {
	if q.fails() {
		panic(http.ErrAbortHandler)
	}
	var sent taps
	d := json.NewDecoder(r.Body)
	d.DisallowUnknownFields()
	if err := d.Decode(&sent); err != nil {
		http.Error(w, err.Error(), http.StatusBadRequest)
		return
	}
	q.mu.Lock()
	defer q.mu.Unlock()
	q.reckoned = append(q.reckoned, sent)
	said := map[string]any{"error_s": 12.4, "sd_s": 0.03, "words": "12.4 s fast ±0.1", "scatter_words": "scatter 30 ms", "used": len(sent.Taps), "candidates": []any{map[string]any{"error_s": 12.4, "words": "12.4 s fast"}}, "enough": len(sent.Taps) >= 5, "remarks": []string{}, "far_s": 0.1}
	marks := []any{}
	for range sent.Taps {
		marks = append(marks, map[string]any{"mark_s": 25, "residual_s": -0.03, "dropped": ""})
	}
	said["taps"] = marks
	for k, v := range q.answer {
		said[k] = v
	}
	_ = json.NewEncoder(w).Encode(said)
}

func (q *quay) write(w http.ResponseWriter, r *http.Request) {
	q.mu.Lock()
	deaf := q.deaf
	q.mu.Unlock()
	if deaf || q.fails() {
		panic(http.ErrAbortHandler)
	}
	if err := r.ParseForm(); err != nil {
		http.Error(w, err.Error(), http.StatusBadRequest)
		return
	}
	q.mu.Lock()
	stall := q.stall
	q.mu.Unlock()
	select {
	case <-time.After(stall):
	case <-r.Context().Done():
		return
	}
	q.mu.Lock()
	defer q.mu.Unlock()
	id := r.PostForm.Get("id")
	q.tries[id]++
	w.Header().Set("Content-Type", "application/json")
	if q.status != 0 {
		http.Error(w, "no", q.status)
		return
	}
	if q.refuse != "" {
		w.WriteHeader(http.StatusUnprocessableEntity)
		_ = json.NewEncoder(w).Encode(map[string]any{"ok": false, "problems": []string{q.refuse}})
		return
	}
	if _, ok := q.written[id]; ok {
		q.doubled++
	} else {
		q.written[id] = r.PostForm
	}
	if q.cut {
		panic(http.ErrAbortHandler)
	}
	_ = json.NewEncoder(w).Encode(map[string]any{"ok": true, "href": "/done", "words": "Written " + strings.TrimSpace(r.PostForm.Get("note"))})
}

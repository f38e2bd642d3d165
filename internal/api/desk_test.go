package api

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"github.com/getkin/kin-openapi/openapi3"
	"github.com/getkin/kin-openapi/openapi3filter"
	"github.com/getkin/kin-openapi/routers"
	"github.com/getkin/kin-openapi/routers/gorillamux"

	"timeball/internal/chronometer"
	"timeball/internal/lanternquay"
	"timeball/internal/reference"
	"timeball/internal/store"
	"timeball/internal/workshop"
)

// morning is when the workshop is asked.
var morning = time.Date(2027, time.March, 4, 9, 14, 32, 0, time.UTC)

// openQuay returns the invented workshop in a folder of its own.
func openQuay(t testing.TB) (*workshop.Workshop, *store.DB) {
	t.Helper()
	now := func() time.Time { return morning }
	db, err := store.Open(t.Context(), t.TempDir(), now)
	if err != nil {
		t.Fatal(err)
	}
	w := workshop.New(db, reference.Plain(now))
	t.Cleanup(func() {
		w.Close()
		db.Close()
	})
	if err := w.Fill(t.Context(), lanternquay.Entries(morning)); err != nil {
		t.Fatal(err)
	}
	return w, db
}

// desk asks the routes and holds every answer against the document.
type desk struct {
	handler http.Handler
	router  routers.Router
	seen    map[string]bool // operation and status
}

// newDesk returns a desk before the routes of a workshop.
func newDesk(t testing.TB, w *workshop.Workshop) *desk {
	t.Helper()
	router, err := gorillamux.NewRouter(strictDocument(t))
	if err != nil {
		t.Fatal(err)
	}
	return &desk{handler: New(w, func() time.Time { return morning }), router: router, seen: map[string]bool{}}
}

// strictDocument returns the document with every object closed, so that a field
// that an answer has and the document does not is found.
func strictDocument(t testing.TB) *openapi3.T {
	t.Helper()
	var tree any
	if err := json.Unmarshal(document, &tree); err != nil {
		t.Fatal(err)
	}
	shut(tree)
	text, err := json.Marshal(tree)
	if err != nil {
		t.Fatal(err)
	}
	return readDocument(t, text)
}

func readDocument(t testing.TB, text []byte) *openapi3.T {
	t.Helper()
	doc, err := openapi3.NewLoader().LoadFromData(text)
	if err != nil {
		t.Fatal(err)
	}
	if err := doc.Validate(context.Background()); err != nil {
		t.Fatal(err)
	}
	return doc
}

func shut(tree any) {
	switch node := tree.(type) {
	case map[string]any:
		_, has := node["properties"]
		if _, said := node["additionalProperties"]; has && !said && node["type"] == "object" {
			node["additionalProperties"] = false
		}
		for _, v := range node {
			shut(v)
		}
	case []any:
		for _, v := range node {
			shut(v)
		}
	}
}

// question is one request.
type question struct {
	method, path, media, body string
}

func get(format string, args ...any) question {
	return question{method: http.MethodGet, path: Root + fmt.Sprintf(format, args...)}
}

func post(path string, body any) question {
	text, ok := body.(string)
	if !ok {
		b, err := json.Marshal(body)
		if err != nil {
			panic(err)
		}
		text = string(b)
	}
	return question{method: http.MethodPost, path: Root + path, media: jsonType, body: text}
}

func postBook(path, body string) question {
	return question{method: http.MethodPost, path: Root + path, media: csvType, body: body}
}

// answer is what came back.
type answer struct {
	status int
	header http.Header
	body   []byte
}

func (q question) request() *http.Request {
	var body io.Reader
	if q.method == http.MethodPost {
		body = strings.NewReader(q.body)
	}
	r := httptest.NewRequest(q.method, q.path, body)
	if q.media != "" {
		r.Header.Set("Content-Type", q.media)
	}
	return r
}

// ask asks, wants a status, and checks the answer against the document; what
// the routes take the document must take as well.
func (d *desk) ask(t testing.TB, q question, want int) answer {
	t.Helper()
	got := d.bare(q)
	if got.status != want {
		t.Fatalf("%s %s: status %d, want %d: %s", q.method, q.path, got.status, want, got.body)
	}
	r := q.request()
	found, params, err := d.router.FindRoute(r)
	if err != nil {
		t.Fatalf("%s %s is not in the document: %v", q.method, q.path, err)
	}
	d.seen[fmt.Sprint(found.Operation.OperationID, " ", got.status)] = true
	in := &openapi3filter.RequestValidationInput{Request: r, PathParams: params, Route: found, Options: &openapi3filter.Options{
		ExcludeRequestBody: q.media == csvType, // the validator knows no comments in CSV
	}}
	if got.status < 300 {
		if err := openapi3filter.ValidateRequest(t.Context(), in); err != nil {
			t.Errorf("%s %s was taken, and the document refuses it: %v", q.method, q.path, err)
		}
	}
	out := &openapi3filter.ResponseValidationInput{
		RequestValidationInput: in, Status: got.status, Header: got.header, Options: &openapi3filter.Options{IncludeResponseStatus: true},
	}
	if err := openapi3filter.ValidateResponse(t.Context(), out.SetBodyBytes(got.body)); err != nil {
		t.Errorf("%s %s answers %d against the document: %v", q.method, q.path, got.status, err)
	}
	if got.status >= 400 {
		checkRefusal(t, q, got)
	}
	return got
}

// bare asks and checks nothing.
func (d *desk) bare(q question) answer {
	rec := httptest.NewRecorder()
	d.handler.ServeHTTP(rec, q.request())
	return answer{rec.Code, rec.Result().Header, rec.Body.Bytes()}
}

// checkRefusal checks that a refusal is one object with one sentence.
func checkRefusal(t testing.TB, q question, got answer) {
	t.Helper()
	var said map[string]string
	if err := json.Unmarshal(got.body, &said); err != nil || len(said) != 1 || said["error"] == "" || strings.Contains(said["error"], "\n") {
		t.Errorf("%s %s: %d is refused with %q, want one object with one sentence", q.method, q.path, got.status, got.body)
	}
	if ct := got.header.Get("Content-Type"); ct != jsonType {
		t.Errorf("%s %s: refused as %q", q.method, q.path, ct)
	}
}

// read returns an answer as a value.
func read[T any](t testing.TB, got answer) T {
	t.Helper()
	var v T
	d := json.NewDecoder(bytes.NewReader(got.body))
	d.DisallowUnknownFields()
	if err := d.Decode(&v); err != nil {
		t.Fatalf("%v: %s", err, got.body)
	}
	return v
}

// line is an entry as a test reads it.
type line struct {
	ID      string          `json:"id"`
	At      time.Time       `json:"at"`
	Written time.Time       `json:"written"`
	By      string          `json:"by"`
	Kind    string          `json:"kind"`
	Fact    json.RawMessage `json:"fact"`
	Words   string          `json:"words"`
	Struck  *Struck         `json:"struck_out"`
}

type lines struct {
	Entries []line `json:"entries"`
	More    bool   `json:"more"`
}

// entry is the body of an entry written d before the morning.
func entry(ago time.Duration, kind chronometer.Kind, fact any) map[string]any {
	return map[string]any{"at": morning.Add(-ago).Format(time.RFC3339Nano), "by": "R. Halvane", "kind": kind, "fact": fact}
}

package web_test

import (
	"bytes"
	"fmt"
	"image"
	"image/jpeg"
	"math"
	"mime/multipart"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"regexp"
	"strings"
	"testing"
	"time"

	"timeball/internal/chronometer"
	"timeball/internal/web"
	"timeball/internal/workshop"
)

// visitor is a browser without script: it keeps its cookies and the pages.
type visitor struct {
	t       testing.TB
	q       *quay
	site    http.Handler
	cookies map[string]string
}

func visit(t testing.TB, q *quay) *visitor {
	t.Helper()
	return &visitor{t: t, q: q, site: web.New(q.Workshop, q.tell, web.Options{Demo: true}), cookies: map[string]string{}}
}

func (v *visitor) send(r *http.Request) *http.Response {
	for name, value := range v.cookies {
		r.AddCookie(&http.Cookie{Name: name, Value: value})
	}
	w := httptest.NewRecorder()
	v.site.ServeHTTP(w, r)
	for _, c := range w.Result().Cookies() {
		v.cookies[c.Name] = c.Value
	}
	return w.Result()
}

func text(t testing.TB, r *http.Response) string {
	t.Helper()
	var b bytes.Buffer
	if _, err := b.ReadFrom(r.Body); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

// get returns the page at an address, which must answer with status.
func (v *visitor) get(address string, status int) *element {
	v.t.Helper()
	r := v.send(httptest.NewRequest(http.MethodGet, address, nil))
	if r.StatusCode != status {
		v.t.Fatalf("GET %s: status %d, want %d", address, r.StatusCode, status)
	}
	return parsed(v.t, text(v.t, r))
}

func (v *visitor) postForm(address string, values url.Values) *http.Response {
	r := httptest.NewRequest(http.MethodPost, address, strings.NewReader(values.Encode()))
	r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	r.Header.Set("Sec-Fetch-Site", "same-origin")
	return v.send(r)
}

// postFile sends a form with one file.
func (v *visitor) postFile(address string, values map[string]string, name string, file []byte) *http.Response {
	var b bytes.Buffer
	m := multipart.NewWriter(&b)
	for key, value := range values {
		_ = m.WriteField(key, value)
	}
	if file != nil {
		part, err := m.CreateFormFile("file", name)
		if err != nil {
			v.t.Fatal(err)
		}
		_, _ = part.Write(file)
	}
	_ = m.Close()
	r := httptest.NewRequest(http.MethodPost, address, &b)
	r.Header.Set("Content-Type", m.FormDataContentType())
	return v.send(r)
}

// follow fails unless r sends the visitor on, and returns the page there.
func (v *visitor) follow(r *http.Response) *element {
	v.t.Helper()
	if r.StatusCode != http.StatusSeeOther {
		page := parsed(v.t, text(v.t, r))
		var wrong string
		for _, e := range page.all(".wrong") {
			wrong = e.words()
		}
		v.t.Fatalf("status %d, want 303: %s", r.StatusCode, wrong)
	}
	return v.get(r.Header.Get("Location"), http.StatusOK)
}

// entries returns the logbook of an instrument.
func (v *visitor) entries(number string) []chronometer.Entry {
	v.t.Helper()
	seen, err := v.q.See(v.t.Context(), number)
	if err != nil {
		v.t.Fatal(err)
	}
	return seen.Logbook.Entries()
}

// TestLinks opens every page that a link on another leads to, and holds each
// against what all pages must be.
func TestLinks(t *testing.T) {
	v := visit(t, lanternQuay(t))
	ids := map[string]map[string]bool{}
	links := map[string]string{"/": "the beginning"}
	queue := []string{"/"}
	fragments := map[string]string{}
	for len(queue) > 0 {
		address := queue[0]
		queue = queue[1:]
		r := v.send(httptest.NewRequest(http.MethodGet, address, nil))
		if r.StatusCode != http.StatusOK {
			t.Fatalf("%s, linked from %s: status %d", address, links[address], r.StatusCode)
		}
		if !strings.HasPrefix(r.Header.Get("Content-Type"), "text/html") {
			continue
		}
		page := parsed(t, text(t, r))
		ids[address] = map[string]bool{}
		wellMade(t, address, page, ids[address])
		for _, e := range append(append(page.all("[href]"), page.all("[src]")...), page.all("form[action]")...) {
			to := e.attrs["href"] + e.attrs["src"] + e.attrs["action"]
			if e.attrs["method"] == "post" && strings.Contains(to, "/listen/") {
				continue // of one listening, and only sent
			}
			u, err := url.Parse(to)
			if err != nil || u.Host != "" || u.Scheme != "" {
				t.Fatalf("%s leads to %q, outside the program", address, to)
			}
			path := u.Path
			if u.RawQuery != "" {
				path += "?" + u.RawQuery
			}
			if u.Path != "" {
				path = u.EscapedPath() + strings.TrimPrefix(path, u.Path)
			} else {
				path = address
			}
			if u.Fragment != "" {
				fragments[path+"#"+u.Fragment] = address
			}
			if _, seen := links[path]; !seen {
				links[path] = address
				queue = append(queue, path)
			}
		}
	}
	for fragment, from := range fragments {
		path, id, _ := strings.Cut(fragment, "#")
		if !ids[path][id] {
			t.Errorf("%s leads to %s, which is not there", from, fragment)
		}
	}
	if len(links) < 100 {
		t.Errorf("%d pages and files were found, want all of the strike-out pages among them", len(links))
	}
}

// wellMade fails unless a page has one head, unique ids, a label on each
// control, and no style or script of its own.
func wellMade(t *testing.T, address string, page *element, ids map[string]bool) {
	t.Helper()
	if n := len(page.all("h1")); n != 1 {
		t.Errorf("%s: %d h1, want 1", address, n)
	}
	if page.one(t, "head title").words() == "" || page.one(t, "html").attrs["lang"] != "en" {
		t.Errorf("%s: no title or no language", address)
	}
	page.one(t, "main#main")
	if page.one(t, "a.skip").attrs["href"] != "#main" {
		t.Errorf("%s: the skip link leads elsewhere", address)
	}
	if n := len(page.all("style")); n > 0 {
		t.Errorf("%s: a style element", address)
	}
	for _, s := range page.all("script") {
		if s.attrs["src"] == "" || s.words() != "" {
			t.Errorf("%s: a script in the page", address)
		}
	}
	labelled := map[string]bool{}
	for _, l := range page.all("label") {
		labelled[l.attrs["for"]] = true
	}
	inside := map[*element]bool{}
	for _, l := range page.all("label") {
		for _, e := range l.all("input") {
			inside[e] = true
		}
	}
	var each func(*element)
	each = func(e *element) {
		for name, value := range e.attrs {
			if name == "style" || strings.HasPrefix(name, "on") || strings.HasPrefix(strings.ToLower(value), "javascript:") {
				t.Errorf("%s: <%s %s=%q>", address, e.name, name, value)
			}
		}
		if id := e.attrs["id"]; id != "" {
			if ids[id] {
				t.Errorf("%s: two elements with the id %s", address, id)
			}
			ids[id] = true
		}
		switch e.name {
		case "input", "select", "textarea":
			if e.attrs["type"] != "hidden" && !labelled[e.attrs["id"]] && !inside[e] {
				t.Errorf("%s: no label for %v", address, e.attrs)
			}
		case "img":
			if _, ok := e.attrs["alt"]; !ok {
				t.Errorf("%s: a picture without words", address)
			}
		case "svg":
			if e.attrs["aria-hidden"] != "true" && len(e.all("title")) == 0 {
				t.Errorf("%s: a drawing without words", address)
			}
		}
		for _, u := range e.under {
			each(u)
		}
	}
	each(page)
}

func TestRoom(t *testing.T) {
	q := lanternQuay(t)
	page := visit(t, q).get("/", http.StatusOK)
	if got := page.one(t, ".heads .sub").words(); got != "Thursday 4 March 2027 · four going, one stopped, one in carriage" {
		t.Errorf("the head says %q", got)
	}
	rows := map[string]*element{}
	for _, row := range page.all(".room tbody tr") {
		rows[row.one(t, ".who b").words()] = row
	}
	if len(rows) != 6 {
		t.Fatalf("%d rows, want 6", len(rows))
	}
	cells := rows["No. 417"].all(".num")
	near(t, cells[0].words(), "fast", q.instruments[0].line.error(q.now))
	near(t, cells[1].words(), "losing", -0.83)
	if got := rows["No. 1102"].one(t, ".act a"); got.attrs["href"] != "/instruments/1102/compare" || got.words() != "Compare" {
		t.Errorf("action: %v %q", got.attrs, got.words())
	}
	if got := rows["No. 19"].one(t, ".why").words(); got != "stopped since 19 January" {
		t.Errorf("of a stopped instrument it says %q", got)
	}
	if len(page.all("meta[http-equiv=refresh]")) != 0 {
		t.Error("the page asks again though all is rated")
	}
	page.one(t, ".demo")
	if n := strings.Count(page.words(), "95% interval"); n != 1 {
		t.Errorf("± is explained %d times, want once", n)
	}
}

// estimated is an error or a rate as the pages show it.
var estimated = regexp.MustCompile(`(fast|slow|gaining|losing) ([0-9.]+) s ?±([0-9.]+)`)

// near fails unless text shows an estimate in the direction of the truth, off
// by at most twice its 95% interval.
func near(t *testing.T, text, way string, truth float64) {
	t.Helper()
	m := estimated.FindStringSubmatch(text)
	if m == nil {
		t.Errorf("%q is no estimate", text)
		return
	}
	var size, half float64
	if _, err := fmt.Sscan(m[2]+" "+m[3], &size, &half); err != nil {
		t.Fatal(err)
	}
	if out := math.Abs(size - math.Abs(truth)); m[1] != way || !(half > 0) || out > 2*half {
		t.Errorf("%q, and in truth it is %s %.2f s", text, way, math.Abs(truth))
	}
}

// TestRoomWhileRating shows a room of which two are still being rated, one of
// them so new that not even its number is read.
func TestRoomWhileRating(t *testing.T) {
	w := httptest.NewRecorder()
	web.ShowRoom(w, workshop.Room{Now: today, Pending: 2, Instruments: []workshop.Seen{
		{ID: "01ARZ3NDEKTSV4RRFFQ69G5FAV", Pending: true, Now: today},
		{ID: "01ARZ3NDEKTSV4RRFFQ69G5FAW", Pending: true, Now: today, Instrument: chronometer.Instrument{Number: "417"}},
	}}, today)
	page := parsed(t, text(t, w.Result()))
	if got := page.one(t, "meta[http-equiv=refresh]").attrs["content"]; got != "4" {
		t.Errorf("the page asks again after %q s", got)
	}
	if got := page.one(t, "main .notice").words(); got != "Two instruments are still being rated; this page asks again by itself." {
		t.Errorf("it says %q", got)
	}
	rows := page.all(".room tbody tr")
	if len(rows) != 2 {
		t.Fatalf("%d rows, want 2", len(rows))
	}
	for n, to := range []string{"/instruments/01ARZ3NDEKTSV4RRFFQ69G5FAV", "/instruments/417"} {
		if got := rows[n].one(t, ".why").words(); got != "being rated …" {
			t.Errorf("row %d says %q", n, got)
		}
		if got := rows[n].one(t, ".who a").attrs["href"]; got != to {
			t.Errorf("row %d leads to %q", n, got)
		}
	}
}

func TestEmptyRoom(t *testing.T) {
	page := visit(t, emptyQuay(t)).get("/", http.StatusOK)
	if got := page.one(t, "main a.now").attrs["href"]; got != "/instruments/new" {
		t.Errorf("the first step leads to %q", got)
	}
}

// signed is a number with a sign in front of it.
var signed = regexp.MustCompile(`(^|[\s(])[-+−]\d`)

func TestWordsBeforeSigns(t *testing.T) {
	v := visit(t, lanternQuay(t))
	for _, address := range []string{"/", "/instruments/417", "/instruments/88?entries=all"} {
		if m := signed.FindString(v.get(address, http.StatusOK).words()); m != "" {
			t.Errorf("%s shows the signed number %q", address, m)
		}
	}
}

func TestInstrument(t *testing.T) {
	q := lanternQuay(t)
	page := visit(t, q).get("/instruments/417?entries=all", http.StatusOK)
	figures := page.all(".figures div")
	for n, label := range []string{"Error now", "Daily rate, of late", "Steadiness, week to week"} {
		if got := figures[n].all("small")[0].words(); got != label {
			t.Errorf("figure %d is labelled %q, want %q", n, got, label)
		}
	}
	near(t, figures[0].words(), "fast", q.instruments[0].line.error(q.now))
	near(t, figures[1].one(t, "b").words()+" "+figures[1].one(t, "span").words(), "losing", -0.83)
	if got := figures[2].words(); !regexp.MustCompile(`0\.\d+ s a day, 0\.\d+ to 0\.\d+$`).MatchString(got) {
		t.Errorf("steadiness: %q", got)
	}
	if n := len(page.all(".chart-wide")); n != 4 {
		t.Errorf("%d wide drawings, want error, rate, steadiness and residuals", n)
	}
	if n := len(page.all(".chart-narrow")); n != 4 {
		t.Errorf("%d narrow drawings, want as many", n)
	}
	if got := page.one(t, ".put").words(); !strings.Contains(got, "reads one minute out") || !strings.Contains(got, "Use it") {
		t.Errorf("set aside: %q", got)
	}
	struck := page.one(t, "tr.struck")
	if got := struck.words(); !strings.Contains(got, "struck out by Signe Vandrell on 7 February 2027") || !strings.Contains(got, "read against the wrong minute") {
		t.Errorf("struck out: %q", got)
	}
	if len(struck.all("s")) == 0 || len(struck.all(".act a")) != 0 {
		t.Error("a struck entry is struck through and cannot be struck out again")
	}
	if got := page.one(t, ".actions a.now"); got.words() != "Wind" {
		t.Errorf("primary action: %q", got.words())
	}
	if got := page.words(); !regexp.MustCompile(`Carriage on 12 February: no change of rate is shown \((gaining |losing |keeping time to )0\.\d+ s ±0\.\d+ a day; chance alone would show as much about \d+ times in a hundred\)\.`).MatchString(got) {
		t.Error("the test of carriage is not said in words")
	}
	trouble := visit(t, q).get("/instruments/88", http.StatusOK)
	if got := trouble.all(".notice.trouble"); len(got) != 2 || !strings.Contains(got[1].words(), "jump forward by 60") {
		t.Errorf("%d notices of trouble, want the rate and the move that no entry tells", len(got))
	}
}

func TestFilter(t *testing.T) {
	v := visit(t, lanternQuay(t))
	for _, try := range []struct {
		query string
		lines int
	}{
		{"kind=hands-moved", 1}, {"kind=compared", 46}, {"text=hair+crack", 1}, {"text=VINTER&kind=note", 1}, {"text=one+minute+out", 1}, {"text=nowhere+to+be+found", 0}, {"entries=all", 100}, {"", 40},
	} {
		page := v.get("/instruments/417?"+try.query, http.StatusOK)
		if n := len(page.all("#logbook-lines tbody tr")); n != try.lines {
			t.Errorf("%q: %d lines, want %d", try.query, n, try.lines)
		}
	}
}

// written are forms that a person could send for each kind; the workshop may
// refuse none of them.
var written = map[chronometer.Kind]url.Values{
	chronometer.KindEntered:     {"number": {"417"}, "make": {"box chronometer"}, "beat": {"half-second"}, "dial": {"12 h"}, "going_h": {"56"}, "up_down": {"true"}},
	chronometer.KindCompared:    {"dial": {"9:12:45.5"}, "temp_c": {"19,5"}, "at": {"2027-03-04 09:12:30.5"}},
	chronometer.KindListened:    {"rate_s_per_day": {"−0.84"}, "rate_sd_s_per_day": {"0.06"}},
	chronometer.KindWound:       {"half_turns": {"7.5"}, "at": {"2027-03-03 20:00:00"}},
	chronometer.KindStarted:     {"how": {"one gentle turn"}},
	chronometer.KindStopped:     {"why": {"for work"}},
	chronometer.KindMoved:       {"by_s": {"60"}},
	chronometer.KindSet:         {"note": {"by the window"}},
	chronometer.KindRegulated:   {"held": {"true"}, "what": {"timing screws"}, "for_s_per_day": {"−0.4"}},
	chronometer.KindPlaced:      {"position": {"XII up"}, "station": {"in a trial"}},
	chronometer.KindTemperature: {"temp_c": {"-3"}},
	chronometer.KindHeld:        {"with": {"brake"}},
	chronometer.KindReleased:    {},
	chronometer.KindFromGimbals: {},
	chronometer.KindIntoGimbals: {},
	chronometer.KindFound:       {"condition": {"oil dry"}},
	chronometer.KindWorkDone:    {"work": {"serviced"}, "service": {"true"}},
	chronometer.KindPacked:      {"how": {"bowl alone, dial up"}},
	chronometer.KindSent:        {"to": {"Veyre"}},
	chronometer.KindReceived:    {"station": {"on the bench"}},
	chronometer.KindCased:       {},
	chronometer.KindCarried:     {"how": {"by hand"}},
	chronometer.KindJourney:     {"to": {"home"}, "goes": {"going"}},
	chronometer.KindEnquired:    {"what": {"it gains"}},
	chronometer.KindEstimated:   {"work": {"clean and oil"}, "cost": {"480 EUR"}},
	chronometer.KindApproved:    {"who": {"Signe Vandrell"}, "up_to": {""}},
	chronometer.KindReady:       {},
	chronometer.KindTrialEnded:  {"why": {"finished"}},
	chronometer.KindNote:        {"text": {"two lines\nof text"}},
}

func TestEveryKindCanBeWritten(t *testing.T) {
	for _, kind := range chronometer.Kinds() {
		t.Run(string(kind), func(t *testing.T) {
			q := lanternQuay(t)
			v := visit(t, q)
			address := "/instruments/417/write/" + strings.ReplaceAll(string(kind), " ", "-")
			if !kind.OfInstrument() || kind.Computed() {
				v.get(address, http.StatusNotFound) // neither an owner nor an observer is, nor what has a page of its own
				v.get("/owners/new", http.StatusOK)
				return
			}
			page := v.get(address, http.StatusOK)
			for _, f := range kind.Fields() {
				if kind == chronometer.KindPhotograph && f.Name != "caption" {
					continue
				}
				if len(page.all("form [name="+f.Name+"]")) == 0 {
					t.Errorf("the form does not ask for %s", f.Name)
				}
			}
			values, ok := written[kind]
			switch kind {
			case chronometer.KindStarted:
				q.add(q.instruments[0], today.Add(-time.Minute), "E", chronometer.Stopped{Why: "for work"})
				q.fill(t)
			case chronometer.KindSent:
				q.add(q.instruments[0], today.Add(-2*time.Minute), "E", chronometer.Held{With: chronometer.Brake})
				q.add(q.instruments[0], today.Add(-time.Minute), "E", chronometer.Packed{How: "bowl alone, dial up"})
				q.fill(t)
			case chronometer.KindReleased:
				q.add(q.instruments[0], today.Add(-time.Minute), "E", chronometer.Held{With: chronometer.Brake})
				q.fill(t)
			case chronometer.KindTrialEnded:
				q.add(q.instruments[0], today.Add(-time.Minute), "E", chronometer.TrialBegun{Programme: "Ten days", Text: "as agreed"})
				q.fill(t)
			case chronometer.KindPhotograph, chronometer.KindUpheld, chronometer.KindStruckOut:
				return // these have tests of their own
			}
			if !ok {
				t.Fatal("no form is filled in for this kind")
			}
			before := len(v.entries("417"))
			v.follow(v.postForm(address, withBy(values))).one(t, ".notice.done")
			entries := v.entries("417")
			if len(entries) != before+1 {
				t.Fatalf("%d entries, want %d", len(entries), before+1)
			}
			last := entries[0]
			for _, e := range entries {
				if e.ID > last.ID {
					last = e
				}
			}
			if last.Kind() != kind || last.By != "Mats Vinter" {
				t.Errorf("written: %s by %s", last.Kind(), last.By)
			}
			if v.get(address, http.StatusOK).one(t, "#f-by").attrs["value"] != "Mats Vinter" {
				t.Error("the name is not remembered")
			}
		})
	}
}

func withBy(values url.Values) url.Values {
	all := url.Values{"by": {"Mats Vinter"}}
	for name, v := range values {
		all[name] = v
	}
	return all
}

func TestErrorsAtTheField(t *testing.T) {
	q := lanternQuay(t)
	v := visit(t, q)
	for _, try := range []struct {
		address string
		values  url.Values
		field   string // empty: above the form
		says    string
	}{
		{"/instruments/417/write/compared", url.Values{"dial": {"9:12"}}, "dial", "does not have hours, minutes and seconds; write h:mm:ss"},
		{"/instruments/417/write/compared", url.Values{}, "dial", "Give either the dial reading or its error"},
		{"/instruments/417/write/compared", url.Values{"error_s": {"3"}, "sd_s": {"-1"}}, "sd_s", "Doubt of the reading -1 is negative"},
		{"/instruments/417/write/compared", url.Values{"error_s": {"1,250"}}, "error_s", "can be read in two ways"},
		{"/instruments/417/write/compared", url.Values{"error_s": {"about 3"}}, "error_s", "is not a number"},
		{"/instruments/417/write/compared", url.Values{"error_s": {"NaN"}}, "error_s", "is not a number"},
		{"/instruments/417/write/compared", url.Values{"error_s": {"3"}, "at": {"4 March"}}, "at", "write now, a time such as 09:12:30"},
		{"/instruments/417/write/compared", url.Values{"error_s": {"3"}, "at": {"2027-03-05 09:12:30"}}, "at", "is in the future"},
		{"/instruments/417/write/hands-moved", url.Values{"by_s": {"-60"}}, "by_s", "only ever moved forward"},
		{"/instruments/417/write/hands-moved", url.Values{}, "by_s", "Forward by is missing; write a number of s."},
		{"/instruments/417/write/temperature", url.Values{}, "temp_c", "Temperature is missing"},
		{"/instruments/417/write/temperature", url.Values{"temp_c": {"99"}}, "temp_c", "outside -60 to 80"},
		{"/instruments/417/write/balance-held", url.Values{}, "with", "choose one"},
		{"/instruments/417/write/balance-held", url.Values{"with": {"glue"}}, "with", "write one of: brake, wedge"},
		{"/instruments/417/write/note", url.Values{"text": {"x"}, "by": {" "}}, "by", "Say who writes this"},
		{"/instruments/417/write/upheld", url.Values{"entry": {"nothing"}, "why": {"seen"}}, "entry", "choose one of the entries"},
		{"/instruments/19/write/compared", url.Values{"error_s": {"3"}}, "", "it stood stopped since 19 January 2027"},
		{"/instruments/417/strike/" + string(q.instruments[0].entries[5].ID), url.Values{"why": {""}}, "why", "Say what was wrong"},
		{"/instruments/new", url.Values{"number": {"5"}, "going_h": {"56"}}, "make", "choose one"},
		{"/instruments/new", url.Values{"number": {"5/6"}, "make": {"deck watch"}, "beat": {"half-second"}, "dial": {"12 h"}, "going_h": {"56"}}, "number", "has a slash"},
		{"/owners/new", url.Values{}, "name", "Name is missing"},
		{"/owners/" + string(q.owners[0]), url.Values{"name": {""}}, "name", "Name is missing"},
	} {
		before := len(v.entries("417"))
		r := v.postForm(try.address, withBy(try.values))
		if r.StatusCode != http.StatusUnprocessableEntity {
			t.Errorf("%s %v: status %d, want 422", try.address, try.values, r.StatusCode)
			continue
		}
		page := parsed(t, text(t, r))
		place := ".wrong p"
		if try.field != "" {
			place = "#x-" + try.field
		}
		found := page.all(place)
		if len(found) != 1 || !strings.Contains(strings.ToLower(found[0].words()), strings.ToLower(try.says)) {
			t.Errorf("%s %v: %s does not say %q: %s", try.address, try.values, place, try.says, page.one(t, ".wrong").words())
			continue
		}
		if try.field != "" {
			field := page.one(t, "#f-"+try.field)
			if field.attrs["aria-invalid"] != "true" || !strings.Contains(field.attrs["aria-describedby"], "x-"+try.field) {
				t.Errorf("%s: the field %s is not marked as wrong", try.address, try.field)
			}
		}
		for name, value := range try.values {
			for _, e := range page.all("form input[name=" + name + "]") {
				if e.attrs["type"] == "text" && e.attrs["value"] != value[0] {
					t.Errorf("%s: what was written in %s is lost", try.address, name)
				}
			}
		}
		if len(v.entries("417")) != before {
			t.Fatalf("%s %v: something was written", try.address, try.values)
		}
	}
}

func TestStrikeOut(t *testing.T) {
	q := lanternQuay(t)
	v := visit(t, q)
	id := q.instruments[0].entries[10].ID
	page := v.get("/instruments/417/strike/"+string(id), http.StatusOK)
	page.one(t, "#e-"+string(id))
	page = v.follow(v.postForm("/instruments/417/strike/"+string(id), withBy(url.Values{"why": {"wrong day"}})))
	page.one(t, ".notice.done")
	seen, err := q.See(t.Context(), "417")
	if err != nil {
		t.Fatal(err)
	}
	if by, ok := seen.Logbook.StruckOut(id); !ok || by.By != "Mats Vinter" || by.Fact.Words() != "wrong day" {
		t.Errorf("not struck out: %v", by)
	}
	if got := v.get("/instruments/417/strike/"+string(id), http.StatusOK).one(t, ".wrong").words(); !strings.Contains(got, "struck out already, by Mats Vinter") {
		t.Errorf("a second time it says %q", got)
	}
	if r := v.postForm("/instruments/417/strike/"+string(id), withBy(url.Values{"why": {"again"}})); r.StatusCode != http.StatusUnprocessableEntity {
		t.Errorf("a second time: status %d", r.StatusCode)
	}
	v.get("/instruments/417/strike/01ARZ3NDEKTSV4RRFFQ69G5FAV", http.StatusNotFound)
}

func TestUphold(t *testing.T) {
	q := lanternQuay(t)
	v := visit(t, q)
	put := v.get("/instruments/417", http.StatusOK).one(t, ".put form")
	entry := put.one(t, "[name=entry]").attrs["value"]
	page := v.follow(v.postForm(put.attrs["action"], withBy(url.Values{"entry": {entry}, "why": {"the hands were moved that hour"}})))
	if len(page.all(".put [value="+entry+"]")) != 0 {
		t.Error("the comparison is still set aside")
	}
	again := parsed(t, text(t, v.postForm(put.attrs["action"], withBy(url.Values{"entry": {entry}, "why": {"twice"}}))))
	if got := again.one(t, ".wrong").words(); !strings.Contains(got, "in use already") {
		t.Errorf("a second time it says %q", got)
	}
}

func TestEnter(t *testing.T) {
	q := emptyQuay(t)
	v := visit(t, q)
	page := v.follow(v.postForm("/owners/new", withBy(url.Values{"name": {"Ines Varga"}, "place": {"Port Amity"}})))
	if page.one(t, "h1").words() != "Ines Varga" {
		t.Error("the owner has no page")
	}
	owners, err := q.Owners(t.Context())
	if err != nil || len(owners) != 1 {
		t.Fatalf("%d owners, %v", len(owners), err)
	}
	owner := string(owners[0].ID)
	if got := v.get("/instruments/new?owner="+owner, http.StatusOK).one(t, "#f-owner option[selected]").attrs["value"]; got != owner {
		t.Errorf("owner chosen: %q", got)
	}
	values := withBy(url.Values{"number": {" 0 7/8"}, "make": {"deck watch"}, "beat": {"fifth-second"}, "dial": {"12 h"}, "going_h": {"36"}, "owner": {owner}})
	values.Set("number", "07 A")
	page = v.follow(v.postForm("/instruments/new", values))
	if got := page.one(t, "h1").words(); got != "No. 07 A" {
		t.Errorf("the instrument is %q", got)
	}
	values.Set("number", "new")
	if page = v.follow(v.postForm("/instruments/new", values)); page.one(t, "h1").words() != "No. new" {
		t.Error(`an instrument with the number "new" has no page`)
	}
	page = v.follow(v.postForm("/owners/"+owner, withBy(url.Values{"name": {"Ines Varga-Holt"}})))
	if page.one(t, "h1").words() != "Ines Varga-Holt" || len(page.all("ul.plain li")) != 2 {
		t.Error("the owner was not corrected, or has not two instruments")
	}
}

// hostile is text that would act if it were not escaped.
const hostile = `"><script>alert(1)</script><img src=x onerror=alert(1)>' {{.}} </td></table>`

func TestHostileText(t *testing.T) {
	q := lanternQuay(t)
	q.enter(chronometer.Instrument{Number: `<b>'"&#x`, Maker: hostile, Make: chronometer.DeckWatch, Beat: chronometer.HalfSecond, Dial: chronometer.Twelve, GoingH: 36, Notes: hostile, Box: hostile}, today, line{})
	k := q.instruments[0]
	q.add(k, today, hostile, chronometer.Note{Text: hostile})
	q.add(k, today, "E", chronometer.Regulated{What: hostile})
	q.fill(t)
	if _, err := q.Write(t.Context(), "E", q.owners[0], today, chronometer.Owner{Name: hostile, Notes: hostile}); err != nil {
		t.Fatal(err)
	}
	v := visit(t, q)
	for _, address := range []string{"/", "/instruments/417", "/instruments/" + url.PathEscape(`<b>'"&#x`), "/owners", "/owners/" + string(q.owners[0]), "/instruments/new", "/instruments/417/write/struck-out",
		"/instruments/417?text=" + url.QueryEscape(hostile), "/instruments/417/write/note?text=" + url.QueryEscape(hostile)} {
		page := v.get(address, http.StatusOK)
		wellMade(t, address, page, map[string]bool{})
		if n := len(page.all("script")); n != 1 {
			t.Errorf("%s: %d scripts, want the one of the page", address, n)
		}
		for _, e := range page.all("img") {
			if !strings.HasPrefix(e.attrs["src"], "/attachments/") {
				t.Errorf("%s: a picture was put in: %v", address, e.attrs)
			}
		}
	}
	if !strings.Contains(v.get("/instruments/417", http.StatusOK).raw(), hostile) {
		t.Error("the text does not stand as it was written")
	}
	page := parsed(t, text(t, v.postForm("/instruments/417/write/note", url.Values{"text": {hostile}, "by": {""}})))
	if got := page.one(t, "#f-text").raw(); got != hostile {
		t.Errorf("what was written comes back as %q", got)
	}
}

func TestForeignForms(t *testing.T) {
	q := lanternQuay(t)
	v := visit(t, q)
	before := len(v.entries("417"))
	r := httptest.NewRequest(http.MethodPost, "/instruments/417/write/note", strings.NewReader("text=x&by=y"))
	r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	r.Header.Set("Sec-Fetch-Site", "cross-site")
	answer := v.send(r)
	if answer.StatusCode != http.StatusForbidden || len(v.entries("417")) != before {
		t.Errorf("status %d, %d entries", answer.StatusCode, len(v.entries("417"))-before)
	}
	if got := parsed(t, text(t, answer)).one(t, "main").words(); !strings.Contains(got, "nothing was written") {
		t.Errorf("it says %q", got)
	}
}

func TestRefusals(t *testing.T) {
	q := lanternQuay(t)
	v := visit(t, q)
	broken := visit(t, emptyQuay(t))
	if err := broken.q.db.Close(); err != nil {
		t.Fatal(err)
	}
	_, inside := broken.q.Room(t.Context())
	if inside == nil {
		t.Fatal("a closed folder is read")
	}
	big := url.Values{"text": {strings.Repeat("x", 2<<20)}, "by": {"E"}}
	for _, try := range []struct {
		name   string
		answer *http.Response
		status int
		says   string
	}{
		{"no page", v.send(httptest.NewRequest(http.MethodGet, "/nowhere", nil)), http.StatusNotFound, "no page"},
		{"no instrument", v.send(httptest.NewRequest(http.MethodGet, "/instruments/9999", nil)), http.StatusNotFound, "No instrument"},
		{"no kind", v.send(httptest.NewRequest(http.MethodGet, "/instruments/417/write/painted", nil)), http.StatusNotFound, "no page"},
		{"no owner", v.send(httptest.NewRequest(http.MethodGet, "/owners/01ARZ3NDEKTSV4RRFFQ69G5FAV", nil)), http.StatusNotFound, "No owner"},
		{"no picture", v.send(httptest.NewRequest(http.MethodGet, "/attachments/"+strings.Repeat("0", 64), nil)), http.StatusNotFound, "no such picture"},
		{"no sum", v.send(httptest.NewRequest(http.MethodGet, "/attachments/..", nil)), http.StatusTemporaryRedirect, ""},
		{"no asset", v.send(httptest.NewRequest(http.MethodGet, "/static/0/timeball.js", nil)), http.StatusNotFound, "no page"},
		{"method", v.send(httptest.NewRequest(http.MethodDelete, "/instruments/417", nil)), http.StatusMethodNotAllowed, "cannot be used that way"},
		{"too large", v.postForm("/instruments/417/write/note", big), http.StatusRequestEntityTooLarge, "more than can be taken"},
		{"no form", v.send(httptest.NewRequest(http.MethodPost, "/instruments/417/import", strings.NewReader("x"))), http.StatusUnprocessableEntity, "cannot be read"},
		{"broken", broken.send(httptest.NewRequest(http.MethodGet, "/", nil)), http.StatusInternalServerError, "what was written before is safe"},
	} {
		if try.answer.StatusCode != try.status {
			t.Errorf("%s: status %d, want %d", try.name, try.answer.StatusCode, try.status)
			continue
		}
		body := text(t, try.answer)
		if strings.Contains(body, inside.Error()) {
			t.Errorf("%s: the page tells what happened inside", try.name)
		}
		if try.says == "" {
			continue
		}
		page := parsed(t, body)
		if got := page.one(t, "main").words(); !strings.Contains(got, try.says) {
			t.Errorf("%s: %q", try.name, got)
		}
		page.one(t, "main a.now")
	}
	if allow := v.send(httptest.NewRequest(http.MethodDelete, "/owners/new", nil)).Header.Get("Allow"); !strings.Contains(allow, "POST") {
		t.Errorf("allowed methods: %q", allow)
	}
}

// TestHeaders holds every answer against OWASP HTTP Security Response Headers
// Cheat Sheet: nosniff, no framing, a policy without inline style or script.
func TestHeaders(t *testing.T) {
	q := lanternQuay(t)
	v := visit(t, q)
	css := v.get("/", http.StatusOK).all("link[rel=stylesheet]")[0].attrs["href"]
	for _, address := range []string{"/", "/instruments/417", "/nowhere", css, "/clock/exchange", "/owners"} {
		h := v.send(httptest.NewRequest(http.MethodGet, address, nil)).Header
		policy := h.Get("Content-Security-Policy")
		if !strings.HasPrefix(policy, "default-src 'none'") || strings.Contains(policy, "unsafe") || !strings.Contains(policy, "frame-ancestors 'none'") {
			t.Errorf("%s: policy %q", address, policy)
		}
		if h.Get("X-Content-Type-Options") != "nosniff" || h.Get("X-Frame-Options") != "DENY" || h.Get("Content-Type") == "" {
			t.Errorf("%s: %v", address, h)
		}
	}
	if got := v.send(httptest.NewRequest(http.MethodGet, css, nil)).Header.Get("Cache-Control"); !strings.Contains(got, "immutable") {
		t.Errorf("the style sheet is kept %q", got)
	}
	if got := text(t, v.send(httptest.NewRequest(http.MethodGet, "/clock/exchange", nil))); !strings.Contains(got, fmt.Sprintf(`"received_ms":%d`, today.UnixMilli())) {
		t.Errorf("the clock says %q", got)
	}
}

const rateBook = "utc;error_s\n2027-02-20T10:00:00Z;-10.9\n2027-02-21T10:00:00Z;48.7\n2027-02-22T10:00:00Z;-11.7\n2027-02-23T10:00:00Z;-12.2\n"

func TestImport(t *testing.T) {
	q := lanternQuay(t)
	v := visit(t, q)
	before := len(v.entries("731"))
	r := v.postFile("/instruments/731/import", map[string]string{"by": "Mats Vinter"}, "book.csv", []byte(rateBook))
	page := parsed(t, text(t, r))
	if r.StatusCode != http.StatusOK || len(v.entries("731")) != before {
		t.Fatalf("status %d; %d entries were written by looking", r.StatusCode, len(v.entries("731"))-before)
	}
	if got := page.one(t, "main").words(); !strings.Contains(got, "book.csv: four rows, four new entries") || !strings.Contains(got, "The cells are parted by semicolons.") || !strings.Contains(got, "reads one minute out") {
		t.Errorf("the preview says %q", got)
	}
	form := page.one(t, "form.bringing")
	values := map[string]string{}
	for _, e := range form.all("input") {
		values[e.attrs["name"]] = e.attrs["value"]
	}
	page = v.follow(v.postFile(form.attrs["action"], values, "", nil))
	if got := page.one(t, ".notice.done").words(); got != "Four entries brought in." {
		t.Errorf("it says %q", got)
	}
	if n := len(v.entries("731")); n != before+4 {
		t.Errorf("%d entries, want %d", n, before+4)
	}
	for _, try := range []struct {
		name, by string
		file     []byte
		field    string
		says     string
	}{
		{"bad row", "E", []byte("utc,error_s\nyesterday,3\n"), "file", "Line 2, column utc"},
		{"empty", "E", []byte(" \n"), "file", "is empty"},
		{"none", "E", nil, "file", "Choose the file"},
		{"nobody", "", []byte(rateBook), "by", "Say who"},
		{"large", "E", bytes.Repeat([]byte("# nothing\n"), 450_000), "file", "larger than 4 MB"},
	} {
		r := v.postFile("/instruments/731/import", map[string]string{"by": try.by}, "book.csv", try.file)
		if r.StatusCode != http.StatusUnprocessableEntity {
			t.Errorf("%s: status %d", try.name, r.StatusCode)
			continue
		}
		if got := parsed(t, text(t, r)).one(t, "#x-"+try.field).words(); !strings.Contains(got, try.says) {
			t.Errorf("%s: %q", try.name, got)
		}
	}
	large := []byte("utc,error_s\n" + "2027-01-20T10:00:00Z,0.2\n" + strings.Repeat("# nothing\n", 150_000))
	page = parsed(t, text(t, v.postFile("/instruments/731/import", map[string]string{"by": "E"}, "long.csv", large)))
	if len(page.one(t, "form.bringing").all("[type=file]")) != 1 {
		t.Error("a file that is too large to carry is not asked for again")
	}
}

// dialPicture returns a JPEG of 2000 by 1000 pixels with a segment of EXIF.
func dialPicture(t testing.TB) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := jpeg.Encode(&b, image.NewGray(image.Rect(0, 0, 2000, 1000)), nil); err != nil {
		t.Fatal(err)
	}
	return append([]byte("\xff\xd8\xff\xe1\x00\x0eExif\x00\x00II*\x00\x00\x00"), b.Bytes()[2:]...)
}

func TestPhotograph(t *testing.T) {
	q := lanternQuay(t)
	v := visit(t, q)
	const address = "/instruments/417/write/photograph"
	picture := dialPicture(t)
	page := v.follow(v.postFile(address, map[string]string{"by": "E", "caption": "the dial"}, `C:\pictures\dial.jpg`, picture))
	img := page.all("#logbook-lines img")[0]
	if img.attrs["alt"] != "the dial" {
		t.Errorf("the picture says %q", img.attrs["alt"])
	}
	r := v.send(httptest.NewRequest(http.MethodGet, img.attrs["src"], nil))
	if r.Header.Get("Content-Type") != "image/jpeg" || r.Header.Get("X-Content-Type-Options") != "nosniff" || !strings.Contains(r.Header.Get("Content-Security-Policy"), "sandbox") {
		t.Errorf("served as %v", r.Header)
	}
	served := text(t, r)
	if m, err := jpeg.DecodeConfig(strings.NewReader(served)); err != nil || m.Width != 1600 || m.Height != 800 || strings.Contains(served, "Exif") || !strings.Contains(string(picture), "Exif") {
		t.Errorf("a picture of %d by %d pixels was kept: %v", m.Width, m.Height, err)
	}
	page404 := "<html><script>alert(1)</script></html>"
	r = v.postFile(address, map[string]string{"by": "E", "caption": "not one"}, "dial.jpg", []byte(page404))
	page = parsed(t, text(t, r))
	if r.StatusCode != http.StatusUnprocessableEntity || page.one(t, "#x-file").words() != "The file is a page of HTML or XML; choose the picture itself, as JPEG." || page.one(t, "#f-caption").attrs["value"] != "not one" {
		t.Errorf("a page as a picture: status %d, %q", r.StatusCode, page.one(t, "#x-file").words())
	}
	r = v.postFile(address, map[string]string{"by": "E"}, "dial.heic", []byte("\x00\x00\x00\x18ftypheic\x00\x00\x00\x00mif1heic"))
	if words := parsed(t, text(t, r)).one(t, "#x-file").words(); r.StatusCode != http.StatusUnprocessableEntity || !strings.Contains(words, "let the telephone send it as JPEG") {
		t.Errorf("HEIC: status %d, %q", r.StatusCode, words)
	}
	sum := q.keep(t, "text/html", []byte(page404))
	r = v.send(httptest.NewRequest(http.MethodGet, "/attachments/"+sum, nil))
	if r.Header.Get("Content-Type") != "application/octet-stream" || !strings.HasPrefix(r.Header.Get("Content-Disposition"), "attachment") {
		t.Errorf("a stored page is served as %v", r.Header)
	}
}

func TestTwoOfOneNumber(t *testing.T) {
	q := lanternQuay(t)
	k := q.enter(chronometer.Instrument{Number: "417", Maker: "Another", Make: chronometer.DeckWatch, Beat: chronometer.HalfSecond, Dial: chronometer.Twelve, GoingH: 36}, today, line{})
	q.fill(t)
	page := visit(t, q).get("/", http.StatusOK)
	if len(page.all(fmt.Sprintf("a[href=/instruments/%s]", k.id))) == 0 || len(page.all("a[href=/instruments/417]")) != 0 {
		t.Error("two instruments with one number are not told apart")
	}
}

// hidden returns the values that a form carries along.
func hidden(t *testing.T, page *element, form string) url.Values {
	t.Helper()
	values := url.Values{}
	for _, e := range page.one(t, form).all("input[type=hidden]") {
		values.Set(e.attrs["name"], e.attrs["value"])
	}
	if len(values.Get("id")) != 26 {
		t.Fatalf("the form carries no ID: %v", values)
	}
	return values
}

// TestSentTwice sends every kind of form twice, as a double tap or a flaky line
// does: one entry is written and both get the same answer.
func TestSentTwice(t *testing.T) {
	q := lanternQuay(t)
	v := visit(t, q)
	all := func() int {
		t.Helper()
		n := 0
		for _, err := range q.db.Entries(t.Context()) {
			if err != nil {
				t.Fatal(err)
			}
			n++
		}
		return n
	}
	entry := string(q.instruments[0].entries[10].ID)
	picture := dialPicture(t)
	for _, try := range []struct {
		name, page, form string
		values           url.Values
		file             []byte
	}{
		{"compared", "/instruments/417/write/compared", ".form", url.Values{"at": {"2027-03-04 09:13:30"}, "error_s": {"14.7"}}, nil},
		{"note, now", "/instruments/417/write/note", ".form", url.Values{"at": {"now"}, "text": {"once"}}, nil},
		{"stopped", "/instruments/1102/write/stopped", ".form", url.Values{"at": {"now"}, "why": {"for work"}}, nil},
		{"upheld", "/instruments/417", ".put form", url.Values{"why": {"the hands were moved that hour"}}, nil},
		{"struck out", "/instruments/417/strike/" + entry, ".form", url.Values{"why": {"wrong day"}}, nil},
		{"picture", "/instruments/417/write/photograph", ".form", url.Values{"caption": {"the dial"}}, picture},
		{"another number", "/instruments/731/write/entered", ".form", url.Values{"number": {"732"}, "make": {"deck watch"}, "beat": {"fifth-second"}, "dial": {"12 h"}, "going_h": {"36"}}, nil},
		{"entered", "/instruments/new", ".form", url.Values{"number": {"5"}, "make": {"deck watch"}, "beat": {"fifth-second"}, "dial": {"12 h"}, "going_h": {"36"}}, nil},
		{"owner", "/owners/new", ".form", url.Values{"name": {"Ines Varga"}}, nil},
		{"owner corrected", "/owners/" + string(q.owners[0]), ".form", url.Values{"name": {"Signe Vandrell-Holt"}}, nil},
	} {
		page := v.get(try.page, http.StatusOK)
		action := page.one(t, try.form).attrs["action"]
		values := withBy(try.values)
		for name, carried := range hidden(t, page, try.form) {
			values[name] = carried
		}
		send := func() *http.Response {
			if try.file == nil {
				return v.postForm(action, values)
			}
			flat := map[string]string{}
			for name := range values {
				flat[name] = values.Get(name)
			}
			return v.postFile(action, flat, "dial.jpg", try.file)
		}
		before := all()
		first := send()
		v.q.now = v.q.now.Add(3 * time.Second) // the second arrival comes later
		second := send()
		v.follow(first)
		v.follow(second)
		if a, b := first.Header.Get("Location"), second.Header.Get("Location"); a != b {
			t.Errorf("%s: the first goes to %s, the second to %s", try.name, a, b)
		}
		if n := all() - before; n != 1 {
			t.Errorf("%s: %d entries were written", try.name, n)
		}
	}
}

// TestSentAgainAltered goes back to a form that was sent and writes something
// else into it: it is refused in words, nothing is lost, and once more sent it
// is another entry.
func TestSentAgainAltered(t *testing.T) {
	v := visit(t, lanternQuay(t))
	const address = "/instruments/417/write/note"
	values := withBy(hidden(t, v.get(address, http.StatusOK), ".form"))
	values.Set("text", "the first")
	v.follow(v.postForm(address, values))
	before := len(v.entries("417"))
	values.Set("text", "the second")
	r := v.postForm(address, values)
	page := parsed(t, text(t, r))
	if r.StatusCode != http.StatusUnprocessableEntity || len(v.entries("417")) != before {
		t.Fatalf("status %d, %d more entries", r.StatusCode, len(v.entries("417"))-before)
	}
	if got := page.one(t, ".wrong p").words(); !strings.Contains(got, "It was sent before with other content") || !strings.Contains(got, "Mats Vinter") {
		t.Errorf("it says %q", got)
	}
	if got := page.one(t, "#f-text").raw(); got != "the second" {
		t.Errorf("what was written comes back as %q", got)
	}
	again := hidden(t, page, ".form")
	if again.Get("id") == values.Get("id") {
		t.Error("the form comes back under the same ID")
	}
	values.Set("id", again.Get("id"))
	v.follow(v.postForm(address, values))
	if n := len(v.entries("417")) - before; n != 1 {
		t.Errorf("%d more entries, want the second", n)
	}
	// A form that is wrong keeps its ID: what it stands for is the same entry.
	values.Set("text", "")
	if got := hidden(t, parsed(t, text(t, v.postForm(address, values))), ".form"); got.Get("id") != values.Get("id") {
		t.Error("a form with a mistake comes back under another ID")
	}
}

// TestImportArnold36 brings the daily errors of Arnold's pocket chronometer
// no. 36 at Greenwich, 1779 to 1780 (J. Arnold, An Account …, London 1780),
// through the page and wants the 341 of them rated.
func TestImportArnold36(t *testing.T) {
	file, err := os.ReadFile("../../docs/examples/greenwich-1779.csv")
	if err != nil {
		t.Fatal(err)
	}
	v := visit(t, emptyQuay(t))
	v.follow(v.postForm("/instruments/new", url.Values{"by": {"E"}, "number": {"36"}, "make": {"pocket chronometer"}, "beat": {"other"}, "dial": {"12 h"}, "going_h": {"30"}}))
	page := parsed(t, text(t, v.postFile("/instruments/36/import", map[string]string{"by": "E"}, "greenwich-1779.csv", file)))
	if got := page.one(t, "main").words(); !strings.Contains(got, "341 rows, 341 new entries") || !strings.Contains(got, "337 of 341") {
		t.Errorf("the preview says %.400q", got)
	}
	values := map[string]string{}
	for _, e := range page.one(t, "form.bringing").all("input") {
		values[e.attrs["name"]] = e.attrs["value"]
	}
	page = v.follow(v.postFile(page.one(t, "form.bringing").attrs["action"], values, "", nil))
	if got := page.one(t, "main").words(); !strings.Contains(got, "losing 0.608 s") || !strings.Contains(got, "341 comparisons since 26 March 1779") {
		t.Errorf("the instrument says %.600q", got)
	}
}

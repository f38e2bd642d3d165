package api

import (
	"bytes"
	"encoding/json"
	"fmt"
	"image"
	"image/png"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"os"
	"strings"
	"testing"
	"time"

	"timeball/internal/chronometer"
	"timeball/internal/ratebook"
)

// TestSession asks every route for each answer that the document lists, and
// holds every one against it.
func TestSession(t *testing.T) {
	w, db := openQuay(t)
	d := newDesk(t, w)
	object := func(pairs ...any) map[string]any {
		m := map[string]any{}
		for i := 0; i < len(pairs); i += 2 {
			m[pairs[i].(string)] = pairs[i+1]
		}
		return m
	}
	wrongType := func(q question) question { q.media = "text/plain"; return q }
	tooLarge := func(q question) question {
		q.body = strings.Repeat(" ", mostBook+1)
		return q
	}
	made := object("number", "0733 B", "maker", "Ysolt Harnage, Oskerby", "make", "box chronometer", "beat", "half-second", "dial", "12 h", "going_h", 56)

	d.ask(t, get("/kinds"), 200)
	d.ask(t, get("/kinds?all=1"), 400)
	d.ask(t, get("/openapi.json"), 200)
	d.ask(t, get("/openapi.json?version=3"), 400)
	d.ask(t, get("/instruments"), 200)
	d.ask(t, get("/instruments?sort=rate"), 400)
	for _, number := range []string{"417", "12", "88", "219%20L", "640", "73", "1906"} {
		d.ask(t, get("/instruments/%s", number), 200)
	}
	d.ask(t, get("/instruments/417?x"), 400)
	d.ask(t, get("/instruments/9999"), 404)

	d.ask(t, get("/instruments/417/rating"), 200)
	d.ask(t, get("/instruments/417/rating?at=2027-05-01T00:00:00Z&at=2026-12-01T00:00:00Z"), 200)
	d.ask(t, get("/instruments/417/rating?at=tomorrow"), 400)
	d.ask(t, get("/instruments/417/rating?at=%%zz"), 400)
	d.ask(t, get("/instruments/417/rating?%s", strings.Repeat("at=2027-05-01T00:00:00Z&", mostAsked+1)), 400)
	d.ask(t, get("/instruments/9999/rating"), 404)
	d.ask(t, get("/instruments/73/rating"), 409)

	d.ask(t, get("/instruments/12/entries"), 200)
	d.ask(t, get("/instruments/12/entries?kind=compared&limit=3&after=2027-01-01T00:00:00Z"), 200)
	d.ask(t, get("/instruments/12/entries?limit=0"), 400)
	d.ask(t, get("/instruments/12/entries?kind=measured"), 400)
	d.ask(t, get("/instruments/12/entries?after=yesterday"), 400)
	d.ask(t, get("/instruments/12/entries?after=01ARZ3NDEKTSV4RRFFQ69G5FAV"), 400)
	d.ask(t, get("/instruments/12/entries?kind=wound&kind=found"), 400)
	d.ask(t, get("/instruments/9999/entries"), 404)

	d.ask(t, get("/owners"), 200)
	d.ask(t, get("/owners?place=Veyre"), 400)
	got := d.ask(t, post("/owners", object("by", "R. Halvane", "owner", object("name", "Harbour Trust", "place", "Skerrow"))), 201)
	owner := read[Owner](t, got)
	d.ask(t, post("/owners", `{"by": "R. Halvane", "owner": {"name": "x"}, "colour": 1}`), 400)
	d.ask(t, post("/owners", object("by", "R. Halvane", "owner", object("place", "Skerrow"))), 422)
	d.ask(t, wrongType(post("/owners", object())), 415)
	d.ask(t, tooLarge(post("/owners", object())), 413)

	made["owner"] = owner.ID
	got = d.ask(t, post("/instruments", object("by", "R. Halvane", "instrument", made)), 201)
	entered := read[Instrument](t, got)
	if entered.Owner == nil || entered.Owner.Name != "Harbour Trust" || entered.Number != "0733 B" {
		t.Errorf("entered %+v", entered)
	}
	if at := got.header.Get("Location"); at != Root+"/instruments/"+entered.ID {
		t.Errorf("location %q", at)
	}
	d.ask(t, post("/instruments", object("by", "R. Halvane", "instrument", made)), 409)
	d.ask(t, post("/instruments", `{`), 400)
	d.ask(t, post("/instruments", object("by", "R. Halvane", "instrument", object("number", "5"))), 422)
	d.ask(t, post("/instruments", object("by", " ", "instrument", made)), 422)
	made["owner"], made["number"] = entered.ID, "0734"
	d.ask(t, post("/instruments", object("by", "R. Halvane", "instrument", made)), 422)
	d.ask(t, wrongType(post("/instruments", object())), 415)
	d.ask(t, tooLarge(post("/instruments", object())), 413)

	const at = "/instruments/0733%20B"
	d.ask(t, post(at+"/entries", entry(time.Hour, chronometer.KindWound, object("half_turns", 7.5))), 201)
	d.ask(t, post(at+"/entries", `{"at": "2027-03-04T08:00:00Z", "by": "R. Halvane", "kind": "wound", "fact": {}, "turns": 7}`), 400)
	d.ask(t, post(at+"/entries", entry(time.Hour, chronometer.KindWound, object("turns", 7))), 422)
	d.ask(t, post(at+"/entries", entry(time.Hour, chronometer.KindWound, nil)), 422)
	d.ask(t, post(at+"/entries", entry(time.Hour, "polished", object())), 422)
	d.ask(t, post(at+"/entries", entry(time.Hour, chronometer.KindOwner, object("name", "x"))), 422)
	d.ask(t, post(at+"/entries", entry(time.Hour, chronometer.KindPhotograph, object("sha256", strings.Repeat("a", 64)))), 422)
	d.ask(t, post(at+"/entries", entry(time.Hour, chronometer.KindListened, json.RawMessage(`{"rate_s_per_day":1}`))), 422)
	lost := `{"sha256":"` + strings.Repeat("a", 64) + `","type":"audio/wav","bytes":7}`
	d.ask(t, post(at+"/entries", entry(time.Hour, chronometer.KindListened, json.RawMessage(`{"rate_s_per_day":1,"rate_sd_s_per_day":0.1,"recording":`+lost+`}`))), 422)
	d.ask(t, post(at+"/entries", object("at", "2027-03-04 8:00", "by", "R. Halvane", "kind", "wound", "fact", object())), 422)
	d.ask(t, post(at+"/entries", entry(-time.Hour, chronometer.KindWound, object())), 409)
	d.ask(t, post("/instruments/9999/entries", entry(time.Hour, chronometer.KindWound, object())), 404)
	d.ask(t, wrongType(post(at+"/entries", object())), 415)
	d.ask(t, tooLarge(post(at+"/entries", object())), 413)

	found := read[lines](t, d.ask(t, get("%s/entries?kind=wound", at), 200))
	strike := at + "/entries/" + found.Entries[0].ID + "/strike-out"
	why := object("by", "R. Halvane", "why", "wrong instrument")
	d.ask(t, post(strike, `["why"]`), 400)
	d.ask(t, post(strike, object("by", "R. Halvane", "why", "")), 422)
	d.ask(t, wrongType(post(strike, why)), 415)
	d.ask(t, tooLarge(post(strike, why)), 413)
	d.ask(t, post(strike, why), 201)
	d.ask(t, post(strike, why), 409)
	d.ask(t, post(at+"/entries/01ARZ3NDEKTSV4RRFFQ69G5FAV/strike-out", why), 404)
	d.ask(t, post(at+"/entries/nonsense/strike-out", why), 404)
	after := read[lines](t, d.ask(t, get("%s/entries?kind=wound", at), 200))
	if s := after.Entries[0].Struck; s == nil || s.Why != "wrong instrument" || s.By != "R. Halvane" {
		t.Errorf("struck out: %+v", after.Entries[0])
	}

	book := referenceBook(t, "blunders")
	d.ask(t, postBook(at+"/comparisons?by=R.+Halvane&preview=1", book), 200)
	d.ask(t, postBook(at+"/comparisons?by=R.+Halvane", book), 200)
	d.ask(t, postBook(at+"/comparisons", book), 400)
	d.ask(t, postBook(at+"/comparisons?by=R.+Halvane&preview=yes", book), 400)
	d.ask(t, postBook(at+"/comparisons?by=R.+Halvane", "utc,dial\n2025-01-01T00:00:00Z,25:00:00\n"), 422)
	d.ask(t, postBook("/instruments/9999/comparisons?by=R.+Halvane", book), 404)
	d.ask(t, wrongType(postBook(at+"/comparisons?by=R.+Halvane", book)), 415)
	d.ask(t, tooLarge(postBook(at+"/comparisons?by=R.+Halvane", "")), 413)
	d.ask(t, get("%s/comparisons.csv", at), 200)
	d.ask(t, get("%s/comparisons.csv?kind=wound", at), 400)
	d.ask(t, get("/instruments/9999/comparisons.csv"), 404)

	d.ask(t, get("/instruments/417/trial"), 200)
	d.ask(t, get("/instruments/306/trial"), 200)
	d.ask(t, get("/instruments/417/trial?day=3"), 400)
	d.ask(t, get("/instruments/58/trial"), 404)
	d.ask(t, get("/instruments/9999/trial"), 404)
	d.ask(t, post("/instruments/58/entries", entry(time.Hour, chronometer.KindTrialBegun, object("programme", "of long ago", "text", "as they did then"))), 201)
	d.ask(t, get("/instruments/58/trial"), 409)
	d.ask(t, get("/certificates/%s", strings.Repeat("0a", 32)), 200)
	d.ask(t, get("/certificates/diploma"), 422)
	d.ask(t, get("/certificates/%s?x", strings.Repeat("0a", 32)), 400)

	d.ask(t, get("/standard?x=1"), 400)
	if std := read[Standard](t, d.ask(t, get("/standard"), 200)); !std.UTC.Equal(morning) || std.BoundS != nil || std.Fit {
		t.Errorf("the clock of a test is told as %+v, want UTC without a bound", std)
	}

	w.Close()
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
	made["owner"] = owner.ID
	for _, q := range []question{
		get("/instruments"), get("/instruments/417"), get("/instruments/417/rating"), get("/instruments/417/entries"), get("/instruments/417/comparisons.csv"), get("/owners"),
		get("/instruments/417/trial"), get("/certificates/%s", strings.Repeat("0a", 32)),
		post("/owners", object("by", "R. Halvane", "owner", object("name", "x"))), post("/instruments", object("by", "R. Halvane", "instrument", made)),
		post(at+"/entries", entry(time.Hour, chronometer.KindWound, object())), post(strike, why), postBook(at+"/comparisons?by=R.+Halvane", book),
	} {
		d.ask(t, q, 500)
	}
	everyAnswer(t, d)
}

// everyAnswer fails for an answer in the document that was not seen.
func everyAnswer(t *testing.T, d *desk) {
	t.Helper()
	// Two must bring in the same file at the same instant to see this one.
	d.seen["importComparisons 409"] = true
	for path, item := range readDocument(t, document).Paths.Map() {
		for method, op := range item.Operations() {
			for status := range op.Responses.Map() {
				if !d.seen[op.OperationID+" "+status] {
					t.Errorf("%s %s: answer %s was never seen", method, path, status)
				}
			}
		}
	}
}

// TestElsewhere asks where there is nothing, and in ways that are not taken.
func TestElsewhere(t *testing.T) {
	w, _ := openQuay(t)
	d := newDesk(t, w)
	for _, test := range []struct {
		method, path string
		status       int
		allow        string
	}{
		{"GET", Root + "/nowhere", 404, ""},
		{"GET", Root + "/instruments/417/rating/now", 404, ""},
		{"GET", "/", 404, ""},
		{"DELETE", Root + "/instruments/417", 405, "GET, HEAD"},
		{"PUT", Root + "/instruments/417/entries", 405, "GET, HEAD, POST"},
		{"PATCH", Root + "/owners", 405, "GET, HEAD, POST"},
		{"POST", Root + "/kinds", 405, "GET, HEAD"},
	} {
		q := question{method: test.method, path: test.path}
		got := d.bare(q)
		if got.status != test.status || got.header.Get("Allow") != test.allow {
			t.Errorf("%s %s: %d, allow %q, want %d, %q", test.method, test.path, got.status, got.header.Get("Allow"), test.status, test.allow)
		}
		checkRefusal(t, q, got)
	}
	if got := d.bare(question{method: "HEAD", path: Root + "/instruments/417"}); got.status != 200 {
		t.Errorf("HEAD: %d", got.status)
	}
}

// TestBodies sends bodies that cannot be taken, and wants the reason.
func TestBodies(t *testing.T) {
	w, _ := openQuay(t)
	d := newDesk(t, w)
	const path = Root + "/instruments/417/entries"
	good := `{"at":"2027-03-04T08:00:00Z","by":"R. Halvane","kind":"note","fact":{"text":"x"}}`
	for _, test := range []struct {
		name, media, body string
		status            int
		say               string
	}{
		{"no type", "", good, 415, "application/json"},
		{"form", "application/x-www-form-urlencoded", good, 415, "application/json"},
		{"other letters", "application/json; charset=latin1", good, 415, "UTF-8"},
		{"not UTF-8", jsonType, strings.Replace(good, `"x"`, "\"\xff\"", 1), 400, "UTF-8"},
		{"empty", jsonType, "", 400, "one JSON object"},
		{"null", jsonType, "null", 400, "one JSON object"},
		{"two", jsonType, good + good, 400, "after the object"},
		{"cut off", jsonType, good[:40], 400, "unexpected"},
		{"number for a name", jsonType, strings.Replace(good, `"R. Halvane"`, "7", 1), 400, "field by cannot be a number"},
		{"unknown field", jsonType, strings.Replace(good, `"by"`, `"colour":1,"by"`, 1), 400, `unknown field "colour"`},
		{"unknown field of the fact", jsonType, strings.Replace(good, `"text"`, `"colour":1,"text"`, 1), 422, `unknown field "colour"`},
		{"nobody", jsonType, strings.Replace(good, "R. Halvane", "", 1), 422, "by is missing"},
		{"long name", jsonType, strings.Replace(good, "R. Halvane", strings.Repeat("R", 201), 1), 422, "at most 200"},
		{"no zone", jsonType, strings.Replace(good, "00Z", "00", 1), 422, "zone"},
		{"too large", jsonType, strings.Replace(good, "x", strings.Repeat("x", mostJSON), 1), 413, "larger than 1024 kB"},
	} {
		t.Run(test.name, func(t *testing.T) {
			q := question{method: http.MethodPost, path: path, media: test.media, body: test.body}
			got := d.bare(q)
			if got.status != test.status || !strings.Contains(string(bytes.ReplaceAll(got.body, []byte(`\"`), []byte(`"`))), test.say) {
				t.Errorf("%d %s, want %d and %q", got.status, got.body, test.status, test.say)
			}
			checkRefusal(t, q, got)
		})
	}
	// Without a length the reader itself must stop.
	r := question{method: http.MethodPost, path: path, media: jsonType, body: strings.Repeat(" ", mostJSON+1)}.request()
	r.ContentLength = -1
	rec := newRecorder(d.handler, r)
	if rec.Code != http.StatusRequestEntityTooLarge {
		t.Errorf("without a length: %d %s", rec.Code, rec.Body)
	}
	entries := read[lines](t, d.ask(t, get("/instruments/417/entries?kind=note&after=2027-03-04T07:00:00Z"), 200))
	if len(entries.Entries) != 0 {
		t.Errorf("refused bodies left %d entries", len(entries.Entries))
	}
}

// TestEveryKind writes one entry of each kind and reads it back as sent.
func TestEveryKind(t *testing.T) {
	w, db := openQuay(t)
	d := newDesk(t, w)
	got := d.ask(t, post("/instruments", `{"by":"R. Halvane","instrument":{"number":"9","make":"deck watch","beat":"fifth-second","dial":"24 h","going_h":30}}`), 201)
	id := chronometer.ID(read[Instrument](t, got).ID)
	picID, err := w.NewID(t.Context(), id, chronometer.KindPhotograph)
	if err != nil {
		t.Fatal(err)
	}
	var dial bytes.Buffer
	if err := png.Encode(&dial, image.NewGray(image.Rect(0, 0, 12, 8))); err != nil {
		t.Fatal(err)
	}
	picture, err := w.Attach(t.Context(), picID, "R. Halvane", id, morning.Add(-time.Hour), "dial.png", "the dial", &dial)
	if err != nil {
		t.Fatal(err)
	}
	sound, err := db.Attach(t.Context(), strings.NewReader("a sound"), 100, "audio/wav", "beat.wav")
	if err != nil {
		t.Fatal(err)
	}
	signed, err := db.Attach(t.Context(), strings.NewReader("%PDF-"), 100, "application/pdf", "one.pdf")
	if err != nil {
		t.Fatal(err)
	}
	recording := fmt.Sprintf(`{"sha256":%q,"name":"beat.wav","type":"audio/wav","bytes":7}`, sound.SHA256)
	shown := fmt.Sprintf(`{"sha256":%q,"type":"audio/wav","bytes":7}`, picture.Fact.(chronometer.Photograph).SHA256)
	refused := d.ask(t, post("/instruments/9/entries", entry(time.Hour, chronometer.KindListened, json.RawMessage(`{"rate_s_per_day":1,"rate_sd_s_per_day":0.1,"recording":`+shown+`}`))), 422)
	if !strings.Contains(string(refused.body), "is no recording") {
		t.Errorf("a picture named as a recording: %s", refused.body)
	}
	sent := map[chronometer.Kind]string{}
	ids := map[chronometer.Kind]string{}
	ago := 24 * time.Hour
	write := func(kind chronometer.Kind, fact string) {
		t.Helper()
		ago -= time.Minute
		e := read[line](t, d.ask(t, post("/instruments/9/entries", entry(ago, kind, json.RawMessage(fact))), 201))
		if !e.At.Equal(morning.Add(-ago)) || !e.Written.Equal(morning) || e.By != "R. Halvane" || e.Kind != string(kind) {
			t.Errorf("written as %+v", e)
		}
		sent[kind], ids[kind] = fact, e.ID
	}
	write(chronometer.KindStarted, `{"how":"one gentle turn on the signal"}`)
	write(chronometer.KindCompared, `{"dial":"7:41:03.5","sd_s":0.1,"method":"sound","observer":"T. Morrow","standard":"radio","standard_sd_s":0.05,"temp_c":-3.5,"position":"dial up","wound_h":2,"note":"<b>&","kept":{"offset_s":0.01,"bound_s":0.004,"device_s":0.009},"tapped":{"every_s":5,"at_s":[-5,0.03],"device":"bench telephone","lag_s":-0.035,"lag_sd_s":0.04},`+
		`"heard":{"beats":58,"duration_s":30,"phase_s":0.123,"beat_s":0.5,"taken":"tap","latency_s":0.031,"latency_sd_s":0.006,"microphone":"bench","microphone_key":"f3a9","recording":`+recording+`}}`)
	write(chronometer.KindListened, `{"rate_s_per_day":-0.84,"rate_sd_s_per_day":0.06,"rate_sd_recording_s_per_day":0.011,"duration_s":36000,"beats":71990,"missed":10,"beats_per_hour":14400,"beat_jitter_s":0.000021,`+
		`"timebase":{"source":"calibrated","ppm":-12.5,"ppm_sd":0.6},"amplitude_deg":225,"amplitude_sd_deg":2,"lift_angle_deg":40,"out_of_beat_ms":-1.2,"out_of_beat_sd_ms":0.05,"out_of_beat_deg":1.7,`+
		`"verdict":"regular beat","microphone":"bench","temp_c":18.5,"position":"dial up","wound_h":3,"note":"over night","recording":`+recording+`,`+
		`"reading":{"teeth_us":[-30,12.5,17.5],"teeth_sd_us":2,"amplitude":[{"h":0.5,"deg":225,"sd_deg":2}],"rate":[{"h":0.5,"s_per_day":-0.9,"sd_s_per_day":0.1}]}}`)
	write(chronometer.KindWound, `{"half_turns":7.5,"up_down_h":22,"up_down_after_h":54}`)
	write(chronometer.KindTemperature, `{"temp_c":0}`)
	write(chronometer.KindMoved, `{"by_s":60}`)
	write(chronometer.KindSet, `{}`)
	write(chronometer.KindRegulated, `{"what":"as agreed","part":"timing screws","turns":0.125,"way":"in","alone":true,"held":true,"much":"an eighth in","for_s_per_day":-1.5}`)
	write(chronometer.KindTrialBegun, `{"programme":"ten days","text":"as agreed","note":"for the owner"}`)
	write(chronometer.KindTrialEnded, `{"why":"finished"}`)
	write(chronometer.KindCertified, fmt.Sprintf(`{"certificate":"9-2027-03-04","trial":%q,"until":"2027-03-04T08:00:00Z","digest":%q,"entries":4,"figures":{"epoch":"2027-03-04T07:00:00Z","error_s":1,"error_sd_s":0.1,"rate_s_per_day":-0.7,"rate_sd_s_per_day":0.05,"steadiness_s_per_day":0.1,"steadiness_sd_s_per_day":0.02,"verdict":"kept","criteria":[{"name":"M","value":-0.7,"value_sd":0.05}]},"pdf_sha256":%q,"paper":"A4"}`,
		ids[chronometer.KindTrialBegun], strings.Repeat("ab", 32), signed.SHA256))
	write(chronometer.KindPlaced, `{"position":"XII up","station":"in a trial","where":"oven","temp_c":32}`)
	write(chronometer.KindFromGimbals, `{}`)
	write(chronometer.KindStopped, `{"why":"for work"}`)
	write(chronometer.KindJourney, `{"to":"home","by_hand":true,"goes":"going","note":"in two days"}`)
	write(chronometer.KindStepDone, fmt.Sprintf(`{"journey":%q,"step":"P01","title":"Papers","note":"all there"}`, ids[chronometer.KindJourney]))
	write(chronometer.KindEnquired, `{"what":"it gains","from":"Signe Vandrell","note":"by letter"}`)
	write(chronometer.KindEstimated, `{"work":"clean and oil","hours":9.5,"cost":"480.00 EUR","days":60,"note":"parts aside"}`)
	write(chronometer.KindApproved, `{"who":"Signe Vandrell","up_to":"500.00 EUR","note":"by letter"}`)
	write(chronometer.KindFound, `{"condition":"dry"}`)
	write(chronometer.KindWorkDone, `{"work":"serviced","parts":"none","measurements":"drop","hours":8,"cost":"460.50 EUR","service":true}`)
	write(chronometer.KindReady, `{"note":"tell the owner"}`)
	write(chronometer.KindHeld, `{"with":"brake"}`)
	write(chronometer.KindPacked, `{"how":"out of the gimbals, balance held, dial up"}`)
	write(chronometer.KindSent, `{"to":"Veyre","with":"carrier","value":"5000.00 EUR"}`)
	write(chronometer.KindReceived, `{"station":"with the owner","condition":"whole"}`)
	write(chronometer.KindReleased, `{}`)
	write(chronometer.KindIntoGimbals, `{}`)
	write(chronometer.KindCased, `{}`)
	write(chronometer.KindCarried, `{"how":"by hand"}`)
	write(chronometer.KindNote, `{"text":"é ☼"}`)
	write(chronometer.KindPhotograph, fmt.Sprintf(`{"sha256":%q,"caption":"again"}`, picture.Fact.(chronometer.Photograph).SHA256))
	write(chronometer.KindUpheld, fmt.Sprintf(`{"entry":%q,"why":"seen twice"}`, ids[chronometer.KindCompared]))
	write(chronometer.KindStruckOut, fmt.Sprintf(`{"entry":%q,"why":"not so"}`, ids[chronometer.KindNote]))
	write(chronometer.KindEntered, `{"number":"9","maker":"Thessaly Orne, Veyre","make":"deck watch","beat":"fifth-second","dial":"12 h","going_h":30,"luminous":"yes","ivory":"no","dark_wood":"no","keyway":"at IX"}`)
	for _, k := range chronometer.Kinds() {
		if !k.OfInstrument() {
			continue
		}
		if sent[k] == "" {
			t.Errorf("no entry of kind %q was written", k)
			continue
		}
		found := read[lines](t, d.ask(t, get("/instruments/9/entries?kind=%s", strings.ReplaceAll(string(k), " ", "%20")), 200))
		back := ""
		for _, e := range found.Entries {
			if e.ID == ids[k] {
				back = string(e.Fact)
			}
		}
		if !sameJSON(t, back, sent[k]) {
			t.Errorf("%s: sent %s, got %s", k, sent[k], back)
		}
	}
}

func sameJSON(t *testing.T, a, b string) bool {
	t.Helper()
	return plainJSON(t, a) == plainJSON(t, b)
}

// plainJSON returns JSON with its keys in order.
func plainJSON(t *testing.T, text string) string {
	t.Helper()
	var v any
	if err := json.Unmarshal([]byte(text), &v); err != nil {
		t.Errorf("%v: %q", err, text)
	}
	out, _ := json.Marshal(v)
	return string(out)
}

// TestPages reads a logbook in pages and wants every entry once.
func TestPages(t *testing.T) {
	w, _ := openQuay(t)
	d := newDesk(t, w)
	all := read[lines](t, d.ask(t, get("/instruments/12/entries?limit=10000"), 200))
	if all.More || len(all.Entries) < 200 {
		t.Fatalf("%d entries, more: %v", len(all.Entries), all.More)
	}
	var got []line
	query := "limit=97"
	for {
		page := read[lines](t, d.ask(t, get("/instruments/12/entries?%s", query), 200))
		got = append(got, page.Entries...)
		if !page.More {
			break
		}
		query = "limit=97&after=" + page.Entries[len(page.Entries)-1].ID
	}
	if len(got) != len(all.Entries) {
		t.Fatalf("%d entries in pages, %d at once", len(got), len(all.Entries))
	}
	for i := range got {
		if got[i].ID != all.Entries[i].ID {
			t.Fatalf("entry %d is %s in pages and %s at once", i, got[i].ID, all.Entries[i].ID)
		}
	}
	since := all.Entries[50].At
	later := read[lines](t, d.ask(t, get("/instruments/12/entries?limit=10000&after=%s", since.Format(time.RFC3339Nano)), 200))
	if len(later.Entries) == 0 || !later.Entries[0].At.After(since) || later.Entries[len(later.Entries)-1].ID != all.Entries[len(all.Entries)-1].ID {
		t.Errorf("after %s: %d entries", since, len(later.Entries))
	}
}

// TestExportComesBack brings what one instrument exports into another of the
// same dial, which must then have the same rating. No. 12 was never compared by
// sound: the doubt that a microphone's delay has in common is not in a
// comparison file.
func TestExportComesBack(t *testing.T) {
	w, _ := openQuay(t)
	d := newDesk(t, w)
	book := d.ask(t, get("/instruments/12/comparisons.csv"), 200)
	if kind, name := book.header.Get("Content-Type"), book.header.Get("Content-Disposition"); !strings.HasPrefix(kind, "text/csv;") || !strings.Contains(name, "12.csv") {
		t.Errorf("%q %q", kind, name)
	}
	if _, err := ratebook.Read(bytes.NewReader(book.body)); err != nil {
		t.Fatal(err)
	}
	d.ask(t, post("/instruments", `{"by":"R. Halvane","instrument":{"number":"copy","make":"box chronometer","beat":"half-second","dial":"24 h","going_h":56}}`), 201)
	preview := read[Preview](t, d.ask(t, postBook("/instruments/copy/comparisons?by=R.+Halvane&preview=1", string(book.body)), 200))
	if before := read[lines](t, d.ask(t, get("/instruments/copy/entries"), 200)); len(before.Entries) != 1 {
		t.Errorf("a preview left %d entries", len(before.Entries))
	}
	in := read[Imported](t, d.ask(t, postBook("/instruments/copy/comparisons?by=R.+Halvane", string(book.body)), 200))
	if in.New == 0 || in.New != preview.New {
		t.Errorf("%d new, previewed %d", in.New, preview.New)
	}
	again := read[Preview](t, d.ask(t, postBook("/instruments/copy/comparisons?by=T.+Morrow&preview=1", string(book.body)), 200))
	if again.New != 0 || again.Held != in.New {
		t.Errorf("the same file again: %d new, %d held", again.New, again.Held)
	}
	a := read[Rating](t, d.ask(t, get("/instruments/12/rating"), 200))
	b := read[Rating](t, d.ask(t, get("/instruments/copy/rating"), 200))
	for i := range a.SetAside {
		a.SetAside[i].Entry = ""
	}
	for i := range b.SetAside {
		b.SetAside[i].Entry = ""
	}
	one, _ := json.Marshal(a)
	two, _ := json.Marshal(b)
	if !bytes.Equal(one, two) {
		t.Errorf("the ratings differ:\n%s\n%s", one, two)
	}
}

// referenceBook returns one of the simulated histories that an independent
// implementation of the method, in another language, has rated.
func referenceBook(t testing.TB, name string) string {
	t.Helper()
	text, err := os.ReadFile("../workshop/testdata/estimation_ex_" + name + ".csv")
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}

// TestFault wants a panic answered in one sentence, and left to the server to
// log.
func TestFault(t *testing.T) {
	var log bytes.Buffer
	server := httptest.NewUnstartedServer(New(nil, func() time.Time { return morning }))
	server.Config.ErrorLog = slog.NewLogLogger(slog.NewTextHandler(&log, nil), slog.LevelError)
	server.Start()
	r, err := http.Get(server.URL + Root + "/instruments")
	if err != nil {
		t.Fatal(err)
	}
	body, err := io.ReadAll(r.Body)
	r.Body.Close()
	server.Close()
	if err != nil || r.StatusCode != http.StatusInternalServerError || !strings.Contains(log.String(), "panic serving") {
		t.Errorf("%d %s %v, logged %q", r.StatusCode, body, err, log.String())
	}
	checkRefusal(t, get("/instruments"), answer{r.StatusCode, r.Header, body})
}

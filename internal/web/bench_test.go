package web_test

import (
	"encoding/json"
	"fmt"
	"math"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"
	"time"

	"timeball/internal/chronometer"
	"timeball/internal/clock"
)

// askJSON posts as a script does and returns the answer.
func askJSON[T any](v *visitor, address, mediaType, body string, status int) T {
	v.t.Helper()
	r := httptest.NewRequest(http.MethodPost, address, strings.NewReader(body))
	r.Header.Set("Content-Type", mediaType)
	r.Header.Set("Accept", "application/json")
	r.Header.Set("Sec-Fetch-Site", "same-origin")
	answer := v.send(r)
	said := text(v.t, answer)
	if answer.StatusCode != status {
		v.t.Fatalf("POST %s: status %d, want %d: %s", address, answer.StatusCode, status, said)
	}
	var out T
	if err := json.Unmarshal([]byte(said), &out); err != nil {
		v.t.Fatalf("POST %s: %v in %s", address, err, said)
	}
	return out
}

// answered is the answer to a form that a script has sent.
type answered struct {
	OK       bool
	Href     string
	Words    string
	Problems []string
}

func form(v *visitor, address string, values url.Values, status int) answered {
	return askJSON[answered](v, address, "application/x-www-form-urlencoded", values.Encode(), status)
}

// tapsOn returns n taps on the marks of a dial of an error, as s of UTC.
func tapsOn(from time.Time, errorS float64, n int, lag float64) []float64 {
	first := 5*math.Ceil((float64(from.UnixMilli())/1000+errorS)/5) - errorS
	var taps []float64
	for i := range n {
		taps = append(taps, first+5*float64(i)+lag+0.015*math.Sin(float64(5*i)))
	}
	return taps
}

// TestComparePage: the taps are reckoned while they come, and what is sent is
// written once, however often it is sent.
func TestComparePage(t *testing.T) {
	q := lanternQuay(t)
	v := visit(t, q)
	page := v.get("/instruments/417/compare", http.StatusOK)
	section := page.one(t, "[data-tap]")
	truth := q.instruments[0].line.error(q.now)
	var near, half float64
	if _, err := fmt.Sscan(section.attrs["data-near-error"], &near); err != nil || math.Abs(near-truth) > 0.3 {
		t.Errorf("the page expects %q, the dial is %.2f", section.attrs["data-near-error"], truth)
	}
	if _, err := fmt.Sscan(section.attrs["data-near-half"], &half); err != nil || half <= 0 || half > 1 {
		t.Errorf("half width %q", section.attrs["data-near-half"])
	}
	taps := tapsOn(q.now.Add(-40*time.Second), truth, 7, -0.035)
	taps[3]++ // one on the wrong second
	type told struct {
		OK       bool
		ErrorS   float64 `json:"error_s"`
		Used     int
		Taps     []struct{ Dropped string }
		Remarks  []string
		Equation string `json:"equation_words"`
	}
	body, err := json.Marshal(map[string]any{"every_s": 5, "taps": taps, "near": map[string]float64{"error_s": near, "half_s": half}, "observer": "T. Morrow", "device": "x"})
	if err != nil {
		t.Fatal(err)
	}
	got := askJSON[told](v, "/instruments/417/reckon", "application/json", string(body), http.StatusOK)
	if !got.OK || got.Used != 6 || got.Taps[3].Dropped == "" || math.Abs(got.ErrorS-truth) > 0.08 || !strings.Contains(got.Equation, "usual") {
		t.Errorf("reckoned %+v, the dial is %.3f", got, truth)
	}
	few := askJSON[told](v, "/instruments/417/reckon", "application/json", `{"every_s":5,"taps":[1804238070.2],"near":null}`, http.StatusOK)
	if few.OK || len(few.Remarks) != 1 {
		t.Errorf("of one tap it says %+v", few)
	}
	askJSON[answered](v, "/instruments/417/reckon", "application/json", `{"every_s":5,"taps":[]}`, http.StatusUnprocessableEntity)
	askJSON[answered](v, "/instruments/417/reckon", "application/json", `taps`, http.StatusUnprocessableEntity)

	origin := time.UnixMilli(int64(1000 * taps[0])).UTC()
	var after []float64
	for _, at := range taps {
		after = append(after, at-float64(origin.UnixMilli())/1000)
	}
	sent, err := json.Marshal(map[string]any{"origin": origin.Format(time.RFC3339Nano), "at_s": after, "every_s": 5, "device_bound_s": 0.007, "device": "x", "bound_s": 0.004, "offset_s": 0.001, "spell": 0})
	if err != nil {
		t.Fatal(err)
	}
	values := url.Values{"id": {section.attrs["data-id"]}, "taps": {string(sent)}, "near_s": {fmt.Sprintf("%.2f", got.ErrorS)}, "by": {"T. Morrow"}}
	before := len(v.entries("417"))
	for range 2 {
		if a := form(v, "/instruments/417/compare", values, http.StatusOK); !a.OK || !strings.HasPrefix(a.Words, "Compared: fast ") {
			t.Errorf("answered %+v", a)
		}
	}
	if n := len(v.entries("417")); n != before+1 {
		t.Errorf("%d entries, want %d", n, before+1)
	}
	values.Set("near_s", "")
	values.Set("taps", "not taps")
	if a := form(v, "/instruments/417/compare", values, http.StatusUnprocessableEntity); a.OK || len(a.Problems) == 0 {
		t.Errorf("bad taps: %+v", a)
	}
	values.Set("by", " ")
	values.Set("taps", string(sent))
	form(v, "/instruments/417/compare", values, http.StatusUnprocessableEntity)
	// One that stands cannot be tapped, and the page says why.
	if page := v.get("/instruments/19/compare", http.StatusOK); len(page.all("[data-pad]")) != 0 {
		t.Error("the dial of one that stands can be tapped")
	}
}

// TestStartPage: the plan S1 of the exact arithmetic in setting, on a page,
// and the entry that it leads to.
func TestStartPage(t *testing.T) {
	q := lanternQuay(t)
	v := visit(t, q)
	// No. 19 rests at 6:10 with the seconds hand at 40: at 9:14:00, two minutes
	// to get ready and one for a turn, the soonest start is 9:19:40.
	ask := "/instruments/19/start?hands=6:10&seconds=40&ready=2&error=0"
	r := v.send(httptest.NewRequest(http.MethodGet, ask, nil))
	if to := r.Header.Get("Location"); r.StatusCode != http.StatusSeeOther || !strings.Contains(to, "from=2027-03-04T09") {
		t.Errorf("a plan without an instant: %d to %q", r.StatusCode, to)
	}
	page := v.get(ask+"&from=2027-03-04T09:14:00Z", http.StatusOK)
	desk := page.one(t, "[data-start]")
	if got := desk.attrs["data-instant"]; got != "2027-03-04T09:19:40Z" {
		t.Errorf("the start is at %s", got)
	}
	if got := page.one(t, ".reads").words(); got != "9 h 19 m 40 s" {
		t.Errorf("the dial is set to %q", got)
	}
	if got := page.one(t, ".set .sub").words(); !strings.Contains(got, "3 turns and 9 min") || !strings.Contains(got, "two thirds of the way from minute 19 to 20") {
		t.Errorf("the hands: %q", got)
	}
	again := page.one(t, ".go a").attrs["href"]
	later := v.get(again, http.StatusOK)
	if got := later.one(t, "[data-start]").attrs["data-instant"]; got != "2027-03-04T09:20:40Z" {
		t.Errorf("a minute later the start is at %s", got)
	}
	if got := later.one(t, ".reads").words(); got != "9 h 20 m 40 s" {
		t.Errorf("a minute later the dial is set to %q", got)
	}
	values := url.Values{"by": {"T. Morrow"}}
	for _, e := range page.all(".going input") {
		if e.attrs["type"] == "hidden" {
			values.Set(e.attrs["name"], e.attrs["value"])
		}
	}
	if a := form(v, "/instruments/19/start", values, http.StatusUnprocessableEntity); len(a.Problems) == 0 || !strings.Contains(a.Problems[0], "09:19:40") {
		t.Errorf("before the signal: %+v", a)
	}
	q.now = time.Date(2027, 3, 4, 9, 19, 44, 0, time.UTC)
	compare := v.follow(v.postForm("/instruments/19/start", values))
	if got := compare.one(t, "h1").words(); got != "Compare No. 19" {
		t.Errorf("it leads to %q", got)
	}
	seen, err := q.See(t.Context(), "19")
	if err != nil || seen.State.Motion != chronometer.Going || !seen.State.MotionSince.Equal(time.Date(2027, 3, 4, 9, 19, 40, 0, time.UTC)) {
		t.Errorf("it is %s since %s, %v", seen.State.Motion, seen.State.MotionSince, err)
	}
	for _, bad := range []string{"hands=13:10&seconds=40", "hands=6:61&seconds=40", "hands=6:10&seconds=75", "hands=6&seconds=4", "hands=6:10&seconds=x"} {
		page := v.get("/instruments/88/start?"+bad+"&from=2027-03-04T09:14:00Z", http.StatusOK)
		if len(page.all(".wrong"))+len(page.all(".field.bad")) == 0 || len(page.all("[data-start]")) != 0 {
			t.Errorf("%s: a plan, or no word of what is wrong", bad)
		}
	}
}

// TestRoundPage: wound and read, the round is found half done, and a second
// telephone does not wind again.
func TestRoundPage(t *testing.T) {
	q := lanternQuay(t)
	v := visit(t, q)
	v.follow(v.postForm("/round/hand", url.Values{"by": {"T. Morrow"}}))
	page := v.get("/round", http.StatusOK)
	stops := page.all("[data-stop]")
	if len(stops) < 3 {
		t.Fatalf("%d stops", len(stops))
	}
	var first *element
	for _, s := range stops {
		if s.one(t, "h2 a").words() == "No. 1102" {
			first = s
		}
	}
	wind := url.Values{"half_turns": {"7,5"}, "up_down_h": {"24"}, "up_down_after_h": {"54"}}
	for _, e := range first.all(".wind input") {
		if e.attrs["type"] == "hidden" {
			wind.Set(e.attrs["name"], e.attrs["value"])
		}
	}
	address := first.one(t, ".wind").attrs["action"]
	before := len(v.entries("1102"))
	for range 2 {
		if a := form(v, address, wind, http.StatusOK); a.Words != "Wound: 7½ half-turns · up-and-down dial at 24 h before · 54 h after" {
			t.Errorf("answered %+v", a)
		}
	}
	other := visit(t, q)
	wind.Set("id", string(q.newID(q.now)))
	if a := form(other, address, wind, http.StatusUnprocessableEntity); !strings.Contains(strings.Join(a.Problems, " "), "nothing was written twice") {
		t.Errorf("the second telephone: %+v", a)
	}
	if n := len(v.entries("1102")); n != before+1 {
		t.Errorf("%d entries, want %d", n, before+1)
	}
	therm := url.Values{"temp_c": {"18.5"}, "by": {"T. Morrow"}, "at": {"now"}}
	for _, e := range page.all(".therm input") {
		if e.attrs["name"] == "entry" {
			therm.Add("entry", e.attrs["value"])
		}
	}
	n := len(therm["entry"])
	for range 2 {
		form(v, "/round", therm, http.StatusOK)
	}
	for _, number := range []string{"417", "1102", "88"} {
		read := 0
		for _, e := range v.entries(number) {
			if f, ok := e.Fact.(chronometer.Temperature); ok && f.TempC == 18.5 {
				read++
			}
		}
		if read != 1 {
			t.Errorf("the thermometer is written %d times for No. %s", read, number)
		}
	}
	if n < 3 {
		t.Errorf("%d instruments stand beside the thermometer", n)
	}
	half := v.get("/round", http.StatusOK)
	for _, s := range half.all("[data-stop]") {
		if s.one(t, "h2 a").words() != "No. 1102" {
			continue
		}
		steps := s.all(".step")
		if _, open := steps[0].attrs["open"]; open {
			t.Error("it is wound, and winding is still asked for")
		}
		if got := steps[0].one(t, "[data-step-words]").words(); got != "wound 09:14" {
			t.Errorf("the winding says %q", got)
		}
		if got := steps[1].one(t, "[data-step-words]"); !strings.Contains(got.attrs["class"], "due") {
			t.Errorf("the comparison is %q", got.words())
		}
	}
	form(v, "/round", url.Values{"temp_c": {"warm"}, "by": {"T. Morrow"}, "at": {"now"}}, http.StatusUnprocessableEntity)
}

// TestStandardPage names where UTC comes from, and the head of every page says
// how well it is known.
func TestStandardPage(t *testing.T) {
	v := visit(t, lanternQuay(t))
	page := v.get("/standard", http.StatusOK)
	if got := page.one(t, ".standard small").words(); !strings.HasPrefix(got, "±4 ms · ") {
		t.Errorf("the head says %q", got)
	}
	if got := page.all(".figures b")[0].words(); got != "±4 ms" {
		t.Errorf("the bound is %q", got)
	}
	if n := len(page.all(".signals tbody tr")); n != len(chronometer.Signals()) {
		t.Errorf("%d signals", n)
	}
	r := v.send(httptest.NewRequest(http.MethodGet, "/clock/exchange", nil))
	var x struct {
		ReceivedMS float64  `json:"received_ms"`
		SentMS     float64  `json:"sent_ms"`
		BoundMS    *float64 `json:"bound_ms"`
		Fit        bool
	}
	if err := json.Unmarshal([]byte(text(t, r)), &x); err != nil {
		t.Fatal(err)
	}
	if want := float64(today.UnixMicro()) / 1000; x.ReceivedMS != want || x.SentMS != want || x.BoundMS == nil || *x.BoundMS != 4 || !x.Fit {
		t.Errorf("exchanged %+v, want %.3f", x, want)
	}
	if got := r.Header.Get("Cache-Control"); got != "no-store" {
		t.Errorf("an exchange may be kept: %q", got)
	}
}

// TestObserversPage writes a personal equation from an exercise.
func TestObserversPage(t *testing.T) {
	v := visit(t, lanternQuay(t))
	page := v.get("/observers", http.StatusOK)
	var lags []string
	for i := range 30 {
		lags = append(lags, fmt.Sprintf("%.4f", -0.04+0.02*math.Sin(float64(7*i))))
	}
	values := url.Values{"id": {page.one(t, "[name=id]").attrs["value"]}, "by": {"T. Morrow"}, "device": {"bench telephone"}, "sense": {"seen"}, "lags": {"[" + strings.Join(lags, ",") + "]"}}
	after := v.follow(v.postForm("/observers", values))
	if got := after.one(t, ".equations tbody tr").words(); !strings.HasPrefix(got, "T. Morrowbench telephoneseenearly 38 ms ±") {
		t.Errorf("the page lists %q", got)
	}
	values.Set("lags", "[]")
	form(v, "/observers", values, http.StatusUnprocessableEntity)
	values.Set("lags", "[0.1,0.2]")
	values.Set("id", page.one(t, "[name=id]").attrs["value"])
	form(v, "/observers", values, http.StatusUnprocessableEntity)
}

// TestHandMoveWords: error before and after, on the form and once it is
// written, and honest advice to one that gains.
func TestHandMoveWords(t *testing.T) {
	q := lanternQuay(t)
	v := visit(t, q)
	truth := clock.DialError(q.instruments[1].line.error(q.now))
	lead := v.get("/instruments/1102/write/hands-moved?by_s=60", http.StatusOK).one(t, ".heads .sub").words()
	if want := truth.Words(0.3); !strings.Contains(lead, want[:6]) || !strings.Contains(lead, "one minute forward makes it") {
		t.Errorf("the form says %q; the dial is %s", lead, want)
	}
	page := v.follow(v.postForm("/instruments/1102/write/hands-moved", url.Values{"by_s": {"60"}, "by": {"T. Morrow"}, "at": {"now"}, "id": {string(q.newID(q.now))}}))
	if got := page.one(t, ".notice.done").words(); !strings.Contains(got, " before, ") || !strings.Contains(got, " after") {
		t.Errorf("written: %q", got)
	}
	if got := v.get("/instruments/88", http.StatusOK).one(t, "#hand-head"); got == nil {
		t.Error("no advice")
	}
}

// TestOldPlan: long after its instant a plan no longer says that it was started
// then, and Again leads to a minute that can still be reached.
func TestOldPlan(t *testing.T) {
	q := lanternQuay(t)
	v := visit(t, q)
	page := v.get("/instruments/19/start?hands=6:10&seconds=40&ready=2&error=0&from=2027-03-04T08:14:00Z", http.StatusOK)
	if _, off := page.one(t, "[data-going]").attrs["disabled"]; !off {
		t.Error("a start of an hour ago can be written")
	}
	later := v.get(page.one(t, ".go a").attrs["href"], http.StatusOK)
	at, err := time.Parse(time.RFC3339, later.one(t, "[data-start]").attrs["data-instant"])
	if err != nil || at.Before(q.now) || at.After(q.now.Add(2*time.Minute)) || at.Second() != 40 {
		t.Errorf("Again leads to %s, it is %s, %v", at, q.now, err)
	}
	// 6:10:40 was turned 2 h 9 min or so forward, and a minute more for each minute since.
	reads, note := later.one(t, ".reads").words(), ""
	for _, e := range later.all(".going input") {
		if e.attrs["name"] == "note" {
			note = e.attrs["value"]
		}
	}
	turns := at.Sub(time.Date(2027, 3, 4, 6, 10, 40, 0, time.UTC))
	want := fmt.Sprintf("%d turns and %d min", int(turns.Hours()), int(turns.Minutes())%60)
	if !strings.Contains(note, want) || !strings.Contains(note, reads) {
		t.Errorf("the logbook would say %q, want %q and %q", note, want, reads)
	}
}

// TestStartOfOneHeld: released and started in one go, each an entry.
func TestStartOfOneHeld(t *testing.T) {
	q := lanternQuay(t)
	q.add(q.instruments[0], today.Add(-time.Hour), "Signe Vandrell", chronometer.Held{With: chronometer.Brake})
	q.fill(t)
	v := visit(t, q)
	page := v.get("/instruments/417/start?hands=6:10&seconds=40&ready=0&error=10.5&way=slow&from=2027-03-04T09:20:00Z", http.StatusOK)
	if got := page.all(".countdown .sub")[0].words(); got != "The dial will be 10.5 s slow." {
		t.Errorf("it says %q", got)
	}
	values := url.Values{"by": {"T. Morrow"}, "released": {page.one(t, "[name=released]").attrs["value"]}}
	for _, e := range page.all(".going input") {
		if e.attrs["type"] == "hidden" {
			values.Set(e.attrs["name"], e.attrs["value"])
		}
	}
	at, err := time.Parse(time.RFC3339, values.Get("at"))
	if err != nil {
		t.Fatal(err)
	}
	q.now = at.Add(3 * time.Second)
	for range 2 {
		form(v, "/instruments/417/start", values, http.StatusOK)
	}
	count := map[chronometer.Kind]int{}
	for _, e := range v.entries("417") {
		if !e.At.Before(today) {
			count[e.Kind()]++
		}
	}
	if count[chronometer.KindReleased] != 1 || count[chronometer.KindStarted] != 1 {
		t.Errorf("written: %v", count)
	}
}

// TestFarMoveIsAsked: two hours forward may be minutes taken for seconds.
func TestFarMoveIsAsked(t *testing.T) {
	q := lanternQuay(t)
	v := visit(t, q)
	address := "/instruments/1102/write/hands-moved"
	values := url.Values{"by_s": {"7200"}, "by": {"T. Morrow"}, "at": {"now"}, "id": {string(q.newID(q.now))}}
	r := v.postForm(address, values)
	page := parsed(t, text(t, r))
	if r.StatusCode != http.StatusUnprocessableEntity || !strings.Contains(page.one(t, ".field.bad").words(), "120 minutes forward") {
		t.Errorf("two hours forward: %d, %q", r.StatusCode, page.one(t, ".wrong").words())
	}
	values.Set("sure", page.one(t, "[name=sure]").attrs["value"])
	v.follow(v.postForm(address, values)).one(t, ".notice.done")
}

// TestSetAsideIsTold: a comparison that the calculation does not believe is
// acknowledged with that.
func TestSetAsideIsTold(t *testing.T) {
	q := lanternQuay(t)
	v := visit(t, q)
	truth := q.instruments[0].line.error(q.now)
	taps := tapsOn(q.now.Add(-40*time.Second), truth+60, 7, -0.035)
	origin := time.UnixMilli(int64(1000 * taps[0])).UTC()
	var after []float64
	for _, at := range taps {
		after = append(after, at-float64(origin.UnixMilli())/1000)
	}
	sent, err := json.Marshal(map[string]any{"origin": origin.Format(time.RFC3339Nano), "at_s": after, "every_s": 5, "device": "x", "bound_s": 0.004})
	if err != nil {
		t.Fatal(err)
	}
	a := form(v, "/instruments/417/compare", url.Values{"id": {string(q.newID(q.now))}, "taps": {string(sent)}, "near_s": {fmt.Sprintf("%.2f", truth+60)}, "by": {"T. Morrow"}}, http.StatusOK)
	if !strings.HasPrefix(a.Words, "Compared: "+clock.DialError(truth + 60).Words(0.05)[:8]) || !strings.Contains(a.Words, "but set aside: ") {
		t.Errorf("answered %q", a.Words)
	}
}

// FuzzTaps sends whatever to the addresses that take taps: it is answered or
// refused, and never fails.
func FuzzTaps(f *testing.F) {
	q := emptyQuay(f)
	k := q.enter(chronometer.Instrument{Number: "417", Make: chronometer.BoxChronometer, Beat: chronometer.HalfSecond, Dial: chronometer.Twelve, GoingH: 56}, today.AddDate(0, 0, -1), line{})
	q.add(k, today.Add(-time.Hour), "Signe Vandrell", chronometer.Started{})
	if err := q.Fill(f.Context(), q.unfilled); err != nil {
		f.Fatal(err)
	}
	v := visit(f, q)
	f.Add(`{"every_s":5,"taps":[1804238070.2,1804238075.2,1804238080.2,1804238085.1],"near":{"error_s":1e3,"half_s":0.1}}`)
	f.Add(`{"origin":"2027-03-04T09:14:00Z","at_s":[1e308,-1e308,0],"every_s":1e-300,"bound_s":-1,"device_bound_s":1e300}`)
	f.Add(`{"origin":"2027-03-04T09:14:00Z","at_s":[0.1,5.1,10.1,15.1],"every_s":5,"bound_s":0.004,"device":"x"}`)
	f.Fuzz(func(t *testing.T, body string) {
		for address, sent := range map[string]struct{ mediaType, body string }{
			"/instruments/417/reckon":  {"application/json", body},
			"/instruments/417/compare": {"application/x-www-form-urlencoded", url.Values{"taps": {body}, "near_s": {"0"}, "by": {"x"}}.Encode()},
		} {
			r := httptest.NewRequest(http.MethodPost, address, strings.NewReader(sent.body))
			r.Header.Set("Content-Type", sent.mediaType)
			r.Header.Set("Accept", "application/json")
			r.Header.Set("Sec-Fetch-Site", "same-origin")
			if answer := v.send(r); answer.StatusCode >= 500 {
				t.Fatalf("%s: status %d for %q", address, answer.StatusCode, body)
			}
		}
	})
}

package web_test

import (
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"
	"time"

	"timeball/internal/adjust"
	"timeball/internal/carriage"
	"timeball/internal/chronometer"
)

// journeyQuay returns a workshop with a two-day instrument that goes in its
// gimbals, 417, of which everything is known, another, 88, of which little is,
// and a clock that a test puts on.
func journeyQuay(t testing.TB) *quay {
	t.Helper()
	q := emptyQuay(t)
	begun := today.AddDate(0, 0, -3)
	known := chronometer.Instrument{Number: "417", Maker: "Corvane & Dray", Make: chronometer.BoxChronometer, Beat: chronometer.HalfSecond, Dial: chronometer.Twelve, GoingH: 56,
		UpDown: true, Gimbals: true, Luminous: chronometer.No, Ivory: chronometer.No, DarkWood: chronometer.No, Keyway: "at XII", Box: "oak, three tiers", WeightKG: 4}
	k := q.enter(known, begun, line{epoch: begun, errorS: 5, rate: -0.5})
	q.add(k, begun.Add(time.Hour), "Signe Vandrell", chronometer.Started{How: "one turn"})
	q.compare(k, begun.Add(2*time.Hour), 0, 19)
	little := chronometer.Instrument{Number: "88", Make: chronometer.BoxChronometer, Beat: chronometer.HalfSecond, Dial: chronometer.TwentyFour, GoingH: 192, Gimbals: true}
	q.enter(little, begun, line{})
	return q.fill(t)
}

// traveller goes through a journey as its page shows it, without script.
type traveller struct {
	*visitor
	at string
	by string
}

func (v *visitor) travel(number string) *traveller {
	return &traveller{v, "/instruments/" + number + "/journey", "Mats Vinter"}
}

// follow returns the page that an answer leads to; a browser keeps the place on
// the page to itself.
func (v *traveller) follow(r *http.Response) *element {
	v.t.Helper()
	if to, place, ok := strings.Cut(r.Header.Get("Location"), "#"); ok && place == "step" {
		r.Header.Set("Location", to)
	}
	return v.visitor.follow(r)
}

// begin begins a journey and returns its page.
func (v *traveller) begin(values url.Values) *element {
	v.t.Helper()
	page := v.get(v.at, http.StatusOK)
	values.Set("by", v.by)
	values.Set("at", "now")
	values.Set("id", page.one(v.t, "main form input[name=id]").attrs["value"])
	return v.follow(v.postForm(v.at, values))
}

// fields returns what the form that ticks a step sends.
func (v *traveller) fields(page *element) url.Values {
	v.t.Helper()
	values := url.Values{"by": {v.by}, "at": {"now"}}
	f := page.one(v.t, "form.tick-form")
	for _, name := range []string{"id", "journey", "step"} {
		values.Set(name, f.one(v.t, "input[name="+name+"]").attrs["value"])
	}
	return values
}

// tick ticks the step that a page shows, and returns the next.
func (v *traveller) tick(page *element, note string) *element {
	v.t.Helper()
	v.q.pass(time.Minute)
	values := v.fields(page)
	values.Set("note", note)
	return v.follow(v.postForm(v.at+"/done", values))
}

// plan returns the steps of 417 as it is.
func (q *quay) plan(t testing.TB, number string, j chronometer.JourneyBegun) []carriage.Step {
	t.Helper()
	seen, err := q.See(t.Context(), number)
	if err != nil {
		t.Fatal(err)
	}
	plan, err := carriage.Whole(adjust.Fittings(seen.Instrument, j))
	if err != nil {
		t.Fatal(err)
	}
	return plan
}

var toTheQuay = chronometer.JourneyBegun{To: "Lantern Quay", Goes: chronometer.DepartsGoing}

func TestJourneyBegins(t *testing.T) {
	v := visit(t, journeyQuay(t)).travel("417")
	page := v.get(v.at, http.StatusOK)
	wellMade(t, v.at, page, map[string]bool{})
	if n := len(page.all("main .do.now")); n != 1 || page.one(t, "main .do.now").words() != "Begin the journey" {
		t.Errorf("%d primary actions", n)
	}
	if got := page.one(t, "input[value=going]").attrs; !has(got, "checked") {
		t.Error("it goes, and the form does not say so")
	}
	for _, wrong := range []struct{ field, value, says string }{{"to", "", "Where to is missing"}, {"goes", "", "How it goes now is missing"}, {"goes", "flying", "write one of"}, {"by", "", "Say who"}, {"at", "tomorrow", "write now"}, {"at", "2031-01-01 00:00", "in the future"}} {
		values := url.Values{"to": {"home"}, "goes": {"going"}, "by": {"M"}, "at": {"now"}}
		values.Set(wrong.field, wrong.value)
		r := v.postForm(v.at, values)
		words := parsed(t, text(t, r)).one(t, ".wrong").words()
		if r.StatusCode != http.StatusUnprocessableEntity || !strings.Contains(words, wrong.says) {
			t.Errorf("%s=%q: status %d, %q", wrong.field, wrong.value, r.StatusCode, words)
		}
	}
	if n := len(v.entries("417")); n != 3 {
		t.Fatalf("%d entries after forms that were refused, want 3", n)
	}
	page = v.begin(url.Values{"to": {"Lantern Quay"}, "goes": {"going"}})
	wellMade(t, v.at, page, map[string]bool{})
	if got := page.one(t, "h1").words(); got != "To Lantern Quay" {
		t.Errorf("the head says %q", got)
	}
	// Thirty-eight steps of the case with the balance reached inside: the
	// order of the trade, kept by package carriage.
	if got := page.one(t, ".journey-phases .sum").words(); got != "0 of 38 steps" {
		t.Errorf("how far it is: %q", got)
	}
	if got := page.one(t, "#step-head").words(); got != "Settle the papers" {
		t.Errorf("the first step is %q", got)
	}
	if n := len(page.all("main .do.now")); n != 1 {
		t.Errorf("%d primary actions, want 1", n)
	}
	if !has(page.one(t, "details.hazards").attrs, "open") {
		t.Error("the hazards are shut before the first step")
	}
	if got := v.get("/instruments/417", http.StatusOK).one(t, ".notices a[href=/instruments/417/journey#step]").words(); got != "Go on" {
		t.Errorf("the page of the instrument leads on with %q", got)
	}
	r := v.postForm(v.at, url.Values{"to": {"home"}, "goes": {"going"}, "by": {"M"}, "at": {"now"}})
	if words := parsed(t, text(t, r)).one(t, ".wrong").words(); r.StatusCode != http.StatusUnprocessableEntity || !strings.Contains(words, "The journey to Lantern Quay") {
		t.Errorf("a second journey beside the first: status %d, %q", r.StatusCode, words)
	}
}

func has(attrs map[string]string, name string) bool { _, ok := attrs[name]; return ok }

// TestJourneyHazards: whatever is not known is taken to be there, and every
// hazard ends in local rules and a licensed person.
func TestJourneyHazards(t *testing.T) {
	q := journeyQuay(t)
	for number, want := range map[string]bool{"417": false, "88": true} {
		v := visit(t, q).travel(number)
		page := v.begin(url.Values{"to": {"Lantern Quay"}, "goes": {"going"}})
		matters := map[string]bool{}
		for _, h := range page.all(".hazard-list section") {
			matters[h.one(t, "h2").words()] = true
			if say := h.all("p")[0].words(); !strings.HasSuffix(say, "Follow your local rules and a licensed person.") {
				t.Errorf("%s: %q", number, say)
			}
		}
		for _, m := range []string{"radium dial", "ivory", "rosewood"} {
			if matters[m] != want {
				t.Errorf("%s: %s among the hazards %t, want %t", number, m, matters[m], want)
			}
		}
		if !matters["mainspring and fusee"] || !matters["customs"] {
			t.Errorf("%s: hazards that hold for all are missing: %v", number, matters)
		}
	}
}

// TestJourneyThrough goes through a whole journey by its page, in the order of
// the plan, and finds it done.
func TestJourneyThrough(t *testing.T) {
	q := journeyQuay(t)
	v := visit(t, q).travel("417")
	plan := q.plan(t, "417", toTheQuay)
	page := v.begin(url.Values{"to": {"Lantern Quay"}, "goes": {"going"}})
	drawings := map[carriage.Drawing]bool{}
	for n, s := range plan {
		if got := page.one(t, "#step-head").words(); got != s.Title {
			t.Fatalf("step %d is %q, want %q", n+1, got, s.Title)
		}
		if n%6 == 0 {
			wellMade(t, s.Title, page, map[string]bool{})
		}
		step := page.one(t, "#step")
		if list := step.all(".do-list li"); len(list) != len(s.Do) || list[0].words() != strings.Join(strings.Fields(s.Do[0]), " ") {
			t.Errorf("%s: does %d sentences, want %d", s.ID, len(list), len(s.Do))
		}
		facts := step.words()
		for _, said := range append([]string{s.Harm[1:], s.Check, s.Write, s.Basis}, s.Needs...) {
			if !strings.Contains(facts, strings.Join(strings.Fields(said), " ")) {
				t.Errorf("%s: nothing says %q", s.ID, said)
			}
		}
		svg := step.all(".step-drawing svg")
		if (s.Drawing != "") != (len(svg) == 1) {
			t.Errorf("%s: %d drawings, want that of %q", s.ID, len(svg), s.Drawing)
		}
		if len(svg) == 1 {
			drawings[s.Drawing] = true
		}
		ends := step.all(".ends a")
		if (s.Record != "" && s.Record != carriage.Note) != (len(ends) == 1) {
			t.Errorf("%s: leads to %d forms, and ends in %q", s.ID, len(ends), s.Record)
		}
		for _, e := range ends {
			v.get(e.attrs["href"], http.StatusOK)
		}
		page = v.tick(page, "")
		if n == 3 {
			if got := page.one(t, ".journey-phases .sum").words(); got != "4 of 38 steps" {
				t.Errorf("after four steps: %q", got)
			}
			if has(page.one(t, "details.hazards").attrs, "open") {
				t.Error("the hazards stand open after the first step")
			}
		}
	}
	if len(drawings) != len(carriage.Drawings()) {
		t.Errorf("%d drawings were shown, want all %d", len(drawings), len(carriage.Drawings()))
	}
	if got := page.one(t, ".journey-phases .sum").words(); got != "38 of 38 steps" || len(page.all("#step")) != 0 {
		t.Errorf("at the end: %q, %d steps", got, len(page.all("#step")))
	}
	if got := page.one(t, "#begin-head").words(); got != "Begin another journey" {
		t.Errorf("at the end the page offers %q", got)
	}
	wellMade(t, "the end", page, map[string]bool{})
}

// TestJourneyOrder: a tick out of order is refused with what comes first, and
// nothing that is not there can be ticked.
func TestJourneyOrder(t *testing.T) {
	q := journeyQuay(t)
	v := visit(t, q).travel("417")
	page := v.begin(url.Values{"to": {"Lantern Quay"}, "goes": {"going"}})
	before := len(v.entries("417"))
	later := v.get(v.at+"?step=P06", http.StatusOK)
	if len(later.all("form.tick-form")) != 0 || later.one(t, ".step-head .tag").words() != "to come" || len(later.all(".step-told .notice a")) == 0 {
		t.Error("a step to come offers a tick, or does not say what comes first")
	}
	values := v.fields(page)
	for _, try := range []struct {
		set    url.Values
		status int
		says   string
	}{
		{url.Values{"step": {"P06"}}, http.StatusUnprocessableEntity, "“Latch the gimbals” cannot be ticked yet; first comes “"},
		{url.Values{"step": {"P99"}}, http.StatusNotFound, "no such step"},
		{url.Values{"step": {""}}, http.StatusNotFound, "no such step"},
		{url.Values{"journey": {string(v.entries("417")[0].ID)}}, http.StatusUnprocessableEntity, "does not go on any more"},
		{url.Values{"journey": {"x"}}, http.StatusUnprocessableEntity, "does not go on any more"},
		{url.Values{"id": {"x"}}, http.StatusUnprocessableEntity, "no ULID"},
		{url.Values{"by": {" "}}, http.StatusUnprocessableEntity, "Say who"},
		{url.Values{"at": {"25:00"}}, http.StatusUnprocessableEntity, "write now"},
		{url.Values{"at": {"2031-01-01 00:00"}}, http.StatusUnprocessableEntity, "in the future"},
		{url.Values{"note": {strings.Repeat("x", 20001)}}, http.StatusUnprocessableEntity, "20000"},
	} {
		sent := url.Values{}
		for name, value := range values {
			sent[name] = value
		}
		for name, value := range try.set {
			sent[name] = value
		}
		r := v.postForm(v.at+"/done", sent)
		if words := parsed(t, text(t, r)).one(t, "main").words(); r.StatusCode != try.status || !strings.Contains(words, try.says) {
			t.Errorf("%v: status %d, nothing says %q in %.600s", try.set, r.StatusCode, try.says, words)
		}
	}
	if n := len(v.entries("417")); n != before {
		t.Errorf("%d entries were written by ticks that were refused", n-before)
	}
	if q.See(t.Context(), "417"); v.get(v.at, http.StatusOK).one(t, ".journey-phases .sum").words() != "0 of 38 steps" {
		t.Error("a refused tick counts")
	}
	v.get(v.at+"?step=P99", http.StatusNotFound)
	v.get(v.at+"/undo?entry=x", http.StatusNotFound)
}

// TestJourneySentTwice: a tick sent again under its ID is the same tick, and a
// script is told so.
func TestJourneySentTwice(t *testing.T) {
	v := visit(t, journeyQuay(t)).travel("417")
	page := v.begin(url.Values{"to": {"Lantern Quay"}, "goes": {"going"}})
	values := v.fields(page)
	values.Set("note", "all settled with the carrier")
	n := len(v.entries("417"))
	for range 3 {
		r := httptest.NewRequest(http.MethodPost, v.at+"/done", strings.NewReader(values.Encode()))
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
		r.Header.Set("Accept", "application/json")
		answer := v.send(r)
		if body := text(t, answer); answer.StatusCode != http.StatusOK || !strings.Contains(body, `"ok":true`) {
			t.Fatalf("status %d, %s", answer.StatusCode, body)
		}
		v.q.pass(time.Minute)
	}
	if got := len(v.entries("417")); got != n+1 {
		t.Errorf("%d ticks were written, want one", got-n)
	}
	page = v.get(v.at+"?step=P01", http.StatusOK)
	if got := page.one(t, "#step .ticks li").words(); !strings.Contains(got, "by Mats Vinter") || !strings.Contains(got, "all settled with the carrier") {
		t.Errorf("the step says %q", got)
	}
	values.Set("id", string(v.q.newID(v.q.tell())))
	r := v.postForm(v.at+"/done", values)
	if words := parsed(t, text(t, r)).one(t, "main").words(); r.StatusCode != http.StatusUnprocessableEntity || !strings.Contains(words, "has ticked “Settle the papers” already") {
		t.Errorf("the same step by the same hand: status %d, %q", r.StatusCode, words)
	}
}

// TestJourneyTwoHands: both ticks of one step are kept, and the page says so.
func TestJourneyTwoHands(t *testing.T) {
	q := journeyQuay(t)
	v, other := visit(t, q).travel("417"), visit(t, q).travel("417")
	other.by = "Signe Vandrell"
	page := v.begin(url.Values{"to": {"Lantern Quay"}, "goes": {"going"}})
	theirs := other.get(other.at, http.StatusOK)
	v.tick(page, "")
	page = other.tick(theirs, "")
	if got := page.one(t, ".notices .notice").words(); !strings.Contains(got, "“Settle the papers” was ticked by Mats Vinter at 4 Mar 09:15 and Signe Vandrell at 4 Mar 09:16. Both are kept") {
		t.Errorf("the page says %q", got)
	}
	page = v.get(v.at+"?step=P01", http.StatusOK)
	if n := len(page.all("#step .ticks li")); n != 2 {
		t.Errorf("%d ticks on the step, want both", n)
	}
}

// TestJourneyUndo: striking out a tick says first which later steps go back,
// and takes them back.
func TestJourneyUndo(t *testing.T) {
	q := journeyQuay(t)
	v := visit(t, q).travel("417")
	page := v.begin(url.Values{"to": {"Lantern Quay"}, "goes": {"going"}})
	for range 3 {
		page = v.tick(page, "")
	}
	q.pass(time.Minute)
	first := v.get(v.at+"?step=P01", http.StatusOK).one(t, "#step .ticks a").attrs["href"]
	undo := v.get(first, http.StatusOK)
	wellMade(t, first, undo, map[string]bool{})
	var also []string
	for _, li := range undo.all("section .notice li") {
		also = append(also, li.words())
	}
	if got := strings.Join(also, ", "); got != "Photograph it, Take a last comparison" {
		t.Errorf("the steps that go back are %q", got)
	}
	values := url.Values{"id": {undo.one(t, "input[name=id]").attrs["value"]}, "entry": {undo.one(t, "input[name=entry]").attrs["value"]}, "by": {"Mats Vinter"}, "why": {""}}
	r := v.postForm(v.at+"/undo", values)
	if words := parsed(t, text(t, r)).one(t, ".wrong").words(); r.StatusCode != http.StatusUnprocessableEntity || !strings.Contains(words, "Say what was wrong") {
		t.Errorf("without a reason: status %d, %q", r.StatusCode, words)
	}
	values.Set("why", "the carrier had not answered")
	page = v.follow(v.postForm(v.at+"/undo", values))
	if got := page.one(t, ".lately").words(); !strings.Contains(got, "To be done again: “Settle the papers”, “Photograph it” and “Take a last comparison”") {
		t.Errorf("the page says %q", got)
	}
	if got := page.one(t, ".journey-phases .sum").words(); got != "0 of 38 steps" {
		t.Errorf("after it %q", got)
	}
	if got := len(page.all(".step-list .tag.warn")); got != 3 {
		t.Errorf("%d steps are to be done again, want 3", got)
	}
	page = v.follow(v.postForm(v.at+"/undo", values)) // sent twice
	other := visit(t, q).travel("417")
	other.by = "Signe Vandrell"
	page = other.tick(other.tick(page, ""), "")
	if got := page.one(t, ".journey-phases .sum").words(); got != "2 of 38 steps" {
		t.Errorf("done again: %q", got)
	}
	if ticks := v.get(v.at+"?step=P02", http.StatusOK).all("#step .ticks li"); len(ticks) != 1 || !strings.Contains(ticks[0].words(), "Signe Vandrell") {
		t.Errorf("%d ticks count on the step that was done again, want the later one", len(ticks))
	}
}

// TestJourneyUnwritten: a step that is ticked and whose entry is missing is
// named, until the entry is there.
func TestJourneyUnwritten(t *testing.T) {
	q := journeyQuay(t)
	v := visit(t, q).travel("417")
	page := v.begin(url.Values{"to": {"Lantern Quay"}, "goes": {"going"}})
	page = v.tick(v.tick(page, ""), "")
	lack := page.one(t, ".notices .notice")
	if got := lack.words(); got != "Done, and not yet written in the logbook: photograph (Photograph it)" {
		t.Fatalf("the page says %q", got)
	}
	if got := page.one(t, ".lately b").words(); got != "photograph" {
		t.Errorf("the entry to be written is %q", got)
	}
	v.follow(v.postFile("/instruments/417/write/photograph", map[string]string{"by": "E", "caption": "the dial"}, "dial.jpg", dialPicture(t)))
	if n := len(v.get(v.at, http.StatusOK).all(".notices .notice")); n != 0 {
		t.Errorf("%d notices once it is written", n)
	}
}

// TestJourneyArrival reads the dial of one that was held and of one that came
// free. It ran (received − sent) modulo 12 h, of which the up-and-down dial
// chooses: 4:12:30.5 to 7:24:30.5 is 3 h 12 min.
func TestJourneyArrival(t *testing.T) {
	q := journeyQuay(t)
	v := visit(t, q).travel("417")
	page := v.begin(url.Values{"to": {"Lantern Quay"}, "goes": {"going"}})
	for {
		if s := page.one(t, "form.tick-form input[name=step]").attrs["value"]; s == "R04" {
			break
		} else if s == "P13" {
			values := v.fields(page)
			for _, slip := range []url.Values{{"dial": {"4:12"}}, {"dial": {"4:12:30.5"}, "up_down_h": {"many"}}, {"dial": {"4:12:30.5"}, "up_down_h": {"-3"}}} {
				for name, value := range slip {
					values[name] = value
				}
				r := v.postForm(v.at+"/done", values)
				if again := parsed(t, text(t, r)); r.StatusCode != http.StatusUnprocessableEntity || len(again.all("form.tick-form .error")) != 1 {
					t.Errorf("%v: status %d", slip, r.StatusCode)
				}
			}
			q.pass(time.Minute)
			values.Set("dial", "4:12:30.5")
			values.Set("up_down_h", "30")
			page = v.follow(v.postForm(v.at+"/done", values))
			continue
		}
		page = v.tick(page, "")
	}
	q.pass(3 * 24 * time.Hour)
	page = v.get(v.at, http.StatusOK)
	for id, want := range map[string]string{"f-sent_dial": "4:12:30.5", "f-sent_up_down_h": "30", "f-received_dial": ""} {
		if got := page.one(t, "#"+id).attrs["value"]; got != want {
			t.Errorf("%s holds %q, want %q", id, got, want)
		}
	}
	ask := func(dial, up string, status int) *element {
		t.Helper()
		return v.get(v.at+"?"+url.Values{"step": {"R04"}, "sent_dial": {"4:12:30.5"}, "sent_up_down_h": {"30"}, "received_dial": {dial}, "received_up_down_h": {up}}.Encode(), status)
	}
	for _, wrong := range [][2]string{{"", "30"}, {"4:12", "30"}, {"4:12:75", "30"}, {"4:12:30", "x"}, {"4:12:30", "-1"}, {"4:12:30", "300"}} {
		if len(ask(wrong[0], wrong[1], http.StatusUnprocessableEntity).all("#arrival")) != 0 {
			t.Errorf("%v: a verdict", wrong)
		}
	}
	if got := ask("4:12:30.5", "30", http.StatusOK).one(t, ".arrival .done .verdict-now").words(); got != "Held all the way" {
		t.Errorf("the same dial: %q", got)
	}
	page = ask("7:24:30.5", "33", http.StatusOK)
	wellMade(t, "came free", page, map[string]bool{})
	if got := page.one(t, ".arrival .trouble .verdict-now").words(); got != "Came free, ran 3 h 12 min: do not start it" {
		t.Errorf("another dial: %q", got)
	}
	if got := ask("7:24:30.5", "45", http.StatusOK).one(t, ".arrival .trouble .verdict-now").words(); got != "Came free, ran 15 h 12 min: do not start it" {
		t.Errorf("another dial, half a day on: %q", got)
	}
	if got := ask("7:24:30.5", "39", http.StatusOK).one(t, ".arrival .trouble .verdict-now").words(); got != "Dial and record do not agree: do not start it" {
		t.Errorf("dials that disagree: %q", got)
	}
	note := page.one(t, "#f-note").words()
	if !strings.Contains(note, "ran 3 h 12 min") {
		t.Errorf("the note begins with %q", note)
	}
	page = v.tick(page, note)
	if got := page.one(t, ".notices .trouble").words(); !strings.Contains(got, "ran 3 h 12 min. Do not start it") {
		t.Errorf("afterwards the page says %q", got)
	}
}

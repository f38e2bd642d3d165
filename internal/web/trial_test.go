package web_test

import (
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"
	"time"

	"timeball/internal/chronometer"
)

// shortProgramme is a trial of six days, warm and cold.
const shortProgramme = `name: warm and cold
about: Three days warm and three cold.
source: the workshop's own
settling_h: 12
within_h: 1
within_c: 1.5
periods:
  - {name: warm, days: 3, temp_c: 28, position: dial up}
  - {name: cold, days: 3, temp_c: 8, position: dial up}
criteria:
  - {name: rate, about: Mean daily rate of all days., of: mean rate, from: -2, to: 1}
  - {name: spread, about: Greatest change from one day to the next., of: greatest variation, to: 1.5}
  - {name: degree, about: Change for each degree., of: change per degree, periods: [1], less: [2], from: -0.5, to: 0.5}
`

// sumsProgramme is a fortnight as the room is.
const sumsProgramme = `name: fortnight
about: Two weeks.
periods:
  - {days: 14}
criteria:
  - {name: b, about: From week to week., of: greatest step between sums, sum_days: 7}
`

// tried is how an instrument went through a trial.
type tried struct {
	programme string
	rate      float64
	taken     int   // readings after the first that were taken, to today 08:30 at the most
	ago       int   // days before today of the first reading
	missed    []int // readings that were not
	cold      bool  // no thermometer was read
	broken    int   // the day on which it was stopped; 0: never
	ended     string
}

// try enters an instrument that goes through a trial.
func (q *quay) try(number string, t tried) *kept {
	first := time.Date(today.Year(), today.Month(), today.Day(), 8, 30, 0, 0, time.UTC).AddDate(0, 0, -t.ago)
	begun := first.Add(-13 * time.Hour)
	i := chronometer.Instrument{Number: number, Maker: "Corvane & Dray", Make: chronometer.BoxChronometer, Beat: chronometer.HalfSecond, Dial: chronometer.Twelve, GoingH: 56}
	k := q.enter(i, begun.AddDate(0, 0, -3), line{epoch: first, errorS: 5, rate: t.rate})
	q.add(k, begun.AddDate(0, 0, -2), "Signe Vandrell", chronometer.Started{How: "one turn"})
	q.add(k, begun.Add(-time.Minute), "Signe Vandrell", chronometer.Wound{HalfTurns: 7.5})
	q.add(k, begun, "Signe Vandrell", chronometer.Placed{Position: chronometer.DialUp, Station: chronometer.Trial, Where: "oven"})
	name, _, _ := strings.Cut(strings.TrimPrefix(t.programme, "name: "), "\n")
	q.add(k, begun, "Signe Vandrell", chronometer.TrialBegun{Programme: name, Text: t.programme})
	missed := map[int]bool{}
	for _, d := range t.missed {
		missed[d] = true
	}
	for d := range t.taken + 1 {
		at := first.AddDate(0, 0, d)
		q.add(k, at.Add(-2*time.Minute), "Signe Vandrell", chronometer.Wound{HalfTurns: 7.5})
		if d == t.broken && t.broken > 0 {
			q.add(k, at.Add(-8*time.Hour), "Signe Vandrell", chronometer.Stopped{Why: "a hand touched it"})
			q.add(k, at.Add(-7*time.Hour), "Signe Vandrell", chronometer.Started{How: "one turn"})
		}
		c := 28.0
		if d > 3 {
			c = 8
		}
		if !missed[d] {
			e := q.compare(k, at, 0.02*float64(d%3-1), c)
			if t.cold {
				fact := e.Fact.(chronometer.Compared)
				fact.TempC = nil
				k.entries[len(k.entries)-1].Fact = fact
				q.unfilled[len(q.unfilled)-1].Fact = fact
			}
		}
		if d == 3 && t.programme == shortProgramme && !t.cold {
			q.add(k, at.Add(10*time.Minute), "Signe Vandrell", chronometer.Placed{Position: chronometer.DialUp, Where: "oven"})
			cold := 8.0
			q.add(k, at.Add(40*time.Minute), "Signe Vandrell", chronometer.Temperature{TempC: cold})
		}
	}
	if t.ended != "" {
		q.add(k, first.AddDate(0, 0, t.taken).Add(20*time.Minute), "Signe Vandrell", chronometer.TrialEnded{Why: t.ended})
	}
	return k
}

// trialQuay returns a workshop with a trial in every state.
func trialQuay(t testing.TB) *quay {
	t.Helper()
	q := emptyQuay(t)
	q.try("61", tried{programme: shortProgramme, rate: -0.83, taken: 3, ago: 4})
	q.try("62", tried{programme: shortProgramme, rate: -0.83, taken: 6, ago: 20, ended: "finished"})
	q.try("63", tried{programme: shortProgramme, rate: -4.2, taken: 6, ago: 6})
	q.try("64", tried{programme: shortProgramme, rate: -0.83, taken: 6, ago: 7, missed: []int{2}})
	q.try("65", tried{programme: shortProgramme, rate: -0.83, taken: 6, ago: 6, cold: true})
	q.try("67", tried{programme: shortProgramme, rate: -0.83, taken: 4, ago: 4, broken: 2})
	q.try("68", tried{programme: shortProgramme, rate: -0.83, taken: 2, ago: 9, ended: "the oven failed"})
	q.try("69", tried{programme: sumsProgramme, rate: 1.4, taken: 14, ago: 15})
	q.try("70", tried{programme: shortProgramme, rate: 0.98, taken: 6, ago: 6})
	twice := q.try("73", tried{programme: shortProgramme, rate: -0.83, taken: 6, ago: 20, ended: "finished"})
	q.add(twice, today.Add(-3*time.Hour), "Signe Vandrell", chronometer.TrialBegun{Programme: "fortnight", Text: sumsProgramme})
	blank := chronometer.Instrument{Number: "71", Make: chronometer.DeckWatch, Beat: chronometer.FifthSecond, Dial: chronometer.Twelve, GoingH: 36}
	q.enter(blank, today.AddDate(0, 0, -1), line{})
	settling := q.enter(chronometer.Instrument{Number: "66", Make: chronometer.BoxChronometer, Beat: chronometer.HalfSecond, Dial: chronometer.Twelve, GoingH: 56}, today.AddDate(0, 0, -1), line{})
	q.add(settling, today.Add(-3*time.Hour), "Signe Vandrell", chronometer.Wound{HalfTurns: 7.5})
	q.add(settling, today.Add(-2*time.Hour), "Signe Vandrell", chronometer.TrialBegun{Programme: "warm and cold", Text: shortProgramme})
	still := q.enter(chronometer.Instrument{Number: "72", Make: chronometer.BoxChronometer, Beat: chronometer.HalfSecond, Dial: chronometer.Twelve, GoingH: 56}, today.AddDate(0, 0, -2), line{})
	q.add(still, today.AddDate(0, 0, -1), "Signe Vandrell", chronometer.Stopped{Why: "run down"})
	return q.fill(t)
}

// criteria returns the rows of the criteria by name.
func criteria(t *testing.T, page *element) map[string]*element {
	t.Helper()
	rows := map[string]*element{}
	for _, row := range page.all("table.criteria tbody tr") {
		if name := row.all("th b"); len(name) == 1 {
			rows[name[0].words()] = row
		}
	}
	return rows
}

func TestTrialStates(t *testing.T) {
	v := visit(t, trialQuay(t))
	for _, try := range []struct {
		number   string
		verdict  string            // the word in the head
		words    []string          // on the page
		standing map[string]string // of criteria, as they begin
	}{
		{"61", "going on", []string{"Day 4 of 6", "3 days are still to come"}, map[string]string{"rate": "still to come", "degree": "still to come"}},
		{"62", "kept", []string{"all 3 limits are kept", "ended 18 February 2027: finished"}, map[string]string{"rate": "kept", "spread": "kept", "degree": "kept"}},
		{"63", "not kept", []string{"rate outside the limit"}, map[string]string{"rate": "not kept", "spread": "kept"}},
		{"64", "undecided", []string{"Not compared on 27 February", "wanted for rate, spread and degree"}, map[string]string{"rate": "not known", "degree": "not known"}},
		{"65", "kept", []string{"Temperature never recorded", "temperature not read"}, map[string]string{"rate": "kept"}},
		{"66", "settling", []string{"Settling until 4 March at 19:15 UTC", "no day is known yet"}, map[string]string{"rate": "still to come"}},
		{"67", "undecided", []string{"The trial is broken by “stopped”", "begin again"}, map[string]string{"rate": "not known"}},
		{"68", "undecided", []string{"ended 25 February 2027: the oven failed"}, map[string]string{"rate": "not known"}},
		{"69", "figures alone", []string{"Weekly sums"}, map[string]string{"b": "no limit"}},
		{"70", "kept", nil, map[string]string{"rate": "kept, within its doubt of the limit"}},
	} {
		page := v.get("/instruments/"+try.number+"/trial", http.StatusOK)
		wellMade(t, try.number, page, map[string]bool{})
		if got := page.one(t, ".heads .sub .tag").words(); got != try.verdict {
			t.Errorf("%s: the head says %q, want %q", try.number, got, try.verdict)
		}
		all := page.one(t, "main").words()
		for _, words := range try.words {
			if !strings.Contains(all, words) {
				t.Errorf("%s: nothing says %q in: %.900s", try.number, words, all)
			}
		}
		rows := criteria(t, page)
		for name, want := range try.standing {
			if rows[name] == nil {
				t.Errorf("%s: no row for the criterion %s", try.number, name)
			} else if got := rows[name].one(t, "td .tag").words(); got != want {
				t.Errorf("%s: %s stands %q, want %q", try.number, name, got, want)
			}
		}
		if n := len(page.all("main .do.now")); n > 1 {
			t.Errorf("%s: %d primary actions, want at most one", try.number, n)
		}
		for _, table := range page.all("main table") {
			if len(table.all("th[scope=col]")) == 0 {
				t.Errorf("%s: a table without heads: %.80q", try.number, table.words())
			}
		}
	}
}

// TestTrialFigures holds the figures against the line that the instrument
// followed: −0.83 s/d in all its days.
func TestTrialFigures(t *testing.T) {
	v := visit(t, trialQuay(t))
	page := v.get("/instruments/62/trial", http.StatusOK)
	rows := criteria(t, page)
	near(t, rows["rate"].all("td")[0].words(), "losing", -0.83)
	if got := rows["rate"].all("td")[1].words(); got != "losing 2 to gaining 1 s a day" {
		t.Errorf("the limits read %q", got)
	}
	if got := rows["degree"].all("td")[1].words(); got != "at most 0.5 s a day more for each °C either way" {
		t.Errorf("the limits read %q", got)
	}
	if got := rows["rate"].all("td")[2].one(t, ".sub").words(); got != "more than 99 in 100 that the true one keeps it" {
		t.Errorf("how sure it is that the criterion is kept: %q", got)
	}
	means := page.all("table.periods tbody tr")
	if len(means) != 2 {
		t.Fatalf("%d periods, want 2", len(means))
	}
	for _, row := range means {
		near(t, row.all("td.num")[0].words(), "losing", -0.83)
	}
	if days := page.all("table.daily tbody tr"); len(days) != 6+2 {
		t.Errorf("%d rows of days and periods, want 8", len(days))
	}
	if n := len(page.all("svg.chart-wide")); n != 2 {
		t.Errorf("%d drawings, want the daily rate and the rate against temperature", n)
	}
	sums := v.get("/instruments/69/trial", http.StatusOK).all("section[aria-labelledby=sums-head] tbody tr")
	if len(sums) != 2 {
		t.Fatalf("%d weekly sums, want 2", len(sums))
	}
	// Seven days at 1.4 s/d.
	if got := sums[0].all("td")[0].words(); !strings.HasPrefix(got, "gained 9.8") || !strings.Contains(got, "±") {
		t.Errorf("the first week %q, want gained 9.8 s with its doubt", got)
	}
}

func TestTrialTasks(t *testing.T) {
	q := trialQuay(t)
	v := visit(t, q)
	page := v.get("/instruments/61/trial", http.StatusOK)
	tasks := page.all("ol.tasks li")
	found := map[string]string{}
	for _, task := range tasks {
		for _, a := range task.all("a") {
			path, _, _ := strings.Cut(a.attrs["href"], "?")
			found[path] = task.one(t, ".task-when").words()
		}
	}
	if got := found["/instruments/61/compare"]; got != "now, by 09:30" {
		t.Errorf("comparing is due %q, want now, by 09:30: %v", got, found)
	}
	if found["/instruments/61/write/temperature"] == "" || found["/instruments/61/write/wound"] == "" {
		t.Errorf("no winding or thermometer among the tasks: %v", found)
	}
	// The hour has gone by.
	q.now = q.now.Add(20 * time.Hour)
	page = v.get("/instruments/61/trial", http.StatusOK)
	late := page.all("ol.tasks li.late .tag.alarm")
	if len(late) == 0 || !strings.HasPrefix(late[0].words(), "late since") {
		t.Errorf("nothing is late after twenty hours: %q", page.one(t, "ol.tasks").words())
	}
	// The place is filled in, the temperature is not.
	q.now = today
	page = v.get("/instruments/66/trial", http.StatusOK)
	for _, a := range page.all("ol.tasks a") {
		if strings.Contains(a.attrs["href"], "/write/placed?") {
			u, err := url.Parse(a.attrs["href"])
			if err != nil {
				t.Fatal(err)
			}
			if got := u.Query().Encode(); got != "position=dial+up&where=oven" {
				t.Errorf("placing is filled in with %q", got)
			}
			blank := v.get(a.attrs["href"], http.StatusOK)
			if blank.one(t, "input#f-temp_c").attrs["value"] != "" {
				t.Error("a temperature that was not read is filled in")
			}
			return
		}
	}
	t.Errorf("it is not to be laid in the oven: %q", page.one(t, "ol.tasks").words())
}

func TestBeginAndEndATrial(t *testing.T) {
	q := trialQuay(t)
	v := visit(t, q)
	page := v.get("/instruments/71/trial", http.StatusOK)
	wellMade(t, "choose", page, map[string]bool{})
	if n := len(page.all(".programme-choice")); n != 5 {
		t.Errorf("%d programmes, want the five that come with the program", n)
	}
	if n := len(page.all(".programme-choice .tag.warn")); n != 2 {
		t.Errorf("%d are marked as a standard for wrist chronometers, want 2", n)
	}
	id := page.one(t, "main input[name=id]").attrs["value"]
	begin := func(programme string) url.Values {
		return url.Values{"id": {id}, "programme": {programme}, "at": {"now"}, "by": {"Mats Vinter"}, "note": {""}}
	}
	refused := v.postForm("/instruments/71/trial/begin", begin("no such"))
	if refused.StatusCode != http.StatusUnprocessableEntity {
		t.Errorf("an unknown programme: status %d", refused.StatusCode)
	}
	if got := parsed(t, text(t, refused)).one(t, "#f-programme .error").words(); !strings.Contains(got, "No programme is named") || !strings.Contains(got, "three temperatures") {
		t.Errorf("an unknown programme: %q", got)
	}
	refused = v.postForm("/instruments/71/trial/begin", begin(""))
	if got := parsed(t, text(t, refused)).one(t, "#f-programme .error").words(); !strings.Contains(got, "Choose the programme") {
		t.Errorf("no programme: %q", got)
	}
	page = v.follow(v.postForm("/instruments/71/trial/begin", begin("three temperatures")))
	if got := page.one(t, ".notice.done").words(); got != "Written: Trial begun: three temperatures" {
		t.Errorf("begun: %q", got)
	}
	// Sent twice it is one trial; under another ID it is refused.
	v.follow(v.postForm("/instruments/71/trial/begin", begin("three temperatures")))
	if n := len(v.entries("71")); n != 2 {
		t.Errorf("%d entries after a resend, want 2", n)
	}
	id = v.get("/instruments/71/trial?begin=yes", http.StatusOK).one(t, "main input[name=id]").attrs["value"]
	refused = v.postForm("/instruments/71/trial/begin", begin("weekly sums"))
	if got := parsed(t, text(t, refused)).one(t, ".wrong").words(); refused.StatusCode != http.StatusUnprocessableEntity || !strings.Contains(got, "goes on; end it first") {
		t.Errorf("begun twice: status %d, %q", refused.StatusCode, got)
	}

	end := v.get("/instruments/71/trial", http.StatusOK).one(t, "main form input[name=id]").attrs["value"]
	over := func(how, why string) *http.Response {
		return v.postForm("/instruments/71/trial/end", url.Values{"id": {end}, "how": {how}, "why": {why}, "at": {"now"}, "by": {"Mats Vinter"}})
	}
	for _, wrong := range []struct{ how, why, says string }{
		{"finished", "", "still to come"}, {"given up", "", "Say why"}, {"", "", "Choose whether"}, {"finished", "the oven failed", "needs no reason"},
	} {
		r := over(wrong.how, wrong.why)
		if got := parsed(t, text(t, r)).one(t, ".wrong").words(); r.StatusCode != http.StatusUnprocessableEntity || !strings.Contains(got, wrong.says) {
			t.Errorf("%q %q: status %d, %q", wrong.how, wrong.why, r.StatusCode, got)
		}
	}
	page = v.follow(over("given up", "the oven failed"))
	if got := page.one(t, ".heads .sub").words(); !strings.Contains(got, "ended 4 March 2027: the oven failed") {
		t.Errorf("ended: %q", got)
	}
	v.follow(over("given up", "the oven failed"))
	if r := v.postForm("/instruments/72/trial/end", url.Values{"id": {id}, "how": {"finished"}, "by": {"Mats Vinter"}}); r.StatusCode != http.StatusUnprocessableEntity || !strings.Contains(text(t, r), "nothing to end") {
		t.Errorf("an end without a trial: status %d", r.StatusCode)
	}
	barred := v.get("/instruments/72/trial", http.StatusOK)
	if got := barred.one(t, ".notice.trouble").words(); !strings.Contains(got, "It does not go") {
		t.Errorf("one that stands: %q", got)
	}

	// Another is begun and stands beside the first.
	id = v.get("/instruments/71/trial?begin=yes", http.StatusOK).one(t, "main input[name=id]").attrs["value"]
	page = v.follow(v.postForm("/instruments/71/trial/begin", begin("weekly sums")))
	beside := page.one(t, "table.beside")
	if heads := beside.all("th[scope=col]"); len(heads) != 2 || !strings.HasPrefix(heads[0].words(), "weekly sums, this one") {
		t.Fatalf("side by side: %q", beside.words())
	}
	earlier := v.get(beside.one(t, "thead a").attrs["href"], http.StatusOK)
	if got := earlier.one(t, "main").words(); !strings.Contains(got, "This is an earlier trial") || !strings.Contains(got, "the oven failed") {
		t.Errorf("the earlier trial: %.300q", got)
	}
	if n := len(earlier.all("form[method=post]")); n != 0 {
		t.Errorf("an earlier trial has %d forms", n)
	}
	v.get("/instruments/71/trial?of=01ARZ3NDEKTSV4RRFFQ69G5FAV", http.StatusNotFound)
	v.get("/instruments/none/trial", http.StatusNotFound)
}

func TestTrialOnTheInstrumentPage(t *testing.T) {
	v := visit(t, trialQuay(t))
	page := v.get("/instruments/61", http.StatusOK)
	card := page.one(t, "section[aria-labelledby=trial-head]")
	if got := card.words(); !strings.Contains(got, "Trial: warm and cold") || !strings.Contains(got, "Day 4 of 6") || len(card.all("ol.tasks li")) == 0 {
		t.Errorf("the card: %q", got)
	}
	for _, number := range []string{"62", "71"} {
		if n := len(v.get("/instruments/"+number, http.StatusOK).all("section[aria-labelledby=trial-head]")); n != 0 {
			t.Errorf("%s has a card of a trial that does not go on", number)
		}
	}
}

func TestProgrammes(t *testing.T) {
	q := trialQuay(t)
	v := visit(t, q)
	list := v.get("/programmes", http.StatusOK)
	wellMade(t, "programmes", list, map[string]bool{})
	shipped := list.all("section[aria-labelledby=shipped-head] li > a")
	for _, a := range list.all("section[aria-labelledby=shipped-head] li a") {
		page := v.get(a.attrs["href"], http.StatusOK)
		wellMade(t, a.attrs["href"], page, map[string]bool{})
		if len(page.all("table.periods tbody tr")) == 0 || len(page.all("table.criteria tbody tr")) == 0 || !strings.Contains(page.one(t, "pre").words(), "periods:") {
			t.Errorf("%s: no periods, criteria or text", a.attrs["href"])
		}
		if n := len(page.all("textarea")); n != 0 {
			t.Errorf("%s comes with the program and can be written over", a.attrs["href"])
		}
		shipped = append(shipped, a)
	}
	if len(shipped) != 5 {
		t.Errorf("%d programmes come with the program, want 5", len(shipped))
	}
	// ISO 3159:2009, category 1: M from −4 to +6, D from −6 to +8, C within 0.6 s/d
	// per °C (limits from the public pages of COSC).
	iso := criteria(t, v.get("/programmes/iso-3159", http.StatusOK))
	for name, want := range map[string]string{"M": "losing 4 to gaining 6 s a day", "V": "at most 2 s a day", "D": "losing 6 to gaining 8 s a day more", "C": "at most 0.6 s a day more for each °C either way"} {
		if got := iso[name].all("td")[1].words(); got != want {
			t.Errorf("ISO 3159 %s: %q, want %q", name, got, want)
		}
	}
	if r := v.postForm("/programmes/iso-3159", url.Values{"text": {shortProgramme}, "by": {"Mats Vinter"}}); r.StatusCode != http.StatusUnprocessableEntity {
		t.Errorf("a programme of the program was written over: status %d", r.StatusCode)
	}
	v.get("/programmes/nothing", http.StatusNotFound)

	page := v.get("/programmes/new?from=weekly+sums", http.StatusOK)
	if got := page.one(t, "textarea").words(); !strings.Contains(got, "name: weekly sums, our own") {
		t.Errorf("the copy begins %.200q", got)
	}
	id := page.one(t, "main input[name=id]").attrs["value"]
	send := func(address, text, do string) *http.Response {
		return v.postForm(address, url.Values{"id": {id}, "text": {text}, "by": {"Mats Vinter"}, "do": {do}})
	}
	// A slip: its line, its field, what is written there, and the text kept.
	slip := strings.Replace(shortProgramme, "days: 3, temp_c: 8", "dayz: 3, temp_c: 8", 1)
	r := send("/programmes/new", slip, "keep")
	wrong := parsed(t, text(t, r))
	if got := wrong.one(t, ".wrong").words(); r.StatusCode != http.StatusUnprocessableEntity || !strings.Contains(got, "Line 9, period 2") || !strings.Contains(got, "dayz") {
		t.Errorf("a slip: status %d, %q", r.StatusCode, got)
	}
	if got := wrong.one(t, ".line-wrong").words(); !strings.HasPrefix(got, "9 - {name: cold, dayz: 3") {
		t.Errorf("the line: %q", got)
	}
	if got := wrong.one(t, "textarea").raw(); strings.TrimSpace(got) != strings.TrimSpace(slip) {
		t.Errorf("the text was not kept: %q", got)
	}
	id = wrong.one(t, "main input[name=id]").attrs["value"]
	for _, bad := range []string{"", "name: x", "[", "\x00", strings.Repeat("a", 70<<10)} {
		if r := send("/programmes/new", bad, "read"); r.StatusCode != http.StatusUnprocessableEntity {
			t.Errorf("%.20q was read: status %d", bad, r.StatusCode)
		}
	}
	read := parsed(t, text(t, send("/programmes/new", shortProgramme, "read")))
	if got := read.one(t, ".notice").words(); !strings.HasPrefix(got, "Read, not kept") || len(read.all("table.periods tbody tr")) != 2 {
		t.Errorf("read only: %q", got)
	}
	kept := v.follow(send("/programmes/new", shortProgramme, "keep"))
	if got := kept.one(t, ".notice.done").words(); !strings.HasPrefix(got, "Kept") {
		t.Errorf("kept: %q", got)
	}
	v.follow(send("/programmes/new", shortProgramme, "keep")) // sent twice
	own := v.get("/programmes", http.StatusOK).all("section[aria-labelledby=own-head] li a")
	if len(own) != 1 || own[0].words() != "warm and cold" {
		t.Fatalf("%d own programmes, want one", len(own))
	}
	address := own[0].attrs["href"]
	id = v.get("/programmes/new", http.StatusOK).one(t, "main input[name=id]").attrs["value"]
	if r := send("/programmes/new", shortProgramme, "keep"); r.StatusCode != http.StatusUnprocessableEntity || !strings.Contains(text(t, r), "already; give this one another name") {
		t.Errorf("two of one name: status %d", r.StatusCode)
	}
	id = v.get(address, http.StatusOK).one(t, "main input[name=id]").attrs["value"]
	anew := v.follow(send(address, strings.Replace(shortProgramme, "to: 1}", "to: 0.5}", 1), "keep"))
	if got := criteria(t, anew)["rate"].all("td")[1].words(); got != "losing 2 to gaining 0.5 s a day" {
		t.Errorf("written anew its limits read %q", got)
	}
	// A trial can be begun with it, and the one that goes on keeps its own text.
	if got := v.get("/instruments/71/trial", http.StatusOK).all(".programme-choice")[0].words(); !strings.HasPrefix(got, "warm and cold own") {
		t.Errorf("first among the programmes stands %q", got)
	}
	if got := criteria(t, v.get("/instruments/61/trial", http.StatusOK))["rate"].all("td")[1].words(); got != "losing 2 to gaining 1 s a day" {
		t.Errorf("the trial that goes on is now judged by %q", got)
	}
}

func TestRegulate(t *testing.T) {
	q := emptyQuay(t)
	// Two turnings of 18 s/d a turn, then ten days at losing 2.4 s/d.
	from := today.AddDate(0, 0, -30)
	one, two := from.AddDate(0, 0, 10), from.AddDate(0, 0, 20)
	k := q.enter(chronometer.Instrument{Number: "80", Make: chronometer.BoxChronometer, Beat: chronometer.HalfSecond, Dial: chronometer.Twelve, GoingH: 56}, from,
		line{from, 3, 3, []step{{at: one, rate: -7.2}, {at: two, rate: 1.8}}})
	turn := func(at time.Time, turns float64, way chronometer.Way) {
		q.add(k, at, "Mats Vinter", chronometer.Stopped{Why: "to regulate"})
		q.add(k, at, "Mats Vinter", chronometer.Regulated{Part: chronometer.TimingScrews, Turns: &turns, Way: way})
		q.add(k, at.Add(time.Second), "Mats Vinter", chronometer.Started{How: "one turn"})
	}
	turn(one, 0.4, chronometer.Out)
	turn(two, 0.1, chronometer.In)
	for d := range 31 {
		q.compare(k, from.AddDate(0, 0, d).Add(-time.Hour), 0.02*float64(d%3-1), 19)
	}
	q.enter(chronometer.Instrument{Number: "81", Make: chronometer.BoxChronometer, Beat: chronometer.HalfSecond, Dial: chronometer.Twelve, GoingH: 56}, from, line{})
	v := visit(t, q.fill(t))

	page := v.get("/instruments/80/regulate", http.StatusOK)
	wellMade(t, "regulate", page, map[string]bool{})
	main := page.one(t, "main")
	care := strings.Index(main.words(), "Never touch a screw or a weight while the balance moves")
	if advice := strings.Index(main.words(), "What to turn"); care < 0 || advice < care {
		t.Errorf("the caution stands at %d, the advice at %d", care, advice)
	}
	if got := page.one(t, ".caution").words(); !strings.Contains(got, "It is going. Stop it and hold the balance first") || !strings.Contains(got, "Follow your local rules") {
		t.Errorf("the caution: %q", got)
	}
	figures := page.all(".figures > div")
	if len(figures) == 0 {
		figures = page.all(".figures div")
	}
	near(t, strings.TrimPrefix(figures[0].words(), "The rate now"), "losing", -2.4)
	if got := figures[1].one(t, "b").words(); got != "losing 0.5 to 1 s a day" {
		t.Errorf("the wish: %q", got)
	}
	// From losing 2.4 to losing 0.75 at 18 s/d a turn: in by 0.09 turn.
	if got := page.one(t, ".verdict-now").words(); !strings.HasPrefix(got, "Both screws in by ") {
		t.Errorf("the advice: %q", got)
	}
	write := page.one(t, ".actions .do.now")
	u, err := url.Parse(write.attrs["href"])
	if err != nil {
		t.Fatal(err)
	}
	if got := u.Query(); u.Path != "/instruments/80/write/regulated" || got.Get("part") != "timing screws" || got.Get("way") != "in" || got.Get("turns") != "0.1" && got.Get("turns") != "0.075" {
		t.Errorf("it is written at %s", write.attrs["href"])
	}
	blank := v.get(write.attrs["href"], http.StatusOK)
	if got := blank.one(t, "input#f-turns").attrs["value"]; got != u.Query().Get("turns") {
		t.Errorf("the form asks for %q turns", got)
	}
	rows := page.all("table.turned tbody tr")
	if len(rows) != 2 {
		t.Fatalf("%d turnings, want 2", len(rows))
	}
	for _, row := range rows {
		cells := row.all("td")
		near(t, cells[len(cells)-1].words(), "losing", -18)
	}

	// Another wish; and one that cannot be.
	page = v.get("/instruments/80/regulate?part=timing+nuts&way=gaining&least=1&most=2", http.StatusOK)
	if got := page.one(t, "main").words(); !strings.Contains(got, "gaining 1 to 2 s a day") || !strings.Contains(got, "thought beforehand") {
		t.Errorf("another wish: %.600q", got)
	}
	for _, bad := range []string{"least=x&most=2", "least=2&most=1", "least=1&most=900", "least=-1&most=1", "least=&most="} {
		page = v.get("/instruments/80/regulate?"+bad, http.StatusUnprocessableEntity)
		if len(page.all("strong.error")) == 0 {
			t.Errorf("%s: nothing says what is wrong", bad)
		}
	}

	page = v.get("/instruments/81/regulate", http.StatusOK)
	if got := page.one(t, "main").words(); !strings.Contains(got, "Measure the rate first") || !strings.Contains(got, "No turning is in its logbook yet") {
		t.Errorf("one that was never compared: %.900q", got)
	}
	if r := v.send(httptest.NewRequest(http.MethodGet, "/instruments/none/regulate", nil)); r.StatusCode != http.StatusNotFound {
		t.Errorf("no such instrument: status %d", r.StatusCode)
	}
}

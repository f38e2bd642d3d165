package web_test

import (
	"net/http"
	"net/url"
	"slices"
	"strings"
	"testing"
	"time"

	"timeball/internal/chronometer"
)

func money(minor int64, currency string) chronometer.Money {
	return chronometer.Money{Minor: minor, Currency: currency}
}

// benchQuay returns a workshop with its name and one instrument, no. 52, of
// which some facts are written, one a day, the last yesterday.
func benchQuay(t testing.TB, facts ...chronometer.Fact) *visitor {
	t.Helper()
	q := emptyQuay(t)
	from := today.AddDate(0, 0, -len(facts)-1)
	k := q.enter(chronometer.Instrument{Number: "52", Maker: "Þórðarson & Æsir, Ísafjörður", Make: chronometer.BoxChronometer, Beat: chronometer.HalfSecond, Dial: chronometer.Twelve, GoingH: 56}, from, line{})
	for n, f := range facts {
		q.add(k, from.AddDate(0, 0, n+1), "Mats Vinter", f)
	}
	v := visit(t, q.fill(t))
	house(v)
	return v
}

// wholeJob is one job from its enquiry until it is home.
var wholeJob = []chronometer.Fact{
	chronometer.Enquired{What: "it gains", From: "Ελένη Παπαδημητρίου"},
	chronometer.Estimated{Work: "clean and oil", Hours: 9, Cost: money(48000, "EUR"), Days: 30},
	chronometer.Approved{Who: "Ελένη", UpTo: money(50000, "EUR")},
	chronometer.Held{With: chronometer.Brake},
	chronometer.Sent{To: "Skerrow"},
	chronometer.Received{Station: chronometer.Bench, Condition: "box sound"},
	chronometer.Found{Condition: "pivot worn"},
	chronometer.Estimated{Work: "a new pivot as well", Hours: 13, Cost: money(70000, "EUR")},
	chronometer.Approved{Who: "Ελένη"},
	chronometer.WorkDone{Work: "pivot", Parts: "one arbor", Measurements: "end shake 0.04 mm", Hours: 4.5, Cost: money(21000, "EUR")},
	chronometer.WorkDone{Work: "glass", Cost: money(9500, "ISK")},
	chronometer.Ready{},
	chronometer.Sent{To: "home"},
	chronometer.Received{Station: chronometer.Home},
}

// TestStagesOfJob goes through a job and looks, at every stage, at what the
// page says it waits for, which step is next and what it offers first.
func TestStagesOfJob(t *testing.T) {
	for _, c := range []struct {
		n                        int // of the facts of wholeJob
		stage, waits, next, verb string
		dated                    int // steps with a day
	}{
		{1, "asked for", "waits for the keeper since 3 March", "Estimated", "Estimate", 1},
		{2, "estimate with the owner", "waits for the owner since 3 March", "Agreed to", "Approved", 2},
		{3, "agreed, still to come", "waits for the owner since 3 March", "Received", "Receive", 3},
		{5, "on its way here", "waits for the carrier since 3 March", "Received", "Receive", 3},
		{6, "to be examined", "waits for the bench since 3 March", "Examined", "Found", 4},
		{7, "work to be done", "waits for the bench since 3 March", "Worked on", "Work done", 5},
		{8, "estimate with the owner", "waits for the owner since 3 March", "Agreed to", "Approved", 4},
		{9, "work to be done", "waits for the bench since 3 March", "Worked on", "Work done", 5},
		{10, "work going on", "waits for the bench since 3 March", "Ready", "Work done", 6},
		{12, "ready to go home", "waits for the keeper since 3 March", "Sent home", "Pack", 7},
		{13, "on its way home", "waits for the carrier since 3 March", "Back home", "Arrived home", 8},
	} {
		v := benchQuay(t, wholeJob[:c.n]...)
		page := v.get("/instruments/52/job", http.StatusOK)
		wellMade(t, c.stage, page, map[string]bool{})
		if got := page.one(t, ".tag.stage").words(); got != c.stage {
			t.Errorf("after %d entries: %q, want %q", c.n, got, c.stage)
		}
		if got := page.one(t, "#stands-head").words(); got != "It gains" {
			t.Errorf("%s: the job is called %q", c.stage, got)
		}
		if got := page.all("section .sub b")[0].words(); got != c.waits {
			t.Errorf("%s: %q, want %q", c.stage, got, c.waits)
		}
		now := page.one(t, ".steps li.now")
		if got := now.one(t, "b").words(); got != c.next || now.attrs["aria-current"] != "step" || now.one(t, "span").words() != "next" {
			t.Errorf("%s: next is %q, want %q", c.stage, got, c.next)
		}
		if got := len(page.all(".steps li.done")); got != c.dated {
			t.Errorf("%s: %d steps are done, want %d", c.stage, got, c.dated)
		}
		if got := page.one(t, ".actions a.now"); got.words() != c.verb {
			t.Errorf("%s: first comes %q, want %q", c.stage, got.words(), c.verb)
		}
		for _, a := range append(page.all(".actions a"), append(page.all(".others a"), page.all(".job-papers a[href]")...)...) {
			if to := a.attrs["href"]; !strings.HasSuffix(to, ".csv") {
				v.get(to, http.StatusOK)
			}
		}
	}
	v := benchQuay(t, wholeJob...)
	page := v.get("/instruments/52/job", http.StatusOK)
	if len(page.all(".tag.stage"))+len(page.all(".steps")) != 0 || page.one(t, "#none-head").words() != "No job is open" {
		t.Error("a closed job is shown as open")
	}
	earlier := page.one(t, "details.earlier[open]")
	for _, says := range []string{"It gains", "210.00 EUR and 9500 ISK", "Pivot worn", "one arbor"} {
		if !strings.Contains(earlier.words(), says) {
			t.Errorf("the closed job does not say %q: %s", says, earlier.words())
		}
	}
	if got := page.one(t, ".actions a.now").words(); got != "Enquiry" {
		t.Errorf("after the job comes %q", got)
	}
}

func TestJobOfNothing(t *testing.T) {
	v := benchQuay(t)
	page := v.get("/instruments/52/job", http.StatusOK)
	wellMade(t, "job", page, map[string]bool{})
	if got := page.one(t, "#none-head").words() + page.one(t, "section p").words(); !strings.Contains(got, "It has had none.") {
		t.Errorf("without a job it says %q", got)
	}
	if n := len(page.all("table")) + len(page.all(".job-papers")) + len(page.all(".earlier")); n != 0 {
		t.Errorf("%d tables, papers and earlier jobs of nothing", n)
	}
	v.get("/instruments/53/job", http.StatusNotFound)
	missing := v.get("/instruments/52/papers", http.StatusOK)
	for kind, says := range map[string]string{"estimate": "It has had no job", "service-report": "It has had no job", "invoice-lines": "No work is written down"} {
		if got := missing.one(t, "section[aria-labelledby="+kind+"-head] .why").words(); !strings.HasPrefix(got, says) {
			t.Errorf("%s: %q, want %q", kind, got, says)
		}
		v.get("/instruments/52/papers/"+kind+map[bool]string{true: ".csv", false: ".pdf"}[kind == "invoice-lines"], http.StatusConflict)
	}
}

// TestJobCost holds the cost against what was agreed: an amount of another
// currency is summed apart and not held against it.
func TestJobCost(t *testing.T) {
	agreed := wholeJob[:9] // to 700 EUR
	cost := func(minor int64, currency string) chronometer.Fact {
		return chronometer.WorkDone{Work: "worked", Hours: 1.5, Cost: money(minor, currency)}
	}
	for _, c := range []struct {
		name  string
		facts []chronometer.Fact
		words string
		over  bool
		sums  []string
	}{
		{"nothing spent", agreed, "Nothing is spent of the 700.00 EUR agreed.", false, nil},
		{"some", append(slices.Clone(agreed), cost(61050, "EUR")), "89.50 EUR are left of the 700.00 EUR agreed.", false, []string{"Together 1.5 h 610.50 EUR"}},
		{"all", append(slices.Clone(agreed), cost(61050, "EUR"), cost(8950, "EUR")), "All of the 700.00 EUR agreed is spent.", false, []string{"Together 3 h 700.00 EUR"}},
		{"over", append(slices.Clone(agreed), cost(61050, "EUR"), cost(8951, "EUR")), "The cost is 0.01 EUR over the 700.00 EUR agreed. Ask the owner before anything more is done.", true, []string{"Together 3 h 700.01 EUR"}},
		{"two currencies", append(slices.Clone(agreed), cost(61050, "EUR"), cost(9500, "ISK"), cost(500, "ISK")), "89.50 EUR are left of the 700.00 EUR agreed. 10000 ISK is not held against it, in another currency.", false, []string{"Together 4.5 h 610.50 EUR", "and in ISK 10000 ISK"}},
		{"another only", append(slices.Clone(agreed), cost(9500, "ISK")), "700.00 EUR are left of the 700.00 EUR agreed. 9500 ISK is not held against it, in another currency.", false, []string{"Together 1.5 h 9500 ISK"}},
		{"not agreed", []chronometer.Fact{wholeJob[0], wholeJob[1], cost(50000, "EUR")}, "The cost is 20.00 EUR over the 480.00 EUR estimated. Ask the owner before anything more is done. The owner has not agreed to it yet.", true, []string{"Together 1.5 h 500.00 EUR"}},
		{"not estimated", []chronometer.Fact{cost(50000, "EUR")}, "Nothing was estimated, so nothing is agreed.", false, []string{"Together 1.5 h 500.00 EUR"}},
	} {
		page := benchQuay(t, c.facts...).get("/instruments/52/job", http.StatusOK)
		class := ".against"
		if c.over {
			class = ".wrong-now"
			alarm, _, _ := strings.Cut(c.words, " Ask the owner")
			if got := page.one(t, ".notice.trouble[role=alert]").words(); got != alarm+" Estimate and cost" {
				t.Errorf("%s: it warns %q", c.name, got)
			}
		} else if len(page.all(".notice.trouble")) > 0 {
			t.Errorf("%s: it warns", c.name)
		}
		if got := page.one(t, "section[aria-labelledby=cost-head] p"+class).words(); got != c.words {
			t.Errorf("%s: %q, want %q", c.name, got, c.words)
		}
		var sums []string
		for _, r := range page.all("table.work tfoot tr") {
			sums = append(sums, r.words())
		}
		if !slices.Equal(sums, c.sums) {
			t.Errorf("%s: sums %q, want %q", c.name, sums, c.sums)
		}
	}
}

// TestStepsPassedOver: an estimate may still come once it is examined, but what
// was passed over is said not to be written when the work is done.
func TestStepsPassedOver(t *testing.T) {
	received := chronometer.Received{Station: chronometer.Bench}
	for says, facts := range map[string][]chronometer.Fact{
		"to come":     {wholeJob[0], received},
		"not written": {received, chronometer.WorkDone{Work: "oiled"}},
	} {
		steps := benchQuay(t, facts...).get("/instruments/52/job", http.StatusOK).all(".steps li span")
		if len(steps) != 9 || steps[1].words() != says || steps[2].words() != says || steps[8].words() != "to come" {
			t.Errorf("want %q: %d steps, %q", says, len(steps), steps[1].words())
		}
	}
}

// TestRegulatedInJob lists a regulation with the work, which costs nothing.
func TestRegulatedInJob(t *testing.T) {
	page := benchQuay(t, chronometer.Received{Station: chronometer.Bench}, chronometer.Found{Condition: "gains"}, chronometer.Regulated{What: "timing nuts", Much: "both in by 1/16 of a turn"}).get("/instruments/52/job", http.StatusOK)
	if got := page.one(t, "table.work tbody tr").words(); !strings.Contains(got, "Regulated: ") || !strings.Contains(got, "1/16") {
		t.Errorf("the work is %q", got)
	}
	if n := len(page.all("table.work tfoot")); n != 0 {
		t.Error("nothing has a sum")
	}
}

// TestEstimateAnew shows that an estimate takes the place of the one before.
func TestEstimateAnew(t *testing.T) {
	page := benchQuay(t, wholeJob[:8]...).get("/instruments/52/job", http.StatusOK)
	cost := page.one(t, "section[aria-labelledby=cost-head]").words()
	for _, says := range []string{"700.00 EUR", "A new pivot as well.", "not yet", "took the place of that of", "Clean and oil"} {
		if !strings.Contains(cost, says) {
			t.Errorf("it does not say %q: %s", says, cost)
		}
	}
	held := benchQuay(t, append(wholeJob[:1:1], chronometer.Estimated{Work: "oil", Cost: money(100, "EUR"), Days: 1}, chronometer.Note{Text: "no word"}, chronometer.Note{Text: "still none"})...)
	if got := held.get("/instruments/52/job", http.StatusOK).one(t, "section[aria-labelledby=cost-head]").words(); !strings.Contains(got, "It held until 2 March; make it anew.") {
		t.Errorf("an estimate that is past: %s", got)
	}
}

// TestBadMoney sends amounts that are none; nothing is written and what was
// typed stays.
func TestBadMoney(t *testing.T) {
	v := benchQuay(t, wholeJob[0])
	before := len(v.entries("52"))
	for typed, says := range map[string]string{
		"":                         "Cost is missing; write it.",
		"480":                      "names no currency",
		"a lot of EUR":             "is no plain number",
		"-480 EUR":                 "is no plain number",
		"480.005 EUR":              "has more than 2 decimals",
		"480.50 ISK":               "has more than 0 decimals",
		"99999999999999999999 EUR": "is too large to be meant",
	} {
		r := v.postForm("/instruments/52/write/estimated", withBy(url.Values{"work": {"clean and oil"}, "cost": {typed}}))
		page := parsed(t, text(t, r))
		if len(page.all("#x-cost")) != 1 {
			t.Errorf("%q: status %d, nothing at the field: %s", typed, r.StatusCode, page.one(t, "main").words())
			continue
		}
		if got := page.one(t, "#x-cost").words(); r.StatusCode != http.StatusUnprocessableEntity || !strings.Contains(got, says) {
			t.Errorf("%q: status %d, %q, want %q", typed, r.StatusCode, got, says)
		}
		if got := page.one(t, "#f-cost").attrs["value"]; got != typed {
			t.Errorf("%q comes back as %q", typed, got)
		}
	}
	if len(v.entries("52")) != before {
		t.Error("something was written")
	}
	v.follow(v.postForm("/instruments/52/write/estimated", withBy(url.Values{"work": {"clean and oil"}, "cost": {"1 250,50 eur"}})))
	if got := v.get("/instruments/52/job", http.StatusOK).one(t, "section[aria-labelledby=cost-head]").words(); !strings.Contains(got, "1250.50 EUR") {
		t.Errorf("the estimate: %s", got)
	}
}

// TestJobPapers asks for the papers that the page of a job offers, and for the
// lines of the invoice.
func TestJobPapers(t *testing.T) {
	v := benchQuay(t, wholeJob[:11]...)
	page := v.get("/instruments/52/job", http.StatusOK)
	var offered []string
	for _, a := range page.all(".job-papers a") {
		offered = append(offered, a.words())
	}
	if want := []string{"Estimate", "Service report", "Invoice lines, CSV"}; !slices.Equal(offered, want) {
		t.Fatalf("offered: %q, want %q", offered, want)
	}
	csv := string(v.file(page.all(".job-papers a")[2].attrs["href"], "text/csv; charset=utf-8"))
	if !strings.HasPrefix(csv, "job,date,what,parts,hours,amount,currency\n") || strings.Count(csv, "\n") != 3 || !strings.Contains(csv, ",pivot,one arbor,4.5,210.00,EUR\n") {
		t.Errorf("the lines: %s", csv)
	}
	for _, f := range []string{"estimate", "service-report"} {
		v.file("/instruments/52/papers/"+f+".pdf", "application/pdf")
		if svg := string(v.file("/instruments/52/papers/"+f+".svg", "image/svg+xml")); !strings.Contains(svg, "Æsir") {
			t.Errorf("%s does not carry the maker's name", f)
		}
	}
	v.get("/instruments/52/papers/estimate.csv", http.StatusNotFound)
	v.get("/instruments/52/papers/invoice-lines.pdf", http.StatusNotFound)
	v.get("/instruments/52/papers?show=invoice-lines", http.StatusNotFound)

	nameless := visit(t, lanternQuay(t)).get("/instruments/417/job", http.StatusOK)
	if len(nameless.all(".job-papers")) != 0 {
		t.Error("papers are offered without the name of the workshop")
	}
	nameless.one(t, "section[aria-labelledby=papers-head] a[href=/workshop]")
}

// TestShotsOfJob shows the photographs taken in the course of a job with it,
// and no others.
func TestShotsOfJob(t *testing.T) {
	q := lanternQuay(t)
	page := visit(t, q).get("/instruments/417/job", http.StatusOK)
	shot := page.one(t, ".shots li")
	if got := shot.one(t, "img").attrs["alt"]; got != "the crack at IIII" || !strings.Contains(shot.words(), "18 February") {
		t.Errorf("the photograph says %q, %q", got, shot.words())
	}
	q.now = q.now.Add(time.Hour)
	for _, e := range q.instruments[0].entries {
		if _, ok := e.Fact.(chronometer.Received); ok { // the job begins with it
			if _, err := q.Write(t.Context(), "E", q.instruments[0].id, q.now, chronometer.StruckOut{Entry: e.ID, Why: "another one"}); err != nil {
				t.Fatal(err)
			}
		}
	}
	if page := visit(t, q).get("/instruments/417/job", http.StatusOK); len(page.all(".shots")) != 0 {
		t.Error("a photograph without a job is shown")
	}
}

// TestJobInTheRoom says in the room how a job stands and whom it waits for.
func TestJobInTheRoom(t *testing.T) {
	room := benchQuay(t, wholeJob[:8]...).get("/", http.StatusOK)
	if got := room.one(t, "small.job").words(); got != "job: estimate with the owner" {
		t.Errorf("the room says %q", got)
	}
	if n := len(benchQuay(t, wholeJob...).get("/", http.StatusOK).all("small.job")); n != 0 {
		t.Error("the room tells of a closed job")
	}
	v := benchQuay(t, wholeJob[0])
	if got := v.get("/", http.StatusOK).one(t, "small.job").words(); got != "job: asked for, waits for the keeper" {
		t.Errorf("the room says %q", got)
	}
	v.get("/instruments/52", http.StatusOK).one(t, "main .links a[href=/instruments/52/job]")
}

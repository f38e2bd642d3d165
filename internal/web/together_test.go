package web_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"net/http"
	"net/url"
	"regexp"
	"strings"
	"testing"
	"time"

	"timeball/internal/chronometer"
	"timeball/internal/clock"
)

// boxAt is a box chronometer with a number and nothing else of note.
func boxAt(number string) chronometer.Instrument {
	return chronometer.Instrument{Number: number, Maker: "Corvane & Dray, Skerrow", Make: chronometer.BoxChronometer, Beat: chronometer.HalfSecond, Dial: chronometer.Twelve, GoingH: 56}
}

// round enters instruments that were compared in one round a day for days, the
// last of them today. The rate of each day scatters by 0.1 s about that of its
// line, which makes its error wander from the line.
func round(q *quay, days int, lines map[string]line) {
	r := rand.New(rand.NewPCG(58, 12))
	start := today.AddDate(0, 0, 1-days)
	for n, number := range []string{"12", "58", "88", "1102"} {
		l, ok := lines[number]
		if !ok {
			continue
		}
		k := q.enter(boxAt(number), start.Add(-time.Hour), l)
		wandered := 0.0
		for d := range days {
			wandered += 0.1 * r.NormFloat64()
			q.compare(k, start.AddDate(0, 0, d).Add(time.Duration(n*2-10)*time.Minute), wandered+0.06*r.NormFloat64(), 20)
		}
	}
}

// onAnother is a difference of two dials as the page says it.
var onAnother = regexp.MustCompile(`No\. (\S+) is ([0-9]+) min ([0-9.]+) s ±([0-9.]+) (fast|slow) on No\. (\S+) now`)

func TestTogetherNothing(t *testing.T) {
	empty := visit(t, emptyQuay(t)).get("/together", http.StatusOK)
	if got := empty.one(t, "main a.now").attrs["href"]; got != "/instruments/new" {
		t.Errorf("the first step leads to %q", got)
	}
	q := emptyQuay(t)
	q.enter(boxAt("12"), today.AddDate(0, 0, -9), line{})
	q.enter(boxAt("Ώρα-5"), today.AddDate(0, 0, -9), line{})
	q.fill(t)
	page := visit(t, q).get("/together", http.StatusOK)
	if got := page.one(t, ".why").words(); !strings.Contains(got, "None can be compared") {
		t.Errorf("of two that were never compared it says %q", got)
	}
	for _, box := range page.all(".choose input") {
		if _, off := box.attrs["disabled"]; !off {
			t.Errorf("%s can be chosen", box.attrs["value"])
		}
	}
	refused := visit(t, q).get("/together?with=12&with="+url.QueryEscape("Ώρα-5"), http.StatusUnprocessableEntity)
	if got := refused.one(t, ".wrong").words(); !strings.Contains(got, "does not go") && !strings.Contains(got, "not compared") {
		t.Errorf("it says %q", got)
	}
}

func TestTogetherChoice(t *testing.T) {
	v := visit(t, lanternQuay(t))
	page := v.get("/together", http.StatusOK)
	wellMade(t, "/together", page, map[string]bool{})
	var chosen []string
	for _, box := range page.all(".choose [checked]") {
		chosen = append(chosen, box.attrs["value"])
	}
	// No. 88 was compared today at 9:00, no. 417 at 9:12, no. 1102 two days ago.
	if fmt.Sprint(chosen) != "[88 417]" {
		t.Errorf("suggested: %v", chosen)
	}
	for address, status := range map[string]int{"with=417": 422, "with=417&with=417": 422, "with=417&with=19": 422, "with=": 404, "with=417&with=9999": 404} {
		page := v.get("/together?"+address, status)
		if status == 422 {
			page.one(t, ".wrong")
			page.one(t, ".choose-form button.now")
		}
	}
}

// TestTogetherOnce shows two that were compared once in one round.
func TestTogetherOnce(t *testing.T) {
	v := visit(t, lanternQuay(t))
	page := v.get("/together?with=417&with=731", http.StatusOK)
	wellMade(t, "/together", page, map[string]bool{})
	if got := page.one(t, ".heads .sub").words(); !strings.HasPrefix(got, "One round in which") {
		t.Errorf("the head says %q", got)
	}
	if got := page.one(t, "[aria-labelledby=now-head]").words(); !strings.Contains(got, "when both were last compared") {
		t.Errorf("it says %q", got)
	}
}

func TestTogetherTwo(t *testing.T) {
	q := lanternQuay(t)
	v := visit(t, q)
	page := v.get("/together?with=417&with=88", http.StatusOK)
	wellMade(t, "/together", page, map[string]bool{})
	m := onAnother.FindStringSubmatch(page.words())
	if m == nil {
		t.Fatalf("no difference in words: %s", page.one(t, "[aria-labelledby=now-head]").words())
	}
	var minutes, size, half float64
	if _, err := fmt.Sscan(m[2]+" "+m[3]+" "+m[4], &minutes, &size, &half); err != nil {
		t.Fatal(err)
	}
	if size += 60 * minutes; m[5] == "slow" {
		size = -size
	}
	truth := q.instruments[0].line.error(q.now) - q.instruments[2].line.error(q.now)
	if math.Abs(size-truth) > 2*half || half > 3 {
		t.Errorf("%q, and in truth it is %.2f s", m[0], truth)
	}
	if got := page.one(t, "[aria-labelledby=steady-head]").words(); !strings.Contains(got, "From two instruments alone nobody can tell") {
		t.Errorf("the steadiness of two: %q", got)
	}
	if got := page.one(t, "[aria-labelledby=moved-head]").words(); !strings.Contains(got, "a third, or standard time, must say") {
		t.Errorf("of two it says %q", got)
	}
	if n := len(page.all("table.rounds tbody tr")); n < 10 || n > 15 {
		t.Errorf("a fortnight of the comparison book has %d lines", n)
	}
}

// TestTogetherThree holds what the page says against instruments of known
// errors, of which one gains 2 s a day more from the middle on.
func TestTogetherThree(t *testing.T) {
	q := emptyQuay(t)
	turned := today.AddDate(0, 0, -20)
	start := today.AddDate(0, 0, -40)
	round(q, 40, map[string]line{"12": {start, 20, 0.4, nil}, "58": {start, -3, -0.7, []step{{at: turned, rate: 2}}}, "88": {start, 9, 1.1, nil}})
	q.fill(t)
	v := visit(t, q)
	page := v.get("/together?with=12&with=58&with=88&against=88", http.StatusOK)
	wellMade(t, "/together", page, map[string]bool{})
	moved := page.one(t, "[aria-labelledby=moved-head]")
	accused := 0
	for _, tag := range moved.all(".moved .tag.warn") {
		if tag.words() != "one changed" {
			t.Errorf("the verdict is %q", tag.words())
		}
		accused++
	}
	if got := moved.words(); accused == 0 || !strings.Contains(got, "No. 58 gained") || strings.Contains(got, "No. 12 gained 2") {
		t.Errorf("no. 58 changed its rate by 2 s a day on %s, and the page says: %s", turned.Format(time.DateOnly), got)
	}
	if rows := page.all("[aria-labelledby=steady-head] tbody tr"); len(rows) != 3 {
		t.Errorf("the steadiness of %d is told", len(rows))
	}
	if got := page.one(t, ".against b").words(); got != "No. 88" {
		t.Errorf("the others are shown against %q", got)
	}
	pairs := page.all("h3[id]")
	if len(pairs) != 2 || pairs[0].words() != "No. 12 on No. 88" || pairs[1].words() != "No. 58 on No. 88" {
		t.Errorf("pairs: %d", len(pairs))
	}
	total := 0.0
	for _, row := range page.all("table.voices tbody tr") {
		var weight float64
		if _, err := fmt.Sscanf(row.all("td")[1].words(), "%f in 100", &weight); err != nil {
			t.Error(row.words(), err)
		}
		total += weight
	}
	if math.Abs(total-100) > 2 {
		t.Errorf("the weights add up to %.0f in 100", total)
	}
}

// utcFound is UTC as the page finds it.
var utcFound = regexp.MustCompile(`UTC is (\S+ [0-9:.]+), ±([0-9.]+) s`)

func TestTogetherDials(t *testing.T) {
	q := emptyQuay(t)
	start := today.AddDate(0, 0, -40)
	lines := map[string]line{"12": {start, 20, 0.4, nil}, "58": {start, -3, -0.7, nil}, "88": {start, 9, 1.1, nil}}
	round(q, 40, lines)
	q.fill(t)
	v := visit(t, q)
	at := today.Add(-2 * time.Minute)
	ask := url.Values{"with": {"12", "58", "88"}, "at": {at.Add(9 * time.Second).Format(time.DateTime)}} // the watch is 9 s fast
	for n, number := range []string{"12", "58", "88"} {
		r := float64(clock.TwelveHour.Reading(at, clock.DialError(lines[number].error(at))))
		ask.Set(fmt.Sprintf("dial-%d", n+1), fmt.Sprintf("%d:%02d:%04.1f", int(r)/3600, int(r)%3600/60, math.Mod(r, 60)))
	}
	page := v.get("/together?"+ask.Encode(), http.StatusOK)
	m := utcFound.FindStringSubmatch(page.one(t, "[aria-labelledby=utc-head]").words())
	if m == nil {
		t.Fatalf("no UTC: %s", page.one(t, "[aria-labelledby=utc-head]").words())
	}
	found, err := time.Parse("2006-01-02 15:04:05.0", m[1])
	if err != nil {
		t.Fatal(err)
	}
	var half float64
	if _, err := fmt.Sscan(m[2], &half); err != nil || math.Abs(found.Sub(at).Seconds()) > 2*half || half > 1 {
		t.Errorf("%s, and it was %s, %v", m[0], at, err)
	}
	// No. 58 reads a minute late: the others set it aside.
	r := float64(clock.TwelveHour.Reading(at, clock.DialError(lines["58"].error(at)-60)))
	ask.Set("dial-2", fmt.Sprintf("%d:%02d:%04.1f", int(r)/3600, int(r)%3600/60, math.Mod(r, 60)))
	page = v.get("/together?"+ask.Encode(), http.StatusOK)
	if got := page.one(t, "table.voices .tag.warn").words(); got != "set aside" {
		t.Errorf("who disagrees is %q", got)
	}
	if got := page.one(t, "[aria-labelledby=utc-head]").words(); !strings.Contains(got, "No. 58 is set aside") {
		t.Errorf("it says %q", got)
	}
	ask.Set("dial-2", "noon")
	ask.Set("at", "soon")
	page = v.get("/together?"+ask.Encode(), http.StatusUnprocessableEntity)
	page.one(t, "#x-dial-2")
	page.one(t, "#x-at")
	if got := page.one(t, "#f-dial-2").attrs["value"]; got != "noon" {
		t.Errorf("what was written is lost: %q", got)
	}
}

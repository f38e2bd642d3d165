package web_test

import (
	"context"
	"fmt"
	"math"
	"net/http"
	"net/http/httptest"
	"sync/atomic"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"timeball/internal/chronometer"
	"timeball/internal/clock"
	"timeball/internal/tab"
	"timeball/internal/web"
)

// morningQuay returns a workshop of three two-day instruments that were wound
// and compared yesterday; its clock runs.
func morningQuay(t *testing.T) *quay {
	t.Helper()
	q := emptyQuay(t)
	start := today.AddDate(0, 0, -20)
	for n, number := range []string{"417", "731", "1102"} {
		k := q.enter(chronometer.Instrument{Number: number, Maker: "Corvane & Dray, Skerrow", Make: chronometer.BoxChronometer, Beat: chronometer.HalfSecond,
			Dial: chronometer.Twelve, GoingH: 56, UpDown: true}, start, line{epoch: start, errorS: float64(12 * n), rate: -0.6})
		q.add(k, start, "Signe Vandrell", chronometer.Started{How: "one gentle turn"})
		for d := range 20 {
			at := start.AddDate(0, 0, d).Add(time.Hour)
			q.add(k, at.Add(-time.Minute), "Signe Vandrell", chronometer.Wound{HalfTurns: 7.5})
			q.compare(k, at, 0, 19)
		}
	}
	q.fill(t)
	q.begun = time.Now()
	return q
}

// keys drives a page by its keyboard alone.
type keys struct {
	t   *testing.T
	ctx context.Context
}

func (k keys) press(texts ...string) {
	k.t.Helper()
	for _, text := range texts {
		if err := chromedp.Do(k.ctx, chromedp.KeyEvent(text)); err != nil {
			k.t.Fatal(err)
		}
	}
}

// to presses tab until the element in focus matches a selector.
func (k keys) to(selector string) {
	k.t.Helper()
	for range 150 {
		if k.is(fmt.Sprintf("document.activeElement.matches(%q)", selector)) {
			return
		}
		k.press("\t")
	}
	k.t.Fatalf("tab does not reach %s", selector)
}

func (k keys) is(condition string) bool {
	k.t.Helper()
	is, err := chromedp.Run(k.ctx, chromedp.Evaluate[bool](condition))
	if err != nil {
		k.t.Fatal(err)
	}
	return is
}

// until waits for a condition.
func (k keys) until(condition string) {
	k.t.Helper()
	for end := time.Now().Add(20 * time.Second); time.Now().Before(end); time.Sleep(30 * time.Millisecond) {
		if k.is(condition) {
			return
		}
	}
	body, _ := chromedp.Run(k.ctx, chromedp.Evaluate[string](`document.activeElement.outerHTML.slice(0, 300) + " --- " + document.querySelector("main").innerText.slice(0, 3000)`))
	k.t.Fatalf("it does not come to %s; the page: %s", condition, body)
}

// tap presses the space bar n times as the hand of a dial passes half seconds,
// each a little late as a hand is.
func (k keys) tap(q *quay, l line, n int) {
	k.t.Helper()
	from := q.tell().Add(400 * time.Millisecond)
	e := l.error(from)
	s := float64(from.UnixMicro())/1e6 + e
	first := from.Add(time.Duration((0.5*math.Ceil(s/0.5) - s) * float64(time.Second)))
	for i := range n {
		time.Sleep(time.Until(q.begun.Add(first.Add(time.Duration(i) * 500 * time.Millisecond).Sub(q.now))))
		k.press(" ")
	}
}

// TestRoundAcrossADroppedConnection makes a whole morning round by keyboard
// alone; the connection drops in the middle of it and comes back, and every
// entry is written once.
func TestRoundAcrossADroppedConnection(t *testing.T) {
	ctx := tab.Open(t, 0)
	q := morningQuay(t)
	pages := web.New(q.Workshop, q.tell, web.Options{})
	var down atomic.Bool
	site := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if down.Load() {
			panic(http.ErrAbortHandler) // the connection ends without an answer
		}
		pages.ServeHTTP(w, r)
	}))
	defer site.Close()
	if err := at(ctx, 390, false); err != nil {
		t.Fatal(err)
	}
	if err := chromedp.Do(ctx, chromedp.Navigate(site.URL+"/round")); err != nil {
		t.Fatal(err)
	}
	k := keys{t, ctx}
	k.to("#hand")
	k.press("T. Morrow", "\r")
	k.until(`document.querySelectorAll("[data-stop] form.wind").length === 3`)
	k.until(`[...document.querySelectorAll("[data-device]")].some((e) => e.textContent.startsWith("UTC here"))`)

	k.to(".therm [name=temp_c]")
	k.press("18.5", "\r")
	k.until(`document.querySelector(".therm [data-says]").textContent.includes("18.5")`)

	for n, kept := range q.instruments {
		if n == 1 { // the connection drops on the way to the second
			down.Store(true)
		}
		stop := fmt.Sprintf("#stop-%s ", kept.id)
		k.to(stop + "[name=up_down_h]")
		k.press("22")
		k.to(stop + "[name=half_turns]")
		k.press("7.5")
		k.to(stop + "[name=up_down_after_h]")
		k.press("0")
		k.press("\r")
		k.until(fmt.Sprintf("document.querySelector(%q).dataset.made !== undefined", stop+"[data-step=wind]"))
		// The next step in order of need may be another winding: open this one's comparison.
		if !k.is(fmt.Sprintf("document.querySelector(%q).open", stop+"[data-step=compare]")) {
			k.to(stop + "[data-step=compare] > summary")
			k.press("\r")
		}
		k.to(stop + "[data-every]")
		k.press("on")
		k.until(fmt.Sprintf("document.querySelector(%q).value === '0.5'", stop+"[data-every]"))
		k.to(stop + "[data-pad]")
		k.tap(q, kept.line, 10)
		k.until(fmt.Sprintf("document.querySelectorAll(%q).length >= 6", stop+"[data-taps] li")) // it says when they are enough
		if n == 1 {
			k.until(fmt.Sprintf("document.querySelector(%q).textContent.includes('kept on this device')", stop+"[data-tap] [data-says]"))
		}
		if n == 0 {
			k.until(fmt.Sprintf("document.querySelector(%q).textContent.includes('taps used')", stop+"[data-spread]"))
		}
		// The dial reads as expected: said with the space bar if nothing is chosen yet.
		k.to(stop + "[data-confirm] input")
		k.press(" ")
		k.to(stop + "[data-send]")
		k.press("\r")
		k.until(fmt.Sprintf("document.querySelector(%q).dataset.made !== undefined", stop+"[data-step=compare]"))
		if n == 2 {
			k.until(`document.querySelector("[data-outbox]").textContent.includes("4 entries wait")`)
			down.Store(false)
			if err := chromedp.Do(ctx, chromedp.Evaluate[chromedp.Void](`dispatchEvent(new Event("online"))`)); err != nil {
				t.Fatal(err)
			}
		}
	}
	k.until(`document.querySelector("[data-outbox]").hidden`)

	for _, kept := range q.instruments {
		seen, err := q.See(t.Context(), string(kept.id))
		if err != nil {
			t.Fatal(err)
		}
		count := map[chronometer.Kind]int{}
		for _, e := range seen.Logbook.Standing() {
			if e.Written.Before(q.now) {
				continue
			}
			count[e.Kind()]++
			c, ok := e.Fact.(chronometer.Compared)
			if !ok {
				continue
			}
			reading, _ := c.Reading()
			truth := kept.line.error(e.At)
			got := float64(clock.TwelveHour.Error(reading, e.At, clock.DialError(truth)))
			t.Logf("No. %s: %.3f s from the truth, sd %.3f s, %d taps", seen.Instrument.Number, got-truth, c.SD(), len(c.Tapped.AtS))
			// No person leads these keys, so what is taken off for one remains; the
			// rest is the way of a key into the browser.
			if off := got - truth - c.Tapped.LagS; math.Abs(off) > 0.03 {
				t.Errorf("No. %s: error %.3f, want %.3f and the lead of %.3f that is taken off", seen.Instrument.Number, got, truth, c.Tapped.LagS)
			}
		}
		if count[chronometer.KindWound] != 1 || count[chronometer.KindCompared] != 1 || count[chronometer.KindTemperature] != 1 {
			t.Errorf("No. %s: %v, want each once", seen.Instrument.Number, count)
		}
	}
	round, err := q.Round(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	for _, s := range round.Stops {
		if s.Left() {
			t.Errorf("No. %s is left over: %+v", s.Instrument.Number, s.Stop)
		}
	}
}

// jsonOf writes numbers for a script.
func jsonOf(values []float64) string {
	text := "["
	for n, v := range values {
		if n > 0 {
			text += ","
		}
		text += fmt.Sprintf("%.4f", v)
	}
	return text + "]"
}

// TestHalfTypedRoundIsKept: a telephone that throws its page away in the middle
// of a round finds what was typed there again.
func TestHalfTypedRoundIsKept(t *testing.T) {
	ctx := tab.Open(t, 0)
	q := morningQuay(t)
	site := httptest.NewServer(web.New(q.Workshop, q.tell, web.Options{}))
	defer site.Close()
	k := keys{t, ctx}
	if err := chromedp.Do(ctx, chromedp.Navigate(site.URL+"/round")); err != nil {
		t.Fatal(err)
	}
	k.to("#hand")
	k.press("T. Morrow", "\r")
	k.until(`document.querySelectorAll("[data-stop] form.wind").length === 3`)
	stop := fmt.Sprintf("#stop-%s ", q.instruments[0].id)
	k.to(stop + "[name=half_turns]")
	k.press("7.5")
	for _, page := range []string{"/standard", "/round"} {
		if err := chromedp.Do(ctx, chromedp.Navigate(site.URL+page)); err != nil {
			t.Fatal(err)
		}
	}
	k.until(fmt.Sprintf("document.querySelector(%q)?.value === '7.5'", stop+"[name=half_turns]"))
	k.to(stop + "[name=half_turns]")
	k.press("\r")
	k.until(fmt.Sprintf("document.querySelector(%q).dataset.made !== undefined", stop+"[data-step=wind]"))
	if k.is(`Object.keys(localStorage).some((key) => key.startsWith("timeball.typed."))`) {
		t.Error("what was sent is still kept as typed")
	}
}

package island_test

import (
	"encoding/json"
	"math"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
)

const tapForm = `<select data-every><option value="1">1<option value="5" selected>5</select>
<button data-pad type="button">Tap</button><ol data-taps></ol><p data-says role="status"></p><p data-spread></p><p data-reading></p>
<fieldset data-confirm><legend>The dial</legend></fieldset><label for="typed">It read</label><input id="typed" data-typed><button data-read-now type="button">Read now</button><button data-clear type="button">Clear</button>
<form data-keep method="post" action="/write"><input type="hidden" name="id" value="01JDTAP0000000000000000001"><input type="hidden" name="taps"><input type="hidden" name="near_s"><input name="by" value="Mats Vinter"><p data-says></p><button type="submit" data-send>Write</button></form></section>`

const (
	tapPage  = `<body><section data-tap data-number="417" data-dial="12" data-reckon="/reckon" data-near-error="12.3" data-near-half="0.4">` + tapForm
	newPage  = `<body><section data-tap data-number="731" data-dial="24" data-reckon="/reckon">` + tapForm
	widePage = `<body><section data-tap data-number="88" data-dial="12" data-reckon="/reckon" data-near-error="12.3" data-near-half="31">` + tapForm
)

// withID returns a page with another id, as each page has.
func withID(page, id string) string { return strings.Replace(page, "0000000000000001", id, 1) }

// TestTaps taps with the mouse, with keys on the pad and with keys when nothing
// has the focus, on a device whose clock is 3.7 s wrong.
func TestTaps(t *testing.T) {
	t.Parallel()
	q := newQuay(t, map[string]string{"tap": tapPage})
	ctx := browser(t)
	onEachPage(t, ctx, wrongClock)
	open(t, ctx, q.URL+"/tap")
	until(t, ctx, `clock.bound() < 0.01`)
	// The stamps of the events themselves, to hold what is sent against.
	do(t, ctx, chromedp.Evaluate[chromedp.Void](`window.stamps = []; for (const kind of ["pointerdown", "keydown"]) addEventListener(kind, (e) => stamps.push((e.timeStamp + truth) / 1000), true);`))
	do(t, ctx, chromedp.KeyEvent(" "))
	do(t, ctx, chromedp.Click(chromedp.CSS("[data-pad]")))
	if got := value[bool](t, ctx, `document.activeElement.matches("[data-pad]")`); !got {
		t.Error("the pad does not take the focus")
	}
	do(t, ctx, chromedp.KeyEvent(" "), chromedp.KeyEvent("\r"))
	until(t, ctx, `document.querySelectorAll("[data-taps] li").length === 4`)
	until(t, ctx, `document.querySelector("[data-spread]").textContent.includes("4 of 4 taps used · go on tapping")`)
	// A key held down taps once, and keys in a field do not tap.
	do(t, ctx, chromedp.Evaluate[chromedp.Void](`document.dispatchEvent(new KeyboardEvent("keydown", { key: " ", repeat: true, bubbles: true }))`),
		chromedp.Focus(chromedp.CSS("[name=by]")), chromedp.KeyEvent(" "))
	if got := value[int](t, ctx, `document.querySelectorAll("[data-taps] li").length`); got != 4 {
		t.Errorf("%d taps, want 4", got)
	}
	q.mu.Lock()
	sent := q.reckoned[len(q.reckoned)-1]
	q.mu.Unlock()
	stamps := value[[]float64](t, ctx, `stamps.slice(0, 4)`)
	for i, s := range sent.Taps {
		if math.Abs(s-stamps[i]) > 0.01 || i > 0 && s <= sent.Taps[i-1] {
			t.Errorf("tap %d was sent as %.4f, made at %.4f", i, s, stamps[i])
		}
	}
	if len(sent.Taps) != 4 || sent.Number != "417" || sent.EveryS != 5 || sent.Dial != 12 || sent.Near == nil || sent.Near.ErrorS != 12.3 || sent.Near.HalfS != 0.4 || sent.Observer != "Mats Vinter" || !strings.Contains(sent.Device, ",") {
		t.Errorf("sent %+v", sent)
	}
	// The dial reads UTC and the error that was found.
	dial := value[[]string](t, ctx, `(async () => { await new Promise((done) => setTimeout(done, 1000 - (performance.now() + truth + 12400) % 1000 + 150));
  const s = (((performance.now() + truth) / 1000 + 12.4) % 43200), two = (n) => String(Math.floor(n)).padStart(2, "0");
  return [document.querySelector("[data-reading]").textContent, "The dial should now read " + (Math.floor(s / 3600) || 12) + ":" + two(s / 60 % 60) + ":" + two(s % 60)]; })()`)
	if dial[0] != dial[1] {
		t.Errorf("the page says %q, want %q", dial[0], dial[1])
	}
	// The forecast is narrow and one reading fits: it is chosen, and can be changed.
	if got := value[string](t, ctx, `document.querySelector("[data-confirm] input:checked").value`); got != "12.4" {
		t.Errorf("chosen is %q", got)
	}
	do(t, ctx, chromedp.Click(chromedp.CSS("[data-send]")))
	until(t, ctx, `document.body.dataset.sent`)
	form := q.wrote("01JDTAP0000000000000000001")
	var written struct {
		Origin       time.Time `json:"origin"`
		AtS          []float64 `json:"at_s"`
		EveryS       float64   `json:"every_s"`
		DeviceBoundS float64   `json:"device_bound_s"`
		Device       string    `json:"device"`
		Spell        int       `json:"spell"`
		BoundS       float64   `json:"bound_s"`
		OffsetS      *float64  `json:"offset_s"`
	}
	if err := json.Unmarshal([]byte(form.Get("taps")), &written); err != nil {
		t.Fatal(err)
	}
	for i, s := range written.AtS {
		if got := float64(written.Origin.UnixMicro())/1e6 + s; math.Abs(got-stamps[i]) > written.DeviceBoundS+0.0005 {
			t.Errorf("tap %d is written as %.4f, made at %.4f", i, got, stamps[i])
		}
	}
	if len(written.AtS) != 4 || written.EveryS != 5 || !(written.DeviceBoundS > 0 && written.DeviceBoundS < 0.0101) || written.BoundS != 0.0042 || form.Get("near_s") != "12.40" {
		t.Errorf("written %+v near %s", written, form.Get("near_s"))
	}
	if got := value[int](t, ctx, `Object.keys(localStorage).length`); got != 0 {
		t.Errorf("%d keys are left on the device", got)
	}
}

// TestTapsKept taps without a connection, closes the page, has the clock of the
// device jump by an hour, and sends everything in the end.
func TestTapsKept(t *testing.T) {
	t.Parallel()
	q := newQuay(t, map[string]string{"tap": tapPage})
	ctx := browser(t)
	onEachPage(t, ctx, wrongClock)
	open(t, ctx, q.URL+"/tap")
	until(t, ctx, `clock.state.measured`)
	do(t, ctx, chromedp.KeyEvent(" "), chromedp.Tap(chromedp.CSS("[data-pad]")))
	until(t, ctx, `document.querySelector("[data-spread]").textContent.includes("2 of 2")`)
	q.set(func(q *quay) { q.down = true })
	do(t, ctx, chromedp.KeyEvent(" "))
	until(t, ctx, `document.querySelector("[data-says]").textContent.includes("No connection: 3 taps are kept on this device")`)
	before := value[[]float64](t, ctx, `JSON.parse(localStorage.getItem("timeball.taps.01JDTAP0000000000000000001")).taps.map((tap) => tap.utcMs)`)
	do(t, ctx, chromedp.Evaluate[chromedp.Void](`shift += 3600e3`))
	q.bodies["tap"] = withID(tapPage, "0000000000000002") // each page has an id of its own
	open(t, ctx, q.URL+"/tap")
	// The page is back without a connection to the clock: a tap, here as a screen
	// reader makes it, waits.
	do(t, ctx, chromedp.Evaluate[chromedp.Void](`document.querySelector("[data-pad]").click()`))
	until(t, ctx, `document.querySelectorAll("[data-taps] li").length === 4 && document.body.innerText.includes("waits for the clock of this device")`)
	q.set(func(q *quay) { q.down = false })
	made := value[float64](t, ctx, `(async () => { await clock.measure(4); return performance.now() + truth; })()`)
	until(t, ctx, `document.querySelector("[data-spread]").textContent.includes("4 of 4")`)
	after := value[[]float64](t, ctx, `JSON.parse(localStorage.getItem("timeball.taps.01JDTAP0000000000000000001")).taps.map((tap) => tap.utcMs)`)
	if len(before) != 3 || len(after) != 4 || after[0] != before[0] || after[2] != before[2] {
		t.Errorf("taps before %v, after %v", before, after)
	}
	if wait := made - after[3]; wait < 0 || wait > 5000 {
		t.Errorf("the tap that waited is placed %.0f ms before the clock was known", wait)
	}
	do(t, ctx, chromedp.Click(chromedp.CSS("[data-send]")))
	until(t, ctx, `document.body.dataset.sent`)
	if len(q.written) != 1 || q.wrote("01JDTAP0000000000000000001") == nil {
		t.Errorf("written: %v", q.written)
	}
}

// TestConfirm holds that nothing is chosen for the observer where the taps fit
// several readings, where the forecast is wide, and where there is none.
func TestConfirm(t *testing.T) {
	t.Parallel()
	several := map[string]any{"candidates": []any{map[string]any{"error_s": 7.4, "words": "7.4 s fast"}, map[string]any{"error_s": 12.4, "words": "12.4 s fast"}}}
	q := newQuay(t, map[string]string{"tap": tapPage, "new": withID(newPage, "0000000000000003"), "wide": withID(widePage, "0000000000000004")})
	ctx := browser(t)
	for _, try := range []struct {
		page   string
		answer map[string]any
		says   string
	}{{"tap", several, "Say first what the dial reads."}, {"wide", nil, "Say first what the dial reads."}, {"new", nil, "Read the dial first"}} {
		q.set(func(q *quay) { q.answer = try.answer })
		open(t, ctx, q.URL+"/"+try.page)
		until(t, ctx, `clock.state.measured`)
		do(t, ctx, chromedp.KeyEvent(" "))
		until(t, ctx, `document.querySelector("[data-spread]").textContent.includes("1 of 1")`)
		if got := value[int](t, ctx, `document.querySelectorAll("[data-confirm] input:checked").length`); got != 0 {
			t.Errorf("%s: something is chosen", try.page)
		}
		do(t, ctx, chromedp.Evaluate[chromedp.Void](`document.querySelector("form").noValidate = true; document.querySelector("form").requestSubmit()`))
		if got := value[string](t, ctx, `document.querySelector("[data-says]").textContent`); !strings.Contains(got, try.says) {
			t.Errorf("%s: says %q", try.page, got)
		}
		if len(q.tries) != 0 {
			t.Errorf("%s: sent without a confirmed reading", try.page)
		}
	}
	// Too few taps are no error of nought.
	q.set(func(q *quay) {
		q.answer = map[string]any{"ok": false, "error_s": 0, "words": "", "candidates": []any{}, "taps": []any{}, "remarks": []string{"Two taps say nothing yet."}}
	})
	do(t, ctx, chromedp.KeyEvent(" "))
	until(t, ctx, `document.querySelector("[data-says]").textContent === "Two taps say nothing yet."`)
	if got := value[int](t, ctx, `document.querySelectorAll("[data-confirm] b").length`); got != 0 {
		t.Error("a reading is offered that nothing speaks for")
	}
	// What the dial reads is written by hand, here for a 24-hour dial 1 h 0 m 2 s
	// fast, and then the taps are reckoned near it.
	q.set(func(q *quay) {
		q.answer = map[string]any{"error_s": 3602.4, "candidates": []any{map[string]any{"error_s": 3602.4, "words": "1 h 0 m 2.4 s fast"}}}
	})
	if got := value[bool](t, ctx, `!document.querySelector("[data-typed]").hidden && !document.querySelector("[data-read-now]").hidden`); !got {
		t.Fatal("there is no place for a reading by hand")
	}
	do(t, ctx, chromedp.Click(chromedp.CSS("[data-read-now]")))
	do(t, ctx, chromedp.Evaluate[chromedp.Void](`(() => { const f = document.querySelector("[data-typed]"); f.value = island.dialWords(clock.utcAt(performance.now()), 3602, 24); f.dispatchEvent(new Event("change")); })()`))
	until(t, ctx, `document.querySelector("[data-confirm]").textContent.includes("1 h 0 m 2.4 s fast")`)
	q.mu.Lock()
	near := q.reckoned[len(q.reckoned)-1].Near
	q.mu.Unlock()
	if near == nil || math.Abs(near.ErrorS-3602) > 1.5 || near.HalfS != 1.5 {
		t.Errorf("reckoned near %+v", near)
	}
	if got := value[int](t, ctx, `document.querySelectorAll("[data-confirm] input:checked").length`); got != 0 {
		t.Error("a reading is chosen that nobody confirmed")
	}
	do(t, ctx, chromedp.Click(chromedp.CSS("[data-confirm] input")), chromedp.Click(chromedp.CSS("[data-send]")))
	until(t, ctx, `document.body.dataset.sent`)
	if got := q.wrote("01JDTAP0000000000000000003").Get("near_s"); got != "3602.40" {
		t.Errorf("near_s is %s", got)
	}
}

// TestDialWords reads dials at 2027-03-04T00:00:00Z, worked by hand.
func TestDialWords(t *testing.T) {
	t.Parallel()
	q := newQuay(t, map[string]string{"bare": `<body data-unwatched="yes">`})
	ctx := browser(t)
	open(t, ctx, q.URL+"/bare")
	for _, try := range []struct{ script, want string }{
		{`island.dialWords(Date.UTC(2027, 2, 4, 0, 0, 0), 12.4, 12)`, "12:00:12"},
		{`island.dialWords(Date.UTC(2027, 2, 4, 0, 0, 0), 12.4, 24)`, "0:00:12"},
		{`island.dialWords(Date.UTC(2027, 2, 4, 0, 0, 0), -0.5, 12)`, "11:59:59"},
		{`island.dialWords(Date.UTC(2027, 2, 4, 0, 0, 0), -0.5, 24)`, "23:59:59"},
		{`island.dialWords(Date.UTC(2027, 2, 4, 13, 4, 59), 1, 12)`, "1:05:00"},
		{`String(island.dialSeconds("12:05:07.5"))`, "43507.5"},
		{`String(island.dialSeconds("12:65:07"))`, "null"},
		{`[167, 60, 11, 10, 1, 3600, 4210].map(island.figure).join(" ")`, "2:47 1:00 0:11 10 1 1:00:00 1:10:10"},
		{`island.lagsOf([990, 1520, 2240, 9000], [1000, 1500, 2000], 500).join(" ")`, "-0.01 0.02 0.24"},
		{`String(/^01[0-9A-HJKMNP-TV-Z]{24}$/.test(island.newID(Date.UTC(2027, 2, 4))) && island.newID(1469918176385).slice(0, 10))`, "01ARYZ6S41"}, // time part of the example of the ULID specification
		{`island.boundWords(0.0042) + " " + island.boundWords(null) + " " + island.boundWords(1.21)`, "±5 ms ±? ±1.3 s"},
	} {
		if got := value[string](t, ctx, try.script); got != try.want {
			t.Errorf("%s is %q, want %q", try.script, got, try.want)
		}
	}
}

// TestTapsArePlacedAnew: the first exchanges after a page is opened may be poor;
// taps made by them are sent as the better ones since have them.
func TestTapsArePlacedAnew(t *testing.T) {
	t.Parallel()
	q := newQuay(t, map[string]string{"tap": tapPage})
	q.set(func(q *quay) { q.back = 300 * time.Millisecond })
	ctx := browser(t)
	open(t, ctx, q.URL+"/tap")
	until(t, ctx, `clock.state.measured`)
	do(t, ctx, chromedp.KeyEvent(" "))
	until(t, ctx, `document.querySelectorAll("[data-taps] li").length === 1`)
	early := value[float64](t, ctx, `JSON.parse(localStorage.getItem(Object.keys(localStorage).find((k) => k.startsWith("timeball.taps.")))).taps[0].boundS`)
	q.set(func(q *quay) { q.back = 0 })
	do(t, ctx, chromedp.Evaluate[chromedp.Void](`clock.measure(6)`))
	until(t, ctx, `clock.bound() < 0.05`)
	do(t, ctx, chromedp.Evaluate[chromedp.Void](`document.querySelector("[data-confirm] input").click(); document.querySelector("[name=by]").value = "T. Morrow"; document.querySelector("form").requestSubmit()`))
	until(t, ctx, `document.body.dataset.sent`)
	sent := q.wrote("01JDTAP0000000000000000001")
	var taps struct {
		Bound float64 `json:"device_bound_s"`
	}
	if err := json.Unmarshal([]byte(sent.Get("taps")), &taps); err != nil {
		t.Fatal(err)
	}
	if early < 0.14 || taps.Bound > 0.05 {
		t.Errorf("the tap was known to %.3f s when it was made and is sent as known to %.3f s", early, taps.Bound)
	}
}

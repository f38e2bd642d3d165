package island_test

import (
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
)

// keepPage is a page with one form; each page has an id of its own.
func keepPage(n int) string {
	return fmt.Sprintf(`<body><form data-keep method="post" action="/write"><input type="hidden" name="id" value="01JDKEEP0000000000000%05d"><input type="hidden" name="at" value="now"><input name="note" value="note %d"><p data-says></p><button type="submit">Write</button></form><div data-outbox></div>`, n, n)
}

// TestOutbox sends forms through a connection that fails before, during and
// after, with pages closed in between: each entry is written once, with the
// instant at which it was pressed.
func TestOutbox(t *testing.T) {
	t.Parallel()
	q := newQuay(t, map[string]string{})
	for n := range 8 {
		q.bodies[fmt.Sprint("keep", n)] = keepPage(n)
	}
	ctx := browser(t)
	onEachPage(t, ctx, wrongClock)
	press := chromedp.Click(chromedp.CSS("[type=submit]"))
	at := func(n int) { open(t, ctx, fmt.Sprint(q.URL, "/keep", n)); until(t, ctx, `clock.state.measured`) }
	const kept = `document.querySelector("form [data-says]").textContent.includes("Kept on this device; it is sent when the connection is back")`

	at(0) // all is well
	do(t, ctx, press)
	until(t, ctx, `document.body.dataset.sent === "Written note 0"`)

	at(1) // the server is down
	q.set(func(q *quay) { q.down = true })
	pressed := time.Now()
	do(t, ctx, press)
	until(t, ctx, kept)
	until(t, ctx, `document.querySelector("[data-outbox]").textContent.includes("One entry waits")`)

	q.set(func(q *quay) { q.down, q.cut = false, true })
	at(2) // the answer is lost: written, and sent again
	do(t, ctx, press)
	until(t, ctx, kept)
	until(t, ctx, `document.querySelector("[data-outbox]").textContent.includes("2 entries wait")`)

	q.set(func(q *quay) { q.cut, q.stall = false, time.Second })
	open(t, ctx, q.URL+"/keep3") // closed while it is sent
	do(t, ctx, chromedp.Evaluate[chromedp.Void](`document.querySelector("[name=at]").value = "2027-03-04T09:14:00Z"; document.querySelector("form").requestSubmit()`))
	until(t, ctx, `document.querySelector("form [data-says]").textContent.includes("Sending")`)
	q.set(func(q *quay) { q.stall = 0 })
	at(4)
	until(t, ctx, `document.querySelector("[data-outbox]").hidden && Object.keys(localStorage).length === 0`)

	// Two pages at once send what waits once.
	q.set(func(q *quay) { q.down = true })
	do(t, ctx, press)
	until(t, ctx, kept)
	other, closeTab := chromedp.NewContext(ctx)
	defer closeTab()
	q.set(func(q *quay) { q.down = false; q.tries = map[string]int{} })
	do(t, other, chromedp.Navigate(q.URL+"/keep5"))
	do(t, ctx, chromedp.Evaluate[chromedp.Void](`dispatchEvent(new Event("online"))`))
	until(t, ctx, `Object.keys(localStorage).length === 0`)
	until(t, ctx, `document.querySelector("form [data-says]").textContent.trim() === "Sent."`)

	q.mu.Lock()
	defer q.mu.Unlock()
	if len(q.written) != 5 {
		t.Errorf("%d entries are written, want 5", len(q.written))
	}
	for n := range 5 {
		id := fmt.Sprintf("01JDKEEP0000000000000%05d", n)
		if form, ok := q.written[id]; !ok || form.Get("note") != fmt.Sprint("note ", n) {
			t.Errorf("entry %d is lost: %v", n, form)
		}
	}
	if n := q.tries["01JDKEEP000000000000000004"]; n != 1 {
		t.Errorf("two pages sent an entry %d times", n)
	}
	when, err := time.Parse(time.RFC3339, q.written["01JDKEEP000000000000000001"].Get("at"))
	if d := when.Sub(pressed); err != nil || d < -50*time.Millisecond || d > 500*time.Millisecond {
		t.Errorf("an entry sent late has the time %s, %s after it was pressed: %v", when, d, err)
	}
	if got := q.written["01JDKEEP000000000000000003"].Get("at"); got != "2027-03-04T09:14:00Z" {
		t.Errorf("a time that was written is changed to %s", got)
	}
	t.Logf("5 entries written, %d sent again", q.doubled)
}

// TestRefused holds that what the server refuses is said, and is not dropped
// when it was kept before.
func TestRefused(t *testing.T) {
	t.Parallel()
	q := newQuay(t, map[string]string{"keep1": keepPage(1), "keep2": keepPage(2), "keep3": keepPage(3)})
	ctx := browser(t)
	open(t, ctx, q.URL+"/keep1")
	until(t, ctx, `clock.state.measured`)
	q.set(func(q *quay) { q.refuse = "the dial shows no such time" })
	do(t, ctx, chromedp.Click(chromedp.CSS("[type=submit]")))
	until(t, ctx, `document.querySelector("form [data-says]").textContent.includes("the dial shows no such time")`)
	if got := value[int](t, ctx, `Object.keys(localStorage).length`); got != 0 {
		t.Error("what was refused at once is kept")
	}
	if !value[bool](t, ctx, `!document.querySelector("[type=submit]").disabled`) {
		t.Error("the form cannot be sent again")
	}
	q.set(func(q *quay) { q.down = true })
	do(t, ctx, chromedp.Click(chromedp.CSS("[type=submit]")))
	until(t, ctx, `document.querySelector("form [data-says]").textContent.includes("Kept on this device")`)
	q.set(func(q *quay) { q.down = false })
	open(t, ctx, q.URL+"/keep2")
	until(t, ctx, `document.querySelector("[data-outbox]").textContent.includes("was refused: the dial shows no such time")`)
	if got := value[string](t, ctx, `document.querySelector("[data-outbox] a").href`); !strings.HasSuffix(got, "/keep1") {
		t.Errorf("the link leads to %s", got)
	}
	do(t, ctx, chromedp.Click(chromedp.CSS("[data-outbox] button")))
	until(t, ctx, `Object.keys(localStorage).length === 1`)
	do(t, ctx, chromedp.Click(chromedp.CSS("[data-outbox] button")))
	until(t, ctx, `Object.keys(localStorage).length === 0`)

	// Pressed with no clock and no connection: the time is filled in once the
	// clock is known, and an entry whose page was closed before says so.
	q.set(func(q *quay) { q.down, q.refuse = true, "" })
	open(t, ctx, q.URL+"/keep3")
	pressed := time.Now()
	do(t, ctx, chromedp.Click(chromedp.CSS("[type=submit]")))
	until(t, ctx, `document.querySelector("form [data-says]").textContent.includes("Kept on this device")`)
	q.set(func(q *quay) { q.down = false })
	do(t, ctx, chromedp.Evaluate[chromedp.Void](`clock.measure(2)`))
	until(t, ctx, `Object.keys(localStorage).length === 0`)
	when, err := time.Parse(time.RFC3339, q.wrote("01JDKEEP000000000000000003").Get("at"))
	if d := when.Sub(pressed); err != nil || d < -50*time.Millisecond || d > 500*time.Millisecond {
		t.Errorf("the time is %s, %s after it was pressed: %v", when, d, err)
	}
	q.set(func(q *quay) { q.down = true })
	open(t, ctx, q.URL+"/keep2")
	do(t, ctx, chromedp.Click(chromedp.CSS("[type=submit]")))
	until(t, ctx, `document.querySelector("form [data-says]").textContent.includes("Kept on this device")`)
	// Only then: before it leaves, the page could still place it.
	open(t, ctx, q.URL+"/keep1")
	q.set(func(q *quay) { q.down = false })
	until(t, ctx, `document.querySelector("[data-outbox]").textContent.includes("write it again with its time")`)
}

// TestOutboxAtRandom sends entries through a server that is up, down, slow,
// failing or dumb by chance, and goes to the next page without waiting for any.
func TestOutboxAtRandom(t *testing.T) {
	t.Parallel()
	const entries = 18
	chance := rand.New(rand.NewPCG(14, 4))
	q := newQuay(t, map[string]string{})
	for n := range entries + 1 {
		q.bodies[fmt.Sprint("keep", n)] = keepPage(n)
	}
	ctx := browser(t)
	for n := range entries {
		open(t, ctx, fmt.Sprint(q.URL, "/keep", n))
		until(t, ctx, `clock.state.measured`)
		weather := chance.IntN(5)
		q.set(func(q *quay) {
			q.deaf, q.cut, q.status, q.stall = weather == 1, weather == 2, 0, 0
			if weather == 3 {
				q.status = []int{500, 502, 503, 401}[chance.IntN(4)]
			}
			if weather == 4 {
				q.stall = 200 * time.Millisecond
			}
		})
		// By script, so that no press misses a button on a busy machine.
		do(t, ctx, chromedp.Evaluate[chromedp.Void](`document.querySelector("form").requestSubmit(document.querySelector("[type=submit]"))`))
		time.Sleep(time.Duration(chance.IntN(60)) * time.Millisecond)
	}
	q.set(func(q *quay) { q.deaf, q.cut, q.status, q.stall = false, false, 0, 0 })
	open(t, ctx, fmt.Sprint(q.URL, "/keep", entries))
	until(t, ctx, `Object.keys(localStorage).length === 0`)
	q.mu.Lock()
	defer q.mu.Unlock()
	tries := 0
	for n := range entries {
		id := fmt.Sprintf("01JDKEEP0000000000000%05d", n)
		if q.written[id].Get("note") != fmt.Sprint("note ", n) {
			t.Errorf("entry %d is lost", n)
		}
		tries += q.tries[id]
	}
	if len(q.written) != entries {
		t.Errorf("%d entries are written, want %d", len(q.written), entries)
	}
	t.Logf("%d entries written in %d tries; %d came again after they were written", entries, tries, q.doubled)
}

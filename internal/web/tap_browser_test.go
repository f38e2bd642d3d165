package web_test

import (
	"errors"
	"flag"
	"fmt"
	"math"
	"math/rand/v2"
	"net/http"
	"net/http/httptest"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"

	"timeball/internal/chronometer"
	"timeball/internal/clock"
	"timeball/internal/tab"
	"timeball/internal/web"
)

var tapTrials = flag.Int("tap-trials", 16, "comparisons tapped in the browser")

// unequalWays answers through a line that takes 10 ms there and 80 ms back.
func unequalWays(pages http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		time.Sleep(10 * time.Millisecond)
		kept := httptest.NewRecorder()
		pages.ServeHTTP(kept, r)
		time.Sleep(80 * time.Millisecond)
		for name, values := range kept.Header() {
			w.Header()[name] = values
		}
		w.WriteHeader(kept.Code)
		_, _ = w.Write(kept.Body.Bytes())
	})
}

// errTooBusy marks a comparison refused because this machine was too busy to
// place the device.
var errTooBusy = errors.New("the device is known too widely")

// wrongClock sets the clock of the device 3.7 s wrong and keeps the true one
// for the test.
const wrongClock = `(() => {
  window.trueOrigin = performance.timeOrigin;
  const RealDate = Date, wrong = 3700;
  window.Date = class extends RealDate { constructor(...a) { if (a.length === 0) super(RealDate.now() + wrong); else super(...a); } static now() { return RealDate.now() + wrong; } };
  Object.defineProperty(performance, "timeOrigin", { get: () => window.trueOrigin + wrong });
})()`

// tapAt taps at instants of the true clock of the computer, ms since 1970, to
// within the step of the browser's clock.
const tapAt = `async (instants) => {
  for (const at of instants) {
    const left = () => at - (window.trueOrigin + performance.now());
    await new Promise((done) => setTimeout(done, left() - 4));
    while (left() > 0) { /* the last of it */ }
    document.querySelector("[data-pad]").dispatchEvent(new PointerEvent("pointerdown", { bubbles: true, cancelable: true, isPrimary: true, button: 0 }));
  }
  return true;
}`

// TestTappedThroughAnUnequalLine: with the clock of the device 3.7 s wrong and
// a line of 10 ms there and 80 ms back, the dial error comes out within the
// interval that is stated in 95 of 100 comparisons. The taps lead by the 35 ms
// that the literature finds and scatter by 20 ms.
func TestTappedThroughAnUnequalLine(t *testing.T) {
	const tabs = 8
	ctx := tab.Open(t, 0)
	q := morningQuay(t)
	site := httptest.NewServer(unequalWays(web.New(q.Workshop, q.tell, web.Options{})))
	defer site.Close()
	truth := q.instruments[0].line
	var mu sync.Mutex
	within, worst, done := 0, 0.0, 0
	var squares float64
	trial := func(number int) error {
		// A device of its own, with nothing kept on it.
		tab, shut := chromedp.NewContext(ctx, chromedp.WithNewBrowserContext())
		defer shut()
		if err := chromedp.Do(tab); err != nil {
			return err
		}
		if _, err := chromedp.Call(tab, page.AddScriptToEvaluateOnNewDocument, page.AddScriptToEvaluateOnNewDocumentParams{Source: wrongClock}); err != nil {
			return err
		}
		if err := chromedp.Do(tab, chromedp.Navigate(site.URL+"/instruments/417/compare")); err != nil {
			return err
		}
		until := func(condition string) error {
			for end := time.Now().Add(40 * time.Second); time.Now().Before(end); time.Sleep(50 * time.Millisecond) {
				if is, err := chromedp.Run(tab, chromedp.Evaluate[bool](condition)); err != nil || is {
					return err
				}
			}
			body, _ := chromedp.Run(tab, chromedp.Evaluate[string](`document.querySelector("main").innerText`))
			return fmt.Errorf("it does not come to %s; the page: %s", condition, body)
		}
		if err := until(`/^UTC here.* this device to ±[1-8]?\d ms/.test(document.querySelector("[data-device]")?.textContent)`); err != nil {
			return err
		}
		if err := chromedp.Do(tab, chromedp.Evaluate[chromedp.Void](`(() => { const e = document.querySelector("[data-every]"); e.value = "0.5"; e.dispatchEvent(new Event("change", { bubbles: true })); document.querySelector("[name=by]").value = "T. Morrow"; })()`)); err != nil {
			return err
		}
		r := rand.New(rand.NewPCG(37, uint64(number)))
		from := q.tell().Add(300 * time.Millisecond)
		error := truth.error(from)
		dial := float64(from.UnixMicro())/1e6 + error
		first := from.Add(time.Duration((0.5*math.Ceil(dial/0.5) - dial) * float64(time.Second)))
		var instants []float64
		for n := range 8 {
			utc := first.Add(time.Duration(n)*500*time.Millisecond - 35*time.Millisecond + time.Duration(r.NormFloat64()*20*float64(time.Millisecond)))
			instants = append(instants, float64(q.begun.Add(utc.Sub(q.now)).UnixMicro())/1000)
		}
		if _, err := chromedp.Run(tab, chromedp.Evaluate[bool](fmt.Sprintf("(%s)(%s)", tapAt, jsonOf(instants)), chromedp.EvalAwaitPromise)); err != nil {
			return err
		}
		if err := until(`/ taps used/.test(document.querySelector("[data-spread]").textContent) && document.querySelectorAll("[data-taps] li").length >= 6`); err != nil {
			return err
		}
		id, err := chromedp.Run(tab, chromedp.Evaluate[string](`(() => { const e = document.querySelector("[data-confirm] input"); if (!e.checked) e.click(); const form = document.querySelector("[data-tap] form"); const id = form.elements.id.value; form.requestSubmit(); return id; })()`))
		if err != nil {
			return err
		}
		// A line that fails under load sends it once more by itself.
		var e chronometer.Entry
		for end := time.Now().Add(40 * time.Second); e.ID == "" && time.Now().Before(end); time.Sleep(50 * time.Millisecond) {
			seen, err := q.See(t.Context(), "417")
			if err != nil {
				return err
			}
			e, _ = seen.Logbook.Entry(chronometer.ID(id))
		}
		c, ok := e.Fact.(chronometer.Compared)
		if !ok || c.Kept == nil {
			// On a machine so busy that its exchanges take 0.2 s taps are refused,
			// as they should be, and made anew.
			if wide, err := chromedp.Run(tab, chromedp.Evaluate[bool](`document.body.textContent.includes("come nearer to its network")`)); err == nil && wide {
				return errTooBusy
			}
			return until(`"not written" === ""`) // fails with what the page says
		}
		reading, _ := c.Reading()
		want := truth.error(e.At)
		off := float64(clock.TwelveHour.Error(reading, e.At, clock.DialError(want))) - want
		mu.Lock()
		defer mu.Unlock()
		done++
		squares += off * off
		worst = max(worst, math.Abs(off))
		if math.Abs(off) <= 1.96*c.SD() {
			within++
		} else {
			t.Logf("off by %.3f s, stated %.3f, device %.3f s", off, 1.96*c.SD(), c.Kept.DeviceS)
		}
		// Half of 90 ms there and back bounds the device; an honest one is not narrower.
		if c.Kept.DeviceS < 0.045 || c.Kept.DeviceS > 0.1 {
			t.Errorf("the device is said to be within %.3f s, on a line of 10 and 80 ms", c.Kept.DeviceS)
		}
		return nil
	}
	turns := make(chan int)
	var all sync.WaitGroup
	for range tabs {
		all.Go(func() {
			for n := range turns {
				err := trial(n)
				for range 4 {
					if errors.Is(err, errTooBusy) {
						err = trial(n)
					}
				}
				if err != nil {
					t.Error(err)
				}
			}
		})
	}
	for n := range *tapTrials {
		turns <- n
	}
	close(turns)
	all.Wait()
	t.Logf("%d of %d within the stated interval; rms %.1f ms, worst %.1f ms", within, done, 1000*math.Sqrt(squares/float64(max(done, 1))), 1000*worst)
	if done != *tapTrials || 100*within < 95*done {
		t.Errorf("%d of %d within the stated interval, want 95 of 100", within, done)
	}
}

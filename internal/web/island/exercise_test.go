package island_test

import (
	"encoding/json"
	"math"
	"testing"

	"github.com/chromedp/chromedp"
)

const exercisePage = `<body><section data-exercise data-beat="0.25"><label><input type="radio" name="sense" value="seen" checked>seen</label><label><input type="radio" name="sense" value="both">both</label>
<button type="button" data-begin>Begin</button><div data-mark></div><button type="button" data-pad>Tap</button><p data-says></p>
<form data-keep method="post" action="/write"><input type="hidden" name="id" value="01JDEXERC00000000000000001"><input type="hidden" name="lags"><input type="hidden" name="sense"><input name="device" value="bench telephone"><button data-send type="submit">Send</button></form></section>`

// TestExercise has a script tap 42 ms before each beat, by a stamp of its own,
// and expects that lead back. The beat is shortened so that it does not take
// long.
func TestExercise(t *testing.T) {
	t.Parallel()
	q := newQuay(t, map[string]string{"exercise": exercisePage})
	ctx := browser(t)
	open(t, ctx, q.URL+"/exercise")
	do(t, ctx, chromedp.Evaluate[chromedp.Void](`window.said = new Set(); new MutationObserver(() => said.add(document.querySelector("[data-says]").textContent)).observe(document.querySelector("[data-says]"), { childList: true });
document.querySelector("[name=sense][value=both]").click()`))
	if !value[bool](t, ctx, `document.querySelector("[data-send]").disabled && document.querySelector("[data-pad]").disabled`) {
		t.Error("it can be sent before it is done")
	}
	// The mark is turned in the frame nearest to a beat, so its first turn tells
	// where the beats are.
	do(t, ctx, chromedp.Evaluate[chromedp.Void](`window.turns = []; new MutationObserver(() => turns.push(performance.now())).observe(document.querySelector("[data-mark]"), { attributeFilter: ["class"] });
document.querySelector("[data-begin]").addEventListener("click", () => { window.begun = performance.now(); });`),
		chromedp.Click(chromedp.CSS("[data-begin]")))
	until(t, ctx, `turns.length > 2`)
	do(t, ctx, chromedp.Evaluate[chromedp.Void](`(() => {
  const pad = document.querySelector("[data-pad]");
  let next = turns.at(-1) + 250 - 42, n = 0;
  (function step() {
    if (performance.now() >= next) {
      const e = new PointerEvent("pointerdown", { isPrimary: true, button: 0, bubbles: true });
      Object.defineProperty(e, "timeStamp", { value: next });
      pad.dispatchEvent(e);
      next += 250;
      n++;
    }
    if (n < 36) setTimeout(step, 4);
  })();
})()`))
	until(t, ctx, `!document.querySelector("[data-send]").disabled`)
	do(t, ctx, chromedp.Click(chromedp.CSS("[data-send]")))
	until(t, ctx, `document.body.dataset.sent`)
	form := q.wrote("01JDEXERC00000000000000001")
	var lags []float64
	if err := json.Unmarshal([]byte(form.Get("lags")), &lags); err != nil {
		t.Fatal(err)
	}
	t.Logf("lags: %.4f / %.4f / %.4f s", at(lags, 0), at(lags, 0.5), at(lags, 1))
	if len(lags) != 30 || form.Get("sense") != "seen and heard" {
		t.Errorf("%d lags, sense %q", len(lags), form.Get("sense"))
	}
	if got := value[string](t, ctx, `island.deviceName()`); got != "bench telephone" {
		t.Errorf("the device is called %q afterwards", got)
	}
	// A frame is 17 ms, and the first turn may be half of one off.
	if m := at(lags, 0.5); math.Abs(m+0.042) > 0.017 {
		t.Errorf("the middle lag is %.4f s, want -0.042", m)
	}
	if got := value[[]string](t, ctx, `[...said].filter((s) => !/^(Tap on every beat: [1-4] to settle|Tap \d+ of 30|30 taps are taken: keep them\.|)$/.test(s))`); len(got) != 0 {
		t.Errorf("said while tapping: %q", got)
	}
}

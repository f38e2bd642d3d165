package island_test

import (
	"flag"
	"fmt"
	"slices"
	"testing"
	"time"
)

var long = flag.Duration("tones", 6*time.Second, "how long tones are sounded")

// wrongClock sets the device 3.7 s wrong, and keeps what is right as window.truth:
// UTC less performance.now, ms, read on the edge of a millisecond.
const wrongClock = `(() => {
  const date = Date.now.bind(Date), origin = performance.timeOrigin;
  window.shift = 3700;
  let edge = -Infinity; // an edge can be seen late, never early
  for (let k = 0; k < 20; k++) {
    let was = date(), now = was;
    while (now === was) now = date();
    edge = Math.max(edge, now - performance.now());
  }
  window.truth = edge;
  Date.now = () => date() + window.shift;
  Object.defineProperty(performance, "timeOrigin", { get: () => origin + window.shift });
})();`

// TestDeviceClock holds the bound of this device: RFC 5905, section 8, says
// that the true offset lies within half the delay of a measured one, whatever
// the asymmetry. Here a way of 10 ms out and 80 ms back puts every offset
// 35 ms off.
func TestDeviceClock(t *testing.T) {
	q := newQuay(t, map[string]string{"bare": `<body data-unwatched="yes">`})
	ctx := browser(t)
	onEachPage(t, ctx, wrongClock)
	open(t, ctx, q.URL+"/bare")
	t.Logf("the browser's own origin is %.3f ms from what the edges of milliseconds say", value[float64](t, ctx, `performance.timeOrigin - shift - truth`))
	for _, way := range []struct {
		name        string
		out, back   time.Duration
		runs, each  int
		least, most float64 // of the middle error, ms
	}{
		{"10 ms out, 80 ms back", 10 * time.Millisecond, 80 * time.Millisecond, 100, 1, -45, -28},
		{"loopback", 0, 0, 30, 6, -3, 3},
	} {
		q.set(func(q *quay) { q.out, q.back = way.out, way.back })
		got := value[[][]float64](t, ctx, fmt.Sprintf(`(async () => {
  const found = [];
  const one = async () => {
    const c = new island.DeviceClock("/clock/exchange");
    await c.measure(%d);
    const perf = performance.now();
    found.push([c.utcAt(perf) - perf - truth, 1000 * c.bound(perf), c.state.stepMs]);
  };
  const runs = %d;
  while (found.length < runs) await Promise.all([one(), one(), one(), one(), one()]); // a browser holds six connections
  return found;
})()`, way.each, way.runs))
		within := 0
		var off, bound, step []float64
		for _, g := range got {
			if g[0] >= -g[1] && g[0] <= g[1] {
				within++
			}
			off, bound, step = append(off, g[0]), append(bound, g[1]), append(step, g[2])
		}
		t.Logf("%s: %d of %d within the bound; error %.2f / %.2f / %.2f ms, bound %.2f / %.2f / %.2f ms, step %.3f ms",
			way.name, within, len(got), at(off, 0), at(off, 0.5), at(off, 1), at(bound, 0), at(bound, 0.5), at(bound, 1), at(step, 0.5))
		if within < len(got)*95/100 {
			t.Errorf("%s: only %d of %d measurements lie within their bound", way.name, within, len(got))
		}
		if m := at(off, 0.5); m < way.least || m > way.most {
			t.Errorf("%s: the middle error is %.1f ms", way.name, m)
		}
		if m := at(bound, 0.5); m > (way.out+way.back).Seconds()*500+15 {
			t.Errorf("%s: the middle bound is %.1f ms: too wide to be of use", way.name, m)
		}
	}
}

// at returns a quantile.
func at(x []float64, p float64) float64 {
	s := slices.Sorted(slices.Values(x))
	return s[int(p*float64(len(s)-1)+0.5)]
}

// TestBreaks moves the clock of the device by an hour, and then has the server
// set its own anew: what was measured before is dropped, and UTC found again.
func TestBreaks(t *testing.T) {
	t.Parallel()
	q := newQuay(t, map[string]string{"bare": `<body>`})
	ctx := browser(t)
	onEachPage(t, ctx, wrongClock)
	open(t, ctx, q.URL+"/bare")
	until(t, ctx, `clock.state.measured`)
	const off = `Math.abs(clock.utcAt(performance.now()) - performance.now() - truth)`
	// A tap made as the clock jumps keeps the UTC that held before it.
	placed := value[float64](t, ctx, `(async () => {
  await new Promise((done) => setTimeout(done, 300));
  const perf = performance.now() - 300;
  shift += 3600e3;
  return clock.place(perf).utcMs - perf - truth;
})()`)
	if placed < -5 || placed > 5 {
		t.Errorf("a tap before the jump is placed %.1f ms off", placed)
	}
	until(t, ctx, `clock.state.broken === 1 && clock.state.measured`)
	if got := value[float64](t, ctx, off); got > 5 {
		t.Errorf("UTC is %.1f ms off after the clock of the device was moved", got)
	}
	q.set(func(q *quay) { q.spell++ })
	until(t, ctx, `clock.measure(1) && clock.state.spell === 1`)
	if got := value[int](t, ctx, `clock.state.broken`); got != 2 {
		t.Errorf("broken off %d times, want 2", got)
	}
	// An instant that was not placed before a break never is.
	if got := value[string](t, ctx, `String(clock.later(performance.now() - 10, 1))`); got != "undefined" {
		t.Errorf("an instant from before the break is placed: %s", got)
	}
	if got := value[float64](t, ctx, `(async () => { const perf = performance.now() - 200e3; const p = clock.later(perf, 2); return p.boundS; })()`); got < 0.01 {
		t.Errorf("the bound of an instant 200 s before the exchange is %.4f s; 50 ppm are 0.01", got)
	}
}

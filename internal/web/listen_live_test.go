//go:build unix

package web_test

import (
	"flag"
	"net/http/httptest"
	"runtime"
	"slices"
	"syscall"
	"testing"
	"time"

	"timeball/internal/simulate/sound"
	"timeball/internal/web"
)

var listenLive = flag.Duration("listen-live", 15*time.Second, "how long a page listens while its delay and its cost are measured")

// TestListenLive leaves a page listening and measures how long it takes from a
// beat, as the witness has it captured, to the count of beats on the screen that
// includes it, and what the server of the page takes of the computer.
func TestListenLive(t *testing.T) {
	t.Parallel()
	q := soundQuay(t, line{epoch: today.AddDate(0, 0, -40), errorS: 14, rate: -0.6})
	pages := web.New(q.Workshop, q.tell, web.Options{})
	defer func() { _ = pages.Close() }()
	site := httptest.NewServer(pages)
	defer site.Close()
	rec := tape(t, sound.Take{Seconds: listenLive.Seconds() + 15, SNRdB: 20, ClockPPM: 40, Chronometers: []sound.Chronometer{{RatePerDay: -0.6, JitterS: 20e-6, PatternS: 30e-6, PhaseS: 0.2}}}, 77)
	l := newListener(t, q, rec.file)
	l.open(site.URL + "/instruments/417/listen")
	l.until(`/^UTC here/.test(document.querySelector("[data-device]")?.textContent)`)
	l.do(`(() => {
  window.counts = [];
  let last = 0;
  new MutationObserver(() => {
    const beats = Number.parseFloat(document.querySelector("#heard .figures b")?.textContent ?? "0");
    if (beats > last) counts.push([performance.now(), beats]);
    last = beats;
  }).observe(document.querySelector("[data-ear-panel]"), { childList: true, subtree: true });
})()`)
	runtime.GC()
	var before, after syscall.Rusage
	_ = syscall.Getrusage(syscall.RUSAGE_SELF, &before)
	began := time.Now()
	l.press("[data-ear-listen]")
	var most uint64
	for time.Since(began) < *listenLive {
		time.Sleep(time.Second)
		var m runtime.MemStats
		runtime.ReadMemStats(&m)
		most = max(most, m.HeapAlloc)
	}
	_ = syscall.Getrusage(syscall.RUSAGE_SELF, &after)
	share := (time.Duration(after.Utime.Nano()-before.Utime.Nano()) + time.Duration(after.Stime.Nano()-before.Stime.Nano())).Seconds() / time.Since(began).Seconds()
	saw := evaluated[seen](l, testimony)
	origin := evaluated[float64](l, `window.trueOrigin`)
	start, like := saw.beganAt(t, rec)
	if !(like > 0.6) {
		t.Fatalf("the file is not found in what was captured: likeness %.2f", like)
	}
	// In the midst between two beats it is stopped: those captured by then are all
	// counted at last, which tells the number of the first.
	captured := func(by time.Time) int {
		n := 0
		for _, s := range rec.drops {
			if start.Add(time.Duration(s * float64(time.Second))).Before(by) {
				n++
			}
		}
		return n
	}
	next := start.Add(time.Duration(rec.drops[captured(time.Now())+1] * float64(time.Second)))
	time.Sleep(time.Until(next.Add(250 * time.Millisecond)))
	stopped := evaluated[float64](l, `(document.querySelector("[data-ear-stop]").click(), window.trueOrigin + performance.now())`)
	l.until(`document.querySelector("[data-ear-says]").textContent.includes("has ended")`)
	all := int(evaluated[float64](l, `Number.parseFloat(document.querySelector("#heard .figures b").textContent)`))
	first := captured(time.UnixMicro(int64(1000*stopped))) - all
	counts := evaluated[[][2]float64](l, `counts`)
	if len(counts) < 5 || first < 0 {
		t.Fatalf("%d counts in %v, %d beats in all", len(counts), *listenLive, all)
	}
	var late []float64
	for k, c := range counts[1 : len(counts)-1] {
		for n := int(counts[k][1]); n < int(c[1]); n++ {
			late = append(late, time.UnixMicro(int64(1000*(origin+c[0]))).Sub(start.Add(time.Duration(rec.drops[first+n]*float64(time.Second)))).Seconds())
		}
	}
	slices.Sort(late)
	heard := evaluated[string](l, `document.querySelector("#heard").innerText.replace(/\s+/g, " ")`)
	t.Logf("%v: %d counts; a beat is counted on the screen after %.2f s in the middle, 95%% within %.2f s, at most %.2f s; the server with the test takes %.1f%% of one processor and up to %d MB of heap, at most %d MB in all; %s",
		*listenLive, len(counts), late[len(late)/2], late[len(late)*95/100], late[len(late)-1], 100*share, most>>20, after.Maxrss>>10, heard)
	if middle := late[len(late)/2]; middle > 2 {
		t.Errorf("a beat is on the screen after %.2f s in the middle", middle)
	}
}

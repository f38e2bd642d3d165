package web_test

import (
	"encoding/base64"
	"encoding/binary"
	"flag"
	"fmt"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"net"
	"net/http/httptest"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"
	"gonum.org/v1/gonum/dsp/fourier"

	"timeball/internal/audio"
	"timeball/internal/chronometer"
	"timeball/internal/clock"
	"timeball/internal/simulate/sound"
	"timeball/internal/tab"
	"timeball/internal/web"
)

var (
	dayTrials  = flag.Int("day-trials", 1, "pairs of listenings a day apart")
	listenedTo = flag.Duration("listened", 20*time.Second, "how long each listening lasts")
)

// fakeHz is the sampling frequency of Chromium's fake microphone, to which it
// brings files of another.
const fakeHz = 44100

// taped is a recording of known truth and the file of it.
type taped struct {
	file    string
	opening []float64 // its first 12 s
	drops   []float64 // place of each drop, s
}

// tape makes a recording and writes it to a file, without ever holding it whole.
func tape(t *testing.T, take sound.Take, seed uint64) taped {
	t.Helper()
	r := taped{file: filepath.Join(t.TempDir(), "beat.wav")}
	f, err := os.Create(r.file)
	if err != nil {
		t.Fatal(err)
	}
	w := audio.NewWAV(f, 48000, 1, 16)
	stream := take.Stream(rand.New(rand.NewPCG(seed, 48000)))
	second := make([]float64, 48000)
	for n := stream.Read(second); n > 0; n = stream.Read(second) {
		if len(r.opening) < 12*48000 {
			r.opening = append(r.opening, second[:n]...)
		}
		if err := w.Write(second[:n]); err != nil {
			t.Fatal(err)
		}
	}
	for _, step := range []func() error{w.Close, f.Close} {
		if err := step(); err != nil {
			t.Fatal(err)
		}
	}
	drop, _, _ := take.Chronometers[0].Delays(0)
	for _, at := range stream.Recorded().Beats[0] {
		r.drops = append(r.drops, at+drop)
	}
	return r
}

// hearing are the flags of a browser that hears a file, without asking.
func hearing(file string) []chromedp.ExecAllocatorOption {
	flags := []chromedp.ExecAllocatorOption{
		chromedp.Flag("use-fake-device-for-media-stream", true), chromedp.Flag("use-fake-ui-for-media-stream", true), chromedp.Flag("autoplay-policy", "no-user-gesture-required"),
	}
	if file != "" {
		flags = append(flags, chromedp.Flag("use-file-for-fake-audio-capture", file))
	}
	return flags
}

// witness takes the stream that the page asks for, keeps its first 4 s, and
// writes down the stamp of each buffer, ms of performance.now (W3C, WebCodecs,
// AudioData.timestamp): where Chromium itself says that frames were captured.
const witness = `(() => {
  const ask = navigator.mediaDevices.getUserMedia.bind(navigator.mediaDevices);
  window.seen = { first: [], offsets: [], frames: 0 };
  navigator.mediaDevices.getUserMedia = async (wanted) => {
    const stream = await ask(wanted);
    const reader = new MediaStreamTrackProcessor({ track: stream.getAudioTracks()[0].clone(), maxBufferSize: 1000 }).readable.getReader();
    (async () => {
      for (;;) {
        const { value, done } = await reader.read();
        if (done) return;
        if (seen.frames < 4 * value.sampleRate) {
          const x = new Float32Array(value.numberOfFrames);
          value.copyTo(x, { planeIndex: 0, format: "f32-planar" });
          seen.first.push(...x);
        }
        // The fake microphone stamps a buffer when it is whole; others stamp its first frame.
        seen.offsets.push((value.timestamp - value.duration) / 1000 - 1000 * seen.frames / value.sampleRate);
        seen.frames += value.numberOfFrames;
        value.close();
      }
    })();
    return stream;
  };
})();`

// seen is what the witness saw, in the true clock of the computer.
type seen struct {
	First   string  // samples, float32 in base64
	FrameMS float64 // of frame 0, ms since 1970
	Spread  float64 // of the stamps, ms
}

const testimony = `(() => {
  const sorted = [...seen.offsets].sort((a, b) => a - b), n = sorted.length;
  const bytes = new Uint8Array(Float32Array.from(seen.first).buffer);
  let text = "";
  for (const b of bytes) text += String.fromCharCode(b);
  return { First: btoa(text), FrameMS: window.trueOrigin + sorted[n >> 1], Spread: sorted[Math.floor(0.95 * (n - 1))] - sorted[Math.ceil(0.05 * (n - 1))] };
})()`

// beganAt returns by the witness when the beginning of the file would have been
// captured, and how like what was captured is to it there.
func (s seen) beganAt(t *testing.T, r taped) (at time.Time, likeness float64) {
	t.Helper()
	raw, err := base64.StdEncoding.DecodeString(s.First)
	if err != nil || len(raw) < 4*fakeHz {
		t.Fatalf("the witness heard %d bytes: %v", len(raw), err)
	}
	const n = 1 << 19 // 11.9 s
	heard, file := make([]float64, n), make([]float64, n)
	for k := 0; 4*k+4 <= len(raw) && k < n/2; k++ {
		heard[k] = float64(math.Float32frombits(binary.LittleEndian.Uint32(raw[4*k:])))
	}
	for k := range n / 2 {
		x := float64(k) / fakeHz * 48000
		if i := int(x); i+1 < len(r.opening) {
			file[k] = r.opening[i] + (x-float64(i))*(r.opening[i+1]-r.opening[i])
		}
	}
	f := fourier.NewFFT(n)
	a, b := f.Coefficients(nil, heard), f.Coefficients(nil, file)
	for k := range a {
		a[k] *= cmplx.Conj(b[k])
	}
	like := f.Sequence(nil, a)
	best := 0
	for k := range like {
		if math.Abs(like[k]) > math.Abs(like[best]) {
			best = k
		}
	}
	// Where the file is found whole, the sums of squares say how like it is.
	shift := best
	if shift > n/2 {
		shift -= n
	}
	var hh, ff float64
	for k := range heard {
		if j := k - shift; j >= 0 && j < len(file) && k < len(raw)/4 {
			hh += heard[k] * heard[k]
			ff += file[j] * file[j]
		}
	}
	peak := like[best] / n
	return time.UnixMicro(int64(1000 * (s.FrameMS + 1000*float64(shift)/fakeHz))), peak / math.Sqrt(hh*ff)
}

// listener is a page that listens in a browser of its own.
type listener struct {
	keys
	q *quay
}

func newListener(t *testing.T, q *quay, file string) listener {
	t.Helper()
	ctx := tab.Open(t, 0, hearing(file)...)
	for _, script := range []string{wrongClock, witness} {
		if _, err := chromedp.Call(ctx, page.AddScriptToEvaluateOnNewDocument, page.AddScriptToEvaluateOnNewDocumentParams{Source: script}); err != nil {
			t.Fatal(err)
		}
	}
	return listener{keys{t, ctx}, q}
}

func (l listener) open(address string) {
	l.t.Helper()
	if err := chromedp.Do(l.ctx, chromedp.Navigate(address)); err != nil {
		l.t.Fatal(err)
	}
	l.until(`!document.querySelector("[data-ear-socket]").hidden`)
}

func (l listener) do(script string) {
	l.t.Helper()
	if err := chromedp.Do(l.ctx, chromedp.Evaluate[chromedp.Void](script)); err != nil {
		l.t.Fatal(err)
	}
}

func evaluated[T any](l listener, script string) T {
	l.t.Helper()
	got, err := chromedp.Run(l.ctx, chromedp.Evaluate[T](script, chromedp.EvalAwaitPromise))
	if err != nil {
		l.t.Fatalf("%v in %s", err, script)
	}
	return got
}

// main is what the page says.
func (l listener) main() string {
	return evaluated[string](l, `document.querySelector("main").innerText`)
}

// press presses a button of the page.
func (l listener) press(selector string) {
	l.t.Helper()
	l.do(fmt.Sprintf(`document.querySelector(%q).click()`, selector))
}

// pictures writes pictures of the page as it stands to the folder named by
// -shots, if there is one.
func (l listener) pictures(name string) {
	l.t.Helper()
	if *shots == "" {
		return
	}
	for _, way := range []struct {
		width int64
		dark  bool
	}{{1280, false}, {1280, true}, {390, false}, {390, true}} {
		if err := at(l.ctx, way.width, way.dark); err != nil {
			l.t.Fatal(err)
		}
		whole, err := chromedp.Run(l.ctx, chromedp.FullScreenshot(100))
		if err != nil {
			l.t.Fatal(err)
		}
		file := filepath.Join(*shots, fmt.Sprintf("%s-%d-%t.png", name, way.width, way.dark))
		if err := os.WriteFile(file, whole, 0o644); err != nil {
			l.t.Fatal(err)
		}
	}
}

// arrives waits for a condition while the page may be on its way to another.
func (l listener) arrives(condition string) {
	l.t.Helper()
	for end := time.Now().Add(20 * time.Second); time.Now().Before(end); time.Sleep(50 * time.Millisecond) {
		if is, err := chromedp.Run(l.ctx, chromedp.Evaluate[bool]("document.readyState === 'complete' && ("+condition+")")); err == nil && is {
			return
		}
	}
	l.t.Fatalf("it does not come to %s: %s", condition, l.main())
}

// write sends a form of the page as an observer does, and returns the entry.
func (l listener) write(form string) chronometer.Entry {
	l.t.Helper()
	l.do(fmt.Sprintf(`(() => { const form = document.querySelector(%q); form.elements.by.value = "T. Morrow"; form.querySelector("[type=submit]").click(); })()`, form))
	l.arrives(`location.search.startsWith("?wrote=") || [...document.querySelectorAll("[data-ear-problem]")].some((e) => e.textContent !== "")`)
	id := evaluated[string](l, `new URLSearchParams(location.search).get("wrote") ?? ""`)
	if id == "" {
		l.t.Fatalf("not written: %s", l.main())
	}
	found, err := l.q.See(l.t.Context(), "417")
	if err != nil {
		l.t.Fatal(err)
	}
	e, ok := found.Logbook.Entry(chronometer.ID(id))
	if !ok {
		l.t.Fatalf("no entry %s", id)
	}
	return e
}

// soundQuay returns a workshop of one instrument that was compared so well that
// its error is known to less than half a beat; its clock runs.
func soundQuay(t *testing.T, truth line) *quay {
	t.Helper()
	q := emptyQuay(t)
	k := q.enter(chronometer.Instrument{Number: "417", Maker: "Corvane & Dray, Skerrow", Make: chronometer.BoxChronometer, Beat: chronometer.HalfSecond,
		Dial: chronometer.Twelve, GoingH: 56}, truth.epoch, truth)
	q.add(k, truth.epoch, "Signe Vandrell", chronometer.Started{How: "one gentle turn"})
	for d := range 31 {
		at := today.AddDate(0, 0, d-30).Add(-time.Hour)
		q.add(k, at.Add(-time.Minute), "Signe Vandrell", chronometer.Wound{HalfTurns: 7.5})
		e := truth.error(at)
		q.add(k, at, "Signe Vandrell", chronometer.Compared{ErrorS: &e, SDS: 0.01, Method: chronometer.ByTap})
	}
	q.fill(t)
	q.begun = time.Now()
	return q
}

// TestListenedADayApart listens twice to a half-second chronometer, a day apart
// by the clock of the workshop, and writes each as a comparison. By the stamps of
// the microphone's own buffers, which no part of the page sees, the rate between
// the two is right to 0.03 s a day, and each lies within the interval that it
// states.
func TestListenedADayApart(t *testing.T) {
	t.Parallel()
	for trial := range *dayTrials {
		r := rand.New(rand.NewPCG(11, uint64(trial)))
		truth := line{epoch: today.AddDate(0, 0, -40), errorS: 14, rate: -0.6}
		q := soundQuay(t, truth)
		site := httptest.NewServer(web.New(q.Workshop, q.tell, web.Options{}))
		var errorsS, truthS, halfS [2]float64
		var ats [2]time.Time
		for day := range 2 {
			q.ahead.Store(int64(day) * int64(24*time.Hour))
			rec := tape(t, sound.Take{Seconds: listenedTo.Seconds() + 20, SNRdB: 20, ClockPPM: 40, Chronometers: []sound.Chronometer{{RatePerDay: -0.6, JitterS: 20e-6, PatternS: 30e-6, PhaseS: 0.5 * r.Float64()}}}, uint64(2*trial+day))
			l := newListener(t, q, rec.file)
			l.open(site.URL + "/instruments/417/listen")
			l.until(`/^UTC here/.test(document.querySelector("[data-device]")?.textContent)`)
			l.press("[data-ear-listen]")
			l.until(`!document.querySelector("[data-ear-stop]").hidden`)
			time.Sleep(*listenedTo)
			l.pictures("listening")
			saw := evaluated[seen](l, testimony)
			e := l.write("form[data-ear-compare]")
			c := e.Fact.(chronometer.Compared)
			reading, _ := c.Reading()
			expected := truth.error(e.At)
			errorsS[day], ats[day] = float64(clock.TwelveHour.Error(reading, e.At, clock.DialError(expected))), e.At
			began, like := saw.beganAt(t, rec)
			// The drop nearest to the middle of the listening, in the clock of the workshop.
			toWorkshop := time.Until(q.tell())
			best := math.Inf(1)
			for _, s := range rec.drops {
				at := began.Add(time.Duration(s * float64(time.Second))).Add(toWorkshop).UTC()
				if d := at.Sub(e.At).Seconds(); math.Abs(d) < math.Abs(best) {
					best = d
				}
			}
			// The dial shows whole half-seconds at its beats: where the page put one at
			// e.At, it truly came at e.At + best, so that the dial is slower by best.
			truthS[day] = errorsS[day] - best
			halfS[day] = 1.96 * c.SD()
			h := c.Heard
			t.Logf("trial %d, day %d: error %.4f s, off %+.1f ms, stated ±%.1f ms (sound %.1f ms, latency %.1f ±%.1f ms), %d beats in %.1f s, device ±%.1f ms; witness alike %.2f, stamps within %.2f ms; taken %s",
				trial, day, errorsS[day], 1000*best, 1000*halfS[day], 1000*c.SDS, 1000*h.LatencyS, 1960*h.LatencySDS, h.Beats, h.DurationS, 1000*c.Kept.DeviceS, like, saw.Spread, h.Taken)
			if !(like > 0.6) {
				t.Errorf("the file is not found in what was captured: likeness %.2f", like)
			}
			if math.Abs(best) > halfS[day] {
				t.Errorf("the comparison is off by %.1f ms and states ±%.1f", 1000*best, 1000*halfS[day])
			}
			if math.Abs(errorsS[day]-expected) > 0.26 || h.Taken != chronometer.TakenForecast {
				t.Errorf("the error is %.3f s, the forecast %.3f, taken by %s", errorsS[day], expected, h.Taken)
			}
		}
		days := ats[1].Sub(ats[0]).Hours() / 24
		rate, want := (errorsS[1]-errorsS[0])/days, (truthS[1]-truthS[0])/days
		t.Logf("trial %d: rate off by %+.4f s/d", trial, rate-want)
		if math.Abs(rate-want) > 0.03 {
			t.Errorf("the rate of a day is off by %.4f s", rate-want)
		}
		site.Close()
	}
}

// quayside is a listener whose connections can be cut.
type quayside struct {
	net.Listener
	mu    sync.Mutex
	conns []net.Conn
	down  bool
}

// Accept takes the next connection, and drops it while the line is down.
func (s *quayside) Accept() (net.Conn, error) {
	for {
		c, err := s.Listener.Accept()
		if err != nil {
			return nil, err
		}
		s.mu.Lock()
		if !s.down {
			s.conns = append(s.conns, c)
			s.mu.Unlock()
			return c, nil
		}
		s.mu.Unlock()
		_ = c.Close()
	}
}

// cut breaks all connections off, and lets none come for a while.
func (s *quayside) cut(d time.Duration) {
	s.mu.Lock()
	s.down = true
	for _, c := range s.conns {
		_ = c.Close()
	}
	s.conns = nil
	s.mu.Unlock()
	time.Sleep(d)
	s.mu.Lock()
	s.down = false
	s.mu.Unlock()
}

// held samples where the note of a form stands on the screen while the panel
// above it is made anew.
const held = `(async () => {
  const note = document.getElementById("dial-note");
  note.scrollIntoView({ block: "center", behavior: "instant" });
  note.focus();
  const tops = [];
  let panels = 0;
  const watch = new MutationObserver(() => panels++);
  watch.observe(document.querySelector("[data-ear-panel]"), { childList: true });
  for (const until = performance.now() + 2500; performance.now() < until;) {
    await new Promise(requestAnimationFrame);
    tops.push(note.getBoundingClientRect().top);
  }
  watch.disconnect();
  return { Panels: panels, Moved: Math.max(...tops) - Math.min(...tops), Focus: document.activeElement === note };
})()`

// TestListenInBrowser listens on a telephone's screen: the connection drops and
// nothing is lost, the page stands still while its panel is made anew, the rate
// is kept with its sound, and the half-second is told by one tap where no forecast
// tells it.
func TestListenInBrowser(t *testing.T) {
	t.Parallel()
	q := emptyQuay(t)
	k := q.enter(chronometer.Instrument{Number: "417", Maker: "Corvane & Dray, Skerrow", Make: chronometer.BoxChronometer, Beat: chronometer.HalfSecond, Dial: chronometer.Twelve, GoingH: 56}, today.AddDate(0, 0, -1), line{})
	q.add(k, today.Add(-time.Hour), "Signe Vandrell", chronometer.Started{How: "one gentle turn"})
	q.fill(t)
	q.begun = time.Now()
	pages := web.New(q.Workshop, q.tell, web.Options{})
	defer func() { _ = pages.Close() }()
	site := httptest.NewUnstartedServer(pages)
	side := &quayside{Listener: site.Listener}
	site.Listener = side
	site.Start()
	defer site.Close()
	rec := tape(t, sound.Take{Seconds: 90, SNRdB: 20, Chronometers: []sound.Chronometer{{RatePerDay: -0.6, JitterS: 20e-6, PhaseS: 0.2}}}, 55)
	l := newListener(t, q, rec.file)
	if err := at(l.ctx, 390, true); err != nil {
		t.Fatal(err)
	}
	l.open(site.URL + "/instruments/417/listen")
	if l.is(`document.querySelector(".keeping").checkVisibility()`) {
		t.Error("before anything is heard it offers to keep it")
	}
	l.until(`/^UTC here/.test(document.querySelector("[data-device]")?.textContent)`)
	beats := func() float64 {
		return evaluated[float64](l, `Number.parseFloat(document.querySelector("#heard .figures b")?.textContent ?? "0")`)
	}
	l.press("[data-ear-listen]")
	l.until(`!!document.querySelector("#heard .figures")`)

	// A refusal leaves the page and what it hears as they are.
	l.do(`(() => { const form = document.querySelector("form[data-ear-compare]"); form.elements.by.value = "T. Morrow"; form.querySelector("[type=submit]").click(); })()`)
	l.until(`/tap once|is known after|not known yet/.test(document.querySelector("[data-ear-compare] [data-ear-problem]").textContent)`)

	before := beats()
	side.cut(2500 * time.Millisecond)
	if words := evaluated[string](l, `document.querySelector("[data-ear-says]").textContent`); !strings.Contains(words, "no connection") {
		t.Errorf("while there is no connection it says %q", words)
	}
	l.until(`!document.querySelector("[data-ear-says]").textContent.includes("no connection")`)
	l.until(fmt.Sprintf(`Number.parseFloat(document.querySelector("#heard .figures b").textContent) >= %g`, before+10))
	// What was not sent would be silence, in which no beat is counted. The fake
	// microphone of a busy machine pauses now and then for a buffer; that is a jump.
	words := evaluated[string](l, `document.querySelector("#heard").innerText`)
	counted := regexp.MustCompile(`(?s)Beats\n+(\d+) none missed.*over (\d+) s`).FindStringSubmatch(words)
	if counted == nil {
		t.Fatalf("after the connection dropped it says %q", words)
	}
	if n, seconds := number(t, counted[1]), number(t, counted[2]); n < 2*seconds-4 {
		t.Errorf("%g beats in %g s: some were lost while there was no connection", n, seconds)
	}
	if found := evaluated[[]string](l, faults); len(found) != 0 {
		t.Errorf("while it listens: %q", found)
	}
	still := evaluated[struct {
		Panels int
		Moved  float64
		Focus  bool
	}](l, held)
	if still.Panels < 3 || still.Moved > 1 || !still.Focus {
		t.Errorf("while the panel is made anew the page does not stand still: %+v", still)
	}

	// The dial shows 3 s more than UTC when it is tapped, to the nearest second.
	l.until(`/but not which half-second/.test(document.querySelector("#heard").innerText)`)
	tap := evaluated[float64](l, `(() => { const e = new PointerEvent("pointerdown", { bubbles: true, isPrimary: true }); document.querySelector("[data-ear-tap]").dispatchEvent(e); return window.trueOrigin + e.timeStamp; })()`)
	toWorkshop := time.Until(q.tell())
	tapped := time.UnixMicro(int64(1000 * tap)).Add(toWorkshop).UTC()
	shown := tapped.Add(3 * time.Second).Round(time.Second)
	l.do(fmt.Sprintf(`document.getElementById("dial-read").value = %q`, shown.Format("15:04:05")))
	e := l.write("form[data-ear-compare]")
	c := e.Fact.(chronometer.Compared)
	want := shown.Sub(tapped).Seconds()
	reading, _ := c.Reading()
	if got := float64(clock.TwelveHour.Error(reading, e.At, clock.DialError(want))); math.Abs(got-want) > 0.26 || c.Heard.Taken != chronometer.TakenTap {
		t.Errorf("the dial is %.3f s fast by the sound, %.3f by the tap, taken %s", got, want, c.Heard.Taken)
	}

	// A comparison is there now, and a rate is kept with its sound.
	l.open(site.URL + "/instruments/417/listen")
	l.press("[data-ear-listen]")
	l.until(`/a day ±/.test(document.querySelector("#heard").innerText)`)
	l.do(`document.querySelector("form[data-ear-form] [name=recording]").checked = true`)
	e = l.write("form[data-ear-form]")
	if heard, ok := e.Fact.(chronometer.Listened); !ok || heard.Recording == nil || heard.BeatsPerHour != 14400 {
		t.Errorf("kept %+v", e.Fact)
	}
	if !l.is(`(() => { const e = document.querySelector(".sound audio"); e.preload = "auto"; e.load(); return true; })()`) {
		t.Error("there is no player")
	}
	l.until(`document.querySelector(".sound audio").duration > 4 && document.querySelector(".sound audio").duration < 60`)
}

// TestListenWithoutScript: a browser without script has the form to send a
// recording, and nothing that does not work.
func TestListenWithoutScript(t *testing.T) {
	t.Parallel()
	q := soundQuay(t, line{epoch: today.AddDate(0, 0, -40), errorS: 14, rate: -0.6})
	site := httptest.NewServer(web.New(q.Workshop, q.tell, web.Options{}))
	defer site.Close()
	rec := tape(t, sound.Take{Seconds: 12, SNRdB: 20, Chronometers: []sound.Chronometer{{RatePerDay: -0.6, PhaseS: 0.2}}}, 56)
	l := listener{keys{t, tab.Open(t, 0)}, q}
	if _, err := chromedp.Call(l.ctx, emulation.SetScriptExecutionDisabled, emulation.SetScriptExecutionDisabledParams{Value: true}); err != nil {
		t.Fatal(err)
	}
	if err := chromedp.Do(l.ctx, chromedp.Navigate(site.URL+"/instruments/417/listen")); err != nil {
		t.Fatal(err)
	}
	if l.is(`document.querySelector(".ear").checkVisibility() || document.querySelector(".keeping").checkVisibility()`) {
		t.Error("without script the microphone is offered")
	}
	if err := chromedp.Do(l.ctx, chromedp.SetUploadFiles("#file", []string{rec.file}), chromedp.Click(".sending [type=submit]")); err != nil {
		t.Fatal(err)
	}
	l.arrives(`document.querySelector("#heard")?.innerText.includes("a day ±")`)
	if !l.is(`document.querySelector(".keeping form").checkVisibility()`) {
		t.Error("what the recording says cannot be kept")
	}
}

func number(t *testing.T, text string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(text, 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

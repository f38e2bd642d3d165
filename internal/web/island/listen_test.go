package island_test

import (
	"context"
	"errors"
	"fmt"
	"net/url"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"
)

const listenPage = `<body><section hidden data-ear-socket="/listen/one/sound"><select data-ear-device></select><button type="button" data-ear-listen>Listen</button><button type="button" data-ear-stop hidden>Stop</button><button type="button" data-ear-tone hidden>Check tone</button><meter data-ear-level min="0" max="1"></meter><p data-ear-says></p><div data-ear-panel></div></section>`

const (
	earSays   = `document.querySelector("[data-ear-says]").textContent`
	listening = `Listening to Fake Default Audio Input, 44,100 samples a second.`
)

func press(t *testing.T, ctx context.Context, name string) {
	t.Helper()
	do(t, ctx, chromedp.Click(chromedp.CSS("["+name+"]")))
}

// TestListen listens from the page under the policy of the pages proper: through
// a cut, to the end, anew, and to a server that wants no more.
func TestListen(t *testing.T) {
	t.Parallel()
	_, file := tape(t, fakeHz, 2)
	p := newPier(t, map[string]string{"listen": listenPage})
	ctx := browser(t, microphone(file)...)
	openEar(t, ctx, p, "listen")
	press(t, ctx, "data-ear-listen")
	until(t, ctx, earSays+` === "`+listening+`"`)
	until(t, ctx, `document.querySelector("[data-ear-panel] p")?.textContent.match(/^[1-9][0-9]* chunks$/)`)
	until(t, ctx, `document.querySelector("meter").value > 0.8`) // 12,000 of 32,768 are -8.7 dB
	if got := value[string](t, ctx, `[...document.querySelectorAll("button, select")].map((e) => (e.hidden ? "no " : "") + (e.textContent.startsWith("Fake") ? "choice" : e.textContent)).join(", ")`); got != "choice, no Listen, Stop, Check tone, More" {
		t.Errorf("offered: %s", got)
	}
	changes := func() int {
		return value[int](t, ctx, `(async () => { let n = 0; const o = new MutationObserver((all) => { n += all.length; }); o.observe(document.querySelector("meter"), { attributes: true }); await new Promise((done) => setTimeout(done, 2100)); o.disconnect(); return n; })()`)
	}
	if n := changes(); n < 8 || n > 30 {
		t.Errorf("the bar moves %d times in 2 s", n)
	}
	if _, err := chromedp.Call(ctx, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Features: []*emulation.MediaFeature{{Name: "prefers-reduced-motion", Value: "reduce"}}}); err != nil {
		t.Fatal(err)
	}
	if n := changes(); n > 3 {
		t.Errorf("with less motion the bar moves %d times in 2 s", n)
	}

	do(t, ctx, chromedp.Evaluate[chromedp.Void](`document.getElementById("more").focus()`))
	p.look(func() { p.away = true; p.leave() })
	until(t, ctx, earSays+` === "There is no connection to the computer of the workshop: the last 60 s of sound are kept and sent when it is back."`)
	p.look(func() { p.away = false })
	until(t, ctx, earSays+` === "`+listening+`"`)
	was := value[string](t, ctx, `document.querySelector("[data-ear-panel]").textContent`)
	until(t, ctx, fmt.Sprintf(`document.querySelector("[data-ear-panel]").textContent !== %q`, was))
	if got := value[string](t, ctx, `document.activeElement.id`); got != "more" {
		t.Errorf("the panel was made anew and the focus is on %q", got)
	}

	// Nothing carries the tone back here.
	press(t, ctx, "data-ear-tone")
	until(t, ctx, earSays+`.endsWith("The check tone sounds three times.")`)
	until(t, ctx, earSays+`.includes("The check tone was not heard")`)

	press(t, ctx, "data-ear-stop")
	until(t, ctx, earSays+` === "Listening has ended."`)
	p.look(func() {
		if p.done != 1 || len(p.hellos) != 2 || !p.hellos[1].Resume {
			t.Errorf("done %d times, hellos %+v", p.done, p.hellos)
		}
		for k, c := range p.chunks {
			if k > 0 && c.Missing != 0 {
				t.Errorf("%d frames are missing before frame %d", c.Missing, c.Start)
			}
		}
		p.chunks = nil
	})

	press(t, ctx, "data-ear-listen")
	until(t, ctx, earSays+` === "`+listening+`"`)
	for begun, end := false, time.Now().Add(10*time.Second); !begun && time.Now().Before(end); time.Sleep(20 * time.Millisecond) {
		p.look(func() { begun = len(p.hellos) > 2 && len(p.chunks) > 0 })
	}
	p.look(func() {
		if len(p.chunks) == 0 {
			t.Fatal("no sound comes")
		}
		if len(p.hellos) != 3 || p.hellos[2].Resume {
			t.Errorf("hellos %+v", p.hellos)
		}
		if p.chunks[0].Start > 2*fakeHz {
			t.Errorf("a sound begun anew begins at frame %d", p.chunks[0].Start)
		}
		p.refuse = errors.New("no room is left for the sound; delete old recordings")
	})
	until(t, ctx, earSays+` === "No room is left for the sound; delete old recordings." && !document.querySelector("[data-ear-listen]").hidden`)
	if got := value[bool](t, ctx, `document.querySelector("[data-ear-stop]").hidden`); !got {
		t.Error("what is over can be stopped")
	}
}

// TestTroubles asks for one sentence where the sound cannot be had or is not as
// it should be, by the names of W3C, Media Capture and Streams, 10.3.
func TestTroubles(t *testing.T) {
	t.Parallel()
	p := newPier(t, map[string]string{"listen": listenPage})
	ctx := browser(t, microphone("")...)
	openEar(t, ctx, p, "listen")
	do(t, ctx, chromedp.Evaluate[chromedp.Void](`window.ask = navigator.mediaDevices.getUserMedia.bind(navigator.mediaDevices)`))
	for name, says := range map[string]string{
		"NotAllowedError":  "was not allowed the microphone",
		"NotFoundError":    "No microphone was found",
		"NotReadableError": "is in use elsewhere",
		"TypeError":        "cannot be opened (why)",
	} {
		do(t, ctx, chromedp.Evaluate[chromedp.Void](fmt.Sprintf(`navigator.mediaDevices.getUserMedia = async () => { throw new DOMException("why", %q); }`, name)))
		press(t, ctx, "data-ear-listen")
		until(t, ctx, fmt.Sprintf(`%s.includes(%q)`, earSays, says))
		if got := value[string](t, ctx, earSays); strings.Count(got, ".") != 1 {
			t.Errorf("%s is said in more than a sentence: %s", name, got)
		}
		if !value[bool](t, ctx, `!document.querySelector("[data-ear-listen]").hidden && !document.querySelector("[data-ear-listen]").disabled`) {
			t.Errorf("after %s it cannot be tried again", name)
		}
	}
	// A browser that keeps a processing on, and a microphone that goes away.
	do(t, ctx, chromedp.Evaluate[chromedp.Void](`navigator.mediaDevices.getUserMedia = async (wanted) => {
  const stream = await ask(wanted);
  window.track = stream.getAudioTracks()[0];
  const settings = track.getSettings();
  track.getSettings = () => ({ ...settings, autoGainControl: true, noiseSuppression: true });
  return stream;
}`))
	press(t, ctx, "data-ear-listen")
	until(t, ctx, earSays+`.startsWith("The browser keeps noise suppression and automatic gain control on, which spoils ticks: choose another microphone or browser.")`)
	do(t, ctx, chromedp.Evaluate[chromedp.Void](`track.dispatchEvent(new Event("ended"))`))
	until(t, ctx, earSays+` === "The microphone was taken away: plug it in again, and listen anew."`)
	for over, end := false, time.Now().Add(10*time.Second); !over && time.Now().Before(end); time.Sleep(20 * time.Millisecond) {
		p.look(func() { over = p.done > 0 })
	}
	p.look(func() {
		if p.done != 1 || !strings.Contains(string(p.hellos[0].Settings), `"autoGainControl":true`) {
			t.Errorf("done %d times, hellos %+v", p.done, p.hellos)
		}
	})
	// A telephone that takes the sound away while the page is hidden.
	press(t, ctx, "data-ear-listen")
	until(t, ctx, earSays+`.startsWith("The browser keeps")`)
	do(t, ctx, chromedp.Evaluate[chromedp.Void](`Object.defineProperty(document, "hidden", { get: () => true }); Object.defineProperty(track, "muted", { get: () => true }); track.dispatchEvent(new Event("mute"));`))
	until(t, ctx, earSays+`.startsWith("This device gives no sound while the page is hidden: keep it in view.")`)
}

// TestForbidden asks a browser that gives no microphone, and a page that came
// over plain http from elsewhere.
func TestForbidden(t *testing.T) {
	t.Parallel()
	p := newPier(t, map[string]string{"listen": listenPage})
	ctx := browser(t, chromedp.Flag("use-fake-device-for-media-stream", true), chromedp.Flag("host-resolver-rules", "MAP workshop.test 127.0.0.1"))
	openEar(t, ctx, p, "listen")
	press(t, ctx, "data-ear-listen")
	until(t, ctx, earSays+` === "The browser was not allowed the microphone: allow it in the settings of this page, or send a recording."`)
	at, err := url.Parse(p.served.URL)
	if err != nil {
		t.Fatal(err)
	}
	open(t, ctx, "http://workshop.test:"+at.Port()+"/listen")
	until(t, ctx, earSays+`.startsWith("The browser gives the microphone only to a page that comes over https or from this computer itself")`)
	if !value[bool](t, ctx, `document.querySelector("[data-ear-listen]").disabled`) {
		t.Error("the button can be pressed")
	}
}

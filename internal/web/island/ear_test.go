package island_test

import (
	"flag"
	"fmt"
	"math"
	"slices"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"timeball/internal/web/earpiece"
)

var sounding = flag.Duration("sounding", 20*time.Second, "how long the microphone is listened to")

// witness takes the stream that the page asks for and writes down when Chromium
// says that each click was captured, ms of performance.now.
const witness = `(() => {
  const ask = navigator.mediaDevices.getUserMedia.bind(navigator.mediaDevices);
  window.captured = [];
  navigator.mediaDevices.getUserMedia = async (wanted) => {
    const stream = await ask(wanted);
    const reader = new MediaStreamTrackProcessor({ track: stream.getAudioTracks()[0].clone(), maxBufferSize: 1000 }).readable.getReader();
    (async () => {
      for (;;) {
        const { value, done } = await reader.read();
        if (done) return;
        const x = new Float32Array(value.numberOfFrames);
        value.copyTo(x, { planeIndex: 0, format: "f32-planar" });
        const k = x.findIndex((v) => Math.abs(v) > 0.2);
        // The fake microphone stamps a buffer when it is whole; others stamp its first frame.
        const at = (value.timestamp - value.duration) / 1000 + 1000 * k / value.sampleRate;
        if (k >= 0 && !(at - captured.at(-1) < 250)) captured.push(at);
        value.close();
      }
    })();
    return stream;
  };
})();`

// TestSoundArrives listens for a while to a file with a click in each half second
// by both ways, breaks the connection off meanwhile and has the page stall. The sound arrives whole
// and sample by sample as it is in the file; the UTC of the clicks is steady to
// 5 ms; and it is compared with when Chromium says by the stamps of the
// microphone's own buffers (W3C, WebCodecs, AudioData.timestamp) that the same
// clicks were captured.
func TestSoundArrives(t *testing.T) {
	for _, capture := range []string{"track", "graph"} {
		t.Run(capture, func(t *testing.T) {
			t.Parallel()
			sound, file := tape(t, fakeHz, 20)
			p := newPier(t, map[string]string{"bare": `<body>`})
			ctx := browser(t, microphone(file)...)
			onEachPage(t, ctx, wrongClock)
			onEachPage(t, ctx, witness)
			openEar(t, ctx, p, "bare")
			until(t, ctx, `clock.state.measured`)
			rate := value[float64](t, ctx, fmt.Sprintf(`(async () => {
  window.ear = new listening.Ear(clock, { capture: %q });
  await ear.open();
  window.line = new listening.Line("/listen/one/sound", { rate_hz: ear.rateHz, device_label: ear.label, device_key: ear.key, settings: ear.settings, latency_s: ear.latencyS, capture: ear.capture });
  ear.addEventListener("chunk", ({ detail }) => line.send(detail));
  return ear.rateHz;
})()`, capture))
			if rate != fakeHz {
				t.Fatalf("the microphone gives %v frames a second; the file has %d", rate, fakeHz)
			}
			time.Sleep(*sounding / 3)
			p.cut(1500 * time.Millisecond)
			time.Sleep(*sounding / 6)
			p.cut(100 * time.Millisecond)
			// A page that is busy reads late and hears all the same.
			do(t, ctx, chromedp.Evaluate[chromedp.Void](`for (const until = performance.now() + 1500; performance.now() < until;);`))
			time.Sleep(*sounding/2 - 3100*time.Millisecond)
			truth := value[float64](t, ctx, `truth`)
			steadiness := value[map[string]float64](t, ctx, `ear.steadiness`)
			if words := value[string](t, ctx, `ear.words + line.words`); words != "" {
				t.Errorf("the page says %q", words)
			}
			if !value[bool](t, ctx, `(ear.close(), line.stop())`) {
				t.Error("the end of the sound did not arrive")
			}
			captured := value[[]float64](t, ctx, `captured`)
			p.mu.Lock()
			defer p.mu.Unlock()
			if len(p.hellos) < 3 || p.hellos[0].Resume || !p.hellos[2].Resume || p.done != 1 {
				t.Errorf("%d hellos, done %d times", len(p.hellos), p.done)
			}
			if h := p.hellos[0]; h.Capture != capture || h.DeviceLabel == "" || h.DeviceKey == "" || h.LatencyS == nil {
				t.Errorf("hello %+v", h)
			}

			// Where the graph wants sound before it has come, Chromium fills in zeros,
			// of which the file has none, and goes on afterwards: nothing is lost.
			var heard []int16
			filled, lost := 0, int64(0)
			whole := longest(p.chunks)
			for k, c := range p.chunks {
				// A machine too busy for its fake microphone lets it pause, and so does the stamp.
				if k > 0 && c.Missing != c.Lost {
					t.Errorf("chunk %d at frame %d: %d lost, %d missing", k, c.Start, c.Lost, c.Missing)
				}
				lost += c.Lost
				for _, v := range c.Samples {
					if v == 0 {
						filled++
						continue
					}
					heard = append(heard, int16(math.Round(float64(v)*32768)))
				}
			}
			if most := map[string]int{"track": 0, "graph": fakeHz}[capture]; filled > most {
				t.Errorf("%d frames are filled in", filled)
			}
			if lost > fakeHz {
				t.Errorf("%d frames are lost", lost)
			}
			from := 0
			for from < len(sound) && !slices.Equal(heard[:50], turned(sound, from, 50)) {
				from++
			}
			wrong := 0
			for k, v := range heard {
				if v != sound[(from+k)%len(sound)] {
					wrong++
				}
			}
			if wrong != 0 || float64(len(heard)) < 0.9*sounding.Seconds()*fakeHz {
				t.Errorf("%d of %d frames differ from the file", wrong, len(heard))
			}

			var clicks, utc, late, off []float64
			last := int64(-fakeHz)
			for _, c := range whole {
				for k, v := range c.Samples {
					at := c.Start + int64(k)
					if math.Abs(float64(v)) <= 0.2 || at-last < fakeHz/4 {
						continue
					}
					last = at
					utcMS := float64(c.Ended.UnixMicro())/1000 - float64(c.End()-at)*1000/fakeHz
					clicks, utc = append(clicks, float64(at)), append(utc, utcMS)
					near := math.Inf(1)
					for _, perf := range captured {
						if d := utcMS - (perf + truth); math.Abs(d) < math.Abs(near) {
							near = d
						}
					}
					late = append(late, near)
				}
			}
			for _, u := range utc {
				off = append(off, math.Remainder(u-utc[0], 500))
			}
			middle := at(late, 0.5)
			t.Logf("%s: %d clicks; beat phase within %.2f ms; stamped %.2f ms after capture (%.2f to %.2f); spread of the clock's readings %.3f ms, quickest arrival %.2f ms after; latency said %v s; %d frames filled in, %d lost",
				capture, len(clicks), at(off, 1)-at(off, 0), middle, at(late, 0), at(late, 1), steadiness["spreadMs"], steadiness["lagMs"], *p.hellos[0].LatencyS, filled, lost)
			if n := int(0.6 * sounding.Seconds()); len(clicks) < n {
				t.Errorf("%d clicks, want %d", len(clicks), n)
			}
			// Zeros that the graph fills in push back what follows.
			if d := at(off, 1) - at(off, 0); d > 5+1000*float64(filled)/fakeHz {
				t.Errorf("the phase of the beat moves by %.2f ms", d)
			}
			// Sound cannot be stamped before it was captured, but for the bound of the device.
			if most := map[string]float64{"track": 2, "graph": 60}[capture]; middle < -1 || middle > most {
				t.Errorf("clicks are stamped %.2f ms after they were captured, want 0 to %.0f", middle, most)
			}
		})
	}
}

// longest returns the longest stretch of chunks that are placed on UTC and
// without a break.
func longest(chunks []earpiece.Chunk) []earpiece.Chunk {
	best, from := chunks[:0], 0
	for k, c := range chunks {
		if c.Lost > 0 {
			from = k
		}
		if c.Gap || c.Ended.IsZero() {
			from = k + 1
		}
		if k+1-from > len(best) {
			best = chunks[from : k+1]
		}
	}
	return best
}

// turned returns n samples of a sound that is played over and over.
func turned(sound []int16, from, n int) []int16 {
	x := make([]int16, n)
	for k := range x {
		x[k] = sound[(from+k)%len(sound)]
	}
	return x
}

// TestResampled listens to a file of 48 kHz, which the fake microphone brings to
// its own sampling frequency: the clicks stay half a second apart.
func TestResampled(t *testing.T) {
	t.Parallel()
	_, file := tape(t, 48000, 4)
	p := newPier(t, map[string]string{"bare": `<body>`})
	ctx := browser(t, microphone(file)...)
	openEar(t, ctx, p, "bare")
	for _, capture := range []string{"track", "graph"} {
		got := value[[]float64](t, ctx, fmt.Sprintf(`(async () => {
  const ear = new listening.Ear(clock, { capture: %q });
  const clicks = [];
  ear.addEventListener("chunk", ({ detail: { start, samples } }) => samples.forEach((v, k) => { if (Math.abs(v) > 0.2 && !(start + k - clicks.at(-1) < ear.rateHz / 4)) clicks.push(start + k); }));
  await ear.open();
  await new Promise((done) => setTimeout(done, 2800));
  ear.close();
  return clicks.slice(1).map((c, k) => (c - clicks[k]) / ear.rateHz);
})()`, capture))
		if len(got) < 4 {
			t.Errorf("%s: %d clicks in 2.8 s", capture, len(got)+1)
		}
		for _, s := range got {
			if math.Abs(s-0.5) > 2.0/fakeHz {
				t.Errorf("%s: clicks are %.6f s apart", capture, s)
			}
		}
	}
}

const room = `(() => {
  // A room in which what is played is heard after a while, beside noise.
  window.room = (delayS, gain) => {
    const context = new AudioContext();
    const ear = context.createMediaStreamDestination();
    const away = new DelayNode(context, { delayTime: delayS, maxDelayTime: 1 });
    const level = new GainNode(context, { gain });
    level.connect(away).connect(ear);
    const noise = new AudioBuffer({ length: 8 * context.sampleRate, sampleRate: context.sampleRate });
    let seed = 1;
    noise.copyToChannel(Float32Array.from({ length: noise.length }, () => { seed = (seed * 16807) % 2147483647; return 0.01 * (seed / 1073741824 - 1); }), 0);
    const source = new AudioBufferSourceNode(context, { buffer: noise, loop: true });
    source.connect(ear);
    source.start();
    navigator.mediaDevices.getUserMedia = async () => ear.stream.clone();
    return { context, destination: level, away };
  };
})();`

// TestTone plays the check tone into a room, carries its wall 200 ms farther
// away, and plays it again: it takes 200 ms longer.
func TestTone(t *testing.T) {
	t.Parallel()
	p := newPier(t, map[string]string{"bare": `<body>`})
	ctx := browser(t, microphone("")...)
	onEachPage(t, ctx, room)
	openEar(t, ctx, p, "bare")
	got := value[map[string]struct {
		Near, Far struct {
			Trip   float64 `json:"round_trip_s"`
			Spread float64 `json:"spread_s"`
			Out    float64 `json:"output_latency_s"`
		}
		FilledS float64
		Words   string
	}](t, ctx, `(async () => {
  const all = await Promise.all(["track", "graph"].map(async (capture) => {
    const out = room(0.05, 0.1);
    const ear = new listening.Ear(clock, { capture });
    let filled = 0; // frames of exact zeros, of which the room has none: they put off what follows
    ear.addEventListener("chunk", ({ detail }) => { for (const v of detail.samples) if (v === 0) filled++; });
    await ear.open();
    // What is filled in between two of the three makes them disagree.
    const tone = async () => { for (let k = 0; ; k++) try { return await listening.checkTone(ear, out); } catch (fault) { if (k === 3) throw fault; } };
    const Near = await tone();
    filled = 0;
    out.away.delayTime.value = 0.25;
    const Far = await tone();
    const FilledS = filled / ear.rateHz;
    out.destination.gain.value = 0.0005;
    const Words = await listening.checkTone(ear, out).catch((fault) => fault.message);
    ear.close();
    out.context.close();
    return [capture, { Near, Far, FilledS, Words }];
  }));
  return Object.fromEntries(all);
})()`)
	for _, capture := range []string{"track", "graph"} {
		g := got[capture]
		t.Logf("%s: %+v", capture, g)
		if d := g.Far.Trip - g.Near.Trip; d < 0.199 || d > 0.201+g.FilledS {
			t.Errorf("%s: 200 ms more take %.1f ms more, %.1f ms are filled in", capture, 1000*d, 1000*g.FilledS)
		}
		if g.Near.Trip < 0.049 || g.Near.Trip > 0.2 {
			t.Errorf("%s: the round trip takes %.1f ms, of which 50 are in the room", capture, 1000*g.Near.Trip)
		}
		if g.Near.Spread > 0.002 || g.Far.Spread > 0.002 {
			t.Errorf("%s: the three tones are spread over %.2f and %.2f ms", capture, 1000*g.Near.Spread, 1000*g.Far.Spread)
		}
		if g.Words != "The check tone was not heard: turn the sound of this device up, bring the microphone near, and play it again." {
			t.Errorf("%s: of a tone below the noise it says %q", capture, g.Words)
		}
	}
}

// TestParts tries the parts that need no microphone.
func TestParts(t *testing.T) {
	t.Parallel()
	p := newPier(t, map[string]string{"bare": `<body>`})
	ctx := browser(t)
	openEar(t, ctx, p, "bare")
	for _, c := range []struct{ name, script, want string }{
		{"blocks become chunks", `gathered(0, (g) => { for (let k = 0; k < 40; k++) g.add(1000 + 128 * k, [ones(128), ones(128)], 128); g.flush(); })`, "1000+2048 3048+2048 5096+1024"},
		{"any length of block", `gathered(0, (g) => { for (let k = 0; k < 10; k++) g.add(441 * k, [ones(441)], 441); })`, "0+2048 2048+2048"},
		{"a step is lost", `gathered(0, (g) => { g.add(0, [ones(128)], 128); g.add(384, [ones(128)], 128); g.flush(); })`, "0+128 384+128-256"},
		{"zeros in all channels are a gap", `gathered(0, (g) => { for (const v of [1, 0, 0, 1]) g.add(g.at = (g.at ?? -128) + 128, [new Float32Array(128).fill(v), new Float32Array(128)], 128); g.flush(); })`, "0+128 128+256 gap 384+128"},
		{"zeros in one are not", `gathered(0, (g) => { g.add(0, [new Float32Array(128), ones(128)], 128); g.flush(); })`, "0+128"},
		{"no input is a gap", `gathered(0, (g) => { g.add(0, [], 128); g.add(128, [ones(128)], 128); g.flush(); })`, "0+128 gap 128+128"},
		{"the chosen channel", `(() => { let got = 0; const g = new listening.Gatherer(1, (c) => { got = c.samples[5]; }); g.add(0, [ones(128), ones(128).fill(0.25)], 128); g.flush(); return String(got); })()`, "0.25"},
		{"late stamps", `counted([0, 10, 20, 30, 40, 50, 60, 84, 80, 90])`, "0 441 882 1323 1764 2205 2646 3087 3528 3969"},
		{"lost buffers", `counted([0, 10, 20, 30, 40, 50, 80, 90, 100.5, 110, 120, 130])`, "0 441 882 1323 1764 2205 3528 3969 4410 4851 5292 5733"},
		{"stamps of the device", `stamped(true, 7, 20)`, "1007"},
		{"stamps of another clock", `stamped(true, -5e5, 20)`, "1020"},
		{"stamps of the output", `stamped(false, 30, 20)`, "1020"},
		{"the first 2 s", `(() => { const s = new listening.Stamps(1000, true); for (let k = 0; k < 1900; k += 10) { s.tell(k, k + 7); s.arrive(k, k + 20); } return String(s.at(1000)); })()`, "NaN"},
		{"a quicker arrival later", `(() => { const s = new listening.Stamps(1000, false); for (let k = 0; k < 9000; k += 10) { s.tell(k, k + 30); s.arrive(k, k + (k < 3000 ? 20 : 14)); } return s.at(1000).toFixed(0); })()`, "1020"},
		{"a clock set anew", `(() => { const s = new listening.Stamps(1000, true); for (let k = 0; k < 9000; k += 10) { s.tell(k, k + (k < 4000 ? 7 : 107)); s.arrive(k, k + 20); } return s.at(1000).toFixed(0); })()`, "1020"},
		{"no stamps", `(() => { const s = new listening.Stamps(1000, false); for (let k = 0; k < 50; k++) s.arrive(k, k + 20 + (k % 7)); return s.at(1000).toFixed(0); })()`, "1020"},
		{"too faint", `level((k) => 0.001)`, "too faint"},
		{"ticks", `level((k) => (k % 4000 < 20 ? 0.1 : 0.0001))`, ""},
		{"clipping", `level((k) => (k % 4000 < 5 ? 1 : 0.01))`, "clipping"},
		{"level of a sine", `(() => { const l = new listening.Level(8000); l.add(Float32Array.from({ length: 8000 }, (_, k) => 0.5 * Math.sin(2 * Math.PI * k / 80))); const { peak, rms } = l.last(4); return peak.toFixed(4) + " " + rms.toFixed(4); })()`, "0.5000 0.3536"},
		{"the wire", `[...new Uint8Array(listening.wire({ start: 2048, samples: Float32Array.of(0.5), lost: 7, gap: true, utcMs: NaN, boundMs: 4 }))].map((b) => b.toString(16).padStart(2, "0")).join("")`,
			"54425331" + "01000000" + "000000000000a040" + "000000000000f87f" + "0000000000001040" + "07000000" + "01000000" + "0000003f"},
	} {
		if got := value[string](t, ctx, `(() => {
  const ones = (n) => new Float32Array(n).fill(1);
  const gathered = (channel, act) => { const said = []; act(new listening.Gatherer(channel, (c) => said.push(c.start + "+" + c.samples.length + (c.lost ? "-" + c.lost : "") + (c.gap ? " gap" : "")))); return said.join(" "); };
  const counted = (stamps) => { const said = []; const c = new listening.Counter(44100, (_, frame) => said.push(frame)); for (const ms of stamps) c.add(null, 441, ms); return said.join(" "); };
  const stamped = (absolute, told, arrived) => { const s = new listening.Stamps(1000, absolute); for (let k = 0; k < 2500; k += 10) { s.tell(k, k + told + (k % 3) - 1); s.arrive(k, k + arrived + (k % 50)); } return s.at(1000).toFixed(0); };
  const level = (f) => { const l = new listening.Level(8000); l.add(Float32Array.from({ length: 26000 }, (_, k) => f(k))); return l.words; };
  return `+c.script+`;
})()`); got != c.want {
			t.Errorf("%s: %q, want %q", c.name, got, c.want)
		}
	}
}

// TestGivenUp sends 70 s of sound while there is no connection: the last 60 s
// arrive, and the loss is said.
func TestGivenUp(t *testing.T) {
	t.Parallel()
	p := newPier(t, map[string]string{"bare": `<body>`})
	p.away = true
	ctx := browser(t)
	openEar(t, ctx, p, "bare")
	do(t, ctx, chromedp.Evaluate[chromedp.Void](`window.line = new listening.Line("/listen/one/sound", { rate_hz: 8000 });
for (let k = 0; k < 700; k++) line.send({ start: 800 * k, samples: new Float32Array(800).fill(k / 1000), lost: 0, gap: false, utcMs: NaN, boundMs: NaN });
line.say({ tone: { round_trip_s: 0.1, spread_s: 0, output_latency_s: 0 } });`))
	until(t, ctx, `line.words === "There is no connection to the computer of the workshop: the last 60 s of sound are kept and sent when it is back. 10 s of sound were given up while there was no connection."`)
	p.look(func() { p.away = false })
	until(t, ctx, `line.words === "10 s of sound were given up while there was no connection."`)
	if !value[bool](t, ctx, `line.stop()`) {
		t.Error("the sound did not arrive")
	}
	p.look(func() {
		if len(p.chunks) != 600 || p.chunks[0].Start != 80000 || p.chunks[599].End() != 560000 || p.chunks[599].Samples[0] != 0.699 || len(p.tones) != 1 || p.done != 1 {
			t.Errorf("%d chunks arrived from frame %d, %d tones, done %d times", len(p.chunks), p.chunks[0].Start, len(p.tones), p.done)
		}
	})
}

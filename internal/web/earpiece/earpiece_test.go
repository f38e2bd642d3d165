package earpiece_test

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"net/http/httptest"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/coder/websocket"

	"timeball/internal/web/earpiece"
)

// desk is an ear that writes down what it hears.
type desk struct {
	mu     sync.Mutex
	hellos []earpiece.Hello
	heard  []float32
	chunks []earpiece.Chunk
	tones  []earpiece.Tone
	done   int
	have   int64
	refuse error
	slow   time.Duration // takes this long for a chunk
	panel  func() (string, int64)
	asked  int // times the panel was
}

func (d *desk) Hello(h earpiece.Hello) (int64, error) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.hellos = append(d.hellos, h)
	if h.DeviceLabel == "a telephone" {
		return 0, errors.New("this microphone is not listened to")
	}
	return d.have, nil
}

func (d *desk) Take(c earpiece.Chunk) error {
	d.mu.Lock()
	defer d.mu.Unlock()
	time.Sleep(d.slow)
	if d.refuse != nil {
		return d.refuse
	}
	d.chunks = append(d.chunks, c)
	d.heard = append(d.heard, c.Samples...)
	d.have = c.End()
	return nil
}

func (d *desk) Tone(t earpiece.Tone) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.tones = append(d.tones, t)
}

func (d *desk) Panel(context.Context) (string, int64) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.asked++
	if d.panel != nil {
		return d.panel()
	}
	return fmt.Sprintf("<p>%d chunks</p>", len(d.chunks)), int64(len(d.chunks))
}

func (d *desk) Done() {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.done++
}

func (d *desk) look(see func()) {
	d.mu.Lock()
	defer d.mu.Unlock()
	see()
}

// quay serves a desk and keeps what Serve returned.
type quay struct {
	*httptest.Server
	ended chan error
}

func open(t *testing.T, d *desk, o earpiece.Options) quay {
	t.Helper()
	q := quay{ended: make(chan error, 10)}
	if o.Seat == nil {
		o.Seat = &earpiece.Seat{}
	}
	q.Server = httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) { q.ended <- earpiece.Serve(w, r, d, o) }))
	t.Cleanup(q.Close)
	return q
}

func (q quay) end(t *testing.T) error {
	t.Helper()
	select {
	case err := <-q.ended:
		return err
	case <-time.After(8 * time.Second):
		t.Fatal("the connection does not end")
		return nil
	}
}

// page is the other end.
type page struct {
	t *testing.T
	*websocket.Conn
	ctx context.Context
}

func dial(t *testing.T, q quay) page {
	t.Helper()
	ctx, stop := context.WithTimeout(t.Context(), 10*time.Second)
	t.Cleanup(stop)
	c, _, err := websocket.Dial(ctx, q.URL, nil)
	if err != nil {
		t.Fatal(err)
	}
	c.SetReadLimit(1 << 24)
	t.Cleanup(func() { _ = c.CloseNow() })
	return page{t, c, ctx}
}

func (p page) send(kind websocket.MessageType, b []byte) {
	p.t.Helper()
	if err := p.Write(p.ctx, kind, b); err != nil {
		p.t.Fatal(err)
	}
}

func (p page) say(s string) { p.t.Helper(); p.send(websocket.MessageText, []byte(s)) }

func (p page) chunk(start int, lost uint32, samples ...float32) {
	p.t.Helper()
	p.send(websocket.MessageBinary, wire(float64(start), 1772366400500, 4.5, lost, 0, samples...))
}

// hear reads until a message says something, and returns it.
func (p page) hear(key string) any {
	p.t.Helper()
	for {
		_, b, err := p.Read(p.ctx)
		if err != nil {
			p.t.Fatalf("no %q comes: %v", key, err)
		}
		var m map[string]any
		if err := json.Unmarshal(b, &m); err != nil {
			p.t.Fatal(err)
		}
		if v, ok := m[key]; ok {
			return v
		}
	}
}

// wait reads until all frames before have were taken.
func (p page) wait(have int) {
	p.t.Helper()
	for p.hear("have") != float64(have) {
	}
}

func hello(resume bool) string {
	return fmt.Sprintf(`{"hello":{"rate_hz":48000,"device_label":"a pick-up","device_key":"k","settings":{"autoGainControl":false},"latency_s":0.01,"resume":%v}}`, resume)
}

var quick = earpiece.Options{HaveEvery: 10 * time.Millisecond, PanelEvery: 20 * time.Millisecond}

// count returns n samples that count on from first.
func count(first, n int) []float32 {
	x := make([]float32, n)
	for k := range x {
		x[k] = float32(first+k) / 1e6
	}
	return x
}

// TestResume cuts the connection, sends again what was not acknowledged, and
// asks for the whole sound, once and in order.
func TestResume(t *testing.T) {
	d := &desk{}
	q := open(t, d, quick)
	p := dial(t, q)
	p.say(hello(false))
	p.wait(0)
	// The first frame of a device that listens is not 0.
	p.chunk(512, 512, count(512, 100)...)
	p.chunk(612, 0, count(612, 100)...)
	p.wait(712)
	_ = p.CloseNow()
	if err := q.end(t); err == nil {
		t.Error("a connection that is cut ends as if the sound were over")
	}
	p = dial(t, q)
	p.say(hello(true))
	p.wait(712)
	p.chunk(512, 512, count(512, 100)...)
	p.chunk(612, 0, count(612, 200)...) // reaches beyond what was had
	p.chunk(812, 0, count(812, 50)...)
	p.chunk(892, 30, count(892, 8)...) // 30 frames never came
	p.chunk(862, 0, count(862, 10)...) // too late
	p.say(`{"tone":{"round_trip_s":0.07,"spread_s":0.001,"output_latency_s":0.03}}`)
	p.say(`{"do":"stop"}`)
	p.wait(900)
	if got := p.hear("panel"); got != "<p>5 chunks</p>" {
		t.Errorf("the last panel is %v", got)
	}
	if got := p.hear("done"); got != true {
		t.Errorf("done: %v", got)
	}
	if _, _, err := p.Read(p.ctx); websocket.CloseStatus(err) != websocket.StatusNormalClosure {
		t.Errorf("it is closed by %v", err)
	}
	if err := q.end(t); err != nil {
		t.Error(err)
	}
	if want := append(count(512, 350), count(892, 8)...); !slices.Equal(d.heard, want) {
		t.Errorf("heard %d frames, want %d in order", len(d.heard), len(want))
	}
	missing := []int64{}
	for _, c := range d.chunks {
		missing = append(missing, c.Missing)
	}
	if !slices.Equal(missing, []int64{0, 0, 0, 0, 30}) {
		t.Errorf("missing before the chunks: %v", missing)
	}
	if got := d.chunks[0]; got.Lost != 512 || got.BoundS != 0.0045 || d.chunks[4].Lost != 30 {
		t.Errorf("the first chunk is %+v", got)
	}
	if d.done != 1 || len(d.tones) != 1 || d.tones[0] != (earpiece.Tone{RoundTripS: 0.07, SpreadS: 0.001, OutputLatencyS: 0.03}) {
		t.Errorf("done %d times, tones %+v", d.done, d.tones)
	}
	if h := d.hellos; len(h) != 2 || h[0].Resume || !h[1].Resume || h[0].RateHz != 48000 || *h[0].LatencyS != 0.01 || string(h[0].Settings) != `{"autoGainControl":false}` {
		t.Errorf("hellos %+v", h)
	}
}

// TestAnew begins a second sound: frames are counted from the beginning again.
func TestAnew(t *testing.T) {
	d := &desk{have: 5000}
	q := open(t, d, quick)
	p := dial(t, q)
	p.say(hello(false))
	p.wait(0)
	p.chunk(0, 0, 1, 2, 3)
	p.wait(3)
	d.look(func() {
		if len(d.heard) != 3 || d.chunks[0].Missing != 0 {
			t.Errorf("heard %v", d.chunks)
		}
	})
}

// TestRefused asks that the reason is said, and that the page is told by the
// code not to come again.
func TestRefused(t *testing.T) {
	for _, c := range []struct {
		name   string
		refuse error
		send   func(page)
		says   string
	}{
		{"sound before hello", nil, func(p page) { p.chunk(0, 0, 1) }, "before its hello"},
		{"no JSON", nil, func(p page) { p.say(`hello`) }, "cannot be read"},
		{"stop before hello", nil, func(p page) { p.say(`{"do":"stop"}`) }, "before its hello"},
		{"no rate", nil, func(p page) { p.say(`{"hello":{}}`) }, "0 frames a second"},
		{"the ear does not want it", nil, func(p page) { p.say(`{"hello":{"rate_hz":8000,"device_label":"a telephone"}}`) }, "This microphone is not"},
		{"hello twice", nil, func(p page) { p.say(hello(false)); p.say(hello(true)) }, "hello twice"},
		{"a bad head", nil, func(p page) { p.say(hello(false)); p.send(websocket.MessageBinary, []byte("RIFF")) }, "The sound cannot be read"},
		{"an absurd frame", nil, func(p page) { p.say(hello(false)); p.chunk(-5, 0, 1) }, "cannot begin at frame -5"},
		{"a day later", nil, func(p page) { p.say(hello(false)); p.chunk(0, 0, 1); p.chunk(25*3600*48000, 0, 1) }, "25 h are missing"},
		{"the ear is full", errors.New("no room is left for the sound; delete old recordings"), func(p page) { p.say(hello(false)); p.chunk(0, 0, 1) }, "No room is left for the sound; delete old recordings."},
	} {
		d := &desk{refuse: c.refuse}
		q := open(t, d, quick)
		p := dial(t, q)
		c.send(p)
		if got, _ := p.hear("say").(string); !strings.Contains(got, c.says) || !strings.HasSuffix(got, ".") {
			t.Errorf("%s: the page is told %q, want %q", c.name, got, c.says)
		}
		if _, _, err := p.Read(p.ctx); websocket.CloseStatus(err) != websocket.StatusPolicyViolation {
			t.Errorf("%s: it is closed by %v", c.name, err)
		}
		if err := q.end(t); err == nil || !strings.Contains(strings.ToLower(err.Error()), strings.ToLower(strings.TrimSuffix(c.says, "."))) {
			t.Errorf("%s: Serve returns %v", c.name, err)
		}
	}
}

// TestAbsurdTone asks that a check tone that cannot be keeps the sound going.
func TestAbsurdTone(t *testing.T) {
	d := &desk{}
	p := dial(t, open(t, d, quick))
	p.say(hello(false))
	p.say(`{"tone":{"round_trip_s":40,"spread_s":0,"output_latency_s":0}}`)
	if got, _ := p.hear("say").(string); !strings.Contains(got, "40 s") {
		t.Errorf("said %q", got)
	}
	p.say(`{"later":"a word this one does not know"}`)
	p.chunk(0, 0, 1)
	p.wait(1)
	d.look(func() {
		if len(d.tones) != 0 {
			t.Errorf("tones %v", d.tones)
		}
	})
}

func TestTooLong(t *testing.T) {
	d := &desk{}
	q := open(t, d, quick)
	p := dial(t, q)
	p.say(hello(false))
	_ = p.Write(p.ctx, websocket.MessageBinary, make([]byte, earpiece.MostMessage+1)) // may be cut off on the way
	for {
		if _, _, err := p.Read(p.ctx); err != nil {
			if websocket.CloseStatus(err) != websocket.StatusMessageTooBig {
				t.Errorf("it is closed by %v", err)
			}
			break
		}
	}
	if err := q.end(t); !errors.Is(err, earpiece.ErrChunk) {
		t.Errorf("Serve returns %v", err)
	}
}

// TestOrigin turns a page of another host away, as RFC 6455, section 10.2, has
// it, and what is no WebSocket.
func TestOrigin(t *testing.T) {
	q := open(t, &desk{}, quick)
	_, answer, err := websocket.Dial(t.Context(), q.URL, &websocket.DialOptions{HTTPHeader: http.Header{"Origin": {"https://elsewhere.example"}}})
	if err == nil || answer.StatusCode != http.StatusForbidden {
		t.Errorf("a page of another origin is let in: %v", err)
	}
	if err := q.end(t); err == nil {
		t.Error("Serve returns nil")
	}
	c, _, err := websocket.Dial(t.Context(), q.URL, &websocket.DialOptions{HTTPHeader: http.Header{"Origin": {q.URL}}})
	if err != nil {
		t.Fatalf("a page of its own is turned away: %v", err)
	}
	_ = c.CloseNow()
	answer, err = http.Get(q.URL)
	if err != nil {
		t.Fatal(err)
	}
	_ = answer.Body.Close()
	if answer.StatusCode != http.StatusUpgradeRequired {
		t.Errorf("a plain request is answered %s", answer.Status)
	}
}

// TestSlowReader never reads: the panels it is owed do not queue up, and it is
// cut off.
func TestSlowReader(t *testing.T) {
	d := &desk{}
	version := int64(0)
	large := strings.Repeat("x", 1<<20)
	d.panel = func() (string, int64) { version++; return large, version }
	q := open(t, d, earpiece.Options{HaveEvery: time.Millisecond, PanelEvery: time.Millisecond, Patience: 300 * time.Millisecond})
	p := dial(t, q)
	p.say(hello(false))
	began := time.Now()
	if err := q.end(t); err == nil {
		t.Error("Serve returns nil")
	}
	if took := time.Since(began); took > 5*time.Second {
		t.Errorf("it is cut off only after %s", took)
	}
	// What was written lies in the buffers of the two ends of the socket.
	if d.asked > 64 {
		t.Errorf("%d panels of 1 MB were made for a page that reads none", d.asked)
	}
}

// TestSlowEar asks that a page that sends faster than its sound is taken waits
// and loses nothing.
func TestSlowEar(t *testing.T) {
	d := &desk{slow: 2 * time.Millisecond}
	p := dial(t, open(t, d, quick))
	p.say(hello(false))
	const chunks, frames = 100, 20000 // 8 MB, more than a socket holds
	go func() {
		for k := range chunks {
			if p.Write(p.ctx, websocket.MessageBinary, wire(float64(k*frames), nan, nan, 0, 0, count(k*frames, frames)...)) != nil {
				return // the wait below fails
			}
		}
	}()
	p.wait(chunks * frames)
	d.look(func() {
		if !slices.Equal(d.heard, count(0, chunks*frames)) {
			t.Errorf("heard %d frames", len(d.heard))
		}
	})
}

// TestSilent cuts off who opens a connection and says nothing.
func TestSilent(t *testing.T) {
	q := open(t, &desk{}, earpiece.Options{Patience: 50 * time.Millisecond})
	dial(t, q)
	if err := q.end(t); err == nil {
		t.Error("Serve returns nil")
	}
}

// TestGone cuts off a page that no longer answers a ping.
func TestGone(t *testing.T) {
	q := open(t, &desk{}, earpiece.Options{Patience: 100 * time.Millisecond, HaveEvery: time.Hour, PanelEvery: time.Hour})
	p := dial(t, q)
	p.say(hello(false)) // and never reads: a ping is answered by reading
	if err := q.end(t); err == nil {
		t.Error("Serve returns nil")
	}
}

// TestPanels asks that a panel comes only when it has changed.
func TestPanels(t *testing.T) {
	d := &desk{}
	p := dial(t, open(t, d, quick))
	p.say(hello(false))
	if got := p.hear("panel"); got != "<p>0 chunks</p>" {
		t.Errorf("the first panel is %v", got)
	}
	time.Sleep(100 * time.Millisecond)
	p.chunk(0, 0, 1)
	if got := p.hear("panel"); got != "<p>1 chunks</p>" {
		t.Errorf("the next panel is %v", got)
	}
}

// TestSeat lets a second connection take the place of one that hangs, and tells
// a page that is there not to come back.
func TestSeat(t *testing.T) {
	d := &desk{}
	q := open(t, d, quick)
	first := dial(t, q)
	first.say(hello(false))
	first.chunk(0, 0, count(0, 10)...)
	first.wait(10)
	second := dial(t, q) // the first neither reads nor answers meanwhile
	second.say(hello(true))
	second.chunk(10, 0, count(10, 10)...)
	second.wait(20)
	if err := q.end(t); err == nil {
		t.Error("the first ends as if the sound were over")
	}
	third := dial(t, q)
	gone := make(chan error, 1)
	go func() {
		for {
			if _, _, err := second.Read(second.ctx); err != nil {
				gone <- err
				return
			}
		}
	}()
	third.say(hello(true))
	third.wait(20)
	if err := <-gone; websocket.CloseStatus(err) != websocket.StatusPolicyViolation {
		t.Errorf("the second is closed by %v", err)
	}
	d.look(func() {
		if !slices.Equal(d.heard, count(0, 20)) {
			t.Errorf("heard %v", d.heard)
		}
	})
}

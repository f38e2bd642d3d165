package island_test

import (
	"context"
	"encoding/binary"
	"fmt"
	"math"
	"math/rand/v2"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"timeball/internal/web/earpiece"
)

// fakeHz is the sampling frequency of Chromium's fake microphone; a file of
// another one it resamples.
const fakeHz = 44100

// tape returns a sound of whole seconds with a click in every half one, and a
// file of it as mono 16-bit WAV (Microsoft and IBM, Multimedia Programming
// Interface, 1991: RIFF, "fmt " of 16 bytes, format 1). No sample of it is 0.
func tape(t *testing.T, rateHz, seconds int) (sound []int16, file string) {
	t.Helper()
	r := rand.New(rand.NewPCG(1, 2))
	sound = make([]int16, rateHz*seconds)
	for k := range sound {
		sound[k] = int16(1 + r.IntN(6))
		if r.IntN(2) == 0 {
			sound[k] = -sound[k]
		}
		if since := k%(rateHz/2) - rateHz/8; since >= 0 && since < 200 {
			sound[k] += int16(12000 * math.Exp(-float64(since)/40) * math.Cos(float64(since)/1.5))
			if sound[k] == 0 {
				sound[k] = 1
			}
		}
	}
	le := binary.LittleEndian
	head := append([]byte("RIFF"), le.AppendUint32(nil, uint32(36+2*len(sound)))...)
	head = append(head, "WAVEfmt "...)
	for _, v := range []any{uint32(16), uint16(1), uint16(1), uint32(rateHz), uint32(2 * rateHz), uint16(2), uint16(16)} {
		head, _ = binary.Append(head, le, v) // of a fixed size
	}
	head = append(head, "data"...)
	head = le.AppendUint32(head, uint32(2*len(sound)))
	head, _ = binary.Append(head, le, sound)
	file = filepath.Join(t.TempDir(), "tape.wav")
	if err := os.WriteFile(file, head, 0o600); err != nil {
		t.Fatal(err)
	}
	return sound, file
}

// microphone are the flags of a browser that hears a file, without asking.
func microphone(file string) []chromedp.ExecAllocatorOption {
	flags := []chromedp.ExecAllocatorOption{
		chromedp.Flag("use-fake-device-for-media-stream", true),
		chromedp.Flag("use-fake-ui-for-media-stream", true),
		chromedp.Flag("autoplay-policy", "no-user-gesture-required"),
	}
	if file != "" {
		flags = append(flags, chromedp.Flag("use-file-for-fake-audio-capture", file))
	}
	return flags
}

// pier is a quay at which sound is taken in.
type pier struct {
	*quay
	served *httptest.Server
	seat   earpiece.Seat

	mu      sync.Mutex
	away    bool // every connection is turned away
	leave   context.CancelFunc
	ends    []error
	hellos  []earpiece.Hello
	chunks  []earpiece.Chunk
	tones   []earpiece.Tone
	done    int
	forgets bool  // it does not know what it has
	refuse  error // what is said to the next chunk
}

func newPier(t *testing.T, bodies map[string]string) *pier {
	t.Helper()
	for name, body := range bodies {
		bodies[name] = body + `<script type="module" src="/listening.js"></script>`
	}
	p := &pier{quay: newQuay(t, bodies)}
	mux := http.NewServeMux()
	mux.Handle("/", p.Config.Handler)
	mux.HandleFunc("GET /listening.js", func(w http.ResponseWriter, r *http.Request) { http.ServeFile(w, r, "testdata/listening.js") })
	mux.HandleFunc("GET /listen/{session}/sound", p.sound)
	p.served = httptest.NewServer(mux)
	t.Cleanup(p.served.Close)
	return p
}

func (p *pier) sound(w http.ResponseWriter, r *http.Request) {
	p.mu.Lock()
	if p.away {
		p.mu.Unlock()
		http.Error(w, "away", http.StatusServiceUnavailable)
		return
	}
	ctx, leave := context.WithCancel(r.Context())
	defer leave()
	p.leave = leave
	p.mu.Unlock()
	err := earpiece.Serve(w, r.WithContext(ctx), p, earpiece.Options{Seat: &p.seat})
	p.mu.Lock()
	defer p.mu.Unlock()
	p.ends = append(p.ends, err)
}

// cut breaks the connection off and turns others away for a while.
func (p *pier) cut(d time.Duration) {
	p.mu.Lock()
	p.away = true
	p.leave()
	p.mu.Unlock()
	time.Sleep(d)
	p.mu.Lock()
	p.away = false
	p.mu.Unlock()
}

// look sees or changes what the pier is while nothing comes in.
func (p *pier) look(see func()) {
	p.mu.Lock()
	defer p.mu.Unlock()
	see()
}

func (p *pier) have() int64 {
	if len(p.chunks) == 0 || p.forgets {
		return 0
	}
	return p.chunks[len(p.chunks)-1].End()
}

func (p *pier) Hello(h earpiece.Hello) (int64, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.hellos = append(p.hellos, h)
	return p.have(), nil
}

func (p *pier) Take(c earpiece.Chunk) error {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.refuse != nil {
		return p.refuse
	}
	p.chunks = append(p.chunks, c)
	return nil
}

func (p *pier) Tone(t earpiece.Tone) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.tones = append(p.tones, t)
}

func (p *pier) Panel(context.Context) (string, int64) {
	p.mu.Lock()
	defer p.mu.Unlock()
	return fmt.Sprintf(`<p>%d chunks</p><button id="more">More</button>`, len(p.chunks)), int64(len(p.chunks))
}

func (p *pier) Done() {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.done++
}

// openEar opens a page of the pier and waits for the modules that listen.
func openEar(t *testing.T, ctx context.Context, p *pier, name string) {
	t.Helper()
	open(t, ctx, p.served.URL+"/"+name)
	until(t, ctx, `document.body.dataset.listening`)
}

// Package earpiece takes in the sound that a page hears, over one WebSocket
// (RFC 6455), and hands it on in order, once and whole.
//
// A chunk is one binary message, little-endian: uint32 magic 0x31534254, uint32
// count n of frames, float64 first frame, float64 UTC of the end of the chunk
// in ms since 1970 (NaN: not known), float64 bound of that in ms, uint32 frames
// lost before it, uint32 flags (bit 0: it holds a gap of exact zeros), n float32
// samples. All else is JSON text: from the page {"hello":{…}} before anything
// else, {"tone":{…}} and {"do":"stop"}; to the page {"have":frame}, meaning that
// all frames before it were taken, {"panel":"html"}, {"say":"sentence"} and
// {"done":true}.
package earpiece

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"sync"
	"time"

	"github.com/coder/websocket"
)

// mostMessage bounds a message, in bytes.
const mostMessage = 1 << 20

// Ear is who listens to the sound of one session. Hello, Take, Tone and Done
// are called one after the other, Panel at any time beside them.
type Ear interface {
	// Hello begins the sound or, if h.Resume is set, goes on with it after the
	// connection was cut: then have is the first frame not taken yet. An error
	// is said to the page, which does not try again.
	Hello(h Hello) (have int64, err error)
	// Take takes the next chunk; what it returns as nil was taken for good. An
	// error is said to the page, which does not try again.
	Take(c Chunk) error
	// Tone tells what a check tone gave.
	Tone(t Tone)
	// Panel returns the inside of the panel of the page, and a number that
	// changes whenever it does.
	Panel(ctx context.Context) (html string, version int64)
	// Done is called when the page says that the sound is over; a connection
	// that is cut is not the end.
	Done()
}

// Hello is what the page says of its microphone.
type Hello struct {
	RateHz      float64         `json:"rate_hz"`      // frames a second, nominal
	DeviceLabel string          `json:"device_label"` // as the browser names the microphone
	DeviceKey   string          `json:"device_key"`   // the same from day to day for one microphone of one browser
	Settings    json.RawMessage `json:"settings"`     // what the browser says it does with the sound, an object
	LatencyS    *float64        `json:"latency_s"`    // of the way through the microphone as the browser reports it, s; nil: it does not
	Capture     string          `json:"capture"`      // "track": counted and stamped by the microphone's clock; "graph": by the clock of the sound output
	Resume      bool            `json:"resume"`       // it was cut, and goes on
}

// Tone is what a check tone gave: it is played some times and heard back.
type Tone struct {
	RoundTripS     float64 `json:"round_trip_s"`     // from when the tone was given to the output to the stamp under which it was heard, s, median: stamps are late by 0 to this
	SpreadS        float64 `json:"spread_s"`         // greatest less least of it, s
	OutputLatencyS float64 `json:"output_latency_s"` // the output's part of it by the browser's account, s
}

// Options says how the sound is taken in. The zero value is fit for use.
type Options struct {
	Seat *Seat // of the session; nil: connections of one session are not kept apart

	HaveEvery  time.Duration // between acknowledgements; 0: 1 s
	PanelEvery time.Duration // at least, between panels; 0: 500 ms
	Patience   time.Duration // with a page that neither reads nor answers; 0: 15 s
}

func (o Options) whole() Options {
	set := func(d *time.Duration, to time.Duration) {
		if *d <= 0 {
			*d = to
		}
	}
	set(&o.HaveEvery, time.Second)
	set(&o.PanelEvery, 500*time.Millisecond)
	set(&o.Patience, 15*time.Second)
	if o.Seat == nil {
		o.Seat = &Seat{}
	}
	return o
}

// Seat is held by one connection of a session. The next one takes it: the one
// before may hang on a network that is gone.
type Seat struct {
	mu     sync.Mutex
	taking sync.Mutex
	leave  func()
}

// take has whoever holds the seat leave, waits until they have, and returns what
// gives the seat up.
func (s *Seat) take(leave func()) (giveUp func()) {
	s.mu.Lock()
	if s.leave != nil {
		s.leave()
	}
	s.leave = leave
	s.mu.Unlock()
	s.taking.Lock()
	return s.taking.Unlock
}

// errOusted is why a connection ends whose seat is taken.
var errOusted = errors.New("another connection goes on with it")

// lingers is how long the one that is ousted has to answer.
const lingers = 500 * time.Millisecond

// errDone ends a connection whose sound is over.
var errDone = errors.New("done")

// refusal is an error that is said to the page, which then does not come back.
type refusal struct{ error }

func (r refusal) Unwrap() error { return r.error }

// Serve takes the sound of a page until it is over, and returns nil, or until
// the connection is cut or the sound refused, and returns why. A page of
// another origin is turned away. It answers the request in every case.
func Serve(w http.ResponseWriter, r *http.Request, ear Ear, o Options) error {
	o = o.whole()
	socket, err := websocket.Accept(w, r, nil)
	if err != nil {
		return fmt.Errorf("sound from %s: %w", r.RemoteAddr, err)
	}
	defer func() { _ = socket.CloseNow() }()
	socket.SetReadLimit(mostMessage)
	ctx, cut := context.WithCancelCause(r.Context())
	defer cut(nil)
	defer o.Seat.take(func() {
		// A page that is there is told not to come back; one that is gone is not waited for.
		go func() { _ = socket.Close(websocket.StatusPolicyViolation, "another page listens in this place") }()
		time.AfterFunc(lingers, func() { cut(errOusted) })
	})()
	c := &connection{socket: socket, ear: ear, o: o}
	if err := c.serve(ctx); err != nil {
		return fmt.Errorf("sound from %s: %w", r.RemoteAddr, err)
	}
	return nil
}

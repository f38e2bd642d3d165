package earpiece

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"sync/atomic"
	"time"
	"unicode/utf8"

	"github.com/coder/websocket"
)

// connection is one socket of a session.
type connection struct {
	socket  *websocket.Conn
	ear     Ear
	o       Options
	rateHz  float64      // frames a second
	greeted bool         // it has said hello
	begun   bool         // a chunk was taken, so that have counts
	have    atomic.Int64 // first frame not taken yet
}

// serve reads until the end and tells beside that what was taken.
func (c *connection) serve(ctx context.Context) error {
	reading, gone := context.WithCancel(ctx)
	defer gone()
	hello, over, told := make(chan struct{}), make(chan struct{}), make(chan struct{})
	go func() {
		defer close(told)
		if err := c.tell(reading, hello, over); err != nil {
			gone() // a page that cannot be told anything is not listened to
		}
	}()
	err := c.read(reading, hello)
	// What is written last must not run beside what is told, and not be cut off with it.
	close(over)
	<-told
	var refused refusal
	switch {
	case errors.As(err, &refused):
		_ = c.write(ctx, map[string]any{"say": sentence(err)}) // it may be gone
		_ = c.socket.Close(websocket.StatusPolicyViolation, "the sound is refused")
		return err
	case !errors.Is(err, errDone):
		return err
	}
	html, _ := c.ear.Panel(ctx)
	for _, last := range []map[string]any{{"have": c.have.Load()}, {"panel": html}, {"done": true}} {
		if err := c.write(ctx, last); err != nil {
			return nil // the sound is over all the same
		}
	}
	_ = c.socket.Close(websocket.StatusNormalClosure, "")
	return nil
}

// read takes one message after the other; while a chunk is being taken no other
// is read, so that a page that is too fast waits.
func (c *connection) read(ctx context.Context, hello chan<- struct{}) error {
	for {
		kind, message, err := c.socket.Read(ctx)
		if errors.Is(err, websocket.ErrMessageTooBig) {
			return fmt.Errorf("%w: a message is longer than %d bytes", ErrChunk, mostMessage)
		}
		if cause := context.Cause(ctx); errors.Is(cause, errOusted) {
			return cause
		}
		if err != nil {
			return fmt.Errorf("the connection was cut: %w", err)
		}
		greeted := c.greeted
		if kind == websocket.MessageBinary {
			err = c.chunk(message)
		} else {
			err = c.text(ctx, message)
		}
		if err != nil {
			return err
		}
		if c.greeted && !greeted {
			close(hello)
		}
	}
}

func (c *connection) chunk(message []byte) error {
	if !c.greeted {
		return refusal{fmt.Errorf("%w: it came before its hello", ErrChunk)}
	}
	chunk, err := parseChunk(message)
	if err != nil {
		return refusal{err}
	}
	if c.begun {
		var news bool
		if chunk, news = chunk.after(c.have.Load()); !news {
			return nil
		}
		if most := mostMissingS * c.rateHz; float64(chunk.Missing) > most {
			return refusal{fmt.Errorf("%w: %.0f h are missing before frame %d; listen anew", ErrChunk, float64(chunk.Missing)/c.rateHz/3600, chunk.Start)}
		}
	}
	if err := c.ear.Take(chunk); err != nil {
		return refusal{err}
	}
	c.begun = true
	c.have.Store(chunk.End())
	return nil
}

// said is a text of the page; one of its fields is set.
type said struct {
	Hello *Hello `json:"hello"`
	Tone  *Tone  `json:"tone"`
	Do    string `json:"do"`
}

// Between these a rate is taken for one, Hz.
const (
	leastRateHz = 8000
	mostRateHz  = 384000
)

const mostMissingS = 24 * 3600 // a longer break is not one of the same sound

const mostName = 200 // bytes of a name of a device

func (c *connection) text(ctx context.Context, message []byte) error {
	var s said
	if err := json.Unmarshal(message, &s); err != nil {
		return refusal{fmt.Errorf("what the page says cannot be read: %w", err)}
	}
	switch {
	case s.Hello != nil && c.greeted:
		return refusal{errors.New("the page says hello twice; open it anew")}
	case s.Hello != nil:
		h := *s.Hello
		if !(h.RateHz >= leastRateHz && h.RateHz <= mostRateHz) {
			return refusal{fmt.Errorf("the microphone gives %v frames a second; it must give %d to %d", h.RateHz, leastRateHz, mostRateHz)}
		}
		if h.LatencyS != nil && !(*h.LatencyS >= 0 && *h.LatencyS < 10) {
			h.LatencyS = nil
		}
		h.DeviceLabel, h.DeviceKey = short(h.DeviceLabel), short(h.DeviceKey)
		have, err := c.ear.Hello(h)
		if err != nil {
			return refusal{err}
		}
		if h.Resume && have > 0 {
			c.have.Store(have)
			c.begun = true
		}
		c.rateHz, c.greeted = h.RateHz, true
	case !c.greeted:
		return refusal{errors.New("the page says something before its hello; open it anew")}
	case s.Tone != nil:
		if !believable(*s.Tone) {
			return c.write(ctx, map[string]any{"say": fmt.Sprintf("A check tone cannot take %.3g s there and back; play it again.", s.Tone.RoundTripS)})
		}
		c.ear.Tone(*s.Tone)
	case s.Do == "stop":
		c.ear.Done()
		return errDone
	}
	return nil // a later page may say more than this one understands
}

// believable returns whether a tone took no more than 10 s. The round trip may
// be a little below 0: the stamps of sound in and out need not agree.
func believable(t Tone) bool {
	return math.Abs(t.RoundTripS) < 10 && t.SpreadS >= 0 && t.SpreadS < 10 && t.OutputLatencyS >= 0 && t.OutputLatencyS < 10
}

// short cuts a name at a whole letter.
func short(s string) string {
	for n := mostName; len(s) > mostName; n-- {
		if utf8.RuneStart(s[n]) {
			return s[:n]
		}
	}
	return s
}

// tell tells the page what was taken and what the panel shows, each only as it
// is when the page can take it: nothing queues up behind a slow page. It returns
// nil when the sound is over.
func (c *connection) tell(ctx context.Context, hello, over <-chan struct{}) error {
	select {
	case <-hello:
	case <-time.After(c.o.Patience):
		return errors.New("the page says no hello")
	case <-over:
		return nil
	}
	have, panel, alive := time.NewTicker(c.o.HaveEvery), time.NewTicker(c.o.PanelEvery), time.NewTicker(c.o.Patience)
	defer have.Stop()
	defer panel.Stop()
	defer alive.Stop()
	shown, ever := int64(0), false
	err := c.write(ctx, map[string]any{"have": c.have.Load()})
	for err == nil {
		select {
		case <-over:
			return nil
		case <-have.C:
			err = c.write(ctx, map[string]any{"have": c.have.Load()})
		case <-panel.C:
			html, version := c.ear.Panel(ctx)
			if ever && version == shown {
				continue
			}
			shown, ever = version, true
			err = c.write(ctx, map[string]any{"panel": html})
		case <-alive.C:
			// No answer comes while a chunk is being taken.
			go c.ping(ctx)
		}
	}
	return err
}

// ping cuts the connection if the page does not answer in time.
func (c *connection) ping(ctx context.Context) {
	ctx, stop := context.WithTimeout(ctx, 2*c.o.Patience)
	defer stop()
	if c.socket.Ping(ctx) != nil {
		_ = c.socket.CloseNow()
	}
}

func (c *connection) write(ctx context.Context, message map[string]any) error {
	text, err := json.Marshal(message)
	if err != nil {
		return err
	}
	ctx, stop := context.WithTimeout(ctx, c.o.Patience)
	defer stop()
	return c.socket.Write(ctx, websocket.MessageText, text)
}

// sentence returns an error as the page shows it.
func sentence(err error) string {
	s := err.Error()
	first, size := utf8.DecodeRuneInString(s)
	if first >= 'a' && first <= 'z' {
		s = string(first-'a'+'A') + s[size:]
	}
	return s + "."
}

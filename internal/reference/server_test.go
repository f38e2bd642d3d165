package reference

import (
	"context"
	"encoding/binary"
	"net"
	"strings"
	"testing"
	"time"
)

// listen answers the questions that come to a port of its own, each with what
// respond returns or not at all, and returns host and port.
func listen(t *testing.T, respond func(question []byte) []byte) string {
	t.Helper()
	conn, err := net.ListenPacket("udp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	done := make(chan struct{})
	t.Cleanup(func() { conn.Close(); <-done })
	go func() {
		defer close(done)
		buf := make([]byte, 1024)
		for {
			n, from, err := conn.ReadFrom(buf)
			if err != nil {
				return
			}
			if a := respond(buf[:n]); a != nil {
				_, _ = conn.WriteTo(a, from)
			}
		}
	}()
	return conn.LocalAddr().String()
}

// packet is an answer of a good server at stratum 1 (RFC 5905, 7.3); change
// spoils it.
func packet(question []byte, received, sent time.Time, change func(a []byte)) []byte {
	stamp := func(t time.Time) uint64 {
		since := t.Sub(time.Date(1900, 1, 1, 0, 0, 0, 0, time.UTC))
		return uint64(since/time.Second)<<32 | uint64(since%time.Second)<<32/uint64(time.Second)
	}
	a := make([]byte, 48)
	a[0], a[1], a[2], a[3] = 4<<3|4, 1, 6, 0xe7 // no leap second, version 4, server; stratum; poll; 2^-25 s
	binary.BigEndian.PutUint64(a[16:], stamp(sent.Add(-time.Minute)))
	copy(a[24:32], question[40:48])
	binary.BigEndian.PutUint64(a[32:], stamp(received))
	binary.BigEndian.PutUint64(a[40:], stamp(sent))
	if change != nil {
		change(a)
	}
	return a
}

func TestAnswers(t *testing.T) {
	s := New([]string{"-"}, Options{})
	for _, c := range []struct {
		name    string
		change  func(a []byte)
		trouble string
		gone    bool
		skip    bool
	}{
		{name: "good"},
		{name: "not synchronised", change: func(a []byte) { a[0] |= 3 << 6; a[1] = 0 }, trouble: "is not synchronised itself"},
		{name: "leap 3 and a stratum", change: func(a []byte) { a[0] |= 3 << 6 }, trouble: "is not synchronised itself"},
		{name: "stratum 16", change: func(a []byte) { a[1] = 16 }, trouble: "is not synchronised itself"},
		{name: "INIT", change: func(a []byte) { a[1] = 0; copy(a[12:], "INIT") }, trouble: "is not synchronised itself"},
		{name: "RATE", change: func(a []byte) { a[1] = 0; copy(a[12:], "RATE") }, trouble: "asks to be asked less often", skip: true},
		{name: "DENY", change: func(a []byte) { a[1] = 0; copy(a[12:], "DENY") }, trouble: "refuses to be asked, and is not asked again", gone: true},
		{name: "RSTR", change: func(a []byte) { a[1] = 0; copy(a[12:], "RSTR") }, trouble: "refuses to be asked, and is not asked again", gone: true},
		{name: "unknown code", change: func(a []byte) { a[1] = 0; copy(a[12:], "XABC") }, trouble: `refuses to answer, with the code "XABC"`},
		{name: "far from its source", change: func(a []byte) { binary.BigEndian.PutUint32(a[8:], 3<<16/2) }, trouble: "may itself be wrong by 1.5 s"},
		{name: "hopelessly far", change: func(a []byte) { binary.BigEndian.PutUint32(a[8:], 20<<16) }, trouble: "may itself be wrong by more than 16 s"},
		{name: "never set", change: func(a []byte) { clear(a[16:24]) }, trouble: "gives a bad answer: its clock was set later"},
		{name: "not heard for days", change: func(a []byte) {
			binary.BigEndian.PutUint64(a[16:], binary.BigEndian.Uint64(a[16:])-200_000<<32)
		}, trouble: "has not heard of its own source for more than a day"},
		{name: "another question", change: func(a []byte) { a[31]++ }, trouble: "gives a bad answer: it is to another question"},
		{name: "no time", change: func(a []byte) { clear(a[40:48]) }, trouble: "gives a bad answer: "},
		{name: "backwards", change: func(a []byte) { copy(a[32:40], "\xff\xff\xff\xff") }, trouble: "gives a bad answer: server clock ticked backwards"},
		{name: "took longer than it can have", change: func(a []byte) {
			binary.BigEndian.PutUint64(a[32:], binary.BigEndian.Uint64(a[32:])-5<<32)
		}, trouble: "gives a bad answer: its time stamps contradict each other"},
	} {
		name := listen(t, func(q []byte) []byte {
			now := time.Now()
			return packet(q, now, now.Add(time.Microsecond), c.change)
		})
		got := ask(context.Background(), name, 2*time.Second, 1e-6, s.steady)
		if !strings.HasPrefix(got.trouble, c.trouble) || (c.trouble == "") != (got.trouble == "") {
			t.Errorf("%s: %q, want %q", c.name, got.trouble, c.trouble)
		}
		if got.gone != c.gone || (got.skip > 0) != c.skip {
			t.Errorf("%s: gone %v, left alone for %d", c.name, got.gone, got.skip)
		}
		if c.trouble == "" && (got.sample.stratum != 1 || got.sample.from.delayS <= 0) {
			t.Errorf("%s: %+v", c.name, got.sample)
		}
	}
}

func TestNotReached(t *testing.T) {
	s := New([]string{"-"}, Options{})
	silent := listen(t, func([]byte) []byte { return nil })
	short := listen(t, func([]byte) []byte { return []byte("?") })
	closed, err := net.ListenPacket("udp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	closed.Close()
	for name, want := range map[string]string{
		silent:                      "does not answer",
		short:                       "gives a bad answer: ",
		closed.LocalAddr().String(): "cannot be reached: no server listens there",
		"no-such-host.invalid":      "cannot be reached: ",
		"127.0.0.1:70000":           "cannot be reached: ",
	} {
		if got := ask(context.Background(), name, 100*time.Millisecond, 1e-6, s.steady); !strings.HasPrefix(got.trouble, want) {
			t.Errorf("%s: %q, want %q", name, got.trouble, want)
		}
	}
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if got := ask(ctx, silent, time.Minute, 1e-6, s.steady); got.trouble != "was not waited for" {
		t.Errorf("after the end: %q", got.trouble)
	}
}

// TestClockIsSetWithinExchange: all four stamps are on a scale that is not set.
func TestClockIsSetWithinExchange(t *testing.T) {
	d := &desk{tells: true, off: 90 * time.Millisecond}
	name := listen(t, func(q []byte) []byte {
		d.pass(10 * time.Millisecond)
		received := d.utc()
		d.set(time.Hour)
		d.pass(time.Millisecond)
		sent := d.utc()
		d.pass(6 * time.Millisecond)
		return packet(q, received, sent, nil)
	})
	s := New([]string{name}, Options{clocks: d.clocks()})
	s.round(context.Background())
	r := d.check(t, s, "one server", true, 1) // until then the clock that was set was the one read
	near(t, "delay", s.State().Sources[0].DelayS, 0.016, 1e-6)
	near(t, "bound", r.BoundS, 0.008, 1e-5)
	near(t, "error", r.UTC.Sub(d.utc()).Seconds(), 0.002, 1e-6) // (10 − 6)/2 ms
	s.round(context.Background())
	d.check(t, s, "one server", true, 1)
}

// TestSleepWithinExchange: what is heard across a sleep is worth nothing.
func TestSleepWithinExchange(t *testing.T) {
	d := &desk{tells: true}
	asked := 0
	name := listen(t, func(q []byte) []byte {
		if asked++; asked == 2 {
			d.sleep(time.Hour)
		}
		d.pass(time.Millisecond)
		return packet(q, d.utc(), d.utc(), nil)
	})
	s := New([]string{name}, Options{clocks: d.clocks()})
	s.round(context.Background())
	d.check(t, s, "one server", true, 0)
	d.pass(2 * time.Second)
	s.round(context.Background())
	d.check(t, s, "this computer’s clock", false, 1)
	s.round(context.Background())
	d.check(t, s, "one server", true, 1)
}

// TestServerIsLeftAlone: a server that asks for less is left alone for some
// rounds, and one that refuses is not asked again.
func TestServerIsLeftAlone(t *testing.T) {
	for code, want := range map[string]int{"RATE": 3, "DENY": 1} {
		name := listen(t, func(q []byte) []byte {
			now := time.Now()
			return packet(q, now, now, func(a []byte) { a[1] = 0; copy(a[12:], code) })
		})
		s := New([]string{name}, Options{})
		for range 20 {
			s.round(context.Background())
		}
		if got := s.State().Sources[0].Polls; got != want {
			t.Errorf("%s: asked %d times in 20 rounds, want %d", code, got, want)
		}
	}
}

// TestRoundAfterSleep: after a sleep the servers are asked at once, long before
// the next round is due.
func TestRoundAfterSleep(t *testing.T) {
	d := &desk{tells: true}
	name := listen(t, func(q []byte) []byte {
		d.pass(time.Millisecond)
		return packet(q, d.utc(), d.utc(), nil)
	})
	heard := make(chan State)
	s := New([]string{name}, Options{Rounds: 1, Every: time.Hour, Spacing: 10 * time.Millisecond, Timeout: 5 * time.Second,
		clocks: d.clocks(), Heard: func(st State) {
			select {
			case heard <- st:
			case <-t.Context().Done():
			}
		}})
	ctx, cancel := context.WithCancel(context.Background())
	defer cancel()
	ended := make(chan struct{})
	go func() { s.Run(ctx); close(ended) }()
	for spell := range 2 {
		select {
		case st := <-heard:
			if st.Spell != spell || st.Source != "one server" || !st.Known {
				t.Errorf("%+v", st.Reading)
			}
		case <-time.After(20 * time.Second):
			t.Fatal("no round within 20 s")
		}
		d.sleep(time.Hour)
	}
	cancel()
	for {
		select {
		case <-heard: // a round after the second sleep
		case <-ended:
			return
		}
	}
}

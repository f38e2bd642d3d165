//go:build unix

package reference

import (
	"context"
	"encoding/binary"
	"flag"
	"fmt"
	"math"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"
)

var standardRun = flag.Duration("standard-run", 6*time.Second, "how long real time servers are asked")

// chronyd starts a real time server on loopback that serves this computer's
// clock and leaves it alone. It returns its address and what stops it.
func chronyd(t *testing.T, conf string) (address string, stop func()) {
	t.Helper()
	program, err := exec.LookPath("chronyd")
	if err != nil {
		program, err = exec.LookPath("/usr/sbin/chronyd")
	}
	if err != nil {
		if os.Getenv("CI") == "true" {
			t.Fatal("chronyd is not here; sh tools.sh installs it")
		}
		t.Skip("chronyd is not here; sh tools.sh installs it")
	}
	free, err := net.ListenPacket("udp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	port := free.LocalAddr().(*net.UDPAddr).Port
	free.Close()

	dir, err := os.MkdirTemp("", "chronyd")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { os.RemoveAll(dir) })
	text := fmt.Sprintf("port %d\nbindaddress 127.0.0.1\nallow 127.0.0.1\n%s\ncmdport 0\npidfile %s/pid\ndriftfile %s/drift\n", port, conf, dir, dir)
	path := filepath.Join(dir, "conf")
	if err := os.WriteFile(path, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command(program, "-x", "-d", "-U", "-f", path)
	if os.Geteuid() == 0 {
		const nobody = 65534
		for _, p := range []string{dir, path} {
			if err := os.Chown(p, nobody, nobody); err != nil {
				t.Fatal(err)
			}
		}
		cmd.SysProcAttr = &syscall.SysProcAttr{Credential: &syscall.Credential{Uid: nobody, Gid: nobody}}
	}
	var log strings.Builder
	cmd.Stdout, cmd.Stderr = &log, &log
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	stop = sync.OnceFunc(func() {
		_ = cmd.Process.Signal(syscall.SIGTERM)
		_ = cmd.Wait()
	})
	t.Cleanup(stop)

	address = fmt.Sprintf("127.0.0.1:%d", port)
	s := New([]string{address}, Options{})
	for range 100 {
		a := ask(t.Context(), address, 200*time.Millisecond, 1e-6, s.steady)
		if a.trouble == "" || strings.Contains(a.trouble, "synchronised") {
			return address, stop
		}
		time.Sleep(50 * time.Millisecond)
	}
	stop()
	t.Fatalf("chronyd does not answer: %s", log.String())
	return "", nil
}

// truthful is the configuration of a server that vouches for its clock.
const truthful = "local stratum 3"

// falsified passes questions on to a server and moves the times of its answers.
func falsified(t *testing.T, to string, by, out, back time.Duration) string {
	t.Helper()
	return listen(t, func(q []byte) []byte {
		time.Sleep(out)
		conn, err := net.Dial("udp", to)
		if err != nil {
			return nil
		}
		defer conn.Close()
		_ = conn.SetDeadline(time.Now().Add(time.Second))
		if _, err := conn.Write(q); err != nil {
			return nil
		}
		a := make([]byte, 1024)
		n, err := conn.Read(a)
		if err != nil || n < 48 {
			return nil
		}
		for _, at := range []int{16, 32, 40} { // reference, receive and transmit time, not the origin
			moved := int64(by/time.Second)<<32 + int64(by%time.Second)<<32/int64(time.Second)
			binary.BigEndian.PutUint64(a[at:], binary.BigEndian.Uint64(a[at:])+uint64(moved))
		}
		time.Sleep(back)
		return a[:n]
	})
}

// TestRealServers asks real servers: two that are true, one that is true but
// far and lopsided, one that is false by 2.5 s and one that is silent; then
// all stop. The true ones serve this computer's clock, so that UTC minus it is
// zero, and the bound must hold that in every round.
func TestRealServers(t *testing.T) {
	first, stopFirst := chronyd(t, truthful)
	second, stopSecond := chronyd(t, truthful)
	far := falsified(t, first, 0, 12*time.Millisecond, 2*time.Millisecond)
	liar := falsified(t, second, 2500*time.Millisecond, 0, 0)
	silent := listen(t, func([]byte) []byte { return nil })

	rounds := make(chan State, 1)
	every, timeout := max(100*time.Millisecond, *standardRun/1000), 200*time.Millisecond
	s := New([]string{first, second, far, liar, silent}, Options{
		Every: every, Spacing: 50 * time.Millisecond, Timeout: timeout,
		Heard: func(st State) { rounds <- st },
	})
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan struct{})
	go func() { s.Run(ctx); close(ended) }()
	defer func() {
		cancel()
		for {
			select {
			case <-rounds:
			case <-ended:
				return
			}
		}
	}()

	polls, answered := 0, 0
	var worst, worstShare float64
	least, most := math.Inf(1), 0.0
	words := map[string]int{}
	for until := time.Now().Add(*standardRun); time.Now().Before(until); {
		st := <-rounds
		polls++
		words[st.Source]++
		if words[ownClock] == polls { // nobody was heard in time yet
			continue
		}
		if !st.Known || !st.Fit() || st.Spell != 0 {
			t.Fatalf("round %d: %+v", polls, st)
		}
		if off := math.Abs(st.OffsetS); off > st.BoundS {
			t.Errorf("round %d: %.6f s off and bound %.6f s", polls, off, st.BoundS)
		} else {
			worst, worstShare = max(worst, off), max(worstShare, off/st.BoundS)
		}
		least, most = min(least, st.BoundS), max(most, st.BoundS)
		answered = 0
		for i, v := range st.Sources {
			answered += v.Answered
			switch i {
			case 3:
				if !v.Reached { // an answer may come too late on a busy machine
					continue
				}
				if !v.False || v.Used || !strings.HasPrefix(v.Trouble, "is 2.5 s ahead of the others") {
					t.Errorf("round %d: the false server: %+v", polls, v)
				}
				near(t, "offset of the false server", v.OffsetS, 2.5, v.BoundS)
			case 4:
				if v.Reached || v.Used || v.False || v.Trouble != "does not answer" {
					t.Errorf("round %d: the silent server: %+v", polls, v)
				}
			default:
				if v.False {
					t.Errorf("round %d: a true server: %+v", polls, v)
				}
				if v.Used && math.Abs(v.OffsetS) > v.BoundS {
					t.Errorf("round %d: %s is %.6f s off and bound %.6f s", polls, v.Name, v.OffsetS, v.BoundS)
				}
			}
		}
	}
	if polls < int(*standardRun/(2*(every+timeout))) || words["three of four servers agree"] < polls*9/10 {
		t.Errorf("%d rounds: %v", polls, words)
	}
	t.Logf("%d rounds in %v, %d exchanges answered: offset error at most %.1f µs (%.0f%% of the bound then), bound %.1f to %.1f µs; %v",
		polls, *standardRun, answered, worst*1e6, worstShare*100, least*1e6, most*1e6, words)

	stopFirst()
	stopSecond()
	var from, to State
	for end := time.Now().Add(8*every + 10*time.Second); time.Now().Before(end); {
		st := <-rounds
		if math.Abs(st.OffsetS) > st.BoundS || !st.Known {
			t.Errorf("hold-over: %+v", st.Reading)
		}
		quiet := !st.Sources[0].Reached && !st.Sources[1].Reached && !st.Sources[2].Reached && !st.Sources[3].Reached
		switch {
		case !quiet:
		case from.UTC.IsZero():
			from = st
		default:
			to = st
		}
		if !to.UTC.IsZero() && to.UTC.Sub(from.UTC) > time.Second {
			break
		}
	}
	if !strings.HasPrefix(to.Source, "three of four servers agreed ") || !strings.HasSuffix(to.Source, " ago") {
		t.Errorf("source %q", to.Source)
	}
	says(t, to.Reading, "no server answers")
	for _, v := range to.Sources[:4] {
		if !strings.HasPrefix(v.Trouble, "cannot be reached: no server listens there; it was last heard ") && !strings.HasPrefix(v.Trouble, "does not answer; it was last heard ") {
			t.Errorf("%s: %q", v.Name, v.Trouble)
		}
	}
	tolerance := plainTolerance
	if _, ok := keptBySystem(); ok {
		tolerance = steadyTolerance
	}
	growth := (to.BoundS - from.BoundS) / to.UTC.Sub(from.UTC).Seconds()
	near(t, "growth of the bound, s/s", growth, tolerance, 1e-9)
	t.Logf("hold-over: bound %.1f to %.1f µs in %v, %.1f ppm; %s", from.BoundS*1e6, to.BoundS*1e6, to.UTC.Sub(from.UTC), growth*1e6, to.Source)
}

// TestRealServerLopsided: 20 ms out and 4 ms back put the offset 8 ms wrong,
// and half of the delay holds that.
func TestRealServerLopsided(t *testing.T) {
	address, _ := chronyd(t, truthful)
	lopsided := falsified(t, address, 250*time.Millisecond, 20*time.Millisecond, 4*time.Millisecond)
	s := New([]string{lopsided}, Options{})
	for range 8 {
		s.round(t.Context())
	}
	r := s.Read()
	if r.Source != "one server" || !r.Known {
		t.Fatalf("%+v", r)
	}
	err := r.OffsetS - 0.25
	if math.Abs(err) > r.BoundS || r.BoundS < 0.012 {
		t.Errorf("%.6f s off and bound %.6f s", err, r.BoundS)
	}
	t.Logf("error %.3f ms, bound %.3f ms", err*1e3, r.BoundS*1e3)
}

// TestRealServerWithoutSource: a server that has no source is not believed.
func TestRealServerWithoutSource(t *testing.T) {
	address, _ := chronyd(t, "")
	s := New([]string{address}, Options{})
	s.round(t.Context())
	if v := s.State().Sources[0]; v.Trouble != "is not synchronised itself" || s.Read().Source != ownClock {
		t.Errorf("%+v", v)
	}
}

package reference

import (
	"context"
	"math"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/beevik/ntp"
)

// truthAtStart is UTC when the clocks of a test start.
var truthAtStart = time.Date(2026, 11, 25, 9, 0, 0, 0, time.UTC)

// desk is a computer of a test: its clocks, and UTC beside them.
type desk struct {
	mu     sync.Mutex
	gone   time.Duration // SI time since the start
	asleep time.Duration // of it
	off    time.Duration // the computer's clock minus UTC
	drift  float64       // of the clock that is never set, s/s
	kept   bool          // the system disciplines the clock
	tells  bool          // the system tells how long it slept
}

func (d *desk) clocks() clocks {
	return clocks{
		read: func() (time.Time, time.Duration) {
			d.mu.Lock()
			defer d.mu.Unlock()
			awake := d.gone - d.asleep
			drifted := time.Duration(d.drift * float64(awake))
			return truthAtStart.Add(d.gone + d.off + drifted), awake + drifted
		},
		slept: func() (time.Duration, bool) {
			d.mu.Lock()
			defer d.mu.Unlock()
			return d.asleep, d.tells
		},
		kept: func() (float64, bool) {
			d.mu.Lock()
			defer d.mu.Unlock()
			return 0.02, d.kept
		},
		stepS: 1e-6,
	}
}

func (d *desk) pass(t time.Duration)  { d.mu.Lock(); d.gone += t; d.mu.Unlock() }
func (d *desk) sleep(t time.Duration) { d.mu.Lock(); d.gone += t; d.asleep += t; d.mu.Unlock() }
func (d *desk) set(by time.Duration)  { d.mu.Lock(); d.off += by; d.mu.Unlock() }
func (d *desk) utc() time.Time {
	d.mu.Lock()
	defer d.mu.Unlock()
	return truthAtStart.Add(d.gone)
}

// said is what a server of a test answers.
type said struct {
	errorS float64 // its clock minus UTC
	delayS float64 // of the whole way; 0.02 if zero
	leap   ntp.LeapIndicator
	silent bool
}

// hear gives the standard of a desk one round of answers, as Run does.
func (d *desk) hear(s *Standard, answers ...said) {
	at, mark := s.steady()
	s.mu.Lock()
	defer s.mu.Unlock()
	s.polled, s.asked = mark, true
	good := false
	for i, a := range answers {
		v := s.servers[i]
		v.polls++
		good = good || !a.silent
		if a.silent {
			v.take(answer{trouble: "does not answer"}, s.tolerance())
			continue
		}
		delay := a.delayS
		if delay == 0 {
			delay = 0.02
		}
		v.take(answer{sample: sample{at: mark, offsetS: d.utc().Sub(at).Seconds() + a.errorS, leap: a.leap, stratum: 1,
			from: distance{delayS: delay, clientStepS: 1e-6, tookS: delay}}}, s.tolerance())
	}
	s.worded.stale = true
	if good {
		s.conclude(mark)
	}
}

// sit returns a standard at a desk with servers of these names.
func sit(d *desk, servers ...string) *Standard { return New(servers, Options{clocks: d.clocks()}) }

// check fails if UTC is not within the bound of a reading, or the words differ.
func (d *desk) check(t *testing.T, s *Standard, source string, known bool, spell int) Reading {
	t.Helper()
	r := s.Read()
	if r.Source != source || r.Known != known || r.Spell != spell {
		t.Errorf("%q, known %v, spell %d; want %q, %v, %d (%q)", r.Source, r.Known, r.Spell, source, known, spell, r.Remarks)
	}
	if off := r.UTC.Sub(d.utc()).Seconds(); known && math.Abs(off) > r.BoundS {
		t.Errorf("%s: %.6f s off and bound %.6f s", source, off, r.BoundS)
	}
	if !known && r.BoundS != 0 {
		t.Errorf("bound %v s, and it is not known", r.BoundS)
	}
	clock, _ := s.scale.read()
	if got := clock.Add(duration(r.OffsetS)); got.Sub(r.UTC).Abs() > time.Microsecond {
		t.Errorf("%s: this computer’s clock and the offset give %v, and UTC %v", source, got, r.UTC)
	}
	return r
}

func says(t *testing.T, r Reading, words string) {
	t.Helper()
	if !slices.ContainsFunc(r.Remarks, func(s string) bool { return strings.Contains(s, words) }) {
		t.Errorf("remarks %q do not say %q", r.Remarks, words)
	}
}

func TestBeforeServersAreHeard(t *testing.T) {
	d := &desk{off: 3 * time.Second}
	d.check(t, sit(d, "a"), "this computer’s clock", false, 0)
	d = &desk{off: 3 * time.Millisecond, kept: true}
	r := d.check(t, sit(d), "this computer’s clock, kept by the system", true, 0)
	near(t, "bound", r.BoundS, 0.02, 1e-12)
	if !r.Fit() {
		t.Error("a clock kept to 0.02 s is not fit")
	}
}

func TestClockIsTakenToBeRight(t *testing.T) {
	d := &desk{off: 3 * time.Millisecond, tells: true}
	s := New([]string{"a"}, Options{TakenS: 0.005, clocks: d.clocks()})
	r := d.check(t, s, "this computer’s clock, taken to be right", true, 0)
	near(t, "bound", r.BoundS, 0.005, 0)
	d.hear(s, said{silent: true})
	says(t, d.check(t, s, "this computer’s clock, taken to be right", true, 0), "no server has been heard yet")
	d.hear(s, said{})
	d.check(t, s, "one server", true, 0)
	d.mu.Lock()
	d.kept = true
	d.mu.Unlock()
	d.check(t, New(nil, Options{TakenS: 0.005, clocks: d.clocks()}), "this computer’s clock, kept by the system", true, 0)
}

func TestPlain(t *testing.T) {
	s := Plain(func() time.Time { return truthAtStart.In(time.FixedZone("", 3600)) })
	r := s.Read()
	if !r.UTC.Equal(truthAtStart) || r.UTC.Location() != time.UTC || r.Known || r.Fit() {
		t.Errorf("%+v", r)
	}
	s.Run(context.Background())
	if got := s.State(); len(got.Sources) != 0 || got.ListExpires.IsZero() {
		t.Errorf("%+v", got)
	}
}

// TestHoldOver checks how a bound grows when all servers are silent: at the
// 15 ppm of RFC 5905, 7.2, for a disciplined clock, worked by hand.
func TestHoldOver(t *testing.T) {
	for _, c := range []struct {
		kept  bool
		after time.Duration
		grows float64
	}{
		{true, 600 * time.Second, 0.009}, {true, 3600 * time.Second, 0.054}, {true, 28800 * time.Second, 0.432}, {true, 86400 * time.Second, 1.296},
		{false, 600 * time.Second, 0.06}, {false, 86400 * time.Second, 8.64},
	} {
		d := &desk{kept: c.kept, tells: true, drift: 14e-6}
		s := sit(d, "a", "b", "c")
		d.hear(s, said{}, said{}, said{})
		before := d.check(t, s, "three servers agree", true, 0)
		d.pass(c.after)
		after := d.check(t, s, "three servers agreed "+long(c.after)+" ago", true, 0)
		near(t, "growth in "+c.after.String(), after.BoundS-before.BoundS, c.grows*(1+14e-6), 1e-9)
		if (after.BoundS <= 0.1) != after.Fit() {
			t.Errorf("bound %v and fit %v", after.BoundS, after.Fit())
		}
		if c.after > 8*64*time.Second {
			says(t, after, "no server answers")
		}
	}
}

// TestServersFallSilent: as long as one is heard the others are missed; when the
// last falls silent the agreement holds on as it was.
func TestServersFallSilent(t *testing.T) {
	d := &desk{tells: true}
	s := sit(d, "a", "b", "c")
	d.hear(s, said{}, said{}, said{})
	for range 8 {
		d.pass(64 * time.Second)
		d.hear(s, said{}, said{}, said{silent: true})
	}
	d.check(t, s, "three servers agree", true, 0)
	d.pass(64 * time.Second)
	d.hear(s, said{}, said{}, said{silent: true})
	d.check(t, s, "two servers agree", true, 0)
	if v := s.State().Sources[2]; v.Reached || v.Used || v.Trouble != "does not answer; it was last heard 9 min 36 s ago" {
		t.Errorf("%+v", v)
	}
	for range 20 {
		d.pass(64 * time.Second)
		d.hear(s, said{silent: true}, said{silent: true}, said{silent: true})
	}
	says(t, d.check(t, s, "two servers agreed 21 min 20 s ago", true, 0), "no server answers")
	for _, v := range s.State().Sources {
		if v.Reached || v.Used || !strings.HasPrefix(v.Trouble, "does not answer; it was last heard ") {
			t.Errorf("%+v", v)
		}
	}
}

func TestAgreement(t *testing.T) {
	const false3 = 2.5
	for _, c := range []struct {
		name    string
		answers []said
		source  string
		known   bool
		remark  string
		trouble []string
	}{
		{"one", []said{{}}, "one server", true, "one server answers, nothing confirms it", []string{""}},
		{"two", []said{{}, {errorS: 0.004}}, "two servers agree", true, "", []string{"", ""}},
		{"two disagree", []said{{}, {errorS: 0.3}}, "servers disagree", false, "two servers disagree; a third is needed to tell which is wrong",
			[]string{"disagrees with the others", "disagrees with the others"}},
		{"three", []said{{}, {errorS: 0.004}, {errorS: -0.004}}, "three servers agree", true, "", []string{"", "", ""}},
		{"one false", []said{{}, {errorS: 0.004}, {errorS: false3}}, "two of three servers agree", true, "c is not used: it is 2.5 s ahead of the others",
			[]string{"", "", "is 2.5 s ahead of the others"}},
		{"one silent", []said{{}, {}, {silent: true}}, "two servers agree", true, "", []string{"", "", "does not answer"}},
		{"all differ", []said{{}, {errorS: 1}, {errorS: 2}}, "servers disagree", false, "three servers disagree", []string{"disagrees", "disagrees", "disagrees"}},
		{"one far", []said{{}, {errorS: 0.08, delayS: 0.3}}, "one server", true, "nothing confirms", []string{"", "may be wrong by 0.2 s, and others know better"}},
		{"only far", []said{{errorS: 0.1, delayS: 0.3}}, "one server", true, "nothing confirms", []string{""}},
	} {
		d := &desk{off: -7 * time.Second, tells: true}
		s := sit(d, []string{"a", "b", "c"}[:len(c.answers)]...)
		for range 3 {
			d.hear(s, c.answers...)
			d.pass(4 * time.Second)
		}
		r := d.check(t, s, c.source, c.known, 0)
		switch {
		case c.remark != "":
			says(t, r, c.remark)
		case len(r.Remarks) > 0:
			t.Errorf("%s: remarks %q", c.name, r.Remarks)
		}
		for i, v := range s.State().Sources {
			if want := c.trouble[i]; !strings.HasPrefix(v.Trouble, want) || (want == "") != v.Used || (want == "" && v.Trouble != "") {
				t.Errorf("%s: %s, used %v, trouble %q, want %q", c.name, v.Name, v.Used, v.Trouble, want)
			}
			if v.False != (c.answers[i].errorS == false3) {
				t.Errorf("%s: %s: false %v", c.name, v.Name, v.False)
			}
			if v.Reached == c.answers[i].silent || v.Polls != 3 {
				t.Errorf("%s: %s: reached %v after %d polls", c.name, v.Name, v.Reached, v.Polls)
			}
			if v.Reached {
				near(t, c.name+": offset of "+v.Name, v.OffsetS, 7+c.answers[i].errorS, 1e-6)
			}
		}
	}
}

// TestClockIsSet: setting the computer's clock does no harm and is said.
func TestClockIsSet(t *testing.T) {
	for _, by := range []time.Duration{time.Hour, -time.Hour, 30 * time.Millisecond} {
		d := &desk{tells: true}
		s := sit(d, "a", "b")
		d.hear(s, said{}, said{})
		d.pass(time.Minute)
		d.check(t, s, "two servers agree", true, 0)
		d.set(by)
		r := d.check(t, s, "two servers agree", true, 0)
		way := "forward"
		if by < 0 {
			way = "back"
		}
		says(t, r, "this computer’s clock was set "+way+" by "+long(by))
		says(t, r, "it is not used")
		near(t, "offset", r.OffsetS, -by.Seconds(), 1e-6)
		near(t, "offset of a server", s.State().Sources[0].OffsetS, -by.Seconds(), 1e-6)
		if len(s.wake) != 1 {
			t.Error("no round was asked for")
		}
		d.pass(10 * time.Minute)
		d.hear(s, said{}, said{})
		d.check(t, s, "two servers agree", true, 0)
		d.pass(time.Hour)
		d.hear(s, said{}, said{})
		if r := s.Read(); len(r.Remarks) != 0 {
			t.Errorf("remarks %q an hour later", r.Remarks)
		}
	}
}

// TestSlewIsNoSetting: a clock that is slewed at 500 ppm was not set.
func TestSlewIsNoSetting(t *testing.T) {
	d := &desk{}
	s := sit(d, "a")
	d.hear(s, said{})
	for range 1000 {
		d.pass(10 * time.Second)
		d.set(5 * time.Millisecond)
		if r := s.Read(); len(s.wake) != 0 || r.Spell != 0 {
			t.Fatalf("%+v", r)
		}
	}
}

// TestHeldUp: a program held up between two readings saw no setting.
func TestHeldUp(t *testing.T) {
	d := &desk{}
	c := d.clocks()
	read, held := c.read, 0
	c.read = func() (time.Time, time.Duration) {
		wall, steady := read()
		if held > 0 {
			held--
			steady += 300 * time.Millisecond
		}
		return wall, steady
	}
	s := New([]string{"a"}, Options{clocks: c})
	d.hear(s, said{})
	held = 1
	if r := s.Read(); r.Spell != 0 || len(s.wake) != 0 {
		t.Errorf("%+v", r)
	}
}

// TestSleep: a computer that slept has lost UTC until servers are heard again,
// also where it cannot tell sleep from a setting of its clock.
func TestSleep(t *testing.T) {
	for tells, words := range map[bool]string{
		true:  "this computer slept for 3 h, and time was not counted meanwhile; the servers are being asked again",
		false: "this computer’s clock jumped by 3 h: it slept or was set; the servers are being asked again",
	} {
		d := &desk{tells: tells, off: 40 * time.Millisecond}
		s := sit(d, "a", "b")
		d.hear(s, said{}, said{})
		d.pass(time.Minute)
		d.check(t, s, "two servers agree", true, 0)
		d.sleep(3 * time.Hour)
		says(t, d.check(t, s, "this computer’s clock", false, 1), words)
		if len(s.wake) != 1 {
			t.Error("no round was asked for")
		}
		if v := s.State().Sources[0]; v.Used || v.Reached || v.Trouble == "" {
			t.Errorf("%+v", v)
		}
		d.pass(time.Second)
		d.hear(s, said{}, said{})
		says(t, d.check(t, s, "two servers agree", true, 1), "slept")
	}
}

// TestSleepWithTheClockUnmoved: the system's own count of sleep is enough.
func TestSleepWithTheClockUnmoved(t *testing.T) {
	d := &desk{tells: true}
	s := sit(d, "a")
	d.hear(s, said{})
	d.sleep(time.Minute)
	d.set(-time.Minute)
	d.pass(2 * time.Second)
	d.check(t, s, "this computer’s clock", false, 1)
}

// TestStopped: a virtual computer that stood still without its knowing finds
// out when the servers are heard.
func TestStopped(t *testing.T) {
	d := &desk{tells: true}
	s := sit(d, "a", "b", "c")
	for range 8 {
		d.hear(s, said{}, said{}, said{})
		d.pass(4 * time.Second)
	}
	d.mu.Lock()
	d.gone += time.Hour // of which the clocks know nothing
	d.asleep += time.Hour
	d.off -= time.Hour
	d.tells = false
	d.mu.Unlock()
	d.hear(s, said{}, said{}, said{})
	says(t, d.check(t, s, "three servers agree", true, 1), "UTC and the going of this computer parted by 1 h")
}

func TestDrift(t *testing.T) {
	// The doubt is two bounds of at most 0.06 s over 100 minutes.
	const doubt = 20e-6
	for _, c := range []struct{ drift, least float64 }{
		{5e-6, steadyTolerance}, {40e-6, 40e-6}, {150e-6, 150e-6},
	} {
		d := &desk{drift: c.drift, tells: true}
		s := sit(d, "a", "b")
		near(t, "tolerance before", s.tolerance(), plainTolerance, 0)
		for range 120 {
			d.hear(s, said{}, said{})
			d.pass(64 * time.Second)
			if c.drift < plainTolerance {
				d.check(t, s, "two servers agree", true, 0)
			}
		}
		if got := s.tolerance(); got < c.least || got > c.drift+doubt {
			t.Errorf("tolerance %.1f ppm of a clock that drifts by %.1f ppm", got*1e6, c.drift*1e6)
		}
		if len(s.drift) > driftKept {
			t.Errorf("%d agreements are kept", len(s.drift))
		}
		d.pass(10 * time.Hour)
		if r := s.Read(); c.drift < plainTolerance && math.Abs(r.UTC.Sub(d.utc()).Seconds()) > r.BoundS {
			t.Errorf("drift of %v: %v off and bound %v s after ten hours", c.drift, r.UTC.Sub(d.utc()), r.BoundS)
		}
	}
}

// TestNearestSampleIsUsed: of the last eight exchanges that with the smallest
// root distance counts, and the rms of the others about it (RFC 5905, 10).
func TestNearestSampleIsUsed(t *testing.T) {
	d := &desk{kept: true, tells: true}
	s := sit(d, "a")
	d.hear(s, said{delayS: 0.001})
	for _, e := range []float64{0.003, -0.004, 0.012} {
		d.hear(s, said{errorS: e, delayS: 0.030})
	}
	v := s.State().Sources[0]
	near(t, "delay", v.DelayS, 0.001, 0)
	near(t, "offset", v.OffsetS, 0, 1e-9)
	// (9 + 16 + 144)/3 ms² gives 7.5056 ms.
	near(t, "bound", v.BoundS, 0.0005+0.0075056+1e-6+15e-9, 1e-7)
	for range 8 {
		d.hear(s, said{errorS: 0.001, delayS: 0.02})
	}
	near(t, "delay after eight more", s.State().Sources[0].DelayS, 0.02, 0)
}

func TestLeapSecondAnnounced(t *testing.T) {
	d := &desk{tells: true}
	s := sit(d, "a", "b", "c")
	d.hear(s, said{leap: ntp.LeapAddSecond}, said{}, said{})
	if st := s.State(); !st.NextLeap.IsZero() || st.ListExpired {
		t.Errorf("%+v", st.LeapList)
	}
	d.hear(s, said{leap: ntp.LeapAddSecond}, said{leap: ntp.LeapAddSecond}, said{})
	end := time.Date(2026, 12, 1, 0, 0, 0, 0, time.UTC)
	if st := s.State(); !st.NextLeap.Equal(end) {
		t.Errorf("next leap second before %v, want %v", st.NextLeap, end)
	}
	r := d.check(t, s, "three servers agree", true, 0)
	says(t, r, "a leap second ends just before 1 December 2026, 00:00 UTC; the servers say so")
	d.pass(end.Sub(d.utc()) - 20*time.Hour)
	d.hear(s, said{leap: ntp.LeapAddSecond}, said{leap: ntp.LeapAddSecond}, said{leap: ntp.LeapAddSecond})
	says(t, s.Read(), "less than a day away, and comparisons are doubtful")
	d.pass(20*time.Hour + time.Second)
	if r := s.Read(); r.Known || r.Spell != 1 {
		t.Errorf("%+v after the leap second", r)
	}
	says(t, s.Read(), "a leap second has passed")
}

func TestListExpired(t *testing.T) {
	d := &desk{tells: true}
	s := sit(d, "a")
	d.pass(3 * 366 * 24 * time.Hour)
	d.hear(s, said{})
	says(t, s.Read(), "the list of leap seconds expired on ")
	if st := s.State(); !st.ListExpired || st.ListFrom != ListOfProgram {
		t.Errorf("%+v", st.LeapList)
	}
}

func TestLong(t *testing.T) {
	for want, d := range map[string]time.Duration{
		"12 min":      12 * time.Minute,
		"1 min 5 s":   65 * time.Second,
		"2 d 3 h":     51*time.Hour + 10*time.Minute,
		"2.5 s":       2500 * time.Millisecond,
		"1 h":         time.Hour + 20*time.Second,
		"1 h 2 min":   -(time.Hour + 2*time.Minute),
		"3 ms":        3 * time.Millisecond,
		"0.25 ms":     250 * time.Microsecond,
		"0.1 s":       99600 * time.Microsecond,
		"23 h 59 min": 24*time.Hour - time.Minute,
		"1 d":         24 * time.Hour,
	} {
		if got := long(d); got != want {
			t.Errorf("%v: %q, want %q", d, got, want)
		}
	}
}

func TestReadAllocatesNothing(t *testing.T) {
	s := New([]string{"a"}, Options{})
	if n := testing.AllocsPerRun(1000, func() { _ = s.Read() }); n > 0.1 {
		t.Errorf("%v allocations", n)
	}
}

func BenchmarkRead(b *testing.B) {
	s := New([]string{"a"}, Options{})
	for b.Loop() {
		_ = s.Read()
	}
}

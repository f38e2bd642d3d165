package reference

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"net"
	"slices"
	"strings"
	"syscall"
	"time"

	"github.com/beevik/ntp"
)

const (
	// keepSamples is how many exchanges the filter of a server holds
	// (NSTAGE of RFC 5905, 7.2).
	keepSamples = 8
	// mostDistanceS is the root distance, s, beyond which an answer is no time
	// at all (MAXDIST of RFC 5905, 7.2).
	mostDistanceS = 1.0
)

// sample is one exchange that gave an offset.
type sample struct {
	at      time.Duration // when it was heard, by the steady clock
	offsetS float64       // the server's clock minus the scale
	from    distance      // without jitter, which the others tell
	leap    ntp.LeapIndicator
	stratum int
}

// boundS returns how far a sample may be from UTC now, s: its root distance and
// how far the clock may have drifted since.
func (s sample) boundS(now time.Duration, tolerance float64) float64 {
	s.from.tolerance = tolerance
	return s.from.rootS() + tolerance*(now-s.at).Seconds()
}

func (s sample) interval(now time.Duration, tolerance float64) interval {
	return interval{s.offsetS, s.boundS(now, tolerance)}
}

// server is one server with what it said lately.
type server struct {
	name     string
	samples  []sample // the newest last
	polls    int
	answered int
	heard    time.Duration // of the last good answer
	everSaid bool
	trouble  string // of the last exchange; empty if it was good
	skip     int    // rounds it asked to be left alone for
	gone     bool   // it asked never to be asked again

	best      sample // as it was last weighed
	bestS     float64
	weighed   bool
	used      bool
	false     bool
	unfitting string // why its good answer is not used
}

// rest is how many rounds a server is left alone for that asks to be asked
// less often (RFC 5905, 7.4, RATE).
const rest = 8

// answer is what came of one exchange.
type answer struct {
	sample  sample
	trouble string // empty if there is a sample
	skip    int
	gone    bool
}

// ask makes one exchange with a server; now returns the time of the scale, and
// mark that of the steady clock at the same moment.
func ask(ctx context.Context, name string, timeout time.Duration, clockStepS float64, now func() (time.Time, time.Duration)) answer {
	ctx, cancel := context.WithTimeout(ctx, timeout)
	defer cancel()
	var heard time.Duration
	r, err := ntp.QueryWithOptions(name, ntp.QueryOptions{
		Timeout: timeout,
		GetSystemTime: func() time.Time {
			at, mark := now()
			heard = mark // the last call is that of T4
			return at
		},
		Dialer: func(_, remote string) (net.Conn, error) {
			var d net.Dialer
			return d.DialContext(ctx, "udp", remote)
		},
	})
	if err != nil {
		return answer{trouble: notReached(err)}
	}
	return judge(r, heard, clockStepS)
}

// judge takes from an answer what it is worth.
func judge(r *ntp.Response, heard time.Duration, clockStepS float64) answer {
	if r.Stratum == 0 {
		return kissed(r)
	}
	if r.Leap == ntp.LeapNotInSync || r.Stratum >= 16 {
		return answer{trouble: "is not synchronised itself"}
	}
	if err := r.Validate(); err != nil {
		return answer{trouble: invalid(err)}
	}
	x := Exchange{r.Timestamps.ClientXmit, r.Timestamps.ServerRecv, r.Timestamps.ServerXmit, r.Timestamps.ClientRecv}
	serverStepS := r.Precision.Seconds()
	if _, err := x.BoundS(clockStepS + serverStepS); err != nil {
		return answer{trouble: fmt.Sprintf("gives a bad answer: %v", err)}
	}
	s := sample{at: heard, offsetS: x.OffsetS(), leap: r.Leap, stratum: int(r.Stratum), from: distance{
		delayS: x.DelayS(), rootDelayS: r.RootDelay.Seconds(), rootDispersionS: r.RootDispersion.Seconds(),
		serverStepS: serverStepS, clientStepS: clockStepS, tookS: x.T4.Sub(x.T1).Seconds(),
	}}
	if d := s.from.rootS(); !(d <= mostDistanceS) {
		return answer{trouble: fmt.Sprintf("may itself be wrong by %.1f s", d)}
	}
	return answer{sample: s}
}

// kissed says what an answer of stratum 0 means (RFC 5905, 7.4).
func kissed(r *ntp.Response) answer {
	switch code := strings.TrimRight(r.KissCode, " \x00"); code {
	case "", "INIT", "STEP":
		return answer{trouble: "is not synchronised itself"}
	case "RATE":
		return answer{trouble: "asks to be asked less often", skip: rest}
	case "DENY", "RSTR":
		return answer{trouble: "refuses to be asked, and is not asked again", gone: true}
	default:
		return answer{trouble: fmt.Sprintf("refuses to answer, with the code %q", code)}
	}
}

// invalid says which check of an answer failed (RFC 5905, A.5.1.1).
func invalid(err error) string {
	switch {
	case errors.Is(err, ntp.ErrServerClockFreshness):
		return "has not heard of its own source for more than a day"
	case errors.Is(err, ntp.ErrInvalidDispersion):
		return "may itself be wrong by more than 16 s"
	case errors.Is(err, ntp.ErrInvalidTime):
		return "gives a bad answer: its clock was set later than it says it is"
	default:
		return fmt.Sprintf("gives a bad answer: %v", err)
	}
}

// notReached says why an exchange came to nothing.
func notReached(err error) string {
	var dns *net.DNSError
	var network net.Error
	switch {
	case errors.As(err, &dns) && dns.IsTimeout:
		return "cannot be reached: the name servers do not answer"
	case errors.As(err, &dns):
		return "cannot be reached: its name is not known"
	case errors.Is(err, syscall.ECONNREFUSED):
		return "cannot be reached: no server listens there"
	case errors.Is(err, syscall.ENETUNREACH), errors.Is(err, syscall.EHOSTUNREACH):
		return "cannot be reached: there is no way to it through the network"
	case errors.Is(err, context.Canceled):
		return "was not waited for"
	case errors.Is(err, context.DeadlineExceeded), errors.As(err, &network) && network.Timeout(), errors.Is(err, io.EOF):
		return "does not answer"
	case errors.Is(err, ntp.ErrServerResponseMismatch):
		return "gives a bad answer: it is to another question"
	case errors.Is(err, ntp.ErrInvalidTime), errors.Is(err, ntp.ErrInvalidTransmitTime), errors.Is(err, ntp.ErrInvalidMode),
		errors.Is(err, ntp.ErrServerTickedBackwards):
		return fmt.Sprintf("gives a bad answer: %v", err)
	default:
		return fmt.Sprintf("cannot be reached: %v", err)
	}
}

// take enters an answer. Earlier samples that contradict it are dropped: either
// the server was set or the scale lost its step, and they tell no jitter.
func (v *server) take(a answer, tolerance float64) {
	v.trouble, v.skip, v.gone = a.trouble, a.skip, a.gone
	if a.trouble != "" {
		return
	}
	v.answered++
	v.heard, v.everSaid = a.sample.at, true
	v.samples = slices.DeleteFunc(v.samples, func(s sample) bool {
		return s.interval(a.sample.at, tolerance).contradicts(a.sample.interval(a.sample.at, tolerance))
	})
	if len(v.samples) == keepSamples {
		v.samples = append(v.samples[:0], v.samples[1:]...)
	}
	v.samples = append(v.samples, a.sample)
}

// weigh finds the sample with the smallest bound now; the jitter is the rms of
// the other offsets about it (RFC 5905, 10). It returns false if there is none.
func (v *server) weigh(now time.Duration, tolerance float64) bool {
	v.weighed, v.used, v.false, v.unfitting = false, false, false, ""
	if len(v.samples) == 0 {
		return false
	}
	v.best = v.samples[0]
	for _, s := range v.samples[1:] {
		if s.boundS(now, tolerance) <= v.best.boundS(now, tolerance) {
			v.best = s
		}
	}
	var squares float64
	for _, s := range v.samples {
		squares += (s.offsetS - v.best.offsetS) * (s.offsetS - v.best.offsetS)
	}
	v.best.from.jitterS = math.Sqrt(squares / float64(max(1, len(v.samples)-1)))
	v.bestS = v.best.boundS(now, tolerance)
	v.weighed = true
	return true
}

func (v *server) interval() interval { return interval{v.best.offsetS, v.bestS} }

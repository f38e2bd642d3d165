package reference

import (
	"fmt"
	"time"
)

// Exchange is one question and answer between this computer and a server: the
// four time stamps of RFC 5905, 8.
type Exchange struct {
	T1 time.Time // sent, by this computer
	T2 time.Time // received, by the server
	T3 time.Time // answered, by the server
	T4 time.Time // heard, by this computer
}

// OffsetS returns the server's clock minus this computer's, s: add it to the
// time of this computer (RFC 5905, 8).
func (x Exchange) OffsetS() float64 {
	return (x.T2.Sub(x.T1).Seconds() + x.T3.Sub(x.T4).Seconds()) / 2
}

// DelayS returns the time on the way there and back, s (RFC 5905, 8); clocks
// that move in steps can make it negative by as much as one step.
func (x Exchange) DelayS() float64 {
	return x.T4.Sub(x.T1).Seconds() - x.T3.Sub(x.T2).Seconds()
}

// BoundS returns how far OffsetS may be from the truth if the server is right,
// s: half the delay, however it is shared between the two ways, and the step
// of this computer's clock. It fails if the delay is negative by more than
// the step, since then the stamps contradict each other.
func (x Exchange) BoundS(stepS float64) (float64, error) {
	delay := x.DelayS()
	if delay < -stepS {
		return 0, fmt.Errorf("its time stamps contradict each other: the answer came %.6f s before it could", -delay)
	}
	return max(0, delay)/2 + stepS, nil
}

// distance is what a root distance is made of, s.
type distance struct {
	delayS          float64
	rootDelayS      float64 // of the server to the primary one
	rootDispersionS float64
	serverStepS     float64
	clientStepS     float64
	tookS           float64 // T4 minus T1
	jitterS         float64
	tolerance       float64 // how fast the clock may drift, s/s
}

// rootS returns the root distance, s: how far the offset may be from UTC if
// every server on the way is right (RFC 5905, 11.2.3 and 8). Half the delay is
// not raised to MINDISP (0.005 s): that serves the choice among servers, and
// here it would say less than was measured.
func (d distance) rootS() float64 {
	return (max(0, d.delayS)+d.rootDelayS)/2 + d.rootDispersionS +
		d.serverStepS + d.clientStepS + d.tolerance*d.tookS + d.jitterS
}

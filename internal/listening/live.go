package listening

import (
	"math"
	"time"

	"timeball/internal/beat"
	"timeball/internal/chart/heard"
	"timeball/internal/timebase"
)

// Live is a listening to a sound that is still coming, each stretch stamped with
// the instant of UTC by which it was there. It is not safe for use by several
// goroutines.
type Live struct {
	ear      *ear
	arrivals *timebase.Arrivals
	prior    timebase.Clock
	origin   time.Time // from which arrivals are counted
	boundS   float64   // of the standard that stamped the last
	course   []heard.Moment
	known    Hearing
	fresh    bool
}

// NewLive returns a listening to channels of sound at rateHz, of whose sampling
// clock prior is known.
func NewLive(rateHz, channels int, o Options) (*Live, error) {
	e, err := newEar(rateHz, channels, o)
	if err != nil {
		return nil, err
	}
	return &Live{ear: e, prior: e.o.Timebase}, nil
}

// Write takes whole frames.
func (l *Live) Write(frames []float64) {
	l.ear.write(frames)
	l.fresh = true
}

// Lose takes note that so many frames were lost; silence stands in their place,
// so that later beats keep their time.
func (l *Live) Lose(frames int64) {
	const most = 3600 // s of silence at a time
	frames = min(frames, int64(most*l.ear.rateHz))
	silence := make([]float64, min(frames, int64(l.ear.rateHz))*int64(l.ear.channels))
	for frames > 0 {
		n := min(frames, int64(len(silence)/l.ear.channels))
		l.ear.write(silence[:n*int64(l.ear.channels)])
		frames -= n
	}
	l.fresh = true
}

// Arrived takes note of when, in UTC, all that was written up to now was there,
// and how far that may be wrong.
func (l *Live) Arrived(at time.Time, boundS float64) {
	if l.arrivals == nil {
		l.origin = at
		// A bound is half the width of a rectangle: its deviation is over the root
		// of three (JCGM 100:2008, 4.3.7).
		l.arrivals = timebase.NewArrivals(l.ear.rateHz, l.prior, boundS/math.Sqrt(3))
	}
	l.boundS = boundS
	l.arrivals.Add(l.ear.read, at.Sub(l.origin).Seconds())
}

// Unstamp forgets all arrivals: they were found to say nothing of time.
func (l *Live) Unstamp() { l.arrivals, l.fresh = nil, true }

// Seconds returns how much was heard, s by the sampling clock.
func (l *Live) Seconds() float64 { return l.ear.atS() }

// Hearing returns what is heard up to now.
func (l *Live) Hearing() Hearing {
	if !l.fresh {
		return l.known
	}
	l.known = l.judge()
	l.fresh = false
	if l.known.Rated && !l.known.Overlapped {
		l.course = append(l.course, heard.Moment{AtS: l.Seconds(), RatePerDay: float64(l.known.TrueRate), PlusMinusPerDay: Normal * l.known.Sd})
		if len(l.course) > 400 {
			for i := range 200 {
				l.course[i] = l.course[2*i+1]
			}
			l.course = l.course[:200]
		}
	}
	return l.known
}

// judge puts what the listener found and what the arrivals say together.
func (l *Live) judge() Hearing {
	c := l.prior
	if l.arrivals != nil {
		if counted, ok := l.arrivals.Clock(); ok && counted.SdPPM < l.prior.SdPPM {
			c = counted
		}
	}
	h := Judge(l.ear.listener.Finding(nil), c)
	h.Channel = l.ear.heard[h.Channel]
	l.ear.listener.Strokes(nil, func(s beat.Stroke) { h.Strokes = append(h.Strokes, s) })
	return h
}

// Course returns how the rate came to be known.
func (l *Live) Course() []heard.Moment { return l.course }

// Close ends the listening and returns what was heard in all.
func (l *Live) Close() Hearing {
	l.ear.listener.Close()
	l.fresh = true
	return l.Hearing()
}

// Counted returns the sampling clock as the arrivals alone tell it, the prior
// doubt of an ordinary recorder aside; false while they say little.
func (l *Live) Counted() (timebase.Clock, bool) {
	if l.arrivals == nil {
		return timebase.Clock{}, false
	}
	return l.arrivals.Clock()
}

// Phase is where the beats fell against UTC.
type Phase struct {
	At      time.Time // UTC of one beat, in the middle of the listening, as it came through the microphone
	SdS     float64   // of At, s, from beats and arrivals; what the microphone delays is not in it
	BoundS  float64   // of the standard, s
	Beats   int
	LengthS float64
}

// leastPhase is how many beats make a comparison.
const leastPhase = 12

// Phase returns where the beats fell against UTC. It is false while too few were
// heard or UTC is not known.
func (l *Live) Phase() (Phase, bool) {
	h := l.Hearing()
	if !h.Heard || h.Overlapped || l.arrivals == nil {
		return Phase{}, false
	}
	var used []beat.Stroke
	for _, s := range h.Strokes {
		if s.Used {
			used = append(used, s)
		}
	}
	if len(used) < leastPhase {
		return Phase{}, false
	}
	// The middle beat, put on the line: its own scatter is taken off.
	mid := used[len(used)/2]
	atS, sd, ok := l.arrivals.At((mid.AtS - mid.LateS) * l.ear.rateHz)
	if !ok {
		return Phase{}, false
	}
	at := l.origin.Add(time.Duration(atS * float64(time.Second)))
	return Phase{
		At: at.UTC().Round(time.Microsecond), SdS: math.Hypot(sd, h.JitterS/math.Sqrt(float64(len(used)))), BoundS: l.boundS,
		Beats: len(used), LengthS: used[len(used)-1].AtS - used[0].AtS,
	}, true
}

package listening

import (
	"context"
	"errors"
	"fmt"
	"io"

	"timeball/internal/audio"
	"timeball/internal/beat"
	"timeball/internal/timebase"
	"timeball/internal/timesignal"
)

// ErrAsked marks what cannot be asked of a recording.
var ErrAsked = errors.New("not to be had from this recording")

// Options are what is known of a recording and asked of it; the zero value
// knows nothing and takes it whole.
type Options struct {
	beat.Options
	Channel      int // to listen to, counted from 1; 0: the one in which the beat is heard best
	PulseChannel int // with one pulse a second, counted from 1; 0: none
	FromS, ToS   float64
	Timebase     timebase.Clock // the zero value: never measured
	Each         func(atS float64)
}

// File listens to a recording from beginning to end. Its error wraps ErrAsked
// if the options do not fit the recording, or timesignal.ErrNoSeconds if the
// pulse channel has no pulses.
func File(ctx context.Context, r *audio.Recording, o Options) (Hearing, error) {
	ear, err := newEar(r.RateHz, r.Channels, o)
	if err != nil {
		return Hearing{}, err
	}
	buffer := make([]float64, r.RateHz/4*r.Channels)
	for {
		if err := ctx.Err(); err != nil {
			return Hearing{}, err
		}
		n, err := r.Read(buffer)
		if n > 0 && !ear.write(buffer[:n*r.Channels]) {
			break
		}
		if o.Each != nil {
			o.Each(ear.atS())
		}
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return Hearing{}, err
		}
	}
	h, err := ear.close()
	if err != nil {
		return Hearing{}, err
	}
	h.Remarks = append(h.Remarks, r.Warnings()...)
	return h, nil
}

// ear is a listener with the channels parted and the pulses told apart.
type ear struct {
	o        Options
	rateHz   float64
	channels int
	heard    []int // channels the listener gets, counted from 0
	listener *beat.Listener
	pulses   *timesignal.Finder
	read     int64 // frames, also those passed over
	part     []float64
	pulse    []float64
}

func newEar(rateHz, channels int, o Options) (*ear, error) {
	for _, c := range []struct {
		name string
		n    int
	}{{"channel", o.Channel}, {"pulse channel", o.PulseChannel}} {
		if c.n < 0 || c.n > channels {
			return nil, fmt.Errorf("%w: there is no %s %d, it has %s", ErrAsked, c.name, c.n, times(channels, "channel"))
		}
	}
	if o.Channel > 0 && o.Channel == o.PulseChannel {
		return nil, fmt.Errorf("%w: channel %d cannot bear both the beat and the pulses", ErrAsked, o.Channel)
	}
	if o.PulseChannel > 0 && channels == 1 {
		return nil, fmt.Errorf("%w: it has one channel, and the pulses need one of their own beside the beat", ErrAsked)
	}
	if o.ToS > 0 && o.ToS <= o.FromS {
		return nil, fmt.Errorf("%w: the end, %g s, is not after the beginning, %g s", ErrAsked, o.ToS, o.FromS)
	}
	if o.Timebase.SdPPM == 0 {
		o.Timebase = timebase.Assumed()
	}
	e := &ear{o: o, rateHz: float64(rateHz), channels: channels}
	for c := range channels {
		if c+1 != o.PulseChannel && (o.Channel == 0 || c+1 == o.Channel) {
			e.heard = append(e.heard, c)
		}
	}
	e.listener = beat.NewListener(rateHz, len(e.heard), o.Options)
	if o.PulseChannel > 0 {
		e.pulses = timesignal.New(e.rateHz)
	}
	return e, nil
}

// atS returns how far the file has been read, s.
func (e *ear) atS() float64 { return float64(e.read) / e.rateHz }

// write takes whole frames and reports whether more are wanted.
func (e *ear) write(frames []float64) bool {
	n := len(frames) / e.channels
	begin, end := int64(0), int64(n)
	if first := int64(e.o.FromS * e.rateHz); e.read < first {
		begin = min(end, first-e.read)
	}
	last := false
	if e.o.ToS > 0 {
		if stop := int64(e.o.ToS*e.rateHz) - e.read; stop <= end {
			end, last = max(begin, stop), true
		}
	}
	e.read += int64(n)
	frames = frames[begin*int64(e.channels) : end*int64(e.channels)]
	if e.pulses != nil {
		e.pulse = e.pulse[:0]
		for i := e.o.PulseChannel - 1; i < len(frames); i += e.channels {
			e.pulse = append(e.pulse, frames[i])
		}
		e.pulses.Write(e.pulse)
	}
	if len(e.heard) == e.channels {
		e.listener.Write(frames)
		return !last
	}
	e.part = e.part[:0]
	for i := 0; i < len(frames); i += e.channels {
		for _, c := range e.heard {
			e.part = append(e.part, frames[i+c])
		}
	}
	e.listener.Write(e.part)
	return !last
}

// close returns what was heard.
func (e *ear) close() (Hearing, error) {
	e.listener.Close()
	base := e.o.Timebase
	var trueS func(float64) float64
	var remarks []string
	if e.pulses != nil {
		c, err := timesignal.Fit(e.pulses.Pulses())
		if err != nil {
			return Hearing{}, fmt.Errorf("channel %d: %w", e.o.PulseChannel, err)
		}
		base, trueS = c.Timebase(), c.TrueS
		remarks = append(remarks, fmt.Sprintf("the sampling clock is %.3f ppm %s ±%.3f by %d pulses", max(c.PPM, -c.PPM), fastSlow(c.PPM), Normal*c.SdPPM, c.Pulses))
	}
	f := e.listener.Finding(trueS)
	shown := base
	if trueS != nil { // the beats are in true seconds already
		shown.PPM = 0
	}
	h := Judge(f, shown)
	h.Timebase.PPM = base.PPM
	h.FromS, h.Remarks = e.o.FromS, remarks
	h.Channel = e.heard[f.Channel]
	h.Strokes = make([]beat.Stroke, 0, f.Beats)
	e.listener.Strokes(trueS, func(s beat.Stroke) { h.Strokes = append(h.Strokes, s) })
	return h, nil
}

func fastSlow(ppm float64) string {
	if ppm < 0 {
		return "slow"
	}
	return "fast"
}

package hearing

import (
	"context"
	"errors"
	"io"
	"math"
	"net/http"
	"sync"
	"time"

	"timeball/internal/audio"
	"timeball/internal/beat"
	"timeball/internal/chronometer"
	"timeball/internal/listening"
	"timeball/internal/observe"
	"timeball/internal/reference"
	"timeball/internal/store"
	"timeball/internal/timebase"
	"timeball/internal/web/earpiece"
	"timeball/internal/workshop"
)

// Sitting is one listening to one instrument.
type Sitting struct {
	ID      string
	Subject chronometer.ID
	Number  string

	room     *Room
	seat     *earpiece.Seat
	beatS    float64 // of the dial; 0: other
	liftDeg  float64
	expected func(time.Time) observe.Near

	mu       sync.Mutex
	touched  time.Time
	live     *listening.Live
	mic      store.Microphone
	rateHz   float64
	next     int64 // frame to come
	deviceS  float64
	standard reference.Reading
	heard    listening.Hearing
	phase    listening.Phase
	phased   bool
	sound    *kept // nil: none came by a socket
	from     *chronometer.Recording
	over     bool
	gone     bool

	drawn   []Drawing
	drawnAt time.Time
	made    time.Time     // when the panel was last made
	took    time.Duration // how long that took
	html    string
	version int64
	fresh   bool // sound came since
}

func (s *Sitting) touch(at time.Time) { s.mu.Lock(); s.touched = at; s.mu.Unlock() }

func (s *Sitting) last() time.Time { s.mu.Lock(); defer s.mu.Unlock(); return s.touched }

func (s *Sitting) forget() {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.sound.discard()
	s.sound, s.gone = nil, true
}

// errGone is said to a page whose listening was forgotten.
var errGone = errors.New("this listening is not kept any more; open the page again and listen anew")

// Serve takes the sound of a page over a socket.
func (s *Sitting) Serve(w http.ResponseWriter, r *http.Request) error {
	return earpiece.Serve(w, r, s, earpiece.Options{Seat: s.seat})
}

// perHour returns the vibrations an hour of the dial, 0 if they are not known.
func (s *Sitting) perHour() float64 {
	switch s.beatS {
	case 0:
		return 0
	case chronometer.HalfSecond.Seconds():
		return 14400
	}
	return 3600 / s.beatS
}

// Hello begins the sound or goes on with it.
func (s *Sitting) Hello(h earpiece.Hello) (int64, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.gone {
		return 0, errGone
	}
	if h.Resume && s.live != nil && !s.over {
		return s.next, nil
	}
	ctx := context.Background()
	known, ok, err := s.room.workshop.Microphone(ctx, h.DeviceKey)
	if err != nil {
		return 0, err
	}
	s.mic = microphone(known, ok, h.DeviceKey, h.DeviceLabel, s.room.now())
	if h.DeviceKey != "" {
		if err := s.room.workshop.KeepMicrophone(ctx, s.mic); err != nil {
			return 0, err
		}
	}
	if s.mic.LatencyAt.IsZero() {
		s.mic.LatencyS, s.mic.LatencySDS = usualLatency(h)
	}
	rate := int(math.Round(h.RateHz))
	o := listening.Options{Options: beat.Options{PerHour: s.perHour(), LiftDeg: s.liftDeg}, Timebase: s.clock(s.room.now())}
	if s.live, err = listening.NewLive(rate, 1, o); err != nil {
		return 0, err
	}
	s.rateHz, s.next, s.over, s.phased = h.RateHz, 0, false, false
	s.sound.discard()
	if s.sound, err = newKept(rate); err != nil {
		return 0, err
	}
	s.heard, s.drawn = listening.Hearing{}, nil
	return 0, nil
}

// The delay of a microphone that was never measured, s: of its converter and
// driver, and of the buffers, some hundredths of a second. From memory; a check
// tone bounds it.
const (
	converterS   = 0.01
	converterSDS = 0.01
	bufferS      = 0.02
)

// usualLatency returns by how much the stamps are late. Those of the microphone's
// own clock have the buffers taken off already; others do not.
func usualLatency(h earpiece.Hello) (latencyS, sdS float64) {
	if h.Capture == "track" {
		return converterS, converterSDS
	}
	buffer := bufferS
	if h.LatencyS != nil && *h.LatencyS > 0 && *h.LatencyS < 0.3 {
		buffer = *h.LatencyS
	}
	return converterS + buffer, math.Hypot(converterSDS, buffer/2)
}

// clock returns what is known of the sampling clock of the microphone.
func (s *Sitting) clock(now time.Time) timebase.Clock {
	if s.mic.PPMAt.IsZero() {
		return timebase.Assumed()
	}
	return timebase.Clock{Source: timebase.FromCalibration, PPM: s.mic.PPM, SdPPM: s.mic.PPMSD, At: s.mic.PPMAt, Device: s.mic.Name}.Aged(now)
}

// Take takes the next stretch of sound.
func (s *Sitting) Take(c earpiece.Chunk) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.gone || s.live == nil {
		return errGone
	}
	s.touched = s.room.now()
	if missing := c.Missing; missing > 0 && s.next > 0 {
		s.live.Lose(missing)
		if err := s.silence(missing); err != nil {
			return err
		}
	}
	x := make([]float64, len(c.Samples))
	for i, v := range c.Samples {
		x[i] = float64(v)
	}
	s.live.Write(x)
	s.next = c.End()
	s.fresh = true
	if err := s.sound.write(x); err != nil {
		return err
	}
	s.standard = s.room.workshop.Standard().Read()
	if !c.Ended.IsZero() && s.standard.Known {
		s.deviceS = c.BoundS
		s.live.Arrived(c.Ended, c.BoundS+s.standard.BoundS)
	}
	return nil
}

// silence keeps silence in the place of frames that were lost, so that what
// follows keeps its time.
func (s *Sitting) silence(frames int64) error {
	second := make([]float64, int(s.rateHz))
	for frames > 0 && !s.sound.full {
		n := min(frames, int64(len(second)))
		if err := s.sound.write(second[:n]); err != nil {
			return err
		}
		frames -= n
	}
	return nil
}

// Tone keeps the delay of the microphone that a check tone has told.
func (s *Sitting) Tone(t earpiece.Tone) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if !(t.RoundTripS > 0 && t.RoundTripS < 3) {
		return
	}
	// The tone waits in the output before it sounds, and what is left is the way
	// through the air and the microphone; the browser's account of its output is
	// trusted to a third.
	latency := math.Max(0, math.Min(t.RoundTripS, t.RoundTripS-t.OutputLatencyS))
	const steady = 0.003
	s.mic.LatencyS, s.mic.LatencySDS = latency, math.Max(steady, math.Hypot(t.OutputLatencyS/3, t.SpreadS/2))
	s.mic.LatencyHow, s.mic.LatencyAt = "check tone", s.room.now().UTC().Truncate(time.Microsecond)
	if s.mic.Key != "" {
		_ = s.room.workshop.KeepMicrophone(context.Background(), s.mic)
	}
	s.fresh = true
}

// leastCalibration is how much better a count against UTC must know the
// sampling clock than what is known already, to be kept, and how long it must
// have lasted.
const (
	leastCalibration = 0.5
	calibrationS     = 600
)

// Done ends the sound. A long listening has told the sampling clock, which is
// kept for the next.
func (s *Sitting) Done() {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.live == nil || s.over {
		return
	}
	s.over, s.fresh = true, true
	s.heard = s.live.Close()
	s.phase, s.phased = s.live.Phase()
	c, ok := s.live.Counted()
	if ok && s.live.Seconds() >= calibrationS && c.SdPPM < leastCalibration*s.clock(s.room.now()).SdPPM && s.mic.Key != "" {
		s.mic.PPM, s.mic.PPMSD, s.mic.PPMSource, s.mic.PPMAt = c.PPM, c.SdPPM, "counted against UTC", s.room.now().UTC().Truncate(time.Microsecond)
		_ = s.room.workshop.KeepMicrophone(context.Background(), s.mic)
	}
}

// ReadFile listens to a recording that was sent and is kept already.
func (s *Sitting) ReadFile(ctx context.Context, r io.Reader, from chronometer.Recording, o listening.Options) error {
	recording, err := audio.Open(r)
	if err != nil {
		return err
	}
	o.PerHour, o.LiftDeg = s.perHour(), s.liftDeg
	h, err := listening.File(ctx, recording, o)
	if err != nil {
		return err
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	s.heard, s.from, s.over, s.fresh = h, &from, true, true
	return nil
}

// update listens anew if sound came; the sitting is locked.
func (s *Sitting) update() {
	if s.live != nil && !s.over && s.fresh {
		s.heard = s.live.Hearing()
		s.phase, s.phased = s.live.Phase()
	}
}

// Hearing returns what is heard by now.
func (s *Sitting) Hearing() listening.Hearing {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.update()
	return s.heard
}

// Keep stores the sound of the sitting and returns what an entry names it by;
// nil if there is none.
func (s *Sitting) Keep(ctx context.Context) (*chronometer.Recording, error) {
	sound, from, err := s.whole()
	if sound == nil || err != nil {
		return from, err
	}
	// More sound may come while this is stored.
	kept, err := s.room.workshop.KeepRecording(ctx, sound, "No. "+s.Number+" "+s.room.now().UTC().Format("2006-01-02 1504")+".wav")
	if err != nil {
		return nil, err
	}
	return &kept, nil
}

// whole returns the sound up to now, or what it is kept as already.
func (s *Sitting) whole() (io.Reader, *chronometer.Recording, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.from != nil || s.sound == nil {
		return nil, s.from, nil
	}
	sound, err := s.sound.read()
	return sound, nil, err
}

// Rate returns the entry of the rate heard.
func (s *Sitting) Rate() (chronometer.Listened, time.Time, bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.update()
	l, ok := s.heard.Fact()
	l.Microphone, l.LiftAngleDeg = s.mic.Name, 0
	if l.AmplitudeDeg != nil {
		l.LiftAngleDeg = s.liftDeg
	}
	at := s.room.now().UTC()
	if s.live != nil {
		at = at.Add(-time.Duration(s.heard.DurationS * float64(time.Second)))
	}
	return l, at.Truncate(time.Microsecond), ok
}

// Sounded returns the beat against UTC as it would be written; near is what the
// dial was read to be, if that is known better than the forecast, taken from
// what.
func (s *Sitting) Sounded(near *observe.Near, from chronometer.Taken) (workshop.Sounded, bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.update()
	return s.sounded(near, from)
}

func (s *Sitting) sounded(near *observe.Near, from chronometer.Taken) (workshop.Sounded, bool) {
	if !s.phased {
		return workshop.Sounded{}, false
	}
	out := workshop.Sounded{
		BeatAt: s.phase.At, SDS: s.phase.SdS, BeatS: s.beatS, Beats: s.phase.Beats, DurationS: s.phase.LengthS,
		Near: s.expected(s.phase.At), Taken: chronometer.TakenForecast, LatencyS: s.mic.LatencyS, LatencySDS: s.mic.LatencySDS,
		Microphone: s.mic.Name, Key: s.mic.Key, Standard: s.standard, DeviceS: s.deviceS,
	}
	if out.BeatS == 0 && s.heard.PerHour > 0 { // the step of a dial that nobody has entered
		out.BeatS = 7200 / s.heard.PerHour / float64(max(1, s.heard.LoudBeats))
	}
	if near != nil {
		out.Near, out.Taken = *near, from
	}
	return out, out.BeatS > 0
}

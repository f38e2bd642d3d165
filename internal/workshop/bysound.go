package workshop

import (
	"context"
	"fmt"
	"math"
	"time"

	"timeball/internal/chronometer"
	"timeball/internal/clock"
	"timeball/internal/observe"
	"timeball/internal/reference"
)

// Sounded is the beat of a dial as a microphone has heard it against UTC.
type Sounded struct {
	BeatAt     time.Time // UTC of one beat as it came through the microphone
	SDS        float64   // of it, s, the delay of the microphone aside
	BeatS      float64   // between two beats of the dial, s
	Beats      int
	DurationS  float64
	Near       observe.Near // what the dial is expected to be, or was read to be
	Taken      chronometer.Taken
	LatencyS   float64 // by which the microphone and its device delay, s
	LatencySDS float64
	Microphone string
	Key        string
	Recording  *chronometer.Recording
	Standard   reference.Reading
	DeviceS    float64 // bound of the device against the standard, s
	Observer   string
	Note       string
}

// wholeBeats is the share of a beat within which the error must be expected,
// for the right one of the beats to be taken: 95% of what is expected lies
// within, and a tenth is left for the sound itself.
const wholeBeats = 0.4

// Tells reports whether what is expected of a dial tells its beats of beatS s
// apart.
func Tells(near observe.Near, beatS float64) bool {
	return near.Known && near.HalfS <= wholeBeats*beatS
}

// SoundedError returns the error of the dial that fits the beat and is nearest
// to what is expected, dial minus UTC in s, and the instant at which it holds.
func (s Sounded) SoundedError() (errorS float64, at time.Time) {
	at = s.BeatAt.Add(-time.Duration(s.LatencyS * float64(time.Second))).UTC().Truncate(time.Microsecond)
	day := at.Sub(at.Truncate(24 * time.Hour)).Seconds()
	ahead := -math.Mod(day, s.BeatS) // the dial shows whole beats at a beat
	return ahead + s.BeatS*math.Round((s.Near.ErrorS-ahead)/s.BeatS), at
}

// CompareBySound writes a comparison from the beat as it was heard, once under
// an ID of NewID. It refuses one for which UTC was not known well enough, or
// whose whole beats cannot be told.
func (w *Workshop) CompareBySound(ctx context.Context, id chronometer.ID, by string, subject chronometer.ID, s Sounded) (chronometer.Entry, error) {
	if err := fitToCompare(s.Standard, s.DeviceS); err != nil {
		return chronometer.Entry{}, err
	}
	if !Tells(s.Near, s.BeatS) {
		if s.Taken == chronometer.TakenTap {
			return chronometer.Entry{}, fmt.Errorf("%w: one tap does not tell which beat of %g s it is; compare by taps first, and the forecast will tell it", chronometer.ErrRefused, s.BeatS)
		}
		return chronometer.Entry{}, fmt.Errorf("%w: the sound tells the error but for whole beats of %g s, and no forecast tells which; tap once as the seconds hand passes a mark", chronometer.ErrRefused, s.BeatS)
	}
	seen, err := w.See(ctx, string(subject))
	if err != nil {
		return chronometer.Entry{}, err
	}
	errorS, at := s.SoundedError()
	c := chronometer.ReadDial(seen.Instrument.ClockDial().Reading(at, clock.DialError(errorS)))
	c.SDS, c.Method, c.Observer, c.Note = math.Hypot(s.SDS, s.LatencySDS), chronometer.BySound, s.Observer, s.Note
	c = stamped(c, at, s.Standard, s.DeviceS)
	day := at.Sub(at.Truncate(24 * time.Hour)).Seconds()
	c.Heard = &chronometer.HeardBeat{
		Beats: s.Beats, DurationS: roundMicro(s.DurationS), PhaseS: math.Min(roundMicro(math.Mod(day, s.BeatS)), s.BeatS), BeatS: s.BeatS, Taken: s.Taken,
		LatencyS: roundMicro(s.LatencyS), LatencySDS: roundMicro(s.LatencySDS), Microphone: s.Microphone, MicrophoneKey: s.Key, Recording: s.Recording,
	}
	return w.WriteOnce(ctx, id, by, seen.ID, at, c)
}

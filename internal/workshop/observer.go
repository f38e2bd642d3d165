package workshop

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"timeball/internal/chronometer"
	"timeball/internal/clock"
	"timeball/internal/observe"
	"timeball/internal/reference"
)

// Exercise is one measurement of a personal equation.
type Exercise struct {
	ID       chronometer.ID
	Subject  chronometer.ID
	At       time.Time
	Equation chronometer.Equation
}

// Exercises returns every measurement of a personal equation that stands, the
// newest first.
func (w *Workshop) Exercises(ctx context.Context) ([]Exercise, error) {
	subjects, err := w.db.Subjects(ctx)
	if err != nil {
		return nil, err
	}
	var all []Exercise
	for _, s := range subjects {
		if s.Kind != chronometer.KindEquation {
			continue
		}
		book, err := w.db.Logbook(ctx, s.ID)
		if err != nil {
			return nil, err
		}
		for _, e := range book.Standing() {
			if q, ok := e.Fact.(chronometer.Equation); ok {
				all = append(all, Exercise{e.ID, s.ID, e.At, q})
			}
		}
	}
	slices.SortFunc(all, func(a, b Exercise) int { return cmp.Or(b.At.Compare(a.At), cmp.Compare(b.ID, a.ID)) })
	return all, nil
}

// Exercised writes what an exercise has found of an observer on a device: the
// lags are each tap less the beat it belongs to, s, in the order made.
func (w *Workshop) Exercised(ctx context.Context, id chronometer.ID, by string, q chronometer.Equation) (chronometer.Entry, error) {
	m, err := observe.Measure(q.BeatS, q.TapsS)
	if err != nil {
		return chronometer.Entry{}, fmt.Errorf("%w: %w", chronometer.ErrEntry, err)
	}
	q.LagS, q.LagSDS, q.ScatterS = m.LagS, m.SDS, m.ScatterS
	subject := id
	all, err := w.Exercises(ctx)
	if err != nil {
		return chronometer.Entry{}, err
	}
	for _, x := range all {
		if sameName(x.Equation.Observer, q.Observer) && sameName(x.Equation.Device, q.Device) {
			subject = x.Subject
		}
	}
	return w.WriteOnce(ctx, id, by, subject, time.Time{}, q)
}

func sameName(a, b string) bool {
	return strings.EqualFold(strings.TrimSpace(a), strings.TrimSpace(b))
}

// eachBeat is the spacing of marks up to which a comparison is made by ear, s.
const eachBeat = 1.0

// personal returns the personal equation to take off taps: the latest that the
// observer has measured on the device with the sense the marks are followed
// by, or the usual one of the literature.
func (w *Workshop) personal(ctx context.Context, observer, device string, everyS float64) (observe.Equation, chronometer.ID, error) {
	sense := chronometer.Seen
	if everyS < eachBeat {
		sense = chronometer.Heard
	}
	all, err := w.Exercises(ctx)
	if err != nil {
		return observe.Equation{}, "", err
	}
	for _, x := range all {
		q := x.Equation
		if sameName(q.Observer, observer) && sameName(q.Device, device) && (q.Sense == sense || q.Sense == chronometer.SeenHeard) {
			return observe.Measured{LagS: q.LagS, SDS: q.LagSDS, ScatterS: q.ScatterS, Used: len(q.TapsS)}.Equation(), x.ID, nil
		}
	}
	return observe.Usual(), "", nil
}

// Sitting is the taps of one comparison as a device has sent them.
type Sitting struct {
	Observer string
	Device   string
	Taps     observe.Taps
	Near     observe.Near // what the dial is expected to be, or was read to be
	DeviceS  float64      // bound of the device against the standard, s
	Standard reference.Reading
	Note     string
}

// Reckoned is what the taps say, before anything is written.
type Reckoned struct {
	observe.Finding
	Equation observe.Equation // that was taken off
	From     chronometer.ID   // the exercise that measured it; empty: the usual one
	At       time.Time        // the mean of the taps used, at which ErrorS holds
	SDS      float64          // of the comparison: taps, personal equation, standard and device, s
}

// confirmedHalfS is how far, s, the taps may lie from an error that the
// observer has confirmed on the dial, to the nearest second or so.
const confirmedHalfS = 1.0

// Reckon returns what the taps on an instrument say.
func (w *Workshop) Reckon(ctx context.Context, number string, s Sitting) (Reckoned, error) {
	seen, err := w.See(ctx, number)
	if err != nil {
		return Reckoned{}, err
	}
	return w.reckon(ctx, seen, s)
}

func (w *Workshop) reckon(ctx context.Context, seen Seen, s Sitting) (Reckoned, error) {
	var out Reckoned
	var err error
	if out.Equation, out.From, err = w.personal(ctx, s.Observer, s.Device, s.Taps.EveryS); err != nil {
		return out, err
	}
	if out.Finding, err = observe.Reckon(s.Taps, seen.Instrument.ClockDial(), s.Near, out.Equation); err != nil {
		return out, fmt.Errorf("%w: %w", chronometer.ErrEntry, err)
	}
	out.At = after(s.Taps.Origin, out.AtS)
	c := stamped(chronometer.Compared{SDS: out.Finding.SDS}, out.At, s.Standard, s.DeviceS)
	out.SDS = c.SD()
	return out, nil
}

// Confirmed returns an error that the observer has confirmed on the dial, s,
// for taps on marks everyS apart.
func Confirmed(errorS, everyS float64) observe.Near {
	return observe.Near{ErrorS: errorS, HalfS: min(confirmedHalfS, everyS/5), Known: true}
}

// Expected returns what the dial error is forecast to be at an instant.
func (s Seen) Expected(at time.Time) observe.Near {
	if !s.Current {
		return observe.Near{}
	}
	if e, ok := s.Rating.Track.At(at); ok {
		return observe.Near{ErrorS: e.Mean, HalfS: e.Half(), Known: true}
	}
	return observe.Near{}
}

func after(origin time.Time, seconds float64) time.Time {
	return origin.Add(time.Duration(seconds * float64(time.Second))).UTC().Truncate(time.Microsecond)
}

// CompareByTap writes a comparison from taps, once under an ID of NewID. It
// refuses one for which UTC was not known well enough, and one that another
// device has sent already.
func (w *Workshop) CompareByTap(ctx context.Context, id chronometer.ID, by string, subject chronometer.ID, s Sitting) (chronometer.Entry, error) {
	refuse := func(format string, args ...any) (chronometer.Entry, error) {
		return chronometer.Entry{}, fmt.Errorf("%w: %s", chronometer.ErrRefused, fmt.Sprintf(format, args...))
	}
	seen, err := w.See(ctx, string(subject))
	if err != nil {
		return chronometer.Entry{}, err
	}
	if kept, ok := seen.Logbook.Entry(id); ok {
		return kept, sameTaps(kept, s)
	}
	if err := fitToCompare(s.Standard, s.DeviceS); err != nil {
		return chronometer.Entry{}, err
	}
	for _, e := range seen.Logbook.Standing() {
		c, ok := e.Fact.(chronometer.Compared)
		if ok && c.Tapped != nil && sharesTaps(e, *c.Tapped, s) {
			return refuse("the same taps were written already, at %s by %s; nothing is written twice", e.At.Format("15:04:05"), e.By)
		}
	}
	r, err := w.reckon(ctx, seen, s)
	if err != nil {
		return chronometer.Entry{}, err
	}
	if len(r.Candidates) > 1 {
		return refuse("the taps fit %d readings of the dial; say which it showed", len(r.Candidates))
	}
	// At the microsecond the dial is known to the millisecond.
	reading := seen.Instrument.ClockDial().Reading(r.At, clock.DialError(r.ErrorS))
	c := chronometer.ReadDial(reading)
	c.SDS, c.Method, c.Observer, c.Note = r.Finding.SDS, chronometer.ByTap, s.Observer, s.Note
	c = stamped(c, r.At, s.Standard, s.DeviceS)
	c.Tapped = &chronometer.Tapped{EveryS: s.Taps.EveryS, Device: s.Device, LagS: r.Equation.LagS, LagSDS: r.Equation.SDS, By: r.From}
	for _, at := range s.Taps.AtS {
		c.Tapped.AtS = append(c.Tapped.AtS, roundMicro(at-r.At.Sub(s.Taps.Origin).Seconds()))
	}
	return w.WriteOnce(ctx, id, by, seen.ID, r.At, c)
}

// fitToCompare returns why a dial cannot be compared by a standard, read by a
// device that is within deviceS of it; nil if it can.
func fitToCompare(standard reference.Reading, deviceS float64) error {
	switch {
	case !standard.Known:
		return fmt.Errorf("%w: UTC was %s, and how far that may be off is not known; compare by hand with a time signal, or look at the Standard page", chronometer.ErrRefused, standard.Source)
	case !standard.Fit():
		return fmt.Errorf("%w: UTC was known to ±%.2f s only, which is too wide; look at the Standard page, or compare by hand with a time signal", chronometer.ErrRefused, standard.BoundS)
	case deviceS > reference.MostBoundS:
		return fmt.Errorf("%w: this device is known to ±%.2f s only against the computer of the workshop; come nearer to its network and do it again", chronometer.ErrRefused, deviceS)
	}
	return nil
}

func roundMicro(s float64) float64 {
	return float64(time.Duration(s*float64(time.Second)).Round(time.Microsecond)) / float64(time.Second)
}

// sameTaps returns nil if an entry holds the taps of a sitting.
func sameTaps(kept chronometer.Entry, s Sitting) error {
	if c, ok := kept.Fact.(chronometer.Compared); ok && c.Tapped != nil && beside(kept, *c.Tapped, s) {
		return nil
	}
	return fmt.Errorf("%w: something else was written under this page already, at %s by %s; open the page again and tap once more", chronometer.ErrRefused, kept.At.Format("15:04:05"), kept.By)
}

// mostReplaced is how far the taps of one page can move when its device has
// measured itself better in between, s.
const mostReplaced = 2 * reference.MostBoundS

// beside reports whether the taps of an entry stand each beside one of a
// sitting under the same ID.
func beside(kept chronometer.Entry, t chronometer.Tapped, s Sitting) bool {
	if len(t.AtS) != len(s.Taps.AtS) {
		return false
	}
	for i, at := range t.AtS {
		if after(kept.At, at).Sub(after(s.Taps.Origin, s.Taps.AtS[i])).Abs().Seconds() > mostReplaced {
			return false
		}
	}
	return true
}

// sharesTaps reports whether an entry and a sitting are the same taps: half of
// them agree to a tenth of a millisecond, which two hands never do.
func sharesTaps(kept chronometer.Entry, t chronometer.Tapped, s Sitting) bool {
	shared := 0
	for _, a := range t.AtS {
		for _, b := range s.Taps.AtS {
			if d := after(kept.At, a).Sub(after(s.Taps.Origin, b)); d.Abs() < 100*time.Microsecond {
				shared++
			}
		}
	}
	return 2*shared >= min(len(t.AtS), len(s.Taps.AtS))
}

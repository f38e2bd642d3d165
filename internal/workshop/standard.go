package workshop

import (
	"context"
	"time"

	"timeball/internal/chronometer"
	"timeball/internal/reference"
	"timeball/internal/store"
	"timeball/internal/timescale"
)

// Standard returns where UTC comes from.
func (w *Workshop) Standard() *reference.Standard { return w.standard }

// How often the bound of the standard is kept while nothing else changes, and
// for how long.
const (
	standingEvery = 5 * time.Minute
	standingsKept = 366 * 24 * time.Hour
)

// KeepStanding keeps how well UTC is known, at most every five minutes unless
// where it comes from has changed.
func (w *Workshop) KeepStanding(ctx context.Context, s reference.Reading) error {
	kept := store.Standing{At: s.UTC, OffsetS: s.OffsetS, BoundS: s.BoundS, Known: s.Known, Source: s.Source}
	w.mu.Lock()
	last := w.standing
	due := !reference.SameSource(kept.Source, last.Source) || kept.Known != last.Known || kept.At.Sub(last.At).Abs() >= standingEvery
	if due {
		w.standing = kept
	}
	w.mu.Unlock()
	if !due {
		return nil
	}
	return w.db.KeepStanding(ctx, kept, kept.At.Add(-standingsKept))
}

// Standings returns how well UTC was known from an instant on, oldest first.
func (w *Workshop) Standings(ctx context.Context, since time.Time) ([]store.Standing, error) {
	return w.db.Standings(ctx, since)
}

// stampedWithin is how long after a comparison the bound of the standard still
// tells what it was then.
const stampedWithin = 10 * time.Minute

// stamp returns a comparison made just now with the standard of this workshop
// written into it, unless it carries or names one already.
func (w *Workshop) stamp(c chronometer.Compared, at time.Time) chronometer.Compared {
	r := w.standard.Read()
	if c.Kept != nil || c.Standard != "" || c.StandardSD != 0 || c.Method == chronometer.ByTelephone || c.Method == chronometer.ByRadio || r.UTC.Sub(at).Abs() > stampedWithin {
		return c
	}
	return stamped(c, at, r, 0)
}

// stampedLike returns a fact that names no standard with the one that was
// written into it when it came first.
func stampedLike(f, kept chronometer.Fact) chronometer.Fact {
	c, ok := f.(chronometer.Compared)
	first, ok2 := kept.(chronometer.Compared)
	if ok && ok2 && c.Kept == nil && c.Standard == "" && c.StandardSD == 0 {
		c.Kept, c.Standard, c.StandardSD = first.Kept, first.Standard, first.StandardSD
		return c
	}
	return f
}

// nearLeap is how close to a leap second a comparison is doubtful: some servers
// spread the second over the hours about it (RFC 8633, 3.7.1).
const nearLeap = 24 * time.Hour

// stamped writes a reading of the standard into a comparison of the instant at,
// which a device has taken that is within deviceS of it.
func stamped(c chronometer.Compared, at time.Time, r reference.Reading, deviceS float64) chronometer.Compared {
	kept := chronometer.Kept{OffsetS: r.OffsetS, BoundS: r.BoundS, DeviceS: deviceS}
	c.Kept, c.Standard = &kept, r.Source
	if r.Known {
		c.StandardSD = kept.SD()
	}
	if timescale.LeapSeconds(at.Add(-nearLeap), at.Add(nearLeap)) != 0 {
		c.Standard += ", within a day of a leap second"
	}
	return c
}

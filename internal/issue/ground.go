package issue

import (
	"fmt"
	"math"
	"time"

	"timeball/internal/adjust"
	"timeball/internal/chronometer"
	"timeball/internal/rating"
	"timeball/internal/timescale"
	"timeball/internal/workshop"
)

// curvePoints is how finely the past is drawn on paper.
const curvePoints = 200

// ground is the entries that a certificate rests on with what they give, and
// nothing else: the same entries give the same figures.
type ground struct {
	entries []chronometer.Entry
	digest  string
	seen    workshop.Seen // of a logbook that holds the entries alone
	trial   *adjust.Trial // the last, if it is of the rate certified
}

// groundOf returns what the entries of a logbook by the instant until give,
// with the particulars of the instrument as written by the instant written.
func groundOf(book chronometer.Logbook, until, written time.Time) (ground, error) {
	g := ground{entries: book.Ground(until, written)}
	var err error
	if g.digest, err = chronometer.Digest(g.entries); err != nil {
		return g, err
	}
	own := chronometer.NewLogbook(g.entries)
	g.seen = workshop.Seen{Logbook: own, State: own.State(), Runs: own.Runs(), Now: until}
	g.seen.Instrument, _ = own.Instrument()
	r, err := rating.Rate(workshop.History(g.seen.Instrument.ClockDial(), own), rating.Options{Curve: curvePoints})
	if err != nil {
		g.seen.Why = err.Error()
		return g, nil
	}
	g.seen.Rating = &r
	trials, err := adjust.Follow(g.seen)
	if err != nil {
		return g, err
	}
	if n := len(trials); n > 0 && !g.alteredSince(trials[n-1].Begun.At) {
		g.trial = &trials[n-1]
	}
	return g, nil
}

// alteredSince reports whether the rate was altered on purpose after an instant.
func (g ground) alteredSince(at time.Time) bool {
	for _, e := range g.seen.Logbook.Standing() {
		if !e.At.After(at) {
			continue
		}
		switch f := e.Fact.(type) {
		case chronometer.Regulated:
			return true
		case chronometer.WorkDone:
			if f.Service {
				return true
			}
		}
	}
	return false
}

// What a certificate must rest on at least: comparisons since the error or the
// rate was last broken off, over days. Ten days is the old custom of rating,
// and about the memory of a good chronometer (its white noise over its wander);
// the rest is common practice, no source.
const (
	leastComparisons = 8
	leastDays        = 10
	mostRateHalf     = 0.5 // s/d
	mostOldDays      = 14  // since the last comparison
)

// lacking returns what is missing for a certificate, sentences without a stop.
func (g ground) lacking() []string {
	var missing []string
	if g.seen.Instrument.Maker == "" {
		missing = append(missing, "the maker's name is not entered; write it into the particulars of the instrument")
	}
	r := g.seen.Rating
	if r == nil {
		return append(missing, g.seen.Why)
	}
	if g.seen.State.Motion != chronometer.Going {
		missing = append(missing, "it does not go; start it and compare it for ten days")
	}
	run := r.Runs[len(r.Runs)-1]
	days := run.To.Sub(run.From).Hours() / 24
	switch {
	case !r.KnownUntil.IsZero():
		missing = append(missing, fmt.Sprintf("it was %s on %s and not compared since; compare it for ten days", r.BrokenBy, r.KnownUntil.Format("2 January 2006")))
	case run.Comparisons < leastComparisons || days < leastDays-0.5:
		missing = append(missing, fmt.Sprintf("comparisons since its error or rate was last broken off: %d over %.1f days; a certificate wants %d over %d days", run.Comparisons, days, leastComparisons, leastDays))
	case g.seen.Now.Sub(r.Epoch).Hours()/24 > mostOldDays:
		missing = append(missing, fmt.Sprintf("it was last compared on %s; a certificate wants a comparison of the last %d days", r.Epoch.Format("2 January 2006"), mostOldDays))
	case r.Rate.Half() > mostRateHalf:
		missing = append(missing, fmt.Sprintf("its rate is known to ±%.2f s a day only; compare it until that is ±%.1f or better", r.Rate.Half(), mostRateHalf))
	}
	if g.trial != nil && !g.trial.Over() {
		missing = append(missing, "its trial goes on; end it first")
	}
	if g.position() == "" {
		missing = append(missing, "no entry says in which position it lies; write where it is placed")
	}
	return missing
}

// position returns the position that the rate is of.
func (g ground) position() string {
	if g.seen.Rating != nil && g.seen.Rating.Position != "" {
		return g.seen.Rating.Position
	}
	return string(g.seen.State.Position)
}

// between returns the mean rate from one comparison to the next with half its
// 95% interval, s/d, hands moved by a known amount taken off; it returns false
// where the hands were moved by an amount that no entry tells.
func (g ground) between(a, b rating.Residual) (rate, half float64, ok bool) {
	days := timescale.Days(a.At, b.At)
	if !(days > 0) {
		return 0, 0, false
	}
	change := b.ErrorS - a.ErrorS - float64(timescale.LeapSeconds(a.At, b.At))
	for _, e := range g.seen.Logbook.Standing() {
		if m, moved := e.Fact.(chronometer.Moved); moved && e.At.After(a.At) && !e.At.After(b.At) {
			change -= m.ByS
		}
	}
	for _, u := range g.seen.Rating.Unrecorded {
		if u.After.Before(b.At) && u.Before.After(a.At) {
			return 0, 0, false
		}
	}
	return change / days, 1.96 * math.Hypot(a.ReadSDS, b.ReadSDS) / days, true
}

// positionAt returns how it lay at an instant.
func (g ground) positionAt(at time.Time) string {
	return string(g.seen.Logbook.StateAt(at).Position)
}

// temperatureAt returns the temperature read at an instant, nil if none was.
func (g ground) temperatureAt(at time.Time) *float64 {
	s := g.seen.Logbook.StateAt(at)
	if s.TempC == nil || !s.TempAt.Equal(at) {
		return nil
	}
	return s.TempC
}
